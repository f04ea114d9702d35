//! Keypoint JSON in the 17-, 25- and 33-point layouts.
//!
//! A recording is an array of frames, `{"frames": [...]}`, one record per detection with an
//! `image_id`, or a folder with one file per frame. A frame is a list of points, a person that
//! holds one, or `{"people": [...]}`. Points are a flat list of numbers, lists `[x, y, score]`
//! or `[x, y, z, score]`, or objects `{x, y, z, visibility}`. `null`, and (0, 0) with score 0,
//! are gaps.
//!
//! Positions count as space where they are stored as such (a key with `world` or `3d`, four
//! numbers a point, a z beside points that are neither fractions of a picture nor pixels);
//! otherwise they lie in the picture, y down.

use serde_json::{Map, Value};

use super::ReadOptions;
use super::errors::{Place, ReadErrorKind, excerpt};
use super::layout::{Layout, SourceUnit, Up};
use super::raw::{Axes, Raw, Times, assumed, checked};
use crate::motion::{Assumption, Capture, Dimensions, Joint};

const fn joints_17() -> [Option<Joint>; 17] {
    use Joint::*;
    [
        Some(Nose),
        Some(LeftEye),
        Some(RightEye),
        Some(LeftEar),
        Some(RightEar),
        Some(LeftShoulder),
        Some(RightShoulder),
        Some(LeftElbow),
        Some(RightElbow),
        Some(LeftWrist),
        Some(RightWrist),
        Some(LeftHip),
        Some(RightHip),
        Some(LeftKnee),
        Some(RightKnee),
        Some(LeftAnkle),
        Some(RightAnkle),
    ]
}

const fn joints_25() -> [Option<Joint>; 25] {
    use Joint::*;
    [
        Some(Nose),
        Some(Neck),
        Some(RightShoulder),
        Some(RightElbow),
        Some(RightWrist),
        Some(LeftShoulder),
        Some(LeftElbow),
        Some(LeftWrist),
        None, // middle of the hips
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
        None, // left little toe
        Some(LeftHeel),
        Some(RightToe),
        None, // right little toe
        Some(RightHeel),
    ]
}

pub(in crate::motion) const fn joints_33() -> [Option<Joint>; 33] {
    use Joint::*;
    [
        Some(Nose),
        None, // inner corner of the eye
        Some(LeftEye),
        None,
        None,
        Some(RightEye),
        None,
        Some(LeftEar),
        Some(RightEar),
        None, // corners of the mouth
        None,
        Some(LeftShoulder),
        Some(RightShoulder),
        Some(LeftElbow),
        Some(RightElbow),
        Some(LeftWrist),
        Some(RightWrist),
        Some(LeftLittle),
        Some(RightLittle),
        Some(LeftIndex),
        Some(RightIndex),
        Some(LeftThumb),
        Some(RightThumb),
        Some(LeftHip),
        Some(RightHip),
        Some(LeftKnee),
        Some(RightKnee),
        Some(LeftAnkle),
        Some(RightAnkle),
        Some(LeftHeel),
        Some(RightHeel),
        Some(LeftToe),
        Some(RightToe),
    ]
}

/// The layout with this many points, and its joints.
fn by_points(points: usize) -> Option<(Layout, Vec<Option<Joint>>)> {
    match points {
        17 => Some((Layout::Keypoints17, joints_17().to_vec())),
        25 => Some((Layout::Keypoints25, joints_25().to_vec())),
        33 => Some((Layout::Keypoints33, joints_33().to_vec())),
        _ => None,
    }
}

/// Where a list of points was found; decides what its numbers can mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Origin {
    /// Under a key that says space.
    Space,
    /// Under a key that says picture.
    Picture,
    /// Neither.
    Open,
}

/// One point: x, y, z (NaN where there is none) and score (NaN where there is none). The third
/// of three numbers is a score, in space a z.
type Point = [f64; 4];

/// One person in one frame.
struct Person {
    origin: Origin,
    /// Each point a list of four numbers or an object.
    points: Vec<Point>,
}

/// One frame.
#[derive(Default)]
struct Frame {
    people: Vec<Person>,
    time_s: Option<f64>,
    /// Its number, where the file gives one.
    id: Option<u64>,
}

