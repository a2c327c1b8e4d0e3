//! The spread function: what one pixel looks like through the stack.
//!
//! # Model
//! A stack without lateral structure turns a point source into a round spot L(r), the radiance seen from straight
//! ahead per unit flux, in 1/(sr mm2). It is held as its two-dimensional Fourier transform
//!
//! ```text
//! L(k) = 2 pi int_0^inf L(r) J0(k r) r dr,      L(r) = 1/(2 pi) int_0^inf L(k) J0(k r) k dk
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | r | distance in the plane of the cloth | mm |
//! | k | angular spatial frequency | 1/mm |
//! | L(r) | radiance straight ahead per unit flux, direct image excluded | 1/(sr mm2) |
//! | h | air between board and first cloth | mm |
//!
//! An emitting window multiplies L(k) by its own transform, [`Window::transform`].
//!
//! # Method
//! L(k) falls off as fast as `exp(-k h)`; that factor is taken out, the rest is smooth and is held by a cubic spline on
//! knots that grow like a hyperbolic sine. The inverse transform is a Gauss-Legendre sum over panels short against the
//! Bessel function's wave.
//!
//! # Source
//! Bracewell, The Fourier Transform and Its Applications, chapter on the Hankel transform and DLMF 10.22, both from memory.

use super::Window;
use super::quadrature::gauss_legendre;
use pxfm::{f_j0, f_j1};
use std::f64::consts::PI;

/// Highest angular frequency in 1/mm that is ever followed: structure of about 0.1 mm.
pub const FINEST: f64 = 60.0;

/// A radially symmetric spot, held as its two-dimensional Fourier transform sampled over spatial frequency.
///
/// Between the knots it is interpolated by a cubic spline; beyond the last knot it is zero.
#[derive(Clone, Debug, PartialEq)]
pub struct SpotSpectrum {
    knots: Vec<f64>,
    /// Values times `exp(decay k)`.
    lifted: Vec<f64>,
    /// Second derivatives of the spline through them.
    bends: Vec<f64>,
    decay: f64,
}

impl SpotSpectrum {
    /// From knots (rising, starting at 0, in 1/mm; at least two) and values.
    #[must_use]
    pub fn new(knots: Vec<f64>, values: Vec<f64>) -> SpotSpectrum {
        SpotSpectrum::with_decay(knots, &values, 0.0)
    }

    /// From knots, values and a length `decay` in mm: the transform falls off about like `exp(-decay k)`, and the
    /// interpolation is done with that factor taken out.
    #[must_use]
    pub fn with_decay(knots: Vec<f64>, values: &[f64], decay: f64) -> SpotSpectrum {
        SpotSpectrum::with_slope(knots, values, decay, 0.0)
    }

    /// As [`SpotSpectrum::with_decay`], for a transform that begins with this slope.
    pub(super) fn with_slope(knots: Vec<f64>, values: &[f64], decay: f64, own_slope: f64) -> SpotSpectrum {
        let lifted: Vec<f64> = knots.iter().zip(values).map(|(k, v)| v * (decay * k).exp()).collect();
        // A round spot's transform is even in k: its own slope at 0 is zero, that of the lifted one decay * value.
        let slope = own_slope + decay * lifted.first().copied().unwrap_or(0.0);
        let bends = spline_bends(&knots, &lifted, slope);
        SpotSpectrum { knots, lifted, bends, decay }
    }

    /// The sum of spectra on the same knots with the same decay, each times its weight.
    ///
    /// Returns `None` for an empty list or for spectra on different knots.
    #[must_use]
    pub fn weighted_sum(parts: &[(f64, &SpotSpectrum)]) -> Option<SpotSpectrum> {
        let (_, first) = parts.first()?;
        let mut sum = SpotSpectrum {
            knots: first.knots.clone(),
            lifted: vec![0.0; first.lifted.len()],
            bends: vec![0.0; first.bends.len()],
            decay: first.decay,
        };
        for (weight, part) in parts {
            if part.knots != sum.knots || part.decay != sum.decay {
                return None;
            }
            for (s, v) in sum.lifted.iter_mut().zip(&part.lifted) {
                *s += weight * v;
            }
            for (s, v) in sum.bends.iter_mut().zip(&part.bends) {
                *s += weight * v;
            }
        }
        Some(sum)
    }

