//! From terms to the set of serves they keep.

use std::fmt;
use std::ops::Bound;

use rusqlite::params_from_iter;
use rusqlite::types::Value;

use super::{Filter, FilterError, Key, Term, Test};
use crate::catalogue::Miss;
use crate::find::Ignored;
use crate::library::{Library, Named, ServeId};

/// The serves a filter keeps, and what each term did to them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Selection {
    /// The serves, by id.
    pub serves: Vec<ServeId>,
    /// How many serves there were to choose from.
    pub searched: usize,
    /// What each term keeps, in the order given.
    pub terms: Vec<TermCut>,
    /// Words that could not be searched and were left out.
    pub ignored: Vec<Ignored>,
}

/// What one term does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TermCut {
    /// The term as typed.
    pub term: String,
    /// Serves this term alone keeps.
    pub keeps: usize,
    /// Serves that all other terms together keep.
    pub without: usize,
}

impl Selection {
    /// Why nothing is left, in one sentence; `None` if something is.
    ///
    /// Names the term that, when dropped, brings back most.
    #[must_use]
    pub fn why_empty(&self) -> Option<String> {
        let empty = self.serves.is_empty();
        empty.then(|| why_empty("serves", self.searched, &self.terms))
    }
}

/// What a filter keeps of serves or cases, by id, and how.
pub(in crate::find) struct Kept {
    pub(in crate::find) ids: Vec<i64>,
    searched: usize,
    terms: Vec<TermCut>,
    pub(in crate::find) ignored: Vec<Ignored>,
}

impl Kept {
    /// As [`Selection::why_empty`].
    pub(in crate::find) fn why_empty(&self, what: &str) -> Option<String> {
        self.ids.is_empty().then(|| why_empty(what, self.searched, &self.terms))
    }
}

fn why_empty(what: &str, searched: usize, terms: &[TermCut]) -> String {
    let Some(worst) = terms.iter().max_by_key(|cut| cut.without) else {
        return format!("no match: the library holds no {what} yet; add a recording");
    };
    let cut = searched - worst.keeps;
    let term = &worst.term;
    match worst.without {
        _ if terms.len() == 1 => {
            format!(
                "no match: {searched} {what} searched, all ruled out by {term}; change or \
                 drop it"
            )
        }
        0 => format!(
            "no match: {searched} {what} searched, {cut} ruled out by {term}, and no single term \
             to blame; drop several to widen the search"
        ),
        left => format!(
            "no match: {searched} {what} searched, {cut} ruled out by {term}; without it {left} \
             match"
        ),
    }
}

impl fmt::Display for Selection {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.why_empty() {
            Some(why) => f.write_str(&why),
            None => write!(f, "{} of {} serves", self.serves.len(), self.searched),
        }
    }
}

/// What a filter chooses from.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Of {
    Serves,
    /// Cases; one is kept for any of its recordings, or without one for what else is known.
    Cases,
}

impl Of {
    fn all(self) -> &'static str {
        match self {
            Self::Serves => "SELECT id FROM serves ORDER BY id",
            Self::Cases => "SELECT id FROM cases ORDER BY id",
        }
    }

    /// Where a condition is asked, and by what the answer is ordered.
    fn from(self) -> [&'static str; 2] {
        match self {
            Self::Serves => [
                "SELECT s.id FROM serves s JOIN recordings r ON r.id = s.recording
                 JOIN cases c ON c.id = s.case_id JOIN players p ON p.id = s.player",
                "s.id",
            ],
            Self::Cases => [
                "SELECT DISTINCT c.id FROM cases c JOIN players p ON p.id = c.player
                 LEFT JOIN recordings r ON r.case_id = c.id
                 LEFT JOIN serves s ON s.recording = r.id",
                "c.id",
            ],
        }
    }
}

/// A fault counts unless a coach rejected it.
const FAULT: &str = "EXISTS (SELECT 1 FROM labels l WHERE l.case_id = c.id AND l.fault IN (%)
        AND l.state <> 'rejected'
        AND NOT EXISTS (SELECT 1 FROM labels n WHERE n.case_id = c.id AND n.fault = l.fault
            AND n.state = 'rejected' AND n.said_by <> 'program'))";

