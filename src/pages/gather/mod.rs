//! From the library to everything a review shows.

mod drawn;
mod film;
mod followed;
mod pictures;
mod progress;
mod views;

pub use film::{FilmError, Footage, footage, make_film};
pub(super) use followed::rows;
pub use pictures::clip_pictures;
pub(crate) use pictures::{MissingClip, body_area, clip_file};
pub use progress::{course, describe_changes, describe_curves, describe_result};

use std::rc::Rc;

use jiff::civil::Date;

use super::{
    Asked, DrawnFacts, MeasureRow, OutcomeFacts, PlanFacts, PlayerFacts, Precedents, ReviewData,
    ReviewFault, ServeFacts, ShownPrecedent,
};
use crate::catalogue::{Catalogue, Finding, Suspicion, describe_chance};
use crate::coaching::{Cautions, ShownDrill, sore_on, standing, told_answers};
use crate::drawing::channel::quantile;
use crate::drawing::{Channel, Likeness, Pictures, channels_of};
use crate::evidence::Evidence;
use crate::find::Filter;
use crate::intake::Looked;
use crate::judgement::{Chosen, Judged, Judging, Told, judge_unstored, judge_with, unstored_case};
use crate::library::{
    Case, CheckIn, FaultLabel, LabelState, Library, Named, Plan, Player, PlayerId, ServeId,
    ServeRow, StoreError,
};
use crate::looks::Snapshot;
use crate::matcher::{self, Answer, LikeError, Query, Subject, Unstored};
use crate::motion::Capture;
use crate::serve::{
    Curve, MEASURES, NET_HEIGHT_M, Reading, Serve, falling_height_m, straight_line_height_m,
};
use crate::work::{Stage, Watch};

/// What to gather.
#[derive(Debug, Clone)]
pub struct Wanted<'a> {
    /// The serve under review.
    pub serve: Reviewed<'a>,
    /// How many precedents.
    pub k: usize,
    /// Which cases take part.
    pub filter: Filter,
    /// The day the review is made for: the plans in force then are the player's.
    pub on: Date,
}

/// The serve under review.
#[derive(Debug, Clone, Copy)]
pub enum Reviewed<'a> {
    /// One of the library.
    Stored(ServeId),
    /// One of a file that is not stored.
    File {
        /// The file.
        looked: &'a Looked,
        /// Which of its serves, from 0.
        nth: usize,
        /// Whose it is, if the library knows.
        player: Option<PlayerId>,
    },
}

impl<'a> Reviewed<'a> {
    fn subject(self) -> Subject<'a> {
        match self {
            Self::Stored(id) => Subject::Stored(id),
            Self::File { looked, nth, player } => {
                Subject::Unstored(Unstored::of(looked, nth, player))
            }
        }
    }
}

/// What is known of the serve itself and its day, stored or not.
struct About {
    serve: Serve,
    facts: ServeFacts,
    player: PlayerFacts,
    stature_m: Option<f64>,
    case: Case,
    judging: Judging,
    pictures: Option<Pictures>,
    drawn: Vec<DrawnFacts>,
}

