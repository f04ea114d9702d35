//! Trials over many generated serves: is what was planted found again, suspected, and nothing else?
//!
//! All serves here are invented by the simulator; what is planted in them is known.

#![allow(missing_docs)]

mod detection;
mod page;
mod recovery;
