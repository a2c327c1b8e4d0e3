//! Transmission from any direction into any other, azimuth included.
//!
//! **Model.** The scattered transmission of one layer as a cosine series in the azimuth between the two directions,
//!
//! ```text
//! T(mu, mu0, dphi) = T_0 + 2 sum over m >= 1 of T_m(mu, mu0) cos(m dphi)
//! p_m(mu, mu0) = sum over l >= m of (2l + 1) g^l N_l^m(mu) N_l^m(mu0),   N_l^m = sqrt((l-m)!/(l+m)!) P_l^m
//! ```
//!
//! Each T_m obeys the same doubling equations with p_m in the place of the azimuth average. Single scattering is kept in
//! closed form between the nodes, as in [`super::ForwardRow`].
//!
//! **Source.** Chandrasekhar, Radiative Transfer (1950), chapter VI (reduction to azimuth-independent equations); recurrence
//! of the normalised associated Legendre functions: Abramowitz & Stegun 8.5.3 (from memory).

use super::Quadrature;
use super::doubling::{Phase, Scaled, moment, single_transmission, with_phase};
use crate::light::Optics;
use crate::light::quadrature::Interpolation;
use nalgebra::DMatrix;

/// What the azimuth modes of every layer have in common: the Legendre functions at the nodes and at finer places.
#[derive(Clone, Debug)]
pub struct AzimuthTable {
    quadrature: Quadrature,
    /// By mode: `N_l^m` at each node (row) for each degree l.
    at_nodes: Vec<DMatrix<f64>>,
    /// By mode: `N_l^m` at each place.
    at_places: Vec<DMatrix<f64>>,
    places: Vec<f64>,
    /// Basis polynomials of the nodes at each place (node by place).
    basis: DMatrix<f64>,
}

impl AzimuthTable {
    /// For `n` Gauss nodes, modes 0 to `modes - 1` and the cosines `places`, each above 0 and up to 1.
    #[must_use]
    pub fn new(n: usize, modes: usize, places: &[f64]) -> AzimuthTable {
        let quadrature = Quadrature::new(n, &[]);
        let table = |m: usize, cosines: &[f64]| {
            let rows: Vec<f64> = cosines.iter().flat_map(|&x| associated_row(m, x, 2 * n)).collect();
            DMatrix::from_row_slice(cosines.len(), 2 * n, &rows)
        };
        let interpolation = Interpolation::from_nodes(quadrature.cosines());
        let columns: Vec<f64> = places.iter().flat_map(|&mu| interpolation.basis(mu)).collect();
        AzimuthTable {
            at_nodes: (0..modes).map(|m| table(m, quadrature.cosines())).collect(),
            at_places: (0..modes).map(|m| table(m, places)).collect(),
            places: places.to_vec(),
            basis: DMatrix::from_column_slice(n, places.len(), &columns),
            quadrature,
        }
    }

    /// The scattered transmission of the covered part of a layer, mode by mode: the kernel T_m from each place (column)
    /// to each node (row), for modes 0 to `modes - 1` (at most as many as the table has).
    #[must_use]
    pub fn modes(&self, optics: &Optics, tau: f64, modes: usize) -> Vec<DMatrix<f64>> {
        let n = self.quadrature.gauss();
        let nodes = self.quadrature.cosines();
        let scaled = Scaled::new(optics, tau, n);
        let moments: Vec<f64> = (0..2 * n).map(|l| moment(l, optics.asymmetry, scaled.peak)).collect();
        self.at_nodes
            .iter()
            .zip(&self.at_places)
            .take(modes)
            .enumerate()
            .map(|(m, (at_nodes, at_places))| {
                let weighted = |sign: f64| {
                    DMatrix::from_fn(n, 2 * n, |i, l| {
                        let factor = if l > m && (l - m) % 2 == 1 { sign } else { 1.0 };
                        factor * moments[l] * at_nodes[(i, l)]
                    })
                };
                let (ahead, back) = (weighted(1.0), weighted(-1.0));
                let phase =
                    Phase { forward: &ahead * at_nodes.transpose(), backward: back * at_nodes.transpose() };
                let once =
                    |p: f64, mu: f64, mu0: f64| single_transmission(scaled.albedo, p, scaled.tau, mu, mu0);
                let covered = with_phase(scaled, &phase, &self.quadrature);
                let multiple = DMatrix::from_fn(n, n, |i, j| {
                    covered.t[(i, j)] - once(phase.forward[(i, j)], nodes[i], nodes[j])
                });
                let phase_at_places = ahead * at_places.transpose();
                let mut kernel = multiple * &self.basis;
                for (f, &mu) in self.places.iter().enumerate() {
                    for i in 0..n {
                        kernel[(i, f)] += once(phase_at_places[(i, f)], nodes[i], mu);
                    }
                }
                kernel
            })
            .collect()
    }
}

