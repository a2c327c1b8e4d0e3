//! What is wrong with a photograph, in plain words, and what to do about it.

use super::decode::Photo;
use super::find::Found;

/// A fact about a photograph that harms what is read from it.
#[derive(Clone, Debug, PartialEq)]
pub enum PhotoWarning {
    /// The core is at the brightest value the file can hold.
    ClippedCore {
        /// Radius in pixels.
        radius_px: f64,
        /// Half width of the spot in pixels.
        half_width_px: f64,
    },
}

impl PhotoWarning {
    /// The fact and the advice as one or two plain sentences.
    #[must_use]
    pub fn words(&self) -> String {
        String::new()
    }
}

/// All warnings about a photograph and what was found in it.
#[must_use]
pub fn warnings(_photo: &Photo, _found: &Found) -> Vec<PhotoWarning> {
    Vec::new()
}
