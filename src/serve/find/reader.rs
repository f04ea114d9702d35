//! One serve read: events, measures, curve, figures and notes.

use super::tracking::{broken_bone, doubtful_bone, gaps_between};
use super::{FindOptions, side_name, spoken};
use crate::motion::{Capture, Dimensions, Gap, Joint, Recording, Side, Unit, choose_cutoff};
use crate::remedy::Remedy;
use crate::serve::body::Body;
use crate::serve::channels::{FLAT_SET, curve};
use crate::serve::detect::Candidate;
use crate::serve::events::{Moments, SPEED_PEAK_LEAST_HZ, Scene, moments};
use crate::serve::figures::figures;
use crate::serve::given::{of_serve, widened};
use crate::serve::hidden::hidden;
use crate::serve::measures::{Context, readings};
use crate::serve::net::{Net, Seen};
use crate::serve::track::{MAX_FILLED_GAP_S, Track, cut, filled};
use crate::serve::{Event, EventKind, GivenServe, Refusal, Serve};

/// Bounds of the low-pass a serve is read with. Narrow, so that the same serve at another frame
/// rate, or with another marker's noise, keeps its curve.
const READ_CUTOFF_HZ: f64 = 8.0;
const LEAST_CUTOFF_HZ: f64 = 5.0;
/// The racket moves faster than any joint.
const RACKET_CUTOFF_HZ: f64 = 20.0;
/// A hand at its top moves faster than the body, too.
const QUICK_CUTOFF_HZ: f64 = 14.0;

/// A serve's stretch of the recording, ready to be read.
struct ServeCut<'c> {
    candidate: &'c Candidate,
    track: Track,
    /// Where the wrists are guesses of the source; tossing, hitting.
    unseen: [Vec<bool>; 2],
    moments: Moments,
    cutoff_hz: f64,
}

impl ServeCut<'_> {
    fn seen(&self) -> Seen<'_> {
        Seen { track: &self.track, moments: &self.moments }
    }
}

pub(super) struct Reader<'a> {
    pub(super) recording: &'a Recording,
    pub(super) options: &'a FindOptions,
    pub(super) stature: f64,
    pub(super) stretches: &'a [(f64, f64)],
    /// The first frame after each cut.
    pub(super) cuts: &'a [usize],
    pub(super) given: &'a [GivenServe],
}

