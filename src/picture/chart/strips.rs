//! Panels of pictures that share the x axis.

use super::labels::{LEADING, Label, spread};
use super::layout::{Frame, PAD};
use super::legend::text_block;
use super::style::{FRAME, INK};
use super::svg::{self, Anchor, Body, Stroke};
use super::{Pictures, Strip, TEXT_PX, WIDTH_PX};
use crate::picture::canvas::{Canvas, shortened};
use crate::picture::{png_out, sheet};

/// Pictures are at most this wide.
const MOST_PICTURE_PX: f64 = 170.0;
/// Blank between two pictures.
const PICTURE_GAP: f64 = 6.0;
/// Height of the thin lines that tie pictures to the axis.
const TIE_PX: f64 = 26.0;
/// Embedded image pixels for each SVG pixel: enough for a screen of twice the density, and for print.
const DENSITY: f64 = 2.0;

/// A canvas as PNG, averaged down to what its width in the drawing can show; `None` for one without image pixels.
fn embedded(picture: &Canvas, width: f64) -> Option<Vec<u8>> {
    let most = (DENSITY * width).ceil().max(1.0) as u32;
    png_out::srgb_8(&sheet::shrunk(picture, most), 0.0, &[]).ok()
}

/// Draws small pictures from `top` down; gives where they end.
pub(super) fn draw_pictures(body: &mut Body, panel: &Pictures, frame: &Frame, top: f64) -> f64 {
    let shown: Vec<_> = panel.pictures.iter().filter(|p| frame.x.contains(p.x)).collect();
    if shown.is_empty() {
        return top;
    }
    let count = shown.len() as f64;
    let room = WIDTH_PX - 2.0 * PAD;
    let width = ((room - (count - 1.0) * PICTURE_GAP) / count).min(MOST_PICTURE_PX);
    let wanted: Vec<f64> = shown.iter().map(|p| frame.x_px(p.x)).collect();
    let cell = width + PICTURE_GAP;
    let half = 0.5 * PICTURE_GAP;
    let middles = spread(&wanted, &vec![cell; shown.len()], PAD - half, WIDTH_PX - PAD + half);
    let shape = |p: &Canvas| f64::from(p.height_px) / f64::from(p.width_px.max(1));
    let tallest = shown.iter().map(|p| width * shape(&p.picture)).fold(0.0, f64::max);

    body.line((frame.left, top), (frame.right, top), Stroke::new(FRAME, 1.2));
    let below = top + TIE_PX;
    for ((placed, wanted), middle) in shown.iter().zip(&wanted).zip(&middles) {
        body.line((*wanted, top - 4.0), (*wanted, top + 4.0), Stroke::new(INK, 1.6));
        body.line((*wanted, top + 4.0), (*middle, below - 2.0), Stroke::new(FRAME, 1.2));
        let rect = [middle - 0.5 * width, below, width, width * shape(&placed.picture)];
        match embedded(&placed.picture, width) {
            Some(png) => body.picture(rect, &png),
            None => body.rect([rect[0], below, width, tallest.max(1.0)], None, Some(Stroke::new(FRAME, 1.0))),
        }
        let text = shortened(&placed.label, svg::line_height(TEXT_PX), (cell - 2.0) as f32);
        let baseline = below + tallest + (0.5 * LEADING + 0.5 * svg::CAPITAL) * TEXT_PX + 3.0;
        body.words(*middle, baseline, TEXT_PX, Anchor::Middle, INK, &text);
    }
    below + tallest + LEADING * TEXT_PX + 3.0
}

/// Draws a picture along the axis from `top` down; gives where it ends.
pub(super) fn draw_strip(body: &mut Body, strip: &Strip, frame: &Frame, top: f64) -> f64 {
    let (a, b) = (frame.x_px(strip.from), frame.x_px(strip.to));
    let (left, right) = (a.min(b), a.max(b));
    let of_shape =
        (right - left) * f64::from(strip.picture.height_px) / f64::from(strip.picture.width_px.max(1));
    let height = strip.height_px.unwrap_or(of_shape);
    let height = if height.is_finite() { height.clamp(1.0, 4000.0) } else { 60.0 };
    let on_sheet = left >= 0.0 && right <= WIDTH_PX && right > left;
    let rect = [left, top, right - left, height];
    match embedded(&strip.picture, right - left).filter(|_| on_sheet) {
        Some(png) => body.picture(rect, &png),
        None => {
            let label = Label::new("no picture", TEXT_PX, frame.right - frame.left);
            text_block(body, &label, frame.left, top, Anchor::Start, INK);
        }
    }
    top + height.max(LEADING * TEXT_PX)
}
