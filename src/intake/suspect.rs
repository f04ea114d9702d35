//! What the program suspects in the serves of a day.

use crate::catalogue::{Catalogue, Conditions, detect};
use crate::library::{
    Author, CaseId, FaultLabel, LabelState, Library, ServeType, Setting, StoreError,
};
use crate::motion::Capture;
use crate::serve::ServeReading;

/// One serve of a session as far as suspicions go.
#[derive(Debug, Clone)]
pub(super) struct SessionServe {
    pub(super) readings: Vec<ServeReading>,
    pub(super) setting: Option<Setting>,
    pub(super) serve_type: Option<ServeType>,
    pub(super) capture: Capture,
    pub(super) rate_hz: f64,
}

pub(super) fn session(library: &Library, case: CaseId) -> Result<Vec<SessionServe>, StoreError> {
    let mut serves = Vec::new();
    for id in library.case(case)?.serves {
        let row = library.serve(id)?;
        let recording = library.recording(row.recording)?;
        serves.push(SessionServe {
            readings: row.serve.readings,
            setting: recording.setting,
            serve_type: recording.serve_type,
            capture: recording.capture,
            rate_hz: recording.rate_hz,
        });
    }
    Ok(serves)
}

/// The program's labels for a session: from the serves with a ball if there are any, since a
/// practice swing shows what the player can do, not what the serve does.
pub(super) fn suspicions(
    catalogue: &Catalogue,
    serves: &[SessionServe],
    stature_m: Option<f64>,
) -> Vec<FaultLabel> {
    let with_ball: Vec<&SessionServe> =
        serves.iter().filter(|serve| serve.setting != Some(Setting::PracticeSwing)).collect();
    let judged = if with_ball.is_empty() { serves.iter().collect() } else { with_ball };
    // What the poorest recording cannot show is not claimed from the richest alone: the lowest
    // rate decides.
    let Some(poorest) = judged.iter().min_by(|a, b| a.rate_hz.total_cmp(&b.rate_hz)) else {
        return Vec::new();
    };
    let conditions = Conditions {
        serve_type: ServeType::of_all(judged.iter().map(|serve| serve.serve_type)),
        stature_m,
        ..Conditions::of(poorest.capture, poorest.rate_hz)
    };
    let readings: Vec<&[ServeReading]> =
        judged.iter().map(|serve| serve.readings.as_slice()).collect();
    detect(catalogue, &readings, &conditions)
        .into_iter()
        .filter(|suspicion| suspicion.suspected())
        .map(|suspicion| FaultLabel {
            severity: suspicion.score().unwrap_or_default(),
            fault: suspicion.fault,
            state: LabelState::Suspected,
            by: Author::Program,
            note: None,
        })
        .collect()
}
