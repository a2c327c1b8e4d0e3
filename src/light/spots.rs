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

use super::forward::{ExcessPlane, OwnPart, excess, reduce};
use super::quadrature::Interpolation;
use super::spread::{SpotSpectrum, frequency_knots};
use super::transport::{SourceKernel, Transport};
use super::{Layer, Optics, Stack};
use crate::light::kernels::Kernel;
use rayon::prelude::*;

/// Albedos at which a layer's excess is computed when the albedo varies; 5 leave 1e-4 of the peak (tested).
const ALBEDOS: usize = 5;

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

    let corrections: Vec<Vec<f64>> = (0..first.layers.len())
        .into_par_iter()
        .filter(|&layer| first.layers[layer].optics.asymmetry != 0.0)
        .flat_map_iter(|layer| layer_excess(&distinct, layer, beam_power, &source, &knots))
        .collect();
    for correction in corrections.chunks(distinct.len()) {
        for (stack, values) in correction.iter().enumerate() {
            for (sum, value) in radiance[stack * n..(stack + 1) * n].iter_mut().zip(values) {
                *sum += value;
            }
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

/// The excess of one layer for each of the stacks.
fn layer_excess(
    stacks: &[&Stack],
    layer: usize,
    beam_power: f64,
    source: &SourceKernel,
    knots: &[f64],
) -> Vec<Vec<f64>> {
    let placed = stacks[0].layers[layer];
    let bottom = stacks[0].bottoms()[layer].0;
    let plane = ExcessPlane::new(bottom + 0.5 * placed.thickness.0, beam_power, knots);
    let own = |albedo: f64| {
        let optics = Optics { albedo, ..placed.optics };
        OwnPart::new(&Layer { optics, ..placed }, bottom, &plane, beam_power, source, knots)
    };
    let roots: Vec<f64> =
        stacks.iter().map(|s| (1.0 - s.layers[layer].optics.albedo).max(0.0).sqrt()).collect();
    let (low, high) = roots.iter().fold((f64::INFINITY, 0.0f64), |(l, h), &r| (l.min(r), h.max(r)));
    let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
    let count = if half > 0.0 { ALBEDOS } else { 1 };
    let nodes: Vec<f64> = (0..count)
        .map(|i| middle + half * (std::f64::consts::PI * (i as f64 + 0.5) / count as f64).cos())
        .collect();
    let parts: Vec<OwnPart> = nodes.par_iter().map(|r| own(1.0 - r * r)).collect();
    let interpolation = Interpolation::from_nodes(&nodes);
    stacks
        .par_iter()
        .zip(&roots)
        .map(|(stack, &root)| {
            let weights = interpolation.basis(root);
            let mix = |field: fn(&OwnPart) -> &Vec<f64>| -> Vec<f64> {
                (0..field(&parts[0]).len())
                    .map(|i| parts.iter().zip(&weights).map(|(part, w)| w * field(part)[i]).sum())
                    .collect()
            };
            let part = OwnPart { difference: mix(|p| &p.difference), wander: mix(|p| &p.wander) };
            excess(stack, layer, &plane, &part)
        })
        .collect()
}
