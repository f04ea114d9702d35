//! What changed: since an earlier review, and when the ball comes.

use askama::Template;

use super::{BESIDE, NARROW, Pair, pair};
use crate::drawing::{EventStrip, Viewpoint, event_strip, month_strip};
use crate::pages::redact::Redactor;
use crate::pages::{ChangeFacts, ReviewData};
use crate::words::{self, amount, sentence};

pub(super) struct ChangeView {
    pub(super) measure: String,
    pub(super) before: String,
    pub(super) after: String,
    pub(super) said: String,
    pub(super) class: &'static str,
}

#[derive(Template)]
#[template(path = "changes.html")]
pub(super) struct Changes {
    pub(super) rows: Vec<ChangeView>,
    pub(super) before: &'static str,
    pub(super) after: &'static str,
}

pub(super) struct ProgressView {
    pub(super) sentence: String,
    pub(super) months: Option<Pair>,
    pub(super) strip: Option<Pair>,
    pub(super) elsewhere: Changes,
    pub(super) ball: Vec<String>,
}

#[derive(Template)]
#[template(path = "with_ball.html")]
pub(super) struct ComparisonView {
    pub(super) sentence: String,
    pub(super) changes: Changes,
}

pub(super) fn changes(
    rows: &[ChangeFacts],
    most: usize,
    [before, after]: [&'static str; 2],
) -> Changes {
    Changes { rows: rows.iter().take(most).map(change_view).collect(), before, after }
}

fn change_view(change: &ChangeFacts) -> ChangeView {
    let by = change.after - change.before;
    let (said, class) = if !by.is_finite() {
        ("not measurable both times".to_owned(), "")
    } else if !change.beyond {
        (format!("within chance (up to {})", amount(change.detectable, &change.unit)), "")
    } else {
        let (word, class) = match change.better {
            Some(true) => ("better", "better"),
            Some(false) => ("worse", "worse"),
            None => (if by > 0.0 { "more" } else { "less" }, ""),
        };
        (format!("{word}, by {}", words::apart(change.before, change.after, &change.unit)), class)
    };
    ChangeView {
        measure: sentence(&change.measure),
        before: words::reading(&change.measure, &change.unit, change.before),
        after: words::reading(&change.measure, &change.unit, change.after),
        said,
        class,
    }
}

pub(super) fn progress_view(
    data: &ReviewData,
    most: usize,
    coach: bool,
    texts: &Redactor,
) -> Option<ProgressView> {
    let progress = data.progress.as_ref()?;
    let months = progress.months.as_ref().and_then(|strip| {
        Some(Pair {
            wide: month_strip(strip, BESIDE)?.to_string(),
            narrow: month_strip(strip, NARROW)?.to_string(),
        })
    });
    // A player's two sheets have room for one strip.
    let strip = progress.earlier.as_ref().filter(|_| coach).and_then(|(figures, label)| {
        let strip = EventStrip {
            this: data.figures.as_ref()?,
            this_label: "now",
            behind: Some((figures, label.as_str())),
            events: &data.events,
            seen: Viewpoint::FromBehind,
        };
        Some(pair(|width| event_strip(&strip, width)))
    });
    Some(ProgressView {
        sentence: texts.clean(&progress.sentence),
        months,
        strip,
        elsewhere: changes(&progress.elsewhere, most, ["before", "now"]),
        ball: progress
            .ball
            .iter()
            .chain(progress.curves.as_ref().filter(|_| coach))
            .map(|line| texts.clean(line))
            .collect(),
    })
}
