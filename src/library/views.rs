//! Several clips of one day that show the same serves: found from the times between contacts, unless
//! somebody said it.
//!
//! Nothing of what is found is stored: it follows from contacts, and with them it is put right. A serve
//! that several clips show is one *stroke*, named after its first view.

use std::collections::BTreeSet;

use rusqlite::OptionalExtension;

use super::marks::witness;
use super::read::named;
use super::stored::read_contact_s;
use super::{
    Author, CaseId, Library, RecordingId, RecordingRow, ServeId, ServeType, Setting, StoreError,
    Witness,
};
use crate::motion::{Capture, Side, View};
use crate::remedy::Remedy;
use crate::serve::{
    ClipMatch, ClipsCompared, EventKind, TimedContact, compare_clips, laid_at, usual_error_s,
};

/// A serve of a day as far as it can be known again in another clip.
#[derive(Debug, Clone, PartialEq)]
pub struct SeenServe {
    /// The serve; `None` of one that is not stored.
    pub serve: Option<ServeId>,
    /// Its recording; `None` of one that is not stored.
    pub recording: Option<RecordingId>,
    /// How joints were obtained.
    pub capture: Capture,
    /// Camera view.
    pub view: Option<View>,
    /// What the recording shows.
    pub setting: Option<Setting>,
    /// Intended ball.
    pub serve_type: Option<ServeType>,
    /// The hand that held the racket.
    pub hand: Side,
    /// Contact on the clip's clock.
    pub contact: TimedContact,
}

impl SeenServe {
    /// A serve of a recording like this, contact as the joints show it.
    #[must_use]
    pub fn by_joints(row: &RecordingRow, hand: Side, contact_s: f64) -> Self {
        let error_s = usual_error_s(EventKind::Contact, row.capture, row.rate_hz);
        Self {
            serve: None,
            recording: Some(row.id),
            capture: row.capture,
            view: row.view,
            setting: row.setting,
            serve_type: row.serve_type,
            hand,
            contact: TimedContact { time_s: contact_s, error_s },
        }
    }
}

/// What somebody said of two clips.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SaidClips {
    /// The one with the smaller id.
    pub one: RecordingId,
    /// The other.
    pub other: RecordingId,
    /// A serve of the one and of the other that are the same; `None`: they show different serves.
    pub same: Option<(ServeId, ServeId)>,
    /// Who says so.
    pub by: Author,
}

/// What two clips of a day are to each other, serves by their place in the list that was asked about.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipPair {
    /// The one that comes first; `None` of one that is not stored.
    pub one: Option<RecordingId>,
    /// The other.
    pub other: Option<RecordingId>,
    /// What they are.
    pub found: ClipsCompared,
    /// Who said so, where somebody did.
    pub said: Option<Author>,
}

/// Which serves of a day are views of one stroke.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SameServes {
    /// For each serve the place of the first view of its stroke.
    pub strokes: Vec<usize>,
    /// Every two clips that show the same serves, may show them, or of which somebody said that they do
    /// not.
    pub clips: Vec<ClipPair>,
}

/// Which of these serves of one player and day are views of one stroke. Serves of a recording stand
/// together, in order of time.
///
/// Clips are compared where one camera at least took one of them, the same hand serves, both with a
/// ball or both without, and neither the intended ball differs; what somebody said comes first. Of
/// three clips, two that are laid beside the third lie beside each other.
#[must_use]
pub fn same_serves(seen: &[SeenServe], said: &[SaidClips]) -> SameServes {
    let clips = seen.chunk_by(|a, b| a.recording == b.recording);
    let clips: Vec<&[SeenServe]> = clips.collect();
    let mut from = Vec::with_capacity(clips.len());
    let mut next = 0;
    for clip in &clips {
        from.push(next);
        next += clip.len();
    }
    let mut found = SameServes { strokes: (0..seen.len()).collect(), clips: Vec::new() };
    for (b, other) in clips.iter().enumerate() {
        for (a, one) in clips[..b].iter().enumerate() {
            let (mut compared, by) = compared(one, other, said);
            if compared == ClipsCompared::Apart && by.is_none() {
                continue;
            }
            let place = |way: &mut ClipMatch| {
                way.pairs.iter_mut().for_each(|pair| *pair = (from[a] + pair.0, from[b] + pair.1));
            };
            match &mut compared {
                ClipsCompared::Same(way) => place(way),
                ClipsCompared::Unsure(ways) => ways.iter_mut().for_each(place),
                ClipsCompared::Apart => {}
            }
            let (one, other) = (one[0].recording, other[0].recording);
            found.clips.push(ClipPair { one, other, found: compared, said: by });
        }
    }
    found.join(seen);
    found
}

