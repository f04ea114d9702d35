use jiff::civil::date;
use tempfile::TempDir;

use crate::catalogue::Place;
use crate::find::*;
use crate::library::tests::made;
use crate::library::*;
use crate::motion::{Side, View};

/// Three players: p1 (left, club, born 2012), p2 (right, national, 2008), p3 (nothing stated).
fn academy() -> (TempDir, Library) {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("lib")).unwrap();
    let p1 = made::player("p1");
    let p2 = Player {
        code: "p2".to_owned(),
        hand: Some(Side::Right),
        level: Some(Level::National),
        born: Some(date(2008, 12, 30)),
        squads: vec!["tuesday".to_owned()],
        coach: Some("bo".to_owned()),
        ..made::player("p2")
    };
    let p3 = Player {
        hand: None,
        level: None,
        born: None,
        squads: Vec::new(),
        coach: None,
        ..made::player("p3")
    };
    for (n, player) in [p1, p2, p3].iter().enumerate() {
        let id = library.add_player(player).unwrap();
        let mut recording = made::recording(n as u32);
        recording.view = (n == 1).then_some(View::Behind);
        library
            .add_recording(&NewRecording {
                player: id,
                file_name: "invented.csv",
                content_hash: &made::hash(n as u32),
                date: date(2026, 2 + n as i8, 28),
                setting: (n == 0).then_some(Setting::Match),
                serve_type: (n == 1).then_some(ServeType::Kick),
                recording: &recording,
                serves: &[made::serve(n as u32)],
            })
            .unwrap();
    }
    let plan = Plan {
        id: PlanId(0),
        case: CaseId(2),
        limiting_fault: "own_fault".to_owned(),
        drills: vec![PlannedDrill {
            drill: "own_drill".to_owned(),
            dose: "daily".to_owned(),
            place: Some(Place::Wall),
        }],
        start: date(2026, 4, 1),
        review_on: None,
        coach: None,
        note: None,
        ended: None,
    };
    library
        .write(|w| {
            w.add_note(CaseId(1), "late toss", None)?;
            w.add_note(CaseId(3), "toss too late", None)?;
            w.add_plan(&plan).map(|_| ())
        })
        .unwrap();
    (folder, library)
}

fn kept(library: &Library, text: &str) -> Vec<i64> {
    let filter = Filter::parse(text).unwrap();
    let selection = library.select(&filter).unwrap_or_else(|error| panic!("{text}: {error}"));
    assert_eq!(selection, library.select_plainly(&filter).unwrap(), "{text}");
    assert_eq!(selection.searched, 3);
    selection.serves.iter().map(|serve| serve.0).collect()
}

#[test]
fn each_key_keeps_what_it_says() {
    let (_folder, library) = academy();
    let cases: &[(&str, &[i64])] = &[
        ("", &[1, 2, 3]),
        ("player=P1", &[1]),
        ("player=p1,p3", &[1, 3]),
        ("player!=p1", &[2, 3]),
        ("squad=monday,tuesday", &[1, 2]),
        ("coach=bo", &[2]),
        // Nothing stated: what the motion shows counts, and the invented serves are left-handed.
        ("hand=left", &[1, 3]),
        ("level=national", &[2]),
        // Unknown passes "everything but".
        ("level!=national", &[1, 3]),
        // 2012 turns 14 in 2026, 2008 turns 18.
        ("age=u14", &[1]),
        ("age=u18", &[2]),
        ("age>=14", &[1, 2]),
        ("age=10-14,18", &[1, 2]),
        ("age<14", &[]),
        ("type=kick", &[2]),
        ("setting=match", &[1]),
        ("view=behind", &[2]),
        ("view!=behind", &[1, 3]),
        ("capture=generated", &[1, 2, 3]),
        ("date=2026-03", &[2]),
        ("date>=2026-03", &[2, 3]),
        ("date<2026-03", &[1]),
        ("date=2026-02-28,2026-04", &[1, 3]),
        ("limiting=own_fault", &[2]),
        ("drill=own_drill", &[2]),
        ("drill!=own_drill", &[1, 3]),
        ("place=wall,baseline", &[2]),
        ("place=off_court", &[]),
        ("follow-up=no", &[1, 2, 3]),
        ("follow-up=yes", &[]),
        ("words=\"late toss\"", &[1, 3]),
        ("words=\"toss -too\"", &[1]),
        ("words!=toss", &[2]),
        ("hand=left date>=2026-03 words=toss", &[3]),
    ];
    for (text, expected) in cases {
        assert_eq!(kept(&library, text), *expected, "{text}");
    }
}

