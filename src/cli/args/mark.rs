//! Arguments of `mark`.

use clap::Args;

use crate::coaching::ClipTime;
use crate::serve::EventKind;

#[derive(Debug, Args)]
pub(in crate::cli) struct MarkArgs {
    /// The serve (s12); on its own, shows its moments and who or what saw each
    pub(in crate::cli) serve: String,
    /// Start of the toss: seconds in the recording (2.31) or a frame from 0 (frame:104)
    #[arg(long, value_name = "TIME", allow_negative_numbers = true)]
    toss_start: Option<ClipTime>,
    /// Release of the ball
    #[arg(long, value_name = "TIME", allow_negative_numbers = true)]
    release: Option<ClipTime>,
    /// Trophy: deepest loading, the tossing arm up
    #[arg(long, value_name = "TIME", allow_negative_numbers = true)]
    trophy: Option<ClipTime>,
    /// Racket low point behind the back
    #[arg(long, value_name = "TIME", allow_negative_numbers = true)]
    racket_low: Option<ClipTime>,
    /// Contact
    #[arg(long, value_name = "TIME", allow_negative_numbers = true)]
    contact: Option<ClipTime>,
    /// Finish: end of the follow-through
    #[arg(long, value_name = "TIME", allow_negative_numbers = true)]
    finish: Option<ClipTime>,
    /// Take back a moment that was set by hand: the program's counts again; may be repeated
    #[arg(long, value_name = "MOMENT")]
    pub(in crate::cli) clear: Vec<EventKind>,
    /// Your code
    #[arg(long, default_value = "coach")]
    pub(in crate::cli) coach: String,
}

impl MarkArgs {
    /// The moments to be set.
    pub(in crate::cli) fn set(&self) -> Vec<(EventKind, ClipTime)> {
        let given = [
            (EventKind::TossStart, self.toss_start),
            (EventKind::Release, self.release),
            (EventKind::Trophy, self.trophy),
            (EventKind::RacketLow, self.racket_low),
            (EventKind::Contact, self.contact),
            (EventKind::Finish, self.finish),
        ];
        given.into_iter().filter_map(|(event, at)| Some((event, at?))).collect()
    }

    /// Whether it changes the library.
    pub(in crate::cli) fn changes(&self) -> bool {
        !self.set().is_empty() || !self.clear.is_empty()
    }
}
