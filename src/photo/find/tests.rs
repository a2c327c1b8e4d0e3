use super::{FindError, Found, spots};
use crate::photo::decode::Photo;
use crate::photo::synthetic::Scene;

use crate::photo::core_light::core_light;
use crate::photo::rings::rings;
use crate::photo::warnings::warnings;
use proptest::prelude::*;

/// Pixels that a middle may be off.
const MIDDLE_OFF: f64 = 0.1;
/// Share that a half width may be off where the peak is seen: a block is a tenth of it.
const WIDTH_OFF: f64 = 0.04;

fn one(photo: &Photo) -> Found {
    let found = spots(photo).unwrap();
    assert_eq!((found.spots.len(), found.others.len()), (1, 0), "{found:?}");
    found
}

fn off(found: &Found, centre: [f64; 2]) -> f64 {
    let at = found.spots[0].centre_px;
    (at[0] - centre[0]).hypot(at[1] - centre[1])
}

const WHITE: [f64; 3] = [0.5, 0.45, 0.3];

#[test]
fn a_middle_is_found_to_a_tenth_of_a_pixel_in_noise_and_slope() {
    for (seed, half_width) in [(1, 12.0), (2, 25.0), (3, 60.0)] {
        let centre = [231.3 + seed as f64 * 7.13, 180.7 - seed as f64 * 3.31];
        for glow in [false, true] {
            let mut scene = Scene::new(480, 400, [0.01; 3], seed);
            if glow {
                scene.glow(centre, half_width, WHITE);
            } else {
                scene.gaussian(centre, half_width, WHITE);
            }
            scene.add(|x, y| [0.02 * x / 480.0 + 0.01 * y / 400.0; 3]);
            scene.noise(0.002, 0.01);
            for photo in [scene.linear(), scene.srgb(), scene.jpeg(92)] {
                let found = one(&photo);
                let off = off(&found, centre);
                assert!(
                    off < MIDDLE_OFF,
                    "{off} px off at half width {half_width}, glow {glow}, {}",
                    photo.format
                );
                let width = found.spots[0].half_width_px / half_width;
                assert!((width - 1.0).abs() < WIDTH_OFF, "width {width} of {half_width}, glow {glow}");
                assert!(found.spots[0].roundness > 0.95, "{:?}", found.spots[0]);
                assert_eq!(found.spots[0].clipped_px, 0);
            }
        }
    }
}

#[test]
fn a_clipped_core_harms_neither_the_middle_nor_the_width() {
    /// Half of the light of the clipped channels lies within a core that is not seen: the width is continued inwards.
    const WIDTH_OFF: f64 = 0.15;
    for (overexposure, seed) in [(1.5, 5), (3.0, 6)] {
        let centre = [190.35, 211.8];
        let mut scene = Scene::new(420, 400, [0.004; 3], seed);
        scene.gaussian(centre, 40.0, [overexposure; 3]);
        // Light that spills over to one side of the clipped core, as lenses do.
        scene.add(|x, _| [0.02 * x / 420.0; 3]);
        scene.noise(0.002, 0.01);
        for photo in [scene.srgb(), scene.jpeg(92)] {
            let found = one(&photo);
            let spot = &found.spots[0];
            assert!(off(&found, centre) < MIDDLE_OFF, "{spot:?}");
            let core = 40.0 * (overexposure.ln() / 2.0_f64.ln()).sqrt();
            assert!((spot.clipped_radius_px - core).abs() < 3.0, "{spot:?}, core {core}");
            assert!(spot.clipped_px > 1000);
            let width = spot.half_width_px / 40.0;
            assert!((width - 1.0).abs() < WIDTH_OFF, "width {width}, core {core}");
        }
    }
}

