//! Hook-up wires and the places where they are soldered.
//!
//! **Model**: a wire goes straight from end to end, with [`SLACK_MM`] more at each end. Each feed has its own pair from the supply. Data
//! and power go on from piece to piece over three wires. Colours are left to the maker: wires are named by letters.

use super::pieces::{Piece, PieceKind, piece_of};
use crate::build::run::lead_mm;
use crate::build::wire::Gauge;
use crate::scene::Scene;

/// Added at each end of a wire, in mm: to strip, to tin, to leave a loop that takes the pull (common practice, no source).
pub const SLACK_MM: f64 = 20.0;

/// A conductor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Conductor {
    /// Supply, plus: S.
    Supply,
    /// Data: D.
    Data,
    /// Ground, minus: G.
    Ground,
}

impl Conductor {
    /// All, in the order of the legend.
    pub const ALL: [Conductor; 3] = [Conductor::Supply, Conductor::Data, Conductor::Ground];

    /// Its letter on the sheet.
    #[must_use]
    pub fn letter(self) -> &'static str {
        match self {
            Conductor::Supply => "S",
            Conductor::Data => "D",
            Conductor::Ground => "G",
        }
    }
}

/// Where a wire ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum End {
    /// At the supply.
    Supply,
    /// At the controller.
    Controller,
    /// At the data-in end of a piece, counted from 0.
    In(usize),
    /// At the data-out end of a piece, counted from 0.
    Out(usize),
    /// On the pads beside a pixel, counted from 0, in the midst of a piece.
    Beside(usize),
}

impl End {
    /// In words: `P2, data in`.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            End::Supply => "supply".to_owned(),
            End::Controller => "controller".to_owned(),
            End::In(piece) => format!("P{}, data-in end", piece + 1),
            End::Out(piece) => format!("P{}, data-out end", piece + 1),
            End::Beside(pixel) => format!("beside pixel {pixel}, on its data-in side"),
        }
    }
}

/// One wire of one to three conductors, all equally long.
#[derive(Clone, Debug, PartialEq)]
pub struct Wire {
    /// Its number, from 1: W1, W2, ….
    pub number: usize,
    /// Where it begins.
    pub from: End,
    /// Where it ends.
    pub to: End,
    /// Its conductors.
    pub conductors: Vec<Conductor>,
    /// Length of each, in mm, slack included; `None` where the scene says nothing.
    pub length_mm: Option<f64>,
    /// Gauge of supply and ground, where the scene says it.
    pub gauge: Option<Gauge>,
}

/// The wires of a scene; `fed_at` are the pixels at which power enters, counted from 0, where the scene has a supply.
#[must_use]
pub fn wires(scene: &Scene, pieces: &[Piece], fed_at: Option<&[usize]>) -> Vec<Wire> {
    use Conductor::{Data, Ground, Supply};
    let supply = scene.supply.as_ref();
    let gauge = supply.map(|supply| supply.wire);
    let slack = 2.0 * SLACK_MM;
    let mut wires = Vec::new();
    let mut add = |from, to, conductors: &[Conductor], length_mm, gauge| {
        let number = wires.len() + 1;
        wires.push(Wire { number, from, to, conductors: conductors.to_vec(), length_mm, gauge });
    };
    let data_mm = supply.map(|supply| supply.wire_length.0 + slack);
    add(End::Controller, End::In(0), &[Data, Ground], data_mm, None);
    for &at in fed_at.unwrap_or(&[0]) {
        let length = supply.map(|supply| lead_mm(scene, supply, at) + slack);
        add(End::Supply, end_at(pieces, at), &[Supply, Ground], length, gauge);
    }
    for (i, pair) in pieces.windows(2).enumerate() {
        let [a, b] = [pair[0].to, pair[1].from];
        let length = (a[0] - b[0]).hypot(a[1] - b[1]) + slack;
        add(End::Out(i), End::In(i + 1), &[Supply, Data, Ground], Some(length), gauge);
    }
    wires
}

/// The end of a piece at which a pixel sits, or the pads beside it.
fn end_at(pieces: &[Piece], pixel: usize) -> End {
    let piece = piece_of(pieces, pixel);
    let pixels = &pieces[piece].pixels;
    if pixel == pixels.start {
        End::In(piece)
    } else if pixel + 1 == pixels.end {
        End::Out(piece)
    } else {
        End::Beside(pixel)
    }
}

