//! Bad input through the built program: a clear message, exit code 2, nothing that looks like data, no panic.
#![allow(clippy::disallowed_methods)]

use assert_cmd::Command;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Hostile input must be refused at once. The program needs a few milliseconds; the bound leaves room for a slow,
/// busy machine and still catches anything that grows faster than the file.
const AT_ONCE: Duration = Duration::from_secs(5);

const GOOD: &str = "pixels:\n  - point: {}\nstack: []\n";

struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Folder {
        Folder(tempfile::tempdir().expect("a folder"))
    }

    fn file(&self, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.0.path().join("scene.yaml");
        std::fs::write(&path, bytes).expect("written");
        path
    }
}

struct Said {
    code: Option<i32>,
    out: String,
    err: String,
}

/// Runs a command on the file in its folder, so that messages show its bare name.
fn run(command: &str, path: &Path, more: &[&str]) -> Said {
    let start = Instant::now();
    let output = Command::cargo_bin("weftlight")
        .expect("built")
        .current_dir(path.parent().expect("a folder"))
        .arg(command)
        .arg(path.file_name().expect("a name"))
        .args(more)
        .output()
        .expect("runs");
    assert!(start.elapsed() < AT_ONCE, "{command} took {:?}", start.elapsed());
    Said {
        code: output.status.code(),
        out: String::from_utf8(output.stdout).expect("text"),
        err: String::from_utf8(output.stderr).expect("text"),
    }
}

fn check(path: &Path, more: &[&str]) -> Said {
    run("check", path, more)
}

/// Names in the folder of a file.
fn beside(path: &Path) -> Vec<std::ffi::OsString> {
    let entries = std::fs::read_dir(path.parent().expect("a folder")).expect("listed");
    let mut names: Vec<_> = entries.map(|entry| entry.expect("readable").file_name()).collect();
    names.sort();
    names
}

/// Checks a text that must be refused; gives back the messages.
fn refused(bytes: impl AsRef<[u8]>) -> String {
    let folder = Folder::new();
    refused_by_all(&folder.file(bytes))
}

/// A scene that must be refused by every command, with the same words and without a trace in its folder.
fn refused_by_all(path: &Path) -> String {
    let before = beside(path);
    let err = refusal(check(path, &[]));
    let problems = err.rsplit_once("\n\n").map_or(err.as_str(), |(problems, _)| problems);
    for command in ["preview", "spread"] {
        let same = refusal(run(command, path, &[]));
        assert_eq!(same.trim_end(), problems.trim_end(), "{command} says the same as check");
    }
    assert_eq!(beside(path), before, "nothing written");
    err
}

fn refusal(said: Said) -> String {
    assert_eq!(said.code, Some(2), "exit code; said: {}", said.err);
    assert_eq!(said.out, "", "nothing on standard output");
    assert!(!said.err.contains("panicked"), "{}", said.err);
    assert!(!said.err.contains('\u{1b}'), "no colours into a pipe: {:?}", said.err);
    said.err
}

/// Place and text of every problem, `line:column what`, from the JSON form.
fn problems(text: &str) -> Vec<String> {
    let folder = Folder::new();
    let said = check(&folder.file(text), &["--json"]);
    assert_eq!(said.code, Some(2), "{}", said.out);
    let whole: serde_json::Value = serde_json::from_str(&said.out).expect("JSON");
    assert_eq!(whole["in_order"], false);
    assert!(whole["summary"].is_null());
    let list = whole["problems"].as_array().expect("a list");
    list.iter()
        .map(|p| format!("{}:{} {}", p["line"], p["column"], p["what"].as_str().expect("text")))
        .collect()
}

