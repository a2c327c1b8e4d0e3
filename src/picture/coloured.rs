//! Points of one and the same spot in several colours.
//!
//! Where every point has one of one or two chromaticities, as in most garments, the picture of the spots is one or two
//! pictures without colour, each drawn once and then coloured; else X, Y and Z are three. This is exact: the sum of spots is
//! linear in the amounts.

use super::memory::Memory;
use super::plane::{Accuracy, Frame, PlaneReport, PlannedSpots, SpotChannel, SpotPoint, XyzImage, zeros};
use crate::light::Window;
use crate::light::spread::SpotSpectrum;
use rayon::prelude::*;

/// Chromaticities that differ by less (as shares of X + Y + Z) count as one: single precision tells no more.
const SAME_CHROMATICITY: f64 = 1e-7;

/// A point that sends coloured light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColouredPoint {
    /// Place, x in mm.
    pub x_mm: f64,
    /// Place, y in mm.
    pub y_mm: f64,
    /// Amount of light as X, Y and Z, in the unit to which the spectrum refers.
    pub xyz: [f64; 3],
}

impl ColouredPoint {
    fn sum(&self) -> f64 {
        self.xyz.iter().sum()
    }

    /// X, Y and Z over their sum; `None` for a point without light or with light that is not finite.
    fn shares(&self) -> Option<[f64; 3]> {
        let sum = self.sum();
        (sum > 0.0 && sum.is_finite()).then(|| self.xyz.map(|v| v / sum))
    }
}

/// Adds the spots of coloured points to a picture of the frame's size: points with the outline from which each sends its
/// light.
pub fn add_coloured(
    image: &mut XyzImage,
    frame: &Frame,
    outlines: &[(Window, Vec<ColouredPoint>)],
    spot: &SpotSpectrum,
    accuracy: Accuracy,
) -> PlaneReport {
    let planned = PlannedColoured::new(frame, outlines, spot, accuracy);
    planned.add(image, outlines);
    planned.report()
}

/// Coloured points whose places and spot are settled, for many pictures with other light.
#[derive(Debug)]
pub(super) struct PlannedColoured {
    planned: PlannedSpots,
}

impl PlannedColoured {
    /// Settles everything but the light; points that have none here stay dark for good.
    pub(super) fn new(
        frame: &Frame,
        outlines: &[(Window, Vec<ColouredPoint>)],
        spot: &SpotSpectrum,
        accuracy: Accuracy,
    ) -> PlannedColoured {
        let place = |p: &ColouredPoint| {
            let amount = if p.shares().is_some() { 1.0 } else { 0.0 };
            SpotPoint { x_mm: p.x_mm, y_mm: p.y_mm, amount }
        };
        let channels: Vec<SpotChannel<'_>> = outlines
            .iter()
            .flat_map(|outline| (0..3).map(move |plane| (outline, plane)))
            .map(|((window, points), plane)| SpotChannel {
                points: points.iter().map(place).collect(),
                window: *window,
                window_turn_rad: 0.0,
                kernels: std::array::from_fn(|i| (i == plane).then_some(spot)),
            })
            .collect();
        PlannedColoured { planned: PlannedSpots::new(frame, &channels, accuracy) }
    }

    /// What the plan and its pictures take, with the pictures without colour.
    pub(super) fn memory(&self, pixels: usize) -> Memory {
        self.planned.memory().with_planes_of(pixels)
    }

    /// How the sums are made.
    pub(super) fn report(&self) -> PlaneReport {
        self.planned.report().clone()
    }

    /// Adds the spots to a picture: the same outlines and places as were planned, with the light of now.
    pub(super) fn add(&self, image: &mut XyzImage, outlines: &[(Window, Vec<ColouredPoint>)]) {
        let colours = one_or_two_colours(outlines);
        let amount = |p: &ColouredPoint, plane: usize| match &colours {
            Some(colours) => match (p.shares(), colours.get(plane)) {
                (Some(shares), Some(colour)) if same(&shares, colour) => p.sum() as f32,
                _ => 0.0,
            },
            None => p.xyz[plane] as f32,
        };
        let amounts: Vec<Vec<f32>> = outlines
            .iter()
            .flat_map(|(_, points)| (0..3).map(move |plane| (points, plane)))
            .map(|(points, plane)| points.iter().map(|p| amount(p, plane)).collect())
            .collect();
        let Some(colours) = &colours else { return self.planned.add(image, &amounts) };
        let n = image.planes[0].len();
        let mut plain = XyzImage {
            planes: std::array::from_fn(|i| if i < colours.len() { zeros(n) } else { vec![0.0; n] }),
            ..*image
        };
        self.planned.add(&mut plain, &amounts);
        for (shares, values) in colours.iter().zip(&plain.planes) {
            for (plane, share) in image.planes.iter_mut().zip(shares.map(|s| s as f32)) {
                plane.par_iter_mut().zip(values).for_each(|(sum, value)| *sum += share * value);
            }
        }
    }
}

fn same(a: &[f64; 3], b: &[f64; 3]) -> bool {
    a.iter().zip(b).all(|(a, b)| (a - b).abs() < SAME_CHROMATICITY)
}

/// The chromaticities of the points where they are no more than two.
fn one_or_two_colours(outlines: &[(Window, Vec<ColouredPoint>)]) -> Option<Vec<[f64; 3]>> {
    let mut colours: Vec<[f64; 3]> = Vec::new();
    for shares in outlines.iter().flat_map(|(_, points)| points).filter_map(ColouredPoint::shares) {
        if !colours.iter().any(|known| same(known, &shares)) {
            colours.push(shares);
        }
        if colours.len() > 2 {
            return None;
        }
    }
    Some(colours)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Single precision, over the peak.
    const ROUNDING: f32 = 2e-6;

    #[test]
    fn few_colours_make_the_picture_that_x_y_and_z_make() {
        let frame = Frame::centred(0.0, 0.0, 0.5, 70, 40);
        let knots: Vec<f64> = (0..=2000).map(|i| 4.0 * f64::from(i) / 2000.0).collect();
        let values = knots.iter().map(|k| (-2.0 * k * k).exp()).collect();
        let spot = SpotSpectrum::new(knots, values);
        let point = |x_mm, y_mm, xyz| ColouredPoint { x_mm, y_mm, xyz };
        let mut points = vec![
            point(1.0, 2.0, [0.2, 0.4, 0.6]),
            point(-9.0, 3.3, [0.1, 0.2, 0.3]),
            point(5.0, -4.0, [0.0, 0.0, 1.5]),
            point(5.0, 4.0, [0.0; 3]),
        ];
        // Far outside: it brings in a third colour and hardly any light.
        let third = point(3e3, 0.0, [1e-6, 0.0, 0.0]);
        let draw = |points: &[ColouredPoint]| {
            let outlines = [(Window::Point, points[..2].to_vec()), (Window::Point, points[2..].to_vec())];
            let mut image = XyzImage::black(frame.width_px, frame.height_px);
            add_coloured(&mut image, &frame, &outlines, &spot, Accuracy::Skirts);
            image
        };
        let few = draw(&points);
        points.push(third);
        let many = draw(&points);
        let peak = few.planes.iter().flatten().copied().fold(0.0, f32::max);
        assert!(peak > 0.0);
        for (few, many) in few.planes.iter().flatten().zip(many.planes.iter().flatten()) {
            assert!((few - many).abs() < ROUNDING * peak, "{few} {many}");
        }
    }
}
