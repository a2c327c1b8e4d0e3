//! YUV4MPEG2: frames without compression, for other programs to take on.
//!
//! # Model
//! The picture's sRGB codes R, G, B (0 to 1) become 8-bit luma and colour differences of ITU-R BT.709 in their usual range, at full
//! resolution (4:4:4):
//!
//! ```text
//! Y  =  16 + 219 y,              y = 0.2126 R + 0.7152 G + 0.0722 B
//! Cb = 128 + 224 (B - y) / 1.8556
//! Cr = 128 + 224 (R - y) / 1.5748
//! ```
//!
//! # Validity
//! Rounded to whole numbers: codes come back within 2 of 255. The tones stay those of sRGB, whose curve lies near that of BT.709; the
//! header has no place to say so.
//!
//! # Source
//! ITU-R BT.709-6, items 3.2 to 3.4 and 4.1 (from memory); the header as the mjpegtools describe it in yuv4mpeg(5) (from memory).

use super::timing::Timing;
use crate::picture::canvas::Canvas;
use std::io::{self, Write};

/// The header line of a film.
#[must_use]
pub fn header(width_px: u32, height_px: u32, timing: Timing) -> String {
    let [over, under] = timing.rate();
    format!(
        "YUV4MPEG2 W{width_px} H{height_px} F{over}:{under} Ip A1:1 C444 XYSCSS=444 XCOLORRANGE=LIMITED\n"
    )
}

/// Luma and colour differences of a colour.
#[must_use]
pub fn ycbcr(rgb: [u8; 3]) -> [u8; 3] {
    let [r, g, b] = rgb.map(|v| f64::from(v) / 255.0);
    let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    [16.0 + 219.0 * y, 128.0 + 224.0 * (b - y) / 1.8556, 128.0 + 224.0 * (r - y) / 1.5748]
        .map(|v| v.round() as u8)
}

/// One frame with its own line before it.
#[must_use]
pub fn frame(canvas: &Canvas) -> Vec<u8> {
    const LINE: &[u8] = b"FRAME\n";
    let n = canvas.rgb.len() / 3;
    let mut bytes = Vec::with_capacity(LINE.len() + 3 * n);
    bytes.extend_from_slice(LINE);
    bytes.resize(LINE.len() + 3 * n, 0);
    let (luma, rest) = bytes[LINE.len()..].split_at_mut(n);
    let (blue, red) = rest.split_at_mut(n);
    let (mut last, mut answer) = ([0; 3], ycbcr([0; 3]));
    for (((rgb, y), cb), cr) in canvas.rgb.chunks_exact(3).zip(luma).zip(blue).zip(red) {
        let rgb = [rgb[0], rgb[1], rgb[2]];
        if rgb != last {
            (last, answer) = (rgb, ycbcr(rgb));
        }
        [*y, *cb, *cr] = answer;
    }
    bytes
}

/// Writes the header.
///
/// # Errors
/// Those of the writer.
pub fn begin(out: &mut dyn Write, width_px: u32, height_px: u32, timing: Timing) -> io::Result<()> {
    out.write_all(header(width_px, height_px, timing).as_bytes())
}
