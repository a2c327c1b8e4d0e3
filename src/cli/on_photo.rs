//! The photograph on which a glow is drawn: options, faults, words.

use super::numbers::within;
use crate::diagnose::Diagnostic;
use crate::files;
use crate::photo::decode::{MOST_MEMORY, Photo, ToneChoice, decode};
use crate::picture::exposure::ExposureValue;
use crate::picture::luminance::LuminanceImage;
use crate::picture::on_photo::marks::checked_inside;
use crate::picture::on_photo::{Anchor, MOST_PX, NotOnPhoto, OnPhoto, Report, on_photo};
use crate::scene::Scene;
use crate::scene::on_photo::{PhotoView, in_rows};
use crate::scene::shape::{MARKED_MM, PHOTO_PX};
use crate::words::three_digits;
use clap::Args;
use serde_json::json;
use std::path::{Path, PathBuf};

/// A cut that is brighter than this share of full scale is told.
const TOLD_CUT: f64 = 1e-3;
/// Cloth of which this share is burnt out in the photograph is told.
const TOLD_BURNT: f64 = 0.02;
/// Cloth of the photograph this many times as bright or dark as the scene's, in the same light, is told.
const TOLD_RATIO: f64 = 2.0;

/// The glow on a photograph.
#[derive(Clone, Debug, Args)]
pub(super) struct PhotoOptions {
    /// Put the glow onto this photograph of the garment with its pixels off (instead of the scene's)
    #[arg(long, value_name = "PHOTO", conflicts_with = "flat")]
    on: Option<PathBuf>,

    /// Where the corners of the marked area are seen in it, x to the right and y downwards in image pixels: top left, top right, bottom
    /// right, bottom left
    #[arg(long, value_name = "X,Y,X,Y,X,Y,X,Y", value_parser = corners, allow_hyphen_values = true, conflicts_with = "flat")]
    corners: Option<[[f64; 2]; 4]>,

    /// Width of the marked area on the garment in mm; without it, what the flat picture shows
    #[arg(long, value_name = "MM", value_parser = side, allow_negative_numbers = true, conflicts_with = "flat")]
    width_mm: Option<f64>,

    /// Height of the marked area on the garment in mm; without it, what the flat picture shows
    #[arg(long, value_name = "MM", value_parser = side, allow_negative_numbers = true, conflicts_with = "flat")]
    height_mm: Option<f64>,

    /// Leave out the photograph that the scene names
    #[arg(long)]
    flat: bool,
}

fn corners(text: &str) -> Result<[[f64; 2]; 4], String> {
    let numbers: Vec<f64> =
        text.split(',').map(|part| within(part.trim(), &PHOTO_PX)).collect::<Result<_, _>>()?;
    match numbers.as_slice() {
        [a, b, c, d, e, f, g, h] => Ok([[*a, *b], [*c, *d], [*e, *f], [*g, *h]]),
        other => Err(format!(
            "eight numbers are needed, {} are given: x,y of top left, top right, bottom right, bottom left",
            other.len()
        )),
    }
}

fn side(text: &str) -> Result<f64, String> {
    within(text, &MARKED_MM)
}

/// A photograph that was read, with its marks.
pub(super) struct Lying {
    view: PhotoView,
    photo: Photo,
    most_px: [u32; 2],
}

impl PhotoOptions {
    /// The photograph of the call.
    pub(super) fn file(&self) -> Option<PathBuf> {
        self.on.clone()
    }

    /// The photograph that the call or the scene names, read and its marks tested; `None` where there is none.
    pub(super) fn lying(
        &self,
        scene: &Scene,
        scene_file: &Path,
        size_px: Option<[u32; 2]>,
    ) -> Result<Option<Lying>, Vec<Diagnostic>> {
        let Some(view) = self.marked(scene, scene_file)? else { return Ok(None) };
        let bytes = files::read_bytes(Path::new(&view.file), MOST_MEMORY as u64)?;
        let photo = decode(&bytes, ToneChoice::Auto)
            .map_err(|error| vec![Diagnostic::of_file(&view.file, error.to_string())])?;
        checked_inside(&view.points_px, photo.width, photo.height)
            .map_err(|fault| told(&view.file, &NotOnPhoto::Marks(fault)))?;
        Ok(Some(Lying { view, photo, most_px: size_px.unwrap_or(MOST_PX) }))
    }

