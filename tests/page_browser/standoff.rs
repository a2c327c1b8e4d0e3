//! Moving the cloth away from the pixels.

use crate::seen::{GAP_BOX, GAP_SLIDER, WHOLE, visit_demo};
use crate::tab::DESK;
use serde_json::json;

#[test]
fn dragging_the_marker_moves_the_cloth_and_all_that_is_seen_of_it() {
    let Some((_program, tab)) = visit_demo(DESK, "collar") else { return };
    tab.until("the curve", "return !byId('gap-chart').classList.contains('empty')");
    let (before, picture) = (tab.state(), tab.painted(WHOLE));
    let [x, y] = tab.middle("#gap-marker .handle");
    let after = tab.changed(|| tab.drag("mouse", &[[x, y], [x + 40.0, y], [x + 90.0, y + 10.0]]));
    assert!(after.gap_mm() > before.gap_mm() + 2.0, "{} to {}", before.gap, after.gap);
    let marker = tab.js("return byId('gap-marker').getAttribute('aria-valuenow')");
    assert_eq!(marker.as_str(), Some(after.gap.as_str()));
    assert_ne!(tab.painted(WHOLE).print, picture.print);
    assert_ne!(after.rows, before.rows);
    // Felt farther away spreads more: fewer dots, a wider spot, a thicker build.
    assert!(after.number("dot visibility") < before.number("dot visibility"), "{before:?} {after:?}");
    assert!(after.number("spot width") > before.number("spot width"));
    let thicker = after.number("thickness") - before.number("thickness");
    // Both are shown in three figures of some ten mm.
    assert!((thicker - (after.gap_mm() - before.gap_mm())).abs() <= 0.1, "{thicker}");
    assert!(tab.text().contains(&format!("gap_mm: {}", after.gap)));
}

#[test]
fn dragging_the_slider_shows_its_value_at_once_and_its_picture_soon() {
    let Some((_program, tab)) = visit_demo(DESK, "collar") else { return };
    let (before, picture) = (tab.state(), tab.painted(WHOLE));
    let place = tab.js_with(
        "const e = centre(arguments[0]), b = e.getBoundingClientRect(); const share = (e.value - e.min) / (e.max - e.min);
         return [b.x + 8 + share * (b.width - 16), b.y + b.height / 2, b.right - b.width / 4]",
        vec![json!(GAP_SLIDER)],
    );
    let [x, y, far] = [0, 1, 2].map(|i| place[i].as_f64().expect("a place"));
    let after = tab.changed(|| tab.drag("mouse", &[[x, y], [(x + far) / 2.0, y], [far, y]]));
    let slider = tab.js_with("return document.querySelector(arguments[0]).value", vec![json!(GAP_SLIDER)]);
    assert_eq!(slider.as_str(), Some(after.gap.as_str()));
    assert!(after.gap_mm() > before.gap_mm() + 2.0);
    assert!(after.number("dot visibility") < before.number("dot visibility"));
    assert_ne!(tab.painted(WHOLE).print, picture.print);
}

#[test]
fn after_a_burst_of_moves_the_last_one_is_shown_and_nothing_older_ever_covers_newer() {
    /// Values of the burst, in mm, ending with one that no other has.
    const MOVES: [f64; 20] = [
        1.0, 3.0, 5.0, 7.0, 9.0, 11.0, 13.0, 15.0, 17.0, 19.0, 20.0, 18.0, 16.0, 14.0, 12.0, 10.0, 8.0, 6.0,
        4.0, 11.4,
    ];
    let Some((_program, tab)) = visit_demo(DESK, "collar") else { return };
    tab.js(
        "window.shownInTurn = [];
         new MutationObserver(() => { const now = state(); shownInTurn.push([now.seq, now.shown, now.detail]); })
           .observe(byId('picture'), {attributes: true, attributeFilter: ['data-shown-seq']});",
    );
    let burst = "const slider = document.querySelector(args[0]);
         for (const value of args[1]) {
           slider.value = value;
           slider.dispatchEvent(new Event('input', {bubbles: true}));
           await new Promise((done) => setTimeout(done, 15));
         }";
    let last = tab.changed(|| {
        tab.js_awaited(burst, vec![json!(GAP_SLIDER), json!(MOVES)]);
    });
    assert_eq!(last.gap, "11.4");
    assert!(tab.text().contains("gap_mm: 11.4"));
    let picture = tab.painted(WHOLE);

    let shown = tab.js("return shownInTurn");
    let shown: Vec<(u64, u64)> = shown
        .as_array()
        .expect("a list")
        .iter()
        .map(|each| (each[0].as_u64().expect("a number"), each[1].as_u64().expect("a number")))
        .collect();
    assert!(shown.len() >= 2, "{shown:?}");
    assert!(shown.is_sorted_by(|a, b| a.0 < b.0 && a.1 <= b.1), "{shown:?}");
    assert_eq!(shown.last().expect("one").1, last.version);

    // The same gap set anew, with time, gives the same picture: it was that of the last move.
    tab.changed(|| tab.write(GAP_BOX, "3"));
    assert_ne!(tab.painted(WHOLE).print, picture.print);
    tab.changed(|| tab.write(GAP_BOX, "11.4"));
    assert_eq!(tab.painted(WHOLE), picture);
}
