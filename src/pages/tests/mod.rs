//! Drawings and reviews of invented serves.

mod drawings;
mod reviews;

use crate::drawing::{Svg, text};

const SVG: &str = "http://www.w3.org/2000/svg";

/// Every drawing must parse, name itself to a screen reader, hold no NaN and keep its words inside.
pub(super) fn check(svg: &Svg) {
    let text = svg.as_str();
    let tree = roxmltree::Document::parse(text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    let root = tree.root_element();
    assert_eq!(root.attribute("role"), Some("img"));
    for name in ["title", "desc"] {
        let node = root.children().find(|node| node.has_tag_name((SVG, name)));
        let said = node.and_then(|node| node.text()).unwrap_or_default();
        assert!(!said.trim().is_empty(), "no {name}: {text}");
    }
    for wrong in ["NaN", "inf", "href", "<script"] {
        assert!(!text.contains(wrong), "{wrong} in {text}");
    }
    let room: f64 = root.attribute("width").unwrap().parse().unwrap();
    let tall: f64 = root.attribute("height").unwrap().parse().unwrap();
    for node in tree.descendants().filter(|node| node.has_tag_name((SVG, "text"))) {
        let number = |name: &str| node.attribute(name).unwrap().parse::<f64>().unwrap();
        let words = node.text().unwrap_or_default();
        let length =
            text::width(words, number("font-size"), node.attribute("font-weight").is_some());
        let from = match node.attribute("text-anchor") {
            Some("middle") => number("x") - length / 2.0,
            Some("end") => number("x") - length,
            _ => number("x"),
        };
        assert!(
            from >= -0.5 && from + length <= room + 0.5,
            "'{words}' leaves the drawing: {text}"
        );
        assert!(number("y") <= tall && number("y") >= 8.0, "'{words}' is cut: {text}");
    }
}
