//! The direct image: the bright patches of the dies, seen through holes and by light that was not scattered.
//!
//! Model: each patch is a disc or a square of even luminance. An image pixel shows the patch's luminance times the share of
//! the pixel's own square that the patch covers, computed exactly (no samples), so that the sum over the picture times the
//! area of an image pixel is the patch's light however small the patch is. A point covers the one image pixel it
//! lies in. Patches are added; overlapping ones do not hide each other.
//!
//! Coverage: a square turned against the grid is clipped by the pixel's four edges (Sutherland & Hodgman, Reentrant polygon
//! clipping, 1974) and measured by the shoelace formula; a disc is cut by integrating its half-chords
//! `sqrt(R^2 - x^2)` in closed form. Both exact up to rounding.

use super::plane::{Frame, XyzImage};
use crate::light::Window;

/// A patch and its light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindowSpot {
    /// Place of the centre, x in mm.
    pub x_mm: f64,
    /// Place of the centre, y in mm.
    pub y_mm: f64,
    /// Its outline.
    pub window: Window,
    /// Turn of the outline, anticlockwise, in radians.
    pub turn_rad: f64,
    /// Luminance integrated over the patch: X, Y, Z in cd/m2 times mm2.
    pub xyz_total: [f64; 3],
}

/// A patch in units of image pixels: x to the right, y downwards, pixel (c, r) covering c-0.5..c+0.5, r-0.5..r+0.5.
enum Patch {
    Point,
    Disc { radius: f64 },
    Polygon { corners: [[f64; 2]; 4], area: f64 },
}

/// Adds the patches to a picture of the frame's size. Patches with a number that is not finite are left out, and so is what
/// lies outside the picture; a picture of another size is left as it is.
pub fn add_windows(image: &mut XyzImage, frame: &Frame, spots: &[WindowSpot]) {
    if image.planes.iter().any(|p| p.len() != frame.len())
        || !(frame.mm_per_px > 0.0 && frame.mm_per_px.is_finite())
    {
        return;
    }
    for spot in spots {
        add_window(image, frame, spot);
    }
}

fn add_window(image: &mut XyzImage, frame: &Frame, spot: &WindowSpot) {
    let px = frame.mm_per_px;
    let centre = [(spot.x_mm - frame.first_x_mm) / px, (frame.first_y_mm - spot.y_mm) / px];
    let (patch, area, reach) = match spot.window {
        Window::Disc { diameter } if diameter.0 > 0.0 => {
            let radius = 0.5 * diameter.0 / px;
            (Patch::Disc { radius }, std::f64::consts::PI * radius * radius, radius)
        }
        Window::Square { side } if side.0 > 0.0 => {
            let half = 0.5 * side.0 / px;
            let (sin, cos) = spot.turn_rad.sin_cos();
            // Anticlockwise with y upwards; rows go downwards.
            let corners = [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]
                .map(|[u, v]: [f64; 2]| [half * (u * cos - v * sin), -half * (u * sin + v * cos)]);
            let area = 4.0 * half * half;
            (Patch::Polygon { corners, area }, area, half * std::f64::consts::SQRT_2)
        }
        _ => (Patch::Point, 1.0, 0.0),
    };
    let finite = centre.iter().chain(&spot.xyz_total).chain([&area, &reach]).all(|v| v.is_finite());
    let Some(([first_column, last_column], [first_row, last_row])) = finite
        .then(|| (touched(centre[0], reach, frame.width_px), touched(centre[1], reach, frame.height_px)))
        .and_then(|(c, r)| Some((c?, r?)))
    else {
        return;
    };
    // Luminance of the patch; a patch smaller than a pixel gives the pixel its share.
    let luminance = spot.xyz_total.map(|total| total / (area * px * px));
    for row in first_row..=last_row {
        for column in first_column..=last_column {
            let pixel = [f64::from(column) - centre[0], f64::from(row) - centre[1]];
            let covered = patch.coverage(pixel);
            if covered > 0.0 {
                let i = row as usize * frame.width_px as usize + column as usize;
                for (plane, value) in image.planes.iter_mut().zip(luminance) {
                    plane[i] += (value * covered) as f32;
                }
            }
        }
    }
}

/// The image pixels of one axis that a patch can touch.
fn touched(centre: f64, reach: f64, count: u32) -> Option<[u32; 2]> {
    let first = (centre - reach).round().max(0.0);
    let last = (centre + reach).round().min(f64::from(count) - 1.0);
    (first <= last).then_some([first as u32, last as u32])
}

