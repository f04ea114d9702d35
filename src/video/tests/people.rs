//! Whom the tracker follows, on a stage of stand-in people; no networks, no ffmpeg.

use super::super::detector::Candidate;
use super::super::frame::{Frame, Region};
use super::super::model::{ModelError, PoseModel};
use super::super::track::TrackError;
use super::*;

/// People as (hip column, hip row, distance from hip to scale point).
struct Stage {
    people: Vec<[f64; 3]>,
    /// A figure smaller than this share of the area is not found.
    least: f64,
    searches: usize,
}

fn stage(people: &[[f64; 3]]) -> Stage {
    Stage { people: people.to_vec(), least: 0.0, searches: 0 }
}

fn frame() -> Frame {
    Frame { width: 1920, height: 1080, rgb: Vec::new() }
}

impl PoseModel for Stage {
    fn find(&mut self, _: &Frame, area: Region) -> Result<Vec<Candidate>, ModelError> {
        self.searches += 1;
        let inside = |p: &&[f64; 3]| {
            (p[0] - area.centre_px[0]).abs() < area.side_px / 2.0
                && (p[1] - area.centre_px[1]).abs() < area.side_px / 2.0
                && 2.0 * p[2] / area.side_px >= self.least
        };
        let found = self.people.iter().filter(inside).map(|&[x, y, size]| Candidate {
            score: 0.9,
            face_px: [x - 5.0, y - size, x + 5.0, y - size + 10.0],
            hip_px: [x, y],
            scale_px: [x, y - size],
        });
        Ok(found.collect())
    }

    fn follow(&mut self, _: &Frame, region: Region) -> Result<Option<Pose>, ModelError> {
        let away = |p: &[f64; 3]| (p[0] - region.centre_px[0]).hypot(p[1] - region.centre_px[1]);
        let nearest = self.people.iter().min_by(|a, b| away(a).total_cmp(&away(b)));
        Ok(nearest.filter(|p| away(p) < region.side_px / 2.0).map(|&[x, y, size]| Pose {
            picture_px: [[x, y]; 33],
            visibility: [1.0; 33],
            world_m: [[0.0; 3]; 33],
            flag: 1.0,
            steering_px: [[x, y], [x, y - size]],
        }))
    }
}

/// Column of the followed person's hips.
fn place(tracker: &mut Tracker, stage: &mut Stage, time_s: f64) -> Option<f64> {
    let pose = tracker.next(stage, &frame(), time_s).unwrap();
    pose.map(|pose| pose.picture_px[0][0])
}

#[test]
fn several_people_are_asked_about_left_to_right() {
    let mut stage = stage(&[[1500.0, 500.0, 200.0], [400.0, 500.0, 200.0]]);
    let error = Tracker::new(Person::Only).next(&mut stage, &frame(), 0.0).unwrap_err();
    let TrackError::Several(people) = error else { panic!("{error:?}") };
    assert_eq!(people.iter().map(|c| c.hip_px[0]).collect::<Vec<_>>(), [400.0, 1500.0]);

    let mut second = Tracker::new(Person::FromLeft(2));
    assert_eq!(place(&mut second, &mut stage, 0.0), Some(1500.0));
    let mut third = Tracker::new(Person::FromLeft(3));
    assert_eq!(place(&mut third, &mut stage, 0.0), None);
    assert_eq!(third.most_seen, 2);
    let mut drawn = Tracker::new(Person::Within([1300.0, 300.0, 1700.0, 700.0]));
    assert_eq!(place(&mut drawn, &mut stage, 0.0), Some(1500.0));
}

#[test]
fn somebody_else_is_never_taken_for_the_person_who_left() {
    let mut stage = stage(&[[400.0, 500.0, 200.0], [1500.0, 500.0, 200.0]]);
    let mut tracker = Tracker::new(Person::FromLeft(1));
    assert_eq!(place(&mut tracker, &mut stage, 0.0), Some(400.0));
    assert_eq!(place(&mut tracker, &mut stage, 0.1), Some(400.0));
    // The person leaves; the other one stays in sight for ten seconds.
    stage.people.remove(0);
    for k in 2..100 {
        assert_eq!(place(&mut tracker, &mut stage, 0.1 * f64::from(k)), None, "{k}");
    }
    // Back where they were lost, the person is followed again.
    stage.people.push([420.0, 500.0, 210.0]);
    assert_eq!(place(&mut tracker, &mut stage, 10.0), Some(420.0));
}

