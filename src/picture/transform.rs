//! The transforms of one grid of [`super::plane`]: points are spread row by row, rows transformed, then blocks of columns
//! transformed, multiplied by the spectra of the spots, summed over the channels and transformed back while they lie
//! in the cache, and last the wanted rows transformed back. Rows that hold nothing and rows that nobody wants are left out.

use super::fft2::{Complex32, Fft2};
use super::gridding::{Lattice, Stencil, window_transform};
use super::levels::{Channel, Grid, Job, matters};
use super::plane::{SpotChannel, SpotPoint};
use super::radial::{Scale, SincTable, TABLE, Table, gaussian};
use super::slanted::SlantedTable;
use crate::light::spread::SpotSpectrum;
use crate::light::{Window, sinc};
use rayon::prelude::*;
use std::f64::consts::{FRAC_PI_2, PI, TAU};
use std::sync::Arc;

/// Columns worked on together: eight complex numbers fill a cache line.
pub(super) const BLOCK: usize = 8;
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

/// The kept half of a real row's spectrum, folded to that of the row's every second value: frequency `u + nx/2` stands for
/// `u`, and it is the conjugate of `nx/2 - u`.
fn fold_half(spectrum: &mut [Complex32], folded: usize) {
    let last = spectrum.len() - 1;
    for u in 0..folded {
        spectrum[u] += spectrum[last - u].conj();
    }
}

/// A window that is not round: separable when its sides lie along the grid.
enum SquareWindow {
    Turned { half_side: f32, cos: f32, sin: f32, table: SincTable },
    None,
}

/// A point that matters on a grid: its place in the list of amounts, its nodes across and down.
pub(super) type PlacedPoint = (usize, Stencil, Stencil);

/// One channel on one grid: where its points go, and what multiplies them.
pub(super) struct PlannedChannel {
    pub(super) stencils: Arc<Vec<PlacedPoint>>,
    /// Which of the tables.
    table: usize,
    pub(super) across: Vec<f32>,
    pub(super) down: Vec<f32>,
    square: SquareWindow,
    /// The components that it reaches.
    on: [bool; 3],
    /// Its spots where they are seen from the side.
    pub(super) slanted: Option<SlantedTable>,
}

/// A channel with the spectra of its rows for the amounts at hand.
struct SpreadChannel<'a> {
    plan: &'a PlannedChannel,
    table: &'a Table,
    /// Indices of the rows that hold anything.
    rows: Vec<usize>,
    /// Their spectra, `columns_used` values each.
    spectra: Vec<Complex32>,
}

impl PlannedChannel {
    fn new(
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
fn stencils(grid: &Grid, points: &[(usize, SpotPoint)]) -> Vec<PlacedPoint> {
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
fn row_spectra(
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

/// Working memory for a block of columns.
struct ColumnScratch {
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
    fn new(grid: &Grid) -> ColumnScratch {
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
    fn find_places(&mut self, grid: &Grid, scale: Scale, first: usize, count: usize) {
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
    fn work_on(
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
    fn inverse(&mut self, grid: &Grid, component: usize, count: usize, out: &mut [Complex32]) {
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
