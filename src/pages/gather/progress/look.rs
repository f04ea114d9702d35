//! The serves of one day, and which of two days' serves may be compared.

use jiff::civil::Date;

use crate::drawing::Seen;
use crate::library::{Case, Library, ServeId, ServeType, Setting, StoreError};
use crate::motion::{Capture, View};
use crate::serve::Serve;
use crate::words;

/// One serve with what decides what it compares with.
#[derive(Debug, Clone)]
pub(super) struct Looked {
    pub(super) id: ServeId,
    pub(super) serve: Serve,
    pub(super) kind: Kind,
    pub(super) rate_hz: f64,
    pub(super) serve_type: Option<ServeType>,
}

/// Serves of one kind compare; what is not known is held against nobody.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Kind {
    pub(super) setting: Option<Setting>,
    pub(super) capture: Capture,
    pub(super) view: Option<View>,
}

impl Kind {
    /// Why serves of the two kinds do not compare: setting, capture and view, before and after.
    fn unlike(self, other: Self) -> Option<String> {
        let mut why = Vec::new();
        if let (Some(a), Some(b)) = (self.setting, other.setting)
            && a != b
        {
            why.push(format!("{} before, {} after", words::setting(a), words::setting(b)));
        }
        if self.capture != Capture::Unknown
            && other.capture != Capture::Unknown
            && self.capture != other.capture
        {
            why.push(format!("{} before, {} after", self.capture.told(), other.capture.told()));
        }
        // Where joints lie in space the camera's place does not matter.
        let pictures = [self, other]
            .iter()
            .all(|kind| matches!(kind.capture, Capture::OneCameraLifted | Capture::OneCameraFlat));
        if let (Some(a), Some(b), true) = (self.view, other.view, pictures)
            && a != b
        {
            why.push(format!("seen {} before, {} after", a.seen(), b.seen()));
        }
        (!why.is_empty()).then(|| why.join("; "))
    }

    pub(super) fn alike(self, other: Self) -> bool {
        self.unlike(other).is_none()
    }

    /// Where such serves are drawn from: a clip of one camera beside the player shows little of
    /// what lies across it.
    pub(super) fn drawn(self) -> Seen {
        match (self.capture, self.view) {
            (Capture::OneCameraLifted | Capture::OneCameraFlat, Some(View::Side)) => {
                Seen::FromHittingSide
            }
            _ => Seen::FromBehind,
        }
    }

    /// "into the box, markers".
    pub(super) fn told(self) -> String {
        let mut parts: Vec<String> = Vec::new();
        parts.extend(self.setting.map(|setting| words::setting(setting).to_owned()));
        parts.push(self.capture.told().to_owned());
        parts.extend(self.view.map(|view| format!("seen {}", view.seen())));
        parts.join(", ")
    }
}

/// The serves of one day.
#[derive(Debug, Clone)]
pub(super) struct Day {
    pub(super) date: Date,
    pub(super) case: Option<Case>,
    pub(super) serves: Vec<Looked>,
}

impl Day {
    pub(super) fn of_case(library: &Library, case: Case) -> Result<Self, StoreError> {
        let serves = looked(library, &case.serves)?;
        Ok(Self { date: case.date, case: Some(case), serves })
    }

    /// The serves of the most frequent kind, the first of equals.
    pub(super) fn main_kind(&self) -> Option<Kind> {
        let count = |kind: Kind| self.serves.iter().filter(|s| s.kind == kind).count();
        let kinds = self.serves.iter().rev().map(|serve| serve.kind);
        kinds.max_by_key(|&kind| count(kind))
    }
}

pub(super) fn looked(library: &Library, ids: &[ServeId]) -> Result<Vec<Looked>, StoreError> {
    ids.iter()
        .map(|&id| {
            let row = library.serve(id)?;
            let recording = library.recording(row.recording)?;
            Ok(Looked {
                id,
                serve: row.serve,
                kind: Kind {
                    setting: recording.setting,
                    capture: recording.capture,
                    view: recording.view,
                },
                rate_hz: recording.rate_hz,
                serve_type: recording.serve_type,
            })
        })
        .collect()
}

/// The serves of two days that compare.
#[derive(Debug)]
pub(super) struct Alike<'a> {
    pub(super) before: Vec<&'a Looked>,
    pub(super) after: Vec<&'a Looked>,
    /// What a reader must know about the choice.
    pub(super) notes: Vec<String>,
}

