//! Files on their way in: streamed to the disk beside the library, within limits, and gone again
//! unless a work takes them.

use std::collections::HashMap;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use axum::extract::{Path, Request, State};
use axum::http::header::CONTENT_LENGTH;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use futures_util::StreamExt;
use tempfile::TempDir;

use super::desk::Desk;
use super::fields::Asked;
use super::long::lock;
use super::refusal::Refusal;
use crate::intake::is_recording_name;

/// Files that wait for the coach to say what they are, at most.
const MOST_WAITING: usize = 24;
/// What nobody took until then is not wanted.
const PATIENCE: Duration = Duration::from_secs(6 * 60 * 60);
/// Written to the disk at once, bytes.
const PART: usize = 1 << 20;
/// Longest name kept.
const NAME_CHARS: usize = 60;
/// Folder in the library's own: a file is never copied from one disk to another.
const FOLDER: &str = "incoming";

/// What may come in, with how much of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Recording,
    Table,
    Pack,
    Voice,
}

impl Kind {
    pub(super) fn of(name: &str) -> Option<Self> {
        match name {
            "recording" => Some(Self::Recording),
            "table" => Some(Self::Table),
            "pack" => Some(Self::Pack),
            "voice" => Some(Self::Voice),
            _ => None,
        }
    }

    /// Most bytes: three minutes of a phone's largest picture, a squad's years as a table, a pack
    /// as large as one that is still read in memory, half an hour of a voice (our estimates).
    pub(super) fn limit(self, name: &str) -> u64 {
        match self {
            Self::Recording if is_clip_name(name) => 2 << 30,
            Self::Recording => 256 << 20,
            Self::Table => 16 << 20,
            Self::Pack => 1 << 30,
            Self::Voice => 64 << 20,
        }
    }

    fn takes(self, name: &str) -> bool {
        let ending = |known: &[&str]| {
            let name = name.to_ascii_lowercase();
            known.iter().any(|ending| name.ends_with(&format!(".{ending}")))
        };
        match self {
            Self::Recording => is_recording_name(std::path::Path::new(name)),
            Self::Table => ending(&["csv", "txt"]),
            Self::Pack => true,
            Self::Voice => ending(&["webm", "ogg", "m4a"]),
        }
    }

    fn rule(self) -> &'static str {
        match self {
            Self::Recording => {
                "A recording is a clip (MP4, MOV, MKV, WebM, AVI) or a joint file (C3D, TRC, \
                 BVH, JSON, CSV, TXT)"
            }
            Self::Table => "A table of past records is a CSV file",
            Self::Pack => "A pack comes from another library",
            Self::Voice => "A voice is what the browser recorded (WebM, Ogg, M4A)",
        }
    }
}

fn is_clip_name(name: &str) -> bool {
    crate::video::has_clip_ending(std::path::Path::new(name))
}

/// A file that came in whole.
#[derive(Debug)]
pub(super) struct Upload {
    pub(super) id: String,
    pub(super) kind: Kind,
    /// As the coach knows it, made harmless.
    pub(super) name: String,
    pub(super) path: PathBuf,
    pub(super) bytes: u64,
    came: Instant,
    _folder: TempDir,
}

impl Upload {
    /// Its size in words.
    pub(super) fn size(&self) -> String {
        size(self.bytes)
    }
}

fn size(bytes: u64) -> String {
    match bytes as f64 {
        b if b < 1e6 => format!("{:.0} kB", (b / 1e3).max(1.0)),
        b if b < 1e9 => format!("{:.0} MB", b / 1e6),
        b => format!("{:.1} GB", b / 1e9),
    }
}

/// Where files come in, and those that wait.
#[derive(Debug)]
pub(super) struct Uploads {
    folder: PathBuf,
    room: Mutex<Option<Room>>,
    waiting: Mutex<HashMap<String, Arc<Upload>>>,
}

/// The folder of this server; what it holds goes with it, or with the next server where this one
/// was killed.
#[derive(Debug)]
struct Room {
    folder: PathBuf,
    held_by: PathBuf,
    _held: File,
}

impl Drop for Room {
    fn drop(&mut self) {
        // What stays against our will is swept by the next server.
        let _ = fs::remove_dir_all(&self.folder);
        let _ = fs::remove_file(&self.held_by);
        if let Some(all) = self.folder.parent() {
            let _ = fs::remove_dir(all);
        }
    }
}

impl Room {
    fn new(all: &std::path::Path) -> io::Result<Self> {
        fs::create_dir_all(all)?;
        loop {
            let id = uuid::Uuid::now_v7().simple().to_string();
            let held_by = all.join(format!("{id}.held"));
            let held = OpenOptions::new().create_new(true).write(true).open(&held_by)?;
            held.lock()?;
            // Somebody who swept between the two took it for left over.
            if !held_by.exists() {
                continue;
            }
            let folder = all.join(id);
            fs::create_dir(&folder)?;
            return Ok(Self { folder, held_by, _held: held });
        }
    }
}

