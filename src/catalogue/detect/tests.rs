use statrs::distribution::{Continuous, Normal};

use super::read::{beyond, ramp};
use super::*;
use crate::catalogue::types::Attempt;
use crate::serve::Reading;

fn value(measure: &str, value: f64, give_or_take: f64) -> ServeReading {
    ServeReading {
        measure: measure.into(),
        reading: Reading::Value { value, trust: 0.9, give_or_take },
    }
}

fn source(capture: Capture, rate_hz: f64) -> Recorded {
    Recorded { capture, view: None, rate_hz }
}

fn markers<'a>(readings: &'a [ServeReading], serve_type: Option<ServeType>) -> Observed<'a> {
    Observed { readings, recorded: source(Capture::Markers, 240.0), serve_type, stroke: None }
}

/// All faults judged from serves of one source of which nothing else is known.
fn judged(serves: &[&[ServeReading]], recorded: Recorded) -> Vec<Suspicion> {
    let observed = |readings| Observed { readings, recorded, serve_type: None, stroke: None };
    let serves: Vec<Observed<'_>> = serves.iter().map(|&each| observed(each)).collect();
    detect(Catalogue::builtin(), &serves, &Conditions::default())
}

fn of<'a>(found: &'a [Suspicion], fault: &str) -> &'a Suspicion {
    found.iter().find(|suspicion| suspicion.fault == fault).unwrap()
}

#[test]
fn ramp_is_the_expected_clamp() {
    // Against numeric integration of the definition.
    for (at, error) in [(50.0, 5.0), (41.0, 8.0), (20.0, 3.0), (35.0, 20.0), (60.0, 4.0)] {
        let mut sum = 0.0;
        let steps = 20_000;
        let normal = Normal::new(at, error).unwrap();
        for n in 0..steps {
            let x = at + error * 8.0 * ((f64::from(n) + 0.5) / f64::from(steps) * 2.0 - 1.0);
            let share = ((x - 50.0) / (32.0 - 50.0)).clamp(0.0, 1.0);
            sum += share * normal.pdf(x) * error * 16.0 / f64::from(steps);
        }
        let got = ramp(at, error, 50.0, 32.0);
        assert!((got - sum).abs() < 1e-5, "at {at}: {got} against {sum}");
    }
    assert_eq!(ramp(41.0, 0.0, 50.0, 32.0), 0.5);
}

#[test]
fn the_median_of_several_serves_counts() {
    let conditions = source(Capture::Markers, 240.0);
    let serves: Vec<Vec<ServeReading>> = [64.0, 66.0, 10.0, 65.0, 67.0]
        .iter()
        .map(|&knee| vec![value("front_knee_flexion_trophy", knee, 3.0)])
        .collect();
    let slices: Vec<&[ServeReading]> = serves.iter().map(Vec::as_slice).collect();
    let found = judged(&slices, conditions);
    assert!(!of(&found, "shallow_leg_drive").suspected());
    let found = judged(&slices[2..3], conditions);
    assert!(of(&found, "shallow_leg_drive").suspected());
}

#[test]
fn what_cannot_be_seen_is_never_fine() {
    let catalogue = Catalogue::builtin();
    let found = judged(&[], source(Capture::Markers, 240.0));
    assert_eq!(found.len(), catalogue.faults().len());
    assert!(found.iter().all(|suspicion| suspicion.score().is_none()));
    let readings = [ServeReading {
        measure: "palm_turn_after_contact".into(),
        reading: Reading::NotMeasurable { why: "no hand joints".into() },
    }];
    let found = judged(&[&readings], source(Capture::Markers, 240.0));
    let Finding::NotDetectable { why, .. } = &of(&found, "no_turn_after_contact").finding else {
        panic!("must not be judged");
    };
    assert!(why.contains("no hand joints"), "{why}");
    let found = judged(&[&readings], source(Capture::DepthSensor, 15.0));
    let Finding::NotDetectable { why, .. } = &of(&found, "no_turn_after_contact").finding else {
        panic!("must not be judged");
    };
    assert!(why.starts_with("15 Hz"), "{why}");
}

