//! What one layer does to light of each direction: all that needs no moments.

use super::basis::DEGREES;
use super::rays::{Rays, table};
use super::slab::Slab;
use crate::light::forward::{ANGLES, Directions};
use crate::light::phase::henyey_greenstein;
use crate::light::sheet::{Quadrature, Sheet, forward_row};
use crate::light::{Layer, Optics};
use std::f64::consts::PI;

/// What one layer does to light of each direction beside its moments.
pub(super) struct Rows {
    /// By depth, by direction: scattered once.
    once: Vec<Vec<f64>>,
    /// By degree, by direction: what the moments lack.
    pub(super) lacking: Vec<Vec<f64>>,
    /// By direction: everything, from adding-doubling.
    pub(super) ahead: Vec<f64>,
    /// By depth: where the lacking light is laid.
    laid: Vec<f64>,
    /// Cosine, flux weight and share thrown back of light that falls on the layer.
    thrown_back: Vec<[f64; 3]>,
}

impl Rows {
    pub(super) fn new(layer: &Layer, slabs: &[Slab], depths: &[f64], weights: &[f64]) -> Rows {
        let directions = Directions::get();
        let Optics { albedo, asymmetry, extinction, .. } = layer.optics;
        let (extinction, thickness) = (extinction.0, layer.thickness.0);
        let once: Vec<Vec<f64>> = depths
            .iter()
            .map(|s| {
                let strength = albedo * extinction * (-extinction * s).exp() / (4.0 * PI);
                directions.cosines.iter().map(|&mu| strength * henyey_greenstein(asymmetry, mu)).collect()
            })
            .collect();
        let row = forward_row(&layer.optics, layer.optical_thickness(), ANGLES);
        let ahead: Vec<f64> = directions.cosines.iter().map(|&mu| row.at(mu)).collect();
        let lacking = slabs
            .iter()
            .zip(DEGREES)
            .map(|(slab, degree)| {
                let sources = slab.sources(0.0, depths);
                let mut lacking = ahead.clone();
                for (f, (lacking, mu)) in lacking.iter_mut().zip(&directions.cosines).enumerate() {
                    for (z, weight) in weights.iter().enumerate() {
                        let arriving = weight / mu * (-extinction * (thickness - depths[z]) / mu).exp();
                        let more: f64 =
                            (0..=degree).map(|l| sources[(l, z)] * table()[0][l][f] / (2.0 * PI)).sum();
                        *lacking -= arriving * (once[z][f] + more);
                    }
                }
                lacking
            })
            .collect();
        let laid = depths
            .iter()
            .zip(weights)
            .map(|(s, weight)| {
                let x = s / thickness;
                6.0 * x * (1.0 - x) * weight / thickness
            })
            .collect();
        let quadrature = Quadrature::new(ANGLES, &[]);
        let sheet = Sheet::of_layer(&layer.optics, layer.optical_thickness(), &quadrature);
        let weights = quadrature.flux_weights();
        let thrown_back = (0..quadrature.len())
            .map(|j| {
                let share = weights.iter().enumerate().map(|(i, w)| w * sheet.r[(i, j)]).sum();
                [quadrature.cosines()[j], weights[j], share]
            })
            .collect();
        Rows { once, lacking, ahead, laid, thrown_back }
    }

    /// Share of the flux of a source `cos^m` that the layer throws back.
    pub(super) fn thrown_back(&self, power: f64) -> f64 {
        let beam =
            |[mu, weight, share]: &[f64; 3]| 0.5 * (power + 1.0) * mu.powf(power - 1.0) * weight * share;
        self.thrown_back.iter().map(beam).sum()
    }

    /// By degree, by depth, by direction, for light that arrives on these rays.
    pub(super) fn of(&self, rays: &Rays) -> Vec<Vec<Vec<f64>>> {
        let at_depth = |lacking: &[f64], z: usize| -> Vec<f64> {
            let light = rays.arriving[z].iter().zip(&rays.falling);
            let scattered = self.once[z].iter().zip(lacking);
            light.zip(scattered).map(|((a, f), (once, lack))| a * once + self.laid[z] * f * lack).collect()
        };
        self.lacking
            .iter()
            .map(|lacking| (0..self.laid.len()).map(|z| at_depth(lacking, z)).collect())
            .collect()
    }
}
