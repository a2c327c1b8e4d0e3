//! A first scene from a few questions.

use super::asked::Answer;
use crate::cloth::catalogue;
use crate::pixels::package::Package;
use serde_json::{Value, json};

/// What a question may ask for, in mm and pixels; the scene's own limits are wider.
const MOST_MM: f64 = 3000.0;
const MOST_PIXELS: f64 = 5000.0;

/// The text of a scene with comments, for what was answered.
#[must_use]
pub fn starter(question: &Value) -> Answer {
    match written(question) {
        Ok(text) => Answer::json(&json!({"text": text})),
        Err(what) => Answer::problem(what, "Change the answer."),
    }
}

fn written(question: &Value) -> Result<String, String> {
    let number = |key: &str, name: &str, least: f64, most: f64| {
        let value = question[key].as_f64().ok_or_else(|| format!("{name} is missing"))?;
        if (least..=most).contains(&value) {
            Ok(value)
        } else {
            Err(format!("{name} is {value}; it may be {least} to {most}"))
        }
    };
    let word = |key: &str, name: &str| {
        question[key].as_str().map(str::to_owned).ok_or_else(|| format!("{name} is missing"))
    };
    let package = word("package", "the package")?;
    if Package::named(&package).is_none() {
        return Err(format!("there is no package `{package}`"));
    }
    let cloth = word("cloth", "the cloth")?;
    if catalogue::text(&cloth).is_none() {
        return Err(format!("the catalogue has no cloth `{cloth}`"));
    }
    let pitch = number("pitch_mm", "the distance between pixels (mm)", 1.0, 500.0)?;
    let width = number("width_mm", "the width (mm)", 1.0, MOST_MM)?;
    let gap = number("gap_mm", "the gap (mm)", 0.0, 500.0)?;
    let distance = number("distance_m", "the distance from which it is seen (m)", 0.1, 100.0)?;
    let room = number("room_lx", "the light of the room (lx)", 0.0, 20_000.0)?;
    let along = |mm: f64| (mm / pitch).round().max(1.0);
    let form = word("form", "the form")?;
    let (what, group, count) = match form.as_str() {
        "strip" | "string" => {
            let count = along(width) + 1.0;
            let what = if form == "strip" { "A straight strip" } else { "A string of pixels, laid straight" };
            (what, format!("strip: {{package: \"{package}\", pitch_mm: {pitch}, count: {count}}}"), count)
        }
        "ring" => {
            let count = (std::f64::consts::PI * width / pitch).round().max(3.0);
            (
                "A ring",
                format!("ring: {{package: \"{package}\", count: {count}, diameter_mm: {width}}}"),
                count,
            )
        }
        "grid" => {
            let height = number("height_mm", "the height (mm)", 1.0, MOST_MM)?;
            let (columns, rows) = (along(width) + 1.0, along(height) + 1.0);
            let group = format!(
                "grid: {{package: \"{package}\", columns: {columns}, rows: {rows}, pitch_mm: {pitch}, order: zigzag}}"
            );
            ("A grid", group, columns * rows)
        }
        other => return Err(format!("there is no form `{other}`")),
    };
    if count > MOST_PIXELS {
        return Err(format!("that would be {count} pixels; more than {MOST_PIXELS} are not begun with"));
    }
    Ok(format!(
        "# {what}, begun with a few questions. Lengths are in millimetres; what is left out has a sensible default.\n\
         name: My piece\n\
         board: {{reflectance: 0.5}}            # what the pixels sit on: the share of the light that it throws back\n\
         pixels:\n  - {group}\n\
         stack:                              # the cloths, from the pixels outwards\n  - {{gap_mm: {gap}, cloth: {cloth}}}\n\
         light: {{colour: \"#ffd9a0\", level: 0.4}}\n\
         view: {{distance_m: {distance}, room_lx: {room}}}\n"
    ))
}
