//! One serve seen from two places: pairs, measures, judgement, search and review, over real serves and
//! over drawn ones of known motion.

#![allow(missing_docs)]
#![expect(clippy::print_stdout, reason = "what was measured is told")]

#[path = "support/desk.rs"]
mod desk;
#[path = "support/pictured.rs"]
mod pictured;
#[path = "support/skip.rs"]
mod skip;

use std::path::Path;

use jiff::civil::{Date, date};
use pictured::{NET_OF_MARKERS, pictured};
use precedent::catalogue::{Catalogue, Finding};
use precedent::intake::{ClipsRequest, Context, Looked, Movable, move_to, say_of_clips, store};
use precedent::judgement::judge;
use precedent::library::{
    Author, CaseId, DayViews, Level, Library, Player, RecordingId, ServeId, Setting,
};
use precedent::looks::{Relation, Snapshot, beside, clips_told};
use precedent::matcher::{Query, Subject, Unstored, like};
use precedent::motion::{self, ReadOptions, Recording, Side, View, resample};
use precedent::pages::{Audience, Interface, Reviewed, Wanted, gather, review};
use precedent::serve::{EventKind, FindOptions, MEASURES, Reading, Serve, ServeReading, find};
use precedent::simulator::{Ask, Body, Sensor, SensorKind, Server, Take, Truth};
use precedent::squad::{self, GroupsParams, SquadQuery};
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

/// The five real marker serves (practice swings) drawn from two places, one clip at their own 50 Hz from
/// the start, the other at 30 Hz, begun 1.3 s later on a clock of its own: paired exactly, nothing that a
/// view shows is lost, and nine readings in ten are the markers' own within give or take.
#[test]
fn real_serves_from_two_places_are_one_each_and_read_from_the_better_view() {
    let Some(markers) = markers() else { return };
    let own = find(&markers, &FindOptions::default()).serves;
    assert_eq!(own.len(), 5);
    let slow = resample(&markers, 30.0);
    let (mut within, mut compared) = (0, 0);
    for (one_deg, other_deg) in [(90.0, 0.0), (60.0, 180.0), (-15.0, 105.0), (0.0, -90.0)] {
        let mut desk = Desk::new(&["dunlin"]);
        let swing = Setting::PracticeSwing;
        let one = desk.add(0, pictured(&markers, one_deg, NET_OF_MARKERS), swing, DAY);
        let late = cut(&pictured(&slow, other_deg, NET_OF_MARKERS), 1.3, f64::INFINITY, 4000.0);
        let other = desk.add(0, late, swing, DAY);
        // Which of the markers' serves each is, by its time.
        let of = |serve: ServeId, delay_s: f64| {
            let at_s = contact_s(&desk.library.serve(serve).unwrap().serve) + delay_s;
            own.iter().position(|own| (contact_s(own) - at_s).abs() < 0.5).unwrap()
        };
        let views = desk.views();
        let mut pairs = 0;
        for &serve in &one {
            for seen in views.others(serve) {
                assert!(other.contains(&seen));
                assert_eq!(of(serve, 0.0), of(seen, 1.3 - 4000.0), "{one_deg} {other_deg}");
                pairs += 1;
            }
        }
        let both =
            one.iter().filter(|&&a| other.iter().any(|&b| of(a, 0.0) == of(b, 1.3 - 4000.0)));
        assert_eq!(pairs, both.count(), "{one_deg} {other_deg}: {:?}", views.same.clips);
        assert!(pairs >= 4, "{one_deg} {other_deg}: {pairs}");
        println!(
            "{one_deg} and {other_deg}: {} and {} serves, {pairs} pairs",
            one.len(),
            other.len()
        );
        for &serve in &one {
            let Some(&seen) = views.others(serve).first() else { continue };
            let truth = &own[of(serve, 0.0)];
            let readings = [serve, seen].map(|id| desk.library.readings(id).unwrap());
            let told = reviewed(&desk.library, serve);
            // Nothing that one of the views shows is lost.
            for def in MEASURES {
                let shown = readings.iter().any(|all| value(all, def.id).is_some());
                assert_eq!(shown, told.iter().any(|one| one.0 == def.id), "{}", def.id);
            }
            let angles = |shown: &dyn Fn(&str) -> bool| {
                let all = MEASURES.iter().filter(|def| def.unit == "deg" && shown(def.id));
                all.count()
            };
            let alone = readings.each_ref().map(|all| angles(&|id| value(all, id).is_some()));
            let together = angles(&|id| told.iter().any(|one| one.0 == id));
            if (one_deg, other_deg) == (90.0, 0.0) {
                assert!(together > alone[0].max(alone[1]), "{together} of {alone:?}");
            }
            for (measure, read) in told {
                let both = readings.each_ref().map(|all| value(all, measure));
                // Of two views the one is read that may be off less.
                let best = match both {
                    [Some(a), Some(b)] => {
                        if a.1 <= b.1 {
                            a
                        } else {
                            b
                        }
                    }
                    [a, b] => a.or(b).unwrap(),
                };
                assert_eq!(read, best.0, "{measure}");
                if let Some((in_space, _)) = value(&truth.readings, measure) {
                    compared += 1;
                    within += usize::from((read - in_space).abs() <= best.1);
                }
            }
        }
    }
    println!("{within} of {compared} readings within give or take of the markers' own");
    assert!(compared >= 100 && within * 10 >= compared * 9, "{within} of {compared}");
}

