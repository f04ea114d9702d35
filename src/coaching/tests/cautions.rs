//! What a drill is shown with.

use super::*;

#[test]
fn an_unknown_age_counts_as_a_juniors_and_says_so() {
    let day = date(2026, 3, 14);
    for (born, age) in [
        (Some(date(2008, 3, 14)), Age::Adult),
        (Some(date(2008, 3, 15)), Age::Junior),
        (None, Age::Unknown),
    ] {
        assert_eq!(Age::on(day, born), age, "{born:?}");
    }
    assert!(Age::Unknown.counts_as_junior() && Age::Junior.counts_as_junior());
    assert!(!Age::Adult.counts_as_junior());
    let said = |age| Cautions::of(Catalogue::builtin(), age).lines().join(" ");
    assert!(said(Age::Unknown).contains("No birth date is recorded"));
    assert!(!said(Age::Junior).contains("birth date") && !said(Age::Adult).contains("birth date"));
    assert_eq!(Age::of_all([Age::Adult, Age::Junior]), Age::Junior);
    assert_eq!(Age::of_all([Age::Adult, Age::Unknown, Age::Junior]), Age::Unknown);
    assert_eq!(Age::of_all([Age::Adult, Age::Adult]), Age::Adult);
    assert_eq!(Age::of_all([]), Age::Unknown);
}

#[test]
fn no_name_of_a_drill_without_its_cautions() {
    let catalogue = Catalogue::builtin();
    let noted = catalogue.faults().find(|fault| fault.health_note.is_some()).unwrap();
    let entry = harmful();
    let shown = ShownDrill::of(catalogue, &entry.id, &noted.id);
    let mut cautions = Cautions::of(catalogue, Age::Adult);
    let before = cautions.lines().len();
    assert_eq!(cautions.name(&shown), entry.name);
    let lines = cautions.lines();
    let own = lines.iter().find(|line| line.starts_with(&entry.name)).unwrap();
    for caution in &entry.cautions {
        assert!(own.contains(caution), "{own}");
    }
    assert!(own.contains("which it makes worse: "), "{own}");
    let note = noted.health_note.as_ref().unwrap();
    assert!(lines.iter().any(|line| line.contains(note)), "{lines:?}");
    // Named again, nothing is said twice.
    cautions.name(&shown);
    assert_eq!(cautions.lines().len(), before + 2);
    // In full: its own beside it, its fault's among the lines.
    let mut cautions = Cautions::of(catalogue, Age::Adult);
    let text = cautions.in_full(&shown);
    assert_eq!(&text.cautions[..entry.cautions.len()], &entry.cautions[..]);
    // As the catalogue's file has them.
    let steps: Vec<&str> = text.steps.iter().map(|step| step.text.as_str()).collect();
    assert_eq!(
        (entry.id.as_str(), steps),
        (
            "ball_throw_up",
            vec![
                "1 kg ball in both hands at the chest: bend, then throw it straight up and let the legs do the work.",
                "Sideways stance as for the serve: bend, then throw up and forward with both hands from over your head.",
                "Three throws, then three easy serves with the same push.",
            ]
        )
    );
    assert_eq!(cautions.lines().len(), before + 1);
    // As an object it carries them too.
    let object = serde_json::to_value(&shown).unwrap();
    assert_eq!(object["cautions"][0], note.as_str());
}

/// The two throws share one caution in the catalogue's files.
#[test]
fn what_drills_share_is_said_once_with_all_their_names() {
    let catalogue = Catalogue::builtin();
    let drills = ["ball_throw_up", "rotational_throws"]
        .map(|id| ShownDrill::of(catalogue, id, "trunk_opens_early"));
    let lines = Cautions::of(catalogue, Age::Adult).with(&drills).lines();
    let shared = "A light ball thrown fast, never a heavy one thrown slowly.";
    let said: Vec<&String> = lines.iter().filter(|line| line.contains(shared)).collect();
    let names = "Medicine-ball throw from the legs and Rotational ball throws";
    assert_eq!(said, [&format!("{names}: {shared}")]);
    let own = "Rotational ball throws: Not with back pain. Do both sides";
    assert!(lines.iter().any(|line| line.starts_with(own)), "{lines:?}");
}

#[test]
fn a_drill_nobody_here_knows_says_so() {
    let shown = ShownDrill::of(Catalogue::builtin(), "tape_on_frame", "toss_low");
    let mut cautions = Cautions::of(Catalogue::builtin(), Age::Adult);
    assert_eq!(cautions.name(&shown), "tape_on_frame");
    assert!(cautions.lines()[0].contains("not known here"), "{:?}", cautions.lines());
}

#[test]
fn what_is_said_to_juniors_stands_beside_a_juniors_plan() {
    let catalogue = Catalogue::builtin();
    let first = catalogue.junior_cautions().next().unwrap();
    let of_plan = Plan {
        drills: vec![crate::library::PlannedDrill {
            drill: "over_the_rope".to_owned(),
            dose: "3 x 8".to_owned(),
            place: None,
        }],
        ..plan(1, "low_contact")
    };
    let planned = &ShownDrill::of_plan(catalogue, &of_plan)[0];
    let offered = &ShownDrill::of(catalogue, "over_the_rope", "low_contact");
    let said = |age, drill| Cautions::of(catalogue, age).with([drill]).lines();
    let told = |age, drill| said(age, drill).iter().any(|line| line == first);
    assert!(told(Age::Junior, planned) && told(Age::Unknown, planned));
    assert!(!told(Age::Adult, planned) && !told(Age::Junior, offered));
}
