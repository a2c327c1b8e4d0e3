//! One way of seeing: its cells, its rules, what was the worst.

use super::cells::Grid;
use super::changes::{Light, Path, Redness, SECOND, in_one_second};
use super::meter::Meter;
use super::report::{Calmer, Finding, Judgement, Moment, Seen, Worst};
use super::rules::{Colour, Contrast, TOO_MANY_CHANGES, of_garment, of_screen};
use rayon::prelude::*;
use std::collections::VecDeque;

/// Changes of a place that are kept, and so the most that are told of a second.
const TOLD_CHANGES: usize = 32;
/// Lesser depths that are tried along with the full one.
const DEPTHS: [f64; 9] = [0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1];
/// Speeds are told in steps of one over this.
const SPEED_STEPS: f64 = 100.0;
/// Pictures of the last second that are kept at most.
const MOST_HISTORY: usize = 128;

/// When a picture is shown.
#[derive(Clone, Copy, Debug)]
pub(super) struct Moved {
    pub(super) ticks: u32,
    pub(super) time_s: f64,
    pub(super) frame: usize,
}

/// One way of seeing.
#[derive(Clone, Debug)]
pub(super) struct View {
    pub(super) seen: Seen,
    pub(super) grid: Grid,
    general: Meter<Light>,
    red: Meter<Redness>,
    /// Depths that still pass.
    lesser: Vec<(f64, Meter<Light>)>,
    /// Luminances of the last second.
    history: VecDeque<(Moved, Vec<f32>)>,
    worst_general: Option<Worst>,
    worst_red: Option<Worst>,
}

impl View {
    pub(super) fn new(seen: Seen, grid: Grid, contrast: Contrast) -> View {
        let cells = grid.len();
        View {
            seen,
            general: Meter::new(contrast, cells, TOLD_CHANGES),
            red: Meter::new((), cells, TOLD_CHANGES),
            lesser: DEPTHS
                .iter()
                .map(|&depth| (depth, Meter::new(contrast.at_depth(depth), cells, TOO_MANY_CHANGES)))
                .collect(),
            history: VecDeque::new(),
            worst_general: None,
            worst_red: None,
            grid,
        }
    }

    /// Takes the next picture: means over the cells of linear sRGB on a screen, of X, Y, Z on the garment.
    pub(super) fn push(&mut self, moved: Moved, means: &[[f32; 3]]) {
        let of = match self.seen {
            Seen::Screen => of_screen,
            Seen::Garment { .. } => of_garment,
        };
        let (light, colours): (Vec<f32>, Vec<Colour>) = means.par_iter().map(|&mean| of(mean)).unzip();
        let now = moved.ticks;
        while self
            .history
            .front()
            .is_some_and(|(old, _)| !in_one_second(old.ticks, now) || self.history.len() >= MOST_HISTORY)
        {
            self.history.pop_front();
        }
        self.lesser.retain_mut(|(_, meter)| {
            meter.push(&self.grid, now, &light);
            meter.passed()
        });
        let brighter = self.general.push(&self.grid, now, &light);
        let redder = self.red.push(&self.grid, now, &colours);
        self.history.push_back((moved, light));
        if brighter.worse {
            self.worst_general = self.worst(&self.general, now);
        }
        if redder.worse {
            self.worst_red = self.worst(&self.red, now);
        }
    }

    /// The second that ends now, at the place that changes most.
    fn worst<P: Path>(&self, meter: &Meter<P>, now: u32) -> Option<Worst> {
        // Where it only sweeps, no place need have as many changes.
        let cells = (1..=meter.most_changes)
            .rev()
            .map(|n| (0..self.grid.len()).filter(|&c| meter.reaches(c, n, now)).collect::<Vec<_>>())
            .find(|cells| !cells.is_empty())?;
        let range = |cell: usize| {
            let values = || self.history.iter().map(|(_, light)| light[cell]);
            values().fold(f32::NEG_INFINITY, f32::max) - values().fold(f32::INFINITY, f32::min)
        };
        let cell = cells.into_par_iter().max_by(|&a, &b| range(a).total_cmp(&range(b)).then(b.cmp(&a)))?;
        let trace: Vec<Moment> = self
            .history
            .iter()
            .map(|(moved, light)| Moment {
                time_s: moved.time_s,
                frame: moved.frame,
                luminance: f64::from(light[cell]),
            })
            .collect();
        let changed: Vec<Moved> = meter
            .times(cell, now)
            .into_iter()
            .filter_map(|at| self.history.iter().map(|h| h.0).find(|moved| moved.ticks == at))
            .collect();
        Some(Worst {
            start_s: trace.first()?.time_s,
            end_s: trace.last()?.time_s,
            place_px: self.grid.middle_px(cell),
            trace,
            changes_s: changed.iter().map(|moved| moved.time_s).collect(),
            frames: changed.iter().map(|moved| moved.frame).collect(),
        })
    }

    /// What was found; times count from `first_s`.
    pub(super) fn judgement(self, first_s: f64) -> Judgement {
        let calmer = (!self.general.passed() || !self.red.passed()).then(|| {
            let slowest = self.general.slowest_safe(&self.grid).min(self.red.slowest_safe(&self.grid));
            let speed = (SPEED_STEPS * slowest).floor() / SPEED_STEPS;
            let depth = self.lesser.first().map(|(depth, _)| *depth);
            Calmer { speed: (speed > 0.0).then_some(speed), depth: depth.filter(|_| self.red.passed()) }
        });
        Judgement {
            seen: self.seen,
            cell_deg: self.grid.cell_deg,
            general: finding(&self.general, self.worst_general, first_s),
            red: finding(&self.red, self.worst_red, first_s),
            calmer,
        }
    }
}

fn finding<P: Path>(meter: &Meter<P>, worst: Option<Worst>, first_s: f64) -> Finding {
    let seconds = |ticks: u32| first_s + f64::from(ticks) / f64::from(SECOND);
    Finding {
        passed: meter.passed(),
        most_changes: meter.most_changes,
        area_sr: meter.most_area,
        spans_s: meter.spans.iter().map(|span| span.map(seconds)).collect(),
        worst,
    }
}
