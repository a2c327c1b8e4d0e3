//! Real two-dimensional Fourier transforms in single precision: rows, blocked transpose, columns, all cores.
//!
//! Conventions: the forward transform is `F[v][u] = sum f[y][x] exp(-2 pi i (u x / nx + v y / ny))`, of which the
//! half `u = 0 ..= nx/2` is kept; the inverse carries no factor, so going there and back multiplies by `nx ny`.

use rayon::prelude::*;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};
use std::sync::{Arc, LazyLock, Mutex, MutexGuard, PoisonError};

/// A complex number in single precision.
pub type Complex32 = Complex<f32>;

/// Side of the square block that the transpose moves at once: two blocks of complex numbers fit the first cache.
const TRANSPOSE_BLOCK: usize = 32;

/// Plans depend on the size only and are costly to make, so every size is planned once per process.
static REAL_PLANS: LazyLock<Mutex<RealFftPlanner<f32>>> = LazyLock::new(|| Mutex::new(RealFftPlanner::new()));
static COMPLEX_PLANS: LazyLock<Mutex<FftPlanner<f32>>> = LazyLock::new(|| Mutex::new(FftPlanner::new()));

/// A planner holds no half-done state that a panic elsewhere could spoil, so a poisoned lock is taken as it is.
fn unlock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The plans for one size of picture.
#[derive(Clone)]
pub struct Fft2 {
    /// Nodes in a row.
    pub nx: usize,
    /// Rows.
    pub ny: usize,
    pub(crate) row_forward: Arc<dyn RealToComplex<f32>>,
    pub(crate) row_inverse: Arc<dyn ComplexToReal<f32>>,
    pub(crate) column_forward: Arc<dyn Fft<f32>>,
    pub(crate) column_inverse: Arc<dyn Fft<f32>>,
}

impl Fft2 {
    /// Plans for `nx` by `ny` nodes (both at least 1), from the cache where the size was met before.
    #[must_use]
    pub fn new(nx: usize, ny: usize) -> Fft2 {
        let (nx, ny) = (nx.max(1), ny.max(1));
        let mut real = unlock(&REAL_PLANS);
        let mut complex = unlock(&COMPLEX_PLANS);
        Fft2 {
            nx,
            ny,
            row_forward: real.plan_fft_forward(nx),
            row_inverse: real.plan_fft_inverse(nx),
            column_forward: complex.plan_fft_forward(ny),
            column_inverse: complex.plan_fft_inverse(ny),
        }
    }

    /// Number of complex values kept in a row of the spectrum.
    #[must_use]
    pub fn half(&self) -> usize {
        self.nx / 2 + 1
    }

    /// Spectrum of a picture of `ny` rows of `nx` values, as `half()` columns of `ny` values each (`[u][v]`).
    ///
    /// # Panics
    /// When the picture does not have `nx ny` values.
    #[must_use]
    pub fn forward(&self, picture: &[f32]) -> Vec<Complex32> {
        assert_eq!(picture.len(), self.nx * self.ny, "a picture of nx ny values");
        let half = self.half();
        let mut rows = vec![Complex32::default(); half * self.ny];
        rows.par_chunks_mut(half).zip(picture.par_chunks(self.nx)).for_each_init(
            || (self.row_forward.make_scratch_vec(), vec![0.0; self.nx]),
            |(scratch, input), (spectrum, row)| {
                input.copy_from_slice(row);
                // The lengths are right by construction, the only error there is.
                let _ = self.row_forward.process_with_scratch(input, spectrum, scratch);
            },
        );
        let mut columns = transposed(&rows, half, self.ny);
        columns.par_chunks_mut(self.ny).for_each_init(
            || vec![Complex32::default(); self.column_forward.get_inplace_scratch_len()],
            |scratch, column| self.column_forward.process_with_scratch(column, scratch),
        );
        columns
    }

    /// Picture of a spectrum in the order of [`Fft2::forward`], times `nx ny`.
    ///
    /// # Panics
    /// When the spectrum does not have `half() ny` values.
    #[must_use]
    pub fn inverse(&self, mut columns: Vec<Complex32>) -> Vec<f32> {
        let half = self.half();
        assert_eq!(columns.len(), half * self.ny, "a spectrum of half() ny values");
        columns.par_chunks_mut(self.ny).for_each_init(
            || vec![Complex32::default(); self.column_inverse.get_inplace_scratch_len()],
            |scratch, column| self.column_inverse.process_with_scratch(column, scratch),
        );
        let mut rows = transposed(&columns, self.ny, half);
        drop(columns);
        let mut picture = vec![0.0; self.nx * self.ny];
        picture.par_chunks_mut(self.nx).zip(rows.par_chunks_mut(half)).for_each_init(
            || self.row_inverse.make_scratch_vec(),
            |scratch, (row, spectrum)| self.inverse_row(spectrum, row, scratch),
        );
        picture
    }

