//! A canvas of 8-bit sRGB values, with rectangles and text.
//!
//! Text is drawn with the font embedded in the program (DejaVu Sans; its licence lies beside it in `src/assets`), so a
//! picture looks the same on every machine. The outline's coverage mixes the colours in sRGB values, as screens do.

use crate::words;
use ab_glyph::{Font, FontRef, Glyph, PxScale, ScaleFont, point};
use std::sync::LazyLock;

/// An sRGB colour.
pub type Rgb8 = [u8; 3];

/// The embedded font as a file.
pub(crate) static FONT_FILE: &[u8] = include_bytes!("../assets/DejaVuSans.ttf");

/// The embedded font; the file is part of the program, and a test reads it.
static FONT: LazyLock<Option<FontRef<'static>>> = LazyLock::new(|| FontRef::try_from_slice(FONT_FILE).ok());

/// What stands where a text had to be cut.
const ELLIPSIS: char = '…';

/// An 8-bit sRGB picture, row by row from the top, three values an image pixel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Canvas {
    /// Image pixels in a row.
    pub width_px: u32,
    /// Rows.
    pub height_px: u32,
    /// `3 width height` values.
    pub rgb: Vec<u8>,
}

/// A line of text in its place on a canvas.
pub(super) struct Line {
    pub(super) left: f32,
    pub(super) top: f32,
    pub(super) height: f32,
    pub(super) colour: Rgb8,
    pub(super) text: String,
}

impl Canvas {
    /// Writes lines of text.
    pub(super) fn lines(&mut self, lines: &[Line]) {
        for line in lines {
            self.text(line.left, line.top, line.height, line.colour, &line.text);
        }
    }

    /// A canvas of one colour.
    #[must_use]
    pub fn filled(width_px: u32, height_px: u32, colour: Rgb8) -> Canvas {
        let n = width_px as usize * height_px as usize;
        Canvas { width_px, height_px, rgb: colour.repeat(n) }
    }

    /// A canvas from values; `None` when their number does not fit the size.
    #[must_use]
    pub fn from_rgb(width_px: u32, height_px: u32, rgb: Vec<u8>) -> Option<Canvas> {
        (rgb.len() == 3 * width_px as usize * height_px as usize).then_some(Canvas {
            width_px,
            height_px,
            rgb,
        })
    }

    /// The colour of an image pixel; `None` outside.
    #[must_use]
    pub fn at(&self, x: u32, y: u32) -> Option<Rgb8> {
        let i = self.index(i64::from(x), i64::from(y))?;
        Some([self.rgb[i], self.rgb[i + 1], self.rgb[i + 2]])
    }

    fn index(&self, x: i64, y: i64) -> Option<usize> {
        let inside =
            (0..i64::from(self.width_px)).contains(&x) && (0..i64::from(self.height_px)).contains(&y);
        inside.then(|| 3 * (y as usize * self.width_px as usize + x as usize))
    }

    /// Mixes a colour into an image pixel; outside the canvas nothing happens.
    pub fn mix(&mut self, x: i64, y: i64, colour: Rgb8, share: f32) {
        if let Some(i) = self.index(x, y) {
            let share = share.clamp(0.0, 1.0);
            for (value, new) in self.rgb[i..i + 3].iter_mut().zip(colour) {
                *value = (f32::from(*value) * (1.0 - share) + f32::from(new) * share).round() as u8;
            }
        }
    }

    /// Fills a rectangle; what lies outside the canvas is left out.
    pub fn fill(&mut self, left: i64, top: i64, width: u32, height: u32, colour: Rgb8) {
        let (x0, x1) = span(left, width, self.width_px);
        let (y0, y1) = span(top, height, self.height_px);
        for y in y0..y1 {
            let start = 3 * (y * self.width_px as usize);
            for value in self.rgb[start + 3 * x0..start + 3 * x1.max(x0)].chunks_exact_mut(3) {
                value.copy_from_slice(&colour);
            }
        }
    }

    /// Copies another canvas into this one with its top left corner at a place; what lies outside is left out.
    pub fn paste(&mut self, left: i64, top: i64, other: &Canvas) {
        let (x0, x1) = span(left, other.width_px, self.width_px);
        let (y0, y1) = span(top, other.height_px, self.height_px);
        if x0 >= x1 {
            return;
        }
        for y in y0..y1 {
            let from =
                3 * ((y as i64 - top) as usize * other.width_px as usize + (x0 as i64 - left) as usize);
            let to = 3 * (y * self.width_px as usize + x0);
            let n = 3 * (x1 - x0);
            self.rgb[to..to + n].copy_from_slice(&other.rgb[from..from + n]);
        }
    }

    /// Draws one line of text, its line box starting at `left`, `top`; returns its width in image pixels.
    pub fn text(&mut self, left: f32, top: f32, height_px: f32, colour: Rgb8, text: &str) -> f32 {
        let Some(font) = FONT.as_ref() else { return 0.0 };
        let scaled = font.as_scaled(scale(height_px));
        let baseline = top + scaled.ascent();
        for_each_glyph(&scaled, text, |glyph, x| {
            let glyph = Glyph { position: point(left + x, baseline), ..glyph };
            if let Some(outline) = font.outline_glyph(glyph) {
                let bounds = outline.px_bounds();
                let (x0, y0) = (bounds.min.x as i64, bounds.min.y as i64);
                outline.draw(|x, y, share| self.mix(x0 + i64::from(x), y0 + i64::from(y), colour, share));
            }
        })
    }
}

