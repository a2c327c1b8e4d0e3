//! The picture of the light that comes straight through the cloth, for [`super::dots`].
//!
//! # Model
//! Straight through a hole the eye sees the light itself: its outline (a disc of radius R) blurred by a Gaussian of standard
//! deviation s, as sharp as the samples allow:
//!
//! ```text
//! L(r) = 1/(pi R^2) int_-R^R g(x - r) erf(sqrt(R^2 - x^2) / (s sqrt 2)) dx,   g(x) = exp(-x^2 / 2 s^2) / (s sqrt(2 pi))
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | L(r) | luminance over intensity at the distance r from the middle | cd/m2 per cd, here 1e6 / mm2 |
//!
//! It is short, so that adding it to the samples around each light costs less than Fourier transforms as fine as it asks for.
//!
//! # Validity
//! Seen from straight ahead and from afar. A square outline counts as the disc with the same mean square distance from its
//! middle.
//!
//! # Source
//! The convolution of a disc and a Gaussian, strip by strip: elementary.

use crate::light::Window;
use crate::light::quadrature::gauss_legendre;
use crate::picture::plane::{Frame, SpotPoint};
use pxfm::f_erf;
use std::f64::consts::PI;
use std::sync::{Arc, Mutex, PoisonError};

/// Pictures of the light that comes straight through, kept from one cloth to the next: they depend on the layout, the frame and
/// the outline of the lights only.
#[derive(Clone, Debug, Default)]
pub(super) struct StraightPictures(Arc<Mutex<Vec<Arc<StraightPicture>>>>);

/// One candela at full level straight through, real and even, in cd/m2.
#[derive(Debug)]
pub(super) struct StraightPicture {
    frame: Frame,
    window: Window,
    lights: [Vec<SpotPoint>; 2],
    pub(super) planes: [Vec<f32>; 2],
}

impl StraightPicture {
    fn new(frame: &Frame, aperture_mm: f64, window: Window, lights: &[Vec<SpotPoint>; 2]) -> StraightPicture {
        let spot = StraightSpot::new(frame.mm_per_px, aperture_mm, window);
        let planes = std::array::from_fn(|i| {
            let mut plane = vec![0.0; frame.len()];
            spot.add(&mut plane, frame, &lights[i]);
            plane
        });
        StraightPicture { frame: *frame, window, lights: lights.clone(), planes }
    }
}

impl StraightPictures {
    /// The picture, kept for the next time where there is no aperture (it belongs to one cloth).
    pub(super) fn get(
        &self,
        frame: &Frame,
        aperture_mm: f64,
        window: Window,
        lights: &[Vec<SpotPoint>; 2],
    ) -> Arc<StraightPicture> {
        /// Pictures kept at most: the kinds of light of a scene are fewer.
        const MOST: usize = 8;
        let make = || Arc::new(StraightPicture::new(frame, aperture_mm, window, lights));
        if aperture_mm > 0.0 {
            return make();
        }
        // Nothing half-done is ever in the list, so a poisoned lock is taken as it is.
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let same = |p: &&Arc<StraightPicture>| p.frame == *frame && p.window == window && p.lights == *lights;
        if let Some(picture) = known.iter().find(same) {
            return Arc::clone(picture);
        }
        if known.len() >= MOST {
            known.remove(0);
        }
        known.push(make());
        Arc::clone(&known[known.len() - 1])
    }
}

/// One candela seen straight through, as sharp as the samples allow: the window blurred by a Gaussian, in cd/m2 over the square
/// of the distance in mm2.
struct StraightSpot {
    values: Vec<f32>,
    per_mm2: f64,
    reach_mm: f64,
}

impl StraightSpot {
    /// For samples `step` mm apart and the aperture in mm through which the rest of the picture is seen. A square window counts as the disc with the same mean square distance from its middle.
    fn new(step: f64, aperture_mm: f64, window: Window) -> StraightSpot {
        /// cd to cd/m2 mm2.
        const PER_SQUARE_METRE: f64 = 1e6;
        /// Standard deviation over the step: narrower would ring in the spectrum of the contrast.
        const BLUR: f64 = 1.5;
        /// Standard deviations beyond the window: 4e-6 of the peak is left there.
        const REACH: f64 = 5.0;
        /// Entries of the table; straight lines between them leave 1e-4 of the peak.
        const ENTRIES: usize = 512;
        /// Points of the rule across the disc: exact to 1e-6 for discs up to eight deviations in radius.
        const POINTS: usize = 24;
        let deviation = aperture_mm.hypot(BLUR * step);
        let radius = match window {
            Window::Point => 0.0,
            Window::Disc { diameter } => 0.5 * diameter.0,
            Window::Square { side } => side.0 / 3f64.sqrt(),
        };
        let reach_mm = radius + REACH * deviation;
        let per_mm2 = (ENTRIES - 2) as f64 / (reach_mm * reach_mm);
        let gauss = |x: f64| (-0.5 * (x / deviation).powi(2)).exp() / (deviation * (2.0 * PI).sqrt());
        // Strips of the disc: place, and the share of a Gaussian that the strip's length lets through, over the disc's area.
        let rule = gauss_legendre(POINTS);
        let strips: Vec<(f64, f64)> = rule
            .nodes
            .iter()
            .zip(&rule.weights)
            .map(|(&x, &w)| {
                let at = radius * (2.0 * x - 1.0);
                let half = (radius * radius - at * at).max(0.0).sqrt();
                let through = f_erf(half / (deviation * 2f64.sqrt()));
                (at, w * 2.0 * radius * through / (PI * radius * radius))
            })
            .collect();
        let at = |r: f64| {
            if radius < 1e-3 * deviation {
                return gauss(r) * gauss(0.0);
            }
            strips.iter().map(|&(x, weight)| weight * gauss(x - r)).sum()
        };
        let values =
            (0..ENTRIES).map(|i| (PER_SQUARE_METRE * at((i as f64 / per_mm2).sqrt())) as f32).collect();
        StraightSpot { values, per_mm2, reach_mm }
    }

