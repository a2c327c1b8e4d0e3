//! How long the frames of a film take, developed to 8 bits, beside the bare transforms of the same grid.
//!
//! `bare transforms`: three forward and three inverse real transforms at the size of a frame's finest grid (padding included), one frame
//! after another. `frames`: levels, luminances and development of every frame, as `weftlight motion` makes them, without encoding. Each
//! round makes both in turn, so that other work on the machine meets both.

#![allow(missing_docs, reason = "criterion's macros make public items")]
#![allow(clippy::print_stdout, reason = "the ratio is what this is about")]

mod shared;

use criterion::{Criterion, criterion_group, criterion_main};
use shared::{bare_transforms, median, seconds};
use std::time::{Duration, Instant};
use weftlight::cloth::catalogue::CatalogueOnly;
use weftlight::motion::{frames, timing::Timing};
use weftlight::picture::clip::developed;
use weftlight::picture::exposure::ExposureValue;
use weftlight::picture::fft2::Fft2;
use weftlight::picture::luminance::frame;
use weftlight::picture::projector::Projector;
use weftlight::scene::Scene;
use weftlight::scene::file::resolve;

/// Rounds in which frames and transforms take turns.
const ROUNDS: usize = 7;
/// Frames of one round.
const FRAMES: usize = 24;

/// 500 pixels under a cloth: close to it, so that the grid is as fine as the picture; farther off; and seen through its holes too.
const CLOTHS: [(&str, &str); 3] = [
    ("jersey at 1 mm", "{gap_mm: 1, cloth: jersey}"),
    ("felt at 8 mm", "{gap_mm: 8, cloth: felt-wool-ivory}"),
    ("organza at 2 mm", "{gap_mm: 2, cloth: organza}"),
];

fn scene(cloth: &str) -> Scene {
    let text = format!(
        "pixels: [grid: {{columns: 25, rows: 20, pitch_mm: 16}}]\nstack: [{cloth}]\nlight: {{level: 0.5, pattern: {{gradient: {{colours: \
         [\"#ff8030\", \"#4060ff\", \"#80ff40\"], period_s: 5}}}}}}\nview: {{size_px: [1280, 720]}}\n"
    );
    resolve(&text, "bench", &CatalogueOnly).expect("a sound scene").scene
}

fn film(scene: &Scene, projector: &Projector, timing: Timing) -> u64 {
    let mut sum = 0;
    let levels = |time_s: f64| frames::levels_at(scene, time_s);
    let work = |_, _, picture| Ok::<_, ()>(developed(&picture, ExposureValue(8.0)));
    let done = frames::each(projector, timing, &levels, &work, &mut |_, _, canvas| {
        sum += u64::from(canvas.rgb[0]);
        Ok(())
    });
    done.map_or(0, |()| sum)
}

fn bare(fft: &Fft2, input: &[f32]) -> f32 {
    (0..FRAMES).map(|_| bare_transforms(fft, input)).sum()
}

fn motion(c: &mut Criterion) {
    let timing = Timing::new(FRAMES as f64 / 24.0, 24.0).expect("in order");
    for (name, cloth) in CLOTHS {
        let scene = scene(cloth);
        let made = Instant::now();
        let projector = frames::projector(&scene, frame(&scene), timing);
        let ready_s = made.elapsed().as_secs_f64();
        let [nx, ny] = projector.report().map_or([1, 1], |report| report.nodes);
        let (fft, input) = (Fft2::new(nx, ny), vec![0.5_f32; nx * ny]);
        let (transforms, whole): (Vec<f64>, Vec<f64>) = (0..ROUNDS)
            .map(|_| (seconds(|| bare(&fft, &input)), seconds(|| film(&scene, &projector, timing))))
            .unzip();
        let ratio = median(transforms.iter().zip(&whole).map(|(b, w)| w / b).collect());
        println!(
            "{name} on {nx}x{ny}: ready after {:.2} s, then {:.1} frames/s with development; a frame {:.1} ms, its bare transforms {:.1} ms, \
             median of the ratios {ratio:.2}",
            ready_s,
            FRAMES as f64 / median(whole.clone()),
            1e3 * median(whole) / FRAMES as f64,
            1e3 * median(transforms) / FRAMES as f64,
        );
    }
    let scene = scene(CLOTHS[1].1);
    let projector = frames::projector(&scene, frame(&scene), timing);
    let mut group = c.benchmark_group("motion 1280x720, 500 pixels");
    group.sample_size(10).warm_up_time(Duration::from_millis(500));
    group.bench_function("24 frames behind felt", |b| b.iter(|| film(&scene, &projector, timing)));
    group.finish();
}

criterion_group!(benches, motion);
criterion_main!(benches);
