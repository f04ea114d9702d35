//! What a filter and a search ask of every serve, in a few bytes each: whose it is, of which case and
//! day, of what kind. Derived, kept in step with the store player by player.
//!
//! `heads/heads.parts` holds the columns as they were at one change; players whose rows changed after it
//! are read from the store and take the place of what stands there, so the answer is that of the store.

use rusqlite::{Row, params_from_iter};
use serde::{Deserialize, Serialize};

use super::Ids;
use crate::files::decode;
use crate::library::parts::{Covers, Parts};
use crate::library::read::{named, named_if, parsed};
use crate::library::{Damage, Library, PlayerId, ServeId, ServeType, Setting, StoreError};
use crate::motion::{Capture, Side, View};

const NAME: &str = "heads";
/// Counts up when the file must be built anew though the store did not change.
const HEADS_FORMAT: u32 = 1;
/// So many players are read beside a file of what is derived before it is written anew: reading them costs
/// less than writing it after every change.
pub(crate) const LATE_PLAYERS: usize = 16;

const COLUMNS: &str = "SELECT s.id, s.case_id, s.player, r.date, s.channel_set, s.hand,
        r.capture, r.view, r.setting, r.serve_type
    FROM serves s JOIN recordings r ON r.id = s.recording";

/// What serves have in common, as far as a filter or a search asks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Kind {
    pub(crate) channel_set: String,
    pub(crate) hand: Side,
    pub(crate) capture: Capture,
    pub(crate) view: Option<View>,
    pub(crate) setting: Option<Setting>,
    pub(crate) serve_type: Option<ServeType>,
}

/// Every serve of the store, by id: column beside column.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Heads {
    pub(crate) kinds: Vec<Kind>,
    pub(crate) serves: Vec<u32>,
    pub(crate) cases: Vec<u32>,
    pub(crate) players: Vec<u32>,
    /// Day as digits: 20260304.
    pub(crate) days: Vec<u32>,
    /// Place in `kinds`.
    pub(crate) kind: Vec<u16>,
}

/// One serve.
#[derive(Debug, Clone, Copy)]
struct Head {
    serve: u32,
    case: u32,
    player: u32,
    day: u32,
    kind: u16,
}

impl Heads {
    pub(crate) fn len(&self) -> usize {
        self.serves.len()
    }

    /// Where a serve stands.
    pub(crate) fn place_of(&self, serve: ServeId) -> Option<usize> {
        self.serves.binary_search(&u32::try_from(serve.0).ok()?).ok()
    }

    /// Whose serve it is.
    pub(crate) fn player_of(&self, serve: ServeId) -> Option<PlayerId> {
        self.place_of(serve).map(|place| PlayerId(i64::from(self.players[place])))
    }

    pub(crate) fn serve_at(&self, place: usize) -> ServeId {
        ServeId(i64::from(self.serves[place]))
    }

    fn head(&self, place: usize) -> Head {
        Head {
            serve: self.serves[place],
            case: self.cases[place],
            player: self.players[place],
            day: self.days[place],
            kind: self.kind[place],
        }
    }

    fn push(&mut self, head: Head) {
        self.serves.push(head.serve);
        self.cases.push(head.case);
        self.players.push(head.player);
        self.days.push(head.day);
        self.kind.push(head.kind);
    }

    fn kind_number(&mut self, kind: Kind) -> Result<u16, StoreError> {
        let place = self.kinds.iter().position(|known| *known == kind).unwrap_or_else(|| {
            self.kinds.push(kind);
            self.kinds.len() - 1
        });
        u16::try_from(place).map_err(|_| too_large(place as i64))
    }

    /// The same serves with those of `players` replaced by `own`, which is by id. Cost: most changes leave a
    /// player the same serves, which are then written over; others move the columns.
    fn with_players(mut self, players: &Ids, own: &Self) -> Result<Self, StoreError> {
        let mut numbers = Vec::with_capacity(own.kinds.len());
        for kind in &own.kinds {
            numbers.push(self.kind_number(kind.clone())?);
        }
        let is_gone = |&place: &usize| {
            players.holds(self.players[place])
                && own.serves.binary_search(&self.serves[place]).is_err()
        };
        let gone: Vec<usize> = (0..self.len()).filter(is_gone).collect();
        if !gone.is_empty() {
            self.remove(&gone);
        }
        for place in 0..own.len() {
            let head = own.head(place);
            let head = Head { kind: numbers[usize::from(head.kind)], ..head };
            match self.serves.binary_search(&head.serve) {
                Ok(known) => self.set(known, head),
                Err(new) => self.insert(new, head),
            }
        }
        Ok(self)
    }

