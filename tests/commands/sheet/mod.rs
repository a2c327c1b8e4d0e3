//! `weftlight sheet`: its figures are those of the other commands, its page is well-formed and closed to the outside, every picture has words,
//! and it prints on two pages.
//!
//! PDF pages are counted with `pdfinfo` (poppler), the browser is `chromium`. Where they are missing the tests say so on standard error and check
//! nothing; `.ci/run` sees to it that they are there.

mod motion;
mod print;

use super::sheets::{text, tree, with_demo, words};
use super::{Folder, number};

/// The scenes that come with the program.
const DEMOS: [&str; 5] = ["collar", "badge", "wing", "panel", "hem"];

/// The words beside a label, in a section by its heading.
fn beside(document: &roxmltree::Document<'_>, heading: &str, label: &str) -> String {
    let name = |n: &roxmltree::Node<'_, '_>, name: &str| n.tag_name().name() == name;
    let section = document
        .descendants()
        .find(|n| name(n, "section") && n.children().any(|c| name(&c, "h2") && words(c) == heading))
        .unwrap_or_else(|| panic!("no section {heading}"));
    let row = section
        .descendants()
        .find(|n| name(n, "div") && n.children().any(|c| name(&c, "dt") && words(c) == label))
        .unwrap_or_else(|| panic!("no {label} in {heading}"));
    row.children().filter(|c| name(c, "dd")).map(words).collect::<String>().replace('\u{a0}', " ")
}

/// Nothing in a page comes from outside or runs; every picture has words; headings go down one step at a time.
fn assert_sound(html: &str) {
    let page = tree(html);
    let mut level = 0;
    let mut pictures = 0;
    for node in page.descendants().filter(|n| n.is_element()) {
        let tag = node.tag_name().name();
        assert!(
            !["script", "iframe", "object", "embed", "base", "form", "meta-refresh"].contains(&tag),
            "{tag}"
        );
        for attribute in node.attributes() {
            let (name, value) = (attribute.name(), attribute.value());
            assert!(!name.starts_with("on"), "{name} of {tag}");
            if ["href", "src", "srcset", "action", "data", "poster"].contains(&name) {
                assert!(value.starts_with("data:"), "{name} of {tag}: {}", &value[..value.len().min(60)]);
            }
            assert!(name != "style" || !value.contains("url("), "{value}");
        }
        if tag == "img" {
            pictures += 1;
            let alt = node.attribute("alt").expect("words for every picture");
            assert!(alt.trim().len() > 10, "{alt:?}");
            assert!(node.attribute("width").is_some() && node.attribute("height").is_some());
        }
        if node.attribute("role") == Some("img") {
            assert!(!node.attribute("aria-label").expect("words for every swatch").trim().is_empty());
        }
        if let Some(next) = tag.strip_prefix('h').and_then(|n| n.parse::<usize>().ok()) {
            assert!(next <= level + 1, "{} after h{level}", words(node));
            assert!(next > 1 || level == 0, "one first heading");
            level = next;
        }
    }
    assert!(pictures >= 6, "large, three lights, near, far: {pictures}");
    let outside = html.replace("http://www.w3.org/1999/xhtml", "");
    for foreign in ["http://", "https://", "@import", "url("] {
        assert!(!outside.contains(foreign), "{foreign}");
    }
}

