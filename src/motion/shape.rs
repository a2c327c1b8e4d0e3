//! What `light.pattern` of a scene file may say.

use crate::reading::{Absent, Field, Kind, Limits, Shape};
use crate::scene::shape::{ANGLE_DEG, MOST_GROUPS, MOST_PIXELS, POSITION_MM};

/// Length of a loop and periods: from one frame to an hour.
pub const DURATION_S: Limits = Limits::new(0.02, 3600.0, "s");
/// Frames a second. The eye fuses 24 and more into movement (common practice); screens show 60, fast ones 120.
pub const FRAMES_PER_S: Limits = Limits::new(0.1, 120.0, "in a second");
/// A time of a keyframe.
const AT_S: Limits = Limits::new(0.0, 3600.0, "s");
/// Exponent over the codes.
const GAMMA: Limits = Limits::new(0.2, 5.0, "");
/// How often a dithering program sends.
const DITHERING_PER_S: Limits = Limits::new(1.0, 10_000.0, "in a second");
/// A share of one.
const SHARE: Limits = Limits::new(0.0, 1.0, "");
/// Rates of an ember.
const RATE_PER_S: Limits = Limits::new(0.001, 30.0, "in a second");
/// A seed.
const SEED: Limits = Limits::new(0.0, 4_294_967_295.0, "");
/// Pixels of one length of a gradient or wave.
const ALONG_PIXELS: Limits = Limits::new(1.0, MOST_PIXELS as f64, "pixels");
/// Length of a gradient, width of a picture.
const LENGTH_MM: Limits = Limits::new(1.0, 100_000.0, "mm");
/// Keyframes of one pattern.
pub const MOST_KEYFRAMES: usize = 10_000;
/// Colours of one gradient.
pub const MOST_COLOURS: usize = 256;
/// The courses, of which a pattern has one.
pub const COURSES: &[&str] = &["keyframes", "gradient", "pulse", "ember", "picture"];

/// A pattern.
pub static PATTERN: Shape = Shape {
    what: "`pattern`",
    fields: &[
        Field::may(
            "keyframes",
            Kind::List(&Kind::Map(&KEYFRAME), 1, MOST_KEYFRAMES),
            Absent::Open,
            "colours and levels at given times",
        ),
        Field::may("gradient", Kind::Map(&GRADIENT), Absent::Open, "colours that drift over the pixels"),
        Field::may("pulse", Kind::Map(&PULSE), Absent::Open, "a level that swells and falls"),
        Field::may("ember", Kind::Map(&EMBER), Absent::Open, "a smooth random flicker, as of embers"),
        Field::may(
            "picture",
            Kind::Map(&PICTURE),
            Absent::Open,
            "a picture or GIF file laid over the pixels",
        ),
        Field::may(
            "duration_s",
            Kind::Number(DURATION_S),
            Absent::Open,
            "length of one loop; without it, that of the course: its last keyframe, its period, the GIF, or 10 s",
        ),
        Field::may("frames_per_s", Kind::Number(FRAMES_PER_S), Absent::Number(25.0), "frames of films of it"),
        Field::may(
            "gamma",
            Kind::Number(GAMMA),
            Absent::Number(1.0),
            "exponent that the program puts over its codes, such as 2.2; 1 for none",
        ),
        Field::may(
            "steps",
            Kind::Choice(&["eight_bits", "none"]),
            Absent::Text("eight_bits"),
            "how levels are sent: in 255 steps, as pixels take them, or without steps",
        ),
        Field::may(
            "dithering_per_s",
            Kind::Number(DITHERING_PER_S),
            Absent::Open,
            "how often a second a program that mixes neighbouring steps sends them; without it none are mixed",
        ),
    ],
    exactly_one: &[COURSES],
    at_most_one: &[],
};

