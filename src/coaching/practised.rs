//! How much was practised, beside how much was asked.

use std::fmt;

use jiff::Unit;
use jiff::civil::Date;
use serde::ser::{Serialize, SerializeStruct, Serializer};

use crate::catalogue::{Catalogue, Dose, Span};
use crate::library::{FollowUp, Library, Plan, PlanId, StoreError};
use crate::words::count;

/// Sessions done under a plan until a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Practised {
    /// Sessions, as the coach counted them or as logged.
    pub sessions: u32,
    /// Sessions its doses ask until then; `None` where no dose says on how many days a week.
    pub asked: Option<Span>,
}

impl Practised {
    /// Whether it is fewer than half of the least that was asked (our estimate): too little to tell
    /// whether the drills help.
    #[must_use]
    pub fn is_too_little(&self) -> bool {
        self.asked.is_some_and(|asked| f64::from(self.sessions) < asked.least / 2.0)
    }

    /// That it is too little, as a clause: "only 2 of 12 sessions were done, too little practice to
    /// write the drill off"; `None` where it is enough, or nobody knows.
    #[must_use]
    pub fn too_little(&self) -> Option<String> {
        self.is_too_little().then(|| {
            let were = if self.sessions == 1 { "was" } else { "were" };
            format!("only {self} {were} done, too little practice to write the drill off")
        })
    }
}

/// "2 of 12 to 16 sessions", or "2 sessions".
impl fmt::Display for Practised {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.asked {
            Some(asked) => write!(f, "{} of {asked} sessions", self.sessions),
            None => f.write_str(&count(self.sessions as usize, "session")),
        }
    }
}

/// As JSON: `sessions`, `asked` (`least` and `most`) and `too_little`.
impl Serialize for Practised {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut object = to.serialize_struct("Practised", 3)?;
        object.serialize_field("sessions", &self.sessions)?;
        object.serialize_field("asked", &self.asked)?;
        object.serialize_field("too_little", &self.is_too_little())?;
        object.end()
    }
}

/// What was practised under a plan until a day: as the follow-up counts it, else as logged; `None`
/// where neither says anything.
///
/// # Errors
/// [`StoreError`] if the store cannot be read.
pub fn practised(
    library: &Library,
    catalogue: &Catalogue,
    plan: &Plan,
    answer: Option<&FollowUp>,
    until: Date,
) -> Result<Option<Practised>, StoreError> {
    let counted = answer.and_then(|answer| answer.sessions_done);
    let sessions = match counted {
        Some(_) => counted,
        None => logged(library, plan.id, until)?,
    };
    Ok(sessions.map(|sessions| Practised { sessions, asked: asked(catalogue, plan, until) }))
}

/// Sessions done until a follow-up: as the coach counted them, else as many as were logged for the
/// plan until that day; `None` where neither is known.
///
/// # Errors
/// [`StoreError`] if the store cannot be read.
pub fn sessions_done(library: &Library, answer: &FollowUp) -> Result<Option<u32>, StoreError> {
    match answer.sessions_done {
        Some(_) => Ok(answer.sessions_done),
        None => logged(library, answer.plan, answer.date),
    }
}

fn logged(library: &Library, plan: PlanId, until: Date) -> Result<Option<u32>, StoreError> {
    let log = library.practice_of(plan)?;
    let done = log.iter().filter(|done| done.day <= until).map(|done| done.sessions);
    Ok(done.reduce(u32::saturating_add))
}

/// Sessions a plan asks until a day: those of the drill with most days a week, since drills share
/// days.
fn asked(catalogue: &Catalogue, plan: &Plan, until: Date) -> Option<Span> {
    let end = plan.ended.as_ref().map_or(until, |end| end.day.min(until));
    let days = plan.start.until((Unit::Day, end)).ok()?.get_days().max(0);
    let weeks = f64::from(days) / 7.0;
    let a_week = plan.drills.iter().filter_map(|planned| {
        let own = catalogue.drill(&planned.drill).map_or("", |drill| &drill.dose);
        let dose = if planned.dose.trim().is_empty() { own } else { &planned.dose };
        Dose::read(dose).days_a_week
    });
    let most = a_week.max_by(|a, b| a.most.total_cmp(&b.most))?;
    Some(Span { least: most.least * weeks, most: most.most * weeks })
}
