//! Batteries: how long they last, and what they can give.
//!
//! **Model**: a battery holds its printed capacity at its nominal voltage, of which the share down to the cut-off can be used.
//! Directly on the pixels it gives the pixels' current. Where its voltage is not the pixels', a converter stands between that
//! keeps the power and loses a share of it:
//!
//! ```text
//! t = C u q / I                      directly
//! t = C u q * n U eta / (V I)        over a converter
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | t | time | h |
//! | C | printed capacity | mAh |
//! | u | share of it above the cut-off | |
//! | q | share of the printed capacity that is really there (age, cold, how fast it is drained) | |
//! | I, V | average current and voltage of the pixels' supply | mA, V |
//! | n, U | cells one after another, average voltage of one | , V |
//! | eta | efficiency of the converter | |
//!
//! **Sources**: li-ion 3.6 to 3.7 V nominal, 4.2 V full, cut-off 2.5 to 3.0 V with 3.0 V advised: makers' sheets. All else, the
//! shares above a cut-off among it, is common practice without a source. A time is therefore a nominal one with a wide range.
//!
//! **Validity**: room temperature to cool evenings, an average current that the battery can give. A battery that is asked for more than
//! that gives less than computed here; [`super::limits`] and [`super::cautions`] say so.

use super::current::Current;
use super::supply::Supply;

/// Kind of cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chemistry {
    /// Lithium-ion, lithium-polymer.
    LiIon,
    /// Alkaline, not rechargeable.
    Alkaline,
    /// Nickel-metal hydride.
    Nimh,
    /// A power bank: lithium-ion cells with their own converter to 5 V. Its capacity is that of the cells.
    PowerBank,
}

/// A battery.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Battery {
    /// Kind of its cells.
    pub chemistry: Chemistry,
    /// Cells one after another.
    pub cells: usize,
    /// Printed capacity, in mAh.
    pub capacity_mah: f64,
    /// Voltage of one cell at which to stop, in V.
    pub cut_off_v: f64,
    /// The most that its maker lets it give for long, in mA, where that is known; of a power bank, at its output.
    pub most_ma: Option<f64>,
}

/// What is usual for a kind of cells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CellFacts {
    /// Name in words.
    pub name: &'static str,
    /// Voltage of a cell on average over its discharge, in V (alkaline cells are printed 1.5 V and give 1.2 V).
    pub nominal_v: f64,
    /// Voltage of a full cell, in V.
    pub full_v: f64,
    /// Usual cut-off, in V.
    pub cut_off_v: f64,
    /// Below this a cell is drained too far, in V.
    pub deepest_v: f64,
    /// Usual most current for long, in capacities per hour (C).
    pub most_c: f64,
    /// Internal resistance of a cell, in ohm.
    pub internal_ohm: f64,
    /// Share of the printed capacity that is there: least, nominal, most.
    pub there: [f64; 3],
    /// Share of its charge that is left in a cell at a voltage under light load, voltages rising.
    left: &'static [(f64, f64)],
}

const LI_ION: CellFacts = CellFacts {
    name: "lithium-ion",
    nominal_v: 3.7,
    full_v: 4.2,
    cut_off_v: 3.0,
    deepest_v: 2.5,
    most_c: 1.0,
    internal_ohm: 0.06,
    there: [0.7, 0.9, 1.0],
    left: &[
        (3.0, 0.0),
        (3.3, 0.04),
        (3.5, 0.10),
        (3.6, 0.20),
        (3.7, 0.40),
        (3.8, 0.58),
        (4.0, 0.85),
        (4.2, 1.0),
    ],
};
const ALKALINE: CellFacts = CellFacts {
    name: "alkaline",
    nominal_v: 1.2,
    full_v: 1.6,
    cut_off_v: 0.9,
    deepest_v: 0.8,
    most_c: 0.2,
    internal_ohm: 0.2,
    // Its capacity is printed for a few milliampere; at a few hundred, half is left.
    there: [0.4, 0.65, 1.0],
    left: &[
        (0.8, 0.0),
        (0.9, 0.05),
        (1.0, 0.12),
        (1.1, 0.25),
        (1.2, 0.45),
        (1.3, 0.65),
        (1.4, 0.83),
        (1.6, 1.0),
    ],
};
const NIMH: CellFacts = CellFacts {
    name: "nickel-metal hydride",
    nominal_v: 1.2,
    full_v: 1.4,
    cut_off_v: 1.0,
    deepest_v: 0.9,
    most_c: 1.0,
    internal_ohm: 0.03,
    there: [0.7, 0.9, 1.0],
    left: &[(0.9, 0.0), (1.0, 0.03), (1.1, 0.10), (1.2, 0.35), (1.25, 0.65), (1.3, 0.88), (1.4, 1.0)],
};
const POWER_BANK: CellFacts = CellFacts { name: "a power bank", internal_ohm: 0.0, ..LI_ION };

