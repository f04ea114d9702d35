//! Contact as the sound of a clip tells it, and with it the release as the ball does.

use super::mark::seen;
use super::thrown::{note, release};
use crate::library::{SeenMoment, Witness};
use crate::motion::{Joint, Recording};
use crate::serve::{
    EventKind, FindOptions, Found, GivenMoment, GivenServe, Serve, find_given, usual_error_s,
};
use crate::video::{BallFlightSeen, Kept, Sound};

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

/// Serves read with the contact that was heard and the release that the ball showed, and what was
/// seen of their moments by whom; those with neither stay as they are.
pub(super) fn listen(
    found: Found,
    recording: &Recording,
    kept: &Kept,
    sound: Option<&Sound>,
    flights: &[Option<BallFlightSeen>],
    known: &FindOptions,
) -> (Found, Vec<Vec<SeenMoment>>) {
    let distance_m = distance_m(recording, kept, known.stature_m);
    let delay_s = distance_m / SPEED_OF_SOUND_M_S;
    let error_s = ONSET_ERROR_S.hypot(DISTANCE_ERROR * delay_s);
    let joints_error_s = usual_error_s(EventKind::Contact, recording.capture, recording.rate_hz);
    let given = found.serves.iter().zip(flights).map(|(serve, flight)| {
        let contact_s = serve.events[EventKind::Contact as usize].time_s;
        let heard =
            sound.and_then(|sound| sound.hit(contact_s + delay_s, WITHIN_ERRORS * joints_error_s));
        let contact = heard.map(|heard_s| GivenMoment {
            kind: EventKind::Contact,
            time_s: heard_s - delay_s,
            error_s,
        });
        let release = flight.as_ref().map(|flight| release(flight, recording.rate_hz));
        GivenServe { contact_s, moments: release.into_iter().chain(contact).collect() }
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
    // Moments that no serve can be read with are none of a serve.
    if again.serves.len() != found.serves.len() {
        return nothing(found);
    }
    let of_all = found.serves.iter().zip(&again.serves).zip(&given);
    let moments = of_all.map(|((own, read), given)| seen_of(own, read, recording, given)).collect();
    for (((own, read), given), flight) in
        found.serves.iter().zip(&mut again.serves).zip(&given).zip(flights)
    {
        if given.moments.iter().any(|moment| moment.kind == EventKind::Contact) {
            read.notes.push(format!(
                "contact as it is heard in the clip, give or take {:.0} ms, for a camera some \
                 {distance_m:.0} m away; the joints put it at {:.2} s",
                1645.0 * error_s,
                own.events[EventKind::Contact as usize].time_s
            ));
        }
        if let Some(flight) = flight {
            let told = note(flight, read);
            read.notes.push(told);
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
    let told: Vec<SeenMoment> = given
        .moments
        .iter()
        .map(|moment| {
            let event = read.events[moment.kind as usize];
            let witness =
                if moment.kind == EventKind::Release { Witness::Ball } else { Witness::Sound };
            SeenMoment {
                event: moment.kind,
                witness,
                time_s: moment.time_s,
                frame: event.frame,
                error_s: moment.error_s,
                trust: event.trust,
            }
        })
        .collect();
    seen(own, recording, given, &told)
}

/// How far the camera is from the player, as the size of the figure suggests, within bounds.
fn distance_m(recording: &Recording, kept: &Kept, stature_m: Option<f64>) -> f64 {
    let Some(height_px) = height_px(recording, kept) else {
        return f64::midpoint(NEAREST_M, FURTHEST_M);
    };
    let focal_px = FOCAL_OVER_LONG_SIDE * f64::from(kept.size_px.0.max(kept.size_px.1));
    let height_m = stature_m.unwrap_or(USUAL_STATURE_M);
    (focal_px * height_m / height_px).clamp(NEAREST_M, FURTHEST_M)
}

/// Standing height of the figure in the picture, pixels.
pub(super) fn height_px(recording: &Recording, kept: &Kept) -> Option<f64> {
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
    let tallest = heights.get(heights.len() * 9 / 10).copied();
    tallest.filter(|height| *height > 0.0).map(|height| height / NOSE_TO_ANKLES)
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

    /// A real serve filmed from diagonally in front, and what is found in it.
    fn diagonal() -> Option<(Recording, Found)> {
        let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/recordings");
        if !folder.is_dir() {
            crate::skip::skipped(format!("{} is absent", folder.display()));
            return None;
        }
        let file = folder.join("one-camera/diagonal-30hz.json");
        let recording = read(&file, &ReadOptions::default()).unwrap();
        let found = find(&recording, &FindOptions::default());
        Some((recording, found))
    }

    /// Contact by eye at frame 73.5 of 29.83 a second: `../shared/recordings/README.md`.
    #[test]
    fn a_hit_heard_puts_contact_right_and_a_silent_clip_leaves_it() {
        let Some((recording, found)) = diagonal() else { return };
        let known = FindOptions::default();
        let contact_s = 73.5 / 29.83;
        // Of a figure whose size is not known the camera is taken to be 21 m away.
        let delay_s = 21.0 / SPEED_OF_SOUND_M_S;
        let kept = Kept::of_size((1080, 1920));

        let sound = planted(contact_s + delay_s, 4.0);
        let (heard, moments) =
            listen(found.clone(), &recording, &kept, Some(&sound), &[None], &known);
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
            let (same, moments) =
                listen(found.clone(), &recording, &kept, Some(&silent), &[None], &known);
            assert_eq!(same.serves[0].events, found.serves[0].events);
            assert_eq!(moments, [Vec::new()]);
        }
    }

    /// The ball as it might be seen: let go at frame 47.5 by eye.
    #[test]
    fn a_ball_that_is_followed_puts_the_release_right_and_a_time_from_it_is_measured() {
        let Some((recording, found)) = diagonal() else { return };
        let known = FindOptions::default();
        let (release_s, contact_s) = (47.5 / 29.83, 73.5 / 29.83);
        let flight = BallFlightSeen {
            release_s,
            highest_s: contact_s - 0.2,
            rise: 0.6,
            drop: 0.1,
            aside: -0.1,
            seen: 20,
        };
        let kept = Kept::of_size((1080, 1920));
        let delay_s = 21.0 / SPEED_OF_SOUND_M_S;
        let sound = planted(contact_s + delay_s, 4.0);
        let (both, moments) =
            listen(found, &recording, &kept, Some(&sound), &[Some(flight)], &known);
        let serve = &both.serves[0];
        assert!((serve.events[EventKind::Release as usize].time_s - release_s).abs() < 1e-6);
        let witness = moments[0].iter().filter(|one| one.event == EventKind::Release);
        let witnesses: Vec<&Witness> = witness.map(|one| &one.witness).collect();
        assert_eq!(witnesses, [&Witness::Joints, &Witness::Ball]);
        assert!(
            serve.notes.iter().any(|note| note.starts_with("the ball is followed from the left"))
        );
        assert!(!serve.notes.iter().any(|note| note.contains("release is a guess")));
        let timed = serve.readings.iter().find(|one| one.measure == "release_to_contact_time");
        let crate::serve::Reading::Value { value, give_or_take, .. } = timed.unwrap().reading
        else {
            panic!("{timed:?}")
        };
        assert!((value - (contact_s - release_s)).abs() < 0.01 && give_or_take < 0.1, "{timed:?}");
    }
}
