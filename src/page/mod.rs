//! The coach's page: one program, one library, one browser, on this computer only.
//!
//! A thin layer. Every place reads what the rooms above give, or hands a form to one of their
//! requests; it has no rule and no query of its own. [`Server::bind`] opens the port, [`Server::run`]
//! answers until its [`Watch`](crate::work::Watch) is stopped. Each request opens the library for
//! itself, for reading beside everybody, for writing only while a change takes its turn. Between two
//! requests there is only who may come in, the files that came and are not stored yet (`uploads`),
//! and work that takes longer than a request (`long`), which has threads of its own.
//!
//! Closed to others (`door`): loopback only, one browser let in by an address that works once,
//! every request held against host, origin and cookie, nothing from outside on any page.

mod add;
mod amend;
mod answers;
mod asked;
mod assets;
mod case;
mod case_view;
mod catalogue;
mod desk;
mod door;
mod fields;
mod film;
mod find;
mod forget;
mod guide;
mod hand;
mod input;
mod long;
mod own;
mod plan;
mod player;
mod put_right;
mod records;
mod refusal;
mod remedy;
mod send;
mod serve;
mod server;
mod set_up;
mod sharing;
mod spoken;
mod squads;
mod today;
mod told;
mod upkeep;
mod uploads;
mod view;
mod viewer;
mod views;

pub use server::{PageError, Server, Settings};
