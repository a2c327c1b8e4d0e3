//! The numbers that matter, from outside: published facts about the eye, the trade's rule of thumb, what must hold for any
//! cloth, and whether stated ranges hold the truth.

#![allow(clippy::print_stdout, reason = "the measured figures are worth reading: run with --nocapture")]

mod coverage;
mod eye;
mod monotone;
mod rule_of_thumb;
mod square_grid;

use weftlight::cloth::catalogue::CatalogueOnly;
use weftlight::scene::Scene;
use weftlight::scene::file::resolve;

/// The scene of a text in order; cloths from the catalogue or written in place.
fn scene(text: &str) -> Scene {
    resolve(text, "test", &CatalogueOnly).unwrap_or_else(|faults| panic!("{text}: {faults:?}")).scene
}
