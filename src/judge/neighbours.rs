//! Which pixels are neighbours, how far apart, and what the same light would be spread evenly among them.
//!
//! Dots are what remains when a garment is compared with the same garment whose pixels were drawn out into a continuous line or
//! sheet of light. This module makes that even version: a pixel of a chain becomes a bent stroke that reaches half-way to
//! each of its two neighbours, a pixel of a field a small parallelogram spanned by half the ways to its neighbours in two directions.
//! At the end of a chain the stroke goes on as far outwards as inwards. A pixel without neighbours stays a point.
//!
//! # Model
//! Strokes alone would also blur the ends of a chain and the rim of a field, which are no dots: drawing out over the width w adds
//! `w^2 / 12` to the mean square distance of a pixel's light from its place. So each pixel gives a share of its light, with a minus
//! sign, to the strokes before and behind it:
//!
//! ```text
//! E_i = (1 + 2 s) box_i - s (box_before + box_behind),   s = 1/24
//! ```
//!
//! and so in both directions where it is drawn out in two. Between neighbours of equal level that changes nothing, what one gives the
//! other gives back. Where there is no neighbour the share lies beyond the end. The mean and the mean square of `E_i` are those of the pixel, so that the even version of an outline is
//! the outline itself to the third order of the pitch over the width of a spot.
//!
//! | symbol | meaning |
//! |---|---|
//! | box_i | stroke or parallelogram of pixel i, with unit light |
//! | E_i | its even version |
//!
//! # Source
//! This project's own construction; the variance of a uniform distribution is elementary.

use crate::scene::Pixel;
use std::collections::HashMap;

/// A neighbour in another direction counts up to this many times the distance of the nearest: the diagonal of a square grid
/// (1.41) counts, the next but one pixel of a strip (2) does not.
const SECOND_REACH: f64 = 1.8;
/// The sine of the angle from which on two neighbours lie in different directions (about 37 degrees): a gently bent strip stays a
/// chain.
const OTHER_DIRECTION: f64 = 0.6;
/// Places along a stroke, and along each side of a parallelogram: finer than any spot that still shows dots.
const ALONG: usize = 12;
const ACROSS: usize = 6;

/// Pixels and their surroundings.
#[derive(Clone, Debug)]
pub struct Neighbourhood {
    /// Median distance to the nearest neighbour, in mm; `None` for a single pixel.
    pub pitch_mm: Option<f64>,
    /// Places of the pixels in mm.
    pub places: Vec<[f64; 2]>,
    /// For each pixel: its stroke or parallelogram, as places with shares that sum to 1.
    pub even: Vec<Vec<EvenPlace>>,
    /// For each pixel: what lies before and behind it, in each direction in which it is drawn out.
    sides: Vec<Sides>,
}

/// What lies before and behind a pixel.
#[derive(Clone, Debug, Default, PartialEq)]
struct Sides {
    /// The share s of the model.
    given: f64,
    all: Vec<Side>,
}

impl Sides {
    /// For so many places from side to side: s is half their mean square distance from the middle, over the width's square.
    fn new(places: usize, all: Vec<Side>) -> Sides {
        Sides { given: (1.0 - 1.0 / (places * places) as f64) / 24.0, all }
    }
}

/// What lies next to a pixel.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Side {
    /// Another pixel, by its number.
    Pixel(usize),
    /// Nothing: this way from it, in mm.
    Beyond([f64; 2]),
}

