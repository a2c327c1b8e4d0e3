//! Between arbitrary places and a regular grid, with the accuracy of a Fourier transform.
//!
//! Model: a point of weight 1 at the place g (in units of the grid step) is spread over the nearest [`WIDTH`] nodes
//! with the weights `phi(j - g)`. The discrete spectrum of these nodes is the point's own spectrum
//! `exp(-i kappa g)` times `phi^(kappa)`, apart from aliases `phi^(kappa + 2 pi m)`; dividing by `phi^` leaves the exact
//! spectrum of the point. The adjoint of this reads a band-limited picture at arbitrary places: divide its spectrum by
//! `phi^`, transform back, and sum the nodes near the place with the same weights.
//!
//! `phi` is the Kaiser-Bessel window
//! `phi(x) = I0(beta sqrt(1 - (2x/w)^2)) / N`, whose transform is `phi^(kappa) = S(kappa) / S(0)` with
//! `S(kappa) = sinh(sqrt(beta^2 - (w kappa/2)^2)) / sqrt(beta^2 - (w kappa/2)^2)`.
//!
//! Sources: Fessler & Sutton, Nonuniform fast Fourier transforms using min-max interpolation (2003); Beatty, Nishimura &
//! Pauly, Rapid gridding reconstruction with a minimal oversampling ratio (2005), for the choice of beta; Barnett, Magland &
//! af Klinteberg, A parallel nonuniform fast Fourier transform library based on an exponential of semicircle kernel (2019),
//! for the error of such windows. All from memory; the tests compare with sums over the definition.
//!
//! Validity: the alias at `kappa` is below 1e-6 up to two thirds of the grid's Nyquist frequency and rises to 1 at that
//! frequency, so what is gridded must have died away there. The spots of this program do: see [`super::plane`].
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | kappa | angular frequency | rad per node |
//! | w | width of the window, [`WIDTH`] | nodes |
//! | beta | shape, [`BETA`] | 1 |

use pxfm::f_i0;
use rayon::prelude::*;
use std::sync::LazyLock;

/// Width of the window in nodes. Each node less costs about a factor 8 in accuracy; each node more costs time.
pub const WIDTH: usize = 8;

/// Shape of the window, `pi w (1 - 1 / (2 s))` with `s = 1.5`: aliases of frequencies below two thirds of Nyquist fall
/// outside the main lobe. A larger value worsens the alias beyond, a smaller one that below.
pub const BETA: f64 = std::f64::consts::PI * (WIDTH as f64) * (2.0 / 3.0);

/// Entries of the window's table per node; straight lines between them err by 1e-7 of the window's peak.
const PER_NODE: usize = 2048;

/// `phi(x)` at the places `i / PER_NODE` from 0 to half the width: a Bessel function for each weight would cost more than the
/// transforms.
static WINDOW: LazyLock<Vec<f64>> = LazyLock::new(|| {
    // int phi dx = w S(0), so that phi^(0) = 1.
    let norm = 1.0 / (WIDTH as f64 * sinhc_of_root(BETA * BETA));
    (0..=PER_NODE * WIDTH / 2 + 1).map(|i| norm * window(i as f64 / PER_NODE as f64)).collect()
});

/// `phi(x)` from the table.
fn tabulated_window(table: &[f64], x: f64) -> f64 {
    let at = x.abs() * PER_NODE as f64;
    let i = at as usize;
    match (table.get(i), table.get(i + 1)) {
        (Some(low), Some(high)) => low + (at - i as f64) * (high - low),
        _ => 0.0,
    }
}

/// `phi(x)` without its normalisation; zero outside the window.
fn window(x: f64) -> f64 {
    let share = 2.0 * x / WIDTH as f64;
    let inside = 1.0 - share * share;
    if inside < 0.0 { 0.0 } else { f_i0(BETA * inside.sqrt()) }
}

/// `sinh(sqrt(z)) / sqrt(z)`, continued to negative z.
fn sinhc_of_root(z: f64) -> f64 {
    if z > 1e-12 {
        z.sqrt().sinh() / z.sqrt()
    } else if z < -1e-12 {
        (-z).sqrt().sin() / (-z).sqrt()
    } else {
        1.0
    }
}

