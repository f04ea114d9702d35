//! A folder on a disk that dies or fails, and what is on it after a crash.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard};

use rand::Rng;
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::store::StoreError;
use crate::store::bytes::Bytes;
use crate::store::file::io_error;
use crate::store::medium::{Folder, Medium};

/// How an operation fails that fails alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Failing {
    /// It did what it should, and says that it did not.
    Done,
    /// It did nothing.
    Undone,
    /// What it should have made durable is forgotten: it can be read, but no later sync makes it durable, as
    /// systems do that count a page as written once writing it was tried.
    Forgotten,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fate {
    Durable,
    Pending,
    Forgotten,
}

/// Everything ever written to a file, in order.
#[derive(Debug, Default, Clone)]
struct File {
    writes: Vec<(u64, Vec<u8>, Fate)>,
}

#[derive(Debug, Clone)]
enum Naming {
    Is(PathBuf, usize),
    Rename(PathBuf, PathBuf),
    Remove(PathBuf),
}

impl Naming {
    fn apply(&self, names: &mut BTreeMap<PathBuf, usize>) {
        match self {
            Self::Is(path, file) => _ = names.insert(path.clone(), *file),
            Self::Rename(from, to) => {
                if let Some(file) = names.remove(from) {
                    names.insert(to.clone(), file);
                }
            }
            Self::Remove(path) => _ = names.remove(path),
        }
    }
}

/// A folder. After `budget` operations every one fails; what was written and not synced by then may have
/// reached the disk, whole, in part or not at all.
#[derive(Debug)]
pub(super) struct Disk {
    files: Vec<File>,
    /// Names that are durable.
    names: BTreeMap<PathBuf, usize>,
    /// What was named since; of these a crash leaves the first few.
    namings: Vec<Naming>,
    budget: usize,
    /// The number of an operation that fails alone.
    failing: Option<(usize, Failing)>,
    pub(super) used: usize,
}

fn put(into: &mut Vec<u8>, at: u64, bytes: &[u8]) {
    let end = at as usize + bytes.len();
    if into.len() < end {
        into.resize(end, 0);
    }
    into[at as usize..end].copy_from_slice(bytes);
}

impl Disk {
    /// How the next operation fails, if it does.
    fn spend(&mut self) -> Option<Failing> {
        self.used += 1;
        match self.failing {
            Some((number, how)) if number == self.used => Some(how),
            // Whether it was done is decided after the crash.
            _ => (self.used > self.budget).then_some(Failing::Done),
        }
    }

    fn live(&self) -> BTreeMap<PathBuf, usize> {
        let mut names = self.names.clone();
        self.namings.iter().for_each(|naming| naming.apply(&mut names));
        names
    }

    fn view(&self, file: usize) -> Vec<u8> {
        let mut bytes = Vec::new();
        self.files[file].writes.iter().for_each(|(at, written, _)| put(&mut bytes, *at, written));
        bytes
    }

    /// What `path` holds for whoever reads it now.
    pub(super) fn read(&self, path: &Path) -> Option<Vec<u8>> {
        self.live().get(path).map(|&file| self.view(file))
    }

    /// What `path` may hold after a crash now: every outcome of namings, some of writes.
    pub(super) fn after_crash(
        &self,
        path: &Path,
        rng: &mut Xoshiro256PlusPlus,
        outcomes: usize,
    ) -> Vec<Option<Vec<u8>>> {
        let mut all = Vec::new();
        for kept in 0..=self.namings.len() {
            let mut names = self.names.clone();
            self.namings[..kept].iter().for_each(|naming| naming.apply(&mut names));
            let Some(&file) = names.get(path) else {
                all.push(None);
                continue;
            };
            for outcome in 0..outcomes {
                let mut bytes = Vec::new();
                for (at, written, fate) in &self.files[file].writes {
                    let part = match (fate, outcome) {
                        (Fate::Durable, _) => 3,
                        (_, 0) => 0,
                        (_, 1) => 3,
                        _ => rng.gen_range(0..4),
                    };
                    let half = written.len() / 2;
                    match part {
                        0 => {}
                        1 => put(&mut bytes, *at, &written[..half]),
                        2 => put(&mut bytes, *at + half as u64, &written[half..]),
                        _ => put(&mut bytes, *at, written),
                    }
                }
                all.push(Some(bytes));
            }
        }
        all
    }
}

/// The folder, as the store sees it.
#[derive(Debug, Clone)]
pub(super) struct Device(Arc<Mutex<Disk>>);

fn failed() -> io::Error {
    io::Error::other("the disk failed")
}

