//! A sender's recordings, serves and moments, as rows.

use rusqlite::params;

use crate::exchange::items::{MomentItem, RecordingItem};
use crate::library::stored::RecordingBytes;
use crate::library::{
    CaseId, Marked, Named, NewMark, PlayerId, RecordingId, SeenMoment, ServeId, StoreError,
    Witness, WriteError, Writer,
};
use crate::motion::{Dimensions, Recording, Unit};

impl Writer<'_> {
    pub(super) fn insert_received(
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
    pub(super) fn put_moments<'i>(
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
}
