//! What the fit looks for, and where each of it stands in the list of variables.
//!
//! | variable | symbol | unit |
//! |---|---|---|
//! | ln of the optical thickness of the covered part, `mu t` | ln tau | 1 |
//! | ln of absorption over reduced scattering, `(1 - a) / (a (1 - g))`, red, green, blue | ln x | 1 |
//! | openness | o | 1 |
//! | ln(1 - g), g the asymmetry | | 1 |
//! | ln of the camera's answer to a unit of radiance a unit of flux, red, green, blue | ln A | 1 |
//! | share of another die's light in a channel of the camera, six of them | e | 1 |
//! | darkening of the lens in the corners of a picture | l | 1 |
//! | of each photograph: gap, ln of the scale's error, ln of the exposure's error, background of three channels | | mm, 1, 1, 1 |
//!
//! Extinction does not depend on wavelength ([`crate::cloth`]). These variables are chosen so that what a photograph fixes is a straight
//! line among them: the window seen through the cloth fixes tau alone, the glow the sum `ln tau + ln(1 - g)`. With reduced scattering
//! itself as a variable the valley of the best fits is bent, and the search stays on its way.

use crate::cloth::Cloth;
use crate::light::{Layer, Optics, Stack};
use crate::quantity::{Millimetres, Nanometres, PerMillimetre};
use nalgebra::DVector;

/// Colours, which are dies and channels of the camera at once.
pub const COLOURS: usize = 3;
/// The colour in which scattering is told.
pub(super) const GREEN: usize = 1;
/// Names of the colours.
pub const COLOUR_NAMES: [&str; COLOURS] = ["red", "green", "blue"];

pub(super) const THICKNESS: usize = 0;
pub(super) const ABSORPTION: usize = 1;
pub(super) const OPENNESS: usize = 4;
pub(super) const ASYMMETRY: usize = 5;
/// The variables before this one are the cloth's.
pub(super) const OF_CLOTH: usize = 6;
pub(super) const ANSWER: usize = 6;
pub(super) const SPILL: usize = 9;
pub(super) const DARKENING: usize = 15;
/// The variables before this one are common to all photographs.
pub(super) const COMMON: usize = 16;
/// Of each photograph.
pub(super) const GAP: usize = 0;
pub(super) const SCALE: usize = 1;
pub(super) const EXPOSURE: usize = 2;
pub(super) const BACKGROUND: usize = 3;
pub(super) const PER_SHOT: usize = 6;

/// Index of a variable of a photograph.
pub(super) fn of_shot(shot: usize, variable: usize) -> usize {
    COMMON + PER_SHOT * shot + variable
}

/// Index of the share of another die's light in a channel.
pub(super) fn spill(channel: usize, die: usize) -> usize {
    SPILL + 2 * channel + if die > channel { die - 1 } else { die }
}

/// The cloth's own numbers among the variables.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClothNumbers {
    /// Optical thickness of the covered part, the same in all colours.
    pub optical_thickness: f64,
    /// Absorption over reduced scattering, red, green, blue.
    pub absorption_ratio: [f64; COLOURS],
    /// Openness.
    pub openness: f64,
    /// Asymmetry.
    pub asymmetry: f64,
}

impl ClothNumbers {
    /// Of a cloth whose numbers are known, at the wavelengths of the three dies.
    #[must_use]
    pub fn of_cloth(cloth: &Cloth, dies: [Nanometres; COLOURS]) -> ClothNumbers {
        /// A black cloth scatters nothing; its ratio is kept finite.
        const LEAST_ALBEDO: f64 = 1e-6;
        let ratio = |die: Nanometres| {
            let albedo = cloth.albedo.at(die).clamp(LEAST_ALBEDO, 1.0);
            (1.0 - albedo) / (albedo * (1.0 - cloth.asymmetry))
        };
        ClothNumbers {
            optical_thickness: cloth.extinction * cloth.thickness,
            absorption_ratio: dies.map(ratio),
            openness: cloth.openness,
            asymmetry: cloth.asymmetry,
        }
    }

