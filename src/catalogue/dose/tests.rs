use super::fit::repetitions;
use super::*;
use crate::catalogue::Catalogue;
use crate::catalogue::types::{BodyPart, Place};

fn asked<'a>(catalogue: &'a Catalogue, drill: &str, dose: &'a str, place: Place) -> Asked<'a> {
    Asked { drill: catalogue.drill(drill).unwrap(), dose, place: Some(place) }
}

/// Numbers worked out by hand from the words.
#[test]
fn words_become_numbers() {
    let dose = Dose::read("10 throws, 15 swings, 20 balls, three or four days a week");
    let a_day: Vec<f64> = dose.sets.iter().map(Sets::a_day).collect();
    assert_eq!(a_day, [10.0, 15.0, 20.0]);
    let work: Vec<_> = dose.sets.iter().map(|sets| sets.work.unwrap()).collect();
    assert_eq!(work, [Work::Throws, Work::Swings, Work::Serves]);
    assert_eq!(dose.days_a_week, Some(Span { least: 3.0, most: 4.0 }));

    let dose = Dose::read("3 x 6 throws each side, two days a week");
    assert_eq!(dose.sets[0].a_day(), 36.0);
    let dose = Dose::read("5 minutes a day, for two weeks at most");
    assert_eq!((dose.minutes, dose.weeks), (Some(5.0), Some(2)));
    assert_eq!(dose.days_a_week, Some(Span::exactly(7.0)));
    let dose = Dose::read("20 minutes, three days a week, six weeks");
    assert_eq!(dose.days_a_week, Some(Span::exactly(3.0)));
    let dose = Dose::read("3 X 8, 3-4 times per week; half speed");
    assert_eq!((dose.sets[0].a_day(), dose.effort), (24.0, Some(Effort::Half)));
    assert!(dose.unread.is_empty(), "{dose:?}");
}

#[test]
fn what_is_not_understood_is_kept_never_guessed() {
    let dose = Dose::read("2 x 12, three days a week, not before serving");
    assert_eq!(dose.unread, ["not before serving"]);
    for words in ["", "as you like", "2 x many", "0 x 8", "nine days a week", "4 or 3 days a week"]
    {
        let dose = Dose::read(words);
        assert!(dose.sets.is_empty() && dose.days_a_week.is_none(), "{words}: {dose:?}");
        assert_eq!(dose.unread.len(), usize::from(!words.is_empty()), "{words}");
    }
    let dose = Dose::read("99999999999999 x 8");
    assert!(dose.sets.is_empty());
}

/// Every dose of our own can be read, but for words that say when, not how much.
#[test]
fn our_own_doses_are_understood() {
    let besides = [
        "every practice day",
        "before every serve",
        "not before serving",
        "a full minute of rest between sets",
    ];
    for drill in Catalogue::builtin().drills() {
        let dose = Dose::read(&drill.dose);
        for clause in &dose.unread {
            let known = besides.contains(&clause.to_lowercase().as_str());
            assert!(known, "{}: '{clause}' in '{}'", drill.id, drill.dose);
        }
        let counted = !dose.sets.is_empty() || dose.minutes.is_some();
        let said = dose.unread.iter().any(|clause| clause.contains("serv"));
        assert!(counted || said, "{}: '{}'", drill.id, drill.dose);
    }
}

/// 3 x 8 serves on three days and 2 x 10 throws on two: 72 and 40 a week, by hand.
#[test]
fn a_week_adds_up() {
    let catalogue = Catalogue::builtin();
    let plan = [
        asked(catalogue, "over_the_rope", "3 x 8, three days a week", Place::Baseline),
        asked(catalogue, "fence_throw", "2 x 10 throws, two days a week", Place::OffCourt),
        asked(catalogue, "slow_to_fast", "8 minutes a day", Place::PracticeSwing),
    ];
    let week = Week::of(&plan);
    assert_eq!(week.serves, Span::exactly(72.0));
    assert_eq!(week.throws, Span::exactly(40.0));
    assert_eq!(week.arm(), Span::exactly(112.0));
    assert_eq!(week.arm_a_day, 44.0);
    assert_eq!(week.arm_days, Span::exactly(3.0));
    assert_eq!(week.minutes, Span::exactly(56.0));
    assert!(week.uncounted.is_empty(), "{:?}", week.uncounted);
    // At the first step the same words are swings, not serves.
    let easy =
        [asked(catalogue, "over_the_rope", "3 x 8, three days a week", Place::PracticeSwing)];
    assert_eq!(Week::of(&easy).serves, Span::exactly(0.0));
    // Without a place the heaviest step counts.
    let unplaced = [Asked { place: None, ..plan[0] }];
    assert_eq!(Week::of(&unplaced).serves, Span::exactly(72.0));
    // What cannot be counted is named.
    let vague = [asked(catalogue, "count_aloud", "every practice day", Place::Baseline)];
    let week = Week::of(&vague);
    assert_eq!(week.uncounted.len(), 1);
    assert!(week.uncounted[0].1.contains("no numbers"), "{:?}", week.uncounted);
}