/// `sqrt((l-m)!/(l+m)!) P_l^m(x)` for l from 0 to `count - 1` (zero below m), without the alternating sign.
pub(in crate::light) fn associated_row(m: usize, x: f64, count: usize) -> Vec<f64> {
    let mut row = vec![0.0; count];
    if m >= count {
        return row;
    }
    let sine = (1.0 - x * x).max(0.0).sqrt();
    row[m] = (1..=m).map(|i| ((2 * i - 1) as f64 / (2 * i) as f64).sqrt() * sine).product();
    for l in m..count - 1 {
        let before = if l > m { row[l - 1] } else { 0.0 };
        let (lf, mf) = (l as f64, m as f64);
        row[l + 1] = ((2.0 * lf + 1.0) * x * row[l] - (lf * lf - mf * mf).sqrt() * before)
            / ((lf + 1.0) * (lf + 1.0) - mf * mf).sqrt();
    }
    row
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::PerMillimetre;
    use std::f64::consts::PI;

    fn optics(albedo: f64, asymmetry: f64) -> Optics {
        Optics { extinction: PerMillimetre(1.0), albedo, asymmetry, openness: 0.0 }
    }

    #[test]
    fn modes_of_the_phase_function_sum_to_henyey_greenstein() {
        /// The series to degree 63 with g = 0.5 is exact to rounding.
        const ROUNDING: f64 = 1e-12;
        let (g, count) = (0.5f64, 64);
        let (mu, mu0, dphi) = (0.8f64, 0.3f64, 1.1f64);
        let cosine = mu * mu0 + ((1.0 - mu * mu) * (1.0 - mu0 * mu0)).sqrt() * dphi.cos();
        let exact = (1.0 - g * g) / (1.0 + g * g - 2.0 * g * cosine).powf(1.5);
        let sum: f64 = (0..count)
            .map(|m| {
                let (a, b) = (associated_row(m, mu, count), associated_row(m, mu0, count));
                let p: f64 = (m..count).map(|l| (2 * l + 1) as f64 * g.powi(l as i32) * a[l] * b[l]).sum();
                let twice = if m == 0 { 1.0 } else { 2.0 };
                twice * p * (m as f64 * dphi).cos()
            })
            .sum();
        assert!((sum - exact).abs() < ROUNDING, "{sum} against {exact}");
    }

    #[test]
    fn mode_zero_is_the_azimuth_average_and_thin_layers_scatter_once() {
        /// Of the kernel: second-order scattering in a layer of optical thickness 1e-5.
        const ONCE: f64 = 1e-4;
        let places = [0.15, 0.5, 0.9];
        let layer = optics(0.9, 0.6);
        let found = AzimuthTable::new(12, 3, &places).modes(&layer, 1e-5, 3);
        let nodes = Quadrature::new(12, &[]);
        for (f, &mu) in places.iter().enumerate() {
            for (i, &mu0) in nodes.cosines().iter().enumerate().skip(2) {
                // By direct integration of the phase function over azimuth.
                for m in 0..3usize {
                    let steps = 720;
                    let p: f64 = (0..steps)
                        .map(|s| {
                            let phi = 2.0 * PI * (f64::from(s) + 0.5) / f64::from(steps);
                            let c = mu * mu0 + ((1.0 - mu * mu) * (1.0 - mu0 * mu0)).sqrt() * phi.cos();
                            (1.0 - 0.36) / (1.36 - 1.2 * c).powf(1.5) * (m as f64 * phi).cos()
                        })
                        .sum::<f64>()
                        / f64::from(steps);
                    let expected = 0.25 * 0.9 * p * 1e-5 / (mu * mu0);
                    let error = (found[m][(i, f)] - expected).abs() / found[0][(i, f)].abs();
                    assert!(error < ONCE, "m {m}, mu {mu}, mu0 {mu0}: {error:e}");
                }
            }
        }
    }
}
