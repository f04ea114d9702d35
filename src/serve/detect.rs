//! Where in a recording a serve may be: two arms, their order in time and in height.

use super::hidden::{AT_TOP_S, Unseen, hidden, shown_up};
use super::signs::Sign;
use super::track::{Track, of_side, runs};
use super::vector::{NAN3, V3, mid, norm, scale, sub};
use crate::motion::{Dimensions, Joint, Recording, Side, View};

/// Joints without which nothing can be found.
pub(super) const NEEDED: [Joint; 6] = [
    Joint::LeftShoulder,
    Joint::RightShoulder,
    Joint::LeftWrist,
    Joint::RightWrist,
    Joint::LeftHip,
    Joint::RightHip,
];

/// Smoothing for the search; slower than for reading a serve, the same at every rate.
const SEARCH_CUTOFF_HZ: f64 = 5.0;
/// A rise and fall smaller than this is no top (statures).
const TOP_SWING: f64 = 0.06;
/// The toss is looked for in this time before the top of the swing.
const TOSS_SEARCH_S: f64 = 2.2;
/// The follow-through is looked for in this time after it.
const FOLLOW_SEARCH_S: f64 = 1.3;
/// A hand that hits has come down some way after so long.
const FOLLOWS_S: f64 = 0.25;
/// A wrist this far above the shoulders is up (statures).
const CLEARLY_UP: f64 = 0.05;
/// What the signs must come to together: the mean of their margins, each within -1 to 1.
#[derive(Debug, Clone, Copy)]
struct Limits {
    /// Refused below it, even if every sign is just there.
    least_score: f64,
    /// Whether one sign may be missing, if it is a faint one.
    forgiving: bool,
}

/// A missing sign whose margin is no lower than this is a faint one.
const FAINT: f64 = -0.5;

/// In space: fourteen serves before a depth sensor come to 0.92 and more.
const IN_SPACE: Limits = Limits { least_score: 0.8, forgiving: false };
/// As a network guesses space from one picture.
const LIFTED: Limits = Limits { least_score: 0.7, forgiving: false };
/// In a picture: of the whole serves of `src/serve/REAL-CLIPS.md` all whose hands are in sight come
/// to 0.77 and more, with at most one sign missing (by a quarter); forehands to 0.60 at most, or they
/// lack more.
const IN_PICTURE: Limits = Limits { least_score: 0.7, forgiving: true };

/// Where both hands are hidden on their way up, what is left must be clear: two real serves come to 0.96
/// and more, a forehand so hidden to 0.85.
const HARDLY_SEEN: f64 = 0.9;

/// One top of one hand, judged as the contact of a serve.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    /// The arm taken as the hitting arm.
    pub hand: Side,
    /// Time the tossing wrist is highest, s.
    pub toss_top_s: f64,
    /// Time the hitting wrist is highest, s.
    pub top_s: f64,
    /// Mean of the signs' margins, each clipped to -1..1.
    pub score: f64,
    limits: Limits,
    /// The first missing sign, with its value.
    pub missing: Option<(Sign, f64)>,
    /// Smallest margin of all signs.
    pub weakest: (Sign, f64),
    /// How many signs are missing.
    pub missing_count: usize,
    /// Whether the hand rises overhead at all.
    pub overhead: bool,
    /// Whether the recording ends so soon after the top that no follow-through could be seen.
    cut_short: bool,
    /// How surely the order of the arms tells the hitting one, 0 to 1.
    pub hand_trust: f64,
    /// Until when the tossing hand is hidden, if it is up when it appears, s.
    pub toss_unseen_until_s: Option<f64>,
    /// From when until when the hitting hand is hidden, if it appears on its last way up, s.
    pub swing_unseen_s: Option<(f64, f64)>,
}

impl Candidate {
    /// Whether every sign is there, in a picture all but a faint one, and clear enough on the whole.
    pub(super) fn passes(&self) -> bool {
        let forgivable = match self.weakest.0 {
            Sign::FollowThrough => !self.cut_short,
            // A bent trunk is in the body, not in the view.
            Sign::TossStanding => false,
            _ => true,
        };
        let forgiven = self.limits.forgiving
            && self.missing_count == 1
            && self.weakest.1 >= FAINT
            && forgivable;
        self.score >= self.limits.least_score && (self.missing.is_none() || forgiven)
    }

