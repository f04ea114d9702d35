//! What changes when the ball comes: a day's practice swings against its serves with a ball.

use super::compare::other_measures;
use super::look::{Alike, looked};
use super::told::lower_first;
use crate::catalogue::Catalogue;
use crate::judgement::{Judging, Sight};
use crate::library::{Library, StoreError};
use crate::report::words;
use crate::report::{Change, Comparison};

/// `None` where the day's case does not hold both.
pub(in crate::report::gather) fn with_ball(
    library: &Library,
    catalogue: &Catalogue,
    judging: &Judging,
) -> Result<Option<Comparison>, StoreError> {
    let (swings, balls) = (looked(library, &judging.swings)?, looked(library, &judging.balls)?);
    if swings.is_empty() || balls.is_empty() {
        return Ok(None);
    }
    let alike =
        Alike { before: swings.iter().collect(), after: balls.iter().collect(), notes: Vec::new() };
    let all = other_measures(catalogue, &alike, None);
    let measured = all.len();
    let mut changes: Vec<_> = all.into_iter().filter(|moved| moved.beyond()).collect();
    // Where the ball does harm comes first.
    changes.sort_by_key(|moved| moved.better() != Some(false));
    let counts = format!(
        "{} against {}",
        words::count(swings.len(), "practice swing"),
        words::count(balls.len(), "serve")
    ) + " with a ball";
    let what = if changes.is_empty() {
        format!("none of {measured} measures changes beyond what chance and measuring give")
    } else {
        format!(
            "{} of {measured} measures change beyond what chance and measuring give",
            changes.len()
        )
    };
    let mut sentence = format!("{counts}: {what}.");
    for (sight, text) in [
        (Sight::OnlyBall, "Only with the ball"),
        (Sight::Both, "In both"),
        (Sight::OnlySwing, "Only without the ball"),
    ] {
        let order = judging.judgement.order.iter().filter(|one| one.sight == sight);
        let names: Vec<String> = order.map(|one| lower_first(&one.name)).collect();
        if !names.is_empty() {
            sentence.push_str(&format!(" {text}: {}.", words::list(&names)));
        }
    }
    Ok(Some(Comparison {
        sentence,
        changes: changes
            .into_iter()
            .map(|moved| Change {
                measure: moved.name.to_owned(),
                unit: moved.unit.to_owned(),
                before: moved.before.0,
                after: moved.after.0,
                detectable: moved.detectable,
                larger_is_better: moved.larger_is_better,
            })
            .collect(),
    }))
}
