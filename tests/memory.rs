//! What pictures take of memory, counted by the allocator, against what is told beforehand; and what is refused before it takes any.
#![allow(clippy::disallowed_methods, reason = "tests read and write files")]
#![allow(clippy::print_stdout, reason = "the figures are worth seeing: --nocapture")]

#[path = "common/counted.rs"]
mod counted;

use counted::peak_of;
use std::process::Command;
use std::sync::{Mutex, MutexGuard, PoisonError};
use weftlight::cloth::catalogue::CatalogueOnly;
use weftlight::motion::frames;
use weftlight::motion::picture::{Placing, mapped};
use weftlight::motion::timing::Timing;
use weftlight::photo::decode::{MOST_UNPACKED, ToneChoice, decode};
use weftlight::picture::clip::developed;
use weftlight::picture::luminance::{frame, luminance, luminance_within};
use weftlight::picture::memory::{BESIDE, MOST_MEMORY, Output, TooLarge, needed, of_film};
use weftlight::picture::projector::Projector;
use weftlight::picture::render::{exposure, linear_png, png};
use weftlight::scene::Scene;
use weftlight::scene::file::resolve;

#[global_allocator]
static ALLOCATOR: counted::Counted = counted::Counted;

/// What is told may be so many times what is taken: dark components are counted as lit, packed pictures as larger than they mostly are,
/// and [`BESIDE`] in full.
const AT_MOST: f64 = 2.0;

/// The same for a film: its frames seldom all stand where they take most.
const FILM_AT_MOST: f64 = 3.0;

/// The whole process is counted, so the tests take turns.
fn turn() -> MutexGuard<'static, ()> {
    static TURN: Mutex<()> = Mutex::new(());
    TURN.lock().unwrap_or_else(PoisonError::into_inner)
}

fn scene(text: &str, size_px: [u32; 2]) -> Scene {
    let resolved = resolve(text, "scene.yaml", &CatalogueOnly);
    let mut scene = resolved.unwrap_or_else(|all| panic!("{all:?}")).scene;
    scene.view.size_px = size_px;
    scene
}

/// One round spot behind felt: the picture is read between the nodes of a coarse grid.
const SOFT: &str =
    "pixels: [strip: {pitch_mm: 16.67, count: 24}]\nstack: [{gap_mm: 8, cloth: felt-wool-ivory}]\n";
/// Small spots all over a large garment: the image's own pixels are the grid.
const SHARP: &str = "pixels: [grid: {columns: 40, rows: 40, pitch_mm: 100, turn_deg: 11}]\nstack: [{gap_mm: 3, cloth: jersey}]\n";
/// The same through holes, with halos.
const OPEN: &str = "pixels: [grid: {columns: 30, rows: 30, pitch_mm: 100, turn_deg: 11}]\nstack: [{gap_mm: 3, cloth: organza}]\n";
/// The same at gaps that differ, each with spots of its own.
const UNEVEN: &str = "pixels: [grid: {columns: 40, rows: 40, pitch_mm: 100, turn_deg: 11}]\n\
                      stack: [{gap_mm: 3, cloth: jersey, quilt: {rise_mm: 25, cell_mm: 370}}]\n";
const ASIDE: &str = "pixels: [grid: {columns: 12, rows: 12, pitch_mm: 60, turn_deg: 11}]\nstack: [{gap_mm: 4, cloth: muslin}]\n\
                     view: {side_deg: 50, from_deg: 30}\n";
const BARE: &str = "pixels: [grid: {columns: 12, rows: 12, pitch_mm: 30, turn_deg: 11}]\nstack: []\n";

fn projector(scene: &Scene) -> Projector {
    Projector::new(scene, frame(scene), &|pixel, die| scene.pixels[pixel].levels[die] > 0.0)
}

fn told_and_taken(name: &str, text: &str, size_px: [u32; 2], output: Output) {
    let scene = scene(text, size_px);
    let told = needed(&projector(&scene), output);
    let (taken, bytes) = peak_of(|| {
        let picture = luminance(&scene);
        let exposure = exposure(&scene, &picture);
        let file = png(&scene, &picture, exposure).expect("encoded");
        let linear = match output {
            Output::Png => 0,
            Output::PngAndLinear => linear_png(&picture).expect("encoded").len(),
        };
        file.len() + linear
    });
    let ratio = told as f64 / taken as f64;
    println!(
        "{name} {size_px:?} {output:?}: told {} MiB, taken {} MiB, ratio {ratio:.2}, files {bytes}",
        told >> 20,
        taken >> 20
    );
    assert!(ratio >= 1.0, "{name} {size_px:?}: told {told}, taken {taken}");
    assert!(ratio <= AT_MOST, "{name} {size_px:?}: told {told}, taken {taken}");
}

