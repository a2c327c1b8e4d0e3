//! The luminance picture of a scene: what a person in front of the garment has before the eye, in cd/m2.
//!
//! # Model
//! Three lights are added:
//! 1. the glow: for every die of every package the sum of its spots behind the stack ([`super::plane`],
//!    [`super::die_spots`]), each pixel with the spot of its own gap ([`super::gap_classes`]);
//! 2. the pixels themselves where light gets through without being scattered (holes, thin cloth, no cloth at all): their bright
//!    patches at their real size, as finely as the eye resolves them, and the halo that forms in the observer's eye
//!    ([`super::glare`]);
//! 3. the light of the room, which the cloth over its board throws back in its own colour: `E R / pi`, taken as even.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | E | illuminance of the room on the cloth | lx |
//! | R | diffuse reflectance of the stack over the board, by wavelength | 1 |
//!
//! [`super::projector`] adds them.
//!
//! From the side, the garment's outer face is projected along the line of sight ([`crate::light::oblique::Sight`]); what is seen bare
//! behind it moves against it by the depth of the board (parallax), and sends what its beam sends that way, `I(0) cos^m`.
//!
//! # Assumptions
//! Seen from far off against the garment's size: all lines of sight are parallel. The room's light is daylight white (CIE D65) and
//! falls from all sides. The cloth goes on beyond the picture, and throws the room's light back alike to all sides. The eye's halo is drawn for what is seen bare; that of the soft glow is below notice.
//!
//! # Source
//! As the parts; D65: CIE 015.

use super::kept::Kept;
use super::memory::{Output, TooLarge, allowed, needed};
use super::plane::{Frame, PlaneReport, XyzImage};
use super::projector::Projector;
use crate::light::Stack;
use crate::light::spectrum::illuminant::daylight_per_lux;
use crate::light::spectrum::observer::{Xyz, xyz_of};
use crate::light::spectrum::{FIRST_NM, LAST_NM, Spectrum};
use crate::light::totals::reflectance_outside;
use crate::pixels::outline::Outline;
use crate::pixels::package::Package;
use crate::quantity::{Luminance, Millimetres, Nanometres};
use crate::scene::{Pixel, Scene};
use std::f64::consts::PI;

/// Distance of the wavelengths at which the cloth's reflectance is computed: a dye may rise within 10 nm.
const ROOM_STEP_NM: f64 = 10.0;

/// A scene's luminance picture.
#[derive(Clone, Debug)]
pub struct LuminanceImage {
    /// Where it lies in the garment's plane.
    pub frame: Frame,
    /// X, Y, Z; Y is the luminance in cd/m2.
    pub image: XyzImage,
    /// The room's light on the cloth alone, which is part of every image pixel.
    pub room: Xyz,
    /// The share of light that comes straight through, unscattered.
    pub straight: f64,
    /// How the sum of spots was made; `None` without cloth.
    pub report: Option<PlaneReport>,
    /// The edge of the pattern piece, at which the developed picture ends ([`super::clip`]).
    pub outline: Option<Outline>,
}

impl LuminanceImage {
    /// The highest luminance.
    #[must_use]
    pub fn peak(&self) -> Luminance {
        Luminance(f64::from(self.image.planes[1].iter().copied().fold(0.0, f32::max)))
    }

    /// The mean luminance over the picture.
    #[must_use]
    pub fn mean(&self) -> Luminance {
        let plane = &self.image.planes[1];
        Luminance(plane.iter().map(|&v| f64::from(v)).sum::<f64>() / plane.len().max(1) as f64)
    }
}

/// The frame that shows all pixels and the pattern piece of the scene with its margin.
#[must_use]
pub fn frame(scene: &Scene) -> Frame {
    let [width, height] = scene.view.size_px;
    let ([low_x, low_y], [high_x, high_y]) = scene.shown_extent();
    let middle = [0.5 * (low_x.0 + high_x.0), 0.5 * (low_y.0 + high_y.0)];
    let half = [0.5 * (high_x - low_x).0, 0.5 * (high_y - low_y).0];
    // From the side at the scale of straight ahead: the garment grows narrower, as it does when one walks round it.
    let (middle, half) = match scene.view.sight() {
        None => (middle, half),
        Some(sight) => {
            let corners = [sight.seen(half), sight.seen([half[0], -half[1]])];
            let reach = |axis: usize| corners[0][axis].abs().max(corners[1][axis].abs()).max(half[axis]);
            (sight.seen(middle), [reach(0), reach(1)])
        }
    };
    let mm_per_px = (2.0 * half[0] / f64::from(width)).max(2.0 * half[1] / f64::from(height));
    Frame::centred(middle[0], middle[1], mm_per_px, width, height)
}