    pub(super) fn of(variables: &DVector<f64>) -> ClothNumbers {
        ClothNumbers {
            optical_thickness: variables[THICKNESS].exp(),
            absorption_ratio: std::array::from_fn(|c| variables[ABSORPTION + c].exp()),
            openness: variables[OPENNESS],
            asymmetry: 1.0 - variables[ASYMMETRY].exp(),
        }
    }

    /// Writes the numbers among the variables.
    pub(super) fn put(&self, variables: &mut DVector<f64>) {
        variables[THICKNESS] = self.optical_thickness.max(f64::MIN_POSITIVE).ln();
        variables[OPENNESS] = self.openness;
        variables[ASYMMETRY] = (1.0 - self.asymmetry).ln();
        for c in 0..COLOURS {
            variables[ABSORPTION + c] = self.absorption_ratio[c].max(f64::MIN_POSITIVE).ln();
        }
    }

    /// Albedo in a colour.
    #[must_use]
    pub fn albedo(&self, colour: usize) -> f64 {
        1.0 / (1.0 + (1.0 - self.asymmetry) * self.absorption_ratio[colour])
    }

    /// Reduced optical thickness in a colour: scattering and absorption together.
    #[must_use]
    pub fn reduced(&self, colour: usize) -> f64 {
        self.optical_thickness * (1.0 - self.albedo(colour) * self.asymmetry)
    }

    /// Reduced scattering optical thickness in a colour.
    #[must_use]
    pub fn scattering(&self, colour: usize) -> f64 {
        self.optical_thickness * self.albedo(colour) * (1.0 - self.asymmetry)
    }

    /// Absorption optical thickness in a colour.
    #[must_use]
    pub fn absorption(&self, colour: usize) -> f64 {
        self.optical_thickness * (1.0 - self.albedo(colour))
    }

    /// The cloth as a layer in a colour.
    pub(super) fn layer(&self, colour: usize, gap_mm: f64, thickness_mm: f64) -> Layer {
        Layer {
            gap_below: Millimetres(gap_mm),
            thickness: Millimetres(thickness_mm),
            optics: Optics {
                extinction: PerMillimetre(self.optical_thickness / thickness_mm),
                albedo: self.albedo(colour),
                asymmetry: self.asymmetry,
                openness: self.openness,
            },
        }
    }

    /// The stack of board, gap and cloth in every colour.
    pub(super) fn stacks(&self, gap_mm: f64, thickness_mm: f64, board_reflectance: f64) -> Vec<Stack> {
        (0..COLOURS)
            .map(|c| Stack { board_reflectance, layers: vec![self.layer(c, gap_mm, thickness_mm)] })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_variable_has_its_own_place() {
        let mut places: Vec<usize> = (0..COLOURS)
            .flat_map(|c| (0..COLOURS).filter(move |d| *d != c).map(move |d| spill(c, d)))
            .collect();
        places.push(DARKENING);
        places.extend((0..SPILL).chain((0..2).flat_map(|shot| (0..PER_SHOT).map(move |v| of_shot(shot, v)))));
        places.sort_unstable();
        assert_eq!(places, (0..COMMON + 2 * PER_SHOT).collect::<Vec<_>>());
    }

    #[test]
    fn the_layer_has_the_numbers_it_was_made_of() {
        let numbers = ClothNumbers {
            optical_thickness: 12.0,
            absorption_ratio: [0.125, 0.025, 0.02],
            openness: 0.1,
            asymmetry: 0.7,
        };
        let mut variables = DVector::zeros(COMMON);
        numbers.put(&mut variables);
        let back = ClothNumbers::of(&variables);
        for c in 0..COLOURS {
            let reduced = numbers.layer(c, 5.0, 2.0).reduced();
            let albedo = reduced.optics.albedo;
            assert!(
                ((1.0 - albedo) / albedo - numbers.absorption_ratio[c]).abs() < 1e-9,
                "the ratio is kept"
            );
            assert!((reduced.optical_thickness() - numbers.reduced(c)).abs() < 1e-12);
            assert!((numbers.scattering(c) + numbers.absorption(c) - numbers.reduced(c)).abs() < 1e-12);
            assert!((back.reduced(c) - numbers.reduced(c)).abs() < 1e-12);
        }
    }
}
