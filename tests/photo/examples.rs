//! The example photographs in `fabrics/photos/`, made with the made-up camera: what the photo guide's commands are tried with.
//!
//! `cargo test --test photo make_example_photographs -- --ignored` makes them again. Cloth, pixel and camera are invented.

use crate::cloths::{TestCloth, named};
use crate::spots::{self, ColourSpots};
use crate::synthetic::{Camera, Save};
use std::path::PathBuf;
use weftlight::photo::decode::{ToneChoice, decode};

/// The invented cloth of the examples: 1 mm of wool felt for a lantern.
fn felt() -> &'static TestCloth {
    named("wool-felt-1")
}

/// True scale of all photographs: the guide keeps the cloth at one height.
const MM_PER_PX: f64 = 0.1;
/// The picture in px: 80 mm by 60 mm.
const SIZE_PX: [u32; 2] = [800, 600];
/// Where the pixel lies in the picture: nobody hits the very middle.
const CENTRE_PX: [f64; 2] = [413.2, 288.6];
/// Exposure time in s and peak over full scale of the photograph at 4 mm; all others follow from it.
const NEAR_S: f64 = 1.0 / 60.0;
const NEAR_PEAK: f64 = 0.7;
/// Photographs of the lit cloth: name, gap in mm, exposure time in s.
const LIT: [(&str, f64, f64); 3] = [
    ("made-up-felt-4mm.jpg", 4.0, NEAR_S),
    ("made-up-felt-10mm.jpg", 10.0, 1.0 / 20.0),
    ("made-up-felt-6.5mm.jpg", 6.5, 1.0 / 30.0),
];
/// The photograph of the bare pixel.
const BARE: (&str, f64) = ("made-up-felt-bare.jpg", 1.0 / 4000.0);
/// The photograph of the ruler in room light.
const RULER: &str = "made-up-felt-ruler.jpg";
/// Its two marked places in mm from the pixel, 60 mm from each other.
const MARKS_MM: [[f64; 2]; 2] = [[-30.0, -18.0], [30.0, -18.0]];
/// Largest file in bytes: the repository stays small.
const LARGEST_FILE: usize = 60_000;

fn path(name: &str) -> PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fabrics/photos").join(name)
}

/// The camera at an exposure time, `unit` being its exposure over a second.
fn camera(unit: f64, seconds: f64, seed: u64) -> Camera {
    let [width, height] = SIZE_PX;
    let everyday = Camera::everyday(width, height, MM_PER_PX);
    Camera {
        centre_px: CENTRE_PX,
        exposure: unit * seconds,
        background: everyday.background.map(|value| 0.4 * value * seconds / NEAR_S),
        full_scale_electrons: 20_000.0,
        save: Save::Jpeg(90),
        seed,
        ..everyday
    }
}

/// Exposure over a second: the photograph at 4 mm reaches its peak.
fn unit(near: &ColourSpots) -> f64 {
    camera(1.0, 1.0, 0).with_peak(near, &[[0.0; 2]], NEAR_PEAK).exposure / NEAR_S
}

/// Value of cloth and ruler under a ceiling lamp: a ruler with a line every millimetre, longer ones every five and ten, and a small
/// cross at each of the two marks.
fn ruler(at: [f64; 2]) -> [f64; 3] {
    const CLOTH: [f64; 3] = [0.34, 0.33, 0.29];
    const RULER: [f64; 3] = [0.62, 0.60, 0.52];
    const INK: [f64; 3] = [0.03; 3];
    const CROSS: [f64; 3] = [0.5, 0.03, 0.03];
    /// Half of a line's thickness, and half of a cross, in mm.
    const HALF_LINE: f64 = 0.11;
    const HALF_CROSS: f64 = 1.6;
    let edge = MARKS_MM[0][1];
    let [x, y] = at;
    let cross = MARKS_MM.iter().any(|mark| {
        let [dx, dy] = [(x - mark[0]).abs(), (y - mark[1]).abs()];
        (dx < HALF_LINE && dy < HALF_CROSS) || (dy < HALF_LINE && dx < HALF_CROSS)
    });
    if cross {
        return CROSS;
    }
    if y > edge {
        return CLOTH;
    }
    let whole = x.round();
    let long = match whole as i64 {
        n if n % 10 == 0 => 5.0,
        n if n % 5 == 0 => 3.8,
        _ => 2.6,
    };
    if (x - whole).abs() < HALF_LINE && edge - y < long { INK } else { RULER }
}

/// Every file by its name.
fn all() -> Vec<(&'static str, Vec<u8>)> {
    let near = spots::of(felt(), felt().fit_gaps_mm[0]);
    let unit = unit(&near);
    let mut files = Vec::new();
    for (i, (name, gap_mm, seconds)) in LIT.into_iter().enumerate() {
        let camera = camera(unit, seconds, 40 + i as u64);
        files.push((name, camera.photograph(&spots::of(felt(), gap_mm), &[[0.0; 2]])));
    }
    let (name, seconds) = BARE;
    // The bare photograph is told as a share of another's exposure.
    files.push((name, camera(unit, NEAR_S, 50).photograph_bare(&near, &[[0.0; 2]], seconds / NEAR_S)));
    // By day the camera's white balance makes grey grey.
    let by_day =
        Camera { exposure: 1.0, channel_gain: [1.0; 3], background: [0.0; 3], ..camera(unit, NEAR_S, 60) };
    files.push((RULER, by_day.expose(ruler)));
    files
}

#[test]
#[ignore = "writes the example photographs anew"]
#[allow(clippy::disallowed_methods)]
fn make_example_photographs() {
    std::fs::create_dir_all(path("")).expect("the folder can be made");
    for (name, bytes) in all() {
        std::fs::write(path(name), bytes).expect("the folder can be written");
    }
}

/// Mean difference of linear values between a file and one made anew: the same seeds give the same noise, and another processor's last
/// digits move a few codes by one (a code is up to 0.009).
const SAME: f64 = 1e-4;

#[test]
#[allow(clippy::disallowed_methods)]
fn the_example_photographs_are_what_the_camera_makes() {
    for (name, made) in all() {
        let bytes = std::fs::read(path(name)).expect("an example photograph");
        assert!(bytes.len() < LARGEST_FILE, "{name}: {} bytes", bytes.len());
        let [stored, made] = [&bytes, &made].map(|b| decode(b, ToneChoice::Auto).expect("a photograph"));
        assert_eq!([stored.width, stored.height], SIZE_PX.map(|n| n as usize), "{name}");
        assert!(stored.taken.is_none(), "{name}: the guide says that it carries no data");
        let places = (0..stored.height).flat_map(|y| (0..stored.width).map(move |x| (x, y)));
        let away = places.map(|(x, y)| (stored.linear(x, y)[1] - made.linear(x, y)[1]).abs()).sum::<f64>();
        let mean = away / (stored.width * stored.height) as f64;
        assert!(mean < SAME, "{name}: differs by {mean:.1e}; make_example_photographs makes it anew");
    }
}
