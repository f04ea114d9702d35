//! Invented bodies and reviews for the tests of this room, none of them a measured person.

use std::sync::LazyLock;

use jiff::civil::date;

use super::*;
use crate::catalogue::{Catalogue, Place};
use crate::coaching::{Age, Cautions, ShownDrill, ShownTogether};
use crate::drawing::*;
use crate::library::{Level, PlannedDrill, ServeType, Setting};
use crate::looks::{Change, Mean, Verdict};
use crate::motion::Side;
use crate::serve::{
    BodyPart, Event, EventKind, Figures, FindOptions, MEASURES, Reading, Serve, find,
};
use crate::simulator::{Ask, Body, Fault, Sensor, SensorKind, Server, record_serve};

/// A serve of an invented player, recorded by markers and read back.
pub(crate) fn serve(player: u64, faults: &[(Fault, f64)], number: u64) -> Serve {
    let server = Server::drawn(Body::new(1.68, 1.0, 1.0), Side::Right, Level::Club, player);
    let ask = Ask { faults: faults.to_vec(), serve: number, ..Ask::default() };
    let (recording, _) =
        record_serve(&server.serve(&ask), &Sensor::usual(SensorKind::Markers), number);
    let found = find(&recording, &FindOptions::default());
    assert_eq!(found.serves.len(), 1, "player {player}, serve {number}: {:?}", found.refused);
    found.serves.into_iter().next().unwrap()
}

/// The serve under review: straight legs, an early tossing arm.
pub(crate) fn reviewed() -> Serve {
    serve(3, &[(Fault::ShallowLegDrive, 0.9), (Fault::TossingArmDropsEarly, 0.5)], 1)
}

/// Serves of other players without those faults.
pub(crate) fn others(count: u64) -> Vec<Serve> {
    (0..count).map(|player| serve(10 + player, &[], 1)).collect()
}

/// A body of the plain template.
pub(crate) fn figures() -> Figures {
    serve(5, &[], 1).figures
}

/// The channels of the reviewed serve with the band of `others`.
pub(crate) fn channels(this: &Serve, others: &[Serve]) -> Vec<Channel> {
    let others: Vec<_> =
        others.iter().map(|other| (&other.curve, other.figures.event_samples)).collect();
    channels_of(&this.curve, &this.figures.event_samples, &others)
}

/// Events at the times an ordinary serve has.
pub(crate) fn events() -> Vec<Event> {
    EventKind::ALL
        .into_iter()
        .zip([0.1, 0.62, 1.08, 1.32, 1.50, 1.98])
        .map(|(kind, time_s)| Event { kind, time_s, frame: (time_s * 120.0) as usize, trust: 0.9 })
        .collect()
}

fn measure(
    name: &str,
    moment: &str,
    value: Option<(f64, f64)>,
    unit: &str,
    reference: Option<(f64, f64)>,
) -> MeasureRow {
    MeasureRow {
        name: name.to_owned(),
        moment: moment.to_owned(),
        definition: format!("Read at {moment}, 0 = straight; invented for the test."),
        unit: unit.to_owned(),
        reading: value.map_or_else(
            || Reading::NotMeasurable { why: "no hand joints".to_owned() },
            |(value, give_or_take)| Reading::Value { value, trust: 0.82, give_or_take },
        ),
        reference: reference.map(|(low, high)| {
            (low, high, "Jacquier-Bret and Gorce 2024, pooled, mean and one spread".to_owned())
        }),
        precedents: reference.map(|(low, high)| (low + 2.0, high - 6.0)),
        from: None,
    }
}

fn likeness(turn: f64) -> Likeness {
    use BodyPart::{BackLeg, FrontLeg, HittingArm, TossingArm, Trunk};
    Likeness {
        parts: vec![
            (HittingArm, 0.21 - turn),
            (TossingArm, 0.17),
            (Trunk, 0.12),
            (FrontLeg, 0.31 + turn),
            (BackLeg, 0.19),
        ],
        phases: [
            ("toss", 0.1),
            ("loading", 0.46),
            ("racket drop", 0.22),
            ("swing up", 0.13),
            ("follow-through", 0.09),
        ]
        .map(|(name, share)| (name.to_owned(), share))
        .to_vec(),
    }
}

/// A drill of the catalogue, for the fault under review.
fn shown(id: &str) -> ShownDrill {
    ShownDrill::of(Catalogue::builtin(), id, "shallow_leg_drive")
}

/// What is said on every page of a junior, a fault with a health note among it.
fn cautions() -> Cautions {
    let mut cautions = Cautions::of(Catalogue::builtin(), Age::Junior);
    cautions.fault(Catalogue::builtin(), "lumbar_arch");
    cautions
}

/// What came of an invented plan: the front knee bends more by `changed` degrees.
fn verdict(changed: Option<f64>) -> Verdict {
    let Some(by) = changed else {
        return Verdict::NotYet { from: date(2025, 3, 15), to: date(2025, 8, 5) };
    };
    let knee = MEASURES.iter().find(|def| def.id == "front_knee_flexion_trophy").unwrap();
    let mean = |value| Mean { value, serves: 4, reading_error: 3.0 };
    Verdict::of(Ok(Change::new(knee, mean(30.0), mean(30.0 + by), Some(true))))
}

