//! Charts as SVG: stacked panels over one x axis, bands of uncertainty, marked points, strips of pictures.
//!
//! A [`Chart`] is plain data; [`Chart::svg`] draws it, always the same way. [`svg_to_png`] and [`svg_to_pdf`] turn the
//! drawing into the other two formats with the embedded font.
//!
//! Lengths in the drawing are SVG pixels of 1/96 inch. The drawing is [`WIDTH_PX`] wide and as high as its panels need.
//! Its smallest text is [`TEXT_PX`], so that it is still 14 pixels high where the drawing is shown 720 wide. Series
//! differ by dash pattern, marker shape and end label as well as by colour.
//!
//! A [`HeatMap`] is a sheet of its own: tables of cells whose colour and figure tell a value.
//!
//! Values that are not numbers, or that a logarithmic axis has no place for, leave a gap in a line. An infinite value
//! leaves a gap too, with an arrow head at the edge of the plot that it lies beyond.
//!
//! ```
//! use weftlight::picture::chart::{Axis, Chart, Panel, Plot, Rule, Series, Style, svg_to_png};
//!
//! let mut plot = Plot::new(Axis::log("dot visibility", ""));
//! plot.series = vec![Series {
//!     name: "one layer".to_owned(),
//!     points: vec![(0.0, 40.0), (10.0, 4.0), (20.0, 0.4)],
//!     band: Some(vec![(0.0, 30.0, 60.0), (10.0, 3.0, 6.0), (20.0, 0.2, 0.7)]),
//!     style: Style::nth(0),
//! }];
//! plot.rules = vec![Rule { at: 1.0, label: "1: the eye's threshold".to_owned() }];
//! let chart = Chart {
//!     title: "Collar: how far off the cloth must stand".to_owned(),
//!     x: Axis::linear("gap", "mm"),
//!     panels: vec![Panel::Plot(plot)],
//!     ..Chart::default()
//! };
//! let svg = chart.svg("Dot visibility falls from 40 at no gap to 0.4 at 20 mm.");
//! assert!(svg_to_png(&svg, 1.0)?.starts_with(b"\x89PNG"));
//! # Ok::<(), weftlight::picture::chart::ChartError>(())
//! ```

mod axis;
mod draw;
mod heat_map;
mod labels;
mod layout;
mod legend;
mod output;
mod plot;
mod strips;
mod style;
mod svg;

pub use axis::{Axis, Scale};
pub use heat_map::{HeatCell, HeatGrid, HeatMap, HeatPart, STEPS};
pub use output::{CLEAR_PNG, ChartError, MM_PER_PX, svg_to_pdf, svg_to_png, svgs_to_pdf};
pub use style::{Dash, Shape, Style};
pub(crate) use svg::{escaped, n as plain_number, width as text_width_at};

use super::canvas::Canvas;

/// Width of every chart, in SVG pixels.
pub const WIDTH_PX: f64 = 900.0;
/// Size of the smallest text, in SVG pixels: 14 and a little more at a width of 720.
pub const TEXT_PX: f64 = 18.0;
/// Height of a plot's area unless another is asked for, in SVG pixels.
pub const PLOT_HEIGHT_PX: f64 = 240.0;

/// A chart: what is said above, the panels over a common x axis, what is said below.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Chart {
    /// Its title; also the SVG's `<title>`.
    pub title: String,
    /// Lines below the title, e.g. the scene and the cloth; long ones are wrapped.
    pub subtitle: Vec<String>,
    /// The axis all panels share.
    pub x: Axis,
    /// Upright marker lines through all plots, labelled above the first one.
    pub rules: Vec<Rule>,
    /// What the bands mean, e.g. `shaded: 8 of 10 estimates`; in the legend of the first plot that has a band.
    pub band_label: String,
    /// The panels, from the top.
    pub panels: Vec<Panel>,
    /// Lines at the foot, e.g. how sure the figures are; long ones are wrapped.
    pub notes: Vec<String>,
}

/// One panel of a chart.
#[derive(Clone, Debug, PartialEq)]
pub enum Panel {
    /// Lines, bands and points over the x axis.
    Plot(Plot),
    /// Small pictures side by side, each tied to its place on the x axis.
    Pictures(Pictures),
    /// One picture stretched from one place on the x axis to another.
    Strip(Strip),
}

/// Lines, bands and points over the x axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Plot {
    /// The upright axis; its label and unit stand above the plot.
    pub y: Axis,
    /// Height of the plot's area, in SVG pixels.
    pub height_px: f64,
    /// Lines, with their bands.
    pub series: Vec<Series>,
    /// Groups of single points.
    pub marks: Vec<Marks>,
    /// Level marker lines, each with its label, e.g. `1: the eye's threshold`.
    pub rules: Vec<Rule>,
}

impl Plot {
    /// An empty plot.
    #[must_use]
    pub fn new(y: Axis) -> Plot {
        Plot { y, height_px: PLOT_HEIGHT_PX, series: Vec::new(), marks: Vec::new(), rules: Vec::new() }
    }
}

/// A line through points in the order given.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Series {
    /// Its name in the legend and at its end.
    pub name: String,
    /// x and value.
    pub points: Vec<(f64, f64)>,
    /// x, lowest and highest value, where the value is uncertain.
    pub band: Option<Vec<(f64, f64, f64)>>,
    /// How it is drawn.
    pub style: Style,
}

/// A group of single points that are drawn alike.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Marks {
    /// Its name in the legend; empty to leave it out.
    pub name: String,
    /// The points.
    pub points: Vec<Mark>,
    /// How they are drawn; the dash pattern is of no account.
    pub style: Style,
}

/// One marked point.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mark {
    /// Place on the x axis.
    pub x: f64,
    /// Place on the y axis.
    pub y: f64,
    /// Lowest and highest x, drawn as a thin line through the point.
    pub x_range: Option<(f64, f64)>,
    /// Lowest and highest y, drawn as a thin line through the point.
    pub y_range: Option<(f64, f64)>,
    /// What stands beside it; empty for nothing.
    pub label: String,
}

/// A marker line across a plot.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rule {
    /// Where it crosses the axis.
    pub at: f64,
    /// What it means.
    pub label: String,
}

/// Small pictures side by side, each tied to its place on the x axis by a thin line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pictures {
    /// What stands above them.
    pub heading: String,
    /// The pictures; drawn equally wide, in the order of their places.
    pub pictures: Vec<PlacedPicture>,
}

/// A picture and its place.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedPicture {
    /// Its place on the x axis.
    pub x: f64,
    /// The picture; larger ones are averaged down before they are embedded.
    pub picture: Canvas,
    /// A short label below it, e.g. `6 mm`.
    pub label: String,
}

/// One picture stretched along the x axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Strip {
    /// What stands above it.
    pub heading: String,
    /// The picture; its left edge is at `from`, its right edge at `to`.
    pub picture: Canvas,
    /// x at the left edge.
    pub from: f64,
    /// x at the right edge.
    pub to: f64,
    /// Its height, in SVG pixels; `None` keeps the picture's shape.
    pub height_px: Option<f64>,
}

impl Chart {
    /// The chart as an SVG file. `alt` says in words what the chart shows; it becomes the `<desc>`.
    #[must_use]
    pub fn svg(&self, alt: &str) -> String {
        draw::drawing(self, alt)
    }
}

#[cfg(test)]
mod demo;
#[cfg(test)]
mod tests;
