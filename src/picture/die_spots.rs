//! The coloured spot of every die: spread functions at many wavelengths folded into X, Y and Z.
//!
//! # Model
//! A die's spectrum is fixed, so the sum over wavelengths against the colour-matching functions collapses into one spot
//! per die and X, Y, Z:
//!
//! ```text
//! K_X(k) = 683 int Phi(lambda) L(k, lambda) xbar(lambda) dlambda      and alike for Y and Z
//! ```
//!
//! The stack is solved at a few wavelengths; between them the height of the spot follows a cubic in its logarithm, for a
//! dyed cloth changes what it lets through by factors and not by amounts, and its shape is mixed.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | Phi | radiant flux of the die at full level | W/nm |
//! | L | spread function at one wavelength per unit flux | 1/(sr mm2) |
//! | K | spot, transformed | cd/m2 mm2 |
//!
//! # Validity
//! Colour error of the solved wavelengths (at most [`STEP_NM`] apart) against every 5 nm: tested below for the strongest dyes of the
//! catalogue.
//!
//! # Source
//! CIE 015, Colorimetry (tristimulus values); K_m = 683 lm/W (SI brochure).

use crate::light::oblique::{self, ObliqueSpot};
use crate::light::spectrum::die::{DieWeights, die_weights};
use crate::light::spots::spots_over_gaps;
use crate::light::spread::SpotSpectrum;
use crate::light::{Stack, spectrum};
use crate::pixels::package::Package;
use crate::quantity::Nanometres;
use std::sync::Arc;

/// Greatest distance of the wavelengths at which the stack is solved.
pub const STEP_NM: f64 = 24.0;
/// Greatest change of sqrt(1 - albedo) of a cloth between them: a dye may rise within 10 nm.
const ROOT_STEP: f64 = 0.06;
/// cd/mm2 to cd/m2.
const PER_SQUARE_METRE: f64 = 1e6;

/// The spots of one package's dies at full level, in the package's order: X, Y, Z each, in cd/m2 (mm2 in the transform).
#[derive(Clone, Debug)]
pub struct DieSpots<S = SpotSpectrum> {
    /// One triple a die.
    pub dies: Vec<[S; 3]>,
}

/// A spot that can be mixed from others: seen from straight ahead or from the side.
pub trait Mixed: Sized {
    /// The sum of spots alike, each times its weight; `None` for an empty list or spots unlike each other.
    fn weighted_sum(parts: &[(f64, &Self)]) -> Option<Self>;
    /// The transform at zero frequency.
    fn whole(&self) -> f64;
}

impl Mixed for SpotSpectrum {
    fn weighted_sum(parts: &[(f64, &Self)]) -> Option<Self> {
        SpotSpectrum::weighted_sum(parts)
    }

    fn whole(&self) -> f64 {
        self.value(0.0)
    }
}

impl Mixed for ObliqueSpot {
    fn weighted_sum(parts: &[(f64, &Self)]) -> Option<Self> {
        ObliqueSpot::weighted_sum(parts)
    }

    fn whole(&self) -> f64 {
        ObliqueSpot::whole(self)
    }
}

/// The spots of the dies of several packages behind one stack, whose optics are given by wavelength.
///
/// All wavelengths of all packages with the same beam are solved together.
#[must_use]
pub fn die_spots(packages: &[&Package], stack_at: &(dyn Fn(Nanometres) -> Stack + Sync)) -> Vec<DieSpots> {
    die_spots_every(STEP_NM, packages, &weights(packages), stack_at)
}

/// As [`die_spots`], with the dies' weights at hand and the distance of the solved wavelengths chosen: the wider, the quicker
/// and the less exact.
#[must_use]
pub fn die_spots_every(
    step_nm: f64,
    packages: &[&Package],
    weights: &[Vec<DieWeights>],
    stack_at: &(dyn Fn(Nanometres) -> Stack + Sync),
) -> Vec<DieSpots> {
    let gap = stack_at(Nanometres(550.0)).layers.first().map_or(0.0, |layer| layer.gap_below.0);
    let folded = folded_over_gaps(step_nm, packages, weights, stack_at, &[gap]);
    folded.first().map_or_else(Vec::new, |folded| folded.of(packages))
}

