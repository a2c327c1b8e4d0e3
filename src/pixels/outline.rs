//! Outlines: the edge of a pattern piece, what lies inside it and how far from its edge.
//!
//! # Model
//! An outline is one closed curve or several, none of which crosses itself or another. What lies inside an odd number of them is
//! cloth, so a curve inside another is a hole. Curves are followed by straight lines that miss them by at most
//! [`FLATNESS_MM`]; distances are to these lines.
//!
//! # Source
//! Crossing number and distance to a segment: any text on computational geometry.

use crate::quantity::Millimetres;
use kurbo::{BezPath, PathEl, Point};
use rayon::prelude::*;
use std::sync::Arc;

/// Straight lines miss the curves of an outline by at most this much: far below any cut in cloth.
pub const FLATNESS_MM: f64 = 1e-3;
/// Straight lines of one outline; bounds the time of the tests for crossings. A large pattern piece has some thousand.
pub const MOST_EDGES: usize = 20_000;
/// A curve whose ends are this near counts as closed: drawings by hand seldom meet exactly.
pub const NEARLY_CLOSED_MM: f64 = 0.1;
/// A place on the edge of what is allowed is allowed, though straight lines stand there for the curves.
const ON_THE_EDGE_MM: f64 = 2.0 * FLATNESS_MM;
/// Shorter edges are rounding of the drawing.
const SHORTEST_MM: f64 = 1e-7;

/// An outline.
#[derive(Clone, Debug, PartialEq)]
pub struct Outline {
    edges: Arc<[Edge]>,
    bins: Bins,
    low: [f64; 2],
    high: [f64; 2],
}

/// One straight line of an outline.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Edge {
    from: [f64; 2],
    to: [f64; 2],
    /// Which closed curve it belongs to, and its number in it.
    ring: usize,
    index: usize,
}

/// Edges by height, so that a test looks at few of them.
#[derive(Clone, Debug, PartialEq)]
struct Bins {
    low: f64,
    per_mm: f64,
    edges: Arc<[Vec<u32>]>,
}

/// Why a drawing is no outline.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoOutline {
    /// A curve has two ends.
    #[error("the outline is not closed: its ends lie {apart_mm:.2} mm apart, near [{:.1}, {:.1}]", at[0], at[1])]
    Open {
        /// The place of its end in mm.
        at: [f64; 2],
        /// Distance of the ends in mm.
        apart_mm: f64,
    },
    /// It crosses or touches itself.
    #[error("the outline crosses itself near [{:.1}, {:.1}]", at[0], at[1])]
    Crossing {
        /// Where, in mm.
        at: [f64; 2],
    },
    /// It encloses nothing.
    #[error("the outline encloses no area")]
    Empty,
    /// It has too many lines.
    #[error(
        "the outline has too many lines: {edges} when its curves are followed to {FLATNESS_MM} mm, at most {MOST_EDGES}"
    )]
    TooDetailed {
        /// Number of straight lines.
        edges: usize,
    },
}

impl Outline {
    /// The outline that closed curves draw, in mm.
    ///
    /// # Errors
    /// When they are not closed, cross themselves, enclose nothing or have too many lines.
    pub fn of(path: &BezPath) -> Result<Outline, NoOutline> {
        let drawn = path.segments().count();
        if drawn > MOST_EDGES {
            return Err(NoOutline::TooDetailed { edges: drawn });
        }
        let mut rings: Vec<Vec<[f64; 2]>> = Vec::new();
        let mut closed = Vec::new();
        let mut count = 0;
        kurbo::flatten(path.iter(), FLATNESS_MM, |element| {
            count += 1;
            match element {
                _ if count > 4 * MOST_EDGES => {}
                PathEl::MoveTo(p) => {
                    rings.push(vec![mm(p)]);
                    closed.push(false);
                }
                PathEl::ClosePath => closed.iter_mut().last().into_iter().for_each(|last| *last = true),
                PathEl::LineTo(p) | PathEl::QuadTo(_, p) | PathEl::CurveTo(_, _, p) => {
                    if let Some(ring) = rings.last_mut() {
                        ring.push(mm(p));
                    }
                }
            }
        });
        if count > MOST_EDGES {
            return Err(NoOutline::TooDetailed { edges: count });
        }
        let mut edges = Vec::new();
        for (ring, (corners, closed)) in rings.iter().zip(closed).enumerate() {
            add_ring(&mut edges, ring, corners, closed)?;
        }
        let area = edges.iter().map(|e| cross(e.from, e.to)).sum::<f64>().abs() / 2.0;
        let (low, high) = bounds(&edges).ok_or(NoOutline::Empty)?;
        let size = (high[0] - low[0]) * (high[1] - low[1]);
        if let Some(at) = crossing(&edges) {
            return Err(NoOutline::Crossing { at });
        }
        // The share catches lines drawn there and back again.
        if rings.len() == 1 && area <= 1e-9 * size || size <= 0.0 {
            return Err(NoOutline::Empty);
        }
        let bins = Bins::of(&edges, low[1], high[1]);
        Ok(Outline { edges: edges.into(), bins, low, high })
    }

