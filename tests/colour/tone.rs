//! Exposure and tone.

use super::{ROUNDING, hue_deg, numbers, package, rows};
use proptest::prelude::*;
use weftlight::light::spectrum::{Xyz, die_spectrum, xyz_of};
use weftlight::picture::colour::oklab::oklab;
use weftlight::picture::colour::{linear_srgb, white};
use weftlight::picture::exposure::{EV_MAX, EV_MIN, ExposureValue, automatic, resolve};
use weftlight::picture::tone::{Development, HEADROOM, ToneCurve, pq_code, pq_luminance};
use weftlight::scene::Exposure;

#[test]
fn exposure_follows_its_definition() {
    // ISO 12232: 78/(100 x 0.65) = 1.2 cd/m2 at EV 0, doubling with each step.
    assert!((ExposureValue(0.0).full_scale().0 - 78.0 / 65.0).abs() < ROUNDING);
    assert!((ExposureValue(9.0).full_scale().0 - 614.4).abs() < 1e-9);
    let there_and_back = ExposureValue::for_full_scale(ExposureValue(7.3).full_scale());
    assert!((there_and_back.0 - 7.3).abs() < ROUNDING);
}

#[test]
fn the_automatic_exposure_is_made_for_the_glow() {
    // 1000 image pixels: a glow of 96 cd/m2 on a fifth of them, the rest dim, four bare dies of a million.
    let mut picture = vec![0.5_f32; 796];
    picture.extend(vec![96.0_f32; 200]);
    picture.extend(vec![1e6_f32; 4]);
    let ev = automatic([picture.as_slice()]);
    // 96/1.2 = 80, log2 = 6.3219, up to the next tenth.
    assert_eq!(ev, ExposureValue(6.4));
    assert_eq!(ev.to_string(), "EV 6.4");
    // Beside a brighter picture the brighter one decides; a fixed exposure is taken as it is.
    let brighter = vec![400.0_f32; 50];
    assert_eq!(
        resolve(Exposure::Auto, [picture.as_slice(), brighter.as_slice()]),
        automatic([brighter.as_slice()])
    );
    assert_eq!(resolve(Exposure::Fixed(3.25), [picture.as_slice()]), ExposureValue(3.25));
}

#[test]
fn dark_and_odd_pictures_get_a_sound_exposure() {
    assert_eq!(automatic([[0.0_f64; 100].as_slice()]), ExposureValue(EV_MIN));
    assert_eq!(automatic([[].as_slice() as &[f64]]), ExposureValue(EV_MIN));
    assert_eq!(automatic(Vec::<&[f64]>::new()), ExposureValue(EV_MIN));
    assert_eq!(automatic([[f64::NAN, f64::INFINITY, 2.4].as_slice()]), ExposureValue(1.0));
    assert_eq!(automatic([[1e30_f64; 10].as_slice()]), ExposureValue(EV_MAX));
}

proptest! {
    #[test]
    fn twice_the_light_is_one_step_more(v in 1.0..1e5_f64) {
        let one = automatic([[v].as_slice()]);
        let two = automatic([[2.0 * v].as_slice()]);
        prop_assert!((two.0 - one.0 - 1.0).abs() < 1e-9);
        // Rounded to the darker picture: never above full scale, and less than a tenth of a step below.
        let share = v / one.full_scale().0;
        prop_assert!(share <= 1.0 + 1e-8 && share > (-0.1_f64).exp2() - 1e-9);
    }
}

#[test]
fn the_quantiser_has_the_published_values() {
    // SMPTE ST 2084 / ITU-R BT.2100 by colour-science: codes of 100, 1000 and 10000 cd/m2.
    for (luminance, code) in [(100.0, 0.508_078_421_5), (1000.0, 0.751_827_096_3), (10_000.0, 1.0)] {
        assert!((pq_code(luminance) - code).abs() < 1e-9, "{luminance}: {}", pq_code(luminance));
        assert!((pq_luminance(code) / luminance - 1.0).abs() < 1e-7);
    }
}

