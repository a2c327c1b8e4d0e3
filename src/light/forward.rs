//! Forward scattering: what isotropic transport with reduced coefficients misses.
//!
//! # Model
//! Cloth fibres scatter forwards (asymmetry about 0.7). Reduced coefficients make [`super::transport`] right for thick
//! cloth and wrong for thin: the halo of a sheer comes from light that was scattered once or twice by small angles.
//! Per layer the difference is put right by adding the *excess*
//!
//! ```text
//! D(r)  = E(r) [f_true(theta) - f_reduced(theta)],   E(r) = I(theta) cos(theta) / d^2,   tan(theta) = r / H
//! ```
//!
//! where f(theta) is the radiance that leaves straight ahead per irradiance arriving from theta (scattered part), by
//! adding-doubling with the layer's true numbers and again with the reduced ones, both on the plane at half the layer's
//! thickness. The sideways wander inside the layer multiplies the transform of D by
//!
//! ```text
//! S(k) = L_reduced(k; layer) / L_reduced(k; same layer squeezed to no thickness at H),   at most 1
//! ```
//!
//! Layers below attenuate on the slanted way in, layers above on the straight way out, both as the reduced transport
//! sees them (it counts forward-scattered light as unscattered).
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | H | height of the middle of the layer above the board | mm |
//! | d | distance from source to the place on that plane | mm |
//! | theta | angle from the normal | rad |
//! | f | scattered radiance straight ahead per irradiance | 1/sr |
//!
//! # Assumptions and validity
//! Light from the board and from other layers is diffuse enough for the reduced numbers. Good where the layer is not much
//! thicker than its stand-off; with g = 0.8 in a layer four times thicker than its stand-off the peak is 20 % off.
//!
//! # Source
//! van de Hulst, Multiple Light Scattering (1980), reciprocity and similarity; Prahl, van Gemert & Welch, Determining the
//! optical properties of turbid media by using the adding-doubling method, Appl. Opt. 32 (1993). From memory; the
//! combination is this project's own and is tested against Monte Carlo.

use super::quadrature::gauss_legendre;
use super::sheet::forward_row;
use super::transport::{SourceKernel, Transport, straight_transmittance};
use super::{Layer, Optics, Stack};
use crate::quantity::Millimetres;
use pxfm::f_j0;

/// Quadrature nodes a hemisphere for the two adding-doubling runs of a layer.
const ANGLES: usize = 16;
/// The excess is integrated to r = H sinh(5.3) = 100 H, where it has fallen by a million.
const REACH: f64 = 5.3;
/// Panels of [`PANEL`] points over that range: the Bessel function must be followed as far as it matters.
const PANELS: usize = 64;
const PANEL: usize = 8;

/// The Bessel factors of one layer's excess, shared by all albedos.
#[derive(Debug)]
pub struct ExcessPlane {
    /// Cosine of the direction, and weight `2 pi E(r) r dr` of each place.
    places: Vec<(f64, f64)>,
    /// `J0(k r)`, place by place for each frequency.
    bessel: Vec<Vec<f64>>,
}

impl ExcessPlane {
    /// For a layer whose middle is at `height` mm, under a beam `cos^m`, at these frequencies in 1/mm.
    #[must_use]
    pub fn new(height: f64, beam_power: f64, knots: &[f64]) -> ExcessPlane {
        let rule = gauss_legendre(PANEL);
        let width = REACH / PANELS as f64;
        let mut places = Vec::with_capacity(PANELS * PANEL);
        let mut radii = Vec::with_capacity(PANELS * PANEL);
        for panel in 0..PANELS {
            for (x, w) in rule.nodes.iter().zip(&rule.weights) {
                let v = (panel as f64 + x) * width;
                // r = H sinh v, cos(theta) = 1 / cosh v; 2 pi I0 cos^m cos / d^2 r dr with I0 = (m + 1) / (2 pi).
                let cosine = 1.0 / v.cosh();
                let weight = (beam_power + 1.0)
                    * cosine.powf(beam_power + 3.0)
                    * v.sinh()
                    * v.cosh()
                    * w
                    * width;
                places.push((cosine, weight));
                radii.push(height * v.sinh());
            }
        }
        let bessel = knots.iter().map(|k| radii.iter().map(|r| f_j0(k * r)).collect()).collect();
        ExcessPlane { places, bessel }
    }

