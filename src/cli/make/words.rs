//! What the command says.

use crate::build::make::sections::soldered_ends;
use crate::build::make::tiles::Drawings;
use crate::build::make::{Plan, counted, mm};
use std::path::Path;

/// Pieces that are listed one by one.
const MOST_PIECES: usize = 8;

pub(super) fn in_words(plan: &Plan, drawn: &Drawings, written: &[&Path]) -> String {
    let draw = plan.draw.total();
    let mut lines = vec![format!(
        "{}: {}, {}, {} to solder with {}.",
        plan.name,
        counted(plan.places.len(), "pixel"),
        counted(plan.pieces.len(), "piece"),
        counted(plan.joints.len(), "place"),
        counted(soldered_ends(plan), "wire end")
    )];
    for piece in plan.pieces.iter().take(MOST_PIECES) {
        let cut = piece.cut_mm.map_or("ready-made".to_owned(), |cut| format!("cut {}", mm(cut)));
        lines.push(format!(
            "  {}: {}, {}, {cut}.",
            piece.name(),
            piece.kind.words(),
            counted(piece.pixels.len(), "pixel")
        ));
    }
    if plan.pieces.len() > MOST_PIECES {
        lines.push(format!("  and {} more: see the cut list.", plan.pieces.len() - MOST_PIECES));
    }
    let known: Option<f64> = plan.cloths.iter().map(|cloth| cloth.mass_g).sum();
    if let (Some(mass), false) = (known, plan.cloths.is_empty()) {
        lines.push(format!(
            "{} of cloth, {mass:.0} g; the stack is {} thick.",
            counted(plan.cloths.len(), "layer"),
            mm(plan.thickness_mm)
        ));
    }
    lines.push(format!(
        "The pixels draw {:.0} mA at their colours and levels, {:.0} to {:.0} mA.",
        draw.typical_ma, draw.range_ma[0], draw.range_ma[1]
    ));
    match &plan.power {
        Some(power) => {
            lines.push(format!("Fed by: {}.", power.supply_in_words()));
            lines.push(power.cap_in_words());
            lines.extend(power.volts_in_words());
            lines.extend(power.hours_in_words());
            lines.extend(power.suggestions());
        }
        None => lines.push(
            "The scene names no supply, so that nothing is said about voltages and battery: add `supply:` for that.".to_owned(),
        ),
    }
    lines.push("Cautions:".to_owned());
    lines.extend(plan.cautions.iter().map(|caution| format!("  - {caution}")));
    lines.push(drawn.in_words());
    let names: Vec<String> = written.iter().map(|path| path.display().to_string()).collect();
    lines.push(format!("Wrote {}.", names.join(", ")));
    lines.join("\n").replace('\u{a0}', " ")
}
