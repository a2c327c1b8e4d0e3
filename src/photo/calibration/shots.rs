//! From the bytes of photographs to what is ready for the fit.

use super::asking::{Asking, exposures_unknown, not_measured};
use super::{Source, Stated, StatedBare};
use crate::diagnose::{Diagnostic, Severity};
use crate::light::Window;
use crate::photo::decode::{Photo, decode_within};
use crate::photo::fit::second::BARE_SURE;
use crate::photo::fit::unknowns::{COLOUR_NAMES, COLOURS};
use crate::photo::fit::{Beforehand, EXPOSURE_SURE, Lit, Shot, Subject, UNKNOWN};
use crate::photo::measure::{Answer, BareLight, Expected, Measured, joined, measure, measure_bare};
use crate::photo::warnings::warnings;
use crate::pixels::package::{Die, DieFacts, Package};
use crate::quantity::Nanometres;

/// A photograph that was read and measured.
#[derive(Debug)]
pub struct Read {
    /// What it is called in messages.
    pub shown_as: String,
    /// Its own name.
    pub name: String,
    /// The photograph.
    pub photo: Photo,
    /// What was measured in it.
    pub measured: Measured,
    /// Stand-off as stated in mm.
    pub gap_mm: f64,
}

/// Everything the fit needs.
#[derive(Debug)]
pub struct Ready {
    /// What the photographs were taken of.
    pub subject: Subject,
    /// The photographs as the fit takes them.
    pub shots: Vec<Shot>,
    /// The photographs themselves, in the same order.
    pub read: Vec<Read>,
    /// Warnings and remarks, in plain words.
    pub remarks: Vec<Diagnostic>,
    /// The camera's answer, where a bare pixel was photographed.
    pub bare: Option<Answer>,
}

/// Reads and measures all photographs.
///
/// # Errors
/// The first that cannot be used: why, and what to do.
pub fn ready(stated: &Stated, source: Source<'_>) -> Result<Ready, Vec<Diagnostic>> {
    let window_mm = window_radius(stated.package.window);
    let mut remarks = Vec::new();
    let read = read_all(stated, source, window_mm, &mut remarks)?;
    let exposures = exposures(stated, &read, &mut remarks);
    let bare = bare(stated, source, &read, exposures.as_deref(), window_mm, &mut remarks)?;
    let shots = read
        .iter()
        .zip(&stated.photos)
        .enumerate()
        .map(|(i, (read, own))| Shot {
            gap_mm: read.gap_mm,
            gap_sure_mm: stated.stand_off_within_mm,
            scale_sure: own.scale.sure(),
            exposure: exposures.as_ref().map_or(1.0, |all| all[i]),
            exposure_sure: if exposures.is_some() { EXPOSURE_SURE } else { UNKNOWN },
            lit: own.lit,
            rings: read.measured.rings.clone(),
            centres_mm: read.measured.centres_mm(),
            half_diagonal_mm: read.measured.half_diagonal_mm,
        })
        .collect();
    let first = exposures.as_ref().map_or(1.0, |all| all[0]);
    let subject = Subject {
        thickness_mm: stated.thickness_mm,
        board_reflectance: stated.board_reflectance,
        beam_power: stated.package.beam_power,
        windows: windows(&stated.package),
        // The fit counts exposures from the first photograph.
        answer: std::array::from_fn(|c| {
            bare.as_ref().and_then(|b| b.channels[c]).map(|(answer, sure)| (answer * first, sure))
        }),
        beforehand: Beforehand::default(),
    };
    remarks.extend(not_alike(stated));
    Ok(Ready { subject, shots, read, remarks: told_once(remarks), bare })
}

/// One file after another, so that only pictures are kept.
fn read_all(
    stated: &Stated,
    source: Source<'_>,
    window_mm: f64,
    remarks: &mut Vec<Diagnostic>,
) -> Result<Vec<Read>, Vec<Diagnostic>> {
    let mut room = stated.most_bytes;
    let mut read = Vec::new();
    for (i, own) in stated.photos.iter().enumerate() {
        let photo = decoded(&own.shown_as, &source(i)?, stated, room)?;
        room = room.saturating_sub(photo.bytes());
        let height_mm = own.gap_mm + stated.thickness_mm;
        let expected = Expected { pixels: stated.pixels, height_mm, window_mm };
        let measured = measure(&photo, own.scale, expected)
            .map_err(|error| vec![not_measured(&own.shown_as, &error, &stated.asking)])?;
        let found = warnings(&photo, &measured.found);
        remarks.extend(found.into_iter().map(|warning| remark(&own.shown_as, warning.words())));
        let (shown_as, name) = (own.shown_as.clone(), own.name.clone());
        read.push(Read { shown_as, name, photo, measured, gap_mm: own.gap_mm });
    }
    Ok(read)
}

