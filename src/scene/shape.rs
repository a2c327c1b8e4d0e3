//! What a scene file may say.

mod drawn;
mod on_photo;

pub use drawn::{FILL, LEAST_RADIUS_MM, LIST, MOST_CORNERS, OUTLINE, PATH};
pub use on_photo::{MARKED_MM, PHOTO, PHOTO_PX};

use crate::build::supply::SUPPLY;
use crate::cloth::shape::CLOTH;
use crate::motion::shape::PATTERN;
use crate::pixels::package::Package;
use crate::reading::{Absent, Field, Kind, Limits, Shape};

/// Distance from pixel to pixel: from packages side by side to single lights.
pub const PITCH_MM: Limits = Limits::new(0.1, 1000.0, "mm");
/// Pixels in one scene, all groups together. A garment has hundreds; the limit bounds time and memory.
pub const MOST_PIXELS: usize = 100_000;
/// Pixels in one group.
pub const COUNT: Limits = Limits::new(1.0, MOST_PIXELS as f64, "");
/// A place in the board's plane: ten metres either way hold every garment and every stage dress.
pub const POSITION_MM: Limits = Limits::new(-10_000.0, 10_000.0, "mm");
/// Length of a strip, width and height of a grid, diameter of a ring.
pub const MOST_EXTENT_MM: f64 = 10_000.0;
/// Diameter of a ring.
const DIAMETER_MM: Limits = Limits::new(1.0, MOST_EXTENT_MM, "mm");
/// A direction or a turn.
pub const ANGLE_DEG: Limits = Limits::new(-360.0, 360.0, "degrees");
/// Air below a cloth.
pub const GAP_MM: Limits = Limits::new(0.0, 500.0, "mm");
/// How far a dome or a quilt rises; below zero it is hollow.
const RISE_MM: Limits = Limits::new(-500.0, 500.0, "mm");
/// Radius of a dome, side of a quilt's cells: a button to a whole garment.
const RELIEF_MM: Limits = Limits::new(1.0, MOST_EXTENT_MM, "mm");
/// Cloths in one stack.
pub const MOST_LAYERS: usize = 8;
/// Groups of pixels in one scene.
pub const MOST_GROUPS: usize = 1000;
/// A share of one.
const SHARE: Limits = Limits::new(0.0, 1.0, "");
/// Exponent of the beam of an ideal source.
const BEAM_POWER: Limits = Limits::new(0.0, 100.0, "");
/// Viewing distance.
pub const DISTANCE_M: Limits = Limits::new(0.1, 1000.0, "m");
/// Light of the room: from darkness to the sun at noon.
pub const ROOM_LX: Limits = Limits::new(0.0, 120_000.0, "lx");
/// Angle of the observer from straight ahead; beyond, cloth is seen by its folds.
pub const SIDE_DEG: Limits = Limits::new(0.0, 75.0, "degrees");
/// Exposure value at ISO 100: from starlight to glaring snow.
pub const EXPOSURE_EV: Limits = Limits::new(-10.0, 25.0, "EV");
/// Margin around the pixels.
const MARGIN_MM: Limits = Limits::new(0.0, 2000.0, "mm");
/// Side of the picture.
pub const SIZE_PX: Limits = Limits::new(16.0, 8192.0, "image pixels");
/// Age of the observer.
const AGE_YEARS: Limits = Limits::new(1.0, 120.0, "years");
/// Pigmentation of the eye, as CIE 135/1 counts it: 0 very dark, 0.5 brown, 1 blue-green, 1.2 light blue.
const EYE: Limits = Limits::new(0.0, 1.2, "");

/// Margin that is shown without being asked for: this many heights of the stack, since a spot is about as wide as
/// its cloth stands high, …
pub const MARGIN_HEIGHTS: f64 = 2.0;
/// … and this much on top, so that bare pixels have a rim too.
pub const MARGIN_LEAST_MM: f64 = 10.0;

fn packages() -> Vec<&'static str> {
    Package::names().into_iter().collect()
}

