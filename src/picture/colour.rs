//! From tristimulus values to what an sRGB screen is sent, and back.
//!
//! Model: linear sRGB is a 3 x 3 matrix away from XYZ, derived here from the primaries and the white of IEC
//! 61966-2-1 so that the two directions are exact inverses; the standard's four-digit matrices agree with it to 5e-5.
//! The observer is taken as adapted to D65, whatever the scene's light; no chromatic adaptation is applied.
//!
//! Linear values are relative to the screen's white: 1 is full scale. They may be negative (colours that sRGB cannot
//! show) or above 1; [`gamut`] brings them in.

pub mod gamut;
pub mod oklab;

use crate::light::spectrum::Xyz;
use std::sync::LazyLock;

/// A 3 x 3 matrix, row by row.
pub(crate) type Matrix = [[f64; 3]; 3];

/// Chromaticity x, y of the sRGB white (D65 as rounded by IEC 61966-2-1).
pub const WHITE: [f64; 2] = [0.3127, 0.3290];
/// Chromaticities x, y of the sRGB primaries red, green, blue (IEC 61966-2-1).
pub const PRIMARIES: [[f64; 2]; 3] = [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]];

/// XYZ from linear sRGB.
pub const XYZ_FROM_RGB: Matrix = xyz_from_rgb();
/// Linear sRGB from XYZ: the exact inverse of [`XYZ_FROM_RGB`].
pub const RGB_FROM_XYZ: Matrix = inverse(&XYZ_FROM_RGB);

/// Linear value below which encoding is a straight line (IEC 61966-2-1).
const LINEAR_KNEE: f64 = 0.003_130_8;
/// Encoded value at the same place (IEC 61966-2-1).
const ENCODED_KNEE: f64 = 0.040_45;

const fn from_xy([x, y]: [f64; 2]) -> [f64; 3] {
    [x / y, 1.0, (1.0 - x - y) / y]
}

/// Columns are the primaries, scaled so that equal values give the white.
const fn xyz_from_rgb() -> Matrix {
    let [r, g, b] = [from_xy(PRIMARIES[0]), from_xy(PRIMARIES[1]), from_xy(PRIMARIES[2])];
    let columns = [[r[0], g[0], b[0]], [r[1], g[1], b[1]], [r[2], g[2], b[2]]];
    let s = product(&inverse(&columns), from_xy(WHITE));
    [
        [columns[0][0] * s[0], columns[0][1] * s[1], columns[0][2] * s[2]],
        [columns[1][0] * s[0], columns[1][1] * s[1], columns[1][2] * s[2]],
        [columns[2][0] * s[0], columns[2][1] * s[1], columns[2][2] * s[2]],
    ]
}

/// Matrix times column.
pub(crate) const fn product(m: &Matrix, v: [f64; 3]) -> [f64; 3] {
    [
        m[0][0] * v[0] + m[0][1] * v[1] + m[0][2] * v[2],
        m[1][0] * v[0] + m[1][1] * v[1] + m[1][2] * v[2],
        m[2][0] * v[0] + m[2][1] * v[1] + m[2][2] * v[2],
    ]
}

/// Inverse by cofactors.
pub(crate) const fn inverse(m: &Matrix) -> Matrix {
    let [[a, b, c], [d, e, f], [g, h, i]] = *m;
    let det = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g);
    [
        [(e * i - f * h) / det, (c * h - b * i) / det, (b * f - c * e) / det],
        [(f * g - d * i) / det, (a * i - c * g) / det, (c * d - a * f) / det],
        [(d * h - e * g) / det, (b * g - a * h) / det, (a * e - b * d) / det],
    ]
}

/// Tristimulus values of the sRGB white at Y = 1.
#[must_use]
pub fn white() -> Xyz {
    Xyz(from_xy(WHITE))
}

/// Linear sRGB of tristimulus values relative to full scale (the white is Y = 1).
#[must_use]
pub fn linear_srgb(xyz: Xyz) -> [f64; 3] {
    product(&RGB_FROM_XYZ, xyz.0)
}

/// Tristimulus values, white at Y = 1, of linear sRGB.
#[must_use]
pub fn xyz_of_linear_srgb(rgb: [f64; 3]) -> Xyz {
    Xyz(product(&XYZ_FROM_RGB, rgb))
}

/// Encodes a linear value for the screen (IEC 61966-2-1); 0 to 1 becomes 0 to 1.
#[must_use]
pub fn encode(linear: f64) -> f64 {
    if linear <= LINEAR_KNEE { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}

/// Decodes a screen value to a linear one (IEC 61966-2-1).
#[must_use]
pub fn decode(encoded: f64) -> f64 {
    if encoded <= ENCODED_KNEE { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
}

/// Divisions of the linear scale by which [`encode_8bit`] finds its first guess; with so many the guess is at most two
/// codes low.
const DIVISIONS: usize = 4096;

/// Linear values at which the 8-bit code steps up, and the code at each division.
struct Steps {
    up: [f64; 255],
    first_guess: Vec<u8>,
}

static STEPS: LazyLock<Steps> = LazyLock::new(|| {
    let up: [f64; 255] = std::array::from_fn(|code| decode((code as f64 + 0.5) / 255.0));
    let code = |i: usize| up.partition_point(|&step| step <= i as f64 / DIVISIONS as f64) as u8;
    Steps { up, first_guess: (0..=DIVISIONS).map(code).collect() }
});

/// The 8-bit code of a linear value: [`encode`] times 255, rounded; values outside 0 to 1 are cut, and what is not
/// a number is 0. Reads a table of the 255 steps, so it is exact and costs a few nanoseconds.
#[must_use]
pub fn encode_8bit(linear: f64) -> u8 {
    if linear.is_nan() || linear <= 0.0 {
        return 0;
    }
    let linear = linear.min(1.0);
    let steps = &*STEPS;
    let mut code = steps.first_guess[(linear * DIVISIONS as f64) as usize];
    while code < 255 && linear >= steps.up[code as usize] {
        code += 1;
    }
    code
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eight_bit_codes_are_the_rounded_curve() {
        // Against the curve itself at 200 000 places; a code may differ only where the curve is within rounding of
        // a half.
        for i in 0..=200_000 {
            let linear = f64::from(i) / 200_000.0;
            let exact = 255.0 * encode(linear);
            let code = f64::from(encode_8bit(linear));
            assert!((exact - code).abs() <= 0.5 + 1e-4, "{linear}: {exact} {code}");
        }
        assert_eq!(encode_8bit(f64::NAN), 0);
        assert_eq!([encode_8bit(-3.0), encode_8bit(7.0), encode_8bit(f64::INFINITY)], [0, 255, 255]);
    }

    #[test]
    fn codes_survive_the_round_trip() {
        for code in 0..=255_u8 {
            assert_eq!(encode_8bit(decode(f64::from(code) / 255.0)), code);
        }
    }
}
