//! Past records from a table (CSV): players and their cases, all of it or nothing.
//!
//! One row is one case with at most one plan and one follow-up; a row without `case_date` is a
//! player alone. A player may stand in many rows; later rows may leave the player's columns empty.
//! A second follow-up of a plan is a second row that names the same plan again.

mod row;
#[cfg(test)]
mod tests;

use std::collections::HashMap;

use jiff::civil::Date;
use thiserror::Error;

use self::row::{CASE, FOLLOW_UP, PLAN, TableRow, columns, read};
use crate::catalogue::{Catalogue, Place};
use crate::library::{
    BallFlight, Case, CaseId, Consent, FaultLabel, FollowUp, FollowUpId, Grip, LabelState, Level,
    Library, Misses, Named, Plan, PlanId, PlannedDrill, Player, StoreError, WriteError, Writer,
    check_born, check_past, check_planned,
};
use crate::motion::Side;

/// What a table brought.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
pub struct TableAdded {
    /// Rows read.
    pub rows: usize,
    /// Players that were not there before.
    pub players: usize,
    /// Cases that were not there before.
    pub cases: usize,
    /// Plans that were not there before.
    pub plans: usize,
    /// Follow-ups that were not there before.
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
    #[error("table, header: {found}; columns are {}", columns().collect::<Vec<_>>().join(", "))]
    Header {
        /// What is wrong.
        found: String,
    },
    /// A row has more or fewer cells than the header.
    #[error(
        "table, row {row}: {found} cells, the header has {expected}; put cells that hold a comma in quotes"
    )]
    Cells {
        /// Line of the file, the header being 1.
        row: u64,
        /// Cells of the row.
        found: usize,
        /// Columns of the header.
        expected: usize,
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
/// assert!(precedent::intake::table_template().starts_with("player,name,hand,"));
/// ```
#[must_use]
pub fn table_template() -> String {
    let example: [(&str, &str); 35] = [
        ("player", "p01"),
        ("hand", "left"),
        ("level", "club"),
        ("born", "2012-05-03"),
        ("stature_m", "1.58"),
        ("squads", "girls; monday"),
        ("coach", "anna"),
        ("consent_keep", "yes"),
        ("consent_share", "no"),
        ("consent_date", "2026-01-10"),
        ("case_date", "2026-02-01"),
        ("case_note", "toss drifts"),
        ("speed_kmh", "118"),
        ("first_serve_pct", "48"),
        ("net", "7"),
        ("long", "2"),
        ("wide", "1"),
        ("index_knuckle", "2"),
        ("heel_pad", "2"),
        ("faults", "toss_behind=0.7; wild_toss"),
        ("labelled_by", "anna"),
        ("limiting_fault", "toss_behind"),
        ("drills", "window_toss: 3 x 10 daily @ off_court"),
        ("plan_start", "2026-02-02"),
        ("plan_review_on", "2026-03-02"),
        ("plan_note", "one basket a session"),
        ("follow_up_date", "2026-03-03"),
        ("follow_up_speed_kmh", "121"),
        ("follow_up_first_serve_pct", "55"),
        ("follow_up_net", "4"),
        ("follow_up_long", "2"),
        ("follow_up_wide", "1"),
        ("rating", "1"),
        ("sessions_done", "12"),
        ("follow_up_note", "calmer toss"),
    ];
    let later = [("player", "p01"), ("case_date", "2026-04-01"), ("case_note", "second review")];
    let line = |cells: &[(&str, &str)]| {
        let cell = |column| cells.iter().find(|(name, _)| *name == column).map_or("", |c| c.1);
        columns().map(cell).collect::<Vec<_>>().join(",")
    };
    let header = columns().collect::<Vec<_>>().join(",");
    format!("{header}\n{}\n{}\n", line(&example), line(&later))
}

impl Library {
    /// Adds the players and cases of a CSV table: all of it, or on any error nothing.
    ///
    /// A player that is there already is joined by code; what the row states replaces what was
    /// known, empty cells leave it. Cases join by player and day, plans of a case by limiting
    /// fault and first day, follow-ups of a plan by day, so that a table added twice adds nothing
    /// twice. Lists (`squads`, `faults`, `drills`) are separated by `;`, a fault may carry its
    /// severity after `=`, a drill its dose after `:`
    /// and its place after `@`. Faults and drills are the catalogue's.
    ///
    /// # Errors
    /// [`TableError`] with row and column.
    pub fn add_table(&mut self, csv: &[u8]) -> Result<TableAdded, TableError> {
        let rows = read(csv)?;
        let catalogue = self.catalogue().map_err(WriteError::from)?;
        let mut known = Known::default();
        for player in self.players().map_err(WriteError::from)? {
            let code = player.code.to_lowercase();
            if rows
                .iter()
                .any(|row| row.text("player").map(str::to_lowercase) == Some(code.clone()))
            {
                for case in self.cases(Some(player.id)).map_err(WriteError::from)? {
                    known.cases.insert(case.id, case);
                }
            }
            known.players.insert(code, player);
        }
        // The store's error type can not carry ours, so the first refusal waits outside.
        let mut refused = None;
        let result = self.write(|w| {
            let mut added = TableAdded::default();
            for row in &rows {
                if let Err(error) = add_row(w, &catalogue, row, &mut known, &mut added) {
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

/// What is in the library, and what the rows so far added to it.
#[derive(Default)]
struct Known {
    /// By code in small letters.
    players: HashMap<String, Player>,
    cases: HashMap<CaseId, Case>,
}

fn add_row(
    w: &mut Writer<'_>,
    catalogue: &Catalogue,
    row: &TableRow,
    known: &mut Known,
    added: &mut TableAdded,
) -> Result<(), TableError> {
    added.rows += 1;
    let player = add_player(w, row, &mut known.players, added)?;
    let Some(date) = row.day("case_date", check_past)? else {
        row.none_of(&CASE, "a case needs its day in case_date")?;
        return no_plan(row);
    };
    if let Some(born) = player.born {
        check_born("born", born, Some(date)).map_err(row.refuse(&[]))?;
    }
    let (id, there) = w.case_of_day(player.id, date).map_err(row.refuse(&[]))?;
    added.cases += usize::from(!there);
    let case = known.cases.entry(id).or_insert_with(|| Case {
        id,
        player: player.id,
        date,
        serves: Vec::new(),
        labels: Vec::new(),
        plans: Vec::new(),
        follow_ups: Vec::new(),
        grip: None,
        ball: BallFlight::default(),
        note: None,
    });
    judge(w, catalogue, row, case)?;
    let Some(plan) = add_plan(w, catalogue, row, case, added)? else { return Ok(()) };
    add_follow_up(w, row, plan, case, added)
}

fn no_plan(row: &TableRow) -> Result<(), TableError> {
    row.none_of(&PLAN, "a plan needs its limiting_fault")?;
    row.none_of(&FOLLOW_UP, "a follow-up needs the plan it answers: its limiting_fault")
}

/// Note, ball, grip and faults of a case.
fn judge(
    w: &mut Writer<'_>,
    catalogue: &Catalogue,
    row: &TableRow,
    case: &mut Case,
) -> Result<(), TableError> {
    if let Some(note) = row.text("case_note") {
        w.set_note(case.id, Some(note)).map_err(row.refuse(&[("note", "case_note")]))?;
    }
    let ball = ball(row, ["speed_kmh", "first_serve_pct", "net", "long", "wide"], case.ball)?;
    if ball != case.ball {
        w.set_ball(case.id, &ball).map_err(row.refuse(&[]))?;
        case.ball = ball;
    }
    let grip = Grip {
        index_knuckle: row
            .whole("index_knuckle")?
            .or(case.grip.and_then(|grip| grip.index_knuckle)),
        heel_pad: row.whole("heel_pad")?.or(case.grip.and_then(|grip| grip.heel_pad)),
    };
    if grip != case.grip.unwrap_or(Grip { index_knuckle: None, heel_pad: None }) {
        for (column, bevel) in [("index_knuckle", grip.index_knuckle), ("heel_pad", grip.heel_pad)]
        {
            if bevel.is_some_and(|bevel| !(1..=8).contains(&bevel)) {
                return Err(row.bad(column, "bevel 1 to 8"));
            }
        }
        w.set_grip(case.id, Some(grip)).map_err(row.refuse(&[]))?;
        case.grip = Some(grip);
    }
    let by = row.text("labelled_by").or(row.text("coach")).unwrap_or("table");
    for entry in row.list("faults") {
        let (fault, severity) = match entry.split_once('=') {
            None => (entry, 0.5),
            Some((fault, number)) => match number.trim().parse::<f64>() {
                Ok(severity) => (fault.trim(), severity),
                Err(_) => return Err(row.bad("faults", "a severity is 0 to 1, like toss_low=0.7")),
            },
        };
        known_fault(catalogue, row, "faults", fault)?;
        let label = FaultLabel {
            fault: fault.to_owned(),
            state: LabelState::Added,
            severity,
            by: by.to_owned(),
            note: None,
        };
        let columns = [("severity", "faults"), ("fault", "faults"), ("by", "labelled_by")];
        w.set_label(case.id, &label).map_err(row.refuse(&columns))?;
    }
    Ok(())
}

/// The row's plan: joined, brought up to date or made; `None` if it names none.
fn add_plan(
    w: &mut Writer<'_>,
    catalogue: &Catalogue,
    row: &TableRow,
    case: &mut Case,
    added: &mut TableAdded,
) -> Result<Option<PlanId>, TableError> {
    let Some(limiting) = row.text("limiting_fault") else {
        return no_plan(row).map(|()| None);
    };
    known_fault(catalogue, row, "limiting_fault", limiting)?;
    let mut drills = Vec::new();
    for entry in row.list("drills") {
        let (told, place) = match entry.rsplit_once('@') {
            Some((told, place)) => (told, Some(place_named(row, place.trim())?)),
            None => (entry, None),
        };
        let (drill, dose) = told.split_once(':').unwrap_or((told, ""));
        let Some(drill) = catalogue.drill(drill.trim()) else {
            let fitting: Vec<&str> =
                catalogue.drills_for(limiting).iter().map(|drill| drill.id.as_str()).collect();
            let rule = format!(
                "no drill is called '{}'; for {limiting} take from {}",
                drill.trim(),
                fitting.join(", ")
            );
            return Err(row.bad("drills", rule));
        };
        let dose = Some(dose.trim()).filter(|dose| !dose.is_empty()).unwrap_or(&drill.dose);
        drills.push(PlannedDrill { drill: drill.id.clone(), dose: dose.to_owned(), place });
    }
    let plan = Plan {
        id: PlanId(0),
        case: case.id,
        limiting_fault: limiting.to_owned(),
        drills,
        start: row.day("plan_start", check_planned)?.unwrap_or(case.date),
        review_on: row.day("plan_review_on", check_planned)?,
        coach: row.text("coach").map(str::to_owned),
        note: row.text("plan_note").map(str::to_owned),
    };
    let columns = [("note", "plan_note"), ("drill", "drills"), ("review_on", "plan_review_on")];
    let refuse = row.refuse(&columns);
    let same = |known: &&mut Plan| {
        known.limiting_fault == plan.limiting_fault && known.start == plan.start
    };
    if let Some(known) = case.plans.iter_mut().find(same) {
        let merged = Plan {
            id: known.id,
            drills: if plan.drills.is_empty() { known.drills.clone() } else { plan.drills },
            review_on: plan.review_on.or(known.review_on),
            coach: plan.coach.or_else(|| known.coach.clone()),
            note: plan.note.or_else(|| known.note.clone()),
            ..plan
        };
        if merged != *known {
            w.update_plan(&merged).map_err(refuse)?;
            *known = merged;
        }
        return Ok(Some(known.id));
    }
    let id = w.add_plan(&plan).map_err(refuse)?;
    case.plans.push(Plan { id, ..plan });
    added.plans += 1;
    Ok(Some(id))
}

fn place_named(row: &TableRow, name: &str) -> Result<Place, TableError> {
    Place::from_typed(name).ok_or_else(|| {
        row.bad("drills", format!("'{name}' is no place; after @ comes {}", Place::names()))
    })
}

fn add_follow_up(
    w: &mut Writer<'_>,
    row: &TableRow,
    plan: PlanId,
    case: &mut Case,
    added: &mut TableAdded,
) -> Result<(), TableError> {
    let Some(date) = row.day("follow_up_date", check_past)? else {
        return row.none_of(&FOLLOW_UP, "a follow-up needs its day in follow_up_date");
    };
    let results = [
        "follow_up_speed_kmh",
        "follow_up_first_serve_pct",
        "follow_up_net",
        "follow_up_long",
        "follow_up_wide",
    ];
    let follow_up = FollowUp {
        id: FollowUpId(0),
        plan,
        date,
        serves: Vec::new(),
        ball: ball(row, results, BallFlight::default())?,
        rating: row.parsed("rating", "-2 to 2")?,
        sessions_done: row.whole("sessions_done")?,
        note: row.text("follow_up_note").map(str::to_owned),
    };
    if !follow_up.says_something() {
        return Err(row.bad(
            "follow_up_date",
            "a follow-up needs a result beside its day: speed, first serves, misses, rating, \
             sessions_done or a note",
        ));
    }
    let there = case.follow_ups.iter().find(|known| known.plan == plan && known.date == date);
    if let Some(known) = there {
        let same = FollowUp { id: known.id, serves: known.serves.clone(), ..follow_up } == *known;
        return if same {
            Ok(())
        } else {
            Err(row.bad(
                "follow_up_date",
                format!("the plan has another follow-up of that day, {}; keep one", known.id),
            ))
        };
    }
    let columns = [
        ("speed_kmh", results[0]),
        ("first_serve_pct", results[1]),
        ("date", "follow_up_date"),
        ("note", "follow_up_note"),
    ];
    let id = w.add_follow_up(&follow_up).map_err(row.refuse(&columns))?;
    case.follow_ups.push(FollowUp { id, ..follow_up });
    added.follow_ups += 1;
    Ok(())
}

/// What the ball did by the columns speed, first serves, net, long and wide, over what was known.
fn ball(
    row: &TableRow,
    [speed, first, net, long, wide]: [&'static str; 5],
    known: BallFlight,
) -> Result<BallFlight, TableError> {
    let counts = [row.whole(net)?, row.whole(long)?, row.whole(wide)?];
    let before = known.misses.unwrap_or_default();
    let misses = counts.iter().any(Option::is_some).then(|| Misses {
        net: counts[0].unwrap_or(before.net),
        long: counts[1].unwrap_or(before.long),
        wide: counts[2].unwrap_or(before.wide),
    });
    Ok(BallFlight {
        speed_kmh: row.number(speed)?.or(known.speed_kmh),
        first_serve_pct: row.number(first)?.or(known.first_serve_pct),
        misses: misses.or(known.misses),
    })
}

fn known_fault(
    catalogue: &Catalogue,
    row: &TableRow,
    column: &'static str,
    fault: &str,
) -> Result<(), TableError> {
    if catalogue.fault(fault).is_some() {
        return Ok(());
    }
    let known: Vec<&str> = catalogue.faults().map(|fault| fault.id.as_str()).collect();
    Err(row.bad(column, format!("no fault is called '{fault}'; take from {}", known.join(", "))))
}

fn add_player(
    w: &mut Writer<'_>,
    row: &TableRow,
    known: &mut HashMap<String, Player>,
    added: &mut TableAdded,
) -> Result<Player, TableError> {
    let code = row.text("player").ok_or_else(|| row.bad("player", "every row needs a player"))?;
    let there = known.get(&code.to_lowercase()).cloned();
    let mut player = there.clone().unwrap_or_else(|| Player::new(code));
    if let Some(name) = row.text("name") {
        player.name = Some(name.to_owned());
    }
    player.hand = row.named::<Side>("hand")?.or(player.hand);
    player.level = row.named::<Level>("level")?.or(player.level);
    let born = |column, day: Date| check_born(column, day, None);
    player.born = row.day("born", born)?.or(player.born);
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
        date: row.day("consent_date", check_past)?.or(player.consent.date),
    };
    let columns = [("code", "player"), ("squad", "squads")];
    match &there {
        None => {
            player.id = w.add_player(&player).map_err(row.refuse(&columns))?;
            added.players += 1;
        }
        Some(there) if *there != player => {
            w.update_player(&player).map_err(row.refuse(&columns))?;
        }
        Some(_) => {}
    }
    known.insert(code.to_lowercase(), player.clone());
    Ok(player)
}
