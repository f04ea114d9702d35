//! Ending or withdrawing a plan.

use std::path::Path;

use anyhow::bail;

use super::args::PlanArgs;
use super::output::Output;
use super::{Exit, place};
use crate::coaching::{EndOfPlan, PlanEndRequest};

pub(super) fn run(
    args: &PlanArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let (option, plan, how) = match (&args.end, &args.withdraw) {
        (Some(plan), _) => ("--end", plan, EndOfPlan::Done),
        (None, Some(plan)) => ("--withdraw", plan, EndOfPlan::Withdrawn),
        (None, None) => bail!("plan: name the plan with --end or --withdraw"),
    };
    let request = PlanEndRequest {
        plan: place::id(option, plan)?,
        case: args.case.as_deref().map(|case| place::id("case", case)).transpose()?,
        how,
        day: args.on.unwrap_or_else(place::today),
        by: args.coach.clone().unwrap_or_else(|| "coach".to_owned()),
        reason: args.reason.clone(),
    };
    let mut library = place::for_writing(library)?;
    let ended = request.record(&mut library)?;
    let done = if how == EndOfPlan::Done { "ended" } else { "withdrawn" };
    out.say(&format!("{}: {done} on {}", ended.plan, ended.ended.day));
    if out.json {
        out.object(&ended)?;
    } else {
        out.line(&ended.plan.to_string())?;
    }
    Ok(Exit::Found)
}
