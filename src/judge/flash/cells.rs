//! Cells of about a tenth of a degree, and the greatest area of some of them within any 10 degree field.

use super::rules::{AREA_SR, BLOCK_PX, FIELD_DEG, FINE_PATTERN_DEG, SCREEN_PX};
use crate::picture::plane::Frame;
use rayon::prelude::*;

/// At most so many cells: W3C's screen in cells of a tenth of a degree just fits. With more, memory and time would grow with
/// the picture's size; larger cells hide more of a pattern.
const MOST_CELLS: usize = 90_000;
/// The field is slid by steps of about this share of its height.
const STEP_SHARE: usize = 40;

/// A picture divided into cells of whole image pixels, and the 10 degree field in that measure.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    width_px: usize,
    height_px: usize,
    /// Side of a cell in image pixels.
    block: usize,
    pub(super) columns: usize,
    pub(super) rows: usize,
    /// Solid angle of an image pixel.
    px_sr: f64,
    /// Side of a cell in degrees.
    pub(super) cell_deg: f64,
    /// Of the field, row by row from its middle downwards: how many cells it reaches to either side.
    reaches: Vec<usize>,
    /// Its solid angle.
    field_sr: f64,
}

impl Grid {
    /// The picture as it fills a screen: W3C's screen of 1024 by 768, in which a block of 341 by 256 stands for the field. A
    /// quarter of the block is what may flash.
    pub(super) fn on_screen(frame: &Frame) -> Grid {
        let [width, height] = [f64::from(frame.width_px.max(1)), f64::from(frame.height_px.max(1))];
        let screen_px = (SCREEN_PX[0] / width).min(SCREEN_PX[1] / height);
        let px_sr = AREA_SR / (0.25 * BLOCK_PX[0] * BLOCK_PX[1]) * screen_px * screen_px;
        let px_deg = FIELD_DEG / BLOCK_PX[0] * screen_px;
        let half = BLOCK_PX.map(|side| 0.5 * side / screen_px);
        Grid::new(frame, [px_sr, 4.0 * AREA_SR], px_deg, |down| (down <= half[1]).then_some(half[0]))
    }

    /// The garment in its true size, seen from a distance; the field is a disc.
    pub(super) fn from_distance(frame: &Frame, distance_m: f64) -> Grid {
        let distance_px = 1000.0 * distance_m / frame.mm_per_px;
        let px_rad = 1.0 / distance_px;
        let radius = distance_px * (0.5 * FIELD_DEG).to_radians().tan();
        let half = |down: f64| {
            let square = radius * radius - down * down;
            (square >= 0.0).then(|| square.sqrt())
        };
        let field_sr = std::f64::consts::PI * (0.5 * FIELD_DEG).to_radians().tan().powi(2);
        Grid::new(frame, [px_rad * px_rad, field_sr], px_rad.to_degrees(), half)
    }

    /// `half_width` tells how far the field reaches to either side at so many image pixels below its middle.
    fn new(
        frame: &Frame,
        [px_sr, field_sr]: [f64; 2],
        px_deg: f64,
        half_width: impl Fn(f64) -> Option<f64>,
    ) -> Grid {
        let (width_px, height_px) = (frame.width_px as usize, frame.height_px as usize);
        let fits = |block: usize| width_px.div_ceil(block) * height_px.div_ceil(block) <= MOST_CELLS;
        let mut block = ((FINE_PATTERN_DEG / px_deg) as usize).clamp(1, width_px.max(height_px).max(1));
        while !fits(block) {
            block += 1;
        }
        let (columns, rows) = (width_px.div_ceil(block), height_px.div_ceil(block));
        // Cells partly inside count: cautious by half a cell. Beyond the picture nothing is to be gained.
        let reaches = (0..=rows)
            .map_while(|down| half_width((down as f64 - 0.5).max(0.0) * block as f64))
            .map(|half| ((half / block as f64).ceil() as usize).min(columns))
            .collect();
        Grid {
            width_px,
            height_px,
            block,
            columns,
            rows,
            px_sr,
            cell_deg: block as f64 * px_deg,
            reaches,
            field_sr,
        }
    }

    pub(super) fn len(&self) -> usize {
        self.columns * self.rows
    }

    /// Middle of a cell in image pixels, column and row.
    pub(super) fn middle_px(&self, cell: usize) -> [u32; 2] {
        let at = |i: usize, size: usize| {
            let low = i * self.block;
            ((low + ((low + self.block).min(size) - 1)) / 2) as u32
        };
        [at(cell % self.columns.max(1), self.width_px), at(cell / self.columns.max(1), self.height_px)]
    }