impl Patch {
    /// Share of the pixel centred at `[x, y]`, seen from the patch's centre, that the patch covers.
    fn coverage(&self, [x, y]: [f64; 2]) -> f64 {
        let [left, right, top, bottom] = [x - 0.5, x + 0.5, y - 0.5, y + 0.5];
        match self {
            Patch::Point => f64::from(left <= 0.0 && 0.0 < right && top <= 0.0 && 0.0 < bottom),
            Patch::Disc { radius } => disc_in_box(*radius, [left, right], [top, bottom]),
            Patch::Polygon { corners, area } => {
                polygon_in_box(corners, [left, right], [top, bottom]).min(*area)
            }
        }
    }
}

/// Area of a disc around the origin inside a box.
fn disc_in_box(radius: f64, [left, right]: [f64; 2], [top, bottom]: [f64; 2]) -> f64 {
    let (a, b) = (left.max(-radius), right.min(radius));
    if a >= b || top >= radius || bottom <= -radius {
        return 0.0;
    }
    // Between the places where the chord's ends cross the box's edges, the height is one of four plain forms.
    let mut cuts = vec![a, b];
    for edge in [top, bottom] {
        if edge.abs() < radius {
            let x = (radius * radius - edge * edge).sqrt();
            cuts.extend([-x, x].into_iter().filter(|x| a < *x && *x < b));
        }
    }
    cuts.sort_by(f64::total_cmp);
    cuts.windows(2)
        .map(|pair| {
            let (from, to) = (pair[0], pair[1]);
            let middle = 0.5 * (from + to);
            let chord = (radius * radius - middle * middle).max(0.0).sqrt();
            let under = chord_area(radius, to) - chord_area(radius, from);
            let upper = if chord < bottom { under } else { bottom * (to - from) };
            let lower = if -chord > top { -under } else { top * (to - from) };
            if bottom.min(chord) > top.max(-chord) { upper - lower } else { 0.0 }
        })
        .sum()
}

/// `int_0^x sqrt(R^2 - u^2) du`.
fn chord_area(radius: f64, x: f64) -> f64 {
    let x = x.clamp(-radius, radius);
    0.5 * (x * (radius * radius - x * x).max(0.0).sqrt() + radius * radius * (x / radius).asin())
}

/// Area of a convex polygon inside a box.
fn polygon_in_box(corners: &[[f64; 2]; 4], [left, right]: [f64; 2], [top, bottom]: [f64; 2]) -> f64 {
    let mut polygon = corners.to_vec();
    for (axis, sign, edge) in [(0, 1.0, left), (0, -1.0, right), (1, 1.0, top), (1, -1.0, bottom)] {
        polygon = clipped(&polygon, axis, sign, edge);
    }
    let next = |i: usize| polygon[(i + 1) % polygon.len()];
    let doubled: f64 = polygon.iter().enumerate().map(|(i, p)| p[0] * next(i)[1] - p[1] * next(i)[0]).sum();
    0.5 * doubled.abs()
}

