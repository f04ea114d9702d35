//! The guide the program carries: Markdown in `text/`, for a terminal and for the page.
//!
//! One text for both. What is done differently stands in fenced blocks: `sh` holds commands, `terminal`
//! text that goes with them, and neither is shown on the page; `page` holds what is clicked there instead,
//! and is not shown on a terminal. After every `sh` block a `page` block says the same for the page.
//! Every command is run by `tests/guide.rs`; every picture is drawn when it is shown.

mod pictures;

use std::fmt::Write as _;

use pulldown_cmark::{
    CodeBlockKind, CowStr, Event, HeadingLevel, Options, Parser, Tag, TagEnd, html,
};

use crate::words::Interface;

/// A topic of the guide.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Topic {
    /// What it is asked for by.
    pub name: &'static str,
    /// What it says, as Markdown.
    pub text: &'static str,
}

macro_rules! topics {
    ($($name:literal)*) => {
        /// All topics, in the order in which they are best read.
        pub const TOPICS: &[Topic] =
            &[$(Topic { name: $name, text: include_str!(concat!("text/", $name, ".md")) }),*];
    };
}

topics! {
    "first-hour" "filming" "review" "numbers" "squads" "sharing" "privacy" "parents" "data" "search"
}

/// Columns a terminal's text is broken at.
const COLUMNS: usize = 92;

impl Topic {
    /// The topic of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        TOPICS.iter().find(|topic| topic.name.eq_ignore_ascii_case(name.trim())).copied()
    }

    /// Its title.
    #[must_use]
    pub fn title(&self) -> &'static str {
        self.text.lines().next().unwrap_or_default().trim_start_matches("# ")
    }

    /// As plain text for a terminal.
    #[must_use]
    pub fn plain(&self) -> String {
        let mut page = Plain::default();
        for event in events(self.text, Interface::Terminal) {
            page.take(event);
        }
        page.out
    }

    /// As HTML for the page, without its title; pictures as SVG.
    #[must_use]
    pub fn html(&self) -> String {
        let mut shown = Vec::new();
        let (mut in_title, mut in_picture) = (false, false);
        for event in events(self.text, Interface::Page) {
            match event {
                Event::Start(Tag::Heading { level: HeadingLevel::H1, .. }) => in_title = true,
                Event::End(TagEnd::Heading(HeadingLevel::H1)) => in_title = false,
                Event::Start(Tag::Image { dest_url, .. }) => {
                    in_picture = true;
                    shown.push(picture(&dest_url));
                }
                Event::End(TagEnd::Image) => in_picture = false,
                _ if in_title || in_picture => {}
                event => shown.push(event),
            }
        }
        let mut out = String::new();
        html::push_html(&mut out, shown.into_iter());
        // What is wider than a telephone is moved to and fro by the keyboard, too.
        out.replace("<pre>", "<pre tabindex=\"0\">")
    }
}

/// Whether a block of this kind is shown here.
fn shows(interface: Interface, kind: &str) -> bool {
    match kind.split(' ').next() {
        Some("page") => interface == Interface::Page,
        Some("terminal" | "sh") => interface == Interface::Terminal,
        _ => true,
    }
}

/// What a text says to this interface: blocks for the other are left out, its own read like the rest.
fn events(text: &str, interface: Interface) -> Vec<Event<'_>> {
    let mut found = Vec::new();
    // Kind of the block that is being read and what stands in it.
    let mut block: Option<(String, String)> = None;
    for event in Parser::new_ext(text, Options::empty()) {
        match (event, block.take()) {
            (Event::Start(Tag::CodeBlock(CodeBlockKind::Fenced(kind))), None)
                if ["page", "terminal"].contains(&kind.as_ref()) || !shows(interface, &kind) =>
            {
                block = Some((kind.to_string(), String::new()));
            }
            (Event::Text(words), Some((kind, inside))) => block = Some((kind, inside + &words)),
            (Event::End(TagEnd::CodeBlock), Some((kind, inside))) => {
                if shows(interface, &kind) {
                    for event in events(&inside, interface) {
                        found.push(event.into_static());
                    }
                }
            }
            (_, open @ Some(_)) => block = open,
            (event, None) => found.push(event),
        }
    }
    found
}

fn picture<'a>(address: &str) -> Event<'a> {
    let drawn = address.strip_prefix("picture:").and_then(pictures::drawn);
    Event::Html(CowStr::from(drawn.map(|svg| svg.to_string()).unwrap_or_default()))
}

/// Text for a terminal as it grows.
#[derive(Default)]
struct Plain {
    out: String,
    /// The paragraph that is being read.
    words: String,
    /// What stands before the first line of it; further ones are indented as far.
    lead: String,
    in_code: bool,
    /// Numbers of ordered lists, nothing for the others.
    lists: Vec<Option<u64>>,
}