/// What the day says counts a serve once, however many cameras saw it, and follows the coach's word.
#[test]
fn a_serve_seen_twice_counts_once_everywhere_and_the_coach_may_say_otherwise() {
    let Some(markers) = markers() else { return };
    let mut desk = Desk::new(&["dunlin", "knot"]);
    let swing = Setting::PracticeSwing;
    let one = desk.add(0, pictured(&markers, 0.0, NET_OF_MARKERS), swing, DAY);
    // From beside there, at the same rate: for a judgement one source, so that nothing else keeps the two
    // from counting twice.
    let late = cut(&pictured(&markers, 15.0, NET_OF_MARKERS), 1.0, f64::INFINITY, 0.0);
    let other = desk.add(0, late, swing, DAY);
    assert_eq!((one.len(), other.len()), (5, 5));
    let catalogue = Catalogue::builtin();
    let most = |library: &Library| {
        let case = library.case(CaseId(1)).unwrap();
        let judging = judge(library, catalogue, &case, DAY, &Watch::default()).unwrap();
        let serves = judging.suspicions.iter().filter_map(|one| match &one.finding {
            Finding::Scored { evidence, .. } => evidence.iter().map(|read| read.serves).max(),
            _ => None,
        });
        let session = Snapshot::new(library).session(DAY, &case.serves).unwrap();
        let looks = session.looks();
        let means = MEASURES.iter().filter_map(|def| looks[0].mean(def));
        let in_looks = means.map(|mean| mean.serves).max().unwrap();
        (serves.max().unwrap(), in_looks, session.strokes(), judging.views.count_of(&case.serves))
    };
    assert_eq!(most(&desk.library), (5, 5, 5, 5));
    let beside_it = beside(&desk.library, one[2]).unwrap();
    assert_eq!((beside_it[0].relation, beside_it[0].head.id), (Relation::SameServe, other[2]));

    // Another player's question: nobody is met twice, and all five come.
    let of_knot = desk.add(1, pictured(&markers, 5.0, NET_OF_MARKERS), swing, date(2026, 3, 20));
    let query = Query::new(Subject::Stored(of_knot[0]), 8);
    let met = |library: &Library| like(library, &query, &Watch::default()).unwrap().precedents;
    let strokes = |library: &Library| {
        let views = library.views_of_day(CaseId(1)).unwrap();
        let ids: Vec<ServeId> = met(library).iter().map(|one| one.serve).collect();
        (ids.len(), views.count_of(&ids))
    };
    assert_eq!(strokes(&desk.library), (5, 5));
    // Nor is the other view a precedent of its own serve.
    let own = like(&desk.library, &Query::new(Subject::Stored(one[0]), 20), &Watch::default());
    let own = own.unwrap().precedents;
    assert!(own.iter().all(|one| one.player == "knot"), "{own:?}");

    let ash = Author::coach("ash").unwrap();
    let clips = (RecordingId(1), RecordingId(2));
    let apart = ClipsRequest::Apart(clips.0, clips.1);
    say_of_clips(&mut desk.library, catalogue, apart, &ash).unwrap();
    assert_eq!(most(&desk.library), (10, 10, 10, 10));
    assert_eq!(strokes(&desk.library), (8, 8));
    let told = clips_told(&desk.library, CaseId(1)).unwrap();
    assert_eq!(
        told[0].sentence,
        "r1 (from behind) and r2 (from behind) show different serves, as ash said."
    );
    // The second clip a serve later, as the coach has it.
    let later = ClipsRequest::Same(one[1], other[0]);
    say_of_clips(&mut desk.library, catalogue, later, &ash).unwrap();
    let views = desk.views();
    assert_eq!(views.others(one[1]), [other[0]]);
    assert_eq!((views.others(one[0]), views.others(other[4])), (Vec::new(), Vec::new()));
    let unsaid = ClipsRequest::Unsaid(clips.1, clips.0);
    say_of_clips(&mut desk.library, catalogue, unsaid, &ash).unwrap();
    assert_eq!(most(&desk.library), (5, 5, 5, 5));
    let none = say_of_clips(&mut desk.library, catalogue, unsaid, &ash).unwrap_err();
    assert_eq!(none.to_string(), "anything said of r2 and r1: not in this library");
    let history = desk.library.history("r2".parse().unwrap()).unwrap();
    assert_eq!(history.iter().filter(|change| change.by == Some(ash.clone())).count(), 3);
}

