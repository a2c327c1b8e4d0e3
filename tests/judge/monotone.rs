//! What must hold for any cloth.

use super::scene;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use weftlight::judge::numbers::{Layout, Numbers};
use weftlight::scene::Scene;

/// A cloth written in place, without holes.
fn closed(thickness_mm: f64, tau: f64, albedo: f64, asymmetry: f64) -> String {
    format!(
        "{{name: drawn, thickness_mm: {thickness_mm}, areal_mass_g_m2: {}, optics: {{bulk: {{extinction_per_mm: {}, \
         albedo: {albedo}, asymmetry: {asymmetry}}}}}}}",
        100.0 * thickness_mm,
        tau / thickness_mm
    )
}

fn numbers(scene: &Scene) -> Numbers {
    Layout::of(scene).numbers(scene)
}

/// All numbers of a scene with neighbouring pixels but thickness and mass, with their names.
fn listed(n: &Numbers) -> [(&'static str, f64); 9] {
    let there = |number: Option<f64>| number.expect("a number of a scene with cloth and neighbouring pixels");
    [
        ("light kept", n.light_kept),
        ("mean luminance", n.mean_cd_m2),
        ("peak luminance", n.peak_cd_m2),
        ("contrast with the room", n.contrast_with_room),
        ("spot width", there(n.spot_width_mm)),
        ("evenness", there(n.evenness)),
        ("ripple", there(n.ripple)),
        ("dot visibility", there(n.dot_visibility)),
        ("colour shift", there(n.colour_shift)),
    ]
}

fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20),
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(cases(15))]

    /// Of cloth that hides its pixels. Where the bare light shows, be it through holes or as the trace that thin or dark cloth lets
    /// straight through, the glow fades with the gap and the bare light does not, so ripple rises; that is no defect. At optical
    /// thickness 30 and albedo 0.97 the trace is below a hundred-thousandth of the glow.
    #[test]
    fn more_gap_never_raises_ripple(
        thickness_mm in 0.35..4.0_f64,
        tau in 30.0..60.0_f64,
        albedo in 0.97..0.9999_f64,
        asymmetry in 0.0..0.8_f64,
        pitch_mm in 4.0..35.0_f64,
        strip: bool,
    ) {
        /// Single precision of the pictures.
        const ROUNDING: f64 = 1e-5;
        let group = if strip { "strip: {count: 12" } else { "grid: {columns: 5, rows: 5" };
        let scene = scene(&format!(
            "pixels: [{group}, pitch_mm: {pitch_mm}}}]\nstack: [{{gap_mm: 1, cloth: {}}}]\n",
            closed(thickness_mm, tau, albedo, asymmetry)
        ));
        let gaps = [0.2, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0].map(|pitches| pitches * pitch_mm);
        let over_gaps = Layout::of(&scene).numbers_over_gaps(&scene, &gaps);
        let ripple: Vec<f64> = over_gaps.iter().filter_map(|n| n.ripple).collect();
        prop_assert_eq!(ripple.len(), gaps.len());
        prop_assert!(ripple.windows(2).all(|pair| pair[1] <= pair[0] + ROUNDING), "{:?}", ripple);
    }
}

proptest! {
    #![proptest_config(cases(40))]

    #[test]
    fn more_mass_never_raises_light_kept(
        fibre in prop::sample::select(vec!["cotton", "wool", "silk", "viscose", "polyester", "acrylic"]),
        structure in prop::sample::select(vec!["felt", "woven", "knit", "sheer", "mesh", "wadding"]),
        colour in 0_u32..0x100_0000,
        thickness_mm in 0.1..10.0_f64,
        solid in 0.002..0.4_f64,
        more in 1.01..3.0_f64,
        board in 0.0..1.0_f64,
    ) {
        /// Where cloth is opaque but for its holes, both are the same but for the rounding of some twenty doublings.
        const ROUNDING: f64 = 1e-9;
        let kept = |mass: f64| {
            let scene = scene(&format!(
                "board: {{reflectance: {board}}}\npixels: [point: {{}}]\nstack:\n- gap_mm: 5\n  cloth:\n    name: drawn\n    \
                 thickness_mm: {thickness_mm}\n    areal_mass_g_m2: {mass}\n    optics: {{label: {{fibre: {fibre}, structure: \
                 {structure}, colour: \"#{colour:06x}\"}}}}\n"
            ));
            numbers(&scene).light_kept
        };
        // The heavier cloth is solid to that share (open structures cover less than half of their area), at the density of the
        // lightest of these fibres (acrylic, 1.19 g/cm3). Files know no cloth below 1 g/m2.
        let mass = (1190.0 * solid * thickness_mm).max(more);
        let (light, heavy) = (kept(mass / more), kept(mass));
        prop_assert!(heavy <= light + ROUNDING, "{} at {} g/m2, {} at {}", light, mass / more, heavy, mass);
    }
}

