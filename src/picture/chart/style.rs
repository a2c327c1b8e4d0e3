//! Colours, dash patterns and marker shapes.

use crate::picture::canvas::Rgb8;

/// Text and marker lines.
pub(super) const INK: Rgb8 = [0x1b, 0x1e, 0x25];
/// Subtitles, notes and numbers.
pub(super) const QUIET: Rgb8 = [0x4d, 0x53, 0x5e];
/// The frame of a plot and its ticks.
pub(super) const FRAME: Rgb8 = [0x7d, 0x84, 0x91];
/// Lines of the grid.
pub(super) const GRID: Rgb8 = [0xdf, 0xe2, 0xe7];
/// The sheet.
pub(super) const PAPER: Rgb8 = [0xff, 0xff, 0xff];

/// Steps of a heat map, from little to much: each darker than the one before, so that they are told apart without seeing hues. The choice
/// is the project's own; a test holds the contrast of the figures on them.
pub(super) const HEAT: [Rgb8; 7] = [
    [0xf6, 0xf1, 0xe4],
    [0xf3, 0xd9, 0xa6],
    [0xec, 0xb3, 0x66],
    [0xe0, 0x87, 0x3f],
    [0xa8, 0x3c, 0x23],
    [0x6e, 0x1c, 0x33],
    [0x33, 0x0f, 0x33],
];

/// Ink or paper, whichever is read better on a ground.
pub(super) fn ink_on(ground: Rgb8) -> Rgb8 {
    if contrast(INK, ground) >= contrast(PAPER, ground) { INK } else { PAPER }
}

/// Contrast of two colours, 1 to 21 (W3C, Web Content Accessibility Guidelines 2.2, from memory).
fn contrast(a: Rgb8, b: Rgb8) -> f64 {
    let (a, b) = (luminance(a) + 0.05, luminance(b) + 0.05);
    a.max(b) / a.min(b)
}

/// Relative luminance after the same guidelines.
fn luminance(colour: Rgb8) -> f64 {
    let linear = |v: u8| {
        let v = f64::from(v) / 255.0;
        if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * linear(colour[0]) + 0.7152 * linear(colour[1]) + 0.0722 * linear(colour[2])
}

/// How a series or a group of points is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Style {
    /// Its colour; text in it is readable on white.
    pub colour: Rgb8,
    /// The dash pattern of its line.
    pub dash: Dash,
    /// The shape of its markers; `None` draws the line alone.
    pub shape: Option<Shape>,
    /// Whether markers are filled.
    pub filled: bool,
}

impl Default for Style {
    fn default() -> Style {
        Style::nth(0)
    }
}

/// Blue, rust, green, violet, brown, grey: apart in hue and in lightness as far as text on white allows. The choice is the
/// project's own; a test holds the contrast.
const COLOURS: [Rgb8; 6] = [
    [0x0a, 0x53, 0x9e],
    [0xb4, 0x3f, 0x06],
    [0x00, 0x6d, 0x55],
    [0x7d, 0x2a, 0x86],
    [0x6a, 0x4a, 0x00],
    [0x45, 0x4b, 0x57],
];
const DASHES: [Dash; 5] = [Dash::Solid, Dash::Long, Dash::Dots, Dash::DashDot, Dash::Short];
const SHAPES: [Shape; 6] =
    [Shape::Circle, Shape::Square, Shape::Triangle, Shape::Diamond, Shape::Cross, Shape::Wedge];

impl Style {
    /// The style of the series of a number, from 0: colour, dash pattern and shape all change from one to the next, and
    /// no two of the first thirty are alike.
    #[must_use]
    pub fn nth(n: usize) -> Style {
        Style {
            colour: COLOURS[n % COLOURS.len()],
            dash: DASHES[n % DASHES.len()],
            shape: Some(SHAPES[n % SHAPES.len()]),
            filled: true,
        }
    }

    /// The same without markers.
    #[must_use]
    pub fn plain(self) -> Style {
        Style { shape: None, ..self }
    }

    /// The same with open markers.
    #[must_use]
    pub fn open(self) -> Style {
        Style { filled: false, ..self }
    }

    /// The quiet grey of what stands back.
    #[must_use]
    pub fn quiet(self) -> Style {
        Style { colour: QUIET, ..self }
    }
}

/// Dash pattern of a line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Dash {
    /// Unbroken.
    #[default]
    Solid,
    /// Long dashes.
    Long,
    /// Dots.
    Dots,
    /// Dashes and dots in turn.
    DashDot,
    /// Short dashes.
    Short,
}