/// A keyframe.
pub static KEYFRAME: Shape = Shape {
    what: "a keyframe",
    fields: &[
        Field::must("at_s", Kind::Number(AT_S), "when, from the start of the loop"),
        Field::may("colour", Kind::Colour, Absent::Open, "colour sent then; without it, the pixels' own"),
        Field::may("level", Kind::Number(SHARE), Absent::Open, "level then; without it, the pixels' own"),
        Field::may(
            "white",
            Kind::Number(SHARE),
            Absent::Open,
            "share of the white die then; without it, the pixels' own",
        ),
        Field::may(
            "group",
            Kind::Whole(Limits::new(0.0, (MOST_GROUPS - 1) as f64, "")),
            Absent::Open,
            "group of pixels, counted from 0; without it, all groups without keyframes of their own",
        ),
        Field::may(
            "hold",
            Kind::Flag,
            Absent::Open,
            "true holds it until the next keyframe instead of going there in a straight line",
        ),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// A gradient.
pub static GRADIENT: Shape = Shape {
    what: "a gradient",
    fields: &[
        Field::must(
            "colours",
            Kind::List(&Kind::Colour, 2, MOST_COLOURS),
            "colours at equal distances; after the last comes the first again",
        ),
        Field::may(
            "pixels",
            Kind::Number(ALONG_PIXELS),
            Absent::Open,
            "length of all colours along the wiring, in pixels; without it and `length_mm`, all pixels",
        ),
        Field::may(
            "length_mm",
            Kind::Number(LENGTH_MM),
            Absent::Open,
            "length of all colours across the garment",
        ),
        Field::may(
            "direction_deg",
            Kind::Number(ANGLE_DEG),
            Absent::Number(0.0),
            "for `length_mm`, where the colours follow one another and drift: 0 to the right, 90 upwards",
        ),
        Field::must("period_s", Kind::Number(DURATION_S), "time in which they drift by their length"),
    ],
    exactly_one: &[],
    at_most_one: &[&["pixels", "length_mm"]],
};

/// A pulse.
pub static PULSE: Shape = Shape {
    what: "a pulse",
    fields: &[
        Field::must("period_s", Kind::Number(DURATION_S), "from crest to crest"),
        Field::may(
            "depth",
            Kind::Number(SHARE),
            Absent::Number(0.5),
            "share of the level that is lost in the trough",
        ),
        Field::may(
            "wave_pixels",
            Kind::Number(ALONG_PIXELS),
            Absent::Open,
            "pixels from crest to crest along the wiring; without it all swell together",
        ),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// An ember.
pub static EMBER: Shape = Shape {
    what: "an ember",
    fields: &[
        Field::may("depth", Kind::Number(SHARE), Absent::Number(0.6), "share of the level that may be lost"),
        Field::may(
            "slowest_per_s",
            Kind::Number(RATE_PER_S),
            Absent::Number(0.1),
            "least number of swells a second",
        ),
        Field::may(
            "fastest_per_s",
            Kind::Number(RATE_PER_S),
            Absent::Number(0.8),
            "greatest number of swells a second",
        ),
        Field::may("seed", Kind::Whole(SEED), Absent::Number(1.0), "the same seed glows the same"),
    ],
    exactly_one: &[],
    at_most_one: &[],
};

/// A picture.
pub static PICTURE: Shape = Shape {
    what: "a picture",
    fields: &[
        Field::must(
            "file",
            Kind::Text,
            "a PNG, JPEG, WebP or GIF file, counted from the folder of the scene",
        ),
        Field::may(
            "centre_mm",
            Kind::Pair(&Kind::Number(POSITION_MM)),
            Absent::Open,
            "its middle, [x, y]; without it, the middle of the pixels",
        ),
        Field::may(
            "width_mm",
            Kind::Number(LENGTH_MM),
            Absent::Open,
            "its width; without it, as large as covers all pixels with its own proportions",
        ),
    ],
    exactly_one: &[],
    at_most_one: &[],
};
