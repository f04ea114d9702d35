//! Moments that the joints need not tell: somebody set them, or they were heard.

use super::EventKind;

/// A moment of a serve that somebody or something else than the joints tells; it wins over theirs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GivenMoment {
    /// Which.
    pub kind: EventKind,
    /// Time in the recording, seconds.
    pub time_s: f64,
    /// Standard error, seconds.
    pub error_s: f64,
}

/// What is given of one serve.
#[derive(Debug, Clone, PartialEq)]
pub struct GivenServe {
    /// Contact as the joints show it, by which the serve is known among those of its recording.
    pub contact_s: f64,
    /// The moments, at most one of a kind.
    pub moments: Vec<GivenMoment>,
}

/// Contacts further apart than this belong to two serves: nobody serves again within a second.
const SAME_SERVE_S: f64 = 0.6;
/// Room before the first and after the last given moment for the filters to settle.
const ROOM_S: f64 = 0.3;
/// Trust in what a person saw or the sound told, as for an event by its best rule.
pub(super) const GIVEN_TRUST: f64 = 0.95;

/// What is given of the serve whose hand is highest at `top_s`.
pub(super) fn of_serve(given: &[GivenServe], top_s: f64) -> &[GivenMoment] {
    let apart = |one: &GivenServe| (one.contact_s - top_s).abs();
    given
        .iter()
        .filter(|one| apart(one) < SAME_SERVE_S)
        .min_by(|a, b| apart(a).total_cmp(&apart(b)))
        .map_or(&[], |one| &one.moments)
}

/// The stretch of time that holds these moments too, with room around them.
pub(super) fn widened(from_s: f64, to_s: f64, given: &[GivenMoment]) -> (f64, f64) {
    given.iter().fold((from_s, to_s), |(from, to), moment| {
        (from.min(moment.time_s - ROOM_S), to.max(moment.time_s + ROOM_S))
    })
}
