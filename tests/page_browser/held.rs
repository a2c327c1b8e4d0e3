//! Versions that are held, side by side.

use crate::seen::{GAP_BOX, visit_demo};
use crate::tab::{DESK, Tab};
use serde_json::json;

fn choose(tab: &Tab, side: &str, version: &str) {
    tab.js_with(
        "const e = byId(`split-${arguments[0]}`); e.value = arguments[1]; e.dispatchEvent(new Event('change', {bubbles: true}))",
        vec![json!(side), json!(version)],
    );
}

/// Drags the divider to a share of the stage's width.
fn divide(tab: &Tab, share: f64) {
    let from = tab.middle("#divider");
    let width = tab.js("const b = byId('stage').getBoundingClientRect(); return [b.x, b.width]");
    let to = width[0].as_f64().expect("a place") + share * width[1].as_f64().expect("a width");
    // Above the handle's middle, so that the way is as a hand would go it.
    tab.drag("mouse", &[from, [(from[0] + to) / 2.0, from[1] - 20.0], [to, from[1] - 20.0]]);
    let now = tab.js("return Number(byId('divider').getAttribute('aria-valuenow'))");
    assert!((now.as_f64().expect("a number") - share * 100.0).abs() <= 1.0, "{now}");
}

#[test]
fn two_held_versions_lie_side_by_side_and_one_comes_back() {
    let Some((_program, tab)) = visit_demo(DESK, "collar") else { return };
    let near = tab.text();
    let first = tab.state();
    tab.click("#hold");
    tab.until("the first is held", "return visible(document.querySelector('[data-test=held-1] canvas'))");
    tab.changed(|| tab.write(GAP_BOX, "20"));
    tab.click("#hold");
    tab.until("the second is held", "return visible(document.querySelector('[data-test=held-2] canvas'))");
    tab.changed(|| tab.write(GAP_BOX, "12"));

    tab.click("#split");
    assert!(tab.sees("#divider") && tab.sees("#split-left") && tab.sees("#split-right"));
    choose(&tab, "left", "held-1");
    choose(&tab, "right", "held-2");
    // Between a quarter and three quarters one of the two is seen, by where the divider is; beside that it makes no difference.
    let (left, between, right) = ([0.0, 0.2, 0.24, 0.8], [0.26, 0.2, 0.74, 0.8], [0.76, 0.2, 1.0, 0.8]);
    divide(&tab, 0.75);
    let near_between = [left, between, right].map(|part| tab.painted(part).print);
    divide(&tab, 0.25);
    let far_between = [left, between, right].map(|part| tab.painted(part).print);
    assert_eq!((near_between[0], near_between[2]), (far_between[0], far_between[2]));
    assert_ne!(near_between[1], far_between[1], "the two versions differ");
    // The numbers of the held one stand beside those of now.
    assert!(tab.sees("#number-beside"));
    let beside = tab
        .js("return [...document.querySelectorAll('#number-rows .beside')].map((cell) => cell.innerText)[0]");
    let seen = beside.as_str().expect("text");
    assert!(seen.starts_with(&format!("{} ", first.rows[0][1])), "{seen} beside {:?}", first.rows[0]);

    tab.click("#split");
    assert!(!tab.sees("#divider"));
    let back = tab.changed(|| tab.click("[data-test=held-1] button[aria-label^='Bring back']"));
    assert_eq!(tab.text(), near);
    assert_eq!((back.gap.as_str(), &back.rows), ("6", &first.rows));
    tab.changed(|| tab.click("#undo"));
    assert_eq!(tab.state().gap, "12");
}
