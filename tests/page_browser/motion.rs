//! Patterns in time.

use crate::seen::{GAP_BOX, visit};
use crate::tab::DESK;
use serde_json::json;
use std::path::{Path, PathBuf};

/// The lantern with two seconds of its pattern: enough to see that it moves.
pub(crate) fn short_lantern(folder: &Path) -> PathBuf {
    let path = folder.join("short-lantern.yaml");
    let text = include_str!("../../scenes/lantern.yaml").replace("duration_s: 10", "duration_s: 2");
    std::fs::write(&path, text).expect("written");
    path
}

#[test]
fn motion_plays_when_asked_with_its_flash_caution_beside_it() {
    let Some((_program, tab)) = visit(DESK) else { return };
    let folder = tempfile::tempdir().expect("a folder");
    tab.changed(|| tab.give_file("#open-file", &short_lantern(folder.path())));
    assert!(tab.sees("#motion-play") && tab.words("#motion-name").contains("ember"));
    assert!(!tab.sees("#motion-picture") && !tab.sees("#flash"), "nothing moves by itself");
    let calm = json!({"features": [{"name": "prefers-reduced-motion", "value": "reduce"}]});
    tab.tool("Emulation.setEmulatedMedia", &calm);

    tab.click("#motion-play");
    tab.until(
        "it moves",
        "const e = byId('motion-picture'); return visible(e) && e.complete && e.naturalWidth > 100",
    );
    let told = tab.words("#motion-words");
    let frames: u32 = told.split(' ').next().expect("a word").parse().expect("a number");
    assert!(frames >= 20 && told.contains("frames, 2 s"), "{told}");
    let flash = tab.words("#flash");
    assert!(flash.split_whitespace().count() > 5, "{flash}");
    assert_eq!(tab.js("return byId('flash').dataset.passes"), "true", "{flash}");
    // The words stand right below what moves, both in sight.
    let places = tab.js("centre('#flash'); return ['stage', 'flash'].map((id) => { const b = byId(id).getBoundingClientRect(); return [b.top, b.bottom]; })");
    let place = |i: usize, j: usize| places[i][j].as_f64().expect("a place");
    assert!(place(1, 0) - place(0, 1) < 200.0 && place(1, 1) <= f64::from(DESK.height), "{places}");
    assert_eq!(tab.words("#motion-play"), "Stop");

    tab.click("#motion-stop");
    assert!(!tab.sees("#motion-picture") && !tab.sees("#flash") && tab.sees("#picture"));
    assert!(tab.words("#motion-calm").is_empty() || tab.words("#motion-calm").contains("less motion"));
    // A change ends what no longer is so.
    tab.click("#motion-play");
    tab.until("it moves again", "return visible(byId('motion-picture'))");
    tab.changed(|| tab.write(GAP_BOX, "11"));
    assert!(!tab.sees("#motion-picture") && !tab.sees("#flash"));
    assert!(tab.words("#motion-words").contains("has changed"));
}
