//! A block of columns in working memory: transformed, multiplied by the spectra of the spots, summed over the channels and
//! transformed back.

use super::plan::{SpreadChannel, SquareWindow};
use crate::picture::fft2::Complex32;
use crate::picture::levels::Grid;
use crate::picture::radial::Scale;
use crate::picture::slanted::SlantedTable;
use std::f64::consts::TAU;

/// Columns worked on together: eight complex numbers fill a cache line.
pub(in crate::picture) const BLOCK: usize = 8;

/// Frequencies between columns and between rows of a grid's spectrum, in 1/mm.
fn frequency_steps(grid: &Grid) -> [f32; 2] {
    [grid.fft.nx, grid.fft.ny].map(|n| (TAU / (n as f64 * grid.step_mm)) as f32)
}

/// Adds values times factors to the sums.
fn add_product<'a>(sums: &mut [Complex32], values: &[Complex32], factors: impl Iterator<Item = &'a f32>) {
    for ((sum, value), factor) in sums.iter_mut().zip(values).zip(factors) {
        sum.re += value.re * factor;
        sum.im += value.im * factor;
    }
}

/// Working memory for a block of columns.
pub(super) struct ColumnScratch {
    work: Vec<Complex32>,
    sums: [Vec<Complex32>; 3],
    /// Where the tables are to be read, for the rows from frequency zero upwards; one piece of `half_rows` a column.
    places: Vec<(u32, f32)>,
    /// How many rows of each column lie within the band.
    inside: [usize; BLOCK],
    half_rows: usize,
    /// What a column's rows are multiplied by, for each component.
    factors: [Vec<f32>; 3],
    fft: Vec<Complex32>,
}

impl ColumnScratch {
    pub(super) fn new(grid: &Grid) -> ColumnScratch {
        let (fft, back) = (&grid.fft, &grid.back);
        let block = || vec![Complex32::default(); BLOCK * fft.ny];
        let scratch =
            fft.column_forward.get_inplace_scratch_len().max(back.column_inverse.get_inplace_scratch_len());
        let half_rows = fft.ny / 2 + 1;
        ColumnScratch {
            work: block(),
            sums: [block(), block(), block()],
            places: vec![(0, 0.0); BLOCK * half_rows],
            inside: [0; BLOCK],
            half_rows,
            factors: std::array::from_fn(|_| vec![0.0; half_rows]),
            fft: vec![Complex32::default(); scratch],
        }
    }

    /// Finds where the tables of all channels are to be read for a block of columns.
    pub(super) fn find_places(&mut self, grid: &Grid, scale: Scale, first: usize, count: usize) {
        let [kx_step, ky_step] = frequency_steps(grid);
        let band2 = (grid.band * grid.band) as f32;
        let columns = self.places.chunks_exact_mut(self.half_rows).zip(&mut self.inside).take(count);
        for (column, (places, inside)) in columns.enumerate() {
            let kx = kx_step * (first + column) as f32;
            *inside = (((band2 - kx * kx).max(0.0).sqrt() / ky_step) as usize + 1).min(self.half_rows);
            for (row, place) in places[..*inside].iter_mut().enumerate() {
                let ky = ky_step * row as f32;
                *place = scale.place((kx * kx + ky * ky).min(band2));
            }
        }
    }

