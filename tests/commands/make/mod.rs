//! `weftlight make`: the files agree with each other and with the scene, are well-formed and closed to the outside, and print to size.

mod map;
mod print;

use super::sheets::{text, tree, with_demo, words};
use super::{Folder, number, skipped};

const SVG: &str = "http://www.w3.org/2000/svg";

/// The rows of a table, by its caption, each as the words of its cells.
fn rows(document: &roxmltree::Document<'_>, caption: &str) -> Vec<Vec<String>> {
    let table = document
        .descendants()
        .find(|n| {
            n.has_tag_name("table")
                && n.children().any(|c| c.tag_name().name() == "caption" && words(c) == caption)
        })
        .or_else(|| {
            document.descendants().find(|n| {
                n.tag_name().name() == "table"
                    && n.children().any(|c| c.tag_name().name() == "caption" && words(c) == caption)
            })
        })
        .unwrap_or_else(|| panic!("no table {caption}"));
    let body = table.children().find(|n| n.tag_name().name() == "tbody").expect("a body");
    body.children()
        .filter(|n| n.is_element())
        .map(|row| row.children().filter(|n| n.is_element()).map(words).collect())
        .collect()
}

#[test]
fn counts_agree_in_sheet_map_list_drawing_and_preview() {
    for (name, pixels, pieces) in [
        ("collar", 24, 1),
        ("wing", 62, 4),
        ("hem", 64, 1),
        ("badge", 16, 1),
        ("panel", 256, 1),
        ("waistcoat", 65, 10),
    ] {
        let folder = with_demo(name);
        let scene = format!("{name}.yaml");
        let plan = folder.json(&["make", &scene, "-o", "out", "--json"]);
        assert_eq!(plan["pixels"], pixels, "{name}");
        assert_eq!(plan["pieces"].as_array().expect("pieces").len(), pieces, "{name}");

        let html = text(&folder, "out/sheet.html");
        let sheet = tree(&html);
        let cut = rows(&sheet, "Pieces in the order of the data");
        assert_eq!(cut.len(), pieces);
        assert_eq!(
            cut.iter().map(|row| row[2].parse::<usize>().expect("a count")).sum::<usize>(),
            pixels,
            "{name}"
        );
        assert!(
            words(sheet.root())
                .contains(&format!("{pixels} pixels, counted from 0 at data in to {}", pixels - 1))
        );

        assert_eq!(text(&folder, "out/map.csv").lines().count(), 1 + pixels);
        let map: serde_json::Value = serde_json::from_slice(&folder.read("out/map.json")).expect("JSON");
        assert_eq!(map["count"], pixels);
        assert_eq!(map["pixels"].as_array().expect("pixels").len(), pixels);
        assert!(text(&folder, "out/map.h").contains(&format!("#define PIXEL_COUNT {pixels}\n")));

        let list: Vec<String> =
            text(&folder, "out/cut-list.csv").lines().skip(1).map(str::to_owned).collect();
        let listed: usize = list
            .iter()
            .map(|line| line.split(',').nth(3).expect("a count").parse::<usize>().expect("a count"))
            .sum();
        assert_eq!((list.len(), listed), (pieces, pixels), "{name}");

        let seen = folder.json(&["preview", &scene, "-o", "seen.png", "--size-px", "160,120", "--json"]);
        assert_eq!(seen["pixels"], pixels, "{name}");
    }
}

