//! Arguments of the command that shows and extends the catalogue.

use std::path::PathBuf;

use clap::Args;

#[derive(Debug, Args)]
pub(in crate::cli) struct CatalogueArgs {
    /// The fault, drill, way of serving or group of players to show (toss_low), or what is said to
    /// juniors (juniors) [default: list all]
    #[arg(value_name = "ID", conflicts_with_all = ["check", "extend", "drop", "files", "template"])]
    pub(in crate::cli) id: Option<String>,
    /// Print a fault or drill, or with --files one of your own files, as TOML to work from
    #[arg(long)]
    pub(in crate::cli) toml: bool,
    /// Check a file of your own faults and drills, and store nothing
    #[arg(long, value_name = "FILE", conflicts_with_all = ["extend", "drop", "files", "template", "toml"])]
    pub(in crate::cli) check: Option<PathBuf>,
    /// Check a file and add it to this library; one of the same name takes the earlier one's place
    #[arg(long, value_name = "FILE", conflicts_with_all = ["drop", "files", "template", "toml"])]
    pub(in crate::cli) extend: Option<PathBuf>,
    /// Take a file of your own out again; its versions are kept
    #[arg(long, value_name = "NAME", conflicts_with_all = ["files", "template", "toml"])]
    pub(in crate::cli) drop: Option<String>,
    /// List your own files and their versions; with NAME or NAME@VERSION only that one
    #[arg(long, value_name = "NAME", num_args = 0..=1, default_missing_value = "", conflicts_with = "template")]
    pub(in crate::cli) files: Option<String>,
    /// Write a file to start from, with one fault and one drill that explain themselves
    #[arg(long, value_name = "FILE", conflicts_with = "toml")]
    pub(in crate::cli) template: Option<PathBuf>,
    /// Your code
    #[arg(long, default_value = "coach")]
    pub(in crate::cli) coach: String,
}

impl CatalogueArgs {
    /// Whether it needs the library open for writing.
    pub(in crate::cli) fn changes(&self) -> bool {
        self.extend.is_some() || self.drop.is_some()
    }
}
