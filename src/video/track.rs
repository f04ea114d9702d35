//! Following one person from frame to frame.

use super::detector::{self, Candidate};
use super::frame::{Frame, Region};
use super::landmarks::Pose;
use super::model::{ModelError, PoseModel};
use super::one_euro::OneEuro;
use super::sketch::Sketch;

/// Whom to follow.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Person {
    /// The only one; several people are refused with the list to choose from.
    #[default]
    Only,
    /// The n-th from the left, from 1, in the first frame that shows so many.
    FromLeft(usize),
    /// The one whose hips are in this part of the picture: left, top, right, bottom, pixels.
    Within([f64; 4]),
}

/// Seconds between searches by tiles while nobody was found yet.
const TILE_PAUSE_S: f64 = 0.2;
/// A figure further than this share of its region from where it was is another one.
const MAX_JUMP: f64 = 0.5;
/// A figure so many times larger or smaller than a frame ago is another one.
const MAX_GROWTH: f64 = 1.5;
/// After so long out of sight, a person who is alone may have moved anywhere.
const LONG_LOST_S: f64 = 1.0;

/// A picture less like the one before it than this is another scene. From frame to frame of four real
/// clips the likeness is 0.995 and more; from the end of one to the start of another 0.14 to 0.46.
const CUT: f64 = 0.7;
/// As much where the figure is lost in the same frame: a cut to the same place.
const CUT_WITH_LOSS: f64 = 0.95;
/// After a cut the figure larger than all others by so much is followed.
const LARGER: f64 = 1.5;

/// Why following cannot begin or go on.
#[derive(Debug)]
pub(super) enum TrackError {
    Model(ModelError),
    /// Several people, left to right.
    Several(Vec<Candidate>),
}

impl From<ModelError> for TrackError {
    fn from(error: ModelError) -> Self {
        Self::Model(error)
    }
}

#[derive(Debug, Clone, Copy)]
enum State {
    /// Not seen yet; when tiles were last searched.
    Waiting {
        tiles_at_s: f64,
    },
    Following {
        region: Region,
        filters: [OneEuro; 4],
    },
    /// Seen before, out of sight since.
    Lost {
        last: Region,
        since_s: f64,
    },
}

/// Follows one person with a [`PoseModel`].
pub(super) struct Tracker {
    person: Person,
    state: State,
    /// Most people seen at once while waiting.
    pub(super) most_seen: usize,
    /// Times at which the person was found again somewhere else.
    pub(super) moved_at_s: Vec<f64>,
    /// Times of the first frames after a cut of the film.
    pub(super) cuts_at_s: Vec<f64>,
    alone: bool,
    before: Option<Sketch>,
}

impl Tracker {
    pub(super) fn new(person: Person) -> Self {
        Self {
            person,
            state: State::Waiting { tiles_at_s: f64::NEG_INFINITY },
            most_seen: 0,
            moved_at_s: Vec::new(),
            cuts_at_s: Vec::new(),
            alone: true,
            before: None,
        }
    }

    /// The person's pose in the next frame; `None` while out of sight.
    pub(super) fn next(
        &mut self,
        model: &mut dyn PoseModel,
        frame: &Frame,
        time_s: f64,
    ) -> Result<Option<Pose>, TrackError> {
        let now = Sketch::of(frame);
        let likeness = match (&self.before, &now) {
            (Some(before), Some(now)) => before.likeness(now),
            _ => 1.0,
        };
        self.before = now;
        if likeness < CUT {
            self.cut(time_s);
        }
        match self.state {
            State::Following { region, filters } => {
                let pose = model.follow(frame, region)?;
                match pose {
                    Some(pose) if same(region, region_of(&pose)) => {
                        self.follow(&pose, filters);
                        Ok(Some(pose))
                    }
                    _ if likeness < CUT_WITH_LOSS => {
                        self.cut(time_s);
                        self.begin_waiting(model, frame, time_s)
                    }
                    _ => {
                        self.state = State::Lost { last: region, since_s: time_s };
                        Ok(None)
                    }
                }
            }
            State::Waiting { .. } => self.begin_waiting(model, frame, time_s),
            State::Lost { last, since_s } => {
                let chosen = self.find_again(model, frame, last, time_s - since_s)?;
                let pose = self.begin(model, frame, chosen)?;
                if pose.is_some() && chosen.is_some_and(|c| !near(last, c.region(), 2.0)) {
                    self.moved_at_s.push(time_s);
                }
                Ok(pose)
            }
        }
    }

