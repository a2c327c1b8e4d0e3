//! The numbers that matter, each defined once.
//!
//! | number | definition | unit |
//! |---|---|---|
//! | spot width | full width at half maximum of one pixel's spot in luminance | mm |
//! | evenness | min / mean of the glow between the pixels ([`super::dots`]) | 1 |
//! | ripple | (max - min) / (max + min) of the glow over the even glow ([`super::dots`]) | 1 |
//! | dot visibility | contrast of the dots over the eye's threshold at the viewing distance; below 1: no dots | 1 |
//! | vanishing distance | beyond it no dots show | m |
//! | mean, peak luminance | of glow and room-lit cloth together, between the pixels, and at the brightest place | cd/m2 |
//! | light kept | share of the pixels' luminous flux that leaves the front | 1 |
//! | colour shift | CIEDE2000 of the light through the cloth against the bare light, at equal lightness | 1 |
//! | contrast with the room | mean glow over the luminance of the cloth in the room's light | 1 |
//! | thickness | board to outer face | mm |
//! | areal mass | of all cloths | g/m2 |
//!
//! # How estimates become ranges
//! The cloths' relative uncertainties (optical thickness, openness, taken as log-normal and independent) are sampled
//! [`SAMPLES`] times by Latin hypercube with a fixed seed, every number is computed anew for each sample, and the range is that
//! from the 10th to the 90th percentile: four times in five the truth lies inside if the cloth's uncertainty is right. The pixels'
//! own spread is not part of it.
//!
//! # Source
//! CIEDE2000: Sharma, Wu & Dalal (2005). Latin hypercube: McKay, Beckman & Conover, Technometrics 21 (1979), from memory. The
//! rest: product definitions of this project, formulas in the modules named.

use super::colour_difference::colour_shift;
use super::dots::{Dots, Emitter, dots};
use super::neighbours::{Neighbourhood, neighbourhood};
use crate::light::Stack;
use crate::light::spectrum::die::{DieWeights, die_weights};
use crate::light::spectrum::observer::Xyz;
use crate::light::totals::shares;
use crate::light::transport::straight_transmittance;
use crate::picture::die_spots::{DieSpots, die_spots_every};
use crate::picture::luminance::{packages, place, room_light};
use crate::pixels::package::Package;
use crate::quantity::{Millimetres, Nanometres, PerMillimetre};
use crate::scene::Scene;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use rayon::prelude::*;
use std::f64::consts::PI;

/// Samples of the cloths' uncertainty.
pub const SAMPLES: usize = 24;
/// The range reaches from this percentile to its mirror: an 80 % interval.
pub const LOW_QUANTILE: f64 = 0.1;
/// Seed of the samples.
const SEED: u64 = 20;
/// Distance of the wavelengths solved for numbers. Wider than for pictures: luminance and shape of a spot change by less than
/// 1 % (tested), colour shift by less than 0.3.
const NUMBERS_STEP_NM: f64 = 40.0;
/// Openness stays below this, whatever the sample.
const MOST_OPEN: f64 = 0.98;

/// All numbers of one scene.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Numbers {
    /// Spot width in mm; `None` without cloth.
    pub spot_width_mm: Option<f64>,
    /// Evenness; `None` where no two pixels are neighbours.
    pub evenness: Option<f64>,
    /// Ripple.
    pub ripple: Option<f64>,
    /// Dot visibility at the scene's viewing distance.
    pub dot_visibility: Option<f64>,
    /// Distance in m beyond which no dots show; infinite when they show from everywhere.
    pub dots_vanish_m: Option<f64>,
    /// Mean luminance in cd/m2.
    pub mean_cd_m2: f64,
    /// Peak luminance in cd/m2.
    pub peak_cd_m2: f64,
    /// Share of the light that is kept.
    pub light_kept: f64,
    /// Colour shift.
    pub colour_shift: Option<f64>,
    /// Mean glow over the room-lit cloth; infinite in a dark room.
    pub contrast_with_room: f64,
    /// Thickness in mm.
    pub thickness_mm: f64,
    /// Areal mass in g/m2, where all are known.
    pub areal_mass_g_m2: Option<f64>,
}

/// A number with the range that the cloths' uncertainty makes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// The number for the cloths as they are described.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// What the cloths of a scene do whatever the gaps between them are.
#[derive(Clone, Copy, Debug)]
struct Behind {
    /// Luminance of the cloth in the room's light, in cd/m2.
    room: f64,
    /// Share of the light kept.
    light_kept: f64,
    /// Transmittance straight ahead without scattering.
    straight: f64,
}

