//! Clips made on the spot by the ffmpeg command from its own test pictures: codecs, rotation,
//! uneven times, slow motion, damage. A stand-in sees the person, so no network is needed.

use std::path::Path;
use std::process::Command;
use std::sync::{Arc, Mutex};

use super::super::detector::Candidate;
use super::super::frame::{Frame, Region};
use super::super::model::{ModelError, PoseModel};
use super::super::read::{ClipOptions, read_clip_with};
use super::super::{ClipError, ClipReading, Cut, Kept, stills};
use super::*;
use crate::work::{Progress, Stage, is_stop};

/// Makes `name` in a fresh folder with the ffmpeg arguments, or `None` without ffmpeg or codec.
fn made(name: &str, arguments: &[&str]) -> Option<(tempfile::TempDir, PathBuf)> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    let made =
        Command::new("ffmpeg").args(["-v", "error", "-y"]).args(arguments).arg(&path).output();
    match made {
        Ok(output) if output.status.success() => Some((folder, path)),
        Ok(output) => {
            let said = String::from_utf8_lossy(&output.stderr);
            assert!(said.contains("Unknown encoder"), "{name}: {said}");
            crate::skip::skipped(format!("{name}: {said}"));
            None
        }
        Err(error) => {
            crate::skip::skipped(format!("{name}: ffmpeg: {error}"));
            None
        }
    }
}

const PICTURES: [&str; 4] = ["-f", "lavfi", "-i", "testsrc2=size=192x108:rate=30:duration=1"];

fn with_pictures<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [&PICTURES[..], more].concat()
}

/// Sees one person in the middle of every picture, except where told otherwise.
#[derive(Default)]
struct StandIn {
    calls: usize,
    lost: Vec<usize>,
}

impl PoseModel for StandIn {
    fn find(&mut self, _: &Frame, area: Region) -> Result<Vec<Candidate>, ModelError> {
        let [x, y] = area.centre_px;
        Ok(vec![Candidate {
            score: 0.9,
            face_px: [x - 5.0, y - 45.0, x + 5.0, y - 35.0],
            hip_px: [x, y],
            scale_px: [x, y - 40.0],
        }])
    }

    fn follow(&mut self, _: &Frame, region: Region) -> Result<Option<Pose>, ModelError> {
        let call = self.calls;
        self.calls += 1;
        let [x, y] = region.centre_px;
        Ok((!self.lost.contains(&call)).then_some(Pose {
            picture_px: [[x, y]; 33],
            visibility: [1.0; 33],
            world_m: [[0.1; 3]; 33],
            flag: 1.0,
            steering_px: [[x, y], [x, y - 40.0]],
        }))
    }
}

fn read(path: &Path, options: ClipOptions) -> Result<ClipReading, ClipError> {
    read_clip_with(path, &mut StandIn::default(), &options, &Watch::default())
}

fn plain(path: &Path) -> Result<ClipReading, ClipError> {
    read(path, ClipOptions::default())
}

#[test]
fn the_codecs_of_phones_are_read_with_the_streams_times() {
    for (name, codec, more) in [
        ("a.mp4", "h264", &["-c:v", "libx264", "-pix_fmt", "yuv420p"][..]),
        ("b.mp4", "hevc", &["-c:v", "libx265", "-x265-params", "log-level=none"]),
        (
            "c.mov",
            "hevc",
            &["-c:v", "libx265", "-pix_fmt", "yuv420p10le", "-x265-params", "log-level=none"],
        ),
        ("d.webm", "vp9", &["-c:v", "libvpx-vp9", "-deadline", "realtime"]),
        ("e.mkv", "h264", &["-c:v", "libx264", "-bf", "3"]),
    ] {
        let Some((_folder, path)) = made(name, &with_pictures(more)) else {
            continue;
        };
        let reading = plain(&path).unwrap();
        assert_eq!(reading.info.codec, codec, "{name}");
        assert_eq!(reading.size_px, (192, 108), "{name}");
        let times = &reading.recording.times_s;
        assert_eq!(times.len(), 30, "{name}");
        for (k, at_s) in times.iter().enumerate() {
            // Containers round times to a millisecond.
            let want = times[0] + k as f64 / 30.0;
            assert!((at_s - want).abs() < 1.1e-3, "{name}: frame {k} at {at_s}");
        }
        assert!((reading.recording.rate_hz - 30.0).abs() < 1.0, "{name}");
    }
}

