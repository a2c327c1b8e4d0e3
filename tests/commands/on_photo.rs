//! `weftlight preview` on a photograph: what it does, and what it says to calls and files that cannot be.

use super::{Folder, Picture, number};
use image::{ImageBuffer, ImageFormat, Rgb};
use std::io::Cursor;

/// Corners of a rectangle of 100 by 60 image pixels in a photograph of 160 by 120.
const CORNERS: &str = "30,30,130,30,130,90,30,90";

fn grey(width: u32, height: u32) -> Vec<u8> {
    let picture: ImageBuffer<Rgb<u8>, Vec<u8>> =
        ImageBuffer::from_fn(width, height, |x, y| Rgb([90 + (x % 7) as u8, 90 + (y % 5) as u8, 92]));
    let mut file = Cursor::new(Vec::new());
    picture.write_to(&mut file, ImageFormat::Png).expect("a file in memory");
    file.into_inner()
}

fn scene(view: &str) -> String {
    format!(
        "name: Two\npixels: [strip: {{package: \"5050\", pitch_mm: 40, count: 2}}]\n\
         stack: [{{gap_mm: 6, cloth: felt-wool-ivory}}]\nview: {{room_lx: 30, size_px: [160, 120]{view}}}\n"
    )
}

/// A folder with a photograph and a scene that does not name it.
fn folder() -> Folder {
    let folder = Folder::new();
    folder.write("garment.png", grey(160, 120));
    folder.write("two.yaml", scene(""));
    folder
}

#[test]
fn by_the_call_and_by_the_scene_it_is_the_same_picture() {
    let folder = folder();
    let call = ["preview", "two.yaml", "--on", "garment.png", "--corners", CORNERS, "-o", "a.png"];
    let said = folder.fine(&call);
    assert!(said.contains("The glow lies on garment.png (160 by 120 image pixels)"), "{said}");
    folder.write(
        "scenes/two.yaml",
        scene(", photo: {file: ../garment.png, corners_px: [[30, 30], [130, 30], [130, 90], [30, 90]]}"),
    );
    let told = folder.json(&["preview", "scenes/two.yaml", "-o", "b.png", "--linear", "l.png", "--json"]);
    assert_eq!(folder.read("a.png"), folder.read("b.png"));
    let on = &told["on_photo"];
    assert_eq!(on["photo_px"], serde_json::json!([160, 120]));
    assert_eq!(on["taken_as"], "cloth");
    // 40 mm between the pixels, and twice the margin of 2 (6 + 3) + 10 mm around them.
    assert!((number(on, "width_mm") - (40.0 + 2.0 * 28.0)).abs() < 1e-9);
    let cloth = number(on, "marked_cloth_cd_m2");
    assert!((cloth / number(&told, "room_lit_cloth_cd_m2") - 1.0).abs() < 1e-4, "as bright as the scene's");
    assert!(told["mm_per_px"].is_null(), "a photograph has no one scale");
    let seen = Picture::of(&folder.read("b.png"));
    assert!(seen.info.width == 160 && seen.info.pixel_dims.is_none());
    assert_eq!(Picture::of(&folder.read("l.png")).info.height, 120);
    // Left out, and made smaller.
    let flat = folder.json(&["preview", "scenes/two.yaml", "--flat", "-o", "c.png", "--json"]);
    assert!(flat["on_photo"].is_null() && flat["mm_per_px"].is_number());
    let small = folder.json(&["preview", "scenes/two.yaml", "--size-px", "80,80", "-o", "d.png", "--json"]);
    assert_eq!(small["size_px"], serde_json::json!([80, 60]));
}

#[test]
fn nine_points_for_cloth_that_bends() {
    let folder = folder();
    let points =
        "[[30, 34], [80, 30], [130, 34], [30, 64], [80, 60], [130, 64], [30, 94], [80, 90], [130, 94]]";
    let view = |points: &str| {
        scene(&format!(", photo: {{file: garment.png, points_px: {points}, columns: 3, rows: 3}}"))
    };
    folder.write("bent.yaml", view(points));
    let told = folder.json(&["preview", "bent.yaml", "-o", "bent.png", "--json"]);
    // The corners lie on a rectangle; the middle column is 4 higher.
    assert!((number(&told["on_photo"], "bent_by_px") - 4.0).abs() < 1e-9);
    folder.write("folded.yaml", view(&points.replace("[80, 60]", "[10, 60]")));
    let err = folder.refused(&["preview", "folded.yaml", "-o", "folded.png"]);
    assert!(err.contains("folds over itself") && err.contains("folded.yaml:4"), "{err}");
    folder.write("short.yaml", view(points).replace("rows: 3", "rows: 4"));
    let err = folder.refused(&["preview", "short.yaml", "-o", "short.png"]);
    assert!(err.contains("needs 12 points, 9 are given"), "{err}");
    folder.write("open.yaml", view(points).replace(", columns: 3, rows: 3", ""));
    let err = folder.refused(&["preview", "open.yaml", "-o", "open.png"]);
    assert!(err.contains("needs `columns` and `rows`"), "{err}");
}

