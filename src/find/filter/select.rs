//! From terms to the set of serves they keep.

use std::collections::HashMap;
use std::fmt;
use std::ops::Bound;

use jiff::civil::Date;
use rusqlite::params_from_iter;
use rusqlite::types::Value;

use super::{Filter, FilterError, Ids, Key, Term, Test};
use crate::catalogue::Miss;
use crate::find::Ignored;
use crate::find::heads::{Heads, Kind};
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

/// What a filter does, without the list of what it keeps.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Cut {
    /// How many it keeps.
    pub kept: usize,
    /// As [`Selection::searched`].
    pub searched: usize,
    /// As [`Selection::terms`].
    pub terms: Vec<TermCut>,
    /// As [`Selection::ignored`].
    pub ignored: Vec<Ignored>,
}

impl Cut {
    /// As [`Selection::why_empty`]; `what`: what was searched ("serves").
    #[must_use]
    pub fn why_empty(&self, what: &str) -> Option<String> {
        (self.kept == 0).then(|| why_empty(what, self.searched, &self.terms))
    }
}

/// The cases a filter keeps, by id.
pub(in crate::find) struct KeptCases {
    pub(in crate::find) ids: Vec<i64>,
    pub(in crate::find) cut: Cut,
}

/// What is known of every serve, and which of them a filter keeps.
pub(crate) struct KeptServes {
    pub(crate) heads: Heads,
    /// By place; `None`: all.
    pub(crate) kept: Option<Vec<bool>>,
    pub(crate) cut: Cut,
}

