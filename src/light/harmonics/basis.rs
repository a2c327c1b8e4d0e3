//! The functions of direction, and what streaming and turning does to them.

use crate::light::quadrature::gauss_legendre;
use crate::light::sheet::associated_row;
use nalgebra::{DMatrix, DVector, SymmetricEigen};
use std::f64::consts::{PI, SQRT_2};
use std::sync::OnceLock;

/// Highest degree of the expansion. Tried on the stacks of `tests/harmonics.rs` against degree 15: 5 leaves up to 4 % in the middle of the
/// spot, 7 leaves 1 %.
pub(super) const DEGREE: usize = 7;
/// The degrees that are used, see [`super::degree_at`].
pub(super) const DEGREES: [usize; 3] = [DEGREE, 5, 3];

/// Orthonormal `B_lm = sqrt((2l + 1) / (4 pi)) N_lm(mu) [1 or sqrt(2) cos(m phi)]`, degree l up to an odd number, 0 <= m <= l.
#[derive(Debug)]
pub(super) struct Basis {
    /// Degree and azimuth mode of each function.
    pub(super) index: Vec<(usize, usize)>,
    /// `<B mu B'>`.
    pub(super) along: DMatrix<f64>,
    /// `<B sin(theta) cos(phi) B'>` with `(-i)^m` taken out of the functions: antisymmetric.
    pub(super) across: DMatrix<f64>,
    /// `<B B'>` over the half of directions with `mu > 0`, of the functions that are odd in mu (row) with all.
    pub(super) incoming: DMatrix<f64>,
    /// `(-1)^(l + m)`: what the reflection `mu -> -mu` makes of each function.
    pub(super) parity: Vec<f64>,
    /// By degree: eigenvectors of the turn about the y axis; the eigenvalues are `2 e - l` for column e.
    turns: Vec<DMatrix<f64>>,
}

impl Basis {
    /// The functions up to this degree, one of [`DEGREES`].
    pub(super) fn get(degree: usize) -> &'static Basis {
        static ALL: [OnceLock<Basis>; DEGREES.len()] = [const { OnceLock::new() }; DEGREES.len()];
        let which = DEGREES.iter().position(|&d| d == degree).unwrap_or(0);
        ALL[which].get_or_init(|| Basis::new(DEGREES[which]))
    }

    fn new(degree: usize) -> Basis {
        let index: Vec<(usize, usize)> =
            (0..=degree).flat_map(|m| (m..=degree).map(move |l| (l, m))).collect();
        let n = index.len();
        let place = |l: usize, m: usize| index.iter().position(|&lm| lm == (l, m));
        let (mut along, mut across) = (DMatrix::zeros(n, n), DMatrix::zeros(n, n));
        for (i, &(l, m)) in index.iter().enumerate() {
            let (lf, mf) = (l as f64, m as f64);
            let first = if m == 0 { SQRT_2 } else { 1.0 };
            if let Some(j) = place(l + 1, m) {
                let above = (lf + 1.0) * (lf + 1.0);
                let value = ((above - mf * mf) / (4.0 * above - 1.0)).sqrt();
                (along[(i, j)], along[(j, i)]) = (value, value);
            }
            let mut couple = |j: Option<usize>, value: f64| {
                if let Some(j) = j {
                    (across[(i, j)], across[(j, i)]) = (value, -value);
                }
            };
            let up = ((lf + mf + 1.0) * (lf + mf + 2.0) / ((2.0 * lf + 1.0) * (2.0 * lf + 3.0))).sqrt();
            couple(place(l + 1, m + 1), 0.5 * first * up);
            if l > m + 1 {
                let down = ((lf - mf) * (lf - mf - 1.0) / ((2.0 * lf - 1.0) * (2.0 * lf + 1.0))).sqrt();
                couple(place(l - 1, m + 1), -0.5 * first * down);
            }
        }
        let parity: Vec<f64> =
            index.iter().map(|&(l, m)| if (l + m) % 2 == 0 { 1.0 } else { -1.0 }).collect();
        Basis {
            incoming: incoming(degree, &index, &parity),
            turns: (0..=degree).map(turn).collect(),
            index,
            along,
            across,
            parity,
        }
    }

    /// Number of functions.
    pub(super) fn len(&self) -> usize {
        self.index.len()
    }

    /// For a function of degree l that is `cos(order phi)` about an axis turned by the imaginary angle `i eta` about y: its part on
    /// each mode m. `growth` is `exp(eta)`.
    pub(super) fn turned(&self, l: usize, order: usize, growth: f64) -> Vec<f64> {
        let vectors = &self.turns[l];
        let factors: Vec<f64> =
            (0..=l).map(|e| growth.powi(2 * e as i32 - l as i32) * vectors[(order, e)]).collect();
        (0..=l).map(|m| factors.iter().enumerate().map(|(e, f)| vectors[(m, e)] * f).sum()).collect()
    }
}

