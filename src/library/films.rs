//! Stretches of clips as single pictures, kept so that each is cut once.
//!
//! Derived, in `films/` in the library's folder: one folder per recording, named after its id and
//! the blake3 of its clip; in it one per stretch, named after its frames, with the pictures
//! ([`crate::video::film()`]) and `index.json`, which says how many bytes each takes. All of it may be
//! deleted at any time. Together they take at most [`FILMS_BUDGET_BYTES`]; beyond that, those not
//! looked at for the longest go. A film comes into its place whole; a folder whose recording is gone
//! is removed when a player is forgotten and by `verify`.

use std::collections::HashSet;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use tempfile::TempDir;

use super::clips::is_coming;
use super::{COMING, Library, RecordingId, StoreError};
use crate::video::{Film, FilmSize};

const FOLDER: &str = "films";
const INDEX: &str = "index.json";
/// Most bytes that all films take together: some fifty serves of a phone's clips. Our estimate of
/// what nobody misses on a disk that holds clips.
pub const FILMS_BUDGET_BYTES: u64 = 4 << 30;

/// Which stretch of which clip.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct FilmOf {
    /// The recording read from the clip.
    pub recording: RecordingId,
    /// [`Clip::hash`](super::Clip::hash) of the recording.
    pub clip_hash: String,
    /// First and last frame of the clip.
    pub frames: (usize, usize),
}

impl Library {
    /// The film of a stretch; `None` if none is kept.
    #[must_use]
    pub fn film(&self, of: &FilmOf) -> Option<Film> {
        let folder = self.film_folder(of);
        let index = folder.join(INDEX);
        let film: Film = serde_json::from_slice(&fs::read(&index).ok()?).ok()?;
        let whole = FilmSize::ALL.into_iter().all(|size| {
            let sizes = if size == FilmSize::Sharp { &film.sharp } else { &film.quick };
            let bytes = sizes.iter().try_fold(0_u64, |sum, &bytes| sum.checked_add(bytes as u64));
            fs::metadata(folder.join(size.name())).is_ok_and(|about| Some(about.len()) == bytes)
        });
        // A film that is looked at stays; where the time cannot be set it merely goes earlier.
        let _ = File::options()
            .append(true)
            .open(&index)
            .and_then(|file| file.set_modified(SystemTime::now()));
        whole.then_some(film)
    }

    /// The pictures of a film that is kept, one JPEG after the other.
    ///
    /// # Errors
    /// If the file is not there or cannot be read.
    pub fn film_pictures(&self, of: &FilmOf, size: FilmSize) -> io::Result<File> {
        File::open(self.film_folder(of).join(size.name()))
    }

    /// A folder to make a film in; it goes when it is dropped.
    ///
    /// # Errors
    /// If it cannot be made.
    pub fn film_to_come(&self) -> io::Result<TempDir> {
        let all = self.folder().join(FOLDER);
        fs::create_dir_all(&all)?;
        tempfile::Builder::new().prefix(COMING).tempdir_in(all)
    }

    /// Keeps the film made in `coming` for [`Self::film`], in place of what was kept.
    ///
    /// Works on a library opened for reading as well. Of a recording that the store does not hold,
    /// or no longer, nothing stays.
    ///
    /// # Errors
    /// If the folder cannot be written to.
    pub fn keep_film(&self, of: &FilmOf, film: &Film, coming: TempDir) -> io::Result<()> {
        self.keep_film_within(of, film, coming, FILMS_BUDGET_BYTES)
    }

    fn keep_film_within(
        &self,
        of: &FilmOf,
        film: &Film,
        coming: TempDir,
        budget_bytes: u64,
    ) -> io::Result<()> {
        let folder = self.film_folder(of);
        let parent = self.films_of(of.recording, &of.clip_hash);
        fs::create_dir_all(&parent)?;
        self.seam.before_write("keeping a film");
        fs::write(coming.path().join(INDEX), serde_json::to_vec(film)?)?;
        remove(&folder)?;
        fs::rename(coming.path(), &folder)?;
        // It has moved away: nothing is left to remove.
        drop(coming);
        // Whoever removes a recording looks here afterwards; whoever came later looks there.
        let clip = self.clip(of.recording).ok().flatten();
        if clip.is_none_or(|clip| clip.hash != of.clip_hash) {
            return remove(&parent);
        }
        self.cut_films_to(budget_bytes, &folder)
    }

    /// Removes films, those not looked at for the longest first, until the rest fits; `kept` stays.
    fn cut_films_to(&self, budget_bytes: u64, kept: &Path) -> io::Result<()> {
        let mut films: Vec<(SystemTime, u64, PathBuf)> = Vec::new();
        for recording in entries(&self.folder().join(FOLDER))? {
            for film in entries(&recording)? {
                // What is being made has no index yet.
                let Ok(about) = fs::metadata(film.join(INDEX)) else { continue };
                let files = entries(&film)?;
                let bytes = files.iter().filter_map(|file| Some(fs::metadata(file).ok()?.len()));
                films.push((about.modified()?, bytes.sum(), film));
            }
        }
        let mut total: u64 = films.iter().map(|one| one.1).sum();
        films.sort();
        for (_, bytes, film) in films.into_iter().filter(|one| one.2 != kept) {
            if total <= budget_bytes {
                break;
            }
            remove(&film)?;
            total -= bytes;
        }
        Ok(())
    }

    fn films_of(&self, recording: RecordingId, clip_hash: &str) -> PathBuf {
        self.folder().join(FOLDER).join(format!("{recording}-{clip_hash}"))
    }

