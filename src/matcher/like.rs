//! The search itself.

use std::cell::RefCell;
use std::collections::HashMap;
use std::collections::hash_map::Entry;

use curve_index::{DtwParams, ParamError, QueryError, Strategy, ValidDtwParams};
use jiff::Unit;
use jiff::civil::Date;
use thiserror::Error;

use super::unstored::{OwnSession, may_be_itself, own_session};
use super::{
    Answer, Candidates, Focus, Outcome, Precedent, Source, Why, WhyNone, explain_pair,
    incomparable, same_set_up, searched_first,
};
use crate::coaching::{Age, Sore, sore_on, standing};
use crate::find::{CurveSet, Filter, FilterError, NearServe};
use crate::intake::Looked;
use crate::library::{
    Case, CaseId, DayViews, Library, Player, PlayerId, RecordingId, ServeHead, ServeId, StoreError,
};
use crate::serve::{CURVE_FRAMES, Serve};
use crate::words::count;
use crate::work::{Stage, Stopped, Watch};

/// How far the alignment may shift time, in samples of a curve: a tenth of the serve.
pub const BAND_FRAMES: usize = 10;

/// The serve to find precedents for.
#[derive(Debug, Clone, Copy)]
pub enum Subject<'a> {
    /// A serve of this library.
    Stored(ServeId),
    /// A serve that is not stored.
    Unstored(Unstored<'a>),
}

impl Subject<'_> {
    /// How old whoever serves was on the day, as far as care goes; unknown for an unknown player.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn age(&self, library: &Library) -> Result<Age, StoreError> {
        let (player, day) = match *self {
            Self::Stored(serve) => {
                let head = library.serve_head(serve)?;
                (Some(head.player), head.date)
            }
            Self::Unstored(one) => (one.player, jiff::ZonedDateTime::now().date()),
        };
        let born = player.map(|player| library.player(player)).transpose()?.and_then(|p| p.born);
        Ok(Age::on(day, born))
    }
}

impl Subject<'_> {
    /// What hurts whoever serves too much today, by what was told and logged.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn sore(&self, library: &Library) -> Result<Vec<Sore>, StoreError> {
        let player = match *self {
            Self::Stored(serve) => Some(library.serve_head(serve)?.player),
            Self::Unstored(one) => one.player,
        };
        let today = jiff::ZonedDateTime::now().date();
        player.map_or_else(|| Ok(Vec::new()), |player| sore_on(library, player, today))
    }
}

/// A serve that is not stored, with what is known about it.
#[derive(Debug, Clone, Copy)]
pub struct Unstored<'a> {
    /// The serve.
    pub serve: &'a Serve,
    /// Where it comes from.
    pub source: Source,
    /// The player, if the library knows the player.
    pub player: Option<PlayerId>,
    /// The same recording, if it is stored as well; left out of the search with its day.
    pub recording: Option<RecordingId>,
    /// The day it was recorded, if somebody said it: the player's session of that day is left out.
    pub day: Option<Date>,
    /// The file it is in, and which of its serves, from 0: by the times between them the session they are
    /// of may be known.
    pub file: Option<(&'a Looked, usize)>,
}

impl<'a> Unstored<'a> {
    /// Serve `nth` (from 0) of a file that was looked at; `player`, if the library knows whose it is.
    ///
    /// # Panics
    /// If the file holds no such serve.
    #[must_use]
    pub fn of(looked: &'a Looked, nth: usize, player: Option<PlayerId>) -> Self {
        Self {
            serve: &looked.found.serves[nth],
            source: Source { capture: looked.recording.capture, view: looked.recording.view },
            player,
            recording: looked.stored.as_ref().map(|row| row.id),
            day: None,
            file: Some((looked, nth)),
        }
    }

    /// The same, recorded on this day.
    #[must_use]
    pub fn on(self, day: Option<Date>) -> Self {
        Self { day, ..self }
    }
}

