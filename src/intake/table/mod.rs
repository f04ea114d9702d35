//! Past records from a table (CSV): players and their cases, all of it or nothing.
//!
//! One row is one case with at most one plan and one follow-up; a row without `case_date` is a
//! player alone. A player may stand in many rows; later rows may leave the player's columns empty.
//! A second follow-up of a plan is a second row that names the same plan again.

mod row;
#[cfg(test)]
mod tests;

use std::collections::HashMap;

use thiserror::Error;

use self::row::{CASE, FOLLOW_UP, PLAN, TableRow, columns, read};
use crate::catalogue::Catalogue;
use crate::coaching::{
    BallReport, CheckInRefusal, ConsentRequest, DrillRequest, FollowUpRefusal, FollowUpRequest,
    Graded, LabelRefusal, LabelRequest, PlanRefusal, PlanRequest, PlayerRefusal, PlayerRequest,
    Question, Refusal, SquadsRequest, aches_from_typed, check_in_over, practiser_of,
};
use crate::library::{
    Author, Case, CaseId, CheckIn, ConsentBy, FollowUp, Grip, Level, Library, Plan, PlanId, Player,
    StoreError, WriteError, Writer, check_born, check_past, check_planned,
};
use crate::motion::Side;

/// What a table brought.
#[derive(Debug, Clone, PartialEq, Eq, Default, serde::Serialize)]
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
    /// What the coach may want to look at.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<TableNote>,
}

/// What a table says and the coach would have been asked about; it is stored as it was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableNote {
    /// Line of the file, the header being 1.
    pub row: u64,
    /// What would have been asked.
    pub what: Question,
}

impl std::fmt::Display for TableNote {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "table, row {}: {}; stored as it was", self.row, self.what.fact())
    }
}

