//! Isotropic transport through any stack of cloths, exactly, one spatial frequency at a time.
//!
//! # Model
//! The integral (Peierls) form of the radiative transfer equation. A stack without lateral structure turns every
//! pixel into the same round spot, so each angular spatial frequency k can be solved alone and the three-dimensional
//! problem becomes one-dimensional:
//!
//! ```text
//! phi(z) = phi0(z) + sum over layers int a mu K(z, z') phi(z') dz' + 2 B G1(tau(0, z), k z)
//! B      = rho int a mu phi(z) (1/2) G1(tau(0, z), k z) dz
//! K(z, z') = (1/2) G0(tau(z, z'), k |z - z'|)
//! phi0(z)  = 2 pi I0 Gm(tau(0, z), k z),   I0 = (m + 1) / (2 pi)
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | phi | fluence rate per unit flux of the source, transformed over x and y | 1 |
//! | B | radiosity of the board, transformed | 1 |
//! | mu, a, o | extinction, albedo, openness of a layer | 1/mm, 1, 1 |
//! | tau(z, z') | optical path straight across; air adds nothing | 1 |
//! | rho | diffuse reflectance of the board | 1 |
//! | m | exponent of the source's beam | 1 |
//! | Gm | see [`super::kernels`] | 1 |
//!
//! A ray that crosses a whole layer meets a hole with probability o, so each crossing multiplies by
//! `o + (1 - o) exp(-tau u)`: a sum of exponentials, hence a sum of kernels with different optical paths. Inside layer l
//! the unknown is the fluence of the covered part; what leaves it counts with the covered share `1 - o`.
//!
//! The radiance straight ahead is the emission on the way up, attenuated along the normal; the direct image of the
//! source is not part of it.
//!
//! # Method
//! Nystrom collocation at Gauss-Legendre nodes of each layer with product integration: the fluence is taken as the
//! polynomial through the nodes and its integral against the kernel is computed with a rule graded towards the
//! kernel's singularity, so that neither the logarithm inside a layer nor the near-singularity across a contact costs
//! accuracy.
//!
//! # Assumptions and validity
//! Isotropic scattering (forward scattering enters by [`super::forward`]), no lateral structure, no refraction at the
//! faces (cloth is fibres in air), board Lambertian. Any thickness up to an optical thickness of about 100 per layer; at 500
//! too few nodes lie near the faces, and light thrown back by strongly absorbing cloth comes out 10 % low. The error is about
//! 1e-6 of the light that enters: what is darker is left to the `dense` module. Measured accuracy: see `tests/transport.rs`
//! and `tests/edges.rs`.
//!
//! # Source
//! Chandrasekhar, Radiative Transfer (1950), chapter I; Delves & Mohamed, Computational Methods for Integral Equations
//! (1985), product integration. From memory.

mod basis;

use super::Stack;
use super::kernels::{Kernel, exponential_integral};
use super::quadrature::Rule;
use super::stack::unscattered;
use basis::{Reference, weigh};
use nalgebra::DMatrix;
use std::f64::consts::PI;
use std::sync::Arc;

/// Nodes a layer. The unknown is smooth but for `z ln z` at the faces; 16 nodes leave an error below 1e-4 of the
/// straight-ahead radiance (tested), fewer lose thick cloths first.
pub const NODES: usize = 16;
/// Nodes of a layer that is optically thin, and up to which optical thickness (with reduced numbers) it is: they leave 2e-5 of the
/// transform at zero, in piles of white cloth up to 7e-5 (measured against [`NODES`], for albedos from 0.5 to 0.999 and thicknesses from a
/// hundredth of the gap to the gap).
const FEW_NODES: usize = 10;
const THIN: f64 = 2.0;
/// Gap, in thicknesses of the neighbouring layer, below which its integral is graded towards the face it turns to us.
const NEAR: f64 = 0.6;
/// A flat layer is given this share of its height as thickness; smaller changes nothing, larger would show at high k.
const FLAT: f64 = 1e-6;

/// A layer in its place, as the solver wants it.
#[derive(Clone, Debug)]
pub(super) struct Placed {
    /// Its nodes.
    pub(super) reference: &'static Reference,
    /// Index of the first of them among all.
    start: usize,
    pub(super) bottom: f64,
    pub(super) thickness: f64,
    pub(super) extinction: f64,
    pub(super) albedo: f64,
    pub(super) openness: f64,
}

impl Placed {
    pub(super) fn optical_thickness(&self) -> f64 {
        self.extinction * self.thickness
    }

    fn top(&self) -> f64 {
        self.bottom + self.thickness
    }

    /// How many nodes it has.
    fn count(&self) -> usize {
        self.reference.rule.nodes.len()
    }
}

