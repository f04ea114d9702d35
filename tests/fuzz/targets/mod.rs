//! Everything of the program that reads what others made, each as a function of bytes. It returns
//! whatever the bytes are: what it asserts has to hold for all of them.
//!
//! libFuzzer drives these (`run.rs`), and `tests/hostile.rs` does on the stable compiler.

mod clips;
mod curves;
mod library;
mod packs;
mod page;
mod recordings;
mod target;
mod texts;

use std::path::PathBuf;

use precedent::library::Library;
use tempfile::TempDir;

pub(crate) use target::Target;
use target::{said, scratch, target};

/// Every target.
pub(crate) const TARGETS: [Target; 24] = [
    target("c3d", recordings::c3d, 1 << 16, 2, 4_096),
    target("trc", recordings::trc, 1 << 16, 2, 8_192),
    target("bvh", recordings::bvh, 1 << 16, 2, 8_192),
    target("keypoints", recordings::keypoints, 1 << 16, 2, 32_768),
    target("keypoints_folder", recordings::folder, 1 << 16, 2, 8_192),
    target("joint_table", recordings::table, 1 << 16, 2, 768),
    target("depth20", recordings::depth20, 1 << 16, 2, 16_384),
    // A decoder gives back 256 MiB at most, of which a sound makes as much again twice.
    Target { memory: 1 << 30, ..target("clip", clips::clip, 1 << 16, 60, 8) },
    target("kept_points", clips::kept_points, 1 << 16, 2, 65_536),
    target("pack", packs::raw, 1 << 16, 2, 16_384),
    target("pack_inside", packs::inside, 1 << 16, 5, 3_072),
    target("keys", packs::keys, 1 << 12, 2, 16_384),
    target("library_file", library::file, 1 << 19, 10, 192),
    target("library_values", library::values, 1 << 14, 10, 32),
    target("derived_files", library::derived, 1 << 16, 10, 48),
    curves::FILE,
    curves::FILE_SUMMED,
    target("filter", texts::filter, 1 << 12, 5, 1_024),
    target("catalogue", texts::catalogue, 1 << 15, 5, 4_096),
    target("past_records", texts::past_records, 1 << 15, 10, 2_048),
    target("practice_card", texts::practice_card, 1 << 14, 5, 4_096),
    target("spoken_steps", texts::spoken_steps, 1 << 16, 2, 65_536),
    target("path_pattern", texts::path_pattern, 1 << 12, 2, 1_024),
    target("page", page::request, 1 << 14, 30, 256),
];

/// The target of this name.
#[allow(dead_code, reason = "asked for by libFuzzer's program alone")]
pub(crate) fn named(name: &str) -> Option<&'static Target> {
    static ALL: [Target; TARGETS.len()] = TARGETS;
    ALL.iter().find(|target| target.name == name)
}

/// The project's own folder.
fn project() -> PathBuf {
    let own = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    if own.ends_with("tests/fuzz") { own.join("../..") } else { own }
}

/// A small library as it was kept with the tests of the store: invented, one player, two serves.
fn kept_library() -> Vec<u8> {
    std::fs::read(project().join("src/library/tests/golden/format-5.db")).unwrap()
}

/// That library in a folder of its own, open for writing and with what is derived from it.
fn library() -> (TempDir, Library) {
    let folder = scratch();
    std::fs::write(folder.path().join("library.db"), kept_library()).unwrap();
    let library = Library::open(folder.path()).unwrap();
    library.sync().unwrap();
    (folder, library)
}
