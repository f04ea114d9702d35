//! The spoken review, read back by `ffprobe` and `ffmpeg`. Planted: which second of a made clip has
//! which colour, and when a tone is heard.

use std::path::{Path, PathBuf};
use std::process::Command;

use precedent::send::{Step, spoken};
use precedent::video::{Encoder, Frame, NewClip, voice_length_s};
use precedent::work::{Watch, is_stop};

fn ffmpeg(args: &[&str], to: &Path) {
    let status = Command::new("ffmpeg").args(["-v", "error", "-y"]).args(args).arg(to).status();
    assert!(status.unwrap().success(), "{args:?}");
}

/// A standing clip, one second each of red, green and blue, 30 frames a second.
fn clip(folder: &Path) -> PathBuf {
    let place = folder.join("clip.mp4");
    let colours = "color=red:s=288x512:r=30:d=1[a];color=lime:s=288x512:r=30:d=1[b];\
        color=blue:s=288x512:r=30:d=1[c];[a][b][c]concat=n=3";
    ffmpeg(&["-filter_complex", colours, "-pix_fmt", "yuv420p"], &place);
    place
}

/// Four seconds of silence with a tone from 2 to 3 s.
fn voice(folder: &Path) -> PathBuf {
    let place = folder.join("voice.webm");
    let tone = "aevalsrc='if(between(t,2,3),0.5*sin(2*PI*440*t),0)':d=4:s=48000";
    ffmpeg(&["-f", "lavfi", "-i", tone, "-c:a", "libopus"], &place);
    place
}

/// Red, green and blue in the middle of the picture at a time, and the ring's place.
fn colours(clip: &Path, at_s: f64) -> ([u8; 3], [u8; 3]) {
    let output = Command::new("ffmpeg")
        .args(["-v", "error", "-ss", &at_s.to_string(), "-i"])
        .arg(clip)
        .args(["-frames:v", "1", "-f", "rawvideo", "-pix_fmt", "rgb24", "-"])
        .output()
        .unwrap();
    assert_eq!(output.stdout.len(), 720 * 1280 * 3, "at {at_s} s");
    let at = |x: usize, y: usize| {
        let from = (y * 720 + x) * 3;
        [output.stdout[from], output.stdout[from + 1], output.stdout[from + 2]]
    };
    // The clip's (144, 256) and (184, 256), 2.5 times as large.
    (at(360, 640), at(460, 640))
}

/// Mean volume of a stretch, dB.
fn volume(clip: &Path, from_s: f64, to_s: f64) -> f64 {
    let output = Command::new("ffmpeg")
        .args(["-i"])
        .arg(clip)
        .args(["-af", &format!("atrim={from_s}:{to_s},volumedetect"), "-vn", "-f", "null", "-"])
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let (_, rest) = said.split_once("mean_volume: ").unwrap_or_else(|| panic!("{said}"));
    rest.split(' ').next().unwrap().parse().unwrap()
}

const STEPS: &str = r#"[
    {"at_s": 0, "do": {"play": {"speed": 1}}},
    {"at_s": 1.5, "do": {"frame": 75}},
    {"at_s": 2, "do": {"draw": {"kind": "ring", "points": [[144, 256], [184, 256]]}}},
    {"at_s": 3, "do": {"frame": 10}},
    {"at_s": 3.2, "do": {"draw": {"kind": "words", "at": null, "text": "legs first"}}}
]"#;

