//! What a cloth file may say.

use crate::reading::{Absent, Field, Kind, Limits, Shape};

/// Thickness of one cloth: from a film to a thick wadding. Below, the layer has no meaning as cloth; above, it is
/// not worn.
pub const THICKNESS_MM: Limits = Limits::new(0.005, 100.0, "mm");
/// Extinction. The upper end lets 1 mm of cloth be ten times as dense as the densest felt.
pub const EXTINCTION_PER_MM: Limits = Limits::new(0.0, 200.0, "per mm");
/// Extinction times thickness; beyond it nothing comes through and the numerics lose meaning.
pub const MOST_OPTICAL_THICKNESS: f64 = 500.0;
/// Asymmetry of the phase function: kept away from ±1, where the scattering becomes a needle that no quadrature holds.
pub const ASYMMETRY: Limits = Limits::new(-0.95, 0.98, "");
/// Openness stays below this, whatever its uncertainty: at 1 there would be no cloth.
pub const MOST_OPEN: f64 = 0.98;
/// Openness.
pub const OPENNESS: Limits = Limits::new(0.0, MOST_OPEN, "");
/// A share of one.
pub const SHARE: Limits = Limits::new(0.0, 1.0, "");
/// Areal mass of cloth: the sheerest silk to heavy felt.
pub const AREAL_MASS: Limits = Limits::new(1.0, 10_000.0, "g/m2");
/// Covered share of a cloth: what [`OPENNESS`] leaves.
pub const COVER: Limits = Limits::new(0.02, 1.0, "");
/// Diameter of a fibre.
pub const FIBRE_UM: Limits = Limits::new(1.0, 1000.0, "micrometres");
/// Relative uncertainty.
const UNCERTAINTY: Limits = Limits::new(0.0, 2.0, "");
/// Width of a bolt.
const WIDTH_MM: Limits = Limits::new(10.0, 10_000.0, "mm");
/// Price of a metre.
const PRICE: Limits = Limits::new(0.0, 100_000.0, "");

/// Words for the make of a cloth in a label estimate.
pub const STRUCTURES: [&str; 6] = ["felt", "woven", "knit", "sheer", "mesh", "wadding"];

const ALBEDO: Kind = Kind::Number(SHARE);

