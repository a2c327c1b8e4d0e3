//! Pictures: from spots to luminance, from luminance to what a screen can show.

pub mod canvas;
pub mod caption;
pub mod chart;
pub mod colour;
pub mod die_spots;
pub mod exposure;
pub mod fft2;
pub mod glare;
pub mod gridding;
mod levels;
pub mod luminance;
pub mod plane;
pub mod png_out;
mod radial;
pub mod render;
pub mod sheet;
pub mod tone;
mod transform;
