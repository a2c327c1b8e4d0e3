//! Finds the lit spots of a photograph.
//!
//! # Model
//! On means over blocks (320 along the longer side at most): the background is a plane through the darker parts, the noise
//! comes from differences of blocks near by. Every block that stands out, with a dip between it and all that is brighter,
//! is looked at closely in the full picture: round things that fall off from their middle are spots,
//! others (a window, a lamp, writing) are set apart, single pixels gone wrong are dropped.
//!
//! # Validity
//! Spots at least some three pixels wide and not wider than about a third of the picture. Two spots without a dip between
//! them count as one that is not round.
//!
//! # Source
//! Robust statistics (median absolute deviation x 1.4826), flooding from the top by joining sets: elementary.

mod background;
mod peaks;

use super::cells::Cells;
use super::decode::Photo;
use super::spot::{Look, is_grain, look};
use background::{Ground, ground};
use peaks::{Peak, StandingOut, peaks};
use thiserror::Error;

/// Blocks along the longer side of the picture at most.
const MOST_BLOCKS: usize = 320;
/// Bright places that are looked at closely at most, the highest first.
const MOST_LOOKS: usize = 160;
/// Share of clipped pixels above which the picture is of no use.
const WASHED: f64 = 0.3;
/// Places below this share of the highest spot's peak are not told.
const FAINT: f64 = 0.05;

/// A round patch of light.
#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    /// Its middle in pixels, `[x, y]`; the middle of the upper left pixel is `[0, 0]`.
    pub centre_px: [f64; 2],
    /// Radius in pixels at which the light is half of the peak above the background. Where the core is clipped the peak is
    /// taken from the course outside it.
    pub half_width_px: f64,
    /// Peak R, G, B above the background, linear 0 to 1; where [`Spot::clipped_px`] is not 0, a lower limit.
    pub peak: [f64; 3],
    /// Pixels of the core with a clipped channel.
    pub clipped_px: usize,
    /// Radius in pixels that holds them.
    pub clipped_radius_px: f64,
    /// Short over long axis of the outline at half of the peak (further out if that is clipped): 1 is round.
    pub roundness: f64,
    /// Direction of the long axis in radians, from x to the right, turning upwards, 0 to pi.
    pub long_axis_rad: f64,
    /// Pixels from the middle to the picture's nearest edge.
    pub nearest_edge_px: f64,
}

impl Spot {
    /// Mean of the peak's three channels.
    #[must_use]
    pub fn brightness(&self) -> f64 {
        self.peak.iter().sum::<f64>() / 3.0
    }
}

/// What is lit in a photograph.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Spots, the brightest first; never empty.
    pub spots: Vec<Spot>,
    /// Bright things that are no spots (a window, a lamp, writing), the brightest first.
    pub others: Vec<Spot>,
    /// Background R, G, B at the brightest spot, linear 0 to 1.
    pub background: [f64; 3],
    /// Change of the background (mean of R, G, B) across the picture's width (to the right) and height (upwards), linear.
    pub background_slope: [f64; 2],
    /// Standard deviation of single pixels of the background, R, G, B, linear; at least that of rounding to codes.
    pub noise: [f64; 3],
}

/// Spots in a row.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Indices into [`Found::spots`] from one end of the row to the other, starting at the left end (at the lower one of an
    /// upright row).
    pub order: Vec<usize>,
    /// Mean distance of neighbours in pixels.
    pub pitch_px: f64,
    /// Largest distance of a middle from the straight line in pixels.
    pub off_line_px: f64,
}