impl Neighbourhood {
    /// The even version of the pixels' light, given each pixel's level: places in mm and amounts, which may be below zero. `offset` moves
    /// a pixel's places as a whole (mm).
    #[must_use]
    pub fn spread(&self, levels: &[f64], offset: impl Fn(usize) -> [f64; 2]) -> Vec<([f64; 2], f64)> {
        let mut amounts = levels.to_vec();
        let mut beyond: Vec<(usize, [f64; 2], f64)> = Vec::new();
        for (i, (sides, level)) in self.sides.iter().zip(levels).enumerate().filter(|(_, of)| *of.1 != 0.0) {
            let given = level * sides.given;
            amounts[i] += given * sides.all.len() as f64;
            for side in &sides.all {
                match *side {
                    Side::Pixel(other) => amounts[other] -= given,
                    Side::Beyond(way) => beyond.push((i, way, -given)),
                }
            }
        }
        let own = amounts.iter().enumerate().filter(|(_, amount)| **amount != 0.0);
        own.map(|(i, &amount)| (i, [0.0; 2], amount))
            .chain(beyond)
            .flat_map(|(i, way, amount)| {
                let moved: [f64; 2] = std::array::from_fn(|c| way[c] + offset(i)[c]);
                let at = move |place: &EvenPlace| std::array::from_fn(|c| place.at[c] + moved[c]);
                self.even[i].iter().map(move |place| (at(place), amount * place.share))
            })
            .collect()
    }
}

/// A place of the even version.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EvenPlace {
    /// x and y in mm.
    pub at: [f64; 2],
    /// Share of the pixel's light.
    pub share: f64,
    /// Whether it lies between pixels (not beyond the end of a chain or the rim of a field).
    pub between: bool,
}

/// Finds the neighbours of all pixels. Takes time in proportion to their number where they are spread out evenly.
#[must_use]
pub fn neighbourhood(pixels: &[Pixel]) -> Neighbourhood {
    let places: Vec<[f64; 2]> = pixels.iter().map(|p| [p.at[0].0, p.at[1].0]).collect();
    let nearest = nearest_distances(&places);
    let mut known: Vec<f64> = nearest.iter().copied().filter(|d| d.is_finite()).collect();
    if known.is_empty() {
        let even = places.iter().map(|&at| vec![EvenPlace { at, share: 1.0, between: true }]).collect();
        let sides = vec![Sides::default(); places.len()];
        return Neighbourhood { pitch_mm: None, places, even, sides };
    }
    known.sort_by(f64::total_cmp);
    let pitch = known[known.len() / 2];
    let longest = known[known.len() - 1].min(4.0 * pitch);
    let cells = Cells::new(&places, SECOND_REACH * longest);
    let (even, sides) = places
        .iter()
        .enumerate()
        .map(|(i, &at)| {
            let mut around: Vec<Near> = cells
                .near(at)
                .filter(|&j| j != i)
                .map(|j| Near { pixel: j, way: [places[j][0] - at[0], places[j][1] - at[1]] })
                .filter(|near| length(near.way) > 0.0)
                .collect();
            around.sort_by(|a, b| length(a.way).total_cmp(&length(b.way)));
            drawn_out(at, &around)
        })
        .unzip();
    Neighbourhood { pitch_mm: Some(pitch), places, even, sides }
}

/// A pixel near another one.
#[derive(Clone, Copy, Debug)]
struct Near {
    pixel: usize,
    /// From the other one, in mm.
    way: [f64; 2],
}

fn length(v: [f64; 2]) -> f64 {
    v[0].hypot(v[1])
}

/// Sine of the angle between two ways (its size), and cosine.
fn angle(a: [f64; 2], b: [f64; 2]) -> (f64, f64) {
    let norm = length(a) * length(b);
    (((a[0] * b[1] - a[1] * b[0]) / norm).abs(), (a[0] * b[0] + a[1] * b[1]) / norm)
}

