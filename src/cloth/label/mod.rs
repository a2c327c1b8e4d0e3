//! What a cloth's label says, turned into optics: an estimate.
//!
//! **Model.** The fibres are clear cylinders of diameter d, large against the wavelength, in single file: a ray
//! that meets one is scattered by it. With the areal mass w and the fibre's density rho the solid thickness is
//! `s = w / rho`. A cylinder lying flat casts a shadow of `d` times its length, so flat fibres have the optical
//! thickness `tau = 4 s / (pi d)`; in all directions the mean shadow is pi/4 of that, `tau = s / d`. The thickness
//! of the cloth does not enter: mass stops light, loft spreads it. With holes the mass sits on the covered share,
//! `tau = tau_mean / (1 - o)`. Asymmetry: [`fibres::asymmetry`]. Albedo: [`reflectance`].
//!
//! **Assumptions.** Clear fibres: matt ones hold white pigment, which sends more light back, and this is left out.
//! Fibres spread evenly over the covered part. Threads are in truth bundles, and bundles let
//! through more light than the same fibres spread out; the estimate leaves that out and says so in its notes and
//! in its uncertainty. **Validity:** a first guess. **Source:** geometry (Cauchy's mean shadow); no published
//! comparison with cloth is known.
//!
//! **Symbols.** w in g/m2, rho in g/cm3, s and d in um (1 g/m2 over 1 g/cm3 is 1 um), o openness, tau pure.

pub mod influence;
pub mod reflectance;
pub mod write;

use super::Uncertainty;
use super::fibres::{self, Fibre, Lie};
use crate::diagnose::nearest;
use crate::light::spectrum::Spectrum;
use crate::quantity::{Millimetres, PerMillimetre};
use reflectance::Folded;
use std::f64::consts::PI;

/// Relative standard uncertainty of the reduced optical thickness where fibres are spread evenly (felt, wadding): mass,
/// fibre diameter and fibre model together, see [`influence`].
const SPREAD_OUT: f64 = 0.30;
/// The same where fibres are bundled into threads, which the model leaves out.
const BUNDLED: f64 = 0.40;
/// Relative standard uncertainty of the openness. A judgement.
const OPENNESS: f64 = 0.50;

/// How a cloth is built.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Structure {
    /// Felt, and cloth with a raised pile such as fleece.
    Felt,
    /// Closely woven.
    Woven,
    /// Knitted.
    Knit,
    /// Openly woven and thin: organza, chiffon, voile.
    Sheer,
    /// Net and mesh.
    Mesh,
    /// Wadding and batting.
    Wadding,
}

impl Structure {
    /// All structures.
    pub const ALL: [Structure; 6] = [
        Structure::Felt,
        Structure::Woven,
        Structure::Knit,
        Structure::Sheer,
        Structure::Mesh,
        Structure::Wadding,
    ];

    /// Name as it is written in a cloth file.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Structure::Felt => "felt",
            Structure::Woven => "woven",
            Structure::Knit => "knit",
            Structure::Sheer => "sheer",
            Structure::Mesh => "mesh",
            Structure::Wadding => "wadding",
        }
    }

    /// The structure of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Structure> {
        Structure::ALL.into_iter().find(|structure| structure.name() == name)
    }

    /// Covered share of the area where the label says nothing. Estimates; common practice, no source.
    #[must_use]
    pub fn usual_cover(self) -> f64 {
        match self {
            Structure::Felt | Structure::Wadding => 1.0,
            Structure::Woven => 0.99,
            Structure::Knit => 0.96,
            Structure::Sheer => 0.60,
            Structure::Mesh => 0.50,
        }
    }

    /// Threads lie flat. Needling or fulling turns the fibres of felt upright here and there, wadding is crimped
    /// and lofty: both are nearer to all directions than to flat.
    #[must_use]
    pub fn lie(self) -> Lie {
        match self {
            Structure::Felt | Structure::Wadding => Lie::Random,
            Structure::Woven | Structure::Knit | Structure::Sheer | Structure::Mesh => Lie::Flat,
        }
    }
}

/// What the label says.
#[derive(Clone, Debug, PartialEq)]
pub struct LabelInput {
    /// Fibres and their shares by mass, in any common unit (0.7 and 0.3, or 70 and 30).
    pub fibres: Vec<(String, f64)>,
    /// Diameter of the fibres in micrometres, for all of them; otherwise each kind's usual one.
    pub fibre_um: Option<f64>,
    /// Areal mass in g/m2.
    pub areal_mass_g_m2: f64,
    /// Thickness as worn.
    pub thickness: Millimetres,
    /// Colour of the cloth folded many times, in sRGB.
    pub colour: [u8; 3],
    /// How the cloth is built.
    pub structure: Structure,
    /// Covered share of the area, above 0 and up to 1; otherwise the structure's usual one.
    pub cover: Option<f64>,
}

/// What follows from it.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    /// Extinction of the covered part.
    pub extinction: PerMillimetre,
    /// Single-scattering albedo per wavelength.
    pub albedo: Spectrum,
    /// Asymmetry of the phase function.
    pub asymmetry: f64,
    /// Share of the area that is holes.
    pub openness: f64,
    /// How far this can be trusted.
    pub uncertainty: Uncertainty,
    /// How it was estimated and what was left out, one sentence each.
    pub notes: Vec<String>,
}

