//! What worked, as rows of dots with what they say.

use super::HALF;
use crate::coaching::Cautions;
use crate::drawing::{DotRow, dot_row};
use crate::pages::EvidenceRow;
use crate::words::sentence;

pub(in crate::pages) struct EvidenceView {
    pub(in crate::pages) drawing: String,
    pub(in crate::pages) trust: String,
}

/// Rows of dots on one scale with what they say; `nearness`: whether to say what the players count
/// like, `clean` goes over every text.
pub(in crate::pages) fn evidence_views(
    rows: &[EvidenceRow],
    most: usize,
    nearness: bool,
    clean: &dyn Fn(&str) -> String,
    cautions: &mut Cautions,
) -> Vec<EvidenceView> {
    let rows: Vec<_> = rows.iter().take(most).collect();
    let range = rows
        .iter()
        .map(|row| row.row.range())
        .fold((0.0, 0.0), |a: (f64, f64), b| (a.0.min(b.0), a.1.max(b.1)));
    rows.into_iter()
        .map(|row| {
            let (label, own) = cautions.together(&row.done);
            let row_of_dots = DotRow { label, ..row.row.clone() };
            let mut trust =
                vec![format!("{}.", sentence(&row_of_dots.estimated())), clean(&row.trust)];
            trust.extend(row.typical_days.filter(|d| d.is_finite()).map(|days| {
                format!("Typical time to change: about {:.0} weeks.", (days / 7.0).max(1.0))
            }));
            trust.extend(row.effective_players.filter(|n| nearness && n.is_finite()).map(|n| {
                format!("Counts like {n:.1} players who serve as much like this as the closest.")
            }));
            if !own.is_empty() {
                let own: Vec<_> = own.into_iter().map(clean).collect();
                trust.push(format!("Caution: {}", own.join(" ")));
            }
            EvidenceView {
                drawing: dot_row(&row_of_dots, range, HALF).to_string(),
                trust: trust.join(" "),
            }
        })
        .collect()
}
