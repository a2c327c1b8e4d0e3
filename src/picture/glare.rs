//! The halo that forms in the eye around a bright bare pixel.
//!
//! Model: the point spread function of the eye after Vos & van den Berg, CIE 135/1-1999, "Disability glare" (formula as
//! quoted second-hand; its first core constant is 0.0046 degrees). With t the angle in degrees, A the age in years and p
//! the pigmentation:
//!
//! ```text
//! psf(t) = [1 - .08 (A/70)^4] [ 9.2e6 / (1 + (t/.0046)^2)^1.5 + 1.5e5 / (1 + (t/.045)^2)^1.5 ]
//!        + [1 + 1.6 (A/70)^4] { 400 / (1 + (t/.1)^2) + 3e-8 t^2
//!                               + p [ 1300 / (1 + (t/.1)^2)^1.5 + .8 / (1 + (t/.1)^2)^.5 ] }
//!        + 2.5e-3 p                                                                   (per steradian)
//! ```
//!
//! It is divided by its integral over the hemisphere, which is a few percent above 1. A pixel of luminous intensity I seen
//! from the distance D gives the illuminance `I / D^2` at the eye and the veil `L(t) = I / D^2 psf(t)` in cd/m2.
//!
//! What becomes a halo and what stays: the first term is narrower (0.28 minutes of arc) than the acuity of a standard observer
//! (1 minute of arc), so its share of the light ([`Eye::core_share`], about a third) stays in the sharp image of the
//! window. All other terms are drawn. They have closed transforms in the plane, with r = D t (small angles):
//!
//! ```text
//! (1 + r^2/a^2)^-1.5   <->  2 pi a^2 exp(-a k)
//! (1 + r^2/a^2)^-1     <->  2 pi a^2 K0(a k)
//! (1 + r^2/a^2)^-.5    <->  2 pi a exp(-a k) / k
//! ```
//! (Gradshteyn & Ryzhik 6.554.4, 6.532.4, 6.554.1; numbers from memory, pairs checked numerically in the tests.)
//! The last two do not have a finite integral. They are faded out beyond an angle b = 1 rad and 1.5 b by subtracting the
//! same shape with a = b and a = 1.5 b in the combination that leaves the inner part alone; the light so cut off lies outside
//! any picture.
//!
//! Assumptions and validity: small angles. Against the full formula the drawn halo is within 3 % from 0.1 to 15 degrees; the
//! term in t^2 is left out. A picture's edge farther than 15 degrees from a pixel sees the veil less exactly. The observer is adapted
//! and looks straight at the garment.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | t | angle from the pixel | degree |
//! | a, b | scale of a term, times D in the plane | mm |
//! | k | angular frequency in the plane | 1/mm |

use super::coloured::{ColouredPoint, PlannedColoured};
use super::memory::Memory;
use super::plane::{Accuracy, Frame, XyzImage};
use crate::light::Window;
use crate::light::spread::SpotSpectrum;
use pxfm::f_k0;
use std::f64::consts::{FRAC_PI_2, TAU};

/// Scales of the terms, in degrees.
const CORE_DEG: f64 = 0.0046;
const NEAR_DEG: f64 = 0.045;
const WIDE_DEG: f64 = 0.1;
/// Where the terms without a finite integral are faded out, in radians. Larger: truer skirts, more padding.
const HORIZON_RAD: [f64; 2] = [1.0, 1.5];
/// The least viewing distance that makes sense for an eye that can still focus, in metres.
const LEAST_DISTANCE_M: f64 = 0.1;
/// Knots of the sampled spectra, spaced like the fourth power of their number because `K0` and `exp(-a k)/k` change
/// over four decades of k.
const KNOTS: usize = 8_000;
/// `exp(-30)`: the end of the sampled spectra.
const END: f64 = 30.0;

/// An observer's eye.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Eye {
    /// Age in years.
    pub age_years: f64,
    /// Pigmentation: 0 very dark, 0.5 brown, 1 blue-green, 1.2 light blue.
    pub pigment: f64,
}

/// A pixel seen bare.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BarePixel {
    /// Place, x in mm.
    pub x_mm: f64,
    /// Place, y in mm.
    pub y_mm: f64,
    /// Luminous intensity towards the observer in candela (Y), and X and Z on the same scale.
    pub xyz_candela: [f64; 3],
}

