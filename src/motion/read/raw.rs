//! From what a file holds to a [`Recording`]: time, axes, unit and sides are settled here, the
//! same way for every layout, and everything the file left open is written down.

use super::ReadOptions;
use super::errors::{FilePlace, ReadErrorKind};
use super::layout::{Layout, SourceUnit, Up};
use crate::motion::{Assumption, Capture, Dimensions, Joint, Recording, Unit};
use crate::remedy::Remedy;

/// Lowest and highest sample rate taken, Hz.
const RATES_HZ: (f64, f64) = (1.0, 20_000.0);

/// Uneven times may leave out so many frames for each one held.
const SPREAD: f64 = 50.0;

/// No coordinate of a recording lies farther out than this, in whatever unit (10 km in mm).
const FARTHEST: f64 = 1e7;

/// Height from ankles to head of a standing person, metres.
const BODY_M: std::ops::RangeInclusive<f64> = 1.0..=2.3;

/// When the frames were taken.
pub(super) enum Times {
    /// Evenly, at the rate the file states, if it does.
    Even(Option<f64>),
    /// At these times in seconds; where they fit the stated rate but for rounding, at that.
    Each { times_s: Vec<f64>, stated_hz: Option<f64> },
}

/// How the file's axes lie.
#[derive(Clone, Copy)]
pub(super) enum Axes {
    /// Right-handed, this axis up.
    Up(Up),
    /// Right-handed, the upward axis is not stated.
    Open,
    /// x to the camera's right, y up, z away from the camera: left-handed.
    CameraLeftHanded,
}

/// One recording in its file's own space.
pub(super) struct Raw {
    pub(super) layout: Layout,
    pub(super) format: String,
    /// Each joint once, any order.
    pub(super) joints: Vec<Joint>,
    /// Frames x joints; NaN = gap.
    pub(super) positions: Vec<[f64; 3]>,
    pub(super) confidence: Option<Vec<f32>>,
    pub(super) times: Times,
    pub(super) dimensions: Dimensions,
    /// `None`: not stated.
    pub(super) unit: Option<SourceUnit>,
    pub(super) axes: Axes,
    pub(super) capture: Capture,
    pub(super) subject: Option<String>,
    /// Labels that told us nothing, for the message when joints are missing.
    pub(super) unknown: Vec<String>,
    pub(super) assumptions: Vec<Assumption>,
}

/// Shorthand for one assumption.
pub(super) fn assumed(what: &str, taken: impl Into<String>, why: impl Into<String>) -> Assumption {
    Assumption { what: what.to_owned(), taken: taken.into(), why: why.into() }
}

/// `value` if it is finite and within reach.
pub(super) fn checked(value: f64, place: impl FnOnce() -> FilePlace) -> Result<f64, ReadErrorKind> {
    if !value.is_finite() {
        Err(ReadErrorKind::NotFinite { place: place(), found: value.to_string() })
    } else if value.abs() > FARTHEST {
        Err(ReadErrorKind::OutOfRange { place: place(), found: value, limit: FARTHEST })
    } else {
        Ok(value)
    }
}

impl Raw {
    pub(super) fn settle(mut self, options: &ReadOptions) -> Result<Recording, ReadErrorKind> {
        if self.joints.is_empty() || self.positions.is_empty() {
            return Err(if self.joints.is_empty() {
                self.missing(Joint::CORE.to_vec())
            } else {
                ReadErrorKind::NoFrames
            });
        }
        self.order_joints()?;
        let frames = self.positions.len() / self.joints.len();
        let (times_s, rate_hz) = self.settle_time(options, frames)?;
        self.settle_axes(options)?;
        let unit = self.settle_unit(options);
        if self.dimensions == Dimensions::Three {
            self.look_at_sides();
        }
        let recording = Recording {
            joints: self.joints,
            times_s,
            positions: self.positions,
            confidence: self.confidence,
            rate_hz,
            dimensions: self.dimensions,
            unit,
            capture: options.capture.unwrap_or(self.capture),
            view: options.view,
            subject: self.subject,
            format: self.format,
            assumptions: self.assumptions,
        };
        Ok(if options.mirror {
            let mut turned = recording.mirrored();
            turned.assumptions.push(assumed("sides", "left and right swapped", "as asked"));
            turned
        } else {
            recording
        })
    }

    fn missing(&self, missing: Vec<Joint>) -> ReadErrorKind {
        ReadErrorKind::MissingJoints { missing, unknown: self.unknown.clone() }
    }

