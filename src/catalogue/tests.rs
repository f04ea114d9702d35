use std::collections::BTreeSet;
use std::path::Path;

use super::*;

fn extra(text: &str) -> String {
    Catalogue::builtin().with_extra("own.toml", text).expect_err("must be refused").to_string()
}

const DRILL: &str = r#"
[[drill]]
id = "own_drill"
name = "Own drill"
faults = ["toss_low"]
steps = [{ where = "wall", text = "easy" }, { where = "baseline", text = "full" }]
dose = "1 x 1"
step_up = "when easy"
equipment = []
cue = "Over the moon."
focus = "outside"
cautions = ["Not in the dark."]
support = "none found"
"#;

#[test]
fn builtin_holds_what_a_coach_needs() {
    let catalogue = Catalogue::builtin();
    assert!(catalogue.faults().len() >= 16, "{}", catalogue.faults().len());
    assert!(catalogue.drills().len() >= 40, "{}", catalogue.drills().len());
    for id in [
        "shallow_leg_drive",
        "tossing_arm_drops_early",
        "trunk_opens_early",
        "low_contact",
        "no_turn_after_contact",
        "waiters_tray",
        "low_hitting_elbow",
        "excessive_side_tilt",
        "lumbar_arch",
        "pause_in_rhythm",
        "toss_behind",
        "toss_low",
        "short_finish",
        "late_leg_drive",
        "collapsed_front_knee",
        "rushed_tempo",
    ] {
        let fault = catalogue.fault(id).unwrap_or_else(|| panic!("{id} missing"));
        assert!(!fault.measures.is_empty(), "{id} has no measure");
        assert!(catalogue.drills_for(id).len() >= 2, "{id} has fewer than two drills");
    }
}

#[test]
fn styles_are_not_faults() {
    let catalogue = Catalogue::builtin();
    for id in ["foot_up", "foot_back", "short_backswing"] {
        assert!(catalogue.styles().any(|style| style.id == id), "{id}");
        assert!(catalogue.fault(id).is_none(), "{id}");
    }
}

#[test]
fn cautions_always_hold_the_general_ones() {
    let catalogue = Catalogue::builtin();
    for drill in catalogue.drills() {
        let cautions = catalogue.cautions(drill).join(" ");
        for word in ["not a diagnosis", "Stop on pain", "licensed clinician", "juniors"] {
            assert!(cautions.contains(word), "{}: {word}", drill.id);
        }
    }
}

#[test]
fn published_rows_are_those_of_the_reference_table() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/serve/reference.csv");
    if !path.exists() {
        crate::skip::skipped("no reference table beside the project");
        return;
    }
    let mut rows = std::collections::HashMap::new();
    for row in csv::Reader::from_path(path).unwrap().records() {
        let row = row.unwrap();
        rows.insert(row[0].to_owned(), row);
    }
    let catalogue = Catalogue::builtin();
    assert!(catalogue.sources.len() > 20);
    for source in catalogue.sources.iter() {
        let row = rows.get(&source.id).unwrap_or_else(|| panic!("{} unknown", source.id));
        let ours = [&source.quantity, &source.moment, &source.mean, &source.sd, &source.unit];
        for (n, text) in ours.into_iter().enumerate() {
            assert_eq!(text, &row[n + 1], "{} column {}", source.id, n + 1);
        }
        assert_eq!(source.citation, row[8], "{}", source.id);
    }
}

#[test]
fn every_published_row_is_used() {
    let catalogue = Catalogue::builtin();
    let used: BTreeSet<&String> = catalogue
        .faults()
        .flat_map(|fault| {
            let measures = fault.measures.iter().flat_map(|measure| &measure.sources);
            let gates = fault.only_with.iter().flat_map(|measure| &measure.sources);
            measures.chain(gates).chain(&fault.sources)
        })
        .chain(catalogue.drills().flat_map(|drill| &drill.sources))
        .chain(catalogue.groups().flat_map(|group| &group.sources))
        .chain(catalogue.limits().flat_map(|limit| &limit.sources))
        .chain(&catalogue.junior_sources)
        .collect();
    for source in catalogue.sources.iter() {
        assert!(used.contains(&source.id), "{} is never referred to", source.id);
    }
}

#[test]
fn a_library_adds_and_replaces() {
    let catalogue = Catalogue::builtin().with_extra("own.toml", DRILL).unwrap();
    assert_eq!(catalogue.drills().len(), Catalogue::builtin().drills().len() + 1);
    assert!(catalogue.drills_for("toss_low").iter().any(|drill| drill.id == "own_drill"));
    let again = DRILL.replace("name = \"Own drill\"", "name = \"Better\"\nreplaces = true");
    let catalogue = catalogue.with_extra("own.toml", &again).unwrap();
    assert_eq!(catalogue.drill("own_drill").unwrap().name, "Better");
}

