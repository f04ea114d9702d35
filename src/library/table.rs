//! Past records from a table (CSV): players and their cases, all of it or nothing.
//!
//! One row is one case with at most one plan and one follow-up; a row without `case_date` is a
//! player alone. A player may stand in many rows; later rows may leave the player's columns empty.

use std::collections::HashMap;

use jiff::civil::Date;
use thiserror::Error;

use super::{
    BallFlight, Consent, FaultLabel, FollowUp, FollowUpId, LabelState, Level, Library, Named, Plan,
    PlanId, PlannedDrill, Player, PlayerId, StoreError, WriteError, Writer,
};
use crate::motion::Side;

/// The columns, in the order of the template. Only `player` must be there.
const COLUMNS: [&str; 28] = [
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
    "case_date",
    "case_note",
    "speed_kmh",
    "first_serve_pct",
    "faults",
    "limiting_fault",
    "drills",
    "plan_start",
    "plan_review_on",
    "plan_note",
    "follow_up_date",
    "follow_up_speed_kmh",
    "follow_up_first_serve_pct",
    "rating",
    "sessions_done",
    "follow_up_note",
    "labelled_by",
];

/// What a table brought.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TableAdded {
    /// Rows read.
    pub rows: usize,
    /// Players that were not there before.
    pub players: usize,
    /// Cases that were not there before.
    pub cases: usize,
    /// Plans.
    pub plans: usize,
    /// Follow-ups.
    pub follow_ups: usize,
}

