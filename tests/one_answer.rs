//! "Did it work?" has one answer: the review, the progress, the dots, the squad's trends, whom to see
//! next and `like`, on pages and as JSON, say the same of the same plan and the same days.
//!
//! Random libraries of invented players in which every number is known: several sources, views and
//! serve types, practice swings, one to five reviews, up to two plans each, follow-ups with and
//! without serves, days and plans that tie. What must come out is worked out here once more, dull and
//! on its own, from the numbers that were planted ([`planted`]); the program's answers are held
//! against that and so against each other. Then the same on the invented academy, where the answers
//! are held against each other.

#[path = "support/skip.rs"]
mod skip;
mod support {
    pub(crate) mod desk;
    pub(crate) mod planted;
}

use std::collections::BTreeMap;

use jiff::civil::{Date, date};
use precedent::catalogue::Catalogue;
use precedent::evidence::Evidence;
use precedent::find::Filter;
use precedent::library::{CaseId, Library, PlanId, ServeId};
use precedent::looks::{Snapshot, Verdict};
use precedent::pages::{self, Reviewed, Wanted};
use precedent::work::Watch;
use serde_json::Value;

use support::desk::Desk;
use support::planted::{Came, Planted, Player, sign};

/// The day the reviews are made for: after everything that is planted.
const TODAY: Date = date(2027, 6, 1);

/// Verdict, and before, after and detectable change where there are any.
type Answer = (String, Option<[f64; 3]>);

fn answer(came: &Came) -> Answer {
    (came.verdict.to_owned(), came.moved)
}

fn close(a: &Answer, b: &Answer) -> bool {
    a.0 == b.0
        && match (a.1, b.1) {
            (Some(a), Some(b)) => a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-9),
            (None, None) => true,
            _ => false,
        }
}

fn of_verdict(verdict: &Verdict) -> Answer {
    let moved = verdict.change().map(|c| [c.before.value, c.after.value, c.detectable]);
    (verdict.name().to_owned(), moved)
}

fn numbers(object: &Value) -> Option<[f64; 3]> {
    let number = |name: &str| object[name].as_f64();
    Some([number("before")?, number("after")?, number("detectable")?])
}

/// Where two outputs differ; empty if they agree on every plan both tell of.
fn differences(
    what: &str,
    wanted: &BTreeMap<PlanId, Answer>,
    told: &[(PlanId, Answer)],
) -> Vec<String> {
    told.iter()
        .filter(|(plan, answer)| !close(answer, &wanted[plan]))
        .map(|(plan, answer)| format!("{what}: {plan} {answer:?}, wanted {:?}", wanted[plan]))
        .collect()
}

/// What `progress --json` says of every plan of a player; each plan is decided at one step.
fn of_progress(desk: &Desk, player: &str) -> Vec<(PlanId, Answer)> {
    let output = desk.run(&["progress", player, "--json"]);
    let text = String::from_utf8(output.stdout).unwrap();
    let steps = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    steps
        .filter(|step| step["verdict"].is_string())
        .map(|step| {
            let plan = step["plan"].as_str().unwrap().parse().unwrap();
            (plan, (step["verdict"].as_str().unwrap().to_owned(), numbers(&step["measure"])))
        })
        .collect()
}

/// What `like --json` says of the plans of all precedents of a serve.
fn of_like(desk: &Desk, serve: ServeId) -> Vec<(PlanId, Answer)> {
    let lines = desk.precedents(&["like", &serve.to_string(), "-k", "200", "--json"]);
    let came = lines.iter().flat_map(|line| line["came"].as_array().unwrap().clone());
    came.map(|came| {
        let plan = came["plan"].as_str().unwrap().parse().unwrap();
        (plan, (came["verdict"].as_str().unwrap().to_owned(), numbers(&came)))
    })
    .collect()
}

