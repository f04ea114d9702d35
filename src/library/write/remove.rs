//! Removing a recording, serve, plan, follow-up or label, and what depends on it.

use std::fmt;

use rusqlite::OptionalExtension;
use serde::Serialize;

use super::moving::{LeftCase, hangs_on};
use super::{Writer, found, no_such};
use crate::library::{
    Author, CaseId, ChangeKind, FaultLabel, FollowUpId, Library, PlanId, PracticeId, RecordingId,
    ServeId, StoreError, WriteError,
};

/// What is to be removed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Removal {
    /// A recording with its serves.
    Recording(RecordingId),
    /// One serve; the last one takes its recording along.
    Serve(ServeId),
    /// A plan with its follow-ups.
    Plan(PlanId),
    /// A follow-up.
    FollowUp(FollowUpId),
    /// Logged practice.
    Practice(PracticeId),
    /// What one author said about one fault.
    Label {
        /// The case.
        case: CaseId,
        /// Catalogue id of the fault.
        fault: String,
        /// Who said it.
        by: Author,
    },
    /// One of the notes of a case.
    Note {
        /// The case.
        case: CaseId,
        /// Which, as they are listed: the first is 1.
        number: usize,
    },
}

impl fmt::Display for Removal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Recording(id) => id.fmt(f),
            Self::Serve(id) => id.fmt(f),
            Self::Plan(id) => id.fmt(f),
            Self::FollowUp(id) => id.fmt(f),
            Self::Practice(id) => id.fmt(f),
            Self::Label { case, fault, by } => write!(f, "label {fault} by {by} in {case}"),
            Self::Note { case, number } => write!(f, "note {number} of {case}"),
        }
    }
}

/// What depends on something that is to be removed.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Dependants {
    /// The recording, where its last serve goes.
    #[serde(serialize_with = "crate::library::spelled_all")]
    pub recordings: Vec<RecordingId>,
    /// Serves that go too.
    #[serde(serialize_with = "crate::library::spelled_all")]
    pub serves: Vec<ServeId>,
    /// Follow-ups that go too.
    #[serde(serialize_with = "crate::library::spelled_all")]
    pub follow_ups: Vec<FollowUpId>,
    /// Logged practice that goes too.
    #[serde(serialize_with = "crate::library::spelled_all")]
    pub practice: Vec<PracticeId>,
    /// Follow-ups that stay and name these serves no more.
    #[serde(serialize_with = "crate::library::spelled_all")]
    pub follow_ups_losing_serves: Vec<FollowUpId>,
    /// Plans this one took the place of; they stay as ended.
    #[serde(serialize_with = "crate::library::spelled_all")]
    pub replaced_plans: Vec<PlanId>,
    /// The case, where nothing else is left in it.
    #[serde(serialize_with = "crate::library::spelled_all")]
    pub cases: Vec<CaseId>,
    /// The case, where it stays without serves for what the coach recorded there.
    #[serde(serialize_with = "crate::library::spelled_all")]
    pub cases_left_empty: Vec<CaseId>,
    /// Packs the case left in before; the next one takes this back, or brings it as it is then.
    pub packs: usize,
}

impl Dependants {
    /// One line for each thing that goes or loses something, the sentences of a list.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        fn list<T: fmt::Display>(ids: &[T]) -> String {
            ids.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
        }
        let mut lines = Vec::new();
        let mut say = |there: bool, line: String| {
            if there {
                lines.push(line);
            }
        };
        say(!self.recordings.is_empty(), format!("its recording goes: {}", list(&self.recordings)));
        say(!self.serves.is_empty(), format!("its serves go: {}", list(&self.serves)));
        say(!self.follow_ups.is_empty(), format!("its follow-ups go: {}", list(&self.follow_ups)));
        say(
            !self.practice.is_empty(),
            format!("its logged practice goes: {}", list(&self.practice)),
        );
        say(
            !self.follow_ups_losing_serves.is_empty(),
            format!("follow-ups that no longer name it: {}", list(&self.follow_ups_losing_serves)),
        );
        say(
            !self.replaced_plans.is_empty(),
            format!("plans it replaced stay ended: {}", list(&self.replaced_plans)),
        );
        say(
            !self.cases.is_empty(),
            format!("the case goes, nothing is left in it: {}", list(&self.cases)),
        );
        say(
            !self.cases_left_empty.is_empty(),
            format!("the case stays without serves: {}", list(&self.cases_left_empty)),
        );
        let times =
            if self.packs == 1 { "a pack".to_owned() } else { format!("{} packs", self.packs) };
        say(self.packs > 0, format!("it left in {times}; the next pack tells everyone who has it"));
        lines
    }
}

