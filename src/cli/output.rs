use std::borrow::Cow;
use std::io::{self, Write};

use serde::Serialize;

use super::remedy::spelled;

/// The two streams: data goes to standard output, talk to standard error.
pub(super) struct Output {
    out: anstream::AutoStream<io::Stdout>,
    err: anstream::AutoStream<io::Stderr>,
    /// One JSON object per line instead of text.
    pub(super) json: bool,
    quiet: bool,
}

impl Output {
    pub(super) fn new(json: bool, quiet: bool) -> Self {
        Self {
            out: anstream::AutoStream::auto(io::stdout()),
            err: anstream::AutoStream::auto(io::stderr()),
            json,
            quiet,
        }
    }

    /// Whether talk is wanted at all.
    pub(super) fn talks(&self) -> bool {
        !self.quiet
    }

    /// A line of data.
    pub(super) fn line(&mut self, text: &str) -> io::Result<()> {
        writeln!(self.out, "{text}")
    }

    /// A JSON object as one line of data.
    pub(super) fn object(&mut self, value: &impl Serialize) -> anyhow::Result<()> {
        serde_json::to_writer(&mut self.out, value)?;
        self.out.write_all(b"\n")?;
        Ok(())
    }

    /// A line of talk, kept back by `--quiet`.
    pub(super) fn say(&mut self, text: &str) {
        if !self.quiet {
            // Nothing sensible is left to do when standard error itself is gone.
            let _ = writeln!(self.err, "precedent: {}", one_line(text));
        }
    }

    /// A line about something that failed, or a caution of a drill that is shown; never kept back.
    pub(super) fn complain(&mut self, text: &str) {
        let _ = writeln!(self.err, "precedent: {}", one_line(text));
    }
}

/// `text` with control characters written out: names come from files, and a file must neither
/// break a line nor steer the terminal.
pub(super) fn one_line(text: &str) -> Cow<'_, str> {
    if !text.contains(char::is_control) {
        return Cow::Borrowed(text);
    }
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_control() { plain.extend(c.escape_default()) } else { plain.push(c) }
    }
    Cow::Owned(plain)
}

/// An error and its causes in one line; a cause that the text already holds is not repeated.
pub(super) fn error_text(error: &anyhow::Error) -> String {
    let mut text = String::new();
    for cause in error.chain().map(|cause| spelled(cause).unwrap_or_else(|| cause.to_string())) {
        if text.is_empty() {
            text = cause;
        } else if !text.contains(&cause) {
            text = format!("{text}: {cause}");
        }
    }
    text
}

/// What is wrong with the command line, in one line with the next step.
///
/// `args`: what the program was called with.
pub(super) fn usage(error: &clap::Error, mut args: impl Iterator<Item = String>) -> String {
    let text = error.render().to_string();
    // The parser's own message runs from "error: " to its blocks on usage and help.
    let told = text
        .split("\n\n")
        .filter(|block| !block.starts_with("Usage:") && !block.starts_with("For more information"))
        .map(|block| block.split_whitespace().collect::<Vec<_>>().join(" "))
        .filter(|block| !block.is_empty())
        .collect::<Vec<_>>()
        .join("; ");
    let told = told.strip_prefix("error: ").unwrap_or(&told);
    let parser = <super::args::Cli as clap::CommandFactory>::command();
    let command = args.find(|arg| parser.find_subcommand(arg).is_some());
    let help = ["precedent", command.as_deref().unwrap_or_default(), "--help"];
    let help: Vec<&str> = help.into_iter().filter(|word| !word.is_empty()).collect();
    format!("{told}; see '{}'", help.join(" "))
}

/// Whether `error` only says that the reader of standard output went away.
pub(super) fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
            || cause
                .downcast_ref::<serde_json::Error>()
                .is_some_and(|e| e.io_error_kind() == Some(io::ErrorKind::BrokenPipe))
    })
}

/// A number with what it counts, in the singular or plural: "1 plan", "2 plans".
pub(super) fn count(number: usize, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}

/// A plain table: a header line, aligned columns, no boxes.
pub(super) fn table(header: &[&str]) -> comfy_table::Table {
    let mut table = comfy_table::Table::new();
    table.load_style(comfy_table::presets::NOTHING);
    table.set_header(header);
    table
}
