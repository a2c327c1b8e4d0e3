//! The whole drawing, from the title down.

use super::labels::{LEADING, lines, spread};
use super::layout::{Frame, HEADING_PX, PAD, PANEL_GAP, TITLE_PX};
use super::style::{INK, PAPER, QUIET};
use super::svg::{self, Anchor, Body, Stroke};
use super::{Chart, Panel, Plot, Rule, TEXT_PX, WIDTH_PX, legend, plot, strips};
use crate::picture::canvas::{Rgb8, shortened};

/// Blank around the labels of upright rules.
const FLAG_GAP: f64 = 8.0;
/// Height of the thin lines from these labels to the plot.
const FLAG_TIE: f64 = 10.0;
/// Blank between the legend and what follows.
const LEGEND_GAP: f64 = 14.0;

/// The chart as an SVG file.
pub(super) fn drawing(chart: &Chart, alt: &str) -> String {
    let frame = Frame::of(chart);
    let words = Words { title: &chart.title, subtitle: &chart.subtitle, notes: &chart.notes, alt };
    sheet(&words, |body, prefix, top| panels(body, chart, &frame, prefix, top))
}

/// What stands above and below a drawing, and what it shows in words.
pub(super) struct Words<'a> {
    pub(super) title: &'a str,
    pub(super) subtitle: &'a [String],
    pub(super) notes: &'a [String],
    pub(super) alt: &'a str,
}

/// A sheet as an SVG file. `inner` draws what lies between title and notes, from a height down to the one it gives back; it is also
/// handed what names in the file begin with.
pub(super) fn sheet(words: &Words<'_>, inner: impl FnOnce(&mut Body, &str, f64) -> f64) -> String {
    let prefix = svg::prefix(&[words.title, words.alt]);
    let mut body = Body::default();
    let mut top = block(&mut body, words.title, PAD, TITLE_PX, INK);
    for line in words.subtitle {
        top = block(&mut body, line, top, TEXT_PX, QUIET);
    }
    top = inner(&mut body, &prefix, top);
    if !words.notes.is_empty() {
        top += 0.6 * PANEL_GAP;
    }
    for line in words.notes {
        top = block(&mut body, line, top, TEXT_PX, QUIET);
    }
    let height = (top + PAD).ceil();
    let mut whole = Body::default();
    whole.rect([0.0, 0.0, WIDTH_PX, height], Some((PAPER, 1.0)), None);
    whole.text.push_str(&body.text);
    svg::file(WIDTH_PX, height, &prefix, words.title, words.alt, &whole)
}

/// A paragraph across the sheet; gives where it ends.
pub(super) fn block(body: &mut Body, text: &str, top: f64, size: f64, colour: Rgb8) -> f64 {
    let lines = lines(text, size, WIDTH_PX - 2.0 * PAD);
    for (i, line) in lines.iter().enumerate() {
        let middle = top + LEADING * size * (i as f64 + 0.5);
        body.words(PAD, middle + 0.5 * svg::CAPITAL * size, size, Anchor::Start, colour, line);
    }
    top + LEADING * size * lines.len() as f64
}

