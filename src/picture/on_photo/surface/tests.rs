use super::*;
use proptest::prelude::*;

/// Newton's method ends within this of the place, in mm, on areas of some hundred mm.
const THERE_AND_BACK_MM: f64 = 1e-7;
/// Points from a homography, as the surface gives them back, in image pixels: rounding of numbers up to 2000.
const PLANE_PX: f64 = 1e-8;

const AREA: Area = Area { centre_mm: [30.0, -20.0], size_mm: [400.0, 300.0] };

fn quad() -> [[f64; 2]; 4] {
    [[512.0, 220.0], [1480.0, 333.0], [1390.0, 1190.0], [488.0, 1011.0]]
}

/// A grid of points on the plane through [`quad`].
fn flat_grid(columns: usize, rows: usize) -> Vec<[f64; 2]> {
    let unit = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]];
    let h = Homography::through(unit, quad()).expect("a view");
    let share = |i: usize, n: usize| i as f64 / (n - 1) as f64;
    (0..columns * rows)
        .map(|i| h.at([share(i % columns, columns), share(i / columns, rows)]).expect("seen"))
        .collect()
}

/// A cylinder seen from the front: columns at even angles of its arc, a picture of 3 px to the mm.
fn sleeve(columns: usize, rows: usize) -> Vec<[f64; 2]> {
    (0..columns * rows)
        .map(|i| {
            let angle = 2.0 * ((i % columns) as f64 / (columns - 1) as f64 - 0.5);
            [
                900.0 + 480.0 * angle.sin(),
                200.0 + 700.0 * (i / columns) as f64 / (rows - 1) as f64 - 120.0 * angle.cos(),
            ]
        })
        .collect()
}

#[test]
fn four_corners_are_where_they_were_set() {
    let surface =
        Surface::through(AREA, &[quad()[0], quad()[1], quad()[3], quad()[2]], 2, 2).expect("a plane");
    for (mm, seen) in
        [[-170.0, 130.0], [230.0, 130.0], [230.0, -170.0], [-170.0, -170.0]].into_iter().zip(quad())
    {
        let found = surface.in_photo(mm).expect("seen");
        assert!((found[0] - seen[0]).hypot(found[1] - seen[1]) < PLANE_PX, "{mm:?}: {found:?}");
        let (back, _) = surface.on_garment(seen).expect("on it");
        assert!((back[0] - mm[0]).hypot(back[1] - mm[1]) < THERE_AND_BACK_MM);
    }
    assert!(!surface.bends() && surface.beyond_mm().is_none());
}

#[test]
fn a_grid_on_a_plane_is_the_plane() {
    let plane = Surface::through(AREA, &[quad()[0], quad()[1], quad()[3], quad()[2]], 2, 2).expect("a plane");
    for (columns, rows) in [(3, 3), (5, 2), (2, 4), (16, 7)] {
        let grid = Surface::through(AREA, &flat_grid(columns, rows), columns, rows).expect("a surface");
        assert!(grid.bends() && grid.bent_by_px() < PLANE_PX);
        for i in 0..60 {
            let mm = [-160.0 + 6.0 * f64::from(i), 110.0 - 4.0 * f64::from(i)];
            let (a, b) = (grid.in_photo(mm).expect("seen"), plane.in_photo(mm).expect("seen"));
            assert!((a[0] - b[0]).hypot(a[1] - b[1]) < PLANE_PX, "{columns} {rows} {mm:?}: {a:?} {b:?}");
            let (place, scale) = grid.on_garment(a).expect("on it");
            let (_, plane_scale) = plane.on_garment(a).expect("on it");
            assert!((place[0] - mm[0]).hypot(place[1] - mm[1]) < THERE_AND_BACK_MM);
            assert!((scale - plane_scale).norm() < 1e-6 * plane_scale.norm());
        }
    }
}

#[test]
fn a_bent_surface_passes_through_its_points() {
    let points = sleeve(5, 3);
    let surface = Surface::through(AREA, &points, 5, 3).expect("a surface");
    for (i, point) in points.iter().enumerate() {
        let mm = AREA.mm([(i % 5) as f64 / 4.0, (i / 5) as f64 / 2.0]);
        let seen = surface.in_photo(mm).expect("seen");
        assert!((seen[0] - point[0]).hypot(seen[1] - point[1]) < PLANE_PX, "{seen:?} {point:?}");
    }
    assert!(surface.bent_by_px() > 50.0, "{}", surface.bent_by_px());
}

