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
//! From the side, the garment's outer face is projected along the line of sight ([`Sight`]); what is seen bare behind it moves
//! against it by the depth of the board (parallax), and sends what its beam sends that way, `I(0) cos^m`.
//!
//! # Assumptions
//! Seen from far off against the garment's size: all lines of sight are parallel. The room's light is daylight white (CIE D65) and falls from all sides. The cloth goes on beyond
//! the picture, and throws the room's light back alike to all sides. The eye's halo is drawn for what is seen bare; that of the soft glow is below notice.
//!
//! # Source
//! As the parts; D65: CIE 015.

use super::coloured::{ColouredPoint, add_coloured};
use super::die_spots::{DieSpots, die_spots_over_gaps, oblique_die_spots_over_gaps};
use super::gap_classes::GapClasses;
use super::glare::{BarePixel, Eye, add_halos};
use super::plane::{
    Accuracy, Frame, PlaneReport, SlantedChannel, SpotChannel, SpotPoint, XyzImage, add_slanted_spots,
    add_spots,
};
use super::radial::gaussian;
use super::sharp;
use crate::light::oblique::Sight;
use crate::light::spectrum::die::die_weights;
use crate::light::spectrum::illuminant::daylight_per_lux;
use crate::light::spectrum::observer::{Xyz, xyz_of};
use crate::light::spectrum::{FIRST_NM, LAST_NM, Spectrum};
use crate::light::spread::SpotSpectrum;
use crate::light::totals::reflectance_outside;
use crate::light::transport::{slanted_transmittance, straight_transmittance};
use crate::light::{Stack, Window};
use crate::pixels::outline::Outline;
use crate::pixels::package::Package;
use crate::quantity::{Luminance, Millimetres, Nanometres};
use crate::scene::{Pixel, Scene};
use rayon::prelude::*;
use std::f64::consts::PI;

/// What gets through straight below this share of the light is not drawn: it lies five decades below what the eye tells
/// apart beside the glow.
const LEAST_STRAIGHT: f64 = 1e-9;
/// Distance of the wavelengths at which the cloth's reflectance is computed: a dye may rise within 10 nm.
const ROOM_STEP_NM: f64 = 10.0;
/// What the standard observer resolves: one minute of arc.
const RESOLVED_RAD: f64 = PI / 180.0 / 60.0;
/// Full width at half maximum of a Gaussian over its standard deviation, 2 sqrt(2 ln 2).
const GAUSSIAN_WIDTH: f64 = 2.354_820_045;
/// cd to cd/m2 mm2.
const PER_SQUARE_METRE: f64 = 1e6;

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
    let packages = packages(scene);
    let classes = GapClasses::of(scene);
    let mut image = XyzImage::black(frame.width_px, frame.height_px);
    let (report, room) = rayon::join(
        || add_glow(&mut image, &frame, scene, &packages, &classes),
        || room_light(&|l| scene.stack_at(l), scene.view.room_lx),
    );
    let stack = scene.stack_at(Nanometres(550.0));
    let sight = scene.view.sight();
    let straight = sight.map_or_else(
        || straight_transmittance(&stack.layers),
        |sight| slanted_transmittance(&stack.layers, sight.tilt_rad.cos()),
    );
    if straight > LEAST_STRAIGHT {
        add_bare_pixels(&mut image, &frame, scene, &packages, straight);
    }
    for (plane, value) in image.planes.iter_mut().zip(room.0) {
        plane.par_iter_mut().for_each(|v| *v += value as f32);
    }
    let outline = scene.piece.as_ref().and_then(|piece| match sight {
        None => Some(piece.outline.clone()),
        Some(sight) => piece.outline.moved(|at| sight.seen(at)),
    });
    LuminanceImage { frame, image, room, straight, report, outline }
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

/// Adds the glow behind the cloth, seen from straight ahead or from the side; `None` without cloth.
fn add_glow(
    image: &mut XyzImage,
    frame: &Frame,
    scene: &Scene,
    packages: &[&Package],
    classes: &GapClasses,
) -> Option<PlaneReport> {
    if scene.stack.is_empty() {
        return None;
    }
    let lowest = Millimetres(classes.gaps_mm[0]);
    let stack_at = |l| scene.stack_over(lowest, l);
    Some(match scene.view.sight() {
        None => {
            let spots = die_spots_over_gaps(packages, &stack_at, &classes.gaps_mm);
            let channels: Vec<SpotChannel<'_>> = channels(scene, packages, &spots, classes)
                .map(|(points, window, spots)| SpotChannel {
                    points,
                    window,
                    window_turn_rad: 0.0,
                    kernels: spots.each_ref().map(Some),
                })
                .collect();
            add_spots(image, frame, &channels, Accuracy::Picture)
        }
        Some(sight) => {
            let spots = oblique_die_spots_over_gaps(packages, &stack_at, &classes.gaps_mm, sight.tilt_rad);
            let channels: Vec<SlantedChannel<'_>> = channels(scene, packages, &spots, classes)
                .map(|(points, window, spots)| SlantedChannel { points, window, kernels: spots.each_ref() })
                .collect();
            add_slanted_spots(image, frame, sight, &channels, Accuracy::Picture)
        }
    })
}

