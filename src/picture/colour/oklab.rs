//! Oklab: a colour space in which hue stays put while chroma changes.
//!
//! Source: B. Ottosson, A perceptual color space for image processing (2020): linear sRGB → cone-like responses
//! l, m, s → cube roots → lightness L and the opponent axes a, b. Of each of the two matrices one direction is
//! taken from the publication and the other is its exact inverse, so that neutral colours have a = b = 0 to rounding and
//! a colour there and back is itself.

use super::{Matrix, inverse, product};

/// l, m, s from linear sRGB. Each row sums to 1.
pub(super) const LMS_FROM_RGB: Matrix = [
    [0.412_221_470_8, 0.536_332_536_3, 0.051_445_992_9],
    [0.211_903_498_2, 0.680_699_545_1, 0.107_396_956_6],
    [0.088_302_461_9, 0.281_718_837_6, 0.629_978_700_5],
];
/// Linear sRGB from l, m, s.
pub(super) const RGB_FROM_LMS: Matrix = inverse(&LMS_FROM_RGB);
/// Cube roots of l, m, s from L, a, b. The first column is 1.
pub(super) const ROOTS_FROM_LAB: Matrix = [
    [1.0, 0.396_337_777_4, 0.215_803_757_3],
    [1.0, -0.105_561_345_8, -0.063_854_172_8],
    [1.0, -0.089_484_177_5, -1.291_485_548_0],
];
/// L, a, b from the cube roots.
const LAB_FROM_ROOTS: Matrix = inverse(&ROOTS_FROM_LAB);

/// Oklab L, a, b of linear sRGB, which may lie outside 0 to 1.
#[must_use]
pub fn oklab(rgb: [f64; 3]) -> [f64; 3] {
    product(&LAB_FROM_ROOTS, product(&LMS_FROM_RGB, rgb).map(f64::cbrt))
}

/// Linear sRGB of Oklab L, a, b.
#[must_use]
pub fn linear_srgb_of_oklab(lab: [f64; 3]) -> [f64; 3] {
    product(&RGB_FROM_LMS, product(&ROOTS_FROM_LAB, lab).map(|root| root * root * root))
}
