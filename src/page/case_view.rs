use askama::Template;

use super::case::ACHES;
use super::desk::{Desk, today};
use super::refusal::Refusal;
use super::view::{BallView, Frame, PlanView, StripView};
use super::views::{self, ClipsView};
use crate::catalogue::{BodyPart, Catalogue};
use crate::coaching::{Cautions, PlansInForce, told_answers};
use crate::drawing::Viewpoint;
use crate::judgement::{Chosen, Judging, judge};
use crate::library::{
    Case, CaseId, Change, ChangeKind, Court, DayViews, Ending, FaultLabel, FollowUp, HurtsWhen,
    ItemId, LabelState, Library, Named, Plan, Practice, ServeId, Target,
};
use crate::looks::Snapshot;
use crate::words::{count, day, sentence, serve_type, setting};
use crate::work::Watch;

/// A fault of the case, in the order in which it is worth working on.
pub(super) struct FaultView {
    pub(super) id: String,
    pub(super) name: String,
    /// Where it stands: "Limiting fault", "Second ..." or "Later".
    pub(super) place: &'static str,
    pub(super) said_by: String,
    pub(super) why: String,
    pub(super) reasons: Vec<String>,
    pub(super) advice: Option<&'static str>,
    /// Whether the program suspects it and no coach has said yet whether it is there.
    pub(super) suspected: bool,
    /// Whether a coach agreed, who may think again.
    pub(super) agreed: bool,
}

struct ServeLine {
    id: String,
    recording: String,
    facts: String,
    /// Whether it is the first view of its serve; the others stand beside that one.
    is_first: bool,
    /// Other views of the same serve: id, recording, and from where.
    also: Vec<(String, String, String)>,
}

/// A plan of the case with what came of it.
struct PlanBlock {
    plan: PlanView,
    /// "ended 4 May 2026", or nothing.
    end: String,
    /// Why it ended, if somebody said.
    reason: Option<String>,
    /// Practice that was logged: id and words.
    practice: Vec<(String, String)>,
    note: Option<String>,
    came: String,
    follow_ups: Vec<FollowUpView>,
    /// Later serves of the player that a follow-up may name: id and day.
    later: Vec<(String, String)>,
}

struct FollowUpView {
    id: String,
    day: String,
    said: String,
    note: Option<String>,
}

pub(super) struct ChangeView {
    pub(super) what: String,
    pub(super) lines: Vec<String>,
}

