//! Which faults it is worth telling what worked for.

use jiff::civil::Date;

use crate::coaching::standing;
use crate::library::{FaultLabel, Library, StoreError};
use crate::matcher::{Answer, Subject};

/// The serve's own faults first: those the plans in force on the day `on` work on and the labels that stand; of a
/// serve that is not stored, those `suspected` in it. Then the faults of its precedents, the most
/// common first, ties by name. Each once.
///
/// # Errors
/// [`StoreError`] if the store cannot be read.
pub fn asked_about(
    library: &Library,
    subject: Subject<'_>,
    suspected: &[FaultLabel],
    answer: &Answer,
    on: Date,
) -> Result<Vec<String>, StoreError> {
    let mut faults: Vec<String> = Vec::new();
    let mut add = |fault: &str| {
        if !faults.iter().any(|known| known == fault) {
            faults.push(fault.to_owned());
        }
    };
    match subject {
        Subject::Stored(serve) => {
            let case = library.case(library.serve_head(serve)?.case)?;
            case.plans_in_force(on).iter().for_each(|plan| add(&plan.limiting_fault));
            standing(&case.labels).iter().for_each(|label| add(&label.fault));
        }
        Subject::Unstored(_) => standing(suspected).iter().for_each(|label| add(&label.fault)),
    }
    let mut counts: Vec<(&str, usize)> = Vec::new();
    for label in answer.precedents.iter().flat_map(|precedent| &precedent.faults) {
        match counts.iter_mut().find(|known| known.0 == label.fault) {
            Some(known) => known.1 += 1,
            None => counts.push((&label.fault, 1)),
        }
    }
    counts.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
    counts.iter().for_each(|(fault, _)| add(fault));
    Ok(faults)
}