impl SameServes {
    /// The places of all views of the stroke that the serve at `place` shows, itself among them.
    pub fn views_of(&self, place: usize) -> impl Iterator<Item = usize> {
        let stroke = self.strokes.get(place).copied();
        (0..self.strokes.len()).filter(move |at| self.strokes.get(*at).copied() == stroke)
    }

    /// Puts views of one stroke together, what somebody said and what is likeliest first; a stroke holds
    /// one serve of a clip. Then nobody need be asked of clips that hang together already.
    fn join(&mut self, seen: &[SeenServe]) {
        let mut sure: Vec<(bool, &ClipMatch)> = Vec::new();
        for clip in &self.clips {
            if let ClipsCompared::Same(way) = &clip.found {
                sure.push((clip.said.is_some(), way));
            }
        }
        sure.sort_by(|a, b| b.0.cmp(&a.0).then_with(|| b.1.chance.total_cmp(&a.1.chance)));
        let pairs: Vec<(usize, usize)> =
            sure.iter().flat_map(|(_, way)| way.pairs.iter().copied()).collect();
        for (a, b) in pairs {
            let both = [self.strokes[a], self.strokes[b]];
            let members: Vec<usize> =
                (0..seen.len()).filter(|at| both.contains(&self.strokes[*at])).collect();
            let twice = members.iter().enumerate().any(|(n, &at)| {
                members[..n].iter().any(|&known| seen[known].recording == seen[at].recording)
            });
            if both[0] != both[1] && !twice {
                let first = both[0].min(both[1]);
                members.into_iter().for_each(|at| self.strokes[at] = first);
            }
        }
        let strokes = &self.strokes;
        let share = |one: Option<RecordingId>, other: Option<RecordingId>| {
            let of = |clip| (0..seen.len()).filter(move |at| seen[*at].recording == clip);
            of(one).any(|a| of(other).any(|b| strokes[a] == strokes[b]))
        };
        self.clips.retain(|clip| {
            !matches!(clip.found, ClipsCompared::Unsure(_)) || !share(clip.one, clip.other)
        });
    }
}

/// What two clips are, pairs by number within each.
fn compared(
    one: &[SeenServe],
    other: &[SeenServe],
    said: &[SaidClips],
) -> (ClipsCompared, Option<Author>) {
    let contacts = |clip: &[SeenServe]| -> (Vec<usize>, Vec<TimedContact>) {
        let known = clip.iter().enumerate().filter(|(_, one)| one.contact.time_s.is_finite());
        known.map(|(at, one)| (at, one.contact)).unzip()
    };
    let ((at_one, one_s), (at_other, other_s)) = (contacts(one), contacts(other));
    let back = |mut way: ClipMatch| {
        way.pairs.iter_mut().for_each(|pair| *pair = (at_one[pair.0], at_other[pair.1]));
        way
    };
    if let Some(said) = said.iter().find(|said| {
        let ids = (Some(said.one), Some(said.other));
        let (a, b) = (one[0].recording, other[0].recording);
        ids == (a, b) || ids == (b, a)
    }) {
        let by = Some(said.by.clone());
        let Some((a, b)) = said.same else { return (ClipsCompared::Apart, by) };
        let known = |clip: &[SeenServe], at: &[usize]| {
            at.iter().position(|at| [Some(a), Some(b)].contains(&clip[*at].serve))
        };
        // A serve that has gone elsewhere since says nothing.
        if let Some(anchor) = known(one, &at_one).zip(known(other, &at_other)) {
            return (ClipsCompared::Same(back(laid_at(&one_s, &other_s, anchor))), by);
        }
    }
    if !may_be_alike(&one[0], &other[0]) {
        return (ClipsCompared::Apart, None);
    }
    let found = match compare_clips(&one_s, &other_s) {
        ClipsCompared::Same(way) => ClipsCompared::Same(back(way)),
        // From one place a camera films one thing after another.
        ClipsCompared::Unsure(_) if one[0].view.is_some() && one[0].view == other[0].view => {
            ClipsCompared::Apart
        }
        ClipsCompared::Unsure(ways) => ClipsCompared::Unsure(ways.into_iter().map(back).collect()),
        ClipsCompared::Apart => ClipsCompared::Apart,
    };
    (found, None)
}