/// The place in the garment of a place in a pixel's package, in mm.
pub(crate) fn place(pixel: &Pixel, offset: [Millimetres; 2]) -> [f64; 2] {
    let (sin, cos) = pixel.turn_rad.sin_cos();
    let [x, y] = offset.map(|o| o.0);
    [pixel.at[0].0 + cos * x - sin * y, pixel.at[1].0 + sin * x + cos * y]
}

/// The pixels of one package with what one of its dies sends by one class of gaps, at a place in the package.
fn points(
    scene: &Scene,
    package: &Package,
    die: usize,
    offset: [Millimetres; 2],
    share: &dyn Fn(usize) -> f64,
) -> Vec<SpotPoint> {
    scene
        .pixels
        .iter()
        .enumerate()
        .filter(|(_, p)| *p.package == *package && p.levels[die] > 0.0)
        .map(|(i, p)| {
            let [x_mm, y_mm] = place(p, offset);
            SpotPoint { x_mm, y_mm, amount: p.levels[die] * share(i) }
        })
        .filter(|point| point.amount != 0.0)
        .collect()
}

/// The glow over all classes of gaps: for each die of a package and each class its points, their outline and the spots.
fn channels<'a, S>(
    scene: &'a Scene,
    packages: &'a [&Package],
    spots: &'a [Vec<DieSpots<S>>],
    classes: &'a GapClasses,
) -> impl Iterator<Item = (Vec<SpotPoint>, Window, &'a [S; 3])> {
    spots.iter().enumerate().flat_map(move |(class, spots)| {
        packages.iter().zip(spots).flat_map(move |(package, spots)| {
            package.dies.iter().zip(&spots.dies).enumerate().map(move |(d, (facts, spots))| {
                let (offset, window) = package.glow_source(facts);
                let share = |pixel| classes.share(pixel, class);
                (points(scene, package, d, offset, &share), window, spots)
            })
        })
    })
}

/// The dies themselves seen through what is open, and their halos.
///
/// They are drawn as finely as the observer's eye resolves them: a Gaussian of one minute of arc full width at half maximum,
/// the resolution of the standard observer (ISO 8596; from memory). Finer, the picture would show colours side by side
/// that nobody sees apart from there.
///
/// From the side their outlines are foreshortened, and they lie where the line of sight through them leaves the outer face.
fn add_bare_pixels(image: &mut XyzImage, frame: &Frame, scene: &Scene, packages: &[&Package], straight: f64) {
    let eye = Eye { age_years: scene.view.age_years, pigment: scene.view.eye_pigment };
    let deviation_mm = RESOLVED_RAD / GAUSSIAN_WIDTH * 1e3 * scene.view.distance_m;
    let sight = scene.view.sight();
    let seen = |pixel: &Pixel, at: [f64; 2]| match sight {
        None => at,
        Some(sight) => sight.seen_below(at, scene.depth_mm(pixel)),
    };
    // Intensity towards the viewer in cd of each die at full level, as X, Y, Z.
    let candela: Vec<Vec<Xyz>> = packages
        .iter()
        .map(|package| {
            let aside = sight.map_or(1.0, |sight| sight.tilt_rad.cos().powf(package.beam_power));
            let ahead = (package.beam_power + 1.0) / (2.0 * PI) * aside * straight;
            package.dies.iter().map(|f| die_weights(f, package.beam_power).total().scaled(ahead)).collect()
        })
        .collect();
    let to_sharp = eye.core_share() * PER_SQUARE_METRE;
    let mut outlines = Vec::new();
    let mut bare: Vec<BarePixel> = Vec::new();
    for (package, candela) in packages.iter().zip(&candela) {
        let sharp: Vec<Xyz> = candela.iter().map(|cd| cd.scaled(to_sharp)).collect();
        outlines.extend(bright_outlines(scene, package, &sharp, &seen));
        bare.extend(scene.pixels.iter().filter(|p| *p.package == **package).map(|pixel| {
            let sum: Xyz = candela.iter().zip(&pixel.levels).map(|(cd, &level)| cd.scaled(level)).sum();
            let [x_mm, y_mm] = seen(pixel, pixel.at.map(|v| v.0));
            BarePixel { x_mm, y_mm, xyz_candela: sum.0 }
        }));
    }
    if let Some(sight) = sight {
        outlines = outlines.iter().map(|outline| foreshortened(outline, sight, deviation_mm)).collect();
    }
    if sharp::pays(frame, deviation_mm) {
        sharp::draw(image, frame, deviation_mm, &outlines);
    } else {
        add_coloured(image, frame, &outlines, &blur(deviation_mm), Accuracy::Skirts);
    }
    add_halos(image, frame, &bare, &eye, scene.view.distance_m);
}

