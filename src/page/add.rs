//! Recordings on their way in: sent, read in the background, looked at, stored.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{Html, IntoResponse, Response};

use super::answers::{Answers, Ask};
use super::case::go_to;
use super::desk::Desk;
use super::fields::{Asked, Fields};
use super::long::{Lane, Outcome, State as Stand, Work};
use super::refusal::Refusal;
use super::remedy;
use super::set_up;
use super::uploads::{Kind, Upload};
use super::view::{Frame, StripView};
use crate::catalogue::Catalogue;
use crate::drawing::Viewpoint;
use crate::find::InStep;
use crate::intake::{self, LookError, Looked};
use crate::library::{Library, Player};
use crate::serve::FindOptions;
use crate::words::{count, day};
use crate::work::is_stop;

/// Files that were read and wait for the coach.
#[derive(Debug)]
pub(super) struct ReadFiles {
    answers: Answers,
    player: Player,
    files: Vec<ReadFile>,
    /// Whether they are being stored.
    taken: AtomicBool,
}

#[derive(Debug)]
struct ReadFile {
    upload: Arc<Upload>,
    /// What was seen, or why it could not be read.
    seen: Result<Looked, String>,
}

/// Files that were stored, and those that were not.
#[derive(Debug)]
pub(super) struct Stored {
    answers: Answers,
    /// Address and words of each session that has new serves.
    cases: Vec<(String, String)>,
    lines: Vec<String>,
    notes: Vec<String>,
    left: Vec<Arc<Upload>>,
}

/// A file that waits: id, name, size.
struct WaitView {
    id: String,
    name: String,
    size: String,
}

/// Work on files: address, title and how it stands.
struct WorkView {
    id: String,
    title: String,
    stands: &'static str,
}

#[derive(Template)]
#[template(path = "add.html")]
struct Page {
    frame: Frame,
    waiting: Vec<WaitView>,
    works: Vec<WorkView>,
    /// Whether clips can be read.
    reads_clips: bool,
    ask: Ask,
}

struct FoundView {
    name: String,
    size: String,
    summary: String,
    /// Why there is nothing of it.
    problem: Option<String>,
    serves: String,
    strip: Option<StripView>,
    assumed: Vec<String>,
    refused: Vec<String>,
    /// Faults the program suspects: id and name.
    suspected: Vec<(String, String)>,
    known: Option<String>,
}

#[derive(Template)]
#[template(path = "found.html")]
struct FoundPage {
    frame: Frame,
    id: String,
    who: String,
    on: String,
    files: Vec<FoundView>,
    /// How many serves would be stored, in words.
    storable: Option<String>,
    ask: Ask,
}

#[derive(Template)]
#[template(path = "stored.html")]
struct StoredPage<'a> {
    frame: Frame,
    id: &'a str,
    stored: &'a Stored,
}

/// Sends files and asks about them; what waits stands above.
pub(super) async fn place(
    State(desk): State<Arc<Desk>>,
    Asked(asked): Asked,
) -> Result<Html<String>, Refusal> {
    desk.read(move |desk, library, _| {
        let waiting = desk.uploads.waiting(Kind::Recording).into_iter().map(|file| WaitView {
            size: file.size(),
            id: file.id.clone(),
            name: file.name.clone(),
        });
        let page = Page {
            frame: Frame::of(desk, "Add recordings"),
            waiting: waiting.collect(),
            works: works(desk),
            reads_clips: set_up::is_done(desk),
            ask: Ask::of(library, asked)?,
        };
        Ok(page.render()?)
    })
    .await
}

fn works(desk: &Desk) -> Vec<WorkView> {
    let views = desk.long.all().into_iter().filter_map(|work| {
        let stands = match work.state() {
            Stand::Waiting => "waits",
            Stand::Running => "in work",
            Stand::Ended(Ok(Outcome::Read(_))) => "read; look at it and store it",
            Stand::Ended(Err(_)) => "failed",
            Stand::Ended(Ok(_)) => return None,
        };
        Some(WorkView { id: work.id.clone(), title: work.title.clone(), stands })
    });
    views.collect()
}

/// Read files that wait to be stored, for the first page: address and title.
pub(super) fn to_store(desk: &Desk) -> Vec<(String, String)> {
    let waits = |work: &Arc<Work>| matches!(work.state(), Stand::Ended(Ok(Outcome::Read(_))));
    let all = desk.long.all().into_iter().filter(waits);
    all.map(|work| (format!("/work/{}", work.id), work.title.clone())).collect()
}

/// Has files read that were sent.
pub(super) async fn begin(
    State(desk): State<Arc<Desk>>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let ids: Vec<String> = fields.all("file").map(str::to_owned).collect();
    if ids.is_empty() {
        return Err(Refusal::Said(
            "No file was sent; drop a clip or a joint file on the page".to_owned(),
        ));
    }
    let answers = Answers::of(fields.without("file"))?;
    let answers = checked(&desk, answers).await?;
    let files = desk.uploads.take(Kind::Recording, &ids)?;
    Ok(go_to(&format!("/work/{}", read(&desk, answers, files).id)))
}

