//! Where the camera stood, told from the way the body faces before the toss and after the strike.

use super::landmarks::Pose;
use crate::motion::View;

/// Which way the body faced over some frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Facing {
    /// From the way the camera looks, positive to the picture's right: 0 seen from behind, 180 from
    /// the front, -180 to 180 degrees.
    pub deg: f64,
    /// How far the frames agree, 0 to 1 (length of their mean direction).
    pub agreement: f64,
}

/// An estimate of the camera's place.
#[derive(Debug, Clone, PartialEq)]
pub struct ViewEstimate {
    /// The likeliest view.
    pub view: View,
    /// Angle between the way the camera looks and the way to the net: 0 behind, 180 in front,
    /// degrees.
    pub off_axis_deg: f64,
    /// How sure, 0 to 1.
    pub confidence: f64,
    /// What it rests on.
    pub why: String,
    /// The hips after the strike; `None` where no strike was seen.
    pub after: Option<Facing>,
    /// The body at rest before the toss; `None` where the clip does not show it.
    pub before: Option<Facing>,
}

impl ViewEstimate {
    /// Whether the estimate may be taken without asking.
    #[must_use]
    pub fn is_sure(&self) -> bool {
        self.confidence >= SURE
    }
}

const SURE: f64 = 0.6;
const SHOULDERS: [usize; 2] = [11, 12];
const HIPS: [usize; 2] = [23, 24];
const WRISTS: [usize; 2] = [15, 16];
const NOSE: usize = 0;
/// Seconds after the hand's fall below the head over which the hips' facing is averaged.
const FOLLOW_THROUGH_S: (f64, f64) = (0.1, 0.6);
/// Seconds before it in which the server stands and has not begun to toss.
const ADDRESS_S: (f64, f64) = (-2.4, -1.6);
/// Slower than this no hand strikes a ball, m/s (from memory).
const STRIKE_M_S: f64 = 3.0;
/// How far a server at rest is turned away from the net, to either hand, degrees: sideways on, a
/// little open (common practice, no source).
const STANCE_DEG: f64 = 75.0;
/// Share of the stance in the estimate; the rest is the follow-through's.
const STANCE_SHARE: f64 = 0.25;
/// The two may differ by this much, degrees, before the estimate is called unsure.
const MAX_APART_DEG: f64 = 35.0;
/// Borders between behind, diagonal, side, diagonal and front, degrees.
const BORDERS_DEG: [f64; 4] = [30.0, 60.0, 120.0, 150.0];

/// Estimates the view; `None` if the person was never seen.
///
/// After the strike a server's hips come round to the net, whatever the stance was before; before
/// the toss a server stands sideways on (both common practice, no source). The network's depth is
/// weak and turns bodies at will, so that either alone is often wrong: the estimate is sure only
/// where both agree and no border between two views is near. Right and left are not told from the
/// arms, which the network exchanges: the stance may be turned to either hand.
///
/// The follow-through begins where the last raised hand falls below the head, after a fast
/// movement. Without such a moment the facing over the whole clip is used and the confidence is at
/// most 0.3; without a stance it is at most 0.5.
pub(super) fn estimate_view(times_s: &[f64], poses: &[Option<Pose>]) -> Option<ViewEstimate> {
    let falls_s = follow_throughs(times_s, poses);
    let mean = |(from_s, to_s): (f64, f64), lines: &[[usize; 2]]| {
        let inside =
            |at_s: f64| falls_s.iter().any(|fall_s| (from_s..=to_s).contains(&(at_s - fall_s)));
        let chosen = times_s.iter().zip(poses).filter(|(at_s, _)| inside(**at_s));
        mean_facing(chosen.filter_map(|(_, pose)| pose.as_ref()), lines)
    };
    let Some(after) = mean(FOLLOW_THROUGH_S, &[HIPS]) else {
        let whole = mean_facing(poses.iter().flatten(), &[SHOULDERS, HIPS])?;
        let off_axis_deg = whole.deg.abs();
        return Some(ViewEstimate {
            view: view_at(off_axis_deg),
            off_axis_deg,
            confidence: 0.3 * whole.agreement,
            why: "no swing above the head, so read from the chest over the whole clip".to_owned(),
            after: None,
            before: None,
        });
    };
    Some(judge(after, mean(ADDRESS_S, &[SHOULDERS, HIPS])))
}

