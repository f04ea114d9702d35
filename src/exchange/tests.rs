//! Small invented libraries; planted people must not be found in a pack.

use std::collections::BTreeSet;

use jiff::civil::{Date, date};
use jiff::{SignedDuration, Timestamp};
use rand::seq::SliceRandom;
use rand::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use tempfile::TempDir;

use super::open::open_within;
use super::*;
use crate::catalogue::Place;
use crate::exchange::{Arrived, Brought};
use crate::files::zipped;
use crate::find::Filter;
use crate::library::tests::made;
use crate::library::{Author, Ending, FollowUpId, Grip, PlanEnd};
use crate::library::{
    BallFlight, CaseId, Consent, FaultLabel, FollowUp, LabelState, Library, Misses, Plan, PlanId,
    PlannedDrill, Player, PlayerId, ServeId,
};
use crate::work::Watch;

/// A library in a folder of its own.
pub(super) struct Room {
    pub(super) library: Library,
    _folder: TempDir,
}

pub(super) fn room() -> Room {
    let folder = TempDir::new().unwrap();
    Room { library: Library::create(folder.path()).unwrap(), _folder: folder }
}

fn sharing(code: &str) -> Player {
    let consent = Consent { keep: true, share: true, date: Some(date(2026, 1, 2)), by: None };
    Player { consent, ..made::player(code) }
}

pub(super) fn moment(minute: i64) -> Timestamp {
    "2026-05-01T10:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_mins(minute)
}

pub(super) fn packed_at(library: &Library, with_notes: bool, minute: i64, filter: &str) -> Packed {
    let filter = Filter::parse(filter).unwrap();
    let academy = Some("North Side");
    let made = moment(minute);
    let request = Request {
        filter: &filter,
        academy,
        with_notes,
        made,
        key: None,
        protection: Protection::Open,
    };
    pack(library, &request, &Watch::default()).unwrap()
}

pub(super) fn opened(bytes: &[u8]) -> Result<Arrived, PackError> {
    open(bytes, None)
}

fn label(fault: &str, by: &str, note: &str) -> FaultLabel {
    let state = if by == "program" { LabelState::Suspected } else { LabelState::Added };
    FaultLabel {
        fault: fault.to_owned(),
        state,
        severity: 0.4,
        by: Author::from_text(by),
        note: Some(note.to_owned()),
    }
}

fn plan(case: CaseId, start: Date) -> Plan {
    Plan {
        id: PlanId(0),
        case,
        limiting_fault: "shallow_leg_drive".to_owned(),
        drills: vec![PlannedDrill {
            drill: "land_inside".to_owned(),
            dose: "quollish times".to_owned(),
            place: Some(Place::Baseline),
        }],
        start,
        review_on: None,
        coach: Some("bettong".to_owned()),
        note: Some("plan quoll".to_owned()),
        ended: None,
    }
}

/// Two sessions of one sharing player, with everything a case can hold; one silent player.
pub(super) fn stocked(library: &mut Library) -> PlayerId {
    let who = library.add_player(&sharing("zebrafinch")).unwrap();
    let silent = library.add_player(&made::player("dotterel")).unwrap();
    let first = made::add(library, who, 1, date(2026, 3, 4), 2).unwrap();
    let later = made::add(library, who, 2, date(2026, 4, 4), 1).unwrap();
    made::add(library, silent, 3, date(2026, 3, 4), 1).unwrap();
    let plan = plan(first.case, date(2026, 3, 5));
    library
        .write(|w| {
            w.add_note(first.case, "casewords quoll", None)?;
            w.set_label(first.case, &label("late_toss", "program", "numbat"))?;
            w.set_label(first.case, &label("late_toss", "bettong", "zebrafinch again"))?;
            w.set_grip(first.case, Some(Grip { index_knuckle: Some(2), heel_pad: None }))?;
            let misses = Some(Misses { net: 3, long: 1, wide: 0 });
            w.set_ball(
                first.case,
                &BallFlight { speed_kmh: Some(141.5), misses, ..BallFlight::default() },
            )?;
            let plan = w.add_plan(&plan)?;
            w.add_follow_up(&FollowUp {
                id: FollowUpId(0),
                plan,
                date: date(2026, 4, 4),
                serves: later.serves.clone(),
                ball: BallFlight::default(),
                rating: Some(1),
                sessions_done: Some(9),
                note: Some("follow quoll".to_owned()),
            })
        })
        .unwrap();
    who
}

pub(super) fn take(library: &mut Library, pack: &Arrived) -> Brought {
    library.write(|w| w.receive(pack)).unwrap()
}

