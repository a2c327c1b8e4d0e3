//! Forward scattering: what isotropic transport with reduced coefficients misses.
//!
//! # Model
//! Cloth fibres scatter forwards (asymmetry about 0.7). Reduced coefficients make [`super::transport`] right for thick
//! cloth and wrong for thin: the halo of a sheer comes from light that was scattered once or twice by small angles. What is
//! missing is the difference between two chains of the same form, one with the true and one with the reduced numbers, in
//! which every layer stands on the plane at half its thickness and light goes forwards only. With the direction of a ray
//! on its way to the viewer called Omega, the chain is built backwards from the viewer:
//!
//! ```text
//! W_j(Omega) = (1 - o_j) [ D_j f_j(Omega -> ahead)
//!            + sum over l > j of int f_j(Omega -> Omega') A_jl(mu') exp(-i k (H_l - H_j) tan(theta') cos(phi'))
//!                                    W_l(Omega') mu' dOmega' ]
//! L_chain(k) = sum over j of int I(theta) A_0j(mu) exp(-i k H_j tan(theta) cos(phi)) W_j(Omega) dOmega
//! ```
//!
//! and the correction is `S(k) [L_chain,true(k) - L_chain,reduced(k)]`, where the sideways wander inside the layers is
//! taken from the reduced transport, without the board: `S(k) = L(k; stack) / L(k; every layer squeezed flat)`, at most 1.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | W_j | radiance straight ahead per irradiance at layer j that is scattered there next | 1/sr |
//! | f_j | scattered radiance leaving per irradiance arriving, by adding-doubling | 1/sr |
//! | H_j | height of the middle of layer j above the board | mm |
//! | A_jl | share that passes the layers between j and l unscattered, holes included | 1 |
//! | D_j | the same for all layers above j, straight ahead | 1 |
//! | o_j | openness | 1 |
//! | theta, mu | angle from the normal and its cosine | rad, 1 |
//! | k | angular spatial frequency | 1/mm |
//!
//! W is a cosine series in the azimuth whose coefficients are real once `(-i)^m` is taken out; a gap then convolves the
//! series with Bessel functions `J_n(k (H_l - H_j) tan(theta))` (Jacobi-Anger expansion). With a single layer all this
//! is the excess irradiance `E(r) [f_true(theta) - f_reduced(theta)]` on the layer's middle plane.
//!
//! # Assumptions and validity
//! Light from the board and light sent back and forth between layers is diffuse enough for the reduced numbers. Good where
//! layers are not much thicker than the stand-off: figures in `tests/transport.rs`. A single cloth is left to `harmonics` if it does not
//! scatter more sharply than that can; in piles a thick layer is cut into slices first ([`super::spots`]), and one that is dense and
//! much thicker than its stand-off is still about 10 % off. Asymmetries above 0.85 need finer directions than the ones here:
//! at 0.95 a thin cloth's image of the pixel is 6 % off, at 0.98 the whole spot up to 12 %, at -0.95 as much.
//!
//! # Source
//! van de Hulst, Multiple Light Scattering (1980), reciprocity and similarity; Prahl, van Gemert & Welch, Determining the
//! optical properties of turbid media by using the adding-doubling method, Appl. Opt. 32 (1993); Jacobi-Anger: DLMF
//! 10.12. From memory; the combination is this project's own and is tested against Monte Carlo.

use super::bessel::Bessel;
use super::quadrature::{Interpolation, gauss_legendre};
use super::sheet::{AzimuthTable, forward_row};
use super::stack::unscattered;
use super::{Layer, Optics, Stack};
use nalgebra::DMatrix;
use std::sync::OnceLock;

