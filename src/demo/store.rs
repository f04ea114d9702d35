//! The academy into a library: record, find, store, label, plan, follow up.

use std::collections::HashMap;

use jiff::ToSpan;
use jiff::civil::Date;
use rayon::prelude::*;
use thiserror::Error;

use super::academy::DemoSession;
use super::scenario::Scenario;
use crate::catalogue::Catalogue;
use crate::coaching::{
    BallReport, ConsentRequest, DrillRequest, EndOfPlan, FollowUpRequest, Graded, LabelRequest,
    PlanEndRefusal, PlanEndRequest, PlanRequest, PlayerRequest, Refusal, SquadsRequest,
    practiser_of,
};
use crate::library::{
    Author, BallFlight, Case, CaseId, FollowUp, Library, NewRecording, Plan, PlanEnd, PlanId,
    Player, PlayerId, WriteError,
};
use crate::motion::Recording;
use crate::serve::{EventKind, FindOptions, Found, find};
use crate::simulator::Truth;
use crate::work::{Stage, Stopped, Watch};

/// Plans made this many days before the last look of the year wait for the player; the others are
/// over by then.
const STILL_WAITS_DAYS: i64 = 14;

/// Why the academy could not be stored.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum BuildError {
    /// A rule of coaching or the store refused.
    #[error("storing {file}: {source}")]
    Refused {
        /// Which recording.
        file: String,
        /// Why.
        source: Box<Refusal>,
    },
    /// The work was stopped.
    #[error("{0}")]
    Stopped(#[from] Stopped),
}

/// What [`build`] made, and how well the finding did against the planted truth.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Built {
    /// Players stored.
    pub players: usize,
    /// Recordings stored.
    pub recordings: usize,
    /// Recordings in which no serve was found, with the first reason.
    pub empty: Vec<(String, String)>,
    /// Serves planted.
    pub planted: usize,
    /// Planted serves found (a contact within 0.15 s).
    pub found: usize,
    /// Serves found where none was planted.
    pub invented: usize,
    /// Plans stored.
    pub plans: usize,
    /// Follow-ups stored.
    pub follow_ups: usize,
}

/// Records every review of the scenario, finds its serves and stores everything in `library`,
/// one transaction per review; `watch` is told each.
///
/// # Errors
/// [`BuildError`] as soon as the store refuses something; what was stored before stays.
pub fn build(
    library: &mut Library,
    scenario: &Scenario,
    watch: &Watch,
) -> Result<Built, BuildError> {
    let sessions = scenario.sessions();
    let mut built = Built::default();
    let mut players: HashMap<String, Known> = HashMap::new();
    let mut done = 0;
    for batch in sessions.chunks(16) {
        let read: Vec<(Recording, Vec<Truth>, Found)> = batch
            .par_iter()
            .map(|session| {
                let (recording, truths) = session.record();
                let options =
                    FindOptions { hand: session.player.hand, stature_m: session.player.stature_m };
                let found = find(&recording, &options);
                (recording, truths, found)
            })
            .collect();
        for (session, (recording, truths, found)) in batch.iter().zip(&read) {
            count(&mut built, truths, found);
            if found.serves.is_empty() {
                let reason = found.refused.first().map(|refusal| refusal.reason.clone());
                built.empty.push((session.file_name.clone(), reason.unwrap_or_default()));
                // A plan of that day is not stored, so nothing later can answer the one before.
                if let Some(known) = players.get_mut(&session.player.code) {
                    known.answerable = false;
                }
            } else {
                store(library, session, recording, found, &mut players, &mut built).map_err(
                    |source| BuildError::Refused {
                        file: session.file_name.clone(),
                        source: Box::new(source),
                    },
                )?;
            }
            done += 1;
            watch.step(Stage::Recordings, done, sessions.len())?;
        }
    }
    let last = sessions.iter().map(|session| session.date).max();
    close_the_year(library, last, players).map_err(|source| BuildError::Refused {
        file: "the end of the year".to_owned(),
        source: Box::new(source),
    })?;
    Ok(built)
}