/// All a library shows, without its own ids.
pub(super) fn dump(library: &Library) -> Vec<String> {
    let name_of = |serve: &ServeId| {
        let head = library.serve_head(*serve).unwrap();
        let recording = library.recording(head.recording).unwrap();
        let nth = library.serves_in(head.recording).unwrap().iter().position(|s| s == serve);
        format!("{}#{}", recording.content_hash, nth.unwrap())
    };
    let mut lines = Vec::new();
    for player in library.players().unwrap() {
        lines.push(format!("{:?}", Player { id: PlayerId(0), ..player.clone() }));
        for case in library.cases(Some(player.id)).unwrap() {
            let code = &player.code;
            let day = case.date;
            lines.push(format!("{code} {day} {:?} {:?} {:?}", case.grip, case.ball, case.words()));
            lines.extend(case.labels.iter().map(|label| format!("{code} {day} {label:?}")));
            for plan in &case.plans {
                let bare = Plan { id: PlanId(0), case: CaseId(0), ..plan.clone() };
                lines.push(format!("{code} {day} {bare:?}"));
                for follow_up in case.follow_ups.iter().filter(|f| f.plan == plan.id) {
                    let serves: Vec<String> = follow_up.serves.iter().map(name_of).collect();
                    let bare = FollowUp {
                        id: FollowUpId(0),
                        plan: PlanId(0),
                        serves: Vec::new(),
                        ..follow_up.clone()
                    };
                    lines.push(format!("{code} {day} {bare:?} {serves:?}"));
                }
            }
            for serve in &case.serves {
                let found = library.serve(*serve).unwrap().serve;
                lines.push(format!("{code} {day} {} {found:?}", name_of(serve)));
            }
        }
    }
    lines.sort();
    lines
}

pub(super) fn sound(library: &mut Library) {
    let findings = library.verify(false, &crate::work::Watch::default()).unwrap().findings;
    let bad: Vec<_> = findings.iter().filter(|f| f.place == "library.db").collect();
    assert!(bad.is_empty(), "{bad:?}");
}

#[test]
fn a_pack_brings_cases_whole_and_without_names() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let packed = packed_at(&from.library, false, 0, "");
    assert_eq!((packed.players, packed.leaving.cases.len(), packed.leaving.serves), (1, 2, 3));
    assert_eq!(packed.left_out, LeftOut { no_consent: 1, players: 1, received: 0 });
    let pack = opened(&packed.bytes).unwrap();
    let brought = take(&mut to.library, &pack);
    assert_eq!((brought.players, brought.cases, brought.recordings, brought.serves), (1, 2, 2, 3));
    let players = to.library.players().unwrap();
    let came = &players[0];
    assert!(came.code.starts_with("north-side-") && came.name.is_none(), "{came:?}");
    assert_eq!((came.hand, came.level), (made::player("x").hand, made::player("x").level));
    assert!(!came.consent.share && to.library.is_received(came.id).unwrap());
    let cases = to.library.cases(Some(came.id)).unwrap();
    let ours = from.library.cases(Some(PlayerId(1))).unwrap();
    assert_eq!((cases[0].grip, cases[0].ball), (ours[0].grip, ours[0].ball));
    assert_eq!(cases[0].labels.len(), 2);
    let drill = &cases[0].plans[0].drills[0];
    assert_eq!((drill.dose.as_str(), drill.place), ("", Some(Place::Baseline)));
    assert_eq!(cases[0].follow_ups[0].serves, cases[1].serves);
    for (theirs, own) in cases[0].serves.iter().zip(&ours[0].serves) {
        let (theirs, own) = (to.library.serve(*theirs).unwrap(), from.library.serve(*own).unwrap());
        assert_eq!(theirs.serve, own.serve);
    }
    sound(&mut to.library);
    assert!(to.library.curves(made::SET).unwrap().unwrap().curve(cases[0].serves[0]).is_some());
    let found = to.library.find_words("north").unwrap().cases;
    assert_eq!(found.map(|cases| cases.len()), Some(2));
    // Received cases are not sent on.
    let again = packed_at(&to.library, false, 1, "");
    assert_eq!((again.leaving.cases.len(), again.left_out.received), (0, 2));
}