    /// Another scene begins: whoever was followed is looked for anew.
    fn cut(&mut self, time_s: f64) {
        if !matches!(self.state, State::Waiting { .. }) || !self.cuts_at_s.is_empty() {
            self.cuts_at_s.push(time_s);
        }
        self.state = State::Waiting { tiles_at_s: f64::NEG_INFINITY };
    }

    fn begin_waiting(
        &mut self,
        model: &mut dyn PoseModel,
        frame: &Frame,
        time_s: f64,
    ) -> Result<Option<Pose>, TrackError> {
        let State::Waiting { tiles_at_s } = self.state else { return Ok(None) };
        let tiles = time_s - tiles_at_s >= TILE_PAUSE_S;
        if tiles {
            self.state = State::Waiting { tiles_at_s: time_s };
        }
        let chosen = self.choose(model, frame, tiles)?;
        self.begin(model, frame, chosen)
    }

    fn begin(
        &mut self,
        model: &mut dyn PoseModel,
        frame: &Frame,
        chosen: Option<Candidate>,
    ) -> Result<Option<Pose>, TrackError> {
        let Some(candidate) = chosen else {
            return Ok(None);
        };
        let pose = model.follow(frame, candidate.region())?;
        if let Some(pose) = &pose {
            self.follow(pose, Default::default());
        }
        Ok(pose)
    }

    /// The next region, from this pose's steering points, steadied.
    fn follow(&mut self, pose: &Pose, mut filters: [OneEuro; 4]) {
        let [a, b] = pose.steering_px;
        let size = 2.0 * (b[0] - a[0]).hypot(b[1] - a[1]);
        let scale = if size > 0.0 { 1.0 / size } else { 0.0 };
        let steady: [f64; 4] = {
            let raw = [a[0], a[1], b[0], b[1]];
            std::array::from_fn(|k| filters[k].next(raw[k], scale))
        };
        self.state = State::Following {
            region: Region::from_points([steady[0], steady[1]], [steady[2], steady[3]]),
            filters,
        };
    }

    /// The person to begin with, if to be seen.
    fn choose(
        &mut self,
        model: &mut dyn PoseModel,
        frame: &Frame,
        tiles: bool,
    ) -> Result<Option<Candidate>, TrackError> {
        let after_cut = !self.cuts_at_s.is_empty();
        if let (Person::Within(area), false) = (self.person, after_cut) {
            let square = Region {
                centre_px: [(area[0] + area[2]) / 2.0, (area[1] + area[3]) / 2.0],
                side_px: 1.25 * (area[2] - area[0]).max(area[3] - area[1]),
                turn_rad: 0.0,
            };
            let inside = |c: &Candidate| {
                (area[0]..=area[2]).contains(&c.hip_px[0])
                    && (area[1]..=area[3]).contains(&c.hip_px[1])
            };
            let found = model.find(frame, square)?;
            self.most_seen = self.most_seen.max(found.len());
            self.alone = false;
            return Ok(found.into_iter().find(inside));
        }
        let people = people(model, frame, tiles)?;
        self.most_seen = self.most_seen.max(people.len());
        match self.person {
            // Which part of the picture, and that there was one person, held before the cut.
            Person::Only | Person::Within(_) if after_cut => Ok(largest(&people)),
            Person::Only if people.len() > 1 => Err(TrackError::Several(people)),
            Person::FromLeft(n) => {
                self.alone = self.most_seen <= 1;
                Ok(n.checked_sub(1).and_then(|k| people.get(k)).copied())
            }
            _ => Ok(people.first().copied()),
        }
    }