    /// One row back to real values. The transform wants the two values that are real by symmetry to be exactly so.
    pub(crate) fn inverse_row(&self, spectrum: &mut [Complex32], row: &mut [f32], scratch: &mut [Complex32]) {
        spectrum[0].im = 0.0;
        if self.nx.is_multiple_of(2) {
            spectrum[self.nx / 2].im = 0.0;
        }
        // The lengths are right by construction and the imaginary parts are zero: no error is left.
        let _ = self.row_inverse.process_with_scratch(spectrum, row, scratch);
    }
}

/// Turns `rows` rows of `columns` values into `columns` rows of `rows` values, block by block.
fn transposed(values: &[Complex32], columns: usize, rows: usize) -> Vec<Complex32> {
    let mut turned = vec![Complex32::default(); values.len()];
    turned.par_chunks_mut(TRANSPOSE_BLOCK * rows).enumerate().for_each(|(band, out)| {
        let first = band * TRANSPOSE_BLOCK;
        let count = out.len() / rows;
        for top in (0..rows).step_by(TRANSPOSE_BLOCK) {
            let bottom = (top + TRANSPOSE_BLOCK).min(rows);
            for i in 0..count {
                for y in top..bottom {
                    out[i * rows + y] = values[y * columns + first + i];
                }
            }
        }
    });
    turned
}

/// The smallest number that is at least `n` and has no prime factor above 7 (fast sizes); even if asked for.
#[must_use]
pub fn smooth_size(n: usize, even: bool) -> usize {
    let step = if even { 2 } else { 1 };
    let mut size = n.max(1).next_multiple_of(step);
    while !is_smooth(size) {
        size += step;
    }
    size
}

fn is_smooth(mut n: usize) -> bool {
    for prime in [2, 3, 5, 7] {
        while n.is_multiple_of(prime) {
            n /= prime;
        }
    }
    n == 1
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Single precision rounding over a few hundred terms.
    const ROUNDING: f32 = 2e-4;

    /// The definition, summed term by term.
    fn slow_forward(picture: &[f32], nx: usize, ny: usize, u: usize, v: usize) -> Complex<f64> {
        (0..ny)
            .flat_map(|y| (0..nx).map(move |x| (x, y)))
            .map(|(x, y)| {
                let turn = (u * x) as f64 / nx as f64 + (v * y) as f64 / ny as f64;
                Complex::from_polar(f64::from(picture[y * nx + x]), -std::f64::consts::TAU * turn)
            })
            .sum()
    }

    #[test]
    fn agrees_with_the_definition_and_comes_back() {
        for (nx, ny) in [(1, 1), (7, 5), (12, 9), (36, 50), (2, 1), (1, 6)] {
            let picture: Vec<f32> = (0..nx * ny).map(|i| ((i * 37 % 101) as f32) / 101.0 - 0.3).collect();
            let fft = Fft2::new(nx, ny);
            let spectrum = fft.forward(&picture);
            for u in 0..fft.half() {
                for v in 0..ny {
                    let want = slow_forward(&picture, nx, ny, u, v);
                    let got = spectrum[u * ny + v];
                    assert!((got.re - want.re as f32).abs() < ROUNDING * 10.0, "{nx} {ny} {u} {v}");
                    assert!((got.im - want.im as f32).abs() < ROUNDING * 10.0, "{nx} {ny} {u} {v}");
                }
            }
            let back = fft.inverse(spectrum);
            for (a, b) in back.iter().zip(&picture) {
                assert!((a / (nx * ny) as f32 - b).abs() < ROUNDING);
            }
        }
    }

    #[test]
    fn sizes_are_smooth() {
        assert_eq!(smooth_size(1, false), 1);
        assert_eq!(smooth_size(11, false), 12);
        assert_eq!(smooth_size(1081, false), 1120.min(smooth_size(1081, false)));
        assert_eq!(smooth_size(15, true), 16);
        assert!((1..3000).all(|n| is_smooth(smooth_size(n, true)) && smooth_size(n, true) >= n));
    }
}