    /// Lowest and highest place, x and y each.
    #[must_use]
    pub fn extent(&self) -> ([Millimetres; 2], [Millimetres; 2]) {
        (self.low.map(Millimetres), self.high.map(Millimetres))
    }

    /// Area of the cloth in mm2, holes taken off. Exact for the straight lines that stand for the curves.
    #[must_use]
    pub fn area_mm2(&self) -> f64 {
        // A ring counts with or against by how many others lie around it.
        let rings = self.edges.iter().map(|e| e.ring).max().map_or(0, |last| last + 1);
        (0..rings)
            .map(|ring| {
                let own = || self.edges.iter().filter(move |e| e.ring == ring);
                let area = own().map(|e| cross(e.from, e.to)).sum::<f64>().abs() / 2.0;
                let corner = own().next().map_or([0.0; 2], |e| e.from);
                let around = self.edges.iter().filter(|e| e.ring != ring && crosses_ray(e, corner)).count();
                if around % 2 == 0 { area } else { -area }
            })
            .sum()
    }

    /// The closed curves as corners in mm, each begun again at its start.
    #[must_use]
    pub fn rings(&self) -> Vec<Vec<[f64; 2]>> {
        let mut rings: Vec<Vec<[f64; 2]>> = Vec::new();
        for edge in self.edges.iter() {
            if edge.index == 0 {
                rings.push(Vec::new());
            }
            rings.iter_mut().last().into_iter().for_each(|ring| ring.push(edge.from));
        }
        rings
    }

    /// The outline with all its corners moved; `None` where what comes out is none.
    #[must_use]
    pub fn moved(&self, to: impl Fn([f64; 2]) -> [f64; 2]) -> Option<Outline> {
        let mut path = BezPath::new();
        for ring in self.rings() {
            for (i, at) in ring.into_iter().map(&to).enumerate() {
                if i == 0 { path.move_to((at[0], at[1])) } else { path.line_to((at[0], at[1])) }
            }
            path.close_path();
        }
        Outline::of(&path).ok()
    }

    /// Whether a place lies inside.
    #[must_use]
    pub fn contains(&self, at: [f64; 2]) -> bool {
        if at[1] < self.low[1] || at[1] > self.high[1] {
            return false;
        }
        self.bins.at(at[1]).iter().filter(|i| crosses_ray(&self.edges[**i as usize], at)).count() % 2 == 1
    }

    /// Distance to the edge in mm: positive inside, negative outside.
    #[must_use]
    pub fn depth_mm(&self, at: [f64; 2]) -> f64 {
        let distance = self.edges.iter().map(|edge| distance(edge, at)).fold(f64::INFINITY, f64::min);
        if self.contains(at) { distance } else { -distance }
    }

    /// Places that do not lie at least `seam_mm` inside: their index and their depth in mm, in order.
    #[must_use]
    pub fn too_near(&self, places: &[[f64; 2]], seam_mm: f64) -> Vec<(usize, f64)> {
        let near = |at: [f64; 2]| {
            self.bins
                .between(at[1] - seam_mm, at[1] + seam_mm)
                .any(|i| distance(&self.edges[i as usize], at) < seam_mm)
        };
        places
            .par_iter()
            .enumerate()
            .filter(|(_, at)| !self.contains(**at) || (seam_mm > 0.0 && near(**at)))
            .map(|(i, at)| (i, self.depth_mm(*at)))
            .filter(|(_, depth)| *depth < seam_mm - ON_THE_EDGE_MM)
            .collect()
    }

    /// The stretches of the level line at height `y` that lie at least `seam_mm` inside, from left to right.
    #[must_use]
    pub fn stretches(&self, y: f64, seam_mm: f64) -> Vec<[f64; 2]> {
        let mut ends: Vec<f64> = self
            .bins
            .at(y)
            .iter()
            .map(|i| &self.edges[*i as usize])
            .filter(|edge| (edge.from[1] > y) != (edge.to[1] > y))
            .map(|edge| {
                edge.from[0] + (y - edge.from[1]) / (edge.to[1] - edge.from[1]) * (edge.to[0] - edge.from[0])
            })
            .collect();
        ends.sort_by(f64::total_cmp);
        let taken = self.edge_stretches(y, seam_mm);
        let mut free = Vec::new();
        for pair in ends.chunks_exact(2) {
            let mut from = pair[0];
            for &[low, high] in taken.iter().filter(|t| t[1] > pair[0] && t[0] < pair[1]) {
                if low > from {
                    free.push([from, low]);
                }
                from = from.max(high);
            }
            if from < pair[1] {
                free.push([from, pair[1]]);
            }
        }
        free
    }

