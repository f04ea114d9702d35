//! The rules one by one, on invented numbers.

use std::rc::Rc;

use jiff::civil::{Date, date};

use super::*;
use crate::library::{
    BallFlight, Case, CaseId, FollowUp, FollowUpId, Plan, PlanId, PlayerId, ServeId, Setting,
};
use crate::motion::{Capture, View};
use crate::serve::{MEASURES, MeasureDef, Reading, ServeReading};

const KNEE: &str = "front_knee_flexion_trophy";

fn knee() -> &'static MeasureDef {
    MEASURES.iter().find(|def| def.id == KNEE).unwrap()
}

fn serve(id: i64, set_up: SetUp, bend: Option<(f64, f64)>) -> SessionServe {
    let reading = match bend {
        Some((value, give_or_take)) => Reading::Value { value, trust: 0.9, give_or_take },
        None => Reading::NotMeasurable { why: "the knee is hidden".to_owned() },
    };
    SessionServe {
        id: ServeId(id),
        set_up,
        setting: Some(Setting::Target),
        readings: Rc::new([ServeReading { measure: KNEE.to_owned(), reading }]),
        stroke: ServeId(id),
    }
}

fn markers(setting: Option<Setting>) -> SetUp {
    SetUp::new(Capture::Markers, None, setting, None)
}

fn phone(view: View) -> SetUp {
    SetUp::new(Capture::OneCameraLifted, Some(view), Some(Setting::Target), None)
}

fn day(serves: Vec<SessionServe>) -> Session {
    Session { date: date(2026, 3, 2), serves }
}

fn moved(before: &Session, after: &Session) -> Result<Change, Unlike> {
    change(knee(), Some(true), before, after)
}

#[test]
fn of_two_views_the_better_counts_and_serves_are_not_counted_twice() {
    let (side, behind) = (phone(View::Side), phone(View::Behind));
    let before = day(vec![serve(1, behind, Some((40.0, 20.0))), serve(2, side, Some((50.0, 4.0)))]);
    let after = day(vec![serve(3, behind, Some((90.0, 20.0))), serve(4, side, Some((52.0, 4.0)))]);
    let found = moved(&before, &after).unwrap();
    assert_eq!((found.before.value, found.after.value), (50.0, 52.0));
    assert_eq!((found.before.serves, found.after.serves), (1, 1));
    assert_eq!(found.serves, [vec![ServeId(2)], vec![ServeId(4)]]);
    // What only the poorer view shows is read from it.
    let after = day(vec![serve(3, behind, Some((90.0, 20.0))), serve(4, side, None)]);
    assert_eq!(moved(&before, &after).unwrap().after.value, 90.0);
    // Of equals the first.
    let twice = |value| {
        day(vec![serve(1, side, Some((value, 4.0))), serve(2, behind, Some((value + 1.0, 4.0)))])
    };
    let found = moved(&twice(40.0), &twice(60.0)).unwrap();
    assert_eq!((found.before.value, found.after.value), (40.0, 60.0));
}

#[test]
fn balls_go_before_practice_swings_however_many() {
    let (ball, swing) = (markers(Some(Setting::Match)), markers(Some(Setting::PracticeSwing)));
    let mixed = |first, value: f64| {
        let mut serves = vec![serve(first, ball, Some((value, 4.0)))];
        serves.extend((1..=5).map(|n| serve(first + n, swing, Some((80.0, 4.0)))));
        day(serves)
    };
    let found = moved(&mixed(1, 40.0), &mixed(10, 60.0)).unwrap();
    assert_eq!((found.before.value, found.after.value), (40.0, 60.0));
    // Swings compare where nothing else does.
    let swings = day(vec![serve(20, swing, Some((70.0, 4.0)))]);
    assert_eq!(moved(&mixed(1, 40.0), &swings).unwrap().before.value, 80.0);
}

