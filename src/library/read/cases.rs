//! Cases, plans and follow-ups.

use rusqlite::{OptionalExtension, Row, params_from_iter};

use super::{count, named, named_if, parsed, parsed_if, unreadable};
use crate::library::{
    Author, BallFlight, Case, CaseId, Ending, FaultLabel, FollowUp, FollowUpId, Grip, Library,
    Misses, Note, Plan, PlanEnd, PlanId, PlannedDrill, PlayerId, ServeId, StoreError,
};

impl Library {
    /// Ids of all cases of a player (`None`: of everybody), by day and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn case_ids(&self, player: Option<PlayerId>) -> Result<Vec<CaseId>, StoreError> {
        // Two statements: one that leaves it open whose cases it lists would go through everybody's.
        let sql = match player {
            Some(_) => "SELECT id FROM cases WHERE player = ?1 ORDER BY date, id",
            None => "SELECT id FROM cases ORDER BY date, id",
        };
        let whose = params_from_iter(player.map(|player| player.0));
        self.list("listing cases", sql, whose, |row| row.get(0).map(CaseId))
    }

    /// The ids of all cases, sorted. Cost: reads no case.
    pub(crate) fn sorted_case_ids(&self) -> Result<Vec<i64>, StoreError> {
        let mut ids = self.list("listing cases", "SELECT id FROM cases", [], |row| row.get(0))?;
        ids.sort_unstable();
        Ok(ids)
    }

    /// How many cases there are. Cost: reads the pages of one index, no case.
    pub(crate) fn count_cases(&self) -> Result<usize, StoreError> {
        self.connection
            .prepare_cached("SELECT count(*) FROM cases")
            .and_then(|mut statement| statement.query_row([], |row| count(row, 0)))
            .map_err(StoreError::sql("counting cases"))
    }

    /// All cases of a player (`None`: of everybody), by day and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn cases(&self, player: Option<PlayerId>) -> Result<Vec<Case>, StoreError> {
        self.case_ids(player)?.into_iter().map(|id| self.case(id)).collect()
    }

    /// The case with this id, with everything that belongs to it.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn case(&self, id: CaseId) -> Result<Case, StoreError> {
        let mut case = self
            .connection
            .prepare_cached(
                "SELECT id, player, date, grip_index, grip_heel, speed_kmh, first_serve_pct,
                    miss_net, miss_long, miss_wide
                 FROM cases WHERE id = ?1",
            )
            .and_then(|mut statement| statement.query_row([id.0], case_row).optional())
            .map_err(StoreError::sql("reading a case"))?
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })?;
        case.serves = self.list(
            "listing serves",
            "SELECT id FROM serves WHERE case_id = ?1 ORDER BY recording, place",
            [id.0],
            |row| row.get(0).map(ServeId),
        )?;
        case.labels = self.list(
            "listing labels",
            "SELECT fault, state, severity, said_by, note FROM labels
             WHERE case_id = ?1 ORDER BY fault, said_by",
            [id.0],
            |row| {
                Ok(FaultLabel {
                    fault: row.get(0)?,
                    state: named(row, 1)?,
                    severity: row.get(2)?,
                    by: Author::from_text(&row.get::<_, String>(3)?),
                    note: row.get(4)?,
                })
            },
        )?;
        case.notes = self.list(
            "listing notes",
            "SELECT text, said_by, at FROM case_notes WHERE case_id = ?1 ORDER BY id",
            [id.0],
            |row| {
                let by: Option<String> = row.get(1)?;
                Ok(Note {
                    text: row.get(0)?,
                    by: by.as_deref().map(Author::from_text),
                    at: row.get(2)?,
                })
            },
        )?;
        case.plans = self.plans_of(id)?;
        for plan in &case.plans {
            case.follow_ups.extend(self.follow_ups_of(plan.id)?);
        }
        Ok(case)
    }

    fn plans_of(&self, case: CaseId) -> Result<Vec<Plan>, StoreError> {
        let mut plans = self.list(
            "listing plans",
            "SELECT n.id, n.limiting_fault, n.start, n.review_on, n.coach, n.note, e.day, e.how,
                e.replaced_by, e.said_by, e.reason
             FROM plans n LEFT JOIN plan_ends e ON e.plan = n.id
             WHERE n.case_id = ?1 ORDER BY n.id",
            [case.0],
            |row| {
                Ok(Plan {
                    id: PlanId(row.get(0)?),
                    case,
                    limiting_fault: row.get(1)?,
                    drills: Vec::new(),
                    start: parsed(row, 2)?,
                    review_on: parsed_if(row, 3)?,
                    coach: row.get(4)?,
                    note: row.get(5)?,
                    ended: plan_end(row, 6)?,
                })
            },
        )?;
        for plan in &mut plans {
            plan.drills = self.list(
                "listing drills",
                "SELECT drill, dose, done_where FROM plan_drills WHERE plan = ?1 ORDER BY place",
                [plan.id.0],
                |row| {
                    Ok(PlannedDrill {
                        drill: row.get(0)?,
                        dose: row.get(1)?,
                        place: named_if(row, 2)?,
                    })
                },
            )?;
        }
        Ok(plans)
    }

    /// The plan with this id.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn plan(&self, id: PlanId) -> Result<Plan, StoreError> {
        let case: Option<i64> = self
            .connection
            .prepare_cached("SELECT case_id FROM plans WHERE id = ?1")
            .and_then(|mut statement| statement.query_row([id.0], |row| row.get(0)).optional())
            .map_err(StoreError::sql("reading a plan"))?;
        case.map(|case| self.plans_of(CaseId(case)))
            .transpose()?
            .and_then(|plans| plans.into_iter().find(|plan| plan.id == id))
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })
    }

    /// The follow-up with this id.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn follow_up(&self, id: FollowUpId) -> Result<FollowUp, StoreError> {
        let plan: Option<i64> = self
            .connection
            .prepare_cached("SELECT plan FROM follow_ups WHERE id = ?1")
            .and_then(|mut statement| statement.query_row([id.0], |row| row.get(0)).optional())
            .map_err(StoreError::sql("reading a follow-up"))?;
        plan.map(|plan| self.follow_ups_of(PlanId(plan)))
            .transpose()?
            .and_then(|all| all.into_iter().find(|one| one.id == id))
            .ok_or_else(|| StoreError::NoSuch { what: id.to_string() })
    }

    /// The follow-ups of a plan, by day and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn follow_ups_of(&self, plan: PlanId) -> Result<Vec<FollowUp>, StoreError> {
        let mut follow_ups = self.list(
            "listing follow-ups",
            "SELECT id, date, speed_kmh, first_serve_pct, miss_net, miss_long, miss_wide, rating,
                sessions_done, note
             FROM follow_ups WHERE plan = ?1 ORDER BY date, id",
            [plan.0],
            |row| {
                Ok(FollowUp {
                    id: FollowUpId(row.get(0)?),
                    plan,
                    date: parsed(row, 1)?,
                    serves: Vec::new(),
                    ball: ball_flight(row, 2)?,
                    rating: row.get(7)?,
                    sessions_done: row.get(8)?,
                    note: row.get(9)?,
                })
            },
        )?;
        for follow_up in &mut follow_ups {
            follow_up.serves = self.list(
                "listing serves",
                "SELECT serve FROM follow_up_serves WHERE follow_up = ?1 ORDER BY place",
                [follow_up.id.0],
                |row| row.get(0).map(ServeId),
            )?;
        }
        Ok(follow_ups)
    }
}

