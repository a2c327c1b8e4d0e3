//! A square grid behind a nearly ideal thin diffuser, through the whole way from a scene to its numbers.
//!
//! The table of an endless grid under an ideal diffuser is asserted in `src/judge/dots.rs`. A real sheet that is thin, dense
//! and clear differs from it in one thing: slanting light gets through less easily, by Chandrasekhar's H. And a real grid
//! has a rim.

use super::scene;
use std::f64::consts::PI;
use weftlight::judge::neighbours::{EvenPlace, neighbourhood};
use weftlight::judge::numbers::Layout;
use weftlight::scene::Scene;

/// Chandrasekhar's H of a half-space that scatters isotropically and absorbs nothing, at the cosines 0, 0.1 … 1
/// (Chandrasekhar, Radiative Transfer (1950), Table XI, to four decimals from memory; the digits by iteration of its equation).
const H: [f64; 11] =
    [1.0, 1.24735, 1.45035, 1.64252, 1.82928, 2.01278, 2.19413, 2.37397, 2.55270, 2.73059, 2.90781];

/// H between the cosines of the table, by a parabola through the nearest three.
fn h(mu: f64) -> f64 {
    let x = 10.0 * mu;
    let i = (x.round() as usize).clamp(1, 9);
    let t = x - i as f64;
    H[i] + 0.5 * t * (H[i + 1] - H[i - 1]) + 0.5 * t * t * (H[i + 1] - 2.0 * H[i] + H[i - 1])
}

/// What a Lambertian point makes of a clear, isotropic, optically thick sheet `height` mm above it, seen from straight ahead at
/// the distance `r`: the irradiance, times the share of light of that slant which comes through, proportional to H.
fn spot(height: f64, r: f64) -> f64 {
    let square = height * height + r * r;
    let mu = height / square.sqrt();
    mu.powi(4) / (PI * height * height) * h(mu) / H[10]
}

const SIDE: usize = 7;
const PITCH_MM: f64 = 10.0;

fn grid(height_mm: f64) -> Scene {
    let at = |i: usize| PITCH_MM * i as f64;
    let points: String = (0..SIDE * SIDE)
        .map(|i| format!("- point: {{at_mm: [{}, {}]}}\n", at(i % SIDE), at(i / SIDE)))
        .collect();
    scene(&format!(
        "board: {{reflectance: 0}}\npixels:\n{points}view: {{room_lx: 0}}\nstack: [{{gap_mm: {height_mm}, cloth: {{name: sheet, \
         thickness_mm: 0.1, optics: {{bulk: {{extinction_per_mm: 200, albedo: 1}}}}}}}}]\n"
    ))
}

/// Ripple and evenness by direct sums over all pixels, at the places between them.
fn by_sums(scene: &Scene, height_mm: f64) -> (f64, f64) {
    let neighbourhood = neighbourhood(&scene.pixels);
    let spread = neighbourhood.spread(&vec![1.0; scene.pixels.len()], |_| [0.0; 2]);
    let even: Vec<EvenPlace> = neighbourhood.even.into_iter().flatten().collect();
    let pixels: Vec<([f64; 2], f64)> = scene.pixels.iter().map(|p| (p.at.map(|x| x.0), 1.0)).collect();
    let sum = |at: [f64; 2], lights: &[([f64; 2], f64)]| -> f64 {
        lights
            .iter()
            .map(|(place, share)| share * spot(height_mm, (at[0] - place[0]).hypot(at[1] - place[1])))
            .sum()
    };
    let values: Vec<[f64; 2]> =
        even.iter().filter(|p| p.between).map(|p| [sum(p.at, &pixels), sum(p.at, &spread)]).collect();
    let greatest = values.iter().map(|v| v[1]).fold(0.0, f64::max);
    // Where the even glow is below half of its greatest value, no dots are counted.
    let ratios = values.iter().filter(|v| v[1] >= 0.5 * greatest).map(|v| v[0] / v[1]);
    let (least, most) = ratios.fold((f64::INFINITY, 0.0f64), |(l, m), r| (l.min(r), m.max(r)));
    let mean = values.iter().map(|v| v[0]).sum::<f64>() / values.len() as f64;
    let darkest = values.iter().map(|v| v[0]).fold(f64::INFINITY, f64::min);
    ((most - least) / (most + least), darkest / mean)
}

#[test]
fn ripple_behind_a_thin_dense_clear_sheet_is_that_of_the_sum_over_the_grid() {
    /// The picture's samples lie 0.55 mm apart at the viewing distance of 2 m; straight lines between them cut a wave as long as
    /// the pitch by up to (2 pi 0.055)^2 / 8.
    const STRAIGHT_LINES: f64 = 0.015;
    /// Rounding of H and of the picture, and the sheet's own tenth of a millimetre.
    const REST: f64 = 2e-4;
    for h_over_p in [0.5, 0.75, 1.0, 1.25, 1.5] {
        let height_mm = h_over_p * PITCH_MM;
        let scene = grid(height_mm);
        let found = Layout::of(&scene).numbers(&scene);
        let (ripple, evenness) = by_sums(&scene, height_mm);
        let error = found.ripple.expect("a grid has ripple") - ripple;
        assert!(error.abs() < STRAIGHT_LINES * ripple + REST, "h/p {h_over_p}: ripple {ripple}, {error} off");
        let error = found.evenness.expect("a grid has evenness") - evenness;
        let allowed = STRAIGHT_LINES * (1.0 - evenness) + REST;
        assert!(error.abs() < allowed, "h/p {h_over_p}: evenness {evenness}, {error} off");
    }
}
