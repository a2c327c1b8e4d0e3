//! Looks closely at one bright place: its middle, width, roundness, and whether it is a spot at all.
//!
//! # Model
//! A spot is round about its middle and falls off from it. The middle is where the odd part of the light about it is smallest, a
//! slope of the background apart: with `A(d) = L(c + d) - L(c - d)` and g the odd part of the gradient,
//!
//! ```text
//! A(d) = -2 e . g(d) + 2 b . d
//! ```
//!
//! is solved for the error e of the middle and the slope b by weighted least squares, and c moved by e until it rests. Pairs
//! with a clipped member are left out, so that a clipped core does no harm; what pulls at one side loses its weight.
//!
//! Width and peak come from the medians of rings. Where the core is clipped, the logarithm of the unclipped part is continued
//! inwards as `a + b r^2 + c r^4`.
//!
//! # Validity
//! A slope that multiplies (the lens darkens the corners) cannot be told from a shift, and is none for a Gaussian spot: the middle is
//! then where the light is symmetric, a percent of the half width or so from where the pixel is, which is what means over rings
//! need. Spots at least some three pixels wide. Places are means over blocks of a tenth of the width.
//!
//! # Source
//! Elementary; weights by Huber (1964) and Tukey's biweight, from memory.

mod middle;
mod profile;

use super::cells::Cells;
use super::decode::Photo;
use super::find::Spot;
use middle::middle;
use profile::{Profile, outline};

/// Blocks across the half width.
const BLOCKS_A_HALF_WIDTH: f64 = 10.0;
/// Half widths that are looked at around the middle.
const REACH_HALF_WIDTHS: f64 = 3.5;
/// Half widths in which the middle is sought.
const MIDDLE_HALF_WIDTHS: f64 = 2.0;
/// A patch whose light is so concentrated is the sensor's grain.
const LEAST_HALF_WIDTH_PX: f64 = 1.2;
/// Share of the variance within two half widths that a function of the radius must tell of a spot.
const LEAST_TOLD: f64 = 0.75;
/// Short over long axis of a spot at least: a camera held 60 degrees askew sees 0.5.
const LEAST_ROUNDNESS: f64 = 0.45;
/// Root mean square of the outline's departure from an ellipse, over its radius: a square has 0.06, writing far more.
const MOST_RAGGED: f64 = 0.2;

/// What a bright place is.
pub(super) enum Look {
    /// A round patch of light.
    Spot(Spot),
    /// Bright, but no spot.
    Other(Spot),
    /// A single pixel gone wrong.
    Grain,
    /// Too little of it can be seen to say: cut off by the picture's edge, or too near to others.
    Unclear,
}

/// Looks at the bright place near `place` whose half width is about `half_width` px. `background` R, G, B is its surrounding's
/// light; `free` is the distance in px to the nearest other bright place.
pub(super) fn look(photo: &Photo, place: [f64; 2], half_width: f64, background: [f64; 3], free: f64) -> Look {
    /// Looks at a place at most: the width found first tells how closely to look.
    const LOOKS: usize = 4;
    /// A width that changes by less needs no further look.
    const SETTLED: f64 = 0.25;
    let mut place = place;
    let mut half_width = half_width;
    for left in (0..LOOKS).rev() {
        let Some(seen) = seen(photo, place, half_width, background, free) else { return Look::Unclear };
        let change = (seen.spot.half_width_px / half_width).ln().abs();
        if change < SETTLED || left == 0 {
            return seen.judged();
        }
        let moved = (seen.spot.centre_px[0] - place[0]).hypot(seen.spot.centre_px[1] - place[1]);
        if moved < 3.0 * half_width {
            place = seen.spot.centre_px;
        }
        half_width = seen.spot.half_width_px.clamp(half_width / 8.0, half_width * 3.0);
        if half_width < LEAST_HALF_WIDTH_PX / 2.0 {
            return Look::Grain;
        }
    }
    Look::Unclear
}

struct Seen {
    spot: Spot,
    told: f64,
    ragged: f64,
}

