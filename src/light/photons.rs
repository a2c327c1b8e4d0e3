//! The Monte Carlo twin: photons walked one by one through board, air and cloth.
//!
//! # Model
//! The same stack that the deterministic transport solves, taken literally. A photon leaves the source window at
//! z = 0 upwards, crosses air in straight lines, and at each face of a cloth that it meets from outside it finds
//! a hole with probability `o`. Through a hole it goes straight on; otherwise it walks in the covered part, with
//! free paths of `-ln(u) / mu`, the weight falling to `a` of itself and a Henyey-Greenstein turn at each
//! scattering, until it leaves by a face. Below, it falls on the board, which keeps `1 - rho` and sends `rho`
//! back with Lambert's law. At the top it is gone.
//!
//! The radiance seen by the viewer is a *next-event estimate*: each scattering adds
//! `w a p(cos) exp(-mu (top - z) / v) prod_above [o + (1 - o) exp(-tau / v)]`
//! at its place, each return from the board `w rho (v / pi) prod_all [...]`; divided by `v`, the ring's area and the
//! number of photons this is radiance per unit flux. The direct image of the source window is not in it. A viewer to the side
//! sees each of these events where the line of sight leaves the outer face: `rise tan(tilt)` beside its own place.
//!
//! # Assumptions and validity
//! Faces do not refract (index-matched, as for a porous cloth); no lateral structure; the window does not shade
//! the board; light is unpolarised. Any thickness, any contact or gap, any `|g| < 1`. The running time grows with
//! the number of scatterings, about the square of the optical thickness for a clear thick cloth. A stack with
//! albedo 1 and board reflectance 1 keeps its photons until they leave at the top; all values must be finite.
//!
//! # Exactness
//! The estimates have no systematic error: weights and Russian roulette keep the expectation, the directions of
//! emission are stratified within each batch, and the batches, which are independent, give the standard errors.
//! The result depends on the seed and the number of photons but not on the number of threads.
//!
//! # Symbols
//! | symbol | meaning | unit |
//! |---|---|---|
//! | mu | extinction of the covered part | 1/mm |
//! | a, g, o | albedo, asymmetry, openness | 1 |
//! | tau | optical thickness of a layer, `mu t` | 1 |
//! | rho | diffuse reflectance of the board | 1 |
//! | w | weight of the photon | 1 |
//! | v | cosine between the viewer's direction and z; 1 straight ahead | 1 |
//! | p | phase function, its integral over all directions being 1 | 1/sr |
//!
//! # Sources
//! Wang, Jacques and Zheng, MCML: Monte Carlo modeling of light transport in multi-layered tissues (1995): weights,
//! roulette, free paths. Marchuk et al., The Monte Carlo Methods in Atmospheric Optics (1980): the local (next-event)
//! estimate. Henyey and Greenstein, Diffuse radiation in the galaxy (1941): the phase function. All from memory.

mod cells;
mod draw;
mod rings;
#[cfg(test)]
mod tests;
mod walk;

pub use cells::Cells;
pub use rings::ring_edges;

use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;

use crate::light::{Source, Stack};
use rings::Rings;
use walk::{Course, Places, Sight, Tally};

/// Number of independent batches that a run is cut into; a run's photons are rounded up to a multiple of it.
///
/// The standard errors come from the scatter between batches, so they are themselves known to
/// `1 / sqrt(2 (BATCHES - 1))`, that is 6 %. Fewer make the errors vaguer; many more make batches too small for
/// their means to be normally distributed. It also bounds the number of threads that can share a run. Changing it
/// changes every result within its standard error.
pub const BATCHES: u64 = 128;

/// A value with its standard error (one standard deviation of the estimate).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Estimate {
    /// The estimated value.
    pub value: f64,
    /// Its standard error, in the unit of the value.
    pub standard_error: f64,
}

/// The radiance in one ring around the source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ring {
    /// Inner radius in mm.
    pub inner_mm: f64,
    /// Outer radius in mm.
    pub outer_mm: f64,
    /// Radiance straight ahead per unit of emitted flux, averaged over the ring's area, in 1/(sr mm2), without the
    /// direct image of the source.
    pub radiance: Estimate,
}

/// What a run of photons found.
#[derive(Clone, Debug, PartialEq)]
pub struct PhotonSpread {
    /// The rings from the inside outwards.
    pub rings: Vec<Ring>,
    /// Share of the emitted flux that leaves at the top without any scattering or reflection.
    pub direct_share: Estimate,
    /// Share of the emitted flux that leaves at the top after scattering in cloth or reflection from the board.
    pub scattered_share: Estimate,
    /// Share of the emitted flux that ends in the cloths.
    pub cloth_share: Estimate,
    /// Share of the emitted flux that ends in the board.
    pub board_share: Estimate,
    /// The flux found again at all places together: 1 within its error if no energy is lost or made. Here the
    /// unscattered photons are counted one by one, so that roulette is the only cause of scatter.
    pub accounted: Estimate,
    /// Number of photons sent, a multiple of [`BATCHES`].
    pub photons: u64,
}

