//! Did it change? The one answer every page and command gives.
//!
//! A [`Look`] is what one day showed of one player in one set-up ([`SetUp`]); all recordings of the
//! day are its [`Session`]. Looks compare like with like ([`SetUp::unlike`]). A [`Change`] of a
//! measure between two looks counts where it is more than chance and measuring give
//! ([`detectable_change`]). [`Verdict`] says what came of a plan, [`later_days`] which later day
//! decides. All of that is free of storage; a [`Snapshot`] reads what it needs from the library,
//! each row once a request.

mod beside;
mod change;
mod describe;
mod session;
mod set_up;
mod snapshot;
#[cfg(test)]
mod tests;
mod verdict;
mod views;

pub use beside::{Beside, Relation, beside};
pub use change::{Change, Followed, Mean, best, beyond, change, detectable_change};
pub use describe::{describe_change, describe_value};
pub use session::{Look, Pair, Session, SessionServe, Unlike, pairs};
pub use set_up::{SetUp, Swing};
pub use snapshot::{Over, Since, Snapshot};
pub use verdict::{
    Came, FollowedObject, FollowedPrecedent, Later, Reported, SEEN_AGAIN_DAYS, Verdict,
    days_between, later_days,
};
pub use views::{ClipsTold, clips_asked, clips_told};