    /// Canonical joint order; joints never measured are left out.
    fn order_joints(&mut self) -> Result<(), ReadErrorKind> {
        let width = self.joints.len();
        let mut kept: Vec<usize> = (0..width)
            .filter(|&j| self.positions.iter().skip(j).step_by(width).any(|p| !p[0].is_nan()))
            .collect();
        if kept.is_empty() {
            return Err(ReadErrorKind::NothingMeasured);
        }
        kept.sort_by_key(|&j| self.joints[j]);
        let joints: Vec<Joint> = kept.iter().map(|&j| self.joints[j]).collect();
        let missing: Vec<Joint> =
            Joint::CORE.into_iter().filter(|joint| !joints.contains(joint)).collect();
        if !missing.is_empty() {
            return Err(self.missing(missing));
        }
        if kept.iter().copied().ne(0..width) {
            self.positions = pick(&self.positions, width, &kept);
            if let Some(confidence) = &mut self.confidence {
                *confidence = pick(confidence, width, &kept);
            }
            self.joints = joints;
        }
        Ok(())
    }

    fn settle_time(
        &mut self,
        options: &ReadOptions,
        frames: usize,
    ) -> Result<(Vec<f64>, f64), ReadErrorKind> {
        let in_range = |rate_hz: f64| {
            let (min, max) = RATES_HZ;
            if rate_hz >= min && rate_hz <= max {
                Ok(rate_hz)
            } else {
                Err(ReadErrorKind::RateOutOfRange { rate_hz, min, max })
            }
        };
        let even = |rate_hz: f64| (0..frames).map(|frame| frame as f64 / rate_hz).collect();
        let times = std::mem::replace(&mut self.times, Times::Even(None));
        if let Some(given) = options.rate_hz {
            let given = in_range(given)?;
            let stated = match &times {
                Times::Even(stated) => *stated,
                Times::Each { times_s, .. } => {
                    even_rate(times_s, None).or_else(|| median_rate(times_s))
                }
            };
            if let Some(stated) = stated
                && (stated - given).abs() > 1e-3 * given
            {
                self.assumptions.push(assumed(
                    "rate",
                    format!("{given} Hz"),
                    format!("as asked; the file says {stated:.6} Hz"),
                ));
            }
            return Ok((even(given), given));
        }
        match times {
            Times::Even(Some(stated)) => {
                let stated = in_range(stated)?;
                Ok((even(stated), stated))
            }
            Times::Even(None) => {
                if self.layout != Layout::Depth20 {
                    return Err(ReadErrorKind::RateUnknown);
                }
                self.assumptions.push(assumed(
                    "rate",
                    "15 Hz",
                    "the file does not say; public depth-sensor tables of this layout hold 15 frames a second",
                ));
                Ok((even(15.0), 15.0))
            }
            Times::Each { times_s: each, stated_hz } => {
                for (frame, pair) in each.windows(2).enumerate() {
                    if pair[1] <= pair[0] {
                        return Err(ReadErrorKind::TimeNotIncreasing {
                            place: FilePlace::Frame(frame + 1),
                            before: pair[0],
                            here: pair[1],
                        });
                    }
                }
                if each.len() == 1 {
                    let rate_hz = in_range(stated_hz.ok_or(ReadErrorKind::RateUnknown)?)?;
                    return Ok((each, rate_hz));
                }
                if let Some(rate_hz) = even_rate(&each, stated_hz) {
                    let rate_hz = in_range(rate_hz)?;
                    let times = (0..frames).map(|frame| each[0] + frame as f64 / rate_hz);
                    return Ok((times.collect(), rate_hz));
                }
                let rate_hz = in_range(median_rate(&each).ok_or(ReadErrorKind::RateUnknown)?)?;
                // On an even grid such a recording would grow beyond what its file justifies.
                let span_s = each[frames - 1] - each[0];
                if span_s * rate_hz > SPREAD * frames as f64 {
                    let step_s = 1.0 / rate_hz;
                    return Err(ReadErrorKind::TimeLeaps { frames, span_s, step_s });
                }
                self.assumptions.push(assumed(
                    "rate",
                    format!("{rate_hz:.3} Hz"),
                    "the frames are unevenly spaced; this is the median spacing",
                ));
                Ok((each, rate_hz))
            }
        }
    }