impl Library {
    /// What depends on something; nothing is removed.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; [`StoreError::Sql`].
    pub fn dependants(&self, removal: &Removal) -> Result<Dependants, StoreError> {
        match removal {
            Removal::Recording(id) => {
                let serves = self.serves_in(*id)?;
                let case = self.case_of_recording(*id)?;
                let mut on = self.on_serves(case, &serves)?;
                on.serves = serves;
                Ok(on)
            }
            Removal::Serve(id) => {
                let case = self.case_of("serves", id.0, || id.to_string())?;
                let mut on = self.on_serves(case, &[*id])?;
                let recording = self.serve_head(*id)?.recording;
                if self.serves_in(recording)? == [*id] {
                    on.recordings.push(recording);
                }
                Ok(on)
            }
            Removal::Plan(id) => {
                let case = self.plan(*id)?.case;
                let follow_ups = self.follow_ups_of(*id)?.iter().map(|one| one.id).collect();
                let replaced_plans = self.list(
                    "listing plans",
                    "SELECT plan FROM plan_ends WHERE replaced_by = ?1 ORDER BY plan",
                    [id.0],
                    |row| row.get(0).map(PlanId),
                )?;
                let practice = self.list(
                    "listing practice",
                    "SELECT id FROM practice WHERE plan = ?1 ORDER BY id",
                    [id.0],
                    |row| row.get(0).map(PracticeId),
                )?;
                let packs = self.packs_with(case)?;
                Ok(Dependants {
                    follow_ups,
                    practice,
                    replaced_plans,
                    packs,
                    ..Dependants::default()
                })
            }
            Removal::FollowUp(id) => {
                let case = self.case_of_follow_up(*id)?;
                Ok(Dependants { packs: self.packs_with(case)?, ..Dependants::default() })
            }
            Removal::Practice(id) => {
                let there: bool = self
                    .connection
                    .query_row(
                        "SELECT EXISTS (SELECT 1 FROM practice WHERE id = ?1)",
                        [id.0],
                        |row| row.get(0),
                    )
                    .map_err(StoreError::sql("looking for practice"))?;
                if !there {
                    return Err(StoreError::NoSuch { what: id.to_string() });
                }
                Ok(Dependants::default())
            }
            Removal::Label { case, fault, by } => {
                let known = self.case(*case)?;
                if !known.labels.iter().any(|label| label.fault == *fault && label.by == *by) {
                    return Err(StoreError::NoSuch { what: removal.to_string() });
                }
                Ok(Dependants { packs: self.packs_with(*case)?, ..Dependants::default() })
            }
            Removal::Note { case, number } => {
                let known = self.case(*case)?;
                if number.checked_sub(1).is_none_or(|at| at >= known.notes.len()) {
                    return Err(StoreError::NoSuch { what: removal.to_string() });
                }
                Ok(Dependants { packs: self.packs_with(*case)?, ..Dependants::default() })
            }
        }
    }

    fn on_serves(&self, case: CaseId, serves: &[ServeId]) -> Result<Dependants, StoreError> {
        let mut on = Dependants { packs: self.packs_with(case)?, ..Dependants::default() };
        for serve in serves {
            on.follow_ups_losing_serves.extend(self.list(
                "looking for follow-ups",
                "SELECT follow_up FROM follow_up_serves WHERE serve = ?1",
                [serve.0],
                |row| row.get(0).map(FollowUpId),
            )?);
        }
        on.follow_ups_losing_serves.sort();
        on.follow_ups_losing_serves.dedup();
        if self.case(case)?.serves.iter().all(|serve| serves.contains(serve)) {
            let hangs =
                hangs_on(&self.connection, case).map_err(StoreError::sql("looking into a case"))?;
            if hangs { on.cases_left_empty.push(case) } else { on.cases.push(case) }
        }
        Ok(on)
    }

    /// The case a recording belongs to.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn case_of_recording(&self, id: RecordingId) -> Result<CaseId, StoreError> {
        self.case_of("recordings", id.0, || id.to_string())
    }

    fn case_of(
        &self,
        table: &'static str,
        id: i64,
        what: impl FnOnce() -> String,
    ) -> Result<CaseId, StoreError> {
        self.connection
            .query_row(&format!("SELECT case_id FROM {table} WHERE id = ?1"), [id], |row| {
                row.get(0)
            })
            .optional()
            .map_err(StoreError::sql("looking for a case"))?
            .map(CaseId)
            .ok_or_else(|| StoreError::NoSuch { what: what() })
    }

    /// The case a follow-up's plan was made for.
    fn case_of_follow_up(&self, id: FollowUpId) -> Result<CaseId, StoreError> {
        self.connection
            .query_row(
                "SELECT n.case_id FROM follow_ups f JOIN plans n ON n.id = f.plan WHERE f.id = ?1",
                [id.0],
                |row| row.get(0),
            )
            .optional()
            .map_err(StoreError::sql("looking for a case"))?
            .map(CaseId)
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })
    }

    fn packs_with(&self, case: CaseId) -> Result<usize, StoreError> {
        self.connection
            .query_row("SELECT count(*) FROM sent_cases WHERE case_id = ?1", [case.0], |row| {
                super::super::read::count(row, 0)
            })
            .map_err(StoreError::sql("looking for packs that left"))
    }
}

