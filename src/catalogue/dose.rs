//! A dose as numbers: read from its words, added up over a plan's week, held against age, load and
//! what hurts.
//!
//! The words stay the truth: a coach writes "2 x 8 serves, three or four days a week", and what
//! could not be read of it is kept and said, never dropped. What a week adds up to is serves and
//! throws, since both load the hitting arm. The limits are data (`data/general.toml`) with their
//! sources: none is shown to be safe, for no source read gives a safe number of serves; they are
//! what a set, a match or a week of matches asks (R099, R103, R106, R107) or our estimate.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::Catalogue;
use super::types::{BodyPart, Drill, Place, Work};

/// From the least to the most.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Span {
    /// Least.
    pub least: f64,
    /// Most.
    pub most: f64,
}

impl Span {
    /// One number.
    #[must_use]
    pub fn exactly(number: f64) -> Self {
        Self { least: number, most: number }
    }

    fn times(self, other: Self) -> Self {
        Self { least: self.least * other.least, most: self.most * other.most }
    }

    fn plus(self, other: Self) -> Self {
        Self { least: self.least + other.least, most: self.most + other.most }
    }
}

impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.least.round() == self.most.round() {
            write!(f, "{:.0}", self.most)
        } else {
            write!(f, "{:.0} to {:.0}", self.least, self.most)
        }
    }
}

/// How hard, as a share of the player's full effort.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Effort {
    /// About a quarter.
    Quarter,
    /// About half.
    Half,
    /// About three quarters.
    ThreeQuarters,
    /// All of it.
    Full,
}

/// Sets of repetitions on one day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sets {
    /// Sets.
    pub sets: u32,
    /// Repetitions in each.
    pub repetitions: u32,
    /// What is repeated, where the words say so.
    pub work: Option<Work>,
    /// Done once with each side.
    pub each_side: bool,
}

impl Sets {
    /// Repetitions a day, both sides together.
    #[must_use]
    pub fn a_day(&self) -> f64 {
        f64::from(self.sets) * f64::from(self.repetitions) * if self.each_side { 2.0 } else { 1.0 }
    }
}

/// A dose's words as numbers.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Dose {
    /// What is done on a day with it.
    pub sets: Vec<Sets>,
    /// Minutes on such a day.
    pub minutes: Option<f64>,
    /// Days a week.
    pub days_a_week: Option<Span>,
    /// For how many weeks.
    pub weeks: Option<u32>,
    /// How hard.
    pub effort: Option<Effort>,
    /// Words that say something else, in their order.
    pub unread: Vec<String>,
}

impl Dose {
    /// Reads what can be read of a dose's words; clauses stand between commas or semicolons.
    ///
    /// Never fails: what is not understood stands in [`Dose::unread`]. Numbers up to twelve may be
    /// words. A unit holds for its own number only.
    ///
    /// ```
    /// use precedent::catalogue::Dose;
    /// let dose = Dose::read("2 x 8 serves, three or four days a week, half speed");
    /// assert_eq!(dose.sets[0].a_day(), 16.0);
    /// assert_eq!(dose.days_a_week.unwrap().most, 4.0);
    /// assert!(dose.unread.is_empty());
    /// ```
    #[must_use]
    pub fn read(words: &str) -> Self {
        let mut dose = Self::default();
        for clause in words.split([',', ';']).map(str::trim).filter(|clause| !clause.is_empty()) {
            if !dose.clause(&clause.to_lowercase()) {
                dose.unread.push(clause.to_owned());
            }
        }
        dose
    }

