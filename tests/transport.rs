//! The transport against everything outside it: the reference spread functions, adding-doubling, and photons.

#![allow(clippy::print_stdout, reason = "the measured errors are worth reading: run with --nocapture")]

mod common;

use common::photons::{Case, REFERENCE_PHOTONS, cases};
use common::stacks::random_stack;
use rand::SeedableRng;
use rand_pcg::Pcg64;
use weftlight::light::spots::spots;
use weftlight::light::totals::{radiance_straight_ahead, shares};
use weftlight::light::transport::{SourceKernel, Transport, direct_share};
use weftlight::light::{Layer, Optics, Source, Stack, Window, photons};
use weftlight::quantity::{Millimetres, PerMillimetre};

/// Isotropic stacks: error allowed over the peak, beside the sampling error. The reference's own rings scatter by that much.
const ISOTROPIC_ERROR: f64 = 0.007;
/// Forward-scattering stacks: what the half-thickness correction promises for cloth not thicker than its stand-off, and the harmonics
/// for a single cloth at any.
const FORWARD_ERROR: f64 = 0.04;
/// Standard errors allowed on top.
const SIGMAS: f64 = 4.0;

fn errors_over_peak(case: &Case) -> Vec<(f64, f64)> {
    let spot = spots(std::slice::from_ref(&case.stack), case.source.beam_power).remove(0);
    let rings: Vec<[f64; 2]> = case.rings.iter().map(|r| [r.inner_mm, r.outer_mm]).collect();
    let peak = case.peak();
    spot.over_rings(case.source.window, &rings)
        .iter()
        .zip(&case.rings)
        .map(|(found, ring)| ((found - ring.radiance).abs() / peak, ring.standard_error / peak))
        .collect()
}

#[test]
fn spread_functions_agree_with_the_reference_photons() {
    for case in cases() {
        let allowed = if case.name.starts_with('A') { FORWARD_ERROR } else { ISOTROPIC_ERROR };
        let errors = errors_over_peak(&case);
        let worst = errors.iter().map(|e| e.0).fold(0.0, f64::max);
        let rms = (errors.iter().map(|e| e.0 * e.0).sum::<f64>() / errors.len() as f64).sqrt();
        println!("{}: worst {:.4}, rms {:.5} of the peak", case.name, worst, rms);
        for (ring, (error, sigma)) in errors.iter().enumerate() {
            assert!(*error < allowed + SIGMAS * sigma, "{}, ring {ring}: {error} of the peak", case.name);
        }
    }
}

#[test]
fn shares_agree_with_the_reference_photons() {
    // Binomial standard error of a share near one half after the reference's photons, as an upper bound.
    let sigma = 0.5 / REFERENCE_PHOTONS.sqrt();
    for case in cases() {
        let found = shares(&case.stack, case.source.beam_power);
        for (what, value, expected) in [
            ("direct", found.direct, case.direct_share),
            ("scattered", found.scattered, case.scattered_share),
        ] {
            let allowed = SIGMAS * sigma + common::photons::SHARE_ROUNDING;
            assert!((value - expected).abs() < allowed, "{}, {what}: {value} against {expected}", case.name);
        }
    }
}

#[test]
fn at_zero_frequency_the_transport_is_adding_doubling() {
    /// Of the radiance: 16 nodes a layer, kernels to 1e-6.
    const ERROR: f64 = 2e-4;
    let mut random = Pcg64::seed_from_u64(11);
    for i in 0..60 {
        let stack = random_stack(&mut random, 0.0);
        let m = [0.5, 1.0, 3.0][i % 3];
        let transport = spots(std::slice::from_ref(&stack), m).remove(0).value(0.0);
        let doubling = radiance_straight_ahead(&stack, m, 48);
        assert!(
            (transport / doubling - 1.0).abs() < ERROR,
            "{i}: {transport} against {doubling} for {stack:?}"
        );
    }
}

#[test]
fn no_light_is_lost_or_made() {
    /// What leaves in front, stays in the board and stays in the cloths, each found by itself, must make one.
    const ERROR: f64 = 1e-4;
    let mut random = Pcg64::seed_from_u64(12);
    for i in 0..60 {
        let stack = random_stack(&mut random, 0.0);
        let m = [0.5, 1.0, 3.0][i % 3];
        let answer = Transport::new(&stack, m, SourceKernel::of_beam(m)).solve(0.0);
        let board = (1.0 - stack.board_reflectance) * answer.returned;
        let sum = direct_share(&stack, m) + answer.exitance + answer.absorbed + board;
        assert!((sum - 1.0).abs() < ERROR, "{i}: {sum} for {stack:?}");
    }
}

/// Worst difference over the peak between transport and this project's own photons, and the sampling error there.
fn against_photons(stack: &Stack, window: Window, photons: u64, seed: u64) -> Vec<(f64, f64)> {
    let source = Source { beam_power: 1.0, window };
    let reach = 2.0 * stack.height().0;
    let edges = photons::ring_edges(reach, 12);
    let seen = photons::spread(stack, &source, &edges, photons, seed);
    let rings: Vec<[f64; 2]> = seen.rings.iter().map(|r| [r.inner_mm, r.outer_mm]).collect();
    let found = spots(std::slice::from_ref(stack), 1.0).remove(0).over_rings(window, &rings);
    let peak = seen.rings.iter().map(|r| r.radiance.value).fold(0.0, f64::max);
    found
        .iter()
        .zip(&seen.rings)
        .map(|(f, r)| ((f - r.radiance.value).abs() / peak, r.radiance.standard_error / peak))
        .collect()
}