/// The bright areas of one package's pixels: each outline with its places and their light, given that of each die at full
/// level. Areas that several dies have in common are one, with the light of all of them.
///
/// A turned square counts as unturned: after the eye's blur only its size shows.
fn bright_outlines(
    scene: &Scene,
    package: &Package,
    dies: &[Xyz],
    seen: &dyn Fn(&Pixel, [f64; 2]) -> [f64; 2],
) -> Vec<(Window, Vec<ColouredPoint>)> {
    let mut areas: Vec<([Millimetres; 2], Window, Vec<Xyz>)> = Vec::new();
    for (d, (facts, light)) in package.dies.iter().zip(dies).enumerate() {
        for (offset, window, share) in package.bright_parts(facts).into_iter().filter(|part| part.2 > 0.0) {
            let known = areas.iter().position(|(at, outline, _)| *at == offset && *outline == window);
            let area = known.unwrap_or_else(|| {
                areas.push((offset, window, vec![Xyz([0.0; 3]); dies.len()]));
                areas.len() - 1
            });
            areas[area].2[d] = light.scaled(share);
        }
    }
    let of_package = || scene.pixels.iter().filter(|p| *p.package == *package);
    areas
        .into_iter()
        .map(|(offset, window, lights)| {
            let points = of_package()
                .map(|pixel| {
                    let [x_mm, y_mm] = seen(pixel, place(pixel, offset));
                    let sum: Xyz = lights.iter().zip(&pixel.levels).map(|(l, &level)| l.scaled(level)).sum();
                    ColouredPoint { x_mm, y_mm, xyz: sum.0 }
                })
                .collect();
            (window, points)
        })
        .collect()
}

/// Outlines seen from the side, as clouds of points that the eye's blur melts together.
fn foreshortened(
    (window, points): &(Window, Vec<ColouredPoint>),
    sight: Sight,
    deviation_mm: f64,
) -> (Window, Vec<ColouredPoint>) {
    /// Points side by side at most: 576 a pixel.
    const MOST: f64 = 24.0;
    let (side, round) = match window {
        Window::Point => (0.0, false),
        Window::Disc { diameter } => (diameter.0, true),
        Window::Square { side } => (side.0, false),
    };
    // Points one standard deviation apart leave no ripple: 2 exp(-2 pi^2) is 5e-9.
    let count = (side / deviation_mm).ceil().clamp(1.0, MOST) as usize;
    let middle = |i: usize| ((i as f64 + 0.5) / count as f64 - 0.5) * side;
    let within = |at: &[f64; 2]| !round || count == 1 || at[0].hypot(at[1]) <= 0.5 * side;
    let offsets: Vec<[f64; 2]> = (0..count * count)
        .map(|i| [middle(i % count), middle(i / count)])
        .filter(within)
        .map(|at| sight.seen(at))
        .collect();
    let share = 1.0 / offsets.len() as f64;
    let cloud = points
        .iter()
        .flat_map(|p| {
            offsets.iter().map(move |[x, y]| ColouredPoint {
                x_mm: p.x_mm + x,
                y_mm: p.y_mm + y,
                xyz: p.xyz.map(|v| v * share),
            })
        })
        .collect();
    (Window::Point, cloud)
}

/// The eye's blur: a Gaussian of unit integral.
fn blur(deviation_mm: f64) -> SpotSpectrum {
    /// exp(-6.5^2 / 2) is 7e-10.
    const END: f64 = 6.5;
    const KNOTS: usize = 128;
    let knots: Vec<f64> = (0..=KNOTS).map(|i| END / deviation_mm * i as f64 / KNOTS as f64).collect();
    let values = knots.iter().map(|k| gaussian(*k, deviation_mm)).collect();
    SpotSpectrum::new(knots, values)
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
