//! `weftlight cloth calibrate`.

use super::super::super::{Outcome, output};
use super::super::estimate::{new_cloth_file, options as of_label};
use super::options::Taking;
use super::shots::{self, Ready, wavelengths};
use super::words::{self, in_lines};
use crate::diagnose::Diagnostic;
use crate::files;
use crate::photo::cloth_file::{Heading, cloth_file};
use crate::photo::fit::{FitError, fit};
use clap::Args;
use std::path::{Path, PathBuf};

/// Find the optics of a cloth from photos of one lit pixel behind it, and write a cloth file
///
/// Take the photo in a dark room, straight on, exposure locked, after one of a ruler on the cloth. How to do it, with pictures and photos
/// to try: fabrics/photo-guide.md. With --bare the light kept is found as well; several photos at different stand-offs are fitted
/// together and tell much more.
#[derive(Debug, Args)]
pub(in super::super) struct Arguments {
    /// Photos (JPEG, PNG or TIFF) of the same cloth
    #[arg(value_name = "PHOTO", required = true)]
    photos: Vec<PathBuf>,

    /// Thickness of the cloth as worn, unpressed, in mm
    #[arg(long, value_name = "MM", value_parser = of_label::thickness, allow_negative_numbers = true)]
    thickness_mm: f64,

    /// Mass of one square metre in grams, for the cloth file
    #[arg(long, value_name = "G/M2", value_parser = of_label::areal_mass, allow_negative_numbers = true)]
    areal_mass_g_m2: Option<f64>,

    /// Short name of the cloth (otherwise that of the file)
    #[arg(long, value_name = "NAME", value_parser = of_label::name)]
    name: Option<String>,

    /// Name in plain words
    #[arg(long, value_name = "WORDS", value_parser = of_label::title)]
    title: Option<String>,

    #[command(flatten)]
    taking: Taking,

    /// The cloth file to write, ending in .yaml (otherwise it is printed)
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,

    /// Write over a cloth file that is there already
    #[arg(long, requires = "output")]
    replace: bool,
}

pub(in super::super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    let taking = &arguments.taking;
    let format = super::try_report(taking, &super::sources(taking, &arguments.photos))?;
    let replaced =
        arguments.output.as_deref().map(|target| new_cloth_file(target, arguments.replace)).transpose()?;
    let ready = shots::ready(taking, &arguments.photos, arguments.thickness_mm)?;
    let found = fit(&ready.subject, &ready.shots).map_err(|error| vec![not_fitted(&ready, error)])?;
    let certainty = found.certainty();
    let told = std::array::from_fn(|c| ready.shots.iter().any(|shot| shot.lit.tells(c)));
    let further = found.further();
    let explained = words::calibrated(&ready, &found, &certainty, &further, told);
    let name = arguments.name();
    let title = arguments.title.clone().unwrap_or_else(|| name.clone());
    let heading = Heading {
        name: &name,
        title: &title,
        photos: &photos_in_words(&ready),
        comment: &in_lines(&explained),
        thickness_mm: arguments.thickness_mm,
        areal_mass_g_m2: arguments.areal_mass_g_m2,
        dies: wavelengths(&taking.package),
        told,
    };
    let text = cloth_file(&heading, &found.cloth, &certainty);
    // What the program writes it must be able to read.
    crate::cloth::file::resolve(&text, "the cloth found")?;
    output::diagnostics(&ready.remarks);
    if let (Some(target), Some(format)) = (&taking.report, format) {
        let title = format!("{title}: photograph and fit");
        super::draw((target, format), &title, explained.clone(), &ready, &found.shots, &explained.join(" "))?;
    }
    if let Some(target) = &arguments.output {
        files::write_atomically(target, text.as_bytes())?;
    }
    if taking.json {
        let all = words::calibrated_json(&ready, &found, &certainty, &further, &explained, &text);
        return Ok(output::data(&format!("{all:#}")));
    }
    let (Some(target), Some(replaced)) = (&arguments.output, replaced) else {
        let outcome = output::data(text.trim_end());
        output::message(&in_lines(&explained));
        return Ok(outcome);
    };
    let done = if replaced { "Replaced" } else { "Wrote" };
    let mut lines = vec![in_lines(&explained)];
    lines.push(format!("{done} {shown}. See it: weftlight cloth show {shown}", shown = target.display()));
    lines.push(
        format!("Prove it: photograph at a third stand-off and say: weftlight cloth compare-photo {} PHOTO --stand-off-mm ...", target.display()),
    );
    lines.extend(taking.report.as_ref().map(|report| format!("Report: {}.", report.display())));
    Ok(output::data(&lines.join("\n")))
}

impl Arguments {
    fn name(&self) -> String {
        let stem = |path: &Path| path.file_stem().map(|stem| stem.to_string_lossy().into_owned());
        let from_file = self.output.as_deref().and_then(stem).and_then(|stem| of_label::name(&stem).ok());
        self.name.clone().or(from_file).unwrap_or_else(|| "calibrated-cloth".to_owned())
    }
}

fn not_fitted(ready: &Ready, error: FitError) -> Diagnostic {
    let place = match error {
        FitError::TooFewRings { shot, .. } => ready.read[shot - 1].path.display().to_string(),
        FitError::NoShot => "the photos".to_owned(),
    };
    Diagnostic::of_file(&place, error.to_string())
        .next("Photograph from nearer, with the whole spot in view and its middle not white.")
}

fn photos_in_words(ready: &Ready) -> String {
    let each = ready.read.iter().map(|read| {
        let name = read.path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        format!("{name} at {} mm stand-off", read.gap_mm)
    });
    let bare = if ready.bare.is_some() { ", and of the bare pixel" } else { "" };
    format!("{}{bare}", each.collect::<Vec<_>>().join(", "))
}