    /// Why this is no serve.
    pub(super) fn reason(&self) -> String {
        match self.missing {
            Some((sign, value)) => sign.missing(value),
            None => format!(
                "like a serve, but its signs are faint (score {:.2}, at least {:.2} needed)",
                self.score, self.limits.least_score
            ),
        }
    }
}

/// Which signs a source shows, and what they must come to.
#[derive(Clone, Copy)]
struct Rules {
    travel: bool,
    apart: bool,
    limits: Limits,
}

impl Rules {
    fn of(recording: &Recording) -> Self {
        let flat = recording.dimensions == Dimensions::Two;
        Self {
            // A picture from behind hides the hand's way towards the net,
            travel: !flat || matches!(recording.view, Some(View::Side)),
            // and one camera cannot tell hands that meet from hands that cross in its sight.
            apart: !flat && !recording.capture.is_one_camera(),
            limits: match (flat, recording.capture.is_one_camera()) {
                (true, _) => IN_PICTURE,
                (false, true) => LIFTED,
                (false, false) => IN_SPACE,
            },
        }
    }

    fn weighs(self, sign: Sign) -> bool {
        match sign {
            Sign::Travel => self.travel,
            Sign::Apart => self.apart,
            _ => true,
        }
    }
}

/// The body as the search sees it.
struct Signals {
    /// Height of each wrist over the middle of the shoulders, statures; left, right.
    height: [Vec<f64>; 2],
    /// Wrist relative to the middle of the shoulders, statures.
    reach: [Vec<V3>; 2],
    /// Speed relative to the hips, statures per second.
    speed: [Vec<f64>; 2],
    /// Height of the middle of the shoulders in the capture's space, statures.
    shoulders: Vec<f64>,
    /// Whether each wrist's place is a guess of the source; left, right.
    hidden: [Vec<bool>; 2],
}

/// Tracked stretches (seconds) and the candidates in them, in order of time.
///
/// No stretch goes on over a cut, given by the first frame after each.
pub(super) fn candidates(
    recording: &Recording,
    stature: f64,
    cuts: &[usize],
) -> (Vec<(f64, f64)>, Vec<Candidate>) {
    let last = recording.frames() - 1;
    let track = Track::build(recording, &NEEDED, 0, last);
    let cutoff_hz = SEARCH_CUTOFF_HZ.min(recording.rate_hz / 3.0);
    let track = track.smoothed(cutoff_hz, cutoff_hz);
    let signals = signals(&track, stature, hidden(recording, &track));
    let rules = Rules::of(recording);
    let mut found = Vec::new();
    let mut stretches = Vec::new();
    let between = cuts.iter().map(|&after| {
        let cut_s = f64::midpoint(recording.times_s[after - 1], recording.times_s[after]);
        ((cut_s - track.start_s) / track.step_s).ceil() as usize
    });
    let between: Vec<usize> = between.collect();
    for run in runs(&signals.shoulders).into_iter().flat_map(|run| split(run, &between)) {
        let (from, to) = (run.start, run.end);
        stretches.push((track.time_s(from as f64), track.time_s((to - 1) as f64)));
        for hand in [Side::Left, Side::Right] {
            let (height, unseen) = (&signals.height[hand as usize], &signals.hidden[hand as usize]);
            let shown = shown_up(&height[from..to], &unseen[from..to], track.span(AT_TOP_S));
            for top in tops(&height[from..to]).into_iter().chain(shown) {
                found.push(judge(&track, &signals, hand, from..to, from + top, rules));
            }
        }
    }
    found.sort_by(|a, b| a.top_s.total_cmp(&b.top_s));
    (stretches, found)
}

/// The parts of a run before, between and after these samples.
fn split(run: std::ops::Range<usize>, at: &[usize]) -> Vec<std::ops::Range<usize>> {
    let inside = at.iter().copied().filter(|&at| run.start < at && at < run.end);
    let bounds: Vec<usize> =
        std::iter::once(run.start).chain(inside).chain(std::iter::once(run.end)).collect();
    bounds.windows(2).map(|pair| pair[0]..pair[1]).collect()
}

