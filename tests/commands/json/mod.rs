//! `--json`: what every command prints, against the shape that `check --schema` tells and against the keys as they were.
//!
//! The schemas name every key, so that none can come, go or change its name unnoticed; the snapshots hold which keys were really met, and
//! with which types.

mod schema;

use super::photo::{guide, with_examples};
use super::standoff::SMALL;
use super::{Folder, Said, demo};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Every place in a value with the types that were met there; items of a list are one place. Two kinds of value that are the same
/// everywhere have names of their own: a number with its range, and the numbers that matter, which are listed once.
type Places = BTreeMap<String, BTreeSet<&'static str>>;

const NUMBERS: &str = "numbers";

fn places(value: &Value, place: &str, found: &mut Places) {
    let kind = match value {
        Value::Object(entries) if entries.keys().eq(["high", "low", "unit", "value"]) => {
            let whole = entries.values().all(|value| !value.is_null());
            if whole { "range" } else { "range without all its ends" }
        }
        Value::Object(entries) => {
            for (key, inner) in entries {
                let below = if place.is_empty() { key.clone() } else { format!("{place}.{key}") };
                if key == NUMBERS && !place.is_empty() && inner.is_object() {
                    found.entry(below).or_default().insert("the numbers");
                    places(inner, NUMBERS, found);
                } else {
                    places(inner, &below, found);
                }
            }
            return;
        }
        Value::Array(items) => {
            items.iter().for_each(|item| places(item, &format!("{place}[]"), found));
            "list"
        }
        Value::Null => "null",
        Value::Bool(_) => "flag",
        Value::Number(_) => "number",
        Value::String(_) => "text",
    };
    found.entry(place.to_owned()).or_default().insert(kind);
}

/// What was printed over several calls of a command.
struct Shape {
    name: &'static str,
    schema: Value,
    places: Places,
}

impl Shape {
    fn of(name: &'static str) -> Shape {
        let schema = Folder::new().fine(&["check", "--schema", name]);
        Shape { name, schema: serde_json::from_str(&schema).expect("a schema"), places: Places::new() }
    }

    /// Runs a command with `--json`: it ends as expected, prints JSON and nothing else, and that is as the schema says.
    fn call(&mut self, folder: &Folder, code: i32, arguments: &[&str]) -> Value {
        let said = folder.run(&[arguments, &["--json"]].concat());
        assert_eq!(said.code, Some(code), "{arguments:?}: {}", said.err);
        assert!(!said.err.contains("Next, to"), "{arguments:?}: {}", said.err);
        self.holds(&said.out, arguments)
    }

    fn holds(&mut self, printed: &str, arguments: &[&str]) -> Value {
        let value: Value =
            serde_json::from_str(printed).unwrap_or_else(|e| panic!("{arguments:?}: {e}: {printed}"));
        let problems = schema::problems(&value, &self.schema);
        assert!(problems.is_empty(), "{arguments:?}:\n{}", problems.join("\n"));
        places(&value, "", &mut self.places);
        value
    }
}

/// The keys that were met, with their types, against those of before.
impl Drop for Shape {
    fn drop(&mut self) {
        if std::thread::panicking() {
            return;
        }
        let line = |(place, kinds): (&String, &BTreeSet<&str>)| {
            format!("{place}: {}", kinds.iter().copied().collect::<Vec<_>>().join(" or "))
        };
        let lines: Vec<String> = self.places.iter().map(line).collect();
        insta::assert_snapshot!(self.name, lines.join("\n"));
    }
}

/// A folder with shipped scenes and what they name.
fn with_demos(names: &[&str]) -> Folder {
    let folder = Folder::new();
    for name in names {
        match name.split_once('.') {
            None => folder.write(&format!("{name}.yaml"), demo(name)),
            Some(_) => {
                let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenes").join(name);
                folder.write(name, std::fs::read(file).expect("a file of a demo scene"));
            }
        }
    }
    folder
}

fn files(told: &Value) -> Vec<&str> {
    told["files"].as_array().expect("a list").iter().map(|file| file.as_str().expect("a path")).collect()
}

#[test]
fn new() {
    let (folder, mut shape) = (Folder::new(), Shape::of("new"));
    let told = shape.call(&folder, 0, &["new", "--no-questions"]);
    assert_eq!(files(&told), ["scene.yaml"]);
    let told =
        shape.call(&folder, 0, &["new", "grid.yaml", "--no-questions", "--form", "grid", "--gap-mm", "7.5"]);
    assert_eq!((&told["form"], &told["gap_mm"]), (&"grid".into(), &7.5.into()));
}

