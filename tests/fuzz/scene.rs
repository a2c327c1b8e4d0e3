//! Scene files, and what is made of those that are accepted.

use super::harness::{Fuzzed, Random, Reached, run, seeds, text_seeds};
use super::mutate::{self, percent};
use super::pieces::YAML;
use super::told;
use rand::RngExt;
use std::sync::Arc;
use std::time::Duration;
use weftlight::build::make::{figures::Figures, html::html, lists, map, pages::pages, plan, tiles};
use weftlight::cloth::Cloth;
use weftlight::cloth::catalogue::{ClothSource, NamedBytes, NamedText};
use weftlight::diagnose::Diagnostic;
use weftlight::judge::numbers::Layout;
use weftlight::picture::luminance::luminance;
use weftlight::picture::render::{exposure, linear_png, png};
use weftlight::reading::edit::{Edit, edited};
use weftlight::reading::parse;
use weftlight::reading::plain::{Plain, Step};
use weftlight::scene::Scene;
use weftlight::scene::file::{Resolved, resolve, resolve_at_pitch};

/// The shipped scenes.
pub(crate) const SHIPPED: [&str; 9] = [
    include_str!("../../scenes/badge.yaml"),
    include_str!("../../scenes/coat.yaml"),
    include_str!("../../scenes/coat-bent.yaml"),
    include_str!("../../scenes/collar.yaml"),
    include_str!("../../scenes/hem.yaml"),
    include_str!("../../scenes/lantern.yaml"),
    include_str!("../../scenes/panel.yaml"),
    include_str!("../../scenes/waistcoat.yaml"),
    include_str!("../../scenes/wing.yaml"),
];
/// Their drawings.
pub(crate) const DRAWINGS: [(&str, &str); 3] = [
    ("coat", include_str!("../../scenes/coat.svg")),
    ("waistcoat", include_str!("../../scenes/waistcoat.svg")),
    ("wing", include_str!("../../scenes/wing.svg")),
];
/// A piece with a hole, and a run.
pub(crate) const DRAWING: &str = include_str!("seeds/drawing/piece.svg");
pub(crate) const LIST: &str = include_str!("seeds/list/plain.csv");
const OWN_CLOTH: &str = include_str!("seeds/cloth/measured.yaml");

/// Pictures are made of one in so many accepted scenes: stacks take most of a second.
const PICTURE_PERCENT: u32 = 4;
/// Plans are made of this share; tens of milliseconds each.
const PLAN_PERCENT: u32 = 10;
/// Scenes of more pixels are only read: what is done with them takes seconds by itself, and tells nothing new.
const MOST_USED_PIXELS: usize = 2_000;
/// Pages to size beyond this are not drawn, for the same reason.
const MOST_PAGES_AREA_MM2: f64 = 4e6;

/// The files beside a scene: a drawing, a list, a cloth, a picture, by the ends of their names.
pub(crate) struct Beside<'a> {
    pub(crate) drawing: &'a str,
    pub(crate) list: &'a str,
    pub(crate) picture: &'a [u8],
}

impl ClothSource for Beside<'_> {
    fn drawing_text(&self, path: &str) -> Result<NamedText, Vec<Diagnostic>> {
        let shipped = DRAWINGS.iter().find(|(name, _)| path == format!("{name}.svg")).map(|(_, text)| *text);
        let text = shipped.unwrap_or(if path.ends_with(".csv") { self.list } else { self.drawing });
        Ok(NamedText { shown_as: path.to_owned(), text: text.to_owned() })
    }

    fn picture_bytes(&self, path: &str) -> Result<NamedBytes, Vec<Diagnostic>> {
        Ok(NamedBytes { shown_as: path.to_owned(), bytes: self.picture.to_vec() })
    }

    fn by_path(&self, path: &str) -> Result<Arc<Cloth>, Vec<Diagnostic>> {
        weftlight::cloth::file::resolve(OWN_CLOTH, path).map(Arc::new)
    }
}

