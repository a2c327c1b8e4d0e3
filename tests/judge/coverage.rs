//! Do the stated ranges hold the truth as often as they claim?
//!
//! A cloth's uncertainty says how far its true optics may lie from the stated ones: optical thickness and openness times
//! `exp(ln(1 + u) z)`, z standard normal ([`weftlight::judge::numbers`]). Here many cloths are stated, the truth behind each is
//! drawn from that law, photons find what the true cloth does, and the stated range must hold it four times in five.
//!
//! A range is read off few samples, so what it covers of the law differs from cloth to cloth. That share is computed here for each
//! cloth from the range itself (a smooth function through the samples gives the number anywhere in the law), and the count
//! of truths that the ranges hold must agree with it as a binomial count does. That the shares themselves are what is
//! claimed is another test.

use super::scene;
use nalgebra::{DMatrix, DVector};
use pxfm::f_erfinv;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::f64::consts::{PI, SQRT_2};
use std::sync::{Arc, LazyLock};
use weftlight::judge::numbers::{Judged, LOW_QUANTILE, Layout, Numbers, SAMPLES};
use weftlight::light::photons::Estimate;
use weftlight::light::spots::spots;
use weftlight::light::{Source, Stack, Window, photons};
use weftlight::pixels::package::{Die, Package};
use weftlight::quantity::Nanometres;
use weftlight::scene::Scene;

/// What a range claims: from the 10th to the 90th percentile.
const CLAIM: f64 = 1.0 - 2.0 * LOW_QUANTILE;
/// Cloths tried.
const CLOTHS: usize = 200;
/// A count further out than this on either side happens once in 2000 times.
const TAIL: f64 = 0.0005;
/// Photons for each cloth: they find the light kept to about 0.3 % and the middle of the spot to about 4 %. Ranges are some 10 % and
/// 25 % wide, and the noise is part of the share that a range is expected to hold.
const PHOTONS: u64 = 20_000;
/// Optical thickness from which on the spot is found well enough for its range (see the ignored test).
const DENSE: f64 = 4.0;
/// Radius of the disc in the middle of the spot in which photons are gathered, over the height of the stack.
const MIDDLE: f64 = 0.2;

/// Quantile of the standard normal law.
fn quantile(p: f64) -> f64 {
    SQRT_2 * f_erfinv(2.0 * p - 1.0)
}

/// One lonely ideal red pixel (a narrow band needs few wavelengths) of one lumen behind a cloth written in place, in a dark room.
fn lonely(gap_mm: f64, thickness_mm: f64, bulk: [f64; 4], uncertainty: [f64; 2]) -> Scene {
    let [tau, albedo, asymmetry, openness] = bulk;
    let mut scene = scene(&format!(
        "pixels: [point: {{}}]\nview: {{room_lx: 0}}\nstack:\n- gap_mm: {gap_mm}\n  cloth:\n    name: drawn\n    \
         thickness_mm: {thickness_mm}\n    optics: {{bulk: {{extinction_per_mm: {}, albedo: {albedo}, asymmetry: {asymmetry}, \
         openness: {openness}}}}}\n    uncertainty: {{optical_thickness: {}, openness: {}}}\n",
        tau / thickness_mm,
        uncertainty[0],
        uncertainty[1]
    ));
    let mut package = Package::ideal(1.0);
    package.dies[0].die = Die::Red;
    package.dies[0].dominant = Nanometres(620.0);
    scene.pixels[0].package = Arc::new(package);
    scene
}

/// A cloth as a label estimate would give it, with any uncertainty that may be stated.
fn any_cloth(random: &mut Pcg64) -> Scene {
    let tau = random.random_range(1f64.ln()..15f64.ln()).exp();
    let albedo = 1.0 - random.random_range(1e-4f64.ln()..0.02f64.ln()).exp();
    let openness = if random.random_bool(0.5) { 0.0 } else { random.random_range(0.0..0.4) };
    lonely(
        random.random_range(2.0..10.0),
        random.random_range(0.2..3.0),
        [tau, albedo, random.random_range(0.65..0.77), openness],
        [random.random_range(0.2..0.5), random.random_range(0.0..0.5)],
    )
}

/// A true cloth behind a stated one.
fn truth(scene: &Scene, random: &mut Pcg64) -> Stack {
    /// As the definition of the ranges has it.
    const MOST_OPEN: f64 = 0.98;
    let mut stack = scene.stack_at(Nanometres(560.0));
    for (layer, placed) in stack.layers.iter_mut().zip(&scene.stack) {
        let mut factor = |u: f64| (u.ln_1p() * standard_normal(random)).exp();
        let u = placed.cloth.uncertainty;
        layer.optics.extinction.0 *= factor(u.optical_thickness);
        layer.optics.openness = (layer.optics.openness * factor(u.openness)).min(MOST_OPEN);
    }
    stack
}

/// Box and Muller (1958), from memory.
fn standard_normal(random: &mut Pcg64) -> f64 {
    let (u, v): (f64, f64) = (1.0 - random.random::<f64>(), random.random());
    (-2.0 * u.ln()).sqrt() * (2.0 * PI * v).cos()
}

