//! The spots of the three dies behind the cloth as functions of the radius, quick to read anywhere.
//!
//! **Model.** The spot of [`crate::light::spots`] for each die's window, held at Chebyshev points over `s`, `r = L sinh(s)`, `L` the height
//! of the cloth: in `s` a spot is as smooth at its middle as in its tail.

use super::unknowns::{COLOURS, ClothNumbers};
use crate::light::Window;
use crate::light::quadrature::Interpolation;
use crate::light::spots::spots;
use std::f64::consts::PI;

/// Points over the radius: leaves 3e-4 of the peak for a window as wide as the height (tested).
const POINTS: usize = 40;

/// Everything that is fixed while cloths are tried.
#[derive(Clone, Debug)]
pub(super) struct Bench {
    pub(super) thickness_mm: f64,
    pub(super) board_reflectance: f64,
    pub(super) beam_power: f64,
    pub(super) windows: [Window; COLOURS],
}

/// Radii at which spots are held.
#[derive(Clone, Debug)]
pub(super) struct Radii {
    length_mm: f64,
    end: f64,
    interpolation: Interpolation,
    radii_mm: Vec<f64>,
}

impl Radii {
    /// From 0 to `largest_mm`, for spots that widen over `length_mm`.
    pub(super) fn new(length_mm: f64, largest_mm: f64) -> Radii {
        let end = (largest_mm / length_mm).asinh();
        let nodes: Vec<f64> =
            (0..POINTS).map(|i| 0.5 * (1.0 - (PI * i as f64 / (POINTS - 1) as f64).cos())).collect();
        let radii_mm = nodes.iter().map(|s| length_mm * (s * end).sinh()).collect();
        Radii { length_mm, end, interpolation: Interpolation::from_nodes(&nodes), radii_mm }
    }

    /// Weights with which the held values make the value at a radius (beyond the last: as at the last).
    pub(super) fn weights(&self, radius_mm: f64) -> Vec<f64> {
        self.interpolation.basis(((radius_mm / self.length_mm).asinh() / self.end).min(1.0))
    }
}

/// The spots at those radii.
#[derive(Clone, Debug)]
pub(super) struct Spots {
    /// Radiance straight ahead per unit flux without the direct image, in 1/(sr mm2), by colour and radius.
    pub(super) values: [Vec<f64>; COLOURS],
    /// Share of the light straight ahead that comes unscattered.
    pub(super) direct: f64,
}

/// The spots of one cloth over one gap.
pub(super) fn spots_at(bench: &Bench, cloth: &ClothNumbers, gap_mm: f64, radii: &Radii) -> Spots {
    let stacks = cloth.stacks(gap_mm, bench.thickness_mm, bench.board_reflectance);
    let spectra = spots(&stacks, bench.beam_power);
    let direct = cloth.openness + (1.0 - cloth.openness) * (-cloth.optical_thickness).exp();
    Spots { values: std::array::from_fn(|c| spectra[c].at_radii(bench.windows[c], &radii.radii_mm)), direct }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Millimetres;

    #[test]
    fn the_table_is_the_spot() {
        /// Of the peak: the transform ends where 1e-3 of it may be left, and the ripples of that end are finer than the table.
        const TABLE: f64 = 5e-4;
        let bench = Bench {
            thickness_mm: 1.0,
            board_reflectance: 0.5,
            beam_power: 1.0,
            windows: [Window::Disc { diameter: Millimetres(2.5) }; COLOURS],
        };
        let cloth = ClothNumbers {
            optical_thickness: 3.6,
            absorption_ratio: [0.5, 0.1, 0.02],
            openness: 0.1,
            asymmetry: 0.72,
        };
        for gap in [1.5, 4.0, 15.0] {
            let radii = Radii::new(gap + 1.0, 8.0 * (gap + 1.0));
            let spots_held = spots_at(&bench, &cloth, gap, &radii);
            let exact = &spots(&cloth.stacks(gap, 1.0, 0.5), 1.0)[1];
            let places: Vec<f64> = (0..50).map(|i| 0.15 * (gap + 1.0) * f64::from(i)).collect();
            let values = exact.at_radii(bench.windows[1], &places);
            for (place, value) in places.iter().zip(&values) {
                let found: f64 =
                    radii.weights(*place).iter().zip(&spots_held.values[1]).map(|(w, v)| w * v).sum();
                assert!((found - value).abs() < TABLE * values[0], "gap {gap}, {place}: {found} {value}");
            }
        }
    }
}
