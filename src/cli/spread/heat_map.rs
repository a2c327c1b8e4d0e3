//! The heat map of a self-check.

use super::self_check::{Report, error_in_words, tenths};
use crate::light::accuracy::{
    ALBEDOS, ASYMMETRIES, Checked, GAP_MM, Kind, NAMED, OPTICAL_THICKNESSES, THICKNESSES_OVER_GAP, TILTS_DEG,
};
use crate::picture::chart::{HeatCell, HeatGrid, HeatMap, HeatPart};

/// Where the steps of colour begin, in % of the peak: each but the first twice the one before.
const EDGES: [f64; 6] = [0.5, 1.0, 2.0, 4.0, 8.0, 16.0];

/// The heat map, and what it shows in words.
pub(super) fn heat_map(report: &Report) -> (HeatMap, String) {
    let mut grids: Vec<HeatGrid> = ASYMMETRIES.iter().filter_map(|&g| of_one_cloth(report, g)).collect();
    grids.extend(of_named(report));
    let said = |is: bool, words: &str| if is { words.to_owned() } else { String::new() };
    let any = |is: fn(&Checked) -> bool| report.checked.iter().any(is);
    let map = HeatMap {
        title: "How far the spots are off: transport against photons".to_owned(),
        subtitle: vec![report.made_of(), report.sampling()],
        label: "error (% of the spot's peak)".to_owned(),
        edges: EDGES,
        marked: said(any(Checked::is_over), "more than the README's known limits say"),
        unknown: said(any(|checked| !checked.is_known()), "too few of the photons get through to tell"),
        grids,
        notes: notes(report),
    };
    let alt = [Some(report.made_of()), worst(report)].into_iter().flatten().collect::<Vec<_>>().join(" ");
    (map, alt)
}

fn notes(report: &Report) -> Vec<String> {
    let mut notes = vec![error_in_words()];
    notes.extend(worst(report));
    notes.push(format!(
        "Optical thickness: how often light meets a fibre on its straight way through. Albedo: what survives each meeting. Asymmetry: how \
         far it then keeps its way (0 not at all; fibres about 0.7). Gap: the air below the cloth, {GAP_MM} mm in the grids. The board throws \
         back 50 %."
    ));
    notes
}

/// The stack that is farthest off; `None` where none is known.
fn worst(report: &Report) -> Option<String> {
    let worst = report.by_error().into_iter().next()?;
    let from = match worst.case.tilt_deg {
        0.0 => "straight ahead".to_owned(),
        tilt => format!("{tilt}° to the side"),
    };
    Some(format!("Worst: {} ({}; {from}).", tenths(worst.errors.beyond), worst.case.words()))
}

/// The cell of a stack; `None` where it was not tried.
fn cell(report: &Report, kind: Kind, asymmetry: f64, tilt_deg: f64) -> Option<HeatCell> {
    let same = |checked: &&Checked| {
        let case = &checked.case;
        case.kind == kind && case.asymmetry() == asymmetry && case.tilt_deg == tilt_deg
    };
    report.checked.iter().find(same).map(|checked| HeatCell {
        value: checked.is_known().then_some(100.0 * checked.errors.beyond),
        marked: checked.is_over(),
    })
}

/// The grid of one cloth at one asymmetry; `None` where it was not tried.
fn of_one_cloth(report: &Report, asymmetry: f64) -> Option<HeatGrid> {
    let parts = ALBEDOS.iter().map(|&albedo| {
        let row = |&thickness_over_gap: &f64| -> Option<Vec<HeatCell>> {
            OPTICAL_THICKNESSES
                .iter()
                .map(|&optical_thickness| {
                    let kind = Kind::Grid { optical_thickness, thickness_over_gap, albedo };
                    cell(report, kind, asymmetry, 0.0)
                })
                .collect()
        };
        Some(HeatPart {
            heading: format!("{} (albedo {albedo})", if albedo > 0.95 { "nearly white" } else { "dyed" }),
            columns: OPTICAL_THICKNESSES.map(|tau| tau.to_string()).to_vec(),
            cells: THICKNESSES_OVER_GAP.iter().map(row).collect::<Option<_>>()?,
        })
    });
    Some(HeatGrid {
        heading: format!("One cloth, straight ahead, asymmetry {asymmetry}"),
        rows_label: "thickness of the cloth over the gap".to_owned(),
        rows: THICKNESSES_OVER_GAP.map(|ratio| ratio.to_string()).to_vec(),
        columns_label: "optical thickness".to_owned(),
        parts: parts.collect::<Option<_>>()?,
    })
}

/// The named stacks that were tried; `None` where none was.
fn of_named(report: &Report) -> Option<HeatGrid> {
    let tried = |name: &'static str, tilt_deg: f64| -> Option<Vec<HeatCell>> {
        ASYMMETRIES.iter().map(|&g| cell(report, Kind::Named(name), g, tilt_deg)).collect()
    };
    let tilts: Vec<f64> = TILTS_DEG
        .into_iter()
        .filter(|&tilt| NAMED.iter().any(|(name, _)| tried(name, tilt).is_some()))
        .collect();
    let names: Vec<&'static str> = NAMED
        .iter()
        .map(|(name, _)| *name)
        .filter(|name| tilts.iter().any(|&tilt| tried(name, tilt).is_some()))
        .collect();
    if names.is_empty() {
        return None;
    }
    let part = |&tilt_deg: &f64| HeatPart {
        heading: if tilt_deg == 0.0 {
            "straight ahead".to_owned()
        } else {
            format!("{tilt_deg}° to the side")
        },
        columns: ASYMMETRIES.map(|g| g.to_string()).to_vec(),
        cells: names.iter().filter_map(|name| tried(name, tilt_deg)).collect(),
    };
    Some(HeatGrid {
        heading: "Single cloths, cloths with holes, and piles".to_owned(),
        rows_label: String::new(),
        rows: names.iter().map(|name| (*name).to_owned()).collect(),
        columns_label: "asymmetry".to_owned(),
        parts: tilts.iter().map(part).collect(),
    })
}
