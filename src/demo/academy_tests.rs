use std::collections::{BTreeMap, BTreeSet};

use super::*;
use crate::catalogue::Catalogue;
use crate::library::Library;
use crate::motion::{ReadOptions, Side, read_bytes};
use crate::serve::{FindOptions, find};
use crate::simulator::{Ask, Fault};
use crate::work::Watch;

fn shipped() -> Scenario {
    Scenario::shipped().expect("the shipped scenario")
}

#[test]
fn the_shipped_academy_has_the_size_and_mix_it_should() {
    let scenario = shipped();
    let sessions = scenario.sessions();
    let serves: usize = sessions.iter().map(|session| session.asks.len()).sum();
    assert_eq!(scenario.players.len(), 40);
    assert!((380..=420).contains(&serves), "{serves} serves");
    let kinds: BTreeSet<String> =
        scenario.players.iter().map(|p| format!("{:?} {:?}", p.hand, p.level)).collect();
    assert!(kinds.len() >= 8, "{kinds:?}");
    let planted: BTreeSet<&str> =
        scenario.players.iter().flat_map(|p| p.faults.keys().map(String::as_str)).collect();
    assert!(planted.len() >= 14, "{planted:?}");
    // A case is one player and day: no two sessions share both.
    let cases: BTreeSet<(String, String)> =
        sessions.iter().map(|s| (s.player.code.clone(), s.date.to_string())).collect();
    assert_eq!(cases.len(), sessions.len());
    let answers = sessions.iter().filter(|s| s.answer.is_some()).count();
    let plans = sessions.iter().filter(|s| s.plan.is_some()).count();
    assert!(answers > 50 && answers < plans, "{answers} follow-ups of {plans} plans");
}

/// The catalogue is another module's work: every fault and drill named here must be in it, and
/// every drill must be one the catalogue gives for that fault.
#[test]
fn faults_and_drills_are_those_of_the_catalogue() {
    let catalogue = Catalogue::builtin();
    for &fault in Fault::ALL {
        assert!(catalogue.fault(fault.id()).is_some(), "no fault {}", fault.id());
    }
    for truth in shipped().drills {
        let drill = catalogue.drill(&truth.drill);
        let drill = drill.unwrap_or_else(|| panic!("no drill {}", truth.drill));
        assert!(
            drill.faults.contains(&truth.fault),
            "the catalogue does not give {} for {}",
            truth.drill,
            truth.fault
        );
    }
}

/// Mean severity shown in a session's serves.
fn shown(session: &DemoSession, fault: Fault) -> f64 {
    let of = |ask: &Ask| ask.faults.iter().find(|each| each.0 == fault).map_or(0.0, |each| each.1);
    session.asks.iter().map(of).sum::<f64>() / session.asks.len() as f64
}

fn lasting(session: &DemoSession, fault: Fault) -> f64 {
    session.lasting.iter().find(|each| each.0 == fault).map_or(0.0, |each| each.1)
}

/// Over many academies: what drills do is what the scenario says, what is seen is more.
#[test]
fn regression_to_the_mean_and_true_effects_are_planted() {
    let (mut idle, mut idle_seen, mut working, mut promised) = (vec![], vec![], vec![], vec![]);
    for seed in 0..30 {
        let scenario = Scenario { seed, ..shipped() };
        let sessions = scenario.sessions();
        for pair in sessions.windows(2) {
            let (before, after) = (&pair[0], &pair[1]);
            let Some(plan) = before.plan.as_ref().filter(|_| before.player == after.player) else {
                continue;
            };
            let fault = Fault::from_id(&plan.plan.limiting_fault).expect("planted fault");
            let really = lasting(before, fault) - lasting(after, fault);
            if plan.true_effect < 0.01 {
                idle.push(really);
                idle_seen.push(shown(before, fault) - shown(after, fault));
            } else {
                working.push(really);
                promised.push(plan.true_effect);
            }
        }
    }
    let mean = |of: &[f64]| of.iter().sum::<f64>() / of.len() as f64;
    assert!(idle.len() > 200 && working.len() > 400, "{} {}", idle.len(), working.len());
    assert!(mean(&idle).abs() < 0.01, "idle drills really change {}", mean(&idle));
    assert!(mean(&idle_seen) > 0.02, "idle drills seem to change {}", mean(&idle_seen));
    let gap = mean(&working) - mean(&promised);
    assert!(gap.abs() < 0.01, "working drills change {gap} more than planted");
}