#[test]
fn many_problems_at_once_with_their_places() {
    let text = "\
name: Collar
pixls:
  - strip: {package: \"5050\"}
pixels:
  - strip: {package: \"5051\", pitch_cm: 1.667, count: 24}
  - ring: {count: 16.5, diameter_mm: -60}
  - grid: {columns: 8, rows: 8, pitch_mm: .nan, order: zig-zag}
  - path: {pitch_mm: 33, svg: wing.svg, id: edge}
stack:
  - {gap_mm: 6 mm, cloth: felt-wool-ivry}
  - gap_mm: 0
    cloth:
      name: test
      thickness_mm: 0
      optics: {bulk: {extinction_per_mm: 2.5, albedo: 1.2}}
light: {colour: #ffd9a0, level: 40}
view: {distance_m: 2}
view: {room_lx: 20}
";
    // A bare # begins a comment, so this file is not even YAML: one problem, in its place.
    let first = problems(text);
    assert_eq!(first.len(), 1, "{first:?}");
    assert!(first[0].contains("not valid YAML"), "{first:?}");
    let text = text.replace("#ffd9a0", "ffd9a0");
    assert_eq!(
        problems(&text),
        [
            "2:1 a scene has no key `pixls`",
            "5:22 there is no package `5051`",
            "5:30 a strip has no key `pitch_cm`",
            "6:19 `count` must be a whole number",
            "6:38 `diameter_mm` must not be negative",
            "7:43 `pitch_mm` is not a number",
            "7:56 there is no order `zig-zag`",
            "8:31 the drawing cannot be used",
            "10:14 `gap_mm` must be a number",
            "10:27 there is no cloth `felt-wool-ivry`",
            "14:21 `thickness_mm` is too small",
            "15:55 `albedo` is too large",
            "16:17 `colour` is not a colour",
            "16:32 `level` is too large",
            "18:1 the key `view` is given twice",
            "null:null there is no such file",
        ]
    );
}

#[test]
fn what_a_message_looks_like() {
    let text = "\
pixels:
  - strip: {pitch_cm: 1.667, count: -24}
  - grid: {columns: 8, rows: 8, pitch_mm: 10, order: zigzg}
stack: [{gap_mm: 0.6 cm, cloth: jersey}]
";
    insta::assert_snapshot!(refused(text), @r"
    error: a strip has no key `pitch_cm`
     --> scene.yaml:2:13
      |
    2 |   - strip: {pitch_cm: 1.667, count: -24}
      |             ^^^^^^^^
      |
      = allowed: package, pitch_mm, count, start_mm, direction_deg, colour, colours, level, levels, white, gap_mm
      = next: Did you mean `pitch_mm`?

    error: `count` must not be negative
     --> scene.yaml:2:37
      |
    2 |   - strip: {pitch_cm: 1.667, count: -24}
      |                                     ^^^ found -24
      |
      = allowed: 1 to 100000

    error: there is no order `zigzg`
     --> scene.yaml:3:54
      |
    3 |   - grid: {columns: 8, rows: 8, pitch_mm: 10, order: zigzg}
      |                                                      ^^^^^ found zigzg
      |
      = allowed: zigzag, same_way
      = next: Did you mean `zigzag`?

    error: `gap_mm` must be a number
     --> scene.yaml:4:18
      |
    4 | stack: [{gap_mm: 0.6 cm, cloth: jersey}]
      |                  ^^^^^^ found 0.6 cm
      |
      = allowed: 0 to 500 mm
      = next: Write the bare number in mm: 6

    scene.yaml cannot be used.
    ");
}

#[test]
fn keys() {
    let err = refused(GOOD.to_owned() + "colour: red\n");
    assert!(err.contains("a scene has no key `colour`"), "{err}");
    assert!(err.contains("allowed: name, board, pixels, stack, light, view"), "{err}");
    let err = refused(GOOD.replace("stack", "stak"));
    assert!(err.contains("next: Did you mean `stack`?"), "{err}");
    assert!(!err.contains("needs the key"), "a misspelt key is not missing on top of that: {err}");
    let err = refused(GOOD.to_owned() + "stack: []\n");
    assert!(err.contains("the key `stack` is given twice") && err.contains("line 3 already"), "{err}");
    let err = refused(GOOD.replace("point: {}", "point: {at_mm: [0, 0], at_mm: [1, 1]}"));
    assert!(err.contains("the key `at_mm` is given twice"), "{err}");
    let err = refused(GOOD.replace("point: {}", "point: {}\n    ring: {count: 3, diameter_mm: 30}"));
    assert!(err.contains("takes exactly one key"), "{err}");
    let err = refused(GOOD.to_owned() + "<<: {name: a}\n");
    assert!(err.contains("Merge keys are not used"), "{err}");
}

#[test]
fn numbers() {
    let strip =
        |pitch: &str| refused(format!("pixels: [{{strip: {{pitch_mm: {pitch}, count: 3}}}}]\nstack: []\n"));
    for (written, what) in [
        (".nan", "`pitch_mm` is not a number"),
        ("NaN", "`pitch_mm` must be a number"),
        (".inf", "`pitch_mm` must be finite"),
        ("-.inf", "`pitch_mm` must be finite"),
        ("1e999", "`pitch_mm` must be finite"),
        ("-5", "`pitch_mm` must not be negative"),
        ("0", "`pitch_mm` is too small"),
        ("1e12", "`pitch_mm` is too large"),
        ("true", "`pitch_mm` must be a number"),
        ("[16]", "`pitch_mm` must be a number"),
        ("{}", "`pitch_mm` must be a number"),
        ("\"16\"", "Write it without quotes and with a decimal point: 16"),
        ("1.6 cm", "Write the bare number in mm: 16"),
        ("0.65in", "Write the bare number in mm: 16.51"),
    ] {
        let err = strip(written);
        assert!(err.contains(what), "{written}: {err}");
        assert!(err.contains("0.1 to 1000 mm"), "what is allowed: {err}");
    }
    let bulk = |optics: &str, thickness: &str| {
        let cloth = format!("{{name: a, thickness_mm: {thickness}, optics: {{bulk: {{{optics}}}}}}}");
        refused(format!("pixels: [point: {{}}]\nstack: [{{cloth: {cloth}}}]\n"))
    };
    for (optics, what) in [
        ("extinction_per_mm: 201, albedo: 0.9", "`extinction_per_mm` is too large"),
        ("extinction_per_mm: 2, albedo: 1.01", "`albedo` is too large"),
        ("extinction_per_mm: 2, albedo: 0.9, asymmetry: 1", "`asymmetry` is too large"),
        ("extinction_per_mm: 2, albedo: 0.9, asymmetry: -1", "`asymmetry` is too small"),
        ("extinction_per_mm: 2, albedo: 0.9, openness: 1", "`openness` is too large"),
        ("extinction_per_mm: 2", "needs one of the keys `albedo`, `albedo_by_nm`"),
        ("extinction_per_mm: 2, albedo_by_nm: {250: 0.9}", "`wavelength` is too small"),
        ("extinction_per_mm: 2, albedo_by_nm: {red: 0.9}", "`wavelength` must be a number"),
    ] {
        let err = bulk(optics, "1");
        assert!(err.contains(what), "{optics}: {err}");
    }
    assert!(bulk("extinction_per_mm: 2, albedo: 0.9", "101").contains("`thickness_mm` is too large"));
    assert!(bulk("extinction_per_mm: 6, albedo: 0.9", "90").contains("too dense to be computed"));
}

#[test]
fn absurd_sizes() {
    let err = refused("pixels: [grid: {columns: 100000, rows: 100000, pitch_mm: 0.1}]\nstack: []\n");
    assert!(err.contains("the scene has too many pixels") && err.contains("at most 100000"), "{err}");
    let err = refused("pixels: [strip: {pitch_mm: 1000, count: 99999}]\nstack: []\n");
    assert!(err.contains("a strip would be too long"), "{err}");
    let err = refused("pixels: [strip: {pitch_mm: 10, count: 100001}]\nstack: []\n");
    assert!(err.contains("`count` is too large"), "{err}");
    let err = refused(GOOD.replace("[]", &format!("[{}]", ["{cloth: organza}"; 9].join(", "))));
    assert!(err.contains("`stack` has too many entries") && err.contains("0 to 8"), "{err}");
    let err = refused(GOOD.replace("[]", "[{gap_mm: 501, cloth: organza}]"));
    assert!(err.contains("`gap_mm` is too large"), "{err}");
    let err = refused(GOOD.to_owned() + "view: {size_px: [1e9, 1e9]}\n");
    assert!(err.contains("`size_px` is too large"), "{err}");
    let err = refused(GOOD.to_owned() + "view: {margin_mm: 0}\n");
    assert!(err.contains("the picture would show too little") && err.contains("at least 1 mm"), "{err}");
}

#[test]
fn missing_cloths() {
    let err = refused(GOOD.replace("[]", "[{cloth: organzza}]"));
    assert!(err.contains("there is no cloth `organzza`"), "{err}");
    assert!(err.contains("Did you mean `organza`?"), "{err}");
    let err = refused(GOOD.replace("[]", "[{cloth: nowhere/own.yaml}]"));
    assert!(err.contains("the cloth file cannot be used"), "{err}");
    assert!(err.contains("nowhere/own.yaml") && err.contains("there is no such file"), "{err}");
}

#[test]
fn a_faulty_cloth_file_shows_its_own_lines() {
    let folder = Folder::new();
    let own = folder.0.path().join("own.yaml");
    std::fs::write(&own, "name: own\nthickness_mm: -1\noptics: {bulk: {}}\n").expect("written");
    let scene = folder.file(GOOD.replace("[]", "[{cloth: own.yaml}, {cloth: own.yaml}]"));
    let err = refused_by_all(&scene);
    assert!(err.contains("own.yaml:2:15"), "{err}");
    assert_eq!(
        err.matches("`thickness_mm` must not be negative").count(),
        1,
        "once, though used twice: {err}"
    );
    let err = refusal(check(&own, &["--as", "cloth"]));
    assert!(err.contains("`bulk` needs the key `extinction_per_mm`"), "{err}");
}

#[test]
fn empty_things() {
    assert!(refused("").contains("the file is empty"));
    assert!(refused("# only a comment\n").contains("the file is empty"));
    assert!(refused("{}").contains("needs the key `pixels`"));
    assert!(refused("[]").contains("must be a map of keys"));
    assert!(refused("just words").contains("must be a map of keys"));
    assert!(refused("pixels: []\nstack: []\n").contains("`pixels` is empty"));
    assert!(refused("pixels:\nstack:\n").contains("`pixels` must be a list"));
    assert!(refused("pixels: [strip: ]\nstack: []\n").contains("`strip` is empty"));
}

#[test]
fn hostile_text() {
    assert!(refused("[".repeat(100_000)).contains("too deep"));
    assert!(refused("{a: ".repeat(25_000)).contains("too deep"));
    assert!(refused("- ".repeat(50_000)).contains("too deep"));
    let mut bomb = String::from("a0: &a0 [x, x, x, x, x, x, x, x, x]\n");
    for i in 1..10 {
        let before = vec![format!("*a{}", i - 1); 9].join(", ");
        bomb += &format!("a{i}: &a{i} [{before}]\n");
    }
    assert!(refused(bomb).contains("anchors"), "aliases are refused, not expanded");
    assert!(refused(" ".repeat(1 << 20) + GOOD).contains("too large"));
    assert!(
        refused(GOOD.replace("{}", &format!("{{{}: 1}}", "k".repeat(500)))).contains("a point has no key")
    );
    let long =
        format!("pixels: [grid: {{columns: 2, rows: 2, pitch_mm: 9, order: {}}}]", "z".repeat(900_000));
    assert!(refused(long).contains("there is no order"));
    // A very long key and a line of ten thousand wrong entries are quoted shortly.
    let err = refused(format!("{}: 1\n", "k".repeat(1000)));
    assert!(err.len() < 10_000, "{} bytes of message", err.len());
    let err = refused(format!("pixels: [{}x]\nstack: []\n", "x, ".repeat(900)));
    assert!(err.contains("more problems are not shown"), "{}", &err[err.len().saturating_sub(400)..]);
}

#[test]
fn bytes() {
    let err = refused(b"name: caf\xe9\npixels: [point: {}]\nstack: []\n");
    assert!(err.contains("not UTF-8") && err.contains("byte 9 (on line 1)"), "{err}");
    let units = [0xfeff_u16].into_iter().chain(GOOD.encode_utf16());
    let utf16: Vec<u8> = units.flat_map(u16::to_le_bytes).collect();
    assert!(refused(utf16).contains("UTF-16"));
    assert!(refused(GOOD.replace("[]", "[]\0")).contains("not valid YAML"));
    let err = refused("name: \"a \\e[31m red name\"\n".to_owned() + GOOD);
    assert!(err.contains("`name` holds a control character"), "{err}");
    let folder = Folder::new();
    let good = GOOD.replace("[]", "[{gap_mm: 5, cloth: organza}]");
    for text in [format!("\u{feff}{good}"), good.replace('\n', "\r\n")] {
        let path = folder.file(text);
        for (command, more) in
            [("check", &[][..]), ("preview", &["--size-px", "64,64"]), ("spread", &["--radii-mm", "1"])]
        {
            let said = run(command, &path, more);
            assert_eq!(said.code, Some(0), "a byte-order mark and other line ends");
            assert!(said.err.lines().all(|line| line.starts_with("Next, to ")), "no complaint: {}", said.err);
        }
    }
}

#[test]
fn files() {
    let folder = Folder::new();
    let err = refused_by_all(&folder.0.path().join("none.yaml"));
    assert!(err.contains("there is no such file") && err.contains("none.yaml"), "{err}");
    let inner = folder.0.path().join("inner");
    std::fs::create_dir(&inner).expect("made");
    let err = refused_by_all(&inner);
    assert!(err.contains("this is a folder, not a file"), "{err}");
}

#[cfg(unix)]
#[test]
fn a_device_is_not_read() {
    assert!(refusal(check(Path::new("/dev/zero"), &[])).contains("not an ordinary file"));
}

#[test]
fn wrong_calls() {
    let call = |arguments: &[&str]| {
        Command::cargo_bin("weftlight").expect("built").args(arguments).output().expect("runs")
    };
    for arguments in [&["check"][..], &["chekc", "a.yaml"], &["check", "a", "--as", "dress"], &[]] {
        let output = call(arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(output.stdout.is_empty() && !output.stderr.is_empty(), "{arguments:?}");
    }
    assert_eq!(call(&["--help"]).status.code(), Some(0));
}

#[test]
fn warnings_end_with_one() {
    let folder = Folder::new();
    let said = check(&folder.file("pixels: [strip: {pitch_mm: 4, count: 3}]\nstack: []\n"), &[]);
    assert_eq!(said.code, Some(1));
    assert!(said.err.contains("warning: the pixels do not fit side by side"), "{}", said.err);
    assert!(said.out.contains("3 pixels of package 5050"), "{}", said.out);
    let dark = GOOD.replace("point: {}", "strip: {pitch_mm: 10, count: 1, level: 0}");
    let said = check(&folder.file(dark), &[]);
    assert_eq!(said.code, Some(1));
    assert!(said.err.contains("every pixel is dark"), "{}", said.err);
}