#[test]
fn a_received_case_says_where_it_came_from_under_the_senders_own_words_and_by_age() {
    let (mut from, mut to) = (room(), room());
    let mut own = crate::catalogue::Catalogue::builtin().drill("land_inside").unwrap().clone();
    (own.id, own.name) = ("own_landing".to_owned(), "Our landing game".to_owned());
    let mut table = toml::Table::new();
    table.insert("drill".into(), toml::Value::Array(vec![toml::Value::try_from(own).unwrap()]));
    // Fourteen years old in the year of the serves.
    let who = from.library.add_player(&sharing("zebrafinch")).unwrap();
    let added = made::add(&mut from.library, who, 1, date(2026, 3, 4), 2).unwrap();
    from.library
        .write(|w| {
            let own = toml::to_string(&table).unwrap();
            w.set_catalogue_file("own.toml", Some(&own), None)?;
            let drill = PlannedDrill {
                drill: "own_landing".to_owned(),
                dose: "3 x 8".to_owned(),
                place: None,
            };
            w.add_plan(&Plan { drills: vec![drill], ..plan(added.case, date(2026, 3, 5)) })
        })
        .unwrap();
    take(&mut to.library, &opened(&packed_at(&from.library, false, 0, "").bytes).unwrap());
    let found = |terms: &str| to.library.select(&Filter::parse(terms).unwrap()).unwrap().serves;
    assert_eq!(found("age=u14").len(), 2);
    assert_eq!(found("age=12-15").len(), 2);
    assert!(found("age=u16").is_empty() && found("age>18").is_empty());
    assert!(found("age=14").is_empty(), "a band that only overlaps does not say 14");
    assert_eq!(found("age!=u16").len(), 2);
    let case = to.library.cases(None).unwrap().remove(0);
    let origin = to.library.origin(case.id).unwrap().unwrap();
    assert_eq!((origin.academy.as_deref(), origin.age), (Some("North Side"), Some((13, 14))));
    let today = jiff::Timestamp::now().to_string();
    assert_eq!(
        origin.describe(),
        format!("from the pack of North Side, received {}", &today[..10])
    );
    let catalogue = to.library.catalogue().unwrap();
    assert_eq!(catalogue.drill_name(&case.plans[0].drills[0].drill), "Our landing game");
    assert!(catalogue.drill("own_landing").is_none(), "a name only");
    assert_eq!(from.library.origin(added.case).unwrap(), None);
}

#[test]
fn a_place_sent_behind_the_dose_is_told_apart() {
    let (mut from, mut to) = (room(), room());
    let who = from.library.add_player(&sharing("zebrafinch")).unwrap();
    let added = made::add(&mut from.library, who, 1, date(2026, 3, 4), 2).unwrap();
    let drills: Vec<PlannedDrill> = ["2 x 10; service line", "wall", "a basket off the wall"]
        .map(|dose| PlannedDrill {
            drill: "land_inside".to_owned(),
            dose: dose.to_owned(),
            place: None,
        })
        .into();
    let old = Plan { drills, ..plan(added.case, date(2026, 3, 5)) };
    from.library.write(|w| w.add_plan(&old)).unwrap();
    take(&mut to.library, &opened(&packed_at(&from.library, true, 0, "").bytes).unwrap());
    let case = to.library.cases(None).unwrap().remove(0);
    let told: Vec<_> =
        case.plans[0].drills.iter().map(|drill| (drill.dose.as_str(), drill.place)).collect();
    assert_eq!(
        told,
        [
            ("2 x 10", Some(Place::ServiceLine)),
            ("", Some(Place::Wall)),
            ("a basket off the wall", None)
        ]
    );
}

#[test]
fn nothing_that_names_a_person_is_in_a_pack() {
    let mut from = room();
    stocked(&mut from.library);
    let inflated = |with_notes| {
        let bytes = packed_at(&from.library, with_notes, 0, "").bytes;
        let mut all = bytes.clone();
        let mut archive = zip::ZipArchive::new(std::io::Cursor::new(&bytes)).unwrap();
        for at in 0..archive.len() {
            std::io::Read::read_to_end(&mut archive.by_index(at).unwrap(), &mut all).unwrap();
        }
        String::from_utf8_lossy(&all).to_lowercase()
    };
    let hash = made::hash(1);
    let never =
        ["zebrafinch", "dotterel", "name of", "2012-05-03", "file-1", "anna", "monday", &hash];
    let words = ["quoll", "numbat"];
    let (bare, wordy) = (inflated(false), inflated(true));
    for word in never {
        assert!(!bare.contains(word) && !wordy.contains(word), "{word}");
    }
    for word in words {
        assert!(!bare.contains(word) && wordy.contains(word), "{word}");
    }
    assert!(!bare.contains("bettong") && !wordy.contains("bettong"));
    // What is looked for would be found: the day is in it, and so is a fault.
    assert!(bare.contains("2026-03-04") && bare.contains("late_toss"));
}

