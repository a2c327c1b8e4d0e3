//! `weftlight make`: how to build it.

mod words;

use super::targets::{has_folder_above, read_for, try_target, try_targets, usual_folder};
use super::{Outcome, output};
use crate::build::make::figures::{Figures, preview};
use crate::build::make::tiles::{Drawings, drawings};
use crate::build::make::{Plan, chart::volts_chart, html::html, lists, map, pages::pages, plan};
use crate::diagnose::Diagnostic;
use crate::files;
use crate::paper;
use crate::picture::chart::svgs_to_pdf;
use crate::scene::file::{Resolved, read_with_warnings};
use clap::{Args, ValueEnum};
use std::path::{Path, PathBuf};

/// Write the make sheet: what to cut, solder and sew, drawings to size, power, and the pixel map for programs
///
/// Without --output the files go to renders/SCENE-make/: sheet.html and sheet.pdf with drawings true to size, cut-list.csv,
/// volts.csv (where the scene names a supply), plan.json, and the pixel map as map.csv, map.json and map.h.
#[derive(Debug, Args)]
#[command(after_help = "Example: weftlight make scenes/collar.yaml --last-hours 4 -o collar-make")]
pub(super) struct Arguments {
    /// The scene file
    #[arg(value_name = "SCENE")]
    scene: PathBuf,

    /// The folder for the files; it is made unless it is there
    #[arg(short, long, value_name = "FOLDER")]
    output: Option<PathBuf>,

    /// Paper of the drawings
    #[arg(long, value_name = "PAPER", value_enum, default_value_t = Paper::A4)]
    paper: Paper,

    /// How long the battery is to last, in hours (instead of the scene's)
    #[arg(long, value_name = "HOURS", value_parser = hours, allow_negative_numbers = true)]
    last_hours: Option<f64>,

    /// Also write the cut list as CSV into this file
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,

    /// Also write the pixel map into this file: .csv, .json, or .h for a C header
    #[arg(long, value_name = "FILE")]
    map: Option<PathBuf>,

