//! Pictures, numbers and the chart of gaps, as the page asks for them.

use super::asked::{Answer, Opened, number, scene, text};
use super::model;
use super::order::Stale;
use super::shelf::Shelf;
use super::turns::Turn;
use crate::build::cautions::cautions;
use crate::build::powered::both_cases;
use crate::choose::standoff::{Curve, Subject, Sweep, Unjudgeable, end_mm_at, gaps};
use crate::judge::numbers::{Judged, LOW_QUANTILE, Layout, Numbers, Range};
use crate::judge::pace::Pace;
use crate::judge::ranges::quantile;
use crate::judge::softness::{Softness, look};
use crate::picture::clip::developed;
use crate::picture::kept::Kept;
use crate::picture::luminance::{frame, luminance_within};
use crate::picture::memory::{MOST_MEMORY, Output, TooLarge};
use crate::picture::png_out::srgb_8;
use crate::picture::render::exposure;
use crate::reading::edit::{Edit, edited};
use crate::reading::plain::{Plain, Step};
use crate::scene::file::resolve;
use crate::scene::shape::EXPOSURE_EV;
use crate::scene::{Exposure, Scene};
use crate::words::{at_most_three_digits, capital};
use serde_json::{Value, json};

/// Sides of a picture that the page may ask for, in image pixels.
const LEAST_PX: f64 = 16.0;
const MOST_PX: f64 = 2400.0;
/// Gaps of the chart: fewer than on paper, the page draws a smooth line.
const CHART_GAPS: usize = 25;
/// Gaps of the quick chart.
const QUICK_GAPS: usize = 13;
/// Edits in one question.
const MOST_EDITS: usize = 100;

/// What is in a text.
///
/// # Errors
/// The answer to a question without a text.
pub fn read(question: &Value, opened: &Opened) -> Result<Answer, Answer> {
    let text = text(question)?;
    Ok(Answer::json(&model::read(text, &resolve(text, super::asked::SHOWN_AS, opened), opened)))
}

/// The text with its edits made, and what is in it then.
///
/// # Errors
/// The answer to what is no text with edits, or to an edit that cannot be made.
pub fn edit(question: &Value, opened: &Opened, shelf: &Shelf) -> Result<Answer, Answer> {
    let old = text(question)?;
    let edits = question["edits"].as_array().filter(|edits| edits.len() <= MOST_EDITS);
    let edits = edits.ok_or_else(|| Answer::not_understood("the question holds no list of edits"))?;
    let no_edit =
        || Answer::not_understood("an edit needs a path and one of `set`, `remove`, `insert`, `move`");
    let edits: Vec<Edit> =
        edits.iter().map(|edit| one_edit(edit, shelf).ok_or_else(no_edit)).collect::<Result<_, _>>()?;
    let new =
        edited(old, &edits).map_err(|fault| Answer::problem(fault.to_string(), "Change it in the text."))?;
    let mut answer = model::read(&new, &resolve(&new, super::asked::SHOWN_AS, opened), opened);
    answer["text"] = json!(new);
    Ok(Answer::json(&answer))
}

/// One edit; `{shelf: NAME}` in its value stands for that cloth of the maker's own, which is written in place.
fn one_edit(edit: &Value, shelf: &Shelf) -> Option<Edit> {
    let step = |step: &Value| match step {
        Value::String(key) => Some(Step::Key(key.clone())),
        other => other.as_u64().and_then(|i| usize::try_from(i).ok()).map(Step::Index),
    };
    let path = edit["path"].as_array()?.iter().map(step).collect::<Option<Vec<Step>>>()?;
    let map = edit.as_object()?;
    if let Some(value) = map.get("set") {
        return Some(Edit::Set { path, value: shelf.written_in(Plain::from(value))? });
    }
    if map.get("remove").and_then(Value::as_bool) == Some(true) {
        return Some(Edit::Remove { path });
    }
    if let Some(moved) = map.get("move") {
        let place = |key: &str| moved[key].as_u64().and_then(|i| usize::try_from(i).ok());
        return Some(Edit::Move { path, from: place("from")?, to: place("to")? });
    }
    let index = map.get("insert")?.as_u64().and_then(|i| usize::try_from(i).ok())?;
    Some(Edit::Insert { path, index, value: shelf.written_in(Plain::from(map.get("value")?))? })
}

