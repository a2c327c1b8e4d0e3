//! The physics: how light gets through a stack of cloths.

pub mod photons;
pub mod sheet;
pub mod spectrum;
pub mod spread;
mod stack;

pub use stack::{Layer, Optics, Source, Stack, Window};
