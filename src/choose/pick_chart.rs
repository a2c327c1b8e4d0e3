//! The chart of a search: thickness against brightness, with small pictures of the best trade-offs.

use super::compare::words::{digits, ranged};
use super::pick::{Best, Picked, Wants, Way};
use crate::judge::numbers::Numbers;
use crate::picture::caption::exposure_words;
use crate::picture::chart::{Axis, Chart, Mark, Marks, Panel, Pictures, PlacedPicture, Plot, Style};
use crate::picture::small::{developed_together, small_frame, small_luminances};
use crate::scene::Scene;

/// Size of a small picture in image pixels.
const PICTURE_PX: [u32; 2] = [320, 200];
/// At most this many small pictures; more would be too small on a telephone.
const MOST_PICTURES: usize = 5;
/// At most this many ways are told one by one below the chart; the table has all.
const MOST_TOLD: usize = 12;
/// Height of the plot in SVG pixels.
const HEIGHT_PX: f64 = 380.0;

/// The letters of the best trade-offs: A to Z, then AA, AB and so on.
#[must_use]
pub fn letter(i: usize) -> String {
    let last = char::from(b'A' + (i % 26) as u8);
    if i < 26 { last.to_string() } else { format!("{}{last}", letter(i / 26 - 1)) }
}

/// What a way is made of, in words.
#[must_use]
pub fn made_of(way: &Way, with_pitch: bool) -> String {
    let layers = if way.layers == 1 { String::new() } else { format!(", {} layers", way.layers) };
    let pitch = way
        .pitch_mm
        .filter(|_| with_pitch)
        .map_or(String::new(), |p| format!(", pixels every {} mm", short(p)));
    format!("{}{layers}, gap {} mm{pitch}", way.cloth.title, short(way.gap_mm))
}

/// At most two decimals.
fn short(value: f64) -> String {
    format!("{}", (100.0 * value).round() / 100.0)
}

/// The chart and what it shows in words. `scene` is the scene as it was given.
#[must_use]
pub fn pick_chart(scene: &Scene, picked: &Picked, wants: &Wants) -> (Chart, String) {
    let pitches = several_pitches(picked);
    let luminance = |best: &Best| best.judged.range(|n: &Numbers| n.mean_cd_m2);
    let mut plot = Plot::new(Axis::log("mean luminance", "cd/m2"));
    plot.height_px = HEIGHT_PX;
    let others: Vec<Mark> = picked
        .others
        .iter()
        .map(|way| Mark { x: way.numbers.thickness_mm, y: way.numbers.mean_cd_m2, ..Mark::default() })
        .collect();
    let best: Vec<Mark> = picked
        .best
        .iter()
        .enumerate()
        .map(|(i, best)| {
            let range = luminance(best);
            Mark {
                x: best.way.numbers.thickness_mm,
                y: range.value,
                x_range: None,
                y_range: (range.low < range.high).then_some((range.low, range.high)),
                label: letter(i),
            }
        })
        .collect();
    if !others.is_empty() {
        let name = "meets every want, but another is thinner or brighter".to_owned();
        plot.marks.push(Marks { name, points: others, style: Style::nth(1).open().quiet() });
    }
    plot.marks.push(Marks { name: "best trade-offs".to_owned(), points: best, style: Style::nth(0) });
    let (pictures, exposure) = pictures(scene, picked);
    let lines: Vec<String> = told(picked, wants, pitches);
    let mut notes = lines.clone();
    notes.push(format!(
        "{exposure} Upright lines: 80 % of what the cloths' labels leave open (24 seeded samples). Estimates: a test piece decides."
    ));
    let chart = Chart {
        title: format!("{}: which cloth, how far off", scene.name),
        subtitle: vec![format!(
            "Wanted: {} ({}), seen from {} m in {} lx.",
            wants.softness.word(),
            wants.softness.in_words(),
            short(scene.view.distance_m),
            short(scene.view.room_lx)
        )],
        x: thickness_axis(picked),
        panels: vec![Panel::Plot(plot), Panel::Pictures(pictures)],
        notes,
        ..Chart::default()
    };
    let alt = format!(
        "{} ways to build it that nothing beats, thinnest first. {}",
        picked.best.len(),
        lines.join(" ")
    );
    (chart, alt)
}

