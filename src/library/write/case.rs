//! The coach's judgement: labels, follow-ups, grip, ball flight, notes.

use rusqlite::{OptionalExtension, params};

use super::checks::{check_author, check_ball, check_id, check_note, invalid};
use super::{Writer, found, new_uid, no_such};
use crate::library::{
    Author, BallFlight, CaseId, ChangeKind, FaultLabel, FollowUp, FollowUpId, Grip, LabelState,
    Misses, Named, PlanId, WriteError,
};

impl Writer<'_> {
    /// Puts a label on a case; the same fault by the same author is replaced, other authors' stay.
    ///
    /// One author names one limiting fault: an earlier one becomes an added one. The program
    /// names none; what it would begin with is reasoned anew from what is stored.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for a severity outside 0 to 1; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn set_label(&mut self, case: CaseId, label: &FaultLabel) -> Result<(), WriteError> {
        if !(0.0..=1.0).contains(&label.severity) {
            return Err(invalid("severity", label.severity, "0 to 1"));
        }
        check_id("fault", &label.fault)?;
        check_author(&label.by)?;
        check_note(label.note.as_deref())?;
        if label.state == LabelState::Limiting && !label.by.is_coach() {
            return Err(invalid("state", "limiting", "a coach's word; the program only suspects"));
        }
        self.keep_history(ChangeKind::Judged, Some(&label.by))?;
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
                        label.by.as_str(),
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
                    label.by.as_str(),
                    label.state.name(),
                    label.severity,
                    label.note,
                ])
        })?;
        Ok(())
    }

    /// Replaces all labels one author put on a case.
    ///
    /// # Errors
    /// As [`Writer::set_label`]; [`WriteError::Invalid`] for a label by another voice.
    pub fn replace_labels(
        &mut self,
        case: CaseId,
        by: &Author,
        labels: &[FaultLabel],
    ) -> Result<(), WriteError> {
        self.keep_history(ChangeKind::Judged, Some(by))?;
        self.touch(case)?;
        self.run("removing labels", || {
            self.db
                .prepare_cached("DELETE FROM labels WHERE case_id = ?1 AND said_by = ?2")?
                .execute((case.0, by.as_str()))
        })?;
        for label in labels {
            if label.by != *by {
                return Err(invalid("by", &label.by, format!("labels by '{by}' only")));
            }
            self.set_label(case, label)?;
        }
        Ok(())
    }

    /// Takes back what one author said about one fault; says whether there was such a label.
    ///
    /// # Errors
    /// [`NoSuch`](crate::library::StoreError::NoSuch) for an unknown case.
    pub fn remove_label(
        &mut self,
        case: CaseId,
        fault: &str,
        by: &Author,
    ) -> Result<bool, WriteError> {
        self.keep_history(ChangeKind::Judged, Some(by))?;
        self.touch(case)?;
        let removed = self.run("removing a label", || {
            self.db
                .prepare_cached(
                    "DELETE FROM labels WHERE case_id = ?1 AND fault = ?2 AND said_by = ?3",
                )?
                .execute((case.0, fault, by.as_str()))
        })?;
        Ok(removed == 1)
    }

    /// Stores a follow-up of `follow_up.plan` and returns its id; the id in `follow_up` is
    /// ignored.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for a rating outside -2 to 2, a day before the plan's start, a
    /// serve of another player, of the plan's own session or of one before the plan's start, or
    /// ball figures out of range; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn add_follow_up(&mut self, follow_up: &FollowUp) -> Result<FollowUpId, WriteError> {
        self.check_follow_up(follow_up)?;
        self.keep_history(ChangeKind::FollowedUp, None)?;
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
            self.store_follow_up_serves(id, &follow_up.serves)?;
            Ok(id)
        })?;
        self.touch_plan(follow_up.plan)?;
        Ok(id)
    }

    /// Replaces the follow-up with this id; its plan stays what it was.
    ///
    /// # Errors
    /// As [`Writer::add_follow_up`].
    pub fn update_follow_up(&mut self, follow_up: &FollowUp) -> Result<(), WriteError> {
        let plan: Option<i64> = self.run("looking for a follow-up", || {
            self.db
                .prepare_cached("SELECT plan FROM follow_ups WHERE id = ?1")?
                .query_row([follow_up.id.0], |row| row.get(0))
                .optional()
        })?;
        let plan = plan.map(PlanId).ok_or_else(|| no_such(follow_up.id.to_string()))?;
        self.check_follow_up(&FollowUp { plan, ..follow_up.clone() })?;
        self.keep_history(ChangeKind::Amended, None)?;
        let misses = follow_up.ball.misses;
        self.run("storing a follow-up", || {
            self.db
                .prepare_cached(
                    "UPDATE follow_ups SET date = ?2, speed_kmh = ?3, first_serve_pct = ?4,
                        miss_net = ?5, miss_long = ?6, miss_wide = ?7, rating = ?8,
                        sessions_done = ?9, note = ?10
                     WHERE id = ?1",
                )?
                .execute(params![
                    follow_up.id.0,
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
            self.store_follow_up_serves(follow_up.id, &follow_up.serves)
        })?;
        self.touch_plan(plan)
    }

    fn store_follow_up_serves(
        &self,
        id: FollowUpId,
        serves: &[crate::library::ServeId],
    ) -> rusqlite::Result<()> {
        self.db
            .prepare_cached("DELETE FROM follow_up_serves WHERE follow_up = ?1")?
            .execute([id.0])?;
        let mut insert = self.db.prepare_cached(
            "INSERT OR IGNORE INTO follow_up_serves (follow_up, place, serve) VALUES (?1, ?2, ?3)",
        )?;
        for (place, serve) in serves.iter().enumerate() {
            insert.execute((id.0, place as i64, serve.0))?;
        }
        Ok(())
    }

    /// A follow-up holds values that can be, and serves of its plan's player from after the plan.
    fn check_follow_up(&self, follow_up: &FollowUp) -> Result<(), WriteError> {
        check_ball(&follow_up.ball)?;
        check_note(follow_up.note.as_deref())?;
        if let Some(rating) = follow_up.rating
            && !(-2..=2).contains(&rating)
        {
            return Err(invalid("rating", rating, "-2 (worse) to 2 (gone)"));
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
        Ok(())
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
        self.keep_history(ChangeKind::Judged, None)?;
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
        self.keep_history(ChangeKind::Judged, None)?;
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

    /// Adds words to a case; earlier ones stay. The same words by the same author are kept once.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for no words or more than 20,000 bytes;
    /// [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn add_note(
        &mut self,
        case: CaseId,
        text: &str,
        by: Option<&Author>,
    ) -> Result<(), WriteError> {
        check_note(Some(text))?;
        if text.trim().is_empty() {
            return Err(invalid("note", text, "words"));
        }
        if let Some(by) = by {
            check_author(by)?;
        }
        self.keep_history(ChangeKind::Judged, by)?;
        self.touch(case)?;
        let by = by.map(Author::as_str);
        self.run("storing a note", || {
            self.db
                .prepare_cached(
                    "INSERT INTO case_notes (case_id, text, said_by, at, came)
                     SELECT ?1, ?2, ?3, ?4, 0 WHERE NOT EXISTS (SELECT 1 FROM case_notes
                        WHERE case_id = ?1 AND text = ?2 AND said_by IS ?3)",
                )?
                .execute((case.0, text, by, jiff::Timestamp::now().to_string()))
        })?;
        Ok(())
    }

    /// Marks a case's words as changed, for the word index.
    pub(super) fn touch(&self, case: CaseId) -> Result<(), WriteError> {
        let changed = self.run("marking a case", || {
            self.db
                .prepare_cached("UPDATE cases SET word_change = ?2 WHERE id = ?1")?
                .execute((case.0, self.word_change))
        })?;
        self.words_changed.set(true);
        found(changed, || case.to_string())
    }

    pub(super) fn touch_plan(&self, plan: PlanId) -> Result<(), WriteError> {
        let case = self.run("looking for a plan", || {
            self.db
                .prepare_cached("SELECT case_id FROM plans WHERE id = ?1")?
                .query_row([plan.0], |row| row.get(0).map(CaseId))
        })?;
        self.touch(case)
    }
}
