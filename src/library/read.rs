//! Everything that is read from the store.

use std::ops::ControlFlow;

use jiff::civil::Date;
use rusqlite::types::Type;
use rusqlite::{OptionalExtension, Row};

use super::stored::{RecordingBytes, ServeBytes, ServeColumns, read_curve, read_readings};
use super::{
    Author, BallFlight, Case, CaseId, Consent, Damage, Ending, FaultLabel, FollowUp, FollowUpId,
    Grip, Library, Misses, Named, Note, Plan, PlanEnd, PlanId, PlannedDrill, Player, PlayerId,
    RecordingId, RecordingRow, ServeId, ServeRow, ServeType, Setting, StoreError,
};
use crate::motion::{Capture, Recording, Side, View};
use crate::serve::{Curve, ServeReading};

/// What is known about a serve without reading its curve: cheap to list by the thousand.
#[derive(Debug, Clone, PartialEq)]
pub struct ServeHead {
    /// Id.
    pub id: ServeId,
    /// Its recording.
    pub recording: RecordingId,
    /// Its case.
    pub case: CaseId,
    /// Whose.
    pub player: PlayerId,
    /// Code of the player.
    pub player_code: String,
    /// Day it was recorded.
    pub date: Date,
    /// The hand that held the racket.
    pub hand: Side,
    /// How joints were obtained.
    pub capture: Capture,
    /// Camera view.
    pub view: Option<View>,
    /// What the recording shows.
    pub setting: Option<Setting>,
    /// Intended ball.
    pub serve_type: Option<ServeType>,
    /// Channel list of its curve.
    pub channel_set: String,
}

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

const HEADS: &str = "SELECT s.id, s.recording, s.case_id, s.player, p.code, r.date, s.hand,
        r.capture, r.view, r.setting, r.serve_type, s.channel_set
    FROM serves s JOIN recordings r ON r.id = s.recording JOIN players p ON p.id = s.player";
const PLAYERS: &str = "SELECT id, code, name, hand, level, born, stature_m, coach, consent_keep,
        consent_share, consent_date
    FROM players";
const RECORDINGS: &str = "SELECT id, player, file_name, content_hash, date, capture, format, view,
        rate_hz, setting, serve_type
    FROM recordings";
