//! From text to terms.

use std::ops::Bound;

use jiff::civil::{Date, date};

use super::{AGE_BANDS, Filter, FilterError, Key, Term, Test};
use crate::catalogue::{Attempt, BodyPart, Miss, Place};
use crate::library::{Court, Level, Named, ServeType, Setting, Target};
use crate::motion::{Capture, Side, View};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sign {
    Is,
    IsNot,
    AtLeast,
    AtMost,
    Above,
    Below,
}

impl Sign {
    /// Longer signs first, so that `>=` is not read as `>`.
    const ALL: [(Self, &'static str); 6] = [
        (Self::IsNot, "!="),
        (Self::AtLeast, ">="),
        (Self::AtMost, "<="),
        (Self::Is, "="),
        (Self::Above, ">"),
        (Self::Below, "<"),
    ];

    fn text(self) -> &'static str {
        Self::ALL.iter().find(|(sign, _)| *sign == self).map_or("", |(_, text)| text)
    }
}

pub(super) fn parse(text: &str) -> Result<Filter, FilterError> {
    let mut terms = Vec::new();
    let mut rest = text;
    loop {
        rest = rest.trim_start();
        if rest.is_empty() {
            return Ok(Filter { terms });
        }
        // Columns count characters, as people do.
        let column = text[..text.len() - rest.len()].chars().count() + 1;
        let length = term_length(rest)
            .map_err(|at| FilterError::Quote { column: column + rest[..at].chars().count() })?;
        let (piece, after) = rest.split_at(length);
        terms.push(term(piece, column)?);
        rest = after;
    }
}

/// Bytes up to the first space outside quotation marks; or where a mark is left open.
fn term_length(text: &str) -> Result<usize, usize> {
    let mut open = None;
    for (at, c) in text.char_indices() {
        match (c, open) {
            ('"', None) => open = Some(at),
            ('"', Some(_)) => open = None,
            (c, None) if c.is_whitespace() => return Ok(at),
            _ => {}
        }
    }
    open.map_or(Ok(text.len()), Err)
}

