use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use axum::response::Html;
use jiff::ZonedDateTime;
use jiff::civil::Date;

use super::door::Door;
use super::film::Films;
use super::long::Long;
use super::refusal::Refusal;
use super::spoken::Spoken;
use super::uploads::Uploads;
use super::viewer::Band;
use crate::evidence::sync_outcomes;
use crate::find::InStep;
use crate::library::{Author, Library};
use crate::work::Watch;

/// What every request needs: which library, who writes, who may come in.
#[derive(Debug)]
pub(super) struct Desk {
    library: PathBuf,
    pub(super) coach: Author,
    pub(super) door: Door,
    pub(super) films: Films,
    /// What takes longer than a request.
    pub(super) long: Long,
    /// Files on their way in.
    pub(super) uploads: Uploads,
    /// What was spoken over serves.
    pub(super) spoken: Spoken,
    /// Whom the ribbons hold a serve against.
    pub(super) band: Band,
    /// Whether clips were found to be readable.
    pub(super) reads_clips: AtomicBool,
}

/// Stops the work of a request whose reader went away.
struct StopOnDrop(Watch);

impl Drop for StopOnDrop {
    fn drop(&mut self) {
        self.0.stop();
    }
}

impl Desk {
    pub(super) fn new(library: PathBuf, coach: Author, door: Door) -> io::Result<Self> {
        let uploads = Uploads::new(&library);
        let films = Films::new(library.clone());
        let long = Long::new()?;
        let spoken = Spoken::default();
        let reads_clips = AtomicBool::new(false);
        let band = Band::default();
        Ok(Self { library, coach, door, films, long, uploads, spoken, band, reads_clips })
    }

    /// The library's folder, for long work that opens it for itself.
    pub(super) fn library(&self) -> &Path {
        &self.library
    }

    /// Reads the library, beside whoever else reads or changes it, and makes a page of it.
    pub(super) async fn read(
        self: &Arc<Self>,
        work: impl FnOnce(&Self, &Library, &Watch) -> Result<String, Refusal> + Send + 'static,
    ) -> Result<Html<String>, Refusal> {
        self.fetch(work).await.map(Html)
    }

    /// Reads the library, beside whoever else reads or changes it.
    pub(super) async fn fetch<T: Send + 'static>(
        self: &Arc<Self>,
        work: impl FnOnce(&Self, &Library, &Watch) -> Result<T, Refusal> + Send + 'static,
    ) -> Result<T, Refusal> {
        let desk = Arc::clone(self);
        let stop = StopOnDrop(Watch::default());
        let watch = stop.0.clone();
        let done = tokio::task::spawn_blocking(move || {
            let library = Library::open_read_only(&desk.library)?;
            work(&desk, &library, &watch)
        });
        done.await.map_err(|_| Refusal::Broken)?
    }

    /// Changes the library. Once begun it is brought to its end, whether or not anybody waits for
    /// the answer.
    pub(super) async fn change<T: Send + 'static>(
        self: &Arc<Self>,
        work: impl FnOnce(&Self, &mut Library) -> Result<T, Refusal> + Send + 'static,
    ) -> Result<T, Refusal> {
        let desk = Arc::clone(self);
        let done = tokio::task::spawn_blocking(move || {
            let mut library = InStep::new(Library::open(&desk.library)?).and(sync_outcomes);
            work(&desk, &mut library)
        });
        done.await.map_err(|_| Refusal::Broken)?
    }
}

/// Today, here.
pub(super) fn today() -> Date {
    ZonedDateTime::now().date()
}
