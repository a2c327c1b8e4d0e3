//! The figures of the sheet in plain words, each with its unit and, where it is an estimate, its range.

use super::Sheet;
use crate::build::current::Current;
use crate::build::make::mm;
use crate::choose::compare::words::{digits, look_of, metres_ranged, percent, ranged};
use crate::cloth::Basis;
use crate::judge::numbers::{LOW_QUANTILE, Numbers, Range};
use crate::judge::softness::{SMOOTH_BELOW, SOFT_UP_TO};
use crate::picture::chart::plain_number;
use crate::words::capital;

/// A figure with what it means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fact {
    /// What it is.
    pub label: String,
    /// The figure.
    pub value: String,
    /// Its range and what it means; may be empty.
    pub more: String,
}

fn fact(label: &str, value: impl Into<String>, more: impl Into<String>) -> Fact {
    Fact { label: label.to_owned(), value: value.into(), more: more.into() }
}

/// Numbers stay with their units at the end of a line.
fn tied(text: &str) -> String {
    text.replace(" %", "\u{a0}%")
        .replace(" mm", "\u{a0}mm")
        .replace(" cd/m2", "\u{a0}cd/m2")
        .replace(" m ", "\u{a0}m ")
}

/// `18 to 33 %`; nothing where both ends read alike.
fn ends(range: Range, tell: fn(f64) -> String, unit: &str) -> String {
    let (low, high) = (tell(range.low), tell(range.high));
    if low == high { String::new() } else { format!("{} to {high}{unit}", low.trim_end_matches(" %")) }
}

/// A range and what it is of; the range may be empty.
fn joined(range: &str, of: &str) -> String {
    format!("{range} {of}").trim_start().to_owned()
}

fn milliampere(current: Current) -> [String; 2] {
    [
        format!("{:.0}\u{a0}mA", current.typical_ma),
        format!("{:.0} to {:.0}\u{a0}mA", current.range_ma[0], current.range_ma[1]),
    ]
}

/// What the dots look like from the scene's distance.
fn look(sheet: &Sheet) -> Fact {
    let from = format!("Seen from {}\u{a0}m", plain_number(sheet.scene.view.distance_m));
    let more = match sheet.judged.range_of(|n| n.dot_visibility) {
        Some(range) if range.value < 0.01 => "far below what an eye can find".to_owned(),
        Some(range) => {
            format!("{} times the least contrast that an eye finds", ranged(range, digits))
        }
        None => "no two pixels are neighbours".to_owned(),
    };
    fact(&from, capital(look_of(&sheet.judged.value)), more)
}

/// From where dots no longer show.
fn vanishing(sheet: &Sheet) -> Option<Fact> {
    let range = sheet.judged.range_of(|n| n.dots_vanish_m)?;
    let metres = |m: f64| if m.is_finite() { digits(m) } else { "over 200".to_owned() };
    let (value, more) = match range.value {
        0.0 => ("From everywhere no dots".to_owned(), String::new()),
        v if v.is_infinite() => ("Never".to_owned(), "they show even from 200\u{a0}m".to_owned()),
        v => (format!("Beyond {}\u{a0}m", metres(v)), ends(range, metres, "\u{a0}m")),
    };
    Some(fact("Single dots vanish", value, more))
}

fn battery(sheet: &Sheet) -> Fact {
    let Some(power) = &sheet.plan.power else {
        return fact("Battery lasts", "Not known", "no supply is chosen yet");
    };
    let Some(hours) = power.hours else {
        return fact("Battery lasts", "No battery", "it is fed by a supply");
    };
    let tell = |h: f64| if h > 1000.0 { "over 1000".to_owned() } else { format!("{h:.1}") };
    let cap =
        if power.both.typical.cap.factor < 1.0 { ", at the brightness that the supply allows" } else { "" };
    fact(
        "Battery lasts",
        format!("{}\u{a0}h", tell(hours.nominal)),
        format!("{} to {}\u{a0}h by age, cold and parts{cap}", tell(hours.range[0]), tell(hours.range[1])),
    )
}

