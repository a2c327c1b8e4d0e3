//! The photons against closed forms and tables.

use std::f64::consts::PI;

use super::rings::Rings;
use super::walk::{Course, Places, Sight};
use super::{Estimate, PhotonSpread, ring_edges, spread};
use crate::light::{Layer, Optics, Source, Stack, Window};
use crate::quantity::{Millimetres, PerMillimetre};
use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;

/// How many standard errors an estimate may be away. There are about a hundred such comparisons in this file; a
/// normal deviate beyond 4.5 turns up among them once in 1500 runs, and the seeds are fixed.
const DEVIATIONS: f64 = 4.5;

/// Rounding of sums of up to a million terms near 1.
const ROUNDING: f64 = 1e-12;

const LAMBERTIAN: Source = Source { beam_power: 1.0, window: Window::Point };

fn layer(
    gap_below: f64,
    thickness: f64,
    extinction: f64,
    albedo: f64,
    asymmetry: f64,
    openness: f64,
) -> Layer {
    Layer {
        gap_below: Millimetres(gap_below),
        thickness: Millimetres(thickness),
        optics: Optics { extinction: PerMillimetre(extinction), albedo, asymmetry, openness },
    }
}

/// A closed cloth of 1 mm, 2 mm above the board.
fn slab(albedo: f64, tau: f64, asymmetry: f64) -> Layer {
    layer(2.0, 1.0, tau, albedo, asymmetry, 0.0)
}

fn stack(board_reflectance: f64, layers: impl Into<Vec<Layer>>) -> Stack {
    Stack { board_reflectance, layers: layers.into() }
}

#[track_caller]
fn check(what: &str, found: Estimate, expected: f64, doubt: f64) {
    let allowed = DEVIATIONS * found.standard_error + doubt;
    let difference = found.value - expected;
    assert!(
        difference.abs() <= allowed,
        "{what}: found {}, expected {expected}, difference {difference:e}, allowed {allowed:e}",
        found.value
    );
}

/// Integral of a smooth function by Simpson's rule with 2000 intervals.
fn integral(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (count, step) = (2000, (to - from) / 2000.0);
    let weight = |i| if i == 0 || i == count { 1.0 } else { f64::from(2 + 2 * (i % 2)) };
    (0..=count).map(|i| weight(i) * f(from + step * f64::from(i))).sum::<f64>() * step / 3.0
}

/// (tau, E3(tau)): exponential integrals computed with scipy.special.expn, a general-purpose library.
const E3: [(f64, f64); 3] =
    [(0.5, 0.221_604_364_275_178), (0.8, 0.144_323_801_546_296), (1.8, 0.038_715_714_280_833)];

#[test]
fn lambertian_light_passes_a_cloth_unscattered_with_twice_the_third_exponential_integral() {
    for (tau, e3) in E3 {
        for openness in [0.0, 0.3] {
            let through = layer(3.0, 0.5, 2.0 * tau, 0.9, 0.5, openness);
            let found = spread(&stack(0.5, [through]), &LAMBERTIAN, &[], 20_000, 3);
            check("unscattered share", found.direct_share, openness + (1.0 - openness) * 2.0 * e3, ROUNDING);
        }
    }
}

#[test]
fn holes_of_two_cloths_are_met_independently() {
    // [o1 + (1 - o1) exp(-tau1 u)] [o2 + (1 - o2) exp(-tau2 u)], averaged over Lambertian light, term by term.
    let [(tau_1, first), (tau_2, second), ..] = E3;
    // E3(0.5 + 0.8) from scipy.special.expn.
    let both = 0.073_576_290_427_412;
    let (o_1, o_2) = (0.4, 0.25);
    let expected = o_1 * o_2
        + 2.0 * (o_2 * (1.0 - o_1) * first + o_1 * (1.0 - o_2) * second + (1.0 - o_1) * (1.0 - o_2) * both);
    let cloths = [layer(3.0, 1.0, tau_1, 0.0, 0.0, o_1), layer(0.0, 2.0, tau_2 / 2.0, 0.0, 0.0, o_2)];
    let found = spread(&stack(0.0, cloths), &LAMBERTIAN, &[], 400_000, 4);
    check("unscattered share", found.direct_share, expected, ROUNDING);
    // Black cloths keep all the rest: this checks the counted photons, not only the transmittance they start with.
    check("kept by the cloths", found.cloth_share, 1.0 - expected, ROUNDING);
}

