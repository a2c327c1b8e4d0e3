//! Pictures: from spots to luminance, from luminance to what a screen can show.
//!
//! The way through:
//!
//! 1. [`die_spots::die_spots`] folds the spots of a stack at many wavelengths ([`crate::light::spots::spots`]) into X, Y and Z
//!    for every die of a package.
//! 2. [`plane::add_spots`] sums the spots of all pixels by Fourier transforms ([`gridding`], [`fft2`]).
//! 3. [`luminance::luminance`] does both for a [`crate::scene::Scene`], adds the pixels seen bare, the halo that forms in the
//!    eye ([`glare`]) and the light of the room, and gives a [`luminance::LuminanceImage`] in cd/m2. A
//!    [`projector::Projector`] does so for many levels of one scene.
//! 4. [`render::develop`] brings it to the screen: [`exposure`], [`tone`] curve, [`colour`] and gamut, into a
//!    [`canvas::Canvas`].
//!    [`clip`] ends it at the edge of the pattern piece.
//! 5. [`render::png`] puts the [`caption`] under it and encodes it ([`png_out`]).
//!
//! Instead of the bare plane, [`on_photo`] puts the glow onto a photograph of the garment.
//!
//! Several pictures go onto one [`sheet`]; numbers into a [`chart`].

// Luminance.
pub mod coloured;
pub mod die_spots;
pub mod fft2;
pub mod gap_classes;
pub mod glare;
pub mod gridding;
pub mod kept;
mod levels;
pub mod luminance;
pub mod memory;
pub mod on_photo;
pub mod plane;
pub mod projector;
mod radial;
mod sharp;
mod slanted;
mod transform;
// Development.
pub mod canvas;
pub mod caption;
pub mod clip;
pub mod colour;
mod develop;
pub mod exposure;
pub mod png_out;
pub mod render;
pub mod tone;
// Drawings beside pictures.
pub mod chart;
pub mod sheet;
pub mod small;
