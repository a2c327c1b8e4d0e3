//! Packages: what one pixel is made of, from data sheets' typical ranges, and how a colour that is sent becomes levels of
//! its dies.
//!
//! The figures in the table below are middles of ranges; real parts of one reel differ within them. Each package's
//! `source` says which figures were seen in data sheets, which are remembered and which are common practice. Positions
//! and bright patches of the dies, and the windows, are common practice without a source.

use crate::light::Window;
use crate::light::spectrum::{Xyz, die_weights};
use crate::quantity::{Millimetres, Nanometres};
use std::f64::consts::PI;

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

/// What the table says about one die: dominant wavelength, typical intensity and its range.
type DieRow = (Die, f64, f64, [f64; 2]);

/// What the table says about one package.
struct PackageRow {
    name: &'static str,
    body_mm: f64,
    window: Window,
    /// Distance of each die's centre from the package's, and diameter of its bright patch.
    die_radius_mm: f64,
    patch_mm: f64,
    typical_ma: f64,
    range_ma: [f64; 2],
    idle_ma: f64,
    dies: &'static [DieRow],
    source: &'static str,
}

const fn disc(diameter_mm: f64) -> Window {
    Window::Disc { diameter: Millimetres(diameter_mm) }
}

/// Beam of 120 degrees full width at half intensity: cos 60 degrees is one half, so the exponent is exactly 1.
const BEAM_120_DEG: f64 = 1.0;

const TABLE: &[PackageRow] = &[
    PackageRow {
        name: "5050",
        body_mm: 5.0,
        window: disc(3.6),
        die_radius_mm: 0.8,
        patch_mm: 1.1,
        typical_ma: 19.0,
        range_ma: [18.5, 20.0],
        idle_ma: 0.6,
        dies: &[
            (Die::Red, 625.0, 625.0, [550.0, 700.0]),
            (Die::Green, 522.5, 1250.0, [1100.0, 1400.0]),
            (Die::Blue, 470.0, 300.0, [200.0, 400.0]),
        ],
        source: "Wavelengths, intensities, currents and the 120 degree beam: middles of the ranges in data sheets of \
                 5050 packages with built-in driver, 18.5 to 20 mA a die. Idle current: from memory. Window, places \
                 and bright patches of the dies: common practice, no source.",
    },
    PackageRow {
        name: "5050-low",
        body_mm: 5.0,
        window: disc(3.6),
        die_radius_mm: 0.8,
        patch_mm: 1.1,
        typical_ma: 12.0,
        range_ma: [11.0, 13.0],
        idle_ma: 0.6,
        dies: &[
            (Die::Red, 622.5, 405.0, [390.0, 420.0]),
            (Die::Green, 523.5, 690.0, [660.0, 720.0]),
            (Die::Blue, 466.0, 190.0, [180.0, 200.0]),
        ],
        source: "Wavelengths, intensities and the 120 degree beam: middles of the ranges in a data sheet of a 5050 \
                 package with built-in driver of the lower-current type. Current of about 12 mA a die and idle \
                 current: from memory. Window, places and bright patches of the dies: common practice, no source.",
    },
    PackageRow {
        name: "5050-rgbw",
        body_mm: 5.0,
        window: disc(3.6),
        die_radius_mm: 0.9,
        patch_mm: 1.1,
        typical_ma: 19.0,
        range_ma: [15.0, 20.0],
        idle_ma: 1.0,
        dies: &[
            (Die::Red, 625.0, 625.0, [550.0, 700.0]),
            (Die::Green, 520.0, 1250.0, [1100.0, 1400.0]),
            (Die::Blue, 470.0, 300.0, [200.0, 400.0]),
            (Die::White, 457.0, 1800.0, [1200.0, 2400.0]),
        ],
        source: "Wavelengths of the coloured dies and the 120 degree beam: data sheets of 5050 packages. Their \
                 intensities: those of the three-colour 5050. White die (neutral white, about 4000 K) and currents: \
                 from memory. Idle current of 1 mA: quoted second-hand. Window, places and bright patches of the \
                 dies: common practice, no source.",
    },
    PackageRow {
        name: "3535",
        body_mm: 3.5,
        window: disc(2.6),
        die_radius_mm: 0.55,
        patch_mm: 0.8,
        typical_ma: 9.0,
        range_ma: [5.0, 12.0],
        idle_ma: 0.6,
        dies: &[
            (Die::Red, 625.0, 300.0, [150.0, 450.0]),
            (Die::Green, 522.5, 600.0, [300.0, 900.0]),
            (Die::Blue, 467.5, 130.0, [60.0, 200.0]),
        ],
        source: "All optical and electrical figures: middles of ranges from memory. Window, places and bright \
                 patches of the dies: common practice, no source.",
    },
    PackageRow {
        name: "2020",
        body_mm: 2.0,
        window: Window::Square { side: Millimetres(1.6) },
        die_radius_mm: 0.35,
        patch_mm: 0.5,
        typical_ma: 9.0,
        range_ma: [5.0, 12.0],
        idle_ma: 0.6,
        dies: &[
            (Die::Red, 624.0, 155.0, [60.0, 250.0]),
            (Die::Green, 522.5, 350.0, [150.0, 550.0]),
            (Die::Blue, 467.5, 65.0, [20.0, 110.0]),
        ],
        source: "All optical and electrical figures: middles of ranges from memory. Window, places and bright \
                 patches of the dies: common practice, no source.",
    },
];

