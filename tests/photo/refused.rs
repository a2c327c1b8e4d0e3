//! Pictures from which no cloth can be told get a clear answer; large ones stay within the memory.

use crate::cloths::named;
use crate::synthetic::{Camera, Save};
use crate::{bad, spots};
use weftlight::photo::decode::{DecodeError, MOST_MEMORY, ToneChoice, decode, decode_within};
use weftlight::photo::measure::{Expected, MeasureError, Measured, Scale, measure};

const GAP_MM: f64 = 4.0;

fn camera() -> Camera {
    let camera = Camera::everyday(640, 520, 0.06);
    camera.with_glow_peak(&spots::of(named("wool-felt-1"), GAP_MM), &[[0.0; 2]], 0.7)
}

fn measured(bytes: &[u8]) -> Result<Measured, MeasureError> {
    let photo = decode(bytes, ToneChoice::Auto).expect("a picture");
    let expected = Expected { pixels: None, height_mm: GAP_MM + 1.05, window_mm: 1.8 };
    measure(&photo, Scale::MmPerPx(0.06), expected)
}

#[test]
fn empty_pictures_and_writing_are_no_spots() {
    for bytes in [bad::empty(&camera()), bad::text(&camera())] {
        let error = measured(&bytes).expect_err("no spot in it");
        assert!(matches!(error, MeasureError::Find(_)), "{error:?}");
        assert!(error.to_string().len() > 20, "told in words: {error}");
    }
}

#[test]
fn two_spots_are_counted() {
    let spots = spots::of(named("wool-felt-1"), GAP_MM);
    let error = measured(&bad::two_spots(&camera(), &spots, 22.0)).expect_err("two of them");
    assert!(
        matches!(&error, MeasureError::Count { found: 2, expected: 1, places_px } if places_px.len() == 2),
        "{error:?}"
    );
}

#[test]
fn a_spot_on_the_edge_and_a_broken_file_are_refused() {
    let spots = spots::of(named("wool-felt-1"), GAP_MM);
    assert!(measured(&bad::cut_off(&camera(), &spots)).is_err());
    let whole = camera().photograph(&spots, &[[0.0; 2]]);
    assert!(measured(&whole).is_ok());
    for share in [0.1, 0.5, 0.95] {
        assert!(decode(&bad::truncated(&whole, share), ToneChoice::Auto).is_err(), "{share}");
    }
    let heic = decode(&bad::heic_header(), ToneChoice::Auto).expect_err("no HEIC").to_string();
    assert!(heic.contains("convert"), "{heic}");
}

#[test]
fn forty_megapixels_fit_into_the_memory() {
    let spots = spots::of(named("wool-felt-1"), GAP_MM);
    let camera = Camera { mm_per_px: 60.0 / 7304.0, save: Save::Jpeg(85), ..camera() };
    let bytes = bad::huge(&camera, &spots);
    let photo = decode(&bytes, ToneChoice::Auto).expect("decodes");
    assert_eq!(photo.width * photo.height, 7304 * 5478);
    // The file, the picture, and the same again while it is turned upright.
    assert!(bytes.len() + 2 * photo.bytes() < MOST_MEMORY, "{} bytes", photo.bytes());
}

#[test]
fn pictures_for_which_no_room_is_left_are_refused_by_their_headers() {
    let spots = spots::of(named("wool-felt-1"), GAP_MM);
    let whole = |save: Save| Camera { save, ..camera() }.photograph(&spots, &[[0.0; 2]]);
    // 640 by 520 pixels of three bytes, or of three times two.
    for (bytes, room) in [(whole(Save::Jpeg(90)), 998_400), (whole(Save::LinearPng), 1_996_800)] {
        assert!(decode_within(&bytes, ToneChoice::Auto, room).is_ok());
        let error = decode_within(&bytes, ToneChoice::Auto, room - 1).expect_err("one byte too much");
        assert_eq!(error, DecodeError::NoRoom { width: 640, height: 520 });
        assert!(error.to_string().contains("take fewer"), "{error}");
    }
}
