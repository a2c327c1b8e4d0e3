//! What a supply sees of a pattern: the mean of the levels over one loop, and the moment that draws most.
//!
//! Model: levels are taken at the middle of [`SAMPLES`] equal stretches of the loop, or of its frames where those are more. Current is in
//! proportion to the levels ([`crate::build::current`]), so the mean level gives the mean current. For courses that are straight or
//! made of sines the mean is exact but for the 8-bit steps; a jump errs by no more than one stretch.

use super::pattern::Pattern;
use crate::scene::{Pixel, Scene};

/// Stretches of a loop at least.
pub const SAMPLES: usize = 240;
/// Stretches at most: a long loop is sampled at less than its frame rate.
const MOST_SAMPLES: usize = 2_000;

fn times(pattern: &Pattern) -> impl Iterator<Item = f64> {
    let frames = (pattern.duration_s * pattern.frames_per_s).round() as usize;
    let (count, duration_s) = (frames.clamp(SAMPLES, MOST_SAMPLES), pattern.duration_s);
    (0..count).map(move |i| duration_s * (i as f64 + 0.5) / count as f64)
}

/// The mean level of each die over one loop, by pixel and die; the levels themselves for a scene without a pattern.
#[must_use]
pub fn average_levels(scene: &Scene) -> Vec<Vec<f64>> {
    let still = || scene.pixels.iter().map(|pixel| pixel.levels.clone()).collect();
    let Some(pattern) = &scene.pattern else { return still() };
    let mut sums: Vec<Vec<f64>> = scene.pixels.iter().map(|pixel| vec![0.0; pixel.levels.len()]).collect();
    let mut count = 0.0;
    for time_s in times(pattern) {
        count += 1.0;
        for (sums, levels) in sums.iter_mut().zip(pattern.levels_at(time_s)) {
            sums.iter_mut().zip(levels).for_each(|(sum, level)| *sum += level);
        }
    }
    sums.iter_mut().flatten().for_each(|sum| *sum /= count);
    sums
}

/// The scene without its pattern, at these levels.
#[must_use]
pub fn at_levels(scene: &Scene, levels: Vec<Vec<f64>>) -> Scene {
    let mut scene = Scene { pattern: None, ..scene.clone() };
    scene.pixels.iter_mut().zip(levels).for_each(|(pixel, levels)| pixel.levels = levels);
    scene
}

/// The scene as it is at a time of its pattern, in s; the scene itself without one.
#[must_use]
pub fn at_time(scene: &Scene, time_s: f64) -> Scene {
    let Some(pattern) = &scene.pattern else { return scene.clone() };
    let levels = pattern.levels_at(time_s);
    let mut scene = scene.clone();
    scene.pixels.iter_mut().zip(levels).for_each(|(pixel, levels)| pixel.levels = levels);
    scene
}

/// The scene at the moment of its pattern that draws most current; the scene itself without one.
#[must_use]
pub fn at_peak(scene: &Scene) -> Scene {
    let Some(pattern) = &scene.pattern else { return scene.clone() };
    let current = |levels: &[Vec<f64>]| -> f64 {
        let dies = |(pixel, levels): (&Pixel, &Vec<f64>)| -> f64 {
            pixel.package.dies.iter().zip(levels).map(|(die, level)| die.typical_ma * level).sum()
        };
        scene.pixels.iter().zip(levels).map(dies).sum()
    };
    let mut most: Option<(f64, Vec<Vec<f64>>)> = None;
    for time_s in times(pattern) {
        let levels = pattern.levels_at(time_s);
        let ma = current(&levels);
        if most.as_ref().is_none_or(|(known, _)| ma > *known) {
            most = Some((ma, levels));
        }
    }
    most.map_or_else(|| scene.clone(), |(_, levels)| at_levels(scene, levels))
}
