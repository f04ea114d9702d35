//! The practice log: kept by plan and day, gone with the plan and with the player.

use jiff::civil::date;
use tempfile::TempDir;

use super::made::{self, holding};
use crate::catalogue::BodyPart;
use crate::library::*;

fn done(plan: PlanId, day: jiff::civil::Date) -> Practice {
    Practice {
        id: PracticeId(0),
        plan,
        day,
        sessions: 2,
        repetitions: Some(60),
        effort: Some(7),
        pain: Some(Pain { level: 3, place: Some(BodyPart::Shoulder) }),
        note: Some("wallabywords".to_owned()),
        by: Some(Author::from_text("anna")),
    }
}

#[test]
fn practice_is_kept_by_day_and_forgotten_with_the_player() {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path()).unwrap();
    let player = library.add_player(&made::player("zebrafinch")).unwrap();
    let case = made::add(&mut library, player, 1, date(2026, 3, 4), 1).unwrap().case;
    let plan = |start| Plan {
        id: PlanId(0),
        case,
        limiting_fault: "late_toss".to_owned(),
        drills: Vec::new(),
        start,
        review_on: None,
        coach: None,
        note: None,
        ended: None,
    };
    let first = library.add_plan(&plan(date(2026, 3, 5))).unwrap();
    let second = library.add_plan(&plan(date(2026, 3, 8))).unwrap();
    let (late, early) = (done(first, date(2026, 3, 9)), done(second, date(2026, 3, 8)));
    let bare = Practice {
        repetitions: None,
        effort: None,
        pain: None,
        note: None,
        by: None,
        ..done(first, date(2026, 3, 6))
    };
    for practice in [&late, &early, &bare] {
        library.write(|w| w.add_practice(practice)).unwrap();
    }
    let known = |id, practice: &Practice| Practice { id: PracticeId(id), ..practice.clone() };
    assert_eq!(library.practice_of(first).unwrap(), [known(3, &bare), known(1, &late)]);
    assert_eq!(
        library.practice_of_player(player).unwrap(),
        [known(3, &bare), known(2, &early), known(1, &late)]
    );
    for (wrong, field) in [
        (Practice { effort: Some(11), ..late.clone() }, "effort"),
        (Practice { pain: Some(Pain { level: 11, place: None }), ..late.clone() }, "pain"),
        (Practice { day: date(2026, 3, 4), ..late.clone() }, "day"),
    ] {
        let error = library.write(|w| w.add_practice(&wrong)).unwrap_err();
        assert!(error.to_string().starts_with(field), "{error}");
    }
    let nowhere = Pain { level: 0, place: Some(BodyPart::Knee) };
    let nowhere = Practice { pain: Some(nowhere), ..late.clone() };
    assert!(library.write(|w| w.add_practice(&nowhere)).is_err());
    let error = library.write(|w| w.add_practice(&done(PlanId(9), date(2026, 3, 9))));
    assert_eq!(error.unwrap_err().to_string(), "n9: not in this library");

    let other = library.add_player(&made::player("p08")).unwrap();
    let case = made::add(&mut library, other, 2, date(2026, 3, 4), 1).unwrap().case;
    let stays = library.add_plan(&Plan { case, ..plan(date(2026, 3, 5)) }).unwrap();
    let note = Some("serves with Zebrafinch".to_owned());
    let named = Practice { note, ..done(stays, date(2026, 3, 9)) };
    library.write(|w| w.add_practice(&named)).unwrap();
    assert_ne!(holding(folder.path(), b"wallabywords"), [""; 0]);
    let forgotten = library.forget(player, date(2026, 6, 1)).unwrap();
    assert_eq!(forgotten.mentions, [case], "another player's log names the forgotten one");
    assert_eq!(holding(folder.path(), b"wallabywords"), [""; 0]);
    assert!(library.practice_of(first).unwrap().is_empty());
    assert_eq!(library.practice_of(stays).unwrap().len(), 1);
}
