//! The cloth file of a fit.

use super::fit::certainty::Certainty;
use super::fit::unknowns::{COLOUR_NAMES, COLOURS, ClothNumbers};
use crate::cloth::label::write::quoted;
use crate::quantity::Nanometres;
use std::fmt::Write;

/// What stands in the file beside the optics.
#[derive(Clone, Debug)]
pub struct Heading<'a> {
    /// Short name.
    pub name: &'a str,
    /// Name in plain words.
    pub title: &'a str,
    /// Which photographs, in words.
    pub photos: &'a str,
    /// Comment at the head of the file, without `#`.
    pub comment: &'a str,
    /// Thickness in mm.
    pub thickness_mm: f64,
    /// Areal mass in g/m2, where it was told.
    pub areal_mass_g_m2: Option<f64>,
    /// Wavelengths of the dies.
    pub dies: [Nanometres; COLOURS],
    /// Colours that the photographs tell about; the others take the albedo of the nearest of them.
    pub told: [bool; COLOURS],
}

/// The relative uncertainty of optical thickness that stands for the whole fit.
///
/// A cloth file keeps scattering and absorption uncertain by one factor on the optical thickness. Photographs leave them uncertain
/// against each other while the light that comes through is known; written down as it is, the uncertainty of scattering would make that
/// light look uncertain too. So what is written is the factor that gives the light kept its own uncertainty, and never more than
/// that of scattering.
#[must_use]
pub fn stated_uncertainty(certainty: &Certainty) -> f64 {
    /// Below this the light hardly depends on scattering and says nothing about it.
    const LEAST_SLOPE: f64 = 0.05;
    let of_light = certainty.ln_light_kept / certainty.light_per_scattering.max(LEAST_SLOPE);
    of_light.min(certainty.ln_scattering)
}

/// A die's light lies within about so many nanometres of its dominant wavelength; the photograph tells the mean over it.
const HALF_BAND_NM: f64 = 15.0;
/// Openness below this is none: less than a photograph can tell.
pub const LEAST_OPEN: f64 = 5e-4;

/// The text of the file; [`crate::cloth::file::resolve`] reads it back.
#[must_use]
pub fn cloth_file(heading: &Heading<'_>, cloth: &ClothNumbers, certainty: &Certainty) -> String {
    let mut text = String::new();
    for line in heading.comment.lines() {
        let _ = writeln!(text, "{}", format!("# {line}").trim_end());
    }
    let _ = writeln!(text, "name: {}", quoted(heading.name));
    let _ = writeln!(text, "title: {}", quoted(heading.title));
    let _ = writeln!(text, "thickness_mm: {}", heading.thickness_mm);
    if let Some(mass) = heading.areal_mass_g_m2 {
        let _ = writeln!(text, "areal_mass_g_m2: {mass}");
    }
    let _ = writeln!(text, "source: {}", quoted(&format!("Fitted to photographs: {}.", heading.photos)));
    let _ = writeln!(text, "optics:\n  calibrated:");
    let _ =
        writeln!(text, "    extinction_per_mm: {}", digits(cloth.optical_thickness / heading.thickness_mm));
    let told: Vec<usize> = (0..COLOURS).filter(|c| heading.told[*c]).collect();
    match told.as_slice() {
        [] => {
            let _ = writeln!(text, "    albedo: {}", albedo(cloth.albedo(1)));
        }
        [one] => {
            let _ = writeln!(
                text,
                "    albedo: {}  # seen in {} alone",
                albedo(cloth.albedo(*one)),
                COLOUR_NAMES[*one]
            );
        }
        many => {
            // From the shortest wavelength on; level over the band of each die, straight lines between.
            let pairs: Vec<String> = many
                .iter()
                .rev()
                .flat_map(|c| {
                    [-HALF_BAND_NM, HALF_BAND_NM].map(|off| (heading.dies[*c].0 + off, cloth.albedo(*c)))
                })
                .map(|(nm, value)| format!("{nm:.1}: {}", albedo(value)))
                .collect();
            let _ = writeln!(text, "    albedo_by_nm: {{{}}}", pairs.join(", "));
        }
    }
    let _ = writeln!(text, "    asymmetry: {}", digits(cloth.asymmetry));
    let openness = if cloth.openness < LEAST_OPEN { 0.0 } else { cloth.openness };
    let _ = writeln!(text, "    openness: {}", digits(openness));
    let _ = writeln!(text, "    photos: {}", quoted(heading.photos));
    let _ = writeln!(text, "uncertainty:");
    let _ = writeln!(text, "  optical_thickness: {:.3}", stated_uncertainty(certainty).min(2.0));
    if openness > 0.0 {
        let sure = certainty.openness.relative() / super::fit::certainty::NINETY;
        let _ = writeln!(text, "  openness: {:.3}", sure.min(2.0));
    }
    text
}

/// Four digits.
fn digits(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let places = (3 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    format!("{value:.places$}")
}

/// An albedo: its distance from 1 is what counts.
fn albedo(value: f64) -> String {
    let places = (3 - (1.0 - value).max(1e-9).log10().floor() as i32).clamp(3, 10) as usize;
    format!("{value:.places$}")
}
