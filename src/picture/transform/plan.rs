//! One channel on one grid: the nodes that its points are spread over, what its spectra are multiplied by, and the rows' spectra
//! for the amounts of light at hand.

use crate::light::{Window, sinc};
use crate::picture::fft2::{Complex32, Fft2};
use crate::picture::gridding::{Lattice, Stencil, window_transform};
use crate::picture::levels::{Channel, Grid, matters};
use crate::picture::plane::{SpotChannel, SpotPoint};
use crate::picture::radial::{SincTable, Table};
use crate::picture::slanted::SlantedTable;
use rayon::prelude::*;
use std::f64::consts::{FRAC_PI_2, PI, TAU};
use std::sync::Arc;

/// A window that is not round: separable when its sides lie along the grid.
pub(super) enum SquareWindow {
    Turned { half_side: f32, cos: f32, sin: f32, table: SincTable },
    None,
}

/// A point that matters on a grid: its place in the list of amounts, its nodes across and down.
pub(in crate::picture) type PlacedPoint = (usize, Stencil, Stencil);

/// One channel on one grid: where its points go, and what multiplies them.
pub(in crate::picture) struct PlannedChannel {
    pub(in crate::picture) stencils: Arc<Vec<PlacedPoint>>,
    /// Which of the tables.
    pub(super) table: usize,
    pub(in crate::picture) across: Vec<f32>,
    pub(in crate::picture) down: Vec<f32>,
    pub(super) square: SquareWindow,
    /// The components that it reaches.
    pub(super) on: [bool; 3],
    /// Its spots where they are seen from the side.
    pub(in crate::picture) slanted: Option<SlantedTable>,
}

/// A channel with the spectra of its rows for the amounts at hand.
pub(super) struct SpreadChannel<'a> {
    pub(super) plan: &'a PlannedChannel,
    pub(super) table: &'a Table,
    /// Indices of the rows that hold anything.
    pub(super) rows: Vec<usize>,
    /// Their spectra, `columns_used` values each.
    pub(super) spectra: Vec<Complex32>,
}

impl PlannedChannel {
    pub(super) fn new(
        grid: &Grid,
        channel: &Channel<'_>,
        stencils: Arc<Vec<PlacedPoint>>,
        columns_used: usize,
        table: usize,
    ) -> Option<PlannedChannel> {
        if stencils.is_empty() {
            return None;
        }
        let SpotChannel { window, window_turn_rad, .. } = channel.source;
        let side = match window {
            Window::Square { side } => side.0,
            Window::Point | Window::Disc { .. } => 0.0,
        };
        let turn = window_turn_rad.rem_euclid(FRAC_PI_2);
        let turned = side > 0.0 && turn.min(FRAC_PI_2 - turn) > 1e-9;
        let square = if turned {
            SquareWindow::Turned {
                half_side: (0.5 * side) as f32,
                cos: turn.cos() as f32,
                sin: turn.sin() as f32,
                table: SincTable::new(0.5 * side * grid.band * std::f64::consts::SQRT_2),
            }
        } else {
            SquareWindow::None
        };
        let line = |n: usize, count: usize| -> Vec<f32> {
            let norm = 1.0 / (n as f64 * grid.step_mm);
            (0..count)
                .map(|i| {
                    let k = TAU * i as f64 / (n as f64 * grid.step_mm);
                    let spread = window_transform((k * grid.step_mm).min(PI));
                    let read: f64 =
                        grid.post.iter().map(|step| window_transform((k * step).min(PI))).product();
                    let window = if turned { 1.0 } else { sinc(0.5 * side * k) };
                    (norm * window / (spread * read)) as f32
                })
                .collect()
        };
        let (across, down) = (line(grid.fft.nx, columns_used), line(grid.fft.ny, grid.fft.ny / 2 + 1));
        let on = channel.source.kernels.map(|kernel| kernel.is_some());
        Some(PlannedChannel { stencils, table, across, down, square, on, slanted: None })
    }
}

/// The nodes of the points that matter on a grid.
pub(super) fn stencils(grid: &Grid, points: &[(usize, SpotPoint)]) -> Vec<PlacedPoint> {
    let places = Lattice { step_mm: grid.step_mm, ..grid.wanted };
    let sides =
        [grid.wanted.columns, grid.wanted.rows].map(|n| n.saturating_sub(1) as f64 * grid.wanted.step_mm);
    points
        .par_iter()
        .filter(|(_, p)| matters([p.x_mm - places.x0_mm, places.y0_mm - p.y_mm], sides, grid.pad_mm))
        .map(|(index, p)| {
            let [gx, gy] = places.coordinates(p.x_mm, p.y_mm);
            (*index, Stencil::at(gx), Stencil::at(gy))
        })
        .collect()
}

/// Spreads points over the grid and transforms the rows that hold any; `None` when none does.
pub(super) fn row_spectra(
    grid: &Grid,
    stencils: &[PlacedPoint],
    amounts: &[f32],
    columns_used: usize,
) -> Option<(Vec<usize>, Vec<Complex32>)> {
    let Fft2 { nx, ny, .. } = grid.fft;
    let wrap = |i: i64, n: usize| i.rem_euclid(n as i64) as usize;
    // For each row: which point, with which weight.
    let mut touching: Vec<Vec<(usize, f32)>> = vec![Vec::new(); ny];
    for (i, (index, _, down)) in stencils.iter().enumerate() {
        let amount = amounts.get(*index).copied().filter(|a| a.is_finite() && *a != 0.0);
        let Some(amount) = amount else { continue };
        for (j, weight) in down.weights.iter().enumerate() {
            touching[wrap(down.first + j as i64, ny)].push((i, weight * amount));
        }
    }
    let rows: Vec<usize> = (0..ny).filter(|&r| !touching[r].is_empty()).collect();
    if rows.is_empty() {
        return None;
    }
    let mut spectra = vec![Complex32::default(); rows.len() * columns_used];
    spectra.par_chunks_mut(columns_used).zip(&rows).for_each_init(
        || {
            (
                vec![0.0_f32; nx],
                grid.fft.row_forward.make_output_vec(),
                grid.fft.row_forward.make_scratch_vec(),
            )
        },
        |(line, spectrum, scratch), (out, &row)| {
            line.fill(0.0);
            for &(i, weight) in &touching[row] {
                let across = &stencils[i].1;
                for (j, w) in across.weights.iter().enumerate() {
                    line[wrap(across.first + j as i64, nx)] += w * weight;
                }
            }
            // The lengths are right by construction, the only error there is.
            let _ = grid.fft.row_forward.process_with_scratch(line, spectrum, scratch);
            out.copy_from_slice(&spectrum[..columns_used]);
        },
    );
    Some((rows, spectra))
}
