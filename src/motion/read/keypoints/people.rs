//! Which of several people: chosen once, then followed from frame to frame by nearness.
//!
//! Detectors list the people of a picture in any order, so the second of one frame may be the
//! first of the next.

use super::parse::{Frame, Person, Point};
use crate::motion::Assumption;
use crate::motion::read::ReadOptions;
use crate::motion::read::errors::{FilePlace, ReadErrorKind};
use crate::motion::read::raw::assumed;

/// From one frame to the next a body moves less than this part of its own size.
const REACH: f64 = 0.35;
/// Out of sight it may move further, up to this part.
const FARTHEST_REACH: f64 = 1.0;
/// Two people are told apart where the second is at least this much further off.
const CLEARLY: f64 = 1.5;
/// Nearer than this part of the body's size nobody else can be meant.
const SURELY: f64 = 0.05;

/// The person of each frame: `options.person` counted in the first frame that holds so many, then
/// followed forwards and backwards; `None` in a frame where nobody is near enough.
///
/// What was chosen, how often the file's order changed and where following was unsure is said in
/// `assumptions`.
pub(super) fn choose(
    frames: Vec<Frame>,
    options: &ReadOptions,
    assumptions: &mut Vec<Assumption>,
) -> Result<Vec<Option<Person>>, ReadErrorKind> {
    let (at, most) = frames
        .iter()
        .map(|frame| frame.people.len())
        .enumerate()
        .max_by_key(|&(frame, people)| (people, std::cmp::Reverse(frame)))
        .unwrap_or((0, 0));
    let wanted = match options.person {
        None if most > 1 => {
            return Err(ReadErrorKind::Person {
                place: FilePlace::Frame(at),
                people: most,
                wanted: None,
            });
        }
        Some(person) if person >= most && most > 0 => {
            return Err(ReadErrorKind::Person {
                place: FilePlace::Frame(at),
                people: most,
                wanted: Some(person),
            });
        }
        wanted => wanted.unwrap_or(0),
    };
    if most <= 1 {
        return Ok(frames.into_iter().map(|frame| frame.people.into_iter().next()).collect());
    }
    let first = frames.iter().position(|frame| frame.people.len() > wanted).unwrap_or(at);
    let mut picks: Vec<Pick> = vec![Pick::default(); frames.len()];
    picks[first].person = Some(wanted);
    let later: Vec<usize> = (first..frames.len()).collect();
    let earlier: Vec<usize> = (0..=first).rev().collect();
    for order in [later, earlier] {
        follow(&frames, &order, wanted, &mut picks);
    }
    assumptions.push(assumed(
        "person",
        format!(
            "person {} of frame {first}, followed by how close they are from frame to frame",
            wanted + 1
        ),
        format!("as asked; there are up to {most} people in the picture"),
    ));
    say(&frames, &picks, wanted, assumptions);
    let people = frames.into_iter().zip(picks);
    Ok(people
        .map(|(frame, pick)| pick.person.and_then(|at| frame.people.into_iter().nth(at)))
        .collect())
}

/// Who was taken in one frame.
#[derive(Debug, Clone, Copy, Default)]
struct Pick {
    person: Option<usize>,
    /// Somebody else was about as near.
    unsure: bool,
}

/// Follows the person `wanted` of the first frame of `order` through the others.
fn follow(frames: &[Frame], order: &[usize], wanted: usize, picks: &mut [Pick]) {
    let [first, rest @ ..] = order else { return };
    let mut last = frames[*first].people[wanted].points.clone();
    let size = size(&last);
    let mut drift = [0.0; 3];
    let mut unseen = 0;
    for &at in rest {
        let people = &frames[at].people;
        let steps = f64::from(unseen + 1);
        // Out of sight the drift is a guess: it is not carried on.
        let expected = if unseen == 0 { drift } else { [0.0; 3] };
        let mut near: Vec<(f64, usize)> = people
            .iter()
            .enumerate()
            .filter_map(|(index, person)| Some((apart(&last, &person.points, expected)?, index)))
            .collect();
        near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let reach = size * (REACH * steps).min(FARTHEST_REACH);
        let Some(&(distance, index)) = near.first().filter(|(distance, _)| *distance <= reach)
        else {
            unseen += 1;
            continue;
        };
        let rival = near.get(1).map(|(distance, _)| *distance);
        let unsure = distance > SURELY * size && rival.is_some_and(|r| r < CLEARLY * distance);
        picks[at] = Pick { person: Some(index), unsure };
        let now = &people[index].points;
        if let (Some(then), Some(here)) = (middle(&last), middle(now)) {
            let moved = [0, 1, 2].map(|i| (here[i] - then[i]) / steps);
            drift = [0, 1, 2].map(|i| f64::midpoint(drift[i], moved[i]));
        }
        last.clone_from(now);
        unseen = 0;
    }
}

fn say(frames: &[Frame], picks: &[Pick], wanted: usize, assumptions: &mut Vec<Assumption>) {
    let swapped = picks.iter().filter(|pick| pick.person.is_some_and(|p| p != wanted)).count();
    if swapped > 0 {
        assumptions.push(assumed(
            "order of people",
            format!("changed in {swapped} of {} frames", frames.len()),
            "there the same person carries on under another number",
        ));
    }
    let unsure: Vec<usize> = (0..picks.len()).filter(|&at| picks[at].unsure).collect();
    if let Some(first) = unsure.first() {
        assumptions.push(assumed(
            "tracking",
            format!(
                "unsure in {} of {} frames, first in frame {first}",
                unsure.len(),
                frames.len()
            ),
            "two people were about equally close; check that it is the same person throughout",
        ));
    }
    let there = |at: &usize| !frames[*at].people.is_empty() && picks[*at].person.is_none();
    let lost: Vec<usize> = (0..picks.len()).filter(there).collect();
    if let Some(first) = lost.first() {
        assumptions.push(assumed(
            "person",
            format!("gaps in {} frames, first in frame {first}", lost.len()),
            "only others were seen there",
        ));
    }
}

