//! `weftlight preview`: what will it look like?

use super::check::mm;
use super::numbers::within;
use super::on_photo::{self, Lying, PhotoOptions};
use super::targets::{read_for, try_target, usual_target};
use super::view::{ViewOptions, direction, gap, side, size};
use super::{Outcome, output};
use crate::build::make::{lists::tightest_json, power::greatest_drift};
use crate::build::{Case, powered::powered};
use crate::choose::standoff::Subject;
use crate::diagnose::Diagnostic;
use crate::files;
use crate::judge::bare_light::{BareLight, SEEN_BARE};
use crate::judge::numbers::Layout;
use crate::motion::{average::at_time, shape::DURATION_S};
use crate::picture::luminance::{LuminanceImage, frame, luminance_within};
use crate::picture::memory::{MOST_MEMORY, Output};
use crate::picture::on_photo::Report;
use crate::picture::png_out::PngError;
use crate::picture::{exposure::ExposureValue, render};
use crate::quantity::Millimetres;
use crate::reading::Limits;
use crate::scene::Scene;
use crate::scene::file::{Resolved, read_with_warnings};
use crate::words::three_digits;
use clap::Args;
use serde_json::json;
use std::path::{Path, PathBuf};

/// Draw what a person will see: the scene behind its cloth, as a PNG picture
///
/// The exposure is stated under the picture: choose it with --exposure-ev to compare pictures side by side. Without
/// --output the picture goes to renders/SCENE.png. Several scenes are drawn one after another, each with its own exposure
/// unless one is chosen.
#[derive(Debug, Args)]
#[command(after_help = "Example: weftlight preview scenes/collar.yaml --size-px 960,240 -o collar.png")]
pub(super) struct Arguments {
    /// The scene files
    #[arg(value_name = "SCENE", required = true)]
    scenes: Vec<PathBuf>,

    /// The picture to write, for a single scene
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,

    /// Also write what was computed, for measuring: a 16-bit PNG in linear light, without caption, for a single scene
    #[arg(long, value_name = "FILE")]
    linear: Option<PathBuf>,

    /// Width and height of the picture in image pixels, such as 1920,1080 (instead of the scene's)
    #[arg(long, value_name = "W,H", value_parser = size, allow_hyphen_values = true)]
    size_px: Option<[u32; 2]>,

    #[command(flatten)]
    view: ViewOptions,

    #[command(flatten)]
    photo: PhotoOptions,

    /// How far to the side the observer stands, in degrees: 0 is straight ahead (instead of the scene's)
    #[arg(long, value_name = "DEGREES", value_parser = side, allow_negative_numbers = true)]
    side_deg: Option<f64>,

    /// On which side, in degrees: 0 to the right, 90 above, 180 to the left, 270 below (instead of the scene's)
    #[arg(long, value_name = "DEGREES", value_parser = direction, allow_negative_numbers = true)]
    from_deg: Option<f64>,

    /// Gap below the first cloth in mm (instead of the scene's)
    #[arg(long, value_name = "MM", value_parser = gap, allow_negative_numbers = true)]
    gap_mm: Option<f64>,

    /// Draw the scene as it is at this time of its pattern, in seconds (otherwise at its beginning)
    #[arg(long, value_name = "SECONDS", value_parser = at, allow_negative_numbers = true)]
    at_s: Option<f64>,

    /// Show what the supply of the scene really allows: the brightness within its limit, and what is lost along the run
    #[arg(long)]
    as_powered: bool,

    /// Print what was found as JSON, with the numbers that matter and their ranges (its shape: `weftlight check --schema preview`)
    #[arg(long)]
    json: bool,
}

impl Arguments {
    /// The scene with what the call wants otherwise.
    fn applied(&self, scene: Scene) -> Scene {
        let mut scene = self.view.applied(match self.at_s {
            Some(time_s) => at_time(&scene, time_s),
            None => scene,
        });
        let view = &mut scene.view;
        view.size_px = self.size_px.unwrap_or(view.size_px);
        view.side_rad = self.side_deg.map_or(view.side_rad, f64::to_radians);
        view.from_rad = self.from_deg.map_or(view.from_rad, f64::to_radians);
        match self.gap_mm {
            Some(gap) => scene.at_gap(Millimetres(gap)),
            None => scene,
        }
    }
}

