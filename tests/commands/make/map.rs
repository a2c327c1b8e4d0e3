//! The pixel map against the scene, in all its forms.

use super::super::Folder;
use crate::sheets::{text, with_demo};
use std::process::Command;

/// Index, x, y and group of every pixel.
fn csv_map(folder: &Folder, name: &str) -> Vec<(usize, f64, f64, usize)> {
    let map = text(folder, name);
    assert_eq!(map.lines().next(), Some("index,x_mm,y_mm,group"));
    map.lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("a number")).collect();
            (cells[0] as usize, cells[1], cells[2], cells[3] as usize)
        })
        .collect()
}

#[test]
fn the_map_lists_the_places_of_the_scene() {
    /// Written to a thousandth of a millimetre.
    const ROUNDING_MM: f64 = 6e-4;
    let folder = with_demo("wing");
    folder.fine(&["make", "wing.yaml", "-o", "out"]);
    folder.fine(&["check", "wing.yaml", "--pixels", "places.csv"]);
    let places = text(&folder, "places.csv");
    let map = csv_map(&folder, "out/map.csv");
    for ((index, x, y, group), line) in map.iter().zip(places.lines().skip(1)) {
        let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("a number")).collect();
        assert_eq!((*index, *group), (cells[0] as usize, cells[4] as usize));
        assert!((x - cells[1]).abs() < ROUNDING_MM && (y - cells[2]).abs() < ROUNDING_MM, "{index}");
    }
    let json: serde_json::Value = serde_json::from_slice(&folder.read("out/map.json")).expect("JSON");
    for (index, x, y, group) in map {
        let pixel = &json["pixels"][index];
        assert_eq!(
            (pixel["index"].as_u64(), pixel["group"].as_u64()),
            (Some(index as u64), Some(group as u64))
        );
        assert_eq!((pixel["x_mm"].as_f64(), pixel["y_mm"].as_f64()), (Some(x), Some(y)));
    }
}

#[test]
fn one_map_may_be_asked_for_by_its_ending() {
    let folder = with_demo("collar");
    for name in ["m.csv", "m.json", "m.h"] {
        folder.fine(&["make", "collar.yaml", "-o", "out", "--map", name]);
        assert_eq!(
            folder.read(name),
            folder.read(&format!("out/map.{}", name.rsplit('.').next().expect("an ending")))
        );
    }
}

#[test]
fn the_header_compiles_and_says_what_the_map_says() {
    /// Half a tenth of a millimetre, and rounding.
    const HALF_TENTH_MM: f64 = 0.0501;
    let folder = with_demo("wing");
    folder.fine(&["make", "wing.yaml", "-o", "out"]);
    if Command::new("cc").arg("--version").output().is_err() {
        super::skipped("no C compiler `cc` on this machine, so the header was not compiled");
        return;
    }
    folder.write(
        "main.c",
        "#include <stdio.h>\n#include \"out/map.h\"\nint main(void) { for (int i = 0; i < PIXEL_COUNT; i++) \
         printf(\"%d %u %u %u\\n\", i, (unsigned)pixel_x_tenths[i], (unsigned)pixel_y_tenths[i], (unsigned)pixel_group[i]); return 0; }\n",
    );
    let built = Command::new("cc")
        .current_dir(folder.0.path())
        .args(["-std=c99", "-Wall", "-Wextra", "-pedantic", "-Werror", "main.c", "-o", "main"])
        .output()
        .expect("runs");
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    let told = Command::new(folder.path("main")).output().expect("runs");
    let told = String::from_utf8(told.stdout).expect("text");
    let map = csv_map(&folder, "out/map.csv");
    let low = |of: fn(&(usize, f64, f64, usize)) -> f64| map.iter().map(of).fold(f64::INFINITY, f64::min);
    let (left, bottom) = (low(|p| p.1), low(|p| p.2));
    assert_eq!(told.lines().count(), map.len());
    for (line, (index, x, y, group)) in told.lines().zip(&map) {
        let n: Vec<f64> = line.split(' ').map(|v| v.parse().expect("a number")).collect();
        assert_eq!((n[0] as usize, n[3] as usize), (*index, *group));
        assert!(
            (n[1] / 10.0 - (x - left)).abs() < HALF_TENTH_MM
                && (n[2] / 10.0 - (y - bottom)).abs() < HALF_TENTH_MM,
            "{line}"
        );
    }
}