    /// The person who was lost at `last`, found again; nobody if that is not certain.
    fn find_again(
        &mut self,
        model: &mut dyn PoseModel,
        frame: &Frame,
        last: Region,
        lost_s: f64,
    ) -> Result<Option<Candidate>, TrackError> {
        let around = Region { side_px: last.side_px * 1.5, turn_rad: 0.0, ..last };
        let mut found = model.find(frame, Region::whole(frame))?;
        found.extend(model.find(frame, around)?);
        let found = distinct(detector::merge(found));
        let reach = 1.0 + lost_s.clamp(0.0, 1.0);
        let mut close = found.iter().filter(|c| near(last, c.region(), reach));
        match (close.next(), close.next()) {
            (Some(one), None) => Ok(Some(*one)),
            (None, _) if lost_s >= LONG_LOST_S && self.alone && found.len() == 1 => {
                Ok(found.first().copied())
            }
            // Two in reach: taking either could be a silent switch.
            _ => Ok(None),
        }
    }
}

/// The only one, or the one much larger than all others.
fn largest(people: &[Candidate]) -> Option<Candidate> {
    let side = |candidate: &Candidate| candidate.region().side_px;
    let largest = people.iter().max_by(|a, b| side(a).total_cmp(&side(b)))?;
    let alone = people
        .iter()
        .all(|other| other.hip_px == largest.hip_px || LARGER * side(other) <= side(largest));
    alone.then_some(*largest)
}

fn region_of(pose: &Pose) -> Region {
    Region::from_points(pose.steering_px[0], pose.steering_px[1])
}

/// Whether a figure followed from one frame to the next can be the same one.
fn same(before: Region, now: Region) -> bool {
    near(before, now, 1.0)
}

fn near(before: Region, now: Region, reach: f64) -> bool {
    let moved =
        (now.centre_px[0] - before.centre_px[0]).hypot(now.centre_px[1] - before.centre_px[1]);
    let growth = now.side_px / before.side_px;
    moved <= MAX_JUMP * reach * before.side_px
        && (1.0 / MAX_GROWTH..=MAX_GROWTH).contains(&(growth.powf(1.0 / reach)))
}

/// Everybody in the picture, left to right; by tiles where the whole shows nobody.
pub(super) fn people(
    model: &mut dyn PoseModel,
    frame: &Frame,
    tiles: bool,
) -> Result<Vec<Candidate>, ModelError> {
    let whole = Region::whole(frame);
    let mut found = model.find(frame, whole)?;
    for parts in [2, 3] {
        if !found.is_empty() || !tiles {
            break;
        }
        for tile in tile(frame, whole.side_px / f64::from(parts)) {
            found.extend(model.find(frame, tile)?);
        }
        found = detector::merge(found);
    }
    let mut seen = Vec::new();
    if found.len() > 1 {
        // The detector alone also fires on posts and shadows; a person has a pose.
        for candidate in found {
            if model.follow(frame, candidate.region())?.is_some() {
                seen.push(candidate);
            }
        }
    } else {
        seen = found;
    }
    let mut seen = distinct(seen);
    seen.sort_by(|a, b| a.hip_px[0].total_cmp(&b.hip_px[0]));
    Ok(seen)
}

/// Candidates with the same hips are one person.
fn distinct(found: Vec<Candidate>) -> Vec<Candidate> {
    let mut kept: Vec<Candidate> = Vec::new();
    for candidate in found {
        let apart = |other: &Candidate| {
            let reach = 0.15 * candidate.region().side_px.max(other.region().side_px);
            (candidate.hip_px[0] - other.hip_px[0]).hypot(candidate.hip_px[1] - other.hip_px[1])
                > reach
        };
        if kept.iter().all(apart) {
            kept.push(candidate);
        }
    }
    kept
}

/// Squares of this side that cover the picture, half overlapping.
fn tile(frame: &Frame, side_px: f64) -> Vec<Region> {
    let places = |length: usize| -> Vec<f64> {
        let length = length as f64;
        if length <= side_px {
            return vec![length / 2.0];
        }
        let count = ((length - side_px) / (side_px / 2.0)).ceil() as usize + 1;
        (0..count)
            .map(|i| side_px / 2.0 + (length - side_px) * i as f64 / (count - 1) as f64)
            .collect()
    };
    let columns = places(frame.width);
    places(frame.height)
        .into_iter()
        .flat_map(|y| columns.iter().map(move |&x| [x, y]))
        .map(|centre_px| Region { centre_px, side_px, turn_rad: 0.0 })
        .collect()
}