    /// The stretches of the level line at height `y` that lie less than `within_mm` from the edge, from left to right.
    #[must_use]
    pub fn edge_stretches(&self, y: f64, within_mm: f64) -> Vec<[f64; 2]> {
        let mut near: Vec<[f64; 2]> = self
            .bins
            .between(y - within_mm, y + within_mm)
            .filter_map(|i| near_edge(&self.edges[i as usize], y, within_mm))
            .collect();
        near.sort_by(|a, b| a[0].total_cmp(&b[0]));
        let mut joined: Vec<[f64; 2]> = Vec::new();
        for [low, high] in near {
            match joined.last_mut() {
                Some(last) if low <= last[1] => last[1] = last[1].max(high),
                _ => joined.push([low, high]),
            }
        }
        joined
    }
}

fn mm(point: Point) -> [f64; 2] {
    [point.x, point.y]
}

fn cross(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

fn minus(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] - b[0], a[1] - b[1]]
}

fn add_ring(edges: &mut Vec<Edge>, ring: usize, corners: &[[f64; 2]], closed: bool) -> Result<(), NoOutline> {
    let (Some(first), Some(last)) = (corners.first(), corners.last()) else { return Ok(()) };
    if corners.len() < 2 {
        return Ok(()); // A pen that was set down and lifted again.
    }
    let apart = minus(*last, *first);
    let apart_mm = apart[0].hypot(apart[1]);
    if !closed && apart_mm > NEARLY_CLOSED_MM {
        return Err(NoOutline::Open { at: *last, apart_mm });
    }
    let mut around: Vec<[f64; 2]> = Vec::with_capacity(corners.len());
    for corner in corners {
        let step = around.last().map_or([f64::INFINITY; 2], |before| minus(*corner, *before));
        if step[0].hypot(step[1]) > SHORTEST_MM {
            around.push(*corner);
        }
    }
    // The last corner of a curve that nearly meets its start takes the start's place.
    let meets = |around: &[[f64; 2]]| {
        around.len() > 1 && {
            let apart = minus(around[around.len() - 1], around[0]);
            let least = if closed { SHORTEST_MM } else { NEARLY_CLOSED_MM };
            apart[0].hypot(apart[1]) <= least
        }
    };
    if meets(&around) {
        around.pop();
    }
    let next = around.iter().cycle().skip(1);
    edges.extend(around.iter().zip(next).enumerate().map(|(index, (from, to))| Edge {
        from: *from,
        to: *to,
        ring,
        index,
    }));
    Ok(())
}

fn bounds(edges: &[Edge]) -> Option<([f64; 2], [f64; 2])> {
    let first = edges.first()?.from;
    Some(edges.iter().fold((first, first), |(low, high), edge| {
        (
            std::array::from_fn(|i| low[i].min(edge.from[i])),
            std::array::from_fn(|i| high[i].max(edge.from[i])),
        )
    }))
}

/// Whether the level ray to the right of a place crosses an edge.
fn crosses_ray(edge: &Edge, at: [f64; 2]) -> bool {
    let ([x0, y0], [x1, y1]) = (edge.from, edge.to);
    (y0 > at[1]) != (y1 > at[1]) && at[0] < x0 + (at[1] - y0) / (y1 - y0) * (x1 - x0)
}

fn distance(edge: &Edge, at: [f64; 2]) -> f64 {
    let (along, to) = (minus(edge.to, edge.from), minus(at, edge.from));
    let share = (along[0] * to[0] + along[1] * to[1]) / (along[0] * along[0] + along[1] * along[1]);
    let share = share.clamp(0.0, 1.0);
    (to[0] - share * along[0]).hypot(to[1] - share * along[1])
}

/// The part of the level line at `y` that lies nearer than `seam` to an edge: what lies near a segment is convex, so it is one
/// stretch, bounded by two discs and the band between them.
fn near_edge(edge: &Edge, y: f64, seam: f64) -> Option<[f64; 2]> {
    let mut ends: [f64; 2] = [f64::INFINITY, f64::NEG_INFINITY];
    let mut take = |x: f64| ends = [ends[0].min(x), ends[1].max(x)];
    for corner in [edge.from, edge.to] {
        let off = y - corner[1];
        if off.abs() < seam {
            let half = (seam * seam - off * off).sqrt();
            take(corner[0] - half);
            take(corner[0] + half);
        }
    }
    let along = minus(edge.to, edge.from);
    let length = along[0].hypot(along[1]);
    // The two sides of the band run `seam` beside the edge.
    for side in [-1.0, 1.0] {
        let beside = [-side * seam * along[1] / length, side * seam * along[0] / length];
        let start = edge.from[1] + beside[1];
        let share = (y - start) / along[1];
        if share.is_finite() && (0.0..=1.0).contains(&share) {
            take(edge.from[0] + beside[0] + share * along[0]);
        }
    }
    (ends[0] < ends[1]).then_some(ends)
}

