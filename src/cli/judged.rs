//! The numbers that matter, as JSON.

use crate::judge::numbers::{Judged, LOW_QUANTILE, Numbers, Range, SAMPLES};
use serde_json::{Value, json};

/// A number and its range. What is infinite (dots that show from everywhere, a dark room) becomes null.
fn ranged(range: Option<Range>, unit: &str) -> Value {
    match range {
        Some(Range { value, low, high }) => json!({"value": value, "low": low, "high": high, "unit": unit}),
        None => Value::Null,
    }
}

/// All numbers of a scene with their ranges.
pub(super) fn as_json(judged: &Judged) -> Value {
    let all = |pick: fn(&Numbers) -> f64, unit: &str| ranged(Some(judged.range(pick)), unit);
    let some = |pick: fn(&Numbers) -> Option<f64>, unit: &str| ranged(judged.range_of(pick), unit);
    let mut whole = json!({
        "spot_width": some(|n| n.spot_width_mm, "mm"),
        "evenness": some(|n| n.evenness, "1"),
        "ripple": some(|n| n.ripple, "1"),
        "dot_visibility": some(|n| n.dot_visibility, "1"),
        "dots_vanish_beyond": some(|n| n.dots_vanish_m, "m"),
        "mean_luminance": all(|n| n.mean_cd_m2, "cd/m2"),
        "peak_luminance": all(|n| n.peak_cd_m2, "cd/m2"),
        "light_kept": all(|n| n.light_kept, "1"),
        "colour_shift": some(|n| n.colour_shift, "CIEDE2000"),
        "contrast_with_room": all(|n| n.contrast_with_room, "1"),
        "thickness_mm": judged.value.thickness_mm,
        "areal_mass_g_m2": judged.value.areal_mass_g_m2,
        "range": format!(
            "{:.0} % interval from the cloths' uncertainty, {} samples",
            100.0 * (1.0 - 2.0 * LOW_QUANTILE),
            if judged.samples.is_empty() { 0 } else { SAMPLES },
        ),
    });
    // Of scenes whose cloth stands off unevenly alone.
    if judged.value.widest_spot_mm.is_some() {
        whole["widest_spot"] = some(|n| n.widest_spot_mm, "mm");
    }
    whole
}