/// 60 serves on four days: nothing against an adult's day (120), more than a junior's week of
/// 256 with 40 already, more than a child's day of 40.
#[test]
fn a_dose_is_held_against_age() {
    let catalogue = Catalogue::builtin();
    let plan = [asked(catalogue, "over_the_rope", "60 serves, four days a week", Place::Baseline)];
    let limits = |age_years, serves_a_week| -> Vec<String> {
        let practiser = Practiser { age_years, serves_a_week, sore: Vec::new() };
        check_doses(catalogue, &plan, &practiser).into_iter().filter_map(|one| one.limit).collect()
    };
    assert!(limits(Some(25), Some(100)).is_empty());
    assert!(limits(Some(15), Some(10)).is_empty());
    assert_eq!(limits(Some(15), Some(40)), ["arm_week_junior"]);
    assert_eq!(limits(Some(10), Some(0)), ["arm_day_child", "arm_week_child", "arm_days_child"]);
    // Of unknown age: as a junior, and said so.
    let practiser = Practiser { serves_a_week: Some(40), ..Practiser::default() };
    let told = check_doses(catalogue, &plan, &practiser);
    assert_eq!(told[0].limit.as_deref(), Some("arm_week_junior"));
    assert!(told[0].text.contains("age is not known"), "{}", told[0].text);
    assert!(!told[0].sources.is_empty());
    // What the player serves already is asked for.
    let told =
        check_doses(catalogue, &plan, &Practiser { age_years: Some(25), ..Practiser::default() });
    assert!(told.iter().any(|one| one.text.contains("not known: ask")), "{told:?}");
}

#[test]
fn what_hurts_is_not_loaded() {
    let catalogue = Catalogue::builtin();
    let plan = [
        asked(catalogue, "picture_the_flight", "5 minutes, four days a week", Place::OffCourt),
        asked(catalogue, "kneeling_serve", "2 x 8, two days a week", Place::ServiceLine),
    ];
    let practiser =
        Practiser { age_years: Some(30), serves_a_week: Some(0), sore: vec![BodyPart::Shoulder] };
    let told = check_doses(catalogue, &plan, &practiser);
    let refused: Vec<&Warning> = told.iter().filter(|one| one.refused).collect();
    assert_eq!(refused.len(), 1);
    assert!(refused[0].text.contains("Serve from the knees"), "{}", refused[0].text);
    assert!(refused[0].text.contains("clinician"), "{}", refused[0].text);
}

/// At each age each kind of limit holds once: no gap, no two at a time.
#[test]
fn limits_cover_every_age_once() {
    let catalogue = Catalogue::builtin();
    for age in 0..100 {
        for of in [LimitOf::ArmADay, LimitOf::ArmAWeek, LimitOf::ArmDays] {
            let here = catalogue.limits().filter(|limit| limit.of == of && limit.holds_at(age));
            assert_eq!(here.count(), 1, "{of:?} at {age}");
        }
    }
}

#[test]
fn commas_may_be_missing() {
    for (words, a_day, days) in [
        ("3 x 10 daily", 30.0, 7.0),
        ("3x8 four days a week", 24.0, 4.0),
        ("20 balls a day", 20.0, 7.0),
        ("2 \u{d7} 10 throws every other day", 20.0, 4.0),
    ] {
        let dose = Dose::read(words);
        assert!(dose.unread.is_empty(), "{words}: {dose:?}");
        assert_eq!(dose.sets.iter().map(Sets::a_day).sum::<f64>(), a_day, "{words}");
        assert_eq!(dose.days_a_week.unwrap().most, days, "{words}");
    }
}

#[test]
fn repetitions_are_read_as_a_coach_writes_them() {
    for (dose, counted) in [
        ("3 x 8, four days a week", vec![24]),
        ("3x8", vec![24]),
        ("2 \u{d7} 10 throws", vec![20, 10]),
        ("10 throws, 15 swings, 20 balls, three days a week", vec![10, 15, 20]),
        ("5 minutes a day, 6 weeks", vec![]),
        ("until 2027", vec![]),
        ("Every serve", vec![]),
    ] {
        assert_eq!(repetitions(dose), counted, "{dose}");
    }
}

#[test]
fn a_dose_fits_the_page_and_the_body() {
    assert_eq!(Dose::check("3 x 8, five days a week"), Ok(()));
    assert_eq!(Dose::check("10 x 20"), Ok(()));
    assert_eq!(Dose::check(" "), Err(DoseProblem::Empty));
    assert_eq!(Dose::check("3 x 8\nand more"), Err(DoseProblem::Lines));
    assert_eq!(Dose::check("0 x 8"), Err(DoseProblem::Nothing));
    assert_eq!(Dose::check("3 x 80"), Err(DoseProblem::Many { repetitions: 240 }));
    assert_eq!(Dose::check("(3x80)"), Err(DoseProblem::Many { repetitions: 240 }));
    assert_eq!(Dose::check("500 serves a day"), Err(DoseProblem::Many { repetitions: 500 }));
    assert_eq!(Dose::check(&"a".repeat(121)), Err(DoseProblem::Long { characters: 121 }));
    let many = DoseProblem::Many { repetitions: u64::MAX };
    assert_eq!(Dose::check("99999999999999999999 x 9"), Err(many));
}

#[test]
fn every_dose_of_the_catalogue_fits() {
    for drill in Catalogue::builtin().drills() {
        assert_eq!(Dose::check(&drill.dose), Ok(()), "{}: {}", drill.id, drill.dose);
    }
}