    fn settle_axes(&mut self, options: &ReadOptions) -> Result<(), ReadErrorKind> {
        let flat = self.dimensions == Dimensions::Two;
        let up = match (options.up, self.axes) {
            (Some(up), _) => up,
            (None, Axes::Up(up)) => up,
            (None, Axes::CameraLeftHanded) => {
                // (x right, y up, z away) -> (x right, y away, z up): the exchange of two axes
                // undoes the left-handedness and leaves the person's sides as named.
                for p in &mut self.positions {
                    *p = [p[0], p[2], p[1]];
                }
                return Ok(());
            }
            (None, Axes::Open) => self.infer_up()?,
        };
        if flat && !matches!(up, Up::Y | Up::MinusY) {
            return Err(ReadErrorKind::FlatUp { up });
        }
        if matches!(self.axes, Axes::CameraLeftHanded) {
            for p in &mut self.positions {
                p[0] = -p[0];
            }
        }
        for p in &mut self.positions {
            *p = up.to_z_up(*p);
            if flat && !p[0].is_nan() {
                p[1] = 0.0;
            }
        }
        Ok(())
    }

    fn infer_up(&mut self) -> Result<Up, ReadErrorKind> {
        let (best, share) = self.upright_axis().unwrap_or((Up::Z, 0.0));
        if share < 0.6 {
            let share_percent = (share * 100.0).round() as u32;
            return Err(ReadErrorKind::UpUnknown { best, share_percent });
        }
        self.assumptions.push(assumed(
            "up",
            best.name(),
            format!(
                "head above hips above ankles along it in {:.0} % of the frames",
                share * 100.0
            ),
        ));
        Ok(best)
    }

    /// The axis along which most frames have the head farthest above the ankles, with the hips
    /// between, and the share of the frames (of those that show all three) that agree.
    fn upright_axis(&self) -> Option<(Up, f64)> {
        let mut votes = [0_usize; 6];
        let mut seen = 0_usize;
        for frame in self.frames() {
            let (Some(head), Some(hips), Some(ankles)) =
                (self.top(frame), self.mean(frame, HIPS), self.mean(frame, ANKLES))
            else {
                continue;
            };
            seen += 1;
            let (slot, up) = Up::ALL.into_iter().enumerate().max_by(|(_, a), (_, b)| {
                a.along(minus(head, ankles)).total_cmp(&b.along(minus(head, ankles)))
            })?;
            let ordered = up.along(minus(head, hips)) > 0.0 && up.along(minus(hips, ankles)) > 0.0;
            votes[slot] += usize::from(ordered);
        }
        let (slot, &most) = votes.iter().enumerate().max_by_key(|&(slot, &n)| (n, 6 - slot))?;
        (seen > 0).then(|| (Up::ALL[slot], most as f64 / seen as f64))
    }

    fn settle_unit(&mut self, options: &ReadOptions) -> Unit {
        let height = self.height();
        let unit = options.unit.or(self.unit).unwrap_or_else(|| {
            if self.dimensions == Dimensions::Two {
                return SourceUnit::Pixel;
            }
            let fits = [SourceUnit::Metre, SourceUnit::Centimetre, SourceUnit::Millimetre]
                .into_iter()
                .find(|unit| {
                    let metres = unit.metres().unwrap_or(f64::NAN);
                    height.is_some_and(|height| BODY_M.contains(&(height * metres)))
                });
            let why = height.map_or_else(
                || "not stated, and no frame shows head and ankles together".to_owned(),
                |height| format!("not stated; the body measures {height:.3} from ankles to head"),
            );
            let taken = fits.unwrap_or(SourceUnit::Arbitrary);
            let name = if taken == SourceUnit::Arbitrary { "unknown scale" } else { taken.name() };
            self.assumptions.push(assumed("unit", name, why));
            taken
        });
        let Some(metres) = unit.metres() else {
            return if unit == SourceUnit::Pixel { Unit::Pixel } else { Unit::Arbitrary };
        };
        if let Some(height) = height
            && !(0.5 * BODY_M.start()..=1.3 * BODY_M.end()).contains(&(height * metres))
        {
            self.assumptions.push(assumed(
                "unit",
                unit.name(),
                format!(
                    "as stated, although that makes the body {:.3} m from ankles to head: {}",
                    height * metres,
                    Remedy::CheckUnit
                ),
            ));
        }
        if metres != 1.0 {
            for p in &mut self.positions {
                *p = p.map(|x| x * metres);
            }
        }
        Unit::Metre
    }

    /// Length from ankles to head when the body is straightest (95th percentile of the frames).
    fn height(&self) -> Option<f64> {
        let mut heights: Vec<f64> = self
            .frames()
            .filter_map(|frame| Some(length(minus(self.top(frame)?, self.mean(frame, ANKLES)?))))
            .collect();
        heights.sort_by(f64::total_cmp);
        let last = heights.len().checked_sub(1)?;
        heights.get(last * 95 / 100).copied()
    }