/// The two spots of the halo, in cd/m2 times mm2 per candela: apart, because they span six decades and a picture in single
/// precision holds the skirts of the wide one only beside a peak of its own.
#[derive(Clone, Debug)]
pub struct HaloSpots {
    /// The term of 0.045 degrees.
    pub near: SpotSpectrum,
    /// The terms of 0.1 degrees.
    pub wide: SpotSpectrum,
    /// The even veil, in cd/m2 per candela.
    pub even: f64,
}

impl Eye {
    fn core_factor(&self) -> f64 {
        1.0 - 0.08 * (self.age_years / 70.0).powi(4)
    }

    fn straylight_factor(&self) -> f64 {
        1.0 + 1.6 * (self.age_years / 70.0).powi(4)
    }

    /// The published function, not renormalised, per steradian, at an angle in degrees.
    #[must_use]
    pub fn published_per_sr(&self, angle_deg: f64) -> f64 {
        let shape = |scale: f64, power: f64| (1.0 + (angle_deg / scale).powi(2)).powf(-power);
        self.core_factor() * (9.2e6 * shape(CORE_DEG, 1.5) + 1.5e5 * shape(NEAR_DEG, 1.5))
            + self.straylight_factor()
                * (400.0 * shape(WIDE_DEG, 1.0)
                    + 3e-8 * angle_deg * angle_deg
                    + self.pigment * (1300.0 * shape(WIDE_DEG, 1.5) + 0.8 * shape(WIDE_DEG, 0.5)))
            + 2.5e-3 * self.pigment
    }

    /// Integral of the published function over the hemisphere in front.
    #[must_use]
    pub fn hemisphere_integral(&self) -> f64 {
        // Trapezia in ln t from 1e-7 rad; below, the function is flat and the rest is 9.2e6 pi 1e-14.
        const STEPS: usize = 4_000;
        let (low, high) = (1e-7_f64.ln(), FRAC_PI_2.ln());
        let step = (high - low) / STEPS as f64;
        (0..=STEPS)
            .map(|i| {
                let t = (low + i as f64 * step).exp();
                let end = if i == 0 || i == STEPS { 0.5 } else { 1.0 };
                end * self.published_per_sr(t.to_degrees()) * TAU * t.sin() * t * step
            })
            .sum()
    }

    /// Share of the light that stays in the sharp image: that of the term below the acuity of the eye.
    #[must_use]
    pub fn core_share(&self) -> f64 {
        // int 2 pi a^2 of the small-angle transform at k = 0.
        self.core_factor() * 9.2e6 * TAU * CORE_DEG.to_radians().powi(2) / self.hemisphere_integral()
    }

    /// The halo of one candela seen from a distance, as spots in the plane.
    ///
    /// Distances below 0.1 m (and what is not a number) count as 0.1 m.
    #[must_use]
    pub fn halo(&self, distance_m: f64) -> HaloSpots {
        let distance_m = distance_m.max(LEAST_DISTANCE_M);
        let distance_mm = 1e3 * distance_m;
        let in_plane = |degrees: f64| degrees.to_radians() * distance_mm;
        // Veil per candela: psf / D^2.
        let scale = 1.0 / (distance_m * distance_m * self.hemisphere_integral());
        let near = in_plane(NEAR_DEG);
        let wide = in_plane(WIDE_DEG);
        let horizon = HORIZON_RAD.map(|b| b * distance_mm);
        let near_peak = 1.5e5 * self.core_factor() * scale;
        let [square, cube, root] =
            [400.0, 1300.0 * self.pigment, 0.8 * self.pigment].map(|v| v * self.straylight_factor() * scale);
        HaloSpots {
            near: sampled(END / near, |k| near_peak * TAU * near * near * (-near * k).exp()),
            wide: sampled(END / wide, |k| {
                TAU * wide
                    * (square * wide * inverse_square(k, wide, horizon)
                        + cube * wide * (-wide * k).exp()
                        + root * inverse(k, wide, horizon))
            }),
            even: 2.5e-3 * self.pigment * scale,
        }
    }
}

