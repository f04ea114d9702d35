//! The seam between the library and the disk, where tests cut the power.

/// How the library reaches the disk. The default is the plain way; tests pass their own to stop
/// the process at any chosen write.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Seam {
    /// Name of a registered SQLite file layer; `None` is SQLite's own.
    pub(super) vfs: Option<&'static str>,
}
