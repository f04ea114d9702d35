//! What can be typed.

mod catalogue;
mod coaching;
mod mark;
mod put_right;
mod reading;
mod sharing;
mod views;

use std::path::PathBuf;

use clap::builder::PossibleValue;
use clap::{Args, Parser, Subcommand, ValueEnum};
use jiff::civil::Date;

use crate::catalogue::{Attempt, BodyPart};
use crate::library::{ConsentBy, Court, Level, Named, ServeType, Setting, Target};
use crate::motion::{Capture, Side, View};
use crate::serve::EventKind;
use crate::video::ModelChoice;

pub(super) use catalogue::CatalogueArgs;
pub(super) use coaching::{AskedArgs, BallArgs, FollowUpArgs, LabelArgs, LogArgs, PlanArgs};
pub(super) use mark::MarkArgs;
pub(super) use put_right::{AgreedArg, AmendArgs, ClearArg, HistoryArgs, MoveArgs, RemoveArgs};
pub(super) use reading::{AddArgs, ReadArgs, ReadCommand};
pub(super) use sharing::{ExportArgs, ForgetArgs, ReceiveArgs, RetentionArgs, ShareArgs};
pub(super) use views::ViewsArgs;

/// The memory a serve coach lacks: who served like this before, what was wrong, what was
/// planned, and did it work?
#[derive(Debug, Parser)]
#[command(name = "precedent", version, propagate_version = true, arg_required_else_help = true)]
pub(super) struct Cli {
    /// Folder of the library [default: `precedent` in the user's data folder]
    #[arg(
        long,
        global = true,
        help_heading = "Everywhere",
        env = "PRECEDENT_LIBRARY",
        value_name = "DIR"
    )]
    pub(super) library: Option<PathBuf>,
    /// Print one JSON object per line on standard output
    #[arg(long, global = true, help_heading = "Everywhere")]
    pub(super) json: bool,
    /// Change nothing in the library: refuse commands that would, and check without repairing
    #[arg(long, global = true, help_heading = "Everywhere")]
    pub(super) read_only: bool,
    /// Print nothing on standard error except errors
    #[arg(long, short, global = true, help_heading = "Everywhere")]
    pub(super) quiet: bool,
    /// What to do
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Build the invented academy's library, add a new serve, find its precedents, write its review
    Demo(DemoArgs),
    /// The coach's page in your browser: players, sessions, plans, follow-ups; Ctrl-C ends it
    Page(PageArgs),
    /// Show what a recording holds and store nothing
    Read(ReadCommand),
    /// Store recordings and their serves for a player
    Add(AddArgs),
    /// What has to be asked about recordings before all can be said of them
    List(ListArgs),
    /// Answer what is asked about a recording, or about all of a folder
    Answer(AnswerArgs),
    /// Fetch what reading clips needs, once; clips are then read without a network
    SetupVideo,
    /// Search cases, notes, plans and the catalogue for words; best matches first
    Find(FindArgs),
    /// Find who served like this before, what makes them alike, and what came of it
    Like(LikeArgs),
    /// Show where a case stands; confirm, reject or add faults, and say which to start with
    Label(LabelArgs),
    /// Plan drills for a fault, end a plan or withdraw one
    Plan(PlanArgs),
    /// Record what came of a plan: later serves and results
    FollowUp(FollowUpArgs),
    /// Show a serve's moments and who or what saw them; set one by hand, or take it back
    Mark(MarkArgs),
    /// Show which clips of a session show the same serves; say that two do, or do not
    Views(ViewsArgs),
    /// Correct a player, recording, case, plan or follow-up; the earlier version is kept
    Amend(AmendArgs),
    /// Move a recording or serve to another player or day
    Move(MoveArgs),
    /// Remove a recording, serve, plan, follow-up or label; what depends on it is listed first
    Remove(RemoveArgs),
    /// Show what was changed, when and by whom; take the last change back
    History(HistoryArgs),
    /// Log practice done for a plan: sessions, effort, pain
    Log(LogArgs),
    /// Write a serve's review as one HTML file or PDF
    Review(ReviewArgs),
    /// Show a player before and after: what each plan changed, and what else changed
    Progress(ProgressArgs),
    /// Show a squad: groups of similar serves, common faults, trends, whom to see next
    Squad(SquadArgs),
    /// Read up on faults and drills; check and add your academy's own
    Catalogue(CatalogueArgs),
    /// Write curves (NPY, CSV) and measures (CSV) for further study, or everything stored about a player
    Export(ExportArgs),
    /// List the players kept for longer than you mean to, and set how long that is. Removes nobody
    Retention(RetentionArgs),
    /// Remove a player from the library for good
    Forget(ForgetArgs),
    /// Write the cases of players who agreed into one file without names, for another academy
    Share(ShareArgs),
    /// Receive another academy's pack, take one back, or list those received
    Receive(ReceiveArgs),
    /// Check the library; rebuild what is derived from it
    Verify(VerifyArgs),
    /// Check that this computer has what is needed and how the library stands, and say what to do
    Doctor,
    /// Print completions for your shell
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// Read the guide: a first hour, filming, reviews, squads, sharing, privacy, data
    Guide {
        /// The topic; leave it out to list them
        topic: Option<String>,
    },
    /// Write the manual, one page per command, into a folder
    #[command(hide = true)]
    Manual {
        /// The folder
        folder: PathBuf,
    },
}

