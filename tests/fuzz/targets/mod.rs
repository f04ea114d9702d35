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

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use precedent::evidence::sync_outcomes;
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

/// A small library as it was kept with the tests of the store: invented, one player, three serves.
fn kept_library(format: u8) -> Vec<u8> {
    fs::read(project().join(format!("src/library/tests/golden/format-{format}.db"))).unwrap()
}

/// The format of today, and one from before.
const TODAY: u8 = 7;
const OLDER: u8 = 5;

/// The files of a library nobody has open, by their paths within its folder.
type Files = Vec<(PathBuf, Vec<u8>)>;

/// The kept library of today's format with all that is derived from it. Made once, since that costs more than
/// any reader of it.
static WHOLE: LazyLock<Files> = LazyLock::new(|| {
    let folder = scratch();
    fs::write(folder.path().join("library.db"), kept_library(TODAY)).unwrap();
    let library = Library::open(folder.path()).unwrap();
    library.sync().unwrap();
    sync_outcomes(&library).unwrap();
    drop(library);
    files_of(folder.path())
});

/// Every file below `folder`, in order.
fn files_of(folder: &Path) -> Files {
    let mut open = vec![folder.to_owned()];
    let mut files = Files::new();
    while let Some(inner) = open.pop() {
        for entry in fs::read_dir(inner).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().to_owned();
                files.push((name, fs::read(path).unwrap()));
            }
        }
    }
    files.sort();
    files
}

/// Leaves these files in the folder and nothing else.
fn lay<'f>(folder: &Path, files: impl IntoIterator<Item = (&'f Path, &'f [u8])>) {
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let path = entry.path();
        if path.is_dir() { fs::remove_dir_all(path) } else { fs::remove_file(path) }.unwrap();
    }
    for (name, content) in files {
        let path = folder.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, content).unwrap();
    }
}

/// The whole library, to be laid.
fn whole_library() -> impl Iterator<Item = (&'static Path, &'static [u8])> {
    WHOLE.iter().map(|(name, content)| (name.as_path(), content.as_slice()))
}

/// The store of the whole library.
fn whole_store() -> &'static [u8] {
    whole_library().find(|(name, _)| *name == Path::new("library.db")).unwrap().1
}

/// The whole library in a folder of its own, open for writing.
fn library() -> (TempDir, Library) {
    let folder = scratch();
    lay(folder.path(), whole_library());
    let library = Library::open(folder.path()).unwrap();
    (folder, library)
}