/// Output of a power bank where nothing else is said, in mA (common practice, no source).
const POWER_BANK_MA: f64 = 2000.0;
/// Efficiency of a small converter: least, nominal, most (common practice, no source).
const EFFICIENCY: [f64; 3] = [0.75, 0.85, 0.92];
/// The voltage of a cell at a state of charge is uncertain by this much (load, temperature, make), in V as a share of nominal.
const CUT_OFF_SPREAD: f64 = 0.03;

impl Chemistry {
    /// What is usual for it.
    #[must_use]
    pub fn facts(self) -> CellFacts {
        match self {
            Chemistry::LiIon => LI_ION,
            Chemistry::Alkaline => ALKALINE,
            Chemistry::Nimh => NIMH,
            Chemistry::PowerBank => POWER_BANK,
        }
    }
}

impl CellFacts {
    /// Share of the charge above a voltage of the cell, 0 to 1.
    #[must_use]
    pub fn usable(&self, cut_off_v: f64) -> f64 {
        // Straight lines between the points: what each of them adds below the voltage.
        let added = |pair: &[(f64, f64)]| {
            let ((v0, s0), (v1, s1)) = (pair[0], pair[1]);
            (s1 - s0) * ((cut_off_v - v0) / (v1 - v0)).clamp(0.0, 1.0)
        };
        1.0 - self.left.windows(2).map(added).sum::<f64>()
    }
}

impl Battery {
    /// Average voltage of all cells together, in V.
    #[must_use]
    pub fn nominal_v(&self) -> f64 {
        self.cells as f64 * self.chemistry.facts().nominal_v
    }

    /// Voltage at its cut-off, in V.
    #[must_use]
    pub fn cut_off_v(&self) -> f64 {
        self.cells as f64 * self.cut_off_v
    }

    /// Voltage when full, in V.
    #[must_use]
    pub fn full_v(&self) -> f64 {
        self.cells as f64 * self.chemistry.facts().full_v
    }

    /// Whether a converter must stand between it and a supply of this voltage: always within a power bank, else when the voltage lies
    /// outside what the battery itself goes through.
    #[must_use]
    pub fn converts_to(&self, volts: f64) -> bool {
        self.chemistry == Chemistry::PowerBank || volts < self.cut_off_v() || volts > self.full_v()
    }

    /// Internal resistance of all cells, in ohm.
    #[must_use]
    pub fn internal_ohm(&self) -> f64 {
        self.cells as f64 * self.chemistry.facts().internal_ohm
    }

    /// The most current that it can give for long at the pixels' voltage, in mA: by its maker's word or as usual for its kind.
    #[must_use]
    pub fn most_ma_at(&self, volts: f64) -> f64 {
        if self.chemistry == Chemistry::PowerBank {
            return self.most_ma.unwrap_or(POWER_BANK_MA);
        }
        let own = self.most_ma.unwrap_or(self.chemistry.facts().most_c * self.capacity_mah);
        if self.converts_to(volts) { own * self.nominal_v() * EFFICIENCY[1] / volts } else { own }
    }

    /// Charge that it gives at the pixels' voltage, in mAh: least, nominal, most.
    #[must_use]
    pub fn charge_mah_at(&self, volts: f64) -> [f64; 3] {
        let facts = self.chemistry.facts();
        let spread = CUT_OFF_SPREAD * facts.nominal_v;
        // The electronics of a power bank choose their own cut-off, near the one that its cells want.
        let usable = [spread, 0.0, -spread].map(|more| facts.usable(self.cut_off_v + more));
        std::array::from_fn(|i| {
            let held = self.capacity_mah * facts.there[i] * usable[i];
            if self.converts_to(volts) { held * self.nominal_v() * EFFICIENCY[i] / volts } else { held }
        })
    }
}

/// A time with the range in which it lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hours {
    /// Nominal, in h.
    pub nominal: f64,
    /// Least and most, in h.
    pub range: [f64; 2],
}

/// How long the supply's battery lasts at an average current; infinite for none. `None` for a supply without battery.
///
/// For a pattern, the average over its time.
#[must_use]
pub fn hours(supply: &Supply, average: Current) -> Option<Hours> {
    let [least, nominal, most] = supply.battery?.charge_mah_at(supply.volts);
    let lasts = |mah: f64, ma: f64| if ma > 0.0 { mah / ma } else { f64::INFINITY };
    Some(Hours {
        nominal: lasts(nominal, average.typical_ma),
        range: [lasts(least, average.range_ma[1]), lasts(most, average.range_ma[0])],
    })
}
