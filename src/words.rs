//! How numbers and moments are said.

use jiff::civil::Date;

use crate::library::{Level, ServeType, Setting};
use crate::motion::Side;
use crate::serve::{EventKind, PHASES, Phase};

/// Where a text is read: what has to be done next is typed, or pressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Interface {
    /// At the command line, or in a file it wrote.
    Terminal,
    /// On the coach's page, or in a file it made.
    Page,
}

impl Interface {
    /// The one of two forms that is right here: what is typed, or what is pressed.
    #[must_use]
    pub fn says<'t>(self, typed: &'t str, pressed: &'t str) -> &'t str {
        match self {
            Self::Terminal => typed,
            Self::Page => pressed,
        }
    }
}

/// A number as people say it in this unit: whole degrees, two decimals of a metre or a second.
fn number(value: f64, unit: &str, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if text.trim_start_matches(['-', '0', '.']).is_empty() {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    };
    match unit {
        "" | "ratio" => text,
        "%" | "percent" => format!("{text} %"),
        unit => format!("{text} {unit}"),
    }
}

fn decimals(unit: &str) -> usize {
    match unit {
        "s" | "m" | "ratio" | "statures" | "" => 2,
        _ => 0,
    }
}

/// A value with its unit, for example "12 deg", "0.42 s", "1.48" (ratios), "61 %".
///
/// A value that is not finite is "not measurable".
#[must_use]
pub(crate) fn amount(value: f64, unit: &str) -> String {
    if value.is_finite() {
        number(value, unit, decimals(unit))
    } else {
        "not measurable".to_owned()
    }
}

/// How far apart two values are as they are told beside it: "0.95 s" and "0.97 s" are "0.02 s" apart,
/// whatever was rounded away.
pub(crate) fn apart(before: f64, after: f64, unit: &str) -> String {
    let step = 10f64.powi(decimals(unit) as i32);
    let told = ((after * step).round() - (before * step).round()) / step;
    amount(if told == 0.0 { after - before } else { told }.abs(), unit)
}

/// A value and how sure: "about 12 deg, give or take 4".
///
/// A spread that would round to nothing is given one more decimal; a spread that is not finite is
/// left out.
#[must_use]
pub(crate) fn about(value: f64, give_or_take: f64, unit: &str) -> String {
    if !value.is_finite() {
        return amount(value, unit);
    }
    if !give_or_take.is_finite() || give_or_take < 0.0 {
        return format!("about {}", amount(value, unit));
    }
    let mut places = decimals(unit);
    if give_or_take < 0.5 * 10f64.powi(-(places as i32)) {
        places += 1;
    }
    format!("about {}, give or take {give_or_take:.places$}", number(value, unit, places))
}

/// Whether a measure of this name and unit is a moment, in seconds from contact, and not a duration.
pub(crate) fn is_moment(name: &str, unit: &str) -> bool {
    unit == "s" && name.starts_with("when ")
}

/// A measure's value in words; a moment is told from contact: "0.38 s before contact".
pub(crate) fn reading(name: &str, unit: &str, value: f64) -> String {
    if !is_moment(name, unit) || !value.is_finite() {
        return amount(value, unit);
    }
    let side = if value < 0.0 { "before" } else { "after" };
    format!("{} {side} contact", amount(value.abs(), unit))
}

/// A change as a whole number with its sign, for example "+3", "-8"; "0" without one.
#[must_use]
pub(crate) fn signed(change: f64) -> String {
    let text = format!("{change:+.0}");
    if matches!(text.as_str(), "+0" | "-0") { "0".to_owned() } else { text }
}

/// A change of the share of first serves in, percentage points: "3 points fewer first serves in".
pub(crate) fn first_serves(points: f64) -> String {
    match signed(points.abs()).trim_start_matches('+') {
        "0" => "as many first serves in".to_owned(),
        "1" if points < 0.0 => "1 point fewer first serves in".to_owned(),
        "1" => "1 point more first serves in".to_owned(),
        some if points < 0.0 => format!("{some} points fewer first serves in"),
        some => format!("{some} points more first serves in"),
    }
}

/// A moment and how sure, from its seconds relative to contact: "about 0.35 s before contact, give
/// or take 0.03".
pub(crate) fn about_moment(offset_s: f64, give_or_take_s: f64) -> String {
    let side = if offset_s < 0.0 { "before" } else { "after" };
    let said = about(offset_s.abs(), give_or_take_s, "s");
    match said.split_once(',') {
        Some((moment, sure)) => format!("{moment} {side} contact,{sure}"),
        None => format!("{said} {side} contact"),
    }
}

/// Two moments relative to contact: "0.27 to 0.12 s before contact".
pub(crate) fn moments(low_s: f64, high_s: f64) -> String {
    let side = |offset_s: f64| if offset_s < 0.0 { "before" } else { "after" };
    let (low, high) = (bare(low_s.abs(), "s"), amount(high_s.abs(), "s"));
    if side(low_s) == side(high_s) {
        format!("{low} to {high} {} contact", side(low_s))
    } else {
        format!("{low} s before to {high} after contact")
    }
}

/// A value as in [`amount`] but without its unit, for axes that name the unit once.
pub(crate) fn bare(value: f64, unit: &str) -> String {
    number(value, "", decimals(unit))
}

/// Seconds before or after contact, in two lines: ("0.42 s", "before contact").
pub(crate) fn from_contact(offset_s: f64) -> (String, &'static str) {
    if offset_s.abs() < 0.005 {
        ("0.00 s".to_owned(), "ball on strings")
    } else if offset_s < 0.0 {
        (format!("{:.2} s", -offset_s), "before contact")
    } else {
        (format!("{offset_s:.2} s"), "after contact")
    }
}