fn case_row(row: &Row<'_>) -> rusqlite::Result<Case> {
    let (index_knuckle, heel_pad) = (row.get(3)?, row.get(4)?);
    let known = Option::is_some(&index_knuckle) || Option::is_some(&heel_pad);
    Ok(Case {
        id: CaseId(row.get(0)?),
        player: PlayerId(row.get(1)?),
        date: parsed(row, 2)?,
        serves: Vec::new(),
        labels: Vec::new(),
        plans: Vec::new(),
        follow_ups: Vec::new(),
        grip: known.then_some(Grip { index_knuckle, heel_pad }),
        ball: ball_flight(row, 5)?,
        notes: Vec::new(),
    })
}

/// Five columns from `first`: day, how, the plan that took its place, who says so, why.
pub(in crate::library) fn plan_end(
    row: &Row<'_>,
    first: usize,
) -> rusqlite::Result<Option<PlanEnd>> {
    let Some(day) = parsed_if(row, first)? else { return Ok(None) };
    let how: String = row.get(first + 1)?;
    let replaced_by: Option<i64> = row.get(first + 2)?;
    let how = match (how.as_str(), replaced_by) {
        ("withdrawn", _) => Ending::Withdrawn,
        ("replaced", Some(id)) => Ending::Replaced(PlanId(id)),
        // The plan that took its place is not here: it came from elsewhere, or was removed.
        ("ended" | "replaced", _) => Ending::Ended,
        _ => return Err(unreadable(first + 1, format!("unknown ending '{how}'"))),
    };
    let by: String = row.get(first + 3)?;
    Ok(Some(PlanEnd { day, how, by: Author::from_text(&by), reason: row.get(first + 4)? }))
}

/// Five columns from `first`: speed, first serves in, misses into the net, long, wide.
fn ball_flight(row: &Row<'_>, first: usize) -> rusqlite::Result<BallFlight> {
    let net: Option<u32> = row.get(first + 2)?;
    let misses = match net {
        Some(net) => Some(Misses { net, long: row.get(first + 3)?, wide: row.get(first + 4)? }),
        None => None,
    };
    Ok(BallFlight { speed_kmh: row.get(first)?, first_serve_pct: row.get(first + 1)?, misses })
}
