//! The limits that bound time and memory, from both sides: what lies at one is taken, what lies beyond is refused with the limit in words.
#![allow(clippy::disallowed_methods, reason = "tests read and write files")]

use std::fmt::Write as _;
use std::io::Cursor;
use std::path::PathBuf;
use std::sync::Arc;
use weftlight::cloth::Cloth;
use weftlight::cloth::catalogue::{ClothSource, NamedBytes, NamedText};
use weftlight::diagnose::{Diagnostic, Ink, render};
use weftlight::files::{self, MOST_BYTES, MOST_DRAWING_BYTES};
use weftlight::motion::picture::{MOST_CODES, MOST_PICTURES, MOST_SIDE, PictureError, Placing, mapped};
use weftlight::motion::shape::{MOST_COLOURS, MOST_KEYFRAMES};
use weftlight::motion::timing::{MOST_FRAMES, Timing};
use weftlight::pixels::curve::MOST_LINES;
use weftlight::pixels::drawing::MOST_REACH_MM;
use weftlight::pixels::fill::MOST_ROWS;
use weftlight::reading::shape::MOST_TEXT;
use weftlight::scene::Pixel;
use weftlight::scene::file::{Resolved, resolve};
use weftlight::scene::shape::{MOST_CORNERS, MOST_GROUPS, MOST_LAYERS, SIZE_PX};

/// One drawing beside the scene.
struct Drawing(String);

impl ClothSource for Drawing {
    fn drawing_text(&self, path: &str) -> Result<NamedText, Vec<Diagnostic>> {
        Ok(NamedText { shown_as: path.to_owned(), text: self.0.clone() })
    }

    fn picture_bytes(&self, path: &str) -> Result<NamedBytes, Vec<Diagnostic>> {
        Err(vec![Diagnostic::of_file(path, "no pictures here")])
    }

    fn by_path(&self, path: &str) -> Result<Arc<Cloth>, Vec<Diagnostic>> {
        Err(vec![Diagnostic::of_file(path, "no cloths here")])
    }
}

fn read(text: &str, drawing: &str) -> Result<Resolved, String> {
    resolve(text, "scene.yaml", &Drawing(drawing.to_owned()))
        .map_err(|all| all.iter().map(|d| render(d, Ink::Plain) + "\n").collect())
}

/// The first text is taken; the second is refused, and both words stand in the message.
fn bounded(name: &str, taken: &str, refused: &str, words: [&str; 2]) {
    bounded_with(name, (taken, ""), (refused, ""), words);
}

fn bounded_with(name: &str, taken: (&str, &str), refused: (&str, &str), words: [&str; 2]) {
    if let Err(told) = read(taken.0, taken.1) {
        panic!("{name}: at the limit refused: {told}");
    }
    let told = read(refused.0, refused.1).expect_err(name);
    assert!(words.iter().all(|word| told.contains(word)), "{name}: {}", &told[..told.len().min(2000)]);
}

fn scene(pixels: &str) -> String {
    format!("pixels: [{pixels}]\nstack: []\n")
}

#[test]
fn groups_layers_and_texts_of_a_scene() {
    let groups = |count: usize| scene(&vec!["{point: {}}"; count].join(", "));
    let most = MOST_GROUPS.to_string();
    bounded("groups", &groups(MOST_GROUPS), &groups(MOST_GROUPS + 1), ["too many entries", &most]);
    let layers = |count: usize| {
        format!("pixels: [point: {{}}]\nstack: [{}]\n", vec!["{cloth: organza}"; count].join(", "))
    };
    let most = format!("0 to {MOST_LAYERS}");
    bounded("layers", &layers(MOST_LAYERS), &layers(MOST_LAYERS + 1), ["too many entries", &most]);
    let name = |length: usize| format!("name: {}\n{}", "n".repeat(length), scene("point: {}"));
    bounded("name", &name(MOST_TEXT), &name(MOST_TEXT + 1), ["too long", &MOST_TEXT.to_string()]);
    let size = |side: f64| format!("{}view: {{size_px: [{side}, 16]}}\n", scene("point: {}"));
    bounded("size", &size(SIZE_PX.most), &size(SIZE_PX.most + 1.0), ["too large", "8192"]);
}

#[test]
fn patterns() {
    let keyframes = |count: usize| {
        let all: Vec<String> =
            (0..count).map(|i| format!("{{at_s: {}, level: 1}}", 0.01 * i as f64)).collect();
        format!(
            "{}light: {{pattern: {{duration_s: 3000, keyframes: [{}]}}}}\n",
            scene("point: {}"),
            all.join(", ")
        )
    };
    let most = MOST_KEYFRAMES.to_string();
    bounded(
        "keyframes",
        &keyframes(MOST_KEYFRAMES),
        &keyframes(MOST_KEYFRAMES + 1),
        ["too many entries", &most],
    );
    let colours = |count: usize| {
        let all = vec!["\"#ff0000\""; count].join(", ");
        format!("{}light: {{pattern: {{gradient: {{period_s: 3, colours: [{all}]}}}}}}\n", scene("point: {}"))
    };
    bounded(
        "colours",
        &colours(MOST_COLOURS),
        &colours(MOST_COLOURS + 1),
        ["too many entries", &MOST_COLOURS.to_string()],
    );
    assert!(
        Timing::new(MOST_FRAMES as f64, 1.0).is_some()
            && Timing::new(MOST_FRAMES as f64 + 1.0, 1.0).is_none()
    );
}

