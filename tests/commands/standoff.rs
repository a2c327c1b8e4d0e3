//! `weftlight standoff`: the files, the figures, the words and what is refused.

use super::{Folder, Picture, demo, number};
use serde_json::Value;

/// Few pixels behind a thin cloth without holes: quick, with an answer within 20 mm.
pub(super) const SMALL: &str = "name: Small\nboard: {reflectance: 0.5}\n\
    pixels: [strip: {package: \"5050\", pitch_mm: 10, count: 6}]\n\
    stack: [{gap_mm: 4, cloth: {name: test, title: Test cloth, thickness_mm: 1, source: test, \
    uncertainty: {optical_thickness: 0.3, openness: 0}, \
    optics: {bulk: {extinction_per_mm: 20, albedo: 0.998, asymmetry: 0.0, openness: 0.0}}}}]\n\
    view: {distance_m: 2, room_lx: 20}\n";

/// The same with holes.
fn with_holes() -> String {
    SMALL.replace("openness: 0.0}", "openness: 0.2}")
}

fn small() -> Folder {
    let folder = Folder::new();
    folder.write("small.yaml", SMALL);
    folder
}

fn list<'a>(json: &'a Value, key: &str) -> &'a Vec<Value> {
    json[key].as_array().unwrap_or_else(|| panic!("{key} in {json:#}"))
}

/// The number under several keys.
fn at(json: &Value, keys: &[&str]) -> f64 {
    let value = keys.iter().fold(json, |json, key| &json[*key]);
    value.as_f64().unwrap_or_else(|| panic!("{keys:?} in {json:#}"))
}

#[test]
fn the_chart_and_the_figures() {
    let folder = small();
    let call = ["standoff", "small.yaml", "--gap-mm", "0..24", "-o", "a.svg", "-o", "a.PNG", "-o", "a.pdf"];
    let told = folder.json(&[&call[..], &["--csv", "a.csv", "--json"]].concat());
    assert_eq!(folder.names(), ["a.PNG", "a.csv", "a.pdf", "a.svg", "small.yaml"]);
    assert_eq!(told["want"], "smooth");
    let case = &list(&told, "pitches")[0];
    assert!((number(case, "pitch_mm") - 10.0).abs() < 1e-9);

    // The step is the first whole millimetre from the gap on: there no dots show, one less and they do.
    let (gap, step) = (at(case, &["gap_mm", "value"]), at(case, &["to_buy", "gap_mm"]));
    assert!(step >= gap && step - gap < 1.0 && step.fract() == 0.0, "{gap} {step}");
    assert!(at(case, &["to_buy", "dot_visibility"]) < 1.0);
    assert!(at(case, &["one_mm_less", "dot_visibility"]) >= 1.0);
    assert_eq!(at(case, &["one_mm_less", "gap_mm"]), step - 1.0);
    assert!(at(case, &["gap_mm", "low"]) <= gap && gap <= at(case, &["gap_mm", "high"]));
    assert!(at(case, &["sure", "gap_mm"]) >= step && at(case, &["sure", "share_of_samples"]) >= 0.9);
    // The board to the outer face: the gap and 1 mm of cloth.
    assert_eq!(at(case, &["to_buy", "numbers", "thickness_mm"]), step + 1.0);
    let softer = [
        at(case, &["softness", "dots", "dots_up_to_mm", "value"]),
        at(case, &["softness", "soft", "from_mm", "value"]),
        at(case, &["softness", "smooth", "from_mm", "value"]),
    ];
    assert!(softer[0] < softer[1] && softer[1] < softer[2] && softer[2] == gap, "{softer:?}");

    // More gap never shows more dots behind a cloth without holes, and keeps the light.
    let sweep = list(case, "sweep");
    assert!(sweep.len() >= 40, "{}", sweep.len());
    for pair in sweep.windows(2) {
        assert!(number(&pair[0], "gap_mm") < number(&pair[1], "gap_mm"));
        let seen = |row: &Value| at(row, &["dot_visibility", "value"]);
        assert!(seen(&pair[1]) <= seen(&pair[0]), "{} {}", pair[0], pair[1]);
        assert_eq!(at(&pair[0], &["light_kept", "value"]), at(&pair[1], &["light_kept", "value"]));
    }

    // What `preview` tells at that gap is the same number.
    let gap = format!("{step}");
    let seen = folder.json(&[
        "preview",
        "small.yaml",
        "--gap-mm",
        &gap,
        "--size-px",
        "64,32",
        "--json",
        "-o",
        "p.png",
    ]);
    let same = at(&seen, &["numbers", "dot_visibility", "value"]) / at(case, &["to_buy", "dot_visibility"]);
    // The same computation; tables may be shared over gaps in one of the two.
    assert!((same - 1.0).abs() < 1e-3, "{same}");

    the_files_can_be_read(&folder, sweep.len());
}

