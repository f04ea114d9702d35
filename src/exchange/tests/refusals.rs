//! Packs that are refused, and what is refused in them.

use super::*;

fn refusal(bytes: &[u8]) -> String {
    let said = opened(bytes).unwrap_err().to_string();
    assert!(!said.contains('\n') && !said.ends_with('.'), "{said}");
    said
}

#[test]
fn a_truncated_pack_is_refused_wherever_it_is_cut() {
    let bytes = sample();
    assert!(opened(&bytes).is_ok());
    for cut in (0..bytes.len()).step_by(bytes.len() / 40).chain([bytes.len() - 1]) {
        let said = refusal(&bytes[..cut]);
        assert!(said.starts_with("not a whole pack"), "{cut}: {said}");
    }
    assert_eq!(
        refusal(b"no zip at all"),
        "not a whole pack: it is cut off, or another kind of file; ask the sender for the file again"
    );
}

#[test]
fn a_tampered_pack_is_refused() {
    let bytes = sample();
    let (manifest, lines) = parts(&bytes);
    let text = String::from_utf8(lines.clone()).unwrap();
    let changed = text.replace("141.5", "161.5").into_bytes();
    assert_ne!(changed, lines);
    let head =
        serde_json::to_vec(&serde_json::from_value::<Manifest>(manifest.clone()).unwrap()).unwrap();
    let said = refusal(&zipped(&[(MANIFEST, &head), (CASES, &changed)]).unwrap());
    assert!(said.starts_with("cases.jsonl was changed"), "{said}");
    let mut other = manifest.clone();
    other["academy"] = "South".into();
    let head = serde_json::to_vec(&other).unwrap();
    let said = refusal(&zipped(&[(MANIFEST, &head), (CASES, &lines)]).unwrap());
    assert!(said.starts_with("manifest.json was changed"), "{said}");
    // Flipped bits anywhere give an error or the very same pack, never another one.
    let whole = opened(&bytes).unwrap();
    for at in (0..bytes.len()).step_by(bytes.len() / 60) {
        let mut bad = bytes.clone();
        bad[at] ^= 0x10;
        if let Ok(pack) = opened(&bad) {
            assert_eq!(pack, whole, "byte {at}");
        }
    }
}

#[test]
fn a_pack_that_breaks_a_rule_is_refused_though_its_hashes_are_right() {
    let (manifest, lines) = parts(&sample());
    let text = String::from_utf8(lines.clone()).unwrap();
    assert!(opened(&forged(&manifest, &lines)).is_ok());
    let curve = text.split("\"curve\":\"").nth(1).unwrap()[..16].to_owned();
    let details = text.split("\"details\":\"").nth(1).unwrap()[..40].to_owned();
    let uid = text.split("\"recording\":{\"player\":\"").nth(1).unwrap()[..64].to_owned();
    let (zeros, other) = ("0".repeat(40), "f".repeat(64));
    for (from, to, said) in [
        ("\"severity\":0.4", "\"severity\":4", "severity: '4'; 0 to 1"),
        ("away-", "anna-", "by: 'anna-"),
        ("\"speed_kmh\":141.5", "\"speed_kmh\":1415", "speed_kmh"),
        ("\"rate_hz\":120.0", "\"rate_hz\":0.0", "rate_hz: '0'; above 0"),
        (curve.as_str(), "0000c07f0000c07f", "frame 0, channel 0 is not finite"),
        (curve.as_str(), "00", "serve: 4841 bytes, expected 4848"),
        (details.as_str(), zeros.as_str(), "serve: starts with"),
        (uid.as_str(), other.as_str(), "its player is not in the pack"),
        ("\"hand\":\"left\"", "\"hand\":\"left\",\"name\":\"Ann\"", "unknown field `name`"),
    ] {
        let at = if from == uid { text.find("{\"recording\"").unwrap() } else { 0 };
        let changed = format!("{}{}", &text[..at], text[at..].replacen(from, to, 1));
        assert_ne!(changed, text, "{from}");
        let told = refusal(&forged(&manifest, changed.as_bytes()));
        assert!(told.contains(said) && told.starts_with("cases.jsonl, line"), "{from}: {told}");
    }
    let twice = format!("{text}{}\n", text.lines().next().unwrap());
    let told = refusal(&forged(&manifest, twice.as_bytes()));
    assert!(told.contains("the player is in it twice"), "{told}");
    let fewer: String = text.lines().take(3).map(|line| format!("{line}\n")).collect();
    let told = refusal(&forged(&manifest, fewer.as_bytes()));
    assert!(told.contains("0 recordings, 0 serves, expected 1 players"), "{told}");
}

/// `golden/pack-2.zip` was made by this program, 0.1.0, before packs knew the end of a plan: `add` of
/// `demo-data/new-serve.c3d` (invented), `label`, `plan`, `follow-up`, `share` with words.
#[test]
fn a_pack_of_format_2_is_read_unchanged() {
    let pack = opened(include_bytes!("../golden/pack-2.zip")).unwrap();
    let mut to = room();
    let brought = take(&mut to.library, &pack);
    assert_eq!((brought.players, brought.cases, brought.serves), (1, 1, 1));
    let case = to.library.case(CaseId(1)).unwrap();
    assert_eq!(case.words().as_deref(), Some("waits too long"));
    let [plan] = case.plans.as_slice() else { panic!("{:?}", case.plans) };
    assert_eq!((plan.limiting_fault.as_str(), &plan.ended), ("shallow_leg_drive", &None));
    assert_eq!((plan.start, plan.review_on), (date(2026, 3, 4), Some(date(2026, 4, 10))));
    assert_eq!(case.follow_ups[0].ball.speed_kmh, Some(148.0));
    // The same items read and written again are the same bytes: the same versions.
    let (_, lines) = parts(include_bytes!("../golden/pack-2.zip"));
    let again: Vec<u8> = pack
        .items
        .iter()
        .flat_map(|item| [item.line().unwrap(), b"\n".to_vec()].concat())
        .collect();
    assert!(again == lines, "an item of format 2 is written otherwise now");
    sound(&mut to.library);
}

