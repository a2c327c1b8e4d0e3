//! The physics: how light gets through a stack of cloths.

pub mod bare;
mod dense;
pub mod forward;
pub mod kernels;
pub mod photons;
pub mod quadrature;
pub mod sheet;
pub mod spectrum;
pub mod spots;
pub mod spread;
mod stack;
pub mod totals;
pub mod transport;

pub use stack::{Layer, Optics, Source, Stack, Window};
