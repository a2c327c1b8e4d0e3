//! From a decoded photograph to means over rings in millimetres, and to the camera's answer from the bare pixel.
//!
//! **Model.** The innermost ring holds the pixel's window and what the lens makes of it; the rings outside grow with the distance, fine
//! where the spot bends, wide where it fades. A bare pixel of unit flux sends `(m + 1) / (2 pi)` straight ahead, all of it from its
//! window, so the light of its image (value times area) over that is the camera's answer, however blurred the image is.
//! **Assumptions.** The camera looks straight on; its distance is large against the spot; all photographs have the same scale unless told.

use super::core_light::core_light;
use super::decode::Photo;
use super::find::{FindError, Found, Spot, spots};
use super::fit::unknowns::COLOURS;
use super::rings::{Rings, rings};
use rayon::prelude::*;
use std::f64::consts::PI;
use thiserror::Error;

/// How many millimetres a pixel of the photograph is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scale {
    /// Stated.
    MmPerPx(f64),
    /// Two places in the upright picture (x to the right, y downwards, in pixels) and their distance in mm.
    Points {
        /// One place.
        from: [f64; 2],
        /// The other.
        to: [f64; 2],
        /// Their distance in mm.
        mm: f64,
    },
    /// Distance of neighbouring lit pixels in mm.
    Pitch(f64),
}

impl Scale {
    /// Relative standard uncertainty: of two points from clicking them within two pixels, of a stated scale or a pitch about what
    /// a careful maker reaches (common practice, no source).
    #[must_use]
    pub fn sure(self) -> f64 {
        const STATED: f64 = 0.01;
        const PITCH: f64 = 0.007;
        const CLICK_PX: f64 = 2.0;
        match self {
            Scale::MmPerPx(_) => STATED,
            Scale::Points { from, to, .. } => CLICK_PX / distance(from, to).max(1.0) + 0.5 * STATED,
            Scale::Pitch(_) => PITCH,
        }
    }
}

/// What the photograph is expected to show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Lit pixels; `None`: one, or with a pitch as many as are found.
    pub pixels: Option<usize>,
    /// From the board to the outer face of the cloth in mm.
    pub height_mm: f64,
    /// Radius of the pixel's window in mm.
    pub window_mm: f64,
}

/// A photograph, measured.
#[derive(Clone, Debug)]
pub struct Measured {
    /// What was found in it.
    pub found: Found,
    /// Its scale.
    pub mm_per_px: f64,
    /// Middles of the lit pixels in pixels, the brightest first.
    pub centres_px: Vec<[f64; 2]>,
    /// Half of the picture's diagonal in mm.
    pub half_diagonal_mm: f64,
    /// Means over rings.
    pub rings: Rings,
}

impl Measured {
    /// Middles in mm from the first of them, y upwards.
    #[must_use]
    pub fn centres_mm(&self) -> Vec<[f64; 2]> {
        let [x, y] = self.centres_px[0];
        self.centres_px.iter().map(|c| [(c[0] - x) * self.mm_per_px, (y - c[1]) * self.mm_per_px]).collect()
    }
}

/// Why a photograph cannot be measured.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum MeasureError {
    /// No spot.
    #[error(transparent)]
    Find(#[from] FindError),
    /// Another number of spots than expected.
    #[error("{found} bright spots instead of {expected}")]
    Count {
        /// Spots found.
        found: usize,
        /// Spots expected.
        expected: usize,
        /// Their middles in pixels.
        places_px: Vec<[f64; 2]>,
    },
    /// A pitch needs two spots.
    #[error("a pitch needs two lit pixels, and the picture shows one")]
    OneForPitch,
    /// The two points of the scale are too near each other or outside the picture.
    #[error("the two points of the scale are {apart_px:.0} pixels apart")]
    Points {
        /// Their distance in pixels.
        apart_px: f64,
    },
    /// A point of the scale lies outside the picture.
    #[error("a point of the scale lies outside the picture of {width} by {height} pixels")]
    Outside {
        /// Width of the upright picture.
        width: usize,
        /// Its height.
        height: usize,
    },
    /// The scale makes the picture too small or too large.
    #[error(
        "at this scale the whole picture shows {width_mm:.2} mm in width, and the cloth lies {height_mm:.1} mm above the board"
    )]
    Size {
        /// Width of the picture in mm.
        width_mm: f64,
        /// Height of the cloth in mm.
        height_mm: f64,
    },
    /// Nothing in the picture is as bright as a bare pixel.
    #[error("no bare lit pixel stands out in the picture")]
    BareNotSeen,
    /// The bare pixel's image reaches the edge of the picture.
    #[error("the bare pixel is cut off by the edge of the picture")]
    CutOff,
}

