//! Whole files, read in parts so that a long one can be stopped on its way, and several as one.

use std::fs::File;
use std::io::{self, Cursor, Read, Write};
use std::path::Path;

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

/// The blake3 of a file's bytes. Cost: reads it once.
///
/// # Errors
/// As [`copy`].
pub(crate) fn content_hash(path: &Path, watch: &Watch) -> io::Result<blake3::Hash> {
    let mut hasher = blake3::Hasher::new();
    copy(&mut File::open(path)?, &mut hasher, watch)?;
    Ok(hasher.finalize())
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
