//! From photographs to the optics of the cloth.
//!
//! # Model
//! A channel of the camera sees, at a place of the cloth,
//!
//! ```text
//! I = { E A [ (1 - e1 - e2) S_own + e1 S_other1 + e2 S_other2 ] + b } (1 - l r^2 / R^2)
//! ```
//!
//! S being the spots of the three dies ([`crate::light::spots`]) and, in the innermost ring, the direct image of the window as well. The
//! means over rings of all photographs are fitted at once by least squares in the variables of [`unknowns`], each over its standard
//! uncertainty. What is known beforehand stands beside the photographs as further residuals ([`Beforehand`]): the gap as well as a ruler
//! tells it, the asymmetry as fibres have it, the camera's answer if the bare pixel was photographed.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | I | linear value of the photograph | 1 |
//! | E | exposure over that of the first photograph | 1 |
//! | A | the channel's answer to radiance per unit flux | sr mm2 |
//! | e1, e2 | share of the other dies' light in the channel | 1 |
//! | b | background | 1 |
//! | l | darkening of the lens at the corner against the middle | 1 |
//! | r, R | distance from the spot's middle; half of the picture's diagonal | mm |
//!
//! # Assumptions
//! A lens that darkens towards the corners does so with the square of the distance; over a full ring around any place that makes the same
//! factor as around the picture's own middle. The camera's values are proportional to light once its sRGB curve is taken off; it looks straight at the cloth from far against the
//! spot's width; a channel of the camera sees mostly the die of its colour; all pixels in the picture send the same light.
//!
//! # Validity
//! That of [`crate::light`]: one cloth without lateral structure. Intervals hold as far as uncertainties are small against their values.
//!
//! # Source
//! Least squares with prior knowledge: Tarantola, Inverse Problem Theory (2005), section 3.2 (from memory).

pub mod certainty;
mod problem;
mod rows;
pub mod second;
mod start;
mod tables;
#[cfg(test)]
mod tests;
pub mod unknowns;

use super::least_squares::{Minimum, minimise};
use super::rings::Rings;
use crate::light::Window;
use nalgebra::DVector;
use problem::Whole;
use rayon::prelude::*;
use unknowns::{
    ABSORPTION, ANSWER, ASYMMETRY, BACKGROUND, COLOURS, ClothNumbers, EXPOSURE, GAP, OPENNESS, SCALE,
    THICKNESS, of_shot,
};

/// Relative standard uncertainty of the exposure of one photograph against another's (common practice, no source).
pub const EXPOSURE_SURE: f64 = 0.03;
/// Standard uncertainty of the logarithm of what is not known at all.
pub const UNKNOWN: f64 = 4.0;

/// Which dies of the pixel are lit in a photograph.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lit {
    /// All three.
    White,
    /// One: 0 red, 1 green, 2 blue.
    One(usize),
}

impl Lit {
    /// By its word: white, red, green or blue.
    #[must_use]
    pub fn named(word: &str) -> Option<Lit> {
        match word {
            "white" => Some(Lit::White),
            "red" => Some(Lit::One(0)),
            "green" => Some(Lit::One(1)),
            "blue" => Some(Lit::One(2)),
            _ => None,
        }
    }

    /// Whether a channel of the camera tells about its own die.
    #[must_use]
    pub fn tells(self, channel: usize) -> bool {
        self == Lit::White || self == Lit::One(channel)
    }
}

/// One photograph, measured.
#[derive(Clone, Debug)]
pub struct Shot {
    /// Air between board and cloth, as stated, in mm.
    pub gap_mm: f64,
    /// Standard uncertainty of the gap in mm.
    pub gap_sure_mm: f64,
    /// Relative standard uncertainty of the scale (mm per px).
    pub scale_sure: f64,
    /// Exposure in any unit that all photographs share.
    pub exposure: f64,
    /// Relative standard uncertainty of the exposure against that of the other photographs.
    pub exposure_sure: f64,
    /// Dies that are lit.
    pub lit: Lit,
    /// Means over rings; the innermost ring holds the window and what the lens makes of it.
    pub rings: Rings,
    /// Centres of the lit pixels in mm from the first of them, y upwards.
    pub centres_mm: Vec<[f64; 2]>,
    /// Half of the picture's diagonal in mm.
    pub half_diagonal_mm: f64,
}

