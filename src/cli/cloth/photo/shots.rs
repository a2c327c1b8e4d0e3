//! From the files on the command line to measured photographs, ready for the fit.

use super::options::{Mismatch, Taking};
use crate::diagnose::{Diagnostic, Severity};
use crate::files;
use crate::light::Window;
use crate::photo::decode::{MOST_MEMORY, Photo, ToneChoice, decode};
use crate::photo::find::FindError;
use crate::photo::fit::second::BARE_SURE;
use crate::photo::fit::unknowns::{COLOUR_NAMES, COLOURS};
use crate::photo::fit::{Beforehand, EXPOSURE_SURE, Lit, Shot, Subject, UNKNOWN};
use crate::photo::measure::{
    Answer, BareLight, Expected, MeasureError, Measured, joined, measure, measure_bare,
};
use crate::photo::warnings::warnings;
use crate::pixels::package::{Die, Package};
use crate::quantity::Nanometres;
use std::path::{Path, PathBuf};

/// A photograph that was read and measured.
#[derive(Debug)]
pub(super) struct Read {
    pub(super) path: PathBuf,
    pub(super) photo: Photo,
    pub(super) measured: Measured,
    pub(super) gap_mm: f64,
}

/// Everything the fit needs.
#[derive(Debug)]
pub(super) struct Ready {
    pub(super) subject: Subject,
    pub(super) shots: Vec<Shot>,
    pub(super) read: Vec<Read>,
    /// Warnings and remarks, in plain words.
    pub(super) remarks: Vec<Diagnostic>,
    pub(super) bare: Option<Answer>,
}

/// Reads and measures all photographs.
pub(super) fn ready(
    taking: &Taking,
    photos: &[PathBuf],
    thickness_mm: f64,
) -> Result<Ready, Vec<Diagnostic>> {
    let count = photos.len();
    let gaps = Taking::each("--stand-off-mm", &taking.stand_off_mm, count).map_err(|m| m.told(count))?;
    let lit = Taking::each("--lit", &taking.lit, count).map_err(|m| m.told(count))?;
    let scales = taking.scales(count).map_err(|m| m.told(count))?.ok_or_else(no_scale)?;
    let tone = if taking.linear { ToneChoice::Linear } else { ToneChoice::Auto };
    let window_mm = window_radius(taking.package.window);
    let mut remarks = Vec::new();
    let mut read = Vec::new();
    for (i, path) in photos.iter().enumerate() {
        let photo = read_photo(path, tone)?;
        let expected = Expected { pixels: taking.pixels, height_mm: gaps[i] + thickness_mm, window_mm };
        let measured =
            measure(&photo, scales[i], expected).map_err(|error| vec![not_measured(path, &error)])?;
        remarks.extend(warnings(&photo, &measured.found).into_iter().map(|w| remark(path, &w.words())));
        read.push(Read { path: path.clone(), photo, measured, gap_mm: gaps[i] });
    }
    let exposures = exposures(taking, &read, &mut remarks)?;
    let bare = bare(taking, tone, &read, exposures.as_deref(), window_mm, &mut remarks)?;
    let shots = read
        .iter()
        .enumerate()
        .map(|(i, read)| Shot {
            gap_mm: read.gap_mm,
            gap_sure_mm: taking.stand_off_within_mm,
            scale_sure: scales[i].sure(),
            exposure: exposures.as_ref().map_or(1.0, |all| all[i]),
            exposure_sure: if exposures.is_some() { EXPOSURE_SURE } else { UNKNOWN },
            lit: lit[i],
            rings: read.measured.rings.clone(),
            centres_mm: read.measured.centres_mm(),
            half_diagonal_mm: read.measured.half_diagonal_mm,
        })
        .collect();
    let first = exposures.as_ref().map_or(1.0, |all| all[0]);
    let subject = Subject {
        thickness_mm,
        board_reflectance: taking.board_reflectance,
        beam_power: taking.package.beam_power,
        windows: windows(&taking.package),
        // The fit counts exposures from the first photograph.
        answer: std::array::from_fn(|c| {
            bare.as_ref().and_then(|b| b.channels[c]).map(|(answer, sure)| (answer * first, sure))
        }),
        beforehand: Beforehand::default(),
    };
    remarks.extend(not_alike(&lit));
    Ok(Ready { subject, shots, read, remarks: told_once(remarks), bare })
}

