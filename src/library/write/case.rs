//! The coach's judgement: labels, plans, follow-ups, grip, ball flight, notes.

use rusqlite::{OptionalExtension, params};

use super::checks::{check_ball, check_id, check_note, check_plan, invalid};
use super::{Writer, found, new_uid, no_such};
use crate::library::{
    BallFlight, CaseId, FaultLabel, FollowUp, FollowUpId, Grip, LabelState, Misses, Named, Plan,
    PlanId, PlannedDrill, WriteError,
};

impl Writer<'_> {
    /// Puts a label on a case; the same fault by the same voice is replaced, other voices stay.
    ///
    /// One voice names one limiting fault: an earlier one becomes an added one. The program's
    /// voice names none; what it would begin with is reasoned anew from what is stored.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for a severity outside 0 to 1; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn set_label(&mut self, case: CaseId, label: &FaultLabel) -> Result<(), WriteError> {
        if !(0.0..=1.0).contains(&label.severity) {
            return Err(invalid("severity", label.severity, "0 to 1"));
        }
        check_id("fault", &label.fault)?;
        check_id("by", &label.by)?;
        check_note(label.note.as_deref())?;
        if label.state == LabelState::Limiting && label.by == "program" {
            return Err(invalid("state", "limiting", "a coach's word; the program only suspects"));
        }
        self.touch(case)?;
        self.run("storing a label", || {
            if label.state == LabelState::Limiting {
                self.db
                    .prepare_cached(
                        "UPDATE labels SET state = ?3
                         WHERE case_id = ?1 AND said_by = ?2 AND state = ?4 AND fault <> ?5",
                    )?
                    .execute(params![
                        case.0,
                        label.by,
                        LabelState::Added.name(),
                        LabelState::Limiting.name(),
                        label.fault,
                    ])?;
            }
            self.db
                .prepare_cached(
                    "INSERT OR REPLACE INTO labels (case_id, fault, said_by, state, severity, note)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                )?
                .execute(params![
                    case.0,
                    label.fault,
                    label.by,
                    label.state.name(),
                    label.severity,
                    label.note,
                ])
        })?;
        Ok(())
    }

    /// Replaces all labels one voice (`program` or a coach's code) put on a case.
    ///
    /// # Errors
    /// As [`Writer::set_label`]; [`WriteError::Invalid`] for a label by another voice.
    pub fn replace_labels(
        &mut self,
        case: CaseId,
        by: &str,
        labels: &[FaultLabel],
    ) -> Result<(), WriteError> {
        self.touch(case)?;
        self.run("removing labels", || {
            self.db
                .prepare_cached("DELETE FROM labels WHERE case_id = ?1 AND said_by = ?2")?
                .execute((case.0, by))
        })?;
        for label in labels {
            if label.by != by {
                return Err(invalid("by", &label.by, format!("labels by '{by}' only")));
            }
            self.set_label(case, label)?;
        }
        Ok(())
    }

    /// Takes back what one voice said about one fault; says whether there was such a label.
    ///
    /// # Errors
    /// [`NoSuch`](crate::library::StoreError::NoSuch) for an unknown case.
    pub fn remove_label(
        &mut self,
        case: CaseId,
        fault: &str,
        by: &str,
    ) -> Result<bool, WriteError> {
        self.touch(case)?;
        let removed = self.run("removing a label", || {
            self.db
                .prepare_cached(
                    "DELETE FROM labels WHERE case_id = ?1 AND fault = ?2 AND said_by = ?3",
                )?
                .execute((case.0, fault, by))
        })?;
        Ok(removed == 1)
    }

    /// Stores a plan for `plan.case` and returns its id; the id in `plan` is ignored.
    ///
    /// # Errors
    /// [`WriteError::TooManyPlans`]; [`WriteError::Invalid`] if the review is before the start;
    /// [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn add_plan(&mut self, plan: &Plan) -> Result<PlanId, WriteError> {
        check_plan(plan)?;
        self.touch(plan.case)?;
        let count: i64 = self.run("counting plans", || {
            self.db
                .prepare_cached("SELECT count(*) FROM plans WHERE case_id = ?1")?
                .query_row([plan.case.0], |row| row.get(0))
        })?;
        if count >= 2 {
            return Err(WriteError::TooManyPlans { case: plan.case });
        }
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
            Ok(id)
        })?)
    }

    /// Replaces the plan with this id; its case stays what it was.
    ///
    /// # Errors
    /// As [`Writer::add_plan`].
    pub fn update_plan(&mut self, plan: &Plan) -> Result<(), WriteError> {
        check_plan(plan)?;
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
            if changed == 1 {
                self.store_drills(plan.id, &plan.drills)?;
            }
            Ok(changed)
        })?;
        found(changed, || plan.id.to_string())?;
        self.touch_plan(plan.id)
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

    /// Stores a follow-up of `follow_up.plan` and returns its id; the id in `follow_up` is
    /// ignored.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for a rating outside -2 to 2, a day before the plan's start, a
    /// serve of another player, of the plan's own session or of one before the plan's start, or
    /// ball figures out of range; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn add_follow_up(&mut self, follow_up: &FollowUp) -> Result<FollowUpId, WriteError> {
        check_ball(&follow_up.ball)?;
        check_note(follow_up.note.as_deref())?;
        if let Some(rating) = follow_up.rating
            && !(-2..=2).contains(&rating)
        {
            return Err(invalid("rating", rating, "-2 (worse) to 2 (cured)"));
        }
        let (player, case, start): (i64, i64, String) = self
            .run("looking for a plan", || {
                self.db
                    .prepare_cached(
                        "SELECT c.player, c.id, n.start
                         FROM plans n JOIN cases c ON c.id = n.case_id
                         WHERE n.id = ?1",
                    )?
                    .query_row([follow_up.plan.0], |row| {
                        Ok((row.get(0)?, row.get(1)?, row.get(2)?))
                    })
                    .optional()
            })?
            .ok_or_else(|| no_such(follow_up.plan.to_string()))?;
        // ISO dates sort as text.
        if follow_up.date.to_string() < start {
            let rule = format!("a follow-up is not before the plan's start, {start}");
            return Err(invalid("date", follow_up.date, rule));
        }
        for &serve in &follow_up.serves {
            let held: Option<(i64, i64, String)> = self.run("looking for a serve", || {
                self.db
                    .prepare_cached(
                        "SELECT s.player, c.id, c.date
                         FROM serves s JOIN cases c ON c.id = s.case_id
                         WHERE s.id = ?1",
                    )?
                    .query_row([serve.0], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
                    .optional()
            })?;
            let Some((owner, session, day)) = held else {
                return Err(no_such(serve.to_string()));
            };
            if owner != player {
                let rule = "a follow-up holds serves of the plan's player only";
                return Err(invalid("serves", serve, rule));
            }
            // What the plan was made from, or came before it, cannot show what it changed.
            if session == case || day < start {
                let rule = "a follow-up holds serves of a session after the plan's own";
                return Err(invalid("serves", serve, rule));
            }
        }
        let misses = follow_up.ball.misses;
        let id = self.run("storing a follow-up", || {
            self.db
                .prepare_cached(
                    "INSERT INTO follow_ups (uid, plan, date, speed_kmh, first_serve_pct, miss_net,
                        miss_long, miss_wide, rating, sessions_done, note)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
                )?
                .execute(params![
                    new_uid(),
                    follow_up.plan.0,
                    follow_up.date.to_string(),
                    follow_up.ball.speed_kmh,
                    follow_up.ball.first_serve_pct,
                    misses.map(|m| m.net),
                    misses.map(|m| m.long),
                    misses.map(|m| m.wide),
                    follow_up.rating,
                    follow_up.sessions_done,
                    follow_up.note,
                ])?;
            let id = FollowUpId(self.db.last_insert_rowid());
            let mut insert = self.db.prepare_cached(
                "INSERT OR IGNORE INTO follow_up_serves (follow_up, place, serve)
                 VALUES (?1, ?2, ?3)",
            )?;
            for (place, serve) in follow_up.serves.iter().enumerate() {
                insert.execute((id.0, place as i64, serve.0))?;
            }
            Ok(id)
        })?;
        self.touch_plan(follow_up.plan)?;
        Ok(id)
    }

    /// Records the grip of a case, or that it is unknown.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for a bevel outside 1 to 8; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn set_grip(&mut self, case: CaseId, grip: Option<Grip>) -> Result<(), WriteError> {
        for bevel in grip.into_iter().flat_map(|g| [g.index_knuckle, g.heel_pad]).flatten() {
            if !(1..=8).contains(&bevel) {
                return Err(invalid("grip", bevel, "bevel 1 to 8"));
            }
        }
        let changed = self.run("storing a grip", || {
            self.db
                .prepare_cached("UPDATE cases SET grip_index = ?2, grip_heel = ?3 WHERE id = ?1")?
                .execute((
                    case.0,
                    grip.and_then(|g| g.index_knuckle),
                    grip.and_then(|g| g.heel_pad),
                ))
        })?;
        found(changed, || case.to_string())
    }

    /// Records what the ball did in a case.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for a speed outside 20 to 270 km/h or a percentage outside 0 to
    /// 100; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn set_ball(&mut self, case: CaseId, ball: &BallFlight) -> Result<(), WriteError> {
        check_ball(ball)?;
        let Misses { net, long, wide } = ball.misses.unwrap_or_default();
        let known = ball.misses.is_some();
        let changed = self.run("storing ball flight", || {
            self.db
                .prepare_cached(
                    "UPDATE cases SET speed_kmh = ?2, first_serve_pct = ?3, miss_net = ?4,
                        miss_long = ?5, miss_wide = ?6
                     WHERE id = ?1",
                )?
                .execute(params![
                    case.0,
                    ball.speed_kmh,
                    ball.first_serve_pct,
                    known.then_some(net),
                    known.then_some(long),
                    known.then_some(wide),
                ])
        })?;
        found(changed, || case.to_string())
    }

    /// Sets or clears the coach's words on a case.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for more than 20,000 bytes; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn set_note(&mut self, case: CaseId, note: Option<&str>) -> Result<(), WriteError> {
        check_note(note)?;
        self.touch(case)?;
        self.run("storing a note", || {
            self.db
                .prepare_cached("UPDATE cases SET note = ?2 WHERE id = ?1")?
                .execute((case.0, note))
        })?;
        Ok(())
    }

    /// Marks a case's words as changed, for the word index.
    fn touch(&self, case: CaseId) -> Result<(), WriteError> {
        let changed = self.run("marking a case", || {
            self.db
                .prepare_cached("UPDATE cases SET word_change = ?2 WHERE id = ?1")?
                .execute((case.0, self.word_change))
        })?;
        self.words_changed.set(true);
        found(changed, || case.to_string())
    }

    fn touch_plan(&self, plan: PlanId) -> Result<(), WriteError> {
        let case = self.run("looking for a plan", || {
            self.db
                .prepare_cached("SELECT case_id FROM plans WHERE id = ?1")?
                .query_row([plan.0], |row| row.get(0).map(CaseId))
        })?;
        self.touch(case)
    }
}