#[test]
fn corners_curves_and_rows_of_drawings() {
    // A saw of so many corners, 0.1 mm apart.
    let saw = |corners: usize| {
        let all: Vec<String> = (0..corners).map(|i| format!("[{:.1}, {}]", 0.1 * i as f64, i % 2)).collect();
        scene(&format!("path: {{pitch_mm: 100, kind: wire, points_mm: [{}]}}", all.join(", ")))
    };
    bounded(
        "corners",
        &saw(MOST_CORNERS),
        &saw(MOST_CORNERS + 1),
        ["too many entries", &MOST_CORNERS.to_string()],
    );
    // The same as a drawing, which may have more.
    let path = scene("path: {pitch_mm: 100, kind: wire, svg: a.svg, id: a}");
    let drawn = |lines: usize| {
        let mut data = String::from("M0 0");
        (1..=lines).for_each(|i| write!(data, "L{:.1} {}", 0.1 * i as f64, i % 2).expect("text"));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"10mm\" height=\"10mm\" viewBox=\"0 0 10 10\"><path id=\"a\" d=\"{data}\"/></svg>"
        )
    };
    let (at, beyond) = (drawn(MOST_LINES), drawn(MOST_LINES + 1));
    bounded_with("lines", (&path, &at), (&path, &beyond), ["too many lines", &MOST_LINES.to_string()]);
    let wide = |mm: f64| {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"10mm\" height=\"10mm\" viewBox=\"0 0 10 10\"><path id=\"a\" d=\"M0 0H{mm}\"/></svg>"
        )
    };
    let (at, beyond) = (wide(MOST_REACH_MM), wide(MOST_REACH_MM + 1.0));
    bounded_with("reach", (&path, &at), (&path, &beyond), ["reaches", &MOST_REACH_MM.to_string()]);
    // Rows of 1 mm in a narrow piece as high as they come.
    let filled = |rows: f64| {
        scene(&format!(
            "fill: {{package: \"2020\", pitch_mm: 30, rows_mm: 1, points_mm: [[0, 0], [20, 0], [20, {rows}], [0, {rows}]]}}"
        ))
    };
    // Packages of 2 mm cannot lie so near, which another rule tells; here only the number of rows counts. Both ends have one.
    let limit = format!("rows, at most {MOST_ROWS}");
    let told = |high: f64| read(&filled(high), "").err().unwrap_or_default();
    let highest = (MOST_ROWS - 1) as f64;
    assert!(!told(highest).contains(&limit), "{}", told(highest));
    assert!(told(highest + 1.0).contains(&limit), "{}", told(highest + 1.0));
}

#[test]
fn files_by_their_size() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("limits");
    std::fs::create_dir_all(&folder).expect("a folder");
    let file = folder.join("large");
    let written = |bytes: u64| std::fs::write(&file, vec![b' '; bytes as usize]).expect("written");
    let words = |all: Vec<Diagnostic>| all.iter().map(|d| render(d, Ink::Plain)).collect::<String>();
    written(MOST_BYTES);
    assert_eq!(files::read_text(&file).map(|text| text.len() as u64), Ok(MOST_BYTES));
    written(MOST_BYTES + 1);
    let told = words(files::read_text(&file).expect_err("too large"));
    assert!(told.contains("too large") && told.contains(&MOST_BYTES.to_string()), "{told}");
    let beside = files::ClothsBeside::scene(&folder.join("scene.yaml"));
    written(MOST_DRAWING_BYTES);
    assert!(beside.drawing_text("large").is_ok());
    written(MOST_DRAWING_BYTES + 1);
    let told = words(beside.drawing_text("large").expect_err("too large"));
    assert!(told.contains("too large") && told.contains(&MOST_DRAWING_BYTES.to_string()), "{told}");
    assert!(files::read_bytes(&file, MOST_DRAWING_BYTES).is_err());
    std::fs::remove_file(&file).expect("removed");
}

fn pixels(count: usize) -> Vec<Pixel> {
    let text = scene(&format!(
        "grid: {{package: \"2020\", pitch_mm: 5, columns: {}, rows: {}}}",
        count.div_ceil(100),
        count.min(100)
    ));
    read(&text, "").unwrap_or_else(|told| panic!("{told}")).scene.pixels
}

#[test]
fn pictures_of_patterns() {
    let few = pixels(2);
    let png = |width: u32, height: u32| {
        let mut bytes = Vec::new();
        let picture = image::GrayImage::new(width, height);
        picture.write_to(&mut Cursor::new(&mut bytes), image::ImageFormat::Png).expect("encoded");
        bytes
    };
    assert!(mapped(&png(MOST_SIDE, 2), &few, Placing::default()).is_ok());
    assert!(matches!(
        mapped(&png(MOST_SIDE + 1, 2), &few, Placing::default()),
        Err(PictureError::Decoding(_))
    ));
    assert!(mapped(&png(2, MOST_SIDE + 1), &few, Placing::default()).is_err());
    let gif = |count: usize| {
        let mut bytes = Vec::new();
        let mut encoder = image::codecs::gif::GifEncoder::new(&mut bytes);
        let frame = image::Frame::new(image::RgbaImage::from_pixel(1, 1, image::Rgba([9, 9, 9, 255])));
        (0..count).for_each(|_| encoder.encode_frame(frame.clone()).expect("encoded"));
        drop(encoder);
        bytes
    };
    assert_eq!(
        mapped(&gif(MOST_PICTURES), &few, Placing::default()).expect("so many").codes.len(),
        MOST_PICTURES
    );
    assert!(matches!(mapped(&gif(MOST_PICTURES + 1), &few, Placing::default()), Err(PictureError::Pictures)));
    // So many pixels that the codes are too many before the pictures are.
    let many = pixels(MOST_CODES / 500);
    assert!(mapped(&gif(500), &many, Placing::default()).is_ok());
    assert!(matches!(mapped(&gif(501), &many, Placing::default()), Err(PictureError::Codes)));
}
