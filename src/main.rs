//! The `precedent` command.
fn main() {}