impl About {
    fn of(
        snapshot: &Snapshot<'_>,
        catalogue: &Catalogue,
        wanted: &Wanted<'_>,
        evidence: &Evidence,
        watch: &Watch,
    ) -> Result<Self, LikeError> {
        let library = snapshot.library();
        match wanted.serve {
            Reviewed::Stored(id) => {
                let row = snapshot.serve(id)?;
                let recording = library.recording(row.recording)?;
                let case = library.case(row.case)?;
                let player = library.player(row.player)?;
                Ok(Self {
                    facts: ServeFacts {
                        id: id.to_string(),
                        date: recording.date,
                        source: source(recording.capture, recording.rate_hz),
                        setting: recording.setting,
                        serve_type: recording.serve_type,
                        notes: Vec::new(),
                    },
                    player: player_facts(&player, &row.serve, recording.date),
                    stature_m: player.stature_m,
                    judging: judge_with(snapshot, catalogue, &case, wanted.on, evidence)?,
                    pictures: pictures::pictures(library, &row, &recording, watch)?,
                    drawn: drawn::drawn(library, &row, &recording, watch)?,
                    case,
                    serve: row.serve.clone(),
                })
            }
            Reviewed::File { looked, nth, player } => {
                let known = player.map(|id| library.player(id)).transpose()?;
                let serve = looked.found.serves[nth].clone();
                let case = unstored_case(catalogue, looked, known.as_ref());
                let player = known.clone().unwrap_or_else(|| Player::new(UNKNOWN));
                let told = Told {
                    sore: known.as_ref().map_or_else(
                        || Ok(Vec::new()),
                        |player| sore_on(library, player.id, wanted.on),
                    )?,
                    player: known.clone(),
                    ..Told::default()
                };
                let judging = judge_unstored(catalogue, looked, told, &case, evidence);
                let cut = looked.clip.as_ref().map(|seen| {
                    clip_pictures(&looked.file, &seen.kept, &serve, &looked.recording, watch)
                });
                Ok(Self {
                    facts: ServeFacts {
                        id: format!("{} of a file that is not stored", nth + 1),
                        date: looked.file_date,
                        source: source(looked.recording.capture, looked.recording.rate_hz),
                        setting: None,
                        serve_type: None,
                        notes: vec![NOT_STORED.to_owned()],
                    },
                    player: player_facts(&player, &serve, looked.file_date),
                    stature_m: player.stature_m,
                    pictures: cut.transpose()?,
                    drawn: Vec::new(),
                    judging,
                    case,
                    serve,
                })
            }
        }
    }
}

/// Stands for the code of a player whom nobody named.
const UNKNOWN: &str = "player not named";
/// What a reader must know of a review of a file.
const NOT_STORED: &str = "this serve is not in the library: the day is the file's own; a plan, \
    your own judgement, answers about grip and ball and earlier reviews come with a stored one";

fn source(capture: Capture, rate_hz: f64) -> String {
    format!("{}, {rate_hz:.0} Hz", capture.describe())
}

/// Gathers what a review of one serve shows: its figures and readings, the faults of its case as
/// they stand, its precedents with their cases, and its plan.
///
/// A file that is not stored has no case: its faults are those the program suspects in it, and it
/// has no plan and no earlier reviews; the notes of [`ReviewData::serve`] say so.
///
/// # Errors
/// [`LikeError`] if the serve is unknown, the store cannot be read or the work is stopped.
pub fn gather(
    library: &Library,
    catalogue: &Catalogue,
    wanted: &Wanted<'_>,
    watch: &Watch,
) -> Result<ReviewData, LikeError> {
    watch.check()?;
    let snapshot = Snapshot::new(library);
    let mut query = Query::new(wanted.serve.subject(), wanted.k);
    query.filter = wanted.filter.clone();
    // One vote each: nine serves of one player are one precedent, not nine.
    query.one_each = true;
    let answer = matcher::like(library, &query, watch)?;
    let mut evidence = Evidence::gather(&snapshot, catalogue, query.subject, watch)?;
    let About { serve, mut facts, player, stature_m, case, judging, pictures, drawn } =
        About::of(&snapshot, catalogue, wanted, &evidence, watch)?;

    let neighbours: Vec<Rc<ServeRow>> = answer
        .precedents
        .iter()
        .map(|precedent| snapshot.serve(precedent.serve))
        .collect::<Result<_, _>>()?;
    let others = match wanted.serve {
        Reviewed::Stored(id) => views::others(&snapshot, id)?,
        Reviewed::File { .. } => Vec::new(),
    };
    let mut measures = measures(catalogue, &serve, &neighbours);
    views::by_best_view(&mut measures, &others);
    let views = others
        .iter()
        .map(|other| other.facts(&snapshot, &serve, watch))
        .collect::<Result<_, _>>()?;
    let stored = matches!(wanted.serve, Reviewed::Stored(_));
    let witnesses = match wanted.serve {
        Reviewed::Stored(id) => {
            let moments = library.moments(&*snapshot.serve(id)?)?;
            moments.into_iter().map(|moment| moment.witness).collect()
        }
        Reviewed::File { .. } => Vec::new(),
    };
    let plans = case.plans_in_force(wanted.on);
    let mut faults = faults(catalogue, &judging, &measures);
    let limiting_id = judging.judgement.order.first().map(|one| one.fault.clone());
    let second = judging.judgement.second.map(|at| faults.remove(at));
    let limiting = (!faults.is_empty()).then(|| faults.remove(0));
    let mut channels = ribbons(&serve, &neighbours);
    if let Some(id) = &limiting_id {
        put_first(&mut channels, catalogue, id);
    }
    if let Some(id) = &limiting_id {
        evidence.weight_by_nearness(library, id, watch)?;
    }
    let worked = limiting_id.as_deref().and_then(|id| evidence.worked(catalogue, id));
    facts.notes.extend(notes(&serve, stature_m, &case));
    Ok(ReviewData {
        serve: facts,
        player,
        figures: Some(serve.figures.clone()),
        events: serve.events.to_vec(),
        witnesses,
        pictures,
        views,
        drawn,
        limiting,
        second,
        other_faults: faults,
        unseen_faults: unseen(catalogue, &judging),
        channels,
        measures,
        precedents: precedents(
            &snapshot,
            catalogue,
            &answer,
            limiting_id.as_deref(),
            wanted,
            watch,
        )?,
        plan: plan(catalogue, &plans),
        evidence: worked.as_ref().map(rows).unwrap_or_default(),
        evidence_notes: worked.map(|worked| worked.notes).unwrap_or_default(),
        progress: if stored {
            let gathering = progress::Gathering { snapshot: &snapshot, catalogue, watch };
            progress::progress(gathering, &case, limiting_id.as_deref())?
        } else {
            None
        },
        with_ball: progress::with_ball(&snapshot, catalogue, &case, &judging)?,
        asked: asked(&case, &judging.check_in),
        cautions: cautions(catalogue, &case, &judging),
    })
}