/// Why a label cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LabelError {
    /// No fibre is named.
    #[error("The label names no fibre. Name at least one, for example wool.")]
    NoFibre,
    /// A fibre is not in the table.
    #[error("The fibre \"{name}\" is not known.{} Known are: {known}.", meant(*.near))]
    UnknownFibre {
        /// The name given.
        name: String,
        /// The known name spelt most like it.
        near: Option<&'static str>,
        /// The names that are known, with commas.
        known: String,
    },
    /// A number is out of its range.
    #[error("The {what} is {value}, but it must be {allowed}.")]
    OutOfRange {
        /// Which number.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What it may be, in words.
        allowed: &'static str,
    },
    /// More mass than the thickness can hold.
    #[error(
        "{areal_mass_g_m2} g/m2 do not fit into {thickness_mm} mm: the fibres alone, pressed into a solid film, would be \
         {solid_mm:.3} mm thick. Weigh and measure again, or check the cover."
    )]
    DenserThanItsFibres {
        /// The mass given.
        areal_mass_g_m2: f64,
        /// The thickness given, in mm.
        thickness_mm: f64,
        /// Thickness in mm of a solid film of that mass on the covered share.
        solid_mm: f64,
    },
}

fn meant(near: Option<&str>) -> String {
    near.map_or(String::new(), |near| format!(" Did you mean {near}?"))
}

/// Estimates the optics of a cloth from its label.
///
/// # Errors
/// When a fibre is unknown, a number is out of its range, or the cloth would be denser than its fibres.
pub fn estimate(label: &LabelInput) -> Result<Estimate, LabelError> {
    let parts = checked(label)?;
    let cover = label.cover.unwrap_or(label.structure.usual_cover());
    let lie = label.structure.lie();
    let all: f64 = parts.iter().map(|(_, share)| share).sum();

    let (mut tau, mut tau_cosine, mut solid_um) = (0.0, 0.0, 0.0);
    for (fibre, share) in &parts {
        let part_um = label.areal_mass_g_m2 * share / all / fibre.density_g_cm3;
        let diameter_um = label.fibre_um.unwrap_or(fibre.diameter_um);
        let part = match lie {
            Lie::Flat => 4.0 * part_um / (PI * diameter_um),
            Lie::Random => part_um / diameter_um,
        };
        solid_um += part_um;
        tau += part;
        tau_cosine += part * fibres::asymmetry(fibre.refractive_index(), lie);
    }
    let solid_mm = 1e-3 * solid_um / cover;
    if solid_mm > label.thickness.0 {
        return Err(LabelError::DenserThanItsFibres {
            areal_mass_g_m2: label.areal_mass_g_m2,
            thickness_mm: label.thickness.0,
            solid_mm,
        });
    }
    let asymmetry = tau_cosine / tau;
    let folded = Folded::new(asymmetry);
    let stated = reflectance::from_srgb(label.colour);
    Ok(Estimate {
        extinction: PerMillimetre(tau / cover / label.thickness.0),
        albedo: Spectrum(stated.0.map(|r| folded.albedo(r))),
        asymmetry,
        openness: 1.0 - cover,
        uncertainty: Uncertainty {
            optical_thickness: match lie {
                Lie::Flat => BUNDLED,
                Lie::Random => SPREAD_OUT,
            },
            openness: OPENNESS,
        },
        notes: notes(label, lie, cover, solid_um),
    })
}

fn checked(label: &LabelInput) -> Result<Vec<(&'static Fibre, f64)>, LabelError> {
    let positive = |what, value: f64| match value.is_finite() && value > 0.0 {
        true => Ok(()),
        false => Err(LabelError::OutOfRange { what, value, allowed: "above 0" }),
    };
    positive("areal mass in g/m2", label.areal_mass_g_m2)?;
    positive("thickness in mm", label.thickness.0)?;
    label.fibre_um.map_or(Ok(()), |d| positive("fibre diameter in micrometres", d))?;
    if let Some(cover) = label.cover.filter(|c| !(*c > 0.0 && *c <= 1.0)) {
        return Err(LabelError::OutOfRange { what: "cover", value: cover, allowed: "above 0 and up to 1" });
    }
    if label.fibres.is_empty() {
        return Err(LabelError::NoFibre);
    }
    label
        .fibres
        .iter()
        .map(|(name, share)| {
            positive("share of a fibre", *share)?;
            let unknown = || LabelError::UnknownFibre {
                name: name.clone(),
                near: nearest(name, fibres::names()),
                known: fibres::FIBRES.map(|f| f.name).join(", "),
            };
            Ok((fibres::find(name).ok_or_else(unknown)?, *share))
        })
        .collect()
}

fn notes(label: &LabelInput, lie: Lie, cover: f64, solid_um: f64) -> Vec<String> {
    let lying: &[&str] = match lie {
        Lie::Flat => &[
            "The fibres are taken to lie flat and spread evenly.",
            "In truth they are bundled into threads, which let through more light than the same fibres spread out; \
             this is left out and widens the uncertainty.",
        ],
        Lie::Random => &["The fibres are taken to lie in all directions, spread evenly."],
    };
    let covered = if label.cover.is_some() { "as stated" } else { "a guess for this kind of cloth" };
    let mut notes = vec![format!("The mass alone would make a solid film of {solid_um:.0} micrometres.")];
    notes.extend(lying.iter().map(|sentence| (*sentence).to_owned()));
    notes.push(
        "Matt fibres, which hold white pigment, let through less light than the clear ones assumed here."
            .to_owned(),
    );
    notes.push(format!("The threads cover {:.0} % of the area, {covered}.", 100.0 * cover));
    notes.push(
        "The albedo is that of fibres which, in a cloth folded many times, show the stated colour."
            .to_owned(),
    );
    notes
}
