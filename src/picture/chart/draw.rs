//! The whole drawing, from the title down.

use super::labels::{LEADING, lines, rows, spread};
use super::layout::{Frame, HEADING_PX, PAD, PANEL_GAP, TITLE_PX};
use super::style::{INK, PAPER, QUIET};
use super::svg::{self, Anchor, Body, Stroke};
use super::{Chart, Panel, Plot, Rule, TEXT_PX, WIDTH_PX, legend, plot, strips};
use crate::picture::canvas::{Rgb8, shortened};

/// Blank around the labels of upright rules.
const FLAG_GAP: f64 = 8.0;

/// The chart as an SVG file.
pub(super) fn drawing(chart: &Chart, alt: &str) -> String {
    let frame = Frame::of(chart);
    let prefix = svg::prefix(&[&chart.title, alt]);
    let mut body = Body::default();
    let mut top = block(&mut body, &chart.title, PAD, TITLE_PX, INK);
    for line in &chart.subtitle {
        top = block(&mut body, line, top, TEXT_PX, QUIET);
    }
    top = panels(&mut body, chart, &frame, &prefix, top);
    if !chart.notes.is_empty() {
        top += 0.6 * PANEL_GAP;
    }
    for line in &chart.notes {
        top = block(&mut body, line, top, TEXT_PX, QUIET);
    }
    let height = (top + PAD).ceil();
    let mut whole = Body::default();
    whole.rect([0.0, 0.0, WIDTH_PX, height], Some((PAPER, 1.0)), None);
    whole.text.push_str(&body.text);
    svg::file(WIDTH_PX, height, &prefix, &chart.title, alt, &whole)
}

/// A paragraph across the sheet; gives where it ends.
fn block(body: &mut Body, text: &str, top: f64, size: f64, colour: Rgb8) -> f64 {
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
            top = plot::draw_level_axis(body, &chart.x, frame, top);
        }
    }
    top
}

/// What the upright axis measures, and the legend.
fn plot_heading(body: &mut Body, plot: &Plot, band_label: Option<&str>, top: f64) -> f64 {
    let below = block(body, &plot.y.heading(), top, HEADING_PX, INK);
    legend::draw(body, plot, band_label, below) + 8.0
}

/// The labels of the upright rules above the first plot, each over its line.
fn flags(body: &mut Body, rules: &[Rule], frame: &Frame, top: f64) -> f64 {
    let mut shown: Vec<&Rule> =
        rules.iter().filter(|r| plot::in_view(&frame.x, r) && !r.label.is_empty()).collect();
    shown.sort_by(|a, b| a.at.total_cmp(&b.at));
    let room = (WIDTH_PX - 2.0 * PAD) as f32;
    let texts: Vec<String> =
        shown.iter().map(|r| shortened(&r.label, svg::line_height(TEXT_PX), room)).collect();
    let widths: Vec<f64> = texts.iter().map(|text| svg::width(text, TEXT_PX)).collect();
    let at: Vec<f64> = shown.iter().map(|r| frame.x_px(r.at)).collect();
    // Each label over its line, moved only where the sheet ends.
    let middles: Vec<f64> =
        at.iter().zip(&widths).flat_map(|(x, w)| spread(&[*x], &[*w], PAD, WIDTH_PX - PAD)).collect();
    let rows = rows(&middles, &widths, &at, FLAG_GAP);
    let count = rows.iter().max().map_or(0, |most| most + 1);
    let step = LEADING * TEXT_PX;
    let bottom = top + step * count as f64 + if count > 0 { 4.0 } else { 0.0 };
    for (((text, middle), row), x) in texts.iter().zip(&middles).zip(&rows).zip(&at) {
        let row_bottom = bottom - 4.0 - step * *row as f64;
        body.words(*middle, row_bottom - 0.25 * TEXT_PX, TEXT_PX, Anchor::Middle, INK, text);
        body.line((*x, row_bottom), (*x, bottom), Stroke::new(INK, 1.6));
    }
    bottom
}
