//! What a test does that lacks what it tests against.

/// Says that a test was skipped; where `PRECEDENT_NO_SKIP` is 1, that is a failure.
#[allow(clippy::print_stderr)]
pub(crate) fn skipped(why: &str) {
    let allowed = std::env::var_os("PRECEDENT_NO_SKIP").is_none_or(|value| value != "1");
    assert!(allowed, "skipped, which PRECEDENT_NO_SKIP forbids: {why}");
    eprintln!("skipped: {why}");
}
