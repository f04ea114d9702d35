//! What a player agreed to and how long the player is kept, in words and in days.

use jiff::ToSpan;
use jiff::civil::Date;
use serde::Serialize;

use super::cautions::Age;
use crate::library::{
    Consent, ConsentBy, Library, Player, PlayerId, Retention, StoreError, WriteError, check_past,
};
use crate::words::{count, day};

/// Who agreed, to follow the day; a default that nobody said is none.
fn consent_given_by(by: Option<ConsentBy>) -> &'static str {
    match by {
        Some(ConsentBy::Player) => ", by the player",
        Some(ConsentBy::Guardian) => ", by a parent or guardian",
        None => "; who said so is not recorded",
    }
}

/// What was agreed, on which day, and by whom.
#[must_use]
pub fn describe_consent(consent: Consent) -> String {
    let kind = match (consent.keep, consent.share) {
        (true, true) => "agreed to keeping recordings here and to sharing sessions without a name",
        (true, false) => "agreed to keeping recordings here, but not to sharing",
        (false, _) if consent.date.is_some() => "did not agree to keeping recordings here",
        (false, _) => "nothing is recorded of what the player agrees to",
    };
    match consent.date {
        Some(date) => format!("{kind}, {}{}", day(date), consent_given_by(consent.by)),
        None if consent.keep => format!("{kind}; on which day is not recorded"),
        None => kind.to_owned(),
    }
}

/// Whether a player's cases may leave: that was agreed to, and it is known when.
#[must_use]
pub fn may_share(consent: Consent) -> bool {
    consent.keep && consent.share && consent.date.is_some()
}

/// Whether somebody agreed alone who was under eighteen on that day.
#[must_use]
pub(super) fn is_junior_alone(consent: Consent, born: Option<Date>) -> bool {
    consent.keep
        && consent.by == Some(ConsentBy::Player)
        && consent.date.is_some_and(|day| Age::on(day, born) == Age::Junior)
}

/// Who has to agree, where that is not the player alone.
#[must_use]
pub fn who_consents(age: Age) -> Option<&'static str> {
    match age {
        Age::Adult => None,
        Age::Junior => Some(
            "Under eighteen: a parent or guardian agrees, and the player is asked as well. Either of \
             them may change their mind on any day, and need not say why. The rules of the local \
             federation and the law on juniors come first.",
        ),
        Age::Unknown => Some(
            "No birth date is recorded. If the player is under eighteen, a parent or guardian agrees, \
             and the player is asked as well; the law on juniors comes first.",
        ),
    }
}

/// What to do before these players' cases leave: whoever is, or may be, under eighteen needs the yes
/// of a parent or guardian. `None` where each of them has it, by what is recorded.
pub fn guardians_to_ask(leaving: impl Iterator<Item = (Age, Consent)>) -> Option<String> {
    let missing = leaving
        .filter(|(age, yes)| age.counts_as_junior() && yes.by != Some(ConsentBy::Guardian))
        .count();
    (missing > 0).then(|| {
        format!(
            "{} under eighteen, or of unknown age, without a recorded yes from a parent or guardian: \
             get it before you send this",
            count(missing, "player")
        )
    })
}

/// For how long players are kept, who said so and when, and what that does.
#[must_use]
pub fn describe_retention(set: &Retention) -> String {
    format!(
        "players are kept for {} after their last day here, as {} said on {}; nobody is removed \
         unless you do it",
        count(set.months as usize, "month"),
        set.by,
        day(set.day)
    )
}

/// A player who has been kept for longer than the library means to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct KeptLong {
    /// The player.
    #[serde(serialize_with = "crate::library::spelled")]
    pub id: PlayerId,
    /// The player's code.
    pub code: String,
    /// The last day anything was recorded of the player, or consent was given.
    pub last: Option<Date>,
    /// The day from which on the player is kept for too long.
    pub due: Date,
    /// What the player agreed to.
    pub consent: String,
}

impl KeptLong {
    /// Since when it is too long, and what was agreed, for a page.
    #[must_use]
    pub fn describe(&self) -> String {
        let last = match self.last {
            Some(last) => format!("last here {}, to be kept until {}", day(last), day(self.due)),
            None => "never recorded".to_owned(),
        };
        format!("{last}; {}", self.consent)
    }
}

/// Players who have been kept for longer than the library means to, the longest first; nobody where
/// no time is set. It only reminds: whether somebody is forgotten, a person decides.
///
/// # Errors
/// [`StoreError`].
pub fn kept_too_long(library: &Library, on: Date) -> Result<Vec<KeptLong>, StoreError> {
    let Some(retention) = library.retention()? else { return Ok(Vec::new()) };
    let days = library.case_days()?;
    let mut due = Vec::new();
    for player in library.players()? {
        let last = last_day(&player, days.iter().filter(|c| c.player == player.id).map(|c| c.date));
        // Of whom nothing is known that has a day, nothing says that there is still time.
        let until = last
            .map_or(Date::MIN, |last| last.saturating_add(i64::from(retention.months).months()));
        if until < on {
            due.push(KeptLong {
                id: player.id,
                code: player.code,
                last,
                due: until,
                consent: describe_consent(player.consent),
            });
        }
    }
    due.sort_by(|a, b| a.due.cmp(&b.due).then_with(|| a.code.cmp(&b.code)));
    Ok(due)
}

