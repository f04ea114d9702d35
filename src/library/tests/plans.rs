//! The life of a plan, and words that are added.

use jiff::civil::{Date, date};
use tempfile::TempDir;

use super::made;
use crate::library::*;

fn stocked() -> (TempDir, Library, [CaseId; 2]) {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("lib")).unwrap();
    let player = library.add_player(&made::player("p07")).unwrap();
    let first = made::add(&mut library, player, 1, date(2026, 3, 4), 1).unwrap().case;
    let second = made::add(&mut library, player, 2, date(2026, 4, 6), 1).unwrap().case;
    (folder, library, [first, second])
}

fn plan(case: CaseId, fault: &str, start: Date) -> Plan {
    Plan {
        id: PlanId(0),
        case,
        limiting_fault: fault.to_owned(),
        drills: Vec::new(),
        start,
        review_on: None,
        coach: Some("anna".to_owned()),
        note: None,
        ended: None,
    }
}

fn anna() -> Author {
    Author::coach("anna").unwrap()
}

fn end(day: Date, how: Ending) -> PlanEnd {
    PlanEnd { day, how, by: anna(), reason: Some("knee".to_owned()) }
}

fn in_force(library: &Library, case: CaseId, day: Date) -> Vec<i64> {
    let case = library.case(case).unwrap();
    case.plans_in_force(day).iter().map(|plan| plan.id.0).collect()
}

#[test]
fn a_plan_is_in_force_from_its_start_until_its_end() {
    let (_folder, mut library, [case, _]) = stocked();
    let one = library.add_plan(&plan(case, "late_toss", date(2026, 3, 9))).unwrap();
    // Before its start it is what the player takes home.
    assert_eq!(in_force(&library, case, date(2026, 3, 4)), [one.0]);
    let two = library.add_plan(&plan(case, "toss_low", date(2026, 3, 5))).unwrap();
    assert_eq!(in_force(&library, case, date(2026, 3, 4)), [two.0]);
    assert_eq!(in_force(&library, case, date(2026, 3, 9)), [two.0, one.0], "by start");
    library.write(|w| w.end_plan(two, &end(date(2026, 4, 1), Ending::Ended))).unwrap();
    assert_eq!(in_force(&library, case, date(2026, 3, 31)), [two.0, one.0]);
    assert_eq!(in_force(&library, case, date(2026, 4, 1)), [one.0]);
    library.write(|w| w.end_plan(one, &end(date(2026, 3, 6), Ending::Withdrawn))).unwrap();
    assert_eq!(in_force(&library, case, date(2026, 3, 4)), [two.0], "withdrawn before it began");
    assert_eq!(in_force(&library, case, date(2026, 5, 1)), [0i64; 0]);
    // Both are still there, as history.
    let case = library.case(case).unwrap();
    assert_eq!(case.plans[1].ended, Some(end(date(2026, 4, 1), Ending::Ended)));
    assert_eq!(library.plan(one).unwrap(), case.plans[0]);
    assert!(case.was_tried(&case.plans[1]) && !case.was_tried(&case.plans[0]));
}

#[test]
fn at_most_two_are_in_force_at_any_time() {
    let (_folder, mut library, [case, _]) = stocked();
    let one = library.add_plan(&plan(case, "a", date(2026, 3, 5))).unwrap();
    library.add_plan(&plan(case, "b", date(2026, 3, 20))).unwrap();
    for start in [date(2026, 3, 1), date(2026, 3, 5), date(2026, 6, 1)] {
        let error = library.add_plan(&plan(case, "c", start)).unwrap_err();
        let WriteError::TooManyPlans { day, plans, .. } = &error else { panic!("{error}") };
        let most = start.max(date(2026, 3, 20));
        assert_eq!((*day, plans.len()), (most, 2), "{error}");
    }
    // One that ends before both are there does not crowd them.
    let short = Plan {
        ended: Some(end(date(2026, 3, 20), Ending::Ended)),
        ..plan(case, "c", date(2026, 3, 1))
    };
    let short = library.add_plan(&short).unwrap();
    let longer = Plan { id: short, ended: None, ..plan(case, "c", date(2026, 3, 1)) };
    let error = library.write(|w| w.update_plan(&longer)).unwrap_err();
    assert!(matches!(error, WriteError::TooManyPlans { .. }), "{error}");
    library.write(|w| w.end_plan(one, &end(date(2026, 5, 1), Ending::Ended))).unwrap();
    library.add_plan(&plan(case, "d", date(2026, 5, 1))).unwrap();
    let error = library.write(|w| w.end_plan(one, &end(date(2026, 6, 1), Ending::Ended)));
    assert_eq!(
        error.unwrap_err().to_string(),
        format!("{one}: ended on 2026-05-01 already; change that ending, or make a new plan")
    );
}

