//! `weftlight cloth estimate`: from a label to a cloth file that the program reads back.

use super::{Folder, number};
use weftlight::cloth::fibres::FIBRES;
use weftlight::cloth::file::resolve;
use weftlight::cloth::label::{LabelInput, Structure, estimate};
use weftlight::quantity::Millimetres;

/// Readers of files and of JSON may miss the last digits.
const ROUNDING: f64 = 1e-14;

/// A wool felt, as options.
const FELT: [&str; 10] = [
    "cloth",
    "estimate",
    "--fibre",
    "wool",
    "--areal-mass-g-m2",
    "600",
    "--thickness-mm",
    "3",
    "--colour",
    "#f2ead8",
];

fn felt_with<'a>(more: &[&'a str]) -> Vec<&'a str> {
    FELT.iter().copied().chain(more.iter().copied()).collect()
}

/// The felt with one of its options changed.
fn felt_but<'a>(option: &str, value: &'a str) -> Vec<&'a str> {
    let at = FELT.iter().position(|word| *word == option).expect("an option of the felt");
    let mut words: Vec<&str> = FELT.to_vec();
    words[at + 1] = value;
    words
}

#[test]
fn what_comes_out_is_a_cloth_file() {
    let folder = Folder::new();
    let said = folder.run(&felt_with(&["--fibre-um", "20"]));
    assert_eq!(said.code, Some(0), "{}", said.err);
    assert!(folder.names().is_empty(), "nothing is written unasked");
    let cloth = resolve(&said.out, "f").unwrap_or_else(|all| panic!("{}: {all:?}", said.out));
    // Mass over density over diameter, by hand.
    assert!((cloth.extinction * cloth.thickness - 600.0 / 1.31 / 20.0).abs() < 1e-9, "{cloth:?}");
    let catalogue = weftlight::cloth::catalogue::by_name("felt-wool-ivory").expect("listed").expect("valid");
    assert_eq!((cloth.extinction, cloth.albedo), (catalogue.extinction, catalogue.albedo.clone()));
    assert_eq!(cloth.uncertainty, catalogue.uncertainty);
    assert!(cloth.source.contains("estimate") && cloth.source.contains("Not measured"), "{}", cloth.source);
    // The words go to the other stream, and as a comment into the file.
    for line in said.err.lines() {
        assert!(said.out.lines().any(|l| l == format!("# {line}").trim_end()), "{line}: {}", said.out);
        assert!(line.chars().count() <= 100, "fits a window: {line}");
    }
    assert!(said.err.contains("it is taken as felt"), "what was assumed is said: {}", said.err);
}

#[test]
fn every_option_reaches_the_file() {
    let folder = Folder::new();
    let mut words = felt_but("--fibre", "70% wool, 30 PET");
    words.extend(["--structure", "knit", "--fibre-um", "17.5", "--cover", "0.93"]);
    words.extend(["--name", "lantern \"scarf\"", "--title", "Scarf: wool & more", "-o", "scarf.yaml"]);
    let out = folder.fine(&words);
    assert!(out.contains("Wrote scarf.yaml.") && !out.contains("taken as felt"), "{out}");
    assert_eq!(folder.names(), ["scarf.yaml"]);
    let text = String::from_utf8(folder.read("scarf.yaml")).expect("text");
    let cloth = resolve(&text, "f").unwrap_or_else(|all| panic!("{text}: {all:?}"));
    let label = LabelInput {
        fibres: vec![("wool".into(), 70.0), ("polyester".into(), 30.0)],
        fibre_um: Some(17.5),
        areal_mass_g_m2: 600.0,
        thickness: Millimetres(3.0),
        colour: [0xf2, 0xea, 0xd8],
        structure: Structure::Knit,
        cover: Some(0.93),
    };
    let found = estimate(&label).expect("a sound label");
    assert!((cloth.extinction.0 / found.extinction.0 - 1.0).abs() < ROUNDING);
    assert!(cloth.albedo.0.iter().zip(found.albedo.0).all(|(a, b)| (a - b).abs() < ROUNDING));
    assert!((cloth.asymmetry - found.asymmetry).abs() < ROUNDING);
    assert_eq!(cloth.openness, found.openness);
    assert_eq!((cloth.uncertainty, cloth.notes), (found.uncertainty, found.notes));
    assert_eq!((cloth.name.as_str(), cloth.title.as_str()), ("lantern \"scarf\"", "Scarf: wool & more"));
    assert!(folder.fine(&["check", "scarf.yaml", "--as", "cloth"]).contains("estimated from its label"));
    let shown = folder.json(&["cloth", "show", "scarf.yaml", "-o", "scarf.png", "--json"]);
    assert!((number(&shown, "extinction_per_mm") / found.extinction.0 - 1.0).abs() < ROUNDING, "{shown:#}");
    // The name of the file is that of the cloth where none is given.
    folder.fine(&felt_with(&["-o", "own felt.yaml"]));
    let text = String::from_utf8(folder.read("own felt.yaml")).expect("text");
    assert_eq!(resolve(&text, "f").expect("valid").name, "own felt");
}

