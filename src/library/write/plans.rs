//! Plans and their life: made, changed, ended, withdrawn, replaced.

use jiff::civil::Date;
use rusqlite::{OptionalExtension, params};

use super::checks::{check_end, check_plan, invalid};
use super::{Writer, found, new_uid, no_such};
use crate::library::{
    Author, CaseId, ChangeKind, Ending, Named, Plan, PlanEnd, PlanId, PlannedDrill, StoreError,
    WriteError,
};

/// A plan as far as its end goes.
struct Standing {
    case: CaseId,
    player: i64,
    start: Date,
}

impl Writer<'_> {
    /// Stores a plan for `plan.case` and returns its id; the id in `plan` is ignored.
    ///
    /// # Errors
    /// [`WriteError::TooManyPlans`] if two others are in force on a day of its life;
    /// [`WriteError::Invalid`] if the review or the end is before the start;
    /// [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn add_plan(&mut self, plan: &Plan) -> Result<PlanId, WriteError> {
        check_plan(plan)?;
        let coach = plan.coach.clone().map(Author::Coach);
        self.keep_history(ChangeKind::Planned, coach.as_ref())?;
        self.touch(plan.case)?;
        self.check_in_force(plan, None)?;
        Ok(self.run("storing a plan", || {
            self.db
                .prepare_cached(
                    "INSERT INTO plans (uid, case_id, limiting_fault, start, review_on, coach,
                        note)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                )?
                .execute(params![
                    new_uid(),
                    plan.case.0,
                    plan.limiting_fault,
                    plan.start.to_string(),
                    plan.review_on.map(|date| date.to_string()),
                    plan.coach,
                    plan.note,
                ])?;
            let id = PlanId(self.db.last_insert_rowid());
            self.store_drills(id, &plan.drills)?;
            self.store_end(id, plan.ended.as_ref())?;
            Ok(id)
        })?)
    }

    /// Replaces the plan with this id, its end included; its case stays what it was.
    ///
    /// # Errors
    /// As [`Writer::add_plan`].
    pub fn update_plan(&mut self, plan: &Plan) -> Result<(), WriteError> {
        check_plan(plan)?;
        let Standing { case, .. } = self.standing(plan.id)?;
        self.keep_history(ChangeKind::Amended, None)?;
        self.check_in_force(&Plan { case, ..plan.clone() }, Some(plan.id))?;
        if let Some(Ending::Replaced(by)) = plan.ended.as_ref().map(|end| end.how) {
            self.check_takes_place(plan.id, by)?;
        }
        let changed = self.run("storing a plan", || {
            let changed = self
                .db
                .prepare_cached(
                    "UPDATE plans SET limiting_fault = ?2, start = ?3, review_on = ?4, coach = ?5,
                        note = ?6
                     WHERE id = ?1",
                )?
                .execute(params![
                    plan.id.0,
                    plan.limiting_fault,
                    plan.start.to_string(),
                    plan.review_on.map(|date| date.to_string()),
                    plan.coach,
                    plan.note,
                ])?;
            self.store_drills(plan.id, &plan.drills)?;
            self.store_end(plan.id, plan.ended.as_ref())?;
            Ok(changed)
        })?;
        found(changed, || plan.id.to_string())?;
        self.touch(case)
    }

    /// Ends a plan or withdraws it.
    ///
    /// # Errors
    /// [`WriteError::AlreadyEnded`]; [`WriteError::Invalid`] for an end before the start, or a
    /// replacement that is no other plan of this player;
    /// [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn end_plan(&mut self, id: PlanId, end: &PlanEnd) -> Result<(), WriteError> {
        let Standing { case, start, .. } = self.standing(id)?;
        self.check_not_ended(id)?;
        check_end(start, end)?;
        self.keep_history(ChangeKind::PlanEnded, Some(&end.by))?;
        if let Ending::Replaced(by) = end.how {
            self.check_takes_place(id, by)?;
        }
        self.run("ending a plan", || self.store_end(id, Some(end)))?;
        self.touch(case)
    }

    /// Stores a plan in the place of another of the same player, which ends on the day the new one
    /// begins: both or neither.
    ///
    /// # Errors
    /// As [`Writer::add_plan`] and [`Writer::end_plan`].
    pub fn replace_plan(
        &mut self,
        old: PlanId,
        plan: &Plan,
        by: &Author,
        reason: Option<&str>,
    ) -> Result<PlanId, WriteError> {
        let Standing { case, .. } = self.standing(old)?;
        self.check_not_ended(old)?;
        self.keep_history(ChangeKind::Planned, Some(by))?;
        // Out of the way first: then it does not count among those in force.
        let end = |how| PlanEnd {
            day: plan.start,
            how,
            by: by.clone(),
            reason: reason.map(str::to_owned),
        };
        self.run("ending a plan", || self.store_end(old, Some(&end(Ending::Withdrawn))))?;
        let id = self.add_plan(plan)?;
        self.check_takes_place(old, id)?;
        self.run("ending a plan", || self.store_end(old, Some(&end(Ending::Replaced(id)))))?;
        self.touch(case)?;
        Ok(id)
    }

    /// Makes these the drills of a plan.
    pub(crate) fn store_drills(&self, id: PlanId, drills: &[PlannedDrill]) -> rusqlite::Result<()> {
        self.db.prepare_cached("DELETE FROM plan_drills WHERE plan = ?1")?.execute([id.0])?;
        let mut insert = self.db.prepare_cached(
            "INSERT INTO plan_drills (plan, place, drill, dose, done_where)
                    VALUES (?1, ?2, ?3, ?4, ?5)",
        )?;
        for (place, planned) in drills.iter().enumerate() {
            insert.execute((
                id.0,
                place as i64,
                &planned.drill,
                &planned.dose,
                planned.place.map(Named::name),
            ))?;
        }
        Ok(())
    }

    /// Makes this the end of a plan; `None`: it goes on.
    pub(crate) fn store_end(&self, id: PlanId, end: Option<&PlanEnd>) -> rusqlite::Result<()> {
        self.db.prepare_cached("DELETE FROM plan_ends WHERE plan = ?1")?.execute([id.0])?;
        let Some(end) = end else { return Ok(()) };
        let (how, replaced_by) = match end.how {
            Ending::Ended => ("ended", None),
            Ending::Withdrawn => ("withdrawn", None),
            Ending::Replaced(by) => ("replaced", Some(by.0)),
        };
        self.db
            .prepare_cached(
                "INSERT INTO plan_ends (plan, day, how, replaced_by, said_by, reason)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                id.0,
                end.day.to_string(),
                how,
                replaced_by,
                end.by.as_str(),
                end.reason,
            ])?;
        Ok(())
    }

    fn standing(&self, id: PlanId) -> Result<Standing, WriteError> {
        let (case, player, start): (i64, i64, String) = self
            .run("looking for a plan", || {
                self.db
                    .prepare_cached(
                        "SELECT c.id, c.player, n.start
                         FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = ?1",
                    )?
                    .query_row([id.0], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
                    .optional()
            })?
            .ok_or_else(|| no_such(id.to_string()))?;
        Ok(Standing { case: CaseId(case), player, start: day(&start)? })
    }

    fn check_not_ended(&self, id: PlanId) -> Result<(), WriteError> {
        let end = self.run("looking for a plan's end", || {
            self.db
                .prepare_cached(
                    "SELECT day, how, replaced_by, said_by, reason FROM plan_ends WHERE plan = ?1",
                )?
                .query_row([id.0], |row| crate::library::read::plan_end(row, 0))
                .optional()
        })?;
        match end.flatten() {
            Some(end) => Err(WriteError::AlreadyEnded { plan: id, end: Box::new(end) }),
            None => Ok(()),
        }
    }

    /// Only another plan of the same player takes a plan's place.
    fn check_takes_place(&self, old: PlanId, new: PlanId) -> Result<(), WriteError> {
        if old == new || self.standing(old)?.player != self.standing(new)?.player {
            return Err(invalid("replaced by", new, "another plan of the same player"));
        }
        Ok(())
    }

    /// At most two plans of a case are in force at any time; `own`: the stored plan this one is.
    fn check_in_force(&self, plan: &Plan, own: Option<PlanId>) -> Result<(), WriteError> {
        let others: Vec<(PlanId, String, Option<String>)> = self.run("listing plans", || {
            self.db
                .prepare_cached(
                    "SELECT n.id, n.start, e.day FROM plans n LEFT JOIN plan_ends e ON e.plan = n.id
                     WHERE n.case_id = ?1 AND n.id IS NOT ?2 ORDER BY n.id",
                )?
                .query_map((plan.case.0, own.map(|id| id.0)), |row| {
                    Ok((PlanId(row.get(0)?), row.get(1)?, row.get(2)?))
                })?
                .collect()
        })?;
        let mut lives = Vec::with_capacity(others.len());
        for (id, start, end) in &others {
            lives.push((*id, day(start)?, end.as_deref().map(day).transpose()?));
        }
        // Where most are in force, one of them begins.
        let begins = lives.iter().map(|life| life.1).chain([plan.start]);
        for on in begins.filter(|day| plan.in_force_on(*day)).collect::<Vec<_>>() {
            let plans: Vec<PlanId> = lives
                .iter()
                .filter(|(_, start, end)| *start <= on && end.is_none_or(|end| on < end))
                .map(|life| life.0)
                .collect();
            if plans.len() >= 2 {
                return Err(WriteError::TooManyPlans { case: plan.case, day: on, plans });
            }
        }
        Ok(())
    }
}

fn day(text: &str) -> Result<Date, StoreError> {
    text.parse().map_err(|error: jiff::Error| StoreError::Damaged {
        what: "a plan's day".to_owned(),
        why: crate::library::Damage::Value(error.to_string()),
    })
}
