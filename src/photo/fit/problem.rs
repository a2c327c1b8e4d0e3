//! The residuals of a fit and their derivatives.

use super::super::least_squares::Problem;
use super::rows::{Row, ShotRows, shot_rows};
use super::tables::{Bench, Radii, Spots, spots_at};
use super::unknowns::{COMMON, DARKENING, GREEN, OF_CLOTH, PER_SHOT, SPILL, spill};
use super::*;
use crate::cloth::shape::MOST_OPTICAL_THICKNESS;
use nalgebra::DMatrix;
use std::f64::consts::PI;

/// Darkening of a phone's pictures in the corners once the camera has corrected most of it (common practice, no source).
const DARKENING_BEFORE: (f64, f64) = (0.1, 0.1);
/// Share of another die's light in a channel of the camera once its colours are corrected (common practice, no source).
const SPILL_SURE: f64 = 0.1;
/// The rings reach the background; where they do not, it lies within this share of the peak.
const BACKGROUND_SURE: f64 = 0.3;
/// Steps of the differences: small against the bends of the spot, large against the solver's noise of 1e-6.
const STEP_LN: f64 = 3e-3;
const STEP_OPEN: f64 = 2e-3;
const STEP_ASYMMETRY: f64 = 5e-3;
const STEP_GAP: f64 = 3e-3;
/// Room of the held spots beyond the farthest ring, for the error of the scale.
const ROOM: f64 = 1.25;

/// All photographs and all that is known beforehand.
#[derive(Clone, Debug)]
pub(super) struct Whole {
    pub(super) bench: Bench,
    pub(super) shots: Vec<ShotRows>,
    /// Variable, value and standard uncertainty of what is known beforehand.
    priors: Vec<(usize, f64, f64)>,
    pub(super) before: Beforehand,
    pub(super) answer: [Option<(f64, f64)>; COLOURS],
}

impl Whole {
    pub(super) fn new(subject: &Subject, shots: &[Shot]) -> Whole {
        let bench = Bench {
            thickness_mm: subject.thickness_mm,
            board_reflectance: subject.board_reflectance,
            beam_power: subject.beam_power,
            windows: subject.windows,
        };
        let mut ready: Vec<ShotRows> =
            shots.iter().map(|shot| shot_rows(shot, subject, shots[0].exposure)).collect();
        for i in 0..ready.len() {
            let same = |j: &usize| {
                shots[*j].gap_mm == shots[i].gap_mm && shots[*j].half_diagonal_mm == shots[i].half_diagonal_mm
            };
            ready[i].lead = (0..i).find(same).unwrap_or(i);
        }
        for i in 0..ready.len() {
            let lead = ready[i].lead;
            let of_setup = ready.iter().filter(|shot| shot.lead == lead);
            let farthest = of_setup.map(ShotRows::farthest_mm).fold(1.0, f64::max);
            ready[i].radii = Radii::new(shots[i].gap_mm + subject.thickness_mm, ROOM * farthest);
        }
        let before = &subject.beforehand;
        let mut priors = vec![
            // Anything from closed to a net; the photograph tells.
            (OPENNESS, 0.0, 0.6),
            (DARKENING, DARKENING_BEFORE.0, DARKENING_BEFORE.1),
        ];
        for c in 0..COLOURS {
            let (mean, sure) = before.ln_absorption_ratio[c];
            priors.push((ABSORPTION + c, mean, sure));
            let peak = ready.iter().map(|shot| shot.peaks[c]).fold(1e-6, f64::max);
            let (answer, sure) = match subject.answer[c] {
                Some((answer, sure)) => (answer.ln(), sure),
                None => ((100.0 * peak).ln(), 2.0 * UNKNOWN),
            };
            priors.push((ANSWER + c, answer, sure));
            priors.extend((0..COLOURS).filter(|d| *d != c).map(|d| (spill(c, d), 0.0, SPILL_SURE)));
        }
        for (i, (shot, rows)) in shots.iter().zip(&ready).enumerate() {
            priors.push((of_shot(i, GAP), shot.gap_mm, shot.gap_sure_mm));
            priors.push((of_shot(i, SCALE), 0.0, shot.scale_sure));
            // The exposures of photographs are known against each other, not by themselves: without a bare photograph the first one
            // is the measure.
            let bare = subject.answer.iter().any(Option::is_some);
            let sure = if i == 0 && !bare { 1e-4 } else { shot.exposure_sure };
            priors.push((of_shot(i, EXPOSURE), 0.0, sure));
            for c in 0..COLOURS {
                let ends = rows.rows.iter().filter(|row| row.channel == c).map(|row| row.value);
                let peak = rows.peaks[c].max(1e-6);
                let low = ends.fold(f64::INFINITY, f64::min);
                priors.push((
                    of_shot(i, BACKGROUND + c),
                    if low.is_finite() { low } else { 0.0 },
                    BACKGROUND_SURE * peak,
                ));
            }
        }
        Whole { bench, shots: ready, priors, before: *before, answer: subject.answer }
    }

