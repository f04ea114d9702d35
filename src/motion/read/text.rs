//! What the text layouts share.

use super::errors::{FilePlace, ReadErrorKind, excerpt};
use super::raw::checked;

/// A finite number within reach.
pub(super) fn number(field: &str, place: impl Fn() -> FilePlace) -> Result<f64, ReadErrorKind> {
    match field.trim().parse::<f64>() {
        Ok(value) => checked(value, place),
        Err(_) => Err(ReadErrorKind::NotANumber { place: place(), found: excerpt(field) }),
    }
}

/// A finite number of a header: a count, a rate, not a coordinate.
pub(super) fn finite(field: &str, place: impl Fn() -> FilePlace) -> Result<f64, ReadErrorKind> {
    match field.trim().parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        Ok(value) => Err(ReadErrorKind::NotFinite { place: place(), found: value.to_string() }),
        Err(_) => Err(ReadErrorKind::NotANumber { place: place(), found: excerpt(field) }),
    }
}

/// The bytes as text without byte-order mark; `None` if they are not UTF-8 or hold zero bytes.
pub(super) fn as_text(bytes: &[u8]) -> Option<&str> {
    let text = std::str::from_utf8(bytes).ok()?;
    (!text.contains('\0')).then(|| text.strip_prefix('\u{feff}').unwrap_or(text))
}
