//! A scene, read and resolved: typed, complete, nothing optional left over.
//!
//! [`file`](mod@file) makes a [`Scene`] of a text, whose keys [`shape`] describes; [`variants`] makes other scenes of it, with another cloth
//! or gap; [`stand_off`] tells how far the cloth stands off each pixel; [`starter`] writes a first text from a few answers.

mod drawn;
pub mod file;
mod groups;
pub mod on_photo;
pub mod shape;
pub mod stand_off;
pub mod starter;
pub mod variants;

use crate::build::supply::Supply;
use crate::cloth::Cloth;
use crate::light::Stack;
use crate::light::oblique::Sight;
use crate::motion::pattern::Pattern;
use crate::pixels::laying::{Cut, Kind};
use crate::pixels::outline::Outline;
use crate::pixels::package::Package;
use crate::quantity::{Millimetres, Nanometres};
use std::sync::Arc;

/// One pixel in its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Pixel {
    /// Place of the package's centre in the board's plane (x to the right, y upwards as one looks at the garment).
    pub at: [Millimetres; 2],
    /// Turn of the package, anticlockwise, in radians.
    pub turn_rad: f64,
    /// The package.
    pub package: Arc<Package>,
    /// Level of each die of the package, 0 to 1, in the package's order.
    pub levels: Vec<f64>,
    /// Index of the group of the scene file to which it belongs.
    pub group: usize,
    /// Air between it and the first cloth beyond the `gap_below` of the first layer; below zero in a hollow alone. What counts is
    /// [`Scene::gap_over`].
    pub extra_gap: Millimetres,
}

impl Pixel {
    /// How far its centre lies from another's, in mm.
    #[must_use]
    pub fn apart_mm(&self, other: &Pixel) -> f64 {
        (self.at[0].0 - other.at[0].0).hypot(self.at[1].0 - other.at[1].0)
    }
}

/// A cloth over its gap.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedCloth {
    /// Air below it; below the first, the least of the groups' gaps, on which comes what [`Pixel::extra_gap`] says.
    pub gap_below: Millimetres,
    /// The cloth.
    pub cloth: Arc<Cloth>,
    /// Whether it is the sleeve in which the strip is sold, and no cloth to cut.
    pub sleeve: bool,
}

/// How the picture is exposed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Exposure {
    /// Chosen from the picture itself.
    Auto,
    /// A photographic exposure value at ISO 100.
    Fixed(f64),
}

/// From where and under which light the garment is seen.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// Viewing distance in metres.
    pub distance_m: f64,
    /// Illuminance of the room on the cloth, in lux.
    pub room_lx: f64,
    /// Exposure of the picture.
    pub exposure: Exposure,
    /// Margin shown around the outermost pixels.
    pub margin: Millimetres,
    /// Size of the picture in image pixels, width and height, without the caption bar.
    pub size_px: [u32; 2],
    /// Age of the observer in years (for the halo that forms in the eye).
    pub age_years: f64,
    /// Pigmentation of the observer's eye: 0 very dark, 0.5 brown, 1 blue-green, 1.2 light blue.
    pub eye_pigment: f64,
    /// A photograph onto which the glow is put.
    pub photo: Option<on_photo::PhotoView>,
    /// How far to the side the observer stands: angle from straight ahead in radians, up to
    /// [`crate::light::oblique::MOST_TILT_RAD`].
    pub side_rad: f64,
    /// On which side: direction of the observer in the garment's plane in radians, 0 to the right, anticlockwise.
    pub from_rad: f64,
}

impl View {
    /// The direction from which the garment is seen; `None` straight ahead.
    #[must_use]
    pub fn sight(&self) -> Option<Sight> {
        (self.side_rad > 0.0).then_some(Sight { tilt_rad: self.side_rad, from_rad: self.from_rad })
    }

    /// The picture's size scaled down, where need be, so that its longer side is no longer than this, in image pixels.
    #[must_use]
    pub fn size_within(&self, longer_px: u32) -> [u32; 2] {
        /// A strip of a picture is not made thinner than this.
        const LEAST_PX: u32 = 8;
        let longer = self.size_px.into_iter().max().unwrap_or(1).max(1);
        let scale = (f64::from(longer_px) / f64::from(longer)).min(1.0);
        self.size_px.map(|px| ((f64::from(px) * scale).round() as u32).max(LEAST_PX))
    }
}

/// The pattern piece behind which the pixels lie.
#[derive(Clone, Debug, PartialEq)]
pub struct PatternPiece {
    /// Its edge.
    pub outline: Outline,
    /// Seam allowance, which pixels keep free.
    pub seam: Millimetres,
}

/// What a group of the scene file is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum GroupForm {
    /// A straight strip.
    Strip {
        /// Distance from pixel to pixel.
        pitch_mm: f64,
    },
    /// A ring.
    Ring {
        /// Diameter of the circle through the pixels' centres.
        diameter_mm: f64,
    },
    /// A grid.
    Grid {
        /// Pixels in a row, and rows.
        size: [usize; 2],
        /// Distance from pixel to pixel, both ways.
        pitch_mm: f64,
    },
    /// Along a drawing or at listed places: its [`Laid`] says more.
    Drawn,
    /// An ideal source.
    Point,
}

