//! Seen from the side: the transport against photons, adding-doubling and itself straight ahead; pictures against sums of spots.
//!
//! No reference spread functions from the side exist: the photons here are this project's own, with an estimator for any direction
//! that is itself held against adding-doubling below, whose angular functions are held against published tables
//! (`sheet::towards`: van de Hulst's table 35).

#![allow(clippy::print_stdout, reason = "the measured errors are worth reading: run with --nocapture")]

mod common;

use common::photons::cases;
use common::stacks::random_stack;
use rand::SeedableRng;
use rand_pcg::Pcg64;
use weftlight::light::oblique::{self, ObliqueSpot, Sight};
use weftlight::light::photons::{Cells, side_view};
use weftlight::light::spots::spots;
use weftlight::light::totals::radiance_towards;
use weftlight::light::{Layer, Optics, Source, Stack, Window};
use weftlight::picture::plane::{Accuracy, Frame, SlantedChannel, SpotPoint, XyzImage, add_slanted_spots};
use weftlight::quantity::{Millimetres, PerMillimetre};

/// Isotropic stacks: error allowed over the peak, beside the sampling error; as straight ahead in `tests/transport.rs`.
const ISOTROPIC_ERROR: f64 = 0.007;
/// Isotropic stacks: root mean square over all cells, beside the sampling error; less than half of what single cells may err.
const ISOTROPIC_RMS: f64 = 0.003;
/// By how much the variance of a sum of squares over cells exceeds that of independent ones: as for rings in `tests/twin.rs`.
const CORRELATION: f64 = 2.5;
/// Forward-scattering stacks: as straight ahead in `tests/transport.rs`.
const FORWARD_ERROR: f64 = 0.04;
/// Random stacks: as forward-scattering ones.
const RANDOM_ERROR: f64 = FORWARD_ERROR;
/// Standard errors allowed on top.
const SIGMAS: f64 = 4.0;
/// The angles tried, in degrees.
const TILTS: [f64; 2] = [30.0, 60.0];
/// Photons a case and angle: the sampling error of a cell is then some 0.4 % of the peak.
const PHOTONS: u64 = 300_000;

/// Differences between a spot from the side and photons, over the peak.
struct Found {
    /// Largest.
    worst: f64,
    /// Largest after the standard errors that are allowed.
    beyond: f64,
    /// Root mean square after the sampling error, whose square itself is known to `CORRELATION`.
    rms: f64,
    /// Relative error of the light summed over the plane, and its standard error.
    whole: (f64, f64),
}

/// Square cells over the spot, symmetric about y = 0.
fn cells(stack: &Stack, tilt: f64) -> Cells {
    const ACROSS: usize = 14;
    let height = stack.height().0;
    let (low, high) = (-2.0 * height, 2.0 * height + height * tilt.tan());
    let side = 4.0 * height / ACROSS as f64;
    let along = ((high - low) / side).ceil() as usize;
    Cells { corner_mm: [low, -0.5 * ACROSS as f64 * side], side_mm: side, count: [along, ACROSS] }
}

/// Means over cells of a spot.
fn means(spot: &ObliqueSpot, window: Window, cells: &Cells, which: &[usize]) -> Vec<f64> {
    // Two Gauss points each way are exact for cubics.
    let points = [0.5 - 0.5 / 3f64.sqrt(), 0.5 + 0.5 / 3f64.sqrt()];
    let places: Vec<[f64; 2]> = which
        .iter()
        .flat_map(|&i| {
            let [x, y] = cells.corner_of(i);
            points.iter().flat_map(move |u| points.map(|v| [x + u * cells.side_mm, y + v * cells.side_mm]))
        })
        .collect();
    spot.at_places(window, &places).chunks_exact(4).map(|values| values.iter().sum::<f64>() / 4.0).collect()
}

