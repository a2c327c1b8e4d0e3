//! What forward scattering adds, by the layer that scatters last and by azimuth mode.
//!
//! # Model
//! The chain of [`crate::light::forward`] walked from the source on. With azimuths counted from k, the light that arrives at layer l
//! is a cosine series whose coefficients are real once `(-i)^m` is taken out:
//!
//! ```text
//! E_l(mu, phi) = 1/(2 pi) sum over m of (2 - [m = 0]) (-i)^m e_lm(mu) cos(m phi)
//! e_lm(mu) = (n + 1) mu^n A_0l(mu) J_m(k H_l tan)  +  sum over j < l of  2 mu A_jl (1 - o_j)
//!                  sum over all m' of (T_j,m' e_jm')(mu) J_(m - m')(k (H_l - H_j) tan)
//! ```
//!
//! and the light towards the viewer is the sum over l of
//! `P_l (1 - o_l) D_l sum over m of (2 - [m = 0]) (-i)^m cos(m psi) int f_lm e_lm dmu`.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | n | exponent of the source's beam | 1 |
//! | T_j,m | mode m of the scattered transmission of layer j | 1 |
//! | f_lm | mode m of the light scattered towards the viewer per irradiance | 1/sr |
//! | others | as in [`crate::light::forward`] and the head of [`super`] | |
//!
//! # Source
//! As [`crate::light::forward`].

use crate::light::forward::{ANGLES, Directions, bessel_table, convolve};
use crate::light::sheet::{Towards, TowardsTable};
use crate::light::stack::unscattered;
use crate::light::{Layer, Optics, Stack};
use nalgebra::DVectorView;

/// Azimuth modes towards the viewer: the true phase function at a slant falls off like exp(-0.25 m) or faster.
pub(super) const VIEW_MODES: usize = 32;
/// Azimuth modes of what is scattered from layer to layer, and of what is scattered more than once.
const SIDE_MODES: usize = 16;

/// What all layers have in common for one viewer.
pub(super) struct ViewTable {
    table: TowardsTable,
    cosine: f64,
}

impl ViewTable {
    pub(super) fn new(cosine: f64) -> ViewTable {
        ViewTable { table: TowardsTable::new(ANGLES, SIDE_MODES, cosine, &Directions::get().cosines), cosine }
    }

    /// Both descriptions of a layer, with its true and with its reduced optics; the last layer scatters towards the viewer only.
    pub(super) fn layer(&self, layer: &Layer, outermost: bool) -> [Scattering; 2] {
        let closed = Layer { optics: Optics { openness: 0.0, ..layer.optics }, ..*layer };
        let of = |layer: &Layer, modes: usize, sideways: usize| {
            let tau = layer.optical_thickness();
            let sideways = if outermost { 0 } else { sideways };
            Scattering { tau, found: self.table.of(&layer.optics, tau, modes, sideways) }
        };
        [of(&closed, VIEW_MODES, SIDE_MODES), of(&closed.reduced(), 1, 1)]
    }
}

/// How one layer scatters.
#[derive(Clone)]
pub(super) struct Scattering {
    tau: f64,
    found: Towards,
}

/// Bessel functions of the ways from the source and between the middles of layers, at one frequency: order by direction.
pub(super) struct Ways {
    from_source: Vec<Vec<Vec<f64>>>,
    between: Vec<Vec<Vec<Vec<f64>>>>,
}

impl Ways {
    pub(super) fn new(heights: &[f64], k: f64) -> Ways {
        let table = |distance: f64, orders: usize| bessel_table(k * distance, orders);
        let from_source = heights.iter().map(|&h| table(h, VIEW_MODES)).collect();
        let between = (0..heights.len())
            .map(|l| (0..l).map(|j| table(heights[l] - heights[j], VIEW_MODES + SIDE_MODES)).collect())
            .collect();
        Ways { from_source, between }
    }
}

/// One chain.
pub(super) struct Chain<'a> {
    layers: Vec<&'a Scattering>,
    view: &'a ViewTable,
    /// `(1 - o_l) D_l`.
    towards: Vec<f64>,
    /// Weight of each direction on the way from the source to layer l.
    from_source: Vec<Vec<f64>>,
    /// Weight of each direction on the way from layer j < l to layer l, by l and j.
    between: Vec<Vec<Vec<f64>>>,
}

impl<'a> Chain<'a> {
    pub(super) fn new(
        layers: Vec<&'a Scattering>,
        view: &'a ViewTable,
        stack: &Stack,
        beam_power: f64,
    ) -> Chain<'a> {
        let directions = Directions::get();
        let openness: Vec<f64> = stack.layers.iter().map(|l| l.optics.openness).collect();
        let count = layers.len();
        let met: Vec<(f64, f64)> = openness.iter().zip(&layers).map(|(o, layer)| (*o, layer.tau)).collect();
        let (sent, falling) = (directions.sent(beam_power), directions.falling());
        let covered: Vec<f64> = openness.iter().map(|o| 1.0 - o).collect();
        let towards = (0..count)
            .map(|l| {
                let above = met[l + 1..].iter();
                covered[l] * above.map(|&(o, tau)| unscattered(o, tau / view.cosine)).product::<f64>()
            })
            .collect();
        let from_source = (0..count).map(|l| directions.passing(&sent, &met[..l])).collect();
        let passed_on = |j: usize, l: usize| -> Vec<f64> {
            let share = 2.0 * covered[j];
            directions.passing(&falling, &met[j + 1..l]).into_iter().map(|w| share * w).collect()
        };
        let between = (0..count).map(|l| (0..l).map(|j| passed_on(j, l)).collect()).collect();
        Chain { layers, view, towards, from_source, between }
    }

    /// By layer: the modes of what it scatters last towards the viewer, without the shift and without `(-i)^m`.
    pub(super) fn modes(&self, ways: &Ways) -> Vec<Vec<f64>> {
        let directions = Directions::get();
        let count = directions.cosines.len();
        // What leaves each layer sideways: mode by direction.
        let mut leaving: Vec<Vec<Vec<f64>>> = Vec::new();
        let mut found = Vec::new();
        for (l, layer) in self.layers.iter().enumerate() {
            let Towards { towards, sideways } = &layer.found;
            let orders = towards.len().max(sideways.len());
            let mut arriving = vec![vec![0.0; count]; orders];
            for (arriving, bessel) in arriving.iter_mut().zip(&ways.from_source[l]) {
                let light = bessel.iter().zip(&self.from_source[l]).map(|(b, w)| b * w);
                arriving.iter_mut().zip(light).for_each(|(sum, value)| *sum = value);
            }
            for (j, leaving) in leaving.iter().enumerate() {
                convolve(leaving, &ways.between[l][j], &self.between[l][j], &mut arriving);
            }
            let spread = |(m, kernel): (usize, &nalgebra::DMatrix<f64>)| {
                let nodes = kernel * DVectorView::from_slice(&arriving[m], count);
                self.view.table.spread(m, &nodes).as_slice().to_vec()
            };
            leaving.push(sideways.iter().enumerate().map(spread).collect());
            let mode = |(m, (f, e)): (usize, (&Vec<f64>, &Vec<f64>))| {
                let twice = if m == 0 { 1.0 } else { 2.0 };
                twice * self.towards[l] * f.iter().zip(e).map(|(f, e)| f * e).sum::<f64>()
            };
            found.push(towards.iter().zip(&arriving).enumerate().map(mode).collect());
        }
        found
    }
}
