//! The numbers that matter.

pub mod colour_difference;
pub mod eye;
pub mod neighbours;
