//! Spectra on one fixed grid.

use crate::quantity::Nanometres;

/// First wavelength of the grid.
pub const FIRST_NM: f64 = 380.0;
/// Last wavelength of the grid.
pub const LAST_NM: f64 = 780.0;
/// Step of the grid.
pub const STEP_NM: f64 = 5.0;
/// Number of samples: 380, 385, …, 780 nm.
pub const SAMPLES: usize = 81;

/// A function of wavelength sampled at 380, 385, …, 780 nm.
#[derive(Clone, Debug, PartialEq)]
pub struct Spectrum(pub [f64; SAMPLES]);

impl Spectrum {
    /// The same value everywhere.
    #[must_use]
    pub fn constant(value: f64) -> Spectrum {
        Spectrum([value; SAMPLES])
    }

    /// Samples a function of the wavelength in nm.
    #[must_use]
    pub fn from_fn(f: impl Fn(Nanometres) -> f64) -> Spectrum {
        Spectrum(std::array::from_fn(|i| f(Nanometres(FIRST_NM + STEP_NM * i as f64))))
    }

    /// Value at a wavelength by straight-line interpolation; outside the grid the end value.
    #[must_use]
    pub fn at(&self, wavelength: Nanometres) -> f64 {
        let x = ((wavelength.0 - FIRST_NM) / STEP_NM).clamp(0.0, (SAMPLES - 1) as f64);
        let i = (x as usize).min(SAMPLES - 2);
        let f = x - i as f64;
        self.0[i] * (1.0 - f) + self.0[i + 1] * f
    }
}
