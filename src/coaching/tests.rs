//! One rule each, on made-up cases of the built-in catalogue; which drill harms or serves what is
//! the catalogue's own word, read from it here.

use jiff::civil::date;
use tempfile::TempDir;

use super::*;
use crate::catalogue::{Catalogue, Drill};
use crate::library::{
    Author, BallFlight, Case, CaseId, FaultLabel, Grip, LabelState, Library, Misses, Plan, PlanId,
    PlayerId,
};

const DAY: jiff::civil::Date = date(2026, 3, 14);

fn case(labels: Vec<FaultLabel>) -> Case {
    Case {
        id: CaseId(1),
        player: PlayerId(1),
        date: DAY,
        serves: Vec::new(),
        labels,
        plans: Vec::new(),
        follow_ups: Vec::new(),
        grip: None,
        ball: BallFlight::default(),
        notes: Vec::new(),
    }
}

fn label(fault: &str, state: LabelState, severity: f64, by: &str) -> FaultLabel {
    FaultLabel { fault: fault.to_owned(), state, severity, by: Author::from_text(by), note: None }
}

fn plan(id: i64, fault: &str) -> Plan {
    Plan {
        id: PlanId(id),
        case: CaseId(1),
        limiting_fault: fault.to_owned(),
        drills: Vec::new(),
        start: DAY,
        review_on: None,
        coach: None,
        note: None,
        ended: None,
    }
}

fn drill(id: &str) -> DrillRequest {
    DrillRequest { drill: id.to_owned(), dose: None, place: None }
}

fn prescribe(fault: &str, drills: &[&str]) -> PlanRequest {
    let drills = drills.iter().map(|id| drill(id)).collect();
    PlanRequest { drills, ..PlanRequest::new(CaseId(1), fault) }
}

/// A drill of the catalogue that makes a fault worse.
fn harmful() -> &'static Drill {
    Catalogue::builtin().drills().find(|drill| !drill.not_for.is_empty()).unwrap()
}

#[test]
fn a_coach_speaks_in_no_other_voice() {
    let catalogue = Catalogue::builtin();
    for by in ["program", "Program", " program "] {
        let mut request = LabelRequest::new(CaseId(1), by);
        request.add = vec![Graded { fault: "toss_low".to_owned(), severity: None }];
        let refusal = request.check(catalogue, &case(Vec::new())).unwrap_err();
        assert!(matches!(refusal, LabelRefusal::ProgramsVoice), "{refusal}");
    }
}

#[test]
fn labels_are_taken_as_the_coach_means_them() {
    let catalogue = Catalogue::builtin();
    let held = case(vec![
        label("toss_low", LabelState::Suspected, 0.6, "program"),
        label("short_finish", LabelState::Suspected, 0.4, "program"),
    ]);
    let request = LabelRequest {
        confirm: vec!["toss_low".to_owned()],
        reject: vec!["short_finish".to_owned()],
        add: vec![Graded { fault: "toss_behind".to_owned(), severity: None }],
        ..LabelRequest::new(CaseId(1), "ash")
    };
    assert_eq!(
        request.check(catalogue, &held).unwrap(),
        [
            label("toss_low", LabelState::Confirmed, 0.6, "ash"),
            label("short_finish", LabelState::Rejected, 0.0, "ash"),
            label("toss_behind", LabelState::Added, 0.5, "ash"),
        ]
    );
    // The limiting fault is as strong as it was seen, unless the coach says otherwise.
    let mut limiting = LabelRequest::new(CaseId(1), "ash");
    for (severity, expected) in [(None, 0.6), (Some(0.9), 0.9)] {
        limiting.limiting = Some(Graded { fault: "toss_low".to_owned(), severity });
        let labels = limiting.check(catalogue, &held).unwrap();
        assert_eq!(labels, [label("toss_low", LabelState::Limiting, expected, "ash")]);
    }
    let twice = LabelRequest {
        limiting: Some(Graded { fault: "short_finish".to_owned(), severity: None }),
        ..request.clone()
    };
    let refusal = twice.check(catalogue, &held).unwrap_err();
    assert_eq!(
        refusal.to_string(),
        "short_finish: named both as rejected and as limiting; choose one"
    );
    let nobody = LabelRequest { confirm: vec!["toss_behind".to_owned()], ..limiting.clone() };
    let refusal = nobody.check(catalogue, &held).unwrap_err();
    assert!(matches!(&refusal, LabelRefusal::NotSuspected { fault, .. } if fault == "toss_behind"));
    let unknown = LabelRequest { reject: vec!["bad_luck".to_owned()], ..limiting };
    let refusal = unknown.check(catalogue, &held).unwrap_err().to_string();
    assert!(refusal.starts_with("no fault is called 'bad_luck'; choose from "), "{refusal}");
}

