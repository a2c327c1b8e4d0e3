//! What can go wrong or hurt: the usual cautions, where they apply. Never a claim of safety.
//!
//! **Sources**: 43 C for metal or plastic worn against the skin for eight hours and more: ISO 13732-1, quoted second-hand. All else is
//! common practice without a source. Local codes and licensed practice decide.

use super::Case;
use super::battery::Chemistry;
use super::current::{Current, MA_PER_A, of_scene};
use super::electric::MOST_V;
use super::limits::{LimitedBy, limit};
use super::powered::{BothCases, Powered};
use super::supply::{Source, Supply};
use super::wire::Gauge;
use crate::scene::Scene;
use std::fmt;

/// More than this through a controller board's pin deserves a word, in mA (common practice, no source).
const PIN_WORTH_A_WORD_MA: f64 = 100.0;

/// One caution.
#[derive(Clone, Debug, PartialEq)]
pub enum Caution {
    /// The scene at its own levels draws more than the limit.
    OverLimit {
        /// What it draws.
        draws: Current,
        /// The limit, in mA.
        limit_ma: f64,
        /// What sets it.
        by: LimitedBy,
    },
    /// A program that lights everything draws more than the limit.
    AllOnOverLimit {
        /// What it draws then.
        draws: Current,
        /// The limit, in mA.
        limit_ma: f64,
    },
    /// The pixels hang on a pin of a controller board.
    BoardPin {
        /// What they draw.
        draws: Current,
    },
    /// Pixels see more than they bear.
    TooManyVolts {
        /// Voltage of the supply.
        volts: f64,
    },
    /// Pixels see less than they need.
    TooFewVolts {
        /// How many.
        pixels: usize,
        /// The worst, counted from 1.
        worst: usize,
        /// Its voltage.
        volts: f64,
        /// What it needs.
        needs_v: f64,
    },
    /// Pixels see less than they need when parts lie at the unfavourable end of their ranges, though typical ones do not.
    PerhapsTooFewVolts {
        /// How many.
        pixels: usize,
    },
    /// A feed carries more than its wire should under cloth.
    ThinWire {
        /// The wire.
        wire: Gauge,
        /// What one feed carries, in A.
        carries_a: f64,
    },
    /// A battery has no fuse of its own.
    Fuse,
    /// Charging.
    NotChargedWhileWorn,
    /// Lithium cells in clothing.
    LithiumInClothing,
    /// Warmth of pixels and battery.
    Heat {
        /// Power that becomes heat and light on the garment.
        watts: f64,
    },
    /// Order of connecting.
    GroundFirst,
    /// Who decides.
    LocalCodes,
}

/// The cautions for a scene on its supply, the weightiest first; without a supply those that always hold. `powered` comes from
/// [`super::powered::both_cases`].
#[must_use]
pub fn cautions(scene: &Scene, supply: Option<&Supply>, powered: Option<&BothCases>) -> Vec<Caution> {
    let draw = of_scene(scene);
    let mut all = Vec::new();
    if let Some(supply) = supply {
        of_supply(supply, draw.total(), draw.all_on(), &mut all);
        if let Some(powered) = powered {
            of_run(supply, &powered.typical, &powered.worst, &mut all);
        }
        if let Some(battery) = supply.battery {
            all.extend([Caution::Fuse, Caution::NotChargedWhileWorn]);
            if matches!(battery.chemistry, Chemistry::LiIon | Chemistry::PowerBank) {
                all.push(Caution::LithiumInClothing);
            }
        }
        let watts = match powered {
            Some(powered) => powered.typical.solved.supply_w,
            None => supply.volts * draw.total().typical_ma / MA_PER_A,
        };
        all.push(Caution::Heat { watts });
    }
    all.extend([Caution::GroundFirst, Caution::LocalCodes]);
    all
}

fn of_supply(supply: &Supply, draws: Current, all_on: Current, all: &mut Vec<Caution>) {
    if let Some(limit) = limit(supply) {
        if draws.of(Case::Worst) > limit.ma {
            all.push(Caution::OverLimit { draws, limit_ma: limit.ma, by: limit.by });
        } else if all_on.of(Case::Worst) > limit.ma {
            all.push(Caution::AllOnOverLimit { draws: all_on, limit_ma: limit.ma });
        }
    }
    if supply.source == Source::BoardPin && all_on.of(Case::Worst) > PIN_WORTH_A_WORD_MA {
        all.push(Caution::BoardPin { draws });
    }
    if supply.volts > MOST_V {
        all.push(Caution::TooManyVolts { volts: supply.volts });
    }
}

