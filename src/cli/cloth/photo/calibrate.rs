//! `weftlight cloth calibrate`.

use super::super::super::{Outcome, output};
use super::super::estimate::{new_cloth_file, options as of_label};
use super::options::Taking;
use crate::diagnose::Diagnostic;
use crate::files;
use crate::photo::calibration::asking::COMMAND_LINE;
use crate::photo::calibration::words::in_lines;
use crate::photo::calibration::{Naming, calibrate};
use clap::Args;
use std::path::{Path, PathBuf};

/// Find the optics of a cloth from photos of one lit pixel behind it, and write a cloth file
///
/// Take the photo in a dark room, straight on, exposure locked, after one of a ruler on the cloth. How to do it, with pictures and photos
/// to try: fabrics/photo-guide.md. With --bare the light kept is found as well; several photos at different stand-offs are fitted
/// together and tell much more.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: weftlight cloth calibrate felt.jpg --stand-off-mm 4 --thickness-mm 1.05 --scale-from 113,469,713,468 --scale-mm 60 -o felt.yaml"
)]
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
    let sources = super::sources(taking, &arguments.photos);
    let format = super::try_report(taking, &sources)?;
    let replaced =
        arguments.output.as_deref().map(|target| new_cloth_file(target, arguments.replace)).transpose()?;
    let stated = taking.stated(&arguments.photos, arguments.thickness_mm)?;
    let name = arguments.name();
    let title = arguments.title.as_ref().unwrap_or(&name);
    let naming = Naming { name: &name, title, areal_mass_g_m2: arguments.areal_mass_g_m2 };
    let found = calibrate(&stated, naming, &|i| super::read(&sources[i]))?;
    let explained = found.words(&COMMAND_LINE);
    output::diagnostics(&found.ready.remarks);
    let mut together = Vec::new();
    if let (Some(target), Some(format)) = (&taking.report, format) {
        together.push((target, super::report((target, format), &found.report(title, explained.clone()))?));
    }
    together.extend(arguments.output.as_ref().map(|target| (target, found.text.clone().into_bytes())));
    files::write_together(&together)?;
    if taking.json {
        let written: Vec<&Path> = together.iter().map(|(target, _)| target.as_path()).collect();
        return Ok(output::json(&super::json::calibrated(&found, &explained, &written)));
    }
    let (Some(target), Some(replaced)) = (&arguments.output, replaced) else {
        let outcome = output::data(found.text.trim_end());
        output::message(&in_lines(&explained));
        return Ok(outcome);
    };
    let done = if replaced { "Replaced" } else { "Wrote" };
    let mut lines = vec![in_lines(&explained)];
    lines.push(format!("{done} {}.", target.display()));
    lines.push(
        format!("Prove it: photograph at a third stand-off and say: weftlight cloth compare-photo {} PHOTO --stand-off-mm ...", target.display()),
    );
    lines.extend(taking.report.as_ref().map(|report| format!("Report: {}.", report.display())));
    let outcome = output::data(&lines.join("\n"));
    output::next("see it", ["cloth".as_ref(), "show".as_ref(), target.as_path()]);
    Ok(outcome)
}

impl Arguments {
    fn name(&self) -> String {
        let stem = |path: &Path| path.file_stem().map(|stem| stem.to_string_lossy().into_owned());
        let from_file = self.output.as_deref().and_then(stem).and_then(|stem| of_label::name(&stem).ok());
        self.name.clone().or(from_file).unwrap_or_else(|| "calibrated-cloth".to_owned())
    }
}
