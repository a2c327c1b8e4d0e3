//! Motion: pixels whose levels change, the pictures that the cloth then shows one after another, and films of them.
//!
//! 1. `read` turns `light.pattern` of a scene file ([`shape`]) into a [`pattern::Pattern`]; [`picture`] does so for a picture file that
//!    is laid over the pixels.
//! 2. [`pattern::Pattern::levels_at`] gives the level of every die at a time; [`average`] what the battery sees of a whole loop.
//! 3. [`frames::each`] makes the luminance picture of every frame with a [`crate::picture::projector::Projector`], in parallel, and hands
//!    them on in order; [`frames::exposure`] finds the one exposure for all.
//! 4. [`film`] writes them while they come: GIF, APNG, YUV4MPEG2 or a folder of PNGs.

pub mod average;
pub mod film;
pub mod frames;
pub mod palette;
pub mod pattern;
pub mod picture;
pub(crate) mod read;
pub mod reel;
pub mod shape;
pub mod timing;
pub mod y4m;