/// What a document says beside its frames.
#[derive(Default, Clone)]
struct About {
    rate_hz: Option<f64>,
    picture: Option<[f64; 2]>,
    unit: Option<SourceUnit>,
}

/// A recording in the making: add documents, then finish.
#[derive(Default)]
pub(super) struct Keypoints {
    frames: Vec<Frame>,
    about: About,
}

/// Does the text start like JSON that can hold frames?
pub(super) fn sniff(text: &str) -> bool {
    text.trim_start().starts_with(['{', '['])
}

pub(super) fn read(text: &str, options: &ReadOptions) -> Result<Raw, ReadErrorKind> {
    let mut keypoints = Keypoints::default();
    keypoints.add_document(text)?;
    keypoints.finish(options)
}

impl Keypoints {
    /// All frames of one file.
    fn add_document(&mut self, text: &str) -> Result<(), ReadErrorKind> {
        let document = parse(text)?;
        let frames = match &document {
            Value::Object(object) => {
                self.about = about(object);
                match object.get("frames") {
                    Some(Value::Array(frames)) => frames.as_slice(),
                    Some(other) => {
                        return Err(structure(Place::Header, "frames as an array", other));
                    }
                    None => std::slice::from_ref(&document),
                }
            }
            Value::Array(frames) => frames.as_slice(),
            other => return Err(structure(Place::Header, "an array or an object", other)),
        };
        for value in frames {
            let number = self.frames.len();
            let frame = frame(value, number)?;
            match self.frames.last_mut() {
                // One record per detection: the same image again is one more person.
                Some(last) if frame.id.is_some() && last.id == frame.id => {
                    last.people.extend(frame.people);
                }
                _ => self.frames.push(frame),
            }
        }
        Ok(())
    }

    /// The one frame of a file of its own.
    pub(super) fn add_frame_file(
        &mut self,
        text: &str,
        id: Option<u64>,
    ) -> Result<(), ReadErrorKind> {
        let document = parse(text)?;
        let number = self.frames.len();
        if let Value::Object(object) = &document {
            if object.contains_key("frames") {
                return Err(structure(
                    Place::Frame(number),
                    "one frame a file in a folder",
                    &Value::String("a file with many".to_owned()),
                ));
            }
            if number == 0 {
                self.about = about(object);
            }
        }
        let mut frame = frame(&document, number)?;
        frame.id = id;
        self.frames.push(frame);
        Ok(())
    }

    pub(super) fn finish(mut self, options: &ReadOptions) -> Result<Raw, ReadErrorKind> {
        let mut assumptions = Vec::new();
        self.restore_missing_frames(&mut assumptions)?;
        if self.frames.is_empty() {
            return Err(ReadErrorKind::NoFrames);
        }
        let times = self.times();
        let about = self.about.clone();
        let mut people = self.choose_person(options, &mut assumptions)?;
        third_numbers(&mut people, &mut assumptions);
        let (layout, order) = layout_of(&people, options)?;
        let sight = Sight::of(&people, layout, &mut assumptions);
        let picture = match sight {
            Sight::Fractions => Some(
                options
                    .picture
                    .map(|size| size.map(f64::from))
                    .or(about.picture)
                    .filter(|[width, height]| *width > 0.0 && *height > 0.0)
                    .ok_or(ReadErrorKind::PictureUnknown)?,
            ),
            Sight::Pixels | Sight::Space { .. } => None,
        };
        let three = matches!(sight, Sight::Space { .. });
        let mut positions = Vec::with_capacity(people.len() * order.len());
        let mut confidence = Vec::new();
        let scored = people.iter().flatten().flat_map(|p| &p.points).any(|p| !p[3].is_nan());
        for person in &people {
            for (n, _) in order.iter().enumerate().filter(|(_, joint)| joint.is_some()) {
                let [x, y, z, score] = person.as_ref().map_or([f64::NAN; 4], |p| p.points[n]);
                let missing = x.is_nan()
                    || (three && z.is_nan())
                    || (x == 0.0 && y == 0.0 && (score == 0.0 || score.is_nan()));
                positions.push(match picture {
                    _ if missing => [f64::NAN; 3],
                    Some([width, height]) => [x * width, y * height, 0.0],
                    None => [x, y, if three { z } else { 0.0 }],
                });
                if scored {
                    let sure = if score.is_nan() { 1.0 } else { score.clamp(0.0, 1.0) };
                    confidence.push(if missing { 0.0 } else { sure as f32 });
                }
            }
        }
        Ok(Raw {
            layout,
            format: layout.name().to_owned(),
            joints: order.into_iter().flatten().collect(),
            positions,
            confidence: scored.then_some(confidence),
            times,
            dimensions: if three { Dimensions::Three } else { Dimensions::Two },
            unit: if three { about.unit } else { Some(SourceUnit::Pixel) },
            axes: if three { Axes::Open } else { Axes::Up(Up::MinusY) },
            capture: match sight {
                Sight::Space { lifted: true } => Capture::OneCameraLifted,
                Sight::Space { lifted: false } => Capture::Unknown,
                Sight::Pixels | Sight::Fractions => Capture::OneCameraFlat,
            },
            subject: None,
            unknown: Vec::new(),
            assumptions,
        })
    }