#[test]
fn a_plan_travels_with_its_end() {
    let (mut from, mut to) = (room(), room());
    stocked(&mut from.library);
    let old = from.library.case(CaseId(1)).unwrap().plans[0].clone();
    let by = Author::coach("anna").unwrap();
    let first = opened(&packed_at(&from.library, true, 0, "").bytes).unwrap();
    take(&mut to.library, &first);
    assert_eq!(to.library.case(CaseId(1)).unwrap().plans[0].ended, None);
    let next = plan(CaseId(1), date(2026, 6, 1));
    from.library.write(|w| w.replace_plan(old.id, &next, &by, Some("reason quoll"))).unwrap();
    for (minute, with_notes) in [(5, true), (9, false)] {
        let pack = packed_at(&from.library, with_notes, minute, "");
        take(&mut to.library, &opened(&pack.bytes).unwrap());
        let plans = to.library.case(CaseId(1)).unwrap().plans;
        let end = plans[0].ended.as_ref().unwrap();
        assert_eq!((end.day, end.how), (date(2026, 6, 1), Ending::Replaced(plans[1].id)));
        assert!(end.by.as_str().starts_with("away-"), "{end:?}");
        assert_eq!(end.reason.as_deref(), with_notes.then_some("reason quoll"));
    }
    // An end somebody here gives a plan that came stays, whatever its sender says.
    let own = PlanEnd {
        day: date(2026, 7, 1),
        how: Ending::Withdrawn,
        by: Author::coach("carl").unwrap(),
        reason: None,
    };
    let second = to.library.case(CaseId(1)).unwrap().plans[1].id;
    to.library.write(|w| w.end_plan(second, &own)).unwrap();
    take(&mut to.library, &opened(&packed_at(&from.library, true, 20, "").bytes).unwrap());
    assert_eq!(to.library.case(CaseId(1)).unwrap().plans[1].ended, Some(own));
    sound(&mut to.library);
}

#[test]
fn another_format_is_named() {
    let (mut manifest, lines) = parts(&sample());
    for earlier in [1, 2, 3] {
        manifest["format"] = earlier.into();
        assert!(opened(&forged(&manifest, &lines)).is_ok(), "packs of format {earlier} are read");
    }
    manifest["format"] = 5.into();
    let head = serde_json::to_vec(&manifest).unwrap();
    let said = refusal(&zipped(&[(MANIFEST, &head), (CASES, &lines)]).unwrap());
    assert!(said.starts_with("pack of format 5, this program reads formats 1 to 4"), "{said}");
}

#[test]
fn an_entry_that_would_leave_its_folder_is_refused() {
    let bytes = sample();
    let (manifest, lines) = parts(&bytes);
    let head = serde_json::to_vec(&manifest).unwrap();
    for name in ["../cases.jsonl", "/etc/cases.jsonl", "..\\cases.jsonl", "sub/cases.jsonl"] {
        let said = refusal(&zipped(&[(MANIFEST, &head), (name, &lines)]).unwrap());
        assert!(said.starts_with("holds the entries") && said.contains("(2 in all)"), "{said}");
        let all = [(MANIFEST, &head[..]), (CASES, &lines[..]), (name, &b"x"[..])];
        assert!(refusal(&zipped(&all).unwrap()).contains("(3 in all)"));
    }
}

#[test]
fn long_and_many_names_are_refused_in_few_words() {
    let (mut manifest, lines) = parts(&sample());
    let head = serde_json::to_vec(&manifest).unwrap();
    let long = "\u{1b}".repeat(30_000);
    let said = refusal(&zipped(&[(MANIFEST, &head), (&long, &lines)]).unwrap());
    assert!(said.starts_with("holds the entries") && said.len() < 1000, "{}", said.len());
    assert!(!said.contains('\u{1b}'), "{said}");

    for n in 0_u32..5000 {
        // Names that inflate to no suspicious size.
        let name = blake3::hash(&n.to_le_bytes()).to_hex().to_string();
        manifest["entries"][name] = manifest["entries"][CASES].clone();
    }
    let said = refusal(&forged(&manifest, &lines));
    assert!(said.contains("(5001 in all)") && said.len() < 1000, "{said}");
}

#[test]
fn a_bomb_is_stopped_while_it_inflates() {
    let bytes = sample();
    let (manifest, lines) = parts(&bytes);
    let zeros = vec![b' '; 8 << 20];
    let said = refusal(&forged(&manifest, &zeros));
    assert!(said.contains("cases.jsonl inflates beyond 50 times the size of the file"), "{said}");
    let head = serde_json::to_vec(&manifest).unwrap();
    let said = refusal(&zipped(&[(MANIFEST, &zeros), (CASES, &lines)]).unwrap());
    assert!(said.contains("manifest.json inflates beyond"), "{said}");
    let small = zipped(&[(MANIFEST, &head), (CASES, &lines)]).unwrap();
    let said = open_within(&small, 1000).unwrap_err().to_string();
    assert!(said.contains("cases.jsonl inflates beyond 1000 bytes"), "{said}");
}
