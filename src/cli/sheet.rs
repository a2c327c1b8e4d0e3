//! `weftlight sheet`: what to send to a client.

use super::targets::{has_folder_above, read_for, try_target, usual_folder};
use super::{Outcome, judged, output};
use crate::build::make::lists::{battery_json, current_json};
use crate::client::html::html_for;
use crate::client::pages::pages;
use crate::client::{NoSheet, Sheet, Words, motion, sheet};
use crate::diagnose::Diagnostic;
use crate::files;
use crate::paper::Paper;
use crate::picture::chart::svgs_to_pdf;
use crate::reading::shape::MOST_TEXT;
use crate::scene::file::{Resolved, read_with_warnings};
use clap::{Args, ValueEnum};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// A date longer than this is no date.
const MOST_DATE: usize = 60;

/// Write a sheet to send to a client before anything is bought: pictures, cloths, figures and how sure they are, as HTML and PDF
///
/// Without --output the files go to renders/SCENE-sheet/. An output that ends in .html or .pdf gets that form alone. Title and
/// note may also stand in the scene, under `sheet:`, with the client's name.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: weftlight sheet scenes/badge.yaml --title \"A badge for the walk\" -o badge.pdf"
)]
pub(super) struct Arguments {
    /// The scene file
    #[arg(value_name = "SCENE")]
    scene: PathBuf,

    /// The folder for both files, or one file that ends in .html or .pdf
    #[arg(short, long, value_name = "FOLDER or FILE")]
    output: Option<PathBuf>,

    /// Heading of the sheet (instead of the scene's)
    #[arg(long, value_name = "TEXT", value_parser = text)]
    title: Option<String>,

    /// A note to the client; every line is a paragraph (instead of the scene's)
    #[arg(long, value_name = "TEXT", value_parser = text)]
    note: Option<String>,

    /// A date to write on the sheet, as it is; without it there is none
    #[arg(long, value_name = "TEXT", value_parser = date)]
    date: Option<String>,

    /// Paper
    #[arg(long, value_name = "PAPER", value_enum, default_value_t = PaperName::A4)]
    paper: PaperName,

    /// Print what stands on the sheet as JSON (its shape: `weftlight check --schema sheet`)
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum PaperName {
    /// 210 by 297 mm
    A4,
    /// 8.5 by 11 inch
    Letter,
}

impl From<PaperName> for Paper {
    fn from(name: PaperName) -> Paper {
        match name {
            PaperName::A4 => Paper::A4,
            PaperName::Letter => Paper::Letter,
        }
    }
}

fn within(text: &str, most: usize) -> Result<String, String> {
    let (trimmed, count) = (text.trim(), text.chars().count());
    match count {
        _ if trimmed.is_empty() => Err("there is nothing in it".to_owned()),
        count if count > most => Err(format!("it has {count} characters; allowed: at most {most}")),
        _ => Ok(trimmed.to_owned()),
    }
}

fn text(text: &str) -> Result<String, String> {
    within(text, MOST_TEXT)
}

fn date(text: &str) -> Result<String, String> {
    within(text, MOST_DATE)
}

/// The forms of a sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    Html,
    Pdf,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    let resolved = read_with_warnings(&arguments.scene)?;
    let targets = targets(arguments)?;
    let read = read_for(&arguments.scene, &resolved);
    targets.iter().try_for_each(|(_, target)| try_target(target, &read))?;
    output::diagnostics(&resolved.warnings);

    let Arguments { title, note, date, .. } = arguments;
    let words = Words { title: title.clone(), note: note.clone(), date: date.clone() };
    let shown = arguments.scene.display().to_string();
    let made = sheet(&resolved, words)
        .map_err(|fault: NoSheet| vec![Diagnostic::of_file(&shown, fault.to_string())])?;
    let moving = motion::of_scene(&resolved.scene).map_err(|fault| fault.to_string());
    let made =
        moving.and_then(|moving| made.with_motion(moving).map_err(|fault| fault.to_string())).map_err(
            |fault| vec![Diagnostic::of_file(&shown, format!("the moving picture cannot be made: {fault}"))],
        )?;
    let paper = arguments.paper.into();
    let bytes: Vec<Vec<u8>> = targets
        .iter()
        .map(|(form, target)| match form {
            Form::Html => Ok(html_for(&made, paper).into_bytes()),
            Form::Pdf => svgs_to_pdf(&pages(&made, paper)).map_err(|error| {
                let shown = target.display().to_string();
                vec![Diagnostic::of_file(&shown, format!("the sheet cannot be written as PDF: {error}"))]
            }),
        })
        .collect::<Result<_, _>>()?;
    let written: Vec<&Path> = targets.iter().map(|(_, target)| target.as_path()).collect();
    let together: Vec<_> = written.iter().zip(&bytes).collect();
    files::write_together(&together)?;
    Ok(if arguments.json {
        output::json(&as_json(&made, &resolved, &written))
    } else {
        output::data(&in_words(&made, &written))
    })
}

