//! The rest of a coach's month: facts, plans and practice put right, squads, tables, packs, forget.

use precedent::intake::table_template;
use precedent::library::{Ending, ItemId, Level};

use super::uploads::ended;
use super::*;

/// Sends a file, and its id.
#[track_caller]
fn send(page: &Page, kind: &str, name: &str, bytes: &[u8]) -> String {
    let request = page
        .agent
        .post(format!("http://{}/upload/{kind}?name={name}", page.host))
        .header("cookie", &page.cookie)
        .header("origin", format!("http://{}", page.host));
    let answer = Page::answer(request.send(bytes).unwrap());
    let said: serde_json::Value = serde_json::from_str(&answer.body).expect(&answer.body);
    said["id"].as_str().unwrap().to_owned()
}

#[test]
fn everything_recorded_can_be_put_right_and_had_back() {
    let page = Page::entered(Desk::stocked());
    let (case, _) = suspected(&page.library());
    let at = format!("/case/{case}");
    let player = page.library().case(case).unwrap().player;

    // Facts of a player; what is emptied is not known any more.
    let place = format!("/put-right/{player}");
    let code = page.library().player(player).unwrap().code;
    assert!(page.shown(&place).contains(&format!(r#"value="{code}""#)));
    let facts = [
        ("code", &*code),
        ("level", "club"),
        ("stature", "1,71"),
        ("squads", "a; b"),
        ("consent", "share"),
        ("consent_by", "player"),
    ];
    assert_eq!(page.changed(&format!("{place}/amend"), &facts), format!("/player/{player}"));
    let held = page.library().player(player).unwrap();
    assert_eq!((held.level, held.stature_m), (Some(Level::Club), Some(1.71)));
    assert!(held.squads == ["a", "b"] && held.consent.share);
    assert_eq!(held.consent.by, Some(precedent::library::ConsentBy::Player));
    assert!(page.shown(&format!("/player/{player}")).contains("sharing sessions without a name"));
    page.changed(&format!("{place}/amend"), &[("code", &*code)]);
    let held = page.library().player(player).unwrap();
    assert!(held.level.is_none() && held.squads.is_empty() && held.consent.share);
    let shown = page.shown(&place);
    let change = field(&shown, "change").unwrap().into_owned();
    page.changed(&format!("{place}/undo"), &[("change", &change)]);
    assert_eq!(page.library().player(player).unwrap().level, Some(Level::Club));
    assert_eq!(page.post(&format!("{place}/undo"), &[("change", &change)]).status, 422);
    let wrong = page.post(&format!("{place}/amend"), &[("code", &*code), ("stature", "17")]);
    assert!(wrong.status == 422 && wrong.body.contains("Height in metres"), "{}", wrong.body);

    // A plan, practised, put right, ended.
    let plan = [("fault", "low_contact"), ("drill", "over_the_rope"), ("start", "2026-03-16")];
    page.changed(&format!("{at}/plan"), &plan);
    let made = page.library().case(case).unwrap().plans[0].clone();
    let to = format!("/plan/{}/practice", made.id);
    let done = [("day", "2026-03-18"), ("sessions", "2"), ("effort", "6"), ("pain", "2")];
    let asked = page.post(&to, &done);
    assert!(asked.status == 200 && asked.body.contains("where does it hurt"), "{}", asked.body);
    assert!(page.library().practice_of(made.id).unwrap().is_empty());
    let yes = field(&asked.body, "sure").unwrap();
    page.changed(&to, &[&done[..], &[("sure", &*yes)]].concat());
    let much = [("day", "2026-03-19"), ("pain", "6"), ("where", "shoulder")];
    let told = page.post(&to, &much);
    assert!(told.status == 200 && told.body.contains("see a clinician"), "{}", told.body);
    let log = page.library().practice_of(made.id).unwrap();
    assert_eq!((log.len(), log[0].sessions, log[0].effort), (2, 2, Some(6)));
    let shown = page.shown(&at);
    assert!(shown.contains("18 Mar 2026: 2 sessions; effort 6 of 10; pain 2 of 10"), "{shown}");
    let item = format!("/put-right/{}", log[0].id);
    assert!(page.shown(&item).contains("Practice of 18 Mar 2026"));
    page.changed(&format!("{item}/remove"), &[]);
    assert_eq!(page.library().practice_of(made.id).unwrap().len(), 1);
    let shown = page.shown(&item);
    assert!(shown.contains("is here no more"), "{shown}");
    let change = field(&shown, "change").unwrap().into_owned();
    page.changed(&format!("{item}/undo"), &[("change", &change)]);
    assert_eq!(page.library().practice_of(made.id).unwrap().len(), 2);

    let place = format!("/put-right/{}", made.id);
    let shown = plain(&page.shown(&place));
    let catalogue = Catalogue::builtin();
    for caution in catalogue.general_cautions() {
        assert!(shown.contains(caution), "{caution}");
    }
    let amended = [
        ("start", "2026-03-16"),
        ("review_on", "2026-04-20"),
        ("dose-over_the_rope", "2 x 10, two days a week"),
        ("where-over_the_rope", "baseline"),
        ("note", "slower"),
    ];
    page.changed(&format!("{place}/amend"), &amended);
    let held = page.library().plan(made.id).unwrap();
    assert_eq!(held.drills[0].dose, "2 x 10, two days a week");
    assert_eq!(held.review_on, Some(date(2026, 4, 20)));
    let none = page.post(&format!("/plan/{}/end", made.id), &[("how", "withdrawn")]);
    assert!(none.status == 422 && none.body.contains("why"), "{}", none.body);
    let end = [("how", "withdrawn"), ("ended", "2026-03-20"), ("reason", "the shoulder")];
    page.changed(&format!("/plan/{}/end", made.id), &end);
    let ended_how = page.library().plan(made.id).unwrap().ended.unwrap();
    assert_eq!((ended_how.how, ended_how.by.as_str()), (Ending::Withdrawn, "ash"));
    assert!(page.shown(&at).contains("withdrawn 20 Mar 2026: the shoulder"));

    // A recording of somebody else, moved there and back.
    let library = page.library();
    let serve = library.case(case).unwrap().serves[0];
    let recording = library.serve_head(serve).unwrap().recording;
    let other = library.players().unwrap().into_iter().find(|one| one.id != player).unwrap();
    drop(library);
    let place = format!("/put-right/{recording}");
    page.shown(&place);
    let moved = [("player", &*other.code), ("date", "2026-03-20")];
    let answer = page.post(&format!("{place}/move"), &moved);
    assert!(answer.body.contains("has no serves now"), "{}", answer.body);
    assert_eq!(page.library().recording(recording).unwrap().player, other.id);
    let shown = page.shown(&place);
    let change = field(&shown, "change").unwrap().into_owned();
    page.changed(&format!("{place}/undo"), &[("change", &change)]);
    assert_eq!(page.library().recording(recording).unwrap().player, player);
    page.changed(&format!("{place}/amend"), &[("date", "2026-03-14"), ("setting", "match")]);
    let setting = page.library().recording(recording).unwrap().setting;
    assert_eq!(setting, Some(precedent::library::Setting::Match));
    assert!(page.shown(&format!("/put-right/{serve}")).contains("Serve s"));

    // Words, and what hangs on nothing.
    page.changed(&format!("{at}/judge"), &[("note", "by mistake")]);
    let place = format!("/put-right/{case}");
    assert!(page.shown(&place).contains("by mistake"));
    page.changed(&format!("{place}/remove"), &[("note", "1")]);
    assert!(page.library().case(case).unwrap().notes.is_empty());
    for (path, status) in [
        ("/put-right/x1", 404),
        ("/put-right/c99999", 404),
        ("/put-right/p99999/amend", 404),
        ("/put-right/r99999/move", 404),
        ("/put-right/n99999/remove", 404),
        ("/put-right/p1/move", 422),
        ("/put-right/p1/remove", 422),
        ("/plan/n99999/end", 404),
        ("/plan/n99999/practice", 404),
    ] {
        let answer = page.post(path, &[("code", "x"), ("date", "2026-03-15"), ("reason", "x")]);
        let get = path.matches('/').count() == 2;
        let answer = if get { page.get(path) } else { answer };
        assert_eq!(answer.status, status, "{path}: {}", answer.body);
    }
    let item = ItemId::Case(case);
    assert!(page.library().history(item).unwrap().len() > 4);
    page.ended();
}

/// What is much, and what to do about it, is coaching's; here it is asked, kept and said.
#[test]
fn what_no_clip_shows_is_asked_and_much_pain_is_answered() {
    let page = Page::entered(Desk::stocked());
    let (case, _) = suspected(&page.library());
    let judge = format!("/case/{case}/judge");
    let told = [
        ("ache1", "shoulder"),
        ("level1", "6"),
        ("when1", "serving"),
        ("injuries", "ankle, 2024"),
        ("serves_a_week", "300"),
        ("tennis_hours", "7,5"),
        ("attempt", "second"),
        ("court", "ad"),
        ("target", "t"),
        ("double_faults", "4"),
    ];
    let answer = page.post(&judge, &told);
    assert!(answer.status == 200 && answer.body.contains("see a clinician"), "{}", answer.body);
    let held = page.library().check_in(case).unwrap();
    let pain = held.pain.unwrap();
    assert_eq!((pain.len(), pain[0].level, held.serves_a_week), (1, 6, Some(300)));
    assert_eq!((held.tennis_hours, held.double_faults), (Some(7.5), Some(4)));
    assert_eq!(held.by.unwrap().as_str(), "ash");
    let shown = page.shown(&format!("/case/{case}"));
    assert!(shown.contains("shoulder, 6 of 10, while serving"), "{shown}");
    for (fields, word) in [
        (&[("ache1", "shoulder")][..], "how much"),
        (&[("ache1", "shoulder"), ("level1", "3"), ("no_pain", "yes")], "one of the two"),
        (&[("tennis_hours", "9"), ("sport_hours", "3")], "tennis is one of them"),
        (&[("court", "grass")], "From the side"),
    ] {
        let answer = page.post(&judge, fields);
        assert!(answer.status == 422 && answer.body.contains(word), "{word}: {}", answer.body);
    }
    page.ended();
}

#[test]
fn squads_tables_packs_and_the_library() {
    let page = Page::entered(Desk::stocked());
    // Past records: tried first, all or nothing.
    let file = send(&page, "table", "past.csv", table_template().as_bytes());
    let tried = ended(&page, &page.changed("/records", &[("file", &file)])).body;
    // What the template brings is counted in the tests of the table.
    assert!(tried.contains("New: 1 player, 2 sessions, 1 plan, 1 follow-up"), "{tried}");
    assert_eq!(page.library().counts().unwrap().players, 3);
    let store = [("file", &*file), ("keep", "yes")];
    let stored = ended(&page, &page.changed("/records", &store)).body;
    assert!(stored.contains("past.csv is stored."), "{stored}");
    assert_eq!(page.library().counts().unwrap().players, 4);
    let broken = table_template().replacen("2026-", "26-", 1);
    let file = send(&page, "table", "broken.csv", broken.as_bytes());
    let answer = ended(&page, &page.changed("/records", &[("file", &*file), ("keep", "yes")]));
    assert!(answer.status == 422 && answer.body.contains("row 2"), "{}", answer.body);
    assert_eq!(page.get("/records/past-records.csv").body, table_template());

    // A squad's report, in a policy of its own.
    assert!(page.shown("/squads").contains("girls"));
    let work = page.changed("/squads", &[]);
    let shown = ended(&page, &work).body;
    assert!(shown.contains("Report on all players"), "{shown}");
    let document = page.get(&format!("{work}/document"));
    assert!(document.header("content-security-policy").unwrap().ends_with("sandbox"));
    assert!(document.body.contains("sanderling") || document.body.contains("Squad"));

    // Out: nobody agreed to sharing but who says so; looked at first.
    let work = page.changed("/sharing", &[("unlocked", "yes")]);
    assert!(ended(&page, &work).body.contains("Nothing would leave."));
    let player = page.library().player_by_code("knot").unwrap().id;
    page.changed(&format!("/put-right/{player}/amend"), &[("code", "knot"), ("consent", "share")]);
    let differ = page.post("/sharing", &[("passphrase", "one two three four"), ("again", "x")]);
    assert_eq!(differ.status, 422);
    let short = page.post("/sharing", &[("passphrase", "short"), ("again", "short")]);
    assert_eq!(short.status, 422);
    let wanted = [
        ("academy", "North"),
        ("sign", "yes"),
        ("passphrase", "one two three four"),
        ("again", "one two three four"),
    ];
    let work = page.changed("/sharing", &wanted);
    let shown = ended(&page, &work).body;
    assert!(shown.contains("This would leave; nothing has left yet."), "{shown}");
    assert!(shown.contains("1 session of 1 player"), "{shown}");
    let made = page.changed(&format!("{work}/pack"), &[]);
    let shown = ended(&page, &made).body;
    assert!(shown.contains("The pack is made.") && shown.contains("Locked;"), "{shown}");
    let request = page.agent.get(format!("http://{}{made}/file", page.host));
    let response = request.header("cookie", &page.cookie).call().unwrap();
    let pack = response.into_body().into_with_config().limit(1 << 26).read_to_vec().unwrap();
    assert_eq!(page.post(&format!("{work}/pack"), &[]).status, 404);
    // Somebody opens it on a command line: it is a pack of this library.
    let other = Page::entered(Desk::stocked());
    let file = send(&other, "pack", "north.pack", &pack);
    let locked = ended(&other, &other.changed("/sharing/look", &[("file", &file)]));
    assert!(locked.status == 422 && locked.body.contains("passphrase"), "{}", locked.body);
    let open = [("file", &*file), ("passphrase", "one two three four")];
    let work = other.changed("/sharing/look", &open);
    let shown = ended(&other, &work).body;
    assert!(shown.contains("Made by North") && shown.contains("nothing is stored yet"), "{shown}");
    assert_eq!(other.library().packs().unwrap().len(), 0);
    let received = ended(&other, &other.changed(&format!("{work}/pack"), &[])).body;
    assert!(received.contains("The pack is received."), "{received}");
    let packs = other.library().packs().unwrap();
    assert_eq!((packs.len(), packs[0].academy.as_deref()), (1, Some("North")));
    assert_eq!(other.library().counts().unwrap().players, 4);
    other.changed(&format!("/sharing/{}/undo", packs[0].id), &[]);
    assert_eq!(other.library().counts().unwrap().players, 3);
    let file = send(&other, "pack", "none.pack", b"PK and no more");
    let answer = ended(&other, &other.changed("/sharing/look", &[("file", &file)]));
    assert!(answer.status == 422 && answer.body.contains("ot a whole pack"), "{}", answer.body);
    other.ended();

    // The library: checked, and its serves as an archive.
    let shown = ended(&page, &page.changed("/library/check", &[("rebuild", "yes")])).body;
    assert!(shown.contains("The library is sound."), "{shown}");
    let work = page.changed("/library/export", &[]);
    assert!(ended(&page, &work).body.contains("exported"));
    let request = page.agent.get(format!("http://{}{work}/file", page.host));
    let response = request.header("cookie", &page.cookie).call().unwrap();
    let bytes = response.into_body().into_with_config().limit(1 << 26).read_to_vec().unwrap();
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
    let mut serves = String::new();
    let mut entry = archive.by_name("precedent-export/serves.csv").unwrap();
    std::io::Read::read_to_string(&mut entry, &mut serves).unwrap();
    let held = page.library().counts().unwrap().serves;
    assert_eq!(serves.lines().count(), held + 1, "a header and one line each");

    // How long players are kept: said, held against the same rule as the command, and no limit again.
    assert!(page.shown("/library").contains("No limit is set."));
    for wrong in ["", "0", "1201", "soon"] {
        assert_eq!(page.post("/library/retention", &[("months", wrong)]).status, 422, "{wrong}");
    }
    assert_eq!(page.changed("/library/retention", &[("months", "1")]), "/library#keep");
    let kept = page.library().retention().unwrap().unwrap();
    assert_eq!((kept.months, kept.by.as_str()), (1, "ash"));
    let shown = page.shown("/library");
    assert!(
        shown.contains("Players are kept for 1 month") && shown.contains("as ash said"),
        "{shown}"
    );
    page.changed("/library/retention", &[("do", "no-limit")]);
    assert_eq!(page.library().retention().unwrap(), None);

    // Everything stored about a player, as the command writes it.
    let work = page.changed(&format!("/player/{player}/stored"), &[]);
    let shown = ended(&page, &work).body;
    assert!(shown.contains("hand it to the player and to nobody else"), "{shown}");
    let request = page.agent.get(format!("http://{}{work}/file", page.host));
    let response = request.header("cookie", &page.cookie).call().unwrap();
    let bytes = response.into_body().into_with_config().limit(1 << 26).read_to_vec().unwrap();
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
    let mut report = String::new();
    let mut entry = archive.by_name("report.html").unwrap();
    std::io::Read::read_to_string(&mut entry, &mut report).unwrap();
    assert!(report.contains("knot") && !report.contains("dunlin"), "one player's alone");
    assert_eq!(page.post("/player/p999/stored", &[]).status, 404);

    // Forget: the code has to be typed.
    let place = format!("/player/{player}/forget");
    assert!(page.shown(&place).contains("This cannot be undone."));
    assert!(page.shown(&place).contains("in the pack of"));
    assert_eq!(page.post(&place, &[("code", "dunlin")]).status, 422);
    let shown = ended(&page, &page.changed(&place, &[("code", "KNOT")])).body;
    assert!(shown.contains("knot is removed."), "{shown}");
    assert!(page.library().player_by_code("knot").is_err());
    page.ended();
}
