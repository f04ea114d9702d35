//! One target under libFuzzer: the one this program is named after.
#![no_main]

#[path = "bounds.rs"]
mod bounds;
#[path = "targets/mod.rs"]
mod targets;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let target = targets::named(env!("CARGO_BIN_NAME"));
    bounds::within(target, bytes);
});
