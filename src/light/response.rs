//! What a stack makes of the light that falls on it, prepared once for all gaps below it.
//!
//! # Model
//! The system of [`super::transport`], `A phi = phi0 + 2 B G1`, knows the first gap by its right side alone: the layers scatter
//! to each other the same wherever the pile of them stands. With the weights `c` that turn fluence into radiance ahead, the
//! radiance is `c A^-1 phi0`, so that `A` is made and solved once for all gaps, and each gap costs the kernels at its nodes.
//!
//! Source: as [`super::transport`]; the adjoint of a linear system.

use super::kernels::Kernel;
use super::transport::{Crossing, SourceKernel, Transport, crossings, straight};
use nalgebra::{DVector, Dyn, LU};
use std::f64::consts::PI;

/// The nodes of one stack at one wavelength, as the light from below and the viewer see them.
#[derive(Debug)]
pub(super) struct Nodes<'a> {
    transport: &'a Transport,
    /// Height of each node in mm, with the gap with which the transport was made.
    heights: Vec<f64>,
    /// The ways from the board to each node.
    ways: Vec<Vec<Crossing>>,
    /// With these weights the fluence falls back on the board for each unit of the kernel there.
    down: Vec<f64>,
    /// With these weights the fluence makes the radiance straight ahead.
    ahead: DVector<f64>,
    straight: f64,
    lambertian: bool,
}

/// The solved system at one frequency.
#[derive(Debug)]
pub(super) struct Response {
    /// With these weights the unscattered fluence at the nodes makes the radiance straight ahead.
    ahead: DVector<f64>,
    /// From unscattered fluence to fluence; only where a board throws light back.
    system: Option<LU<f64, Dyn, Dyn>>,
}

/// What a viewer straight ahead sees, transformed, per unit flux of the source.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    /// Radiance in 1/sr with the board as it is.
    pub(super) radiance: f64,
    /// The same with a black board.
    pub(super) without: f64,
}

