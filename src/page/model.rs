//! What the page shows of a scene's text: fields to move, and what is wrong, each at its place in the file.

use crate::diagnose::Diagnostic;
use crate::reading::plain::Step;
use crate::reading::{Absent, Field, Kind, Limits, Node, Shape, Value as Read, parse};
use crate::scene::Scene;
use crate::scene::file::Resolved;
use crate::scene::shape::{MOST_GROUPS, MOST_LAYERS, SCENE};
use serde_json::{Value, json};

/// How a field is called on the page and between which values its slider runs; the whole range may still be typed.
const LABELS: &[(&str, &str, Option<[f64; 2]>)] = &[
    ("name", "name", None),
    ("reflectance", "light thrown back", Some([0.0, 1.0])),
    ("gap_mm", "gap below", Some([0.0, 40.0])),
    ("cloth", "cloth", None),
    ("pitch_mm", "distance between pixels", Some([3.0, 50.0])),
    ("count", "number of pixels", Some([1.0, 150.0])),
    ("columns", "pixels in a row", Some([1.0, 32.0])),
    ("rows", "rows", Some([1.0, 32.0])),
    ("rows_mm", "distance between rows", Some([3.0, 100.0])),
    ("diameter_mm", "diameter", Some([10.0, 300.0])),
    ("package", "package", None),
    ("colour", "colour", None),
    ("level", "level", Some([0.0, 1.0])),
    ("white", "white die", Some([0.0, 1.0])),
    ("distance_m", "seen from", Some([0.3, 15.0])),
    ("room_lx", "room light", Some([0.0, 500.0])),
    ("exposure_ev", "exposure", None),
    ("margin_mm", "margin shown", Some([0.0, 100.0])),
    ("age_years", "age of the observer", Some([10.0, 90.0])),
    ("eye", "pigment of the eye", Some([0.0, 1.2])),
    ("direction_deg", "direction", Some([-180.0, 180.0])),
    ("turn_deg", "turn", Some([-180.0, 180.0])),
    ("start_deg", "first pixel at", Some([-180.0, 180.0])),
    ("seam_mm", "seam allowance", Some([0.0, 40.0])),
];

/// A scene's text as the page shows it: whether it can be used, its problems, and its fields where it can be read at all.
#[must_use]
pub fn read(text: &str, resolved: &Result<Resolved, Vec<Diagnostic>>) -> Value {
    let tree = parse(text).ok();
    let problems = match resolved {
        Ok(resolved) => &resolved.warnings,
        Err(problems) => problems,
    };
    json!({
        "usable": resolved.is_ok(),
        "problems": problems_in(problems, tree.as_ref()),
        "model": tree.as_ref().and_then(|tree| model(tree, resolved.as_ref().ok())),
    })
}

/// Problems with the way to the value that they speak of.
#[must_use]
pub fn problems_in(problems: &[Diagnostic], tree: Option<&Node>) -> Value {
    let one = |problem: &Diagnostic| {
        let place = problem.line.zip(problem.column);
        let path = tree.zip(place).and_then(|(tree, place)| path_to(tree, place));
        json!({
            "severity": problem.severity.word(), "what": problem.what, "found": problem.found, "allowed": problem.allowed,
            "next": problem.next, "line": problem.line, "column": problem.column, "file": problem.file,
            "path": path.map(|path| path.iter().map(step).collect::<Vec<Value>>()),
        })
    };
    problems.iter().map(one).collect()
}

fn step(step: &Step) -> Value {
    match step {
        Step::Key(key) => json!(key),
        Step::Index(index) => json!(index),
    }
}

/// The way to the value, or key, that begins at a line and column; that of the nearest one before where none begins there.
fn path_to(tree: &Node, place: (usize, usize)) -> Option<Vec<Step>> {
    let mut best: Option<((usize, usize), Vec<Step>)> = None;
    let mut seen = |node: &Node, way: &[Step]| {
        let at = (node.place.line, node.place.column);
        if at <= place && best.as_ref().is_none_or(|(found, _)| *found <= at) {
            best = Some((at, way.to_vec()));
        }
    };
    walk(tree, &mut Vec::new(), &mut seen);
    best.map(|(_, way)| way)
}