#[test]
fn pieces_are_as_long_as_their_pixels_ask_for() {
    /// Written to a thousandth of a millimetre.
    const ROUNDING_MM: f64 = 6e-4;
    let folder = with_demo("collar");
    let plan = folder.json(&["make", "collar.yaml", "-o", "out", "--json"]);
    // 24 pixels, 16.67 mm each, from cut mark to cut mark.
    assert!((number(&plan["pieces"][0], "cut_mm") - 24.0 * 16.67).abs() < ROUNDING_MM);
    let cut = text(&folder, "out/cut-list.csv");
    assert!(cut.lines().nth(1).expect("a piece").starts_with("P1,strip,5050,24,0,23,400.08,16.67,"), "{cut}");

    // The wire of the wing: 23 pixels, 22 steps of 33 mm.
    let folder = with_demo("wing");
    let plan = folder.json(&["make", "wing.yaml", "-o", "out", "--json"]);
    assert!((number(&plan["pieces"][0], "cut_mm") - 22.0 * 33.0).abs() < ROUNDING_MM);
    // The cloth: areal mass times the area of the outline.
    let cloth = &plan["cloths"][1];
    let mass = number(cloth, "areal_mass_g_m2") * number(cloth, "area_mm2") / 1e6;
    assert!((number(cloth, "mass_g") - mass).abs() < 1e-9 && cloth["from_outline"] == true);

    // Without an outline: the pixels' rectangle with the margin that pictures show, here 20 mm.
    let folder = Folder::new();
    folder.write(
        "two.yaml",
        "pixels: [strip: {pitch_mm: 10, count: 11}]\nstack: [{gap_mm: 5, cloth: muslin}]\nview: {margin_mm: 20}\n",
    );
    let plan = folder.json(&["make", "two.yaml", "-o", "out", "--json"]);
    assert!((number(&plan["cloths"][0], "area_mm2") - 140.0 * 40.0).abs() < 1e-6);
}

#[test]
fn a_sleeve_is_stripped_where_it_is_soldered_and_is_no_cloth() {
    let folder = with_demo("hem");
    let plan = folder.json(&["make", "hem.yaml", "-o", "out", "--json"]);
    let sleeve = &plan["pieces"][0]["sleeve"];
    // Soldered at data in only: 400 mm less 10 mm.
    assert_eq!(
        (number(sleeve, "off_in_mm"), number(sleeve, "off_out_mm"), number(sleeve, "stays_mm")),
        (10.0, 0.0, 390.0)
    );
    assert_eq!(plan["cloths"].as_array().expect("cloths").len(), 1, "the jersey alone");
    let html = text(&folder, "out/sheet.html");
    let joints = rows(&tree(&html), "Places to solder, in the order of the data");
    assert!(joints[0][6].contains("miniature") && joints[0][6].contains("sleeve"), "{joints:?}");
}

#[test]
fn wires_lead_from_piece_to_piece_and_every_end_is_counted() {
    let folder = with_demo("wing");
    let plan = folder.json(&["make", "wing.yaml", "-o", "out", "--json"]);
    let wires = plan["wires"].as_array().expect("wires");
    // Data from the controller, two feeds, three wires between four pieces.
    assert_eq!(wires.len(), 1 + 2 + 3);
    let (a, b) = (&plan["pieces"][0]["to_mm"], &plan["pieces"][1]["from_mm"]);
    let far = |i: usize| a[i].as_f64().expect("mm") - b[i].as_f64().expect("mm");
    // The straight way and 20 mm at each end.
    assert!((number(&wires[3], "length_mm") - far(0).hypot(far(1)) - 40.0).abs() < 1e-9);
    // Two conductors of the data wire and of each feed, at one end; three of the others, at both.
    assert_eq!(plan["wire_ends_to_solder"], 2 + 2 * 2 + 3 * 3 * 2);
    let ends: u64 = plan["joints"]
        .as_array()
        .expect("joints")
        .iter()
        .flat_map(|joint| ["S", "D", "G"].map(|letter| joint["wire_ends"][letter].as_u64().expect("a count")))
        .sum();
    assert_eq!(ends, 24);
}

