//! The stacks that are tried: one cloth over a grid of its numbers, then cloths, holes and piles as garments have them.
//!
//! Lengths scale: a stack of twice the size with half the extinction is the same, so that the stand-off of the grid stays at one
//! value. Reflectance of the board 0.5 throughout.

use crate::light::{Layer, Optics, Stack};
use crate::quantity::{Millimetres, PerMillimetre};

/// Asymmetries tried: isotropic, in between, and the sharpest that fibres have.
pub const ASYMMETRIES: [f64; 3] = [0.0, 0.4, 0.8];
/// Optical thicknesses of the grid, from a veil to heavy felt.
pub const OPTICAL_THICKNESSES: [f64; 7] = [0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0];
/// Thicknesses over the air below, from a veil far off to wadding on the pixels.
pub const THICKNESSES_OVER_GAP: [f64; 6] = [0.05, 0.2, 0.5, 1.0, 2.0, 4.0];
/// Albedos of the grid: nearly white, and dyed.
pub const ALBEDOS: [f64; 2] = [0.999, 0.9];
/// Air below the cloths of the grid in mm.
pub const GAP_MM: f64 = 5.0;
/// Angles in degrees from straight ahead at which the named stacks are seen.
pub const TILTS_DEG: [f64; 3] = [0.0, 30.0, 60.0];
const BOARD_REFLECTANCE: f64 = 0.5;

/// A cloth of a named stack: gap below and thickness in mm, optical thickness, albedo, openness.
type Cloth = [f64; 5];

const FELT: Cloth = [5.0, 1.0, 4.0, 0.995, 0.0];
const DENSE: Cloth = [4.0, 2.0, 8.0, 0.999, 0.0];
const ON_THE_PIXELS: Cloth = [1.0, 4.0, 8.0, 0.999, 0.0];
const SHEER: Cloth = [0.0, 0.2, 0.5, 0.999, 0.0];
const KNIT: Cloth = [0.0, 0.5, 2.0, 0.99, 0.4];

/// The same cloth with another gap below it.
const fn over([_, thickness, tau, albedo, openness]: Cloth, gap: f64) -> Cloth {
    [gap, thickness, tau, albedo, openness]
}

/// The named stacks: single cloths, cloths of which 40 % is holes, piles. The first cloth is the one next to the pixels.
pub const NAMED: [(&str, &[Cloth]); 15] = [
    ("sheer, 5 mm off", &[over(SHEER, 5.0)]),
    ("felt, 5 mm off", &[FELT]),
    ("dense, as thick as its gap", &[[4.0, 4.0, 8.0, 0.999, 0.0]]),
    ("dense, four gaps thick", &[ON_THE_PIXELS]),
    ("dark and dense, half a gap thick", &[[2.0, 1.0, 6.0, 0.73, 0.0]]),
    ("sheer, 40 % holes", &[[5.0, 0.2, 0.5, 0.999, 0.4]]),
    ("felt, 40 % holes", &[[5.0, 1.0, 4.0, 0.995, 0.4]]),
    ("dark and dense, 40 % holes", &[[2.0, 1.0, 6.0, 0.73, 0.4]]),
    ("sheer on felt", &[FELT, SHEER]),
    ("sheer 5 mm above felt", &[FELT, over(SHEER, 5.0)]),
    ("felt 5 mm above sheer", &[over(SHEER, 5.0), FELT]),
    ("open knit on felt", &[FELT, KNIT]),
    ("dense on dense", &[DENSE, over(DENSE, 0.0)]),
    ("dense 4 mm above dense", &[DENSE, DENSE]),
    ("sheer on dense of four gaps", &[ON_THE_PIXELS, SHEER]),
];

/// Where a stack stands in the list.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// One cloth of the grid.
    Grid {
        /// Optical thickness.
        optical_thickness: f64,
        /// Thickness over the air below.
        thickness_over_gap: f64,
        /// Albedo.
        albedo: f64,
    },
    /// A stack of [`NAMED`].
    Named(&'static str),
}

/// Stacks of which the same is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// One closed cloth, seen from straight ahead.
    OneCloth,
    /// One cloth with holes, seen from straight ahead.
    Holes,
    /// Several cloths, seen from straight ahead.
    Piles,
    /// Any of them seen from 30 degrees to the side.
    Side30,
    /// Any of them seen from 60 degrees to the side.
    Side60,
    /// Dense cloth near the pixels with holes, in piles or from the side: what spherical harmonics do not reach.
    DenseNear,
}

/// Optical thickness from which a cloth is dense, and its thickness over the gap from which it is near the pixels.
const DENSE_NEAR: [f64; 2] = [6.0, 0.5];

impl Group {
    /// All, in the order in which they are told.
    pub const ALL: [Group; 6] =
        [Group::OneCloth, Group::Holes, Group::Piles, Group::Side30, Group::Side60, Group::DenseNear];

    /// Its name.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Group::OneCloth => "one cloth",
            Group::Holes => "one cloth with holes",
            Group::Piles => "several cloths",
            Group::Side30 => "from 30° to the side",
            Group::Side60 => "from 60° to the side",
            Group::DenseNear => "dense and near, holed, piled or from the side",
        }
    }

    /// The largest error over the peak that the README's known limits name for such stacks. Each is what a long run found, rounded
    /// up; a change of the transport that goes beyond one must mend the transport or the README.
    #[must_use]
    pub fn limit(self) -> f64 {
        match self {
            Group::OneCloth => 0.02,
            Group::Holes | Group::Piles | Group::Side30 => 0.05,
            Group::Side60 => 0.06,
            Group::DenseNear => 0.2,
        }
    }
}

