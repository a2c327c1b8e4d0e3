//! A made-up camera that photographs the spots of [`crate::spots`].
//!
//! # Model
//! The picture at a place is the sum, over lit pixels, of the glow that photons found and the sharp image of the bare window
//! that is seen through holes and between fibres, blurred by a Gaussian. The value of a channel is
//!
//! ```text
//! v = [exposure gain (mixed light) + background (1 + slope . place)] vignetting
//! ```
//!
//! Then, in this order: mosaic (where asked for), noise of photons and readout (both Gaussian: a channel holds hundreds of
//! electrons where it matters), clipping to 0..1, interpolation of the mosaic, tone, 8 or 16 bits, file.
//!
//! # Left out
//! The perspective of the lens (every place is seen straight ahead, and the window at the board in the same scale as the cloth),
//! a pixel's own aperture (part of the blur), texture of the cloth, the places of the single dies within the window. A camera
//! multiplies the channels for its white balance after clipping; here the gains stand for the sensitivities before it.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | x, y | place on the cloth, to the right and upwards, from the lit pixel's place | mm |
//! | column, row | place in the picture, to the right and downwards; whole numbers are middles of picture elements | px |
//! | light | radiance straight ahead per unit flux of each die | 1/(sr mm2) |
//! | v | linear value; 1 is full scale | 1 |
//!
//! # Source
//! Tone: IEC 61966-2-1. Vignetting: the fourth power of the cosine of the field angle, as for a thin lens (from memory).

use crate::spots::ColourSpots;
use image::{DynamicImage, ImageBuffer, ImageFormat};
use pxfm::f_i0e;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;
use std::io::Cursor;
use weftlight::light::quadrature::{Rule, gauss_legendre};

/// How a picture is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Save {
    /// JPEG of 8-bit sRGB codes, quality 1 to 100.
    Jpeg(u8),
    /// PNG of 8-bit sRGB codes.
    Png,
    /// TIFF of 16-bit linear values.
    LinearTiff,
    /// PNG of 16-bit linear values.
    LinearPng,
}

/// Everything that stands between the light and the file.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Camera {
    /// Width of the picture in px.
    pub(crate) width_px: u32,
    /// Height of the picture in px.
    pub(crate) height_px: u32,
    /// True scale of the picture on the cloth.
    pub(crate) mm_per_px: f64,
    /// Column and row of the place 0, 0 of the cloth.
    pub(crate) centre_px: [f64; 2],
    /// Standard deviation of the Gaussian blur in px.
    pub(crate) blur_px: f64,
    /// Linear value per unit of radiance at a gain of 1; see [`Camera::with_peak`].
    pub(crate) exposure: f64,
    /// Sensitivity of the channels: an unknown white balance.
    pub(crate) channel_gain: [f64; 3],
    /// Share of each die's light that each of the two other channels sees.
    pub(crate) crosstalk: f64,
    /// Electrons at full scale: 4000 is a noisy picture, 40 000 a clean one, infinity has no noise.
    pub(crate) full_scale_electrons: f64,
    /// Standard deviation of the readout in electrons.
    pub(crate) read_noise_electrons: f64,
    /// Linear values of the dark: stray light and offset, at the middle of the picture.
    pub(crate) background: [f64; 3],
    /// Relative change of the background from the middle to the right edge and to the upper edge.
    pub(crate) slope: [f64; 2],
    /// Field angle at the corners in degrees; 0 has no vignetting.
    pub(crate) vignetting_degrees: f64,
    /// Whether each picture element sees one colour and the others are interpolated (red, green / green, blue).
    pub(crate) bayer: bool,
    /// How the picture is stored.
    pub(crate) save: Save,
    /// Seed of the noise.
    pub(crate) seed: u64,
}

impl Camera {
    /// Exact but for 16 bits: no noise, no dark, no falling off; the middle of the picture looks at the place 0, 0.
    pub(crate) fn clean(width_px: u32, height_px: u32, mm_per_px: f64) -> Camera {
        Camera {
            width_px,
            height_px,
            mm_per_px,
            centre_px: [width_px, height_px].map(|n| 0.5 * (f64::from(n) - 1.0)),
            blur_px: 0.7,
            exposure: 1.0,
            channel_gain: [1.0; 3],
            crosstalk: 0.0,
            full_scale_electrons: f64::INFINITY,
            read_noise_electrons: 0.0,
            background: [0.0; 3],
            slope: [0.0; 2],
            vignetting_degrees: 0.0,
            bayer: false,
            save: Save::LinearTiff,
            seed: 1,
        }
    }

