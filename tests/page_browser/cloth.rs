//! The cloth: swapped, added, taken out; and the way back.

use crate::seen::{WHOLE, visit_demo};
use crate::tab::{DESK, Tab};

fn layers(tab: &Tab) -> Vec<String> {
    let names =
        tab.js("return [...document.querySelectorAll('#layers .layer h3')].map((title) => title.innerText)");
    let names = names.as_array().expect("a list").iter();
    names.map(|name| name.as_str().expect("text").to_owned()).collect()
}

fn take(tab: &Tab, name: &str) {
    tab.until("the shelf", &format!("return visible(document.querySelector('[data-test=cloth-{name}]'))"));
    tab.click(&format!("[data-test=cloth-{name}]"));
}

#[test]
fn cloth_is_swapped_added_and_taken_out_and_every_step_can_be_undone_and_done_again() {
    let Some((_program, tab)) = visit_demo(DESK, "collar") else { return };
    let mut texts = vec![tab.text()];
    let mut pictures = vec![tab.painted(WHOLE)];
    let before = tab.state();
    let swapped = tab.changed(|| {
        tab.click("[data-test=swap-0]");
        take(&tab, "fleece");
    });
    assert_eq!(layers(&tab).len(), 1);
    assert!(layers(&tab)[0].to_lowercase().contains("fleece"), "{:?}", layers(&tab));
    assert_ne!(swapped.number("light kept"), before.number("light kept"));
    texts.push(tab.text());
    pictures.push(tab.painted(WHOLE));
    assert_eq!(texts[1], texts[0].replace("cloth: felt-wool-ivory", "cloth: fleece"));

    let added = tab.changed(|| {
        tab.click("#add-layer");
        take(&tab, "organza");
    });
    assert_eq!(layers(&tab).len(), 2);
    assert!(layers(&tab)[1].to_lowercase().contains("organza"), "{:?}", layers(&tab));
    assert!(added.number("light kept") < swapped.number("light kept"));
    texts.push(tab.text());
    pictures.push(tab.painted(WHOLE));

    tab.changed(|| tab.click("[data-test=take-out-0]"));
    assert_eq!(layers(&tab).len(), 1);
    assert!(layers(&tab)[0].to_lowercase().contains("organza"));
    texts.push(tab.text());
    pictures.push(tab.painted(WHOLE));
    assert!(pictures.windows(2).all(|pair| pair[0] != pair[1]), "{pictures:?}");
    assert!(texts.iter().all(|text| text.starts_with("# Invented for a winter lantern walk")));

    for i in (0..3).rev() {
        tab.changed(|| if i == 1 { tab.with_control('z') } else { tab.click("#undo") });
        assert_eq!((tab.text(), tab.painted(WHOLE)), (texts[i].clone(), pictures[i]), "undone to {i}");
    }
    assert_eq!(tab.js("return byId('undo').disabled"), true);
    assert!(!tab.sees("#unsaved"), "it is as it was opened");
    for i in 1..4 {
        tab.changed(|| if i == 2 { tab.with_control('y') } else { tab.click("#redo") });
        assert_eq!((tab.text(), tab.painted(WHOLE)), (texts[i].clone(), pictures[i]), "done again to {i}");
    }
    assert_eq!(tab.js("return byId('redo').disabled"), true);
    assert!(tab.sees("#unsaved"));
}
