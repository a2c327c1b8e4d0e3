//! Basic shapes of SVG as lines and curves, in the units of the drawing, y downwards.

use super::scale::{attribute, in_units, start_tag};
use super::{ARC_ERROR, Fault, MOST_SEGMENTS};
use kurbo::{Arc, BezPath, Point, SvgArc, Vec2};
use roxmltree::Node;
use std::f64::consts::{FRAC_PI_2, TAU};
use svgtypes::{Length, NumberListParser, PathParser, PathSegment};

/// Whether an element of this name is a basic shape.
pub(super) fn is_figure(name: &str) -> bool {
    matches!(name, "path" | "line" | "polyline" | "polygon" | "rect" | "circle" | "ellipse")
}

/// The lines and curves of a basic shape. Empty for one that has no size, which the standard does not draw.
pub(super) fn outline(node: Node<'_, '_>) -> Result<BezPath, Fault> {
    match node.tag_name().name() {
        "path" => path(node),
        "line" => {
            let end = |x, y| Ok::<_, Fault>(Point::new(length(node, x)?, length(node, y)?));
            Ok(polygon(&[end("x1", "y1")?, end("x2", "y2")?], false))
        }
        "polyline" => Ok(polygon(&points(node)?, false)),
        "polygon" => Ok(polygon(&points(node)?, true)),
        "rect" => rect(node),
        "circle" => {
            let r = length(node, "r")?;
            ellipse(node, Vec2::new(r, r))
        }
        _ => {
            let radii = Vec2::new(length(node, "rx")?, length(node, "ry")?);
            ellipse(node, radii)
        }
    }
}

/// A length in the drawing's units; 0 where it is left out.
fn length(node: Node<'_, '_>, name: &str) -> Result<f64, Fault> {
    Ok(given_length(node, name)?.unwrap_or(0.0))
}

fn given_length(node: Node<'_, '_>, name: &str) -> Result<Option<f64>, Fault> {
    let Some(length) = attribute::<Length>(node, name)? else { return Ok(None) };
    in_units(length).map(Some).ok_or_else(|| Fault {
        allowed: Some("a number, or one with mm, cm, in, pt, pc or px"),
        found: node.attribute(name).map(str::to_owned),
        ..Fault::new(start_tag(node), format!("the unit of `{name}` has no fixed size"))
    })
}

fn polygon(corners: &[Point], closed: bool) -> BezPath {
    let mut path = BezPath::new();
    for (i, corner) in corners.iter().enumerate() {
        if i == 0 { path.move_to(*corner) } else { path.line_to(*corner) }
    }
    if closed && !corners.is_empty() {
        path.close_path();
    }
    path
}

fn points(node: Node<'_, '_>) -> Result<Vec<Point>, Fault> {
    let Some(attribute) = node.attribute_node("points") else { return Ok(Vec::new()) };
    let fault = |what: &str| Fault {
        allowed: Some("pairs of numbers: x,y x,y …"),
        ..Fault::new(attribute.range_value(), what)
    };
    let numbers: Vec<f64> = NumberListParser::from(attribute.value())
        .collect::<Result<_, _>>()
        .map_err(|_| fault("`points` cannot be read"))?;
    if numbers.len() % 2 == 1 {
        return Err(fault("`points` has an x without its y"));
    }
    Ok(numbers.chunks_exact(2).map(|pair| Point::new(pair[0], pair[1])).collect())
}

fn ellipse(node: Node<'_, '_>, radii: Vec2) -> Result<BezPath, Fault> {
    let centre = Point::new(length(node, "cx")?, length(node, "cy")?);
    let mut path = BezPath::new();
    if radii.x > 0.0 && radii.y > 0.0 {
        path.move_to(centre + Vec2::new(radii.x, 0.0));
        add_arc(&mut path, &Arc::new(centre, radii, 0.0, TAU, 0.0));
        path.close_path();
    }
    Ok(path)
}

fn rect(node: Node<'_, '_>) -> Result<BezPath, Fault> {
    let corner = Vec2::new(length(node, "x")?, length(node, "y")?);
    let (width, height) = (length(node, "width")?, length(node, "height")?);
    // One radius that is left out is as the other.
    let (wanted_x, wanted_y) = (given_length(node, "rx")?, given_length(node, "ry")?);
    let rx = wanted_x.or(wanted_y).unwrap_or(0.0).min(width / 2.0);
    let ry = wanted_y.or(wanted_x).unwrap_or(0.0).min(height / 2.0);
    if width.is_nan() || height.is_nan() || width <= 0.0 || height <= 0.0 {
        return Ok(BezPath::new());
    }
    let at = |x: f64, y: f64| Point::new(x, y) + corner;
    if rx <= 0.0 || ry <= 0.0 {
        return Ok(polygon(&[at(0.0, 0.0), at(width, 0.0), at(width, height), at(0.0, height)], true));
    }
    let radii = Vec2::new(rx, ry);
    let mut path = BezPath::new();
    path.move_to(at(rx, 0.0));
    // Each side, then the corner at its end.
    for (i, (end, centre)) in [
        (at(width - rx, 0.0), at(width - rx, ry)),
        (at(width, height - ry), at(width - rx, height - ry)),
        (at(rx, height), at(rx, height - ry)),
        (at(0.0, ry), at(rx, ry)),
    ]
    .into_iter()
    .enumerate()
    {
        path.line_to(end);
        add_arc(&mut path, &Arc::new(centre, radii, (i as f64 - 1.0) * FRAC_PI_2, FRAC_PI_2, 0.0));
    }
    path.close_path();
    Ok(path)
}

