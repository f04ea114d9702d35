//! Random libraries in which every number is known, and what came of their plans worked out from
//! those numbers alone.
//!
//! The rules are those of DEVELOPERS.md ("one answer"), written once more, dull and with none of the
//! program's code: like with like, the best pair for the measure, the last follow-up that compares,
//! else the next reviews within 7 to 150 days until another plan for the same fault has begun. Over
//! several days: the earliest that compares with a later one, against the latest it compares with.

use jiff::civil::{Date, date};
use jiff::{ToSpan, Unit};
use precedent::library::{
    Author, BallFlight, CaseId, FaultLabel, FollowUp, FollowUpId, LabelState, Library,
    NewRecording, Plan, PlanId, PlannedDrill, PlayerId, ServeId, ServeType, Setting,
};
use precedent::motion::{Capture, Dimensions, Joint, Recording, Side, Unit as Length, View};
use precedent::serve::{
    CURVE_FRAMES, Curve, Event, EventKind, Figures, MEASURES, Reading, Serve, ServeReading,
};
use rand::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

/// The last has no measure.
pub(crate) const FAULTS: [&str; 4] =
    ["shallow_leg_drive", "collapsed_front_knee", "toss_low", "wild_toss"];
const DRILLS: [&str; 4] = ["land_inside", "jump_and_reach", "toss_over_rope", "toss_over_rope"];
const MEASURED: [&str; 3] =
    ["front_knee_flexion_trophy", "front_knee_flexion_contact", "release_to_contact_time"];

/// The measure a fault is followed by; `None` where no measure shows it.
fn measure(fault: &str) -> Option<usize> {
    FAULTS.iter().position(|id| *id == fault).filter(|&at| at < MEASURED.len())
}

/// 1 where more of its measure is better, -1 where less is.
pub(crate) fn sign(fault: &str) -> Option<f64> {
    Some([1.0, -1.0, 1.0][measure(fault)?])
}

pub(crate) struct Planted {
    pub(crate) players: Vec<Player>,
}

pub(crate) struct Player {
    pub(crate) id: PlayerId,
    pub(crate) code: String,
    pub(crate) days: Vec<Day>,
}

pub(crate) struct Day {
    date: Date,
    pub(crate) serves: Vec<PlantedServe>,
    pub(crate) standing: Vec<&'static str>,
    plans: Vec<PlantedPlan>,
}

#[derive(Clone)]
pub(crate) struct PlantedServe {
    pub(crate) id: ServeId,
    set_up: SetUp,
    /// Value and give-or-take of each measure, where it could be measured.
    values: [Option<(f64, f64)>; 3],
}

type SetUp = (Capture, Option<View>, Option<Setting>, Option<ServeType>);

pub(crate) struct PlantedPlan {
    pub(crate) id: PlanId,
    pub(crate) fault: &'static str,
    day: usize,
    start: Date,
    answers: Vec<(Date, FollowUpId, Vec<ServeId>, i8)>,
}

/// What came of a plan.
#[derive(Debug, Clone)]
pub(crate) struct Came {
    pub(crate) verdict: &'static str,
    /// Before, after, detectable change.
    pub(crate) moved: Option<[f64; 3]>,
    /// The day that decides.
    on: Option<Date>,
}

fn days(from: Date, to: Date) -> i32 {
    from.until((Unit::Day, to)).unwrap().get_days()
}

fn one_camera(set_up: SetUp) -> bool {
    matches!(set_up.0, Capture::OneCameraLifted | Capture::OneCameraFlat)
}

/// 0 with a ball, 1 not known, 2 a practice swing.
fn swing(set_up: SetUp) -> u8 {
    match set_up.2 {
        Some(Setting::PracticeSwing) => 2,
        Some(_) => 0,
        None => 1,
    }
}

/// What a look is: serves of one of these are one look.
fn kind(set_up: SetUp) -> (Capture, Option<View>, u8, Option<ServeType>) {
    (set_up.0, set_up.1.filter(|_| one_camera(set_up)), swing(set_up), set_up.3)
}