impl KeptServes {
    /// Places of those that are kept, ascending.
    pub(crate) fn places(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.heads.len()).filter(|&place| self.keeps(place))
    }

    pub(crate) fn keeps(&self, place: usize) -> bool {
        self.kept.as_ref().is_none_or(|kept| kept[place])
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

/// Where a condition is asked, and by what the answer is ordered.
type Table = [&'static str; 2];

/// A case is kept for any of its recordings, or without one for what else is known.
const CASES: Table = [
    "SELECT DISTINCT c.id FROM cases c JOIN players p ON p.id = c.player
     LEFT JOIN recordings r ON r.case_id = c.id
     LEFT JOIN serves s ON s.recording = r.id",
    "c.id",
];
/// Where conditions on nothing but the case are asked.
const CASES_ALONE: Table = ["SELECT c.id FROM cases c", "c.id"];
/// The same of the player.
const PLAYERS_ALONE: Table = ["SELECT p.id FROM players p", "p.id"];
/// All conditions at once, as the store itself answers them: what tests hold the answer against.
#[cfg(test)]
const SERVES: Table = [
    "SELECT s.id FROM serves s JOIN recordings r ON r.id = s.recording
     JOIN cases c ON c.id = s.case_id JOIN players p ON p.id = s.player",
    "s.id",
];

/// A fault counts unless a coach rejected it.
const FAULT: &str = "c.id IN (SELECT l.case_id FROM labels l WHERE l.fault IN (%)
        AND l.state <> 'rejected'
        AND NOT EXISTS (SELECT 1 FROM labels n WHERE n.case_id = l.case_id AND n.fault = l.fault
            AND n.state = 'rejected' AND n.said_by <> 'program'))";

impl Library {
    /// The serves `filter` keeps. Words that can not be searched are left out and listed.
    ///
    /// # Errors
    /// [`FilterError::Value`] for a player, squad, coach, fault or drill this library and its
    /// catalogue do not know; [`FilterError::Store`].
    pub fn select(&self, filter: &Filter) -> Result<Selection, FilterError> {
        let found = self.kept_serves(filter)?;
        let serves = found.places().map(|place| found.heads.serve_at(place)).collect();
        let Cut { searched, terms, ignored, .. } = found.cut;
        Ok(Selection { serves, searched, terms, ignored })
    }

    /// What is known of every serve, and which of them `filter` keeps.
    ///
    /// # Errors
    /// As [`Library::select`].
    pub(crate) fn kept_serves(&self, filter: &Filter) -> Result<KeptServes, FilterError> {
        let heads = self.heads()?;
        let mut cut = Cut { kept: heads.len(), searched: heads.len(), ..Cut::default() };
        if filter.is_empty() {
            return Ok(KeptServes { heads, kept: None, cut });
        }
        let mut terms = Vec::with_capacity(filter.terms.len());
        // How many terms rule each serve out.
        let mut against = vec![0_u16; heads.len()];
        for term in &filter.terms {
            self.check_known(term)?;
            let passing = self.passing(term, &heads, &mut cut.ignored)?;
            let passes: Vec<bool> =
                (0..heads.len()).map(|place| passing.holds(&heads, place)).collect();
            against.iter_mut().zip(&passes).for_each(|(count, pass)| *count += u16::from(!pass));
            terms.push(passes);
        }
        let without = |passes: &[bool]| {
            let others = against.iter().zip(passes).map(|(count, pass)| count - u16::from(!pass));
            others.filter(|others| *others == 0).count()
        };
        let told = filter.terms.iter().zip(&terms).map(|(term, passes)| TermCut {
            term: term.text.clone(),
            keeps: passes.iter().filter(|pass| **pass).count(),
            without: without(passes),
        });
        cut.terms = told.collect();
        let kept: Vec<bool> = against.iter().map(|count| *count == 0).collect();
        cut.kept = kept.iter().filter(|kept| **kept).count();
        Ok(KeptServes { heads, kept: Some(kept), cut })
    }

    /// The cases `filter` keeps, as [`Library::select`] for serves.
    pub(in crate::find) fn select_cases(&self, filter: &Filter) -> Result<KeptCases, FilterError> {
        self.kept_of(filter, self.sorted_case_ids()?, CASES)
    }

    fn kept_of(
        &self,
        filter: &Filter,
        all: Vec<i64>,
        from: Table,
    ) -> Result<KeptCases, FilterError> {
        let mut ignored = Vec::new();
        let mut sets = Vec::with_capacity(filter.terms.len());
        for term in &filter.terms {
            self.check_known(term)?;
            let kept = self.kept_by(term, from, &mut ignored)?;
            sets.push(kept.unwrap_or_else(|| all.clone()));
        }
        let both = |sets: &mut dyn Iterator<Item = &Vec<i64>>| {
            sets.fold(all.clone(), |kept, set| intersection(&kept, set))
        };
        let ids = both(&mut sets.iter());
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
        let cut = Cut { kept: ids.len(), searched: all.len(), terms, ignored };
        Ok(KeptCases { ids, cut })
    }

    /// As [`Library::select`], by the store alone and one statement a term.
    #[cfg(test)]
    pub(in crate::find) fn select_plainly(
        &self,
        filter: &Filter,
    ) -> Result<Selection, FilterError> {
        let mut all = self.list("listing", "SELECT id FROM serves", [], |row| row.get(0))?;
        all.sort_unstable();
        let KeptCases { ids, cut } = self.kept_of(filter, all, SERVES)?;
        let Cut { searched, terms, ignored, .. } = cut;
        Ok(Selection { serves: ids.into_iter().map(ServeId).collect(), searched, terms, ignored })
    }

    /// Refuses words that can not be searched: for scripts.
    ///
    /// # Errors
    /// [`FilterError::Words`]; [`FilterError::Store`].
    pub(crate) fn refuse_unsearchable(&self, filter: &Filter) -> Result<(), FilterError> {
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
        Ok(())
    }

    /// What one term keeps of a table, by id; `None` if it asks for nothing.
    fn kept_by(
        &self,
        term: &Term,
        from: Table,
        ignored: &mut Vec<Ignored>,
    ) -> Result<Option<Vec<i64>>, FilterError> {
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
                "c.id {} IN (SELECT n.case_id FROM follow_ups f JOIN plans n ON n.id = f.plan)",
                if *wanted { "" } else { "NOT" }
            ),
            Test::Words(text) => {
                let hits = self.find_words(text)?;
                ignored.extend(hits.ignored);
                let Some(cases) = hits.cases else { return Ok(None) };
                let ids: Vec<_> = cases.iter().map(|case| case.0.to_string()).collect();
                params.push(Value::from(format!("[{}]", ids.join(","))));
                "c.id IN (SELECT value FROM json_each(?))".to_owned()
            }
        };
        // What is unknown (null) passes "everything but".
        let not = if term.negated { "NOT" } else { "" };
        let [from, id] = from;
        let sql = format!("{from} WHERE {not} coalesce({condition}, 0) ORDER BY {id}");
        Ok(Some(self.list("filtering", &sql, params_from_iter(params), |row| row.get(0))?))
    }

    /// Which serves a term lets through: what depends on the player or the case is asked once for each
    /// of those, the rest is known of the serve.
    fn passing(
        &self,
        term: &Term,
        heads: &Heads,
        ignored: &mut Vec<Ignored>,
    ) -> Result<Passing, FilterError> {
        let kinds = |holds: &dyn Fn(&Kind) -> bool| heads.kinds.iter().map(holds).collect();
        let by = match &term.test {
            Test::OneOf { key: Key::Player | Key::Squad | Key::Coach | Key::Level, .. } => {
                // What is negated is so already.
                let kept = self.kept_by(term, PLAYERS_ALONE, ignored)?;
                return Ok(Passing { negated: false, by: By::Players(of(kept)) });
            }
            Test::OneOf { key: Key::Hand, values } => {
                let hands = self.list(
                    "listing hands",
                    "SELECT id, hand FROM players WHERE hand IS NOT NULL",
                    [],
                    |row| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?)),
                )?;
                let wanted = hands.iter().filter(|(_, hand)| values.contains(hand));
                By::Hands {
                    stated: hands.iter().map(|(id, _)| *id).collect(),
                    wanted: wanted.map(|(id, _)| *id).collect(),
                    shown: kinds(&|kind| is_named(Some(kind.hand), values)),
                }
            }
            Test::OneOf { key: Key::Type, values } => {
                By::Kinds(kinds(&|kind| is_named(kind.serve_type, values)))
            }
            Test::OneOf { key: Key::Setting, values } => {
                By::Kinds(kinds(&|kind| is_named(kind.setting, values)))
            }
            Test::OneOf { key: Key::View, values } => {
                By::Kinds(kinds(&|kind| is_named(kind.view, values)))
            }
            Test::OneOf { key: Key::Capture, values } => {
                By::Kinds(kinds(&|kind| is_named(Some(kind.capture), values)))
            }
            Test::Days(spans) => {
                let digits = |day: Date| {
                    i64::from(day.year()) * 10_000
                        + i64::from(day.month()) * 100
                        + i64::from(day.day())
                };
                let span = |(first, last): &(Option<Date>, Option<Date>)| {
                    (first.map_or(i64::MIN, digits), last.map_or(i64::MAX, digits))
                };
                By::Days(spans.iter().map(span).collect())
            }
            Test::Ages(spans) => By::Ages { spans: spans.clone(), ages: self.ages()? },
            _ => {
                let kept = self.kept_by(term, CASES_ALONE, ignored)?;
                let Some(kept) = kept else { return Ok(Passing { negated: false, by: By::All }) };
                return Ok(Passing { negated: false, by: By::Cases(of(Some(kept))) });
            }
        };
        Ok(Passing { negated: term.negated, by })
    }

    fn ages(&self) -> Result<Ages, FilterError> {
        let born = self.list(
            "listing ages",
            "SELECT id, CAST(substr(born, 1, 4) AS INTEGER) FROM players WHERE born IS NOT NULL",
            [],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        let bands = self.list(
            "listing ages",
            "SELECT case_id, age_from, age_to FROM case_origins",
            [],
            |row| Ok((row.get(0)?, (row.get(1)?, row.get(2)?))),
        )?;
        Ok(Ages { born: born.into_iter().collect(), bands: bands.into_iter().collect() })
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

/// Which serves a term lets through.
struct Passing {
    /// Everything but.
    negated: bool,
    by: By,
}

enum By {
    All,
    Players(Ids),
    Cases(Ids),
    /// What the player states counts more than what the motion shows.
    Hands {
        stated: Ids,
        wanted: Ids,
        shown: Vec<bool>,
    },
    Kinds(Vec<bool>),
    Days(Vec<(i64, i64)>),
    Ages {
        spans: Vec<(i64, i64)>,
        ages: Ages,
    },
}

/// Years of birth by player, and by case the ages a received one may have.
struct Ages {
    born: HashMap<i64, i64>,
    bands: HashMap<i64, (Option<i64>, Option<i64>)>,
}

impl Passing {
    fn holds(&self, heads: &Heads, place: usize) -> bool {
        let kind = usize::from(heads.kind[place]);
        let (player, case, day) = (heads.players[place], heads.cases[place], heads.days[place]);
        let holds = match &self.by {
            By::All => true,
            By::Players(ids) => ids.holds(player),
            By::Cases(ids) => ids.holds(case),
            By::Hands { stated, wanted, shown } => {
                if stated.holds(player) {
                    wanted.holds(player)
                } else {
                    shown[kind]
                }
            }
            By::Kinds(kinds) => kinds[kind],
            By::Days(spans) => {
                spans.iter().any(|(first, last)| (*first..=*last).contains(&i64::from(day)))
            }
            By::Ages { spans, ages } => {
                let known =
                    ages.born.get(&i64::from(player)).map(|born| i64::from(day / 10_000) - born);
                let band = || ages.bands.get(&i64::from(case)).copied().unwrap_or_default();
                let (low, high) = known.map_or_else(band, |age| (Some(age), Some(age)));
                spans.iter().any(|(first, last)| {
                    low.is_some_and(|low| low >= *first) && high.is_some_and(|high| high <= *last)
                })
            }
        };
        holds != self.negated
    }
}

fn is_named<T: Named>(value: Option<T>, names: &[String]) -> bool {
    value.is_some_and(|value| names.iter().any(|name| name == value.name()))
}

fn of(ids: Option<Vec<i64>>) -> Ids {
    ids.into_iter().flatten().collect()
}

/// What both hold; both sorted.
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
            "c.id IN (SELECT n.case_id FROM plan_drills d JOIN plans n ON n.id = d.plan
                WHERE d.drill IN (%))"
        }
        Key::Place => {
            "c.id IN (SELECT n.case_id FROM plan_drills d JOIN plans n ON n.id = d.plan
                WHERE d.done_where IN (%))"
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
