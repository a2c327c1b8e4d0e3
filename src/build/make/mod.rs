//! Making it: from a resolved scene to a plan, and from the plan to sheet, drawings to size and pixel map.
//!
//! | from | to | function |
//! |---|---|---|
//! | [`Resolved`] | [`Plan`] | [`plan`] |
//! | plan | sections of words and tables | [`sections::sections`] |
//! | plan | drawings to size and an overview | [`tiles::drawings`] |
//! | plan | chart of voltages along the run | [`chart::volts_chart`] |
//! | scene, plan | preview at the brightness that the supply allows | [`figures::preview`] |
//! | plan, drawings | one HTML file | [`html::html`] |
//! | plan, drawings | pages of a PDF, as SVG | [`pages::pages`] |
//! | plan | cut list, voltages, all of it | [`lists`] |
//! | plan | pixel map as CSV, JSON, C header | [`map`] |
//!
//! **Model**: the pixels in the order of the file are one run of data; groups are parted into pieces that are bought or cut whole; wires go
//! straight from the end of a piece to the start of the next, with some slack. Pixels are counted from 0 everywhere on the sheet, as in
//! the map and in programs.
//!
//! **Assumptions**: strips are cut half a pitch beside their outer pixels. Grids and rings are ready-made boards. Three pads: supply, data,
//! ground. Lengths follow the flat drawing; ways around a body are longer.
//!
//! **Source**: lengths are geometry. Pads, slack and order of work: common practice, no source, and marked so on the sheet.
//!
//! ```
//! use weftlight::build::make::{map, plan};
//! use weftlight::cloth::catalogue::CatalogueOnly;
//! use weftlight::scene::file::resolve;
//!
//! let text = "pixels: [strip: {pitch_mm: 16.67, count: 24}]\nstack: []\n";
//! let scene = resolve(text, "collar.yaml", &CatalogueOnly).map_err(|faults| format!("{faults:?}"))?;
//! let plan = plan(&scene, None).map_err(|fault| fault.to_string())?;
//! assert_eq!(plan.pieces.len(), 1);
//! assert_eq!(map::csv(&plan).lines().count(), 1 + 24);
//! # Ok::<(), String>(())
//! ```

pub mod chart;
pub mod cloths;
mod drawing;
pub mod figures;
pub mod html;
pub mod lists;
pub mod map;
pub mod overview;
pub mod pages;
pub mod pieces;
pub mod power;
pub mod sections;
mod steps;
pub mod tiles;
pub mod wiring;

use super::cautions::{Caution, cautions};
use super::current::{Draw, of_scene};
use super::ladder::Unsolvable;
use crate::motion::average::at_peak;
use crate::scene::file::Resolved;
use cloths::{ClothPiece, cloth_pieces};
use pieces::{Piece, pieces};
use power::{Power, power};
use wiring::{Joint, Wire, joints, wires};

/// A pixel in its place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// Its centre, in mm; x to the right, y upwards as one looks at the garment.
    pub at: [f64; 2],
    /// Turn of the package, anticlockwise, in radians.
    pub turn_rad: f64,
    /// Side of its body, in mm.
    pub body_mm: f64,
    /// Index of its group.
    pub group: usize,
}

/// The edge of the pattern piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Edge {
    /// Closed curves as corners in mm, each begun again at its start.
    pub rings: Vec<Vec<[f64; 2]>>,
    /// Area of the cloth inside.
    pub area_mm2: f64,
    /// Seam allowance inside the edge.
    pub seam_mm: f64,
}