    /// Frames whose numbers are left out held no detection: they become gaps.
    fn restore_missing_frames(
        &mut self,
        assumptions: &mut Vec<Assumption>,
    ) -> Result<(), ReadErrorKind> {
        let ids: Option<Vec<u64>> = self.frames.iter().map(|frame| frame.id).collect();
        let Some(ids) = ids.filter(|ids| ids.len() > 1) else { return Ok(()) };
        let span = ids[ids.len() - 1].saturating_sub(ids[0]).saturating_add(1);
        let (count, rising) = (ids.len() as u64, ids.windows(2).all(|pair| pair[0] < pair[1]));
        if span == count && rising {
            return Ok(());
        }
        // Numbers that leap (hashes, time stamps) are names, not counts; three quarters missing
        // is no recording either.
        if !rising || span > 4 * count {
            return Err(structure(
                Place::Header,
                "frame numbers that count upwards with few left out",
                &Value::String(format!("{count} frames from {} to {}", ids[0], ids[ids.len() - 1])),
            ));
        }
        assumptions.push(assumed(
            "frames",
            format!("{} gaps", span - count),
            "their numbers are left out: nobody was detected in them",
        ));
        let given = std::mem::take(&mut self.frames);
        let mut next = ids[0];
        for frame in given {
            while frame.id.is_some_and(|id| id > next) {
                self.frames.push(Frame::default());
                next += 1;
            }
            self.frames.push(frame);
            next += 1;
        }
        Ok(())
    }

    fn times(&self) -> Times {
        let each: Option<Vec<f64>> = self.frames.iter().map(|frame| frame.time_s).collect();
        let stated_hz = self.about.rate_hz;
        each.map_or(Times::Even(stated_hz), |times_s| Times::Each { times_s, stated_hz })
    }

    /// The chosen person of each frame.
    fn choose_person(
        self,
        options: &ReadOptions,
        assumptions: &mut Vec<Assumption>,
    ) -> Result<Vec<Option<Person>>, ReadErrorKind> {
        let (at, most) = self
            .frames
            .iter()
            .map(|frame| frame.people.len())
            .enumerate()
            .max_by_key(|&(frame, people)| (people, std::cmp::Reverse(frame)))
            .unwrap_or((0, 0));
        let wanted = match options.person {
            None if most > 1 => {
                return Err(ReadErrorKind::Person {
                    place: Place::Frame(at),
                    people: most,
                    wanted: None,
                });
            }
            Some(person) if person >= most && most > 0 => {
                return Err(ReadErrorKind::Person {
                    place: Place::Frame(at),
                    people: most,
                    wanted: Some(person),
                });
            }
            wanted => wanted.unwrap_or(0),
        };
        if most > 1 {
            assumptions.push(assumed(
                "person",
                format!("number {wanted} of each frame"),
                format!("as asked; up to {most} people are in the picture"),
            ));
        }
        Ok(self.frames.into_iter().map(|frame| frame.people.into_iter().nth(wanted)).collect())
    }
}