struct Scenes {
    seeds: Vec<String>,
    picture: Vec<u8>,
}

impl Scenes {
    fn new() -> Scenes {
        let mut all = text_seeds("scene");
        all.extend(SHIPPED.map(str::to_owned));
        let picture = seeds("photo").into_iter().find(|(path, _)| path.ends_with("rgb8.png"));
        Scenes { seeds: all, picture: picture.expect("a small picture").1 }
    }
}

impl Fuzzed for Scenes {
    const NAME: &'static str = "scene";
    const INPUTS: u64 = 300;
    const LONGEST: Duration = Duration::from_secs(60);
    // A text of the greatest size takes some 100 MiB while it is read, and the tables of a stack some tens.
    const MOST_BYTES: usize = 512 << 20;

    fn input(&self, random: &mut Random) -> Vec<u8> {
        mutate::text(random, &self.seeds, &YAML).into_bytes()
    }

    fn hold(&self, input: &[u8], random: &mut Random) -> Reached {
        let text = String::from_utf8_lossy(input);
        let beside = Beside { drawing: DRAWING, list: LIST, picture: &self.picture };
        if percent(random, 20) {
            edits_keep_it_readable(&text, random);
        }
        if percent(random, 5) {
            let pitch = random.random_range(0.05..60.0);
            if let Err(all) = resolve_at_pitch(&text, "scene.yaml", &beside, pitch) {
                told::refusal(&all);
            }
        }
        match resolve(&text, "scene.yaml", &beside) {
            Ok(resolved) => {
                used(&resolved, random);
                Reached::Use
            }
            Err(all) => {
                told::refusal(&all);
                if parse(&text).is_ok() { Reached::Meaning } else { Reached::Form }
            }
        }
    }
}

/// What must hold for an accepted scene; a share of them is made and drawn.
pub(crate) fn used(resolved: &Resolved, random: &mut Random) {
    told::shown(&resolved.warnings);
    let scene = &resolved.scene;
    complete(scene);
    if scene.pixels.len() > MOST_USED_PIXELS {
        return;
    }
    if percent(random, PLAN_PERCENT) {
        made(resolved);
    }
    if percent(random, PICTURE_PERCENT) {
        drawn(scene.clone());
    }
}

fn complete(scene: &Scene) {
    for pixel in &scene.pixels {
        told::finite("place", pixel.at.map(|v| v.0));
        told::finite("turn and gap", [pixel.turn_rad, pixel.extra_gap.0, scene.depth_mm(pixel)]);
        told::shares("level", pixel.levels.iter().copied());
        assert_eq!(pixel.levels.len(), pixel.package.dies.len());
    }
    let (low, high) = scene.shown_extent();
    told::finite("extent", low.iter().chain(&high).map(|v| v.0));
    told::finite("thickness", [scene.thickness().0]);
    assert!(scene.view.size_px.iter().all(|side| (1..=8192).contains(side)), "{:?}", scene.view.size_px);
    for wavelength in [400.0, 550.0, 700.0] {
        for layer in scene.stack_at(weftlight::quantity::Nanometres(wavelength)).layers {
            let optics = layer.optics;
            told::finite(
                "layer",
                [layer.gap_below.0, layer.thickness.0, optics.extinction.0, optics.asymmetry],
            );
            told::shares("albedo and holes", [optics.albedo, optics.openness]);
        }
    }
    if let Some(pattern) = &scene.pattern
        && scene.pixels.len() <= MOST_USED_PIXELS
    {
        for time_s in [0.0, 0.37, 1.0, 1e4] {
            let levels = pattern.levels_at(time_s);
            assert_eq!(levels.len(), scene.pixels.len());
            told::shares("level of the pattern", levels.into_iter().flatten());
        }
    }
}

