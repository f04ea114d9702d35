//! Whole files, read in parts so that a long one can be stopped on its way, and several as one.

use std::fs::File;
use std::io::{self, Cursor, Read, Write};
use std::path::Path;

use bincode::serde::decode_from_slice;
use serde::de::DeserializeOwned;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use crate::work::Watch;

/// Bytes read before the watch is asked again.
const PART: usize = 1 << 20;

/// Copies to the end.
///
/// # Errors
/// If reading or writing fails, or [`Stopped`](crate::work::Stopped) inside an [`io::Error`].
pub(crate) fn copy(from: &mut impl Read, to: &mut impl Write, watch: &Watch) -> io::Result<()> {
    let mut part = vec![0; PART];
    loop {
        watch.check().map_err(io::Error::other)?;
        match from.read(&mut part)? {
            0 => return Ok(()),
            read => to.write_all(&part[..read])?,
        }
    }
}

/// A file's name that every usual system takes, made of `name`: what Windows keeps for itself
/// (`aux`, `con`, a colon, a dot or blank at the end) and what separates folders is replaced.
pub(crate) fn portable_name(name: &str) -> String {
    const LONGEST: usize = 100;
    const DEVICES: [&str; 4] = ["con", "prn", "aux", "nul"];
    let plain = |c: char| {
        if c.is_control() || r#"<>:"/\|?*"#.contains(c) { '-' } else { c }
    };
    let mut plain: String = name.chars().map(plain).take(LONGEST).collect();
    plain.truncate(plain.trim_end_matches([' ', '.']).len());
    let stem = plain.split('.').next().unwrap_or_default().trim_end().to_ascii_lowercase();
    let numbered = |port: &str| {
        stem.strip_prefix(port)
            .is_some_and(|rest| rest.len() == 1 && rest.as_bytes()[0].is_ascii_digit())
    };
    if plain.is_empty() || DEVICES.contains(&stem.as_str()) || numbered("com") || numbered("lpt") {
        plain.insert(0, '_');
    }
    plain
}

/// The blake3 of a file's bytes. Cost: reads it once.
///
/// # Errors
/// As [`copy`].
pub(crate) fn content_hash(path: &Path, watch: &Watch) -> io::Result<blake3::Hash> {
    let mut hasher = blake3::Hasher::new();
    copy(&mut File::open(path)?, &mut hasher, watch)?;
    Ok(hasher.finalize())
}

/// Bytes up to which [`decode`] gives a value less room.
const SMALL: usize = 1 << 20;

/// A value that [`bincode`] wrote, and how many bytes it took. Lengths are only claimed by the bytes: a few may take
/// no more memory than they can stand for (a text of one letter becomes 24 bytes), none more than `MOST`.
pub(crate) fn decode<T: DeserializeOwned, const MOST: usize>(
    bytes: &[u8],
) -> Result<(T, usize), bincode::error::DecodeError> {
    let config = bincode::config::standard();
    if bytes.len() <= SMALL && 32 * SMALL < MOST {
        decode_from_slice(bytes, config.with_limit::<{ 32 * SMALL }>())
    } else {
        decode_from_slice(bytes, config.with_limit::<MOST>())
    }
}

/// Entries as a ZIP file, deflated, in this order, without times or rights.
pub(crate) fn zipped(entries: &[(&str, &[u8])]) -> zip::result::ZipResult<Vec<u8>> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(zip::DateTime::default());
    for (name, content) in entries {
        writer.start_file(*name, options)?;
        writer.write_all(content)?;
    }
    Ok(writer.finish()?.into_inner())
}

#[cfg(test)]
mod tests {
    use super::portable_name;

    /// What Windows refuses or takes for a device, by Microsoft's page "Naming Files, Paths, and
    /// Namespaces" (from memory).
    #[test]
    fn names_of_files_pass_on_every_system() {
        for (name, expected) in [
            ("serve 3.mp4", "serve 3.mp4"),
            ("aux", "_aux"),
            ("CON.csv", "_CON.csv"),
            ("com1.tar.gz", "_com1.tar.gz"),
            ("lpt9", "_lpt9"),
            ("com10.csv", "com10.csv"),
            ("console.csv", "console.csv"),
            ("dot.", "dot"),
            ("blank. . ", "blank"),
            ("a:b", "a-b"),
            ("../../etc/passwd", "..-..-etc-passwd"),
            ("c:\\x\ny", "c--x-y"),
            ("...", "_"),
            ("", "_"),
            ("Müller.c3d", "Müller.c3d"),
        ] {
            assert_eq!(portable_name(name), expected, "{name:?}");
        }
        assert_eq!(portable_name(&"é".repeat(300)).chars().count(), 100);
    }
}