    /// As a hand-held camera may be in a dark room: all imperfections, none extreme, and a JPEG.
    pub(crate) fn everyday(width_px: u32, height_px: u32, mm_per_px: f64) -> Camera {
        Camera {
            blur_px: 1.3,
            channel_gain: [0.8, 1.0, 0.65],
            full_scale_electrons: 8000.0,
            read_noise_electrons: 4.0,
            background: [0.004, 0.005, 0.004],
            slope: [0.15, -0.1],
            vignetting_degrees: 12.0,
            bayer: true,
            save: Save::Jpeg(92),
            ..Camera::clean(width_px, height_px, mm_per_px)
        }
    }

    /// The exposure at which the brightest channel has this linear value at the brightest lit pixel, all light counted, the dark
    /// and vignetting not. Above 1 the spot clips.
    pub(crate) fn with_peak(self, spots: &ColourSpots, pixels_mm: &[[f64; 2]], peak: f64) -> Camera {
        let image = Image::behind_cloth(&self, spots, pixels_mm);
        let brightest = pixels_mm.iter().flat_map(|at| self.sensed(image.light(*at))).fold(0.0, f64::max);
        Camera { exposure: self.exposure * peak / brightest, ..self }
    }

    /// As [`Camera::with_peak`], of the glow alone: behind cloth with holes the bare light may then clip.
    pub(crate) fn with_glow_peak(self, spots: &ColourSpots, pixels_mm: &[[f64; 2]], peak: f64) -> Camera {
        let closed = ColourSpots { direct_ahead: 0.0, ..spots.clone() };
        self.with_peak(&closed, pixels_mm, peak)
    }

    /// The photograph of lit pixels at these places behind the cloth, as the bytes of a file.
    pub(crate) fn photograph(&self, spots: &ColourSpots, pixels_mm: &[[f64; 2]]) -> Vec<u8> {
        self.photograph_through(spots, pixels_mm, |at| at)
    }

    /// As [`Camera::photograph`], where `on_cloth` turns a place in mm as seen by an upright camera into the place on the cloth.
    pub(crate) fn photograph_through(
        &self,
        spots: &ColourSpots,
        pixels_mm: &[[f64; 2]],
        on_cloth: impl Fn([f64; 2]) -> [f64; 2] + Sync,
    ) -> Vec<u8> {
        let image = Image::behind_cloth(self, spots, pixels_mm);
        self.expose(|at| image.light(on_cloth(at)))
    }

    /// The photograph of the bare pixels with the same camera at this share of the exposure time; each is a window of uniform
    /// radiance. The dark falls with the exposure, the noise is another one.
    pub(crate) fn photograph_bare(
        &self,
        spots: &ColourSpots,
        pixels_mm: &[[f64; 2]],
        exposure_ratio: f64,
    ) -> Vec<u8> {
        let shorter = Camera {
            exposure: self.exposure * exposure_ratio,
            background: self.background.map(|value| value * exposure_ratio),
            seed: self.seed.wrapping_add(1 << 32),
            ..self.clone()
        };
        let image = Image::bare(self, spots, pixels_mm);
        shorter.expose(|at| image.light(at))
    }

    /// A photograph of any light: radiance of the three dies at a place (x, y in mm).
    pub(crate) fn expose(&self, light: impl Fn([f64; 2]) -> [f64; 3] + Sync) -> Vec<u8> {
        let elements = if self.bayer {
            interpolated(&self.mosaic(&light), self.width_px as usize)
        } else {
            self.elements(&light)
        };
        self.file(&elements)
    }

    /// Place on the cloth in mm that a column and a row look at.
    pub(crate) fn place_mm(&self, column: f64, row: f64) -> [f64; 2] {
        [(column - self.centre_px[0]) * self.mm_per_px, (self.centre_px[1] - row) * self.mm_per_px]
    }

