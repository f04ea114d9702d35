//! Every serve of a recording, found, cut and read; and what was refused, with the reason.

use super::body::Body;
use super::channels::{FLAT_SET, curve};
use super::detect::{Candidate, NEEDED, candidates};
use super::events::{Moments, Scene, moments};
use super::figures::figures;
use super::measures::{Context, readings};
use super::track::{MAX_FILLED_GAP_S, Track, cut, stature};
use super::{Event, EventKind, Found, Refusal, Serve};
use crate::motion::{Capture, Dimensions, Gap, Joint, Recording, Side, Unit, choose_cutoff, gaps};

/// What the caller knows about the player.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct FindOptions {
    /// The hand that holds the racket, if known; checked against the motion.
    pub hand: Option<Side>,
    /// The player's stature in metres, if known; sharpens heights over stature where the
    /// recording is in metres, and changes nothing else.
    pub stature_m: Option<f64>,
}

/// Bounds of the low-pass a serve is read with. Narrow, so that the same serve at another frame
/// rate, or with another marker's noise, keeps its curve.
const READ_CUTOFF_HZ: f64 = 8.0;
const LEAST_CUTOFF_HZ: f64 = 5.0;
/// A serve needs at least this much tracked time.
const LEAST_STRETCH_S: f64 = 1.0;
/// A hand that has just hit is not tossing: a toss this close to a contact is none.
const AFTER_HIT_S: f64 = 0.35;

/// Finds every serve in `recording`, in order of time, with its events, measures and curve.
///
/// The hitting hand comes from the motion. If `options.hand` says otherwise, the serves are
/// refused with both hands named; only a depth sensor's file, which does not name the sides, takes
/// the user's word for which side is which. Practice swings with a tossing movement count as
/// serves. Gaps up to [`MAX_FILLED_GAP_S`] are filled; longer ones within a serve refuse it.
/// If nothing is found, [`Found::refused`] says why in at least one entry.
///
/// Moving, turning about the vertical, scaling or mirroring the recording changes nothing but the
/// hand; see the property tests for the tolerance under another frame rate.
///
/// # Cost
/// Linear in the frames; memory for one copy of six joints and, per serve, of its few seconds.
#[must_use]
pub fn find(recording: &Recording, options: &FindOptions) -> Found {
    let last = recording.frames().saturating_sub(1);
    let whole = |reason: String| Found {
        serves: Vec::new(),
        refused: vec![Refusal { frames: (0, last), reason }],
    };
    if recording.frames() == 0 {
        return whole("no frames".to_owned());
    }
    let unheld: Vec<String> = Joint::CORE
        .iter()
        .filter(|&&joint| recording.column(joint).is_none())
        .map(|joint| spoken(*joint))
        .collect();
    if !unheld.is_empty() {
        return whole(format!(
            "the source holds no {}: a serve is read from shoulders, elbows, wrists, hips, knees and ankles",
            unheld.join(", ")
        ));
    }
    let Some(stature) = stature(recording) else {
        return whole("no frame shows shoulders and hips together".to_owned());
    };
    let (stretches, candidates) = candidates(recording, stature);
    let longest = stretches.iter().map(|s| s.1 - s.0).fold(0.0, f64::max);
    if longest < LEAST_STRETCH_S {
        let frames =
            (longest * recording.rate_hz).round() as usize + usize::from(!stretches.is_empty());
        return whole(format!(
            "tracking is broken or the take is cut: the longest stretch with a tracked body is {frames} frames ({longest:.2} s), too short for a serve ({LEAST_STRETCH_S:.1} s at least)"
        ));
    }
    let accepted = accept(&candidates);
    let reader = Reader { recording, options, stature, stretches: &stretches };
    let mut found = Found::default();
    for candidate in &accepted {
        match reader.read(candidate) {
            Ok(serve) => found.serves.push(serve),
            Err(refusal) => found.refused.push(refusal),
        }
    }
    keep_one_hand(&mut found);
    reader.refuse_the_rest(&candidates, &accepted, &mut found);
    found
}

