use std::fmt;
use std::str::FromStr;

use jiff::civil::Date;
use jiff::{ToSpan, ZonedDateTime};
use serde::ser::{Serialize, SerializeStruct, Serializer};
use thiserror::Error;

use crate::catalogue::{BodyPart, Catalogue};
use crate::library::{
    Author, Case, CaseId, Library, Pain, Plan, PlanId, Practice, PracticeId, StoreError, WriteError,
};
use crate::words;

/// Pain of 10 from which practice is not gone on with. Our estimate: on a scale from 0 to 10 four
/// and more is commonly called moderate.
pub const MUCH_PAIN: u8 = 4;
/// Highest effort and pain.
const SCALE: u8 = 10;
/// Most sessions on one day; our choice. Who writes more means a week.
const MOST_SESSIONS: u32 = 6;

/// What was practised for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PractisedFor {
    /// A plan.
    Plan(PlanId),
    /// The one plan of a case that was in force on the day.
    Case(CaseId),
}

impl FromStr for PractisedFor {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let plan = text.parse().map(Self::Plan);
        plan.or_else(|_| text.parse().map(Self::Case))
            .map_err(|_: String| format!("the id of a plan (n4) or case (c1), found '{text}'"))
    }
}

/// Practice that was done on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct PracticeRequest {
    /// What was practised for.
    pub practised: PractisedFor,
    /// Day.
    pub day: Date,
    /// Sessions on that day; 0 where practice was tried and left.
    pub sessions: u32,
    /// Repetitions, all drills together, if they were counted.
    pub repetitions: Option<u32>,
    /// How hard it was, 0 (rest) to 10 (all the player has).
    pub effort: Option<u8>,
    /// Pain, 0 (none) to 10 (the worst).
    pub pain: Option<u8>,
    /// Where it hurts.
    pub place: Option<BodyPart>,
    /// Free words.
    pub note: Option<String>,
    /// Who says so (a coach's code).
    pub by: Option<String>,
    /// Questions the coach was asked and answered with "not known".
    pub sure: Vec<PracticeQuestion>,
}

/// What a coach is asked before practice is logged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum PracticeQuestion {
    /// Pain without a place.
    Where {
        /// Pain of 10.
        pain: u8,
    },
}

impl fmt::Display for PracticeQuestion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Where { pain } => write!(f, "pain {pain} of {SCALE}: where does it hurt?"),
        }
    }
}

/// Why practice was not logged; nothing of it is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PracticeRefusal {
    /// Before the plan.
    #[error("{plan}: starts on {start}, practised on {day}; correct the day, or name another plan")]
    BeforeStart {
        /// The plan.
        plan: PlanId,
        /// Its first day.
        start: Date,
        /// The day as said.
        day: Date,
    },
    /// After the plan.
    #[error(
        "{plan}: in force until {end}, practised on {day}; correct the day, or name the plan that \
         came after it"
    )]
    AfterEnd {
        /// The plan.
        plan: PlanId,
        /// First day on which it is in force no longer.
        end: Date,
        /// The day as said.
        day: Date,
    },
    /// A day that is to come.
    #[error("practised on {day}, and today is {today}; log practice once it is done")]
    NotYet {
        /// The day as said.
        day: Date,
        /// Today.
        today: Date,
    },
    /// No plan of the case was in force.
    #[error("{case}: no plan is in force on {day}; name the plan, or correct the day")]
    NoPlan {
        /// The case.
        case: CaseId,
        /// The day.
        day: Date,
    },
    /// Two plans were in force.
    #[error(
        "{case}: {} are in force on {day}; say for which of them",
        .plans.iter().map(ToString::to_string).collect::<Vec<_>>().join(" and ")
    )]
    SeveralPlans {
        /// The case.
        case: CaseId,
        /// The day.
        day: Date,
        /// The plans.
        plans: Vec<PlanId>,
    },
    /// More sessions than a day holds.
    #[error("{found} sessions on one day, at most {}; log each day on its own", MOST_SESSIONS)]
    Sessions {
        /// Sessions as said.
        found: u32,
    },
    /// Effort outside its scale.
    #[error("effort is 0 (rest) to {} (flat out), found {found}; give a number between", SCALE)]
    Effort {
        /// What was said.
        found: u8,
    },
    /// Pain outside its scale.
    #[error("pain is 0 (none) to {} (the worst), found {found}; give a number between", SCALE)]
    Pain {
        /// What was said.
        found: u8,
    },
    /// A place, and no pain.
    #[error("the {} is named, but no pain; say how much it hurts, 1 to {}", .place.label(), SCALE)]
    NoPain {
        /// The place.
        place: BodyPart,
    },
    /// The coach was not asked yet.
    #[error("{0}")]
    Unanswered(PracticeQuestion),
    /// The store would not take it.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl From<StoreError> for PracticeRefusal {
    fn from(error: StoreError) -> Self {
        Self::Write(error.into())
    }
}

