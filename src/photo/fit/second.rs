//! Which second photograph would tell most.
//!
//! **Model.** A photograph that has not been taken adds its own `J^T J` to what is known; its derivatives are those of the model at the
//! cloth found, its errors those of the photographs at hand. The one that leaves scattering least uncertain is the best.
//! **Source.** Design of experiments by the information matrix: Fedorov, Theory of Optimal Experiments (1972; from memory).

use super::super::least_squares::Problem;
use super::Fit;
use super::certainty::{covariance, information};
use super::problem::Whole;
use super::unknowns::{ANSWER, COLOURS, PER_SHOT};
use nalgebra::DMatrix;
use rayon::prelude::*;

/// A photograph that could be taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Further {
    /// Of the same cloth over another gap, in mm.
    Gap(f64),
    /// Of the bare pixel.
    Bare,
}

/// What a further photograph would bring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Promise {
    /// The photograph.
    pub further: Further,
    /// Standard uncertainty of ln scattering with it.
    pub ln_scattering: f64,
    /// Standard uncertainty of ln of the light kept in green with it.
    pub ln_light_kept: f64,
}

/// Gaps that are tried, over the one at hand; the shortest is nearly contact.
const GAPS: [f64; 4] = [0.2, 0.5, 2.0, 3.5];
/// How well a bare photograph tells the camera's answer: exposure and linearity of a phone (common practice, no source).
pub const BARE_SURE: f64 = 0.03;

impl Fit {
    /// What further photographs would bring, the best first.
    #[must_use]
    pub fn further(&self) -> Vec<Promise> {
        let known = information(self);
        let mut promises: Vec<Promise> = GAPS
            .par_iter()
            .filter_map(|factor| {
                let gap = (10.0 * factor * self.shots.first()?.gap_mm).round() / 10.0;
                Some(self.promise(Further::Gap(gap), &self.with_gap(&known, gap)?))
            })
            .collect();
        if self.whole.answer.iter().any(Option::is_none) {
            let mut with_bare = known;
            for c in 0..COLOURS {
                with_bare[(ANSWER + c, ANSWER + c)] += BARE_SURE.powi(-2);
            }
            promises.push(self.promise(Further::Bare, &with_bare));
        }
        promises.sort_by(|a, b| a.ln_scattering.total_cmp(&b.ln_scattering));
        promises
    }

    fn promise(&self, further: Further, information: &DMatrix<f64>) -> Promise {
        let certainty = self.certainty_with(&covariance(information.clone()));
        Promise { further, ln_scattering: certainty.ln_scattering, ln_light_kept: certainty.ln_light_kept }
    }

    /// What would be known with a copy of the first photograph taken over another gap.
    fn with_gap(&self, known: &DMatrix<f64>, gap_mm: f64) -> Option<DMatrix<f64>> {
        let whole: Whole = self.whole.retaken(gap_mm)?;
        let n = self.minimum.at.len();
        let mut at = self.minimum.at.clone().insert_rows(n, PER_SHOT, 0.0);
        let last = self.whole.shots.len();
        at[super::of_shot(last, super::GAP)] = gap_mm;
        let (_, jacobian) = whole.linear(&at);
        // The new photograph's rows and the priors of its own variables; the rest is in `known`.
        let before = self.whole.rows();
        let new_rows = jacobian.rows(before, whole.rows() - before);
        let mut sum = new_rows.tr_mul(&new_rows) / self.reduced_chi_square.max(1.0);
        let old = known.shape().0;
        let mut corner = sum.view_mut((0, 0), (old, old));
        corner += known;
        for (variable, sure) in whole.priors_from(old) {
            sum[(variable, variable)] += 1.0 / (sure * sure);
        }
        Some(sum)
    }
}
