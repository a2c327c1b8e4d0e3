//! Setting text for the pages: lines that fit, blocks with their height.
//!
//! A [`Block`] is a piece of SVG with its upper left corner at the origin and the height that it takes; [`Setting`] makes such blocks at a
//! scale of all text, so that a page too full can be set smaller.

use super::pictures::Picture;
use crate::paper::{data_address, fits, plain, wrapped};
use crate::picture::chart::{escaped, plain_number as n};

/// Distance from line to line over the size of text.
const LEADING: f64 = 1.36;
/// Ink of the pages: the light scheme of the page on screens, on white.
pub(super) const INK: &str = "#22242a";
pub(super) const QUIET: &str = "#595c64";
pub(super) const LINE: &str = "#dcd8cd";
pub(super) const ACCENT: &str = "#83460f";
pub(super) const GLOW: &str = "#b8651b";

/// A piece of a page.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Block {
    pub(super) svg: String,
    pub(super) height: f64,
}

impl Block {
    /// Puts a block below with a distance between.
    pub(super) fn below(&mut self, gap: f64, other: &Block) {
        let y = if self.height > 0.0 { self.height + gap } else { 0.0 };
        self.put(0.0, y, other);
        self.height = self.height.max(y + other.height);
    }

    /// Puts a block at a place; the height is as it was.
    pub(super) fn put(&mut self, x: f64, y: f64, other: &Block) {
        if !other.svg.is_empty() {
            self.svg += &format!(r#"<g transform="translate({} {})">{}</g>"#, n(x), n(y), other.svg);
        }
    }

    /// Blocks side by side, as high as the highest.
    pub(super) fn row(step: f64, all: &[Block]) -> Block {
        let mut row = Block::default();
        for (i, block) in all.iter().enumerate() {
            row.put(step * i as f64, 0.0, block);
            row.height = row.height.max(block.height);
        }
        row
    }
}

/// How text looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Style {
    /// Size in mm at scale 1.
    pub(super) size: f64,
    pub(super) fill: &'static str,
    /// Drawn with a thin stroke, since the embedded font has one weight alone.
    pub(super) strong: bool,
}

pub(super) const BODY: Style = Style { size: 2.9, fill: INK, strong: false };
pub(super) const SMALL: Style = Style { size: 2.5, fill: QUIET, strong: false };
pub(super) const LABEL: Style = Style { size: 2.65, fill: INK, strong: true };

/// The scale of all text.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Setting {
    pub(super) scale: f64,
}

impl Setting {
    /// Words in lines of a width.
    pub(super) fn words(self, text: &str, style: Style, width: f64) -> Block {
        self.lines(&wrapped(text, style.size * self.scale, width), style)
    }

    /// At most so many lines; what is cut ends in an ellipsis.
    pub(super) fn cut(self, text: &str, style: Style, width: f64, most: usize) -> Block {
        let size = style.size * self.scale;
        let mut lines = wrapped(text, size, width);
        if lines.len() > most {
            lines.truncate(most);
            if let Some(last) = lines.last_mut() {
                while !last.is_empty() && !fits(&format!("{last}…"), size, width) {
                    last.pop();
                }
                *last = format!("{}…", last.trim_end());
            }
        }
        self.lines(&lines, style)
    }

    fn lines(self, lines: &[String], style: Style) -> Block {
        let size = style.size * self.scale;
        let strong = if style.strong {
            format!(r#" stroke="{}" stroke-width="{}""#, style.fill, n(0.025 * size))
        } else {
            String::new()
        };
        let mut svg = String::new();
        for (i, line) in lines.iter().enumerate() {
            svg += &format!(
                r#"<text x="0" y="{}" font-size="{}" fill="{}"{strong}>{}</text>"#,
                n(size * (1.02 + LEADING * i as f64)),
                n(size),
                style.fill,
                escaped(line)
            );
        }
        Block { svg, height: size * LEADING * lines.len() as f64 }
    }

    /// A list of points.
    pub(super) fn points(self, points: &[String], style: Style, width: f64) -> Block {
        let indent = 3.0 * self.scale;
        let mut list = Block::default();
        for point in points {
            let mut item = self.words(&plain(point), style, width - indent);
            item.svg = format!(
                r#"<g transform="translate({} 0)">{}</g><circle cx="{}" cy="{}" r="{}" fill="{GLOW}"/>"#,
                n(indent),
                item.svg,
                n(0.25 * indent),
                n(0.66 * style.size * self.scale),
                n(0.17 * style.size * self.scale)
            );
            list.below(0.55 * self.scale, &item);
        }
        list
    }
}

/// A picture of a width.
pub(super) fn picture(picture: &Picture, width: f64) -> Block {
    let height = width * picture.shape();
    let svg = format!(
        r#"<image x="0" y="0" width="{}" height="{}" href="{}"/>"#,
        n(width),
        n(height),
        data_address("image/png", &picture.png)
    );
    Block { svg, height }
}