#[test]
fn why_days_do_not_compare_is_said() {
    let one = |set_up| day(vec![serve(1, set_up, Some((40.0, 4.0)))]);
    let depth = SetUp::new(Capture::DepthSensor, None, Some(Setting::Target), None);
    let why = |before: &Session, after: &Session| moved(before, after).unwrap_err().to_string();
    let target = one(markers(Some(Setting::Target)));
    assert_eq!(
        why(&target, &one(depth)),
        "recorded differently: markers before, depth sensor after"
    );
    assert_eq!(why(&target, &day(vec![])), "no serve is recorded after (2 Mar 2026)");
    assert_eq!(why(&day(vec![]), &target), "no serve is recorded before (2 Mar 2026)");
    let hidden = day(vec![serve(1, markers(None), None)]);
    let said = why(&target, &hidden);
    assert!(said.ends_with("could not be measured on both days (the knee is hidden)"), "{said}");
}

/// By hand: 1.96 root((sd^2 + e^2) / n + (sd^2 + e^2) / m).
#[test]
fn the_error_of_a_reading_widens_what_chance_may_do() {
    let sd = knee().within_player_sd;
    let of = |n: i64, give: f64| {
        let serves = (0..n).map(|id| serve(id, markers(None), Some((40.0, give)))).collect();
        day(serves)
    };
    let found = moved(&of(2, 1.645 * 3.0), &of(4, 1.645 * 4.0)).unwrap();
    let by_hand = 1.96 * ((sd * sd + 9.0) / 2.0 + (sd * sd + 16.0) / 4.0).sqrt();
    assert!((found.detectable - by_hand).abs() < 1e-12, "{}", found.detectable);
    assert!(moved(&of(2, 0.0), &of(4, 0.0)).unwrap().detectable < by_hand);
}

#[test]
fn a_change_as_large_as_the_detectable_one_counts() {
    assert!(beyond(6.0, 6.0) && beyond(-6.0, 6.0) && !beyond(5.999, 6.0));
    assert!(!beyond(0.0, 0.0), "nothing moved");
    assert!(!beyond(f64::NAN, 6.0) && !beyond(6.0, f64::NAN));
    let mean = |value| Mean { value, serves: 1, reading_error: 0.0 };
    let limit = detectable_change(knee(), &mean(0.0), &mean(0.0));
    let verdict = |to: f64, larger_is_better| {
        Verdict::of(Ok(Change::new(knee(), mean(0.0), mean(to), Some(larger_is_better)))).name()
    };
    assert_eq!([verdict(limit, true), verdict(limit, false)], ["better", "worse"]);
    assert_eq!([verdict(-limit, true), verdict(-limit, false)], ["worse", "better"]);
    assert_eq!(verdict(0.999 * limit, true), "no_clear_change");
}

#[test]
fn a_reading_without_a_finite_error_is_none() {
    let broken = serve(1, markers(None), Some((40.0, f64::INFINITY)));
    assert!(Mean::of([&*broken.readings], KNEE).is_none());
}

fn case(id: i64, on: Date, serves: &[i64]) -> Case {
    Case {
        id: CaseId(id),
        player: PlayerId(1),
        date: on,
        serves: serves.iter().map(|&id| ServeId(id)).collect(),
        labels: Vec::new(),
        plans: Vec::new(),
        follow_ups: Vec::new(),
        grip: None,
        ball: BallFlight::default(),
        notes: Vec::new(),
    }
}

fn plan(id: i64, case: i64, start: Date, fault: &str) -> Plan {
    Plan {
        id: PlanId(id),
        case: CaseId(case),
        limiting_fault: fault.to_owned(),
        drills: Vec::new(),
        start,
        review_on: None,
        coach: None,
        note: None,
        ended: None,
    }
}

fn follow_up(id: i64, plan: i64, on: Date, serves: &[i64]) -> FollowUp {
    FollowUp {
        id: FollowUpId(id),
        plan: PlanId(plan),
        date: on,
        serves: serves.iter().map(|&id| ServeId(id)).collect(),
        ball: BallFlight::default(),
        rating: Some(1),
        sessions_done: None,
        note: None,
    }
}

