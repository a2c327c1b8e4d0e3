//! `weftlight compare`: the sheet, the table, the data, and what is said when nothing fits.

use super::{Folder, Picture, Said, number};
use serde_json::Value;

/// The hair line around a picture on a sheet.
const EDGE: [u16; 3] = [60, 63, 72];
/// The JSON reader of these tests may be off by one unit in the last place of a double.
const READ_ROUNDING: f64 = f64::EPSILON;
/// Felt without uncertainty: quick, and its numbers are exact.
const FELT: &str = "name: my-felt\ntitle: My felt\nthickness_mm: 3\nareal_mass_g_m2: 500\nsource: invented\n\
                    optics: {bulk: {extinction_per_mm: 3, albedo: 0.998}}\nbuying: {price_per_m: 20}\n";
/// A net without uncertainty: a third of it is holes.
const NET: &str = "name: my-net\ntitle: My net\nthickness_mm: 0.5\nareal_mass_g_m2: 60\nsource: invented\n\
                   optics: {bulk: {extinction_per_mm: 4, albedo: 0.9, openness: 0.3}}\n";

/// Four white pixels 10 mm apart, 8 mm below a muslin.
fn cuff() -> Folder {
    let folder = Folder::new();
    folder.write("cuff.yaml", scene("[{gap_mm: 8, cloth: muslin}]"));
    folder.write("felt.yaml", FELT);
    folder.write("net.yaml", NET);
    folder
}

fn scene(stack: &str) -> String {
    format!(
        "name: Cuff\npixels: [strip: {{package: \"5050\", pitch_mm: 10, count: 4}}]\nstack: {stack}\n\
         light: {{level: 0.2}}\nview: {{distance_m: 2, room_lx: 20}}\n"
    )
}

/// The two quick cloths.
const QUICK: [&str; 6] = ["compare", "cuff.yaml", "--cloth", "felt.yaml", "--cloth", "net.yaml"];

fn quick<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [&QUICK[..], more].concat()
}

fn cloths(told: &Value) -> Vec<&str> {
    told["rows"].as_array().expect("rows").iter().map(|row| row["cloth"].as_str().expect("a name")).collect()
}

fn row<'a>(told: &'a Value, cloth: &str) -> &'a Value {
    let rows = told["rows"].as_array().expect("rows");
    rows.iter().find(|row| row["cloth"] == cloth).unwrap_or_else(|| panic!("{cloth} in {told:#}"))
}

/// Left upper corners of the pictures on a sheet: each has a hair line around it.
fn corners(sheet: &Picture) -> Vec<[u32; 2]> {
    let (width, height) = (sheet.info.width, sheet.info.height);
    let edge = |x: u32, y: u32| sheet.at(x, y) == EDGE;
    let mut found = Vec::new();
    for y in 1..height - 8 {
        for x in 1..width - 8 {
            if edge(x, y)
                && (1..8).all(|i| edge(x + i, y) && edge(x, y + i))
                && !edge(x - 1, y)
                && !edge(x, y - 1)
            {
                found.push([x + 1, y + 1]);
            }
        }
    }
    found
}

/// The picture of one cell.
fn cell(sheet: &Picture, corner: [u32; 2], told: &Value) -> Vec<[u16; 3]> {
    let [width, height] = [0, 1].map(|i| told["cell_size_px"][i].as_u64().expect("a size") as u32);
    (0..height)
        .flat_map(|y| (0..width).map(move |x| (x, y)))
        .map(|(x, y)| sheet.at(corner[0] + x, corner[1] + y))
        .collect()
}

/// A call that works but fails a check.
fn failed(folder: &Folder, arguments: &[&str]) -> Said {
    let said = folder.run(arguments);
    assert_eq!(said.code, Some(1), "{arguments:?}: {} {}", said.out, said.err);
    said
}