/// `phi^(kappa)`, 1 at zero, at the angular frequency `kappa` in radians per node.
#[must_use]
pub fn window_transform(kappa: f64) -> f64 {
    let half = 0.5 * WIDTH as f64 * kappa;
    sinhc_of_root(BETA * BETA - half * half) / sinhc_of_root(BETA * BETA)
}

/// The nodes and weights that belong to one coordinate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stencil {
    /// Index of the first of the [`WIDTH`] nodes; may be negative.
    pub first: i64,
    /// Weight of each node.
    pub weights: [f32; WIDTH],
}

impl Stencil {
    /// The stencil of the coordinate `g`, in units of the grid step.
    #[must_use]
    pub fn at(g: f64) -> Stencil {
        let first = (g - 0.5 * WIDTH as f64).ceil();
        let table: &[f64] = &WINDOW;
        let weights = std::array::from_fn(|i| tabulated_window(table, first + i as f64 - g) as f32);
        Stencil { first: first as i64, weights }
    }
}

/// A regular lattice of places: `x = x0 + i step`, `y = y0 - j step` (rows go downwards, y upwards).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lattice {
    /// x of the first node, in mm.
    pub x0_mm: f64,
    /// y of the first node, in mm.
    pub y0_mm: f64,
    /// Distance between nodes, in mm.
    pub step_mm: f64,
    /// Nodes in a row.
    pub columns: usize,
    /// Rows.
    pub rows: usize,
}

impl Lattice {
    /// Column and row, with fractions, of a place.
    #[must_use]
    pub fn coordinates(&self, x_mm: f64, y_mm: f64) -> [f64; 2] {
        [(x_mm - self.x0_mm) / self.step_mm, (self.y0_mm - y_mm) / self.step_mm]
    }

    /// The coarser lattice that carries a stencil around every node of this one.
    #[must_use]
    pub fn cover(&self, step_mm: f64) -> Lattice {
        let margin = 0.5 * WIDTH as f64;
        let nodes =
            |n: usize| (n.saturating_sub(1) as f64 * self.step_mm / step_mm).ceil() as usize + WIDTH + 1;
        Lattice {
            x0_mm: self.x0_mm - margin * step_mm,
            y0_mm: self.y0_mm + margin * step_mm,
            step_mm,
            columns: nodes(self.columns),
            rows: nodes(self.rows),
        }
    }
}

/// Reads the (already corrected) values of one lattice at the nodes of another and adds them to `sums`.
///
/// Separable: along the rows first, then down the columns. `values` has `from.rows` rows of `from.columns`, `sums`
/// has `to.rows` rows of `to.columns`. `from` must cover `to` (see [`Lattice::cover`]); what lies outside counts as zero.
pub fn interpolate_onto(sums: &mut [f32], to: &Lattice, values: &[f32], from: &Lattice) {
    if to.columns == 0 || to.rows == 0 {
        return;
    }
    let ratio = to.step_mm / from.step_mm;
    let [gx, gy] = from.coordinates(to.x0_mm, to.y0_mm);
    let across: Vec<Stencil> = (0..to.columns).map(|i| Stencil::at(gx + i as f64 * ratio)).collect();
    let mut stretched = vec![0.0_f32; from.rows * to.columns];
    stretched.par_chunks_mut(to.columns).zip(values.par_chunks(from.columns)).for_each(|(out, row)| {
        for (value, stencil) in out.iter_mut().zip(&across) {
            *value = stencil_sum(stencil, row);
        }
    });
    sums.par_chunks_mut(to.columns).enumerate().for_each(|(j, out)| {
        let stencil = Stencil::at(gy + j as f64 * ratio);
        match usize::try_from(stencil.first) {
            Ok(first) if first + WIDTH <= from.rows => {
                let rows = &stretched[first * to.columns..(first + WIDTH) * to.columns];
                add_weighted_rows(out, rows, &stencil.weights);
            }
            _ => {
                for (i, weight) in stencil.weights.iter().enumerate() {
                    let Ok(row) = usize::try_from(stencil.first + i as i64) else { continue };
                    if row < from.rows {
                        let line = &stretched[row * to.columns..(row + 1) * to.columns];
                        out.iter_mut().zip(line).for_each(|(o, v)| *o += weight * v);
                    }
                }
            }
        }
    });
}

