//! Where the net is: from one blurred hand where joints are measured in space, from several signs of
//! the body together, and from all serves of a clip, where one camera is all there is.

use super::EventKind;
use super::body::between;
use super::events::Moments;
use super::track::Track;
use super::vector::{V3, mid, sub};
use crate::motion::{Capture, Dimensions, Joint, View};
use crate::remedy::Remedy;

/// How far the hand's way at contact, or all signs at their best, may point beside the net, one
/// standard error.
const HEADING_ERROR_DEG: f64 = 12.0;
/// Signs that leave more doubt than this (one standard error) do not tell where the net is.
const MOST_ERROR_DEG: f64 = 25.0;
/// Nor does a stated view that lies further than this from what the body shows.
const MOST_APART_DEG: f64 = 60.0;
/// A sign shorter than this points nowhere (statures).
const LEAST_SIGN: f64 = 0.02;

/// The direction to the net in the capture's space, hitting side named right.
#[derive(Debug, Clone)]
pub(super) struct Net {
    /// Unit vector seen from above; in a picture along it.
    pub towards: [f64; 2],
    /// Standard error, degrees.
    pub error_deg: f64,
    /// Why it is not sure.
    pub doubt: Option<String>,
}

/// What is known of a serve when the net is looked for.
pub(super) struct Seen<'a> {
    pub track: &'a Track,
    pub moments: &'a Moments,
}

/// One thing that points to the net.
struct Sign {
    towards: [f64; 2],
    weight: f64,
}

impl Net {
    /// From joints in space: the hitting wrist's way past the hips at contact; straight ahead where
    /// the wrist has no horizontal way.
    ///
    /// The stance alone cannot tell it: some players stand sideways to the net and some face it.
    pub(super) fn by_hand(seen: &Seen<'_>, rate_hz: f64) -> Self {
        let towards = hand_at_contact(seen, rate_hz).unwrap_or([0.0, 1.0]);
        Self { towards, error_deg: HEADING_ERROR_DEG, doubt: None }
    }

