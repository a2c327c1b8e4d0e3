//! The spot seen from the side, as its transform.

use crate::light::Window;
use crate::light::bessel::Bessel;
use crate::light::spread::SpotSpectrum;
use rustfft::num_complex::Complex;
use std::f64::consts::PI;

/// Modes that stay everywhere below this share of the transform at zero are left out.
const NEGLIGIBLE: f64 = 1e-7;

/// A spot seen from the side, held as its transform over the plane of the outer face; see the module's head.
///
/// Its frame has the origin over the source and the viewer on the side of +x. It is mirror-symmetric about the x axis.
#[derive(Clone, Debug, PartialEq)]
pub struct ObliqueSpot {
    shift_mm: f64,
    modes: Vec<SpotSpectrum>,
}

impl ObliqueSpot {
    /// From the transform, given at every knot at the angles [`ObliqueSpot::angles`] to the direction of the viewer and times
    /// `exp(i k cos(psi) shift_mm)`, and the length with which it falls off.
    pub(super) fn from_samples(
        knots: &[f64],
        samples: &[Vec<Complex<f64>>],
        decay: f64,
        shift_mm: f64,
    ) -> ObliqueSpot {
        let count = samples.first().map_or(0, Vec::len);
        let angles = ObliqueSpot::angles(count);
        // By mode, then by knot.
        let mut values: Vec<Vec<f64>> = (0..count.div_ceil(2))
            .map(|m| {
                let twice = if m == 0 { 1.0 } else { 2.0 } / count as f64;
                let cosines: Vec<f64> = angles.iter().map(|psi| (m as f64 * psi).cos()).collect();
                let mode = |sample: &Vec<Complex<f64>>| {
                    let sum: Complex<f64> = sample.iter().zip(&cosines).map(|(value, c)| value * c).sum();
                    // i^m times the mode is real.
                    twice
                        * match m % 4 {
                            0 => sum.re,
                            1 => -sum.im,
                            2 => -sum.re,
                            _ => sum.im,
                        }
                };
                samples.iter().map(mode).collect()
            })
            .collect();
        let limit = NEGLIGIBLE * values.first().and_then(|round| round.first()).copied().unwrap_or(0.0).abs();
        let needed = values.iter().rposition(|mode| mode.iter().any(|v| v.abs() > limit));
        values.truncate(needed.map_or(1, |last| last + 1));
        let modes = values
            .iter()
            .enumerate()
            .map(|(m, values)| {
                let slope = if m == 1 { slope_at_zero(knots, values) } else { 0.0 };
                SpotSpectrum::with_slope(knots.to_vec(), values, decay, slope)
            })
            .collect();
        ObliqueSpot { shift_mm, modes }
    }

    /// So many angles over half a turn: the middles of equal parts.
    pub(super) fn angles(count: usize) -> Vec<f64> {
        (0..count).map(|i| PI * (i as f64 + 0.5) / count as f64).collect()
    }

    /// A spot that is zero everywhere.
    pub(super) fn dark(knots: &[f64]) -> ObliqueSpot {
        ObliqueSpot { shift_mm: 0.0, modes: vec![SpotSpectrum::new(knots.to_vec(), vec![0.0; knots.len()])] }
    }

    /// How far its middle lies from the source, towards the viewer, in mm: the c of the module's head.
    #[must_use]
    pub fn shift_mm(&self) -> f64 {
        self.shift_mm
    }

    /// The modes A_m of its transform about that middle, from the round one (m = 0) upwards; at least one.
    #[must_use]
    pub fn modes(&self) -> &[SpotSpectrum] {
        &self.modes
    }

    /// Radiance towards the viewer summed over the plane, per unit flux, in 1/sr.
    #[must_use]
    pub fn whole(&self) -> f64 {
        self.modes.first().map_or(0.0, |round| round.value(0.0))
    }

    /// The last knot in 1/mm; beyond it the transform is zero.
    #[must_use]
    pub fn last_frequency(&self) -> f64 {
        self.modes.first().map_or(0.0, SpotSpectrum::last_frequency)
    }

