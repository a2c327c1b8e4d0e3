//! The spots of the test cloths as the photons method found them, read from `tests/reference/photo_spots/`.
//!
//! # Model
//! A spot is the radiance straight ahead per unit of emitted flux, averaged over rings, without the direct image of the
//! source. Between the rings it is interpolated by a cubic spline of its logarithm over `ln(1 + r^2 / s^2)`, with `s` the
//! height of the cloth's outer face above the board: a round smooth spot is smooth in `r^2` at its middle and near a power
//! of r far away, and the mean over a ring is, to second order in its area, the value where half of the ring's area is inside.
//! No smoothing: the sampling errors of the rings stay in the curve.
//!
//! # Source of light
//! One common window for all three dies, centred on the pixel: the disc that the program itself takes for the glow of a die
//! of the 5050 (`Package::glow_source`), without its shift to the side, which is different for each die.

use crate::cloths::{COLOURS, TestCloth};
use std::collections::HashMap;
use weftlight::light::photons::{Estimate, Ring};
use weftlight::light::quadrature::gauss_legendre;
use weftlight::light::{Source, Window};
use weftlight::pixels::package::Package;

/// Where the tables lie, from the package's folder.
const FOLDER: &str = "tests/reference/photo_spots";

/// Path of a table, for tests that read or make it.
pub(crate) fn path(name: &str) -> std::path::PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(FOLDER).join(format!("{name}.csv"))
}

/// The source behind all test cloths: the glow of a 5050's die, centred; beam of 120 degrees.
pub(crate) fn source() -> Source {
    let package = Package::named("5050").expect("a package of the table");
    Source { beam_power: package.beam_power, window: package.glow_source(&package.dies[0]).1 }
}

/// Edges in mm of the rings of a spot behind a cloth whose outer face is `height_mm` above the board, out to about 8 heights.
///
/// In the middle no ring is wider than `finest_mm` plus a tenth of its radius.
pub(crate) fn ring_edges(height_mm: f64, finest_mm: f64) -> Vec<f64> {
    /// Radius of the disc in the middle and width of the next ring, as shares of the height: a tenth of the spot's own
    /// radius. Finer rings catch too few photons.
    const MIDDLE: f64 = 0.12;
    const WIDTH: f64 = 0.08;
    /// Each ring is wider than the one inside it by this factor, less one: the 60th ends at 8.3 heights.
    const GROWTH: f64 = 0.0175;
    /// Growth of the width with the radius where rings are finer than usual.
    const FINE_GROWTH: f64 = 0.1;
    /// In heights.
    const END: f64 = 8.1;
    let mut edges = vec![0.0, (MIDDLE * height_mm).min(finest_mm)];
    let mut edge = edges[1];
    while edge < END * height_mm {
        let usual = WIDTH * height_mm + GROWTH * (edge - MIDDLE * height_mm);
        edge += usual.min(finest_mm + FINE_GROWTH * edge);
        edges.push(edge);
    }
    edges
}

/// A radially symmetric spot, interpolated between rings.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct SpotCurve {
    /// The length in mm over which radii are measured.
    scale_mm: f64,
    /// Places `ln(1 + r^2 / scale^2)`, rising.
    places: Vec<f64>,
    /// Logarithms of the radiance.
    logs: Vec<f64>,
    /// Second derivatives of the spline through them.
    bends: Vec<f64>,
}