/// A way across whole layers: with probability `weight` a ray meets the optical thickness `tau`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Crossing {
    pub(super) weight: f64,
    pub(super) tau: f64,
}

/// The ways across a run of layers.
pub(super) fn crossings<'a>(layers: impl IntoIterator<Item = &'a Placed>) -> Vec<Crossing> {
    let mut ways = vec![Crossing { weight: 1.0, tau: 0.0 }];
    for layer in layers {
        let (o, tau) = (layer.openness, layer.optical_thickness());
        let covered = ways.iter().map(|w| Crossing { weight: w.weight * (1.0 - o), tau: w.tau + tau });
        if o > 0.0 {
            let open = ways.iter().map(|w| Crossing { weight: w.weight * o, tau: w.tau });
            ways = covered.chain(open).collect();
        } else {
            ways = covered.collect();
        }
    }
    ways
}

/// Isotropic transport through one stack at one wavelength.
#[derive(Debug)]
pub struct Transport {
    pub(super) layers: Vec<Placed>,
    pub(super) board: f64,
    pub(super) beam_power: f64,
    pub(super) source: SourceKernel,
}

/// The kernel of the source's own beam.
#[derive(Clone, Debug)]
pub enum SourceKernel {
    /// One of the kernels that are made once (m = 0 or 1).
    Shared(&'static Kernel),
    /// Made for this beam.
    Own(Arc<Kernel>),
}

impl SourceKernel {
    /// The kernel for a beam `cos^m`.
    #[must_use]
    pub fn of_beam(m: f64) -> SourceKernel {
        if m == 0.0 {
            SourceKernel::Shared(Kernel::isotropic())
        } else if m == 1.0 {
            SourceKernel::Shared(Kernel::lambertian())
        } else {
            SourceKernel::Own(Arc::new(Kernel::of_order(m)))
        }
    }

    pub(super) fn get(&self) -> &Kernel {
        match self {
            SourceKernel::Shared(kernel) => kernel,
            SourceKernel::Own(kernel) => kernel,
        }
    }
}

/// What the transport at one frequency gives, per unit flux of the source.
#[derive(Clone, Copy, Debug, Default)]
pub struct Answer {
    /// Transform of the radiance straight ahead, in 1/sr (per mm2 after the inverse transform).
    pub radiance: f64,
    /// Share of the flux leaving at the top scattered; given at k = 0 only.
    pub exitance: f64,
    /// Share of the flux absorbed in the cloths; given at k = 0 only.
    pub absorbed: f64,
    /// Share of the flux that falls back on the board (more than once where the board reflects); at k = 0 only.
    pub returned: f64,
}

impl Transport {
    /// Prepares a stack with isotropic scattering. The asymmetry of the layers is not looked at: pass reduced optics.
    #[must_use]
    pub fn new(stack: &Stack, beam_power: f64, source: SourceKernel) -> Transport {
        let mut layers: Vec<Placed> = Vec::with_capacity(stack.layers.len());
        for (layer, bottom) in stack.layers.iter().zip(stack.bottoms()) {
            let thin = layer.optical_thickness() <= THIN;
            layers.push(Placed {
                reference: if thin { Reference::few() } else { Reference::full() },
                start: layers.last().map_or(0, |below| below.start + below.count()),
                bottom: bottom.0,
                thickness: layer.thickness.0,
                extinction: layer.optics.extinction.0,
                albedo: layer.optics.albedo,
                openness: layer.optics.openness,
            });
        }
        Transport { layers, board: stack.board_reflectance, beam_power, source }
    }

    /// The same stack with every layer squeezed to no thickness at half its height.
    #[must_use]
    pub fn squeezed(&self) -> Transport {
        let layers = self
            .layers
            .iter()
            .map(|layer| {
                let middle = layer.bottom + 0.5 * layer.thickness;
                let thickness = FLAT * middle;
                Placed {
                    bottom: middle - 0.5 * thickness,
                    thickness,
                    extinction: layer.optical_thickness() / thickness,
                    ..layer.clone()
                }
            })
            .collect();
        Transport { layers, board: self.board, beam_power: self.beam_power, source: self.source.clone() }
    }

    /// Solves at the angular spatial frequency `k` in 1/mm.
    #[must_use]
    pub fn solve(&self, k: f64) -> Answer {
        self.solve_both(k).0
    }

