//! Drawings (SVG): every id by itself, and scenes that follow them.

use super::harness::{Fuzzed, Random, Reached, run, text_seeds};
use super::mutate::{self, Tongue, percent};
use super::scene::{Beside, DRAWINGS, LIST, used};
use super::told;
use rand::RngExt;
use std::time::Duration;
use weftlight::diagnose::Problems;
use weftlight::pixels::drawing::{Missing, read};
use weftlight::scene::file::resolve;

/// Ids that are looked at by themselves; more of one drawing tell nothing new.
const MOST_IDS: usize = 30;

const SVG: Tongue = Tongue {
    words: &[
        "svg",
        "g",
        "path",
        "rect",
        "circle",
        "ellipse",
        "line",
        "polyline",
        "polygon",
        "use",
        "symbol",
        "defs",
        "style",
        "clipPath",
        "text",
        "image",
        "marker",
        "mask",
        "pattern",
        "switch",
        "id",
        "d",
        "x",
        "y",
        "width",
        "height",
        "rx",
        "ry",
        "r",
        "cx",
        "cy",
        "x1",
        "y1",
        "x2",
        "y2",
        "points",
        "transform",
        "viewBox",
        "preserveAspectRatio",
        "xMinYMin",
        "slice",
        "href",
        "style",
        "class",
        "display",
        "none",
        "visibility",
        "hidden",
        "run",
        "piece",
        "star",
        "mm",
        "cm",
        "in",
        "pt",
        "px",
        "em",
        "M",
        "m",
        "L",
        "l",
        "H",
        "V",
        "C",
        "S",
        "Q",
        "T",
        "A",
        "a",
        "Z",
        "matrix",
        "rotate",
        "scale",
        "translate",
        "skewX",
        "skewY",
    ],
    pieces: &[
        "<path id=\"run\" d=\"M0 0L100 0\"/>",
        "<path id=\"piece\" d=\"M0 0h50v50h-50z\"/>",
        "<use href=\"#run\"/>",
        "<use id=\"u\" href=\"#u\"/>",
        "<use id=\"a\" href=\"#b\"/><use id=\"b\" href=\"#a\"/>",
        "<g transform=\"scale(1e30)\">",
        "<g transform=\"matrix(1e308 0 0 1e308 0 0)\">",
        "<g transform=\"rotate(45 1e9 1e9)\">",
        "<g transform=\"scale(0)\">",
        "<g transform=\"matrix(1 1 1 1 0 0)\">",
        "</g>",
        "<g>",
        "<style>.a{display:none}#run{transform:scale(2)}</style>",
        "<style>",
        "<!DOCTYPE svg [<!ENTITY a \"aaaa\"><!ENTITY b \"&a;&a;&a;\">]>",
        "&b;",
        "&amp;",
        "&#0;",
        "&#x110000;",
        "<![CDATA[",
        "]]>",
        "<!--",
        "-->",
        "<?xml version=\"1.0\"?>",
        "xmlns:xlink=\"http://www.w3.org/1999/xlink\"",
        " transform=\"translate(1e300,1e300)\"",
        " transform=\"scale(1e-300)\"",
        " transform=\"rotate(",
        " viewBox=\"0 0 0 0\"",
        " viewBox=\"0 0 1e-300 1e300\"",
        " width=\"100%\"",
        " width=\"0mm\"",
        " preserveAspectRatio=\"none\"",
        " d=\"M0,0 A 1e300 1e300 0 0 1 10 10\"",
        " A 10 10 0 1 1 0 0 ",
        " A 0 0 0 1 1 9 9",
        " C 1 2 3 4 5 6 ",
        " c 0 0 0 0 0 0 ",
        " q1e200,1e200,3,3",
        " M",
        " m0 0",
        " z z z ",
        " T 5 5",
        " h1e9",
        " 1e9999",
        " .5.5.5",
        " 1-2-3",
        " 0 01 10 10",
        " points=\"0,0 1,1 2\"",
        " id=\"\"",
        " id=\"run\"",
        "<polygon id=\"star\" points=\"0,0 50,0 0,50 50,50\"/>",
        "<rect id=\"box\" width=\"10\" height=\"10\" rx=\"1e9\"/>",
        "<circle id=\"dot\" r=\"-1\"/>",
        "<ellipse id=\"egg\" rx=\"1e-9\" ry=\"9\"/>",
        "<svg>",
        "</svg>",
    ],
    nests: &[
        ("<g>", "</g>"),
        ("<g transform=\"scale(9)\">", "</g>"),
        ("<svg>", "</svg>"),
        ("<a>", ""),
        ("M0 0L9 9", ""),
        ("z", ""),
        ("(", ")"),
    ],
};