/// A cloth file, or a cloth written in place in a scene.
pub static CLOTH: Shape = Shape {
    what: "a cloth",
    fields: &[
        Field::must("name", Kind::Text, "short name by which a scene refers to it"),
        Field::may("title", Kind::Text, Absent::Open, "name in plain words; without it, the name"),
        Field::must("thickness_mm", Kind::Number(THICKNESS_MM), "thickness as worn, unpressed"),
        Field::may(
            "areal_mass_g_m2",
            Kind::Number(AREAL_MASS),
            Absent::Open,
            "mass of one square metre; needed for a label estimate",
        ),
        Field::may("source", Kind::Text, Absent::Text("not stated"), "where the numbers come from, in words"),
        Field::must("optics", Kind::OneOf(&OPTICS), "what it does to light, known in one of four ways"),
        Field::may("uncertainty", Kind::Map(&UNCERTAIN), Absent::Open, "how well the optics are known"),
        Field::may("buying", Kind::Map(&BUYING), Absent::Open, "what a shop sells: your own figures"),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// The four ways to know the optics.
pub static OPTICS: Shape = Shape {
    what: "the optics of a cloth",
    fields: &[
        Field::may("bulk", Kind::Map(&BULK), Absent::Open, "optical numbers, given directly"),
        Field::may("measured", Kind::Map(&MEASURED), Absent::Open, "measured transmittance and reflectance"),
        Field::may("label", Kind::Map(&LABEL), Absent::Open, "estimated from what the label says"),
        Field::may("calibrated", Kind::Map(&CALIBRATED), Absent::Open, "found from photographs"),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

const EXTINCTION_FIELD: Field = Field::must(
    "extinction_per_mm",
    Kind::Number(EXTINCTION_PER_MM),
    "extinction coefficient (scattering plus absorption) of the covered part",
);
const ALBEDO_FIELD: Field = Field::may(
    "albedo",
    ALBEDO,
    Absent::Open,
    "share of the extinction that is scattering, at every wavelength",
);
const ALBEDO_BY_NM_FIELD: Field = Field::may(
    "albedo_by_nm",
    Kind::ByWavelength(&ALBEDO),
    Absent::Open,
    "albedo at several wavelengths, straight lines between them, constant beyond the ends",
);
const ASYMMETRY_FIELD: Field = Field::may(
    "asymmetry",
    Kind::Number(ASYMMETRY),
    Absent::Number(0.0),
    "mean cosine of one scattering: 0 to all sides alike, towards 1 forwards",
);
const OPENNESS_FIELD: Field =
    Field::may("openness", Kind::Number(OPENNESS), Absent::Number(0.0), "share of the area that is holes");

/// Optical numbers.
pub static BULK: Shape = Shape {
    what: "`bulk`",
    fields: &[EXTINCTION_FIELD, ALBEDO_FIELD, ALBEDO_BY_NM_FIELD, ASYMMETRY_FIELD, OPENNESS_FIELD],
    exactly_one: &[&["albedo", "albedo_by_nm"]],
    at_most_one: &[],
};

/// Optical numbers that were found from photographs.
pub static CALIBRATED: Shape = Shape {
    what: "`calibrated`",
    fields: &[
        EXTINCTION_FIELD,
        ALBEDO_FIELD,
        ALBEDO_BY_NM_FIELD,
        ASYMMETRY_FIELD,
        OPENNESS_FIELD,
        Field::may("photos", Kind::Text, Absent::Open, "which photographs, in words"),
    ],
    exactly_one: &[&["albedo", "albedo_by_nm"]],
    at_most_one: &[],
};

/// Measured transmittance and reflectance.
pub static MEASURED: Shape = Shape {
    what: "`measured`",
    fields: &[
        Field::may(
            "transmittance",
            Kind::Number(SHARE),
            Absent::Open,
            "total transmittance, all directions together",
        ),
        Field::may(
            "reflectance",
            Kind::Number(SHARE),
            Absent::Open,
            "total reflectance before black, all directions together",
        ),
        Field::may(
            "by_nm",
            Kind::ByWavelength(&Kind::Map(&MEASURED_AT)),
            Absent::Open,
            "transmittance and reflectance at several wavelengths",
        ),
        Field::may(
            "direct",
            Kind::Number(SHARE),
            Absent::Open,
            "share of the light that passes straight through",
        ),
        Field::may(
            "asymmetry",
            Kind::Number(ASYMMETRY),
            Absent::Number(0.7),
            "mean cosine of one scattering, which these measurements do not tell; 0.7 is usual for clear fibres",
        ),
        Field::may(
            "under",
            Kind::Choice(&["collimated", "diffuse"]),
            Absent::Text("collimated"),
            "the light of the measurement: a straight beam, or light from all sides",
        ),
    ],
    exactly_one: &[&["transmittance", "by_nm"]],
    at_most_one: &[&["reflectance", "by_nm"]],
};

/// One wavelength of a measurement.
pub static MEASURED_AT: Shape = Shape {
    what: "a measurement at one wavelength",
    fields: &[
        Field::must("transmittance", Kind::Number(SHARE), "total transmittance"),
        Field::must("reflectance", Kind::Number(SHARE), "total reflectance"),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// What a label says.
pub static LABEL: Shape = Shape {
    what: "`label`",
    fields: &[
        Field::must("fibre", Kind::Blend, "the fibre, or a list of fibres with their percentages"),
        Field::may(
            "fibre_um",
            Kind::Number(FIBRE_UM),
            Absent::Open,
            "diameter of the fibres; without it, typical for the fibre",
        ),
        Field::must("colour", Kind::Colour, "colour of the cloth folded many times"),
        Field::must("structure", Kind::Choice(&STRUCTURES), "how the cloth is made"),
        Field::may("cover", Kind::Number(COVER), Absent::Open, "share of the area that is not holes"),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// Relative uncertainties.
pub static UNCERTAIN: Shape = Shape {
    what: "`uncertainty`",
    fields: &[
        Field::may(
            "optical_thickness",
            Kind::Number(UNCERTAINTY),
            Absent::Open,
            "relative uncertainty of the reduced optical thickness (0.3 is 30 percent)",
        ),
        Field::may(
            "openness",
            Kind::Number(UNCERTAINTY),
            Absent::Open,
            "relative uncertainty of the openness",
        ),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// What a shop sells.
pub static BUYING: Shape = Shape {
    what: "`buying`",
    fields: &[
        Field::may("width_mm", Kind::Number(WIDTH_MM), Absent::Open, "width of the bolt"),
        Field::may("price_per_m", Kind::Number(PRICE), Absent::Open, "price of one metre, in your currency"),
    ],
    exactly_one: &[],
    at_most_one: &[],
};
