//! One serve filmed from two places, on the page: asked about, said, shown beside itself, taken back.

use super::uploads::ended;
use super::*;

#[test]
fn clips_that_may_show_the_same_serve_are_asked_about_and_shown_beside_each_other() {
    let files = ["serve_2164.csv", "serve_2251.csv"];
    let files = files.map(|name| desk::real(&format!("one-camera/flat/{name}")));
    let [Some(side), Some(behind)] = &files else { return };
    let desk = Desk::new();
    let day = ["--player", "dunlin", "--date", "2026-03-14", "--consent", "keep"];
    for (file, view) in [(side, "side"), (behind, "behind")] {
        let (_, said) =
            desk.expect(0, &[&["add", file, "--view", view, "--hand", "right"], &day[..]].concat());
        let asks = said.contains("may show the same serves");
        assert_eq!(asks, view == "behind", "{said}");
    }
    let page = Page::entered(desk);
    let shown = plain(&page.shown("/case/c1"));
    let asked = "r1 (from the side) and r2 (from behind) may show the same serves: is s1 the same serve as \
                 s2? Or do they show others?";
    assert!(shown.contains(asked) && shown.contains("2 serves"), "{shown}");
    assert!(plain(&page.shown("/asked")).contains(asked));
    let (beside, same) = (page.shown("/serve/s1"), r#"<optgroup label="same serve">"#);
    assert!(!beside.contains(same), "{beside}");

    assert_eq!(page.changed("/case/c1/views", &[("same", "s1 s2")]), "/case/c1#serves");
    let shown = plain(&page.shown("/case/c1"));
    let known = "show the same serves, as ash said: s1 is s2.";
    assert!(shown.contains(known) && shown.contains("1 serve,"), "{shown}");
    assert!(page.shown("/asked").contains("No open questions."));
    for (serve, other) in [("s1", "s2"), ("s2", "s1")] {
        let shown = page.shown(&format!("/serve/{serve}"));
        let (_, first) = shown.split_once("<optgroup").unwrap();
        assert!(first.starts_with(r#" label="same serve">"#), "{first}");
        let chosen = format!(r#"<option value="{other}" selected>"#);
        assert!(first.contains(&chosen), "{first}");
    }
    let review = plain(&page.shown("/serve/s1/review/coach"));
    assert!(
        review.contains("The same serve (s2), seen from behind, at the same moments."),
        "{review}"
    );

    page.changed("/case/c1/views", &[("apart", "r1 r2")]);
    assert!(plain(&page.shown("/case/c1")).contains("show different serves, as ash said."));
    page.changed("/case/c1/views", &[("clear", "r1 r2")]);
    assert!(plain(&page.shown("/case/c1")).contains(asked));
    // Two fields, as the form for two serves sends them; one of the two is not enough.
    page.changed("/case/c1/views", &[("same", "s2"), ("same", "s1")]);
    assert!(plain(&page.shown("/case/c1")).contains(known));
    let refused = page.post("/case/c1/views", &[("same", "s2"), ("same", "")]);
    assert!(
        refused.status == 422 && refused.body.contains("Two serves of two clips"),
        "{}",
        refused.body
    );
    let refused = page.post("/case/c1/views", &[("same", "s1 s1")]);
    assert_eq!(refused.status, 422, "{}", refused.body);
    // What was said of a clip is in its history, and can be taken back there.
    let history = plain(&page.shown("/put-right/r1"));
    assert!(history.contains("what r1 and r2 show"), "{history}");

    // Said of a clip that is gone: the check names it, with the button that takes it back.
    let raw = rusqlite::Connection::open(page.desk.at("library").join("library.db")).unwrap();
    raw.execute_batch("PRAGMA foreign_keys = OFF; UPDATE clip_pairs SET other = 99;").unwrap();
    drop(raw);
    let shown = plain(&ended(&page, &page.changed("/library/check", &[])).body);
    let button = "Take back what was said of r1 and r99";
    assert!(shown.contains(&format!("press \"{button}\".")), "{shown}");
    assert!(shown.contains(&format!("<button>{button}</button>")), "{shown}");
    assert_eq!(page.post("/library/unsay", &[("clips", "r1")]).status, 422);
    let shown = ended(&page, &page.changed("/library/unsay", &[("clips", "r1 r99")])).body;
    assert!(shown.contains("The library is sound."), "{shown}");
}
