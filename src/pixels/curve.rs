//! Curves: their length, places along them, and how tightly they bend. [`super::laying`] lays pixels along them.
//!
//! # Model
//! A curve is a chain of straight lines and of quadratic and cubic curves. Its length is the integral of the speed over the
//! parameter, by Gauss-Legendre quadrature of 8 nodes in pieces that are halved until both halves agree with the whole to
//! [`LENGTH_ERROR`]. The place at a length along it is found by Newton's method on the same integral, safeguarded by bisection.
//!
//! # Validity
//! Distances along the curve are exact to a micrometre.
//!
//! # Source
//! Length of curves: any text on differential geometry; kurbo's own lengths agree (a test). Quadrature: Abramowitz and Stegun 25.4.29.

use crate::light::quadrature::{Rule, gauss_legendre};
use kurbo::{BezPath, CubicBez, Line, ParamCurve, ParamCurveDeriv, PathEl, PathSeg, Point, Vec2};
use std::sync::LazyLock;

/// Error of a length as a share of the curve's own size.
pub const LENGTH_ERROR: f64 = 1e-10;
/// Lines and curves of one curve along which pixels are laid; bounds time and memory. Drawings by hand have some hundred.
pub const MOST_LINES: usize = 20_000;
/// A span is halved at most so often: a curve with a sharp turn-back is then as good as it gets, at 1e-7 of its size.
const MOST_HALVINGS: usize = 24;
/// A last pixel that fits but for this much still counts: drawings round their numbers, and a strip cut by hand is not that exact.
pub const FIT_MM: f64 = 1e-3;
/// Shorter pieces of a drawing are rounding and no curve.
const SHORTEST_MM: f64 = 1e-6;
/// Where the direction jumps by more than this, a curve has a corner; less is a curve that was drawn as short lines.
pub const CORNER_DEG: f64 = 30.0;

static RULE: LazyLock<Rule> = LazyLock::new(|| gauss_legendre(8));

/// A curve of one piece or several.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// Its pieces, each without a break.
    pub pieces: Vec<Piece>,
}

/// A part of a curve without a break.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    spans: Vec<Span>,
    /// Its length in mm.
    pub length_mm: f64,
    /// Whether its end is its start.
    pub closed: bool,
}

/// A part of one line or curve, so short that the quadrature is exact on it.
#[derive(Clone, Debug, PartialEq)]
struct Span {
    curve: PathSeg,
    from_mm: f64,
    length_mm: f64,
    /// Begins a line or curve of the drawing, so that there may be a corner.
    joint: bool,
}

/// A place on a curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spot {
    /// Where, in mm.
    pub at: [f64; 2],
    /// Direction in which the curve runs there, radians anticlockwise from the right.
    pub direction_rad: f64,
}

/// Where a curve bends most tightly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tightest {
    /// Radius there in mm; 0 at a corner.
    pub radius_mm: f64,
    /// The place in mm.
    pub at: [f64; 2],
}

impl Curve {
    /// The curve that a path draws, in mm. What has no length is left out.
    #[must_use]
    pub fn of(path: &BezPath) -> Curve {
        let mut pieces = Vec::new();
        let mut open: Vec<PathSeg> = Vec::new();
        let mut finish = |segments: &mut Vec<PathSeg>, closed: bool| {
            pieces.extend(Piece::of(&std::mem::take(segments), closed));
        };
        let mut start = Point::ZERO;
        let mut at = Point::ZERO;
        for element in path.iter() {
            match element {
                PathEl::MoveTo(to) => {
                    finish(&mut open, false);
                    (start, at) = (to, to);
                }
                PathEl::LineTo(to) => {
                    open.push(PathSeg::Line(Line::new(at, to)));
                    at = to;
                }
                PathEl::QuadTo(a, to) => {
                    open.push(PathSeg::Quad(kurbo::QuadBez::new(at, a, to)));
                    at = to;
                }
                PathEl::CurveTo(a, b, to) => {
                    open.push(PathSeg::Cubic(CubicBez::new(at, a, b, to)));
                    at = to;
                }
                PathEl::ClosePath => {
                    open.push(PathSeg::Line(Line::new(at, start)));
                    at = start;
                    finish(&mut open, true);
                }
            }
        }
        finish(&mut open, false);
        Curve { pieces }
    }