    /// Print the plan as JSON (its shape: `weftlight check --schema make`)
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Paper {
    /// 210 by 297 mm
    A4,
    /// 8.5 by 11 inch
    Letter,
}

impl From<Paper> for paper::Paper {
    fn from(paper: Paper) -> paper::Paper {
        match paper {
            Paper::A4 => paper::Paper::A4,
            Paper::Letter => paper::Paper::Letter,
        }
    }
}

fn hours(text: &str) -> Result<f64, String> {
    super::numbers::within(text, &crate::build::supply::HOURS)
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    let resolved = read_with_warnings(&arguments.scene)?;
    check_call(arguments, &resolved)?;
    let folder = arguments.output.clone().unwrap_or_else(|| usual_folder(&arguments.scene, "make"));
    if let Some(target) = &arguments.map {
        map_form(target)?;
    }
    let plan = plan(&resolved, arguments.last_hours).map_err(|fault| {
        vec![Diagnostic::of_file(&arguments.scene.display().to_string(), fault.to_string())]
    })?;
    let mut names =
        vec!["sheet.html", "sheet.pdf", "cut-list.csv", "plan.json", "map.csv", "map.json", "map.h"];
    if plan.power.is_some() {
        names.push("volts.csv");
    }
    let targets: Vec<PathBuf> = names.iter().map(|name| folder.join(name)).collect();
    try_places(arguments, &resolved, &folder, &targets)?;
    output::diagnostics(&resolved.warnings);

    let drawn = drawings(&plan, arguments.paper.into());
    let shown = |name: &str| folder.join(name).display().to_string();
    let preview = preview(&resolved.scene, &plan).map_err(|error| {
        vec![Diagnostic::of_file(&shown("sheet.html"), format!("the preview cannot be encoded: {error}"))]
    })?;
    let figures = Figures { chart: volts_chart(&plan), preview: Some(preview) };
    let pdf = svgs_to_pdf(&pages(&plan, &drawn, &figures)).map_err(|error| {
        vec![Diagnostic::of_file(
            &shown("sheet.pdf"),
            format!("the drawings cannot be written as PDF: {error}"),
        )]
    })?;
    let pretty = |value: serde_json::Value| format!("{value:#}\n");
    let mut together: Vec<(&Path, Vec<u8>)> = Vec::new();
    for (name, target) in names.iter().zip(&targets) {
        let bytes = match *name {
            "sheet.html" => html(&plan, &drawn, &figures).into_bytes(),
            "sheet.pdf" => pdf.clone(),
            "cut-list.csv" => lists::cut_list_csv(&plan).into_bytes(),
            "plan.json" => pretty(lists::json(&plan)).into_bytes(),
            "map.csv" => map::csv(&plan).into_bytes(),
            "map.json" => pretty(map::json(&plan)).into_bytes(),
            "map.h" => map::c_header(&plan).into_bytes(),
            _ => lists::volts_csv(&plan).unwrap_or_default().into_bytes(),
        };
        together.push((target, bytes));
    }
    if let Some(target) = &arguments.csv {
        together.push((target, lists::cut_list_csv(&plan).into_bytes()));
    }
    if let Some(target) = &arguments.map {
        together.push((target, map_form(target)?.text(&plan).into_bytes()));
    }
    files::write_together(&together)?;
    let written: Vec<&Path> = together.iter().map(|(target, _)| *target).collect();
    Ok(if arguments.json {
        output::json(&as_json(&plan, &drawn, &written))
    } else {
        let told = output::data(&words::in_words(&plan, &drawn, &written));
        output::next_step(
            "build it",
            &format!("print {} at 100 % and measure its check square", shown("sheet.pdf")),
        );
        told
    })
}

fn as_json(plan: &Plan, drawn: &Drawings, written: &[&Path]) -> serde_json::Value {
    let mut whole = lists::json(plan);
    whole["files"] = output::files(written);
    whole["pages_to_size"] = drawn.tiles.len().into();
    whole["paper"] = drawn.paper.name().into();
    whole
}

/// What the call asks for must have a place in the scene.
fn check_call(arguments: &Arguments, resolved: &Resolved) -> Result<(), Vec<Diagnostic>> {
    let battery = resolved.scene.supply.as_ref().and_then(|supply| supply.battery);
    if arguments.last_hours.is_some() && battery.is_none() {
        let shown = arguments.scene.display().to_string();
        let fault =
            Diagnostic::of_file(&shown, "the scene names no battery, so --last-hours has nothing to say");
        return Err(vec![
            fault.next("Add `battery: {capacity_mah: …}` to `supply:`, or leave --last-hours out."),
        ]);
    }
    Ok(())
}

/// Tries every place before the work; makes the folder.
fn try_places(
    arguments: &Arguments,
    resolved: &Resolved,
    folder: &Path,
    targets: &[PathBuf],
) -> Result<(), Vec<Diagnostic>> {
    let read = read_for(&arguments.scene, resolved);
    let own: Vec<&PathBuf> = arguments.csv.iter().chain(&arguments.map).collect();
    if let Some(target) = own.iter().find(|own| targets.iter().any(|other| files::same_file(other, own))) {
        let fault = Diagnostic::of_file(&target.display().to_string(), "this file would be written twice");
        return Err(vec![fault.next("Give each its own file name.")]);
    }
    try_targets(own, &read)?;
    if arguments.output.is_some() && !folder.exists() {
        has_folder_above(folder)?;
    }
    files::make_folder(folder)?;
    targets.iter().try_for_each(|target| try_target(target, &read))
}

/// In which form a map is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum MapForm {
    Csv,
    Json,
    Header,
}

impl MapForm {
    fn text(self, plan: &Plan) -> String {
        match self {
            MapForm::Csv => map::csv(plan),
            MapForm::Json => format!("{:#}\n", map::json(plan)),
            MapForm::Header => map::c_header(plan),
        }
    }
}

fn map_form(target: &Path) -> Result<MapForm, Vec<Diagnostic>> {
    let ending = target.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    match ending.as_str() {
        "csv" => Ok(MapForm::Csv),
        "json" => Ok(MapForm::Json),
        "h" => Ok(MapForm::Header),
        _ => {
            let fault = Diagnostic::of_file(
                &target.display().to_string(),
                "the ending of this name says no form of a pixel map",
            );
            Err(vec![fault.allowed("names that end in .csv, .json or .h")])
        }
    }
}
