//! The layouts by their number of points.

use super::parse::Person;
use crate::motion::Joint;
use crate::motion::read::ReadOptions;
use crate::motion::read::errors::{FilePlace, ReadErrorKind};
use crate::motion::read::layout::Layout;

pub(super) const fn joints_17() -> [Option<Joint>; 17] {
    use Joint::*;
    [
        Some(Nose),
        Some(LeftEye),
        Some(RightEye),
        Some(LeftEar),
        Some(RightEar),
        Some(LeftShoulder),
        Some(RightShoulder),
        Some(LeftElbow),
        Some(RightElbow),
        Some(LeftWrist),
        Some(RightWrist),
        Some(LeftHip),
        Some(RightHip),
        Some(LeftKnee),
        Some(RightKnee),
        Some(LeftAnkle),
        Some(RightAnkle),
    ]
}

pub(super) const fn joints_25() -> [Option<Joint>; 25] {
    use Joint::*;
    [
        Some(Nose),
        Some(Neck),
        Some(RightShoulder),
        Some(RightElbow),
        Some(RightWrist),
        Some(LeftShoulder),
        Some(LeftElbow),
        Some(LeftWrist),
        None, // middle of the hips
        Some(RightHip),
        Some(RightKnee),
        Some(RightAnkle),
        Some(LeftHip),
        Some(LeftKnee),
        Some(LeftAnkle),
        Some(RightEye),
        Some(LeftEye),
        Some(RightEar),
        Some(LeftEar),
        Some(LeftToe),
        None, // left little toe
        Some(LeftHeel),
        Some(RightToe),
        None, // right little toe
        Some(RightHeel),
    ]
}

pub(in crate::motion) const fn joints_33() -> [Option<Joint>; 33] {
    use Joint::*;
    [
        Some(Nose),
        None, // inner corner of the eye
        Some(LeftEye),
        None,
        None,
        Some(RightEye),
        None,
        Some(LeftEar),
        Some(RightEar),
        None, // corners of the mouth
        None,
        Some(LeftShoulder),
        Some(RightShoulder),
        Some(LeftElbow),
        Some(RightElbow),
        Some(LeftWrist),
        Some(RightWrist),
        Some(LeftLittle),
        Some(RightLittle),
        Some(LeftIndex),
        Some(RightIndex),
        Some(LeftThumb),
        Some(RightThumb),
        Some(LeftHip),
        Some(RightHip),
        Some(LeftKnee),
        Some(RightKnee),
        Some(LeftAnkle),
        Some(RightAnkle),
        Some(LeftHeel),
        Some(RightHeel),
        Some(LeftToe),
        Some(RightToe),
    ]
}

/// The layout with this many points, and its joints.
pub(super) fn by_points(points: usize) -> Option<(Layout, Vec<Option<Joint>>)> {
    match points {
        17 => Some((Layout::Keypoints17, joints_17().to_vec())),
        25 => Some((Layout::Keypoints25, joints_25().to_vec())),
        33 => Some((Layout::Keypoints33, joints_33().to_vec())),
        _ => None,
    }
}

pub(super) fn layout_of(
    people: &[Option<Person>],
    options: &ReadOptions,
) -> Result<(Layout, Vec<Option<Joint>>), ReadErrorKind> {
    let mut found: Option<usize> = None;
    for (frame, person) in people.iter().enumerate() {
        let Some(person) = person else { continue };
        let points = person.points.len();
        match found {
            None => found = Some(points),
            Some(before) if before != points => {
                return Err(ReadErrorKind::RaggedRow {
                    place: FilePlace::Frame(frame),
                    expected: before,
                    found: points,
                });
            }
            Some(_) => {}
        }
    }
    let points = found.ok_or(ReadErrorKind::NothingMeasured)?;
    let wrong = || ReadErrorKind::Keypoints {
        place: FilePlace::Header,
        expected: options.layout.map_or("17, 25 or 33 points a person", expected_points),
        found: format!("{points} points"),
    };
    let (layout, order) = by_points(points).ok_or_else(wrong)?;
    match options.layout {
        Some(asked) if asked != layout => Err(wrong()),
        _ => Ok((layout, order)),
    }
}

pub(super) fn expected_points(layout: Layout) -> &'static str {
    match layout {
        Layout::Keypoints17 => "17 points a person",
        Layout::Keypoints25 => "25 points a person",
        _ => "33 points a person",
    }
}