const SERVES: &str = "SELECT s.id, s.recording, s.case_id, s.player, s.hand, s.channel_set,
        s.channels, d.curve, d.curve_sum, d.figures, d.figures_sum, d.details
    FROM serves s JOIN serve_data d ON d.serve = s.id";

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

    /// The recording's row.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn recording(&self, id: RecordingId) -> Result<RecordingRow, StoreError> {
        self.connection
            .prepare_cached(&format!("{RECORDINGS} WHERE id = ?1"))
            .and_then(|mut statement| statement.query_row([id.0], recording_row).optional())
            .map_err(StoreError::sql("reading a recording"))?
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })
    }

    /// The recording stored under this content hash, if any.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn recording_by_hash(&self, hash: &str) -> Result<Option<RecordingRow>, StoreError> {
        self.connection
            .prepare_cached(&format!("{RECORDINGS} WHERE content_hash = ?1"))
            .and_then(|mut statement| statement.query_row([hash], recording_row).optional())
            .map_err(StoreError::sql("looking for a recording"))
    }

    /// All recordings of a player (`None`: of everybody), by day and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn recordings(&self, player: Option<PlayerId>) -> Result<Vec<RecordingRow>, StoreError> {
        self.list(
            "listing recordings",
            &format!("{RECORDINGS} WHERE ?1 IS NULL OR player = ?1 ORDER BY date, id"),
            [player.map(|p| p.0)],
            recording_row,
        )
    }

    /// The recording itself, as it was read; positions to `f32`.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; [`StoreError::Damaged`].
    pub fn joints(&self, id: RecordingId) -> Result<Recording, StoreError> {
        let bytes = self
            .connection
            .prepare_cached(
                "SELECT head, times, times_sum, positions, positions_sum, confidence,
                    confidence_sum
                 FROM recording_joints WHERE recording = ?1",
            )
            .and_then(|mut statement| {
                statement
                    .query_row([id.0], |row| {
                        Ok(RecordingBytes {
                            head: row.get(0)?,
                            times: row.get(1)?,
                            times_sum: row.get(2)?,
                            positions: row.get(3)?,
                            positions_sum: row.get(4)?,
                            confidence: row.get(5)?,
                            confidence_sum: row.get(6)?,
                        })
                    })
                    .optional()
            })
            .map_err(StoreError::sql("reading a recording"))?
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })?;
        bytes
            .recording()
            .map_err(|why| StoreError::Damaged { what: format!("joints of {id}"), why })
    }

    /// The serve with this id.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; [`StoreError::Damaged`].
    pub fn serve(&self, id: ServeId) -> Result<ServeRow, StoreError> {
        self.connection
            .prepare_cached(&format!("{SERVES} WHERE s.id = ?1"))
            .and_then(|mut statement| statement.query_row([id.0], stored_serve).optional())
            .map_err(StoreError::sql("reading a serve"))?
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })?
            .into_row()
    }

    /// Only the curve of a serve.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; [`StoreError::Damaged`].
    pub fn curve(&self, id: ServeId) -> Result<Curve, StoreError> {
        let (channel_set, channels, bytes, sum) = self
            .connection
            .prepare_cached(
                "SELECT s.channel_set, s.channels, d.curve, d.curve_sum
                 FROM serves s JOIN serve_data d ON d.serve = s.id WHERE s.id = ?1",
            )
            .and_then(|mut statement| {
                statement
                    .query_row([id.0], |row| {
                        Ok((
                            row.get::<_, String>(0)?,
                            count(row, 1)?,
                            row.get::<_, Vec<u8>>(2)?,
                            row.get::<_, i64>(3)?,
                        ))
                    })
                    .optional()
            })
            .map_err(StoreError::sql("reading a curve"))?
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })?;
        let values = read_curve(&bytes, channels, sum)
            .map_err(|why| StoreError::Damaged { what: format!("curve of {id}"), why })?;
        Ok(Curve { channel_set, channels, values })
    }

    /// Only the readings of a serve: cheap beside [`Library::serve`].
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; [`StoreError::Damaged`].
    pub fn readings(&self, id: ServeId) -> Result<Vec<ServeReading>, StoreError> {
        let details: Vec<u8> = self
            .connection
            .prepare_cached("SELECT details FROM serve_data WHERE serve = ?1")
            .and_then(|mut statement| statement.query_row([id.0], |row| row.get(0)).optional())
            .map_err(StoreError::sql("reading a serve's measures"))?
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })?;
        read_readings(&details)
            .map_err(|why| StoreError::Damaged { what: format!("measures of {id}"), why })
    }

    /// The heads of all serves, by id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn serve_heads(&self) -> Result<Vec<ServeHead>, StoreError> {
        self.list("listing serves", &format!("{HEADS} ORDER BY s.id"), [], serve_head)
    }

    /// The head of one serve.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn serve_head(&self, id: ServeId) -> Result<ServeHead, StoreError> {
        self.connection
            .prepare_cached(&format!("{HEADS} WHERE s.id = ?1"))
            .and_then(|mut statement| statement.query_row([id.0], serve_head).optional())
            .map_err(StoreError::sql("reading a serve"))?
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })
    }

    /// Ids of a player's serves, by day and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn serves_of(&self, player: PlayerId) -> Result<Vec<ServeId>, StoreError> {
        self.list(
            "listing serves",
            "SELECT s.id FROM serves s JOIN recordings r ON r.id = s.recording
             WHERE s.player = ?1 ORDER BY r.date, s.id",
            [player.0],
            |row| row.get(0).map(ServeId),
        )
    }

    /// Ids of a recording's serves, in order of time.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn serves_in(&self, recording: RecordingId) -> Result<Vec<ServeId>, StoreError> {
        self.list(
            "listing serves",
            "SELECT id FROM serves WHERE recording = ?1 ORDER BY place",
            [recording.0],
            |row| row.get(0).map(ServeId),
        )
    }

    /// Hands every serve to `visit`, by id, one at a time, until it breaks.
    ///
    /// Memory stays at one serve however many there are.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] at the first damaged serve.
    pub fn each_serve(
        &self,
        mut visit: impl FnMut(ServeRow) -> ControlFlow<()>,
    ) -> Result<(), StoreError> {
        let sql = || StoreError::sql("reading serves");
        let mut statement =
            self.connection.prepare_cached(&format!("{SERVES} ORDER BY s.id")).map_err(sql())?;
        let mut rows = statement.query([]).map_err(sql())?;
        while let Some(row) = rows.next().map_err(sql())? {
            if visit(stored_serve(row).map_err(sql())?.into_row()?).is_break() {
                break;
            }
        }
        Ok(())
    }

    /// Ids of all cases of a player (`None`: of everybody), by day and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn case_ids(&self, player: Option<PlayerId>) -> Result<Vec<CaseId>, StoreError> {
        self.list(
            "listing cases",
            "SELECT id FROM cases WHERE ?1 IS NULL OR player = ?1 ORDER BY date, id",
            [player.map(|p| p.0)],
            |row| row.get(0).map(CaseId),
        )
    }

    /// All cases of a player (`None`: of everybody), by day and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn cases(&self, player: Option<PlayerId>) -> Result<Vec<Case>, StoreError> {
        self.case_ids(player)?.into_iter().map(|id| self.case(id)).collect()
    }

    /// The case with this id, with everything that belongs to it.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn case(&self, id: CaseId) -> Result<Case, StoreError> {
        let mut case = self
            .connection
            .prepare_cached(
                "SELECT id, player, date, grip_index, grip_heel, speed_kmh, first_serve_pct,
                    miss_net, miss_long, miss_wide
                 FROM cases WHERE id = ?1",
            )
            .and_then(|mut statement| statement.query_row([id.0], case_row).optional())
            .map_err(StoreError::sql("reading a case"))?
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })?;
        case.serves = self.list(
            "listing serves",
            "SELECT id FROM serves WHERE case_id = ?1 ORDER BY recording, place",
            [id.0],
            |row| row.get(0).map(ServeId),
        )?;
        case.labels = self.list(
            "listing labels",
            "SELECT fault, state, severity, said_by, note FROM labels
             WHERE case_id = ?1 ORDER BY fault, said_by",
            [id.0],
            |row| {
                Ok(FaultLabel {
                    fault: row.get(0)?,
                    state: named(row, 1)?,
                    severity: row.get(2)?,
                    by: Author::from_text(&row.get::<_, String>(3)?),
                    note: row.get(4)?,
                })
            },
        )?;
        case.notes = self.list(
            "listing notes",
            "SELECT text, said_by, at FROM case_notes WHERE case_id = ?1 ORDER BY id",
            [id.0],
            |row| {
                let by: Option<String> = row.get(1)?;
                Ok(Note {
                    text: row.get(0)?,
                    by: by.as_deref().map(Author::from_text),
                    at: row.get(2)?,
                })
            },
        )?;
        case.plans = self.plans_of(id)?;
        for plan in &case.plans {
            case.follow_ups.extend(self.follow_ups_of(plan.id)?);
        }
        Ok(case)
    }

    fn plans_of(&self, case: CaseId) -> Result<Vec<Plan>, StoreError> {
        let mut plans = self.list(
            "listing plans",
            "SELECT n.id, n.limiting_fault, n.start, n.review_on, n.coach, n.note, e.day, e.how,
                e.replaced_by, e.said_by, e.reason
             FROM plans n LEFT JOIN plan_ends e ON e.plan = n.id
             WHERE n.case_id = ?1 ORDER BY n.id",
            [case.0],
            |row| {
                Ok(Plan {
                    id: PlanId(row.get(0)?),
                    case,
                    limiting_fault: row.get(1)?,
                    drills: Vec::new(),
                    start: parsed(row, 2)?,
                    review_on: parsed_if(row, 3)?,
                    coach: row.get(4)?,
                    note: row.get(5)?,
                    ended: plan_end(row, 6)?,
                })
            },
        )?;
        for plan in &mut plans {
            plan.drills = self.list(
                "listing drills",
                "SELECT drill, dose, done_where FROM plan_drills WHERE plan = ?1 ORDER BY place",
                [plan.id.0],
                |row| {
                    Ok(PlannedDrill {
                        drill: row.get(0)?,
                        dose: row.get(1)?,
                        place: named_if(row, 2)?,
                    })
                },
            )?;
        }
        Ok(plans)
    }

    /// The plan with this id.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn plan(&self, id: PlanId) -> Result<Plan, StoreError> {
        let case: Option<i64> = self
            .connection
            .prepare_cached("SELECT case_id FROM plans WHERE id = ?1")
            .and_then(|mut statement| statement.query_row([id.0], |row| row.get(0)).optional())
            .map_err(StoreError::sql("reading a plan"))?;
        case.map(|case| self.plans_of(CaseId(case)))
            .transpose()?
            .and_then(|plans| plans.into_iter().find(|plan| plan.id == id))
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })
    }

    /// The follow-up with this id.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn follow_up(&self, id: FollowUpId) -> Result<FollowUp, StoreError> {
        let plan: Option<i64> = self
            .connection
            .prepare_cached("SELECT plan FROM follow_ups WHERE id = ?1")
            .and_then(|mut statement| statement.query_row([id.0], |row| row.get(0)).optional())
            .map_err(StoreError::sql("reading a follow-up"))?;
        plan.map(|plan| self.follow_ups_of(PlanId(plan)))
            .transpose()?
            .and_then(|all| all.into_iter().find(|one| one.id == id))
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })
    }

    /// The follow-ups of a plan, by day and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn follow_ups_of(&self, plan: PlanId) -> Result<Vec<FollowUp>, StoreError> {
        let mut follow_ups = self.list(
            "listing follow-ups",
            "SELECT id, date, speed_kmh, first_serve_pct, miss_net, miss_long, miss_wide, rating,
                sessions_done, note
             FROM follow_ups WHERE plan = ?1 ORDER BY date, id",
            [plan.0],
            |row| {
                Ok(FollowUp {
                    id: FollowUpId(row.get(0)?),
                    plan,
                    date: parsed(row, 1)?,
                    serves: Vec::new(),
                    ball: ball_flight(row, 2)?,
                    rating: row.get(7)?,
                    sessions_done: row.get(8)?,
                    note: row.get(9)?,
                })
            },
        )?;
        for follow_up in &mut follow_ups {
            follow_up.serves = self.list(
                "listing serves",
                "SELECT serve FROM follow_up_serves WHERE follow_up = ?1 ORDER BY place",
                [follow_up.id.0],
                |row| row.get(0).map(ServeId),
            )?;
        }
        Ok(follow_ups)
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

