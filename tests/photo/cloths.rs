//! Ten test cloths with known optics.
//!
//! INVENTED. The numbers lie where those of the shipped cloths lie but are none of theirs, and nothing was measured. The
//! asymmetry differs from cloth to cloth (0.66 to 0.77), unlike the one that a fit must assume.

use weftlight::light::{Layer, Optics, Stack};
use weftlight::quantity::{Millimetres, PerMillimetre};

/// Wavelengths in nm of the three dies, red, green and blue.
pub(crate) const WAVELENGTHS_NM: [f64; 3] = [622.0, 525.0, 467.0];

/// Names of the colours in the tables.
pub(crate) const COLOURS: [&str; 3] = ["red", "green", "blue"];

/// Diffuse reflectance of the board behind all test cloths.
pub(crate) const BOARD_REFLECTANCE: f64 = 0.5;

/// A cloth whose optics are known because they were made up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct TestCloth {
    /// Short name, also of its table.
    pub(crate) name: &'static str,
    /// Thickness in mm.
    pub(crate) thickness_mm: f64,
    /// Extinction of the covered part in 1/mm, the same at all wavelengths.
    pub(crate) extinction_per_mm: f64,
    /// Single-scattering albedo at [`WAVELENGTHS_NM`].
    pub(crate) albedo: [f64; 3],
    /// Asymmetry of the phase function.
    pub(crate) asymmetry: f64,
    /// Share of the area that is holes.
    pub(crate) openness: f64,
    /// Gaps in mm at which it is photographed for the fit.
    pub(crate) fit_gaps_mm: [f64; 2],
    /// Gap in mm at which the fit is to predict it.
    pub(crate) predicted_gap_mm: f64,
    /// Width in mm of the finest rings in which photons are counted, where the usual ones are too wide: through deep loose cloth
    /// the window itself shimmers.
    pub(crate) finest_ring_mm: f64,
}

impl TestCloth {
    /// All three gaps in mm, the two of the fit first.
    pub(crate) fn gaps_mm(&self) -> [f64; 3] {
        [self.fit_gaps_mm[0], self.fit_gaps_mm[1], self.predicted_gap_mm]
    }

    /// Its optics in one colour (0 red, 1 green, 2 blue).
    pub(crate) fn optics(&self, colour: usize) -> Optics {
        Optics {
            extinction: PerMillimetre(self.extinction_per_mm),
            albedo: self.albedo[colour],
            asymmetry: self.asymmetry,
            openness: self.openness,
        }
    }

    /// Reduced optical thickness in one colour, `tau (1 - a g)`: what a fit can know best.
    pub(crate) fn reduced_thickness(&self, colour: usize) -> f64 {
        self.optics(colour).reduced().extinction.0 * self.thickness_mm
    }

    /// The cloth alone above the board, at a gap in mm, in one colour.
    pub(crate) fn stack(&self, gap_mm: f64, colour: usize) -> Stack {
        let layer = Layer {
            gap_below: Millimetres(gap_mm),
            thickness: Millimetres(self.thickness_mm),
            optics: self.optics(colour),
        };
        Stack { board_reflectance: BOARD_REFLECTANCE, layers: vec![layer] }
    }

    /// Share of the light straight ahead that passes unscattered, holes included.
    pub(crate) fn direct_ahead(&self) -> f64 {
        let tau = self.extinction_per_mm * self.thickness_mm;
        self.openness + (1.0 - self.openness) * (-tau).exp()
    }
}

/// The test cloth of this name.
pub(crate) fn named(name: &str) -> &'static TestCloth {
    CLOTHS.iter().find(|cloth| cloth.name == name).expect("the name of a test cloth")
}