#[test]
fn a_newer_version_replaces_and_what_was_added_here_stays() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let old = opened(&packed_at(&from.library, true, 0, "").bytes).unwrap();
    from.library
        .write(|w| {
            w.add_note(CaseId(1), "newer quoll", None)?;
            w.remove_label(CaseId(1), "late_toss", &Author::Program)
        })
        .unwrap();
    let new = opened(&packed_at(&from.library, true, 5, "").bytes).unwrap();
    take(&mut to.library, &old);
    let own = label("shallow_leg_drive", "carl", "seen here");
    to.library.write(|w| w.set_label(CaseId(1), &own)).unwrap();
    let own_plan =
        Plan { limiting_fault: "own_plan".to_owned(), ..plan(CaseId(1), date(2026, 3, 6)) };
    let own_plan = to.library.add_plan(&own_plan).unwrap();
    let brought = take(&mut to.library, &new);
    assert_eq!((brought.replaced, brought.recordings, brought.cases), (1, 0, 0));
    let case = to.library.case(CaseId(1)).unwrap();
    assert_eq!(case.words().as_deref(), Some("casewords quoll\nnewer quoll"));
    assert!(case.labels.contains(&own) && case.labels.len() == 2, "{:?}", case.labels);
    assert_eq!(case.plans.len(), 2);
    // Both packs back: what was added here keeps its case, the rest is gone.
    to.library.write(|w| w.undo_pack(&new.id)).unwrap();
    assert_eq!(to.library.case(CaseId(1)).unwrap().words().as_deref(), Some("casewords quoll"));
    let gone = to.library.write(|w| w.undo_pack(&old.id)).unwrap();
    assert_eq!((gone.cases_gone, gone.recordings_gone), (2, 2));
    let case = to.library.case(CaseId(1)).unwrap();
    assert_eq!((case.words(), case.grip, case.serves.len()), (None, None, 0));
    assert_eq!((case.labels, case.plans.len(), case.plans[0].id), (vec![own], 1, own_plan));
    assert!(to.library.packs().unwrap().is_empty());
    sound(&mut to.library);
}

#[test]
fn what_breaks_a_rule_of_coaching_is_told_kept_and_never_in_force() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let arched = label("lumbar_arch", "bettong", "arched");
    from.library.write(|w| w.set_label(CaseId(1), &arched)).unwrap();
    let mut pack = opened(&packed_at(&from.library, true, 0, "").bytes).unwrap();
    let cases = pack.items.iter_mut().filter_map(|item| match item {
        Item::Case(case) => Some(case),
        _ => None,
    });
    let case = cases.into_iter().find(|case| !case.plans.is_empty()).unwrap();
    let first = case.plans[0].clone();
    let more = |day: i8, fault: &str, drill: &str| PlanItem {
        uid: day.to_string().repeat(64),
        limiting_fault: fault.to_owned(),
        drills: vec![PlannedDrill { drill: drill.to_owned(), dose: String::new(), place: None }],
        start: date(2026, 3, day),
        follow_ups: Vec::new(),
        ..first.clone()
    };
    case.plans.extend([
        // It makes a lumbar arch worse, by the catalogue's own word.
        more(6, "shallow_leg_drive", "ball_throw_up"),
        more(7, "toss_low", "tape_on_frame"),
        more(8, "lazy_serve", "window_toss"),
        more(9, "toss_low", "window_toss"),
    ]);
    let third = PlanItem { uid: "a".repeat(64), ..more(5, "low_contact", "over_the_rope") };
    case.plans.push(PlanItem { start: date(2026, 3, 10), ..third });

    let told: Vec<String> =
        pack.notices(&to.library.catalogue().unwrap()).iter().map(ToString::to_string).collect();
    let expected = [
        "no fault 'late_toss'; its label is kept",
        "the plan of 2026-03-06 is kept and not counted as in force: 'ball_throw_up' makes \
         'lumbar_arch' worse",
        "2026-03-07 is kept and not counted as in force: this library's catalogue has no drill \
         'tape_on_frame'",
        "2026-03-08 is kept and not counted as in force: this library's catalogue has no fault \
         'lazy_serve'",
        "2026-03-10 is kept and not counted as in force: two plans are in force already",
    ];
    assert_eq!(told.len(), expected.len(), "{told:?}");
    for (told, expected) in told.iter().zip(expected) {
        assert!(told.contains(expected), "{expected}: {told}");
    }
    take(&mut to.library, &pack);
    let case = to.library.cases(None).unwrap().remove(0);
    assert_eq!(case.plans.len(), 6, "nothing is lost");
    assert_eq!(case.follow_ups.len(), 1);
    let in_force = case.plans_in_force(date(2026, 6, 1));
    let starts: Vec<Date> = in_force.iter().map(|plan| plan.start).collect();
    assert_eq!(starts, [date(2026, 3, 5), date(2026, 3, 9)]);
    let aside = case.plans.iter().find(|plan| plan.start == date(2026, 3, 6)).unwrap();
    let end = aside.ended.as_ref().unwrap();
    assert_eq!((end.day, end.how, &end.by), (aside.start, Ending::Ended, &Author::Program));
    assert!(end.reason.as_ref().unwrap().contains("'lumbar_arch' worse"), "{end:?}");
    assert!(case.was_tried(aside), "what came of it still counts");
    sound(&mut to.library);
}

