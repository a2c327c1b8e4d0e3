//! The spots of one stack at many wavelengths: transport plus forward scattering, in parallel.
//!
//! # Model
//! Between wavelengths only the albedo of the cloths changes (extinction by fibres is a matter of geometry: 20 um
//! against 0.5 um). Every distinct stack is solved at every frequency; the forward-scattering excess of a layer depends on
//! that layer's own albedo smoothly, so it is computed at a few albedos and interpolated in sqrt(1 - albedo).
//!
//! Two extremes are caught here: cloth so dense that the transport would see only its own rounding (`dense`), and cloth that
//! scatters so sharply forwards that its spot has structure finer than the gap would let through.
//!
//! # Source
//! [`super::transport`], [`super::forward`]; nodes of the interpolation: Chebyshev points (Trefethen, Approximation
//! Theory and Approximation Practice, 2013; from memory).

use super::dense;
use super::forward::{Chains, LayerScattering, Ways};
use super::quadrature::Interpolation;
use super::spread::{SpotSpectrum, frequency_knots};
use super::transport::{SourceKernel, Transport};
use super::{Layer, Optics, Stack};
use crate::light::kernels::Kernel;
use crate::quantity::Millimetres;
use rayon::prelude::*;

/// Albedos at which a layer's scattering is computed when the albedo varies; 9 leave 5e-4 of the peak (tested on albedos
/// from 0.25 to 0.999).
const ALBEDOS: usize = 9;

/// The sideways wander changes little with the albedo: it is computed for every third stack and interpolated along the
/// list, whose neighbours are taken to be neighbours in wavelength (error tested together with [`ALBEDOS`]).
const ANCHORS: usize = 3;

/// Asymmetry above which a cloth shows a sharp image of the source that falls off more slowly than the gap says; for fibres
/// it is 0.6 to 0.8.
const SHARP: f64 = 0.8;
/// Such an image is followed to `k = 45 / height`, as far as the directions of [`super::forward`] resolve it; this is the
/// gap that has its last knot there.
const FINEST_IMAGE: f64 = 0.41;
/// Share of the transform's height that may be left at its last knot: rings stay below 1e-3 of the peak.
const CUT: f64 = 1e-3;

/// The spots of stacks that share geometry, extinction, asymmetry and openness and differ in albedo alone, one a stack,
/// per unit flux of a point source with the beam `cos^m`.
///
/// An empty list, or stacks without layers, give spots that are zero everywhere.
#[must_use]
pub fn spots(stacks: &[Stack], beam_power: f64) -> Vec<SpotSpectrum> {
    let Some(first) = stacks.first() else { return Vec::new() };
    let (knots, decay) = knots(first);
    if first.layers.is_empty() {
        let dark = SpotSpectrum::new(knots.clone(), vec![0.0; knots.len()]);
        return vec![dark; stacks.len()];
    }
    // Made before the parallel part, which needs them at once on every thread.
    let (_, _) = (Kernel::isotropic(), Kernel::lambertian());
    let source = SourceKernel::of_beam(beam_power);

    let (distinct, which) = distinct(stacks);
    let transports: Vec<Transport> =
        distinct.iter().map(|stack| Transport::new(&stack.reduced(), beam_power, source.clone())).collect();
    let forward = first
        .layers
        .iter()
        .any(|l| l.optics.asymmetry != 0.0)
        .then(|| Forward::new(&distinct, &transports, beam_power, &source));
    let by_frequency: Vec<Vec<f64>> = knots
        .par_iter()
        .map(|&k| {
            let answers: Vec<_> = transports.iter().map(|t| t.solve_both(k)).collect();
            let mut radiance: Vec<f64> = answers.iter().map(|(with_board, _)| with_board.radiance).collect();
            if let Some(forward) = &forward {
                let without: Vec<f64> = answers.iter().map(|(_, without)| without.radiance).collect();
                for (sum, value) in radiance.iter_mut().zip(forward.corrections(k, &without)) {
                    *sum += value;
                }
            }
            radiance
        })
        .collect();
    let solved: Vec<SpotSpectrum> = distinct
        .par_iter()
        .enumerate()
        .map(|(s, stack)| {
            let values: Vec<f64> = by_frequency.iter().map(|radiance| radiance[s]).collect();
            let mut values = dense::spectrum(stack, beam_power, values[0], &knots).unwrap_or(values);
            if sharpest_image(stack).is_some() {
                soften(&knots, &mut values);
            }
            SpotSpectrum::with_decay(knots.clone(), &values, decay)
        })
        .collect();
    which.into_iter().map(|i| solved[i].clone()).collect()
}

