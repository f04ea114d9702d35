//! Getting the pose networks and their runtime once, and finding them ever after.
//!
//! Nothing of it is part of this program: the files come from the package registries through
//! their ordinary clients, are checked against the hashes below and kept in the user's cache.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use super::errors::{ClipError, SetupError};
use super::model::ModelChoice;
use crate::files::content_hash;
use crate::process::{Ended, Limits, run};
use crate::work::{Stopped, Watch};

/// Folder that takes the place of the user's cache folder.
pub const CACHE_VARIABLE: &str = "PRECEDENT_CACHE";

const MODELS_PACKAGE: &str = "@mediapipe/pose@0.5.1675469404";
const RUNTIME_PACKAGE: &str = "ai-edge-litert==2.3.0";
const GET_FFMPEG: &str = "install the package ffmpeg (Debian, Ubuntu: `apt-get install ffmpeg`)";
const GET_NPM: &str = "install the package npm (Debian, Ubuntu: `apt-get install npm`)";
const GET_PIP: &str = "install Python's pip (Debian, Ubuntu: `apt-get install python3-pip`)";

/// A file we load, where it comes from and what it must be.
struct Piece {
    /// Name in the cache.
    name: &'static str,
    /// Path inside its package.
    member: &'static str,
    blake3: &'static str,
}

const DETECTOR: Piece = Piece {
    name: "pose_detection.tflite",
    member: "package/pose_solution_packed_assets.data",
    blake3: "f5617c67111a6ec6f1d0e0f67e5873ed67cb266939dc9ce69edbc13350d6e352",
};

const fn landmarks(choice: ModelChoice) -> Piece {
    match choice {
        ModelChoice::Lite => Piece {
            name: "pose_landmark_lite.tflite",
            member: "package/pose_landmark_lite.tflite",
            blake3: "3ddc2d933cfd42588c315d10cda330d6378a9a88356df38e1575ce4c8fb7fcc7",
        },
        ModelChoice::Full => Piece {
            name: "pose_landmark_full.tflite",
            member: "package/pose_landmark_full.tflite",
            blake3: "bf3198e2b4ebea818c082384bf9a662fcd1903560a79b0c36dfd615a3988e341",
        },
        ModelChoice::Heavy => Piece {
            name: "pose_landmark_heavy.tflite",
            member: "package/pose_landmark_heavy.tflite",
            blake3: "7083d0e498e9fcb66a2509bf912ae67b0d55c52094598a55937ded4947f46f1f",
        },
    }
}

/// The runtime library for this machine, with the registry's name for the platform.
fn runtime() -> Option<(Piece, &'static str)> {
    let (name, member, blake3, platform) = match (std::env::consts::OS, std::env::consts::ARCH) {
        ("linux", "x86_64") => (
            "libLiteRt-2.3.0.so",
            "ai_edge_litert/libLiteRt.so",
            "a2f24e5087e9b7956131f09a8de6d4e01eb772052e269a16fcbfa39cbf102b66",
            "manylinux_2_27_x86_64",
        ),
        ("linux", "aarch64") => (
            "libLiteRt-2.3.0.so",
            "ai_edge_litert/libLiteRt.so",
            "0189bf78c19dba8eed7d89912323f37f0366c8d4c211005aeee0b0b514694800",
            "manylinux_2_27_aarch64",
        ),
        ("macos", "aarch64") => (
            "libLiteRt-2.3.0.dylib",
            "ai_edge_litert/libLiteRt.dylib",
            "54760180450373c8416a04742fcb7c9550722bb70f4640c338358a8b63bafbd7",
            "macosx_12_0_arm64",
        ),
        ("windows", "x86_64") => (
            "libLiteRt-2.3.0.dll",
            "ai_edge_litert/libLiteRt.dll",
            "a475e3b669979e131ac9c299a36a44e6cedaa5ec8be1106e173a3b3e56d2db00",
            "win_amd64",
        ),
        _ => return None,
    };
    let piece = Piece { name, member, blake3 };
    Some((piece, platform))
}