/// The passing candidates that do not contradict each other, in order of time.
fn accept(candidates: &[Candidate]) -> Vec<Candidate> {
    let mut accepted: Vec<Candidate> = Vec::new();
    for candidate in candidates.iter().filter(|c| c.passes()) {
        // The "toss" of this one is the hit of an earlier serve by the other hand.
        let after_hit = accepted.iter().any(|earlier| {
            earlier.hand != candidate.hand
                && (candidate.toss_top_s - earlier.top_s).abs() < AFTER_HIT_S
        });
        if after_hit {
            continue;
        }
        match accepted.last_mut() {
            Some(earlier) if earlier.top_s > candidate.toss_top_s - AFTER_HIT_S => {
                if candidate.score > earlier.score {
                    *earlier = candidate.clone();
                }
            }
            _ => accepted.push(candidate.clone()),
        }
    }
    accepted
}

/// One player serves with one hand: the hand of most serves (then of the surest) stays.
fn keep_one_hand(found: &mut Found) {
    let weight = |hand: Side| -> f64 {
        let of_hand = found.serves.iter().filter(|s| s.hand == hand);
        of_hand.map(|s| s.hand_trust).sum()
    };
    let kept = if weight(Side::Left) > weight(Side::Right) { Side::Left } else { Side::Right };
    let (kept_serves, others): (Vec<Serve>, Vec<Serve>) =
        found.serves.drain(..).partition(|serve| serve.hand == kept);
    found.serves = kept_serves;
    for serve in others {
        found.refused.push(Refusal {
            frames: serve.frames,
            reason: format!(
                "looks like a serve with the {} hand, but the other serves of this recording are hit with the {}",
                side_name(serve.hand),
                side_name(kept)
            ),
        });
    }
}

struct Reader<'a> {
    recording: &'a Recording,
    options: &'a FindOptions,
    stature: f64,
    stretches: &'a [(f64, f64)],
}

