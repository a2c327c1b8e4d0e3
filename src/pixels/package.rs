//! Packages: what one pixel is made of, from data sheets' typical ranges.

use crate::light::Window;
use crate::quantity::{Millimetres, Nanometres};

/// The colour of a die.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Die {
    /// Red.
    Red,
    /// Green.
    Green,
    /// Blue.
    Blue,
    /// White (a blue die under a phosphor).
    White,
}

/// One die of a package: where it sits, what it sends out.
#[derive(Clone, Debug, PartialEq)]
pub struct DieFacts {
    /// Which die.
    pub die: Die,
    /// Place of its centre in the package, x and y, for a package that is not turned.
    pub offset: [Millimetres; 2],
    /// The bright patch that it makes, taken as a source of uniform radiance.
    pub patch: Window,
    /// Dominant wavelength (for white: of the pumping die).
    pub dominant: Nanometres,
    /// Luminous intensity straight ahead at full level, typical, in mcd.
    pub typical_mcd: f64,
    /// The range that data sheets give for it, in mcd.
    pub range_mcd: [f64; 2],
    /// Current at full level, typical, in mA.
    pub typical_ma: f64,
    /// The range that data sheets give for it, in mA.
    pub range_ma: [f64; 2],
}

/// A package of one to four dies.
#[derive(Clone, Debug, PartialEq)]
pub struct Package {
    /// Trade code or own name (`5050`, `5050-rgbw`, `ideal`).
    pub name: String,
    /// Side of the (square) package.
    pub body: Millimetres,
    /// The window through which the light leaves.
    pub window: Window,
    /// Exponent m of the beam, `cos^m`.
    pub beam_power: f64,
    /// Its dies.
    pub dies: Vec<DieFacts>,
    /// Current of the built-in driver with all dies dark, typical, in mA.
    pub idle_ma: f64,
    /// Where these numbers come from.
    pub source: String,
}