    fn columns(&mut self) -> [&mut Vec<u32>; 4] {
        [&mut self.serves, &mut self.cases, &mut self.players, &mut self.days]
    }

    /// `gone`: places, ascending.
    fn remove(&mut self, gone: &[usize]) {
        fn stay<T>(column: &mut Vec<T>, gone: &[usize]) {
            let mut places = 0..;
            column
                .retain(|_| places.next().is_some_and(|place| gone.binary_search(&place).is_err()));
        }
        self.columns().into_iter().for_each(|column| stay(column, gone));
        stay(&mut self.kind, gone);
    }

    fn set(&mut self, place: usize, head: Head) {
        let Head { serve, case, player, day, kind } = head;
        for (column, value) in self.columns().into_iter().zip([serve, case, player, day]) {
            column[place] = value;
        }
        self.kind[place] = kind;
    }

    fn insert(&mut self, place: usize, head: Head) {
        let Head { serve, case, player, day, kind } = head;
        for (column, value) in self.columns().into_iter().zip([serve, case, player, day]) {
            column.insert(place, value);
        }
        self.kind.insert(place, kind);
    }

    /// Whether both say the same of every serve, however kinds are numbered.
    fn says_the_same(&self, other: &Self) -> bool {
        let kinds =
            |heads: &Self, place: usize| heads.kinds.get(usize::from(heads.kind[place])).cloned();
        self.serves == other.serves
            && self.cases == other.cases
            && self.players == other.players
            && self.days == other.days
            && (0..self.len()).all(|place| kinds(self, place) == kinds(other, place))
    }

    fn parts(&self) -> Vec<(String, Vec<u8>)> {
        let name = |text: &str| text.to_owned();
        let kinds = bincode::serde::encode_to_vec(&self.kinds, bincode::config::standard());
        let columns = [&self.serves, &self.cases, &self.players, &self.days];
        let mut parts = vec![(name("kinds"), kinds.unwrap_or_default())];
        for (column, values) in ["serves", "cases", "players", "days"].into_iter().zip(columns) {
            let bytes = values.iter().flat_map(|value| value.to_le_bytes()).collect();
            parts.push((name(column), bytes));
        }
        let kind = self.kind.iter().flat_map(|value| value.to_le_bytes()).collect();
        parts.push((name("kind"), kind));
        parts
    }

    fn from_parts(parts: &Parts) -> Option<Self> {
        let kinds = parts.read("kinds")?;
        let (kinds, _) = decode::<Vec<Kind>, { 1 << 28 }>(&kinds).ok()?;
        let column = |name: &str| -> Option<Vec<u32>> {
            let bytes = parts.read(name)?;
            let mut column = vec![0_u32; bytes.len() / 4];
            let whole = bytes.get(..4 * column.len())?;
            bytemuck::cast_slice_mut(&mut column).copy_from_slice(whole);
            column.iter_mut().for_each(|value| *value = u32::from_le(*value));
            Some(column)
        };
        let bytes = parts.read("kind")?;
        let mut kind = vec![0_u16; bytes.len() / 2];
        let whole = bytes.get(..2 * kind.len())?;
        bytemuck::cast_slice_mut(&mut kind).copy_from_slice(whole);
        kind.iter_mut().for_each(|value| *value = u16::from_le(*value));
        let heads = Self {
            kinds,
            serves: column("serves")?,
            cases: column("cases")?,
            players: column("players")?,
            days: column("days")?,
            kind,
        };
        let lengths = [&heads.cases, &heads.players, &heads.days].map(Vec::len);
        let whole = lengths.iter().all(|&length| length == heads.len())
            && heads.kind.len() == heads.len()
            && heads.kind.iter().all(|&kind| usize::from(kind) < heads.kinds.len());
        whole.then_some(heads)
    }
}

fn too_large(id: i64) -> StoreError {
    let why = Damage::Value("numbers up to 4294967295 are known".to_owned());
    StoreError::Damaged { what: format!("number {id}"), why }
}

