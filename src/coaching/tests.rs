//! One rule each, on made-up cases of the built-in catalogue; which drill harms or serves what is
//! the catalogue's own word, read from it here.

use jiff::civil::date;
use tempfile::TempDir;

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

/// Day's end: 30 serves on two days with one plan, 40 with the other; 64 a day is what a junior's
/// match asks (R099), so both together are asked about, each alone is not.
#[test]
fn doses_of_plans_together_are_held_against_age() {
    let catalogue = Catalogue::builtin();
    let junior = Practiser { age_years: Some(14), ..adult() };
    let dosed = |words: &str| DrillRequest {
        drill: "over_the_rope".to_owned(),
        dose: Some(words.to_owned()),
        place: Some(crate::catalogue::Place::Baseline),
    };
    let fault = &catalogue.drill("over_the_rope").unwrap().faults[0];
    let request = |words: &str| PlanRequest {
        drills: vec![dosed(words)],
        ..PlanRequest::new(CaseId(1), fault)
    };
    let mut held = case(Vec::new());
    let first = request("30 serves, two days a week").check_new(catalogue, &held, &junior).unwrap();
    let second = request("40 serves, two days a week");
    second.check_new(catalogue, &held, &junior).unwrap();
    held.plans.push(Plan { id: PlanId(1), ..first });
    second.check_new(catalogue, &held, &adult()).unwrap();
    let Err(PlanRefusal::Unanswered(questions)) = second.check_new(catalogue, &held, &junior)
    else {
        panic!("asked nothing");
    };
    let [Question::Much { limit, text, sources }] = &questions[..] else { panic!("{questions:?}") };
    assert_eq!(limit, "arm_day_junior");
    assert!(text.starts_with("70 serves and throws on one day, 64 at most here."), "{text}");
    assert!(sources.contains(&"R099".to_owned()), "{sources:?}");
    let sure = PlanRequest { sure: questions, ..second };
    sure.check_new(catalogue, &held, &junior).unwrap();
    // Of unknown age: as of a junior.
    let unknown = Practiser { age_years: None, ..adult() };
    let asked = request("70 serves, two days a week").check(catalogue, &case(Vec::new()), &unknown);
    let (_, questions) = asked.unwrap();
    assert!(questions[0].to_string().contains("age is not known"), "{questions:?}");
    // A plan that adds no serve and no throw is not asked about for those of another.
    held.plans[0].drills[0].dose = "70 serves, two days a week".to_owned();
    let mut swings = request("3 x 8, two days a week");
    swings.drills[0].place = Some(crate::catalogue::Place::PracticeSwing);
    swings.check_new(catalogue, &held, &junior).unwrap();
}

#[test]
fn what_hurts_is_not_prescribed_until_it_is_logged_as_gone() {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("library")).unwrap();
    let owner = PlayerRequest { born: Some(date(1996, 5, 3)), ..PlayerRequest::new("p01") };
    let owner = owner.record(&mut library).unwrap().player.id;
    let (held, _) = library.write(|writer| writer.case_of_day(owner, DAY)).unwrap();
    // picture_the_flight loads nothing.
    let easy = PlanRequest {
        drills: vec![drill("picture_the_flight")],
        ..PlanRequest::new(held, "toss_low")
    };
    let mut easy = easy;
    if let Err(PlanRefusal::Unanswered(questions)) = easy.record(&mut library) {
        easy.sure = questions;
    }
    let plan = easy.record(&mut library).unwrap().plan;
    let log = |day, pain, place| PracticeRequest {
        pain: Some(pain),
        place,
        ..PracticeRequest::new(PractisedFor::Plan(plan), day)
    };
    let loading = |start| PlanRequest {
        drills: vec![drill("over_the_rope")],
        start: Some(start),
        ..PlanRequest::new(held, &Catalogue::builtin().drill("over_the_rope").unwrap().faults[0])
    };
    let (hurts, after) = (date(2026, 3, 16), date(2026, 3, 20));
    log(hurts, 5, Some(BodyPart::Shoulder)).record(&mut library).unwrap();
    let refusal = loading(after).record(&mut library).unwrap_err();
    let PlanRefusal::Sore { drill, .. } = &refusal else { panic!("{refusal}") };
    assert_eq!(drill, "over_the_rope");
    assert!(refusal.to_string().contains("loads the shoulder, which hurts"), "{refusal}");
    assert!(refusal.to_string().contains("clinician"), "{refusal}");
    // Three weeks later nobody knows of pain any more; nor once it was logged as gone.
    let stored = library.case(held).unwrap();
    let catalogue = Catalogue::builtin();
    let player = library.player(owner).unwrap();
    let at = |library: &Library, day| practiser(library, &player, day).unwrap().sore;
    assert_eq!(at(&library, after), [BodyPart::Shoulder]);
    assert!(at(&library, date(2026, 4, 6)).is_empty());
    assert!(at(&library, date(2026, 3, 15)).is_empty(), "before it hurt");
    log(date(2026, 3, 17), 6, Some(BodyPart::Knee)).record(&mut library).unwrap();
    assert_eq!(at(&library, after), [BodyPart::Shoulder, BodyPart::Knee]);
    log(date(2026, 3, 18), 2, Some(BodyPart::Knee)).record(&mut library).unwrap();
    assert_eq!(at(&library, after), [BodyPart::Shoulder]);
    log(date(2026, 3, 19), 0, None).record(&mut library).unwrap();
    assert!(at(&library, after).is_empty());
    let now = practiser(&library, &player, after).unwrap();
    loading(after).check_new(catalogue, &stored, &now).unwrap();
}