/// Whether two clips may show the same serves, by what is known of them beside their times.
fn may_be_alike(one: &SeenServe, other: &SeenServe) -> bool {
    let swing = |serve: &SeenServe| serve.setting.map(|kind| kind == Setting::PracticeSwing);
    let differ = |a: Option<bool>, b: Option<bool>| a.zip(b).is_some_and(|(a, b)| a != b);
    let types = one.serve_type.zip(other.serve_type);
    (one.capture.is_one_camera() || other.capture.is_one_camera())
        && one.hand == other.hand
        && !differ(swing(one), swing(other))
        && types.is_none_or(|(a, b)| a == b)
}

/// Which serves of a case are views of one stroke, and by whose word.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DayViews {
    /// The serves of the case, those of a recording together; none where no clip can show the same as
    /// another.
    pub serves: Vec<ServeId>,
    /// What they are to each other, by place in `serves`.
    pub same: SameServes,
}

impl DayViews {
    /// The first view of the stroke that a serve shows: itself where it is the only one.
    #[must_use]
    pub fn stroke(&self, serve: ServeId) -> ServeId {
        let place = self.serves.iter().position(|one| *one == serve);
        place.map_or(serve, |place| self.serves[self.same.strokes[place]])
    }

    /// Strokes that some serves of the case show.
    #[must_use]
    pub fn count_of(&self, serves: &[ServeId]) -> usize {
        let mut strokes: Vec<ServeId> = serves.iter().map(|&serve| self.stroke(serve)).collect();
        strokes.sort_unstable();
        strokes.dedup();
        strokes.len()
    }

    /// The other views of the stroke that a serve shows.
    #[must_use]
    pub fn others(&self, serve: ServeId) -> Vec<ServeId> {
        let Some(place) = self.serves.iter().position(|one| *one == serve) else {
            return Vec::new();
        };
        let views = self.same.views_of(place).filter(|&at| at != place);
        views.map(|at| self.serves[at]).collect()
    }
}

impl Library {
    /// Which serves of a case are views of one stroke. Costs next to nothing for a case of one
    /// recording or without a clip of one camera.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; [`StoreError::Damaged`]; [`StoreError::Sql`].
    pub fn views_of_day(&self, case: CaseId) -> Result<DayViews, StoreError> {
        let clips = self.list(
            "listing recordings",
            "SELECT id, capture FROM recordings WHERE case_id = ?1 ORDER BY id",
            [case.0],
            |row| Ok((RecordingId(row.get(0)?), named::<Capture>(row, 1)?)),
        )?;
        if clips.len() < 2 || !clips.iter().any(|(_, capture)| capture.is_one_camera()) {
            return Ok(DayViews::default());
        }
        let mut serves = Vec::new();
        for (clip, _) in &clips {
            serves.extend(self.serves_in(*clip)?);
        }
        let mut seen = Vec::with_capacity(serves.len());
        for &serve in &serves {
            seen.push(self.seen_serve(serve)?);
        }
        let ids: Vec<RecordingId> = clips.into_iter().map(|(id, _)| id).collect();
        Ok(DayViews { same: same_serves(&seen, &self.said_of_clips(&ids)?), serves })
    }

    /// A stored serve as far as it can be known again. Cheap beside [`Library::serve`].
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; [`StoreError::Damaged`]; [`StoreError::Sql`].
    pub fn seen_serve(&self, id: ServeId) -> Result<SeenServe, StoreError> {
        let head = self.serve_head(id)?;
        let recording = self.recording(head.recording)?;
        let contact_s = read_contact_s(&self.details(id)?)
            .map_err(|why| StoreError::Damaged { what: format!("moments of {id}"), why })?;
        let mut seen =
            SeenServe { serve: Some(id), ..SeenServe::by_joints(&recording, head.hand, contact_s) };
        let moments = self.moments_seen(id)?;
        match witness(EventKind::Contact, &self.marks_of_serve(id)?, &moments) {
            Witness::Joints => {}
            // As a marked time counts wherever it is used.
            Witness::Person(_) => seen.contact.error_s = 1.0 / recording.rate_hz,
            other => {
                let told = moments
                    .iter()
                    .find(|one| one.event == EventKind::Contact && one.witness == other);
                seen.contact.error_s = told.map_or(seen.contact.error_s, |one| one.error_s);
            }
        }
        Ok(seen)
    }

