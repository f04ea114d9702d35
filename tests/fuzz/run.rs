//! One target under libFuzzer: the one that `PRECEDENT_FUZZ` names.
#![no_main]

#[path = "bounds.rs"]
mod bounds;
#[cfg_attr(feature = "program", path = "targets/mod.rs")]
#[cfg_attr(not(feature = "program"), path = "targets/alone.rs")]
mod targets;

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use targets::Target;

static TARGET: LazyLock<&'static Target> = LazyLock::new(|| {
    let name = std::env::var("PRECEDENT_FUZZ").unwrap_or_default();
    targets::named(&name).unwrap_or_else(|| {
        let names = targets::TARGETS.map(|target| target.name).join(" ");
        panic!("PRECEDENT_FUZZ names no target; one of: {names}")
    })
});

fuzz_target!(init: LazyLock::force(&TARGET), |bytes: &[u8]| -> () {
    bounds::within(&TARGET, bytes);
});