/// Why a table was refused; nothing of it is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum TableError {
    /// The file is not a readable table.
    #[error("table: {0}; save it as CSV in UTF-8 with commas, as the template is")]
    Csv(#[from] csv::Error),
    /// A column we do not know, or `player` is missing.
    #[error("table, header: {found}; columns are {}", COLUMNS.join(", "))]
    Header {
        /// What is wrong.
        found: String,
    },
    /// A value breaks a rule.
    #[error("table, row {row}, column {column}: '{found}'; {rule}")]
    Value {
        /// Line of the file, the header being 1.
        row: u64,
        /// Column name.
        column: &'static str,
        /// What was found.
        found: String,
        /// What is allowed.
        rule: String,
    },
    /// The row as a whole was refused.
    #[error("table, row {row}: {source}")]
    Row {
        /// Line of the file, the header being 1.
        row: u64,
        /// Why.
        source: WriteError,
    },
    /// The store answered with an error.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// The template: the header and two invented rows that show every column.
///
/// ```
/// assert!(precedent::library::table_template().starts_with("player,name,hand,"));
/// ```
#[must_use]
pub fn table_template() -> String {
    let rows = [
        "p01,,left,club,2012-05-03,1.58,girls; monday,anna,yes,no,2026-01-10,2026-02-01,\
         toss drifts,118,48,toss_behind,toss_behind,toss_catch: 3 x 10 daily,2026-02-02,\
         2026-03-02,,2026-03-03,121,55,1,12,calmer toss,anna",
        "p01,,,,,,,,,,,2026-04-01,second review,,,,,,,,,,,,,,,",
    ];
    format!("{}\n{}\n", COLUMNS.join(","), rows.join("\n"))
}

impl Library {
    /// Adds the players and cases of a CSV table: all of it, or on any error nothing.
    ///
    /// A player that is there already is joined by code; what the row states replaces what was
    /// known, empty cells leave it. Cases join by player and day. Lists (`squads`, `faults`,
    /// `drills`) are separated by `;`, a drill may carry its dose after `:`.
    ///
    /// # Errors
    /// [`TableError`] with row and column.
    pub fn add_table(&mut self, csv: &[u8]) -> Result<TableAdded, TableError> {
        let rows = read(csv)?;
        let known: HashMap<String, Player> = self
            .players()
            .map_err(WriteError::from)?
            .into_iter()
            .map(|player| (player.code.to_lowercase(), player))
            .collect();
        // The store's error type can not carry ours, so the first refusal waits outside.
        let mut refused = None;
        let result = self.write(|w| {
            let mut known = known;
            let mut added = TableAdded::default();
            for row in &rows {
                if let Err(error) = add_row(w, row, &mut known, &mut added) {
                    refused = Some(error);
                    let what = format!("row {}", row.line);
                    return Err(StoreError::NoSuch { what }.into());
                }
            }
            Ok(added)
        });
        match (result, refused) {
            (_, Some(error)) => Err(error),
            (Ok(added), None) => Ok(added),
            (Err(error), None) => Err(error.into()),
        }
    }
}

struct TableRow {
    line: u64,
    cells: HashMap<&'static str, String>,
}

impl TableRow {
    fn text(&self, column: &'static str) -> Option<&str> {
        self.cells.get(column).map(String::as_str)
    }

    fn bad(&self, column: &'static str, rule: impl Into<String>) -> TableError {
        let found = self.text(column).unwrap_or_default().to_owned();
        TableError::Value { row: self.line, column, found, rule: rule.into() }
    }

    fn parsed<T: std::str::FromStr>(
        &self,
        column: &'static str,
        rule: &str,
    ) -> Result<Option<T>, TableError> {
        let parsed = self.text(column).map(str::parse).transpose();
        parsed.map_err(|_| self.bad(column, rule))
    }

    fn date(&self, column: &'static str) -> Result<Option<Date>, TableError> {
        self.parsed(column, "a day like 2026-03-04")
    }

    fn number(&self, column: &'static str) -> Result<Option<f64>, TableError> {
        self.parsed(column, "a number with a decimal point")
    }

    fn named<T: Named>(&self, column: &'static str) -> Result<Option<T>, TableError> {
        let Some(text) = self.text(column) else { return Ok(None) };
        let value = T::from_name(text);
        value.map(Some).ok_or_else(|| self.bad(column, format!("one of {}", T::names())))
    }

    fn yes(&self, column: &'static str) -> Result<Option<bool>, TableError> {
        match self.text(column) {
            None => Ok(None),
            Some("yes") => Ok(Some(true)),
            Some("no") => Ok(Some(false)),
            Some(_) => Err(self.bad(column, "yes or no")),
        }
    }

    fn list(&self, column: &'static str) -> Vec<&str> {
        let text = self.text(column).unwrap_or_default();
        text.split(';').map(str::trim).filter(|piece| !piece.is_empty()).collect()
    }

    fn refuse(&self) -> impl FnOnce(WriteError) -> TableError + use<> {
        let row = self.line;
        move |source| TableError::Row { row, source }
    }
}

fn read(csv: &[u8]) -> Result<Vec<TableRow>, TableError> {
    // A mark some spreadsheets put before UTF-8.
    let csv = csv.strip_prefix(b"\xef\xbb\xbf").unwrap_or(csv);
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(csv);
    let mut columns = Vec::new();
    for name in reader.headers()? {
        let Some(column) = COLUMNS.into_iter().find(|known| *known == name) else {
            return Err(TableError::Header { found: format!("unknown column '{name}'") });
        };
        if columns.contains(&column) {
            return Err(TableError::Header { found: format!("column '{name}' is there twice") });
        }
        columns.push(column);
    }
    if !columns.contains(&"player") {
        return Err(TableError::Header { found: "column 'player' is missing".to_owned() });
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record?;
        let line = record.position().map_or(0, csv::Position::line);
        let cells = columns
            .iter()
            .zip(&record)
            .filter(|(_, cell)| !cell.is_empty())
            .map(|(column, cell)| (*column, cell.to_owned()))
            .collect();
        rows.push(TableRow { line, cells });
    }
    Ok(rows)
}

fn add_row(
    w: &mut Writer<'_>,
    row: &TableRow,
    known: &mut HashMap<String, Player>,
    added: &mut TableAdded,
) -> Result<(), TableError> {
    added.rows += 1;
    let player = add_player(w, row, known, added)?;
    let Some(date) = row.date("case_date")? else {
        let first = COLUMNS[12..].iter().find(|column| row.text(column).is_some());
        return match first {
            Some(column) => Err(row.bad(column, "a case needs its day in case_date")),
            None => Ok(()),
        };
    };
    let (case, there) = w.case_of_day(player, date).map_err(row.refuse())?;
    added.cases += usize::from(!there);
    if let Some(note) = row.text("case_note") {
        w.set_note(case, Some(note)).map_err(row.refuse())?;
    }
    let ball = BallFlight {
        speed_kmh: row.number("speed_kmh")?,
        first_serve_pct: row.number("first_serve_pct")?,
        misses: None,
    };
    if ball != BallFlight::default() {
        w.set_ball(case, &ball).map_err(row.refuse())?;
    }
    let by = row.text("labelled_by").or(row.text("coach")).unwrap_or("table");
    for fault in row.list("faults") {
        let label = FaultLabel {
            fault: fault.to_owned(),
            state: LabelState::Added,
            severity: 0.5,
            by: by.to_owned(),
            note: None,
        };
        w.set_label(case, &label).map_err(row.refuse())?;
    }
    let Some(limiting) = row.text("limiting_fault") else {
        let first = COLUMNS[17..27].iter().find(|column| row.text(column).is_some());
        return match first {
            Some(column) => Err(row.bad(column, "a plan needs its limiting_fault")),
            None => Ok(()),
        };
    };
    let drills = row.list("drills").into_iter().map(|text| {
        let (drill, dose) = text.split_once(':').unwrap_or((text, ""));
        PlannedDrill { drill: drill.trim().to_owned(), dose: dose.trim().to_owned() }
    });
    let plan = Plan {
        id: PlanId(0),
        case,
        limiting_fault: limiting.to_owned(),
        drills: drills.collect(),
        start: row.date("plan_start")?.unwrap_or(date),
        review_on: row.date("plan_review_on")?,
        coach: row.text("coach").map(str::to_owned),
        note: row.text("plan_note").map(str::to_owned),
    };
    let plan = w.add_plan(&plan).map_err(row.refuse())?;
    added.plans += 1;
    let Some(date) = row.date("follow_up_date")? else {
        let first = COLUMNS[22..27].iter().find(|column| row.text(column).is_some());
        return match first {
            Some(column) => Err(row.bad(column, "a follow-up needs its day in follow_up_date")),
            None => Ok(()),
        };
    };
    let follow_up = FollowUp {
        id: FollowUpId(0),
        plan,
        date,
        serves: Vec::new(),
        ball: BallFlight {
            speed_kmh: row.number("follow_up_speed_kmh")?,
            first_serve_pct: row.number("follow_up_first_serve_pct")?,
            misses: None,
        },
        rating: row.parsed("rating", "-2 to 2")?,
        sessions_done: row.parsed("sessions_done", "a whole number")?,
        note: row.text("follow_up_note").map(str::to_owned),
    };
    w.add_follow_up(&follow_up).map_err(row.refuse())?;
    added.follow_ups += 1;
    Ok(())
}

fn add_player(
    w: &mut Writer<'_>,
    row: &TableRow,
    known: &mut HashMap<String, Player>,
    added: &mut TableAdded,
) -> Result<PlayerId, TableError> {
    let code = row.text("player").ok_or_else(|| row.bad("player", "every row needs a player"))?;
    let there = known.get(&code.to_lowercase()).cloned();
    let new = there.is_none();
    let mut player = there.clone().unwrap_or_else(|| Player::new(code));
    if let Some(name) = row.text("name") {
        player.name = Some(name.to_owned());
    }
    player.hand = row.named::<Side>("hand")?.or(player.hand);
    player.level = row.named::<Level>("level")?.or(player.level);
    player.born = row.date("born")?.or(player.born);
    player.stature_m = row.number("stature_m")?.or(player.stature_m);
    let squads = row.list("squads");
    if !squads.is_empty() {
        player.squads = squads.into_iter().map(str::to_owned).collect();
    }
    if let Some(coach) = row.text("coach") {
        player.coach = Some(coach.to_owned());
    }
    player.consent = Consent {
        keep: row.yes("consent_keep")?.unwrap_or(player.consent.keep),
        share: row.yes("consent_share")?.unwrap_or(player.consent.share),
        date: row.date("consent_date")?.or(player.consent.date),
    };
    if new {
        player.id = w.add_player(&player).map_err(row.refuse())?;
        added.players += 1;
    } else if there.as_ref() != Some(&player) {
        w.update_player(&player).map_err(row.refuse())?;
    }
    let id = player.id;
    known.insert(code.to_lowercase(), player);
    Ok(id)
}
