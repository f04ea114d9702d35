//! A serve's moments: shown with their witnesses, set by hand, taken back.

use std::path::Path;

use super::args::MarkArgs;
use super::output::{Output, table};
use super::{Exit, place};
use crate::coaching::MomentsRequest;
use crate::intake;
use crate::library::{Author, ServeId, ServeMoment, Witness};

pub(super) fn run(
    args: &MarkArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let serve: ServeId = place::id("serve", &args.serve)?;
    if !args.changes() {
        let library = place::for_reading(library)?;
        let moments = library.moments(&library.serve(serve)?)?;
        print(serve, &moments, out)?;
        return Ok(Exit::Found);
    }
    let by = Author::coach(&args.coach)?;
    let request = MomentsRequest { serve, set: args.set(), clear: args.clear.clone() };
    let mut library = place::for_writing(library)?;
    let catalogue = library.catalogue()?;
    let moments = intake::set_moments(&mut library, &catalogue, &request, &by)?;
    out.say(&format!(
        "{serve}: read again with these moments; the earlier reading is kept, see 'precedent history {serve}'"
    ));
    print(serve, &moments, out)?;
    Ok(Exit::Found)
}

fn print(serve: ServeId, moments: &[ServeMoment], out: &mut Output) -> anyhow::Result<()> {
    if out.json {
        return out.object(&serde_json::json!({
            "serve": serve.to_string(),
            "moments": moments,
        }));
    }
    let mut shown = table(&["moment", "time", "frame", "witness"]);
    for moment in moments {
        let event = &moment.event;
        let mut word = moment.witness.describe();
        if let Some(day) = moment.set_at.as_deref().and_then(|at| at.get(..10)) {
            word.push_str(&format!(" on {day}"));
        }
        if moment.witness == Witness::Joints {
            word.push_str(&format!(", trust {:.2}", event.trust));
        }
        shown.add_row(row(event.kind.label(), event.time_s, event.frame, word));
        for other in &moment.beside {
            let word = format!(
                "beside it: {}, give or take {:.2} s",
                other.witness.describe(),
                other.give_or_take_s()
            );
            shown.add_row(row("", other.time_s, other.frame, word));
        }
    }
    out.line(&shown.to_string())?;
    Ok(())
}

fn row(label: &str, time_s: f64, frame: usize, word: String) -> [String; 4] {
    if time_s.is_finite() {
        [label.to_owned(), format!("{time_s:.2} s"), frame.to_string(), word]
    } else {
        [label.to_owned(), "not measurable".to_owned(), String::new(), word]
    }
}