    fn clause(&mut self, clause: &str) -> bool {
        let words: Vec<&str> = clause.split_whitespace().collect();
        let words = words.strip_prefix(&["for"]).unwrap_or(&words);
        let words = words.strip_suffix(&["at", "most"]).unwrap_or(words);
        match words {
            ["every", "day"] | ["daily"] => self.days_a_week = Some(Span::exactly(7.0)),
            ["every", "other", "day"] => self.days_a_week = Some(Span { least: 3.0, most: 4.0 }),
            [rest @ .., "days" | "day" | "times", "a" | "per", "week"] => match span(rest) {
                Some(days) if days.most <= 7.0 => self.days_a_week = Some(days),
                _ => return false,
            },
            [n, "week" | "weeks"] => match number(n) {
                Some(weeks) => self.weeks = Some(weeks),
                None => return false,
            },
            [n, "minute" | "minutes"] | [n, "minute" | "minutes", "before", "serving"] => {
                match number(n) {
                    Some(minutes) => self.minutes = Some(f64::from(minutes)),
                    None => return false,
                }
            }
            [n, "minute" | "minutes", "a" | "per" | "every", "day"] => match number(n) {
                Some(minutes) => {
                    self.minutes = Some(f64::from(minutes));
                    self.days_a_week = self.days_a_week.or(Some(Span::exactly(7.0)));
                }
                None => return false,
            },
            ["quarter", "speed" | "effort"] => self.effort = Some(Effort::Quarter),
            ["half", "speed" | "effort"] => self.effort = Some(Effort::Half),
            ["three", "quarters" | "quarter", "speed" | "effort"] => {
                self.effort = Some(Effort::ThreeQuarters);
            }
            ["full", "speed" | "effort"] => self.effort = Some(Effort::Full),
            [sets, "x", repetitions, what @ ..] => {
                let (Some(sets), Some(repetitions)) = (number(sets), number(repetitions)) else {
                    return false;
                };
                return self.put(sets, repetitions, what);
            }
            [n, what @ ..] if !what.is_empty() => {
                return number(n).is_some_and(|repetitions| self.put(1, repetitions, what));
            }
            _ => return false,
        }
        true
    }

    fn put(&mut self, sets: u32, repetitions: u32, what: &[&str]) -> bool {
        let each_side = what.ends_with(&["each", "side"]);
        let what = what.strip_suffix(&["each", "side"]).unwrap_or(what);
        let work = match what {
            [] => None,
            [.., unit] => match *unit {
                "serve" | "serves" | "ball" | "balls" | "kicks" => Some(Work::Serves),
                "throw" | "throws" => Some(Work::Throws),
                "swing" | "swings" | "toss" | "tosses" => Some(Work::Swings),
                "repetitions" | "times" | "holds" | "jumps" => Some(Work::Exercise),
                _ => return false,
            },
        };
        if sets == 0 || repetitions == 0 {
            return false;
        }
        self.sets.push(Sets { sets, repetitions, work, each_side });
        true
    }
}

fn number(word: &str) -> Option<u32> {
    const WORDS: [&str; 13] = [
        "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
        "eleven", "twelve",
    ];
    let named = WORDS.iter().position(|known| *known == word).and_then(|n| u32::try_from(n).ok());
    // More of anything than this on one day is a typing error.
    named.or_else(|| word.parse().ok()).filter(|&n| n <= 1000)
}

/// "3", "three or four", "3 to 4", "3-4".
fn span(words: &[&str]) -> Option<Span> {
    let (least, most) = match words {
        [one] => match one.split_once('-') {
            Some((a, b)) => (number(a)?, number(b)?),
            None => (number(one)?, number(one)?),
        },
        [a, "or" | "to", b] => (number(a)?, number(b)?),
        _ => return None,
    };
    (least <= most).then(|| Span { least: f64::from(least), most: f64::from(most) })
}

/// A drill as a plan asks for it.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// The drill.
    pub drill: &'a Drill,
    /// The plan's words for the dose, the drill's own where the plan has none.
    pub dose: &'a str,
    /// The step's place; `None` where the plan names none, counted as the heaviest the drill has.
    pub place: Option<Place>,
}

