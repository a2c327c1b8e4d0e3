//! What the eye can tell apart: contrast sensitivity by spatial frequency.
//!
//! # Model
//! Barten's physical model of the contrast sensitivity of the human eye, in its form for a field as wide as it is high:
//!
//! ```text
//! S(u) = (M_opt(u) / k) / sqrt( (2 / T) (1/X0^2 + 1/Xmax^2 + u^2/Nmax^2) (1/(eta p E) + phi0 / (1 - exp(-(u/u0)^2))) )
//! M_opt(u) = exp(-2 pi^2 sigma^2 u^2),   sigma = hypot(0.5', 0.08' d)
//! d = 5 - 3 tanh(0.4 log10(L X0^2 / 40^2)),   E = (pi d^2 / 4) L [1 - (d/9.7)^2 + (d/12.4)^4]
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | u | spatial frequency | cycles per degree |
//! | S | one over the least visible modulation | 1 |
//! | L | luminance to which the eye is adapted | cd/m2 |
//! | X0 | side of the field | degrees |
//! | d, E | diameter of the pupil, retinal illuminance | mm, troland |
//! | k = 3, T = 0.1 s, Xmax = 12 deg, Nmax = 15, eta = 0.03, phi0 = 3e-8 s deg2, u0 = 7 cycles/deg, p = 1.2274e6 | the model's constants | |
//!
//! # Validity
//! An average young observer with good sight, a steady picture, photopic to mesopic luminances. Single observers differ by a
//! factor of two either way.
//!
//! # Source
//! Barten, Contrast Sensitivity of the Human Eye and Its Effects on Image Quality (1999); Barten, Formula for the contrast
//! sensitivity of the human eye, Proc. SPIE 5294 (2003); quoted in ITU-R BT.2246.

use std::f64::consts::PI;

/// Signal to noise ratio at the threshold.
const K: f64 = 3.0;
/// Integration time, in s.
const T_S: f64 = 0.1;
/// Largest field over which the eye integrates, in degrees.
const X_MAX_DEG: f64 = 12.0;
/// Largest number of cycles over which it integrates.
const N_MAX: f64 = 15.0;
/// Quantum efficiency.
const ETA: f64 = 0.03;
/// Photons per second, square degree and troland.
const P: f64 = 1.2274e6;
/// Neural noise, in s deg2.
const PHI0: f64 = 3e-8;
/// Lateral inhibition ends here, in cycles per degree.
const U0: f64 = 7.0;
/// Optical blur of the eye without and per millimetre of pupil, in degrees.
const SIGMA0_DEG: f64 = 0.5 / 60.0;
const SIGMA_PER_MM_DEG: f64 = 0.08 / 60.0;

/// Diameter of the pupil in mm for a field of side `field_deg` at a luminance in cd/m2.
#[must_use]
pub fn pupil_mm(luminance: f64, field_deg: f64) -> f64 {
    5.0 - 3.0 * (0.4 * (luminance * field_deg * field_deg / 1600.0).log10()).tanh()
}

/// Retinal illuminance in troland, with the loss of light that enters near the pupil's edge.
fn retinal_illuminance(luminance: f64, pupil_mm: f64) -> f64 {
    let d = pupil_mm;
    PI * d * d / 4.0 * luminance * (1.0 - (d / 9.7).powi(2) + (d / 12.4).powi(4))
}

/// The model with its inner quantities given.
fn barten(u: f64, sigma_deg: f64, field_deg: f64, troland: f64) -> f64 {
    let optics = (-2.0 * PI * PI * sigma_deg * sigma_deg * u * u).exp();
    let area = field_deg.powi(-2) + X_MAX_DEG.powi(-2) + (u / N_MAX).powi(2);
    let inhibition = 1.0 - (-(u / U0).powi(2)).exp();
    let noise = 1.0 / (ETA * P * troland) + PHI0 / inhibition;
    optics / K / (2.0 / T_S * area * noise).sqrt()
}