/// The review shows both views at each moment, and names the one a measure is read from.
#[test]
fn a_review_shows_both_views_at_the_same_moments() {
    let Some(markers) = markers() else { return };
    let mut desk = Desk::new(&["dunlin"]);
    let swing = Setting::PracticeSwing;
    let one = desk.add(0, pictured(&markers, 90.0, NET_OF_MARKERS), swing, DAY);
    let late = cut(&pictured(&markers, 0.0, NET_OF_MARKERS), 1.0, f64::INFINITY, 0.0);
    let other = desk.add(0, late, swing, DAY);
    let data = gather(&desk.library, Catalogue::builtin(), &wanted(one[0]), &Watch::default());
    let data = data.unwrap();
    let [view] = &data.views[..] else { panic!("{:?}", data.views) };
    assert_eq!((view.of.serve.as_str(), view.of.seen.as_str()), ("s6", "seen from behind"));
    assert_eq!(view.of.serve, other[0].to_string());
    let contact = data.events[EventKind::Contact as usize].time_s;
    let there = view.events[EventKind::Contact as usize].time_s;
    for (event, seen) in data.events.iter().zip(&view.events) {
        let apart = (event.time_s - contact) - (seen.time_s - there);
        assert!(event.time_s.is_nan() || apart.abs() < 1e-9, "{event:?} {seen:?}");
    }
    let tilt = MEASURES.iter().find(|def| def.id == "trunk_side_tilt_contact").unwrap();
    let row = data.measures.iter().find(|row| row.name == tilt.name).unwrap();
    assert_eq!(row.from.as_ref().map(|from| from.serve.as_str()), Some("s6"), "{row:?}");
    let page = review(&data, Audience::Coach(Interface::Terminal));
    assert!(page.contains("The same serve (s6), seen from behind, at the same moments."));
    assert!(page.contains("Read from s6, which shows it best."));
    let page = review(&data, Audience::Player);
    let (own, seen) =
        page.split_once("The same serve, seen from behind, at the same moments.").unwrap();
    // The player's own comes first, each as its camera saw it, the other directly below.
    assert!(own.find(">you</text>") < own.find(">seen from behind</text>"), "{own}");
    assert_eq!(own.matches("<figcaption>").count(), 2, "{own}");
    assert!(!seen.contains("<figcaption>The same serve"));
    assert!(own.matches(">as the camera saw it</text>").count() >= 2, "{own}");
    assert!(
        !page.contains(", seen from behind, left to right"),
        "no flat body is said to be seen from there"
    );
}

