//! An invented academy as plain numbers, of which everything that should be found is known.

use rand::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::evidence::kernel::kernel;
use crate::evidence::row::{Row, Unseen};

/// Everything in detectable changes of the fault's measure.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spec {
    pub(super) players: usize,
    pub(super) faults: usize,
    /// Mean of what plans add, and its spread between faults, drills and players.
    pub(super) gain: f64,
    pub(super) between_faults: f64,
    pub(super) between_drills: f64,
    pub(super) between_players: f64,
    /// How what a drill adds moves with how a player serves (one spread of style).
    pub(super) by_style: f64,
    /// Whether that style is among the ways in which serves differ most.
    pub(super) style_shows: bool,
    /// Share of what is gained that is lost for each detectable change nearer to having no fault.
    pub(super) by_start: f64,
    /// Spread of the measure between players and from day to day (with the error of a look).
    pub(super) level_spread: f64,
    pub(super) day_spread: f64,
    /// How strongly drills are chosen by the start: 0 not at all.
    pub(super) confounding: f64,
    /// Most reviews of a player.
    pub(super) reviews: usize,
    /// Chance that a player is not seen again, and what is added from the best to the worst start.
    pub(super) missing: f64,
    /// Added where the player got no better: what nobody can see in the rows.
    pub(super) missing_if_no_better: f64,
}

impl Spec {
    /// A middling academy.
    pub(super) const USUAL: Self = Self {
        players: 60,
        faults: 8,
        gain: 0.8,
        between_faults: 0.35,
        between_drills: 0.45,
        between_players: 0.3,
        by_style: 0.0,
        style_shows: true,
        by_start: 0.0,
        level_spread: 1.2,
        day_spread: 0.6,
        confounding: 2.0,
        reviews: 4,
        missing: 0.2,
        missing_if_no_better: 0.0,
    };

    /// Chance that a player who looked like this is not seen again.
    fn gone(&self, look: f64) -> f64 {
        (self.missing * (0.5 + (-look / 3.0).clamp(0.0, 1.0))).clamp(0.0, 1.0)
    }
}

/// What is true of one fault, for the question asked.
#[derive(Debug, Clone)]
pub(super) struct Truth {
    pub(super) start: f64,
    pub(super) by_itself: f64,
    /// Of each drill of the fault, in the order of `drills`.
    pub(super) gains: Vec<f64>,
    pub(super) drills: Vec<usize>,
    /// The drill prescribed most often.
    pub(super) usual: usize,
}

/// What comes by itself, in detectable changes, for the typical player: each player has one vote
/// however often he looked bad, so who looks bad seldom counts like who always does. Drawn once from
/// many players who are looked at by the same rule, as (start, change without noise, vote).
#[derive(Debug)]
pub(super) struct Course {
    looks: Vec<(f64, f64, f64)>,
}

impl Course {
    pub(super) fn of(spec: &Spec) -> Self {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(99);
        let mut looks = Vec::new();
        for _ in 0..60_000 {
            let level = spec.level_spread * normal(&mut rng);
            let mut own = Vec::new();
            for _ in 0..rng.gen_range(1..=spec.reviews) {
                let Some((look, seen)) = bad_look(spec, level, &mut rng) else { continue };
                if rng.gen_bool(chance_of_plan(seen)) && !rng.gen_bool(spec.gone(look)) {
                    own.push((look, level - look));
                }
            }
            let vote = 1.0 / own.len().max(1) as f64;
            looks.extend(own.into_iter().map(|(look, change)| (look, change, vote)));
        }
        looks.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self { looks }
    }

    /// Mean over the looks within 0.1 of `start`, or the 200 nearest at the rim.
    fn at(&self, start: f64) -> f64 {
        let place = |at: f64| self.looks.partition_point(|look| look.0 < at);
        let (mut low, mut high) = (place(start - 0.1), place(start + 0.1));
        if high - low < 200 {
            let middle = place(start);
            low = middle.saturating_sub(100).min(self.looks.len() - 200);
            high = low + 200;
        }
        let near = &self.looks[low..high];
        let total: f64 = near.iter().map(|look| look.2).sum();
        near.iter().map(|look| look.1 * look.2).sum::<f64>() / total
    }
}

