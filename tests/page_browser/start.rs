//! The beginning, and what is there when a demo is open.

use crate::seen::{WHOLE, visit};
use crate::tab::DESK;
use serde_json::json;

#[test]
fn the_beginning_shows_demos_and_one_opens_with_picture_numbers_and_words() {
    let Some((_program, tab)) = visit(DESK) else { return };
    assert!(tab.sees("#start") && !tab.sees("#bench") && !tab.sees("#save"));
    assert_eq!(tab.words("#start-title"), "See the glow before the cloth is cut");
    let names = tab.until(
        "all demos are drawn",
        "const all = [...document.querySelectorAll('#demos .demo')];
         return all.length > 0 && all.every((demo) => demo.querySelector('canvas.drawn')) && all.map((demo) => demo.dataset.test)",
    );
    for name in names.as_array().expect("names") {
        let script =
            "return painted(document.querySelector(`[data-test=${arguments[0]}] canvas`), [0, 0, 1, 1])";
        let seen = tab.js_with(script, vec![name.clone()]);
        assert!(seen["colours"].as_u64() > Some(20), "{name} has a picture: {seen}");
    }

    let state = tab.changed(|| tab.click("[data-test=demo-collar]"));
    assert!(tab.sees("#bench") && !tab.sees("#start") && tab.sees("#save"));
    assert_eq!(tab.words("#scene-name"), "Collar");
    let painted = tab.painted(WHOLE);
    assert!(painted.is_a_picture(), "{painted:?}");
    assert_eq!(tab.words("#badge-words"), "full picture");

    assert!(state.rows.len() >= 8, "{:?}", state.rows);
    for [name, value, _] in &state.rows {
        let number: f64 = value.split_whitespace().next().expect("a value").parse().expect("a number");
        assert!(!name.is_empty() && number.is_finite(), "{name}: {value}");
    }
    for (name, unit) in [
        ("dots vanish from", "m"),
        ("light kept", "%"),
        ("glow between the pixels", "cd/m2"),
        ("spot width", "mm"),
        ("thickness", "mm"),
        ("weight of the cloth", "g/m2"),
    ] {
        let row = state.rows.iter().find(|row| row[0] == name).unwrap_or_else(|| panic!("no {name}"));
        assert!(row[1].ends_with(&format!(" {unit}")), "{row:?}");
    }
    assert!(["hard dots", "dots show", "soft", "no dots"].contains(&state.look.as_str()), "{state:?}");
    assert_eq!(tab.words("#headline-word"), state.look);
    assert!(tab.words("#headline-words").split_whitespace().count() >= 3);
}

#[test]
fn all_cautions_are_in_sight_and_follow_the_scene() {
    let Some((_program, tab)) = crate::seen::visit_demo(DESK, "collar") else { return };
    let told = || {
        let text = tab.text();
        let script = "const answer = await fetch('/api/numbers', {method: 'POST', headers: {'content-type': 'application/json'},
             body: JSON.stringify({text: args[0], page: 'test', seq: Date.now()})}); return (await answer.json()).cautions;";
        let told = tab.js_awaited(script, vec![json!(text)]);
        let seen =
            tab.js("return [...byId('caution-list').children].filter(visible).map((line) => line.innerText)");
        assert_eq!(told, seen);
        seen.as_array().expect("a list").len()
    };
    let before = told();
    assert!(before > 0 && tab.sees("#cautions") && tab.words("#caution-title") == "Take care");
    // Without pixels that draw more than the supply gives, one caution less.
    tab.changed(|| tab.write("[data-test='field-pixels.0.strip.count']", "4"));
    assert!(told() < before);
}
