//! One rule each, on made-up cases of the built-in catalogue. What commonly causes what, where
//! misses go and what costs how much are the catalogue's own words; the rules are common practice,
//! no source.

use super::*;
use crate::catalogue::Catalogue;
use crate::coaching::Age;
use crate::evidence::Improvement;
use crate::library::{Author, FaultLabel, Grip, LabelState, Misses};

fn seen(fault: &str, severity: f64) -> OpenFault {
    OpenFault {
        label: FaultLabel {
            fault: fault.to_owned(),
            state: LabelState::Suspected,
            severity,
            by: Author::Program,
            note: None,
        },
        improvement: None,
        sight: Sight::Unknown,
        chance: None,
    }
}

fn by_coach(fault: &str, severity: f64, state: LabelState) -> OpenFault {
    let mut seen = seen(fault, severity);
    seen.label.state = state;
    seen.label.by = Author::Coach("bo".to_owned());
    seen
}

fn improvement(improved: f64, players: usize) -> Option<Improvement> {
    let spread = 0.8 / (players as f64).sqrt();
    Some(Improvement {
        improved,
        low: (improved - spread).max(0.0),
        high: (improved + spread).min(1.0),
        players,
        effective: players as f64,
    })
}

fn order(seen: &[OpenFault], setting: &Circumstances<'_>) -> Vec<String> {
    weigh(Catalogue::builtin(), seen, setting).order.into_iter().map(|one| one.fault).collect()
}

fn first(seen: &[OpenFault], setting: &Circumstances<'_>) -> Judged {
    weigh(Catalogue::builtin(), seen, setting).order.remove(0)
}

#[test]
fn nothing_seen_nothing_judged() {
    let judgement = weigh(Catalogue::builtin(), &[], &Circumstances::default());
    assert!(judgement.order.is_empty() && judgement.second.is_none());
    assert_eq!((judgement.chosen, judgement.program_first), (Chosen::Program, None));
}

#[test]
fn the_stronger_of_equals_comes_first_whatever_the_order_given() {
    let two = [seen("short_finish", 0.5), seen("shallow_leg_drive", 0.9)];
    assert_eq!(order(&two, &Circumstances::default()), ["shallow_leg_drive", "short_finish"]);
    let two = [two[1].clone(), two[0].clone()];
    assert_eq!(order(&two, &Circumstances::default()), ["shallow_leg_drive", "short_finish"]);
}

/// A tossing arm that falls away early lets the trunk open early: common practice, no source.
#[test]
fn what_commonly_causes_another_comes_first_if_it_is_clearly_there() {
    let trunk = seen("trunk_opens_early", 0.8);
    let arm = |severity| seen("tossing_arm_drops_early", severity);
    let judged = first(&[trunk.clone(), arm(0.5)], &Circumstances::default());
    assert_eq!(judged.fault, "tossing_arm_drops_early");
    assert!(judged.why.contains("commonly leads to something else we saw: "), "{}", judged.why);
    let barely = order(&[trunk.clone(), arm(0.2)], &Circumstances::default());
    assert_eq!(barely[0], "trunk_opens_early");
    // Only in the practice swing: nothing the serve's fault can follow from.
    let mut swing = arm(0.5);
    swing.sight = Sight::OnlySwing;
    assert_eq!(order(&[trunk, swing], &Circumstances::default())[0], "trunk_opens_early");
}

/// A heel pad towards bevel 1 hinders the outward turn after contact: common practice, no source.
#[test]
fn the_grip_lies_upstream_of_the_turn_and_is_asked_for() {
    let turn = seen("no_turn_after_contact", 0.9);
    let asked = first(std::slice::from_ref(&turn), &Circumstances::default());
    assert!(asked.reasons.iter().any(|r| r.starts_with("Not asked yet")), "{:?}", asked.reasons);
    let grip = Some(Grip { index_knuckle: Some(2), heel_pad: Some(2) });
    let answered =
        first(std::slice::from_ref(&turn), &Circumstances { grip, ..Circumstances::default() });
    assert!(!answered.reasons.iter().any(|r| r.starts_with("Not asked yet")));
    let both = [turn, seen("grip_towards_bevel_1", 0.6)];
    assert_eq!(order(&both, &Circumstances::default())[0], "grip_towards_bevel_1");
}