fn walk(node: &Node, way: &mut Vec<Step>, seen: &mut dyn FnMut(&Node, &[Step])) {
    seen(node, way);
    match &node.value {
        Read::List(items) => {
            for (i, item) in items.iter().enumerate() {
                way.push(Step::Index(i));
                walk(item, way, seen);
                way.pop();
            }
        }
        Read::Map(entries) => {
            for (key, value) in entries {
                way.push(Step::Key(key.spelling().to_owned()));
                seen(key, way);
                walk(value, way, seen);
                way.pop();
            }
        }
        _ => {}
    }
}

/// The fields of a scene, in the parts that the page shows; `None` where the text is no map.
fn model(tree: &Node, resolved: Option<&Resolved>) -> Option<Value> {
    let Read::Map(_) = &tree.value else { return None };
    let scene = resolved.map(|resolved| &resolved.scene);
    let part = |key: &str| {
        let shape = match SCENE.field(key).map(|field| field.kind) {
            Some(Kind::Map(shape)) => shape,
            _ => return Vec::new(),
        };
        fields(shape, child(tree, key), &[Step::Key(key.to_owned())])
    };
    let extent = scene.map(|scene| {
        let ([x0, y0], [x1, y1]) = scene.extent();
        [(x1 - x0).0, (y1 - y0).0]
    });
    let name = child(tree, "name").map_or("Untitled scene", |node| node.spelling());
    Some(json!({
        "name": name,
        "pixels": scene.map(|scene| scene.pixels.len()),
        "size_mm": extent,
        "words": scene.map(words),
        "groups": groups(tree, scene),
        "layers": layers(tree, scene),
        "board": {"fields": part("board")},
        "light": {"fields": part("light"), "pattern": child(tree, "light").and_then(|light| child(light, "pattern")).map(pattern_name)},
        "view": {"fields": part("view")},
        "whole": {"fields": fields_of(&[*SCENE.field("name")?], Some(tree), &[])},
        "uneven": scene.is_some_and(|scene| scene.uneven_mm().is_some()),
    }))
}

/// The kind of a pattern: its first key that is a map.
fn pattern_name(node: &Node) -> String {
    match &node.value {
        Read::Map(entries) => entries
            .iter()
            .find(|(_, value)| matches!(value.value, Read::Map(_)))
            .or(entries.first())
            .map_or_else(String::new, |(key, _)| key.spelling().to_owned()),
        _ => node.spelling().to_owned(),
    }
}

fn child<'a>(node: &'a Node, key: &str) -> Option<&'a Node> {
    match &node.value {
        Read::Map(entries) => entries.iter().find(|(k, _)| k.spelling() == key).map(|(_, value)| value),
        _ => None,
    }
}

fn items<'a>(tree: &'a Node, key: &str) -> &'a [Node] {
    match child(tree, key).map(|node| &node.value) {
        Some(Read::List(items)) => items,
        _ => &[],
    }
}

fn words(scene: &Scene) -> Vec<String> {
    let ([x0, y0], [x1, y1]) = scene.extent();
    let mut words = vec![format!(
        "{} pixels over {} mm by {} mm.",
        scene.pixels.len(),
        rounded((x1 - x0).0),
        rounded((y1 - y0).0)
    )];
    words.push(format!("Everything over the board is {} mm thick.", rounded(scene.thickness().0)));
    if let Some([low, high]) = scene.uneven_mm() {
        words.push(format!("The stand-off is uneven: {} to {} mm.", rounded(low), rounded(high)));
    }
    words
}

