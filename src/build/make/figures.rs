//! The pictures between the sheet's words: the chart of voltages, and what the garment should look like once it shines.

use super::Plan;
use crate::paper::data_address;
use crate::picture::luminance::luminance;
use crate::picture::png_out::PngError;
use crate::picture::render;
use crate::scene::Scene;

/// The longer side of the preview, in image pixels: sharp enough on paper, small enough to send.
const LONGER_PX: u32 = 1000;

/// Pictures that belong to a plan; each may be missing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figures {
    /// The chart of voltages along the run, SVG.
    pub chart: Option<String>,
    /// What it should look like.
    pub preview: Option<Preview>,
}

/// A picture of the garment, to compare with when it is tested.
#[derive(Clone, Debug, PartialEq)]
pub struct Preview {
    /// PNG.
    pub png: Vec<u8>,
    /// Width and height in image pixels, the picture's own caption included.
    pub size_px: [u32; 2],
    /// What it shows, for those who cannot see it.
    pub alt: String,
    /// What stands under it.
    pub caption: String,
}

impl Preview {
    /// The picture as an address that holds it.
    #[must_use]
    pub fn address(&self) -> String {
        data_address("image/png", &self.png)
    }
}

/// The preview of a scene at the brightness that its supply allows with typical parts; without a supply, at its own.
///
/// # Errors
/// When the picture cannot be encoded.
pub fn preview(scene: &Scene, plan: &Plan) -> Result<Preview, PngError> {
    let powered = plan.power.as_ref().map(|power| &power.both.typical.scene);
    let mut shown = powered.unwrap_or(scene).clone();
    shown.view.size_px = shown.view.size_within(LONGER_PX);
    let picture = luminance(&shown);
    let (png, size_px) = render::encoded(&shown, &picture, render::exposure(&shown, &picture), &[])?;
    let light = match powered {
        Some(_) => "at the brightness that the supply allows, typical parts",
        None => "at the levels of the scene",
    };
    Ok(Preview {
        alt: format!("{} as it should look when it is lit, {light}.", plan.name),
        caption: format!("What it should look like, {light}: hold the work beside it when you test."),
        png,
        size_px,
    })
}
