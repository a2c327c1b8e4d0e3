//! The spots of stacks for one viewer to the side.

use super::MOST_TILT_RAD;
use super::chains::{Chain, Scattering, ViewTable, Ways};
use super::spot::ObliqueSpot;
use crate::light::dense;
use crate::light::spots::{CUT, Reach, distinct, knots_by, mending, slices, split, with_gap};
use crate::light::spread::frequency_knots_every;
use crate::light::stack::unscattered;
use crate::light::transport::{SourceKernel, Transport};
use crate::light::{Layer, Stack};
use nalgebra::{Dyn, LU};
use rayon::prelude::*;
use rustfft::num_complex::Complex;
use std::f64::consts::PI;
use std::ops::Range;

/// Spacing of the knots in the hyperbolic angle: half that of round spots, for the modes of a long spot swing as k rises.
const KNOT_STEP: f64 = 0.06;
/// Directions of k over half a turn at which the transform is found. Half as many modes are kept; at 75 degrees they are all
/// needed where the transform has fallen to 1e-5.
const DIRECTIONS: usize = 96;

/// The spots of stacks that share geometry, extinction, asymmetry and openness and differ in albedo alone, one a stack, for a
/// viewer `tilt_rad` from straight ahead, per unit flux of a point source with the beam `cos^m`.
///
/// The tilt is clipped to 0 to [`MOST_TILT_RAD`]. An empty list, or stacks without layers, give spots that are zero everywhere.
#[must_use]
pub fn spots(stacks: &[Stack], beam_power: f64, tilt_rad: f64) -> Vec<ObliqueSpot> {
    let gap = stacks.first().and_then(|stack| stack.layers.first()).map_or(0.0, |layer| layer.gap_below.0);
    spots_over_gaps(stacks, beam_power, &[gap], tilt_rad).pop().unwrap_or_default()
}

/// As [`spots`], with each of these gaps in mm below the first layer: for each gap, one spot a stack. All spots over one gap have
/// the same middle and the same knots.
#[must_use]
pub fn spots_over_gaps(
    stacks: &[Stack],
    beam_power: f64,
    gaps_mm: &[f64],
    tilt_rad: f64,
) -> Vec<Vec<ObliqueSpot>> {
    let Some(first) = stacks.first() else { return vec![Vec::new(); gaps_mm.len()] };
    if first.layers.is_empty() {
        return vec![vec![ObliqueSpot::dark(&knots(first).0); stacks.len()]; gaps_mm.len()];
    }
    let (distinct, which) = distinct(stacks);
    let view = View::new(tilt_rad, beam_power);
    // What a layer scatters does not depend on the gap, but into how many slices it is cut does.
    let mut known: Vec<(Vec<usize>, Scatterings)> = Vec::new();
    gaps_mm
        .iter()
        .map(|&gap| {
            let stacks: Vec<Stack> = distinct.iter().map(|stack| with_gap(stack, gap)).collect();
            let form = slices(&stacks[0]);
            let place = known.iter().position(|(f, _)| *f == form).unwrap_or_else(|| {
                known.push((form.clone(), view.scatterings(&stacks, &form)));
                known.len() - 1
            });
            let spots = view.spots(&stacks, &form, &known[place].1);
            which.iter().map(|&i| spots[i].clone()).collect()
        })
        .collect()
}

fn knots(stack: &Stack) -> (Vec<f64>, f64) {
    knots_by(|gap, height| frequency_knots_every(KNOT_STEP, gap, height), stack)
}

/// The viewer and the source.
struct View {
    cosine: f64,
    tangent: f64,
    beam_power: f64,
    source: SourceKernel,
    table: ViewTable,
    angles: Vec<f64>,
}

/// How the layers of all stacks scatter: by stack, layer by layer, true and reduced; once for slices and once for whole layers.
struct Scatterings {
    fine: Vec<Vec<[Scattering; 2]>>,
    /// `None` where no layer is cut.
    whole: Option<Vec<Vec<[Scattering; 2]>>>,
}

/// One stack over one gap, ready for any frequency.
struct Prepared<'a> {
    transport: Transport,
    emission: Emission,
    /// `None` where nothing scatters forwards.
    forward: Option<Forward<'a>>,
}

/// The forward-scattering correction of one stack.
struct Forward<'a> {
    chains: [Chain<'a>; 2],
    /// For each layer of the chains: how far its middle lies below the outer face in mm, and the transport's nodes in it.
    places: Vec<(f64, Range<usize>)>,
    flat: Transport,
    flat_emission: Emission,
    /// The answer of the squeezed stack where it is the same at all frequencies: a single layer without thickness knows none.
    same: Option<LU<f64, Dyn, Dyn>>,
    /// What the chains of slices lack in total, over the radiance without board.
    whole: f64,
}