/// What a careful reader must know, and what the contact height means for the ball.
fn notes(serve: &Serve, stature_m: Option<f64>, case: &Case) -> Vec<String> {
    let mut notes = serve.notes.clone();
    let ratio = serve.readings.iter().find_map(|entry| match entry.reading {
        Reading::Value { value, .. } if entry.measure == "racket_height_contact" => Some(value),
        _ => None,
    });
    if let (Some(ratio), Some(stature)) = (ratio, stature_m) {
        let mut note = format!(
            "contact at about {:.2} m; a straight line over the middle of the net into the box \
             needs {:.2} m",
            ratio * stature,
            straight_line_height_m(0.0)
        );
        if let Some(kmh) = case.ball.speed_kmh {
            let least = falling_height_m(kmh / 3.6);
            note.push_str(&if least > NET_HEIGHT_M {
                format!(", a ball at {kmh:.0} km/h that only falls {least:.2} m")
            } else {
                format!(", a ball at {kmh:.0} km/h has room to be hit upwards")
            });
        }
        notes.push(note);
    }
    notes
}

fn player_facts(player: &Player, serve: &Serve, on: Date) -> PlayerFacts {
    PlayerFacts {
        code: player.code.clone(),
        hand: serve.hand,
        level: player.level,
        age_band: player.born.map(|born| {
            // Two-year bands say enough for a coach and little about a child.
            let age = on.year() - born.year();
            let low = age - age.rem_euclid(2);
            format!("{low} to {}", low + 1)
        }),
        stature_m: player.stature_m,
    }
}

