//! The pictures of the sheet: the whole garment, near and far, and in three lights.

use super::{NoSheet, Views};
use crate::choose::compare::words::{digits, look_of, percent, ranged};
use crate::judge::numbers::{Judged, Layout, Numbers, Range};
use crate::picture::canvas::Canvas;
use crate::picture::clip::{BACKGROUND, developed};
use crate::picture::exposure::{ExposureValue, resolve};
use crate::picture::luminance::{LuminanceImage, luminance_in, room_light};
use crate::picture::plane::Frame;
use crate::picture::png_out::{PngError, srgb_8};
use crate::picture::small::{detailed_frame, developed_together, small_luminances};
use crate::scene::{Exposure, Scene};

/// The lights in which the garment is shown, in lux, with their names (common practice, no source).
pub const LIGHTS: [(f64, &str); 3] =
    [(0.0, "In the dark"), (20.0, "On a lit street"), (300.0, "In a lit room")];
/// Width of the large picture: 230 image pixels to the inch on A4.
const HERO_PX: f64 = 1600.0;
/// Width over height of the large picture, least and most.
const HERO_SHAPE: [f64; 2] = [2.3, 4.0];
/// Width of the other pictures.
const SMALL_PX: f64 = 720.0;
/// Width over height of the lights' pictures, least and most.
const LIGHT_SHAPE: [f64; 2] = [1.6, 2.6];
/// A pitch takes at least this many image pixels.
const LEAST_PX_PER_PITCH: f64 = 14.0;
/// Width over height of near and far.
const VIEW_SHAPE: f64 = 1.6;
/// Angle of view of near and far, across: on the printed page, 8 degrees is what the picture takes up at 0.4 m from the eye.
const ANGLE_DEG: f64 = 8.0;
/// The farther picture is at most this many times as wide as the garment; the angle gets smaller otherwise.
const MOST_AROUND: f64 = 2.0;
/// The nearer distance, and the farther one where the scene itself is seen from nearby, in m.
const NEAR_M: f64 = 0.5;
const FAR_M: f64 = 2.0;
/// The scene's own distance counts as far from here on, in m.
const FAR_FROM_M: f64 = 0.75;

/// A picture in a file's bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// PNG.
    pub png: Vec<u8>,
    /// Image pixels in a row.
    pub width_px: u32,
    /// Rows.
    pub height_px: u32,
}

impl Picture {
    /// Encodes a canvas.
    ///
    /// # Errors
    /// When the encoder refuses.
    pub fn of(canvas: &Canvas, mm_per_px: f64) -> Result<Picture, PngError> {
        let png = srgb_8(canvas, mm_per_px, &[("Software", "weftlight")])?;
        Ok(Picture { png, width_px: canvas.width_px, height_px: canvas.height_px })
    }

    /// Height over width.
    #[must_use]
    pub fn shape(&self) -> f64 {
        f64::from(self.height_px) / f64::from(self.width_px.max(1))
    }
}

/// The garment from one distance.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The picture.
    pub picture: Picture,
    /// From how far.
    pub distance_m: f64,
    /// What the dots look like.
    pub look: &'static str,
}

/// The garment in one light.
#[derive(Clone, Debug, PartialEq)]
pub struct Light {
    /// The picture.
    pub picture: Picture,
    /// The light, in words.
    pub name: &'static str,
    /// Illuminance of the room on the cloth, in lux.
    pub room_lx: f64,
    /// Mean glow over the luminance of the cloth in that light; `None` in the dark.
    pub contrast: Option<Range>,
    /// What the dots look like.
    pub look: &'static str,
}

/// Below this share a glow over a lit cloth is practically unseen: about what an eye tells apart side by side.
const UNSEEN: f64 = 0.02;
/// From this contrast on it is told as a multiple, below as a share that is added.
const TIMES_FROM: f64 = 1.5;

impl Light {
    /// How the glow holds its own in that light.
    #[must_use]
    pub fn in_words(&self) -> String {
        match self.contrast {
            None => "nothing but its own light".to_owned(),
            Some(range) if !range.value.is_finite() => "nothing but its own light".to_owned(),
            Some(range) if range.value >= TIMES_FROM => {
                format!("the glow is {} times as bright as the cloth around it", ranged(range, digits))
            }
            Some(range) if range.value >= UNSEEN => {
                format!("the glow adds {} to the brightness of the cloth", ranged(range, percent))
            }
            Some(_) => "the glow is practically unseen".to_owned(),
        }
    }
}

