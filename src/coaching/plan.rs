use std::fmt;

use jiff::civil::Date;
use thiserror::Error;

use super::breach::MOST_PLANS;
use super::cautions::{Age, Cautions, ShownDrill};
use super::fault::{Harm, HarmShown, UnknownFault, harms, known_fault};
use super::load::{Load, practiser};
use super::sore::sore_on;
use crate::catalogue::{Catalogue, Dose, DoseProblem, Place, Practiser};
use crate::library::{
    Author, Case, CaseId, Library, Named, Plan, PlanId, PlannedDrill, StoreError, WriteError,
    check_planned,
};

/// A drill somebody wants to plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrillRequest {
    /// Catalogue id.
    pub drill: String,
    /// Dose in words; `None`: as the catalogue has it.
    pub dose: Option<String>,
    /// Where it is to be done, if that is said.
    pub place: Option<Place>,
}

impl DrillRequest {
    /// From what somebody typed: the drill, its dose behind `dose_mark`, its place behind `@`, like
    /// `towel_swing=3 x 10@practice_swing`.
    ///
    /// # Errors
    /// [`PlanRefusal::UnknownPlace`].
    pub fn from_typed(entry: &str, dose_mark: char) -> Result<Self, PlanRefusal> {
        let (said, place) = match entry.rsplit_once('@') {
            Some((said, place)) => (said, Some(place.trim())),
            None => (entry, None),
        };
        let place = place.map(|name| {
            let unknown = || PlanRefusal::UnknownPlace { found: name.to_owned() };
            Place::from_typed(name).ok_or_else(unknown)
        });
        let (drill, dose) = said.split_once(dose_mark).unwrap_or((said, ""));
        let dose = Some(dose.trim()).filter(|dose| !dose.is_empty());
        Ok(Self {
            drill: drill.trim().to_owned(),
            dose: dose.map(str::to_owned),
            place: place.transpose()?,
        })
    }
}

/// What a coach plans for a case.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanRequest {
    /// The case.
    pub case: CaseId,
    /// Catalogue id of the limiting fault.
    pub fault: String,
    /// Drills from easy to full.
    pub drills: Vec<DrillRequest>,
    /// First day; `None`: the case's day.
    pub start: Option<Date>,
    /// Day of the next review.
    pub review_on: Option<Date>,
    /// Coach (a code).
    pub coach: Option<String>,
    /// Free words.
    pub note: Option<String>,
    /// The plan whose place this one takes, of this case or an earlier one of the player.
    pub replaces: Option<PlanId>,
    /// Why it takes that place, in free words.
    pub reason: Option<String>,
    /// Questions the coach was asked and answered with yes.
    pub sure: Vec<Question>,
}

/// What a coach is asked before a plan is recorded: unusual, but the coach may know better.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Question {
    /// The catalogue does not have the drill for the fault.
    ServesAnotherFault {
        /// Catalogue id of the drill.
        drill: String,
        /// Catalogue id of the fault the plan is for.
        fault: String,
        /// Names of the faults it is made for.
        made_for: Vec<String>,
        /// Drills the catalogue has for the fault.
        fitting: Vec<String>,
    },
    /// Another plan in force works on a fault whose fixing pulls the other way.
    PullsTheOtherWay {
        /// Catalogue id of the fault the plan is for.
        fault: String,
        /// The other plan.
        plan: PlanId,
        /// Catalogue id of its fault.
        other: String,
    },
    /// More serves and throws than the catalogue lets pass unremarked at the player's age, with
    /// those of the plans beside it.
    Much {
        /// The limit, by its id in the catalogue.
        limit: String,
        /// How much it is and how it is held against.
        text: String,
        /// Published rows behind the limit.
        sources: Vec<String>,
    },
}

impl Question {
    /// What the question is about, as a statement.
    #[must_use]
    pub fn fact(&self) -> String {
        match self {
            Self::ServesAnotherFault { drill, fault, made_for, fitting } => format!(
                "'{drill}' is meant for {}, not for '{fault}', which has {}",
                made_for.join(" and ").to_lowercase(),
                fitting.join(", ")
            ),
            Self::PullsTheOtherWay { fault, plan, other } => {
                format!("{plan} works on '{other}', and fixing that pulls against fixing '{fault}'")
            }
            Self::Much { text, .. } => text.trim_end_matches('.').to_owned(),
        }
    }
}

