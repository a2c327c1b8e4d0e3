//! The scene as its supply lets it shine: levels capped, dies dimmed by what is lost along the run.
//!
//! **Model**: all levels come down by the [`cap`] that keeps the supply within its limit; then the [run](super::run) is solved,
//! and each die's level is multiplied by the share of its full current that is left at its pixel. Blue and green need about 1 V more
//! than red and go first: white turns towards red along the run. Light is taken in proportion to current.

use super::Case;
use super::current::of_scene;
use super::ladder::{Solved, Unsolvable};
use super::limits::{Cap, cap, limit};
use super::run::{feed_pixels, run_fed_at};
use super::supply::Supply;
use crate::judge::colour_difference::colour_shift;
use crate::light::spectrum::Xyz;
use crate::motion::average::at_peak;
use crate::scene::Scene;
use std::ops::Range;

/// A voltage counts as too low only when it is so by more than this, in V: a meter's last digit.
const SHOWN_V: f64 = 1e-3;
/// A scene on its supply.
#[derive(Clone, Debug, PartialEq)]
pub struct Powered {
    /// The scene with the levels that its dies really get.
    pub scene: Scene,
    /// How far the levels came down for the supply's limit.
    pub cap: Cap,
    /// The pixels at which it is fed, counted from 0.
    pub fed_at: Vec<usize>,
    /// Voltages and currents along the run, after the cap.
    pub solved: Solved,
    /// The least voltage at which each pixel works as it should, in V; zero for ideal sources.
    pub least_volts: Vec<f64>,
}

/// A scene on its supply with typical parts and with unfavourable ones.
#[derive(Clone, Debug, PartialEq)]
pub struct BothCases {
    /// With typical parts.
    pub typical: Powered,
    /// With the unfavourable end of every range.
    pub worst: Powered,
}

/// The scene as the supply lets it shine. The cap of a scene with a pattern is that of the moment that draws most.
///
/// # Errors
/// For a scene without pixels, or when the voltages do not settle.
pub fn powered(scene: &Scene, supply: &Supply, case: Case) -> Result<Powered, Unsolvable> {
    let cap = cap(&of_scene(&at_peak(scene)), limit(supply), case);
    powered_at(scene, supply, &feed_pixels(scene, &supply.injection), case, cap)
}

/// [`powered`] for both cases.
///
/// # Errors
/// As [`powered`].
pub fn both_cases(scene: &Scene, supply: &Supply) -> Result<BothCases, Unsolvable> {
    let of = |case| powered(scene, supply, case);
    Ok(BothCases { typical: of(Case::Typical)?, worst: of(Case::Worst)? })
}

/// [`powered`] with a cap of its own, fed at these pixels (counted from 0).
///
/// # Errors
/// As [`powered`].
pub fn powered_at(
    scene: &Scene,
    supply: &Supply,
    fed_at: &[usize],
    case: Case,
    cap: Cap,
) -> Result<Powered, Unsolvable> {
    let run = run_fed_at(scene, supply, fed_at, case, cap.factor);
    let solved = run.ladder.solve()?;
    let mut scene = scene.clone();
    for (pixel, shares) in scene.pixels.iter_mut().zip(&solved.shares) {
        for (level, share) in pixel.levels.iter_mut().zip(shares) {
            *level *= cap.factor * share;
        }
    }
    Ok(Powered { scene, cap, fed_at: fed_at.to_vec(), solved, least_volts: run.least_volts })
}

impl Powered {
    /// The pixel with the least voltage to spare, counted from 0, and what it has over its need, in V; below zero it lacks that much.
    #[must_use]
    pub fn tightest(&self) -> Option<(usize, f64)> {
        let spare = self.solved.volts.iter().zip(&self.least_volts).map(|(v, least)| v - least);
        spare.enumerate().filter(|(i, _)| self.least_volts[*i] > 0.0).min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// The stretches of pixels whose voltage is below what they need, counted from 0.
    #[must_use]
    pub fn below(&self) -> Vec<Range<usize>> {
        let mut stretches: Vec<Range<usize>> = Vec::new();
        for (i, (volts, least)) in self.solved.volts.iter().zip(&self.least_volts).enumerate() {
            if *volts >= least - SHOWN_V {
                continue;
            }
            match stretches.last_mut() {
                Some(last) if last.end == i => last.end = i + 1,
                _ => stretches.push(i..i + 1),
            }
        }
        stretches
    }

    /// How many pixels get less voltage than they need.
    #[must_use]
    pub fn pixels_below(&self) -> usize {
        self.below().iter().map(ExactSizeIterator::len).sum()
    }

    /// How far the colour of a bare pixel (counted from 0) moves from what it is sent, as CIEDE2000 at equal lightness. `None` where it is
    /// dark, before or after.
    #[must_use]
    pub fn drift(&self, sent: &Scene, pixel: usize) -> Option<f64> {
        let light = |scene: &Scene| {
            let pixel = scene.pixels.get(pixel)?;
            Some(pixel.package.flux(&pixel.levels)).filter(|light: &Xyz| light.luminance() > 0.0)
        };
        colour_shift(light(sent)?, light(&self.scene)?)
    }
}