fn last_day(player: &Player, cases: impl Iterator<Item = Date>) -> Option<Date> {
    cases.chain(player.consent.date).max()
}

/// Sets for how many months after the last recorded day players are kept; `None`: no limit.
///
/// # Errors
/// [`WriteError::Invalid`] for no month or more than a hundred years; as
/// [`Library::write`].
pub fn set_retention(
    library: &mut Library,
    months: Option<u32>,
    by: &crate::library::Author,
    day: Date,
) -> Result<(), WriteError> {
    check_past("day", day)?;
    let retention = match months {
        None => None,
        Some(months @ 1..=1200) => Some(Retention { months, by: by.clone(), day }),
        Some(months) => {
            return Err(WriteError::Invalid {
                field: "months",
                found: months.to_string(),
                rule: "1 to 1200 months".to_owned(),
            });
        }
    };
    by.check()?;
    library.write(|writer| writer.set_retention(retention.as_ref()))
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::library::Author;
    use crate::library::tests::made;

    #[test]
    fn players_are_due_after_the_set_months_and_nobody_is_removed() {
        let folder = tempfile::TempDir::new().unwrap();
        let mut library = Library::create(folder.path()).unwrap();
        let open = Consent { keep: true, ..Consent::default() };
        let old = library.add_player(&Player { consent: open, ..made::player("old") }).unwrap();
        let late = library.add_player(&made::player("late")).unwrap();
        made::add(&mut library, old, 1, date(2023, 1, 31), 1).unwrap();
        made::add(&mut library, late, 2, date(2025, 6, 1), 1).unwrap();
        let on = date(2026, 3, 1);
        assert!(kept_too_long(&library, on).unwrap().is_empty(), "no time is set");
        let ash = Author::Coach("ash".to_owned());
        set_retention(&mut library, Some(37), &ash, on).unwrap();
        // 37 months after 31 January 2023 is 28 February 2026, the last day of that month.
        let due = kept_too_long(&library, on).unwrap();
        assert_eq!(due.len(), 1, "{due:?}");
        assert_eq!((due[0].code.as_str(), due[0].due), ("old", date(2026, 2, 28)));
        assert!(kept_too_long(&library, date(2026, 2, 28)).unwrap().is_empty());
        assert_eq!(library.players().unwrap().len(), 2);
        for bad in [0, 1201] {
            let said = set_retention(&mut library, Some(bad), &ash, on).unwrap_err().to_string();
            assert_eq!(said, format!("months: {bad}; 1 to 1200 months"));
        }
        set_retention(&mut library, None, &ash, on).unwrap();
        assert!(kept_too_long(&library, on).unwrap().is_empty());
    }

    #[test]
    fn consent_is_told_with_its_kind_and_day() {
        let said = |keep, share, day: Option<Date>| {
            describe_consent(Consent { keep, share, date: day, by: Some(ConsentBy::Guardian) })
        };
        let on = Some(date(2026, 5, 4));
        assert_eq!(
            said(true, true, on),
            "agreed to keeping recordings here and to sharing sessions without a name, 4 May 2026, by a \
             parent or guardian"
        );
        let nobody = Consent { keep: true, date: on, ..Consent::default() };
        assert!(describe_consent(nobody).ends_with("4 May 2026; who said so is not recorded"));
        assert!(said(true, false, on).contains("but not to sharing, 4 May 2026"));
        assert!(said(true, false, None).contains("on which day is not recorded"));
        assert!(said(false, false, None).starts_with("nothing is recorded"));
        assert!(said(false, false, on).starts_with("did not agree"));
        let shared = Consent { keep: true, share: true, date: on, by: None };
        assert!(may_share(shared) && !may_share(Consent { date: None, ..shared }));
        assert!(who_consents(Age::Adult).is_none());
        let by = |by| Consent { by, ..shared };
        let (guardian, alone) = (by(Some(ConsentBy::Guardian)), by(Some(ConsentBy::Player)));
        let asked = [(Age::Junior, guardian), (Age::Unknown, guardian), (Age::Adult, alone)];
        assert_eq!(guardians_to_ask(asked.into_iter()), None);
        let open = [(Age::Junior, alone), (Age::Junior, guardian), (Age::Unknown, by(None))];
        assert_eq!(
            guardians_to_ask(open.into_iter()).unwrap(),
            "2 players under eighteen, or of unknown age, without a recorded yes from a parent or \
             guardian: get it before you send this"
        );
        assert!(who_consents(Age::Unknown).unwrap().contains("guardian"));
    }
}
