//! Committed files of each format: they open and hold what they held; the newest is what is written today.

#![allow(missing_docs)]

#[path = "support/skip.rs"]
mod skip;

use std::path::{Path, PathBuf};

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
fn format_3_stays_readable_and_is_written_alike() {
    let golden = golden("format-3.index");
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

/// Bits of deletion beyond the last row, under sums made right, are refused: they made an index look emptier
/// than it is, and a search answered with more curves than it was asked for. Found by fuzzing.
#[test]
fn a_deletion_beyond_the_rows_is_refused() {
    let mut bytes = std::fs::read(golden("format-2.index")).unwrap();
    let number = |bytes: &[u8], at: usize| {
        u64::from_le_bytes(bytes[at..at + 8].try_into().unwrap()) as usize
    };
    let crc = |bytes: &[u8]| crc32fast::hash(bytes).to_le_bytes();
    // The newer record; its manifest; in it the last section, that of the second segment's deletions.
    let record = 8192;
    let (manifest, len) = (number(&bytes, record + 16), number(&bytes, record + 24));
    let section = manifest + len - 24;
    assert_eq!(bytes[section..section + 4], 4_u32.to_le_bytes());
    let (at, size) = (number(&bytes, section + 8), number(&bytes, section + 16));
    assert_eq!((number(&bytes, at), size), (2, 8), "of two rows the second is deleted");
    bytes[at] |= 1 << 3;
    let sum = crc(&bytes[at..at + size]);
    bytes[section + 4..section + 8].copy_from_slice(&sum);
    let sum = crc(&bytes[manifest..manifest + len]);
    bytes[record + 32..record + 36].copy_from_slice(&sum);
    let sum = crc(&bytes[record..record + 36]);
    bytes[record + 36..record + 40].copy_from_slice(&sum);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bad.index");
    std::fs::write(&path, &bytes).unwrap();
    let error = Index::open(&path).unwrap_err().to_string();
    assert!(error.contains("the deletion section"), "{error}");
}

/// A commit record with the last number there is, under a sum made right, counts as one that was cut short: what
/// was appended after it took the number 0, and was gone with the next opening. Found by fuzzing.
#[test]
fn a_record_with_the_last_number_is_none() {
    let mut bytes = std::fs::read(golden("format-3.index")).unwrap();
    let record = 8192;
    assert_eq!(bytes[record + 8..record + 16], 3_u64.to_le_bytes(), "the newer one");
    bytes[record + 8..record + 16].copy_from_slice(&u64::MAX.to_le_bytes());
    let sum = crc32fast::hash(&bytes[record..record + 36]).to_le_bytes();
    bytes[record + 36..record + 40].copy_from_slice(&sum);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("far.index");
    std::fs::write(&path, &bytes).unwrap();
    // As before the deletion, which that record was to commit.
    let mut index = Index::open_for_writing(&path).unwrap();
    assert_eq!(index.ids().collect::<Vec<_>>(), [9, 4, 7, 1, 12, 3]);
    index.append([(50, &curve(50)[..])]).unwrap();
    drop(index);
    let index = Index::open(&path).unwrap();
    assert_eq!(index.ids().collect::<Vec<_>>(), [9, 4, 7, 1, 12, 3, 50]);
    index.verify().unwrap();
}

/// What was written before, formats of old and sections that are no longer read, is read and written on as what it
/// is; compacting makes it the newest.
#[test]
fn formats_before_stay_readable_and_grow() {
    let before = [
        (1, "format-1.index"),
        (1, "format-1-runs.index"),
        (2, "format-2.index"),
        (3, "format-3-runs.index"),
    ];
    for (number, name) in before {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("old.index");
        std::fs::copy(golden(name), &path).unwrap();
        assert_whole(&Index::open(&path).unwrap());
        let format = || std::fs::read(&path).unwrap()[8];
        let mut index = Index::open_for_writing(&path).unwrap();
        assert_eq!(format(), number);
        index.append([(50, &curve(50)[..])]).unwrap();
        index.delete(&[50]).unwrap();
        assert_whole(&index);
        assert_eq!(format(), number);
        drop(index);
        let mut index = Index::open_for_writing(&path).unwrap();
        assert_whole(&index);
        index.compact().unwrap();
        assert_whole(&index);
        assert_eq!(format(), 3);
    }
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

/// Whatever is touched, little of it stays mapped; and the answers are the same.
#[cfg(target_os = "linux")]
#[test]
fn a_search_that_may_map_little_maps_little() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().canonicalize().unwrap().join("small.index");
    let shape = Shape::new(101, 12).unwrap();
    let mut builder = Index::create(&path, shape).unwrap();
    // Invented: noise, so that every curve's copies are read.
    let mut state = 1_u32;
    let mut noise = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 16) as f32 / 65_536.0
    };
    let mut curve = || -> Vec<f32> { (0..shape.values()).map(|_| noise()).collect() };
    let rows = 3000;
    for id in 0..rows {
        builder.push(id, &curve()).unwrap();
    }
    let index = builder.finish().unwrap();
    let params = DtwParams::new(12).band_frames(10).check().unwrap();
    let query = curve();
    for threads in [1, 2] {
        let what = Nearest::new(&params, 5).threads(threads.try_into().unwrap());
        index.release_pages().unwrap();
        let want = index.nearest(&query, &what).unwrap();
        assert_eq!(want.stages.warped, rows - 32, "{:?}", want.stages);
        let all = mapped(&path);
        // Copies alone: 101 x 12 bytes a curve, in kB.
        assert!(all > rows * 1212 / 1024, "{all} kB");
        let got = index.nearest(&query, &what.clone().mapped_bytes(1 << 20)).unwrap();
        assert_eq!(got.neighbours, want.neighbours);
        // Sketches, boxes and lists, 182 bytes a curve, and one piece of 2 MB.
        let left = mapped(&path);
        assert!(4 * left < 3 * all, "{left} of {all} kB");
    }
}

