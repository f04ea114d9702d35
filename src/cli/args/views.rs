//! Arguments of `views`.

use clap::Args;

#[derive(Debug, Args)]
pub(in crate::cli) struct ViewsArgs {
    /// A session (c1), or two clips (r3 r4) or serves (s1 s6) of one to say something of
    #[arg(required = true, num_args = 1..=2, value_name = "ID")]
    pub(in crate::cli) what: Vec<String>,
    /// These two serves are one, seen from two places; the clips' other serves follow
    #[arg(long, group = "word")]
    pub(in crate::cli) same: bool,
    /// These two clips show different serves
    #[arg(long, group = "word")]
    pub(in crate::cli) apart: bool,
    /// Take back what was said of these two clips: what their times say counts again
    #[arg(long, group = "word")]
    pub(in crate::cli) clear: bool,
    /// Your code
    #[arg(long, default_value = "coach")]
    pub(in crate::cli) coach: String,
}

impl ViewsArgs {
    /// Whether it changes the library.
    pub(in crate::cli) fn changes(&self) -> bool {
        self.same || self.apart || self.clear
    }
}
