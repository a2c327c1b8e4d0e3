//! Places that stand for a ring, and how much of it is seen.

use super::{Layout, Mask};
use crate::photo::decode::Photo;
use std::f64::consts::TAU;

/// Places a ring at most.
const PLACES: usize = 64;
/// Places tried for the share of a ring that is covered, a centre; its error is then below a percent.
const TRIED: usize = 2048;
/// Steps of the additive recurrence in two dimensions: powers of the inverse of the plastic number (root of x^3 = x + 1).
const STEPS: [f64; 2] = [0.754_877_666_246_692_8, 0.569_840_290_998_053_3];

/// A pixel of a ring that has few.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) at: [f64; 2],
    /// A bit a channel.
    pub(super) masked: u8,
}

/// Places in mm from the first centre, y upwards, that stand for the unmasked part of a ring, and the share of the ring that
/// is seen.
pub(super) fn places_and_cover(
    photo: &Photo,
    layout: &Layout,
    mask: &Mask,
    channel: usize,
    ring: usize,
    few: Option<&[Place]>,
) -> (Vec<[f64; 2]>, f64) {
    let (seen, whole) = tried(photo, layout, mask, channel, ring);
    let covered = if whole == 0 { 0.0 } else { seen.len() as f64 / whole as f64 };
    let from = match few {
        Some(pixels) => pixels.iter().filter(|p| p.masked >> channel & 1 == 0).map(|p| p.at).collect(),
        None => seen,
    };
    let chosen = evenly(from, layout);
    let origin = layout.centres_px[0];
    let to_mm = |p: [f64; 2]| [(p[0] - origin[0]) * layout.mm_per_px, (origin[1] - p[1]) * layout.mm_per_px];
    (chosen.into_iter().map(to_mm).collect(), covered)
}

/// Places of the ring that are seen, and how many places of it were tried.
fn tried(photo: &Photo, layout: &Layout, mask: &Mask, channel: usize, ring: usize) -> (Vec<[f64; 2]>, usize) {
    let (inner, outer) = (layout.edges_squared[ring], layout.edges_squared[ring + 1]);
    let mut seen = Vec::new();
    let mut whole = 0;
    for i in 0..TRIED {
        let [u, v] = STEPS.map(|step| (0.5 + step * i as f64).fract());
        let (radius, angle) = ((inner + u * (outer - inner)).sqrt(), TAU * v);
        for (index, centre) in layout.centres_px.iter().enumerate() {
            let place = [centre[0] + radius * angle.cos(), centre[1] + radius * angle.sin()];
            if layout.nearest(place).0 != index {
                continue;
            }
            whole += 1;
            let [x, y] = place.map(f64::round);
            let inside = x >= 0.0 && y >= 0.0 && x < photo.width as f64 && y < photo.height as f64;
            if inside && mask.get(x as usize, y as usize) >> channel & 1 == 0 {
                seen.push(place);
            }
        }
    }
    (seen, whole)
}

/// Of each of as many classes of equal size by radius, the one that is nearest to its turn among all by direction: so radii and
/// directions are both spread as those of all places are.
fn evenly(open: Vec<[f64; 2]>, layout: &Layout) -> Vec<[f64; 2]> {
    /// Turns go by the golden section, which spreads any number of them evenly.
    const TURN: f64 = 0.618_033_988_749_894_9;
    if open.len() <= PLACES {
        return open;
    }
    struct Candidate {
        place: [f64; 2],
        squared: f64,
        direction: f64,
        rank: f64,
    }
    let candidate = |place| {
        let (centre, d, squared) = layout.nearest(place);
        let direction = centre as f64 * TAU + d[1].atan2(d[0]);
        Candidate { place, squared, direction, rank: 0.0 }
    };
    let mut all: Vec<Candidate> = open.into_iter().map(candidate).collect();
    let count = all.len();
    all.sort_by(|a, b| a.direction.total_cmp(&b.direction));
    for (i, candidate) in all.iter_mut().enumerate() {
        candidate.rank = i as f64 / count as f64;
    }
    all.sort_by(|a, b| a.squared.total_cmp(&b.squared));
    let chosen = |class: usize| {
        let turn = (TURN * class as f64).fract();
        let off = |c: &&Candidate| {
            let d = (c.rank - turn).abs();
            d.min(1.0 - d)
        };
        let members = &all[class * count / PLACES..(class + 1) * count / PLACES];
        members.iter().min_by(|a, b| off(a).total_cmp(&off(b))).map(|c| c.place)
    };
    (0..PLACES).filter_map(chosen).collect()
}
