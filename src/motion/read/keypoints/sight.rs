//! What the numbers of a point are: space, pixels, or fractions of a picture.

use super::parse::{Origin, Person};
use crate::motion::Assumption;
use crate::motion::read::layout::Layout;
use crate::motion::read::raw::assumed;

/// Takes the third of three numbers for z where one of them is no score (a score lies from 0 to
/// 1, a flag is 0, 1 or 2).
pub(super) fn third_numbers(people: &mut [Option<Person>], assumptions: &mut Vec<Assumption>) {
    let open = || people.iter().flatten().filter(|person| person.origin == Origin::Open);
    let z = open()
        .flat_map(|person| &person.points)
        .any(|p| p[2].is_nan() && !p[3].is_nan() && !(0.0..=2.0).contains(&p[3]));
    if !z {
        return;
    }
    for p in people.iter_mut().flatten().flat_map(|person| &mut person.points) {
        if p[2].is_nan() {
            *p = [p[0], p[1], p[3], f64::NAN];
        }
    }
    assumptions.push(assumed("dimensions", "three", "the third number is not a score from 0 to 1"));
}

/// What the numbers are.
#[derive(Clone, Copy)]
pub(super) enum Sight {
    /// Positions in space; `lifted`: about the hips, as one camera's model gives them.
    Space { lifted: bool },
    /// Fractions of the picture's width and height.
    Fractions,
    /// Pixels.
    Pixels,
}

impl Sight {
    pub(super) fn of(
        people: &[Option<Person>],
        layout: Layout,
        assumptions: &mut Vec<Assumption>,
    ) -> Self {
        let all = || people.iter().flatten();
        let seen = || all().flat_map(|person| &person.points).filter(|p| !p[0].is_nan());
        let deep = seen().next().is_some() && seen().all(|p| !p[2].is_nan());
        let centred = layout == Layout::Keypoints33
            && deep
            && all().all(|person| {
                let (left, right) = (person.points[23], person.points[24]);
                (0..3).all(|i| (left[i] + right[i]).abs() < 0.02 || left[i].is_nan())
            });
        if all().any(|person| person.origin == Origin::Space) || centred {
            return Self::Space { lifted: centred };
        }
        let fractions = {
            let (mut inside, mut count) = (0_usize, 0_usize);
            for p in seen() {
                count += 1;
                inside += usize::from((-0.5..=1.5).contains(&p[0]) && (-0.5..=1.5).contains(&p[1]));
            }
            // A limb may leave the picture now and then.
            count > 0 && inside * 20 >= count * 19
        };
        let open = all().all(|person| person.origin == Origin::Open);
        if deep && open && (layout != Layout::Keypoints33 || !fractions) {
            return Self::Space { lifted: false };
        }
        if deep {
            assumptions.push(assumed(
                "dimensions",
                "two, the picture plane",
                "x and y lie in a picture; the z beside them has no scale of its own",
            ));
        }
        if fractions { Self::Fractions } else { Self::Pixels }
    }
}
