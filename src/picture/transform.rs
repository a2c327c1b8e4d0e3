//! The transforms of one grid of [`super::plane`]: points are spread row by row, rows transformed, then blocks of columns
//! transformed, multiplied by the spectra of the spots, summed over the channels and transformed back while they lie
//! in the cache, and last the wanted rows transformed back. Rows that hold nothing and rows that nobody wants are left out.

use super::fft2::{Complex32, Fft2};
use super::gridding::{Lattice, Stencil, window_transform};
use super::levels::{Channel, Grid, Job, matters};
use super::plane::{SpotChannel, SpotPoint};
use super::radial::{SincTable, TABLE, Table, gaussian};
use crate::light::{Window, sinc};
use rayon::prelude::*;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// Columns worked on together: eight complex numbers fill a cache line.
const BLOCK: usize = 8;
/// Rows transformed back together, so that each piece of a block of columns is read as one.
const ROWS: usize = 8;

impl Job<'_> {
    /// Adds the picture of this grid's share of the spectrum to the planes, at the wanted nodes.
    pub(super) fn transform(&self, grid: &Grid<'_>, planes: &mut [Vec<f32>; 3]) {
        let columns_used =
            ((grid.band * grid.fft.nx as f64 * grid.step_mm / TAU) as usize + 1).min(grid.fft.half());
        let spread: Vec<SpreadChannel<'_>> = self
            .channels
            .par_iter()
            .filter_map(|c| SpreadChannel::new(self, grid, c, columns_used))
            .collect();
        if spread.is_empty() {
            return;
        }
        let rows = grid.wanted.rows;
        let active: Vec<usize> = (0..3).filter(|&c| self.active[c]).collect();
        let blocks = columns_used.div_ceil(BLOCK);
        let mut columns = vec![Complex32::default(); blocks * active.len() * rows * BLOCK];
        columns.par_chunks_mut(active.len() * rows * BLOCK).enumerate().for_each_init(
            || ColumnScratch::new(&grid.fft),
            |scratch, (block, out)| {
                let count = BLOCK.min(columns_used - block * BLOCK);
                scratch.work_on(grid, &spread, block * BLOCK, count, columns_used);
                for (&component, out) in active.iter().zip(out.chunks_exact_mut(rows * BLOCK)) {
                    scratch.inverse(grid, component, count, out);
                }
            },
        );
        drop(spread);
        for (slot, &component) in active.iter().enumerate() {
            let lines = |block: usize, first: usize, count: usize| {
                let start = ((block * active.len() + slot) * rows + first) * BLOCK;
                columns[start..start + count * BLOCK].chunks_exact(BLOCK)
            };
            let length = (blocks * BLOCK).max(grid.fft.half());
            planes[component].par_chunks_mut(grid.wanted.columns * ROWS).enumerate().for_each_init(
                || {
                    let spectra = vec![Complex32::default(); ROWS * length];
                    (spectra, vec![0.0; grid.fft.nx], grid.fft.row_inverse.make_scratch_vec())
                },
                |(spectra, values, scratch), (group, out)| {
                    let count = out.len() / grid.wanted.columns;
                    // The transform leaves its own numbers in its input, beyond the columns used too.
                    spectra
                        .chunks_exact_mut(length)
                        .for_each(|s| s[blocks * BLOCK..].fill(Complex32::default()));
                    for block in 0..blocks {
                        for (row, line) in lines(block, group * ROWS, count).enumerate() {
                            let start = row * length + block * BLOCK;
                            spectra[start..start + BLOCK].copy_from_slice(line);
                        }
                    }
                    for (spectrum, out) in
                        spectra.chunks_exact_mut(length).zip(out.chunks_exact_mut(grid.wanted.columns))
                    {
                        grid.fft.inverse_row(&mut spectrum[..grid.fft.half()], values, scratch);
                        add_every(out, values, grid.stride);
                    }
                },
            );
        }
    }
}