impl Library {
    /// The serves `filter` keeps. Words that can not be searched are left out and listed.
    ///
    /// # Errors
    /// [`FilterError::Value`] for a player, squad, coach, fault or drill this library and its
    /// catalogue do not know; [`FilterError::Store`].
    pub fn select(&self, filter: &Filter) -> Result<Selection, FilterError> {
        let Kept { ids, searched, terms, ignored } = self.kept(filter, Of::Serves)?;
        let serves = ids.into_iter().map(ServeId).collect();
        Ok(Selection { serves, searched, terms, ignored })
    }

    /// The cases `filter` keeps, as [`Library::select`] for serves.
    pub(in crate::find) fn select_cases(&self, filter: &Filter) -> Result<Kept, FilterError> {
        self.kept(filter, Of::Cases)
    }

    fn kept(&self, filter: &Filter, of: Of) -> Result<Kept, FilterError> {
        let all = self.list("listing", of.all(), [], |row| row.get::<_, i64>(0))?;
        let mut ignored = Vec::new();
        let mut sets = Vec::with_capacity(filter.terms.len());
        for term in &filter.terms {
            self.check_known(term)?;
            sets.push(self.kept_by(term, of, &all, &mut ignored)?);
        }
        let both = |sets: &mut dyn Iterator<Item = &Vec<i64>>| {
            sets.fold(all.clone(), |kept, set| intersection(&kept, set))
        };
        let kept = both(&mut sets.iter());
        let terms = filter
            .terms
            .iter()
            .enumerate()
            .map(|(at, term)| TermCut {
                term: term.text.clone(),
                keeps: sets[at].len(),
                without: both(
                    &mut sets.iter().enumerate().filter(|(n, _)| *n != at).map(|(_, set)| set),
                )
                .len(),
            })
            .collect();
        Ok(Kept { ids: kept, searched: all.len(), terms, ignored })
    }

    /// As [`Library::select`], but words that can not be searched are an error: for scripts.
    ///
    /// # Errors
    /// As [`Library::select`]; [`FilterError::Words`].
    pub fn select_strictly(&self, filter: &Filter) -> Result<Selection, FilterError> {
        for term in &filter.terms {
            if let Test::Words(text) = &term.test {
                let ignored = self.find_words(text)?.ignored;
                if !ignored.is_empty() {
                    let all: Vec<_> = ignored.iter().map(ToString::to_string).collect();
                    let ignored = all.join(", ");
                    return Err(FilterError::Words { column: term.column, ignored });
                }
            }
        }
        self.select(filter)
    }

