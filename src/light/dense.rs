//! Cloth so dense that the transport would see its own rounding instead of light.
//!
//! # Model
//! [`super::transport`] is good to about 1e-6 of the light that enters a cloth, however little leaves it. Behind cloth
//! from which less than that gets out, the sum over the plane is taken from adding-doubling ([`super::totals`]), which
//! keeps its digits at any thickness, and the shape from the one decay that is left deep inside an absorbing cloth:
//!
//! ```text
//! L(k) = L(0) (m + 1) G_{m+1}(0, k h) prod over gaps 2 G_2(0, k gap) prod over layers exp(-t (q(k) - q(0)))
//! q(k) = sqrt(q(0)^2 + k^2),   q(0) = min(sqrt(3 mu_a mu'), mu')
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | h, gap | air below the first and below a later cloth | mm |
//! | t | thickness of a cloth | mm |
//! | mu_a, mu' | absorption and reduced extinction | 1/mm |
//! | q | decay of diffuse light with depth | 1/mm |
//!
//! # Validity
//! L(0) as [`super::totals`]; the shape is an asymptote, within 10 % of L(0) where both ways can be compared (tested).
//! Used only where less than [`FAINT`] gets through, which is dark to the eye beside any lit garment.
//!
//! # Source
//! Ishimaru, Wave Propagation and Scattering in Random Media (1978), diffusion approximation. From memory.

use super::Stack;
use super::kernels::direct;
use super::totals::radiance_towards;
use super::transport::direct_share;

/// Radiance straight ahead, summed over the plane per unit flux in 1/sr, above which the transport is always right
/// enough: its errors reach 2e-5 (measured up to an optical thickness of 500).
const FAINT: f64 = 1e-4;
/// Where more than this share of the flux gets through unscattered, by holes or thin places, the transport is right.
const CLOSED: f64 = 1e-6;
/// Disagreement with adding-doubling, as a share, beyond which the transport is not believed.
const BELIEVED: f64 = 0.1;
/// Nodes a hemisphere of the adding-doubling.
const NODES: usize = 16;

/// The spectrum at these frequencies (in 1/mm) behind a dense stack, given with its true optics; `None` where `found`,
/// the transport's answer at k = 0, can be believed.
pub(super) fn spectrum(stack: &Stack, beam_power: f64, found: f64, frequencies: &[f64]) -> Option<Vec<f64>> {
    spectrum_towards(stack, beam_power, 1.0, found, frequencies)
}

/// The same for a viewer whose direction has the cosine `towards` to the normal; the light comes from the outer face.
pub(super) fn spectrum_towards(
    stack: &Stack,
    beam_power: f64,
    towards: f64,
    found: f64,
    frequencies: &[f64],
) -> Option<Vec<f64>> {
    if found.abs() > FAINT || direct_share(&stack.reduced(), beam_power) > CLOSED {
        return None;
    }
    let total = radiance_towards(stack, beam_power, towards, NODES);
    ((found - total).abs() > BELIEVED * total)
        .then(|| frequencies.iter().map(|&k| total * shape(stack, beam_power, k)).collect())
}

/// `L(k) / L(0)` behind dense cloth.
fn shape(stack: &Stack, beam_power: f64, k: f64) -> f64 {
    stack
        .layers
        .iter()
        .enumerate()
        .map(|(l, layer)| {
            let m = if l == 0 { beam_power } else { 1.0 };
            let across_gap = (m + 1.0) * direct(m + 1.0, 0.0, k * layer.gap_below.0);
            let decay = layer.optics.diffuse_decay();
            across_gap * (-layer.thickness.0 * (decay.hypot(k) - decay)).exp()
        })
        .product()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::spots::spots;
    use crate::light::totals::radiance_straight_ahead;
    use crate::light::{Layer, Optics};
    use crate::quantity::{Millimetres, PerMillimetre};

    fn stack(extinction: f64, albedo: f64) -> Stack {
        let optics = Optics { extinction: PerMillimetre(extinction), albedo, asymmetry: 0.7, openness: 0.0 };
        let layer = Layer { gap_below: Millimetres(5.0), thickness: Millimetres(4.0), optics };
        Stack { board_reflectance: 0.3, layers: vec![layer] }
    }

    #[test]
    fn the_shape_is_that_of_the_transport_where_that_can_still_see() {
        /// Of L(0): an asymptote, reached slowly.
        const ASYMPTOTE: f64 = 0.1;
        for albedo in [0.9, 0.97, 0.99] {
            let stack = stack(7.0, albedo);
            let solved = spots(std::slice::from_ref(&stack), 1.0).remove(0);
            for k in [0.02, 0.05, 0.1, 0.2, 0.4] {
                let error = solved.value(k) / solved.value(0.0) - shape(&stack, 1.0, k);
                assert!(error.abs() < ASYMPTOTE, "albedo {albedo}, k {k}: {error}");
            }
        }
    }

    #[test]
    fn cloth_that_lets_light_through_is_left_to_the_transport() {
        let frequencies = [0.0, 1.0];
        assert_eq!(spectrum(&stack(1.0, 0.9), 1.0, 0.1, &frequencies), None);
        assert_eq!(spectrum(&stack(1.0, 0.0), 1.0, 0.0, &frequencies), None);
        let dense = stack(100.0, 0.9);
        let total = radiance_straight_ahead(&dense, 1.0, NODES);
        let found = spectrum(&dense, 1.0, 1e-6, &frequencies).unwrap();
        assert_eq!(found[0], total);
        assert!(found[1] > 0.0 && found[1] < total);
        assert_eq!(spectrum(&dense, 1.0, total, &frequencies), None);
    }
}