/// Knots of the spots' transform and the length in mm with which it falls off.
fn knots(stack: &Stack) -> (Vec<f64>, f64) {
    let gap = stack.layers.first().map_or(1.0, |l| l.gap_below.0);
    let height = stack.height().0;
    match sharpest_image(stack) {
        None => (frequency_knots(gap, height), gap),
        Some(image) => (frequency_knots(gap.min(FINEST_IMAGE * height), height), image),
    }
}

/// The length in mm with which the transform falls off where a cloth scatters so sharply forwards that it shows an image
/// of the source sharper than the gap alone would; `None` for all usual cloth.
///
/// At small angles the Henyey-Greenstein law goes as `(a^2 + theta^2)^-1.5` with `a = (1 - g) / sqrt(g)`, whose transform is
/// `exp(-a k H)` (Gradshteyn & Ryzhik 6.554.4, number from memory).
fn sharpest_image(stack: &Stack) -> Option<f64> {
    let gap = stack.layers.first()?.gap_below.0;
    stack
        .layers
        .iter()
        .zip(stack.bottoms())
        .filter(|(layer, _)| layer.optics.asymmetry > SHARP)
        .map(|(layer, bottom)| {
            let g = layer.optics.asymmetry;
            (bottom.0 + 0.5 * layer.thickness.0) * (1.0 - g) / g.sqrt()
        })
        .min_by(f64::total_cmp)
        .filter(|&image| image < gap)
}

