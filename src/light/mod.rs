//! The physics: how light gets through a stack of cloths.

pub mod kernels;
pub mod photons;
pub mod quadrature;
pub mod sheet;
pub mod spectrum;
pub mod spread;
mod stack;
pub mod transport;

pub use stack::{Layer, Optics, Source, Stack, Window};
