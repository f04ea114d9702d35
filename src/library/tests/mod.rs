mod crash;
mod curves;
mod faulty;
pub(crate) mod made;
mod store;
mod words;
