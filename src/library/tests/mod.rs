mod crash;
mod curves;
mod faulty;
mod filter;
mod golden;
pub(crate) mod made;
mod store;
mod table;
mod words;
