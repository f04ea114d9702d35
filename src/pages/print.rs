//! A page on paper: our own HTML, printed to PDF by a browser of the Chromium family.

use std::env;
use std::ffi::{OsStr, OsString};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use crate::process::{Ended, Limits, run};
use crate::work::{Stage, Stopped, Watch};

/// Names the browser that prints, where it is not found or another one is wanted.
pub const BROWSER_VARIABLE: &str = "PRECEDENT_BROWSER";

/// What browsers of the family are called as commands.
const COMMANDS: [&str; 8] = [
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "microsoft-edge",
    "brave-browser",
    "chrome",
    "msedge",
];
/// Where macOS and Windows keep them, away from the commands.
const PLACES: [&str; 6] = [
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
];
/// How long printing may take: a squad's page takes 3 s on an idle machine (our estimate of what is
/// enough on a busy one).
const LIMIT: Duration = Duration::from_secs(120);
/// Nothing but printing: no window, no account, no updates, no crash reports, no script and, beside
/// the page holding nothing to load, no way to any other machine.
const ALONE: [&str; 13] = [
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--disable-breakpad",
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--proxy-server=http://127.0.0.1:9",
    "--no-pdf-header-footer",
];

/// Why a page was not printed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PrintError {
    /// None is here.
    #[error(
        "a PDF is printed by a browser of the Chromium family, and none was found (looked for {}); \
         install one, or name yours in {BROWSER_VARIABLE}, or write HTML and print it from any browser",
        COMMANDS[..3].join(", ")
    )]
    NoBrowser,
    /// The one that was named is not there.
    #[error(
        "{BROWSER_VARIABLE} names '{named}', which is not a program here; name a browser of the Chromium \
         family, or leave the variable out to have one looked for"
    )]
    NotThere {
        /// What it names.
        named: String,
    },
    /// It did not come to an end.
    #[error(
        "the browser {} was still printing after {} s and was ended; close other programs and try \
         again, or name another one in {BROWSER_VARIABLE}",
        browser.display(),
        LIMIT.as_secs()
    )]
    TooLong {
        /// Which one.
        browser: PathBuf,
    },
    /// It ended without a whole PDF.
    #[error(
        "the browser {} printed no PDF{said}; name another one in {BROWSER_VARIABLE}",
        browser.display()
    )]
    Failed {
        /// Which one.
        browser: PathBuf,
        /// What it said, with a leading separator, or nothing.
        said: String,
    },
    /// The system's folder for temporary files cannot be used.
    #[error("printing needs room for temporary files: {0}; free some and try again")]
    Scratch(#[source] io::Error),
    /// The work was stopped.
    #[error("{0}")]
    Stopped(#[from] Stopped),
}

/// A browser that prints.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Browser(PathBuf);

impl Browser {
    /// The one [`BROWSER_VARIABLE`] names or, where it is not set, one found under the family's usual
    /// names.
    ///
    /// # Errors
    /// [`PrintError::NotThere`], [`PrintError::NoBrowser`].
    pub fn find() -> Result<Self, PrintError> {
        let named = env::var_os(BROWSER_VARIABLE).filter(|named| !named.is_empty());
        Self::find_in(named, &env::var_os("PATH").unwrap_or_default(), &PLACES)
    }

    /// Where it lies.
    #[must_use]
    pub fn place(&self) -> &Path {
        &self.0
    }

    fn find_in(named: Option<OsString>, path: &OsStr, places: &[&str]) -> Result<Self, PrintError> {
        if let Some(named) = named {
            return program(&named, path).map(Self).ok_or_else(|| PrintError::NotThere {
                named: named.to_string_lossy().into_owned(),
            });
        }
        let by_name = COMMANDS.iter().find_map(|name| program(OsStr::new(name), path));
        let by_place = || places.iter().map(PathBuf::from).find(|place| runs(place));
        by_name.or_else(by_place).map(Self).ok_or(PrintError::NoBrowser)
    }

    /// Prints a document of our own to PDF. The browser gets a profile that is thrown away, no
    /// network and a limited time.
    ///
    /// # Errors
    /// [`PrintError`]; [`PrintError::Stopped`] ends the browser first.
    pub fn print(&self, html: &str, watch: &Watch) -> Result<Vec<u8>, PrintError> {
        watch.step(Stage::Documents, 0, 1)?;
        let scratch = tempfile::tempdir().map_err(PrintError::Scratch)?;
        fs::write(scratch.path().join("page.html"), html).map_err(PrintError::Scratch)?;
        let mut said = self.run(scratch.path(), false, watch)?;
        // For the system's administrator, and in most containers, a browser has no sandbox to be in and
        // says so; it is shown nothing but our own page, which holds no script.
        if !said.is_empty() && said.contains("sandbox") {
            said = self.run(scratch.path(), true, watch)?;
        }
        let pdf = fs::read(scratch.path().join("page.pdf")).unwrap_or_default();
        if !is_whole(&pdf) {
            let said = said.lines().map(str::trim).rfind(|line| !line.is_empty());
            let said = said.map(|line| format!(": {line}")).unwrap_or_default();
            return Err(PrintError::Failed { browser: self.0.clone(), said });
        }
        watch.step(Stage::Documents, 1, 1)?;
        Ok(pdf)
    }

    /// Runs the browser once; what it said where it failed.
    fn run(&self, scratch: &Path, bare: bool, watch: &Watch) -> Result<String, PrintError> {
        let mut command = Command::new(&self.0);
        command.args(ALONE).args(bare.then_some("--no-sandbox"));
        let option = |name: &str, file: &str| {
            let mut option = OsString::from(name);
            option.push(scratch.join(file));
            option
        };
        command
            .arg(option("--user-data-dir=", "profile"))
            .arg(option("--print-to-pdf=", "page.pdf"))
            .arg(option("file://", "page.html"));
        let failed = |said: String| PrintError::Failed { browser: self.0.clone(), said };
        let limits = Limits { time: Some(LIMIT), memory: None };
        match run(&mut command, limits, watch).map_err(|error| failed(format!(": {error}")))? {
            Ended::Itself(output) if output.status.success() => Ok(String::new()),
            Ended::Itself(output) => Ok(String::from_utf8_lossy(&output.stderr).into_owned()),
            Ended::Stopped(stopped) => Err(stopped.into()),
            Ended::TooLong => Err(PrintError::TooLong { browser: self.0.clone() }),
        }
    }
}

/// Whether a PDF has its beginning and its end (ISO 32000-1, 7.5.2 and 7.5.5).
fn is_whole(pdf: &[u8]) -> bool {
    let end = &pdf[pdf.len().saturating_sub(1024)..];
    pdf.starts_with(b"%PDF-") && end.windows(5).any(|five| five == b"%%EOF")
}

/// A program by its name, looked for where commands lie, or by its place.
fn program(name: &OsStr, path: &OsStr) -> Option<PathBuf> {
    let place = Path::new(name);
    if place.components().count() > 1 {
        return runs(place).then(|| place.to_owned());
    }
    env::split_paths(path)
        .flat_map(|folder| [folder.join(name), folder.join(name).with_extension("exe")])
        .find(|place| runs(place))
}

fn runs(place: &Path) -> bool {
    let Ok(found) = fs::metadata(place) else { return false };
    #[cfg(unix)]
    let may = std::os::unix::fs::PermissionsExt::mode(&found.permissions()) & 0o111 != 0;
    #[cfg(not(unix))]
    let may = true;
    found.is_file() && may
}

#[cfg(all(test, unix))]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    fn script(folder: &Path, name: &str, text: &str) -> PathBuf {
        let place = folder.join(name);
        fs::write(&place, format!("#!/bin/sh\n{text}\n")).unwrap();
        fs::set_permissions(&place, fs::Permissions::from_mode(0o755)).unwrap();
        place
    }

    #[test]
    fn a_browser_is_the_named_one_or_one_of_the_usual_names() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().as_os_str();
        let none = Browser::find_in(None, path, &[]).unwrap_err().to_string();
        assert!(none.contains("looked for chromium, chromium-browser, google-chrome"), "{none}");
        fs::write(folder.path().join("chromium"), "not to be run").unwrap();
        let edge = script(folder.path(), "microsoft-edge", "exit 0");
        assert_eq!(Browser::find_in(None, path, &[]).unwrap().0, edge);
        let own = script(folder.path(), "own", "exit 0");
        for named in [OsStr::new("own"), own.as_os_str()] {
            assert_eq!(Browser::find_in(Some(named.to_owned()), path, &[]).unwrap().0, own);
        }
        let error = Browser::find_in(Some("nowhere".into()), path, &[]).unwrap_err().to_string();
        assert!(error.starts_with("PRECEDENT_BROWSER names 'nowhere'"), "{error}");
        let place = own.to_str().unwrap();
        let elsewhere = folder.path().join("empty");
        assert_eq!(Browser::find_in(None, elsewhere.as_os_str(), &[place]).unwrap().0, own);
    }

    #[test]
    fn half_a_pdf_is_none_and_what_the_browser_said_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let half = "for a; do case $a in *print-to-pdf=*) echo %PDF-1.4 >${a#*=};; esac; done";
        let told = |name: &str, text: &str| {
            let browser = Browser(script(folder.path(), name, text));
            browser.print("<p>", &Watch::default()).unwrap_err().to_string()
        };
        assert!(told("half", half).contains("half printed no PDF; name another"));
        let said = told("sad", "echo first >&2; echo the printer is on fire >&2; exit 1");
        assert!(
            said.contains("sad printed no PDF: the printer is on fire; name another"),
            "{said}"
        );
    }

    #[test]
    fn without_a_sandbox_it_is_asked_once_more() {
        let folder = tempfile::tempdir().unwrap();
        let text = "echo \"$@\" >>$0.log\n\
            case \"$*\" in *--no-sandbox*) ;; *) echo 'No usable sandbox!' >&2; exit 1;; esac\n\
            for a; do case $a in *print-to-pdf=*) printf '%%PDF-1.4 %%%%EOF' >${a#*=};; esac; done";
        let browser = Browser(script(folder.path(), "boxed", text));
        assert_eq!(browser.print("<p>", &Watch::default()).unwrap(), b"%PDF-1.4 %%EOF");
        let log = fs::read_to_string(folder.path().join("boxed.log")).unwrap();
        assert_eq!(log.lines().count(), 2, "{log}");
    }
}
