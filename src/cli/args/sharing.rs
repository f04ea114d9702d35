//! What is kept of a person, and what leaves.

use std::path::PathBuf;

use clap::Args;

#[derive(Debug, Args)]
pub(in crate::cli) struct ExportArgs {
    /// Folder to write into (a new one); with --player a ZIP file
    #[arg(short, long, value_name = "DIR")]
    pub(in crate::cli) output: PathBuf,
    /// Only cases that match
    #[arg(long = "where", value_name = "TERMS")]
    pub(in crate::cli) filter: Option<String>,
    /// Everything stored about this player and nothing about others, for the player to keep
    #[arg(long, value_name = "CODE", conflicts_with = "filter")]
    pub(in crate::cli) player: Option<String>,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RetentionArgs {
    /// Keep players for this many months after the last day anything was recorded of them
    #[arg(long, value_name = "N", conflicts_with = "no_limit")]
    pub(in crate::cli) months: Option<u32>,
    /// Set no limit
    #[arg(long)]
    pub(in crate::cli) no_limit: bool,
    /// Your code
    #[arg(long, default_value = "coach")]
    pub(in crate::cli) coach: String,
}

impl RetentionArgs {
    /// Whether it needs the library open for writing; a bare `retention` lists.
    pub(in crate::cli) fn changes(&self) -> bool {
        self.months.is_some() || self.no_limit
    }
}

#[derive(Debug, Args)]
pub(in crate::cli) struct ForgetArgs {
    /// Player's code
    pub(in crate::cli) player: String,
    /// Do it without asking; it cannot be undone
    #[arg(long)]
    pub(in crate::cli) yes: bool,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct ShareArgs {
    /// Where to write the pack
    #[arg(short, long, value_name = "FILE")]
    pub(in crate::cli) output: PathBuf,
    /// Only cases that match
    #[arg(long = "where", value_name = "TERMS")]
    pub(in crate::cli) filter: Option<String>,
    /// What the receiver should call you
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) academy: Option<String>,
    /// Let notes go out too
    #[arg(long)]
    pub(in crate::cli) with_notes: bool,
    /// Only the library with this key can open it (its coach tells you the key: receive --key); may be
    /// repeated. Such a pack is always signed
    #[arg(long = "for", value_name = "[NAME=]KEY")]
    pub(in crate::cli) receivers: Vec<String>,
    /// Sign it with the library's own key, made with the first signed pack
    #[arg(long)]
    pub(in crate::cli) sign: bool,
    /// Lock it with a passphrase: from --passphrase-file, PRECEDENT_PASSPHRASE, or typed
    #[arg(long, conflicts_with = "receivers")]
    pub(in crate::cli) lock: bool,
    /// Lock it for nobody: whoever gets hold of the file can read it
    #[arg(long, conflicts_with_all = ["receivers", "lock"])]
    pub(in crate::cli) unlocked: bool,
    /// File whose first line is the passphrase; - for standard input
    #[arg(long, value_name = "FILE", requires = "lock")]
    pub(in crate::cli) passphrase_file: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct ReceiveArgs {
    /// The pack [default: list those received]
    pub(in crate::cli) pack: Option<PathBuf>,
    /// Check it and say what it would bring; store nothing
    #[arg(long, requires = "pack")]
    pub(in crate::cli) dry_run: bool,
    /// Remove everything that only this pack brought
    #[arg(long, value_name = "PACK", conflicts_with = "pack")]
    pub(in crate::cli) undo: Option<String>,
    /// Show the key others lock packs with for you; it is made the first time you ask
    #[arg(long, conflicts_with_all = ["pack", "undo"])]
    pub(in crate::cli) key: bool,
    /// Accept it although it is not signed with the key its sender used before
    #[arg(long, requires = "pack")]
    pub(in crate::cli) new_key: bool,
    /// File whose first line is the passphrase of a locked pack; - for standard input
    #[arg(long, value_name = "FILE", requires = "pack")]
    pub(in crate::cli) passphrase_file: Option<PathBuf>,
}