fn sampled(end: f64, f: impl Fn(f64) -> f64) -> SpotSpectrum {
    let knots: Vec<f64> = (0..=KNOTS).map(|i| end * (i as f64 / KNOTS as f64).powi(4)).collect();
    let values = knots.iter().map(|&k| f(k)).collect();
    SpotSpectrum::new(knots, values)
}

/// Transform over 2 pi of `1/(a^2 + r^2) - c1/(b1^2 + r^2) - c2/(b2^2 + r^2)`, with `c1 = -b1^2/(b2^2 - b1^2)` and
/// `c2 = b2^2/(b2^2 - b1^2)`: what is subtracted equals `r^2 / ((b1^2 + r^2)(b2^2 + r^2))`.
fn inverse_square(k: f64, a: f64, [b1, b2]: [f64; 2]) -> f64 {
    let between = b2 * b2 - b1 * b1;
    let (c1, c2) = (-b1 * b1 / between, b2 * b2 / between);
    if k == 0.0 {
        c1 * (b1 / a).ln() + c2 * (b2 / a).ln()
    } else {
        f_k0(a * k) - c1 * f_k0(b1 * k) - c2 * f_k0(b2 * k)
    }
}

/// Transform over 2 pi of `1/sqrt(a^2 + r^2) - c1/sqrt(b1^2 + r^2) - c2/sqrt(b2^2 + r^2)`, with `c1 = -b1/(b2 - b1)` and
/// `c2 = b2/(b2 - b1)`.
fn inverse(k: f64, a: f64, [b1, b2]: [f64; 2]) -> f64 {
    let (c1, c2) = (-b1 / (b2 - b1), b2 / (b2 - b1));
    if k == 0.0 {
        c1 * b1 + c2 * b2 - a
    } else {
        // exp(-a k) - c1 exp(-b1 k) - c2 exp(-b2 k) with c1 + c2 = 1, free of cancellation.
        ((-a * k).exp_m1() - c1 * (-b1 * k).exp_m1() - c2 * (-b2 * k).exp_m1()) / k
    }
}

/// The halos of bare pixels whose places are settled, for many pictures with other light.
///
/// What stays in the sharp images of the windows (see [`Eye::core_share`]) is not drawn here.
#[derive(Debug)]
pub(super) struct PlannedHalos {
    near: PlannedColoured,
    wide: PlannedColoured,
    /// The even veil, in cd/m2 per candela.
    even: f64,
}

fn outlines(pixels: &[BarePixel]) -> [(Window, Vec<ColouredPoint>); 1] {
    let points =
        pixels.iter().map(|p| ColouredPoint { x_mm: p.x_mm, y_mm: p.y_mm, xyz: p.xyz_candela }).collect();
    [(Window::Point, points)]
}

impl PlannedHalos {
    /// Settles everything but the light; pixels that have none here stay dark for good.
    pub(super) fn new(frame: &Frame, pixels: &[BarePixel], eye: &Eye, distance_m: f64) -> PlannedHalos {
        let halo = eye.halo(distance_m);
        let outlines = outlines(pixels);
        let plan = |spot: &SpotSpectrum| PlannedColoured::new(frame, &outlines, spot, Accuracy::Skirts);
        PlannedHalos { near: plan(&halo.near), wide: plan(&halo.wide), even: halo.even }
    }

    /// What the plan and its pictures take.
    pub(super) fn memory(&self, pixels: usize) -> Memory {
        self.near.memory(pixels).and_then(self.wide.memory(pixels))
    }

