//! Which other serves of the same player are worth holding beside one.

use super::{SetUp, Swing};
use crate::library::{Library, ServeHead, ServeId, StoreError};

/// Most of one kind; the nearest days come first (our estimate of what anybody goes through).
const OF_EACH: usize = 4;

/// What the other serve is to the one that is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Relation {
    /// The same serve, filmed from elsewhere.
    SameServe,
    /// An earlier day's, one of each day: like with like where that day has one.
    Earlier,
    /// A practice swing: of the same day, else of an earlier one.
    PracticeSwing,
    /// Of the same day, seen from elsewhere.
    OtherView,
    /// Another of the same day, recorded in the same way.
    SameDay,
}

impl Relation {
    /// What it is called before its day: "earlier serve".
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::SameServe => "same serve",
            Self::Earlier => "earlier serve",
            Self::PracticeSwing => "practice swing",
            Self::OtherView => "other view",
            Self::SameDay => "same day",
        }
    }
}

/// A serve of the same player to hold beside the one that is looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside {
    /// What it is to it.
    pub relation: Relation,
    /// Which.
    pub head: ServeHead,
}

/// The player's own serves to hold beside `serve`: other views of it, earlier ones, practice swings, other views and
/// others of the day, each kind with the nearest day first.
///
/// # Errors
/// [`StoreError`] for an unknown serve or if the store cannot be read.
pub fn beside(library: &Library, serve: ServeId) -> Result<Vec<Beside>, StoreError> {
    let this = library.serve_head(serve)?;
    let mut others = Vec::new();
    for id in library.serves_of(this.player)? {
        if id != serve {
            others.push(library.serve_head(id)?);
        }
    }
    let views = library.views_of_day(this.case)?.others(serve);
    Ok(chosen(&this, others, &views))
}

/// `views`: those that show the very same serve.
fn chosen(this: &ServeHead, mut others: Vec<ServeHead>, views: &[ServeId]) -> Vec<Beside> {
    let set_up = SetUp::of(this);
    let unlike = |other: &ServeHead| SetUp::of(other).unlike(set_up).is_some();
    others.retain(|other| other.date <= this.date);
    others.sort_by_key(|other| (std::cmp::Reverse(other.date), unlike(other), other.id));
    let mut found: Vec<Beside> = Vec::new();
    for head in others {
        let same_day = head.date == this.date;
        let swing = SetUp::of(&head).swing == Swing::Practice;
        let relation = if views.contains(&head.id) {
            Relation::SameServe
        } else if swing && set_up.swing != Swing::Practice {
            Relation::PracticeSwing
        } else if !same_day {
            Relation::Earlier
        } else if head.recording != this.recording && head.view != this.view {
            Relation::OtherView
        } else {
            Relation::SameDay
        };
        let kept = |one: &&Beside| one.relation == relation;
        let day_is_told = relation == Relation::Earlier
            && found.iter().filter(kept).any(|one| one.head.date == head.date);
        if !day_is_told && found.iter().filter(kept).count() < OF_EACH {
            found.push(Beside { relation, head });
        }
    }
    found.sort_by_key(|one| one.relation);
    found
}

#[cfg(test)]
mod tests {
    use jiff::civil::{Date, date};

    use super::*;
    use crate::library::{CaseId, PlayerId, RecordingId, Setting};
    use crate::motion::{Capture, Side, View};
    use crate::serve::CORE_SET;

    fn head(id: i64, recording: i64, date: Date, view: View, setting: Setting) -> ServeHead {
        ServeHead {
            id: ServeId(id),
            recording: RecordingId(recording),
            case: CaseId(1),
            player: PlayerId(1),
            player_code: "dunlin".to_owned(),
            date,
            hand: Side::Right,
            capture: Capture::OneCameraLifted,
            view: Some(view),
            setting: Some(setting),
            serve_type: None,
            channel_set: CORE_SET.to_owned(),
        }
    }

    #[test]
    fn each_kind_is_offered_once_and_the_nearest_like_day_first() {
        use Setting::{PracticeSwing, Target};
        use View::{Behind, Side};
        let [march, april, may] = [date(2026, 3, 4), date(2026, 4, 4), date(2026, 5, 4)];
        let this = head(9, 5, april, Side, Target);
        let others = vec![
            // Unlike, but of the same day in March as one that is like.
            head(1, 1, march, Behind, Target),
            head(2, 2, march, Side, Target),
            head(3, 2, march, Side, Target),
            head(4, 3, date(2026, 2, 1), Behind, Target),
            head(5, 4, april, Side, PracticeSwing),
            head(6, 1, march, Side, PracticeSwing),
            head(7, 6, april, Behind, Target),
            head(8, 5, april, Side, Target),
            // Not before, so no earlier serve.
            head(10, 7, may, Side, Target),
        ];
        let found = chosen(&this, others.clone(), &[]);
        let told: Vec<_> = found.iter().map(|one| (one.relation, one.head.id.0)).collect();
        let expected = [
            (Relation::Earlier, 2),
            (Relation::Earlier, 4),
            (Relation::PracticeSwing, 5),
            (Relation::PracticeSwing, 6),
            (Relation::OtherView, 7),
            (Relation::SameDay, 8),
        ];
        assert_eq!(told, expected);
        // Beside a practice swing, another is not called one.
        let swing = head(11, 8, april, Side, PracticeSwing);
        let found = chosen(&swing, vec![head(5, 4, april, Side, PracticeSwing)], &[]);
        assert_eq!(found[0].relation, Relation::SameDay);
        // What shows the very same serve comes first, and is not told twice.
        let found = chosen(&this, others, &[ServeId(7)]);
        assert_eq!((found[0].relation, found[0].head.id.0), (Relation::SameServe, 7));
        assert!(found.iter().all(|one| one.relation != Relation::OtherView));
    }
}
