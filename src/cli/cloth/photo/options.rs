//! Options that calibrating and comparing share: the photographs and how they were taken.

use super::super::super::numbers::{whole_within, within};
use super::super::super::view;
use crate::diagnose::Diagnostic;
use crate::photo::calibration::asking::{COMMAND_LINE, no_scale};
use crate::photo::calibration::{
    BOARD_REFLECTANCE, EXPOSURE, MM_PER_PX, PACKAGE, PLACE_PX, SCALE_MM, STAND_OFF_WITHIN_MM, Stated,
    StatedBare, StatedPhoto,
};
use crate::photo::decode::ToneChoice;
use crate::photo::fit::Lit;
use crate::photo::measure::Scale;
use crate::pixels::package::Package;
use crate::reading::Limits;
use clap::Args;
use std::path::{Path, PathBuf};

/// How far off a ruler may be.
const WITHIN_MM: Limits = Limits::new(0.01, 20.0, "mm");
/// Lit pixels in one picture.
const PIXELS: Limits = Limits::new(1.0, 200.0, "");

/// The photographs and how they were taken.
#[derive(Debug, Args)]
pub(super) struct Taking {
    /// Air between the board of the pixel and the cloth in mm: one value, or one for each photo in their order (2,6)
    #[arg(long, value_name = "MM", value_parser = view::gap, value_delimiter = ',', required = true, allow_negative_numbers = true)]
    pub(super) stand_off_mm: Vec<f64>,

    /// How far off the stand-off may be, two times of three (standard uncertainty)
    #[arg(long, value_name = "MM", value_parser = within_mm, default_value_t = STAND_OFF_WITHIN_MM)]
    pub(super) stand_off_within_mm: f64,

    /// Size of a pixel of the photo on the cloth in mm: one value, or one for each photo
    #[arg(long, value_name = "MM", value_parser = mm_per_px, value_delimiter = ',', group = "scale")]
    pub(super) mm_per_px: Vec<f64>,

    /// Two places in the upright photo whose distance is known, in pixels from its upper left corner: x1,y1,x2,y2; once, or once for
    /// each photo
    #[arg(long, value_name = "X1,Y1,X2,Y2", value_parser = points, group = "scale", requires = "scale_mm", allow_hyphen_values = true)]
    pub(super) scale_from: Vec<[f64; 4]>,

    /// Their distance in mm
    #[arg(long, value_name = "MM", value_parser = scale_mm, requires = "scale_from")]
    pub(super) scale_mm: Option<f64>,

    /// The photo shows several lit pixels of the same level this far apart: gives the scale
    #[arg(long, value_name = "MM", value_parser = view::pitch, group = "scale")]
    pub(super) pitch_mm: Option<f64>,

    /// Number of lit pixels in the photo (otherwise one; with --pitch-mm, as many as are found)
    #[arg(long, value_name = "COUNT", value_parser = pixels)]
    pub(super) pixels: Option<usize>,

    /// Photo of the bare lit pixel, without cloth, from the same place: gives the light kept. Short exposures, so that it is not
    /// white; several are welcome, each with a --bare of its own
    #[arg(long, value_name = "PHOTO")]
    pub(super) bare: Vec<PathBuf>,

    /// Exposure times of the photos in their order, such as 1/30,1/30 or any ratio (otherwise from the photos' own data: time,
    /// aperture and sensitivity)
    #[arg(long, value_name = "TIMES", value_parser = exposure, value_delimiter = ',')]
    pub(super) exposure: Vec<f64>,

    /// Exposure times of the bare photos in their order, in the same unit
    #[arg(long, value_name = "TIMES", value_parser = exposure, value_delimiter = ',')]
    pub(super) bare_exposure: Vec<f64>,

    /// Dies that are lit: white (all), red, green or blue; one word, or one for each photo
    #[arg(long, value_name = "DIES", value_parser = lit, value_delimiter = ',', default_value = "white")]
    pub(super) lit: Vec<Lit>,

    /// Package of the pixel, such as 5050, 3535, 2020
    #[arg(long, value_name = "CODE", value_parser = package, default_value = PACKAGE)]
    pub(super) package: Package,

    /// Share of the light that the board below the pixel sends back: white 0.8, green 0.3, black 0.05
    #[arg(long, value_name = "SHARE", value_parser = share, default_value_t = BOARD_REFLECTANCE)]
    pub(super) board_reflectance: f64,

    /// The photos' values are proportional to light (developed raw files), not sRGB
    #[arg(long)]
    pub(super) linear: bool,

    /// The report to draw: a name that ends in .png, .svg or .pdf
    #[arg(long, value_name = "FILE")]
    pub(super) report: Option<PathBuf>,

    /// Print JSON (its shape: `weftlight check --schema cloth-calibrate`, or `cloth-compare-photo`)
    #[arg(long)]
    pub(super) json: bool,
}

