//! Write, read back, compare: every layout and every form of it, on an invented body.

use super::sample::{assert_same, body, erase, flat};
use super::*;
use crate::motion::write::{C3dStyle, c3d, keypoints_33, table, trc};
use crate::motion::{Dimensions, Joint, Recording, Unit};

fn plain(bytes: &[u8]) -> Recording {
    read_bytes(bytes, &ReadOptions::default()).unwrap_or_else(|error| panic!("{error}"))
}

fn fails(bytes: &[u8], options: &ReadOptions) -> String {
    match read_bytes(bytes, options) {
        Ok(recording) => panic!("read as {}", recording.summary()),
        Err(error) => error.to_string(),
    }
}

fn taken<'a>(recording: &'a Recording, what: &str) -> Option<&'a str> {
    recording.assumptions.iter().find(|a| a.what == what).map(|a| a.taken.as_str())
}

#[test]
fn c3d_in_every_storage() {
    let mut want = body(9, 120.0);
    erase(&mut want, 3, Joint::LeftWrist);
    for processor in [Processor::Intel, Processor::Dec, Processor::Sgi] {
        for integers in [false, true] {
            for analog in [0, 7] {
                let style = C3dStyle { processor, integers, analog, ..C3dStyle::default() };
                let bytes = c3d(&want, &style).expect("writable");
                // Integers: half a step of 1.65 m / 32000.
                assert_same(&plain(&bytes), &want, if integers { 2.6e-5 } else { 2e-7 });
            }
        }
    }
}

#[test]
fn c3d_longer_than_its_16_bit_count() {
    let want = body(65_540, 1000.0);
    let bytes = c3d(&want, &C3dStyle { integers: true, ..C3dStyle::default() }).expect("writable");
    assert_eq!(plain(&bytes).frames(), 65_540);
}

/// Two files' points side by side in one: two subjects.
#[test]
fn c3d_subjects_are_told_apart() {
    let ours = body(4, 50.0);
    let text = table(&ours);
    // Two subjects in one table, told apart by the same prefixes.
    let line = |row: &str| {
        let fields: Vec<&str> = row.split(',').collect();
        let named = |name: &str| {
            let of = |field: &&str| {
                if field.ends_with(['x', 'y', 'z']) {
                    format!("{name}:{field}")
                } else {
                    (*field).to_owned()
                }
            };
            fields[1..].iter().map(of).collect::<Vec<_>>().join(",")
        };
        format!("{},{},{}\n", fields[0], named("Ann"), named("Ben"))
    };
    let double: String = text
        .lines()
        .map(|row| if row.starts_with('#') { format!("{row}\n") } else { line(row) })
        .collect();
    assert_eq!(
        fails(double.as_bytes(), &ReadOptions::default()),
        "the file holds several subjects; choose one (Ann, Ben)"
    );
    let ben = ReadOptions { subject: Some("Ben".to_owned()), ..ReadOptions::default() };
    let got = read_bytes(double.as_bytes(), &ben).expect("chosen");
    assert_eq!(got.subject.as_deref(), Some("Ben"));
    assert_same(&got, &ours, 1e-12);
    let eve = ReadOptions { subject: Some("Eve".to_owned()), ..ReadOptions::default() };
    assert_eq!(
        fails(double.as_bytes(), &eve),
        "the file holds no subject \"Eve\"; choose one (Ann, Ben)"
    );
    // Ben without an ankle is no body: Ann is chosen and it is said.
    let lame = double.replace("Ben:left_ankle", "Ben:prop");
    let got = plain(lame.as_bytes());
    assert_eq!((got.subject.as_deref(), taken(&got, "subject")), (Some("Ann"), Some("Ann")));

    // The same with an underscore; a name may hold one itself, a joint's name does.
    let spoken = double.replace("Ann:", "ann_").replace("Ben:", "ben_b_");
    let ben = ReadOptions { subject: Some("ben_b".to_owned()), ..ReadOptions::default() };
    let got = read_bytes(spoken.as_bytes(), &ben).expect("chosen");
    assert_eq!(got.subject.as_deref(), Some("ben_b"));
    assert_same(&got, &ours, 1e-12);
    assert_eq!(
        fails(spoken.as_bytes(), &ReadOptions::default()),
        "the file holds several subjects; choose one (ann, ben_b)"
    );
    let alone = text.replace(",left_", ",ann_left_").replace(",right_", ",ann_right_");
    let got = plain(alone.as_bytes());
    assert_eq!(got.subject.as_deref(), Some("ann"));
    // One odd label is no subject.
    let odd = plain(text.replace(",left_toe", ",x_left_toe").as_bytes());
    assert_eq!(odd.subject, None);

    let style = C3dStyle { subject: Some("Ann".to_owned()), ..C3dStyle::default() };
    let got = plain(&c3d(&ours, &style).expect("writable"));
    assert_eq!(got.subject.as_deref(), Some("Ann"));
}