const PACKAGE: Field = Field::may(
    "package",
    Kind::Named("package", packages),
    Absent::Text("5050"),
    "trade code of the pixels' package",
);
const GROUP_COLOUR: Field =
    Field::may("colour", Kind::Colour, Absent::Open, "colour sent to all pixels of the group");
const GROUP_COLOURS: Field = Field::may(
    "colours",
    Kind::List(&Kind::Colour, 1, MOST_PIXELS),
    Absent::Open,
    "colours sent to the pixels one after another, again from the start when they run out",
);
const GROUP_LEVEL: Field =
    Field::may("level", Kind::Number(SHARE), Absent::Open, "level of all pixels of the group");
const GROUP_LEVELS: Field = Field::may(
    "levels",
    Kind::List(&Kind::Number(SHARE), 1, MOST_PIXELS),
    Absent::Open,
    "levels of the pixels one after another, again from the start when they run out",
);
const GROUP_WHITE: Field = Field::may(
    "white",
    Kind::Number(SHARE),
    Absent::Open,
    "share of the white die, for packages that have one",
);
const GROUP_GAP: Field = Field::may(
    "gap_mm",
    Kind::Number(GAP_MM),
    Absent::Open,
    "air between these pixels and the first cloth, instead of the `gap_mm` of the first layer: the group sits lower or higher",
);
const ONE_COLOUR_OR_MANY: &[&[&str]] = &[&["colour", "colours"], &["level", "levels"]];

