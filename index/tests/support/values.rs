//! Values and weights that make trouble, for property tests.

use proptest::prelude::*;

/// Plain, constant, tied, huge, tiny, and all of them mixed.
pub(crate) fn value(kind: u8) -> BoxedStrategy<f32> {
    match kind {
        0 => (-3.0_f32..3.0).boxed(),
        1 => Just(1.5_f32).boxed(),
        2 => (0_i8..3).prop_map(f32::from).boxed(),
        3 => prop_oneof![Just(f32::MAX), Just(f32::MIN), -1e30_f32..1e30].boxed(),
        4 => prop_oneof![Just(f32::MIN_POSITIVE), Just(1e-45_f32), -1e-38_f32..1e-38].boxed(),
        _ => prop_oneof![4 => -1.0_f32..1.0, 1 => -1e20_f32..1e20, 1 => Just(0.0_f32)].boxed(),
    }
}

/// All alike, one channel alone, rising, and many orders of magnitude apart.
pub(crate) fn weights(channels: usize, kind: u8) -> Vec<f64> {
    match kind {
        0 => vec![1.0; channels],
        1 => (0..channels).map(|c| f64::from(u8::from(c == channels / 2))).collect(),
        2 => (0..channels).map(|c| 0.1 + c as f64).collect(),
        _ => (0..channels).map(|c| 10_f64.powi(c as i32 % 9 * 3 - 9)).collect(),
    }
}
