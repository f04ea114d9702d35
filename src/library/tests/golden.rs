//! A library of each format as it was first written, kept with the tests: later programs must read
//! them and must write the same bytes under the same format numbers.
//!
//! `golden/format-1.db` to `golden/format-7.db` were made by `make_the_golden_library` below, each
//! by the program that brought its format, 0.1.0, with SQLite 3.54.1 (bundled by rusqlite 0.43) and
//! bincode 2.0.1, from the invented data of `made.rs`.

use std::fs;
use std::path::PathBuf;

use jiff::civil::date;
use tempfile::TempDir;

use super::made;
use crate::catalogue::{BodyPart, Place};
use crate::find::Filter;
use crate::library::stored::{RecordingBytes, ServeBytes};
use crate::library::*;

pub(super) fn golden(format: i64) -> PathBuf {
    let name = format!("src/library/tests/golden/format-{format}.db");
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn clip() -> Clip {
    Clip { path: "basket.mp4".to_owned(), hash: made::hash(5), kept: false, body: vec![1, 2, 3] }
}

/// Planned in libraries from format 3 on.
fn plan() -> Plan {
    let planned = |drill: &str, dose: &str, place| PlannedDrill {
        drill: drill.to_owned(),
        dose: dose.to_owned(),
        place,
    };
    Plan {
        id: PlanId(1),
        case: CaseId(1),
        limiting_fault: "tossing_arm_drops_early".to_owned(),
        drills: vec![
            planned("toss_hold", "3 x 10, four days a week", Some(Place::OffCourt)),
            planned("throw_high", "2 x 10", Some(Place::ServiceLine)),
            planned("towel_swing", "", Some(Place::Wall)),
            planned("shadow_swing", "a basket off the wall", None),
        ],
        start: date(2026, 3, 5),
        review_on: Some(date(2026, 4, 5)),
        coach: Some("ash".to_owned()),
        note: None,
        ended: None,
    }
}

/// As they stand in libraries from format 4 on: the one of format 3, and what took its place.
fn lived() -> [Plan; 2] {
    let day = date(2026, 4, 5);
    let ended = PlanEnd {
        day,
        how: Ending::Replaced(PlanId(2)),
        by: Author::Coach("ash".to_owned()),
        reason: Some("the toss stays up now".to_owned()),
    };
    let second = Plan {
        id: PlanId(2),
        drills: plan().drills.split_off(2),
        start: day,
        review_on: None,
        ..plan()
    };
    [Plan { ended: Some(ended), ..plan() }, second]
}

/// Logged in libraries from format 4 on.
fn practised() -> Practice {
    Practice {
        id: PracticeId(1),
        plan: PlanId(1),
        day: date(2026, 3, 20),
        sessions: 2,
        repetitions: Some(60),
        effort: Some(7),
        pain: Some(Pain { level: 3, place: Some(BodyPart::Shoulder) }),
        note: Some("stiff at first".to_owned()),
        by: Some(Author::Coach("ash".to_owned())),
    }
}

/// Told on the day of the case in libraries from format 5 on.
fn told() -> CheckIn {
    CheckIn {
        pain: Some(vec![Ache { place: BodyPart::Elbow, level: 2, when: Some(HurtsWhen::NextDay) }]),
        serves_a_week: Some(120),
        double_faults: Some(4),
        by: Some(Author::Coach("ash".to_owned())),
        ..CheckIn::default()
    }
}

/// As in libraries from format 6 on: somebody agreed for the player, who was fourteen then.
fn agreed() -> Player {
    let player = made::player("p07");
    let consent = Consent { by: Some(ConsentBy::Guardian), ..player.consent };
    Player { consent, ..player }
}

/// Drawn in libraries from format 5 on.
fn drawn() -> NewMark {
    NewMark {
        recording: RecordingId(1),
        serve: None,
        what: Marked::Line { points: [[10.0, 20.0], [30.0, 40.5]] },
        time_s: 0.25,
        frame: 5,
    }
}

/// Said of two clips in libraries from format 7 on.
fn said() -> SaidClips {
    SaidClips {
        one: RecordingId(1),
        other: RecordingId(2),
        same: Some((ServeId(2), ServeId(3))),
        by: Author::Coach("ash".to_owned()),
    }
}

#[test]
#[ignore = "writes the golden library; run once per format"]
fn make_the_golden_library() {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path()).unwrap();
    let player = library.add_player(&agreed()).unwrap();
    let added = made::add(&mut library, player, 1, date(2026, 3, 4), 2).unwrap();
    let ash = Author::coach("ash").unwrap();
    library.write(|w| w.add_note(added.case, "arm folds early", Some(&ash))).unwrap();
    library.write(|w| w.set_clip(added.recording, &clip())).unwrap();
    library.write(|w| w.add_plan(&plan()).map(|_| ())).unwrap();
    let [first, second] = lived();
    let end = first.ended.unwrap();
    library.write(|w| w.replace_plan(first.id, &second, &end.by, end.reason.as_deref())).unwrap();
    library.write(|w| w.add_practice(&practised())).unwrap();
    library.write(|w| w.set_check_in(added.case, &told())).unwrap();
    library.write(|w| w.set_mark(&drawn(), &ash).map(|_| ())).unwrap();
    made::add(&mut library, player, 2, date(2026, 3, 4), 1).unwrap();
    library.write(|w| w.say_of_clips(&said())).unwrap();
    library.connection.execute_batch("VACUUM").unwrap();
    drop(library);
    fs::copy(folder.path().join("library.db"), golden(super::super::store::FORMAT)).unwrap();
}

