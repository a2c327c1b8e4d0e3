//! The comparison as JSON and CSV: everything, with ranges and units.

use super::Found;
use crate::choose::compare::filter::Filter;
use crate::choose::compare::verdict::{Grade, Graded, LEAST_CONTRAST, MOST_COLOUR_SHIFT};
use crate::choose::compare::{Row, told_apart};
use crate::cli::{judged, output};
use crate::diagnose::to_json;
use crate::judge::numbers::{Numbers, Range};
use crate::scene::variants::Replaced;
use serde_json::{Value, json};

pub(super) fn json(found: &Found<'_>) -> Value {
    let job = found.job;
    let sheet = found.sheet.as_ref();
    let standard = found.verdict.standard;
    json!({
        "scene": job.scene.name,
        "files": output::files(sheet.iter().flat_map(|_| std::iter::once(&job.target).chain(&job.csv))),
        "exposure_ev_iso_100": sheet.map(|s| s.exposure.0),
        "full_scale_cd_m2": sheet.map(|s| s.exposure.full_scale().0),
        "mm_per_px": sheet.map(|s| s.frame.mm_per_px),
        "cell_size_px": sheet.map(|s| [s.frame.width_px, s.frame.height_px]),
        "cells": sheet.map(|s| s.cells),
        "distance_m": job.scene.view.distance_m,
        "room_lx": job.scene.view.room_lx,
        "replaced": match job.wanted.replaced { Replaced::Outermost => "outermost", Replaced::All => "all" },
        "stays_below": job.wanted.stays_below(&job.scene).iter().map(|p| &p.cloth.name).collect::<Vec<_>>(),
        "order": found.order.word(),
        "wants": found.filtered.filters.iter().map(|&filter| want(found, filter)).collect::<Vec<_>>(),
        "good_means": {
            "no_dots_from_m": standard.distance_m,
            "least_light_kept": standard.least_light,
            "most_colour_shift_ciede2000": MOST_COLOUR_SHIFT,
            "most_thickness_mm": standard.most_mm,
            "least_contrast_with_room": LEAST_CONTRAST,
        },
        "rows": found.rows().iter().zip(&found.verdict.graded).enumerate()
            .map(|(i, (row, graded))| graded_row(found, i, row, graded)).collect::<Vec<_>>(),
        "removed": found.filtered.removed.iter().map(|removed| {
            let mut row = plain_row(&removed.row);
            row["misses"] = removed.misses.iter().map(|f| option(*f)).collect();
            row
        }).collect::<Vec<_>>(),
        "nearest": found.filtered.nearest().filter(|_| found.rows().is_empty()).map(|r| plain_row(&r.row)),
        "verdict": found.verdict.in_words(found.rows(), found.order),
        "problems": job.faults.iter().map(to_json).collect::<Vec<_>>(),
    })
}

fn option(filter: Filter) -> &'static str {
    match filter {
        Filter::AtLeastLight(_) => "at-least-light",
        Filter::NoDotsAt(_) => "no-dots-at-m",
        Filter::AtMostMm(_) => "at-most-mm",
    }
}

fn want(found: &Found<'_>, filter: Filter) -> Value {
    let (bound, unit) = match filter {
        Filter::AtLeastLight(bound) => (bound, "1"),
        Filter::NoDotsAt(bound) => (bound, "m"),
        Filter::AtMostMm(bound) => (bound, "mm"),
    };
    let varied = found.verdict.varied;
    let [kept, removed] =
        found.filtered.open(filter).map(|rows| rows.iter().map(|r| varied.name(r)).collect::<Vec<_>>());
    json!({
        "option": option(filter),
        "in_words": filter.in_words(),
        "bound": bound,
        "unit": unit,
        "missed_by": found.filtered.missing(filter),
        "kept_but_range_crosses": kept,
        "removed_but_range_crosses": removed,
    })
}

