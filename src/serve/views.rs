//! Which serves of two clips are the same, by the times between their contacts.
//!
//! Each clip has its own clock, so one offset is unknown, and a serve may be missing in either. Every
//! offset that brings two contacts together is tried, and weighed against the two clips holding
//! different serves: contacts that meet speak for it the more, the less regularly the player serves
//! and the better the moments are known; serves that one clip alone shows speak against it. A player
//! who serves like clockwork leaves several offsets, and those are for a person to choose from.
//!
//! Clocks may run at different speeds, too: a clip of 29.97 pictures a second that is said to have 30,
//! or one whose stated rate is off by up to 1.2 %. From the serves that meet first the speed is
//! found, and with it those that lie further off. That one clock runs faster has to be paid for by
//! serves that meet only then.

use std::collections::BTreeMap;

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
    /// Time in the other clip less time in the one, at the middle of the serves that are the same, seconds.
    pub offset_s: f64,
    /// By how much the other clip's clock runs faster, as a share: 0.001 gains a second in a thousand.
    pub drift: f64,
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
/// How fast one clip's clock runs beside the other's, at most, as a share: a rate that is stated wrongly by
/// more than this is slow motion, or asked about elsewhere.
const MOST_DRIFT: f64 = 0.012;
/// How two clocks may run: the usual difference of their speeds, as a share, and how often it is so (our
/// estimates). Clocks of two telephones part by some 50 millionths; a rate that was rounded, or stated
/// wrongly, by a thousandth to a hundredth.
const CLOCKS: [Clocks; 2] =
    [Clocks { usual_drift: 5e-5, chance: 0.9 }, Clocks { usual_drift: 5e-3, chance: 0.1 }];
/// Ways that are less likely than the likeliest by this are not looked at further.
const NEGLIGIBLE: f64 = 1e-7;

/// How two clocks may run beside each other.
#[derive(Debug, Clone, Copy)]
struct Clocks {
    /// Standard deviation of the difference of their speeds, as a share.
    usual_drift: f64,
    /// How often two clocks are like this.
    chance: f64,
}

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
    let offsets = (one.len() + other.len()).saturating_sub(1).max(1) as f64;
    let mut ways: BTreeMap<Vec<(usize, usize)>, ClipMatch> = BTreeMap::new();
    for clocks in CLOCKS {
        for i in 0..one.len() {
            for j in 0..other.len() {
                let Some(laid) = laid(one, other, (i, j), clocks) else { continue };
                let way = laid.weighed(one, other, spread_s, offsets);
                match ways.get_mut(&way.pairs) {
                    Some(known) if known.chance < way.chance => *known = way,
                    Some(_) => {}
                    None => drop(ways.insert(way.pairs.clone(), way)),
                }
            }
        }
    }
    let mut ways: Vec<ClipMatch> = ways.into_values().collect();
    ways.sort_by(|a, b| b.chance.total_cmp(&a.chance).then_with(|| a.pairs.cmp(&b.pairs)));
    // Different serves weigh 1.
    let least = NEGLIGIBLE * ways.first().map_or(1.0, |best| best.chance.max(1.0));
    ways.retain(|way| way.chance >= least);
    // A way that shares more than half of its pairs, or of the other's, with a likelier one is the same way,
    // less well seen.
    let alike = |a: &ClipMatch, b: &ClipMatch| {
        let common = a.pairs.iter().filter(|one| b.pairs.contains(one)).count();
        2 * common > a.pairs.len().min(b.pairs.len())
    };
    let mut told: Vec<ClipMatch> = Vec::new();
    for way in ways {
        if !told.iter().any(|known| alike(known, &way)) {
            told.push(way);
        }
    }
    let mut ways = told;
    let total = 1.0 + ways.iter().map(|way| way.chance).sum::<f64>();
    ways.iter_mut().for_each(|way| way.chance /= total);
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

