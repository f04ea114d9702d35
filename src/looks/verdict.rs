//! Whether a plan worked, as far as its fault's measure tells, and which later look says so.

use jiff::Unit;
use jiff::civil::Date;
use serde::ser::SerializeStruct;
use serde::{Serialize, Serializer};

use super::change::Change;
use super::session::Unlike;
use crate::catalogue::Catalogue;
use crate::coaching::{Cautions, Practised};
use crate::library::{BallFlight, Case, CaseId, FollowUp, FollowUpId, Plan, PlanId, ServeId};
use crate::matcher::{Precedent, PrecedentObject};

/// Days after a plan's first day in which a look nobody recorded as a follow-up shows what came of
/// it. A review a month is usual; a week is too soon, half a season too late. Common practice, no
/// source.
pub const SEEN_AGAIN_DAYS: std::ops::RangeInclusive<i32> = 7..=150;

/// What came of a plan.
#[derive(Debug, Clone, PartialEq)]
pub enum Verdict {
    /// The fault's measure moved for the better by more than chance and measuring give.
    Better(Change),
    /// For the worse by more than chance and measuring give.
    Worse(Change),
    /// It moved by no more than chance and measuring give.
    NoClearChange(Change),
    /// Looked at again, but nothing then compares with what was seen before.
    NotComparable {
        /// Why not; of several later looks, of the one that would have counted first.
        why: Unlike,
    },
    /// Not looked at again yet.
    NotYet {
        /// First day on which a later look counts.
        from: Date,
        /// Last day.
        to: Date,
    },
}

impl Verdict {
    /// What a comparison means.
    #[must_use]
    pub fn of(compared: Result<Change, Unlike>) -> Self {
        match compared {
            Ok(change) => match change.better() {
                Some(true) => Self::Better(change),
                Some(false) => Self::Worse(change),
                None => Self::NoClearChange(change),
            },
            Err(why) => Self::NotComparable { why },
        }
    }

    /// The change it rests on.
    #[must_use]
    pub fn change(&self) -> Option<&Change> {
        match self {
            Self::Better(change) | Self::Worse(change) | Self::NoClearChange(change) => {
                Some(change)
            }
            Self::NotComparable { .. } | Self::NotYet { .. } => None,
        }
    }

    /// Stable name: `better`, `worse`, `no_clear_change`, `not_comparable`, `not_yet`.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::Better(_) => "better",
            Self::Worse(_) => "worse",
            Self::NoClearChange(_) => "no_clear_change",
            Self::NotComparable { .. } => "not_comparable",
            Self::NotYet { .. } => "not_yet",
        }
    }
}

/// A later day that may show what came of a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Later {
    /// The day.
    pub date: Date,
    /// Its serves, at least one.
    pub serves: Vec<ServeId>,
    /// The review of that day, where there is one.
    pub case: Option<CaseId>,
    /// The follow-up that recorded it, where one did.
    pub follow_up: Option<FollowUpId>,
    /// What was reported then.
    pub reported: Reported,
}

/// Results beside the measure, as reported then and before; a later figure, not an effect.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Reported {
    /// Coach's rating, -2 to 2.
    pub rating: Option<i8>,
    /// Serve speed later minus first, km/h.
    pub speed_kmh: Option<f64>,
    /// First serves in later minus first, percentage points.
    pub first_serve_pct: Option<f64>,
}

impl Reported {
    fn between(before: &BallFlight, after: &BallFlight, rating: Option<i8>) -> Self {
        let change = |then: Option<f64>, now: Option<f64>| Some(then? - now?);
        Self {
            rating,
            speed_kmh: change(after.speed_kmh, before.speed_kmh),
            first_serve_pct: change(after.first_serve_pct, before.first_serve_pct),
        }
    }
}

