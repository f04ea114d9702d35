//! The coach's judgement: labels, plans, follow-ups.

use std::path::Path;

use super::args::{AskedArgs, BallArgs, FollowUpArgs, LabelArgs, PlanArgs};
use super::output::{Output, count};
use super::watch::Bars;
use super::{Exit, place};
use crate::catalogue::Catalogue;
use crate::coaching::{
    BallReport, Cautions, DrillRequest, FollowUpRequest, Graded, LabelRefusal, LabelRequest,
    PlanRefusal, PlanRequest, PlansInForce, aches_from_typed, told_answers,
};
use crate::judgement::{Chosen, judge};
use crate::library::{CaseId, CheckIn, Grip, Library, PlanId, ServeId};

pub(super) fn label(
    args: &LabelArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let case: CaseId = place::id("case", &args.case)?;
    if args.records_nothing() {
        let library = place::for_reading(library)?;
        print(&library, &library.catalogue()?, case, out)?;
        return Ok(Exit::Found);
    }
    let mut request = LabelRequest::new(case, &args.coach);
    request.confirm.clone_from(&args.confirm);
    request.reject.clone_from(&args.reject);
    request.add =
        args.add.iter().map(|entry| Graded::from_typed(entry)).collect::<Result<_, _>>()?;
    request.limiting = args.limiting.as_deref().map(Graded::from_typed).transpose()?;
    request.grip = Grip { index_knuckle: args.index_knuckle, heel_pad: args.heel_pad };
    request.ball = ball(&args.ball);
    request.check_in = check_in(&args.asked)?;
    request.note.clone_from(&args.note);
    let mut library = place::for_writing(library)?;
    let notices = request.record(&mut library)?;
    out.say(&format!("{case}: recorded"));
    for notice in notices {
        out.complain(&notice.to_string());
    }
    if out.json {
        print(&library, &library.catalogue()?, case, out)?;
    }
    Ok(Exit::Found)
}

fn print(
    library: &Library,
    catalogue: &Catalogue,
    case: CaseId,
    out: &mut Output,
) -> anyhow::Result<()> {
    let case = library.case(case)?;
    let player = library.player(case.player)?;
    let today = place::today();
    let judging = judge(library, catalogue, &case, today, &Bars::new(0, out).watch())?;
    let judgement = &judging.judgement;
    let general = Cautions::of(catalogue, judging.age).hurting(&judging.sore);
    let plans = PlansInForce::of(library, catalogue, &case, &player, today)?;
    if out.json {
        return out.object(&judging.object(&case, &player.code, plans.as_ref(), &general));
    }
    let mut cautions = general;
    let swings = judging.views.count_of(&judging.swings);
    let swings = (swings > 0).then(|| count(swings, "practice swing"));
    let serves = count(judging.views.count_of(&judging.balls), "serve");
    let days = swings.into_iter().chain([serves]).collect::<Vec<_>>().join(", ");
    out.line(&format!("{}  {}, {}, {days}", case.id, player.code, case.date))?;
    let told = told_answers(&judging.check_in);
    for (what, answer) in told.into_iter().filter_map(|(what, answer)| Some((what, answer?))) {
        out.line(&format!("   {what}: {answer}"))?;
    }
    if let Some(plans) = &plans {
        print_plans(plans, &mut cautions, out)?;
    }
    let Some(first) = judgement.order.first() else {
        out.line("no fault seen yet; add what you see with --add FAULT=0.5")?;
        end(&cautions, out);
        return Ok(());
    };
    let by = match judgement.chosen {
        Chosen::Program => format!(
            "first in the program's order; overrule it with label {} --limiting FAULT",
            case.id
        ),
        Chosen::Coach => "the coach's choice".to_owned(),
        Chosen::Plan => "the plan works on it".to_owned(),
    };
    out.line(&format!("limiting fault: {} [{}]; {by}", first.name, first.fault))?;
    if let Some(other) = &judgement.program_first {
        out.line(&format!("  the program would have begun with: {other}"))?;
    }
    out.line(&format!("  {}", first.why))?;
    for (at, one) in judgement.order.iter().enumerate() {
        if at > 0 {
            let second = judgement.second == Some(at);
            let place = if second { "second; its plan goes well with the first" } else { "later" };
            out.line(&format!("{place}: {} [{}]", one.name, one.fault))?;
        }
        for reason in &one.reasons {
            out.line(&format!("  - {reason}"))?;
        }
    }
    if !judging.offers.is_empty() {
        let named = judging.offers.iter().map(|drill| {
            let name = cautions.name(drill);
            format!("{} ({name})", drill.id())
        });
        let named: Vec<String> = named.collect();
        out.line(&format!("drills to choose from: {}", named.join(", ")))?;
    }
    end(&cautions, out);
    Ok(())
}

