//! How long the picture takes, beside the bare transforms of the same grid.
//!
//! `bare transforms`: three forward and three inverse real transforms at the size of the picture's finest grid (padding
//! included). `picture`: the whole sum of spots, three channels into three components. `hard`: spots that need a grid as fine
//! as the image; `soft`: spots ten times as wide.

#![allow(missing_docs, reason = "criterion's macros make public items")]
#![allow(clippy::print_stdout, reason = "the ratio is what this is about")]

mod shared;

use criterion::{Criterion, criterion_group, criterion_main};
use shared::{bare_transforms, block, median, seconds};
use std::hint::black_box;
use std::time::Duration;
use weftlight::light::Window;
use weftlight::light::spread::SpotSpectrum;
use weftlight::picture::fft2::Fft2;
use weftlight::picture::plane::{Accuracy, Frame, Plane, SpotChannel, sum_of_spots};

/// Rounds in which picture and transforms take turns.
const ROUNDS: usize = 15;

/// A name, a size in image pixels, a number of points and the spots' stand-off in image pixels.
const SCENES: [(&str, [u32; 2], u32, f64); 4] = [
    ("hard_1920x1080_1000", [1920, 1080], 1_000, 5.0),
    ("soft_1920x1080_1000", [1920, 1080], 1_000, 50.0),
    ("hard_3840x2160_10000", [3840, 2160], 10_000, 5.0),
    ("soft_3840x2160_10000", [3840, 2160], 10_000, 50.0),
];

fn spot(h: f64) -> SpotSpectrum {
    let knots: Vec<f64> = (0..=1000).map(|i| 30.0 / h * (f64::from(i) / 1000.0).powi(2)).collect();
    let values = knots.iter().map(|&k| if k == 0.0 { 1.0 } else { k * h * pxfm::f_k1(k * h) }).collect();
    SpotSpectrum::new(knots, values)
}

/// Prints the picture's time over that of the bare transforms, measured in turn: whatever else the machine does meets both.
fn print_ratio(name: &str, bare: impl Fn() -> f32, picture: impl Fn() -> Plane) {
    let (bare, picture): (Vec<f64>, Vec<f64>) =
        (0..ROUNDS).map(|_| (seconds(&bare), seconds(&picture))).unzip();
    let ratio = median(bare.iter().zip(&picture).map(|(b, p)| p / b).collect());
    println!(
        "{name}: picture {:.1} ms, bare transforms {:.1} ms, median of the ratios {ratio:.2}",
        1e3 * median(picture),
        1e3 * median(bare),
    );
}

fn picture(c: &mut Criterion) {
    for (name, size, count, h) in SCENES {
        let frame = Frame::centred(0.0, 0.0, 1.0, size[0], size[1]);
        let spots = [spot(h), spot(1.01 * h), spot(1.02 * h)];
        let points = block(size, count);
        let channels: Vec<SpotChannel<'_>> = (0..3)
            .map(|_| SpotChannel {
                points: points.clone(),
                window: Window::Disc { diameter: weftlight::quantity::Millimetres(3.0) },
                window_turn_rad: 0.0,
                kernels: [Some(&spots[0]), Some(&spots[1]), Some(&spots[2])],
            })
            .collect();
        let picture = || sum_of_spots(black_box(&frame), black_box(&channels), Accuracy::Picture);
        let [nx, ny] = picture().report.nodes;
        let (fft, input) = (Fft2::new(nx, ny), vec![0.5_f32; nx * ny]);
        let group_name = format!("{name} on {nx}x{ny}");
        print_ratio(&group_name, || bare_transforms(&fft, &input), picture);
        let mut group = c.benchmark_group(group_name);
        group.sample_size(10).warm_up_time(Duration::from_millis(500));
        group.bench_function("bare transforms", |b| b.iter(|| bare_transforms(&fft, &input)));
        group.bench_function("picture", |b| b.iter(picture));
        group.finish();
    }
}

criterion_group!(benches, picture);
criterion_main!(benches);
