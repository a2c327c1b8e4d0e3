//! The CIE 1931 standard observer: from a spectrum to tristimulus values, chromaticity and dominant wavelength.
//!
//! Model: `X = K_m sum s(lambda) x_bar(lambda) step`, the same for Y and Z; `V(lambda) = y_bar(lambda)`.
//! Source: CIE 015 (Colorimetry) and ISO/CIE 11664-1; the table is in `data/cie1931_2deg_5nm.csv`. Valid for small
//! patches (up to 4 degrees) in daylight vision; dim light (below some 3 cd/m2) already shifts the eye's response,
//! which is left out.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | s | spectral radiance (or flux, or irradiance) | W/(m2 sr nm) (W/nm, W/(m2 nm)) |
//! | K_m | luminous efficacy at 555 nm | lm/W |
//! | X, Y, Z | tristimulus values, Y being the luminance (flux, illuminance) | cd/m2 (lm, lx) |

use super::{FIRST_NM, SAMPLES, STEP_NM, Spectrum, read_table};
use crate::light::quadrature::{bisect, lagrange};
use crate::quantity::Nanometres;
use std::ops::Add;
use std::sync::LazyLock;

/// Luminous efficacy of radiation at 540 THz, in lm/W (SI brochure; CIE 018).
pub const K_M: f64 = 683.0;

/// Chromaticity of the equal-energy stimulus, the reference white of an LED's dominant wavelength (CIE 127).
pub const EQUAL_ENERGY: [f64; 2] = [1.0 / 3.0, 1.0 / 3.0];

/// The wavelengths between which [`dominant_wavelength`] looks, in nm. Beyond them the locus hardly moves.
pub const DOMINANT_RANGE_NM: [f64; 2] = [400.0, 700.0];

static MATCHING: LazyLock<[Spectrum; 3]> =
    LazyLock::new(|| read_table(include_str!("../data/cie1931_2deg_5nm.csv")));

/// CIE 1931 tristimulus values. The unit is that of the quantity in hand: cd/m2, lm or lx for absolute values, 1
/// for values relative to a white.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Xyz(pub [f64; 3]);

impl Xyz {
    /// The Y value: luminance, flux or illuminance.
    #[must_use]
    pub fn luminance(self) -> f64 {
        self.0[1]
    }

    /// Chromaticity x, y; `None` for darkness.
    #[must_use]
    pub fn chromaticity(self) -> Option<[f64; 2]> {
        let sum: f64 = self.0.iter().sum();
        (sum > 0.0).then(|| [self.0[0] / sum, self.0[1] / sum])
    }

    /// Every value times a factor.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Xyz {
        Xyz(self.0.map(|v| v * factor))
    }
}

impl Add for Xyz {
    type Output = Xyz;
    fn add(self, other: Xyz) -> Xyz {
        Xyz(std::array::from_fn(|i| self.0[i] + other.0[i]))
    }
}

impl std::iter::Sum for Xyz {
    fn sum<I: Iterator<Item = Xyz>>(lights: I) -> Xyz {
        lights.fold(Xyz::default(), Add::add)
    }
}

/// The colour-matching functions x_bar, y_bar, z_bar.
#[must_use]
pub fn matching_functions() -> &'static [Spectrum; 3] {
    &MATCHING
}

/// The spectral luminous efficiency V(lambda) for daylight vision, which is y_bar.
#[must_use]
pub fn luminous_efficiency() -> &'static Spectrum {
    &MATCHING[1]
}

/// Tristimulus values of a spectral quantity per nm: a spectral radiance in W/(m2 sr nm) gives cd/m2.
#[must_use]
pub fn xyz_of(spectrum: &Spectrum) -> Xyz {
    Xyz(std::array::from_fn(|i| K_M * spectrum.times(&MATCHING[i]).integral()))
}

