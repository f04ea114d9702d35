//! What a coach does while speaking: plays, stops, steps and draws, each at its time of the voice.

use serde::Deserialize;

use crate::library::{Marked, Point};

/// Most steps of one review; more is no hand's work.
const MOST_STEPS: usize = 20_000;
/// Speeds the picture may run at, 1 being the clip's own.
const SPEEDS: (f64, f64) = (0.01, 4.0);

/// One thing done at a time of the voice. As JSON: `{"at_s": 2.5, "do": {"play": {"speed": 0.25}}}`,
/// `{"at_s": 4, "do": "pause"}`, `{"at_s": 5, "do": {"frame": 104}}`,
/// `{"at_s": 6, "do": {"draw": {"kind": "line", "points": [[10, 20], [30, 40]]}}}`,
/// `{"at_s": 7, "do": {"point": [20, 30]}}`, `{"at_s": 8, "do": {"point": null}}`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Seconds from the beginning of the voice.
    pub at_s: f64,
    /// What is done.
    #[serde(rename = "do")]
    pub act: Act,
}

/// What is done.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Act {
    /// The picture runs on from where it is; what was drawn goes.
    Play {
        /// Times the clip's own speed.
        speed: f64,
    },
    /// The picture stands still.
    Pause,
    /// The picture stands still on a frame of the clip, counted from 0; what was drawn goes.
    Frame(usize),
    /// Something is drawn and the picture stands still: a mark, but no moment.
    Draw(Marked),
    /// The hand points to a place of the picture, or nowhere any more; the picture goes on as it was.
    Point(Option<Point>),
    /// What was drawn goes.
    Clear,
}

/// Why steps cannot be followed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StepsError {
    /// Not the JSON that is expected.
    #[error("steps: {0}; expected a list of {{\"at_s\": seconds, \"do\": ...}}")]
    Json(#[from] serde_json::Error),
    /// A rule is broken.
    #[error("steps: step {step}: {found}; expected {rule}")]
    Rule {
        /// Which, counted from 1.
        step: usize,
        /// What stands there.
        found: String,
        /// What may stand there.
        rule: &'static str,
    },
}

impl Step {
    /// A list of steps from JSON, checked.
    ///
    /// # Errors
    /// [`StepsError`]: unknown names, times that are none or run back, speeds and places that cannot
    /// be, more than 20,000 steps.
    pub fn parse(json: &str) -> Result<Vec<Self>, StepsError> {
        let steps: Vec<Self> = serde_json::from_str(json)?;
        let mut before_s = 0.0;
        for (at, step) in steps.iter().enumerate() {
            let broken = |found: String, rule| Err(StepsError::Rule { step: at + 1, found, rule });
            if at >= MOST_STEPS {
                return broken(format!("there are {}", steps.len()), "at most 20,000 steps");
            }
            if !step.at_s.is_finite() || step.at_s < before_s {
                return broken(format!("at {} s", step.at_s), "times from 0 on, in their order");
            }
            before_s = step.at_s;
            match &step.act {
                Act::Play { speed } if !(SPEEDS.0..=SPEEDS.1).contains(speed) => {
                    return broken(format!("speed {speed}"), "a speed of 0.01 to 4");
                }
                Act::Draw(Marked::Moment { .. }) => {
                    return broken(
                        "a moment".to_owned(),
                        "an angle, a line, an arrow, a ring or words",
                    );
                }
                Act::Draw(drawing) => {
                    if let Some(point) = drawing.points().iter().find(|&point| is_far(point)) {
                        return broken(format!("the place {point:?}"), "pixels of the picture");
                    }
                }
                Act::Point(Some(point)) if is_far(point) => {
                    return broken(format!("the place {point:?}"), "pixels of the picture");
                }
                _ => {}
            }
        }
        Ok(steps)
    }
}

fn is_far(point: &Point) -> bool {
    point.iter().any(|px| !(0.0..=1e5).contains(px))
}

/// The steps of several parts, each with the length of its voice in seconds, as those of one: every
/// part begins with the picture at rest and nothing drawn, and none reaches into the next.
pub(super) fn joined<'a>(parts: impl IntoIterator<Item = (&'a [Step], f64)>) -> Vec<Step> {
    let (mut all, mut before_s) = (Vec::new(), 0.0);
    for (steps, long_s) in parts {
        for act in [Act::Pause, Act::Clear, Act::Point(None)] {
            all.push(Step { at_s: before_s, act });
        }
        let moved =
            |step: &Step| Step { at_s: before_s + step.at_s.min(long_s), act: step.act.clone() };
        all.extend(steps.iter().map(moved));
        before_s += long_s;
    }
    all
}

/// What one picture of the spoken review shows.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shown<'a> {
    /// Frame of the clip.
    pub(super) frame: usize,
    pub(super) drawings: Vec<&'a Marked>,
    /// Where the hand points.
    pub(super) point: Option<Point>,
}

