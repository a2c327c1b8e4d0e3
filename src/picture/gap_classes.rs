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
//! | c | what the cloth's own thickness adds: half of it | mm |
//! | x | a spot is about as wide as its height, so that over x it always changes equally fast | 1 |
//!
//! The nodes are evenly spaced over x from the lowest to the highest gap. The peak falls off as `(g + c)^-2`, whose fourth derivative
//! over x is 16 times itself; a cubic between the first two of four nodes `d` apart errs by at most `d^4 / 24` of that, so that
//! [`NODE_STEP`] keeps the peak within [`GAP_ERROR`]. Where the pixels have no more different gaps than there would be nodes, each
//! of them is a class, and nothing is interpolated.
//!
//! # Validity
//! Within [`GAP_ERROR`] of the pixel's own peak, everywhere in the spot: tested against spots solved for each gap, for random cloths.
//!
//! # Source
//! Lagrange's formula and its remainder: DLMF 3.3 (from memory).

use crate::quantity::Millimetres;
use crate::scene::Scene;
use crate::scene::stand_off::SAME_MM;

/// What interpolation between gaps may leave, over the peak of the pixel's own spot: a quarter of the least step of luminance that
/// the eye sees side by side (2 %). A smaller one costs more transforms.
pub const GAP_ERROR: f64 = 0.005;
/// Distance of the nodes over ln(g + c): `(24 / 16 GAP_ERROR)^(1/4)`.
pub const NODE_STEP: f64 = 0.294;
/// Nodes through which each pixel's spot is interpolated.
const NODES: usize = 4;
/// Least c in mm: finer structure than 0.1 mm is in no spot ([`crate::light::spread::FINEST`]).
const LEAST_C_MM: f64 = 0.1;

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
        let first = scene.stack.first();
        GapClasses::between(&gaps, first.map_or(0.0, |placed| 0.5 * placed.cloth.thickness.0))
    }

    /// The classes for the gaps of pixels (at least one) under a cloth with half this thickness.
    fn between(gaps: &[f64], half_thickness_mm: f64) -> GapClasses {
        let c = half_thickness_mm.max(LEAST_C_MM);
        let distinct = distinct(gaps);
        let place = |gap: f64| (gap + c).ln();
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
            .map(|i| if i == last { high } else { (low + c) * (step * i as f64).exp() - c })
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
