//! `weftlight cloth`: the catalogue as listed, and single cloths.

use super::{Folder, Picture, number};
use std::path::Path;

/// Names of the files in `fabrics/`.
fn fabrics() -> Vec<String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fabrics");
    std::fs::read_dir(folder)
        .expect("the folder is there")
        .map(|entry| entry.expect("readable").path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "yaml"))
        .map(|path| path.file_stem().expect("a name").to_string_lossy().into_owned())
        .collect()
}

#[test]
fn every_cloth_is_listed() {
    let folder = Folder::new();
    let out = folder.fine(&["cloth", "list"]);
    let listed: Vec<&str> = out.lines().filter_map(|line| line.split_whitespace().next()).collect();
    for name in fabrics() {
        assert!(listed.contains(&name.as_str()), "{name}: {out}");
    }
    assert!(out.contains("not measurements"), "{out}");
    assert!(!out.contains("0.0000"), "no row of noughts: {out}");
    let told = folder.json(&["cloth", "list", "--json"]);
    let cloths = told.as_array().expect("a list");
    assert_eq!(cloths.len(), fabrics().len());
    for cloth in cloths {
        for light in cloth["diffuse_light"].as_array().expect("three colours") {
            let [through, low, high] = ["value", "low", "high"].map(|k| number(&light["transmittance"], k));
            let back = number(light, "reflectance");
            assert!(0.0 <= low && low <= through && through <= high && high <= 1.0, "{cloth:#}");
            assert!(back >= 0.0 && through + back <= 1.0 + 1e-9, "no light is made: {cloth:#}");
        }
    }
    assert!(folder.names().is_empty(), "a list writes nothing");
}

#[test]
fn a_cloth_of_the_catalogue() {
    let folder = Folder::new();
    let out = folder.fine(&["cloth", "show", "felt-wool-red"]);
    assert!(out.starts_with("Wool felt, red, 3 mm (felt-wool-red): 3 mm thick"), "{out}");
    assert!(out.contains("under 0.01 %") && !out.contains("0.0000"), "{out}");
    let source: Vec<&str> = out.lines().filter(|line| line.starts_with("Source: ")).collect();
    assert!(source.len() == 1 && source[0].len() < 200, "one short source: {out}");
    assert!(out.contains("\n- The mass alone"), "notes on lines of their own: {out}");
    assert_eq!(folder.names(), ["renders/", "renders/cloth-felt-wool-red.png"]);
    let picture = Picture::of(&folder.read("renders/cloth-felt-wool-red.png"));
    let [r, g, b] = picture.at(240, 240);
    assert!(r > 2 * g && r > 2 * b, "a red spot: {r} {g} {b}");
    let told = folder.json(&["cloth", "show", "felt-wool-red", "-o", "red.png", "--json"]);
    assert_eq!(
        (told["name"].as_str(), &told["files"]),
        (Some("felt-wool-red"), &serde_json::json!(["red.png"]))
    );
    assert!(told["notes"].as_array().is_some_and(|notes| notes.len() > 2), "{told:#}");
    assert_eq!(
        folder.read("red.png"),
        folder.read("renders/cloth-felt-wool-red.png"),
        "the same picture again"
    );
}

#[test]
fn a_cloth_file() {
    let folder = Folder::new();
    // A name that would lead out of the folder, were it used for the picture's path.
    folder.write(
        "own.yaml",
        "name: ../../elsewhere\nthickness_mm: 1\nsource: by hand\noptics: {bulk: {extinction_per_mm: 2, albedo: 1}}\n",
    );
    let out = folder.fine(&["cloth", "show", "own.yaml"]);
    assert!(out.contains("Source: by hand.") && out.contains("no uncertainty given"), "{out}");
    assert_eq!(folder.names(), ["own.yaml", "renders/", "renders/cloth-own.png"]);
    let told = folder.json(&["cloth", "show", "own.yaml", "--json"]);
    assert_eq!(number(&told, "optical_thickness"), 2.0);
    assert_eq!(told["notes"], serde_json::json!([]));
    let green = &told["diffuse_light"][1];
    // Nothing is absorbed, so what does not come through comes back.
    let sum = number(&green["transmittance"], "value") + number(green, "reflectance");
    assert!((sum - 1.0).abs() < 1e-6, "{sum}");
}

#[test]
fn what_is_no_cloth() {
    let folder = Folder::new();
    let err = folder.refused(&["cloth", "show", "organzza"]);
    assert!(err.contains("Did you mean `organza`?") && err.contains("felt-wool-ivory"), "{err}");
    assert!(folder.refused(&["cloth", "show", "zebra"]).contains("ends in .yaml"));
    assert!(folder.refused(&["cloth", "show", ""]).contains("no cloth of this name"));
    assert!(folder.refused(&["cloth", "show", "none.yaml"]).contains("there is no such file"));
    folder.write(
        "bad.yaml",
        "name: bad\nthickness_mm: -1\noptics: {bulk: {extinction_per_mm: 2, albedo: 1}}\n",
    );
    assert!(folder.refused(&["cloth", "show", "bad.yaml"]).contains("bad.yaml:2:15"));
    let err = folder.refused(&["cloth", "show", "organza", "-o", "nowhere/a.png"]);
    assert!(err.contains("the folder `nowhere` does not exist"), "{err}");
}

#[test]
fn check_tells_what_a_file_holds() {
    let folder = Folder::new();
    folder.write("collar.yaml", super::demo("collar"));
    let out = folder.fine(&["check", "collar.yaml"]);
    assert!(out.starts_with("collar.yaml is in order.\nCollar: 24 pixels of package 5050."), "{out}");
    let told = folder.json(&["check", "collar.yaml", "--json"]);
    assert_eq!((&told["in_order"], &told["summary"]["pixels"]), (&true.into(), &24.into()));
    for kind in ["scene", "cloth"] {
        let schema = folder.json(&["check", "--schema", kind]);
        assert_eq!(schema["type"], "object", "{kind}");
    }
    let organza = weftlight::cloth::catalogue::text("organza").expect("listed");
    folder.write("organza.yaml", organza);
    assert!(folder.fine(&["check", "organza.yaml", "--as", "cloth"]).contains("Organza, white (organza)"));
}