fn format_of(file: &std::path::Path) -> i64 {
    let db = rusqlite::Connection::open(file).unwrap();
    db.query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap()
}

#[test]
fn a_library_of_format_1_is_read_as_it_is_and_migrated_by_the_first_writer() {
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("library.db");
    fs::copy(golden(1), &file).unwrap();
    assert_eq!(format_of(&file), 1);
    let reader = Library::open_read_only(folder.path()).unwrap();
    assert_eq!(reader.clip(RecordingId(1)).unwrap(), None);
    check_contents(&reader);
    drop(reader);
    assert_eq!(format_of(&file), 1);

    let mut library = Library::open(folder.path()).unwrap();
    check_contents(&library);
    library.write(|w| w.set_clip(RecordingId(1), &clip())).unwrap();
    let verified = library.verify(true, &crate::work::Watch::default()).unwrap();
    assert!(verified.is_sound(), "{:?}", verified.findings);
    drop(library);
    assert_eq!(format_of(&file), super::super::store::FORMAT);
    let library = Library::open_read_only(folder.path()).unwrap();
    check_contents(&library);
    assert_eq!(library.clip(RecordingId(1)).unwrap(), Some(clip()));
    // The same tables as in a library made new.
    let schema = |library: &Library| -> Vec<String> {
        let sql = "SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name";
        library.list("listing", sql, [], |row| row.get(0)).unwrap()
    };
    let new = TempDir::new().unwrap();
    assert_eq!(schema(&library), schema(&Library::create(new.path()).unwrap()));
}

#[test]
fn a_library_of_format_2_is_read_and_checked() {
    let folder = TempDir::new().unwrap();
    fs::copy(golden(2), folder.path().join("library.db")).unwrap();
    let mut library = Library::open(folder.path()).unwrap();
    check_contents(&library);
    assert_eq!(library.clip(RecordingId(1)).unwrap(), Some(clip()));
    let verified = library.verify(true, &crate::work::Watch::default()).unwrap();
    assert!(verified.is_sound(), "{:?}", verified.findings);
}

#[test]
fn a_place_behind_the_dose_of_format_2_is_told_apart() {
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("library.db");
    fs::copy(golden(2), &file).unwrap();
    let db = rusqlite::Connection::open(&file).unwrap();
    db.execute_batch(
        "INSERT INTO plans (uid, case_id, limiting_fault, start, review_on, coach)
            VALUES ('one', 1, 'tossing_arm_drops_early', '2026-03-05', '2026-04-05', 'ash');
        INSERT INTO plan_drills (plan, place, drill, dose) VALUES
            (1, 0, 'toss_hold', '3 x 10, four days a week; off court'),
            (1, 1, 'throw_high', '2 x 10; service line'),
            (1, 2, 'towel_swing', 'wall'),
            (1, 3, 'shadow_swing', 'a basket off the wall');",
    )
    .unwrap();
    drop(db);
    let at_wall = |library: &Library| {
        library.select(&Filter::parse("place=wall").unwrap()).unwrap().serves.len()
    };
    let reader = Library::open_read_only(folder.path()).unwrap();
    assert_eq!(reader.case(CaseId(1)).unwrap().plans, [plan()]);
    assert_eq!(at_wall(&reader), 2);
    drop(reader);
    assert_eq!(format_of(&file), 2);
    let library = Library::open(folder.path()).unwrap();
    assert_eq!(library.case(CaseId(1)).unwrap().plans, [plan()]);
    assert_eq!(at_wall(&library), 2);
    drop(library);
    assert_eq!(format_of(&file), super::super::store::FORMAT);
}