    /// Do toes and nose lie on the side of the body that the named left and right make its
    /// front? If not, the sides are named the wrong way round, or the space is mirrored.
    fn look_at_sides(&mut self) {
        let (mut ahead, mut seen) = (0_usize, 0_usize);
        for frame in self.frames() {
            let (Some(left), Some(right)) = (
                self.mean(frame, &[Joint::LeftShoulder, Joint::LeftHip]),
                self.mean(frame, &[Joint::RightShoulder, Joint::RightHip]),
            ) else {
                continue;
            };
            let [x, y, _] = minus(left, right);
            // left x up
            let front = [y, -x];
            for (tip, base) in [
                (Joint::LeftToe, [Joint::LeftHeel, Joint::LeftAnkle].as_slice()),
                (Joint::RightToe, &[Joint::RightHeel, Joint::RightAnkle]),
                (Joint::Nose, &[Joint::LeftEar, Joint::RightEar]),
            ] {
                let (Some(tip), Some(base)) = (self.mean(frame, &[tip]), self.mean(frame, base))
                else {
                    continue;
                };
                let d = minus(tip, base);
                seen += 1;
                ahead += usize::from(d[0] * front[0] + d[1] * front[1] > 0.0);
            }
        }
        if seen == 0 {
            return;
        }
        let percent = 100.0 * ahead as f64 / seen as f64;
        if self.layout == Layout::Depth20 {
            self.assumptions.push(assumed(
                "sides",
                "side A is right, x points to the camera's right",
                format!(
                    "by convention: the file does not name the sides, and the picture may be \
                     mirrored; read this way, the feet point to the front of the body in \
                     {percent:.0} % of the frames, but read mirrored they would too: let the \
                     motion or the user say which hand serves"
                ),
            ));
        } else if percent < 30.0 {
            self.assumptions.push(assumed(
                "sides",
                "left and right as named",
                format!(
                    "although feet and face point to the front of the body in only {percent:.0} % \
                     of the frames: the sides may be swapped; {}",
                    Remedy::Mirror
                ),
            ));
        }
    }

    fn frames(&self) -> std::ops::Range<usize> {
        0..self.positions.len() / self.joints.len()
    }

    /// Mean of those of `joints` that this frame shows.
    fn mean(&self, frame: usize, joints: &[Joint]) -> Option<[f64; 3]> {
        let mut sum = [0.0; 3];
        let mut count = 0.0;
        for joint in joints {
            let Some(j) = self.joints.iter().position(|held| held == joint) else { continue };
            let p = self.positions[frame * self.joints.len() + j];
            if !p[0].is_nan() {
                sum = plus(sum, p);
                count += 1.0;
            }
        }
        (count > 0.0).then(|| sum.map(|x| x / count))
    }

    /// Head, or what stands in for it.
    fn top(&self, frame: usize) -> Option<[f64; 3]> {
        use Joint::*;
        [[Head].as_slice(), &[LeftEar, RightEar], &[Nose], &[Neck], &[LeftShoulder, RightShoulder]]
            .into_iter()
            .find_map(|joints| self.mean(frame, joints))
    }
}

const HIPS: &[Joint] = &[Joint::LeftHip, Joint::RightHip];
const ANKLES: &[Joint] = &[Joint::LeftAnkle, Joint::RightAnkle];

/// The columns `kept` of a table `width` wide.
pub(super) fn pick<T: Copy>(values: &[T], width: usize, kept: &[usize]) -> Vec<T> {
    values.chunks_exact(width.max(1)).flat_map(|row| kept.iter().map(|&j| row[j])).collect()
}

fn median_rate(times_s: &[f64]) -> Option<f64> {
    let mut steps: Vec<f64> = times_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    steps.sort_by(f64::total_cmp);
    let step = *steps.get(steps.len() / 2)?;
    (step > 0.0 && step.is_finite()).then(|| 1.0 / step)
}

/// The rate of times that are even but for rounding: all within 0.3 of a frame of the grid. The
/// stated rate, or a whole number of Hz, is taken where it fits as well.
fn even_rate(times_s: &[f64], stated_hz: Option<f64>) -> Option<f64> {
    let (first, last) = (times_s.first()?, times_s.last()?);
    let rate_hz = (times_s.len() - 1) as f64 / (last - first);
    let fits = |rate_hz: &f64| {
        *rate_hz > 0.0
            && rate_hz.is_finite()
            && times_s
                .iter()
                .enumerate()
                .all(|(frame, time)| ((time - first) * rate_hz - frame as f64).abs() <= 0.3)
    };
    [stated_hz, Some(rate_hz.round()), Some(rate_hz)].into_iter().flatten().find(fits)
}

pub(super) fn plus(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

pub(super) fn minus(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

pub(super) fn length(a: [f64; 3]) -> f64 {
    a.iter().map(|x| x * x).sum::<f64>().sqrt()
}