/// The estimate from the two facings alone.
fn judge(after: Facing, before: Option<Facing>) -> ViewEstimate {
    let apart = before.map(|stance| {
        let turned = |hand: f64| wrapped(stance.deg - hand * STANCE_DEG - after.deg);
        let (right, left) = (turned(1.0), turned(-1.0));
        if right.abs() <= left.abs() { right } else { left }
    });
    let off_axis_deg = wrapped(after.deg + STANCE_SHARE * apart.unwrap_or(0.0)).abs();
    let view = view_at(off_axis_deg);
    let border = BORDERS_DEG
        .iter()
        .map(|border| (off_axis_deg - border).abs())
        .fold(f64::INFINITY, f64::min);
    // Half sure on a border between two views, fully 30 degrees inside.
    let clear = 0.5 + 0.5 * (border / 30.0).min(1.0);
    let agreement = before.map_or(after.agreement, |b| after.agreement.min(b.agreement));
    let chest = format!(
        "after contact the hips face {:.0} deg away from the line to the camera",
        after.deg.abs()
    );
    let (most, why) = match apart {
        Some(apart) if apart.abs() <= MAX_APART_DEG => {
            (1.0, format!("{chest}, and the stance before the toss agrees"))
        }
        Some(apart) => (
            0.5,
            format!(
                "{chest}, but the stance before the toss says {:.0} deg",
                wrapped(after.deg + apart).abs()
            ),
        ),
        None => (0.5, format!("{chest}; the stance before the toss is not in the clip")),
    };
    ViewEstimate {
        view,
        off_axis_deg,
        confidence: agreement * clear * most,
        why,
        after: Some(after),
        before,
    }
}

fn view_at(off_axis_deg: f64) -> View {
    let [behind, side, diagonal, front] = BORDERS_DEG;
    match off_axis_deg {
        a if a < behind => View::Behind,
        a if a > front => View::Front,
        a if (side..=diagonal).contains(&a) => View::Side,
        _ => View::Diagonal,
    }
}

/// Into -180 to 180.
fn wrapped(deg: f64) -> f64 {
    (deg + 180.0).rem_euclid(360.0) - 180.0
}

/// The mean way the body faces, by the left-to-right `lines` across it, each frame weighted with
/// how well the shoulders are seen; `None` if no frame shows it.
fn mean_facing<'a>(poses: impl Iterator<Item = &'a Pose>, lines: &[[usize; 2]]) -> Option<Facing> {
    let mut sum = [0.0; 2];
    let mut weight = 0.0;
    for pose in poses {
        let Some(facing) = facing(pose, lines) else { continue };
        let seen: f64 = SHOULDERS.iter().map(|&k| pose.visibility[k]).sum::<f64>() / 2.0;
        sum[0] += seen * facing[0];
        sum[1] += seen * facing[1];
        weight += seen;
    }
    (weight > 0.0).then(|| Facing {
        deg: sum[0].atan2(sum[1]).to_degrees(),
        agreement: sum[0].hypot(sum[1]) / weight,
    })
}

/// Times at which a raised and fast hand, the last of both, falls below the head and both stay
/// there for the follow-through.
fn follow_throughs(times_s: &[f64], poses: &[Option<Pose>]) -> Vec<f64> {
    let raised =
        |pose: &Pose| WRISTS.iter().any(|&wrist| pose.world_m[wrist][1] < pose.world_m[NOSE][1]);
    let fast = |i: usize| {
        let (Some(before), Some(now)) = (&poses[i - 1], &poses[i]) else { return false };
        WRISTS.iter().any(|&wrist| {
            let d: f64 =
                (0..3).map(|c| (now.world_m[wrist][c] - before.world_m[wrist][c]).powi(2)).sum();
            d.sqrt() / (times_s[i] - times_s[i - 1]) > STRIKE_M_S
        })
    };
    (1..poses.len())
        .filter(|&i| {
            let fell =
                matches!((&poses[i - 1], &poses[i]), (Some(b), Some(n)) if raised(b) && !raised(n));
            let within = |k: &usize| times_s[*k] - times_s[i] <= FOLLOW_THROUGH_S.1;
            fell && (i..poses.len())
                .take_while(within)
                .all(|k| poses[k].as_ref().is_none_or(|pose| !raised(pose)))
                && (1..=i).rev().take_while(|&k| times_s[i] - times_s[k] <= 0.25).any(fast)
        })
        .map(|i| times_s[i])
        .collect()
}

