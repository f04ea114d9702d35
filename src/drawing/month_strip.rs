use jiff::civil::Date;

use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg, Type};
use super::text::{shorten, spread, ticks, width};
use crate::looks::days_between;
use crate::words::{self, amount, bare, sentence};

/// One review in a month strip.
#[derive(Debug, Clone, PartialEq)]
pub struct ReviewPoint {
    /// Day.
    pub date: Date,
    /// The measure then (mean over that day's serves).
    pub value: f64,
    /// Half its 90 % width.
    pub give_or_take: f64,
    /// Whether it lies further from the first review than chance and measuring give.
    pub beyond: bool,
}

/// A plan as a span of time.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanSpan {
    /// What was worked on.
    pub label: String,
    /// First day.
    pub start: Date,
    /// Last day; `None` = still running.
    pub end: Option<Date>,
}

/// One player's measure over time.
#[derive(Debug, Clone, PartialEq)]
pub struct MonthStrip {
    /// The measure.
    pub measure: String,
    /// Its unit.
    pub unit: String,
    /// Reviews; sorted by the drawing.
    pub reviews: Vec<ReviewPoint>,
    /// Minimal detectable change between the first review and the last, same unit.
    pub detectable: f64,
    /// Reference band (low, high), where one is published.
    pub reference: Option<(f64, f64)>,
    /// Plans.
    pub plans: Vec<PlanSpan>,
}

fn first_of_month(date: Date) -> Date {
    date.first_of_month()
}

/// A plan on the drawing.
struct Laid {
    row: usize,
    from: f64,
    to: f64,
    running: bool,
    words: String,
    words_from: f64,
}

/// Each plan in the first row where neither its span nor its words touch another's.
fn pack(
    plans: &[PlanSpan],
    x: &impl Fn(Date) -> f64,
    end: Date,
    left: f64,
    right: f64,
) -> Vec<Laid> {
    let mut taken: Vec<(usize, f64, f64)> = Vec::new();
    plans
        .iter()
        .map(|plan| {
            let (from, to) = (x(plan.start), x(plan.end.unwrap_or(end)));
            let words = shorten(&plan.label, 11.5, false, right - left);
            let length = width(&words, 11.5, false);
            let words_from = from.min(right - length).max(left);
            let (low, high) = (from.min(words_from), (to + 2.0).max(words_from + length + 8.0));
            let row = (0..)
                .find(|row| taken.iter().all(|t| t.0 != *row || t.2 <= low || high <= t.1))
                .unwrap_or(0);
            taken.push((row, low, high));
            Laid { row, from, to, running: plan.end.is_none(), words, words_from }
        })
        .collect()
}

/// A review's value beside its whisker, on the side with room.
struct Label {
    text: String,
    to_the_right: bool,
    left: f64,
    right: f64,
    /// Base line of the letters.
    base: f64,
}

impl Label {
    /// Whether it comes closer to another than 4 px, or a line's height.
    fn meets(&self, other: &Self) -> bool {
        let beside = self.left >= other.right + 4.0 || other.left >= self.right + 4.0;
        !beside && (self.base - other.base).abs() < 12.0
    }
}