/// A scene.
pub static SCENE: Shape = Shape {
    what: "a scene",
    fields: &[
        Field::may("name", Kind::Text, Absent::Text("Untitled scene"), "name, shown on pictures"),
        Field::may("board", Kind::Map(&BOARD), Absent::Open, "what the pixels sit on"),
        Field::must(
            "pixels",
            Kind::List(&Kind::OneOf(&GROUP), 1, MOST_GROUPS),
            "list of groups: strip, ring, grid, path, fill, list or point",
        ),
        Field::must(
            "stack",
            Kind::List(&Kind::Map(&PLACED), 0, MOST_LAYERS),
            "the cloths from the pixels outwards; `[]` for bare pixels",
        ),
        Field::may(
            "light",
            Kind::Map(&LIGHT),
            Absent::Open,
            "what is sent to all pixels unless their group says otherwise",
        ),
        Field::may("view", Kind::Map(&VIEW), Absent::Open, "from where and in which light it is seen"),
        Field::may(
            "supply",
            Kind::Map(&SUPPLY),
            Absent::Open,
            "what powers the pixels; without it only currents are known",
        ),
        Field::may(
            "outline",
            Kind::Map(&OUTLINE),
            Absent::Open,
            "edge of the pattern piece: the picture ends there, and pixels must lie inside",
        ),
        Field::may(
            "sheet",
            Kind::Map(&SHEET),
            Absent::Open,
            "words of the maker's own on the sheet for a client; nothing else heeds them",
        ),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// The maker's words on the sheet for a client.
pub static SHEET: Shape = Shape {
    what: "`sheet`",
    fields: &[
        Field::may("title", Kind::Text, Absent::Open, "heading of the sheet, instead of the scene's name"),
        Field::may("note", Kind::Text, Absent::Open, "a note to the client; every line is a paragraph"),
        Field::may("client", Kind::Text, Absent::Open, "for whom the sheet is made"),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// The board.
pub static BOARD: Shape = Shape {
    what: "`board`",
    fields: &[Field::may(
        "reflectance",
        Kind::Number(SHARE),
        Absent::Number(0.5),
        "share of the light that it throws back, to all sides",
    )],
    exactly_one: &[],
    at_most_one: &[],
};

/// One group of pixels.
pub static GROUP: Shape = Shape {
    what: "a group of pixels",
    fields: &[
        Field::may("strip", Kind::Map(&STRIP), Absent::Open, "a straight strip"),
        Field::may("ring", Kind::Map(&RING), Absent::Open, "a ring"),
        Field::may("grid", Kind::Map(&GRID), Absent::Open, "a grid of rows and columns"),
        Field::may("path", Kind::Map(&PATH), Absent::Open, "pixels along a drawn curve"),
        Field::may("fill", Kind::Map(&FILL), Absent::Open, "rows of pixels inside a drawn outline"),
        Field::may("list", Kind::Map(&LIST), Absent::Open, "pixels at the places of a CSV file"),
        Field::may("point", Kind::Map(&POINT), Absent::Open, "one ideal source of unit flux, for tests"),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// A strip.
pub static STRIP: Shape = Shape {
    what: "a strip",
    fields: &[
        PACKAGE,
        Field::must(
            "pitch_mm",
            Kind::Number(PITCH_MM),
            "distance from pixel to pixel (60 to the metre: 16.67)",
        ),
        Field::must("count", Kind::Whole(COUNT), "number of pixels"),
        Field::may(
            "start_mm",
            Kind::Pair(&Kind::Number(POSITION_MM)),
            Absent::Pair([0.0, 0.0]),
            "centre of the first pixel, [x, y], x to the right and y upwards",
        ),
        Field::may(
            "direction_deg",
            Kind::Number(ANGLE_DEG),
            Absent::Number(0.0),
            "where the strip runs: 0 to the right, 90 upwards",
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

const CENTRE: Field = Field::may(
    "centre_mm",
    Kind::Pair(&Kind::Number(POSITION_MM)),
    Absent::Pair([0.0, 0.0]),
    "centre, [x, y]",
);

/// A ring.
pub static RING: Shape = Shape {
    what: "a ring",
    fields: &[
        PACKAGE,
        Field::must("count", Kind::Whole(COUNT), "number of pixels"),
        Field::must(
            "diameter_mm",
            Kind::Number(DIAMETER_MM),
            "diameter of the circle through the pixels' centres",
        ),
        CENTRE,
        Field::may(
            "start_deg",
            Kind::Number(ANGLE_DEG),
            Absent::Number(90.0),
            "where the first pixel sits: 0 on the right, 90 at the top; the others follow anticlockwise",
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

/// A grid.
pub static GRID: Shape = Shape {
    what: "a grid",
    fields: &[
        PACKAGE,
        Field::must("columns", Kind::Whole(COUNT), "pixels in a row"),
        Field::must("rows", Kind::Whole(COUNT), "number of rows"),
        Field::must("pitch_mm", Kind::Number(PITCH_MM), "distance from pixel to pixel, both ways"),
        CENTRE,
        Field::may(
            "order",
            Kind::Choice(&["zigzag", "same_way"]),
            Absent::Text("zigzag"),
            "wiring from the upper left: every second row runs back, or all run the same way",
        ),
        Field::may(
            "turn_deg",
            Kind::Number(ANGLE_DEG),
            Absent::Number(0.0),
            "turn of the whole grid around its centre, anticlockwise",
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

/// An ideal source.
pub static POINT: Shape = Shape {
    what: "a point",
    fields: &[
        Field::may(
            "at_mm",
            Kind::Pair(&Kind::Number(POSITION_MM)),
            Absent::Pair([0.0, 0.0]),
            "its place, [x, y]",
        ),
        Field::may(
            "beam_power",
            Kind::Number(BEAM_POWER),
            Absent::Number(1.0),
            "exponent of its beam: 0 to all sides alike, 1 a viewing angle of 120 degrees",
        ),
        Field::may("level", Kind::Number(SHARE), Absent::Number(1.0), "its level; `light` does not dim it"),
        GROUP_GAP,
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// A cloth in its place.
pub static PLACED: Shape = Shape {
    what: "a layer of the stack",
    fields: &[
        Field::may(
            "gap_mm",
            Kind::Number(GAP_MM),
            Absent::Number(0.0),
            "air below the cloth; 0 lies on what is below",
        ),
        Field::must(
            "cloth",
            Kind::TextOr(&CLOTH),
            "a name of the catalogue, a file that ends in .yaml, or a cloth written in place",
        ),
        Field::may(
            "sleeve",
            Kind::Flag,
            Absent::Open,
            "true for the sleeve in which a strip is sold: its ends are stripped for soldering, and it is no cloth to cut",
        ),
        Field::may(
            "dome",
            Kind::Map(&DOME),
            Absent::Open,
            "first layer only: the cloth stands farther off around a place, and the others follow it",
        ),
        Field::may(
            "quilt",
            Kind::Map(&QUILT),
            Absent::Open,
            "first layer only: stitched squares, `gap_mm` off at the seams and more between them",
        ),
    ],
    exactly_one: &[],
    at_most_one: &[&["dome", "quilt"]],
};

const RISE: Field = Field::must(
    "rise_mm",
    Kind::Number(RISE_MM),
    "gap in the middle beyond `gap_mm`; below 0 the cloth is hollow there",
);

/// A dome.
pub static DOME: Shape = Shape {
    what: "a dome",
    fields: &[
        RISE,
        CENTRE,
        Field::must(
            "radius_mm",
            Kind::Number(RELIEF_MM),
            "from the centre to where the rise ends; it falls off as a paraboloid",
        ),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// A quilt.
pub static QUILT: Shape = Shape {
    what: "a quilt",
    fields: &[
        RISE,
        Field::must("cell_mm", Kind::Number(RELIEF_MM), "side of the stitched squares"),
        Field::may(
            "origin_mm",
            Kind::Pair(&Kind::Number(POSITION_MM)),
            Absent::Pair([0.0, 0.0]),
            "a corner of one of the squares, [x, y]; the seams run along x and y",
        ),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// What is sent to the pixels.
pub static LIGHT: Shape = Shape {
    what: "`light`",
    fields: &[
        Field::may("colour", Kind::Colour, Absent::Text("#ffffff"), "colour sent to the pixels"),
        Field::may(
            "level",
            Kind::Number(SHARE),
            Absent::Number(1.0),
            "brightness setting: the share of the time for which the pixels are on",
        ),
        Field::may(
            "white",
            Kind::Number(SHARE),
            Absent::Number(0.0),
            "share of the white die, for packages that have one",
        ),
        Field::may("pattern", Kind::Map(&PATTERN), Absent::Open, "how colours and levels change with time"),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// The view.
pub static VIEW: Shape = Shape {
    what: "`view`",
    fields: &[
        Field::may("distance_m", Kind::Number(DISTANCE_M), Absent::Number(2.0), "from how far it is seen"),
        Field::may("room_lx", Kind::Number(ROOM_LX), Absent::Number(20.0), "light of the room on the cloth"),
        Field::may(
            "exposure_ev",
            Kind::NumberOr(EXPOSURE_EV, &["auto"]),
            Absent::Text("auto"),
            "exposure value at ISO 100, or auto",
        ),
        Field::may(
            "margin_mm",
            Kind::Number(MARGIN_MM),
            Absent::Open,
            "shown around the pixels; without it, twice the height of the stack and 10 mm",
        ),
        Field::may(
            "size_px",
            Kind::Pair(&Kind::Whole(SIZE_PX)),
            Absent::Open,
            "width and height of the picture; without it, the garment's proportions within 1920 by 1080",
        ),
        Field::may("age_years", Kind::Number(AGE_YEARS), Absent::Number(35.0), "age of the observer"),
        Field::may(
            "eye",
            Kind::Number(EYE),
            Absent::Number(0.5),
            "pigment of the observer's eye: 0 very dark, 0.5 brown, 1 blue-green, 1.2 light blue",
        ),
        Field::may(
            "photo",
            Kind::Map(&PHOTO),
            Absent::Open,
            "a photograph of the garment with its pixels off, onto which preview puts the glow",
        ),
        Field::may(
            "side_deg",
            Kind::Number(SIDE_DEG),
            Absent::Number(0.0),
            "how far to the side the observer stands: 0 straight ahead",
        ),
        Field::may(
            "from_deg",
            Kind::Number(ANGLE_DEG),
            Absent::Number(0.0),
            "on which side: 0 to the right, 90 above, 180 to the left, 270 below",
        ),
    ],
    exactly_one: &[],
    // The glow on a photograph is that from straight ahead.
    at_most_one: &[&["photo", "side_deg"]],
};
