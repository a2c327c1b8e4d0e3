//! The key `supply` of scene files: what it says, what it leaves out, what it must not say.

use weftlight::build::battery::{Battery, Chemistry};
use weftlight::build::supply::{Injection, SUPPLY, Source, Supply};
use weftlight::build::wire::Gauge;
use weftlight::cloth::catalogue::CatalogueOnly;
use weftlight::quantity::Millimetres;
use weftlight::reading::schema::json_schema;
use weftlight::scene::file::{Resolved, resolve};

fn with(supply: &str) -> Result<Resolved, Vec<String>> {
    let text = format!("pixels: [strip: {{pitch_mm: 10, count: 30}}]\nstack: []\nsupply: {supply}\n");
    resolve(&text, "scene.yaml", &CatalogueOnly).map_err(|all| {
        let told = |d: &weftlight::diagnose::Diagnostic| {
            format!("{}:{} {}", d.line.unwrap_or(0), d.column.unwrap_or(0), d.what)
        };
        all.iter().map(told).collect()
    })
}

fn supply(text: &str) -> Supply {
    with(text).expect("in order").scene.supply.expect("given")
}

fn refused(text: &str) -> Vec<String> {
    with(text).err().unwrap_or_else(|| panic!("{text} was taken"))
}

#[test]
fn a_scene_without_supply_has_none() {
    let text = "pixels: [strip: {pitch_mm: 10, count: 3}]\nstack: []\n";
    assert_eq!(resolve(text, "f", &CatalogueOnly).expect("in order").scene.supply, None);
}

#[test]
fn defaults() {
    let expected = Supply {
        source: Source::Supply,
        volts: 5.0,
        max_ma: None,
        wire: Gauge(22),
        wire_length: Millimetres(300.0),
        conductor_ohm_per_m: None,
        injection: Injection::Start,
        battery: None,
        last_hours: None,
    };
    assert_eq!(supply("{}"), expected);
    let stated = supply("{volts: 5, max_ma: 1000, wire_awg: 26, wire_mm: 600}");
    let wires = (stated.wire, stated.wire_length);
    assert_eq!((stated.max_ma, wires), (Some(1000.0), (Gauge(26), Millimetres(600.0))));
}

#[test]
fn everything_it_may_say() {
    let full = supply(
        "{kind: battery, volts: 4.5, max_ma: 800, inject_at: [30, 1, 15, 15], conductor_ohm_per_m: 0.2, last_hours: 4, \
         battery: {chemistry: alkaline, cells: 3, capacity_mah: 2500, cut_off_v: 1.1, max_ma: 600}}",
    );
    assert_eq!(full.source, Source::Battery);
    assert_eq!(full.injection, Injection::At(vec![0, 14, 29]), "the file counts from 1, the library from 0");
    assert_eq!((full.conductor_ohm_per_m, full.last_hours), (Some(0.2), Some(4.0)));
    let battery = Battery {
        chemistry: Chemistry::Alkaline,
        cells: 3,
        capacity_mah: 2500.0,
        cut_off_v: 1.1,
        most_ma: Some(600.0),
    };
    assert_eq!(full.battery, Some(battery));
    assert_eq!(supply("{inject: ends}").injection, Injection::Ends);
    assert_eq!(supply("{inject: groups}").injection, Injection::Groups);
    assert_eq!(supply("{inject_every: 10}").injection, Injection::Every(10));
    assert_eq!(
        supply("{battery: {capacity_mah: 2000}}").source,
        Source::Battery,
        "a battery where one is named"
    );
    assert_eq!(supply("{kind: board_pin, battery: {capacity_mah: 2000}}").source, Source::BoardPin);
    let string = supply("{conductor_awg: 28}").conductor_ohm_per_m.expect("from the gauge");
    // The published table's 0.2129 ohm per metre, to its digits.
    assert!((string / 0.2129 - 1.0).abs() < 1e-3);
}