/// Adds every `stride`-th value to the sums.
fn add_every(sums: &mut [f32], values: &[f32], stride: usize) {
    if stride == 1 {
        sums.iter_mut().zip(values).for_each(|(s, v)| *s += v);
    } else {
        sums.iter_mut().zip(values.iter().step_by(stride)).for_each(|(s, v)| *s += v);
    }
}

/// A window that is not round: separable when its sides lie along the grid.
enum SquareWindow {
    Turned { half_side: f32, cos: f32, sin: f32, table: SincTable },
    None,
}

/// One channel on one grid: the spectra of its rows, and what multiplies them.
struct SpreadChannel<'a> {
    channel: &'a Channel<'a>,
    /// Indices of the rows that hold anything.
    rows: Vec<usize>,
    /// Their spectra, `columns_used` values each.
    spectra: Vec<Complex32>,
    table: Table,
    across: Vec<f32>,
    down: Vec<f32>,
    square: SquareWindow,
}

impl<'a> SpreadChannel<'a> {
    fn new(job: &Job<'_>, grid: &Grid<'_>, channel: &'a Channel<'a>, columns_used: usize) -> Option<Self> {
        let (rows, spectra) = row_spectra(grid, &channel.points, columns_used)?;
        let SpotChannel { window, kernels, window_turn_rad, .. } = channel.source;
        let entries = if grid.low_pass.is_some() { job.accuracy.far_entries() } else { TABLE };
        let table = Table::new(grid.band, entries, |k| {
            let low = grid.low_pass.map_or(1.0, |kc| job.crossover.at(k / kc));
            let high = grid.high_pass.map_or(0.0, |kc| job.crossover.at(k / kc));
            let factor = (low - high) * gaussian(k, job.aperture_mm) * window.round_part(k);
            kernels.map(|kernel| kernel.map_or(0.0, |spot| factor * spot.value(k)))
        });
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
        Some(SpreadChannel { channel, rows, spectra, table, across, down, square })
    }
}