fn precedent(number: usize, level: Level, changed: Option<f64>, drills: &[&str]) -> ShownPrecedent {
    ShownPrecedent {
        player: format!("HOLM-{number}"),
        serve: format!("s{}", 300 + number),
        case: format!("c{}", 40 + number),
        date: date(2025, 3, 7 + number as i8),
        own: false,
        same_set_up: false,
        poor_because: None,
        level: Some(level),
        hand: Some(Side::Right),
        context: "15 to 16, 1.71 m, flat".to_owned(),
        distance: 1.9 + 0.31 * number as f64,
        likeness: likeness(0.02 * number as f64),
        faults: vec!["Shallow leg drive".to_owned(), "Tossing arm drops early".to_owned()],
        same_fault: true,
        drills: drills.iter().map(|id| shown(id)).collect(),
        outcomes: vec![OutcomeFacts {
            fault: "Shallow leg drive".to_owned(),
            verdict: verdict(changed),
            practised: None,
        }],
        figures: Some(serve(9 + number as u64, &[], 1).figures),
    }
}

/// Dots of an invented drill.
pub(crate) fn dots(label: &str, changes: &[f64], estimate: Option<(f64, f64, f64)>) -> DotRow {
    DotRow {
        label: label.to_owned(),
        measure: "front knee bend at trophy".to_owned(),
        unit: "deg".to_owned(),
        changes: changes.to_vec(),
        better: changes.iter().map(|by: &f64| (by.abs() >= 6.0).then_some(*by > 0.0)).collect(),
        detectable: 6.0,
        by_itself: None,
        estimate,
        interval_pct: 90,
    }
}

/// Invented reviews of one player.
pub(crate) fn months() -> MonthStrip {
    let point = |month, day, value| {
        let (date, beyond) = (date(2026, month, day), value >= 37.0);
        ReviewPoint { date, value, give_or_take: 3.4, beyond }
    };
    let plan = |label: &str, start, end| PlanSpan { label: label.to_owned(), start, end };
    MonthStrip {
        measure: "front knee bend at trophy".to_owned(),
        unit: "deg".to_owned(),
        reviews: vec![point(5, 4, 31.0), point(6, 8, 33.0), point(7, 6, 36.0), point(9, 2, 38.0)],
        detectable: 6.0,
        reference: Some((54.8, 74.2)),
        plans: vec![
            plan("Toss inside the whole rhythm", date(2026, 5, 5), Some(date(2026, 7, 6))),
            plan("Serves from the service line", date(2026, 7, 7), None),
        ],
    }
}

/// A whole review with every part filled, invented.
pub(crate) fn review_data() -> ReviewData {
    static DATA: LazyLock<ReviewData> = LazyLock::new(make_review);
    DATA.clone()
}