fn against_photons(stack: &Stack, source: &Source, tilt_deg: f64, seed: u64) -> Found {
    let tilt = tilt_deg.to_radians();
    let cells = cells(stack, tilt);
    let seen = side_view(stack, source, tilt, &cells, PHOTONS, seed);
    let spot = oblique::spots(std::slice::from_ref(stack), source.beam_power, tilt).remove(0);
    let [columns, rows] = cells.count;
    let half: Vec<usize> = (0..cells.len()).filter(|i| i / columns >= rows / 2).collect();
    // Mirror images are the same light twice: found, photons, standard error.
    let pairs: Vec<(f64, f64, f64)> = half
        .iter()
        .zip(means(&spot, source.window, &cells, &half))
        .map(|(&i, found)| {
            let mirrored = (rows - 1 - i / columns) * columns + i % columns;
            let [a, b] = [seen.cells[i], seen.cells[mirrored]];
            (found, 0.5 * (a.value + b.value), 0.5 * a.standard_error.hypot(b.standard_error))
        })
        .collect();
    let peak = pairs.iter().map(|p| p.1).fold(0.0, f64::max);
    let errors: Vec<(f64, f64)> = pairs.iter().map(|(f, p, s)| ((f - p).abs() / peak, s / peak)).collect();
    let count = errors.len() as f64;
    let square = errors.iter().map(|(e, s)| e * e - s * s).sum::<f64>() / count;
    let fourth = errors.iter().map(|(_, s)| s.powi(4)).sum::<f64>();
    let chance = SIGMAS * (2.0 * CORRELATION * fourth).sqrt() / count;
    Found {
        worst: errors.iter().map(|e| e.0).fold(0.0, f64::max),
        beyond: errors.iter().map(|(e, s)| e - SIGMAS * s).fold(f64::MIN, f64::max),
        rms: (square - chance).max(0.0).sqrt(),
        whole: (spot.whole() / seen.in_all.value - 1.0, seen.in_all.standard_error / seen.in_all.value),
    }
}

fn told(name: &str, tilt: f64, found: &Found) {
    println!(
        "{name} at {tilt}: worst {:.4}, beyond sampling {:.4}, rms beyond sampling {:.4}, whole {:+.4} ± {:.4}",
        found.worst, found.beyond, found.rms, found.whole.0, found.whole.1
    );
}

#[test]
fn isotropic_stacks_agree_with_photons() {
    for case in cases().into_iter().filter(|case| case.name.starts_with('P')) {
        for tilt in TILTS {
            let found = against_photons(&case.stack, &case.source, tilt, 1);
            told(case.name, tilt, &found);
            assert!(found.beyond < ISOTROPIC_ERROR, "{} at {tilt}: {}", case.name, found.beyond);
            assert!(found.rms < ISOTROPIC_RMS, "{} at {tilt}: {}", case.name, found.rms);
        }
    }
}

#[test]
fn forward_scattering_stacks_agree_with_photons() {
    for case in cases().into_iter().filter(|case| case.name.starts_with('A')) {
        for tilt in [0.0].into_iter().chain(TILTS) {
            let found = against_photons(&case.stack, &case.source, tilt, 1);
            told(case.name, tilt, &found);
            assert!(found.beyond < FORWARD_ERROR, "{} at {tilt}: {}", case.name, found.beyond);
        }
    }
}

#[test]
fn random_forward_scattering_stacks_agree_with_photons() {
    let mut random = Pcg64::seed_from_u64(3);
    let source = Source { beam_power: 1.0, window: Window::Point };
    for i in 0..12u64 {
        let stack = random_stack(&mut random, 0.75);
        let tilt = TILTS[i as usize % 2];
        let found = against_photons(&stack, &source, tilt, i);
        told(&format!("random stack {i} of {} layers", stack.layers.len()), tilt, &found);
        assert!(found.beyond < RANDOM_ERROR, "{i} at {tilt}: {} {stack:?}", found.beyond);
    }
}

fn dark_dense_cloth_near_the_pixels(tilt: f64) {
    let optics = Optics { extinction: PerMillimetre(6.1), albedo: 0.73, asymmetry: 0.41, openness: 0.47 };
    let layer = Layer { gap_below: Millimetres(2.1), thickness: Millimetres(0.96), optics };
    let stack = Stack { board_reflectance: 0.37, layers: vec![layer] };
    let source = Source { beam_power: 1.0, window: Window::Point };
    let found = against_photons(&stack, &source, tilt, 3);
    told("dark dense cloth", tilt, &found);
    assert!(found.beyond < FORWARD_ERROR, "at {tilt}: {}", found.beyond);
}

#[test]
fn dark_dense_cloth_near_the_pixels_agrees_with_photons() {
    dark_dense_cloth_near_the_pixels(30.0);
}

#[test]
#[ignore = "known defect: dark dense cloth half as thick as its stand-off is 10 % off at 60 degrees (README, known limits)"]
fn dark_dense_cloth_far_to_the_side_agrees_with_photons() {
    dark_dense_cloth_near_the_pixels(60.0);
}

#[test]
fn summed_over_the_plane_the_transport_is_adding_doubling() {
    /// Of the radiance: 16 nodes a layer, kernels to 1e-6.
    const ERROR: f64 = 2e-4;
    let mut random = Pcg64::seed_from_u64(11);
    for i in 0..30 {
        let stack = random_stack(&mut random, 0.0);
        let m = [0.5, 1.0, 3.0][i % 3];
        let tilt = [30f64, 60.0, 75.0][i / 3 % 3].to_radians();
        let found = oblique::spots(std::slice::from_ref(&stack), m, tilt).remove(0).whole();
        let doubling = radiance_towards(&stack, m, tilt.cos(), 48);
        assert!((found / doubling - 1.0).abs() < ERROR, "{i}: {found} against {doubling} for {stack:?}");
    }
}

