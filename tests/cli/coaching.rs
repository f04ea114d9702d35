//! What a coach records: faults, the limiting fault, plans with their cautions.

use crate::desk::Desk;

#[test]
fn judgement_is_kept_and_shown() {
    let desk = Desk::stocked();
    let (_, err) = desk.expect(2, &["label", "c1", "--add", "bad_luck"]);
    assert!(err.contains("bad_luck") && err.contains("tossing_arm_drops_early"), "{err}");
    let fault = "tossing_arm_drops_early";
    desk.expect(
        0,
        &["label", "c1", "--add", "tossing_arm_drops_early=0.8", "--heel-pad", "2", "--net", "7"],
    );
    let drills: Vec<String> = precedent::catalogue::Catalogue::builtin()
        .drills_for(fault)
        .iter()
        .map(|drill| drill.id.clone())
        .collect();
    let dose = format!("{}=2 x 10", drills[0]);
    let (plan, _) =
        desk.expect(0, &["plan", "c1", "--fault", fault, "--drill", &dose, "--coach", "ash"]);
    assert_eq!(plan.trim(), "n1");
    // A plan that is refused says so in one line, without the cautions of one that stands.
    for (drills, rule) in [
        (&["--drill", &drills[0], "--review-on", "2026-03-01"][..], "not before the start"),
        (&["--drill", &drills[0], "--drill", &drills[0]], "is named twice"),
    ] {
        let (_, err) = desk.expect(2, &[&["plan", "c2", "--fault", fault], drills].concat());
        assert!(err.lines().count() == 1 && err.contains(rule), "{err}");
    }
    let (_, err) = desk.expect(2, &["follow-up", "n1", "--date", "2026-04-14", "--serve", "s1"]);
    assert!(err.contains("a session after the plan's own"), "{err}");
    desk.expect(0, &["follow-up", "n1", "--date", "2026-04-14", "--rating", "1", "--speed", "131"]);
    let (_, err) = desk.expect(2, &["follow-up", "n1", "--date", "2025-01-01", "--rating", "1"]);
    assert!(err.contains("2026-03-14"), "{err}");

    let like = desk.precedents(&["like", "s2", "--json", "--where", &format!("fault={fault}")]);
    assert_eq!(like.len(), 1);
    assert_eq!(like[0]["player"], "sanderling");
    assert_eq!(like[0]["plans"][0]["limiting_fault"], fault);
    assert_eq!(like[0]["outcome"]["rating"], 1);

    let page = desk.at("review.html");
    desk.expect(0, &["review", "s1", "-o", page.to_str().unwrap()]);
    let html = std::fs::read_to_string(&page).unwrap();
    for word in ["Your tossing arm", "2 x 10", "clinician", "<svg"] {
        assert!(html.contains(word), "{word}");
    }
    for outside in ["src=\"http", "href=\"http", "url(http", "@import", "<script"] {
        assert!(!html.contains(outside), "the page reaches outside itself: {outside}");
    }
    assert!(!html.contains("dunlin"), "another player's code in the player's copy");
    desk.expect(0, &["review", "s1", "--for", "coach", "-o", page.to_str().unwrap()]);
    assert!(std::fs::read_to_string(&page).unwrap().contains("dunlin"));
}

/// Whoever prescribes has settled on a fault, label or not; the page must not say otherwise.
#[test]
fn a_plan_alone_names_the_limiting_fault() {
    let desk = Desk::stocked();
    let fault = "shallow_leg_drive";
    let labels = desk.precedents(&["like", "s1", "--json", "-k", "10"]);
    let dunlin = labels.iter().find(|one| one["player"] == "dunlin").unwrap();
    assert!(!dunlin["faults"].to_string().contains(fault), "not labelled: {dunlin}");
    let (case, serve) = (dunlin["case"].as_str().unwrap(), dunlin["serve"].as_str().unwrap());
    desk.expect(0, &["plan", case, "--fault", fault, "--drill", "land_inside"]);
    let page = desk.at("review.html");
    for reader in ["player", "coach"] {
        desk.expect(0, &["review", serve, "--for", reader, "-o", page.to_str().unwrap()]);
        let html = std::fs::read_to_string(&page).unwrap();
        assert!(!html.contains("has not settled"), "{reader}");
        let said = &precedent::catalogue::Catalogue::builtin().fault(fault).unwrap().to_player;
        assert!(html.contains(said.split('\'').next().unwrap()), "{reader}: {said}");
    }
}

