//! The doubling of one layer and the adding of two.

use super::Quadrature;
use super::quadrature::START;
use crate::light::Optics;
use nalgebra::{DMatrix, LU};

/// The interreflection series is summed term by term below this row sum: three terms then leave less than 1e-15.
const SERIES_LIMIT: f64 = 1e-5;
/// Asymmetry whose power 2n lies below this needs no delta-M truncation: it is below the rounding.
const NEGLIGIBLE_PEAK: f64 = 1e-15;

/// Optical thickness beyond which the starting layer is made thinner in proportion.
///
/// Its error acts like a trace of absorption (5e-9 at a start of 1e-5), which a thick conservative layer gathers up:
/// without this, a = 1 and tau = 200 would lose 1e-6 and a half-space 2e-4.
const THICK: f64 = 8.0;

/// The covered part of one layer.
pub(super) struct Covered {
    pub(super) r: DMatrix<f64>,
    pub(super) t: DMatrix<f64>,
    pub(super) direct: Vec<f64>,
}

/// Layer after delta-M scaling: the share `peak` of the scattering is treated as no scattering at all.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scaled {
    pub(super) tau: f64,
    pub(super) albedo: f64,
    pub(super) peak: f64,
}

impl Scaled {
    /// Wiscombe (1977): `f = g^(2n)`, `tau' = (1 - a f) tau`, `a' = (1 - f) a / (1 - a f)`.
    pub(super) fn new(optics: &Optics, tau: f64, gauss: usize) -> Scaled {
        let peak = optics.asymmetry.powi(2 * gauss as i32);
        let peak = if peak < NEGLIGIBLE_PEAK { 0.0 } else { peak };
        let kept = 1.0 - optics.albedo * peak;
        Scaled { tau: kept * tau, albedo: (1.0 - peak) * optics.albedo / kept, peak }
    }
}

/// Azimuth-averaged phase function between all nodes: forward (same hemisphere) and backward.
pub(super) struct Phase {
    pub(super) forward: DMatrix<f64>,
    pub(super) backward: DMatrix<f64>,
}

impl Phase {
    /// `sum over l < 2n of (2l + 1) (g^l - f)/(1 - f) P_l(mu) P_l(mu')`, odd l changing sign backwards.
    pub(super) fn new(asymmetry: f64, peak: f64, quadrature: &Quadrature) -> Phase {
        let n = quadrature.len();
        let moments: Vec<f64> = (0..2 * quadrature.gauss()).map(|l| moment(l, asymmetry, peak)).collect();
        let (mut forward, mut backward) = (DMatrix::zeros(n, n), DMatrix::zeros(n, n));
        let mut weighted = vec![0.0; moments.len()];
        for (j, row) in quadrature.legendre.iter().enumerate() {
            weighted.iter_mut().zip(&moments).zip(row).for_each(|((w, m), p)| *w = m * p);
            for (i, other) in quadrature.legendre.iter().enumerate().skip(j) {
                let (mut even, mut odd) = (0.0, 0.0);
                for (w, p) in weighted.chunks_exact(2).zip(other.chunks_exact(2)) {
                    even += w[0] * p[0];
                    odd += w[1] * p[1];
                }
                forward[(i, j)] = even + odd;
                forward[(j, i)] = even + odd;
                backward[(i, j)] = even - odd;
                backward[(j, i)] = even - odd;
            }
        }
        Phase { forward, backward }
    }
}

/// `(2l + 1) (g^l - f) / (1 - f)`: the moment of degree l of the phase function without its peak f.
pub(super) fn moment(l: usize, asymmetry: f64, peak: f64) -> f64 {
    (2 * l + 1) as f64 * (asymmetry.powi(l as i32) - peak) / (1.0 - peak)
}

/// `(1 - exp(-x)) / x` for x at or above 0.
fn escape(x: f64) -> f64 {
    if x < f64::EPSILON { 1.0 } else { -(-x).exp_m1() / x }
}

