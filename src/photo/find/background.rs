//! The background of a photograph: a plane through its darker parts, and its noise.

use super::Spot;
use crate::photo::cells::{Cells, quantile, spread};
use crate::photo::decode::Photo;
use nalgebra::{Matrix3, Vector3};

/// Tiles along each side from which the plane is taken.
const TILES: usize = 12;
/// Share of a tile's blocks below its level: spots fill the brighter ones.
const TILE_SHARE: f64 = 0.25;
/// Passes of the fit.
const PASSES: usize = 20;

/// The background.
#[derive(Clone, Debug)]
pub(super) struct Ground {
    /// Light at the picture's middle and its changes per px to the right and downwards, R, G, B.
    planes: [[f64; 3]; 3],
    middle: [f64; 2],
    /// Standard deviation of single pixels, R, G, B.
    pub(super) noise: [f64; 3],
    /// Standard deviation of the mean of R, G, B of a block.
    pub(super) block_noise: f64,
    /// Step between codes near the background.
    pub(super) step: f64,
}

impl Ground {
    /// Light R, G, B at a place in px; not negative.
    pub(super) fn at(&self, place: [f64; 2]) -> [f64; 3] {
        let d = [place[0] - self.middle[0], place[1] - self.middle[1]];
        self.planes.map(|[level, right, down]| (level + right * d[0] + down * d[1]).max(0.0))
    }

    /// Mean of R, G, B at a place.
    pub(super) fn light_at(&self, place: [f64; 2]) -> f64 {
        self.at(place).iter().sum::<f64>() / 3.0
    }

    /// Change of the mean of R, G, B across the picture to the right and upwards.
    pub(super) fn slope_across(&self, photo: &Photo) -> [f64; 2] {
        let mean = |i: usize| self.planes.iter().map(|plane| plane[i]).sum::<f64>() / 3.0;
        [mean(1) * photo.width as f64, -mean(2) * photo.height as f64]
    }

    /// A peak must be two codes high at least, seen closely.
    pub(super) fn least_peak(&self) -> f64 {
        2.0 * self.step
    }

    /// Whether a patch is what the lens and the light of the room make of an evenly lit wall: wide, and not even as high as
    /// the background below it.
    pub(super) fn lit_all_over(&self, photo: &Photo, spot: &Spot) -> bool {
        let wide = spot.half_width_px > 0.25 * photo.width.min(photo.height) as f64;
        wide && spot.brightness() < self.light_at(spot.centre_px)
    }
}

/// The background; `None` where the picture is even to the last code.
pub(super) fn ground(photo: &Photo, cells: &Cells) -> Option<Ground> {
    let first = cells.cells.first()?.light;
    if cells.cells.iter().all(|cell| cell.light == first) {
        return None;
    }
    let middle = [photo.width as f64 / 2.0, photo.height as f64 / 2.0];
    let (planes, dark) = planes(cells, middle);
    let level = planes.iter().map(|p| p[0]).sum::<f64>() / 3.0;
    let step = photo.step_at(level.max(0.0));
    let noise = pixel_noise(photo, cells, &dark, step);
    let mut block = block_differences(cells, &dark);
    // Where codes are all alike, rounding is what is not known.
    let block_noise = spread(&mut block).max(0.05 * step);
    Some(Ground { planes, middle, noise, block_noise, step })
}

/// Planes R, G, B, and which blocks are dark.
fn planes(cells: &Cells, middle: [f64; 2]) -> ([[f64; 3]; 3], Vec<bool>) {
    let light = |i: usize| cells.cells[i].light.iter().sum::<f64>() / 3.0;
    let (tile_x, tile_y) = (cells.columns.div_ceil(TILES), cells.rows.div_ceil(TILES));
    let mut tiles: Vec<([f64; 2], [f64; 3])> = Vec::new();
    for top in (0..cells.rows).step_by(tile_y) {
        for left in (0..cells.columns).step_by(tile_x) {
            let rows = top..(top + tile_y).min(cells.rows);
            let columns = left..(left + tile_x).min(cells.columns);
            let inside: Vec<usize> = rows
                .flat_map(|row| columns.clone().map(move |column| (row, column)))
                .map(|(r, c)| r * cells.columns + c)
                .collect();
            let levels = [0, 1, 2]
                .map(|c| low_level(&mut inside.iter().map(|i| cells.cells[*i].light[c]).collect::<Vec<_>>()));
            let place = cells.place((left + tile_x / 2) as f64, (top + tile_y / 2) as f64);
            tiles.push(([place[0] - middle[0], place[1] - middle[1]], levels));
        }
    }
    let planes = [0, 1, 2].map(|c| {
        let points: Vec<([f64; 2], f64)> = tiles.iter().map(|(place, levels)| (*place, levels[c])).collect();
        low_plane(&points)
    });
    let above = |i: usize| {
        let place = cells.place((i % cells.columns) as f64, (i / cells.columns) as f64);
        let plane =
            planes.iter().map(|[l, r, d]| l + r * (place[0] - middle[0]) + d * (place[1] - middle[1]));
        light(i) - plane.sum::<f64>() / 3.0
    };
    let above: Vec<f64> = (0..cells.cells.len()).map(above).collect();
    let usual = quantile(&mut above.clone(), 0.6);
    let dark = above.iter().map(|a| *a <= usual).collect();
    (planes, dark)
}