#[test]
fn a_phone_held_upright_gives_an_upright_picture() {
    let Some((folder, flat)) = made("flat.mp4", &with_pictures(&["-c:v", "libx264"])) else {
        return;
    };
    let path = folder.path().join("turned.mp4");
    let turned = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(&flat)
        .args(["-c", "copy", "-metadata:s:v:0", "rotate=90"])
        .arg(&path)
        .status()
        .unwrap();
    assert!(turned.success());
    let first =
        |path: &Path| Decoder::start(path, None).unwrap().next(&Watch::default()).unwrap().unwrap();
    let (before, after) = (first(&flat), first(&path));
    assert_eq!((after.width, after.height), (108, 192));
    // Turned a quarter: the upper left corner of one is the upper right or lower left of the other.
    let pixel = |f: &Frame, x: usize, y: usize| f.rgb[(y * f.width + x) * 3..][..3].to_vec();
    let corner = pixel(&before, 2, 2);
    assert!(
        corner == pixel(&after, after.width - 3, 2) || corner == pixel(&after, 2, after.height - 3),
        "{corner:?}"
    );
}

#[test]
fn uneven_times_stay_uneven() {
    // Every frame but each third one, with the times of the rest kept.
    let more = ["-vf", "select='mod(n,3)'", "-fps_mode", "vfr", "-c:v", "libx264"];
    let Some((_folder, path)) = made("uneven.mp4", &with_pictures(&more)) else {
        return;
    };
    let reading = plain(&path).unwrap();
    let times = &reading.recording.times_s;
    assert_eq!(times.len(), 20);
    for (k, at_s) in times.iter().enumerate() {
        let frame = (k / 2 * 3 + k % 2) as f64;
        assert!((at_s - times[0] - frame / 30.0).abs() < 1e-3, "{k}: {at_s}");
    }
    assert!((reading.info.unevenness - 2.0).abs() < 0.05);
}

#[test]
fn slow_motion_is_told_by_the_user_or_the_phone() {
    let Some((folder, path)) = made("slow.mp4", &with_pictures(&["-c:v", "libx264"])) else {
        return;
    };
    let options = ClipOptions { capture_rate_hz: Some(240.0), ..ClipOptions::default() };
    let reading = read(&path, options).unwrap();
    assert!((reading.recording.rate_hz - 240.0).abs() < 0.5, "{}", reading.recording.rate_hz);
    assert!((reading.recording.times_s[29] - 29.0 / 240.0).abs() < 1e-3);

    let tagged = folder.path().join("tagged.mp4");
    let done = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(&path)
        .args(["-c", "copy", "-movflags", "use_metadata_tags"])
        .args(["-metadata", "com.android.capture.fps=120.0"])
        .arg(&tagged)
        .status()
        .unwrap();
    assert!(done.success());
    let reading = plain(&tagged).unwrap();
    assert!((reading.recording.rate_hz - 120.0).abs() < 0.5, "{}", reading.recording.rate_hz);
    let rate = reading.recording.assumptions.iter().find(|a| a.what == "rate").unwrap();
    assert!(rate.taken.contains("120 Hz"), "{rate:?}");

    let options = ClipOptions { capture_rate_hz: Some(10.0), ..ClipOptions::default() };
    let text = read(&path, options).unwrap_err().to_string();
    assert!(text.contains("capture rate of 10 Hz") && text.contains("30.00"), "{text}");
}

#[test]
fn files_that_are_no_whole_clips_are_refused_with_the_reason() {
    let more = ["-c:v", "libx264", "-movflags", "+faststart"];
    let Some((folder, path)) = made("whole.mp4", &with_pictures(&more)) else {
        return;
    };
    let bytes = std::fs::read(&path).unwrap();
    let file = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    let text = |path: &Path| plain(path).unwrap_err().to_string();

    let cut = text(&file("cut.mp4", &bytes[..bytes.len() * 2 / 3]));
    assert!(cut.contains("cut off or damaged") && cut.contains("of 30"), "{cut}");
    let Some((_other, late)) = made("late.mp4", &with_pictures(&["-c:v", "libx264"])) else {
        return;
    };
    let bytes = std::fs::read(late).unwrap();
    let cut = text(&file("headless.mp4", &bytes[..bytes.len() * 2 / 3]));
    assert!(cut.contains("cut off or damaged") && cut.contains("index"), "{cut}");

    let prose = text(&file("prose.mp4", b"this is no clip at all, only words\n"));
    assert!(prose.contains("not a video"), "{prose}");
    let empty = text(&file("empty.mp4", b""));
    assert!(empty.contains("not a video"), "{empty}");
    let gone = text(&folder.path().join("gone.mp4"));
    assert!(gone.contains("gone.mp4"), "{gone}");
    let Some((_sound, sound)) = made("sound.m4a", &["-f", "lavfi", "-i", "sine=duration=1"]) else {
        return;
    };
    let sound = text(&sound);
    assert!(sound.contains("no moving picture"), "{sound}");
    let Some((_still, still)) = made("still.png", &with_pictures(&["-frames:v", "1"])) else {
        return;
    };
    let still = text(&still);
    assert!(still.contains("not a video"), "{still}");
}

