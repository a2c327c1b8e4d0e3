use super::{FEW_PIXELS, Rings, rings, rounding_error, sector};
use crate::photo::decode::Photo;
use crate::photo::synthetic::Scene;

const MM_PER_PX: f64 = 0.1;
const WHITE: [f64; 3] = [0.5, 0.4, 0.3];
const CENTRE: [f64; 2] = [150.3, 129.8];
const HALF_WIDTH: f64 = 30.0;
const GROUND: f64 = 0.02;

fn edges() -> Vec<f64> {
    // Of 1 to 14 mm (10 to 140 px), widening.
    [0.0, 0.5, 1.0, 1.5, 2.0, 2.6, 3.3, 4.1, 5.0, 6.0, 7.1, 8.4, 10.0, 12.0, 14.0].to_vec()
}

/// Light of the made-up glow at a place in mm from its middle.
fn glow_at([x, y]: [f64; 2]) -> f64 {
    let height_squared = (HALF_WIDTH * MM_PER_PX).powi(2) / (2.0_f64.sqrt() - 1.0);
    1.0 / (1.0 + (x * x + y * y) / height_squared).powi(2)
}

fn at_places(rings: &Rings, channel: usize, ring: usize) -> f64 {
    let places = &rings.channels[channel][ring].places_mm;
    places.iter().map(|p| glow_at(*p)).sum::<f64>() / places.len() as f64
}

/// Mean of the glow over the whole ring: closed form of `int 2 r dr / (1 + r2/h2)^2`.
fn whole_ring(inner: f64, outer: f64) -> f64 {
    let height_squared = (HALF_WIDTH * MM_PER_PX).powi(2) / (2.0_f64.sqrt() - 1.0);
    let inside = |r: f64| -height_squared / (1.0 + r * r / height_squared);
    (inside(outer) - inside(inner)) / (outer * outer - inner * inner)
}

fn scene(seed: u64) -> Scene {
    let mut scene = Scene::new(300, 260, [GROUND; 3], seed);
    scene.glow(CENTRE, HALF_WIDTH, WHITE);
    scene
}

/// Departures of the rings' means from the truth in standard errors, over many pictures; channel G.
fn departures(seeds: u64, picture: impl Fn(u64) -> Photo) -> Vec<f64> {
    (0..seeds)
        .flat_map(|seed| {
            let rings = rings(&picture(seed), MM_PER_PX, &[CENTRE], &edges());
            edges()
                .windows(2)
                .zip(&rings.channels[1])
                .map(|(edge, ring)| {
                    let truth = GROUND + WHITE[1] * whole_ring(edge[0], edge[1]);
                    (ring.mean - truth) / ring.standard_error
                })
                .collect::<Vec<_>>()
        })
        .collect()
}

/// Share within one standard error. A normal variable has 0.68; with the errors estimated from 4 to 16 sectors (Student's t
/// with 3 to 15 degrees of freedom) 0.61 to 0.67. Made of some 560 departures, the share itself scatters by 0.02; neighbouring rings share
/// the slope.
fn assert_covers(departures: &[f64], least: f64, most: f64) {
    let share = departures.iter().filter(|d| d.abs() <= 1.0).count() as f64 / departures.len() as f64;
    assert!((least..=most).contains(&share), "{share:.3} of {} within one standard error", departures.len());
}

#[test]
fn means_are_within_their_standard_errors_as_often_as_they_say() {
    let independent = departures(40, |seed| {
        let mut scene = scene(seed);
        scene.noise(0.004, 0.02);
        scene.linear()
    });
    assert_covers(&independent, 0.58, 0.76);
    let mean = independent.iter().sum::<f64>() / independent.len() as f64;
    // 560 departures of about 1 each: their mean scatters by 0.05.
    assert!(mean.abs() < 0.2, "biased by {mean} standard errors");
    let correlated = departures(40, |seed| {
        let mut scene = scene(1000 + seed);
        scene.noise(0.008, 0.04);
        scene.soften();
        scene.linear()
    });
    assert_covers(&correlated, 0.56, 0.76);
    let with_slope = departures(40, |seed| {
        let mut scene = scene(2000 + seed);
        scene.add(|x, y| [0.03 * (x - CENTRE[0]) / 300.0 - 0.02 * (y - CENTRE[1]) / 260.0; 3]);
        scene.noise(0.004, 0.02);
        scene.linear()
    });
    assert_covers(&with_slope, 0.58, 0.76);
}

