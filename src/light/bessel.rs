//! Bessel functions of the first kind and whole order, many at once.
//!
//! # Model
//! `J_0(x)` to `J_15(x)` are tabulated for x up to [`super::forward::FADING`]'s end and interpolated through six points, to within
//! 1e-9 (tested); beyond, and for the table itself, they come from recurrences.
//!
//! # Source
//! Abramowitz & Stegun 9.1.27 and 9.12, example 1 (Miller's algorithm); J0 and J1 from the library `pxfm`. From memory.

use super::forward::FADING;
use super::quadrature::{POINTS, lagrange};
use pxfm::{f_j0, f_j1};
use std::sync::OnceLock;

/// Orders of the table.
const ORDERS: usize = 16;
/// Places of the table for each unit of x: a sixteenth apart, six points leave a few units of 1e-10.
const PER_UNIT: f64 = 16.0;

/// The table.
#[derive(Debug)]
pub(super) struct Bessel {
    rows: Vec<[f64; ORDERS]>,
}

impl Bessel {
    pub(super) fn get() -> &'static Bessel {
        static TABLE: OnceLock<Bessel> = OnceLock::new();
        TABLE.get_or_init(|| {
            let count = (FADING[1] * PER_UNIT) as usize + POINTS;
            let row = |i: usize| {
                let mut row = [0.0; ORDERS];
                directly(&mut row, i as f64 / PER_UNIT);
                row
            };
            Bessel { rows: (0..count).map(row).collect() }
        })
    }

    /// Puts `J_0(x)`, `J_1(x)`, … into the places of `values` (at least one), x >= 0.
    pub(super) fn fill(&self, values: &mut [f64], x: f64) {
        if x >= FADING[1] || values.len() > ORDERS {
            directly(values, x);
            return;
        }
        let (start, weights) = lagrange(x * PER_UNIT, self.rows.len());
        values.fill(0.0);
        for (row, weight) in self.rows[start..start + POINTS].iter().zip(weights) {
            values.iter_mut().zip(row).for_each(|(value, v)| *value += weight * v);
        }
    }
}

/// The same without the table: upwards recurrence where it is stable (x above the order), downwards from a high order otherwise.
fn directly(values: &mut [f64], x: f64) {
    let orders = values.len();
    if orders == 1 {
        values[0] = f_j0(x);
        return;
    }
    values.fill(0.0);
    if x < 1e-12 {
        values[0] = 1.0;
        return;
    }
    if x > orders as f64 {
        values[0] = f_j0(x);
        values[1] = f_j1(x);
        for n in 1..orders - 1 {
            values[n + 1] = 2.0 * n as f64 / x * values[n] - values[n - 1];
        }
        return;
    }
    // From this order on the functions are below 1e-14.
    let start = (orders + 4).max(13 + (2.3 * x) as usize);
    let doubled = 2.0 / x;
    let (mut above, mut here) = (0.0, 1e-300);
    let mut norm = 0.0;
    for n in (1..=start).rev() {
        let below = doubled * n as f64 * here - above;
        (above, here) = (here, below);
        if n - 1 < orders {
            values[n - 1] = here;
        }
        if (n - 1) % 2 == 0 {
            norm += if n == 1 { here } else { 2.0 * here };
        }
        if here.abs() > 1e250 {
            // Keep the recurrence inside the range of numbers.
            let shrink = 1e-250;
            above *= shrink;
            here *= shrink;
            norm *= shrink;
            values.iter_mut().for_each(|v| *v *= shrink);
        }
    }
    values.iter_mut().for_each(|v| *v /= norm);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bessel_functions_have_the_handbook_values() {
        // Abramowitz & Stegun tables 9.1 and 9.4 (from memory, recomputed with scipy.special.jv 1.17).
        for (n, x, value) in [
            (0, 1.0, 0.765_197_686_557_966_6),
            (1, 1.0, 0.440_050_585_744_933_5),
            (2, 5.0, 0.046_565_116_277_752_21),
            (5, 5.0, 0.261_140_546_120_17),
            (10, 5.0, 0.001_467_802_647_310_474),
            (5, 0.1, 2.603_081_790_964_441_4e-9),
            (11, 30.0, 0.025_058_805_137_824_51),
        ] {
            let mut found = [0.0; 12];
            directly(&mut found, x);
            let found = found[n];
            assert!((found - value).abs() < 1e-12, "J{n}({x}) = {found:e}, not {value:e}");
        }
    }

    #[test]
    fn the_table_keeps_its_stated_error() {
        /// What the module promises.
        const ERROR: f64 = 1e-9;
        let mut worst = 0.0f64;
        for x in (0..20_000).map(|i| 0.0023 * f64::from(i)) {
            for orders in [1, 8, 16] {
                let (mut found, mut exact) = ([0.0; 16], [0.0; 16]);
                Bessel::get().fill(&mut found[..orders], x);
                directly(&mut exact[..orders], x);
                worst = found.iter().zip(&exact).map(|(f, e)| (f - e).abs()).fold(worst, f64::max);
            }
        }
        assert!(worst < ERROR, "{worst:e}");
    }
}