/// A player's basket, as `sensor` records it, with pauses of their own between the serves.
fn basket(seed: u64, serves: u64, sensor: &Sensor, errors: u64) -> (Recording, Vec<Truth>) {
    let body = Body::new(1.78, 1.0, 1.0);
    let server = Server::drawn(body, Side::Right, Level::Club, seed);
    let serves =
        (0..serves).map(|serve| server.serve(&Ask { session: seed, serve, ..Ask::default() }));
    let take = Take { serves: serves.collect(), walk_between: false, forehands: false };
    let (recording, truths) = take.record(sensor, errors);
    // Standing still for a while before each serve.
    let (width, rate_hz) = (recording.joints.len(), sensor.rate_hz);
    let (mut positions, mut after, mut paused_s) = (Vec::new(), Vec::new(), 0.0);
    let starts_s: Vec<f64> =
        truths.iter().map(|truth| truth.event_s(EventKind::TossStart) - 0.6).collect();
    for (body, time_s) in recording.positions.chunks(width).zip(&recording.times_s) {
        positions.extend_from_slice(body);
        let n = after.len();
        if n < truths.len() && *time_s >= starts_s[n] {
            let pause_s =
                0.5 + (seed as usize * 977 + n * n * 131 + n * 389) as f64 % 600.0 / 120.0;
            let count = (pause_s * rate_hz).round();
            (0..count as usize).for_each(|_| positions.extend_from_slice(body));
            paused_s += count / rate_hz;
            after.push(truths[n].delayed(paused_s));
        }
    }
    let times_s = (0..positions.len() / width).map(|n| n as f64 / rate_hz).collect();
    (Recording { positions, times_s, ..recording }, after)
}

/// As one camera shows it that looks at a net `heading_deg` off its line.
fn camera(heading_deg: f64, rate_hz: f64) -> Sensor {
    let usual = Sensor::usual(SensorKind::OneCamera);
    Sensor { net_heading_deg: heading_deg, rate_hz, ..usual }
}

/// Planted truth: baskets of invented players by two cameras with places, clocks, rates and errors of
/// their own, the second started late every other time. Every pair is the right one; and what is read
/// from the view that claims the less error lies nearer to what was planted than the other view's.
#[test]
fn planted_baskets_from_two_cameras_are_paired_exactly_and_read_from_the_better() {
    let (mut near, mut far, mut pairs) = (Vec::new(), Vec::new(), 0);
    for seed in 0..8_u64 {
        let mut desk = Desk::new(&["sanderling"]);
        let (first, truths) = basket(seed, 4, &camera(35.0, 60.0), 2 * seed);
        let first = Recording { view: Some(View::Diagonal), ..first };
        let one = desk.add(0, first, Setting::Target, DAY);
        let (second, there) = basket(seed, 4, &camera(58.0, 30.0), 2 * seed + 1);
        let from_s = if seed % 2 == 1 { there[0].event_s(EventKind::Finish) + 1.0 } else { 0.0 };
        let second = cut(&Recording { view: None, ..second }, from_s, f64::INFINITY, 77.0);
        let other = desk.add(0, second, Setting::Target, DAY);
        let of = |truths: &[Truth], serve: ServeId, delay_s: f64| {
            let at_s = contact_s(&desk.library.serve(serve).unwrap().serve) + delay_s;
            let near = |truth: &Truth| (truth.event_s(EventKind::Contact) - at_s).abs() < 0.3;
            truths.iter().position(near).unwrap()
        };
        let views = desk.views();
        for &serve in &one {
            let Some(&seen) = views.others(serve).first() else { continue };
            let number = of(&truths, serve, 0.0);
            assert_eq!(number, of(&there, seen, from_s - 77.0), "basket {seed}");
            pairs += 1;
            let readings = [serve, seen].map(|id| desk.library.readings(id).unwrap());
            for (measure, read) in reviewed(&desk.library, serve) {
                let [Some(a), Some(b)] = readings.each_ref().map(|all| value(all, measure)) else {
                    continue;
                };
                let def = MEASURES.iter().find(|def| def.id == measure).unwrap();
                // Where the two claim about the same, either will do.
                if let Some(planted) = truths[number].measure(measure)
                    && def.unit == "deg"
                    && (a.1 / b.1).ln().abs() > 0.1
                {
                    let left = if read == a.0 { b.0 } else { a.0 };
                    near.push((read - planted).abs());
                    far.push((left - planted).abs());
                }
            }
        }
        let strokes = views.count_of(&[one.clone(), other.clone()].concat());
        println!("basket {seed}: {} and {} serves, {strokes} strokes", one.len(), other.len());
    }
    let mean = |all: &[f64]| all.iter().sum::<f64>() / all.len() as f64;
    let (read, left) = (mean(&near), mean(&far));
    println!("{pairs} pairs; off by {read:.1} deg, the other view {left:.1}, over {}", near.len());
    assert!(pairs >= 24, "{pairs}");
    assert!(near.len() >= 10 && read < left, "{near:?} {far:?}");
}