impl PackageRow {
    fn package(&self) -> Package {
        let share = 2.0 * PI / self.dies.len() as f64;
        let place = |i: usize| {
            // The first die stands at the top, the others follow anticlockwise at equal angles.
            let angle = 0.5 * PI + share * i as f64;
            [Millimetres(self.die_radius_mm * angle.cos()), Millimetres(self.die_radius_mm * angle.sin())]
        };
        let die = |(i, &(die, dominant_nm, typical_mcd, range_mcd)): (usize, &DieRow)| DieFacts {
            die,
            offset: place(i),
            patch: disc(self.patch_mm),
            dominant: Nanometres(dominant_nm),
            typical_mcd,
            range_mcd,
            typical_ma: self.typical_ma,
            range_ma: self.range_ma,
        };
        Package {
            name: self.name.to_owned(),
            body: Millimetres(self.body_mm),
            window: self.window,
            beam_power: BEAM_120_DEG,
            dies: self.dies.iter().enumerate().map(die).collect(),
            idle_ma: self.idle_ma,
            source: self.source.to_owned(),
        }
    }
}

/// Refractive index of the silicone over the dies (typical, from memory: 1.41 for methyl, up to 1.53 for phenyl silicone).
const ENCAPSULANT_INDEX: f64 = 1.41;

/// Share of a die's light that the flat face of the encapsulant turns back at first and the white cup then scatters, so that
/// it leaves by the whole window: a Lambertian die sends the share `1 / n^2` into the escape cone (geometric optics, Fresnel
/// losses left out). A deeper cup, a domed or matt face would change it; nothing here was measured.
pub const CAPTIVE_SHARE: f64 = 1.0 - 1.0 / (ENCAPSULANT_INDEX * ENCAPSULANT_INDEX);

/// The name of the ideal source of a scene file's `point`.
pub const IDEAL: &str = "ideal";
/// Dominant wavelength of the pump of a white die where nothing is stated, in nm (typical, from memory).
const PUMP_DOMINANT_NM: f64 = 457.0;

impl Package {
    /// The package with this trade code; `None` when the table does not hold it.
    #[must_use]
    pub fn named(name: &str) -> Option<Package> {
        TABLE.iter().find(|row| row.name == name).map(PackageRow::package)
    }

