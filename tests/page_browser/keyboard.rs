//! Without a mouse, and for those who listen.

use crate::seen::{GAP_SLIDER, WHOLE, visit, visit_demo};
use crate::tab::{DESK, Tab};
use serde_json::json;

const TAB: char = '\u{e004}';
const ENTER: char = '\u{e007}';
const SPACE: char = '\u{e00d}';
const RIGHT: char = '\u{e014}';
/// More stops of the Tab key than the page has.
const MOST_STOPS: usize = 150;

/// Whether the element with the focus shows it: by an outline, or what is drawn by a mark of its own.
const FOCUS_SEEN: &str = "
    const element = document.activeElement;
    if (element === document.body) return 'nothing';
    const outlined = (style) => style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
    const handle = element.querySelector('.handle');
    const seen = outlined(getComputedStyle(element)) || outlined(getComputedStyle(element, '::after')) || (handle && parseFloat(getComputedStyle(handle).strokeWidth) >= 5);
    return seen || `no mark of focus on ${element.cloneNode(false).outerHTML}`;";

/// Goes on with the Tab key to an element; everything on the way shows the focus.
fn tab_to(tab: &Tab, css: &str) {
    for _ in 0..MOST_STOPS {
        tab.keys(&[TAB]);
        let seen = tab.js(FOCUS_SEEN);
        assert!(seen == true || seen == "nothing", "{seen}");
        if tab.js_with("return document.activeElement.matches(arguments[0])", vec![json!(css)]) == true {
            return;
        }
    }
    panic!("the Tab key never comes to {css}");
}

#[test]
fn everything_goes_by_keyboard_and_the_focus_is_always_seen() {
    let Some((_program, tab)) = visit(DESK) else { return };
    tab_to(&tab, ".skip");
    tab_to(&tab, "[data-test=demo-collar]");
    let before = tab.changed(|| tab.keys(&[ENTER]));
    let picture = tab.painted(WHOLE);
    tab_to(&tab, GAP_SLIDER);
    let after = tab.changed(|| tab.keys(&[RIGHT; 6]));
    assert!(after.gap_mm() > before.gap_mm(), "{} to {}", before.gap, after.gap);
    assert_ne!(tab.painted(WHOLE).print, picture.print);
    let focus = tab.js_with("return document.activeElement.matches(arguments[0])", vec![json!(GAP_SLIDER)]);
    assert_eq!(focus, true, "the focus stays where the hand is");
    tab_to(&tab, "#hold");
    tab.keys(&[SPACE]);
    tab.until("it is held", "return visible(document.querySelector('[data-test=held-1]'))");
    tab.until("it is said", "return byId('live').textContent.startsWith('Held')");
    tab_to(&tab, "#gap-marker");
    let on = tab.changed(|| tab.keys(&[RIGHT, RIGHT]));
    assert!((on.gap_mm() - after.gap_mm() - 1.0).abs() < 1e-9, "two steps of half a millimetre: {}", on.gap);
    // The shelf takes the focus and gives it back.
    tab.js("document.querySelector('.skip').focus()");
    tab_to(&tab, "[data-test=swap-0]");
    tab.keys(&[ENTER]);
    tab_to(&tab, "[data-test=cloth-fleece]");
    tab.changed(|| tab.keys(&[ENTER]));
    assert_eq!(tab.js("return document.activeElement.dataset.test"), "swap-0");
}

#[test]
fn every_control_has_a_name_that_is_spoken() {
    const CONTROLS: &str = "button, summary, a[href], select, textarea, input:not([type=hidden]), [role=slider], [role=img], [tabindex='0'], dialog[open]";
    let Some((_program, tab)) = visit_demo(DESK, "collar") else { return };
    tab.until("the curve", "return !byId('gap-chart').classList.contains('empty')");
    tab.click("#hold");
    tab.until("one is held", "return visible(document.querySelector('[data-test=held-1]'))");
    tab.click("#split");
    tab.js("document.querySelectorAll('#bench details').forEach((fold) => (fold.open = true))");
    let audit = |place: &str, least: usize| {
        let names = tab.spoken_names(CONTROLS);
        let nameless: Vec<_> = names.iter().filter(|(_, name)| name.trim().is_empty()).collect();
        assert!(nameless.is_empty(), "{place}: {nameless:#?}");
        assert!(names.len() >= least, "{place}: only {}", names.len());
    };
    audit("the work place", 50);
    tab.click("#tab-text");
    audit("the text", 20);
    tab.click("#open");
    audit("the beginning", 15);
    tab.click("#q-cloth-pick");
    tab.until("the shelf", "return visible(document.querySelector('[data-test=cloth-fleece]'))");
    for part in ["ready", "label", "photo"] {
        tab.click(&format!("[data-part={part}]"));
        audit(part, 8);
    }
}
