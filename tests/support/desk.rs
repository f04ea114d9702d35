//! One library in a folder of its own and the program run on it, for tests from outside.
#![allow(dead_code, reason = "each test file uses its part")]

use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use serde_json::Value;
use tempfile::TempDir;

/// One library in a folder of its own.
pub(crate) struct Desk {
    folder: TempDir,
}

impl Desk {
    pub(crate) fn new() -> Self {
        Self { folder: TempDir::new().unwrap() }
    }

    pub(crate) fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn run(&self, args: &[&str]) -> Output {
        Command::cargo_bin("precedent")
            .unwrap()
            .current_dir(self.folder.path())
            .env("PRECEDENT_LIBRARY", self.at("library"))
            .args(args)
            .output()
            .unwrap()
    }

    /// The program to be run on this library, not started yet.
    pub(crate) fn command(&self, args: &[&str]) -> std::process::Command {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_precedent"));
        command
            .current_dir(self.folder.path())
            .env("PRECEDENT_LIBRARY", self.at("library"))
            .args(args);
        command
    }

    /// Runs, checks the exit status and returns (standard output, standard error).
    pub(crate) fn expect(&self, status: i32, args: &[&str]) -> (String, String) {
        self.checked(status, args, self.run(args))
    }

    /// As [`Self::expect`] where no other command can be found, a decoder of clips least of all.
    pub(crate) fn expect_alone(&self, status: i32, args: &[&str]) -> (String, String) {
        let output = Command::cargo_bin("precedent")
            .unwrap()
            .current_dir(self.folder.path())
            .env("PRECEDENT_LIBRARY", self.at("library"))
            .env("PATH", self.at("no-commands-here"))
            .args(args)
            .output()
            .unwrap();
        self.checked(status, args, output)
    }

    fn checked(&self, status: i32, args: &[&str], output: Output) -> (String, String) {
        let out = String::from_utf8(output.stdout).unwrap();
        let err = String::from_utf8(output.stderr).unwrap();
        let listing: Vec<_> =
            std::fs::read_dir(self.folder.path()).unwrap().map(|e| e.unwrap().path()).collect();
        assert_eq!(
            output.status.code(),
            Some(status),
            "precedent {args:?} in {listing:?}\n--- out\n{out}\n--- err\n{err}"
        );
        assert!(!err.contains("panicked"), "{err}");
        (out, err)
    }

    pub(crate) fn objects(&self, status: i32, args: &[&str]) -> Vec<Value> {
        let (out, _) = self.expect(status, args);
        out.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }

    /// The precedents of `like --json`, without the lines on what worked.
    pub(crate) fn precedents(&self, args: &[&str]) -> Vec<Value> {
        let mut lines = self.objects(0, args);
        lines.retain(|line| line.get("worked").is_none());
        lines
    }

    /// The three sample files with serves, each of another invented player.
    pub(crate) fn stocked() -> Self {
        let desk = Self::new();
        for (player, file) in
            [("sanderling", "new-serve.c3d"), ("dunlin", "basket.trc"), ("knot", "table.csv")]
        {
            let file = sample(file);
            let day = ["--date", "2026-03-14", "--consent", "keep"];
            desk.expect(0, &[&["add", &file, "--player", player], &day[..]].concat());
        }
        desk
    }
}

/// A file of the invented academy.
pub(crate) fn sample(name: &str) -> String {
    format!("{}/demo-data/{name}", env!("CARGO_MANIFEST_DIR"))
}

/// A real recording made by others; `None`, said so, where the folder is absent.
pub(crate) fn real(name: &str) -> Option<String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/recordings").join(name);
    if path.exists() {
        return Some(path.to_str().unwrap().to_owned());
    }
    crate::skip::skipped(format!("{} is not here", path.display()));
    None
}
