//! Files to take away: what the command line writes, from the page's own text.

use super::asked::{Answer, Opened, number, scene};
use super::look::too_large;
use super::turns::Turn;
use crate::build::make::figures::{Figures, preview};
use crate::build::make::tiles::drawings;
use crate::build::make::{chart::volts_chart, html::html, pages::pages, plan};
use crate::client::html::html_for;
use crate::client::motion::of_scene;
use crate::client::pages::pages as client_pages;
use crate::client::{Words, sheet};
use crate::motion::reel::reel;
use crate::paper::Paper;
use crate::photo::decode::{ToneChoice, decode};
use crate::picture::chart::svgs_to_pdf;
use crate::picture::luminance::{frame, luminance_within};
use crate::picture::memory::{MOST_MEMORY, Output};
use crate::picture::on_photo::{MOST_PX, on_photo};
use crate::picture::render;
use crate::scene::file::Resolved;
use serde_json::{Value, json};

/// A file.
///
/// # Errors
/// The answer that says why there is none.
pub fn download(question: &Value, opened: &Opened) -> Result<Answer, Answer> {
    if question["what"].as_str() == Some("file") {
        return beside(question["path"].as_str().unwrap_or(""), opened);
    }
    let resolved = scene(question, opened)?;
    let stem = stem(&resolved.scene.name);
    let (mut answer, ending) = match question["what"].as_str() {
        Some("preview") => (preview_png(&resolved)?, ".png"),
        Some("on-photo") => (photographed(&resolved, opened)?, "-on-photo.png"),
        Some("make") => (make(&resolved, false)?, "-make.html"),
        Some("client-page") => (client(&resolved, false)?, "-sheet.html"),
        Some("client-pdf") => (client(&resolved, true)?, "-sheet.pdf"),
        Some("make-pdf") => (make(&resolved, true)?, "-make.pdf"),
        _ => return Err(Answer::not_understood("the question names no file that can be made")),
    };
    answer.file_name = Some(format!("{stem}{ending}"));
    Ok(answer)
}

/// The picture with its caption.
fn preview_png(resolved: &Resolved) -> Result<Answer, Answer> {
    let scene = &resolved.scene;
    let image = luminance_within(scene, frame(scene), None, Output::Png, MOST_MEMORY)
        .map_err(|fault| too_large(&fault))?;
    render::png(scene, &image, render::exposure(scene, &image))
        .map(|png| Answer::bytes("image/png", png, None))
        .map_err(|fault| Answer::problem(format!("the picture cannot be encoded: {fault}"), ""))
}

/// A drawing or picture that the scene names, as it is.
fn beside(path: &str, opened: &Opened) -> Result<Answer, Answer> {
    let name: String = path.rsplit('/').next().unwrap_or("").chars().filter(|c| *c != '"').collect();
    let bytes = |kind, bytes: &[u8]| Answer::bytes(kind, bytes.to_vec(), None);
    let found =
        opened.drawings.get(path).map(|text| bytes("text/plain; charset=utf-8", text.text.as_bytes()));
    let found = found
        .or_else(|| opened.pictures.get(path).map(|named| bytes("application/octet-stream", &named.bytes)));
    let fault = || Answer::problem("this file is not here", "It lies where you brought it from.");
    let mut answer = found.ok_or_else(fault)?;
    answer.file_name = Some(name);
    Ok(answer)
}

/// The glow on the photograph that the scene names.
fn photographed(resolved: &Resolved, opened: &Opened) -> Result<Answer, Answer> {
    let scene = &resolved.scene;
    let Some(view) = &scene.view.photo else {
        let next = "Mark one under `view: {photo: \u{2026}}` in the file.";
        return Err(Answer::problem("the scene names no photograph", next));
    };
    let Some(named) = opened.pictures.get(&view.file) else {
        let next = "Choose it under \u{201c}Files of this scene\u{201d}.";
        return Err(Answer::problem(format!("the photograph {} is not here yet", view.file), next));
    };
    let photo = decode(&named.bytes, ToneChoice::Auto)
        .map_err(|error| Answer::problem(format!("the photograph {}: {error}", view.file), ""))?;
    let made = on_photo(scene, &photo, view, MOST_PX)
        .map_err(|fault| Answer::problem(fault.to_string(), &fault.next()))?;
    let note = made.report.note(view.file.rsplit('/').next().unwrap_or(&view.file));
    render::png_with(scene, &made.picture, render::exposure(scene, &made.picture), &[note])
        .map(|png| Answer::bytes("image/png", png, None))
        .map_err(|fault| Answer::problem(format!("the picture cannot be encoded: {fault}"), ""))
}

