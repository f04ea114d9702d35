use std::path::{Path, PathBuf};

use super::model::ModelError;
use crate::remedy::Remedy;
use crate::work::Stopped;

/// Why set-up stopped.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SetupError {
    /// There is no folder to keep the files in.
    #[error("set-up: no cache folder for this user; set PRECEDENT_CACHE to a folder")]
    NoCache,
    /// The runtime library is not built for this machine.
    #[error(
        "set-up: the runtime library comes for Linux (x86_64, aarch64), macOS (arm64) and Windows (x86_64); this machine is {os} {arch}; joint files can be read without it"
    )]
    Platform {
        /// Operating system.
        os: &'static str,
        /// Processor.
        arch: &'static str,
    },
    /// A package client is not installed.
    #[error("set-up: '{client}' is not installed; {remedy}")]
    NoClient {
        /// The command looked for.
        client: &'static str,
        /// How to get it.
        remedy: &'static str,
    },
    /// The work was stopped.
    #[error("set-up: {0}")]
    Stopped(#[from] Stopped),
    /// A package client failed.
    #[error("set-up: '{command}' failed: {said}; check the network and run the set-up again")]
    Fetch {
        /// The command as run.
        command: String,
        /// Its last words.
        said: String,
    },
    /// A fetched file is not the one this program was tested with.
    #[error(
        "set-up: {file} from {package} has BLAKE3 {found}, expected {expected}; nothing was kept; \
         run the set-up again, and if it happens again, the package has been changed"
    )]
    WrongHash {
        /// File inside the package.
        file: String,
        /// Package and version.
        package: String,
        /// Hash it has.
        found: String,
        /// Hash it should have.
        expected: &'static str,
    },
    /// A package lacks a file.
    #[error("set-up: {package} holds no {file}; nothing was kept")]
    NotInPackage {
        /// File looked for.
        file: String,
        /// Package and version.
        package: String,
    },
    /// The file system refused.
    #[error("set-up: {path}: {source}; check free space and permissions")]
    Io {
        /// Where.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
}

/// Why a clip gave no recording.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ClipError {
    /// Model or runtime is missing or damaged.
    #[error(
        "video needs the {piece}, which is {state} ({path}); run `precedent setup-video` once with a network"
    )]
    NotInstalled {
        /// `pose model 'full'`, `runtime library` ...
        piece: String,
        /// `missing` or `damaged`.
        state: &'static str,
        /// Where it was looked for.
        path: PathBuf,
    },
    /// ffmpeg or ffprobe is missing.
    #[error(
        "video needs the command '{command}', which is not installed; install the package ffmpeg (Debian, Ubuntu: `apt-get install ffmpeg`)"
    )]
    NoDecoder {
        /// The command looked for.
        command: &'static str,
    },
    /// There is nowhere to look for the models.
    #[error("video: no cache folder for this user; set PRECEDENT_CACHE to a folder")]
    NoCache,
    /// The file cannot be opened.
    #[error("{path}: {source}")]
    Open {
        /// The clip.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// The file is no video.
    #[error(
        "{path}: not a video: {said}; expected a clip such as MP4, MOV, MKV or WebM; {}",
        Remedy::LayoutOfJoints
    )]
    NotVideo {
        /// The clip.
        path: PathBuf,
        /// What the decoder said.
        said: String,
    },
    /// The clip ends early or is damaged.
    #[error(
        "{path}: the clip is cut off or damaged: {found} of {expected}{said}; copy it again from the phone"
    )]
    Truncated {
        /// The clip.
        path: PathBuf,
        /// What could be decoded.
        found: String,
        /// What its header announces.
        expected: String,
        /// The decoder's words, with a leading separator, or nothing.
        said: String,
    },
    /// A rate that cannot be.
    #[error(
        "{path}: a capture rate of {asked} Hz is not possible for a clip that plays at {container:.2} Hz; expected {container:.2} to 2000"
    )]
    CaptureRate {
        /// The clip.
        path: PathBuf,
        /// The rate asked for.
        asked: f64,
        /// Rate the file plays at.
        container: f64,
    },
    /// Several people, none chosen.
    #[error(
        "{path}: {} people at {time_s:.2} s; {}",
        people.len(),
        Remedy::ChoosePersonAt { people: people.clone() }
    )]
    SeveralPeople {
        /// The clip.
        path: PathBuf,
        /// When they were seen.
        time_s: f64,
        /// One description each, `1 at (312, 640)`, left to right.
        people: Vec<String>,
    },
    /// The person asked for is not there.
    #[error("{path}: no person {asked}: {found}")]
    NoSuchPerson {
        /// The clip.
        path: PathBuf,
        /// Which person from the left, or the region.
        asked: String,
        /// What was seen.
        found: String,
    },
    /// Nobody was found.
    #[error(
        "{path}: nobody found in {frames} frames; film closer (the player at least a quarter of the picture's height) or {}",
        Remedy::GiveRegion
    )]
    Nobody {
        /// The clip.
        path: PathBuf,
        /// Frames looked at.
        frames: usize,
    },
    /// The work was stopped.
    #[error("{path}: {source}")]
    Stopped {
        /// The clip.
        path: PathBuf,
        /// That it was.
        source: Stopped,
    },
    /// The decoder could not be run or read.
    #[error("{path}: the decoder failed: {said}")]
    Decoder {
        /// The clip.
        path: PathBuf,
        /// Why.
        said: String,
    },
    /// A voice cannot be heard.
    #[error("{path}: no voice in it: {said}; record it again, or name another file")]
    NoVoice {
        /// The file.
        path: PathBuf,
        /// What was found.
        said: String,
    },
    /// A clip could not be made.
    #[error(
        "the clip could not be made: {said}; it takes an ffmpeg that writes H.264 and AAC, and free disk"
    )]
    NotMade {
        /// The encoder's last words.
        said: String,
    },
    /// The network failed.
    #[error("{path}: {source}")]
    Model {
        /// The clip.
        path: PathBuf,
        /// Why.
        source: ModelError,
    },
}

impl ClipError {
    /// What to do about it; the text ends with it.
    #[must_use]
    pub fn remedy(&self) -> Option<Remedy> {
        Some(match self {
            Self::NotVideo { .. } => Remedy::LayoutOfJoints,
            Self::SeveralPeople { people, .. } => Remedy::ChoosePersonAt { people: people.clone() },
            Self::Nobody { .. } => Remedy::GiveRegion,
            _ => return None,
        })
    }

    pub(super) fn stopped(path: &Path) -> impl FnOnce(Stopped) -> Self {
        move |source| Self::Stopped { path: path.to_owned(), source }
    }
}