/// What set-up did with one piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PieceState {
    /// It was there, with the right hash.
    AlreadyThere,
    /// It was fetched, checked and kept.
    Fetched,
    /// It is a command of the system and was found.
    Found,
    /// It is a command of the system and is missing; the step's text says how to get it.
    Missing,
}

/// One line of the set-up's account.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetupStep {
    /// The piece, with its source.
    pub what: String,
    /// What was done.
    pub outcome: PieceState,
    /// What the user still has to do, where something is missing.
    pub remedy: Option<&'static str>,
}

/// The set-up's account.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetupReport {
    /// Where the files are.
    pub folder: PathBuf,
    /// One step per piece.
    pub steps: Vec<SetupStep>,
}

impl SetupReport {
    /// Whether clips can be read now.
    #[must_use]
    pub fn complete(&self) -> bool {
        self.steps.iter().all(|step| step.outcome != PieceState::Missing)
    }
}

/// The files a clip is read with, present and checked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Installed {
    pub(super) runtime: PathBuf,
    pub(super) detector: PathBuf,
    pub(super) landmarks: PathBuf,
}

/// Folder of the networks and the runtime: `pose` in [`CACHE_VARIABLE`]'s folder if set, else in
/// the user's cache folder. `None` if the system knows no such folder.
#[must_use]
pub fn folder() -> Option<PathBuf> {
    let home = match std::env::var_os(CACHE_VARIABLE) {
        Some(chosen) if !chosen.is_empty() => PathBuf::from(chosen),
        _ => directories::ProjectDirs::from("", "", "precedent")?.cache_dir().to_path_buf(),
    };
    Some(home.join("pose"))
}

/// Fetches what is missing, checks every hash, keeps it in [`folder`]; `say` hears each step as
/// it begins, `watch` stops it.
///
/// Uses `npm pack` (networks) and `pip download` (runtime). Needs a network only for what is
/// missing: a second run with everything in place asks nobody. A failure leaves the folder as it
/// was, without half-written files. A missing ffmpeg is reported as [`PieceState::Missing`], not as an
/// error, since only the system's package manager can add it.
///
/// # Errors
/// [`SetupError`], each naming the remedy.
pub fn setup(say: &mut dyn FnMut(&str), watch: &Watch) -> Result<SetupReport, SetupError> {
    let folder = folder().ok_or(SetupError::NoCache)?;
    setup_in(&folder, say, watch)
}

fn setup_in(
    folder: &Path,
    say: &mut dyn FnMut(&str),
    watch: &Watch,
) -> Result<SetupReport, SetupError> {
    let (library, platform) = runtime()
        .ok_or(SetupError::Platform { os: std::env::consts::OS, arch: std::env::consts::ARCH })?;
    fs::create_dir_all(folder).map_err(io_at(folder))?;
    let scratch = Scratch::new(folder)?;
    let mut steps = Vec::new();

    let mut models = vec![DETECTOR];
    models.extend(ModelChoice::ALL.map(landmarks));
    let missing = absent(folder, &models)?;
    if !missing.is_empty() {
        say(&format!("fetching {MODELS_PACKAGE} with npm (41 MB)"));
        let package = pack(&scratch.0, watch)?;
        for piece in &missing {
            keep(folder, &scratch.0, piece, MODELS_PACKAGE, |target| {
                from_tarball(&package, piece.member, target)
            })?;
        }
    }
    account(&mut steps, &models, &missing, MODELS_PACKAGE);

    let libraries = [library];
    let missing = absent(folder, &libraries)?;
    for piece in &missing {
        say(&format!("fetching {RUNTIME_PACKAGE} with pip (12 to 22 MB)"));
        let package = download(&scratch.0, platform, watch)?;
        keep(folder, &scratch.0, piece, RUNTIME_PACKAGE, |target| {
            from_wheel(&package, piece.member, target)
        })?;
    }
    account(&mut steps, &libraries, &missing, RUNTIME_PACKAGE);

    for command in ["ffmpeg", "ffprobe"] {
        let there = runs(command);
        steps.push(SetupStep {
            what: format!("command {command}"),
            outcome: if there { PieceState::Found } else { PieceState::Missing },
            remedy: (!there).then_some(GET_FFMPEG),
        });
    }
    Ok(SetupReport { folder: folder.to_path_buf(), steps })
}