fn made(resolved: &Resolved) {
    let Ok(plan) = plan(resolved, None) else { return };
    told::finite("thickness", [plan.thickness_mm, plan.air_mm]);
    assert_eq!(map::csv(&plan).lines().count(), 1 + plan.places.len());
    let (low, high) = resolved.scene.shown_extent();
    let json = lists::json(&plan).to_string();
    assert!(!json.contains("null,null"), "numbers that are none in the plan");
    if (high[0] - low[0]).0 * (high[1] - low[1]).0 < MOST_PAGES_AREA_MM2 {
        let drawings = tiles::drawings(&plan, weftlight::paper::Paper::A4);
        let figures = Figures { chart: None, preview: None };
        let page = html(&plan, &drawings, &figures);
        assert!(!page.contains("NaN") && !page.contains(">inf"), "a number that is none on the sheet");
        assert!(!pages(&plan, &drawings, &figures).is_empty());
    }
}

/// Pictures, and numbers of the same scene, in small.
fn drawn(mut scene: Scene) {
    scene.view.size_px = [64, 48];
    let picture = luminance(&scene);
    for plane in &picture.image.planes {
        told::finite("luminance", plane.iter().map(|v| f64::from(*v)));
    }
    let exposure = exposure(&scene, &picture);
    told::finite("exposure", [exposure.0]);
    assert!(png(&scene, &picture, exposure).is_ok());
    assert_eq!(linear_png(&picture).is_ok(), picture.peak().0 > 0.0, "peak {:?}", picture.peak());
    let numbers = Layout::of(&scene).numbers(&scene);
    assert!(!format!("{numbers:?}").contains("NaN"), "{numbers:?}");
}

/// Whatever is changed in a text that is YAML, it stays YAML and says what was asked.
pub(crate) fn edits_keep_it_readable(text: &str, random: &mut Random) {
    let Ok(tree) = parse(text) else {
        assert!(edited(text, &[Edit::Remove { path: vec![Step::Key("stack".into())] }]).is_err());
        return;
    };
    let mut at = Plain::from(&tree);
    let mut path = Vec::new();
    while percent(random, 80) {
        at = match at {
            Plain::List(mut items) if !items.is_empty() => {
                let i = random.random_range(0..items.len());
                path.push(Step::Index(i));
                items.swap_remove(i)
            }
            Plain::Map(mut entries) if !entries.is_empty() => {
                let (key, value) = entries.swap_remove(random.random_range(0..entries.len()));
                path.push(Step::Key(key));
                value
            }
            _ => break,
        };
    }
    let value = match random.random_range(0..6) {
        0 => Plain::Number(random.random_range(-1e3..1e3)),
        1 => Plain::Text("a: b # c\n- \"d\"".to_owned()),
        2 => Plain::Nothing,
        3 => Plain::Flag(true),
        4 => Plain::Map(vec![("x: y".to_owned(), Plain::List(vec![Plain::Text(String::new())]))]),
        _ => Plain::Text("1e5".to_owned()),
    };
    let edit = match random.random_range(0..4) {
        0 if !path.is_empty() => Edit::Remove { path: path.clone() },
        1 => Edit::Insert { path: path.clone(), index: random.random_range(0..3), value },
        2 => {
            Edit::Move { path: path.clone(), from: random.random_range(0..3), to: random.random_range(0..3) }
        }
        _ => Edit::Set { path: path.clone(), value: value.clone() },
    };
    let Ok(new) = edited(text, std::slice::from_ref(&edit)) else { return };
    let tree =
        parse(&new).unwrap_or_else(|fault| panic!("{edit:?} leaves what is no YAML: {}\n{new}", fault.what));
    if let Edit::Set { path, value } = &edit {
        assert_eq!(Plain::from(&tree).at(path), Some(value), "{new}");
    }
}

#[test]
fn scenes_are_refused_with_a_reason_or_give_finite_numbers() {
    run(&Scenes::new());
}
