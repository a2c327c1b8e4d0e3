//! The moving picture of a sheet: an animated file for the page, stills of it for the paper.

use super::Sheet;
use super::pictures::Picture;
use crate::motion::film::FilmError;
use crate::motion::reel::reel;
use crate::picture::canvas::Canvas;
use crate::picture::png_out::PngError;
use crate::scene::Scene;

/// Stills that are shown; more would be too small.
pub const MOST_STILLS: usize = 4;
/// A larger file would make the page too large to send.
pub const MOST_BYTES: usize = 8 << 20;

/// Longer side of the moving picture in image pixels, and its frames a second at most; where the file would be too large, the next.
const TRIES: [(u32, f64); 3] = [(480, 12.0), (360, 8.0), (240, 6.0)];

/// A moving picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Motion {
    /// The file: GIF, animated PNG or WebP.
    pub animation: Vec<u8>,
    /// What it shows, for those who do not see it.
    pub alt: String,
    /// What stands below it: how long it is, at which exposure. May be empty.
    pub caption: String,
    /// Frames of it in their order, for paper and for who wants nothing to move; [`MOST_STILLS`] of them are shown, spread evenly.
    pub stills: Vec<Canvas>,
}

/// Why a moving picture is refused.
#[derive(Debug, thiserror::Error)]
pub enum NoMotion {
    /// Not a picture that moves in a browser.
    #[error("the moving picture is neither GIF nor PNG nor WebP")]
    Format,
    /// Too large.
    #[error("the moving picture has {0} bytes; at most {MOST_BYTES} are put into a page")]
    Large(usize),
    /// Nothing to read instead.
    #[error("the moving picture has no words that say what it shows")]
    NoWords,
    /// Nothing to print.
    #[error("the moving picture has no still frames for the paper")]
    NoStills,
    /// A still could not be encoded.
    #[error("a still frame cannot be encoded: {0}")]
    Still(#[from] PngError),
}

/// One loop of a scene's pattern with what the flash check says of it; `None` for a scene without a pattern, or one whose loop is too
/// long for a page.
///
/// # Errors
/// When a frame cannot be encoded.
pub fn of_scene(scene: &Scene) -> Result<Option<Motion>, FilmError> {
    for (longer, per_s) in TRIES {
        let mut small = scene.clone();
        // The loop is shown as from straight ahead and without a photograph, like all pictures of the sheet.
        small.view.photo = None;
        small.view.size_px = scene.view.size_within(longer);
        let Some(reel) = reel(&small, per_s)? else { return Ok(None) };
        if reel.gif.len() > MOST_BYTES {
            continue;
        }
        let seconds = (reel.timing.seconds * 10.0).round() / 10.0;
        let verdict = if reel.flash.passed() {
            "It stays within the usual limits of flashing".to_owned()
        } else {
            format!("Caution: it flashes more than the usual limits allow. {}", reel.flash.words().join(" "))
        };
        return Ok(Some(Motion {
            animation: reel.gif,
            alt: format!("{}: one loop of {seconds} s of how its light moves.", scene.name),
            caption: format!(
                "One loop of {seconds} s, exposed at {} (ISO 100). {verdict} (WCAG 2.3.1 and ITU-R BT.1702; a warning and no medical clearance).",
                reel.exposure
            ),
            stills: reel.stills,
        }));
    }
    Ok(None)
}

/// A moving picture in the form in which it is put on the sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Encoded {
    pub(crate) media_type: &'static str,
    pub(crate) animation: Vec<u8>,
    pub(crate) alt: String,
    pub(crate) caption: String,
    pub(crate) stills: Vec<Picture>,
}

/// The media type of a file by its first bytes.
fn media_type(bytes: &[u8]) -> Option<&'static str> {
    match bytes {
        [b'G', b'I', b'F', b'8', b'7' | b'9', b'a', ..] => Some("image/gif"),
        [0x89, b'P', b'N', b'G', ..] => Some("image/png"),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Some("image/webp"),
        _ => None,
    }
}

impl Sheet {
    /// The sheet with a moving picture; as it is without one.
    ///
    /// # Errors
    /// When the file is none that moves in a browser or is larger than [`MOST_BYTES`], without words or stills, and when a still cannot be
    /// encoded.
    pub fn with_motion(mut self, motion: Option<Motion>) -> Result<Sheet, NoMotion> {
        let Some(motion) = motion else { return Ok(self) };
        let media_type = media_type(&motion.animation).ok_or(NoMotion::Format)?;
        if motion.animation.len() > MOST_BYTES {
            return Err(NoMotion::Large(motion.animation.len()));
        }
        if motion.alt.trim().is_empty() {
            return Err(NoMotion::NoWords);
        }
        if motion.stills.is_empty() {
            return Err(NoMotion::NoStills);
        }
        let count = motion.stills.len().min(MOST_STILLS);
        let shown = (0..count).map(|i| &motion.stills[i * motion.stills.len() / count]);
        let stills = shown.map(|still| Picture::of(still, 1.0)).collect::<Result<_, _>>()?;
        let Motion { animation, alt, caption, .. } = motion;
        self.motion = Some(Encoded { media_type, animation, alt, caption, stills });
        Ok(self)
    }
}
