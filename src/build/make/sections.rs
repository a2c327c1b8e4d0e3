//! The sheet's words and tables, once for all forms in which it is written.

use super::cloths::SizeFrom;
use super::pieces::{PieceKind, SLEEVE_OFF_MM};
use super::wiring::{Conductor, End, SLACK_MM, Wire};
use super::{Plan, counted, mm, span, steps::steps};
use crate::build::current::Current;
use crate::picture::chart::plain_number as n;
use crate::words::capital;

/// Rows of a table on the sheet; the lists hold the rest.
pub const MOST_ROWS: usize = 200;
/// A table of at most so many rows fits on a page and is not broken.
pub(super) const SHORT_TABLE: usize = 14;
const MM2_PER_CM2: f64 = 100.0;

/// A part of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// Its heading.
    pub title: String,
    /// What stands in it.
    pub blocks: Vec<Block>,
}

/// One block of a section.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A paragraph.
    Words(String),
    /// A list without order.
    Points(Vec<String>),
    /// What can hurt.
    Cautions(Vec<String>),
    /// Steps in their order, to tick off.
    Steps(Vec<String>),
    /// A table.
    Table {
        /// What it holds.
        caption: String,
        /// Its headings.
        head: Vec<&'static str>,
        /// Its rows.
        rows: Vec<Vec<String>>,
    },
    /// The chart of voltages stands here.
    Chart,
    /// The preview stands here.
    Picture,
}

