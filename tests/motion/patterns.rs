//! Patterns against values worked out by hand, and what is refused.

use super::{at, scene, try_scene};
use std::f64::consts::TAU;
use std::path::Path;
use weftlight::motion::average::{at_peak, average_levels};
use weftlight::scene::file::read_with_warnings;

/// Sums and products of a few doubles of size 1.
const EXACT: f64 = 1e-12;
/// A code of 16 bits, in which means of pictures are held.
const CODE: f64 = 1.0 / 65_535.0;

fn near(found: &[f64], expected: [f64; 3], within: f64) {
    assert_eq!(found.len(), 3);
    assert!(
        found.iter().zip(expected).all(|(f, e)| (f - e).abs() <= within),
        "{found:?}, expected {expected:?}"
    );
}

const TWO: &str = "strip: {pitch_mm: 10, count: 2}";

#[test]
fn keyframes_go_in_straight_lines_and_back_to_the_first() {
    let scene = scene(
        TWO,
        "{pattern: {steps: none, duration_s: 4, keyframes: [{at_s: 0, level: 0, colour: \"#ff0000\"}, \
         {at_s: 2, level: 1, colour: \"#0000ff\"}]}}",
    );
    near(&at(&scene, 0.0)[0], [0.0; 3], EXACT);
    // Half way: code (0.5, 0, 0.5) at level 0.5.
    near(&at(&scene, 1.0)[1], [0.25, 0.0, 0.25], EXACT);
    near(&at(&scene, 2.0)[0], [0.0, 0.0, 1.0], EXACT);
    near(&at(&scene, 3.0)[0], [0.25, 0.0, 0.25], EXACT);
    near(&at(&scene, 4.0)[0], [0.0; 3], EXACT);
    near(&at(&scene, 5.0)[0], [0.25, 0.0, 0.25], EXACT);
    assert_eq!(scene.pixels[0].levels, at(&scene, 0.0)[0], "a still shows the beginning");
}

#[test]
fn keyframes_hold_and_groups_have_their_own() {
    let scene = scene(
        "strip: {pitch_mm: 10, count: 1}, ring: {count: 3, diameter_mm: 30}",
        "{level: 0.5, pattern: {steps: none, keyframes: [{at_s: 0, level: 0.2, hold: true}, {at_s: 1, level: 0.8}, \
         {at_s: 0, group: 1, colour: \"#00ff00\"}]}}",
    );
    near(&at(&scene, 0.999)[0], [0.2; 3], EXACT);
    assert!((scene.pattern.as_ref().expect("a pattern").duration_s - 1.0).abs() < EXACT);
    // Its own keyframe gives the colour; the level stays the scene's.
    near(&at(&scene, 0.5)[3], [0.0, 0.5, 0.0], EXACT);
}

#[test]
fn gradients_drift_along_the_wiring_and_across_the_garment() {
    let colours = "colours: [\"#ff0000\", \"#00ff00\", \"#0000ff\"]";
    let along = scene(
        "strip: {pitch_mm: 10, count: 6}",
        &format!("{{pattern: {{steps: none, gradient: {{{colours}, pixels: 6, period_s: 6}}}}}}"),
    );
    let start = at(&along, 0.0);
    near(&start[0], [1.0, 0.0, 0.0], EXACT);
    near(&start[1], [0.5, 0.5, 0.0], EXACT);
    near(&start[2], [0.0, 1.0, 0.0], EXACT);
    near(&start[5], [0.5, 0.0, 0.5], EXACT);
    // A sixth of the period later everything has moved on by one pixel.
    let later = at(&along, 1.0);
    (0..5).for_each(|i| near(&later[i + 1], [start[i][0], start[i][1], start[i][2]], EXACT));
    let across = scene(
        "grid: {columns: 2, rows: 4, pitch_mm: 15}",
        &format!(
            "{{pattern: {{steps: none, gradient: {{{colours}, length_mm: 90, direction_deg: 90, period_s: 6}}}}}}"
        ),
    );
    let levels = at(&across, 0.0);
    // 15 mm upwards are a sixth of the length; the lowest row (the last two in wiring order) begins it.
    near(&levels[6], [1.0, 0.0, 0.0], 1e-9);
    near(&levels[4], [0.5, 0.5, 0.0], 1e-9);
    near(&levels[0], [0.0, 0.5, 0.5], 1e-9);
    assert!(levels[0].iter().zip(&levels[1]).all(|(a, b)| (a - b).abs() < 1e-9), "a row is alike");
}