    /// What the channels make of the light of the three dies.
    fn sensed(&self, light: [f64; 3]) -> [f64; 3] {
        let all: f64 = light.iter().sum();
        std::array::from_fn(|channel| {
            let mixed = (1.0 - 3.0 * self.crosstalk) * light[channel] + self.crosstalk * all;
            self.exposure * self.channel_gain[channel] * mixed
        })
    }

    /// Linear values before noise and clipping.
    fn values(&self, light: &impl Fn([f64; 2]) -> [f64; 3], column: usize, row: usize) -> [f64; 3] {
        let (column, row) = (column as f64, row as f64);
        let sensed = self.sensed(light(self.place_mm(column, row)));
        let half = [0.5 * f64::from(self.width_px), 0.5 * f64::from(self.height_px)];
        let [right, up] = [(column + 0.5) / half[0] - 1.0, 1.0 - (row + 0.5) / half[1]];
        let dark = (1.0 + self.slope[0] * right + self.slope[1] * up).max(0.0);
        let from_middle = (column + 0.5 - half[0]).hypot(row + 0.5 - half[1]) / half[0].hypot(half[1]);
        let tangent = from_middle * self.vignetting_degrees.to_radians().tan();
        let vignetting = (1.0 + tangent * tangent).powi(-2);
        std::array::from_fn(|c| (sensed[c] + self.background[c] * dark) * vignetting)
    }

    /// A value with its noise, clipped.
    fn read(&self, value: f64, noise: &mut Noise) -> f32 {
        if self.full_scale_electrons.is_infinite() {
            return value.clamp(0.0, 1.0) as f32;
        }
        let electrons = value * self.full_scale_electrons;
        let deviation = (electrons + self.read_noise_electrons.powi(2)).sqrt();
        ((electrons + deviation * noise.normal()) / self.full_scale_electrons).clamp(0.0, 1.0) as f32
    }

    /// Each row has a noise of its own, so that rows can be made at the same time.
    fn noise_of_row(&self, row: usize) -> Noise {
        let mut parent = Pcg64Mcg::seed_from_u64(self.seed);
        let first: u64 = parent.random();
        Noise { rng: Pcg64Mcg::seed_from_u64(first.wrapping_add(row as u64)), spare: None }
    }

    /// Red, green and blue of each element, row after row.
    fn elements(&self, light: &(impl Fn([f64; 2]) -> [f64; 3] + Sync)) -> Vec<[f32; 3]> {
        let width = self.width_px as usize;
        let mut elements = vec![[0.0; 3]; width * self.height_px as usize];
        elements.par_chunks_mut(width).enumerate().for_each(|(row, of_row)| {
            let mut noise = self.noise_of_row(row);
            for (column, element) in of_row.iter_mut().enumerate() {
                *element = self.values(light, column, row).map(|value| self.read(value, &mut noise));
            }
        });
        elements
    }

    /// The one colour that each element sees.
    fn mosaic(&self, light: &(impl Fn([f64; 2]) -> [f64; 3] + Sync)) -> Vec<f32> {
        let width = self.width_px as usize;
        let mut elements = vec![0.0; width * self.height_px as usize];
        elements.par_chunks_mut(width).enumerate().for_each(|(row, of_row)| {
            let mut noise = self.noise_of_row(row);
            for (column, element) in of_row.iter_mut().enumerate() {
                let value = self.values(light, column, row)[mosaic_colour(column, row)];
                *element = self.read(value, &mut noise);
            }
        });
        elements
    }

    /// The file of linear values between 0 and 1.
    fn file(&self, elements: &[[f32; 3]]) -> Vec<u8> {
        let (width, height) = (self.width_px, self.height_px);
        let picture = match self.save {
            Save::Jpeg(_) | Save::Png => {
                let codes = elements.par_iter().flat_map_iter(|element| element.map(srgb_code)).collect();
                ImageBuffer::from_raw(width, height, codes).map(DynamicImage::ImageRgb8)
            }
            Save::LinearTiff | Save::LinearPng => {
                let code = |value: f32| (f64::from(value) * 65535.0).round() as u16;
                let codes = elements.par_iter().flat_map_iter(|element| element.map(code)).collect();
                ImageBuffer::from_raw(width, height, codes).map(DynamicImage::ImageRgb16)
            }
        };
        let picture = picture.expect("as many codes as elements");
        let mut bytes = Cursor::new(Vec::new());
        match self.save {
            Save::Jpeg(quality) => {
                let coder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality);
                picture.write_with_encoder(coder)
            }
            Save::Png | Save::LinearPng => picture.write_to(&mut bytes, ImageFormat::Png),
            Save::LinearTiff => picture.write_to(&mut bytes, ImageFormat::Tiff),
        }
        .expect("memory takes the picture");
        bytes.into_inner()
    }
}