#[test]
fn voice_and_picture_come_when_they_were_planted() {
    let folder = tempfile::tempdir().unwrap();
    let (clip, voice) = (clip(folder.path()), voice(folder.path()));
    let steps = Step::parse(STEPS).unwrap();
    let bytes = spoken(&clip, &steps, &voice, &Watch::default()).unwrap();
    // 25 MB for three minutes.
    assert!(bytes.len() < 25_000_000 * 4 / 180, "{} bytes", bytes.len());
    let made = folder.path().join("made.mp4");
    std::fs::write(&made, &bytes).unwrap();
    let entries = "stream=codec_name,width,height,pix_fmt:format=duration";
    let output = Command::new("ffprobe")
        .args(["-v", "error", "-show_entries", entries, "-of", "csv=p=0"])
        .arg(&made)
        .output()
        .unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("h264,720,1280,yuv420p") && said.contains("aac"), "{said}");
    let long_s: f64 = said.lines().last().unwrap().parse().unwrap();
    assert!((long_s - 4.0).abs() < 0.1, "{said}");
    let is = |colour: [u8; 3], which: usize| {
        (0..3).all(|k| if k == which { colour[k] > 200 } else { colour[k] < 60 })
    };
    for (at_s, which) in [(0.5, 0), (1.25, 1), (1.75, 2), (2.5, 2), (3.5, 0)] {
        let (middle, _) = colours(&made, at_s);
        assert!(is(middle, which), "at {at_s} s: {middle:?}");
    }
    // The ring in ochre, as long as it stands there.
    let ochre = |at_s: f64| {
        colours(&made, at_s).1.iter().zip([0x90, 0x63, 0x1a]).all(|(&a, b)| a.abs_diff(b) < 40)
    };
    assert_eq!([1.75, 2.5, 3.5].map(ochre), [false, true, false]);
    assert!(volume(&made, 2.1, 2.9) > -20.0);
    for silent in [(0.2, 1.8), (3.2, 3.9)] {
        assert!(volume(&made, silent.0, silent.1) < -50.0, "{silent:?}");
    }
}

#[test]
fn what_cannot_be_heard_or_is_stopped_gives_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (clip, voice) = (clip(folder.path()), voice(folder.path()));
    let steps = Step::parse(STEPS).unwrap();
    let error = spoken(&clip, &steps, &clip, &Watch::default()).unwrap_err().to_string();
    assert!(error.contains("clip.mp4: no voice in it: "), "{error}");
    let watch = Watch::default();
    let stop = watch.clone();
    let watch = watch.hearing(move |progress| {
        if progress.done == 20 {
            stop.stop();
        }
    });
    let error = spoken(&clip, &steps, &voice, &watch).unwrap_err();
    assert!(is_stop(&error), "{error}");
}

/// Lists that name a voice are none themselves, whatever they are called: neither the first nor the second
/// reader opens what they name.
#[test]
fn a_playlist_in_disguise_is_no_voice() {
    let folder = tempfile::tempdir().unwrap();
    let (clip, _) = (clip(folder.path()), voice(folder.path()));
    let secret = folder.path().join("secret.ts");
    ffmpeg(&["-f", "lavfi", "-i", "sine=frequency=300:duration=1", "-c:a", "aac"], &secret);
    let list = format!(
        "#EXTM3U\n#EXT-X-TARGETDURATION:5\n#EXTINF:5,\n{}\n#EXT-X-ENDLIST\n",
        secret.display()
    );
    for (name, content) in
        [("list.wav", &*list), ("parts.webm", "ffconcat version 1.0\nfile voice.webm\n")]
    {
        let listed = folder.path().join(name);
        std::fs::write(&listed, content).unwrap();
        let refused = voice_length_s(&listed, &Watch::default()).unwrap_err().to_string();
        assert!(refused.contains(name) && refused.contains("not that of a voice"), "{refused}");
        let steps = Step::parse(STEPS).unwrap();
        spoken(&clip, &steps, &listed, &Watch::default()).unwrap_err();
        // What makes the clip is held to the same.
        let to = folder.path().join("made.mp4");
        let new = NewClip { size_px: (64, 64), rate_hz: 30.0, voice: Some(listed) };
        let mut encoder = Encoder::start(&new, &to).unwrap();
        let picture = Frame { width: 64, height: 64, rgb: vec![0; 64 * 64 * 3] };
        let pushed = encoder.push(&picture, &Watch::default());
        assert!(pushed.and_then(|()| encoder.finish(&Watch::default())).is_err(), "{name}");
    }
}