/// Takes the third of three numbers for z where one of them is no score (a score lies from 0 to
/// 1, a flag is 0, 1 or 2).
fn third_numbers(people: &mut [Option<Person>], assumptions: &mut Vec<Assumption>) {
    let open = || people.iter().flatten().filter(|person| person.origin == Origin::Open);
    let z = open()
        .flat_map(|person| &person.points)
        .any(|p| p[2].is_nan() && !p[3].is_nan() && !(0.0..=2.0).contains(&p[3]));
    if !z {
        return;
    }
    for p in people.iter_mut().flatten().flat_map(|person| &mut person.points) {
        if p[2].is_nan() {
            *p = [p[0], p[1], p[3], f64::NAN];
        }
    }
    assumptions.push(assumed("dimensions", "three", "the third number is no score from 0 to 1"));
}

/// What the numbers are.
#[derive(Clone, Copy)]
enum Sight {
    /// Positions in space; `lifted`: about the hips, as one camera's model gives them.
    Space { lifted: bool },
    /// Fractions of the picture's width and height.
    Fractions,
    /// Pixels.
    Pixels,
}

impl Sight {
    fn of(people: &[Option<Person>], layout: Layout, assumptions: &mut Vec<Assumption>) -> Self {
        let all = || people.iter().flatten();
        let seen = || all().flat_map(|person| &person.points).filter(|p| !p[0].is_nan());
        let deep = seen().next().is_some() && seen().all(|p| !p[2].is_nan());
        let centred = layout == Layout::Keypoints33
            && deep
            && all().all(|person| {
                let (left, right) = (person.points[23], person.points[24]);
                (0..3).all(|i| (left[i] + right[i]).abs() < 0.02 || left[i].is_nan())
            });
        if all().any(|person| person.origin == Origin::Space) || centred {
            return Self::Space { lifted: centred };
        }
        let fractions = {
            let (mut inside, mut count) = (0_usize, 0_usize);
            for p in seen() {
                count += 1;
                inside += usize::from((-0.5..=1.5).contains(&p[0]) && (-0.5..=1.5).contains(&p[1]));
            }
            // A limb may leave the picture now and then.
            count > 0 && inside * 20 >= count * 19
        };
        let open = all().all(|person| person.origin == Origin::Open);
        if deep && open && (layout != Layout::Keypoints33 || !fractions) {
            return Self::Space { lifted: false };
        }
        if deep {
            assumptions.push(assumed(
                "dimensions",
                "two, the picture plane",
                "x and y lie in a picture; the z beside them has no scale of its own",
            ));
        }
        if fractions { Self::Fractions } else { Self::Pixels }
    }
}

fn layout_of(
    people: &[Option<Person>],
    options: &ReadOptions,
) -> Result<(Layout, Vec<Option<Joint>>), ReadErrorKind> {
    let mut found: Option<usize> = None;
    for (frame, person) in people.iter().enumerate() {
        let Some(person) = person else { continue };
        let points = person.points.len();
        match found {
            None => found = Some(points),
            Some(before) if before != points => {
                return Err(ReadErrorKind::RaggedRow {
                    place: Place::Frame(frame),
                    expected: before,
                    found: points,
                });
            }
            Some(_) => {}
        }
    }
    let points = found.ok_or(ReadErrorKind::NothingMeasured)?;
    let wrong = || ReadErrorKind::Keypoints {
        place: Place::Header,
        expected: options.layout.map_or("17, 25 or 33 points a person", expected_points),
        found: format!("{points} points"),
    };
    let (layout, order) = by_points(points).ok_or_else(wrong)?;
    match options.layout {
        Some(asked) if asked != layout => Err(wrong()),
        _ => Ok((layout, order)),
    }
}

fn expected_points(layout: Layout) -> &'static str {
    match layout {
        Layout::Keypoints17 => "17 points a person",
        Layout::Keypoints25 => "25 points a person",
        _ => "33 points a person",
    }
}

fn parse(text: &str) -> Result<Value, ReadErrorKind> {
    serde_json::from_str(text).map_err(|error| ReadErrorKind::Keypoints {
        place: Place::Line(error.line()),
        expected: "JSON",
        found: error.to_string(),
    })
}

