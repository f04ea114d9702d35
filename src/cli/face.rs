use std::borrow::Cow;
use std::io::{self, Write};

use serde::Serialize;

/// The two streams: data goes to standard output, talk to standard error.
pub(super) struct Face {
    out: anstream::AutoStream<io::Stdout>,
    err: anstream::AutoStream<io::Stderr>,
    /// One JSON object per line instead of text.
    pub(super) json: bool,
    quiet: bool,
}

impl Face {
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

    /// A line about something that failed; never kept back.
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
pub(super) fn told(error: &anyhow::Error) -> String {
    let mut text = String::new();
    for cause in error.chain().map(ToString::to_string) {
        if text.is_empty() {
            text = cause;
        } else if !text.contains(&cause) {
            text = format!("{text}: {cause}");
        }
    }
    text
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

/// A plain table: a header line, aligned columns, no boxes.
pub(super) fn table(header: &[&str]) -> comfy_table::Table {
    let mut table = comfy_table::Table::new();
    table.load_style(comfy_table::presets::NOTHING);
    table.set_header(header);
    table
}
