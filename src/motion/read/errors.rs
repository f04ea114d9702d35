use std::fmt;
use std::path::PathBuf;

use thiserror::Error;

use super::Layout;
use crate::motion::Joint;
use crate::remedy::Remedy;

/// Why a recording could not be read: the file and what is wrong with it.
#[derive(Debug, Error)]
#[error("{}: {kind}", file.display())]
pub struct ReadError {
    /// The file or folder, as it was given.
    pub file: PathBuf,
    /// What is wrong.
    #[source]
    pub kind: ReadErrorKind,
}

/// What is wrong with a recording. The text says the rule, the place, what was found and what
/// to do next.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ReadErrorKind {
    /// The operating system would not give us the bytes.
    #[error("cannot be read: {source}; check the name and the permissions")]
    Io {
        /// The operating system's reason.
        #[from]
        source: std::io::Error,
    },
    /// Neither a regular file nor a folder.
    #[error("is neither a file nor a folder; save the recording to a file first")]
    NotAFile,
    /// No bytes, or a folder without a file we read.
    #[error("holds nothing to read ({what}); export it again")]
    Empty {
        /// What is empty.
        what: &'static str,
    },
    /// No layout recognised the content.
    #[error(
        "the content fits no known layout (it starts with {start:?}); \
         {}",
        remedy(self)
    )]
    UnknownLayout {
        /// The first bytes as text.
        start: String,
    },
    /// Something in the file is not built as the layout says.
    #[error(
        "{layout}, {place}: expected {expected}, found {found}; export it again, or {}",
        remedy(self)
    )]
    Structure {
        /// The layout it was read as.
        layout: Layout,
        /// Where.
        place: FilePlace,
        /// What the layout has there.
        expected: &'static str,
        /// What was there.
        found: String,
    },
    /// Bytes that are not UTF-8 text where a text layout needs it.
    #[error(
        "the file is not UTF-8 text (or holds zero bytes); save it as UTF-8, or {}",
        remedy(self)
    )]
    NotText,
    /// Something in keypoint JSON is not built as any of its forms.
    #[error(
        "keypoint JSON, {place}: expected {expected}, found {found}; export it again, or {}",
        remedy(self)
    )]
    Keypoints {
        /// Where.
        place: FilePlace,
        /// What belongs there.
        expected: &'static str,
        /// What was there.
        found: String,
    },
    /// Fewer bytes or rows than the header promises.
    #[error(
        "{layout}: the header promises {promised} frames, the file holds {held} complete ones; \
         export it again, or {}",
        remedy(self)
    )]
    Truncated {
        /// The layout it was read as.
        layout: Layout,
        /// Frames promised.
        promised: u64,
        /// Whole frames held.
        held: u64,
    },
    /// The header promises more than the file could ever hold.
    #[error(
        "{layout}: {what} reaches byte {promised}, the file ends at {held}; \
         the file was cut off or is damaged: export it again"
    )]
    PastTheEnd {
        /// The layout it was read as.
        layout: Layout,
        /// Which part.
        what: &'static str,
        /// Where the part would end.
        promised: u64,
        /// Bytes in the file.
        held: u64,
    },
    /// Text where a number belongs.
    #[error("{place}: expected a number, found {found:?}; correct it, or leave it empty for a gap")]
    NotANumber {
        /// Where.
        place: FilePlace,
        /// The text.
        found: String,
    },
    /// NaN or infinity where a measured number belongs.
    #[error(
        "{place}: expected a finite number, found {found}; \
         mark a gap as the layout does (empty cell, null, negative residual)"
    )]
    NotFinite {
        /// Where.
        place: FilePlace,
        /// `NaN`, `inf` ...
        found: String,
    },
    /// A coordinate no body reaches.
    #[error(
        "{place}: the coordinate {found:e} is beyond {limit:e}, further than any recording \
         reaches; the file is damaged or stores its numbers differently: export it again"
    )]
    OutOfRange {
        /// Where.
        place: FilePlace,
        /// The coordinate.
        found: f64,
        /// The limit.
        limit: f64,
    },
    /// A row with too few or too many fields.
    #[error(
        "{place}: expected {expected} fields, found {found}; correct the row, or {}",
        remedy(self)
    )]
    RaggedRow {
        /// Where.
        place: FilePlace,
        /// Fields expected.
        expected: usize,
        /// Fields found.
        found: usize,
    },
    /// The file ends in the middle of a frame.
    #[error(
        "{layout}, {place}: a frame has {expected} lines, the last one has only {found}; \
         export it again, or {}",
        remedy(self)
    )]
    IncompleteFrame {
        /// The layout it was read as.
        layout: Layout,
        /// Where the file ends.
        place: FilePlace,
        /// Lines a frame has.
        expected: usize,
        /// Lines the last frame has.
        found: usize,
    },
    /// A table without a header and without a declared joint order.
    #[error(
        "the table has no header and {columns} columns; write a first line such as \
         time,left_wrist_x,left_wrist_y, or {}",
        remedy(self)
    )]
    NoHeader {
        /// Columns found.
        columns: usize,
    },
    /// A declared joint order that does not fit the columns.
    #[error(
        "{columns} columns do not divide into {joints} joints of 2, 3 or 4 numbers each \
         (with or without a column of time first); {}",
        remedy(self)
    )]
    JointOrder {
        /// Columns found.
        columns: usize,
        /// Joints declared.
        joints: usize,
    },
    /// A joint with x but without y, or one of several without z.
    #[error("the column {column} is missing next to {beside}; add it, or remove the joint")]
    MissingColumn {
        /// The column that is missing.
        column: String,
        /// The column that is there.
        beside: String,
    },
    /// A flat picture turned so that its up is neither y nor -y.
    #[error("a flat picture has y or -y up, not {up}; turn the picture first, or {}", remedy(self))]
    FlatUp {
        /// The axis asked for or inferred.
        up: super::Up,
    },
    /// Two columns, markers or joints with one name.
    #[error("the label {label:?} occurs twice; rename or remove one of them")]
    DuplicateLabel {
        /// The label.
        label: String,
    },
    /// The core of the body is not there.
    #[error(
        "a serve needs shoulders, elbows, wrists, hips, knees and ankles on both sides; \
         not found: {}{}; rename the labels (for example left_wrist), or export the recording \
         with them",
        names(missing),
        unused(unknown)
    )]
    MissingJoints {
        /// The joints missing.
        missing: Vec<Joint>,
        /// Labels that told us nothing.
        unknown: Vec<String>,
    },
    /// Several subjects in the file and none, or an unknown one, chosen.
    #[error("{}; {}", subject_rule(wanted.as_deref()), remedy(self))]
    Subject {
        /// The subjects in the file.
        subjects: Vec<String>,
        /// The one asked for.
        wanted: Option<String>,
    },
    /// Several people in the picture and none, or one too many, chosen.
    #[error(
        "{place}: there are {people} people in the picture{}; {}",
        person_rule(*wanted),
        remedy(self)
    )]
    Person {
        /// Where.
        place: FilePlace,
        /// How many people.
        people: usize,
        /// The one asked for.
        wanted: Option<usize>,
    },
    /// Not one frame.
    #[error("the recording holds no frames; export it again with data in it")]
    NoFrames,
    /// Not one frame in which anything was measured.
    #[error("every frame is a gap, nothing was measured; export it again with data in it")]
    NothingMeasured,
    /// The file states no rate and none was given.
    #[error("the file does not say how many frames a second it holds; {}", remedy(self))]
    RateUnknown,
    /// A rate that cannot be.
    #[error("the sample rate is {rate_hz} Hz, expected {min} to {max}; {}", remedy(self))]
    RateOutOfRange {
        /// Rate found or given.
        rate_hz: f64,
        /// Lowest rate we take.
        min: f64,
        /// Highest rate we take.
        max: f64,
    },
    /// Time stands still or runs backwards.
    #[error(
        "{place}: time must increase, found {here} s after {before} s; sort the rows, or {}",
        remedy(self)
    )]
    TimeNotIncreasing {
        /// Where.
        place: FilePlace,
        /// The time before, seconds.
        before: f64,
        /// The time here, seconds.
        here: f64,
    },
    /// Times so far apart that hardly a frame lies between them.
    #[error(
        "{frames} frames are spread over {span_s} s, although most are {step_s} s apart; \
         correct the times, or {}",
        remedy(self)
    )]
    TimeLeaps {
        /// Frames in the file.
        frames: usize,
        /// From the first to the last, seconds.
        span_s: f64,
        /// The middle distance between frames, seconds.
        step_s: f64,
    },
    /// Which axis points up could not be told from the motion.
    #[error(
        "the file does not say which axis points up, and the body does not stand along any (best: \
         {best} in {share_percent} % of the frames); {}",
        remedy(self)
    )]
    UpUnknown {
        /// The best axis.
        best: super::Up,
        /// Share of the frames that agree, per cent.
        share_percent: u32,
    },
    /// Picture coordinates from 0 to 1 without the size of the picture.
    #[error(
        "the points are fractions of a picture of unknown size, so angles cannot be read; {}",
        remedy(self)
    )]
    PictureUnknown,
}