/// The level about which the darker part of the values scatters: their median, if all of them were normal noise.
fn low_level(values: &mut [f64]) -> f64 {
    /// Distance of the quarter from the middle over that of the tenth from the quarter, of the normal distribution.
    const UPWARDS: f64 = 0.6745 / (1.2816 - 0.6745);
    let quarter = quantile(values, TILE_SHARE);
    quarter + UPWARDS * (quarter - quantile(values, 0.1))
}

/// A plane that lies low: what is above it pulls ever less, what is below it pulls in full.
fn low_plane(points: &[([f64; 2], f64)]) -> [f64; 3] {
    let scale = points.iter().map(|(p, _)| p[0].hypot(p[1])).fold(1.0, f64::max);
    let mut levels: Vec<f64> = points.iter().map(|(_, v)| *v).collect();
    let mut plane = Vector3::new(quantile(&mut levels, 0.3), 0.0, 0.0);
    for _ in 0..PASSES {
        let off: Vec<f64> = points
            .iter()
            .map(|([x, y], v)| v - plane.dot(&Vector3::new(1.0, x / scale, y / scale)))
            .collect();
        let mut below: Vec<f64> = off.iter().copied().filter(|o| *o <= 0.0).collect();
        let mut middling = off.clone();
        let sigma = spread(&mut below).min(spread(&mut middling)).max(1e-9);
        let mut normal = Matrix3::from_diagonal(&Vector3::new(0.0, 1e-3, 1e-3));
        let mut right = Vector3::zeros();
        for (([x, y], v), off) in points.iter().zip(&off) {
            let high = (off / (2.0 * sigma)).max(0.0);
            let weight = 1.0 / (1.0 + high * high * high * high);
            let does = Vector3::new(1.0, x / scale, y / scale);
            normal += weight * does * does.transpose();
            right += weight * *v * does;
        }
        match normal.cholesky() {
            Some(factor) => plane = factor.solve(&right),
            None => break,
        }
    }
    [plane[0], plane[1] / scale, plane[2] / scale]
}

/// Differences of a block (smoothed as the peaks are sought) from the mean of two others, scaled to a block's own deviation.
fn block_differences(cells: &Cells, dark: &[bool]) -> Vec<f64> {
    let smooth = super::peaks::smoothed(cells);
    let apart = 4;
    let mut differences = Vec::new();
    for row in 0..cells.rows {
        for column in apart..cells.columns.saturating_sub(apart) {
            let at = row * cells.columns + column;
            if dark[at] && dark[at - apart] && dark[at + apart] {
                let d = smooth[at] - (smooth[at - apart] + smooth[at + apart]) / 2.0;
                differences.push(d / 1.5_f64.sqrt());
            }
        }
    }
    differences
}

/// Noise of single pixels in dark blocks.
fn pixel_noise(photo: &Photo, cells: &Cells, dark: &[bool], step: f64) -> [f64; 3] {
    /// Pixels looked at, about.
    const LOOKED_AT: usize = 60_000;
    let stride = (photo.width * photo.height / LOOKED_AT).max(1);
    let mut differences: [Vec<f64>; 3] = Default::default();
    for index in (0..photo.width * photo.height).step_by(stride) {
        let (x, y) = (index % photo.width, index / photo.width);
        let block = (y / cells.size) * cells.columns + x / cells.size;
        if x >= 3 && x + 3 < photo.width && dark[block] {
            let [left, here, right] = [x - 3, x, x + 3].map(|x| photo.linear(x, y));
            for c in 0..3 {
                differences[c].push((here[c] - (left[c] + right[c]) / 2.0) / 1.5_f64.sqrt());
            }
        }
    }
    differences.map(|mut d| if d.is_empty() { step } else { spread(&mut d).max(step / 12.0_f64.sqrt()) })
}
