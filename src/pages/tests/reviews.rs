//! Whole reviews: what they say, to whom, and what they never say.

use super::check;
use crate::catalogue::Catalogue;
use crate::coaching::{Age, Cautions, ShownDrill, ShownTogether};
use crate::drawing::*;
use crate::pages::{sample, *};
use crate::serve::Reading;

/// Inline drawings of a page, each a document of its own.
fn drawings(page: &str) -> Vec<Svg> {
    page.split("<svg")
        .skip(1)
        .map(|rest| Svg::for_test(format!("<svg{}</svg>", rest.split("</svg>").next().unwrap())))
        .collect()
}

/// Words a reader sees: tags and style removed, spaces joined.
fn words_of(page: &str) -> String {
    let body = page.split("</style>").nth(1).unwrap();
    let text = body.split('<').filter_map(|piece| piece.split_once('>')).map(|(_, text)| text);
    let text: Vec<&str> = text.flat_map(str::split_whitespace).collect();
    text.join(" ")
}

pub(super) fn all_reviews() -> Vec<(&'static str, ReviewData, Audience)> {
    let mut out = Vec::new();
    for audience in [Audience::Player, Audience::Coach(Interface::Terminal)] {
        out.push(("full", sample::review_data(), audience));
        out.push(("bare", sample::bare_review(), audience));
    }
    out
}

