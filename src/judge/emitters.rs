//! The lights of a scene as the numbers see them: few, each with its spot and every pixel's amount of it.

use super::dots::Emitter;
use super::numbers::Layout;
use super::spots::Spots;
use crate::light::Window;
use crate::picture::die_spots::Folded;
use crate::picture::luminance::place;
use crate::scene::{Pixel, Scene};
use std::f64::consts::PI;

impl Layout {
    /// The scene's lights. Dies of a package that share place and outline are one light; where the pixels have fewer colours
    /// than dies, one a colour instead of one a die.
    pub(super) fn emitters(&self, scene: &Scene, spots: Option<&Spots>, straight: f64) -> Vec<Emitter> {
        let mut emitters = Vec::new();
        for (p, package) in self.packages.iter().enumerate() {
            let sources: Vec<_> = package.dies.iter().map(|die| package.glow_source(die)).collect();
            let straight_cd: Vec<f64> = self.weights[p]
                .iter()
                .map(|die| (package.beam_power + 1.0) / (2.0 * PI) * die.total().luminance() * straight)
                .collect();
            let mut left: Vec<usize> = (0..package.dies.len()).collect();
            while let Some(&first) = left.first() {
                let (offset, window) = sources[first];
                let (together, others): (Vec<usize>, Vec<usize>) =
                    left.into_iter().partition(|&d| sources[d] == sources[first]);
                left = others;
                let levels: Vec<Vec<f64>> = scene
                    .pixels
                    .iter()
                    .map(|pixel| {
                        let own = *pixel.package == *package;
                        let level = |d| if own && together.contains(&d) { pixel.levels[d] } else { 0.0 };
                        (0..package.dies.len()).map(level).collect()
                    })
                    .collect();
                for (mix, amounts) in mixes(&levels, &together) {
                    let at = || scene.pixels.iter().map(|pixel| place(pixel, offset));
                    let mut emit = |spot: Option<&Folded>, amounts: &[f64], straight_cd: f64| {
                        emitters.push(Emitter {
                            spot: spot.and_then(|spot| spot.spot(p, &mix, 1)),
                            window,
                            lights: at().zip(amounts.iter().copied()).collect(),
                            straight_cd,
                        });
                    };
                    let straight_cd = straight_cd.iter().zip(&mix).map(|(cd, level)| cd * level).sum();
                    match spots.filter(|spots| !spots.level()) {
                        None => emit(spots.map(Spots::lowest), &amounts, straight_cd),
                        Some(spots) => {
                            // What comes straight through does not know the gap.
                            emit(None, &amounts, straight_cd);
                            for (class, spot) in spots.folded.iter().enumerate() {
                                emit(Some(spot), &spots.amounts(class, &amounts), 0.0);
                            }
                        }
                    }
                }
            }
        }
        emitters
    }

    /// Peak of the brightest single pixel, where there is no neighbour to compare with.
    pub(super) fn lonely_peak(&self, scene: &Scene, spots: Option<&Spots>) -> f64 {
        let Some(spots) = spots else { return 0.0 };
        let peak = |folded: &Folded, p: usize, d: usize, window: Window| {
            let only: Vec<f64> = (0..=d).map(|i| f64::from(u8::from(i == d))).collect();
            folded.spot(p, &only, 1).map_or(0.0, |spot| spot.at_radii(window, &[0.0])[0])
        };
        // By class, package and die.
        let of_package = |folded: &Folded, p: usize| -> Vec<f64> {
            let dies = self.packages[p].dies.iter().enumerate();
            dies.map(|(d, die)| peak(folded, p, d, self.packages[p].glow_source(die).1)).collect()
        };
        let peaks: Vec<Vec<Vec<f64>>> = spots
            .folded
            .iter()
            .map(|folded| (0..self.packages.len()).map(|p| of_package(folded, p)).collect())
            .collect();
        let of_pixel = |(i, pixel): (usize, &Pixel)| {
            let p = self.packages.iter().position(|known| *known == *pixel.package)?;
            let of_class = |peaks: &Vec<Vec<f64>>| -> f64 {
                peaks[p].iter().zip(&pixel.levels).map(|(peak, level)| level * peak).sum()
            };
            let by_class = peaks.iter().enumerate();
            Some(by_class.map(|(class, peaks)| spots.classes.share(i, class) * of_class(peaks)).sum())
        };
        scene.pixels.iter().enumerate().filter_map(of_pixel).fold(0.0, f64::max)
    }
}

/// The colours among these levels (pixel by die) as levels of the dies, each with every pixel's amount of it; one a die where
/// there are more colours than dies that count.
fn mixes(levels: &[Vec<f64>], dies: &[usize]) -> Vec<(Vec<f64>, Vec<f64>)> {
    /// Colours are the same when their shares differ by no more than rounding.
    const SAME: f64 = 1e-9;
    let count = levels.first().map_or(0, Vec::len);
    let sums: Vec<f64> = levels.iter().map(|l| l.iter().sum()).collect();
    let mut found: Vec<(Vec<f64>, Vec<f64>)> = Vec::new();
    for (i, (own, &sum)) in levels.iter().zip(&sums).enumerate() {
        if sum <= 0.0 {
            continue;
        }
        let same = |mix: &[f64]| mix.iter().zip(own).all(|(m, l)| (m - l / sum).abs() < SAME);
        let known = found.iter().position(|(mix, _)| same(mix)).unwrap_or(found.len());
        if known == dies.len() {
            let only = |d: usize| (0..count).map(|i| f64::from(u8::from(i == d))).collect();
            return dies.iter().map(|&d| (only(d), levels.iter().map(|l| l[d]).collect())).collect();
        }
        if known == found.len() {
            found.push((own.iter().map(|l| l / sum).collect(), vec![0.0; sums.len()]));
        }
        found[known].1[i] = sum;
    }
    found
}