/// The standard normal scores behind the samples of a range: of optical thickness and of openness, sample by sample, read
/// off two scenes whose light kept has a closed form.
fn scores() -> Vec<[f64; 2]> {
    const U: f64 = 0.4;
    const OPENNESS: f64 = 0.1;
    let sampled = |scene: &Scene| Layout::of(scene).judged(scene).samples;
    let kept = |scene: &Scene| sampled(scene).iter().map(|n| n.light_kept).collect::<Vec<_>>();
    // Nothing is scattered: light kept is the unscattered share 2 E3(tau) of a Lambertian source, found here by quadrature.
    let closed = kept(&lonely(5.0, 1.0, [1.0, 0.0, 0.0, 0.0], [U, U]));
    let unscattered = |tau: f64| {
        const STEPS: usize = 4000;
        let at = |i: usize| (i as f64 + 0.5) / STEPS as f64;
        (0..STEPS).map(|i| 2.0 * at(i) * (-tau / at(i)).exp()).sum::<f64>() / STEPS as f64
    };
    let tau_of = |share: f64| {
        let (mut low, mut high) = (0.0, 50.0);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if unscattered(middle) > share { low = middle } else { high = middle }
        }
        0.5 * (low + high)
    };
    // Nothing but holes lets light through.
    let holes = kept(&lonely(5.0, 1.0, [150.0, 0.0, 0.0, OPENNESS], [U, U]));
    closed
        .iter()
        .zip(&holes)
        .map(|(&c, &h)| [tau_of(c).ln() / U.ln_1p(), (h / OPENNESS).ln() / U.ln_1p()])
        .collect()
}

/// A stated cloth, its ranges, and what photons find behind the true one.
struct Trial {
    judged: Judged,
    optical_thickness: f64,
    light_kept: Estimate,
    middle: Estimate,
}

fn trial(number: u64, random: &mut Pcg64) -> Trial {
    let scene = any_cloth(random);
    let stack = truth(&scene, random);
    let radius = MIDDLE * stack.height().0;
    let source = Source { beam_power: 1.0, window: Window::Point };
    let seen = photons::spread(&stack, &source, &[0.0, radius], PHOTONS, number);
    // Peak luminance belongs to the very middle; how much darker the disc around it is on average, the spot's own shape tells.
    let spot = spots(std::slice::from_ref(&stack), source.beam_power).remove(0);
    let peaked =
        spot.at_radii(source.window, &[0.0])[0] / spot.over_rings(source.window, &[[0.0, radius]])[0];
    /// One lumen in 1/mm2 and sr, in cd/m2.
    const PER_SQUARE_METRE: f64 = 1e6;
    let middle = seen.rings[0].radiance;
    Trial {
        judged: Layout::of(&scene).judged(&scene),
        optical_thickness: scene.stack_at(Nanometres(560.0)).layers[0].optical_thickness(),
        light_kept: Estimate {
            value: seen.direct_share.value + seen.scattered_share.value,
            standard_error: seen.direct_share.standard_error.hypot(seen.scattered_share.standard_error),
        },
        middle: Estimate {
            value: PER_SQUARE_METRE * peaked * middle.value,
            standard_error: PER_SQUARE_METRE * peaked * middle.standard_error,
        },
    }
}

static TRIALS: LazyLock<Vec<Trial>> = LazyLock::new(|| {
    let mut random = Pcg64::seed_from_u64(5);
    (0..CLOTHS as u64).map(|number| trial(number, &mut random)).collect()
});

static SCORES: LazyLock<Vec<[f64; 2]>> = LazyLock::new(scores);

/// The share of the stated law that the range of a number holds, when the number is found with a relative error `noise`.
///
/// The logarithm of the number is taken as a polynomial of second degree in the two scores, through the samples by least
/// squares.
fn share_held(judged: &Judged, pick: fn(&Numbers) -> f64, noise: f64) -> f64 {
    /// Places in the law along each score, at equal steps of probability, and in the noise.
    const STEPS: usize = 60;
    const NOISE_STEPS: usize = 9;
    let terms = |z: [f64; 2]| [1.0, z[0], z[1], z[0] * z[0], z[0] * z[1], z[1] * z[1]];
    let rows: Vec<f64> = SCORES.iter().flat_map(|&z| terms(z)).collect();
    let logs = DVector::from_iterator(SCORES.len(), judged.samples.iter().map(|n| pick(n).ln()));
    let matrix = DMatrix::from_row_slice(SCORES.len(), 6, &rows);
    let fit =
        matrix.svd(true, true).solve(&logs, 1e-9).expect("both sides of the decomposition were asked for");
    let range = judged.range(pick);
    let middles = |steps: usize| -> Vec<f64> {
        (0..steps).map(|i| quantile((i as f64 + 0.5) / steps as f64)).collect()
    };
    let (places, errors) = (middles(STEPS), middles(NOISE_STEPS));
    let mut held = 0;
    for (z0, z1) in places.iter().flat_map(|&z0| places.iter().map(move |&z1| (z0, z1))) {
        let log: f64 = terms([z0, z1]).iter().zip(fit.iter()).map(|(t, c)| t * c).sum();
        let number = log.exp();
        held += errors
            .iter()
            .filter(|e| (range.low..=range.high).contains(&(number * (1.0 + noise * *e))))
            .count();
    }
    held as f64 / (STEPS * STEPS * NOISE_STEPS) as f64
}