/// Of a file of more curves than may stay mapped some are given back while others are read.
#[cfg(target_os = "linux")]
#[test]
fn a_search_keeps_no_more_than_64_mb_of_curves_mapped() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().canonicalize().unwrap().join("large.index");
    // Invented: few curves, but long ones, 96 MB of them.
    let shape = Shape::new(2000, 12).unwrap();
    let curve = |id: u64| -> Vec<f32> { (0..24_000).map(|at| (id * at % 997) as f32).collect() };
    let mut builder = Index::create(&path, shape).unwrap();
    for id in 0..1000 {
        builder.push(id, &curve(id)).unwrap();
    }
    drop(builder.finish().unwrap());
    let index = Index::open(&path).unwrap();
    let params = DtwParams::new(12).band_frames(1).check().unwrap();
    let query = curve(7);
    // Every curve is read.
    let what = Nearest::new(&params, 1000);
    let all = index.nearest(&query, &what.clone().mapped_bytes(usize::MAX)).unwrap();
    assert!(mapped(&path) > 90_000, "{} kB", mapped(&path));
    for threads in [1, 2] {
        let what = what.clone().threads(threads.try_into().unwrap());
        assert_eq!(index.nearest(&query, &what).unwrap(), all);
        let left = mapped(&path);
        assert!(left < 64_000_000 / 1024, "{left} kB");
        // The pruned search, where one curve need not be found.
        index.release_pages().unwrap();
        let most = Nearest::new(&params, 999).threads(threads.try_into().unwrap());
        let got = index.nearest(&query, &most).unwrap();
        assert_eq!(got.neighbours, all.neighbours[..999]);
        assert!(got.stages.kernel > 900, "{:?}", got.stages);
        let left = mapped(&path);
        assert!(left < 64_000_000 / 1024, "{left} kB");
    }
}

/// What `golden/read_index.py`, a reader written from `docs/format.md` alone with NumPy and zlib, says of a
/// file: whether it agrees, and its output.
fn read_from_the_page(path: &Path) -> Option<(bool, String)> {
    let Some(python) = std::env::var_os("PRECEDENT_ORACLE") else {
        skip::skipped("PRECEDENT_ORACLE names no Python; tests/run sets it");
        return None;
    };
    let script = golden("read_index.py");
    let run = std::process::Command::new(python).arg(script).arg(path).output().unwrap();
    let said = if run.status.success() { run.stdout } else { run.stderr };
    Some((run.status.success(), String::from_utf8(said).unwrap()))
}

#[test]
fn a_reader_written_from_the_page_agrees_on_every_byte() {
    let folder = tempfile::tempdir().unwrap();
    // Frames, channels, curves, of which some come later; the first has more than two blocks.
    for (frames, channels, count, later) in
        [(101, 12, 530, 20), (20, 3, 40, 1), (7, 5, 17, 3), (1, 1, 2, 1)]
    {
        let path = folder.path().join(format!("{frames}x{channels}.index"));
        let shape = Shape::new(frames, channels).unwrap();
        let mut builder = Index::create(&path, shape).unwrap();
        // Invented: waves that differ by curve, in no order of id.
        let id = |number: u64| number * 7919 % 10_007;
        let curve = |id: u64| -> Vec<f32> {
            let wave =
                |at: usize| ((id % 31) as f32 * 0.1 + at as f32 * 0.07).sin() * (at % 5) as f32;
            (0..shape.values()).map(wave).collect()
        };
        for number in 0..count {
            builder.push(id(number), &curve(id(number))).unwrap();
        }
        let mut index = builder.finish().unwrap();
        let more: Vec<(u64, Vec<f32>)> =
            (count..count + later).map(|number| (id(number), curve(id(number)))).collect();
        index.append(more.iter().map(|(id, values)| (*id, values.as_slice()))).unwrap();
        index.delete(&[id(1), id(count)]).unwrap();

        for compacted in [false, true] {
            if compacted {
                index.compact().unwrap();
            }
            let Some((agrees, said)) = read_from_the_page(&path) else { return };
            assert!(agrees, "{frames} x {channels}: {said}");
            let line = |id| {
                let bytes: Vec<u8> =
                    curve(id).iter().flat_map(|value| value.to_le_bytes()).collect();
                format!("{id} {}\n", crc32fast::hash(&bytes))
            };
            let want: String = index.ids().map(line).collect();
            assert_eq!(said, want, "{frames} x {channels}, compacted: {compacted}");
        }
    }
    // The reader does look.
    let path = folder.path().join("101x12.index");
    let mut bytes = std::fs::read(&path).unwrap();
    let at = bytes.len() / 2;
    bytes[at] ^= 1;
    std::fs::write(&path, bytes).unwrap();
    let (agrees, said) = read_from_the_page(&path).unwrap();
    assert!(!agrees && said.contains("not as the page says"), "{said}");
}
