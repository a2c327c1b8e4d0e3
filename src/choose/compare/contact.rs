//! The contact sheet of a comparison: what stands in each cell, in the heading and at the foot.

use super::verdict::{Graded, Verdict};
use super::words::{self, Varied};
use super::{Order, Row, Wanted};
use crate::cloth::Basis;
use crate::picture::canvas::Canvas;
use crate::picture::caption::exposure_words;
use crate::picture::exposure::ExposureValue;
use crate::picture::plane::Frame;
use crate::picture::sheet::Cell;
use crate::picture::small::detailed_frame;
use crate::scene::{Exposure, Scene};

/// The most cells of one sheet: eight rows of three, as much as is looked through on a telephone.
pub const MOST_CELLS: usize = 24;
/// Columns of a large sheet: on a telephone, three are as wide as a thumb each.
const COLUMNS: usize = 3;
/// Width of a cell's picture in image pixels.
const WIDTH_PX: f64 = 420.0;
/// Lowest and highest picture.
const HEIGHT_PX: [f64; 2] = [150.0, 420.0];
/// A pitch takes at least this many image pixels: on a telephone the dots of the picture are then about as far apart to the eye
/// as those of the garment are from the usual viewing distance.
const LEAST_PX_PER_PITCH: f64 = 24.0;

/// The frame of every cell: the whole garment in its own proportions, or a part of it where its pixels would be too small.
#[must_use]
pub fn frame(scene: &Scene, pitch_mm: Option<f64>) -> Frame {
    let ([low_x, low_y], [high_x, high_y]) = scene.shown_extent();
    let [across, upright] = [(high_x - low_x).0, (high_y - low_y).0];
    let whole = across.max(upright) / WIDTH_PX;
    let finest = pitch_mm.map_or(whole, |pitch| pitch / LEAST_PX_PER_PITCH);
    let height = (upright / whole.min(finest)).ceil().clamp(HEIGHT_PX[0], HEIGHT_PX[1]);
    detailed_frame(scene, pitch_mm, [WIDTH_PX as u32, height as u32], LEAST_PX_PER_PITCH)
}

/// Columns of a sheet of so many cells: no more than on a telephone are readable, and no row with a single cell where two do.
#[must_use]
pub fn columns(cells: usize) -> usize {
    match cells {
        0 | 1 => 1,
        2 | 4 => 2,
        _ => COLUMNS,
    }
}

/// The cells of the first rows, one for each picture.
#[must_use]
pub fn cells(rows: &[Row], verdict: &Verdict, pictures: Vec<Canvas>) -> Vec<Cell> {
    rows.iter()
        .zip(&verdict.graded)
        .zip(pictures)
        .enumerate()
        .map(|(i, ((row, graded), picture))| Cell {
            picture,
            lines: lines(i + 1, row, graded, verdict.varied),
        })
        .collect()
}

/// The words of one cell.
fn lines(number: usize, row: &Row, graded: &Graded, varied: Varied) -> Vec<String> {
    let mut lines = vec![format!("{number}. {}", varied.title(row))];
    let sure = if graded.sure.is_some() { format!(" ({})", graded.sure_in_words()) } else { String::new() };
    let told = [
        Some(format!("{}{sure}", graded.in_words(row))),
        Some(words::dots(row)),
        words::vanishing(row),
        Some(words::light(row)),
        Some(words::build(row)),
        words::price(row),
    ];
    lines.extend(told.iter().flatten().map(|text| caption(text)));
    lines
}

/// A line of a caption: begins with a capital, and what stands in brackets is not broken.
fn caption(text: &str) -> String {
    let mut inside = false;
    let tied = |letter: char| {
        inside = (inside || letter == '(') && letter != ')';
        if inside && letter == ' ' { '\u{a0}' } else { letter }
    };
    let mut letters = text.chars().map(tied);
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// The heading: title, how it is exposed and seen, what comes first.
#[must_use]
pub fn heading(
    scene: &Scene,
    rows: &[Row],
    verdict: &Verdict,
    order: Order,
    exposure: ExposureValue,
    frame: &Frame,
) -> Vec<String> {
    let mut cloths: Vec<&str> = rows.iter().map(|row| row.candidate.cloth.name.as_str()).collect();
    cloths.sort_unstable();
    cloths.dedup();
    let gap = rows
        .first()
        .filter(|_| !verdict.varied.gaps)
        .map_or(String::new(), |row| format!(", {} off the pixels", words::millimetres(row.candidate.gap.0)));
    let plural = if cloths.len() == 1 { "" } else { "s" };
    let room = match scene.view.room_lx {
        0.0 => "no room light".to_owned(),
        lux => format!("room light {lux}\u{a0}lx"),
    };
    let middle = match scene.view.exposure {
        Exposure::Auto if rows.len() > 1 => ", made for the middle of the set",
        _ => "",
    };
    vec![
        format!("{}: behind {} cloth{plural}{gap}", scene.name, cloths.len()),
        format!(
            "All at one exposure{middle}: {} · seen from {}\u{a0}m · {room} · each picture shows {:.0}\u{a0}mm across",
            exposure_words(exposure.0).trim_start_matches("exposure "),
            scene.view.distance_m,
            f64::from(frame.width_px) * frame.mm_per_px
        ),
        format!("Order: {}.", order.in_words()),
    ]
}

/// The foot: what stays below, what was left out, what is good, how sure all of it is.
#[must_use]
pub fn footer(scene: &Scene, wanted: &Wanted, rows: &[Row], cells: usize, verdict: &Verdict) -> Vec<String> {
    let mut lines = Vec::new();
    lines.extend(below_in_words(scene, wanted));
    if rows.len() > cells {
        lines.push(format!("The first {cells} of {} are shown.", rows.len()));
    }
    lines.push(format!(
        "Good means: {}. The threshold is the least contrast that an eye sees.",
        verdict.standard.in_words()
    ));
    let samples = rows.iter().map(|row| row.judged.samples.len()).max().unwrap_or(0);
    if samples > 0 {
        lines.push(format!(
            "In brackets: ranges that hold four times in five, and in how many of {samples} samples the grade stays the same.{}",
            if rows.iter().any(|row| row.candidate.cloth.basis == Basis::Label) {
                " Cloths estimated from labels: a test piece decides."
            } else {
                ""
            }
        ));
    }
    lines
}

/// What of the scene stays below the candidates, in words.
#[must_use]
pub fn below_in_words(scene: &Scene, wanted: &Wanted) -> Option<String> {
    let below: Vec<&str> = wanted.stays_below(scene).iter().map(|p| p.cloth.title.as_str()).collect();
    (!below.is_empty()).then(|| format!("Below every cloth stays, as in the scene: {}.", below.join(", ")))
}