/// The scene with the picture as large as the page wants it: the garment in the middle, what is beside it filled with cloth.
#[must_use]
pub fn sized(mut scene: Scene, question: &Value) -> Scene {
    scene.view.size_px = [("width_px", 960.0), ("height_px", 540.0)]
        .map(|(key, otherwise)| number(question, key, LEAST_PX, MOST_PX, otherwise).round() as u32);
    if question["exposure_ev"].is_number() {
        let ev = number(question, "exposure_ev", EXPOSURE_EV.least, EXPOSURE_EV.most, EXPOSURE_EV.least);
        scene.view.exposure = Exposure::Fixed(ev);
    }
    scene.view.photo = None;
    scene
}

/// The picture.
///
/// # Errors
/// The answer that says why there is none.
pub fn picture(question: &Value, opened: &Opened, kept: &Kept, turn: &Turn) -> Result<Answer, Answer> {
    let scene = sized(scene(question, opened)?.scene, question);
    if turn.is_stale() {
        return Err(Answer::stale());
    }
    let image = match luminance_within(&scene, frame(&scene), Some(kept), Output::Png, MOST_MEMORY) {
        Ok(image) => image,
        Err(fault) => return Err(too_large(&fault)),
    };
    if turn.is_stale() {
        return Err(Answer::stale());
    }
    let ev = exposure(&scene, &image);
    let mm_per_px = image.frame.mm_per_px;
    let about = json!({
        "exposure_ev": ev.0, "mm_per_px": mm_per_px, "frame_mm": shown_mm(&scene), "peak_cd_m2": image.peak().0,
        "room_cd_m2": image.room.luminance(), "straight_share": image.straight,
        "detail": if question["detail"].as_str() == Some("quick") { "quick" } else { "full" },
    });
    srgb_8(&developed(&image, ev), mm_per_px, &[("Software", "weftlight")])
        .map(|png| Answer::bytes("image/png", png, Some(about)))
        .map_err(|fault| Answer::problem(format!("the picture cannot be encoded: {fault}"), ""))
}

/// A picture is refused for its memory.
pub(super) fn too_large(fault: &TooLarge) -> Answer {
    Answer::problem(format!("{fault}; {}", fault.allowed()), &fault.next())
}

/// Left, lower, right and upper edge of the picture in mm.
fn shown_mm(scene: &Scene) -> [f64; 4] {
    let frame = frame(scene);
    let half = 0.5 * frame.mm_per_px;
    let [left, top] = frame.centre_of(0, 0);
    let [right, bottom] = frame.centre_of(frame.width_px - 1, frame.height_px - 1);
    [left - half, bottom - half, right + half, top + half]
}

/// The numbers that matter, in words a maker uses, and the cautions.
///
/// # Errors
/// The answer that says why there are none.
pub fn numbers(question: &Value, opened: &Opened, pace: &impl Pace<Stop = Stale>) -> Result<Answer, Answer> {
    let scene = scene(question, opened)?.scene;
    let judged = pace.go_on().and_then(|()| Layout::of(&scene).judged_at(pace, &scene));
    let judged = judged.map_err(|Stale| Answer::stale())?;
    let power = scene.supply.as_ref().and_then(|supply| both_cases(&scene, supply).ok());
    let cautions: Vec<String> =
        cautions(&scene, scene.supply.as_ref(), power.as_ref()).iter().map(ToString::to_string).collect();
    Ok(Answer::json(&json!({
        "headline": headline(&judged, &scene), "numbers": rows(&judged), "cautions": cautions,
        "samples": judged.samples.len(),
    })))
}