fn of_run(supply: &Supply, powered: &Powered, worst_case: &Powered, all: &mut Vec<Caution>) {
    let pixels = powered.pixels_below();
    if let (Some((worst, _)), true) = (powered.tightest(), pixels > 0) {
        all.push(Caution::TooFewVolts {
            pixels,
            worst: worst + 1,
            volts: powered.solved.volts[worst],
            needs_v: powered.least_volts[worst],
        });
    } else if worst_case.pixels_below() > 0 {
        all.push(Caution::PerhapsTooFewVolts { pixels: worst_case.pixels_below() });
    }
    let carries_a = powered.solved.feed_amperes.iter().fold(0.0_f64, |most, a| most.max(*a));
    if carries_a > supply.wire.careful_a()[0] {
        all.push(Caution::ThinWire { wire: supply.wire, carries_a });
    }
}

impl fmt::Display for Caution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Caution::OverLimit { draws, limit_ma, by } => {
                let what = match by {
                    LimitedBy::Stated => "the supply gives",
                    LimitedBy::BoardPin => "a pin of a controller board usually gives",
                    LimitedBy::Battery => "the battery may give for long",
                };
                write!(
                    f,
                    "The pixels draw {:.0} mA at their levels, up to {:.0} mA, and {what} {limit_ma:.0} mA: cap the levels, or \
                     take a stronger source.",
                    draws.typical_ma, draws.range_ma[1]
                )
            }
            Caution::AllOnOverLimit { draws, limit_ma } => write!(
                f,
                "A program that lights every die fully draws {:.0} mA, up to {:.0} mA, of {limit_ma:.0} mA: set its brightness \
                 so that it cannot.",
                draws.typical_ma, draws.range_ma[1]
            ),
            Caution::BoardPin { draws } => write!(
                f,
                "The pixels draw {:.0} mA through a pin of a controller board: its regulator is made for a few hundred milliampere, gets \
                 hot and switches off. Take power from a proper supply, and join only ground and data to the board.",
                draws.typical_ma
            ),
            Caution::TooManyVolts { volts } => {
                write!(f, "{volts} V destroys these pixels: they bear {MOST_V} V at the most.")
            }
            Caution::TooFewVolts { pixels: 1, worst, volts, needs_v } => write!(
                f,
                "Pixel {worst} gets {volts:.2} V and needs {needs_v:.2} V: blue and green fade first, white turns towards red, and it \
                 may flicker."
            ),
            Caution::TooFewVolts { pixels, worst, volts, needs_v } => write!(
                f,
                "{pixels} pixels get less voltage than they need, the least pixel {worst} with {volts:.2} V of {needs_v:.2} V: blue and \
                 green fade first, white turns towards red, and pixels may flicker."
            ),
            Caution::PerhapsTooFewVolts { pixels } => write!(
                f,
                "Should copper, supply and pixels all lie at the unfavourable end of their ranges, {pixels} of the pixels get less voltage \
                 than they need: try the real run at full length before it is sewn in."
            ),
            Caution::ThinWire { wire, carries_a } => {
                let [early, late] = wire.careful_a();
                write!(
                    f,
                    "A wire of {wire} carries {carries_a:.2} A: under cloth be careful from {early:.2} to {late:.2} A on (2 to 3 A per mm2 \
                     of copper). Take thicker wire or more feeds."
                )
            }
            Caution::Fuse => f.write_str(
                "Put a fuse next to the battery, for no more than its thinnest wire may carry: a battery gives many ampere into a short \
                 circuit.",
            ),
            Caution::NotChargedWhileWorn => f.write_str("Never charge the battery while the garment is worn."),
            Caution::LithiumInClothing => f.write_str(
                "Lithium cells can burn when they are bent, pierced, crushed or wet: use protected cells in a stiff pocket that is quick \
                 to reach and to take out, away from the skin.",
            ),
            Caution::Heat { watts } => write!(
                f,
                "{watts:.1} W become warm in the garment: nothing that is worn for hours should get warmer than 43 C at the skin. Lay \
                 cloth between, and feel it after half an hour before anyone wears it."
            ),
            Caution::GroundFirst => f.write_str(
                "Switch off before you touch wires; connect ground first; check the order of the pads on your own product.",
            ),
            Caution::LocalCodes => f.write_str(
                "These figures are estimates and no rating: local codes and licensed practice decide.",
            ),
        }
    }
}