/// Every measure of the serve, with the band published for the same definition and the band of
/// the precedents.
fn measures(catalogue: &Catalogue, serve: &Serve, neighbours: &[Rc<ServeRow>]) -> Vec<MeasureRow> {
    serve
        .readings
        .iter()
        .filter_map(|entry| {
            let def = MEASURES.iter().find(|def| def.id == entry.measure)?;
            let mut told = MeasureRow::new(def, entry.reading.clone());
            told.reference = published(catalogue, def.source);
            let mut values: Vec<f64> = neighbours
                .iter()
                .flat_map(|other| &other.serve.readings)
                .filter(|other| other.measure == entry.measure)
                .filter_map(|other| match other.reading {
                    Reading::Value { value, .. } => Some(value),
                    Reading::NotMeasurable { .. } => None,
                })
                .collect();
            // Fewer than three are no band.
            if values.len() >= 3 {
                values.sort_by(f64::total_cmp);
                told.precedents = quantile(&values, 0.1).zip(quantile(&values, 0.9));
            }
            Some(told)
        })
        .collect()
}

/// Mean plus and minus one standard deviation of the first published row whose definition the
/// measure states as its own ("definition as R025 ..."); rows that are only near do not count.
fn published(catalogue: &Catalogue, source: &str) -> Option<(f64, f64, String)> {
    let named = source.strip_prefix("definition as ")?;
    let named = named.split(['(', ';']).next()?;
    named.split(" and ").find_map(|id| {
        let row = catalogue.source(id.trim())?;
        let (mean, sd): (f64, f64) = (row.mean.parse().ok()?, row.sd.parse().ok()?);
        Some((mean - sd, mean + sd, format!("{} ({})", row.citation, row.population)))
    })
}

/// Faults of the case in the order of its judgement, the limiting one first.
fn faults(catalogue: &Catalogue, judging: &Judging, measures: &[MeasureRow]) -> Vec<ReviewFault> {
    let judgement = &judging.judgement;
    let facts = |(at, (judged, label)): (usize, (&Judged, &FaultLabel))| {
        let fault = catalogue.fault(&judged.fault);
        let suspicion = judging.suspicions.iter().find(|s| s.fault == judged.fault);
        let shown = fault.map_or(&[][..], |fault| &fault.measures);
        ReviewFault {
            name: judged.name.clone(),
            to_player: fault.map_or_else(|| judged.name.clone(), |fault| fault.to_player.clone()),
            why: judged.why.clone(),
            score: suspicion.and_then(Suspicion::score),
            decided: decided(label.state),
            measures: shown
                .iter()
                .filter_map(|shows| {
                    let def = MEASURES.iter().find(|def| def.id == shows.measure)?;
                    measures.iter().position(|row| row.name == def.name)
                })
                .collect(),
            order: Some(if at == 0 {
                format!("{} {}", first_words(judging), judged.reasons.join(" "))
            } else {
                judged.reasons.join(" ")
            }),
            offers: if at == 0 { judging.offers.clone() } else { Vec::new() },
        }
    };
    judgement.order.iter().zip(&judging.labels).enumerate().map(facts).collect()
}

fn decided(state: LabelState) -> Option<String> {
    match state {
        LabelState::Suspected => None,
        LabelState::Confirmed => Some("confirmed by the coach".to_owned()),
        LabelState::Added => Some("seen by the coach".to_owned()),
        LabelState::Limiting => Some("the coach's choice".to_owned()),
        LabelState::Rejected => Some("rejected by the coach".to_owned()),
    }
}

/// Who settled on the limiting fault, and how to overrule it.
fn first_words(judging: &Judging) -> String {
    let judgement = &judging.judgement;
    match (judgement.chosen, &judgement.program_first) {
        (Chosen::Program, _) => {
            "First in the program's order; label another as the limiting fault to overrule it."
                .to_owned()
        }
        (Chosen::Coach, None) => "The coach's choice, and the program's.".to_owned(),
        (Chosen::Plan, None) => "The plan works on it; the program would too.".to_owned(),
        (Chosen::Coach, Some(other)) => {
            format!("The coach's choice; the program would have begun with: {other}.")
        }
        (Chosen::Plan, Some(other)) => {
            format!("The plan works on it; the program would have begun with: {other}.")
        }
    }
}

