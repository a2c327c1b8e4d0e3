//! Writing SVG: numbers, escaping, and the few elements a chart needs.

use crate::picture::canvas::{Rgb8, text_width};
use std::fmt::Write as _;

/// Fonts asked for: the embedded one, and others of the same widths where it is missing.
const FONTS: &str = "DejaVu Sans, Bitstream Vera Sans, Verdana, sans-serif";
/// Line height over size of the embedded font: ascent 0.928 and descent 0.236 of its `hhea` table. [`text_width`] takes
/// the line height.
const LINE_OVER_SIZE: f64 = 0.928 + 0.236;
/// Height of a capital over size of the embedded font (1493 of 2048 units in its `OS/2` table).
pub(super) const CAPITAL: f64 = 0.729;

/// Width of a text at a size, in the embedded font.
pub(crate) fn width(text: &str, size: f64) -> f64 {
    f64::from(text_width(text, line_height(size)))
}

/// The line height that belongs to a size, as the canvas's text functions take it.
pub(super) fn line_height(size: f64) -> f32 {
    (size * LINE_OVER_SIZE) as f32
}

/// A coordinate with at most two decimals; what is not finite becomes 0, so that a file is always valid.
pub(crate) fn n(value: f64) -> String {
    let rounded = (value * 100.0).round() / 100.0;
    // Adding 0 turns -0 into 0.
    if rounded.is_finite() { format!("{}", rounded + 0.0) } else { "0".to_owned() }
}

/// `#rrggbb`.
pub(super) fn hex([r, g, b]: Rgb8) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// Text as XML: signs with a meaning escaped, signs that XML 1.0 forbids left out.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => {}
            c => out.push(c),
        }
    }
    out
}

/// Which end of a text its place means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

impl Anchor {
    fn word(self) -> &'static str {
        match self {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        }
    }
}

/// How a path is stroked.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stroke {
    pub(super) colour: Rgb8,
    pub(super) width: f64,
    pub(super) dash: Option<&'static str>,
}

impl Stroke {
    pub(super) fn new(colour: Rgb8, width: f64) -> Stroke {
        Stroke { colour, width, dash: None }
    }

    pub(super) fn dashed(self, dash: Option<&'static str>) -> Stroke {
        Stroke { dash, ..self }
    }

