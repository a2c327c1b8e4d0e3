//! The supply of a scene: the key `supply` of a scene file, read strictly.
//!
//! A scene without it has current figures only. Everything but the battery's capacity has a default, so that
//! `supply: {}` is a regulated 5 V supply over 300 mm of 22 AWG to the first pixel.

use super::battery::{Battery, Chemistry};
use super::electric::{LOGIC_LEAST_V, MOST_V};
use super::wire::Gauge;
use crate::diagnose::{Problem, Problems};
use crate::quantity::Millimetres;
use crate::reading::{Absent, Entry, Field, Kind, Limits, Shape};
use crate::scene::shape::MOST_PIXELS;

/// What the pixels' wires come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// A supply made for the current, with a steady voltage.
    Supply,
    /// A pin of a controller board, behind the board's own small regulator.
    BoardPin,
    /// A battery, directly or over its converter.
    Battery,
}

/// Where the run is fed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Injection {
    /// At its first pixel.
    Start,
    /// At its first and its last pixel.
    Ends,
    /// At the first pixel of every group of the file.
    Groups,
    /// At the first pixel and at every so many after it.
    Every(usize),
    /// At these pixels, counted from 0, rising.
    At(Vec<usize>),
}

/// A supply with its wires.
#[derive(Clone, Debug, PartialEq)]
pub struct Supply {
    /// What it is.
    pub source: Source,
    /// Voltage at its terminals, in V.
    pub volts: f64,
    /// The most that it gives, in mA; `None` where nothing is said.
    pub max_ma: Option<f64>,
    /// Gauge of the wires from it, and between groups.
    pub wire: Gauge,
    /// Length of the wires to the first pixel, one way.
    pub wire_length: Millimetres,
    /// Resistance of one conductor of the strip, in ohm per metre at 20 C; `None` for the strip usual for the package.
    pub conductor_ohm_per_m: Option<f64>,
    /// Where the run is fed.
    pub injection: Injection,
    /// The battery behind it.
    pub battery: Option<Battery>,
    /// How long the battery is to last, in h.
    pub last_hours: Option<f64>,
}

/// Voltage: one cell to a vehicle's battery. Pixels want 5 V; outside their range a warning is given.
const VOLTS: Limits = Limits::new(1.0, 24.0, "V");
/// Greatest current of a supply: a coin cell to a stage supply.
const MAX_MA: Limits = Limits::new(1.0, 200_000.0, "mA");
/// Wire gauges: welding cable to magnet wire.
pub(super) const AWG: Limits = Limits::new(4.0, 40.0, "AWG");
/// Length of a lead.
const WIRE_MM: Limits = Limits::new(0.0, 50_000.0, "mm");
/// One conductor: a bus bar to conductive thread.
const CONDUCTOR: Limits = Limits::new(0.0001, 1000.0, "ohm per metre");
/// Pixels of a scene, to count or to name.
const PIXELS: Limits = Limits::new(1.0, MOST_PIXELS as f64, "");
/// Cells one after another.
const CELLS: Limits = Limits::new(1.0, 20.0, "");
/// A button cell to a vehicle's battery.
const CAPACITY_MAH: Limits = Limits::new(1.0, 1_000_000.0, "mAh");
/// Voltage of one cell at which to stop.
const CUT_OFF_V: Limits = Limits::new(0.5, 4.1, "V");
/// Hours of wear.
pub(crate) const HOURS: Limits = Limits::new(0.01, 1000.0, "h");