/// Faults that today's serves cannot show, or not surely enough, and nobody says are there.
fn unseen(catalogue: &Catalogue, judging: &Judging) -> Vec<(String, String)> {
    let stands = |fault: &str| judging.labels.iter().any(|label| label.fault == fault);
    judging
        .suspicions
        .iter()
        .filter(|suspicion| !stands(&suspicion.fault))
        .filter_map(|suspicion| match &suspicion.finding {
            Finding::NotDetectable { why, .. } => {
                Some((catalogue.fault(&suspicion.fault)?.name.clone(), why.clone()))
            }
            Finding::Scored { chance, .. } if suspicion.to_look_at() => Some((
                catalogue.fault(&suspicion.fault)?.name.clone(),
                format!(
                    "to look at, not suspected: {} by these readings, and a suspicion takes 8",
                    describe_chance(*chance)
                ),
            )),
            _ => None,
        })
        .collect()
}

/// One ribbon per channel: this serve, and the precedents re-timed to its events.
fn ribbons(serve: &Serve, neighbours: &[Rc<ServeRow>]) -> Vec<Channel> {
    let others: Vec<(&Curve, [f32; 6])> = neighbours
        .iter()
        .map(|other| (&other.serve.curve, other.serve.figures.event_samples))
        .collect();
    channels_of(&serve.curve, &serve.figures.event_samples, &others)
}

/// Brings the channel that shows a fault best to the front.
fn put_first(channels: &mut [Channel], catalogue: &Catalogue, fault: &str) {
    let wanted = channel_of_fault(catalogue, fault);
    if let Some(at) = channels.iter().position(|channel| Some(&*channel.name) == wanted) {
        channels[..=at].rotate_right(1);
    }
}

/// Name of the channel that shows a fault best: the one its first measure reads.
#[must_use]
pub fn channel_of_fault(catalogue: &Catalogue, fault: &str) -> Option<&'static str> {
    let shown = catalogue.fault(fault).and_then(|fault| fault.measures.first())?;
    Some(match shown.measure.as_str() {
        m if m.starts_with("front_knee") || m.starts_with("knee") => "front_knee_flexion",
        m if m.starts_with("back_knee") => "back_knee_flexion",
        m if m.starts_with("tossing_elbow") => "tossing_elbow_flexion",
        m if m.starts_with("tossing") => "tossing_wrist_height",
        m if m.contains("opening") || m.contains("trunk_turn") => "shoulder_turn",
        m if m.contains("elbow") => "hitting_elbow_flexion",
        m if m.contains("side_tilt") || m.contains("shoulder_tilt") => "trunk_side",
        m if m.contains("trunk") => "trunk_forward",
        m if m.contains("contact_height") || m.contains("wrist") => "hitting_wrist_height",
        m if m.contains("elevation") || m.contains("upper_arm") => "hitting_arm_elevation",
        _ => return None,
    })
}

fn precedents(
    snapshot: &Snapshot<'_>,
    catalogue: &Catalogue,
    answer: &Answer,
    limiting: Option<&str>,
    wanted: &Wanted<'_>,
    watch: &Watch,
) -> Result<Precedents, StoreError> {
    let mut found = Vec::new();
    for (done, precedent) in answer.precedents.iter().enumerate() {
        watch.step(Stage::Precedents, done, answer.precedents.len())?;
        let figures = snapshot.serve(precedent.serve)?.serve.figures.clone();
        let likeness = precedent.why.as_ref().map_or_else(Likeness::default, |why| Likeness {
            parts: crate::serve::BodyPart::ALL
                .into_iter()
                .filter_map(|part| {
                    let share = why.parts.iter().find(|share| share.name == part.name())?;
                    Some((part, share.share))
                })
                .collect(),
            phases: why.phases.iter().map(|phase| (phase.label.to_owned(), phase.share)).collect(),
        });
        let mut context = Vec::new();
        context.extend(precedent.age.map(|age| format!("{age} years")));
        let band = precedent.origin.as_ref().and_then(|origin| origin.age);
        context.extend(band.map(|(from, to)| format!("{from} to {to} years")));
        context.extend(precedent.stature_m.map(|stature| format!("{stature:.2} m")));
        context.extend(precedent.serve_type.map(|kind| kind.name().to_owned()));
        context.push(precedent.capture.describe().to_owned());
        context.extend(precedent.view.map(|view| format!("seen {}", view.seen())));
        context.extend(precedent.origin.as_ref().map(|origin| origin.describe()));
        found.push(ShownPrecedent {
            player: precedent.player.clone(),
            serve: precedent.serve.to_string(),
            case: precedent.case.to_string(),
            date: precedent.date,
            own: precedent.same_player,
            same_set_up: precedent.same_set_up,
            poor_because: precedent.incomparable_because.clone(),
            level: precedent.level,
            hand: Some(precedent.hand),
            context: context.join(", "),
            distance: precedent.distance,
            likeness,
            faults: precedent
                .faults
                .iter()
                .map(|label| catalogue.fault_name(&label.fault))
                .collect(),
            same_fault: limiting
                .is_some_and(|id| precedent.faults.iter().any(|label| label.fault == id)),
            drills: precedent
                .plans
                .iter()
                .flat_map(|plan| ShownDrill::of_plan(catalogue, plan))
                .collect(),
            outcomes: outcomes(snapshot, catalogue, precedent)?,
            figures: Some(figures),
        });
    }
    Ok(Precedents {
        searched: answer.searched,
        comparable: answer.comparable,
        searched_first: answer.searched_first.clone(),
        filter: (!wanted.filter.is_empty()).then(|| wanted.filter.to_string()),
        none: answer.none.clone(),
        found,
    })
}