    fn marked(&self, scene: &Scene, scene_file: &Path) -> Result<Option<PhotoView>, Vec<Diagnostic>> {
        if self.flat {
            return Ok(None);
        }
        let mut view = match (&self.on, self.corners, &scene.view.photo) {
            (None, None, None) if self.width_mm.is_none() && self.height_mm.is_none() => return Ok(None),
            (None, None, Some(own)) => own.clone(),
            (None, Some(corners), Some(own)) => {
                PhotoView { points_px: in_rows(corners), columns: 2, rows: 2, ..own.clone() }
            }
            // Another photograph of the same marks, but of its own light.
            (Some(file), None, Some(own)) => PhotoView {
                file: file.display().to_string(),
                room_lx: None,
                exposure_ev: None,
                ..own.clone()
            },
            (Some(file), Some(corners), own) => {
                let given = PhotoView::with_corners(file.display().to_string(), corners);
                match own {
                    Some(own) => PhotoView {
                        width_mm: own.width_mm,
                        height_mm: own.height_mm,
                        centre_mm: own.centre_mm,
                        ..given
                    },
                    None => given,
                }
            }
            (Some(file), None, None) => {
                let fault = Diagnostic::of_file(
                    &file.display().to_string(),
                    "nothing says where the garment is seen in this photograph",
                );
                let next = "Give --corners: x,y in image pixels of top left, top right, bottom right and bottom left of what the \
                            flat picture shows, or of --width-mm by --height-mm around its middle.";
                return Err(vec![fault.next(next)]);
            }
            (None, _, None) => {
                let fault = Diagnostic::of_file(
                    &scene_file.display().to_string(),
                    "an area is marked, but there is no photograph",
                );
                return Err(vec![
                    fault.next("Name one with --on, or in the scene under `view: {photo: …}`."),
                ]);
            }
        };
        view.width_mm = self.width_mm.or(view.width_mm);
        view.height_mm = self.height_mm.or(view.height_mm);
        view.checked().map_err(|fault| told(&view.file, &NotOnPhoto::Marks(fault)))?;
        Ok(Some(view))
    }
}

/// A fault in the words of a message.
fn told(file: &str, fault: &NotOnPhoto) -> Vec<Diagnostic> {
    vec![Diagnostic::of_file(file, fault.to_string()).next(fault.next())]
}

impl Lying {
    /// The scene's glow on it.
    pub(super) fn drawn(&self, scene: &Scene) -> Result<OnPhoto, Vec<Diagnostic>> {
        on_photo(scene, &self.photo, &self.view, self.most_px).map_err(|fault| told(&self.view.file, &fault))
    }

    fn name(&self) -> String {
        Path::new(&self.view.file).file_name().unwrap_or_default().to_string_lossy().into_owned()
    }
}

/// The line of the caption.
pub(super) fn note(lying: &Lying, report: &Report) -> String {
    report.note(&lying.name())
}

/// What a person is told.
pub(super) fn in_words(
    lying: &Lying,
    report: &Report,
    picture: &LuminanceImage,
    exposure: ExposureValue,
) -> Vec<String> {
    let [width, height] = report.area.size_mm;
    let size = [picture.frame.width_px, picture.frame.height_px];
    let smaller = if size.map(|side| side as usize) == report.photo_px {
        String::new()
    } else {
        format!(", made smaller from {} by {}", report.photo_px[0], report.photo_px[1])
    };
    let surface = match report.bent_by_px {
        Some(px) => format!("cloth that bends by {} image pixels", three_digits(px)),
        None => "a plane".to_owned(),
    };
    let mut lines = vec![
        format!(
            "The glow lies on {} ({} by {} image pixels{smaller}), at {exposure} (ISO 100); {width:.0} mm by {height:.0} mm are marked, {surface}.",
            lying.name(),
            size[0],
            size[1],
        ),
        match report.anchor {
            Anchor::Cloth => "The photograph is dimmed so that its marked cloth is as bright as the scene's in the room's light: an estimate.".to_owned(),
            Anchor::Taken { room_lx, exposure_ev } => format!(
                "The photograph is dimmed from the {} lx in which it was taken, at EV {exposure_ev:.1}: an estimate.",
                three_digits(room_lx)
            ),
        },
    ];
    let model = picture.room.luminance();
    let ratio = report.cloth_cd_m2 / model;
    if model > 0.0 && !(1.0 / TOLD_RATIO..=TOLD_RATIO).contains(&ratio) {
        lines.push(format!(
            "The marked cloth of the photograph comes out {} times as bright as the scene's cloth in the same light: is it another cloth, or \
             was the light another?",
            three_digits(ratio)
        ));
    }
    if report.burnt_out > TOLD_BURNT {
        lines.push(format!(
            "{:.0} % of the marked cloth are burnt out in the photograph, so its shading is lost there. Take it with less exposure.",
            100.0 * report.burnt_out
        ));
    }
    if report.cut_at > TOLD_CUT {
        lines.push(format!(
            "The glow is cut off inside the photograph, where it still has {} % of full scale. Mark a larger area, or give the scene its pattern \
             piece (`outline`).",
            three_digits(100.0 * report.cut_at)
        ));
    }
    lines
}

/// What a machine is told.
pub(super) fn as_json(lying: &Lying, report: &Report) -> serde_json::Value {
    let (room_lx, exposure_ev) = match report.anchor {
        Anchor::Cloth => (None, None),
        Anchor::Taken { room_lx, exposure_ev } => (Some(room_lx), Some(exposure_ev)),
    };
    json!({
        "file": lying.view.file,
        "photo_px": report.photo_px,
        "points_px": lying.view.points_px,
        "columns": lying.view.columns,
        "rows": lying.view.rows,
        "width_mm": report.area.size_mm[0],
        "height_mm": report.area.size_mm[1],
        "centre_mm": report.area.centre_mm,
        "bent_by_px": report.bent_by_px,
        "taken_as": if room_lx.is_some() { "photographed" } else { "cloth" },
        "taken_room_lx": room_lx,
        "taken_exposure_ev": exposure_ev,
        "white_cd_m2": report.white_cd_m2,
        "marked_cloth_cd_m2": report.cloth_cd_m2,
        "burnt_out_share": report.burnt_out,
        "texel_mm": report.texel_mm,
        "cut_at_share": report.cut_at,
    })
}