/// 8-bit code of a linear value between 0 and 1 (IEC 61966-2-1).
pub(crate) fn srgb_code(linear: f32) -> u8 {
    // Single precision errs by 1e-4 of a code.
    let coded = if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 };
    (255.0 * coded).round() as u8
}

/// Which colour an element of the mosaic sees: red and green in even rows, green and blue in odd ones.
fn mosaic_colour(column: usize, row: usize) -> usize {
    column % 2 + row % 2
}

/// All three colours of each element: its own where it has it, else the mean of those neighbours that have it (bilinear).
fn interpolated(mosaic: &[f32], width: usize) -> Vec<[f32; 3]> {
    let height = mosaic.len() / width;
    let mut elements = vec![[0.0; 3]; mosaic.len()];
    elements.par_chunks_mut(width).enumerate().for_each(|(row, of_row)| {
        for (column, element) in of_row.iter_mut().enumerate() {
            let (mut sums, mut counts) = ([0.0; 3], [0.0; 3]);
            for r in row.saturating_sub(1)..(row + 2).min(height) {
                for c in column.saturating_sub(1)..(column + 2).min(width) {
                    let colour = mosaic_colour(c, r);
                    sums[colour] += mosaic[r * width + c];
                    counts[colour] += 1.0;
                }
            }
            *element = std::array::from_fn(|colour| sums[colour] / counts[colour]);
            element[mosaic_colour(column, row)] = mosaic[row * width + column];
        }
    });
    elements
}

/// Normal deviates, two at a time (Marsaglia's polar method, from memory).
struct Noise {
    rng: Pcg64Mcg,
    spare: Option<f64>,
}

impl Noise {
    fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let x = 2.0 * self.rng.random::<f64>() - 1.0;
            let y = 2.0 * self.rng.random::<f64>() - 1.0;
            let squared = x * x + y * y;
            if squared < 1.0 && squared > 0.0 {
                let scale = (-2.0 * squared.ln() / squared).sqrt();
                self.spare = Some(y * scale);
                return x * scale;
            }
        }
    }
}

/// The light of pixels at their places, blurred.
struct Image<'a> {
    pixels_mm: &'a [[f64; 2]],
    glow: ByRadius,
    /// The same in all colours.
    window: ByRadius,
}

