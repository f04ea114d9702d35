//! A practice card as a player sends it back: one line of text a day, read forgivingly, taken whole
//! or not at all.
//!
//! ```text
//! Practice card of plan n1 (1f3a9c2d)
//! 2026-03-16: sessions 1, repetitions 60, effort 5, pain 3 shoulder, words felt good
//! End of the card
//! ```
//!
//! What stands before the first line and after the last one is a message's own and is left out.

use jiff::ZonedDateTime;
use jiff::civil::Date;
use serde::ser::{Serialize, SerializeStruct, Serializer};
use thiserror::Error;

use super::practice::{
    PracticeNotice, PracticeQuestion, PracticeRefusal, PracticeRequest, PractisedFor, notices,
};
use crate::catalogue::BodyPart;
use crate::library::{
    Library, Named, PlanId, Practice, PracticeId, StoreError, WriteError, Writer,
};
use crate::remedy::excerpt;

/// How the text begins, before the plan and its mark.
pub const CARD_HEAD: &str = "Practice card of plan";
/// How it ends.
pub const CARD_END: &str = "End of the card";
/// Longest text; a card of a year has a tenth of it.
const MOST_BYTES: usize = 100_000;
/// Characters of a line that a refusal shows; a day as the card writes it is shorter.
const SHOWN: usize = 120;

/// The text of a practice card, read and not yet held against its plan.
#[derive(Debug, Clone, PartialEq)]
pub struct CardText {
    /// The plan it names.
    pub plan: PlanId,
    /// The plan's mark as written on the card.
    pub mark: String,
    /// Line and what was done, by line; the plan is the card's own.
    days: Vec<(usize, PracticeRequest)>,
}

/// Why a card was not taken; nothing of it is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum CardRefusal {
    /// No first line.
    #[error(
        "not a practice card: a line like '{CARD_HEAD} n4 (1f3a9c2d)' is missing; send the text the \
         card makes, unchanged"
    )]
    NoHead,
    /// The first line names no plan.
    #[error(
        "line {line}: '{found}' names no plan and mark like n4 (1f3a9c2d); send the text the card makes, unchanged"
    )]
    Head {
        /// Line, from 1.
        line: usize,
        /// The line.
        found: String,
    },
    /// No last line.
    #[error("the text was cut: '{CARD_END}' is missing; ask for all of it")]
    Cut,
    /// Too long to be a card.
    #[error(
        "{bytes} bytes are too many for a practice card, {MOST_BYTES} at most; name the text the player sent"
    )]
    Long {
        /// Its length.
        bytes: usize,
    },
    /// Another plan's card.
    #[error("it is the card of {found}, not of {plan}; log it for {found}")]
    OtherPlan {
        /// The plan as asked for.
        plan: PlanId,
        /// The plan on the card.
        found: PlanId,
    },
    /// The mark is not this plan's.
    #[error(
        "the card is marked {found}, and {plan} here has {mark}: it was made in another library or for another plan; make a new card"
    )]
    OtherMark {
        /// The plan.
        plan: PlanId,
        /// Its mark.
        mark: String,
        /// The mark on the card.
        found: String,
    },
    /// A line that cannot be read.
    #[error("line {line}: '{found}': {rule}")]
    Line {
        /// Line, from 1.
        line: usize,
        /// What was found.
        found: String,
        /// What is allowed, and what to do.
        rule: String,
    },
    /// No day is filled in.
    #[error("no day is filled in; nothing to log")]
    Empty,
    /// What was done cannot be so.
    #[error("line {line}: {source}")]
    Practice {
        /// Line, from 1.
        line: usize,
        /// Why.
        source: Box<PracticeRefusal>,
    },
    /// The day is logged already, otherwise.
    #[error(
        "line {line}: {day} is already logged as {logged}, differently from here; remove {logged} first, or take the line out"
    )]
    Logged {
        /// Line, from 1.
        line: usize,
        /// The day.
        day: Date,
        /// What is logged.
        logged: PracticeId,
    },
    /// The store would not take it.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl From<StoreError> for CardRefusal {
    fn from(error: StoreError) -> Self {
        Self::Write(error.into())
    }
}

/// A card as logged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CardLogged {
    /// The plan.
    pub plan: PlanId,
    /// What was logged, by day.
    pub practice: Vec<PracticeId>,
    /// Days that were logged already, just so.
    pub known: usize,
    /// Sessions logged for the plan so far.
    pub sessions: u32,
    /// What the coach should know, each thing once.
    pub notices: Vec<PracticeNotice>,
}

/// As JSON: `plan`, `practice`, `known`, `sessions_so_far` and `notices`.
impl Serialize for CardLogged {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let ids: Vec<String> = self.practice.iter().map(ToString::to_string).collect();
        let notices: Vec<String> = self.notices.iter().map(ToString::to_string).collect();
        let mut object = to.serialize_struct("CardLogged", 5)?;
        object.serialize_field("plan", &self.plan.to_string())?;
        object.serialize_field("practice", &ids)?;
        object.serialize_field("known", &self.known)?;
        object.serialize_field("sessions_so_far", &self.sessions)?;
        object.serialize_field("notices", &notices)?;
        object.end()
    }
}

