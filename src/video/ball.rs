//! The tossed ball, followed where the camera stands still: small, on its own, and falling as things
//! fall.
//!
//! What differs from the frames shortly before and after is cut into blobs of a ball's size, away from
//! the body. Among them the parabola with the most blobs is sought that starts upwards at the tossing
//! hand; gravity is known from the figure's size. The ball is followed only where it is seen in most of
//! the frames it should be in.

use std::ops::Range;
use std::path::Path;

use super::errors::ClipError;
use super::frame::Frame;
use super::frames::Frames;
use super::probe::ClipInfo;
use crate::work::Watch;

/// Diameter of a ball over a player's height, 6.7 cm to 1.75 m.
const BALL: f64 = 0.038;
/// A player is looked at this tall, in pixels, or smaller.
const TALL_PX: f64 = 240.0;
/// Metres a second squared over 1.75 m.
const GRAVITY: f64 = 9.81 / 1.75;
/// Players and tilted cameras differ: shares of that.
const GRAVITIES: [f64; 5] = [0.8, 0.9, 1.0, 1.1, 1.2];
/// A blob is brighter or darker than before and after by at least this, of 255.
const STANDS_OUT: i16 = 14;
/// It is held against the frames this long before and after: a ball is elsewhere then.
const APART_S: f64 = 0.034;
/// Most blobs a frame; more means that the picture moves as a whole.
const MOST_BLOBS: usize = 24;
/// Nothing is looked for this near to the body, over the player's height.
const BODY: f64 = 0.05;
/// A blob belongs to a parabola this near to it, over the player's height.
const NEAR: f64 = 0.02;
/// The ball is seen for so long at least, and in this share of the frames meanwhile.
const LEAST_S: f64 = 0.25;
const LEAST_SHARE: f64 = 0.7;
/// At the release ball and wrist are no further apart than this, over the player's height.
const IN_HAND: f64 = 0.12;
/// They part where the ball leaves the wrist behind at this share of its own speed.
const PARTING: f64 = 0.35;
/// Pairs of blobs tried as the start of a parabola.
const MOST_PAIRS: usize = 8000;
/// Slowest toss, player's heights a second.
const SLOWEST: f64 = 0.8;

/// Where the ball may be looked for.
pub struct Toss<'a> {
    /// The clip.
    pub clip: &'a Path,
    /// What its container says, where that is at hand: then it need not be decoded from its start.
    pub info: Option<&'a ClipInfo>,
    /// Frames of the clip from before the toss to contact.
    pub frames: Range<usize>,
    /// Time of each, seconds.
    pub times_s: Vec<f64>,
    /// The player's standing height, pixels.
    pub tall_px: f64,
    /// Wrist of the tossing hand in each, column and row.
    pub hand: Vec<Option<[f64; 2]>>,
    /// The body in each, as lines.
    pub body: Vec<Vec<[[f64; 2]; 2]>>,
    /// Picture across and down, pixels.
    pub size_px: (usize, usize),
}

/// A ball that was followed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BallFlightSeen {
    /// When it left the hand, seconds.
    pub release_s: f64,
    /// When it was highest, seconds.
    pub highest_s: f64,
    /// How high it rose above where it left the hand, over the player's height.
    pub rise: f64,
    /// How far it had dropped from its highest at the last frame, over the player's height.
    pub drop: f64,
    /// How far to the picture's right it was then of where it left the hand, over the player's height.
    pub aside: f64,
    /// Frames in which it was seen.
    pub seen: usize,
}

/// Follows the ball; `None` where none is seen for sure.
///
/// # Cost
/// Decodes the clip up to the last frame asked for, from shortly before the first one where the
/// container tells how to get there; memory for a small grey picture of each frame asked for.
///
/// # Errors
/// [`ClipError`] if the clip cannot be decoded or the work was stopped.
pub fn follow_ball(toss: &Toss<'_>, watch: &Watch) -> Result<Option<BallFlightSeen>, ClipError> {
    let Some(view) = Looking::at(toss) else { return Ok(None) };
    let mut frames = Frames::of_area(toss.clip, view.area_px, view.size_px);
    if let Some(info) = toss.info {
        frames = frames.beginning_at(toss.frames.start, info);
    }
    let mut greys = Vec::with_capacity(toss.frames.len());
    for frame in toss.frames.clone() {
        match frames.at(frame, watch)? {
            Some(picture) => greys.push(Grey::of(picture)),
            None => return Ok(None),
        }
    }
    Ok(follow(&greys, toss, &view))
}

