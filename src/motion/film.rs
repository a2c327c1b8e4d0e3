//! Films, written frame by frame as they come.
//!
//! | kind | colours | shown |
//! |---|---|---|
//! | GIF | 256 a frame, chosen for each ([`super::palette`]), no dithering, which would flicker | in 1/100 s, rounding carried along |
//! | APNG | the 8-bit sRGB picture, exact | exact, or in 1/1000 s with rounding carried along |
//! | YUV4MPEG2 | [`super::y4m`] | exact |
//! | folder | PNG files, exact | one file a frame |
//!
//! [`packed`] does what can be done with a frame by itself; a [`Film`] takes the packed frames in order. Nothing is kept of a frame once
//! it is written.
//!
//! Sources: GIF89a; W3C, Portable Network Graphics, third edition (animation chunks).

use super::palette::palette;
use super::timing::Timing;
use super::y4m;
use crate::picture::canvas::Canvas;
use crate::picture::png_out::{PngError, srgb_8};
use std::io::{self, Write};
use thiserror::Error;

/// GIF counts time in these, in 1/s.
pub const GIF_PER_S: f64 = 100.0;
/// More frames a second a GIF does not show: viewers slow shorter delays than 2/100 s down (common practice, no source).
pub const GIF_MOST_PER_S: f64 = 50.0;
/// The unit of APNG's delays where they are no plain fraction, in 1/s.
const PNG_PER_S: f64 = 1000.0;

/// What kind of film.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// GIF.
    Gif,
    /// Animated PNG.
    Apng,
    /// YUV4MPEG2.
    Y4m,
    /// PNG files, one a frame.
    Folder,
}

