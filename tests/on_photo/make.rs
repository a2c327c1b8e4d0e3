//! The made-up photographs of the demo scenes: `coat.svg`, drawn flat, seen as a camera would see it.
//!
//! `cargo test --test on_photo make_photographs -- --ignored` makes them again. The coat, its cloths and the camera are
//! invented: nothing was photographed, and no number in it was measured.

use image::codecs::jpeg::JpegEncoder;
use resvg::{tiny_skia, usvg};
use std::path::{Path, PathBuf};
use weftlight::picture::colour::{decode, encode_8bit};
use weftlight::picture::on_photo::surface::{Area, Surface};
use weftlight::scene::file::read;

/// Size of a photograph in image pixels.
const SIZE_PX: [u32; 2] = [1200, 1500];
/// The drawing's units (mm) around its middle: left and upper edge, as in its view box.
const EDGE_MM: [f64; 2] = [-420.0, -520.0];
/// Image pixels of the drawing to the mm.
const PX_PER_MM: f64 = 2.0;
/// Quality of the JPEG files, as cameras have it.
const QUALITY: u8 = 86;
/// Largest file in bytes: the repository stays small.
pub(crate) const LARGEST_FILE: u64 = 300_000;
/// Scenes whose photographs are made here.
pub(crate) const SCENES: [&str; 2] = ["coat", "coat-bent"];

pub(crate) fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// The drawing in linear light.
struct Drawing {
    width: usize,
    height: usize,
    rgb: Vec<[f32; 3]>,
}

impl Drawing {
    fn read() -> Drawing {
        let text = std::fs::read_to_string(path("tests/on_photo/coat.svg")).expect("the drawing");
        let tree = usvg::Tree::from_str(&text, &usvg::Options::default()).expect("a drawing");
        let size = tree.size().to_int_size();
        let mut map = tiny_skia::Pixmap::new(size.width(), size.height()).expect("a picture");
        resvg::render(&tree, tiny_skia::Transform::default(), &mut map.as_mut());
        let rgb = map
            .pixels()
            .iter()
            .map(|p| [p.red(), p.green(), p.blue()].map(|v| decode(f64::from(v) / 255.0) as f32))
            .collect();
        Drawing { width: size.width() as usize, height: size.height() as usize, rgb }
    }

    /// Linear light at a place in mm (y upwards); beyond the edge as at the edge.
    fn at(&self, [x, y]: [f64; 2]) -> [f64; 3] {
        let u = ((x - EDGE_MM[0]) * PX_PER_MM - 0.5).clamp(0.0, self.width as f64 - 1.001);
        let v = ((-y - EDGE_MM[1]) * PX_PER_MM - 0.5).clamp(0.0, self.height as f64 - 1.001);
        let (i, j) = (u as usize, v as usize);
        let (f, g) = (u - i as f64, v - j as f64);
        let value = |i: usize, j: usize, c: usize| f64::from(self.rgb[j * self.width + i][c]);
        std::array::from_fn(|c| {
            (1.0 - g) * ((1.0 - f) * value(i, j, c) + f * value(i + 1, j, c))
                + g * ((1.0 - f) * value(i, j + 1, c) + f * value(i + 1, j + 1, c))
        })
    }
}

