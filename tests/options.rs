//! No room names an option of the command line: what a refusal advises is a typed remedy, and only
//! the face spells it. Read off the string literals of the sources and the words of the templates.

use std::fs;
use std::path::{Path, PathBuf};

/// String literals of a Rust source without what only tests see, each with its line.
///
/// Comments, characters and lifetimes are passed over; a backslash before a line's end joins lines.
fn literals(text: &str) -> Vec<(usize, String)> {
    let text = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
    let chars: Vec<char> = text.chars().collect();
    let at = |place: usize| chars.get(place).copied().unwrap_or('\0');
    let mut found = Vec::new();
    let mut line = 1;
    let mut place = 0;
    while place < chars.len() {
        match (at(place), at(place + 1)) {
            ('/', '/') => {
                while place < chars.len() && at(place) != '\n' {
                    place += 1;
                }
                continue;
            }
            // A quotation mark as a character.
            ('\'', '"') if at(place + 2) == '\'' => place += 2,
            ('\'', '\\') => place += 2,
            ('r', '"' | '#') if !at(place.wrapping_sub(1)).is_alphanumeric() => {
                let mut marks = 0;
                while at(place + 1 + marks) == '#' {
                    marks += 1;
                }
                if at(place + 1 + marks) == '"' {
                    let (begin, from) = (line, place + 2 + marks);
                    let closes = |end: usize| {
                        at(end) == '"' && (0..marks).all(|mark| at(end + 1 + mark) == '#')
                    };
                    let mut end = from;
                    while end < chars.len() && !closes(end) {
                        line += usize::from(at(end) == '\n');
                        end += 1;
                    }
                    found.push((begin, chars[from..end.min(chars.len())].iter().collect()));
                    place = end + marks;
                }
            }
            ('"', _) => {
                let begin = line;
                let mut literal = String::new();
                place += 1;
                while place < chars.len() && at(place) != '"' {
                    if at(place) == '\\' {
                        place += 1;
                        if at(place) == '\n' {
                            line += 1;
                            while at(place + 1).is_whitespace() {
                                line += usize::from(at(place + 1) == '\n');
                                place += 1;
                            }
                        } else {
                            literal.push(at(place));
                        }
                    } else {
                        line += usize::from(at(place) == '\n');
                        literal.push(at(place));
                    }
                    place += 1;
                }
                found.push((begin, literal));
            }
            ('\n', _) => line += 1,
            _ => {}
        }
        place += 1;
    }
    found
}

/// The option a text names in passing: `--word` behind a space, a backtick or a bracket. A text that
/// is nothing but an option is an argument for another program, a style sheet's `var(--ink)` a colour.
fn option(text: &str) -> Option<&str> {
    let named = text.match_indices("--").find(|(at, _)| {
        let before = text[..*at].chars().next_back();
        let apart = matches!(before, Some(' ' | '`' | '\n'))
            || (before == Some('(') && !text[..*at].ends_with("var("));
        apart && text[at + 2..].starts_with(|c: char| c.is_ascii_lowercase())
    });
    let rest = &text[named?.0..];
    rest.split(|c: char| !c.is_ascii_lowercase() && c != '-').next()
}

/// The sources and templates of every room; the face is none.
fn files(place: &Path, into: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> =
        fs::read_dir(place).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let of_tests = name.contains("tests") || name == "sample.rs";
        if path.is_dir() {
            if name != "cli" && !of_tests {
                files(&path, into);
            }
        } else if !of_tests && (name.ends_with(".rs") || name.ends_with(".html")) {
            into.push(path);
        }
    }
}

fn named(source: &Path) -> Vec<String> {
    let mut all = Vec::new();
    files(source, &mut all);
    let mut wrong = Vec::new();
    for file in all {
        let text = fs::read_to_string(&file).unwrap();
        let shown = file.strip_prefix(source).unwrap().display().to_string();
        let texts = if shown.ends_with(".rs") {
            literals(&text)
        } else {
            text.lines().enumerate().map(|(at, line)| (at + 1, line.to_owned())).collect()
        };
        for (line, text) in texts {
            if let Some(option) = option(&text) {
                wrong.push(format!("{shown}:{line} names {option}"));
            }
        }
    }
    wrong
}

#[test]
fn no_room_names_an_option() {
    let wrong = named(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"));
    assert!(
        wrong.is_empty(),
        "say what to do, as a typed remedy, and let the face spell it:\n{}",
        wrong.join("\n")
    );
}

#[test]
fn an_option_is_found_wherever_a_text_names_it() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    };
    write("cli/mod.rs", "const A: &str = \"say it with --rate\";\n");
    write(
        "room/mod.rs",
        "// with --comment\nconst A: char = '\"';\nconst B: &str = \"one \\\n   with --rate\";\n\
         const C: &str = \"--argument\";\nconst D: &str = r#\"run `verify --rebuild`\"#;\n\
         const E: &str = \"var(--ink)\";\nfn f<'a>(x: &'a str) { g('\\'', \"(--mirror)\") }\n\
         #[cfg(test)]\nmod tests {\n const G: &str = \" --in-tests\";\n}\n",
    );
    write("room/page.html", "<p>told with --json.</p>\n<!-- no option -->\n");
    assert_eq!(
        named(folder.path()),
        [
            "room/mod.rs:3 names --rate",
            "room/mod.rs:6 names --rebuild",
            "room/mod.rs:8 names --mirror",
            "room/page.html:1 names --json",
        ]
    );
}