#[test]
fn a_cylinder_between_its_points() {
    // Against the cylinder itself. A natural cubic spline is furthest off in its last cells, where it takes the second derivative
    // f'' for 0: by h^2 |f''| max(a - a^3) / 6 = 0.0642 h^2 |f''| in a cell of width h, and a little of it from the other end
    // (the moments fall off by 0.27 a cell). Here h = 2/n rad and |f''| = |(480 sin 1, 120 cos 1)| = 409 px.
    for columns in [3, 5, 9, 15] {
        let cell = 2.0 / f64::from(columns - 1);
        let allowed_px = 0.0642 * cell * cell * 409.0 * 1.27;
        let columns = columns as usize;
        let surface = Surface::through(AREA, &sleeve(columns, 3), columns, 3).expect("a surface");
        let mut worst: f64 = 0.0;
        for i in 0..=200 {
            let share = f64::from(i) / 200.0;
            let angle = 2.0 * (share - 0.5);
            let exact = [900.0 + 480.0 * angle.sin(), 550.0 - 120.0 * angle.cos()];
            let seen = surface.in_photo(AREA.mm([share, 0.5])).expect("seen");
            worst = worst.max((seen[0] - exact[0]).hypot(seen[1] - exact[1]));
        }
        assert!(worst < allowed_px, "{columns} columns: {worst} px");
    }
}

#[test]
fn it_goes_on_straight_and_has_no_edges() {
    let surface = Surface::through(AREA, &sleeve(5, 3), 5, 3).expect("a surface");
    let [beyond, _] = surface.beyond_mm().expect("bent");
    assert!(beyond > 40.0, "{beyond}");
    // First and second differences along a row that crosses knots and the end of the grid.
    let step = 0.05;
    let seen = |i: i32| surface.in_photo([230.0 + step * f64::from(i), 0.0]).expect("seen");
    for i in -300..300 {
        let [a, b, c] = [seen(i - 1), seen(i), seen(i + 1)];
        let second = (a[0] - 2.0 * b[0] + c[0]).hypot(a[1] - 2.0 * b[1] + c[1]) / (step * step);
        // 480 px over (200 mm)^2 is 0.012 px/mm2.
        assert!(second < 0.03, "{i}: {second}");
    }
}

#[test]
fn folds_are_told() {
    let mut points = sleeve(4, 3);
    points.swap(5, 6);
    let fault = Surface::through(AREA, &points, 4, 3).expect_err("folded");
    assert!(matches!(fault, MarkFault::Folded { .. }), "{fault:?}");
    let fault = Surface::through(AREA, &points[..11], 4, 3).expect_err("one short");
    assert!(matches!(fault, MarkFault::Count { found: 11, .. }));
    let fault = Surface::through(AREA, &points, 12, 1).expect_err("one row");
    assert!(matches!(fault, MarkFault::Count { .. }));
}

proptest! {
    /// Planes as a camera sees them: there and back again, and the derivative says how areas go over.
    #[test]
    fn there_and_back(
        dx in prop::array::uniform4(-150.0..150.0f64),
        dy in prop::array::uniform4(-150.0..150.0f64),
        s in -0.2..1.2f64,
        t in -0.2..1.2f64,
        bend in 0.0..40.0f64,
    ) {
        let base = [[300.0, 200.0], [1300.0, 220.0], [310.0, 950.0], [1290.0, 960.0]];
        let corners: Vec<[f64; 2]> = (0..4).map(|i| [base[i][0] + dx[i], base[i][1] + dy[i]]).collect();
        let plane = Surface::through(AREA, &corners, 2, 2).expect("a plane");
        let unit: Vec<[f64; 2]> = (0..9)
            .map(|i| {
                let at = [f64::from(i % 3) / 2.0, f64::from(i / 3) / 2.0];
                let mut seen = plane.in_photo(AREA.mm(at)).expect("seen");
                seen[1] -= bend * (1.0 - (2.0 * at[0] - 1.0).powi(2));
                seen
            })
            .collect();
        let bent = Surface::through(AREA, &unit, 3, 3).expect("a surface");
        for surface in [&plane, &bent] {
            let mm = AREA.mm([s, t]);
            let Some(seen) = surface.in_photo(mm) else { continue };
            let Some((back, _)) = surface.on_garment(seen) else {
                // Only beyond what the bent surface is followed to.
                let beyond = surface.beyond;
                prop_assert!(beyond.is_some_and(|b| s < -b || t < -b || s > 1.0 + b || t > 1.0 + b));
                continue;
            };
            prop_assert!((back[0] - mm[0]).hypot(back[1] - mm[1]) < 1e-5, "{mm:?} {back:?}");
        }
    }
}
