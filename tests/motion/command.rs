//! `weftlight motion` and `preview --at-s` as their user meets them.

use assert_cmd::Command;
use image::AnimationDecoder;
use std::path::Path;

const SCENE: &str = "name: Sash\npixels: [strip: {pitch_mm: 16, count: 8, colour: \"#ff8030\"}]\nstack: [{gap_mm: 6, cloth: felt-wool-ivory}]\n\
                     light: {level: 0.5, pattern: {pulse: {period_s: 2, depth: 0.8}, frames_per_s: 10}}\nview: {size_px: [160, 64]}\n\
                     supply: {volts: 5, max_ma: 100, wire_mm: 300}\n";

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("s.yaml"), SCENE).expect("written");
    folder
}

/// Exit code, standard output, standard error.
fn run(folder: &Path, arguments: &[&str]) -> (Option<i32>, Vec<u8>, String) {
    let mut command = Command::cargo_bin("weftlight").expect("built");
    let done = command.args(arguments).current_dir(folder).output().expect("run");
    (done.status.code(), done.stdout, String::from_utf8_lossy(&done.stderr).into_owned())
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("listed");
    let mut names: Vec<String> =
        entries.map(|e| e.expect("readable").file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn every_kind_of_film_is_made() {
    let folder = folder();
    let path = folder.path();
    for name in ["f.gif", "f.png", "f.y4m", "frames/"] {
        let (code, out, err) = run(path, &["motion", "s.yaml", "-o", name]);
        assert_eq!(code, Some(0), "{name}: {err}");
        let out = String::from_utf8_lossy(&out).into_owned();
        assert!(out.contains("20 frames in 2 s") && out.contains("160 by 64"), "{out}");
    }
    assert_eq!(names(path), ["f.gif", "f.png", "f.y4m", "frames", "s.yaml"], "nothing else stays behind");
    let listed = names(&path.join("frames"));
    assert_eq!(
        (listed.len(), listed[0].as_str(), listed[19].as_str()),
        (20, "frame-00000.png", "frame-00019.png")
    );
    // The animated PNG, the pictures of the folder and the first still agree code by code.
    let bytes = std::fs::read(path.join("f.png")).expect("there");
    let decoder = image::codecs::png::PngDecoder::new(std::io::Cursor::new(bytes)).expect("a PNG");
    let frames = decoder.apng().expect("animated").into_frames().collect_frames().expect("whole");
    assert_eq!(frames.len(), 20);
    for (frame, name) in frames.iter().zip(&listed) {
        let picture = image::open(path.join("frames").join(name)).expect("a picture").into_rgba8();
        assert!(picture == *frame.buffer(), "{name}");
    }
    // The glow falls to a fifth and comes back; one exposure throughout.
    let light: Vec<u64> =
        frames.iter().map(|f| f.buffer().pixels().map(|p| u64::from(p.0[0])).sum()).collect();
    assert!(light[..10].is_sorted_by(|a, b| a > b) && light[10..].is_sorted(), "{light:?}");
    // A second film of another length replaces the folder.
    let (code, _, err) = run(path, &["motion", "s.yaml", "-o", "frames/", "--seconds", "0.5"]);
    assert_eq!((code, names(&path.join("frames")).len()), (Some(0), 5), "{err}");
}

#[test]
fn a_film_goes_to_standard_output() {
    let folder = folder();
    let (code, out, err) = run(folder.path(), &["motion", "s.yaml", "-o", "-", "--frames-per-s", "5"]);
    assert_eq!(code, Some(0), "{err}");
    assert!(out.starts_with(b"YUV4MPEG2 W160 H64 F5:1 "));
    let header = out.iter().position(|b| *b == b'\n').expect("a header") + 1;
    assert_eq!(out.len() - header, 10 * (6 + 3 * 160 * 64));
    assert!(err.contains("10 frames in 2 s"), "words go to standard error: {err}");
}

#[test]
fn a_film_shows_what_the_supply_allows() {
    let folder = folder();
    let peak = |more: &[&str]| {
        let (code, out, err) =
            run(folder.path(), &[&["motion", "s.yaml", "-o", "f.png", "--json"], more].concat());
        assert_eq!(code, Some(0), "{err}");
        let said: serde_json::Value = serde_json::from_slice(&out).expect("JSON");
        (said["peak_cd_m2"].as_f64().expect("a number"), said["level_factor"].as_f64())
    };
    let (free, none) = peak(&["--room-lx", "0"]);
    let (capped, factor) = peak(&["--room-lx", "0", "--as-powered"]);
    let factor = factor.expect("a factor");
    // 8 pixels at "#ff8030" and half level draw about 8 (0.6 + 19 x 0.5 x 1.69) mA: more than the 100 mA.
    assert!(none.is_none() && factor < 1.0 && factor > 0.5, "{factor}");
    assert!((capped / free - factor).abs() < 0.02, "{capped} {free} {factor}");
}

#[test]
fn bad_calls_are_told_and_leave_nothing_behind() {
    let folder = folder();
    let path = folder.path();
    std::fs::write(
        path.join("still.yaml"),
        SCENE.replace("pattern: {pulse: {period_s: 2, depth: 0.8}, frames_per_s: 10}", "white: 0"),
    )
    .expect("written");
    std::fs::create_dir(path.join("mine")).expect("made");
    std::fs::write(path.join("mine/letter.txt"), "dear").expect("written");
    std::fs::write(path.join("old.gif"), "old").expect("written");
    let before = names(path);
    for (arguments, words) in [
        (vec!["s.yaml", "-o", "f.mov"], "does not tell what kind of film"),
        (vec!["s.yaml", "-o", "none/f.gif"], "does not exist"),
        (vec!["s.yaml", "-o", "none/frames/"], "does not exist"),
        (vec!["s.yaml", "-o", "mine/"], "other files"),
        (vec!["s.yaml", "-o", "s.yaml/"], "a file is in the way"),
        (vec!["still.yaml", "-o", "f.gif"], "has no pattern"),
        (vec!["s.yaml", "-o", "old.gif", "--frames-per-s", "60"], "at most 50"),
        (vec!["s.yaml", "-o", "f.y4m", "--seconds", "3600"], "at most 10000 frames"),
        (vec!["s.yaml", "-o", "f.gif", "--seconds", "0"], "0.02 to 3600"),
        (vec!["s.yaml", "-o", "f.gif", "--size-px", "9999,9"], "16 to 8192"),
        (vec!["none.yaml", "-o", "f.gif"], "there is no such file"),
    ] {
        let (code, out, err) = run(path, &[&["motion"], arguments.as_slice()].concat());
        assert_eq!((code, out.len()), (Some(2), 0), "{arguments:?}: {err}");
        assert!(err.contains(words), "{arguments:?}: {err}");
        assert_eq!(names(path), before, "{arguments:?}");
    }
    assert_eq!(std::fs::read(path.join("old.gif")).expect("there"), b"old");
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_device_is_an_error() {
    let folder = folder();
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").expect("a full device");
    let program = assert_cmd::cargo::cargo_bin("weftlight");
    let mut command = std::process::Command::new(program);
    let done = command
        .args(["motion", "s.yaml", "-o", "-"])
        .current_dir(folder.path())
        .stdout(full)
        .output()
        .expect("run");
    assert_eq!(done.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&done.stderr).contains("the disk is full"), "{done:?}");
}

#[test]
fn a_preview_shows_a_moment() {
    let folder = folder();
    let mean = |more: &[&str]| {
        let call = [&["preview", "s.yaml", "-o", "p.png", "--json", "--exposure-ev", "6"], more].concat();
        let (code, out, err) = run(folder.path(), &call);
        assert_eq!(code, Some(0), "{err}");
        serde_json::from_slice::<serde_json::Value>(&out).expect("JSON")["mean_cd_m2"]
            .as_f64()
            .expect("a number")
    };
    let [begin, zero, trough] = [mean(&[]), mean(&["--at-s", "0"]), mean(&["--at-s", "1"])];
    assert!(begin == zero && trough < begin, "{begin} {zero} {trough}");
    let (code, _, err) = run(folder.path(), &["preview", "s.yaml", "--at-s", "-1"]);
    assert_eq!(code, Some(2), "{err}");
}
