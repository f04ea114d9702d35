//! Recordings and serves.

use std::ops::ControlFlow;

use jiff::civil::Date;
use rusqlite::{OptionalExtension, Row, params_from_iter};

use super::{count, named, named_if, parsed};
use crate::library::stored::{RecordingBytes, ServeBytes, ServeColumns, read_curve, read_readings};
use crate::library::{
    CaseId, Damage, Library, PlayerId, RecordingId, RecordingRow, ServeId, ServeRow, ServeType,
    Setting, StoreError,
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

const HEADS: &str = "SELECT s.id, s.recording, s.case_id, s.player, p.code, r.date, s.hand,
        r.capture, r.view, r.setting, r.serve_type, s.channel_set
    FROM serves s JOIN recordings r ON r.id = s.recording JOIN players p ON p.id = s.player";

const RECORDINGS: &str = "SELECT id, player, file_name, content_hash, date, capture, format, view,
        rate_hz, setting, serve_type
    FROM recordings";

const SERVES: &str = "SELECT s.id, s.recording, s.case_id, s.player, s.hand, s.channel_set,
        s.channels, d.curve, d.curve_sum, d.figures, d.figures_sum, d.details
    FROM serves s JOIN serve_data d ON d.serve = s.id";

impl Library {
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
        let whose = player.map_or("", |_| "WHERE player = ?1");
        self.list(
            "listing recordings",
            &format!("{RECORDINGS} {whose} ORDER BY date, id"),
            params_from_iter(player.map(|player| player.0)),
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
        read_readings(&self.details(id)?)
            .map_err(|why| StoreError::Damaged { what: format!("measures of {id}"), why })
    }

    /// A serve without its curve and figures, sealed.
    pub(in crate::library) fn details(&self, id: ServeId) -> Result<Vec<u8>, StoreError> {
        self.connection
            .prepare_cached("SELECT details FROM serve_data WHERE serve = ?1")
            .and_then(|mut statement| statement.query_row([id.0], |row| row.get(0)).optional())
            .map_err(StoreError::sql("reading a serve's measures"))?
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })
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

    /// Ids of a case's serves.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub(crate) fn serves_of_case(&self, case: CaseId) -> Result<Vec<ServeId>, StoreError> {
        self.list(
            "listing serves",
            "SELECT id FROM serves WHERE case_id = ?1 ORDER BY id",
            [case.0],
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