#[test]
fn bad_entries_are_refused_with_rule_place_found_and_next_step() {
    let text = extra(&DRILL.replace("own_drill", "land_inside"));
    assert_eq!(
        text,
        "own.toml: line 3: drill 'land_inside': an id names one entry; found an entry of that id already \
         there; choose another id, or say 'replaces = true' to replace the entry of that id"
    );
    let text = extra(&DRILL.replace("toss_low", "toss_lov"));
    assert_eq!(
        text,
        "own.toml: line 5: drill 'own_drill', faults: a fault referred to is in the catalogue; found \
         'toss_lov'; correct the id, or add that fault"
    );
    let text = extra(&DRILL.replace("dose", "doses"));
    assert!(text.starts_with("own.toml: line 7: "), "{text}");
    assert!(text.contains("doses") && text.contains("correct this line"), "{text}");
    let text = extra(&DRILL.replace("own_drill", "Own Drill"));
    assert!(text.contains("small letters") && text.contains("'Own Drill'"), "{text}");
    let text = extra(&DRILL.replace("{ where = \"wall\", text = \"easy\" }, ", ""));
    assert!(text.contains("at least two steps"), "{text}");
    let text = extra(&DRILL.replace("\"wall\"", "\"moon\""));
    assert!(text.contains("line 6") && text.contains("moon"), "{text}");
}

#[test]
fn thresholds_must_fit_their_direction_and_name_a_source() {
    let catalogue = Catalogue::builtin();
    let mut fault = catalogue.fault("shallow_leg_drive").unwrap().clone();
    fault.replaces = true;
    let write = |fault: &Fault| {
        let mut table = toml::Table::new();
        let list = vec![toml::Value::try_from(fault).unwrap()];
        table.insert("fault".into(), toml::Value::Array(list));
        toml::to_string(&table).unwrap()
    };
    catalogue.with_extra("own.toml", &write(&fault)).unwrap();
    let mut wrong = fault.clone();
    wrong.measures[0].full = 80.0;
    let text = extra(&write(&wrong));
    assert!(text.contains("full lies beyond starts") && text.contains("80"), "{text}");
    let mut wrong = fault.clone();
    wrong.measures[0].sources = vec!["R999".into()];
    assert!(extra(&write(&wrong)).contains("'R999'"));
    let mut wrong = fault.clone();
    wrong.measures[0].sources.clear();
    wrong.measures[0].basis = "as it has always been".into();
    assert!(extra(&write(&wrong)).contains("says 'our estimate' or 'common practice, no source'"));
    let mut wrong = fault;
    wrong.cost.speed = 9;
    assert!(extra(&write(&wrong)).contains("0 to 3"));
}

#[test]
fn faults_pull_together_or_apart_never_both() {
    let catalogue = Catalogue::builtin();
    assert_eq!(
        catalogue.opposed("pause_in_rhythm", "rushed_tempo"),
        Some(true),
        "either way round"
    );
    assert_eq!(catalogue.opposed("rushed_tempo", "pause_in_rhythm"), Some(true));
    assert_eq!(catalogue.go_together("pause_in_rhythm", "late_leg_drive"), Some(true));
    assert_eq!(catalogue.go_together("toss_low", "no such fault"), None);
    let fault = catalogue.fault("rushed_tempo").unwrap();
    let changed = |change: &dyn Fn(&mut Fault)| {
        let mut fault = Fault { replaces: true, ..fault.clone() };
        change(&mut fault);
        #[derive(serde::Serialize)]
        struct File {
            fault: Vec<Fault>,
        }
        extra(&toml::to_string(&File { fault: vec![fault] }).unwrap())
    };
    let told = changed(&|fault| fault.opposed.push("tossing_arm_drops_early".to_owned()));
    assert!(told.contains("pull against each other"), "{told}");
    let told = changed(&|fault| fault.opposed.push("rushed_tempo".to_owned()));
    assert!(told.contains("does not refer to itself"), "{told}");
    let told = changed(&|fault| fault.opposed.push("no_such_fault".to_owned()));
    assert!(told.contains("no_such_fault"), "{told}");
    let told = changed(&|fault| fault.explained_by.push("no_such_fault".to_owned()));
    assert!(told.contains("no_such_fault"), "{told}");
    let told = changed(&|fault| {
        fault.id = "toss_low".to_owned();
        fault.goes_with.clear();
        fault.upstream.clear();
        fault.explained_by = vec!["rushed_tempo".to_owned()];
    });
    assert!(told.contains("do not explain each other"), "{told}");
}