/// A coach's choice of the limiting fault changes where the case stands, and the page follows.
#[test]
fn the_coachs_limiting_fault_is_followed() {
    let desk = Desk::stocked();
    let (first, chosen) = ("shallow_leg_drive", "short_finish");
    desk.expect(0, &["label", "c1", "--add", &format!("{first}=0.9"), "--coach", "ash"]);
    desk.expect(0, &["label", "c1", "--add", &format!("{chosen}=0.2"), "--coach", "ash"]);
    let stands = || desk.objects(0, &["label", "c1", "--json"]).remove(0)["judgement"].clone();
    let before = stands();
    assert_eq!(
        (&before["order"][0]["fault"], &before["chosen"]),
        (&first.into(), &"program".into())
    );

    desk.expect(0, &["label", "c1", "--limiting", chosen, "--coach", "ash"]);
    let after = stands();
    assert_eq!((&after["order"][0]["fault"], &after["chosen"]), (&chosen.into(), &"coach".into()));
    assert_eq!(after["program_first"], before["order"][0]["name"]);
    let (out, _) = desk.expect(0, &["label", "c1"]);
    assert!(out.contains(&format!("[{chosen}]; the coach's choice")), "{out}");

    let catalogue = precedent::catalogue::Catalogue::builtin();
    let said = |fault: &str| {
        let text = &catalogue.fault(fault).unwrap().to_player;
        text.split('\'').next().unwrap().to_owned()
    };
    let page = desk.at("review.html");
    desk.expect(0, &["review", "s1", "-o", page.to_str().unwrap()]);
    let html = std::fs::read_to_string(&page).unwrap();
    let at = |fault: &str| html.find(&said(fault));
    assert!(at(chosen).is_some(), "{}", said(chosen));
    assert!(at(first).is_none_or(|first| at(chosen).unwrap() < first), "the choice comes first");
}

/// A drill that makes a fault worse which the case shows is refused in one line, and nothing is kept.
#[test]
fn a_harmful_plan_is_refused_and_stores_nothing() {
    let desk = Desk::stocked();
    let catalogue = precedent::catalogue::Catalogue::builtin();
    let drill = catalogue.drills().find(|drill| !drill.not_for.is_empty()).unwrap();
    let (fault, worse) = (drill.faults[0].as_str(), drill.not_for[0].as_str());
    desk.expect(0, &["label", "c1", "--add", worse, "--coach", "ash"]);
    let before = desk.precedents(&["like", "s2", "--json", "-k", "9"]);
    let plan = ["plan", "c1", "--fault", fault, "--drill", &drill.id, "--coach", "ash"];
    let (out, err) = desk.expect(2, &plan);
    assert_eq!((out.as_str(), err.lines().count()), ("", 1), "{err}");
    for said in [drill.id.as_str(), worse, "worse", &format!("--reject {worse}")] {
        assert!(err.contains(said), "{said}: {err}");
    }
    assert_eq!(desk.precedents(&["like", "s2", "--json", "-k", "9"]), before);
    let (_, err) = desk.expect(2, &["follow-up", "n1", "--date", "2026-04-14", "--rating", "1"]);
    assert!(err.contains("n1"), "no plan was stored: {err}");
}

/// Cautions come with every plan, whatever is kept back.
#[test]
fn a_plan_brings_its_cautions_quiet_or_as_an_object() {
    let desk = Desk::stocked();
    let catalogue = precedent::catalogue::Catalogue::builtin();
    let plan = ["plan", "c1", "--fault", "shallow_leg_drive", "--drill", "land_inside"];
    let (_, err) = desk.expect(0, &[&plan[..], &["--quiet"]].concat());
    let object = desk.objects(0, &[&plan[..], &["--json"]].concat()).remove(0);
    let listed: Vec<&str> =
        object["cautions"].as_array().unwrap().iter().map(|one| one.as_str().unwrap()).collect();
    assert!(object["plan"].as_str().unwrap().starts_with('n'), "{object}");
    let own = &catalogue.drill("land_inside").unwrap().cautions;
    assert!(!own.is_empty());
    for caution in own.iter().map(String::as_str).chain(catalogue.general_cautions()) {
        assert!(err.contains(caution), "{caution}: {err}");
        assert!(listed.iter().any(|one| one.ends_with(caution)), "{caution}: {object}");
    }
}
