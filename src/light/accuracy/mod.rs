//! How far the transport is from the truth: its spots against photons, stack by stack over a grid.
//!
//! # Model
//! Straight ahead both are averaged over the same [`RINGS`] rings out to twice the height of the stack; from the side over the same
//! square cells, where mirror images are one place. The photons have no error but chance, so what is left after chance is the
//! transport's:
//!
//! ```text
//! d = T - P                                            in each place
//! worst    = the d of largest size / max P             chance included
//! beyond   = max (|d| - 3 s, 0) / max P                what chance cannot explain
//! rms      = sqrt(max (sum w (d^2 - s^2), 0)) / max P  weighted with the light, chance taken out
//! sampling = max s / max P                             what chance does to the worst place
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | T, P | radiance towards the viewer per unit flux, by transport and by photons | 1/(sr mm2) |
//! | s | standard error of P | 1/(sr mm2) |
//! | w | share of all light seen that the place has | 1 |
//! | max | largest over the places | |
//!
//! Beside it stands the light in all: T summed over the plane (k = 0) against adding-doubling, which knows no chance.
//!
//! # Assumptions and validity
//! As [`super::photons`]: the same stack taken literally. Nothing here says how well a real cloth is known. Where `sampling` is above
//! [`FINE_ENOUGH`] the photons were too few to tell anything. Of some thousands of places a few exceed three standard errors by
//! chance, by a fraction of one.
//!
//! # Source
//! [`super::photons`], [`super::totals`].

mod cases;

pub use cases::{
    ALBEDOS, ASYMMETRIES, Case, GAP_MM, Group, Kind, NAMED, OPTICAL_THICKNESSES, THICKNESSES_OVER_GAP,
    TILTS_DEG, cases,
};

use super::oblique::{self, ObliqueSpot};
use super::photons::{Cells, Estimate, ring_edges, side_view, spread};
use super::spots::spots;
use super::totals::radiance_towards;
use super::{Source, Stack, Window};

/// Rings straight ahead. More are finer in the middle, and noisier.
pub const RINGS: usize = 12;
/// Cells across the spot from the side; half of them, their mirror images being the same.
const CELLS_ACROSS: usize = 14;
/// How far the rings and cells reach, over the height of the stack: beyond it less than a tenth of the peak is left.
const REACH: f64 = 2.0;
/// Standard errors that count as chance: one place in 370 has more.
pub const SIGMAS: f64 = 3.0;
/// Standard error over the peak up to which photons tell something. With a larger one chance could hide more than any limit.
pub const FINE_ENOUGH: f64 = 0.05;
/// Nodes a hemisphere of adding-doubling: good to 1e-4 for asymmetries up to 0.8.
const NODES: usize = 32;
/// All stacks are lit by a point with a Lambertian beam.
const SOURCE: Source = Source { beam_power: 1.0, window: Window::Point };

/// One place where transport and photons are compared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Radiance by the transport.
    pub transport: f64,
    /// Radiance by photons.
    pub photons: Estimate,
    /// Area of the place in mm2.
    pub area_mm2: f64,
}

/// The errors of a spot over its peak; see the module's head.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Errors {
    /// Largest difference with its sign: above 0 where the transport is too bright.
    pub worst: f64,
    /// What of it is beyond chance.
    pub beyond: f64,
    /// Root mean square, weighted with the light, without chance.
    pub rms: f64,
    /// Largest standard error of the photons.
    pub sampling: f64,
}

impl Errors {
    /// Of some places; zero where no light is seen at all.
    #[must_use]
    pub fn of(places: &[Place]) -> Errors {
        let largest = |value: &dyn Fn(&Place) -> f64| places.iter().map(value).fold(0.0, f64::max);
        let peak = largest(&|p| p.photons.value);
        let light: f64 = places.iter().map(|p| p.area_mm2 * p.photons.value).sum();
        if peak <= 0.0 {
            return Errors::default();
        }
        let difference = |p: &Place| p.transport - p.photons.value;
        let square = |p: &Place| difference(p).powi(2) - p.photons.standard_error.powi(2);
        let mean = places.iter().map(|p| p.area_mm2 * p.photons.value / light * square(p)).sum::<f64>();
        Errors {
            worst: places.iter().map(difference).max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0)
                / peak,
            beyond: largest(&|p| difference(p).abs() - SIGMAS * p.photons.standard_error) / peak,
            rms: mean.max(0.0).sqrt() / peak,
            sampling: largest(&|p| p.photons.standard_error) / peak,
        }
    }
}