#[test]
fn hot_pixels_a_window_and_a_ruler_are_no_spots() {
    let centre = [300.6, 240.2];
    let mut scene = Scene::new(640, 480, [0.003; 3], 9);
    scene.gaussian(centre, 30.0, WHITE);
    // A window in the corner, brighter than the spot, and the lines of a ruler along the lower edge.
    scene.add(|x, y| {
        if x > 520.0 && x < 600.0 && y < 120.0 && (x as i64 / 38 + y as i64 / 50) % 2 == 0 {
            [0.9; 3]
        } else {
            [0.0; 3]
        }
    });
    scene.add(|x, y| if y > 440.0 && (x as i64) % 12 < 3 { [0.02; 3] } else { [0.0; 3] });
    scene.noise(0.002, 0.01);
    for i in 0..60 {
        let at = (i * 5003 + 77) % scene.light.len();
        scene.light[at] = [1.0, 0.2, 0.1];
    }
    let found = spots(&scene.jpeg(92)).unwrap();
    assert_eq!(found.spots.len(), 1, "{found:?}");
    assert!(off(&found, centre) < 2.0 * MIDDLE_OFF, "{:?}", found.spots);
    assert!(!found.others.is_empty());
}

#[test]
fn spots_in_a_row_come_in_order() {
    for (step, name) in [([90.0, 6.0], "level"), ([4.0, -80.0], "upright")] {
        let mut scene = Scene::new(520, 480, [0.003; 3], 11);
        let centres: Vec<[f64; 2]> = (0..5)
            .map(|i| [240.3 + step[0] * (f64::from(i) - 2.0), 236.7 + step[1] * (f64::from(i) - 2.0)])
            .collect();
        for (i, centre) in centres.iter().enumerate() {
            scene.gaussian(*centre, 22.0, WHITE.map(|w| w * (1.0 + 0.05 * (i as f64 % 2.0))));
        }
        scene.noise(0.002, 0.01);
        let found = spots(&scene.jpeg(92)).unwrap();
        let row = found.row().unwrap();
        assert_eq!(row.order.len(), 5, "{name}: {found:?}");
        for (i, centre) in row.order.iter().zip(&centres) {
            let at = found.spots[*i].centre_px;
            let off = (at[0] - centre[0]).hypot(at[1] - centre[1]);
            // Neighbours' light pulls at the outermost.
            assert!(off < 5.0 * MIDDLE_OFF, "{name}: {off} px off");
        }
        let pitch = f64::hypot(step[0], step[1]);
        assert!((row.pitch_px - pitch).abs() < MIDDLE_OFF * 2.0 && row.off_line_px < 0.5, "{row:?}");
    }
}

#[test]
fn two_spots_of_a_kind_are_two() {
    let mut scene = Scene::new(400, 300, [0.003; 3], 12);
    scene.gaussian([120.0, 150.0], 20.0, WHITE);
    scene.glow([280.0, 150.0], 25.0, WHITE.map(|w| 0.8 * w));
    scene.noise(0.002, 0.01);
    let found = spots(&scene.srgb()).unwrap();
    assert_eq!(found.spots.len(), 2, "{found:?}");
    assert!(found.spots[0].brightness() >= found.spots[1].brightness());
    assert_eq!(found.row().map(|row| row.order.len()), Some(2));
}

#[test]
fn a_stretched_spot_tells_how_and_where_to() {
    for (angle, short) in [(0.4_f64, 0.7), (2.0, 0.85)] {
        let mut scene = Scene::new(400, 360, [0.003; 3], 13);
        scene.add(|x, y| {
            // Up is against the rows.
            let (dx, dy) = (x - 200.0, 180.0 - y);
            let along = dx * angle.cos() + dy * angle.sin();
            let across = (dy * angle.cos() - dx * angle.sin()) / short;
            WHITE.map(|w| w * (-std::f64::consts::LN_2 * (along * along + across * across) / 1600.0).exp())
        });
        scene.noise(0.002, 0.01);
        let found = one(&scene.jpeg(92));
        let spot = &found.spots[0];
        assert!((spot.roundness - short).abs() < 0.03, "{spot:?}");
        assert!((spot.long_axis_rad - angle).abs() < 0.1, "{spot:?}");
    }
}

