//! Pictures cut from clips, kept so that each is cut once.
//!
//! Derived, in `stills/` in the library's folder: one folder per recording, named after its id and
//! the blake3 of its clip, one file per picture, named after what was cut. What is missing or
//! damaged is cut again from the clip, so all of it may be deleted at any time. Together they take
//! at most [`STILLS_BUDGET_BYTES`]; beyond that, those not looked at for the longest go. Readers
//! keep pictures too: a picture is written whole or not at all, and what cannot be written is not
//! kept. A folder whose recording is gone is removed when a player is forgotten and by `verify`.

use std::collections::HashSet;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use super::envelope::checksum;
use super::{Library, RecordingId, StoreError};
use crate::video::Placed;

const FOLDER: &str = "stills";
/// Most bytes that all kept pictures take together; some ten thousand reviews. Our estimate of what
/// nobody misses on a disk that holds clips.
pub const STILLS_BUDGET_BYTES: u64 = 512 << 20;
/// Bytes of a file before its picture: a checksum, little-endian.
const HEAD: usize = 8;

impl Library {
    /// The picture (JPEG) of `recording`'s clip at `place`; `None` if it is not kept, or damaged.
    ///
    /// `clip_hash`: [`Clip::hash`](super::Clip::hash) of the recording.
    #[must_use]
    pub fn still(
        &self,
        recording: RecordingId,
        clip_hash: &str,
        place: &Placed,
    ) -> Option<Vec<u8>> {
        let path = self.stills_of(recording, clip_hash).join(name(place));
        let mut bytes = fs::read(&path).ok()?;
        let (sum, jpeg) = bytes.split_first_chunk::<HEAD>()?;
        if u64::from_le_bytes(*sum) != checksum(jpeg) {
            return None;
        }
        // A picture that is looked at stays; where the time cannot be set it merely goes earlier.
        let _ = File::options()
            .append(true)
            .open(&path)
            .and_then(|file| file.set_modified(SystemTime::now()));
        bytes.drain(..HEAD);
        Some(bytes)
    }

    /// Keeps pictures (JPEG) of `recording`'s clip for [`Self::still`].
    ///
    /// Works on a library opened for reading as well. Of a recording that the store does not hold,
    /// or no longer, nothing stays.
    ///
    /// # Errors
    /// If the folder cannot be written to; what was not written is merely not kept.
    pub fn keep_stills(
        &self,
        recording: RecordingId,
        clip_hash: &str,
        stills: &[(Placed, &[u8])],
    ) -> io::Result<()> {
        self.keep_stills_within(recording, clip_hash, stills, STILLS_BUDGET_BYTES)
    }

    fn keep_stills_within(
        &self,
        recording: RecordingId,
        clip_hash: &str,
        stills: &[(Placed, &[u8])],
        budget_bytes: u64,
    ) -> io::Result<()> {
        let folder = self.stills_of(recording, clip_hash);
        fs::create_dir_all(&folder)?;
        let written = stills.iter().try_for_each(|(place, jpeg)| {
            self.seam.before_write("keeping a picture");
            let mut file = tempfile::NamedTempFile::new_in(&folder)?;
            file.write_all(&checksum(jpeg).to_le_bytes())?;
            file.write_all(jpeg)?;
            file.persist(folder.join(name(place))).map(|_| ()).map_err(|error| error.error)
        });
        // Whoever removes a recording looks here afterwards; whoever came later looks there.
        let named = self.clip(recording).ok().flatten().is_some_and(|clip| clip.hash == clip_hash);
        if !named {
            fs::remove_dir_all(&folder)?;
            return Ok(());
        }
        written?;
        self.cut_stills_to(budget_bytes)
    }

    /// Removes pictures, those not looked at for the longest first, until the rest fits.
    fn cut_stills_to(&self, budget_bytes: u64) -> io::Result<()> {
        let mut kept: Vec<(SystemTime, u64, PathBuf)> = Vec::new();
        for folder in entries(&self.folder().join(FOLDER))? {
            for path in entries(&folder)? {
                // Another process may just have removed it.
                if let Ok(about) = fs::metadata(&path) {
                    kept.push((about.modified()?, about.len(), path));
                }
            }
        }
        let mut total: u64 = kept.iter().map(|one| one.1).sum();
        kept.sort();
        for (_, bytes, path) in kept {
            if total <= budget_bytes {
                break;
            }
            match fs::remove_file(&path) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                _ => total -= bytes,
            }
        }
        Ok(())
    }

    fn stills_of(&self, recording: RecordingId, clip_hash: &str) -> PathBuf {
        self.folder().join(FOLDER).join(format!("{recording}-{clip_hash}"))
    }

    /// Removes the pictures of recordings the store does not hold; returns how many had some.
    pub(super) fn sweep_stills(&self) -> Result<usize, StoreError> {
        let folder = self.folder().join(FOLDER);
        let named: HashSet<String> = self
            .list("listing clips", "SELECT recording, hash FROM clips", [], |row| {
                Ok(format!("{}-{}", RecordingId(row.get(0)?), row.get::<_, String>(1)?))
            })?
            .into_iter()
            .collect();
        let mut removed = 0;
        for path in entries(&folder).map_err(StoreError::io(&folder, "listing"))? {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            if !named.contains(name.as_ref()) {
                self.seam.before_write("removing pictures");
                remove(&path).map_err(StoreError::io(&path, "removing pictures"))?;
                removed += 1;
            }
        }
        Ok(removed)
    }

    /// Removes every kept picture; each is cut anew when it is next looked at.
    pub(super) fn drop_stills(&self) -> Result<(), StoreError> {
        let folder = self.folder().join(FOLDER);
        remove(&folder).map_err(StoreError::io(&folder, "removing pictures"))
    }
}

