//! Arguments of the commands that put something right.

use clap::{Args, ValueEnum};
use jiff::civil::Date;

use super::BallArgs;
use crate::coaching::{Amended, ConsentGiven};
use crate::library::{ConsentBy, Level, ServeType, Setting};
use crate::motion::{Side, View};

#[derive(Debug, Args)]
pub(in crate::cli) struct AmendArgs {
    /// What to amend: a player's code, or an id (p2, r3, c1, n4, f5)
    pub(in crate::cli) what: String,
    /// Player: another code
    #[arg(long)]
    pub(in crate::cli) code: Option<String>,
    /// Player: real name, which never leaves the library
    #[arg(long)]
    pub(in crate::cli) name: Option<String>,
    /// Player: level
    #[arg(long)]
    pub(in crate::cli) level: Option<Level>,
    /// Player: birth date
    #[arg(long)]
    pub(in crate::cli) born: Option<Date>,
    /// Player: standing height in metres
    #[arg(long, value_name = "M", allow_negative_numbers = true)]
    pub(in crate::cli) stature: Option<f64>,
    /// Player: squads, instead of those recorded; may be repeated
    #[arg(long)]
    pub(in crate::cli) squad: Vec<String>,
    /// Player: the player's coach (a code)
    #[arg(long, value_name = "CODE")]
    pub(in crate::cli) coach_of_player: Option<String>,
    /// Player: what the player agrees to from today on
    #[arg(long)]
    pub(in crate::cli) consent: Option<AgreedArg>,
    /// Player: who agreed; of a player under eighteen a parent or guardian does
    #[arg(long, value_name = "WHO")]
    pub(in crate::cli) consent_by: Option<ConsentBy>,
    /// Player or recording: serving hand; a recording is read again with it
    #[arg(long)]
    pub(in crate::cli) hand: Option<Side>,
    /// Recording or follow-up: its day
    #[arg(long)]
    pub(in crate::cli) date: Option<Date>,
    /// Recording: what it shows
    #[arg(long)]
    pub(in crate::cli) setting: Option<Setting>,
    /// Recording: type of serve the player went for
    #[arg(long = "type", value_name = "TYPE")]
    pub(in crate::cli) serve_type: Option<ServeType>,
    /// Recording: where the camera stood; it is read again with it
    #[arg(long)]
    pub(in crate::cli) view: Option<View>,
    /// Case: a note to add, earlier ones stay; plan, follow-up: its note
    #[arg(long)]
    pub(in crate::cli) note: Option<String>,
    /// Plan: a drill's dose; may be repeated
    #[arg(long, value_name = "DRILL=DOSE")]
    pub(in crate::cli) dose: Vec<String>,
    /// Plan: where a drill is done; may be repeated
    #[arg(long, value_name = "DRILL=PLACE")]
    pub(in crate::cli) place: Vec<String>,
    /// Plan: first day
    #[arg(long)]
    pub(in crate::cli) start: Option<Date>,
    /// Plan: day of the next review
    #[arg(long)]
    pub(in crate::cli) review_on: Option<Date>,
    /// Plan: the day it ended
    #[arg(long, value_name = "DAY", conflicts_with = "in_force")]
    pub(in crate::cli) ended: Option<Date>,
    /// Plan: it has not ended after all
    #[arg(long)]
    pub(in crate::cli) in_force: bool,
    /// Follow-up: rating, -2 (worse) to 2 (gone)
    #[arg(long, allow_negative_numbers = true)]
    pub(in crate::cli) rating: Option<i8>,
    /// Follow-up: sessions done since the plan began
    #[arg(long)]
    pub(in crate::cli) sessions: Option<u32>,
    #[command(flatten)]
    pub(in crate::cli) ball: BallArgs,
    /// Plan: you were asked about its doses, and are sure
    #[arg(long)]
    pub(in crate::cli) sure: bool,
    /// What is not known after all; may be repeated
    #[arg(long, value_name = "WHAT")]
    pub(in crate::cli) clear: Vec<ClearArg>,
    /// Your code
    #[arg(long, default_value = "coach")]
    pub(in crate::cli) coach: String,
}

