//! Small pictures of several variants of a scene, to be shown side by side at one exposure.

use super::canvas::Canvas;
use super::clip::developed;
use super::exposure::{ExposureValue, resolve, resolve_for_set};
use super::luminance::{LuminanceImage, luminance_in};
use super::plane::Frame;
use crate::scene::{Exposure, Scene};
use rayon::prelude::*;

/// A pitch takes at least this many image pixels, so that dots can be told apart on a small picture.
const LEAST_PX_PER_PITCH: f64 = 14.0;

/// The frame of a small picture: the whole garment where its pixels can then still be told apart, else the part around the pixel
/// nearest to its middle.
#[must_use]
pub fn small_frame(scene: &Scene, pitch_mm: Option<f64>, size_px: [u32; 2]) -> Frame {
    detailed_frame(scene, pitch_mm, size_px, LEAST_PX_PER_PITCH)
}

/// As [`small_frame`], with at least so many image pixels a pitch.
#[must_use]
pub fn detailed_frame(
    scene: &Scene,
    pitch_mm: Option<f64>,
    size_px: [u32; 2],
    least_px_per_pitch: f64,
) -> Frame {
    let ([low_x, low_y], [high_x, high_y]) = scene.shown_extent();
    let [across, upright] = [(high_x - low_x).0, (high_y - low_y).0];
    let whole = (across / f64::from(size_px[0])).max(upright / f64::from(size_px[1]));
    let middle = [0.5 * (low_x.0 + high_x.0), 0.5 * (low_y.0 + high_y.0)];
    let finest = pitch_mm.map_or(whole, |pitch| pitch / least_px_per_pitch);
    if whole <= finest {
        return Frame::centred(middle[0], middle[1], whole, size_px[0], size_px[1]);
    }
    let away = |p: &[f64; 2]| (p[0] - middle[0]).hypot(p[1] - middle[1]);
    let nearest =
        scene.pixels.iter().map(|p| [p.at[0].0, p.at[1].0]).min_by(|a, b| away(a).total_cmp(&away(b)));
    let [x, y] = nearest.unwrap_or(middle);
    Frame::centred(x, y, finest, size_px[0], size_px[1])
}

/// The luminance pictures of several scenes, each in its frame, in parallel. `done` is called after each.
#[must_use]
pub fn small_luminances(scenes: &[(&Scene, Frame)], done: &(dyn Fn() + Sync)) -> Vec<LuminanceImage> {
    scenes
        .par_iter()
        .map(|(scene, frame)| {
            let picture = luminance_in(scene, *frame);
            done();
            picture
        })
        .collect()
}

/// Develops pictures at one exposure: the one that is fixed, or the automatic one for all of them together.
#[must_use]
pub fn developed_together(pictures: &[LuminanceImage], wanted: Exposure) -> (ExposureValue, Vec<Canvas>) {
    let exposure = resolve(wanted, pictures.iter().map(|p| p.image.planes[1].as_slice()));
    (exposure, pictures.par_iter().map(|p| developed(p, exposure)).collect())
}

/// Develops pictures of a set of cloths at one exposure: the one that is fixed, or the median one ([`resolve_for_set`]).
#[must_use]
pub fn developed_as_set(pictures: &[LuminanceImage], wanted: Exposure) -> (ExposureValue, Vec<Canvas>) {
    let exposure = resolve_for_set(wanted, pictures.iter().map(|p| p.image.planes[1].as_slice()));
    (exposure, pictures.par_iter().map(|p| developed(p, exposure)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::catalogue::CatalogueOnly;
    use crate::scene::file::resolve as scene_of;

    #[test]
    fn long_strips_show_their_middle_and_short_ones_all() {
        let scene = |count: u32| {
            let text = format!(
                "pixels: [strip: {{pitch_mm: 10, count: {count}}}]\nstack: [{{gap_mm: 6, cloth: jersey}}]\n"
            );
            scene_of(&text, "test", &CatalogueOnly).expect("in order").scene
        };
        let long = small_frame(&scene(400), Some(10.0), [280, 160]);
        assert!((long.mm_per_px - 10.0 / LEAST_PX_PER_PITCH).abs() < 1e-12);
        let short = scene(6);
        let frame = small_frame(&short, Some(10.0), [280, 160]);
        let shown = f64::from(frame.width_px) * frame.mm_per_px;
        assert!(shown >= 50.0 + 2.0 * short.view.margin.0 - 1e-9 && frame.mm_per_px < long.mm_per_px);
    }

    #[test]
    fn the_same_exposure_for_all() {
        let text = "pixels: [strip: {pitch_mm: 10, count: 6}]\nstack: [{gap_mm: 6, cloth: jersey}]\n";
        let scene = scene_of(text, "test", &CatalogueOnly).expect("in order").scene;
        let felt = crate::cloth::catalogue::by_name("felt-wool-ivory-5").expect("listed").expect("in order");
        let darker = scene.behind(&felt, 1, crate::scene::variants::Replaced::Outermost);
        let frame = small_frame(&scene, Some(10.0), [96, 54]);
        let pictures = small_luminances(&[(&scene, frame), (&darker, frame)], &|| ());
        let (exposure, canvases) = developed_together(&pictures, Exposure::Auto);
        let alone = developed_together(&pictures[..1], Exposure::Auto);
        assert_eq!(exposure.0, alone.0.0, "exposed for the brightest");
        assert_eq!(canvases[0], alone.1[0]);
        assert_ne!(canvases[0], canvases[1]);
    }
}