#[test]
fn trc_and_tables_come_back() {
    let mut want = body(12, 240.0);
    erase(&mut want, 11, Joint::RightToe);
    let text = trc(&want).expect("writable");
    assert_same(&plain(text.as_bytes()), &want, 1e-12);
    // Some programs strip the blanks at the end of a row, others add one.
    let got = plain(text.replace('\n', "\t\n").as_bytes());
    assert_same(&got, &want, 1e-12);

    want.confidence = Some((0..want.positions.len()).map(|i| (i % 5) as f32 / 4.0).collect());
    let text = table(&want);
    let got = plain(text.as_bytes());
    assert_same(&got, &want, 1e-12);
    assert_eq!(got.confidence, want.confidence);
    for delimiter in [";", "\t", ", "] {
        assert_same(&plain(text.replace(',', delimiter).as_bytes()), &want, 1e-12);
    }

    let flat = flat(6, 30.0);
    let got = plain(table(&flat).as_bytes());
    assert_same(&got, &flat, 1e-9);
    assert_eq!(got.capture, Capture::OneCameraFlat);
}

#[test]
fn a_table_without_header_needs_the_joint_order() {
    let want = body(5, 60.0);
    let text: String = table(&want)
        .lines()
        .filter(|line| !line.starts_with(['#', 't']))
        .map(|line| line.replace(',', " ") + "\n")
        .collect();
    assert!(
        fails(text.as_bytes(), &ReadOptions::default())
            .starts_with("the table has no header and 52 columns; write a first line such as")
    );
    let order = ReadOptions { joint_order: Some(want.joints.clone()), ..ReadOptions::default() };
    let got = read_bytes(text.as_bytes(), &order).expect("declared");
    assert_same(&got, &want, 1e-12);
    assert_eq!((taken(&got, "up"), taken(&got, "unit")), (Some("z"), Some("m")));
    let short = ReadOptions { joint_order: Some(want.joints[1..].to_vec()), ..order };
    assert!(fails(text.as_bytes(), &short).starts_with("52 columns do not divide into 16 joints"));
}

