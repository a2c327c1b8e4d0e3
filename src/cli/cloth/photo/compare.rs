//! `weftlight cloth compare-photo`: does a cloth do what its numbers say?

use super::super::super::{Outcome, cloths, output};
use super::options::Taking;
use crate::diagnose::Diagnostic;
use crate::files;
use crate::photo::calibration::shots::{ready, wavelengths};
use crate::photo::calibration::{drawn, words};
use crate::photo::fit::compare;
use crate::photo::fit::unknowns::ClothNumbers;
use clap::Args;
use std::path::PathBuf;

/// Predict a photo from a cloth's numbers and show how far it is off
///
/// Use a photo at a stand-off that the cloth was not calibrated with: the proof that its numbers can be trusted. Without --bare only the
/// shape of the spot is compared; with it, the brightness too.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: weftlight cloth compare-photo felt.yaml felt.jpg --stand-off-mm 6.5 --scale-from 113,469,713,468 --scale-mm 60"
)]
pub(in super::super) struct Arguments {
    /// A name of the catalogue, or a cloth file ending in .yaml
    #[arg(value_name = "CLOTH")]
    cloth: String,

    /// Photos (JPEG, PNG or TIFF) of that cloth
    #[arg(value_name = "PHOTO", required = true)]
    photos: Vec<PathBuf>,

    #[command(flatten)]
    taking: Taking,
}

pub(in super::super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    let taking = &arguments.taking;
    let sources = super::sources(taking, &arguments.photos);
    let format = super::try_report(taking, &sources)?;
    let cloth = cloths::find(&arguments.cloth)?;
    let stated = taking.stated(&arguments.photos, cloth.thickness.0)?;
    let ready = ready(&stated, &|i| super::read(&sources[i]))?;
    let numbers = ClothNumbers::of_cloth(&cloth, wavelengths(&taking.package));
    let compared = compare(&ready.subject, &numbers, &ready.shots).map_err(|error| {
        let shown = arguments.photos.iter().map(|p| p.display().to_string()).collect::<Vec<_>>().join(", ");
        vec![
            Diagnostic::of_file(&shown, error.to_string())
                .next("Photograph from nearer, with the whole spot in view and its middle not white."),
        ]
    })?;
    let lines = words::compared(&cloth, &ready, &compared);
    output::diagnostics(&ready.remarks);
    if let (Some(target), Some(format)) = (&taking.report, format) {
        let title = format!("{}: photograph and prediction", cloth.title);
        let bytes = super::report((target, format), &drawn(&title, lines.clone(), &ready, &compared))?;
        files::write_atomically(target, &bytes)?;
    }
    if taking.json {
        let report = taking.report.as_deref();
        return Ok(output::json(&super::json::compared(&cloth, &ready, &compared, &lines, report)));
    }
    let mut lines = lines;
    lines.extend(taking.report.as_ref().map(|report| format!("Report: {}.", report.display())));
    Ok(output::data(&words::in_lines(&lines)))
}
