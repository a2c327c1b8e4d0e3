//! Spectra on one fixed grid, and what the eye makes of them.
//!
//! Every spectrum holds 81 samples, 380 to 780 nm in steps of 5 nm. Integrals are sums over the samples times the
//! step, as the CIE prescribes for tristimulus values (CIE 015). Light-emitting dies have bands some 15 nm wide or
//! wider at half height; for such bands that sum and the one on a 1 nm grid give the same chromaticity to 2e-4.

pub mod die;
pub mod illuminant;
pub mod observer;

pub use die::{DieWeights, die_spectrum, die_weights};
pub use observer::{Xyz, xyz_of};

use crate::quantity::Nanometres;

/// First wavelength of the grid.
pub const FIRST_NM: f64 = 380.0;
/// Last wavelength of the grid.
pub const LAST_NM: f64 = 780.0;
/// Step of the grid.
pub const STEP_NM: f64 = 5.0;
/// Number of samples: 380, 385, …, 780 nm.
pub const SAMPLES: usize = 81;

/// The wavelength of a sample, 0 being the first.
#[must_use]
pub fn wavelength(sample: usize) -> Nanometres {
    Nanometres(FIRST_NM + STEP_NM * sample as f64)
}

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
        Spectrum(std::array::from_fn(|i| f(wavelength(i))))
    }

    /// Straight lines between knots in rising order of wavelength (nm and value), level beyond the ends; zero without knots.
    #[must_use]
    pub fn from_knots(knots: &[(f64, f64)]) -> Spectrum {
        Spectrum::from_fn(|wavelength| {
            let above = knots.partition_point(|(nm, _)| *nm <= wavelength.0);
            match (above.checked_sub(1).map(|i| knots[i]), knots.get(above)) {
                (Some((from, a)), Some(&(to, b))) => a + (b - a) * (wavelength.0 - from) / (to - from),
                (Some((_, value)), None) | (None, Some(&(_, value))) => value,
                (None, None) => 0.0,
            }
        })
    }

    /// The wavelengths of the grid, in rising order.
    pub fn wavelengths() -> impl Iterator<Item = Nanometres> {
        (0..SAMPLES).map(wavelength)
    }

    /// Integral over the grid: the sum of the samples times the step (unit of the samples times nm).
    #[must_use]
    pub fn integral(&self) -> f64 {
        self.0.iter().sum::<f64>() * STEP_NM
    }

    /// Every sample times a factor.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Spectrum {
        Spectrum(self.0.map(|v| v * factor))
    }

    /// Product of two spectra, sample by sample: a light and what lets it through.
    #[must_use]
    pub fn times(&self, other: &Spectrum) -> Spectrum {
        Spectrum(std::array::from_fn(|i| self.0[i] * other.0[i]))
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

/// Reads an embedded table: lines starting with `#` and the heading are passed over, the first column is the
/// wavelength, the rest are spectra.
fn read_table<const COLUMNS: usize>(text: &str) -> [Spectrum; COLUMNS] {
    let mut columns: [Spectrum; COLUMNS] = std::array::from_fn(|_| Spectrum::constant(f64::NAN));
    let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    for (i, row) in rows.take(SAMPLES).enumerate() {
        for (column, cell) in columns.iter_mut().zip(row.split(',').skip(1)) {
            column.0[i] = cell.trim().parse().unwrap_or(f64::NAN);
        }
    }
    columns
}
