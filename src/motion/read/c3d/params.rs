//! The parameter section: groups of named, typed, dimensioned values.

use std::collections::BTreeMap;

use super::BLOCK;
use super::bytes::Processor;
use crate::motion::read::Layout;
use crate::motion::read::errors::{FilePlace, ReadErrorKind, excerpt};

/// One parameter: where its values lie in the file.
struct Parameter {
    group: i8,
    name: String,
    kind: i8,
    dims: Vec<usize>,
    /// Byte range of the data, already checked to lie in the file.
    data: std::ops::Range<usize>,
}

/// All parameters of a file. Borrows the bytes; holds nothing larger than the file.
pub(super) struct Parameters<'a> {
    bytes: &'a [u8],
    processor: Processor,
    /// Names by group number, 1 to 127; the first one given counts.
    groups: BTreeMap<i8, String>,
    parameters: Vec<Parameter>,
}

fn broken(at: usize, expected: &'static str, found: impl Into<String>) -> ReadErrorKind {
    ReadErrorKind::Structure {
        layout: Layout::C3d,
        place: FilePlace::Byte(at as u64),
        expected,
        found: found.into(),
    }
}

impl<'a> Parameters<'a> {
    /// Reads the section that starts at byte `start` (its 4-byte head already read).
    ///
    /// It ends at a record without a name or number, at one without an offset, or, where a writer
    /// left all that out, with the blocks its head counts: files of 1999 in SGI order go on with
    /// their data there. A count that is too small, as of a section beyond 255 blocks, ends nothing
    /// before the points are described.
    pub(super) fn read(
        bytes: &'a [u8],
        start: usize,
        processor: Processor,
    ) -> Result<Self, ReadErrorKind> {
        let mut this = Self { bytes, processor, groups: BTreeMap::new(), parameters: Vec::new() };
        let blocks = bytes.get(start + 2).copied().map_or(0, usize::from);
        let end = start + blocks * BLOCK;
        let mut at = start + 4;
        // Ends because `at` grows with every round: `next` is checked to lie beyond it.
        loop {
            if blocks > 0 && at + 2 > end && this.find("POINT", "USED").is_some() {
                return Ok(this);
            }
            let Some(&[name_len, id]) = bytes.get(at..at + 2) else {
                return Err(broken(at, "another parameter or the end mark", "the end of the file"));
            };
            let (name_len, id) = (usize::from((name_len as i8).unsigned_abs()), id as i8);
            if name_len == 0 || id == 0 {
                return Ok(this);
            }
            let name_at = at + 2;
            let offset_at = name_at + name_len;
            let name = this.slice(name_at, offset_at, "a name")?;
            let name = String::from_utf8_lossy(name).trim().to_ascii_uppercase();
            let offset = this.slice(offset_at, offset_at + 2, "an offset")?;
            let offset = usize::from(processor.u16([offset[0], offset[1]]));
            if id < 0 {
                this.groups.entry(id.saturating_neg()).or_insert(name);
            } else {
                let parameter = this.parameter(id, name, offset_at + 2)?;
                this.parameters.push(parameter);
            }
            if offset == 0 {
                return Ok(this);
            }
            let next = offset_at + offset;
            if next <= at {
                return Err(broken(offset_at, "an offset forward", offset.to_string()));
            }
            at = next;
        }
    }

