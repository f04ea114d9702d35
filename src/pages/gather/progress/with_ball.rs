//! What changes when the ball comes: a day's practice swings against its serves with a ball.

use super::beyond_chance;
use super::compare::other_measures;
use crate::catalogue::Catalogue;
use crate::judgement::{Judging, Sight};
use crate::library::{Case, ServeId, StoreError};
use crate::looks::{Session, Snapshot, Swing, pairs};
use crate::pages::Comparison;
use crate::words;
use crate::words::lower_first;

/// `None` where the day's case does not hold both, recorded in the same way.
pub(in crate::pages::gather) fn with_ball(
    snapshot: &Snapshot<'_>,
    catalogue: &Catalogue,
    case: &Case,
    judging: &Judging,
) -> Result<Option<Comparison>, StoreError> {
    // Here the ball is what is asked about: everything else has to be alike.
    let open = |serves: &[ServeId]| -> Result<Session, StoreError> {
        let mut session = snapshot.session(case.date, serves)?;
        for serve in &mut session.serves {
            (serve.set_up.swing, serve.set_up.serve_type) = (Swing::Unknown, None);
        }
        Ok(session)
    };
    let (swings, balls) = (open(&judging.swings)?, open(&judging.balls)?);
    let Ok(pairs) = pairs(&swings, &balls) else { return Ok(None) };
    let all = other_measures(catalogue, &pairs, None);
    let measured = all.len();
    let changes = beyond_chance(&all);
    let counts = format!(
        "{} against {}",
        words::count(swings.strokes(), "practice swing"),
        words::count(balls.strokes(), "serve")
    ) + " with a ball";
    let what = if changes.is_empty() {
        format!("none of {measured} measures changes beyond what chance and measuring error give")
    } else {
        format!(
            "{} of {measured} measures change beyond what chance and measuring error give",
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
