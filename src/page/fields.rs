//! The fields of a scene as the page shows them: single values, lists, and parts of which one form or another is chosen.
//!
//! All comes from the shapes of scene files ([`crate::scene::shape`]). A map of keys is a part that one may have or not; keys that exclude
//! one another are the forms of one part. With each form come the edits that give it.

use super::model::{child, step};
use crate::diagnose::without_unit;
use crate::reading::plain::{Plain, Step};
use crate::reading::{Absent, Field, Kind, Limits, Node, Shape, Value as Read};
use crate::scene::Scene;
use serde_json::{Value, json};

/// Keys of a group that the light gives where they are left out: in sight only where they stand.
const GIVEN_BY_LIGHT: &[&str] = &["colour", "colours", "level", "levels", "gap_mm", "white"];
/// Items of a list of parts that are shown; longer lists are for the file.
const MOST_ITEMS: usize = 24;
/// With what a part begins.
const STARTS: &[(&str, &str)] = &[
    ("quilt", r#"{"rise_mm": 5, "cell_mm": 60}"#),
    ("pulse", r#"{"period_s": 4, "depth": 0.5}"#),
    ("ember", r#"{"depth": 0.6}"#),
    ("gradient", r##"{"colours": ["#ffb060", "#7fd0ff"], "period_s": 8}"##),
    ("keyframes", r#"[{"at_s": 0, "level": 0.2}, {"at_s": 3, "level": 0.6}, {"at_s": 6, "level": 0.2}]"#),
    ("supply", r#"{"volts": 5, "max_ma": 2000, "wire_mm": 500}"#),
    ("battery", r#"{"chemistry": "power-bank", "capacity_mah": 5000}"#),
    ("sheet", r#"{"title": "A title"}"#),
];
/// A dome begins with this rise.
const DOME_RISE_MM: f64 = 5.0;

/// How a field is called on the page.
struct Label {
    key: &'static str,
    words: &'static str,
    /// Whether it is in sight at once; the others stand under "More".
    main: bool,
    /// Between which values its slider runs; the whole range may still be typed.
    usual: Option<[f64; 2]>,
}

/// In sight at once.
const fn main(key: &'static str, words: &'static str, usual: Option<[f64; 2]>) -> Label {
    Label { key, words, main: true, usual }
}

/// Under "More".
const fn more(key: &'static str, words: &'static str, usual: Option<[f64; 2]>) -> Label {
    Label { key, words, main: false, usual }
}

const LABELS: &[Label] = &[
    main("name", "name", None),
    main("reflectance", "light thrown back", Some([0.0, 1.0])),
    main("gap_mm", "gap below", Some([0.0, 40.0])),
    main("cloth", "cloth", None),
    main("pitch_mm", "distance between pixels", Some([3.0, 50.0])),
    main("count", "number of pixels", Some([1.0, 150.0])),
    main("columns", "pixels in a row", Some([1.0, 32.0])),
    main("rows", "rows", Some([1.0, 32.0])),
    main("rows_mm", "distance between rows", Some([3.0, 100.0])),
    main("diameter_mm", "diameter", Some([10.0, 300.0])),
    main("package", "package", None),
    main("colour", "colour", None),
    main("colours", "colours", None),
    main("level", "level", Some([0.0, 1.0])),
    more("white", "white die", Some([0.0, 1.0])),
    main("distance_m", "seen from", Some([0.3, 15.0])),
    main("room_lx", "room light", Some([0.0, 500.0])),
    more("exposure_ev", "exposure", None),
    more("margin_mm", "margin shown", Some([0.0, 100.0])),
    more("age_years", "age of the observer", Some([10.0, 90.0])),
    more("eye", "pigment of the eye", Some([0.0, 1.2])),
    more("direction_deg", "direction", Some([-180.0, 180.0])),
    more("turn_deg", "turn", Some([-180.0, 180.0])),
    more("start_deg", "first pixel at", Some([-180.0, 180.0])),
    more("seam_mm", "seam allowance", Some([0.0, 40.0])),
    main("rise_mm", "rise in the middle", Some([-30.0, 60.0])),
    main("radius_mm", "radius", Some([10.0, 400.0])),
    main("cell_mm", "side of a square", Some([10.0, 200.0])),
    more("origin_mm", "a corner of a square", None),
    more("centre_mm", "middle", None),
    main("period_s", "time of one round", Some([0.5, 30.0])),
    main("depth", "how deep it falls", Some([0.0, 1.0])),
    more("wave_pixels", "pixels from crest to crest", Some([1.0, 150.0])),
    main("slowest_per_s", "slowest swells a second", Some([0.05, 2.0])),
    main("fastest_per_s", "fastest swells a second", Some([0.05, 2.0])),
    main("keyframes", "keyframes", None),
    more("length_mm", "length", Some([10.0, 2000.0])),
    more("duration_s", "length of the loop", Some([1.0, 60.0])),
    more("frames_per_s", "pictures a second", Some([5.0, 60.0])),
    main("at_s", "at", Some([0.0, 30.0])),
    more("steps", "steps of the levels", None),
    main("volts", "voltage", Some([3.0, 24.0])),
    main("max_ma", "most current", Some([100.0, 10_000.0])),
    more("wire_awg", "gauge of the wires", Some([14.0, 30.0])),
    more("wire_mm", "length of the wires", Some([0.0, 3000.0])),
    more("conductor_awg", "gauge of a pixel string", Some([14.0, 34.0])),
    more("conductor_ohm_per_m", "resistance of the strip", None),
    more("inject", "power enters at", None),
    more("inject_every", "power enters at every", Some([1.0, 150.0])),
    more("inject_at", "power enters at the pixels", None),
    main("capacity_mah", "capacity", Some([500.0, 20_000.0])),
    main("chemistry", "chemistry", None),
    more("cells", "cells one after another", Some([1.0, 8.0])),
    more("cut_off_v", "stop at, for a cell", Some([0.8, 3.6])),
    main("last_hours", "is to last", Some([0.5, 12.0])),
    main("side_deg", "seen from the side by", Some([0.0, 75.0])),
    more("from_deg", "from which side", Some([0.0, 360.0])),
    more("relief", "shape over the pixels", None),
    main("pattern", "pattern in time", None),
    main("supply", "power supply", None),
    main("battery", "battery", None),
    more("sheet", "words on the client's sheet", None),
    more("photo", "photograph", None),
];

fn labelled(key: &str) -> Option<&'static Label> {
    LABELS.iter().find(|label| label.key == key)
}

/// The fields of a shape, some of them in a part of their own.
pub(super) fn fields(
    shape: &'static Shape,
    node: Option<&Node>,
    path: &[Step],
    scene: Option<&Scene>,
) -> Vec<Value> {
    fields_of(shape, shape.fields, node, path, scene)
}

/// Those of them that are asked for.
pub(super) fn fields_of(
    shape: &'static Shape,
    all: &'static [Field],
    node: Option<&Node>,
    path: &[Step],
    scene: Option<&Scene>,
) -> Vec<Value> {
    let one = |field: &'static Field| {
        let own = node.and_then(|node| child(node, field.key));
        match forms(shape).filter(|keys| keys.contains(&field.key)) {
            Some(keys) if keys.first() == Some(&field.key) => {
                let forms: Vec<&Field> = keys.iter().filter_map(|key| shape.field(key)).collect();
                Some(part("relief", "", &forms, &[], node, path, path, scene))
            }
            Some(_) => None,
            None => match field.kind {
                Kind::Map(inner) => part_of(field, inner, own, path, scene),
                Kind::List(Kind::Map(inner), ..) => Some(rows(field, inner, own, path, scene)),
                _ => field_of(field, own, path),
            },
        }
    };
    all.iter().filter_map(one).collect()
}

/// Keys of a shape that exclude one another and each hold a part.
fn forms(shape: &'static Shape) -> Option<&'static [&'static str]> {
    let holds = |key: &&str| {
        let kind = shape.field(key).map(|field| field.kind);
        matches!(kind, Some(Kind::Map(_) | Kind::List(Kind::Map(_), ..)))
    };
    shape.exactly_one.iter().chain(shape.at_most_one).find(|keys| keys.iter().all(holds)).copied()
}

/// A part that a key holds: of forms of its own, or the only one.
fn part_of(
    field: &'static Field,
    inner: &'static Shape,
    node: Option<&Node>,
    path: &[Step],
    scene: Option<&Scene>,
) -> Option<Value> {
    let own = joined(path, field.key);
    let keys = if inner.exactly_one.is_empty() { None } else { forms(inner) };
    let shown = match keys {
        Some(keys) => {
            let forms: Vec<&Field> = keys.iter().filter_map(|key| inner.field(key)).collect();
            let others: Vec<&'static Field> =
                inner.fields.iter().filter(|field| !keys.contains(&field.key)).collect();
            part(field.key, field.meaning, &forms, &others, node, &own, &own, scene)
        }
        None => {
            // The part itself is its only form.
            let above = wrapped(field.key, node);
            part(field.key, field.meaning, &[field], &[], above.as_ref(), path, &own, scene)
        }
    };
    // A part that nothing begins is left to the text until it stands there.
    (node.is_some() || shown["choices"].as_array().is_some_and(|choices| !choices.is_empty()))
        .then_some(shown)
}

/// A map of one key.
fn wrapped(key: &str, node: Option<&Node>) -> Option<Node> {
    let node = node?;
    let named = Node { value: Read::Text(key.to_owned()), place: node.place.clone(), raw: String::new() };
    Some(Node {
        value: Read::Map(vec![(named, node.clone())]),
        place: node.place.clone(),
        raw: String::new(),
    })
}

/// A part of which one of several forms is chosen. `at` holds the forms; `own` goes when none is left.
#[expect(clippy::too_many_arguments, reason = "one part, told once for all its kinds")]
fn part(
    key: &str,
    meaning: &str,
    forms: &[&'static Field],
    others: &[&'static Field],
    node: Option<&Node>,
    at: &[Step],
    own: &[Step],
    scene: Option<&Scene>,
) -> Value {
    let given = forms.iter().find(|form| node.is_some_and(|node| child(node, form.key).is_some()));
    let gone = |path: &[Step]| json!({"path": steps(path), "remove": true});
    let alone = forms.len() == 1;
    let none = match given {
        Some(form) if others.is_empty() => vec![gone(&joined(at, form.key))],
        Some(_) => vec![gone(own)],
        None => Vec::new(),
    };
    let choices: Vec<Value> = forms
        .iter()
        .filter_map(|form| {
            let chosen = given.is_some_and(|given| given.key == form.key);
            let start = start(form.key, scene);
            if start.is_none() && !chosen {
                return None;
            }
            let mut edits: Vec<Value> = Vec::new();
            if let (Some(start), false) = (start, chosen) {
                edits.extend(given.map(|given| gone(&joined(at, given.key))));
                edits.push(json!({"path": steps(&joined(at, form.key)), "set": start}));
                // Within a list of keys the last one may not go first.
                edits.reverse();
            }
            Some(json!({"key": form.key, "label": label(form.key), "meaning": form.meaning, "edits": edits}))
        })
        .collect();
    let mut nested = Vec::new();
    if let (Some(form), Some(node)) = (given, node) {
        let inside = child(node, form.key);
        match form.kind {
            Kind::Map(inner) => nested.extend(fields(inner, inside, &joined(at, form.key), scene)),
            Kind::List(Kind::Map(inner), ..) => nested.push(rows(form, inner, inside, at, scene)),
            _ => {}
        }
        nested.extend(others.iter().filter_map(|other| field_of(other, child(node, other.key), at)).map(
            |mut other| {
                other["main"] = json!(false);
                other
            },
        ));
    }
    // Where problems of the part stand.
    let inside =
        given.filter(|_| others.is_empty()).map_or_else(|| own.to_vec(), |form| joined(at, form.key));
    let main = labelled(key).is_some_and(|label| label.main) || given.is_some();
    let path = if key == "relief" { joined(own, key) } else { own.to_vec() };
    json!({
        "path": steps(&path), "key": key, "label": label(key), "meaning": meaning, "kind": "form", "alone": alone,
        "inside": steps(&inside),
        "written": given.and_then(|form| Some(as_json(&Plain::from(child(node?, form.key)?)))), "value": given.map(|form| form.key), "given": given.is_some(), "needed": false, "main": main,
        "choices": choices, "none": none, "fields": nested,
    })
}

/// With what a part begins.
fn start(key: &str, scene: Option<&Scene>) -> Option<Value> {
    if key == "dome" {
        let ([x0, y0], [x1, y1]) = scene?.extent();
        let round = |mm: f64| (mm * 10.0).round() / 10.0;
        let radius = (0.5 * (x1 - x0).0.hypot((y1 - y0).0)).round().max(20.0);
        let centre = [round(0.5 * (x0 + x1).0), round(0.5 * (y0 + y1).0)];
        return Some(json!({"rise_mm": DOME_RISE_MM, "centre_mm": centre, "radius_mm": radius}));
    }
    let (_, text) = STARTS.iter().find(|(known, _)| *known == key)?;
    serde_json::from_str(text).ok()
}

/// A list of parts, each with its fields.
fn rows(
    field: &Field,
    inner: &'static Shape,
    node: Option<&Node>,
    path: &[Step],
    scene: Option<&Scene>,
) -> Value {
    let items: &[Node] = match node.map(|node| &node.value) {
        Some(Read::List(items)) => items,
        _ => &[],
    };
    let own = joined(path, field.key);
    let shown: Vec<Value> = items
        .iter()
        .enumerate()
        .take(MOST_ITEMS)
        .map(|(i, item)| {
            let mut at = own.clone();
            at.push(Step::Index(i));
            json!({"path": steps(&at), "fields": fields(inner, Some(item), &at, scene)})
        })
        .collect();
    json!({
        "path": steps(&own), "key": field.key, "label": label(field.key), "meaning": field.meaning, "kind": "rows", "given": node.is_some(),
        "needed": false, "main": true, "what": inner.what, "items": shown, "count": items.len(),
        // A new one begins as the last one is.
        "next": items.last().map(|item| as_json(&Plain::from(item))),
    })
}

fn as_json(plain: &Plain) -> Value {
    super::shelf::as_json(plain)
}

fn joined(path: &[Step], key: &str) -> Vec<Step> {
    let mut path = path.to_vec();
    path.push(Step::Key(key.to_owned()));
    path
}

fn steps(path: &[Step]) -> Vec<Value> {
    path.iter().map(step).collect()
}

fn label(key: &str) -> String {
    labelled(key).map_or_else(|| without_unit(key).replace('_', " "), |label| label.words.to_owned())
}

/// Whether a field is in sight at once.
fn is_main(key: &str, given: bool, path: &[Step]) -> bool {
    let of_group = matches!(path, [Step::Key(list), Step::Index(_), Step::Key(_)] if list == "pixels");
    if of_group && GIVEN_BY_LIGHT.contains(&key) {
        given
    } else {
        labelled(key).is_some_and(|label| label.main)
    }
}

fn field_of(field: &Field, node: Option<&Node>, path: &[Step]) -> Option<Value> {
    let mut limits: Option<&Limits> = None;
    let (kind, choices): (&str, Option<Vec<String>>) = match &field.kind {
        Kind::Number(range) => {
            limits = Some(range);
            ("number", None)
        }
        Kind::Whole(range) => {
            limits = Some(range);
            ("whole", None)
        }
        Kind::NumberOr(range, words) => {
            limits = Some(range);
            ("number", Some(words.iter().map(|word| (*word).to_owned()).collect()))
        }
        Kind::Text | Kind::TextOr(_) => ("text", None),
        Kind::Flag => ("flag", None),
        Kind::Colour => ("colour", None),
        Kind::Choice(words) => ("choice", Some(words.iter().map(|word| (*word).to_owned()).collect())),
        Kind::Named(_, names) => ("choice", Some(names().into_iter().map(str::to_owned).collect())),
        Kind::Pair(Kind::Number(range)) => {
            limits = Some(range);
            ("pair", None)
        }
        Kind::List(item, ..) => {
            limits = match item {
                Kind::Number(range) | Kind::Whole(range) => Some(range),
                Kind::Colour => None,
                _ => return None,
            };
            (if limits.is_some() { "numbers" } else { "colours" }, None)
        }
        _ => return None,
    };
    let given = node.map(|node| match &node.value {
        Read::Number(number) => json!(number),
        Read::Flag(flag) => json!(flag),
        Read::List(items) if kind == "colours" => items.iter().map(|item| json!(item.spelling())).collect(),
        Read::List(items) => items.iter().map(|item| json!(number(item))).collect(),
        Read::Map(_) => Value::Null,
        Read::Nothing => Value::Null,
        Read::Text(text) => json!(text),
    });
    // A package called 5050 is a name, written bare or not.
    let given = match (&field.kind, node) {
        (Kind::Text | Kind::TextOr(_) | Kind::Named(..), Some(node))
            if !matches!(node.value, Read::Map(_)) =>
        {
            Some(json!(node.spelling()))
        }
        _ => given,
    };
    let usual_value = match field.absent {
        Absent::Number(number) => json!(number),
        Absent::Text(text) => json!(text),
        Absent::Pair(pair) => json!(pair),
        Absent::Refused | Absent::Open => Value::Null,
    };
    Some(json!({
        "path": steps(&joined(path, field.key)), "key": field.key, "label": label(field.key),
        "main": is_main(field.key, given.is_some(), path),
        "meaning": field.meaning, "kind": kind, "given": given.is_some(), "needed": field.absent == Absent::Refused, "value": given.unwrap_or(usual_value),
        "least": limits.map(|l| l.least), "most": limits.map(|l| l.most), "unit": limits.map_or("", |l| l.unit),
        "choices": choices, "usual": labelled(field.key).and_then(|label| label.usual).or_else(|| limits.map(|l| [l.least, l.most])),
    }))
}

fn number(node: &Node) -> Option<f64> {
    match node.value {
        Read::Number(number) => Some(number),
        _ => None,
    }
}