impl SpotCurve {
    /// The curve whose means over the rings (inner edge, outer edge in mm, radiance above 0) are the given ones.
    ///
    /// It starts from a curve through the means and raises each knot by what the ring's mean lacks, a few times.
    pub(crate) fn new(rings: &[[f64; 3]], scale_mm: f64) -> SpotCurve {
        /// Rounds of raising; after three of them the means are met to 1e-5.
        const ROUNDS: usize = 4;
        /// Points of the mean over a ring's area.
        const POINTS: usize = 4;
        assert!(rings.len() > 3, "a curve needs some rings");
        assert!(rings.iter().all(|ring| ring[2] > 0.0), "a ring without light has no logarithm");
        let rule = gauss_legendre(POINTS);
        let squared = |[inner, outer, _]: &[f64; 3], share: f64| {
            inner * inner + share * (outer * outer - inner * inner)
        };
        let place = |ring| (squared(ring, 0.5) / (scale_mm * scale_mm)).ln_1p();
        let places: Vec<f64> = rings.iter().map(place).collect();
        let logs: Vec<f64> = rings.iter().map(|ring| ring[2].ln()).collect();
        let bends = natural_bends(&places, &logs);
        let mut curve = SpotCurve { scale_mm, places, logs, bends };
        for _ in 0..ROUNDS {
            let mean = |ring: &[f64; 3]| -> f64 {
                rule.nodes
                    .iter()
                    .zip(&rule.weights)
                    .map(|(x, w)| w * curve.at(squared(ring, *x).sqrt()))
                    .sum()
            };
            let lacks: Vec<f64> = rings.iter().map(|ring| (ring[2] / mean(ring)).ln()).collect();
            curve.logs.iter_mut().zip(lacks).for_each(|(log, lack)| *log += lack);
            curve.bends = natural_bends(&curve.places, &curve.logs);
        }
        curve
    }

    /// Radiance at a radius in mm; before the first and beyond the last ring the curve runs on straight.
    pub(crate) fn at(&self, radius_mm: f64) -> f64 {
        let x = (radius_mm * radius_mm / (self.scale_mm * self.scale_mm)).ln_1p();
        let last = self.places.len() - 1;
        let i = self.places.partition_point(|place| *place <= x).clamp(1, last);
        let width = self.places[i] - self.places[i - 1];
        let slope = (self.logs[i] - self.logs[i - 1]) / width;
        let log = if x < self.places[0] {
            let start = slope - width * (2.0 * self.bends[0] + self.bends[1]) / 6.0;
            self.logs[0] + start * (x - self.places[0])
        } else if x > self.places[last] {
            let end = slope + width * (2.0 * self.bends[last] + self.bends[last - 1]) / 6.0;
            self.logs[last] + end * (x - self.places[last])
        } else {
            let b = (x - self.places[i - 1]) / width;
            let a = 1.0 - b;
            let bent = (a * a * a - a) * self.bends[i - 1] + (b * b * b - b) * self.bends[i];
            a * self.logs[i - 1] + b * self.logs[i] + bent * width * width / 6.0
        };
        log.exp()
    }
}

/// Second derivatives at the knots of the cubic spline without bend at its ends.
///
/// Source: Press et al., Numerical Recipes, section 3.3 (from memory).
fn natural_bends(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let (mut bends, mut scratch) = (vec![0.0; n], vec![0.0; n]);
    for i in 1..n - 1 {
        let ratio = (x[i] - x[i - 1]) / (x[i + 1] - x[i - 1]);
        let pivot = ratio * bends[i - 1] + 2.0;
        bends[i] = (ratio - 1.0) / pivot;
        let jump = (y[i + 1] - y[i]) / (x[i + 1] - x[i]) - (y[i] - y[i - 1]) / (x[i] - x[i - 1]);
        scratch[i] = (6.0 * jump / (x[i + 1] - x[i - 1]) - ratio * scratch[i - 1]) / pivot;
    }
    bends[n - 1] = 0.0;
    for i in (0..n - 1).rev() {
        bends[i] = bends[i] * bends[i + 1] + scratch[i];
    }
    bends
}

/// What photons found in one colour.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ColourSpot {
    /// The rings from the inside outwards.
    pub(crate) rings: Vec<Ring>,
    /// Share of the flux that leaves unscattered, and scattered: together the light kept.
    pub(crate) direct_share: Estimate,
    /// Share of the flux that leaves after scattering.
    pub(crate) scattered_share: Estimate,
    /// Photons sent, and their seed.
    pub(crate) photons: u64,
    /// Seed of the run.
    pub(crate) seed: u64,
    /// The rings interpolated.
    pub(crate) curve: SpotCurve,
}

/// The three spots of one pixel behind one cloth at one gap.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ColourSpots {
    /// Height of the cloth's outer face above the board in mm.
    pub(crate) height_mm: f64,
    /// The source that the photons left.
    pub(crate) source: Source,
    /// Share of the source's radiance that is seen straight ahead, unscattered.
    pub(crate) direct_ahead: f64,
    /// Red, green, blue.
    pub(crate) colours: [ColourSpot; 3],
}