    /// Adds the halos to a picture, in cd/m2: the same pixels as were planned, with the light of now.
    pub(super) fn add(&self, image: &mut XyzImage, pixels: &[BarePixel]) {
        let outlines = outlines(pixels);
        self.near.add(image, &outlines);
        self.wide.add(image, &outlines);
        for (c, plane) in image.planes.iter_mut().enumerate() {
            let light = pixels.iter().map(|p| p.xyz_candela[c]).filter(|v| v.is_finite());
            let veil = light.sum::<f64>() * self.even;
            plane.iter_mut().for_each(|v| *v += veil as f32);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pxfm::f_j0;

    const BROWN: Eye = Eye { age_years: 35.0, pigment: 0.5 };
    /// Five digits are printed in the table of check values.
    const PRINTED: f64 = 1e-4;
    /// What the module promises of the drawn halo against the full formula, from 0.1 to 15 degrees.
    const PROMISED: f64 = 0.03;

    #[test]
    fn published_values() {
        // Computed with a general-purpose library from the CIE 135/1 formula (status: computed, second-hand formula).
        for (angle, want) in
            [(0.1, 11675.0), (0.5, 137.03), (1.0, 19.556), (3.0, 1.0672), (10.0, 0.06485), (30.0, 0.00820)]
        {
            let got = BROWN.published_per_sr(angle);
            // The last value is printed to three digits only.
            let tolerance = if angle > 20.0 { 1e-3 } else { PRINTED };
            assert!((got / want - 1.0).abs() < tolerance, "{angle}: {got} {want}");
        }
        for (pigment, want) in [(0.0, 1.0052), (0.5, 1.0333), (1.0, 1.0614)] {
            let got = Eye { pigment, ..BROWN }.hemisphere_integral();
            assert!((got - want).abs() < PRINTED, "{pigment}: {got} {want}");
        }
    }

    #[test]
    fn the_light_is_shared_out_once() {
        // What stays sharp, what is drawn and what is cut off add up to 1: the drawn part's integral is its spectrum at
        // zero over D^2; the terms beyond the horizon hold little.
        let eye = BROWN;
        let halo = eye.halo(2.0);
        let drawn = (halo.near.value(0.0) + halo.wide.value(0.0)) / 1e6;
        let total = eye.core_share() + drawn;
        assert!((0.3..0.4).contains(&eye.core_share()), "{}", eye.core_share());
        assert!((total - 1.0).abs() < 0.01, "{total}");
    }

    #[test]
    fn the_spots_are_the_formula_without_its_core() {
        // The inverse Hankel integral of the closed forms against the formula itself, at places of the table.
        let distance_m = 2.0;
        let halo = BROWN.halo(distance_m);
        let invert = |spot: &SpotSpectrum, r: f64| -> f64 {
            // exp(-(c k)^2) makes the integral converge; c is far below r.
            let (steps, end) = (400_000, 40.0 / r.min(5.0));
            let step = end / f64::from(steps);
            (0..steps)
                .map(|i| (f64::from(i) + 0.5) * step)
                .map(|k| spot.value(k) * f_j0(k * r) * k * step / TAU)
                .sum()
        };
        for angle in [0.1_f64, 0.5, 1.0, 3.0, 10.0, 15.0] {
            let r = angle.to_radians() * distance_m * 1e3;
            let got = invert(&halo.near, r) + invert(&halo.wide, r) + halo.even;
            let core = BROWN.core_factor() * 9.2e6 * (1.0 + (angle / CORE_DEG).powi(2)).powf(-1.5);
            let want = (BROWN.published_per_sr(angle) - core)
                / BROWN.hemisphere_integral()
                / (distance_m * distance_m);
            assert!((got / want - 1.0).abs() < PROMISED, "{angle}: {got} {want}");
        }
    }

    #[test]
    fn a_drawn_halo_follows_the_formula_far_into_its_skirts() {
        let eye = BROWN;
        let frame = Frame::centred(0.0, 0.0, 0.5, 1200, 300);
        let mut image = XyzImage::black(1200, 300);
        let pixel = BarePixel { x_mm: -250.0, y_mm: 0.2, xyz_candela: [0.0, 1.3, 0.0] };
        PlannedHalos::new(&frame, &[pixel], &eye, 2.0).add(&mut image, &[pixel]);
        for column in [80, 110, 200, 400, 800, 1100] {
            let [x, y] = frame.centre_of(column, 150);
            let angle = ((x - pixel.x_mm).hypot(y - pixel.y_mm) / 2e3).to_degrees();
            let core = eye.core_factor() * 9.2e6 * (1.0 + (angle / CORE_DEG).powi(2)).powf(-1.5);
            let want = 1.3 / 4.0 * (eye.published_per_sr(angle) - core) / eye.hemisphere_integral();
            let got = f64::from(image.at(column, 150)[1]);
            assert!((got / want - 1.0).abs() < PROMISED, "{angle}: {got} {want}");
        }
        assert!(image.planes[0].iter().all(|&v| v == 0.0));
    }
}
