//! Long work on the command line: bars with the time left, and the interrupt that stops it cleanly.

use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use indicatif::{MultiProgress, ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::output::Output;
use crate::work::{Progress, Stage, Watch};

/// Bars on standard error, drawn only where it is a terminal and talk is wanted; one for the files
/// of a batch, and one for what is being worked through.
pub(super) struct Bars {
    all: MultiProgress,
    files: Option<ProgressBar>,
    now: Arc<Mutex<Now>>,
}

/// What is being worked through.
#[derive(Default)]
struct Now {
    /// Put before the stage's name: the file's.
    name: Option<String>,
    bar: Option<(Stage, ProgressBar)>,
    silenced: Option<Silenced>,
}

const FILES: &str = "{pos} of {len} files  {wide_bar}  {eta} left";
const STEPS: &str = "{prefix}{pos} of {len} {msg}  {wide_bar}  {eta} left";

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}

impl Bars {
    /// Bars for work on `files` files; 0 or 1 where files are not counted.
    pub(super) fn new(files: usize, out: &Output) -> Self {
        let all = MultiProgress::new();
        if !out.talks() {
            all.set_draw_target(ProgressDrawTarget::hidden());
        }
        let counted =
            (files > 1).then(|| all.add(ProgressBar::new(files as u64).with_style(style(FILES))));
        Self { all, files: counted, now: Arc::default() }
    }

    /// Names the file that is worked on from here.
    pub(super) fn file(&self, file: &std::path::Path) {
        let name = file.file_name().unwrap_or_default().display();
        lock(&self.now).name = Some(format!("{name}: "));
    }

    /// Runs `talk` with the bars out of its way.
    pub(super) fn suspend<T>(&self, talk: impl FnOnce() -> T) -> T {
        self.step_done();
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
        self.step_done();
        if let Some(files) = &self.files {
            files.finish_and_clear();
        }
    }

    /// What one of several readers obeys: an interrupt. It draws no bar of its own.
    pub(super) fn watch_beside(&self) -> Watch {
        let silenced: Mutex<Option<Silenced>> = Mutex::default();
        interrupt().hearing(move |Progress { stage, done, of }| {
            let loads = stage == Stage::Networks && done < of;
            let mut silenced = silenced.lock().unwrap_or_else(PoisonError::into_inner);
            *silenced = if loads { Silenced::begin() } else { None };
        })
    }

    fn step_done(&self) {
        let mut now = lock(&self.now);
        now.silenced = None;
        if let Some((_, bar)) = now.bar.take() {
            bar.finish_and_clear();
            self.all.remove(&bar);
        }
    }

    /// What the work tells and obeys: these bars, and an interrupt.
    pub(super) fn watch(&self) -> Watch {
        let (all, now) = (self.all.clone(), Arc::clone(&self.now));
        interrupt().hearing(move |Progress { stage, done, of }| {
            let mut now = lock(&now);
            if stage == Stage::Networks {
                now.silenced = if done < of { Silenced::begin() } else { None };
                return;
            }
            if let Some((known, bar)) = &now.bar
                && *known != stage
            {
                bar.finish_and_clear();
                all.remove(bar);
                now.bar = None;
            }
            let name = now.name.clone().unwrap_or_default();
            let (_, bar) = now.bar.get_or_insert_with(|| {
                let bar = all.add(ProgressBar::new(0).with_style(style(STEPS)));
                (stage, bar.with_message(stage.label()).with_prefix(name))
            });
            bar.set_length(of as u64);
            // Threads may tell out of order.
            if bar.position() < done as u64 {
                bar.set_position(done as u64);
            }
        })
    }
}

impl Drop for Bars {
    fn drop(&mut self) {
        self.finish();
    }
}

/// A bar is only drawn with; one that a panic left is as good as new.
fn lock(now: &Mutex<Now>) -> MutexGuard<'_, Now> {
    now.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The watch of this process: an interrupt (Ctrl-C) stops it; a second one ends the program at
/// once. Where the system lets nobody listen, the first one ends it, which stores nothing either.
fn interrupt() -> Watch {
    static PROCESS: OnceLock<Watch> = OnceLock::new();
    PROCESS
        .get_or_init(|| {
            let watch = Watch::default();
            let stop = watch.clone();
            let heard = ctrlc::set_handler(move || {
                if stop.is_stopped() {
                    std::process::exit(2);
                }
                stop.stop();
            });
            drop(heard);
            watch
        })
        .clone()
}

/// While one of these lives, standard error leads nowhere. Only a program that owns its process may do
/// so, and this one does it while the networks are loaded: their compiler writes a note there that no
/// option turns off. What goes wrong comes back as a status, so nothing is lost. Several may live at
/// once; the last one to go puts standard error back.
struct Silenced;

#[cfg(unix)]
static STDERR: Mutex<(usize, Option<std::os::fd::OwnedFd>)> = Mutex::new((0, None));

impl Silenced {
    #[cfg(unix)]
    fn begin() -> Option<Self> {
        let mut held = STDERR.lock().unwrap_or_else(PoisonError::into_inner);
        if held.0 == 0 {
            let nowhere = std::fs::File::options().write(true).open("/dev/null").ok()?;
            let kept = rustix::io::fcntl_dupfd_cloexec(rustix::stdio::stderr(), 3).ok()?;
            rustix::stdio::dup2_stderr(&nowhere).ok()?;
            held.1 = Some(kept);
        }
        held.0 += 1;
        Some(Self)
    }

    /// Elsewhere the note stays.
    #[cfg(not(unix))]
    fn begin() -> Option<Self> {
        None
    }
}

#[cfg(unix)]
impl Drop for Silenced {
    fn drop(&mut self) {
        let mut held = STDERR.lock().unwrap_or_else(PoisonError::into_inner);
        held.0 -= 1;
        if held.0 == 0
            && let Some(kept) = held.1.take()
        {
            // It worked the other way round a moment ago.
            let _ = rustix::stdio::dup2_stderr(&kept);
        }
    }
}