#[test]
fn a_name_that_looks_like_an_option_or_an_address_is_only_a_name() {
    let Some((folder, path)) = made("a.mp4", &with_pictures(&["-c:v", "libx264"])) else {
        return;
    };
    for name in ["-y.mp4", "a:b 'c' %d.mp4"] {
        let odd = folder.path().join(name);
        std::fs::copy(&path, &odd).unwrap();
        assert_eq!(plain(&odd).unwrap().recording.frames(), 30, "{name}");
    }
}

#[test]
fn lost_frames_are_gaps_and_the_work_can_be_watched_and_stopped() {
    let Some((_folder, path)) = made("a.mp4", &with_pictures(&["-c:v", "libx264"])) else {
        return;
    };
    let heard = Arc::new(Mutex::new(Vec::new()));
    let ear = Arc::clone(&heard);
    let watch = Watch::default().hearing(move |progress| ear.lock().unwrap().push(progress));
    let mut model = StandIn { lost: vec![10], ..StandIn::default() };
    let reading = read_clip_with(&path, &mut model, &ClipOptions::default(), &watch).unwrap();
    assert_eq!(reading.lost_frames, 1);
    let gap = |r: &crate::motion::Recording, f| r.at(f, crate::motion::Joint::Nose).is_none();
    assert!(gap(&reading.recording, 10) && gap(&reading.picture, 10));
    assert!(!gap(&reading.recording, 9) && !gap(&reading.recording, 11));
    let heard = heard.lock().unwrap();
    let frame = |done| Progress { stage: Stage::Frames, done, of: 30 };
    assert_eq!(*heard, (1..=30).map(frame).collect::<Vec<_>>());

    let seen = Arc::new(Mutex::new(0));
    let ear = Arc::clone(&seen);
    let watch = Watch::default();
    let stop = watch.clone();
    let watch = watch.hearing(move |progress| {
        *ear.lock().unwrap() = progress.done;
        if progress.done == 5 {
            stop.stop();
        }
    });
    let mut model = StandIn::default();
    let error = read_clip_with(&path, &mut model, &ClipOptions::default(), &watch).unwrap_err();
    assert!(matches!(error, ClipError::Stopped { .. }) && is_stop(&error), "{error}");
    assert_eq!((*seen.lock().unwrap(), model.calls < 7), (5, true));
}

/// A decoder that gives nothing, as one does that has far to go to the first picture asked for: here
/// it waits for a pipe into which nobody writes.
#[cfg(unix)]
#[test]
fn waiting_for_a_command_ends_when_the_work_is_stopped() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("clip.mp4");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let cut = Cut { frame: 0, area_px: None, height_px: 32 };
    let watch = Watch::default();
    let stop = watch.clone();
    let begun = std::time::Instant::now();
    let stopper = std::thread::spawn(move || {
        std::thread::sleep(std::time::Duration::from_millis(100));
        stop.stop();
    });
    match stills(&pipe, &[cut], &watch) {
        Err(ClipError::NoDecoder { .. }) => eprintln!("skipped: ffmpeg is absent"),
        Err(error) => assert!(is_stop(&error), "{error}"),
        Ok(cut) => panic!("{cut:?} came out of nothing"),
    }
    stopper.join().unwrap();
    let took = begun.elapsed();
    assert!(took.as_millis() < 2000, "{took:?}");
}

