//! From a scene and its supply to a [`Ladder`]: which copper lies where.
//!
//! **Model**: the pixels in the order of the file, groups one after another, are one run; data and power go on from the last
//! pixel of a group to the first of the next. Within a group the strip's copper lies between neighbours, as long as they
//! are apart in the plane; between groups lies wire of the supply's gauge, as long as the straight way. Every feed has its own pair
//! of wires from the supply: as long as the lead to the first pixel, and on from there as long as the straight way.
//!
//! **Validity**: slack, loops and the way around a body make wires longer than the straight way; add them to `wire_mm`. A ring is
//! not closed and a grid is one strip laid to and fro, as its data go; boards whose copper joins the ends or the rows lose less.
//!
//! The unfavourable case takes the upper end of each resistance, stranded wire, warm copper ([`WARM_CELSIUS`]) and a supply at the
//! lower end: [`SUPPLY_TOLERANCE`], or a battery at its cut-off where no converter stands between.

use super::Case;
use super::current;
use super::electric::{DieCurve, LOGIC_LEAST_V, least_volts, strip_copper};
use super::ladder::{Feed, Ladder, Load, Sink};
use super::supply::{Injection, Supply};
use super::wire::{STRANDED_EXTRA, TABLE_CELSIUS, warmed};
use crate::scene::{Pixel, Scene};

/// Copper next to lit pixels under cloth, in the unfavourable case, in C (common practice, no source).
pub const WARM_CELSIUS: f64 = 50.0;
/// A steady supply of 5 V is between 4.75 and 5.25 V (common practice, no source).
pub const SUPPLY_TOLERANCE: f64 = 0.05;
/// Both ways.
const BOTH: f64 = 2.0;
const MM_PER_M: f64 = 1000.0;

/// A scene's run: its ladder and what each pixel needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// The network.
    pub ladder: Ladder,
    /// The least voltage at which each pixel works as it should, in V; zero for ideal sources.
    pub least_volts: Vec<f64>,
}

/// The run of a scene, fed where its supply says, with all levels times `factor`.
#[must_use]
pub fn run(scene: &Scene, supply: &Supply, case: Case, factor: f64) -> Run {
    run_fed_at(scene, supply, &feed_pixels(scene, &supply.injection), case, factor)
}

/// The same, fed at these pixels (counted from 0).
#[must_use]
pub fn run_fed_at(scene: &Scene, supply: &Supply, at: &[usize], case: Case, factor: f64) -> Run {
    let wire = wire_ohm_per_mm(supply, case);
    let between = |pair: &[Pixel]| {
        let length = pair[0].apart_mm(&pair[1]);
        let ohm_per_mm =
            if pair[0].group == pair[1].group { strip_ohm_per_mm(&pair[0], supply, case) } else { wire };
        BOTH * ohm_per_mm * length
    };
    let (volts, internal_ohm) = terminals(supply, case);
    let feeds = at.iter().map(|&at| Feed { at, ohm: BOTH * wire * lead_mm(scene, supply, at) });
    Run {
        ladder: Ladder {
            volts,
            internal_ohm,
            between_ohm: scene.pixels.windows(2).map(between).collect(),
            feeds: feeds.collect(),
            loads: scene.pixels.iter().map(|pixel| load(pixel, case, factor)).collect(),
        },
        least_volts: scene
            .pixels
            .iter()
            .map(|pixel| least_volts(&pixel.package, &pixel.levels, case).unwrap_or(0.0))
            .collect(),
    }
}

/// The pixels at which a run is fed, counted from 0, rising; the first where none of those that are named is there.
#[must_use]
pub fn feed_pixels(scene: &Scene, injection: &Injection) -> Vec<usize> {
    let count = scene.pixels.len();
    let mut at: Vec<usize> = match injection {
        Injection::Start => vec![0],
        Injection::Ends => vec![0, count.saturating_sub(1)],
        Injection::Groups => {
            let starts =
                scene.pixels.windows(2).enumerate().filter(|(_, pair)| pair[0].group != pair[1].group);
            std::iter::once(0).chain(starts.map(|(i, _)| i + 1)).collect()
        }
        Injection::Every(step) => (0..count).step_by((*step).max(1)).collect(),
        Injection::At(named) => named.iter().copied().filter(|at| *at < count).collect(),
    };
    if at.is_empty() {
        at.push(0);
    }
    at.dedup();
    at
}

/// Length of the pair of wires from the supply to a pixel, one way, in mm.
#[must_use]
pub fn lead_mm(scene: &Scene, supply: &Supply, at: usize) -> f64 {
    let beyond = match (scene.pixels.first(), scene.pixels.get(at)) {
        (Some(first), Some(pixel)) => first.apart_mm(pixel),
        _ => 0.0,
    };
    supply.wire_length.0 + beyond
}

/// Voltage without load and internal resistance of the supply, in V and ohm.
fn terminals(supply: &Supply, case: Case) -> (f64, f64) {
    match supply.battery {
        Some(battery) if !battery.converts_to(supply.volts) => {
            (case.pick(supply.volts, battery.cut_off_v().min(supply.volts)), battery.internal_ohm())
        }
        _ => (supply.volts * case.pick(1.0, 1.0 - SUPPLY_TOLERANCE), 0.0),
    }
}

/// One conductor of the supply's wire, in ohm per mm.
fn wire_ohm_per_mm(supply: &Supply, case: Case) -> f64 {
    let solid = supply.wire.ohm_per_m(case.pick(TABLE_CELSIUS, WARM_CELSIUS));
    solid * (1.0 + case.pick(0.0, STRANDED_EXTRA[1])) / MM_PER_M
}

/// One conductor of the strip at a pixel, in ohm per mm.
fn strip_ohm_per_mm(pixel: &Pixel, supply: &Supply, case: Case) -> f64 {
    let copper = strip_copper(&pixel.package);
    let cold = supply.conductor_ohm_per_m.unwrap_or(case.pick(copper.ohm_per_m, copper.range[1]));
    cold * warmed(case.pick(TABLE_CELSIUS, WARM_CELSIUS)) / MM_PER_M
}

fn load(pixel: &Pixel, case: Case, factor: f64) -> Load {
    const AMPERE: f64 = 1e-3; // per mA
    let sink = |(die, level): (&crate::pixels::package::DieFacts, &f64)| Sink {
        full_a: case.pick(die.typical_ma, die.range_ma[1]) * level * factor * AMPERE,
        curve: DieCurve::of(die.die, case),
    };
    Load {
        idle_a: current::idle(&pixel.package).of(case) * AMPERE,
        idle_from_v: LOGIC_LEAST_V,
        sinks: pixel.package.dies.iter().zip(&pixel.levels).map(sink).collect(),
    }
}