/// The part of the picture that is looked at, and how much smaller.
struct Looking {
    area_px: [usize; 4],
    size_px: (usize, usize),
    scale: f64,
}

impl Looking {
    /// From the hips up to a toss as high as the player again; to either side a little more than an arm.
    fn at(toss: &Toss<'_>) -> Option<Self> {
        let seen: Vec<[f64; 2]> = toss.hand.iter().copied().flatten().collect();
        if seen.len() * 2 < toss.hand.len() || toss.times_s.len() != toss.frames.len() {
            return None;
        }
        let (mut left, mut right) = (f64::INFINITY, f64::NEG_INFINITY);
        let (mut top, mut bottom) = (f64::INFINITY, f64::NEG_INFINITY);
        for [x, y] in seen {
            (left, right) = (left.min(x), right.max(x));
            (top, bottom) = (top.min(y), bottom.max(y));
        }
        let tall = toss.tall_px;
        let (width, height) = (toss.size_px.0 as f64, toss.size_px.1 as f64);
        let left = (left - 0.5 * tall).clamp(0.0, width - 2.0).floor();
        let right = (right + 0.5 * tall).clamp(left + 2.0, width);
        let top = (top - 1.1 * tall).clamp(0.0, height - 2.0).floor();
        let bottom = (bottom + 0.05 * tall).clamp(top + 2.0, height);
        let scale = (TALL_PX / tall).min(1.0);
        let area_px = [left, top, right - left, bottom - top].map(|v| v as usize);
        let small = |px: usize| ((px as f64 * scale) as usize).max(8);
        Some(Self { area_px, size_px: (small(area_px[2]), small(area_px[3])), scale })
    }

    /// A place of the whole picture as it is looked at.
    fn place(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [(x - self.area_px[0] as f64) * self.scale, (y - self.area_px[1] as f64) * self.scale]
    }
}

/// A grey picture.
struct Grey {
    width: usize,
    values: Vec<u8>,
}

impl Grey {
    fn of(frame: &Frame) -> Self {
        let values = frame
            .rgb
            .chunks_exact(3)
            .map(|p| ((u16::from(p[0]) + 2 * u16::from(p[1]) + u16::from(p[2])) / 4) as u8);
        Self { width: frame.width, values: values.collect() }
    }
}

/// A blob of a ball's size.
#[derive(Debug, Clone, Copy)]
struct Blob {
    frame: usize,
    at: [f64; 2],
}

fn follow(greys: &[Grey], toss: &Toss<'_>, view: &Looking) -> Option<BallFlightSeen> {
    let tall = toss.tall_px * view.scale;
    let (first, last) = (toss.times_s.first()?, toss.times_s.last()?);
    let step_s = (last - first) / (toss.times_s.len() - 1).max(1) as f64;
    let apart = ((APART_S / step_s).round() as usize).max(1);
    let mut found: Vec<Blob> = Vec::new();
    for frame in apart..greys.len().saturating_sub(apart) {
        let blobs = blobs(&greys[frame - apart], &greys[frame], &greys[frame + apart], BALL * tall);
        // A picture that moves as a whole shows no ball.
        if blobs.len() > MOST_BLOBS {
            continue;
        }
        let body: Vec<[[f64; 2]; 2]> =
            toss.body[frame].iter().map(|line| line.map(|end| view.place(end))).collect();
        let free = |at: &[f64; 2]| body.iter().all(|line| off_line(*at, *line) > BODY * tall);
        found.extend(blobs.into_iter().filter(free).map(|at| Blob { frame, at }));
    }
    let flight = Flight::through(&found, &toss.times_s, tall)?;
    flight.seen_from(toss, view, tall)
}