/// What does not depend on the cloth: shared by everything that is computed for one layout.
#[derive(Clone, Debug)]
pub struct Layout {
    neighbourhood: Neighbourhood,
    packages: Vec<Package>,
    weights: Vec<Vec<DieWeights>>,
}

impl Layout {
    /// Prepares the layout of a scene's pixels.
    #[must_use]
    pub fn of(scene: &Scene) -> Layout {
        let packages: Vec<Package> = packages(scene).into_iter().cloned().collect();
        let weights = packages
            .iter()
            .map(|p| p.dies.iter().map(|die| die_weights(die, p.beam_power)).collect())
            .collect();
        Layout { neighbourhood: neighbourhood(&scene.pixels), packages, weights }
    }

    /// Distance between neighbouring pixels in mm; `None` for single ones.
    #[must_use]
    pub fn pitch_mm(&self) -> Option<f64> {
        self.neighbourhood.pitch_mm
    }

    /// All numbers of a scene that has this layout.
    #[must_use]
    pub fn numbers(&self, scene: &Scene) -> Numbers {
        let stack_at = |l| scene.stack_at(l);
        self.numbers_behind(scene, &stack_at, &self.behind(scene, &stack_at))
    }

    /// The numbers with each of these gaps in mm below the first cloth. What does not depend on the gap is computed once.
    #[must_use]
    pub fn numbers_over_gaps(&self, scene: &Scene, gaps_mm: &[f64]) -> Vec<Numbers> {
        let behind = self.behind(scene, &|l| scene.stack_at(l));
        gaps_mm
            .par_iter()
            .map(|&gap| {
                let mut scene = scene.clone();
                if let Some(first) = scene.stack.first_mut() {
                    first.gap_below = Millimetres(gap);
                }
                self.numbers_behind(&scene, &|l| scene.stack_at(l), &behind)
            })
            .collect()
    }

    /// What the cloths do whatever the gaps are.
    fn behind(&self, scene: &Scene, stack_at: &(dyn Fn(Nanometres) -> Stack + Sync)) -> Behind {
        Behind {
            room: room_light(stack_at, scene.view.room_lx).luminance(),
            light_kept: self.light_kept(scene, stack_at),
            straight: straight_transmittance(&stack_at(Nanometres(550.0)).layers),
        }
    }

    /// The numbers with the cloths' optics given by wavelength.
    fn numbers_behind(
        &self,
        scene: &Scene,
        stack_at: &(dyn Fn(Nanometres) -> Stack + Sync),
        behind: &Behind,
    ) -> Numbers {
        let packages: Vec<&Package> = self.packages.iter().collect();
        let Behind { room, light_kept, straight } = *behind;
        let spots = (!scene.stack.is_empty())
            .then(|| die_spots_every(NUMBERS_STEP_NM, &packages, &self.weights, stack_at));
        let dots = self.dots(scene, spots.as_deref(), straight, room);
        let (bare, through) = self.colours(scene, spots.as_deref(), straight);
        let lonely = self.lonely_peak(scene, spots.as_deref());
        let glow = dots.as_ref().map_or((lonely, lonely), |d| (d.glow_mean, d.glow_peak));
        Numbers {
            spot_width_mm: spots.as_deref().and_then(|spots| self.spot_width(scene, spots)),
            evenness: dots.as_ref().map(|d| d.evenness),
            ripple: dots.as_ref().map(|d| d.ripple),
            dot_visibility: dots.as_ref().map(|d| d.visibility(scene.view.distance_m)),
            dots_vanish_m: dots.as_ref().map(|d| d.vanishing_distance_m().unwrap_or(f64::INFINITY)),
            mean_cd_m2: glow.0 + room,
            peak_cd_m2: glow.1 + room,
            light_kept,
            colour_shift: colour_shift(bare, through),
            contrast_with_room: if room > 0.0 { glow.0 / room } else { f64::INFINITY },
            thickness_mm: scene.thickness().0,
            areal_mass_g_m2: scene.stack.iter().map(|p| p.cloth.areal_mass_g_m2).sum(),
        }
    }

