//! What a player tells on the day: kept, taken back, gone with the player.

use jiff::civil::date;
use tempfile::TempDir;

use super::made;
use crate::catalogue::{Attempt, BodyPart};
use crate::library::*;

fn told() -> CheckIn {
    CheckIn {
        pain: Some(vec![
            Ache { place: BodyPart::Shoulder, level: 5, when: Some(HurtsWhen::Serving) },
            Ache { place: BodyPart::Knee, level: 2, when: None },
        ]),
        injuries: Some("quokkasprain".to_owned()),
        serves_a_week: Some(120),
        tennis_hours: Some(6.5),
        sport_hours: Some(9.0),
        attempt: Some(Attempt::Second),
        court: Some(Court::Ad),
        target: Some(Target::T),
        wide_left: Some(2),
        wide_right: Some(1),
        double_faults: Some(4),
        by: Some(Author::from_text("anna")),
    }
}

#[test]
fn a_check_in_is_kept_taken_back_and_forgotten() {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path()).unwrap();
    let player = library.add_player(&made::player("zebrafinch")).unwrap();
    let case = made::add(&mut library, player, 1, date(2026, 3, 4), 1).unwrap().case;
    assert!(library.check_in(case).unwrap().is_empty());
    library.write(|w| w.set_check_in(case, &told())).unwrap();
    assert_eq!(library.check_in(case).unwrap(), told());
    assert_eq!(library.check_ins_of(player).unwrap(), [(date(2026, 3, 4), told())]);
    // Asked again: nothing hurts, which is not the same as not asked.
    let clear = CheckIn { pain: Some(Vec::new()), ..told() };
    library.write(|w| w.set_check_in(case, &clear)).unwrap();
    assert_eq!(library.check_in(case).unwrap(), clear);
    let last = library.last_change(ItemId::Case(case)).unwrap().unwrap();
    library.write(|w| w.undo(last, &Author::from_text("anna"))).unwrap();
    assert_eq!(library.check_in(case).unwrap(), told());
    let history = library.history(ItemId::Case(case)).unwrap();
    let lines: Vec<String> =
        history.iter().flat_map(|change| &change.fields).map(FieldChange::line).collect();
    assert!(lines.iter().any(|line| line.contains("pain in the shoulder")), "{lines:?}");
    for broken in [
        CheckIn {
            pain: Some(vec![Ache { place: BodyPart::Knee, level: 0, when: None }]),
            ..CheckIn::default()
        },
        CheckIn { sport_hours: Some(-1.0), ..CheckIn::default() },
        CheckIn { sport_hours: Some(f64::NAN), ..CheckIn::default() },
    ] {
        let refused = library.write(|w| w.set_check_in(case, &broken)).unwrap_err();
        assert!(matches!(refused, WriteError::Invalid { .. }), "{refused}");
    }
    assert!(library.verify(false, &crate::work::Watch::default()).unwrap().is_sound());
    library.forget(player, date(2026, 4, 1)).unwrap();
    drop(library);
    let bytes = std::fs::read(folder.path().join("library.db")).unwrap();
    let trace = b"quokkasprain";
    assert!(!bytes.windows(trace.len()).any(|window| window == trace), "an injury stayed");
}