impl Found {
    /// The spots as a row: those at least half as bright as the brightest, if they are two or more, on a line (to an eighth of
    /// their distance) and evenly spaced (to a quarter).
    #[must_use]
    pub fn row(&self) -> Option<Row> {
        let brightest = self.spots.first()?.brightness();
        let bright = |i: &usize| self.spots[*i].brightness() >= 0.5 * brightest;
        let mut order: Vec<usize> = (0..self.spots.len()).filter(bright).collect();
        if order.len() < 2 {
            return None;
        }
        let count = order.len() as f64;
        let places: Vec<[f64; 2]> = self.spots.iter().map(|spot| spot.centre_px).collect();
        let middle = [0, 1].map(|axis| order.iter().map(|i| places[*i][axis]).sum::<f64>() / count);
        let from = |i: usize| [places[i][0] - middle[0], places[i][1] - middle[1]];
        let moment = |a: usize, b: usize| order.iter().map(|i| from(*i)[a] * from(*i)[b]).sum::<f64>();
        let angle = 0.5 * (2.0 * moment(0, 1)).atan2(moment(0, 0) - moment(1, 1));
        // Rightwards, and upwards where the row is upright.
        let along = if angle > 0.49 * std::f64::consts::PI { angle - std::f64::consts::PI } else { angle };
        let (sin, cos) = along.sin_cos();
        let position = |i: usize| from(i)[0] * cos + from(i)[1] * sin;
        order.sort_by(|a, b| position(*a).total_cmp(&position(*b)));
        let gaps: Vec<f64> = order.windows(2).map(|w| position(w[1]) - position(w[0])).collect();
        let pitch_px = gaps.iter().sum::<f64>() / gaps.len() as f64;
        let off = |i: &usize| (from(*i)[1] * cos - from(*i)[0] * sin).abs();
        let off_line_px = order.iter().map(off).fold(0.0, f64::max);
        let even = gaps.iter().all(|gap| (gap - pitch_px).abs() <= 0.25 * pitch_px);
        (even && off_line_px <= pitch_px / 8.0).then_some(Row { order, pitch_px, off_line_px })
    }
}

/// Why no spot was found.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum FindError {
    /// One colour all over.
    #[error("the picture is one even colour: nothing lit is in it")]
    Even,
    /// Much of the picture is clipped.
    #[error(
        "{:.0} % of the picture is at the brightest value there is; take it in a dark room with a shorter exposure",
        100.0 * share
    )]
    Washed {
        /// Share of pixels with a clipped channel, 0 to 1.
        share: f64,
    },
    /// Nothing stands out.
    #[error(
        "nothing lit stands out: the most striking place is {signal_to_noise:.1} times as high as the noise, at least {LEAST_SIGNAL} \
         are needed; light the pixel, darken the room, expose longer"
    )]
    Nothing {
        /// Height of the most striking place over the noise of the averaged picture.
        signal_to_noise: f64,
    },
    /// Bright things, but none is a spot.
    #[error(
        "the picture has bright things ({things}), but none of them is a round spot of light; \
         one lit pixel behind the cloth should fill about a fifth of the picture's width, with nothing else lit"
    )]
    NoSpot {
        /// How many.
        things: usize,
    },
    /// Nothing stands out from the light that is all over the picture.
    #[error(
        "the picture is lit all over, and nothing stands out of it; if that is the pixel's glow, step back, so that the dark around it is in \
         the picture; if it is the light of the room, darken it"
    )]
    LitAllOver,
    /// The brightest place is cut off.
    #[error(
        "the brightest place is cut off by the picture's edge; put the lit pixel in the middle of the picture"
    )]
    AtEdge,
    /// Only single pixels.
    #[error(
        "nothing but single bright pixels, the sensor's own, is in the picture; light the pixel, expose longer"
    )]
    Grain,
}

/// Height over noise that a place must have; below, the largest of a hundred thousand blocks of noise might reach it.
pub const LEAST_SIGNAL: f64 = 8.0;

/// Finds the lit spots.
///
/// # Errors
/// See [`FindError`].
pub fn spots(photo: &Photo) -> Result<Found, FindError> {
    let cells = Cells::whole(photo, MOST_BLOCKS);
    refuse_hopeless(&cells)?;
    let ground = ground(photo, &cells).ok_or(FindError::Even)?;
    let (peaks, standing_out) = peaks(&cells, &ground);
    if peaks.is_empty() {
        return Err(match standing_out {
            StandingOut::OverNoise(signal_to_noise) => FindError::Nothing { signal_to_noise },
            StandingOut::LessThanTexture => FindError::LitAllOver,
        });
    }
    let Looked { mut spots, mut others, unclear } = looked_at(photo, &ground, &peaks, cells.size);
    let brightest_first =
        |list: &mut Vec<Spot>| list.sort_by(|a, b| b.brightness().total_cmp(&a.brightness()));
    brightest_first(&mut spots);
    brightest_first(&mut others);
    let lit_all_over = |spot: &Spot| ground.lit_all_over(photo, spot);
    if spots.iter().chain(&others).next().is_some_and(lit_all_over) && spots.len() <= 1 {
        return Err(FindError::LitAllOver);
    }
    let Some(first) = spots.first() else {
        let things = others.len() + unclear;
        return Err(match things {
            0 => FindError::Grain,
            1 if others.is_empty() && at_edge(photo, &peaks[0]) => FindError::AtEdge,
            _ => FindError::NoSpot { things },
        });
    };
    let least = FAINT * first.brightness();
    let background = ground.at(first.centre_px);
    spots.retain(|spot| spot.brightness() >= least);
    others.retain(|other| other.brightness() >= least);
    if round_by_chance(&spots, &others) {
        return Err(FindError::NoSpot { things: others.len() + spots.len() });
    }
    let background_slope = ground.slope_across(photo);
    Ok(Found { spots, others, background, background_slope, noise: ground.noise })
}