/// The plans in force, and what they ask together.
fn print_plans(
    plans: &PlansInForce,
    cautions: &mut Cautions,
    out: &mut Output,
) -> anyhow::Result<()> {
    for plan in &plans.plans {
        let drills: Vec<&str> = plan.drills.iter().map(|drill| cautions.name(drill)).collect();
        let named =
            if drills.is_empty() { String::new() } else { format!(": {}", drills.join(", ")) };
        out.line(&format!("{} from {} on '{}'{named}", plan.plan, plan.start, plan.name))?;
    }
    if let Some(sum) = plans.load.sum() {
        out.line(&format!("   {sum}"))?;
    }
    for warning in &plans.load.warnings {
        out.complain(&warning.text);
    }
    Ok(())
}

/// What must be said beside the drills that were named.
fn end(cautions: &Cautions, out: &mut Output) {
    if cautions.are_due() {
        for caution in cautions.lines() {
            out.complain(&caution);
        }
    }
}

pub(super) fn plan(
    args: &PlanArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let case: CaseId = place::id("case", args.case.as_deref().unwrap_or_default())?;
    let mut request = PlanRequest::new(case, args.fault.as_deref().unwrap_or_default());
    request.replaces =
        args.replaces.as_deref().map(|plan| place::id("--replaces", plan)).transpose()?;
    request.reason.clone_from(&args.reason);
    let drills = args.drill.iter().map(|entry| DrillRequest::from_typed(entry, '='));
    request.drills = drills.collect::<Result<_, _>>()?;
    // What takes another's place begins when that is decided.
    request.start = args.start.or_else(|| request.replaces.map(|_| place::today()));
    request.review_on = args.review_on;
    request.coach.clone_from(&args.coach);
    request.note.clone_from(&args.note);
    let mut library = place::for_writing(library)?;
    let recorded = match request.record(&mut library) {
        Err(PlanRefusal::Unanswered(questions)) if args.sure => {
            request.sure = questions;
            request.record(&mut library)?
        }
        recorded => recorded?,
    };
    if let Some(sum) = recorded.load.sum() {
        out.say(&format!("{}: {sum}", recorded.plan));
    }
    for warning in &recorded.load.warnings {
        out.complain(&warning.text);
    }
    // Said whatever is kept back: a drill is never shown without its cautions.
    for caution in recorded.cautions.lines() {
        out.complain(&caution);
    }
    if out.json {
        out.object(&recorded)?;
    } else {
        out.line(&recorded.plan.to_string())?;
    }
    Ok(Exit::Found)
}

pub(super) fn follow_up(
    args: &FollowUpArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let plan: PlanId = place::id("plan", &args.plan)?;
    let serves = args.serve.iter().map(|text| place::id("--serve", text));
    let request = FollowUpRequest {
        serves: serves.collect::<anyhow::Result<Vec<ServeId>>>()?,
        ball: ball(&args.ball),
        rating: args.rating,
        sessions_done: args.sessions,
        note: args.note.clone(),
        ..FollowUpRequest::new(plan, args.date)
    };
    let mut library = place::for_writing(library)?;
    let recorded = request.record(&mut library)?;
    if out.json {
        out.object(&recorded)?;
    } else {
        out.line(&recorded.follow_up.to_string())?;
    }
    Ok(Exit::Found)
}

/// What was asked on the day.
pub(super) fn check_in(args: &AskedArgs) -> anyhow::Result<CheckIn> {
    Ok(CheckIn {
        pain: aches_from_typed(args.pain.iter().map(String::as_str)).map_err(LabelRefusal::from)?,
        injuries: args.injuries.clone(),
        serves_a_week: args.serves_a_week,
        tennis_hours: args.tennis_hours,
        sport_hours: args.sport_hours,
        attempt: args.attempt,
        court: args.court,
        target: args.target,
        wide_left: args.wide_left,
        wide_right: args.wide_right,
        double_faults: args.double_faults,
        by: None,
    })
}

pub(super) fn ball(args: &BallArgs) -> BallReport {
    let BallArgs { speed, first_serve, net, long, wide } = *args;
    BallReport { speed_kmh: speed, first_serve_pct: first_serve, net, long, wide }
}