/// A stack that was tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// Which.
    pub case: Case,
    /// How far the transport is off.
    pub errors: Errors,
    /// Light in all by the transport over that by adding-doubling, less 1.
    pub in_all: f64,
}

impl Checked {
    /// Whether the photons were enough to tell.
    #[must_use]
    pub fn is_known(&self) -> bool {
        self.errors.sampling > 0.0 && self.errors.sampling <= FINE_ENOUGH
    }

    /// Whether the transport is farther off than is said of such stacks. A number that is none is.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.errors.beyond.is_nan() || self.is_known() && self.errors.beyond > self.case.group().limit()
    }
}

/// Tries one stack with so many photons.
#[must_use]
pub fn check(case: Case, photons: u64, seed: u64) -> Checked {
    let tilt = case.tilt_deg.to_radians();
    let (places, whole) = if case.tilt_deg == 0.0 {
        straight_ahead(&case.stack, photons, seed)
    } else {
        from_the_side(&case.stack, tilt, photons, seed)
    };
    let in_all = whole / radiance_towards(&case.stack, SOURCE.beam_power, tilt.cos(), NODES) - 1.0;
    Checked { errors: Errors::of(&places), case, in_all }
}

/// Ring by ring, and the transport's light in all.
fn straight_ahead(stack: &Stack, photons: u64, seed: u64) -> (Vec<Place>, f64) {
    let edges = ring_edges(REACH * stack.height().0, RINGS);
    let seen = spread(stack, &SOURCE, &edges, photons, seed).rings;
    let spot = spots(std::slice::from_ref(stack), SOURCE.beam_power).remove(0);
    let rings: Vec<[f64; 2]> = seen.iter().map(|ring| [ring.inner_mm, ring.outer_mm]).collect();
    let places =
        spot.over_rings(SOURCE.window, &rings).into_iter().zip(&seen).map(|(transport, ring)| Place {
            transport,
            photons: ring.radiance,
            area_mm2: std::f64::consts::PI * (ring.outer_mm.powi(2) - ring.inner_mm.powi(2)),
        });
    (places.collect(), spot.value(0.0))
}

/// Cell by cell, and the transport's light in all.
fn from_the_side(stack: &Stack, tilt_rad: f64, photons: u64, seed: u64) -> (Vec<Place>, f64) {
    let cells = cells(stack, tilt_rad);
    let seen = side_view(stack, &SOURCE, tilt_rad, &cells, photons, seed).cells;
    let spot = oblique::spots(std::slice::from_ref(stack), SOURCE.beam_power, tilt_rad).remove(0);
    let [columns, rows] = cells.count;
    let upper: Vec<usize> = (columns * rows.div_ceil(2)..cells.len()).collect();
    let means = means(&spot, &cells, &upper);
    let places = upper.iter().zip(means).map(|(&cell, transport)| {
        let mirrored = (rows - 1 - cell / columns) * columns + cell % columns;
        let [a, b] = [seen[cell], seen[mirrored]];
        Place {
            transport,
            photons: Estimate {
                value: 0.5 * (a.value + b.value),
                standard_error: 0.5 * a.standard_error.hypot(b.standard_error),
            },
            area_mm2: 2.0 * cells.side_mm * cells.side_mm,
        }
    });
    (places.collect(), spot.whole())
}

/// Square cells over the spot, an even number across, symmetric about the way to the viewer.
fn cells(stack: &Stack, tilt_rad: f64) -> Cells {
    let height = stack.height().0;
    let (low, high) = (-REACH * height, (REACH + tilt_rad.tan()) * height);
    let side_mm = 2.0 * REACH * height / CELLS_ACROSS as f64;
    let along = ((high - low) / side_mm).ceil() as usize;
    Cells { corner_mm: [low, -REACH * height], side_mm, count: [along, CELLS_ACROSS] }
}

