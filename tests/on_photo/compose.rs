//! The composition from outside: a photograph that shows the flat picture's own rectangle must give the flat picture.

use crate::make::{LARGEST_FILE, SCENES, path};
use image::{ImageBuffer, ImageFormat, Rgb};
use std::io::Cursor;
use weftlight::photo::decode::{Photo, ToneChoice, decode};
use weftlight::picture::canvas::Canvas;
use weftlight::picture::colour::linear_srgb;
use weftlight::picture::exposure::ExposureValue;
use weftlight::picture::luminance::luminance;
use weftlight::picture::on_photo::{Anchor, NotOnPhoto, OnPhoto, on_photo};
use weftlight::picture::render::{develop, exposure};
use weftlight::scene::file::{read, resolve};
use weftlight::scene::on_photo::PhotoView;
use weftlight::scene::{Exposure, Scene};

/// One step of 8 bits: a value may lie on its edge.
const STEP: u8 = 1;
/// 16-bit codes of a photograph and single precision, relative.
const CODES: f64 = 1e-3;
const SIZE: [u32; 2] = [360, 240];

struct Catalogue;

impl weftlight::cloth::catalogue::ClothSource for Catalogue {
    fn by_path(
        &self,
        path: &str,
    ) -> Result<std::sync::Arc<weftlight::cloth::Cloth>, Vec<weftlight::diagnose::Diagnostic>> {
        Err(vec![weftlight::diagnose::Diagnostic::of_file(path, "not here")])
    }
}

/// Two pixels behind felt, seen in so much light, in a picture of 360 by 240 image pixels at 0.5 mm.
fn scene(room_lx: f64, more: &str) -> Scene {
    let text = format!(
        "pixels: [strip: {{package: \"5050\", pitch_mm: 40, count: 2, start_mm: [-20, 0], colours: [\"#ff8040\", \"#60a0ff\"]}}]\n\
         stack: [{{gap_mm: 6, cloth: felt-wool-ivory}}]\nview: {{room_lx: {room_lx}, size_px: [360, 240], margin_mm: 60}}\n{more}"
    );
    resolve(&text, "scene.yaml", &Catalogue).expect("a scene").scene
}

/// A photograph in linear light of 16 bits, each image pixel by its place.
fn photo(size: [u32; 2], light: impl Fn(u32, u32) -> [f64; 3]) -> Photo {
    let picture: ImageBuffer<Rgb<u16>, Vec<u16>> = ImageBuffer::from_fn(size[0], size[1], |x, y| {
        Rgb(light(x, y).map(|v| (v.clamp(0.0, 1.0) * 65_535.0).round() as u16))
    });
    let mut file = Cursor::new(Vec::new());
    picture.write_to(&mut file, ImageFormat::Png).expect("a file in memory");
    decode(file.get_ref(), ToneChoice::Linear).expect("a photograph")
}

/// The corners of a whole picture.
fn whole([width, height]: [u32; 2]) -> [[f64; 2]; 4] {
    let (right, bottom) = (f64::from(width) - 0.5, f64::from(height) - 0.5);
    [[-0.5, -0.5], [right, -0.5], [right, bottom], [-0.5, bottom]]
}

/// The flat picture's own rectangle.
fn own_view(scene: &Scene) -> PhotoView {
    let frame = weftlight::picture::luminance::frame(scene);
    PhotoView {
        width_mm: Some(f64::from(frame.width_px) * frame.mm_per_px),
        height_mm: Some(f64::from(frame.height_px) * frame.mm_per_px),
        ..PhotoView::with_corners("photo.png".to_owned(), whole(SIZE))
    }
}

fn composed(scene: &Scene, photo: &Photo, view: &PhotoView) -> OnPhoto {
    on_photo(scene, photo, view, [1920, 1920]).expect("a picture")
}

fn worst(a: &Canvas, b: &Canvas) -> u8 {
    assert_eq!((a.width_px, a.height_px), (b.width_px, b.height_px));
    a.rgb.iter().zip(&b.rgb).map(|(a, b)| a.abs_diff(*b)).max().unwrap_or(0)
}