/// A low contact alone also comes from a hanging elbow or bent legs: without the arm's bend it is
/// no finding.
#[test]
fn a_fault_is_not_judged_without_the_measure_it_needs() {
    let conditions = source(Capture::OneCameraLifted, 60.0);
    let low = value("contact_height_ratio", 1.05, 0.12);
    let bent = value("elbow_flexion_contact", 75.0, 8.0);
    let unseen = ServeReading {
        measure: "elbow_flexion_contact".into(),
        reading: Reading::NotMeasurable { why: "one camera: may be off".into() },
    };
    let found = judged(&[&[low.clone(), bent.clone()]], conditions);
    assert!(of(&found, "low_contact").suspected());
    let found = judged(&[&[low, unseen]], conditions);
    let Finding::NotDetectable { why, ask } = &of(&found, "low_contact").finding else {
        panic!("must not be judged");
    };
    assert!(why.contains("elbow_flexion_contact: one camera"), "{why}");
    assert!(ask.as_deref().is_some_and(|ask| ask.contains("arm bent")));
    // The other way round the arm alone is enough.
    let found = judged(&[&[bent]], conditions);
    assert!(of(&found, "low_contact").suspected());
}

#[test]
fn a_low_toss_explains_the_hurry() {
    let conditions = source(Capture::Markers, 120.0);
    let hurry = value("toss_start_to_contact_time", 0.85, 0.05);
    let sound = value("release_to_contact_time", 0.85, 0.05);
    let short = value("front_knee_flexion_trophy", 50.0, 3.0);
    let found = judged(&[&[hurry.clone(), sound, short.clone()]], conditions);
    assert!(of(&found, "rushed_tempo").suspected());
    let low = value("release_to_contact_time", 0.55, 0.05);
    let found = judged(&[&[hurry, low, short]], conditions);
    assert!(of(&found, "toss_low").suspected());
    let Finding::NotDetectable { why, .. } = &of(&found, "rushed_tempo").finding else {
        panic!("must not be judged");
    };
    assert!(why.contains("'Toss too low' is suspected"), "{why}");
}

#[test]
fn the_grip_is_asked() {
    let catalogue = Catalogue::builtin();
    let serve = markers(&[], None);
    let mut conditions = Conditions::default();
    let found = detect(catalogue, &[serve], &conditions);
    let Finding::NotDetectable { ask, .. } = &of(&found, "grip_towards_bevel_1").finding else {
        panic!("must be asked");
    };
    assert!(ask.as_deref().unwrap().contains("heel pad"));
    // Common practice, no source: continental is knuckle and heel pad on bevel 2.
    conditions.index_knuckle = Some(2);
    conditions.heel_pad = Some(2);
    let found = detect(catalogue, &[serve], &conditions);
    assert_eq!(of(&found, "grip_towards_bevel_1").score(), Some(0.0));
    assert_eq!(of(&found, "forehand_grip").score(), Some(0.0));
    // On bevel 1 lie many sound continental grips; beyond it, doubt is left.
    conditions.heel_pad = Some(1);
    let found = detect(catalogue, &[serve], &conditions);
    assert_eq!(of(&found, "grip_towards_bevel_1").score(), Some(0.0));
    conditions.heel_pad = Some(8);
    let found = detect(catalogue, &[serve], &conditions);
    assert_eq!(of(&found, "grip_towards_bevel_1").score(), Some(0.6));
    conditions.index_knuckle = Some(3);
    let found = detect(catalogue, &[serve], &conditions);
    assert_eq!(of(&found, "forehand_grip").score(), Some(1.0));
}

