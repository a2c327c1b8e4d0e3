//! Made-up photographs for the tests: spots, slopes, noise, rounding, clipping.

use super::decode::{Format, Photo, Samples, Tone, ToneChoice, decode};
use crate::picture::colour;
use image::ImageEncoder;
use image::codecs::jpeg::JpegEncoder;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// A picture to be, in linear light.
pub(crate) struct Scene {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// R, G, B, row by row.
    pub(crate) light: Vec<[f64; 3]>,
    random: Pcg64Mcg,
}

impl Scene {
    pub(crate) fn new(width: usize, height: usize, background: [f64; 3], seed: u64) -> Scene {
        Scene {
            width,
            height,
            light: vec![background; width * height],
            random: Pcg64Mcg::seed_from_u64(seed),
        }
    }

    /// Adds what a function of the place says.
    pub(crate) fn add(&mut self, what: impl Fn(f64, f64) -> [f64; 3]) {
        for (i, light) in self.light.iter_mut().enumerate() {
            let more = what((i % self.width) as f64, (i / self.width) as f64);
            for c in 0..3 {
                light[c] += more[c];
            }
        }
    }

    /// Adds a Gaussian whose light at `half_width` is half of its peak.
    pub(crate) fn gaussian(&mut self, centre: [f64; 2], half_width: f64, peak: [f64; 3]) {
        self.add(|x, y| {
            let squared = (x - centre[0]).powi(2) + (y - centre[1]).powi(2);
            peak.map(|p| p * (-std::f64::consts::LN_2 * squared / (half_width * half_width)).exp())
        });
    }

    /// Adds the light of a lamp below a plane, `cos^4` of the angle: `(1 + r^2/h^2)^-2`.
    pub(crate) fn glow(&mut self, centre: [f64; 2], half_width: f64, peak: [f64; 3]) {
        let height_squared = half_width * half_width / (std::f64::consts::SQRT_2 - 1.0);
        self.add(|x, y| {
            let squared = (x - centre[0]).powi(2) + (y - centre[1]).powi(2);
            peak.map(|p| p / (1.0 + squared / height_squared).powi(2))
        });
    }

    /// A normal variable (sum of twelve even ones).
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.random.random::<f64>()).sum::<f64>() - 6.0
    }

    /// Adds noise, `read` of it everywhere and `shot` of it at light 1, growing with the square root.
    pub(crate) fn noise(&mut self, read: f64, shot: f64) {
        for i in 0..self.light.len() {
            for c in 0..3 {
                let light = self.light[i][c];
                let deviation = (read * read + shot * shot * light.max(0.0)).sqrt();
                self.light[i][c] = light + deviation * self.normal();
            }
        }
    }

    /// Softens the noise as demosaicing does: mean over 2 x 2 pixels and 2 x 2 again.
    pub(crate) fn soften(&mut self) {
        let old = self.light.clone();
        let (width, height) = (self.width, self.height);
        for y in 1..height - 1 {
            for x in 1..width - 1 {
                let mut sum = [0.0; 3];
                for (dy, wy) in [(0, 1.0), (1, 2.0), (2, 1.0)] {
                    for (dx, wx) in [(0, 1.0), (1, 2.0), (2, 1.0)] {
                        let near = old[(y + dy - 1) * width + x + dx - 1];
                        for c in 0..3 {
                            sum[c] += wy * wx * near[c] / 16.0;
                        }
                    }
                }
                self.light[y * width + x] = sum;
            }
        }
    }

    /// 16 bits, linear.
    pub(crate) fn linear(&self) -> Photo {
        let codes = self.light.iter().flatten().map(|l| (65_535.0 * l).round().clamp(0.0, 65_535.0) as u16);
        Photo::new(self.width, self.height, Samples::Sixteen(codes.collect()), Tone::Linear, Format::Tiff)
            .unwrap()
    }

    fn eight_bits(&self) -> Vec<u8> {
        let code = |l: &f64| (255.0 * colour::encode(l.clamp(0.0, 1.0))).round() as u8;
        self.light.iter().flatten().map(code).collect()
    }

    /// 8 bits by the sRGB curve, lossless.
    pub(crate) fn srgb(&self) -> Photo {
        Photo::new(self.width, self.height, Samples::Eight(self.eight_bits()), Tone::Srgb, Format::Png)
            .unwrap()
    }

    /// As a JPEG of a quality.
    pub(crate) fn jpeg(&self, quality: u8) -> Photo {
        let mut bytes = Vec::new();
        let encoder = JpegEncoder::new_with_quality(&mut bytes, quality);
        let (width, height) = (self.width as u32, self.height as u32);
        encoder.write_image(&self.eight_bits(), width, height, image::ExtendedColorType::Rgb8).unwrap();
        decode(&bytes, ToneChoice::Auto).unwrap()
    }
}
