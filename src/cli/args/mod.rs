//! What can be typed.

mod catalogue;
mod coaching;
mod mark;
mod put_right;
mod views;

use std::path::PathBuf;

use clap::builder::PossibleValue;
use clap::{Args, Parser, Subcommand, ValueEnum};
use jiff::civil::Date;

use crate::catalogue::{Attempt, BodyPart};
use crate::intake::{ClipWay, PathPattern};
use crate::library::{ConsentBy, Court, Level, Named, ServeType, Setting, Target};
use crate::motion::{Capture, Joint, Layout, ReadOptions, Side, SourceUnit, Up, View};
use crate::serve::EventKind;
use crate::video::{ModelChoice, Person};

pub(super) use catalogue::CatalogueArgs;
pub(super) use coaching::{AskedArgs, BallArgs, FollowUpArgs, LabelArgs, LogArgs, PlanArgs};
pub(super) use mark::MarkArgs;
pub(super) use put_right::{AgreedArg, AmendArgs, ClearArg, HistoryArgs, MoveArgs, RemoveArgs};
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

/// How to read a file that does not say everything itself.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Reading the file")]
pub(super) struct ReadArgs {
    /// Layout of the file, if it is not recognised, or recognised wrongly
    #[arg(long)]
    layout: Option<Layout>,
    /// Sample rate in Hz, if the file states none
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    rate: Option<f64>,
    /// Serving hand, checked against the motion
    #[arg(long)]
    hand: Option<Side>,
    /// Axis that points up in the file: x, y, z, -x, -y or -z
    #[arg(long, allow_hyphen_values = true, value_name = "AXIS")]
    up: Option<Up>,
    /// Unit of the positions in the file
    #[arg(long)]
    unit: Option<SourceUnit>,
    /// Which subject, if the file holds several
    #[arg(long)]
    subject: Option<String>,
    /// Which person, if the picture shows several: counted from 1, in a clip from the left
    #[arg(long, value_name = "N", value_parser = counted)]
    person: Option<usize>,
    /// Size of the picture in pixels, if the points are fractions of it
    #[arg(long, value_name = "WIDTHxHEIGHT", value_parser = picture_size)]
    picture: Option<[u32; 2]>,
    /// Joints of a table without a header, in order: "left_shoulder,right_shoulder,..."
    #[arg(long, value_name = "NAMES", value_delimiter = ',', value_parser = joint_name)]
    joints: Option<Vec<Joint>>,
    /// Where the camera stood
    #[arg(long)]
    view: Option<View>,
    /// How the joints were captured, if the layout does not say
    #[arg(long)]
    capture: Option<Capture>,
    /// The source is a mirror image: swap left and right
    #[arg(long)]
    mirror: bool,
    /// Keep the complete frames of a file that was cut off
    #[arg(long)]
    trim: bool,
    #[command(flatten)]
    clip: ClipArgs,
}

/// How to read a clip.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Reading a clip")]
pub(super) struct ClipArgs {
    /// Pose model: larger is slower and steadier
    #[arg(long, value_name = "MODEL", default_value = "full", value_parser = model)]
    model: ModelChoice,
    /// Box around the player's hips at the start, in pixels from the top left of the picture
    #[arg(long, value_name = "X,Y,W,H", conflicts_with = "person", value_parser = region)]
    region: Option<[f64; 4]>,
    /// Frames per second at capture, for a clip filmed in slow motion
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    capture_rate: Option<f64>,
}

impl ReadArgs {
    pub(super) fn options(&self) -> ReadOptions {
        ReadOptions {
            layout: self.layout,
            rate_hz: self.rate,
            up: self.up,
            unit: self.unit,
            subject: self.subject.clone(),
            person: self.person.map(|n| n - 1),
            picture: self.picture,
            joint_order: self.joints.clone(),
            view: self.view,
            capture: self.capture,
            mirror: self.mirror,
            trim: self.trim,
        }
    }

    pub(super) fn clip(&self) -> ClipWay {
        let person = match (self.clip.region, self.person) {
            (Some([x, y, width, height]), _) => Person::Within([x, y, x + width, y + height]),
            (None, Some(n)) => Person::FromLeft(n),
            (None, None) => Person::Only,
        };
        ClipWay { model: self.clip.model, person, capture_rate_hz: self.clip.capture_rate }
    }

