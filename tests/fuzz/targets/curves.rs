//! The index of curves, as it is kept in a library's `curves` folder.

use std::cell::RefCell;

use curve_index::{DtwParams, Index, Nearest, Strategy};
use flate2::Crc;
use tempfile::TempDir;

use super::target::{Target, target};
use super::{said, scratch};

pub(super) const FILE: Target = target("curve_file", raw, 1 << 16, 2, 8_192);
pub(super) const FILE_SUMMED: Target = target("curve_file_summed", summed, 1 << 16, 2, 16_384);

/// Numbers of a curve with which still something is asked; the library's curves have 1,212.
const LARGEST: usize = 1 << 14;

thread_local! {
    static FOLDER: RefCell<TempDir> = RefCell::new(scratch());
}

/// The bytes as they are: sums turn most changes away.
fn raw(bytes: &[u8]) {
    FOLDER.with_borrow(|folder| {
        let path = folder.path().join("curves.index");
        std::fs::write(&path, bytes).unwrap();
        match Index::open(&path) {
            Ok(index) => {
                if let Err(error) = index.verify() {
                    said(&error);
                }
                ask(&index);
            }
            Err(error) => said(&error),
        }
        match Index::open_for_writing(&path) {
            Ok(mut index) => {
                let values = index.shape().values();
                if values <= LARGEST
                    && let Err(error) = index.append([(u64::MAX - 7, &vec![0.5; values][..])])
                {
                    said(&error);
                }
                let first = index.ids().next();
                if let Some(id) = first
                    && let Err(error) = index.delete(&[id])
                {
                    said(&error);
                }
                if let Err(error) = index.compact() {
                    said(&error);
                }
                ask(&index);
            }
            Err(error) => said(&error),
        }
    });
}

/// With every sum made right again, as whoever means harm would.
fn summed(bytes: &[u8]) {
    let mut bytes = bytes.to_vec();
    sum(&mut bytes);
    raw(&bytes);
}

fn ask(index: &Index) {
    let shape = index.shape();
    if shape.values() > LARGEST {
        return;
    }
    let query: Vec<f32> = (0..shape.values()).map(|at| (at % 13) as f32 * 0.1).collect();
    let params = DtwParams::new(shape.channels()).band_frames(3).check().unwrap();
    for strategy in [Strategy::Pruned, Strategy::Scan] {
        match index.nearest(&query, &Nearest::new(&params, 3).strategy(strategy)) {
            Ok(answer) => assert!(answer.neighbours.len() <= 3),
            Err(error) => said(&error),
        }
    }
}

fn crc(bytes: &[u8]) -> [u8; 4] {
    let mut crc = Crc::new();
    crc.update(bytes);
    crc.sum().to_le_bytes()
}

fn number(bytes: &[u8], at: usize) -> Option<usize> {
    let word: [u8; 8] = bytes.get(at..at.checked_add(8)?)?.try_into().ok()?;
    usize::try_from(u64::from_le_bytes(word)).ok()
}

/// Sums of sections, manifests, commit records and header, in that order (`index/docs/format.md`).
fn sum(bytes: &mut [u8]) -> Option<()> {
    for record in [4096, 8192] {
        if let Some([at, len]) = manifest(bytes, record) {
            sections(bytes, at, len);
            let crc = crc(&bytes[at..at + len]);
            bytes.get_mut(record + 32..record + 36)?.copy_from_slice(&crc);
        }
        let whole = bytes.get_mut(record..record + 40)?;
        let crc = crc(&whole[..36]);
        whole[36..].copy_from_slice(&crc);
    }
    let head = if bytes[8] == 1 { 20 } else { 36 };
    let crc = crc(&bytes[..head]);
    bytes[head..head + 4].copy_from_slice(&crc);
    Some(())
}

fn manifest(bytes: &[u8], record: usize) -> Option<[usize; 2]> {
    let (at, len) = (number(bytes, record + 16)?, number(bytes, record + 24)?);
    (at.checked_add(len)? <= bytes.len()).then_some([at, len])
}

fn sections(bytes: &mut [u8], at: usize, len: usize) -> Option<()> {
    let mut at_now = at + 8;
    for _ in 0..number(bytes, at)? {
        let count = number(bytes, at_now + 8)?;
        at_now += 16;
        for _ in 0..count {
            if at_now + 24 > at + len {
                return None;
            }
            let (from, size) = (number(bytes, at_now + 8)?, number(bytes, at_now + 16)?);
            let crc = crc(bytes.get(from..from.checked_add(size)?)?);
            bytes.get_mut(at_now + 4..at_now + 8)?.copy_from_slice(&crc);
            at_now += 24;
        }
    }
    Some(())
}