fn term(piece: &str, column: usize) -> Result<Term, FilterError> {
    let not_a_term = || FilterError::NotATerm { column, found: piece.to_owned() };
    let key_end = piece.find(['=', '!', '<', '>']).ok_or_else(not_a_term)?;
    let (name, tail) = piece.split_at(key_end);
    let (sign, value) = Sign::ALL
        .iter()
        .find_map(|(sign, text)| Some((*sign, tail.strip_prefix(text)?)))
        .ok_or_else(not_a_term)?;
    if name.is_empty() || value.is_empty() {
        return Err(not_a_term());
    }
    let spelled = name.replace('_', "-");
    let Some((key, _)) = Key::ALL.into_iter().find(|(_, known)| *known == spelled) else {
        let allowed = Key::ALL.map(|(_, known)| known).join(", ");
        return Err(FilterError::UnknownKey { column, found: name.to_owned(), allowed });
    };
    let ordered = matches!(key, Key::Age | Key::Date | Key::Speed | Key::FirstServe);
    if !ordered && !matches!(sign, Sign::Is | Sign::IsNot) {
        let (key, found) = (key.name(), sign.text());
        return Err(FilterError::Sign { column, key, found, allowed: "= or !=" });
    }
    let values = values(value);
    let bad = |found: &str, allowed: String| FilterError::Value {
        column,
        key: key.name(),
        found: found.to_owned(),
        allowed,
    };
    if let Some(empty) = values.iter().find(|value| value.is_empty()) {
        return Err(bad(empty, "a value is missing".to_owned()));
    }
    let closed = match key {
        Key::Hand => Some((known::<Side> as fn(&str) -> bool, Side::names())),
        Key::Level => Some((known::<Level> as _, Level::names())),
        Key::Type => Some((known::<ServeType> as _, ServeType::names())),
        Key::Setting => Some((known::<Setting> as _, Setting::names())),
        Key::Place => Some((known::<Place> as _, Place::names())),
        Key::View => Some((known::<View> as _, View::names())),
        Key::Capture => Some((known::<Capture> as _, Capture::names())),
        Key::Attempt => Some((known::<Attempt> as _, Attempt::names())),
        Key::Court => Some((known::<Court> as _, Court::names())),
        Key::Target => Some((known::<Target> as _, Target::names())),
        Key::Pain => Some((of_pain as _, format!("any, none, {}", BodyPart::names()))),
        _ => None,
    };
    if let Some((known, names)) = closed
        && let Some(unknown) = values.iter().find(|value| !known(value))
    {
        return Err(bad(unknown, format!("it has {names}")));
    }
    let test = match key {
        Key::Date => Test::Days(
            values
                .iter()
                .map(|value| {
                    days(value, sign).ok_or_else(|| {
                        bad(value, "a day like 2026-03-04, a month 2026-03 or a year 2026".into())
                    })
                })
                .collect::<Result<_, _>>()?,
        ),
        Key::Age => Test::Ages(
            values
                .iter()
                .map(|value| {
                    ages(value, sign).ok_or_else(|| {
                        let bands = AGE_BANDS.map(|(name, ..)| name).join(", ");
                        bad(value, format!("it has {bands}, an age like 13, or a span 12-15"))
                    })
                })
                .collect::<Result<_, _>>()?,
        ),
        Key::IndexKnuckle | Key::HeelPad => {
            let bevel = |value: &&String| !matches!(value.parse::<u8>(), Ok(1..=8));
            if let Some(wrong) = values.iter().find(bevel) {
                return Err(bad(wrong, "a bevel is 1 to 8".to_owned()));
            }
            Test::OneOf { key, values }
        }
        Key::Misses => Test::Misses(
            values
                .iter()
                .map(|value| {
                    Miss::from_name(value)
                        .ok_or_else(|| bad(value, format!("it has {}", Miss::names())))
                })
                .collect::<Result<_, _>>()?,
        ),
        Key::Speed | Key::FirstServe => Test::Figures {
            key,
            spans: values
                .iter()
                .map(|value| {
                    figures(value, sign)
                        .ok_or_else(|| bad(value, "a number like 120, or a span 110-130".into()))
                })
                .collect::<Result<_, _>>()?,
        },
        Key::FollowUp => match values.as_slice() {
            [one] if one == "yes" => Test::FollowUp(true),
            [one] if one == "no" => Test::FollowUp(false),
            _ => return Err(bad(value, "it has yes, no".to_owned())),
        },
        Key::Words => Test::Words(word_text(value)),
        _ => Test::OneOf { key, values },
    };
    Ok(Term { text: piece.to_owned(), column, negated: sign == Sign::IsNot, test })
}

fn of_pain(name: &str) -> bool {
    matches!(name, "any" | "none") || known::<BodyPart>(name)
}

fn known<T: Named>(name: &str) -> bool {
    T::from_name(name).is_some()
}

/// Values at commas outside quotation marks, marks removed.
fn values(text: &str) -> Vec<String> {
    let mut values = vec![String::new()];
    let mut quoted = false;
    for c in text.chars() {
        match c {
            '"' => quoted = !quoted,
            ',' if !quoted => values.push(String::new()),
            _ => {
                // There is always a last one.
                if let Some(last) = values.last_mut() {
                    last.push(c);
                }
            }
        }
    }
    values
}

/// What stands in one pair of quotation marks is words, not one phrase.
fn word_text(value: &str) -> String {
    match value.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')) {
        Some(inner) if !inner.contains('"') => inner.to_owned(),
        _ => value.to_owned(),
    }
}

fn days(value: &str, sign: Sign) -> Option<(Option<Date>, Option<Date>)> {
    let (first, last) = span(value)?;
    Some(match sign {
        Sign::Is | Sign::IsNot => (Some(first), Some(last)),
        Sign::AtLeast => (Some(first), None),
        Sign::AtMost => (None, Some(last)),
        Sign::Above => (Some(last.tomorrow().ok()?), None),
        Sign::Below => (None, Some(first.yesterday().ok()?)),
    })
}

