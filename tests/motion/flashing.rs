//! What `motion` says of flashing, against the film that it wrote: the GIF is read by an independent decoder and its flashes are
//! counted here, by WCAG's own definitions, from the decoded codes alone.

use image::AnimationDecoder;
use std::path::Path;

/// WCAG 2.2, general flash: a pair of opposing changes of a tenth of the greatest relative luminance or more...
const CHANGE: f64 = 0.1;
/// ... where the darker state is below this.
const DARKER_BELOW: f64 = 0.8;
/// WCAG 2.2, success criterion 2.3.1: no more than three flashes in any one second.
const MOST: usize = 3;

/// A strip that fills the picture and goes on and off so often a second, for two seconds.
fn scene(per_s: f64, bright: f64, dark: f64) -> String {
    let half_s = 0.5 / per_s;
    format!(
        "name: Blink\npixels: [grid: {{pitch_mm: 10, columns: 12, rows: 8}}]\nstack: [{{gap_mm: 10, cloth: felt-craft-thin}}]\n\
         light:\n  colour: \"#ffffff\"\n  pattern:\n    keyframes:\n      - {{at_s: 0, level: {bright}, hold: true}}\n      \
         - {{at_s: {half_s}, level: {dark}, hold: true}}\n    duration_s: {}\n    frames_per_s: 25\n\
         view: {{size_px: [96, 64], distance_m: 1, room_lx: 5, margin_mm: 0}}\n",
        1.0 / per_s
    )
}

fn weftlight(folder: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let mut command = assert_cmd::Command::cargo_bin("weftlight").expect("built");
    let done = command.args(arguments).current_dir(folder).output().expect("run");
    let [out, err] = [done.stdout, done.stderr].map(|bytes| String::from_utf8_lossy(&bytes).into_owned());
    (done.status.code(), out, err)
}

/// Time of each frame in s and relative luminance of its middle (WCAG 2.2, definition of relative luminance).
fn seen(gif: &[u8]) -> Vec<(f64, f64)> {
    let frames = image::codecs::gif::GifDecoder::new(std::io::Cursor::new(gif)).expect("a GIF").into_frames();
    let linear = |code: u8| {
        let v = f64::from(code) / 255.0;
        if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    };
    let mut time_s = 0.0;
    frames
        .map(|frame| {
            let frame = frame.expect("a frame");
            let (numerator, denominator) = frame.delay().numer_denom_ms();
            let picture = frame.buffer();
            let [r, g, b, _] = picture.get_pixel(picture.width() / 2, picture.height() / 2).0;
            let luminance = 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
            let at = time_s;
            time_s += f64::from(numerator) / f64::from(denominator) / 1000.0;
            (at, luminance)
        })
        .collect()
}

/// The most flashes in any one second of the film played in a loop.
fn flashes(frames: &[(f64, f64)]) -> usize {
    let period = frames[1].0 - frames[0].0;
    let length = period * frames.len() as f64;
    let rounds = (3.0 / length).ceil() as usize;
    let all: Vec<(f64, f64)> =
        (0..rounds).flat_map(|r| frames.iter().map(move |(t, y)| (t + r as f64 * length, *y))).collect();
    // Changes between neighbouring extremes, each at the moment it is complete.
    let mut changes: Vec<(f64, bool)> = Vec::new();
    let mut extreme = all[0].1;
    for (t, y) in &all {
        let large = (y - extreme).abs() >= CHANGE && y.min(extreme) < DARKER_BELOW;
        let up = *y > extreme;
        match changes.last() {
            Some((_, last)) if *last == up => extreme = *y,
            _ if large => {
                changes.push((*t, up));
                extreme = *y;
            }
            _ => {}
        }
    }
    // Changes in a second, its end left out; two of them are a flash.
    let within =
        |from: f64| changes.iter().filter(|(t, _)| *t >= from - 1e-6 && *t < from + 1.0 - 1e-6).count();
    changes.iter().map(|(t, _)| within(*t)).max().unwrap_or(0) / 2
}

#[test]
fn the_verdict_is_that_of_the_film_as_decoded() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path();
    for (per_s, bright, dark) in [(1.0, 0.5, 0.0), (2.5, 0.5, 0.0), (5.0, 0.5, 0.0), (5.0, 0.5, 0.48)] {
        std::fs::write(path.join("s.yaml"), scene(per_s, bright, dark)).expect("written");
        let call = ["motion", "s.yaml", "-o", "f.gif", "--seconds", "2", "--json", "--strict"];
        let (code, out, err) = weftlight(path, &call);
        let told: serde_json::Value =
            serde_json::from_str(&out).unwrap_or_else(|e| panic!("{e}: {out} {err}"));
        let counted = flashes(&seen(&std::fs::read(path.join("f.gif")).expect("the film")));
        let screen = &told["flash"]["on_a_screen"];
        let most = screen["general"]["most_flashes_in_a_second"].as_f64().expect("a count");
        assert_eq!(most.floor() as usize, counted, "{per_s} {bright} {dark}: {screen:#}");
        assert_eq!(screen["general"]["passed"], counted <= MOST, "{per_s} {dark}");
        let passed = told["flash"]["passed"].as_bool().expect("a verdict");
        assert_eq!(code, Some(i32::from(!passed)), "--strict: {err}");
        if dark > 0.0 {
            assert_eq!(counted, 0, "four per cent less are no flash");
        }
    }
}

#[test]
fn every_film_tells_its_flashing_and_the_report_is_a_chart() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path();
    std::fs::write(path.join("s.yaml"), scene(5.0, 0.5, 0.0)).expect("written");
    let call = ["motion", "s.yaml", "-o", "f.gif", "--seconds", "2", "--flash-report", "f.svg"];
    let (code, out, err) = weftlight(path, &call);
    assert_eq!(code, Some(0), "without --strict the film is what was asked for: {err}");
    assert!(out.contains("TOO MUCH") && out.contains("not a medical clearance"), "{out}");
    assert!(out.contains("It passes when"), "{out}");
    let chart = std::fs::read_to_string(path.join("f.svg")).expect("the report");
    assert!(chart.starts_with("<svg") && chart.contains("The worst second"));
    let same = ["motion", "s.yaml", "-o", "f.png", "--flash-report", "f.png"];
    assert_eq!(weftlight(path, &same).0, Some(2), "one file is not written twice");
    let call = ["motion", "s.yaml", "-o", "g.gif", "--flash-report", "g.txt"];
    assert_eq!(weftlight(path, &call).0, Some(2), "no such format");
    assert!(!path.join("g.gif").exists());
}