fn the_files_can_be_read(folder: &Folder, rows: usize) {
    let svg = String::from_utf8(folder.read("a.svg")).expect("text");
    assert!(svg.starts_with("<svg") || svg.starts_with("<?xml"), "{}", &svg[..60]);
    for part in ["<title", "Small: how far off the cloth must stand", "<desc", "Dots vanish from", "no dots"]
    {
        assert!(svg.contains(part), "{part}");
    }
    assert!(
        svg.contains("8 of 10 estimates") && svg.contains("ISO 100"),
        "the band and the exposure are explained"
    );
    let png = Picture::of(&folder.read("a.PNG"));
    assert!(
        png.info.width >= 720 && png.info.height > png.info.width,
        "readable on a telephone held upright"
    );
    assert!(folder.read("a.pdf").starts_with(b"%PDF-"));
    let bytes = folder.read("a.csv");
    let mut csv = csv::Reader::from_reader(bytes.as_slice());
    assert_eq!(
        csv.headers().expect("a header").iter().take(3).collect::<Vec<_>>(),
        ["pitch_mm", "gap_mm", "dot_visibility"]
    );
    let lines: Vec<csv::StringRecord> = csv.records().map(|line| line.expect("a line")).collect();
    assert_eq!(lines.len(), rows);
    assert!(lines.iter().all(|line| line[2].parse::<f64>().is_ok_and(f64::is_finite)));
}

