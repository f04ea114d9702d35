//! Faults and drills as data: what a coach sees, which measures show it, what it costs, what
//! helps. The built-in catalogue is text inside the program; a library may add its own.

mod check;
mod detect;
mod dose;
mod error;
mod load;
mod place;
mod types;

#[cfg(test)]
mod tests;

pub use detect::{
    Conditions, Evidence, Finding, LIKELY, Observed, ObservedDay, Recorded, SUSPECTED, Suspicion,
    describe_chance, detect,
};
pub use dose::{
    Asked, Dose, DoseProblem, Effort, Limit, LimitOf, MOST_DOSE_CHARACTERS, MOST_REPETITIONS,
    Practiser, Sets, Span, Warning, Week, check_doses,
};
pub use error::CatalogueError;
pub use load::{Catalogue, EntryKind, catalogue_template};
pub use types::{
    ADULT_STATURE_M, Attempt, BodyPart, Combine, Confusion, Cost, CueFocus, Direction, Drill,
    DrillBody, Fault, FaultMeasure, GripAnswers, JointNeed, Miss, Needs, Phase, Place, PlayerGroup,
    PublishedRow, SaysCautions, ServeType, Step, Style, TypeBand, Work,
};