#[derive(Template)]
#[template(path = "case.html")]
pub(super) struct Page {
    frame: Frame,
    id: String,
    player: String,
    player_id: String,
    day: String,
    today: String,
    /// The player's sessions before and after this one: id and day.
    earlier: Option<(String, String)>,
    later: Option<(String, String)>,
    serves: Vec<ServeLine>,
    /// Serves where one that was filmed from two places is one.
    strokes: String,
    /// Clips that show the same serves, or may.
    clips: Vec<ClipsView>,
    /// Whether two clips are there to say something of.
    several: bool,
    /// The first serve with a ball, else the first practice swing.
    strip: Option<StripView>,
    /// That serve, whose review is the session's.
    main: Option<String>,
    chosen: &'static str,
    program_first: Option<String>,
    faults: Vec<FaultView>,
    /// Faults a coach rejected: id, name, by whom.
    rejected: Vec<(String, String, String)>,
    /// Every fault of the catalogue: id and name.
    catalogue: Vec<(String, String)>,
    /// What was asked and told, as far as it was.
    told: Vec<(&'static str, String)>,
    /// Rows for what hurts, and the choices of the questions.
    aches: u8,
    when: Vec<(&'static str, &'static str)>,
    attempts: Vec<(&'static str, &'static str)>,
    courts: Vec<(&'static str, &'static str)>,
    targets: Vec<(&'static str, &'static str)>,
    index_knuckle: u8,
    heel_pad: u8,
    ball: BallView,
    /// What a follow-up begins with.
    no_ball: BallView,
    /// Words, and who said them when.
    notes: Vec<(String, String)>,
    plans: Vec<PlanBlock>,
    load: Option<String>,
    warnings: Vec<String>,
    /// Parts of the body that may hurt: name and words.
    places: Vec<(&'static str, &'static str)>,
    cautions: Vec<String>,
    changes: Vec<ChangeView>,
    /// The change that can be taken back here: id and what it was.
    undo: Option<(String, String)>,
}

impl Page {
    pub(super) fn of(
        desk: &Desk,
        library: &Library,
        id: CaseId,
        watch: &Watch,
    ) -> Result<Self, Refusal> {
        let case = library.case(id)?;
        let player = library.player(case.player)?;
        let catalogue = library.catalogue()?;
        let on = today();
        let judging = judge(library, &catalogue, &case, on, watch)?;
        let mut cautions = Cautions::of(&catalogue, judging.age).hurting(&judging.sore);
        for label in &judging.labels {
            cautions.fault(&catalogue, &label.fault);
        }
        let in_force = PlansInForce::of(library, &catalogue, &case, &player, on)?;
        let all = library.cases(Some(player.id))?;
        let at = all.iter().position(|other| other.id == id).unwrap_or(0);
        let named =
            |other: Option<&Case>| other.map(|other| (other.id.to_string(), day(other.date)));
        let rejected =
            case.labels.iter().filter(|label| label.state == LabelState::Rejected).map(|label| {
                (label.fault.clone(), catalogue.fault_name(&label.fault), label.by.to_string())
            });
        let lines = serves(library, &case, &judging.views)?;
        let load = in_force.as_ref().map(|plans| &plans.load);
        let changes = changes(library, &case)?;
        let undo = last_of(&changes).map(|change| (change.id.to_string(), said(change)));
        Ok(Self {
            frame: Frame::of(desk, format!("{}, {}", player.code, day(case.date))),
            id: id.to_string(),
            player_id: player.id.to_string(),
            day: day(case.date),
            today: on.to_string(),
            earlier: named(at.checked_sub(1).and_then(|before| all.get(before))),
            later: named(all.get(at + 1)),
            strokes: strokes(&lines),
            clips: views::of_case(library, id)?,
            several: lines.iter().any(|one| one.recording != lines[0].recording),
            serves: lines,
            strip: strip(library, &judging)?,
            main: main_serve(&judging).map(|serve| serve.to_string()),
            chosen: chosen(&judging),
            program_first: judging.judgement.program_first.clone(),
            faults: faults(&case, &judging),
            rejected: rejected.collect(),
            catalogue: catalogue.faults().map(|f| (f.id.clone(), f.name.clone())).collect(),
            told: told_answers(&judging.check_in)
                .into_iter()
                .filter_map(|(what, answer)| Some((what, answer?)))
                .collect(),
            aches: ACHES,
            when: HurtsWhen::NAMES.iter().map(|(when, name)| (*name, when.label())).collect(),
            attempts: vec![("first", "first serves"), ("second", "second serves")],
            courts: Court::NAMES.iter().map(|(court, name)| (*name, court.label())).collect(),
            targets: Target::NAMES.iter().map(|(target, name)| (*name, target.label())).collect(),
            index_knuckle: case.grip.and_then(|grip| grip.index_knuckle).unwrap_or(0),
            heel_pad: case.grip.and_then(|grip| grip.heel_pad).unwrap_or(0),
            ball: BallView::of(&case.ball),
            no_ball: BallView::default(),
            notes: notes(&case),
            plans: plans(library, &catalogue, &case, &all, &mut cautions)?,
            load: load.and_then(|load| load.sum()).map(|sum| sentence(&sum)),
            warnings: load.into_iter().flat_map(|l| &l.warnings).map(|w| w.text.clone()).collect(),
            places: BodyPart::NAMES.iter().map(|(part, name)| (*name, part.label())).collect(),
            cautions: if cautions.are_due() { cautions.lines() } else { Vec::new() },
            changes: changes.iter().map(ChangeView::of).collect(),
            undo,
            player: player.code,
        })
    }
}

pub(super) fn chosen(judging: &Judging) -> &'static str {
    match judging.judgement.chosen {
        Chosen::Program => "The program would begin with the first one; you may choose another.",
        Chosen::Coach => "The coach's choice.",
        Chosen::Plan => "The plan in force works on it.",
    }
}

pub(super) fn faults(case: &Case, judging: &Judging) -> Vec<FaultView> {
    let order = judging.judgement.order.iter().enumerate();
    let said = |fault: &str, coach: bool| {
        case.labels.iter().any(|label| label.fault == fault && label.by.is_coach() == coach)
    };
    let views = order.map(|(at, one)| FaultView {
        id: one.fault.clone(),
        name: one.name.clone(),
        place: match at {
            0 => "Limiting fault",
            _ if judging.judgement.second == Some(at) => "Second: can be worked on alongside",
            _ => "Later",
        },
        said_by: judging.labels.get(at).map(said_by).unwrap_or_default(),
        why: one.why.clone(),
        reasons: one.reasons.clone(),
        advice: one.sight.advice(),
        suspected: said(&one.fault, false) && !said(&one.fault, true),
        agreed: said(&one.fault, false) && said(&one.fault, true),
    });
    views.collect()
}

