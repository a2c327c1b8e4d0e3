//! From a file's bytes to a picture in linear light.
//!
//! # Model
//! Codes become light by the curve of IEC 61966-2-1 (sRGB), or stay as they are where the file or the caller says that they
//! are proportional to light: a PNG by its gAMA or cICP chunk, any file by the curve of its ICC profile. Telephones bend the
//! tones further; nothing in the file tells how, so that a linear picture is the better one where it can be had.
//!
//! A pixel is clipped where its code is so high that the light may have been any amount more. Of 8 bits those are the three
//! highest codes: in a clipped patch of a JPEG the rounding of luma and two colour differences to whole numbers (each off by
//! up to 0.5, the differences times up to 1.77) and of the result moves codes by up to two, and a PNG may have been a JPEG
//! before. A camera may also clip below the top (white balance, a raw converter): where a channel's highest codes are far
//! more frequent than those just below, they are the clipping level ([`Photo::clip_level`]).
//!
//! # Validity
//! Transparency is dropped: the colour below it counts. Colour primaries other than sRGB's are not converted. 40 megapixels
//! of 16 bits take 240 MB, and at most 1 GB while they are decoded and turned upright, the file included; a picture
//! that would take more is refused.
//!
//! # Source
//! IEC 61966-2-1 (the curve); JFIF (the conversion of colours), from memory; orientation as in EXIF 2.3, by the `image` crate.

pub(crate) use super::container::palette_is_whole;
use super::container::{Kind, jpeg_facts, kind, png_is_linear, profile_is_linear};
pub use super::taken::Taken;
use super::taken::{Notes, notes};
use crate::picture::colour;
use image::codecs::{jpeg::JpegDecoder, png::PngDecoder, tiff::TiffDecoder};
use image::{ColorType, DynamicImage, ExtendedColorType, ImageDecoder, ImageError, Limits};
use std::fmt;
use std::io::Cursor;
use thiserror::Error;

/// Pixels of the largest picture that is taken. Telephones make 12 to 50 million; more only costs memory.
pub const MOST_PIXELS: usize = 60_000_000;
/// Memory in bytes that decoding may take, the file included.
pub const MOST_MEMORY: usize = 1 << 30;
/// What a PNG may unpack to beside its picture, in bytes: a colour profile or notes. Honest ones stay below one MiB; a profile of more is
/// left aside, so that a few bytes that unpack to hundreds of MiB do no harm.
pub const MOST_UNPACKED: usize = 16 << 20;
/// Side in pixels of the smallest picture that is taken: below, no spot has a course that could be measured.
pub const LEAST_SIDE: usize = 32;
/// Codes of 8 bits from here on count as clipped; see the module's text.
const CLIPPED_8BIT: u32 = 253;
/// Codes of 16 bits from here on count as clipped: two steps of 14 bits, the finest that cameras make.
const CLIPPED_16BIT: u32 = 65_535 - 8;

/// How the codes of the file become light.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum ToneChoice {
    /// As the file says; sRGB where it says nothing.
    #[default]
    Auto,
    /// Codes are proportional to light.
    Linear,
}

/// How a file is to be decoded.
#[derive(Clone, Copy, Debug)]
struct Wanted {
    tone: ToneChoice,
    /// Bytes that the codes may take.
    most_bytes: usize,
}

/// How the codes of a [`Photo`] became light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// By the curve of IEC 61966-2-1.
    Srgb,
    /// Codes are proportional to light.
    Linear,
}

/// The file's container.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Lossy, 8 bit.
    Jpeg,
    /// Lossless, 8 or 16 bit.
    Png,
    /// 8 or 16 bit.
    Tiff,
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Format::Jpeg => "JPEG",
            Format::Png => "PNG",
            Format::Tiff => "TIFF",
        })
    }
}

/// Codes row by row: one a pixel (grey) or three (R, G, B).
#[derive(Clone, Debug, PartialEq)]
pub enum Samples {
    /// 8 bit.
    Eight(Vec<u8>),
    /// 16 bit.
    Sixteen(Vec<u16>),
}

impl Samples {
    fn len(&self) -> usize {
        match self {
            Samples::Eight(codes) => codes.len(),
            Samples::Sixteen(codes) => codes.len(),
        }
    }