#[test]
fn a_library_of_format_3_is_read_and_checked() {
    let folder = TempDir::new().unwrap();
    fs::copy(golden(3), folder.path().join("library.db")).unwrap();
    let mut library = Library::open(folder.path()).unwrap();
    check_contents(&library);
    assert_eq!(library.clip(RecordingId(1)).unwrap(), Some(clip()));
    assert_eq!(library.case(CaseId(1)).unwrap().plans, [plan()]);
    let verified = library.verify(true, &crate::work::Watch::default()).unwrap();
    assert!(verified.is_sound(), "{:?}", verified.findings);
}

#[test]
fn a_library_of_format_3_keeps_its_note_and_its_plan_goes_on() {
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("library.db");
    fs::copy(golden(3), &file).unwrap();
    let note = Note { text: "arm folds early".to_owned(), by: None, at: None };
    for writes in [false, true] {
        let library = match writes {
            false => Library::open_read_only(folder.path()).unwrap(),
            true => Library::open(folder.path()).unwrap(),
        };
        let case = library.case(CaseId(1)).unwrap();
        assert_eq!(case.notes, std::slice::from_ref(&note));
        assert_eq!(case.plans_in_force(date(2030, 1, 1)), [&plan()]);
        assert!(library.practice_of(PlanId(1)).unwrap().is_empty());
        assert_eq!(format_of(&file), if writes { super::super::store::FORMAT } else { 3 });
    }
}

#[test]
fn a_library_of_format_4_is_read_and_checked() {
    let folder = TempDir::new().unwrap();
    fs::copy(golden(4), folder.path().join("library.db")).unwrap();
    let mut library = Library::open(folder.path()).unwrap();
    check_contents(&library);
    assert_eq!(library.clip(RecordingId(1)).unwrap(), Some(clip()));
    let case = library.case(CaseId(1)).unwrap();
    assert_eq!(case.plans, lived());
    assert_eq!(case.notes[0].by, Some(Author::Coach("ash".to_owned())));
    assert_eq!(library.practice_of(PlanId(1)).unwrap(), [practised()]);
    let verified = library.verify(true, &crate::work::Watch::default()).unwrap();
    assert!(verified.is_sound(), "{:?}", verified.findings);
}

#[test]
fn a_library_of_format_5_is_read_and_checked() {
    let folder = TempDir::new().unwrap();
    fs::copy(golden(5), folder.path().join("library.db")).unwrap();
    let mut library = Library::open(folder.path()).unwrap();
    check_contents(&library);
    let case = library.case(CaseId(1)).unwrap();
    assert_eq!(case.plans, lived());
    assert_eq!(library.practice_of(PlanId(1)).unwrap(), [practised()]);
    assert_eq!(library.check_in(CaseId(1)).unwrap(), told());
    let marks = library.marks(RecordingId(1)).unwrap();
    let [mark] = &marks[..] else { panic!("{marks:?}") };
    let drawn = drawn();
    assert_eq!((&mark.what, mark.frame, mark.time_s), (&drawn.what, drawn.frame, drawn.time_s));
    assert_eq!(mark.by, Author::Coach("ash".to_owned()));
    let verified = library.verify(true, &crate::work::Watch::default()).unwrap();
    assert!(verified.is_sound(), "{:?}", verified.findings);
}

#[test]
fn a_library_of_format_6_is_read_and_checked() {
    let folder = TempDir::new().unwrap();
    fs::copy(golden(6), folder.path().join("library.db")).unwrap();
    let mut library = Library::open(folder.path()).unwrap();
    check_contents_of(&library, agreed());
    assert_eq!(library.case(CaseId(1)).unwrap().plans, lived());
    assert_eq!(library.check_in(CaseId(1)).unwrap(), told());
    let verified = library.verify(true, &crate::work::Watch::default()).unwrap();
    assert!(verified.is_sound(), "{:?}", verified.findings);
}

#[test]
fn a_library_of_format_7_is_read_and_checked() {
    let folder = TempDir::new().unwrap();
    fs::copy(golden(7), folder.path().join("library.db")).unwrap();
    let mut library = Library::open(folder.path()).unwrap();
    check_contents_of(&library, agreed());
    let clips = [RecordingId(2), RecordingId(1)];
    assert_eq!(library.said_of_clips(&clips).unwrap(), [said()]);
    let verified = library.verify(true, &crate::work::Watch::default()).unwrap();
    assert!(verified.is_sound(), "{:?}", verified.findings);
}