#[test]
fn figures_are_those_of_the_other_commands() {
    for name in ["collar", "hem", "badge"] {
        let folder = with_demo(name);
        let scene = format!("{name}.yaml");
        let told = folder.json(&["sheet", &scene, "-o", "out", "--json"]);
        let plan = folder.json(&["make", &scene, "-o", "make", "--json"]);
        let seen = folder.json(&["preview", &scene, "-o", "seen.png", "--size-px", "160,120", "--json"]);
        let checked = folder.json(&["check", &scene, "--json"]);
        let checked = &checked["summary"];
        assert_eq!(told["numbers"], seen["numbers"], "{name}");
        for key in ["pixels", "size_mm", "thickness_mm"] {
            assert_eq!(told[key], checked[key], "{name} {key}");
        }
        assert_eq!(told["pixels"], plan["pixels"]);
        assert_eq!(told["current"], plan["current"], "{name}");
        assert_eq!(told["battery_h"], plan["power"]["battery_h"], "{name}");
        let grams = |json: &serde_json::Value| -> Vec<f64> {
            json.as_array().expect("cloths").iter().filter_map(|cloth| cloth["mass_g"].as_f64()).collect()
        };
        assert_eq!(grams(&told["cloths"]), grams(&plan["cloths"]), "{name}");

        // And they stand on the page as told.
        let html = text(&folder, &format!("out/{name}-sheet.html"));
        let page = tree(&html);
        let made = |label: &str| beside(&page, "What it is made of", label);
        let pixels = &plan["pixels"];
        assert!(made("Pixels").starts_with(&format!("{pixels} pixels, package ")), "{}", made("Pixels"));
        let lit = &plan["current"]["lit"];
        let [typical, low, high] = ["value", "low", "high"].map(|key| number(lit, key));
        let current = format!("{typical:.0} mA{low:.0} to {high:.0} mA");
        assert!(made("Current").starts_with(&current), "{} {current}", made("Current"));
        let hours = &plan["power"]["battery_h"];
        if hours.is_null() {
            assert!(made("Power").starts_with("Not chosen yet"), "{}", made("Power"));
        } else {
            let [nominal, low, high] = ["value", "low", "high"].map(|key| number(hours, key));
            let expected = format!("{nominal:.1} h{low:.1} to {high:.1} h");
            assert!(made("Battery lasts").starts_with(&expected), "{} {expected}", made("Battery lasts"));
        }
        let kept = &seen["numbers"]["light_kept"];
        let shown = beside(&page, "The numbers that matter", "Light kept");
        assert!(shown.starts_with(&format!("{:.0} % (", 100.0 * number(kept, "value"))), "{shown} {kept}");
    }
}

#[test]
fn lights_and_distances_are_those_of_previews_seen_so() {
    /// The numbers are the same ones, computed once more; the contrast is scaled from one light to another.
    const ROUNDING: f64 = 1e-9;
    let folder = with_demo("collar");
    let told = folder.json(&["sheet", "collar.yaml", "-o", "out", "--json"]);
    let lights = told["lights"].as_array().expect("lights");
    assert_eq!(lights.len(), 3);
    for light in lights {
        let lx = number(light, "room_lx");
        let seen = folder.json(&[
            "preview",
            "collar.yaml",
            "-o",
            "x.png",
            "--size-px",
            "160,120",
            "--room-lx",
            &lx.to_string(),
            "--json",
        ]);
        let expected = &seen["numbers"]["contrast_with_room"];
        if lx == 0.0 {
            assert!(light["contrast_with_room"].is_null());
            continue;
        }
        for key in ["value", "low", "high"] {
            let (a, b) = (number(&light["contrast_with_room"], key), number(expected, key));
            assert!((a / b - 1.0).abs() < ROUNDING, "{lx} lx {key}: {a} {b}");
        }
    }
    let looks = ["no dots", "soft", "dots show", "hard dots"];
    for seen_from in told["distances"].as_array().expect("distances") {
        let metres = number(seen_from, "distance_m");
        let seen = folder.json(&[
            "preview",
            "collar.yaml",
            "-o",
            "x.png",
            "--size-px",
            "160,120",
            "--distance-m",
            &metres.to_string(),
            "--json",
        ]);
        let v = number(&seen["numbers"]["dot_visibility"], "value");
        let class = if v < 1.0 {
            0
        } else if v <= 3.0 {
            1
        } else if v < 10.0 {
            2
        } else {
            3
        };
        assert_eq!(seen_from["look"], looks[class], "{metres} m: {v}");
    }
    // The stretches of distance end where preview says that dots vanish.
    let stretches = told["looks_from"].as_array().expect("stretches");
    let last = stretches.last().expect("one");
    let vanish = number(&told["numbers"]["dots_vanish_beyond"], "value");
    assert_eq!((last["look"].as_str(), last["from_m"].as_f64()), (Some("no dots"), Some(vanish)));
}