/// Where the light towards the viewer comes from.
struct Emission {
    /// By node: depth below the outer face in mm, and radiance per fluence.
    nodes: Vec<(f64, f64)>,
    /// Depth of the board in mm, and share of its light that gets through.
    board: (f64, f64),
}

impl Emission {
    fn new(transport: &Transport, face: f64, cosine: f64) -> Emission {
        let layers = &transport.layers;
        // From the outer face to the board, turned round in the end.
        let mut nodes = Vec::new();
        let mut above = 1.0;
        for layer in layers.iter().rev() {
            let tau = layer.optical_thickness() / cosine;
            let emitted = (1.0 - layer.openness) * layer.albedo * tau / (4.0 * PI);
            let rule = &layer.reference.rule;
            for (x, w) in rule.nodes.iter().zip(&rule.weights).rev() {
                let depth = face - layer.bottom - x * layer.thickness;
                nodes.push((depth, emitted * w * (-(1.0 - x) * tau).exp() * above));
            }
            above *= unscattered(layer.openness, tau);
        }
        nodes.reverse();
        Emission { nodes, board: (face, above) }
    }
}

impl View {
    fn new(tilt_rad: f64, beam_power: f64) -> View {
        let tilt = tilt_rad.clamp(0.0, MOST_TILT_RAD);
        View {
            cosine: tilt.cos(),
            tangent: tilt.tan(),
            beam_power,
            source: SourceKernel::of_beam(beam_power),
            table: ViewTable::new(tilt.cos()),
            angles: ObliqueSpot::angles(DIRECTIONS),
        }
    }

    fn scatterings(&self, stacks: &[Stack], form: &[usize]) -> Scatterings {
        let of = |stacks: &[Stack]| stacks.par_iter().map(|stack| self.layers(stack)).collect();
        if stacks[0].layers.iter().all(|l| l.optics.asymmetry == 0.0) {
            return Scatterings { fine: Vec::new(), whole: None };
        }
        let cut = form.iter().any(|&slices| slices > 1);
        let split: Vec<Stack> = stacks.iter().map(|stack| split(stack, form)).collect();
        Scatterings { fine: of(&split), whole: cut.then(|| of(stacks)) }
    }

    fn layers(&self, stack: &Stack) -> Vec<[Scattering; 2]> {
        let last = stack.layers.len() - 1;
        // Slices of one layer scatter alike.
        let mut found: Vec<[Scattering; 2]> = Vec::new();
        for (l, layer) in stack.layers.iter().enumerate() {
            let alike = |a: &Layer, b: &Layer| a.thickness == b.thickness && a.optics == b.optics;
            let same = (1..last).contains(&l) && alike(&stack.layers[l - 1], layer);
            let own = if same { found[l - 1].clone() } else { self.table.layer(layer, l == last) };
            found.push(own);
        }
        found
    }