/// A question for precedents.
#[derive(Debug, Clone)]
pub struct Query<'a> {
    /// The serve.
    pub subject: Subject<'a>,
    /// How many precedents.
    pub k: usize,
    /// Which parts of the body count how much.
    pub focus: Focus,
    /// Which serves take part.
    pub filter: Filter,
    /// Leave out all serves of the same player, not only those of the same recording.
    pub others: bool,
    /// At most one serve of each player: the closest.
    pub one_each: bool,
    /// Words that cannot be searched are an error instead of a note.
    pub strict: bool,
    /// How the search goes about it; the answer is the same.
    pub strategy: Strategy,
}

impl<'a> Query<'a> {
    /// The `k` closest to `subject`: even focus, no filter, own recording left out.
    #[must_use]
    pub fn new(subject: Subject<'a>, k: usize) -> Self {
        Self {
            subject,
            k,
            focus: Focus::default(),
            filter: Filter::default(),
            others: false,
            one_each: false,
            strict: false,
            strategy: Strategy::default(),
        }
    }
}

/// Why there is no answer.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum LikeError {
    /// The store answered with an error.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The filter asks for what this library does not have.
    #[error(transparent)]
    Filter(#[from] FilterError),
    /// The focus leaves no channel of this serve.
    #[error("focus: {0}")]
    Focus(#[from] ParamError),
    /// The serve's curve does not fit its channel set.
    #[error("the serve's curve does not fit {channel_set}: {source}; read the recording again")]
    Curve {
        /// The channel set.
        channel_set: String,
        /// The cause.
        source: QueryError,
    },
}

impl From<Stopped> for LikeError {
    fn from(stopped: Stopped) -> Self {
        Self::Store(stopped.into())
    }
}

/// The closest past serves, exactly: among all that pass the filter, `k` come back whenever `k`
/// do, those from comparable sources and views first.
///
/// The serve's own recording and case are left out: what was done on the same day is no past serve. Of a
/// serve that is not stored the case is known by player and day, or by the times between its serves; where
/// it is only likely, a note says so.
/// A serve that was filmed from several places comes once, by the view that is closest.
/// With [`Query::others`] the player is left out too. `k` of 0 gives
/// none. `watch` is told each precedent. Cost: one search of the channel set's index and one explanation per precedent.
///
/// # Errors
/// [`LikeError`]; an empty answer is no error and says why in [`Answer::notes`].
pub fn like(library: &Library, query: &Query<'_>, watch: &Watch) -> Result<Answer, LikeError> {
    watch.check()?;
    let stored;
    let (serve, source, own_player, own_recording, own_case) = match query.subject {
        Subject::Stored(id) => {
            let head = library.serve_head(id)?;
            stored = library.serve(id)?.serve;
            (&stored, source_of(&head), Some(head.player), Some(head.recording), Some(head.case))
        }
        Subject::Unstored(given) => {
            let case = given.recording.map(|id| library.case_of_recording(id)).transpose()?;
            (given.serve, given.source, given.player, given.recording, case)
        }
    };
    watch.check()?;
    let _one_state = if library.is_writable() { None } else { library.hold_state()? };
    if query.strict {
        library.refuse_unsearchable(&query.filter)?;
    }
    let kept = library.kept_serves(&query.filter)?;
    let curve = &serve.curve;
    let weights = query.focus.weights(&curve.channel_set, curve.channels);
    let params =
        DtwParams::new(curve.channels).band_frames(BAND_FRAMES).weights(&weights).check()?;

    watch.check()?;
    let mut own = own_case.map_or(Ok(Vec::new()), |case| library.serves_of_case(case))?;
    if let Some(recording) = own_recording {
        own.extend(library.serves_in(recording)?);
    }
    if let (true, Some(player)) = (query.others, own_player) {
        own.extend(library.serves_of(player)?);
    }
    let session = match query.subject {
        Subject::Unstored(given) if own_case.is_none() => own_session(library, &given, watch)?,
        _ => OwnSession::default(),
    };
    own.extend(session.serves);
    let candidates = Candidates::of(&kept, own, source, &curve.channel_set);
    let foreign = candidates.foreign;
    let mut answer = Answer {
        precedents: Vec::new(),
        left_out: candidates.left_out,
        searched: candidates.same + candidates.other,
        none: None,
        comparable: candidates.same,
        searched_first: searched_first(source),
        notes: Vec::new(),
        cut: kept.cut.clone(),
    };
    if let Some(set) = library.curves(&curve.channel_set)? {
        let whose = Whose::new(library, query.one_each);
        let mut found: Vec<NearServe> = Vec::new();
        for comparable in [true, false] {
            let among = candidates.among(&set, comparable);
            let among = among.view();
            let nearest = |k| {
                watch.check()?;
                set.nearest_among(&curve.values, &params, k, among, query.strategy).map_err(
                    |source| LikeError::Curve { channel_set: curve.channel_set.clone(), source },
                )
            };
            let wanted = query.k - found.len();
            if wanted == 0 {
                break;
            }
            let taken: Vec<One> = found
                .iter()
                .map(|near| whose.one(near.serve, kept.heads.player_of(near.serve)))
                .collect::<Result<_, _>>()?;
            let first_each = |serves: Vec<NearServe>| -> Result<Vec<NearServe>, StoreError> {
                let mut seen = taken.clone();
                let mut first = Vec::new();
                for near in serves {
                    let one = whose.one(near.serve, kept.heads.player_of(near.serve))?;
                    if first.len() < wanted && !seen.contains(&one) {
                        seen.push(one);
                        first.push(near);
                    }
                }
                Ok(first)
            };
            // The first of each among the closest is its closest: widen until enough are met or
            // nobody is left.
            let mut depth = wanted;
            found.extend(loop {
                let closest = nearest(depth)?;
                let exhausted = closest.len() < depth;
                let kept = first_each(closest)?;
                if exhausted || kept.len() >= wanted {
                    break kept;
                }
                depth *= 4;
            });
        }
        let build =
            PrecedentBuilder { library, set: &set, serve, source, own_player, params: &params };
        let all = found.len();
        for (done, near) in found.into_iter().enumerate() {
            let rank = answer.precedents.len() + 1;
            let head = library.serve_head(near.serve)?;
            answer.precedents.push(build.precedent(rank, near, &head)?);
            watch.step(Stage::Precedents, done + 1, all)?;
        }
    }
    let mut told = session.notes;
    if let Subject::Unstored(given) = query.subject {
        told.extend(may_be_itself(library, &given, &answer.precedents)?);
    }
    answer.none = why_none(&answer, foreign, &curve.channel_set, query);
    answer.notes = notes(&answer, foreign, &curve.channel_set, query, source.view.is_none());
    answer.notes.extend(told);
    Ok(answer)
}

/// What comes once in an answer.
#[derive(Debug, Clone, PartialEq, Eq)]
enum One {
    /// A player's closest serve.
    Player(Option<PlayerId>),
    /// A serve, by its first view where it was filmed from several places.
    Stroke(ServeId),
}

/// Which serves count as one in an answer.
struct Whose<'a> {
    library: &'a Library,
    one_each: bool,
    views: RefCell<HashMap<CaseId, DayViews>>,
}