/// What a review's precedents say came of their plans.
fn of_review(library: &Library, serve: ServeId) -> Vec<(PlanId, Answer)> {
    let (serve, on) = (Reviewed::Stored(serve), TODAY);
    let wanted = Wanted { serve, k: 50, filter: Filter::default(), on };
    let data = pages::gather(library, Catalogue::builtin(), &wanted, &Watch::default()).unwrap();
    let mut told = Vec::new();
    for precedent in &data.precedents.found {
        let case = library.case(precedent.case.parse::<CaseId>().unwrap()).unwrap();
        assert_eq!(case.plans.len(), precedent.outcomes.len(), "{}", precedent.case);
        for (plan, outcome) in case.plans.iter().zip(&precedent.outcomes) {
            told.push((plan.id, of_verdict(&outcome.verdict)));
        }
    }
    told
}

/// Rows of all plans with a drill, sorted: (player, start, change, detectable), larger is better.
fn rows(evidence: &Evidence, fault: &str) -> Vec<(u64, [f64; 3])> {
    let number = evidence.faults.iter().position(|id| id == fault).unwrap();
    let mut rows: Vec<(u64, [f64; 3])> = evidence
        .rows
        .iter()
        .filter(|row| row.fault == number && !row.drills.is_empty())
        .map(|row| (row.player, [row.start, row.change, row.detectable]))
        .collect();
    rows.sort_by(|a, b| a.partial_cmp(b).unwrap());
    rows
}

/// The verdicts of planted plans against rows and dots of the evidence.
fn check_evidence(library: &Library, planted: &Planted, wanted: &BTreeMap<PlanId, Answer>) {
    let evidence = Evidence::gather_among(
        &Snapshot::new(library),
        Catalogue::builtin(),
        |_, _| true,
        &Watch::default(),
    )
    .unwrap();
    for fault in support::planted::FAULTS.iter().filter(|fault| sign(fault).is_some()) {
        let sign = sign(fault).unwrap();
        let mut expected = Vec::new();
        let mut dots: BTreeMap<u64, Vec<(f64, Option<bool>)>> = BTreeMap::new();
        let mut counts = BTreeMap::new();
        for player in &planted.players {
            for plan in player.plans().filter(|plan| plan.fault == *fault) {
                let (verdict, moved) = &wanted[&plan.id];
                *counts.entry(verdict.as_str()).or_insert(0_usize) += 1;
                let Some([before, after, detectable]) = *moved else { continue };
                let number = player.id.0.cast_unsigned();
                let change = sign * (after - before);
                expected.push((number, [sign * before, change, detectable]));
                let better = match verdict.as_str() {
                    "better" => Some(true),
                    "worse" => Some(false),
                    _ => None,
                };
                dots.entry(number).or_default().push((change, better));
            }
        }
        expected.sort_by(|a, b| a.partial_cmp(b).unwrap());
        let found = rows(&evidence, fault);
        assert_eq!(found.len(), expected.len(), "{fault}: {found:?} {expected:?}");
        for (one, other) in found.iter().zip(&expected) {
            let near = one.1.iter().zip(other.1).all(|(a, b)| (a - b).abs() < 1e-9);
            assert!(one.0 == other.0 && near, "{fault}: row {one:?}, wanted {other:?}");
        }
        let followings = evidence.followings(fault);
        let count = |verdict: &str| counts.get(verdict).copied().unwrap_or_default();
        assert_eq!(followings.missing, count("not_yet"), "{fault}");
        assert_eq!(followings.not_comparable, count("not_comparable"), "{fault}");
        assert_eq!(
            followings.followed_up + followings.seen_again,
            count("better") + count("worse") + count("no_clear_change"),
            "{fault}"
        );
        // One drill for each fault here: its dots are the players.
        let Some(worked) = evidence.worked(Catalogue::builtin(), fault) else { continue };
        let Some(drill) = worked.drills.first().filter(|drill| drill.players > 0) else { continue };
        let drawn: Vec<_> = drill.changes.iter().zip(&drill.better).collect();
        assert_eq!(drawn.len(), dots.len(), "{fault}: one dot a player");
        for (change, better) in dots.values().filter(|own| own.len() == 1).map(|own| own[0]) {
            let found =
                drawn.iter().any(|(by, said)| (*by - change).abs() < 1e-9 && **said == better);
            assert!(found, "{fault}: no dot of {change} that is {better:?} in {drawn:?}");
        }
    }
}