/// Middles of what is of a ball's size and differs from both other pictures.
fn blobs(before: &Grey, now: &Grey, after: &Grey, ball_px: f64) -> Vec<[f64; 2]> {
    let width = now.width;
    let of = |v: u8| i16::from(v);
    let mut open: Vec<bool> = now
        .values
        .iter()
        .zip(&before.values)
        .zip(&after.values)
        .map(|((&now, &before), &after)| {
            (of(now) - of(before)).abs().min((of(now) - of(after)).abs()) > STANDS_OUT
        })
        .collect();
    // Blurred, a ball is several times as long as wide.
    let (least, longest, widest) =
        ((0.15 * ball_px * ball_px).max(2.0), 4.0 * ball_px + 4.0, 2.0 * ball_px + 3.0);
    let mut found = Vec::new();
    let mut edge = Vec::new();
    for start in 0..open.len() {
        if !open[start] {
            continue;
        }
        open[start] = false;
        edge.push(start);
        let (mut area, mut sum) = (0.0, [0.0; 2]);
        let (mut low, mut high) = ([usize::MAX; 2], [0; 2]);
        while let Some(at) = edge.pop() {
            let place = [at % width, at / width];
            area += 1.0;
            for axis in 0..2 {
                sum[axis] += place[axis] as f64 + 0.5;
                low[axis] = low[axis].min(place[axis]);
                high[axis] = high[axis].max(place[axis]);
            }
            let beside = [
                (place[0] > 0).then(|| at - 1),
                (place[0] + 1 < width).then(|| at + 1),
                at.checked_sub(width),
                Some(at + width).filter(|at| *at < open.len()),
            ];
            for next in beside.into_iter().flatten() {
                if open[next] {
                    open[next] = false;
                    edge.push(next);
                }
            }
        }
        let sides = [0, 1].map(|axis| (high[axis] - low[axis] + 1) as f64);
        let (long, wide) = (sides[0].max(sides[1]), sides[0].min(sides[1]));
        if area >= least && long <= longest && wide <= widest {
            found.push(sum.map(|sum| sum / area));
        }
    }
    found
}

/// A parabola in the picture, from a place at a time.
#[derive(Debug, Clone, Copy)]
struct Flight {
    at_s: f64,
    at: [f64; 2],
    /// Pixels a second, rows down.
    speed: [f64; 2],
    /// Pixels a second squared.
    gravity: f64,
    first: usize,
    last: usize,
    seen: usize,
}

impl Flight {
    fn place(&self, time_s: f64) -> [f64; 2] {
        let t = time_s - self.at_s;
        [
            self.at[0] + self.speed[0] * t,
            self.at[1] + self.speed[1] * t + 0.5 * self.gravity * t * t,
        ]
    }

    fn highest_s(&self) -> f64 {
        self.at_s - self.speed[1] / self.gravity
    }

    /// The parabola with the most blobs, if it has enough.
    fn through(blobs: &[Blob], times_s: &[f64], tall: f64) -> Option<Self> {
        let apart_s = |a: &Blob, b: &Blob| times_s[b.frame] - times_s[a.frame];
        let mut pairs: Vec<(&Blob, &Blob)> = Vec::new();
        for (i, a) in blobs.iter().enumerate() {
            let near = blobs[i + 1..].iter().take_while(|b| apart_s(a, b) <= 0.2);
            pairs.extend(near.filter(|b| apart_s(a, b) >= 0.06).map(|b| (a, b)));
        }
        // A ball that is seen makes hundreds of pairs, so a share of very many is enough.
        let stride = pairs.len().div_ceil(MOST_PAIRS).max(1);
        let mut best: Option<Self> = None;
        for (a, b) in pairs.into_iter().step_by(stride) {
            let apart_s = apart_s(a, b);
            for share in GRAVITIES {
                let gravity = share * GRAVITY * tall;
                let speed = [
                    (b.at[0] - a.at[0]) / apart_s,
                    (b.at[1] - a.at[1]) / apart_s - 0.5 * gravity * apart_s,
                ];
                // The first two lie on the way up, and a toss goes up more than aside.
                if speed[1] > -0.3 * tall || speed[0].abs() > 0.8 * tall {
                    continue;
                }
                let (at_s, first) = (times_s[a.frame], a.frame);
                let flight = Self { at_s, at: a.at, speed, gravity, first, last: first, seen: 0 }
                    .counted(blobs, times_s, tall);
                if best.is_none_or(|best| flight.seen > best.seen) {
                    best = Some(flight);
                }
            }
        }
        best.filter(|flight| {
            let lasts_s = times_s[flight.last] - times_s[flight.first];
            let frames = (flight.last - flight.first + 1) as f64;
            lasts_s >= LEAST_S && flight.seen as f64 >= LEAST_SHARE * frames
        })
    }

