//! What the program suspects in the serves of a day.

use crate::catalogue::{Catalogue, Conditions, Observed, ObservedDay, Recorded, describe_chance};
use crate::library::{
    Author, CaseId, FaultLabel, LabelState, Library, RecordingId, SaidClips, SeenServe, ServeId,
    Setting, StoreError, same_serves,
};
use crate::serve::ServeReading;

/// One serve of a session as far as suspicions go.
#[derive(Debug, Clone)]
pub(super) struct SessionServe {
    pub(super) readings: Vec<ServeReading>,
    pub(super) recorded: Recorded,
    /// What it shows, and what it can be known again by in another clip.
    pub(super) seen: SeenServe,
}

impl SessionServe {
    /// A stored serve.
    pub(super) fn of(library: &Library, id: ServeId) -> Result<Self, StoreError> {
        let recording = library.recording(library.serve_head(id)?.recording)?;
        Ok(Self {
            readings: library.readings(id)?,
            recorded: Recorded {
                capture: recording.capture,
                view: recording.view,
                rate_hz: recording.rate_hz,
            },
            seen: library.seen_serve(id)?,
        })
    }
}

pub(super) fn session(library: &Library, case: CaseId) -> Result<Vec<SessionServe>, StoreError> {
    library.case(case)?.serves.into_iter().map(|id| SessionServe::of(library, id)).collect()
}

/// What somebody said of the clips of a session.
pub(super) fn said_of(
    library: &Library,
    serves: &[SessionServe],
) -> Result<Vec<SaidClips>, StoreError> {
    let mut clips: Vec<RecordingId> =
        serves.iter().filter_map(|serve| serve.seen.recording).collect();
    clips.dedup();
    library.said_of_clips(&clips)
}

/// The program's labels for a session, its serves by recording; see [`ObservedDay::suspicions`].
/// `said`: what somebody said of its clips.
pub(super) fn suspicions(
    catalogue: &Catalogue,
    serves: &[SessionServe],
    said: &[SaidClips],
    stature_m: Option<f64>,
) -> Vec<FaultLabel> {
    let seen: Vec<SeenServe> = serves.iter().map(|serve| serve.seen.clone()).collect();
    let same = same_serves(&seen, said);
    let mut day = ObservedDay::default();
    for (serve, stroke) in serves.iter().zip(same.strokes) {
        let swing = serve.seen.setting == Some(Setting::PracticeSwing);
        let side = if swing { &mut day.swings } else { &mut day.balls };
        side.push(Observed {
            readings: &serve.readings,
            recorded: serve.recorded,
            serve_type: serve.seen.serve_type,
            stroke: Some(stroke),
        });
    }
    let conditions = Conditions { stature_m, ..Conditions::default() };
    day.suspicions(catalogue, &conditions)
        .into_iter()
        .filter(|suspicion| suspicion.suspected())
        .map(|suspicion| FaultLabel {
            severity: suspicion.score().unwrap_or_default(),
            note: suspicion
                .chance()
                .map(|chance| format!("chance that it is there: {}", describe_chance(chance))),
            fault: suspicion.fault,
            state: LabelState::Suspected,
            by: Author::Program,
        })
        .collect()
}