#[test]
fn the_sheet_holds_nothing_foreign_and_shows_names_as_they_are() {
    let folder = Folder::new();
    let name = "<script>alert(1)</script> & \"two\" */ `x` =1+1";
    folder.write(
        "odd.yaml",
        format!(
            "name: '{name}'\npixels: [strip: {{pitch_mm: 10, count: 5}}]\nstack:\n  - gap_mm: 5\n    cloth:\n      name: odd\n      \
             title: '<b onclick=\"x\">cloth</b>'\n      thickness_mm: 1\n      source: none\n      optics: {{bulk: {{extinction_per_mm: 1, albedo: 0.9}}}}\n\
             supply: {{volts: 5, max_ma: 500}}\n"
        ),
    );
    folder.fine(&["make", "odd.yaml", "-o", "out"]);
    let html = text(&folder, "out/sheet.html");
    let sheet = tree(&html);
    let heading = sheet.descendants().find(|n| n.tag_name().name() == "h1").expect("a heading");
    assert_eq!(words(heading), format!("{name}: make sheet"));
    assert!(words(sheet.root()).contains("<b onclick=\"x\">cloth</b>"));
    for node in sheet.descendants().filter(|n| n.is_element()) {
        let tag = node.tag_name().name();
        assert!(
            !["script", "iframe", "object", "embed", "image", "foreignObject", "base"].contains(&tag),
            "{tag}"
        );
        for attribute in node.attributes() {
            assert!(!attribute.name().starts_with("on"), "{} of {tag}", attribute.name());
            if ["href", "src", "srcset", "action"].contains(&attribute.name()) {
                // The preview is part of the file.
                let own = tag == "img" && attribute.value().starts_with("data:image/png;base64,iVBOR");
                assert!(own || attribute.value() == "data:,", "{tag}");
            }
        }
    }
    assert!(!html.contains("@import") && !html.contains("url(http"));
    let ids: Vec<&str> = sheet.descendants().filter_map(|n| n.attribute("id")).collect();
    let different: std::collections::HashSet<&str> = ids.iter().copied().collect();
    assert_eq!(ids.len(), different.len(), "an id stands for one element");
    // A name is no formula and ends no comment.
    let header = text(&folder, "out/map.h");
    assert_eq!(header.matches("*/").count(), 1, "{header}");
}