/// Quadrature nodes a hemisphere for the adding-doubling of a layer: 16 leave 1.5e-4 of the peak (measured against 32).
pub(super) const ANGLES: usize = 16;
/// Azimuth modes of the scattering between layers. For asymmetries up to 0.8, 8 modes leave 6e-5 of the peak (measured
/// against 20), 6 leave 2.4e-4.
const MODES: usize = 8;
/// Directions are followed to tan(theta) = sinh(5.3) = 100.
const REACH: f64 = 5.3;
/// Panels of [`PANEL`] points over that range: the phase across a gap must be followed as far as it matters. 14 panels
/// already agree with 64 to 7e-5 of the peak.
const PANELS: usize = 18;
const PANEL: usize = 8;

/// Phases across a gap, `k h tan(theta)`, between which a direction fades out. Its panels do not follow faster turns, whose light
/// cancels: without this they leave noise of 1e-4 of the peak, with it 2e-6 (measured at k h from 7 to 14).
pub(super) const FADING: [f64; 2] = [15.0, 45.0];

/// Falls smoothly from 1 to 0 between the phases of [`FADING`].
pub(super) fn fading(phase: f64) -> f64 {
    let y = ((phase - FADING[0]) / (FADING[1] - FADING[0])).clamp(0.0, 1.0);
    1.0 - y * y * y * (10.0 - 15.0 * y + 6.0 * y * y)
}

/// The directions in which chains are integrated: crowded where the light is, the same for every stack.
pub(super) struct Directions {
    pub(super) cosines: Vec<f64>,
    pub(super) tangents: Vec<f64>,
    /// Weights in the cosine.
    pub(super) weights: Vec<f64>,
    /// Basis polynomials of the adding-doubling nodes at each direction (direction by node).
    basis: DMatrix<f64>,
    azimuth: AzimuthTable,
}

impl Directions {
    pub(super) fn get() -> &'static Directions {
        static DIRECTIONS: OnceLock<Directions> = OnceLock::new();
        DIRECTIONS.get_or_init(|| {
            let rule = gauss_legendre(PANEL);
            let width = REACH / PANELS as f64;
            let (mut cosines, mut tangents, mut weights) = (Vec::new(), Vec::new(), Vec::new());
            for panel in 0..PANELS {
                for (x, w) in rule.nodes.iter().zip(&rule.weights) {
                    // tan(theta) = sinh(v), so cos(theta) = 1 / cosh(v) and |d cos(theta)| = sinh(v) / cosh(v)^2 dv.
                    let v = (panel as f64 + x) * width;
                    cosines.push(1.0 / v.cosh());
                    tangents.push(v.sinh());
                    weights.push(w * width * v.sinh() / v.cosh().powi(2));
                }
            }
            let interpolation = Interpolation::from_nodes(&gauss_legendre(ANGLES).nodes);
            let rows: Vec<f64> = cosines.iter().flat_map(|&mu| interpolation.basis(mu)).collect();
            let basis = DMatrix::from_row_slice(cosines.len(), ANGLES, &rows);
            let azimuth = AzimuthTable::new(ANGLES, MODES, &cosines);
            Directions { cosines, tangents, weights, basis, azimuth }
        })
    }

    /// Weights of the light of a source `cos^m` of unit flux, from all azimuths.
    pub(super) fn sent(&self, beam_power: f64) -> Vec<f64> {
        let both = self.cosines.iter().zip(&self.weights);
        both.map(|(mu, w)| (beam_power + 1.0) * mu.powf(beam_power) * w).collect()
    }

    /// Weights of radiance that falls on a layer.
    pub(super) fn falling(&self) -> Vec<f64> {
        self.cosines.iter().zip(&self.weights).map(|(mu, w)| mu * w).collect()
    }

    /// The weights times the share that passes layers of these opennesses and optical thicknesses.
    pub(super) fn passing(&self, weights: &[f64], layers: &[(f64, f64)]) -> Vec<f64> {
        let share = |mu: f64| layers.iter().map(|&(o, tau)| unscattered(o, tau / mu)).product::<f64>();
        self.cosines.iter().zip(weights).map(|(&mu, w)| w * share(mu)).collect()
    }
}