/// All panels; the x axis is written out below the last plot, or below the last panel where there is no plot.
fn panels(body: &mut Body, chart: &Chart, frame: &Frame, prefix: &str, top: f64) -> f64 {
    let is_plot = |p: &Panel| matches!(p, Panel::Plot(_));
    let first_plot = chart.panels.iter().position(is_plot);
    let axis_below = chart.panels.iter().rposition(is_plot).or(chart.panels.len().checked_sub(1));
    let has_band = |p: &Panel| matches!(p, Panel::Plot(plot) if plot.series.iter().any(|s| s.band.is_some()));
    let first_band = chart.panels.iter().position(has_band).filter(|_| !chart.band_label.trim().is_empty());
    let mut top = top;
    for (i, (panel, upright)) in chart.panels.iter().zip(&frame.uprights).enumerate() {
        top += if i == 0 { 0.6 * PANEL_GAP } else { PANEL_GAP };
        top = match panel {
            Panel::Plot(plot) => {
                let band_label = (first_band == Some(i)).then_some(chart.band_label.trim());
                top = plot_heading(body, plot, band_label, top);
                if first_plot == Some(i) {
                    top = flags(body, &chart.rules, frame, top);
                }
                match upright {
                    Some(upright) => plot::draw(
                        body,
                        plot,
                        frame,
                        upright,
                        &chart.rules,
                        top,
                        &format!("{prefix}-plot{i}"),
                    ),
                    None => top,
                }
            }
            Panel::Pictures(pictures) => {
                let below = block(body, &pictures.heading, top, HEADING_PX, INK) + 8.0;
                strips::draw_pictures(body, pictures, frame, below)
            }
            Panel::Strip(strip) => {
                let below = block(body, &strip.heading, top, HEADING_PX, INK) + 4.0;
                strips::draw_strip(body, strip, frame, below)
            }
        };
        if axis_below == Some(i) {
            // Pictures have numbers of their own below them.
            let numbered = !matches!(panel, Panel::Pictures(_));
            top = plot::draw_level_axis(body, &chart.x, frame, numbered, top);
        }
    }
    top
}

/// What the upright axis measures, and the legend.
fn plot_heading(body: &mut Body, plot: &Plot, band_label: Option<&str>, top: f64) -> f64 {
    let below = block(body, &plot.y.heading(), top, HEADING_PX, INK);
    legend::draw(body, plot, band_label, below) + LEGEND_GAP
}

/// The labels of the upright rules above the first plot, tied to their lines: in one row where all fit, else on a row each.
fn flags(body: &mut Body, rules: &[Rule], frame: &Frame, top: f64) -> f64 {
    let mut shown: Vec<&Rule> =
        rules.iter().filter(|r| frame.x.contains(r.at) && !r.label.trim().is_empty()).collect();
    if shown.is_empty() {
        return top;
    }
    shown.sort_by(|a, b| a.at.total_cmp(&b.at));
    let room = (WIDTH_PX - 2.0 * PAD) as f32;
    let texts: Vec<String> =
        shown.iter().map(|r| shortened(&r.label, svg::line_height(TEXT_PX), room)).collect();
    let widths: Vec<f64> = texts.iter().map(|text| svg::width(text, TEXT_PX) + 2.0 * FLAG_GAP).collect();
    let at: Vec<f64> = shown.iter().map(|r| frame.x_px(r.at)).collect();
    let (low, high) = (PAD - FLAG_GAP, WIDTH_PX - PAD + FLAG_GAP);
    let one_row = widths.iter().sum::<f64>() <= high - low;
    let middles = if one_row {
        spread(&at, &widths, low, high)
    } else {
        // Each begins at its line; a lower row is farther right, so that no line crosses a label where there is room.
        let beside: Vec<f64> = at.iter().zip(&widths).map(|(x, w)| x + 0.5 * w).collect();
        beside.iter().zip(&widths).flat_map(|(x, w)| spread(&[*x], &[*w], low, high)).collect()
    };
    let step = LEADING * TEXT_PX;
    let count = if one_row { 1 } else { shown.len() };
    let bottom = top + step * count as f64 + FLAG_TIE;
    let row = |i: usize| top + step * (if one_row { 0 } else { i }) as f64;
    let stroke = Stroke::new(INK, 1.4);
    for (i, (x, (middle, width))) in at.iter().zip(middles.iter().zip(&widths)).enumerate() {
        let half = (0.5 * width - FLAG_GAP).max(0.0);
        if one_row {
            let from = x.clamp(middle - half, middle + half);
            body.line((from, row(i) + step), (*x, bottom), stroke);
        } else {
            body.line((*x, row(i) + 0.5 * step), (*x, bottom), stroke);
        }
    }
    for (i, (text, (middle, width))) in texts.iter().zip(middles.iter().zip(&widths)).enumerate() {
        let plate = [middle - 0.5 * width + 2.0, row(i), width - 4.0, step];
        body.rect(plate, Some((PAPER, 1.0)), None);
        let baseline = row(i) + 0.5 * (step + svg::CAPITAL * TEXT_PX);
        body.words(*middle, baseline, TEXT_PX, Anchor::Middle, INK, text);
    }
    bottom
}
