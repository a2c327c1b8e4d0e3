//! `weftlight cloth`: what is this cloth, optically?

mod estimate;
mod photo;

use super::check::{cloth_as_json, mm};
use super::cloths::{find, whole_catalogue};
use super::{Outcome, output, preview, targets};
use crate::cloth::catalogue::Reference;
use crate::cloth::diffuse::{through_with_range, totals};
use crate::cloth::{Basis, Cloth};
use crate::diagnose::Diagnostic;
use crate::files;
use crate::judge::numbers::Range;
use crate::picture::luminance::{LuminanceImage, luminance};
use crate::picture::render;
use crate::quantity::{Millimetres, Nanometres};
use crate::scene::Scene;
use crate::words::{LEAST_SHARE, percent, three_digits};
use clap::{Args, Subcommand};
use serde_json::json;
use std::path::{Path, PathBuf};

/// Wavelengths at which the table gives numbers: the dominant ones of common blue, green and red dies.
const COLOURS: [(&str, f64); 3] = [("blue", 467.0), ("green", 525.0), ("red", 622.0)];
/// Stand-off of the small picture.
const STAND_OFF_MM: f64 = 6.0;
/// Side of the small picture in image pixels, and what it shows in mm.
const SIDE_PX: u32 = 480;
const SIDE_MM: f64 = 60.0;

/// List the cloths that come with the program, show what one is optically, or find one from its label or from photos
#[derive(Debug, Args)]
#[command(after_help = "Example: weftlight cloth list")]
pub(super) struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// List the cloths of the catalogue with the numbers that decide
    #[command(after_help = "Example: weftlight cloth list --json")]
    List {
        /// Print JSON (its shape: `weftlight check --schema cloth-list`)
        #[arg(long)]
        json: bool,
    },
    /// Show one cloth: its numbers, and a small picture of one pixel behind it
    #[command(after_help = "Example: weftlight cloth show fleece -o fleece.png")]
    Show {
        /// A name of the catalogue, or a cloth file ending in .yaml
        #[arg(value_name = "NAME")]
        name: String,
        /// The picture to write (otherwise renders/cloth-NAME.png)
        #[arg(short, long, value_name = "FILE")]
        output: Option<PathBuf>,
        /// Print JSON (its shape: `weftlight check --schema cloth-show`)
        #[arg(long)]
        json: bool,
    },
    // Its many options are kept elsewhere, so that the others stay small.
    Estimate(Box<estimate::Arguments>),
    Calibrate(Box<photo::CalibrateArguments>),
    ComparePhoto(Box<photo::CompareArguments>),
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    match &arguments.command {
        Command::List { json } => list(*json),
        Command::Show { name, output, json } => show(name, output.as_deref(), *json),
        Command::Estimate(arguments) => estimate::run(arguments),
        Command::Calibrate(arguments) => photo::calibrate(arguments),
        Command::ComparePhoto(arguments) => photo::compare(arguments),
    }
}

/// A share with its range, unless all of it is too little to be told apart, or nothing is known about its range.
fn with_range([middle, low, high]: [f64; 3]) -> String {
    if high < LEAST_SHARE || low == high {
        percent(middle)
    } else {
        format!("{} ({} to {})", percent(middle), percent(low), percent(high))
    }
}

fn list(as_json: bool) -> Result<Outcome, Vec<Diagnostic>> {
    let cloths = whole_catalogue()?;
    if as_json {
        return Ok(output::json(&cloths.iter().map(|cloth| whole_json(cloth)).collect()));
    }
    let name_width = cloths.iter().map(|c| c.name.chars().count()).max().unwrap_or(0);
    let mut lines = vec![format!(
        "{:name_width$}  {:>9}  {:>8}  {:>5}  {:>22}  title",
        "name", "thickness", "mass", "holes", "lets through (525 nm)"
    )];
    for cloth in &cloths {
        let through = through_with_range(cloth, Nanometres(COLOURS[1].1));
        let mass = cloth.areal_mass_g_m2.map_or(String::new(), |m| format!("{m:.0} g/m2"));
        lines.push(format!(
            "{:name_width$}  {:>9}  {:>8}  {:>5}  {:>22}  {}",
            cloth.name,
            mm(cloth.thickness.0),
            mass,
            format!("{:.0} %", 100.0 * cloth.openness),
            with_range(through),
            cloth.title
        ));
    }
    lines.push(
        "All are estimates from typical labels by the fibre model, not measurements; the range is one standard uncertainty."
            .to_owned(),
    );
    let outcome = output::data(&lines.join("\n"));
    if let Some(first) = cloths.first() {
        output::next("see one of them", ["cloth", "show", &first.name]);
    }
    Ok(outcome)
}

