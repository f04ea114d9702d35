//! From the detector's raw numbers to the people in a picture.

use super::frame::Region;

/// Side of the detector's input in pixels.
pub(super) const INPUT: usize = 224;
/// Candidates the detector rates.
pub(super) const ANCHORS: usize = 2254;
/// Numbers per candidate: centre, size, four key points.
pub(super) const VALUES: usize = 12;

const MIN_SCORE: f64 = 0.5;
const SAME_PERSON_OVERLAP: f64 = 0.3;

/// One person found in a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// The detector's score, 0.5 to 1.
    pub score: f64,
    /// Box around the face as the detector draws it: left, top, right, bottom, pixels.
    pub face_px: [f64; 4],
    /// Mid-hip point, pixels.
    pub hip_px: [f64; 2],
    /// The point that gives the figure's size and turn, pixels.
    pub scale_px: [f64; 2],
}

impl Candidate {
    /// The square the whole figure fills.
    #[must_use]
    pub fn region(&self) -> Region {
        Region::from_points(self.hip_px, self.scale_px)
    }
}

/// Anchor centres in fractions of the input, in the order of the detector's outputs.
pub(super) fn anchors() -> Vec<[f64; 2]> {
    let mut centres = Vec::with_capacity(ANCHORS);
    for (grid, repeat) in [(28_usize, 2), (14, 2), (7, 6)] {
        for y in 0..grid {
            for x in 0..grid {
                let centre = |i: usize| (i as f64 + 0.5) / grid as f64;
                centres.extend(std::iter::repeat_n([centre(x), centre(y)], repeat));
            }
        }
    }
    centres
}

/// People in the crop `area`, best first, one candidate per person.
///
/// `boxes`: [`ANCHORS`] x [`VALUES`]; `logits`: [`ANCHORS`].
pub(super) fn decode(
    anchors: &[[f64; 2]],
    boxes: &[f32],
    logits: &[f32],
    area: Region,
) -> Vec<Candidate> {
    let mut found = Vec::new();
    for (i, anchor) in anchors.iter().enumerate() {
        let score = sigmoid(f64::from(logits[i]).clamp(-100.0, 100.0));
        if score < MIN_SCORE {
            continue;
        }
        let raw = &boxes[i * VALUES..][..VALUES];
        let value = |k: usize| f64::from(raw[k]) / INPUT as f64;
        let point = |k: usize| area.to_picture(value(k) + anchor[0], value(k + 1) + anchor[1]);
        let centre = point(0);
        let half = [value(2) * area.side_px / 2.0, value(3) * area.side_px / 2.0];
        found.push(Candidate {
            score,
            face_px: [
                centre[0] - half[0],
                centre[1] - half[1],
                centre[0] + half[0],
                centre[1] + half[1],
            ],
            hip_px: point(4),
            scale_px: point(6),
        });
    }
    merge(found)
}

/// Weighted non-maximum suppression: candidates that overlap the best one become one person,
/// their numbers averaged by score.
pub(super) fn merge(mut found: Vec<Candidate>) -> Vec<Candidate> {
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut people = Vec::new();
    while let Some(&best) = found.first() {
        let (same, rest): (Vec<_>, Vec<_>) = found
            .into_iter()
            .partition(|c| overlap(&best.face_px, &c.face_px) > SAME_PERSON_OVERLAP);
        found = rest;
        let same = if same.is_empty() { vec![best] } else { same };
        found.retain(|c| *c != best);
        let total: f64 = same.iter().map(|c| c.score).sum();
        let mean = |read: &dyn Fn(&Candidate) -> f64| {
            same.iter().map(|c| read(c) * c.score).sum::<f64>() / total
        };
        people.push(Candidate {
            score: best.score,
            face_px: std::array::from_fn(|k| mean(&|c| c.face_px[k])),
            hip_px: std::array::from_fn(|k| mean(&|c| c.hip_px[k])),
            scale_px: std::array::from_fn(|k| mean(&|c| c.scale_px[k])),
        });
    }
    people
}

fn overlap(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    let across = (a[2].min(b[2]) - a[0].max(b[0])).max(0.0);
    let down = (a[3].min(b[3]) - a[1].max(b[1])).max(0.0);
    let area = |r: &[f64; 4]| (r[2] - r[0]).max(0.0) * (r[3] - r[1]).max(0.0);
    let shared = across * down;
    let union = area(a) + area(b) - shared;
    if union > 0.0 { shared / union } else { 0.0 }
}

pub(super) fn sigmoid(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(x: f64, score: f64) -> Candidate {
        Candidate {
            score,
            face_px: [x, 0.0, x + 10.0, 10.0],
            hip_px: [x + 5.0, 40.0],
            scale_px: [x + 5.0, -20.0],
        }
    }

    #[test]
    fn there_are_as_many_anchors_as_outputs() {
        let all = anchors();
        assert_eq!(all.len(), ANCHORS);
        assert_eq!(all[0], [0.5 / 28.0, 0.5 / 28.0]);
        assert_eq!(all[1], all[0]);
        assert_eq!(all[ANCHORS - 1], [6.5 / 7.0, 6.5 / 7.0]);
    }

    #[test]
    fn overlapping_candidates_become_one_person_weighted_by_score() {
        let people = merge(vec![at(100.0, 0.6), at(0.0, 0.9), at(3.0, 0.6)]);
        assert_eq!(people.len(), 2);
        // (0 * 0.9 + 3 * 0.6) / 1.5 = 1.2
        assert!((people[0].face_px[0] - 1.2).abs() < 1e-12, "{people:?}");
        assert_eq!(people[0].score, 0.9);
        assert_eq!(people[1].face_px[0], 100.0);
    }

    #[test]
    fn a_flat_box_does_not_hang_the_merge() {
        let flat = Candidate { face_px: [5.0, 5.0, 5.0, 5.0], ..at(0.0, 0.7) };
        assert_eq!(merge(vec![flat, flat, at(50.0, 0.8)]).len(), 2);
    }
}
