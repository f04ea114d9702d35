use thiserror::Error;

fn at(line: Option<u32>) -> String {
    line.map(|line| format!("line {line}: ")).unwrap_or_default()
}

/// Why a catalogue text was not taken. Nothing of it is used.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum CatalogueError {
    /// The text is not TOML of the catalogue's shape.
    #[error(
        "{file}: line {line}: a catalogue entry must be TOML with the known fields; {found}; correct this line"
    )]
    Shape {
        /// File the text came from.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What the parser found and expected.
        found: String,
        /// The parser's error.
        #[source]
        source: Box<toml::de::Error>,
    },
    /// An entry breaks a rule.
    #[error("{file}: {}{place}: {rule}; found {found}; {next}", at(*.line))]
    Rule {
        /// File the entry came from.
        file: String,
        /// Line, from 1, where it is known.
        line: Option<u32>,
        /// Entry and field.
        place: String,
        /// The rule.
        rule: &'static str,
        /// What was found.
        found: Box<str>,
        /// What to do.
        next: &'static str,
    },
}