/// The supply.
pub static SUPPLY: Shape = Shape {
    what: "`supply`",
    fields: &[
        Field::may(
            "kind",
            Kind::Choice(&["supply", "board_pin", "battery"]),
            Absent::Open,
            "what the wires come from: a supply made for the current, a pin of a controller board, or a battery; without it, \
             a battery where one is named, else a supply",
        ),
        Field::may(
            "volts",
            Kind::Number(VOLTS),
            Absent::Number(5.0),
            "voltage at the end of the supply; of a battery, its own or that of its converter",
        ),
        Field::may("max_ma", Kind::Number(MAX_MA), Absent::Open, "the most current that it gives"),
        Field::may(
            "wire_awg",
            Kind::Whole(AWG),
            Absent::Number(22.0),
            "gauge of the wires to the pixels and from group to group; a larger number is thinner",
        ),
        Field::may(
            "wire_mm",
            Kind::Number(WIRE_MM),
            Absent::Number(300.0),
            "length of the wires to the first pixel, one way",
        ),
        Field::may(
            "conductor_ohm_per_m",
            Kind::Number(CONDUCTOR),
            Absent::Open,
            "resistance of one conductor of the strip; without it, the strip usual for the package",
        ),
        Field::may(
            "conductor_awg",
            Kind::Whole(AWG),
            Absent::Open,
            "gauge of the wires of a pixel string, instead of the strip's resistance",
        ),
        Field::may(
            "inject",
            Kind::Choice(&["start", "ends", "groups"]),
            Absent::Text("start"),
            "where power enters: at the first pixel, at the first and the last, or at the first of every group",
        ),
        Field::may(
            "inject_every",
            Kind::Whole(PIXELS),
            Absent::Open,
            "power enters at the first pixel and at every so many after it",
        ),
        Field::may(
            "inject_at",
            Kind::List(&Kind::Whole(PIXELS), 1, MOST_PIXELS),
            Absent::Open,
            "the pixels at which power enters; the first pixel of the scene is 1",
        ),
        Field::may("battery", Kind::Map(&BATTERY), Absent::Open, "the battery"),
        Field::may("last_hours", Kind::Number(HOURS), Absent::Open, "how long the battery is to last"),
    ],
    exactly_one: &[],
    at_most_one: &[&["inject", "inject_every", "inject_at"], &["conductor_ohm_per_m", "conductor_awg"]],
};

