use std::ops::ControlFlow;
use std::time::Duration;

use jiff::civil::date;
use rusqlite::Connection;
use tempfile::TempDir;

use super::made;
use crate::library::*;
use crate::motion::Capture;

fn new_library() -> (TempDir, Library) {
    let folder = TempDir::new().unwrap();
    let library = Library::create(folder.path().join("lib")).unwrap();
    (folder, library)
}

#[test]
fn what_is_stored_comes_back_after_reopening() {
    let (_folder, mut library) = new_library();
    let id = library.add_player(&made::player("p07")).unwrap();
    let added = made::add(&mut library, id, 1, date(2026, 3, 4), 3).unwrap();
    assert!(added.new && !added.joined_case && !added.consent_open);
    let case = added.case;
    let label = FaultLabel {
        fault: "late_toss".to_owned(),
        state: LabelState::Suspected,
        severity: 0.6,
        by: Author::Program,
        note: None,
    };
    let coach = FaultLabel {
        state: LabelState::Confirmed,
        by: Author::Coach("anna".to_owned()),
        note: Some("clear".to_owned()),
        ..label.clone()
    };
    let mut plan = Plan {
        id: PlanId(0),
        case,
        limiting_fault: "late_toss".to_owned(),
        drills: vec![
            PlannedDrill { drill: "toss_wall".to_owned(), dose: "3 x 10".to_owned(), place: None },
            PlannedDrill { drill: "toss_catch".to_owned(), dose: "daily".to_owned(), place: None },
        ],
        start: date(2026, 3, 5),
        review_on: Some(date(2026, 4, 5)),
        coach: Some("anna".to_owned()),
        note: Some("slowly".to_owned()),
        ended: None,
    };
    let grip = Grip { index_knuckle: Some(2), heel_pad: None };
    let ball = BallFlight {
        speed_kmh: Some(132.5),
        first_serve_pct: Some(51.0),
        misses: Some(Misses { net: 4, long: 9, wide: 0 }),
    };
    plan.id = library
        .write(|w| {
            w.set_label(case, &label)?;
            w.set_label(case, &coach)?;
            w.set_grip(case, Some(grip))?;
            w.set_ball(case, &ball)?;
            w.add_note(case, "arm folds early", None)?;
            w.add_plan(&plan)
        })
        .unwrap();
    let later = made::add(&mut library, id, 2, date(2026, 4, 6), 1).unwrap();
    assert_ne!(later.case, case);
    let mut follow_up = FollowUp {
        id: FollowUpId(0),
        plan: plan.id,
        date: date(2026, 4, 6),
        serves: later.serves.clone(),
        ball: BallFlight { speed_kmh: Some(140.0), ..BallFlight::default() },
        rating: Some(-1),
        sessions_done: Some(12),
        note: Some("better".to_owned()),
    };
    follow_up.id = library.add_follow_up(&follow_up).unwrap();
    let folder = library.folder().to_owned();
    drop(library);

    let library = Library::open_read_only(&folder).unwrap();
    let mut expected = made::player("p07");
    expected.id = id;
    assert_eq!(library.player(id).unwrap(), expected);
    assert_eq!(library.player_by_code("P07").unwrap(), expected);
    assert_eq!(library.players().unwrap(), [expected]);
    let stored = library.case(case).unwrap();
    assert_eq!(stored.serves, added.serves);
    assert_eq!(stored.labels, [coach, label]);
    assert_eq!(stored.plans, std::slice::from_ref(&plan));
    assert_eq!(stored.follow_ups, [follow_up]);
    assert_eq!(stored.grip, Some(grip));
    assert_eq!(stored.ball, ball);
    assert_eq!(stored.words().as_deref(), Some("arm folds early"));
    assert_eq!(library.plan(plan.id).unwrap(), plan);
    for (n, &serve) in added.serves.iter().enumerate() {
        let row = library.serve(serve).unwrap();
        assert_eq!(row.serve, made::serve(10 + n as u32));
        assert_eq!((row.recording, row.case, row.player), (added.recording, case, id));
        assert_eq!(library.curve(serve).unwrap(), row.serve.curve);
        assert_eq!(library.serve_head(serve).unwrap().capture, Capture::Generated);
    }
    let mut streamed = Vec::new();
    library
        .each_serve(|row| {
            streamed.push(row.id);
            ControlFlow::Continue(())
        })
        .unwrap();
    assert_eq!(streamed, [&added.serves[..], &later.serves[..]].concat());
    assert_eq!(library.serve_heads().unwrap().len(), 4);
    assert_eq!(library.serves_of(id).unwrap(), streamed);
    assert_eq!(library.serves_in(added.recording).unwrap(), added.serves);
    // NaN is not equal to itself: compare the texts.
    let joints = library.joints(added.recording).unwrap();
    assert_eq!(format!("{joints:?}"), format!("{:?}", made::recording(1)));
    let row = library.recording(added.recording).unwrap();
    assert_eq!(library.recording_by_hash(&made::hash(1)).unwrap(), Some(row.clone()));
    assert_eq!(library.recordings(Some(id)).unwrap()[0], row);
    assert_eq!(
        library.counts().unwrap(),
        Counts { players: 1, recordings: 2, serves: 4, cases: 2, plans: 1, follow_ups: 1 }
    );
}