/// An arm that drops early sends balls into the net: common practice, no source.
#[test]
fn most_misses_in_the_net_speak_for_what_sends_them_there() {
    let two = [seen("tossing_arm_drops_early", 0.6), seen("lumbar_arch", 0.8)];
    let misses = |net, long, wide| Circumstances {
        misses: Some(Misses { net, long, wide }),
        ..Circumstances::default()
    };
    let net = first(&two, &misses(7, 2, 1));
    assert_eq!(net.fault, "tossing_arm_drops_early");
    assert!(net.why.contains("7 of 10 misses went into the net"), "{}", net.why);
    assert_eq!(first(&two, &misses(1, 8, 1)).fault, "lumbar_arch");
    let weight = |setting: &Circumstances<'_>| {
        weigh(Catalogue::builtin(), &two[..1], setting).order[0].weight
    };
    let plain = weight(&Circumstances::default());
    assert!(weight(&misses(7, 2, 1)) > plain);
    // Three balls say nothing, nor does an even spread.
    assert_eq!(weight(&misses(3, 0, 0)), plain);
    assert_eq!(weight(&misses(4, 2, 2)), plain);
}

#[test]
fn load_weighs_more_in_a_junior() {
    let two = [seen("lumbar_arch", 0.6), seen("shallow_leg_drive", 0.5)];
    let ratio = |age| {
        let judged =
            weigh(Catalogue::builtin(), &two, &Circumstances { age, ..Circumstances::default() });
        let weight = |id: &str| judged.order.iter().find(|one| one.fault == id).unwrap().weight;
        weight("lumbar_arch") / weight("shallow_leg_drive")
    };
    assert!(ratio(Age::Junior) > ratio(Age::Adult));
    assert_eq!(ratio(Age::Unknown), ratio(Age::Junior), "who is not known to be grown up is not");
    let junior = Circumstances { age: Age::Junior, ..Circumstances::default() };
    let reasons = first(&[seen("lumbar_arch", 0.6)], &junior).reasons.join(" ");
    assert!(reasons.contains("load counts for more in a junior"), "{reasons}");
    let reasons = first(&[seen("lumbar_arch", 0.6)], &Circumstances::default()).reasons.join(" ");
    assert!(reasons.contains("the age is not known, so load counts as in a junior"), "{reasons}");
}

#[test]
fn a_suspicion_weighs_by_its_chance_and_a_coachs_word_by_itself() {
    let setting = Circumstances::default();
    let likely = |chance, one: OpenFault| {
        let one = OpenFault { chance: Some(chance), ..one };
        weigh(Catalogue::builtin(), &[one], &setting).order.remove(0)
    };
    let suspected = |chance| likely(chance, seen("rushed_tempo", 0.7));
    let (sure, less) = (suspected(1.0), suspected(0.8));
    assert!((less.weight / sure.weight - 0.8).abs() < 1e-9, "{} {}", less.weight, sure.weight);
    assert!(less.reasons[0].contains("8 in 10"), "{:?}", less.reasons);
    let confirmed =
        |chance| likely(chance, by_coach("rushed_tempo", 0.7, LabelState::Confirmed)).weight;
    assert_eq!(confirmed(0.2), confirmed(1.0));
}

#[test]
fn what_past_players_cured_comes_first_but_few_players_say_little() {
    let weight = |improvement| {
        let seen = OpenFault { improvement, ..seen("rushed_tempo", 0.6) };
        weigh(Catalogue::builtin(), &[seen], &Circumstances::default()).order[0].weight
    };
    let (none, many, few) =
        (weight(None), weight(improvement(0.9, 40)), weight(improvement(0.9, 4)));
    assert!(none < few && few < many, "{none} {few} {many}");
    assert_eq!(weight(improvement(0.9, 2)), none, "what is not told does not weigh");
    assert!(weight(improvement(0.1, 40)) < none);
    let seen = OpenFault { improvement: improvement(0.9, 40), ..seen("rushed_tempo", 0.6) };
    let why = first(&[seen], &Circumstances::default()).why;
    assert!(why.contains("Of 40 players who worked on it, most got clearly better."), "{why}");
}