/// The battery.
pub static BATTERY: Shape = Shape {
    what: "`battery`",
    fields: &[
        Field::may(
            "chemistry",
            Kind::Choice(&["li-ion", "alkaline", "nimh", "power-bank"]),
            Absent::Text("li-ion"),
            "kind of its cells",
        ),
        Field::may(
            "cells",
            Kind::Whole(CELLS),
            Absent::Number(1.0),
            "cells one after another, whose voltages add up",
        ),
        Field::must(
            "capacity_mah",
            Kind::Number(CAPACITY_MAH),
            "capacity printed on it; of cells side by side, their sum",
        ),
        Field::may(
            "cut_off_v",
            Kind::Number(CUT_OFF_V),
            Absent::Open,
            "voltage of one cell at which to stop; without it, the usual one of its kind",
        ),
        Field::may(
            "max_ma",
            Kind::Number(MAX_MA),
            Absent::Open,
            "the most current that it may give for long; without it, the usual one of its kind",
        ),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// Reads `supply` for a scene with so many pixels, where that is known. `None` after a problem was reported.
pub(crate) fn read(entry: &Entry<'_>, pixels: Option<usize>, problems: &mut Problems) -> Option<Supply> {
    let battery =
        if entry.has("battery") { Some(read_battery(&entry.map("battery")?, problems)?) } else { None };
    let source = match (entry.has("kind"), &battery) {
        (false, Some(_)) => Source::Battery,
        (false, None) => Source::Supply,
        (true, _) => match entry.text("kind")? {
            "board_pin" => Source::BoardPin,
            "battery" => Source::Battery,
            _ => Source::Supply,
        },
    };
    let optional = |key: &str| if entry.has(key) { entry.number(key).map(Some) } else { Some(None) };
    let last_hours = optional("last_hours")?;
    let needs = |key: &str, what: &str| {
        Problem::error(entry.place_of(key), format!("{what} needs the key `battery`"))
            .next("Add `battery` with its `capacity_mah`.")
    };
    if battery.is_none() && source == Source::Battery {
        problems.push(needs("kind", "a supply of the kind battery"));
        return None;
    }
    if battery.is_none() && last_hours.is_some() {
        problems.push(needs("last_hours", "`last_hours`"));
        return None;
    }
    let conductor = match optional("conductor_awg")? {
        Some(awg) => Some(Gauge(awg as u8).ohm_per_m(super::wire::TABLE_CELSIUS)),
        None => optional("conductor_ohm_per_m")?,
    };
    let volts = entry.number("volts")?;
    if !(LOGIC_LEAST_V..=MOST_V).contains(&volts) {
        problems.push(
            Problem::warning(entry.place_of("volts"), "the pixels do not work at this voltage")
                .found(format!("{volts} V"))
                .allowed(format!("{LOGIC_LEAST_V} to {MOST_V} V for all packages of the table"))
                .next(if volts > MOST_V {
                    "It would destroy them."
                } else {
                    "They would flicker or stay dark."
                }),
        );
    }
    Some(Supply {
        source,
        volts,
        max_ma: optional("max_ma")?,
        wire: Gauge(entry.number("wire_awg")? as u8),
        wire_length: Millimetres(entry.number("wire_mm")?),
        conductor_ohm_per_m: conductor,
        injection: read_injection(entry, pixels, problems)?,
        battery,
        last_hours,
    })
}

fn read_injection(entry: &Entry<'_>, pixels: Option<usize>, problems: &mut Problems) -> Option<Injection> {
    if entry.has("inject_every") {
        return Some(Injection::Every(entry.count("inject_every")?));
    }
    if !entry.has("inject_at") {
        return Some(match entry.text("inject")? {
            "ends" => Injection::Ends,
            "groups" => Injection::Groups,
            _ => Injection::Start,
        });
    }
    let named: Vec<usize> = entry.numbers("inject_at")?.into_iter().map(|number| number as usize).collect();
    if let Some(pixels) = pixels
        && let Some(beyond) = named.iter().find(|number| **number > pixels)
    {
        problems.push(
            Problem::error(entry.place_of("inject_at"), "power would enter at a pixel that is not there")
                .found(beyond.to_string())
                .allowed(format!("1 to {pixels}, the pixels of the scene")),
        );
        return None;
    }
    let mut at: Vec<usize> = named.into_iter().map(|number| number - 1).collect();
    at.sort_unstable();
    at.dedup();
    Some(Injection::At(at))
}

fn read_battery(entry: &Entry<'_>, problems: &mut Problems) -> Option<Battery> {
    let chemistry = match entry.text("chemistry")? {
        "alkaline" => Chemistry::Alkaline,
        "nimh" => Chemistry::Nimh,
        "power-bank" => Chemistry::PowerBank,
        _ => Chemistry::LiIon,
    };
    let facts = chemistry.facts();
    let cut_off_v = if entry.has("cut_off_v") { entry.number("cut_off_v")? } else { facts.cut_off_v };
    let most_ma = if entry.has("max_ma") { Some(entry.number("max_ma")?) } else { None };
    if cut_off_v >= facts.full_v {
        problems.push(
            Problem::error(entry.place_of("cut_off_v"), "the battery would stop before it begins")
                .found(format!("{cut_off_v} V a cell"))
                .allowed(format!("below {} V, the voltage of a full cell", facts.full_v)),
        );
        return None;
    }
    if cut_off_v < facts.deepest_v {
        problems.push(
            Problem::warning(entry.place_of("cut_off_v"), "the cells would be drained too far")
                .found(format!("{cut_off_v} V a cell"))
                .allowed(format!("at least {} V for {}", facts.deepest_v, facts.name))
                .next("A deeply drained cell is spoilt and may be dangerous to charge."),
        );
    }
    Some(Battery {
        chemistry,
        cells: entry.count("cells")?,
        capacity_mah: entry.number("capacity_mah")?,
        cut_off_v,
        most_ma,
    })
}