/// Writing and screens: a few of many bright things of a size are round. The marks of a ruler are smaller than a spot.
fn round_by_chance(spots: &[Spot], others: &[Spot]) -> bool {
    let of_a_kind = |other: &&Spot| {
        spots.iter().any(|spot| {
            other.half_width_px > 0.5 * spot.half_width_px && other.brightness() > 0.2 * spot.brightness()
        })
    };
    others.iter().filter(of_a_kind).count() > 3 * spots.len() + 4
}

fn refuse_hopeless(cells: &Cells) -> Result<(), FindError> {
    let (mut pixels, mut clipped) = (0.0, 0.0);
    for cell in &cells.cells {
        pixels += f64::from(cell.pixels);
        clipped += f64::from(*cell.clipped.iter().max().unwrap_or(&0));
    }
    let share = clipped / f64::max(pixels, 1.0);
    if share > WASHED { Err(FindError::Washed { share }) } else { Ok(()) }
}

/// Whether the edge cuts through a place.
fn at_edge(photo: &Photo, peak: &Peak) -> bool {
    let [x, y] = peak.place;
    let near = x.min(y).min(photo.width as f64 - x).min(photo.height as f64 - y);
    near < 1.5 * peak.half_width
}

/// What the close looks found.
#[derive(Default)]
struct Looked {
    spots: Vec<Spot>,
    others: Vec<Spot>,
    /// How many places could not be made out.
    unclear: usize,
}

/// Spots and others among the peaks, each thing once; `block` is the size in px of the blocks in which they were found.
fn looked_at(photo: &Photo, ground: &Ground, peaks: &[Peak], block: usize) -> Looked {
    let mut looked = Looked::default();
    for (i, peak) in peaks.iter().take(MOST_LOOKS).enumerate() {
        if is_grain(photo, peak.place, 1.5 * block as f64, ground.light_at(peak.place)) {
            continue;
        }
        let far = |p: &Peak| (p.place[0] - peak.place[0]).hypot(p.place[1] - peak.place[1]);
        // What is much fainter does not narrow the view.
        let rivals = peaks.iter().enumerate().filter(|(j, p)| *j != i && p.height > 0.2 * peak.height);
        let free = rivals.map(|(_, p)| far(p)).fold(f64::INFINITY, f64::min);
        let (list, thing) = match look(photo, peak.place, peak.half_width, ground.at(peak.place), free) {
            Look::Spot(spot) => (&mut looked.spots, spot),
            Look::Other(other) => (&mut looked.others, other),
            Look::Unclear => {
                looked.unclear += 1;
                continue;
            }
            Look::Grain => continue,
        };
        if thing.brightness() > ground.least_peak() {
            list.push(thing);
        }
    }
    looked.each_once();
    looked
}

impl Looked {
    /// Drops what lies on a spot, or on an earlier one of its list.
    fn each_once(&mut self) {
        let on = |a: &Spot, b: &Spot| {
            let apart = (a.centre_px[0] - b.centre_px[0]).hypot(a.centre_px[1] - b.centre_px[1]);
            apart < 0.3 * a.half_width_px.max(b.half_width_px)
        };
        let once = |list: &mut Vec<Spot>, known: &[Spot]| {
            let mut kept: Vec<Spot> = Vec::new();
            for spot in list.drain(..) {
                if !known.iter().chain(&kept).any(|other| on(other, &spot)) {
                    kept.push(spot);
                }
            }
            *list = kept;
        };
        once(&mut self.spots, &[]);
        once(&mut self.others, &self.spots);
    }
}

#[cfg(test)]
mod tests;
