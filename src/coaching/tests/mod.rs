//! One rule each, on made-up cases of the built-in catalogue; which drill harms or serves what is
//! the catalogue's own word, read from it here.

use jiff::civil::date;
use tempfile::TempDir;

mod cautions;
mod consent;
mod practice;

use super::*;
use crate::catalogue::{BodyPart, Catalogue, Drill, Practiser};
use crate::library::{
    Ache, Author, BallFlight, Case, CaseId, CheckIn, Ending, FaultLabel, FollowUp, Grip, HurtsWhen,
    LabelState, Library, Misses, Pain, Plan, PlanEnd, PlanId, PlannedDrill, Player, PlayerId,
    Practice, PracticeId,
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

/// Somebody whom no dose of the catalogue asks too much of.
fn adult() -> Practiser {
    Practiser { age_years: Some(30), serves_a_week: Some(0), sore: Vec::new() }
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
    let shown = |held: &Case| match request.check(catalogue, held, &adult()) {
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
    let refusal =
        prescribe(worse, &[&drill.id]).check(catalogue, &case(Vec::new()), &adult()).unwrap_err();
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
    let Err(PlanRefusal::Unanswered(questions)) = request.check_new(catalogue, &held, &adult())
    else {
        panic!("asked nothing");
    };
    assert!(
        matches!(&questions[..], [Question::ServesAnotherFault { drill, .. }] if *drill == odd.id)
    );
    // Yes to another question is no yes to this one.
    let other = prescribe("short_finish", &[&odd.id]);
    if let Err(PlanRefusal::Unanswered(other)) = other.check_new(catalogue, &held, &adult()) {
        request.sure = other;
        assert!(matches!(
            request.check_new(catalogue, &held, &adult()),
            Err(PlanRefusal::Unanswered(_))
        ));
    }
    request.sure = questions;
    assert_eq!(request.check_new(catalogue, &held, &adult()).unwrap().drills[0].drill, odd.id);
    // A drill that serves the fault is not asked about.
    let fitting = &catalogue.drills_for(fault)[0].id;
    assert!(prescribe(fault, &[fitting]).check_new(catalogue, &held, &adult()).is_ok());
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
    let (_, questions) = prescribe(&one, &[]).check(catalogue, &held, &adult()).unwrap();
    let expected = Question::PullsTheOtherWay { fault: one, plan: PlanId(4), other };
    assert_eq!(questions, [expected]);
}

#[test]
fn a_third_plan_an_unknown_drill_and_a_bad_dose_are_refused() {
    let catalogue = Catalogue::builtin();
    let mut held = case(Vec::new());
    held.plans = vec![plan(1, "toss_low"), plan(2, "short_finish")];
    let refusal = prescribe("toss_behind", &[]).check_new(catalogue, &held, &adult()).unwrap_err();
    let PlanRefusal::ThirdPlan { in_force, .. } = &refusal else { panic!("{refusal}") };
    assert_eq!(in_force, &[PlanId(1), PlanId(2)]);
    assert!(refusal.to_string().starts_with("c1: n1 and n2 are in force"), "{refusal}");
    let held = case(Vec::new());
    let refusal =
        prescribe("toss_low", &["juggling"]).check(catalogue, &held, &adult()).unwrap_err();
    assert!(matches!(&refusal, PlanRefusal::UnknownDrill { found, .. } if found == "juggling"));
    let fitting = catalogue.drills_for("toss_low")[0].id.as_str();
    let refusal =
        prescribe("toss_low", &[fitting, fitting]).check(catalogue, &held, &adult()).unwrap_err();
    assert!(matches!(refusal, PlanRefusal::Twice { .. }), "{refusal}");
    for (dose, said) in [("3 x 200", "600 repetitions"), ("0 x 8", "none at all")] {
        let mut request = prescribe("toss_low", &[fitting]);
        request.drills[0].dose = Some(dose.to_owned());
        let refusal = request.check(catalogue, &held, &adult()).unwrap_err();
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
        squads: SquadsRequest::Too(vec!["girls".to_owned()]),
        consent: ConsentRequest::given(ConsentGiven::Keep, DAY, None),
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

/// One coach waits for the turn while another records: what the waiting one's rules are held
/// against is what stands once the turn has come.
#[test]
fn of_two_coaches_at_once_the_second_sees_what_the_first_recorded() {
    let folder = TempDir::new().unwrap();
    let place = folder.path().join("library");
    let mut library = Library::create(&place).unwrap();
    let owner = PlayerRequest::new("p01").record(&mut library).unwrap().player.id;
    let (held, _) = library.write(|writer| writer.case_of_day(owner, DAY)).unwrap();
    PlanRequest::new(held, "toss_low").record(&mut library).unwrap();
    let drill = harmful();
    let (fault, worse) = (drill.faults[0].clone(), drill.not_for[0].clone());
    let turn = library.take_turn().unwrap();
    let (asked, waits) = std::sync::mpsc::channel();
    let others: Vec<_> = [
        PlanRequest { drills: vec![self::drill(&drill.id)], ..PlanRequest::new(held, &fault) },
        PlanRequest::new(held, "short_finish"),
    ]
    .into_iter()
    .map(|request| {
        let (place, asked) = (place.clone(), asked.clone());
        std::thread::spawn(move || {
            let mut library = Library::open(place).unwrap();
            asked.send(()).unwrap();
            request.record(&mut library)
        })
    })
    .collect();
    waits.recv().unwrap();
    waits.recv().unwrap();
    // Both are at their request; what they read before their turn would be this much older.
    std::thread::sleep(std::time::Duration::from_millis(200));
    let seen = label(&worse, LabelState::Added, 0.7, "ash");
    library
        .write_in(&turn, |writer| {
            writer.set_label(held, &seen)?;
            writer.add_plan(&Plan { case: held, ..plan(0, "toss_behind") })
        })
        .unwrap();
    drop(turn);
    let mut others = others.into_iter().map(|other| other.join().unwrap().unwrap_err());
    let (harms, third) = (others.next().unwrap(), others.next().unwrap());
    assert!(matches!(harms, PlanRefusal::Harmful { .. }), "{harms}");
    assert!(matches!(third, PlanRefusal::ThirdPlan { .. }), "{third}");
    assert_eq!(library.case(held).unwrap().plans.len(), 2);
}

#[test]
fn a_plan_is_ended_by_its_case_and_withdrawn_with_a_reason() {
    let held = plan(4, "toss_low");
    let request = PlanEndRequest {
        plan: PlanId(4),
        case: Some(CaseId(1)),
        how: EndOfPlan::Withdrawn,
        day: date(2026, 4, 1),
        by: "ash".to_owned(),
        reason: None,
    };
    let refusal = request.check(&held).unwrap_err();
    assert!(matches!(refusal, PlanEndRefusal::NoReason { plan: PlanId(4) }), "{refusal}");
    let done = PlanEndRequest { how: EndOfPlan::Done, ..request.clone() };
    assert_eq!(done.check(&held).unwrap().how, Ending::Ended);
    let other = PlanEndRequest { case: Some(CaseId(2)), ..done.clone() };
    let refusal = other.check(&held).unwrap_err().to_string();
    assert!(refusal.starts_with("n4: a plan of c1, not of c2"), "{refusal}");
    let program = PlanEndRequest { by: "program".to_owned(), ..done };
    assert!(matches!(program.check(&held), Err(PlanEndRefusal::Write(_))));
    let said = PlanEndRequest { reason: Some("knee".to_owned()), ..request };
    assert_eq!(said.check(&held).unwrap().how, Ending::Withdrawn);
}

#[test]
fn another_dose_meets_the_rules_of_plans_again() {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("library")).unwrap();
    let owner = PlayerRequest::new("p01").record(&mut library).unwrap().player.id;
    let (held, _) = library.write(|writer| writer.case_of_day(owner, DAY)).unwrap();
    let fault = &Catalogue::builtin().drill("over_the_rope").unwrap().faults[0];
    let rope = DrillRequest {
        dose: Some("10 serves, two days a week".to_owned()),
        ..drill("over_the_rope")
    };
    let request = PlanRequest { drills: vec![rope], ..PlanRequest::new(held, fault) };
    let plan = request.record(&mut library).unwrap().plan;
    let by = Author::from_text("ash");
    let dose = |words: &str| PlanAmendment {
        doses: vec![("over_the_rope".to_owned(), words.to_owned())],
        ..PlanAmendment::default()
    };
    // Of unknown age: as of a junior, for whom 64 serves and throws are the most on one day.
    let much = dose("70 serves, two days a week");
    let refusal = much.clone().record(&mut library, plan, &by).unwrap_err();
    let AmendRefusal::Plan(PlanRefusal::Unanswered(sure)) = refusal else { panic!("{refusal}") };
    assert!(sure[0].to_string().contains("70 serves and throws on one day"), "{sure:?}");
    let kept = library.plan(plan).unwrap().drills[0].dose.clone();
    assert_eq!(kept, "10 serves, two days a week");
    PlanAmendment { sure, ..much }.record(&mut library, plan, &by).unwrap();
    // What hurts now is not given in another dose either; words may be put right.
    let hurts = PracticeRequest {
        pain: Some(5),
        place: Some(BodyPart::Shoulder),
        ..PracticeRequest::new(PractisedFor::Plan(plan), jiff::ZonedDateTime::now().date())
    };
    hurts.clone().record(&mut library).unwrap();
    let refusal = dose("9 serves, two days a week").record(&mut library, plan, &by).unwrap_err();
    assert!(matches!(&refusal, AmendRefusal::Plan(PlanRefusal::Sore { .. })), "{refusal}");
    let words =
        PlanAmendment { note: Amended::To("calmer".to_owned()), ..PlanAmendment::default() };
    words.record(&mut library, plan, &by).unwrap();
}
