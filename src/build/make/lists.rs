//! The plan as lists for other programs: cut list and voltages as CSV, all of it as JSON.

use super::power::Power;
use super::wiring::{Conductor, Pads, Wire};
use super::{Plan, sections::soldered_ends};
use crate::build::battery::Hours;
use crate::build::current::{Current, Draw};
use crate::build::powered::Powered;
use crate::judge::numbers::Range;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// A cell of a CSV file (RFC 4180); spreadsheets must not take a name for a formula.
fn cell(text: &str) -> String {
    let guarded = if text.starts_with(['=', '+', '-', '@']) { format!("'{text}") } else { text.to_owned() };
    let plain: String = guarded.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if plain.contains([',', '"']) { format!("\"{}\"", plain.replace('"', "\"\"")) } else { plain }
}

/// Micrometres and millivolts are enough: nothing is laid or measured so exactly.
pub(super) fn thousandths(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0 + 0.0
}

fn optional(value: Option<f64>) -> String {
    value.map_or(String::new(), |value| thousandths(value).to_string())
}

/// The cut list; lengths in mm, empty where there is none.
#[must_use]
pub fn cut_list_csv(plan: &Plan) -> String {
    let mut text =
        "piece,what,package,pixels,first,last,cut_mm,pitch_mm,sleeve_off_in_mm,sleeve_off_out_mm,sleeve_mm,group,source\n"
            .to_owned();
    for piece in &plan.pieces {
        let sleeve = |of: fn(&super::pieces::Sleeve) -> f64| optional(piece.sleeve.as_ref().map(of));
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "{},{},{},{},{},{},{},{},{},{},{},{},{}",
            piece.name(),
            cell(&piece.kind.words().replace('\u{a0}', " ")),
            cell(&piece.package),
            piece.pixels.len(),
            piece.pixels.start,
            piece.pixels.end - 1,
            optional(piece.cut_mm),
            optional(piece.pitch_mm.map(|[least, _]| least)),
            sleeve(|s| s.off_in_mm),
            sleeve(|s| s.off_out_mm),
            sleeve(|s| s.stays_mm),
            piece.group,
            cell(&piece.source)
        );
    }
    text
}

/// Voltage at every pixel, in V, and the share of its current that is left to its weakest lit die; `None` without a supply.
#[must_use]
pub fn volts_csv(plan: &Plan) -> Option<String> {
    let power = plan.power.as_ref()?;
    let (typical, worst) = (&power.both.typical, &power.both.worst);
    let mut text = "index,volts_typical,volts_unfavourable,needs_typical,needs_unfavourable\n".to_owned();
    for i in 0..plan.places.len() {
        let _ = writeln!(
            text,
            "{i},{:.3},{:.3},{:.3},{:.3}",
            typical.solved.volts[i], worst.solved.volts[i], typical.least_volts[i], worst.least_volts[i]
        );
    }
    Some(text)
}

/// What the pixels draw, lit as the scene says and all of them full on.
#[must_use]
pub fn current_json(draw: &Draw) -> Value {
    let ranged = |Current { typical_ma: value, range_ma: [low, high] }| Range { value, low, high }.data("mA");
    json!({ "lit": ranged(draw.total()), "all_on": ranged(draw.all_on()) })
}

/// How long the battery lasts. JSON knows no infinity: what draws nothing lasts for ever, which is null.
#[must_use]
pub fn battery_json(power: &Power) -> Option<Value> {
    let Hours { nominal: value, range: [low, high] } = power.hours?;
    Some(Range { value, low, high }.data("h"))
}

fn wire(wire: &Wire) -> Value {
    let letters: Vec<&str> = wire.conductors.iter().map(|conductor| conductor.letter()).collect();
    json!({
        "wire": format!("W{}", wire.number), "from": wire.from.words(), "to": wire.to.words(), "conductors": letters,
        "length_mm": wire.length_mm, "awg": wire.gauge.map(|gauge| gauge.0),
    })
}