fn said_by(label: &FaultLabel) -> String {
    let by = &label.by;
    match label.state {
        LabelState::Suspected => "suspected by the program".to_owned(),
        LabelState::Confirmed => format!("confirmed by {by}"),
        LabelState::Rejected => format!("not seen by {by}"),
        LabelState::Added => format!("seen by {by}"),
        LabelState::Limiting => format!("{by} begins with it"),
    }
}

/// The first serve with a ball, else the first practice swing.
fn main_serve(judging: &Judging) -> Option<ServeId> {
    judging.balls.first().or(judging.swings.first()).copied()
}

fn strip(library: &Library, judging: &Judging) -> Result<Option<StripView>, Refusal> {
    let Some(first) = main_serve(judging) else { return Ok(None) };
    let row = library.serve(first)?;
    Ok(Some(StripView::of(&row.serve, &first.to_string(), Viewpoint::FromBehind)))
}

/// How many serves a session holds, and how many of them more than one clip shows.
fn strokes(lines: &[ServeLine]) -> String {
    let first = lines.iter().filter(|one| one.is_first).count();
    let twice = lines.iter().filter(|one| !one.also.is_empty()).count();
    let all = count(first, "serve");
    match twice {
        0 => all,
        1 if first == 1 => format!("{all}, filmed from more than one place"),
        _ if twice == first => format!("{all}, all filmed from more than one place"),
        _ => format!("{all}, {twice} of them filmed from more than one place"),
    }
}

fn serves(library: &Library, case: &Case, views: &DayViews) -> Result<Vec<ServeLine>, Refusal> {
    let mut lines = Vec::new();
    for &id in &case.serves {
        let head = library.serve_head(id)?;
        let facts = [
            head.setting.map(|kind| setting(kind).to_owned()),
            head.serve_type.map(|kind| serve_type(kind).to_owned()),
            Some(head.capture.describe().to_owned()),
            head.view.map(|view| format!("seen {}", view.seen())),
        ];
        let facts = facts.into_iter().flatten().collect::<Vec<_>>().join("; ");
        let recording = head.recording.to_string();
        let is_first = views.stroke(id) == id;
        let mut also = Vec::new();
        for other in views.others(id).into_iter().filter(|_| is_first) {
            let other = library.serve_head(other)?;
            let seen = other.view.map_or_else(
                || other.capture.describe().to_owned(),
                |view| format!("seen {}", view.seen()),
            );
            also.push((other.id.to_string(), other.recording.to_string(), seen));
        }
        lines.push(ServeLine { id: id.to_string(), recording, facts, is_first, also });
    }
    Ok(lines)
}

fn notes(case: &Case) -> Vec<(String, String)> {
    let notes = case.notes.iter().map(|note| {
        let by = note.by.as_ref().map(ToString::to_string);
        let at = note.at.as_deref().map(|at| {
            let on = at.get(..10).and_then(|on| on.parse().ok());
            on.map_or_else(|| at.to_owned(), day)
        });
        let who = [by, at].into_iter().flatten().collect::<Vec<_>>().join(", ");
        (note.text.clone(), who)
    });
    notes.collect()
}

fn plans(
    library: &Library,
    catalogue: &Catalogue,
    case: &Case,
    all: &[Case],
    cautions: &mut Cautions,
) -> Result<Vec<PlanBlock>, Refusal> {
    let came = Snapshot::new(library).came_of_plans(catalogue, case.player, case.id)?;
    let block = |plan: &Plan| -> Result<PlanBlock, Refusal> {
        let came = came.iter().find(|came| came.plan == Some(plan.id));
        let answers = case.follow_ups.iter().filter(|answer| answer.plan == plan.id);
        let later = all.iter().filter(|other| other.id != case.id && other.date >= plan.start);
        let later = later.flat_map(|other| {
            other.serves.iter().map(|serve: &ServeId| (serve.to_string(), day(other.date)))
        });
        let practice = library.practice_of(plan.id)?;
        Ok(PlanBlock {
            plan: PlanView::of(catalogue, plan, cautions),
            end: plan.ended.as_ref().map(|end| ended(end.how, day(end.day))).unwrap_or_default(),
            reason: plan.ended.as_ref().and_then(|end| end.reason.clone()),
            practice: practice.iter().map(|one| (one.id.to_string(), practised(one))).collect(),
            note: plan.note.clone(),
            came: came.map(|came| sentence(&came.describe())).unwrap_or_default(),
            follow_ups: answers.map(FollowUpView::of).collect(),
            later: later.collect(),
        })
    };
    // The newest first: that is what is worked on.
    case.plans.iter().rev().map(block).collect()
}