    /// Means over the cells of what every image pixel (by its index) holds.
    pub(super) fn averaged(&self, value: impl Fn(usize) -> [f32; 3] + Sync) -> Vec<[f32; 3]> {
        let mut means = vec![[0.0; 3]; self.len()];
        means.par_chunks_mut(self.columns.max(1)).enumerate().for_each(|(row, means)| {
            let top = row * self.block;
            let bottom = (top + self.block).min(self.height_px);
            for (column, mean) in means.iter_mut().enumerate() {
                let left = column * self.block;
                let right = (left + self.block).min(self.width_px);
                let mut sum = [0.0_f64; 3];
                for y in top..bottom {
                    for x in left..right {
                        let value = value(y * self.width_px + x);
                        sum.iter_mut().zip(value).for_each(|(s, v)| *s += f64::from(v));
                    }
                }
                let count = ((bottom - top) * (right - left)) as f64;
                *mean = sum.map(|s| (s / count) as f32);
            }
        });
        means
    }

    /// Solid angle of a cell in sr: those at the right and lower edge may be cut.
    fn cell_sr(&self, column: usize, row: usize) -> f64 {
        let side = |i: usize, size: usize| ((i + 1) * self.block).min(size) - i * self.block;
        (side(column, self.width_px) * side(row, self.height_px)) as f64 * self.px_sr
    }

    /// The greatest solid angle of chosen cells within any 10 degree field, in sr. Where all of them together are no more than
    /// [`AREA_SR`], or lie within one field, it is simply their sum.
    pub(super) fn greatest_area(&self, chosen: impl Fn(usize) -> bool + Sync) -> f64 {
        let rows: Vec<(f64, Option<[usize; 2]>)> = (0..self.rows)
            .into_par_iter()
            .map(|row| {
                let (mut sum, mut span) = (0.0, None::<[usize; 2]>);
                for column in (0..self.columns).filter(|c| chosen(row * self.columns + c)) {
                    sum += self.cell_sr(column, row);
                    span = Some(span.map_or([column; 2], |s| [s[0], column]));
                }
                (sum, span)
            })
            .collect();
        let total: f64 = rows.iter().map(|r| r.0).sum();
        if total <= AREA_SR || self.within_one_field(&rows) {
            return total.min(self.field_sr);
        }
        // Sums along each row; a field is then two look-ups a row.
        let along: Vec<f64> = (0..self.rows)
            .flat_map(|row| {
                let mut sum = 0.0;
                let own = std::iter::once(0.0).chain((0..self.columns).map({
                    let chosen = &chosen;
                    move |column| {
                        if chosen(row * self.columns + column) {
                            sum += self.cell_sr(column, row);
                        }
                        sum
                    }
                }));
                own.collect::<Vec<_>>()
            })
            .collect();
        let step = (2 * self.reaches.len() / STEP_SHARE).max(1);
        let places = |count: usize| (0..count).step_by(step).chain(count.checked_sub(1));
        let rows: Vec<usize> = places(self.rows).collect();
        rows.into_par_iter()
            .map(|middle| {
                places(self.columns)
                    .map(|centre| {
                        let in_row = |row: usize, reach: usize| {
                            let start = row * (self.columns + 1);
                            let (left, right) =
                                (centre.saturating_sub(reach), (centre + reach + 1).min(self.columns));
                            along[start + right] - along[start + left]
                        };
                        self.reaches
                            .iter()
                            .enumerate()
                            .map(|(away, &reach)| {
                                let up = middle.checked_sub(away).filter(|_| away > 0);
                                let down = Some(middle + away).filter(|&row| row < self.rows);
                                up.into_iter().chain(down).map(|row| in_row(row, reach)).sum::<f64>()
                            })
                            .sum::<f64>()
                    })
                    .fold(0.0, f64::max)
            })
            .reduce(|| 0.0, f64::max)
            .min(self.field_sr)
    }