struct StoredServe {
    id: ServeId,
    recording: RecordingId,
    case: CaseId,
    player: PlayerId,
    columns: ServeColumns,
    bytes: ServeBytes,
}

impl StoredServe {
    fn into_row(self) -> Result<ServeRow, StoreError> {
        let id = self.id;
        let serve = self
            .bytes
            .serve(self.columns)
            .map_err(|why: Damage| StoreError::Damaged { what: id.to_string(), why })?;
        let Self { recording, case, player, .. } = self;
        Ok(ServeRow { id, recording, case, player, serve })
    }
}

fn stored_serve(row: &Row<'_>) -> rusqlite::Result<StoredServe> {
    Ok(StoredServe {
        id: ServeId(row.get(0)?),
        recording: RecordingId(row.get(1)?),
        case: CaseId(row.get(2)?),
        player: PlayerId(row.get(3)?),
        columns: ServeColumns {
            hand: named(row, 4)?,
            channel_set: row.get(5)?,
            channels: count(row, 6)?,
        },
        bytes: ServeBytes {
            curve: row.get(7)?,
            curve_sum: row.get(8)?,
            figures: row.get(9)?,
            figures_sum: row.get(10)?,
            details: row.get(11)?,
        },
    })
}

fn serve_head(row: &Row<'_>) -> rusqlite::Result<ServeHead> {
    Ok(ServeHead {
        id: ServeId(row.get(0)?),
        recording: RecordingId(row.get(1)?),
        case: CaseId(row.get(2)?),
        player: PlayerId(row.get(3)?),
        player_code: row.get(4)?,
        date: parsed(row, 5)?,
        hand: named(row, 6)?,
        capture: named(row, 7)?,
        view: named_if(row, 8)?,
        setting: named_if(row, 9)?,
        serve_type: named_if(row, 10)?,
        channel_set: row.get(11)?,
    })
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
        consent: Consent { keep: row.get(8)?, share: row.get(9)?, date: parsed_if(row, 10)? },
    })
}