#[test]
fn what_is_no_photograph_of_a_spot_is_refused() {
    let black = Scene::new(200, 150, [0.0; 3], 0);
    assert_eq!(spots(&black.srgb()), Err(FindError::Even));
    let white = Scene::new(200, 150, [1.0; 3], 0);
    assert!(matches!(spots(&white.srgb()), Err(FindError::Washed { share }) if share == 1.0));
    let grey = Scene::new(200, 150, [0.3; 3], 0);
    assert_eq!(spots(&grey.jpeg(92)), Err(FindError::Even));
}

#[test]
fn noise_alone_is_never_a_spot() {
    for seed in 0..6 {
        for (read, shot, level) in [(0.002, 0.0, 0.001), (0.01, 0.05, 0.2), (0.05, 0.1, 0.02)] {
            let mut scene = Scene::new(400, 300, [level; 3], 100 + seed);
            scene.add(|x, y| [0.1 * level * (x / 400.0 + y / 600.0); 3]);
            scene.noise(read, shot);
            if seed % 2 == 1 {
                scene.soften();
            }
            for photo in [scene.linear(), scene.srgb(), scene.jpeg(90), scene.jpeg(60)] {
                let found = spots(&photo);
                assert!(found.is_err(), "seed {seed}: {found:?}");
            }
        }
    }
}

#[test]
fn an_evenly_lit_wall_is_no_spot() {
    let mut scene = Scene::new(600, 450, [0.0; 3], 21);
    scene.add(|x, y| {
        let squared = ((x - 300.0) / 600.0).powi(2) + ((y - 225.0) / 600.0).powi(2);
        [0.3 / (1.0 + 1.2 * squared).powi(2); 3]
    });
    scene.noise(0.002, 0.02);
    assert_eq!(spots(&scene.jpeg(92)), Err(FindError::LitAllOver));
}

#[test]
fn a_wrinkled_cloth_in_a_lit_room_is_no_spot() {
    let mut scene = Scene::new(600, 450, [0.1; 3], 22);
    scene.add(|x, y| {
        let folds = (0.02 * x).sin() * (0.026 * y + 2.0).cos()
            + 0.6 * (0.016 * x + 0.04 * y).sin()
            + 0.3 * (0.1 * x - 0.07 * y).sin();
        [0.02 * folds; 3]
    });
    scene.noise(0.002, 0.01);
    assert_eq!(spots(&scene.jpeg(85)), Err(FindError::LitAllOver));
}

#[test]
fn a_glow_that_fills_the_picture_or_is_cut_off_is_told() {
    let mut filling = Scene::new(600, 450, [0.003; 3], 23);
    filling.glow([300.0, 225.0], 210.0, WHITE);
    filling.noise(0.002, 0.01);
    assert_eq!(spots(&filling.jpeg(90)), Err(FindError::LitAllOver));
    let mut cut = Scene::new(600, 450, [0.003; 3], 24);
    cut.glow([4.0, 5.0], 40.0, WHITE);
    cut.noise(0.002, 0.01);
    assert_eq!(spots(&cut.jpeg(90)), Err(FindError::AtEdge));
}

#[test]
fn single_bright_pixels_are_the_sensor_s_own() {
    let mut scene = Scene::new(600, 450, [0.003; 3], 25);
    scene.noise(0.001, 0.005);
    for i in 0..25 {
        let at = (i * 5003 + 77) % scene.light.len();
        scene.light[at] = [0.9, 0.8, 0.9];
    }
    assert_eq!(spots(&scene.srgb()), Err(FindError::Grain));
}

#[test]
fn a_bare_pixel_is_a_spot_though_its_edges_are_sharp() {
    let mut scene = Scene::new(500, 400, [0.002; 3], 26);
    // 61 x 61 pixels about [240, 190].
    scene.add(|x, y| {
        if (x - 240.0).abs() <= 30.0 && (y - 190.0).abs() <= 30.0 { [0.6, 0.5, 0.4] } else { [0.0; 3] }
    });
    scene.glow([240.0, 190.0], 60.0, [0.04; 3]);
    scene.noise(0.002, 0.01);
    let found = one(&scene.jpeg(92));
    assert!(off(&found, [240.0, 190.0]) < 2.0 * MIDDLE_OFF, "{found:?}");
    assert!(found.spots[0].roundness > 0.97, "{found:?}");
}

