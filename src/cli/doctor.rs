//! What is there and what to do.

use std::path::Path;

use super::output::{Output, table};
use super::{Exit, place};
use crate::doctor::{State, check_computer};

pub(super) fn run(library: Option<&Path>, out: &mut Output) -> anyhow::Result<Exit> {
    let findings = check_computer(&place::folder(library)?);
    let mut rows = table(&["", "what", "found"]);
    for finding in &findings {
        if out.json {
            out.object(finding)?;
            continue;
        }
        let state = match finding.state {
            State::Good => "ok",
            State::Missing => "missing",
            State::Wrong => "WRONG",
        };
        rows.add_row([state, finding.what, &finding.found]);
    }
    if !out.json {
        out.line(&rows.to_string())?;
    }
    for finding in &findings {
        if let Some(todo) = &finding.todo {
            out.complain(&format!("{}: {todo}", finding.what));
        }
    }
    Ok(match findings.iter().map(|finding| finding.state).max() {
        Some(State::Wrong) => Exit::SomeFailed,
        Some(State::Missing) => Exit::Nothing,
        Some(State::Good) | None => Exit::Found,
    })
}
