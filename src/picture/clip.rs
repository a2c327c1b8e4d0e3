//! The edge of the pattern piece in a picture: outside it there is a plain background, and a thin line follows it.
//!
//! Only the developed picture is cut. The luminances in the cloth's plane go on beyond the edge, for the light of pixels
//! near it is computed as if the cloth did; so do the exposure and the numbers. Coverage of an image pixel is exact across
//! and in eight steps upright, and mixes the colours in sRGB values, as for text.

use super::canvas::{Canvas, Rgb8};
use super::develop::develop;
use super::exposure::ExposureValue;
use super::luminance::LuminanceImage;
use super::plane::Frame;
use crate::pixels::outline::Outline;
use rayon::prelude::*;

/// What lies outside the pattern piece.
pub const BACKGROUND: Rgb8 = [44, 47, 55];
/// Its edge.
pub const EDGE: Rgb8 = [150, 148, 142];
/// Width of the line along the edge in image pixels.
const EDGE_PX: f64 = 1.5;
/// Rows into which an image pixel is divided.
const ROWS: usize = 8;

/// The 8-bit picture at an exposure, cut at the edge of the pattern piece where there is one.
#[must_use]
pub fn developed(picture: &LuminanceImage, exposure: ExposureValue) -> Canvas {
    let mut canvas = develop(&picture.image, exposure);
    if let Some(outline) = &picture.outline {
        cut(&mut canvas, &picture.frame, outline);
    }
    canvas
}

/// The share of each image pixel of a frame that lies inside an outline, row by row from the top.
pub(super) fn shares(frame: &Frame, outline: &Outline) -> Vec<f32> {
    let width = frame.width_px as usize;
    let mut shares = vec![0.0; frame.len()];
    shares.par_chunks_mut(width.max(1)).enumerate().for_each(|(row, line)| {
        let mut inside = vec![0.0; width];
        for part in 0..ROWS {
            let down = row as f64 + (part as f64 + 0.5) / ROWS as f64;
            add(&mut inside, frame, &outline.stretches(top_mm(frame) - down * frame.mm_per_px, 0.0));
        }
        line.iter_mut().zip(inside).for_each(|(share, inside)| *share = inside as f32);
    });
    shares
}

/// Cuts a picture that shows `frame`.
fn cut(canvas: &mut Canvas, frame: &Frame, outline: &Outline) {
    let width = canvas.width_px as usize;
    if width == 0 {
        return;
    }
    let half_mm = 0.5 * EDGE_PX * frame.mm_per_px;
    canvas.rgb.par_chunks_mut(3 * width).enumerate().for_each(|(row, line)| {
        let mut inside = vec![0.0; width];
        let mut edge = vec![0.0; width];
        for part in 0..ROWS {
            let down = row as f64 + (part as f64 + 0.5) / ROWS as f64;
            let y = top_mm(frame) - down * frame.mm_per_px;
            add(&mut inside, frame, &outline.stretches(y, 0.0));
            add(&mut edge, frame, &outline.edge_stretches(y, half_mm));
        }
        for ((rgb, inside), edge) in line.chunks_exact_mut(3).zip(inside).zip(edge) {
            for ((value, background), line) in rgb.iter_mut().zip(BACKGROUND).zip(EDGE) {
                let cloth = mixed(f64::from(background), f64::from(*value), inside);
                *value = mixed(cloth, f64::from(line), edge).round() as u8;
            }
        }
    });
}

fn left_mm(frame: &Frame) -> f64 {
    frame.first_x_mm - 0.5 * frame.mm_per_px
}

fn top_mm(frame: &Frame) -> f64 {
    frame.first_y_mm + 0.5 * frame.mm_per_px
}

fn mixed(from: f64, to: f64, share: f64) -> f64 {
    // Unchanged where nothing is to be mixed, whatever the rounding of the shares.
    let share = if share > 1.0 - 1e-9 { 1.0 } else { share };
    from + share * (to - from)
}

/// Adds one of the [`ROWS`] of an image row.
fn add(shares: &mut [f64], frame: &Frame, stretches: &[[f64; 2]]) {
    let count = shares.len();
    for ends in stretches {
        let [from, to] = ends.map(|x| ((x - left_mm(frame)) / frame.mm_per_px).clamp(0.0, count as f64));
        let (first, last) = (from as usize, (to.ceil() as usize).min(count));
        for (i, share) in shares.iter_mut().enumerate().take(last).skip(first) {
            let covered = to.min(i as f64 + 1.0) - from.max(i as f64);
            *share += covered.max(0.0) / ROWS as f64;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::{BezPath, Circle, Shape};

    /// Eight rows of an image pixel: a share is right to half a row.
    const SHARE_ERROR: f64 = 1.0 / 16.0 + 1e-9;

    fn outline(path: BezPath) -> Outline {
        Outline::of(&path).expect("an outline")
    }

    fn white(frame: &Frame) -> Canvas {
        Canvas::filled(frame.width_px, frame.height_px, [255; 3])
    }

    #[test]
    fn a_square_is_cut_where_it_ends() {
        // 20 by 20 image pixels of 1 mm around the origin, a square of 10.5 mm.
        let frame = Frame::centred(0.0, 0.0, 1.0, 20, 20);
        let square = outline(kurbo::Rect::new(-5.25, -5.25, 5.25, 5.25).to_path(0.1));
        let mut canvas = white(&frame);
        cut(&mut canvas, &frame, &square);
        assert_eq!(canvas.at(10, 10), Some([255; 3]), "the cloth is as it was");
        assert_eq!(canvas.at(1, 1), Some(BACKGROUND));
        assert_eq!(canvas.at(10, 4), canvas.at(4, 10), "alike on all sides");
        assert_eq!(canvas.at(15, 10), canvas.at(10, 15));
        // The line covers -5.25 ± 0.75: image pixel 4 (-6 to -5) from its start to its end.
        assert_eq!(canvas.at(4, 10), Some(EDGE));
    }

    #[test]
    fn coverage_adds_up_to_the_area() {
        let frame = Frame::centred(1.0, -2.0, 0.37, 120, 90);
        let circle = outline(Circle::new((1.3, -2.2), 12.0).to_path(1e-6));
        let mut area = 0.0;
        for row in 0..frame.height_px {
            let mut shares = vec![0.0; frame.width_px as usize];
            for part in 0..ROWS {
                let down = f64::from(row) + (part as f64 + 0.5) / ROWS as f64;
                let y = top_mm(&frame) - down * frame.mm_per_px;
                add(&mut shares, &frame, &circle.stretches(y, 0.0));
            }
            assert!(shares.iter().all(|s| (-1e-12..=1.0 + SHARE_ERROR).contains(s)));
            area += shares.iter().sum::<f64>();
        }
        let area = area * frame.mm_per_px.powi(2);
        // Rows of 0.05 mm on a circle of 24 mm: midpoint sums of a half circle err by about (0.05 / 12)^1.5.
        let exact = std::f64::consts::PI * 144.0;
        assert!((area / exact - 1.0).abs() < 3e-4, "{area} {exact}");
    }
}
