use std::fmt;
use std::str::FromStr;

use thiserror::Error;

/// The layouts a recording can be read from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Layout {
    /// C3D, the binary exchange format of marker capture (Intel, DEC and SGI byte orders,
    /// integer and float storage).
    C3d,
    /// TRC, tab-separated marker positions.
    Trc,
    /// BVH, a jointed skeleton with a channel table.
    Bvh,
    /// Keypoint JSON, 17 points: nose, eyes, ears, shoulders, elbows, wrists, hips, knees,
    /// ankles, each left before right.
    Keypoints17,
    /// Keypoint JSON, 25 points: nose, neck, right arm, left arm, mid-hip, right leg, left leg,
    /// eyes, ears, left foot, right foot.
    Keypoints25,
    /// Keypoint JSON, 33 points: 11 of the face, then shoulders to feet with three hand points,
    /// each left before right.
    Keypoints33,
    /// A text table, one row a frame, with named columns (`left_wrist_x` ...) or a declared
    /// joint order; commas, semicolons, tabs or blanks between the fields.
    Table,
    /// The 20-joint depth-sensor table: 20 lines a frame, `x y z confidence`, no header.
    Depth20,
}

impl Layout {
    /// Every layout.
    pub const ALL: &'static [Self] = &[
        Self::C3d,
        Self::Trc,
        Self::Bvh,
        Self::Keypoints17,
        Self::Keypoints25,
        Self::Keypoints33,
        Self::Table,
        Self::Depth20,
    ];

    /// The name used for `--layout`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::C3d => "c3d",
            Self::Trc => "trc",
            Self::Bvh => "bvh",
            Self::Keypoints17 => "keypoints-17",
            Self::Keypoints25 => "keypoints-25",
            Self::Keypoints33 => "keypoints-33",
            Self::Table => "table",
            Self::Depth20 => "depth-20",
        }
    }

    /// All names in one line, for messages.
    #[must_use]
    pub fn names() -> String {
        let names: Vec<_> = Self::ALL.iter().map(|layout| layout.name()).collect();
        names.join(", ")
    }
}

impl fmt::Display for Layout {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A word that is none of the names an option takes.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{found:?} is not a known {what}; choose one of {names}")]
pub struct UnknownName {
    /// What was wanted, for example `layout`.
    pub what: &'static str,
    /// The word.
    pub found: String,
    /// The names there are.
    pub names: String,
}

impl FromStr for Layout {
    type Err = UnknownName;

    fn from_str(text: &str) -> Result<Self, UnknownName> {
        Self::ALL.iter().copied().find(|layout| layout.name() == text).ok_or_else(|| UnknownName {
            what: "layout",
            found: text.to_owned(),
            names: Self::names(),
        })
    }
}

/// The axis of the file that points up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Up {
    /// +x.
    X,
    /// +y.
    Y,
    /// +z.
    Z,
    /// -x.
    MinusX,
    /// -y.
    MinusY,
    /// -z.
    MinusZ,
}

impl Up {
    /// All six, the usual ones first.
    pub const ALL: [Self; 6] =
        [Self::Z, Self::Y, Self::X, Self::MinusZ, Self::MinusY, Self::MinusX];

    /// The name used for `--up`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::X => "x",
            Self::Y => "y",
            Self::Z => "z",
            Self::MinusX => "-x",
            Self::MinusY => "-y",
            Self::MinusZ => "-z",
        }
    }

    /// `position` turned so that this axis becomes +z. A rotation, never a reflection: left
    /// stays left.
    #[must_use]
    pub fn to_z_up(self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        match self {
            Self::Z => [x, y, z],
            Self::Y => [x, -z, y],
            Self::X => [y, z, x],
            Self::MinusZ => [x, -y, -z],
            Self::MinusY => [x, z, -y],
            Self::MinusX => [z, y, -x],
        }
    }

    /// How far `vector` points along this axis.
    pub(super) fn along(self, [x, y, z]: [f64; 3]) -> f64 {
        match self {
            Self::X => x,
            Self::Y => y,
            Self::Z => z,
            Self::MinusX => -x,
            Self::MinusY => -y,
            Self::MinusZ => -z,
        }
    }
}

impl fmt::Display for Up {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for Up {
    type Err = UnknownName;

    fn from_str(text: &str) -> Result<Self, UnknownName> {
        let bare = text.strip_prefix('+').unwrap_or(text).to_ascii_lowercase();
        Self::ALL.into_iter().find(|up| up.name() == bare).ok_or_else(|| UnknownName {
            what: "axis",
            found: text.to_owned(),
            names: "x, y, z, -x, -y, -z".to_owned(),
        })
    }
}

/// The unit the file's positions are in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SourceUnit {
    /// Metres.
    Metre,
    /// Centimetres.
    Centimetre,
    /// Millimetres.
    Millimetre,
    /// Inches.
    Inch,
    /// Feet.
    Foot,
    /// Pixels of a picture.
    Pixel,
    /// No known scale.
    Arbitrary,
}

impl SourceUnit {
    /// Every unit.
    pub const ALL: [Self; 7] = [
        Self::Metre,
        Self::Centimetre,
        Self::Millimetre,
        Self::Inch,
        Self::Foot,
        Self::Pixel,
        Self::Arbitrary,
    ];

    /// The name used for `--unit`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Metre => "m",
            Self::Centimetre => "cm",
            Self::Millimetre => "mm",
            Self::Inch => "in",
            Self::Foot => "ft",
            Self::Pixel => "px",
            Self::Arbitrary => "none",
        }
    }

    /// Metres in one of these; `None` for pixels and the unknown.
    #[must_use]
    pub fn metres(self) -> Option<f64> {
        match self {
            Self::Metre => Some(1.0),
            Self::Centimetre => Some(0.01),
            Self::Millimetre => Some(0.001),
            Self::Inch => Some(0.0254),
            Self::Foot => Some(0.3048),
            Self::Pixel | Self::Arbitrary => None,
        }
    }

    /// The unit a file means by `text`, leniently; `None` if it says nothing we know.
    pub(super) fn from_file(text: &str) -> Option<Self> {
        match text.trim().trim_end_matches('\0').to_ascii_lowercase().as_str() {
            "m" | "metre" | "meter" | "metres" | "meters" => Some(Self::Metre),
            "cm" | "centimetre" | "centimeter" | "centimetres" | "centimeters" => {
                Some(Self::Centimetre)
            }
            "mm" | "millimetre" | "millimeter" | "millimetres" | "millimeters" => {
                Some(Self::Millimetre)
            }
            "in" | "inch" | "inches" => Some(Self::Inch),
            "ft" | "foot" | "feet" => Some(Self::Foot),
            "px" | "pixel" | "pixels" => Some(Self::Pixel),
            _ => None,
        }
    }
}

impl fmt::Display for SourceUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for SourceUnit {
    type Err = UnknownName;

    fn from_str(text: &str) -> Result<Self, UnknownName> {
        if text == Self::Arbitrary.name() {
            return Ok(Self::Arbitrary);
        }
        Self::from_file(text).ok_or_else(|| UnknownName {
            what: "unit",
            found: text.to_owned(),
            names: "m, cm, mm, in, ft, px, none".to_owned(),
        })
    }
}