/// Spreads points over the grid and transforms the rows that hold any; `None` when none does.
fn row_spectra(
    grid: &Grid<'_>,
    points: &[SpotPoint],
    columns_used: usize,
) -> Option<(Vec<usize>, Vec<Complex32>)> {
    let Fft2 { nx, ny, .. } = grid.fft;
    let places = Lattice { step_mm: grid.step_mm, ..grid.wanted };
    let sides =
        [grid.wanted.columns, grid.wanted.rows].map(|n| n.saturating_sub(1) as f64 * grid.wanted.step_mm);
    let near = |p: &&SpotPoint| matters([p.x_mm - places.x0_mm, places.y0_mm - p.y_mm], sides, grid.pad_mm);
    let stencils: Vec<(Stencil, Stencil, f32)> = points
        .iter()
        .filter(near)
        .map(|p| {
            let [gx, gy] = places.coordinates(p.x_mm, p.y_mm);
            (Stencil::at(gx), Stencil::at(gy), p.amount as f32)
        })
        .collect();
    let wrap = |i: i64, n: usize| i.rem_euclid(n as i64) as usize;
    // For each row: which point, with which weight.
    let mut touching: Vec<Vec<(usize, f32)>> = vec![Vec::new(); ny];
    for (i, (_, down, amount)) in stencils.iter().enumerate() {
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
                let across = &stencils[i].0;
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

/// Working memory for a block of columns.
struct ColumnScratch {
    work: Vec<Complex32>,
    sums: [Vec<Complex32>; 3],
    /// What a column is multiplied by, for each component.
    factors: [Vec<f32>; 3],
    fft: Vec<Complex32>,
}

impl ColumnScratch {
    fn new(fft: &Fft2) -> ColumnScratch {
        let block = || vec![Complex32::default(); BLOCK * fft.ny];
        let scratch =
            fft.column_forward.get_inplace_scratch_len().max(fft.column_inverse.get_inplace_scratch_len());
        ColumnScratch {
            work: block(),
            sums: [block(), block(), block()],
            factors: std::array::from_fn(|_| vec![0.0; fft.ny]),
            fft: vec![Complex32::default(); scratch],
        }
    }

    /// Transforms the columns of every channel, multiplies by the spectra of its spots and sums per component.
    fn work_on(
        &mut self,
        grid: &Grid<'_>,
        spread: &[SpreadChannel<'_>],
        first: usize,
        count: usize,
        used: usize,
    ) {
        let ny = grid.fft.ny;
        self.sums.iter_mut().for_each(|s| s.fill(Complex32::default()));
        for channel in spread {
            self.work.fill(Complex32::default());
            for (spectrum, &row) in channel.spectra.chunks_exact(used).zip(&channel.rows) {
                for (column, value) in spectrum[first..first + count].iter().enumerate() {
                    self.work[column * ny + row] = *value;
                }
            }
            grid.fft.column_forward.process_with_scratch(&mut self.work[..count * ny], &mut self.fft);
            for column in 0..count {
                self.multiply(grid, channel, first + column, column * ny..(column + 1) * ny);
            }
        }
    }

    /// Multiplies a column by the spectra of the channel's spots and adds it to the sums.
    fn multiply(
        &mut self,
        grid: &Grid<'_>,
        channel: &SpreadChannel<'_>,
        column: usize,
        range: std::ops::Range<usize>,
    ) {
        let on = channel.channel.source.kernels.map(|k| k.is_some());
        self.fill_factors(grid, channel, column);
        let work = &self.work[range.clone()];
        for ((sums, factors), _) in self.sums.iter_mut().zip(&self.factors).zip(on).filter(|(_, on)| *on) {
            for ((sum, value), factor) in sums[range.clone()].iter_mut().zip(work).zip(factors) {
                sum.re += value.re * factor;
                sum.im += value.im * factor;
            }
        }
    }

    /// What each row of a column is multiplied by: spots, windows, corrections of the gridding.
    fn fill_factors(&mut self, grid: &Grid<'_>, channel: &SpreadChannel<'_>, column: usize) {
        let ny = grid.fft.ny;
        let kx = (TAU * column as f64 / (grid.fft.nx as f64 * grid.step_mm)) as f32;
        let ky_step = (TAU / (ny as f64 * grid.step_mm)) as f32;
        let band2 = (grid.band * grid.band) as f32;
        // Rows beyond the band stay zero.
        let inside = ((band2 - kx * kx).max(0.0).sqrt() / ky_step) as usize + 1;
        if 2 * inside < ny {
            self.factors.iter_mut().for_each(|f| f[inside..=ny - inside].fill(0.0));
        }
        let [x, y, z] = &mut self.factors;
        let mut set = |row: usize, kernel: &[f32; 4], factor: f32| {
            (x[row], y[row], z[row]) = (factor * kernel[0], factor * kernel[1], factor * kernel[2]);
        };
        for (row, down) in channel.down.iter().enumerate().take(inside) {
            let ky = ky_step * row as f32;
            let k2 = (kx * kx + ky * ky).min(band2);
            let kernel = channel.table.at_square(k2);
            let factor = channel.across[column] * down;
            // Rows go downwards, so frequency `row` of the rows is -ky of the plane.
            let [here, mirrored] = match &channel.square {
                SquareWindow::None => [1.0; 2],
                SquareWindow::Turned { half_side, cos, sin, table } => [-ky, ky].map(|ky| {
                    table.at(half_side * (cos * kx + sin * ky)) * table.at(half_side * (cos * ky - sin * kx))
                }),
            };
            if row > 0 && 2 * row != ny {
                set(ny - row, &kernel, factor * mirrored);
            }
            set(row, &kernel, factor * here);
        }
    }

    /// Transforms a component's columns back and hands out the rows that are wanted.
    fn inverse(&mut self, grid: &Grid<'_>, component: usize, count: usize, out: &mut [Complex32]) {
        let ny = grid.fft.ny;
        let sums = &mut self.sums[component][..count * ny];
        grid.fft.column_inverse.process_with_scratch(sums, &mut self.fft);
        for (row, line) in out.chunks_exact_mut(BLOCK).enumerate() {
            for (column, value) in line.iter_mut().enumerate().take(count) {
                *value = sums[column * ny + row * grid.stride];
            }
        }
    }
}