#[test]
fn pictures_are_cut_at_the_frames_asked_for() {
    // Each frame is one grey, brighter by 8 than the one before.
    let grey = "nullsrc=size=96x64:rate=30:duration=1,geq=lum='8*N':cb=128:cr=128";
    let arguments = ["-f", "lavfi", "-i", grey, "-c:v", "libx264", "-qp", "0"];
    let Some((_folder, path)) = made("grey.mkv", &arguments) else {
        return;
    };
    let reading = plain(&path).unwrap();
    let whole = |frame| Cut { frame, area_px: None, height_px: 32 };
    let part = Cut { area_px: Some([60.0, 40.0, 48.0, 32.0]), ..whole(5) };
    let cut = stills(&path, &[whole(20), whole(5), whole(99), part], &Watch::default()).unwrap();
    assert!(cut[2].is_none(), "there is no frame 99");
    let cut: Vec<_> = cut.into_iter().flatten().collect();
    assert_eq!(cut.iter().map(|s| s.frame).collect::<Vec<_>>(), [20, 5, 5]);
    assert_eq!(cut[0].area_px, [0.0, 0.0, 96.0, 64.0]);
    // Moved inwards from the picture's edge.
    assert_eq!(cut[2].area_px, [48.0, 32.0, 48.0, 32.0]);
    for still in &cut {
        assert_eq!(still.size_px, (48, 32));
        assert_eq!(&still.jpeg[..2], [0xff, 0xd8]);
        // The picture read back is as bright as that frame was made.
        let jpeg = path.with_file_name(format!("{}.jpg", still.frame));
        std::fs::write(&jpeg, &still.jpeg).unwrap();
        let back = Decoder::start(&jpeg, None).unwrap().next(&Watch::default()).unwrap().unwrap();
        let want = (8.0 * still.frame as f64 - 16.0) * 255.0 / 219.0;
        let found = f64::from(back.rgb[back.rgb.len() / 2]);
        assert!((found - want).abs() < 6.0, "frame {}: {found}, {want}", still.frame);
    }
    let kept = Kept::of(&reading);
    let svg = cut[0].svg(&kept, 5, "a < b");
    assert!(svg.contains("<title>a &lt; b</title>") && svg.contains("base64,/9j"), "{svg}");
    // The stand-in's joints are all in the middle of the picture.
    assert!(svg.contains("M24.0 16.0L24.0 16.0"), "{svg}");
    // Seen through the part, the middle lies at its upper left corner.
    assert!(cut[2].svg(&kept, 5, "").contains("M0.0 0.0L0.0 0.0"));
}

/// Four real clips (`tests/fixtures/video/fetch.sh`): no frame of one is a cut, and of two joined the
/// networks follow the player again in the first frame after it; nothing is read beside the cut.
#[test]
fn a_cut_between_real_clips_is_seen_and_none_within_them() {
    use super::super::read::read_installed;
    let names = ["cam01.mp4", "cam02.mp4"];
    let Some(clips) = names.iter().map(|name| clip(name)).collect::<Option<Vec<_>>>() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let joined = folder.path().join("joined.mp4");
    let filter = "[0:v]trim=end_frame=12,setpts=PTS-STARTPTS,scale=540:960,setsar=1[a];\
                  [1:v]trim=end_frame=12,setpts=PTS-STARTPTS,scale=540:960,setsar=1[b];\
                  [a][b]concat=n=2:v=1[out]";
    let made = Command::new("ffmpeg")
        .args(["-v", "error", "-y", "-i"])
        .arg(&clips[0])
        .arg("-i")
        .arg(&clips[1])
        .args(["-filter_complex", filter, "-map", "[out]", "-c:v", "libx264"])
        .arg(&joined)
        .status()
        .unwrap();
    assert!(made.success());
    let Some(installed) = networks(ModelChoice::Full) else { return };
    let info = probe(&joined, &Watch::default()).unwrap();
    let times_s = info.times_s.clone();
    assert_eq!(times_s.len(), 24);
    let poses = follow(&joined, &installed, Person::Only, &times_s);
    assert!(poses.iter().all(Option::is_some), "{:?}", poses.iter().map(Option::is_some));
    let options = ClipOptions::default();
    let reading = read_installed(&joined, info, &installed, &options, &Watch::default()).unwrap();
    let told = &reading.recording.assumptions;
    let cuts = told.iter().filter(|one| one.why.starts_with("the film is cut at")).count();
    assert_eq!(cuts, 1, "{told:?}");
    let hip = |frame: usize| reading.recording.at(frame, crate::motion::Joint::LeftHip);
    assert!(hip(4).is_some() && hip(11).is_none() && hip(12).is_none() && hip(20).is_some());
}