impl<'a> Nodes<'a> {
    pub(super) fn new(transport: &'a Transport) -> Nodes<'a> {
        let layers = &transport.layers;
        let (mut heights, mut ways, mut down, mut ahead) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        for (i, layer) in layers.iter().enumerate() {
            let below = crossings(&layers[..i]);
            let above = straight(&layers[i + 1..]);
            let emitted = (1.0 - layer.openness) * layer.albedo * layer.optical_thickness();
            let rule = &layer.reference.rule;
            for (&x, w) in rule.nodes.iter().zip(&rule.weights) {
                let tau = layer.optical_thickness();
                heights.push(layer.bottom + x * layer.thickness);
                ways.push(below.iter().map(|c| Crossing { tau: c.tau + x * tau, ..*c }).collect());
                down.push(0.5 * emitted * w);
                ahead.push(emitted * w / (4.0 * PI) * (-(1.0 - x) * tau).exp() * above);
            }
        }
        let lambertian = matches!(
            &transport.source,
            SourceKernel::Shared(kernel) if std::ptr::eq(*kernel, Kernel::lambertian())
        );
        let ahead = DVector::from_vec(ahead);
        Nodes { transport, heights, ways, down, ahead, straight: straight(layers), lambertian }
    }

    /// Solves the system at the angular frequency `k` in 1/mm.
    pub(super) fn response(&self, k: f64) -> Response {
        let system = self.transport.system(k).lu();
        let ahead = transposed_solution(&system, &self.ahead);
        Response { ahead, system: (self.transport.board > 0.0).then_some(system) }
    }

    /// Flux that the layers throw back on the board per unit flux of the source and of the board; nothing where the board is black.
    pub(super) fn thrown_back(&self, response: &Response, k: f64, raised: f64) -> [f64; 2] {
        let Some(system) = &response.system else { return [0.0; 2] };
        let face = self.kernel_at(Kernel::lambertian(), k, raised);
        let own = (!self.lambertian).then(|| self.kernel_at(self.transport.source.get(), k, raised));
        self.back(system, &face, own.as_ref())
    }

    /// The same from the kernels of the board and, where it shines otherwise, of the source at the nodes.
    fn back(&self, system: &LU<f64, Dyn, Dyn>, face: &DVector<f64>, own: Option<&DVector<f64>>) -> [f64; 2] {
        let back = |unscattered: &DVector<f64>| -> f64 {
            let mut fluence = unscattered.clone();
            // Scattering loses light, so the system has a solution.
            let solved = system.solve_mut(&mut fluence);
            debug_assert!(solved, "scattering cannot create light");
            self.down.iter().zip(face).zip(&fluence).map(|((d, f), p)| d * f * p).sum()
        };
        let from_board = 2.0 * back(face);
        let strength = self.transport.beam_power + 1.0;
        [own.map_or(from_board, |own| strength * back(own)), from_board]
    }

    /// A kernel at the nodes.
    fn kernel_at(&self, kernel: &Kernel, k: f64, raised: f64) -> DVector<f64> {
        let at = |(ways, z): (&Vec<Crossing>, &f64)| -> f64 {
            ways.iter().map(|w| w.weight * kernel.value(w.tau, k * (z + raised))).sum()
        };
        DVector::from_iterator(self.heights.len(), self.ways.iter().zip(&self.heights).map(at))
    }

    /// At `k` and with the stack raised by so many mm.
    pub(super) fn seen(&self, response: &Response, k: f64, raised: f64) -> Seen {
        let strength = self.transport.beam_power + 1.0;
        let board = self.transport.board;
        let needs_face = self.lambertian || response.system.is_some();
        let face =
            if needs_face { self.kernel_at(Kernel::lambertian(), k, raised) } else { DVector::zeros(0) };
        let own = (!self.lambertian).then(|| self.kernel_at(self.transport.source.get(), k, raised));
        let source = own.as_ref().unwrap_or(&face);
        let without = strength * response.ahead.dot(source);
        let Some(system) = &response.system else {
            return Seen { radiance: without, without };
        };
        let [from_source, from_board] = self.back(system, &face, own.as_ref());
        let radiosity = board * from_source / (1.0 - board * from_board);
        let from_radiosity = 2.0 * response.ahead.dot(&face) + self.straight / PI;
        Seen { radiance: without + radiosity * from_radiosity, without }
    }
}

/// The solution of the transposed system: `A = P^T L U`, so `A^T x = U^T L^T P x`.
fn transposed_solution(system: &LU<f64, Dyn, Dyn>, right: &DVector<f64>) -> DVector<f64> {
    let mut solution = right.clone();
    // Scattering loses light, so the system has a solution.
    let solved = system.lu_internal().tr_solve_upper_triangular_mut(&mut solution);
    debug_assert!(solved, "scattering cannot create light");
    // L has ones on its diagonal, which are not stored.
    let lower = system.lu_internal();
    for i in (0..solution.len()).rev() {
        let below: f64 = (i + 1..solution.len()).map(|j| lower[(j, i)] * solution[j]).sum();
        solution[i] -= below;
    }
    system.p().inv_permute_rows(&mut solution);
    solution
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::{Layer, Optics, Stack};
    use crate::quantity::{Millimetres, PerMillimetre};

    #[test]
    fn raising_the_stack_is_the_same_as_making_it_higher() {
        /// Rounding of two ways to solve one system.
        const ROUNDING: f64 = 1e-10;
        let layer = |gap: f64, extinction: f64, openness: f64| Layer {
            gap_below: Millimetres(gap),
            thickness: Millimetres(1.5),
            optics: Optics { extinction: PerMillimetre(extinction), albedo: 0.97, asymmetry: 0.0, openness },
        };
        for beam in [0.0, 1.0, 2.5] {
            let source = SourceKernel::of_beam(beam);
            let at = |gap: f64| {
                let layers = vec![layer(gap, 0.8, 0.2), layer(0.5, 2.0, 0.0)];
                Transport::new(&Stack { board_reflectance: 0.6, layers }, beam, source.clone())
            };
            let low = at(2.0);
            let nodes = Nodes::new(&low);
            for k in [0.0, 0.1, 0.7] {
                let response = nodes.response(k);
                for gap in [2.0, 5.0, 20.0] {
                    let found = nodes.seen(&response, k, gap - 2.0);
                    let (with_board, without) = at(gap).solve_both(k);
                    for (found, exact) in
                        [(found.radiance, with_board.radiance), (found.without, without.radiance)]
                    {
                        assert!((found / exact - 1.0).abs() < ROUNDING, "{beam} {k} {gap}: {found} {exact}");
                    }
                }
            }
        }
    }
}
