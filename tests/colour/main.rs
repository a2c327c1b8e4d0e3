//! Colour from end to end: the observer, the dies, the screen, against published tables and general-purpose libraries.

mod differences;
mod light;
mod screen;
mod tone;

use weftlight::pixels::package::Package;

/// Rounding of values of order one after a few operations.
const ROUNDING: f64 = 1e-12;
/// Rounding of a value printed with four decimals.
const FOUR_DECIMALS: f64 = 5.1e-5;

/// Rows of a reference table as cells, without its header and column names.
fn rows(text: &str) -> Vec<Vec<&str>> {
    text.lines().filter(|line| !line.starts_with('#')).skip(1).map(|line| line.split(',').collect()).collect()
}

fn numbers(row: &[&str]) -> Vec<f64> {
    row.iter().map(|cell| cell.parse().expect("a number")).collect()
}

fn package(name: &str) -> Package {
    Package::named(name).expect("a package of the table")
}

fn hue_deg(ok: [f64; 3]) -> f64 {
    ok[2].atan2(ok[1]).to_degrees()
}
