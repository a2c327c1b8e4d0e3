//! What forward scattering adds to the spots of stacks that differ in albedo alone, by [`super::super::forward`].

use crate::light::forward::{Chains, LayerScattering, Ways};
use crate::light::quadrature::Interpolation;
use crate::light::response::{Nodes, Response};
use crate::light::transport::Transport;
use crate::light::{Layer, Optics, Stack};
use rayon::prelude::*;
use std::sync::Arc;

/// Albedos at which a layer's scattering is computed when the albedo varies, at most; 9 leave 5e-4 of the peak (tested on albedos
/// from 0.25 to 0.999).
const ALBEDOS: usize = 9;
/// Half the range of `sqrt(1 - albedo)` that so many albedos are made for. What they leave falls by this factor with each albedo, in
/// proportion to the range: narrower ranges need fewer.
const WIDEST_HALF: f64 = 0.42;
const ALBEDO_ERROR: f64 = 5e-4;
/// Fewer would not follow a bend.
const FEWEST_ALBEDOS: usize = 3;

/// The sideways wander changes little with the albedo: it is computed for every third stack and interpolated along the
/// list, whose neighbours are taken to be neighbours in wavelength (error tested together with [`ALBEDOS`]).
pub(super) const ANCHORS: usize = 3;

/// How the layers of some stacks scatter: by layer, one description a stack or a single one where it is the same in all.
pub(super) type ByLayer = Vec<Arc<Vec<LayerScattering>>>;

/// The same for several ways to cut the layers of the same stacks; layers alike, as slices of one cloth are, are computed once.
pub(super) fn scatterings_of(ways: &[&[&Stack]]) -> Vec<ByLayer> {
    let places: Vec<(usize, usize)> = ways
        .iter()
        .enumerate()
        .flat_map(|(way, stacks)| (0..stacks[0].layers.len()).map(move |layer| (way, layer)))
        .collect();
    let outermost = |(way, layer): (usize, usize)| layer + 1 == ways[way][0].layers.len();
    let alike = |one: (usize, usize), other: (usize, usize)| {
        let same = |(a, b): (&&Stack, &&Stack)| {
            let (a, b) = (&a.layers[one.1], &b.layers[other.1]);
            a.thickness == b.thickness && a.optics == b.optics
        };
        outermost(one) == outermost(other) && ways[one.0].iter().zip(ways[other.0]).all(same)
    };
    let first_alike: Vec<usize> = places
        .iter()
        .enumerate()
        .map(|(i, &place)| places[..i].iter().position(|&before| alike(before, place)).unwrap_or(i))
        .collect();
    let own = |(i, &(way, layer)): (usize, &(usize, usize))| {
        (first_alike[i] == i).then(|| Arc::new(scatterings(ways[way], layer)))
    };
    let computed: Vec<Option<Arc<Vec<LayerScattering>>>> = places.par_iter().enumerate().map(own).collect();
    let mut found: Vec<ByLayer> = vec![Vec::new(); ways.len()];
    for ((way, _), first) in places.iter().zip(first_alike) {
        found[*way].extend(computed[first].clone());
    }
    found
}

/// Heights of the middles and the chains of stacks that differ in albedo alone.
pub(super) fn chains(stacks: &[&Stack], by_layer: &ByLayer, beam_power: f64) -> (Vec<f64>, Vec<Chains>) {
    let first = stacks[0];
    let heights = first.bottoms().iter().zip(&first.layers).map(|(b, l)| b.0 + 0.5 * l.thickness.0).collect();
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

/// What the forward-scattering correction needs at every frequency and gap.
pub(super) struct Forward {
    /// What the chains of slices lack in total, over the radiance without board.
    pub(super) whole: Vec<f64>,
    /// Heights of the middles with the gap `gap`, in mm.
    pub(super) heights: Vec<f64>,
    pub(super) gap: f64,
    pub(super) chains: Vec<Chains>,
    /// Every [`ANCHORS`]th stack and the last, squeezed flat.
    pub(super) anchors: Vec<(usize, Transport)>,
}

/// The squeezed stacks, looked at.
pub(super) struct Flats<'a> {
    nodes: Vec<Nodes<'a>>,
    /// Their answers where they are the same at all frequencies: a single layer without thickness knows none.
    same: Option<Vec<Response>>,
}

impl Flats<'_> {
    /// The answers at one frequency; `None` where they are the same at all.
    pub(super) fn at(&self, k: f64) -> Option<Vec<Response>> {
        self.same.is_none().then(|| self.nodes.par_iter().map(|nodes| nodes.response(k)).collect())
    }
}

impl Forward {
    pub(super) fn flats(&self) -> Flats<'_> {
        let nodes: Vec<Nodes<'_>> = self.anchors.iter().map(|(_, flat)| Nodes::new(flat)).collect();
        let single = self.heights.len() == 1;
        let same = single.then(|| nodes.par_iter().map(|nodes| nodes.response(0.0)).collect());
        Flats { nodes, same }
    }

    /// The correction for each stack at `k` over a gap, given the radiances without board and, where they depend on the
    /// frequency, the answers of the squeezed stacks.
    pub(super) fn corrections(
        &self,
        flats: &Flats<'_>,
        own: Option<&Vec<Response>>,
        k: f64,
        gap: f64,
        without: &[f64],
    ) -> Vec<f64> {
        let raised = gap - self.gap;
        let heights: Vec<f64> = self.heights.iter().map(|h| h + raised).collect();
        let ways = Ways::new(&heights, k);
        let responses = own.or(flats.same.as_ref()).into_iter().flatten();
        let wander: Vec<(usize, f64)> = self
            .anchors
            .iter()
            .zip(&flats.nodes)
            .zip(responses)
            .map(|(((i, _), nodes), response)| {
                let squeezed = nodes.seen(response, k, raised).without;
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

/// How many albedos a range of `sqrt(1 - albedo)` asks for, given half of it: interpolation at Chebyshev's places converges as a power of
/// the range.
fn albedos(half: f64) -> usize {
    // (half / reach)^n = error, where (WIDEST_HALF / reach)^ALBEDOS = error.
    let widest = ALBEDO_ERROR.ln() / ALBEDOS as f64;
    let fall = widest + (half / WIDEST_HALF).ln();
    let needed = if fall < 0.0 { (ALBEDO_ERROR.ln() / fall).ceil() } else { f64::INFINITY };
    needed.clamp(FEWEST_ALBEDOS as f64, ALBEDOS as f64) as usize
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
    let albedos = albedos(half);
    if stacks.len() <= albedos {
        return stacks.par_iter().map(|s| at(s.layers[layer].optics.albedo)).collect();
    }
    let nodes: Vec<f64> = (0..albedos)
        .map(|i| middle + half * (std::f64::consts::PI * (i as f64 + 0.5) / albedos as f64).cos())
        .collect();
    let parts: Vec<LayerScattering> = nodes.par_iter().map(|r| at(1.0 - r * r)).collect();
    let interpolation = Interpolation::from_nodes(&nodes);
    roots.par_iter().map(|&root| LayerScattering::mixed(&parts, &interpolation.basis(root))).collect()
}
