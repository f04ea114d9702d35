//! Groups of similar serves, common faults, trends.
//!
//! The numbers live here, free of storage and pictures: distances in, groups, places and shares
//! out. Every player has one vote.

mod distances;
mod groups;
mod map;
mod medoids;
mod trends;

pub use distances::{Distances, DistancesError};
pub use groups::{
    Group, Groups, GroupsParams, adjusted_rand_index, groups, one_vote_each, silhouette,
};
pub use map::{LANDMARKS, SquadMap, squad_map};
pub use medoids::{Medoids, k_medoids};
pub use trends::{Look, Share, TimeToCure, Trend, TrendError, time_to_cure, trend, wilson};