impl Writer<'_> {
    /// Removes something with what depends on it; its earlier state is kept.
    ///
    /// `labels`: the program's labels of the case without the serves that go.
    ///
    /// # Errors
    /// [`WriteError::FromPack`] for what came in a pack;
    /// [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn remove(
        &mut self,
        removal: &Removal,
        labels: &[FaultLabel],
        by: &Author,
    ) -> Result<(), WriteError> {
        self.keep_history(ChangeKind::Removed, Some(by))?;
        match removal {
            Removal::Recording(id) => self.remove_own_recording(*id, labels),
            Removal::Serve(id) => {
                let (recording, place) = self.place_in_recording(*id)?;
                if self.serves_of_recording(recording)?.len() == 1 {
                    return self.remove_own_recording(recording, labels);
                }
                let held = self.held(recording)?;
                self.check_own(held.player)?;
                self.take_back_recording(&held)?;
                self.run("removing a serve", || {
                    self.db.execute("DELETE FROM serves WHERE id = ?1", [id.0])
                })?;
                self.close_gap(recording, place)?;
                self.note_changes();
                self.leave_case(held.case, labels).map(|_| ())
            }
            Removal::Plan(id) => {
                self.check_not_received("plans", id.0, || id.to_string())?;
                self.touch_plan(*id)?;
                let removed = self.run("removing a plan", || {
                    self.db.execute(
                        "UPDATE plan_ends SET how = 'ended', replaced_by = NULL
                         WHERE replaced_by = ?1",
                        [id.0],
                    )?;
                    self.db.execute("DELETE FROM plans WHERE id = ?1", [id.0])
                })?;
                found(removed, || id.to_string())
            }
            Removal::FollowUp(id) => {
                self.check_not_received("follow_ups", id.0, || id.to_string())?;
                let plan: i64 = self.run("looking for a plan", || {
                    self.db.query_row("SELECT plan FROM follow_ups WHERE id = ?1", [id.0], |row| {
                        row.get(0)
                    })
                })?;
                self.touch_plan(PlanId(plan))?;
                let removed = self.run("removing a follow-up", || {
                    self.db.execute("DELETE FROM follow_ups WHERE id = ?1", [id.0])
                })?;
                found(removed, || id.to_string())
            }
            Removal::Practice(id) => {
                let removed = self.run("removing practice", || {
                    self.db.execute("DELETE FROM practice WHERE id = ?1", [id.0])
                })?;
                found(removed, || id.to_string())
            }
            Removal::Label { case, fault, by } => {
                if self.remove_label(*case, fault, by)? {
                    Ok(())
                } else {
                    Err(no_such(removal.to_string()))
                }
            }
            Removal::Note { case, number } => {
                let place = number.checked_sub(1).ok_or_else(|| no_such(removal.to_string()))?;
                let note: Option<(i64, bool)> = self.run("looking for a note", || {
                    self.db
                        .query_row(
                            "SELECT id, came FROM case_notes WHERE case_id = ?1 ORDER BY id
                             LIMIT 1 OFFSET ?2",
                            (case.0, place as i64),
                            |row| Ok((row.get(0)?, row.get(1)?)),
                        )
                        .optional()
                })?;
                match note {
                    None => Err(no_such(removal.to_string())),
                    Some((_, true)) => Err(WriteError::FromPack { what: removal.to_string() }),
                    Some((id, false)) => {
                        self.touch(*case)?;
                        self.run("removing a note", || {
                            self.db.execute("DELETE FROM case_notes WHERE id = ?1", [id])
                        })?;
                        Ok(())
                    }
                }
            }
        }
    }

    fn remove_own_recording(
        &mut self,
        id: RecordingId,
        labels: &[FaultLabel],
    ) -> Result<(), WriteError> {
        let held = self.held(id)?;
        self.check_own(held.player)?;
        self.take_back_recording(&held)?;
        self.remove_recording(id)?;
        let _: LeftCase = self.leave_case(held.case, labels)?;
        Ok(())
    }

    /// A plan or follow-up that came in a pack is its sender's to put right.
    fn check_not_received(
        &self,
        table: &'static str,
        id: i64,
        what: impl Fn() -> String,
    ) -> Result<(), WriteError> {
        let uid: Option<String> = self.run("reading an id", || {
            self.db
                .query_row(&format!("SELECT uid FROM {table} WHERE id = ?1"), [id], |row| {
                    row.get(0)
                })
                .optional()
        })?;
        match uid {
            None => Err(no_such(what())),
            Some(uid) if uid.starts_with("away/") => Err(WriteError::FromPack { what: what() }),
            Some(_) => Ok(()),
        }
    }
}