fn signals(track: &Track, stature: f64, hidden: [Vec<bool>; 2]) -> Signals {
    let empty = vec![NAN3; track.samples];
    let path = |joint| track.path(joint).unwrap_or(&empty);
    let middle = |left: Joint| -> Vec<V3> {
        let pairs = path(left).iter().zip(path(left.mirrored()));
        pairs.map(|(&l, &r)| mid(l, r)).collect()
    };
    let (shoulders, hips) = (middle(Joint::LeftShoulder), middle(Joint::LeftHip));
    let arm = |side: Side| {
        let wrist = path(of_side(Joint::LeftWrist, side));
        let relative = |origin: &[V3]| -> Vec<V3> {
            let pairs = wrist.iter().zip(origin);
            pairs.map(|(&w, &o)| scale(sub(w, o), 1.0 / stature)).collect()
        };
        let reach = relative(&shoulders);
        let from_hips = relative(&hips);
        let speed = (0..track.samples)
            .map(|i| {
                let (a, b) = (i.saturating_sub(1), (i + 1).min(track.samples - 1));
                norm(sub(from_hips[b], from_hips[a])) / ((b - a) as f64 * track.step_s)
            })
            .collect();
        let height: Vec<f64> = reach.iter().map(|r| r[2]).collect();
        (height, reach, speed)
    };
    let (left, right) = (arm(Side::Left), arm(Side::Right));
    let shoulders_up = (0..track.samples)
        .map(|i| shoulders[i][2] / stature + 0.0 * (left.0[i] + right.0[i]))
        .collect();
    Signals {
        height: [left.0, right.0],
        reach: [left.1, right.1],
        speed: [left.2, right.2],
        shoulders: shoulders_up,
        hidden,
    }
}

/// Samples at which `height` is highest between a rise and a fall of at least [`TOP_SWING`].
///
/// A stretch that begins or ends high has a top there too.
fn tops(height: &[f64]) -> Vec<usize> {
    let mut found = Vec::new();
    let (mut high, mut low, mut rising) = (0, 0, true);
    for (i, &h) in height.iter().enumerate() {
        if rising {
            if h > height[high] {
                high = i;
            } else if h < height[high] - TOP_SWING {
                found.push(high);
                (low, rising) = (i, false);
            }
        } else if h < height[low] {
            low = i;
        } else if h > height[low] + TOP_SWING {
            (high, rising) = (i, true);
        }
    }
    if rising && !height.is_empty() {
        found.push(high);
    }
    found
}