    /// Solves at `k` with the board as it is and, at hardly more cost, with a black board.
    #[must_use]
    pub fn solve_both(&self, k: f64) -> (Answer, Answer) {
        if self.layers.is_empty() {
            return (Answer::default(), Answer::default());
        }
        let (mut right, faces) = self.right_sides(k);
        let lu = self.system(k).lu();
        // Scattering loses light, so the system has an inverse.
        let solved = lu.solve_mut(&mut right);
        debug_assert!(solved, "scattering cannot create light");
        let source = right.column(0);
        let without = self.collect(k, source.as_slice(), 0.0);
        if self.board == 0.0 {
            return (without, without);
        }
        let board = right.column(1);
        // Light that one unit of radiosity and one unit of source send back to the board.
        let back = |phi: &[f64]| -> f64 { faces.iter().zip(phi).map(|(f, p)| f * p).sum() };
        let radiosity = self.board * back(source.as_slice()) / (1.0 - self.board * back(board.as_slice()));
        let fluence: Vec<f64> =
            source.iter().zip(board.iter()).map(|(source, board)| source + radiosity * board).collect();
        (self.collect(k, &fluence, radiosity), without)
    }

    /// Nodes of all layers together.
    fn unknowns(&self) -> usize {
        self.layers.iter().map(Placed::count).sum()
    }

    /// The identity minus scattering at `k`: the same whatever the gap below the first layer.
    pub(super) fn system(&self, k: f64) -> DMatrix<f64> {
        let unknowns = self.unknowns();
        // Row-major.
        let mut matrix = vec![0.0; unknowns * unknowns];
        (0..unknowns).for_each(|i| matrix[i * (unknowns + 1)] = 1.0);
        for i in 0..self.layers.len() {
            self.own_block(&mut matrix, i, k);
            for j in i + 1..self.layers.len() {
                self.cross_blocks(&mut matrix, i, j, k);
            }
        }
        DMatrix::from_row_slice(unknowns, unknowns, &matrix)
    }

    /// The fluence that the source (first column) and a board of unit radiosity (second) make unscattered, and the weights
    /// with which the fluence at the nodes falls back on the board.
    pub(super) fn right_sides(&self, k: f64) -> (DMatrix<f64>, Vec<f64>) {
        let unknowns = self.unknowns();
        let mut right = DMatrix::zeros(unknowns, 2);
        let mut faces = vec![0.0; unknowns];
        let lambertian = Kernel::lambertian();
        let shared = matches!(self.source, SourceKernel::Shared(kernel) if std::ptr::eq(kernel, lambertian));
        for (i, layer) in self.layers.iter().enumerate() {
            let below = crossings(&self.layers[..i]);
            let emitted = (1.0 - layer.openness) * layer.albedo * layer.extinction * layer.thickness;
            let rule = &layer.reference.rule;
            for (p, &x) in rule.nodes.iter().enumerate() {
                let z = layer.bottom + x * layer.thickness;
                let depth = x * layer.optical_thickness();
                let row = layer.start + p;
                let sum = |kernel: &Kernel| -> f64 {
                    below.iter().map(|w| w.weight * kernel.value(w.tau + depth, k * z)).sum()
                };
                let face = sum(lambertian);
                let source = if shared { face } else { sum(self.source.get()) };
                right[(row, 0)] = (self.beam_power + 1.0) * source;
                right[(row, 1)] = 2.0 * face;
                faces[row] = 0.5 * emitted * rule.weights[p] * face;
            }
        }
        (right, faces)
    }

    /// Scattering inside layer `i`.
    fn own_block(&self, matrix: &mut [f64], i: usize, k: f64) {
        let layer = &self.layers[i];
        let factor = 0.5 * layer.albedo * layer.extinction * layer.thickness;
        if factor == 0.0 {
            // A clear or a black cloth scatters nothing, and at k = 0 a clear one has no ray to look along.
            return;
        }
        let (start, count) = (layer.start, layer.count());
        let unknowns = self.unknowns();
        let ray = Kernel::isotropic().along(layer.extinction, k);
        let scale = layer.thickness * layer.extinction.hypot(k);
        let ln_scale = scale.ln();
        for (p, (distances, basis)) in layer.reference.own.iter().enumerate() {
            let row = weigh(distances.iter().map(|(d, ln_d)| ray.at(d * scale, ln_d + ln_scale)), basis);
            let at = (start + p) * unknowns + start;
            matrix[at..at + count].iter_mut().zip(row).for_each(|(m, v)| *m -= factor * v);
        }
    }

