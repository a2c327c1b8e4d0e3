//! `weftlight preview`: what will it look like?

use super::{Outcome, output};
use crate::diagnose::Diagnostic;
use crate::files;
use crate::picture::luminance::{LuminanceImage, luminance};
use crate::picture::{exposure::ExposureValue, render};
use crate::scene::file::read_with_warnings;
use crate::scene::{Exposure, Scene};
use clap::Args;
use serde_json::json;
use std::path::{Path, PathBuf};

/// The folder into which pictures go when no file is named.
const PICTURES: &str = "renders";

/// Draw what a person will see: the scene behind its cloth, as a PNG picture
///
/// The picture is in absolute luminance under one stated exposure. Without --output it goes to renders/SCENE.png. Several
/// scenes are drawn one after another, each with its own exposure.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The scene files
    #[arg(value_name = "SCENE", required = true)]
    scenes: Vec<PathBuf>,

    /// The picture to write, for a single scene
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,

    /// Also write the bare luminance picture of a single scene as a 16-bit linear PNG, without caption
    #[arg(long, value_name = "FILE")]
    linear: Option<PathBuf>,

    /// Exposure value at ISO 100, or auto (instead of the scene's)
    #[arg(long, value_name = "EV", value_parser = exposure, allow_hyphen_values = true)]
    exposure_ev: Option<Exposure>,

    /// Width and height of the picture in image pixels, such as 1920,1080 (instead of the scene's)
    #[arg(long, value_name = "W,H", value_parser = size)]
    size_px: Option<[u32; 2]>,

    /// Viewing distance in metres (instead of the scene's)
    #[arg(long, value_name = "METRES", value_parser = distance)]
    distance_m: Option<f64>,

    /// Light of the room on the cloth in lux (instead of the scene's)
    #[arg(long, value_name = "LUX", value_parser = room)]
    room_lx: Option<f64>,

    /// Gap below the first cloth in mm (instead of the scene's)
    #[arg(long, value_name = "MM", value_parser = gap)]
    gap_mm: Option<f64>,

    /// Print what was found as JSON
    #[arg(long)]
    json: bool,
}

/// A number within the limits that the scene file has for the same thing.
fn within(text: &str, limits: &crate::reading::Limits) -> Result<f64, String> {
    let value: f64 = text.parse().map_err(|_| format!("`{text}` is not a number"))?;
    if value.is_finite() && limits.contain(value) {
        Ok(value)
    } else {
        Err(format!("allowed: {}", limits.in_words()))
    }
}

fn exposure(text: &str) -> Result<Exposure, String> {
    if text == "auto" {
        return Ok(Exposure::Auto);
    }
    within(text, &crate::scene::shape::EXPOSURE_EV).map(Exposure::Fixed)
}

fn distance(text: &str) -> Result<f64, String> {
    within(text, &crate::scene::shape::DISTANCE_M)
}

fn room(text: &str) -> Result<f64, String> {
    within(text, &crate::scene::shape::ROOM_LX)
}

fn gap(text: &str) -> Result<f64, String> {
    within(text, &crate::scene::shape::GAP_MM)
}

fn size(text: &str) -> Result<[u32; 2], String> {
    let parts: Vec<&str> = text.split([',', 'x']).collect();
    let [width, height] = parts.as_slice() else { return Err("two whole numbers are needed".to_owned()) };
    let side = |part: &str| -> Result<u32, String> {
        let value = within(part.trim(), &crate::scene::shape::SIZE_PX)?;
        if value.fract() == 0.0 { Ok(value as u32) } else { Err("whole numbers are needed".to_owned()) }
    };
    Ok([side(width)?, side(height)?])
}

impl Arguments {
    /// The scene with what the call wants otherwise.
    fn applied(&self, mut scene: Scene) -> Scene {
        let view = &mut scene.view;
        view.exposure = self.exposure_ev.unwrap_or(view.exposure);
        view.size_px = self.size_px.unwrap_or(view.size_px);
        view.distance_m = self.distance_m.unwrap_or(view.distance_m);
        view.room_lx = self.room_lx.unwrap_or(view.room_lx);
        if let (Some(gap), Some(first)) = (self.gap_mm, scene.stack.first_mut()) {
            first.gap_below.0 = gap;
        }
        scene
    }
}