/// As [`die_spots`], with each of these gaps in mm below the first layer, all solved together.
#[must_use]
pub fn die_spots_over_gaps(
    packages: &[&Package],
    stack_at: &(dyn Fn(Nanometres) -> Stack + Sync),
    gaps_mm: &[f64],
) -> Vec<Vec<DieSpots>> {
    let folded = folded_over_gaps(STEP_NM, packages, &weights(packages), stack_at, gaps_mm);
    folded.iter().map(|folded| folded.of(packages)).collect()
}

/// As [`die_spots_over_gaps`], for a viewer so far from straight ahead; the spots' frame is that of [`crate::light::oblique`].
#[must_use]
pub fn oblique_die_spots_over_gaps(
    packages: &[&Package],
    stack_at: &(dyn Fn(Nanometres) -> Stack + Sync),
    gaps_mm: &[f64],
    tilt_rad: f64,
) -> Vec<Vec<DieSpots<ObliqueSpot>>> {
    let solve =
        |stacks: &[Stack], beam: f64, gaps: &[f64]| oblique::spots_over_gaps(stacks, beam, gaps, tilt_rad);
    let folded = folded_by(STEP_NM, packages, &weights(packages), stack_at, gaps_mm, &solve);
    folded.iter().map(|folded| folded.of(packages)).collect()
}

/// What the wavelengths count for every die.
fn weights(packages: &[&Package]) -> Vec<Vec<DieWeights>> {
    let of = |p: &&Package| p.dies.iter().map(|facts| die_weights(facts, p.beam_power)).collect();
    packages.iter().map(of).collect()
}

/// The spots of the solved wavelengths of several packages behind one stack, and what each counts for every die.
#[derive(Clone, Debug)]
pub struct Folded<S = SpotSpectrum> {
    /// By beam.
    solved: Vec<Vec<S>>,
    shares: Arc<Shares>,
}

/// What the solved wavelengths count for the dies.
#[derive(Debug)]
struct Shares {
    /// Which beam each package has; `None` where none of its light can be seen.
    beam: Vec<Option<usize>>,
    /// By package, die, axis (X, Y, Z) and wavelength, in cd/m2 per unit of the spot.
    weights: Vec<Vec<[Vec<f64>; 3]>>,
}

impl<S: Mixed> Folded<S> {
    /// The sum of the spots of a package's dies at these levels in one of X, Y, Z (0 to 2).
    #[must_use]
    pub fn spot(&self, package: usize, levels: &[f64], axis: usize) -> Option<S> {
        let solved = &self.solved[self.shares.beam[package]?];
        let mut sums = vec![0.0; solved.len()];
        for (die, level) in self.shares.weights[package].iter().zip(levels) {
            sums.iter_mut().zip(&die[axis]).for_each(|(sum, weight)| *sum += level * weight);
        }
        // All spots of one beam share their knots.
        S::weighted_sum(&sums.into_iter().zip(solved).collect::<Vec<_>>())
    }

    /// X, Y, Z of one die's spot at zero frequency: the whole light of the spot.
    #[must_use]
    pub fn whole(&self, package: usize, die: usize) -> [f64; 3] {
        let Some(beam) = self.shares.beam[package] else { return [0.0; 3] };
        let at_zero = self.solved[beam].iter().map(Mixed::whole);
        let weights = &self.shares.weights[package][die];
        let mut sums = [0.0; 3];
        for (n, value) in at_zero.enumerate() {
            sums.iter_mut().zip(weights).for_each(|(sum, weights)| *sum += weights[n] * value);
        }
        sums
    }

    /// The spots of all packages.
    fn of(&self, packages: &[&Package]) -> Vec<DieSpots<S>> {
        let dies = |p: usize| (0..packages[p].dies.len()).map(move |d| (p, d));
        (0..packages.len())
            .map(|p| DieSpots { dies: dies(p).filter_map(|(p, d)| self.triple(p, d)).collect() })
            .collect()
    }

    fn triple(&self, package: usize, die: usize) -> Option<[S; 3]> {
        let levels: Vec<f64> = (0..=die).map(|d| f64::from(u8::from(d == die))).collect();
        let [x, y, z] = [0, 1, 2].map(|axis| self.spot(package, &levels, axis));
        Some([x?, y?, z?])
    }
}