/// What the photographs were taken of.
#[derive(Clone, Debug)]
pub struct Subject {
    /// Thickness of the cloth in mm.
    pub thickness_mm: f64,
    /// Diffuse reflectance of the board.
    pub board_reflectance: f64,
    /// Exponent of the pixel's beam.
    pub beam_power: f64,
    /// Bright area of the red, green and blue die.
    pub windows: [Window; COLOURS],
    /// The camera's answer by channel at the unit of the shots' exposures, from photographs of the bare pixel, and its relative
    /// standard uncertainty; `None` where it is not known.
    pub answer: [Option<(f64, f64)>; COLOURS],
    /// What is known of the cloth before.
    pub beforehand: Beforehand,
}

/// What is known of a cloth before any photograph: means and standard uncertainties.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beforehand {
    /// Asymmetry.
    pub asymmetry: (f64, f64),
    /// ln of the reduced scattering optical thickness.
    pub ln_scattering: (f64, f64),
    /// ln of the absorption over the reduced scattering optical thickness, red, green, blue.
    pub ln_absorption_ratio: [(f64, f64); COLOURS],
}

impl Default for Beforehand {
    /// Any cloth that is worn over pixels.
    fn default() -> Beforehand {
        /// Fibres of the usual indices have 0.66 to 0.77 ([`crate::cloth::fibres`]); dull ones less.
        const ASYMMETRY: (f64, f64) = (0.72, 0.04);
        /// From 0.3 (organza) to 60 (thick felt) in 95 of 100 cloths, as the catalogue has them.
        const LN_SCATTERING: (f64, f64) = (1.4, 1.35);
        /// From 1e-4 (bleached) to 1 (black) in 95 of 100.
        const LN_RATIO: (f64, f64) = (-4.6, 2.3);
        Beforehand {
            asymmetry: ASYMMETRY,
            ln_scattering: LN_SCATTERING,
            ln_absorption_ratio: [LN_RATIO; COLOURS],
        }
    }
}

/// Light and model along a photograph's rings in one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    /// Mean distance of each ring from the nearest centre in mm.
    pub radii_mm: Vec<f64>,
    /// Means of the photograph, background taken off, over the model's peak.
    pub seen: Vec<f64>,
    /// Their standard errors, over the peak.
    pub errors: Vec<f64>,
    /// The model, over its peak.
    pub model: Vec<f64>,
    /// The model's peak outside the direct image, linear value of the photograph.
    pub peak: f64,
    /// Background, linear value.
    pub background: f64,
}

impl Profile {
    /// Root mean square and largest difference between seen and model, over the peak.
    #[must_use]
    pub fn misfit(&self) -> (f64, f64) {
        let differences = self.seen.iter().zip(&self.model).map(|(s, m)| (s - m).abs());
        let square: f64 = differences.clone().map(|d| d * d).sum();
        ((square / self.seen.len().max(1) as f64).sqrt(), differences.fold(0.0, f64::max))
    }
}

/// What one photograph came to in the fit.
#[derive(Clone, Debug)]
pub struct ShotFit {
    /// The gap that fits best within the ruler's uncertainty, in mm.
    pub gap_mm: f64,
    /// Factor on the stated scale.
    pub scale: f64,
    /// Factor on the stated exposure.
    pub exposure: f64,
    /// Profiles of the channels that tell something.
    pub profiles: [Option<Profile>; COLOURS],
}