    /// The trade codes of all packages in the table.
    #[must_use]
    pub fn names() -> Vec<&'static str> {
        TABLE.iter().map(|row| row.name).collect()
    }

    /// An ideal point source for checks: one white die without extent that sends exactly 1 lm into the beam
    /// `cos^m`, with `m = beam_power`, and draws no current.
    #[must_use]
    pub fn ideal(beam_power: f64) -> Package {
        let mcd = 1000.0 * (beam_power + 1.0) / (2.0 * PI);
        Package {
            name: IDEAL.to_owned(),
            body: Millimetres(0.0),
            window: Window::Point,
            beam_power,
            dies: vec![DieFacts {
                die: Die::White,
                offset: [Millimetres(0.0); 2],
                patch: Window::Point,
                dominant: Nanometres(PUMP_DOMINANT_NM),
                typical_mcd: mcd,
                range_mcd: [mcd; 2],
                typical_ma: 0.0,
                range_ma: [0.0; 2],
            }],
            idle_ma: 0.0,
            source: "Ideal point source of one lumen, for checks.".to_owned(),
        }
    }

    /// The parts of which the bright area of a die is made, with their shares of its light: its own patch, and the whole
    /// window, which glows with the light that the flat face of the encapsulant first turns back onto the white cup.
    ///
    /// Each part is its centre (for a package that is not turned), its outline and its share. See [`CAPTIVE_SHARE`].
    #[must_use]
    pub fn bright_parts(&self, die: &DieFacts) -> [([Millimetres; 2], Window, f64); 2] {
        let captive = if self.window == Window::Point { 0.0 } else { CAPTIVE_SHARE };
        [(die.offset, die.patch, 1.0 - captive), ([Millimetres(0.0); 2], self.window, captive)]
    }

    /// One disc that stands for the bright area of a die behind cloth: same centre of light and same mean square
    /// distance from it, which is all that a spot wider than the package can tell.
    #[must_use]
    pub fn glow_source(&self, die: &DieFacts) -> ([Millimetres; 2], Window) {
        let parts = self.bright_parts(die);
        let centre: [f64; 2] =
            std::array::from_fn(|i| parts.iter().map(|(at, _, share)| share * at[i].0).sum());
        let mean_square: f64 = parts
            .iter()
            .map(|(at, window, share)| {
                let away: f64 = (0..2).map(|i| (at[i].0 - centre[i]).powi(2)).sum();
                // <r^2> of a disc of diameter D is D^2 / 8, of a square of side s is s^2 / 6.
                let own = match window {
                    Window::Point => 0.0,
                    Window::Disc { diameter } => diameter.0 * diameter.0 / 8.0,
                    Window::Square { side } => side.0 * side.0 / 6.0,
                };
                share * (away + own)
            })
            .sum();
        let window = if mean_square > 0.0 {
            Window::Disc { diameter: Millimetres((8.0 * mean_square).sqrt()) }
        } else {
            Window::Point
        };
        (centre.map(Millimetres), window)
    }

    /// Tristimulus values in lm of the light that the bare package sends out with its dies at these levels.
    #[must_use]
    pub fn flux(&self, levels: &[f64]) -> Xyz {
        let die =
            |(facts, &level): (&DieFacts, &f64)| die_weights(facts, self.beam_power).total().scaled(level);
        self.dies.iter().zip(levels).map(die).sum()
    }

    /// Levels of the dies when the colour is sent to the pixel as it stands, which is what a maker's program does
    /// and what a scene file's colour means: each die's level is its code value (0 to 1, that is the 8-bit value over
    /// 255) times `level`.
    ///
    /// The driver switches the die on for that share of the time, so light is proportional to the code value; the
    /// pixel therefore looks paler than the same colour on a screen. A white die beside coloured ones stays dark; a
    /// package with a white die alone takes the greatest of the three values.
    #[must_use]
    pub fn raw_levels(&self, code: [f64; 3], level: f64) -> Vec<f64> {
        let [red, green, blue] = code;
        let white =
            if self.dies.iter().all(|d| d.die == Die::White) { red.max(green).max(blue) } else { 0.0 };
        let share = |die| match die {
            Die::Red => red,
            Die::Green => green,
            Die::Blue => blue,
            Die::White => white,
        };
        self.dies.iter().map(|d| (share(d.die) * level).clamp(0.0, 1.0)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_disc_for_the_glow_keeps_centre_and_mean_square() {
        for name in Package::names() {
            let package = Package::named(name).unwrap();
            for die in &package.dies {
                let parts = package.bright_parts(die);
                assert!((parts.iter().map(|p| p.2).sum::<f64>() - 1.0).abs() < 1e-12);
                let (centre, window) = package.glow_source(die);
                let Window::Disc { diameter } = window else { panic!("{name}: no disc") };
                // By the parallel-axis theorem about the package's centre.
                let about_middle: f64 = parts
                    .iter()
                    .map(|(at, part, share)| {
                        let own = match part {
                            Window::Disc { diameter } => diameter.0.powi(2) / 8.0,
                            Window::Square { side } => side.0.powi(2) / 6.0,
                            Window::Point => 0.0,
                        };
                        share * (own + at[0].0.powi(2) + at[1].0.powi(2))
                    })
                    .sum();
                let found = diameter.0.powi(2) / 8.0 + centre[0].0.powi(2) + centre[1].0.powi(2);
                assert!((found - about_middle).abs() < 1e-12, "{name}: {found} {about_middle}");
            }
        }
        let ideal = Package::ideal(1.0);
        assert_eq!(ideal.glow_source(&ideal.dies[0]), ([Millimetres(0.0); 2], Window::Point));
    }

    #[test]
    fn every_package_is_sound() {
        for name in Package::names() {
            let package = Package::named(name).expect("in the table");
            let reach = match package.window {
                Window::Disc { diameter } => 0.5 * diameter.0,
                Window::Square { side } => 0.5 * side.0,
                Window::Point => 0.0,
            };
            assert!(2.0 * reach <= package.body.0, "{name}: window wider than the body");
            for die in &package.dies {
                let Window::Disc { diameter } = die.patch else { panic!("{name}: patches are discs") };
                let out = die.offset[0].0.hypot(die.offset[1].0) + 0.5 * diameter.0;
                assert!(out <= reach, "{name}: a bright patch reaches beyond the window");
                assert!((die.range_mcd[0]..=die.range_mcd[1]).contains(&die.typical_mcd));
                assert!((die.range_ma[0]..=die.range_ma[1]).contains(&die.typical_ma));
            }
        }
        assert_eq!(Package::named("no such package"), None);
    }

    #[test]
    fn the_ideal_source_sends_one_lumen_whatever_its_beam() {
        for m in [0.0, 1.0, 2.5, 20.0] {
            assert!((Package::ideal(m).flux(&[1.0]).luminance() - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn raw_levels_are_the_code_values() {
        let rgb = Package::named("5050").expect("in the table");
        assert_eq!(rgb.raw_levels([1.0, 0.5, 0.25], 0.5), vec![0.5, 0.25, 0.125]);
        let rgbw = Package::named("5050-rgbw").expect("in the table");
        assert_eq!(rgbw.raw_levels([1.0, 1.0, 1.0], 1.0), vec![1.0, 1.0, 1.0, 0.0]);
        assert_eq!(Package::ideal(1.0).raw_levels([0.2, 0.6, 0.4], 1.0), vec![0.6]);
        assert_eq!(rgb.raw_levels([2.0, -1.0, 0.0], 1.0), vec![1.0, 0.0, 0.0]);
    }
}
