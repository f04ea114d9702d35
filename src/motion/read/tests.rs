//! Readers against the recordings others measured (read from ../shared, never copied).

use std::path::PathBuf;

use super::*;
use crate::motion::{Dimensions, Joint, Unit};

/// The shared recordings, or `None` (said on stderr) where they are absent.
pub(super) fn shared(name: &str) -> Option<PathBuf> {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let path = root.join("../shared/recordings").join(name);
    if path.exists() {
        return Some(path);
    }
    crate::skip::skipped(format!("{name} is not here"));
    None
}

#[track_caller]
fn assert_close(got: Option<[f64; 3]>, want: [f64; 3], tolerance: f64) {
    let got = got.expect("not a gap");
    for i in 0..3 {
        assert!((got[i] - want[i]).abs() <= tolerance, "got {got:?}, want {want:?}");
    }
}

fn taken<'a>(recording: &'a Recording, what: &str) -> Option<&'a str> {
    let assumption = recording.assumptions.iter().find(|a| a.what == what)?;
    Some(&assumption.taken)
}

/// Values as PyPI `ezc3d` 1.7.2 reads them (wrist: midpoint of its two markers, neck likewise).
#[test]
fn real_markers_as_an_independent_reader_has_them() {
    let Some(path) = shared("marker-serves-50hz.c3d") else { return };
    let recording = read(&path, &ReadOptions::default()).expect("a sound file");
    assert_eq!((recording.frames(), recording.rate_hz), (1092, 50.0));
    assert_eq!((recording.unit, recording.dimensions), (Unit::Metre, Dimensions::Three));
    assert_eq!((recording.format.as_str(), recording.capture), ("c3d", Capture::Markers));
    assert_eq!(recording.subject.as_deref().map(str::len), Some(7));
    assert_eq!(taken(&recording, "up"), Some("z"));
    let mid = |a: [f64; 3], b: [f64; 3]| [0, 1, 2].map(|i| f64::midpoint(a[i], b[i]));
    let single = 1e-12; // the file holds f32, read exactly
    assert_close(
        recording.at(0, Joint::LeftWrist),
        mid(
            [-0.230_173_349_380_493_16, 1.914_551_377_296_447_8, 0.845_159_590_244_293_2],
            [-0.145_211_696_624_755_86, 1.955_001_115_798_950_2, 0.838_288_486_003_875_7],
        ),
        single,
    );
    assert_close(
        recording.at(383, Joint::RightToe),
        [-0.769_984_543_323_516_8, 1.139_810_919_761_657_7, 0.144_694_179_296_493_53],
        single,
    );
    assert_close(
        recording.at(744, Joint::RightHand),
        [-0.641_823_112_964_630_1, 0.752_774_953_842_163_1, 1.648_051_261_901_855_5],
        single,
    );
    assert_close(
        recording.at(1091, Joint::LeftHeel),
        [-0.303_255_528_211_593_63, 1.888_520_479_202_270_5, 0.005_650_862_120_091_915],
        single,
    );
    assert_close(
        recording.at(560, Joint::Neck),
        mid(
            [-0.296_792_507_171_630_86, 1.421_695_113_182_067_9, 1.413_131_356_239_318_8],
            [-0.287_388_414_144_516, 1.297_859_549_522_4, 1.281_136_155_128_479],
        ),
        single,
    );
    // 39 markers make these; none of them ever missing.
    assert_eq!(recording.joints.len(), 20);
    assert!(recording.positions.iter().flatten().all(|x| x.is_finite()));
}

#[test]
fn depth_sensor_tables_keep_the_body_whole() {
    let Some(path) = shared("depth-sensor/serve_p01_t01.txt") else { return };
    let recording = read(&path, &ReadOptions::default()).expect("a sound file");
    assert_eq!((recording.frames(), recording.rate_hz), (43, 15.0));
    assert_eq!(recording.capture, Capture::DepthSensor);
    assert_eq!(recording.joints.len(), 18);
    assert_eq!(taken(&recording, "rate"), Some("15 Hz"));
    // First line of the file: shoulder A, x y z = -0.316767 0.371508 2.612684.
    assert_close(recording.at(0, Joint::RightShoulder), [-0.316_767, 2.612_684, 0.371_508], 1e-12);
    let sides = recording.assumptions.iter().find(|a| a.what == "sides").expect("said");
    assert!(sides.why.contains("100 % of the frames"), "{}", sides.why);

    let other = ReadOptions { mirror: true, ..ReadOptions::default() };
    let other = read(&path, &other).expect("the same file");
    assert_close(other.at(0, Joint::LeftShoulder), [0.316_767, 2.612_684, 0.371_508], 1e-12);
    assert_eq!(other.mirrored().positions, recording.positions);
}

#[test]
fn every_shared_depth_recording_is_read() {
    let Some(folder) = shared("depth-sensor") else { return };
    let mut read_so_far = 0;
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        let recording = read(&path, &ReadOptions::default());
        let recording = recording.unwrap_or_else(|error| panic!("{error}"));
        assert!(recording.frames() >= 13, "{}", path.display());
        read_so_far += 1;
    }
    assert_eq!(read_so_far, 23);
}

#[test]
fn a_cut_off_file_says_what_it_promised() {
    let Some(path) = shared("marker-serves-50hz.c3d") else { return };
    let bytes = std::fs::read(path).expect("readable");
    let error = read_bytes(&bytes[..400_000], &ReadOptions::default()).expect_err("cut off");
    assert_eq!(
        error.to_string(),
        "c3d: the header promises 1092 frames, the file holds 635 complete ones; \
         export it again, or keep the complete frames"
    );
    let trim = ReadOptions { trim: true, ..ReadOptions::default() };
    let recording = read_bytes(&bytes[..400_000], &trim).expect("trimmed");
    assert_eq!(recording.frames(), 635);
    assert_eq!(taken(&recording, "frames"), Some("the 635 complete ones"));
}