#[test]
fn a_case_of_ones_own_is_never_touched() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let late = opened(&packed_at(&from.library, true, 0, "date=2026-04").bytes).unwrap();
    take(&mut to.library, &late);
    let came = to.library.players().unwrap()[0].id;
    made::add(&mut to.library, came, 50, date(2026, 3, 4), 1).unwrap();
    let own = to.library.case(CaseId(2)).unwrap();
    let brought =
        take(&mut to.library, &opened(&packed_at(&from.library, true, 1, "").bytes).unwrap());
    assert_eq!((brought.in_the_way, brought.cases), (1, 0));
    assert_eq!(to.library.case(CaseId(2)).unwrap(), own);
    sound(&mut to.library);
}

#[test]
fn a_player_forgotten_here_does_not_come_back() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    take(&mut to.library, &opened(&packed_at(&from.library, true, 0, "").bytes).unwrap());
    let came = to.library.players().unwrap()[0].id;
    to.library.forget(came, date(2026, 6, 1)).unwrap();
    let file = std::fs::read(to.library.folder().join("library.db")).unwrap();
    assert!(!file.windows(5).any(|word| word == b"quoll"));
    let brought =
        take(&mut to.library, &opened(&packed_at(&from.library, true, 9, "").bytes).unwrap());
    assert_eq!((brought.forgotten, brought.players, brought.cases), (1, 0, 0));
    assert!(dump(&to.library).is_empty());
    // Who was shared is told when forgotten at home.
    let home = PlayerId(1);
    let packed = packed_at(&from.library, false, 10, "");
    from.library.write(|w| w.add_leaving(&packed.leaving)).unwrap();
    let (_, sent) = from.library.before_forgetting(home).unwrap();
    assert_eq!((sent.len(), sent[0].cases), (1, 2));
    assert_eq!(sent[0].file_hash, blake3::hash(&packed.bytes).to_hex().to_string());
}

#[test]
fn a_dry_run_stores_nothing_and_ones_own_pack_is_refused() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let pack = opened(&packed_at(&from.library, false, 0, "").bytes).unwrap();
    let before = dump(&to.library);
    assert_eq!(to.library.try_receive(&pack).unwrap().cases, 2);
    assert!(dump(&to.library) == before && to.library.packs().unwrap().is_empty());
    let refused = from.library.write(|w| w.receive(&pack)).unwrap_err().to_string();
    assert!(refused.contains("made by this very library"), "{refused}");
}