#[test]
fn in_the_dark_it_is_the_flat_picture() {
    let scene = scene(0.0, "");
    let flat = luminance(&scene);
    let ev = exposure(&scene, &flat);
    // Whatever the photograph holds: there is no light to see it by.
    for light in [0.0, 0.7] {
        let on = composed(&scene, &photo(SIZE, |x, _| [light * f64::from(x % 3); 3]), &own_view(&scene));
        assert_eq!(exposure(&scene, &on.picture), ev, "exposed alike");
        let difference = worst(&develop(&on.picture.image, ev), &develop(&flat.image, ev));
        assert!(difference <= STEP, "{light}: {difference}");
    }
}

#[test]
fn a_photograph_of_even_cloth_is_the_flat_picture() {
    // The photograph shows cloth of the room-lit cloth's own colour, at some brightness of the camera's own.
    let scene = scene(60.0, "");
    let flat = luminance(&scene);
    let ev = exposure(&scene, &flat);
    let colour = linear_srgb(flat.room.scaled(1.0 / flat.room.luminance()));
    for level in [0.02, 0.5] {
        let on = composed(&scene, &photo(SIZE, |_, _| colour.map(|v| level * v)), &own_view(&scene));
        let relative = on.report.cloth_cd_m2 / flat.room.luminance() - 1.0;
        assert!(relative.abs() < CODES, "{relative}");
        assert!((on.report.white_cd_m2 * level / flat.room.luminance() - 1.0).abs() < CODES);
        let difference = worst(&develop(&on.picture.image, ev), &develop(&flat.image, ev));
        assert!(difference <= STEP, "{level}: {difference}");
    }
}

#[test]
fn shading_and_surroundings_keep_their_proportions() {
    let mut scene = scene(60.0, "outline: {points_mm: [[-50, -30], [50, -30], [50, 30], [-50, 30]]}\n");
    scene.view.exposure = Exposure::Fixed(4.0);
    // Folds in the cloth, and something three times as bright beside it.
    let value = |x: u32, y: u32| if x < 40 { 0.9 } else { 0.3 + 0.1 * f64::from(y % 7) / 6.0 };
    let view = own_view(&scene);
    let on = composed(&scene, &photo(SIZE, |x, y| [value(x, y); 3]), &view);
    let at = |column: u32, row: u32| {
        let [_, photo, _] = on.picture.image.at(column, row).map(f64::from);
        photo - f64::from(on.glow.at(column, row)[1])
    };
    let folded = at(180, 101) / at(180, 104);
    assert!((folded / (value(180, 101) / value(180, 104)) - 1.0).abs() < CODES, "{folded}");
    assert!((at(5, 9) / at(180, 101) / (0.9 / value(180, 101)) - 1.0).abs() < CODES);
    // The mean is over the pattern piece alone, so the bright thing beside it does not count.
    let room = scene.view.room_lx;
    assert!((on.report.cloth_cd_m2 / on.picture.room.luminance() - 1.0).abs() < CODES, "{room}");
    // Outside the piece there is no glow; inside there is.
    assert_eq!(on.glow.at(20, 120), [0.0; 3]);
    assert!(on.glow.at(180, 120)[1] > 0.0);
    assert_eq!(on.report.cut_at, 0.0, "the piece ends it, not the frame");
}

#[test]
fn a_known_exposure_counts_instead() {
    let scene = scene(30.0, "");
    let view = PhotoView { room_lx: Some(600.0), exposure_ev: Some(7.0), ..own_view(&scene) };
    let on = composed(&scene, &photo(SIZE, |_, _| [0.4; 3]), &view);
    // Full scale is 1.2 cd/m2 2^EV (ISO 12232), a twentieth of it in a twentieth of the light.
    let white = ExposureValue(7.0).full_scale().0 / 20.0;
    assert!((on.report.white_cd_m2 / white - 1.0).abs() < 1e-12);
    assert!((on.report.cloth_cd_m2 / (0.4 * white) - 1.0).abs() < CODES);
    assert_eq!(on.report.anchor, Anchor::Taken { room_lx: 600.0, exposure_ev: 7.0 });
    let unknown = PhotoView { exposure_ev: None, ..view };
    let fault = on_photo(&scene, &photo(SIZE, |_, _| [0.4; 3]), &unknown, [1920; 2]).expect_err("refused");
    assert_eq!(fault, NotOnPhoto::NoExposure, "a PNG tells no exposure");
}