/// What is said of several photographs in the same words is said once, with all their names.
fn told_once(remarks: Vec<Diagnostic>) -> Vec<Diagnostic> {
    let mut once: Vec<Diagnostic> = Vec::new();
    for remark in remarks {
        match once.iter_mut().find(|other| other.what == remark.what && other.next == remark.next) {
            Some(other) => other.file = format!("{}, {}", other.file, remark.file),
            None => once.push(remark),
        }
    }
    once
}

impl Mismatch {
    fn told(&self, photos: usize) -> Vec<Diagnostic> {
        let values = if self.given == 1 { "value" } else { "values" };
        vec![
            Diagnostic::of_file(
                self.option,
                format!("{} has {} {values} for {photos} photos", self.option, self.given),
            )
            .allowed("one value for all, or one for each photo in their order"),
        ]
    }
}

fn no_scale() -> Vec<Diagnostic> {
    vec![
        Diagnostic::of_file("the scale", "how large things are in the photo is not known")
            .next("Say --mm-per-px, or two points and their distance (--scale-from x1,y1,x2,y2 --scale-mm 50), or, with several \
                   lit pixels, --pitch-mm."),
    ]
}

fn read_photo(path: &Path, tone: ToneChoice) -> Result<Photo, Vec<Diagnostic>> {
    let bytes = files::read_bytes(path, MOST_MEMORY as u64)?;
    decode(&bytes, tone)
        .map_err(|error| vec![Diagnostic::of_file(&path.display().to_string(), error.to_string())])
}

/// A remark about a photograph: a warning without a place.
fn remark(path: &Path, words: &str) -> Diagnostic {
    Diagnostic { severity: Severity::Warning, ..Diagnostic::of_file(&path.display().to_string(), words) }
}

fn not_measured(path: &Path, error: &MeasureError) -> Diagnostic {
    let fault = Diagnostic::of_file(&path.display().to_string(), error.to_string());
    match error {
        MeasureError::Find(FindError::Washed { .. }) => {
            fault.next("Photograph again with a shorter exposure, in a dark room.")
        }
        MeasureError::Find(_) => {
            fault.next("Photograph one lit pixel behind the cloth in a dark room, with the spot in the middle of the picture.")
        }
        MeasureError::Count { places_px, .. } => {
            let places: Vec<String> =
                places_px.iter().take(6).map(|p| format!("({:.0}, {:.0})", p[0], p[1])).collect();
            let what = format!("{error}, at {} px from the upper left corner", places.join(", "));
            Diagnostic { what, ..fault }.next("Cover the other lights or cut them off the picture; or, if they are lit pixels of the same level, say how many: \
                       --pixels, or their --pitch-mm.")
        }
        MeasureError::OneForPitch => fault.next("Say the scale with --mm-per-px or --scale-from instead."),
        MeasureError::Points { .. } => {
            fault.allowed("at least 20 pixels").next("Mark two places that are far apart on the ruler.")
        }
        MeasureError::Outside { .. } => {
            fault.next("Count pixels in the upright picture, as a viewer shows it, from its upper left corner.")
        }
        MeasureError::Size { .. } => fault.next("Check the scale and the stand-off."),
        MeasureError::BareNotSeen => {
            fault.next(
                "Expose so that the bare pixel is bright but not white, and the rest of the picture dark: at about a hundredth of the \
                 exposure with cloth.",
            )
        }
        MeasureError::CutOff => fault.next("Photograph again with room around the pixel."),
    }
}

/// Exposures of the photographs, in one unit; `None` when they are not known.
fn exposures(
    taking: &Taking,
    read: &[Read],
    remarks: &mut Vec<Diagnostic>,
) -> Result<Option<Vec<f64>>, Vec<Diagnostic>> {
    if !taking.exposure.is_empty() {
        return Taking::each("--exposure", &taking.exposure, read.len())
            .map(Some)
            .map_err(|m| m.told(read.len()));
    }
    let told: Option<Vec<f64>> = read.iter().map(|r| r.photo.taken.as_ref().map(|t| t.exposure())).collect();
    if told.is_none() && read.len() > 1 {
        remarks.push(Diagnostic {
            severity: Severity::Warning,
            ..Diagnostic::of_file(
                "the photos",
                "their exposures are not known, so how much brighter one is than another tells nothing",
            )
            .next("Say --exposure 1/30,1/30 or the like, if you know them.")
        });
    }
    Ok(told)
}

