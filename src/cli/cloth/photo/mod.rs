//! `weftlight cloth calibrate` and `weftlight cloth compare-photo`: what photographs tell of a cloth.

mod calibrate;
mod compare;
mod options;
mod shots;
mod words;

pub(super) use calibrate::{Arguments as CalibrateArguments, run as calibrate};
pub(super) use compare::{Arguments as CompareArguments, run as compare};

use super::super::charts::{Format, not_drawn};
use super::super::preview::try_target;
use crate::diagnose::Diagnostic;
use crate::files;
use crate::photo::fit::ShotFit;
use crate::photo::picture::{Reported, report};
use options::Taking;
use shots::Ready;
use std::path::{Path, PathBuf};

/// Tries the place of the report before the work.
fn try_report(taking: &Taking, read: &[PathBuf]) -> Result<Option<Format>, Vec<Diagnostic>> {
    let Some(target) = &taking.report else { return Ok(None) };
    let format = Format::of(target)?;
    try_target(target, read)?;
    Ok(Some(format))
}

/// Every photograph that is read.
fn sources(taking: &Taking, photos: &[PathBuf]) -> Vec<PathBuf> {
    photos.iter().chain(&taking.bare).cloned().collect()
}

/// Draws the report.
fn draw(
    (target, format): (&Path, Format),
    title: &str,
    lines: Vec<String>,
    ready: &Ready,
    fits: &[ShotFit],
    alt: &str,
) -> Result<(), Vec<Diagnostic>> {
    let names: Vec<String> = ready
        .read
        .iter()
        .map(|read| read.path.file_name().unwrap_or_default().to_string_lossy().into_owned())
        .collect();
    let shots: Vec<Reported<'_>> = ready
        .read
        .iter()
        .zip(fits)
        .zip(&names)
        .map(|((read, fit), name)| Reported {
            name,
            photo: &read.photo,
            measured: &read.measured,
            fit,
            stated_gap_mm: read.gap_mm,
            height_mm: read.gap_mm + ready.subject.thickness_mm,
        })
        .collect();
    let notes = vec![
        "Points: means of the photograph over rings around the spot. Lines: the model. Difference: orange where the photograph is \
         brighter, blue where it is darker, white where they agree, grey where nothing was compared."
            .to_owned(),
    ];
    let svg = report(title, lines, &shots, notes).svg(alt);
    let bytes = format.bytes(&svg).map_err(|error| not_drawn(target, &error))?;
    files::write_atomically(target, &bytes)
}