impl Asked<'_> {
    /// What repetitions without a unit are at this place.
    fn work(&self) -> Work {
        let with_ball = |place: Place| !matches!(place, Place::OffCourt | Place::PracticeSwing);
        let heaviest = || self.drill.steps.iter().any(|step| with_ball(step.place));
        match self.place {
            Some(Place::PracticeSwing) => Work::Swings,
            Some(Place::OffCourt) => self.drill.work.unwrap_or(Work::Swings),
            Some(_) => Work::Serves,
            None if heaviest() => Work::Serves,
            None => self.drill.work.unwrap_or(Work::Swings),
        }
    }
}

/// What a plan's drills add up to.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Week {
    /// Serves a week.
    pub serves: Span,
    /// Throws a week.
    pub throws: Span,
    /// Practice swings a week.
    pub swings: Span,
    /// Serves and throws on the fullest day, all drills on one day.
    pub arm_a_day: f64,
    /// Days a week with serves or throws: those of the drill with most, since drills share days.
    pub arm_days: Span,
    /// Minutes a week of drills that are timed, not counted.
    pub minutes: Span,
    /// Drills, by name, of whose dose something that counts could not be read, and what.
    pub uncounted: Vec<(String, String)>,
}

impl Week {
    /// Adds up drills practised as asked.
    ///
    /// A dose without days a week or without numbers is named in [`Week::uncounted`]; one timed in
    /// minutes counts as minutes, and is named there too where balls are hit or thrown in them.
    #[must_use]
    pub fn of(asked: &[Asked<'_>]) -> Self {
        let mut week = Self::default();
        for one in asked {
            week.add(one);
        }
        week
    }

    fn add(&mut self, asked: &Asked<'_>) {
        let dose = Dose::read(asked.dose);
        let mut lacking = |what: &str| {
            self.uncounted.push((asked.drill.name.clone(), format!("{what} in '{}'", asked.dose)));
        };
        if dose.sets.is_empty() && dose.minutes.is_none() {
            lacking("no numbers");
            return;
        }
        let Some(days) = dose.days_a_week else {
            lacking("no days a week");
            self.arm_a_day += arm_a_day(&dose, asked.work());
            return;
        };
        if let Some(minutes) = dose.minutes {
            if dose.sets.is_empty() && matches!(asked.work(), Work::Serves | Work::Throws) {
                lacking("balls are not counted");
            }
            self.minutes = self.minutes.plus(days.times(Span::exactly(minutes)));
        }
        for sets in &dose.sets {
            let a_week = days.times(Span::exactly(sets.a_day()));
            match sets.work.unwrap_or_else(|| asked.work()) {
                Work::Serves => self.serves = self.serves.plus(a_week),
                Work::Throws => self.throws = self.throws.plus(a_week),
                Work::Swings => self.swings = self.swings.plus(a_week),
                Work::Exercise => {}
            }
        }
        let arm = arm_a_day(&dose, asked.work());
        if arm > 0.0 {
            self.arm_a_day += arm;
            self.arm_days = Span {
                least: self.arm_days.least.max(days.least),
                most: self.arm_days.most.max(days.most),
            };
        }
    }

    /// Serves and throws a week.
    #[must_use]
    pub fn arm(&self) -> Span {
        self.serves.plus(self.throws)
    }
}

fn arm_a_day(dose: &Dose, unnamed: Work) -> f64 {
    let counts = |sets: &&Sets| matches!(sets.work.unwrap_or(unnamed), Work::Serves | Work::Throws);
    dose.sets.iter().filter(counts).map(Sets::a_day).sum()
}

/// What a limit is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LimitOf {
    /// Serves and throws on the fullest day.
    ArmADay,
    /// Serves and throws a week, with what the player does already.
    ArmAWeek,
    /// Days a week with serves or throws.
    ArmDays,
}

impl LimitOf {
    fn words(self) -> &'static str {
        match self {
            Self::ArmADay => "serves and throws on one day",
            Self::ArmAWeek => "serves and throws a week",
            Self::ArmDays => "days a week with serves or throws",
        }
    }
}