fn alike(a: SetUp, b: SetUp) -> bool {
    let (a, b) = (kind(a), kind(b));
    let same = a.0 == b.0 || a.0 == Capture::Unknown || b.0 == Capture::Unknown;
    let view = a.1.is_none() || b.1.is_none() || a.1 == b.1;
    let ball = a.2 == 1 || b.2 == 1 || a.2 == b.2;
    let typed = a.3.is_none() || b.3.is_none() || a.3 == b.3;
    same && view && ball && typed
}

/// Before, after and detectable change of a measure between two days; `None` where they do not
/// compare.
fn compare(before: &[&PlantedServe], after: &[&PlantedServe], at: usize) -> Option<[f64; 3]> {
    let sd = MEASURES.iter().find(|def| def.id == MEASURED[at]).unwrap().within_player_sd;
    let summary = |serves: &[&PlantedServe], like: SetUp| {
        let values: Vec<(f64, f64)> = serves
            .iter()
            .filter(|serve| kind(serve.set_up) == kind(like))
            .filter_map(|serve| serve.values[at])
            .collect();
        let n = values.len() as f64;
        let mean = values.iter().map(|value| value.0).sum::<f64>() / n;
        let error = values.iter().map(|value| (value.1 / 1.645).powi(2)).sum::<f64>() / n;
        (n > 0.0).then_some((mean, (sd * sd + error) / n))
    };
    let mut best: Option<(u8, f64, [f64; 3])> = None;
    for a in before {
        for b in after {
            if !alike(a.set_up, b.set_up) {
                continue;
            }
            let (Some(then), Some(now)) = (summary(before, a.set_up), summary(after, b.set_up))
            else {
                continue;
            };
            let detectable = 1.96 * (then.1 + now.1).sqrt();
            let rank = swing(a.set_up).max(swing(b.set_up));
            if best.is_none_or(|held| (rank, detectable) < (held.0, held.1 - 1e-12)) {
                best = Some((rank, detectable, [then.0, now.0, detectable]));
            }
        }
    }
    best.map(|best| best.2)
}

fn judged(fault: &str, moved: [f64; 3], on: Date) -> Came {
    let gain = sign(fault).unwrap() * (moved[1] - moved[0]);
    let verdict = match gain {
        gain if gain != 0.0 && gain >= moved[2] => "better",
        gain if gain != 0.0 && gain <= -moved[2] => "worse",
        _ => "no_clear_change",
    };
    Came { verdict, moved: Some(moved), on: Some(on) }
}

impl Player {
    pub(crate) fn plans(&self) -> impl Iterator<Item = &PlantedPlan> {
        self.days.iter().flat_map(|day| &day.plans)
    }

    fn serves(&self, ids: &[ServeId]) -> Vec<&PlantedServe> {
        let all = self.days.iter().flat_map(|day| &day.serves);
        all.filter(|serve| ids.contains(&serve.id)).collect()
    }

    /// What came of a plan.
    pub(crate) fn came(&self, plan: &PlantedPlan) -> Came {
        let mut later: Vec<(Date, Vec<&PlantedServe>)> = Vec::new();
        let mut answers = plan.answers.clone();
        answers.sort_by_key(|answer| (answer.0, answer.1.0));
        for (on, _, named, _) in answers.iter().rev() {
            let review = self.days.iter().find(|day| day.date == *on);
            let serves = match review {
                Some(day) if named.is_empty() => day.serves.iter().collect(),
                _ => self.serves(named),
            };
            if !serves.is_empty() {
                later.push((*on, serves));
            }
        }
        for day in &self.days[plan.day + 1..] {
            let after = days(plan.start, day.date);
            let other = self.plans().any(|other| {
                other.fault == plan.fault && other.start > plan.start && other.start < day.date
            });
            if (7..=150).contains(&after) && !other {
                later.push((day.date, day.serves.iter().collect()));
            }
        }
        if later.is_empty() {
            return Came { verdict: "not_yet", moved: None, on: None };
        }
        let before: Vec<&PlantedServe> = self.days[plan.day].serves.iter().collect();
        let at = measure(plan.fault);
        for (on, serves) in &later {
            if let Some(moved) = at.and_then(|at| compare(&before, serves, at)) {
                return judged(plan.fault, moved, *on);
            }
        }
        Came { verdict: "not_comparable", moved: None, on: Some(later[0].0) }
    }