/// A library grows at random and packs of parts of it are made on the way; two more libraries
/// receive all of them in another order each, some twice, and take some back.
#[test]
fn order_and_repetition_do_not_matter() {
    let mut shown = 0;
    for seed in 0..6 {
        let mut chance = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut packs = Vec::new();
        for sender in 0..2u32 {
            let mut from = room();
            let players: Vec<PlayerId> = (0..2)
                .map(|n| from.library.add_player(&sharing(&format!("p{n}"))).unwrap())
                .collect();
            for step in 0..4u32 {
                let who = *players.choose(&mut chance).unwrap();
                let day = date(2026, 3, 1 + chance.gen_range(0..5));
                let number = sender * 100 + step;
                let added = made::add(&mut from.library, who, number, day, 1 + step % 2).unwrap();
                let note = format!("note {}", chance.gen_range(0..9));
                let follows = chance.gen_bool(0.6);
                let later = from.library.cases(Some(who)).unwrap();
                let later = later.into_iter().rfind(|case| case.date > day);
                from.library
                    .write(|w| {
                        w.add_note(added.case, &note, None)?;
                        w.set_label(added.case, &label("late_toss", "bettong", &note))?;
                        if let (true, Some(later)) = (follows, later)
                            && let Ok(plan) = w.add_plan(&plan(added.case, day))
                        {
                            w.add_follow_up(&FollowUp {
                                id: FollowUpId(0),
                                plan,
                                date: later.date,
                                serves: later.serves,
                                ball: BallFlight::default(),
                                rating: None,
                                sessions_done: None,
                                note: None,
                            })?;
                        }
                        Ok(())
                    })
                    .unwrap();
                let all = ["", "date>=2026-03-03", "date<=2026-03-03"];
                let filter = all.choose(&mut chance).unwrap();
                // Some in the same moment: then the print decides.
                let minute = i64::from(step / 2);
                let packed = packed_at(&from.library, true, minute, filter);
                from.library.write(|w| w.add_leaving(&packed.leaving)).unwrap();
                let pack = opened(&packed.bytes).unwrap();
                if chance.gen_bool(0.2) {
                    let player = from.library.player(who).unwrap();
                    let consent = Consent { share: !player.consent.share, ..player.consent };
                    let changed = Player { consent, ..player };
                    from.library.write(|w| w.update_player(&changed)).unwrap();
                }
                if packs.iter().all(|other: &Arrived| other.id != pack.id) {
                    packs.push(pack);
                }
            }
        }
        // Whom a pack takes back stays away when that pack is taken back itself.
        let undone: BTreeSet<usize> = (0..packs.len())
            .filter(|at| chance.gen_bool(0.25) && packs[*at].withdrawn.is_empty())
            .collect();
        let mut outcomes = Vec::new();
        for _ in 0..2 {
            let mut to = room();
            let mut order: Vec<usize> = (0..packs.len()).collect();
            order.extend((0..packs.len()).filter(|_| chance.gen_bool(0.3)));
            order.shuffle(&mut chance);
            for &at in &order {
                take(&mut to.library, &packs[at]);
            }
            let full = dump(&to.library);
            for &at in &undone {
                to.library.write(|w| w.undo_pack(&packs[at].id)).unwrap();
            }
            let fewer = dump(&to.library);
            sound(&mut to.library);
            outcomes.push((full, fewer));
        }
        // A third one that never saw the packs taken back.
        let mut never = room();
        for (at, pack) in packs.iter().enumerate() {
            if !undone.contains(&at) {
                take(&mut never.library, pack);
            }
        }
        shown += outcomes[0].0.len();
        assert!(outcomes[0].0 == outcomes[1].0, "seed {seed}: order changed what is shown");
        assert!(outcomes[0].1 == outcomes[1].1, "seed {seed}: order changed what stays");
        assert!(
            outcomes[0].1 == dump(&never.library),
            "seed {seed}: taking back left or took more"
        );
    }
    assert!(shown > 48, "{shown} lines in six rounds prove little");
}

pub(super) fn parts(bytes: &[u8]) -> (serde_json::Value, Vec<u8>) {
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
    let mut read = |name| {
        let mut content = Vec::new();
        std::io::Read::read_to_end(&mut archive.by_name(name).unwrap(), &mut content).unwrap();
        content
    };
    (serde_json::from_slice(&read(MANIFEST)).unwrap(), read(CASES))
}

/// A pack with these lines whose manifest is right again, as a forger would make it.
pub(super) fn forged(manifest: &serde_json::Value, lines: &[u8]) -> Vec<u8> {
    let mut manifest: Manifest = serde_json::from_value(manifest.clone()).unwrap();
    let entry =
        EntryNote { bytes: lines.len() as u64, blake3: blake3::hash(lines).to_hex().to_string() };
    manifest.entries.insert(CASES.to_owned(), entry);
    manifest.id = manifest.right_id().unwrap();
    zipped(&[(MANIFEST, &serde_json::to_vec(&manifest).unwrap()), (CASES, lines)]).unwrap()
}

pub(super) fn sample() -> Vec<u8> {
    let mut from = room();
    stocked(&mut from.library);
    packed_at(&from.library, false, 0, "").bytes
}

fn refusal(bytes: &[u8]) -> String {
    let said = opened(bytes).unwrap_err().to_string();
    assert!(!said.contains('\n') && !said.ends_with('.'), "{said}");
    said
}

#[test]
fn a_truncated_pack_is_refused_wherever_it_is_cut() {
    let bytes = sample();
    assert!(opened(&bytes).is_ok());
    for cut in (0..bytes.len()).step_by(bytes.len() / 40).chain([bytes.len() - 1]) {
        let said = refusal(&bytes[..cut]);
        assert!(said.starts_with("not a whole pack"), "{cut}: {said}");
    }
    assert!(refusal(b"no zip at all").starts_with("not a whole pack"));
}

#[test]
fn a_tampered_pack_is_refused() {
    let bytes = sample();
    let (manifest, lines) = parts(&bytes);
    let text = String::from_utf8(lines.clone()).unwrap();
    let changed = text.replace("141.5", "161.5").into_bytes();
    assert_ne!(changed, lines);
    let head =
        serde_json::to_vec(&serde_json::from_value::<Manifest>(manifest.clone()).unwrap()).unwrap();
    let said = refusal(&zipped(&[(MANIFEST, &head), (CASES, &changed)]).unwrap());
    assert!(said.starts_with("cases.jsonl was changed"), "{said}");
    let mut other = manifest.clone();
    other["academy"] = "South".into();
    let head = serde_json::to_vec(&other).unwrap();
    let said = refusal(&zipped(&[(MANIFEST, &head), (CASES, &lines)]).unwrap());
    assert!(said.starts_with("manifest.json was changed"), "{said}");
    // Flipped bits anywhere give an error or the very same pack, never another one.
    let whole = opened(&bytes).unwrap();
    for at in (0..bytes.len()).step_by(bytes.len() / 60) {
        let mut bad = bytes.clone();
        bad[at] ^= 0x10;
        if let Ok(pack) = opened(&bad) {
            assert_eq!(pack, whole, "byte {at}");
        }
    }
}

