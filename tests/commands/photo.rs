//! `weftlight cloth calibrate` and `cloth compare-photo`: the photo guide's commands with its example photographs, and bad input as a
//! user meets it.

use super::{Folder, Picture, number};
use image::{ImageFormat, Rgb, RgbImage};
use std::io::Cursor;
use std::path::Path;
use weftlight::cloth::file::resolve;

const GUIDE: &str = include_str!("../../fabrics/photo-guide.md");

/// The example photographs in a folder, where the guide's commands look for them.
pub(super) fn with_examples() -> Folder {
    let folder = Folder::new();
    for name in ["4mm", "6.5mm", "10mm", "bare"].map(|name| format!("fabrics/photos/made-up-felt-{name}.jpg"))
    {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join(&name);
        folder.write(&name, std::fs::read(from).expect("an example photograph"));
    }
    folder
}

/// The guide's commands, each as its words without the program's name.
fn guides_commands() -> Vec<Vec<String>> {
    let blocks = GUIDE.split("```sh\n").skip(1).map(|rest| rest.split("```").next().expect("a block"));
    let commands = blocks.flat_map(|block| block.replace("\\\n", " ").lines().map(words).collect::<Vec<_>>());
    let mut commands: Vec<Vec<String>> = commands.filter(|words| !words.is_empty()).collect();
    commands.iter_mut().for_each(|words| assert_eq!(words.remove(0), "weftlight"));
    commands
}

/// Words of a command line; double quotes hold some together.
fn words(line: &str) -> Vec<String> {
    let parts = line.split('"').enumerate();
    let of_part = |(i, part): (usize, &str)| -> Vec<String> {
        if i % 2 == 1 { vec![part.to_owned()] } else { part.split_whitespace().map(str::to_owned).collect() }
    };
    parts.flat_map(of_part).collect()
}

/// The guide's two commands: calibrate and compare.
pub(super) fn guide() -> [Vec<String>; 2] {
    let commands = guides_commands();
    <[Vec<String>; 2]>::try_from(commands).unwrap_or_else(|all| panic!("two commands: {all:?}"))
}

fn run(folder: &Folder, words: &[String], more: &[&str]) -> String {
    folder.fine(&words.iter().map(String::as_str).chain(more.iter().copied()).collect::<Vec<_>>())
}

/// The words with another value of an option; without one, both are left out.
fn but(words: &[String], option: &str, value: Option<&str>) -> Vec<String> {
    let at = words.iter().position(|word| word == option).expect("an option of the command");
    let put = value.map(|value| [option.to_owned(), value.to_owned()]).into_iter().flatten();
    words[..at].iter().cloned().chain(put).chain(words[at + 2..].iter().cloned()).collect()
}

/// The largest difference over the peak that a comparison tells as JSON.
fn worst(folder: &Folder, compare: &[String]) -> f64 {
    let told: serde_json::Value = serde_json::from_str(&run(folder, compare, &["--json"])).expect("JSON");
    assert_eq!(told["brightness_predicted"], true);
    let profiles = told["photos"][0]["profiles"].as_array().expect("a list");
    assert_eq!(profiles.len(), 3);
    profiles.iter().map(|profile| number(profile, "worst_over_peak")).fold(0.0, f64::max)
}

/// Mean difference of 8-bit codes between the report and the committed one, as in tests/gallery.rs: a digit of its words, from another
/// processor's last places, is 0.01.
const REPORT_AS_COMMITTED: f64 = 0.1;

/// What the project asks of a prediction at a stand-off that was not fitted, over the peak.
const PREDICTED_WITHIN: f64 = 0.05;