fn account(steps: &mut Vec<SetupStep>, pieces: &[Piece], missing: &[&Piece], package: &str) {
    for piece in pieces {
        let fetched = missing.iter().any(|m| m.name == piece.name);
        steps.push(SetupStep {
            what: format!("{} from {package}", piece.name),
            outcome: if fetched { PieceState::Fetched } else { PieceState::AlreadyThere },
            remedy: None,
        });
    }
}

/// The files needed to read clips with `choice`, each checked against its hash.
///
/// # Errors
/// [`ClipError::NotInstalled`] naming the first piece that is missing or damaged.
pub fn installed(choice: ModelChoice) -> Result<Installed, ClipError> {
    installed_in(&folder().ok_or(ClipError::NoCache)?, choice)
}

pub(super) fn installed_in(folder: &Path, choice: ModelChoice) -> Result<Installed, ClipError> {
    let check = |what: String, piece: &Piece| {
        let path = folder.join(piece.name);
        let state = match hash(&path) {
            Ok(found) if found == piece.blake3 => return Ok(path),
            Ok(_) => "damaged",
            Err(error) if error.kind() == io::ErrorKind::NotFound => "missing",
            Err(_) => "unreadable",
        };
        Err(ClipError::NotInstalled { piece: what, state, path })
    };
    let library = runtime().map_or(
        Piece { name: "libLiteRt", member: "", blake3: "not built for this machine" },
        |(piece, _)| piece,
    );
    Ok(Installed {
        landmarks: check(format!("pose model '{}'", choice.name()), &landmarks(choice))?,
        detector: check("person detector".to_owned(), &DETECTOR)?,
        runtime: check("runtime library".to_owned(), &library)?,
    })
}

/// Whether clips can be read with each model: what is missing or damaged, in words.
#[must_use]
pub fn checked_models() -> Vec<(ModelChoice, Result<(), ClipError>)> {
    ModelChoice::ALL.map(|choice| (choice, installed(choice).map(|_| ()))).into()
}

/// What the decoder is: the first line it says of itself, and the encoders it has of those named.
///
/// `None` without one. Asks the command itself; changes nothing.
#[must_use]
pub fn decoder(encoders: &[&'static str]) -> Option<(String, Vec<&'static str>)> {
    if !runs("ffprobe") {
        return None;
    }
    let said = |args: &[&str]| {
        let output = Command::new("ffmpeg").args(args).stdin(Stdio::null()).output().ok()?;
        Some(String::from_utf8_lossy(&output.stdout).into_owned())
    };
    let version = said(&["-version"])?.lines().next()?.to_owned();
    let listed = said(&["-hide_banner", "-encoders"])?;
    let names: Vec<&str> =
        listed.lines().filter_map(|line| line.split_whitespace().nth(1)).collect();
    let has = encoders.iter().copied().filter(|name| names.contains(name));
    Some((version, has.collect()))
}

/// Where to get the decoder.
pub const GET_DECODER: &str = GET_FFMPEG;

/// The pieces that are not in `folder` with the right hash.
fn absent<'a>(folder: &Path, pieces: &'a [Piece]) -> Result<Vec<&'a Piece>, SetupError> {
    let mut missing = Vec::new();
    for piece in pieces {
        let path = folder.join(piece.name);
        match hash(&path) {
            Ok(found) if found == piece.blake3 => {}
            Ok(_) => missing.push(piece),
            Err(error) if error.kind() == io::ErrorKind::NotFound => missing.push(piece),
            Err(source) => return Err(SetupError::Io { path, source }),
        }
    }
    Ok(missing)
}

