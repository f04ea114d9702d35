//! A committed file of each format: it opens, holds what it held, and is what is written today.

#![allow(missing_docs)]

use std::path::Path;

use curve_index::{DtwParams, Index, Nearest, Shape};

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

#[test]
fn format_1_stays_readable_and_is_written_alike() {
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/format-1.index");
    // To make the file anew on purpose (a new format needs a new name): CURVE_INDEX_MAKE_GOLDEN=1.
    if std::env::var_os("CURVE_INDEX_MAKE_GOLDEN").is_some() {
        make(&golden);
    }
    let index = Index::open(&golden).unwrap();
    index.verify().unwrap();
    assert_eq!(index.ids().collect::<Vec<_>>(), [9, 4, 1, 12]);
    for id in [9, 4, 1, 12] {
        assert_eq!(index.curve(id).unwrap().values(), curve(id));
    }
    let params = DtwParams::new(3).band_frames(2).check().unwrap();
    let answer = index.nearest(&curve(12), &Nearest::new(&params, 1)).unwrap();
    assert_eq!((answer.neighbours[0].id, answer.neighbours[0].cost), (12, 0.0));

    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("new.index");
    make(&path);
    let (old, new) = (std::fs::read(&golden).unwrap(), std::fs::read(&path).unwrap());
    assert_eq!(old.len(), new.len());
    let differs = old.iter().zip(&new).position(|(a, b)| a != b);
    assert_eq!(differs, None, "first byte that differs");
}