/// How one layer scatters, with its true or with its reduced optics: it changes smoothly with the albedo.
#[derive(Clone, Debug)]
struct Scattering {
    tau: f64,
    /// `f(Omega -> ahead)` at each direction, in 1/sr.
    ahead: Vec<f64>,
    /// Transmission kernel from each direction (column) to each node (row), by azimuth mode; empty for the last layer.
    sideways: Vec<DMatrix<f64>>,
}

/// Both descriptions of one layer.
#[derive(Clone, Debug)]
pub struct LayerScattering {
    real: Scattering,
    reduced: Scattering,
}

impl LayerScattering {
    /// For a layer with its true optics. `outermost` layers scatter towards the viewer only.
    #[must_use]
    pub fn new(layer: &Layer, outermost: bool) -> LayerScattering {
        let closed = Layer { optics: Optics { openness: 0.0, ..layer.optics }, ..*layer };
        LayerScattering {
            real: Scattering::new(&closed, if outermost { 0 } else { MODES }),
            reduced: Scattering::new(&closed.reduced(), if outermost { 0 } else { 1 }),
        }
    }

    /// The description at another albedo, interpolated from descriptions of the same layer with these weights (which sum
    /// to 1). What gets through changes by powers of ten, so its logarithm is interpolated, and apart from it the shape;
    /// where nothing gets through (a clear cloth, or one too dense for numbers) there is nothing to scale.
    #[must_use]
    pub fn mixed(parts: &[LayerScattering], weights: &[f64]) -> LayerScattering {
        let mix = |pick: fn(&LayerScattering) -> &Scattering| {
            let first = pick(&parts[0]);
            let mut sum = Scattering {
                tau: 0.0,
                ahead: vec![0.0; first.ahead.len()],
                sideways: first.sideways.iter().map(|m| DMatrix::zeros(m.nrows(), m.ncols())).collect(),
            };
            let heights: Vec<f64> = parts.iter().map(|p| pick(p).ahead.iter().sum::<f64>()).collect();
            let scaled = heights.iter().all(|&h| h > 0.0);
            let height = heights.iter().zip(weights).map(|(h, w)| w * h.ln()).sum::<f64>().exp();
            for ((part, own), w) in parts.iter().map(pick).zip(&heights).zip(weights) {
                let w = if scaled { w * height / own } else { *w };
                sum.ahead.iter_mut().zip(&part.ahead).for_each(|(s, v)| *s += w * v);
                for (s, m) in sum.sideways.iter_mut().zip(&part.sideways) {
                    s.zip_apply(m, |s, v| *s += w * v);
                }
            }
            sum.tau = parts.iter().map(pick).zip(weights).map(|(part, w)| w * part.tau).sum();
            sum
        };
        LayerScattering { real: mix(|p| &p.real), reduced: mix(|p| &p.reduced) }
    }
}

impl Scattering {
    fn new(layer: &Layer, modes: usize) -> Scattering {
        let directions = Directions::get();
        let tau = layer.optical_thickness();
        let row = forward_row(&layer.optics, tau, ANGLES);
        Scattering {
            tau,
            ahead: directions.cosines.iter().map(|&mu| row.at(mu)).collect(),
            sideways: if modes == 0 {
                Vec::new()
            } else {
                directions.azimuth.modes(&layer.optics, tau, modes)
            },
        }
    }
}

/// The Bessel functions of the ways between the middles of the layers, at one frequency; they serve every albedo.
#[derive(Debug)]
pub struct Ways {
    /// `from_source[j]`: `J_n(k H_j tan)`, order by direction, as in [`bessel_table`].
    from_source: Vec<Vec<Vec<f64>>>,
    /// `between[j][l]` for l > j.
    between: Vec<Vec<Vec<Vec<f64>>>>,
}

impl Ways {
    /// How many directions arrive at layer j on their way to the viewer's side, from the layers above it.
    fn above(&self, j: usize) -> usize {
        self.between[j][j + 1..].iter().map(|table| table[0].len()).max().unwrap_or(0)
    }

