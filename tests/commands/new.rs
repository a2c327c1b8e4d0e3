//! `weftlight new`: a first scene, asked for or not, that the other commands take.

use super::{Folder, Said};
use assert_cmd::Command;

/// Runs it with these lines typed.
fn typed(folder: &Folder, arguments: &[&str], lines: &str) -> Said {
    let mut command = Command::cargo_bin("weftlight").expect("built");
    let output = command.current_dir(folder.path("")).arg("new").args(arguments).write_stdin(lines);
    let output = output.output().expect("runs");
    Said {
        code: output.status.code(),
        out: String::from_utf8(output.stdout).expect("text"),
        err: String::from_utf8(output.stderr).expect("text"),
    }
}

/// Places of the pixels of a scene, x and y in mm.
fn places(folder: &Folder, scene: &str) -> Vec<[f64; 2]> {
    folder.fine(&["check", scene, "--pixels", "places.csv"]);
    let text = String::from_utf8(folder.read("places.csv")).expect("text");
    let mut lines = text.lines();
    let heads: Vec<&str> = lines.next().expect("a head").split(',').collect();
    let column = |name: &str| heads.iter().position(|head| *head == name).expect("a column");
    let (x, y) = (column("x_mm"), column("y_mm"));
    let number = |line: &str, i: usize| line.split(',').nth(i).expect("a cell").parse().expect("a number");
    lines.map(|line| [number(line, x), number(line, y)]).collect()
}

fn extent(places: &[[f64; 2]], axis: usize) -> f64 {
    let all = || places.iter().map(|place| place[axis]);
    all().fold(f64::MIN, f64::max) - all().fold(f64::MAX, f64::min)
}

/// Places are written in thousandths of a millimetre.
const WITHIN_MM: f64 = 1e-3;

#[test]
fn without_questions_each_form_is_a_scene_of_the_asked_size() {
    let folder = Folder::new();
    // 100 mm by 50 mm at 10 mm; a ring of 100 mm diameter has 314 mm around.
    for (form, count, width) in
        [("strip", 11, 100.0), ("string", 11, 100.0), ("ring", 31, 100.0), ("grid", 66, 100.0)]
    {
        let file = format!("{form}.yaml");
        let size = ["--pitch-mm", "10", "--width-mm", "100", "--height-mm", "50", "--cloth", "muslin"];
        let call = [&["new", &file, "--no-questions", "--form", form], &size[..]].concat();
        assert_eq!(folder.fine(&call), format!("Wrote {file}.\n"));
        assert!(folder.fine(&["check", &file]).contains(&file));
        let places = places(&folder, &file);
        assert_eq!(places.len(), count, "{form}");
        // No two pixels of a ring of an odd number lie across from each other.
        let within =
            if form == "ring" { width * (1.0 - (std::f64::consts::PI / 62.0).cos()) } else { WITHIN_MM };
        assert!((extent(&places, 0) - width).abs() <= within, "{form}: {places:?}");
        assert!(form != "grid" || (extent(&places, 1) - 50.0).abs() <= WITHIN_MM, "{places:?}");
        assert!(String::from_utf8(folder.read(&file)).expect("text").contains("cloth: muslin"));
    }
}

#[test]
fn usual_answers_make_a_scene_that_can_be_drawn() {
    let folder = Folder::new();
    folder.fine(&["new", "--no-questions"]);
    folder.fine(&["preview", "scene.yaml", "--size-px", "64,32", "-o", "scene.png"]);
}

#[test]
fn typed_answers_are_taken_and_bad_ones_asked_again() {
    let folder = Folder::new();
    // Form, package, pitch, length, cloth, gap, distance, light of the room; Enter takes the usual one.
    let lines = "cube\nstrip\n\n20 mm\n-3\n20\n400\nfleec\nfleece\n7,5\n\n\n";
    let said = typed(&folder, &["asked.yaml"], lines);
    assert_eq!(said.code, Some(0), "{}", said.err);
    for words in [
        "There is no form `cube`; there are: strip",
        "`20 mm` is not a number",
        "it may be 1 to 500 mm",
        "did you mean `fleece`?",
    ] {
        assert!(said.err.contains(words), "{words}: {}", said.err);
    }
    let asked = |question: &str| said.err.matches(question).count();
    assert_eq!(asked("Form of the pixels"), 2, "{}", said.err);
    assert_eq!(asked("Distance between pixels in mm [16.67]:"), 3, "{}", said.err);
    assert_eq!(asked("Length in mm [400]:"), 1, "{}", said.err);
    assert_eq!(asked("Height"), 0, "{}", said.err);
    let text = String::from_utf8(folder.read("asked.yaml")).expect("text");
    assert!(text.contains("gap_mm: 7.5, cloth: fleece") && text.contains("pitch_mm: 20"), "{text}");
    assert_eq!(places(&folder, "asked.yaml").len(), 21);
}

#[test]
fn what_is_given_is_not_asked_and_the_end_of_input_takes_the_usual() {
    let folder = Folder::new();
    let said = typed(&folder, &["ring.yaml", "--form", "ring"], "5050\n");
    assert_eq!(said.code, Some(0), "{}", said.err);
    assert!(!said.err.contains("Form of the pixels"), "{}", said.err);
    folder.fine(&["new", "usual.yaml", "--form", "ring", "--no-questions"]);
    assert_eq!(folder.read("ring.yaml"), folder.read("usual.yaml"));
}

#[test]
fn a_file_that_is_there_is_left_alone() {
    let folder = Folder::new();
    folder.write("scene.yaml", "name: Mine # by hand\n");
    for call in [&["new"][..], &["new", "scene.yaml", "--no-questions"]] {
        assert!(folder.refused(call).contains("left alone"));
        assert_eq!(folder.read("scene.yaml"), b"name: Mine # by hand\n");
    }
}

#[test]
fn given_answers_that_cannot_be_taken_are_refused() {
    let folder = Folder::new();
    for (option, value, words) in [
        ("--form", "cube", "strip, ring, grid, string"),
        ("--package", "9999", "5050"),
        ("--cloth", "fleec", "`fleece`"),
        ("--gap-mm", "-1", "0 to 500 mm"),
        ("--pitch-mm", "wide", "not a number"),
    ] {
        let told = folder.refused(&["new", "out.yaml", "--no-questions", option, value]);
        assert!(told.contains(words), "{option} {value}: {told}");
    }
    let many = ["--form", "grid", "--pitch-mm", "1", "--width-mm", "3000", "--height-mm", "3000"];
    let call = [&["new", "out.yaml", "--no-questions"], &many[..]].concat();
    assert!(folder.refused(&call).contains("more than 5000"));
}