/// The stroke or parallelogram of one pixel and what lies next to it, given the pixels around it, the nearest first.
fn drawn_out(at: [f64; 2], around: &[Near]) -> (Vec<EvenPlace>, Sides) {
    let Some(&Near { way: first, .. }) = around.first() else {
        return (vec![EvenPlace { at, share: 1.0, between: true }], Sides::default());
    };
    let reach = SECOND_REACH * length(first);
    let close = || around.iter().copied().filter(|near| length(near.way) <= reach);
    let opposite = |of: [f64; 2]| close().find(|near| angle(of, near.way).1 < -0.5);
    let other_direction =
        |near: &Near| angle(first, near.way).0 > OTHER_DIRECTION && angle(first, near.way).1.abs() < 0.8;
    let back_of = |way: [f64; 2], found: Option<Near>| {
        found.map_or(Side::Beyond([-way[0], -way[1]]), |near| Side::Pixel(near.pixel))
    };
    // A bend of a chain has two neighbours and no more; a field has them on several sides.
    let count = close().count();
    if let Some(second) = close().find(other_direction).filter(|_| count > 2) {
        let backs = [opposite(first), opposite(second.way)];
        let step = |i: usize| (i as f64 + 0.5) / ACROSS as f64 - 0.5;
        let place = |n: usize| {
            let (s, t) = (step(n / ACROSS), step(n % ACROSS));
            EvenPlace {
                at: std::array::from_fn(|c| at[c] + s * first[c] + t * second.way[c]),
                share: 1.0 / (ACROSS * ACROSS) as f64,
                between: (s >= 0.0 || backs[0].is_some()) && (t >= 0.0 || backs[1].is_some()),
            }
        };
        let sides = vec![
            Side::Pixel(around[0].pixel),
            back_of(first, backs[0]),
            Side::Pixel(second.pixel),
            back_of(second.way, backs[1]),
        ];
        return ((0..ACROSS * ACROSS).map(place).collect(), Sides::new(ACROSS, sides));
    }
    // The parabola through the pixel and its two neighbours, from half-way to half-way; at an end, a straight stroke.
    let back = opposite(first).or_else(|| close().nth(1));
    let other = back.map_or([-first[0], -first[1]], |near| near.way);
    let places = (0..ALONG)
        .map(|i| {
            let t = (i as f64 + 0.5) / ALONG as f64 - 0.5;
            EvenPlace {
                at: std::array::from_fn(|c| {
                    at[c] + 0.5 * t * (first[c] - other[c]) + 0.5 * t * t * (first[c] + other[c])
                }),
                share: 1.0 / ALONG as f64,
                between: t > 0.0 || back.is_some(),
            }
        })
        .collect();
    (places, Sides::new(ALONG, vec![Side::Pixel(around[0].pixel), back_of(first, back)]))
}

/// Distance of each place to the nearest other place that is not the same; infinite for a lonely one.
fn nearest_distances(places: &[[f64; 2]]) -> Vec<f64> {
    let (low, high) = places.iter().fold(([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]), |(low, high), at| {
        (std::array::from_fn(|i| low[i].min(at[i])), std::array::from_fn(|i| high[i].max(at[i])))
    });
    let extent = (high[0] - low[0]).max(high[1] - low[1]);
    if places.len() < 2 || extent <= 0.0 {
        return vec![f64::INFINITY; places.len()];
    }
    // Cells that hold about one place if they fill the box; a search that finds nothing goes on in wider cells.
    let mut side = extent / (places.len() as f64).sqrt();
    let mut found = vec![f64::INFINITY; places.len()];
    let mut open: Vec<usize> = (0..places.len()).collect();
    while !open.is_empty() && side <= 2.0 * extent {
        let cells = Cells::new(places, side);
        open.retain(|&i| {
            let nearest = cells
                .near(places[i])
                .map(|j| length([places[j][0] - places[i][0], places[j][1] - places[i][1]]))
                .filter(|&d| d > 0.0)
                .fold(f64::INFINITY, f64::min);
            // Only what is nearer than a cell's side is certain to be the nearest.
            let certain = nearest <= side;
            if certain {
                found[i] = nearest;
            }
            !certain
        });
        side *= 2.0;
    }
    found
}

/// Places sorted into square cells.
struct Cells {
    side: f64,
    cells: HashMap<(i64, i64), Vec<usize>>,
}

