//! What is asked of recordings, and what comes of an answer: files that wait for one, and stored
//! recordings of which something is not known that the measures need.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::{BatchError, Job, Reading, Said, Tell, Went, run};
use crate::catalogue::Catalogue;
use crate::coaching::{PlayerRefusal, PlayerRequest};
use crate::intake::{Context, RecordingAmendment, amend_recording};
use crate::library::{Asked, Author, Library, RecordingId, StoreError, Waiting, WriteError};
use crate::motion::{Side, View};

/// Something that is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// The name it is answered by: `q3fa9c21b` of a file that waits, `r12` of a stored recording.
    pub name: String,
    /// Where the file lies, or the name it came under where that is not known.
    pub file: String,
    /// Whose it is, where that is known.
    pub player: Option<String>,
    /// What is asked; nothing where a file was only set aside.
    pub asks: Vec<Asked>,
    /// Why, in a sentence.
    pub why: String,
    about: About,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum About {
    Waits(Waiting),
    Stored(RecordingId),
}

/// What somebody answers; `None`: not said.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Answer {
    /// The player's code.
    pub player: Option<String>,
    /// The hand that serves.
    pub hand: Option<Side>,
    /// From where it was filmed.
    pub view: Option<View>,
    /// The rate it was filmed at, Hz.
    pub capture_rate_hz: Option<f64>,
    /// Which person, from the left, from 1.
    pub person: Option<usize>,
    /// The day.
    pub date: Option<jiff::civil::Date>,
    /// The file is not to be asked about any more; when it is brought again, it is looked at anew.
    pub leave: bool,
}

/// Why an answer was refused; nothing is changed then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum AnswerRefusal {
    /// Nothing of that name is asked.
    #[error("'{found}' is no open question, and no file or folder of one; see what is asked")]
    NoSuch {
        /// What was named.
        found: String,
    },
    /// The answer says nothing.
    #[error("an answer says at least one thing")]
    Nothing,
    /// A stored recording can only be told some of it.
    #[error(
        "{recording} is stored: it can be told where it was filmed from and which hand serves; \
         move or amend it for the rest"
    )]
    Stored {
        /// The recording.
        recording: RecordingId,
    },
    /// The player.
    #[error(transparent)]
    Player(#[from] PlayerRefusal),
    /// The store.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// A file.
    #[error(transparent)]
    Batch(#[from] BatchError),
}

impl From<StoreError> for AnswerRefusal {
    fn from(error: StoreError) -> Self {
        Self::Write(error.into())
    }
}

/// What came of an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Answered {
    /// Stored recordings that were put right.
    pub amended: usize,
    /// Files no longer asked about.
    pub left: usize,
    /// Files that were read with the answer.
    pub went: Went,
}

/// Everything that is asked, by file.
///
/// Of stored recordings of one camera: from where it was filmed, where nobody said and the figure
/// does not show it, and the player's hand, where nobody said. Cost: reads the list of recordings.
///
/// # Errors
/// [`StoreError`].
pub fn questions(library: &Library) -> Result<Vec<Question>, StoreError> {
    let waits = library.waiting()?.into_iter().map(|waiting| Question {
        name: waiting.name(),
        file: waiting.file.clone(),
        player: said(&waiting).path.player,
        asks: waiting.asks.clone(),
        why: waiting.why.clone(),
        about: About::Waits(waiting),
    });
    let mut all: Vec<Question> = waits.collect();
    let players: HashMap<_, _> =
        library.players()?.into_iter().map(|player| (player.id, player)).collect();
    for row in library.recordings(None)? {
        let Some(player) = players.get(&row.player) else { continue };
        if !row.capture.is_one_camera() {
            continue;
        }
        let open = [
            (Asked::View, row.view.is_none(), "the figure does not show where it was filmed from"),
            (Asked::Hand, player.hand.is_none(), "the hand is only what one camera seems to show"),
        ];
        let open: Vec<_> = open.into_iter().filter(|one| one.1).collect();
        if open.is_empty() {
            continue;
        }
        let clip = library.clip(row.id)?.map(|clip| clip.path);
        all.push(Question {
            name: row.id.to_string(),
            file: clip.unwrap_or(row.file_name),
            player: Some(player.code.clone()),
            asks: open.iter().map(|one| one.0).collect(),
            why: open.iter().map(|one| one.2).collect::<Vec<_>>().join("; "),
            about: About::Stored(row.id),
        });
    }
    all.sort_by(|a, b| (&a.file, &a.name).cmp(&(&b.file, &b.name)));
    Ok(all)
}

