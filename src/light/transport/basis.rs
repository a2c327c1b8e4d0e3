//! Nodes of a layer, and rules graded towards the kernel's singularity with the basis polynomials' values at their places: all that
//! depends on the reference interval alone.

use super::{FEW_NODES, NODES};
use crate::light::quadrature::{Interpolation, Rule, gauss_legendre};
use std::sync::OnceLock;

/// Points of the graded rule on each side of a singularity, more than nodes. It must integrate the basis polynomials in a variable
/// raised to [`GRADING`] and the logarithm; 24 for 16 nodes leave 1e-6.
const MORE_POINTS: usize = 8;
/// Power of the grading towards a singularity.
const GRADING: i32 = 3;
/// The same towards a face, where the nodes' own crowding squares it once more.
const FACE_GRADING: i32 = 2;

/// Weighted values of the basis polynomials at one place, the first of which count where there are fewer.
pub(super) type Basis = [f64; NODES];
/// A distance and its logarithm.
type Distance = (f64, f64);

/// The parts of the method that depend on the reference interval alone.
#[derive(Debug)]
pub(in crate::light) struct Reference {
    pub(in crate::light) rule: Rule,
    /// For each node: places of the graded rule as distances to the node with their logarithms, and the weighted basis
    /// values (rule point by node).
    pub(super) own: Vec<(Vec<Distance>, Vec<Basis>)>,
    /// Rules graded towards 0 and towards 1: places and weighted basis values.
    pub(super) near_zero: (Vec<f64>, Vec<Basis>),
    pub(super) near_one: (Vec<f64>, Vec<Basis>),
}

impl Reference {
    /// With [`NODES`] nodes.
    pub(super) fn full() -> &'static Reference {
        static REFERENCE: OnceLock<Reference> = OnceLock::new();
        REFERENCE.get_or_init(|| Reference::new(NODES))
    }

    /// With [`FEW_NODES`].
    pub(super) fn few() -> &'static Reference {
        static REFERENCE: OnceLock<Reference> = OnceLock::new();
        REFERENCE.get_or_init(|| Reference::new(FEW_NODES))
    }

    fn new(nodes: usize) -> Reference {
        let inner = gauss_legendre(nodes);
        let graded = gauss_legendre(nodes + MORE_POINTS);
        let interpolation = Interpolation::from_nodes(&inner.nodes);
        let rule = Rule {
            nodes: inner.nodes.iter().map(|&y| crowd(y)).collect(),
            weights: inner.nodes.iter().zip(&inner.weights).map(|(&y, w)| w * crowd_slope(y)).collect(),
        };
        // The piece from `from` to `to`, graded towards `from`: (y, |x - x(from)|, weight).
        let piece = |from: f64, to: f64, power: i32| -> Vec<(f64, f64, f64)> {
            graded
                .nodes
                .iter()
                .zip(&graded.weights)
                .map(|(&u, &w)| {
                    let step = (to - from) * u.powi(power);
                    let y = from + step;
                    let weight = (to - from).abs() * w * f64::from(power) * u.powi(power - 1);
                    // crowd(y) - crowd(from) without the cancellation.
                    let chord = 3.0 * (y + from) - 2.0 * (y * y + y * from + from * from);
                    (y, (step * chord).abs(), weight * crowd_slope(y))
                })
                .collect()
        };
        let basis = |points: &[(f64, f64, f64)]| -> Vec<Basis> {
            points
                .iter()
                .map(|&(y, _, w)| {
                    let mut row = [0.0; NODES];
                    row.iter_mut().zip(interpolation.basis(y)).for_each(|(r, value)| *r = w * value);
                    row
                })
                .collect()
        };
        let own = inner
            .nodes
            .iter()
            .map(|&y| {
                let points: Vec<_> =
                    piece(y, 0.0, GRADING).into_iter().chain(piece(y, 1.0, GRADING)).collect();
                (points.iter().map(|p| (p.1, p.1.ln())).collect(), basis(&points))
            })
            .collect();
        let (low, high) = (piece(0.0, 1.0, FACE_GRADING), piece(1.0, 0.0, FACE_GRADING));
        let near_zero = (low.iter().map(|p| crowd(p.0)).collect(), basis(&low));
        let near_one = (high.iter().map(|p| crowd(p.0)).collect(), basis(&high));
        Reference { rule, own, near_zero, near_one }
    }
}

/// Maps the unit interval onto itself so that nodes crowd quadratically towards both faces, where the fluence bends
/// like `z ln z` and, in a thick cloth, changes within one mean free path.
fn crowd(y: f64) -> f64 {
    y * y * (3.0 - 2.0 * y)
}

fn crowd_slope(y: f64) -> f64 {
    6.0 * y * (1.0 - y)
}

/// The row of the matrix that the kernel's values at the places of a graded rule make.
pub(super) fn weigh(values: impl Iterator<Item = f64>, basis: &[Basis]) -> Basis {
    let mut row = [0.0; NODES];
    for (value, basis) in values.zip(basis) {
        if value != 0.0 {
            row.iter_mut().zip(basis).for_each(|(r, b)| *r += value * b);
        }
    }
    row
}