impl Cells {
    fn new(places: &[[f64; 2]], side: f64) -> Cells {
        let mut cells: HashMap<(i64, i64), Vec<usize>> = HashMap::new();
        for (i, &at) in places.iter().enumerate() {
            cells.entry(Cells::key(at, side)).or_default().push(i);
        }
        Cells { side, cells }
    }

    fn key(at: [f64; 2], side: f64) -> (i64, i64) {
        ((at[0] / side).floor() as i64, (at[1] / side).floor() as i64)
    }

    /// Indices of the places in the cell of a place and the eight around it.
    fn near(&self, at: [f64; 2]) -> impl Iterator<Item = usize> + '_ {
        let (x, y) = Cells::key(at, self.side);
        (-1..=1)
            .flat_map(move |dx| (-1..=1).map(move |dy| (x + dx, y + dy)))
            .filter_map(|key| self.cells.get(&key))
            .flatten()
            .copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pixels::package::Package;
    use crate::quantity::Millimetres;
    use std::sync::Arc;

    fn pixels(places: &[[f64; 2]]) -> Vec<Pixel> {
        let package = Arc::new(Package::ideal(1.0));
        places
            .iter()
            .map(|at| Pixel {
                at: at.map(Millimetres),
                turn_rad: 0.0,
                package: Arc::clone(&package),
                levels: vec![1.0],
                group: 0,
                extra_gap: Millimetres(0.0),
            })
            .collect()
    }

    #[test]
    fn a_strip_becomes_a_line() {
        let strip: Vec<[f64; 2]> = (0..5).map(|i| [10.0 * f64::from(i), 3.0]).collect();
        let found = neighbourhood(&pixels(&strip));
        assert_eq!(found.pitch_mm, Some(10.0));
        let mut xs: Vec<f64> = found.even.iter().flatten().map(|p| p.at[0]).collect();
        assert!(found.even.iter().flatten().all(|p| p.at[1] == 3.0));
        xs.sort_by(f64::total_cmp);
        // Evenly spaced from half a pitch before the first to half a pitch beyond the last.
        let step = 10.0 / ALONG as f64;
        for (i, x) in xs.iter().enumerate() {
            assert!((x - (-5.0 + step * (i as f64 + 0.5))).abs() < 1e-9, "{i}: {x}");
        }
        let beyond = found.even.iter().flatten().filter(|p| !p.between);
        assert!(beyond.clone().all(|p| p.at[0] < 0.0 || p.at[0] > 40.0));
        assert_eq!(beyond.count(), ALONG);
    }

    #[test]
    fn a_grid_becomes_a_sheet() {
        let grid: Vec<[f64; 2]> =
            (0..6).flat_map(|i| (0..5).map(move |j| [8.0 * f64::from(i), 8.0 * f64::from(j)])).collect();
        let found = neighbourhood(&pixels(&grid));
        assert_eq!(found.pitch_mm, Some(8.0));
        // Every cell of a lattice of 8 mm / 6 holds one place of the same share.
        let mut seen: Vec<(i64, i64)> = found
            .even
            .iter()
            .flatten()
            .map(|p| ((p.at[0] * 6.0 / 8.0).floor() as i64, (p.at[1] * 6.0 / 8.0).floor() as i64))
            .collect();
        let count = seen.len();
        assert_eq!(count, 30 * ACROSS * ACROSS);
        seen.sort_unstable();
        seen.dedup();
        assert_eq!(seen.len(), count, "two places in one cell");
    }

    /// Light, its first moments and its second ones (xx, xy, yy).
    fn moments(light: &[([f64; 2], f64)]) -> [f64; 6] {
        let sum = |of: &dyn Fn([f64; 2]) -> f64| light.iter().map(|(at, amount)| amount * of(*at)).sum();
        [
            sum(&|_| 1.0),
            sum(&|at| at[0]),
            sum(&|at| at[1]),
            sum(&|at| at[0] * at[0]),
            sum(&|at| at[0] * at[1]),
            sum(&|at| at[1] * at[1]),
        ]
    }

