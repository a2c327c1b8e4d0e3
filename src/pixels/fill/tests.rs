//! Fillings: order, count, and that every pixel keeps the seam.

use super::*;
use proptest::prelude::*;

fn path(svg: &str) -> BezPath {
    BezPath::from_svg(svg).expect("a path")
}

const PLAIN: Filling =
    Filling { pitch_mm: 10.0, rows_mm: 10.0, seam_mm: 5.0, direction_rad: 0.0, zigzag: true };

fn at(filled: &Filled) -> Vec<[f64; 2]> {
    filled.places.iter().map(|p| p.at.map(|v| (v.0 * 1e9).round() / 1e9)).collect()
}

#[test]
fn a_square_in_zigzag() {
    // 30 by 20 mm, 5 mm kept free: three columns, two rows, from the upper left.
    let filled = PLAIN.of(&path("M0 0 H30 V20 H0 Z"), 100).expect("an outline");
    assert_eq!(at(&filled), [[5.0, 15.0], [15.0, 15.0], [25.0, 15.0], [25.0, 5.0], [15.0, 5.0], [5.0, 5.0]]);
    assert_eq!(
        (filled.rows, filled.places[0].turn_rad, filled.places[3].turn_rad),
        (2, 0.0, std::f64::consts::PI)
    );
    let rows = Filling { zigzag: false, ..PLAIN }.of(&path("M0 0 H30 V20 H0 Z"), 100).expect("an outline");
    assert_eq!(at(&rows)[3..], [[5.0, 5.0], [15.0, 5.0], [25.0, 5.0]]);
    // Upwards, the first row on the left.
    let up = Filling { direction_rad: std::f64::consts::FRAC_PI_2, ..PLAIN };
    let up = up.of(&path("M0 0 H30 V20 H0 Z"), 100).expect("an outline");
    assert_eq!(at(&up), [[5.0, 5.0], [5.0, 15.0], [15.0, 15.0], [15.0, 5.0], [25.0, 5.0], [25.0, 15.0]]);
}

#[test]
fn holes_stay_free_and_limits_hold() {
    let ring = path("M0 0 H100 V100 H0 Z M30 30 H70 V70 H30 Z");
    let filled = PLAIN.of(&ring, 1000).expect("an outline");
    // Ten rows of ten, less four by four in the hole and the places beside it: 25 and 75 keep 5 mm from 30 and 70.
    assert_eq!(filled.places.len(), 100 - 16);
    assert_eq!(filled.runs, [10, 10, 10, 3, 3, 3, 3, 3, 3, 3, 3, 10, 10, 10]);
    assert_eq!(
        PLAIN.of(&ring, 10).expect("an outline").places.len(),
        11,
        "one more than allowed, then it ends"
    );
    assert!(PLAIN.of(&path("M0 0 H8 V8 H0 Z"), 10).expect("an outline").places.is_empty());
    assert!(matches!(PLAIN.of(&path("M0 0 L10 10 H0 L10 0 Z"), 10), Err(NoFilling::Outline(_))));
    let fine = Filling { rows_mm: 0.1, ..PLAIN };
    assert_eq!(fine.of(&path("M0 0 H9 V2000 H0 Z"), 10), Err(NoFilling::TooManyRows { rows: 19_901 }));
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 200,
        rng_seed: proptest::test_runner::RngSeed::Fixed(3),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Random stars, turned rows: every pixel keeps the seam, neighbours in a row are a whole number of pitches apart.
    #[test]
    fn every_pixel_keeps_the_seam(
        radii in prop::collection::vec(30.0..120.0f64, 3..14),
        pitch_mm in 4.0..25.0f64,
        rows_mm in 4.0..25.0f64,
        seam_mm in 0.0..12.0f64,
        direction_deg in -360.0..360.0f64,
    ) {
        let corners: Vec<String> = radii.iter().enumerate().map(|(i, r)| {
            let (sin, cos) = (std::f64::consts::TAU * i as f64 / radii.len() as f64).sin_cos();
            format!("{} {}", r * cos, r * sin)
        }).collect();
        let star = path(&format!("M{} Z", corners.join(" L")));
        let filling = Filling { pitch_mm, rows_mm, seam_mm, direction_rad: direction_deg.to_radians(), zigzag: true };
        let filled = filling.of(&star, 100_000).expect("a star does not cross itself");
        let outline = Outline::of(&star).expect("an outline");
        let places: Vec<[f64; 2]> = filled.places.iter().map(|p| p.at.map(|v| v.0)).collect();
        prop_assert_eq!(outline.too_near(&places, seam_mm), vec![]);
        let (sin, cos) = filling.direction_rad.sin_cos();
        for pair in places.windows(2) {
            let step = [pair[1][0] - pair[0][0], pair[1][1] - pair[0][1]];
            let (along, across) = (cos * step[0] + sin * step[1], cos * step[1] - sin * step[0]);
            for (way, pitch) in [(along, pitch_mm), (across, rows_mm)] {
                prop_assert!((way / pitch - (way / pitch).round()).abs() < 1e-6, "{} {}", way, pitch);
            }
        }
    }
}
