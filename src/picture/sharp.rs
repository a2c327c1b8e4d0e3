//! Small bright areas as the eye resolves them, drawn image pixel by image pixel.
//!
//! Model: an outline that sends its light evenly, blurred by a round Gaussian of standard deviation s:
//!
//! ```text
//! point    exp(-r^2 / 2 s^2) / (2 pi s^2)
//! square   E(x) E(y),   E(x) = [erf((x + a/2) / (s sqrt 2)) - erf((x - a/2) / (s sqrt 2))] / (2 a)
//! disc     1/(pi R^2) int_-R^R g(r - t) erf(sqrt(R^2 - t^2) / (s sqrt 2)) dt,   g the Gaussian in one dimension
//! ```
//!
//! all of unit integral. Such a spot ends a few s beyond its outline, so that drawing it where it is costs less than a
//! Fourier transform of the whole picture, unless s spans many image pixels (see [`pays`]).
//!
//! Validity: a value is that at the centre of the image pixel. A spot narrower than image pixels can carry is blurred to
//! [`LEAST_DEVIATION_PX`]; its light is then right within 1e-5 wherever it lies between the image pixels.
//!
//! Source: elementary integrals; the disc's is the convolution written out in strips.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | r, x, y | distance from the middle of the outline | mm |
//! | s | standard deviation of the blur | mm |
//! | a, R | side of the square, radius of the disc | mm |

use super::coloured::ColouredPoint;
use super::plane::{Frame, XyzImage};
use crate::light::Window;
use pxfm::f_erf;
use rayon::prelude::*;
use std::f64::consts::{FRAC_1_SQRT_2, FRAC_PI_2, PI, TAU};

/// Standard deviations beyond the outline at which a spot is cut off: exp(-5.5^2 / 2) is 3e-7.
const CUT_OFF: f64 = 5.5;
/// The least standard deviation in image pixels. By Poisson's formula the sum over the image pixels then differs from
/// the light by no more than 4 exp(-2 pi^2 0.8^2) = 1.3e-5. Less would make the light depend on the place.
const LEAST_DEVIATION_PX: f64 = 0.8;
/// Above this standard deviation in image pixels the Fourier transform does with a grid coarser than the picture and costs
/// less, while the areas to be drawn grow.
const MOST_DEVIATION_PX: f64 = 3.0;
/// Entries of a disc's table per standard deviation; straight lines between them then err by 2e-5 of a point's peak.
const PER_DEVIATION: f64 = 80.0;
/// Rows of the picture that one thread draws at a time.
const BAND_ROWS: usize = 32;

/// Whether drawing a blur of this standard deviation pays in this frame.
pub(super) fn pays(frame: &Frame, deviation_mm: f64) -> bool {
    deviation_mm < MOST_DEVIATION_PX * frame.mm_per_px
}

/// Outlines, blurred and ready to be drawn at any points of a frame.
#[derive(Debug)]
pub(super) struct Blurred {
    frame: Frame,
    shapes: Vec<Shape>,
}

impl Blurred {
    /// The outlines of a frame, blurred by a Gaussian.
    pub(super) fn new(frame: &Frame, deviation_mm: f64, windows: impl Iterator<Item = Window>) -> Blurred {
        let deviation_mm = deviation_mm.max(LEAST_DEVIATION_PX * frame.mm_per_px);
        Blurred { frame: *frame, shapes: windows.map(|window| Shape::new(window, deviation_mm)).collect() }
    }

    /// Adds them to a picture of the frame's size, each outline at its points, whose light is X, Y, Z times mm2.
    pub(super) fn draw(&self, image: &mut XyzImage, outlines: &[(Window, Vec<ColouredPoint>)]) {
        let frame = &self.frame;
        let width = frame.width_px as usize;
        let shapes: Vec<(&Shape, &[ColouredPoint])> =
            self.shapes.iter().zip(outlines).map(|(shape, (_, points))| (shape, points.as_slice())).collect();
        let [x, y, z] = &mut image.planes;
        let bands = |plane| <[f32]>::par_chunks_mut(plane, width.max(1) * BAND_ROWS);
        bands(x).zip(bands(y)).zip(bands(z)).enumerate().for_each(|(band, ((x, y), z))| {
            let mut band = Band { frame, first_row: band * BAND_ROWS, planes: [x, y, z] };
            let mut scratch = [Vec::new(), Vec::new()];
            for (shape, points) in &shapes {
                points.iter().for_each(|point| band.add(shape, point, &mut scratch));
            }
        });
    }
}

/// Some rows of a picture.
struct Band<'a> {
    frame: &'a Frame,
    first_row: usize,
    planes: [&'a mut [f32]; 3],
}

