//! The twelve reference stacks whose spread functions an independent Monte Carlo program computed with 80 million
//! photons each.

use weftlight::light::{Layer, Optics, Source, Stack, Window};
use weftlight::quantity::{Millimetres, PerMillimetre};

/// Photons behind each reference case.
pub(crate) const REFERENCE_PHOTONS: f64 = 80e6;

/// Half of the last digit in which the reference shares are written.
pub(crate) const SHARE_ROUNDING: f64 = 0.5e-6;

/// One reference stack and what was found for it.
#[derive(Clone, Debug)]
pub(crate) struct Case {
    /// Name of the case; names that begin with `A` scatter forwards, names with `P` isotropically.
    pub(crate) name: &'static str,
    /// The stack.
    pub(crate) stack: Stack,
    /// The source, a point.
    pub(crate) source: Source,
    /// Share of the flux that leaves at the top unscattered.
    pub(crate) direct_share: f64,
    /// Share of the flux that leaves at the top scattered.
    pub(crate) scattered_share: f64,
    /// The spread function, from the inside outwards.
    pub(crate) rings: Vec<ReferenceRing>,
}

/// The reference radiance in one ring.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ReferenceRing {
    /// Inner radius in mm.
    pub(crate) inner_mm: f64,
    /// Outer radius in mm.
    pub(crate) outer_mm: f64,
    /// Radiance straight ahead per unit flux, averaged over the ring, in 1/(sr mm2).
    pub(crate) radiance: f64,
    /// Its standard error.
    pub(crate) standard_error: f64,
}

impl Case {
    /// Edges of the rings in mm, one more than there are rings.
    pub(crate) fn ring_edges(&self) -> Vec<f64> {
        let inner = self.rings.first().map(|ring| ring.inner_mm);
        inner.into_iter().chain(self.rings.iter().map(|ring| ring.outer_mm)).collect()
    }

    /// The largest radiance of the rings.
    pub(crate) fn peak(&self) -> f64 {
        self.rings.iter().map(|ring| ring.radiance).fold(0.0, f64::max)
    }
}

macro_rules! spread_table {
    ($name:literal) => {
        ($name, include_str!(concat!("../reference/photons/", $name, ".csv")))
    };
}

const CASES: &str = include_str!("../reference/photons/cases.csv");
const SPREADS: [(&str, &str); 12] = [
    spread_table!("P01-felt-near"),
    spread_table!("P02-felt-far"),
    spread_table!("P03-felt-touching"),
    spread_table!("P04-thin-knit"),
    spread_table!("P05-sheer-open"),
    spread_table!("P06-sheer-over-felt"),
    spread_table!("P07-two-felts-gap"),
    spread_table!("P08-dyed"),
    spread_table!("P09-narrow-beam"),
    spread_table!("A01-felt-fibre"),
    spread_table!("A02-knit-fibre"),
    spread_table!("A03-sheer-fibre"),
];

/// All reference cases.
pub(crate) fn cases() -> Vec<Case> {
    SPREADS.iter().map(|(name, table)| case(name, table)).collect()
}

fn case(name: &'static str, spread_table: &str) -> Case {
    let layers: Vec<[f64; 11]> = rows(CASES)
        .filter_map(|row| row.strip_prefix(name).and_then(|rest| rest.strip_prefix(',')))
        .map(numbers)
        .collect();
    let [.., board_reflectance, beam_power, direct_share, scattered_share] = layers[0];
    let mut top_mm = 0.0;
    let stack_layers = layers
        .iter()
        .map(|&[_, bottom_mm, thickness_mm, extinction, albedo, asymmetry, openness, ..]| {
            let gap_below = Millimetres(bottom_mm - top_mm);
            top_mm = bottom_mm + thickness_mm;
            let optics = Optics { extinction: PerMillimetre(extinction), albedo, asymmetry, openness };
            Layer { gap_below, thickness: Millimetres(thickness_mm), optics }
        })
        .collect();
    Case {
        name,
        stack: Stack { board_reflectance, layers: stack_layers },
        source: Source { beam_power, window: Window::Point },
        direct_share,
        scattered_share,
        rings: rows(spread_table)
            .map(numbers)
            .map(|[inner_mm, outer_mm, radiance, standard_error]| ReferenceRing {
                inner_mm,
                outer_mm,
                radiance,
                standard_error,
            })
            .collect(),
    }
}

/// The rows of a table without remarks and heading.
fn rows(table: &str) -> impl Iterator<Item = &str> {
    table.lines().filter(|line| !line.starts_with('#')).skip(1)
}

/// The numbers of a row, which must be as many as are asked for.
fn numbers<const N: usize>(row: &str) -> [f64; N] {
    let values: Vec<f64> = row
        .split(',')
        .map(|cell| cell.parse().unwrap_or_else(|e| panic!("{cell:?} in {row:?}: {e}")))
        .collect();
    values.try_into().unwrap_or_else(|v: Vec<f64>| panic!("{} instead of {N} numbers in {row:?}", v.len()))
}
