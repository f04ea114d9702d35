//! The words a coach types, read leniently: whatever can not be searched is named, not an error.

use tantivy::query::{BooleanQuery, BoostQuery, Occur, PhraseQuery, Query, TermQuery};
use tantivy::schema::{Field, IndexRecordOption};
use tantivy::tokenizer::TextAnalyzer;
use tantivy::{Term, query::AllQuery};

use super::Fields;

/// Longest text that is read, bytes.
pub(super) const TEXT_LIMIT: usize = 400;
/// Most words and phrases.
pub(super) const TERM_LIMIT: usize = 24;

/// A part of the text that was left out, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ignored {
    /// The part.
    pub text: String,
    /// The reason, in a few words.
    pub why: &'static str,
}

impl std::fmt::Display for Ignored {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "'{}' ({})", self.text, self.why)
    }
}

/// What a text asks for: every clause must hold.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Asked {
    pub(super) clauses: Vec<Clause>,
    pub(super) ignored: Vec<Ignored>,
}

/// Words in this order; one word is the usual case.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Clause {
    pub(super) text: String,
    pub(super) absent: bool,
    pub(super) quoted: bool,
}

/// Splits a text into words, `"phrases"` and `-words` that must be absent.
pub(super) fn ask(text: &str) -> Asked {
    let mut asked = Asked::default();
    let mut kept = text;
    if text.len() > TEXT_LIMIT {
        let end = (0..=TEXT_LIMIT).rev().find(|&at| text.is_char_boundary(at)).unwrap_or(0);
        kept = &text[..end];
        let rest: String = text[end..].chars().take(20).collect();
        asked.ignored.push(Ignored { text: rest, why: "beyond 400 bytes" });
    }
    let mut rest = kept.trim_start();
    while !rest.is_empty() {
        let unsigned = rest.strip_prefix('-').filter(|after| after.starts_with(word_or_phrase));
        let (absent, body) = (unsigned.is_some(), unsigned.unwrap_or(rest));
        let quoted = body.starts_with('"');
        let (piece, after) = match body.strip_prefix('"') {
            // A phrase that never closes runs to the end.
            Some(open) => open.split_once('"').unwrap_or((open, "")),
            None => body
                .split_at(body.find(|c: char| c.is_whitespace() || c == '"').unwrap_or(body.len())),
        };
        rest = after.trim_start();
        if !piece.chars().any(char::is_alphanumeric) {
            if !piece.trim().is_empty() {
                let text = piece.trim().to_owned();
                asked.ignored.push(Ignored { text, why: "no letters or digits" });
            }
        } else if asked.clauses.len() == TERM_LIMIT {
            asked.ignored.push(Ignored { text: piece.to_owned(), why: "beyond 24 words" });
        } else {
            asked.clauses.push(Clause { text: piece.to_owned(), absent, quoted });
        }
    }
    asked
}

fn word_or_phrase(c: char) -> bool {
    c == '"' || c.is_alphanumeric()
}

/// What to search for: what a document must match, and what it must not.
pub(super) struct Sought {
    pub(super) query: Box<dyn Query>,
    pub(super) absent: Vec<Box<dyn Query>>,
}

/// What is sought by `asked`, with what the analyser dropped added to what is ignored; `None` if
/// nothing is left to search for.
pub(super) fn build(
    asked: Asked,
    field: Field,
    analyser: &mut TextAnalyzer,
) -> (Option<Sought>, Vec<Ignored>) {
    let Asked { clauses, mut ignored } = asked;
    let mut parts: Vec<(Occur, Box<dyn Query>)> = Vec::new();
    let mut absent = Vec::new();
    for clause in clauses {
        let mut words = Vec::new();
        analyser.token_stream(&clause.text).process(&mut |token| {
            words.push((token.position, Term::from_field_text(field, &token.text)));
        });
        let query: Box<dyn Query> = match words.len() {
            0 => {
                ignored.push(Ignored { text: clause.text, why: "too common or too long a word" });
                continue;
            }
            1 => Box::new(TermQuery::new(words.swap_remove(0).1, IndexRecordOption::Basic)),
            _ => Box::new(PhraseQuery::new_with_offset(words)),
        };
        if clause.absent {
            absent.push(query);
        } else {
            parts.push((Occur::Must, query));
        }
    }
    if parts.is_empty() && absent.is_empty() {
        return (None, ignored);
    }
    let query: Box<dyn Query> = match parts.is_empty() {
        true => Box::new(AllQuery),
        false => Box::new(BooleanQuery::new(parts)),
    };
    (Some(Sought { query, absent }), ignored)
}

