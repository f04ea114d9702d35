//! One serve seen from two places: pairs, measures, judgement, search and review, over real serves and
//! over drawn ones of known motion.

#![allow(missing_docs)]
#![expect(clippy::print_stdout, reason = "what was measured is told")]

#[path = "../support/desk.rs"]
mod desk;
#[path = "../support/pictured.rs"]
mod pictured;
mod planted;
mod real;
mod said;
#[path = "../support/skip.rs"]
mod skip;

use std::path::Path;

use jiff::civil::{Date, date};
use precedent::catalogue::Catalogue;
use precedent::intake::{Context, Looked, store};
use precedent::library::{CaseId, DayViews, Library, Player, ServeId, Setting};
use precedent::motion::{self, ReadOptions, Recording};
use precedent::pages::{Reviewed, Wanted, gather};
use precedent::serve::{EventKind, FindOptions, MEASURES, Reading, Serve, ServeReading, find};
use precedent::work::Watch;
use tempfile::TempDir;

const DAY: Date = date(2026, 3, 14);

struct Desk {
    folder: TempDir,
    library: Library,
    players: Vec<Player>,
    files: usize,
}

impl Desk {
    fn new(codes: &[&str]) -> Self {
        let folder = TempDir::new().unwrap();
        let mut library = Library::create(folder.path().join("library")).unwrap();
        let players = codes.iter().map(|code| {
            let mut player = Player::new(code);
            player.id = library.add_player(&player).unwrap();
            player
        });
        let players = players.collect();
        Self { folder, library, players, files: 0 }
    }

    /// A recording as it would be read from a file that was written on a day.
    fn looked(&mut self, recording: Recording, day: Date) -> Looked {
        self.files += 1;
        let file = self.folder.path().join(format!("view-{}.csv", self.files));
        std::fs::write(&file, file.to_string_lossy().as_bytes()).unwrap();
        let found = find(&recording, &FindOptions::default());
        assert!(!found.serves.is_empty(), "{:?}", found.refused);
        Looked {
            file,
            content: None,
            stored: None,
            from_store: false,
            passed_over: false,
            moments: vec![Vec::new(); found.serves.len()],
            recording,
            found,
            clip: None,
            file_date: day,
        }
    }

    /// Stores it through the way every file takes.
    fn add(
        &mut self,
        of: usize,
        recording: Recording,
        setting: Setting,
        day: Date,
    ) -> Vec<ServeId> {
        let looked = self.looked(recording, day);
        let context = Context { setting: Some(setting), ..Context::default() };
        let (catalogue, player) = (Catalogue::builtin(), &self.players[of]);
        let watch = Watch::default();
        store(&mut self.library, catalogue, player, looked, &context, &watch).unwrap().added.serves
    }

    /// What is wrong with what is stored, in words.
    fn amiss(&mut self) -> Vec<String> {
        let verified = self.library.verify(false, &Watch::default()).unwrap();
        let stored = verified.findings.iter().filter(|finding| !finding.is_derived());
        stored.map(ToString::to_string).collect()
    }

    fn views(&self) -> DayViews {
        self.library.views_of_day(CaseId(1)).unwrap()
    }
}

/// The five marker serves in space; `None`, said on stderr, where they are absent.
fn markers() -> Option<Recording> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/recordings");
    let file = folder.join("marker-serves-50hz.c3d");
    if !file.is_file() {
        skip::skipped(format!("{} is absent", file.display()));
        return None;
    }
    Some(motion::read(&file, &ReadOptions::default()).unwrap())
}

/// The frames from `from_s` to `to_s`, on a clock that begins with them at `starts_s`.
fn cut(recording: &Recording, from_s: f64, to_s: f64, starts_s: f64) -> Recording {
    let width = recording.joints.len();
    let inside: Vec<usize> = (0..recording.frames())
        .filter(|&frame| (from_s..=to_s).contains(&recording.times_s[frame]))
        .collect();
    let first_s = recording.times_s[inside[0]];
    Recording {
        times_s: inside.iter().map(|&at| recording.times_s[at] - first_s + starts_s).collect(),
        positions: inside
            .iter()
            .flat_map(|&at| recording.positions[at * width..(at + 1) * width].iter().copied())
            .collect(),
        confidence: None,
        ..recording.clone()
    }
}

fn contact_s(serve: &Serve) -> f64 {
    serve.events[EventKind::Contact as usize].time_s
}

fn value(readings: &[ServeReading], measure: &str) -> Option<(f64, f64)> {
    readings.iter().find(|one| one.measure == measure).and_then(|one| match one.reading {
        Reading::Value { value, give_or_take, .. } => Some((value, give_or_take)),
        Reading::NotMeasurable { .. } => None,
    })
}

fn wanted(serve: ServeId) -> Wanted<'static> {
    let serve = Reviewed::Stored(serve);
    Wanted { serve, k: 3, filter: precedent::find::Filter::default(), on: date(2026, 3, 15) }
}

/// What a review says of a serve, by measure.
fn reviewed(library: &Library, serve: ServeId) -> Vec<(&'static str, f64)> {
    let data = gather(library, Catalogue::builtin(), &wanted(serve), &Watch::default()).unwrap();
    let rows = data.measures.iter().filter_map(|row| match row.reading {
        Reading::Value { value, .. } => {
            let def = MEASURES.iter().find(|def| def.name == row.name)?;
            Some((def.id, value))
        }
        Reading::NotMeasurable { .. } => None,
    });
    rows.collect()
}
