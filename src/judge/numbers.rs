//! The numbers that matter, each defined once.
//!
//! | number | definition | unit |
//! |---|---|---|
//! | spot width | full width at half maximum of one pixel's spot in luminance; over the lowest gap where gaps differ | mm |
//! | widest spot | the same over the highest gap | mm |
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
//! Where the cloth does not stand equally far off all pixels, every picture behind these numbers has each pixel with the spot of its
//! own gap ([`crate::picture::gap_classes`]); the evenly spread light of a pixel ([`super::dots`]) keeps that gap. Thickness is that at
//! the highest gap. Light kept and colour shift do not depend on the gap.
//!
//! How the cloths' uncertainty becomes ranges: [`super::ranges`].
//!
//! # Source
//! CIEDE2000: Sharma, Wu & Dalal (2005). The rest: product definitions of this project, formulas in the modules named.

use super::colour_difference::colour_shift;
use super::dots::dots_with;
use super::neighbours::{Neighbourhood, neighbourhood};
use super::pace::{Pace, Straight};
pub use super::ranges::{Judged, LOW_QUANTILE, Range, SAMPLES};
use super::spots::Spots;
use super::straight::StraightPictures;
use crate::light::Stack;
use crate::light::spectrum::die::{DieWeights, die_weights};
use crate::light::spectrum::observer::Xyz;
use crate::light::straight::{STRAIGHT_AT, straight_transmittance};
use crate::light::totals::shares;
use crate::picture::die_spots::{Folded, folded_over_gaps};
use crate::picture::gap_classes::GapClasses;
use crate::picture::luminance::{packages, room_light};
use crate::pixels::package::Package;
use crate::quantity::{Millimetres, Nanometres};
use crate::scene::Scene;
use rayon::prelude::*;
use std::f64::consts::PI;

/// Greatest distance of the wavelengths solved for numbers. Wider than for pictures: luminance and shape of a spot change by
/// less than 1 % (tested), colour shift by less than 0.3.
pub(super) const NUMBERS_STEP_NM: f64 = 40.0;

