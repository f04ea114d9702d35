//! Reading `float32` arrays of three axes from NPY files, a curve at a time.
//!
//! Format: <https://numpy.org/doc/stable/reference/generated/numpy.lib.format.html>.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

/// An open array of curves.
pub(crate) struct Curves {
    pub(crate) count: usize,
    pub(crate) frames: usize,
    pub(crate) channels: usize,
    reader: BufReader<File>,
}

/// Opens an array of shape (count, frames, channels), little-endian `float32`, C order.
pub(crate) fn open(path: &Path) -> Result<Curves, String> {
    let name = path.display();
    let file = File::open(path).map_err(|error| format!("{name}: {error}"))?;
    let file_len = file.metadata().map_err(|error| format!("{name}: {error}"))?.len();
    let mut reader = BufReader::with_capacity(1 << 20, file);
    let mut start = [0; 8];
    reader.read_exact(&mut start).map_err(|error| format!("{name}: {error}"))?;
    if &start[..6] != b"\x93NUMPY" {
        return Err(format!("{name}: no NPY file"));
    }
    let size = if start[6] == 1 { 2 } else { 4 };
    let mut len = [0; 4];
    reader.read_exact(&mut len[..size]).map_err(|error| format!("{name}: {error}"))?;
    let header_len = u32::from_le_bytes(len);
    if u64::from(header_len) > file_len {
        return Err(format!("{name}: the header promises more than the file holds"));
    }
    let mut header = vec![0; header_len as usize];
    reader.read_exact(&mut header).map_err(|error| format!("{name}: {error}"))?;
    let header = String::from_utf8_lossy(&header);
    let value = |key: &str| {
        let (_, rest) = header.split_once(&format!("'{key}':"))?;
        Some(rest.trim_start())
    };
    if !value("descr").is_some_and(|rest| rest.starts_with("'<f4'")) {
        return Err(format!("{name}: expected little-endian float32 ('<f4'), found {header}"));
    }
    if !value("fortran_order").is_some_and(|rest| rest.starts_with("False")) {
        return Err(format!("{name}: expected C order, found Fortran order; save a copy"));
    }
    let shape: Vec<usize> = value("shape")
        .and_then(|rest| rest.strip_prefix('(')?.split_once(')'))
        .map(|(shape, _)| shape.split(',').filter_map(|axis| axis.trim().parse().ok()).collect())
        .unwrap_or_default();
    let [count, frames, channels] = shape[..] else {
        return Err(format!("{name}: expected (curves, frames, channels), found {shape:?}"));
    };
    let values = count.checked_mul(frames).and_then(|some| some.checked_mul(channels));
    if values.is_none_or(|values| values as u64 > file_len / 4) {
        return Err(format!("{name}: promises {shape:?}, the file is shorter; save it again"));
    }
    Ok(Curves { count, frames, channels, reader })
}

impl Curves {
    /// The next curve into `curve`; the caller asks `count` times at most.
    pub(crate) fn next(&mut self, curve: &mut Vec<f32>) -> Result<(), String> {
        let mut bytes = vec![0; self.frames * self.channels * 4];
        self.reader.read_exact(&mut bytes).map_err(|error| format!("reading a curve: {error}"))?;
        curve.clear();
        curve.extend(bytes.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])));
        Ok(())
    }
}