    /// What the day at this place says about a fault since which earlier day: of the latest plan it
    /// decides, else since the last day that compares.
    pub(crate) fn since(&self, at: usize, fault: &str) -> Option<(Date, Came)> {
        let now: Vec<&PlantedServe> = self.days[at].serves.iter().collect();
        for day in self.days[..at].iter().rev() {
            if let Some(came) = self.decided(day, at, fault) {
                return Some((day.date, came));
            }
        }
        let shown = measure(fault)?;
        self.days[..at].iter().rev().find_map(|day| {
            let before: Vec<&PlantedServe> = day.serves.iter().collect();
            let moved = compare(&before, &now, shown)?;
            Some((day.date, judged(fault, moved, self.days[at].date)))
        })
    }

    /// What came of the latest plan of `day` for a fault that the day at this place decides.
    fn decided(&self, day: &Day, at: usize, fault: &str) -> Option<Came> {
        let plans = day.plans.iter().rev().filter(|plan| plan.fault == fault);
        plans
            .map(|plan| self.came(plan))
            .find(|came| came.moved.is_some() && came.on == Some(self.days[at].date))
    }

    /// How a fault moved over all days, from which to which; `None` where no two are there, or no
    /// measure shows it.
    pub(crate) fn over(&self, fault: &str) -> Option<(Date, Date, Came)> {
        let shown = measure(fault)?;
        let mut apart = None;
        for (at, from) in self.days.iter().enumerate() {
            for to in (at + 1..self.days.len()).rev() {
                let on = self.days[to].date;
                let before: Vec<&PlantedServe> = from.serves.iter().collect();
                let after: Vec<&PlantedServe> = self.days[to].serves.iter().collect();
                let came = self.decided(from, to, fault).or_else(|| {
                    compare(&before, &after, shown).map(|moved| judged(fault, moved, on))
                });
                if let Some(came) = came {
                    return Some((from.date, on, came));
                }
                let none = Came { verdict: "not_comparable", moved: None, on: None };
                apart = apart.or(Some((from.date, on, none)));
            }
        }
        apart
    }

    /// Whether a fault stood on any day.
    pub(crate) fn ever_had(&self, fault: &str) -> bool {
        self.days.iter().any(|day| day.standing.contains(&fault))
    }

    /// Whether a fault stands at the last look. Where no measure shows it, a rating is a look too, and
    /// one of 2 says it is gone.
    pub(crate) fn has(&self, fault: &str) -> bool {
        let mut looks: Vec<(Date, bool)> =
            self.days.iter().map(|day| (day.date, day.standing.contains(&fault))).collect();
        if measure(fault).is_none() {
            let own = self.plans().filter(|plan| plan.fault == fault);
            for (on, .., rating) in own.flat_map(|plan| &plan.answers) {
                match looks.iter_mut().find(|look| look.0 == *on) {
                    Some(look) => look.1 &= *rating < 2,
                    None => looks.push((*on, *rating < 2)),
                }
            }
        }
        looks.into_iter().max_by_key(|look| look.0).is_some_and(|look| look.1)
    }

    /// The last day and the fault a review of it judges first, where only one stands and there is no
    /// plan.
    pub(crate) fn judged(&self) -> Option<(&Day, &'static str)> {
        let last = self.days.last()?;
        match last.standing[..] {
            [one] if last.plans.is_empty() => Some((last, one)),
            _ => None,
        }
    }
}

impl Planted {
    /// Fills a library with six players.
    pub(crate) fn into(library: &mut Library, seed: u64) -> Self {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut file = 0;
        let players = (0..6).map(|number| {
            let code = format!("wader{number}");
            let id = library.add_player(&precedent::library::Player::new(&code)).unwrap();
            Player { id, days: fill(library, &mut rng, id, &mut file), code }
        });
        Self { players: players.collect() }
    }
}

fn pick<T: Copy>(rng: &mut Xoshiro256PlusPlus, from: &[T]) -> T {
    from[rng.gen_range(0..from.len())]
}

