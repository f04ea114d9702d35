//! Files that are no whole clip, and machines on which a piece is missing: one clear error each,
//! nothing half-written.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use std::path::{Path, PathBuf};
use std::process::Command;

use desk::sample;
use precedent::video::{self, ModelChoice, installed};
use tempfile::TempDir;

/// A bench with a clip on it and an empty folder for temporary files.
struct Bench {
    folder: TempDir,
}

impl Bench {
    /// `None`, said so, without ffmpeg.
    fn new() -> Option<Self> {
        let bench = Self { folder: TempDir::new().unwrap() };
        std::fs::create_dir(bench.at("temporary")).unwrap();
        let whole = ["testsrc2=size=192x108:rate=30:duration=1", "whole.mp4"];
        let made = bench.make(&[
            "-f",
            "lavfi",
            "-i",
            whole[0],
            "-c:v",
            "libx264",
            "-movflags",
            "+faststart",
            whole[1],
        ]);
        if !made {
            skip::skipped("ffmpeg is absent");
        }
        made.then_some(bench)
    }

    fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn make(&self, arguments: &[&str]) -> bool {
        Command::new("ffmpeg")
            .args(["-v", "error", "-y"])
            .args(arguments)
            .current_dir(self.folder.path())
            .status()
            .is_ok_and(|status| status.success())
    }

    fn listing(&self) -> Vec<PathBuf> {
        let mut all = Vec::new();
        for folder in [self.at(""), self.at("temporary")] {
            all.extend(std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()));
        }
        all.sort();
        all
    }

    /// Reads `file`, then adds it: both are refused with one and the same line that holds every
    /// one of `said`, and nothing is left behind.
    fn refused(&self, file: &str, set: &[(&str, &Path)], said: &[&str]) {
        let before = self.listing();
        let run = |args: &[&str]| {
            let output = Command::new(env!("CARGO_BIN_EXE_precedent"))
                .args(["--library", "library"])
                .args(args)
                .current_dir(self.folder.path())
                .env("TMPDIR", self.at("temporary"))
                .envs(set.iter().copied())
                .output()
                .unwrap();
            let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
            let (out, err) = (text(&output.stdout), text(&output.stderr));
            assert_eq!(output.status.code(), Some(2), "{args:?}: {out}{err}");
            assert_eq!(out, "", "{args:?}");
            err
        };
        let read = run(&["read", file]);
        assert_eq!(read.lines().count(), 1, "{file}: {read}");
        for said in said {
            assert!(read.contains(said), "'{said}' is missing: {read}");
        }
        let day = ["--player", "knot", "--date", "2026-03-14", "--consent", "keep", "--keep-clip"];
        let add = run(&[&["add", file][..], &day].concat());
        assert!(add.starts_with(&read), "{add}, {read}");
        assert!(add.contains("1 of 1 file failed and left nothing behind"), "{add}");
        assert_eq!(self.listing(), before, "{file}: something is left");
    }
}

#[test]
fn a_file_that_is_no_whole_clip_is_refused_and_leaves_nothing() {
    let Some(bench) = Bench::new() else { return };
    let write = |name: &str, bytes: &[u8]| std::fs::write(bench.at(name), bytes).unwrap();
    let picture = ["-f", "lavfi", "-i", "testsrc2=size=192x108:rate=30:duration=1"];
    let whole = std::fs::read(bench.at("whole.mp4")).unwrap();
    let part = whole.len() * 2 / 3;

    write("zero.mp4", b"");
    bench.refused("zero.mp4", &[], &["zero.mp4: not a video: the file is empty", "MP4, MOV"]);
    write("words.mp4", b"only words, no picture\n");
    bench.refused("words.mp4", &[], &["its content is not that of a clip, whatever its name says"]);
    write("head.mp4", &whole[..8]);
    bench.refused("head.mp4", &[], &["head.mp4: not a video"]);
    std::fs::copy(sample("new-serve.c3d"), bench.at("joints.mp4")).unwrap();
    bench.refused(
        "joints.mp4",
        &[],
        &["not that of a clip", "if it holds joints despite its name, give --layout"],
    );

    assert!(bench.make(&["-f", "lavfi", "-i", "sine=duration=1", "sound.mp4"]));
    bench.refused("sound.mp4", &[], &["sound.mp4: not a video: it holds no moving picture"]);
    assert!(
        bench.make(&[&picture[..], &["-frames:v", "1", "-c:v", "libx264", "one.mp4"]].concat())
    );
    bench.refused("one.mp4", &[], &["one.mp4: not a video: it holds a single picture"]);
    assert!(bench.make(&[&picture[..], &["-frames:v", "1", "still.png"]].concat()));
    std::fs::rename(bench.at("still.png"), bench.at("still.mp4")).unwrap();
    bench.refused("still.mp4", &[], &["still.mp4: not a video: a picture"]);

    // The index at the end was not copied.
    assert!(bench.make(&[&picture[..], &["-c:v", "libx264", "late.mp4"]].concat()));
    let late = std::fs::read(bench.at("late.mp4")).unwrap();
    write("headless.mp4", &late[..late.len() * 2 / 3]);
    let again = "copy it again from the phone";
    bench.refused("headless.mp4", &[], &["cut off or damaged", "the index at its end", again]);
    // A clip is known by its content; the wrong ending does not make it joints.
    write("clip.csv", &late[..late.len() * 2 / 3]);
    bench.refused("clip.csv", &[], &["clip.csv: the clip is cut off or damaged"]);

    bench.refused("absent.mp4", &[], &["absent.mp4: "]);

    if installed(ModelChoice::Full).is_ok() {
        write("cut.mp4", &whole[..part]);
        bench.refused("cut.mp4", &[], &["cut off or damaged: ", " frames of 30", again]);
        let mut noise = whole.clone();
        let pictures = noise.windows(4).position(|four| four == b"mdat").unwrap() + 4;
        for (k, byte) in noise[pictures..].iter_mut().enumerate() {
            *byte ^= (k * 89 % 251) as u8;
        }
        write("noise.mp4", &noise);
        bench.refused("noise.mp4", &[], &["cut off or damaged: 0 frames of 30", again]);
    } else {
        skip::skipped("in part: no networks to read a clip that opens");
    }
}