#[test]
fn a_pack_that_breaks_a_rule_is_refused_though_its_hashes_are_right() {
    let (manifest, lines) = parts(&sample());
    let text = String::from_utf8(lines.clone()).unwrap();
    assert!(opened(&forged(&manifest, &lines)).is_ok());
    let curve = text.split("\"curve\":\"").nth(1).unwrap()[..16].to_owned();
    let details = text.split("\"details\":\"").nth(1).unwrap()[..40].to_owned();
    let uid = text.split("\"recording\":{\"player\":\"").nth(1).unwrap()[..64].to_owned();
    let (zeros, other) = ("0".repeat(40), "f".repeat(64));
    for (from, to, said) in [
        ("\"severity\":0.4", "\"severity\":4", "severity: '4'; 0 to 1"),
        ("away-", "anna-", "by: 'anna-"),
        ("\"speed_kmh\":141.5", "\"speed_kmh\":1415", "speed_kmh"),
        ("\"rate_hz\":120.0", "\"rate_hz\":0.0", "rate_hz: '0'; above 0"),
        (curve.as_str(), "0000c07f0000c07f", "frame 0, channel 0 is not finite"),
        (curve.as_str(), "00", "serve: 4841 bytes, expected 4848"),
        (details.as_str(), zeros.as_str(), "serve: starts with"),
        (uid.as_str(), other.as_str(), "its player is not in the pack"),
        ("\"hand\":\"left\"", "\"hand\":\"left\",\"name\":\"Ann\"", "unknown field `name`"),
    ] {
        let at = if from == uid { text.find("{\"recording\"").unwrap() } else { 0 };
        let changed = format!("{}{}", &text[..at], text[at..].replacen(from, to, 1));
        assert_ne!(changed, text, "{from}");
        let told = refusal(&forged(&manifest, changed.as_bytes()));
        assert!(told.contains(said) && told.starts_with("cases.jsonl, line"), "{from}: {told}");
    }
    let twice = format!("{text}{}\n", text.lines().next().unwrap());
    let told = refusal(&forged(&manifest, twice.as_bytes()));
    assert!(told.contains("the player is in it twice"), "{told}");
    let fewer: String = text.lines().take(3).map(|line| format!("{line}\n")).collect();
    let told = refusal(&forged(&manifest, fewer.as_bytes()));
    assert!(told.contains("0 recordings, 0 serves, expected 1 players"), "{told}");
}

/// `golden/pack-2.zip` was made by this program, 0.1.0, before packs knew the end of a plan: `add` of
/// `demo-data/new-serve.c3d` (invented), `label`, `plan`, `follow-up`, `share` with words.
#[test]
fn a_pack_of_format_2_is_read_unchanged() {
    let pack = opened(include_bytes!("golden/pack-2.zip")).unwrap();
    let mut to = room();
    let brought = take(&mut to.library, &pack);
    assert_eq!((brought.players, brought.cases, brought.serves), (1, 1, 1));
    let case = to.library.case(CaseId(1)).unwrap();
    assert_eq!(case.words().as_deref(), Some("waits too long"));
    let [plan] = case.plans.as_slice() else { panic!("{:?}", case.plans) };
    assert_eq!((plan.limiting_fault.as_str(), &plan.ended), ("shallow_leg_drive", &None));
    assert_eq!((plan.start, plan.review_on), (date(2026, 3, 4), Some(date(2026, 4, 10))));
    assert_eq!(case.follow_ups[0].ball.speed_kmh, Some(148.0));
    // The same items read and written again are the same bytes: the same versions.
    let (_, lines) = parts(include_bytes!("golden/pack-2.zip"));
    let again: Vec<u8> = pack
        .items
        .iter()
        .flat_map(|item| [item.line().unwrap(), b"\n".to_vec()].concat())
        .collect();
    assert!(again == lines, "an item of format 2 is written otherwise now");
    sound(&mut to.library);
}