fn hash(path: &Path) -> io::Result<String> {
    Ok(content_hash(path, &Watch::default())?.to_hex().to_string())
}

/// Unpacks to the scratch folder, checks, then moves into place.
fn keep(
    folder: &Path,
    scratch: &Path,
    piece: &Piece,
    package: &str,
    unpack: impl FnOnce(&Path) -> io::Result<bool>,
) -> Result<(), SetupError> {
    let target = scratch.join(piece.name);
    if !unpack(&target).map_err(io_at(&target))? {
        return Err(SetupError::NotInPackage {
            file: piece.member.to_owned(),
            package: package.to_owned(),
        });
    }
    let found = hash(&target).map_err(io_at(&target))?;
    if found != piece.blake3 {
        return Err(SetupError::WrongHash {
            file: piece.member.to_owned(),
            package: package.to_owned(),
            found,
            expected: piece.blake3,
        });
    }
    let place = folder.join(piece.name);
    fs::rename(&target, &place).map_err(io_at(&place))
}

fn from_tarball(package: &Path, member: &str, target: &Path) -> io::Result<bool> {
    let mut archive = tar::Archive::new(flate2::read::GzDecoder::new(File::open(package)?));
    for entry in archive.entries()? {
        let mut entry = entry?;
        if entry.path()? == Path::new(member) {
            io::copy(&mut entry, &mut File::create(target)?)?;
            return Ok(true);
        }
    }
    Ok(false)
}

fn from_wheel(package: &Path, member: &str, target: &Path) -> io::Result<bool> {
    let mut archive = zip::ZipArchive::new(File::open(package)?)?;
    match archive.by_name(member) {
        Ok(mut entry) => {
            io::copy(&mut entry, &mut File::create(target)?)?;
            Ok(true)
        }
        Err(zip::result::ZipError::FileNotFound) => Ok(false),
        Err(error) => Err(error.into()),
    }
}

/// The networks' package, fetched by npm into `scratch`.
fn pack(scratch: &Path, watch: &Watch) -> Result<PathBuf, SetupError> {
    let mut command = Command::new("npm");
    command
        .args(["pack", MODELS_PACKAGE, "--ignore-scripts", "--loglevel", "error"])
        // Without a network its own patience is minutes long.
        .args(["--fetch-retries", "1", "--fetch-retry-mintimeout", "2000"])
        .arg("--pack-destination")
        .arg(scratch)
        .current_dir(scratch);
    if !fetch(&mut command, watch)? {
        return Err(SetupError::NoClient { client: "npm", remedy: GET_NPM });
    }
    only(scratch, "tgz", MODELS_PACKAGE)
}

/// The runtime's package for this machine, fetched by pip into `scratch`.
fn download(scratch: &Path, platform: &str, watch: &Watch) -> Result<PathBuf, SetupError> {
    for (program, leading) in [("pip", &[][..]), ("pip3", &[]), ("python3", &["-m", "pip"])] {
        let mut command = Command::new(program);
        command
            .args(leading)
            .args(["download", RUNTIME_PACKAGE, "--no-deps", "--quiet"])
            .args(["--only-binary", ":all:", "--python-version", "3.11"])
            .args(["--implementation", "cp", "--abi", "cp311"])
            .args(["--platform", platform, "--dest"])
            .arg(scratch);
        if fetch(&mut command, watch)? {
            return only(scratch, "whl", RUNTIME_PACKAGE);
        }
    }
    Err(SetupError::NoClient { client: "pip", remedy: GET_PIP })
}

