//! Crash, damage and life-cycle tests of the store.

use std::io;
use std::path::Path;
use std::sync::{Arc, Mutex};

use super::bytes::Bytes;
use super::file::FileStore;
use super::medium::Medium;
use super::{Index, Store, StoreError, format, read_segments};
use crate::params::Shape;
use crate::sketch::Layout;

/// A disk that dies: after `budget` operations every call fails, and of the writes since the last
/// sync only some reached it (which ones: `fate`, read bit by bit; a lost write may be torn).
#[derive(Debug)]
struct Disk {
    durable: Vec<u8>,
    pending: Vec<(u64, Vec<u8>)>,
    budget: usize,
    used: usize,
}

#[derive(Debug, Clone)]
struct DyingMedium(Arc<Mutex<Disk>>);

fn put(into: &mut Vec<u8>, at: u64, bytes: &[u8]) {
    let end = at as usize + bytes.len();
    if into.len() < end {
        into.resize(end, 0);
    }
    into[at as usize..end].copy_from_slice(bytes);
}

impl Disk {
    fn spend(&mut self) -> io::Result<()> {
        self.used += 1;
        if self.used > self.budget { Err(io::Error::other("the disk died")) } else { Ok(()) }
    }

    /// What is on the disk after the crash, for one fate of the writes under way.
    fn after_crash(&self, fate: usize) -> Vec<u8> {
        let mut bytes = self.durable.clone();
        for (number, (at, written)) in self.pending.iter().enumerate() {
            match (fate >> (2 * number)) & 3 {
                0 => {}
                1 => put(&mut bytes, *at, &written[..written.len() / 2]),
                2 => put(&mut bytes, *at + written.len() as u64 / 2, &written[written.len() / 2..]),
                _ => put(&mut bytes, *at, written),
            }
        }
        bytes
    }
}

impl Medium for DyingMedium {
    fn read_at(&self, into: &mut [u8], at: u64) -> io::Result<()> {
        self.0.lock().unwrap().spend()?;
        let at = at as usize;
        into.copy_from_slice(&self.map()?[at..at + into.len()]);
        Ok(())
    }

    fn write_at(&self, bytes: &[u8], at: u64) -> io::Result<()> {
        let mut disk = self.0.lock().unwrap();
        // The write that dies may have reached the disk, too.
        disk.pending.push((at, bytes.to_vec()));
        disk.spend()
    }

    fn sync(&self) -> io::Result<()> {
        let mut disk = self.0.lock().unwrap();
        disk.spend()?;
        for (at, bytes) in std::mem::take(&mut disk.pending) {
            put(&mut disk.durable, at, &bytes);
        }
        Ok(())
    }

    fn map(&self) -> io::Result<Bytes> {
        let disk = self.0.lock().unwrap();
        let mut bytes = disk.durable.clone();
        for (at, written) in &disk.pending {
            put(&mut bytes, *at, written);
        }
        Ok(Bytes::copy(&bytes))
    }
}

fn shape() -> Shape {
    Shape::new(3, 2).unwrap()
}

fn curve(id: u64) -> Vec<f32> {
    (0..6).map(|at| (id * 10 + at) as f32).collect()
}

/// Ids and curves a file holds, or why it cannot be read.
fn contents(bytes: &[u8]) -> Result<Vec<(u64, Vec<f32>)>, StoreError> {
    let path = Path::new("crashed");
    let map = Bytes::copy(bytes);
    let (shape, state) = format::read(path, &map)?;
    let layout = Arc::new(Layout::new(shape));
    let segments = read_segments(path, &map, &layout, &state)?;
    let index = Index::from_parts(layout, segments, Store::Memory);
    Ok(index.ids().map(|id| (id, index.curve(id).unwrap().values().to_vec())).collect())
}