    /// In how many directions what layer j sends on is asked for.
    fn asked(&self, j: usize) -> usize {
        let below = self.between[..j].iter().map(|tables| tables[j][0].len());
        below.chain([self.from_source[j][0].len()]).max().unwrap_or(0)
    }

    /// For layers whose middles are at these heights in mm, at `k` in 1/mm.
    #[must_use]
    pub fn new(heights: &[f64], k: f64) -> Ways {
        let outermost = heights.len() - 1;
        let table = |distance: f64, orders: usize| bessel_table(k * distance, orders);
        let from_source = heights
            .iter()
            .enumerate()
            .map(|(j, &h)| table(h, if j == outermost { 1 } else { MODES }))
            .collect();
        let between = (0..heights.len())
            .map(|j| {
                (0..heights.len())
                    .map(|l| {
                        if l <= j {
                            return Vec::new();
                        }
                        // The outermost layer's W does not depend on azimuth; others need all differences of modes.
                        table(heights[l] - heights[j], if l == outermost { MODES } else { 2 * MODES })
                    })
                    .collect()
            })
            .collect();
        Ways { from_source, between }
    }
}

/// `J_n(x tan(theta))`, order by direction, faded out where it turns too fast: as far as there is a direction that has not faded out.
pub(super) fn bessel_table(x: f64, orders: usize) -> Vec<Vec<f64>> {
    let tangents = &Directions::get().tangents;
    let seen = tangents.partition_point(|tangent| x * tangent < FADING[1]);
    let mut by_order = vec![vec![0.0; seen]; orders];
    let (bessel, mut values) = (Bessel::get(), vec![0.0; orders]);
    for (f, tangent) in tangents[..seen].iter().enumerate() {
        let phase = x * tangent;
        bessel.fill(&mut values, phase);
        for (row, value) in by_order.iter_mut().zip(&values) {
            row[f] = value * fading(phase);
        }
    }
    by_order
}

/// The two chains of one stack, ready for any frequency.
#[derive(Debug)]
pub struct Chains {
    real: Chain,
    reduced: Chain,
}

impl Chains {
    /// From the stack's openness and the scattering of its layers, for a source `cos^m`.
    #[must_use]
    pub fn new(stack: &Stack, layers: &[&LayerScattering], beam_power: f64) -> Chains {
        let openness: Vec<f64> = stack.layers.iter().map(|l| l.optics.openness).collect();
        Chains {
            real: Chain::new(layers.iter().map(|l| l.real.clone()).collect(), &openness, beam_power),
            reduced: Chain::new(layers.iter().map(|l| l.reduced.clone()).collect(), &openness, beam_power),
        }
    }

    /// The difference of the chains at the frequency of `ways`, in 1/sr per unit flux.
    #[must_use]
    pub fn excess(&self, ways: &Ways) -> f64 {
        self.real.radiance(ways) - self.reduced.radiance(ways)
    }
}

/// One chain, see the module's head.
#[derive(Debug)]
struct Chain {
    layers: Vec<Scattering>,
    /// Covered share of each layer.
    covered: Vec<f64>,
    /// `D_j (1 - o_j)`.
    straight: Vec<f64>,
    /// Weight of each direction on the way from the source to layer j.
    from_source: Vec<Vec<f64>>,
    /// Weight of each direction on the way from layer j to layer l > j.
    between: Vec<Vec<Vec<f64>>>,
}