#[test]
fn the_same_file_again_is_reported_and_not_stored() {
    let (_folder, mut library) = new_library();
    let p07 = library.add_player(&made::player("p07")).unwrap();
    let p08 = library.add_player(&made::player("p08")).unwrap();
    let first = made::add(&mut library, p07, 1, date(2026, 3, 4), 2).unwrap();
    let again = made::add(&mut library, p07, 1, date(2026, 3, 9), 2).unwrap();
    assert_eq!(again, Added { new: false, joined_case: true, ..first.clone() });
    let error = made::add(&mut library, p08, 1, date(2026, 3, 4), 2).unwrap_err();
    assert_eq!(
        error.to_string(),
        "file-1.csv: already stored as r1 for player 'p07', and now given for 'p08'; \
         check the player, or move r1 to 'p08'"
    );
    // A second file of the same day joins the case.
    let second = made::add(&mut library, p07, 2, date(2026, 3, 4), 1).unwrap();
    assert!(second.joined_case);
    assert_eq!(second.case, first.case);
    assert_eq!(library.counts().unwrap().serves, 3);
}

#[test]
fn refused_changes_leave_nothing() {
    let (_folder, mut library) = new_library();
    let p07 = library.add_player(&made::player("p07")).unwrap();
    let added = made::add(&mut library, p07, 1, date(2026, 3, 4), 1).unwrap();
    let before = library.counts().unwrap();

    let taken = library.add_player(&made::player("P07")).unwrap_err();
    assert_eq!(
        taken.to_string(),
        "player 'P07': the code is taken; choose another, or update the player"
    );
    let bad = Player { stature_m: Some(17.0), ..made::player("p09") };
    assert_eq!(library.add_player(&bad).unwrap_err().to_string(), "stature_m: '17'; 0.5 to 2.6");
    let none = made::add(&mut library, p07, 5, date(2026, 3, 6), 0).unwrap_err();
    assert!(none.to_string().starts_with("serves: none found"), "{none}");

    let mut serve = made::serve(1);
    serve.curve.values[3 * made::CHANNELS + 2] = f32::NAN;
    let error = library.write(|w| w.update_serve(added.serves[0], &serve)).unwrap_err();
    assert_eq!(
        error.to_string(),
        "curve: frame 3, channel 2 is not finite; every sample is a number"
    );

    let refusing = Player {
        consent: Consent { keep: false, share: false, date: Some(date(2026, 2, 2)), by: None },
        ..made::player("p10")
    };
    let p10 = library.add_player(&refusing).unwrap();
    let error = made::add(&mut library, p10, 6, date(2026, 3, 6), 1).unwrap_err();
    assert!(matches!(error, WriteError::NoConsent { .. }), "{error}");

    let plan = |note: &str| Plan {
        id: PlanId(0),
        case: added.case,
        limiting_fault: "late_toss".to_owned(),
        drills: Vec::new(),
        start: date(2026, 3, 5),
        review_on: None,
        coach: None,
        note: Some(note.to_owned()),
        ended: None,
    };
    // Two are stored, the third is refused, and with it the whole change.
    let error = library
        .write(|w| {
            w.add_plan(&plan("one"))?;
            w.add_plan(&plan("two"))?;
            w.add_plan(&plan("three"))
        })
        .unwrap_err();
    assert!(matches!(error, WriteError::TooManyPlans { .. }), "{error}");
    let counts = library.counts().unwrap();
    assert_eq!(counts, Counts { players: 2, ..before });
}

