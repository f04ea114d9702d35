//! A committed file of each format: it opens, holds what it held, and is what is written today.

#![allow(missing_docs)]

use std::path::{Path, PathBuf};

use curve_index::{DtwParams, Index, Nearest, Shape, Strategy};

fn curve(id: u64) -> Vec<f32> {
    (0..20 * 3).map(|at| ((id * 37 + at * 11) % 64) as f32 / 8.0 - 3.0).collect()
}

/// Builds, appends and deletes; the same bytes on every machine.
fn make(path: &Path) {
    let mut builder = Index::create(path, Shape::new(20, 3).unwrap()).unwrap();
    for id in [9, 4, 7, 1] {
        builder.push(id, &curve(id)).unwrap();
    }
    let mut index = builder.finish().unwrap();
    index.append([(12, &curve(12)[..]), (3, &curve(3)[..])]).unwrap();
    index.delete(&[7, 3]).unwrap();
}

fn golden(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden").join(name)
}

/// What [`make`] left is there, and found.
fn assert_whole(index: &Index) {
    index.verify().unwrap();
    assert_eq!(index.ids().collect::<Vec<_>>(), [9, 4, 1, 12]);
    for id in [9, 4, 1, 12] {
        assert_eq!(index.curve(id).unwrap().values(), curve(id));
    }
    let params = DtwParams::new(3).band_frames(2).check().unwrap();
    let answer = index.nearest(&curve(12), &Nearest::new(&params, 1)).unwrap();
    assert_eq!((answer.neighbours[0].id, answer.neighbours[0].cost), (12, 0.0));
}

#[test]
fn format_1_stays_readable_and_is_written_alike() {
    let golden = golden("format-1-runs.index");
    // To make the file anew on purpose (a new format needs a new name): CURVE_INDEX_MAKE_GOLDEN=1.
    if std::env::var_os("CURVE_INDEX_MAKE_GOLDEN").is_some() {
        make(&golden);
    }
    assert_whole(&Index::open(&golden).unwrap());
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("new.index");
    make(&path);
    let (old, new) = (std::fs::read(&golden).unwrap(), std::fs::read(&path).unwrap());
    assert_eq!(old.len(), new.len());
    let differs = old.iter().zip(&new).position(|(a, b)| a != b);
    assert_eq!(differs, None, "first byte that differs");
}

/// A file from before there were runs: it opens, is searched without them, takes batches that have
/// them, and has them all once compacted.
#[test]
fn a_file_without_runs_is_searched_and_grows() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("old.index");
    std::fs::copy(golden("format-1.index"), &path).unwrap();
    assert_whole(&Index::open(&path).unwrap());
    let mut index = Index::open_for_writing(&path).unwrap();
    let more: Vec<Vec<f32>> = (100..160).map(curve).collect();
    index.append((100..160).zip(more.iter().map(Vec::as_slice))).unwrap();
    let params = DtwParams::new(3).band_frames(2).check().unwrap();
    // A range query has no seeds, so whatever it finds has met every stage.
    let all = Nearest::new(&params, usize::MAX);
    let most = 40.0;
    let query = curve(130);
    let want = index.within(&query, most, &all.clone().strategy(Strategy::Scan)).unwrap();
    assert!(want.neighbours.len() > 1);
    let got = index.within(&query, most, &all).unwrap();
    assert_eq!(got.neighbours, want.neighbours);
    assert_eq!(got.stages.runs, 0);
    index.compact().unwrap();
    let got = index.within(&query, most, &all).unwrap();
    assert_eq!(got.neighbours, want.neighbours);
    assert!(got.stages.runs >= want.neighbours.len() as u64);
}

/// What `/proc` says is mapped of a file, in kB.
#[cfg(target_os = "linux")]
fn mapped(path: &Path) -> u64 {
    let maps = std::fs::read_to_string("/proc/self/smaps").unwrap();
    let name = path.to_str().unwrap();
    let mut lines = maps.lines();
    let mut sum = 0;
    while let Some(line) = lines.next() {
        if line.ends_with(name) {
            let rss = lines.find_map(|line| line.strip_prefix("Rss:")).unwrap();
            sum += rss.trim().trim_end_matches(" kB").parse::<u64>().unwrap();
        }
    }
    sum
}

#[cfg(target_os = "linux")]
#[test]
fn released_pages_come_back_with_the_next_search() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().canonicalize().unwrap().join("pages.index");
    make(&path);
    let index = Index::open(&path).unwrap();
    let params = DtwParams::new(3).band_frames(2).check().unwrap();
    let what = Nearest::new(&params, 3);
    let before = index.nearest(&curve(12), &what).unwrap();
    assert!(mapped(&path) > 0);
    index.release_pages().unwrap();
    assert_eq!(mapped(&path), 0);
    assert_eq!(index.nearest(&curve(12), &what).unwrap(), before);
    assert!(mapped(&path) > 0);
    let kept = Index::in_memory(Shape::new(20, 3).unwrap()).finish().unwrap();
    kept.release_pages().unwrap();
}