/// Everything that the maker needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Name of the scene.
    pub name: String,
    /// The pixels in the order of their data.
    pub places: Vec<Placed>,
    /// Number of groups of the scene file.
    pub groups: usize,
    /// What to cut or to buy, in the order of the data.
    pub pieces: Vec<Piece>,
    /// Hook-up wires.
    pub wires: Vec<Wire>,
    /// Ends of pieces, and pixels, where wires are soldered.
    pub joints: Vec<Joint>,
    /// Cloth to cut, from the pixels outwards.
    pub cloths: Vec<ClothPiece>,
    /// Thickness of everything over the board, gaps and sleeve included, in mm.
    pub thickness_mm: f64,
    /// How much of it is air, in mm.
    pub air_mm: f64,
    /// Edge of the pattern piece.
    pub edge: Option<Edge>,
    /// What the pixels draw.
    pub draw: Draw,
    /// What the supply does to them; `None` where the scene names none.
    pub power: Option<Power>,
    /// What can go wrong or hurt, the weightiest first.
    pub cautions: Vec<String>,
    /// Warnings of the scene file, in short.
    pub warnings: Vec<String>,
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoPlan {
    /// Nothing to make.
    #[error("the scene has no pixels, so there is nothing to make")]
    NoPixels,
    /// Pixels that nobody sells.
    #[error("the scene holds ideal points, which are for checks and cannot be bought")]
    Ideal,
    /// The run has no solution.
    #[error("the voltages along the run cannot be found: {0}")]
    Power(#[from] Unsolvable),
}

/// The plan of a scene. `last_hours` is how long the battery is to last, instead of what the scene says.
///
/// # Errors
/// For a scene without pixels or with ideal points, and when the voltages along the run do not settle.
pub fn plan(resolved: &Resolved, last_hours: Option<f64>) -> Result<Plan, NoPlan> {
    let scene = &resolved.scene;
    if scene.pixels.is_empty() {
        return Err(NoPlan::NoPixels);
    }
    if scene.pixels.iter().any(|pixel| pixel.package.name == crate::pixels::package::IDEAL) {
        return Err(NoPlan::Ideal);
    }
    let places = scene.pixels.iter().map(|pixel| Placed {
        at: pixel.at.map(|v| v.0),
        turn_rad: pixel.turn_rad,
        body_mm: pixel.package.body.0,
        group: pixel.group,
    });
    let power = match &scene.supply {
        Some(supply) => Some(power(scene, supply, last_hours.or(supply.last_hours))?),
        None => None,
    };
    let mut pieces = pieces(resolved);
    let wires = wires(scene, &pieces, power.as_ref().map(|power| power.both.typical.fed_at.as_slice()));
    let joints = joints(scene, &pieces, &wires);
    pieces::sleeve(scene, &mut pieces, &joints);
    let peak = at_peak(scene);
    let all = cautions(&peak, scene.supply.as_ref(), power.as_ref().map(|power| &power.both));
    Ok(Plan {
        name: scene.name.clone(),
        places: places.collect(),
        groups: resolved.forms.len(),
        pieces,
        joints,
        wires,
        cloths: cloth_pieces(scene),
        thickness_mm: scene.thickness().0,
        air_mm: scene.stack.iter().map(|placed| placed.gap_below.0).sum(),
        edge: scene.piece.as_ref().map(|piece| Edge {
            rings: piece.outline.rings().into_iter().map(closed).collect(),
            area_mm2: piece.outline.area_mm2(),
            seam_mm: piece.seam.0,
        }),
        draw: of_scene(&peak),
        power,
        cautions: all.into_iter().map(|caution| from_zero(caution).to_string()).collect(),
        warnings: resolved.warnings.iter().map(warning_in_words).collect(),
    })
}

/// A ring that ends where it begins.
fn closed(mut ring: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    ring.extend(ring.first().copied());
    ring
}

/// A caution with its pixel counted from 0, as everything here.
fn from_zero(caution: Caution) -> Caution {
    match caution {
        Caution::TooFewVolts { pixels, worst, volts, needs_v } => {
            Caution::TooFewVolts { pixels, worst: worst.saturating_sub(1), volts, needs_v }
        }
        other => other,
    }
}

fn warning_in_words(warning: &crate::diagnose::Diagnostic) -> String {
    let found = warning.found.as_ref().map_or(String::new(), |found| format!(" ({found})"));
    format!("{}{found}", warning.what)
}

/// A length in mm with at most two decimals: `16.67 mm`.
pub(crate) fn mm(length: f64) -> String {
    format!("{}\u{a0}mm", crate::picture::chart::plain_number(length))
}

/// Numbers of pixels in words: `0 to 23`, `7`.
pub(crate) fn span(range: &std::ops::Range<usize>) -> String {
    if range.len() == 1 { range.start.to_string() } else { format!("{} to {}", range.start, range.end - 1) }
}

/// `1 pixel`, `24 pixels`.
pub(crate) fn counted(count: usize, one: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}
