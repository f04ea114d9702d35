//! One reader per file format, one way to call them.

#[cfg(test)]
mod bad_tests;
mod bridge;
mod bvh;
mod c3d;
#[cfg(test)]
mod c3d_1999_tests;
mod depth;
mod errors;
mod folder;
#[cfg(test)]
mod form_tests;
#[cfg(test)]
mod golden_tests;
mod keypoints;
mod labels;
mod layout;
mod markers;
mod raw;
#[cfg(test)]
mod sample;
mod subjects;
mod table;
#[cfg(test)]
mod tests;
mod text;
mod trc;

use std::path::Path;

pub use c3d::Processor;
pub use errors::{FilePlace, ReadError, ReadErrorKind};
pub use layout::{Layout, SourceUnit, UnknownName, Up};

use self::errors::excerpt;
pub(super) use self::keypoints::joints_33;
use self::raw::Raw;
use super::{Capture, Recording, View};

/// What the caller knows about a file; everything left out is read from the file, inferred and
/// said so, or asked for by an error.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ReadOptions {
    /// Read as this layout instead of sniffing.
    pub layout: Option<Layout>,
    /// Frames per second; overrides the file.
    pub rate_hz: Option<f64>,
    /// The file's axis that points up; overrides the file and the inference.
    pub up: Option<Up>,
    /// Unit of the file's positions; overrides the file and the inference.
    pub unit: Option<SourceUnit>,
    /// Which subject, where the file holds several.
    pub subject: Option<String>,
    /// Which person, from 0, where the picture shows several.
    pub person: Option<usize>,
    /// Width and height of the picture in pixels, for points given as fractions of it.
    pub picture: Option<[u32; 2]>,
    /// Order of the joints in a table without header.
    pub joint_order: Option<Vec<super::Joint>>,
    /// Where the camera stood.
    pub view: Option<View>,
    /// How the joints were obtained, where the layout does not tell.
    pub capture: Option<Capture>,
    /// Exchange left and right: the source is a mirror image.
    pub mirror: bool,
    /// Keep the whole frames of a file that was cut off.
    pub trim: bool,
}

/// The recording in the file (or folder of one file per frame) at `path`, in the canonical space.
///
/// The layout is sniffed from the content, never from the name. Whatever the file does not
/// state is in [`Recording::assumptions`]. Gaps stay gaps: see [`super::fill_gaps`].
///
/// # Errors
/// [`ReadError`] names the file, the rule, the place, what was found and what to do next.
///
/// # Cost
/// The file is held in memory once, and the positions beside it.
pub fn read(path: &Path, options: &ReadOptions) -> Result<Recording, ReadError> {
    let at = |kind| ReadError { file: path.to_owned(), kind };
    let about = std::fs::metadata(path).map_err(|source| at(source.into()))?;
    if about.is_dir() {
        folder::read(path, options)?.settle(options).map_err(at)
    } else if about.is_file() {
        let bytes = std::fs::read(path).map_err(|source| at(source.into()))?;
        read_bytes(&bytes, options).map_err(at)
    } else {
        Err(at(ReadErrorKind::NotAFile))
    }
}

/// The recording in `bytes`, the content of one file; as [`read`].
///
/// # Errors
/// As [`read`], without the file's name.
pub fn read_bytes(bytes: &[u8], options: &ReadOptions) -> Result<Recording, ReadErrorKind> {
    raw(bytes, options)?.settle(options)
}

fn raw(bytes: &[u8], options: &ReadOptions) -> Result<Raw, ReadErrorKind> {
    if bytes.is_empty() {
        return Err(ReadErrorKind::Empty { what: "0 bytes" });
    }
    let layout = options.layout.map(ReaderKind::of).or_else(|| sniff(bytes)).ok_or_else(|| {
        let start = String::from_utf8_lossy(&bytes[..bytes.len().min(64)]);
        ReadErrorKind::UnknownLayout { start: excerpt(&start) }
    })?;
    let text = || text::as_text(bytes).ok_or(ReadErrorKind::NotText);
    match layout {
        ReaderKind::C3d => c3d::read(bytes, options),
        ReaderKind::Depth20 => depth::read(text()?, options),
        ReaderKind::Table => table::read(text()?, options),
        ReaderKind::Trc => trc::read(text()?, options),
        ReaderKind::Bvh => bvh::read(text()?, options),
        ReaderKind::Keypoints => keypoints::read(text()?, options),
    }
}

/// One reader each: the keypoint layouts share one.
#[derive(Clone, Copy, PartialEq, Eq)]
enum ReaderKind {
    C3d,
    Trc,
    Bvh,
    Keypoints,
    Table,
    Depth20,
}

impl ReaderKind {
    fn of(layout: Layout) -> Self {
        match layout {
            Layout::C3d => Self::C3d,
            Layout::Trc => Self::Trc,
            Layout::Bvh => Self::Bvh,
            Layout::Keypoints17 | Layout::Keypoints25 | Layout::Keypoints33 => Self::Keypoints,
            Layout::Table => Self::Table,
            Layout::Depth20 => Self::Depth20,
        }
    }
}

/// Does a text look like a layout?
type Looks = fn(&str) -> bool;

/// What the content of a file looks like.
fn sniff(bytes: &[u8]) -> Option<ReaderKind> {
    if c3d::sniff(bytes) {
        return Some(ReaderKind::C3d);
    }
    let text = text::as_text(bytes)?;
    let looks: [(Looks, ReaderKind); 5] = [
        (trc::sniff, ReaderKind::Trc),
        (bvh::sniff, ReaderKind::Bvh),
        (keypoints::sniff, ReaderKind::Keypoints),
        (depth::sniff, ReaderKind::Depth20),
        (table::sniff, ReaderKind::Table),
    ];
    looks.into_iter().find(|(sniff, _)| sniff(text)).map(|(_, kind)| kind)
}
