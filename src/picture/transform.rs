//! The transforms of one grid of [`super::plane`]: points are spread row by row, rows transformed, then blocks of columns
//! transformed, multiplied by the spectra of the spots, summed over the channels and transformed back while they lie
//! in the cache, and last the wanted rows transformed back. Rows that hold nothing and rows that nobody wants are left out.

mod columns;
mod plan;

use super::fft2::Complex32;
use super::levels::{Grid, Job};
use super::plane::SpotChannel;
use super::radial::{Scale, TABLE, Table, gaussian};
use crate::light::Window;
use crate::light::spread::SpotSpectrum;
pub(super) use columns::BLOCK;
use columns::ColumnScratch;
pub(super) use plan::PlacedPoint;
use plan::{PlannedChannel, SpreadChannel, row_spectra, stencils};
use rayon::prelude::*;
use std::f64::consts::TAU;
use std::sync::Arc;

/// Rows transformed back together, so that each piece of a block of columns is read as one.
pub(super) const ROWS: usize = 8;

/// The transforms of one grid, with all that depends on places and spots alone.
pub(super) struct Transform {
    pub(super) grid: Grid,
    pub(super) columns_used: usize,
    scale: Scale,
    tables: Vec<Table>,
    /// By channel; `None` for one of which no point matters here.
    pub(super) channels: Vec<Option<PlannedChannel>>,
}

impl Job<'_> {
    /// The transforms of a grid.
    pub(super) fn transform(&self, grid: Grid) -> Transform {
        let columns_used =
            ((grid.band * grid.fft.nx as f64 * grid.step_mm / TAU) as usize + 1).min(grid.fft.half());
        let entries = if grid.low_pass.is_some() { self.accuracy.far_entries() } else { TABLE };
        let scale = Scale::new(grid.band, entries);
        let (tables, table_of) = self.tables(&grid, scale);
        // Dies in one place send from the same points, and so do the components of a colour.
        let mut nodes: Vec<Arc<Vec<PlacedPoint>>> = Vec::with_capacity(self.channels.len());
        for (i, channel) in self.channels.iter().enumerate() {
            let same = self.channels[..i].iter().position(|known| known.has_places_of(channel));
            nodes.push(
                same.map_or_else(
                    || Arc::new(stencils(&grid, &channel.points)),
                    |same| Arc::clone(&nodes[same]),
                ),
            );
        }
        let channels = self
            .channels
            .iter()
            .zip(nodes)
            .zip(table_of)
            .map(|((channel, nodes), table)| {
                let mut plan = PlannedChannel::new(&grid, channel, nodes, columns_used, table)?;
                plan.slanted = channel.slanted.map(|slanted| slanted.tabulated(scale, grid.band, entries));
                Some(plan)
            })
            .collect();
        Transform { grid, columns_used, scale, tables, channels }
    }
}

impl Transform {
    /// Adds the picture of this grid's share of the spectrum to the planes, at the wanted nodes: for the amounts of all channels'
    /// points, to the components that are active.
    pub(super) fn add(&self, planes: &mut [Vec<f32>; 3], amounts: &[Vec<f32>], active: &[bool; 3]) {
        let (grid, scale, columns_used) = (&self.grid, self.scale, self.columns_used);
        let spread: Vec<SpreadChannel<'_>> = self
            .channels
            .par_iter()
            .zip(amounts)
            .filter_map(|(plan, amounts)| {
                let plan = plan.as_ref()?;
                let (rows, spectra) = row_spectra(grid, &plan.stencils, amounts, columns_used)?;
                Some(SpreadChannel { plan, table: &self.tables[plan.table], rows, spectra })
            })
            .collect();
        if spread.is_empty() {
            return;
        }
        let rows = grid.wanted.rows;
        let active: Vec<usize> = (0..3).filter(|&c| active[c]).collect();
        let blocks = columns_used.div_ceil(BLOCK);
        let mut columns = vec![Complex32::default(); blocks * active.len() * rows * BLOCK];
        columns.par_chunks_mut(active.len() * rows * BLOCK).enumerate().for_each_init(
            || ColumnScratch::new(grid),
            |scratch, (block, out)| {
                let count = BLOCK.min(columns_used - block * BLOCK);
                scratch.find_places(grid, scale, block * BLOCK, count);
                scratch.work_on(grid, &spread, &active, block * BLOCK, count, columns_used);
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
                    (spectra, vec![0.0; grid.back.nx], grid.back.row_inverse.make_scratch_vec())
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
                        if grid.stride > 1 {
                            fold_half(&mut spectrum[..grid.fft.half()], grid.back.half());
                        }
                        grid.back.inverse_row(&mut spectrum[..grid.back.half()], values, scratch);
                        out.iter_mut().zip(&*values).for_each(|(sum, value)| *sum += value);
                    }
                },
            );
        }
    }
}