#[test]
fn severities_are_read_and_held_in_their_range() {
    let graded = Graded::from_typed("toss_low = 0.7").unwrap();
    assert_eq!(graded, Graded { fault: "toss_low".to_owned(), severity: Some(0.7) });
    assert_eq!(Graded::from_typed("toss_low").unwrap().severity, None);
    for bad in ["toss_low=7", "toss_low=-0.1", "toss_low=much", "toss_low=NaN", "toss_low="] {
        let refusal = Graded::from_typed(bad).unwrap_err();
        assert!(matches!(refusal, LabelRefusal::Severity { .. }), "{bad}: {refusal}");
    }
    let request = LabelRequest {
        add: vec![Graded { fault: "toss_low".to_owned(), severity: Some(f64::NAN) }],
        ..LabelRequest::new(CaseId(1), "ash")
    };
    let refusal = request.check(Catalogue::builtin(), &case(Vec::new())).unwrap_err();
    assert!(matches!(refusal, LabelRefusal::Severity { .. }), "{refusal}");
}

#[test]
fn a_drill_that_harms_is_refused_whoever_asks() {
    let catalogue = Catalogue::builtin();
    let drill = harmful();
    let (fault, worse) = (drill.faults[0].as_str(), drill.not_for[0].as_str());
    let request = prescribe(fault, &[&drill.id]);
    let shown = |held: &Case| match request.check(catalogue, held) {
        Err(PlanRefusal::Harmful { harm, .. }) => {
            assert_eq!((harm.drill.as_str(), harm.worse.as_str()), (&*drill.id, worse));
            Some(harm.shown)
        }
        Ok(_) => None,
        Err(other) => panic!("{other}"),
    };
    assert_eq!(shown(&case(Vec::new())), None);
    let suspected = label(worse, LabelState::Suspected, 0.6, "program");
    let rejected = label(worse, LabelState::Rejected, 0.0, "ash");
    assert_eq!(shown(&case(vec![suspected.clone()])), Some(HarmShown::Labelled));
    assert_eq!(shown(&case(vec![suspected, rejected])), None, "a coach's rejection counts");
    let mut planned = case(Vec::new());
    planned.plans.push(plan(3, worse));
    assert_eq!(shown(&planned), Some(HarmShown::Planned(PlanId(3))));
    let refusal = prescribe(worse, &[&drill.id]).check(catalogue, &case(Vec::new())).unwrap_err();
    let PlanRefusal::Harmful { harm, .. } = &refusal else { panic!("{refusal}") };
    assert_eq!(harm.shown, HarmShown::Wanted);
}

#[test]
fn an_odd_drill_is_asked_about_and_not_refused() {
    let catalogue = Catalogue::builtin();
    let fault = "toss_low";
    let odd = catalogue
        .drills()
        .find(|drill| !drill.faults.contains(&fault.to_owned()) && drill.not_for.is_empty())
        .unwrap();
    let held = case(Vec::new());
    let mut request = prescribe(fault, &[&odd.id]);
    let Err(PlanRefusal::Unanswered(questions)) = request.check_new(catalogue, &held) else {
        panic!("asked nothing");
    };
    assert!(
        matches!(&questions[..], [Question::ServesAnotherFault { drill, .. }] if *drill == odd.id)
    );
    // Yes to another question is no yes to this one.
    let other = prescribe("short_finish", &[&odd.id]);
    if let Err(PlanRefusal::Unanswered(other)) = other.check_new(catalogue, &held) {
        request.sure = other;
        assert!(matches!(request.check_new(catalogue, &held), Err(PlanRefusal::Unanswered(_))));
    }
    request.sure = questions;
    assert_eq!(request.check_new(catalogue, &held).unwrap().drills[0].drill, odd.id);
    // A drill that serves the fault is not asked about.
    let fitting = &catalogue.drills_for(fault)[0].id;
    assert!(prescribe(fault, &[fitting]).check_new(catalogue, &held).is_ok());
}

