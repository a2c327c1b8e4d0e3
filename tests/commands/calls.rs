//! How the program is called: help, versions, wrong options and numbers.

use super::{Folder, demo};

#[test]
fn help_names_every_option() {
    let folder = Folder::new();
    let help = |command: &[&str], options: &[&str]| {
        let out = folder.fine(&[command, &["--help"]].concat());
        for option in options {
            assert!(out.contains(option), "{command:?} {option}: {out}");
        }
    };
    help(&[], &["preview", "compare", "standoff", "pick", "spread", "cloth", "check", "--version"]);
    let preview = [
        "<SCENE>",
        "--output",
        "--linear",
        "--exposure-ev",
        "--size-px",
        "--distance-m",
        "--room-lx",
        "--gap-mm",
        "--json",
    ];
    help(&["preview"], &preview);
    let compare = [
        "<SCENE>",
        "--cloth",
        "--with-layers",
        "--gap-mm",
        "--replace-all",
        "--sort",
        "--at-least-light",
        "--no-dots-at-m",
        "--at-most-mm",
        "--output",
        "--csv",
        "--json",
        "--exposure-ev",
        "--distance-m",
        "--room-lx",
    ];
    help(&["compare"], &compare);
    let spread = [
        "[SCENE]",
        "--nm",
        "--radii-mm",
        "--method",
        "photons",
        "--photons",
        "--seed",
        "--csv",
        "--json",
        "--self-check",
        "--output",
    ];
    help(&["spread"], &spread);
    let standoff = [
        "<SCENE>",
        "--want",
        "--pitch-mm",
        "--gap-mm",
        "--output",
        "--csv",
        "--json",
        "--exposure-ev",
        "--distance-m",
        "--room-lx",
    ];
    help(&["standoff"], &standoff);
    help(&["cloth"], &["list", "show"]);
    help(&["cloth", "list"], &["--json"]);
    help(&["cloth", "show"], &["<NAME>", "--output", "--json"]);
    help(&["check"], &["--as", "--schema", "--json"]);
    let version = folder.fine(&["--version"]);
    assert_eq!(version, format!("weftlight {}\n", env!("CARGO_PKG_VERSION")));
    assert!(folder.names().is_empty());
}

#[test]
fn wrong_numbers_are_told_what_is_allowed() {
    let folder = Folder::new();
    folder.write("collar.yaml", demo("collar"));
    for (command, option, values, allowed) in [
        ("preview", "--exposure-ev", &["x", "99", "-30", "nan", ""][..], "-10 to 25 EV, or auto"),
        (
            "preview",
            "--size-px",
            &["0,10", "99999,99999", "-4,5", "100", "100,20.5", "1,2,3", "a,b"],
            "16 to 8192",
        ),
        ("preview", "--distance-m", &["-1", "0", "1e9", "nan", "two"], "0.1 to 1000 m"),
        ("preview", "--room-lx", &["-1", "inf", "1e6", "dim"], "0 to 120000 lx"),
        ("preview", "--gap-mm", &["-0.1", "501", "nan"], "0 to 500 mm"),
        ("spread", "--radii-mm", &["1,nan", "-1", "1,-2", "", "1,,2", "20000", "1;2"], "0 to 10000 mm"),
        ("spread", "--photons", &["0", "-5", "2.5", "1e12", "nan", "many"], "1 to 100000000000"),
        ("spread", "--seed", &["-1", "1.5", "x"], "0 to 18446744073709551615"),
        ("spread", "--method", &["guess"], "transport, photons"),
    ] {
        for value in values {
            let err = folder.refused(&[command, "collar.yaml", option, value]);
            assert!(err.contains(option) && err.contains(allowed), "{command} {option} {value}: {err}");
        }
    }
}

#[test]
fn wrong_calls() {
    let folder = Folder::new();
    folder.write("bare.yaml", "pixels: [point: {}]\nstack: []\n");
    for call in [&["preview"][..], &["spread"], &["cloth"], &["cloth", "show"], &["preveiw", "bare.yaml"]] {
        assert!(folder.refused(call).contains("Usage: weftlight"), "{call:?}");
    }
    assert!(folder.refused(&["preview", "bare.yaml", "--sise-px", "1,2"]).contains("'--size-px'"));
    let err = folder.refused(&["preview", "bare.yaml", "--gap-mm", "3"]);
    assert!(err.contains("no gap to set"), "an option that changes nothing is not passed over: {err}");
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_behind_standard_output_is_an_error() {
    let folder = Folder::new();
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").expect("Linux has it");
    let output = std::process::Command::new(assert_cmd::cargo::cargo_bin("weftlight"))
        .args(["cloth", "list"])
        .current_dir(folder.path("."))
        .stdout(full)
        .output()
        .expect("runs");
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("standard output cannot be written"));
}