fn rounded(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

fn groups(tree: &Node, scene: Option<&Scene>) -> Vec<Value> {
    let Some(Kind::List(Kind::OneOf(forms), _, _)) = SCENE.field("pixels").map(|field| field.kind) else {
        return Vec::new();
    };
    let one = |(index, item): (usize, &Node)| {
        let Read::Map(entries) = &item.value else { return None };
        let (key, body) = entries.first()?;
        let form = forms.field(key.spelling())?;
        let Kind::Map(shape) = form.kind else { return None };
        let path = [Step::Key("pixels".to_owned()), Step::Index(index), Step::Key(form.key.to_owned())];
        let count = scene.map(|scene| scene.pixels.iter().filter(|pixel| pixel.group == index).count());
        let title = match count {
            Some(count) => format!("{}: {count} pixels", capital(form.key)),
            None => capital(form.key),
        };
        Some(
            json!({"index": index, "form": form.key, "title": title, "fields": fields(shape, Some(body), &path)}),
        )
    };
    // More are a problem of the text, and their fields would be a hundred times as long as it.
    items(tree, "pixels").iter().enumerate().take(MOST_GROUPS).filter_map(one).collect()
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn layers(tree: &Node, scene: Option<&Scene>) -> Vec<Value> {
    let Some(Kind::List(Kind::Map(shape), _, _)) = SCENE.field("stack").map(|field| field.kind) else {
        return Vec::new();
    };
    let one = |(index, item): (usize, &Node)| {
        let path = [Step::Key("stack".to_owned()), Step::Index(index)];
        let placed = scene.and_then(|scene| scene.stack.get(index));
        let cloth = child(item, "cloth");
        let named =
            cloth.filter(|node| !matches!(node.value, Read::Map(_))).map(|node| node.spelling().to_owned());
        json!({
            "index": index, "cloth": named, "in_place": cloth.is_some() && named.is_none(),
            "title": placed.map(|placed| placed.cloth.title.clone()).or(named),
            "thickness_mm": placed.map(|placed| placed.cloth.thickness.0),
            "fields": fields(shape, Some(item), &path),
        })
    };
    items(tree, "stack").iter().enumerate().take(MOST_LAYERS).map(one).collect()
}

fn fields(shape: &'static Shape, node: Option<&Node>, path: &[Step]) -> Vec<Value> {
    fields_of(shape.fields, node, path)
}

/// The fields that one can move or fill in; maps and lists are left to the text.
fn fields_of(all: &[Field], node: Option<&Node>, path: &[Step]) -> Vec<Value> {
    all.iter()
        .filter_map(|field| field_of(field, node.and_then(|node| child(node, field.key)), path))
        .collect()
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
        _ => return None,
    };
    let given = node.map(|node| match &node.value {
        Read::Number(number) => json!(number),
        Read::Flag(flag) => json!(flag),
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
    let labelled = LABELS.iter().find(|(key, ..)| *key == field.key);
    let mut path: Vec<Value> = path.iter().map(step).collect();
    path.push(json!(field.key));
    Some(json!({
        "path": path, "key": field.key, "label": labelled.map_or_else(|| plain_key(field.key), |(_, label, _)| (*label).to_owned()),
        "meaning": field.meaning, "kind": kind, "given": given.is_some(), "needed": field.absent == Absent::Refused, "value": given.unwrap_or(usual_value),
        "least": limits.map(|l| l.least), "most": limits.map(|l| l.most), "unit": limits.map_or("", |l| l.unit),
        "choices": choices, "usual": labelled.and_then(|(.., usual)| *usual).or_else(|| limits.map(|l| [l.least, l.most])),
    }))
}

fn number(node: &Node) -> Option<f64> {
    match node.value {
        Read::Number(number) => Some(number),
        _ => None,
    }
}

/// A key without its unit, in words.
fn plain_key(key: &str) -> String {
    let bare =
        ["_mm", "_m", "_deg", "_lx", "_ev", "_px", "_years"].iter().find_map(|unit| key.strip_suffix(unit));
    bare.unwrap_or(key).replace('_', " ")
}
