//! What is told to do next can be done: every command that is suggested runs as it stands there, with the user's own paths.

use super::{Folder, demo};

/// The words of a shell's command line: single quotes hold some together, and outside them a backslash stands before a sign that is
/// meant as it is.
fn words(line: &str) -> Vec<String> {
    let (mut words, mut word, mut begun, mut quoted) = (Vec::new(), String::new(), false, false);
    let mut signs = line.chars();
    while let Some(c) = signs.next() {
        match c {
            '\'' => (quoted, begun) = (!quoted, true),
            '\\' if !quoted => {
                word.extend(signs.next());
                begun = true;
            }
            ' ' if !quoted => {
                if begun {
                    words.push(std::mem::take(&mut word));
                }
                begun = false;
            }
            c => {
                word.push(c);
                begun = true;
            }
        }
    }
    assert!(!quoted, "{line}");
    if begun {
        words.push(word);
    }
    words
}

/// Runs a command; gives back the commands that it suggests, without the program's name.
fn suggested(folder: &Folder, arguments: &[String]) -> Vec<Vec<String>> {
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let said = folder.run(&arguments);
    assert_eq!(said.code, Some(0), "{arguments:?}: {}", said.err);
    assert!(!said.out.contains("Next, to"), "{arguments:?}: data alone on standard output: {}", said.out);
    let lines = said.err.lines().filter_map(|line| line.strip_prefix("Next, to "));
    lines.filter_map(|line| Some(words(line.split_once(": weftlight ")?.1))).collect()
}

fn call(words: &[&str]) -> Vec<String> {
    words.iter().map(|&word| word.to_owned()).collect()
}

/// Follows the first suggestion of each command; the names of the commands that were run, in order.
fn followed(folder: &Folder, first: &[&str]) -> Vec<String> {
    let mut run = Vec::new();
    let mut next = call(first);
    // Two commands may send one to and fro.
    while !run.contains(&next) {
        let suggested = suggested(folder, &next);
        run.push(next);
        match suggested.into_iter().next() {
            Some(command) => next = command,
            None => break,
        }
    }
    run.into_iter().map(|words| words[0].clone()).collect()
}

#[test]
fn from_a_new_scene_to_its_gap() {
    let folder = Folder::new();
    let file = "it's my scene.yaml";
    let short = ["--width-mm", "60", "--cloth", "felt-wool-ivory", "--no-questions"];
    let both = suggested(&folder, &call(&[&["new", file][..], &short].concat()));
    assert_eq!(both, [call(&["preview", file, "-o", "it's my scene.png"]), call(&["serve", file, "--open"])]);
    let run = followed(&folder, &["preview", file, "--size-px", "64,32"]);
    assert_eq!(run[..3], ["preview", "standoff", "preview"], "{run:?}");
    assert_eq!(followed(&folder, &["check", file])[..2], ["check", "preview"]);
}

#[test]
fn from_cloths_to_a_way_to_build_it() {
    let folder = Folder::new();
    folder.write(
        "cuff.yaml",
        "pixels: [strip: {pitch_mm: 10, count: 8}]\nstack: [{gap_mm: 6, cloth: muslin}]\n",
    );
    let cloths = ["--cloth", "fleece", "--cloth", "felt-wool-ivory*"];
    let run = followed(&folder, &[&["compare", "cuff.yaml"][..], &cloths].concat());
    assert_eq!(run[..3], ["compare", "pick", "compare"], "{run:?}");
}

#[test]
fn from_a_pattern_to_its_film_and_to_building() {
    let folder = Folder::new();
    let quick = demo("lantern").replace("duration_s: 10", "duration_s: 2");
    folder.write("lantern.yaml", quick.replace("frames_per_s: 20", "frames_per_s: 4"));
    let run = followed(&folder, &["preview", "lantern.yaml", "--size-px", "64,64"]);
    assert_eq!(run, ["preview", "motion", "make"]);
    let said = folder.run(&["make", "lantern.yaml"]);
    let step =
        "Next, to build it: print renders/lantern-make/sheet.pdf at 100 % and measure its check square\n";
    assert!(
        said.err.ends_with(step) && folder.path("renders/lantern-make/sheet.pdf").is_file(),
        "{}",
        said.err
    );
}

#[test]
fn from_a_list_or_a_label_to_the_cloth() {
    let folder = Folder::new();
    assert_eq!(followed(&folder, &["cloth", "list"]), ["cloth", "cloth"]);
    let label = ["--fibre", "wool", "--areal-mass-g-m2", "300", "--thickness-mm", "2", "--colour", "#eeeedd"];
    let run = followed(&folder, &[&["cloth", "estimate", "-o", "my felt.yaml"][..], &label].concat());
    assert_eq!(run, ["cloth", "cloth"]);
    assert_eq!(followed(&folder, &["check", "my felt.yaml", "--as", "cloth"]), ["check", "cloth"]);
}

#[test]
fn nothing_is_suggested_that_could_not_be_done() {
    let folder = Folder::new();
    // One pixel has no dots that could melt, and a bare scene no gap.
    for (name, scene) in [
        ("one.yaml", "pixels: [strip: {pitch_mm: 10, count: 1}]\nstack: [{gap_mm: 6, cloth: muslin}]\n"),
        ("bare.yaml", "pixels: [strip: {pitch_mm: 10, count: 3}]\nstack: []\n"),
    ] {
        folder.write(name, scene);
        assert_eq!(suggested(&folder, &call(&["preview", name, "--size-px", "32,32"])), [[""; 0]; 0]);
    }
}