    fn kept_by(
        &self,
        term: &Term,
        of: Of,
        all: &[i64],
        ignored: &mut Vec<Ignored>,
    ) -> Result<Vec<i64>, FilterError> {
        let mut params: Vec<Value> = Vec::new();
        let condition = match &term.test {
            Test::OneOf { key, values } => {
                params.extend(values.iter().map(|value| Value::from(value.clone())));
                // Numbered, so that a condition may name the values twice.
                let marks: Vec<_> = (1..=values.len()).map(|n| format!("?{n}")).collect();
                one_of(*key).replace('%', &marks.join(", "))
            }
            Test::Days(spans) => any(spans, |(first, last)| {
                let mut parts = vec!["1"];
                for (day, part) in [
                    (first, "coalesce(r.date, c.date) >= ?"),
                    (last, "coalesce(r.date, c.date) <= ?"),
                ] {
                    if let Some(day) = day {
                        params.push(Value::from(day.to_string()));
                        parts.push(part);
                    }
                }
                parts.join(" AND ")
            }),
            Test::Ages(spans) => any(spans, |(first, last)| {
                params.extend([Value::from(*first), Value::from(*last)]);
                // Of a received case a band of ages is all that is known: it has to lie inside.
                let age = |end: &str| {
                    format!(
                        "coalesce(CAST(substr(coalesce(r.date, c.date), 1, 4) AS INTEGER)
                            - CAST(substr(p.born, 1, 4) AS INTEGER),
                            (SELECT {end} FROM case_origins o WHERE o.case_id = c.id))"
                    )
                };
                format!("{} >= ? AND {} <= ?", age("age_from"), age("age_to"))
            }),
            Test::Figures { key, spans } => {
                let column = if *key == Key::Speed { "c.speed_kmh" } else { "c.first_serve_pct" };
                any(spans, |span| {
                    let mut parts = vec![format!("{column} IS NOT NULL")];
                    for (bound, open, closed) in [(&span.0, ">", ">="), (&span.1, "<", "<=")] {
                        let (sign, number) = match bound {
                            Bound::Included(number) => (closed, number),
                            Bound::Excluded(number) => (open, number),
                            Bound::Unbounded => continue,
                        };
                        params.push(Value::from(*number));
                        parts.push(format!("{column} {sign} ?"));
                    }
                    parts.join(" AND ")
                })
            }
            Test::Misses(sides) => any(sides, |side| {
                let column = |side: Miss| format!("c.miss_{}", side.name());
                let others = Miss::ALL.into_iter().filter(|other| other != side);
                let beats = others.map(|other| format!("{} > {}", column(*side), column(other)));
                beats.collect::<Vec<_>>().join(" AND ")
            }),
            Test::FollowUp(wanted) => format!(
                "{} EXISTS (SELECT 1 FROM plans n JOIN follow_ups f ON f.plan = n.id
                    WHERE n.case_id = c.id)",
                if *wanted { "" } else { "NOT" }
            ),
            Test::Words(text) => {
                let hits = self.find_words(text)?;
                ignored.extend(hits.ignored);
                let Some(cases) = hits.cases else { return Ok(all.to_vec()) };
                let ids: Vec<_> = cases.iter().map(|case| case.0.to_string()).collect();
                params.push(Value::from(format!("[{}]", ids.join(","))));
                "c.id IN (SELECT value FROM json_each(?))".to_owned()
            }
        };
        // What is unknown (null) passes "everything but".
        let not = if term.negated { "NOT" } else { "" };
        let [from, id] = of.from();
        let sql = format!("{from} WHERE {not} coalesce({condition}, 0) ORDER BY {id}");
        Ok(self.list("filtering", &sql, params_from_iter(params), |row| row.get(0))?)
    }

    /// A name nobody bears is more likely a slip than a wish for nothing.
    fn check_known(&self, term: &Term) -> Result<(), FilterError> {
        let Test::OneOf { key, values } = &term.test else { return Ok(()) };
        let stored = match key {
            Key::Player => "SELECT code FROM players ORDER BY code",
            Key::Squad => "SELECT DISTINCT squad FROM player_squads ORDER BY squad",
            Key::Coach => {
                "SELECT coach FROM players WHERE coach IS NOT NULL
                 UNION SELECT coach FROM plans WHERE coach IS NOT NULL ORDER BY 1"
            }
            Key::Fault => "SELECT DISTINCT fault FROM labels ORDER BY fault",
            Key::Limiting => "SELECT DISTINCT limiting_fault FROM plans ORDER BY 1",
            Key::Drill => "SELECT DISTINCT drill FROM plan_drills ORDER BY drill",
            _ => return Ok(()),
        };
        let mut known: Vec<String> = self.list("listing names", stored, [], |row| row.get(0))?;
        let catalogue = self.catalogue()?;
        match key {
            Key::Fault | Key::Limiting => known.extend(catalogue.faults().map(|f| f.id.clone())),
            Key::Drill => known.extend(catalogue.drills().map(|d| d.id.clone())),
            _ => {}
        }
        known.sort();
        known.dedup();
        for value in values {
            if !known.iter().any(|name| name.eq_ignore_ascii_case(value)) {
                return Err(FilterError::Value {
                    column: term.column,
                    key: key.name(),
                    found: value.clone(),
                    allowed: nearest(value, &known),
                });
            }
        }
        Ok(())
    }
}

/// What the player told on the day.
macro_rules! told {
    ($column:literal) => {
        concat!(
            "EXISTS (SELECT 1 FROM check_ins i WHERE i.case_id = c.id AND ",
            $column,
            " IN (%))"
        )
    };
}