impl AmendArgs {
    /// The options that were given, and what each of them belongs to.
    pub(in crate::cli) fn given(&self) -> Vec<(&'static str, &'static [&'static str])> {
        let ball = &self.ball;
        let all: [(bool, &str, &[&str]); 29] = [
            (self.code.is_some(), "--code", &["player"]),
            (self.name.is_some(), "--name", &["player"]),
            (self.level.is_some(), "--level", &["player"]),
            (self.born.is_some(), "--born", &["player"]),
            (self.stature.is_some(), "--stature", &["player"]),
            (!self.squad.is_empty(), "--squad", &["player"]),
            (self.coach_of_player.is_some(), "--coach-of-player", &["player"]),
            (self.consent.is_some(), "--consent", &["player"]),
            (self.consent_by.is_some(), "--consent-by", &["player"]),
            (self.hand.is_some(), "--hand", &["player", "recording"]),
            (self.date.is_some(), "--date", &["recording", "follow-up"]),
            (self.setting.is_some(), "--setting", &["recording"]),
            (self.serve_type.is_some(), "--type", &["recording"]),
            (self.view.is_some(), "--view", &["recording"]),
            (self.note.is_some(), "--note", &["case", "plan", "follow-up"]),
            (!self.dose.is_empty(), "--dose", &["plan"]),
            (!self.place.is_empty(), "--place", &["plan"]),
            (self.start.is_some(), "--start", &["plan"]),
            (self.review_on.is_some(), "--review-on", &["plan"]),
            (self.ended.is_some(), "--ended", &["plan"]),
            (self.in_force, "--in-force", &["plan"]),
            (self.sure, "--sure", &["plan"]),
            (self.rating.is_some(), "--rating", &["follow-up"]),
            (self.sessions.is_some(), "--sessions", &["follow-up"]),
            (ball.speed.is_some(), "--speed", &["follow-up"]),
            (ball.first_serve.is_some(), "--first-serve", &["follow-up"]),
            (ball.net.is_some(), "--net", &["follow-up"]),
            (ball.long.is_some(), "--long", &["follow-up"]),
            (ball.wide.is_some(), "--wide", &["follow-up"]),
        ];
        let mut given: Vec<_> =
            all.into_iter().filter(|one| one.0).map(|(_, option, kinds)| (option, kinds)).collect();
        given.extend(self.clear.iter().map(|what| ("--clear with this", what.belongs_to())));
        given
    }
}

/// What a player agrees to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(in crate::cli) enum AgreedArg {
    /// To nothing any more: nothing is added, nothing goes out
    None,
    /// Recordings and cases may be kept here
    Keep,
    /// That too, and cases may go out in packs without a name
    Share,
}

impl AgreedArg {
    pub(in crate::cli) fn agreed(self) -> Amended<ConsentGiven> {
        match self {
            Self::None => Amended::Cleared,
            Self::Keep => Amended::To(ConsentGiven::Keep),
            Self::Share => Amended::To(ConsentGiven::KeepAndShare),
        }
    }
}

/// What may be said to be unknown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(in crate::cli) enum ClearArg {
    Name,
    Hand,
    Level,
    Born,
    Stature,
    Squads,
    CoachOfPlayer,
    ReviewOn,
    Speed,
    FirstServe,
    Misses,
    Rating,
    Sessions,
    Note,
}

impl ClearArg {
    fn belongs_to(self) -> &'static [&'static str] {
        match self {
            Self::Name
            | Self::Hand
            | Self::Level
            | Self::Born
            | Self::Stature
            | Self::Squads
            | Self::CoachOfPlayer => &["player"],
            Self::ReviewOn => &["plan"],
            Self::Speed | Self::FirstServe | Self::Misses | Self::Rating | Self::Sessions => {
                &["follow-up"]
            }
            Self::Note => &["plan", "follow-up"],
        }
    }
}

#[derive(Debug, Args)]
pub(in crate::cli) struct MoveArgs {
    /// The recording (r3) or serve (s12)
    pub(in crate::cli) what: String,
    /// Whose it is (a code)
    #[arg(long, value_name = "CODE", required_unless_present = "date")]
    pub(in crate::cli) player: Option<String>,
    /// The day it was recorded
    #[arg(long)]
    pub(in crate::cli) date: Option<Date>,
    /// Your code
    #[arg(long, default_value = "coach")]
    pub(in crate::cli) coach: String,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RemoveArgs {
    /// What to remove: a recording (r3), serve (s12), plan (n4), follow-up (f5) or logged
    /// practice (d6); a case (c1) with --label or --note
    pub(in crate::cli) what: String,
    /// A label of the case: what was said about this fault
    #[arg(long, value_name = "FAULT")]
    pub(in crate::cli) label: Option<String>,
    /// A note of the case: the first is 1
    #[arg(long, value_name = "NUMBER", conflicts_with = "label")]
    pub(in crate::cli) note: Option<usize>,
    /// Who said it [default: you]
    #[arg(long, value_name = "CODE", requires = "label")]
    pub(in crate::cli) said_by: Option<String>,
    /// Remove it, with everything that depends on it
    #[arg(long)]
    pub(in crate::cli) yes: bool,
    /// Your code
    #[arg(long, default_value = "coach")]
    pub(in crate::cli) coach: String,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct HistoryArgs {
    /// History of what: a player's code, or an id (p2, r3, s12, c1, n4, f5, d6)
    pub(in crate::cli) what: String,
    /// Take the last change back
    #[arg(long)]
    pub(in crate::cli) undo: bool,
    /// Your code
    #[arg(long, default_value = "coach")]
    pub(in crate::cli) coach: String,
}