/// What the coach should know after practice was logged.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum PracticeNotice {
    /// It hurts too much to go on.
    SeeClinician {
        /// Pain of 10.
        pain: u8,
        /// Where, if that is known.
        place: Option<BodyPart>,
        /// Names of the case's drills in force that load the place.
        leave: Vec<String>,
    },
}

impl fmt::Display for PracticeNotice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self::SeeClinician { pain, place, leave } = self;
        let place = place.map_or("that place", BodyPart::label);
        let article = if place == "that place" { "" } else { "the " };
        write!(
            f,
            "pain {pain} of {SCALE}: see a clinician, and leave out what loads {article}{place} \
             until then"
        )?;
        if !leave.is_empty() {
            let names: Vec<String> = leave.iter().map(|name| format!("'{name}'")).collect();
            write!(f, ", of these drills {}", words::list(&names))?;
        }
        Ok(())
    }
}

/// Practice as logged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PracticeRecorded {
    /// Its id.
    pub practice: PracticeId,
    /// The plan.
    pub plan: PlanId,
    /// Sessions logged for the plan so far.
    pub sessions: u32,
    /// What the coach should know.
    pub notices: Vec<PracticeNotice>,
}

/// As JSON: `practice`, `plan`, `sessions_so_far` and `notices`.
impl Serialize for PracticeRecorded {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let notices: Vec<String> = self.notices.iter().map(ToString::to_string).collect();
        let mut object = to.serialize_struct("PracticeRecorded", 4)?;
        object.serialize_field("practice", &self.practice.to_string())?;
        object.serialize_field("plan", &self.plan.to_string())?;
        object.serialize_field("sessions_so_far", &self.sessions)?;
        object.serialize_field("notices", &notices)?;
        object.end()
    }
}

impl PracticeRequest {
    /// One session on a day, of which nothing more is said.
    #[must_use]
    pub fn new(practised: PractisedFor, day: Date) -> Self {
        Self {
            practised,
            day,
            sessions: 1,
            repetitions: None,
            effort: None,
            pain: None,
            place: None,
            note: None,
            by: None,
            sure: Vec::new(),
        }
    }