    #[inline]
    fn code(&self, index: usize) -> u32 {
        match self {
            Samples::Eight(codes) => u32::from(codes[index]),
            Samples::Sixteen(codes) => u32::from(codes[index]),
        }
    }

    fn top(&self) -> u32 {
        match self {
            Samples::Eight(_) => 255,
            Samples::Sixteen(_) => 65_535,
        }
    }
}

/// A decoded photograph, upright, codes kept as they were.
#[derive(Clone, Debug)]
pub struct Photo {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// The file's container.
    pub format: Format,
    /// How codes become light.
    pub tone: Tone,
    /// Time, f-number and ISO, where the file tells all three.
    pub taken: Option<Taken>,
    /// The file says that the camera joined several shots or treated the tones for a wide range of light (HDR).
    pub composite: bool,
    /// The file says that the flash fired.
    pub flash: bool,
    /// Step in codes in which a JPEG holds the colour differences of a block; 0 in other files.
    pub(super) colour_step: f64,
    channels: usize,
    samples: Samples,
    /// Linear light of each code.
    table: Vec<f64>,
    /// Codes from here on are clipped: R, G, B.
    clip_code: [u32; 3],
    /// Shares of pixels at code 0: R, G, B.
    black_share: [f64; 3],
}

/// Why a file is no photograph that can be used.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum DecodeError {
    /// No bytes at all.
    #[error("the file is empty")]
    Empty,
    /// A known kind of file that is not read here.
    #[error(
        "the file is {0}; convert it to JPEG or PNG first (most telephones and picture viewers can: share or export as JPEG)"
    )]
    Other(&'static str),
    /// Raw data of a sensor.
    #[error(
        "the file holds raw data of a camera's sensor; develop it with a linear curve and without sharpening to a 16-bit TIFF \
         or PNG, or convert it to JPEG"
    )]
    Raw,
    /// Not known.
    #[error(
        "the file is no picture of a known kind; a JPEG, PNG or TIFF photograph is needed: convert it to JPEG or PNG"
    )]
    Unknown,
    /// The end is missing.
    #[error("the {0} file ends before its picture does; copy it from the camera again")]
    CutShort(Format),
    /// It cannot be decoded.
    #[error("the {format} file is damaged ({detail}); copy it from the camera again")]
    Damaged {
        /// Its container.
        format: Format,
        /// What the decoder said.
        detail: String,
    },
    /// Right, but of a sort that is not read.
    #[error(
        "this sort of {format} is not read ({detail}); save it as an ordinary JPEG, or as PNG or TIFF with 8 or 16 bits"
    )]
    Unsupported {
        /// Its container.
        format: Format,
        /// What is special.
        detail: String,
    },
    /// Made for printing.
    #[error("the {0} file has the colours of printing inks (CMYK); save it with RGB colours")]
    Inks(Format),
    /// Too many pixels.
    #[error(
        "the picture has {width} x {height} pixels; {} million at most are taken (and fewer with 16 bits): make it smaller", MOST_PIXELS / 1_000_000
    )]
    TooLarge {
        /// Width in pixels.
        width: usize,
        /// Height in pixels.
        height: usize,
    },
    /// No room beside the photographs that are kept already.
    #[error(
        "the picture has {width} x {height} pixels, more than there is room for beside the other photographs: make the pictures smaller, \
         or take fewer"
    )]
    NoRoom {
        /// Width in pixels.
        width: usize,
        /// Height in pixels.
        height: usize,
    },
    /// Too few pixels.
    #[error("the picture has {width} x {height} pixels; at least {LEAST_SIDE} a side are needed")]
    TooSmall {
        /// Width in pixels.
        width: usize,
        /// Height in pixels.
        height: usize,
    },
}

