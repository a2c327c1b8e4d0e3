//! A bare source and a plane: the light that falls on the first cloth.
//!
//! # Model
//! A point source with the beam `cos^m` at height h under a plane parallel to its board. The irradiance per unit flux is
//!
//! ```text
//! E(r) = I(theta) cos(theta) / d^2 = (m + 1) / (2 pi) h^(m+1) / (h^2 + r^2)^((m+3)/2)
//! ```
//!
//! and its two-dimensional Fourier transform is `(m + 1) G_{m+1}(0, k h)`; for a Lambertian source (m = 1) these are
//! `h^2 / (pi (h^2 + r^2)^2)` and `k h K1(k h)`.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | h | height of the plane above the source | mm |
//! | r | distance in the plane from the foot of the source | mm |
//! | k | angular spatial frequency | 1/mm |
//! | E | irradiance per unit flux | 1/mm2 |
//!
//! # Validity
//! Exact; nothing comes back from the cloth or the board here (that is [`super::transport`]'s).
//!
//! # Source
//! The inverse-square and cosine laws; the transform pair is DLMF 10.22.46 with nu = 0, mu = 1 (number from memory).

use super::kernels::direct;
use super::spread::{SpotSpectrum, frequency_knots};
use std::f64::consts::PI;

/// Irradiance per unit flux, in 1/mm2, at the distance `r` in the plane `height` above the source, both in mm.
#[must_use]
pub fn irradiance(beam_power: f64, height: f64, r: f64) -> f64 {
    let d2 = height * height + r * r;
    (beam_power + 1.0) / (2.0 * PI) * height.powf(beam_power + 1.0) / d2.powf(0.5 * (beam_power + 3.0))
}

/// The irradiance of a point source on the plane at `height` mm as a spot, per unit flux.
///
/// This is also the picture of an ideal thin diffuser, up to the factor that turns irradiance into radiance.
#[must_use]
pub fn irradiance_spot(beam_power: f64, height: f64) -> SpotSpectrum {
    let knots = frequency_knots(height, height);
    let values: Vec<f64> =
        knots.iter().map(|k| (beam_power + 1.0) * direct(beam_power + 1.0, 0.0, k * height)).collect();
    SpotSpectrum::with_decay(knots, &values, height)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::Window;
    use crate::quantity::Millimetres;
    use pxfm::f_k1;

    /// Digits to which `tests/reference` values of this kind are printed.
    const PRINTED: f64 = 1e-5;

    #[test]
    fn oblique_irradiance_follows_the_fourth_power_of_the_cosine() {
        // Worked values of the cos^4 law for a Lambertian element, as in any photometry text (recomputed).
        for (degrees, value) in [
            (10.0, 0.94060),
            (20.0, 0.77973),
            (30.0, 0.56250),
            (40.0, 0.34436),
            (45.0, 0.25),
            (50.0, 0.17071),
            (60.0, 0.0625),
            (70.0, 0.01368),
        ] {
            let r = 7.0 * f64::to_radians(degrees).tan();
            let ratio = irradiance(1.0, 7.0, r) / irradiance(1.0, 7.0, 0.0);
            assert!((ratio - value).abs() < PRINTED, "{degrees} degrees: {ratio}");
        }
    }

    #[test]
    fn lambertian_spot_has_the_transform_kh_k1() {
        // Level points of kh K1(kh), from a numerical Hankel integral (scipy 1.17).
        let spot = irradiance_spot(1.0, 2.0);
        for (level, kh) in [(0.5, 1.25715), (0.2, 2.40559), (0.1, 3.21432), (0.05, 3.99852), (0.01, 5.76714)]
        {
            assert!((spot.value(kh / 2.0) - level).abs() < PRINTED, "level {level}");
            assert!((kh * f_k1(kh) - level).abs() < PRINTED, "level {level}");
        }
    }

    #[test]
    fn transform_and_spot_belong_together() {
        /// Of the peak: spline between knots and the end of the knots.
        const INVERSION: f64 = 2e-5;
        for m in [0.5, 1.0, 4.0] {
            let spot = irradiance_spot(m, 3.0);
            let radii = [0.0, 0.5, 1.0, 3.0, 6.0, 12.0, 30.0];
            for (r, value) in radii.iter().zip(spot.at_radii(Window::Point, &radii)) {
                let error = (value - irradiance(m, 3.0, *r)).abs() / irradiance(m, 3.0, 0.0);
                assert!(error < INVERSION, "m {m}, r {r}: {error:e}");
            }
        }
    }

    #[test]
    fn half_level_radius_and_share_of_flux_in_a_disc() {
        let width = irradiance_spot(1.0, 5.0).full_width(Window::Point, 30.0, 0.5).unwrap();
        // Half-level radius 0.643594 h in closed form: sqrt(sqrt(2) - 1).
        assert!((width / 2.0 - 0.643594 * 5.0).abs() < 2e-3, "{width}");
        // Configuration factor from an element to a parallel coaxial disc, R^2/(R^2+h^2): Howell's catalogue, B-12.
        for (radius, height, share) in [(1.0, 1.0, 0.5), (1.0, 2.0, 0.2), (10.0, 5.0, 0.8), (3.0, 1.0, 0.9)] {
            let spot = irradiance_spot(1.0, height);
            let mean = spot.over_rings(Window::Point, &[[0.0, radius]])[0];
            assert!((mean * PI * radius * radius - share).abs() < 2e-4, "R {radius}, h {height}: {mean}");
        }
    }

    #[test]
    fn disc_window_gives_the_configuration_factor_between_discs() {
        // Coaxial parallel discs, Howell's catalogue C-41: F12 for (r1, r2, h).
        for (r1, r2, h, factor) in [
            (1.0, 1.0, 1.0, 0.381966),
            (1.0, 2.0, 1.0, 0.763932),
            (2.0, 1.0, 1.0, 0.190983),
            (1.0, 1.0, 2.0, 0.171573),
            (1.0, 1.0, 0.5, 0.609612),
        ] {
            let window = Window::Disc { diameter: Millimetres(2.0 * r1) };
            let mean = irradiance_spot(1.0, h).over_rings(window, &[[0.0, r2]])[0];
            let found = mean * PI * r2 * r2;
            assert!((found - factor).abs() < 2e-4, "({r1}, {r2}, {h}): {found} against {factor}");
        }
    }
}