/// A file's name says all of what was cut; two cuts of one name are one picture.
fn name(place: &Placed) -> String {
    let [left, top, width, height] = place.area_px;
    format!("{}-{left}-{top}-{width}-{height}-{}.still", place.frame, place.size_px.1)
}

/// What lies in a folder; nothing if there is none.
fn entries(folder: &Path) -> io::Result<Vec<PathBuf>> {
    match fs::read_dir(folder) {
        Ok(entries) => entries.map(|entry| entry.map(|entry| entry.path())).collect(),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
        Err(error) => Err(error),
    }
}

fn remove(path: &Path) -> io::Result<()> {
    let removed = if path.is_dir() { fs::remove_dir_all(path) } else { fs::remove_file(path) };
    match removed {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use tempfile::TempDir;

    use super::*;
    use crate::library::Clip;
    use crate::library::tests::made;

    const AT: Placed = Placed { frame: 7, area_px: [0, 0, 40, 60], size_px: (20, 30) };

    fn filmed(folder: &Path) -> (Library, RecordingId, String) {
        let mut library = Library::create(folder).unwrap();
        let player = library.add_player(&made::player("p07")).unwrap();
        let added = made::add(&mut library, player, 1, date(2026, 3, 4), 1).unwrap();
        let hash = made::hash(77);
        let clip =
            Clip { path: "serve.mp4".to_owned(), hash: hash.clone(), kept: false, body: vec![1] };
        library.write(|w| w.set_clip(added.recording, &clip)).unwrap();
        (library, added.recording, hash)
    }

    fn files(library: &Library) -> usize {
        let folders = entries(&library.folder().join(FOLDER)).unwrap();
        folders.iter().map(|folder| entries(folder).unwrap().len()).sum()
    }

    #[test]
    fn a_picture_comes_back_and_a_damaged_one_does_not() {
        let folder = TempDir::new().unwrap();
        let (library, recording, hash) = filmed(folder.path());
        assert_eq!(library.still(recording, &hash, &AT), None);
        library.keep_stills(recording, &hash, &[(AT, b"picture")]).unwrap();
        assert_eq!(library.still(recording, &hash, &AT).as_deref(), Some(&b"picture"[..]));
        for other in [
            Placed { frame: 8, ..AT },
            Placed { area_px: [0, 0, 40, 62], ..AT },
            Placed { size_px: (40, 60), ..AT },
        ] {
            assert_eq!(library.still(recording, &hash, &other), None, "{other:?}");
        }
        assert_eq!(library.still(recording, &made::hash(78), &AT), None);
        let file = library.stills_of(recording, &hash).join(name(&AT));
        let whole = fs::read(&file).unwrap();
        for cut in 0..whole.len() {
            fs::write(&file, &whole[..cut]).unwrap();
            assert_eq!(library.still(recording, &hash, &AT), None, "{cut} bytes");
        }
    }

    #[test]
    fn those_not_looked_at_go_first_when_the_budget_is_spent() {
        let folder = TempDir::new().unwrap();
        let (library, recording, hash) = filmed(folder.path());
        let frame = |frame| Placed { frame, ..AT };
        let bytes = [0; 92];
        let all: Vec<(Placed, &[u8])> = (0..5).map(|n| (frame(n), &bytes[..])).collect();
        library.keep_stills(recording, &hash, &all).unwrap();
        // As if written one after the other, long ago.
        for n in 0..5 {
            let path = library.stills_of(recording, &hash).join(name(&frame(n)));
            let then = SystemTime::UNIX_EPOCH + std::time::Duration::from_secs(1000 + n as u64);
            File::options().append(true).open(path).unwrap().set_modified(then).unwrap();
        }
        assert!(library.still(recording, &hash, &frame(0)).is_some());
        // Six of 100 bytes each: room for three.
        library.keep_stills_within(recording, &hash, &[(frame(5), &bytes)], 300).unwrap();
        let left: Vec<usize> =
            (0..6).filter(|&n| library.still(recording, &hash, &frame(n)).is_some()).collect();
        assert_eq!(left, [0, 4, 5]);
    }

    #[test]
    fn pictures_go_with_their_recording_even_those_that_come_late() {
        let folder = TempDir::new().unwrap();
        let (mut library, recording, hash) = filmed(folder.path());
        library.keep_stills(recording, &hash, &[(AT, b"picture")]).unwrap();
        assert_eq!((library.sweep_stills().unwrap(), files(&library)), (0, 1));
        library.write(|w| w.remove_recording(recording)).unwrap();
        assert_eq!((library.sweep_stills().unwrap(), files(&library)), (1, 0));
        // Cut by a reader that had begun before.
        library.keep_stills(recording, &hash, &[(AT, b"picture")]).unwrap();
        assert_eq!(files(&library), 0);
        assert_eq!(entries(&library.folder().join(FOLDER)).unwrap(), Vec::<PathBuf>::new());
    }
}
