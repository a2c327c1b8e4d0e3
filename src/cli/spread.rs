//! `weftlight spread`: the bare spread function, and how far it is from the truth.

mod heat_map;
mod self_check;

use super::numbers::{whole_within, within};
use super::targets::{read_for, try_target};
use super::{Outcome, output};
use crate::diagnose::Diagnostic;
use crate::files;
use crate::light::photons;
use crate::light::spots::spots;
use crate::light::totals::shares;
use crate::light::{Source, Stack, Window};
use crate::quantity::Nanometres;
use crate::reading::Limits;
use crate::scene::Scene;
use crate::scene::file::read_with_warnings;
use clap::{Args, ValueEnum};
use self_check::Stacks;
use serde_json::json;
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Radii that may be asked for.
const RADIUS_MM: Limits = Limits::new(0.0, 10_000.0, "mm");
/// Wavelengths that may be asked for: what the eye sees.
const WAVELENGTH_NM: Limits = Limits::new(380.0, 780.0, "nm");
/// Radii of the grid that is used when none are asked for.
const GRID: usize = 200;
/// The grid ends where the spot has fallen to about this share of its height.
const GRID_END: f64 = 1e-3;
/// Rings of the photons method when no radii are asked for.
const RINGS: usize = 64;
/// Half the width of the ring around a radius that is asked for, over the height of the stack: the spot changes by less than
/// a thousandth of its peak across it.
const RING_SHARE: f64 = 0.02;
/// Photons that may be asked for: the most take a few hours on two cores.
const PHOTONS: Limits = Limits::new(1.0, 1e11, "photons");
/// Photons of the photons method unless asked otherwise: half a minute at most.
const DEFAULT_PHOTONS: u64 = 2_000_000;

/// Print the spread function: the radiance straight ahead around one pixel behind the cloth
///
/// It is that of the first pixel of the scene, per unit of its flux, in 1/(sr mm2); light that passes the cloth without being
/// scattered is left out. CSV goes to standard output, with the header r_mm,radiance_per_flux (the photons method adds
/// standard_error).
///
/// With --self-check it needs no scene: it tells how far the fast way is from simulated photons for some hundred stacks, thin to
/// thick, near to far, as a table and a heat map; exit code 1 where one is farther off than the README says.
#[derive(Debug, Args)]
#[command(after_help = "Example: weftlight spread scenes/collar.yaml --nm 610 --csv spread.csv")]
pub(super) struct Arguments {
    /// The scene file
    #[arg(value_name = "SCENE", required_unless_present = "self_check")]
    scene: Option<PathBuf>,

    /// Wavelength in nm
    #[arg(long, value_name = "NM", default_value = "550", value_parser = wavelength, allow_negative_numbers = true)]
    nm: f64,

    /// Radii in mm, separated by commas (otherwise a grid as wide as the spot)
    #[arg(long, value_name = "R,R,…", value_parser = radius, value_delimiter = ',', num_args = 1, allow_hyphen_values = true)]
    radii_mm: Option<Vec<f64>>,

    /// How it is computed
    #[arg(long, value_enum, default_value_t = Method::Transport)]
    method: Method,

    /// Number of photons for the photons method, such as 2e7 (otherwise 2e6; for --self-check 2e5 a stack)
    #[arg(long, value_name = "N", value_parser = photon_count, allow_negative_numbers = true)]
    photons: Option<u64>,

    /// Seed of the photons method: the same seed gives the same result
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = seed, allow_negative_numbers = true)]
    seed: u64,

    /// Write the CSV to this file instead of to standard output; with --self-check, one row a stack
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,

    /// Print JSON: radii and radiances with direct share, scattered share and spot width (its shape: `weftlight check --schema spread`, of --self-check: spread-self-check)
    #[arg(long)]
    json: bool,

    /// Tell how far the transport is from photons, for all stacks or for some: a table and a heat map, two minutes
    #[arg(long, value_name = "STACKS", value_enum, num_args = 0..=1, require_equals = true, default_missing_value = "all")]
    #[arg(conflicts_with_all = ["scene", "nm", "radii_mm", "method"])]
    self_check: Option<Stacks>,

    /// The heat map of --self-check to write, ending in .svg, .png or .pdf (otherwise renders/self-check.png)
    #[arg(short, long, value_name = "FILE", requires = "self_check", conflicts_with = "scene")]
    output: Option<PathBuf>,
}