#[test]
fn marks_that_cannot_be_are_told() {
    let folder = folder();
    for (corners, words) in [
        ("30,30,130,90,130,30,30,90", "cross"),
        ("30,30,30,90,130,90,130,30", "anticlockwise"),
        ("30,30,30,30,130,90,30,90", "corners 1 and 2 lie in the same place"),
        ("30,30,80,30,130,30,30,90", "on a line"),
        ("30,30,130,30,50,40,30,90", "corner 3 lies inside"),
        ("30,30,230,30,130,90,30,90", "[230, 30] lies outside the picture of 160 by 120"),
        ("30,30,130,30", "eight numbers are needed, 4 are given"),
        ("30,30,130,30,130,90,30,x", "--corners"),
        ("-30,30,130,30,130,90,30,90", "allowed: -0.5 to"),
    ] {
        let err = folder.refused(&[
            "preview",
            "two.yaml",
            "--on",
            "garment.png",
            "--corners",
            corners,
            "-o",
            "a.png",
        ]);
        assert!(err.contains(words), "{corners}: {err}");
    }
    for (option, value) in [("--width-mm", "-3"), ("--height-mm", "0"), ("--width-mm", "nan")] {
        let call = [
            "preview",
            "two.yaml",
            "--on",
            "garment.png",
            "--corners",
            CORNERS,
            option,
            value,
            "-o",
            "a.png",
        ];
        assert!(folder.refused(&call).contains("allowed: 1 to 10000 mm"), "{option} {value}");
    }
    let err = folder.refused(&["preview", "two.yaml", "--on", "garment.png", "-o", "a.png"]);
    assert!(err.contains("nothing says where") && err.contains("--corners"), "{err}");
    let err = folder.refused(&["preview", "two.yaml", "--corners", CORNERS, "-o", "a.png"]);
    assert!(err.contains("there is no photograph") && err.contains("--on"), "{err}");
    folder.write(
        "ev.yaml",
        scene(", photo: {file: garment.png, exposure_ev: 8, corners_px: [[30, 30], [130, 30], [130, 90], [30, 90]]}"),
    );
    let err = folder.refused(&["preview", "ev.yaml", "-o", "a.png"]);
    assert!(err.contains("needs its `room_lx`"), "{err}");
}

#[test]
fn files_that_are_no_photograph_are_told_and_none_is_written_over() {
    let folder = folder();
    folder.write("a.heic", b"\0\0\0\x18ftypheic\0\0\0\0mif1heic");
    folder.write("words.jpg", "no picture at all");
    folder.write("cut.png", &grey(160, 120)[..400]);
    folder.write("empty.png", "");
    for (name, words) in [
        ("a.heic", "convert it to JPEG or PNG"),
        ("words.jpg", "no picture of a known kind"),
        ("cut.png", "ends before its picture does"),
        ("empty.png", "empty"),
        ("none.jpg", "there is no such file"),
    ] {
        let err = folder.refused(&["preview", "two.yaml", "--on", name, "--corners", CORNERS, "-o", "a.png"]);
        assert!(err.contains(words) && err.contains(name), "{name}: {err}");
    }
    let call = ["preview", "two.yaml", "--on", "garment.png", "--corners", CORNERS, "-o", "garment.png"];
    assert!(folder.refused(&call).contains("would be written over"));
    folder.write(
        "own.yaml",
        scene(", photo: {file: garment.png, corners_px: [[30, 30], [130, 30], [130, 90], [30, 90]]}"),
    );
    assert!(folder.refused(&["preview", "own.yaml", "-o", "garment.png"]).contains("would be written over"));
    // A photograph whose marked cloth is black says nothing about its light.
    let black: ImageBuffer<Rgb<u8>, Vec<u8>> = ImageBuffer::new(160, 120);
    let mut file = Cursor::new(Vec::new());
    black.write_to(&mut file, ImageFormat::Png).expect("a file in memory");
    folder.write("black.png", file.into_inner());
    let call = ["preview", "two.yaml", "--on", "black.png", "--corners", CORNERS, "-o", "a.png"];
    assert!(folder.refused(&call).contains("is black in the photograph"));
    folder.fine(&[&call[..], &["--room-lx", "0"]].concat());
}
