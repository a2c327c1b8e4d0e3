//! The numbers that matter, as JSON.

use crate::judge::numbers::{Judged, LOW_QUANTILE, Numbers, SAMPLES};
use serde_json::{Value, json};

/// All numbers of a scene with their ranges.
pub(super) fn as_json(judged: &Judged) -> Value {
    let all = |pick: fn(&Numbers) -> f64, unit: &str| judged.range(pick).data(unit);
    let some = |pick: fn(&Numbers) -> Option<f64>, unit: &str| judged.range_of(pick).map(|r| r.data(unit));
    json!({
        "spot_width": some(|n| n.spot_width_mm, "mm"),
        "widest_spot": some(|n| n.widest_spot_mm, "mm"),
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
    })
}
