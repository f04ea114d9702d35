//! Every place in a real browser: nothing that keeps somebody out, as axe-core finds it
//! (https://github.com/dequelabs/axe-core, fetched by tests/run), in light and dark, wide and narrow.

use serde_json::json;

use super::*;
use crate::browser::Browser;

/// Where `tests/run` puts it.
const AXE: &str =
    concat!(env!("CARGO_MANIFEST_DIR"), "/target/npm/node_modules/axe-core/axe.min.js");

#[test]
fn no_place_keeps_anybody_out() {
    let file = std::env::var_os("PRECEDENT_AXE").map_or_else(|| PathBuf::from(AXE), PathBuf::from);
    let Ok(axe) = std::fs::read_to_string(&file) else {
        skip::skipped("axe-core is not here; tests/run fetches it");
        return;
    };
    let Some(mut browser) = Browser::start() else { return };
    let page = Page::of(Desk::stocked());
    browser.go(&page.first);
    let library = page.library();
    let (case, fault) = suspected(&library);
    let serve = library.case(case).unwrap().serves[0];
    let recording = library.serve_head(serve).unwrap().recording;
    drop(library);
    // With a plan and all that stands beside one.
    let mut writing = Library::open(page.desk.at("library")).unwrap();
    let request = PlanRequest {
        start: Some(date(2026, 3, 16)),
        review_on: Some(date(2026, 4, 13)),
        ..PlanRequest::new(case, "low_contact")
    };
    let plan = request.record(&mut writing).unwrap().plan;
    drop(writing);
    let places = [
        "/".to_owned(),
        "/add".to_owned(),
        "/squads".to_owned(),
        "/records".to_owned(),
        "/sharing".to_owned(),
        "/library".to_owned(),
        "/find?words=toss".to_owned(),
        "/player/p1".to_owned(),
        "/player/p1/forget".to_owned(),
        format!("/case/{case}"),
        format!("/case/{case}/plan?fault={fault}"),
        format!("/serve/{serve}"),
        "/put-right/p1".to_owned(),
        format!("/put-right/{recording}"),
        format!("/put-right/{plan}"),
        format!("/put-right/{case}"),
        "/catalogue".to_owned(),
        "/catalogue/own".to_owned(),
        format!("/catalogue/fault/{fault}"),
        "/catalogue/drill/over_the_rope".to_owned(),
        "/guide".to_owned(),
        "/nowhere".to_owned(),
    ];
    let mut found = Vec::new();
    for place in &places {
        for (scheme, width) in [("light", 1400), ("dark", 390)] {
            browser.size(width, 900);
            let features = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
            browser.tell("Emulation.setEmulatedMedia", json!({ "features": features }));
            browser.go(&format!("http://{}{place}", page.host));
            browser.js(&axe);
            // What stands in frames are documents of their own, tested on paper.
            let said = browser.js(
                "axe.run({ exclude: ['iframe'] }, { iframes: false, resultTypes: ['violations'] }) \
                 .then((said) => said.violations.map((one) => `${one.impact} ${one.id}: \
                 ${one.nodes.map((node) => node.html.slice(0, 160)).join(' | ')}`))",
            );
            for one in said.as_array().unwrap() {
                found.push(format!("{place}, {scheme}, {width} px: {}", one.as_str().unwrap()));
            }
            // Nothing is wider than the screen.
            let wide = browser.js("document.documentElement.scrollWidth - innerWidth");
            if wide.as_i64().unwrap() > 0 {
                found.push(format!("{place}, {width} px: {wide} px too wide"));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
    page.ended();
}
