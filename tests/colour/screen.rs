//! The screen: sRGB, Oklab and the way into the gamut.

use super::{FOUR_DECIMALS, ROUNDING, hue_deg, numbers, rows};
use proptest::prelude::*;
use weftlight::judge::colour_difference::lab;
use weftlight::light::spectrum::illuminant::daylight_per_lux;
use weftlight::light::spectrum::{Xyz, xyz_of};
use weftlight::picture::colour::gamut::into_gamut;
use weftlight::picture::colour::oklab::{linear_srgb_of_oklab, oklab};
use weftlight::picture::colour::{RGB_FROM_XYZ, XYZ_FROM_RGB, decode, encode, linear_srgb, white};

#[test]
fn srgb_matrices_are_those_of_the_standard() {
    // IEC 61966-2-1, four decimals printed.
    let to_xyz = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]];
    let to_rgb = [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]];
    for i in 0..3 {
        for j in 0..3 {
            assert!((XYZ_FROM_RGB[i][j] - to_xyz[i][j]).abs() < FOUR_DECIMALS, "{i} {j}");
            let unit: f64 = (0..3).map(|k| RGB_FROM_XYZ[i][k] * XYZ_FROM_RGB[k][j]).sum();
            assert!((unit - f64::from(u8::from(i == j))).abs() < ROUNDING, "{i} {j}");
            // The standard's inverse was taken from its own rounded matrix: a change E of a matrix changes its
            // inverse M by M E M, at most the sum of |M|'s row times that of its column times the rounding.
            let row: f64 = to_rgb[i].iter().map(|v: &f64| v.abs()).sum();
            let column: f64 = to_rgb.iter().map(|r| r[j].abs()).sum();
            let bound = row * column * FOUR_DECIMALS + FOUR_DECIMALS;
            assert!((RGB_FROM_XYZ[i][j] - to_rgb[i][j]).abs() < bound, "{i} {j}: {}", RGB_FROM_XYZ[i][j]);
        }
    }
    assert!(linear_srgb(white()).iter().all(|v| (v - 1.0).abs() < ROUNDING));
}

#[test]
fn daylight_on_white_is_white() {
    // D65's table from 380 nm on against the standard's rounded white: x and y differ by 3e-5, which is 3e-4 in the blue
    // channel; one 8-bit code at white is 9e-3.
    const WHITE_OF_TABLE: f64 = 4e-4;
    let light = xyz_of(&daylight_per_lux());
    assert!(linear_srgb(light).iter().all(|v| (v - 1.0).abs() < WHITE_OF_TABLE), "{:?}", linear_srgb(light));
}

#[test]
fn the_transfer_curve_has_the_published_values() {
    // IEC 61966-2-1, values from colour-science, seven decimals printed.
    const SEVEN_DECIMALS: f64 = 5.1e-8;
    for (linear, code) in [(0.01, 0.099_852_8), (0.18, 0.461_356_1), (0.5, 0.735_357_0)] {
        assert!((encode(linear) - code).abs() < SEVEN_DECIMALS, "{linear}");
    }
    for (code, linear) in [(0.1, 0.010_022_8), (0.5, 0.214_041_1), (0.9, 0.787_412_3)] {
        assert!((decode(code) - linear).abs() < SEVEN_DECIMALS, "{code}");
    }
}