/// Single scattering through a layer: `a/4 p (exp(-tau/mu) - exp(-tau/mu0)) / (mu - mu0)`, without cancellation.
pub(super) fn single_transmission(albedo: f64, phase: f64, tau: f64, mu: f64, mu0: f64) -> f64 {
    let apart = tau * (mu - mu0).abs() / (mu * mu0);
    0.25 * albedo * phase * tau / (mu * mu0) * (-tau / mu.max(mu0)).exp() * escape(apart)
}

/// Single scattering back from a layer: `a/4 p (1 - exp(-tau (1/mu + 1/mu0))) / (mu + mu0)`.
fn single_reflection(albedo: f64, phase: f64, tau: f64, mu: f64, mu0: f64) -> f64 {
    -0.25 * albedo * phase * (-tau * (1.0 / mu + 1.0 / mu0)).exp_m1() / (mu + mu0)
}

/// The covered part of a layer of thickness `tau`.
pub(super) fn layer(optics: &Optics, tau: f64, quadrature: &Quadrature) -> Covered {
    let scaled = Scaled::new(optics, tau, quadrature.gauss());
    let phase = Phase::new(optics.asymmetry, scaled.peak, quadrature);
    with_phase(scaled, &phase, quadrature)
}

/// A delta-M scaled layer with the given phase function between the nodes (of one azimuth mode).
pub(super) fn with_phase(scaled: Scaled, phase: &Phase, quadrature: &Quadrature) -> Covered {
    let thickest_start = START / (scaled.tau / THICK).max(1.0);
    let doublings = (scaled.tau / thickest_start).log2().ceil().max(0.0) as i32;
    let start = scaled.tau / 2f64.powi(doublings);
    let single = |thickness: f64| single_scattering(scaled.albedo, thickness, phase, &quadrature.mu);

    let whole = single(start);
    let mut layer = single(0.5 * start);
    let mut scratch = Scratch::new(quadrature.len());
    scratch.double(&mut layer, &quadrature.flux_weight);
    layer.r.zip_apply(&whole.r, |d, s| *d += *d - s);
    layer.t.zip_apply(&whole.t, |d, s| *d += *d - s);
    for k in 1..=doublings {
        scratch.double(&mut layer, &quadrature.flux_weight);
        let thickness = start * 2f64.powi(k);
        layer.direct.iter_mut().zip(&quadrature.mu).for_each(|(e, mu)| *e = (-thickness / mu).exp());
    }
    layer
}

fn single_scattering(albedo: f64, tau: f64, phase: &Phase, mu: &[f64]) -> Covered {
    let n = mu.len();
    let kernel = |phase: &DMatrix<f64>, f: fn(f64, f64, f64, f64, f64) -> f64| {
        DMatrix::from_fn(n, n, |i, j| f(albedo, phase[(i, j)], tau, mu[i], mu[j]))
    };
    Covered {
        r: kernel(&phase.backward, single_reflection),
        t: kernel(&phase.forward, single_transmission),
        direct: mu.iter().map(|mu| (-tau / mu).exp()).collect(),
    }
}

/// Room for the products of one doubling.
struct Scratch {
    r_weighted: DMatrix<f64>,
    t_weighted: DMatrix<f64>,
    between: DMatrix<f64>,
    down: DMatrix<f64>,
    up: DMatrix<f64>,
    spare: DMatrix<f64>,
}

impl Scratch {
    fn new(n: usize) -> Scratch {
        let zeros = || DMatrix::zeros(n, n);
        Scratch {
            r_weighted: zeros(),
            t_weighted: zeros(),
            between: zeros(),
            down: zeros(),
            up: zeros(),
            spare: zeros(),
        }
    }