    /// With one more photograph: the first one over another gap, its radii and errors growing with the height.
    pub(super) fn retaken(&self, gap_mm: f64) -> Option<Whole> {
        let mut whole = self.clone();
        let first = self.shots.first()?;
        let height = gap_mm + self.bench.thickness_mm;
        let factor = height / (first.shot_gap_mm + self.bench.thickness_mm);
        let mut shot = first.clone();
        let farthest = shot.farthest_mm();
        for row in &mut shot.rows {
            // The window stays as large as it is.
            if row.core_mm2.is_none() {
                row.distances_mm.iter_mut().for_each(|distance| *distance *= factor);
            }
        }
        shot.shot_gap_mm = gap_mm;
        shot.radii = Radii::new(height, ROOM * farthest * factor.max(1.0));
        // Exposed anew, so that it is as bright as the first.
        shot.exposure *= factor * factor;
        let new = whole.shots.len();
        shot.lead = new;
        let like_first: Vec<(usize, f64, f64)> = whole
            .priors
            .iter()
            .filter(|(variable, ..)| (COMMON..COMMON + PER_SHOT).contains(variable))
            .copied()
            .collect();
        for (variable, mean, sure) in like_first {
            let variable = variable - COMMON;
            let (mean, sure) = match variable {
                GAP => (gap_mm, sure),
                EXPOSURE => (mean, sure.max(EXPOSURE_SURE)),
                _ => (mean, sure),
            };
            whole.priors.push((of_shot(new, variable), mean, sure));
        }
        whole.shots.push(shot);
        Some(whole)
    }

    /// Uncertainties of what is known beforehand about the variables from this one on.
    pub(super) fn priors_from(&self, variable: usize) -> Vec<(usize, f64)> {
        self.priors.iter().filter(|(v, ..)| *v >= variable).map(|(v, _, sure)| (*v, *sure)).collect()
    }

    /// Number of variables.
    pub(super) fn variables(&self) -> usize {
        COMMON + PER_SHOT * self.shots.len()
    }

    /// Number of means.
    pub(super) fn rows(&self) -> usize {
        self.shots.iter().map(|shot| shot.rows.len()).sum()
    }

    pub(super) fn usable_rings(&self) -> Vec<usize> {
        self.shots.iter().map(|shot| shot.rows.len()).collect()
    }

    /// Variables that the means decide: answers and backgrounds, and about three of the cloth.
    pub(super) fn free_variables(&self) -> usize {
        COLOURS + COLOURS * self.shots.len() + 3
    }

    fn priors_of(&self, at: &DVector<f64>) -> Vec<f64> {
        let given = self.priors.iter().map(|(variable, mean, sure)| (at[*variable] - mean) / sure);
        let cloth = ClothNumbers::of(at);
        let (scattering, asymmetry) = (self.before.ln_scattering, self.before.asymmetry);
        let made = [
            (cloth.scattering(GREEN).ln() - scattering.0) / scattering.1,
            (cloth.asymmetry - asymmetry.0) / asymmetry.1,
        ];
        given.chain(made).collect()
    }

    /// Index of a variable of the set-up of a photograph: the gap or the scale.
    fn of_setup(&self, i: usize, variable: usize) -> usize {
        of_shot(self.shots[i].lead, variable)
    }

