//! From the bytes of photographs to a cloth file with its report, as the command line and the page ask for it.
//!
//! [`calibrate`] reads and measures the photographs ([`shots::ready`]), fits the cloth ([`super::fit`]) and writes its file; what was found is
//! told in sentences ([`Calibrated::words`]) and drawn ([`Calibrated::report`]). Bytes come one file at a time from a [`Source`], so that none
//! is kept beside its picture.

pub mod asking;
pub mod shots;
pub mod words;

use super::cloth_file::{Heading, cloth_file};
use super::decode::ToneChoice;
use super::fit::certainty::Certainty;
use super::fit::second::Promise;
use super::fit::unknowns::COLOURS;
use super::fit::{Fit, Lit, ShotFit, fit};
use super::measure::Scale;
use super::picture::{Reported, report};
use crate::diagnose::Diagnostic;
use crate::pixels::package::Package;
use crate::reading::Limits;
use asking::{Asking, COMMAND_LINE, not_fitted};
use shots::{Ready, ready, wavelengths};

/// A pixel of a photograph shows a micrometre (a microscope) to a centimetre (a house).
pub const MM_PER_PX: Limits = Limits::new(0.001, 10.0, "mm");
/// Length between the marked points.
pub const SCALE_MM: Limits = Limits::new(0.5, 5000.0, "mm");
/// Places of the marked points: larger than any picture that is taken.
pub const PLACE_PX: Limits = Limits::new(0.0, 100_000.0, "px");
/// Exposure in any unit: seconds, or a ratio.
pub const EXPOSURE: Limits = Limits::new(1e-9, 1e9, "");
/// How far off a ruler is taken to be unless told otherwise, in mm (standard uncertainty).
pub const STAND_OFF_WITHIN_MM: f64 = 0.3;
/// What the board sends back unless told otherwise.
pub const BOARD_REFLECTANCE: f64 = 0.5;
/// Package of the pixel unless told otherwise.
pub const PACKAGE: &str = "5050";

/// The bytes of a photograph by its place: those with cloth, then those of the bare pixel.
pub type Source<'a> = &'a dyn Fn(usize) -> Result<Vec<u8>, Vec<Diagnostic>>;

/// What is stated about a photograph of lit pixels behind the cloth.
#[derive(Clone, Debug)]
pub struct StatedPhoto {
    /// What it is called in messages.
    pub shown_as: String,
    /// Its own name.
    pub name: String,
    /// Air between board and cloth in mm.
    pub gap_mm: f64,
    /// Its scale.
    pub scale: Scale,
    /// Dies that are lit.
    pub lit: Lit,
}

/// What is stated about a photograph of the bare pixel.
#[derive(Clone, Debug)]
pub struct StatedBare {
    /// What it is called in messages.
    pub shown_as: String,
    /// Its exposure in the unit of the others, where it was told.
    pub exposure: Option<f64>,
}

/// Everything that is stated.
#[derive(Clone, Debug)]
pub struct Stated {
    /// Photographs with cloth.
    pub photos: Vec<StatedPhoto>,
    /// Photographs without.
    pub bare: Vec<StatedBare>,
    /// Exposures of the photographs with cloth, one each, in any unit; `None`: as the files tell.
    pub exposures: Option<Vec<f64>>,
    /// Thickness of the cloth in mm.
    pub thickness_mm: f64,
    /// Standard uncertainty of the stand-offs in mm.
    pub stand_off_within_mm: f64,
    /// Lit pixels in each picture; `None`: one, or with a pitch as many as are found.
    pub pixels: Option<usize>,
    /// Package of the pixel.
    pub package: Package,
    /// Share of the light that the board sends back.
    pub board_reflectance: f64,
    /// How codes become light.
    pub tone: ToneChoice,
    /// Bytes that all decoded pictures together may take.
    pub most_bytes: usize,
    /// How advice is given.
    pub asking: Asking,
}

/// How the cloth is to be called.
#[derive(Clone, Copy, Debug)]
pub struct Naming<'a> {
    /// Short name.
    pub name: &'a str,
    /// Name in plain words.
    pub title: &'a str,
    /// Areal mass in g/m2, where it is known.
    pub areal_mass_g_m2: Option<f64>,
}

/// A cloth that was found in photographs.
#[derive(Debug)]
pub struct Calibrated {
    /// The photographs.
    pub ready: Ready,
    /// The fit.
    pub fit: Fit,
    /// How well each number is known.
    pub certainty: Certainty,
    /// What further photographs would tell, the best first.
    pub further: Vec<Promise>,
    /// Colours that the photographs tell about.
    pub told: [bool; COLOURS],
    /// The text of the cloth file.
    pub text: String,
}

/// Finds the cloth in photographs.
///
/// # Errors
/// The first photograph that cannot be used, or why there is no fit: in plain words, and what to do.
pub fn calibrate(
    stated: &Stated,
    naming: Naming<'_>,
    source: Source<'_>,
) -> Result<Calibrated, Vec<Diagnostic>> {
    let ready = ready(stated, source)?;
    let found = fit(&ready.subject, &ready.shots).map_err(|error| {
        let shown_as: Vec<&str> = ready.read.iter().map(|read| read.shown_as.as_str()).collect();
        vec![not_fitted(&shown_as, error)]
    })?;
    let told = std::array::from_fn(|c| ready.shots.iter().any(|shot| shot.lit.tells(c)));
    let (certainty, further) = (found.certainty(), found.further());
    let mut made = Calibrated { ready, fit: found, certainty, further, told, text: String::new() };
    let heading = Heading {
        name: naming.name,
        title: naming.title,
        photos: &words::photos(&made.ready),
        // The file is read beside the command line, wherever it was made.
        comment: &words::in_lines(&made.words(&COMMAND_LINE)),
        thickness_mm: stated.thickness_mm,
        areal_mass_g_m2: naming.areal_mass_g_m2,
        dies: wavelengths(&stated.package),
        told,
    };
    made.text = cloth_file(&heading, &made.fit.cloth, &made.certainty);
    // What the program writes it must be able to read.
    crate::cloth::file::resolve(&made.text, "the cloth found")?;
    Ok(made)
}

impl Calibrated {
    /// What was found, sentence by sentence.
    #[must_use]
    pub fn words(&self, asking: &Asking) -> Vec<String> {
        words::calibrated(self, asking)
    }

    /// The report as an SVG drawing: photographs, model and what is left between them. `lines` stand under the title.
    #[must_use]
    pub fn report(&self, title: &str, lines: Vec<String>) -> String {
        drawn(&format!("{title}: photograph and fit"), lines, &self.ready, &self.fit.shots)
    }
}

/// Photographs and what a cloth should do, as an SVG drawing. `lines` stand under the title.
#[must_use]
pub fn drawn(title: &str, lines: Vec<String>, ready: &Ready, fits: &[ShotFit]) -> String {
    let shots: Vec<Reported<'_>> = ready
        .read
        .iter()
        .zip(fits)
        .map(|(read, fit)| Reported {
            name: &read.name,
            photo: &read.photo,
            measured: &read.measured,
            fit,
            stated_gap_mm: read.gap_mm,
            height_mm: read.gap_mm + ready.subject.thickness_mm,
        })
        .collect();
    let notes = vec![
        "Points: means of the photograph over rings around the spot. Lines: the model. Difference: orange where the photograph is \
         brighter, blue where it is darker, white where they agree, grey where nothing was compared."
            .to_owned(),
    ];
    let alt = lines.join(" ");
    report(title, lines, &shots, notes).svg(&alt)
}