impl CardText {
    /// Reads the text of a card, with whatever a message put around it: quotation signs, a name and
    /// time in front, blank lines.
    ///
    /// ```
    /// use precedent::coaching::CardText;
    /// let text = "Practice card of plan n4 (1f3a9c2d)\n2026-03-16: effort 5\nEnd of the card";
    /// assert_eq!(CardText::read(text).unwrap().plan.to_string(), "n4");
    /// ```
    ///
    /// # Errors
    /// [`CardRefusal`] with the line.
    pub fn read(text: &str) -> Result<Self, CardRefusal> {
        if text.len() > MOST_BYTES {
            return Err(CardRefusal::Long { bytes: text.len() });
        }
        let plain = text.replace(['\u{a0}', '\u{202f}'], " ").replace('\u{feff}', "");
        let mut lines = plain
            .lines()
            .enumerate()
            .map(|(at, line)| (at + 1, line.trim_start_matches(['>', ' ', '\t', '*', '-']).trim()));
        let head = lines.find_map(|(line, text)| Some((line, text.split_once(CARD_HEAD)?.1)));
        let (line, named) = head.ok_or(CardRefusal::NoHead)?;
        let (plan, mark) = plan_and_mark(named).ok_or_else(|| CardRefusal::Head {
            line,
            found: excerpt(&format!("{CARD_HEAD}{named}"), SHOWN),
        })?;
        let mut days: Vec<(usize, PracticeRequest)> = Vec::new();
        let mut ended = false;
        for (line, text) in lines {
            if text.starts_with(CARD_END) {
                ended = true;
                break;
            }
            if text.is_empty() {
                continue;
            }
            let practice = day_line(plan, text).map_err(|rule| CardRefusal::Line {
                line,
                found: excerpt(text, SHOWN),
                rule,
            })?;
            if days.iter().any(|(_, other)| other.day == practice.day) {
                let rule = "this day stands on the card twice; keep one line of it".to_owned();
                return Err(CardRefusal::Line { line, found: excerpt(text, SHOWN), rule });
            }
            days.push((line, practice));
        }
        match (ended, days.is_empty()) {
            (false, _) => Err(CardRefusal::Cut),
            (true, true) => Err(CardRefusal::Empty),
            (true, false) => Ok(Self { plan, mark, days }),
        }
    }

    /// Checks every day against the plan and stores those that are new as one change; a day that is
    /// logged already, just so, is passed over, so that a card may be sent every week.
    ///
    /// `by`: who logs it, if that is to be kept.
    ///
    /// # Errors
    /// [`CardRefusal`] with the line; nothing is stored then.
    pub fn record(
        &self,
        library: &mut Library,
        plan: PlanId,
        by: Option<&str>,
    ) -> Result<CardLogged, CardRefusal> {
        if self.plan != plan {
            return Err(CardRefusal::OtherPlan { plan, found: self.plan });
        }
        let turn = library.take_turn()?;
        let held = library.plan(plan)?;
        let mark = library.card_mark(plan)?;
        if mark != self.mark {
            return Err(CardRefusal::OtherMark { plan, mark, found: self.mark.clone() });
        }
        let today = ZonedDateTime::now().date();
        let log = library.practice_of(plan)?;
        let (mut fresh, mut known) = (Vec::new(), 0);
        for (line, request) in &self.days {
            let line = *line;
            let request = PracticeRequest { by: by.map(str::to_owned), ..request.clone() };
            let done = request
                .check(&held, today)
                .map_err(|source| CardRefusal::Practice { line, source: Box::new(source) })?;
            match log.iter().find(|other| other.day == done.day) {
                Some(other) if is_same(other, &done) => known += 1,
                Some(other) => {
                    return Err(CardRefusal::Logged { line, day: done.day, logged: other.id });
                }
                None => fresh.push(done),
            }
        }
        fresh.sort_by_key(|done| done.day);
        let store = |writer: &mut Writer<'_>| -> Result<Vec<PracticeId>, WriteError> {
            fresh.iter().map(|done| writer.add_practice(done)).collect()
        };
        let practice = match fresh.is_empty() {
            true => Vec::new(),
            false => library.write_in(&turn, store)?,
        };
        let sessions = library.practice_of(plan)?.iter().map(|done| done.sessions).sum();
        let (catalogue, case) = (library.catalogue()?, library.case(held.case)?);
        let mut told: Vec<PracticeNotice> = Vec::new();
        for notice in fresh.iter().flat_map(|done| notices(&catalogue, &case, done)) {
            if !told.contains(&notice) {
                told.push(notice);
            }
        }
        Ok(CardLogged { plan, practice, known, sessions, notices: told })
    }
}

/// Whether the same was done, whoever logged it.
fn is_same(logged: &Practice, done: &Practice) -> bool {
    *logged == Practice { id: logged.id, by: logged.by.clone(), ..done.clone() }
}