/// Adds an arc whose start is the path's end.
fn add_arc(path: &mut BezPath, arc: &Arc) {
    let tolerance = ARC_ERROR * arc.radii.x.abs().max(arc.radii.y.abs());
    arc.to_cubic_beziers(tolerance, |a, b, end| path.curve_to(a, b, end));
}

/// The end of a path so far, and what the next commands refer to.
#[derive(Default)]
struct Pen {
    path: BezPath,
    at: Point,
    start: Point,
    /// Last control point of the curve before, cubic and quadratic.
    cubic: Option<Point>,
    quadratic: Option<Point>,
    /// A subpath has been begun and not closed.
    open: bool,
}

fn path(node: Node<'_, '_>) -> Result<BezPath, Fault> {
    let Some(data) = node.attribute_node("d") else { return Ok(BezPath::new()) };
    let mut pen = Pen::default();
    for segment in PathParser::from(data.value()) {
        let segment = segment.map_err(|error| Fault {
            next: Some("Save the drawing anew from the program that drew it, or give the curve again."),
            ..Fault::new(data.range_value(), format!("the curve `d` cannot be read: {error}"))
        })?;
        pen.follow(segment);
        if pen.path.elements().len() > MOST_SEGMENTS {
            break; // The whole drawing is refused for it.
        }
    }
    Ok(pen.path)
}

impl Pen {
    fn place(&self, abs: bool, x: f64, y: f64) -> Point {
        if abs { Point::new(x, y) } else { self.at + Vec2::new(x, y) }
    }

    /// Every drawing command after a closed subpath begins a new one at the same start.
    fn begun(&mut self) {
        if !self.open {
            self.path.move_to(self.at);
            self.open = true;
        }
    }

    fn line(&mut self, to: Point) {
        self.begun();
        self.path.line_to(to);
        self.at = to;
    }

    fn cubic(&mut self, a: Point, b: Point, to: Point) {
        self.begun();
        self.path.curve_to(a, b, to);
        (self.at, self.cubic) = (to, Some(b));
    }

    fn quadratic(&mut self, a: Point, to: Point) {
        self.begun();
        self.path.quad_to(a, to);
        (self.at, self.quadratic) = (to, Some(a));
    }

    fn follow(&mut self, segment: PathSegment) {
        let (cubic, quadratic) = (self.cubic.take(), self.quadratic.take());
        // The control point before, mirrored at the present place.
        let mirrored = |control: Option<Point>, at: Point| control.map_or(at, |c| at + (at - c));
        match segment {
            PathSegment::MoveTo { abs, x, y } => {
                self.at = self.place(abs, x, y);
                self.start = self.at;
                self.path.move_to(self.at);
                self.open = true;
            }
            PathSegment::LineTo { abs, x, y } => self.line(self.place(abs, x, y)),
            PathSegment::HorizontalLineTo { abs, x } => {
                self.line(Point::new(if abs { x } else { self.at.x + x }, self.at.y));
            }
            PathSegment::VerticalLineTo { abs, y } => {
                self.line(Point::new(self.at.x, if abs { y } else { self.at.y + y }));
            }
            PathSegment::CurveTo { abs, x1, y1, x2, y2, x, y } => {
                self.cubic(self.place(abs, x1, y1), self.place(abs, x2, y2), self.place(abs, x, y));
            }
            PathSegment::SmoothCurveTo { abs, x2, y2, x, y } => {
                self.cubic(mirrored(cubic, self.at), self.place(abs, x2, y2), self.place(abs, x, y));
            }
            PathSegment::Quadratic { abs, x1, y1, x, y } => {
                self.quadratic(self.place(abs, x1, y1), self.place(abs, x, y));
            }
            PathSegment::SmoothQuadratic { abs, x, y } => {
                self.quadratic(mirrored(quadratic, self.at), self.place(abs, x, y));
            }
            PathSegment::EllipticalArc { abs, rx, ry, x_axis_rotation, large_arc, sweep, x, y } => {
                let to = self.place(abs, x, y);
                self.arc(&SvgArc {
                    from: self.at,
                    to,
                    radii: Vec2::new(rx, ry),
                    x_rotation: x_axis_rotation.to_radians(),
                    large_arc,
                    sweep,
                });
            }
            PathSegment::ClosePath { .. } => {
                if self.open {
                    self.path.close_path();
                }
                self.open = false;
                self.at = self.start;
            }
        }
    }

    fn arc(&mut self, arc: &SvgArc) {
        if arc.from == arc.to {
            return; // The standard leaves such an arc out.
        }
        self.begun();
        match Arc::from_svg_arc(arc) {
            Some(round) => add_arc(&mut self.path, &round),
            None => self.path.line_to(arc.to),
        }
        self.at = arc.to;
    }
}