    /// Puts the layer on a copy of itself.
    fn double(&mut self, layer: &mut Covered, flux_weight: &[f64]) {
        let direct = &layer.direct;
        scale_columns(&mut self.r_weighted, &layer.r, flux_weight);
        scale_columns(&mut self.t_weighted, &layer.t, flux_weight);

        self.between.gemm(1.0, &self.r_weighted, &layer.r, 0.0);
        scale_columns(&mut self.down, &self.between, direct);
        self.down += &layer.t;
        scale_columns(&mut self.spare, &self.between, flux_weight);
        interreflect(&self.spare, &mut self.down, &mut self.up);

        scale_columns(&mut self.up, &layer.r, direct);
        self.up.gemm(1.0, &self.r_weighted, &self.down, 1.0);

        scale_rows_onto(&mut layer.r, &self.up, direct);
        layer.r.gemm(1.0, &self.t_weighted, &self.up, 1.0);

        scale_columns(&mut self.spare, &layer.t, direct);
        scale_rows_onto(&mut self.spare, &self.down, direct);
        layer.t.gemm(1.0, &self.t_weighted, &self.down, 0.0);
        layer.t += &self.spare;
        layer.direct.iter_mut().for_each(|e| *e *= *e);
    }
}

/// A sheet as seen by light falling on one of its faces.
pub(super) struct Face<'a> {
    pub(super) r: &'a DMatrix<f64>,
    pub(super) t: &'a DMatrix<f64>,
    pub(super) r_back: &'a DMatrix<f64>,
    pub(super) t_back: &'a DMatrix<f64>,
    pub(super) direct: &'a [f64],
}

/// Reflection and scattered transmission of `second` behind `first`, for light falling on `first`.
pub(super) fn add(first: &Face<'_>, second: &Face<'_>, flux_weight: &[f64]) -> (DMatrix<f64>, DMatrix<f64>) {
    let n = flux_weight.len();
    let weighted = |kernel: &DMatrix<f64>| {
        let mut out = DMatrix::zeros(n, n);
        scale_columns(&mut out, kernel, flux_weight);
        out
    };
    let mut spare = DMatrix::zeros(n, n);
    let between = weighted(first.r_back) * second.r;
    let mut down = first.t.clone();
    scale_columns(&mut spare, &between, first.direct);
    down += &spare;
    interreflect(&weighted(&between), &mut down, &mut spare);

    let mut up = weighted(second.r) * &down;
    scale_columns(&mut spare, second.r, first.direct);
    up += &spare;

    let mut r = weighted(first.t_back) * &up + first.r;
    scale_rows_onto(&mut r, &up, first.direct);
    let mut t = weighted(second.t) * &down;
    scale_rows_onto(&mut t, &down, second.direct);
    scale_columns(&mut spare, second.t, first.direct);
    t += &spare;
    (r, t)
}

/// Replaces `down` by `(1 - between)^-1 down`.
fn interreflect(between: &DMatrix<f64>, down: &mut DMatrix<f64>, spare: &mut DMatrix<f64>) {
    let largest = between.row_iter().map(|row| row.iter().map(|x| x.abs()).sum()).fold(0.0, f64::max);
    if largest < SERIES_LIMIT {
        spare.copy_from(down);
        spare.gemm(1.0, between, down, 1.0);
        let first_order = spare.clone();
        down.gemm(1.0, between, &first_order, 1.0);
        return;
    }
    let n = between.nrows();
    let system = DMatrix::from_fn(n, n, |i, j| f64::from(u8::from(i == j)) - between[(i, j)]);
    // The light between two layers that do not create light dies out, so the system has an inverse.
    let solved = LU::new(system).solve_mut(down);
    debug_assert!(solved, "light between two layers must die out");
}

/// `out = matrix * diag(scale)`.
fn scale_columns(out: &mut DMatrix<f64>, matrix: &DMatrix<f64>, scale: &[f64]) {
    let n = scale.len();
    let columns = out.as_mut_slice().chunks_exact_mut(n).zip(matrix.as_slice().chunks_exact(n));
    for ((to, from), &s) in columns.zip(scale) {
        to.iter_mut().zip(from).for_each(|(to, from)| *to = s * from);
    }
}

/// `out += diag(scale) * matrix`.
fn scale_rows_onto(out: &mut DMatrix<f64>, matrix: &DMatrix<f64>, scale: &[f64]) {
    let n = scale.len();
    for (to, from) in out.as_mut_slice().chunks_exact_mut(n).zip(matrix.as_slice().chunks_exact(n)) {
        to.iter_mut().zip(from).zip(scale).for_each(|((to, from), s)| *to += s * from);
    }
}
