//! The cells of a table: which columns there are, and what one row says in them.

use std::collections::HashMap;

use jiff::civil::Date;

use super::TableError;
use crate::coaching::Refusal;
use crate::library::{Named, WriteError};

/// Columns about the player. Only `player` must be there.
pub(super) const PLAYER: [&str; 12] = [
    "player",
    "name",
    "hand",
    "level",
    "born",
    "stature_m",
    "squads",
    "coach",
    "consent_keep",
    "consent_share",
    "consent_date",
    "consent_by",
];
/// About one review.
pub(super) const CASE: [&str; 22] = [
    "case_date",
    "case_note",
    "speed_kmh",
    "first_serve_pct",
    "net",
    "long",
    "wide",
    "index_knuckle",
    "heel_pad",
    "pain",
    "injuries",
    "serves_a_week",
    "tennis_hours",
    "sport_hours",
    "attempt",
    "court",
    "target",
    "wide_left",
    "wide_right",
    "double_faults",
    "faults",
    "labelled_by",
];
/// About what was planned then.
pub(super) const PLAN: [&str; 5] =
    ["limiting_fault", "drills", "plan_start", "plan_review_on", "plan_note"];
/// About what came of it.
pub(super) const FOLLOW_UP: [&str; 9] = [
    "follow_up_date",
    "follow_up_speed_kmh",
    "follow_up_first_serve_pct",
    "follow_up_net",
    "follow_up_long",
    "follow_up_wide",
    "rating",
    "sessions_done",
    "follow_up_note",
];

/// All columns, in the order of the template.
pub(super) fn columns() -> impl Iterator<Item = &'static str> {
    PLAYER.into_iter().chain(CASE).chain(PLAN).chain(FOLLOW_UP)
}

/// One row: its line in the file, the header being 1, and its cells that are not empty.
pub(super) struct TableRow {
    pub(super) line: u64,
    cells: HashMap<&'static str, String>,
}

impl TableRow {
    pub(super) fn text(&self, column: &'static str) -> Option<&str> {
        self.cells.get(column).map(String::as_str)
    }

    pub(super) fn bad(&self, column: &'static str, rule: impl Into<String>) -> TableError {
        let found = self.text(column).unwrap_or_default().to_owned();
        TableError::Value { row: self.line, column, found, rule: rule.into() }
    }

    /// What a rule of coaching refuses, at the column it came from.
    pub(super) fn refused(&self, column: &'static str, refusal: impl Into<Refusal>) -> TableError {
        let found = self.text(column).unwrap_or_default().to_owned();
        TableError::Refused { row: self.line, column, found, source: Box::new(refusal.into()) }
    }

    /// Refuses what stands in `columns` when what it belongs to is missing.
    pub(super) fn none_of(&self, columns: &[&'static str], rule: &str) -> Result<(), TableError> {
        match columns.iter().find(|column| self.text(column).is_some()) {
            Some(column) => Err(self.bad(column, rule)),
            None => Ok(()),
        }
    }

    pub(super) fn parsed<T: std::str::FromStr>(
        &self,
        column: &'static str,
        rule: &str,
    ) -> Result<Option<T>, TableError> {
        let parsed = self.text(column).map(str::parse).transpose();
        parsed.map_err(|_| self.bad(column, rule))
    }

    pub(super) fn date(&self, column: &'static str) -> Result<Option<Date>, TableError> {
        self.parsed(column, "a day like 2026-03-04")
    }

    /// A day that passes `check`.
    pub(super) fn day(
        &self,
        column: &'static str,
        check: impl FnOnce(&'static str, Date) -> Result<(), WriteError>,
    ) -> Result<Option<Date>, TableError> {
        let day = self.date(column)?;
        if let Some(day) = day {
            check(column, day).map_err(self.refuse(&[]))?;
        }
        Ok(day)
    }

    pub(super) fn number(&self, column: &'static str) -> Result<Option<f64>, TableError> {
        self.parsed(column, "a number with a decimal point")
    }

    pub(super) fn whole<T: std::str::FromStr>(
        &self,
        column: &'static str,
    ) -> Result<Option<T>, TableError> {
        self.parsed(column, "a whole number")
    }

    pub(super) fn named<T: Named>(&self, column: &'static str) -> Result<Option<T>, TableError> {
        let Some(text) = self.text(column) else { return Ok(None) };
        let value = T::from_name(text);
        value.map(Some).ok_or_else(|| self.bad(column, format!("one of {}", T::names())))
    }

    pub(super) fn yes(&self, column: &'static str) -> Result<Option<bool>, TableError> {
        match self.text(column) {
            None => Ok(None),
            Some("yes") => Ok(Some(true)),
            Some("no") => Ok(Some(false)),
            Some(_) => Err(self.bad(column, "yes or no")),
        }
    }

    /// The pieces of a cell between `;`.
    pub(super) fn list(&self, column: &'static str) -> Vec<&str> {
        let text = self.text(column).unwrap_or_default();
        text.split(';').map(str::trim).filter(|piece| !piece.is_empty()).collect()
    }

    /// What the store refuses, at the column it came from: `columns` gives the column of a field
    /// that is called otherwise.
    pub(super) fn refuse<'a>(
        &'a self,
        columns: &'a [(&'static str, &'static str)],
    ) -> impl Fn(WriteError) -> TableError + use<'a> {
        move |source| match source {
            WriteError::Invalid { field, rule, .. } => {
                let known = columns.iter().find(|(from, _)| *from == field).map(|(_, to)| *to);
                match known.or_else(|| self::columns().find(|column| *column == field)) {
                    Some(column) => self.bad(column, rule),
                    None => TableError::Row {
                        row: self.line,
                        source: WriteError::Invalid { field, found: String::new(), rule },
                    },
                }
            }
            source => TableError::Row { row: self.line, source },
        }
    }
}

/// Every row of a table in CSV.
pub(super) fn read(csv: &[u8]) -> Result<Vec<TableRow>, TableError> {
    // A mark some spreadsheets put before UTF-8.
    let csv = csv.strip_prefix(b"\xef\xbb\xbf").unwrap_or(csv);
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(csv);
    let mut held = Vec::new();
    for name in reader.headers()? {
        let Some(column) = columns().find(|known| *known == name) else {
            return Err(TableError::Header { found: format!("unknown column '{name}'") });
        };
        if held.contains(&column) {
            return Err(TableError::Header { found: format!("column '{name}' appears twice") });
        }
        held.push(column);
    }
    if !held.contains(&"player") {
        return Err(TableError::Header { found: "column 'player' is missing".to_owned() });
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record?;
        let line = record.position().map_or(0, csv::Position::line);
        if record.iter().all(str::is_empty) {
            continue;
        }
        if record.len() != held.len() {
            return Err(TableError::Cells { row: line, found: record.len(), expected: held.len() });
        }
        let cells = held
            .iter()
            .zip(&record)
            .filter(|(_, cell)| !cell.is_empty())
            .map(|(column, cell)| (*column, cell.to_owned()))
            .collect();
        rows.push(TableRow { line, cells });
    }
    if rows.is_empty() {
        return Err(TableError::NoRows);
    }
    Ok(rows)
}
