//! Where the light goes in total: shares of the flux, and what the room's light makes of the cloth.
//!
//! # Model
//! Totals do not depend on the gaps, so they are found by adding-doubling with the true asymmetry ([`super::sheet`]); the
//! unscattered share has the closed form `(m + 1) E_{m+2}(tau)`, summed over the ways through holes.
//!
//! # Source
//! As [`super::sheet`]; Chandrasekhar, Radiative Transfer (1950), appendix I for the exponential integrals (from memory).

use super::Stack;
use super::sheet::{Quadrature, Sheet};
use super::transport::direct_share;

/// Shares of the flux of one source; together they make 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shares {
    /// Leaves at the front without having been scattered.
    pub direct: f64,
    /// Leaves at the front scattered, by way of the board included.
    pub scattered: f64,
    /// Stays in the board.
    pub board: f64,
    /// Stays in the cloths.
    pub cloth: f64,
}

/// Nodes a hemisphere for shares: good to about 1e-5 for asymmetries up to 0.85.
const FINE: usize = 16;
/// Nodes a hemisphere for the reflectance of cloth in room light: good to 1e-3, enough for a colour.
const COARSE: usize = 8;

/// The cloths of a stack as one sheet, without the board.
fn pile(stack: &Stack, quadrature: &Quadrature) -> Option<Sheet> {
    stack
        .layers
        .iter()
        .map(|layer| Sheet::of_layer(&layer.optics, layer.optical_thickness(), quadrature))
        .reduce(|lower, upper| upper.on_top_of(&lower))
}

/// Shares of the flux of a source `cos^m` on the board under the stack, given with its true optics.
#[must_use]
pub fn shares(stack: &Stack, beam_power: f64) -> Shares {
    let quadrature = Quadrature::new(FINE, &[]);
    let Some(sheet) = pile(stack, &quadrature) else {
        return Shares { direct: 1.0, scattered: 0.0, board: 0.0, cloth: 0.0 };
    };
    let cosines = quadrature.cosines();
    let (mut through, mut back, mut total) = (0.0, 0.0, 0.0);
    let (mut diffuse_through, mut diffuse_back) = (0.0, 0.0);
    for (j, (&mu, &flux)) in cosines.iter().zip(quadrature.flux_weights()).enumerate() {
        let beam = 0.5 * (beam_power + 1.0) * mu.powf(beam_power - 1.0) * flux;
        total += beam;
        through += beam * (sheet.transmitted_from_below(j) - sheet.unscattered[j]);
        back += beam * sheet.reflected_from_below(j);
        diffuse_through += flux * sheet.transmitted_from_below(j);
        diffuse_back += flux * sheet.reflected_from_below(j);
    }
    let (through, back) = (through / total, back / total);
    let rho = stack.board_reflectance;
    // Everything that comes down on the board, after all reflections between board and cloths.
    let fallen = back / (1.0 - rho * diffuse_back);
    let direct = direct_share(stack, beam_power);
    let scattered = through + rho * fallen * diffuse_through;
    let board = (1.0 - rho) * fallen;
    Shares { direct, scattered, board, cloth: 1.0 - direct - scattered - board }
}

/// Diffuse reflectance of the stack over its board in diffuse light from outside.
#[must_use]
pub fn reflectance_outside(stack: &Stack) -> f64 {
    let quadrature = Quadrature::new(COARSE, &[]);
    let board = Sheet::board(stack.board_reflectance, &quadrature);
    pile(stack, &quadrature).map_or(board.clone(), |pile| pile.on_top_of(&board)).reflected_diffuse()
}

/// What light straight ahead at k = 0 must be by adding-doubling: the integral over the plane of the radiance straight
/// ahead (scattered part) per unit flux of a source `cos^m`, in 1/sr. An independent check of the transport.
#[must_use]
pub fn radiance_straight_ahead(stack: &Stack, beam_power: f64, nodes: usize) -> f64 {
    radiance_towards(stack, beam_power, 1.0, nodes)
}

/// The same towards a viewer whose direction has the cosine `towards` (above 0, up to 1) to the normal.
///
/// # Panics
/// When the cosine lies outside that range.
#[must_use]
pub fn radiance_towards(stack: &Stack, beam_power: f64, towards: f64, nodes: usize) -> f64 {
    let quadrature = Quadrature::new(nodes, &[towards]);
    let Some(sheet) = pile(stack, &quadrature) else { return 0.0 };
    let ahead = quadrature.extra(0);
    let (mut straight, mut back, mut diffuse_back, mut diffuse_ahead) = (0.0, 0.0, 0.0, 0.0);
    for (j, (&mu, &flux)) in quadrature.cosines().iter().zip(quadrature.flux_weights()).enumerate() {
        if flux == 0.0 {
            continue;
        }
        let beam = 0.5 * (beam_power + 1.0) * mu.powf(beam_power - 1.0) * flux;
        straight += beam * sheet.t_star[(ahead, j)];
        back += beam * sheet.reflected_from_below(j);
        diffuse_ahead += flux * sheet.t_star[(ahead, j)];
        diffuse_back += flux * sheet.reflected_from_below(j);
    }
    let rho = stack.board_reflectance;
    let radiosity = rho * back / (1.0 - rho * diffuse_back);
    (straight + radiosity * (diffuse_ahead + sheet.direct[ahead])) / std::f64::consts::PI
}
