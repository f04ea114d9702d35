//! A kept row in words and values a person can read.

use super::FieldChange;
use super::rows::{Columns, RowV1, ValueV1};
use super::tables::Table;

/// What a row is to a person: `recording r3`, `label late_toss by anna`.
pub(super) fn named(table: &Table, key: &Columns) -> String {
    let of = |at: usize| key.get(at).map_or_else(String::new, |(_, value)| plain(value));
    match table.name {
        "players" | "player_squads" => format!("player p{}", of(0)),
        "cases" => format!("case c{}", of(0)),
        "recordings" => format!("recording r{}", of(0)),
        "recording_joints" => format!("joints of r{}", of(0)),
        "clips" => format!("clip of r{}", of(0)),
        "serves" => format!("serve s{}", of(0)),
        "serve_data" => format!("curve of s{}", of(0)),
        "marks" => format!("mark m{}", of(0)),
        "clip_pairs" => format!("what r{} and r{} show", of(0), of(1)),
        "labels" => format!("label {} by {}", of(1), of(2)),
        "plans" => format!("plan n{}", of(0)),
        "plan_drills" => match key.get(1) {
            Some((_, ValueV1::Integer(place))) => format!("drill {} of n{}", place + 1, of(0)),
            _ => format!("drills of n{}", of(0)),
        },
        "plan_ends" => format!("end of n{}", of(0)),
        "follow_ups" => format!("follow-up f{}", of(0)),
        "follow_up_serves" => format!("serve s{} in f{}", of(1), of(0)),
        "practice" => format!("practice d{}", of(0)),
        "check_ins" => format!("check-in of c{}", of(0)),
        "check_in_pains" => format!("pain in the {}, c{}", of(1), of(0)),
        "case_notes" => format!("note {}", of(0)),
        other => other.replace('_', " "),
    }
}

fn plain(value: &ValueV1) -> String {
    match value {
        ValueV1::Null => "nothing".to_owned(),
        ValueV1::Integer(number) => number.to_string(),
        // More than three places tell a person nothing.
        ValueV1::Real(number) => ((number * 1000.0).round() / 1000.0).to_string(),
        ValueV1::Text(text) => text.clone(),
        ValueV1::Blob(bytes) => format!("{} bytes", bytes.len()),
    }
}

pub(super) fn fields(table: &Table, row: &RowV1) -> Vec<FieldChange> {
    // What goes with its parent, and the book-keeping of packs, tells a person nothing.
    if table.with_parent
        || matches!(table.name, "sent_cases" | "items_to_withdraw" | "moments_seen" | "rereadings")
    {
        return Vec::new();
    }
    let of = named(table, &row.key);
    let read = |columns: &Columns| -> Vec<(String, String)> {
        columns
            .iter()
            .filter(|(name, _)| !table.unread.contains(&name.as_str()))
            .filter(|(_, value)| !matches!(value, ValueV1::Null))
            .map(|(name, value)| {
                let text = plain(value);
                // When somebody said it: to the minute.
                let minute = text.get(..16).filter(|_| name == "at").map(|at| at.replace('T', " "));
                (name.clone(), minute.map_or(text, |at| format!("{at} UTC")))
            })
            .collect()
    };
    let said = |(name, value): (String, String)| format!("{} {value}", in_words(&name));
    match (&row.before, &row.after) {
        (Some(before), Some(after)) => {
            let (was, is) = (read(before), read(after));
            let value = |side: &[(String, String)], name: &str| {
                side.iter().find(|(column, _)| column == name).map(|(_, value)| value.clone())
            };
            before
                .iter()
                .filter(|(name, _)| !table.unread.contains(&name.as_str()))
                .map(|(name, _)| FieldChange {
                    of: of.clone(),
                    field: Some(name.clone()),
                    before: value(&was, name),
                    after: value(&is, name),
                })
                .collect()
        }
        (Some(before), None) => {
            let was: Vec<String> = read(before).into_iter().map(said).collect();
            let before = Some(was.join(", "));
            vec![FieldChange { of, field: None, before, after: None }]
        }
        (None, after) => {
            let is: Vec<String> = after.iter().flat_map(read).map(said).collect();
            vec![FieldChange { of, field: None, before: None, after: Some(is.join(", ")) }]
        }
    }
}

impl FieldChange {
    /// What changed, in a line: `follow-up f1: rating was 1, is -1`.
    #[must_use]
    pub fn line(&self) -> String {
        let of = &self.of;
        match (&self.field, &self.before, &self.after) {
            (Some(field), before, after) => {
                let value = |value: &Option<String>| match value {
                    Some(value) => value.clone(),
                    None => "not known".to_owned(),
                };
                format!("{of}: {} was {}, is {}", in_words(field), value(before), value(after))
            }
            (None, Some(before), _) if before.is_empty() => format!("{of}: gone"),
            (None, Some(before), _) => format!("{of}: gone; it was {before}"),
            (None, None, Some(after)) if !after.is_empty() => format!("{of}: new, {after}"),
            (None, None, _) => format!("{of}: new"),
        }
    }
}

/// A column of the store as a coach would call it.
fn in_words(column: &str) -> String {
    match column {
        "born" => "birth date",
        "stature_m" => "height in metres",
        "consent_keep" => "consent to keeping",
        "consent_share" => "consent to sharing",
        "consent_date" => "consent given on",
        "given_by" => "consent given by",
        "case_id" => "case",
        "grip_index" => "index knuckle on bevel",
        "grip_heel" => "heel pad on bevel",
        "speed_kmh" => "speed in km/h",
        "first_serve_pct" => "first serves in, per cent",
        "miss_net" => "misses into the net",
        "miss_long" => "misses long",
        "miss_wide" => "misses wide",
        "limiting_fault" => "limiting fault",
        "review_on" => "next review",
        "said_by" => "said by",
        "replaced_by" => "replaced by plan",
        "pain_asked" => "asked about pain",
        "tennis_hours" => "hours of tennis a week",
        "sport_hours" => "hours of sport a week",
        "attempt" => "first or second serve",
        "wide_left" => "misses wide left",
        "wide_right" => "misses wide right",
        "pain_place" => "where it hurts",
        "how" => "how it ended",
        "rate_hz" => "frames a second",
        "time_s" => "time in seconds",
        "event" => "moment",
        "one_serve" => "the same serve: s",
        "other_serve" => "and s",
        other => return other.replace('_', " "),
    }
    .to_owned()
}
