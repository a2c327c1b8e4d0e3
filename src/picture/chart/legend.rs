//! The legend above a plot: a sample of each line, marker and band with its name.

use super::labels::{LEADING, Label};
use super::layout::PAD;
use super::style::{PAPER, QUIET};
use super::svg::{self, Anchor, Body, Stroke};
use super::{Plot, Series, Style, TEXT_PX, WIDTH_PX};
use crate::picture::canvas::Rgb8;

/// Width of a line, and of the rim of an open marker.
pub(super) const LINE_PX: f64 = 2.6;
/// Half the width of a marker.
pub(super) const MARKER_PX: f64 = 5.5;
/// How dark a band is.
pub(super) const BAND_OPACITY: f64 = 0.16;
/// Length of a sample.
const SAMPLE_PX: f64 = 46.0;
/// Blank between sample and name.
const NAME_GAP: f64 = 9.0;
/// Blank between two entries.
const ENTRY_GAP: f64 = 26.0;

enum Sample {
    Line(Style),
    Marker(Style),
    Band,
}

struct Entry {
    sample: Sample,
    label: Label,
}

impl Entry {
    fn new(sample: Sample, name: &str) -> Entry {
        let sample_px = if matches!(sample, Sample::Marker(_)) { 3.0 * MARKER_PX } else { SAMPLE_PX };
        Entry { sample, label: Label::new(name, TEXT_PX, WIDTH_PX - 2.0 * PAD - sample_px - NAME_GAP) }
    }

    fn sample_px(&self) -> f64 {
        if matches!(self.sample, Sample::Marker(_)) { 3.0 * MARKER_PX } else { SAMPLE_PX }
    }

    fn width(&self) -> f64 {
        self.sample_px() + NAME_GAP + self.label.width
    }
}

fn has_values(series: &Series) -> bool {
    series.points.iter().any(|p| p.0.is_finite() && p.1.is_finite())
}

/// What the legend lists; nothing where the heading of the plot says it all.
fn entries(plot: &Plot, band_label: Option<&str>) -> Vec<Entry> {
    let line = |s: &Series| {
        let name =
            if has_values(s) { s.name.trim().to_owned() } else { format!("{} (no values)", s.name.trim()) };
        Entry::new(Sample::Line(s.style), &name)
    };
    let series = plot.series.iter().filter(|s| !s.name.trim().is_empty()).map(line);
    let marks = plot.marks.iter().filter(|m| !m.name.trim().is_empty());
    let marks = marks.map(|m| Entry::new(Sample::Marker(m.style), m.name.trim()));
    let mut entries: Vec<Entry> = series.chain(marks).collect();
    let says_nothing = plot.series.iter().all(|s| s.name.trim() == plot.y.label.trim() && has_values(s));
    if entries.len() == 1 && plot.marks.is_empty() && says_nothing {
        entries.clear();
    }
    entries.extend(band_label.map(|label| Entry::new(Sample::Band, label)));
    entries
}

/// Draws the legend from `top` down; gives where it ends.
pub(super) fn draw(body: &mut Body, plot: &Plot, band_label: Option<&str>, top: f64) -> f64 {
    let mut left = PAD;
    let mut top = top;
    let mut row_height: f64 = 0.0;
    for entry in entries(plot, band_label) {
        if left > PAD && left + entry.width() > WIDTH_PX - PAD {
            left = PAD;
            top += row_height;
            row_height = 0.0;
        }
        draw_entry(body, &entry, left, top);
        left += entry.width() + ENTRY_GAP;
        row_height = row_height.max(entry.label.height + 3.0);
    }
    top + row_height
}

fn draw_entry(body: &mut Body, entry: &Entry, left: f64, top: f64) {
    let middle = top + 0.5 * LEADING * TEXT_PX;
    let end = left + entry.sample_px();
    match entry.sample {
        Sample::Line(style) => {
            body.line((left, middle), (end, middle), line_stroke(style));
            marker(body, style, 0.5 * (left + end), middle, MARKER_PX);
        }
        Sample::Marker(style) => marker(body, style, 0.5 * (left + end), middle, MARKER_PX),
        Sample::Band => {
            let rect = [left, middle - 8.0, SAMPLE_PX, 16.0];
            body.rect(rect, Some((QUIET, BAND_OPACITY)), Some(Stroke::new(QUIET, 0.8)));
        }
    }
    text_block(body, &entry.label, end + NAME_GAP, top, Anchor::Start, QUIET);
}

/// The lines of a label from `top` down.
pub(super) fn text_block(body: &mut Body, label: &Label, x: f64, top: f64, anchor: Anchor, colour: Rgb8) {
    for (i, line) in label.lines.iter().enumerate() {
        let middle = top + LEADING * TEXT_PX * (i as f64 + 0.5);
        body.words(x, middle + 0.5 * svg::CAPITAL * TEXT_PX, TEXT_PX, anchor, colour, line);
    }
}

/// How the line of a style is stroked.
pub(super) fn line_stroke(style: Style) -> Stroke {
    Stroke::new(style.colour, LINE_PX).dashed(style.dash.pattern())
}

/// The marker of a style, with a rim of paper so that it stands off from lines.
pub(super) fn marker(body: &mut Body, style: Style, x: f64, y: f64, r: f64) {
    let Some(shape) = style.shape else { return };
    if style.filled {
        body.path(&shape.path(x, y, r), style.colour, Some(Stroke::new(PAPER, 1.2)));
    } else {
        body.path(&shape.path(x, y, r), PAPER, Some(Stroke::new(style.colour, 2.0)));
    }
}