impl ColourSpots {
    /// Radiance of the glow straight ahead per unit flux of one die, in 1/(sr mm2), without the direct image.
    pub(crate) fn glow(&self, colour: usize, radius_mm: f64) -> f64 {
        self.colours[colour].curve.at(radius_mm)
    }

    /// Full width in mm of the glow at a share of its height (0.5: at half maximum), without the direct image.
    pub(crate) fn full_width_mm(&self, colour: usize, share: f64) -> f64 {
        /// They leave 1e-12 of the last ring's radius.
        const HALVINGS: usize = 40;
        let wanted = share * self.glow(colour, 0.0);
        let last = self.colours[colour].rings.last().expect("a spot has rings").outer_mm;
        let (mut low, mut high) = (0.0, last);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if self.glow(colour, middle) >= wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        low + high
    }

    /// Radiance of the bare window straight ahead per unit flux, in 1/(sr mm2).
    pub(crate) fn window_radiance(&self) -> f64 {
        let radius = self.window_radius_mm();
        (self.source.beam_power + 1.0)
            / (2.0 * std::f64::consts::PI)
            / (std::f64::consts::PI * radius * radius)
    }

    /// Radius in mm of the window.
    pub(crate) fn window_radius_mm(&self) -> f64 {
        match self.source.window {
            Window::Disc { diameter } => 0.5 * diameter.0,
            Window::Point | Window::Square { .. } => panic!("the glow of a die is a disc"),
        }
    }
}

/// The spots of a cloth at one of its gaps in mm, from its table.
pub(crate) fn of(cloth: &TestCloth, gap_mm: f64) -> ColourSpots {
    let height_mm = gap_mm + cloth.thickness_mm;
    let runs = numbers_by_key(&text("runs"), 3);
    let rings = rings(&text(cloth.name), gap_mm);
    let colours = std::array::from_fn(|colour| {
        let key = format!("{},{gap_mm},{}", cloth.name, COLOURS[colour]);
        let run = runs.get(&key).unwrap_or_else(|| panic!("no run `{key}`"));
        let [photons, seed, direct, direct_error, scattered, scattered_error, ..] = run[..] else {
            panic!("a run has six numbers")
        };
        let rings = rings[colour].clone();
        ColourSpot {
            curve: curve(&rings, height_mm),
            rings,
            direct_share: Estimate { value: direct, standard_error: direct_error },
            scattered_share: Estimate { value: scattered, standard_error: scattered_error },
            photons: photons as u64,
            seed: seed as u64,
        }
    });
    ColourSpots { height_mm, source: source(), direct_ahead: cloth.direct_ahead(), colours }
}

fn curve(rings: &[Ring], height_mm: f64) -> SpotCurve {
    let means: Vec<[f64; 3]> = rings.iter().map(|r| [r.inner_mm, r.outer_mm, r.radiance.value]).collect();
    SpotCurve::new(&means, height_mm)
}

