//! Changes and verdicts in words.

use super::{Came, Change, Verdict};
use crate::words::{amount, apart, count, day, reading, sentence};

/// A value of the measure in words; a moment is told from contact: "0.38 s before contact".
#[must_use]
pub fn describe_value(change: &Change, value: f64) -> String {
    reading(change.def.name, change.def.unit, value)
}

/// One measure before and after, without a full stop: "Front knee bend at trophy went from 31 to 44
/// deg: better by 13 deg, beyond what chance and measuring would give (6 deg for 3 serves before
/// and 4 after)".
#[must_use]
pub fn describe_change(change: &Change) -> String {
    let by = apart(change.before.value, change.after.value, change.def.unit);
    let word = match change.better() {
        Some(true) => format!("better by {by}, beyond"),
        Some(false) => format!("worse by {by}, beyond"),
        None if change.beyond() && change.by() > 0.0 => format!("more by {by}, beyond"),
        None if change.beyond() => format!("less by {by}, beyond"),
        None => format!("a change of {by}, within"),
    };
    format!(
        "{} went from {} to {}: {word} what chance and measuring error would give ({} for {} \
         before and {} after)",
        sentence(change.def.name),
        describe_value(change, change.before.value),
        describe_value(change, change.after.value),
        amount(change.detectable, change.def.unit),
        count(change.before.serves, "serve"),
        change.after.serves
    )
}

impl Came {
    /// The verdict in words, without a full stop.
    #[must_use]
    pub fn describe(&self) -> String {
        match &self.verdict {
            Verdict::Better(change) => describe_change(change),
            Verdict::Worse(change) | Verdict::NoClearChange(change) => {
                let little = self.practised.and_then(|done| done.too_little());
                let little = little.map(|little| format!("; {little}")).unwrap_or_default();
                format!("{}{little}", describe_change(change))
            }
            Verdict::NotComparable { why } => match &self.later {
                Some(later) => format!("seen again on {}, but {why}", day(later.date)),
                None => why.to_string(),
            },
            Verdict::NotYet { from, to } => {
                format!(
                    "not seen again yet; a recording between {} and {} would tell",
                    day(*from),
                    day(*to)
                )
            }
        }
    }

    /// The verdict in a few words, without a full stop.
    #[must_use]
    pub fn in_short(&self) -> String {
        let by = |change: &Change| apart(change.before.value, change.after.value, change.def.unit);
        match &self.verdict {
            Verdict::Better(change) => format!("better by {}", by(change)),
            Verdict::Worse(change) => format!("worse by {}", by(change)),
            Verdict::NoClearChange(_) => "no clear change".to_owned(),
            Verdict::NotComparable { .. } => match &self.later {
                Some(_) => "seen again, not comparable".to_owned(),
                None => "nothing to compare".to_owned(),
            },
            Verdict::NotYet { .. } => "not seen again".to_owned(),
        }
    }
}