    /// The spots of every photograph; those of one set-up are the same.
    fn spots(&self, at: &DVector<f64>) -> Vec<Spots> {
        let cloth = ClothNumbers::of(at);
        let of_leads: Vec<Option<Spots>> = (self.shots.par_iter().enumerate())
            .map(|(i, shot)| {
                let leads = shot.lead == i;
                leads.then(|| spots_at(&self.bench, &cloth, at[of_shot(i, GAP)], &shot.radii))
            })
            .collect();
        self.shots.iter().filter_map(|shot| of_leads[shot.lead].clone()).collect()
    }

    /// What the photograph would show at each mean.
    fn predicted(&self, i: usize, spots: &Spots, at: &DVector<f64>) -> Vec<f64> {
        let reading = self.reading(i, at[self.of_setup(i, SCALE)]);
        self.read_off(i, &reading, spots, at)
    }

    /// Weights with which the held values of a spot make each mean.
    fn reading(&self, i: usize, ln_scale: f64) -> Vec<Vec<f64>> {
        let shot = &self.shots[i];
        let scale = ln_scale.exp();
        let weights = |row: &Row| {
            let mut sum = vec![0.0; shot.radii.weights(0.0).len()];
            for distance in &row.distances_mm {
                for (s, w) in sum.iter_mut().zip(shot.radii.weights(distance * scale)) {
                    *s += w / row.places as f64;
                }
            }
            sum
        };
        shot.rows.par_iter().map(weights).collect()
    }

    fn read_off(&self, i: usize, reading: &[Vec<f64>], spots: &Spots, at: &DVector<f64>) -> Vec<f64> {
        let shot = &self.shots[i];
        let exposure = shot.exposure * at[of_shot(i, EXPOSURE)].exp();
        let ahead = (self.bench.beam_power + 1.0) / (2.0 * PI) * spots.direct;
        let row_value = |(row, weights): (&Row, &Vec<f64>)| {
            let c = row.channel;
            let of_die = |d: usize| -> f64 { weights.iter().zip(&spots.values[d]).map(|(w, v)| w * v).sum() };
            let own = of_die(c);
            let spilt: f64 = match shot.lit {
                Lit::White => {
                    let others = (0..COLOURS).filter(|d| *d != c);
                    others.map(|d| at[spill(c, d)] * (of_die(d) - own)).sum()
                }
                Lit::One(_) => 0.0,
            };
            // The share e of the direct image cancels: it is the same in all colours.
            let direct = row.core_mm2.map_or(0.0, |area| ahead / area);
            let light =
                exposure * at[ANSWER + c].exp() * (own + spilt + direct) + at[of_shot(i, BACKGROUND + c)];
            light * (1.0 - at[DARKENING] * row.off_middle)
        };
        shot.rows.iter().zip(reading).map(row_value).collect()
    }

    /// Sets answers (unless they are known) and backgrounds to what the means want for the cloth at hand: a straight line through
    /// seen against predicted, with the same slope in all photographs.
    ///
    /// Gives the sum of squares of the means' residuals in each colour.
    pub(super) fn settle_answers(&self, at: &mut DVector<f64>) -> [f64; COLOURS] {
        let spots = self.spots(at);
        let mut unit = at.clone();
        for c in 0..COLOURS {
            unit[ANSWER + c] = 0.0;
            (0..self.shots.len()).for_each(|i| unit[of_shot(i, BACKGROUND + c)] = 0.0);
        }
        let predicted: Vec<Vec<f64>> =
            (0..self.shots.len()).map(|i| self.predicted(i, &spots[i], &unit)).collect();
        for c in 0..COLOURS {
            // Of each photograph: mean of seen, mean of predicted, then sums over all.
            let (mut means, mut above, mut below) = (Vec::new(), 0.0, 0.0);
            for (shot, values) in self.shots.iter().zip(&predicted) {
                let pairs = || shot.rows.iter().zip(values).filter(|(row, _)| row.channel == c);
                let weight: f64 = pairs().map(|(row, _)| row.sure.powi(-2)).sum();
                let mean = |of: &dyn Fn((&Row, &f64)) -> f64| -> f64 {
                    pairs().map(|pair| of(pair) * pair.0.sure.powi(-2)).sum::<f64>()
                        / weight.max(f64::MIN_POSITIVE)
                };
                let (seen, model) = (mean(&|(row, _)| row.value), mean(&|(_, value)| *value));
                above += pairs().map(|(r, v)| (r.value - seen) * (v - model) * r.sure.powi(-2)).sum::<f64>();
                below += pairs().map(|(r, v)| (v - model).powi(2) * r.sure.powi(-2)).sum::<f64>();
                means.push((seen, model));
            }
            let slope = match self.answer[c] {
                Some((answer, _)) => answer,
                None if below > 0.0 => (above / below).max(1e-9),
                None => 1.0,
            };
            at[ANSWER + c] = slope.ln();
            for (i, (seen, model)) in means.into_iter().enumerate() {
                at[of_shot(i, BACKGROUND + c)] = seen - slope * model;
            }
        }
        self.cost_by_colour(&spots, at)
    }