/// Who agreed is not known of a library of format 5, neither before nor after it is brought to this one, and
/// can be recorded then; taken back, it is not known again.
#[test]
fn who_agreed_is_recorded_once_a_library_of_format_5_was_migrated() {
    let folder = TempDir::new().unwrap();
    fs::copy(golden(5), folder.path().join("library.db")).unwrap();
    let before = Library::open_read_only(folder.path()).unwrap();
    check_contents(&before);
    drop(before);
    assert_eq!(format_of(&folder.path().join("library.db")), 5);
    let mut library = Library::open(folder.path()).unwrap();
    check_contents(&library);
    let ash = Author::coach("ash").unwrap();
    let update = |library: &mut Library, player: &Player| {
        library
            .write(|w| {
                w.keep_history(ChangeKind::Amended, Some(&ash))?;
                w.update_player(player)
            })
            .unwrap();
    };
    let player = Player { id: PlayerId(1), ..agreed() };
    update(&mut library, &player);
    assert_eq!(library.player(PlayerId(1)).unwrap(), player);
    assert_eq!(format_of(&folder.path().join("library.db")), super::super::store::FORMAT);
    let last = library.last_change(ItemId::Player(PlayerId(1))).unwrap().unwrap();
    library.write(|w| w.undo(last, &ash)).unwrap();
    check_contents(&library);
    let other = Consent { by: Some(ConsentBy::Player), ..player.consent };
    update(&mut library, &Player { consent: other, ..player });
    assert_eq!(library.player(PlayerId(1)).unwrap().consent.by, Some(ConsentBy::Player));
}

fn check_contents(library: &Library) {
    check_contents_of(library, made::player("p07"));
}

fn check_contents_of(library: &Library, mut player: Player) {
    player.id = PlayerId(1);
    assert_eq!(library.players().unwrap(), [player]);
    let case = library.case(CaseId(1)).unwrap();
    assert_eq!((case.date, case.words().as_deref()), (date(2026, 3, 4), Some("arm folds early")));
    let joints = library.joints(RecordingId(1)).unwrap();
    assert_eq!(format!("{joints:?}"), format!("{:?}", made::recording(1)));
    for (id, seed) in [(ServeId(1), 10), (ServeId(2), 11)] {
        let mut stored = library.serve(id).unwrap().serve;
        let made = made::serve(seed);
        // The sine behind these samples may differ by a last bit between systems.
        for (at, (stored, made)) in stored.curve.values.iter().zip(&made.curve.values).enumerate() {
            assert!((stored - made).abs() < 1e-5, "{id}, sample {at}: {stored} and {made}");
        }
        stored.curve.values.clone_from(&made.curve.values);
        assert_eq!(stored, made);
    }
    assert_eq!(library.find_words("folds").unwrap().cases, Some(vec![CaseId(1)]));
}

#[test]
fn the_same_values_are_sealed_to_the_same_bytes() {
    // A write-ahead database makes files beside it even to be read: a copy.
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("library.db");
    fs::copy(golden(1), &file).unwrap();
    let db = rusqlite::Connection::open(&file).unwrap();
    let blob = |sql: &str| db.query_row(sql, [], |row| row.get::<_, Vec<u8>>(0)).unwrap();

    let serve = ServeBytes::of(&made::serve(10)).unwrap();
    let details = blob("SELECT details FROM serve_data WHERE serve = 1");
    assert_eq!(serve.details, details);
    // Read by hand: magic, format 1, and the first field, hand_trust = 0.95.
    assert_eq!(&details[..6], b"PSrv\x01\x00");
    assert_eq!(&details[18..26], 0.95f64.to_le_bytes());
    assert_eq!(serve.figures, blob("SELECT figures FROM serve_data WHERE serve = 1"));

    let recording = RecordingBytes::of(&made::recording(1)).unwrap();
    let head = blob("SELECT head FROM recording_joints");
    assert_eq!(recording.head, head);
    assert_eq!(&head[..6], b"PRec\x01\x00");
    // Two joints, the first name 13 bytes long.
    assert_eq!(&head[18..33], b"\x02\x0dleft_shoulder");
    assert_eq!(recording.times, blob("SELECT times FROM recording_joints"));
    assert_eq!(recording.confidence.unwrap(), blob("SELECT confidence FROM recording_joints"));
    let positions = blob("SELECT positions FROM recording_joints");
    // The first position is (0.5, 0, 1).
    assert_eq!(&positions[8..12], 1f32.to_le_bytes());
    assert_eq!(recording.positions, positions);
}
