//! Figures are not older than the format they are about, and say how they were measured.

#![allow(missing_docs)]

use std::path::{Path, PathBuf};

use curve_index::{Index, Shape, Stages};

/// Columns every record of today has, beside its figures.
const CONDITIONS: [&str; 5] = ["commit", "format", "lanes", "threads", "shares"];

/// What the engine is timed beside: `bench/rivals.py`.
const RIVALS: [&str; 3] = ["dtaidistance ", "aeon ", "tslearn "];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The format that is written, as a file says.
fn format() -> u32 {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("new.index");
    drop(Index::create(&path, Shape::new(4, 1).unwrap()).unwrap().finish().unwrap());
    u32::from_le_bytes(std::fs::read(&path).unwrap()[8..12].try_into().unwrap())
}

/// Records that say how they were measured: file and rows, each as long as the head, which comes first.
fn records() -> Vec<(PathBuf, Vec<Vec<String>>)> {
    let mut all = Vec::new();
    for machine in std::fs::read_dir(root().join("bench/record")).unwrap() {
        for file in std::fs::read_dir(machine.unwrap().path()).unwrap() {
            let path = file.unwrap().path();
            let text = std::fs::read_to_string(&path).unwrap();
            let row = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
            let rows: Vec<Vec<String>> = text.lines().map(row).collect();
            if rows[0].iter().any(|name| name == "format") {
                all.push((path, rows));
            }
        }
    }
    all
}

fn problem(head: &[String], row: &[String]) -> Option<String> {
    let at = |name: &str| {
        let column = head.iter().position(|own| own == name)?;
        row.get(column).filter(|_| row.len() == head.len())
    };
    for name in CONDITIONS {
        if at(name).is_none() {
            return Some(format!("no {name}"));
        }
    }
    let [commit, format, lanes, threads, shares] = CONDITIONS.map(|name| at(name).unwrap());
    if commit.len() < 7 || !commit.chars().all(|one| one.is_ascii_hexdigit()) {
        return Some(format!("commit {commit}"));
    }
    if !["best", "portable", "avx2", "avx512"].contains(&lanes.as_str()) {
        return Some(format!("lanes {lanes}"));
    }
    if ![format, threads].iter().all(|one| one.parse::<u32>().is_ok_and(|number| number > 0)) {
        return Some(format!("format {format}, threads {threads}"));
    }
    // Other libraries have no stages of ours.
    let is_rival = at("what").is_some_and(|what| {
        let what = what.trim_matches('"');
        RIVALS.iter().any(|rival| what.starts_with(rival))
    });
    if is_rival {
        return (!shares.is_empty()).then(|| format!("shares of a rival: {shares}"));
    }
    let shares: Vec<(&str, &str)> =
        shares.split(' ').filter_map(|share| share.split_once('=')).collect();
    for (stage, _) in Stages::default().named() {
        let share = shares.iter().find(|(name, _)| *name == stage);
        if !share.is_some_and(|(_, share)| share.parse().is_ok_and(|x| (0.0..=1.0).contains(&x))) {
            return Some(format!("share of {stage}: {share:?}"));
        }
    }
    None
}

#[test]
fn the_newest_record_is_of_the_format_written() {
    let records = records();
    // Names begin with the date.
    let newest = records.iter().max_by_key(|(path, _)| path.file_name().unwrap().to_owned());
    let (path, rows) = newest.expect("a record that says its format");
    let column = rows[0].iter().position(|name| name == "format").unwrap();
    assert!(rows.len() > 1, "{}", path.display());
    for row in &rows[1..] {
        assert_eq!(row[column], format().to_string(), "{}: measure again", path.display());
        let problem = problem(&rows[0], row);
        assert_eq!(problem, None, "{}: {row:?}", path.display());
    }
    let page = std::fs::read_to_string(root().join("docs/measured.md")).unwrap();
    let name = path.strip_prefix(root()).unwrap().to_str().unwrap();
    assert!(page.contains(name), "docs/measured.md does not speak of {name}");
}

#[test]
fn a_record_without_its_conditions_is_noticed() {
    let row = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
    let head = row("what,median_ms,commit,format,lanes,threads,shares");
    let shares: Vec<String> =
        Stages::default().named().iter().map(|(name, _)| format!("{name}=0.5")).collect();
    let shares = shares.join(" ");
    let good = format!("a,1.0,875bed9,3,best,1,{shares}");
    assert_eq!(problem(&head, &row(&good)), None);
    for (from, to) in [
        ("875bed9", "today"),
        (",3,", ",,"),
        ("best", "fast"),
        (",1,", ",0,"),
        ("kernel=0.5", "kernel=1.5"),
        ("curves=0.5 ", ""),
    ] {
        assert!(problem(&head, &row(&good.replacen(from, to, 1))).is_some(), "{from}");
    }
    assert!(problem(&row("what,median_ms"), &row("a,1.0")).is_some());
    // Another library's row has no shares, and only that.
    let of = |what: &str, shares: &str| row(&format!("{what},1.0,875bed9,3,best,1,{shares}"));
    assert_eq!(problem(&head, &of("\"aeon 1.6.0\"", "")), None);
    assert!(problem(&head, &of("\"aeon 1.6.0\"", &shares)).is_some());
    assert!(problem(&head, &of("\"curve-index pruned\"", "")).is_some());
}
