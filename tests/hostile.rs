//! What others made and the program reads, damaged on purpose: the bounded part of what
//! `tests/fuzz` does under libFuzzer. Each target meets its seeds as they are, what was once found, and
//! a number of changes of both, the same everywhere; `PRECEDENT_HOSTILE_SECONDS` has it go on for so long
//! instead. Whatever the bytes, there is an answer or a refusal in words, within the memory and time of one
//! input.
#![cfg(unix)]
#![allow(clippy::print_stdout, reason = "says how much was tried")]

#[path = "fuzz/bounds.rs"]
mod bounds;
#[path = "fuzz/targets/mod.rs"]
mod targets;

use std::cell::Cell;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use proptest::prelude::*;
use proptest::sample::Index;
use proptest::test_runner::{Config, RngAlgorithm, TestCaseError, TestError, TestRng, TestRunner};
use targets::{TARGETS, Target};

/// Changed inputs that are drawn from one number.
const ROUND: u32 = 32;

/// One change of a file.
#[derive(Debug, Clone)]
enum Edit {
    Set(Index, u8),
    Insert(Index, Vec<u8>),
    Remove(Index, usize),
    /// A part once more, somewhere else.
    Again(Index, usize, Index),
    /// A part of another seed.
    Splice(Index, Index, usize, Index),
    /// A number in bytes as headers hold them.
    Word(Index, usize, u64),
    /// The digits found from here on, replaced.
    Number(Index, &'static str),
    Cut(Index),
}

/// What no file should be able to do harm with.
const NUMBERS: [&str; 12] = [
    "",
    "-1",
    "0",
    "1e999",
    "NaN",
    "-inf",
    "1e-320",
    "99999999999999999999999",
    "4294967295",
    "9223372036854775807",
    "0.0000001",
    "\u{663}",
];
const WORDS: [u64; 9] =
    [0, 1, 0x7f, 0xff, 0x7fff, 0xffff, 0x7fff_ffff, 0xffff_ffff, 0xffff_ffff_ffff_ffff];

fn edit() -> impl Strategy<Value = Edit> {
    let at = any::<Index>;
    let marks = prop::sample::select(b"0-9eE.\t\n,;:=<>[]{}()\"'/\\%&+ \0\xff".to_vec());
    prop_oneof![
        3 => (at(), any::<u8>()).prop_map(|(at, byte)| Edit::Set(at, byte)),
        3 => (at(), marks).prop_map(|(at, byte)| Edit::Set(at, byte)),
        1 => (at(), prop::collection::vec(any::<u8>(), 1..9))
            .prop_map(|(at, new)| Edit::Insert(at, new)),
        2 => (at(), 1..64_usize).prop_map(|(at, len)| Edit::Remove(at, len)),
        2 => (at(), 1..512_usize, at()).prop_map(|(at, len, to)| Edit::Again(at, len, to)),
        2 => (at(), at(), 1..512_usize, at())
            .prop_map(|(seed, at, len, to)| Edit::Splice(seed, at, len, to)),
        2 => (at(), prop::sample::select(vec![1, 2, 4, 8]), prop::sample::select(WORDS.to_vec()))
            .prop_map(|(at, width, word)| Edit::Word(at, width, word)),
        3 => (at(), prop::sample::select(NUMBERS.to_vec()))
            .prop_map(|(at, number)| Edit::Number(at, number)),
        1 => at().prop_map(Edit::Cut),
    ]
}

fn change(bytes: &mut Vec<u8>, edit: &Edit, seeds: &[Vec<u8>]) {
    let place = |at: &Index, bytes: &[u8]| at.index(bytes.len() + 1);
    match edit {
        Edit::Set(at, byte) => {
            let at = place(at, bytes);
            if let Some(old) = bytes.get_mut(at) {
                *old = *byte;
            }
        }
        Edit::Insert(at, new) => {
            let at = place(at, bytes);
            bytes.splice(at..at, new.iter().copied());
        }
        Edit::Remove(at, len) => {
            let at = place(at, bytes);
            bytes.drain(at..(at + len).min(bytes.len()));
        }
        Edit::Again(from, len, to) => {
            let from = place(from, bytes);
            let part = bytes[from..(from + len).min(bytes.len())].to_vec();
            let to = place(to, bytes);
            bytes.splice(to..to, part);
        }
        Edit::Splice(seed, from, len, to) => {
            let seed = &seeds[seed.index(seeds.len())];
            let from = place(from, seed);
            let part = seed[from..(from + len).min(seed.len())].to_vec();
            let to = place(to, bytes);
            bytes.splice(to..to, part);
        }
        Edit::Word(at, width, word) => {
            let at = place(at, bytes);
            for (old, new) in bytes.iter_mut().skip(at).zip(&word.to_le_bytes()[..*width]) {
                *old = *new;
            }
        }
        Edit::Number(at, number) => {
            let at = place(at, bytes);
            let is_number = |byte: &u8| byte.is_ascii_digit() || b".-+".contains(byte);
            if let Some(from) = bytes[at..].iter().position(is_number).map(|found| at + found) {
                let to = bytes[from..].iter().position(|byte| !is_number(byte));
                let to = to.map_or(bytes.len(), |found| from + found);
                bytes.splice(from..to, number.bytes());
            }
        }
        Edit::Cut(at) => bytes.truncate(place(at, bytes)),
    }
}

/// The seeds and finds of a target.
fn kept(target: &Target) -> Vec<Vec<u8>> {
    let mut files: Vec<PathBuf> = Vec::new();
    for folder in ["seeds", "finds"] {
        let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
            .join("tests/fuzz")
            .join(folder)
            .join(target.name);
        files
            .extend(std::fs::read_dir(folder).into_iter().flatten().map(|one| one.unwrap().path()));
    }
    files.sort();
    assert!(!files.is_empty(), "{} has no seeds", target.name);
    files.into_iter().map(|file| std::fs::read(file).unwrap()).collect()
}

fn try_out(name: &str) {
    let target = TARGETS.iter().find(|target| target.name == name).unwrap();
    let seeds = kept(target);
    for seed in &seeds {
        bounds::within(target, seed);
    }
    let seconds = std::env::var("PRECEDENT_HOSTILE_SECONDS").ok().map(|n| n.parse().unwrap());
    let budget = seconds.map(Duration::from_secs);
    let began = Instant::now();
    let changed = (any::<Index>(), prop::collection::vec(edit(), 1..7));
    let tried = Cell::new(0_u32);
    for round in 0_u64.. {
        if budget.map_or(tried.get() >= target.inputs, |budget| began.elapsed() >= budget) {
            break;
        }
        let config = Config {
            cases: ROUND.min(target.inputs),
            failure_persistence: None,
            ..Config::default()
        };
        let seed = blake3::hash(&round.to_le_bytes());
        let chance = TestRng::from_seed(RngAlgorithm::ChaCha, seed.as_bytes());
        let mut runner = TestRunner::new_with_rng(config, chance);
        let result = runner.run(&changed, |(seed, edits)| {
            let mut bytes = seeds[seed.index(seeds.len())].clone();
            for edit in &edits {
                change(&mut bytes, edit, &seeds);
            }
            tried.set(tried.get() + 1);
            std::panic::catch_unwind(|| bounds::within(target, &bytes))
                .map_err(|_| TestCaseError::fail("it broke, as said above"))
        });
        if let Err(TestError::Fail(why, (seed, edits))) = result {
            let mut bytes = seeds[seed.index(seeds.len())].clone();
            edits.iter().for_each(|edit| change(&mut bytes, edit, &seeds));
            let find = std::env::temp_dir().join(format!("{name}-find"));
            std::fs::write(&find, &bytes).unwrap();
            panic!("{name}: {why}; the smallest input found is {}", find.display());
        }
    }
    println!("{name}: {} changed inputs in {:.1?}", tried.get(), began.elapsed());
}

macro_rules! tried_out {
    ($($name:ident)*) => {
        $(#[test]
        fn $name() {
            try_out(stringify!($name));
        })*

        #[test]
        fn every_target_is_tried_out() {
            let named = [$(stringify!($name)),*];
            assert_eq!(TARGETS.map(|target| target.name), named);
        }
    };
}

tried_out! {
    c3d trc bvh keypoints keypoints_folder joint_table depth20 clip kept_points pack pack_inside keys
    library_file library_values derived_files curve_file curve_file_summed filter catalogue past_records
    practice_card spoken_steps path_pattern page
}
