//! Planted truth on invented academies, and an independent implementation on the same table.

mod academy;
mod gathering;
mod independent;
mod kept;
mod planted;