impl<'a> Whose<'a> {
    fn new(library: &'a Library, one_each: bool) -> Self {
        Self { library, one_each, views: RefCell::default() }
    }

    fn one(&self, serve: ServeId, player: Option<PlayerId>) -> Result<One, StoreError> {
        if self.one_each {
            return Ok(One::Player(player));
        }
        let case = self.library.serve_head(serve)?.case;
        let mut known = self.views.borrow_mut();
        let views = match known.entry(case) {
            Entry::Occupied(views) => views.into_mut(),
            Entry::Vacant(free) => free.insert(self.library.views_of_day(case)?),
        };
        Ok(One::Stroke(views.stroke(serve)))
    }
}

fn source_of(head: &ServeHead) -> Source {
    Source { capture: head.capture, view: head.view }
}

/// Why nothing could be searched; `None` where something could.
fn why_none(
    answer: &Answer,
    foreign: usize,
    channel_set: &str,
    query: &Query<'_>,
) -> Option<WhyNone> {
    if answer.searched > 0 {
        return None;
    }
    let filtered = !answer.cut.terms.is_empty();
    Some(match answer.cut.why_empty("serves") {
        Some(why) => WhyNone::Cut { why, filtered },
        None if foreign > 0 => WhyNone::OtherChannels {
            serves: foreign,
            channel_set: channel_set.to_owned(),
            filtered,
        },
        None => WhyNone::OwnAlone {
            filtered: filtered.then_some(answer.left_out),
            player: query.others,
        },
    })
}

