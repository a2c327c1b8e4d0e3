//! The means over rings of one photograph that a fit can use, with their uncertainties.

use super::tables::Radii;
use super::unknowns::COLOURS;
use super::{Lit, Shot, Subject};
use std::f64::consts::PI;

/// Error of the spread function over its peak, root mean square ([`crate::light`] against photons: 0.2 to 0.7 %).
const MODEL_ERROR: f64 = 0.005;
/// That error wanders slowly over the radius and is alike in all colours: so many of a photograph's means tell about it
/// independently of each other.
const MODEL_INDEPENDENT: f64 = 15.0;
/// A ring needs this share of its area, and the innermost one, which must hold the window whole, this one.
const LEAST_COVERED: f64 = 0.15;
const CORE_COVERED: f64 = 0.98;
/// Places of a ring around a single spot that the model is averaged over: they all have about the same radius.
const PLACES: usize = 12;

/// One mean.
#[derive(Clone, Debug)]
pub(super) struct Row {
    pub(super) channel: usize,
    /// Distance from the nearest centre in mm.
    pub(super) radius_mm: f64,
    pub(super) value: f64,
    pub(super) standard_error: f64,
    /// Standard error and the model's error together.
    pub(super) sure: f64,
    /// Distances from all the centres, one after the other, at some places of the ring.
    pub(super) distances_mm: Vec<f64>,
    pub(super) places: usize,
    /// Square of the radius over that of half of the picture's diagonal.
    pub(super) off_middle: f64,
    /// For the innermost ring its area in mm2, over which the window's light is spread.
    pub(super) core_mm2: Option<f64>,
}

/// One photograph, ready.
#[derive(Clone, Debug)]
pub(super) struct ShotRows {
    /// The first photograph of the same set-up (gap and scale): they share those, and the spots.
    pub(super) lead: usize,
    pub(super) shot_gap_mm: f64,
    pub(super) exposure: f64,
    pub(super) lit: Lit,
    pub(super) radii: Radii,
    pub(super) rows: Vec<Row>,
    /// Height above the background by channel.
    pub(super) peaks: [f64; COLOURS],
}

impl ShotRows {
    /// The farthest distance that is read in mm.
    pub(super) fn farthest_mm(&self) -> f64 {
        self.rows.iter().flat_map(|row| row.distances_mm.iter().copied()).fold(1.0, f64::max)
    }
}

/// The means that can be used, with their uncertainties.
pub(super) fn shot_rows(shot: &Shot, subject: &Subject, first_exposure: f64) -> ShotRows {
    let mut rows = Vec::new();
    let mut peaks = [0.0; COLOURS];
    for c in (0..COLOURS).filter(|c| shot.lit.tells(*c)) {
        let first = rows.len();
        for (i, ring) in shot.rings.channels[c].iter().enumerate() {
            let [inner, outer] = [shot.rings.edges_mm[i], shot.rings.edges_mm[i + 1]];
            let core = i == 0 && inner == 0.0;
            let needed = if core { CORE_COVERED } else { LEAST_COVERED };
            if ring.covered < needed || !ring.standard_error.is_finite() || ring.places_mm.is_empty() {
                continue;
            }
            let most = if shot.centres_mm.len() == 1 { PLACES } else { usize::MAX };
            let every = ring.places_mm.len().div_ceil(most);
            let places: Vec<[f64; 2]> = ring.places_mm.iter().copied().step_by(every).collect();
            let distances_mm: Vec<f64> = places
                .iter()
                .flat_map(|p| shot.centres_mm.iter().map(|c| f64::hypot(p[0] - c[0], p[1] - c[1])))
                .collect();
            let square = 0.5 * (inner * inner + outer * outer);
            rows.push(Row {
                channel: c,
                radius_mm: square.sqrt(),
                off_middle: square / shot.half_diagonal_mm.powi(2),
                value: ring.mean,
                standard_error: ring.standard_error,
                sure: ring.standard_error,
                distances_mm,
                places: places.len(),
                core_mm2: core.then_some(PI * outer * outer),
            });
        }
        let values = rows[first..].iter().map(|row| row.value);
        let (low, high) = (values.clone().fold(f64::INFINITY, f64::min), values.fold(0.0, f64::max));
        peaks[c] = (high - low).max(0.0);
    }
    let independent = (rows.len() as f64 / MODEL_INDEPENDENT).max(1.0).sqrt();
    for row in &mut rows {
        row.sure = row.standard_error.hypot(MODEL_ERROR * independent * peaks[row.channel]).max(1e-9);
    }
    ShotRows {
        lead: 0,
        shot_gap_mm: shot.gap_mm,
        exposure: shot.exposure / first_exposure,
        lit: shot.lit,
        radii: Radii::new(shot.gap_mm + subject.thickness_mm, 1.0),
        rows,
        peaks,
    }
}