impl ReadErrorKind {
    /// What to do about it beside exporting the file again; the text ends with it.
    #[must_use]
    pub fn remedy(&self) -> Option<Remedy> {
        Some(match self {
            Self::UnknownLayout { .. } => Remedy::NameLayout { layouts: Layout::names() },
            Self::Structure { .. } | Self::NotText | Self::Keypoints { .. } => {
                Remedy::AnotherLayout
            }
            Self::Truncated { .. } => Remedy::KeepWholeFrames,
            Self::RaggedRow { .. } => Remedy::DropLastRow,
            Self::IncompleteFrame { .. } => Remedy::DropLastFrame,
            Self::NoHeader { .. } => Remedy::NameJoints,
            Self::JointOrder { .. } => Remedy::CorrectJoints,
            Self::FlatUp { .. } => Remedy::CorrectUp,
            Self::Subject { subjects, .. } => Remedy::ChooseSubject { subjects: subjects.clone() },
            Self::Person { people, .. } => Remedy::ChoosePerson { people: *people },
            Self::RateUnknown => Remedy::SayRate,
            Self::RateOutOfRange { .. } => Remedy::CorrectRate,
            Self::TimeNotIncreasing { .. } | Self::TimeLeaps { .. } => Remedy::RateForTimes,
            Self::UpUnknown { .. } => Remedy::SayUp,
            Self::PictureUnknown => Remedy::SayPictureSize,
            _ => return None,
        })
    }
}