#[test]
fn practice_is_logged_as_it_can_have_been() {
    let today = date(2026, 4, 20);
    let held = plan(1, "toss_low");
    let of = |day| PracticeRequest::new(PractisedFor::Plan(PlanId(1)), day);
    let day = date(2026, 3, 20);
    assert_eq!(of(day).check(&held, today).unwrap().sessions, 1);
    let early = of(date(2026, 3, 13)).check(&held, today).unwrap_err();
    assert!(matches!(&early, PracticeRefusal::BeforeStart { .. }), "{early}");
    assert!(early.to_string().starts_with("n1: starts on 2026-03-14"), "{early}");
    let ahead = of(date(2026, 4, 22)).check(&held, today).unwrap_err();
    assert!(matches!(ahead, PracticeRefusal::NotYet { .. }), "{ahead}");
    let end = PlanEnd {
        day: date(2026, 4, 1),
        how: Ending::Ended,
        by: Author::from_text("ash"),
        reason: None,
    };
    let ended = Plan { ended: Some(end), ..held.clone() };
    assert!(of(date(2026, 3, 31)).check(&ended, today).is_ok());
    let late = of(date(2026, 4, 1)).check(&ended, today).unwrap_err();
    assert!(matches!(late, PracticeRefusal::AfterEnd { .. }), "{late}");

    let hurts = |pain, place| PracticeRequest { pain: Some(pain), place, ..of(day) };
    let somewhere = hurts(3, None);
    let refusal = somewhere.check(&held, today).unwrap_err();
    let question = PracticeQuestion::Where { pain: 3 };
    assert!(matches!(&refusal, PracticeRefusal::Unanswered(one) if *one == question), "{refusal}");
    let unknown = PracticeRequest { sure: vec![question], ..somewhere };
    let stored = unknown.check(&held, today).unwrap();
    assert_eq!(stored.pain, Some(Pain { level: 3, place: None }));
    for (request, said) in [
        (hurts(11, Some(BodyPart::Knee)), "found 11"),
        (hurts(0, Some(BodyPart::Knee)), "the knee is named, but no pain"),
        (PracticeRequest { effort: Some(12), ..of(day) }, "found 12"),
        (PracticeRequest { sessions: 9, ..of(day) }, "9 sessions on one day"),
        (PracticeRequest { by: Some("Program".to_owned()), ..of(day) }, "the program's own name"),
    ] {
        let refusal = request.check(&held, today).unwrap_err().to_string();
        assert!(refusal.contains(said), "{refusal}");
    }
}