/// Fewest pixels between the points of a scale: two pixels of clicking are then 10 percent.
const LEAST_POINTS_PX: f64 = 20.0;
/// A spot that is at least so bright against the brightest counts as a lit pixel of its own.
const AS_BRIGHT: f64 = 0.25;

/// Measures a photograph of lit pixels behind cloth.
///
/// # Errors
/// When no spot is found, or not as many as expected, or the scale does not fit the picture.
pub fn measure(photo: &Photo, scale: Scale, expected: Expected) -> Result<Measured, MeasureError> {
    let found = spots(photo)?;
    let lit = lit(&found);
    let wanted = match (expected.pixels, scale) {
        (Some(count), _) => count,
        (None, Scale::Pitch(_)) => lit.len(),
        (None, _) => 1,
    };
    if lit.len() != wanted {
        let places_px = lit.iter().map(|spot| spot.centre_px).collect();
        return Err(MeasureError::Count { found: lit.len(), expected: wanted, places_px });
    }
    let centres_px: Vec<[f64; 2]> = lit.iter().map(|spot| spot.centre_px).collect();
    let mm_per_px = mm_per_px(photo, scale, &centres_px)?;
    let width_mm = mm_per_px * photo.width.max(photo.height) as f64;
    // From a fifth of the height (no course of the spot is in the picture) to a thousand times (it is a speck).
    if !(0.2..1000.0).contains(&(width_mm / expected.height_mm.max(1.0))) {
        return Err(MeasureError::Size { width_mm, height_mm: expected.height_mm });
    }
    let farthest_mm = mm_per_px * farthest_px(photo, centres_px[0]);
    let edges = ring_edges(expected, mm_per_px, farthest_mm);
    let rings = rings(photo, mm_per_px, &centres_px, &edges);
    let half_diagonal_mm = 0.5 * mm_per_px * f64::hypot(photo.width as f64, photo.height as f64);
    Ok(Measured { found, mm_per_px, centres_px, half_diagonal_mm, rings })
}

fn lit(found: &Found) -> Vec<&Spot> {
    let height = |spot: &Spot| spot.peak.iter().sum::<f64>();
    let brightest = found.spots.first().map_or(0.0, height);
    found.spots.iter().filter(|spot| height(spot) >= AS_BRIGHT * brightest).collect()
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    f64::hypot(a[0] - b[0], a[1] - b[1])
}

fn mm_per_px(photo: &Photo, scale: Scale, centres_px: &[[f64; 2]]) -> Result<f64, MeasureError> {
    match scale {
        Scale::MmPerPx(value) => Ok(value),
        Scale::Points { from, to, mm } => {
            let inside = |p: [f64; 2]| {
                (0.0..=photo.width as f64).contains(&p[0]) && (0.0..=photo.height as f64).contains(&p[1])
            };
            if !inside(from) || !inside(to) {
                return Err(MeasureError::Outside { width: photo.width, height: photo.height });
            }
            let apart_px = distance(from, to);
            if apart_px < LEAST_POINTS_PX {
                return Err(MeasureError::Points { apart_px });
            }
            Ok(mm / apart_px)
        }
        Scale::Pitch(mm) => {
            let nearest = |i: usize| {
                let others = centres_px.iter().enumerate().filter(|(j, _)| *j != i);
                others.map(|(_, c)| distance(centres_px[i], *c)).fold(f64::INFINITY, f64::min)
            };
            let mut apart: Vec<f64> = (0..centres_px.len()).map(nearest).collect();
            apart.sort_by(f64::total_cmp);
            match apart.get(apart.len() / 2) {
                Some(px) if px.is_finite() => Ok(mm / px),
                _ => Err(MeasureError::OneForPitch),
            }
        }
    }
}

