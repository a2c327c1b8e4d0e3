//! The glow as an image pixel of a photograph sees it: the mean over the piece of cloth that the image pixel covers.
//!
//! # Model
//! Luminance does not change under projection: an image pixel of the photograph holds the mean luminance of the piece of cloth
//! that it covers, whatever the distance and the angle. That piece is taken as the parallelogram that the derivative of the
//! surface makes of the image pixel, and the mean over it by the midpoints of so many parts that each is no larger than a
//! texel of the luminance picture, read by linear interpolation. Where an image pixel covers more than
//! `MOST_PARTS` texels a side, coarser copies of the luminance picture are read: each holds the means of four texels of
//! the one before, so the light stays.
//!
//! The pattern piece ends the glow: each texel is weighed with the share of it that lies inside ([`crate::picture::clip`]).
//!
//! # Validity
//! The light that a photograph gains (luminance times the area of cloth of each image pixel, added up) is that of the luminance picture within
//! 1e-3 where image pixels are no smaller than texels (measured; see the tests). Interpolation softens
//! what is as fine as a texel by about a third of one.

use crate::picture::plane::{Frame, XyzImage};
use nalgebra::Matrix2;

/// Parts of an image pixel along each side, before a coarser copy is read.
const MOST_PARTS: f64 = 8.0;
/// A side that is longer than whole parts by less than this is rounding.
const ROUNDING: f64 = 1e-6;

/// A luminance picture with its coarser copies.
#[derive(Clone, Debug)]
pub struct Glow {
    frame: Frame,
    levels: Vec<XyzImage>,
}

impl Glow {
    /// The glow of a luminance picture that shows `frame`. `shares` is how much of each texel is cloth; empty: all of it.
    #[must_use]
    pub fn of(frame: Frame, mut image: XyzImage, shares: &[f32]) -> Glow {
        if !shares.is_empty() {
            for plane in &mut image.planes {
                plane.iter_mut().zip(shares).for_each(|(value, share)| *value *= share);
            }
        }
        let mut levels = vec![image];
        while let Some(last) = levels.last().filter(|i| i.width_px > 1 || i.height_px > 1) {
            let coarser = halved(last);
            levels.push(coarser);
        }
        Glow { frame, levels }
    }

    /// Where it lies on the garment.
    #[must_use]
    pub fn frame(&self) -> Frame {
        self.frame
    }

    /// The glow itself, cut at the edge of the pattern piece.
    #[must_use]
    pub fn image(&self) -> &XyzImage {
        &self.levels[0]
    }

    /// Whether a place of the garment lies in it; a texel's width around it counts.
    fn near(&self, [x, y]: [f64; 2], reach_mm: f64) -> bool {
        let f = &self.frame;
        let across = (x - f.first_x_mm, f64::from(f.width_px) * f.mm_per_px);
        let down = (f.first_y_mm - y, f64::from(f.height_px) * f.mm_per_px);
        [across, down].iter().all(|(at, side)| *at >= -reach_mm && *at <= side + reach_mm)
    }

    /// The mean over the parallelogram around a place (in mm) that a derivative (mm to the image pixel) makes of an image pixel; `None`
    /// where there is no glow.
    #[must_use]
    pub fn over(&self, mm: [f64; 2], scale: &Matrix2<f64>) -> Option<[f64; 3]> {
        let sides = [scale.column(0).norm(), scale.column(1).norm()];
        let longest = sides[0].max(sides[1]);
        if !longest.is_finite() || !self.near(mm, longest + self.frame.mm_per_px) {
            return None;
        }
        let mut level = 0;
        let mut texel = self.frame.mm_per_px;
        while longest / texel > MOST_PARTS + ROUNDING && level + 1 < self.levels.len() {
            level += 1;
            texel *= 2.0;
        }
        let parts = sides.map(|side| (side / texel - ROUNDING).ceil().clamp(1.0, MOST_PARTS) as usize);
        let mut sum = [0.0; 3];
        for row in 0..parts[1] {
            let down = (row as f64 + 0.5) / parts[1] as f64 - 0.5;
            for column in 0..parts[0] {
                let right = (column as f64 + 0.5) / parts[0] as f64 - 0.5;
                let at = [
                    mm[0] + scale[(0, 0)] * right + scale[(0, 1)] * down,
                    mm[1] + scale[(1, 0)] * right + scale[(1, 1)] * down,
                ];
                self.add(&mut sum, level, texel, at);
            }
        }
        let share = 1.0 / (parts[0] * parts[1]) as f64;
        Some(sum.map(|v| v * share))
    }

