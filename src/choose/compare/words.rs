//! The numbers that decide, in plain words with their ranges.

use super::{Candidate, Row};
use crate::judge::numbers::{Numbers, Range};
use crate::judge::softness::look;

/// A number in two significant digits, three from 100 on (a dot visibility of 137 is no 140 to whom looks it up).
#[must_use]
pub fn digits(value: f64) -> String {
    match value.abs() {
        v if !v.is_finite() || v == 0.0 => format!("{value}"),
        v if v >= 99.5 => {
            let scale = 10f64.powf(v.log10().floor() - 2.0);
            format!("{:.0}", (value / scale).round() * scale)
        }
        v if v >= 9.95 => format!("{value:.0}"),
        v if v >= 0.995 => format!("{value:.1}"),
        v if v >= 0.00995 => format!("{value:.2}"),
        _ => "under 0.01".to_owned(),
    }
}

/// A share in per cent.
#[must_use]
pub fn percent(share: f64) -> String {
    let value = 100.0 * share;
    match value {
        v if v >= 9.95 => format!("{v:.0} %"),
        v if v >= 0.095 => format!("{v:.1} %"),
        0.0 => "0 %".to_owned(),
        _ => "under 0.1 %".to_owned(),
    }
}

/// A share in per cent without its sign.
#[must_use]
pub fn per_cent(share: f64) -> String {
    percent(share).trim_end_matches(" %").to_owned()
}

/// A range without its middle, such as `90 to 94`; `None` where both ends read alike.
fn ends(range: Range, tell: fn(f64) -> String) -> Option<String> {
    let (low, high) = (tell(range.low), tell(range.high));
    let low_bare = low.trim_end_matches(" %");
    (low != high).then(|| format!("{low_bare} to {high}"))
}

/// A value and its range: `25 % (18 to 33 %)`.
#[must_use]
pub fn ranged(range: Range, tell: fn(f64) -> String) -> String {
    match ends(range, tell) {
        Some(ends) => format!("{} ({ends})", tell(range.value)),
        None => tell(range.value),
    }
}

/// A distance in metres without its unit; dots that show from as far as is searched have no end.
fn metres(distance_m: f64) -> String {
    if distance_m.is_finite() { digits(distance_m) } else { "over 200".to_owned() }
}

/// From where no dots show, in metres without the unit: `28 (27 to 29)`.
#[must_use]
pub fn metres_ranged(range: Range) -> String {
    ranged(range, metres)
}

/// A name from a cloth file on one line and not too long.
#[must_use]
pub fn one_line(text: &str) -> String {
    crate::diagnose::shortened(&text.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// What differs from candidate to candidate besides the cloth, so that it must be named.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Varied {
    /// Layers.
    pub layers: bool,
    /// Gaps.
    pub gaps: bool,
}

impl Varied {
    /// What differs among these candidates.
    pub fn among<'a>(candidates: impl IntoIterator<Item = &'a Candidate>) -> Varied {
        let mut candidates = candidates.into_iter();
        let Some(first) = candidates.next() else { return Varied::default() };
        candidates.fold(Varied { layers: first.layers > 1, gaps: false }, |varied, candidate| Varied {
            layers: varied.layers || candidate.layers != first.layers,
            gaps: varied.gaps || candidate.gap != first.gap,
        })
    }

    /// Layers and gap in words where they differ, each with a comma before it.
    #[must_use]
    pub fn of(self, row: &Row) -> String {
        let mut words = String::new();
        if self.layers {
            let layers = row.candidate.layers;
            words += &format!(", {layers} layer{}", if layers == 1 { "" } else { "s" });
        }
        if self.gaps {
            words += &format!(", gap {} mm", row.candidate.gap.0);
        }
        words
    }

    /// The cloth's title with what differs.
    #[must_use]
    pub fn title(self, row: &Row) -> String {
        format!("{}{}", one_line(&row.candidate.cloth.title), self.of(row))
    }

    /// The cloth's short name with what differs.
    #[must_use]
    pub fn name(self, row: &Row) -> String {
        format!("{}{}", one_line(&row.candidate.cloth.name), self.of(row))
    }
}

/// What the dots look like: `no dots`, `soft`, …; `single lights` where no two pixels are neighbours.
#[must_use]
pub fn look_of(numbers: &Numbers) -> &'static str {
    numbers.dot_visibility.map_or("single lights", look)
}

/// Look and dot visibility: `hard dots: 91 × threshold (90 to 94)`, the threshold being what the eye just sees.
#[must_use]
pub fn dots(row: &Row) -> String {
    let look = look_of(&row.judged.value);
    match row.judged.range_of(|n| n.dot_visibility) {
        Some(range) => format!("{look}: {}", with_unit(range, " × threshold")),
        None => match row.judged.range_of(|n| n.spot_width_mm) {
            Some(width) => format!("{look}, {} wide each", with_unit(width, " mm")),
            None => look.to_owned(),
        },
    }
}

/// A value with its unit, then its range in brackets.
fn with_unit(range: Range, unit: &str) -> String {
    match ends(range, digits) {
        Some(ends) => format!("{}{unit} ({ends})", digits(range.value)),
        None => format!("{}{unit}", digits(range.value)),
    }
}

/// From where no dots show any more; `None` where no two pixels are neighbours.
#[must_use]
pub fn vanishing(row: &Row) -> Option<String> {
    let range = row.judged.range_of(|n| n.dots_vanish_m)?;
    Some(match range {
        Range { value: 0.0, high: 0.0, .. } => "no dots from any distance".to_owned(),
        Range { value: 0.0, high, .. } => {
            format!("no dots from any distance (or from {} m on)", metres(high))
        }
        Range { value, .. } if value.is_infinite() => "dots show even from 200 m".to_owned(),
        _ => format!("dots vanish beyond {} m", ranged(range, metres)),
    })
}

/// Light kept.
#[must_use]
pub fn light(row: &Row) -> String {
    format!("keeps {} of the light", ranged(row.judged.range(|n| n.light_kept), percent))
}

/// Thickness and mean luminance.
#[must_use]
pub fn build(row: &Row) -> String {
    let thickness = millimetres(row.judged.value.thickness_mm);
    format!("{thickness} thick, {}", with_unit(row.judged.range(|n| n.mean_cd_m2), " cd/m2"))
}

/// Price, where it is known.
#[must_use]
pub fn price(row: &Row) -> Option<String> {
    row.candidate.price_per_m().map(|price| format!("price {price:.2} a metre"))
}

/// A length: at most two decimals, one from 10 mm on.
#[must_use]
pub fn millimetres(length_mm: f64) -> String {
    let scale = if length_mm < 10.0 { 100.0 } else { 10.0 };
    format!("{} mm", (scale * length_mm).round() / scale)
}
