//! How bright bare pixels are, and how much blue light reaches an eye that looks into them from close by.
//!
//! An estimate from package data and no certification: the standard's classes are for measured products.
//!
//! # Model
//! - **Luminance** of the bright window: intensity straight ahead over area. A die's own patch sends the share `1 - c` of its light,
//!   the whole window the rest ([`Package::bright_parts`]): the mean over the window is `I/A`, the brightest place is the patch.
//! - **Blue light**: [`blue`].
//! - **Behind cloth** the light that comes straight through keeps the picture of the pixels, times the straight transmittance; what is
//!   scattered is counted as if all of it still came from where the pixels are. For the widest field that is near the truth, for the
//!   narrower ones far too much: figures behind cloth are "at most".
//!
//! # Assumptions and validity
//! Seen from straight ahead, where pixels are brightest. Levels are shares of time, far too fast for an eye: averages count; the
//! standard's rules for single pulses are not applied. Square windows count as discs of the same area. The ranges are those
//! of the packages' intensities alone: a blue die of 465 nm instead of 470 nm sends nearly half as much again per candela. `ideal` sources have no extent: no luminance is told for them.

pub mod blue;
mod words;

use crate::light::Window;
use crate::light::spectrum::die_spectrum;
use crate::light::straight::{STRAIGHT_AT, straight_transmittance};
use crate::light::totals::shares;
use crate::picture::luminance::packages;
use crate::pixels::package::{Die, DieFacts, Package};
use crate::quantity::Nanometres;
use crate::scene::Scene;
use blue::{BlueLight, LIMITS, blue_w_per_lm, centres, parts, radiance};
use std::f64::consts::PI;

/// Luminance from which a small light is taken to dazzle at night, in cd/m2 (common practice, no source: a clear
/// sky is some 5000 to 10 000).
pub const DAZZLES_CD_M2: f64 = 10_000.0;
/// Share of light that comes straight through above which the pixels themselves are seen, and it is told that they dazzle.
pub const SEEN_BARE: f64 = 0.005;
/// Wavelength that stands for blue dies where the scattered share of a stack is asked for, in nm.
const BLUE_NM: f64 = 460.0;

/// A value that data sheets give a range for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Likely {
    /// With every die at the lower end of its range.
    pub low: f64,
    /// Typical.
    pub typical: f64,
    /// With every die at the upper end of its range.
    pub high: f64,
}

impl Likely {
    fn of(f: impl Fn(usize) -> f64) -> Likely {
        Likely { low: f(0), typical: f(1), high: f(2) }
    }

    /// All three times a factor.
    #[must_use]
    pub fn times(self, factor: f64) -> Likely {
        Likely { low: self.low * factor, typical: self.typical * factor, high: self.high * factor }
    }
}

/// Intensity of a die at full level in cd: lower end, typical, upper end.
fn candela(die: &DieFacts, case: usize) -> f64 {
    1e-3 * [die.range_mcd[0], die.typical_mcd, die.range_mcd[1]][case]
}

/// One die of a package at full level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DieLight {
    /// Which.
    pub die: Die,
    /// Luminance of the whole window by its light, in cd/m2.
    pub window_cd_m2: Likely,
    /// Luminance of its own bright patch, in cd/m2.
    pub patch_cd_m2: Likely,
    /// Weighted intensity straight ahead, in W/sr.
    pub blue_w_sr: Likely,
}

/// One package.
#[derive(Clone, Debug, PartialEq)]
pub struct PackageLight {
    /// Its name.
    pub name: String,
    /// Its dies, each alone at full level.
    pub dies: Vec<DieLight>,
    /// Mean luminance of its window with all dies at full level, in cd/m2.
    pub full_cd_m2: Likely,
    /// The same of the brightest such pixel at the scene's levels.
    pub scene_cd_m2: Likely,
}

/// Bare pixels of a scene.
#[derive(Clone, Debug, PartialEq)]
pub struct BareLight {
    /// The packages that have an extent.
    pub packages: Vec<PackageLight>,
    /// Share of the light that comes straight through the cloth; 1 without cloth.
    pub straight: f64,
    /// At most this share of the blue light comes through, straight or scattered.
    pub blue_kept: f64,
    /// Blue light of the bare pixels with every die at full level.
    pub blue_full: BlueLight,
    /// Blue light of the bare pixels at the scene's levels.
    pub blue_scene: BlueLight,
}