    /// Adds what one level has at a place, linearly between its texels; nothing beyond them.
    fn add(&self, sum: &mut [f64; 3], level: usize, texel: f64, [x, y]: [f64; 2]) {
        let image = &self.levels[level];
        // The middle of the first texel of a coarser copy lies farther in.
        let first = 0.5 * (texel - self.frame.mm_per_px);
        let across = (x - self.frame.first_x_mm - first) / texel;
        let down = (self.frame.first_y_mm - first - y) / texel;
        let (left, top) = (across.floor(), down.floor());
        let (f, g) = (across - left, down - top);
        let (width, height) = (i64::from(image.width_px), i64::from(image.height_px));
        for (dy, weight_y) in [(0, 1.0 - g), (1, g)] {
            for (dx, weight_x) in [(0, 1.0 - f), (1, f)] {
                let (c, r) = (left as i64 + dx, top as i64 + dy);
                let weight = weight_x * weight_y;
                if weight > 0.0 && (0..width).contains(&c) && (0..height).contains(&r) {
                    let i = (r * width + c) as usize;
                    for (sum, plane) in sum.iter_mut().zip(&image.planes) {
                        *sum += weight * f64::from(plane[i]);
                    }
                }
            }
        }
    }
}

/// Half as large: each value the mean of four; beyond the edge there is nothing.
fn halved(image: &XyzImage) -> XyzImage {
    let (width, height) = (image.width_px.div_ceil(2), image.height_px.div_ceil(2));
    let mut half = XyzImage::black(width, height);
    let (from, to) = (image.width_px as usize, width as usize);
    for (plane, fine) in half.planes.iter_mut().zip(&image.planes) {
        for (row, line) in fine.chunks_exact(from.max(1)).enumerate() {
            for (column, value) in line.iter().enumerate() {
                plane[row / 2 * to + column / 2] += 0.25 * value;
            }
        }
    }
    half
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::on_photo::surface::{Area, Surface};

    /// Light that is kept, as a share: midpoints of parts as large as texels on a glow whose finest stroke is six texels wide, and image
    /// pixels taken as parallelograms.
    const ENERGY: f64 = 1e-3;

    /// A glow of three round spots, 400 by 300 mm.
    fn spots(mm_per_px: f64) -> Glow {
        let frame =
            Frame::centred(0.0, 0.0, mm_per_px, (400.0 / mm_per_px) as u32, (300.0 / mm_per_px) as u32);
        let mut image = XyzImage::black(frame.width_px, frame.height_px);
        for row in 0..frame.height_px {
            for column in 0..frame.width_px {
                let [x, y] = frame.centre_of(column, row);
                let value: f64 = [(-60.0, 20.0, 9.0), (40.0, -30.0, 15.0), (70.0, 50.0, 6.0)]
                    .iter()
                    .map(|(a, b, s): &(f64, f64, f64)| {
                        (-0.5 * ((x - a).powi(2) + (y - b).powi(2)) / (s * s)).exp()
                    })
                    .sum();
                let i = (row * frame.width_px + column) as usize;
                for (c, plane) in image.planes.iter_mut().enumerate() {
                    plane[i] = (value * (1.0 + c as f64)) as f32;
                }
            }
        }
        Glow::of(frame, image, &[])
    }

    /// All the light of a glow: luminance times area.
    fn light(glow: &Glow) -> f64 {
        let area = glow.frame.mm_per_px.powi(2);
        glow.image().planes[1].iter().map(|v| f64::from(*v)).sum::<f64>() * area
    }

    /// The same as a photograph gains it.
    fn light_in_photo(glow: &Glow, surface: &Surface, width: usize, height: usize) -> f64 {
        let mut sum = 0.0;
        for row in 0..height {
            for column in 0..width {
                let Some((mm, scale)) = surface.on_garment([column as f64, row as f64]) else { continue };
                if let Some(xyz) = glow.over(mm, &scale) {
                    sum += xyz[1] * scale.determinant().abs();
                }
            }
        }
        sum
    }

    fn surface(points: &[[f64; 2]], columns: usize, rows: usize) -> Surface {
        let area = Area { centre_mm: [0.0, 0.0], size_mm: [400.0, 300.0] };
        Surface::through(area, points, columns, rows).expect("a surface")
    }

    #[test]
    fn the_light_stays_whatever_the_view() {
        let glow = spots(1.0);
        let all = light(&glow);
        let square = |left: f64, top: f64, w: f64, h: f64| {
            vec![[left, top], [left + w, top], [left, top + h], [left + w, top + h]]
        };
        let tilted = vec![[40.0, 60.0], [560.0, 20.0], [90.0, 420.0], [500.0, 460.0]];
        let steep = vec![[250.0, 40.0], [350.0, 40.0], [20.0, 400.0], [580.0, 400.0]];
        // Small: 13, and 100 texels to the side of an image pixel's piece of cloth.
        for (points, width, height) in [
            (square(20.3, 11.7, 400.0, 300.0), 440, 330),
            (square(20.3, 11.7, 560.0, 430.0), 600, 480),
            (tilted, 600, 480),
            (steep, 600, 480),
            (square(20.3, 11.7, 80.0, 60.0), 120, 90),
            (square(20.3, 11.7, 31.0, 23.0), 80, 60),
        ] {
            let gained = light_in_photo(&glow, &surface(&points, 2, 2), width, height);
            assert!((gained / all - 1.0).abs() < ENERGY, "{points:?}: {}", gained / all - 1.0);
        }
        let bent: Vec<[f64; 2]> = (0..9)
            .map(|i| {
                let s = f64::from(i % 3) - 1.0;
                [300.0 + 240.0 * s, 60.0 + 170.0 * f64::from(i / 3) + 60.0 * s * s]
            })
            .collect();
        let gained = light_in_photo(&glow, &surface(&bent, 3, 3), 600, 520);
        assert!((gained / all - 1.0).abs() < ENERGY, "bent: {}", gained / all - 1.0);
    }

    #[test]
    fn far_away_only_the_sum_is_left() {
        // The whole glow in three image pixels by two: what each holds is rough, for a copy of a few texels is read; the sum is kept
        // to a few per cent.
        let glow = spots(1.0);
        let points = [[20.0, 20.0], [23.0, 20.0], [20.0, 22.25], [23.0, 22.25]];
        let area = Area { centre_mm: [0.0, 0.0], size_mm: [400.0, 300.0] };
        let plane =
            Surface::through(area, &points.iter().map(|[x, y]| [2.0 * x, 2.0 * y]).collect::<Vec<_>>(), 2, 2);
        let gained = light_in_photo(&glow, &plane.expect("a plane"), 80, 80);
        assert!((gained / light(&glow) - 1.0).abs() < 0.05, "{}", gained / light(&glow));
    }

    #[test]
    fn straight_on_at_its_own_scale_nothing_changes() {
        let glow = spots(1.0);
        let frame = glow.frame();
        let edge = [-0.5, -0.5, 399.5, 299.5];
        let points = vec![[edge[0], edge[1]], [edge[2], edge[1]], [edge[0], edge[3]], [edge[2], edge[3]]];
        let surface = surface(&points, 2, 2);
        for (column, row) in [(0, 0), (140, 130), (240, 180), (399, 299)] {
            let (mm, scale) = surface.on_garment([f64::from(column), f64::from(row)]).expect("on it");
            let centre = frame.centre_of(column, row);
            assert!((mm[0] - centre[0]).hypot(mm[1] - centre[1]) < 1e-9);
            let found = glow.over(mm, &scale).expect("glow");
            for (found, exact) in found.iter().zip(glow.image().at(column, row)) {
                assert!((found - f64::from(exact)).abs() < 1e-6, "{found} {exact}");
            }
        }
    }
}
