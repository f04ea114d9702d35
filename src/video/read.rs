//! The whole way: clip in, recordings out.

use std::path::Path;
use std::time::Instant;

use super::decode::Decoder;
use super::detector::Candidate;
use super::errors::ClipError;
use super::landmarks::Pose;
use super::lift;
use super::model::{ModelChoice, PoseModel};
use super::probe::{ClipInfo, frame_times, probe};
use super::runtime::with_model;
use super::setup::{Installed, installed};
use super::track::{Person, TrackError, Tracker};
use super::view::{ViewEstimate, estimate_view};
use crate::motion::{Assumption, MAX_FILLED_GAP_S, Recording, View};
use crate::remedy::Remedy;
use crate::work::{Stage, Watch};

/// So long before and after a cut of the film nothing is read: more than a gap that is filled, so
/// nothing goes on over it.
const BESIDE_CUT_S: f64 = 0.6 * MAX_FILLED_GAP_S;

/// How to read a clip; the default follows the only person with the full model.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ClipOptions {
    /// Landmark network.
    pub model: ModelChoice,
    /// Whom to follow.
    pub person: Person,
    /// Frames per second at capture, where the clip plays slower than it was filmed.
    pub capture_rate_hz: Option<f64>,
    /// Where the camera stood, as the user says.
    pub view: Option<View>,
}

/// What a clip gave.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipReading {
    /// The container's account.
    pub info: ClipInfo,
    /// Picture size in pixels, across and down, phone rotation applied.
    pub size_px: (usize, usize),
    /// Joints in space (metres about the mid-hip point; see the module's page for what that means).
    pub recording: Recording,
    /// The same joints in the picture plane, in pixels, for drawing and for two-dimensional
    /// measures.
    pub picture: Recording,
    /// Frame of the clip behind each frame of the recordings.
    pub clip_frames: Vec<usize>,
    /// Where the camera seems to stand; `None` if nobody was seen well enough to say.
    pub view: Option<ViewEstimate>,
    /// Frames in which the person was out of sight.
    pub lost_frames: usize,
    /// Frames a second that were worked through.
    pub pace_hz: f64,
}

/// Reads a clip: decodes it, follows one person, and gives the joints in space and in the picture.
///
/// Memory: a few frames and the networks, whatever the clip's length. Nothing is written; a stopped
/// or failed reading leaves nothing behind. `watch` is told each frame.
///
/// # Errors
/// [`ClipError`]: a piece of the set-up is missing, the file is no clip or a damaged one, several
/// people and none chosen, nobody found, stopped.
pub fn read_clip(
    path: &Path,
    options: &ClipOptions,
    watch: &Watch,
) -> Result<ClipReading, ClipError> {
    let info = probe(path, watch)?;
    let installed = installed(options.model)?;
    read_installed(path, info, &installed, options, watch)
}

pub(super) fn read_installed(
    path: &Path,
    info: ClipInfo,
    installed: &Installed,
    options: &ClipOptions,
    watch: &Watch,
) -> Result<ClipReading, ClipError> {
    watch.step(Stage::Networks, 0, 1).map_err(ClipError::stopped(path))?;
    with_model(installed, |model| {
        watch.step(Stage::Networks, 1, 1).map_err(ClipError::stopped(path))?;
        read_with(path, info, model, options, watch)
    })
    .map_err(|source| ClipError::Model { path: path.to_path_buf(), source })?
}

/// Reads a clip with a given [`PoseModel`] instead of the installed networks.
///
/// # Errors
/// As [`read_clip`], but for the set-up.
pub fn read_clip_with(
    path: &Path,
    model: &mut dyn PoseModel,
    options: &ClipOptions,
    watch: &Watch,
) -> Result<ClipReading, ClipError> {
    let info = probe(path, watch)?;
    read_with(path, info, model, options, watch)
}

