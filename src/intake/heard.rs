//! Contact as the sound of a clip tells it.

use super::mark::seen;
use crate::library::{SeenMoment, Witness};
use crate::motion::{Joint, Recording};
use crate::serve::{
    EventKind, FindOptions, Found, GivenMoment, GivenServe, Serve, find_given, usual_error_s,
};
use crate::video::{Kept, Sound};

/// Metres a second, at 20 degrees (from memory).
const SPEED_OF_SOUND_M_S: f64 = 343.0;
/// Pixels along the longer side over which a phone's main camera sees as far as it is away: from
/// some 65 degrees across (our estimate; wide and tele lenses differ by a third).
const FOCAL_OVER_LONG_SIDE: f64 = 0.78;
/// How far the distance may be off, as a share (a standard error, our estimate).
const DISTANCE_ERROR: f64 = 0.3;
/// Nobody films a serve from nearer or further, m.
const NEAREST_M: f64 = 2.0;
const FURTHEST_M: f64 = 40.0;
/// Nose to ankles over standing height (from memory, after Drillis and Contini 1966).
const NOSE_TO_ANKLES: f64 = 0.87;
/// Stands for a stature nobody gave.
const USUAL_STATURE_M: f64 = 1.75;
/// The onset itself, s: planted hits are heard within 3 ms.
const ONSET_ERROR_S: f64 = 0.002;
/// The hit is looked for within so many standard errors of the joints' contact.
const WITHIN_ERRORS: f64 = 2.5;

/// Serves read with the contact that was heard, and what was seen of their moments by whom; those
/// in which no hit was heard stay as they are.
pub(super) fn listen(
    found: Found,
    recording: &Recording,
    kept: &Kept,
    sound: &Sound,
    known: &FindOptions,
) -> (Found, Vec<Vec<SeenMoment>>) {
    let distance_m = distance_m(recording, kept, known.stature_m);
    let delay_s = distance_m / SPEED_OF_SOUND_M_S;
    let error_s = ONSET_ERROR_S.hypot(DISTANCE_ERROR * delay_s);
    let joints_error_s = usual_error_s(EventKind::Contact, recording.capture, recording.rate_hz);
    let given = found.serves.iter().map(|serve| {
        let contact_s = serve.events[EventKind::Contact as usize].time_s;
        let heard = sound.hit(contact_s + delay_s, WITHIN_ERRORS * joints_error_s);
        let moment = heard.map(|heard_s| GivenMoment {
            kind: EventKind::Contact,
            time_s: heard_s - delay_s,
            error_s,
        });
        GivenServe { contact_s, moments: moment.into_iter().collect() }
    });
    let given: Vec<GivenServe> = given.collect();
    let nothing = |found: Found| {
        let none = vec![Vec::new(); found.serves.len()];
        (found, none)
    };
    if given.iter().all(|one| one.moments.is_empty()) {
        return nothing(found);
    }
    let mut again = find_given(recording, known, &given);
    // A sound that no serve can be read with is none of a hit.
    if again.serves.len() != found.serves.len() {
        return nothing(found);
    }
    let of_all = found.serves.iter().zip(&again.serves).zip(&given);
    let moments = of_all.map(|((own, read), given)| seen_of(own, read, recording, given)).collect();
    for ((own, read), given) in found.serves.iter().zip(&mut again.serves).zip(&given) {
        if !given.moments.is_empty() {
            read.notes.push(format!(
                "contact as it is heard in the clip, give or take {:.0} ms, for a camera some \
                 {distance_m:.0} m away; the joints put it at {:.2} s",
                1645.0 * error_s,
                own.events[EventKind::Contact as usize].time_s
            ));
        }
    }
    (again, moments)
}

fn seen_of(
    own: &Serve,
    read: &Serve,
    recording: &Recording,
    given: &GivenServe,
) -> Vec<SeenMoment> {
    let contact = read.events[EventKind::Contact as usize];
    let heard: Vec<SeenMoment> = given
        .moments
        .iter()
        .map(|moment| SeenMoment {
            event: moment.kind,
            witness: Witness::Sound,
            time_s: moment.time_s,
            frame: contact.frame,
            error_s: moment.error_s,
            trust: contact.trust,
        })
        .collect();
    seen(own, recording, given, &heard)
}

