//! The order of the rooms, read off the imports: a room may use those above it in `src/lib.rs`,
//! never those below.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Rooms in their order, as `src/lib.rs` lists them; what only tests see is none.
fn order(contents: &str) -> Vec<String> {
    let mut rooms = Vec::new();
    let mut of_tests = false;
    for line in contents.lines() {
        let name = line.strip_prefix("pub mod ").or_else(|| line.strip_prefix("mod "));
        if let Some(name) = name.and_then(|rest| rest.strip_suffix(';')) {
            if !of_tests {
                rooms.push(name.to_owned());
            }
            of_tests = false;
        } else if line == "#[cfg(test)]" {
            of_tests = true;
        }
    }
    rooms
}

/// The code of a file without comments and without what only tests see.
fn code(text: &str) -> String {
    let mut kept = String::new();
    let mut of_tests = false;
    for line in text.lines() {
        let bare = line.trim_start();
        if of_tests {
            // A module of tests stands last in its file; a single item ends with its line.
            if bare.starts_with("mod ") && bare.ends_with('{') {
                break;
            }
            of_tests = bare.starts_with("#[") || bare.starts_with("//");
            continue;
        }
        if bare == "#[cfg(test)]" {
            of_tests = true;
        } else if !bare.starts_with("//") {
            kept.push_str(line);
            kept.push('\n');
        }
    }
    kept
}

/// Modules of one file that only tests see.
fn test_modules(text: &str) -> BTreeSet<String> {
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    let mut found = BTreeSet::new();
    for pair in lines.windows(2).filter(|pair| pair[0] == "#[cfg(test)]") {
        let name = pair[1].rsplit_once("mod ").and_then(|(_, rest)| rest.strip_suffix(';'));
        found.extend(name.map(str::to_owned));
    }
    found
}

/// Every source file of a room that the program is built from.
fn files(place: &Path, into: &mut Vec<PathBuf>) {
    let hidden: BTreeSet<String> = fs::read_to_string(place.join("mod.rs"))
        .map(|text| test_modules(&text))
        .unwrap_or_default();
    let mut entries: Vec<PathBuf> =
        fs::read_dir(place).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        let stem = path.file_stem().unwrap().to_string_lossy().into_owned();
        if hidden.contains(&stem) {
            continue;
        }
        if path.is_dir() {
            files(&path, into);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            into.push(path);
        }
    }
}

/// Rooms that a piece of code names by `crate::room`, groups in braces included.
fn named(code: &str, rooms: &[String]) -> BTreeSet<String> {
    let word = |text: &str| -> String {
        text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
    };
    let mut found = BTreeSet::new();
    for (at, _) in code.match_indices("crate::") {
        let rest = &code[at + "crate::".len()..];
        if let Some(group) = rest.strip_prefix('{') {
            let mut depth = 0_i32;
            let mut start = true;
            for (place, c) in group.char_indices() {
                match c {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => start = true,
                    c if start && !c.is_whitespace() && depth == 0 => {
                        found.insert(word(&group[place..]));
                        start = false;
                    }
                    _ => {}
                }
            }
        } else {
            found.insert(word(rest));
        }
    }
    found.retain(|name| rooms.contains(name));
    found
}

/// Arrows that run back: room, file, the room below that it names.
fn backward(source: &Path) -> Vec<String> {
    let rooms = order(&fs::read_to_string(source.join("lib.rs")).unwrap());
    let mut wrong = Vec::new();
    for (place, room) in rooms.iter().enumerate() {
        let mut all = Vec::new();
        let folder = source.join(room);
        if folder.is_dir() {
            files(&folder, &mut all);
        } else {
            all.push(source.join(format!("{room}.rs")));
        }
        for file in all {
            let code = code(&fs::read_to_string(&file).unwrap());
            for other in named(&code, &rooms) {
                if rooms.iter().position(|name| *name == other) > Some(place) {
                    let shown = file.strip_prefix(source).unwrap().display();
                    wrong.push(format!("{shown} uses {other}, which stands below {room}"));
                }
            }
        }
    }
    wrong
}

#[test]
fn no_room_uses_one_below_it() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let wrong = backward(&source);
    assert!(wrong.is_empty(), "arrows that run back:\n{}", wrong.join("\n"));
}

#[test]
fn an_arrow_that_runs_back_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    };
    write(
        "lib.rs",
        "//! House.\npub mod first;\n\nmod second;\npub mod third;\n#[cfg(test)]\nmod x;\n",
    );
    write("first/mod.rs", "#[cfg(test)]\nmod tests;\nmod inner;\n// crate::third is a comment\n");
    write("first/tests.rs", "use crate::third::Thing;\n");
    write("first/inner.rs", "use crate::{\n    second::{A, B},\n    first::C,\n};\n");
    write(
        "second.rs",
        "use crate::first::C;\n#[cfg(test)]\nmod tests {\n  use crate::third::T;\n}\n",
    );
    write("third/mod.rs", "fn f() { crate::first::g() }\n");
    assert_eq!(backward(folder.path()), ["first/inner.rs uses second, which stands below first"]);
}

#[test]
fn the_page_for_developers_lists_the_rooms_in_their_order() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let rooms = order(&fs::read_to_string(root.join("src/lib.rs")).unwrap());
    let page = fs::read_to_string(root.join("DEVELOPERS.md")).unwrap();
    let mut listed = Vec::new();
    for line in page.lines() {
        let cell = line.strip_prefix("| `src/").and_then(|rest| rest.split_once('`'));
        listed.extend(
            cell.map(|(name, _)| name.trim_end_matches(".rs").trim_matches('/').to_owned()),
        );
    }
    assert_eq!(listed, rooms);
}

/// What a drill tells somebody to do goes only to what says its cautions: one type, in coaching.
#[test]
fn only_coaching_is_handed_the_words_of_a_drill() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let (mut all, mut say) = (Vec::new(), Vec::new());
    files(&source, &mut all);
    for file in all {
        let code = code(&fs::read_to_string(&file).unwrap());
        let shown = file.strip_prefix(&source).unwrap().display().to_string();
        say.extend(
            code.lines()
                .filter(|line| line.contains("SaysCautions for"))
                .map(|line| format!("{shown}: {}", line.trim())),
        );
    }
    assert_eq!(say, ["coaching/cautions.rs: impl SaysCautions for Cautions {"]);
}
