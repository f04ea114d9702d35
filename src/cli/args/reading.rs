//! How a file is read, and what is told of it.

use std::path::PathBuf;

use clap::Args;
use jiff::civil::Date;

use super::{AskedArgs, ConsentArg, at_least_one, counted, model};
use crate::intake::{ClipWay, PathPattern};
use crate::library::{ConsentBy, Level, ServeType, Setting};
use crate::motion::{Capture, Joint, Layout, ReadOptions, Side, SourceUnit, Up, View};
use crate::video::{ModelChoice, Person};

/// How to read a file that does not say everything itself.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Reading the file")]
pub(in crate::cli) struct ReadArgs {
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
pub(in crate::cli) struct ClipArgs {
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
    pub(in crate::cli) fn options(&self) -> ReadOptions {
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

    pub(in crate::cli) fn clip(&self) -> ClipWay {
        let person = match (self.clip.region, self.person) {
            (Some([x, y, width, height]), _) => Person::Within([x, y, x + width, y + height]),
            (None, Some(n)) => Person::FromLeft(n),
            (None, None) => Person::Only,
        };
        ClipWay { model: self.clip.model, person, capture_rate_hz: self.clip.capture_rate }
    }

    pub(in crate::cli) fn hand(&self) -> Option<Side> {
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
pub(in crate::cli) struct ReadCommand {
    /// The recording
    pub(in crate::cli) file: PathBuf,
    /// Folder to write a clip's pictures into: each event, and the hand after contact
    #[arg(long, value_name = "DIR")]
    pub(in crate::cli) pictures: Option<PathBuf>,
    #[command(flatten)]
    pub(in crate::cli) read: ReadArgs,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct AddArgs {
    /// Recordings, or folders of them
    #[arg(required_unless_present_any = ["table", "template"])]
    pub(in crate::cli) files: Vec<PathBuf>,
    /// Player's code: a pseudonym; an unknown one makes a new player
    #[arg(long, required_unless_present_any = ["table", "template", "from_path"])]
    pub(in crate::cli) player: Option<String>,
    /// What the end of each path says, for example "{player}/{date}-{view}"; also {hand}, {type},
    /// {setting}, {rate} and * for the rest. Files are read side by side; goes on where it was
    /// stopped; what has to be asked waits in `list --questions`
    #[arg(long, value_name = "PATTERN", conflicts_with_all = ["table", "template"])]
    pub(in crate::cli) from_path: Option<PathPattern>,
    /// With --from-path: how many files to read side by side [default: one a processor core]
    #[arg(long, value_name = "N", requires = "from_path", value_parser = at_least_one)]
    pub(in crate::cli) jobs: Option<usize>,
    /// Past players and cases from a table (CSV): all of it or, on any error, nothing
    #[arg(long, value_name = "FILE", conflicts_with_all = ["files", "player", "template"])]
    pub(in crate::cli) table: Option<PathBuf>,
    /// Write a template for such a table, with two example rows, to a new file
    #[arg(long, value_name = "FILE", conflicts_with_all = ["files", "player"])]
    pub(in crate::cli) template: Option<PathBuf>,
    /// Day of the recording [default: the file's own date]
    #[arg(long)]
    pub(in crate::cli) date: Option<Date>,
    /// What the recordings show
    #[arg(long)]
    pub(in crate::cli) setting: Option<Setting>,
    /// Type of serve the player went for
    #[arg(long = "type", value_name = "TYPE")]
    pub(in crate::cli) serve_type: Option<ServeType>,
    /// Player's level
    #[arg(long)]
    pub(in crate::cli) level: Option<Level>,
    /// Player's birth date
    #[arg(long)]
    pub(in crate::cli) born: Option<Date>,
    /// Player's standing height in metres
    #[arg(long, value_name = "M", allow_negative_numbers = true)]
    pub(in crate::cli) stature: Option<f64>,
    /// Squad the player belongs to; may be repeated
    #[arg(long)]
    pub(in crate::cli) squad: Vec<String>,
    /// Coach's code
    #[arg(long)]
    pub(in crate::cli) coach: Option<String>,
    /// What the player agreed to: keeping it here, or keeping it here and sharing it without a name
    #[arg(long)]
    pub(in crate::cli) consent: Option<ConsentArg>,
    /// Who agreed; of a player under eighteen a parent or guardian does
    #[arg(long, value_name = "WHO", requires = "consent")]
    pub(in crate::cli) consent_by: Option<ConsentBy>,
    /// Keep a copy of each clip in the library; otherwise a clip stays where it is
    #[arg(long)]
    pub(in crate::cli) keep_clip: bool,
    #[command(flatten)]
    pub(in crate::cli) asked: AskedArgs,
    #[command(flatten)]
    pub(in crate::cli) read: ReadArgs,
}
