use std::fmt;

use thiserror::Error;

use super::cautions::years_on;
use super::check_in::{CheckInRefusal, MuchSport, check_in_over, worst};
use super::fault::{UnknownFault, known_fault};
use super::practice::{PracticeNotice, see_clinician};
use super::report::{BallReport, grip_over};
use crate::catalogue::Catalogue;
use crate::library::{
    Author, Case, CaseId, CheckIn, FaultLabel, Grip, LabelState, Library, Named, Pain, Plan,
    PlanId, StoreError, WriteError,
};

/// Severity where nobody says how strong a fault is; our choice.
const SOME: f64 = 0.5;

/// A fault and how strong a coach sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct Graded {
    /// Catalogue id of the fault.
    pub fault: String,
    /// 0 (just there) to 1 (as strong as it gets); `None`: not said.
    pub severity: Option<f64>,
}

impl Graded {
    /// From what somebody typed: `toss_low`, or with its severity `toss_low=0.7`.
    ///
    /// # Errors
    /// [`LabelRefusal::Severity`] for anything but a number from 0 to 1 behind `=`.
    pub fn from_typed(entry: &str) -> Result<Self, LabelRefusal> {
        let Some((fault, number)) = entry.split_once('=') else {
            return Ok(Self { fault: entry.trim().to_owned(), severity: None });
        };
        let (fault, number) = (fault.trim().to_owned(), number.trim());
        match number.parse::<f64>() {
            Ok(severity) if (0.0..=1.0).contains(&severity) => {
                Ok(Self { fault, severity: Some(severity) })
            }
            _ => Err(LabelRefusal::Severity { fault, found: number.to_owned() }),
        }
    }
}

/// What a coach makes of a case.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelRequest {
    /// The case.
    pub case: CaseId,
    /// The coach's code.
    pub by: String,
    /// Suspicions of the program that the coach confirms.
    pub confirm: Vec<String>,
    /// Suspicions of the program that the coach rejects.
    pub reject: Vec<String>,
    /// Faults the coach sees unprompted.
    pub add: Vec<Graded>,
    /// The limiting fault, in the coach's eyes.
    pub limiting: Option<Graded>,
    /// Grip as answered; what is left out stays.
    pub grip: Grip,
    /// What the ball did; what is left out stays.
    pub ball: BallReport,
    /// What the player told; what is left out stays. Its author is this coach.
    pub check_in: CheckIn,
    /// Free words.
    pub note: Option<String>,
}

/// Why labels were refused; nothing of them is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum LabelRefusal {
    /// A coach's word in the program's name.
    #[error("'program' is the program's own voice; give your own code")]
    ProgramsVoice,
    /// The catalogue does not have the fault.
    #[error(transparent)]
    UnknownFault(#[from] UnknownFault),
    /// A suspicion that nobody had.
    #[error("{case}: the program does not suspect '{fault}'; add it as seen by you")]
    NotSuspected {
        /// The case.
        case: CaseId,
        /// The fault.
        fault: String,
    },
    /// A severity outside its range.
    #[error("{fault}: severity is 0 to 1, found '{found}'; say how strong it is, like 0.7")]
    Severity {
        /// The fault.
        fault: String,
        /// What was said.
        found: String,
    },
    /// Two things said about one fault at once.
    #[error("{fault}: named both as {} and as {}; choose one", .said[0].name(), .said[1].name())]
    SaidTwice {
        /// The fault.
        fault: String,
        /// What was said, in that order.
        said: [LabelState; 2],
    },
    /// What the player told cannot be so.
    #[error(transparent)]
    CheckIn(#[from] CheckInRefusal),
    /// The store would not take it.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl From<StoreError> for LabelRefusal {
    fn from(error: StoreError) -> Self {
        Self::Write(error.into())
    }
}

/// What the coach should know after what was recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Notice {
    /// A plan in force asks for a drill that makes a fault worse which now stands.
    PlanHarms {
        /// The plan.
        plan: PlanId,
        /// Name of the drill.
        drill: String,
        /// Name of the fault.
        worse: String,
    },
    /// It hurts too much to go on.
    Pain(PracticeNotice),
    /// More hours a week than juniors are advised.
    MuchSport(MuchSport),
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Pain(notice) => notice.fmt(f),
            Self::MuchSport(much) => much.fmt(f),
            Self::PlanHarms { plan, drill, worse } => write!(
                f,
                "{plan} asks for '{drill}', which makes '{worse}' worse; tell the player to leave \
                 it out, and make a new plan"
            ),
        }
    }
}

impl LabelRequest {
    /// A request of one coach about one case that says nothing yet.
    #[must_use]
    pub fn new(case: CaseId, by: &str) -> Self {
        Self {
            case,
            by: by.to_owned(),
            confirm: Vec::new(),
            reject: Vec::new(),
            add: Vec::new(),
            limiting: None,
            grip: Grip { index_knuckle: None, heel_pad: None },
            ball: BallReport::default(),
            check_in: CheckIn::default(),
            note: None,
        }
    }