/// Mass of the cloths to cut, where all are known.
pub(super) fn cloth_grams(sheet: &Sheet) -> Option<f64> {
    let cloths = &sheet.plan.cloths;
    if cloths.is_empty() { None } else { cloths.iter().map(|cloth| cloth.mass_g).sum() }
}

fn weight(sheet: &Sheet) -> Fact {
    let sleeve = if sheet.cloths.iter().any(|cloth| cloth.sleeve) { "sleeve, " } else { "" };
    let left_out = format!("pixels, wires, {sleeve}battery, lining and spacers come on top");
    match cloth_grams(sheet) {
        Some(grams) => fact("Weight of the cloth", format!("{}\u{a0}g", digits(grams)), left_out),
        None if sheet.plan.cloths.is_empty() => fact("Weight of the cloth", "No cloth", left_out),
        None => fact("Weight of the cloth", "Not known", left_out),
    }
}

fn thickness(sheet: &Sheet) -> Fact {
    let plan = &sheet.plan;
    let air = if plan.air_mm > 0.0 { format!("; {} of it air", mm(plan.air_mm)) } else { String::new() };
    fact("Thickness", mm(plan.thickness_mm), format!("from the board to the outer face{air}"))
}

/// The eight figures that answer most questions.
pub(super) fn glance(sheet: &Sheet) -> Vec<Fact> {
    let judged = &sheet.judged;
    let kept = judged.range(|n| n.light_kept);
    let mean = judged.range(|n| n.mean_cd_m2);
    let [current, range] = milliampere(sheet.plan.draw.total());
    let mut all = vec![look(sheet)];
    all.extend(vanishing(sheet));
    all.extend([
        fact(
            "Light that comes through",
            tied(&percent(kept.value)),
            joined(&tied(&ends(kept, percent, "")), "of what the pixels give"),
        ),
        fact(
            "Brightness of the glow",
            format!("{}\u{a0}cd/m2", digits(mean.value)),
            joined(
                &ends(mean, digits, ""),
                &format!("on average, with {}\u{a0}lx of room light", plain_number(sheet.scene.view.room_lx)),
            ),
        ),
        battery(sheet),
        fact("Current", current, format!("{range} at these colours and levels")),
        thickness(sheet),
        weight(sheet),
    ]);
    all
}

/// Parts, sizes, power.
pub(super) fn made_of(sheet: &Sheet) -> Vec<Fact> {
    let (scene, plan) = (&sheet.scene, &sheet.plan);
    let mut packages: Vec<(&str, usize)> = Vec::new();
    for pixel in &scene.pixels {
        match packages.iter_mut().find(|(name, _)| *name == pixel.package.name) {
            Some((_, count)) => *count += 1,
            None => packages.push((&pixel.package.name, 1)),
        }
    }
    let kinds: Vec<String> = match packages.as_slice() {
        [(name, _)] => vec![format!("package {name}")],
        many => many.iter().map(|(name, count)| format!("{count} of package {name}")).collect(),
    };
    /// Kinds of pieces that are named.
    const MOST_NAMED: usize = 3;
    let mut pieces: Vec<String> = plan.pieces.iter().map(|piece| piece.kind.words()).collect();
    pieces.dedup();
    let more = if pieces.len() > MOST_NAMED { " and others" } else { "" };
    pieces.truncate(MOST_NAMED);
    let pitches = plan.pieces.iter().filter_map(|piece| piece.pitch_mm);
    let pitch = pitches.fold(None, |all: Option<[f64; 2]>, [low, high]| {
        Some(all.map_or([low, high], |[least, most]| [least.min(low), most.max(high)]))
    });
    let apart = match pitch {
        Some([low, high]) if high - low < 0.01 => format!(", {} apart", mm(low)),
        Some([low, high]) => format!(", {} to {} apart", plain_number(low), mm(high)),
        None => String::new(),
    };
    let pixels = if scene.pixels.len() == 1 { "pixel" } else { "pixels" };
    let mut all = vec![fact(
        "Pixels",
        format!("{} {pixels}, {}", scene.pixels.len(), kinds.join(", ")),
        format!("{}{more}{apart}", pieces.join(", ")),
    )];
    let dark = scene.pixels.iter().filter(|p| p.levels.iter().all(|level| *level <= 0.0)).count();
    if dark > 0 {
        all.push(fact("Unlit", format!("{dark} of them"), "dark in these pictures"));
    }
    let (low, high) = scene.extent();
    let size: [f64; 2] = std::array::from_fn(|i| (high[i] - low[i]).0);
    all.push(fact("Lit size", by(size), "from the first pixel's centre to the last"));
    if let Some(piece) = &scene.piece {
        let (low, high) = piece.outline.extent();
        let size = std::array::from_fn(|i| (high[i] - low[i]).0);
        let area = format!("{:.0}\u{a0}cm2, seam allowance included", piece.outline.area_mm2() / 100.0);
        all.push(fact("Pattern piece", by(size), area));
    }
    let [lit, lit_range] = milliampere(plan.draw.total());
    let [full, full_range] = milliampere(plan.draw.all_on());
    all.push(fact("Current", lit, format!("{lit_range}; all dies full on {full} ({full_range})")));
    if let Some(power) = &plan.power {
        all.push(fact("Power", capital(&power.supply_in_words()), power.cap_in_words()));
        all.push(battery(sheet));
    } else {
        all.push(fact("Power", "Not chosen yet", "so nothing is said about battery and voltage"));
    }
    all.push(thickness(sheet));
    all.push(weight(sheet));
    all
}

