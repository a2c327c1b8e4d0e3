//! Light from any direction scattered towards a viewer to the side, azimuth included.
//!
//! **Model.** As [`super::AzimuthTable`], with the viewer's direction as one more node that takes no part in the integrals. Light
//! that is scattered once is held in closed form with the true phase function (as in [`super::ForwardRow`]), whose azimuth modes
//!
//! ```text
//! p_m(mu) = 1/(2 pi) int p(mu mu_v + sqrt(1 - mu^2) sqrt(1 - mu_v^2) cos(phi)) cos(m phi) dphi
//! ```
//!
//! are sums over evenly spaced azimuths; only what is scattered twice and more, which is smooth, comes from the doubling.
//!
//! **Validity.** Modes of odd number go as the sine near the normal: they are interpolated divided by it.
//!
//! **Source.** As [`super::AzimuthTable`] and [`super::ForwardRow`].

use super::Quadrature;
use super::doubling::{Phase, Scaled, moment, single_transmission, with_phase};
use super::modes::associated_row;
use crate::light::Optics;
use crate::light::phase::henyey_greenstein;
use crate::light::quadrature::Interpolation;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::PI;

/// Azimuths over a turn at which the phase function is sampled. Its modes fall off at least like exp(-0.25 m) for asymmetries
/// up to 0.8 and viewers up to 75 degrees, so that aliases lie below 1e-10.
const AZIMUTHS: usize = 128;

/// What every layer has in common for one viewer's direction.
#[derive(Clone, Debug)]
pub struct TowardsTable {
    quadrature: Quadrature,
    /// Cosine of the viewer's direction.
    towards: f64,
    /// By mode: normalised Legendre functions at each node and at last at the viewer (row) for each degree.
    at_nodes: Vec<DMatrix<f64>>,
    /// By mode: the same at each place.
    at_places: Vec<DMatrix<f64>>,
    places: Vec<f64>,
    /// Basis polynomials of the nodes at each place (node by place), for even and for odd modes.
    bases: [DMatrix<f64>; 2],
}

/// How one layer scatters what arrives from each place.
#[derive(Clone, Debug)]
pub struct Towards {
    /// By mode: scattered radiance towards the viewer per irradiance from each place, in 1/sr. The radiance at the azimuth phi
    /// from the viewer is the sum over modes m of `(2 - [m = 0]) f_m cos(m phi)`.
    pub towards: Vec<Vec<f64>>,
    /// By mode: kernel T_m of the scattered transmission from each place (column) to each Gauss node (row); see
    /// [`TowardsTable::spread`].
    pub sideways: Vec<DMatrix<f64>>,
}

impl TowardsTable {
    /// For `n` Gauss nodes, modes 0 to `modes - 1` of what is scattered more than once, a viewer at the cosine `towards` and the
    /// cosines `places`, all cosines above 0 and up to 1.
    ///
    /// # Panics
    /// When the viewer's cosine lies outside that range.
    #[must_use]
    pub fn new(n: usize, modes: usize, towards: f64, places: &[f64]) -> TowardsTable {
        let quadrature = Quadrature::new(n, &[towards]);
        let table = |m: usize, cosines: &[f64]| {
            let rows: Vec<f64> = cosines.iter().flat_map(|&x| associated_row(m, x, 2 * n)).collect();
            DMatrix::from_row_slice(cosines.len(), 2 * n, &rows)
        };
        let nodes = &quadrature.cosines()[..n];
        let interpolation = Interpolation::from_nodes(nodes);
        let columns: Vec<f64> = places.iter().flat_map(|&mu| interpolation.basis(mu)).collect();
        let even = DMatrix::from_column_slice(n, places.len(), &columns);
        let sine = |mu: f64| (1.0 - mu * mu).max(0.0).sqrt();
        let odd = DMatrix::from_fn(n, places.len(), |i, f| even[(i, f)] * sine(places[f]) / sine(nodes[i]));
        TowardsTable {
            at_nodes: (0..modes).map(|m| table(m, quadrature.cosines())).collect(),
            at_places: (0..modes).map(|m| table(m, places)).collect(),
            towards,
            places: places.to_vec(),
            bases: [even, odd],
            quadrature,
        }
    }

    /// The covered part of a layer: modes 0 to `modes - 1` towards the viewer, and modes 0 to `sideways - 1` (at most as many as
    /// the table has) to all places.
    #[must_use]
    pub fn of(&self, optics: &Optics, tau: f64, modes: usize, sideways: usize) -> Towards {
        let n = self.quadrature.gauss();
        let nodes = self.quadrature.cosines();
        let viewer = self.quadrature.extra(0);
        let scaled = Scaled::new(optics, tau, n);
        let moments: Vec<f64> = (0..2 * n).map(|l| moment(l, optics.asymmetry, scaled.peak)).collect();
        let mut found = Towards { towards: self.once(optics, &scaled, modes), sideways: Vec::new() };
        let multiple_modes = if optics.asymmetry == 0.0 { 1 } else { self.at_nodes.len() };
        for m in 0..multiple_modes.min(modes.max(sideways)) {
            let (at_nodes, at_places, basis) = (&self.at_nodes[m], &self.at_places[m], &self.bases[m % 2]);
            let weighted = |sign: f64| {
                DMatrix::from_fn(n + 1, 2 * n, |i, l| {
                    let factor = if l > m && (l - m) % 2 == 1 { sign } else { 1.0 };
                    factor * moments[l] * at_nodes[(i, l)]
                })
            };
            let (ahead, back) = (weighted(1.0), weighted(-1.0));
            let phase =
                Phase { forward: &ahead * at_nodes.transpose(), backward: back * at_nodes.transpose() };
            let once = |p: f64, mu: f64, mu0: f64| single_transmission(scaled.albedo, p, scaled.tau, mu, mu0);
            let covered = with_phase(scaled, &phase, &self.quadrature);
            let multiple = DMatrix::from_fn(n + 1, n, |i, j| {
                covered.t[(i, j)] - once(phase.forward[(i, j)], nodes[i], nodes[j])
            });
            if let Some(row) = found.towards.get_mut(m) {
                let more = multiple.row(viewer) * basis;
                row.iter_mut().zip(more.iter()).for_each(|(sum, value)| *sum += value / PI);
            }
            if m < sideways {
                let mut kernel = multiple.rows(0, n) * basis;
                let phase_at_places = ahead.rows(0, n) * at_places.transpose();
                for (f, &mu) in self.places.iter().enumerate() {
                    for i in 0..n {
                        kernel[(i, f)] += once(phase_at_places[(i, f)], nodes[i], mu);
                    }
                }
                found.sideways.push(kernel);
            }
        }
        found
    }

