//! The invented academy: its coaches, players, plans and the year they went through.
//!
//! Nobody here is real. The serves come from the [`simulator`](crate::simulator), the year from
//! `demo-data/scenario.toml`; what is planted is known, so the demo and the tests can ask whether
//! it is found again.

mod academy;
#[cfg(test)]
mod academy_tests;
mod samples;
mod scenario;
mod store;

pub use academy::{DemoAnswer, DemoPlan, DemoSession};
pub use samples::{new_player, samples};
pub use scenario::{
    DrillTruth, Rules, Scenario, ScenarioCoach, ScenarioError, ScenarioPlayer, ScenarioSensor,
};
pub use store::{BuildError, Built, build};