/// Two clips laid beside each other so that these two serves are one, because somebody says so; their
/// clocks run as most serves meet.
///
/// # Panics
/// If either clip has no such serve.
#[must_use]
pub fn laid_at(one: &[TimedContact], other: &[TimedContact], at: (usize, usize)) -> ClipMatch {
    let spread_s = spread_s(one, other);
    let laid = CLOCKS.into_iter().filter_map(|clocks| laid(one, other, at, clocks));
    let best = laid
        .map(|laid| laid.weighed(one, other, spread_s, 1.0))
        .max_by(|a, b| a.chance.total_cmp(&b.chance));
    let alone = ClipMatch {
        offset_s: other[at.1].time_s - one[at.0].time_s,
        drift: 0.0,
        pairs: vec![at],
        chance: 1.0,
    };
    best.map_or(alone, |best| ClipMatch { chance: 1.0, ..best })
}

/// The time of the other clip less that of the one, as a line over the one's time.
#[derive(Debug, Clone, Copy, Default)]
struct Line {
    /// Weights, and weighted sums of time since the first pair, its square, offset and their product.
    weight: f64,
    time: f64,
    time_squared: f64,
    offset: f64,
    product: f64,
}

impl Line {
    /// Takes in two contacts that meet; `time_s` since an instant that is the same for all.
    fn take(&mut self, time_s: f64, offset_s: f64, error_s: f64) {
        let weight = error_s.powi(-2);
        self.weight += weight;
        self.time += weight * time_s;
        self.time_squared += weight * time_s * time_s;
        self.offset += weight * offset_s;
        self.product += weight * time_s * offset_s;
    }

    /// Mean time and offset of what was taken in.
    fn middle(&self) -> (f64, f64) {
        (self.time / self.weight, self.offset / self.weight)
    }

    /// Drift and its standard error, by the serves and by how clocks usually run.
    fn drift(&self, clocks: Clocks) -> (f64, f64) {
        let (time_s, offset_s) = self.middle();
        let usual = clocks.usual_drift.powi(-2);
        let spread = (self.time_squared - self.weight * time_s * time_s).max(0.0) + usual;
        ((self.product - self.weight * time_s * offset_s) / spread, spread.sqrt().recip())
    }

    /// The offset at a time, and its standard error.
    fn at(&self, time_s: f64, clocks: Clocks) -> (f64, f64) {
        let (middle_s, offset_s) = self.middle();
        let (drift, drift_error) = self.drift(clocks);
        let from_middle_s = time_s - middle_s;
        let error_s = self.weight.sqrt().recip().hypot(from_middle_s * drift_error);
        (offset_s + drift * from_middle_s, error_s)
    }
}

/// Two clips laid beside each other: the pairs that meet, and how the clocks run then.
struct Laid {
    pairs: Vec<(usize, usize)>,
    line: Line,
    clocks: Clocks,
    /// Time the line counts from, s.
    from_s: f64,
}

/// The pairs that meet where serve `i` meets `j`, which is among them, the nearest first: each says
/// better how the clocks run. `None` where they would run further apart than clocks do.
fn laid(
    one: &[TimedContact],
    other: &[TimedContact],
    (i, j): (usize, usize),
    clocks: Clocks,
) -> Option<Laid> {
    let from_s = one[i].time_s;
    let line_of = |pairs: &[(usize, usize)]| {
        let mut line = Line::default();
        for &(a, b) in pairs {
            let (a, b) = (one[a], other[b]);
            line.take(a.time_s - from_s, b.time_s - a.time_s, error_s(a, b));
        }
        line
    };
    let mut line = line_of(&[(i, j)]);
    // Outwards from the first pair, on either side in turn by distance.
    let (mut before, mut after) = ((0..i).rev().peekable(), (i + 1..one.len()).peekable());
    let (mut earliest, mut latest) = (j, j);
    loop {
        let far = |at: Option<&usize>| at.map(|&at| (one[at].time_s - from_s).abs());
        let goes_back = match (far(before.peek()), far(after.peek())) {
            (None, None) => break,
            (Some(back), Some(on)) => back <= on,
            (back, _) => back.is_some(),
        };
        let next = if goes_back { before.next() } else { after.next() };
        let Some(a) = next else { break };
        let (offset_s, line_s) = line.at(one[a].time_s - from_s, clocks);
        let wanted_s = one[a].time_s + offset_s;
        // On one clock nothing overtakes.
        let free = if goes_back { 0..earliest } else { latest + 1..other.len() };
        let nearest = other[free.clone()].partition_point(|b| b.time_s < wanted_s) + free.start;
        let near = [nearest.checked_sub(1), Some(nearest)].into_iter().flatten();
        let met = near
            .filter(|b| free.contains(b))
            .map(|b| (b, (other[b].time_s - wanted_s).abs()))
            .min_by(|x, y| x.1.total_cmp(&y.1));
        let Some((b, off_s)) = met else { continue };
        let met_s = error_s(one[a], other[b]);
        if off_s <= WITHIN_ERRORS * met_s.hypot(line_s) {
            line.take(one[a].time_s - from_s, other[b].time_s - one[a].time_s, met_s);
            (earliest, latest) = (earliest.min(b), latest.max(b));
        }
    }
    // The first serves' own errors move all others; once all are known, their line does not.
    let mut pairs = Vec::new();
    for _ in 0..2 {
        pairs = met(one, other, &|a| line.at(one[a].time_s - from_s, clocks).0, (i, j));
        line = line_of(&pairs);
    }
    (line.drift(clocks).0.abs() <= MOST_DRIFT).then_some(Laid { pairs, line, clocks, from_s })
}

