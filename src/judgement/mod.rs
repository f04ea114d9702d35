//! The coach's judgement, reasoned: which one fault limits this serve, why, and who said so.
//!
//! The reasoning ([`weigh`]) is free of storage; [`judge`] gathers what it needs from a library.
//! The weights in it are ours (common practice, no source); they order faults, they measure nothing,
//! and a coach's word always comes before them.

mod asked;
mod gather;
mod limiting;
mod object;
mod sight;
#[cfg(test)]
mod tests;

pub use asked::asked_about;
pub use gather::{Judging, Told, judge, judge_unstored, judge_with, unstored_case};
pub use limiting::{Chosen, Circumstances, Judged, Judgement, OpenFault, weigh};
pub use object::CaseObject;
pub use sight::Sight;