#[test]
fn a_smaller_picture_of_a_large_photograph_shows_the_same() {
    let scene = scene(60.0, "");
    let view = |size: [u32; 2]| PhotoView {
        width_mm: Some(180.0),
        height_mm: Some(120.0),
        ..PhotoView::with_corners("photo.png".to_owned(), whole(size))
    };
    let large = [SIZE[0] * 3, SIZE[1] * 3];
    let fine = photo(large, |x, y| [0.2 + 0.3 * f64::from((x / 3 + y / 3) % 5) / 4.0; 3]);
    let coarse = photo(SIZE, |x, y| [0.2 + 0.3 * f64::from((x + y) % 5) / 4.0; 3]);
    let small = on_photo(&scene, &fine, &view(large), SIZE).expect("a picture");
    let same = composed(&scene, &coarse, &view(SIZE));
    let ev = exposure(&scene, &same.picture);
    assert!(worst(&develop(&small.picture.image, ev), &develop(&same.picture.image, ev)) <= STEP);
    // Broken ratios keep the mean.
    let odd = on_photo(&scene, &fine, &view(large), [251, 251]).expect("a picture");
    assert!((odd.report.cloth_cd_m2 / same.report.cloth_cd_m2 - 1.0).abs() < CODES);
}

#[test]
fn what_cannot_be_is_told() {
    let scene = scene(60.0, "");
    let black = photo(SIZE, |_, _| [0.0; 3]);
    let fault = on_photo(&scene, &black, &own_view(&scene), [1920; 2]).expect_err("refused");
    assert_eq!(fault, NotOnPhoto::Black);
    let grey = photo(SIZE, |_, _| [0.4; 3]);
    let outside = PhotoView {
        points_px: vec![[0.0, 0.0], [400.0, 0.0], [0.0, 90.0], [90.0, 90.0]],
        ..own_view(&scene)
    };
    let fault = on_photo(&scene, &grey, &outside, [1920; 2]).expect_err("refused");
    assert!(matches!(fault, NotOnPhoto::Marks(_)) && fault.to_string().contains("360 by 240"), "{fault}");
    let elsewhere = PhotoView { centre_mm: Some([5000.0, 0.0]), ..own_view(&scene) };
    let fault = on_photo(&scene, &grey, &elsewhere, [1920; 2]).expect_err("refused");
    assert_eq!(fault, NotOnPhoto::NoCloth);
}

#[test]
fn the_made_up_photographs_fit_their_scenes() {
    for name in SCENES {
        let file = path(&format!("scenes/{name}-photo.jpg"));
        assert!(std::fs::metadata(&file).expect("there").len() < LARGEST_FILE);
        let photo = decode(&std::fs::read(file).expect("read"), ToneChoice::Auto).expect("a photograph");
        let scene = read(&path(&format!("scenes/{name}.yaml"))).expect("a demo scene is in order");
        let view = scene.view.photo.clone().expect("a photograph is named");
        let on = on_photo(&scene, &photo, &view, [600, 750]).expect("a picture");
        assert!(on.report.burnt_out < 0.01, "{}", on.report.burnt_out);
        // The felt is lighter than the coat around it: the glow lies on felt, if the marks are right. Image pixels within two of
        // the edge of the glow are left out: there felt and coat mix, and stitches shade the felt.
        let width = on.glow.width_px as usize;
        let lit = |i: usize| on.glow.planes[1].get(i).is_some_and(|v| *v > 0.0);
        let inner = |i: &usize| {
            (0..25).all(|k| (i + k % 5 + width * (k / 5)).checked_sub(2 + 2 * width).is_some_and(lit))
        };
        let light = |i: usize| f64::from(on.picture.image.planes[1][i] - on.glow.planes[1][i]);
        let on_felt: Vec<f64> = (0..on.glow.planes[1].len()).filter(inner).map(light).collect();
        let felt = on_felt.iter().filter(|l| **l > 0.5 * on.report.cloth_cd_m2).count();
        assert!(on_felt.len() > 8000, "{name}: {}", on_felt.len());
        assert!(felt as f64 > 0.99 * on_felt.len() as f64, "{name}: {felt} of {}", on_felt.len());
    }
}
