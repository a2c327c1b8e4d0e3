//! Nonlinear least squares: Levenberg's and Marquardt's method, with bounds.
//!
//! **Model.** The sum of squares `|r(x)|^2` is brought down by steps `(J^T J + l diag(J^T J)) s = -J^T r`; `l` falls after a step that
//! helps and rises after one that does not. A variable at a bound that a step would leave is held there for that step.
//! **Validity.** Finds the minimum of the valley in which it starts; several starts are the caller's affair.
//! **Source.** Marquardt, An algorithm for least-squares estimation of nonlinear parameters, J. SIAM 11 (1963); Press et al.,
//! Numerical Recipes, section 15.5 (both from memory).

use nalgebra::{DMatrix, DVector};

/// What is to be minimised.
pub trait Problem {
    /// The residuals at a place, each over its standard uncertainty.
    fn residuals(&self, at: &DVector<f64>) -> DVector<f64>;
    /// Residuals and their derivatives (a row for each residual, a column for each variable).
    fn linear(&self, at: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>);
    /// Least and greatest value of a variable.
    fn bounds(&self, variable: usize) -> [f64; 2];
}

/// Where the search ended.
#[derive(Clone, Debug)]
pub struct Minimum {
    /// The place.
    pub at: DVector<f64>,
    /// Residuals there.
    pub residuals: DVector<f64>,
    /// Their derivatives there.
    pub jacobian: DMatrix<f64>,
    /// Whether the steps became as small as asked for, rather than used up.
    pub settled: bool,
    /// Steps that were tried.
    pub steps: usize,
}

/// Damping at the start, and how it falls and rises.
const DAMPING: f64 = 1e-2;
const FALL: f64 = 0.2;
const RISE: f64 = 8.0;
/// With this damping a step is Newton's own.
const LEAST_DAMPING: f64 = 1e-6;
/// With this damping a step is next to nothing: no direction helps any more.
const MOST_DAMPING: f64 = 1e7;
/// The search ends when a step lowers the sum of squares, or promises to, by less than this: a hundredth of what one standard
/// uncertainty makes.
const SETTLED: f64 = 1e-2;

/// Looks for the minimum from a start, which is moved into the bounds first, with so many steps at most.
pub fn minimise(problem: &impl Problem, start: DVector<f64>, most_steps: usize) -> Minimum {
    let within = |mut x: DVector<f64>| {
        for (j, value) in x.iter_mut().enumerate() {
            let [low, high] = problem.bounds(j);
            *value = value.clamp(low, high);
        }
        x
    };
    let mut at = within(start);
    let (mut residuals, mut jacobian) = problem.linear(&at);
    let mut damping = DAMPING;
    for steps in 1..=most_steps {
        let cost = residuals.norm_squared();
        let tried = within(&at + step(problem, &at, &residuals, &jacobian, damping));
        let promised = cost - (&residuals + &jacobian * (&tried - &at)).norm_squared();
        // A step that is hardly held back and promises nothing: this is the bottom.
        if promised < SETTLED && damping <= DAMPING {
            return Minimum { at, residuals, jacobian, settled: true, steps };
        }
        let found = problem.residuals(&tried);
        let gain = cost - found.norm_squared();
        // Written so that a cost that is not a number is no gain.
        if gain > 0.0 {
            at = tried;
            (residuals, jacobian) = problem.linear(&at);
            damping = (damping * FALL).max(LEAST_DAMPING);
        } else {
            damping *= RISE;
            if damping > MOST_DAMPING {
                return Minimum { at, residuals, jacobian, settled: true, steps };
            }
        }
    }
    Minimum { at, residuals, jacobian, settled: false, steps: most_steps }
}