/// Width over height of what is shown, within limits.
fn shape(scene: &Scene, [least, most]: [f64; 2]) -> f64 {
    let ([low_x, low_y], [high_x, high_y]) = scene.shown_extent();
    ((high_x - low_x).0 / (high_y - low_y).0.max(1e-9)).clamp(least, most)
}

fn with_view(scene: &Scene, distance_m: f64, room_lx: f64) -> Scene {
    let mut scene = scene.clone();
    scene.view.distance_m = distance_m;
    scene.view.room_lx = room_lx;
    scene
}

/// The large picture, near and far, at one exposure: the scene's own, or the one for the brightest of them. Also the share of light that
/// comes straight through.
pub(super) fn views(scene: &Scene, layout: &Layout, judged: &Judged) -> Result<(Views, f64), NoSheet> {
    let hero_px = [HERO_PX as u32, (HERO_PX / shape(scene, HERO_SHAPE)).round() as u32];
    let mut large = scene.clone();
    large.view.size_px = hero_px;
    let own_m = scene.view.distance_m;
    let [near_m, far_m] = if own_m >= FAR_FROM_M { [NEAR_M, own_m] } else { [own_m, FAR_M] };
    let ([low_x, low_y], [high_x, high_y]) = scene.shown_extent();
    let across = (high_x - low_x).0.max(VIEW_SHAPE * (high_y - low_y).0);
    let most_rad = MOST_AROUND * across / (1e3 * far_m);
    let angle_rad = ANGLE_DEG.to_radians().min(most_rad);
    let seen: Vec<(Scene, Frame, f64)> = [near_m, far_m]
        .map(|distance_m| {
            let width_mm = 1e3 * distance_m * angle_rad;
            let at = with_view(scene, distance_m, scene.view.room_lx);
            (at, view_frame(scene, width_mm / SMALL_PX), distance_m)
        })
        .into();
    let mut all: Vec<(&Scene, Frame)> = vec![(&large, crate::picture::luminance::frame(&large))];
    all.extend(seen.iter().map(|(scene, frame, _)| (scene, *frame)));
    let images = small_luminances(&all, &|| ());
    let (exposure, canvases) = developed_together(&images, scene.view.exposure);
    let looks = layout.numbers_of(&seen.iter().map(|(scene, ..)| scene.clone()).collect::<Vec<_>>());
    let one = |i: usize| -> Result<Seen, PngError> {
        let distance_m = seen[i].2;
        let mut canvas = canvases[i + 1].clone();
        if scene.piece.is_none() {
            end_at(&mut canvas, &images[i + 1].frame, scene);
        }
        let look = if distance_m == own_m { look_of(&judged.value) } else { look_of(&looks[i]) };
        Ok(Seen { picture: Picture::of(&canvas, images[i + 1].frame.mm_per_px)?, distance_m, look })
    };
    let views = Views {
        hero: Picture::of(&canvases[0], images[0].frame.mm_per_px)?,
        near: one(0)?,
        far: one(1)?,
        angle_deg: angle_rad.to_degrees(),
        exposure,
    };
    Ok((views, images[0].straight))
}

/// The frame of near and far: around the pixel nearest to the middle where the garment is larger than the picture, else around its middle.
fn view_frame(scene: &Scene, mm_per_px: f64) -> Frame {
    let size_px = [SMALL_PX as u32, (SMALL_PX / VIEW_SHAPE).round() as u32];
    let ([low_x, low_y], [high_x, high_y]) = scene.shown_extent();
    let middle = [0.5 * (low_x.0 + high_x.0), 0.5 * (low_y.0 + high_y.0)];
    let fits = (high_x - low_x).0 <= mm_per_px * f64::from(size_px[0])
        && (high_y - low_y).0 <= mm_per_px * f64::from(size_px[1]);
    let away = |p: &[f64; 2]| (p[0] - middle[0]).hypot(p[1] - middle[1]);
    let nearest =
        scene.pixels.iter().map(|p| [p.at[0].0, p.at[1].0]).min_by(|a, b| away(a).total_cmp(&away(b)));
    let [x, y] = if fits { middle } else { nearest.unwrap_or(middle) };
    Frame::centred(x, y, mm_per_px, size_px[0], size_px[1])
}