/// First and last day of a day, month or year.
fn span(value: &str) -> Option<(Date, Date)> {
    let digits = |text: &str, count: usize| -> Option<i16> {
        (text.len() == count && text.bytes().all(|b| b.is_ascii_digit()))
            .then(|| text.parse().ok())?
    };
    let mut parts = value.split('-');
    let year = digits(parts.next()?, 4).filter(|year| *year >= 1)?;
    let Some(month) = parts.next() else {
        return Some((date(year, 1, 1), date(year, 12, 31)));
    };
    let month = i8::try_from(digits(month, 2)?).ok()?;
    let first = Date::new(year, month, 1).ok()?;
    let Some(day) = parts.next() else {
        return Some((first, first.last_of_month()));
    };
    let day = Date::new(year, month, i8::try_from(digits(day, 2)?).ok()?).ok()?;
    parts.next().is_none().then_some((day, day))
}

fn ages(value: &str, sign: Sign) -> Option<(i64, i64)> {
    const OLDEST: i64 = 150;
    let number = |text: &str| text.parse::<i64>().ok().filter(|age| (0..=OLDEST).contains(age));
    let (first, last) =
        if let Some((_, first, last)) = AGE_BANDS.into_iter().find(|(name, ..)| *name == value) {
            (first, last)
        } else if let Some((first, last)) = value.split_once('-') {
            let (first, last) = (number(first)?, number(last)?);
            (first <= last).then_some((first, last))?
        } else {
            let age = number(value)?;
            (age, age)
        };
    Some(match sign {
        Sign::Is | Sign::IsNot => (first, last),
        Sign::AtLeast => (first, OLDEST),
        Sign::AtMost => (0, last),
        Sign::Above => (last + 1, OLDEST),
        Sign::Below => (0, first - 1),
    })
}