#[test]
fn grip_ball_and_the_coachs_choice_are_keys() {
    let (_folder, mut library) = academy();
    let misses = |net, long, wide| Some(Misses { net, long, wide });
    library
        .write(|w| {
            w.set_grip(CaseId(1), Some(Grip { index_knuckle: Some(2), heel_pad: Some(1) }))?;
            w.set_grip(CaseId(2), Some(Grip { index_knuckle: Some(3), heel_pad: None }))?;
            let flight = BallFlight {
                speed_kmh: Some(118.0),
                first_serve_pct: Some(40.0),
                misses: misses(7, 2, 1),
            };
            w.set_ball(CaseId(1), &flight)?;
            let flight = BallFlight {
                speed_kmh: Some(140.0),
                first_serve_pct: None,
                misses: misses(3, 3, 0),
            };
            w.set_ball(CaseId(3), &flight)?;
            let label = |fault: &str, state, by: &str| FaultLabel {
                fault: fault.to_owned(),
                state,
                severity: 0.5,
                by: Author::from_text(by),
                note: None,
            };
            w.set_label(CaseId(3), &label("toss_low", LabelState::Limiting, "bo"))?;
            w.set_label(CaseId(3), &label("low_contact", LabelState::Limiting, "bo"))
        })
        .unwrap();
    let cases: &[(&str, &[i64])] = &[
        ("heel_pad=1", &[1]),
        ("heel-pad=2,8", &[]),
        ("heel_pad!=1", &[2, 3]),
        ("index_knuckle=2,3", &[1, 2]),
        ("misses=net", &[1]),
        // Three and three: neither side has more.
        ("misses=net,long,wide", &[1]),
        ("misses!=net", &[2, 3]),
        ("speed>=118", &[1, 3]),
        ("speed>118", &[3]),
        ("speed=110-120,139-141", &[1, 3]),
        ("speed<130 heel_pad=1", &[1]),
        ("first-serve<=40", &[1]),
        // What is not known is neither below nor above.
        ("first-serve<1000", &[1]),
        // One limiting fault per voice: the later word stands.
        ("limiting=low_contact", &[3]),
        ("limiting=toss_low", &[]),
        ("limiting=low_contact,own_fault", &[2, 3]),
        ("fault=toss_low", &[3]),
    ];
    for (text, expected) in cases {
        assert_eq!(kept(&library, text), *expected, "{text}");
    }
    let by_program = FaultLabel {
        fault: "toss_low".to_owned(),
        state: LabelState::Limiting,
        severity: 0.5,
        by: Author::Program,
        note: None,
    };
    let refused = library.write(|w| w.set_label(CaseId(1), &by_program)).unwrap_err();
    assert!(refused.to_string().contains("a coach's word"), "{refused}");
}

#[test]
fn a_phrase_and_ignored_words() {
    let (_folder, library) = academy();
    // Within one pair of marks stand words; a phrase needs its own.
    let filter = Filter::parse("words=\"late ** toss\"").unwrap();
    let selection = library.select(&filter).unwrap();
    assert_eq!(selection.serves.len(), 2);
    assert_eq!(selection.ignored[0].to_string(), "'**' (no letters or digits)");
    let error = library.refuse_unsearchable(&filter).unwrap_err().to_string();
    assert_eq!(
        error,
        "filter, column 1: these words cannot be searched for: '**' (no letters or digits); \
         leave them out"
    );
}

#[test]
fn names_nobody_bears_are_an_error_with_the_nearest() {
    let (_folder, library) = academy();
    let error = |text: &str| library.select(&Filter::parse(text).unwrap()).unwrap_err().to_string();
    assert_eq!(
        error("level=club player=p9"),
        "filter, column 12: player has no 'p9'; the nearest are p1, p2, p3"
    );
    assert_eq!(
        error("squad=munday"),
        "filter, column 1: squad has no 'munday'; the nearest are monday, tuesday, girls"
    );
    let text = error("fault=own_falt");
    assert!(text.contains("the nearest are ") && text.ends_with(" more"), "{text}");
    let text = error("limiting=own_falt");
    assert!(text.contains("the nearest are own_fault, "), "{text}");
}

#[test]
fn nothing_left_names_the_term_that_cuts_most() {
    let (_folder, library) = academy();
    let why =
        |text: &str| library.select(&Filter::parse(text).unwrap()).unwrap().why_empty().unwrap();
    assert_eq!(
        why("hand=left type=kick date>=2026-04"),
        "no match: 3 serves searched, 2 ruled out by type=kick; without it 1 match"
    );
    assert_eq!(
        why("age<14"),
        "no match: 3 serves searched, all ruled out by age<14; change or drop it"
    );
    let (_folder, empty) = {
        let folder = TempDir::new().unwrap();
        let library = Library::create(folder.path()).unwrap();
        (folder, library)
    };
    let selection = empty.select(&Filter::default()).unwrap();
    assert_eq!(
        selection.why_empty().unwrap(),
        "no match: the library holds no serves yet; add a recording"
    );
}
