//! Is the store sound? Every page, reference and checksum.

use std::fmt;

use super::{Library, RecordingId, ServeId, StoreError, WriteError};
use crate::remedy::Remedy;
use crate::work::{Stage, Watch};

/// What SQLite says of two clips that its table would not take.
const OF_CLIPS: &str = "CHECK constraint failed in clip_pairs";

/// One thing that is not as it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// Where: `library.db`, `curves`, `heads`, `outcomes`, `words`, `clips`.
    pub place: &'static str,
    /// What is wrong.
    pub problem: String,
    /// Whether it was put right; only what is derived can be.
    pub repaired: bool,
    /// What to do about this one thing, where that is known; the problem ends with it.
    pub remedy: Option<Remedy>,
}

impl Finding {
    /// Whether it is about what can be made again from the store.
    #[must_use]
    pub fn is_derived(&self) -> bool {
        !matches!(self.place, "library.db" | "clips")
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { place, problem, repaired, .. } = self;
        write!(f, "{place}: {problem}{}", if *repaired { " (repaired)" } else { "" })
    }
}

impl Library {
    /// Checks the store: SQLite's own integrity and foreign keys, every stored value's checksum
    /// and format. `watch` is told each value. Cost: reads everything once.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read at all; [`StoreError::Stopped`]. Damage is a
    /// finding, not an error.
    pub(crate) fn check_store(&self, watch: &Watch) -> Result<Vec<Finding>, StoreError> {
        let mut findings = self.check_database()?;
        self.check_values(&mut findings, watch)?;
        Ok(findings)
    }

    /// Removes copies of clips that belong to no recording, with their pictures, and with
    /// `rebuild` all pictures and films cut from clips, to be cut anew when they are next looked at; in a
    /// turn of its own. What was found.
    ///
    /// # Errors
    /// [`WriteError::ReadOnly`]; [`WriteError::Locked`]; [`StoreError::Io`].
    pub(crate) fn tidy_clips(&self, rebuild: bool) -> Result<Option<Finding>, WriteError> {
        let _turn = self.take_turn()?;
        if rebuild {
            self.drop_stills()?;
            self.drop_films()?;
        }
        let swept = self.sweep_clips(false)?;
        let problem = format!("{swept} copies of clips belong to no recording");
        Ok((swept > 0).then_some(Finding { place: "clips", problem, repaired: true, remedy: None }))
    }

    fn check_database(&self) -> Result<Vec<Finding>, StoreError> {
        let mut findings = Vec::new();
        let found =
            |problem, remedy| Finding { place: "library.db", problem, repaired: false, remedy };
        let mut report = |problem: String| findings.push(found(problem, None));
        let lines: Result<Vec<String>, _> =
            self.list("checking", "PRAGMA integrity_check(20)", [], |row| row.get(0));
        match lines {
            Ok(lines) if lines == ["ok"] => {}
            // What is said of clips is named one by one.
            Ok(lines) => {
                let others = lines.into_iter().filter(|line| line != OF_CLIPS);
                others.for_each(&mut report);
            }
            Err(StoreError::Stopped(stopped)) => return Err(stopped.into()),
            Err(error) => report(error.to_string()),
        }
        let broken: Result<Vec<Option<String>>, _> =
            self.list("checking", "PRAGMA foreign_key_check", [], |row| {
                let (table, id): (String, Option<i64>) = (row.get(0)?, row.get(1)?);
                let parent: String = row.get(2)?;
                let id = id.map(|id| format!(" row {id}")).unwrap_or_default();
                let told = format!("{table}{id} belongs to nothing in {parent}");
                Ok((table != "clip_pairs").then_some(told))
            });
        match broken {
            Ok(lines) => lines.into_iter().flatten().for_each(&mut report),
            Err(StoreError::Stopped(stopped)) => return Err(stopped.into()),
            Err(error) => report(error.to_string()),
        }
        for (what, sql) in [
            (
                "recordings without joints",
                "SELECT count(*) FROM recordings r
                 WHERE NOT EXISTS (SELECT 1 FROM recording_joints j WHERE j.recording = r.id)",
            ),
            (
                "serves without data",
                "SELECT count(*) FROM serves s
                 WHERE NOT EXISTS (SELECT 1 FROM serve_data d WHERE d.serve = s.id)",
            ),
            (
                "serves whose recording belongs to another player or case",
                "SELECT count(*) FROM serves s JOIN recordings r ON r.id = s.recording
                 JOIN cases c ON c.id = s.case_id
                 WHERE r.player <> s.player OR c.player <> s.player OR r.case_id <> s.case_id",
            ),
        ] {
            let count: i64 = self
                .connection
                .query_row(sql, [], |row| row.get(0))
                .map_err(StoreError::sql("checking"))?;
            if count > 0 {
                report(format!("{count} {what}"));
            }
        }
        let amiss = self.said_of_clips_amiss()?.into_iter();
        findings.extend(amiss.map(|(problem, remedy)| found(problem, Some(remedy))));
        Ok(findings)
    }

    fn check_values(&self, findings: &mut Vec<Finding>, watch: &Watch) -> Result<(), StoreError> {
        let ids = |sql| self.list("listing", sql, [], |row| row.get::<_, i64>(0));
        let recordings = ids("SELECT id FROM recordings ORDER BY id")?;
        let serves = ids("SELECT id FROM serves ORDER BY id")?;
        let cases = self.case_ids(None)?;
        let total = recordings.len() + serves.len() + cases.len() + 1;
        let mut done = 0;
        let mut check = |result: Result<(), StoreError>| -> Result<(), StoreError> {
            if let Err(error) = result {
                let problem = match error {
                    StoreError::Stopped(_) => return Err(error),
                    StoreError::Damaged { what, why } => format!("{what}: {why}"),
                    other => other.to_string(),
                };
                let place = "library.db";
                findings.push(Finding { place, problem, repaired: false, remedy: None });
            }
            done += 1;
            Ok(watch.step(Stage::Values, done, total)?)
        };
        for id in recordings {
            let id = RecordingId(id);
            let whole = self.recording(id).and_then(|_| self.joints(id)).map(|_| ());
            let whole = whole.and_then(|()| self.clip(id).map(|_| ()));
            check(whole.and_then(|()| self.check_marks(id)))?;
        }
        for id in serves {
            check(self.serve(ServeId(id)).map(|_| ()))?;
        }
        for id in cases {
            check(self.case(id).and_then(|_| self.check_in(id)).map(|_| ()))?;
        }
        check(self.check_history())?;
        Ok(())
    }
}
