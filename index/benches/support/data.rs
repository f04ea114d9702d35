//! Seeded curves: motion-like, clustered by player and session, and white noise.

// Each benchmark takes what it needs.
#![allow(dead_code)]

use rand::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

/// Serves per session and per player.
const PER_SESSION: usize = 5;
const PER_PLAYER: usize = 25;
/// Smooth bumps a channel is made of.
const BUMPS: usize = 10;

/// Motion-like curves: smooth channels around a common course; players, sessions and single serves
/// deviate from it less and less; time is warped a little; sensor noise on top.
pub(crate) struct Motions {
    seed: u64,
    frames: usize,
    channels: usize,
    common: Vec<f64>,
    bumps: Vec<f64>,
}

/// A number of about normal distribution with spread 1.
fn normal(rng: &mut Xoshiro256PlusPlus) -> f64 {
    (0..12).map(|_| rng.r#gen::<f64>()).sum::<f64>() - 6.0
}

impl Motions {
    pub(crate) fn new(seed: u64, frames: usize, channels: usize) -> Self {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let common = (0..channels * BUMPS).map(|_| normal(&mut rng)).collect();
        // Bumps on a fine grid of 4 x frames points, so that warping only looks up.
        let fine = 4 * frames;
        let bump = |centre: usize, at: usize| {
            let (time, middle) = (at as f64 / fine as f64, (centre as f64 + 0.5) / BUMPS as f64);
            (-0.5 * ((time - middle) / 0.07).powi(2)).exp()
        };
        let bumps = (0..BUMPS * fine).map(|at| bump(at / fine, at % fine)).collect();
        Self { seed, frames, channels, common, bumps }
    }

    /// The serve of this number; player and session follow from it.
    pub(crate) fn curve(&self, number: usize) -> Vec<f32> {
        self.made(number, number, 1.0)
    }

    /// A serve of the same player as serve `number`, of a session of its own; `strange` widens the
    /// spread of the player.
    pub(crate) fn variant(&self, number: usize, strange: f64) -> Vec<f32> {
        self.made(number, number + (1 << 40), strange)
    }

    /// A serve of a player, of as many as one likes.
    pub(crate) fn of_player(&self, player: usize, serve: usize) -> Vec<f32> {
        self.made(player * PER_PLAYER, serve + (1 << 41), 1.0)
    }

    fn made(&self, of: usize, number: usize, strange: f64) -> Vec<f32> {
        let stream = |kind: u64, number: usize| {
            let mix =
                self.seed ^ kind << 56 ^ (number as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
            Xoshiro256PlusPlus::seed_from_u64(mix)
        };
        let mut player = stream(1, of / PER_PLAYER);
        let mut session = stream(2, number / PER_SESSION);
        let mut serve = stream(3, number);
        let weights: Vec<f64> = self
            .common
            .iter()
            .map(|common| {
                common
                    + strange * 0.45 * normal(&mut player)
                    + 0.12 * normal(&mut session)
                    + 0.12 * normal(&mut serve)
            })
            .collect();
        let (early, late) =
            (0.02 * normal(&mut player) + 0.012 * normal(&mut serve), 0.01 * normal(&mut serve));
        let fine = 4 * self.frames;
        let mut values = Vec::with_capacity(self.frames * self.channels);
        for frame in 0..self.frames {
            let time = frame as f64 / self.frames as f64;
            let pi = std::f64::consts::PI;
            let time = time + early * (pi * time).sin() + late * (2.0 * pi * time).sin();
            let at = ((time * fine as f64).max(0.0) as usize).min(fine - 1);
            for channel in 0..self.channels {
                let value: f64 = (0..BUMPS)
                    .map(|bump| weights[channel * BUMPS + bump] * self.bumps[bump * fine + at])
                    .sum();
                let noise = 0.02 * (serve.r#gen::<f64>() + serve.r#gen::<f64>() - 1.0) * 2.4;
                values.push((value + noise) as f32);
            }
        }
        values
    }
}

/// White noise: nothing to find, nothing to prune.
pub(crate) fn noise(seed: u64, number: usize, values: usize) -> Vec<f32> {
    let mut rng =
        Xoshiro256PlusPlus::seed_from_u64(seed ^ (number as u64 + 1).wrapping_mul(0x9e37_79b9));
    (0..values).map(|_| normal(&mut rng) as f32).collect()
}