/// The part of `start .. start + length` that lies on an axis of `count` image pixels.
fn span(start: i64, length: u32, count: u32) -> (usize, usize) {
    let clamp = |v: i64| v.clamp(0, i64::from(count)) as usize;
    (clamp(start), clamp(start.saturating_add(i64::from(length))))
}

/// The font's own line height is ascent plus descent, which is what the scale means.
fn scale(height_px: f32) -> PxScale {
    PxScale::from(height_px.max(1.0))
}

/// Calls `f` with each glyph and its pen position; returns the pen's end.
fn for_each_glyph<F: Font>(font: &impl ScaleFont<F>, text: &str, mut f: impl FnMut(Glyph, f32)) -> f32 {
    let mut pen = 0.0;
    let mut before = None;
    for character in text.chars() {
        let id = font.glyph_id(if character.is_control() { ' ' } else { character });
        pen += before.map_or(0.0, |b| font.kern(b, id));
        f(id.with_scale(font.scale()), pen);
        pen += font.h_advance(id);
        before = Some(id);
    }
    pen
}

/// Width of a line of text in image pixels, at a line height.
#[must_use]
pub fn text_width(text: &str, height_px: f32) -> f32 {
    FONT.as_ref().map_or(0.0, |font| for_each_glyph(&font.as_scaled(scale(height_px)), text, |_, _| ()))
}

/// Breaks a text into lines no wider than `width_px`, at spaces (not at non-breaking ones) where possible, within words where
/// not.
#[must_use]
pub fn wrapped(text: &str, height_px: f32, width_px: f32) -> Vec<String> {
    words::wrapped(text, |line| text_width(line, height_px) <= width_px)
}

/// The text, or as much of its beginning as fits, with an ellipsis.
#[must_use]
pub fn shortened(text: &str, height_px: f32, width_px: f32) -> String {
    if text_width(text, height_px) <= width_px {
        return text.to_owned();
    }
    let mut kept: String = text.to_owned();
    while kept.pop().is_some() {
        let candidate = format!("{}{ELLIPSIS}", kept.trim_end());
        if text_width(&candidate, height_px) <= width_px {
            return candidate;
        }
    }
    String::new()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_embedded_font_is_read_and_has_the_signs_in_use() {
        let font = FONT.as_ref().expect("the embedded font");
        for character in "AZaz09±·×²…–°üßé²µ".chars() {
            assert_ne!(font.glyph_id(character).0, 0, "{character}");
        }
    }

    #[test]
    fn text_leaves_marks_inside_its_box_only() {
        let mut canvas = Canvas::filled(200, 60, [0; 3]);
        let width = canvas.text(10.0, 10.0, 30.0, [255; 3], "Weft ±30 %");
        assert!(width > 60.0 && width < 180.0, "{width}");
        let marked = |x: u32, y: u32| canvas.at(x, y) != Some([0; 3]);
        assert!((0..200).any(|x| (10..40).any(|y| marked(x, y))));
        assert!((0..200).all(|x| (0..9).chain(42..60).all(|y| !marked(x, y))));
        assert!((0..60).all(|y| (0..8).chain(13 + width as u32..200).all(|x| !marked(x, y))));
    }

    #[test]
    fn lines_are_broken_and_cut_to_fit() {
        let text = "a sentence of several words and one Donaudampfschifffahrtsgesellschaft";
        for width in [5.0, 40.0, 130.0, 1000.0] {
            let lines = wrapped(text, 14.0, width);
            assert_eq!(lines.concat().replace(' ', ""), text.replace(' ', ""));
            assert!(lines.iter().all(|l| text_width(l, 14.0) <= width || l.chars().count() == 1));
            assert!(text_width(&shortened(text, 14.0, width), 14.0) <= width);
        }
        assert_eq!(shortened("short", 14.0, 200.0), "short");
    }

    #[test]
    fn filling_and_pasting_stay_on_the_canvas() {
        let mut canvas = Canvas::filled(10, 8, [9; 3]);
        canvas.fill(-5, -5, 7, 7, [1; 3]);
        canvas.fill(100, 2, 7, 7, [1; 3]);
        assert_eq!((canvas.at(1, 1), canvas.at(2, 2), canvas.at(10, 0)), (Some([1; 3]), Some([9; 3]), None));
        canvas.paste(8, -1, &Canvas::filled(4, 4, [7; 3]));
        canvas.paste(-20, 0, &Canvas::filled(4, 4, [7; 3]));
        assert_eq!(
            (canvas.at(9, 2), canvas.at(9, 3), canvas.at(7, 0)),
            (Some([7; 3]), Some([9; 3]), Some([9; 3]))
        );
        assert!(Canvas::from_rgb(2, 2, vec![0; 11]).is_none());
    }
}