/// The two ways to compute a spread function.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Method {
    /// The transport equation, frequency by frequency: fast, without noise
    Transport,
    /// Simulated photons: slow, with standard errors; averages over rings
    Photons,
}

fn wavelength(text: &str) -> Result<f64, String> {
    within(text, &WAVELENGTH_NM)
}

fn radius(text: &str) -> Result<f64, String> {
    within(text, &RADIUS_MM)
}

fn photon_count(text: &str) -> Result<u64, String> {
    whole_within(text, &PHOTONS)
}

fn seed(text: &str) -> Result<u64, String> {
    text.parse().map_err(|_| format!("a whole number is needed; allowed: 0 to {}", u64::MAX))
}

/// One line of the table.
struct Row {
    r_mm: f64,
    radiance: f64,
    standard_error: Option<f64>,
}

/// What was found.
struct Found {
    rows: Vec<Row>,
    direct: f64,
    scattered: f64,
    width_mm: Option<f64>,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    match (&arguments.scene, arguments.self_check) {
        (Some(file), _) => of_scene(arguments, file),
        (None, stacks) => self_check::run(arguments, stacks.unwrap_or(Stacks::All)),
    }
}

fn of_scene(arguments: &Arguments, file: &Path) -> Result<Outcome, Vec<Diagnostic>> {
    let read = read_with_warnings(file)?;
    if let Some(path) = &arguments.csv {
        try_target(path, &read_for(file, &read))?;
    }
    output::diagnostics(&read.warnings);
    let scene = read.scene;
    let shown = file.display().to_string();
    if scene.stack.is_empty() {
        let fault = Diagnostic::of_file(&shown, "the scene has no cloth, so there is no spread function");
        return Err(vec![fault.next("Put a cloth into `stack:`.")]);
    }
    let (stack, source) = (first_stack(&scene, Nanometres(arguments.nm)), source(&scene));
    let found = match arguments.method {
        Method::Transport => by_transport(&stack, &source, arguments.radii_mm.as_deref()),
        Method::Photons => by_photons(&stack, &source, arguments),
    };
    if !found.rows.iter().all(|row| row.radiance.is_finite()) {
        let fault = Diagnostic::of_file(&shown, "the spread function of this stack could not be computed");
        return Err(vec![
            fault.next("Try `--method photons`, and look for an extreme number in its cloths."),
        ]);
    }
    let csv = csv(&found);
    if let Some(path) = &arguments.csv {
        files::write_atomically(path, csv.as_bytes())?;
    }
    if arguments.json {
        return Ok(output::json(&as_json(arguments, &scene, &found)));
    }
    Ok(match &arguments.csv {
        Some(path) => output::data(&format!("Wrote {}.", path.display())),
        None => output::data(csv.trim_end()),
    })
}

/// The stack over the first pixel.
fn first_stack(scene: &Scene, wavelength: Nanometres) -> Stack {
    match scene.pixels.first() {
        Some(pixel) => scene.stack_over(scene.gap_over(pixel), wavelength),
        None => scene.stack_at(wavelength),
    }
}

/// The first pixel of the scene as a source: the beam of its package, and the bright area of its first die.
fn source(scene: &Scene) -> Source {
    let first = scene.pixels.first().map(|pixel| &pixel.package);
    first.map_or(Source { beam_power: 1.0, window: Window::Point }, |package| Source {
        beam_power: package.beam_power,
        window: package.dies.first().map_or(package.window, |die| package.glow_source(die).1),
    })
}

fn by_transport(stack: &Stack, source: &Source, radii: Option<&[f64]>) -> Found {
    let spot = spots(std::slice::from_ref(stack), source.beam_power).remove(0);
    let shares = shares(stack, source.beam_power);
    let limit = 20.0 * (stack.height().0 + window_mm(source.window));
    let grid;
    let radii = match radii {
        Some(radii) => radii,
        None => {
            let end = 0.5 * spot.full_width(source.window, limit, GRID_END).unwrap_or(limit);
            grid = (0..=GRID).map(|i| end * i as f64 / GRID as f64).collect::<Vec<_>>();
            &grid
        }
    };
    let rows = radii
        .iter()
        .zip(spot.at_radii(source.window, radii))
        .map(|(&r_mm, radiance)| Row { r_mm, radiance, standard_error: None })
        .collect();
    Found {
        rows,
        direct: shares.direct,
        scattered: shares.scattered,
        width_mm: spot.full_width(source.window, limit, 0.5),
    }
}