fn seen(point: &Point) -> bool {
    point[0].is_finite() && point[1].is_finite() && !(point[0] == 0.0 && point[1] == 0.0)
}

fn depth(point: &Point) -> f64 {
    if point[2].is_finite() { point[2] } else { 0.0 }
}

/// Largest extent of the seen points along an axis.
fn size(points: &[Point]) -> f64 {
    (0..2)
        .map(|axis| {
            let values = points.iter().filter(|p| seen(p)).map(|p| p[axis]);
            let (low, high) =
                values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
            high - low
        })
        .fold(0.0, f64::max)
}

/// Mean of the seen points.
fn middle(points: &[Point]) -> Option<[f64; 3]> {
    let seen: Vec<&Point> = points.iter().filter(|p| seen(p)).collect();
    let count = seen.len() as f64;
    let mean = |value: &dyn Fn(&Point) -> f64| seen.iter().map(|p| value(p)).sum::<f64>() / count;
    (!seen.is_empty()).then(|| [mean(&|p| p[0]), mean(&|p| p[1]), mean(&depth)])
}

/// Median distance of the points both show, the first moved on by `drift`; `None` where they share
/// fewer than three.
fn apart(last: &[Point], now: &[Point], drift: [f64; 3]) -> Option<f64> {
    let mut distances: Vec<f64> = last
        .iter()
        .zip(now)
        .filter(|(a, b)| seen(a) && seen(b))
        .map(|(a, b)| {
            let deep =
                if a[2].is_finite() && b[2].is_finite() { b[2] - a[2] - drift[2] } else { 0.0 };
            (b[0] - a[0] - drift[0]).hypot(b[1] - a[1] - drift[1]).hypot(deep)
        })
        .collect();
    distances.sort_by(f64::total_cmp);
    (distances.len() >= 3).then(|| distances[distances.len() / 2])
}

#[cfg(test)]
mod tests {
    use super::super::parse::Origin;
    use super::*;

    /// A standing body of 17 points 170 px tall with its left foot at `x`.
    fn body(x: f64) -> Person {
        let point = |n: usize| [x + 10.0 * (n % 3) as f64, 400.0 - 10.0 * n as f64, f64::NAN, 0.9];
        Person { origin: Origin::Open, points: (0..17).map(point).collect() }
    }

    fn frame(at: &[f64]) -> Frame {
        Frame { people: at.iter().map(|&x| body(x)).collect(), ..Frame::default() }
    }

    fn run(frames: Vec<Frame>, person: usize) -> (Vec<Option<f64>>, Vec<Assumption>) {
        let options = ReadOptions { person: Some(person), ..ReadOptions::default() };
        let mut said = Vec::new();
        let chosen = choose(frames, &options, &mut said).unwrap();
        (chosen.into_iter().map(|p| p.map(|p| p.points[0][0])).collect(), said)
    }

    fn told<'a>(said: &'a [Assumption], what: &str) -> Option<&'a str> {
        said.iter().rev().find(|a| a.what == what).map(|a| a.taken.as_str())
    }

    #[test]
    fn a_swapped_order_keeps_the_person() {
        // Two people 300 px apart; the detector changes their order from frame 3 to 6.
        let frames = (0..10).map(|at| {
            let (a, b) = (100.0 + f64::from(at), 400.0 - f64::from(at));
            if (3..=6).contains(&at) { frame(&[b, a]) } else { frame(&[a, b]) }
        });
        let (chosen, said) = run(frames.collect(), 0);
        let want: Vec<_> = (0..10).map(|at| Some(100.0 + f64::from(at))).collect();
        assert_eq!(chosen, want);
        assert_eq!(
            told(&said, "person"),
            Some("person 1 of frame 0, followed by how close they are from frame to frame")
        );
        assert_eq!(told(&said, "order of people"), Some("changed in 4 of 10 frames"));
        assert_eq!(told(&said, "tracking"), None);
    }

    #[test]
    fn whoever_is_missing_is_a_gap_and_not_somebody_else() {
        let mut frames: Vec<Frame> = (0..6).map(|_| frame(&[100.0, 400.0])).collect();
        frames[2] = frame(&[400.0]);
        frames[3] = frame(&[400.0]);
        let (chosen, said) = run(frames, 0);
        assert_eq!(chosen, [Some(100.0), Some(100.0), None, None, Some(100.0), Some(100.0)]);
        assert_eq!(told(&said, "person"), Some("gaps in 2 frames, first in frame 2"));
    }

    #[test]
    fn the_second_person_is_found_backwards_too() {
        // She comes in at frame 2 and is listed first from then on; before, he was alone.
        let frames =
            vec![frame(&[100.0]), frame(&[100.0]), frame(&[100.0, 390.0]), frame(&[380.0, 100.0])];
        assert_eq!(run(frames, 1).0, [None, None, Some(390.0), Some(380.0)]);
    }

    #[test]
    fn two_who_stand_together_are_unsure() {
        let mut frames: Vec<Frame> = (0..3).map(|_| frame(&[100.0, 400.0])).collect();
        frames.push(frame(&[120.0, 80.0]));
        let (_, said) = run(frames, 0);
        assert_eq!(told(&said, "tracking"), Some("unsure in 1 of 4 frames, first in frame 3"));
    }
}