impl serde::Serialize for TableNote {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// Columns of a plan's fields.
const PLAN_FIELDS: [(&str, &str); 5] = [
    ("note", "plan_note"),
    ("drill", "drills"),
    ("review_on", "plan_review_on"),
    ("start", "plan_start"),
    ("limiting_fault", "limiting_fault"),
];

/// Why a table was refused; nothing of it is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum TableError {
    /// The file is not a readable table.
    #[error("table: {0}; save it as CSV in UTF-8 with commas, like the template")]
    Csv(#[from] csv::Error),
    /// A column we do not know, or `player` is missing.
    #[error("table, header: {found}; compare it with the header of the template")]
    Header {
        /// What is wrong.
        found: String,
    },
    /// There is nothing below the header.
    #[error("table: no rows below the header; write one row for each session, then bring it again")]
    NoRows,
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
    /// What a row records breaks a rule of coaching.
    #[error("table, row {row}, column {column}: '{found}'; {source}")]
    Refused {
        /// Line of the file, the header being 1.
        row: u64,
        /// Column name.
        column: &'static str,
        /// What was found.
        found: String,
        /// The rule.
        source: Box<Refusal>,
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
    let example: [(&str, &str); 47] = [
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
        ("consent_by", "guardian"),
        ("case_date", "2026-02-01"),
        ("case_note", "toss drifts"),
        ("speed_kmh", "118"),
        ("first_serve_pct", "48"),
        ("net", "7"),
        ("long", "2"),
        ("wide", "1"),
        ("index_knuckle", "2"),
        ("heel_pad", "2"),
        ("pain", "shoulder=2@afterwards; knee=1"),
        ("injuries", "sprained ankle 2025"),
        ("serves_a_week", "120"),
        ("tennis_hours", "6"),
        ("sport_hours", "9"),
        ("attempt", "first"),
        ("court", "deuce"),
        ("target", "wide"),
        ("wide_left", "1"),
        ("wide_right", "0"),
        ("double_faults", "4"),
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
        self.table(csv, true)
    }

    /// What [`Library::add_table`] would do; nothing is stored.
    ///
    /// # Errors
    /// As there.
    pub fn try_table(&mut self, csv: &[u8]) -> Result<TableAdded, TableError> {
        self.table(csv, false)
    }

    fn table(&mut self, csv: &[u8], keep: bool) -> Result<TableAdded, TableError> {
        let rows = read(csv)?;
        // What the rules are held against is read within the turn.
        let turn = self.take_turn()?;
        let catalogue = self.catalogue().map_err(WriteError::from)?;
        let mut known = Known::default();
        for player in self.players().map_err(WriteError::from)? {
            let code = player.code.to_lowercase();
            if rows
                .iter()
                .any(|row| row.text("player").map(str::to_lowercase) == Some(code.clone()))
            {
                for case in self.cases(Some(player.id)).map_err(WriteError::from)? {
                    let told = self.check_in(case.id).map_err(WriteError::from)?;
                    known.check_ins.insert(case.id, told);
                    known.cases.insert(case.id, case);
                }
            }
            known.players.insert(code, player);
        }
        // The store's error type can not carry ours, so the first refusal waits outside; so does what
        // is rolled back.
        let (mut refused, mut tried) = (None, None);
        let result = self.write_in(&turn, |w| {
            let mut added = TableAdded::default();
            for row in &rows {
                if let Err(error) = add_row(w, &catalogue, row, &mut known, &mut added) {
                    refused = Some(error);
                    let what = format!("row {}", row.line);
                    return Err(StoreError::NoSuch { what }.into());
                }
            }
            if keep {
                return Ok(added);
            }
            tried = Some(added);
            Err(StoreError::NoSuch { what: "anything to keep".to_owned() }.into())
        });
        match (result, refused, tried) {
            (_, Some(error), _) => Err(error),
            (Ok(added), ..) | (Err(_), None, Some(added)) => Ok(added),
            (Err(error), None, None) => Err(error.into()),
        }
    }
}

/// What is in the library, and what the rows so far added to it.
#[derive(Default)]
struct Known {
    /// By code in small letters.
    players: HashMap<String, Player>,
    cases: HashMap<CaseId, Case>,
    check_ins: HashMap<CaseId, CheckIn>,
}

fn add_row(
    w: &mut Writer<'_>,
    catalogue: &Catalogue,
    row: &TableRow,
    known: &mut Known,
    added: &mut TableAdded,
) -> Result<(), TableError> {
    added.rows += 1;
    let player = add_player(w, row, known, added)?;
    let Some(date) = row.day("case_date", check_past)? else {
        row.none_of(&CASE, "a case needs its day in case_date")?;
        return no_plan(row);
    };
    if let Some(born) = player.born {
        check_born("born", born, Some(date)).map_err(row.refuse(&[]))?;
    }
    let (id, there) = w.case_of_day(player.id, date).map_err(row.refuse(&[]))?;
    added.cases += usize::from(!there);
    let case = known.cases.entry(id).or_insert_with(|| Case::new(id, player.id, date));
    judge(w, catalogue, row, case)?;
    check_in(w, row, case, known.check_ins.entry(id).or_default())?;
    let Some(plan) = add_plan(w, catalogue, row, &player, case, added)? else { return Ok(()) };
    add_follow_up(w, row, plan, case, added)
}

fn no_plan(row: &TableRow) -> Result<(), TableError> {
    row.none_of(&PLAN, "a plan needs its limiting_fault")?;
    row.none_of(&FOLLOW_UP, "a follow-up needs the plan it belongs to: its limiting_fault")
}

/// Note, ball, grip and faults of a case.
fn judge(
    w: &mut Writer<'_>,
    catalogue: &Catalogue,
    row: &TableRow,
    case: &mut Case,
) -> Result<(), TableError> {
    if let Some(note) = row.text("case_note") {
        let coach = row.text("coach").map(Author::coach).transpose();
        coach
            .and_then(|coach| w.add_note(case.id, note, coach.as_ref()))
            .map_err(row.refuse(&[("note", "case_note"), ("by", "coach")]))?;
    }
    let ball = ball(row, ["speed_kmh", "first_serve_pct", "net", "long", "wide"])?.over(case.ball);
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
    let (column, by) = match (row.text("labelled_by"), row.text("coach")) {
        (Some(by), _) => ("labelled_by", by),
        (None, Some(by)) => ("coach", by),
        (None, None) => ("labelled_by", "table"),
    };
    let columns = [("severity", "faults"), ("fault", "faults"), ("by", column)];
    let refused = |refusal: LabelRefusal| match refusal {
        LabelRefusal::Write(error) => row.refuse(&columns)(error),
        LabelRefusal::ProgramsVoice => row.refused(column, refusal),
        _ => row.refused("faults", refusal),
    };
    let graded = row.list("faults").into_iter().map(Graded::from_typed);
    let add: Vec<Graded> = graded.collect::<Result<_, _>>().map_err(refused)?;
    if add.is_empty() {
        return Ok(());
    }
    let request = LabelRequest { add, ..LabelRequest::new(case.id, by) };
    for label in request.check(catalogue, case).map_err(refused)? {
        w.set_label(case.id, &label).map_err(row.refuse(&columns))?;
        case.labels.retain(|known| (&known.fault, &known.by) != (&label.fault, &label.by));
        case.labels.push(label);
    }
    Ok(())
}

/// What the player told, in place of what was known; empty cells leave it.
fn check_in(
    w: &mut Writer<'_>,
    row: &TableRow,
    case: &Case,
    known: &mut CheckIn,
) -> Result<(), TableError> {
    let refused =
        |refusal: CheckInRefusal| row.refused(refusal.field(), LabelRefusal::from(refusal));
    let said = CheckIn {
        pain: aches_from_typed(row.list("pain")).map_err(refused)?,
        injuries: row.text("injuries").map(str::to_owned),
        serves_a_week: row.whole("serves_a_week")?,
        tennis_hours: row.number("tennis_hours")?,
        sport_hours: row.number("sport_hours")?,
        attempt: row.named("attempt")?,
        court: row.named("court")?,
        target: row.named("target")?,
        wide_left: row.whole("wide_left")?,
        wide_right: row.whole("wide_right")?,
        double_faults: row.whole("double_faults")?,
        by: None,
    };
    if said.is_empty() {
        return Ok(());
    }
    let by = row.text("coach").map(Author::coach).transpose();
    let said = CheckIn { by: by.map_err(row.refuse(&[("by", "coach")]))?, ..said };
    let told = check_in_over(&said, known.clone(), &case.ball).map_err(refused)?;
    if told != *known {
        w.set_check_in(case.id, &told).map_err(row.refuse(&[]))?;
        *known = told;
    }
    Ok(())
}

/// The row's plan: joined, brought up to date or made; `None` if it names none.
fn add_plan(
    w: &mut Writer<'_>,
    catalogue: &Catalogue,
    row: &TableRow,
    player: &Player,
    case: &mut Case,
    added: &mut TableAdded,
) -> Result<Option<PlanId>, TableError> {
    let Some(limiting) = row.text("limiting_fault") else {
        return no_plan(row).map(|()| None);
    };
    let refused = |refusal: PlanRefusal| match refusal {
        PlanRefusal::Write(error) => row.refuse(&PLAN_FIELDS)(error),
        PlanRefusal::UnknownFault(_) | PlanRefusal::ThirdPlan { .. } => {
            row.refused("limiting_fault", refusal)
        }
        _ => row.refused("drills", refusal),
    };
    let drills = row.list("drills").into_iter().map(|entry| DrillRequest::from_typed(entry, ':'));
    let mut request = PlanRequest {
        drills: drills.collect::<Result<_, _>>().map_err(refused)?,
        start: row.day("plan_start", check_planned)?,
        review_on: row.day("plan_review_on", check_planned)?,
        coach: row.text("coach").map(str::to_owned),
        note: row.text("plan_note").map(str::to_owned),
        ..PlanRequest::new(case.id, limiting)
    };
    // What hurt then nobody wrote down: only the age is known.
    let practiser = practiser_of(player, request.start.unwrap_or(case.date), &[], &[]);
    let (plan, questions) = request.check(catalogue, case, &practiser).map_err(refused)?;
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
            ended: known.ended.clone(),
            ..plan
        };
        if merged != *known {
            w.update_plan(&merged).map_err(row.refuse(&PLAN_FIELDS))?;
            *known = merged;
        }
        return Ok(Some(known.id));
    }
    // What was planned then was planned: nobody can be asked now, so it is told.
    added.notes.extend(
        questions.iter().map(|question| TableNote { row: row.line, what: question.clone() }),
    );
    request.sure = questions;
    let plan = request.check_new(catalogue, case, &practiser).map_err(refused)?;
    let id = w.add_plan(&plan).map_err(row.refuse(&PLAN_FIELDS))?;
    case.plans.push(Plan { id, ..plan });
    added.plans += 1;
    Ok(Some(id))
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
    let request = FollowUpRequest {
        ball: ball(row, results)?,
        rating: row.parsed("rating", "-2 to 2")?,
        sessions_done: row.whole("sessions_done")?,
        note: row.text("follow_up_note").map(str::to_owned),
        ..FollowUpRequest::new(plan, date)
    };
    let follow_up = request.check().map_err(|refusal| match refusal {
        FollowUpRefusal::Write(error) => row.refuse(&[("date", "follow_up_date")])(error),
        _ => row.refused("follow_up_date", refusal),
    })?;
    let there = case.follow_ups.iter().find(|known| known.plan == plan && known.date == date);
    if let Some(known) = there {
        let same = FollowUp { id: known.id, serves: known.serves.clone(), ..follow_up } == *known;
        return if same {
            Ok(())
        } else {
            Err(row.bad(
                "follow_up_date",
                format!("the plan already has a follow-up on that day, {}; keep one", known.id),
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

/// What the ball did by the columns speed, first serves, net, long and wide.
fn ball(
    row: &TableRow,
    [speed, first, net, long, wide]: [&'static str; 5],
) -> Result<BallReport, TableError> {
    Ok(BallReport {
        speed_kmh: row.number(speed)?,
        first_serve_pct: row.number(first)?,
        net: row.whole(net)?,
        long: row.whole(long)?,
        wide: row.whole(wide)?,
    })
}

fn add_player(
    w: &mut Writer<'_>,
    row: &TableRow,
    known: &mut Known,
    added: &mut TableAdded,
) -> Result<Player, TableError> {
    let code = row.text("player").ok_or_else(|| row.bad("player", "every row needs a player"))?;
    let there = known.players.get(&code.to_lowercase()).cloned();
    let squads = row.list("squads").into_iter().map(str::to_owned).collect::<Vec<_>>();
    let request = PlayerRequest {
        name: row.text("name").map(str::to_owned),
        hand: row.named::<Side>("hand")?,
        level: row.named::<Level>("level")?,
        born: row.date("born")?,
        stature_m: row.number("stature_m")?,
        // An empty cell leaves what was known.
        squads: match squads.is_empty() {
            true => SquadsRequest::Too(squads),
            false => SquadsRequest::Only(squads),
        },
        coach: row.text("coach").map(str::to_owned),
        consent: ConsentRequest {
            keep: row.yes("consent_keep")?,
            share: row.yes("consent_share")?,
            date: row.date("consent_date")?,
            by: row.named::<ConsentBy>("consent_by")?,
        },
        ..PlayerRequest::new(code)
    };
    let columns = [("code", "player"), ("squad", "squads")];
    // A birth date that is news has to lie before everything recorded.
    let first = there.as_ref().filter(|there| there.born != request.born).and_then(|there| {
        let cases = known.cases.values().filter(|case| case.player == there.id);
        cases.map(|case| case.date).min()
    });
    let mut player = request.check(there.as_ref(), first).map_err(|refusal| match refusal {
        PlayerRefusal::Write(error) => row.refuse(&columns)(error),
        refusal @ PlayerRefusal::JuniorAlone { .. } => row.refused("consent_by", refusal),
        refusal => row.refused("consent_share", refusal),
    })?;
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
    known.players.insert(code.to_lowercase(), player.clone());
    Ok(player)
}
