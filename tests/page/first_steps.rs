//! The page before anything is in it, and the guide as somebody follows it who never types a command.

use super::*;

/// Where nothing is yet, a place says what it is for and has the button that fills it.
#[test]
fn an_empty_place_says_what_it_is_for_and_how_to_fill_it() {
    let desk = Desk::new();
    Library::create(desk.at("library")).unwrap();
    let page = Page::entered(desk);
    for (place, says) in [
        ("/", "Players come with their first recording"),
        ("/asked", "it waits here for your answer"),
        ("/squads", "who serves alike, which faults are common"),
    ] {
        let shown = page.shown(place);
        assert!(shown.contains(says), "{place}: {shown}");
        let main = shown.split_once("<main").unwrap().1;
        assert!(main.contains(r#"href="/add""#), "{place}: {main}");
    }
    // A report on nobody is not offered.
    let nobody = page.shown("/squads");
    assert!(!nobody.contains("<button>Report</button>"), "{nobody}");
    page.ended();
    // With players and without a squad: on everybody, and how a squad comes about.
    let page = Page::entered(Desk::stocked());
    let shown = page.shown("/squads");
    assert!(shown.contains("<button>Report</button>") && shown.contains("No squad yet"), "{shown}");
    assert!(shown.contains(r##"href="/#players""##), "{shown}");
    // A plan without a fault goes back to where one is chosen.
    let (case, fault) = suspected(&page.library());
    let answer = page.get(&format!("/case/{case}/plan"));
    assert_eq!(answer.status, 303, "{}", answer.body);
    assert_eq!(answer.header("location"), Some(format!("/case/{case}#see").as_str()));
    assert!(page.shown(&format!("/case/{case}")).contains(r#"<section id="see">"#));
    page.shown(&format!("/case/{case}/plan?fault={fault}"));
    assert_eq!(page.get("/case/c99999/plan").status, 404);
    page.ended();
}

/// Who begins with the page has no library yet: it is made where libraries lie by themselves. A folder that
/// was named and holds none is refused (`an_interrupt_ends_it_and_loses_nothing`).
#[cfg(target_os = "linux")]
#[test]
fn whoever_begins_with_the_page_gets_a_library() {
    let desk = Desk::new();
    let home = desk.at("home");
    let mut command = desk.command(&["page", "--no-open", "--coach", "ash"]);
    command.env_remove("PRECEDENT_LIBRARY").env("XDG_DATA_HOME", &home);
    let page = Page::let_in(Page::run(desk, command));
    assert!(page.shown("/").contains("Players come with their first recording"));
    let library = Library::open_read_only(home.join("precedent")).unwrap();
    assert_eq!(library.counts().unwrap().players, 0);
}

/// Every place the guide sends somebody to opens, and every button it names is on the page.
#[test]
fn the_guide_sends_nobody_to_a_place_or_button_that_is_not_there() {
    let page = Page::entered(Desk::stocked());
    let (case, fault) = suspected(&page.library());
    let held = page.library().case(case).unwrap();
    let (serve, player) = (held.serves[0], held.player);
    let mut places: Vec<String> =
        ["/", "/add", "/asked", "/squads", "/sharing", "/library"].map(str::to_owned).to_vec();
    places.extend([
        format!("/case/{case}"),
        format!("/case/{case}/plan?fault={fault}"),
        format!("/serve/{serve}"),
        format!("/player/{player}"),
        format!("/put-right/{player}"),
    ]);
    let all: String = places.iter().map(|place| plain(&page.shown(place))).collect();
    let (mut links, mut named) = (0, 0);
    for topic in precedent::guide::TOPICS {
        let html = topic.html();
        for link in html.split("href=\"").skip(1) {
            page.shown(link.split('"').next().unwrap());
            links += 1;
        }
        // What stands in bold in a block for the page is on the page, word for word.
        for block in topic.text.split("```page\n").skip(1) {
            let block = block.split("```").next().unwrap().replace('\n', " ");
            for bold in block.split("**").skip(1).step_by(2) {
                let words: Vec<&str> = bold.split_whitespace().collect();
                let words = words.join(" ");
                let later = LATER.contains(&words.as_str());
                assert!(
                    later || all.contains(&words),
                    "{}: nothing is called '{words}'",
                    topic.name
                );
                named += 1;
            }
        }
    }
    assert!(links > 15 && named > 30, "{links} {named}");
    page.ended();
}

/// Names that come with what is only there later: a file that was read, a plan, a pack, two clips.
const LATER: &[&str] = &[
    "Store",
    "On to the session",
    "Change the answers and read again",
    "Log practice",
    "Follow it up",
    "Record follow-up",
    "Put right",
    "Take it back",
    "Out",
    "Two clips of the same serves",
    "Set up the reading of clips",
];
