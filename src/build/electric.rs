//! Voltages of pixels: from which voltage on a die gets its full current, and what is left below.
//!
//! **Model**: a die and the current source of the driver in series. While the voltage suffices, the source holds the die's
//! full current. Below, the source is a closed switch with a resistance, and the share `s` of the full current that flows
//! follows from a diode and resistances in series:
//!
//! ```text
//! V = F + H + n ln s + (D + H) (s - 1)
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | V | voltage at the pixel | V |
//! | F | forward voltage of the die at full current | V |
//! | H | headroom: voltage that the driver needs across itself at full current | V |
//! | n | slope of the diode: ideality about 2 times the thermal voltage | V |
//! | D | part of F that is resistance of the die | V |
//!
//! **Sources**: F of red 1.8 to 2.4 V, of green and blue (a white die is a blue one) 3.0 to 3.4 V, at most 3.8 V: data sheets
//! of 5050 packages. Least supply of the logic 3.5 V: data sheets of 5050 packages; taken for the small ones too. H, n and D:
//! from memory or common practice, no source.
//!
//! **Validity**: pixels with built-in driver on one die each, as in the table of packages. Typical parts lose blue and green
//! below about 3.7 V and red below about 2.6 V. At the unfavourable ends it is 4.5 V for blue, which is where data sheets let
//! the supply begin. Light is taken in proportion to current.

use super::Case;
use crate::pixels::package::{Die, Package};
use crate::quantity::Millimetres;

/// Forward voltage at full current of red dies: typical and most (data sheets: 1.8 to 2.4 V).
const RED_FORWARD_V: [f64; 2] = [2.1, 2.4];
/// Forward voltage at full current of green, blue and white dies: typical and most (data sheets: 3.0 to 3.4, at most 3.8 V).
const BLUE_FORWARD_V: [f64; 2] = [3.2, 3.8];
/// Headroom of the driver: typical and most (common practice, no source).
const HEADROOM_V: [f64; 2] = [0.5, 0.7];
/// Slope of a diode: ideality 2 at 300 K, 2 kT/e (from memory).
const DIODE_SLOPE_V: f64 = 0.0517;
/// Voltage over a red die's own resistance at full current (common practice, no source).
const RED_RESISTIVE_V: f64 = 0.1;
/// The same for green, blue and white dies (common practice, no source).
const BLUE_RESISTIVE_V: f64 = 0.3;

/// The logic of a driver is promised to work from this voltage on (data sheets of 5050 packages).
pub const LOGIC_LEAST_V: f64 = 3.5;
/// The most that data sheets let such pixels see.
pub const MOST_V: f64 = 5.5;

/// How the current of a die follows the voltage at its pixel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DieCurve {
    /// From this voltage on the current is full, in V: `F + H`.
    pub full_v: f64,
    /// Slope of the diode, in V.
    pub slope_v: f64,
    /// Voltage over the resistances at full current, in V: `D + H`.
    pub resistive_v: f64,
}

/// Newton's steps on the logarithm of the share: it is a smooth convex equation and needs three to six.
const MOST_STEPS: usize = 60;
/// The logarithm of the share is exact to this.
const LOG_PRECISION: f64 = 1e-14;
/// Shares below `e^` this are taken as none.
const DARKEST_LOG: f64 = -60.0;

impl DieCurve {
    /// The curve of a die of this colour.
    #[must_use]
    pub fn of(die: Die, case: Case) -> DieCurve {
        let (forward, resistive) = match die {
            Die::Red => (RED_FORWARD_V, RED_RESISTIVE_V),
            Die::Green | Die::Blue | Die::White => (BLUE_FORWARD_V, BLUE_RESISTIVE_V),
        };
        let headroom = case.pick(HEADROOM_V[0], HEADROOM_V[1]);
        DieCurve {
            full_v: case.pick(forward[0], forward[1]) + headroom,
            slope_v: DIODE_SLOPE_V,
            resistive_v: resistive + headroom,
        }
    }

    /// Share of the full current at a voltage in V, 0 to 1, and its derivative in 1/V (from above at the knee: zero).
    #[must_use]
    pub fn share(&self, volts: f64) -> (f64, f64) {
        let below = volts - self.full_v;
        if below >= 0.0 {
            return (1.0, 0.0);
        }
        // n y + c (e^y - 1) = below, with y = ln s. The left side is convex and rises, so that Newton from the right of the root
        // comes down to it without passing it. Both of these lie right of it: e^y - 1 is at least y, and e^y at least 0.
        let (n, c) = (self.slope_v, self.resistive_v);
        let mut log = (below / (n + c)).min((below + c) / n);
        if log < DARKEST_LOG {
            return (0.0, 0.0);
        }
        for _ in 0..MOST_STEPS {
            let share = log.exp();
            let step = (n * log + c * (share - 1.0) - below) / (n + c * share);
            log -= step;
            if step.abs() <= LOG_PRECISION * (1.0 + log.abs()) {
                break;
            }
        }
        if log < DARKEST_LOG {
            return (0.0, 0.0);
        }
        let share = log.exp();
        (share, share / (n + c * share))
    }

    /// The share integrated over the voltage from far below up to `volts`, in V.
    #[must_use]
    pub fn share_integral(&self, volts: f64) -> f64 {
        // Over the share instead: dV = (n/s + c) ds, so that the integral of s dV is n s + c s^2 / 2.
        let share = self.share(volts).0;
        let below = self.slope_v * share + 0.5 * self.resistive_v * share * share;
        below + (volts - self.full_v).max(0.0)
    }
}