#[test]
fn axes_and_units_are_inferred_and_can_be_overruled() {
    let want = body(5, 60.0);
    let text = table(&want);
    let bare: String =
        text.lines().filter(|line| !line.starts_with('#')).map(|l| format!("{l}\n")).collect();
    for (up, turn) in [
        ("y", (|[x, y, z]: [f64; 3]| [x, z, -y]) as fn([f64; 3]) -> [f64; 3]),
        ("x", |[x, y, z]| [z, x, y]),
        ("-z", |[x, y, z]| [x, -y, -z]),
        ("-y", |[x, y, z]| [x, -z, y]),
        ("-x", |[x, y, z]| [-z, y, x]),
    ] {
        let mut turned = want.clone();
        for p in &mut turned.positions {
            *p = turn(p.map(|x| 1000.0 * x));
        }
        let text = table(&turned);
        let text: String =
            text.lines().filter(|line| !line.starts_with('#')).map(|l| format!("{l}\n")).collect();
        let got = plain(text.as_bytes());
        assert_eq!((taken(&got, "up"), taken(&got, "unit")), (Some(up), Some("mm")));
        assert_same(&got, &want, 1e-12);
    }
    let told = ReadOptions {
        unit: Some(SourceUnit::Centimetre),
        up: Some(Up::Z),
        rate_hz: Some(30.0),
        ..ReadOptions::default()
    };
    let got = read_bytes(bare.as_bytes(), &told).expect("told");
    assert!(taken(&got, "unit").is_some(), "a body of 1.6 cm is worth a word");
    assert_eq!(
        (taken(&got, "rate"), got.rate_hz, got.times_s[1]),
        (Some("30 Hz"), 30.0, 1.0 / 30.0)
    );
    assert!((got.positions[0][2] - 0.01 * want.positions[0][2]).abs() < 1e-12);
    // A lying body has no upright axis.
    let mut lying = want;
    for (i, p) in lying.positions.iter_mut().enumerate() {
        *p = [0.1 * (i % 3) as f64, 0.1 * (i % 5) as f64, 0.1 * (i % 7) as f64];
    }
    let text = table(&lying).replace("# up: z\n", "");
    assert!(fails(text.as_bytes(), &ReadOptions::default()).ends_with("say which: x, y or z"));
}

#[test]
fn sides_named_the_wrong_way_round_are_noticed() {
    let mut turned = body(5, 60.0);
    assert_eq!(taken(&plain(table(&turned).as_bytes()), "sides"), None);
    for joint in &mut turned.joints {
        *joint = joint.mirrored();
    }
    let text = table(&turned);
    assert_eq!(taken(&plain(text.as_bytes()), "sides"), Some("left and right as named"));
}

/// The points of one frame in a layout's order, as [x, y (down), score].
fn picture_points(recording: &Recording, frame: usize, points: usize) -> Vec<[f64; 3]> {
    use Joint::*;
    let order: Vec<Option<Joint>> = match points {
        17 => [
            Nose,
            LeftEye,
            RightEye,
            LeftEar,
            RightEar,
            LeftShoulder,
            RightShoulder,
            LeftElbow,
            RightElbow,
            LeftWrist,
            RightWrist,
            LeftHip,
            RightHip,
            LeftKnee,
            RightKnee,
            LeftAnkle,
            RightAnkle,
        ]
        .map(Some)
        .to_vec(),
        25 => vec![
            Some(Nose),
            Some(Neck),
            Some(RightShoulder),
            Some(RightElbow),
            Some(RightWrist),
            Some(LeftShoulder),
            Some(LeftElbow),
            Some(LeftWrist),
            None,
            Some(RightHip),
            Some(RightKnee),
            Some(RightAnkle),
            Some(LeftHip),
            Some(LeftKnee),
            Some(LeftAnkle),
            Some(RightEye),
            Some(LeftEye),
            Some(RightEar),
            Some(LeftEar),
            Some(LeftToe),
            None,
            Some(LeftHeel),
            Some(RightToe),
            None,
            Some(RightHeel),
        ],
        _ => joints_33().to_vec(),
    };
    order
        .into_iter()
        .map(|joint| match joint.and_then(|joint| recording.at(frame, joint)) {
            Some([x, _, z]) => [x, -z, 0.75],
            None => [0.0; 3],
        })
        .collect()
}

/// What the layout keeps of the recording.
fn kept(recording: &Recording, points: usize) -> Recording {
    let feet = [Joint::LeftHeel, Joint::RightHeel, Joint::LeftToe, Joint::RightToe];
    let mut kept = recording.clone();
    let width = recording.joints.len();
    let columns: Vec<usize> =
        (0..width).filter(|&j| points > 17 || !feet.contains(&recording.joints[j])).collect();
    kept.joints = columns.iter().map(|&j| recording.joints[j]).collect();
    kept.positions = raw::pick(&recording.positions, width, &columns);
    kept
}

