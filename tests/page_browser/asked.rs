//! The questions at the beginning, and faults where they belong.

use crate::programs::weftlight;
use crate::seen::{GAP_BOX, WHOLE, visit, visit_demo};
use crate::tab::DESK;

#[test]
fn answers_to_a_few_questions_make_a_scene() {
    let Some((_program, tab)) = visit(DESK) else { return };
    tab.click("#questions input[value=ring]");
    assert_eq!(tab.words("#q-width-label"), "Diameter");
    tab.click("#q-cloth-pick");
    tab.until("the shelf", "return visible(document.querySelector('[data-test=cloth-fleece]'))");
    tab.click("[data-test=cloth-fleece]");
    assert!(tab.words("#q-cloth-name").contains("leece"));
    // What is no number is told at once, and nothing is lost.
    tab.write("#q-width", "wide");
    tab.click("[data-test=begin]");
    assert!(tab.words("#start-fault").contains("wide") && tab.sees("#start"));
    tab.write("#q-width", "90");
    tab.write("#q-gap", "7");
    tab.write("#q-distance", "1,5");
    let state = tab.changed(|| tab.click("[data-test=begin]"));
    assert!(tab.sees("#bench") && tab.sees("#unsaved"));
    assert!(tab.painted(WHOLE).is_a_picture());
    assert_eq!(state.gap, "7");
    let text = tab.text();
    for part in ["ring", "diameter_mm: 90", "gap_mm: 7", "cloth: fleece", "distance_m: 1.5"] {
        assert!(text.contains(part), "{part} in {text}");
    }
    let (name, _) = tab.downloaded(|| tab.click("#save"));
    let (code, said) = weftlight(tab.folder(), &["check", &name]);
    assert_eq!(code, 0, "{said}");
}

#[test]
fn a_fault_stands_at_its_field_in_the_words_of_the_command_line() {
    let Some((_program, tab)) = visit_demo(DESK, "collar") else { return };
    let fault = "[data-path='stack.0.gap_mm'] .fault";
    assert!(!tab.sees(fault));
    tab.write(GAP_BOX, "900");
    tab.until("the fault", &format!("return visible(document.querySelector(\"{fault}\"))"));
    let shown = tab.words(fault);
    let text = tab.text();
    assert!(text.contains("gap_mm: 900"), "the text is the truth: {text}");
    std::fs::write(tab.folder().join("bad.yaml"), &text).expect("written");
    let (code, said) = weftlight(tab.folder(), &["check", "bad.yaml"]);
    assert_eq!(code, 2, "{said}");
    for mark in ["error: ", "found ", "allowed: "] {
        let (_, rest) = said.split_once(mark).unwrap_or_else(|| panic!("no {mark}in {said}"));
        let words = rest.lines().next().expect("a line").trim();
        assert!(shown.contains(words), "`{words}` in `{shown}`");
    }
    let invalid = format!("return document.querySelector(\"{GAP_BOX}\").getAttribute('aria-invalid')");
    assert_eq!(tab.js(&invalid), "true");
    // The last picture stays and says that it is not of this text.
    tab.until("it is told", "return byId('badge-words').textContent === 'last picture that could be drawn'");
    // (On the way to 900 the box held 9 and 90, which can be drawn.)
    assert!(tab.painted(WHOLE).brightest > tab.painted(WHOLE).darkest, "the last picture is gone");
    let behind = "const stage = byId('picture'); return Number(stage.dataset.shownVersion) < Number(stage.dataset.wantedVersion)";
    assert_eq!(tab.js(behind), true);

    // What is no number at all does not reach the text.
    tab.write(GAP_BOX, "far");
    assert!(tab.words(fault).contains("`far` is no number"), "{}", tab.words(fault));
    tab.changed(|| tab.write(GAP_BOX, "8"));
    assert!(!tab.sees(fault));
    assert_eq!(tab.js(&invalid), serde_json::Value::Null);
}