#[test]
fn colour_spaces_agree_with_general_libraries() {
    // colour-science: its sRGB matrix has four decimals, and values here reach 2; its Oklab goes through another, rounded
    // XYZ matrix. Close to zero the cube root magnifies such roundings.
    const LAB: f64 = 1e-6;
    const RGB: f64 = 5e-4;
    const OKLAB: f64 = 2e-3;
    // palette: Oklab of linear sRGB by the publication's own rounded matrices.
    const OKLAB_PALETTE: f64 = 1e-6;
    for row in rows(include_str!("../reference/colour_spaces.csv")) {
        let v = numbers(&row);
        let xyz = Xyz([v[0], v[1], v[2]]);
        let found = lab(xyz, white());
        for (a, b) in [found.l, found.a, found.b].iter().zip(&v[3..6]) {
            assert!((a - b).abs() < LAB, "{row:?}: {found:?}");
        }
        let rgb = linear_srgb(xyz);
        for (a, b) in rgb.iter().zip(&v[6..9]) {
            assert!((a - b).abs() < RGB, "{row:?}: {rgb:?}");
        }
        let ok = oklab(rgb);
        for (a, b) in ok.iter().zip(&v[9..12]) {
            assert!((a - b).abs() < OKLAB, "{row:?}: {ok:?}");
        }
        use palette::convert::FromColorUnclamped;
        let theirs =
            palette::Oklab::<f64>::from_color_unclamped(palette::LinSrgb::new(rgb[0], rgb[1], rgb[2]));
        for (a, b) in ok.iter().zip([theirs.l, theirs.a, theirs.b]) {
            assert!((a - b).abs() < OKLAB_PALETTE, "{ok:?} {theirs:?}");
        }
    }
}

/// Any colour a picture may ask for: wide beyond sRGB on all sides.
fn any_colour() -> impl Strategy<Value = [f64; 3]> {
    [-0.5..2.0_f64, -0.5..2.0_f64, -0.5..2.0_f64]
}

proptest! {
    #[test]
    fn mapped_colours_fit_and_keep_lightness_and_hue(rgb in any_colour()) {
        let (before, mapped) = (oklab(rgb), into_gamut(rgb));
        prop_assert!(mapped.iter().all(|v| (0.0..=1.0).contains(v)));
        let after = oklab(mapped);
        if before[0] > 0.0 && before[0] < 1.0 {
            // Rounding of cutting 1e-13 in a linear value near black: its cube root there is 5e-5.
            prop_assert!((after[0] - before[0]).abs() < 1e-4, "{before:?} {after:?}");
            let (c0, c1) = (before[1].hypot(before[2]), after[1].hypot(after[2]));
            prop_assert!(c1 <= c0 + 1e-4);
            if c1 > 1e-2 {
                let turn = (hue_deg(after) - hue_deg(before) + 540.0).rem_euclid(360.0) - 180.0;
                // 1e-4 across a chroma of 1e-2 is half a degree at worst.
                prop_assert!(turn.abs() < 0.6, "{before:?} {after:?}");
            }
        }
    }

    #[test]
    fn colours_inside_are_left_alone(rgb in [0.0..=1.0_f64, 0.0..=1.0, 0.0..=1.0]) {
        prop_assert_eq!(into_gamut(rgb), rgb);
    }

    #[test]
    fn neutral_stays_neutral(v in -1.0..5.0_f64) {
        prop_assert_eq!(into_gamut([v; 3]), [v.clamp(0.0, 1.0); 3]);
    }

    #[test]
    fn more_chroma_never_comes_out_as_less(l in 0.05..0.99_f64, hue in 0.0..std::f64::consts::TAU, c in 0.0..0.6_f64, more in 0.0..0.3_f64) {
        let chroma_out = |c: f64| {
            let ok = oklab(into_gamut(linear_srgb_of_oklab([l, c * hue.cos(), c * hue.sin()])));
            ok[1].hypot(ok[2])
        };
        prop_assert!(chroma_out(c + more) >= chroma_out(c) - 1e-4);
    }

    #[test]
    fn neighbours_stay_neighbours(rgb in any_colour(), step in [-1e-6..1e-6_f64, -1e-6..1e-6_f64, -1e-6..1e-6_f64]) {
        let near = std::array::from_fn(|i| rgb[i] + step[i]);
        let (a, b) = (into_gamut(rgb), into_gamut(near));
        // Where l, m or s passes zero the cube root has a vertical tangent: 1e-6 becomes 1e-2 there at worst.
        for i in 0..3 {
            prop_assert!((a[i] - b[i]).abs() < 2e-2, "{rgb:?}: {a:?} {b:?}");
        }
    }

    #[test]
    fn colours_survive_oklab(rgb in any_colour()) {
        for (a, b) in linear_srgb_of_oklab(oklab(rgb)).iter().zip(rgb) {
            prop_assert!((a - b).abs() < 1e-11);
        }
    }
}