/// The axis of thickness, some mm wider than the ways on it.
fn thickness_axis(picked: &Picked) -> Axis {
    const ROOM_MM: f64 = 2.0;
    let all = || picked.best.iter().map(|b| &b.way).chain(&picked.others).map(|way| way.numbers.thickness_mm);
    let (low, high) = (all().fold(f64::INFINITY, f64::min), all().fold(0.0, f64::max));
    let axis = Axis::linear("thickness of gap and cloths", "mm");
    if low <= high { axis.over((low - ROOM_MM).floor().max(0.0), (high + ROOM_MM).ceil()) } else { axis }
}

fn several_pitches(picked: &Picked) -> bool {
    let mut all = picked.best.iter().map(|b| &b.way).chain(&picked.others).map(|way| way.pitch_mm);
    let first = all.next();
    all.any(|pitch| Some(pitch) != first)
}

fn told(picked: &Picked, wants: &Wants, pitches: bool) -> Vec<String> {
    let mut lines: Vec<String> = picked
        .best
        .iter()
        .take(MOST_TOLD)
        .enumerate()
        .map(|(i, best)| {
            format!(
                "{}: {}; {} mm thick, {} cd/m2, {}.",
                letter(i),
                made_of(&best.way, pitches),
                digits(best.way.numbers.thickness_mm),
                ranged(best.judged.range(|n| n.mean_cd_m2), digits),
                sureness(best, wants)
            )
        })
        .collect();
    if picked.best.len() > MOST_TOLD {
        lines.push(format!("{} more in the table.", picked.best.len() - MOST_TOLD));
    }
    lines
}

/// How sure the softness is, in words.
#[must_use]
pub fn sureness(best: &Best, wants: &Wants) -> String {
    let word = wants.softness.word();
    let samples = best.judged.samples.len();
    if samples == 0 {
        return format!("{word} for certain, as far as the cloth's numbers are");
    }
    let likely = format!("{word} in {} of {samples} samples", best.met);
    match best.safe_gap_mm {
        Some(gap) if gap == best.way.gap_mm => likely,
        Some(gap) => format!("{likely}, safe with a gap of {} mm", short(gap)),
        None => format!("{likely}, safe at no gap on offer"),
    }
}

/// Small pictures of some of the best, evenly chosen, at one exposure; and that exposure in words.
fn pictures(scene: &Scene, picked: &Picked) -> (Pictures, String) {
    let count = picked.best.len().min(MOST_PICTURES);
    let chosen: Vec<usize> = match count {
        0 => Vec::new(),
        1 => vec![0],
        _ => (0..count).map(|i| i * (picked.best.len() - 1) / (count - 1)).collect(),
    };
    let widest = chosen
        .iter()
        .filter_map(|&i| picked.best[i].way.pitch_mm)
        .fold(None, |a: Option<f64>, p| Some(a.map_or(p, |a| a.max(p))));
    let frame = small_frame(scene, widest, PICTURE_PX);
    let scenes: Vec<_> = chosen.iter().map(|&i| (&picked.best[i].way.scene, frame)).collect();
    let luminances = small_luminances(&scenes, &|| ());
    let (exposure, canvases) = developed_together(&luminances, scene.view.exposure);
    let pictures = chosen
        .iter()
        .zip(canvases)
        .map(|(&i, picture)| PlacedPicture {
            x: picked.best[i].way.numbers.thickness_mm,
            picture,
            label: letter(i),
        })
        .collect();
    let heading = "what you would see, all at one exposure".to_owned();
    (Pictures { heading, pictures }, format!("Pictures: {}.", exposure_words(exposure.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_go_on_after_z() {
        assert_eq!([0, 1, 25, 26, 27, 51, 52].map(letter), ["A", "B", "Z", "AA", "AB", "AZ", "BA"]);
    }
}
