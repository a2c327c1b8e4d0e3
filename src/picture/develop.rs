//! A whole luminance picture developed into what a screen is sent.
//!
//! As [`Development::pixel`](super::tone::Development::pixel), image pixel by image pixel, but with the tone curve read from a table: its powers would cost
//! more than all the rest. A code may differ by one where the exact value lies within 1e-5 of the step between two codes.

use super::canvas::Canvas;
use super::colour::gamut::into_gamut;
use super::colour::{encode_8bit, linear_srgb};
use super::exposure::ExposureValue;
use super::plane::XyzImage;
use super::tone::{HEADROOM, ToneCurve};
use crate::light::spectrum::Xyz;
use rayon::prelude::*;
use std::sync::LazyLock;

/// Entries of the curve's table per unit of full scale; straight lines between them err by less than 2e-6 of full scale.
const PER_FULL_SCALE: usize = 1024;

static CURVE: LazyLock<Curve> = LazyLock::new(|| Curve::of(ToneCurve::new(HEADROOM)));

/// The 8-bit sRGB picture at an exposure.
#[must_use]
pub fn develop(image: &XyzImage, exposure: ExposureValue) -> Canvas {
    let width = image.width_px as usize;
    let [x, y, z] = &image.planes;
    let mut canvas = Canvas::filled(image.width_px, image.height_px, [0, 0, 0]);
    if width == 0 {
        return canvas;
    }
    let (curve, scale) = (&*CURVE, 1.0 / exposure.full_scale().0);
    canvas.rgb.par_chunks_mut(3 * width).enumerate().for_each(|(row, out)| {
        let range = row * width..(row + 1) * width;
        let (x, y, z) = (&x[range.clone()], &y[range.clone()], &z[range]);
        // Neighbours often agree (dark surroundings): the last answer is kept.
        let (mut last, mut answer) = ([f32::NAN; 3], [0u8; 3]);
        for (((rgb, &x), &y), &z) in out.chunks_exact_mut(3).zip(x).zip(y).zip(z) {
            let xyz = [x, y, z];
            if xyz != last {
                answer = curve.pixel(Xyz(xyz.map(|v| f64::from(v) * scale)));
                last = xyz;
            }
            rgb.copy_from_slice(&answer);
        }
    });
    canvas
}

/// A tone curve, tabulated.
struct Curve {
    curve: ToneCurve,
    /// What a colour is multiplied by when its greatest value is the index over [`PER_FULL_SCALE`].
    factors: Vec<f64>,
}

impl Curve {
    fn of(curve: ToneCurve) -> Curve {
        let count = (HEADROOM * PER_FULL_SCALE as f64) as usize + 1;
        let factors = (0..count)
            .into_par_iter()
            .map(|i| {
                let scene = (i.max(1) as f64) / PER_FULL_SCALE as f64;
                curve.apply(scene) / scene
            })
            .collect();
        Curve { curve, factors }
    }

    fn factor(&self, greatest: f64) -> f64 {
        if greatest <= self.curve.knee() {
            return 1.0;
        }
        if greatest >= HEADROOM {
            return 1.0 / greatest;
        }
        let place = greatest * PER_FULL_SCALE as f64;
        let i = place as usize;
        match self.factors.get(i..i + 2) {
            Some([low, high]) => low + (place - i as f64) * (high - low),
            _ => 1.0 / greatest,
        }
    }

    /// The 8-bit pixel of tristimulus values relative to full scale.
    fn pixel(&self, shares: Xyz) -> [u8; 3] {
        let rgb = linear_srgb(shares);
        let factor = self.factor(rgb[0].max(rgb[1]).max(rgb[2]));
        into_gamut(rgb.map(|v| v * factor)).map(encode_8bit)
    }
}

#[cfg(test)]
mod tests {
    use super::super::tone::Development;
    use super::*;

    /// Straight lines in the table of factors, over full scale.
    const TABLE: f64 = 2e-6;

    #[test]
    fn the_table_is_the_curve() {
        for i in 0..200_000 {
            let scene = 1e-4 * f64::from(i);
            let error = (CURVE.factor(scene) * scene - CURVE.curve.apply(scene)).abs();
            assert!(error < TABLE, "{scene}: {error:e}");
        }
    }

    #[test]
    fn a_picture_is_its_pixels() {
        let exposure = ExposureValue(3.0);
        let development = Development { exposure, curve: ToneCurve::new(HEADROOM) };
        let (width, height) = (64, 48);
        let mut image = XyzImage::black(width, height);
        for (c, plane) in image.planes.iter_mut().enumerate() {
            for (i, value) in plane.iter_mut().enumerate() {
                // Colours inside and outside sRGB, from dark to far above full scale.
                *value = ((i * (7 + 4 * c) % 97) as f32 / 9.0).powi(2) * if i % 5 == c { 0.1 } else { 1.0 };
            }
        }
        let canvas = develop(&image, exposure);
        let mut off = 0;
        for row in 0..height {
            for column in 0..width {
                let want = development.pixel(Xyz(image.at(column, row).map(f64::from)));
                let got = canvas.at(column, row).expect("inside");
                assert!(want.iter().zip(got).all(|(w, g)| w.abs_diff(g) <= 1), "{want:?} {got:?}");
                off += usize::from(want != got);
            }
        }
        // One value in a thousand may lie that near a step.
        assert!(off <= (width * height / 300) as usize, "{off}");
    }
}