    /// The values of mode `m` at the places, given those at the nodes.
    #[must_use]
    pub fn spread(&self, m: usize, nodes: &DVector<f64>) -> DVector<f64> {
        self.bases[m % 2].tr_mul(nodes)
    }

    /// What is scattered once towards the viewer, by mode.
    fn once(&self, optics: &Optics, scaled: &Scaled, modes: usize) -> Vec<Vec<f64>> {
        let albedo = optics.albedo / (1.0 - optics.albedo * scaled.peak);
        let sine = |mu: f64| (1.0 - mu * mu).max(0.0).sqrt();
        let cosines: Vec<f64> =
            (0..AZIMUTHS).map(|i| (2.0 * PI * i as f64 / AZIMUTHS as f64).cos()).collect();
        let mut found = vec![vec![0.0; self.places.len()]; modes];
        for (f, &mu) in self.places.iter().enumerate() {
            let (level, across) = (mu * self.towards, sine(mu) * sine(self.towards));
            let phase: Vec<f64> =
                cosines.iter().map(|c| henyey_greenstein(optics.asymmetry, level + across * c)).collect();
            for (m, row) in found.iter_mut().enumerate() {
                let turned = (0..AZIMUTHS).map(|i| phase[i] * cosines[m * i % AZIMUTHS]);
                let mode = turned.sum::<f64>() / AZIMUTHS as f64;
                row[f] = single_transmission(albedo, mode, scaled.tau, self.towards, mu) / PI;
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::sheet::forward_row;
    use crate::quantity::PerMillimetre;

    const PLACES: [f64; 4] = [0.2, 0.5, 0.83, 0.999];

    fn optics(albedo: f64, asymmetry: f64) -> Optics {
        Optics { extinction: PerMillimetre(1.0), albedo, asymmetry, openness: 0.0 }
    }

    #[test]
    fn straight_ahead_it_is_the_forward_row() {
        /// Of the value: interpolation of what is scattered more than once, there with the viewer's node and here without.
        const INTERPOLATED: f64 = 1e-5;
        let optics = optics(0.97, 0.7);
        let found = TowardsTable::new(16, 4, 1.0, &PLACES).of(&optics, 2.0, 4, 0).towards;
        let row = forward_row(&optics, 2.0, 16);
        for (f, &mu) in PLACES.iter().enumerate() {
            assert!((found[0][f] / row.at(mu) - 1.0).abs() < INTERPOLATED, "{mu}");
            assert!((1..4).all(|m| found[m][f].abs() < f64::EPSILON * found[0][f]), "{mu}");
        }
    }

    #[test]
    fn mode_zero_has_the_published_angular_values() {
        /// Half a unit of the fifth decimal, as printed, and 3e-6 for interpolation; straight through, where the value is above 1, five
        /// digits (`tests/slab.rs`).
        const PRINTED: f64 = 8e-6;
        const FIVE_DIGITS: f64 = 2e-5;
        // van de Hulst, Multiple Light Scattering (1980), table 35 (seen in a quotation): a = 0.9, tau = 2, g = 0.75, light along
        // the normal, scattered transmission by the cosine at which it leaves.
        for (mu, published) in
            [(0.1, 0.16486), (0.3, 0.22473), (0.5, 0.27785), (0.7, 0.36889), (0.9, 0.72155), (1.0, 2.40270)]
        {
            let table = TowardsTable::new(24, 1, mu, &[1.0]);
            let found = table.of(&optics(0.9, 0.75), 2.0, 1, 0).towards[0][0] * PI;
            let allowed = if published > 1.0 { FIVE_DIGITS } else { PRINTED };
            assert!((found - published).abs() < allowed, "{mu}: {found} {published}");
        }
    }

    #[test]
    fn modes_sum_to_single_scattering_in_a_thin_layer() {
        /// Of the value: second-order scattering in a layer of optical thickness 1e-5.
        const ONCE: f64 = 1e-4;
        let (g, towards, phi) = (0.65, 0.5f64, 0.7f64);
        let found = TowardsTable::new(16, 16, towards, &PLACES).of(&optics(0.9, g), 1e-5, 40, 0).towards;
        for (f, &mu) in PLACES.iter().enumerate() {
            let cosine = mu * towards + ((1.0 - mu * mu) * (1.0 - towards * towards)).sqrt() * phi.cos();
            let expected = 0.9 * henyey_greenstein(g, cosine) / (4.0 * PI) * 1e-5 / (mu * towards);
            let sum: f64 =
                (0..40).map(|m| if m == 0 { 1.0 } else { 2.0 } * found[m][f] * (m as f64 * phi).cos()).sum();
            assert!((sum / expected - 1.0).abs() < ONCE, "{mu}: {sum} {expected}");
        }
    }
}