/// Why a film cannot be written.
#[derive(Debug, Error)]
pub enum FilmError {
    /// The place of writing refuses.
    #[error("{0}")]
    Io(#[from] io::Error),
    /// The GIF encoder refuses.
    #[error("the GIF cannot be encoded: {0}")]
    Gif(#[from] gif::EncodingError),
    /// The PNG encoder refuses.
    #[error("the PNG cannot be encoded: {0}")]
    Png(#[from] png::EncodingError),
    /// A single picture cannot be encoded.
    #[error("{0}")]
    Picture(#[from] PngError),
    /// A picture without or with too many image pixels for the kind.
    #[error("a picture of {0} by {1} image pixels does not fit this kind of film")]
    Size(u32, u32),
}

/// A frame, made ready for its film.
#[derive(Debug)]
pub enum Packed {
    /// Indices and palette, compressed.
    Gif(Box<gif::Frame<'static>>),
    /// Codes.
    Rgb(Canvas),
    /// Bytes as they go into the file.
    Bytes(Vec<u8>),
}

/// Makes a frame ready: all that does not depend on the others.
///
/// # Errors
/// When the picture does not fit the kind of film.
pub fn packed(kind: Kind, canvas: Canvas, mm_per_px: f64) -> Result<Packed, FilmError> {
    Ok(match kind {
        Kind::Gif => Packed::Gif(Box::new(gif_frame(&canvas)?)),
        Kind::Apng => Packed::Rgb(canvas),
        Kind::Y4m => Packed::Bytes(y4m::frame(&canvas)),
        Kind::Folder => Packed::Bytes(srgb_8(&canvas, mm_per_px, &[("Software", "weftlight")])?),
    })
}

fn gif_frame(canvas: &Canvas) -> Result<gif::Frame<'static>, FilmError> {
    let refused = || FilmError::Size(canvas.width_px, canvas.height_px);
    let (Ok(width), Ok(height)) = (u16::try_from(canvas.width_px), u16::try_from(canvas.height_px)) else {
        return Err(refused());
    };
    let (palette, indices) = palette(&canvas.rgb);
    let mut frame = gif::Frame::from_palette_pixels(width, height, indices, palette.concat(), None);
    frame.make_lzw_pre_encoded();
    Ok(frame)
}

/// A film that goes to one writer.
pub struct Film<W: Write> {
    timing: Timing,
    done: usize,
    out: Out<W>,
}

enum Out<W: Write> {
    Gif(gif::Encoder<W>),
    Apng(png::Writer<W>),
    Y4m(W),
}

impl<W: Write> std::fmt::Debug for Film<W> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Film").field("timing", &self.timing).field("done", &self.done).finish_non_exhaustive()
    }
}

impl<W: Write> Film<W> {
    /// Begins a film of one file that runs for ever. `None` for a folder, which is no single file.
    ///
    /// # Errors
    /// When the writer or the encoder refuses.
    pub fn begin(
        kind: Kind,
        mut out: W,
        size_px: [u32; 2],
        timing: Timing,
    ) -> Result<Option<Film<W>>, FilmError> {
        let [width_px, height_px] = size_px;
        let out = match kind {
            Kind::Folder => return Ok(None),
            Kind::Gif => {
                let (Ok(width), Ok(height)) = (u16::try_from(width_px), u16::try_from(height_px)) else {
                    return Err(FilmError::Size(width_px, height_px));
                };
                let mut encoder = gif::Encoder::new(out, width, height, &[])?;
                encoder.set_repeat(gif::Repeat::Infinite)?;
                Out::Gif(encoder)
            }
            Kind::Apng => {
                let mut encoder = png::Encoder::new(out, width_px, height_px);
                encoder.set_color(png::ColorType::Rgb);
                encoder.set_depth(png::BitDepth::Eight);
                encoder.set_compression(png::Compression::Fast);
                encoder.set_filter(png::Filter::Paeth);
                encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
                encoder.set_animated(timing.count as u32, 0)?;
                Out::Apng(encoder.write_header()?)
            }
            Kind::Y4m => {
                y4m::begin(&mut out, width_px, height_px, timing)?;
                Out::Y4m(out)
            }
        };
        Ok(Some(Film { timing, done: 0, out }))
    }

    /// Writes the next frame.
    ///
    /// # Errors
    /// When the writer or the encoder refuses, or the frame was made ready for another kind of film.
    pub fn push(&mut self, frame: Packed) -> Result<(), FilmError> {
        match (&mut self.out, frame) {
            (Out::Gif(encoder), Packed::Gif(mut frame)) => {
                frame.delay = self.timing.delay(self.done, GIF_PER_S);
                encoder.write_lzw_pre_encoded_frame(&frame)?;
            }
            (Out::Apng(writer), Packed::Rgb(canvas)) => {
                let [over, under] = self.timing.rate();
                let (over, under) = match (u16::try_from(under), u16::try_from(over)) {
                    (Ok(over), Ok(under)) => (over, under),
                    _ => (self.timing.delay(self.done, PNG_PER_S), PNG_PER_S as u16),
                };
                writer.set_frame_delay(over, under)?;
                writer.write_image_data(&canvas.rgb)?;
            }
            (Out::Y4m(out), Packed::Bytes(bytes)) => out.write_all(&bytes)?,
            _ => return Err(io::Error::other("this frame was made ready for another kind of film").into()),
        }
        self.done += 1;
        Ok(())
    }

    /// Ends the film. A film that is dropped before that is not whole.
    ///
    /// # Errors
    /// When the writer refuses, or frames are missing.
    pub fn finish(self) -> Result<(), FilmError> {
        match self.out {
            Out::Gif(encoder) => encoder.into_inner()?.flush()?,
            Out::Apng(writer) => writer.finish()?,
            Out::Y4m(mut out) => out.flush()?,
        }
        Ok(())
    }
}

/// The name of a frame's file in a folder, counted from 0.
#[must_use]
pub fn file_name(frame: usize) -> String {
    format!("frame-{frame:05}.png")
}

/// Whether a name is one that [`file_name`] gives.
#[must_use]
pub fn is_file_name(name: &str) -> bool {
    let number = name.strip_prefix("frame-").and_then(|rest| rest.strip_suffix(".png"));
    number.is_some_and(|n| n.len() == 5 && n.bytes().all(|b| b.is_ascii_digit()))
}
