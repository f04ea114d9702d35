//! Everything that is read from the store.

use jiff::civil::Date;
use rusqlite::types::Type;
use rusqlite::{OptionalExtension, Row};

use super::{Consent, Library, Named, Player, PlayerId, StoreError};

mod cases;
mod serves;

pub(super) use cases::plan_end;
pub use serves::ServeHead;

/// How much a library holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Players.
    pub players: usize,
    /// Recordings.
    pub recordings: usize,
    /// Serves.
    pub serves: usize,
    /// Cases.
    pub cases: usize,
    /// Plans.
    pub plans: usize,
    /// Follow-ups.
    pub follow_ups: usize,
}

const PLAYERS: &str = "SELECT id, code, name, hand, level, born, stature_m, coach, consent_keep,
        consent_share, consent_date,
        (SELECT given_by FROM consent_givers WHERE player = players.id)
    FROM players";

impl Library {
    /// How much there is. Cost: counts six tables by their smallest index.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn counts(&self) -> Result<Counts, StoreError> {
        let count = |sql: &str| {
            self.connection
                .query_row::<i64, _, _>(sql, [], |row| row.get(0))
                .map(|n| usize::try_from(n).unwrap_or(0))
                .map_err(StoreError::sql("counting"))
        };
        Ok(Counts {
            players: count("SELECT count(*) FROM players")?,
            recordings: count("SELECT count(*) FROM recordings")?,
            serves: count("SELECT count(*) FROM serves")?,
            cases: count("SELECT count(*) FROM cases")?,
            plans: count("SELECT count(*) FROM plans")?,
            follow_ups: count("SELECT count(*) FROM follow_ups")?,
        })
    }

    /// The player with this id.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn player(&self, id: PlayerId) -> Result<Player, StoreError> {
        self.one_player("id = ?1", id.0, || id.to_string())
    }

    /// The player with this code; upper and lower case are the same.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn player_by_code(&self, code: &str) -> Result<Player, StoreError> {
        self.one_player("code = ?1", code, || format!("player '{code}'"))
    }

    fn one_player(
        &self,
        condition: &str,
        key: impl rusqlite::ToSql,
        what: impl FnOnce() -> String,
    ) -> Result<Player, StoreError> {
        let mut player = self
            .connection
            .prepare_cached(&format!("{PLAYERS} WHERE {condition}"))
            .and_then(|mut statement| statement.query_row([key], player_row).optional())
            .map_err(StoreError::sql("reading a player"))?
            .ok_or_else(|| StoreError::NoSuch { what: what() })?;
        player.squads = self.squads(player.id)?;
        Ok(player)
    }

    /// All players, by code.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn players(&self) -> Result<Vec<Player>, StoreError> {
        let mut players =
            self.list("listing players", &format!("{PLAYERS} ORDER BY code"), [], player_row)?;
        for player in &mut players {
            player.squads = self.squads(player.id)?;
        }
        Ok(players)
    }

    fn squads(&self, player: PlayerId) -> Result<Vec<String>, StoreError> {
        self.list(
            "listing squads",
            "SELECT squad FROM player_squads WHERE player = ?1 ORDER BY place",
            [player.0],
            |row| row.get(0),
        )
    }

    pub(crate) fn list<T, P: rusqlite::Params>(
        &self,
        doing: &'static str,
        sql: &str,
        params: P,
        read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, StoreError> {
        self.connection
            .prepare_cached(sql)
            .and_then(|mut statement| statement.query_map(params, read)?.collect())
            .map_err(StoreError::sql(doing))
    }
}

fn player_row(row: &Row<'_>) -> rusqlite::Result<Player> {
    Ok(Player {
        id: PlayerId(row.get(0)?),
        code: row.get(1)?,
        name: row.get(2)?,
        hand: named_if(row, 3)?,
        level: named_if(row, 4)?,
        born: parsed_if(row, 5)?,
        stature_m: row.get(6)?,
        squads: Vec::new(),
        coach: row.get(7)?,
        consent: Consent {
            keep: row.get(8)?,
            share: row.get(9)?,
            date: parsed_if(row, 10)?,
            by: named_if(row, 11)?,
        },
    })
}

pub(crate) fn count(row: &Row<'_>, column: usize) -> rusqlite::Result<usize> {
    let value: i64 = row.get(column)?;
    usize::try_from(value).map_err(|_| rusqlite::Error::IntegralValueOutOfRange(column, value))
}

pub(crate) fn named<T: Named>(row: &Row<'_>, column: usize) -> rusqlite::Result<T> {
    let name: String = row.get(column)?;
    T::from_name(&name).ok_or_else(|| unreadable(column, format!("unknown {} '{name}'", T::WHAT)))
}

pub(crate) fn named_if<T: Named>(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<T>> {
    match row.get_ref(column)? {
        rusqlite::types::ValueRef::Null => Ok(None),
        _ => named(row, column).map(Some),
    }
}

pub(crate) fn parsed(row: &Row<'_>, column: usize) -> rusqlite::Result<Date> {
    let text: String = row.get(column)?;
    text.parse().map_err(|error: jiff::Error| unreadable(column, error.to_string()))
}

pub(super) fn parsed_if(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<Date>> {
    match row.get_ref(column)? {
        rusqlite::types::ValueRef::Null => Ok(None),
        _ => parsed(row, column).map(Some),
    }
}

fn unreadable(column: usize, why: String) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(column, Type::Text, why.into())
}
