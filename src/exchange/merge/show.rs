//! Making the rows of a sender what its packs say.

use std::collections::{BTreeSet, HashMap};

use rusqlite::OptionalExtension;
use rusqlite::params;

use super::{ACADEMY_IN_CODE, Shown, Winners, away, damaged};
use crate::exchange::items::{Brought, CaseItem, FollowUpItem, Item, PlayerItem};
use crate::exchange::rules::broken;
use crate::library::{BallFlight, CaseId, Consent, Named, Player, PlayerId, WriteError, Writer};

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
