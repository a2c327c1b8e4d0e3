//! The fit on rings that its own model made: does it find the way back, and does it know how well?

use super::tables::{Bench, Radii, spots_at};
use super::*;
use crate::photo::rings::{RingMean, Rings};
use crate::quantity::Millimetres;
use rand::{Rng, RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use std::f64::consts::PI;

const WINDOW: Window = Window::Disc { diameter: Millimetres(2.5) };
const CORE_MM: f64 = 2.0;

fn bench(thickness_mm: f64) -> Bench {
    Bench { thickness_mm, board_reflectance: 0.5, beam_power: 1.0, windows: [WINDOW; COLOURS] }
}

fn subject(thickness_mm: f64, answer: Option<f64>) -> Subject {
    Subject {
        thickness_mm,
        board_reflectance: 0.5,
        beam_power: 1.0,
        windows: [WINDOW; COLOURS],
        answer: [answer.map(|a| (a, second::BARE_SURE)); COLOURS],
        beforehand: Beforehand::default(),
    }
}

/// Two numbers from a normal distribution (Box and Muller).
fn normal(stream: &mut impl Rng) -> f64 {
    let (u, v): (f64, f64) = (stream.random(), stream.random());
    (-2.0 * (1.0 - u).ln()).sqrt() * (2.0 * PI * v).cos()
}

/// A shot of the cloth: true gap, stated gap, camera's answer, noise of the means over the peak.
fn shot(cloth: &ClothNumbers, t: f64, [true_gap, gap]: [f64; 2], answer: f64, noise: f64, seed: u64) -> Shot {
    let mut stream = Pcg64Mcg::seed_from_u64(seed);
    let height = gap + t;
    let radii = Radii::new(height, 10.0 * height);
    let spots = spots_at(&bench(t), cloth, true_gap, &radii);
    let mut edges_mm = vec![0.0, CORE_MM];
    while edges_mm[edges_mm.len() - 1] < 7.0 * height {
        let last = edges_mm[edges_mm.len() - 1];
        edges_mm.push(last + 0.1 * height * (1.0 + 0.2 * last / height));
    }
    let peak = spots.values[1][0] * answer;
    let ring = |c: usize, i: usize, stream: &mut Pcg64Mcg| {
        let [inner, outer] = [edges_mm[i], edges_mm[i + 1]];
        let places_mm: Vec<[f64; 2]> = (0..12)
            .map(|k| (inner * inner + (outer * outer - inner * inner) * (f64::from(k) + 0.5) / 12.0).sqrt())
            .map(|r| [r, 0.0])
            .collect();
        let value =
            |r: f64| -> f64 { radii.weights(r).iter().zip(&spots.values[c]).map(|(w, v)| w * v).sum() };
        let mean = places_mm.iter().map(|p| value(p[0])).sum::<f64>() / 12.0;
        let direct = if i == 0 { spots.direct / PI / (PI * CORE_MM * CORE_MM) } else { 0.0 };
        RingMean {
            mean: answer * (mean + direct) + 0.003 + noise * peak * normal(stream),
            standard_error: noise.max(1e-4) * peak,
            pixels: 1000,
            covered: 1.0,
            places_mm,
        }
    };
    let channels =
        std::array::from_fn(|c| (0..edges_mm.len() - 1).map(|i| ring(c, i, &mut stream)).collect());
    Shot {
        gap_mm: gap,
        gap_sure_mm: 0.3,
        scale_sure: 0.01,
        exposure: 1.0,
        exposure_sure: 0.03,
        lit: Lit::White,
        rings: Rings { edges_mm, channels, slope_per_mm: [[0.0; 2]; 3] },
        centres_mm: vec![[0.0; 2]],
    }
}

const CLOTHS: [(&str, f64, ClothNumbers); 4] = [
    (
        "felt",
        1.0,
        ClothNumbers { scattering: 4.0, absorption: [0.02, 0.03, 0.05], openness: 0.0, asymmetry: 0.72 },
    ),
    (
        "red",
        1.5,
        ClothNumbers { scattering: 6.0, absorption: [0.05, 1.5, 2.0], openness: 0.0, asymmetry: 0.72 },
    ),
    (
        "muslin",
        0.3,
        ClothNumbers { scattering: 1.2, absorption: [0.01, 0.01, 0.02], openness: 0.08, asymmetry: 0.72 },
    ),
    (
        "navy",
        0.4,
        ClothNumbers { scattering: 2.0, absorption: [1.5, 1.2, 0.5], openness: 0.02, asymmetry: 0.72 },
    ),
];

#[test]
fn the_way_back_is_found_when_nothing_is_hidden() {
    for (name, t, cloth) in CLOTHS {
        let shots = [shot(&cloth, t, [1.5, 1.5], 50.0, 0.0, 1), shot(&cloth, t, [8.0, 8.0], 50.0, 0.0, 2)];
        let start = std::time::Instant::now();
        let found = fit(&subject(t, Some(50.0)), &shots).expect("fits");
        let certainty = found.certainty();
        println!(
            "{name}: {:?} chi {} settled {} {} {:.2?}",
            found.cloth,
            found.reduced_chi_square,
            found.settled,
            found.minimum.steps,
            start.elapsed()
        );
        println!("   {:?}", certainty);
        let start = std::time::Instant::now();
        println!("   {:?} {:.2?}", found.further(), start.elapsed());
    }
}