/// The deeds under test, one after the other; each returns to the caller when the disk dies.
fn deeds(disk: &DyingMedium) -> Result<(), StoreError> {
    let path = Path::new("crashing");
    let mut store = FileStore::start(path, Box::new(disk.clone()), shape())?;
    let mut batch = super::build::Batch::on_file(shape(), &store);
    for id in [5, 3, 4] {
        batch.push(Some(&mut store), id, &curve(id))?;
    }
    batch.finish_on_file(&mut store, &Layout::new(shape()), None)?;
    let mut index = Index::with_store(shape(), store)?;
    index.append([(9, &curve(9)[..]), (1, &curve(1)[..])])?;
    index.delete(&[3, 9])?;
    index.append([(3, &curve(13)[..])])?;
    Ok(())
}

/// The states the deeds pass through.
fn states() -> Vec<Vec<(u64, Vec<f32>)>> {
    let list = |ids: &[u64]| ids.iter().map(|&id| (id, curve(id))).collect::<Vec<_>>();
    let mut last = list(&[5, 4, 1]);
    last.push((3, curve(13)));
    vec![list(&[5, 3, 4]), list(&[5, 3, 4, 9, 1]), list(&[5, 4, 1]), last]
}

#[test]
fn a_crash_at_any_write_leaves_the_state_before_or_after() {
    let states = states();
    let new_disk = |budget| {
        let disk = Disk { durable: Vec::new(), pending: Vec::new(), budget, used: 0 };
        DyingMedium(Arc::new(Mutex::new(disk)))
    };
    let whole = new_disk(usize::MAX);
    deeds(&whole).unwrap();
    let operations = whole.0.lock().unwrap().used;
    assert!(operations > 20, "the deeds take {operations} writes and syncs");

    let mut furthest = 0;
    for budget in 0..operations {
        let disk = new_disk(budget);
        deeds(&disk).unwrap_err();
        let disk = disk.0.lock().unwrap();
        // What was committed when the disk died: the number of durable commit records.
        let committed = contents(&disk.durable).ok();
        let before = committed
            .as_ref()
            .map(|found| states.iter().position(|state| state == found).expect("a known state"));
        // All fates of few writes; of many, evenly spread ones, nothing and everything included.
        let fates = 1_usize << (2 * disk.pending.len());
        let step = (fates / 512).max(1) | 1;
        for fate in (0..fates).step_by(step).chain([fates - 1]) {
            let found = contents(&disk.after_crash(fate));
            match (before, found) {
                // Nothing was ever committed: the first commit either happened or did not.
                (None, Ok(found)) => assert_eq!(found, states[0], "budget {budget} fate {fate}"),
                (None, Err(_)) => {}
                (Some(before), Ok(found)) => {
                    let now = states.iter().position(|state| *state == found);
                    assert!(
                        now == Some(before) || now == Some(before + 1),
                        "budget {budget} fate {fate}: state {before} became {now:?}"
                    );
                    furthest = furthest.max(before);
                }
                (Some(before), Err(error)) => {
                    panic!("budget {budget} fate {fate}: state {before} was lost: {error}")
                }
            }
        }
    }
    assert_eq!(furthest, states.len() - 2, "the last deed was interrupted, too");
}

#[test]
fn a_failed_append_leaves_the_index_usable() {
    let disk = Disk { durable: Vec::new(), pending: Vec::new(), budget: usize::MAX, used: 0 };
    let medium = DyingMedium(Arc::new(Mutex::new(disk)));
    let store = FileStore::start(Path::new("x"), Box::new(medium.clone()), shape()).unwrap();
    let mut index = Index::with_store(shape(), store).unwrap();
    index.append([(1, &curve(1)[..])]).unwrap();
    let bad = [(2, &curve(2)[..]), (1, &curve(1)[..])];
    let error = index.append(bad).unwrap_err();
    assert!(matches!(error, StoreError::DuplicateId { id: 1 }), "{error}");
    assert_eq!(index.ids().collect::<Vec<_>>(), [1]);
    index.append([(2, &curve(2)[..])]).unwrap();
    let bytes = medium.map().unwrap();
    assert_eq!(contents(&bytes).unwrap(), [(1, curve(1)), (2, curve(2))]);
}

