//! The engine against published errors of 1-nearest-neighbour DTW, full window.
//!
//! Source: UCR and UEA archives, published baselines (`DTW (w=100)` of the 2018 summary; dependent
//! multivariate DTW, not normalised, of the 2018 multivariate archive). The data lie in the PyPI
//! package `aeon`, folder `aeon/datasets/data`; name it in `PRECEDENT_ARCHIVE`.

#![allow(missing_docs)]

#[path = "support/skip.rs"]
mod skip;
#[path = "../examples/archive/ts.rs"]
mod ts;

use std::path::PathBuf;

use curve_index::Strategy;

fn check(name: &str, published: f64) {
    let Some(folder) = std::env::var_os("PRECEDENT_ARCHIVE").map(PathBuf::from) else {
        skip::skipped(&format!("{name}: PRECEDENT_ARCHIVE names no folder of archive data"));
        return;
    };
    let file = |part| folder.join(name).join(format!("{name}_{part}.ts"));
    let (train, test) = (ts::read(&file("TRAIN")).unwrap(), ts::read(&file("TEST")).unwrap());
    let (wrong, of) = ts::errors(&train, &test, 1.0, Strategy::Pruned).unwrap();
    let error = wrong as f64 / of as f64;
    assert!((error - published).abs() < 5e-5, "{name}: error {error}, published {published}");
}

#[test]
fn gun_point() {
    check("GunPoint", 0.0933);
}

#[test]
fn italy_power_demand() {
    check("ItalyPowerDemand", 0.0496);
}

#[test]
fn arrow_head() {
    check("ArrowHead", 0.2971);
}

#[test]
fn osu_leaf() {
    check("OSULeaf", 0.4091);
}

#[test]
fn acsf1() {
    check("ACSF1", 0.36);
}

#[test]
fn basic_motions() {
    check("BasicMotions", 0.025);
}