struct Drawings {
    seeds: Vec<String>,
}

impl Fuzzed for Drawings {
    const NAME: &'static str = "drawing";
    const INPUTS: u64 = 400;
    const LONGEST: Duration = Duration::from_secs(60);
    // A drawing of 200,000 elements takes some 100 MiB as a tree.
    const MOST_BYTES: usize = 512 << 20;

    fn input(&self, random: &mut Random) -> Vec<u8> {
        mutate::text(random, &self.seeds, &SVG).into_bytes()
    }

    fn hold(&self, input: &[u8], random: &mut Random) -> Reached {
        let text = String::from_utf8_lossy(input);
        let mut problems = Problems::default();
        let read = read(&text, &mut problems);
        let refused = problems.errors() > 0;
        let told = problems.into_diagnostics("a.svg", &text);
        if refused {
            told::refusal(&told)
        } else {
            told::shown(&told)
        }
        let Some(drawing) = read else {
            assert!(refused, "no drawing and no reason");
            return if told.iter().any(|d| d.what.contains("not valid XML")) {
                Reached::Form
            } else {
                Reached::Meaning
            };
        };
        let ids: Vec<String> = drawing.ids().take(MOST_IDS).map(str::to_owned).collect();
        let mut usable = false;
        for id in ids.iter().map(String::as_str).chain(["", "nothing", "run "]) {
            match drawing.shape(id, &text) {
                Ok(found) => {
                    usable = true;
                    assert!(found.path.is_finite(), "{id}");
                }
                Err(Missing::Id { what, .. }) => assert!(!what.is_empty()),
                Err(Missing::Faulty(problem)) => assert!(!problem.what.is_empty()),
            }
        }
        if !ids.is_empty() {
            followed(&text, &ids[random.random_range(0..ids.len())], random);
        }
        if usable { Reached::Use } else { Reached::Meaning }
    }
}

/// A scene whose pixels follow a shape of the drawing.
fn followed(drawing: &str, id: &str, random: &mut Random) {
    let id = serde_json::Value::from(id);
    let (pitch, seam) = (random.random_range(2.0..40.0), random.random_range(0.0..12.0));
    let kind = if percent(random, 50) { "wire" } else { "strip" };
    let group = match random.random_range(0..3) {
        0 => format!(
            "path: {{pitch_mm: {pitch}, svg: a.svg, id: {id}, kind: {kind}, reversed: {}}}",
            percent(random, 50)
        ),
        1 => {
            format!("path: {{pitch_mm: {pitch}, svg: a.svg, id: {id}, least_radius_mm: {seam}, turn: none}}")
        }
        _ => format!(
            "fill: {{pitch_mm: {pitch}, rows_mm: {}, svg: a.svg, id: {id}, seam_mm: {seam}, direction_deg: {}}}",
            random.random_range(2.0..40.0),
            random.random_range(-360..=360)
        ),
    };
    let outline = if percent(random, 40) {
        format!("outline: {{svg: a.svg, id: {id}, seam_mm: {seam}}}\n")
    } else {
        String::new()
    };
    let text = format!("{outline}pixels:\n  - {group}\nstack: [{{gap_mm: 4, cloth: organza}}]\n");
    match resolve(&text, "scene.yaml", &Beside { drawing, list: LIST, picture: &[] }) {
        Ok(resolved) => used(&resolved, random),
        Err(all) => told::refusal(&all),
    }
}

#[test]
fn drawings_are_refused_with_a_reason_or_give_finite_places() {
    let mut seeds = text_seeds("drawing");
    seeds.extend(DRAWINGS.map(|(_, text)| text.to_owned()));
    run(&Drawings { seeds });
}