/// Where the transform has not fallen off by its last knot, it is seen through the narrowest Gaussian that makes it: a
/// spot somewhat too wide instead of one with rings.
fn soften(knots: &[f64], values: &mut [f64]) {
    let (Some(&end), Some(&last)) = (knots.last(), values.last()) else { return };
    let left = last.abs() / (CUT * values[0]);
    if left > 1.0 && left.is_finite() {
        let exponent = left.ln() / (end * end);
        values.iter_mut().zip(knots).for_each(|(v, k)| *v *= (-exponent * k * k).exp());
    }
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

/// A layer thicker than this share of the height of its middle is cut into slices for the chains, which place scattering on
/// middle planes. Measured against photons: 15 mm of wadding 2 mm away errs by 1 % of the peak in slices and by 9 % whole.
const SLICE: f64 = 0.6;
/// Slices of a layer at most; six are no better than four and take twice the time.
const MOST_SLICES: usize = 4;

/// The stack with closed layers that are thick against their height cut into slices.
fn split(stack: &Stack) -> Stack {
    let mut layers = Vec::new();
    for (layer, bottom) in stack.layers.iter().zip(stack.bottoms()) {
        let middle = bottom.0 + 0.5 * layer.thickness.0;
        let slices = if layer.optics.openness > 0.0 || layer.optics.asymmetry == 0.0 {
            1
        } else {
            ((layer.thickness.0 / (SLICE * middle)).ceil() as usize).clamp(1, MOST_SLICES)
        };
        for slice in 0..slices {
            layers.push(Layer {
                gap_below: if slice == 0 { layer.gap_below } else { Millimetres(0.0) },
                thickness: layer.thickness * (1.0 / slices as f64),
                optics: layer.optics,
            });
        }
    }
    Stack { board_reflectance: stack.board_reflectance, layers }
}

/// Heights of the middles and the chains of stacks that differ in albedo alone.
fn chains(stacks: &[&Stack], beam_power: f64) -> (Vec<f64>, Vec<Chains>) {
    let first = stacks[0];
    let heights = first.bottoms().iter().zip(&first.layers).map(|(b, l)| b.0 + 0.5 * l.thickness.0).collect();
    let by_layer: Vec<Vec<LayerScattering>> =
        (0..first.layers.len()).into_par_iter().map(|layer| scatterings(stacks, layer)).collect();
    let chains = stacks
        .par_iter()
        .enumerate()
        .map(|(s, stack)| {
            let layers: Vec<&LayerScattering> =
                by_layer.iter().map(|layer| &layer[s % layer.len()]).collect();
            Chains::new(stack, &layers, beam_power)
        })
        .collect();
    (heights, chains)
}

/// What the forward-scattering correction needs at every frequency.
struct Forward {
    /// What the chains of slices lack in total, over the radiance without board.
    whole: Vec<f64>,
    heights: Vec<f64>,
    chains: Vec<Chains>,
    /// Every [`ANCHORS`]th stack and the last, squeezed flat.
    anchors: Vec<(usize, Transport)>,
}

impl Forward {
    fn new(stacks: &[&Stack], transports: &[Transport], beam_power: f64, source: &SourceKernel) -> Forward {
        let split: Vec<Stack> = stacks.iter().map(|stack| split(stack)).collect();
        let fine: Vec<&Stack> = split.iter().collect();
        let (heights, chains) = chains(&fine, beam_power);
        // Slices scatter light to and fro, which a chain of them leaves out; the whole layers' chain knows the total.
        let whole: Vec<f64> = if fine[0].layers.len() == stacks[0].layers.len() {
            vec![0.0; stacks.len()]
        } else {
            let (whole_heights, whole_chains) = self::chains(stacks, beam_power);
            let (whole_ways, ways) = (Ways::new(&whole_heights, 0.0), Ways::new(&heights, 0.0));
            whole_chains
                .iter()
                .zip(&chains)
                .zip(transports)
                .map(|((whole, fine), transport)| {
                    let total = transport.solve_both(0.0).1.radiance;
                    if total > 0.0 { (whole.excess(&whole_ways) - fine.excess(&ways)) / total } else { 0.0 }
                })
                .collect()
        };
        let last = stacks.len() - 1;
        let anchors = (0..last)
            .step_by(ANCHORS)
            .chain([last])
            .map(|i| {
                let reduced = Stack { board_reflectance: 0.0, ..fine[i].reduced() };
                (i, Transport::new(&reduced, beam_power, source.clone()).squeezed())
            })
            .collect();
        Forward { heights, chains, whole, anchors }
    }

    /// The correction for each stack at `k`, given the radiances without board.
    fn corrections(&self, k: f64, without: &[f64]) -> Vec<f64> {
        let ways = Ways::new(&self.heights, k);
        let wander: Vec<(usize, f64)> = self
            .anchors
            .iter()
            .map(|(i, flat)| {
                let squeezed = flat.solve_both(k).1.radiance;
                (*i, if squeezed > 0.0 { (without[*i] / squeezed).clamp(0.0, 1.0) } else { 0.0 })
            })
            .collect();
        self.chains
            .iter()
            .enumerate()
            .map(|(s, chains)| {
                let after = wander.partition_point(|&(i, _)| i < s);
                let (right, high) = wander[after];
                let (left, low) = wander[after.saturating_sub(1)];
                let share = if right > left { (s - left) as f64 / (right - left) as f64 } else { 1.0 };
                (low + (high - low) * share) * chains.excess(&ways) + self.whole[s] * without[s]
            })
            .collect()
    }
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