/// Runs a package client; `false` if it is not installed.
fn fetch(command: &mut Command, watch: &Watch) -> Result<bool, SetupError> {
    let shown = format!("{command:?}").replace('"', "");
    let output = match run(command, Limits::default(), watch) {
        Ok(Ended::Itself(output)) => output,
        Ok(_) => return Err(Stopped.into()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(false),
        Err(error) => {
            return Err(SetupError::Fetch { command: shown, said: error.to_string() });
        }
    };
    if output.status.success() {
        return Ok(true);
    }
    let said = String::from_utf8_lossy(&output.stderr);
    let telling = |line: &&str| !line.is_empty() && !line.contains("complete log of this run");
    let last = said.lines().map(str::trim).rfind(telling);
    Err(SetupError::Fetch {
        command: shown,
        said: last.map_or_else(|| output.status.to_string(), str::to_owned),
    })
}

fn only(scratch: &Path, extension: &str, package: &str) -> Result<PathBuf, SetupError> {
    let listing = fs::read_dir(scratch).map_err(io_at(scratch))?;
    listing
        .filter_map(|entry| Some(entry.ok()?.path()))
        .find(|path| path.extension().is_some_and(|e| e == extension))
        .ok_or_else(|| SetupError::NotInPackage {
            file: format!("*.{extension}"),
            package: package.to_owned(),
        })
}

/// Whether the system has this command.
pub(super) fn runs(command: &str) -> bool {
    Command::new(command)
        .arg("-version")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

fn io_at(path: &Path) -> impl FnOnce(io::Error) -> SetupError {
    let path = path.to_path_buf();
    move |source| SetupError::Io { path, source }
}

/// A folder that is gone when this is dropped.
struct Scratch(PathBuf);

impl Scratch {
    fn new(parent: &Path) -> Result<Self, SetupError> {
        let path = parent.join(format!(".fetching-{}", std::process::id()));
        fs::create_dir_all(&path).map_err(io_at(&path))?;
        Ok(Self(path))
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // A folder that cannot be removed is litter in the cache, not a reason to fail.
        let _ = fs::remove_dir_all(&self.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_and_a_damaged_piece_are_named_with_the_remedy() {
        let folder = tempfile::tempdir().unwrap();
        let missing = installed_in(folder.path(), ModelChoice::Full).unwrap_err();
        let text = missing.to_string();
        assert!(text.contains("pose model 'full', which is missing"), "{text}");
        assert!(text.contains("precedent setup-video"), "{text}");
        fs::write(folder.path().join("pose_landmark_full.tflite"), b"cut off").unwrap();
        let text = installed_in(folder.path(), ModelChoice::Full).unwrap_err().to_string();
        assert!(text.contains("damaged"), "{text}");
    }

    #[test]
    fn a_file_with_another_hash_is_not_kept() {
        let folder = tempfile::tempdir().unwrap();
        let scratch = Scratch::new(folder.path()).unwrap();
        let error = keep(folder.path(), &scratch.0, &DETECTOR, "a@1", |target| {
            fs::write(target, b"other").map(|()| true)
        })
        .unwrap_err();
        assert!(matches!(error, SetupError::WrongHash { .. }), "{error}");
        drop(scratch);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[test]
    fn a_package_without_the_file_is_said_so() {
        let folder = tempfile::tempdir().unwrap();
        let package = folder.path().join("p.tgz");
        let gz = flate2::write::GzEncoder::new(
            File::create(&package).unwrap(),
            flate2::Compression::fast(),
        );
        let mut builder = tar::Builder::new(gz);
        let mut header = tar::Header::new_gnu();
        header.set_size(2);
        header.set_cksum();
        builder.append_data(&mut header, "package/other", &b"hi"[..]).unwrap();
        builder.into_inner().unwrap().finish().unwrap();
        let target = folder.path().join("t");
        assert!(!from_tarball(&package, "package/wanted", &target).unwrap());
        assert!(from_tarball(&package, "package/other", &target).unwrap());
        assert_eq!(fs::read(&target).unwrap(), b"hi");
    }
}
