//! Other programs, run to their end under a watch: stopped with the work that wants them, and given
//! up where they take longer than they may.

use std::io::{self, Read};
use std::process::{Child, Command, Output, Stdio};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crate::work::{Stopped, Watch};

/// How long to wait for a program before asking whether the work is to end.
pub(crate) const PATIENCE: Duration = Duration::from_millis(50);
/// Most bytes of what a program writes that are kept: some ten hours of a clip's frames, listed.
const MOST_BYTES: u64 = 1 << 28;

/// How a program that was run came to its end.
#[derive(Debug)]
pub(crate) enum Ended {
    /// By itself; its status and what it wrote.
    Itself(Output),
    /// It was ended because the work was stopped.
    Stopped(Stopped),
    /// It was ended because it took longer than it may.
    TooLong,
}

/// Runs a program to its end, for at most `limit`, and gives what it wrote.
///
/// # Errors
/// If it cannot be started or waited for.
pub(crate) fn run(
    command: &mut Command,
    limit: Option<Duration>,
    watch: &Watch,
) -> io::Result<Ended> {
    own_group(command);
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let began = Instant::now();
    let mut child = command.spawn()?;
    let stdout = reading(child.stdout.take());
    let stderr = reading(child.stderr.take());
    let mut pause = Duration::from_millis(1);
    let status = loop {
        if let Some(status) = child.try_wait()? {
            break status;
        }
        if let Err(stopped) = watch.check() {
            end(&mut child)?;
            return Ok(Ended::Stopped(stopped));
        }
        if limit.is_some_and(|limit| began.elapsed() > limit) {
            end(&mut child)?;
            return Ok(Ended::TooLong);
        }
        std::thread::sleep(pause);
        pause = (2 * pause).min(PATIENCE);
    };
    let joined = |thread: JoinHandle<io::Result<Vec<u8>>>| {
        thread.join().unwrap_or_else(|_| Err(io::Error::other("its output was not read")))
    };
    Ok(Ended::Itself(Output { status, stdout: joined(stdout)?, stderr: joined(stderr)? }))
}

fn reading(pipe: Option<impl Read + Send + 'static>) -> JoinHandle<io::Result<Vec<u8>>> {
    std::thread::spawn(move || {
        let mut bytes = Vec::new();
        let read = pipe.map_or(Ok(0), |pipe| pipe.take(MOST_BYTES).read_to_end(&mut bytes));
        read.map(|_| bytes)
    })
}

fn end(child: &mut Child) -> io::Result<()> {
    child.kill()?;
    child.wait().map(drop)
}

/// Keeps the terminal's interrupt from a child, so that it ends when we end it and not before.
pub(crate) fn own_group(command: &mut Command) {
    #[cfg(unix)]
    std::os::unix::process::CommandExt::process_group(command, 0);
    #[cfg(not(unix))]
    let _ = command;
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    fn shell(script: &str) -> Command {
        let mut command = Command::new("sh");
        command.args(["-c", script]);
        command
    }

    #[test]
    fn a_program_that_ends_gives_what_it_wrote() {
        let mut command = shell("echo out; echo err >&2; exit 3");
        match run(&mut command, None, &Watch::default()).unwrap() {
            Ended::Itself(output) => {
                assert_eq!(output.status.code(), Some(3));
                assert_eq!((&*output.stdout, &*output.stderr), (&b"out\n"[..], &b"err\n"[..]));
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_program_that_hangs_is_ended_by_the_clock_and_by_a_stop() {
        let began = Instant::now();
        let limit = Some(Duration::from_millis(200));
        let ended = run(&mut shell("exec sleep 60"), limit, &Watch::default()).unwrap();
        assert!(matches!(ended, Ended::TooLong), "{ended:?}");
        let watch = Watch::default();
        watch.stop();
        let ended = run(&mut shell("exec sleep 60"), None, &watch).unwrap();
        assert!(matches!(ended, Ended::Stopped(_)), "{ended:?}");
        assert!(began.elapsed() < Duration::from_secs(30));
    }
}