    /// The practice this means for a plan; its own id is none yet.
    ///
    /// # Errors
    /// [`PracticeRefusal`].
    pub fn check(&self, plan: &Plan, today: Date) -> Result<Practice, PracticeRefusal> {
        let (day, of) = (self.day, plan.id);
        // Tomorrow passes, for whoever travels.
        if day > today.saturating_add(1.day()) {
            return Err(PracticeRefusal::NotYet { day, today });
        }
        if day < plan.start {
            return Err(PracticeRefusal::BeforeStart { plan: of, start: plan.start, day });
        }
        if let Some(end) = plan.ended.as_ref().map(|end| end.day).filter(|end| *end <= day) {
            return Err(PracticeRefusal::AfterEnd { plan: of, end, day });
        }
        if self.sessions > MOST_SESSIONS {
            return Err(PracticeRefusal::Sessions { found: self.sessions });
        }
        if let Some(found) = self.effort.filter(|effort| *effort > SCALE) {
            return Err(PracticeRefusal::Effort { found });
        }
        if let Some(found) = self.pain.filter(|pain| *pain > SCALE) {
            return Err(PracticeRefusal::Pain { found });
        }
        let pain = match (self.pain, self.place) {
            (None | Some(0), Some(place)) => return Err(PracticeRefusal::NoPain { place }),
            (Some(level), None) if level > 0 => {
                let question = PracticeQuestion::Where { pain: level };
                if !self.sure.contains(&question) {
                    return Err(PracticeRefusal::Unanswered(question));
                }
                Some(Pain { level, place: None })
            }
            (level, place) => level.map(|level| Pain { level, place }),
        };
        Ok(Practice {
            id: PracticeId(0),
            plan: of,
            day,
            sessions: self.sessions,
            repetitions: self.repetitions,
            effort: self.effort,
            pain,
            note: self.note.clone(),
            by: self.by.as_deref().map(Author::coach).transpose()?,
        })
    }

    /// Checks and stores it as one change.
    ///
    /// # Errors
    /// [`PracticeRefusal`]; nothing is stored then.
    pub fn record(&self, library: &mut Library) -> Result<PracticeRecorded, PracticeRefusal> {
        // Read within the turn: nobody ends the plan between the look and the change.
        let turn = library.take_turn()?;
        let plan = self.plan(library)?;
        let practice = self.check(&plan, ZonedDateTime::now().date())?;
        let id = library.write_in(&turn, |writer| writer.add_practice(&practice))?;
        let sessions = library.practice_of(plan.id)?.iter().map(|done| done.sessions).sum();
        let case = library.case(plan.case)?;
        let notices = notices(&library.catalogue()?, &case, &practice);
        Ok(PracticeRecorded { practice: id, plan: plan.id, sessions, notices })
    }

    /// The plan that was practised for.
    fn plan(&self, library: &Library) -> Result<Plan, PracticeRefusal> {
        let (case, day) = match self.practised {
            PractisedFor::Plan(plan) => return Ok(library.plan(plan)?),
            PractisedFor::Case(case) => (case, self.day),
        };
        let mut plans = library.case(case)?.plans;
        plans.retain(|plan| plan.in_force_on(day));
        match plans.len() {
            0 => Err(PracticeRefusal::NoPlan { case, day }),
            1 => Ok(plans.remove(0)),
            _ => {
                let plans = plans.iter().map(|plan| plan.id).collect();
                Err(PracticeRefusal::SeveralPlans { case, day, plans })
            }
        }
    }
}

pub(super) fn notices(
    catalogue: &Catalogue,
    case: &Case,
    practice: &Practice,
) -> Vec<PracticeNotice> {
    let pain = practice.pain.filter(|pain| pain.level >= MUCH_PAIN);
    let plans = || case.plans.iter().filter(|plan| plan.in_force_on(practice.day));
    pain.into_iter().map(|pain| see_clinician(catalogue, plans(), pain)).collect()
}

/// What much pain means for the drills of these plans.
pub(super) fn see_clinician<'a>(
    catalogue: &Catalogue,
    plans: impl Iterator<Item = &'a Plan>,
    pain: Pain,
) -> PracticeNotice {
    let mut leave: Vec<String> = Vec::new();
    if let Some(place) = pain.place {
        for drill in plans.flat_map(|plan| &plan.drills) {
            let loads = catalogue.drill(&drill.drill).filter(|drill| drill.loads.contains(&place));
            leave.extend(loads.map(|drill| drill.name.clone()));
        }
        leave.sort();
        leave.dedup();
    }
    PracticeNotice::SeeClinician { pain: pain.level, place: pain.place, leave }
}