/// Size of a window across, in mm.
fn window_mm(window: Window) -> f64 {
    match window {
        Window::Point => 0.0,
        Window::Disc { diameter } => diameter.0,
        Window::Square { side } => side.0,
    }
}

/// The photons method averages over rings: around each radius asked for, as wide as the way to its neighbours allows.
fn by_photons(stack: &Stack, source: &Source, arguments: &Arguments) -> Found {
    let expected = by_transport(stack, source, arguments.radii_mm.as_deref());
    let edges = match &arguments.radii_mm {
        Some(radii) => ring_edges_around(radii, RING_SHARE * stack.height().0),
        None => {
            let end = expected.rows.last().map_or(1.0, |row| row.r_mm);
            photons::ring_edges(end, RINGS)
        }
    };
    let seen =
        photons::spread(stack, source, &edges, arguments.photons.unwrap_or(DEFAULT_PHOTONS), arguments.seed);
    let rows: Vec<Row> = seen
        .rings
        .iter()
        .map(|ring| Row {
            r_mm: 0.5 * (ring.inner_mm + ring.outer_mm),
            radiance: ring.radiance.value,
            standard_error: Some(ring.radiance.standard_error),
        })
        .collect();
    let rows = match &arguments.radii_mm {
        None => rows,
        // The ring that holds each radius asked for.
        Some(radii) => radii
            .iter()
            .filter_map(|&r| {
                let ring = seen.rings.iter().find(|ring| ring.inner_mm <= r && r <= ring.outer_mm)?;
                Some(Row {
                    r_mm: r,
                    radiance: ring.radiance.value,
                    standard_error: Some(ring.radiance.standard_error),
                })
            })
            .collect(),
    };
    Found {
        rows,
        direct: seen.direct_share.value,
        scattered: seen.scattered_share.value,
        width_mm: expected.width_mm,
    }
}

/// Edges of rings around each of the radii, `half_width` mm to both sides where neighbours leave that room; what lies
/// between becomes a ring of its own.
fn ring_edges_around(radii: &[f64], half_width: f64) -> Vec<f64> {
    let mut sorted = radii.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.dedup();
    let mut edges = Vec::new();
    for (i, &r) in sorted.iter().enumerate() {
        let room = |other: Option<&f64>| other.map_or(f64::INFINITY, |o| 0.5 * (o - r).abs());
        let before = i.checked_sub(1).and_then(|j| sorted.get(j));
        let half = half_width.min(room(before)).min(room(sorted.get(i + 1)));
        edges.extend([(r - half).max(0.0), r + half]);
    }
    edges.dedup();
    edges
}

fn csv(found: &Found) -> String {
    let with_errors = found.rows.iter().any(|row| row.standard_error.is_some());
    let mut text = String::from("r_mm,radiance_per_flux");
    text.push_str(if with_errors { ",standard_error\n" } else { "\n" });
    for row in &found.rows {
        let _ = write!(text, "{},{:e}", row.r_mm, row.radiance);
        if let Some(error) = row.standard_error {
            let _ = write!(text, ",{error:e}");
        }
        text.push('\n');
    }
    text
}

fn as_json(arguments: &Arguments, scene: &Scene, found: &Found) -> serde_json::Value {
    let column = |pick: fn(&Row) -> f64| found.rows.iter().map(pick).collect::<Vec<_>>();
    let errors: Option<Vec<f64>> = found.rows.iter().map(|row| row.standard_error).collect();
    let of_photons = matches!(arguments.method, Method::Photons);
    json!({
        "scene": scene.name,
        "files": output::files(&arguments.csv),
        "method": match arguments.method { Method::Transport => "transport", Method::Photons => "photons" },
        "nm": arguments.nm,
        "r_mm": column(|row| row.r_mm),
        "radiance_per_flux": column(|row| row.radiance),
        "radiance_unit": "1/(sr mm2)",
        "direct_share": found.direct,
        "scattered_share": found.scattered,
        "spot_width_mm": found.width_mm,
        "standard_error": errors.filter(|_| of_photons),
        "photons": of_photons.then(|| arguments.photons.unwrap_or(DEFAULT_PHOTONS)),
        "seed": of_photons.then_some(arguments.seed),
    })
}
