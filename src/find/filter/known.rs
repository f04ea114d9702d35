//! Whether the names in a filter are known here, and the nearest one if not.

use super::{FilterError, Key, Term, Test};
use crate::library::Library;

impl Library {
    /// A name nobody bears is more likely a slip than a wish for nothing.
    pub(super) fn check_known(&self, term: &Term) -> Result<(), FilterError> {
        let Test::OneOf { key, values } = &term.test else { return Ok(()) };
        let stored = match key {
            Key::Player => "SELECT code FROM players ORDER BY code",
            Key::Squad => "SELECT DISTINCT squad FROM player_squads ORDER BY squad",
            Key::Coach => {
                "SELECT coach FROM players WHERE coach IS NOT NULL
                 UNION SELECT coach FROM plans WHERE coach IS NOT NULL ORDER BY 1"
            }
            Key::Fault => "SELECT DISTINCT fault FROM labels ORDER BY fault",
            Key::Limiting => "SELECT DISTINCT limiting_fault FROM plans ORDER BY 1",
            Key::Drill => "SELECT DISTINCT drill FROM plan_drills ORDER BY drill",
            _ => return Ok(()),
        };
        let mut known: Vec<String> = self.list("listing names", stored, [], |row| row.get(0))?;
        let catalogue = self.catalogue()?;
        match key {
            Key::Fault | Key::Limiting => known.extend(catalogue.faults().map(|f| f.id.clone())),
            Key::Drill => known.extend(catalogue.drills().map(|d| d.id.clone())),
            _ => {}
        }
        known.sort();
        known.dedup();
        for value in values {
            if !known.iter().any(|name| name.eq_ignore_ascii_case(value)) {
                return Err(FilterError::Value {
                    column: term.column,
                    key: key.name(),
                    found: value.clone(),
                    allowed: nearest(value, &known),
                });
            }
        }
        Ok(())
    }
}

/// Up to eight known names, those most like `found` first.
fn nearest(found: &str, known: &[String]) -> String {
    if known.is_empty() {
        return "there is none yet".to_owned();
    }
    let found = found.to_ascii_lowercase();
    let mut ranked: Vec<_> =
        known.iter().map(|name| (edits(&found, &name.to_ascii_lowercase()), name)).collect();
    ranked.sort();
    let shown: Vec<_> = ranked.iter().take(8).map(|(_, name)| name.as_str()).collect();
    let more = known.len() - shown.len();
    let rest = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("the nearest are {}{rest}", shown.join(", "))
}

/// Letters to add, drop or change to turn `a` into `b` (Levenshtein).
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut corner = row[0];
        row[0] = i + 1;
        for (j, &y) in b.iter().enumerate() {
            let change = corner + usize::from(x != y);
            corner = row[j + 1];
            row[j + 1] = change.min(corner + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}
