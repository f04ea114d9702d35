//! Invented players before two cameras: every pair is known, and so is every motion.

use jiff::civil::date;
use precedent::catalogue::Catalogue;
use precedent::intake::{ClipsRequest, say_of_clips};
use precedent::library::{Author, Level, Library, RecordingId, ServeId, Setting};
use precedent::motion::{Recording, Side, View};
use precedent::serve::{EventKind, MEASURES};
use precedent::simulator::{Ask, Body, Sensor, SensorKind, Server, Take, Truth};
use precedent::squad::{self, GroupsParams, SquadQuery};
use precedent::work::Watch;

use crate::pictured::pictured;
use crate::{DAY, Desk, contact_s, cut, reviewed, value};

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

/// A basket of three serves of an invented player, in space, without errors.
pub(super) fn in_space(seed: u64) -> Recording {
    let space = Sensor { noise_m: 0.0, rate_hz: 60.0, ..Sensor::usual(SensorKind::Markers) };
    basket(seed, 3, &space, 0).0
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
