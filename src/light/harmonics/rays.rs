//! Unscattered light of a source below the layer, at every depth of it.

use super::basis::{DEGREE, norm};
use crate::light::Optics;
use crate::light::bessel::Bessel;
use crate::light::forward::{Directions, FADING, fading, parity};
use crate::light::kernels::direct;
use crate::light::sheet::associated_row;
use std::f64::consts::PI;
use std::sync::OnceLock;

/// A direction whose light has fallen to this share on its way into the layer is left out.
const GONE: f64 = 1e-12;
/// A depth at which the transform has fallen to this share of its value at k = 0 is left out: so far away the sum over directions
/// finds its own noise, up to 1 % of what it sums (measured).
const LOST: f64 = 1e-9;
const MODES: usize = DEGREE + 1;

/// `2 pi (-1)^m B_lm` without its cosine at the directions of the rays: by mode m, by degree l up to [`DEGREE`] (zero below m).
pub(super) fn table() -> &'static Vec<Vec<Vec<f64>>> {
    static TABLE: OnceLock<Vec<Vec<Vec<f64>>>> = OnceLock::new();
    TABLE.get_or_init(|| {
        let cosines = &Directions::get().cosines;
        (0..=DEGREE)
            .map(|m| {
                let rows: Vec<Vec<f64>> =
                    cosines.iter().map(|&mu| associated_row(m, mu, DEGREE + 1)).collect();
                // (-i)^m of the light and (-i)^m of the functions.
                let sign = 2.0 * PI * parity(m);
                (0..=DEGREE).map(|l| rows.iter().map(|row| sign * norm(l, m) * row[l]).collect()).collect()
            })
            .collect()
    })
}

/// Where the light of a source `cos^m` goes in a layer, before it is told how far below the source lies.
#[derive(Debug)]
pub(super) struct Rays {
    /// By depth, by direction: light scattered there first, per extinction, with the weight of the direction.
    pub(super) arriving: Vec<Vec<f64>>,
    /// By direction: light that falls on the layer, with the weight of the direction.
    pub(super) falling: Vec<f64>,
    /// Distances of the depths from the inner face, in mm.
    distances: Vec<f64>,
    /// Frequency times way from the source at which a depth is [`LOST`].
    lost: f64,
}

/// The same at one depth, at one frequency and over one gap.
#[derive(Debug)]
pub(super) struct Arrived {
    pub(super) depth: usize,
    /// Moments, in the order of [`place`].
    pub(super) moments: Vec<f64>,
    /// By direction: `2 pi J0(k d tan(theta))`, d the way from the source.
    pub(super) turned: Vec<f64>,
}

/// Where the moment of this degree and mode stands.
pub(super) fn place(l: usize, m: usize) -> usize {
    m * (2 * DEGREE + 3 - m) / 2 + l - m
}

impl Rays {
    /// For depths at these distances from the inner face with these weights in mm, of a layer with these optics.
    pub(super) fn new(optics: &Optics, distances: &[f64], weights: &[f64], beam_power: f64) -> Rays {
        let extinction = optics.extinction.0;
        let directions = Directions::get();
        let falling: Vec<f64> = directions
            .cosines
            .iter()
            .zip(&directions.weights)
            .map(|(&mu, w)| (beam_power + 1.0) / (2.0 * PI) * mu.powf(beam_power) * w)
            .collect();
        let arriving = distances
            .iter()
            .zip(weights)
            .map(|(d, weight)| {
                let way = directions.cosines.iter().zip(&falling);
                way.map(|(mu, falling)| weight * falling / mu * (-extinction * d / mu).exp()).collect()
            })
            .collect();
        let lost = lost_at(optics.asymmetry, beam_power);
        Rays { arriving, falling, distances: distances.to_vec(), lost }
    }

    /// For one gap in mm below the layer, the depths that are not lost.
    pub(super) fn at(&self, k: f64, gap: f64) -> Vec<Arrived> {
        let at_depth = |(depth, (distance, arriving)): (usize, (&f64, &Vec<f64>))| {
            let turn = k * (gap + distance);
            (turn < self.lost).then(|| {
                let modes = turned_by(turn, arriving);
                let turned = modes[0].iter().map(|value| 2.0 * PI * value).collect();
                Arrived { depth, moments: folded(&modes, arriving), turned }
            })
        };
        self.distances.iter().zip(&self.arriving).enumerate().filter_map(at_depth).collect()
    }
}

/// See [`Rays::lost`]. Over `u = tan(theta)` all that meets a depth is regular but for the source, which sets in at `u = i`, and the
/// phase function, which goes to infinity at `cos(theta) = (1 + g^2) / (2 g)`, `u = i (1 - g^2) / (1 + g^2)`: its transform falls off
/// as that of the source does over so much less of the way, at least.
fn lost_at(asymmetry: f64, beam_power: f64) -> f64 {
    let squared = asymmetry * asymmetry;
    let nearer = (1.0 - squared) / (1.0 + squared);
    let m = beam_power + 1.0;
    let falls = |turn: f64| m * direct(m, 0.0, turn) > LOST;
    let turn = (1..).map(f64::from).find(|&turn| !falls(turn)).unwrap_or(f64::INFINITY);
    turn / nearer
}

/// `J_m(x tan(theta))` by mode, by direction, faded out where it turns too fast; where there is next to no light the mode 0 alone.
fn turned_by(x: f64, light: &[f64]) -> Vec<Vec<f64>> {
    let tangents = &Directions::get().tangents;
    let table = Bessel::get();
    let largest = light.iter().fold(0.0f64, |a, b| a.max(*b));
    let mut modes = vec![vec![0.0; tangents.len()]; MODES];
    for (f, (tangent, light)) in tangents.iter().zip(light).enumerate() {
        let phase = x * tangent;
        if phase >= FADING[1] {
            break;
        }
        let mut bessel = [0.0; MODES];
        let orders = if *light > GONE * largest { MODES } else { 1 };
        table.fill(&mut bessel[..orders], phase);
        modes.iter_mut().zip(bessel).for_each(|(row, value)| row[f] = value * fading(phase));
    }
    modes
}

/// Moments in the order of [`place`], with `(-1)^m`.
fn folded(modes: &[Vec<f64>], light: &[f64]) -> Vec<f64> {
    let of_mode = |(m, values): (usize, &Vec<f64>)| {
        let weighted: Vec<f64> = values.iter().zip(light).map(|(v, l)| v * l).collect();
        table()[m].iter().skip(m).map(|row| dot(row, &weighted)).collect::<Vec<f64>>()
    };
    modes.iter().enumerate().flat_map(of_mode).collect()
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