#[test]
fn cures_that_pull_apart_are_asked_about() {
    let catalogue = Catalogue::builtin();
    let (one, other) = catalogue
        .faults()
        .find_map(|fault| Some((fault.id.clone(), fault.opposed.first()?.clone())))
        .unwrap();
    let mut held = case(Vec::new());
    held.plans.push(plan(4, &other));
    let (_, questions) = prescribe(&one, &[]).check(catalogue, &held).unwrap();
    let expected = Question::PullsTheOtherWay { fault: one, plan: PlanId(4), other };
    assert_eq!(questions, [expected]);
}

#[test]
fn a_third_plan_an_unknown_drill_and_a_bad_dose_are_refused() {
    let catalogue = Catalogue::builtin();
    let mut held = case(Vec::new());
    held.plans = vec![plan(1, "toss_low"), plan(2, "short_finish")];
    let refusal = prescribe("toss_behind", &[]).check_new(catalogue, &held).unwrap_err();
    let PlanRefusal::ThirdPlan { in_force, .. } = &refusal else { panic!("{refusal}") };
    assert_eq!(in_force, &[PlanId(1), PlanId(2)]);
    assert!(refusal.to_string().starts_with("c1: n1 and n2 are in force"), "{refusal}");
    let held = case(Vec::new());
    let refusal = prescribe("toss_low", &["juggling"]).check(catalogue, &held).unwrap_err();
    assert!(matches!(&refusal, PlanRefusal::UnknownDrill { found, .. } if found == "juggling"));
    let fitting = catalogue.drills_for("toss_low")[0].id.as_str();
    let refusal = prescribe("toss_low", &[fitting, fitting]).check(catalogue, &held).unwrap_err();
    assert!(matches!(refusal, PlanRefusal::Twice { .. }), "{refusal}");
    for (dose, said) in [("3 x 200", "600 repetitions"), ("0 x 8", "none at all")] {
        let mut request = prescribe("toss_low", &[fitting]);
        request.drills[0].dose = Some(dose.to_owned());
        let refusal = request.check(catalogue, &held).unwrap_err();
        assert!(matches!(refusal, PlanRefusal::Dose { .. }), "{refusal}");
        assert!(refusal.to_string().contains(said), "{refusal}");
    }
}

#[test]
fn drills_are_read_as_typed() {
    use crate::catalogue::Place;
    let read = |entry, mark| DrillRequest::from_typed(entry, mark).unwrap();
    let expected = DrillRequest {
        drill: "towel_swing".to_owned(),
        dose: Some("3 x 10, daily".to_owned()),
        place: Some(Place::PracticeSwing),
    };
    assert_eq!(read("towel_swing=3 x 10, daily@practice swing", '='), expected);
    assert_eq!(read(" towel_swing : 3 x 10, daily @ practice_swing", ':'), expected);
    assert_eq!(read("towel_swing=", '='), drill("towel_swing"));
    let refusal = DrillRequest::from_typed("towel_swing@moon", '=').unwrap_err();
    assert!(matches!(&refusal, PlanRefusal::UnknownPlace { found } if found == "moon"));
}

#[test]
fn a_follow_up_says_more_than_its_day() {
    let day = date(2026, 4, 14);
    let request = FollowUpRequest::new(PlanId(1), day);
    let refusal = request.check().unwrap_err();
    assert!(matches!(refusal, FollowUpRefusal::NothingSaid { plan: PlanId(1) }), "{refusal}");
    let said = FollowUpRequest { note: Some("calmer".to_owned()), ..request.clone() };
    assert_eq!(said.check().unwrap().note.as_deref(), Some("calmer"));
    let report = BallReport { net: Some(3), ..BallReport::default() };
    let counted = FollowUpRequest { ball: report, ..request };
    let misses = counted.check().unwrap().ball.misses;
    assert_eq!(misses, Some(Misses { net: 3, long: 0, wide: 0 }));
    let ahead = FollowUpRequest { date: date(2999, 1, 1), ..said };
    assert!(matches!(ahead.check(), Err(FollowUpRefusal::Write(_))));
}

#[test]
fn reports_go_over_what_was_known() {
    let known = BallFlight {
        speed_kmh: Some(120.0),
        first_serve_pct: None,
        misses: Some(Misses { net: 4, long: 2, wide: 1 }),
    };
    assert_eq!(BallReport::default().over(known), known);
    let report = BallReport { first_serve_pct: Some(55.0), net: Some(0), ..BallReport::default() };
    let now = report.over(known);
    assert_eq!((now.speed_kmh, now.first_serve_pct), (Some(120.0), Some(55.0)));
    assert_eq!(now.misses, Some(Misses { net: 0, long: 2, wide: 1 }));
}

