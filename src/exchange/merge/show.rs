//! Making the rows of a sender what its packs say.

use std::collections::{BTreeSet, HashMap};

use rusqlite::OptionalExtension;
use rusqlite::params;

use super::{ACADEMY_IN_CODE, Shown, Winners, away, damaged};
use crate::coaching::Breach;
use crate::exchange::items::{
    Brought, CaseItem, FollowUpItem, Item, MomentItem, PlanItem, PlayerItem, RecordingItem,
};
use crate::exchange::rules::broken;
use crate::library::Writer;
use crate::library::store::dose_and_place;
use crate::library::stored::RecordingBytes;
use crate::library::{
    Author, BallFlight, CaseId, Consent, Marked, Named, NewMark, PlanId, Player, PlayerId,
    RecordingId, SeenMoment, ServeId, StoreError, Witness, WriteError,
};
use crate::motion::{Dimensions, Recording, Unit};

impl Writer<'_> {
    /// Makes the rows of a sender what the packs here say.
    pub(super) fn show(&mut self, sender: &str) -> Result<Brought, WriteError> {
        let winners = self.winners(sender)?;
        let mut brought = Brought::default();
        let mut players = HashMap::new();
        for ((_, owner, _), shown) in winners.iter().filter(|((kind, ..), _)| kind == "player") {
            players.insert(owner.as_str(), self.show_player(sender, owner, shown, &mut brought)?);
        }
        let mut cases = HashMap::new();
        for ((_, owner, day), shown) in winners.iter().filter(|((kind, ..), _)| kind == "case") {
            let Some(&player) = players.get(owner.as_str()) else { continue };
            if let Some(case) = self.show_case(sender, player, shown, &mut brought)? {
                cases.insert((owner.as_str(), day.as_str()), (case, player, shown.item));
            }
        }
        let mut held = BTreeSet::new();
        for ((_, owner, uid), shown) in winners.iter().filter(|((kind, ..), _)| kind == "recording")
        {
            let hash = away(sender, owner, uid);
            let there: Option<(i64, i64)> = self.run("looking for a recording", || {
                self.db
                    .prepare_cached(
                        "SELECT r.id, o.item FROM recordings r
                         JOIN recording_origins o ON o.recording = r.id WHERE r.content_hash = ?1",
                    )?
                    .query_row([&hash], |row| Ok((row.get(0)?, row.get(1)?)))
                    .optional()
            })?;
            if there.is_none_or(|(_, item)| item != shown.item) {
                let Some(Item::Recording(item)) = self.load(shown.item)? else {
                    return Err(damaged(shown.item, "not a recording".to_owned()).into());
                };
                if let Some((id, _)) = there {
                    self.run("replacing a recording", || {
                        self.db.execute("DELETE FROM recordings WHERE id = ?1", [id])
                    })?;
                }
                let day = item.day.to_string();
                if let Some(&(case, player, _)) = cases.get(&(owner.as_str(), day.as_str())) {
                    self.insert_received(&hash, player, case, &item, shown.item)?;
                    brought.recordings += 1;
                    brought.serves += item.serves.len();
                }
            }
            held.insert(hash);
        }
        self.hide(sender, &winners, &held, &mut brought)?;
        for (&(owner, _), &(_, _, item)) in &cases {
            if let Some(case) = self.load_case(item)? {
                self.link_follow_ups(sender, owner, &case)?;
                self.link_ends(sender, owner, &case)?;
            }
        }
        self.serves_changed.set(true);
        self.words_changed.set(true);
        Ok(brought)
    }

    fn show_player(
        &mut self,
        sender: &str,
        owner: &str,
        shown: &Shown,
        brought: &mut Brought,
    ) -> Result<PlayerId, WriteError> {
        let there: Option<(i64, i64, String)> = self.run("looking for a player", || {
            self.db
                .prepare_cached(
                    "SELECT player, item, pack FROM player_origins WHERE sender = ?1 AND uid = ?2",
                )?
                .query_row([sender, owner], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
                .optional()
        })?;
        if let Some((id, item, pack)) = &there
            && *item == shown.item
            && *pack == shown.pack
        {
            return Ok(PlayerId(*id));
        }
        let Some(Item::Player(item)) = self.load(shown.item)? else {
            return Err(damaged(shown.item, "not a player".to_owned()).into());
        };
        let own = there.map(|(id, ..)| PlayerId(id));
        let code = self.free_code(shown.academy.as_deref(), sender, owner, own)?;
        let player = away_player(&code, &item);
        let id = match own {
            None => {
                brought.players += 1;
                self.add_player(&player)?
            }
            Some(id) => {
                // Squads and coach may have been given here.
                self.run("storing a player", || {
                    self.db.execute(
                        "UPDATE players SET code = ?2, hand = ?3, level = ?4, stature_m = ?5
                         WHERE id = ?1",
                        params![
                            id.0,
                            player.code,
                            player.hand.map(Named::name),
                            player.level.map(Named::name),
                            player.stature_m,
                        ],
                    )?;
                    self.db.execute(
                        "UPDATE cases SET word_change = ?2 WHERE player = ?1",
                        (id.0, self.word_change),
                    )
                })?;
                id
            }
        };
        self.run("storing where a player came from", || {
            self.db.execute(
                "INSERT OR REPLACE INTO player_origins (player, sender, uid, item, pack)
                 VALUES (?1, ?2, ?3, ?4, ?5)",
                params![id.0, sender, owner, shown.item, shown.pack],
            )
        })?;
        Ok(id)
    }

    /// A code from the academy's name and the pseudonym; more digits where it is taken.
    fn free_code(
        &self,
        academy: Option<&str>,
        sender: &str,
        owner: &str,
        own: Option<PlayerId>,
    ) -> Result<String, WriteError> {
        let mut name: String = academy
            .unwrap_or("guest")
            .to_ascii_lowercase()
            .split(|c: char| !c.is_ascii_alphanumeric())
            .filter(|word| !word.is_empty())
            .collect::<Vec<_>>()
            .join("-");
        name.truncate(ACADEMY_IN_CODE);
        let name = if name.is_empty() { "guest" } else { name.trim_end_matches('-') };
        let digits = blake3::hash(format!("{sender}\0{owner}").as_bytes()).to_hex();
        let mut taken = Ok(String::new());
        for length in [8, 12, 16, 24] {
            let code = format!("{name}-{}", &digits[..length]);
            match self.check_code_free(&Player::new(&code), own) {
                Ok(()) => return Ok(code),
                Err(error) => taken = Err(error),
            }
        }
        taken
    }

    fn show_case(
        &mut self,
        sender: &str,
        player: PlayerId,
        shown: &Shown,
        brought: &mut Brought,
    ) -> Result<Option<CaseId>, WriteError> {
        let Some(new) = self.load_case(shown.item)? else {
            return Err(damaged(shown.item, "not there".to_owned()).into());
        };
        let there: Option<(i64, Option<i64>, Option<String>)> =
            self.run("looking for a case", || {
                self.db
                    .prepare_cached(
                        "SELECT c.id, o.item, o.pack
                         FROM cases c LEFT JOIN case_origins o ON o.case_id = c.id
                         WHERE c.player = ?1 AND c.date = ?2",
                    )?
                    .query_row((player.0, new.day.to_string()), |row| {
                        Ok((row.get(0)?, row.get(1)?, row.get(2)?))
                    })
                    .optional()
            })?;
        let (case, old) = match there {
            None => {
                brought.cases += 1;
                (self.case_of_day(player, new.day)?.0, None)
            }
            Some((_, None, _)) => {
                brought.in_the_way += 1;
                return Ok(None);
            }
            Some((id, Some(item), pack)) => {
                if item == shown.item && pack.as_deref() == Some(&shown.pack) {
                    return Ok(Some(CaseId(id)));
                }
                brought.replaced += usize::from(item != shown.item);
                (CaseId(id), self.load_case(item)?)
            }
        };
        self.fill(sender, case, old.as_ref(), &new)?;
        self.run("storing where a case came from", || {
            self.db.execute(
                "INSERT OR REPLACE INTO case_origins (case_id, item, pack, age_from, age_to)
                 VALUES (?1, ?2, ?3, ?4, ?5)",
                params![
                    case.0,
                    shown.item,
                    shown.pack,
                    new.age.map(|age| age.0),
                    new.age.map(|age| age.1),
                ],
            )
        })?;
        Ok(Some(case))
    }

    /// Puts a version into a case in place of another. A value somebody here changed stays.
    fn fill(
        &mut self,
        sender: &str,
        case: CaseId,
        old: Option<&CaseItem>,
        new: &CaseItem,
    ) -> Result<(), WriteError> {
        let grip = |item: &CaseItem| {
            (item.grip.and_then(|g| g.index_knuckle), item.grip.and_then(|g| g.heel_pad))
        };
        let (was, is) = (old.map(grip).unwrap_or_default(), grip(new));
        let ball = |ball: &BallFlight| {
            let misses = ball.misses;
            (
                (ball.speed_kmh, ball.first_serve_pct),
                (misses.map(|m| m.net), misses.map(|m| m.long), misses.map(|m| m.wide)),
            )
        };
        let (had, has) = (old.map(|o| ball(&o.ball)).unwrap_or_default(), ball(&new.ball));
        self.run("storing a case", || {
            self.db
                .prepare_cached(
                    "UPDATE cases SET grip_index = ?2, grip_heel = ?3
                     WHERE id = ?1 AND grip_index IS ?4 AND grip_heel IS ?5",
                )?
                .execute(params![case.0, is.0, is.1, was.0, was.1])?;
            self.db
                .prepare_cached(
                    "UPDATE cases SET speed_kmh = ?2, first_serve_pct = ?3, miss_net = ?4,
                        miss_long = ?5, miss_wide = ?6
                     WHERE id = ?1 AND speed_kmh IS ?7 AND first_serve_pct IS ?8
                        AND miss_net IS ?9 AND miss_long IS ?10 AND miss_wide IS ?11",
                )?
                .execute(params![
                    case.0, has.0.0, has.0.1, has.1.0, has.1.1, has.1.2, had.0.0, had.0.1, had.1.0,
                    had.1.1, had.1.2,
                ])?;
            self.db
                .prepare_cached("DELETE FROM case_notes WHERE case_id = ?1 AND came")?
                .execute([case.0])?;
            self.db
                .prepare_cached(
                    "INSERT INTO case_notes (case_id, text, came) SELECT ?1, ?2, 1
                     WHERE ?2 IS NOT NULL",
                )?
                .execute(params![case.0, new.note])?;
            self.db
                .prepare_cached("UPDATE cases SET word_change = ?2 WHERE id = ?1")?
                .execute((case.0, self.word_change))?;
            self.db
                .prepare_cached(
                    "DELETE FROM labels WHERE case_id = ?1
                     AND (said_by = 'program' OR said_by GLOB 'away-????????')",
                )?
                .execute([case.0])?;
            let mut insert = self.db.prepare_cached(
                "INSERT OR REPLACE INTO labels (case_id, fault, said_by, state, severity, note)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?;
            for label in &new.labels {
                insert.execute(params![
                    case.0,
                    label.fault,
                    label.by.as_str(),
                    label.state.name(),
                    label.severity,
                    label.note,
                ])?;
            }
            Ok(())
        })?;
        let mut kept = BTreeSet::new();
        let broken = if new.plans.is_empty() { Vec::new() } else { broken(&self.rules()?, new) };
        for (at, plan) in new.plans.iter().enumerate() {
            let uid = away(sender, &new.player, &plan.uid);
            let id = self.put_plan(case, &uid, plan)?;
            if let Some((_, breach)) = broken.iter().find(|(place, _)| *place == Some(at)) {
                self.set_aside(id, plan, breach)?;
            }
            let follow_ups: Vec<(String, &FollowUpItem)> = plan
                .follow_ups
                .iter()
                .map(|follow_up| (away(sender, &new.player, &follow_up.uid), follow_up))
                .collect();
            self.put_follow_ups(id, &follow_ups)?;
            kept.insert(uid);
        }
        self.drop_plans(case, &kept)?;
        Ok(())
    }

    fn put_plan(&self, case: CaseId, uid: &str, plan: &PlanItem) -> Result<i64, StoreError> {
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
    fn set_aside(&self, id: i64, plan: &PlanItem, breach: &Breach) -> Result<(), StoreError> {
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

    fn put_follow_ups(
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
    fn drop_plans(&self, case: CaseId, kept: &BTreeSet<String>) -> Result<(), StoreError> {
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

    fn insert_received(
        &mut self,
        hash: &str,
        player: PlayerId,
        case: CaseId,
        item: &RecordingItem,
        version: i64,
    ) -> Result<(), WriteError> {
        // Joints stay with the sender: a recording without frames stands for them.
        let empty = Recording {
            joints: Vec::new(),
            times_s: Vec::new(),
            positions: Vec::new(),
            confidence: None,
            rate_hz: item.rate_hz,
            dimensions: Dimensions::Three,
            unit: Unit::Arbitrary,
            capture: item.capture,
            view: item.view,
            subject: None,
            format: "pack".to_owned(),
            assumptions: Vec::new(),
        };
        let bytes = RecordingBytes::of(&empty)
            .map_err(|why| StoreError::Damaged { what: "recording".to_owned(), why })?;
        let id = self.run("storing a recording", || {
            self.db
                .prepare_cached(
                    "INSERT INTO recordings (player, case_id, file_name, content_hash, date,
                        capture, format, view, rate_hz, setting, serve_type)
                     VALUES (?1, ?2, 'from a pack', ?3, ?4, ?5, 'pack', ?6, ?7, ?8, ?9)",
                )?
                .execute(params![
                    player.0,
                    case.0,
                    hash,
                    item.day.to_string(),
                    item.capture.name(),
                    item.view.map(Named::name),
                    item.rate_hz,
                    item.setting.map(Named::name),
                    item.serve_type.map(Named::name),
                ])?;
            let id = RecordingId(self.db.last_insert_rowid());
            self.db
                .prepare_cached(
                    "INSERT INTO recording_joints (recording, head, times, times_sum, positions,
                        positions_sum)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                )?
                .execute(params![
                    id.0,
                    bytes.head,
                    bytes.times,
                    bytes.times_sum,
                    bytes.positions,
                    bytes.positions_sum,
                ])?;
            self.db
                .prepare_cached("INSERT INTO recording_origins (recording, item) VALUES (?1, ?2)")?
                .execute((id.0, version))?;
            Ok(id)
        })?;
        for (place, serve) in item.serves.iter().enumerate() {
            let serve = serve.decode().map_err(|why| StoreError::Damaged {
                what: format!("received item {version}"),
                why,
            })?;
            let serve = self.insert_serve(id, case, player, place, &serve)?;
            self.put_moments(id, serve, item.moments.iter().filter(|one| one.serve == place))?;
        }
        Ok(())
    }

    /// Stores what was said of the moments of a serve that came.
    fn put_moments<'i>(
        &mut self,
        recording: RecordingId,
        serve: ServeId,
        items: impl Iterator<Item = &'i MomentItem>,
    ) -> Result<(), WriteError> {
        let mut seen = Vec::new();
        for item in items {
            match (&item.witness, item.sure) {
                (Witness::Person(by), _) => {
                    let mark = NewMark {
                        recording,
                        serve: Some(serve),
                        what: Marked::Moment { event: item.event },
                        time_s: item.time_s,
                        frame: item.frame,
                    };
                    self.insert_mark(&mark, by, None)?;
                }
                (witness, Some((error_s, trust))) => seen.push(SeenMoment {
                    event: item.event,
                    witness: witness.clone(),
                    time_s: item.time_s,
                    frame: item.frame,
                    error_s,
                    trust,
                }),
                (_, None) => {}
            }
        }
        self.set_moments_seen(serve, &seen)
    }

    /// Takes away what came from a sender and no pack here holds any more.
    fn hide(
        &mut self,
        sender: &str,
        winners: &Winners,
        held: &BTreeSet<String>,
        brought: &mut Brought,
    ) -> Result<(), WriteError> {
        let recordings: Vec<(i64, String)> = self.run("listing recordings", || {
            self.db
                .prepare_cached(
                    "SELECT r.id, r.content_hash FROM recordings r
                     JOIN recording_origins o ON o.recording = r.id
                     JOIN player_origins p ON p.player = r.player WHERE p.sender = ?1",
                )?
                .query_map([sender], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect()
        })?;
        for (id, _) in recordings.iter().filter(|(_, hash)| !held.contains(hash)) {
            brought.recordings_gone += 1;
            self.run("removing a recording", || {
                self.db.execute("DELETE FROM recordings WHERE id = ?1", [id])
            })?;
        }
        let cases: Vec<(i64, String, String, i64)> = self.run("listing cases", || {
            self.db
                .prepare_cached(
                    "SELECT c.id, p.uid, c.date, o.item FROM cases c
                     JOIN case_origins o ON o.case_id = c.id
                     JOIN player_origins p ON p.player = c.player WHERE p.sender = ?1",
                )?
                .query_map([sender], |row| {
                    Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
                })?
                .collect()
        })?;
        for (id, owner, day, item) in cases {
            if winners.contains_key(&("case".to_owned(), owner, day)) {
                continue;
            }
            brought.cases_gone += 1;
            if let Some(old) = self.load_case(item)? {
                self.fill(sender, CaseId(id), Some(&old), &blank(&old))?;
            }
            self.run("removing a case", || {
                // What somebody here added keeps the case.
                let removed = self.db.execute(
                    "DELETE FROM cases WHERE id = ?1 AND grip_index IS NULL AND grip_heel IS NULL
                     AND speed_kmh IS NULL AND first_serve_pct IS NULL AND miss_net IS NULL
                     AND NOT EXISTS (SELECT 1 FROM case_notes WHERE case_id = ?1)
                     AND NOT EXISTS (SELECT 1 FROM check_ins WHERE case_id = ?1)
                     AND NOT EXISTS (SELECT 1 FROM recordings WHERE case_id = ?1)
                     AND NOT EXISTS (SELECT 1 FROM plans WHERE case_id = ?1)
                     AND NOT EXISTS (SELECT 1 FROM labels WHERE case_id = ?1)",
                    [id],
                )?;
                match removed {
                    0 => self.db.execute("DELETE FROM case_origins WHERE case_id = ?1", [id]),
                    _ => Ok(removed),
                }
            })?;
        }
        let players: Vec<(i64, String)> = self.run("listing players", || {
            self.db
                .prepare_cached("SELECT player, uid FROM player_origins WHERE sender = ?1")?
                .query_map([sender], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect()
        })?;
        for (id, owner) in players {
            if winners.contains_key(&("player".to_owned(), owner, String::new())) {
                continue;
            }
            brought.players_gone += 1;
            self.erase_history_of_gone(PlayerId(id))?;
            self.run("removing a player", || {
                let removed = self.db.execute(
                    "DELETE FROM players WHERE id = ?1
                     AND NOT EXISTS (SELECT 1 FROM cases WHERE player = ?1)",
                    [id],
                )?;
                match removed {
                    0 => self.db.execute("DELETE FROM player_origins WHERE player = ?1", [id]),
                    _ => Ok(removed),
                }
            })?;
        }
        Ok(())
    }

    /// Ties follow-ups that came to their serves, as far as those are here.
    fn link_follow_ups(
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
    fn link_ends(&self, sender: &str, owner: &str, case: &CaseItem) -> Result<(), StoreError> {
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

pub(super) fn away_player(code: &str, item: &PlayerItem) -> Player {
    Player {
        hand: item.hand,
        level: item.level,
        stature_m: item.stature_m,
        // Kept with the consent its sender records; never sent on from here.
        consent: Consent { keep: true, ..Consent::default() },
        ..Player::new(code)
    }
}

/// The same case with nothing in it.
fn blank(case: &CaseItem) -> CaseItem {
    CaseItem {
        player: case.player.clone(),
        day: case.day,
        age: None,
        grip: None,
        ball: BallFlight::default(),
        labels: Vec::new(),
        plans: Vec::new(),
        note: None,
    }
}
