use crate::catalogue::Catalogue;
use crate::drawing::{map_drawing, month_shares, share_mark, tree_drawing};
use crate::find::Filter;
use crate::pages::squad_page;
use crate::squad::{GroupsParams, Squad, SquadQuery, gather, planted_library, wilson};
use crate::words::Interface;
use crate::work::Watch;

fn squad(least_silhouette: f64) -> Squad {
    let (_folder, library) = planted_library(2);
    let query = SquadQuery {
        squad: Some("monday".to_owned()),
        filter: Filter::default(),
        from: None,
        to: None,
        today: jiff::civil::date(2026, 8, 1),
        groups: GroupsParams { least_silhouette, ..GroupsParams::default() },
    };
    let text = "[cautions]\nalways = [\"Not on a wet court.\"]\n";
    let catalogue = Catalogue::builtin().with_extra("own.toml", text).unwrap();
    gather(&library, &catalogue, &query, &Watch::default()).unwrap()
}

/// Groups forced, so that everything is drawn; names and notes of the library never show.
#[test]
fn a_page_holds_codes_only_and_sound_drawings() {
    let squad = squad(-1.0);
    let alike = squad.alike.as_ref().unwrap();
    assert!(alike.groups.len() > 1);
    let page = squad_page(&squad, Interface::Terminal);
    assert!(!page.contains("Name of") && !page.contains("a private word"));
    assert!(page.contains("p01") && page.contains("Getting rarer: falls away after contact"));
    assert!(page.contains("No clear change by front knee bend at trophy: "), "its measure decides");
    assert!(page.contains("as seen and rated: no measure shows it"));
    for caution in Catalogue::builtin().general_cautions().chain(["Not on a wet court."]) {
        assert!(page.contains(caution), "{caution}");
    }
    for width in [720.0, 358.0] {
        let mut drawings = vec![map_drawing(alike, width), tree_drawing(alike, width)];
        drawings.extend(month_shares(&squad.faults[0], width / 2.0));
        for drawing in drawings {
            let tree = roxmltree::Document::parse(drawing.as_str()).unwrap();
            let root = tree.root_element();
            let size = |name: &str| root.attribute(name).unwrap().parse::<f64>().unwrap();
            for dot in tree.descendants().filter(|node| node.tag_name().name() == "circle") {
                let at = |name: &str| dot.attribute(name).unwrap().parse::<f64>().unwrap();
                assert!((0.0..=size("width")).contains(&at("cx")), "{}", drawing.as_str());
                assert!((0.0..=size("height")).contains(&at("cy")), "{}", drawing.as_str());
            }
        }
    }
    let dots = map_drawing(alike, 720.0).as_str().matches("<circle").count();
    assert_eq!(dots, alike.looks + alike.groups.len(), "a dot a look, a ring a medoid");
}

#[test]
fn a_share_says_its_counts_to_a_screen_reader() {
    let mark = share_mark(&wilson(5, 10, 0.95), Some(&wilson(0, 0, 0.95)), 180.0);
    assert!(mark.as_str().contains("5 of 10 players, interval 24 to 76 %"), "{mark}");
    // The share of nobody is not drawn.
    assert_eq!(mark.as_str().matches("<circle").count(), 1);
}