#[test]
fn keypoints_in_every_form() {
    let mut all = flat(6, 30.0);
    erase(&mut all, 2, Joint::LeftWrist);
    for points in [17, 25, 33] {
        let want = kept(&all, points);
        let frame = |f: usize| picture_points(&all, f, points);
        let list = |f| serde_json::json!(frame(f));
        let flat = |f| serde_json::json!(frame(f).concat());
        let objects = |f| {
            let of = |p: &[f64; 3]| serde_json::json!({ "x": p[0], "y": p[1], "score": p[2] });
            serde_json::Value::Array(frame(f).iter().map(of).collect())
        };
        let frames = |one: &dyn Fn(usize) -> serde_json::Value| {
            serde_json::Value::Array((0..6).map(one).collect())
        };
        let forms = [
            frames(&list),
            frames(&flat),
            frames(&objects),
            serde_json::json!({ "fps": 30, "frames": frames(&list) }),
            serde_json::json!({ "rate_hz": 30.0, "frames": frames(&|f| serde_json::json!({ "keypoints": flat(f) })) }),
            frames(&|f| serde_json::json!({ "people": [{ "pose_keypoints_2d": flat(f) }] })),
            frames(&|f| serde_json::json!({ "time": f as f64 / 30.0, "landmarks": objects(f) })),
            frames(
                &|f| serde_json::json!({ "image_id": f + 1, "keypoints": flat(f), "score": 0.9 }),
            ),
            frames(&|f| serde_json::json!([list(f)])),
        ];
        for form in forms {
            let options = ReadOptions { rate_hz: Some(30.0), ..ReadOptions::default() };
            let got = read_bytes(form.to_string().as_bytes(), &options)
                .unwrap_or_else(|error| panic!("{points} points: {error}\n{form}"));
            assert_eq!(got.format, format!("keypoints-{points}"));
            assert_same(&got, &want, 1e-9);
            assert_eq!(got.confidence.map(|c| c[0]), Some(0.75));
        }
        let no_rate = frames(&list).to_string();
        assert!(fails(no_rate.as_bytes(), &ReadOptions::default()).ends_with("holds; say it"));
    }
}

#[test]
fn keypoints_one_file_a_frame() {
    let folder = tempfile::tempdir().expect("a folder");
    let want = flat(12, 30.0);
    for frame in (0..12).filter(|&frame| frame != 7) {
        let people = serde_json::json!({ "people": [{ "pose_keypoints_2d":
            picture_points(&want, frame, 25).concat() }] });
        let name = folder.path().join(format!("clip2_{frame}_keypoints.json"));
        std::fs::write(name, people.to_string()).expect("written");
    }
    let options = ReadOptions { rate_hz: Some(30.0), ..ReadOptions::default() };
    let got = read(folder.path(), &options).expect("a folder of frames");
    let mut want = kept(&want, 25);
    for joint in want.joints.clone() {
        erase(&mut want, 7, joint);
    }
    assert_same(&got, &want, 1e-9);
    assert_eq!(taken(&got, "frames"), Some("1 gaps"));

    std::fs::write(folder.path().join("clip2_3_keypoints.json"), "{\"people\": 3}")
        .expect("written");
    let error = read(folder.path(), &options).expect_err("a broken frame").to_string();
    assert!(
        error.contains("clip2_3_keypoints.json: keypoint JSON, frame 3: expected people"),
        "{error}"
    );
    let empty = tempfile::tempdir().expect("a folder");
    let error = read(empty.path(), &options).expect_err("nothing").to_string();
    assert!(
        error.ends_with("holds nothing to read (no .json file in the folder); export it again")
    );
}

