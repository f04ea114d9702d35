//! The other views of the serve under review: which of them shows a measure best, and what each shows
//! at the same moments.

use std::rc::Rc;

use super::{pictures, progress};
use crate::library::{RecordingRow, ServeId, ServeRow};
use crate::looks::{SetUp, Snapshot};
use crate::matcher::LikeError;
use crate::pages::{MeasureRow, OtherViewFacts, ViewOf};
use crate::serve::{MEASURES, Serve, ServeClock, best_view};
use crate::work::Watch;

/// Another view of the serve under review.
pub(super) struct OtherView {
    row: Rc<ServeRow>,
    recording: Rc<RecordingRow>,
}

/// The other views of a stored serve.
pub(super) fn others(snapshot: &Snapshot<'_>, serve: ServeId) -> Result<Vec<OtherView>, LikeError> {
    let mut found = Vec::new();
    for other in snapshot.views(snapshot.head(serve)?.case)?.others(serve) {
        let row = snapshot.serve(other)?;
        let recording = snapshot.recording(row.recording)?;
        found.push(OtherView { row, recording });
    }
    Ok(found)
}

impl OtherView {
    fn named(&self) -> ViewOf {
        let seen = match self.recording.view {
            Some(view) => format!("seen {}", view.seen()),
            None => self.recording.capture.describe().to_owned(),
        };
        ViewOf { serve: self.row.id.to_string(), seen }
    }

    /// What it shows at the moments of the serve under review.
    pub(super) fn facts(
        &self,
        snapshot: &Snapshot<'_>,
        this: &Serve,
        watch: &Watch,
    ) -> Result<OtherViewFacts, LikeError> {
        let library = snapshot.library();
        let times_s = library.joints(self.recording.id)?.times_s;
        let row = ServeRow {
            serve: at_moments_of(this, &self.row.serve, &times_s),
            ..(*self.row).clone()
        };
        let head = snapshot.head(self.row.id)?;
        Ok(OtherViewFacts {
            of: self.named(),
            pictures: pictures::pictures(library, &row, &self.recording, watch)?,
            events: row.serve.events.to_vec(),
            figures: row.serve.figures,
            drawn_from: progress::drawn(SetUp::of(&head)),
        })
    }
}

/// Measures by the view that shows each best; [`MeasureRow::from`] names it where it is another.
pub(super) fn by_best_view(measures: &mut [MeasureRow], others: &[OtherView]) {
    for row in measures {
        let Some(def) = MEASURES.iter().find(|def| def.name == row.name) else { continue };
        let theirs: Vec<_> = others
            .iter()
            .filter_map(|other| {
                let found = other.row.serve.readings.iter().find(|one| one.measure == def.id)?;
                Some((other, &found.reading))
            })
            .collect();
        let all = std::iter::once(&row.reading).chain(theirs.iter().map(|one| one.1));
        if let Some(at) = best_view(all).and_then(|at| at.checked_sub(1)) {
            let (other, reading) = theirs[at];
            row.from = Some(other.named());
            row.reading = reading.clone();
        }
    }
}

/// A serve at the moments of another view of it: the two clocks meet at contact.
fn at_moments_of(this: &Serve, other: &Serve, times_s: &[f64]) -> Serve {
    let (own, clock) = (ServeClock::of(this), ServeClock::of(other));
    let mut there = other.clone();
    for (at, event) in there.events.iter_mut().enumerate() {
        let after_s = this.events[at].time_s - own.contact_s;
        event.time_s = clock.contact_s + after_s;
        event.trust = this.events[at].trust;
        if !event.time_s.is_finite() {
            there.figures.event_samples[at] = f32::NAN;
            continue;
        }
        let after = times_s.partition_point(|time_s| *time_s < event.time_s);
        let near =
            |frame: &usize| times_s.get(*frame).map_or(f64::INFINITY, |t| (t - event.time_s).abs());
        let nearest = [after.saturating_sub(1), after].into_iter();
        event.frame = nearest.min_by(|a, b| near(a).total_cmp(&near(b))).unwrap_or(after);
        there.figures.event_samples[at] = clock.sample(after_s).clamp(0.0, 100.0) as f32;
    }
    there
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::library::tests::made;
    use crate::serve::EventKind;

    /// One serve on two clocks, 5 s apart, the second at 30 Hz.
    #[test]
    fn both_views_are_shown_at_the_same_moments_however_each_was_read() {
        let this = made::serve(1);
        let mut other = this.clone();
        for event in &mut other.events {
            event.time_s += 5.0;
        }
        // The other view put its trophy elsewhere.
        other.events[EventKind::Trophy as usize].time_s -= 0.2;
        let times_s: Vec<f64> = (0..400).map(|n| f64::from(n) / 30.0).collect();
        let there = at_moments_of(&this, &other, &times_s);
        for (shown, own) in there.events.iter().zip(&this.events) {
            assert!((shown.time_s - own.time_s - 5.0).abs() < 1e-9, "{shown:?} {own:?}");
            let frame_s = times_s[shown.frame];
            assert!((frame_s - shown.time_s).abs() <= 0.5 / 30.0 + 1e-9, "{shown:?}");
        }
    }
}
