//! Light of the room: daylight and incandescent light, as spectra.
//!
//! Sources: CIE standard illuminants D65 and A (ISO/CIE 11664-2), Planck's law with the SI value of the second
//! radiation constant. The D65 table is in `data/cie_d65_5nm.csv`.

use super::observer::xyz_of;
use super::{Spectrum, read_table};
use crate::quantity::Nanometres;
use std::sync::LazyLock;

/// Second radiation constant h c / k in nm K (CODATA 2018).
pub const SECOND_RADIATION_CONSTANT_NM_K: f64 = 1.438_776_877e7;

static D65: LazyLock<Spectrum> = LazyLock::new(|| {
    let [relative] = read_table(include_str!("../data/cie_d65_5nm.csv"));
    relative
});

/// CIE standard illuminant D65, relative spectral power, 100 at 560 nm.
#[must_use]
pub fn d65() -> &'static Spectrum {
    &D65
}

/// CIE standard illuminant A (incandescent light, about 2856 K), relative spectral power, 100 at 560 nm.
///
/// Equation of ISO/CIE 11664-2: `100 (560/l)^5 (exp(1.435e7/(2848 560)) - 1) / (exp(1.435e7/(2848 l)) - 1)`.
#[must_use]
pub fn illuminant_a() -> Spectrum {
    let growth = |nm: f64| (1.435e7 / (2848.0 * nm)).exp_m1();
    Spectrum::from_fn(|w| 100.0 * (560.0 / w.0).powi(5) * growth(560.0) / growth(w.0))
}

/// Black-body radiation of a temperature in kelvin, relative spectral power, 1 at 560 nm (Planck's law).
#[must_use]
pub fn black_body(kelvin: f64) -> Spectrum {
    let power =
        |Nanometres(nm)| (560.0 / nm).powi(5) / (SECOND_RADIATION_CONSTANT_NM_K / (nm * kelvin)).exp_m1();
    let unit = power(Nanometres(560.0));
    Spectrum::from_fn(|w| power(w) / unit)
}

/// The spectral irradiance in W/(m2 nm) that lights a surface with exactly one lux, for a light given by its
/// relative spectrum; darkness stays darkness.
#[must_use]
pub fn per_lux(relative: &Spectrum) -> Spectrum {
    let lux = xyz_of(relative).luminance();
    relative.scaled(if lux > 0.0 { 1.0 / lux } else { 0.0 })
}

/// Daylight (D65) of one lux, as spectral irradiance in W/(m2 nm).
#[must_use]
pub fn daylight_per_lux() -> Spectrum {
    per_lux(d65())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_lux_is_one_lux() {
        // Definition of the lux; the tolerance is rounding.
        for light in [daylight_per_lux(), per_lux(&illuminant_a())] {
            assert!((xyz_of(&light).luminance() - 1.0).abs() < 1e-12);
        }
        assert_eq!(per_lux(&Spectrum::constant(0.0)), Spectrum::constant(0.0));
    }

    #[test]
    fn illuminant_a_is_a_black_body_of_2856_k() {
        // 2848 K with the old radiation constant 1.435e7 nm K is 2855.5 K with today's (ISO/CIE 11664-2).
        let (a, planck) = (illuminant_a(), black_body(2848.0 * SECOND_RADIATION_CONSTANT_NM_K / 1.435e7));
        for i in 0..super::super::SAMPLES {
            assert!((a.0[i] / 100.0 / planck.0[i] - 1.0).abs() < 1e-9);
        }
    }
}
