//! How long the page takes from a move of the stand-off's slider to the picture, end to end in a real browser: the edit, the picture,
//! its way through HTTP, its decoding.
//!
//! A scene of 150 pixels on a stage of 960 x 540 points of the screen. Without `chromium` and `chromedriver` it says SKIPPED.
#![allow(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "a bench writes its scene and prints its figures"
)]

#[allow(dead_code, reason = "shared with the tests in the browser")]
#[path = "../page_browser/programs.rs"]
mod programs;
#[allow(dead_code, reason = "shared with the tests in the browser")]
#[path = "../page_browser/seen.rs"]
mod seen;
#[allow(dead_code, reason = "shared with the tests in the browser")]
#[path = "../page_browser/tab.rs"]
mod tab;

use seen::GAP_SLIDER;
use serde_json::{Value, json};
use tab::{Screen, Tab};

/// Points of the stage.
const STAGE_PX: [u64; 2] = [960, 540];
/// Moves of a run.
const MOVES: usize = 40;
/// Time between moves of a hurried hand, in ms.
const HURRY_MS: u64 = 50;
/// Goals from input to picture, in ms.
const GOALS_MS: [(&str, f64); 2] = [("quick", 100.0), ("full", 400.0)];

const SCENE: &str = "name: Bench
board: {reflectance: 0.5}
pixels:
  - grid: {package: \"5050\", columns: 15, rows: 10, pitch_mm: 20}
stack:
  - {gap_mm: 8, cloth: jersey}
light: {colour: \"#ffd9a0\", level: 0.4}
view: {distance_m: 2, room_lx: 20}
";

/// Makes one move of the slider and waits until the full picture and the numbers are there. The answer: ms from the input to the new
/// text, to the quick picture and to the full one; for both pictures the ms in HTTP and program, and those after it.
const SETTLING: &str = "
    const slider = document.querySelector(args[0]);
    const version = state().wanted;
    performance.clearMarks();
    performance.clearResourceTimings();
    slider.value = 2 + ((args[1] * 7) % 37) / 2;
    slider.dispatchEvent(new Event('input', {bubbles: true}));
    while (!settledAfter(version)) await new Promise((done) => setTimeout(done, 5));
    const marks = (name) => performance.getEntriesByName(name);
    const [input] = marks('input');
    const change = marks('change').find(({detail}) => detail.version > version);
    const one = {change: change.startTime - input.startTime};
    const fetched = performance.getEntriesByType('resource').filter(({name}) => name.endsWith('/api/picture'));
    for (const detail of ['quick', 'full']) {
      const shown = marks('picture-shown').find((mark) => mark.detail.version > version && mark.detail.detail === detail);
      const asked = shown && marks('picture-asked').find((mark) => mark.detail.seq === shown.detail.seq);
      const answer = asked && fetched.find(({startTime}) => startTime >= asked.startTime - 0.5);
      if (answer) one[detail] = {all: shown.startTime - input.startTime, fetch: answer.responseEnd - answer.startTime, after: shown.startTime - answer.responseEnd};
    }
    return one;";

/// Moves the slider without waiting; for each move the ms until a picture was shown that knows of it.
const HURRIED: &str = "
    const slider = document.querySelector(args[0]);
    const version = state().wanted;
    performance.clearMarks();
    performance.clearResourceTimings();
    performance.setResourceTimingBufferSize(4000);
    for (let i = 0; i < args[1]; i += 1) {
      slider.value = 2 + ((i * 7) % 37) / 2;
      slider.dispatchEvent(new Event('input', {bubbles: true}));
      await new Promise((done) => setTimeout(done, args[2]));
    }
    while (!settledAfter(version)) await new Promise((done) => setTimeout(done, 5));
    const marks = (name) => performance.getEntriesByName(name);
    const edits = performance.getEntriesByType('resource').filter(({name}) => name.endsWith('/api/edit'));
    const versions = [...new Set(marks('change').map(({detail}) => detail.version).filter((each) => each > version))];
    return marks('input').map(({startTime}) => {
      // The first edit that was sent after the move carries it, and makes the text of that number.
      const made = versions[edits.findIndex((edit) => edit.startTime >= startTime - 0.5)];
      const shown = marks('picture-shown').find(({detail}) => detail.version >= made);
      return shown ? shown.startTime - startTime : null;
    });";

fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(((sorted.len() as f64 - 1.0) * share).round() as usize).copied().unwrap_or(f64::NAN)
}

fn told(what: &str, values: &[f64]) {
    let (median, late) = (quantile(values, 0.5), quantile(values, 0.9));
    println!("{what:<44} median {median:7.1} ms   90th percentile {late:7.1} ms   ({} times)", values.len());
}

fn numbers(found: &Value, pick: impl Fn(&Value) -> &Value) -> Vec<f64> {
    found.as_array().expect("a list").iter().filter_map(|each| pick(each).as_f64()).collect()
}

fn against_goal(detail: &str, goal: f64, values: &[f64]) {
    let [median, late] = [0.5, 0.9].map(|share| quantile(values, share) / goal);
    println!("  over the goal of {goal} ms ({detail}): median {median:.2}, 90th percentile {late:.2}");
}

/// Makes the stage as large as wanted: what stands beside it takes what it takes.
fn fitted(tab: &Tab, mut screen: Screen) {
    for _ in 0..3 {
        let stage = tab.js("return [byId('picture').width, byId('picture').height]");
        let now = [0, 1].map(|i| stage[i].as_u64().expect("a size"));
        if now == STAGE_PX {
            break;
        }
        screen.width = (u64::from(screen.width) + STAGE_PX[0] - now[0]) as u32;
        screen.height = (u64::from(screen.height) + 2 * STAGE_PX[1] - 2 * now[1]) as u32;
        tab.show_on(screen);
        tab.until("the new size", "return byId('picture').width === byId('stage').clientWidth && byId('picture').height === byId('stage').clientHeight");
    }
    let stage = tab.js("return `${byId('picture').width} x ${byId('picture').height}`");
    println!("stage {} points, scene of 150 pixels, {MOVES} moves", stage.as_str().expect("text"));
}

fn settled_moves(tab: &Tab, count: usize) -> Value {
    (0..count).map(|i| tab.js_awaited(SETTLING, vec![json!(GAP_SLIDER), json!(i)])).collect()
}

fn main() {
    let screen = Screen { width: 1356, height: 1080, phone: false };
    let Some((_program, tab)) = seen::visit(screen) else { return };
    let scene = tab.folder().join("bench.yaml");
    std::fs::write(&scene, SCENE).expect("written");
    tab.changed(|| tab.give_file("#open-file", &scene));
    fitted(&tab, screen);
    // The first pictures of a process make its tables.
    settled_moves(&tab, 3);

    println!("\nEach move settles before the next:");
    let found = settled_moves(&tab, MOVES);
    told("input to the new text", &numbers(&found, |each| &each["change"]));
    for (detail, goal) in GOALS_MS {
        let all = numbers(&found, |each| &each[detail]["all"]);
        told(&format!("input to the {detail} picture"), &all);
        told("  of that HTTP and the program", &numbers(&found, |each| &each[detail]["fetch"]));
        told("  decoding and the hand-over", &numbers(&found, |each| &each[detail]["after"]));
        against_goal(detail, goal, &all);
    }
    println!("  (the full picture is asked for when the hand has rested 250 ms)");

    println!("\nA move every {HURRY_MS} ms:");
    let found = tab.js_awaited(HURRIED, vec![json!(GAP_SLIDER), json!(MOVES), json!(HURRY_MS)]);
    let all = numbers(&found, |each| each);
    told("input to a picture that knows of it", &all);
    against_goal("quick", GOALS_MS[0].1, &all);
}
