//! The numbers that matter.

pub mod colour_difference;
