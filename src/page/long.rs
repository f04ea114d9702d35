//! Long work beside the requests: it has threads of its own, says how far it is, and is stopped
//! from the page. Two lanes: clips are read one at a time, the rest two at a time.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, mpsc};
use std::time::Instant;
use std::{io, thread};

use tokio::sync::watch;

use super::add::{ReadFiles, Stored};
use super::refusal::Refusal;
use super::sharing::PackAtHand;
use super::told::Told;
use crate::work::{Progress, Watch};

/// Works that are kept for whoever comes back to look; the oldest that ended goes first.
const MOST_KEPT: usize = 50;

type Task = Box<dyn FnOnce() + Send>;

/// Which threads do the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lane {
    /// Recordings are read.
    Reading,
    /// Everything else.
    Other,
}

/// What a work came to.
#[derive(Debug, Clone)]
pub(super) enum Outcome {
    /// Files were read, and wait for the coach to have them stored.
    Read(Arc<ReadFiles>),
    /// They were stored.
    Stored(Arc<Stored>),
    /// A pack was looked at, and waits for the coach's word.
    Pack(Arc<PackAtHand>),
    /// Something was done, and this is said about it.
    Told(Arc<Told>),
}

/// How a work stands.
#[derive(Debug, Clone)]
pub(super) enum State {
    Waiting,
    Running,
    Ended(Result<Outcome, Refusal>),
}

/// How far it is, for whoever looks on.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Now {
    pub(super) running: bool,
    pub(super) ended: bool,
    /// What is worked on, of several.
    pub(super) about: String,
    pub(super) progress: Option<Progress>,
    /// Seconds to go in this stage, if that can be told.
    pub(super) left_s: Option<f64>,
}

/// One piece of long work.
#[derive(Debug)]
pub(super) struct Work {
    pub(super) id: String,
    pub(super) title: String,
    watch: Watch,
    now: watch::Sender<Now>,
    state: Mutex<State>,
}

impl Work {
    pub(super) fn state(&self) -> State {
        lock(&self.state).clone()
    }

    pub(super) fn now(&self) -> watch::Receiver<Now> {
        self.now.subscribe()
    }

    pub(super) fn stop(&self) {
        self.watch.stop();
    }

    /// Names what is worked on from here.
    pub(super) fn about(&self, what: &str) {
        self.now.send_modify(|now| {
            *now = Now { about: what.to_owned(), running: true, ..Now::default() };
        });
    }

    /// What the work is told and obeys.
    pub(super) fn watch(self: &Arc<Self>) -> Watch {
        let work = Arc::clone(self);
        let begun = Mutex::new(None::<(crate::work::Stage, Instant)>);
        self.watch.hearing(move |progress| {
            let mut begun = lock(&begun);
            let since = match *begun {
                Some((stage, since)) if stage == progress.stage => since,
                _ => Instant::now(),
            };
            *begun = Some((progress.stage, since));
            let share = progress.done as f64 / progress.of.max(1) as f64;
            let spent_s = since.elapsed().as_secs_f64();
            // The first moments say nothing about the rest.
            let left_s =
                (spent_s > 2.0 && share > 0.02).then(|| spent_s / share * (1.0 - share).max(0.0));
            work.now.send_modify(|now| {
                now.progress = Some(progress);
                now.left_s = left_s;
            });
        })
    }

    fn run(&self, work: impl FnOnce() -> Result<Outcome, Refusal>) {
        let ended = if self.watch.is_stopped() {
            Err(Refusal::Stopped)
        } else {
            *lock(&self.state) = State::Running;
            self.now.send_modify(|now| now.running = true);
            catch_unwind(AssertUnwindSafe(work)).unwrap_or(Err(Refusal::Broken))
        };
        *lock(&self.state) = State::Ended(ended);
        self.now.send_modify(|now| now.ended = true);
    }
}

/// All long work of this page, running or ended.
#[derive(Debug)]
pub(super) struct Long {
    reading: Mutex<mpsc::Sender<TaskBox>>,
    other: Mutex<mpsc::Sender<TaskBox>>,
    works: Mutex<Vec<Arc<Work>>>,
}

/// A task, which has nothing to say of itself.
struct TaskBox(Task);

impl std::fmt::Debug for TaskBox {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("TaskBox")
    }
}

impl Long {
    pub(super) fn new() -> io::Result<Self> {
        Ok(Self {
            reading: Mutex::new(threads("page-reading", 1)?),
            other: Mutex::new(threads("page-long", 2)?),
            works: Mutex::default(),
        })
    }

    /// Has `work` done when its lane is free; it is looked at by the id it gets.
    pub(super) fn begin(
        &self,
        lane: Lane,
        title: impl Into<String>,
        work: impl FnOnce(&Arc<Work>) -> Result<Outcome, Refusal> + Send + 'static,
    ) -> Arc<Work> {
        let new = Arc::new(Work {
            id: format!("w{}", uuid::Uuid::now_v7().simple()),
            title: title.into(),
            watch: Watch::default(),
            now: watch::Sender::new(Now::default()),
            state: Mutex::new(State::Waiting),
        });
        let mut works = lock(&self.works);
        if works.len() >= MOST_KEPT
            && let Some(old) = works.iter().position(|work| matches!(work.state(), State::Ended(_)))
        {
            works.remove(old);
        }
        works.push(Arc::clone(&new));
        drop(works);
        let mine = Arc::clone(&new);
        let task = TaskBox(Box::new(move || mine.run(|| work(&mine))));
        let lane = match lane {
            Lane::Reading => &self.reading,
            Lane::Other => &self.other,
        };
        if lock(lane).send(task).is_err() {
            *lock(&new.state) = State::Ended(Err(Refusal::Broken));
            new.now.send_modify(|now| now.ended = true);
        }
        new
    }

    pub(super) fn work(&self, id: &str) -> Result<Arc<Work>, Refusal> {
        let works = lock(&self.works);
        let found = works.iter().find(|work| work.id == id);
        found.map(Arc::clone).ok_or_else(|| {
            Refusal::NotHere("This work is not known here; the page was started anew.".to_owned())
        })
    }

    /// Everything that runs or waits to be looked at, the newest first.
    pub(super) fn all(&self) -> Vec<Arc<Work>> {
        lock(&self.works).iter().rev().map(Arc::clone).collect()
    }

    /// Forgets a work that ended.
    pub(super) fn forget(&self, id: &str) {
        lock(&self.works).retain(|work| work.id != id || !matches!(work.state(), State::Ended(_)));
    }

    /// Stops all of it.
    pub(super) fn stop(&self) {
        for work in lock(&self.works).iter() {
            work.stop();
        }
    }

    pub(super) fn is_idle(&self) -> bool {
        lock(&self.works).iter().all(|work| matches!(work.state(), State::Ended(_)))
    }
}

/// Threads that take one task after the other.
fn threads(name: &str, count: usize) -> io::Result<mpsc::Sender<TaskBox>> {
    let (send, take) = mpsc::channel::<TaskBox>();
    let take = Arc::new(Mutex::new(take));
    for _ in 0..count {
        let take = Arc::clone(&take);
        thread::Builder::new().name(name.to_owned()).spawn(move || {
            loop {
                let task = lock(&take).recv();
                match task {
                    Ok(TaskBox(task)) => task(),
                    Err(_) => break,
                }
            }
        })?;
    }
    Ok(send)
}

/// What is locked here is whole at any time, whatever a thread that held it came to.
pub(super) fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}