fn headline(judged: &Judged, scene: &Scene) -> Value {
    let Some(range) = judged.range_of(|n| n.dot_visibility) else {
        return json!({"softness": null, "words": "There are no neighbouring lit pixels, so there are no dots to hide."});
    };
    let word = look(range.value);
    let [from, to] = [look(range.low), look(range.high)];
    let sure = if from == to {
        String::new()
    } else {
        format!(" What the cloth may be reaches from {from} to {to}.")
    };
    json!({"softness": word, "words": format!("{} seen from {} m.{sure}", capital(word), scene.view.distance_m)})
}

/// The numbers in the order in which a maker asks for them.
fn rows(judged: &Judged) -> Vec<Value> {
    let some = |key: &str,
                name: &str,
                meaning: &str,
                unit: &str,
                scale: f64,
                pick: &dyn Fn(&Numbers) -> Option<f64>| {
        let range = judged.range_of(pick)?;
        let Range { value, low, high } =
            Range { value: scale * range.value, low: scale * range.low, high: scale * range.high };
        Some(json!({
            "key": key, "name": name, "meaning": meaning, "unit": unit,
            "value": finite(value), "low": finite(low), "high": finite(high), "shown": shown(value, low, high, unit),
        }))
    };
    [
        some(
            "dot_visibility",
            "dot visibility",
            "contrast of the dots over what the eye can just see; below 1 no dots show",
            "",
            1.0,
            &|n| n.dot_visibility,
        ),
        some("dots_vanish_m", "dots vanish from", "seen from farther away no dots show", "m", 1.0, &|n| {
            n.dots_vanish_m
        }),
        some(
            "light_kept",
            "light kept",
            "share of the pixels' light that comes out in front",
            "%",
            100.0,
            &|n| Some(n.light_kept),
        ),
        some(
            "mean_cd_m2",
            "glow between the pixels",
            "mean luminance; a screen shows about 100 to 300",
            "cd/m2",
            1.0,
            &|n| Some(n.mean_cd_m2),
        ),
        some("peak_cd_m2", "brightest place", "peak luminance", "cd/m2", 1.0, &|n| Some(n.peak_cd_m2)),
        some(
            "contrast_with_room",
            "glow over the room-lit cloth",
            "how far the glow stands out; below about 1 it drowns",
            "times",
            1.0,
            &|n| Some(n.contrast_with_room),
        ),
        some(
            "spot_width_mm",
            "spot width",
            "one pixel's spot, between the places of half its height",
            "mm",
            1.0,
            &|n| n.spot_width_mm,
        ),
        some("evenness", "evenness", "darkest over mean of the glow; 1 is even", "", 1.0, &|n| n.evenness),
        some(
            "colour_shift",
            "colour shift",
            "by the cloth, in CIEDE2000; 1 is just seen side by side",
            "",
            1.0,
            &|n| n.colour_shift,
        ),
        some("thickness_mm", "thickness", "board to the outer face", "mm", 1.0, &|n| Some(n.thickness_mm)),
        some("areal_mass_g_m2", "weight of the cloth", "of one square metre", "g/m2", 1.0, &|n| {
            n.areal_mass_g_m2
        }),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

/// Three digits are what the estimates carry at most.
fn three(value: f64) -> String {
    if value.is_finite() { at_most_three_digits(value) } else { "no end".to_owned() }
}

fn shown(value: f64, low: f64, high: f64, unit: &str) -> String {
    let middle = format!("{} {unit}", three(value));
    let middle = middle.trim_end();
    let [low, high] = [low, high].map(three);
    if low == high { middle.to_owned() } else { format!("{middle} ({low} to {high})") }
}

/// Dot visibility over the gap below the first cloth: `quick` the line alone at a few gaps, otherwise with its ranges.
///
/// # Errors
/// The answer that says why there is none.
pub fn gap_chart(
    question: &Value,
    opened: &Opened,
    pace: &impl Pace<Stop = Stale>,
) -> Result<Answer, Answer> {
    let scene = scene(question, opened)?.scene;
    pace.go_on().map_err(|Stale| Answer::stale())?;
    let subject = Subject::new(scene).map_err(|why| Answer::problem(why_not(why), ""))?;
    let quick = question["detail"].as_str() == Some("quick");
    let curve = GapCurve::of(subject, quick, pace).map_err(|Stale| Answer::stale())?;
    Ok(Answer::json(&curve.told()))
}

/// What the chart of gaps shows.
struct GapCurve {
    subject: Subject,
    end_mm: f64,
    gaps_mm: Vec<f64>,
    curve: Curve,
    /// One a sample of the cloths' uncertainty; `None` where they were not computed.
    samples: Option<Vec<Curve>>,
}

impl GapCurve {
    fn of(subject: Subject, quick: bool, pace: &impl Pace<Stop = Stale>) -> Result<GapCurve, Stale> {
        let present = subject.own_gap_mm();
        let subjects = [subject];
        let end_mm = end_mm_at(pace, &subjects)?.max((1.25 * present).ceil());
        let [subject] = subjects;
        let gaps_mm = gaps(0.0, end_mm, if quick { QUICK_GAPS } else { CHART_GAPS });
        let (curve, samples) = if quick {
            (subject.curve_at(pace, &gaps_mm)?, None)
        } else {
            let sweep = Sweep::at(pace, &subject, &gaps_mm, &|| ())?;
            (sweep.curve(), Some(sweep.sample_curves()))
        };
        Ok(GapCurve { subject, end_mm, gaps_mm, curve, samples })
    }

    fn told(&self) -> Value {
        let visibility: Vec<f64> = self.gaps_mm.iter().map(|gap| self.curve.at(*gap)).collect();
        json!({
            "present_mm": self.subject.own_gap_mm(), "least_mm": 0.0, "most_mm": self.end_mm, "gaps_mm": self.gaps_mm,
            "low": self.end_of_range(LOW_QUANTILE), "high": self.end_of_range(1.0 - LOW_QUANTILE), "bands": bands(&self.gaps_mm, &visibility),
            "visibility": visibility, "vanish_mm": self.curve.deciding(Softness::Smooth), "words": self.words(),
            "detail": if self.samples.is_some() { "full" } else { "quick" },
        })
    }

    /// The quantile of the samples' visibility at each gap; `None` where nothing is uncertain, or not computed.
    fn end_of_range(&self, q: f64) -> Option<Vec<f64>> {
        let samples = self.samples.as_ref().filter(|samples| !samples.is_empty())?;
        let at = |gap: &f64| {
            let mut values: Vec<f64> = samples.iter().map(|sample| sample.at(*gap)).collect();
            values.sort_by(f64::total_cmp);
            quantile(&values, q)
        };
        Some(self.gaps_mm.iter().map(at).collect())
    }

    fn words(&self) -> Vec<String> {
        let vanish = match self.curve.deciding(Softness::Smooth) {
            Some(gap) => format!("No dots show from {} mm on.", three(gap)),
            None => format!("Dots show at every gap up to {} mm.", three(self.end_mm)),
        };
        let pitch = self.subject.pitch_mm();
        let rule = format!(
            "The trade's rule of thumb (a gap of about one pitch, {} mm; common practice, no source) gives: {}.",
            three(pitch),
            look(self.curve.at(pitch.min(self.end_mm)))
        );
        vec![vanish, rule]
    }
}

fn why_not(why: Unjudgeable) -> &'static str {
    match why {
        Unjudgeable::NoCloth => "there is no cloth, so there is no gap to choose",
        Unjudgeable::NoPixels => "there are no pixels",
        Unjudgeable::Dark => "all pixels are dark",
        Unjudgeable::Single => "no two lit pixels are neighbours, so there are no dots to hide",
    }
}

/// Stretches of gaps that look alike.
fn bands(gaps_mm: &[f64], visibility: &[f64]) -> Vec<Value> {
    let mut bands: Vec<(&str, f64, f64)> = Vec::new();
    for (gap, seen) in gaps_mm.iter().zip(visibility) {
        let word = look(*seen);
        match bands.last_mut() {
            Some((last, _, to)) if *last == word => *to = *gap,
            Some((_, _, to)) => {
                let from = *to;
                bands.push((word, from, *gap));
            }
            None => bands.push((word, *gap, *gap)),
        }
    }
    bands.iter().map(|(word, from, to)| json!({"softness": word, "from_mm": from, "to_mm": to})).collect()
}