/// The numbers of a short strip behind one cloth of double thickness, and behind the single one twice in contact.
fn once_and_twice(thickness_mm: f64, tau: f64, albedo: f64, asymmetry: f64, gap_mm: f64) -> [Numbers; 2] {
    let double = closed(2.0 * thickness_mm, 2.0 * tau, albedo, asymmetry);
    let single = closed(thickness_mm, tau, albedo, asymmetry);
    let stacks = [
        format!("{{gap_mm: {gap_mm}, cloth: {double}}}"),
        format!("{{gap_mm: {gap_mm}, cloth: {single}}}, {{gap_mm: 0, cloth: {single}}}"),
    ];
    stacks.map(|stack| {
        numbers(&scene(&format!("pixels: [strip: {{pitch_mm: 12, count: 6}}]\nstack: [{stack}]\n")))
    })
}

proptest! {
    #![proptest_config(cases(12))]

    #[test]
    fn isotropic_cloth_twice_in_contact_is_one_of_double_thickness(
        thickness_mm in 0.1..2.0_f64,
        tau in 0.3..8.0_f64,
        albedo in 0.7..0.9999_f64,
        gap_mm in 2.0..15.0_f64,
    ) {
        /// Relative: two layers of 16 nodes against one; up to 2e-4 was measured over 125 draws, in spot width and evenness.
        const SOLVER: f64 = 1e-3;
        let [once, twice] = once_and_twice(thickness_mm, tau, albedo, 0.0, gap_mm);
        for ((what, a), (_, b)) in listed(&once).into_iter().zip(listed(&twice)) {
            // The solver is exact to a share of the peak, and evenness is that of the darkest place in the mean.
            let allowed = match what {
                "evenness" => SOLVER * once.peak_cd_m2 / once.mean_cd_m2,
                _ => SOLVER * a.abs().max(1e-3),
            };
            prop_assert!((b - a).abs() <= allowed, "{}: {} once, {} twice", what, a, b);
        }
        prop_assert!((once.thickness_mm - twice.thickness_mm).abs() < 1e-9);
        prop_assert!((once.areal_mass_g_m2.unwrap() - twice.areal_mass_g_m2.unwrap()).abs() < 1e-9);
    }

    #[test]
    fn fibrous_cloth_twice_in_contact_is_one_of_double_thickness(
        thickness_mm in 0.1..2.0_f64,
        tau in 0.3..8.0_f64,
        albedo in 0.7..0.9999_f64,
        asymmetry in 0.0..0.8_f64,
        gap_mm in 2.0..15.0_f64,
    ) {
        /// Relative: forward scattering puts each layer on its middle plane and is promised to 4 % of the peak.
        const FORWARD: f64 = 0.04;
        /// At half its height a spot falls by 0.9 of its peak per height of the stack and is 1.3 heights wide (closed form under an
        /// ideal diffuser): 4 % of the peak at the middle and at the flank move the width by a tenth.
        const WIDTH: f64 = 0.1;
        /// Light kept comes by adding-doubling, which knows nothing of planes.
        const DOUBLING: f64 = 1e-5;
        let [once, twice] = once_and_twice(thickness_mm, tau, albedo, asymmetry, gap_mm);
        prop_assert!((twice.light_kept / once.light_kept - 1.0).abs() < DOUBLING);
        for ((what, a), (_, b)) in listed(&once).into_iter().zip(listed(&twice)) {
            // Ripple and dot visibility are small differences of the glow: they are held to a share of the glow.
            let allowed = match what {
                "spot width" => WIDTH * a,
                "evenness" => FORWARD * once.peak_cd_m2 / once.mean_cd_m2,
                "ripple" => FORWARD,
                "dot visibility" => FORWARD * a / once.ripple.unwrap().min(1.0),
                _ => FORWARD * a.abs().max(1e-3),
            };
            prop_assert!((b - a).abs() <= allowed, "{}: {} once, {} twice", what, a, b);
        }
    }

    /// Everything twice as large (gap, cloth, pitch, distance) and four times the light looks the same.
    #[test]
    fn only_proportions_matter(
        thickness_mm in 0.1..2.0_f64,
        tau in 0.3..8.0_f64,
        albedo in 0.7..0.9999_f64,
        asymmetry in 0.0..0.8_f64,
        gap_mm in 3.0..15.0_f64,
        pitch_mm in 5.0..20.0_f64,
        times in 1.2..3.0_f64,
    ) {
        /// Relative: single precision of the pictures.
        const ROUNDING: f64 = 1e-3;
        let at = |size: f64| {
            let points: String = (0..6)
                .map(|i| {
                    let (x, level) = (size * pitch_mm * f64::from(i), 0.1 * size * size);
                    format!("- point: {{at_mm: [{x}, 0], level: {level}}}\n")
                })
                .collect();
            numbers(&scene(&format!(
                "pixels:\n{points}stack: [{{gap_mm: {}, cloth: {}}}]\nview: {{distance_m: {}}}\n",
                size * gap_mm,
                closed(size * thickness_mm, tau, albedo, asymmetry),
                1.5 * size
            )))
        };
        let (small, large) = (at(1.0), at(times));
        for ((what, a), (_, b)) in listed(&small).into_iter().zip(listed(&large)) {
            let a = if what == "spot width" { times * a } else { a };
            prop_assert!((b - a).abs() <= ROUNDING * a.abs().max(1e-3), "{}: {} small, {} large", what, a, b);
        }
    }
}
