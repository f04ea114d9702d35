//! What each bound rules out at least: a bound of 0 would be as right as any other.

use super::super::sweep::near_groups;
use super::*;

/// What each bound leaves of all curves by itself, at the cost of the tenth nearest.
#[derive(Debug, Default, Clone, Copy)]
struct Left {
    groups: f64,
    represented: f64,
    sketches: f64,
    boxed: f64,
    warped: f64,
}

/// The mean of what is left over queries, in parts of 1.
fn left(index: &Index, queries: &[Vec<f32>], params: &ValidDtwParams) -> Left {
    let mut mean = Left::default();
    let frames = index.shape().frames();
    for query in queries {
        let scan = Nearest::new(params, 10).strategy(Strategy::Scan);
        let cutoff = index.nearest(query, &scan).unwrap().neighbours[9].cost;
        let query = Curve::new(query, params.channels()).unwrap();
        let what = Nearest::new(params, 10);
        let job = Job::new(index, query, &what, &(0..frames), None, index.len());
        let (part, tables) = (&job.parts[0], &job.sketch_tables()[0]);
        let (rows, groups) = (part.segment.rows(), part.sections.groups);
        let most = threshold(cutoff, tables.scale);
        let blocks: Vec<u32> = (0..groups.div_ceil(16) as u32).collect();
        let mut near = Vec::new();
        near_groups(job.level, part.sections, tables, &blocks, most, &mut near);
        mean.groups += near.len() as f64 / groups as f64;
        mean.sketches += swept(&job, job.level, most).len() as f64 / rows as f64;

        let coarse = &job.coarse_tables(cutoff)[0];
        let all = represented(&job, coarse, cutoff);
        let kept = all.iter().filter(|one| !ruled_out(one.bound, cutoff)).count();
        mean.represented += kept as f64 / rows as f64;
        let most = threshold(cutoff, coarse.scale);
        let most_warped = threshold(cutoff, coarse.warp_scale);
        let mut scratch = WarpScratch::default();
        let mut count = [0; 2];
        for first in (0..rows).step_by(LANES) {
            let lanes = LANES.min(rows - first);
            let copies = std::array::from_fn(|lane| copy_of(&job, first + lane.min(lanes - 1)));
            let (none, mut tails) = (Ahead::new(&[], 0..0), Vec::new());
            let against = job.against(coarse);
            let found = [
                boxed(job.level, against, &copies, none, most, &mut scratch, &mut tails),
                warped(&job, job.level, coarse, &copies, None, most_warped),
            ];
            for ((count, found), most) in count.iter_mut().zip(found).zip([most, most_warped]) {
                *count +=
                    found.iter().flat_map(|all| &all[..lanes]).filter(|&&one| one <= most).count();
            }
        }
        let [boxed, warped] = count.map(|count| count as f64 / rows as f64);
        mean.boxed += boxed;
        mean.warped += warped;
    }
    let of = queries.len() as f64;
    let Left { groups, represented, sketches, boxed, warped } = mean;
    let [groups, represented, sketches, boxed, warped] =
        [groups, represented, sketches, boxed, warped].map(|sum| sum / of);
    Left { groups, represented, sketches, boxed, warped }
}

fn assert_no_more(left: Left, most: Left, what: &str) {
    let pairs = [
        (left.groups, most.groups),
        (left.represented, most.represented),
        (left.sketches, most.sketches),
        (left.boxed, most.boxed),
        (left.warped, most.warped),
    ];
    assert!(pairs.iter().all(|(left, most)| left <= most), "{what}: {left:?}, at most {most:?}");
}

/// A bound that rules out less than it did is a loss of speed that no answer shows. Drawn curves, 101 x 12:
/// sessions of players in the library, and of others. The shares are those measured in November 2026, with a
/// twentieth to spare.
#[test]
fn each_bound_rules_out_its_share_of_drawn_curves() {
    let motions = data::Motions::new(7, 101, 12);
    let curves: Vec<Vec<f32>> = (0..4000).map(|number| motions.curve(number)).collect();
    let index = index_of(&curves, 12);
    let params = DtwParams::new(12).band_frames(10).check().unwrap();
    let known: Vec<Vec<f32>> = (0..6).map(|at| motions.variant(at * 613, 1.0)).collect();
    let most =
        Left { groups: 0.95, represented: 0.0108, sketches: 0.013, boxed: 0.007, warped: 0.0048 };
    assert_no_more(left(&index, &known, &params), most, "known players");
    // Of these hardly one is nearer than another: only boxes of frames and warping tell them apart.
    let new: Vec<Vec<f32>> = (0..6).map(|at| motions.variant(5000 + at * 613, 1.0)).collect();
    let most = Left { groups: 1.0, represented: 0.99, sketches: 1.0, boxed: 0.72, warped: 0.0066 };
    assert_no_more(left(&index, &new, &params), most, "new players");
}