#[test]
fn keypoints_in_space_fractions_and_several_people() {
    let mut want = body(6, 50.0);
    erase(&mut want, 1, Joint::RightKnee);
    let got = plain(keypoints_33(&want).as_bytes());
    assert_same(&got, &want, 1e-9);
    assert_eq!(taken(&got, "up"), Some("-y"));
    let flat = flat(6, 50.0);
    assert_same(&plain(keypoints_33(&flat).as_bytes()), &flat, 1e-9);

    let fraction = |f: usize| -> Vec<[f64; 3]> {
        let points = picture_points(&flat, f, 33);
        points.iter().map(|p| [p[0] / 1000.0, p[1] / 2000.0, p[2]]).collect()
    };
    let frames: Vec<_> = (0..6).map(fraction).collect();
    let bare = serde_json::json!({ "fps": 50, "frames": frames }).to_string();
    assert!(fails(bare.as_bytes(), &ReadOptions::default()).ends_with("give its size in pixels"));
    let sized = ReadOptions { picture: Some([1000, 2000]), ..ReadOptions::default() };
    assert_same(&read_bytes(bare.as_bytes(), &sized).expect("sized"), &flat, 1e-9);
    let stated = bare.replace("\"fps\"", "\"width\":1000,\"height\":2000,\"fps\"");
    assert_same(&plain(stated.as_bytes()), &flat, 1e-9);

    let two: Vec<_> = (0..6)
        .map(|f| {
            let other: Vec<_> = fraction(f).iter().map(|p| [p[0] + 300.0, p[1], p[2]]).collect();
            let (a, b) = (other, picture_points(&flat, f, 33));
            serde_json::json!({ "people": [{ "keypoints": a }, { "keypoints": b }] })
        })
        .collect();
    let two = serde_json::json!({ "fps": 50, "frames": two }).to_string();
    assert_eq!(
        fails(two.as_bytes(), &ReadOptions::default()),
        "frame 0: there are 2 people in the picture; choose one, 1 to 2"
    );
    let second = ReadOptions { person: Some(1), ..ReadOptions::default() };
    assert_same(&read_bytes(two.as_bytes(), &second).expect("chosen"), &flat, 1e-9);
    let third = ReadOptions { person: Some(2), ..ReadOptions::default() };
    assert!(fails(two.as_bytes(), &third).contains("number 3 was asked for"));
    assert_eq!(flat.dimensions, Dimensions::Two);
    assert_eq!(flat.unit, Unit::Pixel);
}

/// A skeleton whose pose can be worked out by hand: standing, then the right arm raised by 90
/// degrees about the forward axis.
#[test]
fn bvh_places_joints_by_its_rotations() {
    let text = include_str!("../../../tests/fixtures/motion/standing.bvh");
    let recording = plain(text.as_bytes());
    assert_eq!((recording.frames(), recording.rate_hz), (2, 120.0));
    assert_eq!((taken(&recording, "up"), taken(&recording, "unit")), (Some("y"), Some("cm")));
    let close = |frame, joint, want: [f64; 3]| {
        let got = recording.at(frame, joint).expect("there");
        for i in 0..3 {
            assert!((got[i] - want[i]).abs() < 1e-9, "{joint:?}: {got:?}, want {want:?}");
        }
    };
    // File space: x to the body's left, y up, z forward; here x stays, y = -z, z = y. Metres.
    close(0, Joint::RightShoulder, [-0.2, 0.0, 1.4]);
    close(0, Joint::RightElbow, [-0.2, 0.0, 1.1]);
    close(0, Joint::RightWrist, [-0.2, 0.0, 0.85]);
    // Second frame: the root 10 cm to the left, the upper arm turned by -90 degrees about z:
    // what hung down (-y) now points to the right (-x), and the forearm with it.
    close(1, Joint::RightShoulder, [-0.1, 0.0, 1.4]);
    close(1, Joint::RightElbow, [-0.4, 0.0, 1.4]);
    close(1, Joint::RightWrist, [-0.65, 0.0, 1.4]);
    close(1, Joint::Head, [0.1, 0.0, 1.6]);
    close(1, Joint::LeftToe, [0.2, -0.15, 0.02]);
}