    fn attributes(&self) -> String {
        let dash = self.dash.map_or(String::new(), |d| format!(r#" stroke-dasharray="{d}""#));
        format!(r#" stroke="{}" stroke-width="{}"{dash}"#, hex(self.colour), n(self.width))
    }
}

/// The body of a drawing, element by element.
#[derive(Clone, Debug, Default)]
pub(super) struct Body {
    pub(super) text: String,
}

impl Body {
    fn line_of(&mut self, element: std::fmt::Arguments<'_>) {
        // Writing to a string does not fail.
        let _ = writeln!(self.text, "{element}");
    }

    /// One line of text on its baseline.
    pub(super) fn words(&mut self, x: f64, y: f64, size: f64, anchor: Anchor, colour: Rgb8, text: &str) {
        if text.is_empty() {
            return;
        }
        self.line_of(format_args!(
            r#"<text x="{}" y="{}" font-size="{}" text-anchor="{}" fill="{}">{}</text>"#,
            n(x),
            n(y),
            n(size),
            anchor.word(),
            hex(colour),
            escaped(text)
        ));
    }

    pub(super) fn line(&mut self, from: (f64, f64), to: (f64, f64), stroke: Stroke) {
        self.line_of(format_args!(
            r#"<line x1="{}" y1="{}" x2="{}" y2="{}"{}/>"#,
            n(from.0),
            n(from.1),
            n(to.0),
            n(to.1),
            stroke.attributes()
        ));
    }

    pub(super) fn polyline(&mut self, points: &[(f64, f64)], stroke: Stroke) {
        self.line_of(format_args!(
            r#"<polyline points="{}" fill="none" stroke-linejoin="round"{}/>"#,
            list(points),
            stroke.attributes()
        ));
    }

    pub(super) fn polygon(&mut self, points: &[(f64, f64)], colour: Rgb8, opacity: f64) {
        self.line_of(format_args!(
            r#"<polygon points="{}" fill="{}" fill-opacity="{}"/>"#,
            list(points),
            hex(colour),
            n(opacity)
        ));
    }

    /// A rectangle from its left, top, width and height.
    pub(super) fn rect(&mut self, [x, y, w, h]: [f64; 4], fill: Option<(Rgb8, f64)>, stroke: Option<Stroke>) {
        let fill = fill.map_or(r#" fill="none""#.to_owned(), |(colour, opacity)| {
            let opacity =
                if opacity < 1.0 { format!(r#" fill-opacity="{}""#, n(opacity)) } else { String::new() };
            format!(r#" fill="{}"{opacity}"#, hex(colour))
        });
        let stroke = stroke.map_or(String::new(), |s| s.attributes());
        self.line_of(format_args!(
            r#"<rect x="{}" y="{}" width="{}" height="{}"{fill}{stroke}/>"#,
            n(x),
            n(y),
            n(w.max(0.0)),
            n(h.max(0.0))
        ));
    }

    pub(super) fn path(&mut self, d: &str, fill: Rgb8, stroke: Option<Stroke>) {
        let stroke = stroke.map_or(String::new(), |s| s.attributes());
        self.line_of(format_args!(r#"<path d="{d}" fill="{}"{stroke}/>"#, hex(fill)));
    }

    /// A picture, stretched into a rectangle of left, top, width and height.
    pub(super) fn picture(&mut self, [x, y, w, h]: [f64; 4], png: &[u8]) {
        use base64::Engine as _;
        let data = base64::engine::general_purpose::STANDARD.encode(png);
        self.line_of(format_args!(
            r#"<image x="{}" y="{}" width="{}" height="{}" preserveAspectRatio="none" href="data:image/png;base64,{data}"/>"#,
            n(x),
            n(y),
            n(w),
            n(h)
        ));
    }

    /// What `inner` draws, cut off at the clip path of a name.
    pub(super) fn clipped(&mut self, clip: &str, inner: impl FnOnce(&mut Body)) {
        self.line_of(format_args!(r#"<g clip-path="url(#{clip})">"#));
        inner(self);
        self.line_of(format_args!("</g>"));
    }

    pub(super) fn clip_path(&mut self, clip: &str, [x, y, w, h]: [f64; 4]) {
        self.line_of(format_args!(
            r#"<clipPath id="{clip}"><rect x="{}" y="{}" width="{}" height="{}"/></clipPath>"#,
            n(x),
            n(y),
            n(w),
            n(h)
        ));
    }
}

fn list(points: &[(f64, f64)]) -> String {
    points.iter().map(|(x, y)| format!("{},{}", n(*x), n(*y))).collect::<Vec<_>>().join(" ")
}

/// The whole file. `title` and `alt` become `<title>` and `<desc>`, which name the drawing for a reader that speaks.
pub(super) fn file(width: f64, height: f64, prefix: &str, title: &str, alt: &str, body: &Body) -> String {
    let (w, h) = (n(width), n(height));
    let (title, alt) = (escaped(title), escaped(alt));
    let body = &body.text;
    format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="{h}" viewBox="0 0 {w} {h}" role="img" aria-labelledby="{prefix}-title {prefix}-desc" font-family="{FONTS}">
<title id="{prefix}-title">{title}</title>
<desc id="{prefix}-desc">{alt}</desc>
{body}</svg>
"#
    )
}

/// A short name made from texts, so that two charts in one page do not share names (the FNV-1a hash: G. Fowler, L. C. Noll, K.-P. Vo,
/// from memory).
pub(super) fn prefix(texts: &[&str]) -> String {
    let mut hash: u32 = 0x811c_9dc5;
    for byte in texts.iter().flat_map(|t| t.bytes().chain([0])) {
        hash = (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193);
    }
    format!("c{hash:08x}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_with_a_meaning_are_escaped_and_forbidden_ones_dropped() {
        assert_eq!(
            escaped("a<b & \"c\" 'd'>\u{0}\u{1f}\n\u{ffff}"),
            "a&lt;b &amp; &quot;c&quot; &#39;d&#39;&gt; "
        );
    }

    #[test]
    fn coordinates_are_short_and_always_numbers() {
        assert_eq!([1.0, -0.001, 2.346, f64::NAN, f64::INFINITY].map(n), ["1", "0", "2.35", "0", "0"]);
    }
}