/// Another day, another number of serves in another rhythm: nothing is paired. Two equal rhythms: asked.
#[test]
fn other_days_and_other_rhythms_stay_apart() {
    let space = Sensor { noise_m: 0.0, rate_hz: 60.0, ..Sensor::usual(SensorKind::Markers) };
    let (others, _) = basket(7, 3, &space, 0);
    let (space, _) = basket(0, 3, &space, 0);
    let mut desk = Desk::new(&["sanderling"]);
    let one = desk.add(0, pictured(&space, 90.0, 1.0), Setting::Target, DAY);
    desk.add(0, pictured(&space, 0.0, 1.0), Setting::Target, date(2026, 3, 15));
    assert!(desk.views().others(one[0]).is_empty(), "the same basket, said to be of another day");
    let other = desk.add(0, pictured(&others, 0.0, 1.0), Setting::Target, DAY);
    let views = desk.views();
    assert_eq!(views.count_of(&[one.clone(), other].concat()), 6, "{views:?}");
}

/// A basket of three serves of an invented player, in space, without errors.
fn in_space(seed: u64) -> Recording {
    let space = Sensor { noise_m: 0.0, rate_hz: 60.0, ..Sensor::usual(SensorKind::Markers) };
    basket(seed, 3, &space, 0).0
}

/// What somebody said of clips that are not there, not of one day or not two is found by the check, each
/// with what to do about it; done, the library is sound.
#[test]
fn what_was_said_of_clips_is_checked_and_can_be_taken_back() {
    let mut desk = Desk::new(&["sanderling", "knot"]);
    let (one, two) = (in_space(0), in_space(7));
    desk.add(0, pictured(&one, 90.0, 1.0), Setting::Target, DAY);
    desk.add(0, pictured(&one, 0.0, 1.0), Setting::Target, DAY);
    desk.add(1, pictured(&two, 90.0, 1.0), Setting::Target, DAY);
    desk.add(0, pictured(&two, 0.0, 1.0), Setting::Target, date(2026, 3, 15));
    let ash = Author::coach("ash").unwrap();
    let catalogue = Catalogue::builtin();
    let same = ClipsRequest::Same(ServeId(1), ServeId(4));
    say_of_clips(&mut desk.library, catalogue, same, &ash).unwrap();
    assert_eq!(desk.amiss(), [""; 0]);
    let file = desk.library.folder().join("library.db");
    for (damage, clips, found) in [
        ("other = 99, one_serve = NULL, other_serve = NULL", [1, 99], "r99 is not in this library"),
        ("other = 3, one_serve = NULL, other_serve = NULL", [1, 3], "they are of two players"),
        ("other = 4, one_serve = NULL, other_serve = NULL", [1, 4], "they are of two sessions"),
        ("other = 1", [1, 1], "that is one clip twice"),
        ("one = 2, other = 1", [2, 1], "the clip that was stored first does not come first"),
        ("one_serve = 5", [1, 2], "s5 is not in r1"),
        ("other_serve = 777", [1, 2], "s777 is not in this library"),
        ("other_serve = NULL", [1, 2], "a serve of one clip is named, and none of the other"),
        ("said_by = 'program'", [1, 2], "nobody is named who said it"),
        ("at = 'then'", [1, 2], "'then' is no instant at which it was said"),
    ] {
        let raw = rusqlite::Connection::open(&file).unwrap();
        raw.execute_batch(&format!(
            "PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON;
             UPDATE clip_pairs SET {damage};"
        ))
        .unwrap();
        drop(raw);
        let by = if damage.contains("program") { "program" } else { "ash" };
        let [one, other] = clips;
        let told = format!(
            "library.db: what {by} said of r{one} and r{other}: {found}; take back what was said of r{one} \
             and r{other}"
        );
        assert_eq!(desk.amiss(), [told], "{damage}");
        let unsaid = ClipsRequest::Unsaid(RecordingId(one), RecordingId(other));
        say_of_clips(&mut desk.library, catalogue, unsaid, &ash).unwrap();
        assert_eq!(desk.amiss(), [""; 0], "{damage}");
        say_of_clips(&mut desk.library, catalogue, same, &ash).unwrap();
    }
    // Of two that are stored, the damaged one goes and the other stays.
    let raw = rusqlite::Connection::open(&file).unwrap();
    raw.execute_batch(
        "PRAGMA ignore_check_constraints = ON;
         INSERT INTO clip_pairs SELECT other, one, other_serve, one_serve, said_by, at FROM clip_pairs;",
    )
    .unwrap();
    drop(raw);
    let found = desk.amiss();
    assert!(found.len() == 1 && found[0].contains("r2 and r1: they are named twice"), "{found:?}");
    let unsaid = ClipsRequest::Unsaid(RecordingId(2), RecordingId(1));
    say_of_clips(&mut desk.library, catalogue, unsaid, &ash).unwrap();
    assert_eq!(desk.amiss(), [""; 0]);
    assert!(clips_told(&desk.library, CaseId(1)).unwrap()[0].said);
}