/// The solved wavelengths of all packages with each of these gaps in mm below the first layer.
///
/// All wavelengths of all packages with the same beam, and all gaps, are solved together.
#[must_use]
pub fn folded_over_gaps(
    step_nm: f64,
    packages: &[&Package],
    weights: &[Vec<DieWeights>],
    stack_at: &(dyn Fn(Nanometres) -> Stack + Sync),
    gaps_mm: &[f64],
) -> Vec<Folded> {
    folded_by(step_nm, packages, weights, stack_at, gaps_mm, &spots_over_gaps)
}

/// The spots of stacks for a beam over gaps in mm: for each gap, one a stack.
type Solve<'a, S> = dyn Fn(&[Stack], f64, &[f64]) -> Vec<Vec<S>> + 'a;

/// As [`folded_over_gaps`], with the spots from `solve`.
fn folded_by<S: Mixed>(
    step_nm: f64,
    packages: &[&Package],
    weights: &[Vec<DieWeights>],
    stack_at: &(dyn Fn(Nanometres) -> Stack + Sync),
    gaps_mm: &[f64],
    solve: &Solve<'_, S>,
) -> Vec<Folded<S>> {
    let mut beams: Vec<f64> = packages.iter().map(|p| p.beam_power).collect();
    beams.sort_by(f64::total_cmp);
    beams.dedup();
    let mut shares = Shares { beam: vec![None; packages.len()], weights: vec![Vec::new(); packages.len()] };
    let mut solved: Vec<Vec<Vec<S>>> = gaps_mm.iter().map(|_| Vec::new()).collect();
    for beam in beams {
        let of_beam: Vec<usize> = (0..packages.len()).filter(|&p| packages[p].beam_power == beam).collect();
        let matters = of_beam.iter().flat_map(|&p| &weights[p]).map(|w| w.matters.clone());
        let (first, end) = matters.fold((spectrum::SAMPLES, 0), |(f, e), m| (f.min(m.start), e.max(m.end)));
        if first >= end {
            continue;
        }
        let way = way(step_nm, first..end, stack_at);
        let stacks: Vec<Stack> = node_wavelengths(&way, first).into_iter().map(stack_at).collect();
        let over_gaps = solve(&stacks, beam, gaps_mm);
        // The whole light of a spot does not depend on the gap.
        let Some(level) = over_gaps.first().and_then(|solved| level(solved)) else { continue };
        let by_sample: Vec<[(usize, f64); 2]> = way.iter().map(|&x| self::shares(x, &level)).collect();
        let index = solved.first().map_or(0, Vec::len);
        solved.iter_mut().zip(over_gaps).for_each(|(all, new)| all.push(new));
        for p in of_beam {
            shares.beam[p] = Some(index);
            shares.weights[p] = weights[p]
                .iter()
                .map(|die| {
                    let mut node_weights = [0, 1, 2].map(|_| vec![0.0; level.len()]);
                    for sample in die.matters.clone() {
                        for (node, share) in by_sample[sample - first] {
                            for (sums, value) in node_weights.iter_mut().zip(die.xyz_lm[sample]) {
                                sums[node] += PER_SQUARE_METRE * value * share;
                            }
                        }
                    }
                    node_weights
                })
                .collect();
        }
    }
    let shares = Arc::new(shares);
    solved.into_iter().map(|solved| Folded { solved, shares: Arc::clone(&shares) }).collect()
}

/// The height of each solved spot (its transform at zero frequency), by which shapes are scaled between wavelengths.
fn level<S: Mixed>(solved: &[S]) -> Option<Vec<f64>> {
    if solved.is_empty() { None } else { Some(solved.iter().map(Mixed::whole).collect()) }
}

/// How far each wavelength of a range of samples lies along the way from the first to the last, in node distances: a node
/// at least every `step_nm`, and more where the albedo of a cloth changes quickly.
fn way(
    step_nm: f64,
    samples: std::ops::Range<usize>,
    stack_at: &(dyn Fn(Nanometres) -> Stack + Sync),
) -> Vec<f64> {
    // What gets through a cloth falls off with the root of its absorption.
    let roots: Vec<Vec<f64>> = samples
        .map(|sample| {
            let stack = stack_at(spectrum::wavelength(sample));
            stack.layers.iter().map(|l| (1.0 - l.optics.albedo).max(0.0).sqrt()).collect()
        })
        .collect();
    let mut way = vec![0.0];
    let mut length = 0.0;
    for pair in roots.windows(2) {
        let change = pair[0].iter().zip(&pair[1]).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        length += spectrum::STEP_NM / step_nm + change / ROOT_STEP;
        way.push(length);
    }
    // A whole number of node distances, at least one.
    let scale = if length > 0.0 { length.ceil() / length } else { 0.0 };
    way.iter_mut().for_each(|x| *x *= scale);
    way
}

