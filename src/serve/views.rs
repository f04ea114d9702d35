//! Which serves of two clips are the same, by the times between their contacts.
//!
//! Each clip has its own clock, so one offset is unknown, and a serve may be missing in either. Every
//! offset that brings two contacts together is tried, and weighed against the two clips holding
//! different serves: contacts that meet speak for it the more, the less regularly the player serves
//! and the better the moments are known; serves that one clip alone shows speak against it. A player
//! who serves like clockwork leaves several offsets, and those are for a person to choose from.

use super::Reading;

/// Contact of a serve on the clock of its clip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedContact {
    /// Time in the clip, seconds.
    pub time_s: f64,
    /// Standard error, seconds.
    pub error_s: f64,
}

/// One way of laying two clips beside each other.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipMatch {
    /// Time in the other clip less time in the one, seconds.
    pub offset_s: f64,
    /// Serves that are the same: number in the one, number in the other, in order of time.
    pub pairs: Vec<(usize, usize)>,
    /// How likely this is, 0 to 1, beside the other ways and the clips holding different serves.
    pub chance: f64,
}

/// What two clips are to each other.
#[derive(Debug, Clone, PartialEq)]
pub enum ClipsCompared {
    /// They show the same serves.
    Same(ClipMatch),
    /// They may; the ways to choose from, the likeliest first.
    Unsure(Vec<ClipMatch>),
    /// They do not.
    Apart,
}

/// From this chance on two clips are taken for the same serves (our estimate).
pub const SAME_FROM: f64 = 0.95;
/// Below this chance of any way nobody is asked.
const ASKED_FROM: f64 = 0.25;
/// Ways to choose from at most.
const MOST_WAYS: usize = 5;
/// Contacts meet within so many standard errors of their distance.
const WITHIN_ERRORS: f64 = 3.0;
/// A moment is known no better than this between two clocks: frames are told to the millisecond, and a
/// shutter stays open for some of them (our estimate).
const LEAST_ERROR_S: f64 = 0.01;
/// How unevenly a player serves, s, before any clip shows it, and how many intervals that counts for
/// (our estimates: with a basket beside them, players serve every 5 to 15 s).
const USUAL_SPREAD_S: f64 = 2.0;
const USUAL_COUNTS: f64 = 0.25;
/// Chance that a serve between two that both clips show is missing in one of them: from behind one in
/// ten is (`src/serve/REAL-CLIPS.md`), and a figure may be covered.
const MISSED: f64 = 0.15;
/// Chance that one clip begins before or ends after a serve that the other shows (our estimate).
const OUTSIDE: f64 = 0.6;

/// Whether two clips of one player show the same serves, from their contacts alone.
///
/// `one`, `other`: in order of time, finite, errors above 0. The chance of every way and of none
/// add up to 1; without any contact in one of them they are apart. Two single serves may always be
/// the same, so that is for a person to say. Cost: the product of the numbers of serves, squared.
///
/// ```
/// use precedent::serve::{ClipsCompared, TimedContact, compare_clips};
/// let at = |times: &[f64]| -> Vec<TimedContact> {
///     times.iter().map(|&time_s| TimedContact { time_s, error_s: 0.03 }).collect()
/// };
/// // The second clip's clock is 7 s behind, and it missed a serve.
/// let (side, behind) = (at(&[3.0, 11.5, 24.0, 31.2]), at(&[10.0, 31.0, 38.2]));
/// let ClipsCompared::Same(found) = compare_clips(&side, &behind) else { panic!() };
/// assert_eq!(found.pairs, [(0, 0), (2, 1), (3, 2)]);
/// assert!((found.offset_s - 7.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn compare_clips(one: &[TimedContact], other: &[TimedContact]) -> ClipsCompared {
    let spread_s = spread_s(one, other);
    let mut ways: Vec<ClipMatch> = Vec::new();
    for i in 0..one.len() {
        for j in 0..other.len() {
            let way = laid(one, other, (i, j));
            if !ways.iter().any(|known| known.pairs == way.pairs) {
                ways.push(way);
            }
        }
    }
    // A way that only lacks pairs of another is the same way, less well seen.
    let holds = |more: &ClipMatch, less: &ClipMatch| {
        more.pairs.len() > less.pairs.len() && less.pairs.iter().all(|p| more.pairs.contains(p))
    };
    let all = ways.clone();
    ways.retain(|way| !all.iter().any(|more| holds(more, way)));
    let offsets = (one.len() + other.len()).saturating_sub(1).max(1) as f64;
    for way in &mut ways {
        way.chance = weight(one, other, way, spread_s) / offsets;
    }
    let total = 1.0 + ways.iter().map(|way| way.chance).sum::<f64>();
    ways.iter_mut().for_each(|way| way.chance /= total);
    ways.sort_by(|a, b| b.chance.total_cmp(&a.chance).then_with(|| a.pairs.cmp(&b.pairs)));
    match ways.first() {
        Some(best) if best.chance >= SAME_FROM => ClipsCompared::Same(ways.swap_remove(0)),
        Some(best) if best.chance >= ASKED_FROM => {
            let least = best.chance / 50.0;
            ways.retain(|way| way.chance >= least);
            ways.truncate(MOST_WAYS);
            ClipsCompared::Unsure(ways)
        }
        _ => ClipsCompared::Apart,
    }
}