impl Uploads {
    pub(super) fn new(library: &std::path::Path) -> Self {
        let uploads = Self {
            folder: library.join(FOLDER),
            room: Mutex::default(),
            waiting: Mutex::default(),
        };
        uploads.sweep();
        uploads
    }

    /// Removes what servers left that were killed: those whose lock is free.
    fn sweep(&self) {
        let Ok(entries) = fs::read_dir(&self.folder) else { return };
        for held_by in entries.flatten().map(|entry| entry.path()) {
            if held_by.extension().is_none_or(|ending| ending != "held") {
                continue;
            }
            let free = File::open(&held_by).is_ok_and(|file| file.try_lock().is_ok());
            if free {
                // The next server tries again.
                let _ = fs::remove_dir_all(held_by.with_extension(""));
                let _ = fs::remove_file(&held_by);
            }
        }
        let _ = fs::remove_dir(&self.folder);
    }

    fn begin(&self, name: &str) -> Result<(TempDir, PathBuf, File), Refusal> {
        let disk = |error: io::Error| Refusal::Disk(error.kind());
        let mut room = lock(&self.room);
        if room.is_none() {
            *room = Some(Room::new(&self.folder).map_err(disk)?);
        }
        let parent = room.as_ref().map(|room| room.folder.clone()).ok_or(Refusal::Broken)?;
        drop(room);
        let folder = TempDir::new_in(parent).map_err(disk)?;
        let path = folder.path().join(name);
        let file = OpenOptions::new().create_new(true).write(true).open(&path).map_err(disk)?;
        Ok((folder, path, file))
    }

    /// Room for a new folder of ours, for a file that is to be saved.
    pub(super) fn folder(&self) -> Result<TempDir, Refusal> {
        let (folder, path, file) = self.begin("x")?;
        drop(file);
        fs::remove_file(path).map_err(|error| Refusal::Disk(error.kind()))?;
        Ok(folder)
    }

    /// Those of a kind that wait, in the order they came.
    pub(super) fn waiting(&self, kind: Kind) -> Vec<Arc<Upload>> {
        let waiting = lock(&self.waiting);
        let mut all: Vec<_> = waiting.values().filter(|one| one.kind == kind).cloned().collect();
        all.sort_by_key(|one| one.came);
        all
    }

    /// The files of these ids, which wait no more.
    pub(super) fn take(&self, kind: Kind, ids: &[String]) -> Result<Vec<Arc<Upload>>, Refusal> {
        let mut waiting = lock(&self.waiting);
        let gone = || {
            Refusal::Said("A file that was sent is no longer here; send it once more".to_owned())
        };
        for id in ids {
            waiting.get(id).filter(|one| one.kind == kind).ok_or_else(gone)?;
        }
        let mut taken = Vec::new();
        for id in ids {
            taken.extend(waiting.remove(id));
        }
        Ok(taken)
    }

    /// Puts files back that a refused form had named.
    pub(super) fn put_back(&self, files: Vec<Arc<Upload>>) {
        let mut waiting = lock(&self.waiting);
        for file in files {
            waiting.insert(file.id.clone(), file);
        }
    }

    /// Leaves a file that waits.
    pub(super) fn leave(&self, id: &str) {
        lock(&self.waiting).remove(id);
    }

    fn has_room(&self) -> bool {
        let mut waiting = lock(&self.waiting);
        waiting.retain(|_, file| file.came.elapsed() < PATIENCE);
        waiting.len() < MOST_WAITING
    }

    /// Everything goes: the server ends.
    pub(super) fn clear(&self) {
        lock(&self.waiting).clear();
        drop(lock(&self.room).take());
    }
}

/// Letters, digits and a few signs of a name; never a way out of a folder.
fn harmless(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    let plain = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.' | ' ' | '(' | ')');
    let kept: String = last.chars().map(|c| if plain(c) { c } else { '_' }).collect();
    let kept = kept.trim_matches(['.', ' ']);
    let skipped = kept.chars().count().saturating_sub(NAME_CHARS);
    let kept: String = kept.chars().skip(skipped).collect();
    if kept.is_empty() { "file".to_owned() } else { kept }
}

/// Takes a file in as it comes: `recording`, `table` or `pack`.
pub(super) async fn upload(
    State(desk): State<Arc<Desk>>,
    Path(kind): Path<String>,
    Asked(asked): Asked,
    request: Request,
) -> Response {
    let name = harmless(asked.text("name").unwrap_or_default());
    match take_in(&desk, &kind, &name, request).await {
        Ok(upload) => {
            let said = serde_json::json!({
                "id": upload.id, "name": upload.name, "size": upload.size(),
            });
            let kind = [(axum::http::header::CONTENT_TYPE, "application/json")];
            (StatusCode::CREATED, kind, said.to_string()).into_response()
        }
        Err(refusal) => refusal.plain(),
    }
}

