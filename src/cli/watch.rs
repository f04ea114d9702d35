//! Long work on a clip: a bar with the time left, and the interrupt that stops it cleanly.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use indicatif::{MultiProgress, ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::face::Face;
use crate::intake::Watch;
use crate::video::Progress;

/// Bars on standard error, drawn only where it is a terminal and talk is wanted.
pub(super) struct Bars {
    all: MultiProgress,
    files: Option<ProgressBar>,
    /// The clip in work.
    frames: Arc<Mutex<Option<ProgressBar>>>,
}

const FILES: &str = "{pos} of {len} files  {wide_bar}  {eta} left";
const FRAMES: &str = "{msg}: {pos} of {len} frames  {wide_bar}  {prefix} left";

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}

impl Bars {
    /// Bars for work on `files` files.
    pub(super) fn new(files: usize, face: &Face) -> Self {
        let all = MultiProgress::new();
        if !face.talks() {
            all.set_draw_target(ProgressDrawTarget::hidden());
        }
        let counted =
            (files > 1).then(|| all.add(ProgressBar::new(files as u64).with_style(style(FILES))));
        Self { all, files: counted, frames: Arc::default() }
    }

    /// Runs `talk` with the bars out of its way.
    pub(super) fn suspend<T>(&self, talk: impl FnOnce() -> T) -> T {
        self.clip_done();
        self.all.suspend(talk)
    }

    /// One more file is done.
    pub(super) fn file_done(&self) {
        if let Some(files) = &self.files {
            files.inc(1);
        }
    }

    /// Takes all bars away.
    pub(super) fn finish(&self) {
        self.clip_done();
        if let Some(files) = &self.files {
            files.finish_and_clear();
        }
    }

    fn clip_done(&self) {
        if let Some(bar) = lock(&self.frames).take() {
            bar.finish_and_clear();
            self.all.remove(&bar);
        }
    }

    /// What the work tells and obeys: these bars, and an interrupt.
    pub(super) fn watch(&self) -> Watch {
        let (all, frames) = (self.all.clone(), Arc::clone(&self.frames));
        let hear = move |file: &Path, progress: Progress| {
            let mut frames = lock(&frames);
            let bar = frames.get_or_insert_with(|| {
                let bar = all.add(ProgressBar::new(0).with_style(style(FRAMES)));
                bar.with_message(file.file_name().unwrap_or_default().display().to_string())
            });
            bar.set_length(progress.total as u64);
            bar.set_prefix(format!("{} s", progress.left.as_secs()));
            bar.set_position(progress.done as u64);
        };
        Watch { hear: Some(Arc::new(hear)), stop: interrupt() }
    }
}

/// A bar is only drawn with; one that a panic left is as good as new.
fn lock(frames: &Mutex<Option<ProgressBar>>) -> MutexGuard<'_, Option<ProgressBar>> {
    frames.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A flag that the interrupt (Ctrl-C) sets; a second one ends the program at once. `None` where
/// the system lets nobody listen: then the first one ends it, which stores nothing either.
fn interrupt() -> Option<Arc<AtomicBool>> {
    let stop = Arc::new(AtomicBool::new(false));
    let set = Arc::clone(&stop);
    let heard = ctrlc::set_handler(move || {
        if set.swap(true, Ordering::Relaxed) {
            std::process::exit(2);
        }
    });
    heard.is_ok().then_some(stop)
}