    fn cost_by_colour(&self, spots: &[Spots], at: &DVector<f64>) -> [f64; COLOURS] {
        let residuals = self.residuals_with(spots, at);
        let rows = self.shots.iter().flat_map(|shot| &shot.rows);
        let mut costs = [0.0; COLOURS];
        rows.zip(residuals.iter()).for_each(|(row, residual)| costs[row.channel] += residual * residual);
        costs
    }

    fn residuals_with(&self, spots: &[Spots], at: &DVector<f64>) -> DVector<f64> {
        let mut all = Vec::new();
        for (i, shot) in self.shots.iter().enumerate() {
            let predicted = self.predicted(i, &spots[i], at);
            all.extend(shot.rows.iter().zip(predicted).map(|(row, value)| (value - row.value) / row.sure));
        }
        all.extend(self.priors_of(at));
        DVector::from_vec(all)
    }

    /// The profiles at a solution.
    pub(super) fn profiles(&self, at: &DVector<f64>) -> Vec<ShotFit> {
        let spots = self.spots(at);
        let of_shot_fit = |(i, shot): (usize, &ShotRows)| {
            let predicted = self.predicted(i, &spots[i], at);
            let profile = |c: usize| {
                let background = at[of_shot(i, BACKGROUND + c)];
                let rows: Vec<(&Row, f64)> = shot
                    .rows
                    .iter()
                    .zip(predicted.iter().copied())
                    .filter(|(row, _)| row.channel == c)
                    .collect();
                let exposure = shot.exposure * at[of_shot(i, EXPOSURE)].exp();
                let peak =
                    exposure * at[ANSWER + c].exp() * spots[i].values[c].iter().copied().fold(0.0, f64::max);
                let above = |row: &Row, value: f64| {
                    (value / (1.0 - at[DARKENING] * row.off_middle) - background) / peak
                };
                (!rows.is_empty()).then(|| Profile {
                    radii_mm: rows.iter().map(|(row, _)| row.radius_mm).collect(),
                    seen: rows.iter().map(|(row, _)| above(row, row.value)).collect(),
                    errors: rows.iter().map(|(row, _)| row.standard_error / peak).collect(),
                    model: rows.iter().map(|(row, value)| above(row, *value)).collect(),
                    peak,
                    background,
                })
            };
            ShotFit {
                gap_mm: at[self.of_setup(i, GAP)],
                scale: at[self.of_setup(i, SCALE)].exp(),
                exposure: at[of_shot(i, EXPOSURE)].exp(),
                profiles: std::array::from_fn(profile),
            }
        };
        self.shots.iter().enumerate().map(of_shot_fit).collect()
    }
}

impl Problem for Whole {
    fn residuals(&self, at: &DVector<f64>) -> DVector<f64> {
        self.residuals_with(&self.spots(at), at)
    }

