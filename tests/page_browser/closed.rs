//! A long walk through the page: no complaint of the browser, and nothing leaves the machine.

use crate::seen::{GAP_SLIDER, visit};
use crate::tab::{DESK, Tab};
use serde_json::{Value, json};

/// What the browser asked for, from its own log of the network.
fn requests(tab: &Tab) -> Vec<String> {
    let entries = tab.log("performance");
    let messages = entries.iter().map(|entry| {
        let message = entry["message"].as_str().expect("text");
        serde_json::from_str::<Value>(message).expect("JSON")
    });
    messages
        .filter(|message| message["message"]["method"] == "Network.requestWillBeSent")
        .map(|message| {
            message["message"]["params"]["request"]["url"].as_str().expect("an address").to_owned()
        })
        .collect()
}

fn complaints(tab: &Tab) -> Vec<String> {
    let entries = tab.log("browser");
    let severe = entries.iter().filter(|entry| entry["level"] == "SEVERE");
    severe.map(|entry| entry["message"].as_str().expect("text").to_owned()).collect()
}

fn walk(tab: &Tab) {
    tab.until("the demos", "return document.querySelectorAll('#demos canvas.drawn').length >= 2");
    tab.changed(|| tab.click("[data-test=demo-badge]"));
    tab.until("the curve", "return !byId('gap-chart').classList.contains('empty')");
    let hurried = "const slider = document.querySelector(args[0]);
         for (let i = 0; i < 30; i += 1) {
           slider.value = 4 + (i % 7);
           slider.dispatchEvent(new Event('input', {bubbles: true}));
           await new Promise((done) => setTimeout(done, 40));
         }";
    tab.changed(|| {
        tab.js_awaited(hurried, vec![json!(GAP_SLIDER)]);
    });
    tab.click("#hold");
    tab.until("one is held", "return visible(document.querySelector('[data-test=held-1]'))");
    tab.changed(|| {
        tab.click("[data-test=swap-0]");
        tab.until("the shelf", "return visible(document.querySelector('[data-test=cloth-jersey]'))");
        tab.write("#shelf-search", "jersey");
        tab.click("[data-test=cloth-jersey]");
    });
    tab.click("#split");
    for name in ["zoom-in", "zoom-in", "zoom-fit", "exposure-brighter", "exposure-anew"] {
        tab.click(&format!("#{name}"));
    }
    for what in ["preview", "make", "client-page"] {
        tab.click("#downloads summary");
        let (_, bytes) = tab.downloaded(|| tab.click(&format!("[data-download={what}]")));
        assert!(bytes.len() > 1000, "{what}");
        tab.click("#downloads summary");
    }
    let (_, lantern) = tab.downloaded(|| tab.click("#save"));
    assert!(!lantern.is_empty());
    tab.click("#open");
    let scene = crate::motion::short_lantern(tab.folder());
    tab.changed(|| tab.give_file("#open-file", &scene));
    tab.click("#motion-play");
    tab.until("it moves", "return byId('motion-picture').naturalWidth > 0");
    tab.click("#motion-stop");
    tab.click("#tab-text");
    tab.write("#text", "name: [a fault");
    tab.until("the fault is told", "return byId('text-problems').childElementCount > 0");
}

#[test]
fn a_long_walk_brings_no_complaint_and_asks_nobody_else() {
    let Some((program, tab)) = visit(DESK) else { return };
    walk(&tab);
    let asked = requests(&tab);
    assert!(asked.len() > 60, "{}", asked.len());
    for part in ["/api/picture", "/api/motion", "/api/download", "/api/shelf"] {
        assert!(asked.iter().any(|address| address.contains(part)), "{part}");
    }
    let elsewhere: Vec<_> = asked
        .iter()
        .filter(|address| {
            ![program.address.as_str(), "blob:", "data:"].iter().any(|own| address.starts_with(own))
        })
        .collect();
    assert!(elsewhere.is_empty(), "{elsewhere:?}");
    assert_eq!(complaints(&tab), Vec::<String>::new());
    // Complaints are heard at all.
    tab.js("console.error('heard')");
    assert!(complaints(&tab).iter().any(|words| words.contains("heard")));
}