#[test]
fn a_black_cloth_scatters_nothing() {
    let found = spread(&stack(0.7, [slab(0.0, 1.0, 0.6)]), &LAMBERTIAN, &ring_edges(10.0, 5), 50_000, 5);
    assert_eq!(found.scattered_share, Estimate::default());
    assert_eq!(found.board_share, Estimate::default());
    assert!(found.rings.iter().all(|ring| ring.radiance == Estimate::default()));
}

#[test]
fn without_cloth_all_light_leaves_unscattered() {
    let found = spread(&stack(0.7, []), &LAMBERTIAN, &ring_edges(10.0, 5), 1000, 6);
    assert_eq!(found.direct_share, Estimate { value: 1.0, standard_error: 0.0 });
    assert_eq!(found.accounted, found.direct_share);
    assert_eq!(found.scattered_share, Estimate::default());
}

#[test]
fn no_light_is_lost_or_made() {
    let stacks = [
        stack(0.0, [slab(0.5, 1.0, 0.0)]),
        stack(0.9, [slab(0.5, 3.0, 0.8)]),
        stack(0.5, [slab(0.999, 8.0, -0.4)]),
        stack(1.0, [slab(1.0, 4.0, 0.7)]),
        stack(0.8, [layer(0.0, 2.0, 3.0, 0.95, 0.9, 0.2)]),
        stack(0.6, [layer(5.0, 0.15, 8.0, 0.9, 0.65, 0.45), layer(0.0, 1.0, 2.0, 0.7, 0.0, 0.1)]),
        stack(
            0.3,
            [layer(0.0, 0.5, 4.0, 0.99, 0.3, 0.0), slab(0.8, 2.0, 0.0), layer(9.0, 0.1, 9.0, 0.2, 0.5, 0.6)],
        ),
    ];
    for (i, stack) in stacks.iter().enumerate() {
        let found = spread(stack, &Source { beam_power: 2.5, ..LAMBERTIAN }, &[], 100_000, 70 + i as u64);
        check(&format!("flux in stack {i}"), found.accounted, 1.0, ROUNDING);
        // Roulette only now and then: the sum must also be close in itself.
        assert!(found.accounted.standard_error < 2e-3, "stack {i}: {:?}", found.accounted);
    }
}

/// (asymmetry, albedo, tau, reflectance, transmittance) of index-matched slabs for Lambertian light. Computed by two
/// independent codes, an own doubling solver with 48 nodes and iadpython 0.5.3 with 16, which agree to `TABLE_DOUBT`;
/// no publication behind them.
const SLABS: [(f64, f64, f64, f64, f64); 11] = [
    (0.0, 0.5, 1.0, 0.13417, 0.30671),
    (0.0, 0.9, 4.0, 0.47319, 0.09056),
    (0.0, 0.99, 8.0, 0.77577, 0.09568),
    (0.0, 1.0, 1.0, 0.44659, 0.55341),
    (0.0, 1.0, 16.0, 0.92346, 0.07654),
    (0.5, 0.9, 2.0, 0.30254, 0.39217),
    (0.75, 0.8, 1.0, 0.10119, 0.59349),
    (0.75, 0.99, 16.0, 0.61230, 0.14906),
    (0.75, 1.0, 2.0, 0.30404, 0.69596),
    (0.875, 0.9, 4.0, 0.14036, 0.36226),
    (0.875, 1.0, 8.0, 0.45057, 0.54943),
];

/// Largest difference of the two codes behind [`SLABS`] in these rows, one unit of the last digit.
const TABLE_DOUBT: f64 = 1e-5;

fn transmitted(found: &PhotonSpread) -> Estimate {
    let [direct, scattered] = [found.direct_share, found.scattered_share];
    Estimate {
        value: direct.value + scattered.value,
        standard_error: direct.standard_error + scattered.standard_error,
    }
}