async fn take_in(
    desk: &Arc<Desk>,
    kind: &str,
    name: &str,
    request: Request,
) -> Result<Arc<Upload>, Refusal> {
    let kind = Kind::of(kind).ok_or_else(|| Refusal::no_such("way in", kind))?;
    if !kind.takes(name) {
        return Err(Refusal::Said(format!("{name}: {}; it was not taken", kind.rule())));
    }
    let announced = length(request.headers())?;
    let limit = kind.limit(name);
    if announced > limit {
        let (found, most) = (size(announced), size(limit));
        return Err(Refusal::FileTooLarge(format!("{name} has {found}, and {most} is the most")));
    }
    if announced == 0 {
        return Err(Refusal::Said(format!("{name} is empty; send the file itself")));
    }
    if !desk.uploads.has_room() {
        return Err(Refusal::Said(format!(
            "{MOST_WAITING} files wait already; read them or leave them first"
        )));
    }
    let (folder, path, mut file) = {
        let (desk, name) = (Arc::clone(desk), name.to_owned());
        blocking(move || desk.uploads.begin(&name)).await??
    };
    let broke_off = || {
        Refusal::Said(format!(
            "{name} broke off on its way, and nothing of it was kept; send it again"
        ))
    };
    let mut body = request.into_body().into_data_stream();
    let (mut part, mut bytes) = (Vec::with_capacity(PART), 0_u64);
    loop {
        let next = body.next().await.transpose().map_err(|_| broke_off())?;
        let ended = next.is_none();
        if let Some(next) = next {
            bytes += next.len() as u64;
            if bytes > announced {
                return Err(broke_off());
            }
            part.extend_from_slice(&next);
        }
        if part.len() >= PART || ended {
            (file, part) = blocking(move || {
                let written = file.write_all(&part);
                part.clear();
                written.map(|()| (file, part)).map_err(|error| Refusal::Disk(error.kind()))
            })
            .await??;
        }
        if ended {
            break;
        }
    }
    if bytes != announced {
        return Err(broke_off());
    }
    let upload = Arc::new(Upload {
        id: format!("u{}", uuid::Uuid::now_v7().simple()),
        kind,
        name: name.to_owned(),
        path,
        bytes,
        came: Instant::now(),
        _folder: folder,
    });
    lock(&desk.uploads.waiting).insert(upload.id.clone(), Arc::clone(&upload));
    Ok(upload)
}

async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Refusal> {
    tokio::task::spawn_blocking(work).await.map_err(|_| Refusal::Broken)
}

/// How much is to come; what does not say so is not taken.
fn length(headers: &HeaderMap) -> Result<u64, Refusal> {
    let said = headers.get(CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse().ok());
    said.ok_or_else(|| {
        Refusal::Said("A file has to say how large it is before it is taken".to_owned())
    })
}

/// Leaves a file that waits.
pub(super) async fn leave(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    desk.uploads.leave(&id);
    Ok(super::case::go_to("/add"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_kept_and_leads_nowhere() {
        for (given, kept) in [
            ("IMG_2041.MOV", "IMG_2041.MOV"),
            ("../../etc/passwd.mp4", "passwd.mp4"),
            ("C:\\clips\\a b (2).mov", "a b (2).mov"),
            ("..", "file"),
            (".hidden.mp4", "hidden.mp4"),
            ("a\0b\n<i>.csv", "a_b__i_.csv"),
            ("Aufschlag-J\u{fc}rg.mp4", "Aufschlag-J\u{fc}rg.mp4"),
        ] {
            assert_eq!(harmless(given), kept);
        }
        let long = harmless(&format!("{}.mp4", "x".repeat(300)));
        assert!(long.len() == NAME_CHARS && long.ends_with(".mp4"), "{long}");
    }

    #[test]
    fn what_a_killed_server_left_goes_and_what_a_living_one_holds_stays() {
        let library = TempDir::new().unwrap();
        let living = Uploads::new(library.path());
        let (_folder, held, mut file) = living.begin("clip.mp4").unwrap();
        file.write_all(b"x").unwrap();
        // As a killed server leaves it: the files without the lock.
        let dead = library.path().join(FOLDER).join("dead");
        fs::create_dir(&dead).unwrap();
        fs::write(dead.join("clip.mp4"), "x").unwrap();
        fs::write(dead.with_extension("held"), "").unwrap();
        let next = Uploads::new(library.path());
        assert!(!dead.exists() && !dead.with_extension("held").exists());
        assert!(held.exists());
        next.clear();
        living.clear();
        assert!(!library.path().join(FOLDER).exists());
    }
}
