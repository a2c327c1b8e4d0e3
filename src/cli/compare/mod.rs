//! `weftlight compare`: which cloth should I buy?

mod data;
mod table;

use super::cloths::{Chosen, choose};
use super::numbers::{whole_within, within};
use super::preview::not_encoded;
use super::progress::Progress;
use super::targets::{read_for, try_targets, usual_target};
use super::view::{ViewOptions, distance, gap};
use super::{Outcome, output};
use crate::choose::compare::contact::{MOST_CELLS, cells, columns, footer, frame, heading};
use crate::choose::compare::filter::{Filter, Filtered, filtered};
use crate::choose::compare::verdict::{Standard, Verdict, verdict};
use crate::choose::compare::words::{Varied, millimetres};
use crate::choose::compare::{Candidate, Order, Row, Unfit, Wanted, judged, sort};
use crate::diagnose::Diagnostic;
use crate::files;
use crate::judge::numbers::Layout;
use crate::picture::exposure::ExposureValue;
use crate::picture::plane::Frame;
use crate::picture::png_out::srgb_8;
use crate::picture::sheet::sheet;
use crate::picture::small::{developed_as_set, small_luminances};
use crate::quantity::Millimetres;
use crate::reading::Limits;
use crate::scene::Scene;
use crate::scene::file::{Resolved, read_with_warnings};
use crate::scene::shape::MOST_LAYERS;
use crate::scene::variants::Replaced;
use clap::Args;
use std::path::{Path, PathBuf};

/// Layers of one cloth.
const LAYERS: Limits = Limits::new(1.0, MOST_LAYERS as f64, "layers");
/// A share of the light.
const SHARE: Limits = Limits::new(0.0, 1.0, "(a share: 0.2 is 20 %)");
/// Thickness of the whole.
const THICKNESS: Limits = Limits::new(0.1, 1500.0, "mm");

/// Compare cloths before they are bought: the same scene behind each of them, on one picture and in a table
///
/// The cloth takes the place of the scene's outermost one; what lies below it, a sleeve or wadding, stays. All pictures stand at
/// one exposure, which is stated. Without --output the picture goes to renders/SCENE-compare.png.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: weftlight compare scenes/collar.yaml --cloth fleece --cloth muslin -o cloths.png"
)]
pub(super) struct Arguments {
    /// The scene file
    #[arg(value_name = "SCENE")]
    scene: PathBuf,

    /// A cloth: a name of the catalogue, a file ending in .yaml, or a pattern such as "felt*"; may be given several times (otherwise
    /// the whole catalogue)
    #[arg(long = "cloth", value_name = "CLOTH")]
    cloths: Vec<String>,

    /// Layers of the cloth upon each other, such as 1,2
    #[arg(long, value_name = "N,…", value_delimiter = ',', value_parser = layers, allow_hyphen_values = true)]
    with_layers: Vec<usize>,

    /// Gaps below the first cloth in mm, such as 4,8 (instead of the scene's)
    #[arg(long, value_name = "MM,…", value_delimiter = ',', value_parser = gap, allow_hyphen_values = true)]
    gap_mm: Vec<f64>,

    /// Take the place of all cloths of the scene, not only of the outermost
    #[arg(long)]
    replace_all: bool,

    /// What comes first: dots (fewest), light (most), thickness (thinnest) or price (cheapest)
    #[arg(long, value_name = "BY", value_parser = order, default_value = "dots")]
    sort: Order,

    /// Leave out what keeps less than this share of the light; 0.2 is 20 %
    #[arg(long, value_name = "SHARE", value_parser = share, allow_negative_numbers = true)]
    at_least_light: Option<f64>,

    /// Leave out what shows dots from this distance in metres or from farther off
    #[arg(long, value_name = "METRES", value_parser = distance, allow_negative_numbers = true)]
    no_dots_at_m: Option<f64>,

    /// Leave out what is thicker than this in mm, from the board to the outer face
    #[arg(long, value_name = "MM", value_parser = thickness, allow_negative_numbers = true)]
    at_most_mm: Option<f64>,

    /// The picture to write
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,

    /// Also write the table with all numbers and their ranges as CSV
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,

    /// Print what was found as JSON (its shape: `weftlight check --schema compare`)
    #[arg(long)]
    json: bool,

    #[command(flatten)]
    view: ViewOptions,
}

fn layers(text: &str) -> Result<usize, String> {
    whole_within(text, &LAYERS).map(|whole| whole as usize)
}

fn share(text: &str) -> Result<f64, String> {
    within(text, &SHARE)
}

fn thickness(text: &str) -> Result<f64, String> {
    within(text, &THICKNESS)
}

