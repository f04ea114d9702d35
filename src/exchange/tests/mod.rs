//! Small invented libraries; planted people must not be found in a pack.

mod cases;
mod refusals;

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