fn notes(
    answer: &Answer,
    foreign: usize,
    channel_set: &str,
    query: &Query<'_>,
    open_view: bool,
) -> Vec<String> {
    let mut notes = Vec::new();
    notes.extend(answer.none.as_ref().map(ToString::to_string));
    if foreign > 0 && answer.searched > 0 {
        notes.push(format!(
            "{foreign} serves have different channels from this one ({channel_set}) and were not \
             compared"
        ));
    }
    if let (Some(first), true) = (&answer.searched_first, answer.searched > 0) {
        let mut note = format!(
            "searched first: {} of {}, {first}",
            answer.comparable,
            count(answer.searched, "serve")
        );
        if open_view {
            note.push_str("; say where it was filmed from, and those seen from there come first");
        }
        notes.push(note);
    }
    let behind = answer.precedents.iter().filter(|one| !one.comparable).count();
    if behind > 0 {
        notes.push(format!(
            "{behind} of {} come from another kind of source or view and are listed after the \
             comparable ones",
            answer.precedents.len()
        ));
    }
    if !answer.cut.ignored.is_empty() {
        let all: Vec<_> = answer.cut.ignored.iter().map(ToString::to_string).collect();
        notes.push(format!("words left out of the search: {}", all.join(", ")));
    }
    if !query.focus.is_even() {
        notes.push(format!(
            "distances are weighted ({}) and can only be compared under the same focus",
            query.focus
        ));
    }
    notes
}

/// What every precedent of one answer shares.
struct PrecedentBuilder<'a> {
    library: &'a Library,
    set: &'a CurveSet,
    serve: &'a Serve,
    source: Source,
    own_player: Option<PlayerId>,
    params: &'a ValidDtwParams,
}

impl PrecedentBuilder<'_> {
    fn precedent(
        &self,
        rank: usize,
        near: NearServe,
        head: &ServeHead,
    ) -> Result<Precedent, LikeError> {
        let player = self.library.player(head.player)?;
        let case = self.library.case(head.case)?;
        let because = incomparable(self.source, source_of(head));
        let same_player = Some(head.player) == self.own_player;
        let weight: f64 = self.params.weights().iter().sum();
        Ok(Precedent {
            rank,
            serve: head.id,
            case: head.case,
            player: head.player_code.clone(),
            player_id: head.player,
            recording: head.recording,
            distance: near.cost.sqrt(),
            spreads_apart: (near.cost / (weight * CURVE_FRAMES as f64)).sqrt(),
            same_player,
            same_set_up: same_player && same_set_up(self.source, source_of(head)),
            comparable: because.is_none(),
            incomparable_because: because,
            date: head.date,
            hand: player.hand.unwrap_or(head.hand),
            level: player.level,
            age: age(&player, head),
            stature_m: player.stature_m,
            capture: head.capture,
            view: head.view,
            setting: head.setting,
            serve_type: head.serve_type,
            faults: standing(&case.labels),
            outcome: outcome(&case),
            origin: self.library.origin(head.case)?,
            plans: case.plans,
            follow_ups: case.follow_ups,
            why: self.why(head.id),
        })
    }

    fn why(&self, other: ServeId) -> Option<Why> {
        let curve = self.set.curve(other)?;
        let serve = self.serve;
        explain_pair(&serve.curve, &serve.figures.event_samples, curve.values(), self.params)
    }
}

/// Age reached in the year of the recording.
fn age(player: &Player, head: &ServeHead) -> Option<i16> {
    player.born.map(|born| head.date.year() - born.year())
}

fn outcome(case: &Case) -> Option<Outcome> {
    let last = case.follow_ups.iter().max_by_key(|follow_up| (follow_up.date, follow_up.id))?;
    let change = |then: Option<f64>, now: Option<f64>| Some(then? - now?);
    let after_days = case.date.until((Unit::Day, last.date)).map_or(0, |span| span.get_days());
    Some(Outcome {
        after_days,
        rating: last.rating,
        speed_change_kmh: change(last.ball.speed_kmh, case.ball.speed_kmh),
        first_serve_change_pct: change(last.ball.first_serve_pct, case.ball.first_serve_pct),
    })
}
