//! Groups of similar serves, common faults, trends.
//!
//! The numbers are free of storage and pictures: distances in, groups, places and shares out.
//! [`gather`] feeds them from the library. Every player has one vote.

mod courses;
mod distances;
mod facts;
mod gather;
mod groups;
mod map;
mod medoids;
mod stability;
mod tree;
mod trends;

#[cfg(test)]
pub(crate) use gather::tests::planted_library;

pub use courses::{Change, Course, FaultLook, LEAST_PLAYERS, MonthShare, Verdict, course};
pub use distances::{Distances, DistancesError};
pub use facts::{
    Alike, FaultFacts, FollowUpFacts, GroupDifference, GroupFacts, GroupFault, Overdue, Placed,
    PlayerDay, Reason, ReasonKind, SeeNext, Slice, SliceFault, Squad,
};
pub use gather::{CONFIDENCE, SquadError, SquadQuery, gather};
pub use groups::{Group, Groups, GroupsParams, groups, one_vote_each, silhouette};
pub use map::{LANDMARKS, SquadMap, squad_map};
pub use medoids::{Medoids, k_medoids, k_medoids_each};
pub use stability::adjusted_rand_index;
pub use tree::{Join, Tree, Twig, tree};
pub use trends::{
    Look, Share, ShareDifference, TimeToCure, Trend, TrendError, share_difference, time_to_cure,
    trend, wilson,
};
