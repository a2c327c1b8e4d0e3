//! What the commands say of a cloth that does not stand equally far off all pixels.

use super::{Folder, number};

const LAYER: &str =
    "gap_mm: 3, cloth: felt-wool-ivory, dome: {rise_mm: 5, centre_mm: [20, 0], radius_mm: 60}";

fn folder(groups: &str, layer: &str) -> Folder {
    let folder = Folder::new();
    let view = "view: {size_px: [320, 160]}";
    folder.write("scene.yaml", format!("pixels: [{groups}]\nstack: [{{{layer}}}]\n{view}\n"));
    folder
}

fn strip(more: &str) -> String {
    format!("{{strip: {{pitch_mm: 10, count: 5{more}}}}}")
}

#[test]
fn check_tells_the_range_of_the_gaps() {
    // 3 mm and a paraboloid of 5 mm: the middle pixel has 8 mm, those at the ends 3 + 5 (1 - 1/9).
    let dome = folder(&strip(""), LAYER);
    let said = dome.fine(&["check", "scene.yaml"]);
    assert!(said.contains("between 7.44 mm and 8 mm"), "{said}");
    let told = dome.json(&["check", "scene.yaml", "--json"]);
    let range: Vec<f64> =
        told["summary"]["gap_range_mm"].as_array().expect("two").iter().filter_map(|v| v.as_f64()).collect();
    assert!((range[0] - 3.0 - 5.0 * 8.0 / 9.0).abs() < 1e-9 && (range[1] - 8.0).abs() < 1e-9, "{range:?}");
    assert_eq!(told["summary"]["uneven"], true);
    let level = folder(&strip(""), "gap_mm: 3, cloth: felt-wool-ivory");
    assert!(!level.fine(&["check", "scene.yaml"]).contains("uneven"));
    let told = level.json(&["check", "scene.yaml", "--json"]);
    assert_eq!(told["summary"]["gap_range_mm"], serde_json::json!([3.0, 3.0]));
}

#[test]
fn preview_says_so_and_gives_the_widest_spot() {
    let dome = folder(&strip(""), LAYER);
    let said = dome.fine(&["preview", "scene.yaml"]);
    assert!(said.contains("The stand-off is uneven: 7.44 mm to 8 mm over the pixels."), "{said}");
    let numbers = &dome.json(&["preview", "scene.yaml", "--json"])["numbers"];
    let (narrow, wide) = (number(&numbers["spot_width"], "value"), number(&numbers["widest_spot"], "value"));
    assert!(narrow < wide && wide < 1.2 * narrow, "{narrow} {wide}");
    let level = folder(&strip(""), "gap_mm: 3, cloth: felt-wool-ivory");
    let told = level.json(&["preview", "scene.yaml", "--json"]);
    assert!(told["numbers"]["widest_spot"].is_null());
}

#[test]
fn commands_that_vary_the_gap_say_what_it_means() {
    let two = folder(
        &format!("{}, {}", strip(""), strip(", start_mm: [0, 30], gap_mm: 6")),
        "gap_mm: 3, cloth: felt-wool-ivory",
    );
    let said = two.fine(&["compare", "scene.yaml", "--cloth", "jersey"]);
    assert!(said.contains("The stand-off is uneven: 3 to 6 mm over the pixels"), "{said}");
    assert!(said.contains("(3 mm in the scene)"), "{said}");
}

#[test]
fn spread_takes_the_gap_of_the_first_pixel() {
    let width = |group_gap: &str, gap: &str| {
        let groups = format!("{}, {}", strip(group_gap), strip(", start_mm: [0, 30], gap_mm: 2"));
        let told = folder(&groups, &format!("gap_mm: {gap}, cloth: felt-wool-ivory")).json(&[
            "spread",
            "scene.yaml",
            "--json",
        ]);
        number(&told, "spot_width_mm")
    };
    assert_eq!(width(", gap_mm: 7", "3"), width("", "7"));
    assert!(width("", "3") < width("", "7"));
}

#[test]
fn hostile_reliefs_are_refused_with_exit_code_2() {
    for (groups, layer) in [
        (strip(", gap_mm: -1"), "gap_mm: 3, cloth: muslin"),
        (strip(", gap_mm: 1e9"), "gap_mm: 3, cloth: muslin"),
        (strip(""), "gap_mm: 3, cloth: muslin, dome: {rise_mm: 5, radius_mm: 0}"),
        (strip(""), "gap_mm: 3, cloth: muslin, dome: {rise_mm: -5, radius_mm: 90}"),
        (strip(""), "gap_mm: 3, cloth: muslin, quilt: {rise_mm: 5, cell_mm: 0}"),
        (strip(""), "gap_mm: 3, cloth: muslin, quilt: []"),
    ] {
        let said = folder(&groups, layer).run(&["check", "scene.yaml"]);
        assert_eq!(said.code, Some(2), "{layer}: {}", said.err);
        assert!(said.err.contains("scene.yaml:"), "{layer}: {}", said.err);
    }
}
