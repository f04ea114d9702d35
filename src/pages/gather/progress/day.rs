//! The reviews of one player, and which looks of two of them are drawn.

use std::rc::Rc;

use jiff::civil::Date;

use crate::drawing::Viewpoint;
use crate::library::{Case, ServeId, ServeRow, StoreError};
use crate::looks::{Look, Pair, Session, SetUp, Snapshot, Swing, Unlike, pairs};
use crate::motion::{Capture, View};
use crate::words;

/// One day of a player.
#[derive(Debug, Clone)]
pub(super) struct PlayerDay {
    pub(super) case: Option<Case>,
    pub(super) session: Session,
}

impl PlayerDay {
    pub(super) fn of_case(snapshot: &Snapshot<'_>, case: Case) -> Result<Self, StoreError> {
        let session = snapshot.session(case.date, &case.serves)?;
        Ok(Self { case: Some(case), session })
    }

    pub(super) fn date(&self) -> Date {
        self.session.date
    }

    pub(super) fn serves(&self) -> usize {
        self.session.strokes()
    }

    /// The look with the most serves, the first of equals.
    pub(super) fn main_look(&self) -> Option<Look<'_>> {
        self.session.looks().into_iter().rev().max_by_key(Look::strokes)
    }
}

/// Where serves of a set-up are drawn from: a clip of one camera beside the player shows little of
/// what lies across it.
pub(in crate::pages::gather) fn drawn(set_up: SetUp) -> Viewpoint {
    match (set_up.capture, set_up.view) {
        (Capture::OneCameraLifted | Capture::OneCameraFlat, Some(View::Side)) => {
            Viewpoint::FromHittingSide
        }
        _ => Viewpoint::FromBehind,
    }
}

/// The pair with the most serves on its poorer side, the first of equals.
pub(super) fn fullest<'a, 'b>(pairs: &'a [Pair<'b>]) -> Option<&'a Pair<'b>> {
    let size = |pair: &Pair<'_>| {
        let (before, after) = (pair.before.strokes(), pair.after.strokes());
        (before.min(after), before + after)
    };
    pairs.iter().rev().max_by_key(|pair| size(pair))
}

/// The whole serves of a look.
pub(super) fn whole(
    snapshot: &Snapshot<'_>,
    look: &Look<'_>,
) -> Result<Vec<Rc<ServeRow>>, StoreError> {
    look.serves.iter().map(|serve| snapshot.serve(serve.id)).collect()
}

/// The looks of two days that compare, or why none does, as a sentence.
pub(super) fn alike<'a>(
    before: &'a PlayerDay,
    after: &'a PlayerDay,
) -> Result<Vec<Pair<'a>>, String> {
    pairs(&before.session, &after.session).map_err(|why| match why {
        Unlike::NoServe { date, later } => format!(
            "No serve is recorded {} ({}): only what was reported can be compared.",
            if later { "after" } else { "before" },
            words::day(date)
        ),
        Unlike::SetUp { why } => format!(
            "The two were recorded differently ({}), so their measures are not compared.",
            why.join(", or ")
        ),
        other => format!("{}.", words::sentence(&other.to_string())),
    })
}

/// What a reader must know about the pair that is shown, one sentence each.
pub(super) fn notes(
    snapshot: &Snapshot<'_>,
    before: &PlayerDay,
    after: &PlayerDay,
    pair: &Pair<'_>,
) -> Result<Vec<String>, StoreError> {
    let mut notes = Vec::new();
    let (earlier, later) = (pair.before.strokes(), pair.after.strokes());
    if earlier + later < before.serves() + after.serves() {
        notes.push(format!(
            "Like with like only: {} of {} before and {} of {} after ({}).",
            earlier,
            words::count(before.serves(), "serve"),
            later,
            words::count(after.serves(), "serve"),
            pair.after.describe()
        ));
    }
    if pair.before.set_up.swing == Swing::Unknown || pair.after.set_up.swing == Swing::Unknown {
        notes.push(
            "Whether it was a practice swing or a serve with a ball is not recorded for all of \
             them; they are taken as alike."
                .to_owned(),
        );
    }
    let settings = |look: &Look<'_>| {
        let mut said: Vec<&str> =
            look.serves.iter().filter_map(|serve| serve.setting.map(words::setting)).collect();
        said.sort_unstable();
        said.dedup();
        said
    };
    let (then, now) = (settings(&pair.before), settings(&pair.after));
    if !then.is_empty() && !now.is_empty() && then != now {
        notes.push(format!(
            "Recorded in different settings: {} before, {} after; that changes a serve too.",
            words::list(&then),
            words::list(&now)
        ));
    }
    let slowest = |look: &Look<'_>| -> Result<f64, StoreError> {
        let rate = |&id: &ServeId| {
            let recording = snapshot.head(id)?.recording;
            Ok(snapshot.recording(recording)?.rate_hz)
        };
        let rates: Vec<f64> = look.ids().iter().map(rate).collect::<Result<_, StoreError>>()?;
        Ok(rates.into_iter().fold(f64::INFINITY, f64::min))
    };
    let (then, now) = (slowest(&pair.before)?, slowest(&pair.after)?);
    if then.max(now) > 1.5 * then.min(now) {
        notes.push(format!(
            "Filmed at {then:.0} Hz before and {now:.0} Hz after: fast moments may differ for that \
             reason alone."
        ));
    }
    Ok(notes)
}
