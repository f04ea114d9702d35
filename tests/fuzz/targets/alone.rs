//! The targets that need nothing but `curve-index`: quickly built, under a sanitizer too.

mod curves;
mod target;

pub(crate) use target::Target;
use target::{said, scratch};

pub(crate) const TARGETS: [Target; 2] = [curves::FILE, curves::FILE_SUMMED];

/// The target of this name.
pub(crate) fn named(name: &str) -> Option<&'static Target> {
    static ALL: [Target; TARGETS.len()] = TARGETS;
    ALL.iter().find(|target| target.name == name)
}
