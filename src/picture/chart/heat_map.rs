//! Heat maps: tables of cells whose colour and figure tell a value.
//!
//! Colours go by steps, so that a cell's step can be read off the scale; the figure in each cell says the same again. Cells that are
//! marked have a frame, cells without a value a question mark.

use super::draw::{Words, block, sheet};
use super::labels::{LEADING, Label, lines};
use super::layout::{HEADING_PX, PAD, PANEL_GAP, TICK_GAP};
use super::legend::text_block;
use super::style::{FRAME, HEAT, INK, PAPER, QUIET, ink_on};
use super::svg::{self, Anchor, Body, Stroke};
use super::{TEXT_PX, WIDTH_PX};

/// Steps of colour.
pub const STEPS: usize = HEAT.len();
/// Height of a cell.
const CELL_PX: f64 = 30.0;
/// Greatest width of a cell.
const MOST_CELL_PX: f64 = 84.0;
/// Blank between two parts of a grid.
const PART_GAP: f64 = 24.0;
/// Width of a step on the scale.
const STEP_PX: f64 = 76.0;
/// Height of the scale.
const SCALE_PX: f64 = 22.0;
/// Row labels are broken at this width.
const ROW_PX: f64 = 330.0;
/// What stands in a cell without a value.
const UNKNOWN: &str = "?";
/// Values from here up are written without decimals.
const WHOLE_FROM: f64 = 9.95;

/// A heat map: what is said above, tables of cells, what is said below.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HeatMap {
    /// Its title; also the SVG's `<title>`.
    pub title: String,
    /// Lines below the title; long ones are wrapped.
    pub subtitle: Vec<String>,
    /// What the values are, with their unit; stands above the scale.
    pub label: String,
    /// Where each step of colour but the first begins, rising.
    pub edges: [f64; STEPS - 1],
    /// What a frame around a cell means.
    pub marked: String,
    /// What a question mark in a cell means.
    pub unknown: String,
    /// The tables, from the top.
    pub grids: Vec<HeatGrid>,
    /// Lines at the foot; long ones are wrapped.
    pub notes: Vec<String>,
}

/// A table of cells: rows that several parts side by side share.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HeatGrid {
    /// What stands above it.
    pub heading: String,
    /// What the rows are.
    pub rows_label: String,
    /// The rows' names, from the top.
    pub rows: Vec<String>,
    /// What the columns are.
    pub columns_label: String,
    /// The parts, from the left.
    pub parts: Vec<HeatPart>,
}

/// A part of a grid.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HeatPart {
    /// What stands above it.
    pub heading: String,
    /// The columns' names.
    pub columns: Vec<String>,
    /// Row by row, as many cells as there are columns.
    pub cells: Vec<Vec<HeatCell>>,
}

/// One cell.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HeatCell {
    /// Its value; `None` where it is not known.
    pub value: Option<f64>,
    /// Whether it has a frame.
    pub marked: bool,
}

impl HeatMap {
    /// The heat map as an SVG file. `alt` says in words what it shows; it becomes the `<desc>`.
    #[must_use]
    pub fn svg(&self, alt: &str) -> String {
        let words = Words { title: &self.title, subtitle: &self.subtitle, notes: &self.notes, alt };
        sheet(&words, |body, _, top| {
            let top = self.scale(body, top + 0.6 * PANEL_GAP);
            self.grids.iter().fold(top, |top, grid| self.grid(body, grid, top + PANEL_GAP))
        })
    }

    /// The step of a value.
    fn step(&self, value: f64) -> usize {
        self.edges.iter().filter(|edge| value >= **edge).count()
    }

    /// The scale of colours and the other signs; gives where they end.
    fn scale(&self, body: &mut Body, top: f64) -> f64 {
        let mut top = block(body, &self.label, top, HEADING_PX, INK) + 4.0;
        for (i, colour) in HEAT.into_iter().enumerate() {
            body.rect([PAD + STEP_PX * i as f64, top, STEP_PX, SCALE_PX], Some((colour, 1.0)), None);
        }
        let rim = [PAD, top, STEP_PX * STEPS as f64, SCALE_PX];
        body.rect(rim, None, Some(Stroke::new(FRAME, 1.2)));
        top += SCALE_PX;
        let baseline = top + 4.0 + LEADING * svg::CAPITAL * TEXT_PX;
        for (i, edge) in self.edges.iter().enumerate() {
            let x = PAD + STEP_PX * (i + 1) as f64;
            body.line((x, top), (x, top + 5.0), Stroke::new(FRAME, 1.2));
            body.words(x, baseline, TEXT_PX, Anchor::Middle, QUIET, &format!("{edge}"));
        }
        top += LEADING * TEXT_PX + 10.0;
        let sample = |top: f64| [PAD, top + 2.0, 1.4 * CELL_PX, LEADING * TEXT_PX];
        if !self.marked.is_empty() {
            self.cell(body, Some(0.0), "", sample(top));
            frame(body, sample(top));
            top = meaning(body, &self.marked, top);
        }
        if !self.unknown.is_empty() {
            self.cell(body, None, UNKNOWN, sample(top));
            top = meaning(body, &self.unknown, top);
        }
        top
    }