/// A table of at most [`MOST_ROWS`], and a word about the rest.
fn table(caption: &str, head: &[&'static str], rows: Vec<Vec<String>>, rest: &str) -> Vec<Block> {
    let more = rows.len().saturating_sub(MOST_ROWS);
    let mut rows = rows;
    rows.truncate(MOST_ROWS);
    let mut blocks = vec![Block::Table { caption: caption.to_owned(), head: head.to_vec(), rows }];
    if more > 0 {
        blocks.push(Block::Words(format!("And {more} more: see {rest}.")));
    }
    blocks
}

fn current(current: Current) -> String {
    format!("{:.0}\u{a0}mA ({:.0} to {:.0})", current.typical_ma, current.range_ma[0], current.range_ma[1])
}

/// All sections in the order of the sheet.
#[must_use]
pub fn sections(plan: &Plan) -> Vec<Section> {
    let mut all = vec![at_a_glance(plan), cautions(plan), cut_list(plan), wiring(plan), joints(plan)];
    all.extend([cloths(plan), power(plan), order(plan), pixel_map(plan)]);
    all
}

fn at_a_glance(plan: &Plan) -> Section {
    let mut points = vec![
        format!(
            "{}, counted from 0 at data in to {} at the end.",
            counted(plan.places.len(), "pixel"),
            plan.places.len() - 1
        ),
        format!(
            "{}, {}, {} with {} to make.",
            counted(plan.pieces.len(), "piece"),
            counted(plan.wires.len(), "hook-up wire"),
            counted(plan.joints.len(), "place") + " to solder",
            counted(soldered_ends(plan), "wire end")
        ),
        format!(
            "Current at the scene's colours and levels: {}; all dies full on: {}.",
            current(plan.draw.total()),
            current(plan.draw.all_on())
        ),
    ];
    match &plan.power {
        Some(power) => {
            points.push(format!("Fed by: {}.", power.supply_in_words()));
            points.push(power.cap_in_words());
            points.extend(power.volts_in_words().into_iter().take(1));
            points.extend(power.hours_in_words());
        }
        None => points.push(
            "The scene names no supply: add `supply:` (volts, max_ma, wire_mm, battery) for voltages, brightness limit and battery time."
                .to_owned(),
        ),
    }
    points.push(format!(
        "Everything over the board is {} thick, {} of it air that something must hold open.",
        mm(plan.thickness_mm),
        mm(plan.air_mm)
    ));
    let mut blocks = vec![Block::Points(points), Block::Picture];
    if !plan.warnings.is_empty() {
        let warnings =
            plan.warnings.iter().map(|warning| format!("The scene file warns: {warning}.")).collect();
        blocks.push(Block::Points(warnings));
    }
    Section { title: "At a glance".to_owned(), blocks }
}

/// Wire ends to solder to pixels.
#[must_use]
pub fn soldered_ends(plan: &Plan) -> usize {
    plan.joints.iter().flat_map(|joint| joint.ends).sum()
}

fn cautions(plan: &Plan) -> Section {
    Section { title: "Cautions".to_owned(), blocks: vec![Block::Cautions(plan.cautions.clone())] }
}

fn cut_list(plan: &Plan) -> Section {
    let rows = plan.pieces.iter().map(|piece| {
        let pitch = match piece.pitch_mm {
            None => "single pixel".to_owned(),
            Some([least, most]) if (most - least).abs() < 0.01 => n(least),
            Some([least, most]) => format!("{} to {}", n(least), n(most)),
        };
        let sleeve = piece.sleeve.map_or("none".to_owned(), |sleeve| {
            format!(
                "{} off at data in, {} off at data out, {} stays",
                mm(sleeve.off_in_mm),
                mm(sleeve.off_out_mm),
                mm(sleeve.stays_mm)
            )
        });
        vec![
            piece.name(),
            format!("{}, package {}", piece.kind.words(), piece.package),
            piece.pixels.len().to_string(),
            span(&piece.pixels),
            piece.cut_mm.map_or("ready-made".to_owned(), n),
            pitch,
            sleeve,
            piece.source.clone(),
        ]
    });
    let head = ["piece", "what", "pixels", "numbers", "length, mm", "pixel to pixel, mm", "sleeve", "place"];
    let mut blocks = table("Pieces in the order of the data", &head, rows.collect(), "cut-list.csv");
    let mut points = Vec::new();
    let has = |kind: fn(&PieceKind) -> bool| plan.pieces.iter().any(|piece| kind(&piece.kind));
    let total: f64 = plan.pieces.iter().filter_map(|piece| piece.cut_mm).sum();
    if total > 0.0 {
        points.push(format!("All pieces that are cut come to {}.", mm((total * 10.0).round() / 10.0)));
    }
    if has(|kind| *kind == PieceKind::Strip) {
        points.push("Strip: cut in the middle of the pads at the cut marks; the length runs from mark to mark, half a pitch beyond the outer pixels.".to_owned());
    }
    if has(|kind| matches!(kind, PieceKind::Wire | PieceKind::Listed)) {
        points.push(
            "Pixel wire and strings: the length runs from the first to the last pixel. Leave the wire to the next pixel on at both ends, for splicing. \
             Where places are farther apart than the string's own pitch, splice wire in; where they are closer, fold it."
                .to_owned(),
        );
    }
    if has(|kind| matches!(kind, PieceKind::Panel { .. })) {
        points.push(
            "Panel: a ready-made flexible panel with this order of data. Made of strips instead, every row is a piece and every turn three more wires."
                .to_owned(),
        );
    }
    if has(|kind| matches!(kind, PieceKind::Ring { .. })) {
        points.push(
            "Ring: a ready-made board. Check which pixel is its first and which way round its data run."
                .to_owned(),
        );
    }
    if plan.pieces.iter().any(|piece| piece.sleeve.is_some()) {
        points.push(format!(
            "Sleeve: slit and take off {} at every end that is soldered (common practice, no source), and close it with sealant after the test.",
            mm(SLEEVE_OFF_MM)
        ));
    }
    blocks.push(Block::Points(points));
    Section { title: "Cut list".to_owned(), blocks }
}

fn conductors(wire: &Wire) -> String {
    wire.conductors.iter().map(|conductor| conductor.letter()).collect::<Vec<_>>().join(" ")
}

fn wiring(plan: &Plan) -> Section {
    let rows = plan.wires.iter().map(|wire| {
        vec![
            format!("W{}", wire.number),
            wire.from.words(),
            wire.to.words(),
            conductors(wire),
            wire.length_mm.map_or("to suit".to_owned(), |length| format!("{:.0}", length.ceil())),
            match (wire.gauge, wire.conductors.contains(&Conductor::Supply)) {
                (Some(gauge), true) => gauge.to_string(),
                (None, true) => "22 AWG or thicker".to_owned(),
                (_, false) => "22 to 28 AWG".to_owned(),
            },
        ]
    });
    let head = ["wire", "from", "to", "conductors", "length of each, mm", "gauge"];
    let mut blocks = table("Hook-up wires", &head, rows.collect(), "plan.json");
    let legend = [
        vec!["S".to_owned(), "supply, plus".to_owned(), String::new()],
        vec!["D".to_owned(), "data".to_owned(), String::new()],
        vec!["G".to_owned(), "ground, minus".to_owned(), String::new()],
    ];
    blocks.push(Block::Table {
        caption: "Your colours: fill them in before you begin, and keep to them".to_owned(),
        head: vec!["letter", "conductor", "your colour"],
        rows: legend.to_vec(),
    });
    let totals = Conductor::ALL.map(|conductor| {
        let length: f64 = plan
            .wires
            .iter()
            .filter(|wire| wire.conductors.contains(&conductor))
            .filter_map(|wire| wire.length_mm)
            .sum();
        format!("{} {}", conductor.letter(), mm(length.ceil()))
    });
    let open = plan.wires.iter().any(|wire| wire.length_mm.is_none());
    let mut points = vec![
        format!(
            "Wire in all: {}{}. Each length is the straight way and {} more at each end; ways around a body are longer.",
            totals.join(", "),
            if open { ", and what is to suit" } else { "" },
            mm(SLACK_MM)
        ),
        "The grounds of controller and supply are joined: without that the data mean nothing.".to_owned(),
    ];
    let pairs = plan.wires.iter().filter(|wire| wire.from == End::Supply).count();
    if pairs > 1 {
        points.push(format!("Power enters at {pairs} places, each over its own pair from the same supply; do not join a second supply there."));
    }
    blocks.push(Block::Points(points));
    Section { title: "Wires".to_owned(), blocks }
}

fn joints(plan: &Plan) -> Section {
    let rows = plan.joints.iter().map(|joint| {
        let wires: Vec<String> = joint.wires.iter().map(|number| format!("W{number}")).collect();
        let ends: Vec<String> = Conductor::ALL
            .iter()
            .zip(joint.ends)
            .filter(|(_, count)| *count > 0)
            .map(|(conductor, count)| {
                if count == 1 {
                    conductor.letter().to_owned()
                } else {
                    format!("{} ({count} wires)", conductor.letter())
                }
            })
            .collect();
        let pads = joint.pads.map_or("splice: its own wires".to_owned(), |pads| {
            format!("about {}, {} to {}", n(pads.pitch_mm), n(pads.range_mm[0]), n(pads.range_mm[1]))
        });
        let mut how =
            joint.pads.map_or("ordinary: twist, solder, shrink tube over each".to_owned(), |pads| {
                pads.difficulty.words().to_owned()
            });
        if joint.sleeved {
            how += "; take the sleeve off first";
        }
        vec![
            format!("J{}", joint.number),
            joint.at.words(),
            joint.pixel.to_string(),
            wires.join(", "),
            ends.join(", "),
            pads,
            how,
        ]
    });
    let head = ["place", "where", "next to pixel", "wires", "pads", "pad to pad, mm", "how hard"];
    let mut blocks = table("Places to solder, in the order of the data", &head, rows.collect(), "plan.json");
    let mut points = Vec::new();
    if plan.joints.iter().any(|joint| joint.pads.is_some()) {
        points.push("Three pads: supply, data, ground. Their order differs from product to product: read what is printed beside them, on both ends of each piece.".to_owned());
        points.push("Distances of pads: common practice, no source; measure your own.".to_owned());
    }
    if plan.joints.iter().any(|joint| joint.pads.is_none()) {
        points.push("Splices: a pixel wire has three wires of its own, supply, data, ground; their order and colours differ from product to product. Find them by the pixel's own pads.".to_owned());
    }
    points.push(
        "Data go in at the pad marked in, where the printed arrow begins, and leave at the pad marked out. A piece soldered in backwards stays dark.".to_owned(),
    );
    blocks.push(Block::Points(points));
    Section { title: "Soldering".to_owned(), blocks }
}

fn cloths(plan: &Plan) -> Section {
    let mut blocks = Vec::new();
    if plan.cloths.is_empty() {
        blocks.push(Block::Words("The scene has no cloth over its pixels.".to_owned()));
        return Section { title: "Cloth".to_owned(), blocks };
    }
    let grams = |value: Option<f64>| value.map_or("not known".to_owned(), |value| format!("{value:.1}"));
    let rows = plan.cloths.iter().map(|cloth| {
        vec![
            format!("C{}", cloth.number),
            cloth.title.clone(),
            format!("{} by {}", n(cloth.size_mm[0].ceil()), n(cloth.size_mm[1].ceil())),
            format!("{:.0}", cloth.area_mm2 / MM2_PER_CM2),
            grams(cloth.areal_mass_g_m2),
            grams(cloth.mass_g),
            n(cloth.thickness_mm),
            if cloth.gap_mm > 0.0 {
                format!("{} above {}", mm(cloth.gap_mm), cloth.over)
            } else {
                format!("on {}", cloth.over)
            },
        ]
    });
    let head = ["layer", "cloth", "fits in, mm", "area, cm2", "g per m2", "mass, g", "thick, mm", "lies"];
    blocks.extend(table("Layers from the pixels outwards", &head, rows.collect(), "plan.json"));
    let size = match (plan.cloths[0].from, &plan.edge) {
        (SizeFrom::Outline, Some(edge)) if edge.seam_mm > 0.0 => {
            format!(
                "Cut along the outline of the drawing; its seam allowance of {} lies inside.",
                mm(edge.seam_mm)
            )
        }
        (SizeFrom::Outline, _) => {
            "Cut along the outline of the drawing; it holds no seam allowance.".to_owned()
        }
        (SizeFrom::Margin(margin), _) => format!(
            "The scene draws no pattern piece (`outline`): these are rectangles around the pixels with {} on every side, without seam allowance.",
            mm(margin)
        ),
    };
    let known: Option<f64> = plan.cloths.iter().map(|cloth| cloth.mass_g).sum();
    let mass = known.map_or(String::new(), |mass| format!(" The cloth weighs {mass:.0} g in all;"));
    blocks.push(Block::Points(vec![
        size,
        format!(
            "The stack is {} thick from the board: {} of cloth and sleeve, {} of air. Keep the gap with spacers, foam or wadding around the pixels: the look depends on it.",
            mm(plan.thickness_mm),
            mm(plan.thickness_mm - plan.air_mm),
            mm(plan.air_mm)
        ),
        format!("{} the mass of pixels, wires, battery and spacers is left out.", mass.trim_start()).trim_start().to_owned(),
    ]));
    Section { title: "Cloth".to_owned(), blocks }
}

fn power(plan: &Plan) -> Section {
    let mut blocks = Vec::new();
    match &plan.power {
        None => blocks.push(Block::Words(format!(
            "At the scene's colours and levels the pixels draw {}; with all dies full on {}. The scene names no supply, so that nothing is said about \
             voltages and battery.",
            current(plan.draw.total()),
            current(plan.draw.all_on())
        ))),
        Some(power) => {
            blocks.push(Block::Words(format!(
                "{}. At the scene's colours and levels the pixels would draw {}; with all dies full on {}. After the limit of the supply and what is \
                 lost along the run they draw {:.0} mA.",
                capital(&power.supply_in_words()),
                current(plan.draw.total()),
                current(plan.draw.all_on()),
                power.supply_ma()
            )));
            let mut points = vec![power.cap_in_words()];
            points.extend(power.volts_in_words());
            points.extend(power.hours_in_words());
            blocks.push(Block::Points(points));
            blocks.push(Block::Chart);
            blocks.push(Block::Words("Suggestions:".to_owned()));
            blocks.push(Block::Points(power.suggestions()));
        }
    }
    Section { title: "Power".to_owned(), blocks }
}

fn order(plan: &Plan) -> Section {
    Section { title: "Order of work".to_owned(), blocks: vec![Block::Steps(steps(plan))] }
}

fn pixel_map(plan: &Plan) -> Section {
    Section {
        title: "Pixel map".to_owned(),
        blocks: vec![Block::Words(format!(
            "The files map.csv, map.json and map.h hold the place of every one of the {}: number from 0 along the data, x to the right and y upwards as one \
             looks at the garment, and the group of the scene file from 0. map.h counts in tenths of a millimetre from the lower left.",
            counted(plan.places.len(), "pixel")
        ))],
    }
}