/// A number from -1 to 1 that belongs to a place of a lattice.
fn hashed(i: i64, j: i64, seed: u64) -> f64 {
    let mut h = (i as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15)
        ^ (j as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f)
        ^ seed.wrapping_mul(0x1656_67b1_9e37_79f9);
    h = (h ^ (h >> 31)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    h = (h ^ (h >> 29)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((h >> 11) as f64 / (1u64 << 52) as f64) - 1.0
}

/// Smooth noise of a grain size in mm.
fn grain([x, y]: [f64; 2], size: [f64; 2], seed: u64) -> f64 {
    let (u, v) = (x / size[0], y / size[1]);
    let (i, j) = (u.floor(), v.floor());
    let smooth = |t: f64| t * t * (3.0 - 2.0 * t);
    let (f, g) = (smooth(u - i), smooth(v - j));
    let h = |a: i64, b: i64| hashed(i as i64 + a, j as i64 + b, seed);
    (1.0 - g) * ((1.0 - f) * h(0, 0) + f * h(1, 0)) + g * ((1.0 - f) * h(0, 1) + f * h(1, 1))
}

/// Share of light that the pile of the cloth adds or takes at a place.
fn pile(mm: [f64; 2]) -> f64 {
    let slanted = [mm[0] + 0.6 * mm[1], mm[1] - 0.5 * mm[0]];
    1.0 + 0.07 * grain(mm, [2.2, 2.2], 1)
        + 0.06 * grain(slanted, [1.1, 5.0], 2)
        + 0.05 * grain(mm, [38.0, 55.0], 3)
}

/// A JPEG photograph of the drawing on a surface.
fn photograph(drawing: &Drawing, surface: &Surface) -> Vec<u8> {
    let [width, height] = SIZE_PX;
    let mut rgb = Vec::with_capacity(3 * (width * height) as usize);
    for row in 0..height {
        for column in 0..width {
            let mut sum = [0.0; 3];
            for part in 0..9 {
                let px = [
                    f64::from(column) + f64::from(part % 3) / 3.0 - 1.0 / 3.0,
                    f64::from(row) + f64::from(part / 3) / 3.0 - 1.0 / 3.0,
                ];
                let Some((mm, _)) = surface.on_garment(px) else { continue };
                let light = drawing.at(mm);
                // The wall is smooth.
                let rough = if light[0] > light[2] * 1.1 && light[0] < 0.62 { 1.0 } else { pile(mm) };
                sum.iter_mut().zip(light).for_each(|(sum, v)| *sum += v * rough / 9.0);
            }
            // Darker towards the corners, as lenses draw, and the noise of the sensor.
            let [dx, dy] = [f64::from(column) / 600.0 - 1.0, f64::from(row) / 750.0 - 1.0];
            let vignette = 1.0 - 0.16 * (dx * dx + dy * dy);
            for (c, value) in sum.into_iter().enumerate() {
                let noise =
                    0.012 * (0.02 + value).sqrt() * hashed(i64::from(column), i64::from(row), 10 + c as u64);
                rgb.push(encode_8bit(0.92 * value * vignette + noise));
            }
        }
    }
    let mut file = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut file, QUALITY);
    encoder.encode(&rgb, width, height, image::ExtendedColorType::Rgb8).expect("a file in memory");
    file
}

#[test]
#[ignore = "writes the made-up photographs anew"]
fn make_photographs() {
    let drawing = Drawing::read();
    for name in SCENES {
        let scene = read(&path(&format!("scenes/{name}.yaml"))).expect("a demo scene is in order");
        let view = scene.view.photo.as_ref().expect("a photograph is named");
        let area: Area = view.area(&scene);
        // What lies beyond the points of a bent surface must be drawn too: the marked points are read off one that reaches farther.
        let surface = match name {
            "coat" => Surface::through(area, &view.points_px, view.columns, view.rows).expect("a surface"),
            _ => body(),
        };
        if name != "coat" {
            let places = (0..9).map(|i| {
                let [w, h] = area.size_mm;
                let mm = [
                    area.centre_mm[0] + w * (f64::from(i % 3) / 2.0 - 0.5),
                    area.centre_mm[1] - h * (f64::from(i / 3) / 2.0 - 0.5),
                ];
                surface.in_photo(mm).expect("seen").map(|v| v.round())
            });
            println!("{name}: points_px: {:?}", places.collect::<Vec<_>>());
        }
        std::fs::write(path(&format!("scenes/{name}-photo.jpg")), photograph(&drawing, &surface))
            .expect("written");
    }
}

/// The coat on a round form, seen from its left: the whole drawing on a surface of nine by five points.
fn body() -> Surface {
    let area = Area { centre_mm: [0.0, 0.0], size_mm: [1100.0, 1200.0] };
    let points: Vec<[f64; 2]> = (0..45)
        .map(|i| {
            let s = f64::from(i % 9) / 4.0 - 1.0;
            let t = f64::from(i / 9) / 2.0 - 1.0;
            // An arc of 130 degrees, turned by 14 degrees, that comes nearer in its middle.
            let angle = (65.0 * s + 14.0f64).to_radians();
            let near = 1.0 + 0.12 * (angle.cos() - 0.8);
            [470.0 + 689.0 * angle.sin() * near, 730.0 + 850.0 * t * near + 40.0 * (1.0 - angle.cos())]
        })
        .collect();
    Surface::through(area, &points, 9, 5).expect("a surface")
}