fn one_of(key: Key) -> &'static str {
    match key {
        Key::Player => "p.code COLLATE NOCASE IN (%)",
        Key::Squad => {
            "EXISTS (SELECT 1 FROM player_squads q WHERE q.player = p.id
                AND q.squad COLLATE NOCASE IN (%))"
        }
        Key::Coach => "p.coach COLLATE NOCASE IN (%)",
        // What the player states counts more than what the motion shows.
        Key::Hand => "coalesce(p.hand, s.hand) IN (%)",
        Key::Level => "p.level IN (%)",
        Key::Type => "r.serve_type IN (%)",
        Key::Setting => "r.setting IN (%)",
        Key::View => "r.view IN (%)",
        Key::Capture => "r.capture IN (%)",
        Key::Fault => FAULT,
        Key::Limiting => {
            "(c.id IN (SELECT case_id FROM plans WHERE limiting_fault IN (%))
                OR c.id IN (SELECT case_id FROM labels WHERE state = 'limiting'
                    AND fault IN (%)))"
        }
        Key::Drill => {
            "EXISTS (SELECT 1 FROM plans n JOIN plan_drills d ON d.plan = n.id
                WHERE n.case_id = c.id AND d.drill IN (%))"
        }
        Key::Place => {
            "EXISTS (SELECT 1 FROM plans n JOIN plan_drills d ON d.plan = n.id
                WHERE n.case_id = c.id AND d.done_where IN (%))"
        }
        Key::IndexKnuckle => "c.grip_index IN (%)",
        Key::HeelPad => "c.grip_heel IN (%)",
        Key::Attempt => told!("i.attempt"),
        Key::Court => told!("i.court"),
        Key::Target => told!("i.target"),
        Key::Pain => {
            "(EXISTS (SELECT 1 FROM check_in_pains h WHERE h.case_id = c.id
                    AND (h.place IN (%) OR 'any' IN (%)))
                OR ('none' IN (%) AND EXISTS (SELECT 1 FROM check_ins i
                    WHERE i.case_id = c.id AND i.pain_asked)
                    AND NOT EXISTS (SELECT 1 FROM check_in_pains h WHERE h.case_id = c.id)))"
        }
        // Tests of their own.
        Key::Age
        | Key::Date
        | Key::FollowUp
        | Key::Words
        | Key::Misses
        | Key::Speed
        | Key::FirstServe => "0",
    }
}

fn any<T>(items: &[T], mut condition: impl FnMut(&T) -> String) -> String {
    let parts: Vec<_> = items.iter().map(|item| format!("({})", condition(item))).collect();
    format!("({})", parts.join(" OR "))
}

/// Up to eight known names, those most like `found` first.
fn nearest(found: &str, known: &[String]) -> String {
    if known.is_empty() {
        return "there is none yet".to_owned();
    }
    let found = found.to_ascii_lowercase();
    let mut ranked: Vec<_> =
        known.iter().map(|name| (edits(&found, &name.to_ascii_lowercase()), name)).collect();
    ranked.sort();
    let shown: Vec<_> = ranked.iter().take(8).map(|(_, name)| name.as_str()).collect();
    let more = known.len() - shown.len();
    let rest = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("the nearest are {}{rest}", shown.join(", "))
}

/// Letters to add, drop or change to turn `a` into `b` (Levenshtein).
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut corner = row[0];
        row[0] = i + 1;
        for (j, &y) in b.iter().enumerate() {
            let change = corner + usize::from(x != y);
            corner = row[j + 1];
            row[j + 1] = change.min(corner + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

/// What both hold; both sorted.
fn intersection(a: &[i64], b: &[i64]) -> Vec<i64> {
    let (mut i, mut j) = (0, 0);
    let mut both = Vec::new();
    while i < a.len() && j < b.len() {
        match a[i].cmp(&b[j]) {
            std::cmp::Ordering::Less => i += 1,
            std::cmp::Ordering::Greater => j += 1,
            std::cmp::Ordering::Equal => {
                both.push(a[i]);
                i += 1;
                j += 1;
            }
        }
    }
    both
}
