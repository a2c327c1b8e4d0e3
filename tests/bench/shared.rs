//! What several benches share: a block of points, the bare transforms, times taken in turn.
#![allow(dead_code, reason = "no bench needs all of it")]

use std::hint::black_box;
use std::time::Instant;
use weftlight::picture::fft2::Fft2;
use weftlight::picture::plane::SpotPoint;

/// Points in an oblong block off the grid, filling most of a frame of this size in image pixels of 1 mm.
pub(crate) fn block(size: [u32; 2], count: u32) -> Vec<SpotPoint> {
    let columns = (f64::from(count) * f64::from(size[0]) / f64::from(size[1])).sqrt().ceil() as u32;
    let pitch = 0.9 * f64::from(size[0]) / f64::from(columns);
    let rows = count.div_ceil(columns);
    (0..count)
        .map(|i| SpotPoint {
            x_mm: (f64::from(i % columns) - 0.5 * f64::from(columns - 1)) * pitch + 0.123,
            y_mm: (f64::from(i / columns) - 0.5 * f64::from(rows - 1)) * pitch - 0.321,
            amount: 1.0,
        })
        .collect()
}

/// Three forward and three inverse transforms.
pub(crate) fn bare_transforms(fft: &Fft2, input: &[f32]) -> f32 {
    let spectra: Vec<_> = (0..3).map(|_| fft.forward(black_box(input))).collect();
    spectra.into_iter().map(|s| fft.inverse(s)[0]).sum()
}

/// How long some work takes, in seconds.
pub(crate) fn seconds<T>(work: impl FnOnce() -> T) -> f64 {
    let start = Instant::now();
    black_box(work());
    start.elapsed().as_secs_f64()
}

/// The middle one of an odd number of values.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
