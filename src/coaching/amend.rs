//! What was recorded, put right. What it was before is kept by the library.

use jiff::ZonedDateTime;
use jiff::civil::Date;
use thiserror::Error;

use super::consent::is_junior_alone;
use super::load::practiser;
use super::plan::{PlanRefusal, PlanRequest, Question};
use super::player::{ConsentGiven, PlayerRefusal};
use super::report::BallReport;
use crate::catalogue::{Dose, Place};
use crate::library::{
    Author, BallFlight, CaseId, ChangeKind, Consent, ConsentBy, Ending, FollowUpId, Level, Library,
    PlanEnd, PlanId, PlayerId, StoreError, WriteError, check_born, check_past, check_planned,
};
use crate::motion::Side;

/// What is said anew about a value that may be unknown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Amended<T> {
    /// It stays as it is.
    #[default]
    Kept,
    /// It is this.
    To(T),
    /// It is not known.
    Cleared,
}

impl<T> Amended<T> {
    fn over(self, known: Option<T>) -> Option<T> {
        match self {
            Self::Kept => known,
            Self::To(value) => Some(value),
            Self::Cleared => None,
        }
    }
}

/// Facts about a player, put right.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlayerAmendment {
    /// Another pseudonym.
    pub code: Option<String>,
    /// Real name; never leaves the library.
    pub name: Amended<String>,
    /// Serving hand.
    pub hand: Amended<Side>,
    /// Level.
    pub level: Amended<Level>,
    /// Birth date.
    pub born: Amended<Date>,
    /// Standing height, m.
    pub stature_m: Amended<f64>,
    /// Squads in place of those known.
    pub squads: Option<Vec<String>>,
    /// Coach (a code).
    pub coach: Amended<String>,
    /// What player or guardian agrees to from today on; cleared, to nothing any more.
    pub consent: Amended<ConsentGiven>,
    /// Who of them said so; left out, who is known stays unless something else is agreed to.
    pub consent_by: Option<ConsentBy>,
}

/// A plan, put right.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlanAmendment {
    /// Other doses: drill and dose.
    pub doses: Vec<(String, String)>,
    /// Other places: drill and place.
    pub places: Vec<(String, Place)>,
    /// First day.
    pub start: Option<Date>,
    /// Day of the next review.
    pub review_on: Amended<Date>,
    /// Free words.
    pub note: Amended<String>,
    /// The day it ended; cleared, it goes on.
    pub ended: Amended<Date>,
    /// Questions the coach was asked and answered with yes.
    pub sure: Vec<Question>,
}

/// A follow-up, put right.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FollowUpAmendment {
    /// Day.
    pub date: Option<Date>,
    /// What the ball did.
    pub ball: BallReport,
    /// No speed is known.
    pub no_speed: bool,
    /// No percentage of first serves is known.
    pub no_first_serve: bool,
    /// No misses were counted.
    pub no_misses: bool,
    /// Coach's rating, -2 (worse) to 2 (gone).
    pub rating: Amended<i8>,
    /// Sessions done since the plan.
    pub sessions_done: Amended<u32>,
    /// Free words.
    pub note: Amended<String>,
}