#[test]
fn pulses_swell_and_fall() {
    let scene = scene(
        "strip: {pitch_mm: 10, count: 4}",
        "{level: 0.5, pattern: {steps: none, pulse: {period_s: 4, depth: 0.6, wave_pixels: 4}}}",
    );
    for (time_s, pixel, factor) in
        [(0.0, 0, 1.0), (2.0, 0, 0.4), (1.0, 0, 0.7), (0.0, 2, 0.4), (2.0, 2, 1.0), (1.0, 1, 1.0)]
    {
        near(&at(&scene, time_s)[pixel], [0.5 * factor; 3], EXACT);
    }
    // The mean of a raised cosine is its middle.
    average_levels(&scene).iter().for_each(|levels| near(levels, [0.5 * 0.7; 3], EXACT));
    // Together the four pixels always send the same, so that any moment is the highest.
    let sum: f64 = at_peak(&scene).pixels.iter().flat_map(|p| p.levels.clone()).sum();
    assert!((sum - 4.0 * 3.0 * 0.35).abs() < 1e-9, "{sum}");
}

#[test]
fn embers_are_seeded_bounded_smooth_and_close() {
    let ember = |seed: u32| {
        scene(
            "strip: {pitch_mm: 10, count: 5}",
            &format!(
                "{{pattern: {{steps: none, duration_s: 10, ember: {{depth: 0.8, slowest_per_s: 0.25, fastest_per_s: 0.8, seed: {seed}}}}}}}"
            ),
        )
    };
    let (one, again, other) = (ember(7), ember(7), ember(8));
    assert_eq!(one, again);
    assert_ne!(at(&one, 3.0), at(&other, 3.0));
    const STEPS: usize = 2000;
    for pixel in 0..5 {
        let level = |i: usize| at(&one, 10.0 * i as f64 / STEPS as f64)[pixel][0];
        let levels: Vec<f64> = (0..=STEPS).map(level).collect();
        assert!(levels.iter().all(|l| (0.2 - EXACT..=1.0 + EXACT).contains(l)));
        assert!((levels[0] - levels[STEPS]).abs() < EXACT, "the loop closes");
        // No steeper than a sine of the fastest rate with the whole depth.
        let steepest = 0.5 * 0.8 * TAU * 0.8 * 10.0 / STEPS as f64;
        assert!(levels.windows(2).all(|w| (w[1] - w[0]).abs() <= steepest * (1.0 + 1e-9)));
        // Rates: whole turns in 10 s from 0.25 to 0.8 a second are 3 to 8; a Fourier sum finds no other.
        let amplitude = |turns: usize| {
            let part = |turn: f64| {
                let terms = levels[..STEPS].iter().enumerate();
                terms.map(|(i, l)| l * (TAU * (turns * i) as f64 / STEPS as f64 + turn).cos()).sum::<f64>()
                    / STEPS as f64
            };
            part(0.0).hypot(part(0.25 * TAU))
        };
        assert!([1, 2, 9, 10, 11, 16, 24].into_iter().all(|turns| amplitude(turns) < 1e-9));
        assert!((3..=8).map(amplitude).fold(0.0, f64::max) > 0.02, "it does flicker");
    }
}

