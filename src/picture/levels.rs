//! The grids of [`super::plane`]: planning each, spreading points, the transforms, and handing the far part on.

use super::fft2::{Complex32, Fft2, smooth_size};
use super::gridding::{Lattice, Stencil, WIDTH, interpolate_onto, window_transform};
use super::plane::{Accuracy, Frame, PlaneReport, SpotChannel, SpotPoint};
use super::radial::{Samples, SincTable, Table, gaussian, radial_window, sinc};
use crate::light::Window;
use crate::light::spread::SpotSpectrum;
use rayon::prelude::*;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// Below this ratio of grid step to image pixel the image's own pixels are the cheaper grid.
const WORTH_INTERPOLATING: f64 = 1.25;
/// A grid of half an image pixel is used for sharp spots up to this many image pixels: beyond, it would not fit in a
/// few hundred megabytes.
const REFINED_PIXELS: usize = 2_500_000;
/// Padding of the finest grid as a share of the picture's larger side: less makes the next grid dear, more this one.
const FIRST_PAD: f64 = 0.04;
/// Each far grid pads this many times as far as the grid before it.
const PAD_GROWTH: f64 = 6.0;
/// The least padding is so many times the distance at which the near part could die off at all on the grid.
const LEAST_PAD: f64 = 1.2;
/// Once the padding is this share of the extent of everything, the next grid is the last.
const NEARLY_ALL: f64 = 0.5;
/// Padding of the last grid over the extent of everything: a spot's tail `h^2 / (pi r^4)` summed over an evenly lit square
/// of side W and its periodic copies then stays below 1.3e-4 (h/W)^2 of the mean.
const LAST_PAD_EXTENTS: f64 = 10.0;
/// Padding of the last grid over the spots' own scale h, for pictures smaller than a spot: `(h/r)^4` is then 2e-5 of the peak.
const LAST_PAD_SCALES: f64 = 15.0;
/// A last grid of so few nodes is not worth splitting.
const SMALL_GRID: usize = 131_072;
/// Columns worked on together: eight complex numbers fill a cache line.
const BLOCK: usize = 8;

/// One channel, cleaned.
struct Channel<'a> {
    points: Vec<SpotPoint>,
    source: &'a SpotChannel<'a>,
}

/// What stays the same over all grids.
struct Job<'a> {
    channels: Vec<Channel<'a>>,
    samples: Vec<Samples>,
    active: [bool; 3],
    accuracy: Accuracy,
    aperture_mm: f64,
    scale_mm: f64,
}

/// Adds all spots to the planes of a frame that has pixels.
pub(super) fn add_all(
    planes: &mut [Vec<f32>; 3],
    frame: &Frame,
    channels: &[SpotChannel<'_>],
    accuracy: Accuracy,
    report: &mut PlaneReport,
) {
    let usable =
        |p: &&SpotPoint| p.x_mm.is_finite() && p.y_mm.is_finite() && p.amount.is_finite() && p.amount != 0.0;
    let channels: Vec<Channel<'_>> = channels
        .iter()
        .map(|source| Channel { points: source.points.iter().filter(usable).copied().collect(), source })
        .filter(|c| !c.points.is_empty())
        .collect();
    let spots: Vec<&SpotSpectrum> =
        channels.iter().flat_map(|c| c.source.kernels.iter().flatten().copied()).collect();
    let samples: Vec<Samples> = spots.par_iter().filter_map(|s| Samples::of(s)).collect();
    if samples.is_empty() {
        return;
    }
    let active = std::array::from_fn(|i| channels.iter().any(|c| c.source.kernels[i].is_some()));
    let scale_mm = samples.iter().map(Samples::wide_scale).fold(0.0, f64::max);
    let mut job = Job { channels, samples, active, accuracy, aperture_mm: 0.0, scale_mm };

    let target = Lattice {
        x0_mm: frame.first_x_mm,
        y0_mm: frame.first_y_mm,
        step_mm: frame.mm_per_px,
        columns: frame.width_px as usize,
        rows: frame.height_px as usize,
    };
    // Refine the grid, else soften the spots.
    let nyquist = PI / frame.mm_per_px;
    let widest = |share: f64| job.samples.iter().map(|s| s.band(share, |_| 1.0)).fold(0.0, f64::max);
    let band = widest(accuracy.softening_share());
    let finest = if frame.len() <= REFINED_PIXELS { 2.0 * nyquist } else { nyquist };
    if band > finest {
        let share = accuracy.softened_share();
        job.aperture_mm = job.samples.iter().map(|s| s.aperture(share, finest)).fold(0.0, f64::max);
        report.aperture_mm = Some(job.aperture_mm);
    }
    let stride = if band > nyquist && finest > nyquist { 2 } else { 1 };
    job.add_grid(planes, &target, &Pass { post: &[], low_pass: None, pad_mm: 0.0, stride }, report);
}

/// What a grid takes over from the one before it.
struct Pass<'a> {
    /// Steps of the grids between which and the image the values will be interpolated.
    post: &'a [f64],
    /// The crossover frequency below which this grid takes over, in 1/mm.
    low_pass: Option<f64>,
    /// The padding aimed at, in mm.
    pad_mm: f64,
    /// Nodes per step of the target, where the target's nodes are used.
    stride: usize,
}