/// The fit.
#[derive(Clone, Debug)]
pub struct Fit {
    /// The cloth.
    pub cloth: ClothNumbers,
    /// The camera's answer by channel.
    pub answer: [f64; COLOURS],
    /// The photographs.
    pub shots: Vec<ShotFit>,
    /// Sum of squares of the photographs' residuals over their number less the variables: 1 when the model is as good as claimed.
    pub reduced_chi_square: f64,
    /// Whether the search came to an end.
    pub settled: bool,
    pub(super) minimum: Minimum,
    whole: Whole,
}

/// Why there is no fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// No photograph was given.
    #[error("there is no photograph")]
    NoShot,
    /// Too few rings hold enough light.
    #[error(
        "photograph {shot} has {rings} usable rings in all its colours together, and {needed} are needed"
    )]
    TooFewRings {
        /// Which photograph, from 1.
        shot: usize,
        /// Usable rings.
        rings: usize,
        /// Rings that are needed.
        needed: usize,
    },
}

/// Steps after which the starts are compared, and those of which the sum of squares is then so many times the best are left.
const FIRST_STEPS: usize = 10;
const HOPELESS: f64 = 3.0;
/// Steps after which a search is ended; twenty in all are usual.
const MOST_STEPS: usize = 45;

/// Fewest usable rings of a photograph: below, the shape of the spot is not seen.
const FEWEST_RINGS: usize = 8;

/// Fits one cloth to all photographs together.
///
/// # Errors
/// When there is too little to fit.
pub fn fit(subject: &Subject, shots: &[Shot]) -> Result<Fit, FitError> {
    let whole = usable(subject, shots)?;
    let cost = |minimum: &Minimum| minimum.residuals.norm_squared();
    let begun: Vec<Minimum> =
        start::starts(&whole).into_par_iter().map(|start| minimise(&whole, start, FIRST_STEPS)).collect();
    let best = begun.iter().map(cost).fold(f64::INFINITY, f64::min);
    let followed: Vec<Minimum> = begun
        .into_par_iter()
        .filter(|minimum| cost(minimum) <= HOPELESS * best)
        .map(|minimum| if minimum.settled { minimum } else { minimise(&whole, minimum.at, MOST_STEPS) })
        .collect();
    let Some(minimum) = followed.into_iter().min_by(|a, b| cost(a).total_cmp(&cost(b))) else {
        return Err(FitError::NoShot);
    };
    Ok(finished(whole, minimum))
}

/// What the photographs should show if the cloth has these numbers: only backgrounds, and answers that are not known, are fitted.
///
/// # Errors
/// As [`fit`].
pub fn compare(subject: &Subject, cloth: &ClothNumbers, shots: &[Shot]) -> Result<Vec<ShotFit>, FitError> {
    let whole = usable(subject, shots)?;
    let mut at = DVector::zeros(whole.variables());
    cloth.put(&mut at);
    for (i, shot) in shots.iter().enumerate() {
        at[of_shot(i, GAP)] = shot.gap_mm;
    }
    whole.settle_answers(&mut at);
    Ok(whole.profiles(&at))
}

fn usable(subject: &Subject, shots: &[Shot]) -> Result<Whole, FitError> {
    if shots.is_empty() {
        return Err(FitError::NoShot);
    }
    let whole = Whole::new(subject, shots);
    for (i, rings) in whole.usable_rings().into_iter().enumerate() {
        if rings < FEWEST_RINGS {
            return Err(FitError::TooFewRings { shot: i + 1, rings, needed: FEWEST_RINGS });
        }
    }
    Ok(whole)
}

fn finished(whole: Whole, minimum: Minimum) -> Fit {
    let at = &minimum.at;
    let rows = whole.rows();
    let square: f64 = minimum.residuals.rows(0, rows).norm_squared();
    // Of each channel the answer and the background are free, and about three numbers of the cloth.
    let free = rows.saturating_sub(whole.free_variables()).max(1);
    Fit {
        cloth: ClothNumbers::of(at),
        answer: std::array::from_fn(|c| at[ANSWER + c].exp()),
        shots: whole.profiles(at),
        reduced_chi_square: square / free as f64,
        settled: minimum.settled,
        minimum,
        whole,
    }
}
