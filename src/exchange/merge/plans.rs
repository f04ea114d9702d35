//! A sender's plans and what came of them, as rows.

use std::collections::BTreeSet;

use rusqlite::params;

use super::away;
use crate::coaching::Breach;
use crate::exchange::items::{CaseItem, FollowUpItem, PlanItem};
use crate::library::store::dose_and_place;
use crate::library::{Author, CaseId, PlanId, StoreError, Writer};

impl Writer<'_> {
    pub(super) fn put_plan(
        &self,
        case: CaseId,
        uid: &str,
        plan: &PlanItem,
    ) -> Result<i64, StoreError> {
        self.run("storing a plan", || {
            self.db
                .prepare_cached(
                    "INSERT INTO plans (uid, case_id, limiting_fault, start, review_on, coach,
                        note)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
                     ON CONFLICT (uid) DO UPDATE SET case_id = excluded.case_id,
                        limiting_fault = excluded.limiting_fault, start = excluded.start,
                        review_on = excluded.review_on, coach = excluded.coach,
                        note = excluded.note",
                )?
                .execute(params![
                    uid,
                    case.0,
                    plan.limiting_fault,
                    plan.start.to_string(),
                    plan.review_on.map(|date| date.to_string()),
                    plan.coach,
                    plan.note,
                ])?;
            let id: i64 = self
                .db
                .prepare_cached("SELECT id FROM plans WHERE uid = ?1")?
                .query_row([uid], |row| row.get(0))?;
            self.store_drills(PlanId(id), &plan.drills)?;
            // Programs before store format 3 sent the place behind the dose.
            let [dose, place] = dose_and_place();
            self.db
                .prepare_cached(&format!(
                    "UPDATE plan_drills SET dose = {dose}, done_where = {place}
                     WHERE plan = ?1 AND done_where IS NULL"
                ))?
                .execute([id])?;
            // An end somebody here gave it stays.
            self.db
                .prepare_cached(
                    "DELETE FROM plan_ends WHERE plan = ?1
                     AND (said_by = 'program' OR said_by GLOB 'away-????????')",
                )?
                .execute([id])?;
            if let Some(end) = &plan.ended {
                self.db
                    .prepare_cached(
                        "INSERT OR IGNORE INTO plan_ends (plan, day, how, said_by, reason)
                         VALUES (?1, ?2, ?3, ?4, ?5)",
                    )?
                    .execute(params![
                        id,
                        end.day.to_string(),
                        end.how.name(),
                        end.by.as_str(),
                        end.reason,
                    ])?;
            }
            Ok(id)
        })
    }

    /// Ends a plan that breaks a rule on its first day, so that it is kept and never in force;
    /// unless somebody here ended it.
    pub(super) fn set_aside(
        &self,
        id: i64,
        plan: &PlanItem,
        breach: &Breach,
    ) -> Result<(), StoreError> {
        self.run("storing a plan's end", || {
            self.db
                .prepare_cached(
                    "INSERT OR IGNORE INTO plan_ends (plan, day, how, said_by, reason)
                     VALUES (?1, ?2, 'ended', ?3, ?4)",
                )?
                .execute(params![
                    id,
                    plan.start.to_string(),
                    Author::Program.as_str(),
                    format!("never in force here: {breach}"),
                ])
        })?;
        Ok(())
    }

    pub(super) fn put_follow_ups(
        &self,
        plan: i64,
        follow_ups: &[(String, &FollowUpItem)],
    ) -> Result<(), StoreError> {
        self.run("storing follow-ups", || {
            self.db
                .prepare_cached("DELETE FROM follow_ups WHERE plan = ?1 AND uid GLOB 'away/*'")?
                .execute([plan])?;
            let mut insert = self.db.prepare_cached(
                "INSERT OR REPLACE INTO follow_ups (uid, plan, date, speed_kmh, first_serve_pct,
                    miss_net, miss_long, miss_wide, rating, sessions_done, note)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
            )?;
            for (uid, item) in follow_ups {
                let misses = item.ball.misses;
                insert.execute(params![
                    uid,
                    plan,
                    item.date.to_string(),
                    item.ball.speed_kmh,
                    item.ball.first_serve_pct,
                    misses.map(|m| m.net),
                    misses.map(|m| m.long),
                    misses.map(|m| m.wide),
                    item.rating,
                    item.sessions_done,
                    item.note,
                ])?;
            }
            Ok(())
        })
    }

    /// Removes the plans that came for a case and are in its version no more; one that was
    /// followed up or practised here stays.
    pub(super) fn drop_plans(
        &self,
        case: CaseId,
        kept: &BTreeSet<String>,
    ) -> Result<(), StoreError> {
        self.run("removing plans", || {
            let there: Vec<(i64, String)> = self
                .db
                .prepare_cached(
                    "SELECT id, uid FROM plans n WHERE case_id = ?1 AND uid GLOB 'away/*'
                     AND NOT EXISTS (SELECT 1 FROM follow_ups f WHERE f.plan = n.id
                        AND f.uid NOT GLOB 'away/*')
                     AND NOT EXISTS (SELECT 1 FROM practice d WHERE d.plan = n.id)",
                )?
                .query_map([case.0], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect::<Result<_, _>>()?;
            for (id, _) in there.iter().filter(|(_, uid)| !kept.contains(uid)) {
                self.db.execute("DELETE FROM plans WHERE id = ?1", [id])?;
            }
            Ok(())
        })
    }

    /// Ties follow-ups that came to their serves, as far as those are here.
    pub(super) fn link_follow_ups(
        &self,
        sender: &str,
        owner: &str,
        case: &CaseItem,
    ) -> Result<(), StoreError> {
        for item in case.plans.iter().flat_map(|plan| &plan.follow_ups) {
            let uid = away(sender, owner, &item.uid);
            self.run("storing a follow-up's serves", || {
                self.db
                    .prepare_cached(
                        "DELETE FROM follow_up_serves
                         WHERE follow_up = (SELECT id FROM follow_ups WHERE uid = ?1)",
                    )?
                    .execute([&uid])?;
                let mut insert = self.db.prepare_cached(
                    "INSERT OR IGNORE INTO follow_up_serves (follow_up, place, serve)
                     SELECT f.id, ?2, s.id FROM follow_ups f, serves s
                     JOIN recordings r ON r.id = s.recording JOIN cases c ON c.id = s.case_id
                     WHERE f.uid = ?1 AND r.content_hash = ?3 AND s.place = ?4 AND c.date > ?5",
                )?;
                for (place, (recording, nth)) in item.serves.iter().enumerate() {
                    insert.execute(params![
                        uid,
                        place as i64,
                        away(sender, owner, recording),
                        nth,
                        case.day.to_string(),
                    ])?;
                }
                Ok(())
            })?;
        }
        Ok(())
    }

    /// Ties replaced plans that came to those that took their place, as far as those are here.
    pub(super) fn link_ends(
        &self,
        sender: &str,
        owner: &str,
        case: &CaseItem,
    ) -> Result<(), StoreError> {
        for plan in &case.plans {
            let by = plan.ended.as_ref().and_then(|end| end.replaced_by.as_deref());
            let by = by.map(|by| away(sender, owner, by));
            self.run("storing a plan's end", || {
                self.db
                    .prepare_cached(
                        "UPDATE plan_ends SET replaced_by = (SELECT id FROM plans WHERE uid = ?2)
                         WHERE plan = (SELECT id FROM plans WHERE uid = ?1)
                         AND (said_by = 'program' OR said_by GLOB 'away-????????')",
                    )?
                    .execute((away(sender, owner, &plan.uid), by))
            })?;
        }
        Ok(())
    }
}
