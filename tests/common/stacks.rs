//! Stacks drawn at random.

use rand::RngExt;
use rand_pcg::Pcg64;
use weftlight::light::{Layer, Optics, Stack};
use weftlight::quantity::{Millimetres, PerMillimetre};

/// A stack of one to three layers, drawn at random. `asymmetry` is the largest that may occur.
pub(crate) fn random_stack(random: &mut Pcg64, asymmetry: f64) -> Stack {
    let layers = (0..random.random_range(1..=3))
        .map(|i| {
            let gap = if i == 0 { random.random_range(2.0..8.0) } else { random.random_range(0.0f64..4.0) };
            let contact = i > 0 && random.random_bool(0.4);
            let thickness = random.random_range(0.1..2.0);
            let tau = random.random_range(0.2..6.0);
            Layer {
                gap_below: Millimetres(if contact { 0.0 } else { gap }),
                thickness: Millimetres(thickness),
                optics: Optics {
                    extinction: PerMillimetre(tau / thickness),
                    albedo: random.random_range(0.7..1.0),
                    asymmetry: random.random_range(0.0..=asymmetry),
                    openness: if random.random_bool(0.5) { 0.0 } else { random.random_range(0.0..0.5) },
                },
            }
        })
        .collect();
    Stack { board_reflectance: random.random_range(0.0..0.9), layers }
}
