//! `weftlight check`: is this file right?

use super::Outcome;
use super::output;
use super::shapes::Described;
use super::targets::{read_for, try_target};
use crate::cloth::Cloth;
use crate::diagnose::{Diagnostic, to_json};
use crate::files;
use crate::pixels::laying::Kind;
use crate::pixels::layout::Place;
use crate::pixels::list;
use crate::scene::file::{Resolved, read_with_warnings};
use crate::scene::{Laid, LaidKind, PatternPiece, Pixel, Scene};
use clap::{Args, ValueEnum};
use serde_json::json;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

/// Check a scene file or a cloth file: every problem with line and column
///
/// Prints a short summary when the file is in order (exit code 0). Warnings end with 1, errors with 2.
#[derive(Debug, Args)]
#[command(after_help = "Example: weftlight check scenes/collar.yaml")]
pub(super) struct Arguments {
    /// The file to check
    #[arg(value_name = "FILE", required_unless_present = "schema")]
    file: Option<PathBuf>,

    /// What the file describes
    #[arg(long = "as", value_name = "KIND", value_enum, default_value_t = FileKind::Scene)]
    kind: FileKind,

    /// Print a JSON schema instead of checking a file: of scene or cloth files, for your editor, or of what a command prints with
    /// --json, for your scripts
    #[arg(long, value_name = "KIND", value_enum, conflicts_with_all = ["file", "json", "kind"])]
    schema: Option<Described>,

    /// Also write where every pixel sits, as CSV: index, x_mm, y_mm, turn_deg, group
    #[arg(long, value_name = "FILE", conflicts_with = "schema")]
    pixels: Option<PathBuf>,

