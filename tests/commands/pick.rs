//! `weftlight pick`: the best trade-offs, and what cannot be had.

use crate::{Folder, Picture, number};

const SCENE: &str = "name: Cuff\npixels: [strip: {pitch_mm: 10, count: 8}]\nstack: [{gap_mm: 6, cloth: muslin}]\nlight: {level: 0.4}\n";
const FEW: [&str; 8] = [
    "--cloth",
    "felt-wool-ivory*",
    "--cloth",
    "felt-craft-thick",
    "--cloth",
    "organza",
    "--gap-mm",
    "0,4,8,10,12,14,16,18,20,24,28",
];

fn folder() -> Folder {
    let folder = Folder::new();
    folder.write("cuff.yaml", SCENE);
    folder
}

fn call<'a>(more: &[&'a str]) -> Vec<&'a str> {
    ["pick", "cuff.yaml"].iter().chain(&FEW).chain(more).copied().collect()
}

#[test]
fn the_best_trade_offs_as_chart_table_and_figures() {
    let folder = folder();
    let printed = folder.fine(&call(&["--json", "--csv", "cuff.csv"]));
    let found: serde_json::Value = serde_json::from_str(&printed).expect("JSON");
    let best = found["best"].as_array().expect("a list");
    assert!(best.len() > 1, "something to trade: {best:?}");
    for pair in best.windows(2) {
        assert!(number(&pair[0], "thickness_mm") <= number(&pair[1], "thickness_mm"), "thinnest first");
        assert!(
            number(&pair[0], "mean_cd_m2") <= number(&pair[1], "mean_cd_m2"),
            "and the brighter costs room"
        );
    }
    for way in best {
        assert!(number(way, "dot_visibility") < 1.0);
        let visibility = &way["numbers"]["dot_visibility"];
        assert_eq!(number(visibility, "value"), number(way, "dot_visibility"));
        assert!(way["cloth"].as_str().expect("a name").starts_with("felt"), "organza hides nothing");
    }
    let fallen: f64 = found["fell_away"].as_array().expect("a list").iter().map(|f| number(f, "count")).sum();
    let others = found["others"].as_array().expect("a list").len();
    assert_eq!(best.len() as f64 + others as f64 + fallen, number(&found, "combinations"));

    // The same scene written down and looked at has the same figures.
    let one = &best[0];
    let layers = number(one, "layers") as usize;
    let mut stack =
        format!("{{gap_mm: {}, cloth: {}}}", number(one, "gap_mm"), one["cloth"].as_str().expect("a name"));
    for _ in 1..layers {
        stack += &format!(", {{gap_mm: 0, cloth: {}}}", one["cloth"].as_str().expect("a name"));
    }
    let text = SCENE.replace("{gap_mm: 6, cloth: muslin}", &stack);
    folder.write("again.yaml", text);
    let seen = folder.json(&["preview", "again.yaml", "--size-px", "64,64", "--json"]);
    assert_eq!(seen["numbers"]["dot_visibility"], one["numbers"]["dot_visibility"]);
    assert_eq!(seen["numbers"]["mean_luminance"], one["numbers"]["mean_luminance"]);

    let svg = String::from_utf8(folder.read("renders/cuff-pick.svg")).expect("text");
    assert!(svg.contains("<title") && svg.contains("<desc") && svg.contains("Wool felt"));
    assert!(Picture::of(&folder.read("renders/cuff-pick.png")).info.width > 1000);
    let table = String::from_utf8(folder.read("cuff.csv")).expect("text");
    let mut rows = csv::Reader::from_reader(table.as_bytes());
    let column = rows.headers().expect("a header").iter().position(|h| h == "mean_cd_m2").expect("a column");
    let values: Vec<String> = rows.records().map(|row| row.expect("a row")[column].to_owned()).collect();
    // As they are printed: the tests' reader of JSON does not keep the last digit of every number.
    const KEY: &str = "\"mean_cd_m2\": ";
    let printed: Vec<&str> =
        printed.split(KEY).skip(1).filter_map(|rest| rest.split([',', '\n', '}']).next()).collect();
    assert_eq!(values, printed[..best.len()]);
}

