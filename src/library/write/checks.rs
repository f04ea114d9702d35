//! What may be stored: the rules every change is held against.

use jiff::civil::Date;

use super::{NewRecording, WriteError};
use crate::files::portable_name;
use crate::library::{Author, BallFlight, Ending, Plan, PlanEnd, Player};
use crate::serve::{CURVE_FRAMES, Serve};

/// Longest code of a player, coach or squad.
const CODE_LIMIT: usize = 40;
/// Longest note.
const NOTE_LIMIT: usize = 20_000;

pub(crate) fn invalid(
    field: &'static str,
    found: impl std::fmt::Display,
    rule: impl Into<String>,
) -> WriteError {
    WriteError::Invalid { field, found: format!("'{found}'"), rule: rule.into() }
}

pub(crate) fn check_code(field: &'static str, code: &str) -> Result<(), WriteError> {
    let rule = format!("1 to {CODE_LIMIT} characters without commas, quotes or control characters");
    let bad = |c: char| c.is_control() || matches!(c, ',' | '"' | '\'');
    if code.trim() != code || code.is_empty() || code.len() > CODE_LIMIT || code.contains(bad) {
        return Err(invalid(field, code, rule));
    }
    Ok(())
}

pub(crate) fn check_id(field: &'static str, id: &str) -> Result<(), WriteError> {
    if id.contains(char::is_whitespace) {
        return Err(invalid(field, id, "an id without spaces"));
    }
    check_code(field, id)
}

pub(crate) fn check_author(author: &Author) -> Result<(), WriteError> {
    author.check()?;
    check_id("by", author.as_str())
}

/// An end fits the plan that began on `start`.
pub(crate) fn check_end(start: Date, end: &PlanEnd) -> Result<(), WriteError> {
    check_author(&end.by)?;
    check_note(end.reason.as_deref())?;
    match end.how {
        Ending::Ended if end.day < start => {
            let rule = format!("not before the start, {start}; withdraw a plan nobody began");
            Err(invalid("ended", end.day, rule))
        }
        _ => Ok(()),
    }
}

pub(crate) fn check_note(note: Option<&str>) -> Result<(), WriteError> {
    match note {
        Some(note) if note.len() > NOTE_LIMIT => {
            let found = format!("{} bytes", note.len());
            Err(WriteError::Invalid { field: "note", found, rule: format!("at most {NOTE_LIMIT}") })
        }
        _ => Ok(()),
    }
}

pub(crate) fn check_player(player: &Player) -> Result<(), WriteError> {
    check_id("code", &player.code)?;
    for squad in &player.squads {
        check_code("squad", squad)?;
    }
    if let Some(coach) = &player.coach {
        check_id("coach", coach)?;
    }
    check_range("stature_m", player.stature_m, 0.5, 2.6)
}

pub(crate) fn check_range(
    field: &'static str,
    value: Option<f64>,
    least: f64,
    most: f64,
) -> Result<(), WriteError> {
    match value {
        Some(value) if !(least..=most).contains(&value) => {
            Err(invalid(field, value, format!("{least} to {most}")))
        }
        _ => Ok(()),
    }
}

pub(crate) fn check_ball(ball: &BallFlight) -> Result<(), WriteError> {
    check_range("speed_kmh", ball.speed_kmh, 20.0, 270.0)?;
    check_range("first_serve_pct", ball.first_serve_pct, 0.0, 100.0)
}

pub(crate) fn check_plan(plan: &Plan) -> Result<(), WriteError> {
    check_id("limiting_fault", &plan.limiting_fault)?;
    check_note(plan.note.as_deref())?;
    for planned in &plan.drills {
        check_id("drill", &planned.drill)?;
        check_note(Some(&planned.dose))?;
    }
    if let Some(coach) = &plan.coach {
        check_id("coach", coach)?;
    }
    if let Some(end) = &plan.ended {
        check_end(plan.start, end)?;
    }
    match plan.review_on {
        Some(review) if review < plan.start => {
            Err(invalid("review_on", review, format!("not before the start, {}", plan.start)))
        }
        _ => Ok(()),
    }
}

pub(crate) fn check_recording(new: &NewRecording<'_>) -> Result<(), WriteError> {
    if new.serves.is_empty() {
        return Err(WriteError::Invalid {
            field: "serves",
            found: "none found in this recording".to_owned(),
            rule: "a recording is stored with at least one serve".to_owned(),
        });
    }
    let recording = new.recording;
    let cells = recording.frames() * recording.joints.len();
    let confidence = recording.confidence.as_ref().map_or(cells, Vec::len);
    if recording.positions.len() != cells || confidence != cells {
        let found = recording.positions.len();
        return Err(invalid("positions", found, format!("frames x joints, {cells}")));
    }
    new.serves.iter().try_for_each(check_serve)
}

pub(crate) fn check_serve(serve: &Serve) -> Result<(), WriteError> {
    let curve = &serve.curve;
    check_id("channel set", &curve.channel_set)?;
    // It names files.
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if !curve.channel_set.chars().all(plain) {
        return Err(invalid("channel set", &curve.channel_set, "small letters, digits and '-'"));
    }
    if portable_name(&curve.channel_set) != curve.channel_set {
        let rule = "a name that is no device on any system";
        return Err(invalid("channel set", &curve.channel_set, rule));
    }
    let expected = CURVE_FRAMES * curve.channels;
    if curve.channels == 0 || curve.values.len() != expected {
        let rule = format!("{CURVE_FRAMES} frames x {} channels", curve.channels);
        return Err(invalid("curve", curve.values.len(), rule));
    }
    if let Some(at) = curve.values.iter().position(|value| !value.is_finite()) {
        return Err(WriteError::Invalid {
            field: "curve",
            found: format!(
                "frame {}, channel {} is not finite",
                at / curve.channels,
                at % curve.channels
            ),
            rule: "every sample is a number".to_owned(),
        });
    }
    let cells = CURVE_FRAMES * serve.figures.joints.len();
    if serve.figures.positions.len() != cells {
        let rule = format!("{CURVE_FRAMES} samples x joints, {cells}");
        return Err(invalid("figures", serve.figures.positions.len(), rule));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::library::tests::made;

    /// A channel set names files, and may come in a pack.
    #[test]
    fn a_channel_set_is_a_name_on_every_system() {
        let serve = |set: &str| {
            let mut serve = made::serve(1);
            serve.curve.channel_set = set.to_owned();
            check_serve(&serve)
        };
        serve("core-1").unwrap();
        for bad in ["aux", "con", "com1", "../x", "a:b", "core-1.", ""] {
            assert!(serve(bad).is_err(), "{bad}");
        }
    }
}
