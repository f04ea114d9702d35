//! What one input may cost: memory counted by the allocator, time by the processor, and by the clock only where
//! it is waited for long: a busy machine is nobody's find.

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use crate::targets::Target;

/// Memory an input may take beyond what any may, per byte of its own: a number of one letter becomes eight
/// bytes in several copies, and a pack may inflate fifty times.
const MEMORY_PER_BYTE: usize = 256;
/// A slow input is tried again: the machine may have been busy with others.
const TRIES: usize = 3;
/// By the clock an input may take so many times what it may of the processor.
const WAITED: u32 = 10;

/// The system's allocator, which counts what Rust code holds. What SQLite holds is not seen.
struct Counting;

static HELD: AtomicUsize = AtomicUsize::new(0);
static MOST: AtomicUsize = AtomicUsize::new(0);

#[global_allocator]
static COUNTING: Counting = Counting;

fn took(bytes: usize) {
    let held = HELD.fetch_add(bytes, Ordering::Relaxed) + bytes;
    MOST.fetch_max(held, Ordering::Relaxed);
}

// SAFETY: every call is passed on to the system's allocator as it came; counting touches no memory of
// the caller's.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        took(layout.size());
        // SAFETY: the caller's promise is the one asked for.
        unsafe { System.alloc(layout) }
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        took(layout.size());
        // SAFETY: the caller's promise is the one asked for.
        unsafe { System.alloc_zeroed(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        HELD.fetch_sub(layout.size(), Ordering::Relaxed);
        // SAFETY: the caller's promise is the one asked for.
        unsafe { System.dealloc(at, layout) }
    }

    unsafe fn realloc(&self, at: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        took(size);
        HELD.fetch_sub(layout.size(), Ordering::Relaxed);
        // SAFETY: the caller's promise is the one asked for.
        unsafe { System.realloc(at, layout, size) }
    }
}

/// What the processor did for this process, in hundredths of a second (`proc_pid_stat(5)`; the unit is the same
/// on every Linux); elsewhere nothing is known of it.
fn worked() -> Option<Duration> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    let (_, after_name) = stat.rsplit_once(") ")?;
    let mut fields = after_name.split(' ').skip(11).map(|field| field.parse::<u64>().ok());
    Some(Duration::from_millis(10 * (fields.next()?? + fields.next()??)))
}

/// Runs `target` on `bytes`.
///
/// # Panics
/// Where the target does, or takes more memory or time than an input may.
pub(crate) fn within(target: &Target, bytes: &[u8]) {
    let bytes = &bytes[..bytes.len().min(target.longest)];
    let allowed = target.memory + MEMORY_PER_BYTE * bytes.len();
    let mut slow = String::new();
    for attempt in 0..TRIES {
        let before = HELD.load(Ordering::Relaxed);
        MOST.store(before, Ordering::Relaxed);
        // A file of the system is read for it, so it waits until an input was slow by the clock.
        let worked_before = (attempt > 0).then(worked).flatten();
        let began = Instant::now();
        (target.run)(bytes);
        let waited = began.elapsed();
        let took = MOST.load(Ordering::Relaxed).saturating_sub(before);
        assert!(
            took <= allowed,
            "{}: an input of {} bytes took {took} bytes of memory, {allowed} allowed",
            target.name,
            bytes.len()
        );
        if waited <= target.time {
            return;
        }
        let worked = worked_before.and_then(|before| Some(worked()?.saturating_sub(before)));
        if worked.is_some_and(|worked| worked <= target.time) && waited <= WAITED * target.time {
            return;
        }
        slow = format!("{worked:?} of the processor and {waited:?} by the clock");
    }
    panic!(
        "{}: an input of {} bytes took {slow}, {:?} allowed",
        target.name,
        bytes.len(),
        target.time
    );
}