/// How much a plan may ask before it is said to be much, for an age.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// Stable name in data.
    pub id: String,
    /// From this age in years; absent = from birth.
    #[serde(default)]
    pub from_age: Option<u32>,
    /// Below this age in years; absent = for life.
    #[serde(default)]
    pub below_age: Option<u32>,
    /// What it is on.
    pub of: LimitOf,
    /// The most that is not remarked on.
    pub most: f64,
    /// What is said above it.
    pub text: String,
    /// How the number follows from the sources, or "our estimate".
    pub basis: String,
    /// Published rows behind it.
    #[serde(default)]
    pub sources: Vec<String>,
}

impl Limit {
    fn holds_at(&self, age_years: u32) -> bool {
        self.from_age.is_none_or(|from| age_years >= from)
            && self.below_age.is_none_or(|below| age_years < below)
    }
}

/// What is known about the player who is to practise.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Practiser {
    /// Age in full years; `None` = not known, taken as a junior's.
    pub age_years: Option<u32>,
    /// Serves a week already, drills apart; `None` = not known, which is said.
    pub serves_a_week: Option<u32>,
    /// What hurts.
    pub sore: Vec<BodyPart>,
}

/// Age by which a player of unknown age is judged: the careful side of the juniors.
const UNKNOWN_AGE: u32 = 12;

/// Something to say about a dose before it is given.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Warning {
    /// The limit passed, by id; `None` where something else speaks against it.
    pub limit: Option<String>,
    /// Whether the drill is not to be given at all, as with pain, or only is much.
    pub refused: bool,
    /// What to say, one or two sentences.
    pub text: String,
    /// Published rows behind it.
    pub sources: Vec<String>,
}