/// `383 by 60 mm`; one side alone where the other is nothing.
fn by(size: [f64; 2]) -> String {
    /// A side shorter than this is no side.
    const NOTHING_MM: f64 = 0.05;
    let shown = |v: f64| plain_number((10.0 * v).round() / 10.0);
    match size {
        [w, h] if w < NOTHING_MM && h < NOTHING_MM => "a single place".to_owned(),
        [w, h] if h < NOTHING_MM => format!("{}\u{a0}mm wide", shown(w)),
        [w, h] if w < NOTHING_MM => format!("{}\u{a0}mm high", shown(h)),
        [w, h] => format!("{} by {}\u{a0}mm", shown(w), shown(h)),
    }
}

/// The numbers that matter.
pub(super) fn numbers(sheet: &Sheet) -> Vec<Fact> {
    let judged = &sheet.judged;
    let all = |pick: fn(&Numbers) -> f64| judged.range(pick);
    let some = |pick: fn(&Numbers) -> Option<f64>| judged.range_of(pick);
    let mut rows = Vec::new();
    let from = sheet.scene.view.distance_m;
    if let Some(range) = some(|n| n.dot_visibility) {
        rows.push(fact(
            &format!("Dot visibility from {}\u{a0}m", plain_number(from)),
            ranged(range, digits),
            format!(
                "{}: contrast of the dots over the least that an eye finds; below {SMOOTH_BELOW} none show, up to {SOFT_UP_TO} they are soft",
                look_of(&judged.value)
            ),
        ));
    }
    if let Some(range) = some(|n| n.dots_vanish_m) {
        let value = match range.value {
            0.0 => "from everywhere".to_owned(),
            v if v.is_infinite() => "never".to_owned(),
            _ => format!("{}\u{a0}m", metres_ranged(range)),
        };
        rows.push(fact("Dots vanish beyond", value, "from farther off no single dots show"));
    }
    if let Some(range) = some(|n| n.spot_width_mm) {
        rows.push(fact(
            "Width of one spot",
            format!("{}\u{a0}mm", ranged(range, digits)),
            "where it is half as bright as in its middle",
        ));
    }
    if let Some(range) = some(|n| n.evenness) {
        rows.push(fact(
            "Evenness",
            tied(&ranged(range, percent)),
            "darkest place between pixels, as a share of the mean",
        ));
    }
    rows.push(fact(
        "Light kept",
        tied(&ranged(all(|n| n.light_kept), percent)),
        "share of the pixels' light that leaves the front",
    ));
    let cd = |range: Range| format!("{}\u{a0}cd/m2", ranged(range, digits));
    rows.push(fact(
        "Mean luminance",
        cd(all(|n| n.mean_cd_m2)),
        "of the glow with the room's light on the cloth",
    ));
    rows.push(fact("Peak luminance", cd(all(|n| n.peak_cd_m2)), "at the brightest place of the glow"));
    let room = all(|n| n.contrast_with_room);
    if room.value.is_finite() {
        rows.push(fact(
            "Glow against the cloth",
            format!("{} times", ranged(room, digits)),
            format!(
                "as bright as the cloth in {}\u{a0}lx of room light",
                plain_number(sheet.scene.view.room_lx)
            ),
        ));
    }
    if let Some(range) = some(|n| n.colour_shift) {
        rows.push(fact(
            "Change of colour",
            ranged(range, digits),
            "CIEDE2000 between the bare light and that through the cloth; about 1 is just seen side by side",
        ));
    }
    if let Some(mass) = judged.value.areal_mass_g_m2.filter(|_| !sheet.cloths.is_empty()) {
        rows.push(fact(
            "Mass of all cloth",
            format!("{}\u{a0}g/m2", digits(mass)),
            "of every square metre, sleeves included",
        ));
    }
    rows
}