fn make_review() -> ReviewData {
    let this = reviewed();
    let others = others(14);
    let drill = |id: &str, dose: Option<&str>| match dose {
        None => shown(id),
        Some(dose) => {
            let place = Some(Place::OffCourt);
            let planned = PlannedDrill { drill: id.to_owned(), dose: dose.to_owned(), place };
            ShownDrill::planned(Catalogue::builtin(), &planned, "shallow_leg_drive")
        }
    };
    let change =
        |measure: &str, before, after, unit: &str, detectable, better: Option<bool>| ChangeFacts {
            measure: measure.to_owned(),
            unit: unit.to_owned(),
            before,
            after,
            detectable,
            beyond: better.is_some(),
            better,
        };
    let fault = |id: &str, score, measures: &[usize], decided: Option<&str>| {
        let fault = Catalogue::builtin().fault(id).unwrap();
        ReviewFault {
            name: fault.name.clone(),
            to_player: fault.to_player.clone(),
            why: fault.cost.text.clone(),
            score: Some(score),
            decided: decided.map(str::to_owned),
            measures: measures.to_vec(),
            order: Some("First because it lies upstream of the early tossing arm, costs most speed, and 5 of 7 players with it improved.".to_owned()),
            offers: Vec::new(),
        }
    };
    ReviewData {
        serve: ServeFacts {
            id: "s412".to_owned(), date: date(2026, 9, 2), source: "markers, 120 Hz".to_owned(),
            setting: Some(Setting::Target), serve_type: Some(ServeType::Flat),
            notes: vec!["gap of 0.05 s at the left wrist filled".to_owned(), "low-pass at 8 Hz".to_owned()],
        },
        player: PlayerFacts {
            code: "BIRK-3".to_owned(), hand: Side::Left, level: Some(Level::Club),
            age_band: Some("15 to 16".to_owned()), stature_m: Some(1.68),
        },
        events: this.events.to_vec(),
        witnesses: Vec::new(),
        pictures: None,
        views: Vec::new(),
        drawn: Vec::new(),
        limiting: Some(fault("shallow_leg_drive", 0.71, &[0], Some("confirmed by the coach"))),
        second: Some(fault("tossing_arm_drops_early", 0.44, &[2], None)),
        other_faults: vec![fault("collapsed_front_knee", 0.31, &[3], None)],
        unseen_faults: vec![("No turn of the palm after contact".to_owned(), "needs hand joints".to_owned())],
        channels: channels(&this, &others),
        measures: vec![
            measure("front knee bend at trophy", "trophy", Some((38.0, 3.4)), "deg", Some((54.8, 74.2))),
            measure("trunk inclination at trophy", "trophy", Some((22.1, 4.6)), "deg", Some((17.9, 32.1))),
            measure("tossing arm falls before contact", "release to contact", Some((0.41, 0.05)), "s", None),
            measure("front knee bend at contact", "contact", Some((29.0, 5.0)), "deg", Some((10.0, 38.0))),
            measure("contact height over stature", "contact", Some((1.44, 0.02)), "ratio", None),
            measure("palm rotation after contact", "contact to finish", None, "deg", None),
        ],
        precedents: Precedents {
            searched: 388,
            comparable: 388,
            searched_first: None,
            filter: Some("right handed or left handed, not the same player".to_owned()),
            none: None,
            found: vec![
                precedent(1, Level::Club, Some(11.0), &["service_line_serves", "jump_and_reach"]),
                precedent(2, Level::Competition, Some(3.0), &["jump_and_reach"]),
                precedent(3, Level::Club, None, &["land_inside"]),
                precedent(4, Level::National, Some(-8.0), &["land_inside"]),
            ],
        },
        plan: Some(PlanFacts {
            start: Some(date(2026, 9, 3)),
            review_on: Some(date(2026, 10, 5)),
            drills: vec![drill("service_line_serves", None), drill("jump_and_reach", Some("3 x 5, Monday and Thursday")), drill("land_inside", None)],
            note: None,
        }),
        evidence: vec![
            EvidenceRow {
                done: ShownTogether::of(vec![shown("service_line_serves")]),
                row: dots("Serves from the service line", &[11.0, 14.0, 3.0, 9.0, 22.0, -2.0, 12.0], Some((10.0, 5.0, 15.0))),
                effective_players: Some(4.6), typical_days: Some(38.0),
                trust: "Seven players, few enough that one more could shift this.".to_owned(),
            },
            EvidenceRow {
                done: ShownTogether::of(vec![shown("jump_and_reach")]),
                row: dots("Jump and reach", &[4.0, -8.0, 10.0], None),
                effective_players: Some(2.1), typical_days: None,
                trust: "Only three players, HOLM-2 among them: read it as three stories, not as a number.".to_owned(),
            },
        ],
        evidence_notes: vec!["14 plans for this fault: 9 followed up, 5 never seen again; those never seen again may have done worse.".to_owned()],
        progress: Some(Progress {
            sentence: "Since May your front knee bend at trophy went from about 31 to 38 deg; that is more than chance allows (6 deg).".to_owned(),
            months: Some(months()),
            earlier: Some((serve(3, &[(Fault::ShallowLegDrive, 1.0)], 2).figures, "4 May 2026".to_owned())),
            earlier_serve: None,
            elsewhere: vec![
                change("tossing arm falls before contact", 0.33, 0.41, "s", 0.06, Some(false)),
                change("contact height over stature", 1.41, 1.44, "ratio", 0.04, None),
            ],
            ball: vec!["Serve speed 131, then 137 km/h (as reported).".to_owned()],
            curves: Some("Changed more than from serve to serve on one day: front knee bend in loading.".to_owned()),
        }),
        with_ball: Some(Comparison {
            sentence: "Without a ball you bend more: the fault grows when the ball comes, so part of it is timing.".to_owned(),
            changes: vec![change("front knee bend at trophy", 49.0, 38.0, "deg", 6.0, Some(false))],
        }),
        asked: vec![
            Asked { what: "grip: bevel under the index knuckle".to_owned(), answer: Some("2".to_owned()) },
            Asked { what: "where misses go".to_owned(), answer: None },
        ],
        cautions: cautions(),
        figures: Some(this.figures.clone()),
    }
}

/// The same serve with everything optional absent.
pub(crate) fn bare_review() -> ReviewData {
    let full = review_data();
    ReviewData {
        figures: None,
        events: Vec::new(),
        witnesses: Vec::new(),
        pictures: None,
        views: Vec::new(),
        drawn: Vec::new(),
        limiting: None,
        second: None,
        other_faults: Vec::new(),
        unseen_faults: Vec::new(),
        channels: Vec::new(),
        measures: Vec::new(),
        precedents: Precedents::default(),
        plan: None,
        evidence: Vec::new(),
        evidence_notes: Vec::new(),
        progress: None,
        with_ball: None,
        asked: Vec::new(),
        cautions: cautions(),
        ..full
    }
}
