//! What every reader is to the two that drive it.

use std::fmt::Display;
use std::path::Path;
use std::time::Duration;

use tempfile::TempDir;

/// One reader.
#[derive(Debug)]
pub(crate) struct Target {
    /// The target's name, that of its folder of seeds too.
    pub(crate) name: &'static str,
    /// Reads the bytes.
    pub(crate) run: fn(&[u8]),
    /// Longer inputs are cut to this, bytes.
    pub(crate) longest: usize,
    /// Memory any input may take, bytes.
    pub(crate) memory: usize,
    /// Time one input may take in an unoptimised build.
    pub(crate) time: Duration,
    /// Changed inputs that the gate tries: as many as take an unoptimised build some two seconds.
    #[allow(dead_code, reason = "libFuzzer has numbers of its own")]
    pub(crate) inputs: u32,
}

pub(super) const fn target(
    name: &'static str,
    run: fn(&[u8]),
    longest: usize,
    seconds: u64,
    inputs: u32,
) -> Target {
    let time = Duration::from_secs(seconds);
    Target { name, run, longest, memory: 64 << 20, time, inputs }
}

/// A refusal is one text that a person can read.
pub(super) fn said(error: &impl Display) {
    let text = error.to_string();
    assert!(!text.is_empty(), "a refusal without words");
    assert!(text.len() < 8192, "a refusal of {} bytes: {}", text.len(), &text[..200]);
}

/// A folder that goes when it is dropped, in memory where the system has a place for that: what an input
/// leaves behind need not reach a disk.
pub(super) fn scratch() -> TempDir {
    let memory = Path::new("/dev/shm");
    if memory.is_dir() { TempDir::new_in(memory) } else { TempDir::new() }.unwrap()
}