/// A playlist is no clip, whatever its name says: not one that names another file of this computer,
/// not one that names an address. Nobody is asked for what it names.
#[test]
fn a_playlist_in_disguise_is_refused_and_asks_nobody() {
    let Some(bench) = Bench::new() else { return };
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    listener.set_nonblocking(true).unwrap();
    let address = listener.local_addr().unwrap();
    let secret = ["-f", "lavfi", "-i", "testsrc2=size=64x64:rate=30:duration=1", "secret.ts"];
    assert!(bench.make(&secret));
    let path = bench.at("secret.ts");
    let path = path.to_str().unwrap();
    let list = |named: &str| {
        let head = "#EXTM3U\n#EXT-X-TARGETDURATION:5\n#EXTINF:5,";
        format!("{head}\n{named}\n#EXT-X-ENDLIST\n")
    };
    let description = format!(
        "v=0\no=- 0 0 IN IP4 127.0.0.1\nc=IN IP4 127.0.0.1\nt=0 0\nm=video {} RTP/AVP 96\n\
         a=rtpmap:96 H264/90000\n",
        address.port()
    );
    for (name, content) in [
        ("file.mp4", list(path)),
        ("web.mp4", list(&format!("http://{address}/a.ts"))),
        (
            "web.mov",
            format!("<?xml version=\"1.0\"?><MPD><BaseURL>http://{address}/</BaseURL></MPD>"),
        ),
        ("parts.mkv", "ffconcat version 1.0\nfile secret.ts\n".to_owned()),
        ("talk.mp4", description),
    ] {
        std::fs::write(bench.at(name), content).unwrap();
        bench.refused(name, &[], &[name, "its content is not that of a clip"]);
    }
    assert!(listener.accept().is_err(), "somebody was asked");
}

/// A picture larger than any camera's is refused before its memory is asked for.
#[test]
fn a_picture_beyond_the_limit_is_refused() {
    let Some(bench) = Bench::new() else { return };
    // 20,000 x 10,000 points of one colour are a few kilobytes of file.
    let large = ["-f", "lavfi", "-i", "color=size=20000x10000:rate=30:duration=0.07"];
    let small_file = ["-c:v", "qtrle", "-pix_fmt", "gray", "large.mov"];
    if !bench.make(&[&large[..], &small_file].concat()) {
        skip::skipped("in part: this ffmpeg writes no qtrle");
        return;
    }
    if installed(ModelChoice::Full).is_ok() {
        bench.refused("large.mov", &[], &["large.mov: "]);
    } else {
        skip::skipped("in part: no networks to read a clip that opens");
    }
}

/// On a machine without ffmpeg, without one of its two commands, without a cache.
#[cfg(unix)]
#[test]
fn a_missing_command_is_named_with_where_to_get_it() {
    let Some(bench) = Bench::new() else { return };
    std::fs::create_dir(bench.at("commands")).unwrap();
    let get = "apt-get install ffmpeg";
    let path = bench.at("commands");
    let path: &[(&str, &Path)] = &[("PATH", &path)];
    bench.refused("whole.mp4", path, &["needs the command 'ffprobe'", get]);
    let found = std::env::split_paths(&std::env::var_os("PATH").unwrap())
        .map(|folder| folder.join("ffprobe"))
        .find(|file| file.is_file())
        .unwrap();
    std::os::unix::fs::symlink(found, bench.at("commands/ffprobe")).unwrap();
    if installed(ModelChoice::Full).is_ok() {
        bench.refused("whole.mp4", path, &["needs the command 'ffmpeg'", get]);
    }
}

/// Each piece of the set-up in turn is missing, then damaged.
#[cfg(unix)]
#[test]
fn a_missing_or_damaged_piece_of_the_set_up_is_named() {
    let Some(bench) = Bench::new() else { return };
    let remedy = "run `precedent setup-video` once with a network";
    let cache = bench.at("cache");
    std::fs::create_dir_all(cache.join("pose")).unwrap();
    let set: &[(&str, &Path)] = &[(video::CACHE_VARIABLE, &cache)];
    bench.refused("whole.mp4", set, &["pose model 'full', which is missing", remedy]);
    let Some(there) = video::folder().filter(|_| installed(ModelChoice::Full).is_ok()) else {
        skip::skipped("in part: the networks are not here");
        return;
    };
    let pieces: Vec<PathBuf> = std::fs::read_dir(there)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|file| file.is_file())
        .collect();
    for (name, piece) in [
        ("pose_landmark_full", "pose model 'full'"),
        ("pose_detection", "person detector"),
        ("LiteRt", "runtime library"),
    ] {
        std::fs::remove_dir_all(cache.join("pose")).unwrap();
        std::fs::create_dir_all(cache.join("pose")).unwrap();
        let mut left_out = None;
        for file in &pieces {
            let place = cache.join("pose").join(file.file_name().unwrap());
            if place.to_string_lossy().contains(name) {
                left_out = Some(place);
            } else {
                std::os::unix::fs::symlink(file, place).unwrap();
            }
        }
        bench.refused("whole.mp4", set, &[&format!("{piece}, which is missing"), remedy]);
        std::fs::write(left_out.unwrap(), b"cut off").unwrap();
        bench.refused("whole.mp4", set, &[&format!("{piece}, which is damaged"), remedy]);
    }
}