impl Library {
    /// What is known of every serve. Cost: a few bytes a serve, and the serves of the players whose rows
    /// changed since the file was written.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub(crate) fn heads(&self) -> Result<Heads, StoreError> {
        let Some((change, heads)) = self.heads_file()? else { return self.heads_of(None) };
        let late = self.players_changed_after(change)?;
        if late.is_empty() {
            return Ok(heads);
        }
        let own = self.heads_of(Some(&late))?;
        heads.with_players(&late.iter().map(|player| player.0).collect(), &own)
    }

    /// The file, if it can be brought up to the store.
    fn heads_file(&self) -> Result<Option<(i64, Heads)>, StoreError> {
        let Some(parts) = self.heads_parts()? else { return Ok(None) };
        Ok(Heads::from_parts(&parts).map(|heads| (parts.covers().change, heads)))
    }

    fn heads_parts(&self) -> Result<Option<Parts>, StoreError> {
        let Some(now) = self.last_player_change()? else { return Ok(None) };
        let base = self.heads_base();
        let parts = Parts::open(&self.parts_path(NAME));
        Ok(parts.filter(|parts| parts.covers().base == base && parts.covers().change <= now))
    }

    fn heads_base(&self) -> String {
        format!("{} {HEADS_FORMAT}", self.uid())
    }

    /// From the store alone: all serves, or those of some players.
    fn heads_of(&self, players: Option<&[PlayerId]>) -> Result<Heads, StoreError> {
        let mut heads = Heads::default();
        let mut error = None;
        let visit = |row: &Row<'_>| {
            let kind = Kind {
                channel_set: row.get(4)?,
                hand: named(row, 5)?,
                capture: named(row, 6)?,
                view: named_if(row, 7)?,
                setting: named_if(row, 8)?,
                serve_type: named_if(row, 9)?,
            };
            let date = parsed(row, 3)?;
            let digits = i64::from(date.year()) * 10_000
                + i64::from(date.month()) * 100
                + i64::from(date.day());
            let narrow = |wide: i64| u32::try_from(wide).map_err(|_| too_large(wide));
            let read = || {
                Ok(Head {
                    kind: heads.kind_number(kind)?,
                    serve: narrow(row.get(0).map_err(StoreError::sql("listing serves"))?)?,
                    case: narrow(row.get(1).map_err(StoreError::sql("listing serves"))?)?,
                    player: narrow(row.get(2).map_err(StoreError::sql("listing serves"))?)?,
                    day: narrow(digits)?,
                })
            };
            match read() {
                Ok(head) => heads.push(head),
                Err(why) => error = Some(why),
            }
            Ok(())
        };
        let doing = "listing serves";
        match players {
            None => self.list(doing, &format!("{COLUMNS} ORDER BY s.id"), [], visit)?,
            Some(players) => {
                let ids: Vec<String> = players.iter().map(|player| player.0.to_string()).collect();
                let sql = format!(
                    "{COLUMNS} WHERE s.player IN (SELECT value FROM json_each(?)) ORDER BY s.id"
                );
                self.list(doing, &sql, params_from_iter([format!("[{}]", ids.join(","))]), visit)?
            }
        };
        error.map_or(Ok(heads), Err)
    }

    /// Whether the file is as new as readers need it.
    pub(super) fn heads_are_in_step(&self) -> Result<bool, StoreError> {
        let Some(parts) = self.heads_parts()? else { return Ok(false) };
        Ok(self.players_changed_after(parts.covers().change)?.len() <= LATE_PLAYERS)
    }

    /// Writes the file anew, in the turn to build.
    pub(super) fn sync_heads(&self) -> Result<(), StoreError> {
        if self.heads_are_in_step()? { Ok(()) } else { self.write_heads(&self.heads()?) }
    }

    /// Builds the file from the store alone.
    pub(super) fn rebuild_heads(&self) -> Result<(), StoreError> {
        self.write_heads(&self.heads_of(None)?)
    }

    fn write_heads(&self, heads: &Heads) -> Result<(), StoreError> {
        let Some(change) = self.last_player_change()? else { return Ok(()) };
        self.write_parts(NAME, Covers { base: self.heads_base(), change }, &heads.parts())
    }

    /// Where the file and the store disagree, in words.
    pub(super) fn check_heads(&self) -> Result<Vec<String>, StoreError> {
        let stored = self.heads_of(None)?;
        let problem = match self.heads_file()? {
            None if stored.len() == 0 => None,
            None => Some("the list of serves is missing or damaged"),
            Some(_) if self.heads()?.says_the_same(&stored) => None,
            Some(_) => Some("the list of serves is not that of the store"),
        };
        Ok(problem.map(str::to_owned).into_iter().collect())
    }
}