    /// With the frames in which a blob lies on it.
    fn counted(mut self, blobs: &[Blob], times_s: &[f64], tall: f64) -> Self {
        let mut before = None;
        for blob in blobs {
            let [x, y] = self.place(times_s[blob.frame]);
            let near = (blob.at[0] - x).hypot(blob.at[1] - y) <= NEAR * tall;
            if !near || before == Some(blob.frame) {
                continue;
            }
            // A pause longer than a blink ends it: what comes later is something else.
            let pause = before.is_some_and(|at: usize| times_s[blob.frame] - times_s[at] > 0.12);
            if pause && blob.frame > self.first && self.seen > 3 {
                break;
            }
            if before.is_none() || pause {
                (self.first, self.seen) = (blob.frame, 0);
            }
            self.last = blob.frame;
            self.seen += 1;
            before = Some(blob.frame);
        }
        self
    }

    /// When it left the tossing hand, if it came from there.
    fn seen_from(&self, toss: &Toss<'_>, view: &Looking, tall: f64) -> Option<BallFlightSeen> {
        let apart = |frame: usize| {
            let [x, y] = self.place(toss.times_s[frame]);
            let [hand_x, hand_y] = view.place(toss.hand[frame]?);
            Some((x - hand_x).hypot(y - hand_y) / tall)
        };
        let from = (0..=self.first)
            .rev()
            .find(|&frame| toss.times_s[self.first] - toss.times_s[frame] > 0.3);
        let offs: Vec<(usize, f64)> = (from.unwrap_or(0)..=self.first.min(toss.hand.len() - 1))
            .filter_map(|frame| apart(frame).map(|off| (frame, off)))
            .collect();
        let &(_, least) = offs.iter().min_by(|a, b| a.1.total_cmp(&b.1))?;
        if least > IN_HAND {
            return None;
        }
        // It is let go after the last frame in which the hand still goes with it.
        let with_it = |frame: usize| {
            let (a, b) = (frame.checked_sub(1)?, frame + 1);
            let past_hand = |frame: usize| {
                let ([x, y], hand) =
                    (self.place(toss.times_s[frame]), view.place(toss.hand[frame]?));
                Some([x - hand[0], y - hand[1]])
            };
            let time_s = *toss.times_s.get(b)? - toss.times_s[a];
            let (from, to) = (past_hand(a)?, past_hand(b)?);
            let parting = (to[0] - from[0]).hypot(to[1] - from[1]) / time_s;
            let down = self.speed[1] + self.gravity * (toss.times_s[frame] - self.at_s);
            Some(parting <= PARTING * self.speed[0].hypot(down))
        };
        let (frame, _) = *offs.iter().rev().find(|(frame, _)| with_it(*frame) == Some(true))?;
        let next = (frame + 1).min(toss.times_s.len() - 1);
        let release_s = f64::midpoint(toss.times_s[frame], toss.times_s[next]);
        let (from, highest_s) = (self.place(release_s), self.highest_s());
        let rises = -(self.speed[1] + self.gravity * (release_s - self.at_s));
        if rises < SLOWEST * tall || highest_s <= release_s {
            return None;
        }
        let (top, end) = (self.place(highest_s), self.place(*toss.times_s.last()?));
        Some(BallFlightSeen {
            release_s,
            highest_s,
            rise: (from[1] - top[1]) / tall,
            drop: (end[1] - top[1]).max(0.0) / tall,
            aside: (end[0] - from[0]) / tall,
            seen: self.seen,
        })
    }
}