    /// The transform at angular frequency `k` in 1/mm.
    #[must_use]
    pub fn value(&self, k: f64) -> f64 {
        let i = self.knots.partition_point(|&x| x <= k);
        if i == 0 {
            return 0.0;
        }
        if i >= self.knots.len() {
            let last = self.knots.len() - 1;
            return if k <= self.knots[last] { self.lifted[last] * (-self.decay * k).exp() } else { 0.0 };
        }
        let width = self.knots[i] - self.knots[i - 1];
        let b = (k - self.knots[i - 1]) / width;
        let a = 1.0 - b;
        let bend =
            ((a * a * a - a) * self.bends[i - 1] + (b * b * b - b) * self.bends[i]) * width * width / 6.0;
        (a * self.lifted[i - 1] + b * self.lifted[i] + bend) * (-self.decay * k).exp()
    }

    /// The frequency in 1/mm beyond which the transform is below `share` of its value at zero.
    #[must_use]
    pub fn reach(&self, share: f64) -> f64 {
        let value = |i: usize| (self.lifted[i] * (-self.decay * self.knots[i]).exp()).abs();
        let limit = share * value(0);
        let last = (0..self.knots.len()).rposition(|i| value(i) > limit).unwrap_or(0);
        self.knots[(last + 1).min(self.knots.len() - 1)]
    }

    /// The last knot in 1/mm.
    #[must_use]
    pub fn last_frequency(&self) -> f64 {
        self.knots.last().copied().unwrap_or(0.0)
    }

    /// The spot of a source with this emitting window at the radii given in mm, in the transform's unit per mm2.
    ///
    /// A square is averaged over its orientation.
    #[must_use]
    pub fn at_radii(&self, window: Window, radii: &[f64]) -> Vec<f64> {
        let largest = radii.iter().copied().fold(0.0, f64::max);
        let samples = self.samples(window, largest);
        radii.iter().map(|r| samples.iter().map(|&(k, w)| w * k * f_j0(k * r)).sum::<f64>()).collect()
    }

    /// The spot averaged over rings with the given inner and outer radius in mm.
    #[must_use]
    pub fn over_rings(&self, window: Window, rings: &[[f64; 2]]) -> Vec<f64> {
        let largest = rings.iter().map(|r| r[1]).fold(0.0, f64::max);
        let samples = self.samples(window, largest);
        // 2 pi int r J0(k r) dr over the ring = 2 pi [r J1(k r)] / k
        let edge = |r: f64| -> f64 { samples.iter().map(|&(k, w)| w * 2.0 * PI * r * f_j1(k * r)).sum() };
        rings
            .iter()
            .map(|&[inner, outer]| (edge(outer) - edge(inner)) / (PI * (outer * outer - inner * inner)))
            .collect()
    }

    /// Frequencies and `L(k) window(k) weight / (2 pi)` of the rule for the inverse transform.
    fn samples(&self, window: Window, largest_radius: f64) -> Vec<(f64, f64)> {
        let value = |(k, w): (f64, f64)| (k, w * self.value(k) * window.transform(k) / (2.0 * PI));
        self.rule(largest_radius).into_iter().map(value).collect()
    }

    /// Frequencies and weights of the rule for integrals up to the last knot against Bessel functions of `k radius`.
    pub(super) fn rule(&self, largest_radius: f64) -> Vec<(f64, f64)> {
        /// Points a panel; a panel holds at most one half-wave of J0 and at most one knot interval.
        const POINTS: usize = 8;
        let rule = gauss_legendre(POINTS);
        let mut samples = Vec::new();
        for pair in self.knots.windows(2) {
            let width = pair[1] - pair[0];
            let panels = (width * largest_radius / PI).ceil().max(1.0);
            for p in 0..panels as usize {
                let start = pair[0] + width * p as f64 / panels;
                for (x, w) in rule.nodes.iter().zip(&rule.weights) {
                    samples.push((start + x * width / panels, w * width / panels));
                }
            }
        }
        samples
    }