fn structure(place: Place, expected: &'static str, found: &Value) -> ReadErrorKind {
    let found = match found {
        Value::String(text) => excerpt(text),
        Value::Array(list) => format!("a list of {}", list.len()),
        Value::Object(object) => {
            let keys: Vec<String> = object.keys().cloned().collect();
            format!("an object with {}", super::errors::shorten(&keys, 4))
        }
        other => excerpt(&other.to_string()),
    };
    ReadErrorKind::Keypoints { place, expected, found }
}

fn about(object: &Map<String, Value>) -> About {
    let number = |keys: &[&str]| keys.iter().find_map(|key| object.get(*key)?.as_f64());
    let pair = |keys: &[&str]| {
        keys.iter().find_map(|key| match object.get(*key)?.as_array()?.as_slice() {
            [width, height] => Some([width.as_f64()?, height.as_f64()?]),
            _ => None,
        })
    };
    About {
        rate_hz: number(&["rate_hz", "fps", "frame_rate", "frameRate", "rate"]),
        picture: pair(&["picture", "image_size", "resolution"])
            .or_else(|| Some([number(&["width"])?, number(&["height"])?])),
        unit: object.get("unit").and_then(Value::as_str).and_then(SourceUnit::from_file),
    }
}

/// Keys under which a person's points lie, the ones in space first.
const POINT_KEYS: [(&str, Origin); 9] = [
    ("world_landmarks", Origin::Space),
    ("pose_world_landmarks", Origin::Space),
    ("pose_keypoints_3d", Origin::Space),
    ("keypoints_3d", Origin::Space),
    ("pose_keypoints_2d", Origin::Picture),
    ("keypoints", Origin::Open),
    ("landmarks", Origin::Open),
    ("pose_landmarks", Origin::Open),
    ("points", Origin::Open),
];

fn frame(value: &Value, number: usize) -> Result<Frame, ReadErrorKind> {
    let mut frame = Frame::default();
    match value {
        Value::Null => {}
        Value::Object(object) => {
            frame.id = ["image_id", "frame_id", "frame"]
                .iter()
                .find_map(|key| object.get(*key).and_then(Value::as_u64));
            let time = |keys: &[&str], per_second: f64| {
                let value = keys.iter().find_map(|key| object.get(*key)?.as_f64())?;
                Some(value / per_second)
            };
            frame.time_s = time(&["time_s", "time", "t", "timestamp"], 1.0)
                .or_else(|| time(&["time_ms", "timestamp_ms"], 1000.0));
            let people = ["people", "persons", "poses"].iter().find_map(|key| object.get(*key));
            match people {
                Some(Value::Array(people)) => {
                    for value in people {
                        frame.people.extend(person(value, number)?);
                    }
                }
                Some(other) => {
                    let place = Place::Frame(number);
                    return Err(structure(place, "people as an array", other));
                }
                None => frame.people = people_of(value, number)?,
            }
        }
        Value::Array(_) => frame.people = people_of(value, number)?,
        other => {
            let place = Place::Frame(number);
            return Err(structure(place, "a frame (list, object or null)", other));
        }
    }
    Ok(frame)
}

/// A list that is either one person's points or several people.
fn people_of(value: &Value, number: usize) -> Result<Vec<Person>, ReadErrorKind> {
    if let Value::Object(object) = value {
        for (key, origin) in POINT_KEYS {
            match object.get(key) {
                Some(Value::Array(list)) if !list.is_empty() => {
                    return many(list, origin, number);
                }
                Some(Value::Array(_) | Value::Null) | None => {}
                Some(other) => {
                    let place = Place::Frame(number);
                    return Err(structure(place, "points as an array", other));
                }
            }
        }
        // An empty list under a known key is an empty frame; no known key is a mistake.
        if POINT_KEYS.iter().any(|(key, _)| object.contains_key(*key)) {
            return Ok(Vec::new());
        }
        let place = Place::Frame(number);
        return Err(structure(place, "a key people, keypoints or landmarks", value));
    }
    match value {
        Value::Array(list) => many(list, Origin::Open, number),
        _ => Ok(Vec::new()),
    }
}