/// One grid, planned.
struct Grid<'a> {
    fft: Fft2,
    /// The nodes whose values are wanted. The first is node 0 of the grid.
    wanted: Lattice,
    /// Nodes of the grid from one wanted node to the next.
    stride: usize,
    step_mm: f64,
    /// Frequency beyond which nothing is left, in 1/mm.
    band: f64,
    post: &'a [f64],
    low_pass: Option<f64>,
    high_pass: Option<f64>,
    /// Points farther than this from the wanted nodes do not matter, in mm.
    pad_mm: f64,
}

impl Job<'_> {
    fn band(&self, low_pass: Option<f64>) -> f64 {
        let multiplier = |k: f64| gaussian(k, self.aperture_mm);
        let band = self.samples.iter().map(|s| s.band(self.accuracy.share(), multiplier)).fold(0.0, f64::max);
        low_pass.map_or(band, |kc| band.min(kc * self.accuracy.crossover_end()))
    }

    fn all_points(&self) -> impl Iterator<Item = &SpotPoint> {
        self.channels.iter().flat_map(|c| &c.points)
    }

    /// Adds one grid's part, and through it the parts of all coarser grids, to the target's planes.
    fn add_grid(
        &self,
        planes: &mut [Vec<f32>; 3],
        target: &Lattice,
        pass: &Pass<'_>,
        report: &mut PlaneReport,
    ) {
        let band = self.band(pass.low_pass);
        let interpolated = PI / band >= WORTH_INTERPOLATING * target.step_mm;
        let (step_mm, wanted, stride) = if interpolated {
            (PI / band, target.cover(PI / band), 1)
        } else {
            (target.step_mm / pass.stride as f64, *target, pass.stride)
        };
        let post: Vec<f64> = pass.post.iter().copied().chain(interpolated.then_some(step_mm)).collect();

        let least = LEAST_PAD * self.accuracy.pad_times_crossover() * step_mm;
        let sides = [wanted.columns, wanted.rows].map(|n| n as f64 * wanted.step_mm);
        let first = if pass.low_pass.is_none() { FIRST_PAD * sides[0].max(sides[1]) } else { pass.pad_mm };
        let mut pad_mm = first.max(least);
        let extent = self.extent(&wanted);
        let last_pad = (LAST_PAD_EXTENTS * extent).max(LAST_PAD_SCALES * self.scale_mm);
        let mut nodes = self.nodes(&wanted, step_mm, pad_mm);
        let all_nodes = self.nodes(&wanted, step_mm, last_pad);
        let last = pad_mm >= last_pad || all_nodes[0] * all_nodes[1] <= SMALL_GRID.max(nodes[0] * nodes[1]);
        if last {
            (pad_mm, nodes) = (last_pad, all_nodes);
        }
        let crossover = (!last).then(|| self.accuracy.pad_times_crossover() / pad_mm);
        if report.grids == 0 {
            *report = PlaneReport { nodes, step_mm, interpolated, aperture_mm: report.aperture_mm, grids: 0 };
        }
        report.grids += 1;

        let grid = Grid {
            fft: Fft2::new(nodes[0], nodes[1]),
            wanted,
            stride,
            step_mm,
            band: band.min(PI / step_mm),
            post: &post,
            low_pass: pass.low_pass,
            high_pass: crossover,
            pad_mm,
        };
        let next_pad = if pad_mm >= NEARLY_ALL * extent { last_pad } else { PAD_GROWTH * pad_mm };
        let next = Pass { post: &post, low_pass: crossover, pad_mm: next_pad, stride: 1 };
        if interpolated {
            let n = wanted.columns * wanted.rows;
            let mut coarse = self.active.map(|on| vec![0.0; if on { n } else { 0 }]);
            self.transform(&grid, &mut coarse);
            if !last {
                self.add_grid(&mut coarse, &wanted, &next, report);
            }
            for (plane, values) in planes.iter_mut().zip(&coarse).filter(|(_, v)| !v.is_empty()) {
                interpolate_onto(plane, target, values, &wanted);
            }
        } else {
            self.transform(&grid, planes);
            if !last {
                self.add_grid(planes, target, &next, report);
            }
        }
    }

    /// The larger side of the box around the wanted nodes and all points, in mm.
    fn extent(&self, wanted: &Lattice) -> f64 {
        let right = wanted.x0_mm + wanted.columns as f64 * wanted.step_mm;
        let bottom = wanted.y0_mm - wanted.rows as f64 * wanted.step_mm;
        let start = [wanted.x0_mm, right, bottom, wanted.y0_mm];
        let [x0, x1, y0, y1] = self.all_points().fold(start, |[x0, x1, y0, y1], p| {
            [x0.min(p.x_mm), x1.max(p.x_mm), y0.min(p.y_mm), y1.max(p.y_mm)]
        });
        (x1 - x0).max(y1 - y0)
    }

    /// Nodes in x and y so that no periodic copy of a point that matters comes nearer than `pad_mm`.
    fn nodes(&self, wanted: &Lattice, step_mm: f64, pad_mm: f64) -> [usize; 2] {
        let width = wanted.columns.saturating_sub(1) as f64 * wanted.step_mm;
        let height = wanted.rows.saturating_sub(1) as f64 * wanted.step_mm;
        let mut period = [width, height];
        for place in self.all_points().map(|p| [p.x_mm - wanted.x0_mm, wanted.y0_mm - p.y_mm]) {
            if matters(place, [width, height], pad_mm) {
                for (axis, side) in [width, height].into_iter().enumerate() {
                    period[axis] = period[axis].max(side + pad_mm - place[axis]).max(place[axis] + pad_mm);
                }
            }
        }
        let count = |length: f64| ((length / step_mm).ceil() as usize + 1).max(2 * WIDTH);
        [smooth_size(count(period[0]), true), smooth_size(count(period[1]), false)]
    }

    /// Adds the picture of this grid's share of the spectrum to the planes, at the wanted nodes.
    fn transform(&self, grid: &Grid<'_>, planes: &mut [Vec<f32>; 3]) {
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
            let part = |block: usize, row: usize| {
                let start = ((block * active.len() + slot) * rows + row) * BLOCK;
                &columns[start..start + BLOCK]
            };
            planes[component].par_chunks_mut(grid.wanted.columns).enumerate().for_each_init(
                || {
                    let spectrum = vec![Complex32::default(); (blocks * BLOCK).max(grid.fft.half())];
                    (spectrum, vec![0.0; grid.fft.nx], grid.fft.row_inverse.make_scratch_vec())
                },
                |(spectrum, values, scratch), (row, out)| {
                    spectrum.fill(Complex32::default());
                    for block in 0..blocks {
                        spectrum[block * BLOCK..(block + 1) * BLOCK].copy_from_slice(part(block, row));
                    }
                    grid.fft.inverse_row(&mut spectrum[..grid.fft.half()], values, scratch);
                    out.iter_mut().zip(values.iter().step_by(grid.stride)).for_each(|(o, v)| *o += v);
                },
            );
        }
    }
}