#[test]
fn a_picture_a_table_and_a_verdict() {
    let folder = cuff();
    let out = folder.fine(&["compare", "cuff.yaml", "--cloth", "fleece", "--cloth", "net.yaml"]);
    assert!(out.starts_with("Wrote renders/cuff-compare.png, all at EV "), "{out}");
    assert_eq!(
        folder.names(),
        ["cuff.yaml", "felt.yaml", "net.yaml", "renders/", "renders/cuff-compare.png"]
    );
    let sheet = Picture::of(&folder.read("renders/cuff-compare.png"));
    assert_eq!(corners(&sheet).len(), 2);
    for part in [
        "no.  cloth",
        "  1  fleece ",
        "  2  my-net ",
        "Good here means: no dots from 2 m",
        "Avoid, the pixels are seen through it: my-net (no uncertainty stated).",
        "of 24)",
        "a test piece decides",
    ] {
        assert!(out.contains(part), "{part}: {out}");
    }
}

#[test]
fn numbers_are_those_of_a_single_picture() {
    let folder = cuff();
    let calls = ["--cloth", "jersey", "--cloth", "felt.yaml", "--with-layers", "2", "--gap-mm", "5"];
    let told = folder.json(&[&["compare", "cuff.yaml", "--json", "--distance-m", "3"][..], &calls].concat());
    for (cloth, named) in [("jersey", "jersey"), ("my-felt", "felt.yaml")] {
        let row = row(&told, cloth);
        assert_eq!((number(row, "gap_mm"), number(row, "layers")), (5.0, 2.0));
        folder.write("one.yaml", scene(&format!("[{{gap_mm: 5, cloth: {named}}}, {{cloth: {named}}}]")));
        let one = folder.json(&["preview", "one.yaml", "--json", "--size-px", "32,16", "--distance-m", "3"]);
        assert_eq!(row["numbers"], one["numbers"], "{cloth}");
        assert_eq!(row["straight_through_share"], one["straight_through_share"], "{cloth}");
    }
    let ranged = &row(&told, "jersey")["numbers"]["light_kept"];
    assert!(
        number(ranged, "low") < number(ranged, "value") && number(ranged, "value") < number(ranged, "high")
    );
    assert_eq!(row(&told, "jersey")["same_grade"]["of"], 24);
    assert_eq!(row(&told, "my-felt")["same_grade"], Value::Null);
}

#[test]
fn one_exposure_for_all_cells() {
    let folder = cuff();
    let told = folder.json(&quick(&["-o", "both.png", "--json"]));
    let ev = format!("{}", number(&told, "exposure_ev_iso_100"));
    let both = Picture::of(&folder.read("both.png"));
    let corners_of_both = corners(&both);
    assert_eq!((corners_of_both.len(), &told["cells"]), (2, &Value::from(2)));
    for (i, name) in cloths(&told).into_iter().enumerate() {
        let file = if name == "my-felt" { "felt.yaml" } else { "net.yaml" };
        let call = ["compare", "cuff.yaml", "--cloth", file, "-o", "one.png", "--json", "--exposure-ev", &ev];
        let alone = folder.json(&call);
        assert_eq!(alone["exposure_ev_iso_100"], told["exposure_ev_iso_100"]);
        let one = Picture::of(&folder.read("one.png"));
        let corner = corners(&one);
        assert_eq!(corner.len(), 1);
        let (in_set, alone) = (cell(&both, corners_of_both[i], &told), cell(&one, corner[0], &alone));
        assert!(in_set == alone, "{name}: the picture in the set is the one at that exposure");
        assert!(in_set.iter().any(|rgb| rgb.iter().any(|v| *v > 100)), "{name}: there is light in it");
    }
    // The felt keeps less light than shines through the net: neither may drown the other.
    let darker = folder.json(&quick(&["-o", "dark.png", "--json", "--exposure-ev", "16"]));
    assert_eq!(number(&darker, "exposure_ev_iso_100"), 16.0);
    assert_ne!(folder.read("dark.png"), folder.read("both.png"));
}

#[test]
fn patterns_and_the_whole_catalogue_by_default() {
    let folder = cuff();
    let call = [
        "compare",
        "cuff.yaml",
        "--cloth",
        "felt-craft*",
        "--cloth",
        "[fn]e*.yaml",
        "--json",
        "--sort",
        "thickness",
    ];
    let told = folder.json(&call);
    assert_eq!(cloths(&told), ["my-net", "felt-craft-thin", "felt-craft-thick", "my-felt"]);
    // Without --cloth the whole catalogue; the thickness want shows it without much work in the message.
    let err = folder.refused(&["compare", "cuff.yaml", "--at-most-mm", "8"]);
    assert!(err.contains("the thinnest cloth (organza) 0.1 mm"), "{err}");
}

