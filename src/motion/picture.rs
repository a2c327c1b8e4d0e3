//! A picture file laid over the pixels.
//!
//! # Model
//! Each pixel stands for a square cell around its centre, as wide as the way to its nearest neighbour along the wiring within its group
//! (the package, where it has none). It is sent the mean of the picture's codes over its cell, each picture element by the area that
//! lies within; what lies outside the picture, or is transparent, is black. Rows of the picture go downwards, y upwards.
//!
//! # Validity
//! Codes are averaged as they are, which is what programs do; a mean of light would be brighter at edges. Colour profiles are not
//! applied. A GIF's delay of 0 counts as [`NO_DELAY_S`], as viewers do (common practice, no source).
//!
//! # Source
//! GIF89a (delays in 1/100 s); decoding and composing of frames: the `image` crate.

use crate::photo::decode::{MOST_UNPACKED, palette_is_whole};
use crate::scene::Pixel;
use image::codecs::gif::GifDecoder;
use image::codecs::png::PngDecoder;
use image::{
    AnimationDecoder, DynamicImage, Frames, ImageDecoder, ImageFormat, ImageReader, Limits, RgbaImage,
};
use rayon::prelude::*;
use std::io::Cursor;
use thiserror::Error;

/// A picture file may be this large, in bytes.
pub const MOST_BYTES: u64 = 32 << 20;
/// Side of the largest picture, in picture elements.
pub const MOST_SIDE: u32 = 4096;
/// Pictures of one file.
pub const MOST_PICTURES: usize = 2_000;
/// Codes of all pixels in all pictures together: 6 bytes each.
pub const MOST_CODES: usize = 20_000_000;
/// Memory that decoding may take, in bytes.
const MOST_MEMORY: u64 = 256 << 20;
/// What a delay of 0 counts as, in s.
pub const NO_DELAY_S: f64 = 0.1;

/// Why a picture cannot be used.
#[derive(Debug, Error)]
pub enum PictureError {
    /// Not a picture, or a broken or an excessive one.
    #[error("{0}")]
    Decoding(#[from] image::ImageError),
    /// A kind of file that is not read.
    #[error("this is no PNG, JPEG, WebP or GIF file")]
    Kind,
    /// Too many pictures.
    #[error("it holds more than {MOST_PICTURES} pictures")]
    Pictures,
    /// Too much for the memory.
    #[error("its pictures take more than {MOST_CODES} colours over all pixels and pictures")]
    Codes,
    /// A PNG whose palette has a part of a colour.
    #[error("it is damaged: its palette ends within a colour")]
    Palette,
    /// No picture at all.
    #[error("it holds no picture")]
    None,
}

/// Where a picture lies in the garment's plane.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Placing {
    /// Its middle; the middle of the pixels without it.
    pub centre_mm: Option<[f64; 2]>,
    /// Its width; without it, as large as covers all cells.
    pub width_mm: Option<f64>,
}

/// What the pixels are sent of a picture file.
#[derive(Clone, Debug, PartialEq)]
pub struct Mapped {
    /// When each picture ends, in s, rising.
    pub ends_s: Vec<f64>,
    /// By picture, by pixel: codes over 65535.
    pub codes: Vec<Vec<[u16; 3]>>,
    /// Whether the file moves.
    pub moving: bool,
}

/// Lays the pictures of a file over pixels.
///
/// # Errors
/// Why the file cannot be used.
pub fn mapped(bytes: &[u8], pixels: &[Pixel], placing: Placing) -> Result<Mapped, PictureError> {
    let format = image::guess_format(bytes).map_err(|_| PictureError::Kind)?;
    let mut limits = Limits::default();
    limits.max_image_width = Some(MOST_SIDE);
    limits.max_image_height = Some(MOST_SIDE);
    limits.max_alloc = Some(MOST_MEMORY);
    match format {
        ImageFormat::Gif => {
            let mut decoder = GifDecoder::new(Cursor::new(bytes))?;
            decoder.set_limits(limits)?;
            moving(decoder.into_frames(), pixels, placing)
        }
        ImageFormat::Png if !palette_is_whole(bytes) => Err(PictureError::Palette),
        ImageFormat::Png => {
            // A colour profile is unpacked as soon as the file is opened, whatever is done with it.
            let mut opened = limits.clone();
            opened.max_alloc = Some(MOST_UNPACKED as u64);
            let mut decoder = PngDecoder::with_limits(Cursor::new(bytes), opened)?;
            decoder.set_limits(limits)?;
            if decoder.is_apng()? {
                moving(decoder.apng()?.into_frames(), pixels, placing)
            } else {
                Ok(still(DynamicImage::from_decoder(decoder)?, pixels, placing))
            }
        }
        ImageFormat::Jpeg | ImageFormat::WebP => {
            let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
            reader.limits(limits);
            Ok(still(reader.decode()?, pixels, placing))
        }
        _ => Err(PictureError::Kind),
    }
}

fn still(picture: DynamicImage, pixels: &[Pixel], placing: Placing) -> Mapped {
    let picture = picture.into_rgba8();
    let cells = Cells::new(&picture, pixels, placing);
    Mapped { ends_s: vec![1.0], codes: vec![cells.codes(&picture)], moving: false }
}

