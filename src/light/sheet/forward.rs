//! Light from any direction scattered straight ahead.

use super::Quadrature;
use super::doubling::{self, Scaled, single_transmission};
use crate::light::Optics;
use std::f64::consts::PI;

/// What a layer scatters straight ahead, as a function of the direction the light arrives from.
///
/// Single scattering is held in closed form with the true phase function; only what is left, twice scattered and
/// more, is interpolated, which is smooth. This is the correction of the truncated phase function known as TMS:
/// Nakajima & Tanaka, Journal of Quantitative Spectroscopy and Radiative Transfer 40 (1988) 51 (from memory).
#[derive(Clone, Debug)]
pub struct ForwardRow {
    nodes: Vec<f64>,
    barycentric: Vec<f64>,
    multiple: Vec<f64>,
    albedo: f64,
    asymmetry: f64,
    tau: f64,
}

/// Row for the covered part of a layer (the openness is not looked at), with `n` Gauss nodes per hemisphere.
#[must_use]
pub fn forward_row(optics: &Optics, tau: f64, n: usize) -> ForwardRow {
    let quadrature = Quadrature::new(n, &[1.0]);
    let scaled = Scaled::new(optics, tau, n);
    let ahead = quadrature.extra(0);
    let covered = doubling::layer(optics, tau, &quadrature);
    let phase = doubling::Phase::new(optics.asymmetry, scaled.peak, &quadrature);
    let nodes = quadrature.cosines().to_vec();
    let multiple = nodes
        .iter()
        .enumerate()
        .map(|(j, &mu)| {
            let once = single_transmission(scaled.albedo, phase.forward[(ahead, j)], scaled.tau, 1.0, mu);
            covered.t[(ahead, j)] - once
        })
        .collect();
    ForwardRow {
        barycentric: barycentric_weights(&nodes),
        nodes,
        multiple,
        albedo: optics.albedo / (1.0 - optics.albedo * scaled.peak),
        asymmetry: optics.asymmetry,
        tau: scaled.tau,
    }
}

impl ForwardRow {
    /// Scattered radiance leaving straight ahead per irradiance (on the face) of light arriving at the cosine
    /// `mu`, in 1/sr. Unscattered light is not in it. Outside 0 to 1 the cosine is clipped.
    #[must_use]
    pub fn at(&self, mu: f64) -> f64 {
        let mu = mu.clamp(0.0, 1.0);
        (self.once(mu) + self.interpolated(mu)) / PI
    }

    fn once(&self, mu: f64) -> f64 {
        if mu <= 0.0 {
            return 0.25 * self.albedo * henyey_greenstein(self.asymmetry, 0.0) * (-self.tau).exp();
        }
        single_transmission(self.albedo, henyey_greenstein(self.asymmetry, mu), self.tau, 1.0, mu)
    }

    fn interpolated(&self, mu: f64) -> f64 {
        let (mut above, mut below) = (0.0, 0.0);
        for ((node, weight), value) in self.nodes.iter().zip(&self.barycentric).zip(&self.multiple) {
            let apart = mu - node;
            if apart == 0.0 {
                return *value;
            }
            let share = weight / apart;
            above += share * value;
            below += share;
        }
        above / below
    }
}

/// Henyey & Greenstein (1941), normalised to a mean of 1 over the sphere.
fn henyey_greenstein(g: f64, cosine: f64) -> f64 {
    (1.0 - g * g) / (1.0 + g * g - 2.0 * g * cosine).powf(1.5)
}

/// Weights of the barycentric formula; Berrut & Trefethen, SIAM Review 46 (2004) 501.
fn barycentric_weights(nodes: &[f64]) -> Vec<f64> {
    // The factor 4 is one over the capacity of the interval (0, 1): it keeps the products near 1.
    let capacity = 4.0;
    nodes
        .iter()
        .enumerate()
        .map(|(j, x)| {
            let product: f64 =
                nodes.iter().enumerate().filter(|&(k, _)| k != j).map(|(_, y)| capacity * (x - y)).product();
            1.0 / product
        })
        .collect()
}
