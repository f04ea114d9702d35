//! What the program suspects in the serves of a day.

use crate::catalogue::{Catalogue, Conditions, Observed, ObservedDay, Recorded, describe_chance};
use crate::library::{
    Author, CaseId, FaultLabel, LabelState, Library, ServeId, ServeType, Setting, StoreError,
};
use crate::serve::ServeReading;

/// One serve of a session as far as suspicions go.
#[derive(Debug, Clone)]
pub(super) struct SessionServe {
    pub(super) readings: Vec<ServeReading>,
    pub(super) setting: Option<Setting>,
    pub(super) serve_type: Option<ServeType>,
    pub(super) recorded: Recorded,
}

impl SessionServe {
    /// A stored serve.
    pub(super) fn of(library: &Library, id: ServeId) -> Result<Self, StoreError> {
        let row = library.serve(id)?;
        let recording = library.recording(row.recording)?;
        Ok(Self {
            readings: row.serve.readings,
            setting: recording.setting,
            serve_type: recording.serve_type,
            recorded: Recorded {
                capture: recording.capture,
                view: recording.view,
                rate_hz: recording.rate_hz,
            },
        })
    }
}

pub(super) fn session(library: &Library, case: CaseId) -> Result<Vec<SessionServe>, StoreError> {
    library.case(case)?.serves.into_iter().map(|id| SessionServe::of(library, id)).collect()
}

/// The program's labels for a session; see [`ObservedDay::suspicions`].
pub(super) fn suspicions(
    catalogue: &Catalogue,
    serves: &[SessionServe],
    stature_m: Option<f64>,
) -> Vec<FaultLabel> {
    let mut day = ObservedDay::default();
    for serve in serves {
        let swing = serve.setting == Some(Setting::PracticeSwing);
        let side = if swing { &mut day.swings } else { &mut day.balls };
        side.push(Observed {
            readings: &serve.readings,
            recorded: serve.recorded,
            serve_type: serve.serve_type,
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