/// The wavelengths of the nodes 0, 1, … along a way whose first sample has the index `first`.
fn node_wavelengths(way: &[f64], first: usize) -> Vec<Nanometres> {
    let last = way.last().copied().unwrap_or(0.0).round() as usize;
    (0..=last)
        .map(|node| {
            let i = way.partition_point(|&x| x < node as f64).clamp(1, way.len().max(2) - 1);
            let (Some(&high), low) = (way.get(i), way[i - 1]) else { return spectrum::wavelength(first) };
            let share = if high > low { ((node as f64 - low) / (high - low)).clamp(0.0, 1.0) } else { 0.0 };
            Nanometres(spectrum::wavelength(first + i - 1).0 + spectrum::STEP_NM * share)
        })
        .collect()
}

/// The two nodes around the place `x` (in node distances) and their shares: the shape is mixed linearly, the height
/// follows a cubic through the logarithms of the four nearest heights.
fn shares(x: f64, level: &[f64]) -> [(usize, f64); 2] {
    let last = level.len() - 1;
    let i = (x as usize).min(last.saturating_sub(1));
    let f = (x - i as f64).clamp(0.0, 1.0);
    let j = (i + 1).min(last);
    let mixed = level[i] * (1.0 - f) + level[j] * f;
    if level.iter().any(|&l| l <= 0.0) || mixed <= 0.0 {
        return [(i, 1.0 - f), (j, f)];
    }
    let scale = cubic(x, level).exp() / mixed;
    [(i, (1.0 - f) * scale), (j, f * scale)]
}

/// `ln level` at `x` on the polynomial through the four nearest nodes (fewer where there are fewer).
fn cubic(x: f64, level: &[f64]) -> f64 {
    let count = level.len().min(4);
    let start = (x as usize).saturating_sub(1).min(level.len() - count);
    (start..start + count)
        .map(|n| {
            let others = (start..start + count).filter(|&m| m != n);
            let basis: f64 = others.map(|m| (x - m as f64) / (n as f64 - m as f64)).product();
            basis * level[n].ln()
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::{Layer, Optics};
    use crate::quantity::{Millimetres, PerMillimetre};

    #[test]
    fn few_wavelengths_give_the_colours_of_every_5_nm() {
        /// Of the height of each die's largest of X, Y, Z: a cubic in ln L between the nodes of a steep dye.
        const ERROR: f64 = 0.01;
        // A red dye: albedo from 0.55 to 0.99 between 570 and 630 nm, steeper than any cloth of the catalogue.
        let stack_at = |l: Nanometres| {
            let rise = 1.0 / (1.0 + (-(l.0 - 600.0) / 12.0).exp());
            Stack {
                board_reflectance: 0.5,
                layers: vec![Layer {
                    gap_below: Millimetres(6.0),
                    thickness: Millimetres(3.0),
                    optics: Optics {
                        extinction: PerMillimetre(3.0),
                        albedo: 0.55 + 0.44 * rise,
                        asymmetry: 0.7,
                        openness: 0.0,
                    },
                }],
            }
        };
        let package = Package::named("5050-rgbw").unwrap();
        let coarse = die_spots(&[&package], &stack_at).remove(0);
        let weights = vec![package.dies.iter().map(|die| die_weights(die, package.beam_power)).collect()];
        let fine = die_spots_every(5.0, &[&package], &weights, &stack_at).remove(0);
        for (coarse, fine) in coarse.dies.iter().zip(&fine.dies) {
            for k in [0.0, 0.1, 0.3] {
                let largest = fine.iter().map(|s| s.value(0.0)).fold(0.0, f64::max);
                for axis in 0..3 {
                    let error = (coarse[axis].value(k) - fine[axis].value(k)).abs() / largest;
                    assert!(error < ERROR, "k {k}, axis {axis}: {error}");
                }
            }
        }
    }
}
