//! The numbers that matter.

pub mod bare_light;
pub mod colour_difference;
pub mod dots;
mod emitters;
pub mod eye;
pub mod flash;
pub mod neighbours;
pub mod numbers;
pub mod pace;
pub mod ranges;
pub mod softness;
mod spots;
mod straight;
