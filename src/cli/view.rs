//! Options about the viewer that several commands share, with the limits that the scene file has for the same thing.

use super::numbers::{whole_within, within};
use crate::judge::softness::Softness;
use crate::scene::{Exposure, Scene};
use clap::{Args, ValueEnum};

/// From where, in which light and at which exposure.
#[derive(Clone, Debug, Args)]
pub(super) struct ViewOptions {
    /// Exposure value at ISO 100, or auto (instead of the scene's)
    #[arg(long, value_name = "EV", value_parser = exposure, allow_hyphen_values = true)]
    pub(super) exposure_ev: Option<Exposure>,

    /// Viewing distance in metres (instead of the scene's)
    #[arg(long, value_name = "METRES", value_parser = distance, allow_negative_numbers = true)]
    pub(super) distance_m: Option<f64>,

    /// Light of the room on the cloth in lux (instead of the scene's)
    #[arg(long, value_name = "LUX", value_parser = room, allow_negative_numbers = true)]
    pub(super) room_lx: Option<f64>,
}

impl ViewOptions {
    /// The scene seen as the call wants it.
    pub(super) fn applied(&self, mut scene: Scene) -> Scene {
        let view = &mut scene.view;
        view.exposure = self.exposure_ev.unwrap_or(view.exposure);
        view.distance_m = self.distance_m.unwrap_or(view.distance_m);
        view.room_lx = self.room_lx.unwrap_or(view.room_lx);
        scene
    }
}

/// How soft a glow is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Want {
    /// The dots are the look: at least 10 times over the eye's threshold
    Dots,
    /// Dots have melted into each other: at most 3 times over the eye's threshold
    Soft,
    /// No dots show: below the eye's threshold
    Smooth,
}

impl From<Want> for Softness {
    fn from(want: Want) -> Softness {
        match want {
            Want::Dots => Softness::Dots,
            Want::Soft => Softness::Soft,
            Want::Smooth => Softness::Smooth,
        }
    }
}

fn exposure(text: &str) -> Result<Exposure, String> {
    if text == "auto" {
        return Ok(Exposure::Auto);
    }
    within(text, &crate::scene::shape::EXPOSURE_EV)
        .map(Exposure::Fixed)
        .map_err(|problem| format!("{problem}, or auto"))
}

pub(super) fn distance(text: &str) -> Result<f64, String> {
    within(text, &crate::scene::shape::DISTANCE_M)
}

fn room(text: &str) -> Result<f64, String> {
    within(text, &crate::scene::shape::ROOM_LX)
}

pub(super) fn gap(text: &str) -> Result<f64, String> {
    within(text, &crate::scene::shape::GAP_MM)
}

pub(super) fn side(text: &str) -> Result<f64, String> {
    within(text, &crate::scene::shape::SIDE_DEG)
}

pub(super) fn direction(text: &str) -> Result<f64, String> {
    within(text, &crate::scene::shape::ANGLE_DEG)
}

pub(super) fn pitch(text: &str) -> Result<f64, String> {
    within(text, &crate::scene::shape::PITCH_MM)
}

pub(super) fn size(text: &str) -> Result<[u32; 2], String> {
    let limits = &crate::scene::shape::SIZE_PX;
    let Some((width, height)) = text.split_once([',', 'x']) else {
        return Err(format!("two numbers are needed, such as 1920,1080; allowed: {}", limits.in_words()));
    };
    let side = |part: &str| {
        let whole = whole_within(part, limits)?;
        u32::try_from(whole).map_err(|error| error.to_string())
    };
    Ok([side(width)?, side(height)?])
}