/// What was said of clips of one day does not outlive the day: it goes with the clip that moves, and the
/// move says so.
#[test]
fn a_clip_that_moves_to_another_day_takes_what_was_said_of_it_along() {
    let mut desk = Desk::new(&["sanderling"]);
    let space = in_space(0);
    desk.add(0, pictured(&space, 90.0, 1.0), Setting::Target, DAY);
    desk.add(0, pictured(&space, 0.0, 1.0), Setting::Target, DAY);
    let ash = Author::coach("ash").unwrap();
    let catalogue = Catalogue::builtin();
    let apart = ClipsRequest::Apart(RecordingId(1), RecordingId(2));
    say_of_clips(&mut desk.library, catalogue, apart, &ash).unwrap();
    let other_day = Some(date(2026, 3, 15));
    let clip = Movable::Recording(RecordingId(2));
    let moved = move_to(&mut desk.library, catalogue, clip, None, other_day, &ash).unwrap();
    assert_eq!(moved.unsaid_of, [RecordingId(1)]);
    assert_eq!(desk.amiss(), [""; 0]);
    let back = move_to(&mut desk.library, catalogue, clip, None, Some(DAY), &ash).unwrap();
    assert!(back.unsaid_of.is_empty());
    assert_eq!(desk.views().others(ServeId(1)), [ServeId(4)], "by their times again");
    // One serve alone takes along what was said by it, and nothing else.
    let same = ClipsRequest::Same(ServeId(1), ServeId(4));
    say_of_clips(&mut desk.library, catalogue, same, &ash).unwrap();
    let other = Movable::Serve(ServeId(5));
    let moved = move_to(&mut desk.library, catalogue, other, None, other_day, &ash).unwrap();
    assert!(moved.unsaid_of.is_empty());
    let named = Movable::Serve(ServeId(4));
    let moved = move_to(&mut desk.library, catalogue, named, None, other_day, &ash).unwrap();
    assert_eq!(moved.unsaid_of, [RecordingId(1)]);
    assert_eq!(desk.amiss(), [""; 0]);
}