#[test]
fn a_plan_travels_with_its_end() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let old = from.library.case(CaseId(1)).unwrap().plans[0].clone();
    let by = Author::coach("anna").unwrap();
    let first = opened(&packed_at(&from.library, true, 0, "").bytes).unwrap();
    take(&mut to.library, &first);
    assert_eq!(to.library.case(CaseId(1)).unwrap().plans[0].ended, None);
    let next = plan(CaseId(1), date(2026, 6, 1));
    from.library.write(|w| w.replace_plan(old.id, &next, &by, Some("reason quoll"))).unwrap();
    for (minute, with_notes) in [(5, true), (9, false)] {
        let pack = packed_at(&from.library, with_notes, minute, "");
        take(&mut to.library, &opened(&pack.bytes).unwrap());
        let plans = to.library.case(CaseId(1)).unwrap().plans;
        let end = plans[0].ended.as_ref().unwrap();
        assert_eq!((end.day, end.how), (date(2026, 6, 1), Ending::Replaced(plans[1].id)));
        assert!(end.by.as_str().starts_with("away-"), "{end:?}");
        assert_eq!(end.reason.as_deref(), with_notes.then_some("reason quoll"));
    }
    // An end somebody here gives a plan that came stays, whatever its sender says.
    let own = PlanEnd {
        day: date(2026, 7, 1),
        how: Ending::Withdrawn,
        by: Author::coach("carl").unwrap(),
        reason: None,
    };
    let second = to.library.case(CaseId(1)).unwrap().plans[1].id;
    to.library.write(|w| w.end_plan(second, &own)).unwrap();
    take(&mut to.library, &opened(&packed_at(&from.library, true, 20, "").bytes).unwrap());
    assert_eq!(to.library.case(CaseId(1)).unwrap().plans[1].ended, Some(own));
    sound(&mut to.library);
}

#[test]
fn another_format_is_named() {
    let (mut manifest, lines) = parts(&sample());
    for earlier in [1, 2, 3] {
        manifest["format"] = earlier.into();
        assert!(opened(&forged(&manifest, &lines)).is_ok(), "packs of format {earlier} are read");
    }
    manifest["format"] = 5.into();
    let head = serde_json::to_vec(&manifest).unwrap();
    let said = refusal(&zipped(&[(MANIFEST, &head), (CASES, &lines)]).unwrap());
    assert!(said.starts_with("pack of format 5, this program reads formats 1 to 4"), "{said}");
}

#[test]
fn an_entry_that_would_leave_its_folder_is_refused() {
    let bytes = sample();
    let (manifest, lines) = parts(&bytes);
    let head = serde_json::to_vec(&manifest).unwrap();
    for name in ["../cases.jsonl", "/etc/cases.jsonl", "..\\cases.jsonl", "sub/cases.jsonl"] {
        let said = refusal(&zipped(&[(MANIFEST, &head), (name, &lines)]).unwrap());
        assert!(said.starts_with("holds the entries") && said.contains("(2 in all)"), "{said}");
        let all = [(MANIFEST, &head[..]), (CASES, &lines[..]), (name, &b"x"[..])];
        assert!(refusal(&zipped(&all).unwrap()).contains("(3 in all)"));
    }
}

#[test]
fn long_and_many_names_are_refused_in_few_words() {
    let (mut manifest, lines) = parts(&sample());
    let head = serde_json::to_vec(&manifest).unwrap();
    let long = "\u{1b}".repeat(30_000);
    let said = refusal(&zipped(&[(MANIFEST, &head), (&long, &lines)]).unwrap());
    assert!(said.starts_with("holds the entries") && said.len() < 1000, "{}", said.len());
    assert!(!said.contains('\u{1b}'), "{said}");

    for n in 0_u32..5000 {
        // Names that inflate to no suspicious size.
        let name = blake3::hash(&n.to_le_bytes()).to_hex().to_string();
        manifest["entries"][name] = manifest["entries"][CASES].clone();
    }
    let said = refusal(&forged(&manifest, &lines));
    assert!(said.contains("(5001 in all)") && said.len() < 1000, "{said}");
}

#[test]
fn a_bomb_is_stopped_while_it_inflates() {
    let bytes = sample();
    let (manifest, lines) = parts(&bytes);
    let zeros = vec![b' '; 8 << 20];
    let said = refusal(&forged(&manifest, &zeros));
    assert!(said.contains("cases.jsonl inflates beyond 50 times the size of the file"), "{said}");
    let head = serde_json::to_vec(&manifest).unwrap();
    let said = refusal(&zipped(&[(MANIFEST, &zeros), (CASES, &lines)]).unwrap());
    assert!(said.contains("manifest.json inflates beyond"), "{said}");
    let small = zipped(&[(MANIFEST, &head), (CASES, &lines)]).unwrap();
    let said = open_within(&small, 1000).unwrap_err().to_string();
    assert!(said.contains("cases.jsonl inflates beyond 1000 bytes"), "{said}");
}