/// One to five reviews of one player.
fn fill(
    library: &mut Library,
    rng: &mut Xoshiro256PlusPlus,
    player: PlayerId,
    file: &mut u32,
) -> Vec<Day> {
    let captures = [Capture::Markers, Capture::OneCameraLifted, Capture::DepthSensor];
    // Most of a player's recordings are made in one way, else little would compare.
    let usual: SetUp = (pick(rng, &captures[..2]), Some(View::Side), Some(Setting::Target), None);
    let mut on = date(2025, 1, 6);
    let mut found: Vec<Day> = Vec::new();
    for _ in 0..rng.gen_range(1..=5) {
        on = on.saturating_add(pick(rng, &[3, 7, 30, 35, 60, 150, 170]).days());
        let (mut serves, mut case) = (Vec::new(), None);
        for _ in 0..rng.gen_range(1..=3) {
            *file += 1;
            let set_up = if rng.gen_bool(0.7) {
                usual
            } else {
                let settings = [
                    None,
                    Some(Setting::PracticeSwing),
                    Some(Setting::Match),
                    Some(Setting::Target),
                ];
                let types = [None, None, Some(ServeType::Flat), Some(ServeType::Kick)];
                let views = [None, Some(View::Side), Some(View::Behind)];
                (pick(rng, &captures), pick(rng, &views), pick(rng, &settings), pick(rng, &types))
            };
            let planted: Vec<[Option<(f64, f64)>; 3]> = (0..rng.gen_range(1..=3))
                .map(|_| {
                    // On a grid, so that some days tie.
                    let knee = f64::from(rng.gen_range(4..=9)) * 8.0;
                    let straight = f64::from(rng.gen_range(1..=5)) * 8.0;
                    let toss = 0.5 + 0.1 * f64::from(rng.gen_range(0..=5));
                    [(knee, 5.0), (straight, 8.0), (toss, 0.05)]
                        .map(|(value, give)| rng.gen_bool(0.85).then_some((value, give)))
                })
                .collect();
            let stored = store(library, player, on, *file, set_up, &planted);
            case = Some(stored.0);
            let ids = stored.1.into_iter().zip(planted);
            serves.extend(ids.map(|(id, values)| PlantedServe { id, set_up, values }));
        }
        let case = case.unwrap();
        let standing: Vec<&'static str> =
            FAULTS.into_iter().filter(|_| rng.gen_bool(0.35)).collect();
        for fault in &standing {
            let label = FaultLabel {
                fault: (*fault).to_owned(),
                state: LabelState::Added,
                severity: 0.6,
                by: Author::Coach("ash".to_owned()),
                note: None,
            };
            library.write(|writer| writer.set_label(case, &label)).unwrap();
        }
        let plans = (0..pick(rng, &[0, 1, 1, 2]))
            .map(|_| plan(library, rng, case, found.len(), on))
            .collect();
        found.push(Day { date: on, serves, standing, plans });
    }
    for day in 0..found.len() {
        for place in 0..found[day].plans.len() {
            follow(library, rng, &mut found, (day, place));
        }
    }
    found
}

fn plan(
    library: &mut Library,
    rng: &mut Xoshiro256PlusPlus,
    case: CaseId,
    day: usize,
    on: Date,
) -> PlantedPlan {
    let at = rng.gen_range(0..FAULTS.len());
    let start = on.saturating_add(pick(rng, &[0, 0, 2]).days());
    let plan = Plan {
        id: PlanId(0),
        case,
        limiting_fault: FAULTS[at].to_owned(),
        drills: vec![PlannedDrill {
            drill: DRILLS[at].to_owned(),
            dose: "3 x 8".to_owned(),
            place: None,
        }],
        start,
        review_on: None,
        coach: Some("ash".to_owned()),
        note: None,
        ended: None,
    };
    let id = library.write(|writer| writer.add_plan(&plan)).unwrap();
    PlantedPlan { id, fault: FAULTS[at], day, start, answers: Vec::new() }
}