/// Luminous efficacy of a radiation in lm/W; zero for darkness.
#[must_use]
pub fn luminous_efficacy(spectrum: &Spectrum) -> f64 {
    let radiant = spectrum.integral();
    if radiant > 0.0 { xyz_of(spectrum).luminance() / radiant } else { 0.0 }
}

/// Chromaticity of monochromatic light.
///
/// Between the samples the colour-matching functions are interpolated by polynomials through six points, so that
/// the locus is as good as the 1 nm table to 2e-5 in x and y.
#[must_use]
pub fn spectral_locus(wavelength: Nanometres) -> [f64; 2] {
    let [x, y, z] = std::array::from_fn(|i| through_six_points(&MATCHING[i], wavelength));
    let sum = x + y + z;
    [x / sum, y / sum]
}

/// Lagrange's polynomial through the six samples around a wavelength.
fn through_six_points(spectrum: &Spectrum, wavelength: Nanometres) -> f64 {
    let position = ((wavelength.0 - FIRST_NM) / STEP_NM).clamp(0.0, (SAMPLES - 1) as f64);
    let (first, weights) = lagrange(position, SAMPLES);
    spectrum.0[first..].iter().zip(weights).map(|(value, weight)| weight * value).sum()
}

/// The spectral locus at every nanometre of [`DOMINANT_RANGE_NM`].
static LOCUS: LazyLock<Vec<(f64, [f64; 2])>> = LazyLock::new(|| {
    let [first, last] = DOMINANT_RANGE_NM;
    (0..=(last - first) as usize)
        .map(|i| {
            let wavelength = first + i as f64;
            (wavelength, spectral_locus(Nanometres(wavelength)))
        })
        .collect()
});

/// Dominant wavelength: where the straight line from the white through the colour meets the spectral locus (CIE
/// 015, section on dominant wavelength).
///
/// `None` for the white itself, for purples (which meet the straight line between the ends of the locus) and for
/// colours that point outside [`DOMINANT_RANGE_NM`].
#[must_use]
pub fn dominant_wavelength(colour: [f64; 2], white: [f64; 2]) -> Option<Nanometres> {
    let ray = [colour[0] - white[0], colour[1] - white[1]];
    let side = |point: [f64; 2]| ray[0] * (point[1] - white[1]) - ray[1] * (point[0] - white[0]);
    let ahead = |point: [f64; 2]| ray[0] * (point[0] - white[0]) + ray[1] * (point[1] - white[1]) > 0.0;
    let (from, to) = LOCUS.windows(2).find_map(|pair| {
        let [(from, a), (to, b)] = [pair[0], pair[1]];
        (side(a) * side(b) <= 0.0 && ahead(a) && ahead(b)).then_some((from, to))
    })?;
    let falling = side(spectral_locus(Nanometres(from))) >= side(spectral_locus(Nanometres(to)));
    Some(Nanometres(bisect(from, to, |w| {
        let s = side(spectral_locus(Nanometres(w)));
        if falling { -s } else { s }
    })))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_whole() {
        assert!(MATCHING.iter().all(|bar| bar.0.iter().all(|v| v.is_finite())));
    }

    #[test]
    fn the_white_itself_and_purples_have_no_dominant_wavelength() {
        assert_eq!(dominant_wavelength(EQUAL_ENERGY, EQUAL_ENERGY), None);
        assert_eq!(dominant_wavelength([0.40, 0.20], EQUAL_ENERGY), None);
    }

    #[test]
    fn monochromatic_light_has_its_own_dominant_wavelength() {
        // Closed form: a point on the locus. 1e-6 nm is far below the last digit that data sheets print.
        for nm in [405.0, 452.3, 487.7, 521.0, 566.6, 630.0, 690.0] {
            let found =
                dominant_wavelength(spectral_locus(Nanometres(nm)), EQUAL_ENERGY).expect("on the locus");
            assert!((found.0 - nm).abs() < 1e-6, "{nm}: {found}");
        }
    }
}