#[test]
fn preview() {
    let folder = with_demos(&["collar", "coat", "coat.svg", "coat-photo.jpg"]);
    folder.write("bare.yaml", "pixels: [strip: {pitch_mm: 10, count: 2}]\nstack: []\n");
    let mut shape = Shape::of("preview");
    let small = ["--size-px", "64,32"];
    let told = shape.call(
        &folder,
        0,
        &[&["preview", "collar.yaml", "-o", "a.png", "--linear", "l.png", "--as-powered"][..], &small]
            .concat(),
    );
    assert_eq!(files(&told), ["a.png", "l.png"]);
    let told = shape.call(&folder, 0, &[&["preview", "coat.yaml", "-o", "on.png"][..], &small].concat());
    assert!(told["mm_per_px"].is_null() && told["on_photo"]["file"].is_string(), "{told:#}");
    let told = shape.call(
        &folder,
        0,
        &[&["preview", "bare.yaml", "collar.yaml", "--room-lx", "0"][..], &small].concat(),
    );
    assert_eq!(files(&told[1]), ["renders/collar.png"]);
    assert!(told[0]["bare_light"].is_object(), "{told:#}");
}

/// Full on and off five times a second, which is too often.
const BLINK: &str = "name: Blink\npixels: [grid: {pitch_mm: 10, columns: 12, rows: 8}]\n\
    stack: [{gap_mm: 10, cloth: felt-craft-thin}]\n\
    light: {pattern: {keyframes: [{at_s: 0, level: 1, hold: true}, {at_s: 0.1, level: 0, hold: true}], \
    duration_s: 0.2, frames_per_s: 20}}\n\
    view: {size_px: [48, 32], distance_m: 1, room_lx: 5, margin_mm: 0}\n";

#[test]
fn motion() {
    let (folder, mut shape) = (with_demos(&["lantern"]), Shape::of("motion"));
    let quick = ["motion", "lantern.yaml", "--size-px", "32,32", "--seconds", "1", "--frames-per-s", "4"];
    let told = shape.call(&folder, 0, &[&quick[..], &["-o", "a.gif", "--flash-report", "a.svg"]].concat());
    assert_eq!(files(&told), ["a.gif", "a.svg"]);
    folder.write("blink.yaml", BLINK);
    let call = ["motion", "blink.yaml", "-o", "frames/"];
    let told = shape.call(&folder, 0, &call);
    assert_eq!(
        (files(&told), &told["bytes"], &told["flash"]["passed"]),
        (vec!["frames/"], &Value::Null, &false.into())
    );
    // The film on standard output leaves the JSON to standard error.
    let call = [&quick[..], &["-o", "-", "--json"]].concat();
    let output = assert_cmd::Command::cargo_bin("weftlight")
        .expect("built")
        .current_dir(folder.path(""))
        .args(&call)
        .output()
        .expect("runs");
    assert!(output.status.success() && output.stdout.starts_with(b"YUV4MPEG2"));
    let told = shape.holds(&String::from_utf8(output.stderr).expect("text"), &call);
    assert_eq!(files(&told), [""; 0]);
}

#[test]
fn compare() {
    let (folder, mut shape) = (with_demos(&["collar"]), Shape::of("compare"));
    folder.write("bad.yaml", "name: bad\nthickness_mm: -1\n");
    let call = [
        "compare",
        "collar.yaml",
        "--cloth",
        "fleece",
        "--cloth",
        "organza",
        "-o",
        "c.png",
        "--csv",
        "c.csv",
    ];
    let told = shape.call(&folder, 0, &[&call[..], &["--at-least-light", "0.6"]].concat());
    assert_eq!(files(&told), ["c.png", "c.csv"]);
    assert!(told["removed"].as_array().is_some_and(|removed| !removed.is_empty()), "{told:#}");
    let told = shape.call(
        &folder,
        1,
        &["compare", "collar.yaml", "--cloth", "fleece", "--cloth", "bad.yaml", "--at-least-light", "1"],
    );
    assert_eq!(files(&told), [""; 0]);
}

#[test]
fn standoff() {
    let (folder, mut shape) = (Folder::new(), Shape::of("standoff"));
    folder.write("small.yaml", SMALL);
    let told = shape.call(
        &folder,
        0,
        &["standoff", "small.yaml", "--gap-mm", "0..24", "-o", "a.svg", "--csv", "a.csv"],
    );
    assert_eq!(files(&told), ["a.svg", "a.csv"]);
    shape.call(&folder, 0, &["standoff", "small.yaml", "--gap-mm", "0..24", "-o", "a.svg", "--want", "dots"]);
    folder.write("holes.yaml", SMALL.replace("openness: 0.0}", "openness: 0.2}"));
    shape.call(&folder, 1, &["standoff", "holes.yaml", "--gap-mm", "0..9", "-o", "a.svg"]);
}

