//! Where results are written: whole or not at all, never over what was read, never when something is wrong.

use super::{Folder, Picture, demo};
use std::time::{Duration, Instant};

/// A small picture.
const SMALL: [&str; 2] = ["--size-px", "96,48"];

fn collar() -> Folder {
    let folder = Folder::new();
    folder.write("collar.yaml", demo("collar"));
    folder
}

/// Places at which nothing can be written, with what is said about them.
fn impossible(folder: &Folder) -> Vec<(&'static str, &'static str)> {
    std::fs::create_dir_all(folder.path("a-folder")).expect("made");
    let mut places = vec![
        ("nowhere/a.out", "the folder `nowhere` does not exist"),
        ("a-folder", "this is a folder"),
        (".", "this is a folder"),
        ("..", "this is a folder"),
        ("collar.yaml/a.out", "`collar.yaml` is a file, not a folder"),
        ("collar.yaml", "this file was read and would be written over"),
        ("./a-folder/../collar.yaml", "this file was read and would be written over"),
        ("other.yaml", "names that end in .yaml are for scenes and cloths"),
    ];
    if cfg!(target_os = "linux") {
        // A place that is closed even to the superuser.
        places.push(("/proc/a.out", "this folder takes no files"));
    }
    places
}

#[test]
fn places_where_nothing_can_be_written() {
    let folder = collar();
    for (place, what) in impossible(&folder) {
        for call in [
            &["preview", "collar.yaml", "-o", place][..],
            &["preview", "collar.yaml", "--linear", place],
            &["spread", "collar.yaml", "--csv", place],
        ] {
            // The place is tried before the work: a refusal leaves no folder `renders` behind either.
            let err = folder.refused(call);
            assert!(err.contains(what), "{call:?}: {err}");
        }
    }
    let err = folder.refused(&["preview", "collar.yaml", "-o", "a.png", "--linear", "./a.png"]);
    assert!(err.contains("two pictures would go to this file"), "{err}");
    folder.write("again/collar.yaml", demo("collar"));
    let err = folder.refused(&["preview", "collar.yaml", "again/collar.yaml"]);
    assert!(
        err.contains("two pictures would go to this file") && err.contains("renders/collar.png"),
        "{err}"
    );
}

#[cfg(unix)]
#[test]
fn pipes_and_devices_are_left_alone() {
    let folder = collar();
    let _socket = std::os::unix::net::UnixListener::bind(folder.path("socket")).expect("a socket");
    let err = folder.refused(&["preview", "collar.yaml", "-o", "socket"]);
    assert!(err.contains("this is not an ordinary file"), "{err}");
    for command in ["preview", "spread", "check"] {
        let err = folder.refused(&[command, "/dev/zero"]);
        assert!(err.contains("this is not an ordinary file"), "never read to its end: {err}");
    }
}

#[test]
fn a_file_in_the_way_of_the_folder() {
    let folder = collar();
    folder.write("renders", "mine");
    let err = folder.refused(&["preview", "collar.yaml"]);
    assert!(err.contains("a file is in the way"), "{err}");
    assert_eq!(folder.read("renders"), b"mine");
}

#[test]
fn a_failed_call_leaves_the_former_picture() {
    let folder = collar();
    folder.write("renders/collar.png", "former");
    folder.write("faulty.yaml", "pixels: [point: {}]\nstack: [{cloth: none}]\n");
    folder.refused(&["preview", "collar.yaml", "faulty.yaml"]);
    folder.refused(&["preview", "collar.yaml", "missing.yaml"]);
    folder.refused(&["preview", "faulty.yaml", "-o", "renders/collar.png"]);
    folder.refused(&["preview", "collar.yaml", "--linear", "nowhere/l.png"]);
    folder.refused(&["preview", "collar.yaml", "--gap-mm", "-1"]);
    assert_eq!(folder.read("renders/collar.png"), b"former");
    folder.fine(&[&["preview", "collar.yaml"][..], &SMALL].concat());
    assert_eq!(Picture::of(&folder.read("renders/collar.png")).info.width, 96, "and a good call replaces it");
}