impl<'a> Image<'a> {
    /// Glow, and the window through holes.
    fn behind_cloth(camera: &Camera, spots: &ColourSpots, pixels_mm: &'a [[f64; 2]]) -> Image<'a> {
        /// Steps of the table in the height of the cloth: between them a straight line leaves some 2e-5 of a smooth glow, which
        /// bends over half a height.
        const STEPS_PER_HEIGHT: f64 = 200.0;
        let blur = Blur::new(camera.blur_px * camera.mm_per_px);
        let glow =
            ByRadius::new(farthest_mm(camera, pixels_mm), STEPS_PER_HEIGHT / spots.height_mm, |radius| {
                std::array::from_fn(|colour| blur.of(|r| spots.glow(colour, r), radius, f64::INFINITY))
            });
        let window = window(camera, spots, spots.direct_ahead);
        Image { pixels_mm, glow, window }
    }

    /// The window alone, in full.
    fn bare(camera: &Camera, spots: &ColourSpots, pixels_mm: &'a [[f64; 2]]) -> Image<'a> {
        Image { pixels_mm, glow: ByRadius::new(0.0, 1.0, |_| [0.0; 3]), window: window(camera, spots, 1.0) }
    }

    /// Light at a place in mm.
    fn light(&self, at_mm: [f64; 2]) -> [f64; 3] {
        let mut sum = [0.0; 3];
        for pixel in self.pixels_mm {
            let radius = distance(*pixel, at_mm);
            self.glow.add(radius, &mut sum);
            self.window.add(radius, &mut sum);
        }
        sum
    }
}

/// The blurred window of which a share of the radiance is seen.
fn window(camera: &Camera, spots: &ColourSpots, share: f64) -> ByRadius {
    /// Steps of the table per picture element: between them a straight line leaves 1e-3 of the window's radiance at its
    /// edge with the least blur in use, 0.7 px.
    const STEPS_PER_PX: f64 = 8.0;
    let blur = Blur::new(camera.blur_px * camera.mm_per_px);
    let (radius_mm, radiance) = (spots.window_radius_mm(), share * spots.window_radiance());
    let end_mm = radius_mm + Blur::REACH * blur.deviation_mm;
    ByRadius::new(end_mm, STEPS_PER_PX / camera.mm_per_px, |radius| {
        [radiance * blur.of(|_| 1.0, radius, radius_mm); 3]
    })
}

/// The greatest distance in mm between a lit pixel and a place in the picture or another pixel.
fn farthest_mm(camera: &Camera, pixels_mm: &[[f64; 2]]) -> f64 {
    let corners = [0.0, f64::from(camera.width_px)]
        .into_iter()
        .flat_map(|column| [0.0, f64::from(camera.height_px)].map(|row| camera.place_mm(column, row)));
    let places: Vec<[f64; 2]> = corners.chain(pixels_mm.iter().copied()).collect();
    let distances = places.iter().flat_map(|place| pixels_mm.iter().map(|at| distance(*at, *place)));
    distances.fold(0.0, f64::max)
}

/// Light of one pixel at radii of 0, 1, 2 ... steps; straight lines between them.
struct ByRadius {
    values: Vec<[f32; 3]>,
    steps_per_mm: f64,
}

impl ByRadius {
    fn new(end_mm: f64, steps_per_mm: f64, light: impl Fn(f64) -> [f64; 3] + Sync) -> ByRadius {
        let count = (end_mm * steps_per_mm).ceil() as usize + 2;
        let at = |i: usize| light(i as f64 / steps_per_mm).map(|value| value as f32);
        ByRadius { values: (0..count).into_par_iter().map(at).collect(), steps_per_mm }
    }

    /// Adds the light at a radius in mm; beyond the table it stays as at its end.
    fn add(&self, radius_mm: f64, sum: &mut [f64; 3]) {
        let step = (radius_mm * self.steps_per_mm).min((self.values.len() - 1) as f64);
        let before = (step as usize).min(self.values.len() - 2);
        let share = step - before as f64;
        let (near, far) = (self.values[before], self.values[before + 1]);
        for (colour, value) in sum.iter_mut().enumerate() {
            *value += (1.0 - share) * f64::from(near[colour]) + share * f64::from(far[colour]);
        }
    }
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    let (x, y) = (a[0] - b[0], a[1] - b[1]);
    (x * x + y * y).sqrt()
}

/// A Gaussian blur of round things: what is `f(r)` becomes
/// `int f(s) exp(-(r^2 + s^2) / (2 b^2)) I0(r s / b^2) s ds / b^2`.
struct Blur {
    deviation_mm: f64,
    rule: Rule,
}

impl Blur {
    /// Standard deviations that count.
    const REACH: f64 = 7.0;

    fn new(deviation_mm: f64) -> Blur {
        /// Points over the 14 standard deviations that count: the rule leaves 1e-7 of a Gaussian.
        const POINTS: usize = 40;
        Blur { deviation_mm, rule: gauss_legendre(POINTS) }
    }

    /// The blurred value at `radius` of `f`, which is 0 beyond `end`, all in mm.
    fn of(&self, f: impl Fn(f64) -> f64, radius: f64, end: f64) -> f64 {
        let b = self.deviation_mm;
        if b == 0.0 {
            return if radius <= end { f(radius) } else { 0.0 };
        }
        let (from, to) = ((radius - Self::REACH * b).max(0.0), (radius + Self::REACH * b).min(end));
        if from >= to {
            return 0.0;
        }
        let part = |(x, weight): (&f64, &f64)| {
            let s = from + (to - from) * x;
            let away = (radius - s) / b;
            weight * f(s) * s * (-0.5 * away * away).exp() * f_i0e(radius * s / (b * b))
        };
        self.rule.nodes.iter().zip(&self.rule.weights).map(part).sum::<f64>() * (to - from) / (b * b)
    }
}