/// Days that may decide, by what recorded them.
fn told(case: &Case, cases: &[Case]) -> Vec<String> {
    later_days(case, case.plans.first(), "a", cases)
        .iter()
        .map(|later| match (later.follow_up, later.case) {
            (Some(answer), _) => answer.to_string(),
            (None, Some(case)) => case.to_string(),
            (None, None) => "nothing".to_owned(),
        })
        .collect()
}

#[test]
fn the_last_follow_up_with_serves_counts_first_then_the_next_reviews() {
    let mut first = case(1, date(2026, 1, 10), &[1]);
    first.plans.push(plan(1, 1, date(2026, 1, 12), "a"));
    first.follow_ups = vec![
        follow_up(1, 1, date(2026, 2, 1), &[5]),
        follow_up(2, 1, date(2026, 3, 1), &[6]),
        // The same day: the one recorded later counts first.
        follow_up(3, 1, date(2026, 3, 1), &[7]),
        // Only words, on a day with a review and on one without; of another plan.
        follow_up(4, 1, date(2026, 2, 11), &[]),
        follow_up(5, 1, date(2026, 4, 1), &[]),
        follow_up(6, 2, date(2026, 5, 1), &[8]),
    ];
    let next = |id, on| case(id, on, &[id * 10]);
    let cases = [
        first.clone(),
        next(2, date(2026, 1, 18)),
        next(3, date(2026, 1, 19)),
        next(4, date(2026, 2, 11)),
        next(5, date(2026, 6, 11)),
        next(6, date(2026, 6, 12)),
        case(7, date(2026, 3, 3), &[]),
    ];
    // 18 January is 6 days after the start, 19 January 7; 11 June is 150 days after, 12 June 151.
    assert_eq!(told(&first, &cases), ["f3", "f2", "f4", "f1", "c3", "c4", "c5"]);
    let later = later_days(&first, first.plans.first(), "a", &cases);
    let review = later.iter().find(|later| later.follow_up == Some(FollowUpId(4))).unwrap();
    assert_eq!(review.serves, [ServeId(40)], "the review's own serves");
}

#[test]
fn next_reviews_count_until_another_plan_for_the_same_fault_has_begun() {
    let mut first = case(1, date(2026, 1, 10), &[1]);
    first.plans = vec![plan(1, 1, date(2026, 1, 10), "a"), plan(2, 1, date(2026, 1, 10), "b")];
    let mut second = case(2, date(2026, 2, 9), &[2]);
    second.plans.push(plan(3, 2, date(2026, 2, 9), "a"));
    let cases = [first.clone(), second, case(3, date(2026, 3, 9), &[3])];
    let of = |plan: usize| {
        let plan = &first.plans[plan];
        let later = later_days(&first, Some(plan), &plan.limiting_fault, &cases);
        later.iter().map(|later| later.date).collect::<Vec<_>>()
    };
    assert_eq!(of(0), [date(2026, 2, 9)], "what came after it is the second plan's too");
    assert_eq!(of(1), [date(2026, 2, 9), date(2026, 3, 9)]);
    // Nobody planned for it: what came by itself ends where a plan begins.
    let itself = later_days(&first, None, "a", &cases[1..]);
    assert_eq!(itself.len(), 1);
}

#[test]
fn too_little_practice_is_said_with_a_verdict_that_is_not_better() {
    let mean = |value| Mean { value, serves: 3, reading_error: 1.0 };
    let came = |to, practised| Came {
        plan: Some(PlanId(1)),
        fault: "shallow_leg_drive".to_owned(),
        verdict: Verdict::of(Ok(Change::new(knee(), mean(40.0), mean(to), Some(true)))),
        later: None,
        practised,
    };
    let asked = Some(crate::catalogue::Span::exactly(12.0));
    let done = |sessions| Some(crate::coaching::Practised { sessions, asked });
    let little = "; only 3 of 12 sessions were done, too little practice to write the drill off";
    for to in [40.5, 0.0] {
        assert!(came(to, done(3)).describe().ends_with(little), "{}", came(to, done(3)).describe());
        for enough in [done(6), None] {
            assert!(!came(to, enough).describe().contains("sessions"));
        }
    }
    assert!(!came(90.0, done(3)).describe().contains("sessions"), "it helped all the same");
}