#[test]
fn much_pain_sends_to_a_clinician_and_sessions_add_up() {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("library")).unwrap();
    let owner = PlayerRequest::new("p01").record(&mut library).unwrap().player.id;
    let (held, _) = library.write(|writer| writer.case_of_day(owner, DAY)).unwrap();
    let request = PlanRequest {
        drills: vec![drill("fence_throw")],
        ..PlanRequest::new(held, &Catalogue::builtin().drill("fence_throw").unwrap().faults[0])
    };
    let plan = request.record(&mut library).unwrap().plan;
    let log = |day, sessions| PracticeRequest {
        sessions,
        ..PracticeRequest::new(PractisedFor::Case(held), day)
    };
    let calm = log(date(2026, 3, 16), 2).record(&mut library).unwrap();
    assert_eq!((calm.plan, calm.sessions, calm.notices.len()), (plan, 2, 0));
    let hurts = |pain| PracticeRequest {
        pain: Some(pain),
        place: Some(BodyPart::Elbow),
        ..log(date(2026, 3, 18), 1)
    };
    assert!(hurts(3).record(&mut library).unwrap().notices.is_empty());
    let told = hurts(4).record(&mut library).unwrap();
    assert_eq!(told.sessions, 4);
    let [PracticeNotice::SeeClinician { pain: 4, leave, .. }] = &told.notices[..] else {
        panic!("{:?}", told.notices)
    };
    assert_eq!(leave, &[Catalogue::builtin().drill_name("fence_throw")]);
    let said = told.notices[0].to_string();
    assert!(said.contains("see a clinician, and leave out what loads the elbow"), "{said}");

    // A follow-up of a day counts what was logged until then, unless the coach counted.
    let answer = |day, sessions_done| FollowUpRequest {
        rating: Some(1),
        sessions_done,
        ..FollowUpRequest::new(plan, day)
    };
    let mut done = |request: FollowUpRequest| {
        let id = request.record(&mut library).unwrap().follow_up;
        let answers = library.follow_ups_of(plan).unwrap();
        sessions_done(&library, answers.iter().find(|one| one.id == id).unwrap()).unwrap()
    };
    assert_eq!(done(answer(date(2026, 3, 15), None)), None);
    assert_eq!(done(answer(date(2026, 3, 17), None)), Some(2));
    assert_eq!(done(answer(date(2026, 4, 14), None)), Some(4));
    assert_eq!(done(answer(date(2026, 4, 15), Some(9))), Some(9));
    // With two plans in force, or none, the case does not say which.
    let other = PlanRequest::new(held, "toss_low").record(&mut library).unwrap().plan;
    let refusal = log(date(2026, 3, 20), 1).record(&mut library).unwrap_err();
    let PracticeRefusal::SeveralPlans { plans, .. } = &refusal else { panic!("{refusal}") };
    assert_eq!(plans, &[plan, other]);
    let refusal = log(date(2026, 3, 13), 1).record(&mut library).unwrap_err();
    assert!(matches!(refusal, PracticeRefusal::NoPlan { .. }), "{refusal}");
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

#[test]
fn consent_to_sharing_means_consent_to_keeping() {
    let said = |keep, share| PlayerRequest {
        consent: ConsentRequest { keep, share, date: Some(DAY), by: None },
        ..PlayerRequest::new("p01")
    };
    let refusal = said(Some(false), Some(true)).check(None, None).unwrap_err();
    assert!(matches!(refusal, PlayerRefusal::SharedNotKept { .. }), "{refusal}");
    let both = said(Some(true), Some(true)).check(None, None).unwrap();
    let refusal = said(Some(false), None).check(Some(&both), None).unwrap_err();
    assert!(matches!(refusal, PlayerRefusal::SharedNotKept { .. }), "{refusal}");
    assert!(!said(Some(false), Some(false)).check(Some(&both), None).unwrap().consent.keep);
    let only = PlayerRequest {
        squads: SquadsRequest::Only(vec!["boys".to_owned()]),
        ..PlayerRequest::new("p01")
    };
    let known = crate::library::Player { squads: vec!["girls".to_owned()], ..both };
    assert_eq!(only.check(Some(&known), None).unwrap().squads, ["boys"]);
}