/// All numbers of one scene.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Numbers {
    /// Spot width in mm; `None` without cloth.
    pub spot_width_mm: Option<f64>,
    /// Width of the widest spot in mm; `None` where all gaps are the same.
    pub widest_spot_mm: Option<f64>,
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
    pub(super) packages: Vec<Package>,
    pub(super) weights: Vec<Vec<DieWeights>>,
    straight: StraightPictures,
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
        let straight = StraightPictures::default();
        Layout { neighbourhood: neighbourhood(&scene.pixels), packages, weights, straight }
    }

    /// Distance between neighbouring pixels in mm; `None` for single ones.
    #[must_use]
    pub fn pitch_mm(&self) -> Option<f64> {
        self.neighbourhood.pitch_mm
    }

    /// All numbers of a scene that has this layout.
    #[must_use]
    pub fn numbers(&self, scene: &Scene) -> Numbers {
        self.one(NUMBERS_STEP_NM, scene, &|l| scene.stack_at(l))
    }

    /// All numbers of many scenes that have this layout (other cloths, other gaps), on all cores.
    #[must_use]
    pub fn numbers_of(&self, scenes: &[Scene]) -> Vec<Numbers> {
        scenes.par_iter().map(|scene| self.numbers(scene)).collect()
    }

    /// The numbers with each of these gaps in mm below the first cloth. What does not depend on the gap is computed once.
    #[must_use]
    pub fn numbers_over_gaps(&self, scene: &Scene, gaps_mm: &[f64]) -> Vec<Numbers> {
        let Ok(numbers) = self.numbers_over_gaps_at(&Straight, scene, gaps_mm);
        numbers
    }

    /// As [`Layout::numbers_over_gaps`], at a pace.
    ///
    /// # Errors
    /// When the pace gives the work up.
    pub fn numbers_over_gaps_at<P: Pace>(
        &self,
        pace: &P,
        scene: &Scene,
        gaps_mm: &[f64],
    ) -> Result<Vec<Numbers>, P::Stop> {
        self.over_gaps(pace, NUMBERS_STEP_NM, scene, &|l| scene.stack_at(l), gaps_mm)
    }

    /// The numbers with the cloths' optics given by wavelength.
    pub(super) fn one(
        &self,
        step_nm: f64,
        scene: &Scene,
        stack_at: &(dyn Fn(Nanometres) -> Stack + Sync),
    ) -> Numbers {
        let gap = scene.stack.first().map_or(0.0, |placed| placed.gap_below.0);
        let spots = self.spots(step_nm, scene, stack_at, &[gap]).map(|mut spots| spots.remove(0));
        self.numbers_behind(scene, spots.as_ref(), &self.behind(scene, stack_at))
    }

    /// The same with each of these gaps in mm.
    pub(super) fn over_gaps<P: Pace>(
        &self,
        pace: &P,
        step_nm: f64,
        scene: &Scene,
        stack_at: &(dyn Fn(Nanometres) -> Stack + Sync),
        gaps_mm: &[f64],
    ) -> Result<Vec<Numbers>, P::Stop> {
        pace.go_on()?;
        let (behind, spots) =
            rayon::join(|| self.behind(scene, stack_at), || self.spots(step_nm, scene, stack_at, gaps_mm));
        let at = |i: usize| {
            pace.go_on()?;
            Ok(self.numbers_behind(scene, spots.as_ref().map(|s| &s[i]), &behind))
        };
        (0..gaps_mm.len()).into_par_iter().map(at).collect()
    }

    /// The spots for each gap; `None` without cloth.
    fn spots(
        &self,
        step_nm: f64,
        scene: &Scene,
        stack_at: &(dyn Fn(Nanometres) -> Stack + Sync),
        gaps_mm: &[f64],
    ) -> Option<Vec<Spots>> {
        if scene.stack.is_empty() {
            return None;
        }
        let packages: Vec<&Package> = self.packages.iter().collect();
        let classes: Vec<GapClasses> =
            gaps_mm.iter().map(|&gap| GapClasses::at_gap(scene, Millimetres(gap))).collect();
        let all: Vec<f64> = classes.iter().flat_map(|classes| classes.gaps_mm.iter().copied()).collect();
        let mut folded = folded_over_gaps(step_nm, &packages, &self.weights, stack_at, &all).into_iter();
        let spots = classes
            .into_iter()
            .map(|classes| Spots { folded: folded.by_ref().take(classes.gaps_mm.len()).collect(), classes });
        Some(spots.collect())
    }

    /// What the cloths do whatever the gaps are.
    fn behind(&self, scene: &Scene, stack_at: &(dyn Fn(Nanometres) -> Stack + Sync)) -> Behind {
        Behind {
            room: room_light(stack_at, scene.view.room_lx).luminance(),
            light_kept: self.light_kept(scene, stack_at),
            straight: straight_transmittance(&stack_at(STRAIGHT_AT).layers),
        }
    }

    /// The numbers over one gap, with the spots and what does not depend on the gap given.
    fn numbers_behind(&self, scene: &Scene, spots: Option<&Spots>, behind: &Behind) -> Numbers {
        let Behind { room, light_kept, straight } = *behind;
        let thickness_mm =
            spots.map_or(0.0, |spots| scene.thickness().0 - scene.gap_range_mm()[1] + spots.highest_mm());
        let emitters = self.emitters(scene, spots, straight);
        let distance_m = scene.view.distance_m;
        let dots = dots_with(&self.straight, &self.neighbourhood, &emitters, room, distance_m);
        let (bare, through) = self.colours(scene, spots, straight);
        let glow = dots.as_ref().map_or_else(
            || {
                let lonely = self.lonely_peak(scene, spots);
                (lonely, lonely)
            },
            |d| (d.glow_mean, d.glow_peak),
        );
        Numbers {
            spot_width_mm: spots.and_then(|spots| self.spot_width(scene, spots.lowest(), thickness_mm)),
            widest_spot_mm: spots
                .filter(|spots| !spots.level())
                .and_then(|spots| self.spot_width(scene, spots.highest(), thickness_mm)),
            evenness: dots.as_ref().map(|d| d.evenness),
            ripple: dots.as_ref().map(|d| d.ripple),
            dot_visibility: dots.as_ref().map(|d| d.visibility(scene.view.distance_m)),
            dots_vanish_m: dots.as_ref().map(|d| d.vanishing_distance_m().unwrap_or(f64::INFINITY)),
            mean_cd_m2: glow.0 + room,
            peak_cd_m2: glow.1 + room,
            light_kept,
            colour_shift: colour_shift(bare, through),
            contrast_with_room: if room > 0.0 { glow.0 / room } else { f64::INFINITY },
            thickness_mm,
            areal_mass_g_m2: scene.stack.iter().map(|p| p.cloth.areal_mass_g_m2).sum(),
        }
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
    fn colours(&self, scene: &Scene, spots: Option<&Spots>, straight: f64) -> (Xyz, Xyz) {
        let dark = Xyz([0.0; 3]);
        let bare = self.sum_over_dies(scene, dark, |p, d, level| self.weights[p][d].total().scaled(level));
        let through = self.sum_over_dies(scene, dark, |p, d, level| {
            let beam = self.packages[p].beam_power;
            let direct =
                self.weights[p][d].total().scaled((beam + 1.0) / (2.0 * PI) * straight * 1e6 * level);
            match spots {
                // The whole light of a spot does not depend on the gap.
                Some(spots) => direct + Xyz(spots.lowest().whole(p, d)).scaled(level),
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
    fn spot_width(&self, scene: &Scene, spots: &Folded, thickness_mm: f64) -> Option<f64> {
        let package = self.packages.first()?;
        let mut levels = vec![0.0; package.dies.len()];
        for pixel in scene.pixels.iter().filter(|p| *p.package == *package) {
            levels.iter_mut().zip(&pixel.levels).for_each(|(sum, level)| *sum += level);
        }
        if levels.iter().all(|&l| l == 0.0) {
            levels.fill(1.0);
        }
        let window = package.dies.first().map(|die| package.glow_source(die).1)?;
        spots.spot(0, &levels, 1)?.full_width(window, 20.0 * (thickness_mm + package.body.0), 0.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::catalogue::CatalogueOnly;
    use crate::scene::file::resolve;

    fn scene(text: &str) -> Scene {
        resolve(text, "test", &CatalogueOnly).expect("a scene in order").scene
    }

    fn strip(cloth: &str, gap_mm: f64) -> Scene {
        scene(&format!(
            "pixels: [strip: {{pitch_mm: 16.67, count: 12}}]\nstack: [{{gap_mm: {gap_mm}, cloth: {cloth}}}]\n\
             light: {{colour: \"#ffd9a0\", level: 0.4}}\n"
        ))
    }

    #[test]
    fn few_wavelengths_do_for_numbers() {
        /// Of the number itself.
        const ERROR: f64 = 0.01;
        /// In units of CIEDE2000.
        const COLOUR_ERROR: f64 = 0.3;
        for cloth in ["felt-wool-ivory", "felt-wool-red", "organza-amber", "poplin-blue", "muslin"] {
            let scene = strip(cloth, 6.0);
            let layout = Layout::of(&scene);
            let stack_at = |l| scene.stack_at(l);
            let at = |step| layout.one(step, &scene, &stack_at);
            let (quick, exact) = (at(NUMBERS_STEP_NM), at(8.0));
            let pairs = [
                (quick.mean_cd_m2, exact.mean_cd_m2),
                (quick.peak_cd_m2, exact.peak_cd_m2),
                (quick.dot_visibility.unwrap(), exact.dot_visibility.unwrap()),
                (quick.spot_width_mm.unwrap(), exact.spot_width_mm.unwrap()),
            ];
            for (quick, exact) in pairs {
                assert!((quick / exact - 1.0).abs() < ERROR, "{cloth}: {quick} against {exact}");
            }
            let (quick, exact) = (quick.colour_shift.unwrap(), exact.colour_shift.unwrap());
            assert!((quick - exact).abs() < COLOUR_ERROR, "{cloth}: {quick} against {exact}");
        }
    }

    #[test]
    fn more_gap_never_shows_more_dots_and_keeps_the_light() {
        let scene = strip("felt-wool-ivory", 1.0);
        let gaps: Vec<f64> = (0..12).map(|i| 1.0 + 2.0 * f64::from(i)).collect();
        let numbers = Layout::of(&scene).numbers_over_gaps(&scene, &gaps);
        for pair in numbers.windows(2) {
            assert!(pair[1].ripple <= pair[0].ripple);
            assert!(pair[1].dot_visibility <= pair[0].dot_visibility);
            assert_eq!(pair[1].light_kept, pair[0].light_kept);
        }
    }

    #[test]
    fn heavier_cloth_keeps_less_light() {
        let cloth = |mass: u32| {
            format!(
                "{{name: test, thickness_mm: 3, areal_mass_g_m2: {mass}, source: test, \
                 optics: {{label: {{fibre: wool, colour: \"#f2ead8\", structure: felt}}}}}}"
            )
        };
        let kept: Vec<f64> = [100, 200, 400, 800, 1600]
            .iter()
            .map(|&mass| {
                let scene = strip(&cloth(mass), 6.0);
                Layout::of(&scene).numbers(&scene).light_kept
            })
            .collect();
        assert!(kept.windows(2).all(|pair| pair[1] < pair[0]), "{kept:?}");
    }
}