    fn dots(&self, scene: &Scene, spots: Option<&[DieSpots]>, straight: f64, room: f64) -> Option<Dots> {
        let mut emitters = Vec::new();
        for (p, package) in self.packages.iter().enumerate() {
            for (d, die) in package.dies.iter().enumerate() {
                let (offset, window) = package.glow_source(die);
                let lights: Vec<_> = scene
                    .pixels
                    .iter()
                    .map(|pixel| {
                        let level = if *pixel.package == *package { pixel.levels[d] } else { 0.0 };
                        (place(pixel, offset), level)
                    })
                    .collect();
                let flux = self.weights[p][d].total().luminance();
                emitters.push(Emitter {
                    spot: spots.map(|spots| &spots[p].dies[d][1]),
                    window,
                    lights,
                    straight_cd: (package.beam_power + 1.0) / (2.0 * PI) * flux * straight,
                });
            }
        }
        dots(&scene.pixels, &self.neighbourhood, &emitters, room, scene.view.distance_m)
    }

    /// Sum over all pixels and dies of `f(package, die)` times the level.
    fn sum_over_dies<T: Copy + std::ops::Add<Output = T>>(
        &self,
        scene: &Scene,
        zero: T,
        f: impl Fn(usize, usize, f64) -> T,
    ) -> T {
        let mut levels: Vec<Vec<f64>> = self.packages.iter().map(|p| vec![0.0; p.dies.len()]).collect();
        for pixel in &scene.pixels {
            if let Some(p) = self.packages.iter().position(|known| *known == *pixel.package) {
                levels[p].iter_mut().zip(&pixel.levels).for_each(|(sum, level)| *sum += level);
            }
        }
        let mut sum = zero;
        for (p, dies) in levels.iter().enumerate() {
            for (d, &level) in dies.iter().enumerate() {
                sum = sum + f(p, d, level);
            }
        }
        sum
    }

    /// The light of all pixels bare, and straight ahead through the cloth.
    fn colours(&self, scene: &Scene, spots: Option<&[DieSpots]>, straight: f64) -> (Xyz, Xyz) {
        let dark = Xyz([0.0; 3]);
        let bare = self.sum_over_dies(scene, dark, |p, d, level| self.weights[p][d].total().scaled(level));
        let through = self.sum_over_dies(scene, dark, |p, d, level| {
            let beam = self.packages[p].beam_power;
            let direct =
                self.weights[p][d].total().scaled((beam + 1.0) / (2.0 * PI) * straight * 1e6 * level);
            match spots {
                Some(spots) => direct + Xyz([0, 1, 2].map(|c| level * spots[p].dies[d][c].value(0.0))),
                None => direct,
            }
        });
        (bare, through)
    }

    /// Share of the luminous flux that leaves the front, each die at its own dominant wavelength.
    fn light_kept(&self, scene: &Scene, stack_at: &(dyn Fn(Nanometres) -> Stack + Sync)) -> f64 {
        if scene.stack.is_empty() {
            return 1.0;
        }
        let kept: Vec<Vec<f64>> = self
            .packages
            .iter()
            .map(|package| {
                package
                    .dies
                    .par_iter()
                    .map(|die| {
                        // The phosphor of a white die is centred near 560 nm.
                        let white = die.die == crate::pixels::package::Die::White;
                        let nm = if white { Nanometres(560.0) } else { die.dominant };
                        let shares = shares(&stack_at(nm), package.beam_power);
                        shares.direct + shares.scattered
                    })
                    .collect()
            })
            .collect();
        let flux = |p: usize, d: usize, level: f64| level * self.weights[p][d].total().luminance();
        let all = self.sum_over_dies(scene, 0.0, flux);
        let left = self.sum_over_dies(scene, 0.0, |p, d, level| kept[p][d] * flux(p, d, level));
        if all > 0.0 { left / all } else { 0.0 }
    }

    /// Width of the spot of the first package with all its dies at the scene's mean levels.
    fn spot_width(&self, scene: &Scene, spots: &[DieSpots]) -> Option<f64> {
        let package = self.packages.first()?;
        let mut levels = vec![0.0; package.dies.len()];
        for pixel in scene.pixels.iter().filter(|p| *p.package == *package) {
            levels.iter_mut().zip(&pixel.levels).for_each(|(sum, level)| *sum += level);
        }
        if levels.iter().all(|&l| l == 0.0) {
            levels.fill(1.0);
        }
        let parts: Vec<_> = levels.iter().zip(&spots[0].dies).map(|(&level, die)| (level, &die[1])).collect();
        let spot = crate::light::spread::SpotSpectrum::weighted_sum(&parts)?;
        let window = package.dies.first().map(|die| package.glow_source(die).1)?;
        spot.full_width(window, 20.0 * (scene.thickness().0 + package.body.0), 0.5)
    }

