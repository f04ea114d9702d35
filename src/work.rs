//! Long work: how it says how far it is, and how it is stopped. One protocol for every room and interface.
//!
//! Work takes a [`Watch`] and calls [`Watch::step`] as it goes; whoever started it keeps a clone and
//! may call [`Watch::stop`] from any thread. The work then ends at its next step with [`Stopped`], in
//! the error type of its room, and leaves nothing half done. Asking costs one relaxed load.
//!
//! ```
//! use precedent::work::{Stage, Stopped, Watch};
//!
//! fn count(watch: &Watch) -> Result<usize, Stopped> {
//!     for done in 1..=1000 {
//!         watch.step(Stage::Serves, done, 1000)?;
//!     }
//!     Ok(1000)
//! }
//!
//! assert_eq!(count(&Watch::default()), Ok(1000));
//! let watch = Watch::default();
//! watch.stop();
//! assert_eq!(count(&watch), Err(Stopped));
//! ```

use std::error::Error;
use std::fmt;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What is being worked through, one after the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Stage {
    /// The pose networks are being loaded: 0 of 1, then 1 of 1.
    Networks,
    /// Frames of a clip.
    Frames,
    /// Pictures cut from a clip.
    Pictures,
    /// Recordings read and stored.
    Recordings,
    /// Serves compared with the one that asks.
    Serves,
    /// Players whose cases are read.
    Players,
    /// Cases.
    Cases,
    /// Faults followed through a squad.
    Faults,
    /// Precedents told.
    Precedents,
    /// Plans held against what came after.
    Plans,
    /// Looks whose typical serve was chosen.
    Looks,
    /// Pairs of serves compared.
    Pairs,
    /// Ways of grouping tried, and what is read off the groups.
    Groups,
    /// Keys made from a passphrase: 0 of 1, then 1 of 1.
    Keys,
    /// Parts of a pack locked.
    Parts,
    /// Stored values checked.
    Values,
    /// Derived indexes checked or built.
    Indexes,
    /// Documents printed.
    Documents,
}

impl Stage {
    /// What is counted, in the plural: "frames", "pairs of serves".
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Networks => "networks",
            Self::Frames => "frames",
            Self::Pictures => "pictures",
            Self::Recordings => "recordings",
            Self::Serves => "serves",
            Self::Players => "players",
            Self::Cases => "cases",
            Self::Faults => "faults",
            Self::Precedents => "precedents",
            Self::Plans => "plans",
            Self::Looks => "looks",
            Self::Pairs => "pairs of serves",
            Self::Groups => "groupings",
            Self::Keys => "keys from the passphrase",
            Self::Parts => "locked parts",
            Self::Values => "stored values",
            Self::Indexes => "indexes",
            Self::Documents => "documents printed",
        }
    }
}

/// How far the work is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
pub struct Progress {
    /// What is counted.
    pub stage: Stage,
    /// Done of it.
    pub done: usize,
    /// How many there are in all; it may grow while the work finds more, and is never below `done`.
    pub of: usize,
}

/// The work was stopped by whoever started it; nothing of it is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stopped;

impl fmt::Display for Stopped {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("stopped; nothing was kept")
    }
}

impl Error for Stopped {}

/// Whether `error` says, itself or through its causes, that the work was stopped.
#[must_use]
pub fn is_stop(error: &(dyn Error + 'static)) -> bool {
    std::iter::successors(Some(error), |error| (*error).source()).any(|error| error.is::<Stopped>())
}

type Hear = Arc<dyn Fn(Progress) + Send + Sync>;

/// Who hears how far long work is, and who may stop it. Clones share the stop, not the ear.
#[derive(Clone, Default)]
pub struct Watch {
    hear: Option<Hear>,
    stop: Arc<AtomicBool>,
}

impl Watch {
    /// This watch with another ear: `hear` is called after each step, from whatever thread made it,
    /// and should return soon. The stop is shared with `self`.
    #[must_use]
    pub fn hearing(&self, hear: impl Fn(Progress) + Send + Sync + 'static) -> Self {
        Self { hear: Some(Arc::new(hear)), stop: Arc::clone(&self.stop) }
    }

    /// Asks the work to end. For good: a stopped watch is not used again.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// Whether the work is to end.
    #[must_use]
    pub fn is_stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    /// Goes on only if nobody asked to stop.
    ///
    /// # Errors
    /// [`Stopped`].
    pub fn check(&self) -> Result<(), Stopped> {
        if self.is_stopped() { Err(Stopped) } else { Ok(()) }
    }

    /// Says how far the work is, and goes on only if nobody asked to stop, the hearer included.
    ///
    /// # Errors
    /// [`Stopped`].
    pub fn step(&self, stage: Stage, done: usize, of: usize) -> Result<(), Stopped> {
        if let Some(hear) = &self.hear {
            hear(Progress { stage, done, of: of.max(done) });
        }
        self.check()
    }
}

impl fmt::Debug for Watch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Watch")
            .field("hear", &self.hear.is_some())
            .field("stopped", &self.is_stopped())
            .finish()
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use super::*;

    #[test]
    fn whoever_hears_may_stop_and_clones_share_the_stop() {
        let heard = Arc::new(Mutex::new(Vec::new()));
        let watch = Watch::default();
        let (ear, stop) = (Arc::clone(&heard), watch.clone());
        let working = watch.hearing(move |progress| {
            ear.lock().unwrap().push((progress.done, progress.of));
            if progress.done == 3 {
                stop.stop();
            }
        });
        let work = || -> Result<(), Stopped> {
            (1..=9).try_for_each(|done| working.step(Stage::Serves, done, 2))
        };
        assert_eq!(work(), Err(Stopped));
        assert_eq!(*heard.lock().unwrap(), [(1, 2), (2, 2), (3, 3)]);
        assert!(watch.is_stopped() && working.check().is_err());
    }

    #[test]
    fn a_stop_is_found_behind_other_errors() {
        #[derive(Debug, thiserror::Error)]
        enum Outer {
            #[error("reading: {0}")]
            Said(#[source] Stopped),
            #[error(transparent)]
            Through(Box<Outer>),
            #[error("disk")]
            Other,
        }
        assert!(is_stop(&Stopped));
        assert!(is_stop(&Outer::Through(Box::new(Outer::Said(Stopped)))));
        assert!(!is_stop(&Outer::Other));
    }
}
