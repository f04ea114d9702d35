//! The player's serve moving beside another one, both at contact at the same moment: once as fast as
//! they were, once slowed around contact.

use std::path::Path;

use super::side::{Moving, Side, Stand};
use crate::drawing::raster::{Ink, lay_picture, line, sheet, words, words_width};
use crate::drawing::{Tone, Viewpoint};
use crate::video::{ClipError, Encoder, Frame, NewClip};
use crate::words::from_contact;
use crate::work::{Stage, Watch};

/// Pixels across and down: two sides beside each other, or one alone.
const TWO_PX: (usize, usize) = (1280, 720);
const ONE_PX: (usize, usize) = (720, 1280);
/// Pixels for whose serve it is above, and for the time below.
const HEAD_PX: usize = 56;
const FOOT_PX: usize = 56;
/// Pictures a second of what is made.
const RATE_HZ: f64 = 30.0;
/// Times slower around contact, and from when to when, s.
const SLOWED: f64 = 4.0;
const SLOWED_S: (f64, f64) = (-0.7, 0.25);
/// What is shown at most before and after contact, s: nobody needs the ball bounced again.
const MOST_S: (f64, f64) = (-4.0, 2.0);
/// Both passes stand still at their end, s.
const REST_S: f64 = 0.8;

/// One picture of what is made: time from contact, and whether it runs slowed.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Moment {
    from_contact_s: f64,
    slowed: bool,
}

/// How two serves are shown.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    /// From where figures are drawn.
    pub(super) from: Viewpoint,
    /// For a left-hander.
    pub(super) mirrored: bool,
}

/// Makes the clip at `to`; `false`, and nothing, where no serve's moments are known.
///
/// # Errors
/// [`ClipError`] if a clip cannot be read or the new one not made; [`ClipError::Stopped`].
pub(super) fn make(
    serves: &[Moving],
    seen: Seen,
    to: &Path,
    watch: &Watch,
) -> Result<bool, ClipError> {
    let moments = moments(serves);
    if moments.is_empty() {
        return Ok(false);
    }
    let (across, down) = if serves.len() > 1 { TWO_PX } else { ONE_PX };
    let each = across / serves.len();
    let stand = Stand {
        size_px: (each, down - HEAD_PX - FOOT_PX),
        seen: seen.from,
        mirrored: seen.mirrored,
    };
    let mut sides: Vec<Side<'_>> = serves.iter().map(|moving| Side::new(moving, stand)).collect();
    let ground = ground(serves, (across, down), each);
    let clip = NewClip { size_px: (across, down), rate_hz: RATE_HZ, voice: None };
    let mut encoder = Encoder::start(&clip, to)?;
    for (done, moment) in moments.iter().enumerate() {
        watch
            .step(Stage::Frames, done, moments.len())
            .map_err(|source| ClipError::Stopped { path: to.to_path_buf(), source })?;
        let mut picture = ground.clone();
        for (index, side) in sides.iter_mut().enumerate() {
            let shown = side.picture(moment.from_contact_s, watch)?;
            lay_picture(&mut picture, &shown, [index * each, HEAD_PX]);
        }
        part(&mut picture, serves.len(), each);
        foot(&mut picture, *moment);
        encoder.push(&picture, watch)?;
    }
    encoder.finish(watch)?;
    Ok(true)
}

/// Every picture in order: both passes, each with its rest.
fn moments(serves: &[Moving]) -> Vec<Moment> {
    let spans: Vec<(f64, f64)> = serves.iter().filter_map(Moving::span_s).collect();
    if spans.is_empty() || spans.len() < serves.len() {
        return Vec::new();
    }
    let from = spans.iter().map(|span| span.0).fold(0.0, f64::min).max(MOST_S.0);
    let to = spans.iter().map(|span| span.1).fold(0.0, f64::max).min(MOST_S.1);
    let pass = |from: f64, to: f64, slowed: bool| {
        let step = if slowed { 1.0 / (RATE_HZ * SLOWED) } else { 1.0 / RATE_HZ };
        // Counted from contact, so that one picture of each pass is contact itself.
        let (first, last) = ((from / step).ceil() as i64, (to / step).floor() as i64);
        let run = (first..=last).map(move |n| n as f64 * step);
        let rest = std::iter::repeat_n(last as f64 * step, (REST_S * RATE_HZ) as usize);
        run.chain(rest).map(move |from_contact_s| Moment { from_contact_s, slowed })
    };
    let slowed = (SLOWED_S.0.max(from), SLOWED_S.1.min(to));
    pass(from, to, false).chain(pass(slowed.0, slowed.1, true)).collect()
}