/// The text of a table.
#[allow(clippy::disallowed_methods)]
pub(crate) fn text(name: &str) -> String {
    let path = path(name);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Lines of a table after its remarks and its heading.
fn rows(table: &str) -> impl Iterator<Item = &str> {
    table.lines().filter(|line| !line.starts_with('#')).skip(1)
}

/// Rows by their first `keys` fields joined by commas; the others are numbers.
fn numbers_by_key(table: &str, keys: usize) -> HashMap<String, Vec<f64>> {
    rows(table)
        .map(|row| {
            let fields: Vec<&str> = row.split(',').collect();
            (fields[..keys].join(","), fields[keys..].iter().map(|field| number(field)).collect())
        })
        .collect()
}

fn number(field: &str) -> f64 {
    field.parse().unwrap_or_else(|_| panic!("`{field}` is not a number"))
}

/// The rings of the three colours at a gap in mm: rows `gap, outer edge, radiance and error in red, green, blue`.
fn rings(table: &str, gap_mm: f64) -> [Vec<Ring>; 3] {
    let mut found: [Vec<Ring>; 3] = Default::default();
    let mut inner_mm = 0.0;
    for row in rows(table) {
        let fields: Vec<f64> = row.split(',').map(number).collect();
        if fields[0] != gap_mm {
            continue;
        }
        for (rings, of_colour) in found.iter_mut().zip(fields[2..].chunks(2)) {
            let radiance = Estimate { value: of_colour[0], standard_error: of_colour[1] };
            rings.push(Ring { inner_mm, outer_mm: fields[1], radiance });
        }
        inner_mm = fields[1];
    }
    assert!(!found[0].is_empty(), "no rings at a gap of {gap_mm} mm");
    found
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::cloths::CLOTHS;
    use weftlight::light::spots::spots;

    /// Height in mm of the cloth of the made-up spots.
    const HEIGHT_MM: f64 = 6.0;

    /// Spots of a given radiance in red; green has 0.9 and blue 0.7 of it.
    pub(crate) fn round_spots(direct_ahead: f64, radiance: impl Fn(f64) -> f64) -> ColourSpots {
        let rule = gauss_legendre(8);
        let edges = ring_edges(HEIGHT_MM, f64::INFINITY);
        let colours = [1.0, 0.9, 0.7].map(|share| {
            let rings: Vec<Ring> = edges
                .windows(2)
                .map(|edge| {
                    let squared = |x: f64| edge[0] * edge[0] + x * (edge[1] * edge[1] - edge[0] * edge[0]);
                    let value: f64 = rule
                        .nodes
                        .iter()
                        .zip(&rule.weights)
                        .map(|(x, w)| w * radiance(squared(*x).sqrt()))
                        .sum();
                    let radiance = Estimate { value: share * value, standard_error: 0.0 };
                    Ring { inner_mm: edge[0], outer_mm: edge[1], radiance }
                })
                .collect();
            let none = Estimate::default();
            let curve = curve(&rings, HEIGHT_MM);
            ColourSpot { rings, direct_share: none, scattered_share: none, photons: 0, seed: 0, curve }
        });
        ColourSpots { height_mm: HEIGHT_MM, source: source(), direct_ahead, colours }
    }

    /// Gaussian spots, 4 mm to their steepest place.
    pub(crate) fn smooth_spots(direct_ahead: f64) -> ColourSpots {
        round_spots(direct_ahead, |r| 2e-3 * (-r * r / 32.0).exp())
    }

    #[test]
    fn the_width_of_a_gaussian_spot_is_the_known_one() {
        /// Interpolation between rings, relative.
        const CURVE: f64 = 1e-3;
        // exp(-r^2 / (2 a^2)) is one half at a sqrt(2 ln 2), a = 4 mm.
        let expected = 8.0 * (2.0 * 2f64.ln()).sqrt();
        let found = smooth_spots(0.0).full_width_mm(1, 0.5);
        assert!((found / expected - 1.0).abs() < CURVE, "{found} for {expected}");
    }

    #[test]
    fn the_curve_through_ring_means_is_the_spot() {
        /// Of the value, at all radii within the rings.
        const OF_VALUE: f64 = 0.002;
        /// The transport's own noise, of the peak.
        const OF_PEAK: f64 = 2e-5;
        /// Radii tried.
        const COUNT: i32 = 400;
        for cloth in CLOTHS {
            for gap_mm in cloth.gaps_mm() {
                let height = gap_mm + cloth.thickness_mm;
                let edges = ring_edges(height, cloth.finest_ring_mm);
                let pairs: Vec<[f64; 2]> = edges.windows(2).map(|pair| [pair[0], pair[1]]).collect();
                let spot = &spots(&[cloth.stack(gap_mm, 0)], 1.0)[0];
                let window = source().window;
                let means = spot.over_rings(window, &pairs);
                let rings: Vec<[f64; 3]> = pairs.iter().zip(&means).map(|(p, m)| [p[0], p[1], *m]).collect();
                let curve = SpotCurve::new(&rings, height);
                let radii: Vec<f64> =
                    (0..COUNT).map(|i| 8.0 * height * f64::from(i) / f64::from(COUNT)).collect();
                for (radius, exact) in radii.iter().zip(spot.at_radii(window, &radii)) {
                    let found = curve.at(*radius);
                    assert!(
                        (found - exact).abs() < OF_VALUE * exact + OF_PEAK * means[0],
                        "{} at {gap_mm} mm, radius {radius} mm: {found:e} for {exact:e}",
                        cloth.name
                    );
                }
            }
        }
    }
}
