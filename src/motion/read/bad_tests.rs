//! Bad input: one clear error, never a panic, whatever is cut off or turned over.

use proptest::prelude::*;

use super::sample::{body, flat};
use super::*;
use crate::motion::write::{C3dStyle, c3d, keypoints_33, table, trc};

fn fails(bytes: &[u8]) -> String {
    match read_bytes(bytes, &ReadOptions::default()) {
        Ok(recording) => panic!("read as {}", recording.summary()),
        Err(error) => error.to_string(),
    }
}

fn depth_lines(frames: usize) -> String {
    (0..20 * frames).map(|n| format!("0.{} {}.5 2.0 1.0\n", n % 7, n % 3)).collect()
}

#[test]
fn nothing_and_nonsense() {
    assert_eq!(fails(b""), "holds nothing to read (0 bytes); export it again");
    assert!(fails(b"hello, coach").starts_with("the content fits no known layout (it starts with"));
    assert!(fails(&[7; 40]).starts_with("the content fits no known layout"));
    let missing = read(Path::new("no-such-file"), &ReadOptions::default()).expect_err("absent");
    assert!(missing.to_string().starts_with("no-such-file: cannot be read: "), "{missing}");
}

#[test]
fn text_and_nan_where_numbers_belong() {
    let text = table(&body(3, 50.0));
    let cell = text.lines().nth(4).and_then(|row| row.split(',').nth(1)).expect("a cell");
    for (put, want) in [
        ("abc", "line 5, column nose_x: expected a number, found \"abc\""),
        ("NaN", "line 5, column nose_x: expected a finite number, found NaN"),
        ("inf", "line 5, column nose_x: expected a finite number, found inf"),
        ("1e300", "line 5, column nose_x: the coordinate 1e300 is beyond 1e7"),
    ] {
        let error = fails(text.replacen(&format!(",{cell},"), &format!(",{put},"), 1).as_bytes());
        assert!(error.starts_with(want), "{error}");
    }
    assert!(
        fails(depth_lines(2).replacen("2.0", "two", 1).as_bytes()).starts_with("the content fits")
    );
    assert!(fails(b"[[NaN]]").starts_with("keypoint JSON, line 1: expected JSON"));
}

#[test]
fn labels_rows_and_times() {
    let text = table(&body(3, 50.0));
    let double = text.replace("right_toe_x", "left_toe_x");
    assert_eq!(
        fails(double.as_bytes()),
        "the label \"left_toe_x\" occurs twice; rename or remove one of them"
    );
    let unknown = text.replace("left_knee", "gizmo");
    let error = fails(unknown.as_bytes());
    assert!(error.contains("not found: left_knee (labels not understood: gizmo)"), "{error}");
    let ragged = text.trim_end().rsplit_once(',').expect("a comma").0;
    assert_eq!(
        fails(ragged.as_bytes()),
        "line 7: expected 52 fields, found 51; correct the row, or drop an incomplete last one"
    );
    let trim = ReadOptions { trim: true, ..ReadOptions::default() };
    assert_eq!(read_bytes(ragged.as_bytes(), &trim).expect("trimmed").frames(), 2);
    let back = text.replace("\n0.04,", "\n0.01,");
    assert!(fails(back.as_bytes()).starts_with("frame 2: time must increase, found 0.01 s after"));
    let leap = table(&body(4, 50.0)).replace("\n0.06,", "\n9000000,");
    let error = fails(leap.as_bytes());
    assert!(error.starts_with("4 frames are spread over 9000000 s, although most are"), "{error}");
    let header: String = text.lines().take(4).map(|line| format!("{line}\n")).collect();
    assert!(fails(header.as_bytes()).starts_with("the recording holds no frame"));
    let cut = depth_lines(3);
    let cut: String = cut.lines().take(47).map(|line| format!("{line}\n")).collect();
    assert_eq!(
        fails(cut.as_bytes()),
        "depth-20, line 47: a frame has 20 lines, the last one has only 7; export it again, or \
         drop the incomplete frame"
    );
}