fn many(list: &[Value], origin: Origin, number: usize) -> Result<Vec<Person>, ReadErrorKind> {
    let people = match list.iter().find(|value| !value.is_null()) {
        None => return Ok(Vec::new()),
        Some(Value::Array(first)) => first.len() > 4 || !first.iter().all(is_number),
        Some(Value::Object(first)) => !first.contains_key("x"),
        Some(_) => false,
    };
    if !people {
        return Ok(vec![Person { origin, points: points(list, number, origin)? }]);
    }
    let mut all = Vec::new();
    for value in list {
        match value {
            Value::Array(list) => {
                all.push(Person { origin, points: points(list, number, origin)? });
            }
            other => all.extend(person(other, number)?),
        }
    }
    Ok(all)
}

fn is_number(value: &Value) -> bool {
    value.is_number() || value.is_null()
}

/// One element of a list of people; several only if its points are nested once more.
fn person(value: &Value, number: usize) -> Result<Vec<Person>, ReadErrorKind> {
    match value {
        Value::Null => Ok(Vec::new()),
        Value::Object(_) | Value::Array(_) => people_of(value, number),
        other => Err(structure(Place::Frame(number), "a person", other)),
    }
}

fn points(list: &[Value], number: usize, origin: Origin) -> Result<Vec<Point>, ReadErrorKind> {
    let place = |n: usize| Place::Point { frame: number, label: format!("point {n}") };
    let coordinate = |value: &Value, n: usize| match value {
        Value::Null => Ok(f64::NAN),
        Value::Number(x) => checked(x.as_f64().unwrap_or(f64::NAN), || place(n)),
        other => {
            Err(ReadErrorKind::NotANumber { place: place(n), found: excerpt(&other.to_string()) })
        }
    };
    let triple = |x, y, third| match origin {
        Origin::Space => [x, y, third, f64::NAN],
        Origin::Picture | Origin::Open => [x, y, f64::NAN, third],
    };
    if list.iter().all(is_number) {
        let (per, _) = (2..=4)
            .filter(|per| list.len().is_multiple_of(*per))
            .find_map(|per| Some((per, by_points(list.len() / per)?)))
            .ok_or_else(|| {
                let expected = "17, 25 or 33 points of 2, 3 or 4 numbers";
                let found = Value::String(format!("a flat list of {} numbers", list.len()));
                structure(Place::Frame(number), expected, &found)
            })?;
        return list
            .chunks_exact(per)
            .enumerate()
            .map(|(n, chunk)| {
                let at = |i: usize| chunk.get(i).map_or(Ok(f64::NAN), |value| coordinate(value, n));
                Ok(whole(match per {
                    4 => [at(0)?, at(1)?, at(2)?, at(3)?],
                    _ => triple(at(0)?, at(1)?, at(2)?),
                }))
            })
            .collect();
    }
    list.iter()
        .enumerate()
        .map(|(n, value)| {
            let point = match value {
                Value::Null => [f64::NAN; 4],
                Value::Array(list) => {
                    let at = |i: usize| coordinate(&list[i], n);
                    match list.len() {
                        2 => [at(0)?, at(1)?, f64::NAN, f64::NAN],
                        3 => triple(at(0)?, at(1)?, at(2)?),
                        4 => [at(0)?, at(1)?, at(2)?, at(3)?],
                        found => {
                            return Err(ReadErrorKind::RaggedRow {
                                place: place(n),
                                expected: 3,
                                found,
                            });
                        }
                    }
                }
                Value::Object(object) => {
                    let of = |keys: &[&str]| {
                        keys.iter()
                            .find_map(|key| object.get(*key))
                            .map_or(Ok(f64::NAN), |value| coordinate(value, n))
                    };
                    [
                        of(&["x"])?,
                        of(&["y"])?,
                        of(&["z"])?,
                        of(&["visibility", "score", "confidence", "presence"])?,
                    ]
                }
                other => {
                    let found = excerpt(&other.to_string());
                    return Err(ReadErrorKind::NotANumber { place: place(n), found });
                }
            };
            Ok(whole(point))
        })
        .collect()
}

/// A point with half its coordinates is a gap.
fn whole([x, y, z, score]: Point) -> Point {
    if x.is_nan() || y.is_nan() { [f64::NAN; 4] } else { [x, y, z, score] }
}
