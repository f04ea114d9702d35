//! Several threads at one query.
//!
//! A query takes from half a millisecond on and has several steps that can be shared, each of a fraction
//! of it. To wake a thread for each would take as long as the step. So helpers are called once, when the
//! query begins, look out for work while it lasts and leave with it; whoever is not there yet is not
//! waited for: a helper that the pool has no thread for finds the query over, some time, and goes.

use std::any::Any;
use std::num::NonZeroUsize;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// Looks out so many times before it lets other threads run.
const PATIENCE: u32 = 1 << 12;

/// Work that is posted: `work(0) .. work(count - 1)`.
struct Posted {
    work: &'static (dyn Fn(usize) + Sync),
    count: usize,
    next: AtomicUsize,
    /// Helpers at it.
    inside: AtomicUsize,
    /// What a helper panicked with, for the caller.
    panic: Mutex<Option<Box<dyn Any + Send>>>,
}

impl Posted {
    fn take(&self) {
        loop {
            let number = self.next.fetch_add(1, Ordering::Relaxed);
            if number >= self.count {
                break;
            }
            (self.work)(number);
        }
    }
}

/// The helpers of one query.
pub(crate) struct Crew {
    helpers: usize,
    board: Arc<Board>,
}

/// Where helpers look out for work; it is theirs as well, because a query does not wait for those that come
/// late.
#[derive(Default)]
struct Board {
    /// Counts what was posted.
    round: AtomicUsize,
    posted: Mutex<Option<Arc<Posted>>>,
    over: AtomicBool,
}

/// Sends the helpers away, also when the query panics.
struct Shift<'a>(&'a Board);

impl Drop for Shift<'_> {
    fn drop(&mut self) {
        self.0.over.store(true, Ordering::Release);
    }
}

/// Takes the work back and waits for those still at it, also when the caller's share of it panics.
struct Post<'a> {
    board: &'a Board,
    posted: Arc<Posted>,
}

impl Drop for Post<'_> {
    fn drop(&mut self) {
        *self.board.posted.lock().unwrap_or_else(PoisonError::into_inner) = None;
        wait_until(|| self.posted.inside.load(Ordering::Acquire) == 0);
    }
}

/// How many threads can run at the same time.
fn processors() -> usize {
    static PROCESSORS: OnceLock<usize> = OnceLock::new();
    *PROCESSORS.get_or_init(|| std::thread::available_parallelism().map_or(1, NonZeroUsize::get))
}

/// Waits busily: what is waited for is a fraction of a millisecond away.
fn wait_until(mut reached: impl FnMut() -> bool) {
    let mut looked = 0_u32;
    while !reached() {
        looked = looked.wrapping_add(1);
        if looked.is_multiple_of(PATIENCE) {
            std::thread::yield_now();
        } else {
            std::hint::spin_loop();
        }
    }
}

impl Board {
    fn help(&self) {
        let mut seen = 0;
        loop {
            let mut round = seen;
            wait_until(|| {
                round = self.round.load(Ordering::Acquire);
                round != seen || self.over.load(Ordering::Acquire)
            });
            if round == seen {
                return;
            }
            seen = round;
            let posted = {
                let posted = self.posted.lock().unwrap_or_else(PoisonError::into_inner);
                // Entered under the lock: whoever empties the post sees it.
                posted
                    .as_ref()
                    .inspect(|one| _ = one.inside.fetch_add(1, Ordering::Relaxed))
                    .cloned()
            };
            if let Some(posted) = posted {
                if let Err(panic) = catch_unwind(AssertUnwindSafe(|| posted.take())) {
                    *posted.panic.lock().unwrap_or_else(PoisonError::into_inner) = Some(panic);
                }
                posted.inside.fetch_sub(1, Ordering::Release);
            }
        }
    }
}

impl Crew {
    /// Does a job with `threads - 1` helpers, as far as there are processors and the pool has as many free.
    /// More would take the place of those at work while they look out.
    pub(crate) fn with<T>(threads: usize, job: impl FnOnce(&Self) -> T) -> T {
        let helpers = threads.min(processors()) - 1;
        let crew = Self { helpers, board: Arc::default() };
        for _ in 0..helpers {
            let board = crew.board.clone();
            rayon::spawn(move || board.help());
        }
        let _shift = Shift(&crew.board);
        job(&crew)
    }

    /// Threads there may be, the caller included.
    pub(crate) fn threads(&self) -> usize {
        self.helpers + 1
    }

    /// `work(0) .. work(count - 1)`, in any order, by all who are there.
    pub(crate) fn share(&self, count: usize, work: &(dyn Fn(usize) + Sync)) {
        if self.helpers == 0 || count <= 1 {
            (0..count).for_each(work);
            return;
        }
        // SAFETY: `work` is called by this function and by helpers counted in `inside`. `Post` is dropped
        // before this function ends, however it ends: it empties the post under the lock, after which
        // nobody enters, and waits until nobody is inside. Helpers keep the `Arc`, but not to call.
        let work: &'static (dyn Fn(usize) + Sync) = unsafe { std::mem::transmute(work) };
        let posted = Arc::new(Posted {
            work,
            count,
            next: AtomicUsize::new(0),
            inside: AtomicUsize::new(0),
            panic: Mutex::default(),
        });
        let post = Post { board: &self.board, posted: posted.clone() };
        *self.board.posted.lock().unwrap_or_else(PoisonError::into_inner) = Some(posted.clone());
        self.board.round.fetch_add(1, Ordering::Release);
        posted.take();
        drop(post);
        let panic = posted.panic.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(panic) = panic {
            resume_unwind(panic);
        }
    }

