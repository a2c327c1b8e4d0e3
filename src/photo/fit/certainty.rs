//! How well the fit knows what it found.
//!
//! **Model.** Near the minimum the sum of squares is a bowl, so the variables have the covariance `(J^T J)^-1`, the rows of the means taken
//! with the standard uncertainties that the misfit shows where it is larger than claimed; numbers made of the variables take theirs by
//! their derivatives.
//! **Source.** JCGM 100:2008 (GUM), section 5, propagation of uncertainty; Press et al., Numerical Recipes, section 15.6 (from memory).

use super::Fit;
use super::problem::Whole;
use super::unknowns::{COLOURS, ClothNumbers, GREEN, OF_CLOTH, OPENNESS, THICKNESS};
use crate::light::totals::shares;
use nalgebra::{DMatrix, DVector};

/// Standard deviations of a normal distribution that hold 90 of 100 (Abramowitz & Stegun, table 26.5; from memory).
pub const NINETY: f64 = 1.644_854;

/// A value with the interval that holds the true one 90 times of 100.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// The value.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// About a positive value whose logarithm has this standard uncertainty.
    #[must_use]
    pub fn of_log(value: f64, sure: f64) -> Interval {
        let factor = (NINETY * sure).exp();
        Interval { value, low: value / factor, high: value * factor }
    }

    /// About a share: between 0 and 1.
    #[must_use]
    pub fn of_share(value: f64, sure: f64) -> Interval {
        Interval { value, low: (value - NINETY * sure).max(0.0), high: (value + NINETY * sure).min(1.0) }
    }

    /// Whether a value lies inside.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// Half of the interval over the value.
    #[must_use]
    pub fn relative(&self) -> f64 {
        0.5 * (self.high - self.low) / self.value.max(f64::MIN_POSITIVE)
    }
}

/// What the fit knows of the cloth.
#[derive(Clone, Debug, PartialEq)]
pub struct Certainty {
    /// Reduced optical thickness of the covered part in red, green and blue.
    pub reduced: [Interval; COLOURS],
    /// Share of a pixel's flux that leaves the front of board, gap and cloth, red, green, blue.
    pub light_kept: [Interval; COLOURS],
    /// Openness.
    pub openness: Interval,
    /// Standard uncertainty of ln of the reduced scattering optical thickness.
    pub ln_scattering: f64,
    /// Standard uncertainty of ln of the light kept in green.
    pub ln_light_kept: f64,
    /// That of the light kept in green if only scattering were uncertain, for a change of ln scattering by 1.
    pub light_per_scattering: f64,
    /// Standard uncertainty of ln absorption in green.
    pub ln_absorption: f64,
    /// Correlation of ln scattering and ln absorption in green.
    pub correlation: f64,
    /// The power p for which scattering times absorption^p (green) is known best, and the standard uncertainty of its logarithm.
    pub best_known: (f64, f64),
}

/// Covariance of all variables of a fit.
pub(super) fn covariance(information: DMatrix<f64>) -> DMatrix<f64> {
    let n = information.nrows();
    information
        .cholesky()
        .map_or_else(|| DMatrix::identity(n, n) * f64::MAX.sqrt(), |solver| solver.inverse())
}

/// `J^T J` with the means' share scaled to the misfit that they show.
pub(super) fn information(fit: &Fit) -> DMatrix<f64> {
    let jacobian = &fit.minimum.jacobian;
    let rows = fit.whole.rows();
    let means = jacobian.rows(0, rows);
    let known = jacobian.rows(rows, jacobian.nrows() - rows);
    means.tr_mul(&means) / fit.reduced_chi_square.max(1.0) + known.tr_mul(&known)
}

/// Numbers made of the cloth's variables, whose certainty is told.
const MADE: usize = 2 * COLOURS + 2;
/// Among them: the light kept and the reduced optical thickness by colour, reduced scattering and absorption in green; all as logarithms.
const KEPT: usize = 0;
const REDUCED: usize = COLOURS;
const SCATTERING: usize = 2 * COLOURS;
const ABSORBING: usize = 2 * COLOURS + 1;