#[test]
fn two_in_reach_after_a_loss_are_a_gap_not_a_guess() {
    let mut stage = stage(&[[400.0, 500.0, 200.0]]);
    let mut tracker = Tracker::new(Person::Only);
    assert_eq!(place(&mut tracker, &mut stage, 0.0), Some(400.0));
    stage.people.clear();
    assert_eq!(place(&mut tracker, &mut stage, 0.1), None);
    stage.people = vec![[350.0, 500.0, 200.0], [500.0, 500.0, 200.0]];
    assert_eq!(place(&mut tracker, &mut stage, 0.2), None);
    stage.people.truncate(1);
    assert_eq!(place(&mut tracker, &mut stage, 0.3), Some(350.0));
}

#[test]
fn a_jump_onto_somebody_else_is_a_loss() {
    let mut stage = stage(&[[400.0, 500.0, 100.0]]);
    let mut tracker = Tracker::new(Person::Only);
    assert_eq!(place(&mut tracker, &mut stage, 0.0), Some(400.0));
    // Within the region the network looks at, but further than a person gets in a frame.
    stage.people = vec![[529.0, 500.0, 100.0]];
    assert_eq!(place(&mut tracker, &mut stage, 0.02), None);
    stage.people = vec![[400.0, 500.0, 40.0]];
    assert_eq!(place(&mut tracker, &mut stage, 0.04), None, "a figure of other size");
}

#[test]
fn a_lone_person_found_elsewhere_after_a_while_is_followed_and_noted() {
    let mut stage = stage(&[[400.0, 500.0, 100.0]]);
    let mut tracker = Tracker::new(Person::Only);
    assert_eq!(place(&mut tracker, &mut stage, 0.0), Some(400.0));
    stage.people = vec![[1500.0, 500.0, 100.0]];
    for at_s in [0.1, 0.5, 1.0] {
        assert_eq!(place(&mut tracker, &mut stage, at_s), None);
    }
    assert_eq!(place(&mut tracker, &mut stage, 1.2), Some(1500.0));
    assert_eq!(tracker.moved_at_s, [1.2]);
}

#[test]
fn a_small_figure_is_found_by_tiles_and_not_too_often_looked_for() {
    // Hip to scale point 60 px: 120 of 1920, below what the whole picture shows.
    let mut small = stage(&[[1000.0, 600.0, 60.0]]);
    small.least = 0.15;
    assert_eq!(place(&mut Tracker::new(Person::Only), &mut small, 0.0), Some(1000.0));

    let mut empty = stage(&[]);
    let mut tracker = Tracker::new(Person::Only);
    assert_eq!(place(&mut tracker, &mut empty, 0.0), None);
    let with_tiles = empty.searches;
    assert!(with_tiles > 10, "{with_tiles}");
    assert_eq!(place(&mut tracker, &mut empty, 0.1), None);
    assert_eq!(empty.searches, with_tiles + 1, "tiles again within 0.2 s");
}

/// Bright to the right, or downwards.
fn scene(across: bool) -> Frame {
    let (width, height) = (192, 108);
    let mut rgb = Vec::new();
    for row in 0..height {
        for column in 0..width {
            rgb.extend([if across { column as u8 } else { row as u8 * 2 }; 3]);
        }
    }
    Frame { width, height, rgb }
}

#[test]
fn after_a_cut_the_player_is_looked_for_in_the_very_next_frame() {
    let mut stage = stage(&[[40.0, 50.0, 20.0]]);
    let mut tracker = Tracker::new(Person::Only);
    let mut see = |stage: &mut Stage, scene: &Frame, time_s: f64| {
        let pose = tracker.next(stage, scene, time_s).unwrap();
        (pose.map(|pose| pose.picture_px[0][0]), tracker.cuts_at_s.clone())
    };
    let (before, after) = (scene(true), scene(false));
    assert_eq!(see(&mut stage, &before, 0.0), (Some(40.0), vec![]));
    assert_eq!(see(&mut stage, &before, 0.03), (Some(40.0), vec![]));
    // The player elsewhere, and a spectator who is small beside them.
    stage.people = vec![[150.0, 60.0, 24.0], [20.0, 40.0, 10.0]];
    assert_eq!(see(&mut stage, &after, 0.07), (Some(150.0), vec![0.07]));
    assert_eq!(see(&mut stage, &after, 0.10), (Some(150.0), vec![0.07]));
    // Back, with two as large as each other: nobody is guessed at until one has gone.
    stage.people = vec![[40.0, 50.0, 20.0], [150.0, 60.0, 22.0]];
    assert_eq!(see(&mut stage, &before, 0.13), (None, vec![0.07, 0.13]));
    stage.people.truncate(1);
    assert_eq!(see(&mut stage, &before, 0.17), (Some(40.0), vec![0.07, 0.13]));
}
