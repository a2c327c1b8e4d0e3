//! `weftlight cloth calibrate` and `weftlight cloth compare-photo`: what photographs tell of a cloth.

mod calibrate;
mod compare;
mod json;
mod options;

pub(super) use calibrate::{Arguments as CalibrateArguments, run as calibrate};
pub(super) use compare::{Arguments as CompareArguments, run as compare};

use super::super::charts::{Format, not_drawn};
use super::super::targets::try_target;
use crate::diagnose::Diagnostic;
use crate::files;
use crate::photo::decode::MOST_MEMORY;
use options::Taking;
use std::path::{Path, PathBuf};

/// Tries the place of the report before the work.
fn try_report(taking: &Taking, read: &[PathBuf]) -> Result<Option<Format>, Vec<Diagnostic>> {
    let Some(target) = &taking.report else { return Ok(None) };
    let format = Format::of(target)?;
    try_target(target, read)?;
    Ok(Some(format))
}

/// Every photograph that is read: those with cloth, then the bare ones.
fn sources(taking: &Taking, photos: &[PathBuf]) -> Vec<PathBuf> {
    photos.iter().chain(&taking.bare).cloned().collect()
}

/// The bytes of a photograph.
fn read(path: &Path) -> Result<Vec<u8>, Vec<Diagnostic>> {
    files::read_bytes(path, MOST_MEMORY as u64)
}

/// The bytes of the report.
fn report((target, format): (&Path, Format), svg: &str) -> Result<Vec<u8>, Vec<Diagnostic>> {
    format.bytes(svg).map_err(|error| not_drawn(target, &error))
}
