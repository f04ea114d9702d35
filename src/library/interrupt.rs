//! Ending a statement that takes long when the work it belongs to is stopped.

use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

use super::Library;
use crate::work::Watch;

/// How soon a running statement ends once the work is stopped.
const PAUSE: Duration = Duration::from_millis(50);

/// While this lives, reading statements of its library end soon after the work is stopped.
#[derive(Debug)]
pub(crate) struct Interruptible {
    ended: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Library {
    /// From here to the end of the guard's life, a stop of `watch` ends running statements with
    /// [`StoreError::Stopped`](super::StoreError::Stopped). For work that only reads.
    pub(crate) fn interruptible(&self, watch: &Watch) -> Interruptible {
        let (ended, end) = channel::<()>();
        let (watch, handle) = (watch.clone(), self.connection.get_interrupt_handle());
        let thread = std::thread::spawn(move || {
            while end.recv_timeout(PAUSE) == Err(RecvTimeoutError::Timeout) {
                if watch.is_stopped() {
                    handle.interrupt();
                }
            }
        });
        Interruptible { ended: Some(ended), thread: Some(thread) }
    }
}

impl Drop for Interruptible {
    fn drop(&mut self) {
        self.ended = None;
        if let Some(thread) = self.thread.take() {
            // It panics nowhere; were it to, the work is over all the same.
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
mod tests {
    use std::time::Instant;

    use tempfile::TempDir;

    use super::*;
    use crate::library::StoreError;
    use crate::work::is_stop;

    #[test]
    fn a_long_statement_ends_when_the_work_is_stopped() {
        let folder = TempDir::new().unwrap();
        let library = Library::create(folder.path()).unwrap();
        let watch = Watch::default();
        let guard = library.interruptible(&watch);
        let stop = watch.clone();
        let stopper = std::thread::spawn(move || {
            std::thread::sleep(Duration::from_millis(150));
            stop.stop();
        });
        let begun = Instant::now();
        // Without an interrupt this counts for hours.
        let endless = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n
            WHERE i < 100000000000) SELECT count(*) FROM n";
        let error = library
            .connection
            .query_row(endless, [], |row| row.get::<_, i64>(0))
            .map_err(StoreError::sql("counting"))
            .unwrap_err();
        assert!(is_stop(&error), "{error}");
        let took = begun.elapsed();
        assert!(took < Duration::from_secs(2), "{took:?}");
        stopper.join().unwrap();
        drop(guard);
        // Afterwards the connection is as good as before.
        assert_eq!(library.counts().unwrap().players, 0);
    }
}
