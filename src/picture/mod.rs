//! Pictures: from spots to luminance, from luminance to what a screen can show.

pub mod canvas;
pub mod caption;
pub mod fft2;
pub mod glare;
pub mod gridding;
mod levels;
pub mod plane;
pub mod png_out;
mod radial;
mod transform;
pub mod windows;