/// A time of a pattern.
fn at(text: &str) -> Result<f64, String> {
    within(text, &Limits::new(0.0, DURATION_S.most, DURATION_S.unit))
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    single_file_for_single_scene(arguments)?;
    // Every scene is read and every place tried before the first picture is drawn.
    let mut problems = Vec::new();
    let mut jobs: Vec<Job> = Vec::new();
    let mut warnings = Vec::new();
    for file in &arguments.scenes {
        match Job::prepare(arguments, file) {
            Ok((job, found)) => {
                jobs.push(job);
                warnings.extend(found);
            }
            Err(found) => problems.extend(found),
        }
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    different_files(&jobs, arguments.linear.as_deref())?;
    let read: Vec<PathBuf> =
        jobs.iter().flat_map(|job| job.read.iter().cloned()).chain(arguments.photo.file()).collect();
    for target in arguments.linear.iter().chain(jobs.iter().map(|job| &job.target)) {
        try_target(target, &read)?;
    }
    output::diagnostics(&warnings);
    let mut told = Vec::with_capacity(jobs.len());
    for job in &jobs {
        let drawn = job.draw(arguments.linear.as_deref())?;
        told.push(if arguments.json {
            as_json(job, arguments.linear.as_deref(), &drawn)
        } else {
            json!(in_words(job, arguments.linear.as_deref(), &drawn))
        });
    }
    if arguments.json {
        return Ok(match told.as_slice() {
            [one] => output::json(one),
            many => output::json(&json!(many)),
        });
    }
    let words: Vec<&str> = told.iter().filter_map(|told| told.as_str()).collect();
    let outcome = output::data(&words.join("\n\n"));
    if let ([scene], [job]) = (arguments.scenes.as_slice(), jobs.as_slice()) {
        next_after(scene, &job.scene);
    }
    Ok(outcome)
}

/// What to look at after a picture: how it moves, or from which gap on its dots melt.
fn next_after(file: &Path, scene: &Scene) {
    if scene.pattern.is_some() {
        output::next("see it move", [Path::new("motion"), file]);
    } else if Subject::new(scene.clone()).is_ok() {
        output::next("find the gap from which no dots show", [Path::new("standoff"), file]);
    }
}

fn single_file_for_single_scene(arguments: &Arguments) -> Result<(), Vec<Diagnostic>> {
    let option = match (&arguments.output, &arguments.linear) {
        (Some(_), _) => "--output",
        (_, Some(_)) => "--linear",
        _ => return Ok(()),
    };
    if arguments.scenes.len() == 1 {
        return Ok(());
    }
    let fault = Diagnostic::of_file(option, "one file cannot take the pictures of several scenes");
    Err(vec![fault.next("Leave it out: the pictures then go to renders/, each under its scene's name.")])
}

/// Refuses a call that would write one file twice.
fn different_files(jobs: &[Job], linear: Option<&Path>) -> Result<(), Vec<Diagnostic>> {
    let targets: Vec<&Path> = jobs.iter().map(|job| job.target.as_path()).chain(linear).collect();
    let twice = targets
        .iter()
        .enumerate()
        .find(|(i, target)| targets.iter().take(*i).any(|former| files::same_file(former, target)));
    let Some((_, target)) = twice else { return Ok(()) };
    let fault = Diagnostic::of_file(&target.display().to_string(), "two pictures would go to this file");
    let next =
        "Give each its own file name; scenes of the same name are best drawn one by one, with --output.";
    Err(vec![fault.next(next)])
}

/// One picture to be drawn.
struct Job {
    scene: Scene,
    target: PathBuf,
    /// The scene file, and the drawings and lists that it names.
    read: Vec<PathBuf>,
    /// What the supply allows, where the picture shows that.
    powered: Option<AsPowered>,
    /// The photograph on which the glow is drawn.
    photo: Option<Lying>,
    /// Which moment of the pattern is drawn.
    moment: Option<String>,
}

/// The words and figures of a picture of what the supply allows.
struct AsPowered {
    words: String,
    data: serde_json::Value,
}

/// The scene as its supply lets it shine.
fn allowed(file: &Path, scene: &Scene) -> Result<(Scene, Option<AsPowered>), Vec<Diagnostic>> {
    let fault = |what: String| Diagnostic::of_file(&file.display().to_string(), what);
    let Some(supply) = &scene.supply else {
        let next =
            "Add `supply:`, such as {volts: 5, max_ma: 1000, wire_mm: 500}, or leave --as-powered out.";
        return Err(vec![
            fault("the scene names no supply, so nothing says what it allows".to_owned()).next(next),
        ]);
    };
    let run = powered(scene, supply, Case::Typical)
        .map_err(|error| vec![fault(format!("the voltages along the run cannot be found: {error}"))])?;
    let below = run.pixels_below();
    let low = match (run.tightest(), below) {
        (Some((index, _)), 1..) => format!(
            "; {below} of {} pixels get too little voltage, the least pixel {index} (from 0) with {:.2} V",
            scene.pixels.len(),
            run.solved.volts[index]
        ),
        (Some((index, _)), _) => {
            format!("; every pixel has its voltage, the tightest {:.2} V", run.solved.volts[index])
        }
        _ => String::new(),
    };
    let drift = greatest_drift(scene, &run).map_or(0.0, |(_, drift)| drift);
    let drifts = if drift >= 1.0 {
        format!("; the colour drifts along the run by up to {drift:.1} (CIEDE2000)")
    } else {
        String::new()
    };
    let words = format!(
        "As powered, typical parts: {:.0} % of the levels{low}{drifts}",
        (100.0 * run.cap.factor).floor()
    );
    let data = json!({
        "level_factor": run.cap.factor, "brightness": run.cap.brightness, "pixels_below": below,
        "tightest": tightest_json(&run),
        "colour_drift": drift, "supply_a": run.solved.total_a(),
    });
    Ok((run.scene, Some(AsPowered { words, data })))
}

impl Job {
    fn prepare(arguments: &Arguments, file: &Path) -> Result<(Job, Vec<Diagnostic>), Vec<Diagnostic>> {
        let resolved = read_with_warnings(file)?;
        let read = read_for(file, &resolved);
        let Resolved { scene, warnings, .. } = resolved;
        if arguments.gap_mm.is_some() && scene.stack.is_empty() {
            let shown = file.display().to_string();
            let fault = Diagnostic::of_file(&shown, "the scene has no cloth, so there is no gap to set");
            return Err(vec![fault.next("Leave --gap-mm out, or put a cloth into `stack:`.")]);
        }
        if arguments.at_s.is_some() && scene.pattern.is_none() {
            let fault = Diagnostic::of_file(
                &file.display().to_string(),
                "the scene has no pattern, so it is the same at all times",
            );
            return Err(vec![fault.next("Leave --at-s out, or give `light` a `pattern`.")]);
        }
        let stem = || file.file_stem().unwrap_or_default().to_string_lossy();
        let target = arguments.output.clone().unwrap_or_else(|| usual_target(&stem()));
        let scene = arguments.applied(scene);
        let (scene, powered) = if arguments.as_powered { allowed(file, &scene)? } else { (scene, None) };
        let photo = arguments.photo.lying(&scene, file, arguments.size_px)?;
        if photo.is_some() && scene.view.side_rad > 0.0 {
            let fault = Diagnostic::of_file(
                &file.display().to_string(),
                "on a photograph the glow is that from straight ahead, so it cannot be seen from the side",
            );
            return Err(vec![fault.next("Leave the photograph out with --flat, or set --side-deg 0.")]);
        }
        let moment = scene.pattern.as_ref().map(|pattern| {
            let at_s = arguments.at_s.unwrap_or(0.0);
            format!(
                "The pattern at {} s of a loop of {} s.",
                three_digits(at_s),
                three_digits(pattern.duration_s)
            )
        });
        Ok((Job { scene, target, read, powered, photo, moment }, warnings))
    }

    fn draw(&self, linear: Option<&Path>) -> Result<Drawn, Vec<Diagnostic>> {
        let (picture, on_photo) = match &self.photo {
            Some(lying) => {
                let made = lying.drawn(&self.scene)?;
                (made.picture, Some(made.report))
            }
            None => {
                let output = if linear.is_some() { Output::PngAndLinear } else { Output::Png };
                let picture = luminance_within(&self.scene, frame(&self.scene), None, output, MOST_MEMORY)
                    .map_err(|fault| vec![fault.about(&self.target.display().to_string())])?;
                (picture, None)
            }
        };
        let exposure = render::exposure(&self.scene, &picture);
        let powered = self.powered.iter().map(|powered| format!("{}.", powered.words));
        let mut notes: Vec<String> = self.moment.iter().cloned().chain(powered).collect();
        if let (Some(lying), Some(report)) = (&self.photo, &on_photo) {
            notes.push(on_photo::note(lying, report));
        }
        let png = render::png_with(&self.scene, &picture, exposure, &notes)
            .map_err(|e| not_encoded(&self.target, &e))?;
        let linear = match linear {
            Some(path) => Some((path, render::linear_png(&picture).map_err(|e| not_encoded(path, &e))?)),
            None => None,
        };
        let together: Vec<(&Path, Vec<u8>)> =
            std::iter::once((self.target.as_path(), png)).chain(linear).collect();
        files::write_together(&together)?;
        Ok(Drawn { picture, exposure, on_photo })
    }
}

/// A picture that was drawn.
struct Drawn {
    picture: LuminanceImage,
    exposure: ExposureValue,
    /// What was done with the photograph, where there is one.
    on_photo: Option<Report>,
}

/// Why a picture could not be put into a file.
pub(super) fn not_encoded(target: &Path, error: &PngError) -> Vec<Diagnostic> {
    let shown = target.display().to_string();
    vec![match error {
        PngError::Scale(_) => {
            Diagnostic::of_file(&shown, "the picture is black all over, so there is nothing to measure in it")
                .next("Leave --linear out, or give the scene light: `level`, `colour` or `room_lx`.")
        }
        _ => Diagnostic::of_file(&shown, format!("the picture cannot be encoded: {error}")),
    }]
}

fn in_words(
    Job { scene, target, powered, photo, moment, .. }: &Job,
    linear: Option<&Path>,
    Drawn { picture, exposure, on_photo }: &Drawn,
) -> String {
    let frame = picture.frame;
    let mut lines = vec![format!("Wrote {}.", target.display())];
    if let Some(linear) = linear {
        lines.push(format!("Wrote {}, in linear light.", linear.display()));
    }
    if let (Some(lying), Some(report)) = (photo, on_photo) {
        lines.extend(on_photo::in_words(lying, report, picture, *exposure));
    } else {
        lines.push(format!(
            "It shows {:.0} mm by {:.0} mm, {} mm to the image pixel, at {exposure} (ISO 100).",
            f64::from(frame.width_px) * frame.mm_per_px,
            f64::from(frame.height_px) * frame.mm_per_px,
            three_digits(frame.mm_per_px),
        ));
    }
    lines.push(format!(
        "Brightest place {} cd/m2; the cloth in the room's light alone {} cd/m2.",
        three_digits(picture.peak().0),
        three_digits(picture.room.luminance()),
    ));
    if scene.view.side_rad > 0.0 {
        lines.push(format!(
            "{}: lengths that way are {:.2} of what they are. Numbers of --json are for straight ahead.",
            render::side_words(scene),
            scene.view.side_rad.cos()
        ));
    }
    if picture.straight > SEEN_BARE {
        lines.push(format!(
            "{:.0} % of each pixel's light comes straight through: the pixels themselves are seen.",
            100.0 * picture.straight
        ));
        lines.extend(BareLight::of(scene).words());
    }
    if let Some(aperture) = picture.report.as_ref().and_then(|r| r.aperture_mm) {
        lines.push(format!(
            "The glow is sharper than the picture can show; it was softened by {} mm.",
            three_digits(aperture)
        ));
    }
    lines.extend(scene.uneven_mm().map(|[low, high]| {
        format!(
            "The stand-off is uneven: {} to {} over the pixels. Each has the spot of its own gap, as if the cloth were level there.",
            mm(low),
            mm(high)
        )
    }));
    lines.extend(moment.iter().cloned());
    lines.extend(powered.iter().map(|powered| format!("{}.", powered.words)));
    if scene.pixels.iter().all(|p| p.levels.iter().all(|&l| l == 0.0)) {
        lines.push("All pixels are dark.".to_owned());
    }
    lines.join("\n")
}

fn as_json(
    Job { scene, target, powered, photo, .. }: &Job,
    linear: Option<&Path>,
    Drawn { picture, exposure, on_photo }: &Drawn,
) -> serde_json::Value {
    let frame = picture.frame;
    json!({
        "files": output::files(std::iter::once(target.as_path()).chain(linear)),
        "scene": scene.name,
        "pixels": scene.pixels.len(),
        "as_powered": powered.as_ref().map(|powered| &powered.data),
        "on_photo": photo.as_ref().zip(on_photo.as_ref()).map(|(lying, report)| on_photo::as_json(lying, report)),
        "exposure_ev_iso_100": exposure.0,
        "full_scale_cd_m2": exposure.full_scale().0,
        "mm_per_px": on_photo.is_none().then_some(frame.mm_per_px),
        "size_px": [frame.width_px, frame.height_px],
        "peak_cd_m2": picture.peak().0,
        "mean_cd_m2": picture.mean().0,
        "room_lit_cloth_cd_m2": picture.room.luminance(),
        "straight_through_share": picture.straight,
        "bare_light": (picture.straight > SEEN_BARE).then(|| BareLight::of(scene).data()),
        "softened_by_mm": picture.report.as_ref().and_then(|r| r.aperture_mm),
        "distance_m": scene.view.distance_m,
        "side_deg": scene.view.side_rad.to_degrees(),
        "from_deg": scene.view.from_rad.to_degrees(),
        "room_lx": scene.view.room_lx,
        "gap_range_mm": (!scene.stack.is_empty()).then(|| scene.gap_range_mm()),
        "numbers": super::judged::as_json(&Layout::of(scene).judged(scene)),
    })
}