/// A kick is hit about 17 cm further back than a flat serve (R091): with 1.75 m and a flat
/// serve hit 0.13 statures in front, at 0.03.
#[test]
fn a_kick_is_judged_as_a_kick() {
    let catalogue = Catalogue::builtin();
    let kick = [value("contact_forward", 0.03, 0.02), value("arch_greatest", 44.0, 3.0)];
    let judged = |serve_type, attempt| {
        let conditions = Conditions { attempt, ..Conditions::default() };
        let found = detect(catalogue, &[markers(&kick, serve_type)], &conditions);
        (of(&found, "toss_behind").suspected(), of(&found, "lumbar_arch").suspected())
    };
    assert_eq!(judged(None, None), (true, true), "as a flat serve it would be far back");
    assert_eq!(judged(Some(ServeType::Kick), None), (false, false));
    assert_eq!(judged(Some(ServeType::Slice), None), (true, true));
    // A second serve whose type nobody said may be a kick.
    assert_eq!(judged(None, Some(Attempt::Second)), (false, false));
    assert_eq!(judged(None, Some(Attempt::First)), (true, true));
    // What it was judged as is said.
    let found = detect(catalogue, &[markers(&kick, None)], &Conditions::default());
    let Finding::Scored { evidence, .. } = &of(&found, "toss_behind").finding else {
        panic!("judged");
    };
    assert!(evidence[0].basis.contains("not known, so judged as flat"), "{evidence:?}");
}

/// The root of 1.30 over 1.75 is 0.862: 0.70 s leave a child of 1.30 m what 0.81 s leave an adult,
/// so the toss is low for the adult alone.
#[test]
fn times_of_a_falling_ball_go_with_the_root_of_stature() {
    let catalogue = Catalogue::builtin();
    let readings = [
        value("release_to_contact_time", 0.58, 0.02),
        value("front_knee_flexion_trophy", 48.0, 3.0),
    ];
    let low = |stature_m| {
        let conditions = Conditions { stature_m, ..Conditions::default() };
        let found = detect(catalogue, &[markers(&readings, None)], &conditions);
        let Finding::Scored { score, evidence, .. } = &of(&found, "toss_low").finding else {
            panic!("judged");
        };
        (*score >= SUSPECTED, evidence[0].starts)
    };
    assert!(low(Some(1.75)).0 && low(None).0);
    let (suspected, starts) = low(Some(1.30));
    assert!(!suspected);
    assert!((starts - 0.75 * 0.862).abs() < 0.001, "{starts}");
    // A typing error scales nothing.
    assert_eq!(low(Some(130.0)), low(None));
}

/// A quick serve on a low toss with whole legs and a whole drop is a style.
#[test]
fn a_whole_quick_serve_is_a_style() {
    let recorded = source(Capture::Markers, 240.0);
    let quick = [
        value("release_to_contact_time", 0.55, 0.02),
        value("toss_start_to_contact_time", 0.85, 0.02),
    ];
    let cut_short = |knee: f64, forearm: f64| {
        let mut readings = quick.to_vec();
        readings.push(value("front_knee_flexion_trophy", knee, 3.0));
        readings.push(value("forearm_lowest", forearm, 3.0));
        let found = judged(&[&readings], recorded);
        of(&found, "toss_low").suspected() || of(&found, "rushed_tempo").suspected()
    };
    assert!(!cut_short(68.0, -10.0));
    assert!(cut_short(48.0, -10.0), "the knees are cut short");
    assert!(cut_short(68.0, 35.0), "the drop is cut short");
    // Whether it is whole cannot be read: not judged, never fine.
    let found = judged(&[&quick], recorded);
    let Finding::NotDetectable { why, .. } = &of(&found, "toss_low").finding else {
        panic!("must not be judged");
    };
    assert!(why.contains("a style if the rest of the serve is complete"), "{why}");
}

