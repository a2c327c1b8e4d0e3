//! The cut list: what to cut or to buy for each stretch of the data.

use super::wiring::{End, Joint};
use crate::build::electric::WIDE_FROM;
use crate::pixels::laying::{Cut, Kind};
use crate::pixels::package::Package;
use crate::scene::file::Resolved;
use crate::scene::{GroupForm, Laid, LaidKind, Pixel, Scene};
use std::collections::HashSet;
use std::ops::Range;

/// How far a sleeve is taken off an end that is soldered, in mm: room for three wires and the iron (common practice, no source;
/// 8 to 15 mm are usual).
pub const SLEEVE_OFF_MM: f64 = 10.0;
/// Usual widths of narrow and wide strips, in mm (common practice, no source: 4 to 6 and 8 to 12 mm are sold).
const STRIP_WIDTHS_MM: [f64; 2] = [5.0, 10.0];

/// What a piece is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PieceKind {
    /// Flat strip, cut at its marks.
    Strip,
    /// Bendable wire with pixels.
    Wire,
    /// A string of pixels, or single ones on wire, at listed places.
    Listed,
    /// A ready-made ring.
    Ring {
        /// Diameter of the circle through the pixels' centres.
        diameter_mm: f64,
    },
    /// A ready-made panel.
    Panel {
        /// Pixels in a row, and rows.
        size: [usize; 2],
    },
}

impl PieceKind {
    /// Its name in words.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            PieceKind::Strip => "strip".to_owned(),
            PieceKind::Wire => "bendable pixel wire".to_owned(),
            PieceKind::Listed => "string of pixels".to_owned(),
            PieceKind::Ring { diameter_mm } => {
                format!("ring of {} across its pixels", super::mm(diameter_mm))
            }
            PieceKind::Panel { size: [columns, rows] } => format!("panel of {columns} by {rows}"),
        }
    }

    /// Whether it is cut from a longer one.
    #[must_use]
    pub fn is_cut(self) -> bool {
        !matches!(self, PieceKind::Ring { .. } | PieceKind::Panel { .. })
    }
}

/// A sleeve on a piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sleeve {
    /// Taken off at the data-in end, in mm.
    pub off_in_mm: f64,
    /// Taken off at the data-out end, in mm; 0 where nothing is soldered there.
    pub off_out_mm: f64,
    /// What stays on, in mm.
    pub stays_mm: f64,
}

/// A stretch of pixels that is bought or cut whole.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Its number, from 1: P1, P2, ….
    pub number: usize,
    /// Index of its group in the scene file.
    pub group: usize,
    /// What it is.
    pub kind: PieceKind,
    /// Trade code of its package.
    pub package: String,
    /// Its pixels, counted from 0.
    pub pixels: Range<usize>,
    /// Distance from pixel to pixel along the piece, least and most, in mm; `None` for a single pixel.
    pub pitch_mm: Option<[f64; 2]>,
    /// Length to be cut, in mm: of a strip from cut mark to cut mark, of a wire from first to last pixel. `None` for a ready-made board.
    pub cut_mm: Option<f64>,
    /// What is left of its part of a drawn curve, in mm.
    pub left_mm: Option<f64>,
    /// Width of a strip, in mm, as usual for the package.
    pub width_mm: f64,
    /// Where its place comes from, in words.
    pub source: String,
    /// Its data-in end, in mm.
    pub from: [f64; 2],
    /// Its data-out end, in mm.
    pub to: [f64; 2],
    /// Its sleeve.
    pub sleeve: Option<Sleeve>,
}

impl Piece {
    /// Its name: `P1`.
    #[must_use]
    pub fn name(&self) -> String {
        format!("P{}", self.number)
    }
}

/// A piece before it is numbered.
struct Part {
    kind: PieceKind,
    pixels: usize,
    pitch_mm: Option<f64>,
    cut_mm: Option<f64>,
    left_mm: Option<f64>,
    source: String,
}

/// The pieces of a scene in the order of the data.
#[must_use]
pub fn pieces(resolved: &Resolved) -> Vec<Piece> {
    let scene = &resolved.scene;
    let mut pieces: Vec<Piece> = Vec::new();
    let mut start = 0;
    for group in 0..resolved.forms.len() {
        let count = scene.pixels[start..].iter().take_while(|pixel| pixel.group == group).count();
        for part in parts(resolved, group, count) {
            let pixels = start..start + part.pixels;
            pieces.push(piece(scene, group, pieces.len() + 1, part, pixels.clone()));
            start = pixels.end;
        }
    }
    pieces
}

/// Takes the sleeve off the strips' ends that are soldered, where the scene has one.
pub(super) fn sleeve(scene: &Scene, pieces: &mut [Piece], joints: &[Joint]) {
    if !scene.stack.iter().any(|placed| placed.sleeve) {
        return;
    }
    let soldered: HashSet<End> = joints.iter().map(|joint| joint.at).collect();
    let off = |end: End| if soldered.contains(&end) { SLEEVE_OFF_MM } else { 0.0 };
    for (i, piece) in pieces.iter_mut().enumerate().filter(|(_, piece)| piece.kind == PieceKind::Strip) {
        let [off_in_mm, off_out_mm] = [off(End::In(i)), off(End::Out(i))];
        let stays_mm = (piece.cut_mm.unwrap_or(0.0) - off_in_mm - off_out_mm).max(0.0);
        piece.sleeve = Some(Sleeve { off_in_mm, off_out_mm, stays_mm });
    }
}