#[test]
fn the_guides_commands_give_a_cloth_and_its_proof() {
    let folder = with_examples();
    let [calibrate, compare] = guide();
    let before = folder.names();
    let out = run(&folder, &calibrate, &[]);
    let new: Vec<String> = folder.names().into_iter().filter(|name| !before.contains(name)).collect();
    assert_eq!(new, ["lantern-felt.png", "lantern-felt.yaml"]);
    for word in [
        "Reduced optical thickness in green: ",
        "Light kept ",
        "Holes: none found",
        "Wrote lantern-felt.yaml",
        "Report: lantern-felt.png",
    ] {
        assert!(out.contains(word), "{word}: {out}");
    }
    let text = String::from_utf8(folder.read("lantern-felt.yaml")).expect("text");
    let cloth = resolve(&text, "f").unwrap_or_else(|all| panic!("{text}: {all:?}"));
    assert!(cloth.source.contains("photographs") && cloth.source.contains("bare pixel"), "{}", cloth.source);
    let shown = folder.json(&["cloth", "show", "lantern-felt.yaml", "-o", "shown.png", "--json"]);
    assert!((number(&shown, "extinction_per_mm") / cloth.extinction.0 - 1.0).abs() < 1e-12, "{shown:#}");
    let report = Picture::of(&folder.read("lantern-felt.png"));
    let committed = Path::new(env!("CARGO_MANIFEST_DIR")).join("renders/cloth-calibrate.png");
    let committed = Picture::of(&std::fs::read(committed).expect("the committed report"));
    let size = |picture: &Picture| [picture.info.width, picture.info.height];
    assert_eq!(size(&report), size(&committed), "the committed report has another size; see .ci/gallery");
    let pairs = report.rgb.iter().zip(&committed.rgb);
    let mean = pairs.map(|(a, b)| f64::from(a.abs_diff(*b))).sum::<f64>() / report.rgb.len() as f64;
    assert!(mean < REPORT_AS_COMMITTED, "codes of the committed report differ by {mean:.3}; see .ci/gallery");
    // What the guide quotes is what the program says.
    let range = out.split("in green: ").nth(1).and_then(|rest| rest.split(')').next()).expect("a range");
    assert!(GUIDE.contains(&format!("{range})")), "the guide quotes another range than {range})");

    let out = run(&folder, &compare, &[]).replace('\n', " ");
    let told =
        out.split("differ by ").nth(1).and_then(|rest| rest.split(" of").next()).expect("a difference");
    assert!(GUIDE.contains(&format!("here {told}")), "the guide quotes another difference than {told}");
    let right = worst(&folder, &compare);
    assert!(right < PREDICTED_WITHIN, "{right}");
    // A wrong stand-off shows: the test would see a prediction that is off.
    let wrong = worst(&folder, &but(&compare, "--stand-off-mm", Some("4.5")));
    assert!(wrong > PREDICTED_WITHIN, "{wrong}");
}

#[test]
fn the_guides_pictures_are_there_and_can_be_drawn() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fabrics");
    let links: Vec<&str> =
        GUIDE.split("](").skip(1).map(|rest| rest.split(')').next().expect("the link's end")).collect();
    assert!(links.len() > 5, "{links:?}");
    for link in links {
        let path = folder.join(link);
        assert!(path.exists(), "{link}");
        if link.ends_with(".svg") {
            let svg = std::fs::read_to_string(path).expect("text");
            for part in ["<title>", "<desc>", "font-family=\"DejaVu Sans, sans-serif\""] {
                assert!(svg.contains(part), "{link}: {part}");
            }
            let drawn = weftlight::picture::chart::svg_to_png(&svg, 1.0);
            assert!(drawn.is_ok(), "{link}: {:?}", drawn.err());
        }
    }
}

/// Light kept as photons found it for the invented cloth, mean of the three gaps (tests/reference/photo_spots/runs.csv).
fn light_kept_by_photons() -> [f64; 3] {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/photo_spots/runs.csv");
    let text = std::fs::read_to_string(path).expect("a table");
    ["red", "green", "blue"].map(|colour| {
        let rows = text.lines().map(|row| row.split(',').collect::<Vec<_>>());
        let own = rows.filter(|row| row.len() > 7 && row[0] == "wool-felt-1" && row[2] == colour);
        let kept =
            own.map(|row| [5, 7].map(|i| row[i].parse::<f64>().expect("a number")).iter().sum::<f64>());
        let all: Vec<f64> = kept.collect();
        assert_eq!(all.len(), 3);
        all.iter().sum::<f64>() / 3.0
    })
}

