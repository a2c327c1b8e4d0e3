//! Quantities that must not be mixed up, as types of their own.
//!
//! Lengths are millimetres, wavelengths nanometres, extinction is per millimetre of cloth and luminance is candela
//! per square metre. Inside a numerical kernel the bare `f64` is taken out once with `.0`; the unit then stands in
//! the name of the variable.

use std::ops::{Add, Mul, Sub};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(pub f64);

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                if let Some(p) = f.precision() {
                    write!(f, "{:.*} {}", p, self.0, $unit)
                } else {
                    write!(f, "{} {}", self.0, $unit)
                }
            }
        }
    };
}

quantity!(
    /// A length in millimetres.
    Millimetres, "mm");
quantity!(
    /// A wavelength in nanometres (in air).
    Nanometres, "nm");
quantity!(
    /// An extinction coefficient per millimetre of path.
    PerMillimetre, "1/mm");
quantity!(
    /// A luminance in candela per square metre.
    Luminance, "cd/m2");

impl Add for Millimetres {
    type Output = Millimetres;
    fn add(self, other: Millimetres) -> Millimetres {
        Millimetres(self.0 + other.0)
    }
}

impl Sub for Millimetres {
    type Output = Millimetres;
    fn sub(self, other: Millimetres) -> Millimetres {
        Millimetres(self.0 - other.0)
    }
}

impl Mul<f64> for Millimetres {
    type Output = Millimetres;
    fn mul(self, factor: f64) -> Millimetres {
        Millimetres(self.0 * factor)
    }
}

/// Extinction times length is an optical thickness, a pure number.
impl Mul<Millimetres> for PerMillimetre {
    type Output = f64;
    fn mul(self, length: Millimetres) -> f64 {
        self.0 * length.0
    }
}
