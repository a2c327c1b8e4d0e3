//! The committed pictures of the demo scenes are those that the program draws.
//!
//! This shows only that nothing changed unasked; what the pictures should look like is tested elsewhere. When a change is
//! meant, look at the new pictures, draw them with `.ci/gallery`, and tell it under "Numbers changed" in the CHANGELOG.
#![allow(clippy::disallowed_methods)]

use std::path::Path;
use weftlight::photo::decode::{ToneChoice, decode};
use weftlight::picture::luminance::luminance;
use weftlight::picture::on_photo::{MOST_PX, on_photo};
use weftlight::picture::render;
use weftlight::scene::file::read;

/// Largest difference of an 8-bit code: another processor's order of additions moves a value across a rounding edge, and where
/// the gamut mapping is steep by a little more.
const LARGEST: u8 = 6;
/// Mean difference of the 8-bit codes.
const MEAN: f64 = 0.1;

fn decoded(bytes: &[u8]) -> ([u32; 2], Vec<u8>) {
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().expect("a PNG header");
    let mut pixels = vec![0; reader.output_buffer_size().expect("a picture that fits in memory")];
    let info = reader.next_frame(&mut pixels).expect("a whole picture");
    pixels.truncate(info.buffer_size());
    ([info.width, info.height], pixels)
}

#[test]
fn committed_pictures_are_what_the_program_draws() {
    for name in ["badge", "coat", "coat-bent", "collar", "hem", "lantern", "panel", "waistcoat", "wing"] {
        let scene = read(Path::new(&format!("scenes/{name}.yaml"))).expect("a demo scene is in order");
        let picture = match &scene.view.photo {
            Some(view) => {
                let bytes = std::fs::read(&view.file).expect("a photograph");
                let photo = decode(&bytes, ToneChoice::Auto).expect("a photograph");
                on_photo(&scene, &photo, view, MOST_PX).expect("a picture").picture
            }
            None => luminance(&scene),
        };
        let drawn = render::png(&scene, &picture, render::exposure(&scene, &picture)).expect("a picture");
        let committed = std::fs::read(format!("renders/{name}.png")).expect("a committed picture");
        let ((mut size, mut drawn), (mut committed_size, mut committed)) =
            (decoded(&drawn), decoded(&committed));
        if scene.view.photo.is_some() || scene.pattern.is_some() {
            // The command's caption also names the photograph's file or the pattern's moment: the picture alone.
            size[1] = picture.frame.height_px;
            committed_size[1] = committed_size[1].min(size[1]);
            let length = 3 * (size[0] * size[1]) as usize;
            drawn.truncate(length);
            committed.truncate(length);
        }
        assert_eq!(size, committed_size, "{name}: the size changed");
        let differences = || drawn.iter().zip(&committed).map(|(a, b)| a.abs_diff(*b));
        let largest = differences().max().unwrap_or(0);
        let mean = differences().map(f64::from).sum::<f64>() / drawn.len() as f64;
        assert!(
            largest <= LARGEST && mean <= MEAN,
            "{name}: codes differ by up to {largest}, {mean:.3} on average; look at the new picture and draw the gallery anew"
        );
    }
}
