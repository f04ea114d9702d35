//! The academy as data: who plays there, what is wrong, what helps.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::Deserialize;
use thiserror::Error;

use crate::library::{Level, ServeType};
use crate::motion::Side;
use crate::simulator::Fault;
use crate::simulator::SensorKind;

/// The scenario the demo ships with.
const SHIPPED: &str = include_str!("../../demo-data/scenario.toml");

/// Why a scenario cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ScenarioError {
    /// Not the TOML that is expected.
    #[error("scenario: {0}")]
    Text(#[from] toml::de::Error),
    /// A fault nobody can plant.
    #[error(
        "scenario: {place} has the fault '{found}', which the generator cannot plant; take an id of `Fault::ALL`"
    )]
    Fault {
        /// Where it stands.
        place: String,
        /// What stands there.
        found: String,
    },
    /// A number out of its range.
    #[error("scenario: {place} is {found}, expected {expected}")]
    Range {
        /// Where it stands.
        place: String,
        /// What stands there.
        found: f64,
        /// What may stand there.
        expected: &'static str,
    },
    /// A player's coach is not listed.
    #[error("scenario: {place} names the coach '{found}', who has no [[coach]] entry")]
    Coach {
        /// The player.
        place: String,
        /// The coach named.
        found: String,
    },
}

/// An academy to be generated.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// What every draw starts from.
    pub seed: u64,
    /// Day 0 of the review days.
    pub first_day: Date,
    /// How things change.
    pub rules: Rules,
    /// Coaches.
    #[serde(rename = "coach")]
    pub coaches: Vec<ScenarioCoach>,
    /// True effects of drills.
    #[serde(rename = "drill")]
    pub drills: Vec<DrillTruth>,
    /// Players.
    #[serde(rename = "player")]
    pub players: Vec<ScenarioPlayer>,
}

/// How severities vary, how coaches act, what goes missing.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rules {
    /// Standard deviation of severity from day to day.
    pub day_spread: f64,
    /// Standard deviation of severity from serve to serve.
    pub serve_spread: f64,
    /// Standard deviation of a month's change without a drill.
    pub drift_spread: f64,
    /// A coach names a fault from this severity on.
    pub named_from: f64,
    /// A coach makes a plan from this severity on.
    pub plan_from: f64,
    /// Least share of the dose done.
    pub least_practice: f64,
    /// Greatest share of the dose done.
    pub most_practice: f64,
    /// Chance that no follow-up is recorded.
    pub missing_follow_up: f64,
    /// Added to that chance when the player got no better.
    pub missing_when_no_better: f64,
}

/// A coach's eye.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ScenarioCoach {
    /// Code.
    pub code: String,
    /// Standard deviation of the severities seen.
    pub spread: f64,
    /// Added to all severities seen.
    pub leaning: f64,
}

/// What a drill truly does.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DrillTruth {
    /// Catalogue id of the fault.
    pub fault: String,
    /// Catalogue id of the drill.
    pub drill: String,
    /// Mean drop in severity after a month of full practice.
    pub effect: f64,
    /// Standard deviation of that drop between players.
    pub spread: f64,
    /// Weight of being chosen up to severity 0.35, as the coach sees it.
    pub mild: f64,
    /// Weight of being chosen from severity 0.75 on; in proportion between the two.
    pub severe: f64,
}

/// How a player is recorded, always the same way.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ScenarioSensor {
    /// Kind of capture.
    pub kind: SensorKind,
    /// Hz.
    pub rate_hz: f64,
}

/// A player of the academy.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ScenarioPlayer {
    /// Pseudonym.
    pub code: String,
    /// Serving hand.
    pub hand: Side,
    /// Level.
    pub level: Level,
    /// Birth date.
    pub born: Date,
    /// Standing height, m.
    pub stature_m: f64,
    /// Code of the coach.
    pub coach: String,
    /// Squads.
    pub squads: Vec<String>,
    /// The ball this player works on.
    pub serve_type: ServeType,
    /// Camera set-up.
    pub sensor: ScenarioSensor,
    /// Days of review, counted from the first day.
    pub review_days: Vec<i64>,
    /// Serves recorded per review.
    pub serves: usize,
    /// Lasting severity of each fault at the start.
    pub faults: BTreeMap<String, f64>,
}

impl Scenario {
    /// The academy in `demo-data/scenario.toml`.
    ///
    /// # Errors
    /// [`ScenarioError`] if that file was edited into something unusable.
    pub fn shipped() -> Result<Self, ScenarioError> {
        Self::parse(SHIPPED)
    }

    /// A scenario from TOML, checked.
    ///
    /// # Errors
    /// [`ScenarioError`]: unknown keys or faults, severities, shares and effects outside 0 to 1,
    /// statures outside 1.0 to 2.2 m, rates outside 10 to 1000 Hz, a coach without an entry.
    pub fn parse(text: &str) -> Result<Self, ScenarioError> {
        let scenario: Self = toml::from_str(text)?;
        let rules = &scenario.rules;
        for (name, value) in [
            ("day_spread", rules.day_spread),
            ("serve_spread", rules.serve_spread),
            ("drift_spread", rules.drift_spread),
            ("named_from", rules.named_from),
            ("plan_from", rules.plan_from),
            ("least_practice", rules.least_practice),
            ("most_practice", rules.most_practice),
            ("missing_follow_up", rules.missing_follow_up),
            ("missing_when_no_better", rules.missing_when_no_better),
        ] {
            range(format!("rules.{name}"), value, 0.0, 1.0, "0 to 1")?;
        }
        for drill in &scenario.drills {
            let place = format!("drill '{}'", drill.drill);
            known(&place, &drill.fault)?;
            range(format!("{place}: effect"), drill.effect, 0.0, 1.0, "0 to 1")?;
            range(format!("{place}: spread"), drill.spread, 0.0, 1.0, "0 to 1")?;
            for weight in [drill.mild, drill.severe] {
                range(format!("{place}: weight"), weight, 0.0, 1e6, "0 or more")?;
            }
        }
        for player in &scenario.players {
            let place = format!("player '{}'", player.code);
            for (fault, &severity) in &player.faults {
                known(&place, fault)?;
                range(format!("{place}: {fault}"), severity, 0.0, 1.0, "0 to 1")?;
            }
            range(format!("{place}: stature_m"), player.stature_m, 1.0, 2.2, "1.0 to 2.2 m")?;
            let rate = player.sensor.rate_hz;
            range(format!("{place}: rate_hz"), rate, 10.0, 1000.0, "10 to 1000 Hz")?;
            if !scenario.coaches.iter().any(|coach| coach.code == player.coach) {
                return Err(ScenarioError::Coach { place, found: player.coach.clone() });
            }
        }
        Ok(scenario)
    }
}

fn known(place: &str, fault: &str) -> Result<Fault, ScenarioError> {
    Fault::from_id(fault)
        .ok_or_else(|| ScenarioError::Fault { place: place.to_owned(), found: fault.to_owned() })
}

fn range(
    place: String,
    found: f64,
    least: f64,
    most: f64,
    expected: &'static str,
) -> Result<(), ScenarioError> {
    if (least..=most).contains(&found) {
        Ok(())
    } else {
        Err(ScenarioError::Range { place, found, expected })
    }
}
