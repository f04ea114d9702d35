//! The nearest curves of a library to each of a set of queries, from NPY files.
//!
//! `cargo run --release -p curve-index --example nearest -- LIBRARY.npy QUERIES.npy
//! --band-frames 10 -k 10 [--threads 1] [--strategy scan|pruned|keogh] [--weights W,W,..] [--index FILE]
//! [--runs 1] [--one-in N] [--mapped-mb M]`
//!
//! The library is indexed in memory, or in FILE, which is opened if it is there already. `--one-in` lets
//! every N-th curve through (not with `keogh`, which is the plain search behind LB_Keogh, on one thread), evenly drawn; `--mapped-mb` lets so much of a file stay mapped; of several
//! runs of a query the time is the smallest.
//!
//! Both files hold `float32` arrays of shape (curves, frames, channels); ids are row numbers. One
//! JSON object per query on stdout: `query`, `ids`, `distances` (square roots of the costs),
//! `costs`, `milliseconds`, and `shares`, the share of curves that reached each stage. Build time goes
//! to stderr.

#![allow(clippy::print_stderr, missing_docs)]

mod keogh;
mod npy;

use std::io::Write as _;
use std::num::NonZeroUsize;
use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

use curve_index::{Answer, DtwParams, IdFilter, Index, Nearest, Shape, Stages, Strategy};

const USAGE: &str = "usage: nearest LIBRARY.npy QUERIES.npy --band-frames N -k K \
    [--threads N] [--strategy scan|pruned|keogh] [--weights W,W,..] [--index FILE] [--runs N] [--one-in N] \
    [--mapped-mb M]";

struct Plan {
    library: String,
    queries: String,
    band_frames: usize,
    k: usize,
    threads: NonZeroUsize,
    /// `None`: the plain search behind LB_Keogh.
    strategy: Option<Strategy>,
    weights: Option<Vec<f64>>,
    index: Option<String>,
    runs: NonZeroUsize,
    one_in: Option<NonZeroUsize>,
    mapped_mb: Option<usize>,
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
    let (mut threads, mut strategy, mut weights) =
        (NonZeroUsize::MIN, Some(Strategy::Pruned), None);
    let (mut index, mut runs, mut one_in, mut mapped_mb) = (None, NonZeroUsize::MIN, None, None);
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
            "--strategy" if value == "scan" => strategy = Some(Strategy::Scan),
            "--strategy" if value == "pruned" => strategy = Some(Strategy::Pruned),
            "--strategy" if value == "keogh" => strategy = None,
            "--weights" => {
                let list: Result<Vec<f64>, _> = value.split(',').map(str::parse).collect();
                weights = Some(list.map_err(|_| bad())?);
            }
            "--index" => index = Some(value),
            "--runs" => runs = value.parse().map_err(|_| bad())?,
            "--one-in" => one_in = Some(value.parse().map_err(|_| bad())?),
            "--mapped-mb" => mapped_mb = Some(value.parse().map_err(|_| bad())?),
            _ => return Err(bad()),
        }
    }
    if strategy.is_none() && (one_in.is_some() || threads != NonZeroUsize::MIN) {
        return Err(format!("--strategy keogh: knows no --one-in and no --threads; {USAGE}"));
    }
    let [library, queries] = files.try_into().map_err(|_| USAGE.to_owned())?;
    let band_frames = band_frames.ok_or_else(|| format!("--band-frames is missing; {USAGE}"))?;
    let k = k.ok_or_else(|| format!("-k is missing; {USAGE}"))?;
    Ok(Plan {
        library,
        queries,
        band_frames,
        k,
        threads,
        strategy,
        weights,
        index,
        runs,
        one_in,
        mapped_mb,
    })
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

    let index = index_of(plan, shape, &mut library)?;
    let filter = plan.one_in.map(|n| {
        // Multiples of a large odd number lie evenly: no stretch of the library is left out.
        let drawn = |id: &u64| id.wrapping_mul(2_654_435_761).is_multiple_of(n.get() as u64);
        IdFilter::only((0..index.len() as u64).filter(drawn))
    });
    let mut what = Nearest::new(&params, plan.k)
        .threads(plan.threads)
        .strategy(plan.strategy.unwrap_or_default());
    if let Some(filter) = &filter {
        what = what.filter(filter);
    }
    if let Some(megabytes) = plan.mapped_mb {
        index.release_pages().map_err(|error| error.to_string())?;
        what = what.mapped_bytes(megabytes << 20);
    }
    let mut curve = Vec::new();
    let mut out = std::io::stdout().lock();
    for number in 0..queries.count {
        queries.next(&mut curve)?;
        let mut milliseconds = f64::INFINITY;
        let mut answer = Answer::default();
        for _ in 0..plan.runs.get() {
            let started = Instant::now();
            answer = match plan.strategy {
                Some(_) => index
                    .nearest(&curve, &what)
                    .map_err(|error| format!("{}: query {number}: {error}", plan.queries))?,
                None => {
                    let (neighbours, kernel) = keogh::nearest(&index, &curve, &params, plan.k);
                    let curves = index.len() as u64;
                    Answer { neighbours, stages: Stages { curves, kernel, ..Stages::default() } }
                }
            };
            milliseconds = milliseconds.min(started.elapsed().as_secs_f64() * 1e3);
        }
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

/// The library's index: in memory, or in the file asked for, which is built if it is not there.
fn index_of(plan: &Plan, shape: Shape, library: &mut npy::Curves) -> Result<Index, String> {
    let started = Instant::now();
    let mut builder = match plan.index.as_deref().map(Path::new) {
        Some(path) if path.exists() => {
            let index = Index::open(path).map_err(|error| error.to_string())?;
            if (index.shape(), index.len()) != (shape, library.count) {
                return Err(format!(
                    "{}: holds {} curves of {} x {}, {} has others; name another file",
                    path.display(),
                    index.len(),
                    index.shape().frames(),
                    index.shape().channels(),
                    plan.library
                ));
            }
            eprintln!("opened {} curves in {:.4} s", index.len(), started.elapsed().as_secs_f64());
            return Ok(index);
        }
        Some(path) => Index::create(path, shape).map_err(|error| error.to_string())?,
        None => Index::in_memory(shape),
    };
    let mut curve = Vec::new();
    for id in 0..library.count as u64 {
        library.next(&mut curve)?;
        builder.push(id, &curve).map_err(|error| format!("{}: {error}", plan.library))?;
    }
    let index = builder.finish().map_err(|error| error.to_string())?;
    eprintln!("built {} curves in {:.2} s", index.len(), started.elapsed().as_secs_f64());
    Ok(index)
}