#[test]
fn random_isotropic_stacks_agree_with_photons() {
    let mut random = Pcg64::seed_from_u64(2);
    for i in 0..12u64 {
        let stack = random_stack(&mut random, 0.0);
        let window = match i % 3 {
            0 => Window::Point,
            1 => Window::Disc { diameter: Millimetres(3.0) },
            _ => Window::Square { side: Millimetres(3.0) },
        };
        for (ring, (error, sigma)) in against_photons(&stack, window, 300_000, i).into_iter().enumerate() {
            assert!(
                error < ISOTROPIC_ERROR + SIGMAS * sigma,
                "{i}, ring {ring}: {error} ({sigma}) {stack:?}"
            );
        }
    }
}

#[test]
fn random_forward_scattering_stacks_agree_with_photons() {
    let mut random = Pcg64::seed_from_u64(3);
    for i in 0..24u64 {
        let stack = random_stack(&mut random, 0.75);
        let errors = against_photons(&stack, Window::Point, 300_000, i);
        let worst = errors.iter().map(|e| e.0).fold(0.0, f64::max);
        println!("{i}: worst {worst:.4} of the peak, {} layers", stack.layers.len());
        for (ring, (error, sigma)) in errors.into_iter().enumerate() {
            assert!(error < FORWARD_ERROR + SIGMAS * sigma, "{i}, ring {ring}: {error} ({sigma}) {stack:?}");
        }
    }
}

#[test]
fn a_cloth_twice_in_contact_is_one_of_double_thickness() {
    /// Of the radiance at zero frequency: two layers of 16 nodes against one.
    const ERROR: f64 = 2e-4;
    let layer = |gap: f64, thickness: f64| Layer {
        gap_below: Millimetres(gap),
        thickness: Millimetres(thickness),
        optics: Optics { extinction: PerMillimetre(2.5), albedo: 0.99, asymmetry: 0.0, openness: 0.0 },
    };
    let twice = Stack { board_reflectance: 0.5, layers: vec![layer(4.0, 1.5), layer(0.0, 1.5)] };
    let once = Stack { board_reflectance: 0.5, layers: vec![layer(4.0, 3.0)] };
    let (a, b) = (spots(&[twice], 1.0).remove(0), spots(&[once], 1.0).remove(0));
    for k in [0.0, 0.05, 0.1, 0.3, 0.7, 1.5] {
        assert!(
            (a.value(k) - b.value(k)).abs() < ERROR * b.value(0.0),
            "k {k}: {} {}",
            a.value(k),
            b.value(k)
        );
    }
}

#[test]
fn many_albedos_at_once_give_what_each_gives_alone() {
    /// Of the peak: interpolation of the excess over nine albedos.
    const ERROR: f64 = 5e-4;
    let stack = |albedo: f64| Stack {
        board_reflectance: 0.5,
        layers: vec![Layer {
            gap_below: Millimetres(5.0),
            thickness: Millimetres(0.5),
            optics: Optics { extinction: PerMillimetre(8.0), albedo, asymmetry: 0.7, openness: 0.1 },
        }],
    };
    let stacks: Vec<Stack> = (0..12).map(|i| stack(0.25 + 0.749 * f64::from(i) / 11.0)).collect();
    for (together, one) in spots(&stacks, 1.0).iter().zip(&stacks) {
        let alone = spots(std::slice::from_ref(one), 1.0).remove(0);
        for k in [0.0, 0.1, 0.4, 1.0, 2.0] {
            let error = (together.value(k) - alone.value(k)).abs() / alone.value(0.0);
            assert!(error < ERROR, "albedo {}, k {k}: {error:e}", one.layers[0].optics.albedo);
        }
    }
}

/// One closed forward-scattering layer over a board of reflectance 0.5.
fn fibre_layer(gap: f64, thickness: f64, tau: f64, albedo: f64, asymmetry: f64) -> Stack {
    let optics = Optics { extinction: PerMillimetre(tau / thickness), albedo, asymmetry, openness: 0.0 };
    let layer = Layer { gap_below: Millimetres(gap), thickness: Millimetres(thickness), optics };
    Stack { board_reflectance: 0.5, layers: vec![layer] }
}

#[test]
fn lofty_cloth_near_the_pixels_agrees_with_photons() {
    // Wadding of 15 mm, 2 mm away: cut into slices. And cloth as thick as its stand-off.
    for (i, stack) in
        [fibre_layer(2.0, 15.0, 3.0, 0.999, 0.75), fibre_layer(1.0, 1.0, 4.0, 0.99, 0.7)].iter().enumerate()
    {
        for (ring, (error, sigma)) in
            against_photons(stack, Window::Point, 500_000, 7).into_iter().enumerate()
        {
            assert!(error < FORWARD_ERROR + SIGMAS * sigma, "{i}, ring {ring}: {error} ({sigma})");
        }
    }
}

#[test]
fn dense_thick_cloth_near_the_pixels_agrees_with_photons() {
    for (i, stack) in
        [fibre_layer(1.0, 4.0, 8.0, 0.999, 0.8), fibre_layer(0.5, 2.5, 8.0, 0.998, 0.75)].iter().enumerate()
    {
        for (ring, (error, sigma)) in
            against_photons(stack, Window::Point, 500_000, 7).into_iter().enumerate()
        {
            assert!(error < FORWARD_ERROR + SIGMAS * sigma, "{i}, ring {ring}: {error} ({sigma})");
        }
    }
}
