//! What a user sees of the page: its state, the picture, the text of the scene.

use crate::programs::{Program, browser_is_here};
use crate::tab::{Screen, Tab};
use serde_json::{Value, json};
use std::time::Instant;

/// All of the canvas.
pub(crate) const WHOLE: [f64; 4] = [0.0, 0.0, 1.0, 1.0];
/// The box of the gap below the first cloth.
pub(crate) const GAP_BOX: &str = "[data-test='field-stack.0.gap_mm']";
/// Its slider.
pub(crate) const GAP_SLIDER: &str = "[data-test='field-stack.0.gap_mm-slider']";

/// What the page tells of itself once nothing is under way any more.
#[derive(Clone, Debug)]
pub(crate) struct State {
    /// The number of the scene's text.
    pub(crate) version: u64,
    /// The word of the headline.
    pub(crate) look: String,
    /// What stands in the box of the gap.
    pub(crate) gap: String,
    /// Name, value and range of every number.
    pub(crate) rows: Vec<[String; 3]>,
}

impl State {
    fn of(value: &Value) -> State {
        let text = |value: &Value| value.as_str().expect("text").to_owned();
        let row = |row: &Value| [0, 1, 2].map(|i| text(&row[i]));
        State {
            version: value["wanted"].as_u64().expect("a number"),
            look: text(&value["look"]),
            gap: text(&value["gap"]),
            rows: value["rows"].as_array().expect("rows").iter().map(row).collect(),
        }
    }

    /// The gap in the box, in mm.
    pub(crate) fn gap_mm(&self) -> f64 {
        self.gap.parse().expect("a number")
    }

    /// The leading number of a row.
    pub(crate) fn number(&self, name: &str) -> f64 {
        let row = self.rows.iter().find(|row| row[0] == name).unwrap_or_else(|| panic!("no {name}"));
        row[1].split_whitespace().next().expect("a value").parse().expect("a number")
    }
}

/// What is painted in a part of the canvas.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Painted {
    pub(crate) print: u64,
    pub(crate) mean: f64,
    pub(crate) darkest: f64,
    pub(crate) brightest: f64,
    pub(crate) colours: u64,
}

impl Painted {
    /// Whether it is a picture and not one even ground.
    pub(crate) fn is_a_picture(&self) -> bool {
        self.colours > 20 && self.brightest - self.darkest > 40.0
    }
}

/// The page in a browser at its beginning; `None`, and said so, where there is no browser.
pub(crate) fn visit(screen: Screen) -> Option<(Program, Tab)> {
    browser_is_here().then(|| {
        let program = Program::serve(0);
        let tab = Tab::open(screen, &program.address);
        (program, tab)
    })
}

/// The same with a demo open and drawn in full.
pub(crate) fn visit_demo(screen: Screen, name: &str) -> Option<(Program, Tab)> {
    let (program, tab) = visit(screen)?;
    tab.changed(|| tab.click(&format!("[data-test=demo-{name}]")));
    Some((program, tab))
}

impl Tab {
    /// The number of the scene's text.
    pub(crate) fn version(&self) -> u64 {
        self.js("return state().wanted").as_u64().expect("a number")
    }

    /// Does something that changes the scene and waits until the new picture and numbers are there in full.
    pub(crate) fn changed(&self, act: impl FnOnce()) -> State {
        let before = self.version();
        act();
        let settled = "return settledAfter(arguments[0])";
        State::of(&self.until_with("picture and numbers of the change", settled, vec![json!(before)]))
    }

    /// The state as it is now.
    pub(crate) fn state(&self) -> State {
        State::of(&self.js("return state()"))
    }

    /// What the canvas shows in a part given by shares of its width and height: left, top, right, bottom.
    pub(crate) fn painted(&self, part: [f64; 4]) -> Painted {
        let script = "await nextFrame(); return painted(byId('picture'), args[0]);";
        let found = self.js_awaited(script, vec![json!(part)]);
        let number = |name: &str| found[name].as_f64().expect("a number");
        Painted {
            print: found["print"].as_u64().expect("a number"),
            mean: number("mean"),
            darkest: number("darkest"),
            brightest: number("brightest"),
            colours: found["colours"].as_u64().expect("a number"),
        }
    }

    /// The text of the scene, read where the page shows it.
    pub(crate) fn text(&self) -> String {
        self.click("#tab-text");
        let text = self.js("return byId('text').value").as_str().expect("text").to_owned();
        self.click("#tab-words");
        text
    }

    /// The words of an element that can be seen; nothing where it cannot.
    pub(crate) fn words(&self, css: &str) -> String {
        let script =
            "const e = document.querySelector(arguments[0]); return visible(e) ? e.innerText.trim() : ''";
        self.js_with(script, vec![json!(css)]).as_str().expect("text").to_owned()
    }

    /// Whether an element can be seen.
    pub(crate) fn sees(&self, css: &str) -> bool {
        self.js_with("return visible(document.querySelector(arguments[0]))", vec![json!(css)]) == true
    }

    /// The middle of an element in the window, after scrolling to it.
    pub(crate) fn middle(&self, css: &str) -> [f64; 2] {
        let found = self.js_with("return middle(arguments[0])", vec![json!(css)]);
        [0, 1].map(|i| found[i].as_f64().expect("a place"))
    }

    /// Presses a button that downloads; the name and the bytes of the file that came.
    pub(crate) fn downloaded(&self, act: impl FnOnce()) -> (String, Vec<u8>) {
        let names = || -> Vec<String> {
            let entries = std::fs::read_dir(self.folder()).expect("the folder");
            entries.map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned()).collect()
        };
        let before = names();
        act();
        let give_up = Instant::now() + crate::programs::LONGEST_WAIT;
        loop {
            // A file that is still being written has another name.
            let unfinished = |name: &str| name.ends_with(".crdownload") || name.starts_with('.');
            if let Some(name) = names().into_iter().find(|name| !before.contains(name) && !unfinished(name)) {
                let bytes = std::fs::read(self.folder().join(&name)).expect("the file");
                return (name, bytes);
            }
            assert!(Instant::now() < give_up, "nothing was downloaded");
            std::thread::sleep(std::time::Duration::from_millis(20));
        }
    }
}
