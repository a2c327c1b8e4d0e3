//! The glow on a photograph of the garment.
//!
//! # Model
//! The photograph shows the garment with its pixels off, in some light. Two lights are added, in linear light and in cd/m2:
//! 1. the photograph, dimmed to the wanted light of the room: its linear values times one factor ([`Anchor`]), so that cloth
//!    keeps its own shading and colours. By default the marked cloth (the pattern piece within the marked area) has on average
//!    the luminance that the scene's own cloth has in the room's light, `E R / pi`; everything around it follows in proportion;
//! 2. the glow: the luminance picture of the scene without the room's light, looked up at the piece of cloth that each image
//!    pixel covers ([`surface`], [`footprint`]). Luminance does not change under projection.
//!
//! Then one exposure and the usual development ([`crate::picture::render`]).
//!
//! # Assumptions
//! As for the luminance picture; above all, the glow is as bright from aside as from straight ahead, which holds for cloth that
//! scatters well, and not for pixels seen bare. The photograph's light falls as the wanted room's does, only stronger or
//! weaker: a flash or a lamp on one side stays one. Its tones are those of the sRGB curve; telephones bend them further, which
//! moves the shading between light and dark parts by some ten per cent (an estimate). The glow does not light what
//! stands around it.
//!
//! Where the scene has a pattern piece, the glow ends at its edge. Without one it goes on, on the same surface, until it has
//! fallen to [`UNSEEN`] of full scale; [`Report::cut_at`] tells what is left where that is not to be had.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | E | illuminance of the room on the cloth | lx |
//! | R | diffuse reflectance of the stack over the board | 1 |

mod blend;
pub mod footprint;
mod frame;
pub mod homography;
pub mod marks;
pub mod surface;

use super::clip;
use super::luminance::{LuminanceImage, luminance_in, room_light};
use super::plane::{Frame, XyzImage};
use crate::photo::decode::Photo;
use crate::scene::Scene;
use crate::scene::on_photo::PhotoView;
use crate::words::three_digits;
use footprint::Glow;
use marks::{MarkFault, checked_inside};
use surface::{Area, Surface};
use thiserror::Error;

/// The largest picture that is made without being asked, width and height: larger photographs are made smaller.
pub const MOST_PX: [u32; 2] = [1920, 1920];
/// A glow below this share of full scale counts as gone: on a black photograph less than half a step of 8 bits (1.5e-4).
pub const UNSEEN: f64 = 1e-4;

/// What fixes how bright the photograph's own light is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Anchor {
    /// Its marked cloth is the scene's cloth in the room's light.
    Cloth,
    /// It was taken in this light and at this exposure: full scale is `1.2 cd/m2 * 2^EV` ([`super::exposure`]).
    Taken {
        /// Illuminance on the cloth, in lx.
        room_lx: f64,
        /// Exposure value at ISO 100.
        exposure_ev: f64,
    },
}

/// Why there is no picture.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum NotOnPhoto {
    /// The marks are wrong.
    #[error(transparent)]
    Marks(#[from] MarkFault),
    /// The marked cloth is black.
    #[error(
        "the marked cloth is black in the photograph, so nothing says how bright the photograph's light is"
    )]
    Black,
    /// The pattern piece lies outside the picture.
    #[error("no part of the cloth lies in the picture, as the photograph is marked")]
    NoCloth,
    /// The photograph's exposure is not known.
    #[error("the photograph's light is given, but not its exposure, and the file does not tell it")]
    NoExposure,
}

impl NotOnPhoto {
    /// What to do about it.
    #[must_use]
    pub fn next(&self) -> String {
        match self {
            NotOnPhoto::Marks(fault) => fault.next(),
            NotOnPhoto::Black => {
                "Take it in more light, or draw it in the dark (`room_lx: 0`), or say how it was taken: `room_lx` and \
                 `exposure_ev` under `photo`."
                    .to_owned()
            }
            NotOnPhoto::NoCloth => {
                "Check the corners, and `width_mm`, `height_mm` and `centre_mm`: they say which part of the garment is marked."
                    .to_owned()
            }
            NotOnPhoto::NoExposure => {
                "Give `exposure_ev` (EV at ISO 100) under `photo` too, or leave its `room_lx` out: the marked cloth is then taken \
                 to be the scene's."
                    .to_owned()
            }
        }
    }
}

/// What was done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Report {
    /// Size of the photograph in image pixels.
    pub photo_px: [usize; 2],
    /// The marked area of the garment.
    pub area: Area,
    /// Whether the surface bends, and by how much its points lie off a plane, in image pixels of the finished picture.
    pub bent_by_px: Option<f64>,
    /// What fixed the brightness of the photograph.
    pub anchor: Anchor,
    /// Luminance of the photograph's white in the finished picture, in cd/m2.
    pub white_cd_m2: f64,
    /// Mean luminance of the marked cloth in the room's light alone, in cd/m2, as the finished picture has it.
    pub cloth_cd_m2: f64,
    /// Share of the marked cloth that is burnt out in the photograph.
    pub burnt_out: f64,
    /// Side of the texels of the luminance picture that was looked up, in mm.
    pub texel_mm: f64,
    /// The brightest place of the glow where it is cut off inside the photograph, as a share of full scale.
    pub cut_at: f64,
}

