//! Layouts from the maker's own drawing: curves, outlines, fillings and lists as a scene names them, and what a wrong drawing brings
//! about.
#![allow(clippy::disallowed_methods)]

use assert_cmd::Command;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::f64::consts::{FRAC_PI_2, PI, TAU};
use std::sync::Arc;
use std::time::{Duration, Instant};
use weftlight::cloth::Cloth;
use weftlight::cloth::catalogue::{ClothSource, NamedText};
use weftlight::diagnose::{Diagnostic, Ink, render};
use weftlight::picture::clip::BACKGROUND;
use weftlight::pixels::layout::Place;
use weftlight::pixels::list;
use weftlight::scene::file::{Resolved, resolve, resolve_at_pitch};
use weftlight::scene::{LaidKind, Scene};

/// Asked for: the pitch along the curve to 0.01 mm.
const PITCH_MM: f64 = 0.01;
/// Asked for: lengths to 1e-4 of themselves.
const LENGTH: f64 = 1e-4;
/// What 100 000 pixels may take: a second or so on a quiet machine, more on a busy one; anything that grows with the square of
/// their number takes minutes.
const MANY_PIXELS: Duration = Duration::from_secs(30);

/// Files of a scene, by name.
struct Files(BTreeMap<&'static str, String>);

impl ClothSource for Files {
    fn by_path(&self, path: &str) -> Result<Arc<Cloth>, Vec<Diagnostic>> {
        Err(vec![Diagnostic::of_file(path, "no cloth files here")])
    }

    fn drawing_text(&self, path: &str) -> Result<NamedText, Vec<Diagnostic>> {
        match self.0.get(path) {
            Some(text) => Ok(NamedText { shown_as: path.to_owned(), text: text.clone() }),
            None => Err(vec![Diagnostic::of_file(path, "there is no such file")]),
        }
    }
}

fn files(svg: &str) -> Files {
    Files(BTreeMap::from([("a.svg", svg.to_owned())]))
}

fn svg(inside: &str) -> String {
    format!(r#"<svg xmlns="http://www.w3.org/2000/svg" width="400mm" viewBox="0 0 400 400">{inside}</svg>"#)
}

fn text_of(groups: &str, more: &str) -> String {
    format!("pixels: [{groups}]\nstack: []\n{more}")
}

fn in_words(all: &[Diagnostic]) -> String {
    all.iter().map(|d| render(d, Ink::Plain)).collect::<Vec<_>>().join("\n")
}

fn scene(files: &Files, groups: &str, more: &str) -> Resolved {
    resolve(&text_of(groups, more), "scene.yaml", files).unwrap_or_else(|all| panic!("{}", in_words(&all)))
}

fn refused(files: &Files, groups: &str, more: &str) -> String {
    match resolve(&text_of(groups, more), "scene.yaml", files) {
        Ok(_) => panic!("{groups} was taken"),
        Err(all) => in_words(&all),
    }
}

fn places(scene: &Scene) -> Vec<[f64; 2]> {
    scene.pixels.iter().map(|p| p.at.map(|v| v.0)).collect()
}

/// A circle of 100 mm radius and an L of straight lines.
const SHAPES: &str = r##"<g transform="translate(100 100)"><circle id="ring" r="100"/></g>
    <polyline id="bend" points="0,0 100,0 100,50"/>
    <path id="piece" d="M0 0 H300 V200 H0 Z"/><use id="far" href="#piece" x="500"/>
    <path id="crossing" d="M0 0 L100 100 H0 L100 0 Z"/><path id="open" d="M0 0 H100 V100"/>"##;

#[test]
fn a_wire_follows_the_circle() {
    let files = files(&svg(SHAPES));
    let resolved = scene(
        &files,
        "path: {package: 2020, pitch_mm: 33, svg: a.svg, id: ring, kind: wire, at_mm: [-100, 100]}",
        "",
    );
    assert!(resolved.warnings.is_empty(), "{}", in_words(&resolved.warnings));
    // 628.3 mm take 19 pitches of 33 mm.
    assert_eq!(resolved.scene.pixels.len(), 19);
    let angles: Vec<f64> = places(&resolved.scene).iter().map(|[x, y]| y.atan2(*x)).collect();
    for (i, (pixel, [x, y])) in resolved.scene.pixels.iter().zip(places(&resolved.scene)).enumerate() {
        assert!((x.hypot(y) - 100.0).abs() < 1e-6, "moved to the origin by `at_mm`");
        // A circle begins on the right and runs clockwise, since the drawing's y runs downwards.
        let turn = (pixel.turn_rad - (angles[i] - FRAC_PI_2)).rem_euclid(TAU);
        assert!(turn.min(TAU - turn) < 1e-6, "packages turn with the curve");
    }
    for pair in angles.windows(2) {
        let arc = 100.0 * (pair[0] - pair[1]).rem_euclid(TAU);
        assert!((arc - 33.0).abs() < PITCH_MM, "{arc}");
    }
    let LaidKind::Path { length_mm, cuts, .. } = &resolved.laid[0].kind else { panic!("a path") };
    assert!((length_mm / (200.0 * PI) - 1.0).abs() < LENGTH);
    let sum: f64 = cuts.iter().map(|cut| cut.cut_mm + cut.left_mm).sum();
    assert!((sum / length_mm - 1.0).abs() < 1e-12, "cut and left lengths add up to the drawing");
    assert_eq!(resolved.scales[0].0, "a.svg");
    assert_eq!(resolved.scales[0].1.mm_per_unit, [1.0, 1.0]);
}

#[test]
fn keys_of_a_path() {
    let files = files(&svg(SHAPES));
    let of = |keys: &str| {
        let resolved = scene(&files, &format!("path: {{pitch_mm: 10, {keys}}}"), "");
        let turns: Vec<f64> = resolved.scene.pixels.iter().map(|p| p.turn_rad.to_degrees().round()).collect();
        (places(&resolved.scene), turns, resolved.warnings.len())
    };
    // A strip is cut at the corner: ten pixels and five, half a pitch from each start.
    let (strip, turns, warnings) = of("svg: a.svg, id: bend");
    assert_eq!((strip.len(), strip[0], strip[9], strip[10]), (15, [5.0, 0.0], [95.0, 0.0], [100.0, -5.0]));
    assert_eq!((turns[0], turns[14], warnings), (0.0, -90.0, 0));
    // The same corners in the scene itself.
    assert_eq!(of("points_mm: [[0, 0], [100, 0], [100, -50]]").0, strip);
    let (wire, turns, _) = of("svg: a.svg, id: bend, kind: wire, start_mm: 2, count: 12, turn: none");
    assert_eq!((wire.len(), wire[0], wire[11]), (12, [2.0, 0.0], [100.0, -12.0]));
    assert!(turns.iter().all(|turn| *turn == 0.0));
    let (back, turns, _) = of("svg: a.svg, id: bend, kind: wire, reversed: true, at_mm: [7, 1]");
    assert_eq!((back.len(), back[0], turns[0]), (16, [107.0, -49.0], 90.0));
    // Colours repeat as in every group, and levels come from `light`.
    let resolved = scene(
        &files,
        "path: {pitch_mm: 10, svg: a.svg, id: bend, colours: [\"#ff0000\", \"#0000ff\"]}",
        "light: {level: 0.5}\n",
    );
    assert_eq!(resolved.scene.pixels[3].levels, [0.0, 0.0, 0.5]);
}

#[test]
fn strips_bend_one_way_only() {
    let files = files(&svg(SHAPES));
    let told = |keys: &str| {
        in_words(&scene(&files, &format!("path: {{pitch_mm: 10, svg: a.svg, id: ring{keys}}}"), "").warnings)
    };
    let warning = told("");
    assert!(warning.contains("would have to bend sideways more tightly than strips do"), "{warning}");
    assert!(warning.contains("found radius 100.0 mm near ["), "{warning}");
    assert!(warning.contains("at least 150 mm (common practice, no source)"), "{warning}");
    assert_eq!(told(", kind: wire"), "");
    assert_eq!(told(", least_radius_mm: 99"), "");
}

#[test]
fn paths_that_cannot_be() {
    let files = files(&svg(SHAPES));
    let path = |keys: &str| refused(&files, &format!("path: {{pitch_mm: 10, {keys}}}"), "");
    let err = path("svg: a.svg, id: rinng");
    assert!(err.contains("the drawing has no element with the id `rinng`"), "{err}");
    assert!(err.contains("allowed: bend, crossing, far, open, piece, ring"), "{err}");
    assert!(err.contains("next: Did you mean `ring`?") && err.contains("scene.yaml:1:"), "{err}");
    let err = path("svg: a.svg");
    assert!(err.contains("a path needs the key `id`") && err.contains("ids of this drawing: bend"), "{err}");
    let err = path("svg: b.svg, id: ring");
    assert!(err.contains("the drawing cannot be used") && err.contains("there is no such file"), "{err}");
    let err = path("id: ring");
    assert!(err.contains("a path needs one of the keys `svg`, `points_mm`"), "{err}");
    let err = path("svg: a.svg, id: ring, points_mm: [[0, 0], [1, 1]]");
    assert!(err.contains("`svg` and `points_mm` exclude each other"), "{err}");
    let err = path("svg: a.svg, id: bend, count: 16");
    assert!(err.contains("too short for so many pixels") && err.contains("at most 15"), "{err}");
    let err = path("svg: a.svg, id: bend, start_mm: 101");
    assert!(err.contains("beyond the end of the curve") && err.contains("0 to 100.00 mm"), "{err}");
    let err = path("points_mm: [[0, 0], [4, 0]]");
    assert!(err.contains("the curve is too short for a pixel") && err.contains("found 4.00 mm"), "{err}");
    assert!(path("points_mm: [[3, 3], [3, 3]]").contains("too short for a pixel"));
    let err = path("svg: a.svg, id: ring, reversed: yes");
    assert!(err.contains("`reversed` must be true or false"), "{err}");
}

#[test]
fn what_a_drawing_must_not_do_is_ignored_and_said() {
    let hostile = svg(&format!(
        "<script>fetch('https://example.org')</script><image href=\"https://example.org/a.png\"/>{SHAPES}"
    ));
    let twice = "{path: {pitch_mm: 10, svg: a.svg, id: bend}}, {path: {pitch_mm: 10, svg: a.svg, id: ring, kind: wire}}";
    let resolved = scene(&files(&hostile), twice, "");
    let said = in_words(&resolved.warnings);
    assert_eq!(said.matches("a script; it is ignored").count(), 1, "once, though used twice: {said}");
    assert!(said.contains("outside itself; that is not followed") && said.contains("a.svg:1:"), "{said}");
    let entity =
        format!("<!DOCTYPE svg [<!ENTITY e SYSTEM \"file:///etc/hostname\">]>{}", svg("<text>&e;</text>"));
    let err = refused(&files(&entity), "path: {pitch_mm: 10, svg: a.svg, id: bend}", "");
    assert!(err.contains("document type definition"), "{err}");
}

#[test]
fn a_fill_keeps_the_seam_and_its_wiring() {
    let files = files(&svg(SHAPES));
    let groups = "fill: {package: 2020, svg: a.svg, id: piece, pitch_mm: 20, rows_mm: 40, seam_mm: 10}";
    let resolved = scene(&files, groups, "outline: {svg: a.svg, id: piece, seam_mm: 10}\n");
    assert!(resolved.warnings.is_empty(), "{}", in_words(&resolved.warnings));
    // 280 by 180 mm are left: 15 columns, 5 rows (160 mm, centred).
    let found = places(&resolved.scene);
    assert_eq!(found.len(), 75);
    assert_eq!((found[0], found[14], found[15]), ([10.0, -20.0], [290.0, -20.0], [290.0, -60.0]));
    assert_eq!(resolved.laid[0].kind, LaidKind::Fill { rows: 5, pitch_mm: 20.0, runs: vec![15; 5] });
    let err = refused(&files, &groups.replace("piece", "crossing"), "");
    assert!(err.contains("it cannot be filled: the outline crosses itself near [50.0, -50.0]"), "{err}");
    let err = refused(&files, &groups.replace("piece", "open"), "");
    assert!(err.contains("is not closed: its ends lie 141.42 mm apart, near [100.0, -100.0]"), "{err}");
    let err = refused(&files, &groups.replace("seam_mm: 10", "seam_mm: 120"), "");
    assert!(err.contains("no pixel fits inside the outline"), "{err}");
    // A triangle given in place.
    let triangle =
        scene(&files, "fill: {pitch_mm: 10, points_mm: [[0, 0], [100, 0], [0, 100]], seam_mm: 2}", "");
    assert!(
        places(&triangle.scene)
            .iter()
            .all(|[x, y]| *x >= 2.0 && *y >= 2.0 && x + y <= 100.0 - 2.0 * 2f64.sqrt() + 1e-6)
    );
}

#[test]
fn pixels_outside_the_outline() {
    let files = files(&svg(SHAPES));
    let outline = "outline: {svg: a.svg, id: piece, seam_mm: 12}\n";
    let strip = |x: f64| format!("strip: {{pitch_mm: 100, count: 3, start_mm: [{x}, -100]}}");
    assert!(scene(&files, &strip(50.0), outline).warnings.is_empty());
    let err = refused(&files, &format!("{{{}}}, {{{}}}", strip(50.0), strip(-30.0)), outline);
    assert!(
        err.contains("a pixel lies outside the outline")
            && err.contains("found pixel 3, 30.00 mm outside, at [-30.0, -100.0]"),
        "{err}"
    );
    assert!(!err.contains("in the seam allowance"), "{err}");
    let warned = scene(&files, &strip(5.0), outline).warnings;
    let said = in_words(&warned);
    assert!(said.contains("warning: a pixel lies in the seam allowance"), "{said}");
    assert!(
        said.contains("found pixel 0, 5.00 mm from the edge") && said.contains("at least 12 mm"),
        "{said}"
    );
    // A wire along the edge itself lies on the piece, curves included.
    for id in ["ring", "piece"] {
        let along = format!("path: {{package: 2020, pitch_mm: 7, svg: a.svg, id: {id}, kind: wire}}");
        assert!(
            scene(&files, &along, &format!("outline: {{svg: a.svg, id: {id}}}\n")).warnings.is_empty(),
            "{id}"
        );
    }
    let err = refused(&files, &strip(50.0), "outline: {svg: a.svg, id: crossing}\n");
    assert!(err.contains("the outline crosses itself near [50.0, -50.0]"), "{err}");
    let err = refused(&files, &strip(50.0), "outline: {svg: a.svg, id: far}\n");
    assert!(err.contains("3 pixels lie outside the outline") && err.contains("450.00 mm outside"), "{err}");
    let err = refused(&files, &strip(50.0), "outline: {svg: a.svg, id: piec}\n");
    assert!(err.contains("Did you mean `piece`?"), "{err}");
}

#[test]
fn grids_turn_around_their_centre() {
    let files = files("");
    let resolved = scene(
        &files,
        "{grid: {columns: 2, rows: 1, pitch_mm: 20, centre_mm: [100, 50], turn_deg: 90}}, \
         {ring: {count: 4, diameter_mm: 30}}, {ring: {count: 8, diameter_mm: 60}}",
        "",
    );
    assert_eq!(places(&resolved.scene)[..2], [[100.0, 40.0], [100.0, 60.0]]);
    assert_eq!(resolved.scene.pixels[0].turn_rad, FRAC_PI_2);
    assert_eq!(resolved.scene.pixels.len(), 14);
}

#[test]
fn lists_in_and_out() {
    let mut files = files(&svg(SHAPES));
    let groups = "{path: {pitch_mm: 17, svg: a.svg, id: ring, kind: wire}}, \
                  {fill: {pitch_mm: 21, svg: a.svg, id: piece, direction_deg: 33}}, {grid: {columns: 3, rows: 2, pitch_mm: 9, turn_deg: 12}}";
    let drawn = scene(&files, groups, "").scene;
    let of = |scene: &Scene| {
        scene.pixels.iter().map(|p| (Place { at: p.at, turn_rad: p.turn_rad }, p.group)).collect::<Vec<_>>()
    };
    files.0.insert("all.csv", list::csv(of(&drawn)));
    let listed = scene(&files, "list: {csv: all.csv}", "").scene;
    assert_eq!(places(&listed), places(&drawn), "to the last digit");
    for (a, b) in listed.pixels.iter().zip(&drawn.pixels) {
        let turns = (a.turn_rad - b.turn_rad) / TAU;
        assert!((turns - turns.round()).abs() < 1e-12);
    }
    let moved = scene(&files, "list: {csv: all.csv, at_mm: [1000, -1]}", "").scene;
    assert_eq!(places(&moved)[0], [places(&drawn)[0][0] + 1000.0, places(&drawn)[0][1] - 1.0]);
    files.0.insert("bad.csv", "index,x_mm,y_mm\n0,1,2\n1,1 mm,2\n".to_owned());
    let err = refused(&files, "list: {csv: bad.csv}", "");
    assert!(err.contains("the list of places cannot be used") && err.contains("bad.csv:3:3"), "{err}");
}

#[test]
fn another_pitch_on_the_same_drawing() {
    let files = files(&svg(SHAPES));
    let count = |groups: &str, pitch: f64| {
        resolve_at_pitch(&text_of(groups, ""), "f", &files, pitch).expect("in order").scene.pixels.len()
    };
    assert_eq!(count("path: {pitch_mm: 10, svg: a.svg, id: bend}", 5.0), 30);
    // A counted path stays as long as it is.
    assert_eq!(count("path: {pitch_mm: 10, svg: a.svg, id: bend, kind: wire, count: 11}", 5.0), 21);
    assert_eq!(count("fill: {pitch_mm: 20, svg: a.svg, id: piece, seam_mm: 10}", 40.0), 40);
}

#[test]
fn a_hundred_thousand_pixels() {
    let start = Instant::now();
    let zigzag: String = (0..99).map(|i| format!("H{} v1 ", if i % 2 == 0 { 100 } else { 0 })).collect();
    let mut files = files(&svg(&format!(
        r#"<path id="long" d="M0 0 {zigzag}"/><path id="piece" d="M-1 -1 H400 V400 H-1 Z"/>
        <path id="wave" d="M0 50 {}"/>"#,
        "q5 90 10 0 t10 0".repeat(19)
    )));
    let outline = "outline: {svg: a.svg, id: piece}\n";
    let wire = scene(
        &files,
        "path: {package: 2020, pitch_mm: 0.1, svg: a.svg, id: long, kind: wire, count: 99000}",
        outline,
    );
    assert_eq!(wire.scene.pixels.len(), 99_000);
    let wave =
        scene(&files, "path: {package: 2020, pitch_mm: 0.1, svg: a.svg, id: wave, kind: wire}", outline);
    assert!(wave.scene.pixels.len() > 20_000, "{}", wave.scene.pixels.len());
    let err = refused(&files, "fill: {package: 2020, pitch_mm: 1, svg: a.svg, id: piece}", outline);
    assert!(err.contains("the scene has too many pixels") && err.contains("at most 100000"), "{err}");
    let fill =
        scene(&files, "fill: {package: 2020, pitch_mm: 1.28, svg: a.svg, id: piece, seam_mm: 1}", outline);
    assert!(fill.scene.pixels.len() > 95_000, "{}", fill.scene.pixels.len());
    let all = fill.scene.pixels.iter().map(|p| (Place { at: p.at, turn_rad: p.turn_rad }, 0));
    files.0.insert("all.csv", list::csv(all));
    let listed = scene(&files, "list: {csv: all.csv}", outline);
    assert_eq!(listed.scene.pixels.len(), fill.scene.pixels.len());
    assert!(start.elapsed() < MANY_PIXELS, "{:?}", start.elapsed());
}

/// The program in a folder of its own.
fn run(folder: &tempfile::TempDir, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output =
        Command::cargo_bin("weftlight").expect("built").current_dir(folder.path()).args(arguments).output();
    let output = output.expect("runs");
    let text = |bytes| String::from_utf8(bytes).expect("text");
    (output.status.code(), text(output.stdout), text(output.stderr))
}

fn folder(groups: &str, more: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("a.svg"), svg(SHAPES)).expect("written");
    let light = "view: {size_px: [160, 120], room_lx: 300, exposure_ev: 5}\n";
    std::fs::write(folder.path().join("scene.yaml"), text_of(groups, &format!("{light}{more}")))
        .expect("written");
    folder
}

#[test]
fn check_tells_the_scale_and_what_to_cut_and_writes_the_places() {
    let groups = "{path: {pitch_mm: 30, svg: a.svg, id: bend}}, {path: {pitch_mm: 30, svg: a.svg, id: ring, kind: wire}}";
    let folder = folder(groups, "outline: {points_mm: [[-10, 10], [300, 10], [300, -300], [-10, -300]]}\n");
    let (code, out, err) = run(&folder, &["check", "scene.yaml", "--pixels", "places.csv"]);
    assert_eq!(code, Some(0), "{out}{err}");
    for words in [
        "In a.svg one unit of the drawing is 1 mm (from its width and height).",
        "Group 1: 4 pixels along bend of a.svg, 150 mm long in 2 parts: 2 pieces of strip, 90 mm (3), 30 mm (1) (pixels in brackets); 30 mm left.",
        "Group 2: 20 pixels along ring of a.svg, 628.32 mm long: 570 mm of wire, 58.32 mm left.",
        "The pattern piece is 310 mm by 310 mm, 961 cm2.",
        "Wrote places.csv.",
    ] {
        assert!(out.contains(words), "{words}\n{out}");
    }
    let csv = std::fs::read_to_string(folder.path().join("places.csv")).expect("written");
    assert!(csv.starts_with("index,x_mm,y_mm,turn_deg,group\n0,15,0,0,0\n1,45,0,0,0\n"), "{csv}");
    assert_eq!(csv.lines().count(), 25);
    let (_, out, _) = run(&folder, &["check", "scene.yaml", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(json["summary"]["laid"][0]["pieces"][0]["cut_mm"], 90.0);
    assert_eq!(json["summary"]["piece"]["size_mm"], serde_json::json!([310.0, 310.0]));
    // Nothing that was read is written over, and cloths have no pixels.
    for (arguments, what) in [
        (
            ["check", "scene.yaml", "--pixels", "a.svg"].as_slice(),
            "this file was read and would be written over",
        ),
        (&["check", "scene.yaml", "--pixels", "scene.yaml"], "was read and would be written over"),
        (&["check", "scene.yaml", "--pixels", "none/a.csv"], "does not exist"),
        (&["check", "x.yaml", "--as", "cloth", "--pixels", "b.csv"], "a cloth has no pixels"),
        (&["preview", "scene.yaml", "-o", "a.svg"], "was read and would be written over"),
    ] {
        let (code, _, err) = run(&folder, arguments);
        assert_eq!(code, Some(2), "{arguments:?}");
        assert!(err.contains(what), "{err}");
    }
}

#[test]
fn the_preview_ends_at_the_outline() {
    // A ring of pixels in a round piece: in the corners of the picture there is no cloth.
    let piece = "outline: {svg: a.svg, id: ring, seam_mm: 10}\n";
    let folder = folder("ring: {count: 12, diameter_mm: 120, centre_mm: [100, -100]}", piece);
    let (code, _, err) = run(&folder, &["preview", "scene.yaml", "-o", "out.png"]);
    assert_eq!(code, Some(0), "{err}");
    let file = std::fs::File::open(folder.path().join("out.png")).expect("written");
    let mut reader = png::Decoder::new(std::io::BufReader::new(file)).read_info().expect("a PNG header");
    let mut bytes = vec![0; reader.output_buffer_size().expect("a size")];
    reader.next_frame(&mut bytes).expect("a picture");
    let at = |x: usize, y: usize| [0, 1, 2].map(|c| bytes[3 * (160 * y + x) + c]);
    // 220 mm upright in 120 image pixels, so the piece is 109 wide in the middle of 160.
    for corner in [at(2, 2), at(157, 2), at(2, 117), at(20, 60)] {
        assert_eq!(corner, BACKGROUND);
    }
    assert_ne!(at(80, 60), BACKGROUND, "the piece is in the middle");
    assert!(at(80, 60).iter().all(|v| *v > 60), "in a room of 300 lx the board is bright: {:?}", at(80, 60));
}

proptest! {
    // A few hundred scenes take some seconds; the seed is fixed, so that a run can be repeated.
    #![proptest_config(ProptestConfig {
        cases: 300,
        rng_seed: proptest::test_runner::RngSeed::Fixed(13),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Whatever fills an outline with its seam lies inside that outline with that seam: the scene says nothing against it.
    #[test]
    fn a_fill_fits_its_own_outline(
        radii in prop::collection::vec(40.0..150.0f64, 3..12),
        seam in 0.0..15.0f64,
        pitch in 5.0..30.0f64,
        turn in -180.0..180.0f64,
    ) {
        let corners: Vec<String> = radii.iter().enumerate().map(|(i, r)| {
            let (sin, cos) = (TAU * i as f64 / radii.len() as f64).sin_cos();
            format!("{},{}", 200.0 + r * cos, 200.0 + r * sin)
        }).collect();
        let files = files(&svg(&format!(r#"<polygon id="star" transform="rotate(20 9 9)" points="{}"/>"#, corners.join(" "))));
        let groups = format!("fill: {{package: 2020, pitch_mm: {pitch}, svg: a.svg, id: star, seam_mm: {seam}, direction_deg: {turn}}}");
        match resolve(&text_of(&groups, &format!("outline: {{svg: a.svg, id: star, seam_mm: {seam}}}\n")), "f", &files) {
            Ok(resolved) => prop_assert!(resolved.warnings.is_empty(), "{}", in_words(&resolved.warnings)),
            Err(all) => prop_assert!(in_words(&all).contains("no pixel fits"), "{}", in_words(&all)),
        }
    }

    /// A damaged drawing is used or refused with a message that can be drawn; it never panics.
    #[test]
    fn damaged_drawings_never_panic(cuts in prop::collection::vec((0.0..1.0f64, 0usize..6, "[<>/a-zA-Z0-9\"= .-]{0,4}"), 1..6)) {
        let mut text: Vec<char> = svg(SHAPES).chars().collect();
        for (at, cut, piece) in cuts {
            let from = (at * text.len() as f64) as usize;
            let to = (from + cut).min(text.len());
            text.splice(from..to, piece.chars());
        }
        let files = files(&text.into_iter().collect::<String>());
        let groups = "{path: {pitch_mm: 9, svg: a.svg, id: ring}}, {fill: {pitch_mm: 30, svg: a.svg, id: piece}}";
        match resolve(&text_of(groups, "outline: {svg: a.svg, id: piece}\n"), "f", &files) {
            Ok(resolved) => prop_assert!(!resolved.scene.pixels.is_empty()),
            Err(all) => prop_assert!(in_words(&all).contains("error")),
        }
    }
}