    /// Transforms the columns of every channel, multiplies by the spectra of its spots and sums per component.
    pub(super) fn work_on(
        &mut self,
        grid: &Grid,
        spread: &[SpreadChannel<'_>],
        active: &[usize],
        first: usize,
        count: usize,
        used: usize,
    ) {
        let ny = grid.fft.ny;
        active.iter().for_each(|&c| self.sums[c].fill(Complex32::default()));
        for channel in spread {
            self.work.fill(Complex32::default());
            for (spectrum, &row) in channel.spectra.chunks_exact(used).zip(&channel.rows) {
                for (column, value) in spectrum[first..first + count].iter().enumerate() {
                    self.work[column * ny + row] = *value;
                }
            }
            grid.fft.column_forward.process_with_scratch(&mut self.work[..count * ny], &mut self.fft);
            for column in 0..count {
                self.multiply(grid, channel, first, column);
            }
        }
    }

    /// Multiplies a column by the spectra of the channel's spots and adds it to the sums.
    fn multiply(&mut self, grid: &Grid, channel: &SpreadChannel<'_>, first: usize, column: usize) {
        if let Some(slanted) = &channel.plan.slanted {
            self.multiply_slanted(grid, channel, slanted, first, column);
            return;
        }
        let ny = grid.fft.ny;
        let inside = self.inside[column];
        let work = &mut self.work[column * ny..(column + 1) * ny];
        let plan = channel.plan;
        if let SquareWindow::Turned { half_side, cos, sin, table } = &plan.square {
            let [kx_step, ky_step] = frequency_steps(grid);
            let kx = kx_step * (first + column) as f32;
            for (row, value) in work.iter_mut().enumerate() {
                // Rows go downwards, so frequency `row` of the rows is -ky of the plane.
                let ky =
                    if row < self.half_rows { -ky_step * row as f32 } else { ky_step * (ny - row) as f32 };
                *value *=
                    table.at(half_side * (cos * kx + sin * ky)) * table.at(half_side * (cos * ky - sin * kx));
            }
        }
        // Spots, windows along the grid, corrections of the gridding: the same for the frequency `row` and for `ny - row`.
        let [x, y, z] = self.factors.each_mut().map(|f| &mut f[..inside]);
        let places = &self.places[column * self.half_rows..][..inside];
        let across = plan.across[first + column];
        for ((((x, y), z), place), down) in x.iter_mut().zip(y).zip(z).zip(places).zip(&plan.down) {
            let [a, b, c, _] = channel.table.at(*place);
            let factor = across * down;
            (*x, *y, *z) = (factor * a, factor * b, factor * c);
        }
        let mirrored = inside.min(ny.div_ceil(2));
        for ((sums, factors), _) in self.sums.iter_mut().zip(&self.factors).zip(plan.on).filter(|(_, on)| *on)
        {
            let sums = &mut sums[column * ny..(column + 1) * ny];
            add_product(&mut sums[..inside], &work[..inside], factors[..inside].iter());
            let above = ny + 1 - mirrored;
            add_product(&mut sums[above..], &work[above..], factors[1..mirrored].iter().rev());
        }
    }

    /// The same for spots seen from the side, whose spectra are complex and differ above and below.
    fn multiply_slanted(
        &mut self,
        grid: &Grid,
        channel: &SpreadChannel<'_>,
        slanted: &SlantedTable,
        first: usize,
        column: usize,
    ) {
        let ny = grid.fft.ny;
        let inside = self.inside[column];
        let [kx_step, ky_step] = frequency_steps(grid);
        let kx = kx_step * (first + column) as f32;
        let places = &self.places[column * self.half_rows..][..inside];
        let across = channel.plan.across[first + column];
        for (row, (place, down)) in places.iter().zip(&channel.plan.down).enumerate() {
            let factor = across * down * channel.table.at(*place)[0];
            if factor == 0.0 {
                continue;
            }
            // Rows go downwards, so frequency `row` of the rows is -ky of the plane.
            let ky = ky_step * row as f32;
            let mut add = |row: usize, ky: f32| {
                let value = self.work[column * ny + row] * factor;
                for (sums, spectrum) in self.sums.iter_mut().zip(slanted.at(kx, ky)) {
                    sums[column * ny + row] += value * spectrum;
                }
            };
            add(row, -ky);
            if row > 0 && ny - row > row {
                add(ny - row, ky);
            }
        }
    }

    /// Transforms a component's columns back and hands out the rows that are wanted.
    pub(super) fn inverse(&mut self, grid: &Grid, component: usize, count: usize, out: &mut [Complex32]) {
        let ny = grid.fft.ny;
        let sums = &mut self.sums[component][..count * ny];
        if grid.stride == 1 {
            grid.back.column_inverse.process_with_scratch(sums, &mut self.fft);
        } else {
            // Every second value of the sum over all frequencies is the sum over half of them, folded.
            for column in sums.chunks_exact_mut(ny) {
                let (low, high) = column.split_at_mut(grid.back.ny);
                low.iter_mut().zip(high).for_each(|(low, high)| *low += *high);
                grid.back.column_inverse.process_with_scratch(low, &mut self.fft);
            }
        }
        for (row, line) in out.chunks_exact_mut(BLOCK).enumerate() {
            for (column, value) in line.iter_mut().enumerate().take(count) {
                *value = sums[column * ny + row];
            }
        }
    }
}