#[test]
fn words_and_the_three_kinds_of_chart() {
    let folder = folder();
    let out = folder.fine(&call(&["--want", "soft", "-o", "a.pdf", "-o", "a.png", "-o", "a.svg"]));
    assert!(
        out.contains("Wrote a.pdf.") && out.contains("test piece") && out.contains("felt-craft-thick"),
        "{out}"
    );
    assert!(out.contains("Fell away") && out.contains("still show dots"), "{out}");
    assert!(folder.read("a.pdf").starts_with(b"%PDF"));
    assert_eq!(folder.names(), ["a.pdf", "a.png", "a.svg", "cuff.yaml"]);
}

#[test]
fn denser_pixels_are_part_of_the_trade() {
    let folder = folder();
    let found = folder.json(&[
        "pick",
        "cuff.yaml",
        "--cloth",
        "felt-wool-ivory",
        "--with-layers",
        "1",
        "--pitch-mm",
        "5,10",
        "--json",
        "-o",
        "a.svg",
    ]);
    let best = found["best"].as_array().expect("a list");
    let pitches: Vec<f64> = best.iter().map(|way| number(way, "pitch_mm")).collect();
    assert_eq!(pitches, [5.0, 10.0]);
    assert_eq!(number(&best[0], "pixels"), 15.0);
}

#[test]
fn nothing_that_fits_is_said_with_what_came_nearest_and_nothing_is_written() {
    let folder = folder();
    let said = folder.run(&call(&["--at-least-light", "0.9"]));
    assert_eq!(said.code, Some(1));
    assert!(
        said.out.contains("Nothing on offer") && said.out.contains("keep too little light (the best"),
        "{}",
        said.out
    );
    assert_eq!(folder.names(), ["cuff.yaml", "renders/"], "no chart");
    let said = folder.run(&["pick", "cuff.yaml", "--cloth", "organza", "--json"]);
    assert_eq!(said.code, Some(1));
    let found: serde_json::Value = serde_json::from_str(&said.out).expect("JSON");
    assert_eq!(found["fell_away"][0]["want"], "softness");
}

#[test]
fn one_bad_file_among_many_is_named_and_the_rest_is_shown() {
    let folder = folder();
    folder.write("bad.yaml", "name: bad\nthickness_mm: -1\n");
    let said = folder.run(&call(&["--cloth", "bad.yaml"]));
    assert_eq!(said.code, Some(1), "{}", said.err);
    assert!(said.err.contains("bad.yaml") && said.err.contains("thickness_mm"), "{}", said.err);
    assert!(said.out.contains("felt-wool-ivory"));
}

#[test]
fn wants_that_cannot_be_and_words_that_mean_nothing_are_refused() {
    let folder = folder();
    folder.write(
        "one.yaml",
        "pixels: [strip: {pitch_mm: 10, count: 1}]\nstack: [{gap_mm: 6, cloth: muslin}]\n",
    );
    folder.write("dark.yaml", SCENE.replace("level: 0.4", "level: 0"));
    folder.write("bad.yaml", "name: bad\n");
    for (arguments, words) in [
        (call(&["--at-most-mm", "0.05"]), &["at most 0.0500 mm", "thinnest on offer takes"][..]),
        (call(&["--price-below", "10"]), &["no cloth on offer has a price", "price_per_m"]),
        (call(&["--at-least-light", "1.5"]), &["allowed: 0 to 1"]),
        (call(&["--want", "fuzzy"]), &["dots, soft, smooth"]),
        (call(&["--gap-mm", "-1"]), &["0 to 500 mm"]),
        (call(&["--pitch-mm", "0"]), &["0.1 to 1000 mm"]),
        (call(&["--with-layers", "0"]), &["1 to 8 layers"]),
        (call(&["--cloth", "feltwool-ivory"]), &["no cloth of this name", "Did you mean `felt-wool-ivory`?"]),
        (call(&["--cloth", "silk*"]), &["no cloth fits this pattern"]),
        (call(&["--cloth", "felt[*"]), &["cannot be read"]),
        (call(&["-o", "a.gif"]), &[".svg, .png or .pdf"]),
        (call(&["-o", "none/a.svg"]), &["does not exist"]),
        (call(&["--csv", "cuff.yaml"]), &["written over"]),
        (vec!["pick", "cuff.yaml", "--cloth", "bad.yaml"], &["bad.yaml"]),
        (vec!["pick", "one.yaml"], &["no two pixels", "neighbours"]),
        (vec!["pick", "dark.yaml"], &["dark"]),
        (vec!["pick", "none.yaml"], &["no such file"]),
    ] {
        let message = folder.refused(&arguments);
        for word in words {
            assert!(message.contains(word), "{arguments:?}: {message}");
        }
    }
}
