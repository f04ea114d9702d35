//! The pages as a browser sets them: how many sheets they fill and whether words stay inside
//! their drawings. The browser's own layout is the judge, not the program's idea of widths.

#![allow(missing_docs)]

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use std::path::{Path, PathBuf};
use std::process::Command;

use desk::Desk;

/// The browser: `PRECEDENT_BROWSER`, or a Chromium found by its usual names.
fn browser() -> Option<PathBuf> {
    let named = std::env::var_os("PRECEDENT_BROWSER").map(PathBuf::from);
    let usual = ["chromium", "chromium-browser", "google-chrome"].map(PathBuf::from);
    let runs = |name: &PathBuf| {
        Command::new(name).arg("--version").output().is_ok_and(|output| output.status.success())
    };
    let found = named.into_iter().chain(usual).find(runs);
    if found.is_none() {
        skip::skipped("no Chromium is here; tests/run installs one on Debian");
    }
    found
}

/// Runs the browser without a window on one page and returns what it prints.
fn browse(browser: &Path, arguments: &[&str], page: &Path) -> String {
    let profile = tempfile::tempdir().unwrap();
    let output = Command::new(browser)
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"])
        .args(["--disable-background-networking", "--disable-component-update", "--disable-sync"])
        .arg(format!("--user-data-dir={}", profile.path().display()))
        .args(arguments)
        .arg(format!("file://{}", page.display()))
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Sheets of A4 that a page fills when it is printed.
fn sheets(browser: &Path, page: &Path) -> usize {
    let folder = tempfile::tempdir().unwrap();
    let pdf = folder.path().join("page.pdf");
    let to = format!("--print-to-pdf={}", pdf.display());
    browse(browser, &["--no-pdf-header-footer", &to], page);
    facts(&pdf).0
}

/// Sheets of a PDF and their size, as `pdfinfo` reads them.
fn facts(pdf: &Path) -> (usize, String) {
    let said = Command::new("pdfinfo").arg(pdf).output().expect("pdfinfo, from poppler-utils");
    assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
    let text = String::from_utf8(said.stdout).unwrap();
    let fact = |name: &str| {
        let line = text.lines().find_map(|line| line.strip_prefix(name));
        line.unwrap_or_else(|| panic!("{name} in {text}")).trim().to_owned()
    };
    (fact("Pages:").parse().unwrap(), fact("Page size:"))
}

/// The words of a PDF, as `pdftotext` reads them.
fn words(pdf: &Path) -> String {
    let said = Command::new("pdftotext").arg(pdf).arg("-").output().expect("pdftotext");
    assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
    String::from_utf8(said.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// One test, because building the demo takes longer than all the rest.
#[test]
fn the_demos_pages_stand_in_a_browser() {
    let Some(browser) = browser() else { return };
    let desk = Desk::new();
    desk.expect(0, &["demo", "--into", "demo"]);
    let demo = desk.at("demo");
    a_players_copy_fills_two_sheets_at_most(&browser, &demo);
    let player = followed_player(&desk, &demo);
    words_stay_inside_their_drawings(&browser, &desk, &demo, &player);
    what_is_named_pdf_is_printed(&desk, &demo, &player);
}

/// A player of the demo whose plan was followed.
fn followed_player(desk: &Desk, demo: &Path) -> String {
    let library = demo.join("library");
    let library = ["--library", library.to_str().unwrap()];
    let lines = desk.objects(0, &[&library[..], &["squad", "--json"]].concat());
    let followed = lines.iter().filter_map(|line| line["moved_players"].as_array()).flatten();
    let planned = followed.clone().find(|moved| !moved["plan"].is_null());
    let player = planned.expect("a plan of the demo was followed")["player"].as_str().unwrap();
    player.to_owned()
}

fn a_players_copy_fills_two_sheets_at_most(browser: &Path, demo: &Path) {
    let player = sheets(browser, &demo.join("review.html"));
    assert!((1..=2).contains(&player), "{player} sheets");
    // The coach's copy holds every measure: were it short as well, nothing would be counted here.
    let coach = sheets(browser, &demo.join("review-coach.html"));
    assert!(coach > 2, "{coach} sheets");
}

/// The program prints by itself what it else writes as HTML; another program reads it back.
fn what_is_named_pdf_is_printed(desk: &Desk, demo: &Path, player: &str) {
    let library = demo.join("library");
    let library = ["--library", library.to_str().unwrap()];
    let coach = std::fs::read_to_string(demo.join("review-coach.html")).unwrap();
    let (_, serve) = coach.split_once(", serve s").unwrap();
    let serve = format!("s{}", serve.split(|c: char| !c.is_ascii_digit()).next().unwrap());
    for (args, most, said) in [
        (&["review", &serve, "-o", "serve.PDF"][..], 2, "clinician"),
        (&["review", &serve, "--for", "coach", "-o", "coach.pdf"], 20, &*serve),
        (&["progress", player, "-o", "progress.pdf"], 20, player),
        (&["squad", "-o", "squad.pdf"], 40, "clinician"),
    ] {
        let output = Path::new(args[args.len() - 1]);
        desk.expect(0, &[&library[..], args].concat());
        let pdf = desk.at(output.to_str().unwrap());
        let (sheets, size) = facts(&pdf);
        assert!((1..=most).contains(&sheets), "{args:?}: {sheets} sheets");
        assert!(size.contains("A4"), "{args:?}: {size}");
        let words = words(&pdf);
        assert!(words.contains(said), "{args:?}: {words}");
        // Nothing the browser puts round a page by itself: no address of a file, no date.
        assert!(!words.contains("file://"), "{args:?}: {words}");
    }
}

/// Appended to a page: every text of every drawing that is shown, as far as it leaves its drawing.
const MEASURE: &str = "<script>
const out = [];
let seen = 0;
for (const svg of document.querySelectorAll('svg')) {
  const room = svg.getBoundingClientRect();
  if (room.width === 0) continue;
  for (const text of svg.querySelectorAll('text')) {
    const box = text.getBoundingClientRect();
    if (box.width === 0) continue;
    seen += 1;
    const over = Math.max(room.left - box.left, box.right - room.right);
    if (over > 2) out.push(over.toFixed(1) + ' px: ' + text.textContent);
  }
}
const told = document.createElement('pre');
told.id = 'measured';
told.textContent = seen + '\\n' + out.join('\\n');
document.body.append(told);
</script>";

/// Where the system has DejaVu Sans, the widest of the usual fonts, everything is set in it.
const WIDEST: &str =
    "<style>body,h1,svg,svg text{font-family:'DejaVu Sans',sans-serif !important}</style>";

/// The review for player and coach, a player's progress and the squad's page, in a wide and in a narrow
/// window, in the fonts they ask for and in the widest.
fn words_stay_inside_their_drawings(browser: &Path, desk: &Desk, demo: &Path, player: &str) {
    let library = demo.join("library");
    let library = ["--library", library.to_str().unwrap()];
    let progress = demo.join("progress.html");
    let wanted = ["progress", player, "-o", progress.to_str().unwrap()];
    desk.expect(0, &[&library[..], &wanted[..]].concat());
    for name in ["review.html", "review-coach.html", "progress.html", "squad.html"] {
        let page = std::fs::read_to_string(demo.join(name)).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let copy = folder.path().join(name);
        for style in ["", WIDEST] {
            let end = format!("{style}{MEASURE}</body>");
            std::fs::write(&copy, page.replace("</body>", &end)).unwrap();
            for window in ["--window-size=1280,1600", "--window-size=500,1600"] {
                let dom = browse(browser, &["--dump-dom", window], &copy);
                let (_, told) =
                    dom.split_once("<pre id=\"measured\">").expect("the page was measured");
                let told = told.split_once("</pre>").unwrap().0;
                let (seen, out) = told.split_once('\n').unwrap();
                let at = format!("{name} {window} {style}");
                assert!(seen.parse::<usize>().unwrap() > 20, "{at}: {seen} words seen");
                assert!(out.trim().is_empty(), "{at}: words leave their drawing:\n{out}");
            }
        }
    }
}

/// Fills the first day of a card in as a thumb would, and lets the card make its text.
const FILL: &str = "<script>
const fill = (name, value) => { document.querySelector('fieldset [name=' + name + ']').value = value; };
fill('sessions', '1'); fill('effort', '6'); fill('pain', '3');
document.getElementById('make').click();
const asked = document.getElementById('said').textContent;
fill('where', 'shoulder'); fill('words', ' windy,  long day ');
document.getElementById('make').click();
const told = document.createElement('pre');
told.id = 'made';
told.textContent = asked + '|' + document.getElementById('text').value;
document.body.append(told);
</script>";

#[test]
fn a_practice_card_prints_on_one_sheet_and_its_text_comes_back() {
    let Some(browser) = browser() else { return };
    let desk = Desk::new();
    let today = jiff::ZonedDateTime::now().date().to_string();
    let add = ["add", &desk::sample("basket.trc"), "--player", "dunlin", "--consent", "keep"];
    desk.expect(0, &[&add[..], &["--date", &today]].concat());
    // Two drills, four weeks and everything said to juniors: as full as a card gets.
    let plan = ["plan", "c1", "--fault", "shallow_leg_drive", "--drill", "land_inside", "--sure"];
    let more = ["--drill", "bench_rise", "--note", "One basket a session, then stop."];
    desk.expect(0, &[&plan[..], &more].concat());
    let pain = ["label", "c1", "--pain", "wrist=5@serving"];
    desk.expect(0, &pain);
    desk.expect(0, &["plan", "n1", "--card", "card.html"]);
    let page = desk.at("card.html");
    assert_eq!(sheets(&browser, &page), 1);
    let said = std::fs::read_to_string(&page).unwrap();
    assert!(said.contains("<b>First.</b> The wrist hurts, 5 of 10 on"));
    assert!(!said.contains("<b>Not now.</b>"), "neither drill loads the wrist");
    let filled = desk.at("filled.html");
    let card = std::fs::read_to_string(&page).unwrap();
    // The page lets no other script run: what fills it in has to stand in for the thumb first.
    let policy = card.split_once("<meta http-equiv").unwrap().1.split_once('>').unwrap().0;
    assert!(policy.contains("default-src 'none'"), "{policy}");
    std::fs::write(&filled, card.replace("</body>", &format!("{FILL}</body>"))).unwrap();
    let dom = browse(&browser, &["--dump-dom", "--window-size=390,800"], &filled);
    let (_, told) = dom.split_once("<pre id=\"made\">").expect("the card ran");
    let (asked, text) = told.split_once("</pre>").unwrap().0.split_once('|').unwrap();
    assert!(asked.ends_with("say where it hurts."), "{asked}");
    std::fs::write(desk.at("card.txt"), text).unwrap();
    let object = desk.objects(0, &["log", "n1", "--from", "card.txt", "--json"]).remove(0);
    assert_eq!(object["practice"], serde_json::json!(["d1"]));
    let (history, _) = desk.expect(0, &["history", "d1"]);
    for kept in ["sessions 1", "effort 6", "pain 3", "shoulder", "windy, long day"] {
        assert!(history.contains(kept), "{kept}: {history}");
    }
}