#[test]
fn a_follow_up_keeps_to_its_player_and_time() {
    let (_folder, mut library) = new_library();
    let p07 = library.add_player(&made::player("p07")).unwrap();
    let p08 = library.add_player(&made::player("p08")).unwrap();
    let first = made::add(&mut library, p07, 1, date(2026, 3, 4), 1).unwrap();
    let other = made::add(&mut library, p08, 2, date(2026, 3, 4), 1).unwrap();
    let plan = library
        .add_plan(&Plan {
            id: PlanId(0),
            case: first.case,
            limiting_fault: "late_toss".to_owned(),
            drills: Vec::new(),
            start: date(2026, 3, 5),
            review_on: None,
            coach: None,
            note: None,
            ended: None,
        })
        .unwrap();
    let good = FollowUp {
        id: FollowUpId(0),
        plan,
        date: date(2026, 4, 1),
        serves: Vec::new(),
        ball: BallFlight::default(),
        rating: None,
        sessions_done: None,
        note: None,
    };
    let text =
        |f: &FollowUp, library: &mut Library| library.add_follow_up(f).unwrap_err().to_string();
    let early = FollowUp { date: date(2026, 3, 1), ..good.clone() };
    assert_eq!(
        text(&early, &mut library),
        "date: '2026-03-01'; a follow-up is not before the plan's start, 2026-03-05"
    );
    let foreign = FollowUp { serves: other.serves, ..good.clone() };
    assert_eq!(
        text(&foreign, &mut library),
        "serves: 's2'; a follow-up holds serves of the plan's player only"
    );
    let before = made::add(&mut library, p07, 3, date(2026, 3, 1), 1).unwrap();
    let rule = "a follow-up holds serves of a session after the plan's own";
    for serve in [first.serves[0], before.serves[0]] {
        let own = FollowUp { serves: vec![serve], ..good.clone() };
        assert_eq!(text(&own, &mut library), format!("serves: '{serve}'; {rule}"));
    }
    let rated = FollowUp { rating: Some(3), ..good.clone() };
    assert_eq!(text(&rated, &mut library), "rating: '3'; -2 (worse) to 2 (gone)");
    let gone = FollowUp { plan: PlanId(99), ..good };
    assert_eq!(text(&gone, &mut library), "n99: not in this library");
}

#[test]
fn removing_a_player_takes_everything_and_every_byte() {
    let (_folder, mut library) = new_library();
    let p07 = library.add_player(&made::player("p07-xq")).unwrap();
    let p08 = library.add_player(&made::player("p08")).unwrap();
    let added = made::add(&mut library, p07, 1, date(2026, 3, 4), 2).unwrap();
    made::add(&mut library, p08, 2, date(2026, 3, 4), 2).unwrap();
    library.write(|w| w.add_note(added.case, "words of zebrafinch", None)).unwrap();
    library.write(|w| w.remove_player(p07)).unwrap();
    assert_eq!(
        library.counts().unwrap(),
        Counts { players: 1, recordings: 1, serves: 2, cases: 1, plans: 0, follow_ups: 0 }
    );
    let folder = library.folder().to_owned();
    drop(library); // The last connection folds the log into the file.
    let bytes = std::fs::read(folder.join("library.db")).unwrap();
    let holds = |text: &str| bytes.windows(text.len()).any(|w| w == text.as_bytes());
    assert!(holds("Name of p08"));
    assert!(!holds("p07-xq") && !holds("zebrafinch"));
}

#[test]
fn two_write_in_turns_and_many_read() {
    let (_folder, mut writer) = new_library();
    let folder = writer.folder().to_owned();
    let mut reader = Library::open_read_only(&folder).unwrap();
    let second = Library::open_read_only(&folder).unwrap();
    let mut other = Library::open(&folder).unwrap();
    assert_eq!(reader.counts().unwrap().players, 0);
    writer.add_player(&made::player("p07")).unwrap();
    other.add_player(&made::player("p08")).unwrap();
    writer.add_player(&made::player("p09")).unwrap();
    for library in [&reader, &second, &writer, &other] {
        assert_eq!(library.counts().unwrap().players, 3);
    }
    let error = reader.add_player(&made::player("p10")).unwrap_err();
    assert!(matches!(error, WriteError::ReadOnly { .. }), "{error}");
}

#[test]
fn a_turn_that_does_not_come_names_who_has_it_and_reading_goes_on() {
    let (_folder, mut library) = new_library();
    library.add_player(&made::player("p07")).unwrap();
    let folder = library.folder().to_owned();
    let busy = Library::open(&folder).unwrap();
    let turn = busy.take_turn().unwrap();

    library.set_patience(Duration::from_millis(50));
    let error = library.add_player(&made::player("p08")).unwrap_err();
    let text = error.to_string();
    let WriteError::Locked(Locked { holder: Some(holder), waited, .. }) = error else {
        panic!("{text}")
    };
    assert_eq!(holder.pid, std::process::id());
    assert!(waited >= Duration::from_millis(50), "{text}");
    let age = jiff::Timestamp::now().duration_since(holder.since.unwrap());
    assert!((0..60).contains(&age.as_secs()), "{text}");
    let rest = "is changing the library; waited 0 s; let it finish, or end it, and try again; \
        reading works in the meantime";
    assert!(text.ends_with(&format!("library.lock: {holder} {rest}")), "{text}");

    // Opening, even for writing, and reading wait for nobody.
    let start = std::time::Instant::now();
    assert_eq!(library.counts().unwrap().players, 1);
    assert_eq!(Library::open(&folder).unwrap().counts().unwrap().players, 1);
    assert_eq!(Library::open_read_only(&folder).unwrap().counts().unwrap().players, 1);
    assert!(start.elapsed() < Duration::from_secs(5), "{:?}", start.elapsed());

    drop(turn);
    library.add_player(&made::player("p08")).unwrap();
}