/// All of the plan but the places of the pixels, which the map holds.
#[must_use]
pub fn json(plan: &Plan) -> Value {
    let pieces = plan.pieces.iter().map(|piece| {
        json!({
            "piece": piece.name(), "what": piece.kind.words().replace('\u{a0}', " "), "package": piece.package,
            "pixels": piece.pixels.len(), "first": piece.pixels.start, "last": piece.pixels.end - 1,
            "cut_mm": piece.cut_mm, "left_mm": piece.left_mm, "pitch_mm": piece.pitch_mm, "group": piece.group,
            "source": piece.source, "from_mm": piece.from, "to_mm": piece.to,
            "sleeve": piece.sleeve.map(|s| json!({ "off_in_mm": s.off_in_mm, "off_out_mm": s.off_out_mm, "stays_mm": s.stays_mm })),
        })
    });
    let joints = plan.joints.iter().map(|joint| {
        let ends: serde_json::Map<String, Value> =
            Conductor::ALL.iter().zip(joint.ends).map(|(c, ends)| (c.letter().to_owned(), json!(ends))).collect();
        json!({
            "joint": format!("J{}", joint.number), "at": joint.at.words(), "pixel": joint.pixel,
            "wires": joint.wires.iter().map(|number| format!("W{number}")).collect::<Vec<_>>(), "wire_ends": ends,
            "pad_pitch_mm": joint.pads.map(|Pads { pitch_mm: value, range_mm: [low, high], .. }| Range { value, low, high }.data("mm")),
            "difficulty": joint.pads.map(|pads| pads.difficulty.words()), "sleeved": joint.sleeved,
        })
    });
    let cloths = plan.cloths.iter().map(|cloth| {
        json!({
            "layer": format!("C{}", cloth.number), "cloth": cloth.title, "size_mm": cloth.size_mm, "area_mm2": cloth.area_mm2,
            "areal_mass_g_m2": cloth.areal_mass_g_m2, "mass_g": cloth.mass_g, "thickness_mm": cloth.thickness_mm, "gap_mm": cloth.gap_mm,
            "from_outline": cloth.from == super::cloths::SizeFrom::Outline,
        })
    });
    json!({
        "name": plan.name,
        "pixels": plan.places.len(),
        "pieces": pieces.collect::<Vec<_>>(),
        "wires": plan.wires.iter().map(wire).collect::<Vec<_>>(),
        "joints": joints.collect::<Vec<_>>(),
        "wire_ends_to_solder": soldered_ends(plan),
        "cloths": cloths.collect::<Vec<_>>(),
        "thickness_mm": plan.thickness_mm,
        "air_mm": plan.air_mm,
        "current": current_json(&plan.draw),
        "power": plan.power.as_ref().map(power),
        "cautions": plan.cautions,
    })
}

/// The pixel with the least voltage to spare; none among ideal sources.
#[must_use]
pub fn tightest_json(run: &Powered) -> Option<Value> {
    let (index, spare_v) = run.tightest()?;
    let (volts, needs_v) = (run.solved.volts[index], run.least_volts[index]);
    Some(json!({ "index": index, "volts": volts, "needs_v": needs_v, "spare_v": spare_v }))
}

fn power(power: &Power) -> Value {
    let run = |run: &Powered| {
        let below: Vec<[usize; 2]> = run.below().iter().map(|range| [range.start, range.end - 1]).collect();
        json!({
            "brightness": run.cap.brightness, "brightness_all_on": run.cap.brightness_all_on, "level_factor": run.cap.factor,
            "fed_at": run.fed_at, "below": below, "pixels_below": run.pixels_below(),
            "tightest": tightest_json(run),
            "supply_a": run.solved.total_a(),
        })
    };
    let feeds = |found: &Result<crate::build::suggest::Feeds, crate::build::suggest::NoFeeds>| match found {
        Ok(feeds) => json!({ "at": feeds.at, "at_least": feeds.at_least, "spare_v": feeds.spare_v }),
        Err(why) => json!({ "none": why.to_string() }),
    };
    json!({
        "supply": power.supply_in_words(),
        "volts": power.supply.volts,
        "limit_ma": power.limit.map(|limit| limit.ma),
        "typical": run(&power.both.typical),
        "unfavourable": run(&power.both.worst),
        "battery_h": battery_json(power),
        "wanted_h": power.wanted_h,
        "level_for_wanted": power.for_hours.map(|level| json!({ "nominal": level.nominal, "cautious": level.cautious })),
        "fewest_feeds": { "typical": feeds(&power.feeds[0]), "unfavourable": feeds(&power.feeds[1]) },
        "thinnest_awg": power.thinnest.map(|gauge| gauge.0),
        "suggestions": power.suggestions(),
    })
}
