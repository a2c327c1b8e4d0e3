//! The light sources: packages with their dies, and where they sit.

pub mod layout;
pub mod package;
