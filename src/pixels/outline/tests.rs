//! Outlines: inside and outside, crossings with their place, stretches of level lines.

use super::*;
use kurbo::{Circle, Rect, Shape};

/// Straight lines stand for curves.
const FLAT: f64 = 2.0 * FLATNESS_MM;

fn outline(svg: &str) -> Result<Outline, NoOutline> {
    Outline::of(&BezPath::from_svg(svg).expect("a path"))
}

#[test]
fn inside_and_how_far() {
    let square = outline("M0 0 H100 V50 H0 Z").expect("a square");
    assert!(square.contains([1.0, 1.0]) && !square.contains([-1.0, 1.0]) && !square.contains([1.0, 51.0]));
    assert_eq!(square.depth_mm([50.0, 20.0]), 20.0);
    assert_eq!(square.depth_mm([-3.0, -4.0]), -5.0);
    assert_eq!(square.area_mm2(), 5000.0);
    assert_eq!(
        square.too_near(&[[50.0, 25.0], [9.0, 25.0], [200.0, 0.0], [10.0, 25.0]], 10.0),
        [(1, 9.0), (2, -100.0)]
    );
    assert_eq!(square.too_near(&[[0.0, 25.0], [100.0, 25.0]], 0.0), [], "the edge itself is allowed");
    let circle = Outline::of(&Circle::new((5.0, 5.0), 40.0).to_path(1e-9)).expect("a circle");
    assert!((circle.depth_mm([5.0, 15.0]) - 30.0).abs() < FLAT);
    assert!((circle.area_mm2() / (std::f64::consts::PI * 1600.0) - 1.0).abs() < 1e-4);
}

#[test]
fn a_curve_inside_another_is_a_hole() {
    // Whatever its direction.
    for hole in ["M30 10 H70 V40 H30 Z", "M30 10 V40 H70 V10 Z"] {
        let ring = outline(&format!("M0 0 H100 V50 H0 Z {hole}")).expect("a ring");
        assert!(ring.contains([10.0, 25.0]) && !ring.contains([50.0, 25.0]));
        assert_eq!(ring.depth_mm([50.0, 25.0]), -15.0);
        assert_eq!(ring.area_mm2(), 5000.0 - 1200.0);
        assert_eq!(ring.stretches(25.0, 0.0), [[0.0, 30.0], [70.0, 100.0]]);
        assert_eq!(ring.stretches(25.0, 10.0), [[10.0, 20.0], [80.0, 90.0]]);
        assert_eq!(ring.rings().len(), 2);
    }
    // Two pieces side by side may touch.
    assert_eq!(outline("M0 0 H10 V10 H0 Z M10 0 H20 V10 H10 Z").expect("two").area_mm2(), 200.0);
}

#[test]
fn what_crosses_is_told_with_its_place() {
    let crossing = |svg: &str| match outline(svg) {
        Err(NoOutline::Crossing { at }) => at,
        other => panic!("{svg}: {other:?}"),
    };
    assert_eq!(crossing("M0 0 L100 100 H0 L100 0 Z"), [50.0, 50.0]);
    let at = crossing("M0 0 C200 100 -100 100 100 0 Z");
    assert!((at[0] - 50.0).abs() < 0.01, "a loop crosses on its axis: {at:?}");
    // Two curves through one another, and a curve that touches itself in a corner.
    crossing("M0 0 H10 V10 H0 Z M5 5 H15 V15 H5 Z");
    assert_eq!(crossing("M0 0 L5 5 L10 0 V10 L5 5 L0 10 Z"), [5.0, 5.0]);
    let text = outline("M0 0 L100 100 H0 L100 0 Z").expect_err("crosses").to_string();
    assert_eq!(text, "the outline crosses itself near [50.0, 50.0]");
}

#[test]
fn what_is_open_or_empty() {
    match outline("M0 0 H100 V50 L0 30") {
        Err(NoOutline::Open { at, apart_mm }) => assert_eq!((at, apart_mm), ([0.0, 30.0], 30.0)),
        other => panic!("{other:?}"),
    }
    assert!(outline("M0 0 H100 V50 H0 V0.05").is_ok(), "ends nearly meet");
    assert_eq!(outline("M0 0 H100 V50 H0 V0.05").expect("a square").area_mm2().round(), 5000.0);
    assert_eq!(outline(""), Err(NoOutline::Empty));
    assert_eq!(outline("M0 0 H100 Z"), Err(NoOutline::Empty));
    assert_eq!(outline("M5 5 Z"), Err(NoOutline::Empty));
    let long = format!("M0 0 {} Z", "l1 1 1 -1 ".repeat(MOST_EDGES));
    assert!(matches!(outline(&long), Err(NoOutline::TooDetailed { .. })));
}

#[test]
fn stretches_keep_the_seam_from_every_edge() {
    // A star with deep notches: what is free on any level line is what lies deep enough, by brute force.
    let corners: Vec<String> = (0..14)
        .map(|i| {
            let (sin, cos) = (std::f64::consts::PI * f64::from(i) / 7.0).sin_cos();
            let r = if i % 2 == 0 { 100.0 } else { 45.0 };
            format!("{} {}", r * cos, r * sin)
        })
        .collect();
    let star = outline(&format!("M{} Z", corners.join(" L"))).expect("a star");
    for seam in [0.0, 3.0, 11.0] {
        for row in -50..=50 {
            let y = 2.013 * f64::from(row);
            let free = star.stretches(y, seam);
            assert!(free.is_sorted_by(|a, b| a[1] <= b[0]) && free.iter().all(|s| s[0] < s[1]));
            for column in -110..=110 {
                let x = 1.007 * f64::from(column);
                let deep = star.depth_mm([x, y]);
                let inside = free.iter().any(|s| s[0] <= x && x <= s[1]);
                // On the very edge rounding decides.
                if (deep - seam).abs() > 1e-9 {
                    assert_eq!(inside, deep > seam, "[{x}, {y}] {deep} {seam}");
                }
            }
            let near = star.edge_stretches(y, 3.0);
            for column in -110..=110 {
                let x = 1.007 * f64::from(column);
                let deep = star.depth_mm([x, y]).abs();
                if (deep - 3.0).abs() > 1e-9 {
                    assert_eq!(near.iter().any(|s| s[0] <= x && x <= s[1]), deep < 3.0, "[{x}, {y}]");
                }
            }
        }
    }
}

#[test]
fn the_extent() {
    let rect = Outline::of(&Rect::new(-3.0, 2.0, 5.0, 9.0).to_path(0.1)).expect("a square");
    assert_eq!(rect.extent(), ([Millimetres(-3.0), Millimetres(2.0)], [Millimetres(5.0), Millimetres(9.0)]));
}
