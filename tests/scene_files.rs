//! Scene files that are right: short forms, defaults, levels, the demo scenes, the schema; and random damage.
#![allow(clippy::disallowed_methods)]

use proptest::prelude::*;
use std::path::Path;
use std::sync::Arc;
use weftlight::cloth::Basis;
use weftlight::cloth::catalogue::CatalogueOnly;
use weftlight::cloth::shape::CLOTH;
use weftlight::diagnose::{Diagnostic, Ink, render};
use weftlight::quantity::{Millimetres, Nanometres};
use weftlight::reading::schema::json_schema;
use weftlight::scene::file::{read, resolve};
use weftlight::scene::shape::SCENE;
use weftlight::scene::{Exposure, Scene};

fn in_words(all: &[Diagnostic]) -> String {
    all.iter().map(|d| render(d, Ink::Plain)).collect::<Vec<_>>().join("\n")
}

fn scene(text: &str) -> Scene {
    match resolve(text, "scene.yaml", &CatalogueOnly) {
        Ok(resolved) => resolved.scene,
        Err(all) => panic!("{}", in_words(&all)),
    }
}

/// Every kind of group and both ways to name a cloth.
const EXAMPLE: &str = r##"
name: Collar
board: {reflectance: 0.5}
pixels:
  - strip: {package: "5050", pitch_mm: 16.67, count: 24, start_mm: [0, 0], direction_deg: 0}
  - ring:  {package: "5050", count: 16, diameter_mm: 60, centre_mm: [0, 0]}
  - grid:  {package: "2020", columns: 8, rows: 8, pitch_mm: 10, centre_mm: [0, 0], order: zigzag}
  - point: {at_mm: [0, 0], beam_power: 1.0}
stack:
  - {gap_mm: 6, cloth: felt-wool-ivory}
  - gap_mm: 0
    cloth:
      name: test cloth
      thickness_mm: 2.0
      optics: {bulk: {extinction_per_mm: 2.5, albedo: 0.995, asymmetry: 0.0, openness: 0.0}}
light: {colour: "#ffd9a0", level: 0.4}
view: {distance_m: 2, room_lx: 20}
"##;

#[test]
fn the_example_arrives_whole() {
    let scene = scene(EXAMPLE);
    assert_eq!(scene.name, "Collar");
    assert_eq!(scene.pixels.len(), 24 + 16 + 64 + 1);
    assert_eq!(scene.pixels[1].at, [Millimetres(16.67), Millimetres(0.0)]);
    assert_eq!((scene.pixels[23].group, scene.pixels[24].group, scene.pixels[104].group), (0, 1, 3));
    assert_eq!(scene.pixels[24].at, [Millimetres(0.0), Millimetres(30.0)], "a ring begins at the top");
    assert_eq!(
        scene.pixels[40].at,
        [Millimetres(-35.0), Millimetres(35.0)],
        "a grid begins at the upper left"
    );
    assert_eq!(scene.pixels[48].at, [Millimetres(35.0), Millimetres(25.0)], "and its second row runs back");
    assert_eq!(scene.stack.len(), 2);
    assert_eq!(scene.stack[0].gap_below, Millimetres(6.0));
    assert_eq!(scene.stack[0].cloth.name, "felt-wool-ivory");
    assert_eq!(scene.stack[1].cloth.basis, Basis::Bulk);
    let stack = scene.stack_at(Nanometres(600.0));
    assert_eq!(stack.board_reflectance, 0.5);
    assert_eq!(stack.layers[1].optical_thickness(), 5.0);
}

#[test]
fn what_the_short_form_leaves_out() {
    let scene = scene("pixels: [strip: {pitch_mm: 20, count: 2}]\nstack: []\n");
    assert_eq!(scene.board_reflectance, 0.5);
    assert_eq!(scene.pixels[0].package.name, "5050");
    assert_eq!(scene.pixels[1].at, [Millimetres(20.0), Millimetres(0.0)]);
    assert_eq!(scene.pixels[0].levels, [1.0, 1.0, 1.0], "white at full level");
    let view = &scene.view;
    assert_eq!((view.distance_m, view.room_lx, view.exposure), (2.0, 20.0, Exposure::Auto));
    // No cloth: the margin is 10 mm, so 40 mm by 20 mm are shown; 1920 image pixels across make 960 upwards.
    assert_eq!((view.margin, view.size_px), (Millimetres(10.0), [1920, 960]));
    assert_eq!((view.age_years, view.eye_pigment), (35.0, 0.5));
}