impl Chain {
    fn new(layers: Vec<Scattering>, openness: &[f64], beam_power: f64) -> Chain {
        let directions = Directions::get();
        let count = layers.len();
        let met: Vec<(f64, f64)> = openness.iter().zip(&layers).map(|(o, layer)| (*o, layer.tau)).collect();
        let (sent, falling) = (directions.sent(beam_power), directions.falling());
        let covered: Vec<f64> = openness.iter().map(|o| 1.0 - o).collect();
        let straight = (0..count)
            .map(|j| covered[j] * met[j + 1..].iter().map(|&(o, tau)| unscattered(o, tau)).product::<f64>())
            .collect();
        let from_source = (0..count).map(|j| directions.passing(&sent, &met[..j])).collect();
        let between = (0..count)
            .map(|j| {
                (0..count)
                    .map(|l| if l > j { directions.passing(&falling, &met[j + 1..l]) } else { Vec::new() })
                    .collect()
            })
            .collect();
        Chain { layers, covered, straight, from_source, between }
    }

    /// Radiance straight ahead at the frequency of `ways`.
    fn radiance(&self, ways: &Ways) -> f64 {
        let basis = &Directions::get().basis;
        let mut total = 0.0;
        // Coefficients of W, mode by direction as far as they are asked for, for each layer, filled from the outermost inwards.
        let mut w: Vec<Vec<Vec<f64>>> = vec![Vec::new(); self.layers.len()];
        for j in (0..self.layers.len()).rev() {
            let layer = &self.layers[j];
            let modes = layer.sideways.len().max(1);
            let asked = ways.asked(j);
            let mut own = vec![vec![0.0; asked]; modes];
            own[0].iter_mut().zip(&layer.ahead).for_each(|(o, f)| *o = self.straight[j] * f);
            if j + 1 < self.layers.len() {
                let above = ways.above(j);
                let mut arriving = vec![vec![0.0; above]; modes];
                for (l, w) in w.iter().enumerate().skip(j + 1) {
                    convolve(w, &ways.between[j][l], &self.between[j][l], &mut arriving);
                }
                for ((kernel, arriving), own) in layer.sideways.iter().zip(&arriving).zip(&mut own) {
                    let arriving = nalgebra::DVectorView::from_slice(arriving, above);
                    let nodes = kernel.columns(0, above) * arriving;
                    let spread = basis.rows(0, asked) * (nodes * (2.0 * self.covered[j]));
                    own.iter_mut().zip(spread.iter()).for_each(|(o, s)| *o += s);
                }
            }
            for (m, (own, bessel)) in own.iter().zip(&ways.from_source[j]).enumerate() {
                let sign = if m == 0 { 1.0 } else { 2.0 * parity(m) };
                let weighted = own.iter().zip(bessel).zip(&self.from_source[j]).map(|((o, b), w)| o * b * w);
                total += sign * weighted.sum::<f64>();
            }
            w[j] = own;
        }
        total
    }
}

/// `(-1)^n`.
pub(super) fn parity(n: usize) -> f64 {
    if n.is_multiple_of(2) { 1.0 } else { -1.0 }
}

/// Adds `weight g_m` for each mode m of `out`, direction by direction, where `g_m = sum over m' of w_m' J_{m - m'}` (all signs
/// of m').
pub(super) fn convolve(w: &[Vec<f64>], bessel: &[Vec<f64>], weight: &[f64], out: &mut [Vec<f64>]) {
    for (m, out) in out.iter_mut().enumerate() {
        for (n, coefficients) in w.iter().enumerate() {
            let near = &bessel[m.abs_diff(n)];
            // w_{-n} = (-1)^n w_n and J_{-n} = (-1)^n J_n.
            let near_sign = if m >= n { 1.0 } else { parity(n - m) };
            if n == 0 {
                let terms = coefficients.iter().zip(near).zip(weight);
                out.iter_mut().zip(terms).for_each(|(o, ((c, j), w))| *o += w * c * j);
                continue;
            }
            let (far, far_sign) = (&bessel[m + n], parity(n));
            let terms = coefficients.iter().zip(near).zip(far).zip(weight);
            out.iter_mut()
                .zip(terms)
                .for_each(|(o, (((c, near), far), w))| *o += w * c * (near_sign * near + far_sign * far));
        }
    }
}
