//! The page on a telephone.

use crate::seen::{GAP_SLIDER, WHOLE, visit};
use crate::tab::{Screen, Tab};
use serde_json::json;

const PHONE: Screen = Screen { width: 390, height: 844, phone: true };
/// Least width and height of what is pressed, in CSS pixels: WCAG 2.2, success criterion 2.5.8.
const TARGET_PX: f64 = 24.0;

/// What sticks out at a side, cannot be brought into reach, or is too small for a finger; in words.
const AUDIT: &str = "
    const wrong = [];
    const least = arguments[1];
    if (document.documentElement.scrollWidth > innerWidth) wrong.push(`the page is ${document.documentElement.scrollWidth} px wide`);
    const all = [...document.querySelectorAll(arguments[0])].filter((e) => visible(e) && !e.disabled);
    for (const element of all) {
      element.scrollIntoView({block: 'center', inline: 'nearest', behavior: 'instant'});
      const box = element.getBoundingClientRect();
      const name = element.cloneNode(false).outerHTML;
      if (box.left < -0.5 || box.right > innerWidth + 0.5) wrong.push(`${name} sticks out: ${box.left} to ${box.right}`);
      const there = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
      // A label around a control is pressed for it.
      const label = element.closest('label');
      if (!there || !(element.contains(there) || there.contains(element) && there === label || label?.contains(there))) {
        wrong.push(`${name} is covered by ${there?.cloneNode(false).outerHTML}`);
      }
      const target = label?.getBoundingClientRect() ?? box;
      if (Math.max(target.width, box.width) < least || Math.max(target.height, box.height) < least) {
        wrong.push(`${name} is ${box.width} by ${box.height} px`);
      }
    }
    return {wrong, looked: all.length};";
const CONTROLS: [&str; 10] = [
    "button",
    "summary",
    "select",
    "textarea",
    "input[type=text]",
    "input[type=range]",
    "input[type=radio]",
    "input[type=checkbox]",
    "input[type=search]",
    "input[type=color]",
];

fn assert_fit_for_a_finger(tab: &Tab, within: &str, least: u64) {
    let css = CONTROLS.map(|each| format!("{within} {each}")).join(", ");
    let found = tab.js_with(AUDIT, vec![json!(css), json!(TARGET_PX)]);
    assert_eq!(found["wrong"], json!([]), "{within}");
    assert!(found["looked"].as_u64() >= Some(least), "{within}: only {} looked at", found["looked"]);
}

#[test]
fn on_a_telephone_nothing_sticks_out_and_all_can_be_pressed() {
    let Some((_program, tab)) = visit(PHONE) else { return };
    assert_eq!(tab.js("return [innerWidth, innerHeight]"), json!([390, 844]));
    assert_fit_for_a_finger(&tab, "#start", 12);
    tab.click("#q-cloth-pick");
    tab.until("the shelf", "return visible(document.querySelector('[data-test=cloth-fleece]'))");
    assert_fit_for_a_finger(&tab, "#shelf", 20);
    tab.click("#shelf .close");

    tab.changed(|| tab.click("[data-test=demo-collar]"));
    tab.until("the curve", "return !byId('gap-chart').classList.contains('empty')");
    tab.click("#hold");
    tab.until("one is held", "return visible(document.querySelector('[data-test=held-1]'))");
    assert_fit_for_a_finger(&tab, "body", 30);
    tab.click("#downloads summary");
    assert_fit_for_a_finger(&tab, "#downloads", 6);
    tab.click("#downloads summary");
    tab.js("document.querySelectorAll('#as-words details').forEach((fold) => (fold.open = true))");
    assert_fit_for_a_finger(&tab, "#as-words", 20);
    tab.click("#tab-text");
    assert_fit_for_a_finger(&tab, "#as-text", 1);
}

#[test]
fn on_a_telephone_a_finger_moves_the_cloth_with_the_picture_in_sight() {
    let Some((_program, tab)) = visit(PHONE) else { return };
    let before = tab.changed(|| tab.click("[data-test=demo-collar]"));
    let picture = tab.painted(WHOLE);
    let place = tab.js_with(
        "const e = centre(arguments[0]), b = e.getBoundingClientRect(); const share = (e.value - e.min) / (e.max - e.min);
         return [b.x + 8 + share * (b.width - 16), b.y + b.height / 2, b.right - b.width / 4]",
        vec![json!(GAP_SLIDER)],
    );
    let [x, y, far] = [0, 1, 2].map(|i| place[i].as_f64().expect("a place"));
    let after = tab.changed(|| tab.drag("touch", &[[x, y], [(x + far) / 2.0, y], [far, y]]));
    assert!(after.gap_mm() > before.gap_mm() + 2.0, "{} to {}", before.gap, after.gap);
    assert_ne!(tab.painted(WHOLE).print, picture.print);
    let stage = tab
        .js("const b = byId('stage').getBoundingClientRect(); return b.top >= 0 && b.bottom <= innerHeight");
    assert_eq!(stage, true, "the picture is in sight while the slider is at hand");
}
