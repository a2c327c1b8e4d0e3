//! A cloth from photographs: the form of the page, answered by the pipeline of the command line ([`crate::photo::calibration`]).
//!
//! What is sent is bounded before anything is decoded: the number of photographs here, their sizes by what their headers tell
//! ([`crate::photo::decode::decode_within`]), all of them together by [`MOST_PICTURE_BYTES`].

use super::asked::Answer;
use super::shelf::{self, Shelf};
use crate::cloth::shape::{SHARE, THICKNESS_MM};
use crate::diagnose::{Diagnostic, shortened};
use crate::paper::data_address;
use crate::photo::calibration::asking::{Asking, no_scale};
use crate::photo::calibration::{
    BOARD_REFLECTANCE, Calibrated, EXPOSURE, Naming, PACKAGE, PLACE_PX, SCALE_MM, STAND_OFF_WITHIN_MM,
    Stated, StatedBare, StatedPhoto, calibrate,
};
use crate::photo::decode::ToneChoice;
use crate::photo::fit::Lit;
use crate::photo::measure::Scale;
use crate::picture::chart::{CLEAR_PNG, svg_to_png};
use crate::pixels::package::Package;
use crate::reading::Limits;
use crate::scene::shape::GAP_MM;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};

/// Photographs of one cloth. Three tell nearly all; more than eight only make the report too tall to be drawn.
pub const MOST_PHOTOS: usize = 8;
/// Bytes that all decoded pictures together may take: eight of 20 million pixels, or three of 50.
pub const MOST_PICTURE_BYTES: usize = 512 << 20;
/// What `shows` says of a photograph of the bare pixel.
const BARE: &str = "bare";

/// Advice in fields of the form.
const FORM: Asking = Asking {
    scale: "Mark the two ends of something of known length, and say how long it is.",
    count: "Cover the other lights or cut them off the picture: the page takes one lit pixel. Several of the same level are taken by \
            `weftlight cloth calibrate`.",
    other_scale: "Mark the two ends of something of known length instead.",
    exposures: "Say their exposure times, if you know them.",
    both_exposures: "Say the exposure times of all photographs.",
    bare_exposure: "Add a photograph of the bare pixel with a shorter exposure, about a hundredth of that with cloth, and say the exposure \
                    times of all.",
    linear: "Use raw files developed without a tone curve and say that they are proportional to light, or lock exposure, focus and HDR.",
    bare: "",
};

/// A cloth from photographs, put on the shelf.
#[must_use]
pub fn photo(question: &Value, shelf: &Shelf) -> Answer {
    let title = shelf::title(question);
    let name = shelf::short_name(&title);
    let made = stated(question).and_then(|(stated, texts)| {
        let source = |i: usize| bytes(&texts[i]);
        calibrate(&stated, Naming { name: &name, title: &title, areal_mass_g_m2: None }, &source)
    });
    match made.and_then(|made| answer(&made, &name, &title, shelf)) {
        Ok(answer) => answer,
        Err(problems) => Answer::problems("", &problems),
    }
}

fn answer(made: &Calibrated, name: &str, title: &str, shelf: &Shelf) -> Result<Answer, Vec<Diagnostic>> {
    // The words stand beside the drawing.
    let png = svg_to_png(&made.report(title, Vec::new()), CLEAR_PNG).map_err(|error| {
        vec![Diagnostic::of_file("the photographs", format!("the chart cannot be drawn: {error}"))]
    })?;
    let remarks: Vec<String> = made.ready.remarks.iter().map(sentence).collect();
    shelf::put_on(shelf, made.text.clone(), "the cloth found")?;
    Ok(Answer::json(&json!({
        "name": name, "text": made.text, "words": made.words(&FORM), "remarks": remarks,
        "value": shelf::in_place(&made.text), "report": data_address("image/png", &png),
    })))
}