/// Halfway, what boxes of frames say is still to come is a good part of what is: tails of 0 would be as right.
#[test]
fn tails_say_much_of_what_is_still_to_come() {
    let motions = data::Motions::new(7, 101, 12);
    let curves: Vec<Vec<f32>> = (0..160).map(|number| motions.curve(25 * number)).collect();
    let index = index_of(&curves, 12);
    let params = DtwParams::new(12).band_frames(10).check().unwrap();
    let (values, what) = (motions.variant(25 * 613, 1.0), Nearest::new(&params, 10));
    let query = Curve::new(&values, 12).unwrap();
    let job = Job::new(&index, query, &what, &(0..101), None, index.len());
    let tables = &job.coarse_tables(1.0)[0];
    let (mut said, mut true_sum) = (0.0, 0.0);
    for first in (0..160).step_by(LANES) {
        let copies = std::array::from_fn(|lane| copy_of(&job, first + lane));
        let (none, mut tails) = (Ahead::new(&[], 0..0), Vec::new());
        let (scratch, against) = (&mut WarpScratch::default(), job.against(tables));
        boxed(job.level, against, &copies, none, i32::MAX, scratch, &mut tails).unwrap();
        let rows = tails.len() / LANES;
        for lane in 0..LANES {
            let segment = job.parts[0].segment;
            let least = to_come(query, segment.curve(segment.row_at(first + lane)), &params);
            let halfway = least.len() / 2;
            said += f64::from(tails[lane * rows + halfway]) / tables.scale;
            true_sum += least[halfway];
        }
    }
    let part = said / true_sum;
    assert!((0.52..=1.0).contains(&part), "{part} of what is still to come");
}

/// Where representatives are worth most: few players with many sessions each, and a new player who is like one of
/// them. Whole clusters of the others are then as far away as their player is.
#[test]
fn representatives_rule_out_whole_players() {
    let motions = data::Motions::new(7, 101, 12);
    let curves: Vec<Vec<f32>> =
        (0..4000).map(|number| motions.of_player(number % 12, number)).collect();
    let index = index_of(&curves, 12);
    let params = DtwParams::new(12).band_frames(10).check().unwrap();
    let like = |player: usize| -> Vec<f32> {
        let [most, some] = [player, player + 6].map(|of| motions.of_player(of, 9000 + of));
        most.iter().zip(some).map(|(most, some)| 0.8 * most + 0.2 * some).collect()
    };
    let new: Vec<Vec<f32>> = (0..6).map(like).collect();
    let most =
        Left { groups: 0.972, represented: 0.0882, sketches: 0.178, boxed: 0.0876, warped: 0.0104 };
    assert_no_more(left(&index, &new, &params), most, "new players like others");
}

/// The same on curves of real movements.
#[test]
fn each_bound_rules_out_its_share_of_real_curves() {
    let Some(takes) = recordings::takes() else { return };
    let out = |take: &recordings::Take| take.name.contains("_p05");
    let curves = |out_is: bool| -> Vec<Vec<f32>> {
        takes.iter().filter(|take| out(take) == out_is).flat_map(recordings::Take::curves).collect()
    };
    let index = index_of(&curves(false), recordings::CHANNELS);
    let queries = curves(true);
    let queries: Vec<Vec<f32>> = queries.iter().step_by(queries.len() / 8).cloned().collect();
    let params = DtwParams::new(recordings::CHANNELS).band_frames(10).check().unwrap();
    let most =
        Left { groups: 0.522, represented: 0.27, sketches: 0.085, boxed: 0.035, warped: 0.0077 };
    assert_no_more(left(&index, &queries, &params), most, "a person who is not there");
}