/// Holds what a plan asks against age, load and what hurts.
///
/// Result: refusals (a drill that loads what hurts) before remarks, each in catalogue order. An
/// empty list says that nothing here speaks against the plan, not that it is safe.
#[must_use]
pub fn check_doses(
    catalogue: &Catalogue,
    asked: &[Asked<'_>],
    practiser: &Practiser,
) -> Vec<Warning> {
    let mut warnings = Vec::new();
    for one in asked {
        let sore: Vec<&str> = one
            .drill
            .loads
            .iter()
            .filter(|part| practiser.sore.contains(part))
            .map(|part| part.label())
            .collect();
        if !sore.is_empty() {
            warnings.push(Warning {
                limit: None,
                refused: true,
                text: format!(
                    "'{}' loads the {}, which hurts: not now. See a clinician first.",
                    one.drill.name,
                    sore.join(" and the ")
                ),
                sources: Vec::new(),
            });
        }
    }
    let week = Week::of(asked);
    let age = practiser.age_years.unwrap_or(UNKNOWN_AGE);
    let already = f64::from(practiser.serves_a_week.unwrap_or(0));
    for limit in catalogue.limits().filter(|limit| limit.holds_at(age)) {
        let found = match limit.of {
            LimitOf::ArmADay => week.arm_a_day,
            LimitOf::ArmAWeek => week.arm().most + already,
            LimitOf::ArmDays => week.arm_days.most,
        };
        if found <= limit.most {
            continue;
        }
        let mut text = format!(
            "{found:.0} {}, {:.0} at most here. {}",
            limit.of.words(),
            limit.most,
            limit.text
        );
        if practiser.age_years.is_none() {
            text.push_str(" The player's age is not known, so the limit for juniors is used.");
        }
        warnings.push(Warning {
            limit: Some(limit.id.clone()),
            refused: false,
            text,
            sources: limit.sources.clone(),
        });
    }
    let mut remark = |text: String| {
        warnings.push(Warning { limit: None, refused: false, text, sources: Vec::new() });
    };
    if practiser.serves_a_week.is_none() && week.arm().most > 0.0 {
        remark(format!(
            "The plan adds {} serves and throws a week. How much the player already serves is not \
             known: ask before you add to it.",
            week.arm()
        ));
    }
    for (drill, what) in &week.uncounted {
        remark(format!("'{drill}' is not in these numbers: {what}."));
    }
    warnings
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked<'a>(catalogue: &'a Catalogue, drill: &str, dose: &'a str, place: Place) -> Asked<'a> {
        Asked { drill: catalogue.drill(drill).unwrap(), dose, place: Some(place) }
    }

    /// Numbers worked out by hand from the words.
    #[test]
    fn words_become_numbers() {
        let dose = Dose::read("10 throws, 15 swings, 20 balls, three or four days a week");
        let a_day: Vec<f64> = dose.sets.iter().map(Sets::a_day).collect();
        assert_eq!(a_day, [10.0, 15.0, 20.0]);
        let work: Vec<_> = dose.sets.iter().map(|sets| sets.work.unwrap()).collect();
        assert_eq!(work, [Work::Throws, Work::Swings, Work::Serves]);
        assert_eq!(dose.days_a_week, Some(Span { least: 3.0, most: 4.0 }));

        let dose = Dose::read("3 x 6 throws each side, two days a week");
        assert_eq!(dose.sets[0].a_day(), 36.0);
        let dose = Dose::read("5 minutes a day, for two weeks at most");
        assert_eq!((dose.minutes, dose.weeks), (Some(5.0), Some(2)));
        assert_eq!(dose.days_a_week, Some(Span::exactly(7.0)));
        let dose = Dose::read("20 minutes, three days a week, six weeks");
        assert_eq!(dose.days_a_week, Some(Span::exactly(3.0)));
        let dose = Dose::read("3 X 8, 3-4 times per week; half speed");
        assert_eq!((dose.sets[0].a_day(), dose.effort), (24.0, Some(Effort::Half)));
        assert!(dose.unread.is_empty(), "{dose:?}");
    }

    #[test]
    fn what_is_not_understood_is_kept_never_guessed() {
        let dose = Dose::read("2 x 12, three days a week, not before serving");
        assert_eq!(dose.unread, ["not before serving"]);
        for words in
            ["", "as you like", "2 x many", "0 x 8", "nine days a week", "4 or 3 days a week"]
        {
            let dose = Dose::read(words);
            assert!(dose.sets.is_empty() && dose.days_a_week.is_none(), "{words}: {dose:?}");
            assert_eq!(dose.unread.len(), usize::from(!words.is_empty()), "{words}");
        }
        let dose = Dose::read("99999999999999 x 8");
        assert!(dose.sets.is_empty());
    }

    /// Every dose of our own can be read, but for words that say when, not how much.
    #[test]
    fn our_own_doses_are_understood() {
        let besides = [
            "every practice day",
            "before every serve",
            "not before serving",
            "a full minute of rest between sets",
        ];
        for drill in Catalogue::builtin().drills() {
            let dose = Dose::read(&drill.dose);
            for clause in &dose.unread {
                let known = besides.contains(&clause.to_lowercase().as_str());
                assert!(known, "{}: '{clause}' in '{}'", drill.id, drill.dose);
            }
            let counted = !dose.sets.is_empty() || dose.minutes.is_some();
            let said = dose.unread.iter().any(|clause| clause.contains("serv"));
            assert!(counted || said, "{}: '{}'", drill.id, drill.dose);
        }
    }

    /// 3 x 8 serves on three days and 2 x 10 throws on two: 72 and 40 a week, by hand.
    #[test]
    fn a_week_adds_up() {
        let catalogue = Catalogue::builtin();
        let plan = [
            asked(catalogue, "over_the_rope", "3 x 8, three days a week", Place::Baseline),
            asked(catalogue, "fence_throw", "2 x 10 throws, two days a week", Place::OffCourt),
            asked(catalogue, "slow_to_fast", "8 minutes a day", Place::PracticeSwing),
        ];
        let week = Week::of(&plan);
        assert_eq!(week.serves, Span::exactly(72.0));
        assert_eq!(week.throws, Span::exactly(40.0));
        assert_eq!(week.arm(), Span::exactly(112.0));
        assert_eq!(week.arm_a_day, 44.0);
        assert_eq!(week.arm_days, Span::exactly(3.0));
        assert_eq!(week.minutes, Span::exactly(56.0));
        assert!(week.uncounted.is_empty(), "{:?}", week.uncounted);
        // At the first step the same words are swings, not serves.
        let easy =
            [asked(catalogue, "over_the_rope", "3 x 8, three days a week", Place::PracticeSwing)];
        assert_eq!(Week::of(&easy).serves, Span::exactly(0.0));
        // Without a place the heaviest step counts.
        let unplaced = [Asked { place: None, ..plan[0] }];
        assert_eq!(Week::of(&unplaced).serves, Span::exactly(72.0));
        // What cannot be counted is named.
        let vague = [asked(catalogue, "count_aloud", "every practice day", Place::Baseline)];
        let week = Week::of(&vague);
        assert_eq!(week.uncounted.len(), 1);
        assert!(week.uncounted[0].1.contains("no numbers"), "{:?}", week.uncounted);
    }

    /// 60 serves on four days: nothing against an adult's day (120), more than a junior's week of
    /// 256 with 40 already, more than a child's day of 40.
    #[test]
    fn a_dose_is_held_against_age() {
        let catalogue = Catalogue::builtin();
        let plan =
            [asked(catalogue, "over_the_rope", "60 serves, four days a week", Place::Baseline)];
        let limits = |age_years, serves_a_week| -> Vec<String> {
            let practiser = Practiser { age_years, serves_a_week, sore: Vec::new() };
            check_doses(catalogue, &plan, &practiser)
                .into_iter()
                .filter_map(|one| one.limit)
                .collect()
        };
        assert!(limits(Some(25), Some(100)).is_empty());
        assert!(limits(Some(15), Some(10)).is_empty());
        assert_eq!(limits(Some(15), Some(40)), ["arm_week_junior"]);
        assert_eq!(
            limits(Some(10), Some(0)),
            ["arm_day_child", "arm_week_child", "arm_days_child"]
        );
        // Of unknown age: as a junior, and said so.
        let practiser = Practiser { serves_a_week: Some(40), ..Practiser::default() };
        let told = check_doses(catalogue, &plan, &practiser);
        assert_eq!(told[0].limit.as_deref(), Some("arm_week_junior"));
        assert!(told[0].text.contains("age is not known"), "{}", told[0].text);
        assert!(!told[0].sources.is_empty());
        // What the player serves already is asked for.
        let told = check_doses(
            catalogue,
            &plan,
            &Practiser { age_years: Some(25), ..Practiser::default() },
        );
        assert!(told.iter().any(|one| one.text.contains("not known: ask")), "{told:?}");
    }

    #[test]
    fn what_hurts_is_not_loaded() {
        let catalogue = Catalogue::builtin();
        let plan = [
            asked(catalogue, "picture_the_flight", "5 minutes, four days a week", Place::OffCourt),
            asked(catalogue, "kneeling_serve", "2 x 8, two days a week", Place::ServiceLine),
        ];
        let practiser = Practiser {
            age_years: Some(30),
            serves_a_week: Some(0),
            sore: vec![BodyPart::Shoulder],
        };
        let told = check_doses(catalogue, &plan, &practiser);
        let refused: Vec<&Warning> = told.iter().filter(|one| one.refused).collect();
        assert_eq!(refused.len(), 1);
        assert!(refused[0].text.contains("Serve from the knees"), "{}", refused[0].text);
        assert!(refused[0].text.contains("clinician"), "{}", refused[0].text);
    }

    /// At each age each kind of limit holds once: no gap, no two at a time.
    #[test]
    fn limits_cover_every_age_once() {
        let catalogue = Catalogue::builtin();
        for age in 0..100 {
            for of in [LimitOf::ArmADay, LimitOf::ArmAWeek, LimitOf::ArmDays] {
                let here = catalogue.limits().filter(|limit| limit.of == of && limit.holds_at(age));
                assert_eq!(here.count(), 1, "{of:?} at {age}");
            }
        }
    }
}
