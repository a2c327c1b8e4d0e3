//! What the fit looks for, and where each of it stands in the list of variables.
//!
//! | variable | symbol | unit |
//! |---|---|---|
//! | ln of the reduced scattering optical thickness of the covered part, `mu a (1 - g) t` | ln s | 1 |
//! | ln of the absorption optical thickness, `mu (1 - a) t`, red, green, blue | ln q | 1 |
//! | openness | o | 1 |
//! | asymmetry | g | 1 |
//! | ln of the camera's answer to a unit of radiance a unit of flux, red, green, blue | ln A | 1 |
//! | share of another die's light in a channel of the camera, six of them | e | 1 |
//! | of each photograph: gap, ln of the scale's error, ln of the exposure's error, background of three channels | | mm, 1, 1, 1 |
//!
//! Scattering and extinction of fibres do not depend on wavelength ([`crate::cloth`]); with `mu t = s / (1 - g) + q` the extinction
//! would, by the little that absorption takes, so the green one is taken for all: `mu t = s / (1 - g) + q_green`, and the albedo of each
//! colour is `a = mu_s' / (mu_s' + (1 - g) mu_a)`, which keeps what decides, the ratio of absorption to reduced scattering.

use crate::cloth::Cloth;
use crate::light::{Layer, Optics, Stack};
use crate::quantity::{Millimetres, Nanometres, PerMillimetre};
use nalgebra::DVector;

/// Colours, which are dies and channels of the camera at once.
pub const COLOURS: usize = 3;
/// Names of the colours.
pub const COLOUR_NAMES: [&str; COLOURS] = ["red", "green", "blue"];

pub(super) const SCATTERING: usize = 0;
pub(super) const ABSORPTION: usize = 1;
pub(super) const OPENNESS: usize = 4;
pub(super) const ASYMMETRY: usize = 5;
/// The variables before this one are the cloth's.
pub(super) const OF_CLOTH: usize = 6;
pub(super) const ANSWER: usize = 6;
pub(super) const SPILL: usize = 9;
/// The variables before this one are common to all photographs.
pub(super) const COMMON: usize = 15;
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
    /// Reduced scattering optical thickness of the covered part.
    pub scattering: f64,
    /// Absorption optical thickness, red, green, blue.
    pub absorption: [f64; COLOURS],
    /// Openness.
    pub openness: f64,
    /// Asymmetry.
    pub asymmetry: f64,
}

impl ClothNumbers {
    /// Of a cloth whose numbers are known, at the wavelengths of the three dies.
    #[must_use]
    pub fn of_cloth(cloth: &Cloth, dies: [Nanometres; COLOURS]) -> ClothNumbers {
        let thickness = cloth.extinction * cloth.thickness;
        let isotropic = 1.0 - cloth.asymmetry;
        let albedo = dies.map(|die| cloth.albedo.at(die).clamp(1e-6, 1.0));
        let scattering = thickness * albedo[1] * isotropic;
        ClothNumbers {
            scattering,
            absorption: albedo.map(|a| scattering * (1.0 - a) / (a * isotropic)),
            openness: cloth.openness,
            asymmetry: cloth.asymmetry,
        }
    }

    pub(super) fn of(variables: &DVector<f64>) -> ClothNumbers {
        ClothNumbers {
            scattering: variables[SCATTERING].exp(),
            absorption: std::array::from_fn(|c| variables[ABSORPTION + c].exp()),
            openness: variables[OPENNESS],
            asymmetry: variables[ASYMMETRY],
        }
    }

    /// Optical thickness of the covered part, the same in all colours.
    #[must_use]
    pub fn optical_thickness(&self) -> f64 {
        self.scattering / (1.0 - self.asymmetry) + self.absorption[1]
    }

    /// Albedo in a colour.
    #[must_use]
    pub fn albedo(&self, colour: usize) -> f64 {
        self.scattering / (self.scattering + (1.0 - self.asymmetry) * self.absorption[colour])
    }

    /// Reduced optical thickness in a colour: scattering and absorption together.
    #[must_use]
    pub fn reduced(&self, colour: usize) -> f64 {
        self.optical_thickness() * (1.0 - self.albedo(colour) * self.asymmetry)
    }

    /// The cloth as a layer in a colour.
    pub(super) fn layer(&self, colour: usize, gap_mm: f64, thickness_mm: f64) -> Layer {
        Layer {
            gap_below: Millimetres(gap_mm),
            thickness: Millimetres(thickness_mm),
            optics: Optics {
                extinction: PerMillimetre(self.optical_thickness() / thickness_mm),
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
        places.extend((0..SPILL).chain((0..2).flat_map(|shot| (0..PER_SHOT).map(move |v| of_shot(shot, v)))));
        places.sort_unstable();
        assert_eq!(places, (0..COMMON + 2 * PER_SHOT).collect::<Vec<_>>());
    }

    #[test]
    fn the_layer_has_the_numbers_it_was_made_of() {
        let numbers =
            ClothNumbers { scattering: 4.0, absorption: [0.5, 0.1, 0.1], openness: 0.1, asymmetry: 0.7 };
        let layer = numbers.layer(1, 5.0, 2.0);
        let reduced = layer.reduced();
        // Green decides the extinction, so scattering and absorption come back exactly there.
        assert!((reduced.optical_thickness() - 4.1).abs() < 1e-12);
        assert!((reduced.optics.albedo - 4.0 / 4.1).abs() < 1e-12);
        let red = numbers.layer(0, 5.0, 2.0).reduced().optics.albedo;
        assert!((red / (1.0 - red) - 4.0 / 0.5).abs() < 1e-9, "the ratio is kept in red");
    }
}
