//! The physics: how light gets through a stack of cloths.

pub mod bare;
mod dense;
pub mod forward;
pub mod kernels;
mod phase;
pub mod photons;
pub mod quadrature;
pub mod sheet;
pub mod spectrum;
pub mod spots;
pub mod spread;
mod stack;
pub mod totals;
pub mod transport;
mod window;

pub use stack::{Layer, Optics, Source, Stack};
pub use window::Window;
pub(crate) use window::sinc;