/// Reviews in time with the measure, the corridor in which a change cannot be told from chance
/// around the first review, and the plans as spans beneath. `None` without a finite review.
#[must_use]
pub fn month_strip(strip: &MonthStrip, width_px: f64) -> Option<Svg> {
    let mut reviews: Vec<&ReviewPoint> =
        strip.reviews.iter().filter(|review| review.value.is_finite()).collect();
    reviews.sort_by_key(|review| review.date);
    let (first, last) = (*reviews.first()?, *reviews.last()?);
    let begin = strip.plans.iter().map(|plan| plan.start).fold(first.date, Date::min);
    let end = strip.plans.iter().filter_map(|plan| plan.end).fold(last.date, Date::max);
    let begin = first_of_month(begin);
    let end = end.last_of_month();
    let total = f64::from(days_between(begin, end)).max(28.0);

    let narrow = width_px < 520.0;
    let (left, right) = (38.0, width_px - 16.0);
    let x = |date: Date| left + f64::from(days_between(begin, date)) / total * (right - left);
    let d = strip.detectable.abs();
    let mut values: Vec<f64> = reviews
        .iter()
        .flat_map(|r| {
            let give = if r.give_or_take.is_finite() { r.give_or_take.abs() } else { 0.0 };
            [r.value - give, r.value + give]
        })
        .collect();
    values.extend([first.value - d, first.value + d]);
    values.extend(strip.reference.iter().flat_map(|band| [band.0, band.1]));
    values.retain(|v| v.is_finite());
    let (low, high) =
        values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
    let pad = ((high - low) * 0.10).max(1e-6);
    let (low, high) = (low - pad, high + pad);
    let (top, tall) = (26.0, 92.0);
    let bottom = top + tall;
    let y = |value: f64| bottom - (value - low) / (high - low) * tall;
    let plan_top = bottom + 26.0;
    let plans = pack(&strip.plans, &x, end, left, right);
    let rows = plans.iter().map(|plan| plan.row + 1).max().unwrap_or(0);
    let height = plan_top + 24.0 * rows as f64 + 2.0;

    let title = format!("{} from review to review", sentence(&strip.measure));
    let mut description = String::new();
    for review in &reviews {
        description.push_str(&format!(
            "{}: {}. ",
            words::day(review.date),
            amount(review.value, &strip.unit)
        ));
    }
    let change = last.value - first.value;
    description.push_str(&if reviews.len() < 2 {
        "One review so far; a change needs two.".to_owned()
    } else {
        format!(
            "Change {}, {} the {} that can be told from chance.",
            amount(change, &strip.unit),
            if last.beyond { "beyond" } else { "within" },
            amount(d, &strip.unit)
        )
    });
    let mut canvas = Canvas::new("month-strip", width_px, height, &title, &description);
    let heading = format!("{}, {}", sentence(&strip.measure), strip.unit);
    canvas.text(
        [0.0, 13.0],
        &shorten(&heading, 13.0, true, width_px),
        Type::new(13.0, Tone::Ink).bold(),
    );

    if let Some((from, to)) = strip.reference.filter(|b| b.0.is_finite() && b.1.is_finite()) {
        for edge in [from, to] {
            canvas.line(
                [left, y(edge)],
                [right, y(edge)],
                Stroke::dashed(Tone::Precedent, 1.2, "6 4"),
            );
        }
        let text = if narrow { "reference" } else { "reference band" };
        let inside = if (y(from) - y(to)).abs() > 18.0 { y(to) + 14.0 } else { y(to) - 5.0 };
        canvas.text([right, inside], text, Type::new(11.0, Tone::Precedent).end());
    }
    let (corridor_top, corridor_bottom) = (y(first.value + d), y(first.value - d));
    canvas.rect(
        [left, corridor_top],
        [right - left, corridor_bottom - corridor_top],
        0.0,
        Paint::wash(Tone::Quiet, 0.16),
    );
    let said = if narrow { "within chance" } else { "a change in here cannot be told from chance" };
    canvas.text([right - 4.0, corridor_bottom - 5.0], said, Type::new(11.0, Tone::Quiet).end());
    for tick in ticks(low, high, 4) {
        let text = bare(tick, &strip.unit);
        canvas.line([left - 4.0, y(tick)], [left, y(tick)], Stroke::solid(Tone::Quiet, 1.0));
        canvas.text([left - 8.0, y(tick) + 4.0], &text, Type::new(11.0, Tone::Quiet).end());
    }

    let line: Vec<[f64; 2]> = reviews.iter().map(|r| [x(r.date), y(r.value)]).collect();
    canvas.shape(&line, false, Paint::stroke(Stroke::solid(Tone::This, 2.0)));
    let label = |review: &&ReviewPoint| {
        let (at, text) = (x(review.date), amount(review.value, &strip.unit));
        let length = width(&text, 12.0, true);
        let to_the_right = at + 10.0 + length < right;
        let left = if to_the_right { at + 9.0 } else { at - 9.0 - length };
        Label { text, to_the_right, left, right: left + length, base: y(review.value) - 8.0 }
    };
    let labels: Vec<Label> = reviews.iter().map(label).collect();
    let crowded = labels
        .iter()
        .enumerate()
        .any(|(place, one)| labels[place + 1..].iter().any(|other| one.meets(other)));
    for (index, review) in reviews.iter().enumerate() {
        let at = [x(review.date), y(review.value)];
        let give = if review.give_or_take.is_finite() { review.give_or_take.abs() } else { 0.0 };
        let whisker = Stroke::solid(Tone::This, 1.4);
        canvas.line([at[0], y(review.value - give)], [at[0], y(review.value + give)], whisker);
        let fill = if review.beyond { Tone::This } else { Tone::Paper };
        canvas.circle(at, 5.0, Paint::fill(fill).and(Stroke::solid(Tone::This, 1.8)));
        if !crowded || index == 0 || index + 1 == reviews.len() {
            let Label { text, to_the_right, base, .. } = &labels[index];
            let style = Type::new(12.0, Tone::This).bold().halo();
            let (from, style) =
                if *to_the_right { (at[0] + 9.0, style) } else { (at[0] - 9.0, style.end()) };
            canvas.text([from, *base], text, style);
        }
    }

    canvas.line([left, bottom], [right, bottom], Stroke::solid(Tone::Quiet, 1.0));
    let mut month = begin;
    let mut starts = Vec::new();
    while month <= end {
        starts.push(month);
        let Ok(next) = month.checked_add(jiff::Span::new().months(1)) else { break };
        month = next;
    }
    let every = (starts.len() as f64 * 46.0 / (right - left)).ceil().max(1.0) as usize;
    for (index, &month) in starts.iter().enumerate() {
        canvas.line([x(month), bottom], [x(month), bottom + 5.0], Stroke::solid(Tone::Quiet, 1.0));
        if index % every == 0 {
            let name = words::month(month);
            let text = if index == 0 || month.month() == 1 {
                format!("{name} {}", month.year())
            } else {
                name
            };
            let length = width(&text, 11.0, false);
            let centre = spread(&[(x(month) + length / 2.0 + 3.0, length)], 0.0, width_px, 0.0)[0];
            if index == 0 || every > 1 || x(month) + length < right + 16.0 {
                canvas.text([centre, bottom + 15.0], &text, Type::new(11.0, Tone::Quiet).middle());
            }
        }
    }
    for plan in plans {
        let top = plan_top + 24.0 * plan.row as f64;
        canvas.rect(
            [plan.from, top],
            [(plan.to - plan.from).max(4.0), 6.0],
            2.0,
            Paint::fill(Tone::Ink),
        );
        if plan.running {
            let tip = [[plan.to, top - 1.0], [plan.to + 7.0, top + 3.0], [plan.to, top + 7.0]];
            canvas.shape(&tip, true, Paint::fill(Tone::Ink));
        }
        canvas.text([plan.words_from, top + 18.0], &plan.words, Type::new(11.5, Tone::Ink));
    }
    Some(canvas.finish())
}
