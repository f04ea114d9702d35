//! The rooms of the engine in order, an arrow never runs back: no module names one of a room to its right.
//!
//! Reads the sources from `src/lib.rs` on, module by module, as the compiler does; code under `cfg(test)` may
//! use what it likes.

#![allow(missing_docs)]

use std::path::Path;

use proc_macro2::{Delimiter, TokenStream, TokenTree};

/// From left to right: each may use those before it.
const ORDER: [&str; 8] = ["params", "naive", "lanes", "dtw", "sketch", "store", "search", "group"];

/// What one file names.
#[derive(Debug, Default)]
struct Named {
    /// Rooms, with the line they are named in.
    rooms: Vec<(String, usize)>,
    /// Modules that lie in files of their own.
    children: Vec<Vec<String>>,
}

fn is_punct(token: Option<&TokenTree>, sign: char) -> bool {
    matches!(token, Some(TokenTree::Punct(punct)) if punct.as_char() == sign)
}

/// Whether `tokens` begin with `::`.
fn joined(tokens: &[TokenTree]) -> bool {
    is_punct(tokens.first(), ':') && is_punct(tokens.get(1), ':')
}

/// How many tokens an item under `#[cfg(test)]` takes, the attribute included; `None` where none begins.
fn test_item(tokens: &[TokenTree]) -> Option<usize> {
    let TokenTree::Group(group) = tokens.get(1).filter(|_| is_punct(tokens.first(), '#'))? else {
        return None;
    };
    if group.to_string().replace(' ', "") != "[cfg(test)]" {
        return None;
    }
    let ends = |token: &TokenTree| match token {
        TokenTree::Group(group) => group.delimiter() == Delimiter::Brace,
        token => is_punct(Some(token), ';'),
    };
    Some(tokens.iter().position(ends).map_or(tokens.len(), |last| last + 1))
}

/// What a path names that goes on with `tokens`, `level` modules below the root.
fn follow(tokens: &[TokenTree], level: usize, named: &mut Named) {
    match tokens.first() {
        Some(TokenTree::Ident(ident)) if ident == "super" && joined(&tokens[1..]) => {
            follow(&tokens[3..], level.saturating_sub(1), named);
        }
        Some(TokenTree::Group(group)) => {
            let all: Vec<TokenTree> = group.stream().into_iter().collect();
            for one in all.split(|token| is_punct(Some(token), ',')) {
                follow(one, level, named);
            }
        }
        Some(token) if level == 0 => {
            named.rooms.push((token.to_string(), token.span().start().line));
        }
        _ => {}
    }
}

fn read(tokens: TokenStream, module: &[String], named: &mut Named) {
    let tokens: Vec<TokenTree> = tokens.into_iter().collect();
    let mut at = 0;
    while at < tokens.len() {
        let rest = &tokens[at..];
        if let Some(taken) = test_item(rest) {
            at += taken;
            continue;
        }
        // The second `super` of a path belongs to the first.
        let goes_on = at >= 2 && joined(&tokens[at - 2..]);
        match rest {
            [TokenTree::Ident(word), TokenTree::Ident(name), next, ..] if word == "mod" => {
                let own: Vec<String> = module.iter().cloned().chain([name.to_string()]).collect();
                if let TokenTree::Group(body) = next {
                    read(body.stream(), &own, named);
                } else {
                    named.children.push(own);
                }
                at += 2;
            }
            [TokenTree::Ident(word), path @ ..]
                if (word == "crate" || word == "super") && joined(path) && !goes_on =>
            {
                let level = if word == "crate" { 0 } else { module.len().saturating_sub(1) };
                follow(&path[2..], level, named);
            }
            [TokenTree::Group(group), ..] => read(group.stream(), module, named),
            _ => {}
        }
        at += 1;
    }
}

/// Lines of a module that name what is not to its left.
fn arrows_back(module: &[String], named: &Named) -> Vec<String> {
    let place = |room: &str| ORDER.iter().position(|&one| one == room);
    let Some(own) = module.first() else { return Vec::new() };
    let back =
        named.rooms.iter().filter(|(room, _)| place(room).is_none_or(|to| place(own) < Some(to)));
    back.map(|(room, line)| format!("{}, line {line}: {own} uses {room}", module.join("/")))
        .collect()
}

/// Reads a module and those below it; returns the arrows that run back and the rooms there are.
fn walk(source: &Path, module: &[String], rooms: &mut Vec<String>) -> Vec<String> {
    let own = source.join(module.join("/"));
    let file = match module {
        [] => source.join("lib.rs"),
        _ if own.is_dir() => own.join("mod.rs"),
        _ => own.with_extension("rs"),
    };
    let text =
        std::fs::read_to_string(&file).unwrap_or_else(|why| panic!("{}: {why}", file.display()));
    let mut named = Named::default();
    read(text.parse().unwrap(), module, &mut named);
    let mut back = arrows_back(module, &named);
    for child in named.children {
        if module.is_empty() {
            rooms.push(child[0].clone());
        }
        back.extend(walk(source, &child, rooms));
    }
    back
}

#[test]
fn no_room_uses_one_to_its_right() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut rooms = Vec::new();
    assert_eq!(walk(&source, &[], &mut rooms), [""; 0], "order: {ORDER:?}");
    rooms.sort_unstable();
    let mut all = ORDER;
    all.sort_unstable();
    assert_eq!(rooms, all, "every room has its place in the order");
}

/// Each planted line is found, and nothing that is no use.
#[test]
fn planted_arrows_are_found() {
    let check = |module: &[&str], text: &str| -> Vec<String> {
        let module: Vec<String> = module.iter().map(|&part| part.to_owned()).collect();
        let mut named = Named::default();
        read(text.parse().unwrap(), &module, &mut named);
        arrows_back(&module, &named)
    };
    let segment = ["store", "segment"];
    for planted in [
        "use crate::search::Sections;",
        "use super::super::search::Sections;",
        "use crate::{params::Curve, search::{Answer, Nearest}};",
        "use crate::{params::Curve, sketch::{BLOCK, GROUP}, search};",
        "fn f() -> usize { let x = [crate::group::medoid(1)]; x.len() }",
        "fn f(a: super::super::search::Answer) {}",
        "macro_rules! m { () => { $crate::search::nearest() } }",
        "mod inner { use super::super::super::search::Answer; }",
        // What the root hands out hides which room it is of.
        "use crate::Nearest;",
        "use crate::*;",
    ] {
        assert_eq!(check(&segment, planted).len(), 1, "{planted}: {:?}", check(&segment, planted));
    }
    assert_eq!(
        check(&segment, "use crate::search::A;"),
        ["store/segment, line 1: store uses search"]
    );
    assert_eq!(check(&["store"], "use super::search::A;").len(), 1);
    // A room without a place may use nothing, and nothing may use it.
    assert_eq!(check(&["new"], "use crate::params::A;").len(), 1);
    assert_eq!(check(&["params"], "use crate::new::A;").len(), 1);
    for sound in [
        "use crate::sketch::{Layout, RUN};",
        "use super::bytes::Bytes; use super::super::params::Curve; use super::{Index, search};",
        "/// See [`crate::search::Answer`].\nfn f() { let text = \"crate::search::Answer\"; }",
        "#[cfg(test)] mod tests { use crate::search::Answer; } use crate::params::Curve;",
        "#[cfg(test)] use crate::search::Answer; pub(crate) fn f() {}",
    ] {
        assert_eq!(check(&segment, sound), [""; 0], "{sound}");
    }
}