/// Whom to see next because a standing fault got worse: (player, fault).
fn seen_worse(lines: &[Value]) -> Vec<(String, String)> {
    let catalogue = Catalogue::builtin();
    let mut worse = Vec::new();
    for line in lines.iter().filter(|line| line["about"] == "see_next") {
        for reason in line["reasons"].as_array().unwrap() {
            if reason["kind"] == "worse" {
                let text = reason["text"].as_str().unwrap();
                let name = text.split(" is getting worse").next().unwrap();
                let fault = catalogue.faults().find(|f| f.name.eq_ignore_ascii_case(name)).unwrap();
                worse.push((line["player"].as_str().unwrap().to_owned(), fault.id.clone()));
            }
        }
    }
    worse.sort();
    worse
}

/// How many of one verdict there are.
fn counted(verdicts: &[&str], wanted: &str) -> usize {
    verdicts.iter().filter(|verdict| **verdict == wanted).count()
}

/// What a squad's verdict should be: players whose measure clearly moved, against tossing a coin.
fn squad_verdict(verdicts: &[&str], tried: usize) -> &'static str {
    let (better, worse) = (counted(verdicts, "better"), counted(verdicts, "worse"));
    if better + worse + counted(verdicts, "no_clear_change") < 5 {
        return "too_little";
    }
    let n = better + worse;
    let ways = |k: usize| (0..k).map(|i| (n - i) as f64 / (i + 1) as f64).product::<f64>();
    let chance = 2.0 * (0..=better.min(worse)).map(ways).sum::<f64>() / 2f64.powi(n as i32);
    match (chance <= 0.1, chance <= 0.1 / tried as f64, better > worse) {
        (false, ..) => "not_clear",
        (_, true, true) => "better",
        (_, true, false) => "worse",
        (_, false, true) => "perhaps_better",
        (_, false, false) => "perhaps_worse",
    }
}

/// Whether faults get better in the squad, for each player and for all, against what was planted;
/// says how many players of each verdict were told.
fn check_squad(lines: &[Value], planted: &Planted) -> BTreeMap<String, usize> {
    let mut told = BTreeMap::new();
    let stood = |fault: &str| planted.players.iter().any(|player| player.ever_had(fault));
    let faults: Vec<&str> =
        support::planted::FAULTS.into_iter().filter(|fault| stood(fault)).collect();
    let found: Vec<&Value> = lines.iter().filter(|line| line["about"] == "fault").collect();
    assert_eq!(found.len(), faults.len());
    for line in found {
        let fault = line["fault"].as_str().unwrap();
        let now = planted.players.iter().filter(|player| player.has(fault)).count();
        assert_eq!(line["now"]["with"], now, "{fault}: players who have it now");
        let had: Vec<&Player> =
            planted.players.iter().filter(|player| player.ever_had(fault)).collect();
        let players = line["moved_players"].as_array().unwrap();
        if sign(fault).is_none() {
            assert_eq!(line["rests_on"], "labels_and_ratings", "{fault}");
            assert!(players.is_empty() && line["better"].is_null(), "{line}");
            continue;
        }
        assert_eq!(line["rests_on"], "measure", "{fault}");
        let wanted: Vec<(&str, Date, Date, Came)> = had
            .iter()
            .filter_map(|player| {
                let (from, to, came) = player.over(fault)?;
                Some((player.code.as_str(), from, to, came))
            })
            .collect();
        assert_eq!(players.len(), wanted.len(), "{fault}");
        for (said, (code, from, to, came)) in players.iter().zip(&wanted) {
            let verdict = said["verdict"].as_str().unwrap().to_owned();
            let context = format!("{fault}, {code}: {said}, wanted {came:?} of {from} to {to}");
            assert!(said["player"] == *code, "{context}");
            assert!(said["from"] == from.to_string() && said["to"] == to.to_string(), "{context}");
            assert!(close(&(verdict.clone(), numbers(said)), &answer(came)), "{context}");
            *told.entry(verdict).or_insert(0) += 1;
        }
        let verdicts: Vec<&str> = wanted.iter().map(|wanted| wanted.3.verdict).collect();
        for verdict in ["better", "worse", "no_clear_change", "not_comparable"] {
            assert_eq!(line[verdict], counted(&verdicts, verdict), "{fault}: {verdict}");
        }
        assert_eq!(line["seen_once"], had.len() - wanted.len(), "{fault}");
        assert_eq!(line["verdict"], squad_verdict(&verdicts, faults.len()), "{fault}");
    }
    told
}