fn at_least_one(text: &str) -> Result<usize, String> {
    match text.parse() {
        Ok(0) | Err(_) => Err("a whole number, 1 or more".to_owned()),
        Ok(count) => Ok(count),
    }
}

fn counted(text: &str) -> Result<usize, String> {
    match text.parse() {
        Ok(n) if n > 0 => Ok(n),
        _ => Err("people are counted from 1".to_owned()),
    }
}

fn model(text: &str) -> Result<ModelChoice, String> {
    ModelChoice::from_name(text)
        .ok_or_else(|| format!("no pose model is called '{text}'; choose lite, full or heavy"))
}

#[derive(Debug, Args)]
pub(super) struct ListArgs {
    /// What is asked: the player, the hand, from where and at what rate it was filmed
    #[arg(long, required = true)]
    pub(super) questions: bool,
}

#[derive(Debug, Args)]
pub(super) struct AnswerArgs {
    /// Questions (q3fa9c21b, r12), files, or folders: all that is asked of the files in them
    #[arg(required = true, value_name = "QUESTIONS")]
    pub(super) questions: Vec<String>,
    /// Player's code; an unknown one makes a new player
    #[arg(long)]
    pub(super) player: Option<String>,
    /// Serving hand
    #[arg(long)]
    pub(super) hand: Option<Side>,
    /// Where the camera stood
    #[arg(long)]
    pub(super) view: Option<View>,
    /// Frames per second at which a slow-motion clip was filmed
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    pub(super) capture_rate: Option<f64>,
    /// Which person, counted from the left, from 1
    #[arg(long, value_name = "N", value_parser = counted)]
    pub(super) person: Option<usize>,
    /// Day of the recording
    #[arg(long)]
    pub(super) date: Option<Date>,
    /// Ask no more about the file; brought again, it is looked at anew
    #[arg(long, conflicts_with_all = ["player", "hand", "view", "capture_rate", "person", "date"])]
    pub(super) leave: bool,
    /// Your code, in whose name it is recorded
    #[arg(long, default_value = "coach")]
    pub(super) coach: String,
    /// Pose model: larger is slower and steadier
    #[arg(long, value_name = "MODEL", default_value = "full", value_parser = model)]
    pub(super) model: ModelChoice,
    /// How many files to read side by side [default: one a processor core]
    #[arg(long, value_name = "N", value_parser = at_least_one)]
    pub(super) jobs: Option<usize>,
}