/// Those numbers. The gap is without influence on totals.
fn made(whole: &Whole, at: &DVector<f64>) -> [f64; MADE] {
    let cloth = ClothNumbers::of(at);
    let stacks = cloth.stacks(1.0, whole.bench.thickness_mm, whole.bench.board_reflectance);
    let value = |i: usize| match i {
        SCATTERING => cloth.scattering(GREEN),
        ABSORBING => cloth.absorption(GREEN),
        i if i >= REDUCED => cloth.reduced(i - REDUCED),
        i => {
            let shares = shares(&stacks[i - KEPT], whole.bench.beam_power);
            shares.direct + shares.scattered
        }
    };
    std::array::from_fn(|i| value(i).max(f64::MIN_POSITIVE).ln())
}

/// Their derivatives by the cloth's variables, a row for each.
fn slopes(whole: &Whole, at: &DVector<f64>) -> [[f64; OF_CLOTH]; MADE] {
    const STEP: f64 = 2e-3;
    let here = made(whole, at);
    let mut slopes = [[0.0; OF_CLOTH]; MADE];
    for j in 0..OF_CLOTH {
        let mut moved = at.clone();
        let by = if j == OPENNESS && at[j] > 0.5 { -STEP } else { STEP };
        moved[j] += by;
        for (slopes, (value, before)) in slopes.iter_mut().zip(made(whole, &moved).into_iter().zip(here)) {
            slopes[j] = (value - before) / by;
        }
    }
    slopes
}

/// Covariance of two numbers with these derivatives by the cloth's variables.
fn together(covariance: &DMatrix<f64>, a: &[f64; OF_CLOTH], b: &[f64; OF_CLOTH]) -> f64 {
    let (a, b) = (DVector::from_row_slice(a), DVector::from_row_slice(b));
    (a.transpose() * covariance.view((0, 0), (OF_CLOTH, OF_CLOTH)) * b)[0]
}

impl Fit {
    /// Intervals of what the fit found.
    #[must_use]
    pub fn certainty(&self) -> Certainty {
        self.certainty_with(&covariance(information(self)))
    }

    pub(super) fn certainty_with(&self, covariance: &DMatrix<f64>) -> Certainty {
        let at = &self.minimum.at;
        let values = made(&self.whole, at).map(f64::exp);
        let slopes = slopes(&self.whole, at);
        let joint = |a: usize, b: usize| together(covariance, &slopes[a], &slopes[b]);
        let sure = |i: usize| joint(i, i).max(0.0).sqrt();
        let of_log = |i: usize| Interval::of_log(values[i], sure(i));
        let kept = |c: usize| {
            let interval = of_log(KEPT + c);
            Interval { high: interval.high.min(1.0), ..interval }
        };
        // The p that makes the variance of ln s + p ln q least.
        let both = joint(SCATTERING, ABSORBING);
        let power = -both / joint(ABSORBING, ABSORBING);
        let best = joint(SCATTERING, SCATTERING) + power * both;
        // What the light kept loses with more scattering, the ratio of absorption held.
        let light_per_scattering = slopes[KEPT + GREEN][THICKNESS].abs();
        Certainty {
            reduced: std::array::from_fn(|c| of_log(REDUCED + c)),
            light_kept: std::array::from_fn(kept),
            openness: Interval::of_share(self.cloth.openness, covariance[(OPENNESS, OPENNESS)].sqrt()),
            ln_scattering: sure(SCATTERING),
            ln_light_kept: sure(KEPT + GREEN),
            light_per_scattering,
            ln_absorption: sure(ABSORBING),
            correlation: both / (sure(SCATTERING) * sure(ABSORBING)),
            best_known: (power, best.max(0.0).sqrt()),
        }
    }
}
