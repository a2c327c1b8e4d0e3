//! Charts as files: SVG, PNG or PDF, as the ending of the name says.

use crate::diagnose::Diagnostic;
use crate::picture::chart::{CLEAR_PNG, ChartError, svg_to_pdf, svg_to_png};
use std::path::Path;

/// The formats of a chart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Format {
    Svg,
    Png,
    Pdf,
}

impl Format {
    /// The format that a name's ending says.
    pub(super) fn of(target: &Path) -> Result<Format, Vec<Diagnostic>> {
        let ending = target.extension().unwrap_or_default().to_string_lossy().to_lowercase();
        match ending.as_str() {
            "svg" => Ok(Format::Svg),
            "png" => Ok(Format::Png),
            "pdf" => Ok(Format::Pdf),
            _ => {
                let fault = Diagnostic::of_file(
                    &target.display().to_string(),
                    "the ending of this name says no format of a chart",
                );
                Err(vec![fault.allowed("names that end in .svg, .png or .pdf")])
            }
        }
    }

    /// A drawing in this format.
    pub(super) fn bytes(self, svg: &str) -> Result<Vec<u8>, ChartError> {
        match self {
            Format::Svg => Ok(svg.as_bytes().to_vec()),
            Format::Png => svg_to_png(svg, CLEAR_PNG),
            Format::Pdf => svg_to_pdf(svg),
        }
    }
}

/// Why a chart could not be drawn.
pub(super) fn not_drawn(target: &Path, error: &ChartError) -> Vec<Diagnostic> {
    vec![Diagnostic::of_file(&target.display().to_string(), format!("the chart cannot be drawn: {error}"))]
}
