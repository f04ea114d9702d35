//! The typical curve of a set.

use super::{GroupError, check};
use crate::dtw::{Scratch, dtw, explain};
use crate::params::{Curve, ValidDtwParams};

/// A barycentre and how it was reached.
#[derive(Debug, Clone, PartialEq)]
pub struct Barycentre {
    /// The curve, as long as the one it started from.
    pub values: Vec<f32>,
    /// Sum of the members' costs to the barycentre: at the start, then after each round. Never rises.
    pub objective: Vec<f64>,
}

/// The DTW barycentre of `members`, started from `start` (a medoid is a good one).
///
/// Each round aligns every member with the curve and replaces each frame by the mean of the frames
/// aligned with it. It stops after `rounds`, or when a round no longer lowers the objective; that
/// round is then undone, so the objective never rises, rounding included. Frames keep their count.
///
/// Cost: rounds x members x one full alignment. Source: Petitjean, Ketterlin and Gançarski 2011,
/// doi 10.1016/j.patcog.2010.09.013.
///
/// ```
/// use curve_index::{Curve, DtwParams, barycentre};
/// let curves = [[0.0, 2.0], [0.0, 4.0]];
/// let curves: Vec<Curve> = curves.iter().map(|c| Curve::new(c, 1)).collect::<Result<_, _>>()?;
/// let params = DtwParams::new(1).band_frames(0).check()?;
/// let typical = barycentre(&curves, curves[0], &params, 10)?;
/// assert_eq!(typical.values, [0.0, 3.0]);
/// assert_eq!(typical.objective, [4.0, 2.0]); // (2-2)^2 + (2-4)^2, then 1 + 1
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`GroupError::Empty`] without members, [`GroupError::Channels`] naming the first that does not
/// fit (the start counts as the one behind the last).
pub fn barycentre(
    members: &[Curve<'_>],
    start: Curve<'_>,
    params: &ValidDtwParams,
    rounds: usize,
) -> Result<Barycentre, GroupError> {
    check(members, params)?;
    if members.is_empty() {
        return Err(GroupError::Empty);
    }
    if start.channels() != params.channels() {
        return Err(GroupError::Channels {
            place: members.len(),
            expected: params.channels(),
            found: start.channels(),
        });
    }
    let mut scratch = Scratch::default();
    let mut objective_of = |values: &[f32]| -> f64 {
        let curve = Curve::trusted(values, params.channels());
        let cost = |&member| dtw(curve, member, params, f64::INFINITY, &mut scratch);
        members.iter().filter_map(cost).sum()
    };
    let mut values = start.values().to_vec();
    let mut objective = vec![objective_of(&values)];
    for _ in 0..rounds {
        let next = round(members, &values, params);
        let cost = objective_of(&next);
        if cost >= objective[objective.len() - 1] {
            break;
        }
        objective.push(cost);
        values = next;
    }
    Ok(Barycentre { values, objective })
}

/// Each frame replaced by the mean of the members' frames aligned with it.
fn round(members: &[Curve<'_>], values: &[f32], params: &ValidDtwParams) -> Vec<f32> {
    let channels = params.channels();
    let curve = Curve::trusted(values, channels);
    let mut sums = vec![0.0_f64; values.len()];
    let mut counts = vec![0.0_f64; curve.frames()];
    for &member in members {
        for (frame, other) in explain(curve, member, params).path {
            counts[frame] += 1.0;
            let sum = &mut sums[frame * channels..(frame + 1) * channels];
            for (sum, &value) in sum.iter_mut().zip(member.frame(other)) {
                *sum += f64::from(value);
            }
        }
    }
    // A path visits every frame, so no count is 0; a mean of f32 fits f32.
    (0..sums.len()).map(|at| (sums[at] / counts[at / channels]) as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::DtwParams;

    /// Invented curves that warp and differ by noise: no round may raise the sum of costs, and the last
    /// figure is the cost of the curve handed back.
    #[test]
    fn the_objective_never_rises() {
        for seed in 0_u32..20 {
            let member = |number: u32| -> Vec<f32> {
                let hash = |at: u32| (at ^ seed << 8 ^ number << 16).wrapping_mul(2_654_435_761);
                let shift = (hash(7) % 7) as f32;
                let noise = |at: u32| (hash(at) >> 16) as f32 / 65_536.0;
                (0..60).map(|at| ((at / 2) as f32 * 0.3 + shift).sin() + 0.4 * noise(at)).collect()
            };
            let values: Vec<Vec<f32>> = (0..9).map(member).collect();
            let curves: Vec<Curve<'_>> = values.iter().map(|v| Curve::new(v, 2).unwrap()).collect();
            let params = DtwParams::new(2).band_frames(4).check().unwrap();
            let typical = barycentre(&curves, curves[0], &params, 30).unwrap();
            let falls = typical.objective.windows(2).all(|two| two[1] < two[0]);
            assert!(falls && typical.objective.len() > 1, "seed {seed}: {:?}", typical.objective);
            let at_end = Curve::new(&typical.values, 2).unwrap();
            let sum: f64 = curves.iter().map(|&one| crate::naive::dtw(at_end, one, &params)).sum();
            let last = typical.objective[typical.objective.len() - 1];
            assert!((sum - last).abs() <= 1e-9 * sum, "seed {seed}: {sum} and {last}");
        }
    }
}