#[test]
fn layers_and_gaps() {
    let folder = cuff();
    let told =
        folder.json(&quick(&["--with-layers", "1,2,1", "--gap-mm", "4,8,4", "--json", "--sort", "light"]));
    let rows = told["rows"].as_array().expect("rows");
    assert_eq!(rows.len(), 8, "what is named twice counts once");
    let kept = |row: &Value| number(&row["numbers"]["light_kept"], "value");
    assert!(rows.windows(2).all(|pair| kept(&pair[0]) >= kept(&pair[1])), "most light first");
    for row in rows {
        // By hand: the gap and so many layers.
        let one = if row["cloth"] == "my-felt" { 3.0 } else { 0.5 };
        let thick = number(row, "gap_mm") + one * number(row, "layers");
        assert!((number(&row["numbers"], "thickness_mm") - thick).abs() < 1e-9, "{row:#}");
    }
    assert_eq!(corners(&Picture::of(&folder.read("renders/cuff-compare.png"))).len(), 8);
    let out = folder.fine(&quick(&["--with-layers", "2", "--gap-mm", "4,8"]));
    assert!(out.contains("layers") && out.contains("4 mm") && out.contains("8 mm"), "{out}");
}

#[test]
fn what_lies_below_stays_unless_all_is_replaced() {
    let folder = cuff();
    folder.write("cuff.yaml", scene("[{gap_mm: 2, cloth: net.yaml}, {gap_mm: 3, cloth: muslin}]"));
    let call = ["compare", "cuff.yaml", "--cloth", "felt.yaml"];
    let out = folder.fine(&call);
    assert!(out.contains("Below every cloth stays, as in the scene: My net."), "{out}");
    let thick = |more: &[&str]| {
        let told = folder.json(&[&call[..], &["--json"], more].concat());
        (number(&told["rows"][0]["numbers"], "thickness_mm"), told["stays_below"].clone())
    };
    // By hand: 2 + 0.5 + 3 + 3 mm, and 2 + 3 mm.
    assert_eq!(thick(&[]), (8.5, serde_json::json!(["my-net"])));
    assert_eq!(thick(&["--replace-all"]), (5.0, serde_json::json!([])));
    let out = folder.fine(&[&call[..], &["--replace-all"]].concat());
    assert!(!out.contains("Below every cloth"), "{out}");
}

#[test]
fn orders_and_prices() {
    let folder = cuff();
    folder.write(
        "net2.yaml",
        NET.replace("my-net", "net-2").replace("0.5\n", "0.6\n") + "buying: {price_per_m: 30}\n",
    );
    let by = |what: &str| {
        let call = quick(&["--cloth", "net2.yaml", "--with-layers", "2", "--json", "--sort", what]);
        cloths(&folder.json(&call)).join(" ")
    };
    assert_eq!(by("thickness"), "my-net net-2 my-felt");
    assert_eq!(by("price"), "my-felt net-2 my-net", "an unknown price is last");
    assert!(by("dots").starts_with("my-felt"));
    assert!(by("light").starts_with("my-net"));
    let told = folder.json(&quick(&["--with-layers", "2", "--json"]));
    assert_eq!(number(row(&told, "my-felt"), "price_per_m"), 40.0, "two layers need two metres");
    assert_eq!(row(&told, "my-net")["price_per_m"], Value::Null);
    let out = folder.fine(&quick(&["--sort", "price"]));
    assert!(
        out.contains("1 of 2 have no price and stand last") && out.contains("buying: {price_per_m"),
        "{out}"
    );
    let out = folder.fine(&["compare", "cuff.yaml", "--cloth", "net.yaml", "--sort", "price"]);
    assert!(out.contains("No cloth here has a price, so the order is by dots"), "{out}");
}