    /// What was said of these recordings two by two.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn said_of_clips(&self, clips: &[RecordingId]) -> Result<Vec<SaidClips>, StoreError> {
        let mut said = Vec::new();
        for (at, one) in clips.iter().enumerate() {
            for other in &clips[at + 1..] {
                said.extend(self.said_of(*one, *other)?);
            }
        }
        Ok(said)
    }

    fn said_of(&self, a: RecordingId, b: RecordingId) -> Result<Option<SaidClips>, StoreError> {
        let (one, other) = (a.min(b), a.max(b));
        self.connection
            .prepare_cached(
                "SELECT one_serve, other_serve, said_by FROM clip_pairs
                 WHERE one = ?1 AND other = ?2",
            )
            .and_then(|mut statement| {
                let said = statement.query_row((one.0, other.0), |row| {
                    let serve =
                        |at| Ok::<_, rusqlite::Error>(row.get::<_, Option<i64>>(at)?.map(ServeId));
                    let by: String = row.get(2)?;
                    let same = serve(0)?.zip(serve(1)?);
                    Ok(SaidClips { one, other, same, by: Author::from_text(&by) })
                });
                said.optional()
            })
            .map_err(StoreError::sql("reading what was said of clips"))
    }
}

impl Library {
    /// What is wrong in what was said of clips, and what to do about each: clips or serves that are gone,
    /// that are of two sessions or not of the clip, one clip twice.
    pub(super) fn said_of_clips_amiss(&self) -> Result<Vec<(String, Remedy)>, StoreError> {
        let rows = self.list(
            "checking",
            "SELECT p.one, p.other, p.said_by, p.at,
                a.id IS NOT NULL, b.id IS NOT NULL, a.player IS b.player, a.case_id IS b.case_id,
                p.one_serve, p.other_serve, s.recording, t.recording
             FROM clip_pairs p
             LEFT JOIN recordings a ON a.id = p.one LEFT JOIN recordings b ON b.id = p.other
             LEFT JOIN serves s ON s.id = p.one_serve LEFT JOIN serves t ON t.id = p.other_serve
             ORDER BY p.one, p.other",
            [],
            |row| {
                Ok(SaidRow {
                    clips: [row.get(0)?, row.get(1)?],
                    by: row.get(2)?,
                    at: row.get(3)?,
                    there: [row.get(4)?, row.get(5)?],
                    same_player: row.get(6)?,
                    same_case: row.get(7)?,
                    serves: [row.get(8)?, row.get(9)?],
                    serves_in: [row.get(10)?, row.get(11)?],
                })
            },
        )?;
        let known: BTreeSet<[i64; 2]> = rows.iter().map(|row| row.clips).collect();
        let amiss = rows.iter().filter_map(|row| {
            let why = row.amiss(&known)?;
            let [one, other] = row.clips.map(|clip| RecordingId(clip).to_string());
            let by = if row.by.is_empty() { "somebody" } else { &row.by };
            let remedy = Remedy::TakeBackSaid { one: one.clone(), other: other.clone() };
            Some((format!("what {by} said of {one} and {other}: {why}; {remedy}"), remedy))
        });
        Ok(amiss.collect())
    }
}

/// What is said of two clips, as it is stored.
struct SaidRow {
    clips: [i64; 2],
    by: String,
    at: String,
    there: [bool; 2],
    same_player: bool,
    same_case: bool,
    serves: [Option<i64>; 2],
    /// The clips those serves are in.
    serves_in: [Option<i64>; 2],
}

impl SaidRow {
    /// What is wrong; `None` where nothing is. `known`: every two clips of which something is said.
    fn amiss(&self, known: &BTreeSet<[i64; 2]>) -> Option<String> {
        let [one, other] = self.clips;
        if one == other {
            return Some("that is one clip twice".to_owned());
        }
        if one > other && known.contains(&[other, one]) {
            return Some("they are named twice".to_owned());
        }
        if one > other {
            return Some("the clip that was stored first does not come first".to_owned());
        }
        for (clip, there) in self.clips.into_iter().zip(self.there) {
            if !there {
                return Some(format!("{} is not in this library", RecordingId(clip)));
            }
        }
        if !self.same_player {
            return Some("they are of two players".to_owned());
        }
        if !self.same_case {
            return Some("they are of two sessions".to_owned());
        }
        if self.serves[0].is_some() != self.serves[1].is_some() {
            return Some("a serve of one clip is named, and none of the other".to_owned());
        }
        for ((serve, clip), lies_in) in self.serves.into_iter().zip(self.clips).zip(self.serves_in)
        {
            let Some(serve) = serve.map(ServeId) else { continue };
            match lies_in {
                Some(found) if found == clip => {}
                Some(_) => return Some(format!("{serve} is not in {}", RecordingId(clip))),
                None => return Some(format!("{serve} is not in this library")),
            }
        }
        if !Author::from_text(&self.by).is_coach() || self.by.is_empty() {
            return Some("nobody is named who said it".to_owned());
        }
        let is_instant = self.at.parse::<jiff::Timestamp>().is_ok();
        (!is_instant).then(|| format!("'{}' is no instant at which it was said", self.at))
    }
}

#[cfg(test)]
mod tests;
