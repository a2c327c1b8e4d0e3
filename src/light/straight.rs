//! Light that comes straight through a stack, unscattered: through holes, and between the fibres.

use super::Layer;
use super::stack::unscattered;
use crate::quantity::Nanometres;

/// The wavelength at which a stack's straight share is told: the middle of what the eye sees.
pub const STRAIGHT_AT: Nanometres = Nanometres(550.0);

/// Transmittance straight ahead without scattering, holes included.
#[must_use]
pub fn straight_transmittance(layers: &[Layer]) -> f64 {
    layers.iter().map(|l| unscattered(l.optics.openness, l.optical_thickness())).product()
}

/// The same along a direction with this cosine to the normal.
#[must_use]
pub fn slanted_transmittance(layers: &[Layer], cosine: f64) -> f64 {
    layers.iter().map(|l| unscattered(l.optics.openness, l.optical_thickness() / cosine)).product()
}