/// One stack, and from where it is seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// Where it stands in the list.
    pub kind: Kind,
    /// Board, gaps and cloths.
    pub stack: Stack,
    /// Angle of the viewer from straight ahead in degrees.
    pub tilt_deg: f64,
}

impl Case {
    /// Asymmetry of its cloths, which is the same for all of them.
    #[must_use]
    pub fn asymmetry(&self) -> f64 {
        self.stack.layers.first().map_or(0.0, |layer| layer.optics.asymmetry)
    }

    /// Whether it has several cloths.
    #[must_use]
    pub fn is_pile(&self) -> bool {
        self.stack.layers.len() > 1
    }

    /// Whether a cloth of it has holes.
    #[must_use]
    pub fn has_holes(&self) -> bool {
        self.stack.layers.iter().any(|layer| layer.optics.openness > 0.0)
    }

    /// The stacks it belongs to.
    #[must_use]
    pub fn group(&self) -> Group {
        let [dense, near] = DENSE_NEAR;
        let is_dense_near = self.stack.layers.first().is_some_and(|first| {
            first.optical_thickness() >= dense && first.thickness.0 >= near * first.gap_below.0
        });
        let from_the_side = self.tilt_deg > 0.0;
        if is_dense_near && (from_the_side || self.is_pile() || self.has_holes()) {
            Group::DenseNear
        } else if self.tilt_deg > 45.0 {
            Group::Side60
        } else if from_the_side {
            Group::Side30
        } else if self.is_pile() {
            Group::Piles
        } else if self.has_holes() {
            Group::Holes
        } else {
            Group::OneCloth
        }
    }

    /// What it is, in words.
    #[must_use]
    pub fn words(&self) -> String {
        let what = match self.kind {
            Kind::Grid { optical_thickness, thickness_over_gap, albedo } => format!(
                "optical thickness {optical_thickness}, thickness {thickness_over_gap} of the gap, albedo {albedo}"
            ),
            Kind::Named(name) => name.to_owned(),
        };
        format!("{what}, asymmetry {}", self.asymmetry())
    }
}

/// All stacks: the grid, then the named ones straight ahead and from the side.
#[must_use]
pub fn cases() -> Vec<Case> {
    let mut cases = Vec::new();
    for asymmetry in ASYMMETRIES {
        for albedo in ALBEDOS {
            for thickness_over_gap in THICKNESSES_OVER_GAP {
                for optical_thickness in OPTICAL_THICKNESSES {
                    let cloth = [GAP_MM, thickness_over_gap * GAP_MM, optical_thickness, albedo, 0.0];
                    let kind = Kind::Grid { optical_thickness, thickness_over_gap, albedo };
                    cases.push(Case { kind, stack: stack(&[cloth], asymmetry), tilt_deg: 0.0 });
                }
            }
        }
    }
    for tilt_deg in TILTS_DEG {
        for (name, cloths) in NAMED {
            for asymmetry in ASYMMETRIES {
                cases.push(Case { kind: Kind::Named(name), stack: stack(cloths, asymmetry), tilt_deg });
            }
        }
    }
    cases
}

fn stack(cloths: &[Cloth], asymmetry: f64) -> Stack {
    let layer = |&[gap, thickness, tau, albedo, openness]: &Cloth| {
        let optics = Optics { extinction: PerMillimetre(tau / thickness), albedo, asymmetry, openness };
        Layer { gap_below: Millimetres(gap), thickness: Millimetres(thickness), optics }
    };
    Stack { board_reflectance: BOARD_REFLECTANCE, layers: cloths.iter().map(layer).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_has_every_group_and_no_stack_twice() {
        let cases = cases();
        for group in Group::ALL {
            assert!(cases.iter().any(|case| case.group() == group), "{group:?}");
        }
        for (i, case) in cases.iter().enumerate() {
            let same = |other: &Case| {
                (other.kind, other.asymmetry(), other.tilt_deg)
                    == (case.kind, case.asymmetry(), case.tilt_deg)
            };
            assert!(!cases[..i].iter().any(same), "{}", case.words());
        }
    }

    #[test]
    fn a_stack_has_the_numbers_it_is_told_by() {
        for case in cases() {
            let first = &case.stack.layers[0];
            if let Kind::Grid { optical_thickness, thickness_over_gap, albedo } = case.kind {
                assert!((first.optical_thickness() - optical_thickness).abs() < 1e-12);
                assert!((first.thickness.0 / first.gap_below.0 - thickness_over_gap).abs() < 1e-12);
                assert_eq!((first.optics.albedo, first.optics.openness), (albedo, 0.0));
            }
        }
        let of = |name: &str| NAMED.iter().find(|(known, _)| *known == name).expect("named").1;
        for (name, height) in [("sheer on felt", 6.2), ("dense 4 mm above dense", 12.0)] {
            assert!((stack(of(name), 0.4).height().0 - height).abs() < 1e-12, "{name}");
        }
    }
}