#[test]
fn filters_take_out_and_are_told() {
    let folder = cuff();
    let all = folder.json(&quick(&["--json"]));
    let kept = |cloth: &str| number(&row(&all, cloth)["numbers"]["light_kept"], "value");
    let between = format!("{}", 0.5 * (kept("my-felt") + kept("my-net")));
    let told = folder.json(&quick(&["--at-least-light", &between, "--json"]));
    assert_eq!(cloths(&told), ["my-net"]);
    assert_eq!(
        (&told["removed"][0]["cloth"], &told["removed"][0]["misses"][0]),
        (&"my-felt".into(), &"at-least-light".into())
    );
    assert_eq!((number(&told["wants"][0], "missed_by"), &told["wants"][0]["unit"]), (1.0, &"1".into()));
    let thin = folder.json(&quick(&["--at-most-mm", "9", "--json"]));
    assert_eq!(cloths(&thin), ["my-net"]);
    // Dots vanish behind the felt from where its own numbers say, and a want just beyond that is met.
    let vanish = number(&row(&all, "my-felt")["numbers"]["dots_vanish_beyond"], "value");
    let beyond = format!("{}", (1.001 * vanish).max(0.1));
    let smooth = folder.json(&quick(&["--no-dots-at-m", &beyond, "--json"]));
    assert_eq!(cloths(&smooth), ["my-felt"]);
    assert_eq!(
        corners(&Picture::of(&folder.read("renders/cuff-compare.png"))).len(),
        1,
        "the picture has what is left"
    );
    let out = folder.fine(&quick(&["--at-most-mm", "9"]));
    assert!(out.contains("Wanted: at most 9 mm thick. 1 of 2 miss it."), "{out}");
    // A bound inside a range is met or missed by the middle value, and that is told.
    let jersey = folder.json(&["compare", "cuff.yaml", "--cloth", "jersey", "--json"]);
    let middle = number(&jersey["rows"][0]["numbers"]["light_kept"], "value");
    let bound = format!("{}", 0.99 * middle);
    let out = folder.fine(&["compare", "cuff.yaml", "--cloth", "jersey", "--at-least-light", &bound]);
    assert!(out.contains("meet it only by their middle value, their range crosses it: jersey"), "{out}");
}

#[test]
fn nothing_left() {
    let folder = cuff();
    let before = folder.names();
    let call = quick(&["--at-least-light", "1", "--no-dots-at-m", "0.1", "-o", "a.png", "--csv", "a.csv"]);
    let said = failed(&folder, &call);
    for part in [
        "Nothing is left of 2 candidates; no picture was drawn.",
        "Wanted: at least 100 % of the light kept. 2 of 2 miss it.",
        "Wanted: no dots from 0.1 m.",
        "What comes nearest is ",
    ] {
        assert!(said.out.contains(part), "{part}: {}", said.out);
    }
    assert_eq!(folder.names(), before, "no picture and no table");
    let said = failed(&folder, &[&call[..], &["--json"]].concat());
    let told: Value = serde_json::from_str(&said.out).expect("JSON");
    assert_eq!((&told["files"], &told["rows"]), (&serde_json::json!([]), &serde_json::json!([])));
    assert!(told["nearest"]["cloth"].is_string() && told["wants"].as_array().expect("a list").len() == 2);
    assert_eq!(folder.names(), before);
}