/// Logged practice in words.
fn practised(done: &Practice) -> String {
    let mut said = vec![count(usize::try_from(done.sessions).unwrap_or(usize::MAX), "session")];
    said.extend(done.repetitions.map(|number| format!("{number} repetitions")));
    said.extend(done.effort.map(|effort| format!("effort {effort} of 10")));
    said.extend(done.pain.map(|pain| match pain.place {
        Some(place) => format!("pain {} of 10, {}", pain.level, place.label()),
        None => format!("pain {} of 10", pain.level),
    }));
    said.extend(done.note.clone());
    format!("{}: {}", day(done.day), said.join("; "))
}

fn ended(how: Ending, day: String) -> String {
    match how {
        Ending::Ended => format!("ended {day}"),
        Ending::Withdrawn => format!("withdrawn {day}"),
        Ending::Replaced(by) => format!("replaced by {by}, {day}"),
    }
}

impl FollowUpView {
    fn of(answer: &FollowUp) -> Self {
        let mut said = Vec::new();
        said.extend(answer.rating.map(|rating| rated(rating).to_owned()));
        said.extend(answer.ball.speed_kmh.map(|speed| format!("{speed} km/h")));
        said.extend(answer.ball.first_serve_pct.map(|share| format!("{share} % first serves in")));
        said.extend(answer.ball.misses.map(|misses| {
            format!("misses: {} net, {} long, {} wide", misses.net, misses.long, misses.wide)
        }));
        said.extend(answer.sessions_done.map(|sessions| {
            format!("{} done", count(usize::try_from(sessions).unwrap_or(usize::MAX), "session"))
        }));
        if !answer.serves.is_empty() {
            said.push(count(answer.serves.len(), "serve"));
        }
        Self {
            id: answer.id.to_string(),
            day: day(answer.date),
            said: said.join("; "),
            note: answer.note.clone(),
        }
    }
}

/// A coach's rating in words.
fn rated(rating: i8) -> &'static str {
    match rating {
        ..=-2 => "worse",
        -1 => "a little worse",
        0 => "as before",
        1 => "better",
        2.. => "gone",
    }
}

impl ChangeView {
    pub(super) fn of(change: &Change) -> Self {
        let mut what = said(change);
        if let Some(undone) = change.undoes {
            what.push_str(&format!(" {undone}"));
        }
        if let Some(later) = change.undone_by {
            what.push_str(&format!(" (taken back by {later})"));
        }
        let lines = change.fields.iter().map(|field| field.line()).collect();
        Self { what: format!("{}: {what}", change.id), lines }
    }
}

/// Who changed what, and when.
pub(super) fn said(change: &Change) -> String {
    let by = change.by.as_ref().map_or_else(String::new, |by| format!(" by {by}"));
    let at = change.at.get(..16).unwrap_or(&change.at).replace('T', " ");
    format!("{}{by}, {at} UTC", change.kind.name().replace('_', " "))
}

/// Every change of a case, its plans and follow-ups, the last first.
fn changes(library: &Library, case: &Case) -> Result<Vec<Change>, Refusal> {
    let plans = case.plans.iter().map(|plan| ItemId::Plan(plan.id));
    let mut all: Vec<Change> = Vec::new();
    for item in plans.chain([ItemId::Case(case.id)]) {
        for change in library.history(item)? {
            if all.iter().all(|known| known.id != change.id) {
                all.push(change);
            }
        }
    }
    all.sort_by_key(|change| std::cmp::Reverse(change.id));
    Ok(all)
}

/// The last change that stands and is no taking back itself, if it can be taken back here: a
/// recording that came, moved or went takes more than this place shows with it.
fn last_of(changes: &[Change]) -> Option<&Change> {
    let mut standing = changes.iter().filter(|c| c.undoes.is_none() && c.undone_by.is_none());
    standing.next().filter(|change| {
        !matches!(change.kind, ChangeKind::Added | ChangeKind::Moved | ChangeKind::Removed)
    })
}

/// The change of a case that can be taken back.
pub(super) fn last_change(library: &Library, case: &Case) -> Result<Option<Change>, Refusal> {
    Ok(last_of(&changes(library, case)?).cloned())
}