impl Band<'_> {
    fn add(&mut self, shape: &Shape, point: &ColouredPoint, [profile, values]: &mut [Vec<f32>; 2]) {
        let (frame, width) = (self.frame, self.frame.width_px as usize);
        let step = frame.mm_per_px;
        // The place of the point, and how far it reaches, in image pixels of the picture.
        let across = (point.x_mm - frame.first_x_mm) / step;
        let down = (frame.first_y_mm - point.y_mm) / step - self.first_row as f64;
        let reach = shape.reach_mm / step;
        let rows = span(down, reach, self.planes[0].len() / width);
        let columns = span(across, reach, width);
        let dark = point.xyz == [0.0; 3] || !point.xyz.iter().all(|v| v.is_finite());
        if dark || rows.is_empty() || columns.is_empty() {
            return;
        }
        profile.clear();
        profile.extend(columns.clone().map(|c| shape.along((c as f64 - across) * step)));
        for row in rows {
            values.clear();
            shape.row((row as f64 - down) * step, profile, values);
            let range = row * width + columns.start..row * width + columns.end;
            for (plane, amount) in self.planes.iter_mut().zip(point.xyz.map(|v| v as f32)) {
                plane[range.clone()].iter_mut().zip(&*values).for_each(|(sum, value)| *sum += amount * value);
            }
        }
    }
}

/// The indices from 0 to `count` no farther than `reach` from `middle`.
fn span(middle: f64, reach: f64, count: usize) -> std::ops::Range<usize> {
    let clamp = |v: f64| v.clamp(0.0, count as f64) as usize;
    clamp((middle - reach).ceil())..clamp((middle + reach).floor() + 1.0)
}

/// A blurred outline of unit integral.
#[derive(Debug)]
struct Shape {
    kind: Kind,
    reach_mm: f64,
}

#[derive(Debug)]
enum Kind {
    /// The product of one function along x and along y.
    Product { side_mm: f64, deviation_mm: f64 },
    /// A function of the distance, tabulated.
    Round { table: Vec<f32>, per_mm: f32 },
}

impl Shape {
    fn new(window: Window, deviation_mm: f64) -> Shape {
        let edge = CUT_OFF * deviation_mm;
        match window {
            Window::Disc { diameter } if diameter.0 > 0.0 => {
                let reach_mm = 0.5 * diameter.0 + edge;
                let per_mm = PER_DEVIATION / deviation_mm;
                let disc = Strips::new(0.5 * diameter.0, deviation_mm);
                let count = (reach_mm * per_mm) as usize + 2;
                let table = (0..count).into_par_iter().map(|i| disc.at(i as f64 / per_mm) as f32).collect();
                Shape { kind: Kind::Round { table, per_mm: per_mm as f32 }, reach_mm }
            }
            Window::Square { side } => {
                let kind = Kind::Product { side_mm: side.0, deviation_mm };
                Shape { kind, reach_mm: 0.5 * side.0 + edge }
            }
            Window::Point | Window::Disc { .. } => {
                Shape { kind: Kind::Product { side_mm: 0.0, deviation_mm }, reach_mm: edge }
            }
        }
    }

    /// The values at a distance from the middle along y and the distances along x of which `profile` holds [`Shape::along`].
    fn row(&self, y_mm: f64, profile: &[f32], values: &mut Vec<f32>) {
        let here = self.along(y_mm);
        match &self.kind {
            Kind::Product { .. } => values.extend(profile.iter().map(|at| here * at)),
            Kind::Round { table, per_mm } => values.extend(profile.iter().map(|at| {
                let place = (here + at).sqrt() * per_mm;
                let i = place as usize;
                match table.get(i..i + 2) {
                    Some([low, high]) => low + (place - i as f32) * (high - low),
                    _ => 0.0,
                }
            })),
        }
    }

    /// What a distance along one axis contributes: a factor of a product, the squared distance of a round spot.
    fn along(&self, x_mm: f64) -> f32 {
        match self.kind {
            Kind::Product { side_mm, deviation_mm } => blurred_side(x_mm, side_mm, deviation_mm) as f32,
            Kind::Round { .. } => (x_mm * x_mm) as f32,
        }
    }
}

/// The Gaussian of unit integral in one dimension.
fn gaussian(x: f64, deviation: f64) -> f64 {
    (-0.5 * (x / deviation).powi(2)).exp() / (TAU.sqrt() * deviation)
}

/// An even strip of width `side`, blurred; the Gaussian itself for a side of zero.
fn blurred_side(x: f64, side: f64, deviation: f64) -> f64 {
    if side <= 0.0 {
        return gaussian(x, deviation);
    }
    let edge = |x: f64| f_erf(x * FRAC_1_SQRT_2 / deviation);
    (edge(x + 0.5 * side) - edge(x - 0.5 * side)) / (2.0 * side)
}

/// A blurred disc as a sum over strips.
struct Strips {
    /// Place and weight of each.
    strips: Vec<(f64, f64)>,
    deviation: f64,
}