fn order(text: &str) -> Result<Order, String> {
    let words = Order::ALL.map(Order::word).join(", ");
    Order::ALL.into_iter().find(|order| order.word() == text).ok_or_else(|| format!("allowed: {words}"))
}

impl Arguments {
    fn filters(&self) -> Vec<Filter> {
        let wants = [
            self.at_least_light.map(Filter::AtLeastLight),
            self.no_dots_at_m.map(Filter::NoDotsAt),
            self.at_most_mm.map(Filter::AtMostMm),
        ];
        wants.into_iter().flatten().collect()
    }
}

/// A comparison that can be made: everything read, everything tried.
struct Job {
    scene: Scene,
    wanted: Wanted,
    candidates: Vec<Candidate>,
    faults: Vec<Diagnostic>,
    target: PathBuf,
    csv: Option<PathBuf>,
    pitch_mm: Option<f64>,
}

/// The picture as it was made.
struct Sheet {
    png: Vec<u8>,
    exposure: ExposureValue,
    frame: Frame,
    cells: usize,
}

/// What is told in the end.
struct Found<'a> {
    job: &'a Job,
    filtered: Filtered,
    order: Order,
    /// Whether prices were to be put in order and none is known.
    without_prices: bool,
    verdict: Verdict,
    sheet: Option<Sheet>,
}

impl Found<'_> {
    fn rows(&self) -> &[Row] {
        &self.filtered.kept
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    let (job, warnings) = prepare(arguments)?;
    output::diagnostics(&warnings);
    output::diagnostics(&job.faults);
    let found = compare(arguments, &job)?;
    let mut together: Vec<(&Path, Vec<u8>)> = Vec::new();
    if let (Some(path), false) = (&job.csv, found.rows().is_empty()) {
        let bytes = data::csv(&found)
            .map_err(|error| vec![Diagnostic::of_file(&path.display().to_string(), error)])?;
        together.push((path, bytes));
    }
    together.extend(found.sheet.as_ref().map(|sheet| (job.target.as_path(), sheet.png.clone())));
    files::write_together(&together)?;
    let told = if arguments.json {
        output::json(&data::json(&found))
    } else {
        let told = output::data(&table::in_words(&found));
        if !found.rows().is_empty() && job.pitch_mm.is_some() {
            next_after(arguments);
        }
        told
    };
    let failed = found.rows().is_empty() || !job.faults.is_empty();
    Ok(if told == Outcome::Fine && failed { Outcome::CheckFailed } else { told })
}

fn prepare(arguments: &Arguments) -> Result<(Job, Vec<Diagnostic>), Vec<Diagnostic>> {
    let resolved = read_with_warnings(&arguments.scene)?;
    let mut read = read_for(&arguments.scene, &resolved);
    let Resolved { scene, warnings, .. } = resolved;
    let scene = arguments.view.applied(scene);
    let Chosen { cloths, faults, files: cloth_files } = choose(&arguments.cloths)?;
    let wanted = Wanted {
        cloths,
        layers: arguments.with_layers.clone(),
        gaps: arguments.gap_mm.iter().copied().map(Millimetres).collect(),
        replaced: if arguments.replace_all { Replaced::All } else { Replaced::Outermost },
    };
    let candidates = wanted.candidates(&scene).map_err(|unfit| vec![unfit_call(&arguments.scene, &unfit)])?;
    let pitch_mm = Layout::of(&scene).pitch_mm();
    contradictions(arguments, &scene, &candidates, pitch_mm)?;
    let stem = arguments.scene.file_stem().unwrap_or_default().to_string_lossy();
    let target = arguments.output.clone().unwrap_or_else(|| usual_target(&format!("{stem}-compare")));
    read.extend(cloth_files);
    try_targets(arguments.csv.iter().chain([&target]), &read)?;
    Ok((Job { scene, wanted, candidates, faults, target, csv: arguments.csv.clone(), pitch_mm }, warnings))
}

fn unfit_call(scene: &Path, unfit: &Unfit) -> Diagnostic {
    let fault = Diagnostic::of_file(&scene.display().to_string(), unfit.to_string());
    fault.next(match unfit {
        Unfit::NoGap => "Say it with --gap-mm, such as --gap-mm 6.",
        Unfit::TooManyLayers { .. } => "Ask for fewer with --with-layers.",
        Unfit::TooMany { .. } => "Name some cloths with --cloth, or fewer gaps or layers.",
    })
}

