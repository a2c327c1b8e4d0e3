//! From a luminance picture to a file's bytes: exposure, tone curve, caption bar, PNG.

use super::caption::{Caption, captioned, exposure_words};
use super::clip::developed;
use super::colour::linear_srgb;
pub use super::develop::develop;
use super::exposure::{ExposureValue, resolve};
use super::luminance::LuminanceImage;
use super::png_out::{LinearPicture, PngError, linear_16, srgb_8};
use crate::cloth::Basis;
use crate::light::spectrum::observer::Xyz;
use crate::scene::{PlacedCloth, Scene};
use rayon::prelude::*;

/// The exposure of a scene's picture: the one it fixes, or the automatic one.
#[must_use]
pub fn exposure(scene: &Scene, picture: &LuminanceImage) -> ExposureValue {
    resolve(scene.view.exposure, [picture.image.planes[1].as_slice()])
}

/// The words under a scene's picture.
#[must_use]
pub fn caption(scene: &Scene, exposure: ExposureValue) -> Caption {
    Caption {
        title: title(scene),
        exposure: exposure_words(exposure.0),
        distance_m: Some(scene.view.distance_m),
        room_lx: Some(scene.view.room_lx),
        notes: notes(scene),
    }
}

fn title(scene: &Scene) -> String {
    let cloths: Vec<String> = scene
        .stack
        .iter()
        .enumerate()
        .map(|(i, placed)| format!("{} at {}", placed.cloth.title, gap(scene, i, placed)))
        .collect();
    if cloths.is_empty() {
        format!("{}: bare pixels, no cloth", scene.name)
    } else {
        format!("{}: {}", scene.name, cloths.join(", then "))
    }
}

/// The gap below a layer in words; over the pixels, where it is the first.
fn gap(scene: &Scene, layer: usize, placed: &PlacedCloth) -> String {
    match (layer, scene.gap_range_mm(), scene.uneven_mm()) {
        (0, _, Some([low, high])) => format!("{} to {} mm (uneven stand-off)", trimmed(low), trimmed(high)),
        (0, [same, _], None) => format!("{} mm", trimmed(same)),
        _ => format!("{} mm", trimmed(placed.gap_below.0)),
    }
}

/// A number with at most two decimals.
fn trimmed(value: f64) -> String {
    format!("{}", (value * 100.0).round() / 100.0)
}

/// From which side the scene is seen, in words.
#[must_use]
pub fn side_words(scene: &Scene) -> String {
    let degrees = |radians: f64| (10.0 * radians.to_degrees()).round() / 10.0;
    let from = degrees(scene.view.from_rad).rem_euclid(360.0);
    let place = match from {
        0.0 => "from the right".to_owned(),
        90.0 => "from above".to_owned(),
        180.0 => "from the left".to_owned(),
        270.0 => "from below".to_owned(),
        from => format!("from {from}° (0° is the right, 90° above)"),
    };
    format!("Seen {}° to the side, {place}", degrees(scene.view.side_rad))
}

/// From where and how sure the picture is.
fn notes(scene: &Scene) -> Vec<String> {
    let estimated: Vec<_> =
        scene.stack.iter().map(|p| &p.cloth).filter(|c| c.basis == Basis::Label).collect();
    let mut notes = Vec::new();
    if scene.view.side_rad > 0.0 {
        notes.push(format!("{}; the scale holds across that direction.", side_words(scene)));
    }
    if !estimated.is_empty() {
        let worst = estimated.iter().map(|c| c.uncertainty.optical_thickness).fold(0.0, f64::max);
        let open =
            estimated.iter().filter(|c| c.openness > 0.0).map(|c| c.uncertainty.openness).fold(0.0, f64::max);
        let holes =
            if open > 0.0 { format!(", its holes to ±{:.0} %", 100.0 * open) } else { String::new() };
        notes.push(format!(
            "Cloth estimated from its label: its optical thickness is known to ±{:.0} %{holes}. Pixels: typical data-sheet values.",
            100.0 * worst
        ));
    }
    notes
}

/// The finished 8-bit PNG of a scene, caption bar included.
///
/// # Errors
/// When the encoder refuses, which no scene that passed its check should bring about.
pub fn png(scene: &Scene, picture: &LuminanceImage, exposure: ExposureValue) -> Result<Vec<u8>, PngError> {
    png_with(scene, picture, exposure, &[])
}

/// The same with further lines in the caption, before those that say how sure it is.
///
/// # Errors
/// As [`png()`].
pub fn png_with(
    scene: &Scene,
    picture: &LuminanceImage,
    exposure: ExposureValue,
    notes: &[String],
) -> Result<Vec<u8>, PngError> {
    encoded(scene, picture, exposure, notes).map(|(png, _)| png)
}

/// The same with its width and height in image pixels, the caption bar included.
pub(crate) fn encoded(
    scene: &Scene,
    picture: &LuminanceImage,
    exposure: ExposureValue,
    notes: &[String],
) -> Result<(Vec<u8>, [u32; 2]), PngError> {
    let mm_per_px = picture.frame.mm_per_px;
    let mut caption = caption(scene, exposure);
    caption.notes.splice(0..0, notes.iter().cloned());
    let canvas = captioned(&developed(picture, exposure), mm_per_px, &caption);
    let png = srgb_8(&canvas, mm_per_px, &[("Software", "weftlight")])?;
    Ok((png, [canvas.width_px, canvas.height_px]))
}

/// The 16-bit linear PNG of a scene's luminance picture, without caption; its full scale is the picture's peak.
///
/// # Errors
/// As [`png()`]; a picture that is black all over has no full scale.
pub fn linear_png(picture: &LuminanceImage) -> Result<Vec<u8>, PngError> {
    let [x, y, z] = &picture.image.planes;
    let rgb: Vec<f32> = x
        .par_iter()
        .zip(y)
        .zip(z)
        .flat_map_iter(|((&x, &y), &z)| linear_srgb(Xyz([x, y, z].map(f64::from))).map(|v| v as f32))
        .collect();
    let full_scale = f64::from(rgb.iter().copied().fold(0.0, f32::max));
    let linear = LinearPicture {
        width_px: picture.image.width_px,
        height_px: picture.image.height_px,
        rgb: &rgb,
        full_scale_cd_m2: full_scale,
    };
    linear_16(&linear, picture.frame.mm_per_px, &[("Software", "weftlight")])
}
