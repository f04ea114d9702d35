//! The whole month of one player in a browser, without a terminal: two drawn clips, every step by what
//! stands on the page. Planted: the second clip's legs bend more. What is checked is what the library
//! holds, read apart from the page.

use precedent::library::{Author, Marked, Witness};
use precedent::serve::EventKind;
use precedent::simulator::{Ask, Fault};
use serde_json::json;

use super::*;
use crate::browser::Browser;

/// The fault that is planted and worked on.
const FAULT: &str = "shallow_leg_drive";

/// A small clip of one serve, as bytes.
fn clip(desk: &Desk, legs: f64, session: u64) -> Vec<u8> {
    let faults = vec![(Fault::ShallowLegDrive, legs), (Fault::LowHittingElbow, legs)];
    let ask = Ask { faults, session, ..Ask::default() };
    let shot = film::Shot::small(90.0);
    let body = film::serve(&film::plain(), &ask, shot.rate_hz).0;
    film::film(&shot, &body, &desk.at("drawn.mp4"));
    std::fs::read(desk.at("drawn.mp4")).unwrap()
}

/// Drops a file on the page, as from a folder.
fn drop_file(browser: &mut Browser, name: &str, bytes: &[u8]) {
    let list: Vec<String> = bytes.iter().map(u8::to_string).collect();
    browser.js(&format!(
        "(() => {{ const files = new DataTransfer(); \
         files.items.add(new File([new Uint8Array([{}])], '{name}', {{ type: 'video/mp4' }})); \
         document.body.dispatchEvent(new DragEvent('drop', {{ dataTransfer: files, bubbles: true, \
         cancelable: true }})); }})()",
        list.join(",")
    ));
    browser.wait("document.querySelector('ul.sent input[name=\"file\"]')");
}

/// A clip from the first page to its session.
fn brought_in(browser: &mut Browser, name: &str, bytes: &[u8], said: &[(&str, &str)]) {
    browser.press("nav a[href='/add']");
    drop_file(browser, name, bytes);
    browser.fill("form.files", said);
    browser.press("form.files > p:last-of-type button");
    browser.worked();
    let found = browser.text("document.querySelector('h1').textContent");
    assert_eq!(found, "1 serve found.", "{}", browser.text("document.body.innerText"));
    browser.press("form[action$='/store'] button");
    browser.worked();
    browser.press("a.button[href^='/case/']");
}

/// The text of a document that a link opens; its style is for the document's own policy, not for ours.
fn document(browser: &mut Browser, link: &str) -> String {
    browser.text(&format!(
        "fetch(document.querySelector({link:?}).href).then((said) => said.text()).then((text) => \
         text.split('<style').map((part, at) => (at ? part.slice(part.indexOf('</style>')) : part))\
         .join('').replaceAll('style=', 'data-style='))\
         .then((text) => new DOMParser().parseFromString(text, 'text/html').body.textContent)"
    ))
}

