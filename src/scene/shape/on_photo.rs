//! What a scene may say about a photograph of the garment.

use super::{EXPOSURE_EV, MOST_EXTENT_MM, POSITION_MM};
use crate::picture::on_photo::surface::MOST_LINES;
use crate::reading::{Absent, Field, Kind, Limits, Shape};

/// A place in a photograph: the edge of the upper left image pixel, to beyond any camera.
pub const PHOTO_PX: Limits = Limits::new(-0.5, 100_000.0, "image pixels");
/// Side of the marked area.
pub const MARKED_MM: Limits = Limits::new(1.0, MOST_EXTENT_MM, "mm");
/// Light in which a photograph was taken: by a candle's to the sun's at noon.
const TAKEN_LX: Limits = Limits::new(0.1, 120_000.0, "lx");
/// Columns or rows of points.
const LINES: Limits = Limits::new(2.0, MOST_LINES as f64, "");

/// A photograph.
pub static PHOTO: Shape = Shape {
    what: "`photo`",
    fields: &[
        Field::must(
            "file",
            Kind::Text,
            "the photograph (JPEG, PNG or TIFF); its path counts from the scene's folder",
        ),
        Field::may(
            "corners_px",
            Kind::List(&Kind::Pair(&Kind::Number(PHOTO_PX)), 4, 4),
            Absent::Open,
            "where the corners of the marked area are seen: top left, top right, bottom right, bottom left; [x, y], y downwards",
        ),
        Field::may(
            "points_px",
            Kind::List(&Kind::Pair(&Kind::Number(PHOTO_PX)), 4, MOST_LINES * MOST_LINES),
            Absent::Open,
            "instead, for cloth that bends: points in even columns and rows over the marked area, row by row from the top left",
        ),
        Field::may("columns", Kind::Whole(LINES), Absent::Open, "points in a row of `points_px`"),
        Field::may("rows", Kind::Whole(LINES), Absent::Open, "rows of `points_px`"),
        Field::may(
            "width_mm",
            Kind::Number(MARKED_MM),
            Absent::Open,
            "width of the marked area on the garment; without it, what the scene's picture shows",
        ),
        Field::may(
            "height_mm",
            Kind::Number(MARKED_MM),
            Absent::Open,
            "height of the marked area; without it, what the scene's picture shows",
        ),
        Field::may(
            "centre_mm",
            Kind::Pair(&Kind::Number(POSITION_MM)),
            Absent::Open,
            "middle of the marked area, [x, y]; without it, the middle of what the scene's picture shows",
        ),
        Field::may(
            "room_lx",
            Kind::Number(TAKEN_LX),
            Absent::Open,
            "light on the garment when it was taken; without it, the marked cloth is taken to be the scene's cloth",
        ),
        Field::may(
            "exposure_ev",
            Kind::Number(EXPOSURE_EV),
            Absent::Open,
            "its exposure value at ISO 100, with `room_lx`; without it, what the file tells",
        ),
    ],
    exactly_one: &[&["corners_px", "points_px"]],
    at_most_one: &[],
};
