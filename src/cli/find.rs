use std::path::Path;

use super::args::FindArgs;
use super::output::{Output, count, one_line};
use super::{Exit, place};
use crate::find::{Excerpt, Filter, WordsHit, WordsOf, WordsQuery};

pub(super) fn run(
    args: &FindArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let library = place::for_reading(library)?;
    let filter = args.filter.as_deref().map(Filter::parse).transpose()?.unwrap_or_default();
    let text = args.words.join(" ");
    let found = library.find(&WordsQuery { text: &text, filter, k: args.k })?;
    for ignored in &found.ignored {
        out.say(&format!("left out: {ignored}"));
    }
    if found.hits.is_empty() {
        out.say(&found.cut.unwrap_or_else(|| {
            format!("no match: {} and the catalogue searched", count(found.searched, "case"))
        }));
        return Ok(Exit::Nothing);
    }
    let mut cautions: Vec<&String> = Vec::new();
    for hit in &found.hits {
        if out.json {
            out.object(hit)?;
            continue;
        }
        for line in describe(hit) {
            out.line(&line)?;
        }
        for caution in &hit.cautions {
            if !cautions.contains(&caution) {
                cautions.push(caution);
            }
        }
    }
    if !cautions.is_empty() {
        out.line("")?;
        // Each drill's own before what goes for all of them.
        cautions.sort_by_key(|caution| {
            found.hits.iter().filter(|hit| hit.cautions.contains(*caution)).count()
        });
        for caution in cautions {
            out.line(caution)?;
        }
    }
    let more = found.matched - found.hits.len();
    if more > 0 {
        out.say(&format!("and {more} more that hold some of these words; see more with -k"));
    }
    Ok(Exit::Found)
}

fn describe(hit: &WordsHit) -> Vec<String> {
    let what = match &hit.what {
        WordsOf::Case { case, player, date } => format!("{case} of {player}, {date}"),
        WordsOf::Fault { id, name } => format!("fault: {name} ({id})"),
        WordsOf::Drill { id, name } => format!("drill: {name} ({id})"),
    };
    let mut lines = vec![format!("{}. {what}", hit.rank)];
    lines.extend(
        hit.excerpts
            .iter()
            .map(|excerpt| format!("   {}: {}", excerpt.part.label(), marked(excerpt))),
    );
    lines
}

/// The excerpt on one line, the words found in bold; a stream that is no terminal gets them plain.
fn marked(excerpt: &Excerpt) -> String {
    let bold = clap::builder::styling::Style::new().bold();
    let letters: Vec<char> = excerpt.text.chars().collect();
    let plain = |range: std::ops::Range<usize>| -> String {
        let text: String =
            letters[range].iter().map(|c| if c.is_whitespace() { ' ' } else { *c }).collect();
        one_line(&text).into_owned()
    };
    let mut line = String::new();
    let mut at = 0;
    for range in &excerpt.matches {
        line += &plain(at..range.start);
        line += &format!("{bold}{}{bold:#}", plain(range.clone()));
        at = range.end;
    }
    line + &plain(at..letters.len())
}