/// Answers that hold against what the library knows.
async fn checked(desk: &Arc<Desk>, answers: Answers) -> Result<Answers, Refusal> {
    let held = answers.clone();
    let checked = desk.read(move |_, library, _| held.check(library).map(|_| String::new()));
    drop(checked.await?);
    Ok(answers)
}

fn read(desk: &Arc<Desk>, answers: Answers, files: Vec<Arc<Upload>>) -> Arc<Work> {
    let first = files.first().map(|file| file.name.clone()).unwrap_or_default();
    let more = match files.len() {
        0 | 1 => String::new(),
        all => format!(" and {} more", all - 1),
    };
    let title = format!("{first}{more} of {}", answers.player.code);
    let desk_of_work = Arc::clone(desk);
    desk.long.begin(Lane::Reading, title, move |work| {
        let files = look(&desk_of_work, &answers, files, work)?;
        Ok(Outcome::Read(Arc::new(files)))
    })
}

fn look(
    desk: &Desk,
    answers: &Answers,
    files: Vec<Arc<Upload>>,
    work: &Arc<Work>,
) -> Result<ReadFiles, Refusal> {
    let library = Library::open_read_only(desk.library())?;
    let player = answers.check(&library)?;
    let known = FindOptions { hand: player.hand, stature_m: player.stature_m };
    let watch = work.watch();
    let mut seen = Vec::new();
    for upload in files {
        work.about(&upload.name);
        match intake::look(Some(&library), &upload.path, &answers.context, &known, &watch) {
            Ok(looked) => seen.push(ReadFile { upload, seen: Ok(looked) }),
            Err(error) if is_stop(&error) => return Err(Refusal::Stopped),
            Err(LookError::Store(error)) => return Err(error.into()),
            Err(error) => {
                let why = remedy::unread(&error, &upload);
                seen.push(ReadFile { upload, seen: Err(why) });
            }
        }
    }
    Ok(ReadFiles { answers: answers.clone(), player, files: seen, taken: AtomicBool::new(false) })
}

/// What was found in files that were read, to be stored, read again or left.
pub(super) async fn found(
    desk: &Arc<Desk>,
    id: String,
    read: Arc<ReadFiles>,
) -> Result<Html<String>, Refusal> {
    desk.read(move |desk, library, _| {
        let catalogue = library.catalogue()?;
        let serves = read.files.iter().filter_map(|file| file.seen.as_ref().ok());
        let serves: usize = serves.map(|looked| looked.found.serves.len()).sum();
        let mut files = Vec::new();
        for file in &read.files {
            files.push(found_view(library, &catalogue, file, &read.player)?);
        }
        let page = FoundPage {
            frame: Frame::of(desk, "What was found"),
            id,
            who: read.player.code.clone(),
            on: read.answers.context.date.map(day).unwrap_or_default(),
            files,
            storable: (serves > 0).then(|| count(serves, "serve")),
            ask: Ask::of(library, read.answers.said.clone())?,
        };
        Ok(page.render()?)
    })
    .await
}

fn found_view(
    library: &Library,
    catalogue: &Catalogue,
    file: &ReadFile,
    player: &Player,
) -> Result<FoundView, Refusal> {
    let mut view = FoundView {
        name: file.upload.name.clone(),
        size: file.upload.size(),
        summary: String::new(),
        problem: None,
        serves: String::new(),
        strip: None,
        assumed: Vec::new(),
        refused: Vec::new(),
        suspected: Vec::new(),
        known: None,
    };
    let looked = match &file.seen {
        Ok(looked) => looked,
        Err(why) => {
            view.problem = Some(why.clone());
            return Ok(view);
        }
    };
    view.summary = looked.recording.summary();
    let serves = &looked.found.serves;
    view.serves = count(serves.len(), "serve");
    if serves.is_empty() {
        view.problem = Some(format!("No serve is in it: {}", intake::why_none(&looked.found)));
    } else {
        let refused = looked.found.refused.iter().map(|refusal| {
            let (from, to) = refusal.frames;
            format!("Frames {from} to {to} are no serve: {}", refusal.reason)
        });
        view.refused = refused.collect();
    }
    view.strip =
        serves.first().map(|serve| StripView::of(serve, "the first serve", Viewpoint::FromBehind));
    view.assumed = looked.recording.assumptions.iter().map(remedy::assumed).collect();
    let suspicions = looked.suspicions(catalogue, player.stature_m);
    view.suspected = suspicions
        .iter()
        .map(|label| (label.fault.clone(), catalogue.fault_name(&label.fault)))
        .collect();
    if let Some(row) = &looked.stored {
        let holder = library.player(row.player)?.code;
        view.known =
            Some(format!("Already here: {holder}, {}; it is not stored twice", day(row.date)));
    }
    Ok(view)
}