/// What is estimated, and how surely.
pub(super) fn sure(sheet: &Sheet) -> Vec<String> {
    let mut points = vec![
        "These pictures are computed from physics, for eyes straight in front and cloth that lies flat; none is a photograph. Screens and \
         printers do not get as bright as light: compare the pictures with each other, not with a lamp."
            .to_owned(),
    ];
    if sheet.judged.samples.is_empty() {
        if sheet.cloths.is_empty() {
            points.push("No cloth lies over the pixels, so no range comes from cloth.".to_owned());
        } else {
            points.push(
                "The cloths are given as certain, so the figures that depend on them have no range."
                    .to_owned(),
            );
        }
    } else {
        points.push(format!(
            "Ranges hold {:.0} times in 100 as far as the cloth goes; pixels that differ from their data sheet and gaps that are not even come on top.",
            100.0 * (1.0 - 2.0 * LOW_QUANTILE)
        ));
    }
    let label = sheet.cloths.iter().filter(|cloth| cloth.basis == Basis::Label);
    let (count, [thick, holes]) = label.fold((0, [0.0_f64; 2]), |(count, [a, b]), cloth| {
        (count + 1, [a.max(cloth.uncertainty[0]), b.max(cloth.uncertainty[1])])
    });
    if count > 0 {
        let holes =
            if holes > 0.0 { format!(", its holes to ±{:.0}\u{a0}%", 100.0 * holes) } else { String::new() };
        points.push(format!(
            "Cloth estimated from its label: how dense it is to light is known to ±{:.0}\u{a0}%{holes}. A test piece over a few pixels decides.",
            100.0 * thick
        ));
    }
    let most = sheet
        .scene
        .pixels
        .iter()
        .flat_map(|pixel| &pixel.package.dies)
        .map(|die| ((die.range_mcd[1] - die.range_mcd[0]) / (2.0 * die.typical_mcd)).abs())
        .fold(0.0, f64::max);
    points.push(format!(
        "Pixels are typical ones from data sheets; real ones are up to {:.0}\u{a0}% brighter or darker, colour by colour.",
        100.0 * most
    ));
    if let Some(power) = &sheet.plan.power {
        let factor = power.both.worst.cap.factor;
        if factor < 1.0 {
            points.push(format!(
                "The pictures show the full brightness that is wished for. The supply allows {:.0}\u{a0}% of it, so the garment will be darker.",
                (100.0 * factor).floor()
            ));
        }
        if power.both.typical.pixels_below() > 0 {
            points.push(
                "Voltage lost along the run, which dims and reddens the far end, is not in the pictures."
                    .to_owned(),
            );
        }
    }
    if let Some([low, high]) = sheet.scene.uneven_mm() {
        points.push(format!(
            "The stand-off is uneven, {} to {}: each pixel has the spot of its own gap, as if the cloth were level there.",
            mm(low),
            mm(high)
        ));
    }
    points.extend(sheet.plan.warnings.iter().map(|warning| format!("The scene file warns: {warning}.")));
    points
}