#[test]
fn what_it_must_not_say() {
    assert_eq!(refused("{volts: 0}"), ["3:17 `volts` is too small"]);
    assert_eq!(refused("{volts: -5}"), ["3:17 `volts` must not be negative"]);
    assert_eq!(refused("{volts: 5 V}"), ["3:17 `volts` must be a number"]);
    assert_eq!(refused("{volts: .nan}"), ["3:17 `volts` is not a number"]);
    assert_eq!(refused("{max_ma: 0}"), ["3:18 `max_ma` is too small"]);
    assert_eq!(refused("{max_a: 1}"), ["3:10 `supply` has no key `max_a`"]);
    assert_eq!(refused("{wire_awg: 26.5}"), ["3:20 `wire_awg` must be a whole number"]);
    assert_eq!(refused("{wire_mm: -1}"), ["3:19 `wire_mm` must not be negative"]);
    assert_eq!(refused("{inject: middle}"), ["3:18 there is no inject `middle`"]);
    assert_eq!(
        refused("{inject: ends, inject_every: 5}"),
        ["3:24 `inject` and `inject_every` exclude each other"]
    );
    assert_eq!(
        refused("{conductor_awg: 26, conductor_ohm_per_m: 1}"),
        ["3:29 `conductor_awg` and `conductor_ohm_per_m` exclude each other"]
    );
    assert_eq!(refused("{inject_at: [1, 31]}"), ["3:21 power would enter at a pixel that is not there"]);
    assert_eq!(refused("{inject_at: []}"), ["3:21 `inject_at` is empty"]);
    assert_eq!(refused("{kind: battery}"), ["3:16 a supply of the kind battery needs the key `battery`"]);
    assert_eq!(refused("{last_hours: 4}"), ["3:22 `last_hours` needs the key `battery`"]);
    assert_eq!(refused("{battery: {}}"), ["3:19 `battery` needs the key `capacity_mah`"]);
    assert_eq!(
        refused("{battery: {capacity_mah: 2000, chemistry: nimh, cut_off_v: 2}}"),
        ["3:68 the battery would stop before it begins"]
    );
}

/// Faults of the supply are told together with those elsewhere.
#[test]
fn all_faults_at_once() {
    let text = "pixels: [strip: {pitch_mm: 10, count: 0}]\nstack: [{cloth: nosuch}]\nsupply: {kind: battery, volts: 0}\n";
    let all = resolve(text, "f", &CatalogueOnly).expect_err("refused");
    let lines: Vec<Option<usize>> = all.iter().map(|d| d.line).collect();
    assert_eq!(lines, [Some(1), Some(2), Some(3), Some(3)]);
}

/// At another pitch there may be fewer pixels than the file names.
#[test]
fn another_pitch_leaves_out_feeds_that_are_no_longer_there() {
    let text = "pixels: [strip: {pitch_mm: 10, count: 31}]\nstack: []\nsupply: {inject_at: [1, 16, 31]}\n";
    let coarse =
        weftlight::scene::file::resolve_at_pitch(text, "f", &CatalogueOnly, 20.0).expect("in order").scene;
    assert_eq!(coarse.pixels.len(), 16);
    let injection = &coarse.supply.as_ref().expect("given").injection;
    assert_eq!(weftlight::build::run::feed_pixels(&coarse, injection), [0, 15]);
    assert_eq!(weftlight::build::run::feed_pixels(&coarse, &Injection::At(vec![99])), [0]);
}

#[test]
fn what_it_warns_about() {
    let warnings = |text: &str| -> Vec<String> {
        with(text).expect("usable").warnings.iter().map(|warning| warning.what.clone()).collect()
    };
    assert!(warnings("{volts: 5}").is_empty());
    assert_eq!(warnings("{volts: 12}"), ["the pixels do not work at this voltage"]);
    assert_eq!(warnings("{volts: 3}"), ["the pixels do not work at this voltage"]);
    assert_eq!(
        warnings("{battery: {capacity_mah: 2000, cut_off_v: 2.0}}"),
        ["the cells would be drained too far"]
    );
}

/// The schema's limits are the reader's.
#[test]
fn the_schema_says_the_same() {
    let schema = json_schema(&SUPPLY, "supply");
    let properties = schema["properties"].as_object().expect("an object");
    for key in ["volts", "max_ma", "wire_awg", "wire_mm", "conductor_ohm_per_m"] {
        let limit = |end: &str| properties[key][end].as_f64().expect("a number");
        let (least, most) = (limit("minimum"), limit("maximum"));
        assert!(
            with(&format!("{{{key}: {least}}}")).is_ok() && with(&format!("{{{key}: {most}}}")).is_ok(),
            "{key}"
        );
        assert!(with(&format!("{{{key}: {}}}", most + 1.0)).is_err(), "{key}");
        assert!(with(&format!("{{{key}: {}}}", 0.5 * least - 0.1)).is_err(), "{key}");
    }
    assert_eq!(schema["properties"]["battery"]["required"], serde_json::json!(["capacity_mah"]));
}