    /// The transform at the angular frequency `[kx, ky]` in 1/mm, x towards the viewer: Hermitian, since the spot is real.
    #[must_use]
    pub fn value(&self, [kx, ky]: [f64; 2]) -> Complex<f64> {
        let k = kx.hypot(ky);
        let psi = ky.atan2(kx);
        let mut sum = Complex::new(0.0, 0.0);
        for (m, mode) in self.modes.iter().enumerate() {
            sum += turned(m) * (mode.value(k) * (m as f64 * psi).cos());
        }
        sum * Complex::from_polar(1.0, -kx * self.shift_mm)
    }

    /// The sum of spots with the same middle and knots, each times its weight; `None` for an empty list or spots unlike each other.
    #[must_use]
    pub fn weighted_sum(parts: &[(f64, &ObliqueSpot)]) -> Option<ObliqueSpot> {
        let (_, first) = parts.first()?;
        if parts.iter().any(|(_, part)| part.shift_mm != first.shift_mm) {
            return None;
        }
        let count = parts.iter().map(|(_, part)| part.modes.len()).max()?;
        let modes: Option<Vec<SpotSpectrum>> = (0..count)
            .map(|m| {
                let with: Vec<(f64, &SpotSpectrum)> =
                    parts.iter().filter_map(|(w, part)| Some((*w, part.modes.get(m)?))).collect();
                SpotSpectrum::weighted_sum(&with)
            })
            .collect();
        Some(ObliqueSpot { shift_mm: first.shift_mm, modes: modes? })
    }

    /// The spot of a source with this emitting window at places of the outer face in mm, x towards the viewer and the source at the
    /// origin, in 1/(sr mm2). A square is averaged over its orientation.
    #[must_use]
    pub fn at_places(&self, window: Window, places: &[[f64; 2]]) -> Vec<f64> {
        let Some(round) = self.modes.first() else { return vec![0.0; places.len()] };
        let from_middle = |[x, y]: [f64; 2]| {
            let x = x - self.shift_mm;
            (x.hypot(y), y.atan2(x))
        };
        let largest = places.iter().map(|&place| from_middle(place).0).fold(0.0, f64::max);
        let rule = round.rule(largest);
        // By mode: A_m(k) window(k) k weight / (2 pi).
        let weighted: Vec<Vec<f64>> = self
            .modes
            .iter()
            .map(|mode| {
                rule.iter().map(|&(k, w)| w * k * mode.value(k) * window.transform(k) / (2.0 * PI)).collect()
            })
            .collect();
        places
            .iter()
            .map(|&place| {
                let table = Bessel::get();
                let (radius, angle) = from_middle(place);
                let (mut sums, mut bessel) = (vec![0.0; self.modes.len()], vec![0.0; self.modes.len()]);
                for (i, &(k, _)) in rule.iter().enumerate() {
                    table.fill(&mut bessel, k * radius);
                    for ((sum, mode), j) in sums.iter_mut().zip(&weighted).zip(&bessel) {
                        *sum += mode[i] * j;
                    }
                }
                sums.iter().enumerate().map(|(m, sum)| sum * (m as f64 * angle).cos()).sum()
            })
            .collect()
    }
}

/// `(-i)^m`.
fn turned(m: usize) -> Complex<f64> {
    match m % 4 {
        0 => Complex::new(1.0, 0.0),
        1 => Complex::new(0.0, -1.0),
        2 => Complex::new(-1.0, 0.0),
        _ => Complex::new(0.0, 1.0),
    }
}

/// The slope at zero of a function without even powers, from its first two values beyond zero.
fn slope_at_zero(knots: &[f64], values: &[f64]) -> f64 {
    let (Some([_, a, b, ..]), Some([_, at_a, at_b, ..])) = (knots.get(..3), values.get(..3)) else {
        return 0.0;
    };
    // s k + t k^3 through both.
    let (ratio_a, ratio_b) = (at_a / a, at_b / b);
    ratio_a - (ratio_b - ratio_a) * a * a / (b * b - a * a)
}