    fn film_folder(&self, of: &FilmOf) -> PathBuf {
        let (first, last) = of.frames;
        self.films_of(of.recording, &of.clip_hash).join(format!("{first}-{last}"))
    }

    /// Removes the films of recordings the store does not hold; with `coming` those too that are
    /// being made.
    pub(super) fn sweep_films(&self, coming: bool) -> Result<(), StoreError> {
        let folder = self.folder().join(FOLDER);
        let named: HashSet<String> = self
            .list("listing clips", "SELECT recording, hash FROM clips", [], |row| {
                Ok(format!("{}-{}", RecordingId(row.get(0)?), row.get::<_, String>(1)?))
            })?
            .into_iter()
            .collect();
        for path in entries(&folder).map_err(StoreError::io(&folder, "listing"))? {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            if !named.contains(name.as_ref()) && (coming || !is_coming(&path)) {
                self.seam.before_write("removing films");
                remove(&path).map_err(StoreError::io(&path, "removing films"))?;
            }
        }
        Ok(())
    }

    /// Removes every film; each is made anew when it is next looked at.
    pub(super) fn drop_films(&self) -> Result<(), StoreError> {
        let folder = self.folder().join(FOLDER);
        remove(&folder).map_err(StoreError::io(&folder, "removing films"))
    }
}

/// What lies in a folder; nothing if there is none.
fn entries(folder: &Path) -> io::Result<Vec<PathBuf>> {
    match fs::read_dir(folder) {
        Ok(entries) => entries.map(|entry| entry.map(|entry| entry.path())).collect(),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
        Err(error) => Err(error),
    }
}

fn remove(folder: &Path) -> io::Result<()> {
    match fs::remove_dir_all(folder) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::library::Clip;
    use crate::library::tests::made;

    fn filmed(folder: &Path) -> (Library, FilmOf) {
        let mut library = Library::create(folder).unwrap();
        let player = library.add_player(&made::player("p07")).unwrap();
        let added = made::add(&mut library, player, 1, date(2026, 3, 4), 1).unwrap();
        let hash = made::hash(77);
        let clip =
            Clip { path: "serve.mp4".to_owned(), hash: hash.clone(), kept: false, body: vec![1] };
        library.write(|w| w.set_clip(added.recording, &clip)).unwrap();
        (library, FilmOf { recording: added.recording, clip_hash: hash, frames: (4, 5) })
    }

    fn made_film(library: &Library) -> (Film, TempDir) {
        let coming = library.film_to_come().unwrap();
        fs::write(coming.path().join("sharp"), "abcde").unwrap();
        fs::write(coming.path().join("quick"), "xyz").unwrap();
        (Film { first: 4, sharp: vec![2, 3], quick: vec![1, 2] }, coming)
    }

    #[test]
    fn a_film_comes_back_whole_and_goes_with_its_recording() {
        let folder = TempDir::new().unwrap();
        let (mut library, of) = filmed(folder.path());
        assert_eq!(library.film(&of), None);
        for _ in 0..2 {
            let (film, coming) = made_film(&library);
            library.keep_film(&of, &film, coming).unwrap();
            assert_eq!(library.film(&of), Some(film));
        }
        let other = FilmOf { frames: (4, 6), ..of.clone() };
        assert_eq!(library.film(&other), None);
        // A file cut short is no film.
        fs::write(library.film_folder(&of).join("quick"), "x").unwrap();
        assert_eq!(library.film(&of), None);
        // Nor is one whose sizes are beyond counting.
        let index = library.film_folder(&of).join(INDEX);
        let beyond = format!(r#"{{"first":4,"sharp":[{0},{0}],"quick":[1,2]}}"#, u64::MAX);
        fs::write(index, beyond).unwrap();
        assert_eq!(library.film(&of), None);

        let (film, coming) = made_film(&library);
        library.keep_film(&of, &film, coming).unwrap();
        let left = library.film_to_come().unwrap().keep();
        library.sweep_films(false).unwrap();
        assert!(library.film(&of).is_some() && left.exists());
        library.sweep_films(true).unwrap();
        assert!(library.film(&of).is_some() && !left.exists());
        library.write(|w| w.remove_recording(of.recording)).unwrap();
        library.sweep_films(false).unwrap();
        assert_eq!(library.film(&of), None);
        // Made meanwhile of a recording that is gone.
        let (film, coming) = made_film(&library);
        library.keep_film(&of, &film, coming).unwrap();
        assert!(entries(&library.folder().join(FOLDER)).unwrap().is_empty());
    }

    #[test]
    fn those_not_looked_at_for_the_longest_go_first() {
        let folder = TempDir::new().unwrap();
        let (library, of) = filmed(folder.path());
        let at = |last: usize| FilmOf { frames: (0, last), ..of.clone() };
        for last in [1, 2, 3] {
            let (film, coming) = made_film(&library);
            library.keep_film(&at(last), &film, coming).unwrap();
            std::thread::sleep(std::time::Duration::from_millis(20));
        }
        assert!(library.film(&at(1)).is_some());
        let one = 8 + fs::metadata(library.film_folder(&of).with_file_name("0-1").join(INDEX))
            .unwrap()
            .len();
        let (film, coming) = made_film(&library);
        library.keep_film_within(&at(4), &film, coming, 2 * one).unwrap();
        let left: Vec<bool> = (1..=4).map(|last| library.film(&at(last)).is_some()).collect();
        assert_eq!(left, [true, false, false, true]);
    }
}