/// The luminance picture of a scene in its own frame.
#[must_use]
pub fn luminance(scene: &Scene) -> LuminanceImage {
    luminance_in(scene, frame(scene))
}

/// The luminance picture of a scene in a given frame.
#[must_use]
pub fn luminance_in(scene: &Scene, frame: Frame) -> LuminanceImage {
    projector(scene, frame, None).picture(&levels(scene))
}

/// As [`luminance_in`], with what was kept from pictures before, when it and what is made of it take no more memory than is allowed.
///
/// # Errors
/// When they would take more than `most` bytes; nothing that grows with the picture is there by then.
pub fn luminance_within(
    scene: &Scene,
    frame: Frame,
    kept: Option<&Kept>,
    output: Output,
    most: usize,
) -> Result<LuminanceImage, TooLarge> {
    let projector = projector(scene, frame, kept);
    allowed(&frame, needed(&projector, output), most)?;
    Ok(projector.picture(&levels(scene)))
}

fn projector(scene: &Scene, frame: Frame, kept: Option<&Kept>) -> Projector {
    let lit = |pixel: usize, die: usize| scene.pixels[pixel].levels[die] > 0.0;
    Projector::with(scene, frame, &lit, kept)
}

fn levels(scene: &Scene) -> Vec<&[f64]> {
    scene.pixels.iter().map(|pixel| pixel.levels.as_slice()).collect()
}

/// The distinct packages of the scene.
pub(crate) fn packages(scene: &Scene) -> Vec<&Package> {
    let mut packages: Vec<&Package> = Vec::new();
    for pixel in &scene.pixels {
        if !packages.iter().any(|known| std::ptr::eq(*known, &*pixel.package) || **known == *pixel.package) {
            packages.push(&pixel.package);
        }
    }
    packages
}

/// The place in the garment of a place in a pixel's package, in mm.
pub(crate) fn place(pixel: &Pixel, offset: [Millimetres; 2]) -> [f64; 2] {
    let (sin, cos) = pixel.turn_rad.sin_cos();
    let [x, y] = offset.map(|o| o.0);
    [pixel.at[0].0 + cos * x - sin * y, pixel.at[1].0 + sin * x + cos * y]
}

/// What the room's light makes of the cloth: X, Y, Z in cd/m2, the same everywhere.
#[must_use]
pub fn room_light(stack_at: &(dyn Fn(Nanometres) -> Stack + Sync), room_lx: f64) -> Xyz {
    if room_lx <= 0.0 {
        return Xyz([0.0; 3]);
    }
    let steps = ((LAST_NM - FIRST_NM) / ROOM_STEP_NM).round() as usize;
    let nodes: Vec<f64> =
        (0..=steps).map(|i| FIRST_NM + (LAST_NM - FIRST_NM) * i as f64 / steps as f64).collect();
    let mut reflectances: Vec<f64> = Vec::with_capacity(nodes.len());
    let mut former: Option<Stack> = None;
    for &l in &nodes {
        let stack = stack_at(Nanometres(l));
        let value = match (&former, reflectances.last()) {
            (Some(same), Some(&value)) if *same == stack => value,
            _ => reflectance_outside(&stack),
        };
        reflectances.push(value);
        former = Some(stack);
    }
    let spacing = (LAST_NM - FIRST_NM) / steps as f64;
    let reflectance = |l: f64| {
        let x = (l - FIRST_NM) / spacing;
        let i = (x as usize).min(steps - 1);
        let f = x - i as f64;
        reflectances[i] * (1.0 - f) + reflectances[i + 1] * f
    };
    let daylight = daylight_per_lux();
    let returned = Spectrum::from_fn(|l| daylight.at(l) * reflectance(l.0) * room_lx / PI);
    xyz_of(&returned)
}
