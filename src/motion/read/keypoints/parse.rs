//! From JSON to frames of people of points.

use serde_json::{Map, Value};

use super::layouts::by_points;
use crate::motion::read::errors::{FilePlace, ReadErrorKind, excerpt, shorten};
use crate::motion::read::layout::SourceUnit;
use crate::motion::read::raw::checked;

/// Where a list of points was found; decides what its numbers can mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Origin {
    /// Under a key that says space.
    Space,
    /// Under a key that says picture.
    Picture,
    /// Neither.
    Open,
}

/// One point: x, y, z (NaN where there is none) and score (NaN where there is none). The third
/// of three numbers is a score, in space a z.
pub(super) type Point = [f64; 4];

/// One person in one frame.
pub(super) struct Person {
    pub(super) origin: Origin,
    /// Each point a list of four numbers or an object.
    pub(super) points: Vec<Point>,
}

/// One frame.
#[derive(Default)]
pub(super) struct Frame {
    pub(super) people: Vec<Person>,
    pub(super) time_s: Option<f64>,
    /// Its number, where the file gives one.
    pub(super) id: Option<u64>,
}

/// What a document says beside its frames.
#[derive(Default, Clone)]
pub(super) struct About {
    pub(super) rate_hz: Option<f64>,
    pub(super) picture: Option<[f64; 2]>,
    pub(super) unit: Option<SourceUnit>,
}

pub(super) fn parse(text: &str) -> Result<Value, ReadErrorKind> {
    serde_json::from_str(text).map_err(|error| ReadErrorKind::Keypoints {
        place: FilePlace::Line(error.line()),
        expected: "JSON",
        found: error.to_string(),
    })
}

pub(super) fn structure(place: FilePlace, expected: &'static str, found: &Value) -> ReadErrorKind {
    let found = match found {
        Value::String(text) => excerpt(text),
        Value::Array(list) => format!("a list of {}", list.len()),
        Value::Object(object) => {
            let keys: Vec<String> = object.keys().cloned().collect();
            format!("an object with {}", shorten(&keys, 4))
        }
        other => excerpt(&other.to_string()),
    };
    ReadErrorKind::Keypoints { place, expected, found }
}

pub(super) fn about(object: &Map<String, Value>) -> About {
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
pub(super) const POINT_KEYS: [(&str, Origin); 9] = [
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

/// Keys that say which frame or person it is, and where no points belong.
const ABOUT_A_FRAME: [&str; 16] = [
    "time_s",
    "time",
    "t",
    "timestamp",
    "time_ms",
    "timestamp_ms",
    "image_id",
    "frame_id",
    "frame",
    "index",
    "width",
    "height",
    "person_id",
    "id",
    "score",
    "bbox",
];

pub(super) fn frame(value: &Value, number: usize) -> Result<Frame, ReadErrorKind> {
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
                    let place = FilePlace::Frame(number);
                    return Err(structure(place, "people as an array", other));
                }
                None => frame.people = people_of(value, number)?,
            }
        }
        Value::Array(_) => frame.people = people_of(value, number)?,
        other => {
            let place = FilePlace::Frame(number);
            return Err(structure(place, "a frame (list, object or null)", other));
        }
    }
    Ok(frame)
}

/// A list that is either one person's points or several people.
pub(super) fn people_of(value: &Value, number: usize) -> Result<Vec<Person>, ReadErrorKind> {
    if let Value::Object(object) = value {
        for (key, origin) in POINT_KEYS {
            match object.get(key) {
                Some(Value::Array(list)) if !list.is_empty() => {
                    return many(list, origin, number);
                }
                Some(Value::Array(_) | Value::Null) | None => {}
                Some(other) => {
                    let place = FilePlace::Frame(number);
                    return Err(structure(place, "points as an array", other));
                }
            }
        }
        // An empty list under a known key is a frame without anybody, and so is one that says
        // nothing but when it was; any other key without points is a mistake.
        let known = |key: &str| POINT_KEYS.iter().any(|(known, _)| *known == key);
        if object.keys().any(|key| known(key))
            || object.keys().all(|key| ABOUT_A_FRAME.contains(&key.as_str()))
        {
            return Ok(Vec::new());
        }
        let place = FilePlace::Frame(number);
        return Err(structure(place, "a key people, keypoints or landmarks", value));
    }
    match value {
        Value::Array(list) => many(list, Origin::Open, number),
        _ => Ok(Vec::new()),
    }
}

pub(super) fn many(
    list: &[Value],
    origin: Origin,
    number: usize,
) -> Result<Vec<Person>, ReadErrorKind> {
    let empty = |value: &Value| value.is_null() || value.as_array().is_some_and(Vec::is_empty);
    let people = match list.iter().find(|value| !empty(value)) {
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
            Value::Array(list) if list.is_empty() => {}
            Value::Array(list) => {
                all.push(Person { origin, points: points(list, number, origin)? });
            }
            other => all.extend(person(other, number)?),
        }
    }
    Ok(all)
}

pub(super) fn is_number(value: &Value) -> bool {
    value.is_number() || value.is_null()
}

/// One element of a list of people; several only if its points are nested once more.
pub(super) fn person(value: &Value, number: usize) -> Result<Vec<Person>, ReadErrorKind> {
    match value {
        Value::Null => Ok(Vec::new()),
        Value::Object(_) | Value::Array(_) => people_of(value, number),
        other => Err(structure(FilePlace::Frame(number), "a person", other)),
    }
}

pub(super) fn points(
    list: &[Value],
    number: usize,
    origin: Origin,
) -> Result<Vec<Point>, ReadErrorKind> {
    let place = |n: usize| FilePlace::Point { frame: number, label: format!("point {n}") };
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
                structure(FilePlace::Frame(number), expected, &found)
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
pub(super) fn whole([x, y, z, score]: Point) -> Point {
    if x.is_nan() || y.is_nan() { [f64::NAN; 4] } else { [x, y, z, score] }
}
