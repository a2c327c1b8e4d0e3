//! Cloth: one physical description, several ways to know it.
//!
//! A [`Cloth`] comes from the [`catalogue`] or from a [`file`](mod@file), whose keys [`shape`] describes: by plain optical numbers, by a
//! [`measured`] transmittance and reflectance, or by its [`label`], from which [`fibres`] make numbers. [`diffuse`] tells what it does to
//! light from all sides.

pub mod catalogue;
pub mod diffuse;
pub mod fibres;
pub mod file;
pub mod label;
pub mod measured;
pub mod shape;

use crate::light::spectrum::Spectrum;
use crate::light::{Layer, Optics};
use crate::quantity::{Millimetres, Nanometres, PerMillimetre};

/// How well the optics of a cloth are known, as relative standard uncertainties (0.3 means 30 %).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Uncertainty {
    /// Of the reduced optical thickness.
    pub optical_thickness: f64,
    /// Of the openness.
    pub openness: f64,
}

/// Which of the four ways the optics are known by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// Optical numbers given directly.
    Bulk,
    /// From a measured transmittance and reflectance.
    Measured,
    /// Estimated from what the label says.
    Label,
    /// From photographs.
    Calibrated,
}

impl Basis {
    /// Its key, as files and programs have it.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Basis::Bulk => "bulk",
            Basis::Measured => "measured",
            Basis::Label => "label",
            Basis::Calibrated => "calibrated",
        }
    }

    /// In words.
    #[must_use]
    pub fn in_words(self) -> &'static str {
        match self {
            Basis::Bulk => "optical numbers as given",
            Basis::Measured => "from measurements",
            Basis::Label => "estimated from its label",
            Basis::Calibrated => "from photographs",
        }
    }
}

/// What a shop sells: the user's own figures, placeholders in the catalogue.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Buying {
    /// Width of the bolt.
    pub width: Option<Millimetres>,
    /// Price of one metre of the bolt, in the user's currency.
    pub price_per_m: Option<f64>,
}

/// One cloth with its optics at every wavelength.
#[derive(Clone, Debug, PartialEq)]
pub struct Cloth {
    /// Short name by which a scene refers to it.
    pub name: String,
    /// Name in plain words.
    pub title: String,
    /// Where its numbers come from, in words.
    pub source: String,
    /// How the optics were found from those numbers and what was left out, one sentence each.
    pub notes: Vec<String>,
    /// The way in which the optics are known.
    pub basis: Basis,
    /// Thickness as worn (unpressed).
    pub thickness: Millimetres,
    /// Extinction of the covered part.
    pub extinction: PerMillimetre,
    /// Single-scattering albedo per wavelength.
    pub albedo: Spectrum,
    /// Asymmetry of the phase function.
    pub asymmetry: f64,
    /// Share of the area that is holes.
    pub openness: f64,
    /// Areal mass in g/m2 where known.
    pub areal_mass_g_m2: Option<f64>,
    /// How well the optics are known.
    pub uncertainty: Uncertainty,
    /// What a shop sells.
    pub buying: Buying,
}

impl Cloth {
    /// Price of a metre from the bolt for each of so many layers, in the user's currency; `None` where it is not known.
    #[must_use]
    pub fn price_per_m(&self, layers: usize) -> Option<f64> {
        self.buying.price_per_m.map(|price| price * layers as f64)
    }

    /// The optics at one wavelength.
    #[must_use]
    pub fn optics_at(&self, wavelength: Nanometres) -> Optics {
        Optics {
            extinction: self.extinction,
            albedo: self.albedo.at(wavelength),
            asymmetry: self.asymmetry,
            openness: self.openness,
        }
    }

    /// This cloth as a layer above an air gap, at one wavelength.
    #[must_use]
    pub fn layer_at(&self, gap_below: Millimetres, wavelength: Nanometres) -> Layer {
        Layer { gap_below, thickness: self.thickness, optics: self.optics_at(wavelength) }
    }
}
