//! The camera against what can be said beforehand.

use crate::bad;
use crate::cloths::CLOTHS;
use crate::spots::{ColourSpots, of, tests::smooth_spots};
use crate::synthetic::{Camera, Save, srgb_code};
use std::f64::consts::PI;

/// Red, green and blue of each element, row after row, as linear values or codes between 0 and 1.
pub(crate) fn decoded(bytes: &[u8]) -> Vec<[f64; 3]> {
    let picture = image::load_from_memory(bytes).expect("a picture").to_rgb32f();
    picture.pixels().map(|pixel| pixel.0.map(f64::from)).collect()
}

/// Rounding of 16-bit values.
const HALF_A_CODE: f64 = 0.5 / 65535.0;

/// A small picture of the smooth test spots, peak at 0.8.
fn small(spots: &ColourSpots) -> Camera {
    Camera::clean(96, 64, 0.5).with_peak(spots, &[[0.0; 2]], 0.8)
}

fn mean(values: impl Iterator<Item = f64> + Clone) -> f64 {
    values.clone().sum::<f64>() / values.count() as f64
}

#[test]
fn the_spot_is_where_and_as_bright_as_asked() {
    /// The middle falls between four elements of 0.5 mm; there the spot is within this share of its peak.
    const MIDDLE: f64 = 5e-3;
    let spots = smooth_spots(0.0);
    let camera = Camera { channel_gain: [0.5, 1.0, 0.25], ..Camera::clean(97, 65, 0.5) };
    let picture = decoded(&camera.with_peak(&spots, &[[6.0, 4.0]], 0.8).photograph(&spots, &[[6.0, 4.0]]));
    let (place, brightest) =
        picture.iter().enumerate().max_by(|a, b| a.1[1].total_cmp(&b.1[1])).expect("elements");
    // 6 mm to the right and 4 mm up from element 48, 32.
    assert_eq!((place % 97, place / 97), (60, 24));
    assert!((brightest[1] - 0.8).abs() < MIDDLE, "{brightest:?}");
    let ratios: Vec<f64> = (0..3).map(|c| brightest[c] / spots.glow(c, 0.0)).collect();
    assert!((ratios[0] / ratios[1] - 0.5).abs() < MIDDLE && (ratios[2] / ratios[1] - 0.25).abs() < MIDDLE);
}

#[test]
fn the_blur_keeps_the_light() {
    /// Sums over elements are integrals to this share: the spots are smooth against an element and dark at the edges of the picture.
    const SUM: f64 = 2e-3;
    let spots = smooth_spots(0.2);
    let window = PI * spots.window_radius_mm().powi(2) * spots.window_radiance();
    // 1/(2 pi) (m + 1) of the flux per sr goes straight ahead.
    assert!((window - 1.0 / PI).abs() < 1e-12);
    for blur_px in [1.0, 2.0, 5.0] {
        let camera = Camera { blur_px, exposure: 1.0, ..Camera::clean(161, 161, 0.1) };
        let bare = decoded(&camera.photograph_bare(&spots, &[[0.3, -0.2]], 1.0));
        let sum: f64 = bare.iter().map(|element| element[1]).sum::<f64>() * 0.01;
        assert!((sum / window - 1.0).abs() < SUM, "blur {blur_px}: {sum} of {window}");
    }
    let sums: Vec<f64> = [0.0, 3.0]
        .into_iter()
        .map(|blur_px| {
            let camera = Camera { blur_px, exposure: 80.0, ..Camera::clean(300, 300, 0.4) };
            let picture = decoded(&camera.photograph(&spots, &[[0.0; 2]]));
            picture.iter().map(|element| element[1]).sum()
        })
        .collect();
    assert!((sums[1] / sums[0] - 1.0).abs() < SUM, "{sums:?}");
}

#[test]
fn a_gaussian_blur_widens_a_gaussian_spot_by_the_sum_of_squares() {
    /// Straight lines between the steps of the table, and the half code of 16 bits.
    const SHARE: f64 = 1e-3;
    // exp(-r^2 / (2 a^2)) blurred by b is a^2 / (a^2 + b^2) exp(-r^2 / (2 (a^2 + b^2))).
    let (a, b): (f64, f64) = (2.0, 1.5);
    let spots = crate::spots::tests::round_spots(0.0, |r| (-0.5 * r * r / (a * a)).exp());
    let camera = Camera { blur_px: b / 0.25, exposure: 1.0, ..Camera::clean(65, 1, 0.25) };
    let picture = decoded(&camera.photograph(&spots, &[[0.0; 2]]));
    for (column, element) in picture.iter().enumerate() {
        let r = 0.25 * (column as f64 - 32.0);
        let wide = a * a + b * b;
        let expected = a * a / wide * (-0.5 * r * r / wide).exp();
        assert!((element[0] - expected).abs() < SHARE, "{r} mm: {} for {expected}", element[0]);
    }
}