#[test]
fn a_coachs_word_outweighs_a_like_suspicion_and_a_choice_outranks_all() {
    let setting = Circumstances::default();
    let strong = seen("shallow_leg_drive", 0.9);
    let suspected = seen("rushed_tempo", 0.7);
    let confirmed = by_coach("rushed_tempo", 0.7, LabelState::Confirmed);
    let weight = |one: &OpenFault| {
        weigh(Catalogue::builtin(), std::slice::from_ref(one), &setting).order[0].weight
    };
    assert!(weight(&confirmed) > weight(&suspected));

    let chosen = by_coach("short_finish", 0.1, LabelState::Limiting);
    let judged = weigh(Catalogue::builtin(), &[strong.clone(), chosen.clone()], &setting);
    assert_eq!((judged.order[0].fault.as_str(), judged.chosen), ("short_finish", Chosen::Coach));
    assert_eq!(judged.program_first.as_deref(), Some("Shallow leg drive"));
    // A plan is a choice too, but the label is the later word.
    let planned = Circumstances { planned: Some("rushed_tempo"), ..setting };
    let judged = weigh(Catalogue::builtin(), &[strong.clone(), suspected.clone()], &planned);
    assert_eq!((judged.order[0].fault.as_str(), judged.chosen), ("rushed_tempo", Chosen::Plan));
    let judged = weigh(Catalogue::builtin(), &[strong, suspected, chosen], &planned);
    assert_eq!((judged.order[0].fault.as_str(), judged.chosen), ("short_finish", Chosen::Coach));
}

#[test]
fn a_second_only_where_the_plans_go_together() {
    let catalogue = Catalogue::builtin();
    let second = |faults: &[(&str, f64)]| {
        let seen: Vec<OpenFault> =
            faults.iter().map(|&(id, severity)| seen(id, severity)).collect();
        let judged = weigh(catalogue, &seen, &Circumstances::default());
        judged.second.map(|at| judged.order[at].fault.clone())
    };
    let goes = |a: &str, b: &str| catalogue.go_together(a, b) == Some(true);
    assert!(goes("tossing_arm_drops_early", "shallow_leg_drive"));
    let pair = [("tossing_arm_drops_early", 0.9), ("shallow_leg_drive", 0.6)];
    assert!(second(&pair).is_some());
    assert_eq!(second(&[pair[0], ("shallow_leg_drive", 0.3)]), None, "too weak for a plan");
    // The catalogue has them together, but the one commonly causes the other: wait for the cure.
    assert!(goes("tossing_arm_drops_early", "trunk_opens_early"));
    assert_eq!(second(&[pair[0], ("trunk_opens_early", 0.8)]), None);
    assert_eq!(catalogue.opposed("rushed_tempo", "pause_in_rhythm"), Some(true));
    assert_eq!(second(&[("rushed_tempo", 0.9), ("pause_in_rhythm", 0.9)]), None);
}

#[test]
fn the_ball_decides_which_plan() {
    let sight = |sight| OpenFault { sight, ..seen("shallow_leg_drive", 0.6) };
    let told = |one: Sight| first(&[sight(one)], &Circumstances::default());
    assert!(told(Sight::OnlyBall).why.contains("without the ball does not show it"));
    assert!(told(Sight::Both).why.contains("practice swings too"));
    assert!(told(Sight::Both).weight > told(Sight::OnlyBall).weight);
    assert!(told(Sight::OnlySwing).weight < told(Sight::OnlyBall).weight);
    assert_eq!(Sight::of(Some(false), Some(true)), Sight::OnlyBall);
    assert_eq!(Sight::of(None, Some(true)), Sight::Unknown, "not judged is not absent");

    let catalogue = Catalogue::builtin();
    let mut differ = 0;
    for fault in catalogue.faults() {
        let names = |sight: Sight| -> Vec<&str> {
            sight.drills(catalogue, &fault.id).iter().map(|drill| drill.id.as_str()).collect()
        };
        let (both, ball) = (names(Sight::Both), names(Sight::OnlyBall));
        let sorted = |mut names: Vec<&str>| {
            names.sort_unstable();
            names.join(" ")
        };
        assert_eq!(sorted(both.clone()), sorted(ball.clone()), "{}", fault.id);
        differ += usize::from(both.first() != ball.first());
    }
    assert!(differ >= 5, "only {differ} faults have another first drill");
}

#[test]
fn a_fault_the_catalogue_does_not_know_is_kept_under_its_id() {
    let both = [seen("from_elsewhere", 0.9), seen("shallow_leg_drive", 0.5)];
    let judged = weigh(Catalogue::builtin(), &both, &Circumstances::default());
    let foreign = judged.order.iter().find(|one| one.fault == "from_elsewhere").unwrap();
    assert_eq!(foreign.name, "from_elsewhere");
    assert_eq!(judged.second, None);
}