/// What became of a group that follows a drawing or a list.
#[derive(Clone, Debug, PartialEq)]
pub struct Laid {
    /// Index of the group.
    pub group: usize,
    /// Number of its pixels.
    pub pixels: usize,
    /// Where its places come from, in words.
    pub source: String,
    /// How it is laid.
    pub kind: LaidKind,
}

/// How a group is laid.
#[derive(Clone, Debug, PartialEq)]
pub enum LaidKind {
    /// Along a curve.
    Path {
        /// Strip or wire.
        kind: Kind,
        /// Length of the curve.
        length_mm: f64,
        /// What is cut for each piece of the curve; cut and left lengths add up to the curve.
        cuts: Vec<Cut>,
    },
    /// In rows inside an outline.
    Fill {
        /// Number of rows that hold pixels.
        rows: usize,
        /// Distance from pixel to pixel in a row.
        pitch_mm: f64,
        /// Pixels of each unbroken run, in wiring order.
        runs: Vec<usize>,
    },
    /// At listed places.
    List,
}

/// What the maker says on the sheet for a client (`sheet` of a scene file).
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SheetWords {
    /// Heading, instead of the scene's name.
    pub title: Option<String>,
    /// A note to the client; every line is a paragraph.
    pub note: Option<String>,
    /// For whom it is made.
    pub client: Option<String>,
}

/// A whole scene.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// Its name.
    pub name: String,
    /// Diffuse reflectance of the board.
    pub board_reflectance: f64,
    /// The pixels in wiring order.
    pub pixels: Vec<Pixel>,
    /// The cloths, from the pixels outwards.
    pub stack: Vec<PlacedCloth>,
    /// The view.
    pub view: View,
    /// What powers the pixels; `None` where nothing is said.
    pub supply: Option<Supply>,
    /// The edge of the pattern piece; without it the cloth goes on.
    pub piece: Option<PatternPiece>,
    /// How the levels change with time; those of [`Scene::pixels`] are the levels at its beginning.
    pub pattern: Option<Arc<Pattern>>,
}

impl Scene {
    /// Lowest and highest place of the pixels' centres, x and y each; the origin twice for a scene without pixels.
    #[must_use]
    pub fn extent(&self) -> ([Millimetres; 2], [Millimetres; 2]) {
        extent(&self.pixels)
    }

    /// Lowest and highest place of what pictures show: the pixels and the pattern piece with the margin around them.
    #[must_use]
    pub fn shown_extent(&self) -> ([Millimetres; 2], [Millimetres; 2]) {
        let (low, high) = extent_with(&self.pixels, self.piece.as_ref());
        (low.map(|v| v - self.view.margin), high.map(|v| v + self.view.margin))
    }

    /// Thickness of everything over the board, gaps included: where the cloth stands farthest off a pixel.
    #[must_use]
    pub fn thickness(&self) -> Millimetres {
        stand_off::thickness(&self.pixels, &self.stack)
    }

    /// How far a pixel's board lies below the outer face over it, in mm; zero without cloth.
    #[must_use]
    pub fn depth_mm(&self, pixel: &Pixel) -> f64 {
        let Some(first) = self.stack.first() else { return 0.0 };
        let above: f64 = self.stack.iter().skip(1).map(|placed| placed.gap_below.0).sum();
        let cloths: f64 = self.stack.iter().map(|placed| placed.cloth.thickness.0).sum();
        pixel.gap_from(first.gap_below).0 + above + cloths
    }

    /// The stack at one wavelength, with the first gap as the stack has it.
    #[must_use]
    pub fn stack_at(&self, wavelength: Nanometres) -> Stack {
        Stack {
            board_reflectance: self.board_reflectance,
            layers: self.stack.iter().map(|p| p.cloth.layer_at(p.gap_below, wavelength)).collect(),
        }
    }

    /// The stack at one wavelength over another first gap.
    #[must_use]
    pub fn stack_over(&self, gap: Millimetres, wavelength: Nanometres) -> Stack {
        let mut stack = self.stack_at(wavelength);
        if let Some(first) = stack.layers.first_mut() {
            first.gap_below = gap;
        }
        stack
    }
}

/// Lowest and highest place of the pixels' centres and of the pattern piece.
fn extent_with(pixels: &[Pixel], piece: Option<&PatternPiece>) -> ([Millimetres; 2], [Millimetres; 2]) {
    let ((low, high), Some(piece)) = (extent(pixels), piece) else { return extent(pixels) };
    let (edge_low, edge_high) = piece.outline.extent();
    (
        std::array::from_fn(|i| Millimetres(low[i].0.min(edge_low[i].0))),
        std::array::from_fn(|i| Millimetres(high[i].0.max(edge_high[i].0))),
    )
}

/// Lowest and highest place of the pixels' centres.
fn extent(pixels: &[Pixel]) -> ([Millimetres; 2], [Millimetres; 2]) {
    let mut places = pixels.iter().map(|p| [p.at[0].0, p.at[1].0]);
    let Some(first) = places.next() else { return ([Millimetres(0.0); 2], [Millimetres(0.0); 2]) };
    let (low, high) = places.fold((first, first), |(low, high), at| {
        (std::array::from_fn(|i| low[i].min(at[i])), std::array::from_fn(|i| high[i].max(at[i])))
    });
    (low.map(Millimetres), high.map(Millimetres))
}