    fn slice(&self, from: usize, to: usize, what: &'static str) -> Result<&'a [u8], ReadErrorKind> {
        self.bytes.get(from..to).ok_or_else(|| broken(from, what, "the end of the file"))
    }

    fn parameter(&self, group: i8, name: String, at: usize) -> Result<Parameter, ReadErrorKind> {
        let head = self.slice(at, at + 2, "a type and a dimension count")?;
        let kind = head[0] as i8;
        let size = match kind {
            -1 | 1 => 1,
            2 => 2,
            4 => 4,
            other => return Err(broken(at, "a type of -1, 1, 2 or 4", other.to_string())),
        };
        let count = usize::from(head[1]);
        if count > 7 {
            return Err(broken(at + 1, "at most 7 dimensions", count.to_string()));
        }
        let data_at = at + 2 + count;
        let dims: Vec<usize> = self
            .slice(at + 2, data_at, "dimensions")?
            .iter()
            .map(|&dim| usize::from(dim))
            .collect();
        // 7 dimensions of 255 and a size of 4 stay below 2^59.
        let length = dims.iter().product::<usize>() * size;
        let end = data_at + length;
        if end > self.bytes.len() {
            return Err(ReadErrorKind::PastTheEnd {
                layout: Layout::C3d,
                what: "a parameter",
                promised: end as u64,
                held: self.bytes.len() as u64,
            });
        }
        Ok(Parameter { group, name, kind, dims, data: data_at..end })
    }

    fn find(&self, group: &str, name: &str) -> Option<&Parameter> {
        self.parameters.iter().find(|parameter| {
            parameter.name == name
                && self.groups.get(&parameter.group).is_some_and(|held| held == group)
        })
    }

    /// All numbers of a numeric parameter; integers as signed.
    pub(super) fn numbers(&self, group: &str, name: &str) -> Option<Vec<f64>> {
        let parameter = self.find(group, name)?;
        let data = &self.bytes[parameter.data.clone()];
        Some(match parameter.kind {
            1 => data.iter().map(|&byte| f64::from(byte as i8)).collect(),
            2 => data
                .chunks_exact(2)
                .map(|pair| f64::from(self.processor.i16([pair[0], pair[1]])))
                .collect(),
            4 => data
                .chunks_exact(4)
                .map(|four| f64::from(self.processor.f32([four[0], four[1], four[2], four[3]])))
                .collect(),
            _ => return None,
        })
    }

    /// First number of a numeric parameter.
    pub(super) fn number(&self, group: &str, name: &str) -> Option<f64> {
        self.numbers(group, name)?.first().copied()
    }

    /// A count: 16-bit integers are unsigned here, as all writers of long files use them.
    pub(super) fn count(&self, group: &str, name: &str) -> Option<u64> {
        let value = self.number(group, name)?;
        let value =
            if self.find(group, name)?.kind == 2 && value < 0.0 { value + 65_536.0 } else { value };
        (value >= 0.0 && value.fract() == 0.0 && value < 1e15).then_some(value as u64)
    }

    /// A frame number stored as two 16-bit words, low word first.
    pub(super) fn wide_count(&self, group: &str, name: &str) -> Option<u64> {
        let words = self.numbers(group, name)?;
        let word = |value: f64| {
            let value = if value < 0.0 { value + 65_536.0 } else { value };
            (value >= 0.0 && value.fract() == 0.0 && value < 65_536.0).then_some(value as u64)
        };
        match words.as_slice() {
            [low, high, ..] => Some(word(*low)? + (word(*high)? << 16)),
            _ => self.count(group, name),
        }
    }

    /// The texts of a character parameter, blanks and zero bytes cut off.
    pub(super) fn texts(&self, group: &str, name: &str) -> Option<Vec<String>> {
        let parameter = self.find(group, name).filter(|parameter| parameter.kind == -1)?;
        let data = &self.bytes[parameter.data.clone()];
        let width = match parameter.dims.as_slice() {
            [] => 1,
            [width, ..] => *width,
        };
        let text = |bytes: &[u8]| {
            let text = String::from_utf8_lossy(bytes);
            text.trim_matches(|c: char| c.is_whitespace() || c == '\0').to_owned()
        };
        Some(data.chunks(width.max(1)).map(text).collect())
    }

    /// `texts` of `name`, `name`2, `name`3 ... one after the other: lists longer than 255.
    pub(super) fn long_texts(&self, group: &str, name: &str) -> Option<Vec<String>> {
        let mut list = self.texts(group, name)?;
        for more in 2.. {
            match self.texts(group, &format!("{name}{more}")) {
                Some(texts) => list.extend(texts),
                None => break,
            }
        }
        Some(list)
    }

    /// Is there a group of this name?
    pub(super) fn has_group(&self, group: &str) -> bool {
        self.groups.values().any(|name| name == group)
    }

    /// Group names, shortened, for messages.
    pub(super) fn group_names(&self) -> String {
        let names: Vec<_> = self.groups.values().take(8).map(|name| excerpt(name)).collect();
        if names.is_empty() { "no group".to_owned() } else { names.join(", ") }
    }
}