fn stencil_sum(stencil: &Stencil, row: &[f32]) -> f32 {
    match usize::try_from(stencil.first) {
        Ok(first) if first + WIDTH <= row.len() => {
            row[first..first + WIDTH].iter().zip(&stencil.weights).map(|(v, w)| v * w).sum()
        }
        _ => (0..WIDTH)
            .filter_map(|i| {
                let node = usize::try_from(stencil.first + i as i64).ok()?;
                row.get(node).map(|v| v * stencil.weights[i])
            })
            .sum(),
    }
}

/// Adds [`WIDTH`] rows lying one after the other, each times its weight: four rows a pass, so that the sums are read and
/// written twice and the loop is plain enough to be turned into vector instructions.
fn add_weighted_rows(out: &mut [f32], rows: &[f32], weights: &[f32; WIDTH]) {
    let n = out.len();
    for (four, w) in rows.chunks_exact(4 * n).zip(weights.chunks_exact(4)) {
        let (ab, cd) = four.split_at(2 * n);
        let ((a, b), (c, d)) = (ab.split_at(n), cd.split_at(n));
        for ((((sum, a), b), c), d) in out.iter_mut().zip(a).zip(b).zip(c).zip(d) {
            *sum += (w[0] * a + w[1] * b) + (w[2] * c + w[3] * d);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Single precision weights.
    const ROUNDING: f64 = 1e-6;

    #[test]
    fn the_transform_is_that_of_the_window() {
        // Against the definition, summed finely.
        for kappa in [0.0, 0.3, 1.0, 2.0, 3.0, 4.5] {
            let n = 4000;
            let step = WIDTH as f64 / n as f64;
            let sum = |f: &dyn Fn(f64) -> f64| -> f64 {
                (0..n)
                    .map(|i| -0.5 * WIDTH as f64 + (i as f64 + 0.5) * step)
                    .map(|x| window(x) * f(x) * step)
                    .sum()
            };
            let want = sum(&|x| (kappa * x).cos()) / sum(&|_| 1.0);
            assert!(
                (window_transform(kappa) - want).abs() < 1e-7,
                "{kappa}: {} {want}",
                window_transform(kappa)
            );
        }
    }

    #[test]
    fn a_stencil_carries_the_spectrum_of_its_point() {
        // Source: the definition of the Fourier transform of a point, exp(-i kappa g).
        for g in [0.0, 0.25, 3.5, -2.75, 10.999] {
            let stencil = Stencil::at(g);
            for kappa in [0.0, 0.5, 1.0, 1.5, 2.0] {
                let (mut re, mut im) = (0.0, 0.0);
                for (i, w) in stencil.weights.iter().enumerate() {
                    let x = (stencil.first + i as i64) as f64;
                    re += f64::from(*w) * (kappa * x).cos();
                    im -= f64::from(*w) * (kappa * x).sin();
                }
                let scale = 1.0 / window_transform(kappa);
                let error = ((re * scale - (kappa * g).cos()).powi(2)
                    + (im * scale + (kappa * g).sin()).powi(2))
                .sqrt();
                assert!(error < ROUNDING * scale.max(2.0), "{g} {kappa}: {error}");
            }
        }
    }

    #[test]
    fn reading_between_nodes_is_exact_for_low_frequencies() {
        let to = Lattice { x0_mm: 0.3, y0_mm: -0.2, step_mm: 0.11, columns: 33, rows: 21 };
        let from = to.cover(0.5);
        let (fx, fy) = (1.3, 2.2);
        let f = |x: f64, y: f64| 0.7 + (fx * x + 0.4).cos() * (fy * y).sin();
        let correct = window_transform(fx * 0.5) * window_transform(fy * 0.5);
        let values: Vec<f32> = (0..from.rows * from.columns)
            .map(|i| {
                let x = from.x0_mm + (i % from.columns) as f64 * 0.5;
                let y = from.y0_mm - (i / from.columns) as f64 * 0.5;
                (0.7 + (f(x, y) - 0.7) / correct) as f32
            })
            .collect();
        let mut sums = vec![0.0; to.rows * to.columns];
        interpolate_onto(&mut sums, &to, &values, &from);
        for (i, got) in sums.iter().enumerate() {
            let x = to.x0_mm + (i % to.columns) as f64 * to.step_mm;
            let y = to.y0_mm - (i / to.columns) as f64 * to.step_mm;
            assert!((f64::from(*got) - f(x, y)).abs() < 5.0 * ROUNDING, "{i}: {got} {}", f(x, y));
        }
    }
}
