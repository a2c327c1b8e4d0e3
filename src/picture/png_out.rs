//! Pictures as PNG files in memory.
//!
//! Two kinds: the 8-bit sRGB picture that is looked at (with an `sRGB` chunk), and the 16-bit linear picture that is measured:
//! linear light with the sRGB primaries (`gAMA` 1, `cHRM`), where 65535 stands for a luminance named in a `tEXt` chunk.
//! Chunks as in the PNG specification (W3C, Portable Network Graphics, third edition), sections on `sRGB`, `gAMA`,
//! `cHRM`, `pHYs` and `tEXt`.

use super::canvas::Canvas;
use png::{
    BitDepth, ColorType, Compression, Encoder, Filter, PixelDimensions, ScaledFloat, SourceChromaticities,
    SrgbRenderingIntent, Unit,
};

/// Chosen by measurement on a 1920 x 1296 preview with its caption (best of eight, one core): 15 ms and 1.28 MB. The next slower
/// setting takes 500 to 1500 ms for 0.6 to 0.7 MB.
const COMPRESSION: Compression = Compression::Fast;
/// One filter for all rows, for speed, chosen by the same measurement: left 13 ms and 1.49 MB, above 14 ms and 1.57 MB, this one
/// 15 ms and 1.28 MB, the best one for each row 31 ms and 1.23 MB.
const FILTER: Filter = Filter::Paeth;
/// The keyword of the chunk that gives the scale of the linear picture.
pub const SCALE_KEYWORD: &str = "Luminance of 65535 in cd/m2";

/// Why a picture could not be encoded.
#[derive(Debug, thiserror::Error)]
pub enum PngError {
    /// The number of values does not fit the size.
    #[error("a picture of {width_px} x {height_px} needs {needed} values, {found} were given")]
    Size {
        /// Image pixels in a row.
        width_px: u32,
        /// Rows.
        height_px: u32,
        /// Values needed.
        needed: usize,
        /// Values given.
        found: usize,
    },
    /// The luminance that full scale stands for is not positive and finite.
    #[error("the luminance of full scale must be positive, found {0} cd/m2")]
    Scale(f64),
    /// The encoder refused, for instance a picture without image pixels.
    #[error("the PNG encoder refused: {0}")]
    Encoding(#[from] png::EncodingError),
}

/// A linear picture for [`linear_16`].
#[derive(Clone, Copy, Debug)]
pub struct LinearPicture<'a> {
    /// Image pixels in a row.
    pub width_px: u32,
    /// Rows.
    pub height_px: u32,
    /// Linear RGB in the sRGB primaries, in cd/m2 of the white they add up to; three values an image pixel.
    pub rgb: &'a [f32],
    /// The luminance that 65535 stands for, in cd/m2; brighter is cut off, negative is 0.
    pub full_scale_cd_m2: f64,
}

/// The `pHYs` chunk's density, when a picture is printed at the garment's own size; `None` for a useless scale.
fn density(mm_per_px: f64) -> Option<PixelDimensions> {
    let per_metre = (1000.0 / mm_per_px).round();
    (per_metre >= 1.0 && per_metre <= f64::from(u32::MAX)).then_some(PixelDimensions {
        xppu: per_metre as u32,
        yppu: per_metre as u32,
        unit: Unit::Meter,
    })
}

fn encoder<'a>(
    file: &'a mut Vec<u8>,
    size: [u32; 2],
    depth: BitDepth,
    mm_per_px: f64,
) -> Encoder<'a, &'a mut Vec<u8>> {
    let mut encoder = Encoder::new(file, size[0], size[1]);
    encoder.set_color(ColorType::Rgb);
    encoder.set_depth(depth);
    encoder.set_compression(COMPRESSION);
    encoder.set_filter(FILTER);
    encoder.set_pixel_dims(density(mm_per_px));
    encoder
}

fn checked(width_px: u32, height_px: u32, found: usize) -> Result<(), PngError> {
    let needed = 3 * width_px as usize * height_px as usize;
    if needed == found { Ok(()) } else { Err(PngError::Size { width_px, height_px, needed, found }) }
}

/// An 8-bit sRGB picture. `mm_per_px` goes into the `pHYs` chunk as the garment's own size; `texts` are pairs of keyword and
/// text (Latin-1).
///
/// # Errors
/// When the size does not fit, or the encoder refuses (no image pixels, a keyword of more than 79 letters, signs outside
/// Latin-1).
pub fn srgb_8(canvas: &Canvas, mm_per_px: f64, texts: &[(&str, &str)]) -> Result<Vec<u8>, PngError> {
    checked(canvas.width_px, canvas.height_px, canvas.rgb.len())?;
    let mut file = Vec::with_capacity(canvas.rgb.len() / 4 + 1024);
    let mut encoder = encoder(&mut file, [canvas.width_px, canvas.height_px], BitDepth::Eight, mm_per_px);
    encoder.set_source_srgb(SrgbRenderingIntent::RelativeColorimetric);
    for (keyword, text) in texts {
        encoder.add_text_chunk((*keyword).to_owned(), (*text).to_owned())?;
    }
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&canvas.rgb)?;
    writer.finish()?;
    Ok(file)
}