/// Every picture of a review of `long_s`, `rate_hz` a second; the clip's frames come at `times_s`. Before
/// the first step it stands on the first frame; at its end it stands on the last.
pub(super) fn timeline<'a>(
    steps: &'a [Step],
    times_s: &[f64],
    long_s: f64,
    rate_hz: f64,
) -> Vec<Shown<'a>> {
    let (first_s, last) =
        (times_s.first().copied().unwrap_or(0.0), times_s.len().saturating_sub(1));
    let mut steps = steps.iter().peekable();
    let (mut clip_s, mut speed, mut since_s) = (first_s, 0.0, 0.0);
    let mut drawings: Vec<&Marked> = Vec::new();
    let mut point = None;
    let pictures = (long_s * rate_hz).ceil() as usize;
    let mut shown = Vec::with_capacity(pictures);
    for picture in 0..pictures {
        let now_s = picture as f64 / rate_hz;
        while let Some(step) = steps.next_if(|step| step.at_s <= now_s) {
            clip_s += speed * (step.at_s - since_s);
            since_s = step.at_s;
            match &step.act {
                Act::Play { speed: new } => {
                    speed = *new;
                    drawings.clear();
                }
                Act::Pause => speed = 0.0,
                Act::Frame(frame) => {
                    speed = 0.0;
                    clip_s = times_s.get(*frame.min(&last)).copied().unwrap_or(first_s);
                    drawings.clear();
                }
                Act::Draw(drawing) => {
                    speed = 0.0;
                    drawings.push(drawing);
                }
                Act::Point(place) => point = *place,
                Act::Clear => drawings.clear(),
            }
        }
        let at_s = clip_s + speed * (now_s - since_s) + 1e-6;
        let frame = times_s.partition_point(|&time_s| time_s <= at_s).saturating_sub(1);
        shown.push(Shown { frame, drawings: drawings.clone(), point });
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_picture_does_what_was_done_when_it_was_done() {
        let steps = Step::parse(
            r#"[{"at_s": 1, "do": {"play": {"speed": 0.5}}}, {"at_s": 2, "do": "pause"},
                {"at_s": 2.5, "do": {"draw": {"kind": "words", "at": null, "text": "here"}}},
                {"at_s": 3, "do": {"frame": 7}}]"#,
        )
        .unwrap();
        // Ten frames a second.
        let times_s: Vec<f64> = (0..100).map(|n| f64::from(n) / 10.0).collect();
        let shown = timeline(&steps, &times_s, 4.0, 10.0);
        assert_eq!(shown.len(), 40);
        let frames: Vec<usize> = shown.iter().map(|one| one.frame).collect();
        // By hand: half speed shows every frame twice, from frame 0 at 1 s to frame 5 at 2 s.
        assert_eq!(frames[..12], [0; 12]);
        assert_eq!(frames[12..22], [1, 1, 2, 2, 3, 3, 4, 4, 5, 5]);
        assert_eq!((frames[29], frames[30], frames[39]), (5, 7, 7));
        let drawn: Vec<usize> = shown.iter().map(|one| one.drawings.len()).collect();
        assert_eq!((drawn[24], drawn[25], drawn[29], drawn[30]), (0, 1, 1, 0));
    }

    #[test]
    fn parts_follow_one_another_and_none_reaches_into_the_next() {
        let first = Step::parse(
            r#"[{"at_s": 0, "do": {"frame": 20}}, {"at_s": 0.5, "do": {"play": {"speed": 1}}},
                {"at_s": 0.6, "do": {"point": [3, 4]}}, {"at_s": 9, "do": {"frame": 90}}]"#,
        )
        .unwrap();
        let second = Step::parse(r#"[{"at_s": 0.5, "do": {"frame": 7}}]"#).unwrap();
        let steps = joined([(&*first, 1.0), (&*second, 1.0)]);
        let times_s: Vec<f64> = (0..100).map(|n| f64::from(n) / 10.0).collect();
        let shown = timeline(&steps, &times_s, 2.0, 10.0);
        let frames: Vec<usize> = shown.iter().map(|one| one.frame).collect();
        // By hand: half a second on frame 20, then a frame every tenth; the step at 9 s comes with
        // the part's end, and the second part begins at rest there.
        assert_eq!(frames[..10], [20, 20, 20, 20, 20, 20, 21, 22, 23, 24]);
        assert_eq!(frames[10..], [90, 90, 90, 90, 90, 7, 7, 7, 7, 7]);
        let pointed: Vec<bool> = shown.iter().map(|one| one.point.is_some()).collect();
        assert_eq!((pointed[5], pointed[6], pointed[9], pointed[10]), (false, true, true, false));
    }

    #[test]
    fn a_step_that_cannot_be_followed_is_named() {
        for (json, said) in [
            ("[", "steps: EOF"),
            (r#"[{"at_s": 1, "do": "dance"}]"#, "unknown variant `dance`"),
            (r#"[{"at_s": 2, "do": "pause"}, {"at_s": 1, "do": "pause"}]"#, "step 2: at 1 s"),
            (r#"[{"at_s": -1, "do": "pause"}]"#, "step 1: at -1 s"),
            (r#"[{"at_s": 1, "do": {"play": {"speed": 0}}}]"#, "step 1: speed 0"),
            (
                r#"[{"at_s": 1, "do": {"draw": {"kind": "moment", "event": "contact"}}}]"#,
                "step 1: a moment; expected an angle",
            ),
            (
                r#"[{"at_s": 1, "do": {"draw": {"kind": "line", "points": [[-5, 0], [1, 1]]}}}]"#,
                "step 1: the place [-5.0, 0.0]",
            ),
            (r#"[{"at_s": 1, "do": {"point": [1, -2]}}]"#, "step 1: the place [1.0, -2.0]"),
        ] {
            let error = Step::parse(json).unwrap_err().to_string();
            assert!(error.contains(said), "{json}: {error}");
        }
    }
}