#[test]
fn a_library_that_was_replaced_since_is_not_changed() {
    let (_folder, library) = new_library();
    let folder = library.folder().to_owned();
    let mut late = Library::open(&folder).unwrap();
    assert!(library.take_back().unwrap());
    assert!(folder.read_dir().unwrap().next().is_none());
    let error = late.add_player(&made::player("p07")).unwrap_err();
    assert!(matches!(error, WriteError::Replaced { .. }), "{error}");
    assert!(error.to_string().contains("nothing was changed; open the library again"), "{error}");

    let mut again = Library::create(&folder).unwrap();
    let error = late.add_player(&made::player("p07")).unwrap_err();
    assert!(matches!(error, WriteError::Replaced { .. }), "{error}");
    again.add_player(&made::player("p08")).unwrap();
    assert!(!Library::open(&folder).unwrap().take_back().unwrap());
    assert_eq!(again.counts().unwrap().players, 1);

    again.connection.pragma_update(None, "user_version", 99).unwrap();
    let error = again.add_player(&made::player("p09")).unwrap_err();
    assert!(matches!(error, WriteError::Replaced { .. }), "{error}");
}

#[test]
fn only_a_player_of_whom_nothing_is_stored_is_idle() {
    let (_folder, mut library) = new_library();
    let idle = library.add_player(&made::player("p07")).unwrap();
    let busy = library.add_player(&made::player("p08")).unwrap();
    made::add(&mut library, busy, 1, date(2026, 3, 4), 1).unwrap();
    assert!(library.write(|w| w.remove_idle_player(idle)).unwrap());
    assert!(!library.write(|w| w.remove_idle_player(busy)).unwrap());
    let left: Vec<_> = library.players().unwrap().into_iter().map(|player| player.id).collect();
    assert_eq!(left, [busy]);
}

#[test]
fn foreign_and_newer_files_are_refused_untouched() {
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("library.db");
    assert!(matches!(Library::open(folder.path()), Err(OpenError::Missing { .. })));

    std::fs::write(&file, "not a database, only some longer text ".repeat(20)).unwrap();
    let before = std::fs::read(&file).unwrap();
    for result in [
        Library::open(folder.path()),
        Library::open_read_only(folder.path()),
        Library::create(folder.path()),
    ] {
        let error = result.unwrap_err();
        assert!(matches!(error, OpenError::NotALibrary { .. }), "{error}");
    }
    assert_eq!(std::fs::read(&file).unwrap(), before);

    std::fs::remove_file(&file).unwrap();
    Connection::open(&file).unwrap().execute_batch("CREATE TABLE t (x)").unwrap();
    let error = Library::open(folder.path()).unwrap_err();
    assert!(error.to_string().contains("an SQLite database of another program"), "{error}");

    std::fs::remove_file(&file).unwrap();
    drop(Library::create(folder.path()).unwrap());
    assert!(matches!(Library::create(folder.path()), Err(OpenError::Exists { .. })));
    Connection::open(&file).unwrap().pragma_update(None, "user_version", 8).unwrap();
    let error = Library::open(folder.path()).unwrap_err();
    assert!(error.to_string().contains("format 8, this program reads formats 1 to 7"), "{error}");
}

#[test]
fn a_read_only_folder_is_readable() {
    let (_folder, mut library) = new_library();
    library.add_player(&made::player("p07")).unwrap();
    let folder = library.folder().to_owned();
    drop(library);
    // As on a write-protected medium: no log, and none can be made. Running as root, rights do
    // not stop us, so the URI path is tried directly.
    let strange = folder.parent().unwrap().join("ein#Ordner? ä %41");
    std::fs::rename(&folder, &strange).unwrap();
    let library = Library::open_read_only(&strange).unwrap();
    assert_eq!(library.counts().unwrap().players, 1);
}

#[test]
fn damaged_values_are_named() {
    let (_folder, mut library) = new_library();
    let p07 = library.add_player(&made::player("p07")).unwrap();
    let added = made::add(&mut library, p07, 1, date(2026, 3, 4), 1).unwrap();
    let serve = added.serves[0];
    library
        .connection
        .execute("UPDATE serve_data SET curve = zeroblob(length(curve))", [])
        .unwrap();
    let error = library.serve(serve).unwrap_err();
    assert!(error.to_string().starts_with("library.db: s1: checksum "), "{error}");
    let error = library.curve(serve).unwrap_err();
    assert!(error.to_string().starts_with("library.db: curve of s1: checksum "), "{error}");
}