/// The camera's answer from the bare photographs.
fn bare(
    taking: &Taking,
    tone: ToneChoice,
    read: &[Read],
    exposures: Option<&[f64]>,
    window_mm: f64,
    remarks: &mut Vec<Diagnostic>,
) -> Result<Option<Answer>, Vec<Diagnostic>> {
    let count = taking.bare.len();
    if count == 0 {
        return Ok(None);
    }
    let given = match taking.bare_exposure.as_slice() {
        [] => None,
        some => Some(Taking::each("--bare-exposure", some, count).map_err(|m| m.told(count))?),
    };
    let mut lights: Vec<BareLight> = Vec::new();
    for (i, path) in taking.bare.iter().enumerate() {
        let photo = read_photo(path, tone)?;
        let own = given.as_ref().map(|all| all[i]).or_else(|| {
            // From the photo's own data only if the other photographs have theirs from there too.
            taking.exposure.is_empty().then(|| photo.taken.as_ref().map(|t| t.exposure())).flatten()
        });
        let exposure = match (own, exposures) {
            (Some(own), Some(_)) => own,
            (None, Some(all)) => {
                remarks.push(remark(
                    path,
                    "its exposure is not known and is taken to be that of the first photo",
                ));
                all[0]
            }
            (Some(_), None) => {
                return Err(vec![
                    Diagnostic::of_file(
                        &path.display().to_string(),
                        "its exposure is known, but not that of the photo with cloth",
                    )
                    .next("Say both: --exposure 1/30 --bare-exposure 1/2000."),
                ]);
            }
            (None, None) => {
                remarks.push(remark(
                    path,
                    "no exposures are known; it is taken to be exposed like the first photo",
                ));
                1.0
            }
        };
        let mm_per_px = read[0].measured.mm_per_px;
        let light = measure_bare(&photo, mm_per_px, exposure, taking.package.beam_power, window_mm)
            .map_err(|error| vec![not_measured(path, &error)])?;
        lights.push(light);
    }
    let answer = joined(&lights, BARE_SURE);
    for c in (0..COLOURS).filter(|c| answer.channels[*c].is_none()) {
        let bare = taking.bare.iter().map(|p| p.display().to_string()).collect::<Vec<_>>().join(", ");
        remarks.push(Diagnostic {
            severity: Severity::Warning,
            ..Diagnostic::of_file(&bare, format!("the bare pixel is too bright or too dark in {} to be measured", COLOUR_NAMES[c]))
                .next("Add a bare photo with a shorter exposure, about a hundredth of that with cloth, and say --bare-exposure.")
        });
    }
    /// Two bare photographs may differ by so much before the camera is called bent.
    const MOST_DISAGREEMENT: f64 = 0.1;
    if answer.disagreement > MOST_DISAGREEMENT {
        remarks.push(Diagnostic {
            severity: Severity::Warning,
            ..Diagnostic::of_file(
                "the bare photos",
                format!(
                    "their light differs by {:.0} % once exposures are taken into account: the camera changes tones or exposures by itself",
                    100.0 * answer.disagreement
                ),
            )
            .next("Use raw files developed without a tone curve and --linear, or lock exposure, focus and HDR.")
        });
    }
    Ok(Some(answer))
}

fn not_alike(lit: &[Lit]) -> Option<Diagnostic> {
    let white = lit.contains(&Lit::White);
    let alone = lit.iter().any(|l| *l != Lit::White);
    (white && alone).then(|| Diagnostic {
        severity: Severity::Warning,
        ..Diagnostic::of_file(
            "the photos",
            "some show the pixel white and some in one colour; all are taken at full level of each die lit",
        )
    })
}

fn die(package: &Package, wanted: usize) -> Option<&crate::pixels::package::DieFacts> {
    let wanted = [Die::Red, Die::Green, Die::Blue][wanted];
    package.dies.iter().find(|facts| facts.die == wanted)
}

fn windows(package: &Package) -> [Window; COLOURS] {
    std::array::from_fn(|c| die(package, c).map_or(package.window, |facts| package.glow_source(facts).1))
}

/// Dominant wavelengths of the three dies; where a package lacks one, a common one.
pub(super) fn wavelengths(package: &Package) -> [Nanometres; COLOURS] {
    const COMMON: [f64; COLOURS] = [622.0, 525.0, 467.0];
    std::array::from_fn(|c| die(package, c).map_or(Nanometres(COMMON[c]), |facts| facts.dominant))
}

/// Radius of the circle around a window in mm.
fn window_radius(window: Window) -> f64 {
    match window {
        Window::Point => 0.0,
        Window::Disc { diameter } => 0.5 * diameter.0,
        Window::Square { side } => side.0 / std::f64::consts::SQRT_2,
    }
}