fn moving(frames: Frames<'_>, pixels: &[Pixel], placing: Placing) -> Result<Mapped, PictureError> {
    let mut mapped = Mapped { ends_s: Vec::new(), codes: Vec::new(), moving: true };
    let mut cells: Option<Cells> = None;
    let mut end_s = 0.0;
    for frame in frames {
        let frame = frame?;
        if mapped.codes.len() >= MOST_PICTURES {
            return Err(PictureError::Pictures);
        }
        if (mapped.codes.len() + 1) * pixels.len() > MOST_CODES {
            return Err(PictureError::Codes);
        }
        let (over, under) = frame.delay().numer_denom_ms();
        let delay_s = f64::from(over) / f64::from(under.max(1)) / 1000.0;
        end_s += if delay_s > 0.0 { delay_s } else { NO_DELAY_S };
        let picture = frame.into_buffer();
        let cells = cells.get_or_insert_with(|| Cells::new(&picture, pixels, placing));
        mapped.codes.push(cells.codes(&picture));
        mapped.ends_s.push(end_s);
    }
    if mapped.codes.is_empty() { Err(PictureError::None) } else { Ok(mapped) }
}

/// The pixels' cells in picture elements: left, right, top, bottom.
struct Cells(Vec<[f64; 4]>);

impl Cells {
    fn new(picture: &RgbaImage, pixels: &[Pixel], placing: Placing) -> Cells {
        let half: Vec<f64> = (0..pixels.len()).map(|i| 0.5 * cell_mm(pixels, i)).collect();
        let edges = pixels.iter().zip(&half).map(|(p, h)| {
            let [x, y] = p.at.map(|v| v.0);
            [x - h, x + h, y - h, y + h]
        });
        let none = [f64::INFINITY, f64::NEG_INFINITY, f64::INFINITY, f64::NEG_INFINITY];
        let [left, right, low, high] =
            edges.fold(none, |e, c| [e[0].min(c[0]), e[1].max(c[1]), e[2].min(c[2]), e[3].max(c[3])]);
        let (width, height) = (f64::from(picture.width()), f64::from(picture.height()));
        let covering = (right - left).max((high - low) * width / height);
        let px_per_mm = width / placing.width_mm.unwrap_or(covering);
        let [x0, y0] = placing.centre_mm.unwrap_or([0.5 * (left + right), 0.5 * (low + high)]);
        let cells = pixels.iter().zip(&half).map(|(p, h)| {
            let across = |x: f64| 0.5 * width + (x - x0) * px_per_mm;
            let down = |y: f64| 0.5 * height - (y - y0) * px_per_mm;
            let [x, y] = p.at.map(|v| v.0);
            [across(x - h), across(x + h), down(y + h), down(y - h)]
        });
        Cells(cells.collect())
    }

    fn codes(&self, picture: &RgbaImage) -> Vec<[u16; 3]> {
        self.0.par_iter().map(|cell| mean(picture, cell)).collect()
    }
}

/// The mean code over a cell; outside the picture there is black.
fn mean(picture: &RgbaImage, [left, right, top, bottom]: &[f64; 4]) -> [u16; 3] {
    /// A code of 8 bits in 16.
    const WIDER: f64 = 257.0;
    let within = |v: f64, most: u32| v.clamp(0.0, f64::from(most));
    let [x0, x1] = [left, right].map(|x| within(*x, picture.width()));
    let [y0, y1] = [top, bottom].map(|y| within(*y, picture.height()));
    let mut sums = [0.0; 3];
    for y in y0 as u32..(y1.ceil() as u32).min(picture.height()) {
        let high = y1.min(f64::from(y) + 1.0) - y0.max(f64::from(y));
        for x in x0 as u32..(x1.ceil() as u32).min(picture.width()) {
            let wide = x1.min(f64::from(x) + 1.0) - x0.max(f64::from(x));
            let [r, g, b, opaque] = picture.get_pixel(x, y).0.map(f64::from);
            let weight = high * wide * opaque / 255.0;
            [r, g, b].iter().zip(&mut sums).for_each(|(code, sum)| *sum += weight * code);
        }
    }
    let area = (right - left) * (bottom - top);
    sums.map(|sum| if area > 0.0 { (WIDER * sum / area).round().min(f64::from(u16::MAX)) as u16 } else { 0 })
}

/// Side of a pixel's cell in mm.
fn cell_mm(pixels: &[Pixel], i: usize) -> f64 {
    let own = &pixels[i];
    let apart = |other: Option<&Pixel>| {
        let other = other.filter(|other| other.group == own.group)?;
        let away = (other.at[0].0 - own.at[0].0).hypot(other.at[1].0 - own.at[1].0);
        (away > 0.0).then_some(away)
    };
    let neighbours = [i.checked_sub(1).and_then(|i| pixels.get(i)), pixels.get(i + 1)];
    let nearest = neighbours.into_iter().filter_map(apart).fold(f64::INFINITY, f64::min);
    if nearest.is_finite() { nearest } else { own.package.body.0.max(1.0) }
}