    /// Straight lines from corner to corner.
    #[must_use]
    pub fn through(corners_mm: &[[f64; 2]]) -> Curve {
        let mut path = BezPath::new();
        for (i, corner) in corners_mm.iter().enumerate() {
            if i == 0 { path.move_to(point(*corner)) } else { path.line_to(point(*corner)) }
        }
        Curve::of(&path)
    }

    /// Length of all pieces in mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.pieces.iter().map(|piece| piece.length_mm).sum()
    }

    /// The same curve from its end to its start.
    #[must_use]
    pub fn reversed(&self) -> Curve {
        Curve { pieces: self.pieces.iter().rev().filter_map(Piece::reversed).collect() }
    }

    /// The curve cut at its corners.
    #[must_use]
    pub fn cut_at_corners(&self) -> Curve {
        Curve { pieces: self.pieces.iter().flat_map(Piece::cut_at_corners).collect() }
    }

    /// Where it bends most tightly, unless it is straight all along. A bend between two straight lines is taken as spread over
    /// `spread_mm` at most; a corner has no radius.
    #[must_use]
    pub fn tightest(&self, spread_mm: f64) -> Option<Tightest> {
        self.pieces
            .iter()
            .filter_map(|piece| piece.tightest(spread_mm))
            .min_by(|a, b| a.radius_mm.total_cmp(&b.radius_mm))
    }
}

impl Piece {
    fn of(segments: &[PathSeg], closed: bool) -> Option<Piece> {
        let mut spans = Vec::new();
        let mut length_mm = 0.0;
        let ends = segments.first().zip(segments.last());
        let closed =
            closed || ends.is_some_and(|(first, last)| (first.start() - last.end()).hypot() <= FIT_MM);
        for segment in segments {
            let size = control_length(segment);
            if !size.is_finite() || size < SHORTEST_MM {
                continue;
            }
            let first = spans.len();
            add_spans(segment, LENGTH_ERROR * size, MOST_HALVINGS, &mut spans, &mut length_mm);
            if let Some(span) = spans.get_mut(first) {
                span.joint = true;
            }
        }
        (length_mm >= SHORTEST_MM).then_some(Piece { spans, length_mm, closed })
    }

    /// From spans in their order, whose lengths are known.
    fn of_spans(spans: impl Iterator<Item = Span>, closed: bool) -> Piece {
        let mut length_mm = 0.0;
        let spans = spans
            .map(|span| {
                let from_mm = length_mm;
                length_mm += span.length_mm;
                Span { from_mm, ..span }
            })
            .collect();
        Piece { spans, length_mm, closed }
    }

    fn reversed(&self) -> Option<Piece> {
        // What begins a line in the one direction ends it in the other.
        let ends = self.spans.iter().skip(1).map(|span| span.joint).chain([true]);
        let ends: Vec<bool> = ends.collect();
        let spans = self.spans.iter().zip(ends).rev().map(|(span, joint)| Span {
            curve: span.curve.reverse(),
            joint,
            ..span.clone()
        });
        Some(Piece::of_spans(spans, self.closed))
    }

    /// The place at a length along the piece; beyond its ends, the end.
    #[must_use]
    pub fn at(&self, along_mm: f64) -> Spot {
        let index = self.spans.partition_point(|span| span.from_mm <= along_mm).saturating_sub(1);
        match self.spans.get(index) {
            Some(span) => span.at(along_mm - span.from_mm),
            None => Spot { at: [0.0, 0.0], direction_rad: 0.0 },
        }
    }