#[test]
fn warnings_do_not_stop_a_picture() {
    let folder = Folder::new();
    folder.write(
        "tight.yaml",
        "pixels: [strip: {pitch_mm: 4, count: 3}]\nstack: [{gap_mm: 5, cloth: jersey}]\n",
    );
    for call in [&["preview", "tight.yaml", "-o", "a.png"][..], &["spread", "tight.yaml", "--csv", "a.csv"]] {
        let said = folder.run(call);
        assert_eq!(said.code, Some(0), "{}", said.err);
        assert!(said.err.contains("warning: the pixels do not fit side by side"), "{}", said.err);
    }
    assert_eq!(folder.names(), ["a.csv", "a.png", "tight.yaml"]);
}

/// Stopped at any moment, the program leaves the old picture or the whole new one.
#[test]
fn killed_at_any_moment() {
    let folder = collar();
    let call = ["preview", "collar.yaml", "-o", "a.png", "--size-px", "600,150"];
    let start = Instant::now();
    folder.fine(&call);
    let whole_run = start.elapsed();
    let new = folder.read("a.png");
    let old = b"the former picture".to_vec();
    // A linear congruential generator (Knuth, MMIX), so that the moments are spread out and the same in each run.
    let mut state: u64 = 2026;
    let (mut stopped, mut finished) = (0, 0);
    for _ in 0..20 {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let share = (state >> 40) as f64 / (1u64 << 24) as f64;
        folder.write("a.png", &old);
        let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin("weftlight"))
            .args(call)
            .current_dir(folder.path("."))
            .stdout(std::process::Stdio::null())
            .spawn()
            .expect("runs");
        std::thread::sleep(Duration::from_secs_f64(1.3 * share * whole_run.as_secs_f64()));
        let _ = child.kill(); // SIGKILL; an error only says that it has ended already.
        child.wait().expect("ended");
        let now = folder.read("a.png");
        assert!(now == old || now == new, "{} bytes that are neither the old picture nor the new", now.len());
        if now == old { stopped += 1 } else { finished += 1 }
    }
    // Usually about 13 of 20 are stopped before the picture is in its place.
    assert!(stopped > 0, "at least one was stopped in its work; {finished} had finished");
}

#[test]
fn nothing_that_a_scene_names_is_written_over() {
    let folder = Folder::new();
    folder.write("wing.yaml", demo("wing"));
    folder.write("wing.svg", std::fs::read("scenes/wing.svg").expect("a drawing"));
    for call in [
        &["standoff", "wing.yaml", "-o", "wing.svg"][..],
        &["standoff", "wing.yaml", "--csv", "wing.svg"],
        &["pick", "wing.yaml", "-o", "wing.svg"],
        &["pick", "wing.yaml", "--csv", "wing.svg"],
        &["compare", "wing.yaml", "--csv", "wing.svg"],
        &["spread", "wing.yaml", "--csv", "wing.svg"],
        &["check", "wing.yaml", "--pixels", "wing.svg"],
        &["make", "wing.yaml", "-o", "made", "--csv", "wing.svg"],
    ] {
        let err = folder.refused(call);
        assert!(err.contains("was read and would be written over"), "{call:?}: {err}");
    }
}

#[test]
fn no_file_is_written_twice() {
    let folder = Folder::new();
    folder.write("collar.yaml", demo("collar"));
    for call in [
        &["standoff", "collar.yaml", "-o", "a.svg", "--csv", "a.svg"][..],
        &["pick", "collar.yaml", "-o", "a.svg", "--csv", "./a.svg"],
        &["pick", "collar.yaml", "-o", "a.svg", "-o", "a.svg"],
        &["compare", "collar.yaml", "-o", "a.png", "--csv", "a.png"],
        &["spread", "--self-check=holes", "-o", "a.svg", "--csv", "a.svg"],
    ] {
        let err = folder.refused(call);
        assert!(err.contains("written twice"), "{call:?}: {err}");
    }
}
