//! Other programs, run to their end under a watch: stopped with the work that wants them, and given
//! up where they take longer than they may or more memory.

use std::io::{self, Read};
use std::process::{Child, Command, Output, Stdio};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crate::work::{Stopped, Watch};

/// How long to wait for a program before asking whether the work is to end.
pub(crate) const PATIENCE: Duration = Duration::from_millis(50);
/// Most bytes of what a program writes that are kept: some ten hours of a clip's frames, listed.
const MOST_BYTES: u64 = 1 << 28;

/// What a program is held to; nothing where nothing is said.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Limits {
    /// Longest it may run.
    pub(crate) time: Option<Duration>,
    /// Most memory it may have of its own, bytes; see [`start`].
    pub(crate) memory: Option<u64>,
}

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

/// Runs a program to its end within its limits, and gives what it wrote.
///
/// # Errors
/// If it cannot be started or waited for.
pub(crate) fn run(command: &mut Command, limits: Limits, watch: &Watch) -> io::Result<Ended> {
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let began = Instant::now();
    let mut child = start(command, limits.memory)?;
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
        if limits.time.is_some_and(|limit| began.elapsed() > limit) {
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

/// Starts a program, so that the terminal's interrupt does not reach it: it ends when we end it.
///
/// `memory`: bytes it may write to in all, its threads' stacks among them (`RLIMIT_DATA`); what it asks
/// for beyond that it is refused. What is only reserved, and files it maps, are not counted, so that the
/// number of threads hardly matters. Held on Linux alone.
///
/// # Errors
/// If it cannot be started or held; then it is not running.
pub(crate) fn start(command: &mut Command, memory: Option<u64>) -> io::Result<Child> {
    #[cfg(unix)]
    std::os::unix::process::CommandExt::process_group(command, 0);
    let mut child = command.spawn()?;
    if let Some(Err(error)) = memory.map(|memory| hold_memory(&child, memory)) {
        end(&mut child)?;
        return Err(error);
    }
    Ok(child)
}

/// From outside, since it was started already: what it took in that moment counts, too.
#[cfg(target_os = "linux")]
fn hold_memory(child: &Child, memory: u64) -> io::Result<()> {
    let id = child.id().try_into().map_err(io::Error::other)?;
    rlimit::prlimit(id, rlimit::Resource::DATA, Some((memory, memory)), None)
}

#[cfg(not(target_os = "linux"))]
fn hold_memory(_child: &Child, _memory: u64) -> io::Result<()> {
    Ok(())
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
        match run(&mut command, Limits::default(), &Watch::default()).unwrap() {
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
        let limits = Limits { time: Some(Duration::from_millis(200)), memory: None };
        let ended = run(&mut shell("exec sleep 60"), limits, &Watch::default()).unwrap();
        assert!(matches!(ended, Ended::TooLong), "{ended:?}");
        let watch = Watch::default();
        watch.stop();
        let ended = run(&mut shell("exec sleep 60"), Limits::default(), &watch).unwrap();
        assert!(matches!(ended, Ended::Stopped(_)), "{ended:?}");
        assert!(began.elapsed() < Duration::from_secs(30));
    }

    /// `tail` keeps the last line, here all of it, in memory.
    #[cfg(target_os = "linux")]
    #[test]
    fn a_program_gets_no_more_memory_than_it_may_have() {
        let script = "sleep 0.3; head -c 200000000 /dev/zero | tail -n 1 | wc -c";
        let wrote = |memory| {
            let limits = Limits { time: Some(Duration::from_secs(120)), memory };
            match run(&mut shell(script), limits, &Watch::default()).unwrap() {
                Ended::Itself(output) => {
                    String::from_utf8(output.stdout).unwrap().trim().to_owned()
                }
                other => panic!("{other:?}"),
            }
        };
        assert_eq!(wrote(Some(1 << 30)), "200000000");
        assert_eq!(wrote(Some(64 << 20)), "0");
    }
}
