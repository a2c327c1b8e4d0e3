//! The slope of the background from pairs of places that are symmetric about a middle; see [`super`].

use crate::photo::cells::{Cells, Grid, spread};
use crate::photo::decode::Photo;
use nalgebra::{Matrix4, Vector4};

/// Blocks from the middle to each side.
const REACH: usize = 48;
/// Pairs that a slope is taken from at least.
const LEAST_PAIRS: usize = 24;
/// Passes of the fit with weights.
const PASSES: usize = 12;
/// Residuals of so many standard deviations count nothing (Tukey's biweight, 95 % efficient for normal noise).
const TUKEY: f64 = 4.685;
/// Standard deviation in pixels that a middle is expected to be off: blocks lie on whole pixels.
const MIDDLE_OFF_PX: f64 = 0.5;

/// Slope per pixel to the right and downwards, R, G, B, from what lies within `reach_px` of the middle; 0 where there are too few pairs.
pub(super) fn slope(photo: &Photo, middle: [f64; 2], reach_px: f64) -> [[f64; 2]; 3] {
    let longest = (photo.width + photo.height) as f64;
    let size = ((reach_px.min(longest) / REACH as f64).ceil() as usize).max(1);
    let cells = Cells::around(photo, middle, size, REACH);
    std::array::from_fn(|c| {
        let mut weights = [0.0; 3];
        weights[c] = 1.0;
        // A level that rounding to codes hides must not weigh as if it were known without error.
        let least = 0.1 * photo.step_at(0.0);
        fit(&cells.grid(weights, true), size as f64, least)
    })
}

/// One pair: what the slope and the error of the middle do to half of its difference, and that half.
struct Pair {
    does: Vector4<f64>,
    half: f64,
}

fn fit(grid: &Grid, size: f64, least: f64) -> [f64; 2] {
    let pairs = pairs(grid, size);
    if pairs.len() < LEAST_PAIRS {
        return [0.0; 2];
    }
    let mut found = Vector4::zeros();
    // Start with least absolute differences, which nothing far off can pull; then the biweight.
    for pass in 0..PASSES {
        let off: Vec<f64> = pairs.iter().map(|p| p.half - p.does.dot(&found)).collect();
        let sigma = spread(&mut off.clone()).max(least);
        let weight = |off: f64| {
            if pass < PASSES / 2 {
                1.0 / (off.abs() / sigma).max(0.5)
            } else {
                (1.0 - (off / (TUKEY * sigma)).powi(2)).max(0.0).powi(2)
            }
        };
        let mut normal = Matrix4::zeros();
        let mut right = Vector4::zeros();
        for (pair, off) in pairs.iter().zip(&off) {
            let w = weight(*off);
            normal += w * pair.does * pair.does.transpose();
            right += w * pair.half * pair.does;
        }
        for i in 2..4 {
            normal[(i, i)] += (sigma / MIDDLE_OFF_PX).powi(2);
        }
        match normal.cholesky() {
            Some(factor) => found = factor.solve(&right),
            None => return [0.0; 2],
        }
    }
    [found[0], found[1]]
}

/// All pairs about the middle of the grid, each once.
fn pairs(grid: &Grid, size: f64) -> Vec<Pair> {
    let reach = REACH as i64;
    let at = |x: i64, y: i64| grid.get(x + reach, y + reach);
    let gradient = |x: i64, y: i64| {
        [(at(x + 1, y) - at(x - 1, y)) / (2.0 * size), (at(x, y + 1) - at(x, y - 1)) / (2.0 * size)]
    };
    let mut pairs = Vec::new();
    for y in 0..=reach {
        for x in -reach..=reach {
            let once = y > 0 || x > 0;
            if !once || x * x + y * y > reach * reach {
                continue;
            }
            let half = (at(x, y) - at(-x, -y)) / 2.0;
            let (here, there) = (gradient(x, y), gradient(-x, -y));
            let odd = [0, 1].map(|i| (here[i] - there[i]) / 2.0);
            let does = Vector4::new(x as f64 * size, y as f64 * size, -odd[0], -odd[1]);
            if half.is_finite() && does.iter().all(|v| v.is_finite()) {
                pairs.push(Pair { does, half });
            }
        }
    }
    pairs
}