impl Laid {
    /// As a way of laying two clips, with how much better it explains both than different serves do as
    /// its chance, shared among so many offsets.
    fn weighed(
        self,
        one: &[TimedContact],
        other: &[TimedContact],
        spread_s: f64,
        offsets: f64,
    ) -> ClipMatch {
        let (drift, drift_error) = self.line.drift(self.clocks);
        let usual = self.clocks.usual_drift;
        // Of all the speeds that two clocks may have, these serves leave a few: that is how much less
        // surprising it is that they meet.
        let clocks = self.clocks.chance
            * (drift_error / usual).min(1.0)
            * (-0.5 * (drift / usual).powi(2)).exp();
        let offset_s = |a: usize| self.line.at(one[a].time_s - self.from_s, self.clocks).0;
        let chance = clocks * weight(one, other, &self.pairs, &offset_s, spread_s) / offsets;
        ClipMatch { offset_s: self.line.middle().1, drift, pairs: self.pairs, chance }
    }
}

/// Contacts that meet at an offset, each at most once, in order of time; `offset_s` of a serve of the one.
fn met(
    one: &[TimedContact],
    other: &[TimedContact],
    offset_s: &dyn Fn(usize) -> f64,
    (i, j): (usize, usize),
) -> Vec<(usize, usize)> {
    let mut near: Vec<(usize, usize, f64)> = Vec::new();
    for a in (0..one.len()).filter(|&a| a != i) {
        let wanted_s = one[a].time_s + offset_s(a);
        let nearest = other.partition_point(|b| b.time_s < wanted_s);
        for b in (nearest.saturating_sub(2)..other.len().min(nearest + 2)).filter(|&b| b != j) {
            let apart_s = (other[b].time_s - wanted_s).abs();
            if apart_s <= WITHIN_ERRORS * error_s(one[a], other[b]) {
                near.push((a, b, apart_s));
            }
        }
    }
    near.sort_by(|x, y| x.2.total_cmp(&y.2).then((x.0, x.1).cmp(&(y.0, y.1))));
    let mut pairs = vec![(i, j)];
    for (a, b, _) in near {
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

/// How much better these pairs explain both clips than different serves do.
fn weight(
    one: &[TimedContact],
    other: &[TimedContact],
    pairs: &[(usize, usize)],
    offset_s: &dyn Fn(usize) -> f64,
    spread_s: f64,
) -> f64 {
    let mut weight = 1.0;
    for (n, &(a, b)) in pairs.iter().enumerate() {
        let error_s = error_s(one[a], other[b]);
        let off = (other[b].time_s - one[a].time_s - offset_s(a)) / error_s;
        weight *= (-0.5 * off * off).exp();
        // The first pair sets the offset and says nothing by itself.
        if n > 0 {
            weight *= (spread_s / error_s).max(1.0);
        }
    }
    let mut alone = |clip: &[TimedContact], of: fn(&(usize, usize)) -> usize| {
        let ends = pairs.first().map(of).zip(pairs.last().map(of));
        let between = ends.map_or(0, |(first, last)| last + 1 - first);
        weight *= MISSED.powi((between - pairs.len()) as i32)
            * OUTSIDE.powi((clip.len() - between) as i32);
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
        seen_at(rng, serves, 1.0)
    }

    /// The same by a clock that runs `speed` times as fast.
    fn seen_at(
        rng: &mut Xoshiro256PlusPlus,
        serves: &[f64],
        speed: f64,
    ) -> (Vec<usize>, Vec<TimedContact>) {
        let clock = 3600.0 * rng.r#gen::<f64>();
        let (mut which, mut all) = (Vec::new(), Vec::new());
        for (at, time_s) in serves.iter().enumerate() {
            let normal: f64 = (0..12).map(|_| rng.r#gen::<f64>()).sum::<f64>() - 6.0;
            if rng.r#gen::<f64>() >= 0.05 {
                which.push(at);
                let time_s = clock + speed * time_s + 0.035 * normal;
                all.push(TimedContact { time_s, error_s: 0.035 });
            }
        }
        (which, all)
    }

    /// Planted sessions of some minutes by two clocks, one of them `speed` times as fast: serves that both
    /// show, pairs found, wrong ones, sessions that are known again.
    fn drifting(speed: f64, minutes: f64, rounds: usize) -> (usize, usize, usize, usize) {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(23);
        let (mut both, mut found, mut wrong, mut known) = (0, 0, 0, 0);
        for _ in 0..rounds {
            let mut serves = basket(&mut rng, 12);
            // A new basket after a minute's rest.
            while serves.last().is_some_and(|last| last + 60.0 < 60.0 * minutes) {
                let from_s = serves.last().unwrap() + 60.0;
                let next = basket(&mut rng, 12);
                serves.extend(next.iter().map(|time_s| from_s + time_s));
            }
            let (which, one) = seen(&mut rng, &serves);
            let (which_other, other) = seen_at(&mut rng, &serves, speed);
            both += which.iter().filter(|at| which_other.contains(at)).count();
            if let ClipsCompared::Same(way) = compare_clips(&one, &other) {
                known += 1;
                found += way.pairs.len();
                let right = |pair: &&(usize, usize)| which[pair.0] == which_other[pair.1];
                wrong += way.pairs.len() - way.pairs.iter().filter(right).count();
                if way.pairs.len() > 30 {
                    assert!((way.drift - (speed - 1.0)).abs() < 2e-4, "{} {speed}", way.drift);
                }
            }
        }
        (both, found, wrong, known)
    }

    /// 29.97 said to be 30 and the other way round, and rates that are stated wrongly by up to one in a
    /// hundred: over ten minutes nearly every serve is found again, and none is taken for another.
    #[test]
    fn clocks_of_different_speed_are_laid_beside_each_other_over_ten_minutes() {
        for speed in [1.0, 30.0 / 29.97, 29.97 / 30.0, 1.003, 0.995, 1.01, 0.99] {
            let (both, found, wrong, known) = drifting(speed, 10.0, 2);
            assert_eq!(wrong, 0, "{speed}: a serve was taken for another");
            assert_eq!(known, 2, "{speed}");
            assert!(found * 100 >= both * 97, "{speed}: {found} of {both}");
        }
        // Further apart than clocks run: nothing is made up.
        let (_, _, wrong, _) = drifting(1.03, 10.0, 2);
        assert_eq!(wrong, 0, "a serve was taken for another");
    }

    /// What a person says of two serves carries the others along, however the clocks run.
    #[test]
    fn two_serves_that_are_said_to_be_one_lay_the_others_by_any_clock() {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(29);
        let serves = basket(&mut rng, 40);
        for speed in [1.0, 1.001, 0.992] {
            let other: Vec<f64> = serves.iter().map(|time_s| 7.0 + speed * time_s).collect();
            for anchor in [0, 20, 39] {
                let way = laid_at(&at(&serves), &at(&other), (anchor, anchor));
                assert_eq!(way.pairs, (0..40).map(|n| (n, n)).collect::<Vec<_>>(), "{speed}");
            }
        }
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
