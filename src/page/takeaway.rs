//! Files to take away: what the command line writes, from the page's own text.

use super::asked::{Answer, Opened, scene};
use crate::build::make::figures::{Figures, preview};
use crate::build::make::tiles::{Paper, drawings};
use crate::build::make::{chart::volts_chart, html::html, pages::pages, plan};
use crate::picture::chart::svgs_to_pdf;
use crate::picture::luminance::luminance;
use crate::picture::render;
use crate::scene::file::Resolved;
use serde_json::Value;

/// A file.
#[must_use]
pub fn download(question: &Value, opened: &Opened) -> Answer {
    let resolved = match scene(question, opened) {
        Ok(resolved) => resolved,
        Err(answer) => return answer,
    };
    let stem = stem(&resolved.scene.name);
    let named = |mut answer: Answer, ending: &str| {
        answer.file_name = Some(format!("{stem}{ending}"));
        answer
    };
    match question["what"].as_str() {
        Some("preview") => {
            let image = luminance(&resolved.scene);
            match render::png(&resolved.scene, &image, render::exposure(&resolved.scene, &image)) {
                Ok(png) => named(Answer::bytes("image/png", png, None), ".png"),
                Err(fault) => Answer::problem(format!("the picture cannot be encoded: {fault}"), ""),
            }
        }
        Some("make") => make(&resolved, false).map_or_else(|e| e, |a| named(a, "-make.html")),
        Some("make-pdf") => make(&resolved, true).map_or_else(|e| e, |a| named(a, "-make.pdf")),
        _ => Answer::not_understood("the question names no file that can be made"),
    }
}

/// The make sheet.
fn make(resolved: &Resolved, as_pdf: bool) -> Result<Answer, Answer> {
    let plan = plan(resolved, None).map_err(|fault| Answer::problem(fault.to_string(), ""))?;
    let drawn = drawings(&plan, Paper::A4);
    let preview = preview(&resolved.scene, &plan)
        .map_err(|fault| Answer::problem(format!("the preview cannot be encoded: {fault}"), ""))?;
    let figures = Figures { chart: volts_chart(&plan), preview: Some(preview) };
    if !as_pdf {
        return Ok(Answer::bytes("text/html; charset=utf-8", html(&plan, &drawn, &figures).into_bytes(), None));
    }
    svgs_to_pdf(&pages(&plan, &drawn, &figures))
        .map(|pdf| Answer::bytes("application/pdf", pdf, None))
        .map_err(|fault| Answer::problem(format!("the drawings cannot be written as PDF: {fault}"), ""))
}

/// A file's name from a scene's: letters and digits of ASCII, hyphens for the rest.
fn stem(name: &str) -> String {
    let plain: String =
        name.chars().take(60).map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect();
    let trimmed = plain.trim_matches('-');
    if trimmed.is_empty() { "scene".to_owned() } else { trimmed.to_owned() }
}