/// Two clips laid beside each other so that these two serves are one, because somebody says so.
///
/// # Panics
/// If either clip has no such serve.
#[must_use]
pub fn laid_at(one: &[TimedContact], other: &[TimedContact], (i, j): (usize, usize)) -> ClipMatch {
    ClipMatch { chance: 1.0, ..laid(one, other, (i, j)) }
}

/// The pairs that meet where serve `i` meets `j`, which is among them; the offset is then that of all.
fn laid(one: &[TimedContact], other: &[TimedContact], (i, j): (usize, usize)) -> ClipMatch {
    let mut offset_s = other[j].time_s - one[i].time_s;
    let mut pairs = Vec::new();
    // The first serve's own error moves all others; once they are known, their mean does not.
    for _ in 0..2 {
        pairs = met(one, other, offset_s, (i, j));
        let (mut sum, mut weights) = (0.0, 0.0);
        for &(a, b) in &pairs {
            let weight = error_s(one[a], other[b]).powi(-2);
            sum += weight * (other[b].time_s - one[a].time_s);
            weights += weight;
        }
        offset_s = sum / weights;
    }
    ClipMatch { offset_s, pairs, chance: 0.0 }
}

/// Contacts that meet at an offset, each at most once, in order of time.
fn met(
    one: &[TimedContact],
    other: &[TimedContact],
    offset_s: f64,
    (i, j): (usize, usize),
) -> Vec<(usize, usize)> {
    let apart = |a: usize, b: usize| (other[b].time_s - one[a].time_s - offset_s).abs();
    let mut pairs = vec![(i, j)];
    let mut near: Vec<(usize, usize)> = (0..one.len())
        .filter(|&a| a != i)
        .flat_map(|a| (0..other.len()).filter(move |&b| b != j).map(move |b| (a, b)))
        .filter(|&(a, b)| apart(a, b) <= WITHIN_ERRORS * error_s(one[a], other[b]))
        .collect();
    near.sort_by(|&(a, b), &(c, d)| apart(a, b).total_cmp(&apart(c, d)).then((a, b).cmp(&(c, d))));
    for (a, b) in near {
        // On one clock nothing overtakes.
        if pairs.iter().all(|&(c, d)| (a < c) == (b < d) && a != c && b != d) {
            pairs.push((a, b));
        }
    }
    pairs.sort_unstable();
    pairs
}

/// Standard error of the time between two contacts.
fn error_s(one: TimedContact, other: TimedContact) -> f64 {
    one.error_s.hypot(other.error_s).max(LEAST_ERROR_S)
}

/// How far the times from serve to serve differ, s: what is usual, and what the clips show.
fn spread_s(one: &[TimedContact], other: &[TimedContact]) -> f64 {
    let gaps = |clip: &[TimedContact]| -> Vec<f64> {
        clip.windows(2).map(|pair| pair[1].time_s - pair[0].time_s).collect()
    };
    let all: Vec<f64> = gaps(one).into_iter().chain(gaps(other)).collect();
    let mean = all.iter().sum::<f64>() / (all.len() as f64).max(1.0);
    let squares: f64 = all.iter().map(|gap| (gap - mean).powi(2)).sum();
    let known = (all.len() as f64 - 1.0).max(0.0);
    ((USUAL_COUNTS * USUAL_SPREAD_S.powi(2) + squares) / (USUAL_COUNTS + known)).sqrt()
}

