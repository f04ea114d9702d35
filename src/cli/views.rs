//! Clips of one day that show the same serves: shown, said, taken back.

use std::path::Path;

use anyhow::bail;

use super::args::ViewsArgs;
use super::output::Output;
use super::{Exit, place};
use crate::intake::{ClipsRequest, say_of_clips};
use crate::library::{Author, CaseId, ItemId, Library, RecordingId, ServeId};
use crate::looks::{ClipsTold, clips_told};
use crate::words::count;

pub(super) fn run(
    args: &ViewsArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    if !args.changes() {
        let library = place::for_reading(library)?;
        let case = case_of(&library, &args.what[0])?;
        return print(&library, case, out);
    }
    let [one, other] = &args.what[..] else {
        bail!(
            "two clips or two serves are needed, found '{}'; for example: s1 s6 --same",
            args.what.join(" ")
        );
    };
    let mut library = place::for_writing(library)?;
    let request = if args.same {
        ClipsRequest::Same(place::id("serve", one)?, place::id("serve", other)?)
    } else if let (true, Ok(one), Ok(other)) = (args.clear, one.parse(), other.parse()) {
        // What was said can be taken back of a clip that is gone, too.
        ClipsRequest::Unsaid(one, other)
    } else {
        let clips = (clip_of(&library, one)?, clip_of(&library, other)?);
        let word = if args.apart { ClipsRequest::Apart } else { ClipsRequest::Unsaid };
        word(clips.0, clips.1)
    };
    let catalogue = library.catalogue()?;
    say_of_clips(&mut library, &catalogue, request, &Author::coach(&args.coach)?)?;
    let Ok(case) = case_of(&library, one).or_else(|_| case_of(&library, other)) else {
        out.say("recorded");
        return Ok(Exit::Found);
    };
    out.say(&format!("{case}: recorded, and judged with it"));
    print(&library, case, out)
}

/// The case an id belongs to: of a case, a recording or a serve.
fn case_of(library: &Library, id: &str) -> anyhow::Result<CaseId> {
    match id.parse() {
        Ok(ItemId::Case(case)) => {
            library.case(case)?;
            Ok(case)
        }
        _ => Ok(library.case_of_recording(clip_of(library, id)?)?),
    }
}

/// The recording an id belongs to: of a recording or a serve.
fn clip_of(library: &Library, id: &str) -> anyhow::Result<RecordingId> {
    match id.parse() {
        Ok(ItemId::Recording(clip)) => Ok(library.recording(clip)?.id),
        Ok(ItemId::Serve(serve)) => Ok(library.serve_head(serve)?.recording),
        _ => bail!("the id of a session (c1), clip (r3) or serve (s12), found '{id}'"),
    }
}

fn print(library: &Library, case: CaseId, out: &mut Output) -> anyhow::Result<Exit> {
    let told = clips_told(library, case)?;
    if out.json {
        told.iter().try_for_each(|clips| out.object(clips))?;
        return Ok(if told.is_empty() { Exit::Nothing } else { Exit::Found });
    }
    let serves: Vec<ServeId> = library.case(case)?.serves;
    let strokes = library.views_of_day(case)?.count_of(&serves);
    out.line(&format!("{case}: {}, filmed {}", count(strokes, "serve"), times(serves.len())))?;
    for clips in &told {
        out.line(&clips.sentence)?;
        for line in how_to_answer(clips) {
            out.line(&format!("   {line}"))?;
        }
    }
    Ok(if told.is_empty() { Exit::Nothing } else { Exit::Found })
}

fn times(number: usize) -> String {
    if number == 1 { "once".to_owned() } else { format!("{number} times in all") }
}

/// The commands that answer what is asked of two clips.
pub(super) fn how_to_answer(clips: &ClipsTold) -> Vec<String> {
    if clips.choices.is_empty() {
        return Vec::new();
    }
    let same = clips.choices.iter().map(|(a, b)| format!("precedent views {a} {b} --same"));
    same.chain([format!("precedent views {} {} --apart", clips.one, clips.other)]).collect()
}