fn show(name: &str, target: Option<&Path>, as_json: bool) -> Result<Outcome, Vec<Diagnostic>> {
    let cloth = find(name)?;
    let read = match Reference::of(name) {
        Reference::Path(path) => Some(PathBuf::from(path)),
        Reference::Name(_) => None,
    };
    // A name inside a file may hold anything; the file's own name is known to fit the disk.
    let stem = read.as_deref().and_then(Path::file_stem).map(|stem| stem.to_string_lossy().into_owned());
    let usual = targets::usual_target(&format!("cloth-{}", stem.as_deref().unwrap_or(&cloth.name)));
    let target = target.map_or(usual, Path::to_path_buf);
    targets::try_target(&target, read.as_slice())?;
    let scene = Scene::one_pixel_behind(&cloth, Millimetres(STAND_OFF_MM), Millimetres(SIDE_MM), SIDE_PX);
    let picture = luminance(&scene);
    let exposure = render::exposure(&scene, &picture);
    let png = render::png(&scene, &picture, exposure).map_err(|e| preview::not_encoded(&target, &e))?;
    files::write_atomically(&target, &png)?;
    if as_json {
        let mut whole = whole_json(&cloth);
        whole["files"] = output::files([&target]);
        whole["picture_peak_cd_m2"] = json!(picture.peak().0);
        return Ok(output::json(&whole));
    }
    Ok(output::data(&in_words(&cloth, &target, &picture)))
}

fn in_words(cloth: &Cloth, target: &Path, picture: &LuminanceImage) -> String {
    let tau = cloth.extinction.0 * cloth.thickness.0;
    let mass = cloth.areal_mass_g_m2.map_or(String::new(), |m| format!(", {m} g per square metre"));
    let u = cloth.uncertainty;
    let sure = |share: f64| {
        if share > 0.0 {
            format!(" (±{:.0} %)", 100.0 * share)
        } else {
            " (no uncertainty given)".to_owned()
        }
    };
    let mut lines = vec![
        format!(
            "{} ({}): {} thick{mass}; {}.",
            cloth.title,
            cloth.name,
            mm(cloth.thickness.0),
            cloth.basis.in_words()
        ),
        String::new(),
        format!("Optical thickness of the covered part: {}{}.", three_digits(tau), sure(u.optical_thickness)),
        format!(
            "Scattering: asymmetry {:.2} (1 would be straight on, 0 the same in all directions); reduced optical thickness {} \
             in green.",
            cloth.asymmetry,
            three_digits(tau * (1.0 - cloth.albedo.at(Nanometres(COLOURS[1].1)) * cloth.asymmetry))
        ),
        format!(
            "Holes: {:.0} % of the area{}.",
            100.0 * cloth.openness,
            if cloth.openness > 0.0 { sure(u.openness) } else { String::new() }
        ),
        String::new(),
        format!("Diffuse light    wavelength   albedo    {:<32}   sent back", "let through (range)"),
    ];
    for (colour, nm) in COLOURS {
        lines.push(format!(
            "{colour:<16} {:>7} nm   {:.4}    {:<32}   {}",
            nm,
            cloth.albedo.at(Nanometres(nm)),
            with_range(through_with_range(cloth, Nanometres(nm))),
            percent(totals(&cloth.layer_at(Millimetres(0.0), Nanometres(nm))).back)
        ));
    }
    lines.push(String::new());
    lines.push(format!(
        "Picture of one 5050 pixel at full level, {STAND_OFF_MM} mm behind it: {} (brightest place {} cd/m2).",
        target.display(),
        three_digits(picture.peak().0)
    ));
    lines.push(String::new());
    lines.push(format!("Source: {}.", cloth.source.trim_end_matches('.')));
    if !cloth.notes.is_empty() {
        lines.push("How the numbers were found:".to_owned());
        lines.extend(cloth.notes.iter().map(|note| format!("- {note}")));
    }
    if cloth.basis == Basis::Label {
        lines.push("An estimate from the label; a test piece decides.".to_owned());
    }
    lines.join("\n")
}

fn whole_json(cloth: &Cloth) -> serde_json::Value {
    let mut whole = cloth_as_json(cloth);
    whole["basis"] = json!(cloth.basis.in_words());
    whole["optical_thickness"] = json!(cloth.extinction.0 * cloth.thickness.0);
    whole["relative_uncertainty"] = json!({
        "optical_thickness": cloth.uncertainty.optical_thickness, "openness": cloth.uncertainty.openness,
    });
    whole["diffuse_light"] = COLOURS
        .iter()
        .map(|&(colour, nm)| {
            let [middle, low, high] = through_with_range(cloth, Nanometres(nm));
            json!({
                "colour": colour, "nm": nm, "albedo": cloth.albedo.at(Nanometres(nm)),
                "transmittance": Range { value: middle, low, high }.data("1"),
                "reflectance": totals(&cloth.layer_at(Millimetres(0.0), Nanometres(nm))).back,
            })
        })
        .collect();
    whole
}