#[test]
fn the_picture_has_the_proportions_of_the_garment() {
    let size = |pixels: &str| scene(&format!("pixels: [{pixels}]\nstack: []\n")).view.size_px;
    // 20 mm by 40 mm with the margin of 10 mm: 1080 upwards make 540 across.
    assert_eq!(size("strip: {pitch_mm: 20, count: 2, direction_deg: 90}"), [540, 1080]);
    // 100 mm by 100 mm: the height bounds it.
    assert_eq!(size("grid: {pitch_mm: 20, columns: 5, rows: 5}"), [1080, 1080]);
    // 160 mm by 90 mm is 16 to 9.
    assert_eq!(size("grid: {pitch_mm: 10, columns: 15, rows: 8}"), [1920, 1080]);
    // 2020 mm by 20 mm would be 19 image pixels high, too few for the caption: 480 at least.
    assert_eq!(size("strip: {pitch_mm: 20, count: 101}"), [1920, 480]);
    let asked = "pixels: [point: {}]\nstack: []\nview: {size_px: [300, 700]}\n";
    assert_eq!(scene(asked).view.size_px, [300, 700]);
}

#[test]
fn the_margin_grows_with_the_stack() {
    let text = "pixels: [point: {}]\nstack: [{gap_mm: 6, cloth: {name: a, thickness_mm: 3, \
                optics: {bulk: {extinction_per_mm: 1, albedo: 1}}}}]\n";
    assert_eq!(scene(text).view.margin, Millimetres(2.0 * 9.0 + 10.0));
    let fixed = scene(&format!("{text}view: {{margin_mm: 4, exposure_ev: 3.5}}\n")).view;
    assert_eq!((fixed.margin, fixed.exposure), (Millimetres(4.0), Exposure::Fixed(3.5)));
}

#[test]
fn levels_of_the_dies() {
    // A code of 255 is full; the level scales all dies alike (common practice, no source).
    let levels = |group: &str| {
        let text = format!("pixels: [{group}]\nstack: []\nlight: {{colour: \"#ff8000\", level: 0.5}}\n");
        scene(&text).pixels.iter().map(|p| p.levels.clone()).collect::<Vec<_>>()
    };
    let half = 128.0 / 255.0;
    assert_eq!(levels("strip: {pitch_mm: 20, count: 1}"), [[0.5, 0.5 * half, 0.0]]);
    assert_eq!(
        levels("strip: {pitch_mm: 20, count: 3, colours: [\"#ff0000\", \"#0000ff\"], levels: [1, 0.25]}"),
        [[1.0, 0.0, 0.0], [0.0, 0.0, 0.25], [1.0, 0.0, 0.0]]
    );
    assert_eq!(
        levels("strip: {package: 5050-rgbw, pitch_mm: 20, count: 1, colour: \"#000000\", white: 0.5}"),
        [[0.0, 0.0, 0.0, 0.25]]
    );
    assert!(levels("point: {}").iter().flatten().all(|level| *level == 1.0), "`light` does not dim a point");
}

#[test]
fn packages_are_shared_and_a_bare_number_names_one() {
    let scene = scene("pixels: [strip: {package: 2020, pitch_mm: 20, count: 2}]\nstack: []\n");
    assert_eq!(scene.pixels[0].package.name, "2020");
    assert!(Arc::ptr_eq(&scene.pixels[0].package, &scene.pixels[1].package));
}

#[test]
fn a_cloth_file_is_found_beside_its_scene() {
    let folder = tempfile::tempdir().expect("a folder");
    let cloth = "name: own\ntitle: Own\nthickness_mm: 0.5\nareal_mass_g_m2: 90\nsource: \"by hand\"\n\
                 optics: {calibrated: {extinction_per_mm: 4, albedo_by_nm: {450: 0.9, 650: 0.98}, photos: \"two\"}}\n\
                 uncertainty: {optical_thickness: 0.2}\nbuying: {width_mm: 1400, price_per_m: 9.5}\n";
    std::fs::create_dir(folder.path().join("cloths")).expect("made");
    std::fs::write(folder.path().join("cloths/own.yaml"), cloth).expect("written");
    let path = folder.path().join("scene.yaml");
    std::fs::write(&path, "pixels: [point: {}]\nstack: [{cloth: cloths/own.yaml}]\n").expect("written");
    let scene = read(&path).unwrap_or_else(|all| panic!("{}", in_words(&all)));
    let own = &scene.stack[0].cloth;
    assert_eq!((own.basis, own.areal_mass_g_m2), (Basis::Calibrated, Some(90.0)));
    assert_eq!((own.buying.width, own.buying.price_per_m), (Some(Millimetres(1400.0)), Some(9.5)));
    assert_eq!((own.uncertainty.optical_thickness, own.uncertainty.openness), (0.2, 0.0));
}

