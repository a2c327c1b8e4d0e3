//! Luminance pictures of one scene with other and other levels: all that does not depend on the levels is made once.
//!
//! The model is that of [`super::luminance`], which is linear in the levels of the dies. Spots of the stack, grids, tables of spots,
//! nodes of all points, outlines as the eye blurs them, halos and the room's light are settled in [`Projector::new`]; a picture
//! then costs its Fourier transforms and the drawing of bare pixels.
//!
//! Validity: the grids of a picture are laid for all dies that may ever be lit. A still of the same levels lays them for those that are
//! lit now, so the two agree to the accuracy of the sums ([`super::plane`], [`super::glare`]) and bit for bit where the same dies are
//! lit. Where spots are too sharp for the grid, all are softened as the sharpest one needs that may ever be lit: a still in which that
//! one is dark is softened less, which differs by up to a few percent of the peak.

use super::coloured::{ColouredPoint, PlannedColoured};
use super::die_spots::{DieSpots, oblique_die_spots_over_gaps};
use super::gap_classes::GapClasses;
use super::glare::{BarePixel, Eye, PlannedHalos};
use super::kept::{self, Kept};
use super::luminance::{LuminanceImage, packages, place, room_light};
use super::memory::Memory;
use super::plane::{
    Accuracy, Frame, PlaneReport, PlannedSpots, SlantedChannel, SpotChannel, SpotPoint, XyzImage,
};
use super::radial::gaussian;
use super::sharp::{self, Blurred};
use crate::light::Window;
use crate::light::oblique::Sight;
use crate::light::spectrum::die::die_weights;
use crate::light::spectrum::observer::Xyz;
use crate::light::spread::SpotSpectrum;
use crate::light::straight::{slanted_transmittance, straight_transmittance};
use crate::pixels::outline::Outline;
use crate::pixels::package::Package;
use crate::quantity::{Millimetres, Nanometres};
use crate::scene::{Pixel, Scene};
use rayon::prelude::*;
use std::f64::consts::PI;
use std::sync::Arc;

/// What gets through straight below this share of the light is not drawn: it lies five decades below what the eye tells
/// apart beside the glow.
const LEAST_STRAIGHT: f64 = 1e-9;
/// What the standard observer resolves: one minute of arc.
const RESOLVED_RAD: f64 = PI / 180.0 / 60.0;
/// Full width at half maximum of a Gaussian over its standard deviation, 2 sqrt(2 ln 2).
const GAUSSIAN_WIDTH: f64 = 2.354_820_045;
/// cd to cd/m2 mm2.
const PER_SQUARE_METRE: f64 = 1e6;

/// A scene in a frame, ready for levels.
#[derive(Debug)]
pub struct Projector {
    frame: Frame,
    room: Xyz,
    straight: f64,
    outline: Option<Outline>,
    glow: Option<Glow>,
    bare: Option<Bare>,
}

impl Projector {
    /// Settles everything but the levels. `lit(pixel, die)` tells which dies may ever be lit; the others stay dark for good.
    #[must_use]
    pub fn new(scene: &Scene, frame: Frame, lit: &(dyn Fn(usize, usize) -> bool + Sync)) -> Projector {
        Projector::with(scene, frame, lit, None)
    }

    /// As [`Projector::new`], with what was kept from pictures before.
    #[must_use]
    pub fn with(
        scene: &Scene,
        frame: Frame,
        lit: &(dyn Fn(usize, usize) -> bool + Sync),
        kept: Option<&Kept>,
    ) -> Projector {
        let packages = packages(scene);
        let classes = GapClasses::of(scene);
        let (glow, room) = rayon::join(
            || Glow::of(scene, &frame, &packages, &classes, lit, kept),
            || match kept {
                Some(kept) => kept.room(scene),
                None => room_light(&|l| scene.stack_at(l), scene.view.room_lx),
            },
        );
        let (stack, sight) = (scene.stack_at(Nanometres(550.0)), scene.view.sight());
        let straight = sight.map_or_else(
            || straight_transmittance(&stack.layers),
            |sight| slanted_transmittance(&stack.layers, sight.tilt_rad.cos()),
        );
        let bare = (straight > LEAST_STRAIGHT).then(|| Bare::new(scene, &frame, &packages, straight, lit));
        let outline = scene.piece.as_ref().and_then(|piece| match sight {
            None => Some(piece.outline.clone()),
            Some(sight) => piece.outline.moved(|at| sight.seen(at)),
        });
        Projector { frame, room, straight, outline, glow, bare }
    }

