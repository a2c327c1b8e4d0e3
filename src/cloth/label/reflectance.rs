//! From a stated colour to the albedo of the fibres at every wavelength.
//!
//! **Model.** (1) sRGB to a smooth reflectance: Mallett & Yuksel, Spectral Primary Decomposition for Rendering with
//! sRGB Reflectance (Eurographics Symposium on Rendering 2019): linear red, green and blue times three fixed
//! spectra that sum to 1. The colour is met exactly under D65; of all the spectra that meet it this is one. (2) A
//! cloth folded until no light gets through, seen in light from all sides, reflects the spherical albedo of a
//! half-space. That is solved by adding-doubling at the true asymmetry for a few values of
//! `s = sqrt((1 - a)/(1 - a g))` (van de Hulst, Multiple Light Scattering (1980), similarity), in which it is
//! smooth, and inverted.
//!
//! **Assumptions.** All colour sits in the fibres; no surface gloss; the light meets many fibres.

use crate::light::Optics;
use crate::light::quadrature::{Interpolation, bisect};
use crate::light::sheet::{Quadrature, Sheet};
use crate::light::spectrum::Spectrum;
use crate::picture::colour::decode;
use crate::quantity::PerMillimetre;

/// The greatest reflectance a cloth is given. Nothing reflects everything; above this the albedo is so near 1 that
/// its last digits would decide the brightness of a thick cloth. Bleached cloth lies at 0.8 to 0.9 (common
/// practice, no source).
pub const GREATEST_REFLECTANCE: f64 = 0.97;

/// Optical thickness that stands for a cloth folded without end: nothing measurable gets through at the smallest s.
const ENDLESS: f64 = 1e4;
/// Nodes of the Chebyshev interpolation over s; 24 change the result by less than 1e-7.
const NODES: usize = 16;
/// Nodes per hemisphere of the adding-doubling.
const DIRECTIONS: usize = 16;

const BASIS: &str = include_str!("srgb_reflectance_basis.csv");

/// Reflectance spectrum of a stated colour: `0xRR, 0xGG, 0xBB` in sRGB.
#[must_use]
pub fn from_srgb(colour: [u8; 3]) -> Spectrum {
    let linear = colour.map(|value| decode(f64::from(value) / 255.0));
    let mut spectrum = Spectrum::constant(0.0);
    let rows = BASIS.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
    for (value, row) in spectrum.0.iter_mut().zip(rows) {
        let shares = row.split(',').skip(1).filter_map(|field| field.parse::<f64>().ok());
        *value = shares.zip(linear).map(|(share, amount)| share * amount).sum();
    }
    spectrum
}

/// Reflectance of an endlessly folded cloth as a function of the albedo of its fibres, and back.
#[derive(Clone, Debug)]
pub struct Folded {
    asymmetry: f64,
    /// Over s, at Chebyshev points.
    interpolation: Interpolation,
    reflectance: Vec<f64>,
}

impl Folded {
    /// For fibres of this asymmetry.
    #[must_use]
    pub fn new(asymmetry: f64) -> Folded {
        let quadrature = Quadrature::new(DIRECTIONS, &[]);
        let s: Vec<f64> = (0..=NODES)
            .map(|i| 0.5 * (1.0 - (std::f64::consts::PI * i as f64 / NODES as f64).cos()))
            .collect();
        let reflectance = s
            .iter()
            .map(|&s| {
                if s == 0.0 {
                    return 1.0; // Nothing absorbs: all comes back, however long it takes.
                }
                let albedo = albedo_from_s(s, asymmetry);
                let optics = Optics { extinction: PerMillimetre(1.0), albedo, asymmetry, openness: 0.0 };
                Sheet::of_layer(&optics, ENDLESS, &quadrature).reflected_diffuse()
            })
            .collect();
        Folded { asymmetry, interpolation: Interpolation::from_nodes(&s), reflectance }
    }

    /// Reflectance in light from all sides for an albedo of 0 to 1.
    #[must_use]
    pub fn reflectance(&self, albedo: f64) -> f64 {
        let s = ((1.0 - albedo) / (1.0 - albedo * self.asymmetry)).sqrt();
        self.interpolation.value(&self.reflectance, s)
    }

    /// The albedo at which the folded cloth has this reflectance, clipped to 0 up to [`GREATEST_REFLECTANCE`].
    #[must_use]
    pub fn albedo(&self, reflectance: f64) -> f64 {
        let wanted = reflectance.clamp(0.0, GREATEST_REFLECTANCE);
        let s = bisect(0.0, 1.0, |s| wanted - self.interpolation.value(&self.reflectance, s));
        albedo_from_s(s, self.asymmetry)
    }
}

fn albedo_from_s(s: f64, asymmetry: f64) -> f64 {
    let square = s * s;
    (1.0 - square) / (1.0 - asymmetry * square)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Five decimals of the table, through the steepest slope of the albedo over the reflectance (about 3).
    const TABLE: f64 = 2e-5;
    /// Chebyshev interpolation and the solver together.
    const INTERPOLATION: f64 = 1e-6;

    #[test]
    fn isotropic_half_spaces_give_back_their_albedo() {
        // Spherical albedos from Chandrasekhar's H functions (computed to five decimals by iteration).
        let folded = Folded::new(0.0);
        for (albedo, reflectance) in
            [(0.99, 0.79456), (0.95, 0.59667), (0.9, 0.47802), (0.8, 0.34187), (0.5, 0.14654)]
        {
            assert!((folded.reflectance(albedo) - reflectance).abs() < TABLE, "{albedo}");
            assert!((folded.albedo(reflectance) - albedo).abs() < 3.0 * TABLE, "{albedo}");
        }
    }

    #[test]
    fn the_interpolation_is_as_good_as_the_solver() {
        let quadrature = Quadrature::new(24, &[]);
        for asymmetry in [0.66, 0.75] {
            let folded = Folded::new(asymmetry);
            for albedo in [0.2, 0.7, 0.93, 0.985, 0.9995] {
                let optics = Optics { extinction: PerMillimetre(1.0), albedo, asymmetry, openness: 0.0 };
                let solved = Sheet::of_layer(&optics, ENDLESS, &quadrature).reflected_diffuse();
                let found = folded.reflectance(albedo);
                assert!((found - solved).abs() < INTERPOLATION, "g {asymmetry} a {albedo}: {found} {solved}");
                assert!(
                    (folded.reflectance(folded.albedo(solved)) - solved.min(GREATEST_REFLECTANCE)).abs()
                        < 1e-12
                );
            }
        }
    }

    #[test]
    fn white_and_black_stay_within_bounds() {
        let folded = Folded::new(0.7);
        assert!(folded.albedo(2.0) < 1.0);
        assert!(folded.albedo(0.0) < 1e-12);
        assert!(from_srgb([255; 3]).0.iter().all(|r| (r - 1.0).abs() < 2e-5));
        assert!(from_srgb([0; 3]).0.iter().all(|r| *r == 0.0));
    }
}