/// A player who was stored, and the plan that nothing ended yet.
struct Known {
    player: PlayerId,
    plan: Option<Plan>,
    /// Whether a follow-up may answer the plan.
    answerable: bool,
}

/// What the coaches do before the holidays: plans whose review nobody came to are ended. Those of
/// the last fortnight wait for the player.
fn close_the_year(
    library: &mut Library,
    last: Option<Date>,
    players: HashMap<String, Known>,
) -> Result<(), Refusal> {
    let Some(waits_from) = last.map(|last| last.saturating_sub(STILL_WAITS_DAYS.days())) else {
        return Ok(());
    };
    let mut open: Vec<Plan> = players.into_values().filter_map(|known| known.plan).collect();
    open.retain(|plan| plan.start < waits_from);
    open.sort_by_key(|plan| plan.id);
    library.write(|w| {
        for plan in &open {
            let day = plan.review_on.unwrap_or(plan.start);
            w.end_plan(plan.id, &ended(plan, day, Some("not seen again this season"))?)?;
        }
        Ok(())
    })?;
    Ok(())
}

/// The end of a plan by the coach who made it.
fn ended(plan: &Plan, day: Date, reason: Option<&str>) -> Result<PlanEnd, WriteError> {
    let request = PlanEndRequest {
        plan: plan.id,
        case: None,
        how: EndOfPlan::Done,
        day,
        by: plan.coach.clone().unwrap_or_default(),
        reason: reason.map(str::to_owned),
    };
    request.check(plan).map_err(|refusal| match refusal {
        PlanEndRefusal::Write(error) => error,
        other => WriteError::Invalid {
            field: "ended",
            found: other.to_string(),
            rule: "an end that coaching lets pass".to_owned(),
        },
    })
}

fn count(built: &mut Built, truths: &[Truth], found: &Found) {
    let contact = |event: &[crate::serve::Event; 6]| event[4].time_s;
    built.planted += truths.len();
    let mut free: Vec<f64> = truths.iter().map(|t| t.event_s(EventKind::Contact)).collect();
    for serve in &found.serves {
        let near = free.iter().position(|at| (at - contact(&serve.events)).abs() < 0.15);
        match near {
            Some(place) => {
                free.swap_remove(place);
                built.found += 1;
            }
            None => built.invented += 1,
        }
    }
}

fn store(
    library: &mut Library,
    session: &DemoSession,
    recording: &Recording,
    found: &Found,
    players: &mut HashMap<String, Known>,
    built: &mut Built,
) -> Result<(), Refusal> {
    let judged = Judged::of(session)?;
    let mut bytes = blake3::Hasher::new();
    for value in recording.positions.iter().flatten() {
        bytes.update(&value.to_le_bytes());
    }
    let content_hash = bytes.finalize().to_hex().to_string();
    let known = players.remove(&session.player.code);
    let is_new = known.is_none();
    let (player, planned, answered) = library.write(|w| {
        let (player, open, answerable) = match known {
            Some(known) => (known.player, known.plan, known.answerable),
            None => (w.add_player(&judged.player)?, None, false),
        };
        let added = w.add_recording(&NewRecording {
            player,
            file_name: &session.file_name,
            content_hash: &content_hash,
            date: session.date,
            setting: Some(session.setting),
            serve_type: session.asks.first().map(|ask| ask.serve_type),
            recording,
            serves: &found.serves,
        })?;
        for label in &judged.case.labels {
            w.set_label(added.case, label)?;
        }
        w.set_ball(added.case, &session.ball)?;
        w.set_grip(added.case, session.grip)?;
        if let Some(note) = &session.note {
            w.add_note(added.case, note, None)?;
        }
        let answer = judged.answer.as_ref().zip(open.as_ref()).filter(|_| answerable);
        if let Some((answer, plan)) = answer {
            let serves = added.serves.clone();
            w.add_follow_up(&FollowUp { plan: plan.id, serves, ..answer.clone() })?;
        }
        // A new look, and what was worked on until then is over.
        if let Some(plan) = &open {
            w.end_plan(plan.id, &ended(plan, session.date, None)?)?;
        }
        let plan = judged.plan.as_ref().map(|plan| Plan { case: added.case, ..plan.clone() });
        let planned = match plan {
            Some(plan) => Some(Plan { id: w.add_plan(&plan)?, ..plan }),
            None => None,
        };
        Ok((player, planned, answer.is_some()))
    })?;
    built.players += usize::from(is_new);
    built.recordings += 1;
    built.plans += usize::from(planned.is_some());
    built.follow_ups += usize::from(answered);
    let known = Known { player, plan: planned, answerable: true };
    players.insert(session.player.code.clone(), known);
    Ok(())
}