/// The sentence a review of the player's last case writes about its fault since an earlier day.
fn check_sentence(library: &Library, player: &Player) -> bool {
    let Some((day, fault)) = player.judged() else { return false };
    let Some((since, came)) = player.since(player.days.len() - 1, fault) else { return false };
    let Some([before, after, _]) = came.moved else { return false };
    let serve = day.serves[0].id;
    let wanted =
        Wanted { serve: Reviewed::Stored(serve), k: 1, filter: Filter::default(), on: TODAY };
    let data = pages::gather(library, Catalogue::builtin(), &wanted, &Watch::default()).unwrap();
    let sentence = data.progress.unwrap().sentence;
    let word = match came.verdict {
        "better" => "better by",
        "worse" => "worse by",
        _ => "within what chance",
    };
    let day = |date: Date| date.strftime("%-d %b %Y").to_string();
    let context = format!("{}: {sentence}; {before} to {after}, {came:?}", player.code);
    assert!(sentence.contains(&day(since)), "{} is not in {context}", day(since));
    assert!(sentence.contains(word), "'{word}' is not in {context}");
    true
}

#[test]
fn every_output_says_the_same_of_the_same_plan() {
    let (mut told, mut verdicts, mut worse, mut sentences) = (0, BTreeMap::new(), 0, 0);
    let mut squads: BTreeMap<String, usize> = BTreeMap::new();
    for seed in 0..8 {
        let desk = Desk::new();
        let mut library = Library::create(desk.at("library")).unwrap();
        let planted = Planted::into(&mut library, seed);
        let wanted: BTreeMap<PlanId, Answer> = planted
            .players
            .iter()
            .flat_map(|player| player.plans().map(|plan| (plan.id, answer(&player.came(plan)))))
            .collect();
        for (verdict, _) in wanted.values() {
            *verdicts.entry(verdict.clone()).or_insert(0) += 1;
        }
        let mut wrong = Vec::new();
        for player in &planted.players {
            let progress = of_progress(&desk, &player.code);
            assert_eq!(progress.len(), player.plans().count(), "seed {seed}, {}", player.code);
            told += progress.len();
            wrong.extend(differences("progress", &wanted, &progress));
            sentences += usize::from(check_sentence(&library, player));
        }
        for player in &planted.players[..2] {
            let serve = player.days[0].serves[0].id;
            let like = of_like(&desk, serve);
            let review = of_review(&library, serve);
            told += like.len() + review.len();
            wrong.extend(differences("like", &wanted, &like));
            wrong.extend(differences("review", &wanted, &review));
        }
        assert!(wrong.is_empty(), "seed {seed}:\n{}", wrong.join("\n"));
        check_evidence(&library, &planted, &wanted);
        let mut expected = Vec::new();
        for player in &planted.players {
            for fault in &player.days.last().unwrap().standing {
                let since = player.since(player.days.len() - 1, fault);
                if since.is_some_and(|(_, came)| came.verdict == "worse") {
                    expected.push((player.code.clone(), (*fault).to_owned()));
                }
            }
        }
        expected.sort();
        worse += expected.len();
        let squad = desk.objects(0, &["squad", "--json"]);
        assert_eq!(seen_worse(&squad), expected, "seed {seed}");
        for (verdict, count) in check_squad(&squad, &planted) {
            *squads.entry(verdict).or_insert(0) += count;
        }
    }
    // The libraries hold what they are meant to.
    assert!(told > 150 && worse > 2 && sentences > 2, "{told}, {worse}, {sentences}");
    for verdict in ["better", "worse", "no_clear_change", "not_comparable", "not_yet"] {
        assert!(verdicts.get(verdict).is_some_and(|&count| count > 3), "{verdicts:?}");
    }
    for verdict in ["better", "worse", "no_clear_change", "not_comparable"] {
        assert!(squads.get(verdict).is_some_and(|&count| count > 1), "{squads:?}");
    }
}