/// Short name of an event, for axes.
pub(crate) fn short(kind: EventKind) -> &'static str {
    match kind {
        EventKind::TossStart => "toss",
        EventKind::Release => "release",
        EventKind::Trophy => "trophy",
        EventKind::RacketLow => "racket low",
        EventKind::Contact => "contact",
        EventKind::Finish => "finish",
    }
}

/// Name for people of the phase a sample (0 to 100) lies in, given the samples of the events.
#[must_use]
pub(crate) fn phase(sample: f64, event_samples: &[f32; 6]) -> &'static str {
    let ends = |phase: &&Phase| sample < f64::from(event_samples[phase.to as usize]);
    PHASES.iter().find(ends).or(PHASES.last()).map_or("", |phase| phase.label)
}

/// Where in the serve a sample lies, for a sentence: "at trophy" within two samples of an event, else
/// the phase.
pub(crate) fn moment(sample: f64, event_samples: &[f32; 6]) -> String {
    EventKind::ALL
        .into_iter()
        .zip(event_samples)
        .find(|(_, event)| (f64::from(**event) - sample).abs() <= 2.0)
        .map_or_else(
            || phase(sample, event_samples).to_owned(),
            |(kind, _)| format!("at {}", kind.label()),
        )
}

/// "Jan" for a date in January.
pub(crate) fn month(date: Date) -> String {
    date.strftime("%b").to_string()
}

/// "4 May 2026".
pub(crate) fn day(date: Date) -> String {
    date.strftime("%-d %b %Y").to_string()
}

/// "club player".
pub(crate) fn level(level: Level) -> &'static str {
    match level {
        Level::Beginner => "beginner",
        Level::Club => "club player",
        Level::Competition => "competition player",
        Level::National => "national-level player",
        Level::Professional => "professional",
    }
}

/// "left-handed".
pub(crate) fn handed(hand: Side) -> &'static str {
    match hand {
        Side::Left => "left-handed",
        Side::Right => "right-handed",
    }
}

/// "practice swing".
pub(crate) fn setting(setting: Setting) -> &'static str {
    match setting {
        Setting::PracticeSwing => "practice swing",
        Setting::BallNoTarget => "with a ball, no target",
        Setting::Target => "serve at a target",
        Setting::Match => "match",
    }
}

/// "kick serve".
pub(crate) fn serve_type(kind: ServeType) -> &'static str {
    match kind {
        ServeType::Flat => "flat serve",
        ServeType::Slice => "slice serve",
        ServeType::Kick => "kick serve",
    }
}

/// "a, b and c".
pub(crate) fn list(items: &[impl AsRef<str>]) -> String {
    match items {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [most @ .., last] => {
            let most: Vec<&str> = most.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", most.join(", "), last.as_ref())
        }
    }
}

/// First letter large.
pub(crate) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// First letter small, for the middle of a sentence.
pub(crate) fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_lowercase().chain(chars).collect())
}

/// "1 player", "3 players".
pub(crate) fn count(number: usize, one: &str) -> String {
    if number == 1 { format!("1 {one}") } else { format!("{number} {one}s") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_of_first_serves_is_told_as_more_or_fewer() {
        let said = [-3.2, -0.6, 0.4, 1.0, 8.0].map(first_serves);
        assert_eq!(said[0], "3 points fewer first serves in");
        assert_eq!(said[1], "1 point fewer first serves in");
        assert_eq!(said[2], "as many first serves in");
        assert_eq!(said[3], "1 point more first serves in");
        assert_eq!(said[4], "8 points more first serves in");
    }

    #[test]
    fn numbers_carry_unit_and_doubt() {
        assert_eq!(about(12.3, 3.9, "deg"), "about 12 deg, give or take 4");
        assert_eq!(about(1.478, 0.031, "ratio"), "about 1.48, give or take 0.03");
        assert_eq!(about(12.34, 0.26, "deg"), "about 12.3 deg, give or take 0.3");
        assert_eq!(about(f64::NAN, 1.0, "deg"), "not measurable");
        assert_eq!(about_moment(-0.351, 0.03), "about 0.35 s before contact, give or take 0.03");
        assert_eq!(about_moment(0.2, f64::NAN), "about 0.20 s after contact");
        assert_eq!(moments(-0.27, -0.12), "0.27 to 0.12 s before contact");
        assert_eq!(moments(-0.27, 0.12), "0.27 s before to 0.12 s after contact");
        assert_eq!(amount(-0.2, "deg"), "0 deg");
        assert_eq!(amount(61.4, "%"), "61 %");
        assert_eq!(apart(0.954, 0.966, "s"), "0.02 s");
        assert_eq!(apart(14.4, 2.6, "deg"), "11 deg");
        assert_eq!(apart(f64::NAN, 2.6, "deg"), "not measurable");
        assert_eq!(reading("when the arm comes down", "s", -0.37), "0.37 s before contact");
        assert_eq!(reading("release to contact", "s", 0.87), "0.87 s");
        assert_eq!([signed(-0.3), signed(0.2), signed(-8.0), signed(3.4)], ["0", "0", "-8", "+3"]);
    }

    #[test]
    fn times_are_told_from_contact() {
        assert_eq!(from_contact(-0.42), ("0.42 s".to_owned(), "before contact"));
        assert_eq!(from_contact(0.3), ("0.30 s".to_owned(), "after contact"));
        assert_eq!(from_contact(0.0).1, "ball on strings");
    }

    #[test]
    fn phases_lie_between_events() {
        let events = [0.0, 30.0, 55.0, 70.0, 79.0, 100.0];
        assert_eq!(phase(10.0, &events), "toss");
        assert_eq!(phase(55.0, &events), "racket drop");
        assert_eq!(phase(75.0, &events), "swing up");
        assert_eq!(phase(100.0, &events), "follow-through");
    }
}