    /// The frame of its pictures.
    #[must_use]
    pub fn frame(&self) -> Frame {
        self.frame
    }

    /// How the sum of spots is made; `None` without cloth.
    #[must_use]
    pub fn report(&self) -> Option<&PlaneReport> {
        self.glow.as_ref().map(|glow| glow.planned.report())
    }

    /// What the plan and its pictures take, the planes of the pictures not counted.
    #[must_use]
    pub fn memory(&self) -> Memory {
        let glow = self.glow.as_ref().map_or_else(Memory::default, |glow| glow.planned.memory());
        glow.and_then(self.bare.as_ref().map_or_else(Memory::default, |bare| bare.memory(self.frame.len())))
    }

    /// The picture at these levels: 0 to 1, by pixel of the scene in wiring order, by die of its package.
    #[must_use]
    pub fn picture<L: AsRef<[f64]>>(&self, levels: &[L]) -> LuminanceImage {
        let level = |pixel: usize, die: usize| {
            levels.get(pixel).and_then(|l| l.as_ref().get(die)).copied().unwrap_or(0.0)
        };
        let mut image = XyzImage::black(self.frame.width_px, self.frame.height_px);
        if let Some(glow) = &self.glow {
            glow.add(&mut image, &level);
        }
        if let Some(bare) = &self.bare {
            bare.add(&mut image, &level);
        }
        for (plane, value) in image.planes.iter_mut().zip(self.room.0) {
            plane.par_iter_mut().for_each(|v| *v += value as f32);
        }
        LuminanceImage {
            frame: self.frame,
            image,
            room: self.room,
            straight: self.straight,
            report: self.report().cloned(),
            outline: self.outline.clone(),
        }
    }
}

/// What a die of a pixel sends by one class of gaps.
#[derive(Clone, Copy, Debug)]
struct Source {
    pixel: usize,
    share: f64,
}

/// A die by its number, with what each of a channel's points is.
type OfDie = (usize, Vec<Source>);

/// The glow of the cloth.
#[derive(Debug)]
struct Glow {
    planned: PlannedSpots,
    /// By channel: which die, and what each of its points is.
    sources: Vec<OfDie>,
}

/// One channel: its points, the outline from which they send, and its spots.
type Channel<'a, S> = (Vec<SpotPoint>, Window, &'a [S; 3]);

/// One channel a die of a package over each class of gaps, and what each of its points is.
fn channels<'a, S>(
    scene: &Scene,
    packages: &[&Package],
    classes: &GapClasses,
    spots: &'a [Vec<DieSpots<S>>],
    lit: &dyn Fn(usize, usize) -> bool,
) -> (Vec<Channel<'a, S>>, Vec<OfDie>) {
    let mut channels = Vec::new();
    let mut sources = Vec::new();
    for (class, of_packages) in spots.iter().enumerate() {
        for (package, spots) in packages.iter().zip(of_packages) {
            for (die, (facts, spots)) in package.dies.iter().zip(&spots.dies).enumerate() {
                let (offset, window) = package.glow_source(facts);
                let pixels = scene.pixels.iter().enumerate();
                let found: Vec<Source> = pixels
                    .filter(|(pixel, p)| *p.package == **package && lit(*pixel, die))
                    .map(|(pixel, _)| Source { pixel, share: classes.share(pixel, class) })
                    .filter(|source| source.share != 0.0)
                    .collect();
                let point = |source: &Source| {
                    let [x_mm, y_mm] = place(&scene.pixels[source.pixel], offset);
                    SpotPoint { x_mm, y_mm, amount: source.share }
                };
                channels.push((found.iter().map(point).collect(), window, spots));
                sources.push((die, found));
            }
        }
    }
    (channels, sources)
}