/// A word to rank by.
#[derive(Debug, Clone)]
pub(super) struct Word {
    /// As it was typed, or the phrase it is of.
    pub(super) text: String,
    /// As the index knows it.
    pub(super) token: String,
    pub(super) term: Term,
}

/// What to rank by.
pub(super) struct Ranking {
    pub(super) sought: Sought,
    /// The words wanted, those of phrases included.
    pub(super) words: Vec<Word>,
}

/// How much more a word counts in the name of a fault or drill than elsewhere in it. Our choice.
const NAME_COUNTS: f32 = 1.0;

/// What ranks: any of the words, but every quoted phrase and none of the absent words.
/// `None` if nothing is wanted.
pub(super) fn rank(
    asked: Asked,
    fields: Fields,
    analyser: &mut TextAnalyzer,
) -> (Option<Ranking>, Vec<Ignored>) {
    let Asked { clauses, mut ignored } = asked;
    let mut parts: Vec<(Occur, Box<dyn Query>)> = Vec::new();
    let mut absent: Vec<Box<dyn Query>> = Vec::new();
    let mut words: Vec<Word> = Vec::new();
    for clause in clauses {
        let mut terms = Vec::new();
        let mut own = Vec::new();
        analyser.token_stream(&clause.text).process(&mut |token| {
            let term = Term::from_field_text(fields.text, &token.text);
            terms.push((token.position, term.clone()));
            let typed = clause.text[token.offset_from..token.offset_to].to_owned();
            own.push(Word { text: typed, token: token.text.clone(), term });
        });
        if terms.is_empty() {
            ignored.push(Ignored { text: clause.text, why: "too common or too long a word" });
            continue;
        }
        let is_phrase = terms.len() > 1;
        let whole: Box<dyn Query> = if is_phrase {
            Box::new(PhraseQuery::new_with_offset(terms))
        } else {
            Box::new(TermQuery::new(terms.swap_remove(0).1, IndexRecordOption::WithFreqs))
        };
        if clause.absent {
            absent.push(whole);
            continue;
        }
        parts.push((if clause.quoted { Occur::Must } else { Occur::Should }, whole));
        for word in own {
            // "front-foot" is best as it stands, but either word alone counts too.
            if is_phrase && !clause.quoted {
                let alone = TermQuery::new(word.term.clone(), IndexRecordOption::WithFreqs);
                parts.push((Occur::Should, Box::new(alone)));
            }
            let named = Term::from_field_text(fields.name, &word.token);
            let named = TermQuery::new(named, IndexRecordOption::WithFreqs);
            parts.push((Occur::Should, Box::new(BoostQuery::new(Box::new(named), NAME_COUNTS))));
            words.push(word);
        }
    }
    if words.is_empty() {
        if !absent.is_empty() {
            let text = "only words that must be absent".to_owned();
            ignored.push(Ignored { text, why: "nothing to rank by; add a word to look for" });
        }
        return (None, ignored);
    }
    let sought = Sought { query: Box::new(BooleanQuery::new(parts)), absent };
    (Some(Ranking { sought, words }), ignored)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clauses(text: &str) -> Vec<(String, bool)> {
        ask(text).clauses.into_iter().map(|c| (c.text, c.absent)).collect()
    }

    #[test]
    fn words_phrases_and_absent_words_are_told_apart() {
        assert_eq!(
            clauses(r#"late "toss arm" -grip -"flat feet"  front-foot"#),
            [
                ("late".to_owned(), false),
                ("toss arm".to_owned(), false),
                ("grip".to_owned(), true),
                ("flat feet".to_owned(), true),
                ("front-foot".to_owned(), false),
            ]
        );
        assert_eq!(clauses(r#""never closed"#), [("never closed".to_owned(), false)]);
        assert_eq!(clauses(""), []);
    }

    #[test]
    fn what_can_not_be_searched_is_named() {
        let asked = ask("toss ** - \"\" ()");
        assert_eq!(asked.clauses.len(), 1);
        let names: Vec<_> = asked.ignored.iter().map(ToString::to_string).collect();
        assert_eq!(
            names,
            [
                "'**' (no letters or digits)",
                "'-' (no letters or digits)",
                "'()' (no letters or digits)"
            ]
        );
        let asked = ask(&"wort ".repeat(30));
        assert_eq!((asked.clauses.len(), asked.ignored.len()), (TERM_LIMIT, 6));
        let asked = ask(&"ä".repeat(300));
        assert_eq!(asked.clauses[0].text.len(), TEXT_LIMIT);
        assert_eq!(asked.ignored[0].why, "beyond 400 bytes");
    }
}