#[test]
fn a_drawing_with_programs_and_foreign_pictures_makes_a_sheet_without_them() {
    let folder = Folder::new();
    folder.write(
        "bad.svg",
        r#"<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="200mm" height="100mm" viewBox="0 0 200 100">
        <script>alert(1)</script><image xlink:href="http://example.invalid/x.png"/>
        <path id="way" onclick="alert(2)" d="M10 50 H190"/></svg>"#,
    );
    folder.write("bad.yaml", "pixels: [path: {pitch_mm: 20, svg: bad.svg, id: way}]\nstack: []\n");
    let said = folder.run(&["make", "bad.yaml", "-o", "out"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    assert!(said.err.contains("script"), "it is said that they are ignored: {}", said.err);
    let html = text(&folder, "out/sheet.html");
    assert!(!html.contains("<script") && !html.contains("alert(") && !html.contains("example.invalid"));
}

#[test]
fn the_limits_of_a_supply_are_said() {
    let folder = Folder::new();
    let scene = |supply: &str| {
        format!("pixels: [strip: {{pitch_mm: 16.67, count: 60}}]\nstack: []\nsupply: {supply}\n")
    };
    folder.write("zero.yaml", scene("{volts: 0}"));
    assert!(folder.refused(&["make", "zero.yaml", "-o", "out"]).contains("`volts` is too small"));

    // 60 pixels full white draw about 3.6 A; two small cells give far less.
    folder.write(
        "weak.yaml",
        scene("{battery: {chemistry: alkaline, cells: 3, capacity_mah: 1000}, volts: 4.5}"),
    );
    let said = folder.fine(&["make", "weak.yaml", "-o", "out"]);
    assert!(said.contains("the battery may give for long 200 mA: cap the levels"), "{said}");
    let plan = folder.json(&["make", "weak.yaml", "-o", "out", "--json"]);
    assert!(number(&plan["power"]["unfavourable"], "brightness") < 20.0, "{plan:#}");

    folder.write("pin.yaml", scene("{kind: board_pin}"));
    assert!(folder.fine(&["make", "pin.yaml", "-o", "out"]).contains("through a pin of a controller board"));

    let said = folder.refused(&["make", "pin.yaml", "-o", "out", "--last-hours", "4"]);
    assert!(said.contains("names no battery"), "{said}");
    let said = folder.fine(&["make", "weak.yaml", "-o", "out", "--last-hours", "4"]);
    assert!(said.contains("To last 4.0 h:"), "{said}");
}

#[test]
fn places_are_tried_before_the_work() {
    let folder = with_demo("collar");
    folder.write("taken", "a file");
    assert!(folder.refused(&["make", "collar.yaml", "-o", "taken"]).contains("a file is in the way"));
    assert!(folder.refused(&["make", "collar.yaml", "-o", "none/out"]).contains("does not exist"));
    assert!(
        folder
            .refused(&["make", "collar.yaml", "-o", "out", "--map", "map.txt"])
            .contains(".csv, .json or .h")
    );
    assert!(folder.refused(&["make", "collar.yaml", "--csv", "collar.yaml"]).contains("was read"));
    folder.write("none.yaml", "pixels: []\nstack: []\n");
    assert!(folder.refused(&["make", "none.yaml", "-o", "out"]).contains("`pixels` is empty"));
    folder.write("ideal.yaml", "pixels: [point: {}]\nstack: []\n");
    assert!(folder.refused(&["make", "ideal.yaml", "-o", "out"]).contains("ideal points"));
}

#[test]
fn a_hundred_thousand_pixels_get_an_overview_and_lists() {
    let folder = Folder::new();
    folder.write(
        "many.yaml",
        "pixels: [grid: {package: \"2020\", columns: 400, rows: 250, pitch_mm: 5}]\nstack: []\nsupply: {volts: 5, max_ma: 60000}\n",
    );
    let said = folder.fine(&["make", "many.yaml", "-o", "out"]);
    assert!(
        said.contains(
            "the scene has 100000 pixels; up to 5000 are drawn to size: only the overview is drawn"
        ),
        "{said}"
    );
    assert_eq!(text(&folder, "out/map.csv").lines().count(), 100_001);
    /// What a browser opens without trouble.
    const MOST_BYTES: usize = 4 << 20;
    assert!(folder.read("out/sheet.html").len() < MOST_BYTES);
}

#[test]
fn as_powered_shows_what_the_supply_allows() {
    let folder = Folder::new();
    let scene = |supply: &str| {
        format!(
            "pixels: [strip: {{pitch_mm: 16.67, count: 60}}]\nstack: [{{gap_mm: 8, cloth: muslin}}]\n{supply}view: {{exposure_ev: 5, size_px: [400, 40]}}\n"
        )
    };
    folder.write("weak.yaml", scene("supply: {volts: 5, max_ma: 1000, wire_awg: 26, wire_mm: 600}\n"));
    let plain = folder.json(&["preview", "weak.yaml", "-o", "plain.png", "--json"]);
    let powered = folder.json(&["preview", "weak.yaml", "-o", "powered.png", "--as-powered", "--json"]);
    assert!(plain["as_powered"].is_null());
    // Light goes with the levels where no voltage is lost, and is less where some is.
    let share = number(&powered, "mean_cd_m2") / number(&plain, "mean_cd_m2");
    let factor = number(&powered["as_powered"], "level_factor");
    assert!(share < 1.0 && factor < 1.0, "{share} {factor}");
    assert!(number(&powered["as_powered"], "supply_a") <= 1.0 + 1e-9);
    assert_ne!(folder.read("plain.png"), folder.read("powered.png"));
    let said = folder.fine(&["preview", "weak.yaml", "-o", "powered.png", "--as-powered"]);
    assert!(said.contains("As powered, typical parts: "), "{said}");

    folder.write("none.yaml", scene(""));
    assert!(
        folder.refused(&["preview", "none.yaml", "-o", "x.png", "--as-powered"]).contains("names no supply")
    );
}
