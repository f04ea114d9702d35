//! Is the whole library sound? The store, and what is derived from it against the store.

use crate::library::{Counts, Finding, Library, StoreError, WriteError};
use crate::work::{Stage, Watch};

/// What [`Library::verify`] looked at and found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Verified {
    /// What was checked.
    pub checked: Counts,
    /// What is or was wrong, in the order of checking.
    pub findings: Vec<Finding>,
    /// Whether everything derived was built anew.
    pub rebuilt: bool,
}

impl Verified {
    /// Whether nothing is wrong any more.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.findings.iter().all(|finding| finding.repaired)
    }

    /// What to do, in words; `None` where nothing is wrong any more.
    #[must_use]
    pub fn advice(&self) -> Option<&'static str> {
        let mut left = self.findings.iter().filter(|finding| !finding.repaired).peekable();
        left.peek()?;
        Some(if left.all(Finding::is_derived) {
            "what was recorded is sound; what is derived from it could not be brought into step: make room \
             on the disk, or let the other program finish, and check again"
        } else {
            "the library is damaged: restore it from a copy, or remove what is named"
        })
    }
}

impl Library {
    /// Checks the whole library: SQLite's own integrity and foreign keys, every stored value's
    /// checksum and format, the curve index, the list of serves and the word index against the store.
    ///
    /// Open for writing, derived indexes that disagree are built anew; with `rebuild` they are in
    /// any case, and pictures cut from clips are removed, to be cut anew when they are next looked
    /// at; copies of clips that belong to no recording are removed, with their pictures. Others go
    /// on reading and changing the library meanwhile, only building an index waits. `watch` is told
    /// each value and index. Cost: reads everything once.
    ///
    /// # Errors
    /// [`WriteError::ReadOnly`] for `rebuild` on a library opened for reading; [`StoreError`] if
    /// the store cannot be read at all; [`WriteError::Locked`]; [`StoreError::Stopped`]: an index
    /// that was being built is built anew by the next search. Damage is a finding, not an error.
    pub fn verify(&mut self, rebuild: bool, watch: &Watch) -> Result<Verified, WriteError> {
        if rebuild && !self.is_writable() {
            return Err(WriteError::ReadOnly { folder: self.folder().to_owned() });
        }
        let interruptible = self.interruptible(watch);
        let mut findings = self.check_store(watch)?;
        findings.extend(self.check_derived(rebuild, watch)?);
        drop(interruptible);
        if self.is_writable() {
            findings.extend(self.tidy_clips(rebuild)?);
        }
        let verified = Verified { checked: self.counts()?, findings, rebuilt: rebuild };
        // A damaged file is not written to.
        if self.is_writable() && verified.is_sound() {
            self.write(|writer| writer.note_sound(&jiff::Timestamp::now().to_string()))?;
        }
        Ok(verified)
    }

    /// Checks the derived indexes, and builds those anew that disagree or all of them.
    fn check_derived(&self, rebuild: bool, watch: &Watch) -> Result<Vec<Finding>, StoreError> {
        let step = |done| watch.step(Stage::Indexes, done, 6).map_err(StoreError::from);
        step(0)?;
        let building = if self.is_writable() { self.wait_to_build()? } else { None };
        let _one_state = self.hold_state()?;
        let curves = match self.check_curves() {
            Ok(problems) => problems,
            Err(StoreError::Stopped(stopped)) => return Err(stopped.into()),
            Err(error) => vec![error.to_string()],
        };
        step(1)?;
        let heads = match self.check_heads() {
            Ok(problems) => problems,
            Err(StoreError::Stopped(stopped)) => return Err(stopped.into()),
            Err(error) => vec![error.to_string()],
        };
        step(2)?;
        let words = match self.check_words() {
            Ok(problem) => problem.err().into_iter().collect(),
            Err(StoreError::Stopped(stopped)) => return Err(stopped.into()),
            Err(error) => vec![error.to_string()],
        };
        step(3)?;
        let mut checked = 3;
        let mut findings = Vec::new();
        for (place, problems, repair) in [
            ("curves", curves, Self::rebuild_curves as fn(&Self) -> Result<(), StoreError>),
            ("heads", heads, Self::rebuild_heads),
            ("words", words, |library| library.rebuild_words().map(|_| ())),
        ] {
            let mut repaired = false;
            if rebuild || !problems.is_empty() {
                let built = match &building {
                    Some(_) => repair(self),
                    None => Ok(()),
                };
                match built {
                    Ok(()) => repaired = building.is_some(),
                    Err(StoreError::Stopped(stopped)) => return Err(stopped.into()),
                    Err(error) => {
                        let problem = format!("could not be rebuilt: {error}");
                        findings.push(Finding { place, problem, repaired: false, remedy: None });
                    }
                }
                if building.is_none() && self.is_writable() {
                    let problem = "another process is building it; check again later".to_owned();
                    findings.push(Finding { place, problem, repaired: false, remedy: None });
                }
            }
            let named = |problem| Finding { place, problem, repaired, remedy: None };
            findings.extend(problems.into_iter().map(named));
            checked += 1;
            step(checked)?;
        }
        Ok(findings)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_can_be_made_again_is_no_reason_to_restore_from_a_copy() {
        let found =
            |place, repaired| Finding { place, problem: "bad".to_owned(), repaired, remedy: None };
        let advice = |findings: &[Finding]| {
            Verified { findings: findings.to_vec(), ..Verified::default() }.advice()
        };
        assert_eq!(advice(&[]), None);
        assert_eq!(advice(&[found("words", true), found("library.db", true)]), None);
        let behind = advice(&[found("words", false), found("curves", false)]).unwrap();
        assert!(
            behind.contains("what was recorded is sound") && behind.contains("room"),
            "{behind}"
        );
        let damaged = advice(&[found("words", false), found("library.db", false)]).unwrap();
        assert!(damaged.contains("restore it from a copy"), "{damaged}");
    }
}