#[test]
fn the_whole_month_in_a_browser() {
    if !film::ready() {
        return;
    }
    let Some(mut browser) = Browser::start() else { return };
    let desk = Desk::stocked();
    let (march, april) = (clip(&desk, 0.9, 1), clip(&desk, 0.1, 2));
    let page = Page::of(desk);
    browser.size(1400, 1100);
    browser.go(&page.first);

    // The clip, and what the program must ask.
    let said = [
        ("new_code", "wren"),
        ("hand", "right"),
        ("consent", "keep"),
        ("born", "1999-05-06"),
        ("stature", "1.80"),
        ("date", "2026-03-14"),
        ("setting", "ball_no_target"),
        ("type", "flat"),
        ("view", "side"),
    ];
    brought_in(&mut browser, "march.mp4", &march, &said);
    let player = page.library().player_by_code("wren").unwrap();
    let case = page.library().cases(Some(player.id)).unwrap()[0].clone();
    let (first, serve) = (case.id, case.serves[0]);

    // What no clip shows: asked on court.
    let asked =
        [("index_knuckle", "2"), ("heel_pad", "1"), ("net", "3"), ("long", "2"), ("wide", "1")];
    browser.fill("#ask form", &asked);
    browser.fill("#ask form", &[("no_pain", "yes"), ("serves_a_week", "150")]);
    browser.press("#ask form > button");
    let held = page.library().check_in(first).unwrap();
    assert_eq!((held.serves_a_week, held.pain.as_deref()), (Some(150), Some(&[][..])));

    // The serve: a moment put right by the keyboard, its precedents with why.
    browser.press(&format!("#serves a[href='/serve/{serve}']"));
    browser.wait("document.querySelector('#viewer').dataset.ready");
    browser.wait("document.querySelector('.view.this').matches('.pictured')");
    browser.js("document.querySelector('[data-moment=\"trophy\"]').click()");
    browser.key("ArrowRight");
    browser.js("document.querySelector('select.put').value = 'trophy'");
    browser.key("p");
    browser.wait("/^Marked here: trophy/.test(document.querySelector('p.said').textContent)");
    let row = page.library().serve(serve).unwrap();
    let moment = &page.library().moments(&row).unwrap()[EventKind::Trophy as usize];
    assert_eq!(moment.witness, Witness::Person(Author::Coach("ash".to_owned())));
    browser.key("x");
    browser.js("document.querySelector('.view.this canvas').scrollIntoView({ block: 'center' })");
    let [left, top, width, height] = browser.place(".view.this canvas");
    let middle = [left + width / 2.0, top + height / 2.0];
    browser.mouse("mousePressed", middle);
    browser.mouse("mouseReleased", middle);
    browser.wait("!document.querySelector('form.words').hidden");
    browser.js("(() => { const form = document.querySelector('form.words'); \
         form.text.value = 'sit into it'; form.requestSubmit(); })()");
    browser.wait("document.querySelectorAll('ul.drawn li').length === 1");
    let marks = page.library().marks(row.recording).unwrap();
    assert!(
        marks
            .iter()
            .any(|mark| matches!(&mark.what, Marked::Words { text, .. } if text == "sit into it"))
    );
    let like = browser.text("document.querySelector('#like').innerText");
    assert!(["sanderling", "dunlin", "knot"].iter().any(|code| like.contains(code)), "{like}");
    assert!(
        browser.number("document.querySelectorAll('#like ol.like > li').length") >= 1.0,
        "{like}"
    );
    browser.press(&format!("h1 a[href='/case/{first}']"));

    // What the program suspects is confirmed, or rejected where it is not there; what else the coach
    // sees is added.
    let suspected = |browser: &mut Browser| {
        browser.number("document.querySelectorAll('#see button[name=\"confirm\"]').length")
    };
    let all = suspected(&mut browser);
    assert!(all >= 1.0, "{}", browser.text("document.querySelector('#see').innerText"));
    let confirmed = browser.text("document.querySelector('button[name=\"confirm\"]').value");
    browser.press("button[name='confirm']");
    assert_eq!(suspected(&mut browser), all - 1.0);
    browser.fill("#see form.said", &[("add", FAULT), ("severity", "0.7")]);
    browser.press("#see form.said button");
    while suspected(&mut browser) > 0.0 {
        browser.press("button[name='reject']");
    }
    let held = page.library().case(first).unwrap();
    let mine = held.labels.iter().find(|label| label.fault == FAULT).unwrap();
    assert_eq!((mine.state, mine.by.as_str()), (LabelState::Added, "ash"));
    let seen = held.labels.iter().find(|label| label.fault == confirmed).unwrap();
    assert_eq!(seen.state, LabelState::Confirmed);

    // The limiting fault, with its reasons; the plan with dose and dates.
    browser.press(&format!("button[name='limiting'][value='{FAULT}']"));
    let see = browser.text("document.querySelector('article.fault.first').innerText");
    assert!(see.contains("Shallow leg drive") && see.contains("Why it ranks here"), "{see}");
    browser.press(&format!("article.fault.first a[href='/case/{first}/plan?fault={FAULT}']"));
    let drill = browser.text("document.querySelector('input[name=\"drill\"]').value");
    planned(&mut browser, &drill, ("2026-03-16", "2026-04-13"));
    let plan = page.library().case(first).unwrap().plans[0].clone();
    assert_eq!((plan.limiting_fault.as_str(), plan.start), (FAULT, date(2026, 3, 16)));
    assert_eq!(plan.review_on, Some(date(2026, 4, 13)));
    assert_eq!(plan.drills[0].dose, "2 x 8, three days a week");

    // The review as both see it, and everything in one file.
    let player_sees = document(&mut browser, "#review a[href$='/review/player']");
    let coach_sees = document(&mut browser, "#review a[href$='/review/coach']");
    let fault = Catalogue::builtin().fault(FAULT).unwrap();
    assert!(player_sees.contains(&fault.to_player), "{player_sees}");
    assert!(player_sees.contains("sit into it") && coach_sees.contains("sit into it"));
    assert!(coach_sees.len() > player_sees.len() && coach_sees.contains("wren"));
    for other in ["sanderling", "dunlin", "knot"] {
        assert!(!player_sees.contains(other), "{other} is named to the player");
    }
    browser.press_words("Everything for the player, in one file");
    browser.worked();
    let made = browser.text("document.querySelector('main').innerText");
    for name in ["review.html", "review.pdf", "practice-card.html", "serve.mp4"] {
        assert!(made.contains(name), "no {name}: {made}");
    }
    let begins = browser
        .js("fetch(document.querySelector('a[download]').href).then((said) => said.arrayBuffer())\
         .then((bytes) => [...new Uint8Array(bytes.slice(0, 2))])");
    assert_eq!(begins, json!([0x50, 0x4b]), "no archive");

    // A month later.
    let said = [
        ("player", "wren"),
        ("date", "2026-04-15"),
        ("setting", "ball_no_target"),
        ("type", "flat"),
        ("view", "side"),
    ];
    brought_in(&mut browser, "april.mp4", &april, &said);
    let cases = page.library().cases(Some(player.id)).unwrap();
    assert_eq!(cases.len(), 2);
    let second = cases.iter().find(|case| case.id != first).unwrap().clone();
    browser.press(&format!("#serves a[href='/serve/{}']", second.serves[0]));
    browser.wait("document.querySelector('#viewer').dataset.ready");
    assert_eq!(browser.text("document.querySelector('.choose select').value"), serve.to_string());
    browser
        .wait("[...document.querySelectorAll('.view')].every((one) => one.matches('.pictured'))");
    browser.press("h1 a[href^='/case/']");
    browser.press("a[rel='prev']");
    let form = format!("form[action='/plan/{}/follow-up']", plan.id);
    browser
        .fill(&form, &[("date", "2026-04-15"), ("rating", "1"), ("sessions", "12"), ("net", "1")]);
    browser.press(&format!("{form} > button"));
    let answers = page.library().case(first).unwrap().follow_ups.clone();
    assert_eq!(
        (answers.len(), answers[0].rating, answers[0].sessions_done),
        (1, Some(1), Some(12))
    );
    let verdict = browser.text(&format!("document.querySelector('#plan-{}').innerText", plan.id));
    assert!(verdict.contains("What came of it."), "{verdict}");
    assert!(verdict.contains("15 Apr 2026"), "{verdict}");
    let progress = document(&mut browser, &format!("h1 a[href='/player/{}']", player.id));
    assert!(progress.contains("Shallow leg drive"), "{progress}");

    // The plan is ended, the next one made where the player stands now.
    let form = format!("form[action='/plan/{}/end']", plan.id);
    browser.fill(&form, &[("ended", "2026-04-15"), ("reason", "it bends now")]);
    browser.press(&format!("{form} > button"));
    browser.press("a[rel='next']");
    browser.fill("#see form.said", &[("add", "toss_low"), ("severity", "0.4")]);
    browser.press("#see form.said button");
    browser.press(&format!("a[href='/case/{}/plan?fault=toss_low']", second.id));
    let drill = browser.text("document.querySelector('input[name=\"drill\"]').value");
    planned(&mut browser, &drill, ("2026-04-16", "2026-05-14"));
    let next = page.library().case(second.id).unwrap().plans.clone();
    assert_eq!((next.len(), next[0].start), (1, date(2026, 4, 16)));
    assert!(page.library().case(first).unwrap().plans[0].ended.is_some());

    // Everything can be taken back, the last thing first; the browser's back goes back.
    browser.press("form[action$='/undo'] button");
    assert!(page.library().case(second.id).unwrap().plans.is_empty());
    browser.js("window.left = true; history.back()");
    browser.wait("!window.left");
    assert!(browser.complaints.is_empty(), "{:?}", browser.complaints);
    page.ended();
}

/// Fills in the plan in sight, and says yes to what is asked about it.
fn planned(browser: &mut Browser, drill: &str, (start, review): (&str, &str)) {
    let form = "form[action$='/plan']";
    browser.js(&format!(
        "document.querySelector('input[name=\"drill\"][value=\"{drill}\"]').checked = true"
    ));
    let dose = format!("dose-{drill}");
    browser.fill(
        form,
        &[(&*dose, "2 x 8, three days a week"), ("start", start), ("review_on", review)],
    );
    browser.press_words("Record the plan");
    if browser.number("document.querySelectorAll('input[name=\"sure\"]').length") > 0.0 {
        browser.js("document.querySelectorAll('input[name=\"sure\"]').forEach((box) => (box.checked = true))");
        browser.press("form.said > p button");
    }
    // What is good to know about it is said before the session is shown again.
    if browser.text("location.pathname").ends_with("/plan") {
        browser.press_words("Back to the session");
    }
}
