//! The seam between the library and the disk, where tests cut the power.

use tantivy::directory::Directory;

/// Puts something around a folder.
pub(crate) type WrapDirectory = fn(Box<dyn Directory>) -> Box<dyn Directory>;

/// How the library reaches the disk. The default is the plain way; tests pass their own to stop
/// the process at any chosen write.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Seam {
    /// Name of a registered SQLite file layer; `None` is SQLite's own.
    pub(crate) vfs: Option<&'static str>,
    /// Put around the folder of the word index.
    pub(crate) directory: Option<WrapDirectory>,
    /// Told before every other write to a derived file.
    pub(crate) before_write: Option<fn(what: &'static str)>,
}

impl Seam {
    pub(crate) fn before_write(self, what: &'static str) {
        if let Some(hook) = self.before_write {
            hook(what);
        }
    }
}
