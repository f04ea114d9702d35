//! Which sources may be compared without a second thought.

use serde::{Deserialize, Serialize};

use crate::motion::{Capture, View};

/// Where a serve comes from, as far as comparing goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Source {
    /// How the joints were obtained.
    pub capture: Capture,
    /// Camera view, where known.
    pub view: Option<View>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SourceKind {
    /// Measured in space.
    Space,
    /// Lifted from one picture by a model, whose errors depend on the view.
    Lifted,
    /// In the picture plane.
    Flat,
}

fn kind(capture: Capture) -> Option<SourceKind> {
    match capture {
        Capture::Markers | Capture::DepthSensor | Capture::SeveralCameras | Capture::Generated => {
            Some(SourceKind::Space)
        }
        Capture::OneCameraLifted => Some(SourceKind::Lifted),
        Capture::OneCameraFlat => Some(SourceKind::Flat),
        Capture::Unknown => None,
    }
}

/// Why a serve from `other` does not compare well with one from `this`; `None` if it does.
///
/// Sources measured in space compare with each other whatever their view. A single camera
/// compares with a single camera of the same treatment and, where both views are known, the same
/// view. Nothing is held against a source that does not say what it is.
#[must_use]
pub fn incomparable(this: Source, other: Source) -> Option<String> {
    let (Some(a), Some(b)) = (kind(this.capture), kind(other.capture)) else { return None };
    if a != b {
        // Sources in space compare with each other: naming one of them would say they do not.
        let wanted = match a {
            SourceKind::Space => "measured in space",
            _ => this.capture.describe(),
        };
        return Some(format!("{}, not {wanted}", other.capture.describe()));
    }
    match (a, this.view, other.view) {
        (SourceKind::Lifted | SourceKind::Flat, Some(x), Some(y)) if x != y => {
            Some(format!("seen {}, not {}", y.seen(), x.seen()))
        }
        _ => None,
    }
}

/// Whether two serves were recorded in the same way from the same place: with one player, the
/// strongest comparison there is.
///
/// A single camera must have stood in the same known place; what is not known is not called the
/// same.
#[must_use]
pub fn same_set_up(this: Source, other: Source) -> bool {
    let same_place = match kind(this.capture) {
        Some(SourceKind::Space) => true,
        Some(SourceKind::Lifted | SourceKind::Flat) => {
            this.view.is_some() && this.view == other.view
        }
        None => false,
    };
    this.capture == other.capture && same_place
}

/// What a serve of one camera is searched among first, in words; `None` for other sources.
#[must_use]
pub fn searched_first(source: Source) -> Option<String> {
    let words = match kind(source.capture)? {
        SourceKind::Space => return None,
        SourceKind::Lifted | SourceKind::Flat => match source.view {
            Some(view) => format!("filmed by one camera {}", view.seen()),
            None => "filmed by one camera, wherever it stood".to_owned(),
        },
    };
    Some(words)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn space_compares_with_space_and_pictures_with_the_same_view() {
        let source = |capture, view| Source { capture, view };
        let markers = source(Capture::Markers, None);
        let depth = source(Capture::DepthSensor, Some(View::Front));
        let behind = source(Capture::OneCameraLifted, Some(View::Behind));
        let side = source(Capture::OneCameraLifted, Some(View::Side));
        let open = source(Capture::OneCameraLifted, None);
        let flat = source(Capture::OneCameraFlat, Some(View::Side));
        let unknown = source(Capture::Unknown, None);
        assert_eq!(incomparable(markers, depth), None);
        assert_eq!(incomparable(behind, open), None);
        assert_eq!(
            incomparable(behind, side).as_deref(),
            Some("seen from the side, not from behind")
        );
        assert_eq!(
            incomparable(side, flat).as_deref(),
            Some("one camera without depth, not one camera")
        );
        assert_eq!(
            incomparable(markers, behind).as_deref(),
            Some("one camera, not measured in space")
        );
        assert!(same_set_up(side, side) && same_set_up(markers, markers));
        for (this, other) in
            [(behind, side), (open, open), (side, open), (side, flat), (markers, depth)]
        {
            assert!(!same_set_up(this, other), "{this:?} {other:?}");
        }
        assert!(!same_set_up(unknown, unknown));
        assert_eq!(searched_first(side).as_deref(), Some("filmed by one camera from the side"));
        assert_eq!(searched_first(markers), None);
        for other in [markers, depth, behind, side, flat] {
            assert_eq!(incomparable(unknown, other), None);
            assert_eq!(incomparable(other, unknown), None);
        }
    }
}
