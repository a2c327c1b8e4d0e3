//! The middle of a round patch; see [`super`].

use crate::photo::cells::{Grid, spread};
use nalgebra::{Matrix4, Vector4};

/// Steps of the middle at most.
const STEPS: usize = 25;
/// A step shorter than this many cells is the last.
const RESTING: f64 = 0.002;
/// A step's length in cells at most: the model is a tangent.
const LONGEST: f64 = 2.0;
/// Pairs needed.
const LEAST_PAIRS: usize = 12;
/// Residuals of so many standard deviations count nothing (Tukey's biweight).
const TUKEY: f64 = 4.685;

/// The middle near `start`, in cells, sought within a radius; `least` is the standard deviation that residuals have at least.
pub(super) fn middle(grid: &Grid, start: [f64; 2], radius: f64, least: f64) -> [f64; 2] {
    let mut place = start;
    let reach = radius.floor().max(2.0) as i64;
    for _ in 0..STEPS {
        let Some(step) = step(grid, place, reach, least) else { break };
        let length = step[0].hypot(step[1]);
        let scale = (LONGEST / length).min(1.0);
        place = [place[0] + scale * step[0], place[1] + scale * step[1]];
        if length < RESTING {
            break;
        }
    }
    place
}

/// By how much the middle is off.
fn step(grid: &Grid, place: [f64; 2], reach: i64, least: f64) -> Option<[f64; 2]> {
    // The patch about the place, with one cell more for the gradients. The same weights of interpolation apply on both
    // sides of the middle, so that the softening is symmetric too.
    let side = 2 * reach + 3;
    let at = |x: i64, y: i64| ((y + reach + 1) * side + x + reach + 1) as usize;
    let patch: Vec<f64> = (0..side * side)
        .map(|i| {
            let d = [i % side - reach - 1, i / side - reach - 1];
            grid.between(place[0] + d[0] as f64, place[1] + d[1] as f64)
        })
        .collect();
    let gradient = |x: i64, y: i64| {
        [(patch[at(x + 1, y)] - patch[at(x - 1, y)]) / 2.0, (patch[at(x, y + 1)] - patch[at(x, y - 1)]) / 2.0]
    };
    let mut pairs: Vec<(Vector4<f64>, f64)> = Vec::new();
    for y in 0..=reach {
        for x in -reach..=reach {
            let once = y > 0 || x > 0;
            if !once || x * x + y * y > reach * reach {
                continue;
            }
            let (here, there) = (gradient(x, y), gradient(-x, -y));
            let odd = [0, 1].map(|i| here[i] - there[i]);
            let does = Vector4::new(-odd[0], -odd[1], 2.0 * x as f64, 2.0 * y as f64);
            let difference = patch[at(x, y)] - patch[at(-x, -y)];
            if difference.is_finite() && does.iter().all(|v| v.is_finite()) {
                pairs.push((does, difference));
            }
        }
    }
    if pairs.len() < LEAST_PAIRS {
        return None;
    }
    let mut found = Vector4::zeros();
    for pass in 0..6 {
        let off: Vec<f64> = pairs.iter().map(|(does, difference)| difference - does.dot(&found)).collect();
        let sigma = spread(&mut off.clone()).max(least);
        let weight = |off: f64| match pass {
            0 => 1.0,
            1..=3 => 1.0 / (off.abs() / sigma).max(1.0),
            _ => (1.0 - (off / (TUKEY * sigma)).powi(2)).max(0.0).powi(2),
        };
        let mut normal = Matrix4::zeros();
        let mut right = Vector4::zeros();
        for ((does, difference), off) in pairs.iter().zip(&off) {
            let w = weight(*off);
            normal += w * does * does.transpose();
            right += w * *difference * does;
        }
        found = normal.cholesky()?.solve(&right);
    }
    Some([found[0], found[1]]).filter(|step| step.iter().all(|v| v.is_finite()))
}