impl fmt::Display for Question {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ask = match self {
            Self::ServesAnotherFault { .. } | Self::Much { .. } => "plan it anyway?",
            Self::PullsTheOtherWay { .. } => "plan both anyway?",
        };
        write!(f, "{}; {ask}", self.fact())
    }
}

/// Why a plan was refused; nothing of it is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PlanRefusal {
    /// The catalogue does not have the fault.
    #[error(transparent)]
    UnknownFault(#[from] UnknownFault),
    /// The catalogue does not have the drill.
    #[error("no drill is called '{found}'; for {fault} choose from {}", fitting.join(", "))]
    UnknownDrill {
        /// What was asked for.
        found: String,
        /// The fault it was asked for.
        fault: String,
        /// Ids of the drills for that fault.
        fitting: Vec<String>,
    },
    /// There is no such place.
    #[error("'{found}' is not a place; choose from {}", Place::names())]
    UnknownPlace {
        /// What was said.
        found: String,
    },
    /// One drill twice in one plan.
    #[error("'{drill}' is named twice; name it once, with one dose")]
    Twice {
        /// The drill.
        drill: String,
    },
    /// The drill makes a fault worse that the player has.
    #[error("{}", harmful(*.case, .harm))]
    Harmful {
        /// The case.
        case: CaseId,
        /// The drill and what it does.
        harm: Harm,
    },
    /// The dose does not fit.
    #[error("dose of '{drill}': '{dose}': {problem}")]
    Dose {
        /// The drill.
        drill: String,
        /// The dose as said.
        dose: String,
        /// What is wrong with it.
        problem: DoseProblem,
    },
    /// The drill loads what hurts.
    #[error("{}; once it no longer hurts, record that nothing does", .why.trim_end_matches('.'))]
    Sore {
        /// Catalogue id of the drill.
        drill: String,
        /// What it loads, and what to do.
        why: String,
    },
    /// Two plans are in force already.
    #[error(
        "{case}: {} are in force, and two plans are the most a player can work on; change one of \
         them, or plan in a later case",
        .in_force.iter().map(ToString::to_string).collect::<Vec<_>>().join(" and ")
    )]
    ThirdPlan {
        /// The case.
        case: CaseId,
        /// The plans in force.
        in_force: Vec<PlanId>,
    },
    /// The coach was not asked yet, or did not say yes.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join(" "))]
    Unanswered(Vec<Question>),
    /// The store would not take it.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl From<StoreError> for PlanRefusal {
    fn from(error: StoreError) -> Self {
        Self::Write(error.into())
    }
}

fn harmful(case: CaseId, harm: &Harm) -> String {
    let Harm { drill, worse, shown } = harm;
    match shown {
        HarmShown::Labelled => format!(
            "'{drill}' makes '{worse}' worse, which {case} shows; choose another drill, or reject \
             that fault"
        ),
        HarmShown::Planned(plan) => {
            format!("'{drill}' makes '{worse}' worse, which {plan} works on; choose another drill")
        }
        HarmShown::Wanted => {
            format!("'{drill}' makes '{worse}' worse, which the plan is for; choose another drill")
        }
    }
}

/// A plan as recorded, with what must be said about it.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanRecorded {
    /// Its id.
    pub plan: PlanId,
    /// What it asks in a week, together with the plans beside it.
    pub load: Load,
    /// Cautions of its drills, its fault and the library.
    pub cautions: Cautions,
}

/// As JSON: `plan`, `cautions` and `load`.
impl serde::Serialize for PlanRecorded {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeStruct;
        let mut object = to.serialize_struct("PlanRecorded", 3)?;
        object.serialize_field("plan", &self.plan.to_string())?;
        object.serialize_field("cautions", &self.cautions.lines())?;
        object.serialize_field("load", &self.load)?;
        object.end()
    }
}