#[test]
fn many_noisy_photographs_have_the_clean_one_as_their_mean() {
    const PHOTOS: u64 = 100;
    /// Standard errors allowed for one of 6000 elements: a normal deviate beyond 5 turns up in one of 300 such tests.
    const DEVIATIONS: f64 = 5.0;
    let spots = smooth_spots(0.0);
    let clean = Camera { background: [0.05; 3], ..small(&spots) };
    let expected = decoded(&clean.photograph(&spots, &[[0.0; 2]]));
    let noisy = Camera { full_scale_electrons: 4000.0, read_noise_electrons: 6.0, ..clean };
    let (mut sums, mut squares) = (vec![0.0; expected.len()], 0.0);
    for seed in 0..PHOTOS {
        let photo = decoded(&Camera { seed, ..noisy.clone() }.photograph(&spots, &[[0.0; 2]]));
        for ((sum, element), wanted) in sums.iter_mut().zip(&photo).zip(&expected) {
            *sum += element[1] / PHOTOS as f64;
            let variance = (wanted[1] * 4000.0 + 36.0) / (4000.0 * 4000.0);
            squares += (element[1] - wanted[1]).powi(2) / variance;
        }
    }
    for (sum, wanted) in sums.iter().zip(&expected) {
        let error = ((wanted[1] * 4000.0 + 36.0) / PHOTOS as f64).sqrt() / 4000.0;
        assert!((sum - wanted[1]).abs() < DEVIATIONS * error + HALF_A_CODE, "{sum} for {}", wanted[1]);
    }
    // The variance is that of the electrons: chi-square per element, with its own standard error.
    let count = PHOTOS as f64 * expected.len() as f64;
    let chi_square = squares / count;
    assert!((chi_square - 1.0).abs() < DEVIATIONS * (2.0 / count).sqrt(), "{chi_square}");
}

#[test]
fn the_noise_depends_on_the_seed_alone() {
    let spots = smooth_spots(0.0);
    let camera = Camera::everyday(80, 60, 0.4).with_peak(&spots, &[[0.0; 2]], 0.8);
    let photo = |seed| Camera { seed, ..camera.clone() }.photograph(&spots, &[[0.0; 2]]);
    assert_eq!(photo(7), photo(7));
    assert_ne!(photo(7), photo(8));
    let one_thread = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    assert_eq!(one_thread.install(|| photo(7)), photo(7), "whatever the number of threads");
}

#[test]
fn codes_are_those_of_the_standard() {
    // IEC 61966-2-1: the encoding, worked out by hand: 1.055 0.5^(1/2.4) - 0.055 = 0.73536, times 255 = 187.5.
    for (linear, code) in [(0.0, 0), (0.003, 10), (0.18, 118), (0.5, 188), (1.0, 255)] {
        assert_eq!(srgb_code(linear), code, "{linear}");
    }
    let even = |value: f64, save| {
        decoded(&Camera { exposure: 1.0, save, ..Camera::clean(16, 16, 1.0) }.expose(|_| [value; 3]))
    };
    for (value, code) in [(0.18, 118.0), (1.0, 255.0), (1.7, 255.0)] {
        assert!(even(value, Save::Png).iter().flatten().all(|found| (found * 255.0 - code).abs() < 1e-3));
        // An even picture loses nothing in a JPEG but the rounding of its one coefficient per block.
        assert!(even(value, Save::Jpeg(95)).iter().flatten().all(|v| (v * 255.0 - code).abs() < 1.5));
    }
    for save in [Save::LinearTiff, Save::LinearPng] {
        for (value, kept) in [(0.18, 0.18), (1.0, 1.0), (1.7, 1.0)] {
            assert!(
                even(value, save).iter().flatten().all(|found| (found - kept).abs() < 1.01 * HALF_A_CODE)
            );
        }
    }
}

#[test]
fn a_spot_brighter_than_full_scale_clips() {
    let spots = smooth_spots(0.0);
    let camera = Camera::clean(96, 64, 0.5).with_peak(&spots, &[[0.0; 2]], 2.0);
    let picture = decoded(&camera.photograph(&spots, &[[0.0; 2]]));
    let clipped = picture.iter().filter(|element| element[0] == 1.0).count() as f64 * 0.25;
    // As large as the disc in which the spot is brighter than half of its peak.
    let radius =
        (0..1000).map(|i| 0.01 * f64::from(i)).find(|r| spots.glow(0, *r) < 0.5 * spots.glow(0, 0.0));
    let expected = PI * radius.expect("a spot falls off").powi(2);
    /// Elements of 0.25 mm2 along an edge some 30 mm long: counting error of about their square root.
    const COUNTING_MM2: f64 = 3.0;
    assert!((clipped - expected).abs() < COUNTING_MM2, "{clipped} mm2 for {expected}");
}