#[test]
fn what_a_picture_takes_is_told_within_a_factor_of_two() {
    let _turn = turn();
    // Tables that are made once are there before anything is counted.
    let _ = luminance(&scene(OPEN, [64, 48]));
    for (name, text) in [
        ("soft", SOFT),
        ("sharp", SHARP),
        ("open", OPEN),
        ("uneven", UNEVEN),
        ("aside", ASIDE),
        ("bare", BARE),
    ] {
        told_and_taken(name, text, [3000, 2000], Output::Png);
    }
    // Another size, another shape: above and below two and a half million image pixels the grid is another one.
    told_and_taken("sharp", SHARP, [1800, 1300], Output::Png);
    told_and_taken("uneven", UNEVEN, [1300, 3900], Output::Png);
    told_and_taken("soft", SOFT, [6000, 3000], Output::Png);
    told_and_taken("soft", SOFT, [2400, 1800], Output::PngAndLinear);
    told_and_taken("open", OPEN, [2400, 1800], Output::PngAndLinear);
}

#[test]
fn what_a_film_takes_is_told_within_a_factor_of_three() {
    let _turn = turn();
    let text = format!("{SOFT}light: {{pattern: {{pulse: {{period_s: 2}}}}}}\n");
    let _ = luminance(&scene(&text, [64, 48]));
    for size_px in [[2600, 1800], [6000, 3400]] {
        let scene = scene(&text, size_px);
        let timing = Timing::new(2.0, 5.0).expect("ten frames");
        let told = {
            let projector = frames::projector(&scene, frame(&scene), timing);
            of_film(&projector, frames::at_once(&projector))
        };
        let (taken, made) = peak_of(|| {
            let projector = frames::projector(&scene, frame(&scene), timing);
            let levels = |time_s: f64| frames::levels_at(&scene, time_s);
            let ev = frames::exposure(scene.view.exposure, &projector, timing, &levels);
            let mut made = 0;
            let work =
                |_: usize, _: f64, picture: weftlight::picture::luminance::LuminanceImage| -> Result<_, ()> {
                    let canvas = developed(&picture, ev);
                    Ok((picture, canvas.clone(), canvas))
                };
            let mut each = |_: usize, _: f64, _| {
                made += 1;
                Ok(())
            };
            frames::each(&projector, timing, &levels, &work, &mut each).expect("made");
            made
        });
        let ratio = told as f64 / taken as f64;
        println!("film {size_px:?}: told {} MiB, taken {} MiB, ratio {ratio:.2}", told >> 20, taken >> 20);
        assert_eq!(made, timing.count);
        assert!((1.0..=FILM_AT_MOST).contains(&ratio), "{size_px:?}: told {told}, taken {taken}");
    }
}

#[test]
fn what_is_too_large_is_refused_before_it_is_there() {
    let _turn = turn();
    let scene = scene(SHARP, [6000, 6000]);
    let most = 256 << 20;
    let (taken, refused) = peak_of(|| luminance_within(&scene, frame(&scene), None, Output::Png, most));
    let fault @ TooLarge { needed, .. } = refused.expect_err("36 million image pixels in 256 MiB");
    assert!(needed > most && taken < BESIDE, "{needed} needed, {taken} taken");
    // A picture of the size that is proposed fits.
    let words = fault.next();
    let side = words.split("--size-px ").nth(1).and_then(|rest| rest.split('x').next()?.parse().ok());
    let side = side.unwrap_or_else(|| panic!("no size in {words}"));
    let smaller =
        Scene { view: weftlight::scene::View { size_px: [side; 2], ..scene.view.clone() }, ..scene };
    assert!(luminance_within(&smaller, frame(&smaller), None, Output::Png, most).is_ok(), "{words}");
}

/// Pictures of the greatest size behind one even cloth are allowed; many spots of many gaps are not.
#[test]
fn the_greatest_pictures_are_allowed_or_refused_by_what_they_take() {
    let _turn = turn();
    let told = |text: &str| needed(&projector(&scene(text, [8192, 8192])), Output::Png);
    for (name, text) in [("soft", SOFT), ("sharp", SHARP)] {
        println!("{name}: {} MiB", told(text) >> 20);
        assert!(told(text) <= MOST_MEMORY, "{name}: {} MiB", told(text) >> 20);
    }
    println!("uneven: {} MiB", told(UNEVEN) >> 20);
    assert!(told(UNEVEN) > MOST_MEMORY, "{} MiB", told(UNEVEN) >> 20);
}

