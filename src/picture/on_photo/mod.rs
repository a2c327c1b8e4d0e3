//! The glow on a photograph of the garment.
pub mod footprint;
pub mod homography;
pub mod marks;
pub mod surface;