/// What stays the same: paper, and above each side whose serve it is.
fn ground(serves: &[Moving], size_px: (usize, usize), each: usize) -> Frame {
    let mut picture = sheet(size_px.0, size_px.1, Ink::of(Tone::Paper));
    for (index, moving) in serves.iter().enumerate() {
        let tone = if moving.this { Tone::This } else { Tone::Precedent };
        let room = each as f64 - 32.0;
        let size_px = 28.0 * (room / words_width(&moving.label, 28.0)).min(1.0);
        let at = [(index * each) as f64 + 16.0, HEAD_PX as f64 - 18.0];
        words(&mut picture, at, &moving.label, size_px, Ink::of(tone));
    }
    picture
}

fn part(picture: &mut Frame, sides: usize, each: usize) {
    let bottom = (picture.height - FOOT_PX) as f64;
    for index in 1..sides {
        let x = (index * each) as f64;
        line(picture, &[[x, HEAD_PX as f64], [x, bottom]], 2.0, Ink::of(Tone::Paper));
    }
}

/// The time from contact and the speed it runs at.
fn foot(picture: &mut Frame, moment: Moment) {
    let y = picture.height as f64 - 19.0;
    let (time, when) = from_contact(moment.from_contact_s);
    let contact = moment.from_contact_s.abs() < 0.005;
    let (said, tone) = if contact {
        ("contact".to_owned(), Tone::Attention)
    } else {
        (format!("{time} {when}"), Tone::Ink)
    };
    words(picture, [16.0, y], &said, 26.0, Ink::of(tone));
    let speed = if moment.slowed { "four times slower" } else { "at real speed" };
    let x = picture.width as f64 - 16.0 - words_width(speed, 26.0);
    words(picture, [x, y], speed, 26.0, Ink::of(Tone::Quiet));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pages::sample;
    use crate::serve::EventKind;
    use crate::simulator::Fault;

    fn moving(seed: u64, this: bool) -> Moving {
        let serve = sample::serve(seed, &[(Fault::ShallowLegDrive, 0.8)], 1);
        Moving { label: "You".to_owned(), this, serve, clip: None }
    }

    #[test]
    fn both_passes_hold_contact_itself_and_the_slowed_one_lies_around_it() {
        let serves = [moving(1, true), moving(2, false)];
        let moments = moments(&serves);
        let at_contact = |slowed: bool| {
            let of = moments.iter().filter(|moment| moment.slowed == slowed);
            of.filter(|moment| moment.from_contact_s == 0.0).count()
        };
        assert_eq!((at_contact(false), at_contact(true)), (1, 1));
        let span = serves.iter().filter_map(Moving::span_s).map(|span| span.0).fold(0.0, f64::min);
        let first = moments[0].from_contact_s;
        assert!(first >= span.max(-4.0) && first < span.max(-4.0) + 0.05, "{first} {span}");
        let slowed: Vec<f64> =
            moments.iter().filter(|m| m.slowed).map(|m| m.from_contact_s).collect();
        assert!(slowed[0] >= -0.7 && slowed[slowed.len() - 1] <= 0.25, "{slowed:?}");
        // Four pictures in the time of one.
        assert!((slowed[1] - slowed[0] - 1.0 / 120.0).abs() < 1e-9);
    }

    #[test]
    fn without_its_moments_nothing_moves() {
        let mut serve = moving(1, true);
        serve.serve.events[EventKind::Finish as usize].time_s = f64::NAN;
        assert!(moments(&[serve]).is_empty());
        assert!(moments(&[]).is_empty());
    }
}
