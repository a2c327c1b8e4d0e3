//! The picture in the plane against direct sums of closed forms.
//!
//! Closed forms used:
//! - The spot of a Lambertian point on a plane at the distance h, `L(r) = h^2 / (pi (h^2 + r^2)^2)`, and its transform
//!   `k h K1(k h)` (DLMF 10.22.46; the formula's number from memory, the pair checked numerically below).
//! - The Gaussian, `exp(-r^2 / 2 s^2) / (2 pi s^2)` and `exp(-k^2 s^2 / 2)`.

#![allow(clippy::print_stdout, reason = "the measured errors are worth reading: run with --nocapture")]

use proptest::prelude::*;
use pxfm::{f_j0, f_k1};
use std::f64::consts::PI;
use weftlight::light::Window;
use weftlight::light::spread::SpotSpectrum;
use weftlight::picture::plane::{Accuracy, Frame, Plane, SpotChannel, SpotPoint, XyzImage, sum_of_spots};
use weftlight::quantity::Millimetres;

/// What the picture promises: no image pixel farther from the exact sum than this share of the brightest.
const PROMISED_SHARE_OF_PEAK: f64 = 1e-4;
/// What the accurate setting reaches: single precision sums over some thousand terms, and 1e-7 per approximation.
const SKIRTS_SHARE_OF_PEAK: f64 = 5e-6;
/// The largest standard deviation of the aperture that softens spots too sharp for the grid, in image pixels.
const LARGEST_APERTURE_PX: f64 = 1.65;
/// Knots for sampling closed forms: straight lines between them then err by less than 1e-6.
const KNOTS: usize = 12_000;

fn lambertian(h: f64) -> impl Fn(f64) -> f64 + Copy {
    move |r2| h * h / (PI * (h * h + r2).powi(2))
}

fn sampled(end: f64, f: impl Fn(f64) -> f64) -> SpotSpectrum {
    let knots: Vec<f64> = (0..=KNOTS).map(|i| end * (i as f64 / KNOTS as f64).powi(2)).collect();
    let values = knots.iter().map(|&k| f(k)).collect();
    SpotSpectrum::new(knots, values)
}

fn lambertian_spectrum(h: f64) -> SpotSpectrum {
    sampled(30.0 / h, |k| if k == 0.0 { 1.0 } else { k * h * f_k1(k * h) })
}

fn gaussian(s: f64) -> impl Fn(f64) -> f64 + Copy {
    move |r2| (-r2 / (2.0 * s * s)).exp() / (2.0 * PI * s * s)
}

fn gaussian_spectrum(s: f64) -> SpotSpectrum {
    sampled(8.0 / s, |k| (-0.5 * (k * s).powi(2)).exp())
}

/// Places without order, the same in every run.
fn scattered(count: usize, half_width: f64, half_height: f64) -> Vec<SpotPoint> {
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    let mut next = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    (0..count)
        .map(|_| SpotPoint {
            x_mm: (2.0 * next() - 1.0) * half_width,
            y_mm: (2.0 * next() - 1.0) * half_height,
            amount: 0.2 + next(),
        })
        .collect()
}

fn channel<'a>(points: &[SpotPoint], spot: &'a SpotSpectrum) -> SpotChannel<'a> {
    SpotChannel {
        points: points.to_vec(),
        window: Window::Point,
        window_turn_rad: 0.0,
        kernels: [Some(spot), None, None],
    }
}

/// Offsets and weights that stand for a window: Gauss-Legendre (8 points) in each of 4 parts a side, or rings.
fn window_nodes(window: Window, turn: f64) -> Vec<([f64; 2], f64)> {
    const X: [f64; 4] =
        [0.183_434_642_495_649_8, 0.525_532_409_916_329, 0.796_666_477_413_626_7, 0.960_289_856_497_536_2];
    const W: [f64; 4] =
        [0.362_683_783_378_362, 0.313_706_645_877_887_3, 0.222_381_034_453_374_5, 0.101_228_536_290_376_3];
    let line: Vec<(f64, f64)> = (0..2)
        .flat_map(|part| {
            (0..4).flat_map(move |i| {
                [-1.0, 1.0].map(|s| (0.5 * (s * X[i] + 2.0 * f64::from(part) - 1.0), 0.25 * W[i]))
            })
        })
        .collect();
    match window {
        Window::Point => vec![([0.0; 2], 1.0)],
        Window::Square { side } => line
            .iter()
            .flat_map(|&(u, wu)| line.iter().map(move |&(v, wv)| (u, v, wu * wv)))
            .map(|(u, v, w)| {
                let (u, v) = (0.5 * side.0 * u, 0.5 * side.0 * v);
                ([u * turn.cos() - v * turn.sin(), u * turn.sin() + v * turn.cos()], w)
            })
            .collect(),
        Window::Disc { diameter } => line
            .iter()
            .flat_map(|&(u, wu)| {
                // Equal areas are equal steps of the squared radius.
                let radius = 0.5 * diameter.0 * (0.5 * (u + 1.0)).sqrt();
                (0..32).map(move |i| {
                    let angle = PI * f64::from(i) / 16.0;
                    ([radius * angle.cos(), radius * angle.sin()], wu / 32.0)
                })
            })
            .collect(),
    }
}