impl Dash {
    /// The `stroke-dasharray`; `None` for an unbroken line.
    pub(super) fn pattern(self) -> Option<&'static str> {
        match self {
            Dash::Solid => None,
            Dash::Long => Some("14 6"),
            Dash::Dots => Some("2.5 5"),
            Dash::DashDot => Some("14 5 2.5 5"),
            Dash::Short => Some("7 5"),
        }
    }
}

/// Shape of a marker.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// A disc.
    Circle,
    /// A square.
    Square,
    /// A triangle, tip up.
    Triangle,
    /// A square on its corner.
    Diamond,
    /// An upright cross.
    Cross,
    /// A triangle, tip down.
    Wedge,
}

impl Shape {
    /// Its path around a place; `r` is about half its width, areas are alike.
    pub(super) fn path(self, x: f64, y: f64, r: f64) -> String {
        let closed = |points: &[(f64, f64)]| {
            let at = |(i, (dx, dy)): (usize, &(f64, f64))| {
                let letter = if i == 0 { 'M' } else { 'L' };
                format!("{letter}{} {}", super::svg::n(x + dx * r), super::svg::n(y + dy * r))
            };
            format!("{}Z", points.iter().enumerate().map(at).collect::<Vec<_>>().join(""))
        };
        match self {
            Shape::Circle => {
                let (n, r2) = (super::svg::n, super::svg::n(2.0 * r));
                let radius = n(r);
                format!(
                    "M{} {}a{radius} {radius} 0 1 0 {r2} 0a{radius} {radius} 0 1 0 -{r2} 0Z",
                    n(x - r),
                    n(y)
                )
            }
            Shape::Square => closed(&[(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)]),
            Shape::Triangle => closed(&[(0.0, -1.3), (1.25, 0.9), (-1.25, 0.9)]),
            Shape::Diamond => closed(&[(0.0, -1.3), (1.3, 0.0), (0.0, 1.3), (-1.3, 0.0)]),
            Shape::Wedge => closed(&[(0.0, 1.3), (1.25, -0.9), (-1.25, -0.9)]),
            Shape::Cross => {
                let (a, b) = (0.42, 1.25);
                closed(&[
                    (-a, -b),
                    (a, -b),
                    (a, -a),
                    (b, -a),
                    (b, a),
                    (a, a),
                    (a, b),
                    (-a, b),
                    (-a, a),
                    (-b, a),
                    (-b, -a),
                    (-a, -a),
                ])
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Least contrast of text against its ground (W3C, Web Content Accessibility Guidelines 2.2, success criterion 1.4.3).
    const TEXT_CONTRAST: f64 = 4.5;
    /// Least contrast of the parts of a graphic (the same, 1.4.11).
    const GRAPHIC_CONTRAST: f64 = 3.0;

    #[test]
    fn contrast_is_that_of_the_guidelines() {
        // Black on white is 21, #767676 on white the lightest grey with 4.5 (examples of the guidelines).
        assert!((contrast([0; 3], [255; 3]) - 21.0).abs() < 1e-9);
        assert!(
            contrast([0x76; 3], [255; 3]) >= TEXT_CONTRAST && contrast([0x77; 3], [255; 3]) < TEXT_CONTRAST
        );
    }

    #[test]
    fn figures_are_readable_on_every_step_and_steps_darken() {
        /// Least contrast of neighbours: a step that is seen side by side.
        const STEP: f64 = 1.15;
        for colour in HEAT {
            assert!(contrast(ink_on(colour), colour) >= TEXT_CONTRAST, "{colour:?}");
        }
        for pair in HEAT.windows(2) {
            let step = (luminance(pair[0]) + 0.05) / (luminance(pair[1]) + 0.05);
            assert!(step >= STEP, "{pair:?}: {step}");
        }
    }

    #[test]
    fn colours_are_readable_on_paper() {
        for colour in COLOURS.into_iter().chain([INK, QUIET]) {
            assert!(contrast(colour, PAPER) >= TEXT_CONTRAST, "{colour:?} {}", contrast(colour, PAPER));
        }
        assert!(contrast(FRAME, PAPER) >= GRAPHIC_CONTRAST, "{}", contrast(FRAME, PAPER));
    }

    #[test]
    fn the_first_thirty_styles_differ_without_their_colour() {
        let forms: Vec<_> = (0..30).map(|n| (Style::nth(n).dash, Style::nth(n).shape)).collect();
        for (i, form) in forms.iter().enumerate() {
            assert!(!forms[..i].contains(form), "{i}");
        }
    }
}