/// What is written, and where. A folder is made unless it is there.
fn targets(arguments: &Arguments) -> Result<Vec<(Form, PathBuf)>, Vec<Diagnostic>> {
    let stem = arguments.scene.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let folder = match &arguments.output {
        None => usual_folder(&arguments.scene, "sheet"),
        Some(output) => {
            let ending = output.extension().unwrap_or_default().to_string_lossy().to_lowercase();
            match ending.as_str() {
                _ if output.is_dir() => {}
                "html" | "htm" => return Ok(vec![(Form::Html, output.clone())]),
                "pdf" => return Ok(vec![(Form::Pdf, output.clone())]),
                "" => {}
                _ => {
                    let fault = Diagnostic::of_file(
                        &output.display().to_string(),
                        "the ending of this name says no form of a sheet",
                    );
                    return Err(vec![fault.allowed("a folder, or a name that ends in .html or .pdf")]);
                }
            }
            has_folder_above(output)?;
            output.clone()
        }
    };
    files::make_folder(&folder)?;
    let file = |ending: &str| folder.join(format!("{stem}-sheet.{ending}"));
    Ok(vec![(Form::Html, file("html")), (Form::Pdf, file("pdf"))])
}

fn in_words(sheet: &Sheet, written: &[&Path]) -> String {
    let names: Vec<String> = written.iter().map(|path| path.display().to_string()).collect();
    let mut lines = vec![format!("{}: {}", sheet.title, crate::client::sections::deck(sheet))];
    lines.extend(
        sheet.lights.iter().map(|light| {
            format!("{}, {} lx: {}; {}.", light.name, light.room_lx, light.look, light.in_words())
        }),
    );
    lines.push(
        "Read it through before you send it: what is on it is an estimate, and your own words are yours."
            .to_owned(),
    );
    lines.push(format!("Wrote {}.", names.join(" and ")));
    lines.join("\n").replace('\u{a0}', " ")
}

fn as_json(sheet: &Sheet, resolved: &Resolved, written: &[&Path]) -> Value {
    let (low, high) = resolved.scene.extent();
    let lights = sheet.lights.iter().map(|light| {
        json!({
            "name": light.name, "room_lx": light.room_lx, "look": light.look,
            "contrast_with_room": light.contrast.map(|range| range.data("1")),
        })
    });
    let distances = [&sheet.views.near, &sheet.views.far]
        .map(|seen| json!({ "distance_m": seen.distance_m, "look": seen.look }));
    json!({
        "files": output::files(written),
        "scene": resolved.scene.name,
        "title": sheet.title, "note": sheet.note, "client": sheet.client, "date": sheet.date,
        "pixels": sheet.scene.pixels.len(),
        "size_mm": [(high[0] - low[0]).0, (high[1] - low[1]).0],
        "thickness_mm": sheet.plan.thickness_mm,
        "cloths": sheet.cloths.iter().map(|cloth| json!({
            "title": cloth.title, "thickness_mm": cloth.thickness_mm, "areal_mass_g_m2": cloth.areal_mass_g_m2, "mass_g": cloth.mass_g,
            "unlit": crate::client::sections::hex(cloth.unlit),
            "lit": cloth.lit.iter().map(|colour| crate::client::sections::hex(*colour)).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "current": current_json(&sheet.plan.draw),
        "battery_h": sheet.plan.power.as_ref().and_then(battery_json),
        "lights": lights.collect::<Vec<_>>(),
        "lights_exposure_ev_iso_100": sheet.lights_exposure.0,
        "exposure_ev_iso_100": sheet.views.exposure.0,
        "distances": distances,
        "looks_from": sheet.zones.iter().map(|zone| json!({ "from_m": zone.from_m, "to_m": zone.to_m, "look": zone.look })).collect::<Vec<_>>(),
        "numbers": judged::as_json(&sheet.judged),
    })
}
