//! How long the solution of a stack takes: one and three layers, white and dyed, at the wavelengths of all dies.
use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use weftlight::light::spots::spots;
use weftlight::light::{Layer, Optics, Stack};
use weftlight::quantity::{Millimetres, PerMillimetre};

/// Wavelengths at which the picture solves a stack for red, green, blue and white dies.
const WAVELENGTHS: usize = 15;

fn layer(gap: f64, thickness: f64, tau: f64, albedo: f64, openness: f64) -> Layer {
    Layer {
        gap_below: Millimetres(gap),
        thickness: Millimetres(thickness),
        optics: Optics { extinction: PerMillimetre(tau / thickness), albedo, asymmetry: 0.72, openness },
    }
}

/// A dyed stack at every wavelength: the albedo changes from one to the next.
fn stacks(layers: usize) -> Vec<Stack> {
    (0..WAVELENGTHS)
        .map(|i| {
            let albedo = 0.90 + 0.099 * (i as f64 / (WAVELENGTHS - 1) as f64);
            let all = [
                layer(6.0, 3.0, 12.0, albedo, 0.0),
                layer(2.0, 0.6, 3.0, albedo - 0.01, 0.1),
                layer(1.0, 0.15, 1.0, albedo, 0.4),
            ];
            Stack { board_reflectance: 0.5, layers: all[..layers].to_vec() }
        })
        .collect()
}

fn solve(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("solve");
    group.sample_size(20);
    for layers in [1, 3] {
        let dyed = stacks(layers);
        group.bench_function(format!("{layers} layers, dyed, {WAVELENGTHS} wavelengths"), |b| {
            b.iter(|| spots(black_box(&dyed), 1.0));
        });
        let white = vec![dyed[0].clone(); WAVELENGTHS];
        group.bench_function(format!("{layers} layers, white"), |b| b.iter(|| spots(black_box(&white), 1.0)));
    }
    group.finish();
}

criterion_group!(benches, solve);
criterion_main!(benches);
