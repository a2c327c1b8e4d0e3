//! A single cloth that scatters forwards or lets hardly any light through: spherical harmonics at each spatial frequency, which keep
//! the angles inside the cloth.
//!
//! # Model
//! [`super::transport`] with [`super::forward`] puts what forward scattering adds on planes inside the cloth. That fails where the cloth is
//! much thicker than its stand-off: there it matters in which depth light was turned, and how often. Here the viewer's ray is sent
//! backwards instead (reciprocity): a beam straight into the outer face whose strength varies as `exp(i k x)`. At the depth s below the
//! outer face its light, scattered at least once, obeys
//!
//! ```text
//! (mu d/ds + i k sin(theta) cos(phi) + mu_t) L = mu_t a int p L dOmega + mu_t a p(ahead) exp(-mu_t s),   nothing comes in from outside
//! L = sum over l, m of (-i)^m x_lm(s) B_lm(Omega)
//! x(s) = beam exp(-mu_t s) + sum over modes of [b X exp(-nu s) + c X* exp(-nu (t - s))],   nu = sqrt(k^2 + 1 / lambda^2)
//! ```
//!
//! Each mode is one of k = 0 with the decay length lambda, turned by an imaginary angle about y so that it decays along
//! `(i k, 0, nu)`; X* is X reflected; b and c follow from Marshak's conditions at the faces. The source is folded with what this
//! scatters anew at each depth,
//!
//! ```text
//! L(k) = int ds int I(theta) exp(-i k (h + t - s) tan(theta) cos(phi)) exp(-mu_t (t - s) / mu) / mu  J(s, Omega) dOmega,
//! J = mu_t a [p(mu) exp(-mu_t s) / (4 pi) + sum of g^l x_lm B_lm (-i)^m]
//! ```
//!
//! so that light scattered once has the exact phase function and both its ways are exact. What the degrees above the last lack (it is
//! scattered twice or more, by small angles) is the difference to adding-doubling at k = 0; it is laid around mid-layer with the
//! weight `6 x (1 - x)`. At k = 0 the result is adding-doubling.
//!
//! The board's light enters likewise, as a Lambertian source. What the cloth throws back on it is that of [`super::transport`] with
//! reduced numbers, times the ratio at k = 0 of adding-doubling to it. Holes let their share of both through.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | s, t, h | depth below the outer face, thickness, stand-off | mm |
//! | mu_t, a, g | extinction, albedo, asymmetry | 1/mm, 1, 1 |
//! | x_lm, B_lm | moments of the light and the orthonormal harmonics, see `basis` | |
//! | theta, mu, phi | angle to the way into the cloth, its cosine, azimuth from the direction of k | rad, 1, rad |
//!
//! # Assumptions and validity
//! One layer over its board. High degrees lose their digits where k is high against the extinction, and are needed least there: see
//! [`degree_at`]. Figures: `tests/harmonics.rs`. Asymmetries up to 0.8.
//!
//! # Source
//! Liemert & Kienle, Spatially modulated light source obliquely incident on a semi-infinite scattering medium, Optics Letters 37
//! (2012), and Markel, Modified spherical harmonics method for solving the radiative transport equation, Waves in Random Media 14
//! (2004): rotated reference frames; Case & Zweifel, Linear Transport Theory (1967): Marshak's conditions, reciprocity; Nakajima &
//! Tanaka (1988): single scattering kept exact. From memory.

mod basis;
mod rays;
mod rows;
mod slab;

use super::quadrature::Interpolation;
use super::response::{Nodes, Response};
use super::straight::straight_transmittance;
use super::transport::{SourceKernel, Transport, layer_rule};
use super::{Layer, Optics, Stack};
use basis::{Basis, DEGREES};
use nalgebra::DMatrix;
use rayon::prelude::*;
use rays::{Arrived, Rays, dot, place};
use rows::Rows;
use slab::Slab;
use std::f64::consts::PI;