/// Wants that no candidate can meet, which shows before any work.
fn contradictions(
    arguments: &Arguments,
    scene: &Scene,
    candidates: &[Candidate],
    pitch_mm: Option<f64>,
) -> Result<(), Vec<Diagnostic>> {
    let mut problems = Vec::new();
    if scene.pixels.iter().all(|pixel| pixel.levels.iter().all(|level| *level <= 0.0)) {
        let shown = arguments.scene.display().to_string();
        let fault =
            Diagnostic::of_file(&shown, "every pixel is dark, so there is no light to compare cloths by");
        problems.push(fault.next("Give `light` a level above 0 and a colour other than black."));
    }
    let thinnest = candidates
        .iter()
        .map(|candidate| (candidate, candidate.thickness(scene).0))
        .min_by(|a, b| a.1.total_cmp(&b.1));
    if let (Some(bound), Some((candidate, least))) = (arguments.at_most_mm, thinnest)
        && bound < least
    {
        problems.push(too_thin(bound, candidate, least));
    }
    if arguments.no_dots_at_m.is_some() && pitch_mm.is_none() {
        let what = "no two pixels of the scene are neighbours, so there are no dots that could vanish";
        problems.push(Diagnostic::of_file("--no-dots-at-m", what).next("Leave it out."));
    }
    if problems.is_empty() { Ok(()) } else { Err(problems) }
}

fn too_thin(bound: f64, candidate: &Candidate, least: f64) -> Diagnostic {
    let cloth = candidate.cloth.thickness.0 * candidate.layers as f64;
    let below = least - candidate.gap.0 - cloth;
    // What stays below is a sum of lengths: its rounding is no length.
    let below =
        if below > 1e-9 { format!(", and {} stay below it", millimetres(below)) } else { String::new() };
    let what = format!(
        "nothing can be as thin as {}: the smallest gap is {}, the thinnest cloth ({}) {}{below}",
        millimetres(bound),
        millimetres(candidate.gap.0),
        candidate.cloth.name,
        millimetres(cloth)
    );
    Diagnostic::of_file("--at-most-mm", what)
        .allowed(format!("at least {} for this scene and these cloths", millimetres(least)))
        .next("Allow more, or make the gap smaller with --gap-mm.")
}

/// Among the same cloths `pick` looks for the gap and the layers that do it thinnest.
fn next_after(arguments: &Arguments) {
    let cloths = arguments.cloths.iter().flat_map(|cloth| ["--cloth".as_ref(), cloth.as_ref()]);
    let all = arguments.replace_all.then(|| "--replace-all".as_ref());
    let words = ["pick".as_ref(), arguments.scene.as_os_str()].into_iter().chain(cloths).chain(all);
    output::next("find the gap and the layers at which no dots show", words);
}

/// The work.
fn compare<'a>(arguments: &Arguments, job: &'a Job) -> Result<Found<'a>, Vec<Diagnostic>> {
    let steps = job.candidates.len() + job.candidates.len().min(MOST_CELLS);
    let progress = Progress::new(steps, "Looking through cloths");
    let rows = judged(&job.scene, &job.candidates, &|| progress.step());
    let without_prices =
        arguments.sort == Order::Price && rows.iter().all(|row| row.candidate.price_per_m().is_none());
    let order = if without_prices { Order::Dots } else { arguments.sort };
    let filters = arguments.filters();
    let mut filtered = filtered(rows, &filters);
    sort(&mut filtered.kept, order);
    let standard = Standard::of(job.scene.view.distance_m, &filters);
    let verdict = verdict(&filtered.kept, standard, order, Varied::among(&job.candidates));
    let sheet = if filtered.kept.is_empty() {
        None
    } else {
        Some(draw(job, &filtered.kept, order, &verdict, &progress)?)
    };
    Ok(Found { job, filtered, order, without_prices, verdict, sheet })
}

fn draw(
    job: &Job,
    rows: &[Row],
    order: Order,
    verdict: &Verdict,
    progress: &Progress,
) -> Result<Sheet, Vec<Diagnostic>> {
    let frame = frame(&job.scene, job.pitch_mm);
    let shown = &rows[..rows.len().min(MOST_CELLS)];
    let scenes: Vec<Scene> = shown.iter().map(|row| row.candidate.scene(&job.scene)).collect();
    let framed: Vec<(&Scene, Frame)> = scenes.iter().map(|scene| (scene, frame)).collect();
    let luminances = small_luminances(&framed, &|| progress.step());
    let (exposure, pictures) = developed_as_set(&luminances, job.scene.view.exposure);
    let cells = cells(rows, verdict, pictures);
    let canvas = sheet(
        &cells,
        Some(columns(cells.len())),
        &heading(&job.scene, rows, verdict, order, exposure, &frame),
        &footer(&job.scene, &job.wanted, rows, cells.len(), verdict),
    );
    let png = srgb_8(&canvas, frame.mm_per_px, &[("Software", "weftlight")])
        .map_err(|error| not_encoded(&job.target, &error))?;
    Ok(Sheet { png, exposure, frame, cells: cells.len() })
}