impl Device {
    pub(super) fn new(budget: usize, failing: Option<(usize, Failing)>) -> Self {
        let (files, names, namings) = (Vec::new(), BTreeMap::new(), Vec::new());
        Self(Arc::new(Mutex::new(Disk { files, names, namings, budget, failing, used: 0 })))
    }

    pub(super) fn disk(&self) -> MutexGuard<'_, Disk> {
        self.0.lock().unwrap()
    }

    /// The file of this name, opened anew.
    pub(super) fn open(&self, path: &Path) -> Option<Box<dyn Medium>> {
        let file = *self.disk().live().get(path)?;
        Some(Box::new(On { device: self.clone(), file }))
    }

    fn naming(&self, naming: Naming) -> io::Result<()> {
        let mut disk = self.disk();
        let failing = disk.spend();
        if matches!(failing, None | Some(Failing::Done)) {
            disk.namings.push(naming);
        }
        failing.map_or(Ok(()), |_| Err(failed()))
    }
}

impl Folder for Device {
    fn create(&self, path: &Path) -> Result<Box<dyn Medium>, StoreError> {
        // What an earlier attempt left under that name is of no use: a new file is as good.
        self.disk().files.push(File::default());
        let file = self.disk().files.len() - 1;
        self.naming(Naming::Is(path.to_owned(), file)).map_err(io_error(path, "making"))?;
        Ok(Box::new(On { device: self.clone(), file }))
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.naming(Naming::Rename(from.to_owned(), to.to_owned()))
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        self.naming(Naming::Remove(path.to_owned()))
    }

    fn sync(&self, _path: &Path) -> io::Result<()> {
        let mut disk = self.disk();
        let failing = disk.spend();
        if failing.is_none() || (failing == Some(Failing::Done) && disk.used <= disk.budget) {
            disk.names = disk.live();
            disk.namings.clear();
        }
        failing.map_or(Ok(()), |_| Err(failed()))
    }

    fn hold(&self, path: &Path) -> Result<Option<Box<dyn Medium>>, StoreError> {
        Ok(self.open(path))
    }
}

/// A file of the folder.
#[derive(Debug)]
struct On {
    device: Device,
    file: usize,
}

impl Medium for On {
    fn read_at(&self, into: &mut [u8], at: u64) -> io::Result<()> {
        let mut disk = self.device.disk();
        if disk.spend().is_some() {
            return Err(failed());
        }
        Still(disk.view(self.file)).read_at(into, at)
    }

    fn write_at(&self, bytes: &[u8], at: u64) -> io::Result<()> {
        let mut disk = self.device.disk();
        let failing = disk.spend();
        if matches!(failing, None | Some(Failing::Done)) {
            disk.files[self.file].writes.push((at, bytes.to_vec(), Fate::Pending));
        }
        failing.map_or(Ok(()), |_| Err(failed()))
    }

    fn sync(&self) -> io::Result<()> {
        let mut disk = self.device.disk();
        let failing = disk.spend();
        let fate = match failing {
            None => Some(Fate::Durable),
            Some(Failing::Done) => (disk.used <= disk.budget).then_some(Fate::Durable),
            Some(Failing::Undone) => None,
            Some(Failing::Forgotten) => Some(Fate::Forgotten),
        };
        if let Some(fate) = fate {
            let pending =
                disk.files[self.file].writes.iter_mut().filter(|write| write.2 == Fate::Pending);
            pending.for_each(|write| write.2 = fate);
        }
        failing.map_or(Ok(()), |_| Err(failed()))
    }

    fn map(&self) -> io::Result<Bytes> {
        let mut disk = self.device.disk();
        if disk.spend().is_some() {
            return Err(failed());
        }
        Ok(Bytes::copy(&disk.view(self.file)))
    }
}

/// Bytes that nobody changes.
#[derive(Debug)]
pub(super) struct Still(pub(super) Vec<u8>);

impl Medium for Still {
    fn read_at(&self, into: &mut [u8], at: u64) -> io::Result<()> {
        let from = usize::try_from(at).unwrap_or(usize::MAX);
        let part = self.0.get(from..from.saturating_add(into.len()));
        into.copy_from_slice(part.ok_or(io::ErrorKind::UnexpectedEof)?);
        Ok(())
    }

    fn write_at(&self, _bytes: &[u8], _at: u64) -> io::Result<()> {
        Err(failed())
    }

    fn sync(&self) -> io::Result<()> {
        Err(failed())
    }

    fn map(&self) -> io::Result<Bytes> {
        Ok(Bytes::copy(&self.0))
    }
}