#[test]
fn a_review_stands_alone_and_its_drawings_are_sound() {
    for (name, data, audience) in all_reviews() {
        let page = review(&data, audience);
        for outside in
            ["http://", "https://", "<script", "<link", "<img", "@import", "url(", "NaN", "inf "]
        {
            let found = page.replace("http://www.w3.org/2000/svg", "");
            assert!(!found.contains(outside), "{outside} in the {name} review for {audience:?}");
        }
        for svg in drawings(&page) {
            check(&svg);
        }
        for (open, close) in [
            ("<section", "</section>"),
            ("<div", "</div>"),
            ("<table", "</table>"),
            ("<ul", "</ul>"),
            ("<ol", "</ol>"),
            ("<figure", "</figure>"),
        ] {
            assert_eq!(page.matches(open).count(), page.matches(close).count(), "{open} in {name}");
        }
        assert!(page.contains(r#"lang="en""#) && page.contains("viewport"));
    }
}

#[test]
fn a_players_copy_names_nobody_else() {
    let mut data = sample::review_data();
    data.limiting.as_mut().unwrap().why =
        "As with HOLM-1 in s301 (c41), the arm makes the speed.".to_owned();
    let page = words_of(&review(&data, Audience::Player));
    for one in &data.precedents.found {
        for secret in
            [&one.player, &one.serve, &one.case, &one.context, &crate::words::day(one.date)]
        {
            assert!(!page.contains(secret.as_str()), "{secret} in the player's copy");
        }
        assert!(!page.contains(&format!("{:.2}", one.distance)));
    }
    assert!(page.contains("As with another player in another player (another player)"));
    assert!(page.contains("BIRK-3"), "the player's own code stays");

    let coach = words_of(&review(&data, Audience::Coach(Interface::Terminal)));
    for one in &data.precedents.found {
        for known in
            [&one.player, &one.serve, &one.case, &one.context, &crate::words::day(one.date)]
        {
            assert!(coach.contains(known.as_str()), "{known} not in the coach's copy");
        }
    }
}

#[test]
fn an_own_earlier_serve_keeps_its_date() {
    let mut data = sample::review_data();
    data.precedents.found[0].own = true;
    data.precedents.found[0].player = data.player.code.clone();
    let page = words_of(&review(&data, Audience::Player));
    assert!(page.contains("You, 8 Mar 2025"));
    assert!(page.contains("BIRK-3"));
}

#[test]
fn the_review_says_the_numbers_with_their_doubt() {
    let data = sample::review_data();
    let trophy = format!("{:.2} s before contact", data.events[4].time_s - data.events[2].time_s);
    let page = words_of(&review(&data, Audience::Player));
    for said in [
        "about 38 deg, give or take 3",
        "Reference 55 to 74 deg",
        &trophy,
        "5 of 7 better by more than chance (about 6 deg)",
        "10 deg better on average, 90 % interval 5 to 15 deg",
        "Too few to estimate an average",
        "within chance (up to 0.04)",
        "worse, by 0.08 s",
        "better by 11 deg, more than chance allows",
        "which may be chance alone",
        "Not measurable from this recording (no hand joints): palm rotation after contact",
        "2 (as told, not measured)",
        "drawn mirrored",
        "Associated with the drill",
        "not a diagnosis",
        "licensed clinician",
        "rules of federation and club come first",
        "Stop",
    ] {
        assert!(page.contains(said), "'{said}' is missing in: {page}");
    }
    assert!(!page.contains("caused by the drill"));
    let coach = words_of(&review(&sample::review_data(), Audience::Coach(Interface::Terminal)));
    assert!(coach.contains("trust 0.82") && coach.contains("Counts like 4.6 players"));
    assert_eq!(coach.matches("Read at").count(), 6, "every measure with its definition");
}

#[test]
fn what_is_absent_is_said_with_what_to_do() {
    for audience in [Audience::Player, Audience::Coach(Interface::Terminal)] {
        let page = words_of(&review(&sample::bare_review(), audience));
        for said in [
            "No drawing.",
            "No curve.",
            "No plan yet.",
            "No precedent.",
            "Nothing to look up yet.",
            "No earlier review.",
            "not a diagnosis",
        ] {
            assert!(page.contains(said), "'{said}' is missing for {audience:?}");
        }
        // With a fault it is that fault of which nothing is known.
        let unheard = ReviewData { evidence: Vec::new(), ..sample::review_data() };
        let page = words_of(&review(&unheard, audience));
        assert!(page.contains("Too little to say. Nobody with this fault"), "{page}");
    }
}

/// On the page nobody types: what has to be pressed is named as the session's page has it.
#[test]
fn the_page_says_what_to_press_and_a_terminal_what_to_type() {
    let session = include_str!("../../page/templates/case.html");
    let course = PlayerCourse {
        player: "invented".to_owned(),
        reviews: 1,
        steps: Vec::new(),
        months: Vec::new(),
        cautions: Cautions::of(Catalogue::builtin(), Age::Unknown),
    };
    let texts = |interface| {
        [
            review(&sample::bare_review(), Audience::Coach(interface)),
            progress_page(&course, interface),
        ]
    };
    for (typed, pressed) in texts(Interface::Terminal).iter().zip(texts(Interface::Page)) {
        assert!(typed.contains("<i>plan</i>") && typed.contains("<i>follow-up</i>"));
        assert!(!pressed.contains("<i>"), "a command is named on the page");
        for button in ["Plan for it", "Follow it up"] {
            assert!(pressed.contains(&format!("<b>{button}</b>")), "{button}");
            assert!(session.contains(button) && !typed.contains(button), "{button}");
        }
    }
}

#[test]
fn the_set_up_of_each_precedent_is_said_where_it_matters() {
    let mut data = sample::review_data();
    let own = &mut data.precedents.found[0];
    (own.own, own.same_set_up) = (true, true);
    data.precedents.found[1].own = true;
    data.precedents.found[2].poor_because = Some("seen diagonally, not from the side".to_owned());
    data.precedents.searched_first = Some("filmed by one camera from the side".to_owned());
    data.precedents.comparable = 12;
    for (audience, who) in
        [(Audience::Player, "You"), (Audience::Coach(Interface::Terminal), "Same player")]
    {
        let page = words_of(&review(&data, audience));
        for said in [
            "Those filmed by one camera from the side come first: 12 of them.",
            &format!("{who}, same set-up: the strongest comparison."),
            &format!("{who}, not known to be the same set-up."),
            "Compares poorly: seen diagonally, not from the side.",
        ] {
            assert!(page.contains(said), "'{said}' is missing for {audience:?}");
        }
    }
}

#[test]
fn a_player_reads_why_most_is_unmeasured_and_the_coach_all_of_it() {
    let mut data = sample::review_data();
    let one = data.measures.swap_remove(0);
    let row = |name: &str, why: &str| MeasureRow {
        name: name.to_owned(),
        reading: Reading::NotMeasurable { why: why.to_owned() },
        ..one.clone()
    };
    let said = |data: &ReviewData, audience| {
        let page = words_of(&review(data, audience));
        let (_, rest) = page.split_once("What this recording cannot show").unwrap();
        rest.split_once("rip: bevel").unwrap().0.to_owned()
    };
    data.measures = vec![row("a", "no racket"), row("b", "dark"), row("c", "dark")];
    data.measures.extend(["d", "e", "f"].map(|name| row(name, "one camera")));
    data.measures.extend([row("g", "no hands"), row("h", "no feet")]);
    let player = said(&data, Audience::Player);
    for line in [
        "(one camera): d and 2 others. Not",
        "(dark): b and c. Not",
        "(no racket): a. For other reasons not measurable: 2 more; your coach has the list.",
    ] {
        assert!(player.contains(line), "'{line}' is missing: {player}");
    }
    let coach = said(&data, Audience::Coach(Interface::Terminal));
    for line in ["(no racket): a.", "(one camera): d, e and f.", "(no hands): g.", "(no feet): h."]
    {
        assert!(coach.contains(line), "'{line}' is missing: {coach}");
    }
}

#[test]
fn no_band_is_claimed_where_there_is_none() {
    let mut data = sample::review_data();
    assert!(words_of(&review(&data, Audience::Player)).contains("8 of 10 of them"));
    data.channels[0].band = None;
    let page = words_of(&review(&data, Audience::Player));
    assert!(!page.contains("8 of 10 of them") && page.contains("Your line alone"));
}

/// Own cautions as the catalogue has them, with the page's escapes.
fn own_cautions(id: &str) -> Vec<String> {
    let drill = Catalogue::builtin().drill(id).unwrap();
    drill.cautions.iter().map(|caution| caution.replace('\'', "&#39;")).collect()
}

#[test]
fn cautions_stand_by_every_drill_shown() {
    let mut data = sample::review_data();
    // Drills of the plan, of precedents, of the evidence and to choose from: no two the same.
    let shown = |id: &str| ShownDrill::of(Catalogue::builtin(), id, "lumbar_arch");
    data.precedents.found[0].drills = vec![shown("kneeling_serve"), shown("small_football")];
    data.evidence[0].done = ShownTogether::of(vec![shown("bevel_check")]);
    data.limiting.as_mut().unwrap().offers = vec![shown("elbow_over_rail")];
    let everywhere = ["kneeling_serve", "small_football", "bevel_check"];
    for audience in [Audience::Player, Audience::Coach(Interface::Terminal)] {
        let page = words_of(&review(&data, audience));
        let planned = data.plan.as_ref().unwrap().drills.iter().map(ShownDrill::id);
        let offered =
            (audience == Audience::Coach(Interface::Terminal)).then_some("elbow_over_rail");
        let drills: Vec<&str> = planned.chain(everywhere).chain(offered).collect();
        assert_eq!(
            drills.len(),
            if audience == Audience::Coach(Interface::Terminal) { 7 } else { 6 }
        );
        for id in drills {
            let name = Catalogue::builtin().drill(id).unwrap().name.replace('\'', "&#39;");
            assert!(page.contains(&name), "{name} is missing for {audience:?}");
            for caution in own_cautions(id) {
                assert!(page.contains(&caution), "{id}: '{caution}' is missing for {audience:?}");
            }
        }
        let note = Catalogue::builtin().fault("lumbar_arch").unwrap().health_note.as_ref();
        assert!(page.contains(note.unwrap().as_str()), "{audience:?}");
    }
}

/// What a library adds to the general cautions reaches every page, and so does an unknown age.
#[test]
fn a_librarys_own_general_cautions_reach_every_page() {
    let added = "Not on a wet court.";
    let text = format!("[cautions]\nalways = [\"{added}\"]\n");
    let catalogue = Catalogue::builtin().with_extra("own.toml", &text).unwrap();
    let cautions = Cautions::of(&catalogue, Age::Unknown);
    let mut data = sample::review_data();
    data.cautions = cautions.clone();
    let mut bare = sample::bare_review();
    bare.cautions = cautions.clone();
    let course = PlayerCourse {
        player: "p01".to_owned(),
        reviews: 1,
        steps: Vec::new(),
        months: Vec::new(),
        cautions,
    };
    let pages = [
        review(&data, Audience::Player),
        review(&data, Audience::Coach(Interface::Terminal)),
        review(&bare, Audience::Player),
        progress_page(&course, Interface::Terminal),
    ];
    for (at, page) in pages.iter().enumerate() {
        let page = words_of(page);
        assert!(page.contains(added), "page {at}");
        assert!(page.contains("No birth date is recorded"), "page {at}");
        for caution in Catalogue::builtin().general_cautions() {
            assert!(page.contains(caution), "page {at}: {caution}");
        }
    }
}

#[test]
fn hostile_texts_stay_texts() {
    let mut data = sample::review_data();
    let hostile = "</style></svg><script>alert('x')</script>&\"";
    data.player.code = hostile.to_owned();
    data.limiting.as_mut().unwrap().to_player = hostile.to_owned();
    data.channels[0].label = hostile.to_owned();
    let foreign = ShownDrill::of(Catalogue::builtin(), hostile, "shallow_leg_drive");
    data.evidence[0].done = ShownTogether::of(vec![foreign]);
    data.precedents.found[0].player = hostile.to_owned();
    data.progress.as_mut().unwrap().months.as_mut().unwrap().plans[0].label = hostile.to_owned();
    for audience in [Audience::Player, Audience::Coach(Interface::Terminal)] {
        let page = review(&data, audience);
        assert!(!page.contains("<script"), "{audience:?}");
        assert_eq!(page.matches("</style>").count(), 1);
        for svg in drawings(&page) {
            roxmltree::Document::parse(svg.as_str()).unwrap();
        }
    }
}
