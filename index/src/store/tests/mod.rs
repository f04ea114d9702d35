//! Crash, fault, damage and life-cycle tests of the store.

mod disk;

use std::path::Path;
use std::sync::Arc;

use rand::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::file::FileStore;
use super::format::{Kind, SegmentEntry, State};
use super::{Builder, Index, Store, StoreError};
use crate::params::{DtwParams, Shape};
use crate::search::Nearest;
use crate::sketch::{Layout, Quantiser};
use disk::{Device, Failing, Still};

const PATH: &str = "some.index";

fn shape() -> Shape {
    Shape::new(3, 2).unwrap()
}

fn curve(id: u64) -> Vec<f32> {
    (0..6).map(|at| (id * 10 + at) as f32).collect()
}

/// Ids and curves, in order of arrival.
type Contents = Vec<(u64, Vec<f32>)>;

fn contents(index: &Index) -> Contents {
    index.ids().map(|id| (id, index.curve(id).unwrap().values().to_vec())).collect()
}

fn opened(bytes: Vec<u8>) -> Result<Index, StoreError> {
    Index::on(Path::new(PATH), Box::new(Still(bytes)))
}

/// What is done to an index, one after the other.
#[derive(Debug, Clone, Copy)]
enum Step {
    Build(&'static [u64]),
    Append(&'static [u64]),
    Delete(&'static [u64]),
    Compact,
}

const STEPS: [Step; 8] = [
    Step::Build(&[5, 3, 4]),
    Step::Append(&[9, 1]),
    Step::Delete(&[3, 9]),
    Step::Append(&[3]),
    Step::Compact,
    Step::Append(&[20]),
    Step::Delete(&[5, 20]),
    Step::Append(&[5, 6]),
];

/// The curve under an id at the first, second ... try: each try brings another.
fn tried(id: u64, attempt: u64) -> Vec<f32> {
    curve(id + 100 * attempt)
}

impl Step {
    fn take(
        self,
        device: &Device,
        index: &mut Option<Index>,
        attempt: u64,
    ) -> Result<(), StoreError> {
        match (self, index) {
            (Self::Build(ids), index) => {
                let folder = Arc::new(device.clone());
                let mut builder = Builder::on_file(Path::new(PATH), folder, shape())?;
                for &id in ids {
                    builder.push(id, &tried(id, attempt))?;
                }
                *index = Some(builder.finish()?);
                Ok(())
            }
            (Self::Append(ids), Some(index)) => {
                let curves: Contents = ids.iter().map(|&id| (id, tried(id, attempt))).collect();
                index.append(curves.iter().map(|(id, values)| (*id, values.as_slice())))
            }
            (Self::Delete(ids), Some(index)) => index.delete(ids).map(|_| ()),
            (Self::Compact, Some(index)) => index.compact(),
            (_, None) => unreachable!("built first"),
        }
    }

    /// What it makes of `before`.
    fn after(self, before: &Contents, attempt: u64) -> Contents {
        let mut after = before.clone();
        match self {
            Self::Build(ids) | Self::Append(ids) => {
                after.extend(ids.iter().map(|&id| (id, tried(id, attempt))));
            }
            Self::Delete(ids) => after.retain(|(id, _)| !ids.contains(id)),
            Self::Compact => {}
        }
        after
    }
}

/// Takes all steps as a patient caller does: one that fails is tried again; where the index wants to be opened
/// again, it is. Returns the states that a crash may leave; none of them where there may be no file.
fn live(device: &Device) -> Vec<Option<Contents>> {
    let mut index = None;
    let mut now = Contents::new();
    let mut allowed = vec![None];
    for step in STEPS {
        for attempt in 0..3 {
            let after = step.after(&now, attempt);
            match step.take(device, &mut index, attempt) {
                Ok(()) => {
                    // Where there was nothing to do, nothing was made durable.
                    if after != now {
                        (now, allowed) = (after.clone(), vec![Some(after)]);
                    }
                    break;
                }
                Err(StoreError::Unconfirmed { .. }) => {
                    drop(index.take());
                    let Some(medium) = device.open(Path::new(PATH)) else { return allowed };
                    let folder = Arc::new(device.clone());
                    let path = Path::new(PATH);
                    let Ok(again) = Index::on_for_writing(path, folder, medium) else {
                        return allowed;
                    };
                    now = contents(&again);
                    assert!(allowed.contains(&Some(now.clone())), "{step:?}: {now:?}");
                    index = Some(again);
                }
                Err(_) => {
                    allowed.push(Some(after));
                    let Some(index) = &index else { continue };
                    assert_eq!(contents(index), now, "{step:?} failed: the index is as before");
                    let Store::File(store) = &index.store else { unreachable!("on file") };
                    if store.usable().is_ok() {
                        // Nothing was committed that was said to have failed.
                        let file = device.disk().read(Path::new(PATH)).unwrap();
                        assert_eq!(contents(&opened(file).unwrap()), now, "{step:?} failed");
                    }
                }
            }
        }
        if index.is_none() {
            break;
        }
    }
    allowed
}

/// Whatever a crash leaves is a state that was allowed, whole; it can be verified and written on.
fn assert_survives(device: &Device, allowed: &[Option<Contents>], outcomes: usize, what: &str) {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(3);
    let left = device.disk().after_crash(Path::new(PATH), &mut rng, outcomes);
    for (number, bytes) in left.into_iter().enumerate() {
        let found = bytes.clone().map(|bytes| {
            let index = opened(bytes).unwrap_or_else(|error| panic!("{what}: {error}"));
            contents(&index)
        });
        assert!(allowed.contains(&found), "{what}: found {found:?}, allowed {allowed:?}");
        let Some(bytes) = bytes.filter(|_| number % 3 == 0) else { continue };
        let later = Device::new(usize::MAX, None);
        let (path, folder) = (Path::new(PATH), Arc::new(later.clone()));
        let medium = super::medium::Folder::create(&later, path).unwrap();
        medium.write_at(&bytes, 0).unwrap();
        let mut index = Index::on_for_writing(path, folder, medium).unwrap();
        index.verify().unwrap_or_else(|error| panic!("{what}: {error}"));
        index.append([(77, &curve(77)[..])]).unwrap();
        index.verify().unwrap_or_else(|error| panic!("{what}, written on: {error}"));
    }
}

fn operations(device: &Device) -> usize {
    let used = device.disk().used;
    assert!(used > 60, "the steps take {used} operations");
    used
}

#[test]
fn a_crash_at_any_operation_leaves_the_state_before_or_after() {
    let whole = Device::new(usize::MAX, None);
    let allowed = live(&whole);
    assert_eq!(allowed.len(), 1);
    assert_eq!(allowed[0].as_ref().map(Vec::len), Some(5));
    for budget in 0..operations(&whole) {
        let device = Device::new(budget, None);
        let allowed = live(&device);
        assert!(allowed.len() > 1, "budget {budget}");
        assert_survives(&device, &allowed, 24, &format!("budget {budget}"));
    }
}

/// One operation fails, the caller tries again, and some time later the disk dies: never is an old record left
/// over new curves, nor a change lost that was acknowledged.
#[test]
fn a_retry_after_any_failure_survives_a_crash() {
    let all = operations(&{
        let device = Device::new(usize::MAX, None);
        live(&device);
        device
    });
    for number in 1..=all {
        for failing in [Failing::Done, Failing::Undone, Failing::Forgotten] {
            for later in [1, 2, 3, 5, 8, 13, 21, usize::MAX] {
                let device = Device::new(number.saturating_add(later), Some((number, failing)));
                let allowed = live(&device);
                let what = format!("operation {number} {failing:?}, dead {later} later");
                assert_survives(&device, &allowed, 6, &what);
            }
        }
    }
}

/// After a commit that failed half-way nothing more is written, until the index is opened again.
#[test]
fn an_unconfirmed_commit_stops_all_writing() {
    let whole = Device::new(usize::MAX, None);
    let mut index = None;
    STEPS[0].take(&whole, &mut index, 0).unwrap();
    let before = whole.disk().used;
    index.as_mut().unwrap().delete(&[3]).unwrap();
    // A deletion ends with the record and its sync.
    let last = whole.disk().used;
    assert!(last > before + 2);
    for number in [last - 1, last] {
        let device = Device::new(usize::MAX, Some((number, Failing::Done)));
        let mut index = None;
        STEPS[0].take(&device, &mut index, 0).unwrap();
        let mut index = index.unwrap();
        assert!(matches!(index.delete(&[3]), Err(StoreError::Io { .. })));
        let used = device.disk().used;
        let refused =
            [index.delete(&[4]).map(|_| ()), index.append([(8, &curve(8)[..])]), index.compact()];
        for result in refused {
            let error = result.unwrap_err();
            assert!(matches!(error, StoreError::Unconfirmed { .. }), "{error}");
            assert_eq!(
                error.to_string(),
                "some.index: whether an earlier change reached the disk is not known; \
                 close the index and open it again"
            );
        }
        assert_eq!(device.disk().used, used);
        assert_eq!(index.ids().collect::<Vec<_>>(), [5, 3, 4]);
    }
}

#[test]
fn a_failed_append_leaves_the_index_usable() {
    let device = Device::new(usize::MAX, None);
    let mut index = None;
    Step::Build(&[1]).take(&device, &mut index, 0).unwrap();
    let mut index = index.unwrap();
    let bad = [(2, &curve(2)[..]), (1, &curve(1)[..])];
    let error = index.append(bad).unwrap_err();
    assert!(matches!(error, StoreError::DuplicateId { id: 1 }), "{error}");
    assert_eq!(index.ids().collect::<Vec<_>>(), [1]);
    index.append([(2, &curve(2)[..])]).unwrap();
    let bytes = device.disk().read(Path::new(PATH)).unwrap();
    assert_eq!(contents(&opened(bytes).unwrap()), [(1, curve(1)), (2, curve(2))]);
}

/// No writer makes a segment without rows, but a file may have one.
#[test]
fn a_segment_without_rows_is_one_without_curves() {
    let device = Device::new(usize::MAX, None);
    let (path, folder) = (Path::new(PATH), Arc::new(device.clone()));
    let medium = super::medium::Folder::create(&device, path).unwrap();
    let mut store = FileStore::start(path, folder.clone(), medium, shape()).unwrap();
    let layout = Layout::new(shape());
    let numbers = Quantiser::fit(&layout, &[], &[1.0; 2]).to_numbers();
    let mut writer = store.writer();
    let mut entry = SegmentEntry::default();
    for kind in [
        Kind::Curves,
        Kind::Ids,
        Kind::IdOrder,
        Kind::Order,
        Kind::Places,
        Kind::BlockBoxes,
        Kind::GroupBoxes,
        Kind::Sketches,
        Kind::Coarse,
        Kind::Deleted,
    ] {
        entry.sections.push(writer.whole(&store, kind, &[]).unwrap());
    }
    let quantiser = bytemuck::cast_slice(&numbers);
    entry.sections.push(writer.whole(&store, Kind::Quantiser, quantiser).unwrap());
    let next = store.prepare(vec![entry], writer.start()).unwrap();
    store.commit(next).unwrap();

    let medium = device.open(path).unwrap();
    let mut index = Index::on_for_writing(path, folder, medium).unwrap();
    index.verify().unwrap();
    assert!(index.is_empty() && index.curve(1).is_none());
    let params = DtwParams::new(2).check().unwrap();
    for what in [Nearest::new(&params, 3), Nearest::new(&params, 3).max_cost(1.0)] {
        assert_eq!(index.nearest(&curve(1), &what).unwrap().neighbours, []);
    }
    index.append([(1, &curve(1)[..]), (2, &curve(2)[..])]).unwrap();
    assert_eq!(index.delete(&[2, 3]).unwrap(), 1);
    index.verify().unwrap();
    let filter = crate::IdFilter::only([1, 2]);
    for what in [Nearest::new(&params, 1), Nearest::new(&params, 5).filter(&filter).max_cost(9.0)] {
        let found = index.nearest(&curve(1), &what).unwrap().neighbours;
        assert_eq!(found.iter().map(|one| one.id).collect::<Vec<_>>(), [1]);
    }
}

/// A file with several states behind it, of each kind of byte at least one.
fn grown() -> Vec<u8> {
    let device = Device::new(usize::MAX, None);
    let mut index = None;
    for step in [
        Step::Build(&[5, 3, 4]),
        Step::Append(&[9, 1]),
        Step::Delete(&[3]),
        Step::Delete(&[9]),
        Step::Delete(&[4]),
        Step::Append(&[3]),
    ] {
        step.take(&device, &mut index, 0).unwrap();
    }
    index.unwrap().verify().unwrap();
    device.disk().read(Path::new(PATH)).unwrap()
}

#[test]
fn any_flipped_bit_is_found_by_verify() {
    let whole = grown();
    opened(whole.clone()).unwrap().verify().unwrap();
    let mut missed = Vec::new();
    for at in 0..whole.len() {
        let mut bent = whole.clone();
        bent[at] ^= 1 << (at % 8);
        if opened(bent).and_then(|index| index.verify()).is_ok() {
            missed.push(at);
        }
    }
    assert!(missed.is_empty(), "{} of {} bytes: {missed:?}", missed.len(), whole.len());
}

/// Behind the state that is open there may lie what an attempt left; it is no part of the index.
#[test]
fn what_lies_behind_the_end_is_nobodys() {
    let mut bytes = grown();
    let before = contents(&opened(bytes.clone()).unwrap());
    bytes.extend([7; 100]);
    let index = opened(bytes).unwrap();
    index.verify().unwrap();
    assert_eq!(contents(&index), before);
}

/// What earlier states left is joined, so that the list of it does not grow with every change.
#[test]
fn many_changes_leave_a_short_manifest() {
    let device = Device::new(usize::MAX, None);
    let mut index = None;
    Step::Build(&[5, 3, 4]).take(&device, &mut index, 0).unwrap();
    let mut index = index.unwrap();
    let retired = |index: &Index| {
        let Store::File(store) = &index.store else { unreachable!("on file") };
        let State { segments, .. } = &store.state;
        let all = segments.iter().flat_map(|segment| &segment.sections);
        all.filter(|section| section.kind == Kind::Retired as u32).count()
    };
    for id in 0..40 {
        index.append([(100 + id, &curve(id)[..])]).unwrap();
        index.delete(&[100 + id, 3]).unwrap();
        index.verify().unwrap();
    }
    // Before and behind each deletion, but for the last manifest, which is in use.
    assert_eq!(retired(&index), 80);
    for id in [5, 4] {
        index.delete(&[id]).unwrap();
        assert_eq!(retired(&index), 81);
    }
    index.compact().unwrap();
    assert_eq!(retired(&index), 0);
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
fn the_shape_is_told_of_a_file_and_of_no_other() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("curves");
    assert!(matches!(Index::shape_of(&path), Err(StoreError::Io { .. })));
    let mut builder = Index::create(&path, shape()).unwrap();
    builder.push(1, &curve(1)).unwrap();
    builder.finish().unwrap();
    assert_eq!(Index::shape_of(&path).unwrap(), shape());
    std::fs::write(&path, b"a letter, and no index of curves").unwrap();
    assert!(Index::shape_of(&path).is_err());
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
        error.ends_with("format 99, this program reads formats 1 to 3; rebuild the index"),
        "{error}"
    );
    for len in (0..whole.len()).step_by(97) {
        std::fs::write(&path, &whole[..len]).unwrap();
        let sound = Index::open(&path).and_then(|index| index.verify());
        assert!(sound.is_err(), "cut to {len} bytes");
    }
    // Whatever byte went bad, a search ends, and `verify` tells.
    let params = DtwParams::new(2).check().unwrap();
    for at in (0..whole.len()).step_by(41) {
        let mut bent = whole.clone();
        bent[at] ^= 0x10;
        std::fs::write(&path, &bent).unwrap();
        let sound = Index::open(&path).and_then(|index| {
            index.nearest(&curve(1), &Nearest::new(&params, 3)).unwrap();
            index.verify()
        });
        assert!(sound.is_err(), "byte {at}");
    }
}

/// `verify` reads the file that is open, whatever has its name by now.
#[test]
fn verify_checks_the_file_that_searches_read() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.index");
    let build = |ids: &[u64]| {
        let mut builder = Index::create(&path, shape()).unwrap();
        ids.iter().for_each(|&id| builder.push(id, &curve(id)).unwrap());
        drop(builder.finish().unwrap());
    };
    build(&[1, 2]);
    let index = Index::open(&path).unwrap();
    index.verify().unwrap();
    // A byte of the open file goes bad, and a sound file takes the name.
    let bytes = std::fs::read(&path).unwrap();
    let needle: Vec<u8> = curve(2).iter().flat_map(|value| value.to_le_bytes()).collect();
    let place = bytes.windows(needle.len()).position(|part| part == needle).unwrap();
    let file = std::fs::OpenOptions::new().read(true).write(true).open(&path).unwrap();
    super::medium::Medium::write_at(&file, &[0x55], place as u64).unwrap();
    build(&[1, 2]);
    Index::open(&path).unwrap().verify().unwrap();
    let error = index.verify().unwrap_err();
    assert!(
        error
            .to_string()
            .ends_with("the curve section is damaged; rebuild the index from its source")
    );
    assert_ne!(index.curve(2).unwrap().values(), curve(2));
}

/// A file that is open for writing is not replaced behind its writer's back.
#[test]
fn an_index_that_is_written_to_keeps_its_name() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.index");
    let build = |id: u64| {
        let mut builder = Index::create(&path, shape()).unwrap();
        builder.push(id, &curve(id)).unwrap();
        builder.finish()
    };
    let first = build(1).unwrap();
    assert!(matches!(build(2), Err(StoreError::Locked { .. })));
    drop(first);
    assert_eq!(Index::open(&path).unwrap().ids().collect::<Vec<_>>(), [1]);
    drop(build(2).unwrap());
    assert_eq!(Index::open(&path).unwrap().ids().collect::<Vec<_>>(), [2]);
}

/// A file made with other constants is refused by name.
#[test]
fn other_constants_are_refused() {
    let mut bytes = grown();
    bytes[20] = 32;
    let crc = crc32fast::hash(&bytes[..36]).to_le_bytes();
    bytes[36..40].copy_from_slice(&crc);
    let error = opened(bytes).unwrap_err().to_string();
    assert_eq!(error, "some.index: groups of curves: 32, this program reads 16; rebuild the index");
}
