//! Distances and warping paths against `dtaidistance` 2.5.1 and `aeon` 1.6.0 (PyPI).
//!
//! The script beside the data made them.

#![allow(missing_docs)]

use curve_index::{Curve, DtwParams, Scratch, dtw, explain};

const GOLDEN: &str = include_str!("golden/dtw_dtaidistance-2.5.1_aeon-1.6.0.txt");

fn numbers<T: std::str::FromStr>(line: &str) -> Vec<T> {
    let number = |word: &str| word.parse().unwrap_or_else(|_| panic!("'{word}' in {line}"));
    line.split_whitespace().skip(1).map(number).collect()
}

fn assert_close(got: f64, want: f64, relative: f64, what: &str) {
    let off = (got - want).abs() / want.abs().max(f64::MIN_POSITIVE);
    assert!(off <= relative, "{what}: got {got}, want {want}, off by {off:e}");
}

#[test]
fn distances_and_paths_agree_with_reference_libraries() {
    let lines: Vec<&str> = GOLDEN.lines().collect();
    assert_eq!(lines.len() % 6, 0);
    assert!(lines.len() >= 60);
    for case in lines.chunks_exact(6) {
        let name = case[0];
        let [frames_a, frames_b, channels, band] = numbers::<usize>(name)[..] else {
            panic!("{name}");
        };
        let (a, b) = (numbers::<f32>(case[1]), numbers::<f32>(case[2]));
        let (root, squared) = (numbers::<f64>(case[3])[0], numbers::<f64>(case[4])[0]);
        let a = Curve::new(&a, channels).unwrap();
        let b = Curve::new(&b, channels).unwrap();
        assert_eq!((a.frames(), b.frames()), (frames_a, frames_b), "{name}");
        let params = DtwParams::new(channels).band_frames(band).check().unwrap();
        let cost = dtw(a, b, &params, f64::INFINITY, &mut Scratch::default()).unwrap();
        // Ours differs only in the order of additions.
        assert_close(cost.sqrt(), root, 1e-12, name);
        if frames_a == frames_b {
            assert_close(cost, squared, 1e-12, name);
        }
        let path: Vec<(usize, usize)> = case[5]
            .split_whitespace()
            .skip(1)
            .map(|pair| pair.split_once(',').unwrap())
            .map(|(i, j)| (i.parse().unwrap(), j.parse().unwrap()))
            .collect();
        let why = explain(a, b, &params);
        assert_eq!(why.path, path, "{name}");
        assert_eq!(why.cost, cost, "{name}");
        assert_close(why.channel_shares().iter().sum(), 1.0, 1e-12, name);
        let thirds = [0..frames_a / 3, frames_a / 3..frames_a];
        assert_close(why.section_shares(&thirds).iter().sum(), 1.0, 1e-12, name);
    }
}
