//! Copper wire: thickness, resistance, and how much current to be careful with.
//!
//! **Model**: a solid round wire of annealed copper with the standard conductivity; resistance linear in temperature.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | n | gauge number (AWG) | |
//! | d | diameter, `0.127 mm * 92^((36 - n) / 39)` | mm |
//! | rho | resistivity of annealed copper at 20 C, 1/58 | ohm mm2 / m |
//! | alpha | `R(T) = R(20 C) * (1 + alpha (T - 20 C))` | 1/K |
//!
//! **Sources**: diameters by the formula of ASTM B258; the resistivity is the International Annealed Copper Standard
//! (IEC 60028); alpha 0.00393/K belongs to that standard (from memory). A published wire table agrees to its last digit
//! (`tests/power`).
//!
//! **Validity**: metal conductors, direct current. Stranded wire of the same gauge is 2 to 5 % more resistive (from memory);
//! joints, connectors and crimps come on top and are not counted. Conductive thread is another matter: 1 to 100 ohm per
//! metre (from memory).
//!
//! What a wire may carry is not computed: [`Gauge::careful_a`] only says where to become careful. Local codes and licensed
//! practice decide.

use crate::quantity::Millimetres;
use std::f64::consts::PI;

/// Resistivity of annealed copper at 20 C, in ohm mm2 per metre (International Annealed Copper Standard: 1/58).
pub const COPPER_OHM_MM2_PER_M: f64 = 1.0 / 58.0;
/// Share by which copper's resistance at 20 C rises with every kelvin (from memory, belongs to the same standard).
pub const COPPER_PER_KELVIN: f64 = 0.00393;
/// The temperature of all tables.
pub const TABLE_CELSIUS: f64 = 20.0;
/// Stranded wire has this much more resistance than solid wire of the same gauge, least and most (from memory).
pub const STRANDED_EXTRA: [f64; 2] = [0.02, 0.05];
/// Current density at which to become careful under cloth, where heat cannot get away, in A/mm2 (from memory).
const CAREFUL_A_PER_MM2: [f64; 2] = [2.0, 3.0];

/// A wire gauge, AWG: the larger the number, the thinner the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gauge(pub u8);

impl Gauge {
    /// Diameter of the solid wire (ASTM B258: 39 equal ratios from 36 AWG, 0.127 mm, to 0000 AWG, 92 times as thick).
    #[must_use]
    pub fn diameter(self) -> Millimetres {
        Millimetres(0.127 * 92_f64.powf((36.0 - f64::from(self.0)) / 39.0))
    }

    /// Area of copper, in mm2.
    #[must_use]
    pub fn area_mm2(self) -> f64 {
        PI / 4.0 * self.diameter().0.powi(2)
    }

    /// Resistance of one metre of one conductor of solid wire, in ohm.
    #[must_use]
    pub fn ohm_per_m(self, celsius: f64) -> f64 {
        COPPER_OHM_MM2_PER_M / self.area_mm2() * warmed(celsius)
    }

    /// Where to become careful with wire bundled or under cloth, in A: 2 and 3 A/mm2 (from memory). A caution, no rating.
    #[must_use]
    pub fn careful_a(self) -> [f64; 2] {
        CAREFUL_A_PER_MM2.map(|density| density * self.area_mm2())
    }
}

impl std::fmt::Display for Gauge {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} AWG", self.0)
    }
}

/// Resistance of copper at a temperature over that at 20 C.
#[must_use]
pub fn warmed(celsius: f64) -> f64 {
    1.0 + COPPER_PER_KELVIN * (celsius - TABLE_CELSIUS)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a handful of operations.
    const EXACT: f64 = 1e-12;

    #[test]
    fn gauges_step_as_the_standard_says() {
        assert!((Gauge(36).diameter().0 - 0.127).abs() < EXACT);
        // 39 numbers are 92 times the diameter.
        let ratio = Gauge(0).diameter().0 / Gauge(39).diameter().0;
        assert!((ratio - 92.0).abs() < EXACT * 92.0);
        // Three numbers about halve the area, six about halve the diameter (a rule of thumb that follows from 92^(1/39)).
        assert!((Gauge(20).area_mm2() / Gauge(23).area_mm2() - 92_f64.powf(6.0 / 39.0)).abs() < EXACT * 10.0);
        assert!((Gauge(20).area_mm2() / Gauge(23).area_mm2() - 2.0).abs() < 0.01);
    }

    #[test]
    fn copper_warms_by_its_coefficient() {
        let cold = Gauge(26).ohm_per_m(20.0);
        assert!((Gauge(26).ohm_per_m(70.0) / cold - 1.1965).abs() < EXACT);
        assert!((Gauge(26).ohm_per_m(-10.0) / cold - (1.0 - 0.1179)).abs() < EXACT);
    }

    #[test]
    fn cautions_lie_far_below_melting() {
        for awg in 16..=36 {
            let [early, late] = Gauge(awg).careful_a();
            // Preece's rule for copper: a bare wire of d mm melts in still air at about 80 d^1.5 ampere.
            let melts = 80.0 * Gauge(awg).diameter().0.powf(1.5);
            assert!(early < late && late < melts / 5.0, "{awg}");
        }
    }
}