/// The two that caused each other until they were told apart.
#[test]
fn causes_form_no_circle() {
    let catalogue = Catalogue::builtin();
    let mut pause = catalogue.fault("pause_in_rhythm").unwrap().clone();
    pause.upstream.push("late_leg_drive".into());
    pause.replaces = true;
    #[derive(serde::Serialize)]
    struct File {
        fault: Vec<Fault>,
    }
    let text = extra(&toml::to_string(&File { fault: vec![pause] }).unwrap());
    assert!(text.contains("causes form no circle"), "{text}");
    assert!(text.contains("late_leg_drive <- ") && text.contains("pause_in_rhythm"), "{text}");
    assert!(text.starts_with("own.toml: "), "{text}");
}

/// What loads the body is spoken of as health before anything else.
#[test]
fn faults_that_load_the_body_have_a_health_note() {
    for fault in Catalogue::builtin().faults().filter(|fault| fault.cost.load >= 2) {
        let note = fault.health_note.as_deref().unwrap_or_default().to_lowercase();
        assert!(!note.is_empty(), "{}: no health note", fault.id);
        let asks = ["ask", "pain", "sore", "hurt"];
        assert!(asks.iter().any(|word| note.contains(word)), "{}: {note}", fault.id);
    }
}

#[test]
fn every_drill_says_for_whom_how_much_and_when_to_stop() {
    for drill in Catalogue::builtin().drills() {
        assert!(!drill.for_whom.is_empty(), "{}: for whom?", drill.id);
        assert!(drill.stop.starts_with("Stop"), "{}: when to stop? '{}'", drill.id, drill.stop);
        assert!(!drill.cautions.is_empty(), "{}: no caution of its own", drill.id);
        let places: Vec<Place> = drill.steps.iter().map(|step| step.place).collect();
        assert!(places.is_sorted(), "{}: from easy to full? {places:?}", drill.id);
        // Nothing lies where the server lands: what is drawn there is chalk or tape.
        let things = drill.equipment.join(" ");
        for thing in ["towel", "hoop", "second racket"] {
            let kept = ["towel_swing", "fold_to_ribs"].contains(&drill.id.as_str());
            assert!(kept || !things.contains(thing), "{}: {things}", drill.id);
        }
    }
}

/// Each of the parts that were missing is there, with drills from easy to full.
#[test]
fn what_was_missing_is_there() {
    let catalogue = Catalogue::builtin();
    for id in [
        "toss_high",
        "toss_wide",
        "toss_over_head",
        "toss_in_front",
        "toss_flicked",
        "ball_drops",
        "shallow_racket_drop",
        "little_shoulder_turn",
        "little_separation",
        "level_shoulders",
        "head_drops_early",
        "lands_off_balance",
        "stance_and_balance",
        "kick_pushed_forward",
        "kick_by_arching",
        "slice_carved_round",
        "serve_given_away",
        "second_serve_other_motion",
        "equipment_too_big",
        "chair_not_set",
    ] {
        let fault = catalogue.fault(id).unwrap_or_else(|| panic!("{id} missing"));
        assert!(!catalogue.drills_for(id).is_empty(), "{id}");
        assert!(fault.needs.joints.measured() || fault.ask.is_some(), "{id}");
    }
    let wheelchair = catalogue.group("wheelchair").unwrap();
    for id in ["shallow_leg_drive", "lands_off_balance", "foot_fault"] {
        assert!(wheelchair.faults_out.iter().any(|out| out == id), "{id}");
    }
    assert!(wheelchair.drills_out.iter().any(|out| out == "hold_the_landing"));
    assert!(catalogue.group("children").is_some() && catalogue.group("left_handers").is_some());
    // The table of a clinic has no place on court.
    for fault in catalogue.faults() {
        let text = [&fault.coach_sees, &fault.to_player, &fault.cost.text, &fault.evidence_text];
        for word in ["prescri", "cured", "treat", "patient"] {
            assert!(text.iter().all(|text| !text.contains(word)), "{}: {word}", fault.id);
        }
    }
}

/// What is said to juniors names hours, rest and the back, with rows behind it.
#[test]
fn the_text_for_juniors_says_something() {
    let catalogue = Catalogue::builtin();
    let text = catalogue.junior_cautions().collect::<Vec<_>>().join(" ");
    // R112, R113 and R116: hours as years, 16 and 12 hours, no tournaments before 12.
    for word in
        ["years of age", "16 at most", "12 at most", "before 12", "Back pain", "heel", "doctor"]
    {
        assert!(text.contains(word), "{word}");
    }
    assert!(catalogue.junior_sources().count() >= 5);
}
