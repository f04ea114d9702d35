pub(crate) mod made;
mod store;
