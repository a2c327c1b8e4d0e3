//! What light meets on its way at one wavelength: a board, air gaps and cloths, seen as layers without lateral
//! structure; and the source that sends it.

use super::Window;
use crate::quantity::{Millimetres, PerMillimetre};

/// Optical numbers of one cloth at one wavelength.
///
/// `extinction` belongs to the covered part of the cloth; `openness` is the share of the area that is holes. A ray
/// meets a hole with that probability at each crossing, independently of other crossings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Optics {
    /// Extinction coefficient (absorption plus scattering) of the covered part.
    pub extinction: PerMillimetre,
    /// Single-scattering albedo, 0 to 1.
    pub albedo: f64,
    /// Mean cosine of the Henyey-Greenstein phase function, above -1 and below 1.
    pub asymmetry: f64,
    /// Share of the area that is holes, 0 (closed) to below 1.
    pub openness: f64,
}

impl Optics {
    /// The similarity-reduced twin with isotropic scattering: `mu_s' = mu a (1 - g)`, `mu_a` unchanged.
    ///
    /// Source: van de Hulst, Multiple Light Scattering (1980), similarity relations.
    #[must_use]
    pub fn reduced(self) -> Optics {
        let scattering = self.extinction.0 * self.albedo * (1.0 - self.asymmetry);
        let absorption = self.extinction.0 * (1.0 - self.albedo);
        let extinction = scattering + absorption;
        let albedo = if extinction > 0.0 { scattering / extinction } else { 0.0 };
        Optics { extinction: PerMillimetre(extinction), albedo, asymmetry: 0.0, openness: self.openness }
    }

    /// Decay of diffuse light with depth in the covered part, in 1/mm: `min(sqrt(3 mu_a mu'), mu')`.
    ///
    /// Source: Ishimaru, Wave Propagation and Scattering in Random Media (1978), diffusion approximation. From memory.
    #[must_use]
    pub fn diffuse_decay(self) -> f64 {
        let reduced = self.reduced();
        reduced.extinction.0 * (3.0 * (1.0 - reduced.albedo)).sqrt().min(1.0)
    }
}

/// One cloth in its place: the air gap below it, its thickness and its optics at one wavelength.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Layer {
    /// Air between the face below (board or previous cloth) and this cloth; zero means contact.
    pub gap_below: Millimetres,
    /// Thickness of the cloth.
    pub thickness: Millimetres,
    /// Its optics at the wavelength in hand.
    pub optics: Optics,
}

impl Layer {
    /// Optical thickness of the covered part, `mu t`.
    #[must_use]
    pub fn optical_thickness(&self) -> f64 {
        self.optics.extinction * self.thickness
    }

    /// The layer with its similarity-reduced optics, see [`Optics::reduced`].
    #[must_use]
    pub fn reduced(&self) -> Layer {
        Layer { optics: self.optics.reduced(), ..*self }
    }
}

/// Share of light that passes a layer unscattered, holes included, along a way of the optical length `path` in its
/// covered part.
#[inline]
pub(super) fn unscattered(openness: f64, path: f64) -> f64 {
    openness + (1.0 - openness) * (-path).exp()
}

/// Board, gaps and cloths at one wavelength, from the pixels outwards.
#[derive(Clone, Debug, PartialEq)]
pub struct Stack {
    /// Diffuse (Lambertian) reflectance of the board at z = 0, 0 to 1.
    pub board_reflectance: f64,
    /// The cloths in the order light meets them.
    pub layers: Vec<Layer>,
}

impl Stack {
    /// Heights of the lower face of each layer above the board, in mm.
    #[must_use]
    pub fn bottoms(&self) -> Vec<Millimetres> {
        let mut height = 0.0;
        self.layers
            .iter()
            .map(|layer| {
                let bottom = height + layer.gap_below.0;
                height = bottom + layer.thickness.0;
                Millimetres(bottom)
            })
            .collect()
    }

    /// The stack with similarity-reduced optics, see [`Optics::reduced`].
    #[must_use]
    pub fn reduced(&self) -> Stack {
        Stack {
            board_reflectance: self.board_reflectance,
            layers: self.layers.iter().map(Layer::reduced).collect(),
        }
    }

    /// Height of the outer face above the board.
    #[must_use]
    pub fn height(&self) -> Millimetres {
        Millimetres(self.layers.iter().map(|l| l.gap_below.0 + l.thickness.0).sum())
    }
}

/// A source: its angular beam and its emitting window.
///
/// The intensity per unit flux is `I(theta) = (m + 1) / (2 pi) cos^m(theta)`; a package with a 120 degree viewing
/// angle has `m = 1` (Lambertian).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Source {
    /// The exponent m, any real number from 0 upwards.
    pub beam_power: f64,
    /// The emitting window.
    pub window: Window,
}