#[test]
fn the_table_reads_back() {
    let folder = cuff();
    folder.write("felt.yaml", FELT.replace("My felt", "'My \"best\" felt, ivory'"));
    let call =
        ["compare", "cuff.yaml", "--cloth", "felt.yaml", "--cloth", "fleece", "--csv", "table.csv", "--json"];
    let told = folder.json(&call);
    let bytes = folder.read("table.csv");
    assert!(bytes.ends_with(b"\r\n"), "RFC 4180: lines end with CR LF");
    let mut reader = csv::Reader::from_reader(bytes.as_slice());
    let heading: Vec<String> = reader.headers().expect("a heading").iter().map(str::to_owned).collect();
    let records: Vec<csv::StringRecord> = reader.records().map(|record| record.expect("a row")).collect();
    assert_eq!(records.len(), 2);
    for record in &records {
        let field = |name: &str| {
            let at =
                heading.iter().position(|h| h == name).unwrap_or_else(|| panic!("{name} in {heading:?}"));
            record[at].to_owned()
        };
        let row = row(&told, &field("cloth"));
        assert_eq!(field("title"), row["title"].as_str().expect("a title"));
        for (column, key) in [
            ("dot_visibility", "dot_visibility"),
            ("dots_vanish_beyond_m", "dots_vanish_beyond"),
            ("light_kept_share", "light_kept"),
            ("mean_luminance_cd_m2", "mean_luminance"),
            ("colour_shift_ciede2000", "colour_shift"),
            ("spot_width_mm", "spot_width"),
        ] {
            for (end, part) in [("", "value"), ("_low", "low"), ("_high", "high")] {
                let value: f64 = field(&format!("{column}{end}")).parse().expect("a number");
                let same = number(&row["numbers"][key], part);
                assert!((value - same).abs() <= READ_ROUNDING * same.abs(), "{column}{end}: {value} {same}");
            }
        }
        assert_eq!(
            field("thickness_mm").parse::<f64>().expect("a number"),
            number(&row["numbers"], "thickness_mm")
        );
        assert_eq!(field("grade"), row["grade"].as_str().expect("a grade"));
    }
}

#[test]
fn a_scene_without_cloth_needs_a_gap() {
    let folder = cuff();
    folder.write("bare.yaml", scene("[]"));
    let err = folder.refused(&["compare", "bare.yaml", "--cloth", "felt.yaml"]);
    assert!(err.contains("the scene has no cloth") && err.contains("--gap-mm 6"), "{err}");
    let told = folder.json(&["compare", "bare.yaml", "--cloth", "felt.yaml", "--gap-mm", "8", "--json"]);
    let same = folder.json(&["compare", "cuff.yaml", "--cloth", "felt.yaml", "--json"]);
    assert_eq!(told["rows"], same["rows"]);
}

#[test]
fn contradictory_wants() {
    let folder = cuff();
    for (option, value, allowed) in [
        ("--at-least-light", "1.2", "0 to 1"),
        ("--at-least-light", "-0.1", "0 to 1"),
        ("--at-most-mm", "0", "0.1 to 1500 mm"),
        ("--no-dots-at-m", "0", "0.1 to 1000 m"),
        ("--with-layers", "0", "1 to 8 layers"),
        ("--with-layers", "1,9", "1 to 8 layers"),
        ("--with-layers", "1.5", "1 to 8 layers"),
        ("--gap-mm", "4,-1", "0 to 500 mm"),
        ("--gap-mm", "", "0 to 500 mm"),
        ("--sort", "beauty", "dots, light, thickness, price"),
    ] {
        let err = folder.refused(&quick(&[option, value]));
        assert!(err.contains(option) && err.contains(allowed), "{option} {value}: {err}");
    }
    let err = folder.refused(&quick(&["--at-most-mm", "4", "--gap-mm", "6,10"]));
    assert!(
        err.contains("the smallest gap is 6 mm, the thinnest cloth (my-net) 0.5 mm")
            && err.contains("at least 6.5 mm"),
        "{err}"
    );
    folder.write("one.yaml", scene("[{gap_mm: 8, cloth: net.yaml}]").replace("count: 4", "count: 1"));
    let err = folder.refused(&["compare", "one.yaml", "--cloth", "felt.yaml", "--no-dots-at-m", "2"]);
    assert!(err.contains("no two pixels of the scene are neighbours"), "{err}");
    let out = folder.fine(&["compare", "one.yaml", "--cloth", "felt.yaml", "--cloth", "net.yaml"]);
    assert!(out.contains("single lights"), "{out}");
    folder.write("dark.yaml", scene("[{gap_mm: 8, cloth: net.yaml}]").replace("level: 0.2", "level: 0"));
    let err = folder.refused(&["compare", "dark.yaml", "--cloth", "felt.yaml"]);
    assert!(err.contains("every pixel is dark"), "{err}");
}