impl Strips {
    /// Equal steps of u, where t = R sin u: the integrand is smooth and periodic in u, so that strips two thirds of a
    /// standard deviation apart leave no error to speak of.
    fn new(radius: f64, deviation: f64) -> Strips {
        let count = 16 + (1.5 * PI * radius / deviation) as usize;
        let step = PI / count as f64;
        let strips = (0..count)
            .map(|i| {
                let (sin, cos) = ((i as f64 + 0.5) * step - FRAC_PI_2).sin_cos();
                let half_chord = radius * cos;
                let within = f_erf(half_chord * FRAC_1_SQRT_2 / deviation);
                (radius * sin, step * half_chord * within / (PI * radius * radius))
            })
            .collect();
        Strips { strips, deviation }
    }

    fn at(&self, r: f64) -> f64 {
        self.strips.iter().map(|(t, weight)| weight * gaussian(r - t, self.deviation)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::super::coloured::add_coloured;
    use super::super::plane::Accuracy;
    use super::*;
    use crate::light::spread::SpotSpectrum;
    use crate::quantity::Millimetres;

    /// Of the peak: straight lines in the disc's table, single precision, and the cut at 5.5 standard deviations.
    const DRAWN: f64 = 1e-5;
    /// Poisson's formula at the least deviation, and the light beyond the cut, 3e-7.
    const LIGHT: f64 = 3e-5;

    fn windows() -> [Window; 3] {
        [
            Window::Point,
            Window::Square { side: Millimetres(2.1) },
            Window::Disc { diameter: Millimetres(4.0) },
        ]
    }

    #[test]
    fn drawn_outlines_are_the_sums_by_fourier_transform() {
        let frame = Frame::centred(0.7, -0.3, 0.21, 120, 90);
        let deviation = 2.5 * frame.mm_per_px;
        let knots: Vec<f64> = (0..=4000).map(|i| 7.0 / deviation * f64::from(i) / 4000.0).collect();
        let values = knots.iter().map(|k| (-0.5 * (k * deviation).powi(2)).exp()).collect();
        let spot = SpotSpectrum::new(knots, values);
        // One point inside, one that only reaches in from outside, one beyond all reach.
        let points = [[1.234, 2.345], [-12.5, -9.4], [100.0, 0.0]].map(|[x_mm, y_mm]| ColouredPoint {
            x_mm,
            y_mm,
            xyz: [0.5, 1.0, 2.0],
        });
        for window in windows() {
            let outlines = [(window, points.to_vec())];
            let mut drawn = XyzImage::black(frame.width_px, frame.height_px);
            Blurred::new(&frame, deviation, [window].into_iter()).draw(&mut drawn, &outlines);
            let mut transformed = XyzImage::black(frame.width_px, frame.height_px);
            add_coloured(&mut transformed, &frame, &outlines, &spot, Accuracy::Skirts);
            for (drawn, transformed) in drawn.planes.iter().zip(&transformed.planes) {
                let peak = f64::from(transformed.iter().copied().fold(0.0, f32::max));
                let error =
                    drawn.iter().zip(transformed).map(|(a, b)| f64::from((a - b).abs())).fold(0.0, f64::max);
                assert!(peak > 0.0 && error < DRAWN * peak, "{window:?}: {:e}", error / peak);
            }
        }
    }

    #[test]
    fn the_light_is_kept_however_small_the_spot() {
        let frame = Frame::centred(0.0, 0.0, 0.5, 61, 53);
        for window in windows() {
            for (x_mm, y_mm) in [(0.0, 0.0), (0.25, 0.1), (-3.37, 4.44)] {
                let mut image = XyzImage::black(frame.width_px, frame.height_px);
                let point = ColouredPoint { x_mm, y_mm, xyz: [0.0, 7.0, 0.0] };
                Blurred::new(&frame, 0.01, [window].into_iter()).draw(&mut image, &[(window, vec![point])]);
                let sum: f64 = image.planes[1].iter().map(|&v| f64::from(v)).sum();
                let light = sum * frame.mm_per_px.powi(2) / 7.0;
                assert!((light - 1.0).abs() < LIGHT, "{window:?} at {x_mm}, {y_mm}: {light}");
            }
        }
    }

    #[test]
    fn frames_without_image_pixels_do_no_harm() {
        for (width, height) in [(0, 0), (0, 5), (5, 0)] {
            let frame = Frame::centred(0.0, 0.0, 1.0, width, height);
            let mut image = XyzImage::black(width, height);
            let point = ColouredPoint { x_mm: 0.0, y_mm: 0.0, xyz: [1.0; 3] };
            let drawn = Blurred::new(&frame, 1.0, [Window::Point].into_iter());
            drawn.draw(&mut image, &[(Window::Point, vec![point])]);
            assert!(image.planes.iter().all(Vec::is_empty));
        }
    }
}