fn radius_mm(window: Window) -> f64 {
    match window {
        Window::Point => 0.0,
        Window::Disc { diameter } => 0.5 * diameter.0,
        Window::Square { side } => side.0 / PI.sqrt(),
    }
}

impl BareLight {
    /// The bare pixels of a scene.
    #[must_use]
    pub fn of(scene: &Scene) -> BareLight {
        let packages = packages(scene);
        let blue: Vec<Vec<f64>> = packages
            .iter()
            .map(|p| p.dies.iter().map(|die| blue_w_per_lm(&die_spectrum(die))).collect())
            .collect();
        let with = |level: &(dyn Fn(f64) -> f64 + Sync)| {
            let parts = parts(scene, &packages, &blue, level);
            let centres = centres(scene);
            BlueLight { radiance: LIMITS.map(|(_, field)| radiance(&parts, &centres, field)) }
        };
        let beam = packages.iter().map(|p| p.beam_power).fold(f64::INFINITY, f64::min);
        let (straight, blue_kept) = if scene.stack.is_empty() {
            (1.0, 1.0)
        } else {
            let at_blue = scene.stack_at(Nanometres(BLUE_NM));
            let scattered = if beam.is_finite() { shares(&at_blue, beam).scattered.max(0.0) } else { 0.0 };
            let through = straight_transmittance(&at_blue.layers) + scattered;
            (straight_transmittance(&scene.stack_at(STRAIGHT_AT).layers), through.min(1.0))
        };
        BareLight {
            packages: packages
                .iter()
                .zip(&blue)
                .filter_map(|(package, blue)| package_light(scene, package, blue))
                .collect(),
            straight,
            blue_kept,
            blue_full: with(&|_| 1.0),
            blue_scene: with(&|level| level),
        }
    }

    /// Blue light at the scene's levels, at most, as it comes through the cloth.
    #[must_use]
    pub fn blue_behind_cloth(&self) -> BlueLight {
        self.blue_scene.times(self.blue_kept)
    }

    /// The brightest window at full level, its mean luminance in cd/m2.
    #[must_use]
    pub fn brightest_full_cd_m2(&self) -> Option<Likely> {
        self.brightest(|package| package.full_cd_m2)
    }

    fn brightest(&self, f: impl Fn(&PackageLight) -> Likely) -> Option<Likely> {
        self.packages.iter().map(f).reduce(|a, b| if b.typical > a.typical { b } else { a })
    }
}

fn package_light(scene: &Scene, package: &Package, blue: &[f64]) -> Option<PackageLight> {
    let area_m2 = |window: Window| PI * (1e-3 * radius_mm(window)).powi(2);
    let window_m2 = area_m2(package.window);
    if window_m2 <= 0.0 {
        return None;
    }
    let dies = package
        .dies
        .iter()
        .zip(blue)
        .map(|(die, &per_cd)| {
            let of = |f: &dyn Fn(f64) -> f64| Likely::of(|case| f(candela(die, case)));
            DieLight {
                die: die.die,
                window_cd_m2: of(&|cd| cd / window_m2),
                patch_cd_m2: of(&|cd| {
                    let parts = package.bright_parts(die);
                    parts.iter().map(|(_, window, share)| cd * share / area_m2(*window)).sum()
                }),
                blue_w_sr: of(&|cd| cd * per_cd),
            }
        })
        .collect();
    let mean = |levels: &[f64]| {
        let candela = |case| package.dies.iter().zip(levels).map(|(d, l)| candela(d, case) * l).sum::<f64>();
        Likely::of(|case| candela(case) / window_m2)
    };
    let scene_cd_m2 = scene
        .pixels
        .iter()
        .filter(|pixel| *pixel.package == *package)
        .map(|pixel| mean(&pixel.levels))
        .reduce(|a, b| if b.typical > a.typical { b } else { a })
        .unwrap_or_default();
    Some(PackageLight {
        name: package.name.clone(),
        dies,
        full_cd_m2: mean(&vec![1.0; package.dies.len()]),
        scene_cd_m2,
    })
}

#[cfg(test)]
mod tests;