impl Glow {
    /// The glow seen from straight ahead or from the side; `None` without cloth.
    fn of(
        scene: &Scene,
        frame: &Frame,
        packages: &[&Package],
        classes: &GapClasses,
        lit: &dyn Fn(usize, usize) -> bool,
        kept: Option<&Kept>,
    ) -> Option<Glow> {
        if scene.stack.is_empty() {
            return None;
        }
        Some(match scene.view.sight() {
            None => {
                let spots = match kept {
                    Some(kept) => kept.spots(scene, packages, &classes.gaps_mm),
                    None => Arc::new(kept::spots(scene, packages, &classes.gaps_mm)),
                };
                let (channels, sources) = channels(scene, packages, classes, &spots, lit);
                let channels: Vec<SpotChannel<'_>> = channels
                    .into_iter()
                    .map(|(points, window, spots)| SpotChannel {
                        points,
                        window,
                        window_turn_rad: 0.0,
                        kernels: spots.each_ref().map(Some),
                    })
                    .collect();
                Glow { planned: PlannedSpots::new(frame, &channels, Accuracy::Picture), sources }
            }
            Some(sight) => {
                let lowest = Millimetres(classes.gaps_mm[0]);
                let stack_at = |l| scene.stack_over(lowest, l);
                let spots =
                    oblique_die_spots_over_gaps(packages, &stack_at, &classes.gaps_mm, sight.tilt_rad);
                let (channels, sources) = channels(scene, packages, classes, &spots, lit);
                let channels: Vec<SlantedChannel<'_>> = channels
                    .into_iter()
                    .map(|(points, window, spots)| SlantedChannel {
                        points,
                        window,
                        kernels: spots.each_ref(),
                    })
                    .collect();
                Glow { planned: PlannedSpots::slanted(frame, sight, &channels, Accuracy::Picture), sources }
            }
        })
    }

    fn add(&self, image: &mut XyzImage, level: &dyn Fn(usize, usize) -> f64) {
        let amounts: Vec<Vec<f32>> = self
            .sources
            .iter()
            .map(|(die, sources)| sources.iter().map(|s| (level(s.pixel, *die) * s.share) as f32).collect())
            .collect();
        self.planned.add(image, &amounts);
    }
}

/// The dies themselves seen through what is open, and their halos.
///
/// They are drawn as finely as the observer's eye resolves them: a Gaussian of one minute of arc full width at half maximum,
/// the resolution of the standard observer (ISO 8596; from memory). Finer, the picture would show colours side by side
/// that nobody sees apart from there.
///
/// From the side their outlines are foreshortened, and they lie where the line of sight through them leaves the outer face.
#[derive(Debug)]
struct Bare {
    areas: Vec<Area>,
    pixels: Vec<Centre>,
    sharp: Sharp,
    halos: PlannedHalos,
}

/// A bright area of a package with the places of its pixels; from the side, the places that its foreshortened outline covers. Areas that several dies have in common are one, with the light
/// of all of them.
#[derive(Debug)]
struct Area {
    window: Window,
    /// Light of each die at full level, times mm2.
    lights: Vec<Xyz>,
    /// Pixel, and place in mm.
    places: Vec<(usize, [f64; 2])>,
}

/// A pixel's centre.
#[derive(Debug)]
struct Centre {
    pixel: usize,
    at_mm: [f64; 2],
    /// Intensity towards the viewer in cd of each die at full level.
    candela: Vec<Xyz>,
}

/// How the bright areas are drawn.
#[derive(Debug)]
enum Sharp {
    Drawn(Blurred),
    Transformed(PlannedColoured),
}

fn sum_of(lights: &[Xyz], pixel: usize, level: &dyn Fn(usize, usize) -> f64) -> [f64; 3] {
    lights.iter().enumerate().map(|(die, light)| light.scaled(level(pixel, die))).sum::<Xyz>().0
}

impl Bare {
    fn new(
        scene: &Scene,
        frame: &Frame,
        packages: &[&Package],
        straight: f64,
        lit: &dyn Fn(usize, usize) -> bool,
    ) -> Bare {
        let eye = Eye { age_years: scene.view.age_years, pigment: scene.view.eye_pigment };
        let deviation_mm = RESOLVED_RAD / GAUSSIAN_WIDTH * 1e3 * scene.view.distance_m;
        let to_sharp = eye.core_share() * PER_SQUARE_METRE;
        let sight = scene.view.sight();
        let seen = |pixel: &Pixel, at: [f64; 2]| match sight {
            None => at,
            Some(sight) => sight.seen_below(at, scene.depth_mm(pixel)),
        };
        let (mut areas, mut pixels) = (Vec::new(), Vec::new());
        for package in packages {
            let aside = sight.map_or(1.0, |sight| sight.tilt_rad.cos().powf(package.beam_power));
            let ahead = (package.beam_power + 1.0) / (2.0 * PI) * aside * straight;
            let of_die = |f| die_weights(f, package.beam_power).total().scaled(ahead);
            let candela: Vec<Xyz> = package.dies.iter().map(of_die).collect();
            let sharp: Vec<Xyz> = candela.iter().map(|cd| cd.scaled(to_sharp)).collect();
            areas.extend(bright_areas(scene, package, &sharp, &seen));
            let own = scene.pixels.iter().enumerate().filter(|(_, p)| *p.package == **package);
            pixels.extend(own.map(|(pixel, p)| Centre {
                pixel,
                at_mm: seen(p, p.at.map(|v| v.0)),
                candela: candela.clone(),
            }));
        }
        if let Some(sight) = sight {
            areas = areas.into_iter().map(|area| foreshortened(area, sight, deviation_mm)).collect();
        }
        let full = |pixel: usize, die: usize| if lit(pixel, die) { 1.0 } else { 0.0 };
        let outlines = outlines(&areas, &full);
        let sharp = if sharp::pays(frame, deviation_mm) {
            Sharp::Drawn(Blurred::new(frame, deviation_mm, areas.iter().map(|area| area.window)))
        } else {
            Sharp::Transformed(PlannedColoured::new(frame, &outlines, &blur(deviation_mm), Accuracy::Skirts))
        };
        let halos = PlannedHalos::new(frame, &bare_pixels(&pixels, &full), &eye, scene.view.distance_m);
        Bare { areas, pixels, sharp, halos }
    }