#[test]
fn the_mosaic_keeps_what_is_smooth() {
    /// The mean of four corners errs by `h^2 / 2` times the Laplacian, which is `2 peak / a^2` at the top of a Gaussian spot:
    /// elements of h = 0.5 mm, peak 0.8, a = 4 mm.
    const BEND: f64 = 0.5 * 0.25 * 2.0 * 0.8 / 16.0;
    let spots = smooth_spots(0.0);
    let whole = Camera { channel_gain: [0.6, 1.0, 0.8], ..small(&spots) };
    let mosaic = Camera { bayer: true, ..whole.clone() };
    let pictures = [whole, mosaic].map(|camera| decoded(&camera.photograph(&spots, &[[0.0; 2]])));
    let inner = |place: usize| (1..95).contains(&(place % 96)) && (1..63).contains(&(place / 96));
    for (place, (a, b)) in pictures[0].iter().zip(&pictures[1]).enumerate().filter(|(place, _)| inner(*place))
    {
        assert!((0..3).all(|c| (a[c] - b[c]).abs() < BEND), "{place}: {a:?} {b:?}");
    }
}

#[test]
fn dark_slope_and_vignetting_are_as_stated() {
    let camera = Camera { background: [0.2, 0.3, 0.4], slope: [0.5, -0.25], ..Camera::clean(101, 101, 1.0) };
    let at = |picture: &[[f64; 3]], column: usize, row: usize| picture[row * 101 + column];
    let dark = decoded(&bad::empty(&camera));
    assert!((at(&dark, 50, 50)[2] - 0.4).abs() < 1.01 * HALF_A_CODE);
    // The middles of the outermost elements are 100/101 of the way to the edge.
    let edge = 100.0 / 101.0;
    assert!((at(&dark, 100, 50)[0] - 0.2 * (1.0 + 0.5 * edge)).abs() < 1.01 * HALF_A_CODE);
    assert!((at(&dark, 50, 0)[1] - 0.3 * (1.0 - 0.25 * edge)).abs() < 1.01 * HALF_A_CODE);
    let vignetting = Camera { slope: [0.0; 2], vignetting_degrees: 20.0, ..camera };
    let falling = decoded(&bad::empty(&vignetting));
    let tangent = edge * 20f64.to_radians().tan();
    let expected = 0.4 * tangent.atan().cos().powi(4);
    assert!((at(&falling, 0, 100)[2] - expected).abs() < 1.01 * HALF_A_CODE);
}

#[test]
fn crosstalk_mixes_the_dies_and_keeps_white_white() {
    let camera = Camera { crosstalk: 0.1, ..Camera::clean(4, 4, 1.0) };
    let of = |light: [f64; 3]| decoded(&camera.expose(|_| light))[0];
    for (found, expected) in of([0.5, 0.0, 0.2]).into_iter().zip([0.42, 0.07, 0.21]) {
        assert!((found - expected).abs() < 1.01 * HALF_A_CODE, "{found} for {expected}");
    }
    assert!(of([0.6; 3]).iter().all(|found| (found - 0.6).abs() < 1.01 * HALF_A_CODE));
}

#[test]
fn spots_of_several_pixels_add_up() {
    /// Three roundings to 16 bits.
    const ROUNDING: f64 = 3.1 * HALF_A_CODE;
    let spots = smooth_spots(0.0);
    let camera = small(&spots);
    let dim = Camera { exposure: 0.4 * camera.exposure, ..camera };
    let places = [[-5.0, 2.0], [7.0, -3.0]];
    let both = decoded(&dim.photograph(&spots, &places));
    let single = places.map(|place| decoded(&dim.photograph(&spots, &[place])));
    for ((sum, a), b) in both.iter().zip(&single[0]).zip(&single[1]) {
        assert!((0..3).all(|c| (sum[c] - a[c] - b[c]).abs() < ROUNDING));
    }
}

#[test]
fn holes_show_the_bare_window() {
    /// The glow varies over the window by less than this share of the window's image.
    const GLOW: f64 = 0.02;
    let closed = smooth_spots(0.0);
    let open = smooth_spots(0.3);
    let camera = Camera { blur_px: 0.7, exposure: 5.0, ..Camera::clean(101, 101, 0.1) };
    let [without, with] =
        [&closed, &open].map(|spots| decoded(&camera.photograph(spots, &[[0.0; 2]]))[50 * 101 + 50][1]);
    let bare = decoded(&camera.photograph_bare(&open, &[[0.0; 2]], 0.5))[50 * 101 + 50][1];
    assert!(((with - without) / (0.6 * bare) - 1.0).abs() < GLOW, "{with} {without} {bare}");
}

