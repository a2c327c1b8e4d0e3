//! What was found as CSV and JSON.

use crate::choose::pick::{Missed, Offer, Picked, Wants, Way};
use crate::choose::pick_chart::letter;
use crate::cli::{judged, output};
use crate::judge::numbers::Range;
use serde_json::json;
use std::path::Path;

/// The table: one row a trade-off.
const COLUMNS: [&str; 22] = [
    "letter",
    "cloth",
    "title",
    "layers",
    "pitch_mm",
    "pixels",
    "gap_mm",
    "thickness_mm",
    "mean_cd_m2",
    "mean_low_cd_m2",
    "mean_high_cd_m2",
    "light_kept",
    "light_kept_low",
    "light_kept_high",
    "dot_visibility",
    "dot_visibility_low",
    "dot_visibility_high",
    "samples_met_share",
    "safe_gap_mm",
    "colour_shift_ciede2000",
    "areal_mass_g_m2",
    "price_per_m",
];

pub(super) fn csv(picked: &Picked) -> Result<Vec<u8>, csv::Error> {
    let mut table = csv::Writer::from_writer(Vec::new());
    table.write_record(COLUMNS)?;
    for (i, best) in picked.best.iter().enumerate() {
        let Way { cloth, layers, pitch_mm, gap_mm, numbers, price, scene, .. } = &best.way;
        let optional = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
        let three = |range: Option<Range>| {
            range.map_or_else(Default::default, |r| [r.value, r.low, r.high].map(|v| v.to_string()))
        };
        let mut row = vec![letter(i), cloth.name.clone(), cloth.title.clone(), layers.to_string()];
        row.extend([optional(*pitch_mm), scene.pixels.len().to_string(), gap_mm.to_string()]);
        row.push(numbers.thickness_mm.to_string());
        row.extend(three(Some(best.judged.range(|n| n.mean_cd_m2))));
        row.extend(three(Some(best.judged.range(|n| n.light_kept))));
        row.extend(three(best.judged.range_of(|n| n.dot_visibility)));
        row.extend([best.sureness().to_string(), optional(best.safe_gap_mm), optional(numbers.colour_shift)]);
        row.extend([optional(numbers.areal_mass_g_m2), optional(*price)]);
        table.write_record(row)?;
    }
    table.into_inner().map_err(|error| csv::Error::from(error.into_error()))
}

pub(super) fn as_json(offer: &Offer, picked: &Picked, wants: &Wants, written: &[&Path]) -> serde_json::Value {
    let way = |way: &Way| {
        json!({
            "cloth": way.cloth.name, "title": way.cloth.title, "layers": way.layers, "pitch_mm": way.pitch_mm,
            "pixels": way.scene.pixels.len(), "gap_mm": way.gap_mm, "thickness_mm": way.numbers.thickness_mm,
            "mean_cd_m2": way.numbers.mean_cd_m2, "dot_visibility": way.numbers.dot_visibility, "price_per_m": way.price,
        })
    };
    let best = picked.best.iter().enumerate().map(|(i, best)| {
        let mut told = way(&best.way);
        told["letter"] = json!(letter(i));
        told["samples_met_share"] = json!(best.sureness());
        told["safe_gap_mm"] = json!(best.safe_gap_mm);
        told["numbers"] = judged::as_json(&best.judged);
        told
    });
    json!({
        "scene": offer.scenes[0].1.name,
        "files": output::files(written),
        "wants": {
            "softness": wants.softness.word(), "dot_visibility_bound": wants.softness.bound(),
            "distance_m": offer.scenes[0].1.view.distance_m, "at_least_cd_m2": wants.at_least_cd_m2,
            "at_least_light": wants.at_least_light, "at_most_mm": wants.at_most_mm,
            "colour_shift_below": wants.colour_shift_below, "price_below": wants.price_below,
        },
        "combinations": offer.combinations(),
        "best": best.collect::<Vec<_>>(),
        "others": picked.others.iter().map(way).collect::<Vec<_>>(),
        "fell_away": picked.fell_away.iter().map(|f| json!({
            "want": key(f.missed), "count": f.count, "nearest": f.nearest.filter(|v| v.is_finite()), "unit": unit(f.missed),
        })).collect::<Vec<_>>(),
        "price_compared": picked.by_price,
    })
}

fn key(missed: Missed) -> &'static str {
    match missed {
        Missed::Thickness => "thickness",
        Missed::Light => "light",
        Missed::Price => "price",
        Missed::Softness => "softness",
        Missed::Luminance => "luminance",
        Missed::Colour => "colour",
    }
}

/// Unit of the value that comes nearest to a want.
fn unit(missed: Missed) -> &'static str {
    match missed {
        Missed::Thickness => "mm",
        Missed::Light | Missed::Softness => "1",
        Missed::Price => "price per m",
        Missed::Luminance => "cd/m2",
        Missed::Colour => "CIEDE2000",
    }
}