impl Plain {
    fn take(&mut self, event: Event<'_>) {
        match event {
            Event::Text(text) if self.in_code => {
                for line in text.lines() {
                    // Writing to a string cannot fail.
                    let _ = writeln!(self.out, "    {line}");
                }
            }
            Event::Text(text) | Event::Code(text) => self.words.push_str(&text),
            Event::SoftBreak | Event::HardBreak => self.words.push(' '),
            Event::Start(Tag::CodeBlock(_)) => {
                self.flush();
                self.in_code = true;
            }
            Event::End(TagEnd::CodeBlock) => {
                self.in_code = false;
                self.out.push('\n');
            }
            Event::Start(Tag::List(first)) => {
                self.flush();
                self.lists.push(first);
            }
            Event::End(TagEnd::List(_)) => {
                self.lists.pop();
                self.out.push('\n');
            }
            Event::Start(Tag::Item) => {
                self.lead = match self.lists.last_mut() {
                    Some(Some(number)) => {
                        *number += 1;
                        format!("{:>3}. ", *number - 1)
                    }
                    _ => "  - ".to_owned(),
                };
            }
            Event::End(TagEnd::Item) => self.flush(),
            Event::Start(Tag::Image { .. }) => self.words.push_str("[Picture: "),
            Event::End(TagEnd::Image) => self.words.push_str("; it is in the guide on the page]"),
            Event::End(TagEnd::Heading(level)) => {
                let title = std::mem::take(&mut self.words);
                let under = if level == HeadingLevel::H1 { "=" } else { "-" };
                let _ = writeln!(self.out, "{title}\n{}\n", under.repeat(title.chars().count()));
            }
            Event::End(TagEnd::Paragraph) => {
                self.flush();
                if self.lists.is_empty() {
                    self.out.push('\n');
                }
            }
            _ => {}
        }
    }

    /// Writes the paragraph, broken into lines.
    fn flush(&mut self) {
        let words = std::mem::take(&mut self.words);
        let lead = std::mem::take(&mut self.lead);
        if words.trim().is_empty() {
            return;
        }
        let indent = " ".repeat(lead.chars().count());
        let mut line = lead;
        let mut is_first = true;
        for word in words.split_whitespace() {
            if !is_first && line.chars().count() + 1 + word.chars().count() > COLUMNS {
                let _ = writeln!(self.out, "{line}");
                line = indent.clone();
                is_first = true;
            }
            if !is_first {
                line.push(' ');
            }
            line.push_str(word);
            is_first = false;
        }
        let _ = writeln!(self.out, "{line}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_topic_has_a_title_and_reads_plainly() {
        for topic in TOPICS {
            assert!(topic.text.starts_with("# ") && !topic.title().is_empty(), "{}", topic.name);
            let plain = topic.plain();
            assert!(plain.starts_with(topic.title()), "{plain}");
            for mark in ["**", "```", "](", "# "] {
                assert!(!plain.contains(mark), "{mark} in {}:\n{plain}", topic.name);
            }
            assert!(plain.lines().all(|line| line.chars().count() <= 130), "{plain}");
        }
        assert_eq!(Topic::named(" Filming").unwrap().name, "filming");
        assert!(Topic::named("nothing").is_none());
    }

    /// On the page nobody types: no command is shown there but where it is said that there is no button, and
    /// wherever a terminal is told what to type, the page is told what to press.
    #[test]
    fn the_page_is_told_what_to_press_and_a_terminal_what_to_type() {
        for topic in TOPICS {
            let (plain, html) = (topic.plain(), topic.html());
            assert!(!html.contains("language-sh") && !html.contains("language-page"), "{html}");
            for said in html.split("</p>").filter(|said| said.contains("precedent ")) {
                assert!(said.contains("command line"), "{}: {said}", topic.name);
            }
            assert!(!plain.contains("](/") && !plain.contains("Press "), "{plain}");
            let fences: Vec<&str> = topic
                .text
                .lines()
                .filter(|line| line.starts_with("```") && line.len() > 3)
                .collect();
            let typed = fences.iter().filter(|fence| fence.starts_with("```sh")).count();
            let pressed = fences.iter().filter(|fence| **fence == "```page").count();
            assert!(typed == 0 || pressed > 0, "{}", topic.name);
            assert_eq!(plain.matches("\n    precedent ").count() > 0, typed > 0, "{plain}");
        }
        let first = Topic::named("first-hour").unwrap().html();
        for pressed in [
            "href=\"/add\"",
            "Read them",
            "Store",
            "Plan for it",
            "Record the plan",
            "Follow it up",
        ] {
            assert!(first.contains(pressed), "{pressed}");
        }
        assert!(!first.contains("precedent "), "{first}");
    }

    #[test]
    fn every_picture_is_drawn() {
        let mut drawn = 0;
        for topic in TOPICS {
            let wanted = topic.text.matches("](picture:").count();
            let page = topic.html();
            assert_eq!(page.matches("<svg").count(), wanted, "{}", topic.name);
            assert!(!page.contains("<img") && !page.contains("<h1"), "{}", topic.name);
            drawn += wanted;
        }
        assert!(drawn >= 2);
    }
}