/// How much better one way explains both clips than different serves do.
fn weight(one: &[TimedContact], other: &[TimedContact], way: &ClipMatch, spread_s: f64) -> f64 {
    let mut weight = 1.0;
    for (n, &(a, b)) in way.pairs.iter().enumerate() {
        let error_s = error_s(one[a], other[b]);
        let off = (other[b].time_s - one[a].time_s - way.offset_s) / error_s;
        weight *= (-0.5 * off * off).exp();
        // The first pair sets the offset and says nothing by itself.
        if n > 0 {
            weight *= (spread_s / error_s).max(1.0);
        }
    }
    let within = |at: usize, of: fn(&(usize, usize)) -> usize| {
        let ends = way.pairs.first().map(of).zip(way.pairs.last().map(of));
        ends.is_some_and(|(first, last)| (first..=last).contains(&at))
    };
    let mut alone = |clip: &[TimedContact], of: fn(&(usize, usize)) -> usize| {
        for at in (0..clip.len()).filter(|at| !way.pairs.iter().any(|pair| of(pair) == *at)) {
            weight *= if within(at, of) { MISSED } else { OUTSIDE };
        }
    };
    alone(one, |pair| pair.0);
    alone(other, |pair| pair.1);
    weight
}

/// Of several views of one serve the one that shows a measure best: it has it, with the least that it
/// may be off by its own word, the first of equals; `None` where none has it.
///
/// What a view may claim is decided where measures are read, view by view; this only compares.
#[must_use]
pub fn best_view<'a>(views: impl IntoIterator<Item = &'a Reading>) -> Option<usize> {
    let off = |reading: &Reading| match *reading {
        Reading::Value { value, give_or_take, .. }
            if value.is_finite() && give_or_take.is_finite() =>
        {
            Some(give_or_take)
        }
        _ => None,
    };
    let known = views.into_iter().enumerate().filter_map(|(at, one)| Some((at, off(one)?)));
    known.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(at, _)| at)
}

#[cfg(test)]
mod tests {
    use rand::{Rng as _, SeedableRng as _};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;

    fn at(times: &[f64]) -> Vec<TimedContact> {
        times.iter().map(|&time_s| TimedContact { time_s, error_s: 0.035 }).collect()
    }

    fn same(one: &[f64], other: &[f64]) -> Option<Vec<(usize, usize)>> {
        match compare_clips(&at(one), &at(other)) {
            ClipsCompared::Same(found) => Some(found.pairs),
            _ => None,
        }
    }

    #[test]
    fn an_uneven_rhythm_is_known_again_on_another_clock() {
        let side = [4.0, 12.1, 24.3, 31.0, 45.2];
        let behind: Vec<f64> = side.iter().map(|time_s| time_s + 1234.5).collect();
        let all: Vec<(usize, usize)> = (0..5).map(|n| (n, n)).collect();
        assert_eq!(same(&side, &behind), Some(all));
        // One missing in the middle of one, one at the end of the other.
        let lacking = [behind[0], behind[1], behind[3], behind[4]];
        assert_eq!(same(&side[..4], &lacking), Some(vec![(0, 0), (1, 1), (3, 2)]));
        // Off by a frame or two here and there.
        let shaken = [4.03, 12.05, 24.34, 31.0, 45.13];
        assert_eq!(same(&side, &shaken).map(|pairs| pairs.len()), Some(5));
    }