/// Why something was not put right; nothing is changed then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum AmendRefusal {
    /// It is so already.
    #[error("{what}: says that already; nothing would change")]
    Unchanged {
        /// The item's id.
        what: String,
    },
    /// The plan does not have the drill.
    #[error("{plan}: has no drill '{found}'; it has {}", has.join(", "))]
    NotPlanned {
        /// The plan.
        plan: PlanId,
        /// What was asked for.
        found: String,
        /// Ids of its drills.
        has: Vec<String>,
    },
    /// A rule of what is recorded of players stands against it.
    #[error(transparent)]
    Player(#[from] PlayerRefusal),
    /// A rule of plans stands against it, or the coach has to be asked first.
    #[error(transparent)]
    Plan(#[from] PlanRefusal),
    /// It would be a follow-up that says nothing.
    #[error("{follow_up}: only its day would be left; remove it instead")]
    NothingLeft {
        /// The follow-up.
        follow_up: FollowUpId,
    },
    /// The store would not take it.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl From<StoreError> for AmendRefusal {
    fn from(error: StoreError) -> Self {
        Self::Write(error.into())
    }
}

fn unchanged(what: impl ToString) -> AmendRefusal {
    AmendRefusal::Unchanged { what: what.to_string() }
}

/// Adds words to a case; earlier ones stay.
///
/// # Errors
/// [`AmendRefusal::Write`].
pub fn add_words(
    library: &mut Library,
    case: CaseId,
    text: &str,
    by: &Author,
) -> Result<(), AmendRefusal> {
    library.write(|writer| {
        writer.keep_history(ChangeKind::Amended, Some(by))?;
        writer.add_note(case, text, Some(by))
    })?;
    Ok(())
}

impl PlayerAmendment {
    /// Checks and stores it as one change.
    ///
    /// # Errors
    /// [`AmendRefusal`]; nothing is stored then.
    pub fn record(
        self,
        library: &mut Library,
        id: PlayerId,
        by: &Author,
    ) -> Result<(), AmendRefusal> {
        let turn = library.take_turn()?;
        let known = library.player(id)?;
        let mut player = known.clone();
        if let Amended::To(born) = self.born {
            let first = library.cases(Some(id))?.iter().map(|case| case.date).min();
            check_born("born", born, first)?;
        }
        player.code = self.code.unwrap_or(player.code);
        player.name = self.name.over(player.name);
        player.hand = self.hand.over(player.hand);
        player.level = self.level.over(player.level);
        player.born = self.born.over(player.born);
        player.stature_m = self.stature_m.over(player.stature_m);
        player.squads = self.squads.unwrap_or(player.squads);
        player.coach = self.coach.over(player.coach);
        let agreed = match self.consent {
            Amended::Kept => (player.consent.keep, player.consent.share),
            Amended::To(given) => (true, given == ConsentGiven::KeepAndShare),
            Amended::Cleared => (false, false),
        };
        if agreed != (player.consent.keep, player.consent.share) {
            let (keep, share) = agreed;
            let date = Some(ZonedDateTime::now().date());
            player.consent = Consent { keep, share, date, by: self.consent_by };
        }
        player.consent.by = self.consent_by.or(player.consent.by);
        if player.consent != known.consent && is_junior_alone(player.consent, player.born) {
            return Err(PlayerRefusal::JuniorAlone { code: player.code }.into());
        }
        if player == known {
            return Err(unchanged(id));
        }
        library.write_in(&turn, |writer| {
            writer.keep_history(ChangeKind::Amended, Some(by))?;
            writer.update_player(&player)
        })?;
        Ok(())
    }
}

impl PlanAmendment {
    /// Checks and stores it as one change.
    ///
    /// # Errors
    /// [`AmendRefusal`]; nothing is stored then.
    pub fn record(
        self,
        library: &mut Library,
        id: PlanId,
        by: &Author,
    ) -> Result<(), AmendRefusal> {
        let turn = library.take_turn()?;
        let known = library.plan(id)?;
        let mut plan = known.clone();
        let not_planned = |found: &str| AmendRefusal::NotPlanned {
            plan: id,
            found: found.to_owned(),
            has: known.drills.iter().map(|planned| planned.drill.clone()).collect(),
        };
        for (drill, dose) in self.doses {
            let planned = plan.drills.iter_mut().find(|planned| planned.drill == drill);
            let planned = planned.ok_or_else(|| not_planned(&drill))?;
            if let Err(problem) = Dose::check(&dose) {
                return Err(PlanRefusal::Dose { drill, dose, problem }.into());
            }
            planned.dose = dose;
        }
        for (drill, place) in self.places {
            let planned = plan.drills.iter_mut().find(|planned| planned.drill == drill);
            planned.ok_or_else(|| not_planned(&drill))?.place = Some(place);
        }
        if let Some(start) = self.start {
            check_planned("start", start)?;
            plan.start = start;
        }
        if let Amended::To(day) = self.review_on {
            check_planned("review_on", day)?;
        }
        plan.review_on = self.review_on.over(plan.review_on);
        plan.note = self.note.over(plan.note);
        plan.ended = match self.ended {
            Amended::Kept => plan.ended,
            Amended::Cleared => None,
            Amended::To(day) => {
                check_planned("ended", day)?;
                Some(match plan.ended {
                    Some(end) => PlanEnd { day, ..end },
                    None => PlanEnd { day, how: Ending::Ended, by: by.clone(), reason: None },
                })
            }
        };
        if plan == known {
            return Err(unchanged(id));
        }
        let asks_more =
            (&plan.drills, plan.start) != (&known.drills, known.start) || known.ended.is_some();
        if plan.ended.is_none() && asks_more {
            let held = library.case(plan.case)?;
            let day = plan.start.max(ZonedDateTime::now().date());
            let player = practiser(library, &library.player(held.player)?, day)?;
            let request = PlanRequest {
                replaces: Some(id),
                sure: self.sure,
                ..PlanRequest::new(plan.case, &plan.limiting_fault)
            };
            request.check_doses(&library.catalogue()?, &held, &plan, &player)?;
        }
        library.write_in(&turn, |writer| {
            writer.keep_history(ChangeKind::Amended, Some(by))?;
            writer.update_plan(&plan)
        })?;
        Ok(())
    }
}

impl FollowUpAmendment {
    /// Checks and stores it as one change.
    ///
    /// # Errors
    /// [`AmendRefusal`]; nothing is stored then.
    pub fn record(
        self,
        library: &mut Library,
        id: FollowUpId,
        by: &Author,
    ) -> Result<(), AmendRefusal> {
        let turn = library.take_turn()?;
        let known = library.follow_up(id)?;
        let mut follow_up = known.clone();
        if let Some(date) = self.date {
            check_past("date", date)?;
            follow_up.date = date;
        }
        let before = follow_up.ball;
        follow_up.ball = self.ball.over(BallFlight {
            speed_kmh: before.speed_kmh.filter(|_| !self.no_speed),
            first_serve_pct: before.first_serve_pct.filter(|_| !self.no_first_serve),
            misses: before.misses.filter(|_| !self.no_misses),
        });
        follow_up.rating = self.rating.over(follow_up.rating);
        follow_up.sessions_done = self.sessions_done.over(follow_up.sessions_done);
        follow_up.note = self.note.over(follow_up.note);
        if follow_up == known {
            return Err(unchanged(id));
        }
        if !follow_up.says_something() {
            return Err(AmendRefusal::NothingLeft { follow_up: id });
        }
        library.write_in(&turn, |writer| {
            writer.keep_history(ChangeKind::Amended, Some(by))?;
            writer.update_follow_up(&follow_up)
        })?;
        Ok(())
    }
}