/// Unit vector of the way the body faces in the ground plane: to the picture's right, away from the
/// camera.
fn facing(pose: &Pose, lines: &[[usize; 2]]) -> Option<[f64; 2]> {
    let mut line = [0.0; 2];
    for &[left, right] in lines {
        let (l, r) = (pose.world_m[left], pose.world_m[right]);
        line[0] += r[0] - l[0];
        line[1] += r[2] - l[2];
    }
    let length = line[0].hypot(line[1]);
    // From left to right, turned a quarter to the left, is forward.
    (length > 0.0).then(|| [-line[1] / length, line[0] / length])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A body turned so that its chest faces `deg` to the right of the camera's line.
    fn body(deg: f64, wrist: [f64; 3]) -> Pose {
        let mut world_m = [[0.0; 3]; 33];
        // Facing [sin, cos] (right, away): right side is [cos, -sin].
        let (sin, cos) = deg.to_radians().sin_cos();
        for (k, half, height) in
            [(11, -0.2, -0.5), (12, 0.2, -0.5), (23, -0.12, 0.0), (24, 0.12, 0.0)]
        {
            world_m[k] = [half * cos, height, -half * sin];
        }
        world_m[0] = [0.0, -0.7, 0.0];
        world_m[15] = [0.0, 0.1, 0.0];
        world_m[16] = wrist;
        Pose {
            picture_px: [[0.0; 2]; 33],
            visibility: [1.0; 33],
            world_m,
            flag: 1.0,
            steering_px: [[0.0; 2]; 2],
        }
    }

    /// A serve whose stance and follow-through face so far off the camera's line.
    fn serve(stance_deg: f64, after_deg: f64) -> ViewEstimate {
        let poses = [
            Some(body(stance_deg, [0.2, 0.0, 0.0])),
            Some(body(77.0, [0.2, -1.0, 0.0])),
            Some(body(77.0, [0.2, -0.3, 0.0])),
            Some(body(after_deg, [0.2, 0.1, 0.0])),
            Some(body(after_deg, [0.2, 0.1, 0.0])),
        ];
        estimate_view(&[0.0, 1.8, 1.85, 2.2, 2.4], &poses).unwrap()
    }

    #[test]
    fn stance_and_follow_through_tell_the_view_where_they_agree() {
        for (deg, view) in [
            (0.0, View::Behind),
            (45.0, View::Diagonal),
            (-90.0, View::Side),
            (90.0, View::Side),
            (-135.0, View::Diagonal),
            (180.0, View::Front),
        ] {
            for hand in [STANCE_DEG, -STANCE_DEG] {
                let got = serve(deg + hand, deg);
                assert_eq!(got.view, view, "{deg}: {got:?}");
                assert!(got.is_sure(), "{deg}: {got:?}");
                // Turned to neither hand, or near a border, nobody is sure.
                assert!(!serve(deg, deg).is_sure(), "{deg}");
            }
        }
        for border in BORDERS_DEG {
            let got = serve(border + STANCE_DEG + 2.0, border + 2.0);
            assert!(!got.is_sure(), "{border}: {got:?}");
        }
        // Without the stance in the clip either.
        assert!(!judge(Facing { deg: 90.0, agreement: 1.0 }, None).is_sure());
    }

    /// Every 15 degrees around four invented players filmed as a drawn figure, made by
    /// `tests/video_view.rs`. A view on a border counts as either.
    #[test]
    fn what_the_estimate_is_worth_all_around_is_what_is_stated() {
        let table = include_str!("../../tests/fixtures/video/view-all-around.csv");
        // Sure and right, sure and wrong, unsure.
        let mut counts = [0; 3];
        let mut wrong = Vec::new();
        for line in table.lines().filter(|l| !l.starts_with('#')).skip(1) {
            let fields: Vec<&str> = line.split(',').collect();
            let number = |k: usize| fields[k].parse::<f64>().unwrap();
            let facing = |k: usize| Facing { deg: number(k), agreement: number(k + 1) };
            let got = judge(facing(2), Some(facing(4)));
            let around = number(1).abs();
            let right = got.view == view_at(around + 1e-9) || got.view == view_at(around - 1e-9);
            counts[match (got.is_sure(), right) {
                (true, true) => 0,
                (true, false) => {
                    wrong.push(format!("{} at {}: {:?}", fields[0], fields[1], got.view));
                    1
                }
                (false, _) => 2,
            }] += 1;
        }
        assert_eq!(counts, [53, 3, 40], "{wrong:?}");
    }

    #[test]
    fn without_a_strike_nothing_is_sure() {
        let poses = [Some(body(0.0, [0.2, 0.0, 0.0])), Some(body(0.0, [0.2, 0.1, 0.0]))];
        let got = estimate_view(&[0.0, 0.1], &poses).unwrap();
        assert_eq!(got.view, View::Behind);
        assert!(!got.is_sure());
        assert_eq!(estimate_view(&[0.0], &[None]), None);
    }
}