fn read_with(
    path: &Path,
    mut info: ClipInfo,
    model: &mut dyn PoseModel,
    options: &ClipOptions,
    watch: &Watch,
) -> Result<ClipReading, ClipError> {
    let mut assumptions = Vec::new();
    let slower = slow_down(path, &info, options.capture_rate_hz, &mut assumptions)?;
    let mut decoder = Decoder::start(path, None)?;
    let mut tracker = Tracker::new(options.person);
    let mut poses: Vec<Option<Pose>> = Vec::with_capacity(info.times_s.len());
    let mut size_px = (0, 0);
    let began = Instant::now();
    while let Some(frame) = decoder.next(watch)? {
        size_px = (frame.width, frame.height);
        let index = poses.len();
        let time_s = info.times_s.get(index).copied();
        let time_s = time_s.unwrap_or(index as f64 / info.container_hz);
        let pose =
            tracker.next(model, &frame, time_s).map_err(|error| named(path, error, time_s))?;
        poses.push(pose);
        decoder.recycle(frame);
        watch
            .step(Stage::Frames, poses.len(), info.times_s.len())
            .map_err(ClipError::stopped(path))?;
    }
    let pace_hz = poses.len() as f64 / began.elapsed().as_secs_f64().max(1e-9);
    let complaint = decoder.complaint();
    settle_times(path, &mut info, poses.len(), &complaint, watch)?;
    for at_s in &tracker.cuts_at_s {
        let beside = BESIDE_CUT_S * slower;
        for (pose, time_s) in poses.iter_mut().zip(&info.times_s) {
            if (time_s - at_s).abs() <= beside {
                *pose = None;
            }
        }
        assumptions.push(assumption(
            "person",
            "the same person on both sides of a cut",
            format!("the film is cut at {at_s:.2} s; whoever is largest after it is followed"),
        ));
    }
    let (times_s, clip_frames) = in_order(&info.times_s, slower, &mut poses, &mut assumptions);
    let lost_frames = poses.iter().filter(|pose| pose.is_none()).count();
    if lost_frames == poses.len() {
        return Err(nobody(path, options.person, tracker.most_seen, poses.len()));
    }
    if !complaint.is_empty() {
        assumptions.push(assumption(
            "picture",
            "every frame the decoder gave",
            format!("the decoder repaired damage: {complaint}"),
        ));
    }
    for at_s in &tracker.moved_at_s {
        assumptions.push(assumption(
            "person",
            "the same person, found again elsewhere",
            format!("the only one in the picture at {at_s:.2} s"),
        ));
    }
    let view = estimate_view(&times_s, &poses);
    let taken = settle_view(options.view, view.as_ref(), &mut assumptions);
    assumptions.extend(standing_assumptions(options.model));
    let common = lift::Common {
        times_s: &times_s,
        poses: &poses,
        view: taken,
        format: &format!("clip-{}-{}", info.codec, options.model.name()),
        assumptions,
    };
    Ok(ClipReading {
        recording: lift::lifted(&common),
        picture: lift::flat(&common),
        info,
        size_px,
        clip_frames,
        view,
        lost_frames,
        pace_hz,
    })
}

/// How many times slower than life the clip plays.
fn slow_down(
    path: &Path,
    info: &ClipInfo,
    asked_hz: Option<f64>,
    assumptions: &mut Vec<Assumption>,
) -> Result<f64, ClipError> {
    let container = info.container_hz;
    // Rates in containers are rounded; within two percent they are one rate.
    let differs = |rate: f64| (rate / container - 1.0).abs() > 0.02;
    if let Some(asked) = asked_hz {
        if !(asked.is_finite() && asked >= container * 0.98 && asked <= 2000.0) {
            return Err(ClipError::CaptureRate { path: path.to_path_buf(), asked, container });
        }
        return Ok(if differs(asked) { asked / container } else { 1.0 });
    }
    if let Some(tagged) = info.tagged_capture_hz
        && tagged > container
        && tagged <= 2000.0
        && differs(tagged)
    {
        assumptions.push(assumption(
            "rate",
            &format!("captured at {tagged:.0} Hz"),
            format!("the phone's tag says so; the clip plays at {container:.2} Hz"),
        ));
        return Ok(tagged / container);
    }
    assumptions.push(assumption(
        "rate",
        "the clip plays in real time",
        format!("it plays at {container:.2} Hz and gives no other capture rate"),
    ));
    Ok(1.0)
}

/// Makes times and decoded frames one to one, or says that the clip is cut off.
fn settle_times(
    path: &Path,
    info: &mut ClipInfo,
    decoded: usize,
    complaint: &str,
    watch: &Watch,
) -> Result<(), ClipError> {
    let cut = |found: String, expected: String| ClipError::Truncated {
        path: path.to_path_buf(),
        found,
        expected,
        said: if complaint.is_empty() { String::new() } else { format!(" ({complaint})") },
    };
    if let Some(announced) = info.announced
        && info.packets < announced
    {
        return Err(cut(format!("{} frames", info.packets), format!("{announced}")));
    }
    if let (Some(announced_s), Some(last), Some(first)) =
        (info.announced_s, info.times_s.last(), info.times_s.first())
    {
        let found_s = last - first + 1.0 / info.container_hz;
        let missing_s = announced_s - found_s;
        if info.announced.is_none() && missing_s > 0.5 && missing_s > 0.05 * announced_s {
            return Err(cut(format!("{found_s:.1} s"), format!("{announced_s:.1} s")));
        }
    }
    if decoded != info.times_s.len() {
        let times_s = frame_times(path, watch)?;
        if times_s.len() != decoded || decoded < 2 {
            return Err(cut(format!("{decoded} frames"), format!("{}", info.times_s.len())));
        }
        info.times_s = times_s;
    }
    Ok(())
}