impl Reader<'_> {
    pub(super) fn frame_at(&self, time_s: f64) -> usize {
        let times = &self.recording.times_s;
        let after = times.partition_point(|&t| t < time_s).min(times.len() - 1);
        let before = after.saturating_sub(1);
        if time_s - times[before] < times[after] - time_s { before } else { after }
    }

    pub(super) fn refusal(&self, from_s: f64, to_s: f64, reason: String) -> Refusal {
        Refusal { frames: (self.frame_at(from_s), self.frame_at(to_s)), reason }
    }

    /// Every candidate read, those of one camera with one net for all serves of a hand.
    pub(super) fn read_all(&self, candidates: &[Candidate]) -> Vec<Result<Serve, Refusal>> {
        let recording = self.recording;
        let cuts: Vec<_> = candidates.iter().map(|candidate| self.cut(candidate)).collect();
        let shared = [Side::Left, Side::Right].map(|hand| {
            let same = cuts.iter().flatten().filter(|cut| cut.candidate.hand == hand);
            let serves: Vec<Seen<'_>> = same.map(ServeCut::seen).collect();
            let one_camera = recording.capture.is_one_camera();
            one_camera
                .then(|| Net::by_signs(&serves, recording.dimensions, recording.view, self.stature))
                .flatten()
        });
        cuts.into_iter()
            .map(|cut| {
                let cut = cut?;
                let net = shared[cut.candidate.hand as usize].clone();
                let net = net.unwrap_or_else(|| Net::by_hand(&cut.seen(), recording.rate_hz));
                self.read(cut, net)
            })
            .collect()
    }

    /// The candidate's stretch of the recording, hitting side named right, and its moments.
    fn cut<'c>(&self, candidate: &'c Candidate) -> Result<ServeCut<'c>, Refusal> {
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
        let given = of_serve(self.given, candidate.top_s);
        let (from_s, to_s) = widened(candidate.toss_top_s - 2.5, candidate.top_s + 1.8, given);
        let first = self.frame_at(stretch.0.max(from_s));
        let last = self.frame_at(stretch.1.min(to_s));
        let cutoff_hz = self.cutoff(first, last);
        let part = filled(recording, (first, last), self.uncut(first, last));
        let track = Track::of(&part);
        let track = match candidate.hand {
            Side::Right => track,
            Side::Left => track.mirrored(),
        };
        let quick = recording
            .capture
            .is_one_camera()
            .then(|| track.clone().smoothed(QUICK_CUTOFF_HZ, RACKET_CUTOFF_HZ));
        let track = track.smoothed(cutoff_hz, RACKET_CUTOFF_HZ.min(recording.rate_hz / 3.0));
        let place = |time_s: f64| (time_s - track.start_s) / track.step_s;
        let position = |time_s: f64| place(time_s).round() as usize;
        let moments = moments(&Scene {
            track: &track,
            quick: quick.as_ref(),
            rate_hz: recording.rate_hz,
            capture: recording.capture,
            stature: self.stature,
            toss_top: position(candidate.toss_top_s),
            top: position(candidate.top_s),
            toss_unseen_until: candidate.toss_unseen_until_s.map(place),
            swing_unseen: candidate
                .swing_unseen_s
                .map(|(from_s, to_s)| (place(from_s), place(to_s))),
            given,
        })
        .map_err(refuse)?;
        let [left, right] = hidden(recording, &track);
        let unseen = match candidate.hand {
            Side::Right => [left, right],
            Side::Left => [right, left],
        };
        Ok(ServeCut { candidate, track, unseen, moments, cutoff_hz })
    }

    /// The frames around these that no cut of the film parts from them.
    fn uncut(&self, first: usize, last: usize) -> std::ops::RangeInclusive<usize> {
        let before = self.cuts.iter().rfind(|&&after| after <= first);
        let behind = self.cuts.iter().find(|&&after| after > last);
        before.copied().unwrap_or(0)..=behind.map_or(self.recording.frames(), |&after| after) - 1
    }

    fn read(&self, cut: ServeCut<'_>, net: Net) -> Result<Serve, Refusal> {
        let recording = self.recording;
        let ServeCut { candidate, track, unseen, moments, cutoff_hz } = cut;
        let net_note = net.note(recording.capture);
        let (start, finish) = (moments.at(EventKind::TossStart), moments.at(EventKind::Finish));
        let (start_s, finish_s) = (track.time_s(start), track.time_s(finish));
        let flat = recording.dimensions == Dimensions::Two;
        let (from, to) = (self.frame_at(start_s), self.frame_at(finish_s));
        let gaps = gaps_between(recording, from, to);
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
        if let Some(reason) = broken_bone(recording, from, to) {
            return Err(self.refusal(start_s, finish_s, reason));
        }
        let body = Body::new(&track, &moments, self.stature, recording.dimensions, net);
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
            unseen: &unseen,
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
        notes.extend(net_note);
        notes.extend(doubtful_bone(recording, from, to));
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
        // The straight tail that residual analysis extends needs frequencies well above the swing's.
        if self.recording.rate_hz < 45.0 {
            return highest;
        }
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
                    "the player hits with the side this file's layout calls {}, and is said to be \
                     {}-handed, so the picture is taken as a mirror image",
                    side_name(candidate.hand),
                    side_name(said)
                )],
            ),
            None if self.recording.capture == Capture::DepthSensor => (
                candidate.hand,
                vec![format!(
                    "the player hits with the side this file's layout calls {}; a depth picture \
                     may be mirrored, so {}",
                    side_name(candidate.hand),
                    Remedy::SayHand
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
        if rate < SPEED_PEAK_LEAST_HZ {
            notes.push(format!(
                "{rate:.0} Hz is too slow for speeds: contact is taken as the hitting wrist's \
                 highest point, and fast moments are not measured"
            ));
        }
        notes.push(format!(
            "likeness to a serve {:.2} out of 1; faintest sign: {}",
            candidate.score,
            candidate.weakest.0.name()
        ));
        if candidate.toss_unseen_until_s.is_some() && !moments.get(EventKind::TossStart).given {
            notes.push(
                "the tossing hand is hidden until it is up: the start of the toss is a guess from \
                 how long the rise usually takes"
                    .to_owned(),
            );
        }
        if candidate.swing_unseen_s.is_some() {
            let guessed = if moments.contact_cut_off {
                "until it is up: contact may be up to two frames late, the racket low point is a guess"
            } else {
                "on its way up: the racket low point is a guess"
            };
            notes.push(format!(
                "the hitting hand is hidden {guessed}, and serves found like this one are less sure"
            ));
        }
        if moments.get(EventKind::Trophy).trust < 0.45 {
            notes.push(
                "trophy is uncertain: the front knee shows no clear deepest bend, or there are \
                 too few frames"
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
        let guessed = !moments.get(EventKind::Release).given;
        if self.recording.capture.is_one_camera() && guessed {
            notes.push(
                "the ball is not followed: release is a guess from the tossing arm's way up, and \
                 no time from it is measured"
                    .to_owned(),
            );
        }
        if flat {
            notes.push(format!(
                "one camera: angles are those of the picture plane ({FLAT_SET}); compare only \
                 recordings from the same view"
            ));
        }
        notes
    }
}