impl Photo {
    /// A photograph of codes, row by row from the top; `None` if they are neither one nor three a pixel.
    #[must_use]
    pub fn new(width: usize, height: usize, samples: Samples, tone: Tone, format: Format) -> Option<Photo> {
        let pixels = width.checked_mul(height).filter(|pixels| *pixels > 0)?;
        let channels = samples.len() / pixels;
        if !matches!(channels, 1 | 3) || samples.len() != channels * pixels {
            return None;
        }
        let top = samples.top();
        let light = |code| f64::from(code) / f64::from(top);
        let table = (0..=top).map(|code| match tone {
            Tone::Srgb => colour::decode(light(code)),
            Tone::Linear => light(code),
        });
        let table = table.collect();
        let counts = histograms(&samples, channels, top);
        let per_channel = |c: usize| &counts[c.min(channels - 1)];
        let clip_code = std::array::from_fn(|c| clip_code(per_channel(c), top));
        let black_share = std::array::from_fn(|c| per_channel(c)[0] as f64 / pixels as f64);
        let (taken, composite, flash) = (None, false, false);
        Some(Photo {
            width,
            height,
            format,
            tone,
            taken,
            composite,
            flash,
            colour_step: 0.0,
            channels,
            samples,
            table,
            clip_code,
            black_share,
        })
    }

    /// Codes R, G, B of a pixel; column and row from the upper left.
    #[inline]
    fn codes(&self, x: usize, y: usize) -> [u32; 3] {
        assert!(x < self.width, "column {x} of a picture {} wide", self.width);
        let at = (y * self.width + x) * self.channels;
        if self.channels == 1 {
            [self.samples.code(at); 3]
        } else {
            [self.samples.code(at), self.samples.code(at + 1), self.samples.code(at + 2)]
        }
    }

    /// Linear light R, G, B of a pixel, 0 to 1.
    ///
    /// # Panics
    /// Outside the picture.
    #[inline]
    #[must_use]
    pub fn linear(&self, x: usize, y: usize) -> [f64; 3] {
        self.codes(x, y).map(|code| self.table[code as usize])
    }

    /// Whether R, G, B of a pixel may have been any amount brighter.
    ///
    /// # Panics
    /// Outside the picture.
    #[inline]
    #[must_use]
    pub fn clipped(&self, x: usize, y: usize) -> [bool; 3] {
        let codes = self.codes(x, y);
        std::array::from_fn(|c| codes[c] >= self.clip_code[c])
    }

    /// [`Photo::linear`] and [`Photo::clipped`] at once.
    #[inline]
    pub(super) fn light_and_clipped(&self, x: usize, y: usize) -> ([f64; 3], [bool; 3]) {
        let codes = self.codes(x, y);
        (codes.map(|code| self.table[code as usize]), std::array::from_fn(|c| codes[c] >= self.clip_code[c]))
    }

    /// Linear light R, G, B from which on a pixel counts as clipped.
    #[must_use]
    pub fn clip_level(&self) -> [f64; 3] {
        self.clip_code.map(|code| self.table[code as usize])
    }

    /// Shares of pixels with code 0, R, G, B: where it is large, faint light was cut off.
    #[must_use]
    pub fn black_share(&self) -> [f64; 3] {
        self.black_share
    }

    /// Linear width of the step between codes near a linear light.
    #[must_use]
    pub fn step_at(&self, light: f64) -> f64 {
        let above = self.table.partition_point(|l| *l <= light).clamp(1, self.table.len() - 1);
        self.table[above] - self.table[above - 1]
    }

    /// Whether the file is grey.
    #[must_use]
    pub fn is_grey(&self) -> bool {
        self.channels == 1
    }

    /// Bytes that the codes take.
    #[must_use]
    pub fn bytes(&self) -> usize {
        match &self.samples {
            Samples::Eight(codes) => codes.capacity(),
            Samples::Sixteen(codes) => 2 * codes.capacity(),
        }
    }
}

/// How often each code occurs, channel by channel.
fn histograms(samples: &Samples, channels: usize, top: u32) -> Vec<Vec<u64>> {
    let mut counts = vec![vec![0; top as usize + 1]; channels];
    for at in 0..samples.len() {
        counts[at % channels][samples.code(at) as usize] += 1;
    }
    counts
}

