//! Blocks that stand out, by flooding from the top.

use super::LEAST_SIGNAL;
use super::background::Ground;
use crate::photo::cells::{Cells, quantile};

/// Depth of the dip between two places, over the lower one's height, from which on they are two.
const DIP: f64 = 0.05;
/// Depth of the dip over the noise.
const DIP_OVER_NOISE: f64 = 6.0;
/// Height over the unevenness of the darker parts (texture of a cloth in a lit room).
const OVER_TEXTURE: f64 = 4.0;

/// Places kept at most, the highest first: a picture with more is no picture of spots.
const MOST_PEAKS: usize = 300;

/// A place that stands out.
#[derive(Clone, Debug)]
pub(super) struct Peak {
    /// Place in px.
    pub(super) place: [f64; 2],
    /// Height above the background, mean of R, G, B.
    pub(super) height: f64,
    /// Radius in px of a disc as large as what is above half of the height.
    pub(super) half_width: f64,
}

/// How far the highest place stands out.
#[derive(Clone, Copy, Debug)]
pub(super) enum StandingOut {
    /// Its height over the noise.
    OverNoise(f64),
    /// It is well above the noise, but not above the unevenness of the picture's darker parts.
    LessThanTexture,
}

/// Mean of R, G, B of each block, softened over 3 x 3 blocks.
pub(super) fn smoothed(cells: &Cells) -> Vec<f64> {
    let light: Vec<f64> = cells.cells.iter().map(|cell| cell.light.iter().sum::<f64>() / 3.0).collect();
    let (columns, rows) = (cells.columns, cells.rows);
    let at = |column: usize, row: usize| light[row * columns + column];
    let beside = |i: usize, end: usize| [i.saturating_sub(1), i, (i + 1).min(end - 1)];
    (0..light.len())
        .map(|i| {
            let (xs, ys) = (beside(i % columns, columns), beside(i / columns, rows));
            let line = |y: usize| (at(xs[0], y) + 2.0 * at(xs[1], y) + at(xs[2], y)) / 4.0;
            (line(ys[0]) + 2.0 * line(ys[1]) + line(ys[2])) / 4.0
        })
        .collect()
}

/// Places that stand out, the highest first, and how far the highest does.
pub(super) fn peaks(cells: &Cells, ground: &Ground) -> (Vec<Peak>, StandingOut) {
    let smooth = smoothed(cells);
    let place = |i: usize| cells.place((i % cells.columns) as f64, (i / cells.columns) as f64);
    let above: Vec<f64> = smooth.iter().enumerate().map(|(i, v)| v - ground.light_at(place(i))).collect();
    let low = quantile(&mut above.clone(), 0.1);
    let texture = quantile(&mut above.clone(), 0.4) - low;
    let noise = ground.block_noise;
    let least = (LEAST_SIGNAL * noise).max(OVER_TEXTURE * texture);
    let highest = above.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let signal_to_noise = highest.max(0.0) / noise;
    let standing_out = if signal_to_noise >= LEAST_SIGNAL && highest < least {
        StandingOut::LessThanTexture
    } else {
        StandingOut::OverNoise(signal_to_noise)
    };
    let dip = |height: f64| (DIP * height).max(DIP_OVER_NOISE * noise);
    let tops = flooded(&above, cells.columns, least, dip);
    let peak = |top: usize| {
        let half = above[top] / 2.0;
        let blocks = region(&above, cells.columns, top, half);
        let half_width = (blocks as f64 / std::f64::consts::PI).sqrt() * cells.size as f64;
        Peak { place: place(top), height: above[top], half_width }
    };
    let mut tops = tops;
    tops.sort_by(|a, b| above[*b].total_cmp(&above[*a]));
    tops.truncate(MOST_PEAKS);
    (tops.into_iter().map(peak).collect(), standing_out)
}

/// Neighbours of a block, those at corners too.
fn neighbours(i: usize, columns: usize, count: usize) -> impl Iterator<Item = usize> {
    let (x, y) = ((i % columns) as i64, (i / columns) as i64);
    let rows = (count / columns) as i64;
    (-1..=1_i64)
        .flat_map(|dy| (-1..=1_i64).map(move |dx| (dx, dy)))
        .filter(move |(dx, dy)| {
            (*dx, *dy) != (0, 0) && x + dx >= 0 && x + dx < columns as i64 && y + dy >= 0 && y + dy < rows
        })
        .map(move |(dx, dy)| ((y + dy) as usize) * columns + (x + dx) as usize)
}

/// Tops of at least a height between which and all higher ones there is a dip.
///
/// Blocks are taken from the highest down and joined to neighbours already taken; where two sets meet, the lower top stays if it
/// is its dip above the place of meeting, and is forgotten if not.
fn flooded(above: &[f64], columns: usize, least: f64, dip: impl Fn(f64) -> f64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..above.len()).filter(|i| above[*i] > 0.25 * least).collect();
    order.sort_by(|a, b| above[*b].total_cmp(&above[*a]).then(a.cmp(b)));
    let mut set = vec![usize::MAX; above.len()];
    let mut tops = Vec::new();
    fn root(set: &mut [usize], mut i: usize) -> usize {
        while set[i] != i {
            set[i] = set[set[i]];
            i = set[i];
        }
        i
    }
    // The root of a set is its top.
    for i in order {
        set[i] = i;
        for n in neighbours(i, columns, above.len()) {
            if set[n] == usize::MAX {
                continue;
            }
            let (a, b) = (root(&mut set, i), root(&mut set, n));
            if a == b {
                continue;
            }
            let (high, low) = if above[a] >= above[b] { (a, b) } else { (b, a) };
            if above[low] >= least && above[low] - above[i] >= dip(above[low]) {
                tops.push(low);
            }
            set[low] = high;
        }
    }
    let roots = (0..above.len()).filter(|i| set[*i] == *i && above[*i] >= least);
    tops.extend(roots);
    tops
}

/// Blocks that hang together with a top above a level.
fn region(above: &[f64], columns: usize, top: usize, level: f64) -> usize {
    let mut seen = vec![false; above.len()];
    let mut open = vec![top];
    seen[top] = true;
    let mut count = 0;
    while let Some(i) = open.pop() {
        count += 1;
        for n in neighbours(i, columns, above.len()) {
            if !seen[n] && above[n] >= level {
                seen[n] = true;
                open.push(n);
            }
        }
    }
    count
}
