//! Everything of the program that reads what others made, each as a function of bytes. It returns
//! whatever the bytes are: what it asserts has to hold for all of them.
//!
//! libFuzzer drives these (`run.rs`), and `tests/hostile.rs` does on the stable compiler.

mod curves;
mod library;
mod packs;
mod page;
mod recordings;
mod texts;

use std::fmt::Display;
use std::path::PathBuf;
use std::time::Duration;

use precedent::library::Library;
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
    /// Time one input may take in an unoptimised build.
    pub(crate) time: Duration,
}

const fn target(name: &'static str, run: fn(&[u8]), longest: usize, seconds: u64) -> Target {
    Target { name, run, longest, time: Duration::from_secs(seconds) }
}

/// Every target.
pub(crate) const TARGETS: [Target; 17] = [
    target("c3d", recordings::c3d, 1 << 16, 2),
    target("trc", recordings::trc, 1 << 16, 2),
    target("bvh", recordings::bvh, 1 << 16, 2),
    target("keypoints", recordings::keypoints, 1 << 16, 2),
    target("joint_table", recordings::table, 1 << 16, 2),
    target("depth20", recordings::depth20, 1 << 16, 2),
    target("pack", packs::raw, 1 << 16, 2),
    target("pack_inside", packs::inside, 1 << 16, 5),
    target("library_file", library::file, 1 << 19, 10),
    target("library_values", library::values, 1 << 14, 10),
    target("derived_files", library::derived, 1 << 15, 10),
    target("curve_file", curves::raw, 1 << 16, 2),
    target("curve_file_summed", curves::summed, 1 << 16, 2),
    target("filter", texts::filter, 1 << 12, 5),
    target("catalogue", texts::catalogue, 1 << 15, 5),
    target("past_records", texts::past_records, 1 << 15, 10),
    target("page", page::request, 1 << 14, 30),
];

/// The target of this name.
#[allow(dead_code, reason = "asked for by libFuzzer's programs alone")]
pub(crate) fn named(name: &str) -> &'static Target {
    static ALL: [Target; TARGETS.len()] = TARGETS;
    ALL.iter().find(|target| target.name == name).expect("every program is named after a target")
}

/// A refusal is one text that a person can read.
fn said(error: &impl Display) {
    let text = error.to_string();
    assert!(!text.is_empty(), "a refusal without words");
    assert!(text.len() < 8192, "a refusal of {} bytes: {}", text.len(), &text[..200]);
}

/// The project's own folder.
fn project() -> PathBuf {
    let own = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    if own.ends_with("fuzz") { own.join("../..") } else { own }
}

/// A small library as it was kept with the tests of the store: invented, one player, two serves.
fn kept_library() -> Vec<u8> {
    std::fs::read(project().join("src/library/tests/golden/format-5.db")).unwrap()
}

/// That library in a folder of its own, open for writing and with what is derived from it.
fn library() -> (TempDir, Library) {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("library.db"), kept_library()).unwrap();
    let library = Library::open(folder.path()).unwrap();
    library.sync().unwrap();
    (folder, library)
}
