//! Pixels under a cloth that does not stand equally far off all of them: their spots from the spots over a few gaps.
//!
//! # Model
//! Every pixel has the spot of its own gap ([`crate::scene::stand_off`]). A sum of spots by Fourier transform costs one transform for
//! each kind of spot, so the spots of a few gaps (the *classes*) are computed and each pixel's is made of the four nearest of them:
//!
//! ```text
//! L(g) = sum_i w_i(g) L(g_i),   sum_i w_i = 1,   w: the cubic through four nodes in x = ln(g + c)
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | g, g_i | gap of the pixel, of a class | mm |
//! | c | what keeps x finite over a cloth that touches: the finest structure of a spot | mm |
//! | x | a spot is about as wide as its height, so that over x it always changes equally fast | 1 |
//!
//! The nodes are evenly spaced over x from the lowest to the highest gap. A peak falls off as `g^-2 = exp(-2 x)`; the cubic through
//! four nodes [`NODE_STEP`] apart leaves 0.24 % of that at worst, between the last two nodes, and half as much elsewhere (tested):
//! half of [`GAP_ERROR`], for cloth is no thin diffuser. Where the pixels have no more different gaps than there would be nodes, each
//! of them is a class, and nothing is interpolated.
//!
//! # Validity
//! Within [`GAP_ERROR`] of the pixel's own peak, everywhere in the spot: tested against spots solved for each gap, for random cloths.
//! Not so for points without extent under cloth that nearly touches them (gaps below half a millimetre): their spots have a peak
//! without end there, and no picture shows it.
//!
//! # Source
//! Lagrange's formula and its remainder: DLMF 3.3 (from memory).

use crate::quantity::Millimetres;
use crate::scene::Scene;
use crate::scene::stand_off::SAME_MM;

/// What interpolation between gaps may leave, over the peak of the pixel's own spot: a quarter of the least step of luminance that
/// the eye sees side by side (2 %). A smaller one costs more transforms.
pub const GAP_ERROR: f64 = 0.005;
/// Distance of the nodes over ln(g + c), see above. At 0.3 the last interval errs by 0.9 %.
pub const NODE_STEP: f64 = 0.22;
/// Nodes through which each pixel's spot is interpolated.
const NODES: usize = 4;
/// The c of the model in mm: finer structure than 0.1 mm is in no spot ([`crate::light::spread::FINEST`]).
const C_MM: f64 = 0.1;

/// The gaps whose spots are computed, and what each pixel's spot is made of.
#[derive(Clone, Debug, PartialEq)]
pub struct GapClasses {
    /// Gaps in mm, rising; at least one.
    pub gaps_mm: Vec<f64>,
    /// By pixel: the share of each class, in the order of the gaps. Below zero for some, and together one.
    shares: Vec<[(usize, f64); NODES]>,
}

impl GapClasses {
    /// The classes of a scene, as its gaps are.
    #[must_use]
    pub fn of(scene: &Scene) -> GapClasses {
        GapClasses::at_gap(scene, scene.stack.first().map_or(Millimetres(0.0), |placed| placed.gap_below))
    }

    /// The classes of a scene with another gap below its first layer ([`Scene::at_gap`]).
    #[must_use]
    pub fn at_gap(scene: &Scene, gap: Millimetres) -> GapClasses {
        let gaps: Vec<f64> = scene.pixels.iter().map(|pixel| pixel.gap_from(gap).0).collect();
        if gaps.is_empty() {
            return GapClasses { gaps_mm: vec![gap.0], shares: Vec::new() };
        }
        GapClasses::between(&gaps)
    }

    /// The classes for the gaps of pixels (at least one).
    fn between(gaps: &[f64]) -> GapClasses {
        let distinct = distinct(gaps);
        let place = |gap: f64| (gap + C_MM).ln();
        let (low, high) = (distinct[0], distinct[distinct.len() - 1]);
        let intervals = ((place(high) - place(low)) / NODE_STEP).ceil().max(NODES as f64 - 1.0);
        if distinct.len() as f64 <= intervals + 1.0 {
            let class = |gap: f64| {
                let above = distinct.partition_point(|&known| known <= gap + SAME_MM);
                [(above.max(1) - 1, 1.0), (0, 0.0), (0, 0.0), (0, 0.0)]
            };
            return GapClasses { shares: gaps.iter().map(|&gap| class(gap)).collect(), gaps_mm: distinct };
        }
        let step = (place(high) - place(low)) / intervals;
        let last = intervals as usize;
        let gaps_mm = (0..=last)
            .map(|i| if i == last { high } else { (low + C_MM) * (step * i as f64).exp() - C_MM })
            .collect();
        let shares = gaps.iter().map(|&gap| cubic((place(gap) - place(low)) / step, last)).collect();
        GapClasses { gaps_mm, shares }
    }

    /// The share of a class in a pixel's spot.
    #[must_use]
    pub fn share(&self, pixel: usize, class: usize) -> f64 {
        let shares = self.shares.get(pixel).into_iter().flatten();
        shares.filter(|(known, _)| *known == class).map(|(_, share)| share).sum()
    }
}

/// Gaps that differ, rising.
fn distinct(gaps: &[f64]) -> Vec<f64> {
    let mut distinct = gaps.to_vec();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup_by(|next, known| *next - *known <= SAME_MM);
    distinct
}

/// The four nodes around the place `x` among nodes at 0, 1, … `last` (at least 3), with Lagrange's weights.
fn cubic(x: f64, last: usize) -> [(usize, f64); NODES] {
    let start = (x as usize).saturating_sub(1).min(last + 1 - NODES);
    std::array::from_fn(|i| {
        let node = start + i;
        let others = (start..start + NODES).filter(|&other| other != node);
        let weight = others.map(|other| (x - other as f64) / (node as f64 - other as f64)).product();
        (node, weight)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_peak_of_a_thin_diffuser_is_kept_to_half_the_error() {
        for (low, high) in [(4.0, 10.0), (20.0, 26.0), (1.0, 60.0)] {
            let gaps: Vec<f64> = (0..=500).map(|i| low + (high - low) * f64::from(i) / 500.0).collect();
            let classes = GapClasses::between(&gaps);
            assert!(classes.gaps_mm.len() < 30, "{}", classes.gaps_mm.len());
            for (pixel, gap) in gaps.iter().enumerate() {
                let peak = |gap: &f64| gap.powi(-2);
                let found: f64 =
                    classes.gaps_mm.iter().enumerate().map(|(i, g)| classes.share(pixel, i) * peak(g)).sum();
                assert!(
                    (found / peak(gap) - 1.0).abs() < 0.5 * GAP_ERROR,
                    "{low} to {high} at {gap}: {found}"
                );
            }
        }
    }
}
