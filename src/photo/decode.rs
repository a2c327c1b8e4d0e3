//! From a file's bytes to a picture in linear light.

use thiserror::Error;

/// How the codes of the file become light.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum ToneChoice {
    /// As the file says; sRGB where it says nothing.
    #[default]
    Auto,
    /// Codes are proportional to light.
    Linear,
}

/// How the codes of a [`Photo`] became light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// By the curve of IEC 61966-2-1.
    Srgb,
    /// Codes are proportional to light.
    Linear,
}

/// What the camera wrote about how the picture was taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// Exposure time in s.
    pub exposure_s: f64,
    /// f-number (focal length over aperture).
    pub f_number: f64,
    /// Sensitivity as ISO speed.
    pub iso: f64,
}

impl Taken {
    /// Codes per luminance up to a factor that is the camera's: time x ISO / f-number^2, in s.
    #[must_use]
    pub fn exposure(&self) -> f64 {
        self.exposure_s * self.iso / (self.f_number * self.f_number)
    }
}

/// The file's container.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Lossy, 8 bit.
    Jpeg,
    /// Lossless, 8 or 16 bit.
    Png,
    /// Lossless here, 8 or 16 bit.
    Tiff,
}

/// Codes as they were decoded, row by row, grey or R, G, B.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Samples {
    /// 8 bit.
    Eight(Vec<u8>),
    /// 16 bit.
    Sixteen(Vec<u16>),
}

/// A decoded photograph, upright.
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
    /// Time, f-number, ISO, where the file tells all three.
    pub taken: Option<Taken>,
    /// The file says that the camera joined several shots or worked on the tones (HDR).
    pub composite: bool,
    pub(super) samples: Samples,
}

/// Why a file is no photograph that can be used.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum DecodeError {
    /// Placeholder of the first version.
    #[error("the file is damaged: {0}")]
    Damaged(String),
}

impl Photo {
    /// Linear light R, G, B of a pixel, 0 to 1.
    #[must_use]
    pub fn linear(&self, _x: usize, _y: usize) -> [f64; 3] {
        [0.0; 3]
    }

    /// Whether R, G, B of a pixel are at the top of what the file can hold.
    #[must_use]
    pub fn clipped(&self, _x: usize, _y: usize) -> [bool; 3] {
        [false; 3]
    }
}

/// Decodes JPEG, PNG or TIFF, upright.
///
/// # Errors
/// See [`DecodeError`].
pub fn decode(_bytes: &[u8], _tone: ToneChoice) -> Result<Photo, DecodeError> {
    Err(DecodeError::Damaged("not yet".to_owned()))
}