/// A remark as a sentence.
fn sentence(remark: &Diagnostic) -> String {
    let next = remark.next.as_ref().map_or(String::new(), |next| format!(" {next}"));
    format!("{}: {}.{next}", remark.file, remark.what.trim_end_matches('.'))
}

/// A photograph as it was sent.
#[derive(Clone, Copy, Debug)]
struct Sent<'a> {
    name: &'a str,
    base64: &'a str,
}

fn bytes(sent: &Sent<'_>) -> Result<Vec<u8>, Vec<Diagnostic>> {
    STANDARD.decode(sent.base64).map_err(|error| {
        let what = format!("the photograph did not arrive whole: it is no base64 ({error})");
        vec![Diagnostic::of_file(sent.name, what).next("Choose it again, and ask once more.")]
    })
}

/// What the form states, and the photographs in the order in which the pipeline asks for them.
///
/// All that is missing is told at once.
fn stated(question: &Value) -> Result<(Stated, Vec<Sent<'_>>), Vec<Diagnostic>> {
    let all = question["photos"].as_array().map_or(&[] as &[Value], Vec::as_slice);
    let (bare, behind): (Vec<&Value>, Vec<&Value>) = all.iter().partition(|photo| photo["shows"] == BARE);
    if behind.is_empty() || all.len() > MOST_PHOTOS {
        let what = match (all.len(), behind.len()) {
            (0, _) => "no photograph was chosen".to_owned(),
            (_, 0) => "no photograph shows a lit pixel behind the cloth".to_owned(),
            (count, _) => format!("{count} photographs were chosen"),
        };
        let fault = Diagnostic::of_file("the photographs", what);
        return Err(vec![fault.allowed(format!("1 to {MOST_PHOTOS} photographs"))]);
    }
    let mut faults = Faults::default();
    let scale = faults.take(scale(question), Scale::MmPerPx(1.0));
    let thickness_mm = faults.number(question, "thickness_mm", "the cloth", "thickness", &THICKNESS_MM);
    let photos = behind.iter().map(|photo| behind_cloth(photo, scale, &mut faults)).collect();
    let exposures = exposures(&behind, &bare, &mut faults);
    let sent: Vec<Sent<'_>> = behind.iter().chain(&bare).map(|photo| sent(photo)).collect();
    let of_bare = |(i, photo): (usize, &Sent<'_>)| StatedBare {
        shown_as: photo.name.to_owned(),
        exposure: exposures.as_ref().map(|all| all[behind.len() + i]),
    };
    let stated = Stated {
        photos,
        bare: sent[behind.len()..].iter().enumerate().map(of_bare).collect(),
        exposures: exposures.as_ref().map(|all| all[..behind.len()].to_vec()),
        thickness_mm,
        stand_off_within_mm: STAND_OFF_WITHIN_MM,
        pixels: None,
        package: faults.take(package(question), Package::ideal(1.0)),
        board_reflectance: if question["board_reflectance"].is_null() {
            BOARD_REFLECTANCE
        } else {
            faults.number(question, "board_reflectance", "the board", "share of light sent back", &SHARE)
        },
        tone: if question["linear"] == true { ToneChoice::Linear } else { ToneChoice::Auto },
        most_bytes: MOST_PICTURE_BYTES,
        asking: FORM,
    };
    faults.none().map(|()| (stated, sent))
}

fn sent(photo: &Value) -> Sent<'_> {
    Sent { name: name(photo), base64: photo["base64"].as_str().unwrap_or("") }
}

/// The name of a photograph; long ones are cut.
fn name(photo: &Value) -> &str {
    /// As long as file systems take.
    const MOST_CHARS: usize = 255;
    let name = photo["name"].as_str().map(str::trim).filter(|name| !name.is_empty()).unwrap_or("photograph");
    name.char_indices().nth(MOST_CHARS).map_or(name, |(end, _)| &name[..end])
}

