//! What the page shows of a scene's text: fields to move, and what is wrong, each at its place in the file.

use super::asked::Opened;
use super::fields::{fields, fields_of};
use crate::cloth::catalogue::Reference;
use crate::diagnose::Diagnostic;
use crate::reading::plain::Step;
use crate::reading::{Kind, Node, Value as Read, parse};
use crate::scene::Scene;
use crate::scene::file::Resolved;
use crate::scene::shape::{MOST_GROUPS, MOST_LAYERS, SCENE};
use crate::words::capital;
use serde_json::{Value, json};

/// A scene's text as the page shows it: whether it can be used, its problems, and its fields where it can be read at all.
#[must_use]
pub fn read(text: &str, resolved: &Result<Resolved, Vec<Diagnostic>>, opened: &Opened) -> Value {
    let tree = parse(text).ok();
    let problems = match resolved {
        Ok(resolved) => &resolved.warnings,
        Err(problems) => problems,
    };
    json!({
        "usable": resolved.is_ok(),
        "problems": problems_in(problems, tree.as_ref()),
        "files": tree.as_ref().map(|tree| files_named(tree, opened)),
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

pub(super) fn step(step: &Step) -> Value {
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
        fields(shape, child(tree, key), &[Step::Key(key.to_owned())], scene)
    };
    let extent = scene.map(|scene| {
        let ([x0, y0], [x1, y1]) = scene.extent();
        [(x1 - x0).0, (y1 - y0).0]
    });
    let whole = |first: &str, second: &str| {
        let wanted =
            SCENE.fields.iter().enumerate().filter(|(_, field)| [first, second].contains(&field.key));
        wanted
            .flat_map(|(at, _)| fields_of(&SCENE, &SCENE.fields[at..=at], Some(tree), &[], scene))
            .collect::<Vec<Value>>()
    };
    let name = child(tree, "name").map_or("Untitled scene", |node| node.spelling());
    Some(json!({
        "name": name,
        "pixels": scene.map(|scene| scene.pixels.len()),
        "size_mm": extent,
        "corner_mm": scene.map(|scene| { let ([x, y], _) = scene.extent(); [x.0, y.0] }),
        "outlined": scene.is_some_and(|scene| scene.piece.is_some()),
        "words": scene.map(words),
        "groups": groups(tree, scene),
        "layers": layers(tree, scene),
        "board": {"fields": part("board")},
        "light": {"fields": part("light"), "pattern": child(tree, "light").and_then(|light| child(light, "pattern")).map(pattern_name)},
        "view": {"fields": part("view")},
        "whole": {"fields": whole("name", "sheet")},
        "supply": {"fields": whole("supply", "supply")},
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

pub(super) fn child<'a>(node: &'a Node, key: &str) -> Option<&'a Node> {
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
            json!({"index": index, "form": form.key, "title": title, "fields": fields(shape, Some(body), &path, scene)}),
        )
    };
    // More are a problem of the text, and their fields would be a hundred times as long as it.
    items(tree, "pixels").iter().enumerate().take(MOST_GROUPS).filter_map(one).collect()
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
            "fields": of_layer(fields(shape, Some(item), &path, scene), index),
        })
    };
    items(tree, "stack").iter().enumerate().take(MOST_LAYERS).map(one).collect()
}

/// Only the first layer may have a shape of its own; a fault of another one stays in sight.
fn of_layer(mut fields: Vec<Value>, index: usize) -> Vec<Value> {
    fields.retain(|field| index == 0 || field["key"] != "relief" || field["given"] == true);
    fields
}

/// The files that a scene names, by their paths as it writes them, each once, and whether they are at hand.
fn files_named(tree: &Node, opened: &Opened) -> Vec<Value> {
    let mut found: Vec<(String, &'static str)> = Vec::new();
    let mut seen = |node: &Node, way: &[Step]| {
        let keys: Vec<&str> = way
            .iter()
            .filter_map(|step| if let Step::Key(key) = step { Some(key.as_str()) } else { None })
            .collect();
        let Read::Text(text) = &node.value else { return };
        let kind = match keys.as_slice() {
            ["outline", "svg"] | ["pixels", _, "svg"] => "drawing",
            ["pixels", "list", "csv"] => "list",
            ["light", "pattern", "picture", "file"] => "picture",
            ["view", "photo", "file"] => "photograph",
            ["stack", "cloth"] if matches!(Reference::of(text), Reference::Path(_)) => "cloth",
            _ => return,
        };
        // A key is no value.
        if keys.last().is_some_and(|key| *key != text) && !found.iter().any(|(path, _)| path == text) {
            found.push((text.clone(), kind));
        }
    };
    walk(tree, &mut Vec::new(), &mut seen);
    found.iter().map(|(path, kind)| json!({"path": path, "kind": kind, "here": opened.holds(path)})).collect()
}