impl Taking {
    /// Everything that is stated about the photographs.
    pub(super) fn stated(&self, photos: &[PathBuf], thickness_mm: f64) -> Result<Stated, Vec<Diagnostic>> {
        let count = photos.len();
        let gaps = each("--stand-off-mm", &self.stand_off_mm, count)?;
        let lit = each("--lit", &self.lit, count)?;
        let scales = self.scales(count)?;
        let exposures =
            (!self.exposure.is_empty()).then(|| each("--exposure", &self.exposure, count)).transpose()?;
        let of_photo = |(i, path): (usize, &PathBuf)| StatedPhoto {
            shown_as: path.display().to_string(),
            name: file_name(path),
            gap_mm: gaps[i],
            scale: scales[i],
            lit: lit[i],
        };
        Ok(Stated {
            photos: photos.iter().enumerate().map(of_photo).collect(),
            bare: self.stated_bare()?,
            exposures,
            thickness_mm,
            stand_off_within_mm: self.stand_off_within_mm,
            pixels: self.pixels,
            package: self.package.clone(),
            board_reflectance: self.board_reflectance,
            tone: if self.linear { ToneChoice::Linear } else { ToneChoice::Auto },
            // Whoever names files on the own machine may take what there is.
            most_bytes: usize::MAX,
            asking: COMMAND_LINE,
        })
    }

    fn stated_bare(&self) -> Result<Vec<StatedBare>, Vec<Diagnostic>> {
        let count = self.bare.len();
        let given = (!self.bare_exposure.is_empty() && count > 0)
            .then(|| each("--bare-exposure", &self.bare_exposure, count))
            .transpose()?;
        let exposure = |i: usize| given.as_ref().map(|all| all[i]);
        let stated = |(i, path): (usize, &PathBuf)| StatedBare {
            shown_as: path.display().to_string(),
            exposure: exposure(i),
        };
        Ok(self.bare.iter().enumerate().map(stated).collect())
    }

    /// The scale of each photo.
    fn scales(&self, photos: usize) -> Result<Vec<Scale>, Vec<Diagnostic>> {
        if let Some(pitch) = self.pitch_mm {
            return Ok(vec![Scale::Pitch(pitch); photos]);
        }
        if let (Some(mm), false) = (self.scale_mm, self.scale_from.is_empty()) {
            let scale = |p: &[f64; 4]| Scale::Points { from: [p[0], p[1]], to: [p[2], p[3]], mm };
            let all: Vec<Scale> = self.scale_from.iter().map(scale).collect();
            return each("--scale-from", &all, photos);
        }
        if self.mm_per_px.is_empty() {
            return Err(vec![no_scale(&COMMAND_LINE)]);
        }
        let all: Vec<Scale> = self.mm_per_px.iter().map(|value| Scale::MmPerPx(*value)).collect();
        each("--mm-per-px", &all, photos)
    }
}

/// The value of an option for each of so many photos: its own, or the only one.
fn each<T: Clone>(option: &'static str, given: &[T], photos: usize) -> Result<Vec<T>, Vec<Diagnostic>> {
    match given {
        [one] => Ok(vec![one.clone(); photos]),
        many if many.len() == photos => Ok(many.to_vec()),
        many => {
            let what = format!("{option} has {} values for {photos} photos", many.len());
            Err(vec![
                Diagnostic::of_file(option, what)
                    .allowed("one value for all, or one for each photo in their order"),
            ])
        }
    }
}

/// The name of a file without its folder.
fn file_name(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

fn within_mm(text: &str) -> Result<f64, String> {
    within(text, &WITHIN_MM)
}

fn mm_per_px(text: &str) -> Result<f64, String> {
    within(text, &MM_PER_PX)
}

fn scale_mm(text: &str) -> Result<f64, String> {
    within(text, &SCALE_MM)
}

fn share(text: &str) -> Result<f64, String> {
    within(text, &crate::cloth::shape::SHARE)
}

fn pixels(text: &str) -> Result<usize, String> {
    whole_within(text, &PIXELS).map(|count| count as usize)
}

/// A number, or a fraction such as 1/60.
fn exposure(text: &str) -> Result<f64, String> {
    let text = text.trim().trim_end_matches('s').trim_end();
    match text.split_once('/') {
        Some((above, below)) => {
            let value = within(above, &EXPOSURE)? / within(below, &EXPOSURE)?;
            within(&value.to_string(), &EXPOSURE)
        }
        None => within(text, &EXPOSURE),
    }
}

fn points(text: &str) -> Result<[f64; 4], String> {
    let parts = text.split(',').map(|part| within(part, &PLACE_PX)).collect::<Result<Vec<f64>, String>>()?;
    <[f64; 4]>::try_from(parts).map_err(|parts| {
        format!(
            "four numbers are needed, x1,y1,x2,y2, in pixels of the upright photo (found {})",
            parts.len()
        )
    })
}

fn lit(text: &str) -> Result<Lit, String> {
    let word = text.trim();
    Lit::named(word).ok_or_else(|| format!("`{word}` is none of: white, red, green, blue"))
}

fn package(text: &str) -> Result<Package, String> {
    Package::named(text.trim())
        .ok_or_else(|| format!("this package is not known; allowed: {}", Package::names().join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exposures_are_numbers_or_fractions() {
        assert_eq!(exposure("1/50"), Ok(0.02));
        assert_eq!(exposure(" 0.5 s"), Ok(0.5));
        for wrong in ["", "1/0", "x", "-1", "1/x", "nan"] {
            assert!(exposure(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn points_are_four_numbers() {
        assert_eq!(points("1,2, 3,4.5"), Ok([1.0, 2.0, 3.0, 4.5]));
        assert!(points("1,2,3").expect_err("refused").contains("four numbers"));
        assert!(points("1,2,3,-4").is_err());
    }
}