/// Where the picture goes: where the call says, or `renders/SCENE.png` under the present folder.
pub(super) fn target(named: Option<&Path>, scene_file: &Path) -> Result<PathBuf, Vec<Diagnostic>> {
    if let Some(path) = named {
        return Ok(path.to_path_buf());
    }
    let stem = scene_file.file_stem().unwrap_or_default();
    files::make_folder(Path::new(PICTURES))?;
    Ok(Path::new(PICTURES).join(stem).with_extension("png"))
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    let single = arguments.output.is_some() || arguments.linear.is_some();
    if single && arguments.scenes.len() > 1 {
        let fault = Diagnostic::of_file("--output", "one file cannot take the pictures of several scenes");
        return Err(vec![
            fault.next("Leave it out: the pictures then go to renders/, each under its scene's name."),
        ]);
    }
    // Every scene is read and every place tried before the first picture is drawn.
    let mut problems = Vec::new();
    let mut jobs = Vec::new();
    for file in &arguments.scenes {
        match Job::prepare(arguments, file) {
            Ok(job) => jobs.push(job),
            Err(found) => problems.extend(found),
        }
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    let mut told = Vec::with_capacity(jobs.len());
    for job in &jobs {
        let (picture, exposure) = job.draw(arguments.linear.as_deref())?;
        told.push(if arguments.json {
            as_json(&job.target, &job.scene, &picture, exposure)
        } else {
            json!(in_words(&job.target, &job.scene, &picture, exposure))
        });
    }
    let text = match told.as_slice() {
        [one] if arguments.json => format!("{one:#}"),
        many if arguments.json => format!("{:#}", json!(many)),
        many => many.iter().filter_map(|t| t.as_str()).collect::<Vec<_>>().join("\n\n"),
    };
    Ok(output::data(&text))
}

/// One picture to be drawn.
struct Job {
    scene: Scene,
    target: PathBuf,
}

impl Job {
    fn prepare(arguments: &Arguments, file: &Path) -> Result<Job, Vec<Diagnostic>> {
        let read = read_with_warnings(file)?;
        let target = target(arguments.output.as_deref(), file)?;
        files::check_writable(&target)?;
        if let Some(linear) = &arguments.linear {
            files::check_writable(linear)?;
        }
        output::diagnostics(&read.warnings);
        Ok(Job { scene: arguments.applied(read.scene), target })
    }

    fn draw(&self, linear: Option<&Path>) -> Result<(LuminanceImage, ExposureValue), Vec<Diagnostic>> {
        let picture = luminance(&self.scene);
        let exposure = render::exposure(&self.scene, &picture);
        let encoding = |path: &Path| {
            let shown = path.display().to_string();
            move |error| vec![Diagnostic::of_file(&shown, format!("the picture cannot be encoded: {error}"))]
        };
        let png = render::png(&self.scene, &picture, exposure).map_err(encoding(&self.target))?;
        let linear = match linear {
            Some(path) => Some((path, render::linear_png(&picture).map_err(encoding(path))?)),
            None => None,
        };
        files::write_atomically(&self.target, &png)?;
        if let Some((path, bytes)) = &linear {
            files::write_atomically(path, bytes)?;
        }
        Ok((picture, exposure))
    }
}

/// Three significant digits.
pub(super) fn three_digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let decimals = (2.0 - value.abs().log10().floor()).clamp(0.0, 12.0) as usize;
    let scale = 10f64.powf(value.abs().log10().floor() - 2.0);
    if decimals == 0 {
        format!("{:.0}", (value / scale).round() * scale)
    } else {
        format!("{value:.decimals$}")
    }
}

fn in_words(target: &Path, scene: &Scene, picture: &LuminanceImage, exposure: ExposureValue) -> String {
    let frame = picture.frame;
    let mut lines = vec![
        format!("Wrote {}.", target.display()),
        format!(
            "It shows {:.0} mm by {:.0} mm, {} mm to the image pixel, at {exposure} (ISO 100).",
            f64::from(frame.width_px) * frame.mm_per_px,
            f64::from(frame.height_px) * frame.mm_per_px,
            three_digits(frame.mm_per_px),
        ),
        format!(
            "Brightest place {} cd/m2; the cloth in the room's light alone {} cd/m2.",
            three_digits(picture.peak().0),
            three_digits(picture.room.luminance()),
        ),
    ];
    if picture.straight > SEEN_BARE {
        lines.push(format!(
            "{:.0} % of each pixel's light comes straight through: the pixels themselves are seen, and bare pixels can \
             dazzle. Do not look into them from close by at full level.",
            100.0 * picture.straight
        ));
    }
    if let Some(aperture) = picture.report.as_ref().and_then(|r| r.aperture_mm) {
        lines.push(format!(
            "The glow is sharper than the picture can show; it was softened by {} mm.",
            three_digits(aperture)
        ));
    }
    if scene.pixels.iter().all(|p| p.levels.iter().all(|&l| l == 0.0)) {
        lines.push("All pixels are dark.".to_owned());
    }
    lines.join("\n")
}

/// Share of light coming straight through above which the picture's words speak of it.
const SEEN_BARE: f64 = 0.005;

fn as_json(
    target: &Path,
    scene: &Scene,
    picture: &LuminanceImage,
    exposure: ExposureValue,
) -> serde_json::Value {
    let frame = picture.frame;
    json!({
        "file": target.display().to_string(),
        "scene": scene.name,
        "exposure_ev_iso_100": exposure.0,
        "full_scale_cd_m2": exposure.full_scale().0,
        "mm_per_px": frame.mm_per_px,
        "size_px": [frame.width_px, frame.height_px],
        "peak_cd_m2": picture.peak().0,
        "mean_cd_m2": picture.mean().0,
        "room_lit_cloth_cd_m2": picture.room.luminance(),
        "straight_through_share": picture.straight,
        "softened_by_mm": picture.report.as_ref().and_then(|r| r.aperture_mm),
        "distance_m": scene.view.distance_m,
        "room_lx": scene.view.room_lx,
    })
}