/// Asymmetries between which this way begins to replace the other and has replaced it. Without forward scattering the other is exact.
/// Against photons, behind 4 and 6 mm of cloth 0.25 to 1 mm off, it errs by up to 1.4 % of the peak at an asymmetry of 0.03 and by 3.8 %
/// at 0.1, this by 0.8 and 1.3 %.
const FORWARD: [f64; 2] = [0.0, 0.02];
/// Decay lengths of diffuse light in the thickness (logarithm of what gets through), by diffusion with reduced numbers, at which this
/// way replaces the other without forward scattering too: the other is good to some 1e-5 of the light that comes in, this one keeps
/// its digits.
const FAINT: [f64; 2] = [4.0, 6.0];
/// Asymmetries between which this gives way again: sharper peaks need more degrees.
const PEAKED: [f64; 2] = [0.82, 0.88];
/// Optical thickness below which a cloth is as good as not there.
const NOTHING: f64 = 1e-6;
/// Albedos at which more stacks than that are solved; between them is interpolated as in [`super::spots`].
const ALBEDOS: usize = 9;

/// Which share of a stack's spot is to be found this way: 0 where the other way serves, 1 where it does not.
pub(super) fn share(stack: &Stack) -> f64 {
    let [layer] = &stack.layers[..] else { return 0.0 };
    if layer.optical_thickness() < NOTHING {
        return 0.0;
    }
    let g = layer.optics.asymmetry;
    let faint = between(FAINT, layer.thickness.0 * layer.optics.diffuse_decay());
    between(FORWARD, g).max(faint) * (1.0 - between(PEAKED, g))
}

/// Rises smoothly from 0 to 1.
fn between([low, high]: [f64; 2], x: f64) -> f64 {
    let y = ((x - low) / (high - low)).clamp(0.0, 1.0);
    y * y * (3.0 - 2.0 * y)
}

/// Which of the [`DEGREES`] serves where the frequency is so many times the extinction: their modes grow alike, and rounding
/// moves the result by 1e-5 of the whole where these give way to each other.
fn degree_at(ratio: f64) -> usize {
    if ratio < 6.0 {
        0
    } else if ratio < 16.0 {
        1
    } else {
        2
    }
}

/// Frequency over extinction above which light scattered twice or more is left out but for what the degrees lack: at such frequencies it
/// is next to nothing, and the harmonics would see their own rounding (5e-4 of the peak at 360, measured).
const ONCE: f64 = 200.0;

/// Stacks of one layer that differ in albedo alone, ready for any frequency and any gap.
#[derive(Debug)]
pub(super) struct Near {
    extinction: f64,
    /// The gap in mm with which the anchors' transports were made.
    gap: f64,
    depths: Vec<f64>,
    anchors: Vec<Anchor>,
    /// For each stack the weights of the anchors; `None` where each is its own.
    mixed: Option<Vec<Vec<f64>>>,
    /// Of the source, and of the board where it shines otherwise.
    beams: Vec<Beam>,
    /// By stack.
    around: Vec<Around>,
}

/// What is beside the covered part of a stack's layer.
#[derive(Debug)]
struct Around {
    openness: f64,
    board: f64,
    /// Share straight ahead that passes the layer unscattered.
    through: f64,
}

/// One layer at one albedo.
#[derive(Debug)]
struct Anchor {
    /// By degree.
    slabs: Vec<Slab>,
    /// With reduced numbers, over a board that throws light back.
    reduced: Transport,
}

/// What one kind of source does.
#[derive(Debug)]
struct Beam {
    rays: Rays,
    /// By anchor, by degree, by depth, by direction: what is scattered once, and what the harmonics lack.
    once: Vec<Vec<Vec<Vec<f64>>>>,
    /// By anchor: transform at k = 0, and share of the flux thrown back.
    whole: Vec<f64>,
    whole_back: Vec<f64>,
    /// By anchor: what the layer throws back in all, over what the transport with reduced numbers says.
    returned: Vec<f64>,
}

/// The layers at one frequency, whatever the gap.
#[derive(Debug)]
pub(super) struct Answer<'a> {
    k: f64,
    degree: usize,
    /// By anchor: what scatters towards the viewer at each depth, and what the reduced transport answers.
    anchors: Vec<(DMatrix<f64>, Nodes<'a>, Response)>,
}