/// Life's times, strictly increasing; frames that repeat a time are dropped and reported.
fn in_order(
    clip_s: &[f64],
    slower: f64,
    poses: &mut Vec<Option<Pose>>,
    assumptions: &mut Vec<Assumption>,
) -> (Vec<f64>, Vec<usize>) {
    let first = clip_s.first().copied().unwrap_or_default();
    let mut times_s: Vec<f64> = Vec::with_capacity(clip_s.len());
    let mut kept = Vec::with_capacity(poses.len());
    let mut clip_frames = Vec::with_capacity(poses.len());
    for (frame, (pose, at_s)) in poses.drain(..).zip(clip_s).enumerate() {
        let life_s = first + (at_s - first) / slower;
        if times_s.last().is_none_or(|last| life_s > *last) {
            times_s.push(life_s);
            kept.push(pose);
            clip_frames.push(frame);
        }
    }
    let dropped = clip_s.len() - times_s.len();
    if dropped > 0 {
        assumptions.push(assumption(
            "times",
            &format!("{dropped} frames left out"),
            "they repeat the time of the frame before them".to_owned(),
        ));
    }
    *poses = kept;
    (times_s, clip_frames)
}

fn settle_view(
    asked: Option<View>,
    estimate: Option<&ViewEstimate>,
    assumptions: &mut Vec<Assumption>,
) -> Option<View> {
    match (asked, estimate) {
        (Some(view), Some(estimate)) if estimate.view != view => {
            assumptions.push(assumption(
                "view",
                name(view),
                format!(
                    "as given; the figure looks {} ({:.0} % sure)",
                    name(estimate.view),
                    100.0 * estimate.confidence
                ),
            ));
            Some(view)
        }
        (Some(view), _) => Some(view),
        (None, Some(estimate)) if estimate.is_sure() => {
            assumptions.push(assumption(
                "view",
                name(estimate.view),
                format!("{} ({:.0} % sure)", estimate.why, 100.0 * estimate.confidence),
            ));
            Some(estimate.view)
        }
        (None, estimate) => {
            let why = estimate.map_or_else(
                || "the trunk was never seen well enough".to_owned(),
                |e| format!("{}, only {:.0} % sure: {}", name(e.view), 100.0 * e.confidence, e.why),
            );
            let why = format!("{why}; {}", Remedy::SayView);
            assumptions.push(assumption("view", "unknown", why));
            None
        }
    }
}

fn name(view: View) -> &'static str {
    match view {
        View::Behind => "behind",
        View::Front => "front",
        View::Side => "side",
        View::Diagonal => "diagonal",
    }
}

fn standing_assumptions(model: ModelChoice) -> [Assumption; 3] {
    [
        assumption(
            "origin",
            "the mid-hip point of each frame",
            "one camera does not show where on court the player is: jump, forward travel and \
             height above the ground are not measurable, and heights are measured from the \
             hips"
                .to_owned(),
        ),
        assumption(
            "up",
            "the picture's vertical",
            "the clip does not say how the phone was held; a tilted phone tilts the body"
                .to_owned(),
        ),
        assumption(
            "unit",
            "metres, by the model's idea of a body",
            format!("model '{}'; the player's own size was not measured", model.name()),
        ),
    ]
}

fn assumption(what: &str, taken: &str, why: String) -> Assumption {
    Assumption { what: what.to_owned(), taken: taken.to_owned(), why }
}

fn named(path: &Path, error: TrackError, time_s: f64) -> ClipError {
    let path = path.to_path_buf();
    match error {
        TrackError::Model(source) => ClipError::Model { path, source },
        TrackError::Several(people) => {
            ClipError::SeveralPeople { path, time_s, people: describe(&people) }
        }
    }
}

fn describe(people: &[Candidate]) -> Vec<String> {
    let place = |(k, c): (usize, &Candidate)| {
        format!("{} at ({:.0}, {:.0})", k + 1, c.hip_px[0], c.hip_px[1])
    };
    people.iter().enumerate().map(place).collect()
}

fn nobody(path: &Path, person: Person, most_seen: usize, frames: usize) -> ClipError {
    let path = path.to_path_buf();
    match person {
        Person::FromLeft(n) if most_seen > 0 => ClipError::NoSuchPerson {
            path,
            asked: format!("number {n} from the left"),
            found: format!("at most {most_seen} seen at once"),
        },
        Person::Within([left, top, right, bottom]) => ClipError::NoSuchPerson {
            path,
            asked: format!("in the region {left:.0},{top:.0},{right:.0},{bottom:.0}"),
            found: format!("no hips there in {frames} frames; draw it around the whole player"),
        },
        _ => ClipError::Nobody { path, frames },
    }
}