    /// Angles by which the direction jumps, at the beginning of which span. The first span counts where the piece is closed.
    fn bends(&self) -> impl Iterator<Item = (usize, f64)> {
        let joints = self.spans.iter().enumerate().filter(|(i, span)| span.joint && (*i > 0 || self.closed));
        joints.map(|(i, span)| {
            let before = if i == 0 { self.spans.last() } else { self.spans.get(i - 1) };
            let arriving = before.map_or(Vec2::ZERO, |before| end_direction(&before.curve));
            let leaving = start_direction(&span.curve);
            (i, arriving.cross(leaving).atan2(arriving.dot(leaving)).abs())
        })
    }

    fn cut_at_corners(&self) -> Vec<Piece> {
        let corners: Vec<usize> =
            self.bends().filter(|(_, angle)| *angle > CORNER_DEG.to_radians()).map(|(i, _)| i).collect();
        let Some(first) = corners.first().copied() else { return vec![self.clone()] };
        // A closed piece begins at its first corner, so that nothing is cut at its start for no reason.
        let turned: Vec<&Span> = if self.closed {
            self.spans[first..].iter().chain(&self.spans[..first]).collect()
        } else {
            self.spans.iter().collect()
        };
        let shift = if self.closed { first } else { 0 };
        let mut cuts: Vec<usize> =
            corners.iter().map(|corner| corner - shift).filter(|cut| *cut > 0).collect();
        cuts.push(turned.len());
        let mut from = 0;
        let mut pieces = Vec::new();
        for to in cuts {
            pieces.push(Piece::of_spans(turned[from..to].iter().copied().cloned(), false));
            from = to;
        }
        pieces
    }

    fn tightest(&self, spread_mm: f64) -> Option<Tightest> {
        let within = self.spans.iter().filter_map(Span::tightest);
        let joints = self.bends().filter(|(_, angle)| *angle > 0.0).map(|(i, angle)| {
            let span = &self.spans[i];
            let before = &self.spans[if i == 0 { self.spans.len() - 1 } else { i - 1 }];
            let spread = (0.5 * (span.length_mm + before.length_mm)).min(spread_mm);
            let radius_mm = if angle > CORNER_DEG.to_radians() { 0.0 } else { spread / angle };
            Tightest { radius_mm, at: mm(span.curve.start()) }
        });
        within.chain(joints).min_by(|a, b| a.radius_mm.total_cmp(&b.radius_mm))
    }
}

fn point([x, y]: [f64; 2]) -> Point {
    Point::new(x, y)
}

fn mm(point: Point) -> [f64; 2] {
    [point.x, point.y]
}

/// Length of the chain of control points, which is never shorter than the curve.
fn control_length(segment: &PathSeg) -> f64 {
    let chain = |points: &[Point]| points.windows(2).map(|pair| (pair[1] - pair[0]).hypot()).sum();
    match segment {
        PathSeg::Line(line) => chain(&[line.p0, line.p1]),
        PathSeg::Quad(q) => chain(&[q.p0, q.p1, q.p2]),
        PathSeg::Cubic(c) => chain(&[c.p0, c.p1, c.p2, c.p3]),
    }
}

/// The derivative at a parameter.
fn velocity(segment: &PathSeg, t: f64) -> Vec2 {
    match segment {
        PathSeg::Line(line) => line.p1 - line.p0,
        PathSeg::Quad(q) => q.deriv().eval(t).to_vec2(),
        PathSeg::Cubic(c) => c.deriv().eval(t).to_vec2(),
    }
}

/// Length from the start to a parameter, on one span.
fn length_to(segment: &PathSeg, t: f64) -> f64 {
    if let PathSeg::Line(line) = segment {
        return t * (line.p1 - line.p0).hypot();
    }
    let rule = &*RULE;
    t * rule.nodes.iter().zip(&rule.weights).map(|(x, w)| w * velocity(segment, t * x).hypot()).sum::<f64>()
}