    fn memory(&self, pixels: usize) -> Memory {
        let halos = self.halos.memory(pixels);
        match &self.sharp {
            // Drawn into the planes themselves.
            Sharp::Drawn(_) => halos,
            Sharp::Transformed(planned) => planned.memory(pixels).and_then(halos),
        }
    }

    fn add(&self, image: &mut XyzImage, level: &dyn Fn(usize, usize) -> f64) {
        let outlines = outlines(&self.areas, level);
        match &self.sharp {
            Sharp::Drawn(blurred) => blurred.draw(image, &outlines),
            Sharp::Transformed(planned) => planned.add(image, &outlines),
        }
        self.halos.add(image, &bare_pixels(&self.pixels, level));
    }
}

fn outlines(areas: &[Area], level: &dyn Fn(usize, usize) -> f64) -> Vec<(Window, Vec<ColouredPoint>)> {
    let point = |area: &Area, pixel: usize, [x_mm, y_mm]: [f64; 2]| ColouredPoint {
        x_mm,
        y_mm,
        xyz: sum_of(&area.lights, pixel, level),
    };
    areas
        .iter()
        .map(|area| (area.window, area.places.iter().map(|(pixel, at)| point(area, *pixel, *at)).collect()))
        .collect()
}

fn bare_pixels(pixels: &[Centre], level: &dyn Fn(usize, usize) -> f64) -> Vec<BarePixel> {
    pixels
        .iter()
        .map(|centre| BarePixel {
            x_mm: centre.at_mm[0],
            y_mm: centre.at_mm[1],
            xyz_candela: sum_of(&centre.candela, centre.pixel, level),
        })
        .collect()
}

/// The bright areas of one package's pixels, given the light of each die at full level.
///
/// A turned square counts as unturned: after the eye's blur only its size shows.
fn bright_areas(
    scene: &Scene,
    package: &Package,
    dies: &[Xyz],
    seen: &dyn Fn(&Pixel, [f64; 2]) -> [f64; 2],
) -> Vec<Area> {
    let mut parts: Vec<([Millimetres; 2], Window, Vec<Xyz>)> = Vec::new();
    for (d, (facts, light)) in package.dies.iter().zip(dies).enumerate() {
        for (offset, window, share) in package.bright_parts(facts).into_iter().filter(|part| part.2 > 0.0) {
            let known = parts.iter().position(|(at, outline, _)| *at == offset && *outline == window);
            let part = known.unwrap_or_else(|| {
                parts.push((offset, window, vec![Xyz([0.0; 3]); dies.len()]));
                parts.len() - 1
            });
            parts[part].2[d] = light.scaled(share);
        }
    }
    let of_package = || scene.pixels.iter().enumerate().filter(|(_, p)| *p.package == *package);
    parts
        .into_iter()
        .map(|(offset, window, lights)| {
            let places = of_package().map(|(pixel, p)| (pixel, seen(p, place(p, offset)))).collect();
            Area { window, lights, places }
        })
        .collect()
}

/// A bright area seen from the side, as clouds of points that the eye's blur melts together.
fn foreshortened(area: Area, sight: Sight, deviation_mm: f64) -> Area {
    /// Points side by side at most: 576 a pixel.
    const MOST: f64 = 24.0;
    let (side, round) = match area.window {
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
    let cloud = |(pixel, at): &(usize, [f64; 2])| {
        let (pixel, [x, y]) = (*pixel, *at);
        offsets.iter().map(move |[dx, dy]| (pixel, [x + dx, y + dy])).collect::<Vec<_>>()
    };
    Area {
        window: Window::Point,
        lights: area.lights.iter().map(|light| light.scaled(share)).collect(),
        places: area.places.iter().flat_map(cloud).collect(),
    }
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