/// What one closed layer does, transformed, per unit flux of the source or of the board.
#[derive(Clone, Copy, Debug)]
struct Share {
    /// Radiance straight ahead in 1/sr.
    ahead: f64,
    /// Flux thrown back on the board.
    back: f64,
}

impl Near {
    /// For a source `cos^m`; every stack must have one layer.
    pub(super) fn new(stacks: &[&Stack], beam_power: f64) -> Near {
        let layers: Vec<&Layer> = stacks.iter().filter_map(|stack| stack.layers.first()).collect();
        let (albedos, mixed) = albedos(&layers);
        let closed = |albedo: f64| {
            let optics = Optics { albedo, openness: 0.0, ..layers[0].optics };
            Layer { optics, ..*layers[0] }
        };
        let (extinction, thickness) = (layers[0].optics.extinction.0, layers[0].thickness.0);
        let rule = layer_rule();
        let depths: Vec<f64> = rule.nodes.iter().map(|x| x * thickness).collect();
        let distances: Vec<f64> = depths.iter().map(|s| thickness - s).collect();
        let weights: Vec<f64> = rule.weights.iter().map(|w| w * thickness).collect();
        let source = SourceKernel::of_beam(beam_power);
        let (anchors, rows): (Vec<Anchor>, Vec<Rows>) = albedos
            .par_iter()
            .map(|&albedo| {
                let layer = closed(albedo);
                let slabs: Vec<Slab> = DEGREES.iter().map(|&degree| Slab::new(degree, &layer)).collect();
                let rows = Rows::new(&layer, &slabs, &depths, &weights);
                let stack = Stack { board_reflectance: 1.0, layers: vec![layer.reduced()] };
                (Anchor { slabs, reduced: Transport::new(&stack, beam_power, source.clone()) }, rows)
            })
            .unzip();
        let powers = if beam_power == 1.0 { vec![1.0] } else { vec![beam_power, 1.0] };
        let beams = powers
            .into_iter()
            .enumerate()
            .map(|(i, power)| {
                let rays = Rays::new(&layers[0].optics, &distances, &weights, power);
                let once = rows.iter().map(|rows| rows.of(&rays)).collect();
                let whole = rows.iter().map(|rows| 2.0 * PI * dot(&rows.ahead, &rays.falling)).collect();
                let whole_back: Vec<f64> = rows.iter().map(|rows| rows.thrown_back(power)).collect();
                let returned = whole_back.iter().zip(&anchors).map(|(whole, anchor)| {
                    let nodes = Nodes::new(&anchor.reduced);
                    let reduced = nodes.thrown_back(&nodes.response(0.0), 0.0, 0.0)[i];
                    if reduced > 0.0 { whole / reduced } else { 0.0 }
                });
                Beam { returned: returned.collect(), rays, once, whole, whole_back }
            })
            .collect();
        let around = stacks
            .iter()
            .map(|stack| Around {
                openness: stack.layers[0].optics.openness,
                board: stack.board_reflectance,
                through: straight_transmittance(&stack.layers),
            })
            .collect();
        Near { extinction, gap: layers[0].gap_below.0, depths, anchors, mixed, beams, around }
    }

