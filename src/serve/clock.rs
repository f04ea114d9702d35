use super::{CURVE_FRAMES, EventKind, Serve};

/// Samples of a serve as times from contact, and back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ServeClock {
    /// Contact in the recording, seconds.
    pub contact_s: f64,
    /// Time of sample 0 and of one sample's step, from contact.
    start_s: f64,
    step_s: f64,
}

impl ServeClock {
    /// Samples lie evenly between the start of the toss and the finish; any two moments tell how.
    #[must_use]
    pub fn of(serve: &Serve) -> Self {
        let samples = serve.figures.event_samples;
        let known: Vec<(f64, f64)> = samples
            .iter()
            .zip(&serve.events)
            .map(|(&sample, event)| (f64::from(sample), event.time_s))
            .filter(|(sample, time_s)| sample.is_finite() && time_s.is_finite())
            .collect();
        let (from, to) = match (known.first(), known.last()) {
            (Some(&from), Some(&to)) if to.0 > from.0 => (from, to),
            _ => ((0.0, 0.0), ((CURVE_FRAMES - 1) as f64, 1.0)),
        };
        let step_s = (to.1 - from.1) / (to.0 - from.0);
        let start_s = from.1 - from.0 * step_s;
        let contact = EventKind::Contact as usize;
        let told_s = serve.events[contact].time_s;
        let sampled_s = start_s + f64::from(samples[contact]) * step_s;
        let contact_s = if told_s.is_finite() { told_s } else { sampled_s };
        Self { contact_s, start_s: start_s - contact_s, step_s }
    }

    /// Seconds from contact of a sample, 0 to 100.
    #[must_use]
    pub fn after_s(&self, sample: f64) -> f64 {
        self.start_s + sample * self.step_s
    }

    /// The sample at some seconds from contact; outside the serve below 0 or above 100.
    #[must_use]
    pub fn sample(&self, after_s: f64) -> f64 {
        (after_s - self.start_s) / self.step_s
    }
}
