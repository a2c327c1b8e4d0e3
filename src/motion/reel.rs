//! A short GIF in memory with its stills and its flash check: what a sheet or a page shows of a pattern.

use super::film::{Film, FilmError, Kind, Packed, packed};
use super::frames::{self, levels_at};
use super::timing::Timing;
use crate::judge::flash::{FlashCheck, FlashReport, FlashSetup};
use crate::picture::canvas::Canvas;
use crate::picture::clip::developed;
use crate::picture::exposure::ExposureValue;
use crate::picture::luminance::{LuminanceImage, frame};
use crate::scene::Scene;

/// Stills kept, evenly over the loop.
pub const STILLS: usize = 4;
/// Frames at most: of a long loop fewer are shown in a second.
pub const MOST_FRAMES: usize = 240;

/// A loop of a scene's pattern.
#[derive(Clone, Debug)]
pub struct Reel {
    /// The GIF; it loops for ever.
    pub gif: Vec<u8>,
    /// Pictures of it, evenly over the loop.
    pub stills: Vec<Canvas>,
    /// Its frames.
    pub timing: Timing,
    /// The exposure of all frames.
    pub exposure: ExposureValue,
    /// Whether it flashes too much.
    pub flash: FlashReport,
}

/// One loop of the scene's pattern at the scene's own picture size, with at most so many frames a second; `None` for a scene without a
/// pattern. A loop of more than [`MOST_FRAMES`] frames gets fewer in a second.
///
/// # Errors
/// When a frame cannot be encoded.
pub fn reel(scene: &Scene, most_per_s: f64) -> Result<Option<Reel>, FilmError> {
    let Some(pattern) = &scene.pattern else { return Ok(None) };
    let per_s = pattern.frames_per_s.min(most_per_s).min(MOST_FRAMES as f64 / pattern.duration_s);
    let Some(timing) = Timing::new(pattern.duration_s, per_s) else { return Ok(None) };
    let frame = frame(scene);
    let projector = frames::projector(scene, frame, timing);
    let levels = |time_s: f64| levels_at(scene, time_s);
    let exposure = frames::exposure(scene.view.exposure, &projector, timing, &levels);
    let setup = FlashSetup { frame, distance_m: scene.view.distance_m, exposure, looped: true };
    let mut check = FlashCheck::new(setup);
    let (mut gif, mut stills) = (Vec::new(), Vec::new());
    let mut film = Film::begin(Kind::Gif, &mut gif, [frame.width_px, frame.height_px], timing)?;
    let work = |_: usize, _: f64, picture: LuminanceImage| -> Result<_, FilmError> {
        let canvas = developed(&picture, exposure);
        let packed = packed(Kind::Gif, canvas.clone(), frame.mm_per_px)?;
        Ok((picture, canvas, packed))
    };
    let kept = |index: usize| (0..STILLS).any(|still| still * timing.count / STILLS == index);
    let mut each =
        |index: usize, time_s: f64, (picture, canvas, packed): (LuminanceImage, Canvas, Packed)| {
            // Size and order are right by construction, the only errors there are.
            let _ = check.push_developed(time_s, &picture.image, &canvas);
            if kept(index) {
                stills.push(canvas);
            }
            film.as_mut().map_or(Ok(()), |film| film.push(packed))
        };
    frames::each(&projector, timing, &levels, &work, &mut each)?;
    film.map_or(Ok(()), Film::finish)?;
    Ok(Some(Reel { gif, stills, timing, exposure, flash: check.finish() }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::catalogue::CatalogueOnly;
    use crate::scene::file::resolve;

    fn scene(light: &str) -> Scene {
        let text = format!(
            "pixels: [strip: {{pitch_mm: 10, count: 6}}]\nstack: [{{gap_mm: 8, cloth: jersey}}]\nlight: {light}\nview: {{size_px: [64, 36]}}\n"
        );
        resolve(&text, "test", &CatalogueOnly).unwrap_or_else(|faults| panic!("{faults:?}")).scene
    }

    #[test]
    fn a_slow_pulse_passes_and_a_fast_one_does_not() {
        let made = |period_s: f64| {
            let scene = scene(&format!(
                "{{level: 1, pattern: {{pulse: {{period_s: {period_s}, depth: 1}}, duration_s: 2, frames_per_s: 20}}}}"
            ));
            reel(&scene, 25.0).expect("encoded").expect("a pattern")
        };
        let (slow, fast) = (made(2.0), made(0.2));
        assert!(slow.flash.passed() && !fast.flash.passed());
        assert_eq!((slow.timing.count, slow.stills.len()), (40, STILLS));
        assert!(slow.gif.starts_with(b"GIF89a"));
        // An independent reader finds the frames again.
        use image::AnimationDecoder;
        let decoder = image::codecs::gif::GifDecoder::new(std::io::Cursor::new(&slow.gif)).expect("a GIF");
        assert_eq!(decoder.into_frames().count(), 40);
    }

    #[test]
    fn without_a_pattern_there_is_none_and_long_loops_get_fewer_frames() {
        assert!(reel(&scene("{level: 1}"), 25.0).expect("fine").is_none());
        let long = scene("{level: 1, pattern: {pulse: {period_s: 30}, duration_s: 60, frames_per_s: 25}}");
        assert_eq!(reel(&long, 25.0).expect("encoded").expect("a pattern").timing.count, MOST_FRAMES);
    }
}
