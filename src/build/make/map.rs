//! The pixel map: where every pixel sits, for programs of effects in space.
//!
//! Index from 0 along the data; x to the right and y upwards as one looks at the garment, in mm; the group of the scene file, from 0.

use super::Plan;
use super::lists::thousandths;
use serde_json::json;
use std::fmt::Write as _;

/// Tenths of a millimetre in one.
const TENTHS: f64 = 10.0;

/// `index,x_mm,y_mm,group` and a line for each pixel.
#[must_use]
pub fn csv(plan: &Plan) -> String {
    let mut text = "index,x_mm,y_mm,group\n".to_owned();
    for (index, place) in plan.places.iter().enumerate() {
        let [x, y] = place.at.map(thousandths);
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{index},{x},{y},{}", place.group);
    }
    text
}

/// The map as JSON.
#[must_use]
pub fn json(plan: &Plan) -> serde_json::Value {
    let pixel = |(index, place): (usize, &super::Placed)| {
        let [x, y] = place.at.map(thousandths);
        json!({ "index": index, "x_mm": x, "y_mm": y, "group": place.group })
    };
    json!({
        "name": plan.name,
        "count": plan.places.len(),
        "groups": plan.groups,
        "axes": "x to the right, y upwards as one looks at the garment, mm",
        "pixels": plan.places.iter().enumerate().map(pixel).collect::<Vec<_>>(),
    })
}

/// The map as a C header: constant arrays in tenths of a millimetre, shifted so that none is negative; the least offset is stated.
///
/// Plain C99 and C++. Extents beyond 6.5 m do not fit 16 bits and take 32.
#[must_use]
pub fn c_header(plan: &Plan) -> String {
    let low: [f64; 2] =
        std::array::from_fn(|i| plan.places.iter().map(|p| p.at[i]).fold(f64::INFINITY, f64::min));
    let tenths = |i: usize| {
        plan.places
            .iter()
            .map(move |place| ((place.at[i] - low[i]) * TENTHS).round() as u64)
            .collect::<Vec<u64>>()
    };
    let (xs, ys) = (tenths(0), tenths(1));
    let groups: Vec<u64> = plan.places.iter().map(|place| place.group as u64).collect();
    let most = |values: &[u64]| values.iter().max().copied().unwrap_or(0);
    let (width, height) = (most(&xs), most(&ys));
    let place = kind(width.max(height));
    let name = comment(&plan.name);
    let mut text = format!(
        "/* Pixel map of {name}: {} pixels, index from 0 along the data.\n\
         \u{20}* Places in tenths of a millimetre from the lower left pixel place, x to the right, y upwards as one looks at\n\
         \u{20}* the garment. Lower left in the scene: x = {} mm, y = {} mm. */\n\
         #ifndef PIXEL_MAP_H\n#define PIXEL_MAP_H\n\n#include <stdint.h>\n\n\
         #define PIXEL_COUNT {}\n#define PIXEL_GROUPS {}\n\
         #define PIXEL_WIDTH_TENTHS {width}\n#define PIXEL_HEIGHT_TENTHS {height}\n",
        plan.places.len(),
        thousandths(low[0]),
        thousandths(low[1]),
        plan.places.len(),
        plan.groups.max(1),
    );
    for (kind, what, values) in [
        (place, "pixel_x_tenths", &xs),
        (place, "pixel_y_tenths", &ys),
        (kind(most(&groups)), "pixel_group", &groups),
    ] {
        let _ = writeln!(text, "\nstatic const {kind} {what}[PIXEL_COUNT] = {{");
        const IN_A_LINE: usize = 16;
        for line in values.chunks(IN_A_LINE) {
            let numbers: Vec<String> = line.iter().map(u64::to_string).collect();
            let _ = writeln!(text, "    {},", numbers.join(", "));
        }
        text += "};\n";
    }
    text + "\n#endif\n"
}

/// The smallest type that holds a value.
fn kind(most: u64) -> &'static str {
    if most <= u64::from(u8::MAX) {
        "uint8_t"
    } else if most <= u64::from(u16::MAX) {
        "uint16_t"
    } else {
        "uint32_t"
    }
}

/// A name inside a C comment: on one line, and unable to end it or to begin another.
fn comment(name: &str) -> String {
    name.chars()
        .map(|c| if c.is_control() || matches!(c, '*' | '/' | '\\' | '?') { ' ' } else { c })
        .collect()
}
