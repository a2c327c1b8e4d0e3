//! Current of pixels: what they draw dark, at their levels, and with every die full on.
//!
//! **Model**: a built-in driver draws its idle current always and, for each die, the die's full current for the share of
//! the time that is its level. The current here is the average over that switching; it is what a supply must carry, since
//! the drivers switch out of step and the sum of many is smooth. For a moment a single pixel draws what its lit dies draw
//! full on. **Validity**: while the voltage suffices; below, [`super::ladder`] says what is left.
//!
//! **Source**: currents and ranges of [`crate::pixels::package`]. Idle current 0.3 to 1 mA: from memory.
//!
//! The upper end of a range is every pixel at its upper end at once, the lower end likewise.

use super::Case;
use crate::pixels::package::Package;
use crate::scene::{Pixel, Scene};
use std::iter::Sum;
use std::ops::Add;

/// Current of a built-in driver with all dies dark, least and most, in mA (from memory).
const IDLE_RANGE_MA: [f64; 2] = [0.3, 1.0];
pub(super) const MA_PER_A: f64 = 1000.0;

/// A current with the range in which real parts lie, in mA.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Current {
    /// Typical.
    pub typical_ma: f64,
    /// Least and most.
    pub range_ma: [f64; 2],
}

impl Current {
    /// The typical current, or the most.
    #[must_use]
    pub fn of(&self, case: Case) -> f64 {
        case.pick(self.typical_ma, self.range_ma[1])
    }

    /// The current times a factor.
    #[must_use]
    pub fn times(self, factor: f64) -> Current {
        Current { typical_ma: self.typical_ma * factor, range_ma: self.range_ma.map(|ma| ma * factor) }
    }
}

impl Add for Current {
    type Output = Current;
    fn add(self, other: Current) -> Current {
        Current {
            typical_ma: self.typical_ma + other.typical_ma,
            range_ma: std::array::from_fn(|i| self.range_ma[i] + other.range_ma[i]),
        }
    }
}

impl Sum for Current {
    fn sum<I: Iterator<Item = Current>>(all: I) -> Current {
        all.fold(Current::default(), Add::add)
    }
}

/// What one or many pixels draw.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Draw {
    /// The drivers, whatever the dies do.
    pub idle: Current,
    /// The dies at the levels of the scene.
    pub lit: Current,
    /// Every die full on: the most that a program can ask for. White dies beside coloured ones count too.
    pub full: Current,
}

impl Draw {
    /// At the levels of the scene.
    #[must_use]
    pub fn total(&self) -> Current {
        self.idle + self.lit
    }

    /// With all levels times a factor.
    #[must_use]
    pub fn at(&self, factor: f64) -> Current {
        self.idle + self.lit.times(factor)
    }

    /// With every die full on.
    #[must_use]
    pub fn all_on(&self) -> Current {
        self.idle + self.full
    }
}

impl Add for Draw {
    type Output = Draw;
    fn add(self, other: Draw) -> Draw {
        Draw { idle: self.idle + other.idle, lit: self.lit + other.lit, full: self.full + other.full }
    }
}

impl Sum for Draw {
    fn sum<I: Iterator<Item = Draw>>(all: I) -> Draw {
        all.fold(Draw::default(), Add::add)
    }
}

/// Idle current of a package; none for the ideal source, which has no driver.
#[must_use]
pub fn idle(package: &Package) -> Current {
    let typical_ma = package.idle_ma;
    let [least, most] = if typical_ma > 0.0 { IDLE_RANGE_MA } else { [0.0; 2] };
    Current { typical_ma, range_ma: [least.min(typical_ma), most.max(typical_ma)] }
}

/// What one pixel draws.
#[must_use]
pub fn of_pixel(pixel: &Pixel) -> Draw {
    let full = |i: usize| {
        let die = &pixel.package.dies[i];
        Current { typical_ma: die.typical_ma, range_ma: die.range_ma }
    };
    let dies = 0..pixel.package.dies.len();
    Draw {
        idle: idle(&pixel.package),
        lit: dies.clone().zip(&pixel.levels).map(|(i, &level)| full(i).times(level)).sum(),
        full: dies.map(full).sum(),
    }
}

/// What the whole scene draws.
#[must_use]
pub fn of_scene(scene: &Scene) -> Draw {
    scene.pixels.iter().map(of_pixel).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::catalogue::CatalogueOnly;
    use crate::scene::file::resolve;

    /// Sums of a few dozen doubles of size 100.
    const EXACT: f64 = 1e-11;

    fn scene(pixels: &str, light: &str) -> Scene {
        let text = format!("pixels: [{pixels}]\nstack: []\nlight: {light}\n");
        resolve(&text, "test", &CatalogueOnly).expect("in order").scene
    }

    #[test]
    fn dark_pixels_draw_their_idle_current() {
        let draw = of_scene(&scene("strip: {pitch_mm: 16.67, count: 60}", "{level: 0}"));
        assert!((draw.total().typical_ma - 60.0 * 0.6).abs() < EXACT);
        assert!((draw.total().range_ma[0] - 60.0 * 0.3).abs() < EXACT);
        assert!((draw.total().range_ma[1] - 60.0).abs() < EXACT);
        // The ideal source of checks has no driver.
        assert_eq!(of_scene(&scene("point: {}", "{}")).total(), Current::default());
    }

    #[test]
    fn levels_and_white_dies_add_up() {
        // 10 pixels of 19 mA a die: red full, green half, blue off, all at level 0.5, is 19 * 0.5 * (1 + 128/255).
        let warm =
            of_scene(&scene("strip: {pitch_mm: 16.67, count: 10}", "{colour: \"#ff8000\", level: 0.5}"));
        let expected = 10.0 * 19.0 * 0.5 * (1.0 + 128.0 / 255.0);
        assert!((warm.lit.typical_ma - expected).abs() < EXACT);
        assert!((warm.lit.range_ma[1] - expected / 19.0 * 20.0).abs() < EXACT);
        assert!((warm.all_on().range_ma[1] - 10.0 * 61.0).abs() < EXACT);
        assert!((warm.at(0.5).typical_ma - (6.0 + expected / 2.0)).abs() < EXACT);
        let four = of_scene(&scene(
            "strip: {package: 5050-rgbw, pitch_mm: 16.67, count: 10}",
            "{colour: \"#000000\", white: 1}",
        ));
        assert!((four.total().typical_ma - 10.0 * 20.0).abs() < EXACT);
        assert!((four.all_on().typical_ma - 10.0 * 77.0).abs() < EXACT);
    }
}