fn recording_row(row: &Row<'_>) -> rusqlite::Result<RecordingRow> {
    Ok(RecordingRow {
        id: RecordingId(row.get(0)?),
        player: PlayerId(row.get(1)?),
        file_name: row.get(2)?,
        content_hash: row.get(3)?,
        date: parsed(row, 4)?,
        capture: named(row, 5)?,
        format: row.get(6)?,
        view: named_if(row, 7)?,
        rate_hz: row.get(8)?,
        setting: named_if(row, 9)?,
        serve_type: named_if(row, 10)?,
    })
}

fn case_row(row: &Row<'_>) -> rusqlite::Result<Case> {
    let (index_knuckle, heel_pad) = (row.get(3)?, row.get(4)?);
    let known = Option::is_some(&index_knuckle) || Option::is_some(&heel_pad);
    Ok(Case {
        id: CaseId(row.get(0)?),
        player: PlayerId(row.get(1)?),
        date: parsed(row, 2)?,
        serves: Vec::new(),
        labels: Vec::new(),
        plans: Vec::new(),
        follow_ups: Vec::new(),
        grip: known.then_some(Grip { index_knuckle, heel_pad }),
        ball: ball_flight(row, 5)?,
        notes: Vec::new(),
    })
}

/// Five columns from `first`: day, how, the plan that took its place, who says so, why.
pub(super) fn plan_end(row: &Row<'_>, first: usize) -> rusqlite::Result<Option<PlanEnd>> {
    let Some(day) = parsed_if(row, first)? else { return Ok(None) };
    let how: String = row.get(first + 1)?;
    let replaced_by: Option<i64> = row.get(first + 2)?;
    let how = match (how.as_str(), replaced_by) {
        ("withdrawn", _) => Ending::Withdrawn,
        ("replaced", Some(id)) => Ending::Replaced(PlanId(id)),
        // The plan that took its place is not here: it came from elsewhere, or was removed.
        ("ended" | "replaced", _) => Ending::Ended,
        _ => return Err(unreadable(first + 1, format!("unknown ending '{how}'"))),
    };
    let by: String = row.get(first + 3)?;
    Ok(Some(PlanEnd { day, how, by: Author::from_text(&by), reason: row.get(first + 4)? }))
}