    /// The labels this means for the case as it stands.
    ///
    /// A confirmed suspicion keeps the program's severity; a limiting fault whose severity nobody
    /// says now is as strong as this coach, another one or the program saw it.
    ///
    /// # Errors
    /// [`LabelRefusal`].
    pub fn check(
        &self,
        catalogue: &Catalogue,
        held: &Case,
    ) -> Result<Vec<FaultLabel>, LabelRefusal> {
        let by = self.author()?;
        let mut labels: Vec<FaultLabel> = Vec::new();
        let mut put = |fault: &str, state: LabelState, severity: f64| {
            if let Some(known) = labels.iter().find(|label| label.fault == fault) {
                let said = [known.state, state];
                return Err(LabelRefusal::SaidTwice { fault: fault.to_owned(), said });
            }
            if !(0.0..=1.0).contains(&severity) {
                let found = severity.to_string();
                return Err(LabelRefusal::Severity { fault: fault.to_owned(), found });
            }
            labels.push(FaultLabel {
                fault: fault.to_owned(),
                state,
                severity,
                by: by.clone(),
                note: None,
            });
            Ok(())
        };
        let confirmed = self.confirm.iter().map(|fault| (fault, LabelState::Confirmed));
        let rejected = self.reject.iter().map(|fault| (fault, LabelState::Rejected));
        for (fault, state) in confirmed.chain(rejected) {
            known_fault(catalogue, fault)?;
            let mut suspected = held.labels.iter().filter(|label| !label.by.is_coach());
            let Some(suspicion) = suspected.find(|label| label.fault == *fault) else {
                return Err(LabelRefusal::NotSuspected { case: held.id, fault: fault.clone() });
            };
            let strong = state == LabelState::Confirmed;
            put(fault, state, if strong { suspicion.severity } else { 0.0 })?;
        }
        for graded in &self.add {
            known_fault(catalogue, &graded.fault)?;
            put(&graded.fault, LabelState::Added, graded.severity.unwrap_or(SOME))?;
        }
        if let Some(graded) = &self.limiting {
            known_fault(catalogue, &graded.fault)?;
            let severity = graded.severity.unwrap_or_else(|| self.seen(held, &graded.fault));
            put(&graded.fault, LabelState::Limiting, severity)?;
        }
        Ok(labels)
    }

    fn author(&self) -> Result<Author, LabelRefusal> {
        Author::coach(&self.by).map_err(|_| LabelRefusal::ProgramsVoice)
    }

    /// As strong as this coach, another one or the program saw the fault.
    fn seen(&self, held: &Case, fault: &str) -> f64 {
        let by = |wanted: &dyn Fn(&FaultLabel) -> bool| {
            let label = held.labels.iter().find(|label| label.fault == fault && wanted(label));
            label.map(|label| label.severity).filter(|severity| *severity > 0.0)
        };
        by(&|label| label.by.as_str() == self.by)
            .or_else(|| by(&|label| label.by.is_coach()))
            .or_else(|| by(&|_| true))
            .unwrap_or(SOME)
    }

    /// Checks and stores it, as one change; gives what the coach should know now.
    ///
    /// # Errors
    /// [`LabelRefusal`]; nothing is stored then.
    pub fn record(&self, library: &mut Library) -> Result<Vec<Notice>, LabelRefusal> {
        // Read within the turn: what the rules are held against is still so when it is stored.
        let turn = library.take_turn()?;
        let catalogue = library.catalogue()?;
        let held = library.case(self.case)?;
        let labels = self.check(&catalogue, &held)?;
        let by = self.author()?;
        let grip = grip_over(self.grip, held.grip);
        let ball = self.ball.over(held.ball);
        let known = library.check_in(self.case)?;
        let told = (!self.check_in.is_empty()).then(|| {
            let said = CheckIn { by: Some(by.clone()), ..self.check_in.clone() };
            check_in_over(&said, known, &ball)
        });
        let told = told.transpose()?;
        library.write_in(&turn, |writer| {
            for label in &labels {
                writer.set_label(self.case, label)?;
            }
            if grip != held.grip {
                writer.set_grip(self.case, grip)?;
            }
            if ball != held.ball {
                writer.set_ball(self.case, &ball)?;
            }
            if let Some(told) = &told {
                writer.set_check_in(self.case, told)?;
            }
            if let Some(note) = &self.note {
                writer.add_note(self.case, note, Some(&by))?;
            }
            Ok(())
        })?;
        let held = library.case(self.case)?;
        let mut notices = notices(&catalogue, &held);
        if let Some(told) = told {
            notices.extend(told_notices(library, &catalogue, &held, &told)?);
        }
        Ok(notices)
    }
}

/// What the coach should know after what the player told: of pain whatever plan of the player, of
/// this day or an earlier one, loads the place.
fn told_notices(
    library: &Library,
    catalogue: &Catalogue,
    case: &Case,
    told: &CheckIn,
) -> Result<Vec<Notice>, StoreError> {
    let mut notices = Vec::new();
    if let Some(ache) = worst(told.pain.as_deref().unwrap_or_default()) {
        let cases = library.cases(Some(case.player))?;
        let open = |plan: &&Plan| plan.ended.is_none() || plan.in_force_on(case.date);
        let plans = cases.iter().flat_map(|case| &case.plans).filter(open);
        let pain = Pain { level: ache.level, place: Some(ache.place) };
        notices.push(Notice::Pain(see_clinician(catalogue, plans, pain)));
    }
    let age = years_on(case.date, library.player(case.player)?.born);
    notices.extend(MuchSport::of(told, age).into_iter().map(Notice::MuchSport));
    Ok(notices)
}

/// Drills of plans that make a fault worse which stands in the case.
fn notices(catalogue: &Catalogue, case: &Case) -> Vec<Notice> {
    let standing = super::standing(&case.labels);
    let mut notices = Vec::new();
    for plan in case.plans.iter().filter(|plan| plan.ended.is_none()) {
        for drill in plan.drills.iter().filter_map(|planned| catalogue.drill(&planned.drill)) {
            let worse = standing.iter().find(|label| drill.not_for.contains(&label.fault));
            notices.extend(worse.map(|label| Notice::PlanHarms {
                plan: plan.id,
                drill: drill.name.clone(),
                worse: catalogue.fault_name(&label.fault),
            }));
        }
    }
    notices
}