fn step(
    problem: &impl Problem,
    at: &DVector<f64>,
    residuals: &DVector<f64>,
    jacobian: &DMatrix<f64>,
    damping: f64,
) -> DVector<f64> {
    let n = at.len();
    let normal = jacobian.tr_mul(jacobian);
    let slope = -jacobian.tr_mul(residuals);
    let mut held = vec![false; n];
    loop {
        let mut system = normal.clone();
        let mut right = slope.clone();
        for j in 0..n {
            if held[j] {
                system.row_mut(j).fill(0.0);
                system.column_mut(j).fill(0.0);
                right[j] = 0.0;
            }
            let diagonal = system[(j, j)];
            system[(j, j)] = if diagonal > 0.0 { diagonal * (1.0 + damping) } else { 1.0 };
        }
        let step = system.cholesky().map_or_else(|| DVector::zeros(n), |solver| solver.solve(&right));
        let leaves = |j: usize| {
            let [low, high] = problem.bounds(j);
            (at[j] <= low && step[j] < 0.0) || (at[j] >= high && step[j] > 0.0)
        };
        let leaving: Vec<usize> = (0..n).filter(|&j| !held[j] && leaves(j)).collect();
        if leaving.is_empty() {
            return step;
        }
        leaving.into_iter().for_each(|j| held[j] = true);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEPS: usize = 60;
    /// Taken as each point's uncertainty: so small that a search ends close to the minimum.
    const SURE: f64 = 1e-3;

    struct Curve<F: Fn(f64, &DVector<f64>) -> f64> {
        points: Vec<(f64, f64)>,
        model: F,
        low: f64,
    }

    impl<F: Fn(f64, &DVector<f64>) -> f64> Problem for Curve<F> {
        fn residuals(&self, at: &DVector<f64>) -> DVector<f64> {
            DVector::from_iterator(
                self.points.len(),
                self.points.iter().map(|(x, y)| ((self.model)(*x, at) - y) / SURE),
            )
        }
        fn linear(&self, at: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
            const DIFFERENCE: f64 = 1e-6;
            let here = self.residuals(at);
            let columns: Vec<DVector<f64>> = (0..at.len())
                .map(|j| {
                    let mut moved = at.clone();
                    let by = DIFFERENCE * at[j].abs().max(1e-6);
                    moved[j] += by;
                    (self.residuals(&moved) - &here) / by
                })
                .collect();
            (here, DMatrix::from_columns(&columns))
        }
        fn bounds(&self, _: usize) -> [f64; 2] {
            [self.low, 1e6]
        }
    }

    #[test]
    fn certified_values_of_a_reference_data_set_are_found() {
        // Misra1a, NIST Statistical Reference Datasets (data and certified values from memory): y = b1 (1 - exp(-b2 x)), both starts.
        let points = vec![
            (77.6, 10.07),
            (114.9, 14.73),
            (141.1, 17.94),
            (190.8, 23.93),
            (239.9, 29.61),
            (289.0, 35.18),
            (332.8, 40.02),
            (378.4, 44.82),
            (434.8, 50.76),
            (477.3, 55.05),
            (536.8, 61.01),
            (593.1, 66.40),
            (689.1, 75.47),
            (760.0, 81.78),
        ];
        /// Of the certified eleven digits, those that remain where the search ends.
        const CERTIFIED: f64 = 1e-4;
        for start in [[500.0, 1e-4], [250.0, 5e-4]] {
            let model = |x: f64, b: &DVector<f64>| b[0] * (1.0 - (-b[1] * x).exp());
            let curve = Curve { points: points.clone(), model, low: 0.0 };
            let first = minimise(&curve, DVector::from_row_slice(&start), STEPS);
            let found = minimise(&curve, first.at, STEPS);
            assert!(found.settled);
            assert!((found.at[0] / 238.942_129_18 - 1.0).abs() < CERTIFIED, "{}", found.at);
            assert!((found.at[1] / 5.501_564_318_1e-4 - 1.0).abs() < CERTIFIED, "{}", found.at);
            assert!((found.residuals.norm_squared() * SURE * SURE - 0.124_551_388_94).abs() < CERTIFIED);
        }
    }

    #[test]
    fn a_variable_stays_within_its_bounds() {
        // The best slope would be negative.
        let curve = Curve {
            points: vec![(0.0, 2.0), (1.0, 1.0), (2.0, 0.0)],
            model: |x: f64, b: &DVector<f64>| b[0] + b[1] * x,
            low: 0.0,
        };
        let found = minimise(&curve, DVector::from_row_slice(&[3.0, 3.0]), STEPS);
        assert_eq!(found.at[1], 0.0);
        assert!((found.at[0] - 1.0).abs() < 1e-6, "{}", found.at);
    }
}