#[test]
fn a_plan_takes_the_place_of_another_or_nothing_happens() {
    let (_folder, mut library, [case, later]) = stocked();
    let other = library.add_player(&made::player("p08")).unwrap();
    let foreign = made::add(&mut library, other, 9, date(2026, 3, 4), 1).unwrap().case;
    let old = library.add_plan(&plan(case, "a", date(2026, 3, 5))).unwrap();
    library.add_plan(&plan(case, "b", date(2026, 3, 5))).unwrap();

    let before = library.case(case).unwrap();
    for (new, said) in [
        (plan(foreign, "a", date(2026, 4, 6)), "another plan of the same player"),
        (Plan { review_on: Some(date(2026, 4, 1)), ..plan(later, "a", date(2026, 4, 6)) }, "start"),
    ] {
        let error = library.write(|w| w.replace_plan(old, &new, &anna(), None)).unwrap_err();
        assert!(error.to_string().contains(said), "{error}");
        assert_eq!(library.case(case).unwrap(), before);
    }

    let new = plan(case, "c", date(2026, 4, 6));
    let new = library.write(|w| w.replace_plan(old, &new, &anna(), Some("gone"))).unwrap();
    let ended = library.plan(old).unwrap().ended.unwrap();
    assert_eq!((ended.day, ended.how), (date(2026, 4, 6), Ending::Replaced(new)));
    assert_eq!(ended.reason.as_deref(), Some("gone"));
    assert_eq!(in_force(&library, case, date(2026, 4, 5)), [old.0, 2]);
    assert_eq!(in_force(&library, case, date(2026, 4, 6)), [2, new.0]);
    // A plan of a later review takes the place of one of an earlier.
    let newer = plan(later, "c", date(2026, 5, 6));
    let newer = library.write(|w| w.replace_plan(new, &newer, &anna(), None)).unwrap();
    assert_eq!(in_force(&library, case, date(2026, 5, 6)), [2]);
    assert_eq!(in_force(&library, later, date(2026, 5, 6)), [newer.0]);
}

#[test]
fn an_end_fits_its_plan_and_a_follow_up_shows_that_a_withdrawn_one_was_tried() {
    let (_folder, mut library, [case, _]) = stocked();
    let one = library.add_plan(&plan(case, "a", date(2026, 3, 9))).unwrap();
    let error = library.write(|w| w.end_plan(one, &end(date(2026, 3, 8), Ending::Ended)));
    assert!(error.unwrap_err().to_string().contains("not before the start, 2026-03-09"));
    let error = library.write(|w| w.end_plan(one, &end(date(2026, 4, 8), Ending::Replaced(one))));
    assert!(error.unwrap_err().to_string().contains("another plan of the same player"));
    let gone = library.write(|w| w.end_plan(PlanId(9), &end(date(2026, 4, 8), Ending::Ended)));
    assert_eq!(gone.unwrap_err().to_string(), "n9: not in this library");

    library.write(|w| w.end_plan(one, &end(date(2026, 3, 20), Ending::Withdrawn))).unwrap();
    library
        .add_follow_up(&FollowUp {
            id: FollowUpId(0),
            plan: one,
            date: date(2026, 4, 6),
            serves: Vec::new(),
            ball: BallFlight::default(),
            rating: Some(1),
            sessions_done: Some(5),
            note: None,
        })
        .unwrap();
    let case = library.case(case).unwrap();
    assert!(case.was_tried(&case.plans[0]));
}

#[test]
fn words_are_added_and_nobody_speaks_as_the_program() {
    let (_folder, mut library, [case, _]) = stocked();
    for (text, by) in [("early", None), ("calmer", Some(anna())), ("calmer", Some(anna()))] {
        library.write(|w| w.add_note(case, text, by.as_ref())).unwrap();
    }
    let known = library.case(case).unwrap();
    assert_eq!(known.words().as_deref(), Some("early\ncalmer"));
    assert_eq!((&known.notes[0].by, &known.notes[1].by), (&None, &Some(anna())));
    let at = known.notes[1].at.as_deref().unwrap();
    assert!(at.parse::<jiff::Timestamp>().is_ok(), "{at}");

    for code in ["program", "Program", " PROGRAM "] {
        let error = Author::coach(code).unwrap_err();
        assert!(matches!(&error, WriteError::ProgramsVoice { .. }), "{error}");
        let by = Author::Coach(code.to_owned());
        let note = library.write(|w| w.add_note(case, "x", Some(&by))).unwrap_err();
        assert!(matches!(&note, WriteError::ProgramsVoice { .. }), "{note}");
        let label = FaultLabel {
            fault: "a".to_owned(),
            state: LabelState::Added,
            severity: 0.5,
            by,
            note: None,
        };
        let label = library.set_label(case, &label).unwrap_err();
        assert!(matches!(&label, WriteError::ProgramsVoice { .. }), "{label}");
    }
    assert_eq!(serde_json::to_string(&Author::Program).unwrap(), "\"program\"");
    let read: Author = serde_json::from_str("\"anna\"").unwrap();
    assert_eq!(read, anna());
}