/// The code from which on a channel is clipped: the top, or lower where the highest codes pile up.
///
/// Near the peak of a smooth spot equal steps of light take equal areas, so a pile of `PILE` times as many pixels as in the
/// step below is no peak. Only codes in the upper half are looked at: dark pictures have their own piles.
fn clip_code(counts: &[u64], top: u32) -> u32 {
    /// Pixels in the highest step over those in the step below.
    const PILE: u64 = 5;
    /// Pixels that make a pile.
    const LEAST: u64 = 25;
    let fixed = if top == 255 { CLIPPED_8BIT } else { CLIPPED_16BIT };
    let highest = counts.iter().rposition(|count| *count > 0).unwrap_or(0);
    // A step is one code of 8 bits, or half a percent of the scale.
    let step = if top == 255 { 1 } else { (top / 200) as usize };
    if highest < counts.len() / 2 || highest < 2 * step {
        return fixed;
    }
    let upper: u64 = counts[highest + 1 - step..=highest].iter().sum();
    let lower: u64 = counts[highest + 1 - 2 * step..=highest - step].iter().sum();
    let piled = upper >= LEAST && upper >= PILE * lower.max(1);
    // A picture of one code is even, not clipped.
    let even = upper == counts.iter().sum::<u64>();
    if piled && !even { fixed.min((highest + 1 - step) as u32) } else { fixed }
}

/// Decodes JPEG, PNG or TIFF, turned upright; transparency is dropped.
///
/// # Errors
/// See [`DecodeError`]: what the file is, or what is wrong with it, and what to do.
pub fn decode(bytes: &[u8], tone: ToneChoice) -> Result<Photo, DecodeError> {
    decode_within(bytes, tone, MOST_MEMORY)
}

/// [`decode`] of a picture whose codes take at most so many bytes, by the sizes that its header tells: nothing larger is begun.
///
/// # Errors
/// See [`DecodeError`].
pub fn decode_within(bytes: &[u8], tone: ToneChoice, most_bytes: usize) -> Result<Photo, DecodeError> {
    let wanted = Wanted { tone, most_bytes };
    if bytes.is_empty() {
        return Err(DecodeError::Empty);
    }
    match kind(bytes) {
        Kind::Jpeg => decode_jpeg(bytes, wanted),
        Kind::Png => decode_png(bytes, wanted),
        Kind::Tiff => decode_tiff(bytes, wanted),
        Kind::Raw => Err(DecodeError::Raw),
        Kind::Other(what) => Err(DecodeError::Other(what)),
        Kind::Unknown => Err(DecodeError::Unknown),
    }
}

fn decode_jpeg(bytes: &[u8], wanted: Wanted) -> Result<Photo, DecodeError> {
    let facts = jpeg_facts(bytes);
    if facts.components == 4 {
        return Err(DecodeError::Inks(Format::Jpeg));
    }
    if !facts.complete {
        return Err(DecodeError::CutShort(Format::Jpeg));
    }
    let decoder = JpegDecoder::new(Cursor::new(bytes)).map_err(|e| told(Format::Jpeg, &e))?;
    // The decoder keeps a copy of the file, and for a progressive file 16 bits a sample.
    let mut photo = finish(decoder, bytes, Format::Jpeg, wanted, false, |file, raw| 2 * file + 3 * raw)?;
    photo.composite |= facts.gain_map;
    photo.colour_step = f64::from(facts.colour_eighths) / 8.0;
    Ok(photo)
}

fn decode_png(bytes: &[u8], wanted: Wanted) -> Result<Photo, DecodeError> {
    if !palette_is_whole(bytes) {
        let detail = "its palette ends within a colour".to_owned();
        return Err(DecodeError::Damaged { format: Format::Png, detail });
    }
    let decoder = PngDecoder::with_limits(Cursor::new(bytes), limits(MOST_UNPACKED))
        .map_err(|e| told(Format::Png, &e))?;
    // Turning it upright takes a second copy.
    finish(decoder, bytes, Format::Png, wanted, png_is_linear(bytes), |file, raw| file + 2 * raw)
}

fn decode_tiff(bytes: &[u8], wanted: Wanted) -> Result<Photo, DecodeError> {
    let decoder = TiffDecoder::new(Cursor::new(bytes)).map_err(|e| told(Format::Tiff, &e))?;
    if matches!(decoder.original_color_type(), ExtendedColorType::Cmyk8 | ExtendedColorType::Cmyk16) {
        return Err(DecodeError::Inks(Format::Tiff));
    }
    finish(decoder, bytes, Format::Tiff, wanted, false, |file, raw| file + 2 * raw)
}

/// What decoders may allocate, in bytes.
fn limits(most: usize) -> Limits {
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(most as u64);
    limits
}

