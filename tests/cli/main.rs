//! The program from outside: real files in, exit status and both streams out.

mod academy;
mod answers;
mod coaching;
#[path = "../support/desk.rs"]
mod desk;
mod library;
mod recordings;
#[path = "../support/skip.rs"]
mod skip;