    /// Light scattered in layer `upper` that reaches layer `lower`, and the reverse.
    fn cross_blocks(&self, matrix: &mut [f64], lower: usize, upper: usize, k: f64) {
        let kernel = Kernel::isotropic();
        let (below, above) = (&self.layers[lower], &self.layers[upper]);
        let between = crossings(&self.layers[lower + 1..upper]);
        let gap = above.bottom - below.top();
        let unknowns = self.unknowns();
        let factor =
            |from: &Placed| 0.5 * (1.0 - from.openness) * from.albedo * from.extinction * from.thickness;
        let (from_below, from_above) = (factor(below), factor(above));
        let value = |x_below: f64, x_above: f64| -> f64 {
            let height = gap + (1.0 - x_below) * below.thickness + x_above * above.thickness;
            let path = (1.0 - x_below) * below.optical_thickness() + x_above * above.optical_thickness();
            between.iter().map(|w| w.weight * kernel.value(path + w.tau, k * height)).sum()
        };
        let (rule_below, rule_above) = (&below.reference.rule, &above.reference.rule);
        let (near_below, near_above) = (gap < NEAR * below.thickness, gap < NEAR * above.thickness);
        if near_below {
            let (places, basis) = &below.reference.near_one;
            for (p, &x_above) in rule_above.nodes.iter().enumerate() {
                let row = weigh(places.iter().map(|&x_below| value(x_below, x_above)), basis);
                let at = (above.start + p) * unknowns + below.start;
                let values = &mut matrix[at..at + below.count()];
                values.iter_mut().zip(row).for_each(|(m, v)| *m -= from_below * v);
            }
        }
        if near_above {
            let (places, basis) = &above.reference.near_zero;
            for (p, &x_below) in rule_below.nodes.iter().enumerate() {
                let row = weigh(places.iter().map(|&x_above| value(x_below, x_above)), basis);
                let at = (below.start + p) * unknowns + above.start;
                let values = &mut matrix[at..at + above.count()];
                values.iter_mut().zip(row).for_each(|(m, v)| *m -= from_above * v);
            }
        }
        if near_below && near_above {
            return;
        }
        for (p, &x_below) in rule_below.nodes.iter().enumerate() {
            for (q, &x_above) in rule_above.nodes.iter().enumerate() {
                let v = value(x_below, x_above);
                let (row_below, row_above) = (below.start + p, above.start + q);
                if !near_above {
                    matrix[row_below * unknowns + row_above] -= from_above * rule_above.weights[q] * v;
                }
                if !near_below {
                    matrix[row_above * unknowns + row_below] -= from_below * rule_below.weights[p] * v;
                }
            }
        }
    }

    /// Radiance, exitance and losses from the fluence at the nodes.
    fn collect(&self, k: f64, fluence: &[f64], radiosity: f64) -> Answer {
        let mut answer = Answer::default();
        let lambertian = Kernel::lambertian();
        for (i, layer) in self.layers.iter().enumerate() {
            let (above, below) = (crossings(&self.layers[i + 1..]), crossings(&self.layers[..i]));
            let straight_above = straight(&self.layers[i + 1..]);
            let covered = (1.0 - layer.openness) * layer.extinction * layer.thickness;
            let rule = &layer.reference.rule;
            for (p, (&x, w)) in rule.nodes.iter().zip(&rule.weights).enumerate() {
                let phi = fluence[layer.start + p];
                let scattered = covered * w * layer.albedo * phi;
                let (to_top, to_bottom) =
                    ((1.0 - x) * layer.optical_thickness(), x * layer.optical_thickness());
                let share = |ways: &[Crossing], path: f64| -> f64 {
                    ways.iter().map(|c| 0.5 * c.weight * lambertian.value(path + c.tau, 0.0)).sum::<f64>()
                };
                answer.radiance += scattered / (4.0 * PI) * (-to_top).exp() * straight_above;
                if k == 0.0 {
                    answer.exitance += scattered * share(&above, to_top);
                    answer.returned += scattered * share(&below, to_bottom);
                    answer.absorbed += covered * w * (1.0 - layer.albedo) * phi;
                }
            }
        }
        if radiosity > 0.0 {
            answer.radiance += radiosity / PI * straight(&self.layers);
        }
        if radiosity > 0.0 && k == 0.0 {
            // Lambertian flux through all layers unscattered: 2 E3(tau).
            let through: f64 = crossings(&self.layers)
                .iter()
                .map(|c| c.weight * 2.0 * exponential_integral(3.0, c.tau))
                .sum();
            answer.exitance += radiosity * through;
        }
        answer
    }
}

/// Share of light straight ahead that passes these layers.
pub(super) fn straight(layers: &[Placed]) -> f64 {
    layers.iter().map(|l| unscattered(l.openness, l.optical_thickness())).product()
}

/// The rule for integrals over the thickness of a layer.
pub(super) fn layer_rule() -> &'static Rule {
    &Reference::full().rule
}

/// Share of the flux of a source `cos^m` that leaves the stack without having been scattered.
///
/// Uses the layers' own optics: pass the true ones, not the reduced.
#[must_use]
pub fn direct_share(stack: &Stack, beam_power: f64) -> f64 {
    let placed = Transport::new(stack, beam_power, SourceKernel::Shared(Kernel::lambertian())).layers;
    crossings(&placed)
        .iter()
        .map(|c| c.weight * (beam_power + 1.0) * exponential_integral(beam_power + 2.0, c.tau))
        .sum()
}
