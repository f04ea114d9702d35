//! In which set-up a serve was recorded, and which set-ups compare.

use crate::library::{ServeHead, ServeType, Setting};
use crate::motion::{Capture, View};
use crate::words;

/// Practice swing or ball.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Swing {
    /// With a ball, whatever its target.
    Ball,
    /// Nobody said.
    Unknown,
    /// Without one.
    Practice,
}

/// What has to be the same in two looks before their measures are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct SetUp {
    /// How the joints were obtained.
    pub capture: Capture,
    /// Where the camera stood, where one camera saw it and somebody knows.
    pub view: Option<View>,
    /// Practice swing or ball.
    pub swing: Swing,
    /// Intended ball, where somebody said it.
    pub serve_type: Option<ServeType>,
}

impl SetUp {
    /// The set-up a serve was recorded in.
    ///
    /// A place of the camera counts for one camera only: where joints are measured in space it does
    /// not matter.
    #[must_use]
    pub fn new(
        capture: Capture,
        view: Option<View>,
        setting: Option<Setting>,
        serve_type: Option<ServeType>,
    ) -> Self {
        let swing = match setting {
            Some(Setting::PracticeSwing) => Swing::Practice,
            Some(Setting::BallNoTarget | Setting::Target | Setting::Match) => Swing::Ball,
            None => Swing::Unknown,
        };
        let one_camera = matches!(capture, Capture::OneCameraLifted | Capture::OneCameraFlat);
        Self { capture, view: view.filter(|_| one_camera), swing, serve_type }
    }

    /// The set-up of a stored serve.
    #[must_use]
    pub fn of(head: &ServeHead) -> Self {
        Self::new(head.capture, head.view, head.setting, head.serve_type)
    }

    /// Like with like: why serves of this set-up do not compare with those of a `later` one; `None`
    /// if they do.
    ///
    /// One player's serves compare within one kind of source, one known place of the camera, with a
    /// ball or without, and one intended ball: each of them shifts measures by itself. What is not
    /// known counts against nobody. This is stricter than [`crate::matcher::incomparable`], which
    /// only decides who is shown as a precedent.
    #[must_use]
    pub fn unlike(self, later: Self) -> Option<String> {
        let mut why = Vec::new();
        let swings = |swing| match swing {
            Swing::Practice => "practice swing",
            Swing::Ball => "with a ball",
            Swing::Unknown => "not known",
        };
        let known = |swing| swing != Swing::Unknown;
        if known(self.swing) && known(later.swing) && self.swing != later.swing {
            why.push((swings(self.swing), swings(later.swing)));
        }
        let known = |capture| capture != Capture::Unknown;
        if known(self.capture) && known(later.capture) && self.capture != later.capture {
            why.push((self.capture.describe(), later.capture.describe()));
        }
        if let (Some(a), Some(b)) = (self.view, later.view)
            && a != b
        {
            why.push((a.seen(), b.seen()));
        }
        if let (Some(a), Some(b)) = (self.serve_type, later.serve_type)
            && a != b
        {
            why.push((words::serve_type(a), words::serve_type(b)));
        }
        let said: Vec<String> =
            why.iter().map(|(before, after)| format!("{before} before, {after} after")).collect();
        (!said.is_empty()).then(|| said.join("; "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_like_compares_with_like() {
        let (target, swing) = (Some(Setting::Target), Some(Setting::PracticeSwing));
        let markers = |setting| SetUp::new(Capture::Markers, None, setting, None);
        let alike = |a: SetUp, b: SetUp| {
            assert_eq!(a.unlike(b).is_none(), b.unlike(a).is_none(), "{a:?} {b:?}");
            a.unlike(b).is_none()
        };
        assert!(alike(markers(target), markers(target)));
        assert!(alike(markers(target), markers(Some(Setting::Match))), "a ball is a ball");
        assert!(alike(markers(target), markers(None)), "the unknown counts against nobody");
        assert!(!alike(markers(target), markers(swing)));
        assert!(!alike(markers(target), SetUp::new(Capture::DepthSensor, None, target, None)));
        assert!(alike(markers(target), SetUp::new(Capture::Unknown, None, target, None)));
        let phone = |view| SetUp::new(Capture::OneCameraLifted, view, target, None);
        assert!(!alike(phone(Some(View::Behind)), phone(Some(View::Side))));
        assert!(alike(phone(Some(View::Behind)), phone(None)));
        let space = |view| SetUp::new(Capture::SeveralCameras, Some(view), target, None);
        assert_eq!(space(View::Behind), space(View::Side), "space has no view");
        let kind = |kind| SetUp::new(Capture::Markers, None, target, kind);
        assert!(!alike(kind(Some(ServeType::Flat)), kind(Some(ServeType::Kick))));
        assert!(alike(kind(Some(ServeType::Flat)), kind(None)));
    }

    #[test]
    fn the_reason_names_both_sides() {
        let before = SetUp::new(Capture::Markers, None, Some(Setting::Target), None);
        let after = SetUp::new(Capture::DepthSensor, None, Some(Setting::PracticeSwing), None);
        assert_eq!(
            before.unlike(after).unwrap(),
            "with a ball before, practice swing after; markers before, depth sensor after"
        );
    }
}