/// Sends photons through a stack and collects what a viewer straight ahead sees.
///
/// `radii` are the edges of the rings in mm, rising from 0 or more, one more than there are rings (none or one: no
/// rings); see [`ring_edges`]. At least `photons` photons are sent: the number is rounded up to a multiple of
/// [`BATCHES`]. The same seed gives the same result on any number of threads.
///
/// # Panics
/// If `radii` are not finite, negative, or not strictly rising.
#[must_use]
pub fn spread(stack: &Stack, source: &Source, radii: &[f64], photons: u64, seed: u64) -> PhotonSpread {
    let course = Course::new(stack, source, Sight::STRAIGHT_AHEAD, Places::Rings(Rings::new(radii)));
    let batch_size = photons.div_ceil(BATCHES).max(1);
    let batches = batches(&course, batch_size, seed);
    let per_photon = 1.0 / batch_size as f64;
    let estimate =
        |of: &dyn Fn(&Tally) -> f64, scale: f64| estimate(batches.iter().map(of), scale * per_photon);
    PhotonSpread {
        rings: radii
            .windows(2)
            .enumerate()
            .map(|(i, edges)| {
                let area_mm2 = std::f64::consts::PI * (edges[1] * edges[1] - edges[0] * edges[0]);
                Ring {
                    inner_mm: edges[0],
                    outer_mm: edges[1],
                    radiance: estimate(&|tally| tally.seen[i], 1.0 / area_mm2),
                }
            })
            .collect(),
        direct_share: estimate(&|tally| tally.direct, 1.0),
        scattered_share: estimate(&|tally| tally.scattered, 1.0),
        cloth_share: estimate(&|tally| tally.cloth, 1.0),
        board_share: estimate(&|tally| tally.board, 1.0),
        accounted: estimate(&Tally::accounted, 1.0),
        photons: batch_size * BATCHES,
    }
}

/// What a viewer to the side sees of one source.
#[derive(Clone, Debug, PartialEq)]
pub struct SideView {
    /// Radiance towards the viewer per unit of emitted flux in each cell, averaged over its area, in 1/(sr mm2), without
    /// the direct image of the source.
    pub cells: Vec<Estimate>,
    /// The same summed over the whole plane, in 1/sr.
    pub in_all: Estimate,
}

/// Sends photons through a stack and collects what a viewer sees who stands `tilt_rad` (0 to below a right angle) from straight
/// ahead, on the side of +x.
///
/// The cells lie in the plane of the outer face. Number of photons and seed as in [`spread`].
#[must_use]
pub fn side_view(
    stack: &Stack,
    source: &Source,
    tilt_rad: f64,
    cells: &Cells,
    photons: u64,
    seed: u64,
) -> SideView {
    let course = Course::new(stack, source, Sight::from_the_side(tilt_rad), Places::Cells(*cells));
    let batch_size = photons.div_ceil(BATCHES).max(1);
    let batches = batches(&course, batch_size, seed);
    let per_photon = 1.0 / batch_size as f64;
    let of_cell = |i: usize| {
        estimate(batches.iter().map(|tally| tally.seen[i]), per_photon / (cells.side_mm * cells.side_mm))
    };
    SideView {
        cells: (0..cells.len()).map(of_cell).collect(),
        in_all: estimate(batches.iter().map(|tally| tally.seen_in_all), per_photon),
    }
}

/// Walks the batches.
fn batches(course: &Course, batch_size: u64, seed: u64) -> Vec<Tally> {
    // One parent stream hands each batch a full 128-bit state: no two batches share a stretch of the sequence.
    let mut parent = Pcg64Mcg::seed_from_u64(seed);
    let streams: Vec<Pcg64Mcg> = (0..BATCHES).map(|_| Pcg64Mcg::from_rng(&mut parent)).collect();
    streams.into_par_iter().map(|mut stream| course.run(batch_size, &mut stream)).collect()
}

/// Mean and standard error of the mean of the batches' sums, both times `scale`.
fn estimate(sums: impl Iterator<Item = f64> + Clone, scale: f64) -> Estimate {
    let count = BATCHES as f64;
    let mean = sums.clone().sum::<f64>() / count;
    let variance = sums.map(|sum| (sum - mean) * (sum - mean)).sum::<f64>() / (count - 1.0);
    Estimate { value: mean * scale, standard_error: (variance / count).sqrt() * scale }
}
