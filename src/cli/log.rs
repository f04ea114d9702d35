//! Practice that was done under a plan.

use std::path::Path;

use super::args::LogArgs;
use super::output::{Output, count};
use super::{Exit, place};
use crate::coaching::{PracticeRefusal, PracticeRequest, PractisedFor};

pub(super) fn run(
    args: &LogArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let practised: PractisedFor = place::id("PLAN|CASE", &args.practised)?;
    let mut request = PracticeRequest {
        sessions: args.sessions,
        repetitions: args.repetitions,
        effort: args.effort,
        pain: args.pain,
        place: args.place,
        note: args.note.clone(),
        by: args.coach.clone(),
        ..PracticeRequest::new(practised, args.day.unwrap_or_else(place::today))
    };
    let mut library = place::for_writing(library)?;
    let recorded = match request.record(&mut library) {
        Err(PracticeRefusal::Unanswered(question)) if args.sure => {
            request.sure.push(question);
            request.record(&mut library)?
        }
        recorded => recorded?,
    };
    // Said whatever is kept back: it is about the body.
    for notice in &recorded.notices {
        out.complain(&notice.to_string());
    }
    if out.json {
        out.object(&recorded)?;
    } else {
        let sessions = count(recorded.sessions as usize, "session");
        out.line(&format!("{} of {}: {sessions} so far", recorded.practice, recorded.plan))?;
    }
    Ok(Exit::Found)
}