/// The part of a polygon where `sign (coordinate - edge) >= 0`.
fn clipped(polygon: &[[f64; 2]], axis: usize, sign: f64, edge: f64) -> Vec<[f64; 2]> {
    let inside = |p: &[f64; 2]| sign * (p[axis] - edge);
    let mut kept = Vec::with_capacity(8);
    for (i, p) in polygon.iter().enumerate() {
        let q = &polygon[(i + 1) % polygon.len()];
        let (dp, dq) = (inside(p), inside(q));
        if dp >= 0.0 {
            kept.push(*p);
        }
        if (dp >= 0.0) != (dq >= 0.0) {
            let share = dp / (dp - dq);
            kept.push([p[0] + share * (q[0] - p[0]), p[1] + share * (q[1] - p[1])]);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Millimetres;
    use std::f64::consts::PI;

    /// Rounding of a few double precision operations.
    const ROUNDING: f64 = 1e-12;
    /// The picture is in single precision and sums over some hundred image pixels.
    const SINGLE: f64 = 2e-6;

    fn drawn(window: Window, turn_rad: f64, at: [f64; 2], mm_per_px: f64) -> (XyzImage, f64) {
        let frame = Frame::centred(0.0, 0.0, mm_per_px, 60, 50);
        let mut image = XyzImage::black(60, 50);
        let spot = WindowSpot { x_mm: at[0], y_mm: at[1], window, turn_rad, xyz_total: [2.0, 5.0, 1.0] };
        add_windows(&mut image, &frame, &[spot]);
        let light = image.planes[1].iter().map(|&v| f64::from(v)).sum::<f64>() * mm_per_px * mm_per_px;
        (image, light)
    }

    #[test]
    fn the_light_is_kept_at_every_size_and_place() {
        let square = |s| Window::Square { side: Millimetres(s) };
        let disc = |d| Window::Disc { diameter: Millimetres(d) };
        for (window, turn) in [
            (Window::Point, 0.0),
            (disc(0.05), 0.0),
            (disc(0.9), 0.0),
            (disc(7.3), 0.0),
            (square(0.02), 0.5),
            (square(1.7), 0.2),
            (square(8.0), 0.0),
            (square(8.0), PI / 4.0),
        ] {
            for at in [[0.0, 0.0], [0.25, 0.25], [1.234, -3.21], [-0.01, 0.499]] {
                for mm_per_px in [0.5, 1.0, 2.0] {
                    let (_, light) = drawn(window, turn, at, mm_per_px);
                    assert!((light / 5.0 - 1.0).abs() < SINGLE, "{window:?} {turn} {at:?}: {light}");
                }
            }
        }
    }

    #[test]
    fn coverage_in_cases_known_by_hand() {
        // A quarter, a half and the whole of a unit disc; a circular segment; a box in the disc.
        assert!((disc_in_box(1.0, [0.0, 2.0], [0.0, 2.0]) - PI / 4.0).abs() < ROUNDING);
        assert!((disc_in_box(1.0, [-2.0, 0.0], [-2.0, 2.0]) - PI / 2.0).abs() < ROUNDING);
        assert!((disc_in_box(1.0, [-2.0, 2.0], [-2.0, 2.0]) - PI).abs() < ROUNDING);
        assert!((disc_in_box(1.0, [-0.5, 0.5], [-0.5, 0.5]) - 1.0).abs() < ROUNDING);
        // Segment beyond y = 1/2: R^2 (acos(1/2) - 1/2 sqrt(3/4)).
        let segment = (0.5_f64).acos() - 0.5 * 0.75_f64.sqrt();
        assert!((disc_in_box(1.0, [-2.0, 2.0], [0.5, 2.0]) - segment).abs() < ROUNDING);
        assert!((disc_in_box(1.0, [-2.0, 2.0], [-2.0, -0.5]) - segment).abs() < ROUNDING);
        assert_eq!(disc_in_box(1.0, [0.9, 1.5], [0.9, 1.5]), 0.0);
        // A square on its corner, of half-diagonal 1: area 2; its quadrant is a triangle of area 1/2.
        let diamond = [[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]];
        assert!((polygon_in_box(&diamond, [-5.0, 5.0], [-5.0, 5.0]) - 2.0).abs() < ROUNDING);
        assert!((polygon_in_box(&diamond, [0.0, 5.0], [0.0, 5.0]) - 0.5).abs() < ROUNDING);
        assert_eq!(polygon_in_box(&diamond, [2.0, 3.0], [0.0, 1.0]), 0.0);
    }

    #[test]
    fn a_patch_has_its_luminance_inside_and_turns_the_right_way() {
        let (image, _) = drawn(Window::Square { side: Millimetres(10.0) }, 0.0, [0.0, 0.0], 0.5);
        // 5 cd/m2 mm2 over 100 mm2.
        assert!((f64::from(image.at(30, 25)[1]) - 0.05).abs() < 1e-7);
        // Turned anticlockwise by a little, the right edge's upper end leans to the left.
        let (image, _) = drawn(Window::Square { side: Millimetres(20.0) }, 0.2, [0.0, 0.0], 0.5);
        let right_edge = |row: u32| (0..60).rfind(|&c| image.at(c, row)[1] > 0.0);
        assert!(right_edge(12) < right_edge(38));
    }

    #[test]
    fn patches_outside_and_not_finite_do_nothing() {
        let (image, _) = drawn(Window::Disc { diameter: Millimetres(3.0) }, 0.0, [500.0, 0.0], 1.0);
        assert!(image.planes.iter().flatten().all(|&v| v == 0.0));
        let (image, _) = drawn(Window::Point, 0.0, [f64::NAN, 0.0], 1.0);
        assert!(image.planes.iter().flatten().all(|&v| v == 0.0));
    }
}