#[test]
fn pages_are_sound_closed_and_not_too_large() {
    /// What a mail takes without thought.
    const MOST_BYTES: usize = 3 << 20;
    for name in DEMOS {
        let folder = with_demo(name);
        folder.fine(&["sheet", &format!("{name}.yaml"), "-o", "out"]);
        assert_sound(&text(&folder, &format!("out/{name}-sheet.html")));
        let pdf = folder.read(&format!("out/{name}-sheet.pdf"));
        assert!(pdf.len() < MOST_BYTES, "{name}: {} bytes", pdf.len());
        print::assert_at_most_two_pages(&folder, &format!("out/{name}-sheet.pdf"));
    }
}

#[test]
fn words_are_those_of_the_scene_unless_the_call_says_otherwise() {
    let folder = Folder::new();
    folder.write(
        "own.yaml",
        "name: Own\npixels: [strip: {pitch_mm: 10, count: 5}]\nstack: [{gap_mm: 5, cloth: muslin}]\n\
         sheet:\n  title: The lantern scarf\n  client: an invented walker\n  note: |\n    All of this is invented.\n\n    Second paragraph.\n",
    );
    let told = folder.json(&["sheet", "own.yaml", "-o", "out", "--json"]);
    assert_eq!(
        (told["title"].as_str(), told["client"].as_str(), told["date"].as_str()),
        (Some("The lantern scarf"), Some("an invented walker"), None)
    );
    assert_eq!(told["note"].as_array().expect("paragraphs").len(), 2);
    let html = text(&folder, "out/own-sheet.html");
    assert!(
        html.contains("<p>All of this is invented.</p><p>Second paragraph.</p>")
            && html.contains("for an invented walker")
    );

    let call =
        ["sheet", "own.yaml", "-o", "b.html", "--title", "Other", "--note", "Short.", "--date", "1 December"];
    folder.fine(&call);
    let html = text(&folder, "b.html");
    assert!(html.contains("<h1>Other</h1>") && html.contains("<p>Short.</p>") && html.contains("1 December"));
    assert!(!html.contains("Second paragraph"));
    // The same call gives the same bytes: no clock, no chance.
    folder.fine(&[
        "sheet",
        "own.yaml",
        "-o",
        "c.html",
        "--title",
        "Other",
        "--note",
        "Short.",
        "--date",
        "1 December",
    ]);
    assert_eq!(folder.read("b.html"), folder.read("c.html"));

    folder.write(
        "none.yaml",
        "pixels: [strip: {pitch_mm: 10, count: 5}]\nstack: []\nsheet: {titel: x, note: ''}\n",
    );
    let said = folder.refused(&["sheet", "none.yaml", "-o", "d.html"]);
    assert!(said.contains("titel") && said.contains("title") && said.contains("note"), "{said}");
}

#[test]
fn hostile_words_are_shown_and_not_run() {
    let folder = Folder::new();
    let hostile = "<script>alert(1)</script> & \"two\" 'x' `y`";
    folder.write(
        "odd.yaml",
        "pixels: [strip: {pitch_mm: 10, count: 5}]\nstack:\n  - gap_mm: 5\n    cloth:\n      name: odd\n      title: '<img src=x onerror=alert(2)>'\n      \
         thickness_mm: 1\n      source: none\n      optics: {bulk: {extinction_per_mm: 1, albedo: 0.9}}\nsheet: {client: '</style><b>'}\n",
    );
    folder.fine(&[
        "sheet",
        "odd.yaml",
        "-o",
        "out",
        "--title",
        hostile,
        "--note",
        hostile,
        "--date",
        "<i>now</i>",
    ]);
    let html = text(&folder, "out/odd-sheet.html");
    assert_sound(&html);
    let page = tree(&html);
    let heading = page.descendants().find(|n| n.tag_name().name() == "h1").expect("a heading");
    assert_eq!(words(heading), hostile);
    let all = words(page.root());
    assert!(
        all.contains("<img src=x onerror=alert(2)>")
            && all.contains("</style><b>")
            && all.contains("<i>now</i>")
    );
    assert!(folder.read("out/odd-sheet.pdf").starts_with(b"%PDF"));
}