#[test]
fn an_unblurred_picture_is_the_glow_that_photons_found() {
    /// Straight lines between the steps of the camera's table, of the peak: sampling errors bend the curves more than the glow
    /// itself does.
    const LINES: f64 = 3e-4;
    for cloth in CLOTHS {
        let spots = ColourSpots { direct_ahead: 0.0, ..of(&cloth, cloth.fit_gaps_mm[0]) };
        let camera =
            Camera { blur_px: 0.0, ..Camera::clean(401, 1, 0.13) }.with_peak(&spots, &[[0.0; 2]], 0.9);
        let picture = decoded(&camera.photograph(&spots, &[[0.0; 2]]));
        for (column, element) in picture.iter().enumerate() {
            let radius_mm = 0.13 * (column as f64 - 200.0).abs();
            for (colour, found) in element.iter().enumerate() {
                let expected = camera.exposure * spots.glow(colour, radius_mm);
                assert!(
                    (found - expected).abs() < LINES,
                    "{} at {radius_mm} mm: {found} for {expected}",
                    cloth.name
                );
            }
        }
    }
}

#[test]
fn the_glow_alone_sets_the_exposure_where_asked() {
    /// The blur of the middle, 0.35 mm against a spot of 4 mm.
    const BLUR: f64 = 0.01;
    let open = smooth_spots(0.6);
    let camera = Camera::clean(33, 33, 0.5);
    let by_all = camera.clone().with_peak(&open, &[[0.0; 2]], 0.8).exposure;
    let by_glow = camera.with_glow_peak(&open, &[[0.0; 2]], 0.8).exposure;
    let (glow, window) = (open.glow(0, 0.0), 0.6 * open.window_radiance());
    assert!((by_glow * glow / 0.8 - 1.0).abs() < BLUR && (by_all * (glow + window) / 0.8 - 1.0).abs() < BLUR);
}

#[test]
fn a_huge_photograph_is_one() {
    let spots = smooth_spots(0.0);
    let camera = Camera { bayer: false, ..Camera::everyday(1, 1, 0.02) }.with_peak(&spots, &[[0.0; 2]], 0.8);
    let reader = image::ImageReader::new(std::io::Cursor::new(bad::huge(&camera, &spots)));
    let size = reader.with_guessed_format().expect("memory is read").into_dimensions().expect("a picture");
    assert_eq!(size, (7304, 5478));
}

#[test]
fn bad_pictures_are_bad_in_their_way() {
    let spots = smooth_spots(0.0);
    let camera = Camera { background: [0.02; 3], ..Camera::everyday(160, 120, 0.4) }.with_peak(
        &spots,
        &[[0.0; 2]],
        0.7,
    );
    let greens = |bytes: &[u8]| decoded(bytes).iter().map(|element| element[1]).collect::<Vec<f64>>();
    let photo = camera.photograph(&spots, &[[0.0; 2]]);
    let brightest = |values: &[f64]| values.iter().copied().fold(0.0, f64::max);
    assert!(brightest(&greens(&bad::empty(&camera))) < 0.5 * brightest(&greens(&photo)));
    let two = greens(&bad::two_spots(&camera, &spots, 32.0));
    let row = &two[60 * 160..61 * 160];
    let around = |column: usize| mean(row[column - 2..column + 3].iter().copied());
    assert!(around(40) > 1.2 * around(80) && around(120) > 1.2 * around(80), "two heights and a valley");
    let cut = greens(&bad::cut_off(&camera, &spots));
    assert!(mean(cut[60 * 160..60 * 160 + 5].iter().copied()) > 0.8 * brightest(&greens(&photo)));
    let clean =
        Camera { width_px: 161, height_px: 121, centre_px: [80.0, 60.0], ..Camera::clean(161, 121, 0.4) };
    let leaning = greens(&bad::tilted(&Camera { exposure: camera.exposure, ..clean }, &spots, 50.0, 400.0));
    let right = leaning[60 * 161 + 100];
    let above = leaning[40 * 161 + 80];
    assert!(right < 0.8 * above, "narrower from side to side: {right} {above}");
    let text = greens(&bad::text(&camera));
    let average = mean(text.iter().copied());
    assert!(mean(text.iter().map(|value| (value - average).powi(2))).sqrt() > 0.2, "rich in contrast");
    assert!(image::load_from_memory(&bad::truncated(&photo, 0.1)).is_err());
    assert!(bad::truncated(&photo, 0.6).len() < photo.len());
    assert!(image::load_from_memory(&bad::heic_header()).is_err());
}