    /// Adds the points, each so many candela, to the samples around them.
    fn add(&self, plane: &mut [f32], frame: &Frame, points: &[SpotPoint]) {
        let (width, height) = (frame.width_px as usize, frame.height_px as usize);
        let step = frame.mm_per_px;
        let span = |middle: f64, count: usize| {
            let reach = self.reach_mm / step;
            (
                (middle - reach).ceil().max(0.0) as usize,
                ((middle + reach + 1.0).floor().max(0.0) as usize).min(count),
            )
        };
        for point in points {
            let x = (point.x_mm - frame.first_x_mm) / step;
            let y = (frame.first_y_mm - point.y_mm) / step;
            let amount = point.amount as f32;
            let ((left, right), (top, bottom)) = (span(x, width), span(y, height));
            let scale = (self.per_mm2 * step * step) as f32;
            for row in top..bottom {
                let dy = (row as f64 - y) as f32;
                let start = row * width;
                for column in left..right {
                    let dx = (column as f64 - x) as f32;
                    let at = scale * (dx * dx + dy * dy);
                    let i = at as usize;
                    if let Some(&[low, high]) = self.values.get(i..i + 2) {
                        plane[start + column] += amount * (low + (at - i as f32) * (high - low));
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::spread::SpotSpectrum;
    use crate::quantity::Millimetres;

    const WINDOWS: [Window; 3] = [
        Window::Point,
        Window::Disc { diameter: Millimetres(0.7) },
        Window::Disc { diameter: Millimetres(6.0) },
    ];

    #[test]
    fn a_spot_is_the_inverse_of_its_transform() {
        // The same by the other way: the Gaussian's transform times the outline's, by the Hankel transform.
        /// Of the peak: the table's straight lines.
        const ERROR: f64 = 2e-4;
        for window in WINDOWS {
            let spot = StraightSpot::new(0.4, 0.3, window);
            let deviation = 0.3f64.hypot(0.6);
            let knots: Vec<f64> = (0..=96).map(|i| 6.0 / deviation * f64::from(i) / 96.0).collect();
            let values = knots.iter().map(|k| 1e6 * (-0.5 * (k * deviation).powi(2)).exp()).collect();
            let radii: Vec<f64> = (0..40).map(|i| 0.137 * f64::from(i)).collect();
            let exact = SpotSpectrum::new(knots, values).at_radii(window, &radii);
            for (r, exact_r) in radii.iter().zip(&exact) {
                let at = spot.per_mm2 * r * r;
                let i = at as usize;
                let pair = spot.values.get(i..i + 2).map_or([0.0; 2], |p| [f64::from(p[0]), f64::from(p[1])]);
                let found = pair[0] + (at - i as f64) * (pair[1] - pair[0]);
                assert!((found - exact_r).abs() < ERROR * exact[0], "{window:?} {r}: {found}, {exact_r}");
            }
        }
    }

    #[test]
    fn all_the_light_arrives_and_pictures_are_kept() {
        /// Lattice sums of a smooth spot are exact but for the table and single precision.
        const ERROR: f64 = 1e-3;
        let frame = Frame::centred(0.0, 0.0, 0.5, 80, 60);
        let lights = [
            vec![SpotPoint { x_mm: 1.13, y_mm: -0.4, amount: 2.0 }],
            vec![
                SpotPoint { x_mm: -2.2, y_mm: 3.3, amount: 1.5 },
                SpotPoint { x_mm: 0.1, y_mm: 0.2, amount: 0.5 },
            ],
        ];
        let kept = StraightPictures::default();
        for window in WINDOWS {
            let picture = kept.get(&frame, 0.0, window, &lights);
            for plane in &picture.planes {
                let sum: f64 = plane.iter().map(|&v| f64::from(v)).sum::<f64>() * 0.25;
                assert!((sum / 2e6 - 1.0).abs() < ERROR, "{window:?}: {sum}");
            }
            assert!(Arc::ptr_eq(&picture, &kept.get(&frame, 0.0, window, &lights)));
            let softened = kept.get(&frame, 0.5, window, &lights);
            assert!(
                softened.planes[0].iter().copied().fold(0.0, f32::max)
                    < picture.planes[0].iter().copied().fold(0.0, f32::max)
            );
        }
        let dimmer = [lights[0].clone(), Vec::new()];
        assert!(kept.get(&frame, 0.0, Window::Point, &dimmer).planes[1].iter().all(|&v| v == 0.0));
    }
}
