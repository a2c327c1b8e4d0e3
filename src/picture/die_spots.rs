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
//! Colour error of the solved wavelengths ([`STEP_NM`] apart) against every 5 nm: tested below for the strongest dyes of the
//! catalogue.
//!
//! # Source
//! CIE 015, Colorimetry (tristimulus values); K_m = 683 lm/W (SI brochure).

use crate::light::spectrum::die::{DieWeights, die_weights};
use crate::light::spots::spots;
use crate::light::spread::SpotSpectrum;
use crate::light::{Stack, spectrum};
use crate::pixels::package::Package;
use crate::quantity::Nanometres;

/// Distance of the wavelengths at which the stack is solved.
pub const STEP_NM: f64 = 16.0;
/// cd/mm2 to cd/m2.
const PER_SQUARE_METRE: f64 = 1e6;

/// The spots of one package's dies at full level, in the package's order: X, Y, Z each, in cd/m2 (mm2 in the transform).
#[derive(Clone, Debug)]
pub struct DieSpots {
    /// One triple a die.
    pub dies: Vec<[SpotSpectrum; 3]>,
}

/// The spots of the dies of several packages behind one stack, whose optics are given by wavelength.
///
/// All wavelengths of all packages with the same beam are solved together.
#[must_use]
pub fn die_spots(packages: &[&Package], stack_at: &(dyn Fn(Nanometres) -> Stack + Sync)) -> Vec<DieSpots> {
    let weights: Vec<Vec<DieWeights>> = packages
        .iter()
        .map(|p| p.dies.iter().map(|facts| die_weights(facts, p.beam_power)).collect())
        .collect();
    die_spots_every(STEP_NM, packages, &weights, stack_at)
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
    let mut beams: Vec<f64> = packages.iter().map(|p| p.beam_power).collect();
    beams.sort_by(f64::total_cmp);
    beams.dedup();
    let mut found: Vec<Option<DieSpots>> = vec![None; packages.len()];
    for beam in beams {
        let of_beam: Vec<usize> = (0..packages.len()).filter(|&p| packages[p].beam_power == beam).collect();
        let matters = of_beam.iter().flat_map(|&p| &weights[p]).map(|w| w.matters.clone());
        let (first, end) = matters.fold((spectrum::SAMPLES, 0), |(f, e), m| (f.min(m.start), e.max(m.end)));
        if first >= end {
            continue;
        }
        let nm = |sample: usize| spectrum::wavelength(sample).0;
        let (low, high) = (nm(first), nm(end - 1));
        let intervals = ((high - low) / step_nm).ceil().max(1.0);
        let spacing = (high - low) / intervals;
        let nodes: Vec<f64> = (0..=intervals as usize).map(|i| low + spacing * i as f64).collect();
        let stacks: Vec<Stack> = nodes.iter().map(|&l| stack_at(Nanometres(l))).collect();
        let solved = spots(&stacks, beam);
        let Some(level) = level(&solved) else { continue };
        for p in of_beam {
            let dies = weights[p]
                .iter()
                .map(|die| {
                    std::array::from_fn(|axis| {
                        let mut node_weights = vec![0.0; nodes.len()];
                        for sample in die.matters.clone() {
                            let weight = PER_SQUARE_METRE * die.xyz_lm[sample][axis];
                            let x = (nm(sample) - low) / spacing;
                            for (node, share) in shares(x, &level) {
                                node_weights[node] += weight * share;
                            }
                        }
                        let parts: Vec<(f64, &SpotSpectrum)> =
                            node_weights.into_iter().zip(&solved).collect();
                        // All spots of one call share their knots.
                        SpotSpectrum::weighted_sum(&parts).unwrap_or_else(|| solved[0].clone())
                    })
                })
                .collect();
            found[p] = Some(DieSpots { dies });
        }
    }
    found.into_iter().map(|spots| spots.unwrap_or(DieSpots { dies: Vec::new() })).collect()
}

/// The height of each solved spot (its transform at zero frequency), by which shapes are scaled between wavelengths.
fn level(solved: &[SpotSpectrum]) -> Option<Vec<f64>> {
    if solved.is_empty() { None } else { Some(solved.iter().map(|s| s.value(0.0)).collect()) }
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
    fn solving_every_16_nm_gives_the_colours_of_every_5_nm() {
        /// Of the height of each die's largest of X, Y, Z: a cubic in ln L across 16 nm of a steep dye.
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
