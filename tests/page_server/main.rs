//! The page's server as a process of its own, asked over sockets as nobody should ask: what it answers, what it withstands, how it ends.
#![allow(clippy::disallowed_methods, reason = "tests read files of the system")]
#![allow(clippy::print_stdout, reason = "what was skipped or measured is told")]

mod at_once;
mod ending;
mod files;
mod halves;
mod kinds;
mod malformed;
mod questions;
mod seeded;
mod server;