/// Answers what is asked under `names`: names of questions, files, or folders, each of which means all
/// that is asked of the files in it. Files are read again with the answer and stored; stored
/// recordings are put right. What is still not known afterwards is asked again.
///
/// # Errors
/// [`AnswerRefusal`]; what was taken in before a failure stays.
pub fn answer(
    library: &mut Library,
    names: &[String],
    answer: &Answer,
    by: &Author,
    how: &Reading<'_>,
    tell: Tell<'_>,
) -> Result<Answered, AnswerRefusal> {
    if *answer == Answer::default() {
        return Err(AnswerRefusal::Nothing);
    }
    let chosen = chosen(questions(library)?, names)?;
    let beyond = answer.player.is_some()
        || answer.capture_rate_hz.is_some()
        || answer.person.is_some()
        || answer.leave;
    let mut jobs = Vec::new();
    let mut done = Answered::default();
    let mut stored = Vec::new();
    for question in chosen {
        match question.about {
            About::Stored(recording) if beyond => {
                // Of a folder only those count that the answer can be about.
                if names.contains(&question.name) {
                    return Err(AnswerRefusal::Stored { recording });
                }
            }
            About::Stored(recording) => stored.push((recording, question.asks)),
            About::Waits(waiting) if answer.leave => {
                done.left += usize::from(library.end_waiting(&waiting.hash)?);
            }
            About::Waits(waiting) => jobs.push(answer.job(&waiting, &how.context)),
        }
    }
    let catalogue = library.catalogue()?;
    for (recording, asks) in stored {
        done.amended += usize::from(put_right(library, &catalogue, recording, &asks, answer, by)?);
    }
    if !jobs.is_empty() {
        done.went = run(library, &jobs, how, tell)?;
    }
    Ok(done)
}

/// Those that are meant.
fn chosen(all: Vec<Question>, names: &[String]) -> Result<Vec<Question>, AnswerRefusal> {
    let place = |name: &String| std::path::absolute(name).unwrap_or_else(|_| PathBuf::from(name));
    let means = |name: &String, question: &Question| {
        question.name == *name || Path::new(&question.file).starts_with(place(name))
    };
    for name in names {
        if !all.iter().any(|question| means(name, question)) {
            return Err(AnswerRefusal::NoSuch { found: name.clone() });
        }
    }
    let meant = |question: &Question| names.iter().any(|name| means(name, question));
    Ok(all.into_iter().filter(meant).collect())
}

/// Puts a stored recording right in what was asked of it; whether anything changed.
fn put_right(
    library: &mut Library,
    catalogue: &Catalogue,
    recording: RecordingId,
    asks: &[Asked],
    answer: &Answer,
    by: &Author,
) -> Result<bool, AnswerRefusal> {
    let asked = |what| asks.contains(&what);
    let (view, hand) =
        (answer.view.filter(|_| asked(Asked::View)), answer.hand.filter(|_| asked(Asked::Hand)));
    if let Some(hand) = hand {
        let player = library.player(library.recording(recording)?.player)?;
        let code = player.code;
        PlayerRequest { hand: Some(hand), ..PlayerRequest::new(&code) }.record(library)?;
    }
    let amendment = RecordingAmendment { view, hand, date: answer.date, ..Default::default() };
    match amend_recording(library, catalogue, recording, &amendment, by) {
        Ok(_) => Ok(true),
        // The hand was read rightly, and is known of the player now.
        Err(WriteError::Invalid { field: "recording", .. }) => Ok(hand.is_some()),
        Err(error) => Err(error.into()),
    }
}

fn said(waiting: &Waiting) -> Said {
    serde_json::from_str(&waiting.said).unwrap_or_default()
}

impl Answer {
    /// The waiting file with what was known of it and what is answered.
    fn job(&self, waiting: &Waiting, context: &Context) -> Job {
        let mut said = said(waiting);
        let path = &mut said.path;
        path.player = self.player.clone().or(path.player.take());
        path.hand = self.hand.or(path.hand);
        path.view = self.view.or(path.view);
        path.rate_hz = self.capture_rate_hz.or(path.rate_hz);
        path.date = self.date.or(path.date);
        said.person = self.person.or(said.person);
        let nobody = PlayerRequest::new("");
        let job = Job::new(Path::new(&waiting.file), &nobody, context, said);
        Job { waited: Some(waiting.hash.clone()), ..job }
    }
}