    pub(super) fn hand(&self) -> Option<Side> {
        self.hand
    }
}

fn picture_size(text: &str) -> Result<[u32; 2], String> {
    let parsed = text
        .split_once(['x', 'X'])
        .and_then(|(width, height)| Some([width.parse().ok()?, height.parse().ok()?]));
    match parsed {
        Some([width, height]) if width > 0 && height > 0 => Ok([width, height]),
        _ => Err(format!(
            "a picture size is WIDTHxHEIGHT in pixels, found '{text}'; for example 1920x1080"
        )),
    }
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

fn region(text: &str) -> Result<[f64; 4], String> {
    let numbers: Option<Vec<f64>> = text.split(',').map(|n| n.trim().parse().ok()).collect();
    match numbers.as_deref() {
        Some(&[x, y, width, height])
            if [x, y, width, height].iter().all(|n: &f64| n.is_finite())
                && x >= 0.0
                && y >= 0.0
                && width > 0.0
                && height > 0.0 =>
        {
            Ok([x, y, width, height])
        }
        _ => Err(format!(
            "a region is X,Y,WIDTH,HEIGHT in pixels, found '{text}'; for example 600,200,300,700"
        )),
    }
}

fn joint_name(text: &str) -> Result<Joint, String> {
    Joint::from_name(text.trim()).ok_or_else(|| {
        let names: Vec<&str> = Joint::ALL.iter().map(|joint| joint.name()).collect();
        format!("no joint is called '{text}'; choose from {}", names.join(", "))
    })
}

#[derive(Debug, Args)]
pub(super) struct ReadCommand {
    /// The recording
    pub(super) file: PathBuf,
    /// Folder to write a clip's pictures into: each event, and the hand after contact
    #[arg(long, value_name = "DIR")]
    pub(super) pictures: Option<PathBuf>,
    #[command(flatten)]
    pub(super) read: ReadArgs,
}

#[derive(Debug, Args)]
pub(super) struct AddArgs {
    /// Recordings, or folders of them
    #[arg(required_unless_present_any = ["table", "template"])]
    pub(super) files: Vec<PathBuf>,
    /// Player's code: a pseudonym; an unknown one makes a new player
    #[arg(long, required_unless_present_any = ["table", "template", "from_path"])]
    pub(super) player: Option<String>,
    /// What the end of each path says, for example "{player}/{date}-{view}"; also {hand}, {type},
    /// {setting}, {rate} and * for the rest. Files are read side by side; goes on where it was
    /// stopped; what has to be asked waits in `list --questions`
    #[arg(long, value_name = "PATTERN", conflicts_with_all = ["table", "template"])]
    pub(super) from_path: Option<PathPattern>,
    /// With --from-path: how many files to read side by side [default: one a processor core]
    #[arg(long, value_name = "N", requires = "from_path", value_parser = at_least_one)]
    pub(super) jobs: Option<usize>,
    /// Past players and cases from a table (CSV): all of it or, on any error, nothing
    #[arg(long, value_name = "FILE", conflicts_with_all = ["files", "player", "template"])]
    pub(super) table: Option<PathBuf>,
    /// Write a template for such a table, with two example rows, to a new file
    #[arg(long, value_name = "FILE", conflicts_with_all = ["files", "player"])]
    pub(super) template: Option<PathBuf>,
    /// Day of the recording [default: the file's own date]
    #[arg(long)]
    pub(super) date: Option<Date>,
    /// What the recordings show
    #[arg(long)]
    pub(super) setting: Option<Setting>,
    /// Type of serve the player went for
    #[arg(long = "type", value_name = "TYPE")]
    pub(super) serve_type: Option<ServeType>,
    /// Player's level
    #[arg(long)]
    pub(super) level: Option<Level>,
    /// Player's birth date
    #[arg(long)]
    pub(super) born: Option<Date>,
    /// Player's standing height in metres
    #[arg(long, value_name = "M", allow_negative_numbers = true)]
    pub(super) stature: Option<f64>,
    /// Squad the player belongs to; may be repeated
    #[arg(long)]
    pub(super) squad: Vec<String>,
    /// Coach's code
    #[arg(long)]
    pub(super) coach: Option<String>,
    /// What the player agreed to: keeping it here, or keeping it here and sharing it without a name
    #[arg(long)]
    pub(super) consent: Option<ConsentArg>,
    /// Who agreed; of a player under eighteen a parent or guardian does
    #[arg(long, value_name = "WHO", requires = "consent")]
    pub(super) consent_by: Option<ConsentBy>,
    /// Keep a copy of each clip in the library; otherwise a clip stays where it is
    #[arg(long)]
    pub(super) keep_clip: bool,
    #[command(flatten)]
    pub(super) asked: AskedArgs,
    #[command(flatten)]
    pub(super) read: ReadArgs,
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
pub(super) struct ExportArgs {
    /// Folder to write into (a new one); with --player a ZIP file
    #[arg(short, long, value_name = "DIR")]
    pub(super) output: PathBuf,
    /// Only cases that match
    #[arg(long = "where", value_name = "TERMS")]
    pub(super) filter: Option<String>,
    /// Everything stored about this player and nothing about others, for the player to keep
    #[arg(long, value_name = "CODE", conflicts_with = "filter")]
    pub(super) player: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct RetentionArgs {
    /// Keep players for this many months after the last day anything was recorded of them
    #[arg(long, value_name = "N", conflicts_with = "no_limit")]
    pub(super) months: Option<u32>,
    /// Set no limit
    #[arg(long)]
    pub(super) no_limit: bool,
    /// Your code
    #[arg(long, default_value = "coach")]
    pub(super) coach: String,
}

impl RetentionArgs {
    /// Whether it needs the library open for writing; a bare `retention` lists.
    pub(super) fn changes(&self) -> bool {
        self.months.is_some() || self.no_limit
    }
}

#[derive(Debug, Args)]
pub(super) struct ForgetArgs {
    /// Player's code
    pub(super) player: String,
    /// Do it without asking; it cannot be undone
    #[arg(long)]
    pub(super) yes: bool,
}

#[derive(Debug, Args)]
pub(super) struct ShareArgs {
    /// Where to write the pack
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// Only cases that match
    #[arg(long = "where", value_name = "TERMS")]
    pub(super) filter: Option<String>,
    /// What the receiver should call you
    #[arg(long, value_name = "NAME")]
    pub(super) academy: Option<String>,
    /// Let notes go out too
    #[arg(long)]
    pub(super) with_notes: bool,
    /// Only the library with this key can open it (its coach tells you the key: receive --key); may be
    /// repeated. Such a pack is always signed
    #[arg(long = "for", value_name = "[NAME=]KEY")]
    pub(super) receivers: Vec<String>,
    /// Sign it with the library's own key, made with the first signed pack
    #[arg(long)]
    pub(super) sign: bool,
    /// Lock it with a passphrase: from --passphrase-file, PRECEDENT_PASSPHRASE, or typed
    #[arg(long, conflicts_with = "receivers")]
    pub(super) lock: bool,
    /// Lock it for nobody: whoever gets hold of the file can read it
    #[arg(long, conflicts_with_all = ["receivers", "lock"])]
    pub(super) unlocked: bool,
    /// File whose first line is the passphrase; - for standard input
    #[arg(long, value_name = "FILE", requires = "lock")]
    pub(super) passphrase_file: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct ReceiveArgs {
    /// The pack [default: list those received]
    pub(super) pack: Option<PathBuf>,
    /// Check it and say what it would bring; store nothing
    #[arg(long, requires = "pack")]
    pub(super) dry_run: bool,
    /// Remove everything that only this pack brought
    #[arg(long, value_name = "PACK", conflicts_with = "pack")]
    pub(super) undo: Option<String>,
    /// Show the key others lock packs with for you; it is made the first time you ask
    #[arg(long, conflicts_with_all = ["pack", "undo"])]
    pub(super) key: bool,
    /// Accept it although it is not signed with the key its sender used before
    #[arg(long, requires = "pack")]
    pub(super) new_key: bool,
    /// File whose first line is the passphrase of a locked pack; - for standard input
    #[arg(long, value_name = "FILE", requires = "pack")]
    pub(super) passphrase_file: Option<PathBuf>,
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
