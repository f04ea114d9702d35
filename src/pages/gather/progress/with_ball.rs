//! What changes when the ball comes: a day's practice swings against its serves with a ball.

use super::beyond_chance;
use super::compare::other_measures;
use super::look::{Alike, looked};
use super::told::lower_first;
use crate::catalogue::Catalogue;
use crate::judgement::{Judging, Sight};
use crate::library::{Library, StoreError};
use crate::pages::Comparison;
use crate::words;

/// `None` where the day's case does not hold both.
pub(in crate::pages::gather) fn with_ball(
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
    let changes = beyond_chance(&all);
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
    Ok(Some(Comparison { sentence, changes }))
}