/// The make sheet.
fn make(resolved: &Resolved, as_pdf: bool) -> Result<Answer, Answer> {
    let plan = plan(resolved, None).map_err(|fault| Answer::problem(fault.to_string(), ""))?;
    let drawn = drawings(&plan, Paper::A4);
    let preview = preview(&resolved.scene, &plan)
        .map_err(|fault| Answer::problem(format!("the preview cannot be encoded: {fault}"), ""))?;
    let figures = Figures { chart: volts_chart(&plan), preview: Some(preview) };
    if !as_pdf {
        return Ok(Answer::bytes(
            "text/html; charset=utf-8",
            html(&plan, &drawn, &figures).into_bytes(),
            None,
        ));
    }
    svgs_to_pdf(&pages(&plan, &drawn, &figures))
        .map(|pdf| Answer::bytes("application/pdf", pdf, None))
        .map_err(|fault| Answer::problem(format!("the drawings cannot be written as PDF: {fault}"), ""))
}

/// A file's name from a scene's: letters and digits of ASCII, hyphens for the rest.
fn stem(name: &str) -> String {
    let plain: String = name
        .chars()
        .take(60)
        .map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' })
        .collect();
    let trimmed = plain.trim_matches('-');
    if trimmed.is_empty() { "scene".to_owned() } else { trimmed.to_owned() }
}

/// Longer side of the film in the page, in image pixels.
const FILM_PX: f64 = 640.0;
/// Its frames a second at most.
const FILM_PER_S: f64 = 15.0;

/// The moving picture with what the flash check says of it.
///
/// # Errors
/// The answer that says why there is none.
pub fn motion(question: &Value, opened: &Opened, turn: &Turn) -> Result<Answer, Answer> {
    let mut scene = scene(question, opened)?.scene;
    let wanted = ["width_px", "height_px"].map(|key| number(question, key, 16.0, 1280.0, FILM_PX));
    scene.view.size_px = scene.view.size_within(wanted[0].max(wanted[1]).round() as u32);
    scene.view.photo = None;
    if turn.is_stale() {
        return Err(Answer::stale());
    }
    match reel(&scene, FILM_PER_S) {
        Ok(Some(reel)) => {
            let about = json!({
                "frames": reel.timing.count, "seconds": reel.timing.seconds,
                "flash": {"passes": reel.flash.passed(), "words": reel.flash.words()},
            });
            Ok(Answer::bytes("image/gif", reel.gif, Some(about)))
        }
        Ok(None) => Err(Answer::problem(
            "the scene has no pattern, so nothing moves",
            "Give `light` a `pattern`, such as `pattern: {pulse: {period_s: 4}}`.",
        )),
        Err(fault) => Err(Answer::problem(format!("the film cannot be made: {fault}"), "")),
    }
}

/// The sheet for a client.
fn client(resolved: &Resolved, as_pdf: bool) -> Result<Answer, Answer> {
    let fault = |what: String| Answer::problem(what, "");
    let made = sheet(resolved, Words::default()).map_err(|error| fault(error.to_string()))?;
    let moving = of_scene(&resolved.scene).map_err(|error| fault(error.to_string()))?;
    let made = made.with_motion(moving).map_err(|error| fault(error.to_string()))?;
    if !as_pdf {
        let page = html_for(&made, Paper::A4).into_bytes();
        return Ok(Answer::bytes("text/html; charset=utf-8", page, None));
    }
    svgs_to_pdf(&client_pages(&made, Paper::A4))
        .map(|pdf| Answer::bytes("application/pdf", pdf, None))
        .map_err(|error| fault(format!("the sheet cannot be written as PDF: {error}")))
}
