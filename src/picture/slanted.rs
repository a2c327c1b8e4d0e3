//! Spots seen from the side in the plane of the picture.
//!
//! # Model
//! The picture of a garment seen from the side is its outer face projected along the line of sight: lengths along the direction u
//! of the viewer shrink by mu_v = cos(theta), lengths across it stay. With `M = 1 - (1 - mu_v) u u^T` a place r of the garment lies at
//! `M r` in the picture, and a spot whose transform over the garment is `L(k)` has there the transform
//!
//! ```text
//! int L(M^-1 r') exp(-i k'.r') dr' = mu_v L(M k')
//! ```
//!
//! so that nothing has to be drawn twice or resampled. The emitting window, which lies in the garment's board, is foreshortened with
//! it. Radiance stays radiance: projecting does not make a surface brighter.
//!
//! The transform itself is the series of [`crate::light::oblique::ObliqueSpot`], read from tables over |M k'| for each mode and summed
//! with Chebyshev's recurrence at every node of the grid.
//!
//! # Assumptions
//! Seen from far off against the garment's size: all lines of sight are parallel.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | k' | angular frequency in the picture | 1/mm |
//! | others | see [`crate::light::oblique`] | |

use super::fft2::Complex32;
use super::plane::SpotPoint;
use super::radial::Scale;
use crate::light::oblique::{ObliqueSpot, Sight};
use crate::light::spread::SpotSpectrum;
use crate::light::{Window, sinc};
use rayon::prelude::*;
use std::f64::consts::{PI, TAU};

/// Modes below this share of the highest value are left out at each entry of the tables: single precision holds no more.
const NEGLIGIBLE: f64 = 1e-7;
/// Directions over half a turn and frequencies in which the envelope of a spot is sought.
const ENVELOPE: [usize; 2] = [24, 256];

/// The points of one kind (one die) with their spots seen from the side.
#[derive(Clone, Debug)]
pub struct SlantedChannel<'a> {
    /// The points, at their places in the garment's plane.
    pub points: Vec<SpotPoint>,
    /// The outline from which each of them sends its light; the sides of a square lie along x and y.
    pub window: Window,
    /// The spots in X, Y and Z per unit of amount.
    pub kernels: [&'a ObliqueSpot; 3],
}

/// A channel's spots, ready to be tabulated.
pub(super) struct Slanted<'a> {
    kernels: [&'a ObliqueSpot; 3],
    window: Window,
    sight: Sight,
}