#[derive(Debug, Args)]
pub(super) struct FindArgs {
    /// What to look for, for example: leg drive bench. With quotes round it all, "a phrase" must
    /// appear and -word must not: 'toss "front foot" -grip'
    #[arg(required = true, value_name = "WORDS")]
    pub(super) words: Vec<String>,
    /// How many answers at most
    #[arg(short, default_value_t = 10, value_parser = at_least_one)]
    pub(super) k: usize,
    /// Only cases that match, for example "hand=left level=club,competition date>=2026-03"; the
    /// catalogue is then left out
    #[arg(long = "where", value_name = "TERMS")]
    pub(super) filter: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct LikeArgs {
    /// A stored serve (s12) or a recording's file
    pub(super) serve: String,
    /// Which serve of the file, counted from 1
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(super) nth: usize,
    /// How many precedents
    #[arg(short, default_value_t = 5, value_parser = at_least_one)]
    pub(super) k: usize,
    /// Only cases that match, for example "hand=left level=club,competition date>=2026-03" or
    /// words="leg drive"
    #[arg(long = "where", value_name = "TERMS")]
    pub(super) filter: Option<String>,
    /// Look mainly at these body parts, for example "tossing-arm,trunk"
    #[arg(long, value_name = "PARTS")]
    pub(super) focus: Option<String>,
    /// Whose serve is in the file, if the library knows the player: their own serves are marked
    #[arg(long, value_name = "CODE")]
    pub(super) player: Option<String>,
    /// Day a file was recorded, if you know it: the player's session of that day is left out
    #[arg(long, value_name = "DATE", requires = "player")]
    pub(super) date: Option<Date>,
    /// Leave out the player's own serves too
    #[arg(long)]
    pub(super) others: bool,
    /// At most one serve per player: the closest
    #[arg(long)]
    pub(super) one_each: bool,
    /// Say everything, not only what fits a screen
    #[arg(long)]
    pub(super) full: bool,
    #[command(flatten)]
    pub(super) read: ReadArgs,
}

impl ReceiveArgs {
    /// Whether it needs the library open for writing; a bare `receive` lists.
    pub(super) fn changes(&self) -> bool {
        self.pack.is_some() || self.undo.is_some() || self.key
    }
}

#[derive(Debug, Args)]
pub(super) struct ReviewArgs {
    /// A stored serve (s12) or a recording's file
    pub(super) serve: String,
    /// Which serve of the file, counted from 1
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(super) nth: usize,
    /// Whose serve is in the file, if the library knows the player
    #[arg(long, value_name = "CODE")]
    pub(super) player: Option<String>,
    /// File to write: HTML, or a PDF if the name ends in .pdf
    #[arg(short, long, value_name = "FILE", required_unless_present = "bundle")]
    pub(super) output: Option<PathBuf>,
    /// What you showed while speaking (JSON): your voice over the clip becomes one MP4, written to
    /// --output and put into a bundle
    #[arg(long, value_name = "FILE", requires = "voice")]
    pub(super) spoken: Option<PathBuf>,
    /// The voice that goes with it
    #[arg(long, value_name = "FILE", requires = "spoken")]
    pub(super) voice: Option<PathBuf>,
    /// Write one file (ZIP) to send to the player: their review as HTML and PDF, and their serve moving
    /// beside their earlier one or the closest precedent
    #[arg(long, value_name = "FILE")]
    pub(super) bundle: Option<PathBuf>,
    /// For whom: the player's copy names nobody else
    #[arg(long = "for", value_name = "WHO", default_value = "player")]
    pub(super) reader: ReaderArg,
    /// How many precedents
    #[arg(short, default_value_t = 5, value_parser = at_least_one)]
    pub(super) k: usize,
    /// Only cases that match
    #[arg(long = "where", value_name = "TERMS")]
    pub(super) filter: Option<String>,
    #[command(flatten)]
    pub(super) read: ReadArgs,
}

#[derive(Debug, Args)]
pub(super) struct ProgressArgs {
    /// The player's code
    pub(super) player: String,
    /// Also write it as one HTML file, or as a PDF if the name ends in .pdf
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct SquadArgs {
    /// The squad [default: all players]
    pub(super) name: Option<String>,
    /// Only cases that match
    #[arg(long = "where", value_name = "TERMS")]
    pub(super) filter: Option<String>,
    /// First day that counts
    #[arg(long, value_name = "DATE")]
    pub(super) from: Option<Date>,
    /// Last day that counts; what is overdue is worked out for this day [default: today]
    #[arg(long, value_name = "DATE")]
    pub(super) to: Option<Date>,
    /// Write the squad report as one HTML file, or as a PDF if the name ends in .pdf
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct VerifyArgs {
    /// Rebuild the curve index and the word index from the store
    #[arg(long)]
    pub(super) rebuild: bool,
}

#[derive(Debug, Args)]
pub(super) struct DemoArgs {
    /// Folder for the demo's library and review
    #[arg(long, value_name = "DIR", default_value = super::demo::DEMO_FOLDER)]
    pub(super) into: PathBuf,
    /// Write this many curves as one NPY array (curves x frames x channels) and stop
    #[arg(long, value_name = "N", requires = "output")]
    pub(super) curves: Option<usize>,
    /// Seed of `--curves`
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
    /// File for `--curves`
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct PageArgs {
    /// Port on this computer; 0: any that is free
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub(super) port: u16,
    /// Print the address and open no browser
    #[arg(long)]
    pub(super) no_open: bool,
    /// Serve the invented academy, built in `precedent-demo` if it is not there yet; --library is left alone
    #[arg(long)]
    pub(super) demo: bool,
    /// Your code: what the page records is signed with it
    #[arg(long, default_value = "coach")]
    pub(super) coach: String,
}

/// What can be typed for a value is its stable name, with hyphens.
macro_rules! typed {
    ($($of:ident: $($value:ident)*;)*) => {$(
        impl ValueEnum for $of {
            fn value_variants<'a>() -> &'a [Self] {
                &[$(Self::$value),*]
            }

            fn to_possible_value(&self) -> Option<PossibleValue> {
                Some(PossibleValue::new(self.name().replace('_', "-")))
            }
        }
    )*};
}

typed! {
    Side: Left Right;
    View: Behind Front Side Diagonal;
    Capture: Markers DepthSensor SeveralCameras OneCameraLifted OneCameraFlat;
    Setting: PracticeSwing BallNoTarget Target Match;
    ServeType: Flat Slice Kick;
    Level: Beginner Club Competition National Professional;
    ConsentBy: Player Guardian;
    Attempt: First Second;
    Court: Deuce Ad;
    Target: Wide Body T;
    BodyPart: Shoulder Elbow Wrist Back Trunk Hip Knee Foot;
    EventKind: TossStart Release Trophy RacketLow Contact Finish;
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum ConsentArg {
    Keep,
    Share,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum ReaderArg {
    Player,
    Coach,
}