/// The days that may show what came of `fault` after `case`, the one that counts first in front.
///
/// For a plan: its follow-ups, the last first, each with the serves it names or, where it names none,
/// those of the player's review of that day; then the player's next reviews, the first first, within
/// [`SEEN_AGAIN_DAYS`] of the plan's first day. Without a plan the next reviews alone, counted from
/// the case. Next reviews count until another plan for the same fault has begun: what they show
/// later is that plan's doing too. A withdrawn plan nobody followed up does not count as one. The first of these days whose serves compare decides (see
/// [`super::Snapshot::came_of`]).
///
/// `cases`: all of the player's, by day and id.
#[must_use]
pub fn later_days(case: &Case, plan: Option<&Plan>, fault: &str, cases: &[Case]) -> Vec<Later> {
    let mut found = Vec::new();
    let of_day = |day: Date| cases.iter().find(|other| other.date == day && other.id != case.id);
    if let Some(plan) = plan {
        let mut answers: Vec<&FollowUp> =
            case.follow_ups.iter().filter(|answer| answer.plan == plan.id).collect();
        answers.sort_by_key(|answer| std::cmp::Reverse((answer.date, answer.id)));
        for answer in answers {
            let review = of_day(answer.date);
            let serves = match review {
                Some(review) if answer.serves.is_empty() => &review.serves,
                _ => &answer.serves,
            };
            if !serves.is_empty() {
                found.push(Later {
                    date: answer.date,
                    serves: serves.clone(),
                    case: review.map(|review| review.id),
                    follow_up: Some(answer.id),
                    reported: Reported::between(&case.ball, &answer.ball, answer.rating),
                });
            }
        }
    }
    let began = began(case, plan);
    let next_plan = cases
        .iter()
        .flat_map(|other| other.plans.iter().filter(|plan| other.was_tried(plan)))
        .filter(|other| other.limiting_fault == fault && other.start > began)
        .map(|other| other.start)
        .min();
    let next = cases.iter().filter(|other| {
        other.date > case.date
            && !other.serves.is_empty()
            && SEEN_AGAIN_DAYS.contains(&days_between(began, other.date))
            && next_plan.is_none_or(|start| other.date <= start)
    });
    found.extend(next.map(|next| Later {
        date: next.date,
        serves: next.serves.clone(),
        case: Some(next.id),
        follow_up: None,
        reported: Reported::between(&case.ball, &next.ball, None),
    }));
    found
}

/// The day from which on a change counts: the plan's first day, or the case's without a plan.
pub(super) fn began(case: &Case, plan: Option<&Plan>) -> Date {
    plan.map_or(case.date, |plan| plan.start)
}

/// Whole days from one day to another.
#[must_use]
pub fn days_between(from: Date, to: Date) -> i32 {
    from.until((Unit::Day, to)).map_or(0, |span| span.get_days())
}

/// What came of a plan, or of a fault nobody planned for, and the day that says so.
///
/// As JSON one flat object: `plan`, `fault`, `verdict` (see [`Verdict::name`]), `why`, `measure`,
/// `unit`, `before`, `before_serves`, `after`, `after_serves`, `change` (positive = better),
/// `detectable`, `seen_on`, `follow_up`, `practised`; what does not apply is null.
#[derive(Debug, Clone, PartialEq)]
pub struct Came {
    /// The plan, where there is one.
    pub plan: Option<PlanId>,
    /// Catalogue id of the fault.
    pub fault: String,
    /// What came of it.
    pub verdict: Verdict,
    /// The later day that decides; `None` while there is none.
    pub later: Option<Later>,
    /// What was practised under the plan until that day, if anybody knows.
    pub practised: Option<Practised>,
}

impl Serialize for Came {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let change = self.verdict.change();
        let why = match &self.verdict {
            Verdict::NotComparable { why } => Some(why.to_string()),
            _ => None,
        };
        let mut object = to.serialize_struct("Came", 15)?;
        object.serialize_field("plan", &self.plan.map(|plan| plan.to_string()))?;
        object.serialize_field("fault", &self.fault)?;
        object.serialize_field("verdict", self.verdict.name())?;
        object.serialize_field("why", &why)?;
        object.serialize_field("measure", &change.map(|change| change.def.id))?;
        object.serialize_field("unit", &change.map(|change| change.def.unit))?;
        object.serialize_field("before", &change.map(|change| change.before.value))?;
        object.serialize_field("before_serves", &change.map(|change| change.before.serves))?;
        object.serialize_field("after", &change.map(|change| change.after.value))?;
        object.serialize_field("after_serves", &change.map(|change| change.after.serves))?;
        object.serialize_field("change", &change.and_then(Change::gain))?;
        object.serialize_field("detectable", &change.map(|change| change.detectable))?;
        object.serialize_field("seen_on", &self.later.as_ref().map(|later| later.date))?;
        let follow_up = self.later.as_ref().and_then(|later| later.follow_up);
        object.serialize_field("follow_up", &follow_up.map(|id| id.to_string()))?;
        object.serialize_field("practised", &self.practised)?;
        object.end()
    }
}

/// A precedent with what came of its plans.
#[derive(Debug, Clone, PartialEq)]
pub struct FollowedPrecedent {
    /// The precedent.
    pub precedent: Precedent,
    /// What came of its plans, in their order.
    pub came: Vec<Came>,
}

impl FollowedPrecedent {
    /// As one JSON object: the precedent's fields, with what must be said about its drills beside
    /// `general`, and `came`, one object per plan.
    #[must_use]
    pub fn object(&self, catalogue: &Catalogue, general: &Cautions) -> FollowedObject<'_> {
        FollowedObject { precedent: self.precedent.object(catalogue, general), came: &self.came }
    }
}

/// A precedent and what came of its plans as a JSON object.
#[derive(Debug, Serialize)]
pub struct FollowedObject<'a> {
    #[serde(flatten)]
    precedent: PrecedentObject<'a>,
    came: &'a [Came],
}
