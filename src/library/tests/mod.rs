mod curves;
pub(crate) mod made;
mod store;
mod words;