    fn linear(&self, at: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        // Spots are dear and depend on the cloth and the gap; all else is cheap and uses the spots at hand.
        let moved = |changes: &[(usize, f64)]| {
            let mut x = at.clone();
            changes.iter().for_each(|(variable, by)| x[*variable] += by);
            x
        };
        let gaps: Vec<(usize, f64)> = (0..self.shots.len())
            .map(|i| (of_shot(i, GAP), STEP_GAP * at[of_shot(i, GAP)].max(0.1 * self.bench.thickness_mm)))
            .collect();
        // The absorption of a colour changes its own spot alone.
        let changes: Vec<Vec<(usize, f64)>> = vec![
            Vec::new(),
            vec![(THICKNESS, STEP_LN)],
            (0..COLOURS).map(|c| (ABSORPTION + c, STEP_LN)).collect(),
            vec![(OPENNESS, if at[OPENNESS] < 0.5 { STEP_OPEN } else { -STEP_OPEN })],
            vec![(ASYMMETRY, STEP_ASYMMETRY)],
            gaps.clone(),
        ];
        let spots: Vec<Vec<Spots>> = changes.par_iter().map(|change| self.spots(&moved(change))).collect();
        let here = self.residuals_with(&spots[0], at);
        let mut jacobian = DMatrix::zeros(here.len(), at.len());
        let mut first = 0;
        for (i, shot) in self.shots.iter().enumerate() {
            let rows = shot.rows.len();
            let reading = self.reading(i, at[self.of_setup(i, SCALE)]);
            let base = self.read_off(i, &reading, &spots[0][i], at);
            let mut put = |variable: usize, by: f64, values: &[f64]| {
                for (r, (value, before)) in values.iter().zip(&base).enumerate() {
                    jacobian[(first + r, variable)] = (value - before) / (by * shot.rows[r].sure);
                }
            };
            let with = |which: usize| self.read_off(i, &reading, &spots[which][i], at);
            put(THICKNESS, STEP_LN, &with(1));
            put(OPENNESS, changes[3][0].1, &with(3));
            put(ASYMMETRY, STEP_ASYMMETRY, &with(4));
            put(self.of_setup(i, GAP), gaps[shot.lead].1, &with(5));
            for c in 0..COLOURS {
                let mut mixed = spots[0][i].clone();
                mixed.values[c].clone_from(&spots[2][i].values[c]);
                put(ABSORPTION + c, STEP_LN, &self.read_off(i, &reading, &mixed, at));
            }
            let cheap = (ANSWER..COMMON)
                .chain([EXPOSURE, BACKGROUND, BACKGROUND + 1, BACKGROUND + 2].map(|v| of_shot(i, v)));
            for variable in cheap {
                // All of these enter nearly straight.
                let by = if (SPILL..COMMON).contains(&variable) { 1e-2 } else { 1e-4 };
                put(variable, by, &self.read_off(i, &reading, &spots[0][i], &moved(&[(variable, by)])));
            }
            let scale = self.of_setup(i, SCALE);
            put(scale, STEP_LN, &self.predicted(i, &spots[0][i], &moved(&[(scale, STEP_LN)])));
            first += rows;
        }
        for (k, (variable, _, sure)) in self.priors.iter().enumerate() {
            jacobian[(first + k, *variable)] = 1.0 / sure;
        }
        // ln s = ln tau + ln(1 - g) + ln a, and 1 - a is what one of the ratio or of 1 - g takes from the albedo.
        let first = first + self.priors.len();
        let cloth = ClothNumbers::of(at);
        let taken = 1.0 - cloth.albedo(GREEN);
        let sure = self.before.ln_scattering.1;
        jacobian[(first, THICKNESS)] = 1.0 / sure;
        jacobian[(first, ASYMMETRY)] = (1.0 - taken) / sure;
        jacobian[(first, ABSORPTION + GREEN)] = -taken / sure;
        jacobian[(first + 1, ASYMMETRY)] = (cloth.asymmetry - 1.0) / self.before.asymmetry.1;
        (here, jacobian)
    }

    fn bounds(&self, variable: usize) -> [f64; 2] {
        match variable {
            // From a film to what lets nothing through.
            THICKNESS => [f64::ln(0.02), f64::ln(MOST_OPTICAL_THICKNESS)],
            v if (ABSORPTION..ABSORPTION + COLOURS).contains(&v) => [-14.0, f64::ln(1000.0)],
            OPENNESS => [0.0, 0.97],
            ASYMMETRY => [f64::ln(1.0 - 0.9), f64::ln(1.0 - 0.3)],
            v if (OF_CLOTH..SPILL).contains(&v) => [-60.0, 60.0],
            v if (SPILL..DARKENING).contains(&v) => [-0.4, 0.4],
            DARKENING => [-0.1, 0.7],
            v => match (v - COMMON) % PER_SHOT {
                GAP => [0.0, 1e4],
                SCALE => [-0.2, 0.2],
                EXPOSURE => [-20.0, 20.0],
                _ => [-1.0, 2.0],
            },
        }
    }
}