fn judge(
    track: &Track,
    signals: &Signals,
    hand: Side,
    run: std::ops::Range<usize>,
    top: usize,
    rules: Rules,
) -> Candidate {
    let (hit, toss) = (&signals.height[hand as usize], &signals.height[hand.other() as usize]);
    let search = top.saturating_sub(track.span(TOSS_SEARCH_S)).max(run.start);
    // A guess lies on a line between what was seen, or stands where nothing was before: never a top.
    let guessed = &signals.hidden[hand.other() as usize];
    let highest =
        |among: &mut dyn Iterator<Item = usize>| among.max_by(|&a, &b| toss[a].total_cmp(&toss[b]));
    let toss_top = highest(&mut (search..=top).filter(|&i| !guessed[i]))
        .or_else(|| highest(&mut (search..=top)))
        .unwrap_or(top);
    let end = (top + track.span(FOLLOW_SEARCH_S)).min(run.end - 1);
    // The follow-through ends where the hand rises again.
    let mut lowest = top;
    for i in top..=end {
        if hit[i] < hit[lowest] {
            lowest = i;
        } else if hit[i] > hit[lowest] + TOP_SWING && hit[lowest] < 0.0 {
            break;
        }
    }
    let before = toss_top.saturating_sub(track.span(1.5)).max(run.start);
    let least = |range: std::ops::RangeInclusive<usize>, of: &[f64]| {
        of[range].iter().copied().fold(f64::INFINITY, f64::min)
    };
    let most = |range: std::ops::RangeInclusive<usize>, of: &[f64]| {
        of[range].iter().copied().fold(f64::NEG_INFINITY, f64::max)
    };
    let unseen = Unseen {
        toss_until: Unseen::toss(guessed, toss, before..=toss_top, track),
        swing: Unseen::swing(&signals.hidden[hand as usize], top, track),
    };
    let swing = toss_top.max(top.saturating_sub(track.span(0.8)))..=lowest;
    let (swing_from, swing_to) = (
        top.saturating_sub(track.span(0.3)).max(run.start),
        (top + track.span(0.4)).min(run.end - 1),
    );
    let hit_speed = most(swing_from..=swing_to, &signals.speed[hand as usize]);
    let value = |sign: Sign| match sign {
        Sign::Reach => hit[top],
        Sign::Toss => toss[toss_top],
        Sign::Lead => (top - toss_top) as f64 * track.step_s,
        Sign::TossAbove => toss[toss_top] - hit[toss_top],
        Sign::HittingLow => hit[toss_top],
        Sign::Apart => {
            let reach = |side: Side| signals.reach[side as usize][toss_top];
            norm(sub(reach(hand), reach(hand.other())))
        }
        Sign::BothUp => {
            let from = toss_top.saturating_sub(track.span(1.0)).max(run.start);
            let both = (from..=lowest).filter(|&i| hit[i].min(toss[i]) > CLEARLY_UP);
            both.count() as f64 * track.step_s
        }
        Sign::HitAbove => hit[top] - toss[top],
        Sign::TossDown => toss[toss_top] - toss[top],
        Sign::StartsLow => -least(before..=toss_top, toss),
        Sign::TossStanding => {
            // Against the shoulders' height of a body that stood a moment ago.
            let from = toss_top.saturating_sub(track.span(2.0)).max(run.start);
            let mut standing = signals.shoulders[from..=toss_top].to_vec();
            standing.sort_by(f64::total_cmp);
            let upright = standing[(standing.len() - 1) * 8 / 10];
            toss[toss_top] + signals.shoulders[toss_top] - upright
        }
        Sign::Travel => horizontal_travel(&signals.reach[hand as usize][swing.clone()]),
        Sign::FollowThrough => hit[top] - hit[lowest],
        Sign::Speed => hit_speed,
        Sign::Faster => {
            let from = toss_top.saturating_sub(track.span(1.0)).max(run.start);
            hit_speed / most(from..=toss_top, &signals.speed[hand.other() as usize])
        }
    };
    let weighed: Vec<Sign> = Sign::ALL.into_iter().filter(|&sign| rules.weighs(sign)).collect();
    // What is hidden speaks neither for a serve nor against it.
    let signs: Vec<(Sign, f64, f64)> = weighed
        .iter()
        .filter(|&&sign| !unseen.hides(sign, toss_top))
        .map(|&sign| {
            let value = value(sign);
            (sign, value, sign.margin(value))
        })
        .collect();
    let all_seen = signs.len() == weighed.len();
    let weakest = signs.iter().copied().min_by(|a, b| a.2.total_cmp(&b.2)).unwrap_or((
        Sign::Reach,
        f64::NAN,
        f64::NAN,
    ));
    Candidate {
        hand,
        toss_top_s: track.time_s(toss_top as f64),
        top_s: track.time_s(top as f64),
        score: signs.iter().map(|s| s.2.clamp(-1.0, 1.0)).sum::<f64>() / signs.len() as f64,
        limits: Limits {
            least_score: if unseen.both() { HARDLY_SEEN } else { rules.limits.least_score },
            // A hidden sign is the one that may be missing.
            forgiving: rules.limits.forgiving && all_seen,
        },
        toss_unseen_until_s: unseen.toss_until.map(|at| track.time_s(at as f64)),
        swing_unseen_s: unseen
            .swing
            .map(|part| (track.time_s(part.start as f64), track.time_s(part.end as f64))),
        // Signs are listed from the plainest to a coach to the least; the first one missing speaks.
        missing: signs.iter().find(|s| s.2 < 0.0).map(|s| (s.0, s.1)),
        missing_count: signs.iter().filter(|s| s.2 < 0.0).count(),
        overhead: signs.iter().all(|s| s.0 != Sign::Reach || s.2 >= 0.0),
        hand_trust: 0.7
            + 0.29
                * signs
                    .iter()
                    .filter(|s| matches!(s.0, Sign::Lead | Sign::TossAbove | Sign::HitAbove))
                    .map(|s| s.2.clamp(0.0, 1.0))
                    .fold(1.0, f64::min),
        cut_short: run.end - 1 - top < track.span(FOLLOWS_S),
        weakest: (weakest.0, weakest.2),
    }
}

/// Greatest horizontal distance from the first to any later point of the path, over all firsts.
fn horizontal_travel(path: &[V3]) -> f64 {
    let stride = (path.len() / 60).max(1);
    let points: Vec<&V3> = path.iter().step_by(stride).collect();
    let mut furthest = 0.0f64;
    for (i, a) in points.iter().enumerate() {
        for b in &points[i..] {
            furthest = furthest.max((b[0] - a[0]).hypot(b[1] - a[1]));
        }
    }
    furthest
}