#[test]
fn writing_is_no_spot() {
    // Lines of made-up letters, bright on dark.
    let mut scene = Scene::new(600, 400, [0.02; 3], 31);
    let letter = |x: i64, y: i64| {
        let (column, row) = (x / 10, y / 18);
        let (u, v) = (x % 10, y % 18);
        let pattern = (column * 7919 + row * 104_729) % 31;
        u < 7 && v < 11 && ((u / 2 + pattern) % 3 == 0 || (v / 3 + pattern / 3) % 4 == 0) && pattern % 5 != 0
    };
    scene.add(|x, y| if letter(x as i64, y as i64) { [0.7; 3] } else { [0.0; 3] });
    for photo in [scene.srgb(), scene.jpeg(90)] {
        match spots(&photo) {
            Err(_) => {}
            Ok(found) => assert!(found.spots.len() + found.others.len() > 5, "{found:?}"),
        }
    }
}

#[test]
fn background_and_noise_are_measured() {
    let mut scene = Scene::new(500, 400, [0.02, 0.03, 0.04], 41);
    scene.gaussian([250.0, 200.0], 25.0, WHITE);
    scene.add(|x, _| [0.01 * x / 500.0; 3]);
    scene.noise(0.003, 0.0);
    let found = one(&scene.linear());
    for (c, expected) in [0.025, 0.035, 0.045].into_iter().enumerate() {
        assert!((found.background[c] - expected).abs() < 0.002, "{:?}", found.background);
        // The deviation of normal noise by the median is good to a few percent with so many pixels.
        assert!((found.noise[c] / 0.003 - 1.0).abs() < 0.05, "{:?}", found.noise);
    }
    assert!((found.background_slope[0] - 0.01).abs() < 0.002 && found.background_slope[1].abs() < 0.002);
}

proptest! {
    #[test]
    fn whatever_is_in_the_picture_numbers_stay_numbers(
        size in (32..90_usize, 32..90_usize),
        ground in 0.0..0.5_f64,
        things in prop::collection::vec((-10.0..100.0_f64, -10.0..100.0_f64, 0.5..60.0_f64, 0.0..2.0_f64, prop::bool::ANY), 0..5),
        noise in prop::option::of(0.0..0.2_f64),
        centre in (-50.0..150.0_f64, -50.0..150.0_f64),
    ) {
        let mut scene = Scene::new(size.0, size.1, [ground, 0.5 * ground, 0.0], 5);
        for (x, y, half_width, peak, round) in things {
            if round {
                scene.gaussian([x, y], half_width, [peak, 0.5 * peak, 0.1]);
            } else {
                scene.add(|u, v| if (u - x).abs() < half_width && (v - y).abs() < 3.0 { [peak; 3] } else { [0.0; 3] });
            }
        }
        if let Some(noise) = noise {
            scene.noise(noise, noise);
        }
        let photo = scene.srgb();
        if let Ok(found) = spots(&photo) {
            for spot in found.spots.iter().chain(&found.others) {
                let numbers = [spot.half_width_px, spot.roundness, spot.long_axis_rad, spot.nearest_edge_px, spot.brightness()];
                prop_assert!(numbers.iter().chain(&spot.centre_px).all(|v| v.is_finite()), "{spot:?}");
            }
            prop_assert!(warnings(&photo, &found).iter().all(|w| !w.words().contains("NaN")));
        }
        let rings = rings(&photo, 0.2, &[[centre.0, centre.1], [30.0, 20.0]], &[0.0, 0.1, 1.0, 5.0, 30.0]);
        for ring in rings.channels.iter().flatten() {
            prop_assert!((0.0..=1.0).contains(&ring.covered));
            prop_assert!(ring.pixels == 0 || (ring.mean.is_finite() && ring.standard_error > 0.0), "{ring:?}");
        }
        if let Some(light) = core_light(&photo, 0.2, [centre.0, centre.1], 2.0) {
            prop_assert!(light.iter().all(|l| l.light_mm2.is_finite() && l.standard_error_mm2.is_finite()));
        }
    }
}