    /// What `work(0) .. work(count - 1)` make, in this order.
    pub(crate) fn map<T: Send>(&self, count: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
        if self.helpers == 0 || count <= 1 {
            return (0..count).map(work).collect();
        }
        let made = Mutex::new(Vec::with_capacity(count));
        self.share(count, &|number| {
            let one = work(number);
            made.lock().unwrap_or_else(PoisonError::into_inner).push((number, one));
        });
        let mut made = made.into_inner().unwrap_or_else(PoisonError::into_inner);
        made.sort_unstable_by_key(|(number, _)| *number);
        made.into_iter().map(|(_, one)| one).collect()
    }

    /// Two things made side by side; what takes longer had better come first.
    pub(crate) fn both<A: Send, B: Send>(
        &self,
        one: impl Fn() -> A + Sync,
        two: impl Fn() -> B + Sync,
    ) -> (A, B) {
        if self.helpers == 0 {
            return (one(), two());
        }
        let (first, second) = (Mutex::new(None), Mutex::new(None));
        self.share(2, &|number| match number {
            0 => put(&first, one()),
            _ => put(&second, two()),
        });
        // Both were made, or sharing them panicked.
        (take(first).unwrap_or_else(one), take(second).unwrap_or_else(two))
    }
}

fn put<T>(place: &Mutex<Option<T>>, made: T) {
    *place.lock().unwrap_or_else(PoisonError::into_inner) = Some(made);
}

fn take<T>(place: Mutex<Option<T>>) -> Option<T> {
    place.into_inner().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shared_work_is_done_once_each_and_in_order() {
        for threads in 1..5 {
            Crew::with(threads, |crew| {
                assert_eq!(crew.threads(), threads.min(processors()));
                for count in [0, 1, 2, 3, 100, 1000] {
                    let calls = AtomicUsize::new(0);
                    let made = crew.map(count, |number| {
                        calls.fetch_add(1, Ordering::Relaxed);
                        number * number
                    });
                    assert_eq!(made, (0..count).map(|n| n * n).collect::<Vec<_>>());
                    assert_eq!(calls.into_inner(), count);
                }
                assert_eq!(crew.both(|| 1, || "two"), (1, "two"));
            });
        }
    }

    /// One part of the work waits until another thread is at another part.
    #[test]
    fn helpers_do_help() {
        let there = AtomicUsize::new(0);
        Crew::with(2, |crew| {
            if crew.threads() == 1 {
                // One processor: nobody else could be there.
                there.store(2, Ordering::SeqCst);
                return;
            }
            crew.share(2, &|_| {
                there.fetch_add(1, Ordering::SeqCst);
                wait_until(|| there.load(Ordering::SeqCst) == 2);
            });
        });
        assert_eq!(there.into_inner(), 2);
    }

    #[test]
    fn a_panic_in_shared_work_reaches_the_caller() {
        for bad in 0..64 {
            let result = std::panic::catch_unwind(|| {
                Crew::with(3, |crew| crew.map(64, |number| assert_ne!(number, bad)).len())
            });
            assert!(result.is_err(), "{bad}");
        }
        // Those who helped are free again.
        assert_eq!(Crew::with(3, |crew| crew.map(9, |number| number).len()), 9);
    }

    /// From outside a pool whose threads are all at work, and stay so until the job is done.
    #[test]
    fn a_job_does_not_wait_for_helpers_that_never_came() {
        let (release, released) = std::sync::mpsc::channel::<()>();
        let released = Arc::new(Mutex::new(released));
        let (started, starting) = std::sync::mpsc::channel();
        for _ in 0..rayon::current_num_threads() {
            let (released, started) = (released.clone(), started.clone());
            rayon::spawn(move || {
                started.send(()).unwrap();
                let _ = released.lock().unwrap_or_else(PoisonError::into_inner).recv();
            });
        }
        (0..rayon::current_num_threads()).for_each(|_| starting.recv().unwrap());
        let (done, doing) = std::sync::mpsc::channel();
        let job = std::thread::spawn(move || {
            let sum: usize = Crew::with(4, |crew| crew.map(100, |number| number)).into_iter().sum();
            done.send(sum).unwrap();
        });
        let sum = doing.recv_timeout(std::time::Duration::from_secs(30));
        drop(release);
        job.join().unwrap();
        assert_eq!(sum, Ok(4950), "the job waited for the pool");
    }

    /// Inside a pool whose threads are all at work: nobody comes to help, and nobody waits.
    #[test]
    fn a_busy_pool_holds_nothing_up() {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        let sum: usize =
            pool.install(|| Crew::with(4, |crew| crew.map(100, |number| number)).into_iter().sum());
        assert_eq!(sum, 4950);
    }
}