#[test]
fn means_from_jpeg_are_within_their_standard_errors() {
    // Coding errors hang on the colour: lights of many colours, all three channels.
    for quality in [95, 85, 75] {
        let mut departures = Vec::new();
        for seed in 0..24 {
            let colour = [0.5, 0.25 + 0.01 * seed as f64, 0.6 - 0.02 * seed as f64];
            let mut scene = Scene::new(300, 260, [GROUND; 3], 3000 + seed);
            scene.glow(CENTRE, HALF_WIDTH, colour);
            scene.noise(0.004, 0.02);
            scene.soften();
            let rings = rings(&scene.jpeg(quality), MM_PER_PX, &[CENTRE], &edges());
            for (channel, colour) in rings.channels.iter().zip(colour) {
                for (edge, ring) in edges().windows(2).zip(channel) {
                    let truth = GROUND + colour * whole_ring(edge[0], edge[1]);
                    departures.push((ring.mean - truth) / ring.standard_error);
                }
            }
        }
        // The errors may be somewhat too wide but not too narrow.
        assert_covers(&departures, 0.6, 0.95);
        let far = departures.iter().filter(|d| d.abs() > 3.0).count();
        assert!(far * 100 < departures.len(), "{far} of {} beyond three standard errors", departures.len());
    }
}

#[test]
fn the_slope_is_taken_out_and_told() {
    let mut scene = scene(7);
    scene.add(|x, y| [0.0, 0.04 * (x - CENTRE[0]) / 300.0, -0.03 * (y - CENTRE[1]) / 260.0]);
    scene.noise(0.002, 0.01);
    // A bright thing at one side.
    scene.add(|x, y| if x > 260.0 && y < 30.0 { [0.8; 3] } else { [0.0; 3] });
    let rings = rings(&scene.linear(), MM_PER_PX, &[CENTRE], &edges());
    let expected = [[0.0, 0.0], [0.04 / 30.0, 0.0], [0.0, 0.03 / 26.0]];
    for (found, expected) in rings.slope_per_mm.iter().zip(expected) {
        for (f, e) in found.iter().zip(expected) {
            assert!((f - e).abs() < 1e-4, "{:?}", rings.slope_per_mm);
        }
    }
}

#[test]
fn clipped_pixels_and_their_neighbours_are_left_out() {
    let mut scene = Scene::new(300, 260, [GROUND; 3], 8);
    scene.glow(CENTRE, HALF_WIDTH, [2.0, 0.5, 0.5]);
    scene.noise(0.002, 0.01);
    let rings = rings(&scene.srgb(), MM_PER_PX, &[CENTRE], &edges());
    let red = &rings.channels[0];
    assert_eq!((red[0].pixels, red[0].covered), (0, 0.0));
    assert!(red[0].mean.is_nan() && red[0].standard_error == f64::INFINITY && red[0].places_mm.is_empty());
    assert!(rings.channels[1][0].pixels > 60 && rings.channels[1][0].covered > 0.99);
    // Light 1 is reached at 1 = (1 + r2/h2)^2 / 2: r = half width.
    let outer = edges().iter().position(|e| *e > 4.0).unwrap();
    let (mean, expected) = (red[outer].mean, GROUND + 2.0 * at_places(&rings, 0, outer));
    assert!((mean - expected).abs() < 4.0 * red[outer].standard_error + 1e-3, "{mean}, {expected} expected");
    let partly = red.iter().find(|ring| ring.covered > 0.05 && ring.covered < 0.95).unwrap();
    assert!(partly.places_mm.iter().all(|p| p[0].hypot(p[1]) > 0.1 * HALF_WIDTH));
}

