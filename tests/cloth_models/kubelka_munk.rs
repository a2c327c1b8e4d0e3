//! Thick cloth against the closed forms of Kubelka and Munk.
//!
//! Layer: Kubelka, Journal of the Optical Society of America 38 (1948) 448; endless layer: Kubelka & Munk, Zeitschrift für technische
//! Physik 12 (1931) 593. Link to transport, `K = 2 mu_a`, `S = 3/4 mu_s (1 - g) - 1/4 mu_a`: van Gemert & Star, Lasers in the Life
//! Sciences 1 (1987) 287 (all from memory; the formulas seen in second-hand programs).

use super::near;
use weftlight::cloth::label::reflectance::Folded;
use weftlight::light::Optics;
use weftlight::light::sheet::{Quadrature, Sheet};
use weftlight::quantity::PerMillimetre;

/// Asymmetry of fibres.
const FIBRES: f64 = 0.7;

/// Reflectance before black and transmittance of a layer.
fn layer(s: f64, k: f64, x: f64) -> (f64, f64) {
    if k == 0.0 {
        return (s * x / (1.0 + s * x), 1.0 / (1.0 + s * x));
    }
    let a = 1.0 + k / s;
    let b = (a * a - 1.0).sqrt();
    let (sinh, cosh) = ((b * s * x).sinh(), (b * s * x).cosh());
    let below = a * sinh + b * cosh;
    (sinh / below, b / below)
}

/// Reflectance of an endless layer.
fn endless(s: f64, k: f64) -> f64 {
    let a = 1.0 + k / s;
    a - (a * a - 1.0).sqrt()
}

/// `S` and `K` in units of the extinction.
fn coefficients(albedo: f64, asymmetry: f64) -> (f64, f64) {
    (0.75 * albedo * (1.0 - asymmetry) - 0.25 * (1.0 - albedo), 2.0 * (1.0 - albedo))
}

fn sheet(albedo: f64, asymmetry: f64, tau: f64) -> Sheet {
    let optics = Optics { extinction: PerMillimetre(1.0), albedo, asymmetry, openness: 0.0 };
    Sheet::of_layer(&optics, tau, &Quadrature::new(24, &[]))
}

/// The closed forms as they are used below, at worked numbers (computed elsewhere to six decimals; no printed example is known).
#[test]
fn closed_forms_at_worked_numbers() {
    const SIX: f64 = 6e-7;
    for (s, k, x, r0, t, over_08, r_endless) in [
        (1.0, 0.0, 1.0, 0.5, 0.5, 0.833_333, 1.0),
        (1.0, 0.1, 1.0, 0.461_034, 0.445_284, 0.712_347, 0.641_742),
        (2.0, 0.02, 1.0, 0.656_457, 0.323_871, 0.833_180, 0.868_226),
        (1.0, 1.0, 1.0, 0.260_147, 0.164_589, 0.287_514, 0.267_949),
    ] {
        let (r, through) = layer(s, k, x);
        near("R0", r, r0, SIX);
        near("T", through, t, SIX);
        near("over 0.8", r + through * through * 0.8 / (1.0 - 0.8 * r), over_08, SIX);
        near("endless", endless(s, k), r_endless, SIX);
        if k > 0.0 {
            near("K/S from R", (1.0 - r_endless).powi(2) / (2.0 * r_endless), k / s, 5.0 * SIX);
        }
    }
}

/// Without absorption, light from all sides: transport gives `(4/3) / (tau' + 2 q)` with Milne's q = 0.7104 (Chandrasekhar, Radiative
/// Transfer, section 14), Kubelka and Munk `(4/3) / (tau' + 4/3)`: they meet as the cloth grows thick.
#[test]
fn thick_white_cloth_lets_through_what_kubelka_and_munk_say() {
    /// Nodes of the adding-doubling and the last decimal of q.
    const MILNE: f64 = 2e-3;
    const Q: f64 = 0.7104;
    for reduced in [5.0, 10.0, 20.0, 50.0] {
        for asymmetry in [0.0, FIBRES] {
            let through = sheet(1.0, asymmetry, reduced / (1.0 - asymmetry)).transmitted_diffuse();
            let milne = 4.0 / 3.0 / (reduced + 2.0 * Q);
            near(&format!("g {asymmetry} tau' {reduced}"), through / milne, 1.0, MILNE);
            let (_, kubelka_munk) = layer(0.75, 0.0, reduced);
            // The difference of 2 q and 4/3, over the thickness.
            let gap = (2.0 * Q - 4.0 / 3.0) / (reduced + 4.0 / 3.0);
            near(&format!("g {asymmetry} tau' {reduced}, limit"), kubelka_munk / through - 1.0, gap, MILNE);
        }
    }
}

/// An endlessly folded cloth reflects `1 - 4 s / sqrt(3) + O(s^2)` by either, `s^2 = (1 - a) / (1 - a g)`.
#[test]
fn folded_cloth_reflects_what_kubelka_and_munk_say() {
    /// The terms of second order in s, in which the two differ.
    const SECOND_ORDER: f64 = 1.0;
    for asymmetry in [0.0, FIBRES] {
        let folded = Folded::new(asymmetry);
        for reflectance in [0.75, 0.8, 0.85, 0.9, 0.95, 0.97] {
            let albedo = folded.albedo(reflectance);
            let (s, k) = coefficients(albedo, asymmetry);
            let small = (1.0 - albedo) / (1.0 - albedo * asymmetry);
            near(&format!("g {asymmetry} R {reflectance}"), endless(s, k), reflectance, SECOND_ORDER * small);
        }
    }
}

/// Thick cloth that absorbs a little, light from all sides.
#[test]
fn thick_light_cloth_agrees_with_kubelka_and_munk() {
    /// What Milne's q and the second order leave at these thicknesses, over the value.
    const THICK: f64 = 0.02;
    for (reduced, albedo) in [(5.0, 0.9995), (10.0, 0.999), (10.0, 0.9998), (20.0, 0.9995)] {
        let exact = sheet(albedo, FIBRES, reduced / (1.0 - FIBRES));
        let (s, k) = coefficients(albedo, FIBRES);
        let (r, t) = layer(s, k, reduced / (1.0 - FIBRES));
        near("T", t / exact.transmitted_diffuse(), 1.0, THICK);
        near("R", r / exact.reflected_diffuse(), 1.0, THICK);
    }
}