/// What all three containers have in common; `memory` tells what decoding takes of the sizes of file and picture in bytes.
fn finish(
    mut decoder: impl ImageDecoder,
    bytes: &[u8],
    format: Format,
    Wanted { tone, most_bytes }: Wanted,
    says_linear: bool,
    memory: fn(usize, usize) -> usize,
) -> Result<Photo, DecodeError> {
    let (width, height) = decoder.dimensions();
    let (width, height) = (width as usize, height as usize);
    if width < LEAST_SIDE || height < LEAST_SIDE {
        return Err(DecodeError::TooSmall { width, height });
    }
    let raw_bytes = usize::try_from(decoder.total_bytes()).unwrap_or(usize::MAX / 4);
    let fits = width.saturating_mul(height) <= MOST_PIXELS && memory(bytes.len(), raw_bytes) <= MOST_MEMORY;
    if !fits {
        return Err(DecodeError::TooLarge { width, height });
    }
    if raw_bytes > most_bytes {
        return Err(DecodeError::NoRoom { width, height });
    }
    if matches!(decoder.color_type(), ColorType::Rgb32F | ColorType::Rgba32F) {
        let detail = "32-bit floating point".to_owned();
        return Err(DecodeError::Unsupported { format, detail });
    }
    let failed = |e: &ImageError| told(format, e);
    decoder.set_limits(limits(MOST_MEMORY)).map_err(|e| failed(&e))?;
    let Notes { taken, composite, flash } = notes(bytes);
    // Notes that cannot be read cost the orientation, not the picture.
    let orientation = decoder.orientation().unwrap_or(image::metadata::Orientation::NoTransforms);
    let profile = decoder.icc_profile().ok().flatten();
    let says_linear = says_linear || profile.is_some_and(|profile| profile_is_linear(&profile));
    let mut picture = DynamicImage::from_decoder(decoder).map_err(|e| failed(&e))?;
    picture.apply_orientation(orientation);
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let tone = if tone == ToneChoice::Linear || says_linear { Tone::Linear } else { Tone::Srgb };
    let unsupported = || DecodeError::Unsupported { format, detail: "unusual channels".to_owned() };
    let samples = samples(picture).ok_or_else(unsupported)?;
    let photo = Photo::new(width, height, samples, tone, format).ok_or_else(unsupported)?;
    Ok(Photo { taken, composite, flash, ..photo })
}

/// The codes of a picture without its transparency, in place.
fn samples(picture: DynamicImage) -> Option<Samples> {
    Some(match picture {
        DynamicImage::ImageLuma8(p) => Samples::Eight(p.into_raw()),
        DynamicImage::ImageLumaA8(p) => Samples::Eight(without_last(p.into_raw(), 2)),
        DynamicImage::ImageRgb8(p) => Samples::Eight(p.into_raw()),
        DynamicImage::ImageRgba8(p) => Samples::Eight(without_last(p.into_raw(), 4)),
        DynamicImage::ImageLuma16(p) => Samples::Sixteen(p.into_raw()),
        DynamicImage::ImageLumaA16(p) => Samples::Sixteen(without_last(p.into_raw(), 2)),
        DynamicImage::ImageRgb16(p) => Samples::Sixteen(p.into_raw()),
        DynamicImage::ImageRgba16(p) => Samples::Sixteen(without_last(p.into_raw(), 4)),
        _ => return None,
    })
}

/// Drops the last of every `group` entries.
fn without_last<T: Copy>(mut codes: Vec<T>, group: usize) -> Vec<T> {
    let groups = codes.len() / group;
    for i in 0..groups {
        codes.copy_within(i * group..i * group + group - 1, i * (group - 1));
    }
    codes.truncate(groups * (group - 1));
    codes
}

/// The error of a decoder in our words.
fn told(format: Format, error: &ImageError) -> DecodeError {
    match error {
        ImageError::IoError(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
            DecodeError::CutShort(format)
        }
        ImageError::Unsupported(e) => DecodeError::Unsupported { format, detail: e.to_string() },
        ImageError::Limits(_) => {
            DecodeError::Unsupported { format, detail: "it would take too much memory".to_owned() }
        }
        e => DecodeError::Damaged { format, detail: e.to_string() },
    }
}

#[cfg(test)]
mod tests;