/// A look that seems bad enough to the coach, as it was and as it seemed.
fn bad_look(spec: &Spec, level: f64, rng: &mut Xoshiro256PlusPlus) -> Option<(f64, f64)> {
    let look = level + spec.day_spread * normal(rng);
    let seen = look + 0.3 * normal(rng);
    (seen <= 0.0).then_some((look, seen))
}

fn chance_of_plan(seen: f64) -> f64 {
    (0.55 - 0.15 * seen).clamp(0.0, 0.9)
}

pub(super) struct Academy {
    pub(super) rows: Vec<Row>,
    pub(super) unseen: Vec<Unseen>,
    /// Of each fault.
    pub(super) truths: Vec<Truth>,
}

fn normal(rng: &mut Xoshiro256PlusPlus) -> f64 {
    // Box and Muller.
    let (u, v): (f64, f64) = (1.0 - rng.gen_range(0.0..1.0), rng.gen_range(0.0..1.0));
    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

/// The two ways in which serves differ most: turned against what matters, seen with error.
struct Ways {
    turn: f64,
    shows: bool,
}

impl Ways {
    fn of(spec: &Spec, rng: &mut Xoshiro256PlusPlus) -> Self {
        Self { turn: rng.gen_range(0.0..std::f64::consts::TAU), shows: spec.style_shows }
    }

    fn look(&self, style: f64, others: [f64; 2], rng: &mut Xoshiro256PlusPlus) -> [f64; 2] {
        let (sin, cos) = self.turn.sin_cos();
        let (a, b) = (if self.shows { style } else { others[1] }, others[0]);
        [cos * a - sin * b + 0.3 * normal(rng), sin * a + cos * b + 0.3 * normal(rng)]
    }
}

/// Players have a lasting level; a look shows it with the day's form. A look that seems bad enough
/// to the coach gets a plan more often than not, the worse the more; which drill depends on how bad
/// it looked. At the next look the level is raised by what the drill adds for this player; each plan
/// starts from the lasting level anew.
/// So plans start on bad days and the next look is better even if nothing was gained.
pub(super) fn invent(spec: &Spec, course: &Course, seed: u64) -> Academy {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let asks_style = normal(&mut rng);
    let ways = Ways::of(spec, &mut rng);
    let asks = ways.look(asks_style, [normal(&mut rng), normal(&mut rng)], &mut rng);
    let mut rows: Vec<Row> = Vec::new();
    let mut unseen: Vec<Unseen> = Vec::new();
    let mut truths = Vec::new();
    let styles: Vec<f64> = (0..spec.players).map(|_| normal(&mut rng)).collect();
    let others: Vec<[f64; 2]> =
        (0..spec.players).map(|_| [normal(&mut rng), normal(&mut rng)]).collect();
    let eager: Vec<f64> = (0..spec.players).map(|_| normal(&mut rng)).collect();
    let mut next_drill = 0;
    for fault in 0..spec.faults {
        let unit = [6.0, 0.05, 11.0][fault % 3];
        let gain = spec.gain + spec.between_faults * normal(&mut rng);
        let count = rng.gen_range(2..=5);
        let drills: Vec<usize> = (next_drill..next_drill + count).collect();
        next_drill += count;
        let adds: Vec<f64> =
            drills.iter().map(|_| gain + spec.between_drills * normal(&mut rng)).collect();
        let slopes: Vec<f64> = drills.iter().map(|_| spec.by_style * normal(&mut rng)).collect();
        // Habits of the house: how much each drill is liked, and for which starts.
        let liked: Vec<f64> = drills.iter().map(|_| normal(&mut rng)).collect();
        let for_start: Vec<f64> =
            drills.iter().map(|_| spec.confounding * normal(&mut rng)).collect();
        let true_gain = |drill: usize, style: f64, start: f64| {
            let room = 1.0 - spec.by_start * (start + 1.0);
            (adds[drill] + slopes[drill] * style) * room
        };
        let mut prescribed = vec![0_usize; count];
        let mut starts = Vec::new();
        for player in 0..spec.players {
            if rng.gen_bool(0.35) {
                continue;
            }
            let level = spec.level_spread * normal(&mut rng);
            for _ in 0..rng.gen_range(1..=spec.reviews) {
                let Some((look, seen)) = bad_look(spec, level, &mut rng) else { continue };
                let planned = rng.gen_bool(chance_of_plan(seen));
                let mut did = Vec::new();
                if planned {
                    let weights: Vec<f64> = (0..count)
                        .map(|d| (0.7 * liked[d] + for_start[d] * (seen + 0.8)).exp())
                        .collect();
                    let mut open: Vec<usize> = (0..count).collect();
                    for _ in 0..if rng.gen_bool(0.15) { 2 } else { 1 } {
                        let total: f64 = open.iter().map(|&d| weights[d]).sum();
                        let mut at = rng.gen_range(0.0..total);
                        let place = open
                            .iter()
                            .position(|&d| {
                                at -= weights[d];
                                at < 0.0
                            })
                            .unwrap_or(open.len() - 1);
                        did.push(open.remove(place));
                    }
                    prescribed[did[0]] += 1;
                    starts.push(look);
                }
                let own = spec.between_players
                    * (0.6 * eager[player] + 0.8 * normal(&mut rng))
                    * if spec.gain == 0.0 && spec.between_drills == 0.0 { 0.0 } else { 1.0 };
                let added = if did.is_empty() {
                    0.0
                } else {
                    own + did.iter().map(|&d| true_gain(d, styles[player], look)).sum::<f64>()
                        / did.len() as f64
                };
                let drift = 0.15 * normal(&mut rng);
                let after = level + drift + added + spec.day_spread * normal(&mut rng);
                let change = after - look;
                let gone =
                    spec.gone(look) + if change < 0.3 { spec.missing_if_no_better } else { 0.0 };
                let mut did: Vec<usize> = did.iter().map(|&d| drills[d]).collect();
                did.sort_unstable();
                if rng.gen_bool(gone.clamp(0.0, 1.0)) {
                    unseen.push(Unseen { player: player as u64, fault, drills: did });
                } else {
                    rows.push(Row {
                        player: player as u64,
                        fault,
                        drills: did,
                        start: unit * look,
                        change: unit * change,
                        detectable: unit,
                        weight: 1.0,
                        days: 30.0,
                        style: {
                            let own = ways.look(styles[player], others[player], &mut rng);
                            Some([own[0] - asks[0], own[1] - asks[1]])
                        },
                    });
                }
            }
        }
        // Distances are spreads of style and some of everything else.
        let places: Vec<usize> =
            (0..rows.len()).filter(|&place| rows[place].fault == fault).collect();
        let far: Vec<Option<f64>> = places
            .iter()
            .map(|&place| {
                let style = styles[rows[place].player as usize] - asks_style;
                let rest = 1.5 + 0.4 * normal(&mut rng);
                Some(style.hypot(rest))
            })
            .collect();
        for (&place, weight) in places.iter().zip(kernel(&far)) {
            rows[place].weight = weight;
        }
        let start = if starts.is_empty() { -1.0 } else { starts[rng.gen_range(0..starts.len())] };
        let usual = (0..count).max_by_key(|&d| prescribed[d]).unwrap_or(0);
        truths.push(Truth {
            start: unit * start,
            by_itself: unit * course.at(start),
            gains: (0..count).map(|d| unit * true_gain(d, asks_style, start)).collect(),
            usual: drills[usual],
            drills,
        });
    }
    Academy { rows, unseen, truths }
}