impl Seen {
    fn judged(self) -> Look {
        if self.spot.half_width_px < LEAST_HALF_WIDTH_PX {
            return Look::Grain;
        }
        let round = self.spot.roundness >= LEAST_ROUNDNESS && self.ragged <= MOST_RAGGED;
        if round && self.told >= LEAST_TOLD { Look::Spot(self.spot) } else { Look::Other(self.spot) }
    }
}

/// Whether what stands out within `reach` px of a place is a single pixel gone wrong: few pixels are brighter than half of the brightest, and
/// around them it is dark.
pub(super) fn is_grain(photo: &Photo, place: [f64; 2], reach: f64, background: f64) -> bool {
    /// Pixels that one becomes by demosaicing and JPEG, brighter than half of the brightest.
    const MOST: usize = 5;
    /// Share of the brightest that is dark.
    const DARK: f64 = 0.2;
    let span = |middle: f64, reach: f64, end: usize| {
        let from = (middle - reach).clamp(0.0, (end - 1) as f64) as usize;
        from..=(middle + reach).clamp(0.0, (end - 1) as f64) as usize
    };
    let around = |[x, y]: [f64; 2], reach: f64| {
        span(y, reach, photo.height).flat_map(move |row| {
            span(x, reach, photo.width).map(move |column| {
                let light = photo.linear(column, row).iter().sum::<f64>() / 3.0 - background;
                (light, (column as f64 - x).hypot(row as f64 - y), [column as f64, row as f64])
            })
        })
    };
    let Some((highest, _, at)) = around(place, reach).max_by(|a, b| a.0.total_cmp(&b.0)) else {
        return false;
    };
    let bright = around(at, 3.0).filter(|(light, _, _)| *light > 0.5 * highest).count();
    let ring = around(at, 5.0).filter(|(_, distance, _)| *distance > 3.0);
    let mut ring: Vec<f64> = ring.map(|(light, _, _)| light).collect();
    bright <= MOST && super::cells::quantile(&mut ring, 0.5) < DARK * highest
}

fn seen(photo: &Photo, place: [f64; 2], half_width: f64, background: [f64; 3], free: f64) -> Option<Seen> {
    let size = ((half_width / BLOCKS_A_HALF_WIDTH) as usize).max(1);
    let reach = (REACH_HALF_WIDTHS * half_width / size as f64).ceil() as usize + 2;
    let cells = Cells::around(photo, place, size, reach);
    let weights = channels(&cells, background, half_width / size as f64);
    let level = (0..3).map(|c| weights[c] * background[c]).sum::<f64>() / weights.iter().sum::<f64>();
    let open = cells.grid(weights, true);
    let all = cells.grid(weights, false);
    let scale = size as f64;
    let start = [reach as f64, reach as f64];
    let within = (MIDDLE_HALF_WIDTHS * half_width).min(0.6 * free) / scale;
    let least = 0.1 * photo.step_at(level);
    let found = middle(&open, start, within.max(3.0), least);
    let apart = (found[0] - start[0]).hypot(found[1] - start[1]) * scale;
    // A middle that runs away belongs to something else.
    let found = if apart > 2.0 * half_width { start } else { found };
    let profile = Profile::new(&open, &all, found, level)?;
    let half = profile.half_width()?;
    let outline = outline(&all, found, level, &profile, half, free / scale)?;
    let centre_px = cells.place(found[0], found[1]);
    let (clipped_px, clipped_radius_px) = clipped_core(photo, centre_px, 1.5 * half * scale);
    let inner = (0.2 * half).max(0.8);
    let peak = std::array::from_fn(|c| {
        let mut one = [0.0; 3];
        one[c] = 1.0;
        mean_within(&cells.grid(one, false), found, inner) - background[c]
    });
    let [right, down] = [(photo.width - 1) as f64 - centre_px[0], (photo.height - 1) as f64 - centre_px[1]];
    let nearest_edge_px = centre_px[0].min(centre_px[1]).min(right).min(down);
    let told = told(&all, found, &profile, (2.0 * half).min(0.5 * free / scale).max(half));
    let spot = Spot {
        centre_px,
        half_width_px: half * scale,
        peak,
        clipped_px,
        clipped_radius_px,
        roundness: outline.roundness,
        long_axis_rad: outline.long_axis_rad,
        nearest_edge_px,
    };
    Some(Seen { spot, told, ragged: outline.ragged })
}