/// Lets the cloth end where the large picture's garment does: far away, the ground is seen around it.
fn end_at(canvas: &mut Canvas, frame: &Frame, scene: &Scene) {
    let ([low_x, low_y], [high_x, high_y]) = scene.shown_extent();
    let (width, height) = (i64::from(frame.width_px), i64::from(frame.height_px));
    let [left, top] = corner(frame);
    let to_px = |mm: f64| (mm / frame.mm_per_px).round() as i64;
    let [x0, x1] = [to_px(low_x.0 - left), to_px(high_x.0 - left)].map(|v| v.clamp(0, width));
    let [y0, y1] = [to_px(top - high_y.0), to_px(top - low_y.0)].map(|v| v.clamp(0, height));
    canvas.fill(0, 0, width as u32, y0 as u32, BACKGROUND);
    canvas.fill(0, y1, width as u32, (height - y1) as u32, BACKGROUND);
    canvas.fill(0, y0, x0 as u32, (y1 - y0) as u32, BACKGROUND);
    canvas.fill(x1, y0, (width - x1) as u32, (y1 - y0) as u32, BACKGROUND);
}

/// Left and top of a frame, in mm.
fn corner(frame: &Frame) -> [f64; 2] {
    [frame.first_x_mm - 0.5 * frame.mm_per_px, frame.first_y_mm + 0.5 * frame.mm_per_px]
}

/// The garment in the lights of [`LIGHTS`], at one exposure made for the brightest of them.
pub(super) fn lights(
    scene: &Scene,
    layout: &Layout,
    judged: &Judged,
) -> Result<(Vec<Light>, ExposureValue), NoSheet> {
    let size_px = [SMALL_PX as u32, (SMALL_PX / shape(scene, LIGHT_SHAPE)).round() as u32];
    let frame = detailed_frame(scene, layout.pitch_mm(), size_px, LEAST_PX_PER_PITCH);
    let scenes = LIGHTS.map(|(lx, _)| with_view(scene, scene.view.distance_m, lx));
    let images: Vec<LuminanceImage> = in_lights(scene, frame);
    let exposure = resolve(Exposure::Auto, images.iter().map(|p| p.image.planes[1].as_slice()));
    let looks = layout.numbers_of(&scenes);
    let mut lights = Vec::new();
    for (i, (lx, name)) in LIGHTS.into_iter().enumerate() {
        lights.push(Light {
            picture: Picture::of(&developed(&images[i], exposure), frame.mm_per_px)?,
            name,
            room_lx: lx,
            contrast: (lx > 0.0).then(|| contrast(scene, judged, lx)),
            look: look_of(&looks[i]),
        });
    }
    Ok((lights, exposure))
}

/// The pictures in the lights. The room's light is even, so the glow is computed once, in the dark.
fn in_lights(scene: &Scene, frame: Frame) -> Vec<LuminanceImage> {
    let dark = luminance_in(&with_view(scene, scene.view.distance_m, 0.0), frame);
    let lit = LIGHTS.map(|(lx, _)| {
        let mut image = dark.clone();
        image.room = room_light(&|l| scene.stack_at(l), lx);
        for (plane, value) in image.image.planes.iter_mut().zip(image.room.0) {
            plane.iter_mut().for_each(|v| *v += value as f32);
        }
        image
    });
    lit.into()
}

/// Mean glow over the cloth in another light than the scene's, with its range: in every sample the cloth throws back its own share.
fn contrast(scene: &Scene, judged: &Judged, lx: f64) -> Range {
    let own_lx = scene.view.room_lx;
    let per_lx = room_light(&|l| scene.stack_at(l), 1.0).luminance();
    judged.range(|n: &Numbers| {
        if own_lx > 0.0 && n.contrast_with_room.is_finite() {
            n.contrast_with_room * own_lx / lx
        } else if per_lx > 0.0 {
            n.mean_cd_m2 / (per_lx * lx)
        } else {
            f64::INFINITY
        }
    })
}
