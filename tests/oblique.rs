//! Seen from the side: the transport against photons, adding-doubling and itself straight ahead.

#![allow(clippy::print_stdout, reason = "the measured errors are worth reading: run with --nocapture")]

mod common;

use common::photons::{Case, cases};
use weftlight::light::oblique;
use weftlight::light::photons::{Cells, side_view};
use weftlight::light::{Source, Stack, Window};

/// Standard errors allowed on top.
const SIGMAS: f64 = 4.0;

/// Worst and root-mean-square difference over the peak between the spot from the side and photons, and the largest excess over
/// what sampling errors explain.
#[derive(Debug)]
struct Found {
    worst: f64,
    rms: f64,
    beyond: f64,
    whole: f64,
}

/// Cells over the spot, symmetric about y = 0.
fn cells(stack: &Stack, tilt: f64) -> Cells {
    const ACROSS: usize = 14;
    let height = stack.height().0;
    let (low, high) = (-2.0 * height, 2.0 * height + height * tilt.tan());
    let side = 4.0 * height / ACROSS as f64;
    let along = ((high - low) / side).ceil() as usize;
    Cells { corner_mm: [low, -0.5 * ACROSS as f64 * side], side_mm: side, count: [along, ACROSS] }
}

fn against_photons(stack: &Stack, source: &Source, tilt_deg: f64, photons: u64, seed: u64) -> Found {
    let tilt = f64::to_radians(tilt_deg);
    let cells = cells(stack, tilt);
    let seen = side_view(stack, source, tilt, &cells, photons, seed);
    let spot = oblique::spots(std::slice::from_ref(stack), source.beam_power, tilt).remove(0);
    // Two Gauss points each way are exact for cubics.
    let points = [0.5 - 0.5 / 3f64.sqrt(), 0.5 + 0.5 / 3f64.sqrt()];
    let [columns, rows] = cells.count;
    let half: Vec<usize> = (0..cells.len()).filter(|i| i / columns >= rows / 2).collect();
    let places: Vec<[f64; 2]> = half
        .iter()
        .flat_map(|&i| {
            let [x, y] = cells.corner_of(i);
            points.iter().flat_map(move |u| points.map(|v| [x + u * cells.side_mm, y + v * cells.side_mm]))
        })
        .collect();
    let values = spot.at_places(source.window, &places);
    // Mirror images are the same light twice.
    let pairs: Vec<(f64, f64, f64)> = half
        .iter()
        .zip(values.chunks_exact(4))
        .map(|(&i, values)| {
            let mirrored = (rows - 1 - i / columns) * columns + i % columns;
            let [a, b] = [seen.cells[i], seen.cells[mirrored]];
            let found = values.iter().sum::<f64>() / 4.0;
            (found, 0.5 * (a.value + b.value), 0.5 * a.standard_error.hypot(b.standard_error))
        })
        .collect();
    let peak = pairs.iter().map(|p| p.1).fold(0.0, f64::max);
    let errors: Vec<(f64, f64)> = pairs.iter().map(|(f, p, s)| ((f - p) / peak, s / peak)).collect();
    Found {
        worst: errors.iter().map(|e| e.0.abs()).fold(0.0, f64::max),
        rms: (errors.iter().map(|e| e.0 * e.0).sum::<f64>() / errors.len() as f64).sqrt(),
        beyond: errors.iter().map(|(e, s)| e.abs() - SIGMAS * s).fold(f64::MIN, f64::max),
        whole: (spot.whole() / seen.in_all.value - 1.0) / (seen.in_all.standard_error / seen.in_all.value),
    }
}

#[test]
fn explore() {
    let only = std::env::var("CASE").unwrap_or_default();
    let n: u64 = std::env::var("N").ok().and_then(|v| v.parse().ok()).unwrap_or(1_000_000);
    for Case { name, stack, source, .. } in cases() {
        if !name.starts_with(&only) {
            continue;
        }
        for tilt in [0.0, 30.0, 60.0, 75.0] {
            let f = against_photons(&stack, &source, tilt, n, 1);
            println!(
                "{name} {tilt}: worst {:.4} rms {:.5} beyond {:.4} whole {:.1} sigma",
                f.worst, f.rms, f.beyond, f.whole
            );
        }
    }
}