/// What the rules let pass is stored whole, what they refuse not at all.
#[test]
fn requests_are_stored_whole_or_not_at_all() {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("library")).unwrap();
    let player = PlayerRequest {
        born: Some(date(2012, 5, 3)),
        squads: vec!["girls".to_owned()],
        consent: Some(ConsentGiven::Keep),
        ..PlayerRequest::new("p01")
    };
    let recorded = player.record(&mut library).unwrap();
    assert!(recorded.new && recorded.player.consent.keep && !recorded.player.consent.share);
    assert!(!player.record(&mut library).unwrap().new, "known by its code");
    let owner = recorded.player.id;
    let (held, _) = library.write(|writer| writer.case_of_day(owner, DAY)).unwrap();
    let late = PlayerRequest { born: Some(DAY), ..PlayerRequest::new("p01") };
    assert!(matches!(late.record(&mut library), Err(PlayerRefusal::Write(_))));
    assert_eq!(library.player(owner).unwrap().born, Some(date(2012, 5, 3)));

    let drill = harmful();
    let (fault, worse) = (drill.faults[0].clone(), drill.not_for[0].clone());
    let request =
        PlanRequest { drills: vec![self::drill(&drill.id)], ..PlanRequest::new(held, &fault) };
    let told = request.record(&mut library).unwrap();
    let lines = told.cautions.lines();
    for caution in &drill.cautions {
        assert!(lines.iter().any(|line| line.contains(caution)), "{caution}: {lines:?}");
    }
    for caution in Catalogue::builtin().general_cautions() {
        assert!(lines.iter().any(|line| line == caution), "{caution}: {lines:?}");
    }
    // A fault seen afterwards that the plan's drill makes worse is stored, and the coach is told.
    let mut label = LabelRequest::new(held, "ash");
    label.add = vec![Graded { fault: worse.clone(), severity: Some(0.8) }];
    label.grip = Grip { index_knuckle: Some(2), heel_pad: None };
    label.note = Some("arched".to_owned());
    let notices = label.record(&mut library).unwrap();
    assert!(matches!(&notices[..], [Notice::PlanHarms { plan, .. }] if *plan == told.plan));
    let stored = library.case(held).unwrap();
    assert_eq!(stored.labels.len(), 1);
    assert_eq!(stored.grip, Some(Grip { index_knuckle: Some(2), heel_pad: None }));
    // And a second plan with that drill is refused and leaves nothing.
    assert!(matches!(request.record(&mut library), Err(PlanRefusal::Harmful { .. })));
    // Two labels of which one breaks a rule: neither is stored.
    let mut both = LabelRequest::new(held, "ash");
    both.add = vec![
        Graded { fault: "toss_low".to_owned(), severity: None },
        Graded { fault: "bad_luck".to_owned(), severity: None },
    ];
    assert!(matches!(both.record(&mut library), Err(LabelRefusal::UnknownFault(_))));
    assert_eq!(library.case(held).unwrap(), stored);
}

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
    assert!(own.contains("makes that worse"), "{own}");
    let note = noted.health_note.as_ref().unwrap();
    assert!(lines.iter().any(|line| line.contains(note)), "{lines:?}");
    // Named again, nothing is said twice.
    cautions.name(&shown);
    assert_eq!(cautions.lines().len(), before + 2);
    // In full: its own beside it, its fault's among the lines.
    let mut cautions = Cautions::of(catalogue, Age::Adult);
    let text = cautions.in_full(&shown);
    assert_eq!(&text.cautions[..entry.cautions.len()], &entry.cautions[..]);
    assert_eq!(text.steps, entry.steps);
    assert_eq!(cautions.lines().len(), before + 1);
    // As an object it carries them too.
    let object = serde_json::to_value(&shown).unwrap();
    assert_eq!(object["cautions"][0], note.as_str());
}

#[test]
fn a_drill_nobody_here_knows_says_so() {
    let shown = ShownDrill::of(Catalogue::builtin(), "tape_on_frame", "toss_low");
    let mut cautions = Cautions::of(Catalogue::builtin(), Age::Adult);
    assert_eq!(cautions.name(&shown), "tape_on_frame");
    assert!(cautions.lines()[0].contains("not known here"), "{:?}", cautions.lines());
}
