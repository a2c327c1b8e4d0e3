//! The size of a drawing's unit, from `width`, `height` and `viewBox` of its outermost element.
//!
//! | the file says | one unit is |
//! |---|---|
//! | `width="210mm" viewBox="0 0 210 297"` | what makes the view box 210 mm wide: here 1 mm |
//! | `width="210mm"` alone | a pixel, 25.4/96 mm (the standard's user unit) |
//! | `width="800" viewBox="0 0 400 300"` | what makes the view box 800 pixels wide: here two pixels |
//! | neither `width` nor `height`, or percent | 1 mm |
//!
//! The last line is this program's own; the standard leaves it to whoever shows the drawing.

use super::Fault;
use kurbo::{Affine, Vec2};
use roxmltree::Node;
use std::str::FromStr;
use svgtypes::{Align, AspectRatio, Length, LengthUnit, ViewBox};

/// Millimetres to the inch.
const INCH_MM: f64 = 25.4;
/// The standard's pixel.
pub const PIXEL_MM: f64 = INCH_MM / 96.0;

/// Where a drawing's scale comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// `width` or `height` with a unit of length.
    Physical,
    /// Pixels of 1/96 inch.
    Pixels,
    /// The drawing names no size: units are taken as millimetres.
    Assumed,
}

/// Size of the drawing's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Millimetres to the unit, across and upright.
    pub mm_per_unit: [f64; 2],
    /// Where that comes from.
    pub basis: Basis,
}

impl std::fmt::Display for Scale {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let [x, y] = self.mm_per_unit.map(|v| (v * 1e4).round() / 1e4);
        if x == y {
            write!(f, "one unit of the drawing is {x} mm")?;
        } else {
            write!(f, "one unit of the drawing is {x} mm across and {y} mm upright")?;
        }
        f.write_str(match self.basis {
            Basis::Physical => " (from its width and height)",
            Basis::Pixels => " (its size is given in pixels of 1/96 inch)",
            Basis::Assumed => " (taken so, since it names no width)",
        })
    }
}

/// A length in mm; `None` for shares of something that is not there.
fn in_mm(length: Length) -> Option<f64> {
    Some(length.number * to_mm(length.unit)?)
}

fn to_mm(unit: LengthUnit) -> Option<f64> {
    Some(match unit {
        LengthUnit::None | LengthUnit::Px => PIXEL_MM,
        LengthUnit::In => INCH_MM,
        LengthUnit::Cm => 10.0,
        LengthUnit::Mm => 1.0,
        LengthUnit::Pt => INCH_MM / 72.0,
        LengthUnit::Pc => INCH_MM / 6.0,
        LengthUnit::Em | LengthUnit::Ex | LengthUnit::Percent => return None,
    })
}

/// A length inside the drawing in its units. A unit of length counts in pixels there, as everywhere in SVG.
pub(super) fn in_units(length: Length) -> Option<f64> {
    match length.unit {
        LengthUnit::None | LengthUnit::Px => Some(length.number),
        unit => Some(length.number * to_mm(unit)? / PIXEL_MM),
    }
}

/// A value of an attribute that can be parsed; `None` when it is not there.
pub(super) fn attribute<T: FromStr>(node: Node<'_, '_>, name: &str) -> Result<Option<T>, Fault> {
    let Some(attribute) = node.attribute_node(name) else { return Ok(None) };
    match attribute.value().trim().parse() {
        Ok(value) => Ok(Some(value)),
        Err(_) => Err(Fault {
            found: Some(attribute.value().to_owned()),
            ..Fault::new(attribute.range_value(), format!("`{name}` cannot be read"))
        }),
    }
}

