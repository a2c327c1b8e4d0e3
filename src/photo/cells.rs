//! Means over square blocks of pixels, on which everything that need not see single pixels is done.

use super::decode::Photo;
use rayon::prelude::*;

/// One block.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Cell {
    /// Mean linear light R, G, B of the pixels that were looked at.
    pub(super) light: [f64; 3],
    /// Pixels that were looked at.
    pub(super) pixels: u32,
    /// Clipped ones among them, R, G, B.
    pub(super) clipped: [u32; 3],
}

/// A grid of blocks; those outside the picture hold no pixels.
#[derive(Clone, Debug)]
pub(super) struct Cells {
    pub(super) columns: usize,
    pub(super) rows: usize,
    /// Side of a block in pixels.
    pub(super) size: usize,
    /// Column and row of the first block's first pixel; may be outside the picture.
    pub(super) first: [i64; 2],
    pub(super) cells: Vec<Cell>,
}

/// Every how many pixels of a block of a size are looked at along each side; odd, so that all pixels of a colour filter's pattern
/// have their turn.
fn stride(size: usize) -> usize {
    /// Pixels along a side at most, about; more would only cost time.
    const MOST_A_SIDE: usize = 24;
    size.div_ceil(MOST_A_SIDE) | 1
}

/// Mean place of the pixels of a block that are looked at, from its first.
fn middle_of(size: usize) -> f64 {
    ((size.div_ceil(stride(size)) - 1) * stride(size)) as f64 / 2.0
}

impl Cells {
    /// Blocks of the whole picture, at least two pixels wide and so large that none of its sides has more than `most`.
    pub(super) fn whole(photo: &Photo, most: usize) -> Cells {
        let size = photo.width.max(photo.height).div_ceil(most).max(2);
        Cells::over(photo, [0, 0], size, photo.width.div_ceil(size), photo.height.div_ceil(size))
    }

    /// Blocks around a place: the middle one's middle is within half a pixel of it, `reach` blocks go to each side.
    pub(super) fn around(photo: &Photo, place: [f64; 2], size: usize, reach: usize) -> Cells {
        let to_middle = (reach * size) as f64 + middle_of(size);
        let first = place.map(|p| (p - to_middle).round() as i64);
        Cells::over(photo, first, size, 2 * reach + 1, 2 * reach + 1)
    }

    fn over(photo: &Photo, first: [i64; 2], size: usize, columns: usize, rows: usize) -> Cells {
        let stride = stride(size);
        let inside = |start: i64, end: usize| {
            let from = start.clamp(0, end as i64) as usize;
            let to = (start + size as i64).clamp(0, end as i64) as usize;
            (from..to).step_by(stride)
        };
        let cell = |index: usize| {
            let x0 = first[0] + (index % columns * size) as i64;
            let y0 = first[1] + (index / columns * size) as i64;
            let mut cell = Cell::default();
            for y in inside(y0, photo.height) {
                for x in inside(x0, photo.width) {
                    let (light, clipped) = photo.light_and_clipped(x, y);
                    cell.pixels += 1;
                    for c in 0..3 {
                        cell.light[c] += light[c];
                        cell.clipped[c] += u32::from(clipped[c]);
                    }
                }
            }
            cell.light = cell.light.map(|sum| sum / f64::from(cell.pixels.max(1)));
            cell
        };
        let mut cells = vec![Cell::default(); columns * rows];
        cells.par_chunks_mut(columns).enumerate().for_each(|(row, cells)| {
            for (column, to) in cells.iter_mut().enumerate() {
                *to = cell(row * columns + column);
            }
        });
        Cells { columns, rows, size, first, cells }
    }

    /// Place in pixels of the middle of a block: the mean place of the pixels of it that are looked at.
    pub(super) fn place(&self, column: f64, row: f64) -> [f64; 2] {
        let size = self.size as f64;
        let middle = middle_of(self.size);
        [self.first[0] as f64 + column * size + middle, self.first[1] as f64 + row * size + middle]
    }