    #[test]
    fn an_even_rhythm_leaves_several_ways_and_is_asked_about() {
        let even: Vec<f64> = (0..5).map(|n| 8.0 * f64::from(n)).collect();
        let ClipsCompared::Unsure(ways) = compare_clips(&at(&even), &at(&even)) else { panic!() };
        assert_eq!(ways[0].pairs.len(), 5, "{ways:?}");
        assert!(ways.len() >= 3, "a serve later and a serve earlier fit as well: {ways:?}");
        // A longer stretch of it: which five of the seven?
        let longer: Vec<f64> = (0..7).map(|n| 8.0 * f64::from(n)).collect();
        let ClipsCompared::Unsure(ways) = compare_clips(&at(&even), &at(&longer)) else { panic!() };
        assert!(ways.iter().filter(|way| way.pairs.len() == 5).count() == 3, "{ways:?}");
    }

    #[test]
    fn what_rests_on_too_little_is_asked_about_and_what_differs_is_not() {
        let unsure = |one: &[f64], other: &[f64]| {
            matches!(compare_clips(&at(one), &at(other)), ClipsCompared::Unsure(_))
        };
        assert!(unsure(&[3.0], &[9.0]), "one serve each may be the same");
        assert!(unsure(&[3.0, 12.0], &[5.0, 14.02]), "one interval may be alike by chance");
        let apart = |one: &[f64], other: &[f64]| {
            assert_eq!(
                compare_clips(&at(one), &at(other)),
                ClipsCompared::Apart,
                "{one:?} {other:?}"
            );
        };
        apart(&[3.0, 12.0], &[5.0, 17.0]);
        apart(&[3.0, 12.0, 19.5], &[5.0, 17.0, 22.0]);
        apart(&[], &[5.0]);
        apart(&[3.0], &[5.0, 17.0, 22.0]);
    }

    /// Serves as a player goes through a basket: 4 s at least, then at random.
    fn basket(rng: &mut Xoshiro256PlusPlus, serves: usize) -> Vec<f64> {
        let mut time_s = 20.0 * rng.r#gen::<f64>();
        let next = |rng: &mut Xoshiro256PlusPlus| 4.0 - 4.0 * (1.0 - rng.r#gen::<f64>()).ln();
        let mut all = Vec::new();
        for _ in 0..serves {
            time_s += next(rng);
            all.push(time_s);
        }
        all
    }

    /// As a camera shows them: on its clock, a twentieth missing, contact off by its error.
    fn seen(rng: &mut Xoshiro256PlusPlus, serves: &[f64]) -> (Vec<usize>, Vec<TimedContact>) {
        let clock = 3600.0 * rng.r#gen::<f64>();
        let (mut which, mut all) = (Vec::new(), Vec::new());
        for (at, time_s) in serves.iter().enumerate() {
            let normal: f64 = (0..12).map(|_| rng.r#gen::<f64>()).sum::<f64>() - 6.0;
            if rng.r#gen::<f64>() >= 0.05 {
                which.push(at);
                all.push(TimedContact { time_s: clock + time_s + 0.035 * normal, error_s: 0.035 });
            }
        }
        (which, all)
    }

    /// Planted baskets: the same one from two places, and two different ones.
    #[test]
    fn planted_baskets_are_matched_serve_by_serve_and_different_ones_are_not() {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(19);
        let (mut known, mut wrong, mut taken, mut asked) = (0, 0, 0, 0);
        let rounds = 600;
        for round in 0..rounds {
            let serves = basket(&mut rng, 3 + round % 8);
            let (which, one) = seen(&mut rng, &serves);
            let (which_other, other) = seen(&mut rng, &serves);
            if let ClipsCompared::Same(found) = compare_clips(&one, &other) {
                known += 1;
                wrong += found.pairs.iter().filter(|&&(a, b)| which[a] != which_other[b]).count();
            }
            let number = rng.gen_range(3..11);
            let others = basket(&mut rng, number);
            match compare_clips(&one, &seen(&mut rng, &others).1) {
                ClipsCompared::Same(_) => taken += 1,
                ClipsCompared::Unsure(_) => asked += 1,
                ClipsCompared::Apart => {}
            }
        }
        assert_eq!(wrong, 0, "a serve was taken for another");
        assert!(known * 100 >= rounds * 90, "{known} of {rounds} known again");
        assert!(taken * 100 <= rounds, "{taken} of {rounds} different ones taken for the same");
        assert!(asked * 100 <= rounds * 10, "{asked} of {rounds} asked about");
    }
}