fn figures(value: &str, sign: Sign) -> Option<(Bound<f64>, Bound<f64>)> {
    let number = |text: &str| text.parse::<f64>().ok().filter(|n| (0.0..=1000.0).contains(n));
    let (first, last) = match value.split_once('-') {
        Some((first, last)) => (number(first)?, number(last)?),
        None => (number(value)?, number(value)?),
    };
    if first > last {
        return None;
    }
    use Bound::{Excluded, Included, Unbounded};
    Some(match sign {
        Sign::Is | Sign::IsNot => (Included(first), Included(last)),
        Sign::AtLeast => (Included(first), Unbounded),
        Sign::AtMost => (Unbounded, Included(last)),
        Sign::Above => (Excluded(last), Unbounded),
        Sign::Below => (Unbounded, Excluded(first)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(text: &str) -> Term {
        let filter = parse(text).unwrap();
        assert_eq!(filter.terms.len(), 1);
        filter.terms.into_iter().next().unwrap()
    }

    fn error(text: &str) -> String {
        parse(text).unwrap_err().to_string()
    }

    #[test]
    fn terms_are_read() {
        let names = |key, values: &[&str]| Test::OneOf {
            key,
            values: values.iter().map(|&v| v.to_owned()).collect(),
        };
        assert_eq!(one("player=p07").test, names(Key::Player, &["p07"]));
        assert_eq!(one("level=club,national").test, names(Key::Level, &["club", "national"]));
        let not = one("hand!=left");
        assert!(not.negated);
        assert_eq!(not.test, names(Key::Hand, &["left"]));
        assert_eq!(one("squad=\"red, two\"").test, names(Key::Squad, &["red, two"]));
        assert_eq!(one("words=\"late toss\"").test, Test::Words("late toss".to_owned()));
        assert_eq!(one("words=late-\"as one\"").test, Test::Words("late-\"as one\"".to_owned()));
        assert_eq!(one("age=u14,16-18").test, Test::Ages(vec![(13, 14), (16, 18)]));
        assert_eq!(one("age>14").test, Test::Ages(vec![(15, 150)]));
        assert_eq!(one("age<13").test, Test::Ages(vec![(0, 12)]));
        assert_eq!(one("follow-up=yes").test, Test::FollowUp(true));
        let filter = parse("  hand=left   level=club ").unwrap();
        assert_eq!(filter.terms.iter().map(|t| t.column).collect::<Vec<_>>(), [3, 15]);
        assert!(parse(" ").unwrap().is_empty());
    }

    #[test]
    fn days_months_and_years_are_read() {
        let day = |text| match one(text).test {
            Test::Days(spans) => spans[0],
            other => panic!("{other:?}"),
        };
        assert_eq!(day("date=2024-02"), (Some(date(2024, 2, 1)), Some(date(2024, 2, 29))));
        assert_eq!(day("date>=2026-03"), (Some(date(2026, 3, 1)), None));
        assert_eq!(day("date>2026-03"), (Some(date(2026, 4, 1)), None));
        assert_eq!(day("date<2026"), (None, Some(date(2025, 12, 31))));
        assert_eq!(day("date<=2026-03-04"), (None, Some(date(2026, 3, 4))));
    }

    #[test]
    fn grip_and_ball_are_read_in_either_spelling() {
        assert_eq!(one("heel_pad=1").test, one("heel-pad=1").test);
        assert_eq!(one("misses=net,long").test, Test::Misses(vec![Miss::Net, Miss::Long]));
        let spans = |text| match one(text).test {
            Test::Figures { spans, .. } => spans,
            other => panic!("{other:?}"),
        };
        use Bound::{Excluded, Included, Unbounded};
        assert_eq!(spans("speed=110-130"), [(Included(110.0), Included(130.0))]);
        assert_eq!(spans("first_serve<50"), [(Unbounded, Excluded(50.0))]);
        assert_eq!(error("heel_pad=9"), "filter, column 1: heel-pad has no '9'; a bevel is 1 to 8");
        assert_eq!(
            error("misses=left"),
            "filter, column 1: misses has no 'left'; it has net, long, wide"
        );
        assert!(error("speed>fast").contains("a number like 120"), "{}", error("speed>fast"));
    }

    #[test]
    fn errors_name_column_finding_and_what_is_allowed() {
        assert_eq!(
            error("level=club hände=left"),
            "filter, column 12: unknown key 'hände'; known are player, squad, coach, hand, level, \
             age, type, setting, view, capture, fault, limiting, drill, place, index-knuckle, \
             heel-pad, misses, attempt, court, target, pain, speed, first-serve, date, follow-up, words"
        );
        assert_eq!(
            error("hand=left level=clb"),
            "filter, column 11: level has no 'clb'; it has beginner, club, competition, national, \
             professional"
        );
        assert_eq!(
            error("left"),
            "filter, column 1: 'left' is not a term; write key=value, for example level=club, or \
             words=\"leg drive\" to search for words"
        );
        assert_eq!(
            error("hand>left"),
            "filter, column 1: 'hand' does not go with '>'; use = or !="
        );
        assert_eq!(
            error("date=2026-13"),
            "filter, column 1: date has no '2026-13'; a day like 2026-03-04, a month 2026-03 or a \
             year 2026"
        );
        assert_eq!(
            error("age=junior"),
            "filter, column 1: age has no 'junior'; it has u10, u12, u14, u16, u18, adult, senior, \
             an age like 13, or a span 12-15"
        );
        assert_eq!(
            error("ä=1 words=\"late"),
            error("ä=1").as_str().to_owned(),
            "the first error is reported"
        );
        assert_eq!(
            error("words=\"late"),
            "filter, column 7: the quotation mark is never closed; add one"
        );
        assert_eq!(
            error("player=p1,,p2"),
            "filter, column 1: player has no ''; a value is missing"
        );
        for text in ["=", "!=x", "hand=", "hand!left", "<", "\"\""] {
            assert!(error(text).contains("is not a term"), "{text}");
        }
    }
}
