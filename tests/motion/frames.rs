//! Frames against stills of the same levels, and the order in which they come.

use super::at;
use weftlight::cloth::catalogue::CatalogueOnly;
use weftlight::motion::average::at_time;
use weftlight::motion::frames::{each, exposure, levels_at, projector};
use weftlight::motion::timing::Timing;
use weftlight::picture::luminance::{LuminanceImage, frame, luminance};
use weftlight::picture::render;
use weftlight::scene::Scene;
use weftlight::scene::file::resolve;

/// Over the peak: single precision, whose order of additions is not laid down.
const FLOAT: f64 = 1e-6;
/// Over the peak, where a still lays its grids for fewer pixels: the accuracy of the sum of spots (`picture::plane`).
const GRIDS: f64 = 1e-4;

/// Over the peak, where the sharpest of the spots that may ever be lit, dark in the still, softens the others a little: softening costs
/// "a few percent of the peak" (`picture::radial`).
const SOFTENED: f64 = 0.03;

fn scene(stack: &str, pattern: &str) -> Scene {
    let text = format!(
        "pixels:\n  - grid: {{columns: 5, rows: 3, pitch_mm: 12}}\n  - ring: {{package: 5050-rgbw, count: 9, diameter_mm: 50, white: 0.3, \
         centre_mm: [0, 60]}}\nstack: {stack}\nlight: {{colour: \"#ffd090\", level: 0.5, pattern: {pattern}}}\nview: {{size_px: [160, 120], room_lx: 5}}\n"
    );
    resolve(&text, "test", &CatalogueOnly).unwrap_or_else(|faults| panic!("{pattern}: {faults:?}")).scene
}

/// Largest difference over the peak.
fn difference(a: &LuminanceImage, b: &LuminanceImage) -> f64 {
    let peak = a.image.planes.iter().flatten().copied().fold(0.0, f32::max);
    let values = a.image.planes.iter().flatten().zip(b.image.planes.iter().flatten());
    f64::from(values.map(|(a, b)| (a - b).abs()).fold(0.0, f32::max) / peak)
}

#[test]
fn frames_are_the_stills_of_their_levels() {
    let drift = "{gradient: {colours: [\"#ff8040\", \"#4080ff\", \"#ffffff\"], period_s: 6}}";
    let dark = "{keyframes: [{at_s: 0, group: 0, level: 0}, {at_s: 2, group: 0, level: 1}, {at_s: 0, group: 1, level: 1}, \
                {at_s: 1, group: 1, level: 0, hold: true}]}";
    let timing = Timing::new(2.0, 6.0).expect("in order");
    for stack in [
        "[{gap_mm: 6, cloth: felt-wool-ivory}]",
        "[{gap_mm: 2, cloth: organza}]",
        "[]",
        "[{gap_mm: 3, cloth: muslin, dome: {rise_mm: 8, radius_mm: 80}}]",
    ] {
        for (pattern, within) in [(drift, FLOAT), (dark, GRIDS)] {
            let scene = scene(stack, pattern);
            let projector = projector(&scene, frame(&scene), timing);
            for i in [0, 3, 5, 10] {
                let time_s = timing.time_s(i);
                let still = luminance(&at_time(&scene, time_s));
                let made = projector.picture(&at(&scene, time_s));
                let error = difference(&still, &made);
                let aperture = |picture: &LuminanceImage| picture.report.as_ref().and_then(|r| r.aperture_mm);
                let alike = aperture(&still) == aperture(&made);
                assert!(alike || pattern == dark, "the same dies are softened alike");
                let within = if alike { within } else { SOFTENED };
                assert!(error <= within, "{stack} {pattern} at {time_s} s: {error:e}");
                assert_eq!((still.frame, still.room, still.straight), (made.frame, made.room, made.straight));
            }
        }
    }
}

#[test]
fn frames_come_in_order_and_stop_at_the_first_fault() {
    let scene = scene("[{gap_mm: 6, cloth: felt-wool-ivory}]", "{pulse: {period_s: 2}}");
    let timing = Timing::new(2.0, 12.0).expect("in order");
    let projector = projector(&scene, frame(&scene), timing);
    let levels = |time_s: f64| levels_at(&scene, time_s);
    let mut seen = Vec::new();
    let work = |i, time_s, picture: LuminanceImage| Ok::<_, usize>((i, time_s, picture.peak().0));
    let all = each(&projector, timing, &levels, &work, &mut |i, time_s, (made, made_s, peak)| {
        assert_eq!((i, time_s.to_bits()), (made, f64::to_bits(made_s)));
        assert!(peak > 0.0);
        seen.push(i);
        Ok(())
    });
    assert_eq!(all, Ok(()));
    assert_eq!(seen, (0..24).collect::<Vec<_>>());
    let mut taken = 0;
    let stopped = each(&projector, timing, &levels, &work, &mut |i, _, _| {
        taken += 1;
        if i == 5 { Err(5) } else { Ok(()) }
    });
    assert_eq!((stopped, taken), (Err(5), 6));
}

#[test]
fn one_exposure_for_the_brightest_frame() {
    let scene = scene("[{gap_mm: 6, cloth: felt-wool-ivory}]", "{pulse: {period_s: 2, depth: 0.9}}");
    let timing = Timing::new(2.0, 20.0).expect("in order");
    let projector = projector(&scene, frame(&scene), timing);
    let found = exposure(scene.view.exposure, &projector, timing, &|t| levels_at(&scene, t));
    let brightest = luminance(&at_time(&scene, 0.0));
    assert_eq!(found, render::exposure(&scene, &brightest));
}