fn plain_row(row: &Row) -> Value {
    let candidate = &row.candidate;
    json!({
        "cloth": candidate.cloth.name,
        "title": candidate.cloth.title,
        "basis": candidate.cloth.basis.in_words(),
        "layers": candidate.layers,
        "gap_mm": candidate.gap.0,
        "price_per_m": candidate.price_per_m(),
        "straight_through_share": row.straight,
        "numbers": judged::as_json(&row.judged),
    })
}

fn graded_row(found: &Found<'_>, i: usize, row: &Row, graded: &Graded) -> Value {
    let mut told = plain_row(row);
    told["number"] = json!(i + 1);
    told["grade"] = json!(graded.grade.word());
    told["reasons"] = graded.reasons.iter().map(|reason| reason.in_words(row.straight)).collect();
    told["same_grade"] = graded.sure.map_or(Value::Null, |[same, all]| json!({"samples": same, "of": all}));
    told["told_apart_from_first"] = json!(told_apart(&found.rows()[0], row, found.order));
    told
}

/// A number that need not exist, with its name and unit.
type Pick = (&'static str, fn(&Numbers) -> Option<f64>);

/// The numbers that have a range.
const RANGED: [Pick; 10] = [
    ("dot_visibility", |n| n.dot_visibility),
    ("dots_vanish_beyond_m", |n| n.dots_vanish_m),
    ("light_kept_share", |n| Some(n.light_kept)),
    ("mean_luminance_cd_m2", |n| Some(n.mean_cd_m2)),
    ("peak_luminance_cd_m2", |n| Some(n.peak_cd_m2)),
    ("colour_shift_ciede2000", |n| n.colour_shift),
    ("spot_width_mm", |n| n.spot_width_mm),
    ("evenness_share", |n| n.evenness),
    ("ripple_share", |n| n.ripple),
    ("contrast_with_room_ratio", |n| Some(n.contrast_with_room)),
];

/// The table after RFC 4180: one row a candidate. A number that does not exist is empty, one that has no end is `inf`.
pub(super) fn csv(found: &Found<'_>) -> Result<Vec<u8>, String> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    let mut write = |fields: Vec<String>| writer.write_record(fields).map_err(|error| error.to_string());
    let mut heading: Vec<String> =
        ["number", "cloth", "title", "layers", "gap_mm"].map(str::to_owned).to_vec();
    for (name, _) in RANGED {
        heading.extend([name.to_owned(), format!("{name}_low"), format!("{name}_high")]);
    }
    let rest = [
        "thickness_mm",
        "areal_mass_g_m2",
        "price_per_m",
        "straight_through_share",
        "grade",
        "reasons",
        "same_grade_samples",
        "samples",
    ];
    heading.extend(rest.map(str::to_owned));
    write(heading)?;
    for (i, (row, graded)) in found.rows().iter().zip(&found.verdict.graded).enumerate() {
        write(record(i, row, graded))?;
    }
    writer.into_inner().map_err(|error| error.to_string())
}

fn record(i: usize, row: &Row, graded: &Graded) -> Vec<String> {
    let candidate = &row.candidate;
    let value = &row.judged.value;
    let known = |number: Option<f64>| number.map_or_else(String::new, |number| format!("{number}"));
    let mut fields = vec![
        format!("{}", i + 1),
        candidate.cloth.name.clone(),
        candidate.cloth.title.clone(),
        format!("{}", candidate.layers),
        format!("{}", candidate.gap.0),
    ];
    for (_, pick) in RANGED {
        match row.judged.range_of(pick) {
            Some(Range { value, low, high }) => fields.extend([value, low, high].map(|v| format!("{v}"))),
            None => fields.extend([String::new(), String::new(), String::new()]),
        }
    }
    let [same, all] = graded.sure.map_or([String::new(), String::new()], |sure| sure.map(|n| format!("{n}")));
    fields.extend([
        format!("{}", value.thickness_mm),
        known(value.areal_mass_g_m2),
        known(candidate.price_per_m()),
        format!("{}", row.straight),
        graded.grade.word().to_owned(),
        if graded.grade == Grade::Avoid { graded.reasons_in_words(row) } else { String::new() },
        same,
        all,
    ]);
    fields
}