    /// One table; gives where it ends.
    fn grid(&self, body: &mut Body, grid: &HeatGrid, top: f64) -> f64 {
        let mut top = block(body, &grid.heading, top, HEADING_PX, INK);
        top = block(body, &grid.rows_label, top, TEXT_PX, QUIET) + 2.0;
        let named: Vec<Label> = grid.rows.iter().map(|row| Label::new(row, TEXT_PX, ROW_PX)).collect();
        let left = PAD + named.iter().map(|label| label.width).fold(0.0, f64::max) + TICK_GAP;
        let columns: usize = grid.parts.iter().map(|part| part.columns.len()).sum();
        let gaps = PART_GAP * grid.parts.len().saturating_sub(1) as f64;
        let width = ((WIDTH_PX - PAD - left - gaps) / columns.max(1) as f64).min(MOST_CELL_PX);
        let heights: Vec<f64> = named.iter().map(|label| label.height.max(CELL_PX)).collect();
        let below_headings = top + headings_height(grid, width);
        let mut y = below_headings;
        for (label, height) in named.iter().zip(&heights) {
            text_block(body, label, left - TICK_GAP, y + 0.5 * (height - label.height), Anchor::End, QUIET);
            y += height;
        }
        let mut x = left;
        let mut end = y;
        for part in &grid.parts {
            let across = width * part.columns.len() as f64;
            let middle = x + 0.5 * across;
            let heading = Label::new(&part.heading, TEXT_PX, across);
            text_block(body, &heading, middle, below_headings - heading.height - 4.0, Anchor::Middle, INK);
            let mut row_top = below_headings;
            for (cells, height) in part.cells.iter().zip(&heights) {
                for (i, cell) in cells.iter().take(part.columns.len()).enumerate() {
                    let value = cell.value.filter(|value| value.is_finite());
                    let text = value.map_or(UNKNOWN.to_owned(), figure);
                    self.cell(body, value, &text, [x + width * i as f64, row_top, width, *height]);
                }
                row_top += height;
            }
            // Frames lie over the neighbours of their cells.
            let mut row_top = below_headings;
            for (cells, height) in part.cells.iter().zip(&heights) {
                for (i, _) in cells.iter().take(part.columns.len()).enumerate().filter(|(_, c)| c.marked) {
                    frame(body, [x + width * i as f64, row_top, width, *height]);
                }
                row_top += height;
            }
            let baseline = y + 2.0 + LEADING * svg::CAPITAL * TEXT_PX;
            for (i, column) in part.columns.iter().enumerate() {
                let at = x + width * (i as f64 + 0.5);
                body.words(at, baseline, TEXT_PX, Anchor::Middle, QUIET, column);
            }
            let label = Label::new(&grid.columns_label, TEXT_PX, across);
            let label_top = y + 4.0 + LEADING * TEXT_PX;
            text_block(body, &label, middle, label_top, Anchor::Middle, QUIET);
            end = end.max(label_top + label.height);
            x += across + PART_GAP;
        }
        end
    }

    /// Colour and text of a cell.
    fn cell(&self, body: &mut Body, value: Option<f64>, text: &str, rect: [f64; 4]) {
        let [x, y, w, h] = rect;
        let ground = value.map_or(PAPER, |value| HEAT[self.step(value)]);
        let rim = if value.is_some() { Stroke::new(PAPER, 1.0) } else { Stroke::new(FRAME, 0.8) };
        body.rect(rect, Some((ground, 1.0)), Some(rim));
        let baseline = y + 0.5 * (h + svg::CAPITAL * TEXT_PX);
        body.words(x + 0.5 * w, baseline, TEXT_PX, Anchor::Middle, ink_on(ground), text);
    }
}

/// What a sign means, beside its sample; gives where it ends.
fn meaning(body: &mut Body, words: &str, top: f64) -> f64 {
    let left = PAD + 1.4 * CELL_PX + TICK_GAP;
    let label = Label::new(words, TEXT_PX, WIDTH_PX - PAD - left);
    text_block(body, &label, left, top + 2.0, Anchor::Start, QUIET);
    top + label.height + 8.0
}

/// The frame of a marked cell: ink on paper, seen on light and dark steps alike.
fn frame(body: &mut Body, [x, y, w, h]: [f64; 4]) {
    let inset = |by: f64| [x + by, y + by, w - 2.0 * by, h - 2.0 * by];
    body.rect(inset(2.5), None, Some(Stroke::new(PAPER, 5.0)));
    body.rect(inset(1.5), None, Some(Stroke::new(INK, 3.0)));
}

/// Height of the tallest heading of a grid's parts, with the blank below it.
fn headings_height(grid: &HeatGrid, width: f64) -> f64 {
    let height = |part: &HeatPart| {
        LEADING * TEXT_PX * lines(&part.heading, TEXT_PX, width * part.columns.len() as f64).len() as f64
    };
    grid.parts.iter().filter(|part| !part.heading.is_empty()).map(height).fold(0.0, f64::max) + 4.0
}

/// A value in as many digits as a cell holds.
fn figure(value: f64) -> String {
    if value.abs() < WHOLE_FROM { format!("{value:.1}") } else { format!("{value:.0}") }
}