#[test]
fn gamma_bends_and_eight_bits_step() {
    let at_start = |light: &str| at(&scene(TWO, light), 0.0)[0].clone();
    // (128/255)^2.2 = 0.21952, worked by logarithms.
    let bent = at_start("{colour: \"#808080\", pattern: {gamma: 2.2, steps: none, pulse: {period_s: 1}}}");
    near(&bent, [0.219_52; 3], 5e-6);
    let sent = at_start("{colour: \"#808080\", pattern: {gamma: 2.2, pulse: {period_s: 1}}}");
    near(&sent, [56.0 / 255.0; 3], EXACT);
    // The level dims after the curve: 0.3 of it is 16.79 steps.
    let dimmed = at_start("{colour: \"#808080\", level: 0.3, pattern: {gamma: 2.2, pulse: {period_s: 1}}}");
    near(&dimmed, [17.0 / 255.0; 3], EXACT);
    near(&at_start("{level: 0.0019, pattern: {pulse: {period_s: 1}}}"), [0.0; 3], EXACT);
}

#[test]
fn dithering_mixes_neighbouring_steps_to_the_mean() {
    let level = 10.3 / 255.0;
    let scene = scene(
        TWO,
        &format!(
            "{{level: {level}, pattern: {{dithering_per_s: 50, frames_per_s: 25, pulse: {{period_s: 4, depth: 0}}}}}}"
        ),
    );
    let codes: Vec<f64> = (0..100).map(|i| 255.0 * at(&scene, f64::from(i) / 25.0)[0][0]).collect();
    assert!(codes.iter().all(|c| (10.0 - 1e-9..=11.0 + 1e-9).contains(c)));
    assert!(codes.windows(2).any(|w| w[0] != w[1]), "it changes");
    // 200 sendings, spread evenly: the mean is right to about 2/200 of a step.
    let mean = codes.iter().sum::<f64>() / 100.0;
    assert!((mean - 10.3).abs() < 0.01 + 1e-9, "{mean}");
}

fn with_picture(name: &str, bytes: &[u8], keys: &str) -> Result<weftlight::scene::Scene, String> {
    let folder = tempfile::tempdir().expect("a folder");
    if !bytes.is_empty() {
        std::fs::write(folder.path().join(name), bytes).expect("written");
    }
    let text = format!(
        "pixels: [grid: {{columns: 2, rows: 2, pitch_mm: 10}}]\nstack: []\nlight: {{pattern: {{steps: none, picture: {{file: {name}{keys}}}}}}}\n"
    );
    let path = folder.path().join("s.yaml");
    std::fs::write(&path, text).expect("written");
    read_with_warnings(Path::new(&path))
        .map(|resolved| resolved.scene)
        .map_err(|faults| format!("{faults:?}"))
}

fn png(pixels: &[[u8; 3]], width: u32) -> Vec<u8> {
    let flat: Vec<u8> = pixels.iter().flatten().copied().collect();
    let picture = image::RgbImage::from_raw(width, pixels.len() as u32 / width, flat).expect("fits");
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Png).expect("encoded");
    bytes.into_inner()
}

/// A GIF of one colour a picture.
fn gif(pictures: &[([u8; 3], u16)]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = gif::Encoder::new(&mut bytes, 2, 2, &[]).expect("begun");
    for (colour, delay) in pictures {
        let mut frame = gif::Frame::from_palette_pixels(2, 2, [0; 4], colour.to_vec(), None);
        frame.delay = *delay;
        encoder.write_frame(&frame).expect("written");
    }
    drop(encoder);
    bytes
}