#[test]
fn consent_is_given_by_somebody_and_a_junior_does_not_give_it_alone() {
    use crate::library::{Consent, ConsentBy};
    use jiff::ToSpan;
    let said = |consent, by, born| PlayerRequest {
        consent: ConsentRequest::given(consent, DAY, by),
        born: Some(born),
        ..PlayerRequest::new("p01")
    };
    let (junior, adult) = (DAY - 17.years(), DAY - 18.years());
    let (player, guardian) = (Some(ConsentBy::Player), Some(ConsentBy::Guardian));
    let refusal = said(ConsentGiven::Keep, player, junior).check(None, None).unwrap_err();
    assert!(matches!(refusal, PlayerRefusal::JuniorAlone { .. }), "{refusal}");
    for (by, born) in [(guardian, junior), (player, adult), (None, junior)] {
        let known = said(ConsentGiven::Keep, by, born).check(None, None).unwrap();
        let consent = Consent { keep: true, share: false, date: Some(DAY), by };
        assert_eq!(known.consent, consent);
        // The same said again without a name is still theirs; something else is nobody's yet.
        let again = said(ConsentGiven::Keep, None, born).check(Some(&known), None).unwrap();
        assert_eq!(again.consent, consent);
        let more = said(ConsentGiven::KeepAndShare, None, born).check(Some(&known), None).unwrap();
        assert_eq!(more.consent, Consent { share: true, by: None, ..consent });
    }
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

/// Invented plans; what they ask is counted by hand.
#[test]
fn too_little_practice_is_said_before_a_drill_is_called_useless() {
    let folder = TempDir::new().unwrap();
    let library = Library::create(folder.path()).unwrap();
    let catalogue = Catalogue::builtin();
    let planned = |doses: &[&str]| Plan {
        drills: doses
            .iter()
            .map(|dose| PlannedDrill {
                drill: "land_inside".to_owned(),
                dose: (*dose).to_owned(),
                place: None,
            })
            .collect(),
        ..plan(1, "shallow_leg_drive")
    };
    let later = date(2026, 4, 11);
    let done = |plan: &Plan, sessions| {
        let answer = FollowUp { sessions_done: sessions, ..follow_up(later) };
        practised(&library, catalogue, plan, Some(&answer), later).unwrap()
    };
    // Four weeks of three days: twelve sessions, half of them is enough to tell.
    let three = planned(&["3 x 8 serves, three days a week", "2 x 5 swings, 2 days a week"]);
    let little = done(&three, Some(5)).unwrap();
    assert_eq!(
        little.too_little().unwrap(),
        "only 5 of 12 sessions were done, too little practice to write the drill off"
    );
    assert_eq!(done(&three, Some(6)).unwrap().too_little(), None);
    assert_eq!(done(&three, None), None, "nobody counted, nothing is logged");
    // Ended after a week, it asked three.
    let by = Author::from_text("anna");
    let end = PlanEnd { day: date(2026, 3, 21), how: Ending::Ended, by, reason: None };
    let ended = Plan { ended: Some(end), ..three };
    assert_eq!(done(&ended, Some(2)).unwrap().to_string(), "2 of 3 sessions");
    // Without days a week nobody can say whether it was little.
    let open = done(&planned(&["3 x 8"]), Some(1)).unwrap();
    assert_eq!((open.too_little(), open.to_string().as_str()), (None, "1 session"));
}

fn follow_up(day: jiff::civil::Date) -> FollowUp {
    FollowUp {
        id: crate::library::FollowUpId(1),
        plan: PlanId(1),
        date: day,
        serves: Vec::new(),
        ball: BallFlight::default(),
        rating: None,
        sessions_done: None,
        note: None,
    }
}

#[test]
fn what_was_told_counts_until_it_is_asked_again() {
    let ache = |place, level, when| Ache { place, level, when };
    let told = |pain: Vec<Ache>| CheckIn { pain: Some(pain), ..CheckIn::default() };
    let on = |day| date(2026, 3, day);
    let logged = |day, level, place| Practice {
        id: PracticeId(1),
        plan: PlanId(1),
        day: on(day),
        sessions: 1,
        repetitions: None,
        effort: None,
        pain: Some(Pain { level, place }),
        note: None,
        by: None,
    };
    let places = |log: &[Practice], told: &[(jiff::civil::Date, CheckIn)], day| {
        let sore = super::sore::sore(log, told, on(day));
        sore.into_iter().map(|sore| sore.place).collect::<Vec<_>>()
    };
    let shoulder = told(vec![ache(BodyPart::Shoulder, 5, None), ache(BodyPart::Knee, 2, None)]);
    let first = [(on(2), shoulder.clone())];
    assert_eq!(places(&[], &first, 1), []);
    assert_eq!(places(&[], &first, 2), [BodyPart::Shoulder]);
    assert_eq!(places(&[], &first, 16), [BodyPart::Shoulder]);
    assert_eq!(places(&[], &first, 17), [], "two weeks are over");
    // Asked again, the answer is the whole of it; a little at rest is too much.
    let rest = told(vec![ache(BodyPart::Back, 1, Some(HurtsWhen::AtRest))]);
    assert_eq!(places(&[], &[first[0].clone(), (on(5), rest)], 6), [BodyPart::Back]);
    assert_eq!(places(&[], &[first[0].clone(), (on(5), told(Vec::new()))], 6), []);
    // Not asked about pain that day: what was told before stands.
    let silent = CheckIn { serves_a_week: Some(90), ..CheckIn::default() };
    assert_eq!(places(&[], &[first[0].clone(), (on(5), silent.clone())], 6), [BodyPart::Shoulder]);
    // Practice of the same day comes after what was told in the morning.
    let elbow = logged(5, 6, Some(BodyPart::Elbow));
    assert_eq!(places(&[elbow], &[(on(5), told(Vec::new()))], 6), [BodyPart::Elbow]);
    assert_eq!(places(&[logged(3, 0, None)], &first, 6), []);
    // How much is served already counts for a season's part.
    let player = Player::new("p01");
    let at = |day| super::practiser_of(&player, day, &[], &[(on(5), silent.clone())]);
    assert_eq!(at(on(4)).serves_a_week, None);
    assert_eq!(at(date(2026, 6, 3)).serves_a_week, Some(90));
    assert_eq!(at(date(2026, 6, 4)).serves_a_week, None);
}