/// Weights of the channels: those that are not clipped near the middle, unless they see next to nothing.
fn channels(cells: &Cells, background: [f64; 3], half_width: f64) -> [f64; 3] {
    /// An unclipped channel is used where its peak is this share of the highest at least.
    const ENOUGH: f64 = 0.2;
    let middle = [(cells.columns / 2) as f64, (cells.rows / 2) as f64];
    let near = |i: usize| {
        let d = [(i % cells.columns) as f64 - middle[0], (i / cells.columns) as f64 - middle[1]];
        d[0].hypot(d[1]) <= 1.5 * half_width
    };
    let mut highest = [0.0_f64; 3];
    let mut clipped = [false; 3];
    for cell in (0..cells.cells.len()).filter(|i| near(*i)).map(|i| &cells.cells[i]) {
        for c in 0..3 {
            highest[c] = highest[c].max(cell.light[c] - background[c]);
            clipped[c] |= cell.clipped[c] > 0;
        }
    }
    let most = highest.iter().fold(0.0_f64, |a, b| a.max(*b));
    let good: [f64; 3] = std::array::from_fn(|c| f64::from(!clipped[c] && highest[c] >= ENOUGH * most));
    if good.iter().sum::<f64>() > 0.0 { good } else { [1.0; 3] }
}

fn mean_within(grid: &super::cells::Grid, [x, y]: [f64; 2], radius: f64) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for row in (y - radius).floor() as i64..=(y + radius).ceil() as i64 {
        for column in (x - radius).floor() as i64..=(x + radius).ceil() as i64 {
            let value = grid.get(column, row);
            if value.is_finite() && (column as f64 - x).hypot(row as f64 - y) <= radius {
                sum += value;
                count += 1.0;
            }
        }
    }
    if count > 0.0 { sum / count } else { grid.between(x, y) }
}

/// Share of the variance within a radius that the medians of the rings tell.
fn told(grid: &super::cells::Grid, middle: [f64; 2], profile: &Profile, radius: f64) -> f64 {
    let mut values = Vec::new();
    for (i, value) in grid.values.iter().enumerate() {
        let d = [(i % grid.columns) as f64 - middle[0], (i / grid.columns) as f64 - middle[1]];
        let r = d[0].hypot(d[1]);
        if value.is_finite() && r <= radius {
            values.push((*value, profile.seen_at(r)));
        }
    }
    let mean = values.iter().map(|(v, _)| v).sum::<f64>() / values.len().max(1) as f64;
    let left: f64 = values.iter().map(|(v, ring)| (v - ring).powi(2)).sum();
    let all: f64 = values.iter().map(|(v, _)| (v - mean).powi(2)).sum();
    if all > 0.0 { 1.0 - left / all } else { 0.0 }
}

/// Clipped pixels (any channel) within a radius of the middle, and the radius that holds nearly all of them.
fn clipped_core(photo: &Photo, [x, y]: [f64; 2], radius: f64) -> (usize, f64) {
    /// Share of the clipped pixels that the stated radius holds: single ones further out are noise.
    const HELD: f64 = 0.98;
    let span = |middle: f64, end: usize| {
        let from = (middle - radius).clamp(0.0, end as f64) as usize;
        from..(middle + radius + 1.0).clamp(0.0, end as f64) as usize
    };
    let mut distances = Vec::new();
    for row in span(y, photo.height) {
        for column in span(x, photo.width) {
            let distance = (column as f64 - x).hypot(row as f64 - y);
            if distance <= radius && photo.clipped(column, row).contains(&true) {
                distances.push(distance);
            }
        }
    }
    let held = if distances.is_empty() { 0.0 } else { super::cells::quantile(&mut distances, HELD) + 0.5 };
    (distances.len(), held)
}