impl Job<'_> {
    /// The tables of the channels' spots seen through their windows, and which of them each channel uses: channels with the
    /// same outline and the same single spot share one.
    fn tables(&self, grid: &Grid, scale: Scale) -> (Vec<Table>, Vec<usize>) {
        let mut wanted: Vec<(Window, [Option<&SpotSpectrum>; 3])> = Vec::new();
        // What is seen from the side has tables of its own and takes the crossovers alone from here.
        let mut of_slanted = self.channels.iter().map(|channel| channel.slanted.is_some());
        if of_slanted.any(|slanted| slanted) {
            let factors = Table::new(scale, |k| [self.passed(grid, k); 3]);
            return (vec![factors], vec![0; self.channels.len()]);
        }
        let table_of = self
            .channels
            .iter()
            .map(|channel| {
                let SpotChannel { window, kernels, .. } = channel.source;
                let mut spots = kernels.iter().flatten();
                let first = spots.next().copied();
                let single = spots.all(|spot| first.is_some_and(|first| std::ptr::eq(first, *spot)));
                // Components that stay dark are left out later.
                let kernels = if single { [first; 3] } else { *kernels };
                let same = |known: &(Window, [Option<&SpotSpectrum>; 3])| {
                    let pairs = known.1.iter().zip(&kernels);
                    let equal = |(a, b): (&Option<&SpotSpectrum>, &Option<&SpotSpectrum>)| match (a, b) {
                        (Some(a), Some(b)) => std::ptr::eq(*a, *b),
                        (None, None) => true,
                        _ => false,
                    };
                    known.0 == *window && pairs.into_iter().all(equal)
                };
                wanted.iter().position(same).unwrap_or_else(|| {
                    wanted.push((*window, kernels));
                    wanted.len() - 1
                })
            })
            .collect();
        let table = |(window, kernels): &(Window, [Option<&SpotSpectrum>; 3])| {
            let single = kernels.iter().flatten().all(|spot| std::ptr::eq(*spot, kernels[0].unwrap_or(spot)));
            Table::new(scale, |k| {
                let factor = self.passed(grid, k) * window.round_part(k);
                let value = |kernel: Option<&SpotSpectrum>| kernel.map_or(0.0, |spot| factor * spot.value(k));
                if single { [value(kernels[0]); 3] } else { kernels.map(value) }
            })
        };
        (wanted.iter().map(table).collect(), table_of)
    }

    /// Share of a spot's transform at `k` that this grid carries.
    fn passed(&self, grid: &Grid, k: f64) -> f64 {
        let low = grid.low_pass.map_or(1.0, |kc| self.crossover.at(k / kc));
        let high = grid.high_pass.map_or(0.0, |kc| self.crossover.at(k / kc));
        (low - high) * gaussian(k, self.aperture_mm)
    }
}

/// The kept half of a real row's spectrum, folded to that of the row's every second value: frequency `u + nx/2` stands for
/// `u`, and it is the conjugate of `nx/2 - u`.
fn fold_half(spectrum: &mut [Complex32], folded: usize) {
    let last = spectrum.len() - 1;
    for u in 0..folded {
        spectrum[u] += spectrum[last - u].conj();
    }
}