/// The words an error ends with.
fn remedy(error: &ReadErrorKind) -> String {
    error.remedy().map_or_else(String::new, |remedy| remedy.to_string())
}

/// Where in a file something was found.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum FilePlace {
    /// The header.
    Header,
    /// A byte, from 0.
    Byte(u64),
    /// A line, from 1.
    Line(usize),
    /// A cell of a text file: line and column, from 1, and the column's name.
    Cell {
        /// Line, from 1.
        line: usize,
        /// Name of the column, or its number.
        column: String,
    },
    /// A frame, from 0.
    Frame(usize),
    /// One label in a frame, from 0.
    Point {
        /// Frame, from 0.
        frame: usize,
        /// Label of the point.
        label: String,
    },
    /// One parameter of a header, for example `POINT:LABELS`.
    Parameter(String),
}

impl fmt::Display for FilePlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Header => write!(f, "header"),
            Self::Byte(byte) => write!(f, "byte {byte}"),
            Self::Line(line) => write!(f, "line {line}"),
            Self::Cell { line, column } => write!(f, "line {line}, column {column}"),
            Self::Frame(frame) => write!(f, "frame {frame}"),
            Self::Point { frame, label } => write!(f, "frame {frame}, {label}"),
            Self::Parameter(name) => write!(f, "parameter {name}"),
        }
    }
}

fn names(joints: &[Joint]) -> String {
    let names: Vec<_> = joints.iter().map(|joint| joint.name()).collect();
    names.join(", ")
}

fn unused(labels: &[String]) -> String {
    if labels.is_empty() {
        String::new()
    } else {
        format!(" (labels not understood: {})", shorten(labels, 12))
    }
}

fn subject_rule(wanted: Option<&str>) -> String {
    match wanted {
        None => "the file holds several subjects".to_owned(),
        Some(name) => format!("the file holds no subject {name:?}"),
    }
}

fn person_rule(wanted: Option<usize>) -> String {
    wanted.map_or_else(String::new, |index| format!(", number {} was asked for", index + 1))
}

/// The first `most` of `labels`, each cut to a readable length, and how many more there are.
pub(super) fn shorten(labels: &[String], most: usize) -> String {
    let mut text =
        labels.iter().take(most).map(|label| excerpt(label)).collect::<Vec<_>>().join(", ");
    if labels.len() > most {
        text.push_str(&format!(" and {} more", labels.len() - most));
    }
    text
}

/// At most 32 characters of `text`, for messages.
pub(super) fn excerpt(text: &str) -> String {
    crate::remedy::excerpt(text, 32)
}