/// On a squad's map and in its counts a serve that was filmed from two places is one, by the view the map
/// shows; of nobody is a view "left out" that is on it by another.
#[test]
fn a_squad_counts_a_serve_once_however_many_cameras_saw_it() {
    let mut desk = Desk::new(&["dunlin", "knot", "sanderling"]);
    for (player, seed) in [(0, 0), (1, 7), (2, 3)] {
        desk.add(player, pictured(&in_space(seed), 90.0, 1.0), Setting::Target, DAY);
    }
    let behind = desk.add(0, pictured(&in_space(0), 0.0, 1.0), Setting::Target, DAY);
    let query = SquadQuery {
        squad: None,
        filter: precedent::find::Filter::default(),
        from: None,
        to: None,
        today: date(2026, 3, 20),
        groups: GroupsParams::default(),
    };
    let ask = |library: &Library| {
        let catalogue = Catalogue::builtin();
        squad::gather(library, catalogue, &query, &Watch::default()).unwrap()
    };
    let found = ask(&desk.library);
    let alike = found.alike.unwrap();
    assert_eq!((found.serves, alike.serves.len(), alike.looks), (9, 9, 3));
    assert!(alike.serves.iter().all(|placed| !behind.contains(&placed.serve)));
    assert_eq!(alike.left_out, []);
    // The coach knows better: then they are others, and those from behind are left out.
    let ash = Author::coach("ash").unwrap();
    let apart = ClipsRequest::Apart(RecordingId(1), RecordingId(4));
    say_of_clips(&mut desk.library, Catalogue::builtin(), apart, &ash).unwrap();
    let found = ask(&desk.library);
    let alike = found.alike.unwrap();
    assert_eq!((found.serves, alike.serves.len()), (12, 9));
    assert_eq!(alike.left_out, [(3, "seen from behind, not from the side".to_owned())]);
    // From two places that count as one view: one dot for each serve, too.
    let beside = desk.add(1, pictured(&in_space(7), 100.0, 1.0), Setting::Target, DAY);
    let found = ask(&desk.library);
    let alike = found.alike.unwrap();
    assert_eq!((found.serves, alike.serves.len()), (12, 9));
    assert!(alike.serves.iter().all(|placed| !beside.contains(&placed.serve)));
    let in_groups: usize = alike.groups.iter().map(|group| group.serves).sum();
    assert_eq!(in_groups, 9);
}

/// The other view of the very same serve is no precedent of a file that is not stored: left out where the
/// session is known, told where it is likely.
#[test]
fn a_file_that_is_not_stored_is_not_offered_its_own_serves() {
    let mut desk = Desk::new(&["dunlin", "knot"]);
    let (one, two) = (in_space(0), in_space(7));
    let own = desk.add(0, pictured(&one, 90.0, 1.0), Setting::Target, DAY);
    let earlier = desk.add(0, pictured(&two, 90.0, 1.0), Setting::Target, date(2026, 2, 1));
    desk.add(1, pictured(&in_space(3), 90.0, 1.0), Setting::Target, DAY);
    let late = cut(&pictured(&one, 80.0, 1.0), 0.4, f64::INFINITY, 50.0);
    let file = desk.looked(late, date(2026, 4, 1));
    assert_eq!(file.found.serves.len(), 3);
    let dunlin = Some(desk.players[0].id);
    let ask = |desk: &Desk, file: &Looked, nth, player, day| {
        let subject = Subject::Unstored(Unstored::of(file, nth, player).on(day));
        let answer = like(&desk.library, &Query::new(subject, 20), &Watch::default()).unwrap();
        let met: Vec<ServeId> = answer.precedents.iter().map(|one| one.serve).collect();
        // What is said of sources is not the point here.
        let of_sessions = |note: &String| note.contains("left out");
        let told: Vec<String> = answer.notes.into_iter().filter(of_sessions).collect();
        (met, told)
    };
    // Nobody says whose it is: the closest is the other view, and that is said.
    let (met, told) = ask(&desk, &file, 1, None, None);
    assert!(own.contains(&met[0]), "{met:?}");
    assert_eq!(
        told,
        [
            "s2 in c1 of 2026-03-14 may be this very serve, filmed from another place; if it is, say whose it is, \
          and that session is left out"
        ]
    );
    // The player is known, and the times between the serves say which session it is.
    let (met, told) = ask(&desk, &file, 1, dunlin, None);
    assert!(own.iter().all(|serve| !met.contains(serve)), "{met:?}");
    assert!(earlier.iter().all(|serve| met.contains(serve)), "{met:?}");
    assert_eq!(
        told,
        [
            "c1 of 2026-03-14 is left out: by the times between them it shows the same serves, this one as s2"
        ]
    );
    // Told the day, nothing is guessed: that day is left out, whatever the times are.
    let (met, told) = ask(&desk, &file, 1, dunlin, Some(date(2026, 2, 1)));
    assert!(earlier.iter().all(|serve| !met.contains(serve)), "{met:?}");
    assert!(own.contains(&met[0]));
    assert_eq!(
        told,
        ["c2 of 2026-02-01 is left out: what was done on the same day is no past serve"]
    );
    // One serve has no rhythm. Written on the day of a session that holds one, too, it may be that one.
    let first = |recording: &Recording| {
        let serves = find(recording, &FindOptions::default()).serves;
        cut(recording, 0.0, contact_s(&serves[0]) + 1.2, 0.0)
    };
    let knot = Some(desk.players[1].id);
    let day = date(2026, 3, 20);
    let single = desk.add(1, first(&pictured(&two, 90.0, 1.0)), Setting::Target, day);
    let file = desk.looked(first(&pictured(&two, 0.0, 1.0)), day);
    let (met, told) = ask(&desk, &file, 0, knot, None);
    assert!(met.contains(&single[0]));
    assert_eq!(
        told,
        [format!(
            "{} in c4 of 2026-03-20 may be this very serve, filmed from another place; if it is, say its day, \
             and that session is left out",
            single[0]
        )]
    );
    let elsewhen = Looked { file_date: date(2026, 4, 1), ..file };
    assert_eq!(ask(&desk, &elsewhen, 0, knot, None).1, [""; 0]);
}