/// The ten cloths, all invented.
pub(crate) const CLOTHS: [TestCloth; 10] = [
    TestCloth {
        name: "wool-felt-3",
        thickness_mm: 3.1,
        extinction_per_mm: 7.0,
        albedo: [0.9988, 0.9972, 0.9921],
        asymmetry: 0.755,
        openness: 0.0,
        fit_gaps_mm: [5.0, 12.0],
        predicted_gap_mm: 8.0,
        finest_ring_mm: f64::INFINITY,
    },
    TestCloth {
        name: "wool-felt-1",
        thickness_mm: 1.05,
        extinction_per_mm: 9.7,
        albedo: [0.9990, 0.9976, 0.9930],
        asymmetry: 0.77,
        openness: 0.0,
        fit_gaps_mm: [4.0, 10.0],
        predicted_gap_mm: 6.5,
        finest_ring_mm: f64::INFINITY,
    },
    TestCloth {
        name: "red-felt",
        thickness_mm: 1.2,
        extinction_per_mm: 5.2,
        albedo: [0.968, 0.60, 0.66],
        asymmetry: 0.745,
        openness: 0.0,
        fit_gaps_mm: [4.0, 9.0],
        predicted_gap_mm: 6.0,
        finest_ring_mm: f64::INFINITY,
    },
    TestCloth {
        name: "fleece",
        thickness_mm: 2.4,
        extinction_per_mm: 4.1,
        albedo: [0.9986, 0.9984, 0.9975],
        asymmetry: 0.705,
        openness: 0.0,
        fit_gaps_mm: [6.0, 14.0],
        predicted_gap_mm: 9.0,
        finest_ring_mm: f64::INFINITY,
    },
    TestCloth {
        name: "jersey",
        thickness_mm: 0.65,
        extinction_per_mm: 13.2,
        albedo: [0.9984, 0.9985, 0.9979],
        asymmetry: 0.69,
        openness: 0.03,
        fit_gaps_mm: [5.0, 12.0],
        predicted_gap_mm: 8.0,
        finest_ring_mm: f64::INFINITY,
    },
    TestCloth {
        name: "poplin",
        thickness_mm: 0.3,
        extinction_per_mm: 23.0,
        albedo: [0.9985, 0.9984, 0.9978],
        asymmetry: 0.70,
        openness: 0.004,
        fit_gaps_mm: [4.0, 10.0],
        predicted_gap_mm: 6.5,
        finest_ring_mm: f64::INFINITY,
    },
    TestCloth {
        name: "muslin",
        thickness_mm: 0.29,
        extinction_per_mm: 20.5,
        albedo: [0.9972, 0.9946, 0.9850],
        asymmetry: 0.685,
        openness: 0.08,
        fit_gaps_mm: [5.0, 12.0],
        predicted_gap_mm: 8.0,
        finest_ring_mm: f64::INFINITY,
    },
    TestCloth {
        name: "organza",
        thickness_mm: 0.1,
        extinction_per_mm: 14.5,
        albedo: [0.9984, 0.9983, 0.9978],
        asymmetry: 0.66,
        openness: 0.60,
        fit_gaps_mm: [5.0, 15.0],
        predicted_gap_mm: 10.0,
        finest_ring_mm: f64::INFINITY,
    },
    TestCloth {
        name: "wadding",
        thickness_mm: 10.0,
        extinction_per_mm: 0.41,
        albedo: [0.9987, 0.9987, 0.9983],
        asymmetry: 0.74,
        openness: 0.0,
        fit_gaps_mm: [6.0, 15.0],
        predicted_gap_mm: 10.0,
        finest_ring_mm: 0.6,
    },
    TestCloth {
        name: "dark-blue-poplin",
        thickness_mm: 0.26,
        extinction_per_mm: 26.0,
        albedo: [0.31, 0.52, 0.90],
        asymmetry: 0.675,
        openness: 0.008,
        fit_gaps_mm: [4.0, 10.0],
        predicted_gap_mm: 6.5,
        finest_ring_mm: f64::INFINITY,
    },
];

#[test]
fn the_cloths_are_of_the_kind_that_is_worn() {
    /// Reduced optical thickness of the shipped cloths: organza 0.5, thick wool felt 10; dye adds absorption.
    const REDUCED: std::ops::RangeInclusive<f64> = 0.4..=10.0;
    /// Asymmetry that fibres have, with room on both sides; the program's own estimates are 0.67 to 0.75.
    const ASYMMETRY: std::ops::RangeInclusive<f64> = 0.65..=0.77;
    for cloth in CLOTHS {
        assert!((0..3).all(|colour| REDUCED.contains(&cloth.reduced_thickness(colour))), "{}", cloth.name);
        assert!(ASYMMETRY.contains(&cloth.asymmetry), "{}", cloth.name);
        let [low, high] = cloth.fit_gaps_mm;
        assert!(low < cloth.predicted_gap_mm && cloth.predicted_gap_mm < high, "{}", cloth.name);
    }
}