fn behind_cloth(photo: &Value, scale: Scale, faults: &mut Faults) -> StatedPhoto {
    let own = name(photo);
    let lit = match photo["shows"].as_str() {
        None => Ok(Lit::White),
        Some(word) => Lit::named(word).ok_or_else(|| {
            let what = format!("`{}` is nothing that a photograph shows", shortened(word));
            Box::new(Diagnostic::of_file(own, what).allowed(format!("white, red, green, blue, {BARE}")))
        }),
    };
    StatedPhoto {
        shown_as: own.to_owned(),
        name: own.to_owned(),
        gap_mm: faults.number(photo, "stand_off_mm", own, "stand-off", &GAP_MM),
        scale,
        lit: faults.take(lit, Lit::White),
    }
}

/// Exposure times of all photographs in their order; `None` where none is told, so that the files' own data count.
fn exposures(behind: &[&Value], bare: &[&Value], faults: &mut Faults) -> Option<Vec<f64>> {
    let all = || behind.iter().chain(bare);
    if all().all(|photo| photo["exposure_s"].is_null()) {
        return None;
    }
    let mut time = |photo: &&Value| {
        if photo["exposure_s"].is_null() {
            let what = "its exposure time is missing, while that of another is told";
            faults.all.push(Diagnostic::of_file(name(photo), what).next(
                "Say the exposure times of all photographs, or of none: then those in the files count.",
            ));
            return 1.0;
        }
        faults.number(photo, "exposure_s", name(photo), "exposure time", &EXPOSURE)
    };
    Some(all().map(&mut time).collect())
}

fn scale(question: &Value) -> Result<Scale, Box<Diagnostic>> {
    if question["scale_from"].is_null() || question["scale_mm"].is_null() {
        return Err(Box::new(no_scale(&FORM)));
    }
    let places: Option<Vec<f64>> = question["scale_from"]
        .as_array()
        .and_then(|list| list.iter().map(|v| v.as_f64().filter(|v| PLACE_PX.contain(*v))).collect());
    let Some([x0, y0, x1, y1]) = places.and_then(|places| <[f64; 4]>::try_from(places).ok()) else {
        let fault = Diagnostic::of_file("the scale", "the ends of the known length are not two places");
        let fault = fault.allowed(format!("x and y of each, {}", PLACE_PX.in_words()));
        return Err(Box::new(fault.next(FORM.scale)));
    };
    let mm = number(question, "scale_mm", "the scale", "known length", &SCALE_MM)?;
    Ok(Scale::Points { from: [x0, y0], to: [x1, y1], mm })
}

fn package(question: &Value) -> Result<Package, Box<Diagnostic>> {
    let name = question["package"].as_str().unwrap_or(PACKAGE);
    Package::named(name).ok_or_else(|| {
        let fault = Diagnostic::of_file("the pixel", "this package is not known");
        Box::new(fault.allowed(Package::names().join(", ")))
    })
}

/// A number of the form within limits.
fn number(of: &Value, key: &str, whose: &str, what: &str, limits: &Limits) -> Result<f64, Box<Diagnostic>> {
    let words = match of[key].as_f64() {
        Some(value) if limits.contain(value) => return Ok(value),
        Some(value) => format!("{value} is no {what}"),
        None => format!("the {what} is missing"),
    };
    Err(Box::new(Diagnostic::of_file(whose, words).allowed(limits.in_words())))
}

/// What is wrong with the form, all of it.
#[derive(Debug, Default)]
struct Faults {
    all: Vec<Diagnostic>,
}

impl Faults {
    /// The value, or one to go on with.
    fn take<T>(&mut self, value: Result<T, Box<Diagnostic>>, otherwise: T) -> T {
        value.unwrap_or_else(|fault| {
            self.all.push(*fault);
            otherwise
        })
    }

    fn number(&mut self, of: &Value, key: &str, whose: &str, what: &str, limits: &Limits) -> f64 {
        self.take(number(of, key, whose, what, limits), 1.0)
    }

    fn none(self) -> Result<(), Vec<Diagnostic>> {
        if self.all.is_empty() { Ok(()) } else { Err(self.all) }
    }
}