    /// Print the result as JSON (its shape: `weftlight check --schema check`)
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum FileKind {
    /// A scene
    Scene,
    /// A cloth
    Cloth,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    Ok(match (&arguments.file, arguments.schema) {
        (_, Some(described)) => output::json(&described.schema()?),
        (Some(path), None) => {
            let (result, warnings) = match arguments.kind {
                FileKind::Scene => match read_with_warnings(path) {
                    Ok(resolved) => {
                        if let Some(target) = &arguments.pixels {
                            write_pixels(target, path, &resolved)?;
                        }
                        let mut words = scene_in_words(&resolved);
                        if let Some(target) = &arguments.pixels {
                            words += &format!("\nWrote {}.", target.display());
                        }
                        (Ok((words, scene_as_json(&resolved))), resolved.warnings)
                    }
                    Err(problems) => (Err(problems), Vec::new()),
                },
                FileKind::Cloth => {
                    if let Some(target) = &arguments.pixels {
                        let what = "a cloth has no pixels whose places could be written";
                        let fault = Diagnostic::of_file(&target.display().to_string(), what);
                        return Err(vec![fault.next("Leave --pixels out, or check a scene.")]);
                    }
                    let cloth = files::read_cloth(path);
                    (cloth.map(|cloth| (cloth_in_words(&cloth), cloth_as_json(&cloth))), Vec::new())
                }
            };
            report(arguments, path, result, &warnings)
        }
        // The reader of the command line asks for one of the two.
        (None, None) => Outcome::Error,
    })
}

/// Writes the places of a scene's pixels as a list.
fn write_pixels(target: &Path, scene_file: &Path, resolved: &Resolved) -> Result<(), Vec<Diagnostic>> {
    try_target(target, &read_for(scene_file, resolved))?;
    let places = resolved
        .scene
        .pixels
        .iter()
        .map(|pixel| (Place { at: pixel.at, turn_rad: pixel.turn_rad }, pixel.group));
    files::write_atomically(target, list::csv(places).as_bytes())
}

type Summary = (String, serde_json::Value);

/// Tells what was found, in words or as JSON.
fn report(
    arguments: &Arguments,
    path: &Path,
    result: Result<Summary, Vec<Diagnostic>>,
    warnings: &[Diagnostic],
) -> Outcome {
    let file = path.display().to_string();
    let outcome = match (&result, warnings) {
        (Err(_), _) => Outcome::Error,
        (Ok(_), []) => Outcome::Fine,
        (Ok(_), _) => Outcome::CheckFailed,
    };
    let problems = result.as_ref().err().map_or(warnings, Vec::as_slice);
    if arguments.json {
        let problems: Vec<_> = problems.iter().map(to_json).collect();
        let summary = result.as_ref().ok().map(|(_, summary)| summary);
        let written = arguments.pixels.iter().filter(|_| summary.is_some());
        let whole = json!({
            "file": file, "in_order": outcome == Outcome::Fine, "problems": problems, "summary": summary,
            "files": output::files(written),
        });
        return worse(outcome, output::json(&whole));
    }
    output::diagnostics(problems);
    match result {
        Ok((words, _)) => {
            let verdict =
                if warnings.is_empty() { "is in order" } else { "can be used, but look at the warnings" };
            let told = output::data(&format!("{file} {verdict}.\n{words}"));
            if outcome == Outcome::Fine {
                let command: &[&str] = match arguments.kind {
                    FileKind::Scene => &["preview"],
                    FileKind::Cloth => &["cloth", "show"],
                };
                output::next("see it", command.iter().map(OsStr::new).chain([path.as_os_str()]));
            }
            worse(outcome, told)
        }
        Err(_) => {
            output::message(&format!("{file} cannot be used."));
            outcome
        }
    }
}

/// The outcome of the check, unless telling it failed.
fn worse(outcome: Outcome, telling: Outcome) -> Outcome {
    if telling == Outcome::Error { telling } else { outcome }
}

/// Width and height over the pixels' centres, in mm.
fn size(scene: &Scene) -> [f64; 2] {
    let (low, high) = scene.extent();
    [(high[0] - low[0]).0, (high[1] - low[1]).0]
}

/// Package names in the order in which they first come, with their numbers.
fn packages(pixels: &[Pixel]) -> Vec<(&str, usize)> {
    let mut counts: Vec<(&str, usize)> = Vec::new();
    for pixel in pixels {
        match counts.iter_mut().find(|(name, _)| *name == pixel.package.name) {
            Some((_, count)) => *count += 1,
            None => counts.push((&pixel.package.name, 1)),
        }
    }
    counts
}

/// Mass of all cloths together, where every one is known.
fn areal_mass(scene: &Scene) -> Option<f64> {
    scene.stack.iter().map(|placed| placed.cloth.areal_mass_g_m2).sum()
}

/// A length without needless decimals.
pub(super) fn mm(length: f64) -> String {
    format!("{} mm", (length * 100.0).round() / 100.0)
}

/// What was laid along a drawing, with the lengths to cut.
fn laid_in_words(laid: &Laid) -> String {
    let Laid { group, pixels, source, kind } = laid;
    let head = format!("Group {}: {pixels} pixels", group + 1);
    match kind {
        LaidKind::List => format!("{head} at the places of {source}."),
        LaidKind::Fill { rows, pitch_mm, runs } => format!(
            "{head} in {rows} rows inside {source}: {} pieces of strip, {} together.",
            runs.len(),
            mm(pitch_mm * *pixels as f64)
        ),
        LaidKind::Path { kind, length_mm, cuts } => {
            let head = format!("{head} along {source}, {} long", mm(*length_mm));
            let word = if *kind == Kind::Strip { "strip" } else { "wire" };
            if cuts.len() == 1 {
                return format!("{head}: {} of {word}, {} left.", mm(cuts[0].cut_mm), mm(cuts[0].left_mm));
            }
            let used: Vec<_> = cuts.iter().filter(|cut| cut.pixels > 0).collect();
            let listed: Vec<String> = used
                .iter()
                .take(MOST_CUTS)
                .map(|cut| format!("{} ({})", mm(cut.cut_mm), cut.pixels))
                .collect();
            let more = if used.len() > MOST_CUTS { ", …" } else { "" };
            let left: f64 = cuts.iter().map(|cut| cut.left_mm).sum();
            format!(
                "{head} in {} parts: {} pieces of {word}, {}{more} (pixels in brackets); {} left.",
                cuts.len(),
                used.len(),
                listed.join(", "),
                mm(left)
            )
        }
    }
}

/// Pieces of strip that the words list.
const MOST_CUTS: usize = 12;

fn laid_as_json(laid: &Laid) -> serde_json::Value {
    let piece = |pixels: usize, cut_mm: f64, left_mm: f64| json!({ "pixels": pixels, "cut_mm": cut_mm, "left_mm": left_mm });
    let (kind, rows, length_mm, pieces) = match &laid.kind {
        LaidKind::List => ("list", None, None, Vec::new()),
        LaidKind::Fill { rows, pitch_mm, runs } => {
            let pieces = runs.iter().map(|&pixels| piece(pixels, pitch_mm * pixels as f64, 0.0));
            ("fill", Some(*rows), None, pieces.collect())
        }
        LaidKind::Path { kind, length_mm, cuts } => (
            if *kind == Kind::Strip { "strip" } else { "wire" },
            None,
            Some(*length_mm),
            cuts.iter().map(|cut| piece(cut.pixels, cut.cut_mm, cut.left_mm)).collect(),
        ),
    };
    json!({
        "group": laid.group, "pixels": laid.pixels, "source": laid.source, "kind": kind, "rows": rows, "length_mm": length_mm,
        "pieces": pieces,
    })
}

/// Width and height of the pattern piece, in mm.
fn piece_size(piece: &PatternPiece) -> [f64; 2] {
    let (low, high) = piece.outline.extent();
    [(high[0] - low[0]).0, (high[1] - low[1]).0]
}

fn scene_in_words(Resolved { scene, laid, scales, .. }: &Resolved) -> String {
    let [width, height] = size(scene);
    let count = scene.pixels.len();
    let pixels = if count == 1 { "pixel" } else { "pixels" };
    let kinds = match packages(&scene.pixels).as_slice() {
        [(name, _)] => format!("{count} {pixels} of package {name}"),
        many => {
            let kinds: Vec<String> =
                many.iter().map(|(name, count)| format!("{count} of package {name}")).collect();
            format!("{count} {pixels} ({})", kinds.join(", "))
        }
    };
    let mut lines = vec![
        format!("{}: {kinds}.", scene.name),
        format!("From the first centre to the last they cover {} by {}.", mm(width), mm(height)),
    ];
    lines.extend(scales.iter().map(|(file, scale)| format!("In {file} {scale}.")));
    lines.extend(laid.iter().map(laid_in_words));
    if let Some(piece) = &scene.piece {
        let [width, height] = piece_size(piece);
        lines.push(format!(
            "The pattern piece is {} by {}, {:.0} cm2.",
            mm(width),
            mm(height),
            piece.outline.area_mm2() / 100.0
        ));
    }
    if scene.stack.is_empty() {
        lines.push("No cloth lies over them: the pixels are bare.".to_owned());
    }
    for (i, placed) in scene.stack.iter().enumerate() {
        let below = if i == 0 { "the board" } else { "the cloth below" };
        let place = if let (0, Some([low, high])) = (i, scene.uneven_mm()) {
            format!("{} to {} above {below}", mm(low), mm(high))
        } else if i == 0 && scene.gap_range_mm()[0] > 0.0 {
            format!("{} above {below}", mm(scene.gap_range_mm()[0]))
        } else if i > 0 && placed.gap_below.0 > 0.0 {
            format!("{} above {below}", mm(placed.gap_below.0))
        } else {
            format!("lying on {below}")
        };
        let cloth = &placed.cloth;
        lines.push(format!(
            "Cloth {}: {}, {} thick, {place}; {}.",
            i + 1,
            cloth.title,
            mm(cloth.thickness.0),
            cloth.basis.in_words()
        ));
    }
    if let Some([low, high]) = scene.uneven_mm() {
        lines.push(format!(
            "The stand-off is uneven: the gap over the pixels is between {} and {}, and each pixel's spot is computed for its own.",
            mm(low),
            mm(high)
        ));
    }
    if !scene.stack.is_empty() {
        let mass = areal_mass(scene)
            .map_or(String::new(), |mass| format!("; the cloth weighs {mass:.0} g per square metre"));
        lines.push(format!("Everything over the board is {} thick{mass}.", mm(scene.thickness().0)));
    }
    let view = &scene.view;
    lines.push(format!("It is seen from {} m in a room of {} lx.", view.distance_m, view.room_lx));
    lines.join("\n")
}

fn scene_as_json(Resolved { scene, laid, scales, .. }: &Resolved) -> serde_json::Value {
    let packages: serde_json::Map<String, serde_json::Value> =
        packages(&scene.pixels).into_iter().map(|(name, count)| (name.to_owned(), json!(count))).collect();
    let cloths: Vec<_> = scene
        .stack
        .iter()
        .map(|placed| {
            let mut cloth = cloth_as_json(&placed.cloth);
            cloth["gap_mm"] = json!(placed.gap_below.0);
            cloth
        })
        .collect();
    json!({
        "name": scene.name,
        "pixels": scene.pixels.len(),
        "packages": packages,
        "size_mm": size(scene),
        "cloths": cloths,
        "gap_range_mm": (!scene.stack.is_empty()).then(|| scene.gap_range_mm()),
        "uneven": scene.uneven_mm().is_some(),
        "thickness_mm": scene.thickness().0,
        "areal_mass_g_m2": areal_mass(scene),
        "distance_m": scene.view.distance_m,
        "room_lx": scene.view.room_lx,
        "laid": laid.iter().map(laid_as_json).collect::<Vec<_>>(),
        "drawings": scales
            .iter()
            .map(|(file, scale)| json!({ "file": file, "mm_per_unit": scale.mm_per_unit }))
            .collect::<Vec<_>>(),
        "piece": scene.piece.as_ref().map(|piece| {
            json!({ "size_mm": piece_size(piece), "area_mm2": piece.outline.area_mm2(), "seam_mm": piece.seam.0 })
        }),
    })
}

fn cloth_in_words(cloth: &Cloth) -> String {
    let mass = cloth.areal_mass_g_m2.map_or(String::new(), |mass| format!(", {mass} g per square metre"));
    format!(
        "{} ({}): {} thick{mass}; {}.\nSource: {}.",
        cloth.title,
        cloth.name,
        mm(cloth.thickness.0),
        cloth.basis.in_words(),
        cloth.source.trim_end_matches('.')
    )
}

pub(super) fn cloth_as_json(cloth: &Cloth) -> serde_json::Value {
    json!({
        "name": cloth.name,
        "title": cloth.title,
        "source": cloth.source,
        "notes": cloth.notes,
        "thickness_mm": cloth.thickness.0,
        "areal_mass_g_m2": cloth.areal_mass_g_m2,
        "extinction_per_mm": cloth.extinction.0,
        "asymmetry": cloth.asymmetry,
        "openness": cloth.openness,
    })
}