fn add_spans(segment: &PathSeg, error_mm: f64, halvings: usize, spans: &mut Vec<Span>, length_mm: &mut f64) {
    let whole = length_to(segment, 1.0);
    let (left, right) = (segment.subsegment(0.0..0.5), segment.subsegment(0.5..1.0));
    let halves = length_to(&left, 1.0) + length_to(&right, 1.0);
    if matches!(segment, PathSeg::Line(_)) || (whole - halves).abs() <= error_mm || halvings == 0 {
        spans.push(Span { curve: *segment, from_mm: *length_mm, length_mm: whole, joint: false });
        *length_mm += whole;
        return;
    }
    add_spans(&left, 0.5 * error_mm, halvings - 1, spans, length_mm);
    add_spans(&right, 0.5 * error_mm, halvings - 1, spans, length_mm);
}

/// Direction at the start: towards the first control point that is not the start.
fn start_direction(segment: &PathSeg) -> Vec2 {
    let cubic = segment.to_cubic();
    let ways = [cubic.p1 - cubic.p0, cubic.p2 - cubic.p0, cubic.p3 - cubic.p0];
    let least = 1e-9 * control_length(segment);
    ways.into_iter().find(|way| way.hypot() > least).unwrap_or(Vec2::ZERO)
}

fn end_direction(segment: &PathSeg) -> Vec2 {
    -start_direction(&segment.reverse())
}

impl Span {
    fn at(&self, along_mm: f64) -> Spot {
        let t = self.parameter(along_mm);
        let at = self.curve.eval(t);
        let way = if t <= 0.0 {
            start_direction(&self.curve)
        } else if t >= 1.0 {
            end_direction(&self.curve)
        } else {
            velocity(&self.curve, t)
        };
        Spot { at: mm(at), direction_rad: way.atan2() }
    }

    /// The parameter at a length along the span.
    fn parameter(&self, along_mm: f64) -> f64 {
        /// Newton's method doubles the digits with each step, and bisection takes over where it does not.
        const MOST_STEPS: usize = 60;
        let wanted = along_mm.clamp(0.0, self.length_mm);
        let (mut low, mut high) = (0.0, 1.0);
        let mut t = wanted / self.length_mm;
        for _ in 0..MOST_STEPS {
            let off = length_to(&self.curve, t) - wanted;
            if off.abs() <= LENGTH_ERROR * self.length_mm {
                break;
            }
            if off > 0.0 {
                high = t
            } else {
                low = t
            }
            let step = t - off / velocity(&self.curve, t).hypot();
            t = if step > low && step < high { step } else { 0.5 * (low + high) };
        }
        t
    }

    /// Where the span bends most tightly: the greatest of some samples, then refined between its neighbours.
    fn tightest(&self) -> Option<Tightest> {
        const SAMPLES: usize = 16;
        const REFINED: usize = 40;
        if matches!(self.curve, PathSeg::Line(_)) {
            return None;
        }
        let cubic = self.curve.to_cubic();
        let curvature = |t: f64| {
            let (first, second) = (cubic.deriv(), cubic.deriv().deriv());
            let (v, a) = (first.eval(t).to_vec2(), second.eval(t).to_vec2());
            let curvature = v.cross(a).abs() / v.hypot().powi(3);
            if curvature.is_nan() { 0.0 } else { curvature }
        };
        let node = |i: usize| i as f64 / SAMPLES as f64;
        let best = (0..=SAMPLES).max_by(|a, b| curvature(node(*a)).total_cmp(&curvature(node(*b))))?;
        let (mut low, mut high) = (node(best.saturating_sub(1)), node((best + 1).min(SAMPLES)));
        for _ in 0..REFINED {
            let third = (high - low) / 3.0;
            if curvature(low + third) < curvature(high - third) { low += third } else { high -= third }
        }
        let t = [node(best), 0.5 * (low + high)]
            .into_iter()
            .max_by(|a, b| curvature(*a).total_cmp(&curvature(*b)))
            .unwrap_or(0.0);
        (curvature(t) > 0.0).then(|| Tightest { radius_mm: 1.0 / curvature(t), at: mm(cubic.eval(t)) })
    }
}

#[cfg(test)]
mod tests;