    fn chains<'a>(&'a self, stack: &Stack, layers: &'a [[Scattering; 2]]) -> [Chain<'a>; 2] {
        [0, 1].map(|i| {
            Chain::new(layers.iter().map(|both| &both[i]).collect(), &self.table, stack, self.beam_power)
        })
    }

    /// The spots of distinct stacks that have layers.
    fn spots(&self, stacks: &[Stack], form: &[usize], scatterings: &Scatterings) -> Vec<ObliqueSpot> {
        let (knots, decay) = knots(&stacks[0]);
        let fine: Vec<Stack> = stacks.iter().map(|stack| split(stack, form)).collect();
        let heights = middles(&fine[0]);
        let prepared: Vec<Prepared<'_>> = (0..stacks.len())
            .into_par_iter()
            .map(|s| self.prepare(&stacks[s], &fine[s], scatterings, s))
            .collect();
        // By knot, by stack, by direction.
        let mut values: Vec<Vec<Vec<Complex<f64>>>> = knots
            .par_iter()
            .map(|&k| {
                let ways = prepared[0].forward.is_some().then(|| Ways::new(&heights, k));
                prepared.par_iter().map(|prepared| self.transform(prepared, ways.as_ref(), k)).collect()
            })
            .collect();
        let borrowed: Vec<&Stack> = stacks.iter().collect();
        if let Some(factors) = mending(&borrowed, self.beam_power, &knots) {
            for (by_stack, factors) in values.iter_mut().zip(&factors) {
                for (value, factor) in by_stack.iter_mut().zip(factors) {
                    value.iter_mut().for_each(|v| *v *= factor);
                }
            }
        }
        let shift = self.middle(&knots, &values, stacks.len() / 2);
        for (k, by_stack) in knots.iter().zip(&mut values) {
            for value in by_stack.iter_mut().flat_map(|v| v.iter_mut().zip(&self.angles)) {
                *value.0 *= Complex::from_polar(1.0, k * value.1.cos() * shift);
            }
        }
        stacks
            .iter()
            .enumerate()
            .map(|(s, stack)| {
                let samples: Vec<Vec<Complex<f64>>> =
                    values.iter_mut().map(|by_stack| std::mem::take(&mut by_stack[s])).collect();
                let samples = self.checked(stack, &knots, samples, shift);
                ObliqueSpot::from_samples(&knots, &samples, decay, shift)
            })
            .collect()
    }

    /// What the transport cannot see or the knots cannot hold is mended as for round spots.
    fn checked(
        &self,
        stack: &Stack,
        knots: &[f64],
        mut samples: Vec<Vec<Complex<f64>>>,
        shift: f64,
    ) -> Vec<Vec<Complex<f64>>> {
        let whole = samples[0][0].re;
        if let Some(round) = dense::spectrum_towards(stack, self.beam_power, self.cosine, whole, knots) {
            for ((sample, value), k) in samples.iter_mut().zip(round).zip(knots) {
                for (at, psi) in sample.iter_mut().zip(&self.angles) {
                    *at = Complex::from_polar(value, k * psi.cos() * shift);
                }
            }
        }
        if Reach::of(stack).has_image {
            let (end, last) = (knots[knots.len() - 1], &samples[samples.len() - 1]);
            let left = last.iter().map(|v| v.norm()).fold(0.0, f64::max) / (CUT * samples[0][0].norm());
            if left > 1.0 && left.is_finite() {
                let exponent = left.ln() / (end * end);
                for (sample, k) in samples.iter_mut().zip(knots) {
                    sample.iter_mut().for_each(|v| *v *= (-exponent * k * k).exp());
                }
            }
        }
        samples
    }

    /// The middle of one stack's spot in mm: its first moment along x, from the first knot beyond zero.
    fn middle(&self, knots: &[f64], values: &[Vec<Vec<Complex<f64>>>], stack: usize) -> f64 {
        let [whole, near] = [&values[0][stack], &values[1][stack]];
        // L(k, psi) = L(0) (1 - i k cos(psi) middle), and cos^2 has the mean 1/2.
        let moment: f64 = near.iter().zip(&self.angles).map(|(v, psi)| -2.0 * v.im * psi.cos()).sum();
        let whole: f64 = whole.iter().map(|v| v.re).sum();
        if whole > 0.0 { moment / (whole * knots[1]) } else { 0.0 }
    }

    fn prepare<'a>(
        &'a self,
        stack: &Stack,
        fine: &Stack,
        scatterings: &'a Scatterings,
        s: usize,
    ) -> Prepared<'a> {
        let face = stack.height().0;
        let transport = Transport::new(&stack.reduced(), self.beam_power, self.source.clone());
        let emission = Emission::new(&transport, face, self.cosine);
        let forward = scatterings.fine.get(s).map(|layers| {
            let chains = self.chains(fine, layers);
            let black = Stack { board_reflectance: 0.0, ..fine.reduced() };
            let flat = Transport::new(&black, self.beam_power, self.source.clone()).squeezed();
            let flat_emission = Emission::new(&flat, face, self.cosine);
            let whole = scatterings.whole.as_ref().map_or(0.0, |whole| {
                // Slices scatter light to and fro, which a chain of them leaves out; the whole layers' chain knows the total.
                let coarse = excess(&self.chains(stack, &whole[s]), &Ways::new(&middles(stack), 0.0));
                let sliced = excess(&chains, &Ways::new(&middles(fine), 0.0));
                let lacking: f64 =
                    coarse.iter().map(|m| m[0]).sum::<f64>() - sliced.iter().map(|m| m[0]).sum::<f64>();
                let (fluence, _, _) = fluence(&transport, &transport.system(0.0).lu(), 0.0);
                let total = summed(&emission, &fluence);
                if total > 0.0 { lacking / total } else { 0.0 }
            });
            Forward {
                places: places(fine, &emission, face),
                same: (fine.layers.len() == 1).then(|| flat.system(0.0).lu()),
                chains,
                flat,
                flat_emission,
                whole,
            }
        });
        Prepared { transport, emission, forward }
    }

    /// The transform at `k` for all directions of k, about the source.
    fn transform(&self, prepared: &Prepared<'_>, ways: Option<&Ways>, k: f64) -> Vec<Complex<f64>> {
        let Prepared { transport, emission, forward } = prepared;
        let (source, board, radiosity) = fluence(transport, &transport.system(k).lu(), k);
        let without = summed(emission, &source);
        let correction = forward.as_ref().zip(ways).map(|(forward, ways)| {
            let own = forward.same.is_none().then(|| forward.flat.system(k).lu());
            let flat = own
                .as_ref()
                .or(forward.same.as_ref())
                .map_or(0.0, |lu| summed(&forward.flat_emission, &fluence(&forward.flat, lu, k).0));
            let wander = if flat > 0.0 { (without / flat).clamp(0.0, 1.0) } else { 0.0 };
            (forward, wander, excess(&forward.chains, ways))
        });
        let at = |psi: &f64| {
            // Phase per mm of depth.
            let slant = -k * psi.cos() * self.tangent;
            let phase = |depth: f64| Complex::from_polar(1.0, slant * depth);
            let mut sum = Complex::new(0.0, 0.0);
            let own = 1.0 + forward.as_ref().map_or(0.0, |forward| forward.whole);
            for (i, &(depth, weight)) in emission.nodes.iter().enumerate() {
                sum += phase(depth) * (weight * (own * source[i] + radiosity * board.get(i).unwrap_or(&0.0)));
            }
            sum += phase(emission.board.0) * (radiosity / PI * emission.board.1);
            if let Some((forward, wander, modes)) = &correction {
                for (modes, (middle, nodes)) in modes.iter().zip(&forward.places) {
                    // Mean phase of the depths from which the layer's light comes.
                    let (mut turned, mut level) = (Complex::new(0.0, 0.0), 0.0);
                    for i in nodes.clone() {
                        let (depth, weight) = emission.nodes[i];
                        turned += phase(depth) * (weight * source[i]);
                        level += weight * source[i];
                    }
                    let from = if level > 0.0 { turned / level } else { phase(*middle) };
                    sum += from * series(modes, *psi) * *wander;
                }
            }
            sum
        };
        self.angles.iter().map(at).collect()
    }
}