/// None, one or two follow-ups, some on the same day, some without serves, some on a day of their own.
fn follow(
    library: &mut Library,
    rng: &mut Xoshiro256PlusPlus,
    all: &mut [Day],
    (day, place): (usize, usize),
) {
    for _ in 0..pick(rng, &[0, 0, 1, 2]) {
        let Some(later) = (day + 1 < all.len()).then(|| rng.gen_range(day + 1..all.len())) else {
            return;
        };
        let plan = all[day].plans[place].id;
        let (mut on, mut serves) = (all[later].date, Vec::new());
        match rng.gen_range(0..4) {
            0 => {}
            1 => on = on.saturating_add(1.day()),
            _ => {
                let of_day = &all[later].serves;
                serves = of_day[..rng.gen_range(1..=of_day.len())].iter().map(|s| s.id).collect();
            }
        }
        // Ratings that often disagree with what is planted.
        let rating = [2, -1, 1][plan.0 as usize % 3];
        let answer = FollowUp {
            id: FollowUpId(0),
            plan,
            date: on,
            serves: serves.clone(),
            ball: BallFlight::default(),
            rating: Some(rating),
            sessions_done: None,
            note: None,
        };
        let id = library.write(|writer| writer.add_follow_up(&answer)).unwrap();
        all[day].plans[place].answers.push((on, id, serves, rating));
    }
}

fn store(
    library: &mut Library,
    player: PlayerId,
    on: Date,
    file: u32,
    set_up: SetUp,
    planted: &[[Option<(f64, f64)>; 3]],
) -> (CaseId, Vec<ServeId>) {
    let joints = vec![Joint::LeftShoulder, Joint::RightWrist];
    let recording = Recording {
        times_s: (0..4).map(|frame| f64::from(frame) / 120.0).collect(),
        positions: vec![[0.25, 0.5, 1.0]; 4 * joints.len()],
        joints,
        confidence: None,
        rate_hz: 120.0,
        dimensions: Dimensions::Three,
        unit: Length::Metre,
        capture: set_up.0,
        view: set_up.1,
        subject: None,
        format: "csv".to_owned(),
        assumptions: Vec::new(),
    };
    let serves: Vec<Serve> =
        planted.iter().enumerate().map(|(n, values)| serve(file * 10 + n as u32, values)).collect();
    let added = library
        .add_recording(&NewRecording {
            player,
            file_name: "x.csv",
            content_hash: &blake3::hash(&file.to_le_bytes()).to_hex(),
            date: on,
            setting: set_up.2,
            serve_type: set_up.3,
            recording: &recording,
            serves: &serves,
        })
        .unwrap();
    (added.case, added.serves)
}

fn serve(seed: u32, values: &[Option<(f64, f64)>; 3]) -> Serve {
    const CHANNELS: usize = 12;
    let joints = vec![Joint::RightShoulder, Joint::RightWrist];
    let readings = MEASURED.iter().zip(values).map(|(measure, value)| ServeReading {
        measure: (*measure).to_owned(),
        reading: match *value {
            Some((value, give_or_take)) => Reading::Value { value, trust: 0.9, give_or_take },
            None => Reading::NotMeasurable { why: "a joint is unseen".to_owned() },
        },
    });
    let wave = |at: usize| (at as f32 / 37.0 + (at % CHANNELS) as f32 + seed as f32 * 0.61).sin();
    Serve {
        hand: Side::Right,
        hand_trust: 0.95,
        frames: (0, 3),
        events: EventKind::ALL.map(|kind| Event {
            kind,
            time_s: f64::from(kind as u8) * 0.25,
            frame: 0,
            trust: 0.9,
        }),
        readings: readings.collect(),
        curve: Curve {
            channel_set: "core-1".to_owned(),
            channels: CHANNELS,
            values: (0..CURVE_FRAMES * CHANNELS).map(wave).collect(),
        },
        figures: Figures {
            positions: vec![[0.1, 0.2, 1.5]; CURVE_FRAMES * joints.len()],
            joints,
            event_samples: [0.0, 20.0, 45.0, 60.0, 70.0, 100.0],
        },
        cutoff_hz: 12.0,
        notes: Vec::new(),
    }
}
