//! The spots of one stack at many wavelengths: transport plus forward scattering, in parallel.
//!
//! # Model
//! Between wavelengths only the albedo of the cloths changes (extinction by fibres is a matter of geometry: 20 um
//! against 0.5 um). Every distinct stack is solved at every frequency; the forward-scattering excess of a layer depends on
//! that layer's own albedo smoothly, so it is computed at a few albedos and interpolated in sqrt(1 - albedo).
//!
//! # Source
//! [`super::transport`], [`super::forward`]; nodes of the interpolation: Chebyshev points (Trefethen, Approximation
//! Theory and Approximation Practice, 2013; from memory).

use super::forward::{LayerScattering, Ways, excess, reduce};
use super::quadrature::Interpolation;
use super::spread::{SpotSpectrum, frequency_knots};
use super::transport::{SourceKernel, Transport};
use super::{Layer, Optics, Stack};
use crate::light::kernels::Kernel;
use rayon::prelude::*;

/// Albedos at which a layer's excess is computed when the albedo varies; 7 leave 5e-4 of the peak for albedos from 0.6 to 1 (tested).
const ALBEDOS: usize = 7;

/// The spots of stacks that share geometry, extinction, asymmetry and openness and differ in albedo alone, one a stack,
/// per unit flux of a point source with the beam `cos^m`.
///
/// An empty list, or stacks without layers, give spots that are zero everywhere.
#[must_use]
pub fn spots(stacks: &[Stack], beam_power: f64) -> Vec<SpotSpectrum> {
    let Some(first) = stacks.first() else { return Vec::new() };
    let gap = first.layers.first().map_or(1.0, |l| l.gap_below.0);
    let knots = frequency_knots(gap, first.height().0);
    if first.layers.is_empty() {
        let dark = SpotSpectrum::new(knots.clone(), vec![0.0; knots.len()]);
        return vec![dark; stacks.len()];
    }
    // Made before the parallel part, which needs them at once on every thread.
    let (_, _) = (Kernel::isotropic(), Kernel::lambertian());
    let source = SourceKernel::of_beam(beam_power);

    let (distinct, which) = distinct(stacks);
    let transports: Vec<Transport> = distinct
        .iter()
        .map(|stack| {
            let reduced = Stack {
                board_reflectance: stack.board_reflectance,
                layers: stack.layers.iter().copied().map(reduce).collect(),
            };
            Transport::new(&reduced, beam_power, source.clone())
        })
        .collect();
    let n = knots.len();
    let mut radiance: Vec<f64> = (0..n * distinct.len())
        .into_par_iter()
        .map(|i| transports[i / n].solve(knots[i % n]).radiance)
        .collect();

    if first.layers.iter().any(|l| l.optics.asymmetry != 0.0) {
        for (sum, value) in radiance.iter_mut().zip(corrections(&distinct, beam_power, &source, &knots)) {
            *sum += value;
        }
    }
    let solved: Vec<SpotSpectrum> =
        radiance.chunks(n).map(|values| SpotSpectrum::with_decay(knots.clone(), values, gap)).collect();
    which.into_iter().map(|i| solved[i].clone()).collect()
}

/// The distinct stacks, and for each stack of the list which of them it is.
fn distinct(stacks: &[Stack]) -> (Vec<&Stack>, Vec<usize>) {
    let mut distinct: Vec<&Stack> = Vec::new();
    let which = stacks
        .iter()
        .map(|stack| {
            distinct.iter().position(|known| *known == stack).unwrap_or_else(|| {
                distinct.push(stack);
                distinct.len() - 1
            })
        })
        .collect();
    (distinct, which)
}

/// The forward-scattering correction, frequency by frequency for each stack.
fn corrections(stacks: &[&Stack], beam_power: f64, source: &SourceKernel, knots: &[f64]) -> Vec<f64> {
    let layers = stacks[0].layers.len();
    let bottoms = stacks[0].bottoms();
    let heights: Vec<f64> =
        bottoms.iter().zip(&stacks[0].layers).map(|(b, l)| b.0 + 0.5 * l.thickness.0).collect();
    let by_layer: Vec<Vec<LayerScattering>> =
        (0..layers).into_par_iter().map(|layer| scatterings(stacks, layer)).collect();
    let scattering: Vec<Vec<LayerScattering>> = (0..stacks.len())
        .map(|s| by_layer.iter().map(|layer| layer[s % layer.len()].clone()).collect())
        .collect();
    let closed: Vec<(Transport, Transport)> = stacks
        .iter()
        .map(|stack| {
            let reduced =
                Stack { board_reflectance: 0.0, layers: stack.layers.iter().copied().map(reduce).collect() };
            let thick = Transport::new(&reduced, beam_power, source.clone());
            let flat = thick.squeezed();
            (thick, flat)
        })
        .collect();
    let by_frequency: Vec<Vec<f64>> = knots
        .par_iter()
        .map(|&k| {
            let ways = Ways::new(&heights, k);
            stacks
                .iter()
                .zip(&scattering)
                .zip(&closed)
                .map(|((stack, scattering), (thick, flat))| {
                    let squeezed = flat.solve(k).radiance;
                    let wander =
                        if squeezed > 0.0 { (thick.solve(k).radiance / squeezed).min(1.0) } else { 0.0 };
                    wander * excess(stack, scattering, &ways, beam_power)
                })
                .collect()
        })
        .collect();
    (0..stacks.len()).flat_map(|s| by_frequency.iter().map(move |values| values[s])).collect()
}

/// How one layer scatters in each of the stacks; a single entry when it is the same in all.
fn scatterings(stacks: &[&Stack], layer: usize) -> Vec<LayerScattering> {
    let placed = stacks[0].layers[layer];
    let outermost = layer + 1 == stacks[0].layers.len();
    let at = |albedo: f64| {
        LayerScattering::new(&Layer { optics: Optics { albedo, ..placed.optics }, ..placed }, outermost)
    };
    let roots: Vec<f64> =
        stacks.iter().map(|s| (1.0 - s.layers[layer].optics.albedo).max(0.0).sqrt()).collect();
    let (low, high) = roots.iter().fold((f64::INFINITY, 0.0f64), |(l, h), &r| (l.min(r), h.max(r)));
    let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
    if half == 0.0 {
        return vec![at(placed.optics.albedo)];
    }
    if stacks.len() <= ALBEDOS {
        return stacks.par_iter().map(|s| at(s.layers[layer].optics.albedo)).collect();
    }
    let nodes: Vec<f64> = (0..ALBEDOS)
        .map(|i| middle + half * (std::f64::consts::PI * (i as f64 + 0.5) / ALBEDOS as f64).cos())
        .collect();
    let parts: Vec<LayerScattering> = nodes.par_iter().map(|r| at(1.0 - r * r)).collect();
    let interpolation = Interpolation::from_nodes(&nodes);
    roots.par_iter().map(|&root| LayerScattering::mixed(&parts, &interpolation.basis(root))).collect()
}
