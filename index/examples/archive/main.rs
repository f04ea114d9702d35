//! The 1-nearest-neighbour error on a data set of the UCR/UEA archive.
//!
//! `cargo run --release -p curve-index --example archive -- TRAIN.ts TEST.ts [--band 1.0]`
//!
//! `--band` is a fraction of the length here, because the archive states it so; 1.0 is no band.

#![allow(clippy::print_stdout, clippy::print_stderr, missing_docs)]

mod ts;

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    match run() {
        Ok(line) => {
            println!("{line}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("archive: {error}");
            ExitCode::from(2)
        }
    }
}

fn run() -> Result<String, String> {
    let usage = "usage: archive TRAIN.ts TEST.ts [--band FRACTION]";
    let mut files = Vec::new();
    let mut band = 1.0_f64;
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        if word == "--band" {
            let value = words.next().ok_or(usage)?;
            band =
                value.parse().map_err(|_| format!("--band: expected a number, found {value}"))?;
            if !(0.0..=1.0).contains(&band) {
                return Err(format!("--band: expected 0 to 1, found {band}"));
            }
        } else if word.starts_with("--") {
            return Err(format!("unknown option {word}; {usage}"));
        } else {
            files.push(word);
        }
    }
    let [train, test] = files.as_slice() else {
        return Err(usage.to_owned());
    };
    let (train, test) = (ts::read(Path::new(train))?, ts::read(Path::new(test))?);
    if train.shape != test.shape {
        return Err(format!("series differ: {:?} and {:?}", train.shape, test.shape));
    }
    let (wrong, of) = ts::errors(&train, &test, band, curve_index::Strategy::Pruned)?;
    Ok(format!("error {:.4} ({wrong} of {of})", wrong as f64 / of as f64))
}