/// The eye adapted to one luminance, looking at one field.
#[derive(Clone, Copy, Debug)]
pub struct Sensitivity {
    sigma_deg: f64,
    field_deg: f64,
    troland: f64,
}

impl Sensitivity {
    /// For a field of side `field_deg` at a luminance in cd/m2.
    #[must_use]
    pub fn new(luminance: f64, field_deg: f64) -> Sensitivity {
        if luminance <= 0.0 || field_deg <= 0.0 {
            return Sensitivity { sigma_deg: 0.0, field_deg: 0.0, troland: 0.0 };
        }
        let pupil = pupil_mm(luminance, field_deg);
        let sigma_deg = SIGMA0_DEG.hypot(SIGMA_PER_MM_DEG * pupil);
        Sensitivity { sigma_deg, field_deg, troland: retinal_illuminance(luminance, pupil) }
    }

    /// Contrast sensitivity; zero for darkness and at frequency zero.
    #[must_use]
    pub fn at(self, cycles_per_degree: f64) -> f64 {
        if cycles_per_degree <= 0.0 || self.troland <= 0.0 {
            return 0.0;
        }
        barten(cycles_per_degree, self.sigma_deg, self.field_deg, self.troland)
    }
}

/// Contrast sensitivity at `cycles_per_degree` for a field of side `field_deg` at a luminance in cd/m2.
///
/// Zero for darkness and at frequency zero.
#[must_use]
pub fn contrast_sensitivity(cycles_per_degree: f64, luminance: f64, field_deg: f64) -> f64 {
    Sensitivity::new(luminance, field_deg).at(cycles_per_degree)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Digits to which the check values are printed.
    const PRINTED: f64 = 2e-5;

    fn close(found: f64, expected: f64, what: &str) {
        assert!((found / expected - 1.0).abs() < PRINTED, "{what}: {found} against {expected}");
    }

    #[test]
    fn the_model_has_the_published_check_values() {
        // Doc strings of the colour-science library (S(4), pupil, retinal illuminance); the other S computed with it (0.4.7):
        // sigma for a pupil of 2.1 mm, 20 cd/m2, field of 60 degrees.
        let sigma = SIGMA0_DEG.hypot(SIGMA_PER_MM_DEG * 2.1);
        let troland = retinal_illuminance(20.0, 2.1);
        for (u, s) in [
            (4.0, 360.869),
            (0.5, 325.02),
            (1.0, 500.39),
            (2.0, 525.92),
            (8.0, 186.16),
            (16.0, 70.97),
            (32.0, 11.02),
        ] {
            let found = barten(u, sigma, 60.0, troland);
            // Printed to four or five digits.
            assert!((found / s - 1.0).abs() < 5e-4, "S({u}) = {found}, not {s}");
        }
        close(pupil_mm(100.0, 60.0), 2.79313, "pupil at 100 cd/m2");
        close(retinal_illuminance(100.0, 2.1), 330.4116, "retinal illuminance");
    }

    #[test]
    fn fine_detail_ends_near_the_acuity_of_the_standard_observer() {
        // One minute of arc is 30 cycles per degree: still seen at full contrast, while twice as fine is not (visual acuity 1.0
        // as ISO 8596 defines it, from memory; good young eyes reach 1.6 to 2).
        assert!(contrast_sensitivity(30.0, 100.0, 10.0) > 1.0);
        assert!(contrast_sensitivity(90.0, 100.0, 10.0) < 1.0);
    }

    #[test]
    fn darkness_shows_nothing_and_more_light_shows_more() {
        assert_eq!(contrast_sensitivity(4.0, 0.0, 10.0), 0.0);
        assert_eq!(contrast_sensitivity(0.0, 10.0, 10.0), 0.0);
        let rising: Vec<f64> =
            [0.01, 0.1, 1.0, 10.0, 100.0].iter().map(|&l| contrast_sensitivity(4.0, l, 10.0)).collect();
        assert!(rising.windows(2).all(|w| w[1] > w[0]), "{rising:?}");
    }
}