/// See [`Basis::incoming`].
fn incoming(degree: usize, index: &[(usize, usize)], parity: &[f64]) -> DMatrix<f64> {
    // The products are polynomials of degree 2 l.
    let rule = gauss_legendre(degree + 1);
    let tables: Vec<Vec<Vec<f64>>> = (0..=degree)
        .map(|m| rule.nodes.iter().map(|&x| associated_row(m, x, degree + 1)).collect())
        .collect();
    let odd: Vec<(usize, usize)> =
        index.iter().zip(parity).filter(|(_, p)| **p < 0.0).map(|(i, _)| *i).collect();
    DMatrix::from_fn(odd.len(), index.len(), |row, column| {
        let ((l, m), (other, m_other)) = (odd[row], index[column]);
        if m != m_other {
            return 0.0;
        }
        let values = tables[m].iter().zip(&rule.weights).map(|(t, w)| w * t[l] * t[other]);
        0.5 * (((2 * l + 1) * (2 * other + 1)) as f64).sqrt() * values.sum::<f64>()
    })
}

/// Eigenvectors of the generator of turns about y among the functions of degree l, in the order of rising eigenvalues.
fn turn(l: usize) -> DMatrix<f64> {
    let mut generator = DMatrix::zeros(l + 1, l + 1);
    for m in 0..l {
        let first = if m == 0 { SQRT_2 } else { 1.0 };
        let value = 0.5 * first * (((l - m) * (l + m + 1)) as f64).sqrt();
        (generator[(m, m + 1)], generator[(m + 1, m)]) = (value, value);
    }
    DMatrix::from_columns(&eigen(&generator).into_iter().rev().map(|(_, vector)| vector).collect::<Vec<_>>())
}

/// Eigenvalues of a symmetric matrix, falling, with their eigenvectors to the last digits: half of them, which is what the general
/// solver is content with, would be magnified by the condition of high modes.
pub(super) fn eigen(matrix: &DMatrix<f64>) -> Vec<(f64, DVector<f64>)> {
    /// Keeps the shifted matrix from being singular.
    const ASIDE: f64 = 1e-14;
    let solved = SymmetricEigen::new(matrix.clone());
    let refined = |vector: DVector<f64>| {
        // One step of inverse iteration from the Rayleigh quotient.
        let value = vector.dot(&(matrix * &vector)) + ASIDE * matrix.amax();
        let shifted = matrix - DMatrix::identity(matrix.nrows(), matrix.ncols()) * value;
        let found = shifted.lu().solve(&vector).map_or_else(|| vector.clone(), |found| found.normalize());
        (found.dot(&(matrix * &found)), found)
    };
    let mut found: Vec<(f64, DVector<f64>)> =
        solved.eigenvectors.column_iter().map(|vector| refined(vector.into_owned())).collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found
}

/// `sqrt((2l + 1) / (4 pi))`, times `sqrt(2)` for m above 0.
pub(super) fn norm(l: usize, m: usize) -> f64 {
    ((2 * l + 1) as f64 / (4.0 * PI)).sqrt() * if m == 0 { 1.0 } else { SQRT_2 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding in sums of a few dozen terms.
    const ROUNDING: f64 = 1e-12;

    #[test]
    fn streaming_is_the_product_with_the_direction() {
        let basis = Basis::get(DEGREE);
        let (mu, phi) = (0.37f64, 0.8f64);
        let sine = (1.0 - mu * mu).sqrt();
        let value =
            |l: usize, m: usize| norm(l, m) * associated_row(m, mu, DEGREE + 1)[l] * (m as f64 * phi).cos();
        for (i, &(l, m)) in basis.index.iter().enumerate().filter(|(_, lm)| lm.0 < DEGREE) {
            let sum = |matrix: &DMatrix<f64>, sign: fn(usize, usize) -> f64| -> f64 {
                let terms = basis.index.iter().enumerate();
                terms.map(|(j, &(other, n))| sign(m, n) * matrix[(i, j)] * value(other, n)).sum()
            };
            assert!((sum(&basis.along, |_, _| 1.0) - mu * value(l, m)).abs() < ROUNDING, "{l} {m}");
            // Without (-i)^m the product is symmetric.
            let across = sum(&basis.across, |m, n| if n > m { 1.0 } else { -1.0 });
            assert!((across - sine * phi.cos() * value(l, m)).abs() < ROUNDING, "{l} {m}");
        }
    }

    #[test]
    fn without_turning_a_function_stays_itself() {
        let basis = Basis::get(5);
        for l in 0..=5 {
            for order in 0..=l {
                for (m, part) in basis.turned(l, order, 1.0).iter().enumerate() {
                    let expected = if m == order { 1.0 } else { 0.0 };
                    assert!((part - expected).abs() < ROUNDING, "{l} {order} {m}");
                }
            }
        }
    }
}