#[test]
fn the_answer_comes_first_and_the_usual_files() {
    let folder = small();
    let said = folder.fine(&["standoff", "small.yaml", "--gap-mm", "0..24"]);
    assert!(said.starts_with("Dots vanish from "), "{said}");
    for part in [
        "seen from 2 m",
        "Buy or stack ",
        "% of the light",
        "With less gap: soft from ",
        "rule of thumb, a gap of about one pitch (10 mm; common practice, no source)",
        "The scene as it is, with a gap of 4 mm: ",
        "the air between the pixels and the first cloth (Test cloth)",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
    assert!(!said.contains("estimated from its label"), "this cloth is not: {said}");
    assert!(said.ends_with("Wrote renders/small-standoff.svg and renders/small-standoff.png.\n"), "{said}");
    assert_eq!(
        folder.names(),
        ["renders/", "renders/small-standoff.png", "renders/small-standoff.svg", "small.yaml"]
    );
}

#[test]
fn dots_are_wanted_the_other_way_round() {
    let folder = small();
    let told = folder.json(&[
        "standoff",
        "small.yaml",
        "--want",
        "dots",
        "--gap-mm",
        "0..24",
        "-o",
        "a.svg",
        "--json",
    ]);
    let case = &list(&told, "pitches")[0];
    let step = at(case, &["to_buy", "gap_mm"]);
    assert!(at(case, &["to_buy", "dot_visibility"]) >= 10.0);
    assert!(at(case, &["one_mm_more", "dot_visibility"]) < 10.0);
    assert_eq!(at(case, &["one_mm_more", "gap_mm"]), step + 1.0);
}

#[test]
fn closer_pixels_need_less_gap() {
    let folder = small();
    let call = ["standoff", "small.yaml", "--pitch-mm", "10,5", "--gap-mm", "0..20", "-o", "a.svg", "--json"];
    let told = folder.json(&call);
    let pitches = list(&told, "pitches");
    assert_eq!(pitches.len(), 2);
    let gap = |i: usize| at(&pitches[i], &["gap_mm", "value"]);
    assert!((number(&pitches[0], "pitch_mm") - 5.0).abs() < 1e-9 && gap(0) < gap(1), "{} {}", gap(0), gap(1));
    let svg = String::from_utf8(folder.read("a.svg")).expect("text");
    assert!(svg.contains("5 mm apart") && svg.contains("10 mm apart"), "each line has its name");
}

#[test]
fn holes_are_told_as_the_reason() {
    let folder = Folder::new();
    folder.write("holes.yaml", with_holes());
    let call = ["standoff", "holes.yaml", "--gap-mm", "0..20", "-o", "a.svg"];
    let said = folder.run(&call);
    assert_eq!(said.code, Some(1), "{}", said.err);
    assert!(
        said.out.starts_with("No gap from 0 to 20 mm makes the dots vanish, seen from 2 m: at best, "),
        "{}",
        said.out
    );
    assert!(
        said.out.contains("The reason is the holes: ") && said.out.contains("With the holes closed, "),
        "{}",
        said.out
    );
    assert!(said.out.contains("What would do it") && said.out.contains("- seen from "), "{}", said.out);
    let svg = String::from_utf8(folder.read("a.svg")).expect("text");
    assert!(svg.contains("The reason is the holes"), "the chart says so too");
    // From so far as it says, no dots show: checked by another call.
    let far =
        said.out.split("- seen from ").nth(1).and_then(|rest| rest.split(' ').next()).expect("a distance");
    let farther = format!("{}", 1.02 * far.parse::<f64>().expect("a number"));
    folder.fine(&[&call[..], &["--distance-m", &farther]].concat());
}

#[test]
fn what_would_do_is_computed() {
    let folder = small();
    let said = folder.run(&["standoff", "small.yaml", "--gap-mm", "0..9", "-o", "a.svg", "--json"]);
    assert_eq!(said.code, Some(1), "{}", said.err);
    let told: Value = serde_json::from_str(&said.out).expect("JSON");
    let case = &list(&told, "pitches")[0];
    assert_eq!(case["found"], false);
    assert!(case["reason"].is_null(), "no light comes straight through: {}", case["reason"]);
    let would = list(case, "what_would");
    let pitch = would.iter().find(|w| w["what"] == "pitch").expect("denser pixels do it");
    assert!(
        number(pitch, "pitch_mm") < 10.0
            && number(pitch, "gap_mm") <= 9.0
            && number(pitch, "dot_visibility") < 1.0
    );
    let gap = would.iter().find(|w| w["what"] == "gap").expect("more gap does it");
    let said = folder.fine(&["standoff", "small.yaml", "--gap-mm", "0..20", "-o", "a.svg"]);
    assert!(said.contains(&format!("Buy or stack {} mm", number(gap, "gap_mm"))), "{gap} {said}");
}

#[test]
fn scenes_in_which_there_is_nothing_to_choose() {
    let folder = Folder::new();
    let (before, after) = SMALL.split_once("stack:").expect("a stack");
    folder.write("bare.yaml", format!("{before}stack: []\n"));
    folder.write("single.yaml", SMALL.replace("count: 6", "count: 1"));
    folder.write("dark.yaml", format!("{before}light: {{level: 0}}\nstack:{after}"));
    for (scene, what) in [
        ("bare.yaml", "the scene has no cloth, so there is no gap to choose"),
        ("single.yaml", "no two lit pixels are neighbours"),
        ("dark.yaml", "every pixel is dark"),
    ] {
        let err = folder.refused(&["standoff", scene]);
        assert!(err.contains(what), "{scene}: {err}");
    }
}

#[test]
fn wrong_calls() {
    let folder = small();
    folder.write(
        "points.yaml",
        SMALL
            .replace(
                "strip: {package: \"5050\", pitch_mm: 10, count: 6}",
                "point: {at_mm: [0, 0]}, point: {at_mm: [20, 0]}",
            )
            .replace("}, point", "}}, {point")
            .replace("[point", "[{point")
            .replace("0]}]", "0]}}]"),
    );
    std::fs::create_dir_all(folder.path("a-folder")).expect("made");
    for (more, what) in [
        (&["--pitch-mm", "0"][..], "0.1 to 1000 mm"),
        (&["--pitch-mm", "5,nan"], "0.1 to 1000 mm"),
        (&["--pitch-mm", "-5"], "0.1 to 1000 mm"),
        (&["--pitch-mm", ""], "is not a number"),
        (&["--pitch-mm", "1,2,3,4,5,6,7"], "too many pitches for one chart"),
        (&["--gap-mm", "40..0"], "must be smaller"),
        (&["--gap-mm", "5..5"], "must be smaller"),
        (&["--gap-mm", "0..501"], "0 to 500 mm"),
        (&["--gap-mm", "-1..5"], "0 to 500 mm"),
        (&["--gap-mm", "12"], "two full stops"),
        (&["--want", "hard"], "dots, soft, smooth"),
        (&["--want", "dots", "--want", "smooth"], "cannot be used multiple times"),
        (&["-o", "a.jpg"], "names that end in .svg, .png or .pdf"),
        (&["-o", "a"], "names that end in .svg, .png or .pdf"),
        (&["-o", "small.yaml"], "names that end in .svg, .png or .pdf"),
        (&["-o", "a.svg", "-o", "./a.svg"], "this file would be written twice"),
        (&["-o", "a.svg", "--csv", "a.svg"], "this file would be written twice"),
        (&["-o", "nowhere/a.svg"], "the folder `nowhere` does not exist"),
        (&["-o", "a-folder/../small.yaml/a.svg"], "is a file, not a folder"),
        (&["--csv", "small.yaml"], "would be written over"),
        (&["--csv", "other.yaml"], "names that end in .yaml are for scenes and cloths"),
        (&["--csv", "a-folder"], "this is a folder"),
        (&["--distance-m", "0"], "0.1 to 1000 m"),
        (&["--room-lx", "-1"], "0 to 120000 lx"),
    ] {
        let err = folder.refused(&[&["standoff", "small.yaml"], more].concat());
        assert!(err.contains(what), "{more:?}: {err}");
    }
    let err = folder.refused(&["standoff", "points.yaml", "--pitch-mm", "5"]);
    assert!(err.contains("the pixels of this scene cannot stand 5 mm apart"), "{err}");
    folder.refused(&["standoff", "missing.yaml"]);
    folder.refused(&["standoff"]);
    folder.write("many.yaml", demo("panel"));
    let err = folder.refused(&["standoff", "many.yaml", "--pitch-mm", "0.1"]);
    assert!(err.contains("with pixels 0.1 mm apart"), "{err}");
}