impl Report {
    /// The line of a caption; `name` is the photograph's.
    #[must_use]
    pub fn note(&self, name: &str) -> String {
        let how = match self.anchor {
            Anchor::Cloth => "its marked cloth taken to be the scene's in the room's light".to_owned(),
            Anchor::Taken { room_lx, exposure_ev } => {
                format!("taken in {}\u{a0}lx at EV\u{a0}{exposure_ev:.1}", three_digits(room_lx))
            }
        };
        format!("On the photograph {name}, dimmed to the room's light; {how}: an estimate.")
    }
}

/// A photograph with the glow on it.
#[derive(Clone, Debug)]
pub struct OnPhoto {
    /// The finished picture in cd/m2. Its frame has no scale (`mm_per_px` is not a number): scales differ from place to place.
    pub picture: LuminanceImage,
    /// The glow's share of it.
    pub glow: XyzImage,
    /// What was done.
    pub report: Report,
}

/// Puts the glow of a scene onto a photograph, made smaller to lie within `most_px`.
///
/// # Errors
/// When the marks are wrong, the cloth lies outside, or nothing says how bright the photograph is.
pub fn on_photo(
    scene: &Scene,
    photo: &Photo,
    view: &PhotoView,
    most_px: [u32; 2],
) -> Result<OnPhoto, NotOnPhoto> {
    checked_inside(&view.points_px, photo.width, photo.height)?;
    let anchor = anchor(photo, view)?;
    let small = blend::Small::of(photo, most_px);
    let points: Vec<[f64; 2]> = view.points_px.iter().map(|p| small.place(*p)).collect();
    let area = view.area(scene);
    let surface = Surface::through(area, &points, view.columns, view.rows)?;
    let size_px = [small.image.width_px, small.image.height_px];

    // The glow alone, so that no bright room rounds it off.
    let mut dark = scene.clone();
    dark.view.room_lx = 0.0;
    // The photograph has the view's own slant; the glow is that from straight ahead.
    dark.view.side_rad = 0.0;
    let frame = frame::chosen(&dark, &surface, size_px).ok_or(NotOnPhoto::NoCloth)?;
    let flat = luminance_in(&dark, frame);
    let room = room_light(&|l| scene.stack_at(l), scene.view.room_lx);
    let shares = flat.outline.as_ref().map_or_else(Vec::new, |outline| clip::shares(&frame, outline));
    let glow = Glow::of(frame, flat.image, &shares);

    let outline = flat.outline.as_ref();
    let seen = blend::seen(&small, &surface, &glow, outline);
    if seen.cloth.area <= 0.0 {
        return Err(NotOnPhoto::NoCloth);
    }
    let white_cd_m2 = match anchor {
        Anchor::Taken { room_lx, exposure_ev } => {
            super::exposure::ExposureValue(exposure_ev).full_scale().0 * scene.view.room_lx / room_lx
        }
        Anchor::Cloth if room.luminance() <= 0.0 => 0.0,
        Anchor::Cloth if seen.cloth.mean() < blend::BLACK => return Err(NotOnPhoto::Black),
        Anchor::Cloth => room.luminance() / seen.cloth.mean(),
    };
    let image = blend::added(small.image, white_cd_m2, &seen.glow);
    let picture = LuminanceImage {
        frame: unscaled(size_px),
        image,
        room,
        straight: flat.straight,
        report: flat.report,
        outline: None,
    };
    let full_scale = super::render::exposure(scene, &picture).full_scale().0;
    let report = Report {
        photo_px: [photo.width, photo.height],
        area,
        bent_by_px: surface.bends().then(|| surface.bent_by_px()),
        anchor,
        white_cd_m2,
        cloth_cd_m2: white_cd_m2 * seen.cloth.mean(),
        burnt_out: seen.cloth.burnt_out / seen.cloth.area,
        texel_mm: frame.mm_per_px,
        cut_at: frame::brightest_cut(&glow, &surface, size_px) / full_scale,
    };
    Ok(OnPhoto { picture, glow: seen.glow, report })
}

/// A frame of a size without a scale.
fn unscaled([width_px, height_px]: [u32; 2]) -> Frame {
    Frame { first_x_mm: 0.0, first_y_mm: 0.0, mm_per_px: f64::NAN, width_px, height_px }
}

fn anchor(photo: &Photo, view: &PhotoView) -> Result<Anchor, NotOnPhoto> {
    let Some(room_lx) = view.room_lx else { return Ok(Anchor::Cloth) };
    // Time, aperture and sensitivity give N^2/t * 100/S = 2^EV at ISO 100.
    let of_file = || photo.taken.map(|taken| (100.0 / taken.exposure()).log2());
    let exposure_ev = view.exposure_ev.or_else(of_file).ok_or(NotOnPhoto::NoExposure)?;
    Ok(Anchor::Taken { room_lx, exposure_ev })
}