#[test]
fn pick() {
    let (folder, mut shape) = (with_demos(&["collar"]), Shape::of("pick"));
    let call = [
        "pick",
        "collar.yaml",
        "--cloth",
        "felt-wool-ivory*",
        "--cloth",
        "organza",
        "--gap-mm",
        "8,16,24,32",
    ];
    let told = shape.call(
        &folder,
        0,
        &[&call[..], &["-o", "p.svg", "--csv", "p.csv", "--at-most-mm", "60"]].concat(),
    );
    assert_eq!(files(&told), ["p.svg", "p.csv"]);
    // Thick felt over a high gap does whatever the cloth may be.
    let safe = [
        "pick",
        "collar.yaml",
        "--cloth",
        "felt-wool-ivory",
        "--gap-mm",
        "8,32",
        "-o",
        "q.svg",
        "--at-most-mm",
        "60",
    ];
    shape.call(&folder, 0, &safe);
}

#[test]
fn make() {
    let mut shape = Shape::of("make");
    for names in [&["collar"][..], &["badge"], &["hem"], &["wing", "wing.svg"]] {
        let folder = with_demos(names);
        let told =
            shape.call(&folder, 0, &["make", &format!("{}.yaml", names[0]), "-o", "out", "--map", "map.csv"]);
        let written = files(&told);
        assert!(written.contains(&"out/sheet.pdf") && written.last() == Some(&"map.csv"), "{written:?}");
        assert!(written.iter().all(|file| folder.path(file).is_file()), "{written:?}");
    }
}

#[test]
fn sheet() {
    let (folder, mut shape) = (with_demos(&["badge"]), Shape::of("sheet"));
    let told = shape.call(&folder, 0, &["sheet", "badge.yaml", "-o", "badge.html", "--date", "today"]);
    assert_eq!(files(&told), ["badge.html"]);
}

#[test]
fn spread() {
    let (folder, mut shape) = (with_demos(&["collar"]), Shape::of("spread"));
    let told = shape.call(&folder, 0, &["spread", "collar.yaml", "--radii-mm", "0,5", "--csv", "s.csv"]);
    assert_eq!(files(&told), ["s.csv"]);
    shape.call(
        &folder,
        0,
        &["spread", "collar.yaml", "--radii-mm", "0,5", "--method", "photons", "--photons", "1000"],
    );
}

#[test]
fn spread_self_check() {
    let (folder, mut shape) = (Folder::new(), Shape::of("spread-self-check"));
    let call = ["spread", "--self-check=holes", "--photons", "50000", "-o", "map.png", "--csv", "t.csv"];
    let told = shape.call(&folder, 0, &call);
    assert_eq!(files(&told), ["map.png", "t.csv"]);
}

#[test]
fn check() {
    let (folder, mut shape) =
        (with_demos(&["collar", "wing", "wing.svg", "waistcoat", "waistcoat.svg"]), Shape::of("check"));
    shape.call(&folder, 0, &["check", "collar.yaml"]);
    shape.call(&folder, 0, &["check", "waistcoat.yaml"]);
    let told = shape.call(&folder, 0, &["check", "wing.yaml", "--pixels", "w.csv"]);
    assert_eq!(files(&told), ["w.csv"]);
    folder.write("bad.yaml", "pixels: [strip: {pitch_mm: -1}]\nstack: []\n");
    let told = shape.call(&folder, 2, &["check", "bad.yaml"]);
    assert!(told["summary"].is_null() && told["problems"][0]["line"] == 1, "{told:#}");
    let fleece = Path::new(env!("CARGO_MANIFEST_DIR")).join("fabrics/fleece.yaml");
    folder.write("own.yaml", std::fs::read(fleece).expect("a cloth"));
    shape.call(&folder, 0, &["check", "own.yaml", "--as", "cloth"]);
}

#[test]
fn cloth_list() {
    Shape::of("cloth-list").call(&Folder::new(), 0, &["cloth", "list"]);
}

#[test]
fn cloth_show() {
    let (folder, mut shape) = (Folder::new(), Shape::of("cloth-show"));
    let told = shape.call(&folder, 0, &["cloth", "show", "mesh-black", "-o", "m.png"]);
    assert_eq!(files(&told), ["m.png"]);
}

