//! The light sources: packages with their dies, and where they sit: in rows and rings ([`layout`]), along a [`curve`], inside
//! an [`outline`], or as a [`list`] says. Curves and outlines come from a [`drawing`].

pub mod curve;
pub mod drawing;
pub mod fill;
pub mod laying;
pub mod layout;
pub mod list;
pub mod outline;
pub mod package;