fn parts(resolved: &Resolved, group: usize, count: usize) -> Vec<Part> {
    let whole = |kind, pitch_mm: Option<f64>, cut_mm: Option<f64>, source: &str| {
        vec![Part { kind, pixels: count, pitch_mm, cut_mm, left_mm: None, source: source.to_owned() }]
    };
    match resolved.forms[group] {
        GroupForm::Strip { pitch_mm } => {
            whole(PieceKind::Strip, Some(pitch_mm), Some(pitch_mm * count as f64), "straight")
        }
        GroupForm::Ring { diameter_mm } => {
            whole(PieceKind::Ring { diameter_mm }, None, None, "ready-made board")
        }
        GroupForm::Grid { size, pitch_mm } => {
            whole(PieceKind::Panel { size }, Some(pitch_mm), None, "ready-made board")
        }
        GroupForm::Point => whole(PieceKind::Listed, None, None, "single point"),
        GroupForm::Drawn => {
            let laid = resolved.laid.iter().find(|laid| laid.group == group);
            laid.map_or_else(Vec::new, |laid| drawn(laid, &resolved.scene, group))
        }
    }
}

fn drawn(laid: &Laid, scene: &Scene, group: usize) -> Vec<Part> {
    let source = laid.source.clone();
    match &laid.kind {
        LaidKind::Path { kind, cuts, .. } => {
            let used = cuts.iter().filter(|cut| cut.pixels > 0);
            let part = |cut: &Cut| {
                let (kind, steps) = match kind {
                    Kind::Strip => (PieceKind::Strip, cut.pixels),
                    Kind::Wire => (PieceKind::Wire, cut.pixels.saturating_sub(1)),
                };
                let pitch_mm = (steps > 0).then(|| cut.cut_mm / steps as f64);
                let source = source.clone();
                let (cut_mm, left_mm) = (Some(cut.cut_mm), Some(cut.left_mm));
                Part { kind, pixels: cut.pixels, pitch_mm, cut_mm, left_mm, source }
            };
            used.map(part).collect()
        }
        LaidKind::Fill { pitch_mm, runs, .. } => {
            let part = |pixels: &usize| Part {
                kind: PieceKind::Strip,
                pixels: *pixels,
                pitch_mm: Some(*pitch_mm),
                cut_mm: Some(pitch_mm * *pixels as f64),
                left_mm: None,
                source: source.clone(),
            };
            runs.iter().map(part).collect()
        }
        LaidKind::List => {
            let own: Vec<&Pixel> = scene.pixels.iter().filter(|pixel| pixel.group == group).collect();
            let cut_mm = own.windows(2).map(|pair| pair[0].apart_mm(pair[1])).sum();
            vec![Part {
                kind: PieceKind::Listed,
                pixels: laid.pixels,
                pitch_mm: None,
                cut_mm: Some(cut_mm),
                left_mm: None,
                source,
            }]
        }
    }
}

fn piece(scene: &Scene, group: usize, number: usize, part: Part, pixels: Range<usize>) -> Piece {
    let own = &scene.pixels[pixels.clone()];
    let package: &Package = &own[0].package;
    let steps = || own.windows(2).map(|pair| pair[0].apart_mm(&pair[1]));
    let between = match part.pitch_mm {
        Some(pitch) => Some([pitch; 2]),
        None if own.len() < 2 => None,
        None => Some([steps().fold(f64::INFINITY, f64::min), steps().fold(0.0, f64::max)]),
    };
    // A strip goes on for half a pitch beyond its outer pixels.
    let beyond = match (part.kind, part.pitch_mm) {
        (PieceKind::Strip, Some(pitch)) => 0.5 * pitch,
        _ => 0.0,
    };
    let at = |pixel: &Pixel| pixel.at.map(|v| v.0);
    let end = |outer: &Pixel, inner: Option<&Pixel>, sign: f64| {
        let [x, y] = at(outer);
        let towards = inner.map(|inner| [x - at(inner)[0], y - at(inner)[1]]);
        let [dx, dy] = match towards {
            Some([dx, dy]) if dx.hypot(dy) > 0.0 => [dx / dx.hypot(dy), dy / dx.hypot(dy)],
            _ => [sign * outer.turn_rad.cos(), sign * outer.turn_rad.sin()],
        };
        [x + beyond * dx, y + beyond * dy]
    };
    let last = own.len() - 1;
    let width_mm = STRIP_WIDTHS_MM[usize::from(package.body >= WIDE_FROM)];
    Piece {
        number,
        group,
        kind: part.kind,
        package: package.name.clone(),
        pitch_mm: between,
        cut_mm: part.cut_mm,
        left_mm: part.left_mm,
        width_mm,
        source: part.source,
        from: end(&own[0], own.get(1), -1.0),
        to: end(&own[last], last.checked_sub(1).map(|i| &own[i]), 1.0),
        sleeve: None,
        pixels,
    }
}

/// Index of the piece on which a pixel sits.
pub(super) fn piece_of(pieces: &[Piece], pixel: usize) -> usize {
    pieces.partition_point(|piece| piece.pixels.end <= pixel).min(pieces.len().saturating_sub(1))
}