/// Heights of the middles of the layers.
fn middles(stack: &Stack) -> Vec<f64> {
    stack.bottoms().iter().zip(&stack.layers).map(|(b, l)| b.0 + 0.5 * l.thickness.0).collect()
}

/// For each layer: how far its middle lies below the outer face in mm, and the nodes of the transport in it.
fn places(stack: &Stack, emission: &Emission, face: f64) -> Vec<(f64, Range<usize>)> {
    let layers = stack.bottoms().into_iter().zip(&stack.layers);
    layers
        .map(|(bottom, layer)| {
            // Nodes rise from the board to the outer face.
            let below = |height: f64| emission.nodes.partition_point(|node| face - node.0 < height);
            let nodes = below(bottom.0)..below(bottom.0 + layer.thickness.0);
            (face - bottom.0 - 0.5 * layer.thickness.0, nodes)
        })
        .collect()
}

/// By layer: modes of the difference of the chains.
fn excess([real, reduced]: &[Chain<'_>; 2], ways: &Ways) -> Vec<Vec<f64>> {
    let mut modes = real.modes(ways);
    for (modes, reduced) in modes.iter_mut().zip(reduced.modes(ways)) {
        modes.iter_mut().zip(reduced).for_each(|(mode, value)| *mode -= value);
    }
    modes
}

/// `sum over m of (-i)^m modes_m cos(m psi)`.
fn series(modes: &[f64], psi: f64) -> Complex<f64> {
    let (mut re, mut im) = (0.0, 0.0);
    for (m, mode) in modes.iter().enumerate() {
        let term = mode * (m as f64 * psi).cos();
        match m % 4 {
            0 => re += term,
            1 => im -= term,
            2 => re -= term,
            _ => im += term,
        }
    }
    Complex::new(re, im)
}

/// Fluence at the nodes over a black board, per unit radiosity of the board (empty over a black board), and its radiosity.
fn fluence(transport: &Transport, system: &LU<f64, Dyn, Dyn>, k: f64) -> (Vec<f64>, Vec<f64>, f64) {
    let (mut right, faces) = transport.right_sides(k);
    // Scattering loses light, so the system has an inverse.
    let solved = system.solve_mut(&mut right);
    debug_assert!(solved, "scattering cannot create light");
    let source = right.column(0).as_slice().to_vec();
    if transport.board == 0.0 {
        return (source, Vec::new(), 0.0);
    }
    let board = right.column(1).as_slice().to_vec();
    let back = |phi: &[f64]| -> f64 { faces.iter().zip(phi).map(|(f, p)| f * p).sum() };
    let radiosity = transport.board * back(&source) / (1.0 - transport.board * back(&board));
    (source, board, radiosity)
}

/// Radiance towards the viewer at the given fluence, all depths at one place.
fn summed(emission: &Emission, fluence: &[f64]) -> f64 {
    emission.nodes.iter().zip(fluence).map(|((_, weight), phi)| weight * phi).sum()
}