    /// Whether the box around the chosen cells fits into the field.
    fn within_one_field(&self, rows: &[(f64, Option<[usize; 2]>)]) -> bool {
        let spans = || rows.iter().enumerate().filter_map(|(row, r)| Some((row, r.1?)));
        let (Some((top, _)), Some((bottom, _))) = (spans().next(), spans().next_back()) else { return true };
        let left = spans().map(|(_, s)| s[0]).min().unwrap_or(0);
        let right = spans().map(|(_, s)| s[1]).max().unwrap_or(0);
        let half = (bottom - top).div_ceil(2);
        self.reaches.get(half).is_some_and(|&reach| (right - left).div_ceil(2) <= reach)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn disc(grid: &Grid, centre: [f64; 2], radius: f64) -> impl Fn(usize) -> bool + Sync {
        let columns = grid.columns;
        move |cell| {
            let (x, y) = ((cell % columns) as f64 - centre[0], (cell / columns) as f64 - centre[1]);
            x.hypot(y) <= radius
        }
    }

    #[test]
    fn the_field_is_ten_degrees_wide_and_cells_a_tenth() {
        // 3000 mm wide, seen from 2 m: 74 degrees, in cells of at most a tenth of a degree where the number allows.
        let frame = Frame::centred(0.0, 0.0, 1.0, 800, 800);
        let grid = Grid::from_distance(&frame, 2.0);
        assert!(grid.cell_deg <= FINE_PATTERN_DEG && grid.cell_deg > 0.05, "{}", grid.cell_deg);
        // Everything chosen: the field itself, pi tan^2(5 deg) sr in the plane; its outline is drawn with cells.
        let exact = std::f64::consts::PI * 5f64.to_radians().tan().powi(2);
        let drawn = |down: usize| (2 * grid.reaches[down] + 1) * if down == 0 { 1 } else { 2 };
        let cells: usize = (0..grid.reaches.len()).map(drawn).sum();
        let outlined = cells as f64 * grid.cell_deg.to_radians().powi(2);
        /// Half a cell all round, of a radius of some 58 cells.
        const OUTLINE: f64 = 0.05;
        assert!((1.0..1.0 + OUTLINE).contains(&(outlined / exact)), "{outlined} {exact}");
        assert!((grid.greatest_area(|_| true) / exact - 1.0).abs() < 1e-12);
    }

    #[test]
    fn area_is_that_of_the_discs_within_the_field() {
        let frame = Frame::centred(0.0, 0.0, 1.0, 800, 800);
        let grid = Grid::from_distance(&frame, 2.0);
        let cell = (grid.cell_deg.to_radians()).powi(2);
        // One disc alone, wherever it is; two that are far apart never come into one field.
        let one = grid.greatest_area(disc(&grid, [60.0, 70.0], 30.0));
        let closed = std::f64::consts::PI * 900.0 * cell;
        // Cells on a disc's edge: Gauss's circle problem, some 1 %.
        assert!((one / closed - 1.0).abs() < 0.02, "{one} {closed}");
        let (near, far) = (disc(&grid, [60.0, 70.0], 30.0), disc(&grid, [230.0, 230.0], 30.0));
        let both = grid.greatest_area(|cell| near(cell) || far(cell));
        assert!((both / one - 1.0).abs() < 1e-9, "{both} {one}");
        let (a, b) = (disc(&grid, [90.0, 90.0], 25.0), disc(&grid, [130.0, 110.0], 25.0));
        let close = grid.greatest_area(|cell| a(cell) || b(cell));
        let apart = grid.greatest_area(disc(&grid, [90.0, 90.0], 25.0))
            + grid.greatest_area(disc(&grid, [130.0, 110.0], 25.0));
        // Overlap is small, both fit into one field.
        assert!(close > 0.95 * apart && close <= apart + 1e-12, "{close} {apart}");
    }

    #[test]
    fn a_quarter_of_the_block_is_the_limit_on_a_screen() {
        // The picture is W3C's screen itself.
        let frame = Frame::centred(0.0, 0.0, 1.0, 1024, 768);
        let grid = Grid::on_screen(&frame);
        let px = |cell: usize| grid.middle_px(cell);
        let inside = |w: u32, h: u32| {
            grid.greatest_area(move |cell| {
                let [x, y] = px(cell);
                (300..300 + w).contains(&x) && (200..200 + h).contains(&y)
            })
        };
        // Cells of 3 px: 168 x 126 and 174 x 126 against 341 x 64 of the block's 341 x 256.
        assert!(inside(168, 128) < AREA_SR && inside(174, 128) > AREA_SR);
        // The same picture, larger, fills the screen just the same.
        let large = Grid::on_screen(&Frame::centred(0.0, 0.0, 0.2, 2048, 1536));
        assert!((large.cell_deg / grid.cell_deg - 1.0).abs() < 1e-9);
        assert!((large.greatest_area(|_| true) / grid.greatest_area(|_| true) - 1.0).abs() < 0.05);
    }

    #[test]
    fn means_are_means_and_odd_frames_do_no_harm() {
        for (w, h) in [(1, 1), (7, 3), (1000, 1), (401, 307)] {
            let frame = Frame::centred(0.0, 0.0, 0.7, w, h);
            let grid = Grid::from_distance(&frame, 3.0);
            let means = grid.averaged(|i| [i as f32, 1.0, 0.0]);
            assert_eq!(means.len(), grid.len());
            assert!(means.iter().all(|m| m[1] == 1.0 && m[2] == 0.0));
            let weighted: f64 = (0..grid.len())
                .map(|c| f64::from(means[c][0]) * grid.cell_sr(c % grid.columns, c / grid.columns))
                .sum();
            let count = f64::from(w * h);
            // Means in single precision.
            assert!((weighted / grid.px_sr / count - 0.5 * (count - 1.0)).abs() < 1e-4 * count);
        }
        let empty = Grid::from_distance(&Frame::centred(0.0, 0.0, 1.0, 0, 0), 2.0);
        assert_eq!((empty.len(), empty.greatest_area(|_| true)), (0, 0.0));
    }
}