/// `n4 (1f3a9c2d)`.
fn plan_and_mark(text: &str) -> Option<(PlanId, String)> {
    let (plan, rest) = text.trim().split_once('(')?;
    let mark = rest.split(')').next()?.trim();
    let good = !mark.is_empty() && mark.bytes().all(|b| b.is_ascii_hexdigit());
    Some((plan.trim().parse().ok()?, good.then(|| mark.to_lowercase())?))
}

/// `2026-03-16: sessions 1, effort 5`, or what is wrong with it.
fn day_line(plan: PlanId, text: &str) -> Result<PracticeRequest, String> {
    let day = "a line begins with its day like 2026-03-16: and then says what was done";
    let (named, said) = text.split_once(':').ok_or(day)?;
    let mut done = PracticeRequest {
        sessions: 0,
        // Whoever filled the card in is not there to be asked.
        sure: Vec::new(),
        ..PracticeRequest::new(PractisedFor::Plan(plan), named.trim().parse().map_err(|_| day)?)
    };
    // Not in the text in small letters: some of them take more bytes.
    let begins_words = |at: &usize| {
        let word = said.as_bytes().get(*at..at + "words ".len());
        word.is_some_and(|word| word.eq_ignore_ascii_case(b"words "))
    };
    let (said, words) = match (0..said.len()).find(begins_words) {
        Some(at) => (&said[..at], Some(said[at + "words ".len()..].trim())),
        None => (said, None),
    };
    done.note = words.filter(|words| !words.is_empty()).map(str::to_owned);
    let mut sessions = None;
    for part in said.split(',').map(str::trim).filter(|part| !part.is_empty()) {
        let part = part.to_lowercase();
        let (what, value) = part.split_once(' ').unwrap_or((&part, ""));
        let shown = excerpt(&part, SHOWN);
        let value = value.trim();
        let whole = |rule: &str| -> Result<u32, String> {
            value.parse().map_err(|_| format!("'{shown}': {rule}; correct it"))
        };
        let scale = |rule: &str| -> Result<u8, String> {
            u8::try_from(whole(rule)?).map_err(|_| format!("'{shown}': {rule}; correct it"))
        };
        match what {
            "sessions" | "session" => {
                sessions = Some(whole("sessions are a whole number, like 1")?)
            }
            "repetitions" | "reps" => {
                done.repetitions = Some(whole("repetitions are a whole number, like 60")?)
            }
            "effort" => done.effort = Some(scale("effort is 0 to 10")?),
            "pain" => {
                let (level, place) = value.split_once(' ').unwrap_or((value, ""));
                let level =
                    level.parse().map_err(|_| format!("'{shown}': pain is 0 to 10; correct it"))?;
                done.pain = Some(level);
                done.place = match place.trim() {
                    "" => None,
                    place => Some(BodyPart::from_typed(place).ok_or_else(|| {
                        format!(
                            "'{}' is not one of the places that can hurt; choose from {}",
                            excerpt(place, SHOWN),
                            BodyPart::names()
                        )
                    })?),
                };
                done.sure.push(PracticeQuestion::Where { pain: level });
            }
            _ => {
                return Err(format!(
                    "'{}' is not on the card; it has sessions, repetitions, effort, pain and words",
                    excerpt(what, SHOWN)
                ));
            }
        }
    }
    let practised = done.repetitions.is_some() || done.effort.is_some();
    if !practised && sessions.is_none() && done.pain.is_none() && done.note.is_none() {
        return Err("nothing is said about this day; take the line out".to_owned());
    }
    // Who counts nothing and says how hard it was practised once.
    done.sessions = sessions.unwrap_or(u32::from(practised));
    Ok(done)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(day: &str) -> Result<CardText, CardRefusal> {
        CardText::read(&format!("{CARD_HEAD} n4 (1f3a9c2d)\n{day}\n{CARD_END}"))
    }

    /// A capital that takes more bytes as a small letter stood before the player's words: the program
    /// stopped. Kept in `tests/fuzz/finds/practice_card`.
    #[test]
    fn words_are_found_behind_letters_of_any_size() {
        let said = |day| read(day).unwrap().days[0].1.note.clone();
        assert_eq!(
            said("2026-03-16: effort 5, WORDS İ: hip first"),
            Some("İ: hip first".to_owned())
        );
        assert_eq!(said("2026-03-16: effort 5, words x"), Some("x".to_owned()));
        let refused = read("2026-03-16: \u{130}\u{130}words x").unwrap_err().to_string();
        assert!(refused.contains("is not on the card"), "{refused}");
    }

    #[test]
    fn a_refusal_shows_the_beginning_of_a_long_line() {
        for day in ["a".repeat(5000), format!("2026-03-16: {}", "b".repeat(5000))] {
            assert!(read(&day).unwrap_err().to_string().len() < 500);
        }
        let head = CardText::read(&format!("{CARD_HEAD} {}", "c".repeat(5000)));
        assert!(head.unwrap_err().to_string().len() < 500);
    }
}