#[test]
fn files_live_through_open_append_delete_compact() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.index");
    let mut builder = Index::create(&path, shape()).unwrap();
    for id in [50, 30, 40] {
        builder.push(id, &curve(id)).unwrap();
    }
    let error = builder.push(60, &[1.0, 2.0, 3.0, f32::NAN, 0.0, 0.0]).unwrap_err();
    assert_eq!(
        error.to_string(),
        "id 60: curve: frame 1, channel 1 is NaN, expected a finite number; fill the gap first"
    );
    let built = builder.finish().unwrap();
    assert_eq!(built.len(), 3);
    let locked = Index::open_for_writing(&path).unwrap_err();
    assert!(matches!(locked, StoreError::Locked { .. }), "{locked}");
    drop(built);

    let reader = Index::open(&path).unwrap();
    let mut index = Index::open_for_writing(&path).unwrap();
    index.append([(20, &curve(20)[..])]).unwrap();
    assert_eq!(index.delete(&[40, 41, 40]).unwrap(), 1);
    assert_eq!(index.ids().collect::<Vec<_>>(), [50, 30, 20]);
    assert!(index.curve(40).is_none());
    index.append([(40, &curve(44)[..])]).unwrap();
    index.verify().unwrap();
    assert_eq!(index.segments(), 3);
    index.compact().unwrap();
    assert_eq!(index.segments(), 1);
    assert_eq!(index.ids().collect::<Vec<_>>(), [50, 30, 20, 40]);
    assert_eq!(index.curve(40).unwrap().values(), curve(44));
    // The reader still sees the state it opened.
    assert_eq!(reader.ids().collect::<Vec<_>>(), [50, 30, 40]);
    drop(index);
    let mut reopened = Index::open(&path).unwrap();
    assert_eq!(reopened.ids().collect::<Vec<_>>(), [50, 30, 20, 40]);
    reopened.verify().unwrap();
    let error = reopened.delete(&[20]).unwrap_err();
    assert!(matches!(error, StoreError::ReadOnly { .. }), "{error}");
    let names: Vec<_> =
        std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names, ["a.index"], "nothing half-written stays");
}

#[test]
fn an_unfinished_build_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.index");
    let mut builder = Index::create(&path, shape()).unwrap();
    builder.push(1, &curve(1)).unwrap();
    drop(builder);
    let mut twice = Index::create(&path, shape()).unwrap();
    twice.push(1, &curve(1)).unwrap();
    twice.push(1, &curve(1)).unwrap();
    assert!(matches!(twice.finish(), Err(StoreError::DuplicateId { id: 1 })));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn damage_is_named_and_never_a_panic() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.index");
    let mut builder = Index::create(&path, shape()).unwrap();
    for id in 0..200 {
        builder.push(id, &curve(id)).unwrap();
    }
    drop(builder.finish().unwrap());
    let whole = std::fs::read(&path).unwrap();

    std::fs::write(&path, b"something else").unwrap();
    assert!(matches!(Index::open(&path), Err(StoreError::NotAnIndex { .. })));
    std::fs::write(&path, b"").unwrap();
    assert!(matches!(Index::open(&path), Err(StoreError::NotAnIndex { .. })));
    let mut other = whole.clone();
    other[8] = 99;
    std::fs::write(&path, &other).unwrap();
    let error = Index::open(&path).unwrap_err().to_string();
    assert!(
        error.ends_with("format 99, this program reads format 1; rebuild the index"),
        "{error}"
    );
    for len in (0..whole.len()).step_by(97) {
        std::fs::write(&path, &whole[..len]).unwrap();
        assert!(Index::open(&path).is_err(), "cut to {len} bytes");
    }
    // Any flipped bit outside padding is found by `verify`, if opening did not find it.
    let mut noticed = 0;
    for at in (0..whole.len()).step_by(41) {
        let mut bent = whole.clone();
        bent[at] ^= 0x10;
        std::fs::write(&path, &bent).unwrap();
        let sound = Index::open(&path).and_then(|index| {
            index
                .nearest(
                    &curve(1),
                    &crate::Nearest::new(&crate::DtwParams::new(2).check().unwrap(), 3),
                )
                .unwrap();
            index.verify()
        });
        noticed += usize::from(sound.is_err());
    }
    assert!(noticed > (whole.len() - 12288) / 41 * 9 / 10, "{noticed}");
}