fn off_line([x, y]: [f64; 2], [a, b]: [[f64; 2]; 2]) -> f64 {
    let (along_x, along_y) = (b[0] - a[0], b[1] - a[1]);
    let length2 = along_x * along_x + along_y * along_y;
    let part = if length2 > 0.0 {
        (((x - a[0]) * along_x + (y - a[1]) * along_y) / length2).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (x - a[0] - part * along_x).hypot(y - a[1] - part * along_y)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames of a real clip (`tests/fixtures/video/fetch.sh`): somebody who moves before a court.
    fn real_frames(name: &str) -> Option<Vec<Frame>> {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/video-clips").join(name);
        if !path.is_file() {
            crate::skip::skipped(format!("{name} is absent; tests/fixtures/video/fetch.sh"));
            return None;
        }
        let mut frames = Frames::of_area(&path, [0, 0, 1080, 1920], (270, 480));
        (0..90).map(|frame| frames.at(frame, &Watch::default()).unwrap().cloned()).collect()
    }

    const TALL_PX: f64 = 240.0;
    const RATE_HZ: f64 = 60.0;

    struct Planted {
        release_s: f64,
        from: [f64; 2],
        /// Pixels a second.
        up: f64,
        aside: f64,
    }

    /// Plants a bright ball with its blur, and a hand that carries it up and then stays behind.
    fn plant(frames: &mut [Frame], planted: &Planted, ball: bool) -> Vec<Option<[f64; 2]>> {
        let radius = 0.5 * BALL * TALL_PX;
        let gravity = GRAVITY * TALL_PX;
        let place = |since_s: f64| {
            let (u, v) = (planted.aside * since_s, planted.up * since_s);
            [planted.from[0] + u, planted.from[1] - v + 0.5 * gravity * since_s * since_s]
        };
        let mut hand = Vec::new();
        for (k, frame) in frames.iter_mut().enumerate() {
            let since_s = k as f64 / RATE_HZ - planted.release_s;
            let slowed = 1.0 - (-since_s.max(0.0) / 0.08).exp();
            let hand_y = planted.from[1] + 10.0
                - if since_s < 0.0 { planted.up * since_s } else { 0.06 * planted.up * slowed };
            hand.push(Some([planted.from[0], hand_y]));
            if !ball || !(0.0..=0.9).contains(&since_s) {
                continue;
            }
            for y in 0..frame.height {
                for x in 0..frame.width {
                    let mut covered = 0.0;
                    for sub in 0..6 {
                        let [at_x, at_y] = place(since_s + f64::from(sub) / 6.0 * 0.5 / RATE_HZ);
                        let off = (x as f64 + 0.5 - at_x).hypot(y as f64 + 0.5 - at_y);
                        covered += (radius + 0.5 - off).clamp(0.0, 1.0) / 6.0;
                    }
                    for c in 0..3 {
                        let pixel = &mut frame.rgb[3 * (y * frame.width + x) + c];
                        *pixel = (f64::from(*pixel) * (1.0 - covered) + 225.0 * covered) as u8;
                    }
                }
            }
        }
        hand
    }

    fn followed(frames: &[Frame], hand: Vec<Option<[f64; 2]>>) -> Option<BallFlightSeen> {
        let count = frames.len();
        let toss = Toss {
            clip: Path::new("planted"),
            info: None,
            frames: 0..count,
            times_s: (0..count).map(|k| k as f64 / RATE_HZ).collect(),
            tall_px: TALL_PX,
            hand,
            body: vec![Vec::new(); count],
            size_px: (270, 480),
        };
        let view = Looking { area_px: [0, 0, 270, 480], size_px: (270, 480), scale: 1.0 };
        let greys: Vec<Grey> = frames.iter().map(Grey::of).collect();
        follow(&greys, &toss, &view)
    }

    /// Planted balls over real pictures; not real balls. The person in them is not told of, so what
    /// moves of the body is in the way.
    #[test]
    fn a_planted_ball_is_followed_and_none_is_seen_where_none_was_planted() {
        let (mut of, mut release_off, mut highest_off, mut rise_off) = (0, vec![], vec![], vec![]);
        for name in ["cam01.mp4", "cam02.mp4", "cam03.mp4", "cam04.mp4"] {
            let Some(frames) = real_frames(name) else { return };
            for (k, x) in [70.0, 135.0, 200.0].into_iter().enumerate() {
                let planted = Planted {
                    release_s: 0.4 + 0.1 * k as f64,
                    from: [x, 200.0],
                    up: (2.6 + 0.2 * k as f64) * TALL_PX,
                    aside: (0.1 * k as f64 - 0.1) * TALL_PX,
                };
                let mut with = frames.clone();
                let hand = plant(&mut with, &planted, true);
                let none = followed(&frames, plant(&mut frames.clone(), &planted, false));
                assert_eq!(none, None, "{name} {x}");
                of += 1;
                let Some(seen) = followed(&with, hand) else { continue };
                let highest_s = planted.release_s + planted.up / (GRAVITY * TALL_PX);
                let rise = planted.up.powi(2) / (2.0 * GRAVITY * TALL_PX * TALL_PX);
                release_off.push((seen.release_s - planted.release_s).abs());
                highest_off.push((seen.highest_s - highest_s).abs());
                rise_off.push((seen.rise - rise).abs());
            }
        }
        let right = release_off.len();
        assert!(right * 10 >= of * 8, "{right} of {of}");
        for (what, mut off, usual, most) in [
            ("release, s", release_off, 0.03, 0.1),
            ("highest, s", highest_off, 0.03, 0.05),
            ("rise, statures", rise_off, 0.06, 0.25),
        ] {
            off.sort_by(f64::total_cmp);
            assert!(off[right / 2] < usual && off[right - 1] < most, "{what}: {off:?}");
        }
    }
}
