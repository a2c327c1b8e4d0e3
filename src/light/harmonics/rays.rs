//! Unscattered light of a source below the layer, at every depth of it.

use super::basis::{DEGREE, norm};
use crate::light::bessel::Bessel;
use crate::light::forward::{Directions, FADING, fading, parity};
use crate::light::sheet::associated_row;
use std::f64::consts::PI;
use std::sync::OnceLock;

/// A direction whose light has fallen to this share on its way into the layer is left out.
const GONE: f64 = 1e-12;
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
}

/// The same at one frequency and over one gap.
#[derive(Debug)]
pub(super) struct Arrived {
    /// By depth: moments, in the order of [`place`].
    pub(super) moments: Vec<Vec<f64>>,
    /// By depth, by direction: `2 pi J0(k d tan(theta))`, d the way from the source.
    pub(super) turned: Vec<Vec<f64>>,
}

/// Where the moment of this degree and mode stands.
pub(super) fn place(l: usize, m: usize) -> usize {
    m * (2 * DEGREE + 3 - m) / 2 + l - m
}

impl Rays {
    /// For depths at these distances from the inner face with these weights in mm.
    pub(super) fn new(extinction: f64, distances: &[f64], weights: &[f64], beam_power: f64) -> Rays {
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
        Rays { arriving, falling, distances: distances.to_vec() }
    }

    /// For one gap in mm below the layer.
    pub(super) fn at(&self, k: f64, gap: f64) -> Arrived {
        let (mut moments, mut turned) = (Vec::new(), Vec::new());
        for (distance, arriving) in self.distances.iter().zip(&self.arriving) {
            let modes = turned_by(k * (gap + distance), arriving);
            moments.push(folded(&modes, arriving));
            turned.push(modes[0].iter().map(|value| 2.0 * PI * value).collect());
        }
        Arrived { moments, turned }
    }
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