/// The sum at one place, term by term.
fn direct(at: [f64; 2], points: &[SpotPoint], spot: impl Fn(f64) -> f64, nodes: &[([f64; 2], f64)]) -> f64 {
    points
        .iter()
        .flat_map(|p| nodes.iter().map(move |(offset, w)| (p, offset, w)))
        .map(|(p, offset, w)| {
            let (dx, dy) = (at[0] - p.x_mm - offset[0], at[1] - p.y_mm - offset[1]);
            p.amount * w * spot(dx * dx + dy * dy)
        })
        .sum()
}

/// Largest error over the peak, over every `step`-th image pixel of every `step`-th row.
fn worst(plane: &XyzImage, frame: &Frame, step: usize, want: impl Fn([f64; 2]) -> f64) -> f64 {
    let (mut error, mut peak) = (0.0_f64, 0.0_f64);
    for row in (0..frame.height_px).step_by(step) {
        for column in (0..frame.width_px).step_by(step) {
            let value = want(frame.centre_of(column, row));
            error = error.max((f64::from(plane.at(column, row)[0]) - value).abs());
            peak = peak.max(value.abs());
        }
    }
    error / peak
}

fn picture(frame: &Frame, channels: &[SpotChannel<'_>]) -> Plane {
    sum_of_spots(frame, channels, Accuracy::Picture)
}

#[test]
fn the_published_pair_of_spot_and_spectrum() {
    // Level points of k h K1(k h): a numerical table, computed with a general-purpose library.
    for (level, kh) in [(0.5, 1.25715), (0.2, 2.40559), (0.1, 3.21432), (0.05, 3.99852), (0.01, 5.76714)] {
        assert!((kh * f_k1(kh) - level).abs() < 5e-6, "{kh}: {}", kh * f_k1(kh));
        // The Hankel integral itself, in q = ln r.
        let integral: f64 = (-4000..4000)
            .map(|i| (f64::from(i) * 0.0025).exp())
            .filter(|&r| r < 400.0)
            .map(|r| 2.0 * PI * lambertian(1.0)(r * r) * f_j0(kh * r) * r * r * 0.0025)
            .sum();
        assert!((integral - level).abs() < 2e-5, "{kh}: {integral}");
    }
}

#[test]
fn lambertian_points_off_the_grid_and_outside_the_frame() {
    let mut worst_of_all = 0.0_f64;
    for (h, mm_per_px) in
        [(1.0, 0.2), (1.0, 0.4), (3.0, 0.5), (6.0, 0.25), (12.0, 0.5), (30.0, 0.5), (30.0, 3.0)]
    {
        let spot = lambertian_spectrum(h);
        for (width, height) in [(97, 61), (640, 360)] {
            let frame = Frame::centred(3.3, -1.7, mm_per_px, width, height);
            let half = [0.6 * mm_per_px * f64::from(width), 0.6 * mm_per_px * f64::from(height)];
            let points = scattered(40, half[0], half[1]);
            let plane = picture(&frame, &[channel(&points, &spot)]);
            let nodes = window_nodes(Window::Point, 0.0);
            let step = if width > 100 { 7 } else { 1 };
            let error = worst(&plane.image, &frame, step, |at| direct(at, &points, lambertian(h), &nodes));
            println!("h {h} px {mm_per_px} {width}x{height}: {error:.2e} {:?}", plane.report);
            assert_eq!(plane.report.aperture_mm, None);
            worst_of_all = worst_of_all.max(error);
        }
    }
    assert!(worst_of_all < PROMISED_SHARE_OF_PEAK, "{worst_of_all:e}");
}

#[test]
fn an_evenly_lit_field_larger_than_the_frame() {
    // The wrapped tails of very many points add up: a field of 120 x 120 points around a small frame inside it.
    let (h, pitch) = (10.0, 5.0);
    let spot = lambertian_spectrum(h);
    let points: Vec<SpotPoint> = (0..120 * 120)
        .map(|i| SpotPoint {
            x_mm: f64::from(i % 120) * pitch,
            y_mm: f64::from(i / 120) * pitch,
            amount: 1.0,
        })
        .collect();
    let nodes = window_nodes(Window::Point, 0.0);
    for (frame, step) in [
        (Frame::centred(597.0, 300.0, 0.5, 150, 90), 9),
        (Frame::centred(300.0, 300.0, 0.5, 1300, 1300), 131),
        (Frame::centred(700.0, 700.0, 1.0, 90, 150), 9),
    ] {
        let plane = picture(&frame, &[channel(&points, &spot)]);
        let over_peak = worst(&plane.image, &frame, step, |at| direct(at, &points, lambertian(h), &nodes));
        // A frame beside the field holds only tails; the promise is over the peak of what is lit.
        let peak = plane.image.planes[0].iter().copied().fold(0.0, f32::max);
        let error = over_peak * (f64::from(peak) * pitch * pitch).min(1.0);
        println!("{frame:?}: {error:.2e} {:?}", plane.report);
        assert!(error < PROMISED_SHARE_OF_PEAK, "{error:e}");
    }
}

#[test]
fn discs_and_squares() {
    let windows = [
        (Window::Disc { diameter: Millimetres(4.0) }, 0.0),
        (Window::Square { side: Millimetres(3.5) }, 0.0),
        (Window::Square { side: Millimetres(3.5) }, 0.4),
        (Window::Square { side: Millimetres(5.0) }, -0.9),
    ];
    for (window, turn) in windows {
        for (h, mm_per_px) in [(2.0, 0.25), (8.0, 0.4)] {
            let spot = lambertian_spectrum(h);
            let frame = Frame::centred(0.0, 0.0, mm_per_px, 201, 120);
            let points = scattered(5, 20.0, 12.0);
            let source = SpotChannel { window, window_turn_rad: turn, ..channel(&points, &spot) };
            let plane = picture(&frame, &[source]);
            let nodes = window_nodes(window, turn);
            let error = worst(&plane.image, &frame, 3, |at| direct(at, &points, lambertian(h), &nodes));
            println!("{window:?} {turn} h {h}: {error:.2e}");
            assert!(error < PROMISED_SHARE_OF_PEAK, "{error:e}");
        }
    }
}

#[test]
fn gaussians_and_several_channels() {
    let frame = Frame::centred(10.0, 5.0, 0.3, 333, 222);
    let (wide, narrow) = (gaussian_spectrum(6.0), gaussian_spectrum(0.9));
    let (a, b) = (scattered(30, 60.0, 40.0), scattered(17, 30.0, 50.0));
    let channels = [
        SpotChannel { kernels: [Some(&wide), Some(&narrow), None], ..channel(&a, &wide) },
        SpotChannel { kernels: [Some(&narrow), None, None], ..channel(&b, &wide) },
    ];
    let plane = picture(&frame, &channels).image;
    let nodes = window_nodes(Window::Point, 0.0);
    let first = |at| direct(at, &a, gaussian(6.0), &nodes) + direct(at, &b, gaussian(0.9), &nodes);
    assert!(worst(&plane, &frame, 3, first) < PROMISED_SHARE_OF_PEAK);
    assert!(plane.planes[2].iter().all(|&v| v == 0.0));
    let error = (0..frame.len())
        .step_by(11)
        .map(|i| {
            let at = frame.centre_of(i as u32 % 333, i as u32 / 333);
            (f64::from(plane.planes[1][i]) - direct(at, &a, gaussian(0.9), &nodes)).abs()
        })
        .fold(0.0, f64::max);
    assert!(error < PROMISED_SHARE_OF_PEAK * gaussian(0.9)(0.0));
}

#[test]
fn the_accurate_setting_keeps_faint_skirts() {
    for (h, mm_per_px, size) in [(2.0, 0.2, [300, 200]), (2.0, 0.2, [900, 700]), (20.0, 0.5, [400, 300])] {
        let spot = lambertian_spectrum(h);
        let frame = Frame::centred(0.0, 0.0, mm_per_px, size[0], size[1]);
        let points = scattered(12, 40.0, 30.0);
        let plane = sum_of_spots(&frame, &[channel(&points, &spot)], Accuracy::Skirts);
        let nodes = window_nodes(Window::Point, 0.0);
        let error = worst(&plane.image, &frame, 5, |at| direct(at, &points, lambertian(h), &nodes));
        println!("skirts h {h} {size:?}: {error:.2e} {:?}", plane.report);
        assert!(error < SKIRTS_SHARE_OF_PEAK, "{error:e}");
    }
}

#[test]
fn irradiance_under_a_square_grid() {
    // Stand-off over pitch, largest and least value over the mean, half of the last digit given. Equal Lambertian points
    // at the pitch p; status: computed with a general-purpose library, by direct sums and by Fourier series.
    const TABLE: [(f64, f64, f64, f64); 6] = [
        (0.5, 1.616, 0.710, 5e-4),
        (0.75, 1.1247, 0.9127, 5e-5),
        (1.0, 1.0270, 0.9774, 5e-5),
        (1.25, 1.0059, 0.9945, 5e-5),
        (1.5, 1.0013, 0.9987, 5e-5),
        (2.0, 1.00006, 0.99994, 5e-6),
    ];
    let pitch = 10.0;
    let side = 301;
    let points: Vec<SpotPoint> = (0..side * side)
        .map(|i| SpotPoint {
            x_mm: f64::from(i % side - side / 2) * pitch,
            y_mm: f64::from(i / side - side / 2) * pitch,
            amount: 1.0,
        })
        .collect();
    for (h_over_p, largest, least, half_digit) in TABLE {
        let tolerance = half_digit + PROMISED_SHARE_OF_PEAK * largest;
        let h = h_over_p * pitch;
        let spot = lambertian_spectrum(h);
        // Odd number of image pixels over two pitches: points, edges and middles of the cells are image pixels.
        let frame = Frame::centred(0.0, 0.0, 0.5, 41, 41);
        let plane = picture(&frame, &[channel(&points, &spot)]);
        // What the finite field lacks against an endless one is the tail outside a square of half-width s:
        // int h^2/(pi r^4) over the outside = h^2 (pi/2 + 1) / (pi s^2).
        let s = 0.5 * f64::from(side) * pitch;
        let lacking = h * h * (PI / 2.0 + 1.0) / (PI * s * s);
        let mean = 1.0 / (pitch * pitch);
        let levels: Vec<f64> = plane.image.planes[0].iter().map(|&v| f64::from(v) / mean + lacking).collect();
        let (low, high) = levels.iter().fold((f64::MAX, 0.0_f64), |(l, h), &v| (l.min(v), h.max(v)));
        println!("h/p {h_over_p}: {high:.5} {low:.5}");
        assert!((high - largest).abs() < tolerance, "{h_over_p}: {high} {largest}");
        assert!((low - least).abs() < tolerance, "{h_over_p}: {low} {least}");
    }
}

#[test]
fn the_light_of_a_spot_is_its_spectrum_at_zero() {
    // A Gaussian lies wholly in the frame; sampled at band-limited density, sum times area is the integral.
    for (s, mm_per_px) in [(3.0, 0.5), (0.9, 0.5), (0.05, 0.5), (3.0, 2.0)] {
        let spot = gaussian_spectrum(s);
        let frame = Frame::centred(0.0, 0.0, mm_per_px, 160, 130);
        let points = [SpotPoint { x_mm: 1.234, y_mm: -2.1, amount: 7.0 }];
        let plane = picture(&frame, &[channel(&points, &spot)]);
        let sum: f64 = plane.image.planes[0].iter().map(|&v| f64::from(v)).sum();
        let light = sum * mm_per_px * mm_per_px;
        println!("s {s}: {light} {:?}", plane.report);
        assert_eq!(plane.report.aperture_mm.is_some(), s < 0.1);
        // Reading a picture at image pixels only: by Poisson's formula the sum holds, besides the light, the spectrum at
        // the four nearest points of the reciprocal lattice, 2 pi / mm_per_px.
        let softened = s.hypot(plane.report.aperture_mm.unwrap_or(0.0));
        let sampling = 4.0 * (-0.5 * (2.0 * PI / mm_per_px * softened).powi(2)).exp();
        let tolerance = PROMISED_SHARE_OF_PEAK + sampling;
        assert!(tolerance < 3e-3 && (light / 7.0 - 1.0).abs() < tolerance, "{s}: {light}");
    }
}

#[test]
fn a_spot_too_sharp_is_softened_and_does_not_ring() {
    let spot = lambertian_spectrum(0.1);
    for (width, height) in [(64, 64), (1800, 1500)] {
        let frame = Frame::centred(0.0, 0.0, 0.5, width, height);
        let points = [SpotPoint { x_mm: 0.17, y_mm: 0.08, amount: 1.0 }];
        let plane = picture(&frame, &[channel(&points, &spot)]);
        let values = &plane.image.planes[0];
        let peak = values.iter().copied().fold(0.0, f32::max);
        let least = values.iter().copied().fold(0.0, f32::min);
        println!("{width}: peak {peak} least {least} {:?}", plane.report);
        assert!(plane.report.aperture_mm.is_some_and(|s| s < LARGEST_APERTURE_PX * 0.5));
        assert!(f64::from(-least) < PROMISED_SHARE_OF_PEAK * f64::from(peak));
    }
}

#[test]
fn odd_little_and_empty_pictures() {
    let spot = lambertian_spectrum(5.0);
    let nodes = window_nodes(Window::Point, 0.0);
    let points = scattered(9, 50.0, 50.0);
    for (width, height) in [(1, 1), (1, 7), (13, 1), (31, 17)] {
        for at in [[0.0, 0.0], [400.0, -250.0]] {
            let frame = Frame::centred(at[0], at[1], 0.7, width, height);
            let plane = picture(&frame, &[channel(&points, &spot)]).image;
            let error = worst(&plane, &frame, 1, |at| direct(at, &points, lambertian(5.0), &nodes));
            // Far from every point the peak of the frame is a mere tail; the promise is over the peak of the spots.
            let here = direct(frame.centre_of(0, 0), &points, lambertian(5.0), &nodes);
            let share = if at[0] == 0.0 { error } else { error * here / lambertian(5.0)(0.0) };
            println!("{width}x{height} {at:?}: {share:.2e}");
            assert!(share < PROMISED_SHARE_OF_PEAK, "{width} {height} {at:?}: {share:e}");
        }
    }
    let frame = Frame::centred(0.0, 0.0, 1.0, 20, 10);
    let dark = picture(&frame, &[channel(&[], &spot)]);
    assert!(dark.image.planes.iter().flatten().all(|&v| v == 0.0));
    assert_eq!(dark.report.grids, 0);
    assert!(
        picture(&Frame::centred(0.0, 0.0, 1.0, 0, 10), &[channel(&points, &spot)]).image.planes[0].is_empty()
    );
    let bad = [
        SpotPoint { x_mm: f64::NAN, y_mm: 0.0, amount: 1.0 },
        SpotPoint { amount: f64::INFINITY, ..points[0] },
    ];
    assert_eq!(picture(&frame, &[channel(&bad, &spot)]).report.grids, 0);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_frame_and_any_points(
        h in 1.0..30.0_f64,
        px in 0.2..2.0_f64,
        size in (1_u32..300, 1_u32..200),
        centre in (-80.0..80.0_f64, -80.0..80.0_f64),
        places in prop::collection::vec((-100.0..100.0_f64, -100.0..100.0_f64, 0.1..2.0_f64), 1..12),
    ) {
        // Below this the spot is sharper than half an image pixel resolves and the aperture sets in.
        prop_assume!(h > 2.4 * px);
        let spot = lambertian_spectrum(h);
        let frame = Frame::centred(centre.0, centre.1, px, size.0, size.1);
        let points: Vec<SpotPoint> =
            places.iter().map(|&(x_mm, y_mm, amount)| SpotPoint { x_mm, y_mm, amount }).collect();
        let plane = picture(&frame, &[channel(&points, &spot)]);
        let nodes = window_nodes(Window::Point, 0.0);
        let peak = points.iter().map(|p| p.amount).fold(0.0, f64::max) * lambertian(h)(0.0);
        for row in (0..size.1).step_by(9) {
            for column in (0..size.0).step_by(9) {
                let want = direct(frame.centre_of(column, row), &points, lambertian(h), &nodes);
                let error = (f64::from(plane.image.at(column, row)[0]) - want).abs();
                prop_assert!(error < PROMISED_SHARE_OF_PEAK * peak, "{error} of {peak}, {:?}", plane.report);
            }
        }
    }
}
