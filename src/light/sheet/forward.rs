//! Light from any direction scattered straight ahead.

use super::Quadrature;
use super::doubling::{self, Scaled, single_transmission};
use crate::light::Optics;
use crate::light::phase::henyey_greenstein;
use crate::light::quadrature::Interpolation;
use std::f64::consts::PI;

/// What a layer scatters straight ahead, as a function of the direction the light arrives from.
///
/// Single scattering is held in closed form with the true phase function; only what is left, twice scattered and
/// more, is interpolated, which is smooth. This is the correction of the truncated phase function known as TMS:
/// Nakajima & Tanaka, Journal of Quantitative Spectroscopy and Radiative Transfer 40 (1988) 51 (from memory).
#[derive(Clone, Debug)]
pub struct ForwardRow {
    interpolation: Interpolation,
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
    let nodes = quadrature.cosines();
    let multiple = nodes
        .iter()
        .enumerate()
        .map(|(j, &mu)| {
            let once = single_transmission(scaled.albedo, phase.forward[(ahead, j)], scaled.tau, 1.0, mu);
            covered.t[(ahead, j)] - once
        })
        .collect();
    ForwardRow {
        interpolation: Interpolation::from_nodes(nodes),
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
        (self.once(mu) + self.interpolation.value(&self.multiple, mu)) / PI
    }

    fn once(&self, mu: f64) -> f64 {
        if mu <= 0.0 {
            return 0.25 * self.albedo * henyey_greenstein(self.asymmetry, 0.0) * (-self.tau).exp();
        }
        single_transmission(self.albedo, henyey_greenstein(self.asymmetry, mu), self.tau, 1.0, mu)
    }
}