/// Picks of two days the pair of kinds that compare and give the most serves on the poorer side.
///
/// # Errors
/// Why nothing compares, as a sentence.
pub(super) fn alike<'a>(before: &'a Day, after: &'a Day) -> Result<Alike<'a>, String> {
    for (day, when) in [(before, "before"), (after, "after")] {
        if day.serves.is_empty() {
            return Err(format!(
                "No serve is recorded {when} ({}): only what was reported can be held side by side.",
                words::day(day.date)
            ));
        }
    }
    let of = |day: &'a Day, kind: Kind| -> Vec<&'a Looked> {
        day.serves.iter().filter(|serve| serve.kind == kind).collect()
    };
    let kinds = |day: &Day| {
        let mut kinds: Vec<Kind> = Vec::new();
        for serve in &day.serves {
            if !kinds.contains(&serve.kind) {
                kinds.push(serve.kind);
            }
        }
        kinds
    };
    let mut best: Option<(Vec<&Looked>, Vec<&Looked>)> = None;
    let mut unlike = Vec::new();
    for a in kinds(before) {
        for b in kinds(after) {
            if let Some(why) = a.unlike(b) {
                unlike.push(why);
                continue;
            }
            let pair = (of(before, a), of(after, b));
            let size = |pair: &(Vec<&Looked>, Vec<&Looked>)| {
                (pair.0.len().min(pair.1.len()), pair.0.len() + pair.1.len())
            };
            if best.as_ref().is_none_or(|best| size(&pair) > size(best)) {
                best = Some(pair);
            }
        }
    }
    let Some((chosen_before, chosen_after)) = best else {
        unlike.dedup();
        return Err(format!(
            "The two sets are not alike ({}), so their measures are not held against each other.",
            unlike.join(", or ")
        ));
    };
    let mut notes = Vec::new();
    let left_out =
        before.serves.len() + after.serves.len() - chosen_before.len() - chosen_after.len();
    if left_out > 0 {
        notes.push(format!(
            "Like with like only: {} of {} before and {} of {} after ({}).",
            chosen_before.len(),
            words::count(before.serves.len(), "serve"),
            chosen_after.len(),
            words::count(after.serves.len(), "serve"),
            chosen_after[0].kind.told()
        ));
    }
    let open = |get: fn(&Kind) -> bool| {
        chosen_before.iter().chain(&chosen_after).any(|serve| get(&serve.kind))
    };
    if open(|kind| kind.setting.is_none()) {
        notes.push(
            "What a recording shows (practice swing or ball) is not recorded for all of them; \
             taken as alike."
                .to_owned(),
        );
    }
    let rates = |serves: &[&Looked]| serves.iter().map(|s| s.rate_hz).fold(f64::INFINITY, f64::min);
    let (rate_before, rate_after) = (rates(&chosen_before), rates(&chosen_after));
    if rate_before.max(rate_after) > 1.5 * rate_before.min(rate_after) {
        notes.push(format!(
            "Filmed at {rate_before:.0} Hz before and {rate_after:.0} Hz after: fast moments may \
             differ for that alone."
        ));
    }
    let types = |serves: &[&Looked]| {
        let mut types: Vec<&str> =
            serves.iter().filter_map(|s| s.serve_type.map(words::serve_type)).collect();
        types.sort_unstable();
        types.dedup();
        types
    };
    let (types_before, types_after) = (types(&chosen_before), types(&chosen_after));
    if !types_before.is_empty() && !types_after.is_empty() && types_before != types_after {
        notes.push(format!(
            "Intended ball: {} before, {} after; that changes a serve too.",
            words::list(&types_before),
            words::list(&types_after)
        ));
    }
    Ok(Alike { before: chosen_before, after: chosen_after, notes })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(setting: Option<Setting>, capture: Capture, view: Option<View>) -> Kind {
        Kind { setting, capture, view }
    }

    #[test]
    fn only_like_compares_with_like() {
        let (target, swing) = (Some(Setting::Target), Some(Setting::PracticeSwing));
        let markers = |setting| kind(setting, Capture::Markers, None);
        assert!(markers(target).alike(markers(target)));
        assert!(markers(target).alike(markers(None)), "unknown is held against nobody");
        assert!(!markers(target).alike(markers(swing)));
        assert!(!markers(target).alike(kind(target, Capture::DepthSensor, None)));
        let phone = |view| kind(target, Capture::OneCameraLifted, Some(view));
        assert!(!phone(View::Behind).alike(phone(View::Side)));
        let space = |view| kind(target, Capture::SeveralCameras, Some(view));
        assert!(space(View::Behind).alike(space(View::Side)), "space has no view");
        let why = markers(target).unlike(kind(swing, Capture::DepthSensor, None)).unwrap();
        assert!(why.contains("practice swing after") && why.contains("markers before"), "{why}");
    }
}
