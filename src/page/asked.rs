//! What is asked about recordings, and the answers: one at a time, or all of a folder.

use std::path::Path;
use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::response::{Html, Response};

use super::case::go_to;
use super::desk::Desk;
use super::fields::Fields;
use super::long::{Lane, Outcome};
use super::refusal::Refusal;
use super::told::Told;
use super::view::Frame;
use crate::find::InStep;
use crate::intake::{self, Answer, AnswerRefusal, Became, Context, Question, Reading};
use crate::library::Library;
use crate::looks::clips_asked;
use crate::words::count;

struct AskedView {
    name: String,
    file: String,
    player: Option<String>,
    asks: String,
    why: String,
}

/// Questions about the files of one folder; where it lies is not shown.
struct FolderView {
    name: String,
    /// The names of all its questions.
    all: String,
    questions: Vec<AskedView>,
}

#[derive(Template)]
#[template(path = "asked.html")]
struct Page {
    frame: Frame,
    count: String,
    folders: Vec<FolderView>,
    /// Clips that may show the same serves: the session, and what is asked of it.
    clips: Vec<(String, String)>,
}

/// Lists what is asked.
pub(super) async fn place(State(desk): State<Arc<Desk>>) -> Result<Html<String>, Refusal> {
    desk.read(|desk, library, _| {
        let questions = intake::questions(library)?;
        let page = Page {
            frame: Frame::of(desk, "Questions"),
            count: count(questions.len(), "question"),
            folders: folders(&questions),
            clips: clips_asked(library)?
                .into_iter()
                .map(|(case, clips)| (case.to_string(), clips.sentence))
                .collect(),
        };
        Ok(page.render()?)
    })
    .await
}

fn folders(questions: &[Question]) -> Vec<FolderView> {
    let folder = |question: &Question| Path::new(&question.file).parent().map(Path::to_owned);
    let groups = questions.chunk_by(|a, b| folder(a) == folder(b));
    let views = groups.map(|group| {
        let lies_in = group.first().and_then(folder).unwrap_or_default();
        let names: Vec<&str> = group.iter().map(|question| question.name.as_str()).collect();
        FolderView {
            name: lies_in.file_name().map_or_else(
                || "Other files".to_owned(),
                |name| name.to_string_lossy().into_owned(),
            ),
            all: names.join(" "),
            questions: group.iter().map(view).collect(),
        }
    });
    views.collect()
}

fn view(question: &Question) -> AskedView {
    let name = Path::new(&question.file).file_name().unwrap_or_default();
    let asks: Vec<&str> = question.asks.iter().map(|asked| asked.label()).collect();
    AskedView {
        name: question.name.clone(),
        file: name.to_string_lossy().into_owned(),
        player: question.player.clone(),
        asks: if asks.is_empty() { "set aside".to_owned() } else { asks.join(", ") },
        why: question.why.clone(),
    }
}

/// Answers what was ticked.
pub(super) async fn answer(
    State(desk): State<Arc<Desk>>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let answer = Answer {
        player: fields.words("player"),
        hand: fields.named("hand", "Serving hand")?,
        view: fields.named("view", "Filmed from")?,
        capture_rate_hz: fields.value("capture_rate", "Filmed at")?,
        person: fields.value("person", "Which person")?,
        date: fields.value("date", "Day")?,
        leave: fields.text("leave").is_some(),
    };
    if answer == Answer::default() {
        return Err(Refusal::Said("Say at least one thing about what is ticked".to_owned()));
    }
    let ticked: Vec<String> =
        fields.all("question").flat_map(str::split_whitespace).map(str::to_owned).collect();
    if ticked.is_empty() {
        return Err(Refusal::Said("Tick what the answer is about".to_owned()));
    }
    let desk_of_work = Arc::clone(&desk);
    let title = format!("Answering about {}", count(ticked.len(), "recording"));
    let work = desk.long.begin(Lane::Reading, title, move |work| {
        let mut library = InStep::new(Library::open(desk_of_work.library())?);
        // Names of questions only: no path comes from a request.
        let known = intake::questions(&library)?;
        let names: Vec<String> =
            ticked.into_iter().filter(|name| known.iter().any(|one| one.name == *name)).collect();
        let how = Reading { context: Context::default(), readers: 1, watch_of: &|| work.watch() };
        let (mut lines, mut notes) = (Vec::new(), Vec::new());
        let answered = intake::answer(
            &mut library,
            &names,
            &answer,
            &desk_of_work.coach,
            &how,
            &mut |file, became| {
                let file = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
                match became {
                    Became::Stored { player, taken } => lines.push(format!(
                        "{file}: {} of {}",
                        count(taken.added.serves.len(), "serve"),
                        player.code
                    )),
                    Became::Had => lines.push(format!("{file}: stored before")),
                    Became::Waits(waiting) => notes.push(format!("{file}: {}", waiting.why)),
                    Became::Failed(_) => {
                        notes.push(format!("{file}: it could not be read or stored"))
                    }
                }
            },
        )?;
        if answered.amended > 0 {
            lines.push(format!("{} put right", count(answered.amended, "stored recording")));
        }
        if answered.left > 0 {
            lines.push(format!("{} not asked about any more", count(answered.left, "file")));
        }
        let told = Told {
            title: "Answered.".to_owned(),
            lines,
            notes,
            links: vec![("Open questions".to_owned(), "/asked".to_owned())],
            ..Told::default()
        };
        Ok(Outcome::Told(Arc::new(told)))
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

impl From<AnswerRefusal> for Refusal {
    fn from(refusal: AnswerRefusal) -> Self {
        match refusal {
            AnswerRefusal::Write(error) => error.into(),
            AnswerRefusal::Player(error) => error.into(),
            other => Self::Said(other.to_string()),
        }
    }
}
