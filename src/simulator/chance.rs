//! Seeded chance, the same on every machine.

use rand::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

/// The generator everything here draws from.
pub type Chance = Xoshiro256PlusPlus;

/// A generator of its own for the `item`-th thing under a seed, so that one thing more or less
/// does not change the others.
#[must_use]
pub fn chance(seed: u64, item: u64) -> Chance {
    let mut mixed = seed ^ item.wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    Chance::seed_from_u64(mixed ^ (mixed >> 31))
}

/// A standard normal draw (Box and Muller 1958), cut at 2.5 spreads so that no draw is absurd.
pub(crate) fn normal(chance: &mut Chance) -> f64 {
    let u: f64 = chance.gen_range(f64::MIN_POSITIVE..1.0);
    let v: f64 = chance.gen_range(0.0..std::f64::consts::TAU);
    ((-2.0 * u.ln()).sqrt() * v.cos()).clamp(-2.5, 2.5)
}