/// What came of a precedent's plans.
fn outcomes(
    snapshot: &Snapshot<'_>,
    catalogue: &Catalogue,
    precedent: &matcher::Precedent,
) -> Result<Vec<OutcomeFacts>, StoreError> {
    let all = snapshot.came_of_plans(catalogue, precedent.player_id, precedent.case)?;
    let told = all.into_iter().map(|came| OutcomeFacts {
        fault: catalogue.fault_name(&came.fault),
        verdict: came.verdict,
        practised: came.practised,
    });
    Ok(told.collect())
}

/// The plans in force as one: of a second plan the drills follow, the earlier review counts.
fn plan(catalogue: &Catalogue, plans: &[&Plan]) -> Option<PlanFacts> {
    let first = plans.first()?;
    let notes: Vec<&str> = plans.iter().filter_map(|plan| plan.note.as_deref()).collect();
    Some(PlanFacts {
        start: Some(first.start),
        review_on: plans.iter().filter_map(|plan| plan.review_on).min(),
        drills: plans.iter().flat_map(|plan| ShownDrill::of_plan(catalogue, plan)).collect(),
        note: (!notes.is_empty()).then(|| notes.join(" ")),
    })
}

/// Grip, ball flight and what the player tells, answered or still to be asked.
fn asked(case: &Case, told: &CheckIn) -> Vec<Asked> {
    let bevel = |bevel: Option<u8>| bevel.map(|bevel| format!("bevel {bevel}"));
    let entry = |what: &str, answer: Option<String>| Asked { what: what.to_owned(), answer };
    let told = told_answers(told).into_iter().map(|(what, answer)| entry(what, answer));
    let mut asked = vec![
        entry(
            "grip: bevel under the index knuckle",
            bevel(case.grip.and_then(|grip| grip.index_knuckle)),
        ),
        entry("grip: bevel under the heel pad", bevel(case.grip.and_then(|grip| grip.heel_pad))),
        entry("serve speed", case.ball.speed_kmh.map(|speed| format!("{speed:.0} km/h"))),
        entry("first serves in", case.ball.first_serve_pct.map(|pct| format!("{pct:.0} %"))),
        entry(
            "where misses go",
            case.ball
                .misses
                .map(|m| format!("{} into the net, {} long, {} wide", m.net, m.long, m.wide)),
        ),
    ];
    asked.extend(told);
    asked
}

fn cautions(catalogue: &Catalogue, case: &Case, judging: &Judging) -> Cautions {
    let mut cautions = Cautions::of(catalogue, judging.age).hurting(&judging.sore);
    for label in standing(&case.labels) {
        cautions.fault(catalogue, &label.fault);
    }
    cautions
}