#[test]
fn the_ranges_hold_what_the_photographs_were_made_from() {
    let folder = with_examples();
    let before = folder.names();
    let words = but(&but(&guide()[0], "-o", None), "--report", None);
    let told: serde_json::Value = serde_json::from_str(&run(&folder, &words, &["--json"])).expect("JSON");
    assert_eq!(folder.names(), before, "nothing is written unasked");
    // tests/photo/cloths.rs, wool-felt-1: extinction times thickness times (1 - albedo x asymmetry).
    let reduced = [0.9990, 0.9976, 0.9930].map(|albedo: f64| 9.7 * 1.05 * (1.0 - 0.77 * albedo));
    let kept = light_kept_by_photons();
    for (c, colour) in ["red", "green", "blue"].into_iter().enumerate() {
        for (key, truth) in [("reduced_optical_thickness", reduced[c]), ("light_kept", kept[c])] {
            let found = &told[key][colour];
            let [low, high] = ["low", "high"].map(|end| number(found, end));
            assert!(low <= truth && truth <= high, "{key} in {colour}: {truth} {found}");
        }
    }
    assert_eq!(told["interval"], "90 of 100");
}

#[test]
fn without_the_bare_pixel_brightness_is_said_to_be_a_guess() {
    let folder = with_examples();
    let near = "fabrics/photos/made-up-felt-4mm.jpg";
    let mut words = vec!["cloth", "calibrate", near, "--stand-off-mm", "4", "--thickness-mm", "1.05"];
    words.extend(["--scale-from", "113,469,713,468", "--scale-mm", "60"]);
    let said = folder.run(&words);
    assert_eq!(said.code, Some(0), "{}", said.err);
    assert!(resolve(&said.out, "f").is_ok(), "{}", said.out);
    assert!(said.err.contains("Light kept: not known"), "{}", said.err);
    assert!(said.err.replace('\n', " ").contains("A further photograph"), "{}", said.err);
}

/// A small photograph of round spots at these places: half as bright 12 px from their middles.
fn spots(places: &[[f64; 2]]) -> Vec<u8> {
    let picture = RgbImage::from_fn(240, 180, |x, y| {
        let light = places.iter().map(|p| {
            let squared = (f64::from(x) - p[0]).powi(2) + (f64::from(y) - p[1]).powi(2);
            0.7 / (1.0 + squared / 500.0).powi(3)
        });
        let coded = 1.055 * (0.003 + light.sum::<f64>()).powf(1.0 / 2.4) - 0.055;
        Rgb([(255.0 * coded).round() as u8; 3])
    });
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Jpeg).expect("a JPEG");
    bytes.into_inner()
}

/// What every command below says besides.
const TAKEN: [&str; 4] = ["--stand-off-mm", "4", "--thickness-mm", "1"];

fn refused(folder: &Folder, photo: &str, more: &[&str]) -> String {
    let mut words = vec!["cloth", "calibrate", photo];
    words.extend(TAKEN);
    words.extend(more);
    folder.refused(&words)
}

#[test]
fn files_that_are_no_photographs_are_refused_with_advice() {
    let folder = Folder::new();
    let photo = spots(&[[120.0, 90.0]]);
    folder.write("notes.jpg", "stand-off 4 mm, thickness 1 mm\n");
    // The first bytes of a HEIC file: its type box (ISO 14496-12, from memory).
    let mut heic = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic".to_vec();
    heic.resize(4096, 0);
    folder.write("telephone.jpg", heic);
    folder.write("half.jpg", &photo[..photo.len() / 2]);
    folder.write("empty.jpg", "");
    folder.write("folder/inside.txt", "");
    let cases = [
        ("missing.jpg", ["missing.jpg", "no such file"]),
        ("notes.jpg", ["notes.jpg", "a JPEG, PNG or TIFF photograph is needed"]),
        ("telephone.jpg", ["telephone.jpg", "convert it to JPEG or PNG first"]),
        ("half.jpg", ["half.jpg", "copy it from the camera again"]),
        ("empty.jpg", ["empty.jpg", "empty"]),
        ("folder", ["folder", "not a"]),
    ];
    for (photo, wanted) in cases {
        let message =
            refused(&folder, photo, &["--mm-per-px", "0.1", "-o", "new.yaml", "--report", "new.png"]);
        for word in wanted {
            assert!(message.contains(word), "{photo}: {word}: {message}");
        }
    }
}

