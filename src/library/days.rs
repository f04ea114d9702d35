//! Which days can be: what happened lies behind us, and after the player's birth.

use jiff::civil::{Date, date};
use jiff::{ToSpan, ZonedDateTime};

use super::WriteError;

/// Nobody filmed a serve that is kept here before this day.
const FIRST_RECORDED: Date = date(1950, 1, 1);
/// Nor was any player born before this one.
const FIRST_BORN: Date = date(1900, 1, 1);

fn invalid(field: &'static str, day: Date, rule: String) -> WriteError {
    WriteError::Invalid { field, found: format!("'{day}'"), rule }
}

/// Refuses a day on which nothing can have been recorded: before 1950, or in the future by this
/// machine's clock. Tomorrow passes, for whoever travels.
///
/// # Errors
/// [`WriteError::Invalid`] naming `field`.
pub fn check_past(field: &'static str, day: Date) -> Result<(), WriteError> {
    let today = ZonedDateTime::now().date();
    if day < FIRST_RECORDED {
        return Err(invalid(field, day, format!("{FIRST_RECORDED} or later")));
    }
    if day > today.saturating_add(1.day()) {
        return Err(invalid(field, day, format!("not in the future; today is {today}")));
    }
    Ok(())
}

/// Refuses a birth date that cannot be: before 1900, in the future, or not before `recorded`.
///
/// # Errors
/// [`WriteError::Invalid`] naming `field`.
pub fn check_born(
    field: &'static str,
    born: Date,
    recorded: Option<Date>,
) -> Result<(), WriteError> {
    let today = ZonedDateTime::now().date();
    if born < FIRST_BORN || born > today {
        return Err(invalid(field, born, format!("{FIRST_BORN} to today, {today}")));
    }
    match recorded {
        Some(day) if born >= day => {
            Err(invalid(field, born, format!("before the recording of {day}")))
        }
        _ => Ok(()),
    }
}

/// Refuses a day no plan starts or is reviewed on: before 1950, or more than five years ahead.
///
/// # Errors
/// [`WriteError::Invalid`] naming `field`.
pub fn check_planned(field: &'static str, day: Date) -> Result<(), WriteError> {
    let last = ZonedDateTime::now().date().saturating_add(5.years());
    if day < FIRST_RECORDED || day > last {
        return Err(invalid(field, day, format!("{FIRST_RECORDED} to {last}")));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_that_cannot_be_are_refused() {
        let today = ZonedDateTime::now().date();
        let (yesterday, later) = (today.saturating_sub(1.day()), today.saturating_add(2.days()));
        assert!(check_past("date", today).is_ok() && check_past("date", date(1998, 5, 3)).is_ok());
        let error = check_past("date", later).unwrap_err().to_string();
        assert_eq!(error, format!("date: '{later}'; not in the future; today is {today}"));
        for far in [date(1, 1, 1), date(2999, 1, 1)] {
            assert!(check_past("date", far).is_err(), "{far}");
            assert!(check_born("born", far, None).is_err(), "{far}");
            assert!(check_planned("start", far).is_err(), "{far}");
        }
        assert!(check_born("born", date(2011, 5, 6), Some(yesterday)).is_ok());
        let error = check_born("born", yesterday, Some(yesterday)).unwrap_err().to_string();
        assert_eq!(error, format!("born: '{yesterday}'; before the recording of {yesterday}"));
        assert!(check_planned("review_on", later).is_ok());
    }
}
