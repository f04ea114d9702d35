//! What is practised: doses, pain, and what was told of it.

use super::*;

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