/// The counts out of `n` at chance `p` that are not further out than `tail` on either side.
fn binomial_counts(n: usize, p: f64, tail: f64) -> std::ops::RangeInclusive<usize> {
    let mut chance = (1.0 - p).powi(n as i32);
    let (mut sum, mut low, mut high) = (0.0, None, n);
    for k in 0..=n {
        sum += chance;
        if low.is_none() && sum > tail {
            low = Some(k);
        }
        if sum >= 1.0 - tail {
            high = k;
            break;
        }
        chance *= (n - k) as f64 / (k + 1) as f64 * p / (1.0 - p);
    }
    low.unwrap_or(0)..=high
}

/// Counts the trials whose range holds what photons found, against what the ranges should hold.
fn holds_as_often_as_expected(
    what: &str,
    trials: &[&Trial],
    pick: fn(&Numbers) -> f64,
    found: fn(&Trial) -> Estimate,
) {
    let held = trials
        .iter()
        .filter(|trial| {
            let range = trial.judged.range(pick);
            (range.low..=range.high).contains(&found(trial).value)
        })
        .count();
    let relative_error = |t: &Trial| found(t).standard_error / found(t).value;
    let expected = trials.iter().map(|t| share_held(&t.judged, pick, relative_error(t))).sum::<f64>()
        / trials.len() as f64;
    // Chances that differ from cloth to cloth scatter less than the binomial law of their mean (Hoeffding 1956, from memory).
    let counts = binomial_counts(trials.len(), expected, TAIL);
    println!("{what}: {held} of {} held, {expected:.3} expected, {counts:?} allowed", trials.len());
    assert!(counts.contains(&held), "{what}: {held} of {} held, {expected:.3} expected", trials.len());
}

#[test]
fn binomial_counts_have_the_handbook_values() {
    // 10 throws of a coin: at most 1 head 11/1024, at most 2 heads 56/1024 (Pascal's triangle).
    assert_eq!(binomial_counts(10, 0.5, 10.5 / 1024.0), 1..=9);
    assert_eq!(binomial_counts(10, 0.5, 11.5 / 1024.0), 2..=8);
    assert_eq!(binomial_counts(200, 0.8, TAIL), 141..=178);
}

#[test]
fn the_samples_are_a_latin_hypercube_of_the_stated_law() {
    // One sample in each of equally probable strata, for optical thickness and for openness.
    let edges: Vec<f64> = (1..SAMPLES).map(|i| quantile(i as f64 / SAMPLES as f64)).collect();
    for which in 0..2 {
        let mut strata: Vec<usize> =
            SCORES.iter().map(|z| edges.partition_point(|edge| *edge <= z[which])).collect();
        strata.sort_unstable();
        assert_eq!(strata, (0..SAMPLES).collect::<Vec<_>>(), "score {which}");
    }
}

#[test]
fn ranges_of_light_kept_hold_what_photons_find() {
    let all: Vec<&Trial> = TRIALS.iter().collect();
    holds_as_often_as_expected("light kept", &all, |n| n.light_kept, |t| t.light_kept);
}

#[test]
fn ranges_of_the_spot_behind_dense_cloth_hold_what_photons_find() {
    let dense: Vec<&Trial> = TRIALS.iter().filter(|t| t.optical_thickness >= DENSE).collect();
    assert!(dense.len() >= CLOTHS / 3);
    holds_as_often_as_expected("middle, dense cloth", &dense, |n| n.peak_cd_m2, |t| t.middle);
}

#[test]
fn ranges_of_the_spot_behind_thin_cloth_hold_what_photons_find() {
    let thin: Vec<&Trial> = TRIALS.iter().filter(|t| t.optical_thickness < DENSE).collect();
    holds_as_often_as_expected("middle, thin cloth", &thin, |n| n.peak_cd_m2, |t| t.middle);
}

#[test]
fn ranges_cover_what_they_claim_of_the_stated_law() {
    /// Each end of a range is good to half a sample's share of the law, and the ends of many cloths err independently.
    const HALF_A_SAMPLE: f64 = 0.5 / SAMPLES as f64;
    let mean = |pick: fn(&Numbers) -> f64| {
        TRIALS.iter().map(|t| share_held(&t.judged, pick, 0.0)).sum::<f64>() / CLOTHS as f64
    };
    let covered = mean(|n| n.light_kept);
    println!("light kept: {covered:.4} of the law; middle: {:.4}", mean(|n| n.peak_cd_m2));
    assert!((covered - CLAIM).abs() < HALF_A_SAMPLE, "{covered} of the law is covered, {CLAIM} claimed");
}