/// The scale of the outermost element, and the way from its units to mm with y downwards.
pub(super) fn outermost(svg: Node<'_, '_>) -> Result<(Scale, Affine), Fault> {
    let given = [attribute::<Length>(svg, "width")?, attribute::<Length>(svg, "height")?];
    let sides = given.map(|length| length.and_then(in_mm));
    let physical = given
        .iter()
        .flatten()
        .any(|l| in_mm(*l).is_some() && !matches!(l.unit, LengthUnit::None | LengthUnit::Px));
    let basis = match sides {
        [None, None] => Basis::Assumed,
        _ if physical => Basis::Physical,
        _ => Basis::Pixels,
    };
    let unit_mm = if basis == Basis::Assumed { 1.0 } else { PIXEL_MM };
    let into = match view_box(svg)? {
        Some(view) => fitted(svg, &view, sides, unit_mm)?,
        None => Affine::scale(unit_mm),
    };
    let [a, _, _, d, _, _] = into.as_coeffs();
    if [a, d].iter().any(|scale| !scale.is_finite() || *scale <= 0.0) {
        return Err(Fault {
            next: Some("Give `width` and `height` the size of the drawing, such as 210mm."),
            ..Fault::new(start_tag(svg), "the size of the drawing is not a positive length")
        });
    }
    Ok((Scale { mm_per_unit: [a, d], basis }, into))
}

/// The way from the units inside a nested `svg` element to those around it.
pub(super) fn nested(svg: Node<'_, '_>) -> Result<Affine, Fault> {
    let side = |name| Ok::<_, Fault>(attribute::<Length>(svg, name)?.and_then(in_units));
    let corner = Vec2::new(side("x")?.unwrap_or(0.0), side("y")?.unwrap_or(0.0));
    let inside = match view_box(svg)? {
        Some(view) => fitted(svg, &view, [side("width")?, side("height")?], 1.0)?,
        None => Affine::IDENTITY,
    };
    Ok(Affine::translate(corner) * inside)
}

fn view_box(svg: Node<'_, '_>) -> Result<Option<ViewBox>, Fault> {
    attribute::<ViewBox>(svg, "viewBox")
}

/// Fits a view box into sides of which either may be missing; without both, a unit is `unit` long.
fn fitted(svg: Node<'_, '_>, view: &ViewBox, sides: [Option<f64>; 2], unit: f64) -> Result<Affine, Fault> {
    let ratio = attribute::<AspectRatio>(svg, "preserveAspectRatio")?;
    let AspectRatio { align, slice, .. } =
        ratio.unwrap_or(AspectRatio { defer: false, align: Align::XMidYMid, slice: false });
    let [wide, high] = [sides[0].map(|side| side / view.w), sides[1].map(|side| side / view.h)];
    let (sx, sy) = match (wide, high) {
        (None, None) => (unit, unit),
        (Some(one), None) | (None, Some(one)) => (one, one),
        (Some(x), Some(y)) if align == Align::None => (x, y),
        (Some(x), Some(y)) => {
            let both = if slice { x.max(y) } else { x.min(y) };
            (both, both)
        }
    };
    let (share_x, share_y) = shares(align);
    let rest = |side: Option<f64>, length: f64, share: f64| side.map_or(0.0, |side| share * (side - length));
    let corner = Vec2::new(rest(sides[0], sx * view.w, share_x), rest(sides[1], sy * view.h, share_y));
    Ok(Affine::translate(corner) * Affine::scale_non_uniform(sx, sy) * Affine::translate((-view.x, -view.y)))
}

/// The shares of the room left over that lie before the view box, across and upright.
fn shares(align: Align) -> (f64, f64) {
    match align {
        Align::None | Align::XMinYMin => (0.0, 0.0),
        Align::XMidYMin => (0.5, 0.0),
        Align::XMaxYMin => (1.0, 0.0),
        Align::XMinYMid => (0.0, 0.5),
        Align::XMidYMid => (0.5, 0.5),
        Align::XMaxYMid => (1.0, 0.5),
        Align::XMinYMax => (0.0, 1.0),
        Align::XMidYMax => (0.5, 1.0),
        Align::XMaxYMax => (1.0, 1.0),
    }
}

/// The beginning of an element, for messages.
pub(super) fn start_tag(node: Node<'_, '_>) -> std::ops::Range<usize> {
    let start = node.range().start;
    // The sign `<` and the name, which may carry a prefix; the name alone is surely there.
    start..start + 1 + node.tag_name().name().len()
}