    #[test]
    fn drawing_out_keeps_light_means_and_mean_squares_of_any_levels() {
        /// Of the sum of sizes: rounding.
        const ROUNDING: f64 = 1e-12;
        let strip: Vec<[f64; 2]> = (0..7).map(|i| [10.0 * f64::from(i), 3.0]).collect();
        let grid: Vec<[f64; 2]> =
            (0..6).flat_map(|i| (0..5).map(move |j| [8.0 * f64::from(i), 8.0 * f64::from(j)])).collect();
        for places in [strip, grid] {
            let found = neighbourhood(&pixels(&places));
            for step in [0, 3, 5] {
                let levels: Vec<f64> = (0..places.len()).map(|i| ((step * i) % 7) as f64 + 1.0).collect();
                let real: Vec<([f64; 2], f64)> = places.iter().copied().zip(levels.iter().copied()).collect();
                let (real, even) = (moments(&real), moments(&found.spread(&levels, |_| [0.0; 2])));
                for (i, (real, even)) in real.iter().zip(even).enumerate() {
                    assert!((real - even).abs() < ROUNDING * real, "step {step}, moment {i}: {real} {even}");
                }
            }
        }
    }

    #[test]
    fn between_equal_pixels_the_line_is_as_bright_everywhere() {
        let strip: Vec<[f64; 2]> = (0..9).map(|i| [10.0 * f64::from(i), 0.0]).collect();
        let found = neighbourhood(&pixels(&strip));
        let light = found.spread(&[2.0; 9], |_| [1.0, -2.0]);
        let inner: Vec<_> = light.iter().filter(|(at, _)| (6.0..76.0).contains(&at[0])).collect();
        assert_eq!(inner.len(), 7 * ALONG);
        for (at, amount) in inner {
            assert_eq!(at[1], -2.0);
            assert!((amount - 2.0 / ALONG as f64).abs() < 1e-12, "{at:?}: {amount}");
        }
        // What lies beyond the ends is taken from the dark.
        let beyond = light.iter().filter(|(at, _)| at[0] < -4.0 || at[0] > 86.0);
        let share = beyond.map(|(_, amount)| amount).sum::<f64>() / 2.0;
        assert!((share + 2.0 * found.sides[0].given).abs() < 1e-12, "{share}");
    }

    #[test]
    fn a_ring_becomes_a_circle_and_a_lonely_pixel_stays() {
        let ring: Vec<[f64; 2]> = (0..16)
            .map(|i| {
                let angle = std::f64::consts::TAU * f64::from(i) / 16.0;
                [30.0 * angle.cos(), 30.0 * angle.sin()]
            })
            .collect();
        let found = neighbourhood(&pixels(&ring));
        // A parabola through three points of a circle, delta apart, leaves it by R t^2 (1 - t^2) delta^4 / 8: 17 micrometres at
        // t = 1/2.
        for place in found.even.iter().flatten() {
            assert!(place.between);
            assert!((length(place.at) - 30.0).abs() < 0.02, "{place:?}");
        }
        let alone = neighbourhood(&pixels(&[[1.0, 2.0]]));
        assert_eq!(alone.pitch_mm, None);
        assert_eq!(alone.even, [[EvenPlace { at: [1.0, 2.0], share: 1.0, between: true }]]);
    }

    #[test]
    fn a_hundred_thousand_pixels_are_no_trouble() {
        let many: Vec<[f64; 2]> =
            (0..100_000).map(|i| [f64::from(i % 400) * 5.0, f64::from(i / 400) * 5.0]).collect();
        let found = neighbourhood(&pixels(&many));
        assert_eq!(found.pitch_mm, Some(5.0));
    }
}