impl PlanRequest {
    /// A plan for one fault of a case without a drill yet.
    #[must_use]
    pub fn new(case: CaseId, fault: &str) -> Self {
        Self {
            case,
            fault: fault.to_owned(),
            drills: Vec::new(),
            start: None,
            review_on: None,
            coach: None,
            note: None,
            replaces: None,
            reason: None,
            sure: Vec::new(),
        }
    }

    /// The plan this means for the case as it stands, and what the coach is asked first;
    /// `practiser`: the player as the doses are held against, see
    /// [`practiser`].
    ///
    /// The plan's own id is none yet. How many plans are in force is not looked at: see
    /// [`Self::check_new`].
    ///
    /// # Errors
    /// [`PlanRefusal`].
    pub fn check(
        &self,
        catalogue: &Catalogue,
        held: &Case,
        practiser: &Practiser,
    ) -> Result<(Plan, Vec<Question>), PlanRefusal> {
        known_fault(catalogue, &self.fault)?;
        let start = self.start.unwrap_or(held.date);
        check_planned("start", start)?;
        if let Some(review_on) = self.review_on {
            check_planned("review_on", review_on)?;
        }
        let fitting = || -> Vec<String> {
            catalogue.drills_for(&self.fault).iter().map(|drill| drill.id.clone()).collect()
        };
        let mut drills: Vec<PlannedDrill> = Vec::new();
        let mut questions = Vec::new();
        for wanted in &self.drills {
            let Some(drill) = catalogue.drill(&wanted.drill) else {
                return Err(PlanRefusal::UnknownDrill {
                    found: wanted.drill.clone(),
                    fault: self.fault.clone(),
                    fitting: fitting(),
                });
            };
            if drills.iter().any(|planned| planned.drill == drill.id) {
                return Err(PlanRefusal::Twice { drill: drill.id.clone() });
            }
            if let Some(harm) = harms(drill, held, &self.fault) {
                return Err(PlanRefusal::Harmful { case: held.id, harm });
            }
            let dose = wanted.dose.as_ref().unwrap_or(&drill.dose).clone();
            Dose::check(&dose).map_err(|problem| PlanRefusal::Dose {
                drill: drill.id.clone(),
                dose: dose.clone(),
                problem,
            })?;
            if !drill.faults.contains(&self.fault) {
                questions.push(Question::ServesAnotherFault {
                    drill: drill.id.clone(),
                    fault: self.fault.clone(),
                    made_for: drill.faults.iter().map(|id| catalogue.fault_name(id)).collect(),
                    fitting: fitting(),
                });
            }
            drills.push(PlannedDrill { drill: drill.id.clone(), dose, place: wanted.place });
        }
        let others = self
            .beside(held, start)
            .filter(|plan| catalogue.opposed(&self.fault, &plan.limiting_fault) == Some(true));
        questions.extend(others.map(|plan| Question::PullsTheOtherWay {
            fault: self.fault.clone(),
            plan: plan.id,
            other: plan.limiting_fault.clone(),
        }));
        questions.extend(self.much(catalogue, held, &drills, practiser, start)?);
        let plan = Plan {
            id: PlanId(0),
            case: held.id,
            limiting_fault: self.fault.clone(),
            drills,
            start,
            review_on: self.review_on,
            coach: self.coach.clone(),
            note: self.note.clone(),
            ended: None,
        };
        Ok((plan, questions))
    }

    /// What is asked about the drills' doses, together with those of the plans beside.
    fn much(
        &self,
        catalogue: &Catalogue,
        held: &Case,
        drills: &[PlannedDrill],
        practiser: &Practiser,
        start: Date,
    ) -> Result<Vec<Question>, PlanRefusal> {
        let load = self.load(catalogue, held, drills, practiser, start);
        let own = Load::of(catalogue, &[drills], practiser).week;
        let mut questions = Vec::new();
        for warning in load.warnings {
            match (warning.drill, warning.limit) {
                (Some(drill), _) if drills.iter().any(|planned| planned.drill == drill) => {
                    return Err(PlanRefusal::Sore { drill, why: warning.text });
                }
                // Of what this plan adds nothing to, nobody need be asked again.
                (_, Some(limit)) if own.arm_a_day > 0.0 => {
                    let (text, sources) = (warning.text, warning.sources);
                    questions.push(Question::Much { limit, text, sources });
                }
                _ => {}
            }
        }
        Ok(questions)
    }

