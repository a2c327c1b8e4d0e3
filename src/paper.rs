//! What the sheets share, that for making and that for a client: paper, whole pages of HTML, and text set in mm.

use crate::picture::chart::{escaped, text_width_at};
use crate::words;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;

/// Paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// 210 by 297 mm.
    A4,
    /// 8.5 by 11 inch.
    Letter,
}

impl Paper {
    /// Width and height, upright, in mm.
    #[must_use]
    pub fn size_mm(self) -> [f64; 2] {
        match self {
            Paper::A4 => [210.0, 297.0],
            Paper::Letter => [215.9, 279.4],
        }
    }

    /// Width and height in mm, upright or turned on its side.
    #[must_use]
    pub fn lying_mm(self, across: bool) -> [f64; 2] {
        let [width, height] = self.size_mm();
        if across { [height, width] } else { [width, height] }
    }

    /// Width and height, upright or turned on its side, as a style sheet has them.
    pub(crate) fn in_style(self, across: bool) -> &'static str {
        match (self, across) {
            (Paper::A4, false) => "210mm 297mm",
            (Paper::A4, true) => "297mm 210mm",
            (Paper::Letter, false) => "8.5in 11in",
            (Paper::Letter, true) => "11in 8.5in",
        }
    }

    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Paper::A4 => "A4",
            Paper::Letter => "Letter",
        }
    }
}

/// A whole page of HTML that needs nothing from outside; the title is plain text, style and body are as they are to stand there.
pub(crate) fn html_page(title: &str, style: &str, body: &str) -> String {
    format!(
        "<!DOCTYPE html>\n<html xmlns=\"http://www.w3.org/1999/xhtml\" lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n<link rel=\"icon\" href=\"data:,\"/>\n<title>{}</title>\n\
         <style>{style}</style>\n</head>\n<body>\n{body}</body>\n</html>\n",
        escaped(title)
    )
}

/// A file as an address that holds it.
pub(crate) fn data_address(media_type: &str, bytes: &[u8]) -> String {
    format!("data:{media_type};base64,{}", STANDARD.encode(bytes))
}

/// Text as HTML, with what stands between back quotes as code.
pub(crate) fn marked(text: &str) -> String {
    let parts: Vec<&str> = text.split('`').collect();
    // A quote without its partner stays a quote.
    if parts.len().is_multiple_of(2) {
        return escaped(text);
    }
    let part = |(i, part): (usize, &&str)| {
        if i % 2 == 1 { format!("<code>{}</code>", escaped(part)) } else { escaped(part) }
    };
    parts.iter().enumerate().map(part).collect()
}

/// Text without the marks of code.
pub(crate) fn plain(text: &str) -> String {
    text.replace('`', "")
}

/// Whether a line of text of this size is no wider than this, in mm.
pub(crate) fn fits(text: &str, size: f64, width: f64) -> bool {
    // Measured ten times as large: the font's own measures are made for image pixels.
    text_width_at(text, 10.0 * size) <= 10.0 * width
}

/// Words in lines that fit a width, both in mm; a word that is too long for a line is broken.
pub(crate) fn wrapped(text: &str, size: f64, width: f64) -> Vec<String> {
    words::wrapped(text, |line| fits(line, size, width))
}
