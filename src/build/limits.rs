//! What the supply can give, and how far the levels must come down for it.
//!
//! **Model**: levels times a common factor; the drivers' idle current stays. With the idle current `I0`, the current of the
//! dies at the scene's levels `I1` and the limit `M`, the greatest factor is `(M - I0) / I1`, at most 1. Arithmetic, no source.
//!
//! Voltage lost along the run only lowers the current, so that a level that is capped here stays within the limit.

use super::Case;
use super::current::Draw;
use super::supply::{Source, Supply};

/// What a pin of a controller board gives to pixels where nothing is said, in mA: its small regulator feeds the board too (common
/// practice, no source; boards differ).
pub const BOARD_PIN_MA: f64 = 300.0;
/// The largest number of a brightness setting of eight bits.
const EIGHT_BITS: f64 = 255.0;

/// What sets the limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LimitedBy {
    /// The file's `max_ma`.
    Stated,
    /// What a controller board's pin usually gives.
    BoardPin,
    /// What the battery may give for long.
    Battery,
}

/// A limit of the current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// The limit, in mA.
    pub ma: f64,
    /// What sets it.
    pub by: LimitedBy,
}

/// The lowest limit of the supply's current; `None` where nothing limits it that is known here.
#[must_use]
pub fn limit(supply: &Supply) -> Option<Limit> {
    let stated = supply.max_ma.map(|ma| Limit { ma, by: LimitedBy::Stated });
    let pin = (supply.source == Source::BoardPin && stated.is_none())
        .then_some(Limit { ma: BOARD_PIN_MA, by: LimitedBy::BoardPin });
    let battery =
        supply.battery.map(|battery| Limit { ma: battery.most_ma_at(supply.volts), by: LimitedBy::Battery });
    [stated, pin, battery].into_iter().flatten().min_by(|a, b| a.ma.total_cmp(&b.ma))
}

/// How far levels must come down to stay within a limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cap {
    /// The greatest factor on the levels of the scene, 0 to 1.
    pub factor: f64,
    /// Whether even dark pixels draw more than the limit; the factor is then 0.
    pub idle_exceeds: bool,
    /// The greatest brightness setting of eight bits, 0 to 255, for a program that sends the scene's levels.
    pub brightness: u8,
    /// The greatest brightness setting of eight bits with which even all dies of all pixels full on stay within the limit:
    /// the number to type into a program that may send anything.
    pub brightness_all_on: u8,
}

/// The cap of the levels for a limit in mA; 1 without a limit.
#[must_use]
pub fn cap(draw: &Draw, limit: Option<Limit>, case: Case) -> Cap {
    let idle = draw.idle.of(case);
    let most = limit.map_or(f64::INFINITY, |limit| limit.ma);
    let factor = |lit: f64| factor_within(idle, lit, most).unwrap_or(0.0);
    let [here, all_on] = [draw.lit, draw.full].map(|current| factor(current.of(case)));
    Cap {
        factor: here,
        idle_exceeds: idle > most,
        brightness: brightness(here),
        brightness_all_on: brightness(all_on),
    }
}

/// A factor on the levels as a brightness setting of eight bits, 0 to 255; rounded down, so that it never exceeds the factor.
#[must_use]
pub fn brightness(factor: f64) -> u8 {
    (EIGHT_BITS * factor.clamp(0.0, 1.0)).floor() as u8
}

/// The greatest factor in 0 to 1 for which `idle + factor * lit` is at most `most` (all in one unit); `None` when `idle` alone is more.
#[must_use]
pub fn factor_within(idle: f64, lit: f64, most: f64) -> Option<f64> {
    let left = most - idle;
    if left < 0.0 {
        None
    } else if lit <= left {
        Some(1.0)
    } else {
        Some(left / lit)
    }
}