/// What was said on the day of a review, as coaching's rules let it pass; ids are 0 until they are
/// given.
struct Judged {
    player: Player,
    /// With the day's labels.
    case: Case,
    answer: Option<FollowUp>,
    plan: Option<Plan>,
}

impl Judged {
    fn of(session: &DemoSession) -> Result<Self, Refusal> {
        let catalogue = Catalogue::builtin();
        let player = player_request(&session.player).check(None, None)?;
        let mut case = Case::new(CaseId(0), PlayerId(0), session.date);
        if let Some(Author::Coach(coach)) = session.labels.first().map(|label| &label.by) {
            let seen = session
                .labels
                .iter()
                .map(|label| Graded { fault: label.fault.clone(), severity: Some(label.severity) });
            let request = LabelRequest { add: seen.collect(), ..LabelRequest::new(case.id, coach) };
            case.labels = request.check(catalogue, &case)?;
        }
        let answer = session.answer.as_ref().map(|answer| {
            let request = FollowUpRequest {
                ball: reported(&session.ball),
                rating: Some(answer.rating),
                sessions_done: Some(answer.sessions_done),
                note: answer.note.clone(),
                ..FollowUpRequest::new(PlanId(0), session.date)
            };
            request.check()
        });
        let plan = session.plan.as_ref().map(|plan| {
            let plan = &plan.plan;
            let drills = plan.drills.iter().map(|planned| DrillRequest {
                drill: planned.drill.clone(),
                dose: Some(planned.dose.clone()),
                place: planned.place,
            });
            let mut request = PlanRequest {
                drills: drills.collect(),
                start: Some(plan.start),
                review_on: plan.review_on,
                coach: plan.coach.clone(),
                note: plan.note.clone(),
                ..PlanRequest::new(case.id, &plan.limiting_fault)
            };
            let practiser = practiser_of(&player, plan.start, &[], &[]);
            // The invented coaches mean what they write.
            (_, request.sure) = request.check(catalogue, &case, &practiser)?;
            request.check_new(catalogue, &case, &practiser)
        });
        let (answer, plan) = (answer.transpose()?, plan.transpose()?);
        Ok(Self { player, case, answer, plan })
    }
}

fn player_request(player: &Player) -> PlayerRequest {
    let consent = player.consent;
    PlayerRequest {
        name: player.name.clone(),
        hand: player.hand,
        level: player.level,
        born: player.born,
        stature_m: player.stature_m,
        squads: SquadsRequest::Only(player.squads.clone()),
        coach: player.coach.clone(),
        consent: ConsentRequest {
            keep: Some(consent.keep),
            share: Some(consent.share),
            date: consent.date,
            by: consent.by,
        },
        ..PlayerRequest::new(&player.code)
    }
}

fn reported(ball: &BallFlight) -> BallReport {
    BallReport {
        speed_kmh: ball.speed_kmh,
        first_serve_pct: ball.first_serve_pct,
        net: ball.misses.map(|misses| misses.net),
        long: ball.misses.map(|misses| misses.long),
        wide: ball.misses.map(|misses| misses.wide),
    }
}