#[test]
fn the_program_refuses_with_a_size_that_fits() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("memory");
    std::fs::create_dir_all(&folder).expect("a folder");
    let (file, output) = (folder.join("uneven.yaml"), folder.join("uneven.png"));
    let text = format!("{UNEVEN}light: {{pattern: {{pulse: {{period_s: 2}}}}}}\n");
    std::fs::write(&file, text).expect("written");
    for command in ["preview", "motion"] {
        let mut call = Command::new(env!("CARGO_BIN_EXE_weftlight"));
        call.arg(command).arg(&file).args(["--size-px", "8192x8192", "--output"]).arg(&output);
        let done = call.output().expect("runs");
        let err = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(2), "{command}: {err}");
        assert!(
            err.contains("8192 x 8192") && err.contains("MiB") && err.contains("--size-px"),
            "{command}: {err}"
        );
        assert!(!output.exists(), "{command}");
    }
}

/// A PNG of one colour whose colour profile unpacks to so many zeros.
fn with_profile(zeros: usize) -> Vec<u8> {
    let side = 40;
    let mut bytes = Vec::new();
    let picture = image::RgbImage::from_pixel(side, side, image::Rgb([90, 60, 30]));
    picture.write_to(&mut std::io::Cursor::new(&mut bytes), image::ImageFormat::Png).expect("encoded");
    // After the header: 8 bytes of signature, 25 of the header's chunk.
    let chunk = chunk(b"iCCP", &[b"x\0\0", &deflated_zeros(zeros)[..]].concat());
    bytes.splice(33..33, chunk);
    bytes
}

fn chunk(kind: &[u8], data: &[u8]) -> Vec<u8> {
    let named = [kind, data].concat();
    let bit = |crc: u32| if crc & 1 == 1 { 0xedb8_8320 ^ (crc >> 1) } else { crc >> 1 };
    let crc = !named.iter().fold(!0u32, |crc, byte| (0..8).fold(crc ^ u32::from(*byte), |crc, _| bit(crc)));
    [&(data.len() as u32).to_be_bytes()[..], &named, &crc.to_be_bytes()].concat()
}

/// Zeros in the form of RFC 1950 and 1951: one zero, and over and over "the last byte 258 times", in the fixed codes.
fn deflated_zeros(count: usize) -> Vec<u8> {
    const RUN: usize = 258;
    let runs = count / RUN;
    let mut bytes = vec![0x78, 0x01];
    let (mut bits, mut filled) = (0_u64, 0);
    // Codes are told from their highest bit, numbers from their lowest; both fill bytes from the lowest bit.
    let mut put = |code: &str| {
        for bit in code.bytes() {
            bits |= u64::from(bit == b'1') << filled;
            filled += 1;
            if filled == 8 {
                bytes.push(bits as u8);
                (bits, filled) = (0, 0);
            }
        }
    };
    put("110");
    put("00110000");
    (0..runs).for_each(|_| put("1100010100000"));
    put("0000000");
    put("0000000");
    // The sum over 1 + 258 runs zeros (RFC 1950): 1 in the lower half, their number in the upper.
    let sum = (((1 + RUN * runs) % 65_521) as u32) << 16 | 1;
    bytes.extend(sum.to_be_bytes());
    bytes
}

/// A profile of zeros that unpacks within the limit is taken, and one that does not is left aside without being unpacked.
#[test]
fn a_profile_that_unpacks_to_hundreds_of_megabytes_is_left_aside() {
    let _turn = turn();
    /// Tables of a photograph, the picture of 40 pixels a side.
    const PICTURE: usize = 1 << 20;
    let pixels = &scene(SOFT, [64, 48]).pixels;
    for zeros in [MOST_UNPACKED / 2, 300 << 20] {
        let bytes = with_profile(zeros);
        // A copy of the packed profile, and it unpacked and once more handed out, where it is small enough.
        let most = 2 * bytes.len() + 2 * MOST_UNPACKED + PICTURE;
        let (taken, photo) = peak_of(|| decode(&bytes, ToneChoice::Auto));
        let photo = photo.expect("a picture");
        assert_eq!((photo.width, photo.height), (40, 40));
        assert!(taken <= most, "{zeros}: {} MiB", taken >> 20);
        let (taken, laid) = peak_of(|| mapped(&bytes, pixels, Placing::default()));
        assert_eq!(laid.expect("a picture").codes.len(), 1);
        assert!(taken <= most, "{zeros}: {} MiB as a pattern's picture", taken >> 20);
    }
}