/// The least voltage at which a pixel works as it should with the given levels: its logic is sure to work and every lit die
/// gets its full current. In V; none for a package without a driver (the ideal source).
#[must_use]
pub fn least_volts(package: &Package, levels: &[f64], case: Case) -> Option<f64> {
    if package.idle_ma <= 0.0 {
        return None;
    }
    let lit = package.dies.iter().zip(levels).filter(|(_, level)| **level > 0.0);
    Some(lit.map(|(die, _)| DieCurve::of(die.die, case).full_v).fold(LOGIC_LEAST_V, f64::max))
}

/// Copper of one conductor of a strip, in ohm per metre, with where it comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StripCopper {
    /// Typical.
    pub ohm_per_m: f64,
    /// Least and most.
    pub range: [f64; 2],
    /// Where the figures come from.
    pub source: &'static str,
}

/// Packages from this side on sit on wide strips.
pub(super) const WIDE_FROM: Millimetres = Millimetres(3.0);

/// Copper of the flexible strip that usually carries a package: one conductor, at 20 C.
///
/// A conductor of w mm by t micrometres has `17.24 / (w t)` ohm per metre. Wide strips (8 to 12 mm, packages of 3.5 and 5 mm):
/// 2.5 mm of 2 oz copper (70 micrometres), range from 1.5 mm of 70 to 3 mm of 70 on both faces. Narrow ones (4 to 6 mm, 2 mm
/// packages): 1.5 mm of 1 oz (35 micrometres), range from 1 mm of 35 to 1.5 mm of 70. Common practice, no source.
#[must_use]
pub fn strip_copper(package: &Package) -> StripCopper {
    if package.body >= WIDE_FROM {
        StripCopper {
            ohm_per_m: 0.10,
            range: [0.04, 0.17],
            source: "copper of a wide flexible strip, 2.5 mm of 2 oz a conductor: common practice, no source",
        }
    } else {
        StripCopper {
            ohm_per_m: 0.33,
            range: [0.16, 0.49],
            source: "copper of a narrow flexible strip, 1.5 mm of 1 oz a conductor: common practice, no source",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curves() -> impl Iterator<Item = DieCurve> {
        [Die::Red, Die::Blue]
            .into_iter()
            .flat_map(|die| [Case::Typical, Case::Worst].map(|case| DieCurve::of(die, case)))
    }

    #[test]
    fn the_share_solves_its_equation() {
        // Rounding of exp and ln at arguments up to 60, in volts.
        const EXACT_V: f64 = 1e-13;
        for curve in curves() {
            for i in 0..400 {
                let volts = 0.01 * f64::from(i) + 0.7;
                let (share, _) = curve.share(volts);
                if share <= 0.0 {
                    assert!(volts < curve.full_v - curve.resistive_v - 59.0 * curve.slope_v, "{volts}");
                } else if share < 1.0 {
                    let back = curve.full_v + curve.slope_v * share.ln() + curve.resistive_v * (share - 1.0);
                    assert!((back - volts).abs() < EXACT_V * 10.0, "{volts} {back}");
                } else {
                    assert!(volts >= curve.full_v - EXACT_V);
                }
            }
        }
    }

    #[test]
    fn slope_and_integral_are_those_of_the_share() {
        // Central differences of 1e-5 V are good to (1e-5)^2 times the third derivative (below 1e4 per V^3), and to rounding.
        const STEP: f64 = 1e-5;
        const CLOSE: f64 = 3e-6;
        for curve in curves() {
            for below in [0.05, 0.2, 0.5, 0.9, 1.2] {
                let volts = curve.full_v - below;
                let (share, slope) = curve.share(volts);
                let around = |f: &dyn Fn(f64) -> f64| (f(volts + STEP) - f(volts - STEP)) / (2.0 * STEP);
                assert!((around(&|v| curve.share(v).0) - slope).abs() < CLOSE);
                assert!((around(&|v| curve.share_integral(v)) - share).abs() < CLOSE);
            }
            let rise = curve.share_integral(curve.full_v + 2.0) - curve.share_integral(curve.full_v);
            assert!((rise - 2.0).abs() < 1e-12);
        }
    }

    #[test]
    fn blue_and_green_go_before_red() {
        for case in [Case::Typical, Case::Worst] {
            let [red, blue] = [Die::Red, Die::Blue].map(|die| DieCurve::of(die, case));
            for i in 0..30 {
                let volts = 1.6 + 0.1 * f64::from(i);
                assert!(blue.share(volts).0 <= red.share(volts).0, "{volts}");
            }
        }
    }

    #[test]
    fn the_least_voltage_follows_the_lit_dies() {
        let package = Package::named("5050").expect("in the table");
        let least = |levels: [f64; 3], case| least_volts(&package, &levels, case).expect("has a driver");
        // Sums of two figures of the table.
        assert!((least([0.1, 0.0, 0.2], Case::Typical) - 3.7).abs() < 1e-12);
        assert!((least([1.0, 0.0, 0.0], Case::Typical) - LOGIC_LEAST_V).abs() < 1e-12);
        assert!((least([1.0, 1.0, 1.0], Case::Worst) - 4.5).abs() < 1e-12);
        assert_eq!(least_volts(&Package::ideal(1.0), &[1.0], Case::Worst), None);
    }

    #[test]
    fn strip_copper_is_that_of_its_cross_section() {
        // The table rounds to two digits, 5 % at worst.
        for (name, area_mm2) in [("5050", 2.5 * 0.070), ("2020", 1.5 * 0.035)] {
            let copper = strip_copper(&Package::named(name).expect("in the table"));
            let expected = crate::build::wire::COPPER_OHM_MM2_PER_M / area_mm2;
            assert!((copper.ohm_per_m / expected - 1.0).abs() < 0.05, "{name}");
            assert!(copper.range[0] < copper.ohm_per_m && copper.ohm_per_m < copper.range[1]);
        }
    }
}