#[test]
fn too_much_at_once() {
    let folder = cuff();
    let gaps = (1..=101).map(|gap| gap.to_string()).collect::<Vec<_>>().join(",");
    let err = folder.refused(&["compare", "cuff.yaml", "--gap-mm", &gaps]);
    assert!(err.contains("make 2020 candidates; at most 2000 are possible"), "{err}");
    folder.write("cuff.yaml", scene("[{gap_mm: 2, cloth: net.yaml}, {gap_mm: 3, cloth: muslin}]"));
    let err = folder.refused(&quick(&["--with-layers", "8"]));
    assert!(err.contains("9 cloths upon each other; at most 8"), "{err}");
}

#[test]
fn cloths_that_are_not_there() {
    let folder = cuff();
    let err = folder.refused(&["compare", "cuff.yaml", "--cloth", "organsa", "--cloth", "felt.yaml"]);
    assert!(
        err.contains("the catalogue has no cloth of this name") && err.contains("Did you mean `organza`?"),
        "{err}"
    );
    let err = folder.refused(&["compare", "cuff.yaml", "--cloth", "silk*"]);
    assert!(err.contains("no cloth fits this pattern"), "{err}");
    let err = folder.refused(&["compare", "missing.yaml", "--cloth", "felt.yaml"]);
    assert!(err.contains("there is no such file"), "{err}");
}

#[test]
fn one_bad_file_among_many() {
    let folder = cuff();
    folder.write("bad.yaml", FELT.replace("thickness_mm: 3", "thickness_mm: -3"));
    let said = failed(&folder, &quick(&["--cloth", "bad.yaml", "--json", "-o", "a.png"]));
    assert!(said.err.contains("bad.yaml:3:15") && said.err.contains("0.005 to 100 mm"), "{}", said.err);
    let told: Value = serde_json::from_str(&said.out).expect("JSON");
    assert_eq!(cloths(&told).len(), 2, "the rest is shown");
    assert_eq!(told["problems"][0]["file"], "bad.yaml");
    assert_eq!(corners(&Picture::of(&folder.read("a.png"))).len(), 2);
    let err = folder.refused(&["compare", "cuff.yaml", "--cloth", "bad.yaml"]);
    assert!(err.contains("bad.yaml:3:15"), "all are bad: {err}");
}

#[test]
fn nothing_that_was_read_is_written_over() {
    let folder = cuff();
    for (option, place, what) in [
        ("-o", "cuff.yaml", "this file was read and would be written over"),
        ("--csv", "./felt.yaml", "this file was read and would be written over"),
        ("-o", "new.yaml", "names that end in .yaml are for scenes and cloths"),
        ("--csv", "nowhere/a.csv", "the folder `nowhere` does not exist"),
        ("-o", "nowhere/a.png", "the folder `nowhere` does not exist"),
    ] {
        let err = folder.refused(&quick(&[option, place]));
        assert!(err.contains(what), "{option} {place}: {err}");
    }
    let err = folder.refused(&quick(&["-o", "a.out", "--csv", "./a.out"]));
    assert!(err.contains("would be written twice"), "{err}");
    assert_eq!(folder.read("felt.yaml"), FELT.as_bytes());
}

#[test]
fn many_rows_are_all_in_the_table_and_the_first_on_the_picture() {
    let folder = cuff();
    let gaps = "1,2,3,4,5,6,7,8,9,10,11,12,13";
    let out = folder.fine(&quick(&["--gap-mm", gaps, "--csv", "a.csv", "-o", "a.png"]));
    assert!(
        out.contains("It shows the first 24 of 26; 2 are left out of it, not out of the table."),
        "{out}"
    );
    assert_eq!(corners(&Picture::of(&folder.read("a.png"))).len(), 24);
    let lines = String::from_utf8(folder.read("a.csv")).expect("text").lines().count();
    assert_eq!(lines, 27);
    assert!(out.contains("\n 26  "), "{out}");
}

#[test]
fn the_same_call_gives_the_same_bytes() {
    let folder = cuff();
    let call = [
        "compare",
        "cuff.yaml",
        "--cloth",
        "jersey",
        "--cloth",
        "net.yaml",
        "-o",
        "a.png",
        "--csv",
        "a.csv",
        "--json",
    ];
    let first = (folder.fine(&call), folder.read("a.png"), folder.read("a.csv"));
    assert!(first == (folder.fine(&call), folder.read("a.png"), folder.read("a.csv")));
}
