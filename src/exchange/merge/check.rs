//! What a pack must keep to be received.

use std::collections::BTreeSet;

use super::show::away_player;
use crate::exchange::items::{CaseItem, HowEnded, Item, RecordingItem, ServeItem};
use crate::exchange::received::AWAY_AUTHOR;
use crate::library::envelope::checksum;
use crate::library::stored::{ServeBytes, ServeColumns};
use crate::library::write::checks::{
    check_ball, check_id, check_note, check_plan, check_player, check_serve, invalid,
};
use crate::library::{
    Author, CaseId, Damage, LabelState, Plan, PlanId, Witness, WriteError, check_past, is_print,
};
use crate::serve::Serve;

/// More plans than any review needs.
const PLAN_LIMIT: usize = 100;

impl Item {
    /// Holds the item against every rule of the store; decodes every serve.
    ///
    /// # Errors
    /// [`WriteError::Invalid`], for a serve that does not decode too.
    pub fn check(&self) -> Result<(), WriteError> {
        check_print("player", self.owner())?;
        match self {
            Self::Player(item) => check_player(&away_player("away", item)),
            Self::Case(item) => {
                check_past("day", item.day)?;
                check_case(item)
            }
            Self::Recording(item) => {
                check_past("day", item.day)?;
                check_print("uid", &item.uid)?;
                if !(item.rate_hz.is_finite() && item.rate_hz > 0.0) {
                    return Err(invalid("rate_hz", item.rate_hz, "above 0"));
                }
                if item.serves.is_empty() {
                    return Err(invalid("serves", 0, "a recording has at least one"));
                }
                item.serves.iter().try_for_each(|serve| {
                    let rule = "a serve in the encoding of the store".to_owned();
                    let decoded = serve.decode().map_err(|why| WriteError::Invalid {
                        field: "serve",
                        found: why.to_string(),
                        rule,
                    })?;
                    check_serve(&decoded)
                })?;
                check_moments(item)
            }
        }
    }
}

impl ServeItem {
    pub(super) fn decode(&self) -> Result<Serve, Damage> {
        let bytes = ServeBytes {
            curve_sum: checksum(&self.curve).cast_signed(),
            curve: self.curve.clone(),
            figures_sum: checksum(&self.figures).cast_signed(),
            figures: self.figures.clone(),
            details: self.details.clone(),
        };
        let columns = ServeColumns {
            hand: self.hand,
            channel_set: self.channel_set.clone(),
            channels: self.channels,
        };
        bytes.serve(columns)
    }
}

pub(super) fn check_print(field: &'static str, text: &str) -> Result<(), WriteError> {
    if is_print(text) {
        return Ok(());
    }
    Err(invalid(field, text, "64 small hex digits"))
}

/// One word of each witness on each moment, of serves that are there.
fn check_moments(item: &RecordingItem) -> Result<(), WriteError> {
    let mut said = BTreeSet::new();
    for moment in &item.moments {
        if moment.serve >= item.serves.len() {
            return Err(invalid("moments", moment.serve, "the place of a serve in it"));
        }
        let person = match &moment.witness {
            Witness::Person(Author::Coach(by)) => {
                check_away_author(by)?;
                true
            }
            Witness::Person(Author::Program) => {
                return Err(invalid(
                    "moments",
                    "program",
                    "a coach's voice, joints, sound or ball",
                ));
            }
            Witness::Joints | Witness::Sound | Witness::Ball => false,
        };
        let (error_s, trust) = moment.sure.unwrap_or_default();
        let told = moment.time_s.is_finite() && (0.0..=60.0).contains(&error_s);
        if !told || !(0.0..=1.0).contains(&trust) || moment.sure.is_none() != person {
            return Err(invalid("moments", moment.time_s, "a time, with its error and trust"));
        }
        let witness = if person { None } else { Some(&moment.witness) };
        if !said.insert((moment.serve, moment.event, witness)) {
            let event = moment.event.label();
            return Err(invalid("moments", event, "one word of each witness on each moment"));
        }
    }
    Ok(())
}

fn check_away_author(by: &str) -> Result<(), WriteError> {
    match by.strip_prefix(AWAY_AUTHOR) {
        Some(rest) if rest.len() == 8 && rest.bytes().all(|b| b.is_ascii_hexdigit()) => Ok(()),
        _ => Err(invalid("by", by, format!("'program' or {AWAY_AUTHOR} and 8 hex digits"))),
    }
}

fn check_case(item: &CaseItem) -> Result<(), WriteError> {
    if let Some((first, last)) = item.age
        && !(0 <= first && first <= last && last <= 150)
    {
        return Err(invalid("age", format!("{first}-{last}"), "0 to 150, from low to high"));
    }
    for bevel in item.grip.into_iter().flat_map(|g| [g.index_knuckle, g.heel_pad]).flatten() {
        if !(1..=8).contains(&bevel) {
            return Err(invalid("grip", bevel, "bevel 1 to 8"));
        }
    }
    check_ball(&item.ball)?;
    check_note(item.note.as_deref())?;
    let mut said = BTreeSet::new();
    for label in &item.labels {
        if !(0.0..=1.0).contains(&label.severity) {
            return Err(invalid("severity", label.severity, "0 to 1"));
        }
        check_id("fault", &label.fault)?;
        check_note(label.note.as_deref())?;
        if let Author::Coach(away_author) = &label.by {
            check_away_author(away_author)?;
        } else if label.state == LabelState::Limiting {
            return Err(invalid("state", "limiting", "a coach's word; the program only suspects"));
        }
        if !said.insert((&label.fault, &label.by)) {
            return Err(invalid("labels", &label.fault, "one label per fault and voice"));
        }
    }
    if item.plans.len() > PLAN_LIMIT {
        return Err(invalid("plans", item.plans.len(), format!("at most {PLAN_LIMIT}")));
    }
    let mut uids = BTreeSet::new();
    for plan in &item.plans {
        check_print("uid", &plan.uid)?;
        check_plan(&Plan {
            id: PlanId(0),
            case: CaseId(0),
            limiting_fault: plan.limiting_fault.clone(),
            drills: plan.drills.clone(),
            start: plan.start,
            review_on: plan.review_on,
            coach: None,
            note: plan.note.clone(),
            ended: None,
        })?;
        if let Some(end) = &plan.ended {
            check_note(end.reason.as_deref())?;
            if let Author::Coach(away_author) = &end.by {
                check_away_author(away_author)?;
            }
            if let Some(by) = &end.replaced_by {
                check_print("replaced_by", by)?;
            }
            if end.how == HowEnded::Ended && end.day < plan.start {
                return Err(invalid("ended", end.day, "not before the plan's start"));
            }
        }
        plan.coach.as_deref().map_or(Ok(()), check_away_author)?;
        for follow_up in &plan.follow_ups {
            check_print("uid", &follow_up.uid)?;
            check_ball(&follow_up.ball)?;
            check_note(follow_up.note.as_deref())?;
            if let Some(rating) = follow_up.rating
                && !(-2..=2).contains(&rating)
            {
                return Err(invalid("rating", rating, "-2 (worse) to 2 (gone)"));
            }
            if follow_up.date < plan.start {
                return Err(invalid("date", follow_up.date, "not before the plan's start"));
            }
            for (recording, _) in &follow_up.serves {
                check_print("serves", recording)?;
            }
        }
        let follow_ups = plan.follow_ups.iter().map(|follow_up| &follow_up.uid);
        if !follow_ups.chain([&plan.uid]).all(|uid| uids.insert(uid)) {
            return Err(invalid("uid", &plan.uid, "every plan and follow-up has its own"));
        }
    }
    Ok(())
}