#[test]
fn the_places_stand_for_what_is_seen_of_a_ring() {
    // A picture in which the middle is near a corner: outer rings are cut off, and the light differs along them.
    let centre = [40.2, 200.6];
    let mut scene = Scene::new(300, 260, [GROUND; 3], 9);
    scene.glow(centre, HALF_WIDTH, WHITE);
    scene.noise(0.001, 0.005);
    let rings = rings(&scene.linear(), MM_PER_PX, &[centre], &edges());
    for (i, ring) in rings.channels[1].iter().enumerate() {
        let expected = GROUND + WHITE[1] * at_places(&rings, 1, i);
        // 64 places of a ring over which the light changes by up to a third: a percent of the light.
        let off = (ring.mean - expected).abs();
        assert!(off < 0.01 * ring.mean + 3.0 * ring.standard_error, "ring {i}: {off} of {}", ring.mean);
        assert!(ring.places_mm.len() <= 64 && !ring.places_mm.is_empty());
        assert!(ring.places_mm.iter().all(|p| p[0] > -4.1 && p[1] > -6.0), "outside the picture");
    }
    let last = rings.channels[1].last().unwrap();
    assert!(last.covered > 0.3 && last.covered < 0.7, "{}", last.covered);
    let first = &rings.channels[1][0];
    assert!(first.pixels <= FEW_PIXELS && first.places_mm.len() == 64.min(first.pixels));
}

#[test]
fn every_pixel_counts_for_its_nearest_middle() {
    let centres = [[100.0, 130.0], [160.0, 130.0], [220.0, 130.0]];
    let mut scene = Scene::new(320, 260, [0.01; 3], 10);
    for centre in centres {
        scene.gaussian(centre, 12.0, WHITE);
    }
    scene.noise(0.002, 0.01);
    let rings = rings(&scene.linear(), MM_PER_PX, &centres, &[0.0, 1.0, 2.0, 3.0, 6.0]);
    let light = |[x, y]: [f64; 2]| {
        centres
            .iter()
            .map(|c| {
                let d = [x / MM_PER_PX + 100.0 - c[0], 130.0 - y / MM_PER_PX - c[1]];
                0.4 * (-2.0_f64.ln() * (d[0] * d[0] + d[1] * d[1]) / 144.0).exp()
            })
            .sum::<f64>()
    };
    let pixels: usize = rings.channels[1].iter().map(|ring| ring.pixels).sum();
    let within = (0..320 * 260).filter(|i| {
        let at = [(i % 320) as f64, (i / 320) as f64];
        centres.iter().any(|c| (at[0] - c[0]).hypot(at[1] - c[1]) < 60.0)
    });
    assert_eq!(pixels, within.count());
    for ring in &rings.channels[1] {
        let expected =
            0.01 + ring.places_mm.iter().map(|p| light(*p)).sum::<f64>() / ring.places_mm.len() as f64;
        // Within a ring the light changes up to twofold; 64 places tell its mean to some percent.
        assert!((ring.mean / expected - 1.0).abs() < 0.05, "{} {expected}", ring.mean);
        assert!((ring.covered - 1.0).abs() < 1e-9);
    }
}

#[test]
fn sectors_go_round_once() {
    for i in 0..160 {
        let angle = (f64::from(i) + 0.5) / 160.0 * std::f64::consts::TAU;
        assert_eq!(sector([angle.cos(), angle.sin()]), i as usize / 10);
    }
}

#[test]
fn rounding_counts_where_nothing_varies() {
    let step = 0.001;
    assert_eq!(rounding_error(step, 0.0, 0.0), step / 12.0_f64.sqrt());
    assert!(rounding_error(step, step, step) < 1e-6 * step);
    assert!(rounding_error(step, 0.0, 3.0 * step) < 0.1 * rounding_error(step, 0.0, 0.0));
}

#[test]
fn what_rounding_hides_is_within_the_error() {
    // No noise, the foot of the spot below a code: the mean is off by what was rounded away.
    let mut scene = Scene::new(300, 260, [0.0; 3], 0);
    scene.glow(CENTRE, 12.0, WHITE);
    let rings = rings(&scene.srgb(), MM_PER_PX, &[CENTRE], &edges());
    let height_squared = 1.44 / (2.0_f64.sqrt() - 1.0);
    let inside = |r: f64| -height_squared / (1.0 + r * r / height_squared);
    for (edge, ring) in edges().windows(2).zip(&rings.channels[1]).skip(4) {
        let truth = WHITE[1] * (inside(edge[1]) - inside(edge[0])) / (edge[1].powi(2) - edge[0].powi(2));
        assert!(
            (ring.mean - truth).abs() < 3.0 * ring.standard_error,
            "{} {truth} {}",
            ring.mean,
            ring.standard_error
        );
    }
}
