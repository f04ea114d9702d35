//! The same clips made worse: trembling, with gaps, cut off.

use precedent::motion::{Joint, Recording};
use precedent::serve::{FindOptions, find};
use precedent::simulator::chance;
use rand::Rng;

use super::*;

/// A standing body's height in the picture, by head and ankles (the head's middle at nine tenths).
fn height(recording: &Recording) -> f64 {
    let heights: Vec<f64> = (0..recording.frames())
        .filter_map(|frame| {
            let [head, left, right] = [Joint::Head, Joint::LeftAnkle, Joint::RightAnkle]
                .map(|joint| recording.at(frame, joint));
            Some(head?[2] - left?[2].min(right?[2]))
        })
        .collect();
    share(&heights, 0.9) / 0.9
}

/// The same take with each joint off by this share of the height, frame by frame.
fn trembling(take: &Recording, of_height: f64, seed: u64) -> Recording {
    let mut chance = chance(seed, 11);
    let size = of_height * height(take);
    let mut normal = || {
        let (far, way) = (chance.gen_range(1e-12f64..1.0), chance.gen_range(0.0f64..1.0));
        (-2.0 * far.ln()).sqrt() * (std::f64::consts::TAU * way).cos()
    };
    let positions =
        take.positions.iter().map(|p| [p[0] + size * normal(), p[1], p[2] + size * normal()]);
    Recording { positions: positions.collect(), ..take.clone() }
}

/// The same take with this share of all joints lost, each frame by itself.
fn patchy(take: &Recording, lost: f64, seed: u64) -> Recording {
    let mut chance = chance(seed, 12);
    let positions =
        take.positions.iter().map(|p| if chance.gen_bool(lost) { [f64::NAN; 3] } else { *p });
    Recording { positions: positions.collect(), confidence: None, ..take.clone() }
}

fn frames(recording: &Recording, from: usize, to: usize) -> Recording {
    let width = recording.joints.len();
    Recording {
        times_s: recording.times_s[from..to].to_vec(),
        positions: recording.positions[from * width..to * width].to_vec(),
        confidence: None,
        ..recording.clone()
    }
}

/// The real serves made worse on purpose: mirrored, at other rates, trembling, patchy, begun late. Of
/// those found as they are given so many are found with the same hand.
#[test]
fn worse_clips_of_the_same_serves_are_still_found() {
    use rayon::prelude::*;
    type Worse = (&'static str, f64, fn(&FlatServe, &Serve, u64) -> Recording);
    let worse: [Worse; 12] = [
        ("mirrored", 1.0, |one, _, _| one.recording.mirrored()),
        ("24 Hz", 1.0, |one, _, _| motion::resample(&one.recording, 24.0)),
        ("25 Hz", 1.0, |one, _, _| motion::resample(&one.recording, 25.0)),
        ("50 Hz", 1.0, |one, _, _| motion::resample(&one.recording, 50.0)),
        ("60 Hz", 1.0, |one, _, _| motion::resample(&one.recording, 60.0)),
        ("trembling by 1 %", 0.95, |one, _, seed| trembling(&one.recording, 0.01, seed)),
        ("trembling by 2 %", 0.95, |one, _, seed| trembling(&one.recording, 0.02, seed)),
        ("trembling by 3 %", 0.95, |one, _, seed| trembling(&one.recording, 0.03, seed)),
        ("5 % of the joints lost", 0.95, |one, _, seed| patchy(&one.recording, 0.05, seed)),
        ("10 % of the joints lost", 0.95, |one, _, seed| patchy(&one.recording, 0.1, seed)),
        ("20 % of the joints lost", 0.95, |one, _, seed| patchy(&one.recording, 0.2, seed)),
        ("begun 0.1 s before the toss", 0.95, |one, serve, _| {
            let from_s = serve.events[EventKind::TossStart as usize].time_s - 0.1;
            let from = one.recording.times_s.partition_point(|&time_s| time_s < from_s);
            frames(&one.recording, from, one.recording.frames())
        }),
    ];
    let Some(folder) = folder() else { return };
    let serves: Vec<FlatServe> =
        flat_serves(&folder).into_iter().filter(|one| one.whole && one.serve.is_some()).collect();
    let mut short = Vec::new();
    for (name, least, make) in worse {
        let again = |(number, one): (usize, &FlatServe)| {
            let serve = one.serve.as_ref().expect("found as given");
            let hand = if name == "mirrored" { serve.hand.other() } else { serve.hand };
            let found = find(&make(one, serve, number as u64), &FindOptions::default());
            match found.serves.first() {
                Some(again) if again.hand == hand => None,
                Some(_) => Some(format!("{}: the other hand", one.name)),
                None => Some(format!("{}: {:?}", one.name, found.refused)),
            }
        };
        let lost: Vec<String> = serves.par_iter().enumerate().filter_map(again).collect();
        let found = serves.len() - lost.len();
        if (found as f64) < least * serves.len() as f64 {
            short.push(format!("{name}: {found} of {}: {lost:#?}", serves.len()));
        }
    }
    assert!(short.is_empty(), "{short:#?}");
}

/// A serve that begins or ends outside the clip is refused with that reason, or read as far as it goes;
/// never with moments that the clip does not show.
#[test]
fn a_serve_that_begins_or_ends_outside_the_clip_is_said_to() {
    let Some(folder) = folder() else { return };
    for (name, view, by_eye) in BY_EYE.into_iter().filter(|one| one.0.starts_with("flat")) {
        let whole = clip(&folder, name, view);
        let (trophy, contact) = (by_eye[2] as usize, by_eye[4] as usize);
        let begun = find(&frames(&whole, trophy - 3, whole.frames()), &FindOptions::default());
        assert!(begun.serves.is_empty(), "{name}");
        let told = begun.refused.iter().any(|one| {
            let words = ["not in the recording", "does not show it", "no toss", "recording is cut"];
            words.iter().any(|word| one.reason.contains(word))
        });
        assert!(told, "{name}: {:?}", begun.refused);
        let ended = find(&frames(&whole, 0, contact - 2), &FindOptions::default());
        assert!(ended.serves.is_empty(), "{name}");
        assert!(!ended.refused.is_empty(), "{name}");
    }
}
