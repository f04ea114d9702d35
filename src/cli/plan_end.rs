//! Ending or withdrawing a plan.

use std::path::Path;

use anyhow::bail;

use super::args::PlanArgs;
use super::output::Output;
use super::{Exit, place};
use crate::library::{Author, CaseId, Ending, PlanEnd, PlanId, check_planned};

pub(super) fn run(
    args: &PlanArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let (option, plan, how) = match (&args.end, &args.withdraw) {
        (Some(plan), _) => ("--end", plan, Ending::Ended),
        (None, Some(plan)) => ("--withdraw", plan, Ending::Withdrawn),
        (None, None) => bail!("plan: name the plan with --end or --withdraw"),
    };
    let id: PlanId = place::id(option, plan)?;
    let day = args.on.unwrap_or_else(place::today);
    check_planned("--on", day)?;
    let mut library = place::for_writing(library)?;
    let plan = library.plan(id)?;
    if let Some(case) = &args.case {
        let case: CaseId = place::id("case", case)?;
        if case != plan.case {
            bail!("{option} {id}: a plan of {}, not of {case}; leave the case out", plan.case);
        }
    }
    let by = Author::coach(args.coach.as_deref().unwrap_or("coach"))?;
    let end = PlanEnd { day, how, by, reason: args.reason.clone() };
    library.write(|writer| writer.end_plan(id, &end))?;
    let done = if how == Ending::Ended { "ended" } else { "withdrawn" };
    out.say(&format!("{id}: {done} on {day}"));
    if out.json {
        out.object(&serde_json::json!({ "plan": id.to_string(), "ended": end }))?;
    } else {
        out.line(&id.to_string())?;
    }
    Ok(Exit::Found)
}