/// At the command line: asked, answered, refused with reasons, taken back.
#[test]
fn the_command_line_asks_and_is_answered() {
    let files = ["serve_2164.csv", "serve_2251.csv"];
    let files = files.map(|name| desk::real(&format!("one-camera/flat/{name}")));
    let [Some(side), Some(behind)] = &files else { return };
    let desk = desk::Desk::new();
    let day = ["--player", "dunlin", "--date", "2026-03-14", "--consent", "keep"];
    for (file, view) in [(side, "side"), (behind, "behind")] {
        desk.expect(0, &[&["add", file, "--view", view, "--hand", "right"], &day[..]].concat());
    }
    let (out, _) = desk.expect(0, &["views", "c1"]);
    assert!(out.contains("c1: 2 serves, filmed 2 times in all"), "{out}");
    assert!(out.contains("precedent views s1 s2 --same"), "{out}");
    assert!(out.contains("precedent views r1 r2 --apart"), "{out}");
    let (out, _) = desk.expect(0, &["list", "--questions"]);
    assert!(out.contains("c1: r1 (from the side) and r2 (from behind) may show"), "{out}");
    desk.expect(2, &["--read-only", "views", "s1", "s2", "--same"]);
    let (_, err) = desk.expect(2, &["views", "s1", "--same"]);
    assert!(err.contains("two clips or two serves are needed, found 's1'"), "{err}");
    let (_, err) = desk.expect(2, &["views", "s1", "s1", "--same"]);
    assert!(err.contains("clip: 'r1'; another than the first"), "{err}");
    let (_, err) = desk.expect(2, &["views", "n1"]);
    assert!(
        err.contains("the id of a session (c1), clip (r3) or serve (s12), found 'n1'"),
        "{err}"
    );
    let (out, _) = desk.expect(0, &["views", "s1", "s2", "--same", "--coach", "ash"]);
    assert!(out.contains("c1: 1 serve, filmed 2 times in all"), "{out}");
    assert!(out.contains("show the same serves, as ash said: s1 is s2."), "{out}");
    desk.expect(1, &["list", "--questions"]);
    let told = desk.objects(0, &["views", "c1", "--json"]).remove(0);
    assert_eq!((told["one"].as_str(), told["same"][0][1].as_str()), (Some("r1"), Some("s2")));
    let (out, _) = desk.expect(0, &["label", "c1"]);
    assert!(out.contains(", 1 serve\n"), "{out}");
    desk.expect(0, &["views", "r1", "r2", "--clear"]);
    let (out, _) = desk.expect(0, &["label", "c1"]);
    assert!(out.contains(", 2 serves\n"), "{out}");
    // Said of a clip that is gone: found, and what to type is said and does it.
    desk.expect(0, &["views", "r1", "r2", "--apart"]);
    let raw = rusqlite::Connection::open(desk.at("library").join("library.db")).unwrap();
    raw.execute_batch("PRAGMA foreign_keys = OFF; UPDATE clip_pairs SET other = 99;").unwrap();
    drop(raw);
    let (out, _) = desk.expect(2, &["verify"]);
    assert!(
        out.contains(
            "r99 is not in this library; take it back with `precedent views r1 r99 --clear`"
        ),
        "{out}"
    );
    desk.expect(0, &["views", "r1", "r99", "--clear"]);
    desk.expect(0, &["verify"]);
}