    /// Full width in mm of the spot of a source with this window at a share of its height (0.5: at half maximum).
    ///
    /// Returns `None` when the spot does not fall to that share within `limit` mm of its middle.
    #[must_use]
    pub fn full_width(&self, window: Window, limit: f64, share: f64) -> Option<f64> {
        /// Radii are first tried at growing distances, then the interval is halved so often: 1e-6 of the width.
        const HALVINGS: usize = 20;
        const GROWTH: f64 = 1.3;
        const FIRST: f64 = 1e-3;
        /// The rule is made for radii so many times as large as needed just then, so that it serves some more.
        const FAR: f64 = 4.0;
        let height = self.at_radii(window, &[0.0])[0];
        let above = |samples: &[(f64, f64)], r: f64| -> bool {
            samples.iter().map(|&(k, w)| w * k * f_j0(k * r)).sum::<f64>() >= share * height
        };
        let (mut low, mut high) = (0.0, FIRST * limit);
        let mut sampled = FAR * high;
        let mut samples = self.samples(window, sampled);
        while above(&samples, high) {
            low = high;
            high *= GROWTH;
            if high > limit {
                return None;
            }
            if high > sampled {
                sampled = FAR * high;
                samples = self.samples(window, sampled);
            }
        }
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if above(&samples, middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(low + high)
    }
}

/// Second derivatives at the knots of the cubic spline with the given slope at the first knot and no bend at the last.
///
/// Source: Press et al., Numerical Recipes, section 3.3 (from memory).
fn spline_bends(x: &[f64], y: &[f64], first_slope: f64) -> Vec<f64> {
    let n = x.len();
    if n < 3 {
        return vec![0.0; n];
    }
    let (mut bends, mut scratch) = (vec![0.0; n], vec![0.0; n]);
    bends[0] = -0.5;
    scratch[0] = 3.0 / (x[1] - x[0]) * ((y[1] - y[0]) / (x[1] - x[0]) - first_slope);
    for i in 1..n - 1 {
        let ratio = (x[i] - x[i - 1]) / (x[i + 1] - x[i - 1]);
        let pivot = ratio * bends[i - 1] + 2.0;
        bends[i] = (ratio - 1.0) / pivot;
        let jump = (y[i + 1] - y[i]) / (x[i + 1] - x[i]) - (y[i] - y[i - 1]) / (x[i] - x[i - 1]);
        scratch[i] = (6.0 * jump / (x[i + 1] - x[i - 1]) - ratio * scratch[i - 1]) / pivot;
    }
    bends[n - 1] = 0.0;
    for i in (0..n - 1).rev() {
        bends[i] = bends[i] * bends[i + 1] + scratch[i];
    }
    bends
}

/// ln(1e8): beyond it a spot's transform is lost in single precision.
pub(super) const FALL: f64 = 18.4;

/// The frequency in 1/mm where `exp(-k gap)` has fallen below 1e-8, or [`FINEST`] when the gap (in mm) is next to nothing.
#[must_use]
pub fn frequency_end(gap: f64) -> f64 {
    (FALL / gap.max(1e-9)).min(FINEST)
}

/// Knots in 1/mm for the spot of a stack of total height `height` over a first gap `gap`, both in mm.
///
/// They grow like a hyperbolic sine from a step small against 1 / height to [`frequency_end`]; an odd number of them, at least 13.
#[must_use]
pub fn frequency_knots(gap: f64, height: f64) -> Vec<f64> {
    /// Spacing of the knots in the hyperbolic angle; 0.1 leaves below 2e-5 of the peak (tested).
    const STEP: f64 = 0.10;
    frequency_knots_every(STEP, gap, height)
}

/// As [`frequency_knots`], spaced by so much in the hyperbolic angle.
pub(super) fn frequency_knots_every(step: f64, gap: f64, height: f64) -> Vec<f64> {
    let end = frequency_end(gap);
    let scale = 0.4 / height.max(1e-3);
    let count = 2.0 * (0.5 * (end / scale).asinh() / step).ceil().max(6.0);
    (0..=count as usize).map(|i| scale * ((end / scale).asinh() * i as f64 / count).sinh()).collect()
}