/// A 16-bit linear picture in the sRGB primaries; [`SCALE_KEYWORD`] tells the luminance of full scale.
///
/// # Errors
/// As [`srgb_8`], and when the full scale is not positive and finite.
pub fn linear_16(
    picture: &LinearPicture<'_>,
    mm_per_px: f64,
    texts: &[(&str, &str)],
) -> Result<Vec<u8>, PngError> {
    let LinearPicture { width_px, height_px, rgb, full_scale_cd_m2 } = *picture;
    checked(width_px, height_px, rgb.len())?;
    if !(full_scale_cd_m2 > 0.0 && full_scale_cd_m2.is_finite()) {
        return Err(PngError::Scale(full_scale_cd_m2));
    }
    let factor = (f64::from(u16::MAX) / full_scale_cd_m2) as f32;
    // A float that is not a number becomes 0; the cast stops at both ends.
    let values: Vec<u8> = rgb.iter().flat_map(|v| ((v * factor).round() as u16).to_be_bytes()).collect();
    let mut file = Vec::with_capacity(values.len() / 2 + 1024);
    let mut encoder = encoder(&mut file, [width_px, height_px], BitDepth::Sixteen, mm_per_px);
    encoder.set_source_gamma(ScaledFloat::new(1.0));
    // The sRGB primaries and D65 (IEC 61966-2-1).
    encoder.set_source_chromaticities(SourceChromaticities::new(
        (0.3127, 0.329),
        (0.64, 0.33),
        (0.3, 0.6),
        (0.15, 0.06),
    ));
    encoder.add_text_chunk(SCALE_KEYWORD.to_owned(), full_scale_cd_m2.to_string())?;
    for (keyword, text) in texts {
        encoder.add_text_chunk((*keyword).to_owned(), (*text).to_owned())?;
    }
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&values)?;
    writer.finish()?;
    Ok(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(file: &[u8]) -> (png::Info<'static>, Vec<u8>) {
        let mut reader = png::Decoder::new(std::io::Cursor::new(file)).read_info().expect("a PNG");
        let mut values = vec![0; reader.output_buffer_size().expect("a size")];
        reader.next_frame(&mut values).expect("image data");
        (reader.info().clone(), values)
    }

    #[test]
    fn srgb_comes_back_with_its_chunks() {
        let rgb: Vec<u8> = (0..3 * 31 * 17).map(|i| (i * 7 % 256) as u8).collect();
        let canvas = Canvas::from_rgb(31, 17, rgb.clone()).expect("a canvas");
        let file = srgb_8(&canvas, 0.25, &[("Title", "Badge")]).expect("a file");
        let (info, values) = decoded(&file);
        assert_eq!(values, rgb);
        assert_eq!(info.srgb, Some(SrgbRenderingIntent::RelativeColorimetric));
        assert_eq!(info.pixel_dims.map(|d| (d.xppu, d.unit)), Some((4000, Unit::Meter)));
        assert_eq!(info.uncompressed_latin1_text[0].text, "Badge");
    }

    #[test]
    fn linear_values_are_the_luminance_over_full_scale() {
        let rgb = [0.0, 1.0, 25.0, 100.0, 250.0, -3.0];
        let picture = LinearPicture { width_px: 2, height_px: 1, rgb: &rgb, full_scale_cd_m2: 100.0 };
        let (info, values) = decoded(&linear_16(&picture, 1.0, &[]).expect("a file"));
        let back: Vec<u16> = values.chunks_exact(2).map(|b| u16::from_be_bytes([b[0], b[1]])).collect();
        assert_eq!(back, [0, 655, 16384, 65535, 65535, 0]);
        assert_eq!(info.gama_chunk, Some(ScaledFloat::new(1.0)));
        assert_eq!(info.chrm_chunk.map(|c| c.red), Some((ScaledFloat::new(0.64), ScaledFloat::new(0.33))));
        let text = &info.uncompressed_latin1_text[0];
        assert_eq!((text.keyword.as_str(), text.text.as_str()), (SCALE_KEYWORD, "100"));
    }

    #[test]
    fn what_cannot_be_a_picture_is_refused() {
        let picture = LinearPicture { width_px: 2, height_px: 1, rgb: &[0.0; 5], full_scale_cd_m2: 100.0 };
        assert!(matches!(linear_16(&picture, 1.0, &[]), Err(PngError::Size { needed: 6, found: 5, .. })));
        let picture = LinearPicture { rgb: &[0.0; 6], full_scale_cd_m2: 0.0, ..picture };
        assert!(matches!(linear_16(&picture, 1.0, &[]), Err(PngError::Scale(_))));
        assert!(matches!(srgb_8(&Canvas::filled(0, 4, [0; 3]), 1.0, &[]), Err(PngError::Encoding(_))));
    }
}