/// Five columns from `first`: speed, first serves in, misses into the net, long, wide.
fn ball_flight(row: &Row<'_>, first: usize) -> rusqlite::Result<BallFlight> {
    let net: Option<u32> = row.get(first + 2)?;
    let misses = match net {
        Some(net) => Some(Misses { net, long: row.get(first + 3)?, wide: row.get(first + 4)? }),
        None => None,
    };
    Ok(BallFlight { speed_kmh: row.get(first)?, first_serve_pct: row.get(first + 1)?, misses })
}

pub(crate) fn count(row: &Row<'_>, column: usize) -> rusqlite::Result<usize> {
    let value: i64 = row.get(column)?;
    usize::try_from(value).map_err(|_| rusqlite::Error::IntegralValueOutOfRange(column, value))
}

pub(super) fn named<T: Named>(row: &Row<'_>, column: usize) -> rusqlite::Result<T> {
    let name: String = row.get(column)?;
    T::from_name(&name).ok_or_else(|| unreadable(column, format!("unknown {} '{name}'", T::WHAT)))
}

pub(super) fn named_if<T: Named>(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<T>> {
    match row.get_ref(column)? {
        rusqlite::types::ValueRef::Null => Ok(None),
        _ => named(row, column).map(Some),
    }
}

pub(super) fn parsed(row: &Row<'_>, column: usize) -> rusqlite::Result<Date> {
    let text: String = row.get(column)?;
    text.parse().map_err(|error: jiff::Error| unreadable(column, error.to_string()))
}

fn parsed_if(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<Date>> {
    match row.get_ref(column)? {
        rusqlite::types::ValueRef::Null => Ok(None),
        _ => parsed(row, column).map(Some),
    }
}

fn unreadable(column: usize, why: String) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(column, Type::Text, why.into())
}
