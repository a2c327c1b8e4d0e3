//! How a picture was taken, as the camera wrote it into the file.
//!
//! # Source
//! EXIF 2.3 (CIPA DC-008) tags ExposureTime, FNumber, PhotographicSensitivity, ISOSpeed, Flash, CustomRendered,
//! CompositeImage, and the APEX values ShutterSpeedValue and ApertureValue; from memory.

use exif::{Exif, In, Reader, Tag, Value};
use std::io::Cursor;

/// What the camera wrote about time, aperture and sensitivity.
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
    /// Linear code per luminance, up to a factor that belongs to the camera: time x ISO / f-number^2, in s.
    #[must_use]
    pub fn exposure(&self) -> f64 {
        self.exposure_s * self.iso / (self.f_number * self.f_number)
    }
}

/// Everything that is read from the notes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Notes {
    pub(super) taken: Option<Taken>,
    pub(super) composite: bool,
    pub(super) flash: bool,
}

/// Reads the notes of a JPEG, PNG or TIFF file; damaged ones as far as they go.
pub(super) fn notes(bytes: &[u8]) -> Notes {
    let read = Reader::new().continue_on_error(true).read_from_container(&mut Cursor::new(bytes));
    let Ok(exif) = read.or_else(|error| error.distill_partial_result(|_| {})) else {
        return Notes::default();
    };
    let number = |tag| exif.get_field(tag, In::PRIMARY).and_then(|field| first_number(&field.value));
    let whole = |tag| exif.get_field(tag, In::PRIMARY).and_then(|field| field.value.get_uint(0));
    Notes {
        taken: taken(number),
        composite: matches!(whole(Tag::CompositeImage), Some(2 | 3)) || hdr_by_custom_rendering(&exif),
        flash: whole(Tag::Flash).is_some_and(|flash| flash & 1 == 1),
    }
}

fn taken(number: impl Fn(Tag) -> Option<f64>) -> Option<Taken> {
    /// The 16 bits of PhotographicSensitivity are full: the number stands in ISOSpeed.
    const FULL: f64 = 65_535.0;
    let good = |value: &f64| value.is_finite() && *value > 0.0;
    let or_apex = |tag, apex, from_apex: fn(f64) -> f64| {
        number(tag).filter(good).or_else(|| number(apex).map(from_apex).filter(good))
    };
    let iso =
        number(Tag::PhotographicSensitivity).filter(|iso| *iso < FULL).or_else(|| number(Tag::ISOSpeed));
    Some(Taken {
        exposure_s: or_apex(Tag::ExposureTime, Tag::ShutterSpeedValue, |tv| (-tv).exp2())?,
        f_number: or_apex(Tag::FNumber, Tag::ApertureValue, |av| (av / 2.0).exp2())?,
        iso: iso.filter(good)?,
    })
}

/// The first entry of a field as a number.
fn first_number(value: &Value) -> Option<f64> {
    match value {
        Value::Rational(list) => list.first().map(|r| r.to_f64()),
        Value::SRational(list) => list.first().map(|r| r.to_f64()),
        _ => value.get_uint(0).map(f64::from),
    }
}

/// Telephones write more than the standard's "normal" and "custom" into CustomRendered: 2, 3, 4 and 7 tell of several shots
/// joined (common practice, no source).
fn hdr_by_custom_rendering(exif: &Exif) -> bool {
    let field = exif.get_field(Tag::CustomRendered, In::PRIMARY);
    matches!(field.and_then(|f| f.value.get_uint(0)), Some(2..=4 | 7))
}
