//! The outline of a source, and its transform.
//!
//! # Model
//! A window of unit area has the transform `2 J1(k R) / (k R)` when it is a disc of radius R and
//! `sinc(kx s / 2) sinc(ky s / 2)` when it is a square of side s.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | k, kx, ky | angular spatial frequency and its components | 1/mm |
//! | R, s | radius, side | mm |
//!
//! # Source
//! Bracewell, The Fourier Transform and Its Applications, table of two-dimensional transforms (from memory).

use super::quadrature::{POINTS, lagrange};
use crate::quantity::Millimetres;
use pxfm::f_j1;
use std::f64::consts::PI;
use std::sync::LazyLock;

/// The outline from which a source sends its light, lying in the board's plane and centred on the source's place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Window {
    /// An ideal point.
    Point,
    /// A disc of this diameter.
    Disc {
        /// Diameter.
        diameter: Millimetres,
    },
    /// A square of this side.
    Square {
        /// Side.
        side: Millimetres,
    },
}

impl Window {
    /// Transform of the window with unit area at the angular frequency `k` in 1/mm, averaged over its orientation.
    #[must_use]
    pub fn transform(self, k: f64) -> f64 {
        /// Directions over an eighth of a turn; the integrand is smooth and periodic.
        const DIRECTIONS: usize = 16;
        match self {
            Window::Point | Window::Disc { .. } => self.round_part(k),
            Window::Square { side } => {
                let half = 0.5 * k * side.0;
                (0..DIRECTIONS)
                    .map(|i| {
                        let angle = PI / 4.0 * (i as f64 + 0.5) / DIRECTIONS as f64;
                        sinc(half * angle.cos()) * sinc(half * angle.sin())
                    })
                    .sum::<f64>()
                    / DIRECTIONS as f64
            }
        }
    }

    /// The part of the transform that depends on the size of k alone: all of it for a disc, none (1) for a square.
    pub(crate) fn round_part(self, k: f64) -> f64 {
        match self {
            Window::Disc { diameter } => jinc(0.5 * k * diameter.0),
            Window::Point | Window::Square { .. } => 1.0,
        }
    }
}

/// Entries of the table of `2 J1(x) / x` per unit of x: six points between them leave 1e-11 (tested).
const JINC_PER_UNIT: f64 = 32.0;
/// Where the table ends.
const JINC_END: usize = 48;

/// The table begins so many entries below zero, where the function is the same as above.
const JINC_BEFORE: usize = 3;

/// `2 J1(x) / x` for x >= 0.
fn jinc(x: f64) -> f64 {
    static TABLE: LazyLock<Vec<f64>> = LazyLock::new(|| {
        (0..JINC_END * JINC_PER_UNIT as usize + 2 * JINC_BEFORE)
            .map(|i| exact_jinc((i as f64 - JINC_BEFORE as f64).abs() / JINC_PER_UNIT))
            .collect()
    });
    if x >= JINC_END as f64 {
        return exact_jinc(x);
    }
    let table: &[f64] = &TABLE;
    let (first, weights) = lagrange(x * JINC_PER_UNIT + JINC_BEFORE as f64, table.len());
    table[first..first + POINTS].iter().zip(&weights).map(|(value, weight)| value * weight).sum()
}

/// `2 J1(x) / x` by the Bessel function, several times slower.
fn exact_jinc(x: f64) -> f64 {
    if x.abs() < 1e-4 { 1.0 - x * x / 8.0 } else { 2.0 * f_j1(x) / x }
}

/// `sin(x) / x`.
pub(crate) fn sinc(x: f64) -> f64 {
    if x.abs() < 1e-4 { 1.0 - x * x / 6.0 } else { x.sin() / x }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_the_bessel_function() {
        /// Sixth-order interpolation over 1/32.
        const TABLE: f64 = 1e-11;
        for i in 0..60_000 {
            let x = f64::from(i) * 1e-3;
            assert!((jinc(x) - exact_jinc(x)).abs() < TABLE, "{x}");
        }
    }
}