#[test]
fn the_demo_scenes_are_in_order_and_say_that_they_are_invented() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenes");
    for (name, pixels) in [
        ("collar", 24),
        ("lantern", 28),
        ("wing", 62),
        ("badge", 16),
        ("panel", 256),
        ("hem", 64),
        ("waistcoat", 65),
    ] {
        let path = folder.join(format!("{name}.yaml"));
        let scene = read(&path).unwrap_or_else(|all| panic!("{}", in_words(&all)));
        assert_eq!(scene.pixels.len(), pixels, "{name}");
        assert_eq!(scene.name.to_lowercase(), name);
        assert!(!scene.stack.is_empty());
        let text = std::fs::read_to_string(&path).expect("readable");
        assert!(text.starts_with("# Invented"), "{name}");
    }
}

/// The limits of the schema are the limits of the reader: beyond one is refused, the limit itself is not.
#[test]
fn the_schema_says_what_the_reader_does() {
    let schema = json_schema(&SCENE, "scene");
    let strip = &schema["properties"]["pixels"]["items"]["properties"]["strip"]["properties"];
    let limit = |key: &str, end: &str| strip[key][end].as_f64().expect("a number");
    let fits = |pitch: f64, count: f64| {
        let text = format!("pixels: [strip: {{pitch_mm: {pitch}, count: {count}}}]\nstack: []\n");
        resolve(&text, "f", &CatalogueOnly).is_ok()
    };
    assert!(fits(limit("pitch_mm", "minimum"), 2.0) && fits(limit("pitch_mm", "maximum"), 2.0));
    assert!(
        !fits(limit("pitch_mm", "minimum") * 0.99, 2.0) && !fits(limit("pitch_mm", "maximum") * 1.01, 2.0)
    );
    assert!(fits(0.1, limit("count", "maximum")) && !fits(0.1, limit("count", "maximum") + 1.0));
    assert!(!fits(10.0, limit("count", "minimum") - 1.0));
    assert_eq!(schema["additionalProperties"], false);
    assert_eq!(schema["required"], serde_json::json!(["pixels", "stack"]));
    assert_eq!(schema["properties"]["board"]["properties"]["reflectance"]["default"], 0.5);
    let cloth = json_schema(&CLOTH, "cloth");
    assert_eq!(cloth["required"], serde_json::json!(["name", "thickness_mm", "optics"]));
    let bulk = &cloth["properties"]["optics"]["properties"]["bulk"];
    assert_eq!(bulk["properties"]["albedo"]["maximum"], 1);
    assert_eq!(
        bulk["allOf"],
        serde_json::json!([{"oneOf": [{"required": ["albedo"]}, {"required": ["albedo_by_nm"]}]}])
    );
}

/// Pieces that are put into a valid scene at random places.
const PIECES: [&str; 20] = [
    "{", "}", "[", "]", ":", ": ", "- ", "\n", "\n  ", "#", "\"", "&a ", "*a", "!!float ", "<<: ", ".nan",
    "-1e400", "\u{feff}", "ä", "---\n",
];

proptest! {
    // A few thousand damaged files take about a second; the seed is fixed, so that a run can be repeated.
    #![proptest_config(ProptestConfig {
        cases: 2000,
        rng_seed: proptest::test_runner::RngSeed::Fixed(7),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// A damaged scene is read or refused with a message that can be drawn; it never panics.
    #[test]
    fn damage_never_panics(cuts in prop::collection::vec((0.0..1.0f64, 0usize..6, 0usize..PIECES.len()), 1..6)) {
        let mut text: Vec<char> = EXAMPLE.chars().collect();
        for (at, cut, piece) in cuts {
            let from = (at * text.len() as f64) as usize;
            let to = (from + cut).min(text.len());
            text.splice(from..to, PIECES[piece].chars());
        }
        let text: String = text.into_iter().collect();
        match resolve(&text, "f", &CatalogueOnly) {
            Ok(resolved) => prop_assert!(!resolved.scene.pixels.is_empty()),
            Err(all) => {
                prop_assert!(!all.is_empty());
                prop_assert!(in_words(&all).contains("error"));
            }
        }
    }

    /// Numbers in any spelling are taken or refused by their value.
    #[test]
    fn numbers_by_value(pitch in prop::num::f64::ANY) {
        let text = format!("pixels: [strip: {{pitch_mm: {pitch:e}, count: 2}}]\nstack: []\n");
        let expected = pitch.is_finite() && (0.1..=1000.0).contains(&pitch);
        prop_assert_eq!(resolve(&text, "f", &CatalogueOnly).is_ok(), expected, "{}", pitch);
    }

    /// Any text at all is read or refused; it never panics.
    #[test]
    fn any_text_never_panics(text in "\\PC{0,200}") {
        if let Err(all) = resolve(&text, "f", &CatalogueOnly) {
            prop_assert!(!all.is_empty());
        }
    }
}