#[test]
fn the_tone_curve_agrees_with_the_same_equations_elsewhere() {
    // Ten digits printed; through the quantiser and back some 1e-9 are lost where the curve is steep.
    for row in rows(include_str!("../reference/tone_curve.csv")) {
        let v = numbers(&row);
        let found = ToneCurve::new(v[0]).apply(v[1]);
        assert!((found - v[2]).abs() < 1e-8, "{row:?}: {found}");
    }
}

proptest! {
    #[test]
    fn the_tone_curve_rises_and_ends_at_one(headroom in 1.0..100.0_f64, a in 0.0..200.0_f64, more in 0.0..200.0_f64) {
        let curve = ToneCurve::new(headroom);
        let (low, high) = (curve.apply(a), curve.apply(a + more));
        // The quantiser there and back is rounded to some 1e-12.
        prop_assert!(high >= low - 1e-11 && high <= 1.0);
        prop_assert!(a > curve.knee() || low == a);
        prop_assert!(low <= a + 1e-9);
    }

    #[test]
    fn the_tone_curve_keeps_chromaticity(rgb in [-0.5..60.0_f64, -0.5..60.0_f64, 0.01..60.0_f64]) {
        let out = ToneCurve::default().apply_to_colour(rgb);
        prop_assert!(out.iter().all(|&v| v <= 1.0 + ROUNDING));
        let factor = out[2] / rgb[2];
        for i in 0..3 {
            prop_assert!((out[i] - factor * rgb[i]).abs() < 1e-10);
        }
    }

    #[test]
    fn every_light_becomes_a_pixel(x in 0.0..1e7_f64, y in 0.0..1e7_f64, z in 0.0..1e7_f64, ev in -2.0..20.0_f64) {
        let development = Development { exposure: ExposureValue(ev), curve: ToneCurve::default() };
        prop_assert!(development.linear(Xyz([x, y, z])).iter().all(|v| (0.0..=1.0).contains(v)));
    }
}

#[test]
fn the_curve_is_continuous_and_without_a_corner_at_the_knee() {
    let curve = ToneCurve::new(HEADROOM);
    let (knee, step) = (curve.knee(), 1e-5);
    let slope = (curve.apply(knee + step) - curve.apply(knee)) / step;
    // The slope falls from 1 with a curvature of order 10, so one step above the knee it is 1 to 1e-3.
    assert!((slope - 1.0).abs() < 1e-3, "{slope}");
    assert!(curve.apply(f64::INFINITY) <= 1.0);
}

#[test]
fn full_scale_white_and_darkness_develop_as_expected() {
    let development = Development { exposure: ExposureValue(5.0), curve: ToneCurve::default() };
    let full = development.exposure.full_scale().0;
    // Full scale is shown at 0.69454 (tests/reference/tone_curve.csv), which is code 217.5 by the transfer curve: neutral
    // and within one code.
    let [r, g, b] = development.pixel(white().scaled(full));
    assert!(r == g && g == b && (217..=218).contains(&r), "{r} {g} {b}");
    assert_eq!(development.pixel(white().scaled(full * HEADROOM)), [255; 3]);
    assert_eq!(development.pixel(Xyz::default()), [0; 3]);
}

#[test]
fn a_bright_red_die_is_shown_red() {
    // Chromaticity is kept and only what lies outside sRGB is brought in: the Oklab hue of the pixel is the die's.
    let facts = &package("5050").dies[0];
    let light = xyz_of(&die_spectrum(facts));
    let development = Development { exposure: ExposureValue(0.0), curve: ToneCurve::default() };
    let light = light.scaled(50.0 / light.luminance());
    let out = development.linear(light);
    let turn = hue_deg(oklab(out)) - hue_deg(oklab(linear_srgb(light)));
    assert!(turn.abs() < 0.1, "{turn}");
    assert!(out[0] > 0.8 && out[1] < 0.1 && out[2] < 0.1, "{out:?}");
}