/// Whether a place is so near a box that starts at zero that its spot's near part reaches it.
fn matters(place: [f64; 2], sides: [f64; 2], pad: f64) -> bool {
    place.iter().zip(sides).all(|(&p, side)| p >= -pad && p <= side + pad)
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
        let table = Table::new(grid.band, |k| {
            let low = grid.low_pass.map_or(1.0, |kc| job.accuracy.crossover(k / kc));
            let high = grid.high_pass.map_or(0.0, |kc| job.accuracy.crossover(k / kc));
            let factor = (low - high) * gaussian(k, job.aperture_mm) * radial_window(*window, k);
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

    fn multiply(
        &mut self,
        grid: &Grid<'_>,
        channel: &SpreadChannel<'_>,
        column: usize,
        range: std::ops::Range<usize>,
    ) {
        let ny = grid.fft.ny;
        let kx = (TAU * column as f64 / (grid.fft.nx as f64 * grid.step_mm)) as f32;
        let ky_step = (TAU / (ny as f64 * grid.step_mm)) as f32;
        let band2 = (grid.band * grid.band) as f32;
        let on = channel.channel.source.kernels.map(|k| k.is_some());
        let work = &self.work[range.clone()];
        let [x, y, z] = &mut self.sums;
        let mut sums = [&mut x[range.clone()], &mut y[range.clone()], &mut z[range]];
        let mut add = |row: usize, kernel: &[f32; 4], window: f32| {
            let value = work[row] * window;
            for c in 0..3 {
                if on[c] {
                    sums[c][row] += value * kernel[c];
                }
            }
        };
        for row in 0..=ny / 2 {
            let ky = ky_step * row as f32;
            let k2 = kx * kx + ky * ky;
            if k2 > band2 {
                break;
            }
            let kernel = channel.table.at_square(k2);
            let factor = channel.across[column] * channel.down[row];
            // Rows go downwards, so frequency `row` of the rows is -ky of the plane.
            let [here, mirrored] = match &channel.square {
                SquareWindow::None => [1.0; 2],
                SquareWindow::Turned { half_side, cos, sin, table } => [-ky, ky].map(|ky| {
                    table.at(half_side * (cos * kx + sin * ky)) * table.at(half_side * (cos * ky - sin * kx))
                }),
            };
            add(row, &kernel, factor * here);
            if row > 0 && 2 * row != ny {
                add(ny - row, &kernel, factor * mirrored);
            }
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