    /// One number a block: the mean of the weighted channels, NaN where the block has no pixels or a clipped one that counts.
    pub(super) fn grid(&self, weights: [f64; 3], clipped_counts: bool) -> Grid {
        let total: f64 = weights.iter().sum();
        let value = |cell: &Cell| {
            let cut = clipped_counts && (0..3).any(|c| weights[c] > 0.0 && cell.clipped[c] > 0);
            if cell.pixels == 0 || cut {
                return f64::NAN;
            }
            (0..3).map(|c| weights[c] * cell.light[c]).sum::<f64>() / total
        };
        Grid { columns: self.columns, rows: self.rows, values: self.cells.iter().map(value).collect() }
    }
}

/// Numbers on a grid; NaN where there is none.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    pub(super) columns: usize,
    pub(super) rows: usize,
    pub(super) values: Vec<f64>,
}

impl Grid {
    /// The value at whole column and row; NaN outside.
    pub(super) fn get(&self, column: i64, row: i64) -> f64 {
        let inside = column >= 0 && row >= 0 && column < self.columns as i64 && row < self.rows as i64;
        if inside { self.values[row as usize * self.columns + column as usize] } else { f64::NAN }
    }

    /// The value between the middles of the cells, by straight lines; NaN where one of the four is missing.
    pub(super) fn between(&self, column: f64, row: f64) -> f64 {
        let (left, top) = (column.floor(), row.floor());
        let (u, v) = (column - left, row - top);
        let at = |dx: i64, dy: i64| self.get(left as i64 + dx, top as i64 + dy);
        // A weight of 0 asks for nothing, so that the last row and column count.
        let line = |dy: i64| if u > 0.0 { at(0, dy) * (1.0 - u) + at(1, dy) * u } else { at(0, dy) };
        if v > 0.0 { line(0) * (1.0 - v) + line(1) * v } else { line(0) }
    }
}

/// The value below which the given share of the values lies; NaN if there are none. The order of the values is lost.
pub(super) fn quantile(values: &mut [f64], share: f64) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let at = ((values.len() - 1) as f64 * share).round() as usize;
    *values.select_nth_unstable_by(at, f64::total_cmp).1
}

/// Standard deviation by the median of absolute values (around 0) of normal noise.
pub(super) fn spread(values: &mut [f64]) -> f64 {
    /// Standard deviation over median absolute deviation of the normal distribution.
    const NORMAL: f64 = 1.4826;
    values.iter_mut().for_each(|v| *v = v.abs());
    NORMAL * quantile(values, 0.5)
}

#[cfg(test)]
mod tests {
    use super::{Cells, quantile, spread};
    use crate::photo::synthetic::Scene;

    #[test]
    fn a_block_stands_for_its_place() {
        let mut scene = Scene::new(900, 700, [0.0; 3], 0);
        scene.add(|x, y| [x / 1000.0, y / 1000.0, 0.5]);
        let photo = scene.linear();
        for size in [1, 2, 7, 24, 25, 28, 29, 30, 48, 61] {
            let cells = Cells::around(&photo, [450.3, 351.8], size, 4);
            let middle = cells.place(4.0, 4.0);
            assert!(
                (middle[0] - 450.3).abs() <= 0.5 && (middle[1] - 351.8).abs() <= 0.5,
                "{size}: {middle:?}"
            );
            for (column, row) in [(4, 4), (3, 5), (8, 2)] {
                let place = cells.place(column as f64, row as f64);
                let light = cells.cells[row * cells.columns + column].light;
                for axis in 0..2 {
                    // Rounding to 16 bits is less than a tenth of a pixel here.
                    assert!(
                        (1000.0 * light[axis] - place[axis]).abs() < 0.1,
                        "size {size}: {light:?} at {place:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn quantiles_and_spread_of_known_values() {
        let mut values: Vec<f64> = (0..=100).map(f64::from).collect();
        assert_eq!(quantile(&mut values, 0.25), 25.0);
        assert!(quantile(&mut [], 0.5).is_nan());
        assert_eq!(spread(&mut [-2.0, 1.0, 1.0]), 1.4826);
    }
}
