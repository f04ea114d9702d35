//! What drills add up to in a week.

use serde::{Deserialize, Serialize};

use super::{Dose, Sets, Span};
use crate::catalogue::types::{Drill, Place, Work};

/// A drill as a plan asks for it.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// The drill.
    pub drill: &'a Drill,
    /// The plan's words for the dose, the drill's own where the plan has none.
    pub dose: &'a str,
    /// The step's place; `None` where the plan names none: then it counts as what the drill says its
    /// repetitions are, or as the heaviest place it has.
    pub place: Option<Place>,
}

impl Asked<'_> {
    /// What repetitions without a unit are at this place.
    fn work(&self) -> Work {
        let with_ball = |place: Place| !matches!(place, Place::OffCourt | Place::PracticeSwing);
        let heaviest = || {
            let any = self.drill.steps.iter().any(|step| with_ball(step.place));
            if any { Work::Serves } else { Work::Swings }
        };
        match self.place {
            Some(Place::PracticeSwing) => Work::Swings,
            Some(Place::OffCourt) => self.drill.work.unwrap_or(Work::Swings),
            Some(_) => Work::Serves,
            None => self.drill.work.unwrap_or_else(heaviest),
        }
    }
}

/// What a plan's drills add up to.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Week {
    /// Serves a week.
    pub serves: Span,
    /// Throws a week.
    pub throws: Span,
    /// Practice swings a week.
    pub swings: Span,
    /// Serves and throws on the fullest day, all drills on one day.
    pub arm_a_day: f64,
    /// Days a week with serves or throws: those of the drill with most, since drills share days.
    pub arm_days: Span,
    /// Minutes a week of drills that are timed, not counted.
    pub minutes: Span,
    /// Drills, by name, of whose dose something that counts could not be read, and what.
    pub uncounted: Vec<(String, String)>,
}

impl Week {
    /// Adds up drills practised as asked.
    ///
    /// A dose without days a week or without numbers is named in [`Week::uncounted`]; one timed in
    /// minutes counts as minutes, and is named there too where balls are hit or thrown in them.
    #[must_use]
    pub fn of(asked: &[Asked<'_>]) -> Self {
        let mut week = Self::default();
        for one in asked {
            week.add(one);
        }
        week
    }

    fn add(&mut self, asked: &Asked<'_>) {
        let dose = Dose::read(asked.dose);
        let mut lacking = |what: &str| {
            self.uncounted.push((asked.drill.name.clone(), format!("{what} in '{}'", asked.dose)));
        };
        if dose.sets.is_empty() && dose.minutes.is_none() {
            lacking("no numbers");
            return;
        }
        let Some(days) = dose.days_a_week else {
            lacking("no days a week");
            self.arm_a_day += arm_a_day(&dose, asked.work());
            return;
        };
        if let Some(minutes) = dose.minutes {
            if dose.sets.is_empty() && matches!(asked.work(), Work::Serves | Work::Throws) {
                lacking("balls are not counted");
            }
            self.minutes = self.minutes.plus(days.times(Span::exactly(minutes)));
        }
        for sets in &dose.sets {
            let a_week = days.times(Span::exactly(sets.a_day()));
            match sets.work.unwrap_or_else(|| asked.work()) {
                Work::Serves => self.serves = self.serves.plus(a_week),
                Work::Throws => self.throws = self.throws.plus(a_week),
                Work::Swings => self.swings = self.swings.plus(a_week),
                Work::Exercise => {}
            }
        }
        let arm = arm_a_day(&dose, asked.work());
        if arm > 0.0 {
            self.arm_a_day += arm;
            self.arm_days = Span {
                least: self.arm_days.least.max(days.least),
                most: self.arm_days.most.max(days.most),
            };
        }
    }

    /// Serves and throws a week.
    #[must_use]
    pub fn arm(&self) -> Span {
        self.serves.plus(self.throws)
    }
}

fn arm_a_day(dose: &Dose, unnamed: Work) -> f64 {
    let counts = |sets: &&Sets| matches!(sets.work.unwrap_or(unnamed), Work::Serves | Work::Throws);
    dose.sets.iter().filter(counts).map(Sets::a_day).sum()
}