/// Two clips of the same serves: of each measure the better reading counts, whichever clip has it.
#[test]
fn of_several_recordings_the_best_reading_of_each_measure_counts() {
    let catalogue = Catalogue::builtin();
    let knee = |bend, give| value("front_knee_flexion_trophy", bend, give);
    let fast = [knee(66.0, 4.0), value("knee_extension_lead", 0.30, 0.03)];
    let slow = [knee(20.0, 30.0)];
    let observed = |readings, rate_hz| Observed {
        readings,
        recorded: source(Capture::OneCameraLifted, rate_hz),
        serve_type: None,
        stroke: None,
    };
    let clips: [Observed<'_>; 2] = [observed(&slow[..], 30.0), observed(&fast[..], 120.0)];
    for clips in [clips, [clips[1], clips[0]]] {
        let found = detect(catalogue, &clips, &Conditions::default());
        // The slow clip's poor reading neither counts nor is pooled with the good one.
        let Finding::Scored { evidence, .. } = &of(&found, "shallow_leg_drive").finding else {
            panic!("must be judged");
        };
        assert_eq!((evidence[0].value, evidence[0].serves), (66.0, 1));
        // Nor does the slow clip veto what the fast one shows: 50 Hz are needed.
        assert!(of(&found, "late_leg_drive").score().is_some());
    }
    let found = detect(catalogue, &clips[..1], &Conditions::default());
    assert_eq!(of(&found, "late_leg_drive").score(), None);
    // A measure only the slow clip has is read from it.
    let slow = [value("tossing_arm_fall_time", 0.1, 0.05)];
    let clips = [Observed { readings: &slow, ..clips[0] }, clips[1]];
    let found = detect(catalogue, &clips, &Conditions::default());
    assert!(of(&found, "tossing_arm_drops_early").score().is_some());
}

/// Shares of the normal distribution by any printed table: 0.5 at the mean, 0.8413 within one
/// standard deviation above, 0.7995 within 0.84.
#[test]
fn a_chance_is_the_share_of_the_error_beyond_where_the_fault_starts() {
    let close = |got: f64, want: f64| assert!((got - want).abs() < 5e-4, "{got}, not {want}");
    close(beyond(33.0, 10.0, 33.0, 50.0), 0.5);
    close(beyond(43.0, 10.0, 33.0, 50.0), 0.8413);
    close(beyond(41.4, 10.0, 33.0, 50.0), 0.7995);
    // A fault below: the other way round.
    close(beyond(40.0, 10.0, 50.0, 32.0), 0.8413);
    assert_eq!((beyond(40.0, 0.0, 50.0, 32.0), beyond(51.0, 0.0, 50.0, 32.0)), (1.0, 0.0));
}

/// A knee of 36 deg where the fault starts at 50 and is whole at 32: strong, and with 5 deg give or
/// take certain; with 40 it may as well not be there.
#[test]
fn a_strong_but_unlikely_fault_is_to_be_looked_at() {
    let judged = |give| {
        let readings = [value("front_knee_flexion_trophy", 36.0, give)];
        let found =
            detect(Catalogue::builtin(), &[markers(&readings, None)], &Conditions::default());
        let one = of(&found, "shallow_leg_drive");
        (one.suspected(), one.to_look_at(), one.chance().unwrap())
    };
    let (suspected, look, chance) = judged(5.0);
    assert!(suspected && !look && chance > 0.99, "{chance}");
    let (suspected, look, chance) = judged(40.0);
    assert!(!suspected && look && (0.6..0.8).contains(&chance), "{chance}");
    assert_eq!(describe_chance(0.86), "8 in 10");
    assert_eq!(describe_chance(0.995), "almost certain");
}

#[test]
fn serves_with_a_ball_go_before_practice_swings() {
    let (straight, bent) = (
        [value("front_knee_flexion_trophy", 20.0, 4.0)],
        [value("front_knee_flexion_trophy", 70.0, 4.0)],
    );
    let (swing, ball) = (markers(&straight, None), markers(&bent, None));
    let suspected = |swings: &[Observed<'_>], balls: &[Observed<'_>]| {
        let day = ObservedDay { swings: swings.to_vec(), balls: balls.to_vec() };
        let found = day.suspicions(Catalogue::builtin(), &Conditions::default());
        of(&found, "shallow_leg_drive").suspected()
    };
    assert!(suspected(&[swing], &[]) && !suspected(&[swing], &[ball]));
    assert!(!suspected(&[ball], &[]) && suspected(&[ball], &[swing]));
}