#[test]
fn long_words_stay_on_two_pages() {
    let folder = with_demo("collar");
    let long = "A long sentence about a lantern collar that never ends. ".repeat(35);
    folder.fine(&["sheet", "collar.yaml", "-o", "out", "--title", &"Longword".repeat(40), "--note", &long]);
    print::assert_at_most_two_pages(&folder, "out/collar-sheet.pdf");
    assert!(text(&folder, "out/collar-sheet.html").contains(long.trim()), "whole on the page");
    let said = folder.refused(&["sheet", "collar.yaml", "-o", "x.html", "--note", &"x".repeat(2001)]);
    assert!(said.contains("at most 2000"), "{said}");
    assert!(
        folder.refused(&["sheet", "collar.yaml", "-o", "x.html", "--title", "  "]).contains("nothing in it")
    );
}

#[test]
fn odd_scenes_have_a_sheet_too() {
    let folder = Folder::new();
    let mut count = 0;
    let mut page = |scene: &str| {
        count += 1;
        let name = format!("s{count}");
        folder.write(&format!("{name}.yaml"), scene);
        folder.fine(&["sheet", &format!("{name}.yaml"), "-o", "out"]);
        let html = text(&folder, &format!("out/{name}-sheet.html"));
        assert_sound(&html);
        print::assert_at_most_two_pages(&folder, &format!("out/{name}-sheet.pdf"));
        words(tree(&html).root()).replace('\u{a0}', " ")
    };
    let bare = page("pixels: [strip: {pitch_mm: 10, count: 5}]\nstack: []\n");
    assert!(
        bare.contains("No cloth lies over the pixels: they are bare.") && bare.contains("bare pixels dazzle"),
        "{bare}"
    );
    assert!(bare.contains("no supply is chosen yet"));
    let unlit = page(
        "pixels: [strip: {pitch_mm: 10, count: 6, levels: [1, 0, 0]}]\nstack: [{gap_mm: 5, cloth: muslin}]\nsupply: {volts: 5, max_ma: 500}\n",
    );
    assert!(unlit.contains("4 of them") && unlit.contains("No battery"), "{unlit}");
    let single = page(
        "pixels: [strip: {pitch_mm: 10, count: 1}]\nstack: [{gap_mm: 5, cloth: felt-wool-ivory}]\nview: {distance_m: 0.4, room_lx: 0}\n",
    );
    assert!(single.contains("Single lights") && single.contains("1 pixel behind"), "{single}");
    let far = page(
        "pixels: [ring: {count: 12, diameter_mm: 100}]\nstack: [{gap_mm: 5, cloth: organza}]\nview: {distance_m: 200}\n",
    );
    assert!(far.contains("Far, from 200 m"), "{far}");
    let many: String = ["muslin", "voile", "organza"]
        .iter()
        .map(|cloth| format!("  - {{gap_mm: 1, cloth: {cloth}}}\n"))
        .collect();
    let many = page(&format!("pixels: [strip: {{pitch_mm: 10, count: 5}}]\nstack:\n{many}"));
    assert!(many.contains("above"), "{many}");

    folder.write("ideal.yaml", "pixels: [point: {}]\nstack: []\n");
    assert!(folder.refused(&["sheet", "ideal.yaml", "-o", "i.html"]).contains("ideal points"));
}

#[test]
fn places_are_tried_before_the_work() {
    let folder = with_demo("collar");
    folder.write("taken", "a file");
    assert!(folder.refused(&["sheet", "collar.yaml", "-o", "taken"]).contains("a file is in the way"));
    assert!(folder.refused(&["sheet", "collar.yaml", "-o", "none/out"]).contains("does not exist"));
    assert!(folder.refused(&["sheet", "collar.yaml", "-o", "none/x.pdf"]).contains("does not exist"));
    assert!(folder.refused(&["sheet", "collar.yaml", "-o", "x.docx"]).contains(".html or .pdf"));
    folder.write("kept.html", "kept");
    let mut mode = std::fs::metadata(folder.path("kept.html")).expect("there").permissions();
    mode.set_readonly(true);
    std::fs::set_permissions(folder.path("kept.html"), mode).expect("set");
    assert!(folder.refused(&["sheet", "collar.yaml", "-o", "kept.html"]).contains("protected"));
    assert_eq!(text(&folder, "kept.html"), "kept");
    folder.fine(&["sheet", "collar.yaml", "-o", "alone.pdf", "--paper", "letter"]);
    assert!(folder.read("alone.pdf").starts_with(b"%PDF"));
    assert!(!folder.names().iter().any(|name| name.starts_with("alone.html")));
}