#[test]
fn the_invented_academy_has_one_answer_too() {
    let desk = Desk::new();
    let mut library = Library::create(desk.at("library")).unwrap();
    let mut scenario = precedent::demo::Scenario::shipped().unwrap();
    scenario.players.truncate(10);
    precedent::demo::build(&mut library, &scenario, &Watch::default()).unwrap();
    let catalogue = Catalogue::builtin();
    let snapshot = Snapshot::new(&library);
    let mut wanted = BTreeMap::new();
    let mut evident: Vec<(u64, [f64; 3])> = Vec::new();
    for player in library.players().unwrap() {
        let progress = of_progress(&desk, &player.code);
        let plans: usize =
            library.cases(Some(player.id)).unwrap().iter().map(|case| case.plans.len()).sum();
        assert_eq!(progress.len(), plans, "{}", player.code);
        wanted.extend(progress);
    }
    let evidence =
        Evidence::gather_among(&snapshot, catalogue, |_, _| true, &Watch::default()).unwrap();
    for case in library.cases(None).unwrap() {
        for plan in &case.plans {
            let fault = catalogue.fault(&plan.limiting_fault).unwrap();
            let (Some(shows), Some([before, after, detectable])) =
                (fault.measures.first(), wanted[&plan.id].1)
            else {
                continue;
            };
            let below = shows.direction == precedent::catalogue::Direction::Below;
            let sign = if below { 1.0 } else { -1.0 };
            let change = sign * (after - before);
            evident.push((case.player.0.cast_unsigned(), [sign * before, change, detectable]));
        }
    }
    let mut found: Vec<(u64, [f64; 3])> = evidence
        .rows
        .iter()
        .filter(|row| !row.drills.is_empty())
        .map(|row| (row.player, [row.start, row.change, row.detectable]))
        .collect();
    let sort = |rows: &mut Vec<(u64, [f64; 3])>| rows.sort_by(|a, b| a.partial_cmp(b).unwrap());
    sort(&mut found);
    sort(&mut evident);
    assert_eq!(found.len(), evident.len());
    for (one, other) in found.iter().zip(&evident) {
        let near = one.1.iter().zip(other.1).all(|(a, b)| (a - b).abs() < 1e-9);
        assert!(one.0 == other.0 && near, "row {one:?}, progress {other:?}");
    }
    let mut told = 0;
    for player in library.players().unwrap().iter().take(2) {
        let serve = library.serves_of(player.id).unwrap()[0];
        let (like, review) = (of_like(&desk, serve), of_review(&library, serve));
        told += like.len() + review.len();
        let wrong = [differences("like", &wanted, &like), differences("review", &wanted, &review)];
        assert!(wrong.concat().is_empty(), "{}", wrong.concat().join("\n"));
    }
    assert!(told > 20 && evident.len() >= 5, "{told} told, {} rows", evident.len());
}

/// The check can fail: a disagreement that is planted is found.
#[test]
fn a_planted_disagreement_is_found() {
    let wanted = BTreeMap::from([(PlanId(1), ("better".to_owned(), Some([40.0, 60.0, 9.0])))]);
    let told = |verdict: &str, moved| vec![(PlanId(1), (verdict.to_owned(), moved))];
    let same = told("better", Some([40.0, 60.0, 9.0]));
    assert!(differences("one", &wanted, &same).is_empty());
    for other in [
        told("no_clear_change", Some([40.0, 60.0, 9.0])),
        told("better", Some([40.0, 60.0, 8.0])),
        told("better", None),
    ] {
        assert_eq!(differences("one", &wanted, &other).len(), 1, "{other:?}");
    }
}
