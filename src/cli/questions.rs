//! What is asked about recordings, and the answers.

use std::path::Path;

use serde::Serialize;

use super::args::{AnswerArgs, ListArgs};
use super::output::{Output, count, one_line};
use super::views::how_to_answer;
use super::watch::Bars;
use super::{Exit, batch, place};
use crate::intake::{self, Answer, ClipWay, Context, Question, Reading};
use crate::library::{Asked, Author};
use crate::looks::{ClipsTold, clips_asked};

/// One question as data.
#[derive(Serialize)]
struct QuestionObject<'a> {
    question: &'a str,
    file: &'a str,
    player: Option<&'a str>,
    asks: &'a [Asked],
    why: &'a str,
}

/// A question about two clips of a session as data.
#[derive(Serialize)]
struct ClipsObject<'a> {
    case: String,
    #[serde(flatten)]
    clips: &'a ClipsTold,
}

pub(super) fn list(
    args: &ListArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    debug_assert!(args.questions, "the parser asks for it");
    let library = place::for_reading(library)?;
    let questions = intake::questions(&library)?;
    let of_clips = clips_asked(&library)?;
    if questions.is_empty() && of_clips.is_empty() {
        out.say("nothing is asked");
        return Ok(Exit::Nothing);
    }
    let mut folder = None;
    for question in &questions {
        if out.json {
            let Question { name, file, player, asks, why, .. } = question;
            let player = player.as_deref();
            out.object(&QuestionObject { question: name, file, player, asks, why })?;
            continue;
        }
        let file = Path::new(&question.file);
        let lies_in = file.parent().filter(|folder| !folder.as_os_str().is_empty());
        if lies_in != folder {
            folder = lies_in;
            let named = lies_in.map_or("elsewhere".into(), |folder| folder.display().to_string());
            out.line(&format!("{}:", one_line(&named)))?;
        }
        out.line(&format!("  {}", one_line(&worded(question))))?;
    }
    for (case, clips) in &of_clips {
        if out.json {
            out.object(&ClipsObject { case: case.to_string(), clips })?;
            continue;
        }
        out.line(&format!("{case}: {}", clips.sentence))?;
        for line in how_to_answer(clips) {
            out.line(&format!("   {line}"))?;
        }
    }
    if !out.json && !questions.is_empty() {
        let answers =
            "answer one, a file, or all of a folder: precedent answer QUESTION --view side";
        out.say(&format!("{} asked about; {answers}", count(questions.len(), "recording")));
    }
    Ok(Exit::Found)
}

fn worded(question: &Question) -> String {
    let name = Path::new(&question.file).file_name().unwrap_or_default().to_string_lossy();
    let asks: Vec<&str> = question.asks.iter().map(|asked| asked.label()).collect();
    let asks =
        if asks.is_empty() { "set aside".to_owned() } else { format!("{}?", asks.join(", ")) };
    let of = question.player.as_ref().map_or(String::new(), |player| format!(" of {player}"));
    format!("{}  {name}{of}: {asks} ({})", question.name, question.why)
}

pub(super) fn answer(
    args: &AnswerArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let by = Author::coach(&args.coach)?;
    let mut library = place::for_writing(library)?;
    let said = Answer {
        player: args.player.clone(),
        hand: args.hand,
        view: args.view,
        capture_rate_hz: args.capture_rate,
        person: args.person,
        date: args.date,
        leave: args.leave,
    };
    let bars = Bars::new(0, out);
    let how = Reading {
        context: Context {
            clip: ClipWay { model: args.model, ..ClipWay::default() },
            ..Context::default()
        },
        readers: batch::readers(args.jobs),
        watch_of: &|| bars.watch_beside(),
    };
    let answered =
        intake::answer(&mut library, &args.questions, &said, &by, &how, &mut |file, became| {
            bars.suspend(|| batch::told(file, &became, out));
        })?;
    let mut done = Vec::new();
    if answered.amended > 0 {
        done.push(format!("{} put right", count(answered.amended, "stored recording")));
    }
    if answered.left > 0 {
        done.push(format!("{} not asked about any more", count(answered.left, "file")));
    }
    let went = &answered.went;
    if went.stored + went.had + went.waiting + went.failed > 0 {
        done.push(batch::summary(went));
    }
    if done.is_empty() {
        out.say("nothing of what is asked there is answered by this");
        return Ok(Exit::Nothing);
    }
    out.say(&done.join("; "));
    if went.stored + went.had + went.waiting + went.failed == 0 {
        return Ok(Exit::Found);
    }
    Ok(batch::exit(went, out))
}
