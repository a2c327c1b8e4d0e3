//! The sheet for a client: what the garment will look like, before anything is bought.
//!
//! | from | to | function |
//! |---|---|---|
//! | [`Resolved`], [`Words`] | [`Sheet`]: pictures, numbers, cloths | [`sheet`] |
//! | sheet, moving picture | the same sheet with it | [`Sheet::with_motion`] |
//! | sheet | sections of words and pictures | [`sections::sections`] |
//! | sheet | one HTML file | [`html::html`] |
//! | sheet | pages of a PDF, as SVG | [`pages::pages`] |
//!
//! **Model**: pictures as [`crate::picture`] makes them, numbers as [`crate::judge`] and [`crate::build`] do. What stands side by side
//! has one exposure, and says which. The three lights ([`LIGHTS`]) are shown as a camera that does not change sees them, for what an
//! eye makes of them depends on where it comes from; beside each stands what does not: how bright the glow is against the cloth in
//! that light. Near and far are shown over the same angle of view, so that things get smaller with distance as in life.
//!
//! **Assumptions and validity**: those of the pictures and numbers. Room light is daylight white from all sides.
//!
//! **Source**: 20 lx for a lit street and 300 lx for a lit room are common practice, no source.
//!
//! ```no_run
//! use weftlight::client::{Words, html::html, sheet};
//! use weftlight::cloth::catalogue::CatalogueOnly;
//! use weftlight::scene::file::resolve;
//!
//! let text = "pixels: [strip: {pitch_mm: 16.67, count: 24}]\nstack: [{gap_mm: 6, cloth: felt-wool-ivory}]\n";
//! let scene = resolve(text, "collar.yaml", &CatalogueOnly).map_err(|faults| format!("{faults:?}"))?;
//! let words = Words { title: Some("Lantern collar".to_owned()), ..Words::default() };
//! let page = html(&sheet(&scene, words).map_err(|fault| fault.to_string())?);
//! assert!(page.contains("<h1>Lantern collar</h1>"));
//! # Ok::<(), String>(())
//! ```

mod bar;
mod cautions;
mod facts;
pub mod html;
pub mod motion;
pub mod pages;
mod pictures;
pub mod sections;
mod setting;
mod swatches;

pub use bar::{Zone, zones};
pub use motion::{Motion, NoMotion};
pub use pictures::{LIGHTS, Light, Picture, Seen};
pub use swatches::ClothCard;

use crate::build::make::{NoPlan, Plan, plan};
use crate::judge::numbers::{Judged, Layout};
use crate::picture::exposure::ExposureValue;
use crate::picture::png_out::PngError;
use crate::scene::Scene;
use crate::scene::file::Resolved;

/// What the maker says on the sheet, instead of what the scene file says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Words {
    /// Heading.
    pub title: Option<String>,
    /// Note to the client; every line is a paragraph.
    pub note: Option<String>,
    /// Date, as it is to be written; none is ever made up.
    pub date: Option<String>,
}

/// Everything on the sheet.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Heading.
    pub title: String,
    /// Note to the client, paragraph by paragraph.
    pub note: Vec<String>,
    /// For whom it is made.
    pub client: Option<String>,
    /// Date as given.
    pub date: Option<String>,
    /// The scene.
    pub scene: Scene,
    /// Pieces, cloths to cut, current and power, as on the make sheet.
    pub plan: Plan,
    /// The numbers that matter, with their ranges.
    pub judged: Judged,
    /// The large picture, near and far: at one exposure.
    pub views: Views,
    /// The garment in the lights of [`LIGHTS`], at one exposure.
    pub lights: Vec<Light>,
    /// Exposure of the lights.
    pub lights_exposure: ExposureValue,
    /// How the dots look from where, from near to far; empty where no two pixels are neighbours.
    pub zones: Vec<Zone>,
    /// The cloths from the pixels outwards.
    pub cloths: Vec<ClothCard>,
    /// Share of the pixels' light that comes straight through, unscattered.
    pub straight: f64,
    /// The moving picture.
    pub(crate) motion: Option<motion::Encoded>,
}

/// The large picture, near and far.
#[derive(Clone, Debug, PartialEq)]
pub struct Views {
    /// The whole garment.
    pub hero: Picture,
    /// From nearby.
    pub near: Seen,
    /// From farther off.
    pub far: Seen,
    /// Angle of view of near and far, across, in degrees.
    pub angle_deg: f64,
    /// Their exposure, and that of the large picture.
    pub exposure: ExposureValue,
}

/// Why there is no sheet.
#[derive(Debug, thiserror::Error)]
pub enum NoSheet {
    /// Nothing that could be made.
    #[error(transparent)]
    Plan(#[from] NoPlan),
    /// A picture could not be encoded.
    #[error("a picture cannot be encoded: {0}")]
    Picture(#[from] PngError),
}

/// The sheet of a scene, without a moving picture.
///
/// # Errors
/// For a scene without pixels or with ideal points, when the voltages along the run do not settle, and when a picture cannot be encoded.
pub fn sheet(resolved: &Resolved, words: Words) -> Result<Sheet, NoSheet> {
    let scene = &resolved.scene;
    let plan = plan(resolved, None)?;
    let layout = Layout::of(scene);
    let judged = layout.judged(scene);
    let (views, straight) = pictures::views(scene, &layout, &judged)?;
    let (lights, lights_exposure) = pictures::lights(scene, &layout, &judged)?;
    let own = &resolved.sheet;
    let note = words.note.or_else(|| own.note.clone()).unwrap_or_default();
    Ok(Sheet {
        title: words.title.or_else(|| own.title.clone()).unwrap_or_else(|| scene.name.clone()),
        note: note.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect(),
        client: own.client.clone(),
        date: words.date,
        zones: zones(&layout, scene, &judged.value),
        cloths: swatches::cards(scene),
        scene: scene.clone(),
        plan,
        judged,
        views,
        lights,
        lights_exposure,
        straight,
        motion: None,
    })
}