    /// The transform at each frequency of `E(r) f(theta)`, f given at each place.
    fn transform(&self, f: &[f64]) -> Vec<f64> {
        let weighted: Vec<f64> = self.places.iter().zip(f).map(|((_, w), f)| w * f).collect();
        self.bessel.iter().map(|row| row.iter().zip(&weighted).map(|(j, w)| j * w).sum()).collect()
    }
}

/// What a layer's excess needs of the layer's own optics: it changes smoothly with the albedo.
#[derive(Clone, Debug)]
pub struct OwnPart {
    /// `f_true - f_reduced` at each place of the plane, in 1/sr.
    pub difference: Vec<f64>,
    /// The sideways wander S at each frequency.
    pub wander: Vec<f64>,
}

impl OwnPart {
    /// For a layer with its true optics whose lower face is at `bottom` mm.
    #[must_use]
    pub fn new(
        layer: &Layer,
        bottom: f64,
        plane: &ExcessPlane,
        beam_power: f64,
        source: &SourceKernel,
        knots: &[f64],
    ) -> OwnPart {
        let closed = Layer {
            gap_below: Millimetres(bottom),
            thickness: layer.thickness,
            optics: Optics { openness: 0.0, ..layer.optics },
        };
        let reduced = reduce(closed);
        let true_row = forward_row(&closed.optics, closed.optical_thickness(), ANGLES);
        let reduced_row = forward_row(&reduced.optics, reduced.optical_thickness(), ANGLES);
        let difference =
            plane.places.iter().map(|&(cosine, _)| true_row.at(cosine) - reduced_row.at(cosine)).collect();

        let alone = Stack { board_reflectance: 0.0, layers: vec![reduced] };
        let thick = Transport::new(&alone, beam_power, source.clone());
        let flat =
            Transport::flat(&reduced, bottom + 0.5 * layer.thickness.0, beam_power, source.clone());
        let wander = knots
            .iter()
            .map(|&k| {
                let squeezed = flat.solve(k).radiance;
                if squeezed > 0.0 { (thick.solve(k).radiance / squeezed).min(1.0) } else { 0.0 }
            })
            .collect();
        OwnPart { difference, wander }
    }
}

/// The correction to add to the transport's radiance at each frequency, for layer `index` of a stack given with its
/// true optics.
#[must_use]
pub fn excess(stack: &Stack, index: usize, plane: &ExcessPlane, own: &OwnPart) -> Vec<f64> {
    let below: Vec<Layer> = stack.layers[..index].iter().copied().map(reduce).collect();
    let above: Vec<Layer> = stack.layers[index + 1..].iter().copied().map(reduce).collect();
    let arriving = |cosine: f64| -> f64 {
        below
            .iter()
            .map(|l| {
                let o = l.optics.openness;
                o + (1.0 - o) * (-l.optical_thickness() / cosine).exp()
            })
            .product()
    };
    let spread: Vec<f64> =
        plane.places.iter().zip(&own.difference).map(|(&(cosine, _), d)| arriving(cosine) * d).collect();
    let outwards = (1.0 - stack.layers[index].optics.openness) * straight_transmittance(&above);
    plane.transform(&spread).into_iter().zip(&own.wander).map(|(e, s)| outwards * s * e).collect()
}

/// A layer with reduced optics.
#[must_use]
pub fn reduce(layer: Layer) -> Layer {
    Layer { optics: layer.optics.reduced(), ..layer }
}