/// Means of a spot over some cells.
fn means(spot: &ObliqueSpot, cells: &Cells, which: &[usize]) -> Vec<f64> {
    // Two Gauss points each way are exact for cubics.
    let points = [0.5 - 0.5 / 3f64.sqrt(), 0.5 + 0.5 / 3f64.sqrt()];
    let places: Vec<[f64; 2]> = which
        .iter()
        .flat_map(|&cell| {
            let [x, y] = cells.corner_of(cell);
            points.iter().flat_map(move |u| points.map(|v| [x + u * cells.side_mm, y + v * cells.side_mm]))
        })
        .collect();
    spot.at_places(SOURCE.window, &places)
        .chunks_exact(4)
        .map(|values| values.iter().sum::<f64>() / 4.0)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding.
    const ROUNDING: f64 = 1e-12;

    fn place(transport: f64, value: f64, standard_error: f64, area_mm2: f64) -> Place {
        Place { transport, photons: Estimate { value, standard_error }, area_mm2 }
    }

    fn close(found: Errors, expected: Errors) {
        for (what, a, b) in [
            ("worst", found.worst, expected.worst),
            ("beyond", found.beyond, expected.beyond),
            ("rms", found.rms, expected.rms),
            ("sampling", found.sampling, expected.sampling),
        ] {
            assert!((a - b).abs() < ROUNDING, "{what}: {a} {b}");
        }
    }

    #[test]
    fn made_up_rings_have_the_errors_worked_out_by_hand() {
        // Peak 10; differences 0.5, -1, 0; the second is the largest, the first the farthest beyond its three standard errors.
        let rings = [place(10.5, 10.0, 0.1, 1.0), place(4.0, 5.0, 0.3, 3.0), place(1.0, 1.0, 0.05, 5.0)];
        // Light 10, 15 and 5 of 30: (10 (0.25 - 0.01) + 15 (1 - 0.09) + 5 (0 - 0.0025)) / 30.
        let mean: f64 = (2.4 + 13.65 - 0.0125) / 30.0;
        close(
            Errors::of(&rings),
            Errors { worst: -0.1, beyond: 0.02, rms: mean.sqrt() / 10.0, sampling: 0.03 },
        );
    }

    #[test]
    fn chance_alone_is_no_error() {
        let rings = [place(10.2, 10.0, 0.1, 1.0), place(4.9, 5.0, 0.2, 1.0)];
        let found = Errors::of(&rings);
        assert_eq!(found.beyond, 0.0);
        assert!(found.worst > 0.0 && found.sampling > 0.0);
        close(
            Errors::of(&[place(1.1, 1.0, 0.2, 1.0)]),
            Errors { worst: 0.1, beyond: 0.0, rms: 0.0, sampling: 0.2 },
        );
        assert_eq!(Errors::of(&[]), Errors::default());
        assert_eq!(Errors::of(&[place(0.0, 0.0, 0.0, 1.0)]), Errors::default());
    }

    #[test]
    fn a_wrong_spot_is_found_out() {
        /// Photons enough for a standard error of 2 % of the peak.
        const PHOTONS: u64 = 100_000;
        let case = cases().into_iter().find(|case| case.group() == Group::OneCloth).expect("in the list");
        let (places, _) = straight_ahead(&case.stack, PHOTONS, 1);
        assert!(Errors::of(&places).beyond < case.group().limit());
        let wrong: Vec<Place> = places.iter().map(|p| Place { transport: 1.2 * p.transport, ..*p }).collect();
        let found = Errors::of(&wrong);
        assert!(found.beyond > 0.1 && found.worst > 0.15, "{found:?}");
    }

    #[test]
    fn from_the_side_both_see_the_same_places() {
        /// Photons enough for a standard error of 2 % of the peak.
        const PHOTONS: u64 = 100_000;
        let isotropic = |case: &Case| case.tilt_deg == 60.0 && case.asymmetry() == 0.0;
        let case = cases().into_iter().find(isotropic).expect("in the list");
        let found = check(case, PHOTONS, 2);
        assert!(found.is_known() && !found.is_over(), "{found:?}");
        assert!(found.in_all.abs() < 1e-3, "{}", found.in_all);
    }
}