    /// Peak of the brightest single pixel, where there is no neighbour to compare with.
    fn lonely_peak(&self, scene: &Scene, spots: Option<&[DieSpots]>) -> f64 {
        let Some(spots) = spots else { return 0.0 };
        scene
            .pixels
            .iter()
            .filter_map(|pixel| {
                let p = self.packages.iter().position(|known| *known == *pixel.package)?;
                let package = &self.packages[p];
                Some(
                    package
                        .dies
                        .iter()
                        .zip(&pixel.levels)
                        .enumerate()
                        .map(|(d, (die, level))| {
                            level * spots[p].dies[d][1].at_radii(package.glow_source(die).1, &[0.0])[0]
                        })
                        .sum::<f64>(),
                )
            })
            .fold(0.0, f64::max)
    }

    /// The numbers for the cloths as described, and for samples of their uncertainty (none where nothing is uncertain).
    #[must_use]
    pub fn sampled(&self, scene: &Scene) -> (Numbers, Vec<Numbers>) {
        let middle = self.numbers(scene);
        if scene
            .stack
            .iter()
            .all(|p| p.cloth.uncertainty.optical_thickness == 0.0 && p.cloth.uncertainty.openness == 0.0)
        {
            return (middle, Vec::new());
        }
        let factors = factors(scene);
        let samples = factors
            .par_iter()
            .map(|factors| {
                let stack_at = |l| varied(scene, l, factors);
                self.numbers_behind(scene, &stack_at, &self.behind(scene, &stack_at))
            })
            .collect();
        (middle, samples)
    }
}

/// The range of one number over the samples; the value alone where there are none.
#[must_use]
pub fn range(value: f64, samples: &[f64]) -> Range {
    let mut sorted: Vec<f64> = samples.iter().copied().filter(|v| !v.is_nan()).collect();
    if sorted.is_empty() {
        return Range { value, low: value, high: value };
    }
    sorted.sort_by(f64::total_cmp);
    let quantile = |q: f64| {
        let x = q * (sorted.len() - 1) as f64;
        let (i, f) = (x as usize, x.fract());
        let next = sorted[(i + 1).min(sorted.len() - 1)];
        if f == 0.0 || !next.is_finite() { sorted[i] } else { sorted[i] + f * (next - sorted[i]) }
    };
    Range { value, low: quantile(LOW_QUANTILE).min(value), high: quantile(1.0 - LOW_QUANTILE).max(value) }
}

/// Factors on optical thickness and openness of each layer, sample by sample.
fn factors(scene: &Scene) -> Vec<Vec<[f64; 2]>> {
    let mut random = Pcg64::seed_from_u64(SEED);
    let mut samples = vec![vec![[1.0; 2]; scene.stack.len()]; SAMPLES];
    for (layer, placed) in scene.stack.iter().enumerate() {
        let u = placed.cloth.uncertainty;
        for (which, relative) in [u.optical_thickness, u.openness].into_iter().enumerate() {
            let mut strata: Vec<usize> = (0..SAMPLES).collect();
            strata.shuffle(&mut random);
            for (sample, stratum) in samples.iter_mut().zip(strata) {
                let p = (stratum as f64 + random.random_range(0.0..1.0)) / SAMPLES as f64;
                sample[layer][which] = (relative.ln_1p() * normal_quantile(p)).exp();
            }
        }
    }
    samples
}

/// Quantile of the standard normal law.
fn normal_quantile(p: f64) -> f64 {
    std::f64::consts::SQRT_2 * pxfm::f_erfinv((2.0 * p - 1.0).clamp(-1.0 + 1e-15, 1.0 - 1e-15))
}

/// The stack with the layers' optical thickness and openness times their factors.
fn varied(scene: &Scene, wavelength: Nanometres, factors: &[[f64; 2]]) -> Stack {
    let mut stack = scene.stack_at(wavelength);
    for (layer, [thicker, opener]) in stack.layers.iter_mut().zip(factors) {
        layer.optics.extinction = PerMillimetre(layer.optics.extinction.0 * thicker);
        layer.optics.openness = (layer.optics.openness * opener).min(MOST_OPEN);
    }
    stack
}