/// How far the camera is from the player, as the size of the figure suggests, within bounds.
fn distance_m(recording: &Recording, kept: &Kept, stature_m: Option<f64>) -> f64 {
    let tall = |frame: usize| {
        let place = |joint| kept.at(frame, joint).map(|([x, y], _)| [x, y]);
        let nose = place(Joint::Nose)?;
        let (left, right) = (place(Joint::LeftAnkle)?, place(Joint::RightAnkle)?);
        let ankles = [f64::midpoint(left[0], right[0]), f64::midpoint(left[1], right[1])];
        Some((ankles[0] - nose[0]).hypot(ankles[1] - nose[1]))
    };
    let mut heights: Vec<f64> = (0..recording.frames()).filter_map(tall).collect();
    heights.sort_by(f64::total_cmp);
    // Bent knees and a leaning body shorten the figure: standing it is tallest.
    let Some(&height_px) = heights.get(heights.len() * 9 / 10).filter(|height| **height > 0.0)
    else {
        return f64::midpoint(NEAREST_M, FURTHEST_M);
    };
    let focal_px = FOCAL_OVER_LONG_SIDE * f64::from(kept.size_px.0.max(kept.size_px.1));
    let height_m = NOSE_TO_ANKLES * stature_m.unwrap_or(USUAL_STATURE_M);
    (focal_px * height_m / height_px).clamp(NEAREST_M, FURTHEST_M)
}

#[cfg(test)]
mod tests {
    use std::path::PathBuf;

    use super::*;
    use crate::motion::{ReadOptions, read};
    use crate::serve::find;

    /// A planted hit over silence that is not quite silent.
    fn planted(at_s: f64, seconds: f64) -> Sound {
        let mut noise = 1_u32;
        let mut next = || {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(noise >> 8) / f64::from(1 << 23) - 1.0
        };
        let sample = |n: usize| {
            let since_s = n as f64 / 16_000.0 - at_s;
            let hit = if since_s < 0.0 { 0.0 } else { (-since_s / 0.006).exp() };
            ((0.5 * hit + 0.001) * next()) as f32
        };
        Sound::of_samples((0..(16_000.0 * seconds) as usize).map(sample).collect())
    }

    /// Contact by eye at frame 73.5 of 29.83 a second: `../shared/recordings/README.md`.
    #[test]
    fn a_hit_heard_puts_contact_right_and_a_silent_clip_leaves_it() {
        let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/recordings");
        if !folder.is_dir() {
            crate::skip::skipped(format!("{} is absent", folder.display()));
            return;
        }
        let file = folder.join("one-camera/diagonal-30hz.json");
        let recording = read(&file, &ReadOptions::default()).unwrap();
        let known = FindOptions::default();
        let found = find(&recording, &known);
        let contact_s = 73.5 / 29.83;
        // Of a figure whose size is not known the camera is taken to be 21 m away.
        let delay_s = 21.0 / SPEED_OF_SOUND_M_S;
        let kept = Kept::of_size((1080, 1920));

        let sound = planted(contact_s + delay_s, 4.0);
        let (heard, moments) = listen(found.clone(), &recording, &kept, &sound, &known);
        let contact = heard.serves[0].events[EventKind::Contact as usize];
        assert!((contact.time_s - contact_s).abs() < 0.003, "{} {contact_s}", contact.time_s);
        let witnesses: Vec<&Witness> = moments[0]
            .iter()
            .filter(|one| one.event == EventKind::Contact)
            .map(|one| &one.witness)
            .collect();
        assert_eq!(witnesses, [&Witness::Joints, &Witness::Sound]);
        assert!(heard.serves[0].notes.iter().any(|note| note.contains("heard in the clip")));

        for silent in [planted(0.3, 4.0), Sound::of_samples(vec![0.0; 64_000])] {
            let (same, moments) = listen(found.clone(), &recording, &kept, &silent, &known);
            assert_eq!(same.serves[0].events, found.serves[0].events);
            assert_eq!(moments, [Vec::new()]);
        }
    }
}