#[test]
fn slabs_reflect_and_transmit_lambertian_light_as_two_other_codes_say() {
    for (i, (g, albedo, tau, reflectance, transmittance)) in SLABS.into_iter().enumerate() {
        let found = spread(&stack(0.0, [slab(albedo, tau, g)]), &LAMBERTIAN, &[], 200_000, 80 + i as u64);
        let name = format!("g {g} albedo {albedo} tau {tau}");
        check(&format!("{name} reflectance"), found.board_share, reflectance, TABLE_DOUBT);
        check(&format!("{name} transmittance"), transmitted(&found), transmittance, TABLE_DOUBT);
    }
}

#[test]
fn layers_in_contact_reflect_and_transmit_as_published() {
    /// (albedo, tau) from the lit side, reflectance, transmittance.
    type Row = (&'static [(f64, f64)], f64, f64);
    // Ozisik & Shouman 1980, table 1, and Devaux et al. 1979, as checked in the DISORT test suite (problems 8a to 8c
    // and 9a), isotropic scattering. Values here: own doubling solver with 48 nodes; the 8-stream values printed there
    // differ from them by up to 3e-4.
    let rows: [Row; 4] = [
        (&[(0.5, 0.25), (0.3, 0.25)], 0.09301, 0.51281),
        (&[(0.8, 0.25), (0.95, 0.25)], 0.22525, 0.65026),
        (&[(0.8, 1.0), (0.95, 2.0)], 0.37858, 0.15999),
        (&[(0.65, 1.0), (0.70, 2.0), (0.75, 3.0), (0.80, 4.0), (0.85, 5.0), (0.90, 6.0)], 0.22795, 6.171e-7),
    ];
    for (i, (layers, reflectance, transmittance)) in rows.into_iter().enumerate() {
        let layers: Vec<Layer> =
            layers.iter().map(|&(albedo, tau)| layer(0.0, 0.5, 2.0 * tau, albedo, 0.0, 0.0)).collect();
        let found = spread(&stack(0.0, layers), &LAMBERTIAN, &[], 200_000, 100 + i as u64);
        check(&format!("row {i} reflectance"), found.board_share, reflectance, TABLE_DOUBT);
        check(&format!("row {i} transmittance"), transmitted(&found), transmittance, TABLE_DOUBT);
    }
}

#[test]
fn board_and_cloth_throw_light_to_and_fro_in_a_geometric_series() {
    // Lambertian light meets a cloth with holes: reflectance R = (1 - o) URU, transmittance T = o + (1 - o) UTU; with
    // a Lambertian board below, T / (1 - rho R) leaves at the top.
    for (i, (rho, openness)) in [(0.5, 0.0), (0.9, 0.0), (0.6, 0.35)].into_iter().enumerate() {
        let (g, albedo, tau, reflectance, transmittance) = SLABS[5];
        let cloth = layer(1.0, 1.0, tau, albedo, g, openness);
        let found = spread(&stack(rho, [cloth]), &LAMBERTIAN, &[], 400_000, 110 + i as u64);
        let reflectance = (1.0 - openness) * reflectance;
        let transmittance = openness + (1.0 - openness) * transmittance;
        let expected = transmittance / (1.0 - rho * reflectance);
        // The table's doubt enters T and R; both derivatives together are below 4.
        check(&format!("board {rho}, holes {openness}"), transmitted(&found), expected, 4.0 * TABLE_DOUBT);
    }
}

#[test]
fn single_scattering_follows_its_integral_in_every_ring() {
    // At an albedo of 0.001 second scatterings add less than 0.1 % of the first, far below the sampling error. Seen
    // straight ahead at the distance r: (1 - o) int a mu p(cos) I(theta) / d^2 exp(-mu s) exp(-mu (top - z)) dz with
    // d^2 = r^2 + z^2, cos = z / d, s = (z - bottom) / cos.
    const ALBEDO: f64 = 1e-3;
    let (bottom, thickness, mu, openness, m) = (2.0, 1.5, 0.8, 0.3, 1.7);
    for (i, g) in [0.0, 0.75, -0.3].into_iter().enumerate() {
        let cloth = stack(0.0, [layer(bottom, thickness, mu, ALBEDO, g, openness)]);
        let source = Source { beam_power: m, window: Window::Point };
        let found = spread(&cloth, &source, &ring_edges(6.0, 6), 1_000_000, 120 + i as u64);
        let radiance = |r: f64| {
            integral(bottom, bottom + thickness, |z| {
                let d = r.hypot(z);
                let cosine = z / d;
                let intensity = (m + 1.0) / (2.0 * PI) * cosine.powf(m);
                let phase = (1.0 - g * g) / (4.0 * PI * (1.0 + g * g - 2.0 * g * cosine).powf(1.5));
                let paths = mu * (z - bottom) / cosine + mu * (bottom + thickness - z);
                (1.0 - openness) * ALBEDO * mu * phase * intensity / (d * d) * (-paths).exp()
            })
        };
        for ring in &found.rings {
            let (inner, outer) = (ring.inner_mm, ring.outer_mm);
            let mean = integral(inner, outer, |r| 2.0 * PI * r * radiance(r))
                / (PI * (outer * outer - inner * inner));
            check(&format!("g {g}, ring {inner} to {outer} mm"), ring.radiance, mean, 2.0 * ALBEDO * mean);
        }
    }
}

/// The light that leaves in one direction after scattering, over the whole plane.
#[test]
fn a_viewer_at_a_slant_gets_the_single_scattering_of_that_direction() {
    // Isotropic single scattering of Lambertian light in a slab, over all places, per unit of area across the view:
    // a / (4 pi v) int 2 E2(s) exp(-(tau - s) / v) ds over 0..tau, E2(s) = int exp(-s / c) dc over 0..1.
    const ALBEDO: f64 = 1e-3;
    let tau = 1.3;
    let e2 = |s: f64| integral(1e-9, 1.0, |c| (-s / c).exp());
    for (i, v) in [1.0, 0.6_f64].into_iter().enumerate() {
        let sight = Sight { direction: [(1.0 - v * v).sqrt(), 0.0, v] };
        // One ring that holds all but a ten-millionth of the light.
        let rings = || Places::Rings(Rings::new(&[0.0, 1e4]));
        let course = Course::new(&stack(0.0, [slab(ALBEDO, tau, 0.0)]), &LAMBERTIAN, sight, rings());
        let photons = 400_000;
        let seen = course.run(photons, &mut Pcg64Mcg::seed_from_u64(130 + i as u64)).seen[0] / photons as f64;
        let expected = ALBEDO / (4.0 * PI * v) * integral(0.0, tau, |s| 2.0 * e2(s) * (-(tau - s) / v).exp());
        // A photon adds at most a / (4 pi v), and at most a quarter of its square is the variance of what it adds.
        let standard_error = ALBEDO / (4.0 * PI * v) * 0.5 / (photons as f64).sqrt();
        check(
            &format!("cosine {v}"),
            Estimate { value: seen, standard_error },
            expected,
            2.0 * ALBEDO * expected,
        );
    }
}

#[test]
fn the_window_widens_the_spot_by_its_own_mean_square_and_leaves_the_totals() {
    // The spot of a window is the point's spot convolved with the window: mean squares of the radius add. A disc has
    // D^2 / 8, a square s^2 / 6. A steep beam and a black board keep the mean square of the point's spot finite.
    let cloth = stack(0.0, [slab(0.9, 1.0, 0.6)]);
    let mean_square = |window: Window, first_seed: u64| {
        let source = Source { beam_power: 8.0, window };
        let runs: Vec<(f64, f64)> = (first_seed..first_seed + WINDOW_RUNS)
            .map(|seed| {
                let found = spread(&cloth, &source, &ring_edges(30.0, 300), 50_000, seed);
                let (flux, moment) = found.rings.iter().fold((0.0, 0.0), |(flux, moment), ring| {
                    let (inner, outer) = (ring.inner_mm * ring.inner_mm, ring.outer_mm * ring.outer_mm);
                    let part = ring.radiance.value * (outer - inner);
                    (flux + part, moment + part * 0.5 * (inner + outer))
                });
                (moment / flux, found.scattered_share.value)
            })
            .collect();
        (of_runs(runs.iter().map(|run| run.0)), of_runs(runs.iter().map(|run| run.1)))
    };
    let (point, point_share) = mean_square(Window::Point, 1400);
    let cases = [
        ("speck", Window::Disc { diameter: Millimetres(1e-9) }, 0.0),
        ("disc", Window::Disc { diameter: Millimetres(4.0) }, 4.0 * 4.0 / 8.0),
        ("square", Window::Square { side: Millimetres(4.0) }, 4.0 * 4.0 / 6.0),
    ];
    for (i, (name, window, own)) in cases.into_iter().enumerate() {
        let (wide, share) = mean_square(window, 1500 + 100 * i as u64);
        // A tolerance that could not tell a disc from a square would check nothing.
        assert!(DEVIATIONS * wide.standard_error < 0.3, "{name}: {wide:?}");
        check(name, difference(wide, point), own, BINNING_MM2);
        check(name, difference(share, point_share), 0.0, ROUNDING);
    }
}

/// Independent runs from whose scatter the error of a mean square is taken; the rings of one run are correlated.
const WINDOW_RUNS: u64 = 20;

/// Mean of independent runs and its standard error.
fn of_runs(values: impl Iterator<Item = f64> + Clone) -> Estimate {
    let count = WINDOW_RUNS as f64;
    let mean = values.clone().sum::<f64>() / count;
    let variance = values.map(|value| (value - mean).powi(2)).sum::<f64>() / (count - 1.0);
    Estimate { value: mean, standard_error: (variance / count).sqrt() }
}

/// Error of a mean square taken from rings of 0.1 mm as if each had one radius: a third of the squared width (by
/// parts from the slope of the radiance). It is the same with and without a window and nearly cancels.
const BINNING_MM2: f64 = 0.1 * 0.1 / 3.0;

fn difference(a: Estimate, b: Estimate) -> Estimate {
    Estimate { value: a.value - b.value, standard_error: a.standard_error.hypot(b.standard_error) }
}

#[test]
fn a_speck_of_a_window_gives_the_spot_of_a_point() {
    let cloth = stack(0.6, [layer(5.0, 0.3, 6.0, 0.98, 0.4, 0.2)]);
    let speck = Source { window: Window::Disc { diameter: Millimetres(1e-9) }, ..LAMBERTIAN };
    let [point, disc] = [(LAMBERTIAN, 150), (speck, 151)]
        .map(|(source, seed)| spread(&cloth, &source, &ring_edges(10.0, 20), 200_000, seed));
    for (a, b) in point.rings.iter().zip(&disc.rings) {
        let what = format!("ring from {} mm", a.inner_mm);
        check(&what, difference(a.radiance, b.radiance), 0.0, ROUNDING);
    }
}

#[test]
fn the_seed_decides_and_the_number_of_threads_does_not() {
    let cloth = stack(0.6, [layer(5.0, 0.3, 6.0, 0.98, 0.4, 0.2), slab(0.9, 1.0, 0.0)]);
    let run = |seed| spread(&cloth, &LAMBERTIAN, &ring_edges(10.0, 20), 20_000, seed);
    let with_threads = |count| {
        let pool =
            rayon::ThreadPoolBuilder::new().num_threads(count).build().expect("threads can be started");
        pool.install(|| run(160))
    };
    let first = run(160);
    assert_eq!(first, run(160));
    assert_eq!(first, with_threads(1));
    assert_eq!(first, with_threads(5));
    let other = run(161);
    assert!(first.rings.iter().zip(&other.rings).all(|(a, b)| a.radiance != b.radiance));
    assert_ne!(first.scattered_share, other.scattered_share);
}

#[test]
fn the_number_of_photons_is_rounded_up_to_whole_batches() {
    let run = |photons| spread(&stack(0.0, [slab(0.5, 1.0, 0.0)]), &LAMBERTIAN, &[], photons, 1).photons;
    assert_eq!([run(0), run(128), run(129)], [128, 128, 256]);
}