#[test]
fn every_value_has_its_uncertainty_and_its_influence() {
    let folder = Folder::new();
    let told = folder.json(&felt_with(&["--structure", "woven", "--json"]));
    assert_eq!(told["files"], serde_json::json!([]));
    let text = told["cloth_file"].as_str().expect("the file's text");
    assert!(resolve(text, "f").is_ok(), "{text}");
    let all = &told["influences"];
    let pair = |value: &serde_json::Value| ["low", "high"].map(|end| number(value, end));
    let middle = |value: &serde_json::Value| number(value, "value");
    let (light, spot) = (middle(&all["light_through"]), middle(&all["spot_width_mm"]));
    let each = all["each"].as_array().expect("a list");
    let names: Vec<&str> = each.iter().filter_map(|one| one["value"].as_str()).collect();
    assert_eq!(names, ["mass", "fibre diameter", "holes", "colour", "thickness", "fibre model", "threads"]);
    let (mut widest, mut widest_spot, mut of_diameter) = (("", 0.0), ("", 0.0), 0.0);
    for one in each {
        let name = one["value"].as_str().expect("a name");
        assert!(one["known_to"].as_str().is_some_and(|known| known.starts_with('±')), "{one:#}");
        assert!(one["basis"].as_str().is_some_and(|basis| basis.ends_with("no source")), "{one:#}");
        let ([low, high], [narrow, wide]) = (pair(&one["light_through"]), pair(&one["spot_width_mm"]));
        assert!(low <= light && light <= high && narrow <= spot && spot <= wide, "{one:#}");
        assert!(low < high || narrow < wide, "it does something: {one:#}");
        if name == "fibre diameter" {
            of_diameter = high / low;
        }
        if ["mass", "holes", "colour", "thickness"].contains(&name) {
            widest = if high / low > widest.1 { (name, high / low) } else { widest };
            widest_spot = if wide - narrow > widest_spot.1 { (name, wide - narrow) } else { widest_spot };
        }
    }
    assert!(widest.1 > of_diameter, "{widest:?} {of_diameter}");
    assert_eq!(all["most_at_home_for_light"], widest.0);
    assert_eq!(all["most_at_home_for_spot"], widest_spot.0);
    let [low, high] = pair(&all["light_through"]);
    for one in each {
        let [alone_low, alone_high] = pair(&one["light_through"]);
        assert!(low <= alone_low && alone_high <= high, "together is more than each: {one:#}");
    }
    let words = folder.run(&felt_with(&["--structure", "woven"])).err.replace('\n', " ");
    assert!(words.contains("What matters most to measure: "), "{words}");
    assert!(words.contains(&format!("for the light let through the {};", widest.0)), "{words}");
    assert!(words.contains(&format!("for the width of the spot the {}", widest_spot.0)), "{words}");
    // 600 g/m2 on 0.04 m2.
    assert!(words.contains("20 x 20 cm on a kitchen scale: 24.0 g"), "{words}");
}

/// The mass stops the light, the loft spreads it: what the advice says must follow the cloth.
#[test]
fn the_advice_follows_the_cloth() {
    let folder = Folder::new();
    let advice = |more: &[&str]| {
        let mut words = vec!["cloth", "estimate", "--json"];
        words.extend(more);
        let told = folder.json(&words);
        (told["influences"]["most_at_home_for_light"].clone(), told["influences"]["nm"].clone())
    };
    let black =
        ["--fibre", "polyester", "--areal-mass-g-m2", "80", "--thickness-mm", "0.4", "--colour", "#161616"];
    // Nothing gets through a black net but by its holes.
    assert_eq!(advice(&[&black[..], &["--structure", "mesh"]].concat()), ("holes".into(), 525.0.into()));
    let red = ["--fibre", "wool", "--areal-mass-g-m2", "600", "--thickness-mm", "3", "--colour", "#b3202a"];
    assert_eq!(advice(&red).1, 622.0, "a red cloth is judged in red");
    let felt = folder.run(&FELT).err.replace('\n', " ");
    assert!(felt.contains("the fibre diameter (ask the supplier), and at home the colour"), "{felt}");
    let dead = folder.run(&felt_but("--colour", "#000000"));
    assert!(dead.err.contains("Hardly any light gets through"), "{}", dead.err);
    assert!(!dead.err.contains("NaN") && !dead.err.contains("inf"), "{}", dead.err);
}