fn farthest_px(photo: &Photo, centre: [f64; 2]) -> f64 {
    let (w, h) = (photo.width as f64, photo.height as f64);
    [[0.0, 0.0], [w, 0.0], [0.0, h], [w, h]]
        .map(|corner| distance(corner, centre))
        .into_iter()
        .fold(0.0, f64::max)
}

/// Edges of the rings in mm: the window with a margin for the lens, then widths of a twelfth of the height that grow.
fn ring_edges(expected: Expected, mm_per_px: f64, farthest_mm: f64) -> Vec<f64> {
    /// Margin around the window for blur and blooming, in pixels.
    const MARGIN_PX: f64 = 5.0;
    /// Width of a ring over the height of the cloth, and at least so many pixels.
    const WIDTH: f64 = 1.0 / 12.0;
    const LEAST_WIDTH_PX: f64 = 1.5;
    /// Widths grow by so much of the distance.
    const GROWTH: f64 = 0.08;
    /// So many heights away less than 1e-3 of the peak is left.
    const REACH: f64 = 8.0;
    let core = expected.window_mm + MARGIN_PX * mm_per_px;
    let end = (REACH * expected.height_mm + core).min(farthest_mm);
    let mut edges = vec![0.0, core];
    let mut last = core;
    while last < end {
        last += (WIDTH * expected.height_mm + GROWTH * (last - core)).max(LEAST_WIDTH_PX * mm_per_px);
        edges.push(last);
    }
    edges
}

/// One photograph of the bare pixel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BareLight {
    /// The camera's answer by channel at exposure 1, and its standard error.
    pub answer: [(f64, f64); COLOURS],
    /// Which channels are clipped: their answer is a lower limit.
    pub clipped: [bool; COLOURS],
}

/// The camera's answer from a photograph of the bare pixel with this exposure and beam.
///
/// # Errors
/// When no pixel is found, or the picture cuts it off.
pub fn measure_bare(
    photo: &Photo,
    mm_per_px: f64,
    exposure: f64,
    beam_power: f64,
    window_mm: f64,
) -> Result<BareLight, MeasureError> {
    /// The image is followed this far beyond the window, in windows and in pixels: blur and glare of the lens.
    const AROUND: f64 = 1.5;
    const AROUND_PX: f64 = 12.0;
    let radius = window_mm + (AROUND * window_mm).max(AROUND_PX * mm_per_px);
    let ahead = (beam_power + 1.0) / (2.0 * PI);
    let window_px = (window_mm / mm_per_px).max(2.0);
    let centre = brightest(photo, window_px).ok_or(MeasureError::BareNotSeen)?;
    let light = core_light(photo, mm_per_px, centre, radius).ok_or(MeasureError::CutOff)?;
    let per = 1.0 / (exposure * ahead);
    Ok(BareLight {
        answer: light.map(|channel| (channel.light_mm2 * per, channel.standard_error_mm2 * per)),
        clipped: light.map(|channel| channel.clipped),
    })
}