    /// From one camera: `serves` of one clip have one net. `None` where no sign is seen.
    pub(super) fn by_signs(
        serves: &[Seen<'_>],
        dimensions: Dimensions,
        view: Option<View>,
        stature: f64,
    ) -> Option<Self> {
        let flat = dimensions == Dimensions::Two;
        let mut all: Vec<Sign> =
            serves.iter().flat_map(|seen| signs(seen, flat, stature)).collect();
        if flat {
            // Across the picture, net and tossing side are told apart by the view alone.
            match view {
                Some(View::Behind) => return Some(Self::stated([-1.0, 0.0])),
                Some(View::Front) => return Some(Self::stated([1.0, 0.0])),
                _ => {}
            }
        }
        let (by_body, _) = mean(&all)?;
        let mut doubt = None;
        if let (false, Some(view)) = (flat, view) {
            let said = nearest(view, by_body);
            let apart_deg = angle_deg(said, by_body);
            if apart_deg > MOST_APART_DEG {
                doubt = Some(format!(
                    "the body turns {apart_deg:.0} deg away from where the stated view has the \
                     net: {}",
                    Remedy::SayView
                ));
            }
            all.push(Sign { towards: said, weight: 1.5 });
        }
        let (towards, agreement) = mean(&all)?;
        let sum: f64 = all.iter().map(|sign| sign.weight).sum();
        let squares: f64 = all.iter().map(|sign| sign.weight.powi(2)).sum();
        let spread_deg = (-2.0 * agreement.min(1.0).ln()).sqrt().to_degrees();
        let error_deg = (spread_deg * squares.sqrt() / sum).max(HEADING_ERROR_DEG);
        if error_deg > MOST_ERROR_DEG && doubt.is_none() {
            doubt = Some(format!(
                "feet, trunk, hips and hand do not agree on where the net is: {}",
                Remedy::SayView
            ));
        }
        Some(Self { towards, error_deg, doubt })
    }

    fn stated(towards: [f64; 2]) -> Self {
        Self { towards, error_deg: HEADING_ERROR_DEG, doubt: None }
    }

    /// What a reader must know of a direction found by signs.
    pub(super) fn note(&self, capture: Capture) -> Option<String> {
        if capture != Capture::OneCameraLifted {
            return None;
        }
        Some(match &self.doubt {
            Some(doubt) => doubt.clone(),
            None => format!(
                "net: {:.0} deg off the line the camera looks along, give or take {:.0}, by feet, \
                 trunk, hips and hand",
                self.towards[0].atan2(self.towards[1]).to_degrees().abs(),
                1.645 * self.error_deg
            ),
        })
    }
}

/// The wrist's way within a frame of contact.
fn hand_at_contact(seen: &Seen<'_>, rate_hz: f64) -> Option<[f64; 2]> {
    let Seen { track, moments } = seen;
    let wrist = track.path(Joint::RightWrist)?;
    let (left, right) = (track.path(Joint::LeftHip)?, track.path(Joint::RightHip)?);
    let last = (track.samples - 1) as f64;
    let at = |position: f64| {
        let p = position.clamp(0.0, last);
        sub(between(wrist, p), mid(between(left, p), between(right, p)))
    };
    let contact = moments.at(EventKind::Contact);
    let reach = 0.03f64.max(1.0 / rate_hz) / track.step_s;
    let (from, to) = (at(contact - reach), at(contact + reach));
    let (x, y) = (to[0] - from[0], to[1] - from[1]);
    let length = x.hypot(y);
    (length > 0.0).then(|| [x / length, y / length])
}

/// What in one serve points to the net: the side on which the tossing shoulder, hip and foot stand
/// before the toss; the trunk's and the hand's way from trophy to after contact; where the hips face
/// after the strike; in a picture where the whole body goes. All common practice, no source; of 29
/// real serves filmed from the side each but the trunk's way (27) had the net right.
fn signs(seen: &Seen<'_>, flat: bool, stature: f64) -> Vec<Sign> {
    let Seen { track, moments } = seen;
    let pair = |left: Joint| Some((track.path(left)?, track.path(left.mirrored())?));
    let (Some((sh_l, sh_r)), Some((hip_l, hip_r)), Some(wrist)) =
        (pair(Joint::LeftShoulder), pair(Joint::LeftHip), track.path(Joint::RightWrist))
    else {
        return Vec::new();
    };
    let steps = |seconds: f64| seconds / track.step_s;
    let last = (track.samples - 1) as f64;
    let average = |from: f64, to: f64, of: &dyn Fn(usize) -> V3| -> V3 {
        let range = from.clamp(0.0, last).round() as usize..=to.clamp(0.0, last).round() as usize;
        let seen: Vec<V3> = range.map(of).filter(|p| !p[0].is_nan()).collect();
        let count = seen.len() as f64;
        [0, 1, 2].map(|axis| seen.iter().map(|p| p[axis]).sum::<f64>() / count)
    };
    let hips = |i: usize| mid(hip_l[i], hip_r[i]);
    let trunk = |i: usize| sub(mid(sh_l[i], sh_r[i]), hips(i));
    let hand = |i: usize| sub(wrist[i], hips(i));
    let at = |kind| moments.at(kind);
    let (start, trophy) = (at(EventKind::TossStart), at(EventKind::Trophy));
    let contact = at(EventKind::Contact);
    let before = (start - steps(0.1), start + steps(0.3));
    let mut found: Vec<(V3, f64)> = Vec::new();
    let side = |i: usize| {
        let (shoulders, hips) = (sub(sh_l[i], sh_r[i]), sub(hip_l[i], hip_r[i]));
        [0, 1, 2].map(|axis| shoulders[axis] + hips[axis])
    };
    found.push((average(before.0, before.1, &side), 1.0));
    if let Some((left, right)) = pair(Joint::LeftAnkle) {
        found.push((average(before.0, before.1, &|i| sub(left[i], right[i])), 0.7));
    }
    let way = |of: &dyn Fn(usize) -> V3, from: (f64, f64), to: (f64, f64)| {
        sub(average(to.0, to.1, of), average(from.0, from.1, of))
    };
    let around = (trophy - steps(0.05), trophy + steps(0.05));
    found.push((way(&trunk, around, (contact + steps(0.05), contact + steps(0.25))), 0.7));
    found.push((way(&hand, around, (contact + steps(0.08), contact + steps(0.14))), 1.0));
    if flat {
        found.push((way(&hips, before, (contact + steps(0.2), contact + steps(0.3))), 0.7));
    } else {
        let facing = |i: usize| {
            let line = sub(hip_r[i], hip_l[i]);
            [-line[1], line[0], 0.0]
        };
        found.push((average(contact + steps(0.1), contact + steps(0.5), &facing), 0.5));
    }
    found
        .into_iter()
        .filter_map(|(v, weight)| {
            let length = if flat { v[0].abs() } else { v[0].hypot(v[1]) };
            let towards = if flat { [v[0].signum(), 0.0] } else { [v[0] / length, v[1] / length] };
            (length > LEAST_SIGN * stature).then_some(Sign { towards, weight })
        })
        .collect()
}

/// Mean direction and how far the signs agree, 0 to 1.
fn mean(signs: &[Sign]) -> Option<([f64; 2], f64)> {
    let sum = signs.iter().fold([0.0; 2], |sum, sign| {
        [0, 1].map(|axis| sum[axis] + sign.weight * sign.towards[axis])
    });
    let weight: f64 = signs.iter().map(|sign| sign.weight).sum();
    let length = sum[0].hypot(sum[1]);
    (length > 0.0).then(|| ([sum[0] / length, sum[1] / length], length / weight))
}

/// The direction to the net that a view allows (y away from the camera), nearest to `by_body`.
fn nearest(view: View, by_body: [f64; 2]) -> [f64; 2] {
    let half = std::f64::consts::FRAC_1_SQRT_2;
    let allowed: &[[f64; 2]] = match view {
        View::Behind => &[[0.0, 1.0]],
        View::Front => &[[0.0, -1.0]],
        View::Side => &[[1.0, 0.0], [-1.0, 0.0]],
        View::Diagonal => &[[half, half], [half, -half], [-half, half], [-half, -half]],
    };
    let along = |d: &[f64; 2]| d[0] * by_body[0] + d[1] * by_body[1];
    allowed.iter().copied().max_by(|a, b| along(a).total_cmp(&along(b))).unwrap_or(by_body)
}

fn angle_deg(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] * b[0] + a[1] * b[1]).clamp(-1.0, 1.0).acos().to_degrees()
}