#[test]
fn pictures_lie_over_the_pixels() {
    let four = [[255, 0, 0], [0, 255, 0], [0, 0, 255], [255, 255, 255]];
    let whole = with_picture("four.png", &png(&four, 2), "").expect("in order");
    // The wiring runs to and fro: upper left, upper right, lower right, lower left.
    for (levels, expected) in at(&whole, 0.3).iter().zip([four[0], four[1], four[3], four[2]]) {
        near(levels, expected.map(|c| f64::from(c) / 255.0), CODE);
    }
    // Half as wide: each cell of 10 mm holds 5 mm by 5 mm of it, the rest is black.
    let small = with_picture("four.png", &png(&four, 2), ", width_mm: 10").expect("in order");
    near(&at(&small, 0.0)[0], [0.25, 0.0, 0.0], CODE);
    near(&at(&small, 0.0)[2], [0.25; 3], CODE);
    // Moved up by half a cell: the upper cells see half of each row of the picture, the lower ones half of the lower row.
    let moved =
        with_picture("four.png", &png(&four, 2), ", centre_mm: [0, 5], width_mm: 20").expect("in order");
    near(&at(&moved, 0.0)[0], [0.5, 0.0, 0.5], CODE);
    near(&at(&moved, 0.0)[3], [0.0, 0.0, 0.5], CODE);
}

#[test]
fn moving_pictures_keep_their_delays() {
    let scene = with_picture("m.gif", &gif(&[([255, 0, 0], 10), ([0, 255, 0], 30), ([0, 0, 255], 0)]), "")
        .expect("in order");
    // 0.1 s, 0.3 s, and 0, which counts as 0.1 s.
    assert!((scene.pattern.as_ref().expect("a pattern").duration_s - 0.5).abs() < EXACT);
    for (time_s, expected) in [
        (0.05, [1.0, 0.0, 0.0]),
        (0.15, [0.0, 1.0, 0.0]),
        (0.39, [0.0, 1.0, 0.0]),
        (0.45, [0.0, 0.0, 1.0]),
        (0.55, [1.0, 0.0, 0.0]),
    ] {
        near(&at(&scene, time_s)[1], expected, CODE);
    }
}

#[test]
fn bad_pictures_are_told() {
    for (bytes, words) in [
        (Vec::new(), "there is no such file"),
        (b"not a picture at all".to_vec(), "no PNG, JPEG, WebP or GIF"),
        (gif(&vec![([9, 9, 9], 2); 10_000]), "more than 2000 pictures"),
        (gif(&[([9, 9, 9], 2)])[..20].to_vec(), "the picture cannot be used"),
    ] {
        let told = with_picture("p.gif", &bytes, "").expect_err("refused");
        assert!(told.contains(words), "{words}: {told}");
    }
}

#[test]
fn bad_patterns_are_told_with_what_is_allowed() {
    for (light, words) in [
        ("{pattern: {keyframes: [{at_s: 0}]}}", "the pattern has no length"),
        ("{pattern: {duration_s: 0, pulse: {period_s: 1}}}", "0.02 to 3600 s"),
        ("{pattern: {pulse: {period_s: 0}}}", "0.02 to 3600 s"),
        ("{pattern: {}}", "needs one of the keys"),
        ("{pattern: {pulse: {period_s: 1}, ember: {}}}", "exclude each other"),
        ("{pattern: {pulze: {period_s: 1}}}", "Did you mean `pulse`?"),
        ("{pattern: {ember: {depht: 0.5}}}", "Did you mean `depth`?"),
        ("{pattern: {keyframes: [{at_s: 2}, {at_s: 1}]}}", "must follow one another in time"),
        ("{pattern: {duration_s: 1, keyframes: [{at_s: 2}]}}", "after the end of the loop"),
        ("{pattern: {keyframes: [{at_s: 2, group: 4}]}}", "there is no group 4"),
        (
            "{pattern: {duration_s: 1, ember: {slowest_per_s: 0.2, fastest_per_s: 0.8}}}",
            "no swell of this ember closes",
        ),
        ("{pattern: {steps: none, dithering_per_s: 100, ember: {}}}", "nothing to dither"),
        ("{pattern: {gradient: {colours: [\"#ff0000\"], period_s: 1}}}", "2 to 256"),
        ("{pattern: {picture: {file: p.gif}}}", "pictures cannot be read here"),
    ] {
        let told = format!("{:?}", try_scene(TWO, light).expect_err(light));
        assert!(told.contains(words), "{light}: {told}");
    }
}
