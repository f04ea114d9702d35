//! The next step of a refusal, typed: rooms say what to do in words that no interface owns, and an interface
//! says how that is typed or clicked there.
//!
//! A text that advises one ends with it, so that an interface may put its own words in that place.

use std::fmt;

/// What to do about something that was refused or had to be assumed.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Remedy {
    /// Name the file's layout.
    NameLayout {
        /// The layouts there are.
        layouts: String,
    },
    /// Read it as another layout.
    AnotherLayout,
    /// Say how a file under a clip's name is laid out, for it holds joints.
    LayoutOfJoints,
    /// Keep the whole frames of a file that was cut off.
    KeepWholeFrames,
    /// Drop an incomplete last row.
    DropLastRow,
    /// Drop the incomplete last frame.
    DropLastFrame,
    /// Say which joints the columns are.
    NameJoints,
    /// Correct the order of the joints that was said.
    CorrectJoints,
    /// Say which axis points up.
    SayUp,
    /// Correct which axis points up.
    CorrectUp,
    /// Choose one of several subjects.
    ChooseSubject {
        /// Who is there.
        subjects: Vec<String>,
    },
    /// Choose one of several people in a picture.
    ChoosePerson {
        /// How many there are.
        people: usize,
    },
    /// Choose one of several people in a clip.
    ChoosePersonAt {
        /// One description each, left to right.
        people: Vec<String>,
    },
    /// Say where in the picture the player is.
    GiveRegion,
    /// Say the sample rate.
    SayRate,
    /// Correct the sample rate.
    CorrectRate,
    /// Say the sample rate in place of times.
    RateForTimes,
    /// Say the rate a clip was filmed at.
    SayCaptureRate,
    /// Say how large the picture is.
    SayPictureSize,
    /// Check the unit of length.
    CheckUnit,
    /// Exchange left and right.
    Mirror,
    /// Say the player's hand.
    SayHand,
    /// Say where the camera stood.
    SayView,
    /// Leave out single odd serves.
    LeaveOutOdd,
    /// Rebuild what is derived from the store.
    Rebuild,
    /// Open the library for reading only.
    ReadOnly,
    /// Take back what was said of two clips, by their ids.
    TakeBackSaid {
        /// The one.
        one: String,
        /// The other.
        other: String,
    },
}

impl fmt::Display for Remedy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NameLayout { layouts } => return write!(f, "name one ({layouts})"),
            Self::ChooseSubject { subjects } => {
                return write!(f, "choose one ({})", subjects.join(", "));
            }
            Self::ChoosePerson { people } => return write!(f, "choose one, 1 to {people}"),
            Self::ChoosePersonAt { people } => {
                return write!(f, "choose one: {}", people.join(", "));
            }
            Self::TakeBackSaid { one, other } => {
                return write!(f, "take back what was said of {one} and {other}");
            }
            Self::AnotherLayout => "name another layout",
            Self::LayoutOfJoints => "if it holds joints despite its name, give their layout",
            Self::KeepWholeFrames => "keep the complete frames",
            Self::DropLastRow => "drop an incomplete last one",
            Self::DropLastFrame => "drop the incomplete frame",
            Self::NameJoints => "say which joints they are, in order",
            Self::CorrectJoints => "correct the order of the joints",
            Self::SayUp => "say which: x, y or z",
            Self::CorrectUp => "correct which axis points up",
            Self::GiveRegion => "say where in the picture the player is",
            Self::SayRate => "say it",
            Self::CorrectRate => "correct it",
            Self::RateForTimes => "give the sample rate and leave the time out",
            Self::SayCaptureRate => "give the rate it was filmed at",
            Self::SayPictureSize => "give its size in pixels",
            Self::CheckUnit => "check it",
            Self::Mirror => "swap them if they are",
            Self::SayHand => "say which hand serves if you know",
            Self::SayView => "say from where it was filmed if you know",
            Self::LeaveOutOdd => "leave out the odd single serve",
            Self::Rebuild => "let `verify` rebuild it",
            Self::ReadOnly => "opening it for reading only",
        })
    }
}

/// At most `most` characters of what was found, for a refusal.
pub(crate) fn excerpt(found: &str, most: usize) -> String {
    match found.char_indices().nth(most) {
        Some((end, _)) => format!("{}...", &found[..end]),
        None => found.to_owned(),
    }
}
