//! Pictures: from spots to luminance, from luminance to what a screen can show.

pub mod colour;
pub mod die_spots;
pub mod exposure;
pub mod tone;