/// Has files stored that were read.
pub(super) async fn store(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let Stand::Ended(Ok(Outcome::Read(read))) = desk.long.work(&id)?.state() else {
        return Err(Refusal::Said("These files are stored already, or were left out".to_owned()));
    };
    if read.taken.swap(true, Ordering::SeqCst) {
        return Err(Refusal::Said("These files are being stored already".to_owned()));
    }
    let desk_of_work = Arc::clone(&desk);
    let title = format!("Storing for {}", read.player.code);
    let work = desk.long.begin(Lane::Other, title, move |work| {
        let stored = take_in(&desk_of_work, &read, work);
        match stored {
            Ok(stored) => {
                desk_of_work.long.forget(&id);
                Ok(Outcome::Stored(Arc::new(stored)))
            }
            Err(refusal) => {
                read.taken.store(false, Ordering::SeqCst);
                Err(refusal)
            }
        }
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

fn take_in(desk: &Desk, read: &ReadFiles, work: &Arc<Work>) -> Result<Stored, Refusal> {
    let mut library = InStep::new(Library::open(desk.library())?);
    let catalogue = library.catalogue()?;
    let watch = work.watch();
    let mut stored = Stored {
        answers: read.answers.clone(),
        cases: Vec::new(),
        lines: Vec::new(),
        notes: Vec::new(),
        left: Vec::new(),
    };
    let one_by_one = |library: &mut Library, player: &Player| {
        let mut taken = 0;
        for file in &read.files {
            let Ok(looked) = &file.seen else {
                stored.left.push(Arc::clone(&file.upload));
                continue;
            };
            work.about(&file.upload.name);
            let context = &read.answers.context;
            match intake::store(library, &catalogue, player, looked.clone(), context, &watch) {
                Ok(one) => {
                    taken += 1;
                    stored.note(&one, &file.upload.name, &player.code);
                }
                Err(error) => {
                    let why = if is_stop(&error) {
                        "stopped before it was stored".to_owned()
                    } else {
                        remedy::unstored(error, &file.upload)
                    };
                    stored.notes.push(format!("{}: {why}", file.upload.name));
                    stored.left.push(Arc::clone(&file.upload));
                }
            }
        }
        (taken, taken)
    };
    let (recorded, taken) = intake::for_player(&mut library, &read.answers.player, one_by_one)?;
    if recorded.new && taken > 0 {
        stored.lines.push(format!("New player: {}", recorded.player.code));
    }
    Ok(stored)
}

impl Stored {
    fn note(&mut self, taken: &intake::Taken, name: &str, code: &str) {
        let added = &taken.added;
        let serves = count(added.serves.len(), "serve");
        let new = if added.new { "stored" } else { "was here already" };
        self.lines.push(format!("{name}: {new}, {serves}"));
        if taken.date_assumed {
            self.notes
                .push(format!("{name}: the day was taken from the file, {}", day(taken.date)));
        }
        if added.consent_open {
            let open = format!(
                "{code}: nobody recorded yet what the player agreed to; say it on the player's page"
            );
            if !self.notes.contains(&open) {
                self.notes.push(open);
            }
        }
        let case = (format!("/case/{}", added.case), format!("{code}, {}", day(taken.date)));
        if !self.cases.contains(&case) {
            self.cases.push(case);
        }
    }

    fn said(&self) -> &[(String, String)] {
        self.answers.said.pairs()
    }

    fn left_names(&self) -> Vec<&str> {
        self.left.iter().map(|file| file.name.as_str()).collect()
    }
}

pub(super) fn stored(desk: &Desk, id: &str, stored: &Stored) -> Result<String, Refusal> {
    let title = if stored.cases.is_empty() { "Nothing was stored" } else { "Stored" };
    Ok(StoredPage { frame: Frame::of(desk, title), id, stored }.render()?)
}

/// Reads files again with other answers.
pub(super) async fn again(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let files: Vec<Arc<Upload>> = match desk.long.work(&id)?.state() {
        Stand::Ended(Ok(Outcome::Read(read))) if !read.taken.load(Ordering::SeqCst) => {
            read.files.iter().map(|file| Arc::clone(&file.upload)).collect()
        }
        Stand::Ended(Ok(Outcome::Stored(stored))) => stored.left.clone(),
        _ => return Err(Refusal::Said("These files are not here to be read again".to_owned())),
    };
    let answers = checked(&desk, Answers::of(fields)?).await?;
    let work = read(&desk, answers, files);
    desk.long.forget(&id);
    Ok(go_to(&format!("/work/{}", work.id)))
}

/// Leaves what was read, or what is said of ended work.
pub(super) async fn leave(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    desk.long.forget(&id);
    Ok(go_to("/add").into_response())
}