    /// Solves at `k` in 1/mm.
    pub(super) fn at(&self, k: f64) -> Answer<'_> {
        let degree = degree_at(k / self.extinction);
        let solved = self.anchors.par_iter().map(|anchor| {
            let sources = if k < ONCE * self.extinction {
                anchor.slabs[degree].sources(k, &self.depths)
            } else {
                DMatrix::zeros(Basis::get(DEGREES[degree]).index.len(), self.depths.len())
            };
            let nodes = Nodes::new(&anchor.reduced);
            let response = nodes.response(k);
            (sources, nodes, response)
        });
        Answer { k, degree, anchors: solved.collect() }
    }

    /// For each stack: transform of the radiance straight ahead in 1/sr over this gap, per unit flux of the source.
    pub(super) fn radiances(&self, answer: &Answer<'_>, gap: f64) -> Vec<f64> {
        let by_beam: Vec<Vec<Share>> =
            self.beams.iter().enumerate().map(|(i, beam)| self.of_beam(i, beam, answer, gap)).collect();
        let of_board = &by_beam[by_beam.len() - 1];
        let radiance = |((own, board), around): ((&Share, &Share), &Around)| {
            let covered = 1.0 - around.openness;
            let returned = around.board * covered;
            let radiosity = returned * own.back / (1.0 - returned * board.back);
            covered * own.ahead + radiosity * (covered * board.ahead + around.through / PI)
        };
        by_beam[0].iter().zip(of_board).zip(&self.around).map(radiance).collect()
    }

    fn of_beam(&self, which: usize, beam: &Beam, answer: &Answer<'_>, gap: f64) -> Vec<Share> {
        let arrived = beam.rays.at(answer.k, gap);
        let degree = DEGREES[answer.degree];
        let shares: Vec<Share> = answer
            .anchors
            .iter()
            .zip(beam.once.iter().zip(&beam.returned))
            .map(|((sources, nodes, response), (once, returned))| Share {
                ahead: folded(&arrived, sources, &once[answer.degree], degree),
                back: returned * nodes.thrown_back(response, answer.k, gap - self.gap)[which],
            })
            .collect();
        let Some(mixed) = &self.mixed else { return shares };
        // What gets through changes by powers of ten, apart from it the shape; what is thrown back likewise.
        let mix = |weights: &[f64], pick: fn(&Share) -> f64, whole: &[f64]| -> f64 {
            if whole.iter().any(|&whole| whole <= 0.0) {
                return weights.iter().zip(&shares).map(|(w, share)| w * pick(share)).sum();
            }
            let height: f64 = weights.iter().zip(whole).map(|(w, whole)| w * whole.ln()).sum();
            let shape = weights.iter().zip(&shares).zip(whole);
            height.exp() * shape.map(|((w, share), whole)| w * pick(share) / whole).sum::<f64>()
        };
        let share = |weights: &Vec<f64>| Share {
            ahead: mix(weights, |share| share.ahead, &beam.whole),
            back: mix(weights, |share| share.back, &beam.whole_back),
        };
        mixed.iter().map(share).collect()
    }
}

/// The light that arrives at each depth, times what is scattered towards the viewer there.
fn folded(arrived: &[Arrived], source: &DMatrix<f64>, once: &[Vec<f64>], degree: usize) -> f64 {
    let index = &Basis::get(degree).index;
    let of_depth = |Arrived { depth, moments, turned }: &Arrived| -> f64 {
        let more = index.iter().enumerate().map(|(i, &(l, m))| source[(i, *depth)] * moments[place(l, m)]);
        more.sum::<f64>() + dot(turned, &once[*depth])
    };
    arrived.iter().map(of_depth).sum()
}

