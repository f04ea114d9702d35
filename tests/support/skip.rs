//! What a test says that lacks something it needs; where nothing may be lacking it fails.
#![allow(dead_code, reason = "not every file of tests can skip")]
#![expect(clippy::print_stderr, reason = "a skipped test says so")]

use std::fmt::Display;

/// Says why a test, or a part of it, is skipped.
///
/// # Panics
/// Where `PRECEDENT_NO_SKIP` is set, as the gate sets it: a skipped test proves nothing.
#[track_caller]
pub(crate) fn skipped(why: impl Display) {
    assert!(
        std::env::var_os("PRECEDENT_NO_SKIP").is_none(),
        "this would skip, and PRECEDENT_NO_SKIP forbids it: {why}"
    );
    eprintln!("skipped: {why}");
}