#[test]
fn what_cannot_be_is_refused() {
    let folder = Folder::new();
    for (option, value, wanted) in [
        ("--fibre", "wol", "Did you mean wool?"),
        ("--fibre", "moonbeam", "Known are: cotton, viscose, wool"),
        ("--fibre", "wool 70, polyester 20", "90 percent in all"),
        ("--fibre", "wool, polyester", "not one fibre with its percentage"),
        ("--fibre", "wool -70, polyester 170", "0.1 to 100 percent"),
        ("--fibre", "", "not one fibre with its percentage"),
        ("--colour", "f2ead8", "Did you mean \"#f2ead8\"?"),
        ("--colour", "#f2ead", "two hexadecimal digits each"),
        ("--colour", "ivory", "two hexadecimal digits each"),
        ("--areal-mass-g-m2", "0", "1 to 10000 g/m2"),
        ("--areal-mass-g-m2", "-600", "1 to 10000 g/m2"),
        ("--areal-mass-g-m2", "heavy", "1 to 10000 g/m2"),
        ("--areal-mass-g-m2", "nan", "1 to 10000 g/m2"),
        ("--thickness-mm", "0", "0.005 to 100 mm"),
        ("--thickness-mm", "1e9", "0.005 to 100 mm"),
        ("--thickness-mm", "3 mm", "0.005 to 100 mm"),
    ] {
        let err = folder.refused(&felt_but(option, value));
        assert!(err.contains(option) && err.contains(wanted), "{option} {value}: {err}");
    }
    for (option, value, wanted) in [
        ("--fibre-um", "0", "1 to 1000 micrometres"),
        ("--cover", "0", "0.02 to 1"),
        ("--cover", "95", "0.02 to 1"),
        ("--structure", "filt", "Did you mean `felt`?"),
        ("--name", "", "`name` is empty"),
        ("--title", "a\u{7}b", "control character"),
    ] {
        let err = folder.refused(&felt_with(&[option, value]));
        assert!(err.contains(option) && err.contains(wanted), "{option} {value}: {err}");
    }
    // 600 g/m2 of wool are 0.458 mm of solid wool.
    let err = folder.refused(&felt_but("--thickness-mm", "0.45"));
    assert!(err.contains("denser than its fibres") && err.contains("0.458 mm"), "{err}");
    let err = folder.refused(&felt_with(&["--fibre-um", "1", "--cover", "0.5"]));
    assert!(err.contains("too dense to be computed") && err.contains("at most 500"), "{err}");
}

#[test]
fn what_is_missing_is_named() {
    let folder = Folder::new();
    for missing in ["--fibre", "--areal-mass-g-m2", "--thickness-mm", "--colour"] {
        let at = FELT.iter().position(|word| *word == missing).expect("an option");
        let words: Vec<&str> = [&FELT[..at], &FELT[at + 2..]].concat();
        let err = folder.refused(&words);
        let named = err.lines().skip(1).take_while(|line| !line.is_empty()).collect::<Vec<_>>().join(" ");
        assert!(named.trim().starts_with(missing) && !named.trim()[2..].contains("--"), "{missing}: {err}");
    }
    let help = folder.fine(&["cloth", "estimate", "--help"]);
    for fibre in &FIBRES {
        assert!(help.contains(fibre.name), "{}: {help}", fibre.name);
    }
    assert!(folder.fine(&["cloth", "--help"]).contains("estimate"));
}

#[test]
fn files_are_not_written_over_unasked() {
    let folder = Folder::new();
    folder.write("felt.yaml", "somebody's own figures");
    let err = folder.refused(&felt_with(&["-o", "felt.yaml"]));
    assert!(err.contains("is there already") && err.contains("--replace"), "{err}");
    assert_eq!(folder.read("felt.yaml"), b"somebody's own figures");
    let out = folder.fine(&felt_with(&["-o", "felt.yaml", "--replace"]));
    assert!(out.contains("Replaced felt.yaml."), "{out}");
    let once = folder.read("felt.yaml");
    folder.fine(&felt_with(&["-o", "felt.yaml", "--replace"]));
    assert_eq!(folder.read("felt.yaml"), once, "the same label gives the same file");
    assert!(folder.refused(&felt_with(&["-o", "felt.txt"])).contains("Name it felt.yaml."));
    assert!(folder.refused(&felt_with(&["-o", "none/felt.yaml"])).contains("does not exist"));
    assert!(folder.refused(&felt_with(&["--replace"])).contains("--output"));
}
