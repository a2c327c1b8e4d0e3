//! Made-up and broken inputs of every kind: scenes, cloths, drawings, lists, photographs, requests.
//!
//! Each kind makes inputs from a number (the seed): good files of `seeds/` and of the program, changed a little or a lot. For every one
//! must hold: no panic, no hang, bounded memory, a reason with every refusal, finite numbers from what is accepted. `cargo test` tries
//! the same few of each every time; a longer search says where it begins:
//!
//! | variable | what it does |
//! |---|---|
//! | `WEFTLIGHT_FUZZ_SECONDS=600` | as long as this for each kind, from a new place |
//! | `WEFTLIGHT_FUZZ_FROM=123` | from this seed on |
//! | `WEFTLIGHT_FUZZ_ONLY=123` | this seed alone, its input shown |
//!
//! A finding is told with its seed, and its input is kept in the folder for temporary files of the tests. What was found once stays as a
//! file in `seeds/KIND/`: all of those are tried as they are, before anything is changed.
#![allow(clippy::disallowed_methods, reason = "tests read files, the environment and the clock")]
#![allow(clippy::print_stderr, reason = "a search tells how far it is")]

#[path = "../common/counted.rs"]
mod counted;

mod cloth;
mod drawing;
mod harness;
mod list;
mod mutate;
mod photo;
mod pieces;
mod request;
mod scene;
#[allow(dead_code, reason = "the server's own tests use more of it")]
#[path = "../page_server/server.rs"]
mod server;
mod told;

#[global_allocator]
static ALLOCATOR: counted::Counted = counted::Counted;