#[test]
fn photons_towards_a_direction_are_adding_doubling() {
    /// Of the radiance: 32 nodes a hemisphere for asymmetries of 0.65.
    const ERROR: f64 = 1e-4;
    for case in
        cases().into_iter().filter(|case| !case.name.starts_with("P0") || case.name.starts_with("P05"))
    {
        for tilt in [0.0, 30.0, 60.0] {
            let tilt = f64::to_radians(tilt);
            let nowhere = Cells { corner_mm: [0.0; 2], side_mm: 1.0, count: [0, 0] };
            let seen = side_view(&case.stack, &case.source, tilt, &nowhere, 200_000, 5).in_all;
            let expected = radiance_towards(&case.stack, case.source.beam_power, tilt.cos(), 32);
            let allowed = SIGMAS * seen.standard_error + ERROR * expected;
            assert!((seen.value - expected).abs() < allowed, "{}: {seen:?} against {expected}", case.name);
        }
    }
}

#[test]
fn straight_ahead_it_is_the_round_spot() {
    /// Of the transform at zero: what the quadrature of the chains (7e-5, `light::forward`) and the splines (2e-5) leave on other
    /// knots, and the modes that the chain between layers has here and not there (6e-5).
    const ERROR: f64 = 2.0 * (7e-5 + 2e-5) + 6e-5;
    for case in cases() {
        let round = spots(std::slice::from_ref(&case.stack), case.source.beam_power).remove(0);
        let spot = oblique::spots(std::slice::from_ref(&case.stack), case.source.beam_power, 0.0).remove(0);
        assert!(spot.shift_mm().abs() < 1e-9);
        for i in 0..60 {
            let (k, angle) = (0.03 * f64::from(i), 0.7 * f64::from(i));
            let found = spot.value([k * angle.cos(), k * angle.sin()]);
            let error = (found.re - round.value(k)).abs().max(found.im.abs()) / round.value(0.0);
            assert!(error < ERROR, "{}, k {k}: {error:e}", case.name);
        }
    }
}

#[test]
fn pictures_from_the_side_are_sums_of_spots() {
    /// Of the peak: what pictures by Fourier transform promise (`picture::plane`).
    const ERROR: f64 = 1e-4;
    let case = cases().into_iter().find(|case| case.name.starts_with("A02")).expect("the case is in the set");
    let sight = Sight { tilt_rad: 0.9, from_rad: 2.3 };
    let spot = oblique::spots(std::slice::from_ref(&case.stack), 1.0, sight.tilt_rad).remove(0);
    let points = [[4.0, 2.5, 1.0], [-9.0, 1.0, 0.4], [30.0, -12.0, 2.0]]
        .map(|[x_mm, y_mm, amount]| SpotPoint { x_mm, y_mm, amount });
    for window in [Window::Point, Window::Disc { diameter: Millimetres(3.0) }] {
        let frame = Frame::centred(1.0, -2.0, 0.8, 40, 30);
        let channel = SlantedChannel { points: points.to_vec(), window, kernels: [&spot; 3] };
        let mut image = XyzImage::black(frame.width_px, frame.height_px);
        add_slanted_spots(&mut image, &frame, sight, &[channel], Accuracy::Picture);
        let (sin, cos) = sight.from_rad.sin_cos();
        let mut worst = 0.0f64;
        let mut peak = 0.0f64;
        for row in (0..30).step_by(3) {
            // From each point to each place on the garment that is seen there, turned so that the viewer stands on +x.
            let places: Vec<[f64; 2]> = (0..40)
                .flat_map(|column| {
                    let [x, y] = sight.unseen(frame.centre_of(column, row));
                    points.map(|p| {
                        let [dx, dy] = [x - p.x_mm, y - p.y_mm];
                        [dx * cos + dy * sin, dy * cos - dx * sin]
                    })
                })
                .collect();
            let values = spot.at_places(window, &places);
            for (column, values) in values.chunks_exact(3).enumerate() {
                let expected: f64 = values.iter().zip(&points).map(|(v, p)| v * p.amount).sum();
                let found = f64::from(image.at(column as u32, row)[1]);
                peak = peak.max(expected);
                worst = worst.max((found - expected).abs());
            }
        }
        println!("{window:?}: {:e} of the peak", worst / peak);
        assert!(worst < ERROR * peak, "{window:?}: {:e}", worst / peak);
    }
}
