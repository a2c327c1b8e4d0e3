//! What a scene may say about pixels along drawn curves, inside outlines and at listed places.

use super::{
    ANGLE_DEG, COUNT, GROUP_COLOUR, GROUP_COLOURS, GROUP_GAP, GROUP_LEVEL, GROUP_LEVELS, GROUP_WHITE,
    MOST_EXTENT_MM, ONE_COLOUR_OR_MANY, PACKAGE, PITCH_MM, POSITION_MM,
};
use crate::reading::{Absent, Field, Kind, Limits, Shape};

/// Corners that a scene file may list in place of a drawing.
pub const MOST_CORNERS: usize = 10_000;
/// A length along a curve.
const ALONG_MM: Limits = Limits::new(0.0, MOST_EXTENT_MM, "mm");
/// A seam allowance.
const SEAM_MM: Limits = Limits::new(0.0, 1000.0, "mm");
/// Radius to which a strip bends sideways.
const RADIUS_MM: Limits = Limits::new(0.0, MOST_EXTENT_MM, "mm");
/// Least radius to which a strip is bent in the plane in which it lies: common practice, no source. The outer edge of a strip of 10 mm
/// width is stretched there by 5/150, about 3 %, which copper and solder joints stand for a while and not for long. Smaller, and
/// strips that lift and crack would pass without a word.
pub const LEAST_RADIUS_MM: f64 = 150.0;

const SVG: Field = Field::may(
    "svg",
    Kind::Text,
    Absent::Open,
    "the drawing, an SVG file; its path counts from the scene's folder",
);
const ID: Field = Field::may("id", Kind::Text, Absent::Open, "id of the element in the drawing");
const CORNERS: Field = Field::may(
    "points_mm",
    Kind::List(&Kind::Pair(&Kind::Number(POSITION_MM)), 2, MOST_CORNERS),
    Absent::Open,
    "instead of a drawing: corners joined by straight lines, [[x, y], …]",
);
const AT: Field = Field::may(
    "at_mm",
    Kind::Pair(&Kind::Number(POSITION_MM)),
    Absent::Pair([0.0, 0.0]),
    "where the drawing's upper left corner goes, [x, y]; the drawing lies to the right and below",
);
const ONE_SOURCE: &[&[&str]] = &[&["svg", "points_mm"]];

/// Pixels along a drawn curve.
pub static PATH: Shape = Shape {
    what: "a path",
    fields: &[
        PACKAGE,
        Field::must("pitch_mm", Kind::Number(PITCH_MM), "distance from pixel to pixel along the curve"),
        SVG,
        ID,
        CORNERS,
        Field::may(
            "kind",
            Kind::Choice(&["strip", "wire"]),
            Absent::Text("strip"),
            "strip: cut at whole pixels and at corners, hardly bends sideways; wire: follows any curve",
        ),
        Field::may(
            "start_mm",
            Kind::Number(ALONG_MM),
            Absent::Open,
            "where the first pixel sits, along the curve; without it half a pitch from the start of a strip, at the start of a wire",
        ),
        Field::may("count", Kind::Whole(COUNT), Absent::Open, "number of pixels; without it as many as fit"),
        Field::may("reversed", Kind::Flag, Absent::Open, "true runs from the curve's end to its start"),
        Field::may(
            "turn",
            Kind::Choice(&["along", "none"]),
            Absent::Text("along"),
            "whether the packages turn with the curve",
        ),
        Field::may(
            "least_radius_mm",
            Kind::Number(RADIUS_MM),
            Absent::Number(LEAST_RADIUS_MM),
            "a strip that bends sideways more tightly gives a warning (common practice, no source)",
        ),
        AT,
        GROUP_COLOUR,
        GROUP_COLOURS,
        GROUP_LEVEL,
        GROUP_LEVELS,
        GROUP_WHITE,
        GROUP_GAP,
    ],
    exactly_one: ONE_SOURCE,
    at_most_one: ONE_COLOUR_OR_MANY,
};

/// Rows of pixels inside an outline.
pub static FILL: Shape = Shape {
    what: "a fill",
    fields: &[
        PACKAGE,
        Field::must("pitch_mm", Kind::Number(PITCH_MM), "distance from pixel to pixel in a row"),
        Field::may(
            "rows_mm",
            Kind::Number(PITCH_MM),
            Absent::Open,
            "distance from row to row; without it the pitch",
        ),
        SVG,
        ID,
        CORNERS,
        Field::may(
            "seam_mm",
            Kind::Number(SEAM_MM),
            Absent::Number(0.0),
            "seam allowance: so far from the edge there are no pixels",
        ),
        Field::may(
            "order",
            Kind::Choice(&["zigzag", "rows"]),
            Absent::Text("zigzag"),
            "wiring: every second row runs back, or all run the same way",
        ),
        Field::may(
            "direction_deg",
            Kind::Number(ANGLE_DEG),
            Absent::Number(0.0),
            "where the rows run: 0 to the right, the first row at the top; 90 upwards, the first row on the left",
        ),
        AT,
        GROUP_COLOUR,
        GROUP_COLOURS,
        GROUP_LEVEL,
        GROUP_LEVELS,
        GROUP_WHITE,
        GROUP_GAP,
    ],
    exactly_one: ONE_SOURCE,
    at_most_one: ONE_COLOUR_OR_MANY,
};

/// Pixels at listed places.
pub static LIST: Shape = Shape {
    what: "a list",
    fields: &[
        PACKAGE,
        Field::must(
            "csv",
            Kind::Text,
            "file of places with the columns index, x_mm, y_mm and, if wanted, turn_deg; its path counts from the scene's folder",
        ),
        Field::may(
            "at_mm",
            Kind::Pair(&Kind::Number(POSITION_MM)),
            Absent::Pair([0.0, 0.0]),
            "added to every place, [x, y]",
        ),
        GROUP_COLOUR,
        GROUP_COLOURS,
        GROUP_LEVEL,
        GROUP_LEVELS,
        GROUP_WHITE,
        GROUP_GAP,
    ],
    exactly_one: &[],
    at_most_one: ONE_COLOUR_OR_MANY,
};

/// The edge of the pattern piece.
pub static OUTLINE: Shape = Shape {
    what: "an outline",
    fields: &[
        SVG,
        ID,
        CORNERS,
        Field::may(
            "seam_mm",
            Kind::Number(SEAM_MM),
            Absent::Number(0.0),
            "seam allowance: pixels nearer to the edge give a warning",
        ),
        AT,
    ],
    exactly_one: ONE_SOURCE,
    at_most_one: &[],
};