#[test]
fn options_that_do_not_fit_are_refused_with_advice() {
    let folder = Folder::new();
    folder.write("one.jpg", spots(&[[120.0, 90.0]]));
    folder.write("two.jpg", spots(&[[60.0, 90.0], [180.0, 90.0]]));
    folder.write("mine.yaml", "mine");
    let scale = ["--mm-per-px", "0.2"];
    let cases: [(&str, &[&str], &[&str]); 8] = [
        ("one.jpg", &[], &["how large things are in the photo is not known", "--mm-per-px", "--scale-from"]),
        ("one.jpg", &["--scale-from", "1,2,3"], &["--scale-from", "four numbers"]),
        ("one.jpg", &["--scale-from", "10,10,15,10", "--scale-mm", "50"], &["5 pixels apart", "far apart"]),
        (
            "one.jpg",
            &["--scale-from", "10,10,500,10", "--scale-mm", "50"],
            &["outside the picture of 240 by 180"],
        ),
        ("two.jpg", &scale, &["two.jpg", "2 bright spots instead of 1", "--pixels", "(60, 90)"]),
        (
            "one.jpg",
            &[scale[0], scale[1], "--report", "report.jpeg"],
            &["report.jpeg", ".png", ".svg", ".pdf"],
        ),
        ("one.jpg", &[scale[0], scale[1], "-o", "mine.yaml"], &["mine.yaml", "there already", "--replace"]),
        ("one.jpg", &[scale[0], scale[1], "-o", "cloth.txt"], &["cloth.txt", ".yaml"]),
    ];
    for (photo, more, wanted) in cases {
        let message = refused(&folder, photo, more);
        for word in wanted {
            assert!(message.contains(word), "{more:?}: {word}: {message}");
        }
    }
    assert_eq!(folder.read("mine.yaml"), b"mine");
}

#[test]
fn numbers_for_another_count_of_photos_are_refused() {
    let folder = Folder::new();
    folder.write("one.jpg", spots(&[[120.0, 90.0]]));
    let start =
        ["cloth", "calibrate", "one.jpg", "one.jpg", "one.jpg", "--mm-per-px", "0.2", "--thickness-mm", "1"];
    let with = |more: &[&'static str]| -> Vec<&str> { start.iter().chain(more).copied().collect() };
    let message = folder.refused(&with(&["--stand-off-mm", "4,10"]));
    assert!(message.contains("--stand-off-mm has 2 values for 3 photos"), "{message}");
    assert!(message.contains("one value for all, or one for each photo in their order"), "{message}");
    for more in [["--lit", "red,green"], ["--exposure", "1/30,1/15"]] {
        let message = folder.refused(&with(&["--stand-off-mm", "4", more[0], more[1]]));
        assert!(message.contains(&format!("{} has 2 values for 3 photos", more[0])), "{message}");
    }
    let message =
        folder.refused(&with(&["--stand-off-mm", "4", "--bare", "one.jpg", "--bare-exposure", "1/2000"]));
    assert!(message.contains("its exposure is known, but not that of the photo with cloth"), "{message}");
}

#[test]
fn a_comparison_needs_a_cloth_and_a_photo() {
    let folder = Folder::new();
    folder.write("one.jpg", spots(&[[120.0, 90.0]]));
    let with = |cloth: &'static str, photo: &'static str| {
        [
            "cloth",
            "compare-photo",
            cloth,
            photo,
            "--stand-off-mm",
            "4",
            "--mm-per-px",
            "0.2",
            "--report",
            "r.svg",
        ]
    };
    assert!(folder.refused(&with("felt-wol-ivory", "one.jpg")).contains("felt-wool-ivory"));
    assert!(folder.refused(&with("mine.yaml", "one.jpg")).contains("mine.yaml"));
    assert!(folder.refused(&with("felt-wool-ivory", "none.jpg")).contains("none.jpg"));
    let out = folder.fine(&with("felt-wool-ivory", "one.jpg")).replace('\n', " ");
    assert!(out.contains("only the shape of the spot was predicted"), "{out}");
    assert_eq!(folder.names(), ["one.jpg", "r.svg"]);
}