#[test]
fn headers_that_promise_more() {
    let text = trc(&body(5, 50.0)).expect("writable");
    let more = text.replacen("\t5\t17\t", "\t900000000000\t17\t", 1);
    assert!(fails(more.as_bytes()).starts_with("trc: the header promises 900000000000 frames"));
    let bvh = include_str!("../../../tests/fixtures/motion/standing.bvh");
    let more = bvh.replace("Frames: 2", "Frames: 2000000000");
    assert!(fails(more.as_bytes()).starts_with("bvh: the header promises 2000000000 frames"));
    let bytes = c3d(&body(5, 50.0), &C3dStyle::default()).expect("writable");
    // The header's own counts, while the parameters stay true: word 2 points, word 5 last frame.
    let with = |at: usize, count: u16| {
        let mut more = bytes.clone();
        more[at..at + 2].copy_from_slice(&count.to_le_bytes());
        more
    };
    for last in [5000, u16::MAX] {
        let error = fails(&with(8, last));
        assert!(error.starts_with(&format!("c3d: the header promises {last} frames")), "{error}");
    }
    let trim = ReadOptions { trim: true, ..ReadOptions::default() };
    assert_eq!(read_bytes(&with(8, 5000), &trim).expect("trimmed").frames(), 5);
    let error = fails(&with(2, u16::MAX));
    let rule = "c3d, header: expected no more points than POINT:USED counts, found 65535 beside ";
    assert!(error.starts_with(rule), "{error}");
    for cut in 0..bytes.len() {
        // Blocks are padded: only the padding after the last frame may go.
        if read_bytes(&bytes[..cut], &ReadOptions::default()).is_ok() {
            assert!(bytes[cut..].iter().all(|&byte| byte == 0), "cut at {cut}");
        }
    }
}

/// One valid file of each layout.
fn seeds() -> Vec<Vec<u8>> {
    let (space, picture) = (body(4, 50.0), flat(4, 50.0));
    let mut seeds: Vec<Vec<u8>> = [Processor::Intel, Processor::Dec, Processor::Sgi]
        .into_iter()
        .flat_map(|processor| {
            [false, true].map(|integers| {
                let subject = integers.then(|| "Ann".to_owned());
                let style = C3dStyle { processor, integers, subject, analog: 3 };
                c3d(&space, &style).expect("writable")
            })
        })
        .collect();
    seeds.extend([
        trc(&space).expect("writable").into_bytes(),
        table(&space).into_bytes(),
        table(&picture).into_bytes(),
        keypoints_33(&space).into_bytes(),
        keypoints_33(&picture).into_bytes(),
        depth_lines(3).into_bytes(),
        include_bytes!("../../../tests/fixtures/motion/standing.bvh").to_vec(),
    ]);
    seeds
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), ..ProptestConfig::default() })]

    /// Bytes set, cut out, doubled, or the end cut off: an answer or an error, and every answer
    /// keeps the promises of `Recording`.
    #[test]
    fn damaged_files_never_panic(
        seed in 0..13_usize,
        edits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..5_u8), 0..12),
        keep in prop_oneof![Just(1.0), 0.0..1.0_f64],
        trim: bool,
    ) {
        let mut bytes = seeds().swap_remove(seed);
        bytes.truncate((bytes.len() as f64 * keep) as usize);
        for (at, value, what) in edits {
            if bytes.is_empty() {
                break;
            }
            let at = at.index(bytes.len());
            match what {
                0 => bytes[at] = value,
                1 => drop(bytes.remove(at)),
                2 => bytes.insert(at, value),
                // Headers are where it hurts: the same edit near the start.
                3 => { let at = at % 700.min(bytes.len()); bytes[at] = value; }
                _ => bytes[at] = b"0-9eE.\t\n,[]{}\"N"[usize::from(value) % 15],
            }
        }
        let options = ReadOptions { trim, ..ReadOptions::default() };
        if let Ok(recording) = read_bytes(&bytes, &options) {
            prop_assert_eq!(recording.positions.len(), recording.frames() * recording.joints.len());
            prop_assert!(recording.times_s.windows(2).all(|pair| pair[0] < pair[1]));
            for p in &recording.positions {
                let gap = p.iter().all(|x| x.is_nan());
                prop_assert!(gap || p.iter().all(|x| x.is_finite()), "{:?}", p);
            }
        }
    }
}

/// `PRECEDENT_FUZZ_CASES` for a long run.
fn cases() -> u32 {
    std::env::var("PRECEDENT_FUZZ_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(512)
}
