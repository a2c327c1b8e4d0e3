//! Reading of files that people write: strict, with every problem at once and in its place.
//!
//! Four steps. [`tree`] turns YAML into a tree that remembers where everything stands. [`shape`] describes what a
//! file may say (keys, kinds, ranges, defaults) as plain data; [`check`](mod@check) holds a tree against it and collects every
//! problem. [`entry`] then hands out the values that passed. [`schema`] turns the same descriptions into a JSON
//! schema for editors, so that the two cannot disagree.
//!
//! The road not taken: deriving the reader from Rust types stops at the first structural error, so a file with three
//! misspelt keys would take three rounds to mend.

pub mod check;
pub mod edit;
pub mod entry;
pub mod plain;
pub mod schema;
pub mod shape;
pub mod tree;

pub use check::check;
pub use entry::Entry;
pub use shape::{Absent, Field, Kind, Limits, Shape};
pub use tree::{Node, Value, parse};