fn decoded(shown_as: &str, bytes: &[u8], stated: &Stated, room: usize) -> Result<Photo, Vec<Diagnostic>> {
    decode_within(bytes, stated.tone, room)
        .map_err(|error| vec![Diagnostic::of_file(shown_as, error.to_string())])
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

/// A remark: a warning without a place.
fn remark(about: &str, words: impl Into<String>) -> Diagnostic {
    Diagnostic { severity: Severity::Warning, ..Diagnostic::of_file(about, words) }
}

/// Exposures of the photographs, in one unit; `None` when they are not known.
fn exposures(stated: &Stated, read: &[Read], remarks: &mut Vec<Diagnostic>) -> Option<Vec<f64>> {
    if stated.exposures.is_some() {
        return stated.exposures.clone();
    }
    let told: Option<Vec<f64>> = read.iter().map(|r| r.photo.taken.as_ref().map(|t| t.exposure())).collect();
    if told.is_none() && read.len() > 1 {
        let words = "their exposures are not known, so how much brighter one is than another tells nothing";
        remarks.push(remark("the photos", words).next(stated.asking.exposures));
    }
    told
}

/// The camera's answer from the bare photographs.
fn bare(
    stated: &Stated,
    source: Source<'_>,
    read: &[Read],
    exposures: Option<&[f64]>,
    window_mm: f64,
    remarks: &mut Vec<Diagnostic>,
) -> Result<Option<Answer>, Vec<Diagnostic>> {
    let Some(first) = read.first().filter(|_| !stated.bare.is_empty()) else { return Ok(None) };
    let room = stated.most_bytes.saturating_sub(read.iter().map(|r| r.photo.bytes()).sum());
    let mut lights: Vec<BareLight> = Vec::new();
    for (i, own) in stated.bare.iter().enumerate() {
        let photo = decoded(&own.shown_as, &source(stated.photos.len() + i)?, stated, room)?;
        let exposure = bare_exposure(stated, own, &photo, exposures, remarks)?;
        let (mm_per_px, beam_power) = (first.measured.mm_per_px, stated.package.beam_power);
        let light = measure_bare(&photo, mm_per_px, exposure, beam_power, window_mm)
            .map_err(|error| vec![not_measured(&own.shown_as, &error, &stated.asking)])?;
        lights.push(light);
    }
    let answer = joined(&lights, BARE_SURE);
    remarks.extend(about_answer(&answer, &stated.bare, &stated.asking));
    Ok(Some(answer))
}

/// The exposure of a bare photograph in the unit of the others.
fn bare_exposure(
    stated: &Stated,
    own: &StatedBare,
    photo: &Photo,
    exposures: Option<&[f64]>,
    remarks: &mut Vec<Diagnostic>,
) -> Result<f64, Vec<Diagnostic>> {
    let known = own.exposure.or_else(|| {
        // From the photo's own data only if the other photographs have theirs from there too.
        stated.exposures.is_none().then(|| photo.taken.as_ref().map(|t| t.exposure())).flatten()
    });
    match (known, exposures) {
        (Some(known), Some(_)) => Ok(known),
        (None, Some(all)) => {
            let words = "its exposure is not known and is taken to be that of the first photo";
            remarks.push(remark(&own.shown_as, words));
            Ok(all[0])
        }
        (Some(_), None) => Err(vec![exposures_unknown(&own.shown_as, &stated.asking)]),
        (None, None) => {
            let words = "no exposures are known; it is taken to be exposed like the first photo";
            remarks.push(remark(&own.shown_as, words));
            Ok(1.0)
        }
    }
}

/// What harms the camera's answer.
fn about_answer(answer: &Answer, bare: &[StatedBare], asking: &Asking) -> Vec<Diagnostic> {
    /// Two bare photographs may differ by so much before the camera is called bent.
    const MOST_DISAGREEMENT: f64 = 0.1;
    let names = bare.iter().map(|own| own.shown_as.as_str()).collect::<Vec<_>>().join(", ");
    let unknown = (0..COLOURS).filter(|c| answer.channels[*c].is_none());
    let mut list: Vec<Diagnostic> = unknown
        .map(|c| {
            let name = COLOUR_NAMES[c];
            remark(&names, format!("the bare pixel is too bright or too dark in {name} to be measured"))
                .next(asking.bare_exposure)
        })
        .collect();
    if answer.disagreement > MOST_DISAGREEMENT {
        let words = format!(
            "their light differs by {:.0} % once exposures are taken into account: the camera changes tones or exposures by itself",
            100.0 * answer.disagreement
        );
        list.push(remark("the bare photos", words).next(asking.linear));
    }
    list
}

fn not_alike(stated: &Stated) -> Option<Diagnostic> {
    let white = stated.photos.iter().any(|own| own.lit == Lit::White);
    let alone = stated.photos.iter().any(|own| own.lit != Lit::White);
    let words =
        "some show the pixel white and some in one colour; all are taken at full level of each die lit";
    (white && alone).then(|| remark("the photos", words))
}

fn die(package: &Package, wanted: usize) -> Option<&DieFacts> {
    let wanted = [Die::Red, Die::Green, Die::Blue][wanted];
    package.dies.iter().find(|facts| facts.die == wanted)
}

fn windows(package: &Package) -> [Window; COLOURS] {
    std::array::from_fn(|c| die(package, c).map_or(package.window, |facts| package.glow_source(facts).1))
}

/// Dominant wavelengths of the three dies; where a package lacks one, a common one.
#[must_use]
pub fn wavelengths(package: &Package) -> [Nanometres; COLOURS] {
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