impl<'a> Slanted<'a> {
    pub(super) fn new(channel: &SlantedChannel<'a>, sight: Sight) -> Slanted<'a> {
        Slanted { kernels: channel.kernels, window: channel.window, sight }
    }

    /// Round spots whose transforms are nowhere below those of these in the picture.
    pub(super) fn envelopes(&self) -> [SpotSpectrum; 3] {
        let [directions, frequencies] = ENVELOPE;
        let cosine = self.sight.tilt_rad.cos();
        self.kernels.map(|spot| {
            // Even over the square of the number, as transforms bend most near zero.
            let end = spot.last_frequency() / cosine;
            let knots: Vec<f64> =
                (0..=frequencies).map(|i| end * (i as f64 / frequencies as f64).powi(2)).collect();
            let highest = |k: &f64| {
                let at = |i: usize| {
                    let (sin, cos) = (PI * i as f64 / directions as f64).sin_cos();
                    cosine * spot.value([k * cos * cosine, k * sin]).norm()
                };
                (0..directions).map(at).fold(0.0, f64::max)
            };
            let values = knots.par_iter().map(highest).collect();
            SpotSpectrum::new(knots, values)
        })
    }

    /// The tables for a grid whose frequencies `scale` covers, up to `end` in 1/mm.
    pub(super) fn tabulated(&self, scale: Scale, end: f64, entries: usize) -> SlantedTable {
        let cosine = self.sight.tilt_rad.cos();
        let modes = self.kernels.iter().map(|spot| spot.modes().len()).max().unwrap_or(1);
        let highest = self.kernels.iter().map(|spot| spot.whole().abs()).fold(0.0, f64::max);
        let rows: Vec<(Vec<[f32; 3]>, usize)> = (0..entries + 2)
            .into_par_iter()
            .map(|i| {
                let k = end * (i as f64 / entries as f64).powi(2);
                let factor = cosine * self.window.round_part(k);
                let row: Vec<[f64; 3]> = (0..modes)
                    .map(|m| {
                        self.kernels.map(|spot| spot.modes().get(m).map_or(0.0, |a| factor * a.value(k)))
                    })
                    .collect();
                let matters = |v: &[f64; 3]| v.iter().any(|v| v.abs() > NEGLIGIBLE * highest);
                let needed = row.iter().rposition(matters).map_or(0, |last| last + 1);
                (row.into_iter().map(|v| v.map(|v| v as f32)).collect(), needed)
            })
            .collect();
        let (sin, cos) = self.sight.from_rad.sin_cos();
        let half_side = match self.window {
            Window::Square { side } => 0.5 * side.0,
            Window::Point | Window::Disc { .. } => 0.0,
        };
        SlantedTable {
            scale,
            modes,
            needed: rows.iter().map(|row| row.1).collect(),
            values: rows.into_iter().flat_map(|row| row.0).collect(),
            shifts: self.kernels.map(|spot| spot.shift_mm() as f32),
            direction: [cos as f32, sin as f32],
            cosine: cosine as f32,
            half_side,
        }
    }
}

/// One channel's spots on one grid.
pub(super) struct SlantedTable {
    scale: Scale,
    modes: usize,
    /// How many modes matter at each entry.
    needed: Vec<usize>,
    /// By entry and mode.
    values: Vec<[f32; 3]>,
    shifts: [f32; 3],
    direction: [f32; 2],
    cosine: f32,
    half_side: f64,
}

impl SlantedTable {
    /// Bytes that it takes.
    pub(super) fn bytes(&self) -> usize {
        size_of_val(&self.needed[..]) + size_of_val(&self.values[..])
    }

    /// The transforms in X, Y and Z at a frequency of the picture in 1/mm.
    pub(super) fn at(&self, kx: f32, ky: f32) -> [Complex32; 3] {
        let [ux, uy] = self.direction;
        let along = (kx * ux + ky * uy) * self.cosine;
        let across = ky * ux - kx * uy;
        let squared = along * along + across * across;
        let (entry, share) = self.scale.place(squared);
        let entry = entry as usize;
        if entry + 1 >= self.needed.len() {
            return [Complex32::default(); 3];
        }
        let needed = self.needed[entry].max(self.needed[entry + 1]);
        let low = &self.values[entry * self.modes..][..needed];
        let high = &self.values[(entry + 1) * self.modes..][..needed];
        let cos_psi = if squared > 0.0 { along / squared.sqrt() } else { 1.0 };
        // cos(m psi), and the sums of even and odd modes with the signs of (-i)^m.
        let (mut before, mut now) = (cos_psi, 1.0f32);
        let mut sums = [[0.0f32; 3]; 4];
        for (m, (low, high)) in low.iter().zip(high).enumerate() {
            for ((sum, low), high) in sums[m % 4].iter_mut().zip(low).zip(high) {
                *sum += now * (low + share * (high - low));
            }
            (before, now) = (now, 2.0 * cos_psi * now - before);
        }
        let mut square = 1.0;
        if self.half_side > 0.0 {
            let garment_x = f64::from(along * ux - across * uy);
            let garment_y = f64::from(along * uy + across * ux);
            square = (sinc(self.half_side * garment_x) * sinc(self.half_side * garment_y)) as f32;
        }
        std::array::from_fn(|c| {
            let series = Complex32::new(sums[0][c] - sums[2][c], sums[3][c] - sums[1][c]);
            let phase = f64::from(along * self.shifts[c]).rem_euclid(TAU) as f32;
            series * Complex32::from_polar(square, -phase)
        })
    }
}