/// Stronger cases get other drills than weaker ones.
#[test]
fn the_choice_of_drills_depends_on_severity() {
    let truths = shipped().drills;
    // Severity at the plan and whether the drill is one for strong cases, by fault.
    let mut plans: BTreeMap<String, Vec<(f64, bool)>> = BTreeMap::new();
    for seed in 0..30 {
        for session in (Scenario { seed, ..shipped() }).sessions() {
            let Some(plan) = session.plan else { continue };
            let fault = plan.plan.limiting_fault;
            let first = &plan.plan.drills[0].drill;
            let same = |t: &&DrillTruth| t.drill == *first && t.fault == fault;
            let truth = truths.iter().find(same).expect("a drill of the scenario");
            if truth.severe != truth.mild {
                let row = (plan.severity, truth.severe > truth.mild);
                plans.entry(fault).or_default().push(row);
            }
        }
    }
    let (mut strong, mut weak) = (vec![], vec![]);
    for rows in plans.values() {
        let mean = rows.iter().map(|row| row.0).sum::<f64>() / rows.len() as f64;
        for &(severity, for_strong) in rows {
            if for_strong { &mut strong } else { &mut weak }.push(severity - mean);
        }
    }
    let mean = |of: &[f64]| of.iter().sum::<f64>() / of.len() as f64;
    assert!(strong.len() > 200 && weak.len() > 200);
    let (strong, weak) = (mean(&strong), mean(&weak));
    assert!(strong > weak + 0.05, "drills for strong cases {strong}, for weak ones {weak}");
}

#[test]
fn the_same_scenario_gives_the_same_year() {
    let (a, b) = (shipped().sessions(), shipped().sessions());
    for (a, b) in a.iter().zip(&b) {
        assert_eq!(a.asks, b.asks);
        assert_eq!((&a.labels, &a.plan, &a.answer), (&b.labels, &b.plan, &b.answer));
    }
    assert!(a[3].record() == b[3].record());
}

#[test]
fn a_wrong_scenario_says_what_and_where() {
    let text = include_str!("../../demo-data/scenario.toml");
    let with = |from: &str, to: &str| {
        assert!(text.contains(from), "{from}");
        Scenario::parse(&text.replacen(from, to, 1)).expect_err(to).to_string()
    };
    assert_eq!(
        with("fault = \"toss_low\"", "fault = \"sore_arm\""),
        "scenario: drill 'toss_over_rope' has the fault 'sore_arm', which the generator cannot plant; take an id of `Fault::ALL`"
    );
    assert_eq!(
        with("missing_follow_up = 0.10", "missing_follow_up = 1.5"),
        "scenario: rules.missing_follow_up is 1.5, expected 0 to 1"
    );
    assert!(with("code = \"ash\"", "code = \"oak\"").contains("who has no [[coach]] entry"));
    assert!(with("[rules]", "[rules]\ncolour = 1").contains("colour"));
}

/// The whole way for three players: what was planted is found and stored with its case.
#[test]
fn an_academy_goes_into_a_library() {
    let mut scenario = shipped();
    scenario.players.truncate(3);
    let sessions = scenario.sessions();
    let folder = tempfile::tempdir().expect("a folder");
    let mut library = Library::create(folder.path().join("library")).expect("a library");
    let last = std::sync::Arc::new(std::sync::Mutex::new((0, 0)));
    let ear = std::sync::Arc::clone(&last);
    let watch = Watch::default()
        .hearing(move |progress| *ear.lock().expect("an ear") = (progress.done, progress.of));
    let built = build(&mut library, &scenario, &watch).expect("stored");
    assert_eq!(*last.lock().expect("an ear"), (sessions.len(), sessions.len()));
    assert_eq!((built.players, built.recordings), (3, sessions.len()));
    assert_eq!((built.found, built.invented), (built.planted, 0), "{built:?}");
    let cases = library.cases(None).expect("cases");
    assert_eq!(cases.len(), sessions.len());
    let plans: usize = cases.iter().map(|case| case.plans.len()).sum();
    let planned = sessions.iter().filter(|s| s.plan.is_some()).count();
    assert_eq!((built.plans, plans), (planned, planned));
    let answered = sessions.iter().filter(|s| s.answer.is_some()).count();
    assert_eq!(built.follow_ups, answered);
}

/// The committed samples are those the generator makes, and they read back as intended.
#[test]
fn sample_files_read_back() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data");
    let mut size = 0;
    for (name, made) in samples().expect("samples") {
        let kept = std::fs::read(format!("{folder}/{name}")).expect(name);
        size += kept.len();
        let read = |bytes: &[u8]| read_bytes(bytes, &ReadOptions::default()).expect(name);
        let (kept, made) = (read(&kept), read(&made));
        assert_eq!((kept.frames(), &kept.joints), (made.frames(), &made.joints), "{name}");
        for (a, b) in kept.positions.iter().flatten().zip(made.positions.iter().flatten()) {
            assert!((a - b).abs() < 2e-4, "{name}: run the demo_data example again");
        }
        let found = find(&kept, &FindOptions::default());
        let hands: Vec<Side> = found.serves.iter().map(|serve| serve.hand).collect();
        let want: &[Side] = match name {
            "new-serve.c3d" => &[Side::Left],
            "practice-swings.c3d" => &[Side::Left, Side::Left],
            "basket.trc" => &[Side::Right, Side::Right],
            "forehands.csv" => &[],
            _ => &[Side::Right],
        };
        assert_eq!(hands, want, "{name}: {:?}", found.refused);
    }
    assert!(size < 3_000_000, "samples take {size} bytes");
}
