//! The coach's page: one program, one library, one browser, on this computer only.
//!
//! A thin face. Every place reads what the rooms above give, or hands a form to one of their
//! requests; it has no rule and no query of its own. [`Server::bind`] opens the port, [`Server::run`]
//! answers until its [`Watch`](crate::work::Watch) is stopped. Nothing is kept between two requests
//! but who may come in: each opens the library for itself, for reading beside everybody, for
//! writing only while a change takes its turn.
//!
//! Closed to others (`door`): loopback only, one browser let in by an address that works once,
//! every request held against host, origin and cookie, nothing from outside on any page.

mod assets;
mod case;
mod case_view;
mod catalogue;
mod desk;
mod door;
mod fields;
mod film;
mod find;
mod guide;
mod hand;
mod plan;
mod player;
mod refusal;
mod send;
mod serve;
mod server;
mod today;
mod view;
mod viewer;

pub use server::{PageError, Server, Settings};