impl Bins {
    fn of(edges: &[Edge], low: f64, high: f64) -> Bins {
        const MOST: usize = 4096;
        /// Entries of all bins together: tall edges stand in many of them.
        const MOST_ENTRIES: f64 = 500_000.0;
        let height = (high - low).max(SHORTEST_MM);
        let tall: f64 = edges.iter().map(|edge| (edge.from[1] - edge.to[1]).abs() / height).sum();
        let fitting = (MOST_ENTRIES / tall.max(1.0)) as usize;
        let count = edges.len().min(fitting).clamp(1, MOST);
        let per_mm = count as f64 / height;
        let mut bins = Bins { low, per_mm, edges: Arc::new([]) };
        let mut by_height = vec![Vec::new(); count];
        for (i, edge) in edges.iter().enumerate() {
            let (a, b) = (edge.from[1].min(edge.to[1]), edge.from[1].max(edge.to[1]));
            for bin in &mut by_height[bins.index(a, count)..=bins.index(b, count)] {
                bin.push(i as u32);
            }
        }
        bins.edges = by_height.into();
        bins
    }

    fn index(&self, y: f64, count: usize) -> usize {
        (((y - self.low) * self.per_mm).max(0.0) as usize).min(count - 1)
    }

    fn at(&self, y: f64) -> &[u32] {
        self.edges.get(self.index(y, self.edges.len())).map_or(&[], Vec::as_slice)
    }

    /// Edges that may reach into a range of heights; some come twice.
    fn between(&self, low: f64, high: f64) -> impl Iterator<Item = u32> {
        let count = self.edges.len();
        self.edges[self.index(low, count)..=self.index(high, count)].iter().flatten().copied()
    }
}

/// A place where edges cross or where the curve touches itself.
fn crossing(edges: &[Edge]) -> Option<[f64; 2]> {
    let bottom = |edge: &Edge| edge.from[1].min(edge.to[1]);
    let top = |edge: &Edge| edge.from[1].max(edge.to[1]);
    let mut upwards: Vec<&Edge> = edges.iter().collect();
    upwards.sort_by(|a, b| bottom(a).total_cmp(&bottom(b)));
    let lengths: Vec<usize> = edges.iter().fold(Vec::new(), |mut lengths, edge| {
        lengths.resize(lengths.len().max(edge.ring + 1), 0);
        lengths[edge.ring] += 1;
        lengths
    });
    let neighbours = |a: &Edge, b: &Edge| {
        let apart = a.index.abs_diff(b.index);
        a.ring == b.ring && (apart <= 1 || apart + 1 == lengths[a.ring])
    };
    (0..upwards.len()).into_par_iter().find_map_first(|i| {
        let a = upwards[i];
        upwards[i + 1..]
            .iter()
            .take_while(|b| bottom(b) <= top(a))
            .filter(|b| a.from[0].max(a.to[0]) >= b.from[0].min(b.to[0]))
            .filter(|b| b.from[0].max(b.to[0]) >= a.from[0].min(a.to[0]))
            .filter(|b| !neighbours(a, b))
            .find_map(|b| meeting(a, b))
    })
}

/// Where two edges cross. Edges of one curve may not touch either; two curves may lie side by side.
fn meeting(a: &Edge, b: &Edge) -> Option<[f64; 2]> {
    let side = |edge: &Edge, at: [f64; 2]| cross(minus(edge.to, edge.from), minus(at, edge.from));
    let (a_from, a_to) = (side(b, a.from), side(b, a.to));
    let (b_from, b_to) = (side(a, b.from), side(a, b.to));
    let across = |one: f64, other: f64| (one > 0.0) != (other > 0.0) && one != 0.0 && other != 0.0;
    if across(a_from, a_to) && across(b_from, b_to) {
        let share = a_from / (a_from - a_to);
        return Some([a.from[0] + share * (a.to[0] - a.from[0]), a.from[1] + share * (a.to[1] - a.from[1])]);
    }
    let touching = [(a, b.from, b_from), (a, b.to, b_to), (b, a.from, a_from), (b, a.to, a_to)];
    let touch = touching.into_iter().find(|(edge, at, side)| *side == 0.0 && distance(edge, *at) == 0.0);
    touch.filter(|_| a.ring == b.ring).map(|(_, at, _)| at)
}

#[cfg(test)]
mod tests;
