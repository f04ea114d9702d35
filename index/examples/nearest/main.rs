//! The nearest curves of a library to each of a set of queries, from NPY files.
//!
//! `cargo run --release -p curve-index --example nearest -- LIBRARY.npy QUERIES.npy
//! --band-frames 10 -k 10 [--threads 1] [--strategy scan|pruned] [--weights W,W,..]`
//!
//! Both files hold `float32` arrays of shape (curves, frames, channels); ids are row numbers. One
//! JSON object per query on stdout: `query`, `ids`, `distances` (square roots of the costs),
//! `costs`, `milliseconds`, and `shares`, the share of curves that reached each stage. Build time goes
//! to stderr.

#![allow(clippy::print_stderr, missing_docs)]

mod npy;

use std::io::Write as _;
use std::num::NonZeroUsize;
use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

use curve_index::{DtwParams, Index, Nearest, Shape, Strategy};

const USAGE: &str = "usage: nearest LIBRARY.npy QUERIES.npy --band-frames N -k K \
    [--threads N] [--strategy scan|pruned] [--weights W,W,..]";

struct Plan {
    library: String,
    queries: String,
    band_frames: usize,
    k: usize,
    threads: NonZeroUsize,
    strategy: Strategy,
    weights: Option<Vec<f64>>,
}

fn main() -> ExitCode {
    match plan().and_then(|plan| run(&plan)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("nearest: {error}");
            ExitCode::from(2)
        }
    }
}

fn plan() -> Result<Plan, String> {
    let mut files = Vec::new();
    let (mut band_frames, mut k) = (None, None);
    let (mut threads, mut strategy, mut weights) = (NonZeroUsize::MIN, Strategy::Pruned, None);
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        if !word.starts_with('-') {
            files.push(word);
            continue;
        }
        let value = words.next().ok_or_else(|| format!("{word}: a value is missing; {USAGE}"))?;
        let bad = || format!("{word}: cannot use '{value}'; {USAGE}");
        match word.as_str() {
            "--band-frames" => band_frames = Some(value.parse().map_err(|_| bad())?),
            "-k" => k = Some(value.parse().map_err(|_| bad())?),
            "--threads" => threads = value.parse().map_err(|_| bad())?,
            "--strategy" if value == "scan" => strategy = Strategy::Scan,
            "--strategy" if value == "pruned" => strategy = Strategy::Pruned,
            "--weights" => {
                let list: Result<Vec<f64>, _> = value.split(',').map(str::parse).collect();
                weights = Some(list.map_err(|_| bad())?);
            }
            _ => return Err(bad()),
        }
    }
    let [library, queries] = files.try_into().map_err(|_| USAGE.to_owned())?;
    let band_frames = band_frames.ok_or_else(|| format!("--band-frames is missing; {USAGE}"))?;
    let k = k.ok_or_else(|| format!("-k is missing; {USAGE}"))?;
    Ok(Plan { library, queries, band_frames, k, threads, strategy, weights })
}

fn run(plan: &Plan) -> Result<(), String> {
    let mut library = npy::open(Path::new(&plan.library))?;
    let mut queries = npy::open(Path::new(&plan.queries))?;
    let shape = Shape::new(library.frames, library.channels).map_err(|error| error.to_string())?;
    let mut params = DtwParams::new(shape.channels()).band_frames(plan.band_frames);
    if let Some(weights) = &plan.weights {
        params = params.weights(weights);
    }
    let params = params.check().map_err(|error| error.to_string())?;

    let started = Instant::now();
    let mut builder = Index::in_memory(shape);
    let mut curve = Vec::new();
    for id in 0..library.count as u64 {
        library.next(&mut curve)?;
        builder.push(id, &curve).map_err(|error| format!("{}: {error}", plan.library))?;
    }
    let index = builder.finish().map_err(|error| error.to_string())?;
    eprintln!("built {} curves in {:.2} s", index.len(), started.elapsed().as_secs_f64());

    let what = Nearest::new(&params, plan.k).threads(plan.threads).strategy(plan.strategy);
    let mut out = std::io::stdout().lock();
    for number in 0..queries.count {
        queries.next(&mut curve)?;
        let started = Instant::now();
        let answer = index
            .nearest(&curve, &what)
            .map_err(|error| format!("{}: query {number}: {error}", plan.queries))?;
        let milliseconds = started.elapsed().as_secs_f64() * 1e3;
        let list = |text: fn(&curve_index::Neighbour) -> String| {
            answer.neighbours.iter().map(text).collect::<Vec<_>>().join(",")
        };
        let shares: Vec<String> = answer
            .stages
            .named()
            .iter()
            .map(|(stage, curves)| {
                format!("\"{stage}\":{:.6}", *curves as f64 / answer.stages.curves.max(1) as f64)
            })
            .collect();
        let line = format!(
            "{{\"query\":{number},\"ids\":[{}],\"distances\":[{}],\"costs\":[{}],\
             \"milliseconds\":{milliseconds:.4},\"shares\":{{{}}}}}",
            list(|near| near.id.to_string()),
            list(|near| near.distance().to_string()),
            list(|near| near.cost.to_string()),
            shares.join(",")
        );
        match writeln!(out, "{line}") {
            // Whoever read along has seen enough.
            Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => return Ok(()),
            written => written.map_err(|error| format!("standard output: {error}"))?,
        }
    }
    Ok(())
}
