//! What is told of bare pixels: the cautions, and the same as data.

use super::blue::{BlueLight, LIMITS};
use super::{BareLight, DAZZLES_CD_M2, Likely};
use crate::judge::ranges::Range;
use crate::words::two_digits;

impl BareLight {
    /// The caution about dazzling: what is seen of the pixels through the cloth (or bare) at the scene's levels, and bare at full level.
    /// `None` for sources without extent.
    #[must_use]
    pub fn dazzle_words(&self) -> Option<String> {
        let full = self.brightest_full_cd_m2()?;
        let scene = self.brightest(|package| package.scene_cd_m2)?;
        let seen = scene.times(self.straight);
        let through = if self.straight < 1.0 { "through the cloth" } else { "bare" };
        let dazzling = if full.typical > DAZZLES_CD_M2 {
            "that dazzles: do not look into bare pixels from close by."
        } else {
            "do not look into bare pixels from close by all the same."
        };
        Some(format!(
            "A pixel's window is seen {through} with {}; bare and with every die at full level it has {}, {dazzling}",
            ranged(seen, "cd/m2"),
            ranged(full, "cd/m2"),
        ))
    }

    /// The caution about blue light.
    #[must_use]
    pub fn blue_words(&self) -> String {
        let limit = LIMITS[0].0;
        let within = |blue: &BlueLight| match (blue.group(false), blue.group(true)) {
            (0, 0) => format!("within the exempt limit of {limit:.0} of IEC 62471"),
            (0, _) => format!(
                "within the exempt limit of {limit:.0} of IEC 62471 typically, over it at the upper end of the range"
            ),
            (1, 1) => {
                format!("over the exempt limit of {limit:.0} of IEC 62471, within that of its group 1 (low)")
            }
            (_, high) => {
                format!("over the exempt limit of {limit:.0} of IEC 62471, as high as its group {high}")
            }
        };
        let full = self.blue_full;
        let mut words = format!(
            "Blue light into an eye 200 mm from the bare pixels, every die at full level: {} W/(m2 sr) over 100 mrad, {}",
            ranged(full.radiance[0], ""),
            within(&full)
        );
        let scene = self.blue_behind_cloth();
        if scene.radiance[0].typical < 0.999 * full.radiance[0].typical {
            let where_ = if self.straight < 1.0 { "through the cloth" } else { "bare" };
            words += &format!(
                "; at the scene's levels, {where_}, at most {} ({})",
                two_digits(scene.radiance[0].high),
                match scene.group(true) {
                    0 => "within the exempt limit".to_owned(),
                    group => format!("group {group}"),
                }
            );
        }
        words + ". An estimate from package data, not a certification."
    }

    /// Both cautions.
    #[must_use]
    pub fn words(&self) -> Vec<String> {
        self.dazzle_words().into_iter().chain([self.blue_words()]).collect()
    }

    /// As JSON.
    #[must_use]
    pub fn data(&self) -> serde_json::Value {
        let likely = |v: &Likely, unit| Range { value: v.typical, low: v.low, high: v.high }.data(unit);
        let blue = |blue: &BlueLight| {
            let fields: Vec<_> = blue
                .radiance
                .iter()
                .zip(&LIMITS)
                .map(|(radiance, (limit, field))| {
                    serde_json::json!({
                        "field_mrad": field, "w_m2_sr": likely(radiance, "W/(m2 sr)"), "limit_w_m2_sr": limit,
                    })
                })
                .collect();
            serde_json::json!({ "fields": fields, "group_typical": blue.group(false), "group_upper_end": blue.group(true) })
        };
        serde_json::json!({
            "straight_through_share": self.straight,
            "window_full_cd_m2": self.brightest_full_cd_m2().map(|luminance| likely(&luminance, "cd/m2")),
            "blue_bare_full": blue(&self.blue_full),
            "blue_bare_scene": blue(&self.blue_scene),
            "blue_through_cloth_at_most": blue(&self.blue_behind_cloth()),
        })
    }
}

/// `typical unit (low to high)`.
fn ranged(value: Likely, unit: &str) -> String {
    let space = if unit.is_empty() { "" } else { " " };
    if value.low == value.high {
        return format!("{}{space}{unit}", two_digits(value.typical));
    }
    format!(
        "{}{space}{unit} ({} to {})",
        two_digits(value.typical),
        two_digits(value.low),
        two_digits(value.high)
    )
}