impl Reader<'_> {
    fn frame_at(&self, time_s: f64) -> usize {
        let times = &self.recording.times_s;
        let after = times.partition_point(|&t| t < time_s).min(times.len() - 1);
        let before = after.saturating_sub(1);
        if time_s - times[before] < times[after] - time_s { before } else { after }
    }

    fn refusal(&self, from_s: f64, to_s: f64, reason: String) -> Refusal {
        Refusal { frames: (self.frame_at(from_s), self.frame_at(to_s)), reason }
    }

    fn read(&self, candidate: &Candidate) -> Result<Serve, Refusal> {
        let recording = self.recording;
        let refuse = |reason| self.refusal(candidate.toss_top_s, candidate.top_s, reason);
        if let Some(said) = self.options.hand
            && said != candidate.hand
            && recording.capture != Capture::DepthSensor
        {
            return Err(refuse(format!(
                "the motion shows a {motion}-handed serve (the {toss} hand tosses, the {motion} hand hits) but the player is said to be {said}-handed: correct the hand, or read the file mirrored if the picture is a mirror image",
                motion = side_name(candidate.hand),
                toss = side_name(candidate.hand.other()),
                said = side_name(said),
            )));
        }
        let stretch = self
            .stretches
            .iter()
            .find(|s| (s.0..=s.1).contains(&candidate.top_s))
            .copied()
            .unwrap_or((recording.times_s[0], recording.times_s[recording.frames() - 1]));
        let first = self.frame_at(stretch.0.max(candidate.toss_top_s - 2.5));
        let last = self.frame_at(stretch.1.min(candidate.top_s + 1.8));
        let cutoff_hz = self.cutoff(first, last);
        let track = Track::build(recording, &recording.joints, first, last);
        let track = match candidate.hand {
            Side::Right => track,
            Side::Left => track.mirrored(),
        };
        let track = track.smoothed(cutoff_hz);
        let position = |time_s: f64| ((time_s - track.start_s) / track.step_s).round() as usize;
        let moments = moments(&Scene {
            track: &track,
            rate_hz: recording.rate_hz,
            capture: recording.capture,
            stature: self.stature,
            toss_top: position(candidate.toss_top_s),
            top: position(candidate.top_s),
        })
        .map_err(refuse)?;
        let (start, finish) = (moments.at(EventKind::TossStart), moments.at(EventKind::Finish));
        let (start_s, finish_s) = (track.time_s(start), track.time_s(finish));
        let flat = recording.dimensions == Dimensions::Two;
        let gaps = self.gaps(self.frame_at(start_s), self.frame_at(finish_s));
        if let Some(gap) = gaps.iter().find(|gap| gap.duration_s > MAX_FILLED_GAP_S + 1e-9) {
            return Err(self.refusal(
                start_s,
                finish_s,
                format!(
                    "tracking is broken within the serve: the {} is lost for {:.2} s (frames {}-{}), more than the {MAX_FILLED_GAP_S:.1} s we fill",
                    spoken(gap.joint),
                    gap.duration_s,
                    gap.first,
                    gap.last
                ),
            ));
        }
        let body = Body::new(&track, &moments, self.stature, recording.dimensions);
        let curve = curve(&body.courses, flat, start, finish).map_err(|channel| {
            self.refusal(
                start_s,
                finish_s,
                format!(
                    "tracking is broken within the serve: the {} cannot be read",
                    channel.label
                ),
            )
        })?;
        let readings = readings(&Context {
            body: &body,
            moments: &moments,
            rate_hz: recording.rate_hz,
            capture: recording.capture,
            flat,
            view: recording.view,
            stature_ratio: self.stature_ratio(),
        });
        let events = EventKind::ALL.map(|kind| {
            let moment = moments.get(kind);
            let time_s = track.time_s(moment.at);
            Event { kind, time_s, frame: self.frame_at(time_s), trust: moment.trust }
        });
        let (hand, mut notes) = self.hand(candidate);
        notes.extend(self.notes(candidate, &gaps, flat, &moments));
        Ok(Serve {
            hand,
            hand_trust: candidate.hand_trust,
            frames: (events[0].frame, events[5].frame),
            events,
            readings,
            curve,
            figures: figures(&body, &moments),
            cutoff_hz,
            notes,
        })
    }

    /// Low-pass for one serve: by residual analysis, within bounds.
    fn cutoff(&self, first: usize, last: usize) -> f64 {
        let highest = READ_CUTOFF_HZ.min(self.recording.rate_hz / 3.0);
        let asked = choose_cutoff(&cut(self.recording, &Joint::CORE, first, last)).residual_hz;
        asked.unwrap_or(highest).clamp(LEAST_CUTOFF_HZ.min(highest), highest)
    }

    /// Estimated stature over the stature the caller knows, where both are in metres; else 1.
    fn stature_ratio(&self) -> f64 {
        match (self.options.stature_m, self.recording.unit) {
            (Some(known), Unit::Metre) if known > 0.0 => self.stature / known,
            _ => 1.0,
        }
    }

    fn hand(&self, candidate: &Candidate) -> (Side, Vec<String>) {
        match self.options.hand {
            Some(said) if said != candidate.hand => (
                said,
                vec![format!(
                    "the side this file's layout calls {} hits; the player is said to be {}-handed, so the picture is taken as a mirror image",
                    side_name(candidate.hand),
                    side_name(said)
                )],
            ),
            None if self.recording.capture == Capture::DepthSensor => (
                candidate.hand,
                vec![format!(
                    "the side this file's layout calls {} hits; a depth picture may be mirrored, so say --hand if the player's hand is known",
                    side_name(candidate.hand)
                )],
            ),
            _ => (candidate.hand, Vec::new()),
        }
    }

    fn notes(
        &self,
        candidate: &Candidate,
        gaps: &[Gap],
        flat: bool,
        moments: &Moments,
    ) -> Vec<String> {
        let mut notes = Vec::new();
        let rate = self.recording.rate_hz;
        if rate < super::events::SPEED_PEAK_LEAST_HZ {
            notes.push(format!(
                "{rate:.0} Hz: no speeds; contact is the hitting wrist's highest point, fast moments are not measured"
            ));
        }
        if candidate.weakest.1 < 0.5 || candidate.score < 0.8 {
            notes.push(format!(
                "likeness to a serve {:.2} of 1; faintest sign: {}",
                candidate.score,
                candidate.weakest.0.name()
            ));
        }
        if moments.get(EventKind::Trophy).trust < 0.45 {
            notes.push(
                "trophy is uncertain: the front knee shows no clear deepest bend or frames are few"
                    .to_owned(),
            );
        }
        if let Some(longest) = gaps.iter().max_by(|a, b| a.duration_s.total_cmp(&b.duration_s)) {
            notes.push(format!(
                "{} filled, the longest {:.2} s ({}, frames {}-{})",
                if gaps.len() == 1 { "1 gap".to_owned() } else { format!("{} gaps", gaps.len()) },
                longest.duration_s,
                spoken(longest.joint),
                longest.first,
                longest.last
            ));
        }
        if flat {
            notes.push(format!(
                "one camera: angles are those of the picture plane ({FLAT_SET}); compare only recordings of the same view"
            ));
        }
        notes
    }

    /// Gaps of the core joints between two frames, filled or not.
    fn gaps(&self, first: usize, last: usize) -> Vec<Gap> {
        let mut found = gaps(&cut(self.recording, &Joint::CORE, first, last));
        for gap in &mut found {
            gap.first += first;
            gap.last += first;
        }
        found
    }

    /// Names what else looked like an overhead swing; if nothing was found at all, the best try.
    fn refuse_the_rest(&self, candidates: &[Candidate], accepted: &[Candidate], found: &mut Found) {
        let free = |c: &&Candidate| {
            !accepted.iter().any(|a| c.top_s > a.toss_top_s - 1.0 && c.top_s < a.top_s + 1.5)
        };
        let mut tries: Vec<&Candidate> =
            candidates.iter().filter(|c| c.overhead).filter(free).collect();
        if tries.is_empty() && found.serves.is_empty() && found.refused.is_empty() {
            tries.extend(candidates.iter().max_by(|a, b| {
                let order = b.missing_count.cmp(&a.missing_count);
                order.then(a.score.total_cmp(&b.score))
            }));
        }
        let lost = self.longest_loss();
        // Tops close together are one movement: its best try speaks.
        let mut i = 0;
        while i < tries.len() {
            let mut j = i + 1;
            while j < tries.len() && tries[j].top_s < tries[j - 1].top_s + 1.5 {
                j += 1;
            }
            let best = tries[i..j]
                .iter()
                .min_by(|a, b| {
                    let order = a.missing_count.cmp(&b.missing_count);
                    order.then(b.score.total_cmp(&a.score))
                })
                .copied();
            if let Some(best) = best {
                found.refused.push(self.refusal(
                    tries[i].toss_top_s,
                    tries[j - 1].top_s,
                    best.reason(),
                ));
            }
            i = j;
        }
        if let Some((from, to)) = lost
            && found.serves.is_empty()
        {
            found.refused.push(self.refusal(
                from,
                to,
                format!(
                    "tracking is broken: no body for {:.2} s (more than the {MAX_FILLED_GAP_S:.1} s we fill)",
                    to - from
                ),
            ));
        }
        if found.serves.is_empty() && found.refused.is_empty() {
            let times = &self.recording.times_s;
            found.refused.push(self.refusal(
                times[0],
                times[times.len() - 1],
                "nothing moves like a serve: no hand rises and falls".to_owned(),
            ));
        }
        found.refused.sort_by_key(|refusal| refusal.frames);
    }

    /// The longest stretch without the joints the search needs, first to last lost time.
    fn longest_loss(&self) -> Option<(f64, f64)> {
        let times = &self.recording.times_s;
        let seen = |frame: usize| NEEDED.iter().all(|&j| self.recording.at(frame, j).is_some());
        let mut longest: Option<(usize, usize)> = None;
        let mut from = 0;
        for frame in 0..=times.len() {
            if frame == times.len() || seen(frame) {
                if frame > from && longest.is_none_or(|(a, b)| frame - from > b - a) {
                    longest = Some((from, frame));
                }
                from = frame + 1;
            }
        }
        let (a, b) = longest?;
        let (from_s, to_s) = (times[a], times[(b).min(times.len() - 1)]);
        (to_s - from_s > MAX_FILLED_GAP_S).then_some((from_s, to_s))
    }
}

fn spoken(joint: Joint) -> String {
    joint.name().replace('_', " ")
}

fn side_name(side: Side) -> &'static str {
    match side {
        Side::Left => "left",
        Side::Right => "right",
    }
}
