//! Fillings: rows of pixels inside an outline, in wiring order.
//!
//! # Model
//! Rows lie `rows_mm` apart and pixels `pitch_mm` apart in them, on one lattice that is centred in what the seam allowance leaves of
//! the outline's box; only places that lie at least the seam allowance inside are taken. The rows follow one another from the side
//! to the left of their direction (from the top, for rows to the right). In zigzag every second row runs back, its
//! packages turned around, as a strip laid to and fro lies.

use super::curve::FIT_MM;
use super::layout::{Place, direction};
use super::outline::{NoOutline, Outline};
use crate::quantity::Millimetres;
use kurbo::{Affine, BezPath};

/// How an outline is filled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Filling {
    /// Distance from pixel to pixel in a row.
    pub pitch_mm: f64,
    /// Distance from row to row.
    pub rows_mm: f64,
    /// Kept free along the edge.
    pub seam_mm: f64,
    /// Where the rows run: 0 to the right, anticlockwise.
    pub direction_rad: f64,
    /// Every second row runs back.
    pub zigzag: bool,
}

/// Rows across one outline; bounds the time. Ten metres take so many rows of 1 mm.
pub const MOST_ROWS: usize = 10_000;

/// Why an outline cannot be filled.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoFilling {
    /// It is no outline.
    #[error(transparent)]
    Outline(#[from] NoOutline),
    /// The rows are too close together for its size.
    #[error("the outline would take {rows} rows, at most {MOST_ROWS}")]
    TooManyRows {
        /// Rows across it.
        rows: usize,
    },
}

/// A filled outline.
#[derive(Clone, Debug, PartialEq)]
pub struct Filled {
    /// The pixels in wiring order; one more than `most` when there would be more.
    pub places: Vec<Place>,
    /// Rows that hold pixels.
    pub rows: usize,
    /// Pixels of each unbroken run, in wiring order: holes and bays break a row into several.
    pub runs: Vec<usize>,
}

impl Filling {
    /// Fills the outline that a path draws. Ends after `most` pixels and one.
    ///
    /// # Errors
    /// As [`Outline::of`]; also when there are more than [`MOST_ROWS`].
    pub fn of(&self, path: &BezPath, most: usize) -> Result<Filled, NoFilling> {
        // Sound before it is turned, so that a fault is told where it is drawn.
        Outline::of(path)?;
        let [cos, sin] = direction(self.direction_rad);
        let level = Outline::of(&(Affine::new([cos, -sin, sin, cos, 0.0, 0.0]) * path.clone()))?;
        let (low, high) = level.extent();
        let ends = |i: usize| [low[i].0 + self.seam_mm, high[i].0 - self.seam_mm];
        let (columns, rows) = (lattice(ends(0), self.pitch_mm), lattice(ends(1), self.rows_mm));
        if rows.count > MOST_ROWS {
            return Err(NoFilling::TooManyRows { rows: rows.count });
        }
        let mut filled = Filled { places: Vec::new(), rows: 0, runs: Vec::new() };
        for row in (0..rows.count).rev() {
            let y = rows.first + self.rows_mm * row as f64;
            let back = self.zigzag && filled.rows % 2 == 1;
            let stretches = level.stretches(y, self.seam_mm);
            let runs =
                stretches.iter().map(|ends| columns.within(*ends, self.pitch_mm).collect::<Vec<f64>>());
            let mut runs: Vec<Vec<f64>> = runs.filter(|run| !run.is_empty()).collect();
            if runs.is_empty() {
                continue;
            }
            if back {
                runs.reverse();
                runs.iter_mut().for_each(|run| run.reverse());
            }
            filled.runs.extend(runs.iter().map(Vec::len));
            let turn_rad = self.direction_rad + if back { std::f64::consts::PI } else { 0.0 };
            filled.places.extend(
                runs.into_iter()
                    .flatten()
                    .map(|x| Place { at: [cos * x - sin * y, sin * x + cos * y].map(Millimetres), turn_rad }),
            );
            filled.rows += 1;
            if filled.places.len() > most {
                filled.places.truncate(most + 1);
                break;
            }
        }
        Ok(filled)
    }
}

/// Evenly spaced places, centred between two ends.
#[derive(Clone, Copy)]
struct Lattice {
    first: f64,
    count: usize,
}

fn lattice([low, high]: [f64; 2], step: f64) -> Lattice {
    let room = high - low;
    if room < 0.0 {
        return Lattice { first: low, count: 0 };
    }
    let steps = ((room + FIT_MM) / step).floor();
    Lattice { first: low + 0.5 * (room - steps * step), count: steps as usize + 1 }
}

impl Lattice {
    /// Its places between two ends.
    fn within(self, [low, high]: [f64; 2], step: f64) -> impl Iterator<Item = f64> {
        // Rounding must neither lose a place that lies on the edge nor take one that lies beyond it.
        const ROUNDING_MM: f64 = 1e-9;
        let from = ((low - self.first - ROUNDING_MM) / step).ceil().max(0.0);
        let to = ((high - self.first + ROUNDING_MM) / step).floor().min(self.count as f64 - 1.0);
        let places = if to >= from { (to - from) as usize + 1 } else { 0 };
        (0..places).map(move |i| self.first + step * (from + i as f64))
    }
}

#[cfg(test)]
mod tests;