/// How hard a joint is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Difficulty {
    /// Pads as large as beginners can do.
    Ordinary,
    /// Close pads: a fine tip and good light.
    Fine,
    /// Very close pads: practice on a spare piece.
    Miniature,
}

impl Difficulty {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Difficulty::Ordinary => "ordinary",
            Difficulty::Fine => "fine: a thin tip, thin wire and good light",
            Difficulty::Miniature => {
                "miniature pads: magnifier, thin tip, wire of 28 AWG or thinner at the pads; try it on a spare piece first"
            }
        }
    }
}

/// Pads of the strip that usually carries a package.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pads {
    /// Distance from pad to pad, centre to centre, typical, in mm.
    pub pitch_mm: f64,
    /// Least and most, in mm.
    pub range_mm: [f64; 2],
    /// How hard they are.
    pub difficulty: Difficulty,
}

/// Pads of the strip that usually carries a package: common practice, no source; products differ. Strips of one data line have three pads:
/// supply, data, ground, in an order that differs too.
#[must_use]
pub fn pads(package: &str) -> Pads {
    let (pitch_mm, range_mm, difficulty) = match package {
        "2020" => (1.3, [1.0, 1.8], Difficulty::Miniature),
        "3535" => (2.5, [1.8, 3.2], Difficulty::Fine),
        _ => (3.0, [2.5, 4.0], Difficulty::Ordinary),
    };
    Pads { pitch_mm, range_mm, difficulty }
}

/// A place where wires are soldered to pixels.
#[derive(Clone, Debug, PartialEq)]
pub struct Joint {
    /// Its number, from 1: J1, J2, ….
    pub number: usize,
    /// Where.
    pub at: End,
    /// The pixel next to it, counted from 0.
    pub pixel: usize,
    /// Numbers of the wires that end here.
    pub wires: Vec<usize>,
    /// Wire ends to solder on each conductor, as in [`Conductor::ALL`].
    pub ends: [usize; 3],
    /// The pads; `None` for pixel wire, whose own wires are spliced.
    pub pads: Option<Pads>,
    /// Whether a sleeve comes off here first.
    pub sleeved: bool,
}

/// Where wires meet pixels, in the order of the data.
#[must_use]
pub fn joints(scene: &Scene, pieces: &[Piece], wires: &[Wire]) -> Vec<Joint> {
    let pixel_at = |end: End| match end {
        End::In(piece) => Some((pieces[piece].pixels.start, piece, 0)),
        End::Out(piece) => Some((pieces[piece].pixels.end - 1, piece, 2)),
        End::Beside(pixel) => Some((pixel, piece_of(pieces, pixel), 1)),
        End::Supply | End::Controller => None,
    };
    let mut ends: Vec<(usize, usize, usize, End, &Wire)> = wires
        .iter()
        .flat_map(|wire| [(wire.from, wire), (wire.to, wire)])
        .filter_map(|(end, wire)| pixel_at(end).map(|(pixel, piece, side)| (piece, pixel, side, end, wire)))
        .collect();
    // In order along the data; a piece of one pixel has its data-in end before its data-out end.
    ends.sort_by_key(|(piece, pixel, side, _, wire)| (*piece, *pixel, *side, wire.number));
    let sleeved = scene.stack.iter().any(|placed| placed.sleeve);
    let mut joints: Vec<Joint> = Vec::new();
    for (piece, pixel, _, at, wire) in ends {
        if joints.last().is_none_or(|joint| joint.at != at) {
            let of = &pieces[piece];
            let spliced = matches!(of.kind, PieceKind::Wire | PieceKind::Listed);
            joints.push(Joint {
                number: joints.len() + 1,
                at,
                pixel,
                wires: Vec::new(),
                ends: [0; 3],
                pads: (!spliced).then(|| pads(&of.package)),
                sleeved: sleeved && of.kind == PieceKind::Strip,
            });
        }
        if let Some(joint) = joints.last_mut() {
            joint.wires.push(wire.number);
            for (count, conductor) in joint.ends.iter_mut().zip(Conductor::ALL) {
                *count += usize::from(wire.conductors.contains(&conductor));
            }
        }
    }
    joints
}