    /// Holds a plan that is in force already, with other doses or days, against the same rules.
    ///
    /// # Errors
    /// [`PlanRefusal::Sore`]; [`PlanRefusal::Unanswered`].
    pub(super) fn check_doses(
        &self,
        catalogue: &Catalogue,
        held: &Case,
        plan: &Plan,
        practiser: &Practiser,
    ) -> Result<(), PlanRefusal> {
        self.answered(self.much(catalogue, held, &plan.drills, practiser, plan.start)?)
    }

    /// Refuses where a question was not answered with yes.
    fn answered(&self, mut questions: Vec<Question>) -> Result<(), PlanRefusal> {
        questions.retain(|question| !self.sure.contains(question));
        if questions.is_empty() { Ok(()) } else { Err(PlanRefusal::Unanswered(questions)) }
    }

    /// What the drills ask, together with the plans beside.
    fn load(
        &self,
        catalogue: &Catalogue,
        held: &Case,
        drills: &[PlannedDrill],
        practiser: &Practiser,
        start: Date,
    ) -> Load {
        let beside = self.beside(held, start).map(|plan| plan.drills.as_slice());
        let together: Vec<&[PlannedDrill]> = [drills].into_iter().chain(beside).collect();
        Load::of(catalogue, &together, practiser)
    }

    /// The plans of the case that are in force when this one begins, or begin after it.
    fn beside<'a>(&self, held: &'a Case, start: Date) -> impl Iterator<Item = &'a Plan> {
        let replaces = self.replaces;
        held.plans.iter().filter(move |plan| {
            let over = plan.ended.as_ref().is_some_and(|end| end.day <= start);
            !over && Some(plan.id) != replaces
        })
    }

    /// As [`Self::check`], for a plan that is to come beside those in force: a third is refused,
    /// and so is one with a question the coach did not answer with yes.
    ///
    /// # Errors
    /// [`PlanRefusal`].
    pub fn check_new(
        &self,
        catalogue: &Catalogue,
        held: &Case,
        practiser: &Practiser,
    ) -> Result<Plan, PlanRefusal> {
        let (plan, questions) = self.check(catalogue, held, practiser)?;
        let in_force: Vec<PlanId> = self.beside(held, plan.start).map(|plan| plan.id).collect();
        if in_force.len() >= MOST_PLANS {
            return Err(PlanRefusal::ThirdPlan { case: held.id, in_force });
        }
        self.answered(questions)?;
        Ok(plan)
    }

    /// Checks and stores it as one change.
    ///
    /// # Errors
    /// [`PlanRefusal`]; nothing is stored then.
    pub fn record(&self, library: &mut Library) -> Result<PlanRecorded, PlanRefusal> {
        // Read within the turn: of two coaches at once the second sees the first one's plan.
        let turn = library.take_turn()?;
        let catalogue = library.catalogue()?;
        let held = library.case(self.case)?;
        let player = library.player(held.player)?;
        let practiser = practiser(library, &player, self.start.unwrap_or(held.date))?;
        let plan = self.check_new(&catalogue, &held, &practiser)?;
        let load = self.load(&catalogue, &held, &plan.drills, &practiser, plan.start);
        let id = match self.replaces {
            Some(old) => {
                let by = Author::coach(self.coach.as_deref().unwrap_or("coach"))?;
                let reason = self.reason.as_deref();
                library.write_in(&turn, |writer| writer.replace_plan(old, &plan, &by, reason))?
            }
            None => library.write_in(&turn, |writer| writer.add_plan(&plan))?,
        };
        let sore = sore_on(library, player.id, plan.start)?;
        let mut cautions =
            Cautions::of(&catalogue, Age::on(plan.start, player.born)).hurting(&sore);
        for planned in &plan.drills {
            cautions.name(&ShownDrill::planned(&catalogue, planned, &plan.limiting_fault));
        }
        Ok(PlanRecorded { plan: id, load, cautions })
    }
}