/// The albedos to solve, and for each layer the weights with which it is interpolated between them.
fn albedos(layers: &[&Layer]) -> (Vec<f64>, Option<Vec<Vec<f64>>>) {
    let own: Vec<f64> = layers.iter().map(|layer| layer.optics.albedo).collect();
    if own.len() <= ALBEDOS {
        return (own, None);
    }
    let roots: Vec<f64> = own.iter().map(|a| (1.0 - a).max(0.0).sqrt()).collect();
    let (low, high) = roots.iter().fold((f64::INFINITY, 0.0f64), |(l, h), &r| (l.min(r), h.max(r)));
    let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
    if half == 0.0 {
        return (vec![own[0]], Some(vec![vec![1.0]; own.len()]));
    }
    // Chebyshev points, stretched so that the outer ones are the ends.
    let angle = |i: usize| PI * (i as f64 + 0.5) / ALBEDOS as f64;
    let nodes: Vec<f64> = (0..ALBEDOS).map(|i| middle + half * angle(i).cos() / angle(0).cos()).collect();
    let interpolation = Interpolation::from_nodes(&nodes);
    let mixed = roots.iter().map(|&root| interpolation.basis(root)).collect();
    (nodes.iter().map(|r| 1.0 - r * r).collect(), Some(mixed))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Millimetres, PerMillimetre};

    fn stack(gap: f64, thickness: f64, tau: f64, albedo: f64, asymmetry: f64) -> Stack {
        let optics = Optics { extinction: PerMillimetre(tau / thickness), albedo, asymmetry, openness: 0.0 };
        let layer = Layer { gap_below: Millimetres(gap), thickness: Millimetres(thickness), optics };
        Stack { board_reflectance: 0.0, layers: vec![layer] }
    }

    #[test]
    fn in_all_the_harmonics_alone_are_nearly_adding_doubling() {
        /// Of the whole, by degree 7, 5 and 3: what the degrees above lack.
        const LACKING: [f64; 3] = [0.01, 0.02, 0.05];
        for (tau, albedo, g) in [(2.0, 0.9995, 0.5), (8.0, 0.98, 0.7), (4.0, 0.7, 0.6), (12.0, 0.999, 0.8)] {
            let layer = stack(1.0, 1.0, tau, albedo, g).layers[0];
            let rule = layer_rule();
            let slabs = DEGREES.map(|degree| Slab::new(degree, &layer));
            let rows = Rows::new(&layer, &slabs, &rule.nodes, &rule.weights);
            let falling = Rays::new(&layer.optics, &rule.nodes, &rule.weights, 1.0).falling;
            for (lacking, allowed) in rows.lacking.iter().zip(LACKING) {
                let share = dot(lacking, &falling) / dot(&rows.ahead, &falling);
                assert!(share.abs() < allowed, "{tau} {albedo} {g}: {share}");
            }
        }
    }

    #[test]
    fn isotropic_layers_throw_back_what_the_transport_says() {
        /// Adding-doubling against the transport's 16 nodes.
        const ERROR: f64 = 2e-4;
        for beam_power in [1.0, 3.0] {
            let stack = stack(0.7, 2.0, 6.0, 0.7, 0.0);
            let near = Near::new(&[&stack], beam_power);
            for beam in &near.beams {
                assert!((beam.returned[0] - 1.0).abs() < ERROR, "{beam_power}: {}", beam.returned[0]);
            }
        }
    }

    #[test]
    fn degrees_meet_where_one_takes_over_from_the_other() {
        /// Of the whole.
        const STEP: f64 = 0.006;
        for (tau, thickness, g) in [(2.0, 4.0, 0.8), (3.0, 15.0, 0.75), (2.0, 1.0, 0.6)] {
            let stack = stack(0.5, thickness, tau, 0.999, g);
            let near = Near::new(&[&stack], 1.0);
            for ratio in [6.0, 16.0, ONCE] {
                let at = |k: f64| near.radiances(&near.at(k), 0.5)[0];
                let k = ratio * near.extinction;
                let step = (at(k * (1.0 + 1e-9)) - at(k * (1.0 - 1e-9))).abs() / near.beams[0].whole[0];
                assert!(step < STEP, "{tau} {thickness} {g}, at {ratio}: {step}");
            }
        }
    }

    #[test]
    fn single_cloths_that_scatter_forwards_or_are_dense_are_taken() {
        assert_eq!(share(&stack(2.0, 0.8, 4.0, 0.98, 0.7)), 1.0);
        assert_eq!(share(&stack(2.0, 0.8, 4.0, 0.98, 0.0)), 0.0);
        assert_eq!(share(&stack(2.0, 0.8, 4.0, 0.98, 0.95)), 0.0);
        assert_eq!(share(&stack(60.0, 0.8, 30.0, 0.7, 0.7)), 1.0);
        assert_eq!(share(&stack(60.0, 0.8, 30.0, 0.7, 0.0)), 1.0);
        let mut two = stack(2.0, 0.8, 4.0, 0.98, 0.7);
        two.layers.push(two.layers[0]);
        assert_eq!(share(&two), 0.0);
    }
}
