//! What one cloth does to light from all sides: how much it lets through and sends back.
//!
//! **Model.** Adding-doubling ([`crate::light::sheet`]) over Lambertian light on one face, the cloth alone before black.
//! **Validity and source:** as there.

use super::Cloth;
use super::shape::MOST_OPEN;
use crate::light::Layer;
use crate::light::sheet::{Quadrature, Sheet};
use crate::quantity::{Millimetres, Nanometres, PerMillimetre};

/// Nodes a hemisphere: good to about 1e-5 for asymmetries up to 0.85.
const NODES: usize = 16;

/// Shares of diffuse light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Totals {
    /// Let through, holes included.
    pub through: f64,
    /// Sent back.
    pub back: f64,
}

/// Shares of light from all sides that one layer lets through and sends back.
#[must_use]
pub fn totals(layer: &Layer) -> Totals {
    let sheet = Sheet::of_layer(&layer.optics, layer.optical_thickness(), &Quadrature::new(NODES, &[]));
    Totals { through: sheet.transmitted_diffuse(), back: sheet.reflected_diffuse() }
}

/// Share of diffuse light let through at one wavelength, and the range that the cloth's uncertainty makes: one standard
/// uncertainty of optical thickness and of openness, added in quadrature. Value, lower end, upper end.
#[must_use]
pub fn through_with_range(cloth: &Cloth, wavelength: Nanometres) -> [f64; 3] {
    let layer = cloth.layer_at(Millimetres(0.0), wavelength);
    let through = |thicker: f64, opener: f64| {
        let mut layer = layer;
        layer.optics.extinction = PerMillimetre(layer.optics.extinction.0 * thicker);
        layer.optics.openness = (layer.optics.openness * opener).min(MOST_OPEN);
        totals(&layer).through
    };
    let middle = through(1.0, 1.0);
    let shift = |thicker: f64, opener: f64| through(thicker, opener) - middle;
    // Both are factors: divided and multiplied by 1 + u.
    let (thick, open) = (1.0 + cloth.uncertainty.optical_thickness, 1.0 + cloth.uncertainty.openness);
    let low = f64::hypot(shift(thick, 1.0), shift(1.0, 1.0 / open));
    let high = f64::hypot(shift(1.0 / thick, 1.0), shift(1.0, open));
    [middle, (middle - low).max(0.0), (middle + high).min(1.0)]
}