#[test]
fn cloth_estimate() {
    let (folder, mut shape) = (Folder::new(), Shape::of("cloth-estimate"));
    let label = [
        "cloth",
        "estimate",
        "--fibre",
        "wool",
        "--areal-mass-g-m2",
        "300",
        "--thickness-mm",
        "2",
        "--colour",
        "#eeeedd",
    ];
    assert_eq!(files(&shape.call(&folder, 0, &label)), [""; 0]);
    let told = shape.call(&folder, 0, &[&label[..], &["-o", "felt.yaml"]].concat());
    assert_eq!(files(&told), ["felt.yaml"]);
}

#[test]
fn cloth_calibrate_and_compare_photo() {
    let folder = with_examples();
    for (name, command) in ["cloth-calibrate", "cloth-compare-photo"].into_iter().zip(guide()) {
        let words: Vec<&str> = command.iter().map(String::as_str).collect();
        let told = Shape::of(name).call(&folder, 0, &words);
        let written = files(&told);
        assert!(written.iter().all(|file| folder.path(file).is_file()), "{written:?}");
    }
}

/// Schemas of what commands print, besides those of files.
fn of_commands(folder: &Folder) -> Vec<String> {
    let help = folder.fine(&["check", "--help"]);
    let listed =
        help.split("--schema").nth(1).and_then(|rest| rest.split("--pixels").next()).expect("the kinds");
    let kinds = listed.lines().filter_map(|line| line.trim().strip_prefix("- "));
    let names = kinds.map(|kind| kind.split(':').next().unwrap_or(kind).to_owned());
    names.filter(|name| name != "scene" && name != "cloth").collect()
}

/// A schema asks for every key that it names and allows no others, so that no key can come or go unnoticed. Keys that several
/// shapes share stand in parts (`allOf`) of a whole that is closed.
fn whole_and_closed(schema: &Value, definitions: &Value, part: bool, place: &str) {
    let Value::Object(entries) = schema else {
        schema
            .as_array()
            .into_iter()
            .flatten()
            .for_each(|item| whole_and_closed(item, definitions, false, place));
        return;
    };
    if let Some(name) = entries.get("$ref") {
        let name = name.as_str().and_then(|to| to.strip_prefix("#/$defs/")).expect("a reference");
        whole_and_closed(&definitions[name], definitions, part, name);
    }
    if let Some(parts) = entries.get("allOf") {
        assert_eq!(entries["unevaluatedProperties"], false, "{place} is open");
        let parts = parts.as_array().expect("parts");
        parts.iter().for_each(|each| whole_and_closed(each, definitions, true, place));
    }
    if let Some(Value::Object(properties)) = entries.get("properties") {
        assert!(part || entries["additionalProperties"] == false, "{place} is open");
        let keys: BTreeSet<&str> = properties.keys().map(String::as_str).collect();
        let required =
            entries["required"].as_array().expect("a list").iter().filter_map(Value::as_str).collect();
        assert_eq!(keys, required, "{place}");
        properties
            .iter()
            .for_each(|(key, inner)| whole_and_closed(inner, definitions, false, &format!("{place}/{key}")));
    }
    for keyword in ["items", "anyOf", "additionalProperties"] {
        entries.get(keyword).into_iter().for_each(|inner| whole_and_closed(inner, definitions, false, place));
    }
}

#[test]
fn every_schema_names_every_key_and_allows_no_others() {
    let folder = Folder::new();
    let names = of_commands(&folder);
    assert_eq!(names.len(), 16, "{names:?}");
    for name in names {
        let schema = folder.json(&["check", "--schema", &name]);
        let title = schema["title"].as_str().expect("a title");
        let call = name.replacen("cloth-", "cloth ", 1).replace("spread-", "spread --");
        assert_eq!(title, format!("What weftlight {call} --json prints"));
        whole_and_closed(&schema, &schema["$defs"], false, &name);
    }
}

/// With a call that is refused, the reason stands on standard error and nothing on standard output.
#[test]
fn refusals_are_told_on_standard_error() {
    let folder = with_demos(&["collar"]);
    for call in [
        &["preview", "none.yaml"][..],
        &["compare", "collar.yaml", "--cloth", "none"],
        &["standoff", "collar.yaml", "-o", "chart.txt"],
        &["make", "none.yaml"],
        &["new", "collar.yaml", "--no-questions"],
        &["cloth", "show", "none"],
    ] {
        let said: Said = folder.run(&[call, &["--json"]].concat());
        assert_eq!((said.code, said.out.as_str()), (Some(2), ""), "{call:?}: {}", said.err);
        assert!(said.err.starts_with("error: "), "{call:?}: {}", said.err);
    }
}