/// Middle in pixels of the brightest patch of about this radius: a bare window is flat and sharp-edged, no spot. `None` where
/// nothing is far brighter than the rest.
fn brightest(photo: &Photo, radius_px: f64) -> Option<[f64; 2]> {
    /// A lit window is so many times as bright as the middle of all patches, and at least so many codes of 8 bits brighter.
    const OVER_REST: f64 = 3.0;
    const OVER_BLACK: f64 = 0.004;
    /// The centroid of what is brighter than half, taken again around itself.
    const ROUNDS: usize = 4;
    let light = |x: usize, y: usize| photo.linear(x, y).iter().sum::<f64>();
    let side = (radius_px as usize).clamp(2, 64);
    let (columns, rows) = (photo.width / side, photo.height / side);
    let mut patches: Vec<(f64, [f64; 2])> = (0..rows)
        .into_par_iter()
        .flat_map_iter(|row| (0..columns).map(move |column| (column, row)))
        .map(|(column, row)| {
            let pixels = (0..side * side).map(|i| light(column * side + i % side, row * side + i / side));
            let middle = |i: usize| (i * side) as f64 + 0.5 * (side - 1) as f64;
            (pixels.sum::<f64>() / (side * side) as f64, [middle(column), middle(row)])
        })
        .collect();
    patches.sort_by(|a, b| b.0.total_cmp(&a.0));
    let (highest, mut centre) = *patches.first()?;
    let usual = patches[patches.len() / 2].0;
    if highest < OVER_REST * usual + OVER_BLACK {
        return None;
    }
    let half = 0.5 * (highest + usual);
    for _ in 0..ROUNDS {
        let span = |middle: f64, end: usize| {
            let reach = 2.0 * radius_px + side as f64;
            let from = (middle - reach).max(0.0) as usize;
            from..(((middle + reach).max(0.0) as usize) + 1).min(end)
        };
        let mut sum = [0.0; 3];
        for y in span(centre[1], photo.height) {
            for x in span(centre[0], photo.width) {
                if light(x, y) > half {
                    sum[0] += x as f64;
                    sum[1] += y as f64;
                    sum[2] += 1.0;
                }
            }
        }
        if sum[2] == 0.0 {
            break;
        }
        centre = [sum[0] / sum[2], sum[1] / sum[2]];
    }
    Some(centre)
}

/// The answers of several photographs of the bare pixel together.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// Answer and relative standard uncertainty by channel; `None` where every photograph is clipped or dark.
    pub channels: [Option<(f64, f64)>; COLOURS],
    /// Largest ratio between the answers of two photographs, less 1: how far the camera is from proportional to light.
    pub disagreement: f64,
    /// Photographs of which a channel was clipped.
    pub clipped: usize,
}

/// Joins photographs of the bare pixel. `sure` is the relative uncertainty that stays whatever their number.
#[must_use]
pub fn joined(bare: &[BareLight], sure: f64) -> Answer {
    /// An answer that its noise leaves less certain than this tells nothing.
    const WORST: f64 = 0.3;
    let mut disagreement: f64 = 0.0;
    let channels = std::array::from_fn(|c| {
        let good: Vec<(f64, f64)> = bare
            .iter()
            .filter(|b| !b.clipped[c] && b.answer[c].0 > 0.0 && b.answer[c].1 < WORST * b.answer[c].0)
            .map(|b| b.answer[c])
            .collect();
        let values = good.iter().map(|g| g.0);
        let (low, high) = (values.clone().fold(f64::INFINITY, f64::min), values.fold(0.0, f64::max));
        if good.len() > 1 {
            disagreement = disagreement.max(high / low - 1.0);
        }
        // Each photograph also has what is common to all its values: 1 percent keeps one good one from ruling alone.
        let weight = |g: &(f64, f64)| 1.0 / (g.1.powi(2) + (0.01 * g.0).powi(2));
        let total: f64 = good.iter().map(weight).sum();
        let mean = good.iter().map(|g| g.0 * weight(g)).sum::<f64>() / total;
        (!good.is_empty()).then(|| (mean, (total.sqrt().recip() / mean).hypot(sure)))
    });
    Answer { channels, disagreement, clipped: bare.iter().filter(|b| b.clipped.contains(&true)).count() }
}
